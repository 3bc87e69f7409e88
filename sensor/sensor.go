package sensor

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("sensor: invalid value")

// Degree is one degree of arc: 10 * sensor.Degree.
const Degree unit.Angle = math.Pi / 180

const (
	micrometre = unit.Micro * unit.Metre
	millimetre = unit.Milli * unit.Metre
)

// What a spec or a function accepts. The ends are wider than what is built,
// and yet narrow enough to catch millimetres given as metres.
var (
	sides       = valid.Closed(0.1*micrometre, 1*unit.Metre) // of a format
	pitches     = valid.Closed(0.1*micrometre, 1*millimetre)
	wavelengths = valid.Closed(0.01*micrometre, 30*micrometre)
	fNumbers    = valid.Closed(0.5, 1024.0) // in air no lens is below 0.5
	times       = valid.Closed(1e-9, unit.Time(1e6))
	indices     = valid.Closed(0.1, 1e8)    // of exposure, and speeds
	lights      = valid.Closed(1e-12, 1e12) // luminances in cd/m², illuminances in lx
	values      = valid.Closed(-100.0, 100) // of exposure, in EV
	amounts     = valid.Closed(0.0, 1e30)   // of data in bytes, of time in s
)

// maxSide is the most pixels that a side of a raster has.
const maxSide = 1 << 24

// snapped is v. Where v lies outside the range by no more than rounding, it is
// the end of the range: an inverse then takes what its function gave there.
func snapped(v float64, r valid.Range) float64 {
	if end := min(max(v, r.Min), r.Max); math.Abs(v-end) <= 1e-12*math.Abs(end) {
		return end
	}
	return v
}
