package alias_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/alias"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Any sinusoid alone, of two cycles in the record and more.
func TestMeasureFringes(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(51, 1))
	for i := range 200 {
		n := 16 + int(math.Exp(8*rng.Float64()))
		f := (2.2 + rng.Float64()*(float64(n)/2-4)) / float64(n)
		if i < 20 {
			f = 2 / float64(n)
		}
		contrast := math.Pow(10, -3*rng.Float64())
		phase := 2 * math.Pi * rng.Float64()
		mean := math.Exp(3 * rng.NormFloat64())
		samples := make([]float64, n)
		for i := range samples {
			samples[i] = mean * (1 + contrast*math.Cos(2*math.Pi*f*float64(i)+phase))
		}
		got := must[alias.Fringes](t)(alias.MeasureFringes(samples))
		ref.Within(t, "W-M11", math.Abs(got.Frequency-f)*float64(n), "cycles in the record", n)
		ref.Within(t, "W-M11", math.Abs(got.Contrast/contrast-1), "contrast", n, f)
	}
	// A second, weaker one beside it disturbs by its share over distance cubed.
	for range 200 {
		const n, contrast = 1000, 0.1
		k := 50 + 300*rng.Float64()
		apart, share := 4+30*rng.Float64(), rng.Float64()/2
		phase := 2 * math.Pi * rng.Float64()
		samples := make([]float64, n)
		for i := range samples {
			x := 2 * math.Pi * float64(i) / n
			samples[i] = 3 * (1 + contrast*(math.Cos(k*x)+share*math.Cos((k+apart)*x+phase)))
		}
		got := must[alias.Fringes](t)(alias.MeasureFringes(samples))
		assert.InDelta(t, 1, got.Contrast/contrast, share/(apart*apart*apart)+1e-6, "what the doc comment promises")
	}
}

// The stronger of two is found, also where it lies between two points of the
// transform and the other on one.
func TestMeasureFringesFindsTheStrongest(t *testing.T) {
	const n = 1024
	for _, cycles := range []float64{100.125, 100.5} {
		samples := make([]float64, n)
		for i := range samples {
			x := 2 * math.Pi * float64(i) / n
			samples[i] = 1 + 0.1*math.Cos(cycles*x) + 0.098*math.Cos(300*x)
		}
		got := must[alias.Fringes](t)(alias.MeasureFringes(samples))
		assert.InDelta(t, cycles/n, got.Frequency, 1e-6)
		assert.InEpsilon(t, 0.1, got.Contrast, 1e-6)
	}
}

func TestFringesAtTheEnds(t *testing.T) {
	line := func(n int, at func(i int) float64) alias.Fringes {
		samples := make([]float64, n)
		for i := range samples {
			samples[i] = at(i)
		}
		return must[alias.Fringes](t)(alias.MeasureFringes(samples))
	}
	weak := line(400, func(i int) float64 { return 1 + 1e-9*math.Sin(0.3*float64(i)) })
	assert.InEpsilon(t, 1e-9, weak.Contrast, 1e-5, "samples of 1 with roundings of 1e-16")
	none := line(400, func(i int) float64 { return 1 + 1e-13*math.Sin(0.3*float64(i)) })
	assert.Zero(t, none, "below 1e-12")
	assert.Zero(t, line(100, func(int) float64 { return 0.1 }), "an even line")
	assert.Zero(t, line(16, func(int) float64 { return 1 }), "an even line without roundings")
	// What is slower than two cycles a record is not taken for one.
	for _, cycles := range []float64{0.3, 1, 1.4, 1.9} {
		slow := line(400, func(i int) float64 { return 1 + 0.1*math.Sin(2*math.Pi*cycles*float64(i)/400) })
		assert.GreaterOrEqual(t, slow.Frequency, 2.0/400, "of %v cycles a record", cycles)
	}
	// Close to half a cycle the frequency stays at or below it, and an odd number
	// of alternating samples has its crests in the middle.
	for n := 50; n < 101; n++ {
		got := line(n, func(i int) float64 { return 1.125 + 0.125*float64(1-i%2*2) })
		assert.LessOrEqual(t, got.Frequency, 0.5)
		assert.InDelta(t, 0.5, got.Frequency, 1e-3, "a flat top at 0.5: half a cycle and a little less differ little")
		assert.InDelta(t, 0.125/1.125, got.Contrast, 1e-4, "the same")
	}
}

func TestFringeFaults(t *testing.T) {
	balanced := make([]float64, 32) // of a mean that is rounding only
	for i := range balanced {
		balanced[i] = float64(1-i%2*2) + 1e-14
	}
	for want, samples := range map[string][]float64{
		"samples 0: must be at least 16 and at most 1048576": nil,
		"samples 15":                   make([]float64, 15),
		"samples 1048577":              make([]float64, 1<<20+1),
		"mean of the samples 0":        make([]float64, 20),
		"mean of the samples 1.00":     balanced,
		"sample NaN: must be at least": {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, nan},
		"sample -2e+100":               {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, -2e100},
	} {
		refused(t, map[string]error{want: second(alias.MeasureFringes(samples))})
	}
}

func FuzzMeasureFringes(f *testing.F) {
	f.Add([]byte("0123456789abcdefghijklmnopqrstuvwxyz"), 1.0, 1e-3)
	f.Add(make([]byte, 64), 0.0, 1.0)
	f.Add([]byte{0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255}, 0.5, 1e90)
	f.Fuzz(func(t *testing.T, data []byte, offset, scale float64) {
		samples := make([]float64, len(data))
		for i, b := range data {
			samples[i] = offset + scale*float64(b)
		}
		r, err := alias.MeasureFringes(samples)
		if err != nil {
			require.ErrorIs(t, err, alias.ErrInvalid)
			return
		}
		if !(r.Frequency >= 0 && r.Frequency <= 0.5 && r.Contrast >= 0 && r.Contrast <= math.MaxFloat64) {
			t.Fatalf("%+v", r)
		}
	})
}
