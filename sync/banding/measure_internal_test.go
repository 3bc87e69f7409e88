package banding

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
)

// TestUpcrossings draws waves of noise: the largest deviation of one in 20 or a little
// fewer lies beyond the limit. Few harmonics have 13 % fewer than Rice's formula, which
// counts crossings, not waves.
func TestUpcrossings(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(41, 42))
	for _, count := range []int{1, 2, 5} {
		const waves = 10000
		beyond := 0.0
		for range waves {
			noise := make([]complex128, count)
			for j := range noise {
				noise[j] = complex(rng.NormFloat64(), rng.NormFloat64())
			}
			most := 0.0
			for i := range 32 * count {
				wave := 0.0
				for j, c := range noise {
					sin, cos := math.Sincos(2 * math.Pi * float64((j+1)*i) / float64(32*count))
					wave += real(c)*cos + imag(c)*sin
				}
				most = math.Max(most, math.Abs(wave))
			}
			if most > upcrossings(count)*math.Sqrt(float64(count)) {
				beyond += 1. / waves
			}
		}
		assert.InDelta(t, 0.046, beyond, 0.01, "%d harmonics: 0.043 to 0.049, and three standard deviations", count)
	}
}
