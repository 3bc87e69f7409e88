package sync

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// PercentFlicker gives the modulation of a light from samples of its waveform,
// in percent from 0 to 100.
//
//	100 (max − min) / (max + min)
//
// samples must be finite, not negative and not all 0; two at least. They must
// span a whole period; the peaks of a smooth waveform of frequency f, sampled
// n times a period, are met within (π/n)²/2 of its swing.
//
// Source: IEEE 1789-2015, as summarised at
// lightingrecipe.com/flicker-pstlm-and-svm.
func PercentFlicker(samples []float64) (float64, error) {
	peak, err := waveform(samples)
	if err != nil {
		return 0, err
	}
	least := math.Inf(1)
	for _, v := range samples {
		least = math.Min(least, v)
	}
	// In parts of the peak, no sum overflows.
	least /= peak
	return 100 * (1 - least) / (1 + least), nil
}

// FlickerIndex gives the part of a light's waveform that lies above its mean,
// from 0 for a steady light to nearly 1 for short flashes.
//
//	area above the mean / whole area
//
// samples must be finite, not negative and not all 0, two at least, evenly
// spaced over a whole number of periods, the first not repeated at the end.
//
// Source: Illuminating Engineering Society (IES), Lighting Handbook, from
// memory.
func FlickerIndex(samples []float64) (float64, error) {
	peak, err := waveform(samples)
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

// waveform checks the samples and gives the largest.
func waveform(samples []float64) (peak float64, err error) {
	if len(samples) < 2 {
		return 0, fault("samples", strconv.Itoa(len(samples)), "must be 2 at least")
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

// FlickerLimits gives the percent flicker that IEEE 1789-2015 recommends to
// stay below at a frequency: lowRisk by its practice 1, noEffect by its
// practice 2, the stricter. 100 is no limit.
//
//	lowRisk   0.025 f below 90 Hz, 0.08 f from there to 1250 Hz
//	noEffect  0.01 f below 90 Hz, 0.0333 f from there to 3000 Hz
//
// The frequency is that of the light's flicker, so twice that of the mains.
// The limits are for people in everyday lighting; they are no medical advice
// and no replacement for local rules (see the cautions of the package). A
// frequency that is not positive and finite is an error.
//
// Source: IEEE 1789-2015, as summarised at
// lightingrecipe.com/flicker-pstlm-and-svm; the standard itself was not read.
func FlickerLimits(f unit.Frequency) (lowRisk, noEffect float64, err error) {
	c := valid.New("sync", ErrInvalid)
	c.Frequency("frequency", f, valid.Between(0, unit.Frequency(math.Inf(1))))
	if !c.OK() {
		return 0, 0, c.Err()
	}
	lowRisk, noEffect = 100, 100
	switch hz := float64(f); {
	case hz < 90:
		lowRisk, noEffect = 0.025*hz, 0.01*hz
	default:
		if hz <= 1250 {
			lowRisk = 0.08 * hz
		}
		if hz <= 3000 {
			noEffect = 0.0333 * hz
		}
	}
	return lowRisk, noEffect, nil
}
