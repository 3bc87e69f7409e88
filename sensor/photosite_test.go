package sensor_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

func photosite(t testing.TB, spec sensor.PhotositeSpec) sensor.Photosite {
	t.Helper()
	p, err := sensor.NewPhotosite(spec)
	if err != nil {
		t.Fatal(err)
	}
	return p
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
func convertedThreshold(readNoise, gain, level float64) float64 {
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
	low := high - step
	for range 50 {
		if mid := (low + high) / 2; excess(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// Where the converter's steps are small beside the noise, the dark level does
// not matter, and the threshold is met exactly. Where they are coarse, the
// threshold depends on where between two numbers the dark level lies; that of
// the standard is near the worst.
func TestThresholdByConversion(t *testing.T) {
	for _, tc := range []struct{ noise, gain float64 }{{2, 1}, {3, 1}, {2.5, 1}, {2, 3}} {
		for _, eta := range []float64{1, 0.25} { // photons to electrons
			p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: eta, ReadNoise: tc.noise, Saturation: 10000, Gain: tc.gain})
			ref.Near(t, "sensor-photosite-exact-threshold", p.ExactThreshold()*eta, convertedThreshold(tc.noise, tc.gain, 0.2), tc)
		}
	}
	for _, tc := range []struct{ noise, gain float64 }{{0.3, 1}, {0.6, 0.5}, {1, 0.3}, {3, 0.1}} {
		const levels = 20
		worst, mean := 0.0, 0.0
		for i := range levels {
			at := convertedThreshold(tc.noise, tc.gain, (float64(i)+0.5)/levels)
			worst = max(worst, at)
			mean += at / levels
		}
		p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 1, ReadNoise: tc.noise, Saturation: 10000, Gain: tc.gain})
		ref.Near(t, "sensor-photosite-coarse", p.ExactThreshold(), worst, tc)
		if p.ExactThreshold() < mean {
			t.Errorf("%+v: the threshold %v is below the mean over dark levels, %v", tc, p.ExactThreshold(), mean)
		}
		dark := tc.gain * (p.Threshold() - 0.5) // DN
		ref.Near(t, "sensor-photosite-floor", dark*dark, 0.24, tc)
		dark = tc.gain * (p.SaturationPhotons()/p.DynamicRange() - 0.5)
		ref.Near(t, "sensor-photosite-floor", dark*dark, 0.24, tc)
	}
}

func TestPhotositeReferences(t *testing.T) {
	p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: 3, Saturation: 10000, Gain: 1})
	mean, noise := converted(1000, 3, 1, 0.3)
	dark, _ := converted(0, 3, 1, 0.3)
	ref.Near(t, "sensor-photosite-snr", known(t)(p.SNR(2000)), (mean-dark)/noise)
	ref.Near(t, "sensor-photosite-saturation", p.SaturationPhotons(), 20000)

	for _, electrons := range []float64{10000, 15000, 20000, 30000, 100000} {
		p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: 3, Saturation: electrons, Gain: 1})
		// A converter that tells single electrons, and noise that it never sees.
		mean, noise := converted(electrons, 0.01, 1, 0)
		ref.Near(t, "sensor-photosite-max-snr", p.MaxSNR(), mean/noise, electrons)
	}

	for _, tc := range []struct{ noise, approximate float64 }{{2, 2.5}, {3, 3.5}, {2.5, 3.0}} {
		// Electrons by a quantum efficiency of 1, photons by one of ¼.
		for _, eta := range []float64{1, 0.25} {
			fine := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: eta, ReadNoise: tc.noise, Saturation: 10000, Gain: 1e6})
			ref.Near(t, "sensor-photosite-threshold", fine.Threshold()*eta, tc.approximate, tc)
		}
	}

	fine := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 0.25, ReadNoise: 2, Saturation: 10000, Gain: 1e6})
	ref.Near(t, "sensor-photosite-dynamic-range", fine.DynamicRange(), 4000)
}

// A photosite built of its parts: each photon frees an electron or does not,
// normal noise is added, the sum is amplified and rounded. Its mean and spread
// are those of the model.
func TestSimulatedPhotositeFollowsTheModel(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const draws = 400000
	for _, tc := range []struct {
		spec    sensor.PhotositeSpec
		photons float64
	}{
		{sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: 2, Saturation: 1e4, Gain: 0.7}, 0},
		{sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: 2, Saturation: 1e4, Gain: 0.7}, 24},
		{sensor.PhotositeSpec{QuantumEfficiency: 0.8, ReadNoise: 1, Saturation: 1e4, Gain: 3}, 10},
		{sensor.PhotositeSpec{QuantumEfficiency: 0.6, ReadNoise: 3, Saturation: 1e4, Gain: 0.2}, 50}, // rounding counts
	} {
		p := photosite(t, tc.spec)
		mean, noise, ok := p.Signal(tc.photons)
		if !ok {
			t.Fatal("no answer")
		}
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
		ref.Near(t, "sensor-photosite-simulated", gotMean/noise, mean/noise, tc)
		ref.Near(t, "sensor-photosite-simulated", gotNoise*gotNoise/(noise*noise), 1, tc)
		ref.Near(t, "sensor-photosite-simulated", gotMean/gotNoise, known(t)(p.SNR(tc.photons)), tc)
	}
}

func TestPhotositeLimits(t *testing.T) {
	p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 0.4, ReadNoise: 2.5, Saturation: 30000, Gain: 4095. / 30000})
	fine := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 0.4, ReadNoise: 2.5, Saturation: 30000, Gain: 16383. / 30000})
	near.Rel(t, "SNR at the exact threshold", known(t)(fine.SNR(fine.ExactThreshold())), 1, 1e-14, "a few roundings")
	if snr, _ := p.SNR(p.ExactThreshold()); !(snr > 1) {
		t.Errorf("SNR %v at the threshold where rounding hides the noise, want more than 1", snr)
	}
	near.Rel(t, "SNR at saturation", known(t)(p.SNR(p.SaturationPhotons())), p.MaxSNR(), 1e-3, "a dark variance of 11 in 30000")
	if snr, ok := p.SNR(0); snr != 0 || !ok {
		t.Errorf("no light: %v, %v", snr, ok)
	}
	for _, out := range []float64{-1e-9, p.SaturationPhotons() * (1 + 1e-15), math.Inf(1), math.NaN()} {
		if snr, ok := p.SNR(out); ok || snr != 0 {
			t.Errorf("%v photons: %v, %v", out, snr, ok)
		}
	}
	for _, noise := range []float64{0, 0.1, 1, 10, 1000} {
		p := photosite(t, sensor.PhotositeSpec{QuantumEfficiency: 1, ReadNoise: noise, Saturation: 30000, Gain: 1})
		short := p.ExactThreshold() - p.Threshold()
		dark := math.Max(noise*noise+1./12, 0.24)
		if !(short > 0 && short <= 0.5 && short < 1/(8*math.Sqrt(dark))) {
			t.Errorf("noise %v: the approximation is %v electrons short", noise, short)
		}
	}
}

func TestPhotons(t *testing.T) {
	// 1 µW/cm² is 0.01 W/m². The reference code of EMVA1288/emva1288 computes
	// with h = 6.63e-34 and c = 3.00e8, 0.13 % lower; the SI's are exact.
	got := must[float64](t)(sensor.Photons(0.01, um, um, um, unit.Milli))
	ref.Near(t, "sensor-photons-constant", got, 50.3411656754)
	ref.Near(t, "sensor-photons-rounded", got, 50.34)
	long := must[float64](t)(sensor.Photons(0.02, 0.5*um, 3*um, 2*um, 5*unit.Milli))
	near.Rel(t, "proportions", long, got*2*0.5*3*2*5, 1e-14, "a few roundings")
}

// The light of a far surface, followed through a lens of focal length 1 that
// images without fault: each ring of the entrance pupil, of radius h, sends its
// rays to the sensor at the angle α of sin α = h. First the rays are counted
// where they enter: a patch of the surface that fills a solid angle ω lights
// the pupil, and the lens lays this light on the patch's image, of area ω.
// Then they are added up where they arrive, over the cone.
func TestIrradianceOfALensThatImagesWell(t *testing.T) {
	for _, n := range []float64{0.5, 0.7, 1.4, 2.8, 16} {
		got := must[float64](t)(sensor.Irradiance(1, n))
		const rings = 20000
		edge := 1 / (2 * n)
		var entering, arriving float64
		for i := range rings {
			h, next := edge*float64(i)/rings, edge*float64(i+1)/rings
			entering += math.Pi * (next - h) * (next + h)
			from, to := math.Asin(h), math.Asin(next)
			middle := (from + to) / 2
			arriving += math.Cos(middle) * 2 * math.Pi * math.Sin(middle) * (to - from)
		}
		ref.Near(t, "sensor-irradiance", got, entering, n, "entering")
		ref.Near(t, "sensor-irradiance", got, arriving, n, "arriving")
		// The two ways to ask for the same light agree: lx by lm, W by W.
		e := exposure(t, sensor.ExposureSpec{FNumber: n, Time: 1, Index: 100})
		near.Rel(t, "exposure in a second", known(t)(e.FocalPlane(1)), got, 1e-15, "a few roundings")
	}
}
