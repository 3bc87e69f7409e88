package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/special"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
)

// TestPixelMean compares with the mean of a wave over the square of the target
// pixel, in closed form: sinc along each of its axes.
func TestPixelMean(t *testing.T) {
	near.NumbersOnly(t)
	const n = 600
	for _, scale := range []float64{0.3, 0.6, 1, 1.4, 2, 2.2, 2.6, 5.3, 8} {
		for _, cycles := range []float64{0.2, 0.5, 0.7} { // a target pixel
			if cycles/scale > 0.36 {
				continue // hardly left by the pixels of the source
			}
			for _, angle := range []float64{0, 0.4} {
				s := wave{cycles / scale * math.Cos(0.7), cycles / scale * math.Sin(0.7), 1}
				src := newFrame[float32](t, n, n, 1)
				paint(src, func(x, y, _ int) float64 {
					return s.mean(float64(x), float64(y), float64(x+1), float64(y+1))
				})
				size := int(n / scale * 0.6)
				m := newMap(t, turned(size, size, scale, angle, n/2+0.4, n/2-0.3), flat(n, n))
				dst := newFrame[float32](t, size, size, 1)
				mustWarp(t, dst, src, m, warp.Options{Minify: warp.PixelMean})
				// The axes of a target pixel in the source.
				sin, cos := math.Sincos(angle)
				kept := special.Sinc(scale*(s.fx*cos+s.fy*sin)) * special.Sinc(scale*(s.fy*cos-s.fx*sin))
				worst := 0.0
				for y := range size {
					for x, got := range dst.Row(y) {
						sx, sy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
						worst = math.Max(worst, math.Abs(float64(got)-(0.5+kept*(s.at(sx, sy)-0.5))))
					}
				}
				// Below a scale of 2, twice what the package says is missed of the
				// contrast (0.4) in the mean, on both axes, rounded up; above, a disc
				// stands for the square.
				allowed := 0.02
				switch finest := cycles / scale; {
				case scale > 2:
					allowed = 0.045
				case finest < 0.2:
					allowed = 0.004
				case finest < 0.26:
					allowed = 0.01
				}
				assert.LessOrEqual(t, worst, allowed, "of a wave of 0.4: scale %v, %v cycles, turned by %v", scale, cycles, angle)
			}
		}
	}
}
