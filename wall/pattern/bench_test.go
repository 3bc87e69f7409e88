package pattern_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/wall/pattern"
)

// A part of a real sphere with noise, of 2048 × 2048 px.
func BenchmarkMeasurePatterns(b *testing.B) {
	const size = 2048
	rng := rand.New(rand.NewPCG(1, 1))
	p := record(rng, scene(b, rng, size, size, 8), size, size, 0.01)
	b.ResetTimer()
	for b.Loop() {
		if _, err := pattern.MeasurePatterns(p, pattern.Spec{Linear: lightOf}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(size*size*b.N)/b.Elapsed().Seconds()/1e6, "Mpx/s")
}
