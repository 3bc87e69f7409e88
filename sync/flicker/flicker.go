package flicker

import (
	"math"
	"math/cmplx"

	"example.com/platewright/internal/valid"
	"example.com/platewright/sync/internal/samples"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// Percent is the modulation of a light from samples of its waveform, in percent.
//
//	100 (max − min) / (max + min)
//
// With n samples in a period of a smooth waveform, each peak is met within (π/n)²/2 of
// the swing.
//
// Source: IEEE 1789-2015, from memory.
func Percent(waveform []float64) (float64, error) {
	c := newChecker()
	peak := samples.Check(c, waveform)
	if !c.OK() {
		return 0, c.Err()
	}
	// In fractions of the peak, no sum overflows.
	least := floats.Min(waveform) / peak
	return 100 * (1 - least) / (1 + least), nil
}

// Index is the flicker index: the fraction of a light's waveform that lies above its
// mean. It is 0 for a steady light, and nearly 1 for short pulses.
//
//	area above the mean / whole area
//
// Source: Illuminating Engineering Society (IES), Lighting Handbook, from memory.
func Index(waveform []float64) (float64, error) {
	c := newChecker()
	peak := samples.Check(c, waveform)
	if !c.OK() {
		return 0, c.Err()
	}
	mean := meanOf(waveform, peak)
	above := 0.0
	for _, v := range waveform {
		above += math.Max(0, v/peak-mean)
	}
	return above / (mean * float64(len(waveform))), nil
}

// meanOf is the mean in fractions of the peak.
func meanOf(waveform []float64, peak float64) float64 {
	sum := 0.0
	for _, v := range waveform {
		sum += v / peak
	}
	return sum / float64(len(waveform))
}

// Limits are values of Percent that a light should stay below. 100 means no limit.
type Limits struct {
	LowRisk  float64 // recommended practice 1: low risk of headaches and the like
	NoEffect float64 // recommended practice 2: no observable effect
	Seizures float64 // recommended practice 3: against seizures
}

// LimitsAt returns the limits that IEEE 1789-2015 recommends at a flicker frequency.
//
//	LowRisk    0.025 f below 90 Hz, 0.08 f from 90 Hz to 1250 Hz
//	NoEffect   0.01 f below 90 Hz, 0.0333 f from 90 Hz to 3000 Hz
//	Seizures   5 below 90 Hz
//
// f is the rate of the light, as timing.MainsFlicker gives it. The limits are for everyday
// lighting: see the cautions of the package. A frequency of 0 Hz or less is an error.
//
// Source: IEEE 1789-2015, from memory.
func LimitsAt(f unit.Frequency) (Limits, error) {
	c := newChecker()
	c.Frequency("frequency", f, valid.Between(0, unit.Frequency(math.Inf(1))))
	if !c.OK() {
		return Limits{}, c.Err()
	}
	hz := float64(f)
	if hz < 90 {
		return Limits{LowRisk: 0.025 * hz, NoEffect: 0.01 * hz, Seizures: 5}, nil
	}
	l := Limits{LowRisk: math.Min(0.08*hz, 100), NoEffect: 100, Seizures: 100}
	if hz <= 3000 {
		l.NoEffect = 0.0333 * hz
	}
	return l, nil
}

// Visibility is the stroboscopic visibility measure (SVM) of a light whose waveform
// lasts duration. Above 1, an average observer sees that moving things in this light
// seem to jump.
//
//	(Σ (Cᵢ/T(fᵢ))^3.7)^(1/3.7)
//	T(f) = 1/(1 + exp(−0.00518 s (f − 306.6 Hz))) + 20 exp(−f/10 Hz)
//
// Cᵢ is the amplitude of the Fourier component at fᵢ over the mean, from 80 Hz to
// 2000 Hz. Take well over 4000 samples a second. A duration outside 1 µs to 1 min and
// more than 32768 samples are errors.
//
// Source: CIE TN 006:2016; the constants are from memory.
func Visibility(waveform []float64, duration unit.Time) (float64, error) {
	c := newChecker()
	peak := samples.Check(c, waveform)
	c.Time("duration", duration, valid.Closed[unit.Time](1e-6, 60))
	c.Int("number of samples", len(waveform), "", 2, 1<<15)
	if !c.OK() {
		return 0, c.Err()
	}
	const low, high, exponent = 80, 2000, 3.7
	mean, sum := meanOf(waveform, peak), 0.0
	first := int(math.Ceil(low * float64(duration)))
	last := int(math.Min(high*float64(duration), float64(len(waveform)-1)/2))
	scaled := make([]float64, len(waveform))
	for i, v := range waveform {
		scaled[i] = v / peak / mean
	}
	spectrum := fourier.NewFFT(len(scaled)).Coefficients(nil, scaled)
	for k := first; k <= last; k++ {
		f := float64(k) / float64(duration)
		threshold := 1/(1+math.Exp(-0.00518*(f-306.6))) + 20*math.Exp(-f/10)
		sum += math.Pow(2*cmplx.Abs(spectrum[k])/float64(len(scaled))/threshold, exponent)
	}
	return math.Pow(sum, 1/exponent), nil
}
