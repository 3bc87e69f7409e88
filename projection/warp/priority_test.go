package warp_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func newPriority(t testing.TB, target warp.Target, pitch int, at func(x, y float64) float64) *warp.Priority {
	t.Helper()
	w, h := target.Size()
	s, err := warp.NewPriority(t.Context(), warp.PrioritySpec{Width: w, Height: h, Pitch: pitch, At: at})
	require.NoError(t, err)
	return s
}

func TestPriorityIsBilinear(t *testing.T) {
	const w, h = 103, 47
	for _, pitch := range []int{1, 8, 16, 200} {
		f := func(x, y float64) float64 { return 3*x - 2*y + 7 }
		s, err := warp.NewPriority(t.Context(), warp.PrioritySpec{Width: w, Height: h, Pitch: pitch, At: f})
		require.NoError(t, err)
		for _, p := range [][2]float64{{0, 0}, {w, 0}, {0, h}, {w, h}, {50.25, 20.5}, {102.999, 46.999}} {
			got, ok := s.At(p[0], p[1])
			ref.Near(t, "WARP-PRIORITY", got, f(p[0], p[1]), pitch, p)
			assert.True(t, ok, "%v", p)
		}
		for _, p := range [][2]float64{{-0.1, 0}, {0, h + 0.1}, {math.NaN(), 0}, {0, math.Inf(1)}} {
			_, ok := s.At(p[0], p[1])
			assert.False(t, ok, "%v is inside", p)
		}
	}
	for _, s := range []*warp.Priority{nil, {}} {
		_, ok := s.At(0, 0)
		assert.False(t, ok)
	}
}

// TestPriorityFillsGaps has values on the left only: the right takes them on.
func TestPriorityFillsGaps(t *testing.T) {
	s := newPriority(t, flat(100, 30), 10, func(x, y float64) float64 {
		if x > 42 {
			return math.NaN()
		}
		return x
	})
	none := newPriority(t, flat(100, 30), 10, func(x, y float64) float64 { return math.NaN() })
	high := newPriority(t, flat(100, 30), 10, func(x, y float64) float64 { return math.Inf(int(y) - 15) })
	for _, tc := range []struct {
		s          *warp.Priority
		x, y, want float64
	}{{s, 40, 5, 40}, {s, 35, 5, 35}, {s, 80, 5, 40}, {s, 100, 30, 40}, {none, 10, 10, 0}, {high, 10, 30, 1 << 24}, {high, 10, 0, -1 << 24}} {
		got, _ := tc.s.At(tc.x, tc.y)
		assert.InDelta(t, tc.want, got, 1e-4, "(%v, %v)", tc.x, tc.y)
	}
}

func TestPrioritiesThatAreRefused(t *testing.T) {
	at := func(x, y float64) float64 { return 0 }
	for name, spec := range map[string]warp.PrioritySpec{
		"empty":     {},
		"no rule":   {Width: 5, Height: 5, Pitch: 1},
		"no pitch":  {Width: 5, Height: 5, At: at},
		"too many":  {Width: 1 << 20, Height: 1 << 20, Pitch: 1, At: at},
		"too large": {Width: 1 << 25, Height: 1, Pitch: 1 << 10, At: at},
	} {
		_, err := warp.NewPriority(t.Context(), spec)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	label := func(x, y float64) int { return 0 }
	for name, spec := range map[string]warp.LabelMapSpec{
		"empty":     {},
		"no rule":   {Width: 5, Height: 5, Pitch: 1, Layers: 2},
		"no layers": {Width: 5, Height: 5, Pitch: 1, At: label},
		"layers":    {Width: 5, Height: 5, Pitch: 1, Layers: 65, At: label},
		"too many":  {Width: 1 << 15, Height: 1 << 15, Pitch: 1, Layers: 2, At: label},
	} {
		_, err := warp.NewLabelPriorities(t.Context(), spec)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := warp.NewPriority(ctx, warp.PrioritySpec{Width: 5, Height: 5, Pitch: 1, At: at})
	assert.Equal(t, context.Canceled, err)
	_, err = warp.NewLabelPriorities(ctx, warp.LabelMapSpec{Width: 5, Height: 5, Pitch: 1, Layers: 2, At: label})
	assert.Equal(t, context.Canceled, err)
}

// TestBlendRefusesPriorities that only some layers have, or of another size.
func TestBlendRefusesPriorities(t *testing.T) {
	target := flat(40, 40)
	a, b := even(t, target, flat(40, 40), 1, 3), even(t, target, flat(40, 40), 2, 3)
	dst := newFrame[float32](t, 40, 40, 1)
	a.Priority = newPriority(t, target, 8, func(x, y float64) float64 { return 0 })
	assert.ErrorIs(t, warp.Blend(t.Context(), dst, []warp.Layer[float32]{a, b}, warp.Options{}), warp.ErrInvalid, "one of two")
	a.Priority = newPriority(t, flat(40, 41), 8, func(x, y float64) float64 { return 0 })
	assert.ErrorIs(t, warp.Blend(t.Context(), dst, []warp.Layer[float32]{a}, warp.Options{}), warp.ErrInvalid, "another size")
}

// TestSeamByHand draws a seam down the middle of the overlap's left part, and
// fades over 20 px of the target.
func TestSeamByHand(t *testing.T) {
	target := flat(400, 40)
	target.y0 = 300
	left, right := even(t, target, flat(300, 700), 0, 20), even(t, target, &offset{flat(300, 700), 100}, 1, 20)
	priorities, err := warp.NewLabelPriorities(t.Context(), warp.LabelMapSpec{Width: 400, Height: 40, Pitch: 8, Layers: 2, At: func(x, y float64) int {
		if x < 164 { // midway between nodes at 160 and 168
			return 0
		}
		return 1
	}})
	require.NoError(t, err)
	left.Priority, right.Priority = priorities[0], priorities[1]
	dst, cov := mustBlend(t, target, left, right)
	for x, got := range dst.Row(20) {
		// Each is d from the seam, to either side, and so 2d from the other.
		d := float64(x) + 0.5 - 164
		a, b := glsl(1+min(0, -2*d)/20), glsl(1+min(0, 2*d)/20)
		ref.Near(t, "WARP-SEAM-FADE", float64(got), b/(a+b), x)
		assert.EqualValues(t, 1, cov.Row(20)[x], "coverage at %d", x)
	}
}

// TestPrioritiesAreContinuous goes in steps of 1/16 px across the limits of
// layers that stand highest, lowest and across one another.
func TestPrioritiesAreContinuous(t *testing.T) {
	const fine, h = 16, 1000
	target := flat(440*fine, 1)
	target.xx, target.y0 = 1.0/fine, 420
	for name, stand := range map[string][3]func(x float64) float64{
		"first above":  {func(float64) float64 { return 1000 }, func(float64) float64 { return 0 }, func(float64) float64 { return 0 }},
		"middle above": {func(float64) float64 { return 0 }, func(float64) float64 { return 1000 }, func(float64) float64 { return 0 }},
		"last above":   {func(float64) float64 { return 0 }, func(float64) float64 { return 30 }, func(float64) float64 { return 300 }},
		"crossing":     {func(x float64) float64 { return 180 - x }, func(x float64) float64 { return x - 180 }, func(x float64) float64 { return (x - 250) / 2 }},
	} {
		layers := []warp.Layer[float32]{
			even(t, target, flat(240, h), 0, 40),
			even(t, target, &offset{flat(240, h), 160}, 1, 48),
			even(t, target, &offset{flat(240, h), 200}, 0.3, 30)}
		for i := range layers {
			layers[i].Priority = newPriority(t, target, fine, func(x, _ float64) float64 { return stand[i](x / fine) })
		}
		dst, _ := mustBlend(t, target, layers...)
		// Of the layers that see the pixel the highest weighs as much as it has
		// come up, and what is below as much as is left: half or more in all.
		allowed := 2 * 1.5 * 4 * (1.0/40 + 1.0/48 + 1.0/30) / fine
		last := dst.Row(0)[0]
		for x, v := range dst.Row(0) {
			if d := math.Abs(float64(v - last)); d > allowed {
				t.Errorf("%s: a step of %v at %v px", name, d, float64(x)/fine)
			}
			last = v
		}
		if name == "first above" {
			// It is shown alone until it fades, 40 px from its limit.
			for _, x := range []int{10, 190, 199} {
				assert.Zero(t, dst.Row(0)[x*fine], "the highest layer is alone at %d px", x)
			}
			assert.GreaterOrEqual(t, dst.Row(0)[239*fine+fine-1], float32(0.6), "the highest layer has faded at its limit")
		}
	}
}

// TestPrioritiesAgainstTheObvious weighs every layer at every pixel.
func TestPrioritiesAgainstTheObvious(t *testing.T) {
	near.NumbersOnly(t)
	target := equirect{400, 200, 0}
	cameras := []fisheye{newFisheye(300, 190*degree, -60*degree, 0), newFisheye(420, 200*degree, 50*degree, 10*degree),
		newFisheye(260, 150*degree, 170*degree, -20*degree), newFisheye(200, 120*degree, 0, 80*degree)}
	var layers []warp.Layer[float32]
	for i, c := range cameras {
		l := even(t, target, c, float32(i+1), 0)
		l.Priority = newPriority(t, target, 10, func(x, y float64) float64 {
			return 60*math.Sin(x*2*math.Pi/400*float64(i+1)) + 90*math.Cos(y/9+float64(2*i))
		})
		layers = append(layers, l)
	}
	for _, feathers := range [][4]float64{{20, 20, 20, 20}, {10, 40, 5, 30}, {0, 0, 0, 0}, {0, 15, 0, 30}} {
		for i, f := range feathers {
			layers[i].Feather = f
		}
		dst, _ := mustBlend(t, target, layers...)
		compared := 0
		for y := range 200 {
			for x, got := range dst.Row(y) {
				px, py := float64(x)+0.5, float64(y)+0.5
				var fades, stands [4]float64
				skip, seen := false, false
				for i, c := range cameras {
					sx, sy, ok := layers[i].Map.At(px, py)
					if !ok {
						continue
					}
					seen = true
					margin := c.Margin(sx, sy)
					skip = skip || margin < 3 // coverage counts too
					fades[i] = 1
					if feathers[i] > 0 {
						fades[i] = glsl(margin / feathers[i])
					}
					stands[i], _ = layers[i].Priority.At(px, py)
				}
				if skip || !seen {
					continue
				}
				var sum, total float64
				for i := range cameras {
					w := fades[i]
					for j := range cameras {
						if j == i || fades[j] == 0 {
							continue
						}
						beside := 1.0
						switch {
						case feathers[i] > 0:
							beside = glsl(1 + (stands[i]-stands[j])/feathers[i])
						case stands[i] < stands[j] || stands[i] == stands[j] && j < i:
							beside = 0
						}
						w = min(w, fades[i]-min(fades[i], fades[j])*(1-beside))
					}
					sum += w * float64(i+1)
					total += w
				}
				compared++
				if tol := 1e-5 + 1e-6/total; math.Abs(float64(got)-sum/total) > tol {
					t.Fatalf("feathers %v: (%d, %d) is %v, want %v", feathers, x, y, got, sum/total)
				}
			}
		}
		assert.GreaterOrEqual(t, compared, 50000, "feathers %v", feathers)
	}
}

func TestSamplingPriority(t *testing.T) {
	// Maps of known scales: turned ones of 2 and 8 source px a target px.
	target := turned(80, 60, 2, 0.3, 400, 400)
	m := newMap(t, target, flat(800, 800))
	d := warp.SamplingPriority(m, 64)
	ref.Near(t, "WARP-SAMPLING-PRIORITY", d(40, 30), 64)
	wide := turned(80, 60, 8, 1.1, 400, 400)
	ref.Near(t, "WARP-SAMPLING-PRIORITY", warp.SamplingPriority(newMap(t, wide, flat(800, 800)), 10)(40, 30), 30)
	assert.True(t, math.IsNaN(d(-1, 0)), "outside")
	var none *warp.Map
	assert.True(t, math.IsNaN(warp.SamplingPriority(none, 64)(1, 1)), "without a map")
}

// TestSamplingPriorityPlacesSeams lets a fine close-up win over the coarse wide shot
// that holds it, up to its own feather, although the margins say otherwise.
func TestSamplingPriorityPlacesSeams(t *testing.T) {
	target := flat(400, 400)
	wide, close := even(t, target, flat(400, 400), 1, 10), even(t, target, scaled{flat(800, 800), 4, 100}, 2, 40)
	for _, l := range []*warp.Layer[float32]{&wide, &close} {
		l.Priority = newPriority(t, target, 16, warp.SamplingPriority(l.Map, 64))
	}
	dst, _ := mustBlend(t, target, wide, close)
	for _, tc := range []struct {
		x    int
		want float32
	}{{50, 1}, {99, 1}, {115, 2}, {200, 2}, {285, 2}, {301, 1}} {
		assert.InDelta(t, tc.want, dst.Row(200)[tc.x], 1e-6, "at %d", tc.x)
	}
	assert.Greater(t, dst.Row(200)[105], float32(1), "within the feather")
	assert.Less(t, dst.Row(200)[105], float32(2), "within the feather")
}

// scaled is a flat source, so many px a unit, from x = y = corner on.
type scaled struct {
	*plane
	scale, corner float64
}

func (s scaled) Project(d vec) (x, y float64, ok bool) {
	d.X, d.Y = (d.X-s.corner)*s.scale, (d.Y-s.corner)*s.scale
	return s.plane.Project(d)
}

// TestGainByChannel has a factor for each channel.
func TestGainByChannel(t *testing.T) {
	src, dst := newFrame[float32](t, 8, 8, 4), newFrame[float32](t, 8, 8, 4)
	paint(src, func(_, _, _ int) float64 { return 0.5 })
	m := newMap(t, flat(8, 8), flat(8, 8))
	one := warp.Layer[float32]{Frame: src, Map: m, Gain: [4]float64{2, 0, 0.5, 1}}
	two := warp.Layer[float32]{Frame: src, Map: m, Gain: [4]float64{4, 1, 0.25, 3}, Feather: 2}
	for _, tc := range []struct {
		layers []warp.Layer[float32]
		want   [4]float32
	}{{[]warp.Layer[float32]{one}, [4]float32{1, 0.5, 0.25, 0.5}}, {[]warp.Layer[float32]{two, two}, [4]float32{2, 0.5, 0.125, 1.5}}} {
		require.NoError(t, warp.Blend(t.Context(), dst, tc.layers, warp.Options{}))
		for i, got := range dst.Row(4) {
			assert.Equal(t, tc.want[i%4], got, "%d layers, sample %d", len(tc.layers), i)
		}
	}
}

// TestPrioritiesOnAnyWorkers: blending by priorities gives the same bits for any
// number of workers, and allocates nothing.
func TestPrioritiesOnAnyWorkers(t *testing.T) {
	layers := ring(t, 5)
	priorities := mustFindSeams(t, layers, warp.SeamOptions{Pitch: 16})
	for i := range layers {
		layers[i].Priority = priorities[i]
	}
	one, many := newFrame[float32](t, 512, 256, 1), newFrame[float32](t, 512, 256, 1)
	blend := func(dst warp.Frame[float32], workers int) {
		assert.NoError(t, warp.Blend(t.Context(), dst, layers, warp.Options{Workers: workers}))
	}
	blend(one, 1)
	blend(many, 0)
	for y := range 256 {
		require.Equal(t, one.Row(y), many.Row(y), "row %d", y)
	}
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	assert.Zero(t, testing.AllocsPerRun(4, func() { blend(one, 0) }), "allocations per frame")
}

// TestEqualLayersComeOutExactly, and one layer alone, wherever they stand.
func TestEqualLayersComeOutExactly(t *testing.T) {
	target := flat(100, 60)
	target.x0, target.y0 = 0.3, 0.4
	src := newFrame[float32](t, 101, 61, 1)
	paint(src, func(x, y, _ int) float64 { return float64((x*37+y*91)%101) / 7 })
	m := newMap(t, target, flat(101, 61))
	want, got := newFrame[float32](t, 100, 60, 1), newFrame[float32](t, 100, 60, 1)
	require.NoError(t, warp.Warp(t.Context(), want, src, m, warp.Options{}))
	layer := func(f func(x, y float64) float64) warp.Layer[float32] {
		return warp.Layer[float32]{Frame: src, Map: m, Feather: 9, Priority: newPriority(t, target, 10, f)}
	}
	across, back := layer(func(x, _ float64) float64 { return x - 50 }), layer(func(x, _ float64) float64 { return 50 - x })
	for _, layers := range [][]warp.Layer[float32]{{across}, {across, back}, {back, across, across}} {
		require.NoError(t, warp.Blend(t.Context(), got, layers, warp.Options{}))
		for y := range 60 {
			require.Equal(t, want.Row(y), got.Row(y), "%d layers, row %d", len(layers), y)
		}
	}
}

// TestDistancesAgainstEachNode compares with the nearest node of a kind, looked
// for one by one, on a flat target and on one whose edges meet.
func TestDistancesAgainstEachNode(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const w, h, nx = 120, 56, 12 // steps of 10 and 9 1/3 px
	for _, wrap := range []bool{false, true} {
		for range 10 {
			columns := nx + 1
			if wrap {
				columns = nx
			}
			var labels [7][nx + 1]int
			for y := range labels {
				for x := range columns {
					labels[y][x] = max(rng.IntN(30)-27, -1) // few are of a layer
				}
			}
			priorities, err := warp.NewLabelPriorities(t.Context(), warp.LabelMapSpec{Width: w, Height: h, Pitch: 10, Layers: 3, WrapX: wrap,
				At: func(x, y float64) int { return labels[int(y/h*6+0.5)][int(x/10+0.5)] }})
			require.NoError(t, err)
			const stepY = h / 6.0
			for k, s := range priorities {
				for y := range 7 {
					for x := range columns {
						own, other := float64(1<<24), float64(1<<24)
						for v := range 7 {
							for u := range columns {
								dx := math.Abs(float64(u - x))
								if wrap {
									dx = min(dx, nx-dx)
								}
								d := math.Hypot(10*dx, stepY*float64(v-y))
								switch {
								case labels[v][u] == k:
									own = min(own, d)
								case labels[v][u] >= 0:
									other = min(other, d)
								}
							}
						}
						want := other - own
						want = math.Copysign(max(math.Abs(want)-stepY/2, 0), want)
						got, _ := s.At(float64(10*x), stepY*float64(y))
						if math.Abs(want) > 1<<23 {
							got, want = math.Copysign(1, got), math.Copysign(1, want)
						}
						ref.Near(t, "WARP-DISTANCE", got, want, wrap, k, x, y)
					}
				}
			}
		}
	}
}
