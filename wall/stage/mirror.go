package stage

import (
	"fmt"
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Mirror is a surface that reflects: its point, in metres in the stage frame, and
// a vector perpendicular to it on the side that reflects, for u and v from 0 to 1. A
// point that is not finite is no part of the surface. Glass reflects from both of
// its faces; one face is one Mirror.
type Mirror func(u, v float64) (point, normal r3.Vec)

// FlatMirror is a flat rectangle, such as a side window. To a viewer in front of it,
// u runs from left to right and v from the top down.
func FlatMirror(r wall.Rectangle) (Mirror, error) {
	c := valid.New("stage", ErrInvalid)
	checkCorners(c, "the mirror", r)
	right, down := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.LowerLeft, r.UpperLeft)
	normal, ok := along(r3.Cross(down, right))
	if c.OK() && !ok {
		c.Fault("area of the mirror", "0 m²", "must be more than 0")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	return func(u, v float64) (r3.Vec, r3.Vec) {
		return r3.Add(r.UpperLeft, r3.Add(r3.Scale(u, right), r3.Scale(v, down))), normal
	}, nil
}

// SphereMirror is a cap of a sphere, such as a visor: all directions from its
// centre up to an angle, above 0 and up to 180°, from the direction of its middle. u goes
// from the middle to the rim, v once around. A positive radius reflects outside, a
// negative one inside, as a dish.
func SphereMirror(centre r3.Vec, radius unit.Length, middle r3.Vec, angle unit.Angle) (Mirror, error) {
	axis, side, other, err := mirrorAxes(centre, radius, "middle", middle, "angle", angle)
	if err != nil {
		return nil, err
	}
	size, sign := math.Abs(float64(radius)), math.Copysign(1, float64(radius))
	return func(u, v float64) (r3.Vec, r3.Vec) {
		s, c := math.Sincos(u * float64(angle))
		sv, cv := math.Sincos(2 * math.Pi * v)
		n := r3.Add(r3.Scale(c, axis), r3.Scale(s, r3.Add(r3.Scale(cv, side), r3.Scale(sv, other))))
		return r3.Add(centre, r3.Scale(size, n)), r3.Scale(sign, n)
	}, nil
}

// CylinderMirror is a part of a cylinder, such as a curved windscreen. Its axis
// goes from one point to another; v runs along it. The part reaches by an angle, above
// 0 and up to 180°, to both sides of the direction of its middle, which is made
// perpendicular to the axis; u runs across, right-handed around the axis. The sign of
// the radius is as for SphereMirror.
func CylinderMirror(from, to r3.Vec, radius unit.Length, middle r3.Vec, angle unit.Angle) (Mirror, error) {
	c := valid.New("stage", ErrInvalid)
	checkPoint(c, "end of the axis", to)
	span := r3.Sub(to, from)
	axis, ok := along(span)
	if !ok {
		c.Fault("axis", fmt.Sprintf("(%g, %g, %g) m", span.X, span.Y, span.Z), "must have a length")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	front, _, _, err := mirrorAxes(from, radius, "part of the middle across the axis", r3.Cross(axis, r3.Cross(middle, axis)), "angle", angle)
	if err != nil {
		return nil, err
	}
	side := r3.Cross(axis, front)
	size, sign := math.Abs(float64(radius)), math.Copysign(1, float64(radius))
	return func(u, v float64) (r3.Vec, r3.Vec) {
		s, c := math.Sincos((2*u - 1) * float64(angle))
		n := r3.Add(r3.Scale(c, front), r3.Scale(s, side))
		return r3.Add(r3.Add(from, r3.Scale(v, span)), r3.Scale(size, n)), r3.Scale(sign, n)
	}, nil
}

// mirrorAxes checks a round mirror and gives three directions square to each other,
// the first of which is its middle.
func mirrorAxes(centre r3.Vec, radius unit.Length, middleName string, middle r3.Vec, angleName string, angle unit.Angle) (a, b, d r3.Vec, err error) {
	c := valid.New("stage", ErrInvalid)
	checkPoint(c, "centre", centre)
	c.Length("radius, without its sign,", unit.Length(math.Abs(float64(radius))), valid.Closed[unit.Length](1e-3, 1e5))
	c.Angle(angleName, angle, valid.Above[unit.Angle](0, math.Pi))
	a, ok := along(middle)
	if !ok {
		c.Fault(middleName, fmt.Sprintf("(%g, %g, %g)", middle.X, middle.Y, middle.Z), "must be finite and not zero")
	}
	if !c.OK() {
		return r3.Vec{}, r3.Vec{}, r3.Vec{}, c.Err()
	}
	far := r3.Vec{X: 1} // far from a
	if math.Abs(a.X) > 0.6 {
		far = r3.Vec{Y: 1}
	}
	b = sphere.Unit(r3.Cross(a, far))
	return a, b, r3.Cross(a, b), nil
}

// Reflection is what an eye sees in a point of a mirror.
type Reflection struct {
	Point, Direction r3.Vec // on the mirror, and of the reflected ray: unit
	Incidence        unit.Angle

	// Why is Seen if the mirror shows the lit side of a panel. ShowsNothing,
	// ShowsBack and ShowsBlocker are as they say. FromBehind, HiddenByPanel,
	// HiddenByBlocker and OffPanels mean that the eye does not see this point of the
	// mirror, or that it has none; the rest is then zero.
	Why Sight
	Hit Hit // what the mirror shows, unless it is nothing
}

// Reflect is what an eye, in metres in the stage frame, sees in a point of a
// mirror. With d the direction from the eye to the point and n the normal there,
// the reflected ray runs along
//
//	d − 2 (d·n) n
//
// The surface itself does not block: what is within 1 µm of the point counts as the
// mirror.
//
// Source: the law of reflection.
func (s Stage) Reflect(eye r3.Vec, mirror Mirror, u, v float64) Reflection {
	r := Reflection{Why: OffPanels}
	if mirror == nil || s.s == nil || !finite(eye) || !(u >= 0 && u <= 1 && v >= 0 && v <= 1) {
		return r
	}
	p, normal := mirror(u, v)
	n, ok := along(normal)
	if !ok || !finite(p) {
		return r
	}
	d, ok := along(r3.Sub(p, eye))
	cos := -r3.Dot(d, n)
	if !ok || !(cos > 0) {
		r.Why = FromBehind
		return r
	}
	if r.Why = s.s.hides(eye, p); r.Why != Seen {
		return r
	}
	r.Point, r.Incidence = p, unit.Angle(math.Atan2(r3.Norm(r3.Cross(d, n)), cos))
	r.Direction = r3.Add(d, r3.Scale(2*cos, n))
	i, t := s.s.solid.nearest(s.s.faces, p, r.Direction, clearance, math.Inf(1))
	if i >= 0 {
		r.Hit = s.s.hit(i, p, r.Direction, t)
	}
	r.Why = sightOf(r.Hit, i >= 0)
	return r
}

// Reach says how far a wing or a ceiling must reach, so that a mirror shows it where
// it shows nothing now.
type Reach struct {
	Left, Right, Below, Above unit.Length // beyond the edges of the rectangle; 0 where it is wide enough

	Points int // of the mirror that the eye sees, of columns × rows
	Empty  int // those of Points that show nothing
	Filled int // those of Empty that the longer rectangle fills
}

// Reach is how far a flat wing or ceiling must reach beyond its rectangle, so that a
// mirror shows it to an eye. It samples columns × rows points of the mirror, 2 to 4096
// each, evenly from 0 to 1 in u and v. Where a point shows nothing, its reflected ray is
// followed to the plane of the rectangle. The ray counts if it meets the lit side, at
// most a limit, above 0 and up to 1 km, beyond the edges. Points between those sampled
// may need a little more.
func (s Stage) Reach(eye r3.Vec, mirror Mirror, rectangle wall.Rectangle, limit unit.Length, columns, rows int) (Reach, error) {
	c := valid.New("stage", ErrInvalid)
	if s.s == nil {
		c.Fault("stage", "zero value", "must come from New")
	}
	if mirror == nil {
		c.Unset("mirror")
	}
	checkPoint(c, "eye", eye)
	c.Length("limit", limit, valid.Above[unit.Length](0, 1000))
	c.Int("columns", columns, "", 2, 4096)
	c.Int("rows", rows, "", 2, 4096)
	f := Panel{Face: rectangle, PixelsX: 1, PixelsY: 1}.face(c, "the rectangle", []Raster{{1, 1}})
	if !c.OK() {
		return Reach{}, c.Err()
	}
	w, h := r3.Norm(r3.Sub(rectangle.LowerRight, rectangle.LowerLeft)), r3.Norm(r3.Sub(rectangle.UpperLeft, rectangle.LowerLeft))
	reach := Reach{}
	for row := range rows {
		for column := range columns {
			r := s.Reflect(eye, mirror, float64(column)/float64(columns-1), float64(row)/float64(rows-1))
			switch r.Why {
			case FromBehind, HiddenByPanel, HiddenByBlocker, OffPanels:
				continue
			}
			reach.Points++
			if r.Why != ShowsNothing {
				continue
			}
			reach.Empty++
			t := r3.Dot(f.normal, r3.Sub(f.corner, r.Point)) / r3.Dot(f.normal, r.Direction)
			if !(t > 0 && r3.Dot(f.normal, r.Direction) < 0) {
				continue
			}
			x, y := f.at(r3.Add(r.Point, r3.Scale(t, r.Direction)))
			left, right, above, below := unit.Length(-x*w), unit.Length((x-1)*w), unit.Length(-y*h), unit.Length((y-1)*h)
			if max(left, right, above, below) <= limit {
				reach.Filled++
				reach.Left, reach.Right = max(reach.Left, left), max(reach.Right, right)
				reach.Above, reach.Below = max(reach.Above, above), max(reach.Below, below)
			}
		}
	}
	return reach, nil
}
