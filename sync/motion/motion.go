package motion

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// MotionSpec describes a still object that a moving camera passes.
type MotionSpec struct {
	// Time is the exposure, for motion blur, or the delay of a late picture. It is
	// negative for an early picture: −60 s to 60 s.
	Time unit.Time

	Speed    unit.Velocity // of the camera on a straight course: 0 to 1000 m/s
	Distance unit.Length   // from the camera to the object at first: more than 0 m, at most 10⁹ m

	// Ahead is the angle from abeam to the object at first: 0 is square to the
	// course, 90° is dead ahead, and −90° is astern.
	Ahead unit.Angle

	Density float64 // pixels per degree where the object is: more than 0, at most 10⁶
}

// Motion is how far an object moves in the picture.
type Motion struct {
	Displacement unit.Length // of the camera: speed · time
	Angle        unit.Angle  // by which the object's direction turns, positive towards the stern
	Pixels       float64     // Angle in pixels: degrees · Density
}

// ImageMotion is how far an object moves in the picture of a moving camera: the
// motion blur of an exposure, or the error of a picture that is late.
//
//	atan2(s cos α, D − s sin α)
//
// s is the displacement, D is Distance and α is Ahead. Abeam the angle is
// atan(s/D), and dead ahead and astern it is 0. A camera that runs into the object
// is an error.
func ImageMotion(spec MotionSpec) (Motion, error) {
	c := newChecker()
	c.Time("time", spec.Time, valid.Closed[unit.Time](-60, 60))
	c.Number("speed", float64(spec.Speed), "m/s", valid.Closed(0.0, 1000.0))
	c.Length("distance", spec.Distance, valid.Distances)
	c.Angle("ahead", spec.Ahead, valid.Closed(-90*Degree, 90*Degree))
	c.Number("density", spec.Density, "px/°", valid.Above(0.0, 1e6))
	if !c.OK() {
		return Motion{}, c.Err()
	}
	path := float64(spec.Speed) * float64(spec.Time)
	sin, cos := math.Sincos(float64(spec.Ahead))
	if spec.Ahead == 90*Degree || spec.Ahead == -90*Degree {
		cos = 0
	}
	if path*sin >= float64(spec.Distance) && cos == 0 {
		c.Fault("distance", quantity.Length(spec.Distance), "must be more than the %s that the camera goes towards the object", quantity.Length(unit.Length(math.Abs(path))))
		return Motion{}, c.Err()
	}
	angle := math.Atan2(0+path*cos, float64(spec.Distance)-path*sin) // 0+: no −0
	return Motion{
		Displacement: unit.Length(path),
		Angle:        unit.Angle(angle),
		Pixels:       angle / float64(Degree) * spec.Density,
	}, nil
}
