package projection

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
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
//
// A Pose is not validated. Constructors that take one refuse a position that is not
// finite and angles beyond ±360°, so that a bare 90, which is 90 rad, is refused:
// write 90*Degree. Methods of a Pose that is not finite give NaN where they have no
// ok.
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

// PoseFromAxes is the pose of a camera at a position, in metres, whose own +X,
// +Y and +Z point along right, up and back in the stage frame: the inverse of
// ToStage of the three unit vectors. Elevation of the result is within ±90°,
// heading and roll within ±180°; looking straight up or down its roll is 0.
//
// The axes must have length 1 and stand square, to 1e-6, and form a
// right-handed set. Within that, back is kept and the others are squared to it.
func PoseFromAxes(position, right, up, back r3.Vec) (Pose, error) {
	c := valid.New("projection", ErrInvalid)
	geom.CheckVec(c, "position", position, "m")
	near1, near0 := valid.Closed(1-1e-6, 1+1e-6), valid.Closed(-1e-6, 1e-6)
	c.Number("length of right", r3.Norm(right), "", near1)
	c.Number("length of up", r3.Norm(up), "", near1)
	c.Number("length of back", r3.Norm(back), "", near1)
	c.Number("right · up", r3.Dot(right, up), "", near0)
	c.Number("up · back", r3.Dot(up, back), "", near0)
	c.Number("back · right", r3.Dot(back, right), "", near0)
	if c.OK() && r3.Dot(r3.Cross(right, up), back) < 0 {
		c.Fault("right × up", "against back", "must point along back: a right-handed set")
	}
	if err := c.Err(); err != nil {
		return Pose{}, err
	}
	back = r3.Unit(back)
	right = r3.Unit(r3.Sub(right, r3.Scale(r3.Dot(right, back), back)))
	return poseOf(position, orient.Axes{Right: right, Up: r3.Cross(back, right), Back: back}), nil
}

func poseOf(position r3.Vec, a orient.Axes) Pose {
	p := Pose{Position: position}
	p.Heading, p.Elevation, p.Roll = a.Angles()
	return p
}

// Compose is the pose, in the frame in which p is given, of a body whose pose
// in the frame of p is q: the pose of a camera on a vehicle is
// vehicle.Compose(mount). Elevation of the result is within ±90°, heading and
// roll within ±180°; looking straight up or down its roll is 0.
func (p Pose) Compose(q Pose) Pose {
	a := p.axes()
	return poseOf(r3.Add(p.Position, a.ToStage(q.Position)), product(a, q.axes()))
}

// Inverse is the pose that undoes p: p.Compose(p.Inverse()) is the zero Pose,
// up to rounding. The pose of a camera relative to another is
// other.Inverse().Compose(camera).
func (p Pose) Inverse() Pose {
	t := transposed(p.axes())
	return poseOf(r3.Scale(-1, t.ToStage(p.Position)), t)
}

// AngleTo is the angle between the orientations of p and q, 0 to 180°: that of
// the one turn that leads from p to q. Positions do not count. It is NaN where
// an angle of p or q is not finite.
func (p Pose) AngleTo(q Pose) unit.Angle {
	return unit.Angle(r3.Norm(rotationVector(product(transposed(p.axes()), q.axes()))))
}

// Interpolate is the pose a share t of the way from p to q, 0 to 1. The position
// moves along a line, and the camera turns about one axis, the shorter way round
// and at constant speed; p and q themselves come back unchanged at the ends, and
// between them the angles are as after Compose.
//
//	R(t) = R_p · exp(t · log(R_p⁻¹ · R_q))
//
// Where q is half a turn from p both ways are equally short: the turn is then to
// the right as the camera of p has it, or else upwards, or else clockwise. ok is
// false for t outside 0 … 1 and where p or q is not finite.
//
// Source: K. Shoemake, Animating rotation with quaternion curves, SIGGRAPH 1985,
// whose spherical linear interpolation this is.
func (p Pose) Interpolate(q Pose, t float64) (between Pose, ok bool) {
	if !(t >= 0 && t <= 1) || !p.finite() || !q.finite() {
		return Pose{}, false
	}
	switch t {
	case 0:
		return p, true
	case 1:
		return q, true
	}
	a := p.axes()
	turn := rotationVector(product(transposed(a), q.axes()))
	position := r3.Add(r3.Scale(1-t, p.Position), r3.Scale(t, q.Position))
	return poseOf(position, product(a, rotation(r3.Scale(t, turn)))), true
}

// product is the orientation b within the frame of a: the matrix A·B.
func product(a, b orient.Axes) orient.Axes {
	return orient.Axes{Right: a.ToStage(b.Right), Up: a.ToStage(b.Up), Back: a.ToStage(b.Back)}
}

// transposed is the inverse of an orientation.
func transposed(a orient.Axes) orient.Axes {
	return orient.Axes{
		Right: r3.Vec{X: a.Right.X, Y: a.Up.X, Z: a.Back.X},
		Up:    r3.Vec{X: a.Right.Y, Y: a.Up.Y, Z: a.Back.Y},
		Back:  r3.Vec{X: a.Right.Z, Y: a.Up.Z, Z: a.Back.Z},
	}
}

// rotation is the turn about v, right-handed, by its length in rad: Rodrigues'
// formula.
func rotation(v r3.Vec) orient.Axes {
	angle := r3.Norm(v)
	if angle == 0 {
		return orient.FromAngles(0, 0, 0)
	}
	k := r3.Scale(1/angle, v)
	sin, cos := math.Sincos(angle)
	half := math.Sin(angle / 2)
	image := func(e r3.Vec) r3.Vec {
		along := 2 * half * half * r3.Dot(k, e) // (1 − cos)(k·e)
		return r3.Add(r3.Add(r3.Scale(cos, e), r3.Scale(sin, r3.Cross(k, e))), r3.Scale(along, k))
	}
	return orient.Axes{Right: image(r3.Vec{X: 1}), Up: image(r3.Vec{Y: 1}), Back: image(r3.Vec{Z: 1})}
}

// rotationVector is the inverse of rotation, of length 0 to π, by way of the
// quaternion, whose largest part is found first so that none is lost in
// differences. The axis of a half turn, which has two, leads to the right, or
// else upwards, or else clockwise.
func rotationVector(a orient.Axes) r3.Vec {
	xx, yy, zz := a.Right.X, a.Up.Y, a.Back.Z
	// Four times the products of the parts.
	wx, wy, wz := a.Up.Z-a.Back.Y, a.Back.X-a.Right.Z, a.Right.Y-a.Up.X
	xy, yz, zx := a.Right.Y+a.Up.X, a.Up.Z+a.Back.Y, a.Back.X+a.Right.Z
	w2, x2, y2, z2 := 1+xx+yy+zz, 1+xx-yy-zz, 1-xx+yy-zz, 1-xx-yy+zz
	var w float64
	var v r3.Vec
	switch max(w2, x2, y2, z2) {
	case w2:
		w, v = w2, r3.Vec{X: wx, Y: wy, Z: wz}
	case x2:
		w, v = wx, r3.Vec{X: x2, Y: xy, Z: zx}
	case y2:
		w, v = wy, r3.Vec{X: xy, Y: y2, Z: yz}
	default:
		w, v = wz, r3.Vec{X: zx, Y: yz, Z: z2}
	}
	n := r3.Norm(v)
	if n == 0 {
		return r3.Vec{}
	}
	// In units of n, what rounding leaves of nothing.
	const nothing = 1e-15
	if math.Abs(w) <= nothing*n {
		w = math.Abs(w)
		first := 0.0
		for _, part := range [3]float64{-v.Y, v.X, -v.Z} {
			if first == 0 && math.Abs(part) > nothing*n {
				first = part
			}
		}
		if first < 0 {
			v = r3.Scale(-1, v)
		}
	} else if w < 0 {
		w, v = -w, r3.Scale(-1, v)
	}
	return r3.Scale(2*math.Atan2(n, w)/n, v)
}

func (p Pose) finite() bool {
	return 0*p.Position.X+0*p.Position.Y+0*p.Position.Z+0*float64(p.Heading)+0*float64(p.Elevation)+0*float64(p.Roll) == 0
}

func (p Pose) check(c *valid.Checker) {
	geom.CheckVec(c, "pose position", p.Position, "m")
	geom.CheckTurns(c, "pose", p.Heading, p.Elevation, p.Roll)
}

// VisionAxes turns a vector from a camera's own frame (+X right, +Y up, −Z
// ahead) into the frame of computer vision (+X right, +Y down, +Z ahead), and
// equally back: a half turn about X is its own inverse.
//
//	(x, y, z) → (x, −y, −z)
//
// Besides it only Extrinsics uses that frame.
func VisionAxes(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} }
