package peak_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/peak"
	"github.com/stretchr/testify/assert"
)

func TestFindKnownPeaks(t *testing.T) {
	const flat = 3e-8 // where a smooth peak of 1 has lost half a rounding
	roof := func(x float64) float64 { return -math.Abs(x - 0.3) }
	for name, tc := range map[string]struct {
		f             func(float64) float64
		lo, start, hi float64
		tolerance     float64
		want, value   float64
		off           float64 // allowed of x
	}{
		"sine":              {math.Sin, 0, 1, 3, 1e-8, math.Pi / 2, 1, flat},
		"from the low end":  {math.Sin, 0, 0, 3, 1e-8, math.Pi / 2, 1, flat},
		"from the high end": {math.Sin, 0, 3, 3, 1e-8, math.Pi / 2, 1, flat},
		"roof":              {roof, -7, 2, 5, 1e-13, 0.3, 0, 1e-13},
		"no tolerance":      {roof, 0, 1, 1, 0, 0.3, 0, 1e-16},
		"lopsided roof":     {func(x float64) float64 { return min(x, 1e-3*(0.25-x)+0.25) }, 0, 0.9, 1, 1e-13, 0.25, 0.25, 1e-13},
		"at the low end":    {func(x float64) float64 { return -x }, 2, 2.5, 3, 1e-12, 2, -2, 1e-12},
		"at the high end":   {math.Exp, 0, 0, 1, 1e-12, 1, math.E, 1e-12},
		"end of the domain": {func(x float64) float64 {
			if x > 0.6 {
				return math.Inf(-1)
			}
			return x
		}, 0, 0.1, 1, 1e-12, 0.6, 0.6, 1e-12},
		"NaN beyond": {func(x float64) float64 { return math.Sqrt(x-0.5) - x }, 0, 0.9, 2, 1e-8, 0.75, -0.25, flat},
		"a point":    {math.Cos, 2, 2, 2, 0, 2, math.Cos(2), 0},
		"level":      {func(float64) float64 { return 5 }, 0, 0.7, 1, 1e-8, 0.7, 5, 0},
	} {
		steps := 0
		x, value := peak.Find(func(x float64) float64 {
			steps++
			assert.True(t, x >= tc.lo && x <= tc.hi, "%s: f called at %v", name, x)
			return tc.f(x)
		}, tc.lo, tc.start, tc.hi, tc.tolerance)
		assert.InDelta(t, tc.want, x, tc.off, name)
		assert.InDelta(t, tc.value, value, 3*tc.tolerance+1e-15, "%s: slopes are at most e", name)
		assert.LessOrEqual(t, steps, 100, name)
	}
	x, value := peak.Find(func(float64) float64 { return math.NaN() }, 0, 0.5, 1, 1e-3)
	assert.Equal(t, 0.5, x)
	assert.Equal(t, math.Inf(-1), value)
}

// Of several maxima it finds one, no lower than the start.
func TestFindNeverGoesDown(t *testing.T) {
	const rounding = 2e-14 // of a sine of 9x + c, which the compiler may fuse either way
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		a, b, c := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		f := func(x float64) float64 { return a*math.Sin(5*x) + b*math.Cos(9*x+c) }
		start := 3 * rng.Float64()
		x, value := peak.Find(f, 0, start, 3, 1e-8)
		assert.GreaterOrEqual(t, value, f(start)-rounding)
		assert.InDelta(t, f(x), value, rounding)
		for _, d := range []float64{-1e-5, 1e-5} {
			if beside := x + d; beside >= 0 && beside <= 3 {
				assert.LessOrEqual(t, f(beside), value+rounding, "a maximum at %v", x)
			}
		}
	}
}
