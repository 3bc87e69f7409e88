package projection

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// One coefficient alone, evaluated by hand at (0.3, 0.4), where r² is 1/4. There and back,
// and a step of Newton's method squares its error: with a slope that is wrong it would only
// shorten it, and Undistort would take the long way.
func TestEachCoefficientAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	for spec, want := range map[BrownConradySpec][2]float64{
		{K1: 0.1}: {0.3075, 0.41}, {K2: 0.1}: {0.301875, 0.4025}, {K3: 0.1}: {0.30046875, 0.400625},
		{K1: -0.1}: {0.2925, 0.39}, {K2: -0.1}: {0.298125, 0.3975}, {K3: -0.1}: {0.29953125, 0.399375},
		{K4: -0.1}: {0.3 / 0.975, 0.4 / 0.975}, {K5: -0.1}: {0.3 / 0.99375, 0.4 / 0.99375}, {K6: -0.1}: {0.3 / 0.9984375, 0.4 / 0.9984375},
		{K4: 0.1}: {0.3 / 1.025, 0.4 / 1.025}, {K5: 0.1}: {0.3 / 1.00625, 0.4 / 1.00625}, {K6: 0.1}: {0.3 / 1.0015625, 0.4 / 1.0015625},
		{P1: 0.1}: {0.324, 0.457}, {P2: 0.1}: {0.343, 0.424},
		{S1: 0.1}: {0.325, 0.4}, {S2: 0.1}: {0.30625, 0.4}, {S3: 0.1}: {0.3, 0.425}, {S4: 0.1}: {0.3, 0.40625},
	} {
		made, err := NewBrownConrady(spec)
		require.NoError(t, err)
		u, v, _ := made.Distort(0.3, 0.4)
		assert.InDeltaSlice(t, want[:], []float64{u, v}, 1e-15, "%+v: roundings", spec)
		x, y, _ := made.Undistort(want[0], want[1])
		assert.InDeltaSlice(t, []float64{0.3, 0.4}, []float64{x, y}, 4e-15, "%+v: roundings", spec)

		d := made.(*brownConrady)
		for range 200 {
			const h = 1e-5
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			x, y := rng.Float64()-0.5, rng.Float64()-0.5
			u, v := d.at(x, y)
			dx, dy := d.newton(x+h*cos, y+h*sin, u, v)
			require.Less(t, math.Hypot(h*cos+dx, h*sin+dy), 10*h*h, "%+v at (%v, %v)", spec, x, y)
			if x, y, ok := d.Undistort(u, v); ok {
				_, _, soon := d.quick(u, v)
				require.True(t, soon, "%+v: (%v, %v) in a few steps", spec, x, y)
			}
		}
	}
}

// One step of Newton's method from the cubics of a polynomial is all that Angle takes: it
// comes as near as the search in a bracket, up to where the radius stops growing.
func TestCubicsOfAPolynomial(t *testing.T) {
	for _, c := range [][]float64{
		{1}, {1, -1. / 3}, {1, 0.02, -0.01, 0.001}, {1.2, -0.08, 0.003},
		{1, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
	} {
		made, err := NewOddPolynomial(OddPolynomialSpec{Coefficients: c})
		require.NoError(t, err)
		quick := *made.(*oddPolynomial)
		slow := quick
		quick.small, slow.small = math.Inf(1), -1 // one step always, or never
		const n = 3000
		for i := range n {
			r := quick.rMax * float64(i) / n
			got, _ := quick.angle(r)
			want, _ := slow.angle(r)
			_, slope := slow.at(want)
			require.InDelta(t, want, got, 2e-15+2e-15*r/slope, "%v at %v: stated", c, r)
		}
	}
}

func TestPositiveUpTo(t *testing.T) {
	// Polynomials by their roots, so that the first is known.
	of := func(lead float64, roots ...float64) []float64 {
		p := []float64{lead}
		for _, r := range roots {
			p = polyProduct(p, []float64{-r, 1})
		}
		return p
	}
	inf := math.Inf(1)
	for _, e := range []struct {
		what      string
		a         []float64
		want, tol float64
	}{
		{"constant", []float64{1}, inf, 0},
		{"nothing", nil, 0, 0},
		{"zero", []float64{0, 0}, 0, 0},
		{"negative", []float64{-1, 5}, 0, 0},
		{"from zero", []float64{0, 1}, 0, 0},
		{"NaN", []float64{math.NaN(), 1}, 0, 0},
		{"line", []float64{1, -4}, 0.25, 1e-16},
		{"line, far", []float64{1, -1e-6}, 1e6, 1e-3},
		{"rising", []float64{1, 2, 3}, inf, 0},
		{"trailing zeros", []float64{1, -4, 0, 0}, 0.25, 1e-16},
		{"no real root", []float64{1, -1, 1}, inf, 0},
		{"at the seam of the two halves", of(-1, 1), 1, 1e-15},
		{"double", of(1, 0.5, 0.5), 0.5, 1e-7},
		{"double, far", of(1, 70, 70), 70, 1e-4},
		{"triple", of(-1, 0.3, 0.3, 0.3), 0.3, 1e-4},
		{"two close together", of(1, 0.7, 0.7+1e-6), 0.7, 1e-9},
		{"many", of(-1, 3, 2, 0.9, 5, 7, 8, 11), 0.9, 1e-12},
		{"tiny", of(-1, 1e-12, 1, 2), 1e-12, 1e-26},
	} {
		got := positiveUpTo(e.a)
		assert.InDelta(t, e.want, got, e.tol, e.what+": roundings through the multiplicity")
	}
	// At random, against the least of the roots.
	rng := rand.New(rand.NewPCG(8, 8))
	for range 2000 {
		roots := make([]float64, 1+2*rng.IntN(4))
		least := inf
		for i := range roots {
			roots[i] = math.Exp(2 * rng.NormFloat64())
			least = min(least, roots[i])
		}
		assert.InEpsilon(t, least, positiveUpTo(of(-1, roots...)), 1e-4, "random: close roots")
	}
}
