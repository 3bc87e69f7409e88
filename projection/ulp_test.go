package projection_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
)

// exact gives functions of a float64 to some 40 digits.
type exact struct{}

func (exact) of(x float64) *big.Float        { return exact{}.zero().SetFloat64(x) }
func (exact) zero() *big.Float               { return new(big.Float).SetPrec(160) }
func (exact) mul(a, b *big.Float) *big.Float { return exact{}.zero().Mul(a, b) }

// sincos takes the series of a 64th, and doubles that six times.
func (e exact) sincos(x *big.Float) (sin, cos *big.Float) {
	x = e.zero().SetMantExp(x, -6)
	sin, cos = e.zero(), e.of(1)
	for k, term := 1, e.of(1); k < 26; k++ {
		term = e.zero().Quo(e.mul(term, x), e.of(float64(k)))
		if sum := [2]*big.Float{cos, sin}[k%2]; k%4 < 2 {
			sum.Add(sum, term)
		} else {
			sum.Sub(sum, term)
		}
	}
	for range 6 {
		twice := e.mul(e.of(2), sin)
		sin, cos = e.mul(twice, cos), e.zero().Sub(e.of(1), e.mul(twice, sin))
	}
	return sin, cos
}

// radius is that of a form, from the formulas of its doc comment.
func (e exact) radius(f projection.Form, theta *big.Float) *big.Float {
	half := e.mul(e.of(0.5), theta)
	switch f {
	case projection.Rectilinear:
		sin, cos := e.sincos(theta)
		return e.zero().Quo(sin, cos)
	case projection.Stereographic:
		sin, cos := e.sincos(half)
		return e.mul(e.of(2), e.zero().Quo(sin, cos))
	case projection.Equisolid:
		sin, _ := e.sincos(half)
		return e.mul(e.of(2), sin)
	case projection.Orthographic:
		sin, _ := e.sincos(theta)
		return sin
	}
	return theta
}

// Over the whole domain a radius is within 2 ulp, an angle within 2.5.
func TestFormsToTheUlp(t *testing.T) {
	near.NumbersOnly(t)
	var e exact
	ulp := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) - x }
	for _, f := range forms {
		rng := rand.New(rand.NewPCG(91, uint64(f)))
		end := float64(f.MaxAngle())
		var worst float64
		for i := range 6000 {
			theta := end * rng.Float64()
			switch i % 4 {
			case 1:
				theta = end * math.Pow(10, -20*rng.Float64())
			case 2:
				theta = end * (1 - math.Pow(10, -15.9*rng.Float64()))
			case 3: // where sin/cos is at its worst
				theta = [2]float64{1.0414423564788222, 2.060466042770287}[i/4%2] * (1 + 1e-3*rng.Float64())
			}
			if i < 2 { // the worst of some millions
				theta = [2]float64{1.57054536013898, 2 * 0.8328419969906832}[i]
			}
			r, ok := f.Radius(unit.Angle(theta))
			if !ok {
				continue
			}
			off, _ := e.zero().Sub(e.of(r), e.radius(f, e.of(theta))).Float64()
			worst = max(worst, math.Abs(off)/ulp(r))

			// The radii of angles 2.5 ulp less and more have the radius given between.
			back, ok := f.Angle(r)
			if !ok {
				t.Fatalf("%v: the radius of %v has no angle", f, theta)
			}
			spare := 2.5 * ulp(float64(back))
			low := e.radius(f, e.zero().Sub(e.of(float64(back)), e.of(spare)))
			high := e.radius(f, e.zero().Add(e.of(float64(back)), e.of(spare)))
			beyond := float64(back)+spare >= end // where the radius falls again, or is none
			if low.Cmp(e.of(r)) > 0 || (!beyond && high.Cmp(e.of(r)) < 0) {
				t.Errorf("%v: %v comes back as %v, more than 2.5 ulp off", f, theta, back)
			}
		}
		if worst > 2 {
			t.Errorf("%v: a radius is off by %.2f ulp", f, worst)
		}
		t.Logf("%v: radii are off by up to %.2f ulp", f, worst)
	}
}
