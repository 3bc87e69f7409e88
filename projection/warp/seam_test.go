package warp_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// shown is which of the priorities is the highest at each node, pitch apart.
func shown(priorities []*warp.Priority, w, h, pitch int) (labels [][]int) {
	for y := 0; y <= h; y += pitch {
		var row []int
		for x := 0; x <= w; x += pitch {
			best, first := math.Inf(-1), -1
			for i, s := range priorities {
				if v, _ := s.At(float64(x), float64(y)); v > best {
					best, first = v, i
				}
			}
			row = append(row, first)
		}
		labels = append(labels, row)
	}
	return labels
}

func mustFindSeams(t testing.TB, layers []warp.Layer[float32], opts warp.SeamOptions) []*warp.Priority {
	t.Helper()
	s, err := warp.FindSeams(t.Context(), layers, opts)
	require.NoError(t, err)
	return s
}

// TestSeamAgainstAllSeams compares with every division of small overlaps, three
// or four nodes wide and three or four high, in costs drawn at random.
func TestSeamAgainstAllSeams(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for trial := range 60 {
		wide, high := 3+trial%2, 3+trial/2%2
		if wide*high == 16 {
			high = 3
		}
		const pitch = 10
		w, h := (wide+3)*pitch, (high-1)*pitch
		target := flat(w, h)
		layers := []warp.Layer[float32]{
			even(t, target, flat((wide+1)*pitch+2, h), 0, 0),
			even(t, target, &offset{flat(w, h), 2*pitch - 2}, 0, 0)}
		cost := make([][]float64, high)
		for y := range cost {
			cost[y] = make([]float64, wide+4)
			for x := range cost[y] {
				cost[y][x] = math.NaN()
				if x >= 2 && x < 2+wide {
					cost[y][x] = float64(rng.IntN(20))
				}
			}
		}
		mean := 0.0
		for _, row := range cost {
			for x := range wide {
				mean += row[x+2] / float64(wide*high)
			}
		}
		const length = 0.25
		// off is how unequal margins are at a node, or at the next where only one
		// layer sees it.
		off := func(x, y, nextX, nextY int) float64 {
			if cost[y][x] != cost[y][x] {
				x, y = nextX, nextY
			}
			px, py := float64(x*pitch), float64(min(y, high-1-y)*pitch)
			a := min(px, float64((wide+1)*pitch+2)-px, py)
			b := min(px-(2*pitch-2), float64(w+2*pitch-2)-px, py)
			if a+b == 0 {
				return 0
			}
			return math.Abs(a-b) / (a + b)
		}
		// total is the cost of a division.
		total := func(labels [][]int) (sum float64) {
			cut := func(ax, ay, bx, by int) {
				if labels[ay][ax] == labels[by][bx] {
					return
				}
				a, b := cost[ay][ax], cost[by][bx]
				if a != a {
					a = b
				}
				if b != b {
					b = a
				}
				sum += a + b + length*mean*(1+(off(ax, ay, bx, by)+off(bx, by, ax, ay))/2)
			}
			for y := range labels {
				for x := range labels[y] {
					if x > 0 {
						cut(x-1, y, x, y)
					}
					if y > 0 {
						cut(x, y-1, x, y)
					}
				}
			}
			return sum
		}
		labels := make([][]int, high)
		for y := range labels {
			labels[y] = make([]int, wide+4)
			for x := 2 + wide; x < wide+4; x++ {
				labels[y][x] = 1
			}
		}
		least := math.Inf(1)
		for n := range 1 << (wide * high) {
			for k := range wide * high {
				labels[k/wide][2+k%wide] = n >> k & 1
			}
			least = min(least, total(labels))
		}
		found, err := warp.FindSeams(t.Context(), layers, warp.SeamOptions{Pitch: pitch, Length: length, Cost: func(a, b int, x, y float64) float64 {
			assert.Equal(t, [2]int{0, 1}, [2]int{a, b}, "layers asked for")
			return cost[int(y/pitch+0.5)][int(x/pitch+0.5)]
		}})
		require.NoError(t, err)
		got := shown(found, w, h, pitch)
		for y := range got {
			got[y] = append(got[y], 1)[:wide+4] // to the width of labels
		}
		ref.Near(t, "WARP-SEAM-LEAST", total(got), least, trial)
	}
}

// TestSeamFollowsAChannel has one winding way of no cost.
func TestSeamFollowsAChannel(t *testing.T) {
	const pitch, w, h = 10, 200, 100
	target := flat(w, h)
	layers := []warp.Layer[float32]{even(t, target, flat(152, h), 0, 0), even(t, target, &offset{flat(w, h), 48}, 0, 0)}
	// The column, in nodes, before which the seam should run in each row.
	way := []int{6, 7, 8, 9, 10, 11, 10, 9, 8, 7, 6}
	found, err := warp.FindSeams(t.Context(), layers, warp.SeamOptions{Pitch: pitch, Length: 1e-3, Cost: func(_, _ int, x, y float64) float64 {
		col, row := int(x/pitch+0.5), int(y/pitch+0.5)
		if col >= way[row]-1 && col <= way[row] {
			return 0
		}
		return 1
	}})
	require.NoError(t, err)
	for row, labels := range shown(found, w, h, pitch) {
		ref.Equal(t, "WARP-SEAM-CHANNEL", slices.Index(labels, 1), way[row], row)
	}
}

// TestSeamGoesRoundWhatDiffers lays pictures with a block in one of them only
// in the way of the straight seam.
func TestSeamGoesRoundWhatDiffers(t *testing.T) {
	const w, h = 400, 240
	target := flat(w, h)
	target.y0 = 230 // far from the limits above and below
	a, b := even(t, target, flat(300, 700), 0.5, 10), even(t, target, &offset{flat(300, 700), 100}, 0.25, 10)
	b.Gain[0] = 2 // the same light, once the gain has made up for it
	paint(b.Frame, func(x, y, _ int) float64 {
		if x+100 > 170 && x+100 < 230 && y < 230+140 {
			return 0.5 // a passer-by in one of them; without the gain there is none
		}
		return 0.25
	})
	layers := []warp.Layer[float32]{a, b}
	broken := func() (sum float64) {
		dst, _ := mustBlend(t, target, layers...)
		for y := range h {
			row := dst.Row(y)
			for x := 1; x < w; x++ {
				if v := row[x]; v > 0.51 && v < 0.99 { // neither with nor without
					sum++
				}
			}
		}
		return sum
	}
	before := broken()
	priorities := mustFindSeams(t, layers, warp.SeamOptions{Pitch: 8})
	for i := range layers {
		layers[i].Priority = priorities[i]
	}
	assert.GreaterOrEqual(t, before, 500.0, "pixels that show half of what only one layer has, without seams")
	assert.Zero(t, broken(), "the same with seams")
}

// TestSeamKeepsAFeatherFromLimits where there is room, and lies where margins
// are equal else.
func TestSeamKeepsAFeatherFromLimits(t *testing.T) {
	const pitch, w, h = 10, 400, 40
	target := flat(w, h)
	target.y0 = 300 // far from the limits above and below
	// What is cheapest lies at the end of the first layer, at 300 px.
	cost := func(_, _ int, x, _ float64) float64 { return 300.5 - min(x, 300) }
	for feather, want := range map[float64]int{0: 300, 40: 260, 130: 200} {
		layers := []warp.Layer[float32]{even(t, target, flat(300, 700), 0, feather), even(t, target, &offset{flat(300, 700), 100}, 0, feather)}
		got := shown(mustFindSeams(t, layers, warp.SeamOptions{Pitch: pitch, Cost: cost}), w, h, pitch)
		for _, row := range got {
			// The first node of the second layer.
			first := slices.Index(row, 1) * pitch
			assert.GreaterOrEqual(t, first, want, "feather %v", feather)
			assert.LessOrEqual(t, first, want+2*pitch, "feather %v", feather)
		}
	}
}

// TestSeamAroundALayerInside closes on itself.
func TestSeamAroundALayerInside(t *testing.T) {
	const pitch, w, h = 10, 300, 300
	target := flat(w, h)
	inside := even(t, target, scaled{flat(200, 200), 1, 50}, 0, 5)
	// Free on a ring around the middle, dear elsewhere; the middle is the inner
	// layer's: the outer sees nothing there.
	outer := even(t, target, holed{flat(w, h)}, 0, 5)
	got := shown(mustFindSeams(t, []warp.Layer[float32]{outer, inside}, warp.SeamOptions{Pitch: pitch, Cost: func(_, _ int, x, y float64) float64 {
		if r := math.Hypot(x-150, y-150); r > 55 && r < 75 {
			return 0
		}
		return 1
	}}), w, h, pitch)
	for y, row := range got {
		for x, label := range row {
			r := math.Hypot(float64(x*pitch)-150, float64(y*pitch)-150)
			if r < 55 {
				assert.Equal(t, 1, label, "(%d, %d)", x*pitch, y*pitch)
			} else if r > 75 {
				assert.Equal(t, 0, label, "(%d, %d)", x*pitch, y*pitch)
			}
		}
	}
}

// holed is a flat source that does not see what is within 20 px of its middle.
type holed struct{ *plane }

func (s holed) Project(d vec) (x, y float64, ok bool) {
	x, y, ok = s.plane.Project(d)
	return x, y, ok && s.Margin(x, y) >= 0
}

func (s holed) Margin(x, y float64) float64 {
	w, h := float64(s.w), float64(s.h)
	return min(x, y, w-x, h-y, math.Hypot(x-w/2, y-h/2)-20)
}

// ring is cameras all around a panorama, of pictures that do not match.
func ring(t testing.TB, n int) (layers []warp.Layer[float32]) {
	target := equirect{512, 256, 0}
	for i := range n {
		c := newFisheye(300, 200*degree, 360*degree/unit.Angle(n)*unit.Angle(i), 0)
		f := newFrame[float32](t, 300, 300, 1)
		paint(f, func(x, y, _ int) float64 { return float64((x*7+y*13+i*5)%31) / 31 })
		layers = append(layers, warp.Layer[float32]{Frame: f, Map: newMap(t, target, c), Feather: 10})
	}
	return layers
}

// TestSeamsAcrossTheEdges of a panorama: the priorities meet there, every pixel
// has a layer that sees it, and the result does not depend on the workers.
func TestSeamsAcrossTheEdges(t *testing.T) {
	layers := ring(t, 5)
	one := mustFindSeams(t, layers, warp.SeamOptions{Pitch: 8, Workers: 1})
	two := mustFindSeams(t, layers, warp.SeamOptions{Pitch: 8, Workers: 2})
	used := map[int]bool{}
	for y := range 257 {
		for x := range 512 {
			best, first := math.Inf(-1), -1
			for i := range layers {
				a, _ := one[i].At(float64(x), float64(y))
				b, _ := two[i].At(float64(x), float64(y))
				if a != b {
					t.Fatalf("(%d, %d) of layer %d: %v with one worker, %v with two", x, y, i, a, b)
				}
				if a > best {
					best, first = a, i
				}
			}
			used[first] = true
			if _, _, ok := layers[first].Map.At(float64(x), float64(y)); !ok && best > 8 {
				t.Errorf("(%d, %d) is left to layer %d, which does not see it", x, y, first)
			}
		}
		for i, s := range one {
			a, _ := s.At(0, float64(y))
			b, _ := s.At(512, float64(y))
			assert.Equal(t, a, b, "edges of layer %d, row %d", i, y)
		}
	}
	assert.GreaterOrEqual(t, len(used), 4, "layers shown")
}

func TestFindSeamsSaysWhatIsWrong(t *testing.T) {
	target := flat(40, 40)
	good := even(t, target, flat(40, 40), 1, 0)
	for name, tc := range map[string]struct {
		layers []warp.Layer[float32]
		opts   warp.SeamOptions
	}{
		"no layers": {nil, warp.SeamOptions{}},
		"no map":    {[]warp.Layer[float32]{{Frame: good.Frame}}, warp.SeamOptions{}},
		"no frame":  {[]warp.Layer[float32]{{Map: good.Map}}, warp.SeamOptions{}},
		"frame":     {[]warp.Layer[float32]{{Map: good.Map, Frame: newFrame[float32](t, 4, 4, 1)}}, warp.SeamOptions{}},
		"channels":  {[]warp.Layer[float32]{good, {Map: good.Map, Frame: newFrame[float32](t, 40, 40, 2)}}, warp.SeamOptions{}},
		"size":      {[]warp.Layer[float32]{good, even(t, flat(41, 40), flat(40, 40), 1, 0)}, warp.SeamOptions{}},
		"pitch":     {[]warp.Layer[float32]{good}, warp.SeamOptions{Pitch: -1}},
		"length":    {[]warp.Layer[float32]{good}, warp.SeamOptions{Length: math.NaN()}},
		"gain":      {[]warp.Layer[float32]{{Map: good.Map, Frame: good.Frame, Gain: [4]float64{0, -1}}}, warp.SeamOptions{}},
		"feather":   {[]warp.Layer[float32]{{Map: good.Map, Frame: good.Frame, Feather: math.Inf(1)}}, warp.SeamOptions{}},
		"65":        {slices.Repeat([]warp.Layer[float32]{good}, 65), warp.SeamOptions{}},
	} {
		_, err := warp.FindSeams(t.Context(), tc.layers, tc.opts)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	_, err := warp.FindSeams(noContext, []warp.Layer[float32]{good}, warp.SeamOptions{})
	assert.ErrorIs(t, err, warp.ErrInvalid, "no context")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = warp.FindSeams(ctx, []warp.Layer[float32]{good}, warp.SeamOptions{})
	assert.Equal(t, context.Canceled, err)
	var steps []string
	odd := warp.SeamOptions{Cost: func(_, _ int, x, _ float64) float64 {
		return []float64{math.NaN(), math.Inf(1), -4, 1e308, 0}[int(x)%5]
	},
		Progress: func(done, total int) { steps = append(steps, fmt.Sprint(done, "/", total)) }}
	_, err = warp.FindSeams(t.Context(), []warp.Layer[float32]{{Map: good.Map}, {Map: good.Map}}, odd)
	assert.NoError(t, err)
	assert.Equal(t, []string{"1/2", "2/2"}, steps)
}

func BenchmarkFindSeams(b *testing.B) {
	layers := ring(b, 5)
	for b.Loop() {
		mustFindSeams(b, layers, warp.SeamOptions{Pitch: 2})
	}
	b.ReportMetric(257*256*float64(b.N)/1e6/b.Elapsed().Seconds(), "Mnodes/s")
}
