package valid

import (
	"math"

	"gonum.org/v1/gonum/unit"
)

// MaxSide is the largest number of pixels along a side of a raster.
const MaxSide = 1 << 24

// The limits that packages share. A quantity that two packages take has its
// limits here, so that both accept the same values. Ends are what no equipment of
// this trade reaches; a value beyond them is a slip, most often of the unit.
var (
	FNumbers      = Closed(0.5, 1024.0)                                       // in air no lens is below 0.5
	FocalLengths  = Closed(100*unit.Micro*unit.Metre, 2*unit.Metre)           // paraxial
	ImageCircles  = Closed(100*unit.Micro*unit.Metre, 1*unit.Metre)           // diameters
	SensorSides   = Closed(100*unit.Nano*unit.Metre, 1*unit.Metre)            // of a sensor's picture area
	Pitches       = Closed(100*unit.Nano*unit.Metre, 1*unit.Milli*unit.Metre) // from photosite to photosite
	Wavelengths   = Closed(10*unit.Nano*unit.Metre, 30*unit.Micro*unit.Metre)
	Distances     = Above(0, 1e9*unit.Metre)                  // from a camera to a thing
	Coordinates   = Closed(-1e6*unit.Metre, 1e6*unit.Metre)   // of a position in the stage frame
	Turns         = Closed[unit.Angle](-2*math.Pi, 2*math.Pi) // headings, elevations and rolls
	FieldsOfView  = Between[unit.Angle](1e-9, math.Pi)        // of a rectilinear view, from edge to edge
	Acuities      = Between[unit.Angle](1e-9, math.Pi/2)      // the least angle that an eye resolves
	ExposureTimes = Closed[unit.Time](1e-9, 1e6)
	Luminances    = Closed(1e-12, 1e12) // cd/m²
	Illuminances  = Closed(1e-12, 1e12) // lx
	Frequencies   = Closed(0.0, 1e9)    // line pairs per millimetre
)
