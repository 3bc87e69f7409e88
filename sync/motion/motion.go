package motion

import (
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Spec describes the motion of a vehicle and the place of a camera on it. The zero Spec
// is a vehicle at rest.
type Spec struct {
	// Velocity is that of the vehicle's point of reference, in m/s: forward is −Z. Each
	// component is −1000 to 1000.
	Velocity r3.Vec

	// Yaw, Pitch and Roll are turns in a second: to the right, nose up, and clockwise seen
	// from behind. −720° to 720°.
	Yaw, Pitch, Roll unit.Angle

	// Arm is the lever arm: the camera's place from the point of reference, in metres.
	Arm r3.Vec
}

// Motion is the steady motion of a camera on a vehicle. It is immutable. Equal specs
// give equal values.
type Motion struct {
	velocity r3.Vec // of the camera
	turn     r3.Vec // in a second, by the right-hand rule
}

// New checks the spec.
func New(spec Spec) (Motion, error) {
	c := newChecker()
	vector := func(name, unitName string, v r3.Vec, r valid.Range) {
		c.Number(name+" x", v.X, unitName, r)
		c.Number(name+" y", v.Y, unitName, r)
		c.Number(name+" z", v.Z, unitName, r)
	}
	vector("velocity", "m/s", spec.Velocity, valid.Closed(-1000.0, 1000.0))
	vector("arm", "m", spec.Arm, valid.Coordinates)
	turns := valid.Closed(-720*Degree, 720*Degree)
	c.Angle("yaw a second", spec.Yaw, turns)
	c.Angle("pitch a second", spec.Pitch, turns)
	c.Angle("roll a second", spec.Roll, turns)
	if !c.OK() {
		return Motion{}, c.Err()
	}
	turn := r3.Vec{X: float64(spec.Pitch), Y: -float64(spec.Yaw), Z: -float64(spec.Roll)}
	return Motion{r3.Add(spec.Velocity, r3.Cross(turn, spec.Arm)), turn}, nil
}

// Direction is where a thing is seen after a time, as a unit vector in the frame of the
// vehicle, which has moved and turned. dir is where it is seen at time 0.
func (m Motion) Direction(dir r3.Vec, distance unit.Length, t unit.Time) (r3.Vec, bool) {
	dir, ok := sight(dir, distance)
	if !ok || !(math.Abs(float64(t)) <= 3600) {
		return r3.Vec{}, false
	}
	turn, way := r3.Scale(float64(t), m.turn), r3.Scale(float64(t), m.velocity)
	phi := sphere.Norm(turn)
	var a, b, c float64 // without a turn, they have nothing to multiply
	if phi*phi > 0 {
		half := math.Sin(phi/2) / (phi / 2)
		a, b = math.Sin(phi)/phi, half*half/2
		c = (1 - a) / (phi * phi)
	}
	once := r3.Cross(turn, way)
	way = r3.Add(way, r3.Add(r3.Scale(b, once), r3.Scale(c, r3.Cross(turn, once))))

	to := r3.Sub(dir, r3.Scale(1/float64(distance), way))
	once = r3.Cross(turn, to)
	to = r3.Add(to, r3.Add(r3.Scale(-a, once), r3.Scale(b, r3.Cross(turn, once))))
	if !(sphere.Norm(to) > 1e-9) {
		return r3.Vec{}, false
	}
	return sphere.Unit(to), true
}

// sight checks a direction and a distance, and makes a unit vector of the direction.
func sight(dir r3.Vec, distance unit.Length) (r3.Vec, bool) {
	largest := max(math.Abs(dir.X), math.Abs(dir.Y), math.Abs(dir.Z))
	if !(largest > 0) || math.IsInf(largest, 1) || !(distance >= unit.Micro*unit.Metre) {
		return r3.Vec{}, false
	}
	// Divided one by one: the reciprocal of the smallest numbers overflows.
	return sphere.Unit(r3.Vec{X: dir.X / largest, Y: dir.Y / largest, Z: dir.Z / largest}), true
}

// Camera is the projection of a camera that is fixed to the vehicle.
type Camera interface {
	// Project gives the place in the picture of a direction in the vehicle's frame. ok is
	// false if the camera does not see it.
	Project(dir r3.Vec) (x, y float64, ok bool)
}

// Displacement is how far a thing moves.
type Displacement struct {
	Angle  unit.Angle // between the two directions
	X, Y   float64    // in the picture, px to the right and down
	Pixels float64    // the length of X and Y
}

// Displacement is how far a thing moves in a picture in a time: the blur of an exposure,
// or the error of a picture at the wrong time. The direction is where the thing is at
// time 0. For a plate of known density and no projection, Angle/Degree times the density
// in px/° is the displacement in pixels.
func (m Motion) Displacement(camera Camera, dir r3.Vec, distance unit.Length, t unit.Time) (Displacement, bool) {
	before, ok1 := m.Direction(dir, distance, 0)
	after, ok2 := m.Direction(dir, distance, t)
	if !ok1 || !ok2 {
		return Displacement{}, false
	}
	x, y, ok := moved(camera, before, after)
	if !ok {
		return Displacement{}, false
	}
	return Displacement{Angle: unit.Angle(sphere.Angle(before, after)), X: x, Y: y, Pixels: math.Hypot(x, y)}, true
}

// Angle is the angle by which a thing's direction changes in a time.
func (m Motion) Angle(dir r3.Vec, distance unit.Length, t unit.Time) (unit.Angle, bool) {
	before, ok1 := m.Direction(dir, distance, 0)
	after, ok2 := m.Direction(dir, distance, t)
	if !ok1 || !ok2 {
		return 0, false
	}
	return unit.Angle(sphere.Angle(before, after)), true
}

func moved(camera Camera, from, to r3.Vec) (x, y float64, ok bool) {
	if valid.Absent(camera) {
		return 0, 0, false
	}
	x0, y0, ok0 := camera.Project(from)
	x1, y1, ok1 := camera.Project(to)
	x, y = x1-x0, y1-y0
	ok = ok0 && ok1 && !math.IsNaN(x+y) && !math.IsInf(x+y, 0)
	return x, y, ok
}

// flow is the velocity of a thing in the picture at time 0, in px/s.
func (m Motion) flow(camera Camera, dir r3.Vec, distance unit.Length) (x, y float64, ok bool) {
	dir, ok = sight(dir, distance)
	if !ok {
		return 0, 0, false
	}
	rate := r3.Sub(r3.Cross(dir, m.turn), r3.Scale(1/float64(distance), m.velocity))
	rate = r3.Sub(rate, r3.Scale(r3.Dot(rate, dir), dir))
	speed := sphere.Norm(rate)
	if speed == 0 {
		return moved(camera, dir, dir)
	}
	const step = 1e-4 // rad: the differences are off by some 1e-9
	d := r3.Scale(step/speed, rate)
	x, y, ok = moved(camera, r3.Sub(dir, d), r3.Add(dir, d))
	return x * speed / (2 * step), y * speed / (2 * step), ok
}
