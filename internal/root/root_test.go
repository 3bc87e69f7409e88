package root_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/root"
	"github.com/stretchr/testify/assert"
)

// Halving alone takes 54 evaluations or more: fewer show that interpolation works.
func TestFindKnownRoots(t *testing.T) {
	for _, tc := range []struct {
		name        string
		f           func(float64) float64
		lo, hi      float64
		want        float64
		evaluations int // at most; one more than today where rounding decides
	}{
		{"sqrt 2", func(x float64) float64 { return x*x - 2 }, 0, 2, math.Sqrt2, 11},
		{"reversed bracket", func(x float64) float64 { return x*x - 2 }, 2, 0, math.Sqrt2, 11},
		{"lopsided bracket", func(x float64) float64 { return x*x - 2 }, 1.4, 1e6, math.Sqrt2, 9},
		{"lopsided and reversed", func(x float64) float64 { return 2 - x*x }, 1e6, 1.4, math.Sqrt2, 9},
		{"cos", math.Cos, 0, 3, math.Pi / 2, 9},
		// J. Wallis's example for Newton's method, x³ − 2x − 5.
		{"cubic", func(x float64) float64 { return x*(x*x-2) - 5 }, 2, 3, 2.0945514815423265914823865405793, 9},
		{"wide cubic", func(x float64) float64 { return x*(x*x-2) - 5 }, -30, 50, 2.0945514815423265914823865405793, 25},
		// The constant Ω of Ω·exp(Ω) = 1.
		{"omega", func(x float64) float64 { return math.Exp(-x) - x }, 0, 1, 0.56714329040978387300, 9},
		{"wide omega", func(x float64) float64 { return math.Exp(-x) - x }, -5, 700, 0.56714329040978387300, 13},
		{"line", func(x float64) float64 { return 3*x - 1 }, -7, 90, 1.0 / 3, 5},
		{"root at the low end", func(x float64) float64 { return x }, 0, 1, 0, 2},
		{"root at the high end", func(x float64) float64 { return x - 1 }, 0, 1, 1, 2},
		{"flat", func(x float64) float64 { return math.Pow(x-0.3, 9) }, 0, 1, 0.3, 120},
		{"step", func(x float64) float64 { return math.Copysign(1, x-0.7) }, 0, 1, 0.7, 55},
		{"steep", func(x float64) float64 { return math.Tan(x) - 1e6 }, 0, math.Pi / 2 * (1 - 1e-15), math.Atan(1e6), 32},
		{"wide", func(x float64) float64 { return x - 1e-9 }, -1e18, 1e18, 1e-9, 5},
		{"steep at the root", math.Cbrt, -1, 1.3, 0, 1034},
		{"least of all", func(x float64) float64 { return math.Copysign(1, x) }, -1, 1, 0, 1077},
	} {
		n := 0
		f := func(x float64) float64 { n++; return tc.f(x) }
		got, ok := root.Find(f, tc.lo, tc.hi)
		assert.True(t, ok, tc.name)
		assert.LessOrEqual(t, n, tc.evaluations, "%s: evaluations", tc.name)
		if tc.name == "flat" {
			assert.InDelta(t, tc.want, got, 1e-15, "%s: the computed power is monotonic, so its sign decides", tc.name)
		} else {
			near.ULP(t, tc.name, got, tc.want, 4, "2 ulp of the method, 2 of the function")
		}
	}
}

// Over many functions and brackets the answer is within 2 ulp of the change of
// sign, and the evaluations are few.
func TestFindRandomRoots(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var n [4]int
	for range 2000 {
		at, k := rng.NormFloat64(), math.Exp(2*rng.NormFloat64())
		lo, hi := at-math.Exp(3*rng.NormFloat64()), at+math.Exp(3*rng.NormFloat64())
		for i, f := range []func(float64) float64{
			func(x float64) float64 { return math.Copysign(1, x-at) },
			func(x float64) float64 { return math.Atan(k * (x - at)) },
			func(x float64) float64 { return math.Expm1(k * (x - at)) },
			func(x float64) float64 { return (x - at) * (1 + k*(x-at)*(x-at)) },
		} {
			x, ok := root.Find(func(x float64) float64 { n[i]++; return f(x) }, lo, hi)
			ulp := math.Nextafter(math.Abs(x), math.Inf(1)) - math.Abs(x)
			if !ok || f(x-2*ulp)*f(x+2*ulp) > 0 {
				t.Fatalf("function %d, k = %v, from %v to %v: got %v, %v, want %v", i, k, lo, hi, x, ok, at)
			}
		}
	}
	for i, most := range [4]float64{58.3, 8.15, 10.4, 11.3} {
		assert.LessOrEqual(t, float64(n[i])/2000, most, "mean number of evaluations of function %d", i)
	}
}

func TestFindWithoutAnswer(t *testing.T) {
	for name, f := range map[string]func(float64) float64{
		"no change of sign":   func(x float64) float64 { return x*x + 1 },
		"NaN everywhere":      func(float64) float64 { return math.NaN() },
		"NaN inside":          func(x float64) float64 { return math.Sqrt(x*x-0.25) * x * math.Copysign(1, x) * x },
		"NaN at the low end":  func(x float64) float64 { return 0.5 - math.Sqrt(x) },
		"NaN at the high end": func(x float64) float64 { return math.Sqrt(-x) - 0.5 },
	} {
		x, ok := root.Find(f, -1, 1)
		assert.False(t, ok, "%s: got %v", name, x)
		assert.Zero(t, x, name)
	}
}
