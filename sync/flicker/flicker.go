package flicker

import (
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/sync/internal/samples"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// PercentFlicker is the modulation of a light from samples of its waveform, in
// percent.
//
//	100 (max − min) / (max + min)
//
// The samples must span a whole period. With n samples in a period of a smooth
// waveform, each peak is met within (π/n)²/2 of the swing.
//
// Source: IEEE 1789-2015, from memory.
func PercentFlicker(waveform []float64) (float64, error) {
	c := newChecker()
	peak := samples.Check(c, waveform)
	if !c.OK() {
		return 0, c.Err()
	}
	// In fractions of the peak, no sum overflows.
	least := floats.Min(waveform) / peak
	return 100 * (1 - least) / (1 + least), nil
}

// FlickerIndex is the fraction of a light's waveform that lies above its mean:
// 0 for a steady light, and nearly 1 for short pulses.
//
//	area above the mean / whole area
//
// The samples must be evenly spaced over a whole number of periods, and the first
// must not be repeated at the end.
//
// Source: Illuminating Engineering Society (IES), Lighting Handbook, from memory.
func FlickerIndex(waveform []float64) (float64, error) {
	c := newChecker()
	peak := samples.Check(c, waveform)
	if !c.OK() {
		return 0, c.Err()
	}
	sum := 0.0
	for _, v := range waveform {
		sum += v / peak
	}
	mean := sum / float64(len(waveform))
	above := 0.0
	for _, v := range waveform {
		above += math.Max(0, v/peak-mean)
	}
	return above / sum, nil
}

// FlickerLimits returns the percent flicker below which IEEE 1789-2015 recommends to
// stay at a flicker frequency: lowRisk by its recommended practice 1, and noEffect
// by its practice 2, the stricter. 100 means no limit.
//
//	lowRisk   0.025 f below 90 Hz, 0.08 f from 90 Hz to 1250 Hz
//	noEffect  0.01 f below 90 Hz, 0.0333 f from 90 Hz to 3000 Hz
//
// f is the rate of the light, as MainsFlicker gives it. The limits are for everyday
// lighting. They are no medical advice and do not replace local rules: see the
// cautions of the package. A frequency of 0 Hz or less is an error.
//
// Source: IEEE 1789-2015, from memory.
func FlickerLimits(f unit.Frequency) (lowRisk, noEffect float64, err error) {
	c := newChecker()
	c.Frequency("frequency", f, valid.Between(0, unit.Frequency(math.Inf(1))))
	if !c.OK() {
		return 0, 0, c.Err()
	}
	hz := float64(f)
	if hz < 90 {
		return 0.025 * hz, 0.01 * hz, nil
	}
	lowRisk, noEffect = math.Min(0.08*hz, 100), 100
	if hz <= 3000 {
		noEffect = 0.0333 * hz
	}
	return lowRisk, noEffect, nil
}
