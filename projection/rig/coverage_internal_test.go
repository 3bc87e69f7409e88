package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// The part of a triangle within e of a line, cut out by two parallel lines and
// measured with the shoelace formula, is at most the strip.
func TestStripBounds(t *testing.T) {
	type point [2]float64
	rng := rand.New(rand.NewPCG(81, 82))
	area := func(p []point) (a float64) {
		for i := range p {
			q := p[(i+1)%len(p)]
			a += p[i][0]*q[1] - p[i][1]*q[0]
		}
		return math.Abs(a) / 2
	}
	below := func(p []point, limit float64) (kept []point) { // y ≤ limit
		for i, a := range p {
			b := p[(i+1)%len(p)]
			if a[1] <= limit {
				kept = append(kept, a)
			}
			if (a[1] <= limit) != (b[1] <= limit) {
				f := (limit - a[1]) / (b[1] - a[1])
				kept = append(kept, point{a[0] + f*(b[0]-a[0]), limit})
			}
		}
		return kept
	}
	flipped := func(p []point) (q []point) {
		for _, a := range p {
			q = append(q, point{a[0], -a[1]})
		}
		return q
	}
	sharp := 0
	for range 20_000 {
		corners := make([]point, 3)
		var triangle [3]r3.Vec
		for i := range corners {
			corners[i] = point{rng.NormFloat64(), rng.NormFloat64()}
			triangle[i] = r3.Vec{X: corners[i][0], Y: corners[i][1]}
		}
		e := math.Pow(10, 1-5*rng.Float64())
		c := cut{n: r3.Vec{Y: 1}, e: e}
		want := area(flipped(below(flipped(below(corners, e)), e)))
		got := c.strip(&triangle)
		require.True(t, got >= want*(1-1e-9)-1e-12, "within %g of the line lie %g of %v, the strip is %g", e, want, corners, got)
		if want > 0 && got < 1.02*want {
			sharp++
		}
	}
	if sharp < 2000 {
		t.Errorf("%d strips are sharp: the test has lost its grip", sharp)
	}
}
