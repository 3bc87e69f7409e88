package rig

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/projection/internal/geom"
	"github.com/stretchr/testify/assert"
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
		if !(got >= want*(1-1e-9)-1e-12) {
			t.Fatalf("within %g of the line lie %g of %v, the strip is %g", e, want, corners, got)
		}
		if want > 0 && got < 1.02*want {
			sharp++
		}
	}
	if sharp < 2000 {
		t.Errorf("%d strips are sharp: the test has lost its grip", sharp)
	}
}

// Solid angles of triangles down to the smallest, against L'Huilier's formula from
// the sides, in 200 bits:
//
//	tan(Ω/4) = √(tan(s/2) tan((s−a)/2) tan((s−b)/2) tan((s−c)/2))
func TestTriangle(t *testing.T) {
	rng := rand.New(rand.NewPCG(83, 84))
	const bits = 200
	f := func(x float64) *big.Float { return new(big.Float).SetPrec(bits).SetFloat64(x) }
	add := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Add(a, b) }
	sub := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Sub(a, b) }
	mul := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Mul(a, b) }
	quo := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Quo(a, b) }
	root := func(a *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Sqrt(a) }
	// Tangents of half an arc, and of sums and differences of arcs, by tangents.
	halve := func(t *big.Float) *big.Float { return quo(t, add(f(1), root(add(f(1), mul(t, t))))) }
	plus := func(a, b *big.Float) *big.Float { return quo(add(a, b), sub(f(1), mul(a, b))) }
	minus := func(a, b *big.Float) *big.Float { return quo(sub(a, b), add(f(1), mul(a, b))) }
	twice := func(a *big.Float) *big.Float { return plus(a, a) }
	// The tangent of a quarter of the arc between two vectors.
	quarter := func(a, b r3.Vec) *big.Float {
		dot := func(a, b r3.Vec) *big.Float {
			return add(add(mul(f(a.X), f(b.X)), mul(f(a.Y), f(b.Y))), mul(f(a.Z), f(b.Z)))
		}
		both := root(mul(dot(a, a), dot(b, b)))
		return halve(root(quo(sub(both, dot(a, b)), add(both, dot(a, b)))))
	}
	for range 3000 {
		size := math.Pow(10, -6*rng.Float64())
		corner := func(p r3.Vec) r3.Vec {
			return geom.Unit(r3.Add(p, r3.Scale(size, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})))
		}
		p := geom.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		a, b, c := corner(p), corner(p), corner(p)
		x, y, z := quarter(b, c), quarter(c, a), quarter(a, b)
		s := plus(plus(x, y), z)
		product := mul(mul(s, minus(s, twice(x))), mul(minus(s, twice(y)), minus(s, twice(z))))
		if product.Sign() < 0 {
			continue // a triangle without width
		}
		want, _ := root(product).Float64()
		want = 4 * math.Atan(want)
		got := triangle(a, b, c)
		// The sides are those of corners of length 1 to an ulp, and thin triangles
		// lose what their corners round.
		assert.InDelta(t, want, got, 4e-16*size+2e-15*want, "%v %v %v", a, b, c)
	}
}
