package sync

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// ResidualModulation is the modulation that remains in the picture of a light
// that varies as a sine about its mean, like 1 + m cos(2π f t).
//
//	m |sinc(f t)|,  sinc x = sin(πx) / (πx)
//
// m is the modulation of the light. f is its rate, and t is the exposure. The
// result is exactly 0 if the exposure is a whole number of periods, but for
// rounding. A modulation outside 0 to 1, a rate outside 0 Hz to 1 GHz, and an
// exposure outside 1 ns to 10⁶ s are errors.
func ResidualModulation(modulation float64, light unit.Frequency, exposure unit.Time) (float64, error) {
	c := newChecker()
	c.Number("modulation", modulation, "", valid.Closed(0.0, 1.0))
	c.Frequency("light rate", light, valid.Closed[unit.Frequency](0, 1e9))
	c.Time("exposure", exposure, valid.ExposureTimes)
	if !c.OK() {
		return 0, c.Err()
	}
	x := periods(float64(light) * float64(exposure))
	if x == 0 {
		return modulation, nil
	}
	// sin(πx) by the distance to the nearest whole number keeps its zeros.
	return modulation * math.Abs(math.Sin(math.Pi*(x-math.Round(x)))) / (math.Pi * x), nil
}

// PercentFlicker is the modulation of a light from samples of its waveform, in
// percent.
//
//	100 (max − min) / (max + min)
//
// The samples must span a whole period. With n samples in a period of a smooth
// waveform, each peak is met within (π/n)²/2 of the swing.
//
// Source: IEEE 1789-2015, from memory.
func PercentFlicker(samples []float64) (float64, error) {
	peak, err := checkSamples(samples)
	if err != nil {
		return 0, err
	}
	// In fractions of the peak, no sum overflows.
	least := floats.Min(samples) / peak
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
func FlickerIndex(samples []float64) (float64, error) {
	peak, err := checkSamples(samples)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for _, v := range samples {
		sum += v / peak
	}
	mean := sum / float64(len(samples))
	above := 0.0
	for _, v := range samples {
		above += math.Max(0, v/peak-mean)
	}
	return above / sum, nil
}

// checkSamples gives the largest sample.
func checkSamples(samples []float64) (peak float64, err error) {
	if len(samples) < 2 {
		return 0, fault("samples", strconv.Itoa(len(samples)), "must be at least 2")
	}
	for i, v := range samples {
		if !(v >= 0) || math.IsInf(v, 1) {
			return 0, fault(fmt.Sprintf("sample %d", i), strconv.FormatFloat(v, 'g', 6, 64), "must be a finite number of at least 0")
		}
		peak = math.Max(peak, v)
	}
	if peak == 0 {
		return 0, fault("samples", "all 0", "must hold some light")
	}
	return peak, nil
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
