package projection

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

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
