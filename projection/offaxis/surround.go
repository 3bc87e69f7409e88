package offaxis

import (
	"fmt"
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Shape is the surface on which everything in a plate is assumed to stand. There
// is no default.
type Shape uint8

const (
	// AtInfinity: everything is so far away that moving the eye changes nothing.
	AtInfinity Shape = iota + 1
	// Sphere: a sphere about the plate's centre.
	Sphere
	// Cylinder: an endless upright cylinder, its axis through the plate's centre.
	Cylinder
	// Dome: level ground below the plate's centre, and a sphere about the centre
	// above the ground.
	Dome
)

var shapes = enum.New[Shape](ErrInvalid, []string{
	AtInfinity: "infinity", Sphere: "sphere", Cylinder: "cylinder", Dome: "dome",
})

// String gives a name like "cylinder".
func (s Shape) String() string { return shapes.Name(s) }

// MarshalText gives the name. An unknown Shape is an error.
func (s Shape) MarshalText() ([]byte, error) { return shapes.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Shape) UnmarshalText(text []byte) error { return shapes.Unmarshal(s, text) }

// SurroundSpec describes where everything in a plate is assumed to stand.
type SurroundSpec struct {
	Shape  Shape
	Centre r3.Vec      // where the cameras of the plate stood: metres, in the stage frame
	Radius unit.Length // of the sphere or cylinder, 1 mm to 1e15 m; must be 0 for AtInfinity
	Ground unit.Length // depth of a Dome's ground below the centre: above 0, below Radius; else must be 0
}

// Surround gives each direction of a plate a distance. An eye that is not where the
// plate's cameras stood then sees the plate from its own place. Things on the
// surface look exactly right; others are displaced, the more the farther they stand
// from it.
//
// The zero Surround has no surface; it answers nothing.
type Surround struct {
	shape  Shape
	centre r3.Vec
	radius float64
	ground float64 // metres below the centre
}

// NewSurround checks a spec and reports all its faults together.
func NewSurround(spec SurroundSpec) (Surround, error) {
	v := valid.New("offaxis", ErrInvalid)
	geom.CheckVec(v, "centre", spec.Centre, "m")
	radius, ground := valid.Closed[unit.Length](1e-3, 1e15), valid.Closed[unit.Length](0, 0)
	switch spec.Shape {
	case AtInfinity:
		radius = ground
	case Sphere, Cylinder:
	case Dome:
		ground = valid.Between(0, spec.Radius)
	default:
		shapes.Check(v, "shape", spec.Shape)
	}
	v.Length("radius", spec.Radius, radius)
	v.Length("ground", spec.Ground, ground)
	if err := v.Err(); err != nil {
		return Surround{}, err
	}
	return Surround{spec.Shape, spec.Centre, float64(spec.Radius), float64(spec.Ground)}, nil
}

// reach is the largest distance along each axis, in metres, from the plate's centre
// to an eye.
const reach = 1e18

// Lookup returns the direction in the plate, of length 1, that an eye sees along a
// ray: the direction from the plate's centre to the point where the ray meets the
// surface from inside. eye is in metres. ray may have any length but 0.
//
//	AtInfinity   d
//	Sphere       e + t·d, t = √((e·d)² + R² − e·e) − e·d
//	Cylinder     likewise, with the level parts of e and d for t
//	Dome         the nearer of the sphere and the ground, t = (Ground + e.Y)/(−d.Y) for a falling ray
//
// e is the eye relative to the centre, d the ray at length 1, R the radius.
//
// In a Cylinder a vertical ray never meets the surface. Its answer is the ray
// itself, the limit of steeper and steeper rays. From the centre every ray is its
// own answer.
//
// ok is false if the eye is on the surface or outside it, on the ground or below
// it, or 1e18 m or more away, and if the ray is 0 or not finite.
func (s Surround) Lookup(eye, ray r3.Vec) (dir r3.Vec, ok bool) {
	ray, ok = geom.Handy(ray)
	if !ok {
		return r3.Vec{}, false
	}
	d := r3.Unit(ray)
	e := r3.Sub(eye, s.centre)
	if !(math.Abs(e.X) <= reach && math.Abs(e.Y) <= reach && math.Abs(e.Z) <= reach) {
		return r3.Vec{}, false
	}
	switch s.shape {
	case AtInfinity:
		return d, true
	case Sphere, Dome:
		// In radii, so that neither a near surface nor a far one loses digits.
		p := r3.Vec{X: e.X / s.radius, Y: e.Y / s.radius, Z: e.Z / s.radius}
		t, ok := exit(r3.Norm(p), r3.Dot(p, d))
		if !ok {
			return r3.Vec{}, false
		}
		if s.shape == Dome {
			height := (s.ground + e.Y) / s.radius
			if !(height > 0) {
				return r3.Vec{}, false
			}
			if t*-d.Y > height {
				t = height / -d.Y
				return r3.Unit(r3.Vec{X: p.X + t*d.X, Y: -s.ground / s.radius, Z: p.Z + t*d.Z}), true
			}
		}
		return r3.Unit(r3.Add(p, r3.Scale(t, d))), true
	case Cylinder:
		x, y, z := e.X/s.radius, e.Y/s.radius, e.Z/s.radius
		level := math.Hypot(d.X, d.Z)
		u, w := 1.0, 0.0 // straight up or down any level way will do
		if level > 0 {
			u, w = d.X/level, d.Z/level
		}
		t, ok := exit(math.Hypot(x, z), x*u+z*w)
		if !ok {
			return r3.Vec{}, false
		}
		// The point times level, which stays within bounds on steep rays.
		return r3.Unit(r3.Vec{X: level * (x + t*u), Y: level*y + t*d.Y, Z: level * (z + t*w)}), true
	}
	return r3.Vec{}, false
}

// exit is the distance along a ray out of a unit circle or sphere, for a point at a
// distance from the centre and at a position along the ray from the point nearest
// to the centre. ok is false on the circle and outside.
func exit(distance, along float64) (t float64, ok bool) {
	if !(distance < 1) {
		return 0, false
	}
	inside := (1 - distance) * (1 + distance)
	return math.Sqrt(along*along+inside) - along, true
}

// Target is what an EyeView looks through: a camera, a panorama, a wall seen from
// the eye, or a raster of the caller's own.
type Target interface {
	Size() (width, height int)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// EyeView is a Target seen by an eye that is not at the plate's centre. Its
// Unproject gives the direction in the plate, so that package projection/warp takes
// it as a target. The zero EyeView has a raster of 0 × 0 px and sees nothing.
type EyeView struct {
	target   Target
	surround Surround
	eye      r3.Vec
}

// EyeView returns the target as the eye sees it. eye is the point, in metres, from
// which the target's directions start. An eye for which Lookup has no answer is an
// error, and so is a nil target.
func (s Surround) EyeView(target Target, eye r3.Vec) (EyeView, error) {
	v := valid.New("offaxis", ErrInvalid)
	if valid.Absent(target) {
		v.Fault("target", "nil", "must be given")
	}
	if s.shape == 0 {
		v.Fault("surround", "zero", "must come from NewSurround")
	} else if _, ok := s.Lookup(eye, r3.Vec{Y: 1}); !ok {
		v.Fault("eye", fmt.Sprintf("(%g, %g, %g) m", eye.X, eye.Y, eye.Z), "must be finite and within the surface")
	}
	if err := v.Err(); err != nil {
		return EyeView{}, err
	}
	return EyeView{target, s, eye}, nil
}

// Size is the size of the target in pixels.
func (v EyeView) Size() (width, height int) {
	if v.target == nil {
		return 0, 0
	}
	return v.target.Size()
}

// Unproject is the direction in the plate, of length 1 in the stage frame, for the
// raster position (x, y) in pixels. ok is false if the target has no direction
// there, or the surround no answer.
func (v EyeView) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	if v.target == nil {
		return r3.Vec{}, false
	}
	if dir, ok = v.target.Unproject(x, y); !ok {
		return r3.Vec{}, false
	}
	return v.surround.Lookup(v.eye, dir)
}

// Breaks are the raster positions at which the target bends or jumps, as it says by
// a method of the same name. package projection/warp then puts no cell of a map
// across them.
func (v EyeView) Breaks() (xs, ys []float64) {
	if b, ok := v.target.(interface{ Breaks() (xs, ys []float64) }); ok {
		return b.Breaks()
	}
	return nil, nil
}
