package projection

import (
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Pose is where a camera stands and how it is turned, in the stage frame:
// metres, right-handed, +Y up. The zero Pose stands at the origin, looks along
// −Z and has +X to its right and +Y at its top.
//
// Heading is positive to the right seen from above, Elevation positive upwards,
// Roll positive clockwise seen from behind the camera. They compose heading,
// then elevation, then roll, each about the axes that the one before left:
//
//	R = Ry(−Heading) · Rx(Elevation) · Rz(−Roll)
//
// A Pose serves as well for a body that carries cameras: see Compose.
type Pose struct {
	Position                 r3.Vec // metres
	Heading, Elevation, Roll unit.Angle
}

func (p Pose) axes() orient.Axes { return orient.FromAngles(p.Heading, p.Elevation, p.Roll) }

// ToStage turns a vector of the camera's frame (+X right, +Y up, −Z ahead) into
// the stage frame. It turns only: of a point, add Position. FromStage is its
// inverse.
func (p Pose) ToStage(v r3.Vec) r3.Vec { return p.axes().ToStage(v) }

// FromStage turns a vector of the stage frame into the camera's frame, the
// inverse of ToStage.
func (p Pose) FromStage(v r3.Vec) r3.Vec { return p.axes().FromStage(v) }

// Compose is the pose, in the frame in which p is given, of a body whose pose
// in the frame of p is q: the pose of a camera on a vehicle is
// vehicle.Compose(mount). Elevation of the result is within ±90°, heading and
// roll within ±180°; looking straight up or down its roll is 0.
func (p Pose) Compose(q Pose) Pose {
	a, b := p.axes(), q.axes()
	c := orient.Axes{Right: a.ToStage(b.Right), Up: a.ToStage(b.Up), Back: a.ToStage(b.Back)}
	r := Pose{Position: r3.Add(p.Position, a.ToStage(q.Position))}
	r.Heading, r.Elevation, r.Roll = c.Angles()
	return r
}

// Inverse is the pose that undoes p: p.Compose(p.Inverse()) is the zero Pose,
// up to rounding. The pose of a camera relative to another is
// other.Inverse().Compose(camera).
func (p Pose) Inverse() Pose {
	a := p.axes()
	t := orient.Axes{
		Right: r3.Vec{X: a.Right.X, Y: a.Up.X, Z: a.Back.X},
		Up:    r3.Vec{X: a.Right.Y, Y: a.Up.Y, Z: a.Back.Y},
		Back:  r3.Vec{X: a.Right.Z, Y: a.Up.Z, Z: a.Back.Z},
	}
	r := Pose{Position: r3.Scale(-1, t.ToStage(p.Position))}
	r.Heading, r.Elevation, r.Roll = t.Angles()
	return r
}

func (p Pose) check(c *valid.Checker) {
	c.Number("pose position x", p.Position.X, "m", valid.Finite())
	c.Number("pose position y", p.Position.Y, "m", valid.Finite())
	c.Number("pose position z", p.Position.Z, "m", valid.Finite())
	c.Angle("pose heading", p.Heading, valid.Finite())
	c.Angle("pose elevation", p.Elevation, valid.Finite())
	c.Angle("pose roll", p.Roll, valid.Finite())
}

// VisionAxes turns a vector from a camera's own frame (+X right, +Y up, −Z
// ahead) into the frame of computer vision (+X right, +Y down, +Z ahead), and
// equally back: a half turn about X is its own inverse.
//
//	(x, y, z) → (x, −y, −z)
//
// Nothing else in this package uses that frame.
func VisionAxes(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} }
