package sensor

import (
	"errors"
	"math"

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

// Ranges that keep every result finite. They are wider than anything built.
const (
	maxSide      = 1 << 24 // pixels
	minFNumber   = 0.25
	maxFNumber   = 1024
	minTime      = unit.Time(1e-9)
	maxTime      = unit.Time(1e6)
	minIndex     = 0.1
	maxIndex     = 1e8
	maxLuminance = 1e12 // cd/m²
	maxEV        = 100
)
