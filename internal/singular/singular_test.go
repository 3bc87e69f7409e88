package singular

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// exactly solves σ⁴ − |M|²·σ² + det² = 0 in 1200 bits.
func exactly(a, b, c, d float64) (most, least float64) {
	number := func(v float64) *big.Float { return new(big.Float).SetPrec(1200).SetFloat64(v) }
	mul := func(x, y *big.Float) *big.Float { return number(0).Mul(x, y) }
	A, B, C, D := number(a), number(b), number(c), number(d)
	det := number(0).Sub(mul(A, D), mul(B, C))
	half := number(0).Add(number(0).Add(mul(A, A), mul(B, B)), number(0).Add(mul(C, C), mul(D, D)))
	half.Mul(half, number(0.5))
	root := number(0).Sub(mul(half, half), mul(det, det))
	root.Sqrt(root.Abs(root))
	large := number(0).Sqrt(number(0).Add(half, root))
	most, _ = large.Float64()
	least, _ = number(0).Quo(det.Abs(det), large).Float64()
	return most, least
}

func TestValuesAgainstManyDigits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for k := range 20000 {
		a, b, c := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		d := rng.NormFloat64()
		switch k % 4 {
		case 1: // nearly singular
			d = b * c / a * (1 + math.Ldexp(rng.Float64(), -k%53))
		case 2: // nearly a rotation
			c, d = -b, a*(1+math.Ldexp(rng.Float64(), -k%53))
		}
		if k%3 == 0 {
			e := rng.IntN(1800) - 900
			a, b, c, d = math.Ldexp(a, e), math.Ldexp(b, e), math.Ldexp(c, e), math.Ldexp(d, e)
		}
		most, least := Values(a, b, c, d)
		wantMost, wantLeast := exactly(a, b, c, d)
		if math.Abs(most-wantMost) > 1e-15*wantMost || math.Abs(least-wantLeast) > 2e-15*wantLeast {
			t.Fatalf("(%v, %v; %v, %v): got %v, %v, want %v, %v", a, b, c, d, most, least, wantMost, wantLeast)
		}
	}
}

func TestValuesAtTheEnds(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for m, want := range map[[4]float64][2]float64{
		{}:                         {0, 0},
		{0, -3, 0, 0}:              {3, 0},
		{1e200, 0, 0, 1e-100}:      {1e200, 1e-100},
		{1e300, 0, 0, 1e-19}:       {1e300, 1e-19},
		{1e-200, 0, 0, 1e-300}:     {1e-200, 1e-300},
		{5e-324, 0, 0, 5e-324}:     {5e-324, 5e-324},
		{1e308, 0, 0, 1e308}:       {1e308, 1e308},
		{inf, 0, 0, 1}:             {inf, nan},
		{1, -inf, 0, 1}:            {inf, nan},
		{nan, 0, 0, 1}:             {nan, nan},
		{1, 0, nan, inf}:           {nan, nan},
		{math.MaxFloat64, 0, 0, 1}: {math.MaxFloat64, 1},
	} {
		most, least := Values(m[0], m[1], m[2], m[3])
		same := func(got, want float64) bool {
			return got == want || got != got && want != want || math.Abs(got-want) <= 1e-15*want
		}
		if !same(most, want[0]) || !same(least, want[1]) {
			t.Errorf("%v: got %v, %v, want %v", m, most, least, want)
		}
	}
}
