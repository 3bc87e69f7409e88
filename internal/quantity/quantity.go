// Package quantity prints quantities for people: in the unit that suits the
// size, with the unit beside the number. gonum's unit types print SI base
// units only (50 mm as 0.05 m) and have no degree.
package quantity

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/unit"
)

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180

// digits is the number of digits printed: enough to tell apart any two values
// that matter.
const digits = 6

type scale struct {
	factor float64
	name   string
}

// Length formats a length like "35 mm", "4.39453 µm", "12 m", "1.5 km".
func Length(l unit.Length) string {
	return scaled(float64(l), "m", scale{1e3, "km"}, scale{1, "m"}, scale{1e-3, "mm"}, scale{1e-6, "µm"}, scale{1e-9, "nm"})
}

// Angle formats an angle in degrees, like "46.8°".
func Angle(a unit.Angle) string { return number(float64(a/Degree)) + "°" }

// Time formats a time like "20.8333 ms", "4 s", "35 min", "2.5 h".
func Time(t unit.Time) string {
	return scaled(float64(t), "s", scale{3600, "h"}, scale{60, "min"}, scale{1, "s"}, scale{1e-3, "ms"}, scale{1e-6, "µs"}, scale{1e-9, "ns"})
}

// Frequency formats a frequency like "59.9401 Hz", "3.84 kHz".
func Frequency(f unit.Frequency) string {
	return scaled(float64(f), "Hz", scale{1e9, "GHz"}, scale{1e6, "MHz"}, scale{1e3, "kHz"}, scale{1, "Hz"}, scale{1e-3, "mHz"})
}

// Number formats a number with a unit like "78.5 lp/mm", or "2.8" if the unit
// is empty.
func Number(v float64, unitName string) string {
	if unitName == "" {
		return number(v)
	}
	return number(v) + " " + unitName
}

// scaled prints v in the largest unit of which v is at least 1. Zero, NaN and
// infinities are printed in the base unit.
func scaled(v float64, base string, scales ...scale) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return number(v) + " " + base
	}
	s := scales[len(scales)-1]
	for _, c := range scales {
		// A value that would round up to the next unit belongs there.
		if math.Abs(v) >= c.factor*(1-0.5*math.Pow10(-digits)) {
			s = c
			break
		}
	}
	return number(v/s.factor) + " " + s.name
}

func number(v float64) string {
	// -0 is no news to a reader.
	return strconv.FormatFloat(v+0, 'g', digits, 64)
}
