package projection

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Direction is the unit vector in a heading and an elevation:
//
//	(cos e · sin h, sin e, −cos e · cos h)
func Direction(heading, elevation unit.Angle) r3.Vec {
	return r3.Scale(-1, orient.FromAngles(heading, elevation, 0).Back)
}

// HeadingElevation is the inverse of Direction, for a dir of any length but 0: the heading
// within ±180°, the elevation within ±90°. Straight up and down the heading is 0.
func HeadingElevation(dir r3.Vec) (heading, elevation unit.Angle, ok bool) {
	dir, ok = geom.Handy(dir)
	if !ok {
		return 0, 0, false
	}
	level := math.Hypot(dir.X, dir.Z)
	if level > 0 {
		heading = unit.Angle(math.Atan2(dir.X+0, -dir.Z) + 0) // no negative zeros
	}
	return heading, unit.Angle(math.Atan2(dir.Y, level) + 0), true
}

// Pose is a camera's position and orientation, or those of a body that carries cameras.
// The zero Pose is at the origin and looks along −Z, with +X to its right and +Y up.
//
//	R = Ry(−Heading) · Rx(Elevation) · Rz(−Roll)
//
// A Pose is not validated. Constructors that take one refuse a position that is not finite
// and angles beyond ±360°, and so a bare 90, which is 90 rad: write 90*Degree. Methods
// without ok give NaN for a Pose that is not finite. Results have an Elevation within ±90°,
// Heading and Roll within ±180°, and looking straight up or down Roll is 0. No number of a
// result is a negative zero.
type Pose struct {
	Position                 r3.Vec // metres
	Heading, Elevation, Roll unit.Angle
}

func (p Pose) axes() orient.Axes { return orient.FromAngles(p.Heading, p.Elevation, p.Roll) }

// ToStage turns a vector of the camera's frame (+X right, +Y up, −Z ahead) into the stage
// frame. It does not add Position.
func (p Pose) ToStage(v r3.Vec) r3.Vec { return p.axes().ToStage(v) }

// FromStage is the inverse of ToStage.
func (p Pose) FromStage(v r3.Vec) r3.Vec { return p.axes().FromStage(v) }

// PoseFromAxes is the pose at a position, in metres, whose own +X, +Y and +Z point along
// right, up and back in the stage frame. Axes whose lengths are not 1 or whose angles are
// not 90°, to 1e-6, or that form a left-handed set are an error. The result keeps back and
// moves the others to right angles.
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
	p := Pose{Position: r3.Add(position, r3.Vec{})} // no negative zeros
	p.Heading, p.Elevation, p.Roll = a.Angles()
	return p
}

// Compose is the pose of a body with the pose q in the frame of a carrier with the pose p:
// that of a camera on a vehicle is vehicle.Compose(mount).
func (p Pose) Compose(q Pose) Pose {
	a := p.axes()
	return poseOf(r3.Add(p.Position, a.ToStage(q.Position)), product(a, q.axes()))
}

// Inverse is the pose that undoes p: p.Compose(p.Inverse()) is the zero Pose, to rounding.
// The pose of one camera in the frame of another is other.Inverse().Compose(camera).
func (p Pose) Inverse() Pose {
	t := transposed(p.axes())
	return poseOf(r3.Scale(-1, t.ToStage(p.Position)), t)
}

// AngleTo is the angle of the turn from the orientation of p to that of q, 0 to 180°.
func (p Pose) AngleTo(q Pose) unit.Angle {
	return unit.Angle(r3.Norm(rotationVector(product(transposed(p.axes()), q.axes()))))
}

// Interpolate is the pose at the fraction t of the way from p to q, 0 to 1. The position
// moves along a line. The camera turns about one axis at constant speed, the shorter way;
// if both are equally short, to its right, or else upwards, or else clockwise.
//
//	R(t) = R_p · exp(t · log(R_p⁻¹ · R_q))
//
// ok is false for t outside 0 to 1 and if p or q is not finite.
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

// rotationVector is the inverse of rotation, of length 0 to π. It finds the largest
// part of the quaternion first, so that no part is lost in differences. Of the two
// axes of a half turn it takes the one that turns to the right, or else upwards, or
// else clockwise.
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
	const rounding = 1e-15
	if math.Abs(w) <= rounding*n {
		w = math.Abs(w)
		first := 0.0
		for _, part := range [3]float64{-v.Y, v.X, -v.Z} {
			if first == 0 && math.Abs(part) > rounding*n {
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
	geom.CheckPose(c, p.Position, p.Heading, p.Elevation, p.Roll)
}
