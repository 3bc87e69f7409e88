package offaxis

import (
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Shape is the surface on which the things of a plate are taken to stand. The
// zero Shape is none.
type Shape uint8

const (
	// AtInfinity is everything so far off that no step of the eye shows.
	AtInfinity Shape = iota + 1
	// Sphere is a sphere about the plate's centre.
	Sphere
	// Cylinder is an upright cylinder without end, its axis through the plate's
	// centre.
	Cylinder
	// Dome is level ground below the plate's centre and a sphere about that
	// centre above it.
	Dome
)

// SurroundSpec describes where the things of a plate are taken to stand.
type SurroundSpec struct {
	Shape  Shape
	Centre r3.Vec      // of the plate, where its cameras stood: metres, in the stage frame
	Radius unit.Length // of the sphere or the cylinder, 1 mm to 1e15 m; 0 with AtInfinity
	Ground unit.Length // of a Dome, below the centre: above 0 and below Radius; else 0
}

// Surround gives every direction of a plate a distance, so that an eye that is
// not where the plate's cameras stood sees it almost right: wholly right for
// what stands on the surface, and less the further from it.
//
// A Surround is immutable and safe for concurrent use. The zero Surround has no
// surface and answers nothing.
type Surround struct {
	shape  Shape
	centre r3.Vec
	radius float64
	ground float64 // metres below the centre
}

// NewSurround checks a spec, all faults together, and returns the surround.
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
		v.Fault("shape", fmt.Sprint(uint8(spec.Shape)), "must be AtInfinity, Sphere, Cylinder or Dome")
	}
	v.Length("radius", spec.Radius, radius)
	v.Length("ground", spec.Ground, ground)
	if err := v.Err(); err != nil {
		return Surround{}, err
	}
	return Surround{spec.Shape, spec.Centre, float64(spec.Radius), float64(spec.Ground)}, nil
}

// reach is how far from the plate's centre, in metres along each axis, an eye may
// be.
const reach = 1e18

// Lookup is the direction to look up in the plate, of length 1, for what an eye
// sees along a ray: that from the plate's centre to the point where the ray meets
// the surface from within. eye is in metres and ray, of any length but 0, in the
// stage frame. With e the eye from the centre, d the ray at length 1 and R the
// radius, the point is e + t·d:
//
//	AtInfinity   direction d, wherever the eye is
//	Sphere       t = √((e·d)² + R² − e·e) − e·d
//	Cylinder     the same with the level parts of e and d
//	Dome         the nearer of the sphere and the ground, t = (Ground + e.Y)/(−d.Y) for a falling ray
//
// A ray straight up or down within a Cylinder never meets it, and looks straight
// up or down: the limit of steeper and steeper rays. From the centre itself every
// ray is its own answer, and with a growing radius every answer tends to the ray.
// A ray that only grazes the surface where the eye nears it changes its point as
// the root of the eye's distance from the surface.
//
// ok is false for an eye on the surface or outside, on the ground or below, or
// 1e18 m and more away, and for a ray that is 0 or not finite.
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

// exit is the way out of a unit circle or sphere, from a point whose distance
// from the centre and whose progress along the way are given; ok is false on it
// and outside.
func exit(distance, along float64) (t float64, ok bool) {
	if !(distance < 1) {
		return 0, false
	}
	inside := (1 - distance) * (1 + distance)
	return math.Sqrt(along*along+inside) - along, true
}

// Target is what EyeView looks through: a camera, a panorama, or a raster of the
// caller's own.
type Target interface {
	Size() (width, height int)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// EyeView is a Target seen by an eye that is not at the plate's centre: its
// Unproject gives the direction to look up in the plate. It is immutable and as
// safe for concurrent use as its Target. The zero EyeView has a raster of 0 × 0 px
// and sees nothing.
type EyeView struct {
	target   Target
	surround Surround
	eye      r3.Vec
}

// EyeView is the target as seen by an eye: eye is the point in the stage, in metres,
// from which the target's directions start, the viewpoint of the camera that will
// film the wall. An eye that Lookup does not answer, and a target that is nil,
// are errors.
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

// Size is the size in pixels of the target.
func (v EyeView) Size() (width, height int) {
	if v.target == nil {
		return 0, 0
	}
	return v.target.Size()
}

// Unproject is the direction to look up in the plate, of length 1 in the stage
// frame, for the raster position (x, y) px. ok is that of the target.
func (v EyeView) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	if v.target == nil {
		return r3.Vec{}, false
	}
	if dir, ok = v.target.Unproject(x, y); !ok {
		return r3.Vec{}, false
	}
	return v.surround.Lookup(v.eye, dir)
}

// Breaks are those of the target, where it has a method of that name, and else
// none: positions at which its surface bends or jumps.
func (v EyeView) Breaks() (xs, ys []float64) {
	if b, ok := v.target.(interface{ Breaks() (xs, ys []float64) }); ok {
		return b.Breaks()
	}
	return nil, nil
}
