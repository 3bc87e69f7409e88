package wide

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

const degree = quantity.Degree

// Sight is how a lens sees a thing.
type Sight struct {
	// FieldAngle is the angle at which the thing's ray comes in, and so where it is
	// drawn.
	FieldAngle unit.Angle
	// Distance is the length of the ray from the entrance pupil of that field angle to
	// the thing.
	Distance unit.Length
}

// Sight is the field angle and distance of a thing that is z in front of the sensor's
// plane and x aside from the axis.
//
//	tan θ = x/(z − p(θ)),  √(x² + (z − p(θ))²)
//
// p is the Pupil, which itself depends on θ; the equation is solved to rounding. z may
// be less than p for a lens that sees behind itself. ok is false if x is negative, if x
// or z is beyond 1e9 m, or if the thing is outside the view. It is also false if the thing
// is so near that the lens might see it at two field angles: not more than √(x w) from
// the stretch along which the pupil walks, at up to w per radian.
//
// Source: the definition of the entrance pupil.
func (l Lens) Sight(forward, aside unit.Length) (sight Sight, ok bool) {
	z, x := float64(forward), float64(aside)
	if l.table == nil || !(x >= 0 && x <= valid.Distances.Max && math.Abs(z) <= valid.Distances.Max) {
		return Sight{}, false
	}
	if gap := max(l.nearest-z, z-l.farthest, 0); !(gap*gap+x*x > x*l.walk) {
		return Sight{}, false
	}
	off := func(theta float64) float64 {
		p, _ := l.pupil.at(l.step(unit.Angle(theta)))
		return theta - math.Atan2(x, z-p)
	}
	theta, ok := root.Find(off, 0, float64(l.MaxAngle()))
	if !ok {
		return Sight{}, false
	}
	p, _ := l.pupil.at(l.step(unit.Angle(theta)))
	return Sight{FieldAngle: unit.Angle(theta), Distance: unit.Length(math.Hypot(x, z-p))}, true
}

// SeamSpec describes two cameras with the same lens that are turned about one point on
// the axes of both, and a thing in the middle between their directions.
type SeamSpec struct {
	// Pivot is how far the point is in front of the sensors' planes, from −1 m to 1 m.
	Pivot unit.Length
	// Turn is the angle between the axes. Far things on the seam are at half of it in
	// both pictures, which must be inside the view.
	Turn unit.Angle
	// Distance is that of the thing from the point, to 1e9 m.
	Distance unit.Length
	// Pitch is the distance of the photosites, from 100 nm to 1 mm.
	Pitch unit.Length
}

// Seam is what is left of parallax on the seam between two cameras. It is positive if
// both cameras see the thing farther from their axes than a far thing on the seam. A
// hard seam then drops the thing; if it is negative, a hard seam shows it twice. A soft
// seam shows it twice in both cases.
type Seam struct {
	Parallax   unit.Angle  // between the two pictures, in the scene
	Photosites float64     // between the two pictures, on the sensors together
	Baseline   unit.Length // between the entrance pupils
}

// Seam is the parallax on the seam between two cameras whose pictures join for far
// things.
//
//	2 (θ − turn/2),  2 f (r(θ) − r(turn/2))/p,  2 |pupil(θ) − pivot| sin(turn/2)
//
// θ is the field angle at which each camera sees the thing, by Sight, r the Radius and
// p the pitch. There is none at any distance if the pivot is Pupil(turn/2), but only
// there: along the seam, up and down, the field angle grows and the pupil walks on. A
// field outside its range, and a thing that Sight has no answer for, are errors.
//
// Source: plane geometry.
func (l Lens) Seam(spec SeamSpec) (Seam, error) {
	c := l.checker()
	if c.OK() {
		c.Angle("turn", spec.Turn, valid.Above(0, 2*l.MaxAngle()))
	}
	c.Length("pivot", spec.Pivot, lengthsOfLenses)
	c.Length("distance", spec.Distance, valid.Distances)
	c.Length("pitch", spec.Pitch, valid.Pitches)
	if !c.OK() {
		return Seam{}, c.Err()
	}
	half := spec.Turn / 2
	sin, cos := math.Sincos(float64(half))
	s, ok := l.Sight(spec.Pivot+spec.Distance*unit.Length(cos), spec.Distance*unit.Length(sin))
	if !ok {
		return Seam{}, c.Refuse("distance", quantity.Length(spec.Distance), "the lens does not see the thing, or at two field angles")
	}
	far, _ := l.Radius(half)
	near, _ := l.Radius(s.FieldAngle)
	pupil, _ := l.Pupil(s.FieldAngle)
	return Seam{
		Parallax:   2 * (s.FieldAngle - half),
		Photosites: 2 * (near - far) * l.focal / float64(spec.Pitch),
		Baseline:   unit.Length(2 * math.Abs(float64(pupil-spec.Pivot)) * sin),
	}, nil
}
