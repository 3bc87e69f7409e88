package special_test

import (
	"math"
	"math/big"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/special"
	"github.com/stretchr/testify/assert"
)

// series sums Σ (−1)ᵏ (πx)²ᵏ/(2k + 1)! in 600 bits.
func series(x float64) float64 {
	number := func() *big.Float { return new(big.Float).SetPrec(600) }
	pi, _ := number().SetString("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899862803482534211706798214808651")
	square := number().Mul(pi, number().SetFloat64(x))
	square.Mul(square, square)
	sum, term := number().SetInt64(1), number().SetInt64(1)
	for k := int64(1); k < 400; k++ {
		term.Mul(term, square)
		term.Quo(term, number().SetInt64(-2*k*(2*k+1)))
		sum.Add(sum, term)
	}
	y, _ := sum.Float64()
	return y
}

func TestSinc(t *testing.T) {
	for _, x := range []float64{1e-300, 1e-9, 0.1, 0.25, 0.5, 0.75, 0.999999999, 1.000000001, 1.4, 1.5, 2.0000001, 2.5, 3.25, 17.3, 30.9999} {
		near.ULP(t, "sinc", special.Sinc(x), series(x), 4, "roundings of π twice, the sine and the quotient")
		assert.Equal(t, special.Sinc(x), special.Sinc(-x), "even")
	}
	for _, x := range []float64{1, 2, 3, -7, 1e6, 1e300, math.Inf(1), math.Inf(-1)} {
		assert.Zero(t, special.Sinc(x), x)
	}
	assert.Equal(t, 1.0, special.Sinc(0))
	assert.True(t, math.IsNaN(special.Sinc(math.NaN())))
}
