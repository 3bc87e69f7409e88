package warp

import (
	"math"
	"math/cmplx"
	"testing"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/special"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// response is what the kernels of one axis make of a wave of f cycles a texel, at a
// position that is t behind a tap.
func response(k *lanes.Kernel, f float64, t float32) complex128 {
	if k == nil {
		return 0
	}
	sum, w := complex(0, 0), k.Weights(t)
	for i, w := range w[:k.Taps()] {
		sum += complex(float64(w), 0) * cmplx.Exp(complex(0, 2*math.Pi*f*(float64(i-k.Taps()/2+1)-float64(t))))
	}
	return sum
}

// TestLowPassesAreRound: waves as fine as each other are left as much of, in whatever
// direction they run; and what a place between taps adds or takes is little. The
// package comment has the figures.
func TestLowPassesAreRound(t *testing.T) {
	for _, tc := range []struct {
		filter            Filter
		half, threes      float64 // dB at half and at three quarters of Nyquist
		allowed, allowed3 float64
	}{
		{Bilinear, -4.55, -10.95, 0.2, 0.6},
		{CatmullRom, -1.6, -7.6, 0.12, 0.2},
		{Mitchell, -1.6, -7.6, 0.12, 0.2},
		{Lanczos3, -0.5, -4.8, 0.25, 0.4},
	} {
		f := familyOf(tc.filter, AntiAlias)
		for _, scale := range []float64{2, 2.7, 3.9} {
			p := f.kernels(scale, 0)
			for angle := 0.0; angle < 1.6; angle += 0.2 {
				sin, cos := math.Sincos(angle)
				for _, at := range []float32{0, 0.3, 0.5, 0.8} {
					decibels := func(cycles float64) float64 {
						fx, fy := cycles/scale*cos, cycles/scale*sin
						left := response(p.first, fx, at)*response(p.first, fy, 0.4) - response(p.second, fx, at)*response(p.second, fy, 0.4)
						return 20 * math.Log10(cmplx.Abs(left))
					}
					assert.InDelta(t, tc.half, decibels(0.25), tc.allowed, "%v, scale %v, at %v, half of Nyquist", tc.filter, scale, angle)
					assert.InDelta(t, tc.threes, decibels(0.375), tc.allowed3, "%v, scale %v, at %v, three quarters", tc.filter, scale, angle)
					assert.Less(t, decibels(0.6), -25.0, "%v, scale %v, at %v, above Nyquist", tc.filter, scale, angle)
				}
			}
		}
	}
}

// TestKernelsOfAnyScale: no scale is without a kernel, and weights add up to 1, those
// of second kernels to 0.
func TestKernelsOfAnyScale(t *testing.T) {
	for name, f := range families() {
		for _, scale := range []float64{0, 0.3, 1, 1.1, 2, f.widest, 1e300, math.Inf(1), math.NaN()} {
			for level := range levelKinds + 2 {
				p := f.kernels(scale, level)
				sum := func(k *lanes.Kernel) (sum float64) {
					w := k.Weights(0.37)
					for _, w := range w {
						sum += float64(w)
					}
					return sum
				}
				assert.InDelta(t, 1, sum(p.first), 1e-5, "%s, scale %v, level %d", name, scale, level)
				if p.second != nil {
					assert.InDelta(t, 0, sum(p.second), 1e-5, "%s, scale %v, level %d", name, scale, level)
				}
			}
		}
	}
}

// TestWideMeans: as many taps lie beyond a wide pixel as its mean needs.
func TestWideMeans(t *testing.T) {
	for _, scale := range []float64{4.4, 5, 6.5, 7.9, 12} {
		k, worst := means().kernels(scale, 0).first, 0.0
		for f := 0.0; f < 0.35; f += 0.01 {
			for _, at := range []float32{0, 0.25, 0.5, 0.8} {
				worst = max(worst, cmplx.Abs(response(k, f, at)*complex(special.Sinc(f), 0)-complex(special.Sinc(scale*f), 0)))
			}
		}
		assert.Less(t, worst, 0.0145, "contrast missed at scale %v with %d taps", scale, k.Taps())
	}
}

// TestPolarPartsAreBounded: a pixel that sees thousands of rows around a pole takes
// no longer than others.
func TestPolarPartsAreBounded(t *testing.T) {
	const w, h = 64, 32
	frame, err := NewFrame(FrameSpec[float32]{Width: w, Height: h, Channels: 1})
	require.NoError(t, err)
	for y := range h {
		for x := range w {
			frame.Row(y)[x] = float32(y)
		}
	}
	l := layer[float32]{m: &Map{srcWidth: w, srcHeight: h, wrap: true, poles: true}}
	l.sampler = sampler[float32]{levels: []level[float32]{frame.level()}, ch: 1, wrap: true, poles: true, family: means(), means: true}
	s := new(scratch)
	b := batch{s: s, ch: 1, xs: s.xs[:1], ys: s.ys[:1], vals: s.val[:1], cov: s.cov[:1]}
	l.aroundPole(&polar{scale: 1e9, j: Jacobian{XX: 10, YY: 10}}, b)
	// The mean distance from the centre of a square of ten rows; row 0 is half a row away.
	assert.InDelta(t, 10*(math.Sqrt2+math.Asinh(1))/6-0.5, b.vals[0], 0.01, "64² parts stand for the integral")
}
