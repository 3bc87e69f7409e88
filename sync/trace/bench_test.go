package trace_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
)

func BenchmarkMeasureOffset(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	v := make([]float64, 100_200)
	for i := 1; i < len(v); i++ {
		v[i] = 0.8*v[i-1] + r.NormFloat64()
	}
	rate := trial.Rate(24000, 1001)
	for b.Loop() {
		if _, err := trace.MeasureOffset(trace.Trace{Rate: rate, Values: v[:100_000]}, trace.Trace{Rate: rate, Values: v[200:]}); err != nil {
			b.Fatal(err)
		}
	}
}
