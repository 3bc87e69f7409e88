package root_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/root"
	"github.com/stretchr/testify/assert"
)

func TestFindKnownRoots(t *testing.T) {
	for _, tc := range []struct {
		name   string
		f      func(float64) float64
		lo, hi float64
		want   float64
	}{
		{"sqrt 2", func(x float64) float64 { return x*x - 2 }, 0, 2, math.Sqrt2},
		{"reversed bracket", func(x float64) float64 { return x*x - 2 }, 2, 0, math.Sqrt2},
		{"cos", math.Cos, 0, 3, math.Pi / 2},
		{"root at the low end", func(x float64) float64 { return x }, 0, 1, 0},
		{"root at the high end", func(x float64) float64 { return x - 1 }, 0, 1, 1},
		{"flat", func(x float64) float64 { return math.Pow(x-0.3, 9) }, 0, 1, 0.3},
		{"step", func(x float64) float64 { return math.Copysign(1, x-0.7) }, 0, 1, 0.7},
		{"steep", func(x float64) float64 { return math.Tan(x) - 1e6 }, 0, math.Pi / 2 * (1 - 1e-15), math.Atan(1e6)},
		{"wide", func(x float64) float64 { return x - 1e-9 }, -1e18, 1e18, 1e-9},
	} {
		got, ok := root.Find(tc.f, tc.lo, tc.hi)
		assert.True(t, ok, tc.name)
		if tc.name == "flat" {
			assert.InDelta(t, tc.want, got, 1e-15, "%s: the computed power is monotonic, so its sign decides", tc.name)
			continue
		}
		near.ULP(t, tc.name, got, tc.want, 4, "2 ulp of the method, 2 of the function")
	}
}

func TestFindWithoutAnswer(t *testing.T) {
	for name, f := range map[string]func(float64) float64{
		"no change of sign": func(x float64) float64 { return x*x + 1 },
		"NaN everywhere":    func(float64) float64 { return math.NaN() },
		"NaN inside":        func(x float64) float64 { return math.Sqrt(x*x-0.25) * x * math.Copysign(1, x) * x },
	} {
		x, ok := root.Find(f, -1, 1)
		assert.False(t, ok, "%s: got %v", name, x)
	}
}
