package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestOptionsOutOfRange(t *testing.T) {
	m := newMap(t, flat(8, 8), flat(8, 8))
	src, dst := newFrame[uint8](t, 8, 8, 1), newFrame[uint8](t, 8, 8, 1)
	for _, opts := range []warp.Options{{Filter: 5}, {Filter: 255}, {Edge: 3}, {Minify: 3}} {
		assert.ErrorIs(t, warp.Warp(t.Context(), dst, src, m, opts), warp.ErrInvalid, "%+v", opts)
		assert.ErrorIs(t, warp.Blend(t.Context(), dst, []warp.Layer[uint8]{{Frame: src, Map: m}}, opts), warp.ErrInvalid, "%+v", opts)
	}
}

// TestNearest takes the pixel that holds the position, and nothing of others.
func TestNearest(t *testing.T) {
	src := newFrame[uint16](t, 300, 200, 3)
	random(src, 3)
	for _, scale := range []float64{0.3, 1, 3.3} {
		target := turned(150, 100, scale, 0.7, 150.2, 100.1)
		m := newMap(t, target, flat(300, 200))
		dst := newFrame[uint16](t, 150, 100, 3)
		mustWarp(t, dst, src, m, warp.Options{Filter: warp.Nearest})
		for y := range 100 {
			for x := range 150 {
				sx, sy, ok := m.At(float64(x)+0.5, float64(y)+0.5)
				if math.Abs(sx-math.Round(sx)) < 1e-5 || math.Abs(sy-math.Round(sy)) < 1e-5 {
					continue // on a border, to within what positions are rounded to
				}
				for c := range 3 {
					want := uint16(0)
					if ok {
						want = src.Row(int(sy))[3*int(sx)+c]
					}
					if got := dst.Row(y)[3*x+c]; got != want {
						t.Fatalf("scale %v: (%d, %d)[%d] is %d, want %d", scale, x, y, c, got, want)
					}
				}
			}
		}
	}
}

// TestPointSample leaves stripes finer than the target in place, and false.
func TestPointSample(t *testing.T) {
	target := turned(60, 60, 4, 0, 150, 150)
	m := newMap(t, target, flat(300, 300))
	src, dst := newFrame[float32](t, 300, 300, 1), newFrame[float32](t, 60, 60, 1)
	paint(src, func(x, _, _ int) float64 { return float64(x % 3 / 2) })
	for _, filter := range []warp.Filter{warp.Bilinear, warp.CatmullRom, warp.Mitchell, warp.Lanczos3} {
		for _, how := range []warp.Minify{warp.AntiAlias, warp.PointSample} {
			mustWarp(t, dst, src, m, warp.Options{Filter: filter, Minify: how})
			low, high := float32(1), float32(0)
			for _, v := range dst.Row(30)[10:50] {
				low, high = min(low, v), max(high, v)
			}
			assert.Equal(t, how == warp.PointSample, high-low > 0.1, "%v, %v: from %v to %v", filter, how, low, high)
		}
	}
}

// TestEdges looks half a pixel beyond the first column, and farther.
func TestEdges(t *testing.T) {
	src := newFrame[float32](t, 12, 12, 2)
	paint(src, func(_, _, c int) float64 { return float64(8 + c) })
	fill := [4]float32{2, 3}
	for _, tc := range []struct {
		edge warp.Edge
		// of a pixel whose position is a quarter of a pixel from the edge, and
		// of one that sees nothing
		value, cover, nothing float64
	}{{warp.Mask, 8, 0.75, 0}, {warp.Clamp, 8, 1, 0}, {warp.Constant, 0.75*8 + 0.25*2, 0.75, 2}} {
		target := flat(12, 12)
		target.x0 = -1.25
		m := newMap(t, target, flat(12, 12))
		dst, cov := newFrame[float32](t, 12, 12, 2), newFrame[float32](t, 12, 12, 1)
		mustWarp(t, dst, src, m, warp.Options{Edge: tc.edge, Fill: fill, Coverage: cov})
		for c := range 2 {
			assert.InDelta(t, tc.value+float64(c), dst.Row(5)[2+c], 1e-6, "%v at the edge", tc.edge)
			want := tc.nothing
			if want > 0 {
				want += float64(c)
			}
			assert.EqualValues(t, want, dst.Row(5)[c], "%v where nothing is seen", tc.edge)
		}
		assert.Equal(t, []float32{0, float32(tc.cover), 1}, cov.Row(5)[:3], "coverage with %v", tc.edge)
		// All filters keep a constant, and fill what they do not see.
		for _, filter := range []warp.Filter{warp.Nearest, warp.CatmullRom, warp.Mitchell, warp.Lanczos3} {
			mustWarp(t, dst, src, m, warp.Options{Edge: tc.edge, Fill: [4]float32{8, 9}, Filter: filter})
			for i, got := range dst.Row(5)[2:] {
				assert.InDelta(t, 8+i%2, got, 5e-6, "%v, %v: value %d of a constant", tc.edge, filter, i)
			}
		}
	}
}

// TestBlendFills puts the constant where no layer has weight, and nowhere else.
func TestBlendFills(t *testing.T) {
	src := newFrame[uint16](t, 20, 20, 3)
	paint(src, func(_, _, c int) float64 { return float64(1000 + c) })
	left, right := flat(40, 20), flat(40, 20)
	left.x0, right.x0 = -4.25, -21.5
	dst, cov := newFrame[uint16](t, 40, 20, 3), newFrame[float32](t, 40, 20, 1)
	layers := []warp.Layer[uint16]{
		{Frame: src, Map: newMap(t, left, flat(20, 20))},
		{Frame: src, Map: newMap(t, right, flat(20, 20)), Feather: 3},
	}
	require.NoError(t, warp.Blend(t.Context(), dst, layers, warp.Options{Edge: warp.Constant, Fill: [4]float32{7, 8, 9}, Coverage: cov}))
	for x, c := range cov.Row(10) {
		want := [3]uint16{1000, 1001, 1002}
		if x < 4 {
			want = [3]uint16{7, 8, 9}
		}
		assert.Equal(t, want, [3]uint16(dst.Row(10)[3*x:]), "column %d", x)
		assert.Equal(t, x < 4, c == 0, "column %d has the coverage %v", x, c)
	}
}

// TestHighlights: a step from 1 to 10000 rings with the sharp filters, saturates
// in whole numbers, and stays between the two with Bilinear at all scales.
func TestHighlights(t *testing.T) {
	for _, scale := range []float64{0.4, 1.1, 2, 7} {
		target := turned(60, 60, scale, 0.3, 250.3, 250.1)
		m := newMap(t, target, flat(500, 500))
		src, dst := newFrame[float32](t, 500, 500, 1), newFrame[float32](t, 60, 60, 1)
		whole, small := newFrame[uint16](t, 500, 500, 1), newFrame[uint16](t, 60, 60, 1)
		step := func(x, _, _ int) float64 {
			if x < 250 {
				return 1
			}
			return 10000
		}
		paint(src, step)
		paint(whole, func(x, y, c int) float64 {
			if step(x, y, c) > 1 {
				return 65535
			}
			return 0
		})
		for _, filter := range []warp.Filter{warp.Bilinear, warp.CatmullRom, warp.Mitchell, warp.Lanczos3} {
			mustWarp(t, dst, src, m, warp.Options{Filter: filter})
			low, high := math.Inf(1), math.Inf(-1)
			for y := range 60 {
				for _, v := range dst.Row(y) {
					low, high = math.Min(low, float64(v)), math.Max(high, float64(v))
				}
			}
			assert.Equal(t, filter != warp.Bilinear, low < 0.99 && high > 10001, "scale %v, %v: from %v to %v", scale, filter, low, high)
			mustWarp(t, small, whole, m, warp.Options{Filter: filter})
			for y := range 60 {
				for x, v := range small.Row(y) {
					sx, sy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
					if d := (sx - 250) / math.Max(scale, 1); sy > 0 && d < -0.8 && v > 20000 || d > 0.8 && v < 45000 {
						t.Fatalf("scale %v, filter %d: (%d, %d) is %d, %v px from the step", scale, filter, x, y, v, d)
					}
				}
			}
		}
	}
}
