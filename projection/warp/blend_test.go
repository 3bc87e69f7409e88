package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// even is a layer of one value that looks from a target into a source.
func even(t *testing.T, target warp.Target, source warp.Source, value float32, feather float64) warp.Layer[float32] {
	w, h := source.Size()
	f := newFrame[float32](t, w, h, 1)
	paint(f, func(_, _, _ int) float64 { return float64(value) })
	return warp.Layer[float32]{Frame: f, Map: newMap(t, target, source), Feather: feather}
}

func mustBlend(t *testing.T, target warp.Target, layers ...warp.Layer[float32]) (dst, coverage warp.Frame[float32]) {
	t.Helper()
	w, h := target.Size()
	dst, coverage = newFrame[float32](t, w, h, 1), newFrame[float32](t, w, h, 1)
	require.NoError(t, warp.Blend(t.Context(), dst, layers, warp.Options{Coverage: coverage}))
	return dst, coverage
}

// glsl is smoothstep(0, 1, t).
func glsl(t float64) float64 {
	t = min(max(t, 0), 1)
	return t * t * (3 - 2*t)
}

// TestBlendOfTwo puts two even fields side by side with an overlap of 80 px.
func TestBlendOfTwo(t *testing.T) {
	const w, h, half, row = 400, 700, 240, 350
	target := flat(w, 1)
	target.y0 = row - 0.5
	left, right := flat(half, h), &offset{flat(half, h), w - half}
	const fa, fb = 40, 48
	dst, cov := newFrame[float32](t, w, 1, 1), newFrame[float32](t, w, 1, 1)
	layers := []warp.Layer[float32]{even(t, target, left, 0.25, fa), even(t, target, right, 0.75, fb)}
	require.NoError(t, warp.Blend(t.Context(), dst, layers, warp.Options{Coverage: cov}))
	for x := range w {
		p := float64(x) + 0.5
		ma, mb := min(p, half-p), min(p-(w-half), w-p)
		var wa, wb float64
		if p < half {
			wa = glsl(ma/fa) * glsl(1+min(0, ma-mb)/fa)
		}
		if p > w-half {
			wb = glsl(mb/fb) * glsl(1+min(0, mb-ma)/fb)
		}
		ref.Within(t, "WARP-BLEND", math.Abs(float64(dst.Row(0)[x])-(0.25*wa+0.75*wb)/(wa+wb)), x)
		assert.EqualValues(t, 1, cov.Row(0)[x], "coverage at %d", x)
	}
	// The margins are equal at 200 px, where each is 40 px: of the feathers
	// only that of 48 px is not yet spent. 24 px away one layer is alone.
	for _, tc := range []struct {
		x        int
		from, to float32
	}{{170, 0.25, 0.25}, {175, 0.25, 0.25}, {199, 0.48, 0.52}, {200, 0.48, 0.52}, {225, 0.75, 0.75}, {230, 0.75, 0.75}} {
		assert.InDelta(t, (tc.from+tc.to)/2, dst.Row(0)[tc.x], float64(tc.to-tc.from)/2, "at %d", tc.x)
	}
}

// TestSeamBesideTheEndOfACell has a seam one pixel inside a cell of 31 px, far
// from all limits: the cell is not left to the layer that leads in its middle.
func TestSeamBesideTheEndOfACell(t *testing.T) {
	target := flat(364, 1)
	target.y0 = 350
	for _, feather := range []float64{0, 20} {
		dst, _ := mustBlend(t, target,
			even(t, target, flat(240, 700), 0, feather), even(t, target, &offset{flat(300, 700), 64}, 1, feather))
		for x := 110; x < 200; x++ { // the margins are equal at 152 px
			lead := 2 * (float64(x) + 0.5 - 152)
			want := 0.0
			if lead > 0 {
				want = 1
			}
			if feather > 0 {
				a, b := glsl(1-max(lead, 0)/feather), glsl(1+min(lead, 0)/feather)
				want = b / (a + b)
			}
			assert.InDelta(t, want, dst.Row(0)[x], 1e-6, "feather %v, at %d", feather, x)
		}
	}
}

// TestBlendIsContinuous goes across two limits and two seams of three even
// fields, on a level and on a slanted path, in steps of 1/16 px.
func TestBlendIsContinuous(t *testing.T) {
	const fine, h = 16, 1000
	for _, slant := range []float64{0, 0.3} {
		target := flat(440*fine, 1)
		target.xx, target.yx, target.y0 = 1.0/fine, slant/fine, 420
		dst, _ := mustBlend(t, target,
			even(t, target, flat(240, h), 0, 40),
			even(t, target, &offset{flat(240, h), 160}, 1, 48),
			even(t, target, &offset{flat(240, h), 200}, 0.3, 30))
		// A smoothstep rises by 3/2 at most, a margin and the largest one by 1
		// a px, so a weight by 3/2·(1 + 2)/F a px; where two layers or three
		// see, one is farther than its feather from its limits, and the sum of
		// the weights 1 or more.
		allowed := 1.5 * 3 * (1.0/40 + 1.0/48 + 1.0/30) / fine * math.Hypot(1, slant)
		last := dst.Row(0)[0]
		for x, v := range dst.Row(0) {
			if d := math.Abs(float64(v - last)); d > allowed {
				t.Errorf("slant %v: a step of %v at %v px", slant, d, float64(x)/fine)
			}
			last = v
		}
	}
}

// TestBlendAgainstTheObvious weighs every layer at every pixel.
func TestBlendAgainstTheObvious(t *testing.T) {
	target := equirect{400, 200, 0}
	broken := &breaking{target}
	cameras := []fisheye{newFisheye(300, 190*degree, -60*degree, 0), newFisheye(420, 200*degree, 50*degree, 10*degree),
		newFisheye(260, 150*degree, 170*degree, -20*degree), newFisheye(200, 120*degree, 0, 80*degree)}
	var layers []warp.Layer[float32]
	for i, c := range cameras {
		var over warp.Target = target
		if i == 2 {
			over = broken // its cells are others
		}
		layers = append(layers, even(t, over, c, float32(i+1), 0))
		layers[i].Gain[0] = float64(1 + i%2)
	}
	for _, feathers := range [][4]float64{{20, 20, 20, 20}, {10, 70, 5, 300}, {0, 0, 0, 0}, {0, 15, 0, 30}, {500, 500, 500, 500}} {
		for i, f := range feathers {
			layers[i].Feather = f
		}
		dst, cov := mustBlend(t, target, layers...)
		alone := 0
		for y := range 200 {
			for x, got := range dst.Row(y) {
				var margins []float64
				largest, first, second, least := math.Inf(-1), -1, math.Inf(-1), math.Inf(1)
				for i, c := range cameras {
					m := math.NaN()
					if sx, sy, ok := layers[i].Map.At(float64(x)+0.5, float64(y)+0.5); ok {
						m = c.Margin(sx, sy)
						least = min(least, m)
						if m > largest {
							largest, first, second = m, i, largest
						} else {
							second = max(second, m)
						}
					}
					margins = append(margins, m)
				}
				if (first >= 0) != (cov.Row(y)[x] > 0) {
					t.Fatalf("(%d, %d): coverage %v", x, y, cov.Row(y)[x])
				}
				// Within a window of a limit coverage counts too; beside the
				// seam of layers without a feather a last place decides.
				if least < 3 || largest-second < 1e-3 {
					continue
				}
				var sum, total float64
				for i, m := range margins {
					w := 0.0
					switch f := feathers[i]; {
					case m != m:
					case f == 0 && i == first:
						w = 1
					case f > 0:
						w = glsl(m/f) * glsl(1+(m-largest)/f)
					}
					sum += w * float64(i+1) * layers[i].Gain[0]
					total += w
				}
				if total == sum/(float64(first+1)*layers[first].Gain[0]) {
					alone++
				}
				// Stored positions are float32: some 1e-5 px, which counts most
				// where weights are small. Of the values the largest is 8.
				if tol := 1e-5 + 1e-6/total; math.Abs(float64(got)-sum/total) > tol {
					t.Fatalf("feathers %v: (%d, %d) is %v, want %v", feathers, x, y, got, sum/total)
				}
			}
		}
		assert.GreaterOrEqual(t, alone, 1000, "pixels of one layer, feathers %v", feathers)
	}
}

// breaking is a panorama whose cells end elsewhere.
type breaking struct{ equirect }

func (breaking) Breaks() (xs, ys []float64) { return []float64{13, 101.5, 302}, []float64{90} }

// limits is a flat source that gives its margin as what it likes.
type limits struct {
	*plane
	margin float64
}

func (l limits) Margin(x, y float64) float64 { return l.margin }

// TestOddMargins blends layers whose margins are the same everywhere.
func TestOddMargins(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, tc := range []struct{ ma, mb, fa, fb, want float64 }{
		{inf, 5, 10, 10, 1}, // no limits: hides what has some
		{5, inf, 10, 10, 3},
		{inf, inf, 10, 10, 2}, // equal parts
		{inf, inf, 0, 0, 1},   // the first
		{7, 7, 0, 0, 1},
		{7, 7.25, 0, 0, 3},
		{7, 6, 0, 0, 1},
		{20, 10, 10, 10, 1}, // just a feather apart
		{10, 20, 10, 10, 3},
		{20, 15, 10, 10, 1 + 2*(0.5/1.5)}, // half a feather: s(1/2) = 1/2
		{0, 0, 10, 10, 2},                 // on both limits
		{-3, -3, 10, 10, 2},
		{nan, 5, 10, 10, 3}, // NaN is no margin
		{nan, nan, 10, 10, 2},
		{nan, nan, 0, 0, 1},
		{-inf, -inf, 10, 10, 2},
		{-inf, inf, 10, 10, 3},
		{-inf, 0, 5e-324, 5e-324, 3},
	} {
		target := flat(40, 40)
		// One pixel in is seen, and its cells are of both kinds.
		for _, far := range []float64{0, 30} {
			target.x0 = -far
			dst, cov := mustBlend(t, target,
				even(t, target, limits{flat(80, 80), tc.ma}, 1, tc.fa), even(t, target, limits{flat(80, 80), tc.mb}, 3, tc.fb))
			assert.InDelta(t, tc.want, dst.Row(20)[35], 1e-6, "%+v", tc)
			assert.EqualValues(t, 1, cov.Row(20)[35], "%+v", tc)
		}
	}
}

// sloped is a flat source that gives its margin as a function.
type sloped struct {
	*plane
	margin func(x, y float64) float64
}

func (s sloped) Margin(x, y float64) float64 { return s.margin(x, y) }

// TestMarginsArePixelCentres: margins that are interpolated over a cell are those
// at the centres of its pixels, along rows and down columns.
func TestMarginsArePixelCentres(t *testing.T) {
	const feather = 40
	a := func(x, y float64) float64 { return 60 + 0.4*x - 0.7*y + 0.002*x*y }
	b := func(x, y float64) float64 { return 90 - 0.6*x + 0.1*y }
	target := flat(96, 80)
	dst, _ := mustBlend(t, target, even(t, target, sloped{flat(96, 80), a}, 0, feather), even(t, target, sloped{flat(96, 80), b}, 1, feather))
	for y := range 80 {
		for x, got := range dst.Row(y) {
			ma, mb := a(float64(x)+0.5, float64(y)+0.5), b(float64(x)+0.5, float64(y)+0.5)
			wa, wb := glsl(ma/feather)*glsl(1+min(0, ma-mb)/feather), glsl(mb/feather)*glsl(1+min(0, mb-ma)/feather)
			if want := wb / (wa + wb); math.Abs(float64(got)-want) > 1e-5 {
				t.Fatalf("(%d, %d) is %v, want %v", x, y, got, want)
			}
		}
	}
}

// TestSteepMargins change by twice the distance, with a kink in the middle of a
// cell: the second layer leads at both ends of it.
func TestSteepMargins(t *testing.T) {
	target := flat(32, 32)
	dst, _ := mustBlend(t, target,
		even(t, target, sloped{flat(32, 32), func(_, _ float64) float64 { return 30 }}, 0, 1),
		even(t, target, sloped{flat(32, 32), func(x, _ float64) float64 { return 10 + 2*math.Abs(x-16) }}, 1, 1))
	for x, got := range dst.Row(16) {
		if d := math.Abs(float64(x) + 0.5 - 16); d < 9 || d > 11 {
			assert.EqualValues(t, map[bool]int{true: 1}[d > 11], got, "at %d", x)
		}
	}
}

// TestCoverageCounts blends a layer with one of the same margin a quarter of a
// pixel from whose edge a column looks: 3/4 of its weight falls on texels.
func TestCoverageCounts(t *testing.T) {
	target, inside := flat(40, 40), flat(80, 80)
	target.x0 = -0.25
	inside.hostile = func(x, y float64) (float64, float64, bool) { return x + 20, y + 20, true }
	dst, cov := mustBlend(t, target, even(t, target, limits{inside, 9}, 1, 5), even(t, target, limits{flat(80, 80), 9}, 3, 5))
	assert.InDelta(t, (1+0.75*3)/(1+0.75), dst.Row(20)[0], 1e-6)
	assert.EqualValues(t, 1, cov.Row(20)[0])
}

// TestSingleLayerUpToItsLimits blends a layer with one that sees elsewhere: a
// wide feather takes nothing from it.
func TestSingleLayerUpToItsLimits(t *testing.T) {
	target := flat(300, 100)
	dst, cov := mustBlend(t, target, even(t, target, flat(140, 100), 0.7, 1000), even(t, target, &offset{flat(140, 100), 160}, 0.2, 1000))
	for y := range 100 {
		for x, got := range dst.Row(y) {
			var want float32
			switch {
			case x < 140:
				want = 0.7
			case x >= 160:
				want = 0.2
			}
			if got != want || (cov.Row(y)[x] == 1) != (want > 0) {
				t.Fatalf("(%d, %d) is %v with coverage %v, want %v", x, y, got, cov.Row(y)[x], want)
			}
		}
	}
}

// TestLayersWithoutWeightDoNotShow fills all of a camera but its middle with
// NaN: outside the seam to the next nothing of it shows.
func TestLayersWithoutWeightDoNotShow(t *testing.T) {
	target := equirect{512, 256, 0}
	const feather = 30
	var layers []warp.Layer[float32]
	var cameras []fisheye
	for i := range 5 {
		c := newFisheye(400, 165*degree, 72*degree*unit.Angle(i), 0)
		cameras = append(cameras, c)
		layers = append(layers, even(t, target, c, 1, feather))
	}
	// Along the horizon the seam stands 36° off the axis, 113 px from the
	// limit; the next camera has weight up to 30 px nearer to its limit.
	paint(layers[0].Frame, func(x, y, _ int) float64 {
		if cameras[0].Margin(float64(x)+0.5, float64(y)+0.5) < 95 {
			return math.NaN()
		}
		return 1
	})
	dst, _ := mustBlend(t, target, layers...)
	for x, got := range dst.Row(127) {
		assert.InDelta(t, 1, got, 1e-6, "(%d, 127)", x)
	}
}

// offset is a flat source that stands dx to the right.
type offset struct {
	*plane
	dx float64
}

func (o *offset) Project(d vec) (x, y float64, ok bool) {
	d.X -= o.dx
	return o.plane.Project(d)
}

// TestBlendOfCameras puts two overlapping fisheyes of different sizes on a
// panorama: where both see the same scene it comes out, everywhere else one of
// them does, and nothing where none sees.
func TestBlendOfCameras(t *testing.T) {
	target := equirect{360, 180, 0}
	cams := []fisheye{newFisheye(500, 190*degree, -50*degree, 0), newFisheye(720, 200*degree, 50*degree, 10*degree)}
	var layers []warp.Layer[float32]
	for _, c := range cams {
		f := newFrame[float32](t, c.w, c.h, 1)
		paint(f, func(x, y, _ int) float64 {
			d, ok := cameraAsTarget{c}.Unproject(float64(x)+0.5, float64(y)+0.5)
			if !ok {
				return 0
			}
			return harbour([3]float64{d.X, d.Y, d.Z})
		})
		layers = append(layers, warp.Layer[float32]{Frame: f, Map: newMap(t, target, c), Feather: 40})
	}
	dst, cov := newFrame[float32](t, 360, 180, 1), newFrame[float32](t, 360, 180, 1)
	require.NoError(t, warp.Blend(t.Context(), dst, layers, warp.Options{Coverage: cov}))
	unseen := 0
	for y := range 180 {
		for x, got := range dst.Row(y) {
			px, py := float64(x)+0.5, float64(y)+0.5
			deep, seen := false, false
			for i, c := range cams {
				if sx, sy, ok := layers[i].Map.At(px, py); ok {
					seen = true
					deep = deep || c.Margin(sx, sy) > 8
				}
			}
			if seen != (cov.Row(y)[x] > 0) {
				t.Fatalf("(%d, %d): seen %v, coverage %v", x, y, seen, cov.Row(y)[x])
			}
			if !seen {
				unseen++
				if got != 0 {
					t.Fatalf("(%d, %d) is %v", x, y, got)
				}
			}
			if want := sphere(target, px, py); deep && math.Abs(float64(got)-want) > 5e-3 {
				t.Fatalf("(%d, %d) is %v, want %v", x, y, got, want)
			}
		}
	}
	assert.Positive(t, unseen, "the case tests a mask")
}
