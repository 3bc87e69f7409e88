package sphere_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/sphere"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
)

// rounding is that of about ten operations on numbers up to 1.
const rounding = 1e-15

func anyVec(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}

// near is a direction within about size of another.
func near(rng *rand.Rand, p r3.Vec, size float64) r3.Vec {
	return sphere.Unit(r3.Add(p, r3.Scale(size, anyVec(rng))))
}

func TestNormAndUnit(t *testing.T) {
	assert.Equal(t, 7.0, sphere.Norm(r3.Vec{X: 2, Y: -3, Z: 6}))
	assert.Equal(t, r3.Vec{X: 2. / 7, Y: -3. / 7, Z: 6. / 7}, sphere.Unit(r3.Vec{X: 2, Y: -3, Z: 6}))
	rng := rand.New(rand.NewPCG(1, 1))
	for range 1000 {
		v := r3.Scale(math.Pow(10, 280*(rng.Float64()-0.5)), anyVec(rng))
		assert.InEpsilon(t, r3.Norm(v), sphere.Norm(v), rounding)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(v), sphere.Unit(v))), rounding)
	}
}

// Angles from their sines and cosines, anywhere in space and between vectors of
// any length.
func TestAngle(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, want := range []float64{0, 1e-15, 1e-9, 1e-3, 0.5, math.Pi / 2, 2, 3.1, math.Pi - 1e-9, math.Pi} {
		for range 200 {
			sin, cos := math.Sincos(want)
			x := sphere.Unit(anyVec(rng))
			y := sphere.Unit(r3.Cross(x, anyVec(rng)))
			b := r3.Add(r3.Scale(cos, x), r3.Scale(sin, y))
			got := sphere.Angle(r3.Scale(1e-40, x), r3.Scale(1e50, b))
			assert.InDelta(t, want, got, rounding, "directions are given to 2e-16 in each of three components")
			assert.Equal(t, sphere.Angle(x, b), sphere.Angle(b, x))
		}
	}
	assert.Equal(t, 0.25e-9, sphere.Angle(r3.Vec{X: 4}, r3.Vec{X: 4, Y: 1e-9}), "no digits lost on axes")
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
		p := sphere.Unit(anyVec(rng))
		a, b, c := near(rng, p, size), near(rng, p, size), near(rng, p, size)
		x, y, z := quarter(b, c), quarter(c, a), quarter(a, b)
		s := plus(plus(x, y), z)
		product := mul(mul(s, minus(s, twice(x))), mul(minus(s, twice(y)), minus(s, twice(z))))
		if product.Sign() < 0 {
			continue // a triangle without width
		}
		want, _ := root(product).Float64()
		want = 4 * math.Atan(want)
		// The sides are those of corners of length 1 to an ulp, and thin triangles
		// lose what their corners round. So do sides of nearly half a turn.
		half := min(1, r3.Norm(r3.Add(a, b)), r3.Norm(r3.Add(b, c)), r3.Norm(r3.Add(c, a)))
		assert.InDelta(t, want, sphere.Triangle(a, b, c), (4e-16*size+2e-15*want)/half, "%v %v %v", a, b, c)
	}
	x, y, z := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: -1}
	assert.InDelta(t, math.Pi/2, sphere.Triangle(x, y, z), 1e-15, "an octant")
	assert.InDelta(t, math.Pi/2, sphere.Triangle(y, x, z), 1e-15, "either way round")
	far := sphere.Unit(r3.Vec{X: -1, Y: -1, Z: 1})
	assert.InDelta(t, (4*math.Pi-math.Pi/2)/3, sphere.Triangle(x, y, far), 2e-15, "a third of the rest")
}

// A great circle divides a triangle: its parts have the solid angle of the whole,
// and each lies on its own side.
func TestClip(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	area := func(p []r3.Vec) (sum float64) {
		for i := 2; i < len(p); i++ {
			sum += sphere.Triangle(p[0], p[i-1], p[i])
		}
		return sum
	}
	cut := 0
	for range 3000 {
		p := sphere.Unit(anyVec(rng))
		polygon := []r3.Vec{near(rng, p, 0.3), near(rng, p, 0.3), near(rng, p, 0.3)}
		n := sphere.Unit(r3.Add(r3.Cross(p, anyVec(rng)), r3.Scale(0.2, anyVec(rng))))
		ours := sphere.Clip(nil, polygon, n)
		theirs := sphere.Clip(nil, polygon, r3.Scale(-1, n))
		assert.InDelta(t, area(polygon), area(ours)+area(theirs), 1e-14)
		for _, v := range ours {
			assert.GreaterOrEqual(t, r3.Dot(n, v), -rounding)
			assert.InDelta(t, 1, r3.Norm(v), rounding)
		}
		for _, v := range theirs {
			assert.LessOrEqual(t, r3.Dot(n, v), rounding)
		}
		if len(ours) > 0 && len(theirs) > 0 {
			cut++
			assert.Equal(t, 7, len(ours)+len(theirs), "three corners and two cuts, twice")
		}
	}
	assert.Greater(t, cut, 500)

	kept := []r3.Vec{{X: 1}}
	corner := []r3.Vec{{Z: 1}, {Y: 1}, {X: 1}}
	assert.Equal(t, append([]r3.Vec{{X: 1}}, corner...), sphere.Clip(kept, corner, r3.Vec{Z: 1}), "corners on the circle are kept, what stands in dst too")
	assert.Empty(t, sphere.Clip(nil, nil, r3.Vec{Z: 1}))
}

// The third power of the series counts just below the size at which it ends. Of a
// right triangle with legs a and b, tan(Ω/2) = tan(a/2) tan(b/2): here 9e-5, whose arc
// tangent is 8.9999999757e-5 by hand.
func TestTriangleOfASeries(t *testing.T) {
	sin, cos := math.Sincos(2 * math.Atan(math.Sqrt(9e-5)))
	got := sphere.Triangle(r3.Vec{Z: 1}, r3.Vec{X: sin, Z: cos}, r3.Vec{Y: sin, Z: cos})
	assert.InEpsilon(t, 1.79999999514e-4, got, 1e-12, "roundings")
}
