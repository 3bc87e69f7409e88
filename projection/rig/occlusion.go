package rig

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Ball is a part of the rig or the vehicle that hides directions from the cameras, or a
// ball around such a part. At the distance d it hides a cap of the angular radius
//
//	α = asin(Radius / d)
type Ball struct {
	Centre r3.Vec      // metres, in the stage frame, within ±1000 km
	Radius unit.Length // 1 µm to 1000 km
}

// Box is a part with flat sides. It hides the directions inside its outline, as seen
// from the entrance pupil of a camera. The body of a camera may be a box that ends
// behind the entrance pupil.
type Box struct {
	Pose                 projection.Pose // position of the centre, within ±1000 km, and orientation
	Width, Height, Depth unit.Length     // along the X, Y and Z of the Pose, 1 µm to 1000 km
}

const (
	thinnest = 1e-6 // m, of an occluder
	remotest = 1e6  // m, of an occluder from a camera
)

func checkOccluder(v *valid.Checker, name string, centre r3.Vec) {
	v.Number(name+" centre x", centre.X, "m", valid.Coordinates)
	v.Number(name+" centre y", centre.Y, "m", valid.Coordinates)
	v.Number(name+" centre z", centre.Z, "m", valid.Coordinates)
}

func (b Ball) check(v *valid.Checker, name string) {
	checkOccluder(v, name, b.Centre)
	v.Length(name+" radius", b.Radius, valid.Closed[unit.Length](thinnest, remotest))
}

func (b Box) check(v *valid.Checker, name string) {
	checkOccluder(v, name, b.Pose.Position)
	geom.CheckTurns(v, name, b.Pose.Heading, b.Pose.Elevation, b.Pose.Roll)
	size := valid.Closed[unit.Length](thinnest, remotest)
	v.Length(name+" width", b.Width, size)
	v.Length(name+" height", b.Height, size)
	v.Length(name+" depth", b.Depth, size)
}

// shadow is the set of directions that an occluder hides from a camera. For a ball it is
// a cap. For a box it is the inside of all edges, and the cap holds them.
type shadow struct {
	axis   r3.Vec
	radius float64  // of the cap
	sin    float64  // of the radius of a ball's
	edges  []r3.Vec // inward unit normals of the box's outline, up to 6
}

// shadow is the shadow of the ball seen from eye. fault says what is wrong with eye.
func (b Ball) shadow(eye r3.Vec) (s shadow, fault string) {
	to := r3.Sub(b.Centre, eye)
	d, r := r3.Norm(to), float64(b.Radius)
	if !(d > r && d <= remotest) {
		return shadow{}, quantity.Length(unit.Length(d)) + " from its centre"
	}
	// Of asin, in the form that is right close to the ball.
	radius := math.Atan2(r, math.Sqrt((d-r)*(d+r)))
	return shadow{axis: r3.Scale(1/d, to), radius: radius, sin: r / d}, ""
}

// shadow is the shadow of the box seen from eye. fault says what is wrong with eye.
func (b Box) shadow(eye r3.Vec) (s shadow, fault string) {
	to := r3.Sub(b.Pose.Position, eye)
	d := r3.Norm(to)
	if !(d <= remotest) {
		return shadow{}, quantity.Length(unit.Length(d)) + " from its centre"
	}
	axes := orient.FromAngles(b.Pose.Heading, b.Pose.Elevation, b.Pose.Roll)
	half := [3]float64{float64(b.Width) / 2, float64(b.Height) / 2, float64(b.Depth) / 2}
	e := axes.FromStage(r3.Scale(-1, to)) // the eye, from the centre
	// Of each pair of faces, −1 or 1 is the one that the eye is in front of.
	var front [3]int
	for k, x := range [3]float64{e.X, e.Y, e.Z} {
		switch {
		case x > half[k]:
			front[k] = 1
		case x < -half[k]:
			front[k] = -1
		}
	}
	if front == [3]int{} {
		return shadow{}, "in or on it"
	}
	corner := func(sign [3]int) (c [3]float64) { // from the eye
		for k, x := range [3]float64{e.X, e.Y, e.Z} {
			c[k] = float64(sign[k])*half[k] - x
		}
		return c
	}
	toStage := func(c [3]float64) r3.Vec { return r3.Unit(axes.ToStage(r3.Vec{X: c[0], Y: c[1], Z: c[2]})) }
	var corners [8]r3.Vec
	for i := range corners {
		corners[i] = toStage(corner([3]int{i&1*2 - 1, i&2 - 1, i&4/2 - 1}))
		s.axis = r3.Add(s.axis, corners[i])
	}
	s.axis = sphere.Unit(s.axis)
	for _, c := range corners {
		s.radius = max(s.radius, sphere.Angle(s.axis, c)+1e-12)
	}
	if s.radius > math.Pi/2 {
		s.radius = math.Pi // only a smaller cap holds what is between its points
	}
	// The outline is made of the edges that have the eye in front of one of their
	// two faces. The axis is inside it.
	for k := range 3 { // edges along axis k
		l, m := (k+1)%3, (k+2)%3
		for i := range 4 {
			var at [3]int
			at[l], at[m] = i&1*2-1, i&2-1
			if (front[l] == at[l]) == (front[m] == at[m]) {
				continue
			}
			c := corner(at)
			var n [3]float64
			n[l], n[m] = c[m], -c[l] // across the edge and the way to it
			normal := toStage(n)
			if r3.Dot(normal, s.axis) < 0 {
				normal = r3.Scale(-1, normal)
			}
			s.edges = append(s.edges, normal)
		}
	}
	return s, ""
}

// hidden reports whether an occluder hides a direction, of any length.
func (g *region) hidden(dir r3.Vec) bool {
	if len(g.shadows) == 0 {
		return false
	}
	dir = geom.Direction(dir) // NaN, of a dir that is none, is not hidden
	for i := range g.shadows {
		if g.shadows[i].hides(dir) {
			return true
		}
	}
	return false
}

func (s *shadow) hides(p r3.Vec) bool {
	if len(s.edges) == 0 {
		return r3.Dot(s.axis, p) > 0 && sphere.Norm(r3.Cross(s.axis, p)) < s.sin
	}
	for _, n := range s.edges {
		if !(r3.Dot(n, p) > 0) {
			return false
		}
	}
	return true
}

// limits gives the limits of the shadow as bits.
func (s *shadow) limits() uint8 {
	if len(s.edges) == 0 {
		return 1
	}
	return 1<<len(s.edges) - 1
}

// judge is region.judge with hidden in place of seen.
func (s *shadow) judge(p r3.Vec, rho float64, open uint8, mark cut, cuts []cut) (hidden bool, left uint8, rough bool, _ []cut) {
	theta := sphere.Angle(s.axis, p)
	if theta > s.radius+rho {
		return false, 0, false, cuts
	}
	if len(s.edges) > 0 {
		hidden, left, cuts = judgeEdges(s.edges, p, rho, open, mark, cuts)
		return hidden, left, false, cuts
	}
	hidden, left, rough, cuts = judgeCircle(s.axis, s.radius, p, theta, rho, 1, mark, cuts)
	return hidden, left, rough, cuts
}
