package photosite_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

const (
	um = unit.Micro * unit.Metre
	nm = unit.Nano * unit.Metre
)

// must fails the test on an error and passes the value on.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// known fails the test where there is no answer and passes the value on.
func known(t testing.TB) func(float64, bool) float64 {
	return func(v float64, ok bool) float64 {
		t.Helper()
		require.True(t, ok, "no answer")
		return v
	}
}

// perLux is how many photons a lux-second brings to the photosites of made.
const perLux = 1000

func made(t testing.TB, spec photosite.Spec) photosite.Photosite {
	t.Helper()
	spec.PitchX, spec.PitchY, spec.PhotonsPerLuxSecond = um, um, perLux
	return must[photosite.Photosite](t)(photosite.New(spec))
}

// converted is the mean and the standard deviation of the numbers that come out
// of a converter, by adding up every count of electrons of a Poisson process
// and every number that normal noise about it is rounded to. The dark level is
// where the mean without light lies, in DN from a whole number.
func converted(electrons, readNoise, gain, level float64) (mean, noise float64) {
	upTo := func(x float64) float64 { return math.Erfc(-x/(gain*readNoise)/math.Sqrt2) / 2 }
	var total, sum, squares float64
	spread := 12*math.Sqrt(electrons) + 30
	for k := max(0, math.Floor(electrons-spread)); k <= electrons+spread; k++ {
		p := math.Exp(-electrons)
		if electrons > 0 {
			gamma, _ := math.Lgamma(k + 1)
			p = math.Exp(k*math.Log(electrons) - electrons - gamma)
		} else if k > 0 {
			break
		}
		at := level + gain*k
		from, to := math.Floor(at-9*gain*readNoise), math.Ceil(at+9*gain*readNoise)
		for y := from; y <= to; y++ {
			q := p * (upTo(y+0.5-at) - upTo(y-0.5-at))
			off := y - gain*electrons // keeps the squares small
			total, sum, squares = total+q, sum+q*off, squares+q*off*off
		}
	}
	middle := sum / total
	return gain*electrons + middle, math.Sqrt(squares/total - middle*middle)
}

// convertedThreshold is the largest count of electrons at which the signal, from
// the dark mean, does not rise above its noise.
func convertedThreshold(t testing.TB, readNoise, gain, level float64) float64 {
	dark, _ := converted(0, readNoise, gain, level)
	excess := func(electrons float64) float64 {
		mean, noise := converted(electrons, readNoise, gain, level)
		return mean - dark - noise
	}
	high := 3*readNoise + 3/gain
	step := 0.01 * high
	for high > step && excess(high-step) >= 0 {
		high -= step
	}
	x, ok := root.Find(excess, high-step, high)
	require.True(t, ok)
	return x
}

// Where the converter's steps are small beside the noise, the dark level does
// not matter: the SNR at the threshold is 1. Where they are coarse, the
// threshold depends on where between two numbers the dark level lies; that of
// the standard is near the worst.
func TestThresholdByConversion(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct{ noise, gain float64 }{{2, 1}, {3, 1}, {2.5, 1}, {2, 3}} {
		electrons := convertedThreshold(t, tc.noise, tc.gain, 0.2)
		for _, eta := range []float64{1, 0.25} { // photons to electrons
			p := made(t, photosite.Spec{QuantumEfficiency: eta, ReadNoise: tc.noise, SaturationCapacity: 10000, Gain: tc.gain})
			ref.Near(t, "S-PHOTOSITE-SNR-ONE", known(t)(p.SNR(electrons/eta/perLux)), 1, tc)
			short := electrons - p.Threshold()*perLux*eta
			assert.True(t, short > 0 && short < 1/(8*tc.noise), "%+v: the approximation is %v electrons short", tc, short)
		}
	}
	for _, tc := range []struct{ noise, gain float64 }{{0.3, 1}, {0.6, 0.5}, {1, 0.3}, {3, 0.1}} {
		const levels = 20
		worst, mean := 0.0, 0.0
		for i := range levels {
			at := convertedThreshold(t, tc.noise, tc.gain, (float64(i)+0.5)/levels)
			worst = max(worst, at)
			mean += at / levels
		}
		p := made(t, photosite.Spec{QuantumEfficiency: 1, ReadNoise: tc.noise, SaturationCapacity: 10000, Gain: tc.gain})
		dark := p.Threshold()*perLux - 0.5
		exact := (1 + math.Sqrt(1+4*dark*dark)) / 2 // where the signal is its noise sqrt(signal + dark²)
		ref.Near(t, "S-PHOTOSITE-COARSE", exact, worst, tc)
		assert.GreaterOrEqual(t, exact, mean, "%+v: below the mean over dark levels", tc)
		dark *= tc.gain // DN
		ref.Near(t, "S-PHOTOSITE-FLOOR", dark*dark, 0.24, tc)
		dark = tc.gain * (p.SaturationExposure()*perLux/p.DynamicRange() - 0.5)
		ref.Near(t, "S-PHOTOSITE-FLOOR", dark*dark, 0.24, tc)
	}
}

// A real camera, as measured and printed: from its gain, quantum efficiency, dark
// noise and saturation capacity follow the other results.
func TestPrintedResultsOfACamera(t *testing.T) {
	p := made(t, photosite.Spec{
		QuantumEfficiency: 0.451356082834, ReadNoise: 10.8980275235,
		SaturationCapacity: 13972.6302563, Gain: 0.280769280926,
	})
	_, dark, ok := p.Signal(0)
	require.True(t, ok)
	ref.Near(t, "S-PHOTOSITE-PRINTED", dark, 3.07341849276)
	mean, _, ok := p.Signal(1. / perLux)
	require.True(t, ok)
	ref.Near(t, "S-PHOTOSITE-PRINTED", mean, 0.126726922819)
	ref.Near(t, "S-PHOTOSITE-PRINTED", p.SaturationExposure()*perLux, 30957)
	ref.Near(t, "S-PHOTOSITE-PRINTED", p.MaxSNR(), 118.205880802)
	ref.Near(t, "S-PHOTOSITE-PRINTED", p.DynamicRange(), 1220.69871336)
	ref.Near(t, "S-PHOTOSITE-PRINTED", p.Threshold()*perLux, 30957/1220.69871336)
	ref.Near(t, "S-PHOTOSITE-PRINTED", known(t)(p.Electrons(30957./4/perLux)), 13972.6302563/4)
}

func TestSNRByConversion(t *testing.T) {
	p := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 10000, Gain: 1})
	mean, noise := converted(1000, 3, 1, 0.3)
	dark, _ := converted(0, 3, 1, 0.3)
	ref.Near(t, "S-PHOTOSITE-SNR", known(t)(p.SNR(2000./perLux)), (mean-dark)/noise)

	for _, electrons := range []float64{10000, 15000, 20000, 30000, 100000} {
		p := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: electrons, Gain: 1})
		// A converter that tells single electrons, and noise that it never sees.
		mean, noise := converted(electrons, 0.01, 1, 0)
		ref.Near(t, "S-PHOTOSITE-MAX-SNR", p.MaxSNR(), mean/noise, electrons)
	}
}

// A photosite built of its parts: each photon frees an electron or does not,
// normal noise is added, the sum is amplified and rounded. Its mean and spread
// are those of the model.
func TestSimulatedPhotositeFollowsTheModel(t *testing.T) {
	near.NumbersOnly(t)
	random := rand.New(rand.NewPCG(3, 4))
	const draws = 400000
	for _, tc := range []struct {
		spec    photosite.Spec
		photons float64
	}{
		{photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 2, SaturationCapacity: 1e4, Gain: 0.7}, 0},
		{photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 2, SaturationCapacity: 1e4, Gain: 0.7}, 24},
		{photosite.Spec{QuantumEfficiency: 0.8, ReadNoise: 1, SaturationCapacity: 1e4, Gain: 3}, 10},
		{photosite.Spec{QuantumEfficiency: 0.6, ReadNoise: 3, SaturationCapacity: 1e4, Gain: 0.2}, 50}, // rounding counts
	} {
		p := made(t, tc.spec)
		mean, noise, ok := p.Signal(tc.photons / perLux)
		require.True(t, ok)
		const dark = 100 // DN, so that nothing is cut off at 0
		var sum, squares float64
		for range draws {
			electrons := 0.0
			// Knuth's way to draw the photons of a Poisson process.
			for x := random.ExpFloat64(); x < tc.photons; x += random.ExpFloat64() {
				if random.Float64() < tc.spec.QuantumEfficiency {
					electrons++
				}
			}
			y := math.Round(dark+tc.spec.Gain*(electrons+tc.spec.ReadNoise*random.NormFloat64())) - dark
			sum += y
			squares += y * y
		}
		gotMean := sum / draws
		gotNoise := math.Sqrt(squares/draws - gotMean*gotMean)
		ref.Near(t, "S-PHOTOSITE-SIMULATED", gotMean/noise, mean/noise, tc)
		ref.Near(t, "S-PHOTOSITE-SIMULATED", gotNoise*gotNoise/(noise*noise), 1, tc)
		ref.Near(t, "S-PHOTOSITE-SIMULATED", gotMean/gotNoise, known(t)(p.SNR(tc.photons/perLux)), tc)
	}
}

func TestPhotositeLimits(t *testing.T) {
	p := made(t, photosite.Spec{QuantumEfficiency: 0.4, ReadNoise: 2.5, SaturationCapacity: 30000, Gain: 4095. / 30000})
	full := p.SaturationExposure()
	assert.InEpsilon(t, p.MaxSNR(), known(t)(p.SNR(full)), 1e-3, "a dark variance of 11 in 30000")
	assert.Equal(t, 30000., known(t)(p.Electrons(full)))
	snr, ok := p.SNR(0)
	assert.True(t, ok, "no light")
	assert.Zero(t, snr, "no light")
	for _, out := range []float64{-1e-9, full * (1 + 1e-15), math.Inf(1), math.NaN()} {
		snr, ok := p.SNR(out)
		assert.False(t, ok, out)
		assert.Zero(t, snr, out)
	}
	// What the doc says the approximation is short of the root of SNR = 1.
	for _, noise := range []float64{0, 0.1, 1, 10, 1000} {
		p := made(t, photosite.Spec{QuantumEfficiency: 1, ReadNoise: noise, SaturationCapacity: 30000, Gain: 1})
		threshold := p.Threshold() * perLux
		dark := threshold - 0.5
		exact, ok := root.Find(func(electrons float64) float64 { return electrons - math.Sqrt(electrons+dark*dark) }, 0.1, 30000)
		require.True(t, ok)
		short := exact - threshold
		assert.True(t, short > 0 && short <= 0.5 && short < 1/(8*dark), "noise %v: the approximation is %v electrons short", noise, short)
	}
}

// A photosite of 9 µm² with room for 20000 electrons takes 40000 photons. At
// 555 nm one has 1.986446e-25 J·m / 555e-9 m = 3.579182e-19 J, all have 1.431673e-14
// J. Over 9e-12 m² that is 1.590748e-3 J/m², or 1.086481 lx·s at 683 lm/W.
func TestSaturationOfAPhotosite(t *testing.T) {
	line := spectrum(t, photosite.SpectrumSpec{Line: 555 * nm})
	spec := photosite.Spec{
		PitchX: 3 * um, PitchY: 3 * um, PhotonsPerLuxSecond: known(t)(line.PhotonsPerLuxSecond(500*nm, 600*nm)),
		QuantumEfficiency: 0.5, SaturationCapacity: 20000, Gain: 0.2,
	}
	p := must[photosite.Photosite](t)(photosite.New(spec))
	ref.Near(t, "S-PHOTOSITE-SPEED", p.SaturationExposure(), 1.086481)
	ref.Near(t, "S-PHOTOSITE-SPEED", p.SaturationSpeed(), must[float64](t)(sensor.SaturationSpeed(1.086481)))
	ref.Near(t, "S-PHOTOSITE-SPEED", known(t)(p.Electrons(1.086481/4)), 5000)
	larger := spec
	larger.PitchX, larger.PitchY = 4.5*um, 4*um
	ref.Near(t, "S-PHOTOSITE-SPEED", p.SaturationExposure()/must[photosite.Photosite](t)(photosite.New(larger)).SaturationExposure(), 2, "twice the area")

	// At that speed, the sensor of package sensor fills as this photosite does.
	e := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: 0.02, Index: 6400, Transmission: 0.9}))
	electrons := known(t)(p.Electrons(known(t)(e.FocalPlane(3))))
	assert.InEpsilon(t, electrons, 20000*known(t)(e.FractionOfSaturation(3, p.SaturationSpeed())), 1e-14, "a few roundings; the index plays no part")
}
