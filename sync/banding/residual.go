package banding

import (
	"math"

	"example.com/platewright/internal/valid"
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
	x := nearWhole(float64(light) * float64(exposure))
	if x == 0 {
		return modulation, nil
	}
	// sin(πx) by the distance to the nearest whole number keeps its zeros.
	return modulation * math.Abs(math.Sin(math.Pi*(x-math.Round(x)))) / (math.Pi * x), nil
}
