package sync

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// MotionSpec describes a still object that a moving camera passes.
type MotionSpec struct {
	// Time is the time that passes, −60 s to 60 s. For motion blur it is the
	// exposure. For a picture that is late it is the delay, and it is negative for a
	// picture that is early.
	Time unit.Time

	// Speed is the speed of the camera, 0 to 1000 m/s. Its course is straight.
	Speed unit.Velocity

	// Distance is the distance from the camera to the object at the beginning: more
	// than 0 m and at most 10⁹ m.
	Distance unit.Length

	// Ahead is the angle by which the object lies ahead of abeam at the beginning,
	// −90° to 90°: 0 is square to the course, 90° is dead ahead, −90° is astern.
	Ahead unit.Angle

	// Density is the number of pixels per degree of the picture in the direction of
	// the object: more than 0 and at most 10⁶.
	Density float64
}

// Motion is how far an object moves in the picture.
type Motion struct {
	// Displacement is the way that the camera goes, in m: speed · time.
	Displacement unit.Length

	// Angle is the change of the object's direction as seen from the camera, in rad,
	// positive towards the stern.
	Angle unit.Angle

	// Pixels is Angle in pixels: degrees · Density.
	Pixels float64
}

// ImageMotion gives how far an object moves in the picture of a moving camera: the
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
