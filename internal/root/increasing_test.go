package root_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/root"
	"github.com/stretchr/testify/assert"
)

func TestIncreasingKnownInverses(t *testing.T) {
	for name, tc := range map[string]struct {
		f         func(x float64) (y, slope float64)
		y, lo, hi float64
		start     float64
		want      float64
		steps     int // at most
	}{
		"tangent":             {func(x float64) (float64, float64) { c := math.Cos(x); return math.Tan(x), 1 / (c * c) }, math.Sqrt(3), 0, 1.5, 0.1, math.Pi / 3, 8},
		"sine":                {math.Sincos, 0.5, 0, math.Pi / 2, 0.4, math.Pi / 6, 5},
		"exponential":         {func(x float64) (float64, float64) { e := math.Exp(x); return e, e }, 10, -50, 50, -2, math.Ln10, 15},
		"square":              {func(x float64) (float64, float64) { return x * x, 2 * x }, 2, 0, 1e6, 1e6, math.Sqrt2, 25},
		"flat at the start":   {func(x float64) (float64, float64) { return x * x * x, 3 * x * x }, 27, 0, 10, 0, 3, 8},
		"root, steep at 0":    {func(x float64) (float64, float64) { return math.Sqrt(x), 0.5 / math.Sqrt(x) }, 1e-3, 0, 1, 1, 1e-6, 27},
		"a slope that lies":   {func(x float64) (float64, float64) { return x, 1e-6 }, 0.7, 0, 1, 0.5, 0.7, 53},
		"a slope that is NaN": {func(x float64) (float64, float64) { return x, math.NaN() }, 0.7, 0, 1, 0.5, 0.7, 53},
		"a step":              {func(x float64) (float64, float64) { return math.Copysign(1, x-0.7), 0 }, 0, 0, 1, 0.5, 0.7, 54},
		"a line":              {func(x float64) (float64, float64) { return 2 * x, 2 }, 20, -50, 50, 1, 10, 2},
		"a step of half":      {func(x float64) (float64, float64) { return x, 1 }, 0.75, 0, 1, 0.25, 0.75, 2},
		"at the low end":      {func(x float64) (float64, float64) { return x, 1 }, 0, 0, 1, 0.25, 0, 2},
		"at the high end":     {func(x float64) (float64, float64) { return x, 1 }, 1, 0, 1, 0.75, 1, 2},
		"just below":          {func(x float64) (float64, float64) { return x, 1 }, 0.9, 1, 4, 1.5, 1, 53},
		"just above":          {func(x float64) (float64, float64) { return x, 1 }, 4.1, 1, 4, 3.5, 4, 53},
		"below the bracket":   {func(x float64) (float64, float64) { return x, 1 }, -1, 0, 1, 0.5, 0, 1075},
		"above the bracket":   {func(x float64) (float64, float64) { return x, 1 }, 2, 0, 1, 0.5, 1, 54},
	} {
		steps := 0
		got := root.Increasing(func(x float64) (float64, float64) {
			steps++
			assert.True(t, x >= tc.lo && x <= tc.hi, "%s: f called at %v, outside the bracket", name, x)
			return tc.f(x)
		}, tc.y, tc.lo, tc.hi, tc.start)
		near.ULP(t, name, got, tc.want, 4, "roundings of the function and one of the step")
		assert.LessOrEqual(t, steps, tc.steps, "%s: evaluations", name)
	}
}

func TestIncreasingRandomInverses(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var n [3]int
	for range 2000 {
		want, k := rng.NormFloat64(), math.Exp(2*rng.NormFloat64())
		lo, hi := want-math.Exp(2*rng.NormFloat64()), want+math.Exp(2*rng.NormFloat64())
		start := lo + rng.Float64()*(hi-lo)
		for i, f := range []func(x float64) (float64, float64){
			func(x float64) (float64, float64) { return math.Atan(k * x), k / (1 + k*k*x*x) },
			func(x float64) (float64, float64) { return math.Sinh(k * x), k * math.Cosh(k*x) },
			func(x float64) (float64, float64) { return x * (1 + k*x*x), 1 + 3*k*x*x },
		} {
			y, _ := f(want)
			x := root.Increasing(func(x float64) (float64, float64) { n[i]++; return f(x) }, y, lo, hi, start)
			if got, slope := f(x); !(math.Abs(got-y) <= 1e-15*(math.Abs(y)+slope*math.Abs(x))) {
				t.Fatalf("function %d, k = %v, from %v to %v: got %v, want %v", i, k, lo, hi, x, want)
			}
		}
	}
	for i, most := range [3]float64{6.11, 7.07, 6.92} {
		assert.LessOrEqual(t, float64(n[i])/2000, most, "mean number of evaluations of function %d", i)
	}
}

func TestBoundary(t *testing.T) {
	for _, edge := range []float64{-0.25, 1e-9, 0.7, 2.999} {
		below := func(x float64) bool { return x < edge }
		// Once from either side.
		n := 0
		got := root.Boundary(func(x float64) bool { n++; return below(x) }, 3, -1)
		assert.Equal(t, 50, n, "halvings")
		assert.True(t, below(got))
		assert.InDelta(t, edge, got, 4*0x1p-50, "4 wide")
		above := func(x float64) bool { return !below(x) }
		got = root.Boundary(above, -1, 3)
		assert.True(t, above(got))
		assert.InDelta(t, edge, got, 4*0x1p-50, "4 wide")
	}
}
