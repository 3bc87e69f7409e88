package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// zonePlate is rings whose frequency grows from 0 in the middle to 0.5 cycles
// a pixel at the distance n/2, and stops at its mean beyond.
func zonePlate(t testing.TB, n int) warp.Frame[float32] {
	f := newFrame[float32](t, n, n, 1)
	paint(f, func(x, y, _ int) float64 {
		r := math.Hypot(float64(x)+0.5-float64(n)/2, float64(y)+0.5-float64(n)/2)
		if r > float64(n)/2 {
			return 0.5
		}
		return 0.5 + 0.5*math.Cos(math.Pi*r*r/float64(n))
	})
	return f
}

// TestZonePlate measures what is left of rings too fine for the target. The
// energy of rings at f cycles a source pixel is to be kept where f·scale is
// small and taken out above the target's Nyquist frequency, f·scale = ½.
func TestZonePlate(t *testing.T) {
	near.NumbersOnly(t)
	const n = 1024
	src := zonePlate(t, n)
	for _, filter := range []warp.Filter{warp.Bilinear, warp.CatmullRom, warp.Lanczos3} {
		// decibels kept at half of the Nyquist frequency
		kept := map[warp.Filter]float64{warp.Bilinear: -5.1, warp.CatmullRom: -2.4, warp.Lanczos3: -1}[filter]
		for _, tc := range []struct{ scale, angle float64 }{
			{1.25, 0.6}, {1.5, 0.2}, {2, 0}, {2.49, 1}, {2.7, 0.8}, {3.9, 0}, {4, 0.4}, {5, 1.1}, {8, 0.4},
		} {
			size := int(n / tc.scale)
			target := turned(size, size, tc.scale, tc.angle, n/2+0.37, n/2+0.21)
			m := newMap(t, target, flat(n, n))
			dst := newFrame[float32](t, size, size, 1)
			require.NoError(t, warp.Warp(t.Context(), dst, src, m, warp.Options{Filter: filter}))
			// Energy of the rings from low to high cycles a target pixel,
			// against that in the source, 1/8.
			left := func(low, high float64) float64 {
				sum, count := 0.0, 0
				for y := range size {
					for x, v := range dst.Row(y) {
						sx, sy, ok := m.At(float64(x)+0.5, float64(y)+0.5)
						f := math.Hypot(sx-n/2, sy-n/2) / n
						if !ok || f*tc.scale < low || f*tc.scale >= high || f > 0.49 {
							continue
						}
						sum += (float64(v) - 0.5) * (float64(v) - 0.5)
						count++
					}
				}
				return 10 * math.Log10(sum/float64(count)*8)
			}
			ref.Equal(t, "WARP-ZONE", left(0.5, 9) <= -30, true, filter, tc.scale, tc.angle, left(0.5, 9))
			assert.GreaterOrEqual(t, left(0.2, 0.3), kept, "dB at half of Nyquist: %v, %+v", filter, tc)
		}
	}
}
