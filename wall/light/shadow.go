package light

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// shadow is a blocker as a receiver sees it before a panel: projected on to the
// panel's plane, in metres from the foot of the receiver as box is.
type shadow struct {
	corners   []r3.Vec // with the depth −h of the panel
	low, high r2.Vec
	turn      float64 // 1 or −1 for convex corners, by their sense; 0 if concave
}

// cone holds all that a receiver sees of a sphere.
type cone struct {
	axis     r3.Vec
	sin, cos float64 // of the half angle; both 0 from inside the sphere
}

func newCone(from, centre r3.Vec, radius float64) cone {
	way := r3.Sub(centre, from)
	d := r3.Norm(way)
	if d <= radius {
		return cone{}
	}
	sin := radius / d
	return cone{r3.Scale(1/d, way), sin, math.Sqrt(1 - sin*sin)}
}

// apart reports whether two cones have no direction in common.
func (a cone) apart(b cone) bool {
	return a.cos > 0 && b.cos > 0 && r3.Dot(a.axis, b.axis) < a.cos*b.cos-a.sin*b.sin-1e-9
}

// cones hold the blockers.
func (s *Scene) cones(point r3.Vec) []cone {
	all := make([]cone, len(s.blockers))
	for i, g := range s.blockers {
		all[i] = newCone(point, g.centre, g.radius)
	}
	return all
}

// shadows are those of the blockers, in their cones, that may fall on a panel. q is the
// receiver in the panel's own frame.
func (s *Scene) shadows(p *panel, point, q r3.Vec, cones []cone) []*shadow {
	var all []*shadow
	var buffer [2][16]r3.Vec
	// A blocker that holds the receiver, or lies in the panel, blocks nothing.
	const touch = 1e-9
	lowest := max(touch*q.Z, 0x1p-48*max(largest(p.corner), largest(point), p.pitchX*p.columns, p.pitchY*p.rows))
	width, height := p.pitchX*p.columns, p.pitchY*p.rows
	own := newCone(point, p.at(p.columns/2, p.rows/2), math.Hypot(width, height)/2)
	for i, g := range s.blockers {
		if own.apart(cones[i]) || math.Abs(r3.Dot(g.normal, r3.Sub(point, g.corners[0]))) <= touch*max(1, largest(point)) {
			continue
		}
		corners := buffer[0][:0]
		for _, v := range g.corners {
			corners = append(corners, p.local(r3.Sub(v, p.corner)))
		}
		// What stands between the receiver and the panel.
		corners = cut(buffer[1][:0], corners, func(v r3.Vec) float64 { return v.Z - lowest })
		corners = cut(buffer[0][:0], corners, func(v r3.Vec) float64 { return q.Z*(1-1e-6) - v.Z })
		if len(corners) < 3 {
			continue
		}
		w := &shadow{corners: make([]r3.Vec, len(corners)), low: r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, high: r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}}
		for i, v := range corners {
			k := q.Z / (q.Z - v.Z)
			c := r3.Vec{X: k * (v.X - q.X), Y: k * (v.Y - q.Y), Z: -q.Z}
			w.corners[i] = c
			w.low = r2.Vec{X: min(w.low.X, c.X), Y: min(w.low.Y, c.Y)}
			w.high = r2.Vec{X: max(w.high.X, c.X), Y: max(w.high.Y, c.Y)}
		}
		if w.meets(box{-q.X, -q.Y, width - q.X, height - q.Y, q.Z}) {
			w.turn = convex(w.corners)
			all = append(all, w)
		}
	}
	return all
}

// convex is the sense in which the corners of a convex polygon run, 1 or −1. It is 0
// for other polygons.
func convex(corners []r3.Vec) (turn float64) {
	n := len(corners)
	var last r3.Vec // the last side of some length
	for i := range 2 * n {
		side := r3.Sub(corners[(i+1)%n], corners[i%n])
		if side == (r3.Vec{}) {
			continue
		}
		bend := last.X*side.Y - last.Y*side.X
		straight := math.Abs(bend) <= 1e-12*r3.Norm(last)*r3.Norm(side)
		last = side
		if straight {
			continue
		}
		if bend = math.Copysign(1, bend); turn == 0 {
			turn = bend
		} else if bend != turn {
			return 0
		}
	}
	return turn
}

// meets reports whether a shadow may overlap a box: whether their extents do.
func (w *shadow) meets(b box) bool {
	return w.low.X < b.x1 && w.high.X > b.x0 && w.low.Y < b.y1 && w.high.Y > b.y0
}

// over reports whether a shadow covers a box, and if it does not, whether its outline
// crosses the box.
func (w *shadow) over(b box) (covers, crosses bool) {
	if !w.meets(b) {
		return false, false
	}
	for i, v := range w.corners {
		if b.crossed(v, w.corners[(i+1)%len(w.corners)]) {
			return false, true
		}
	}
	return w.holds((b.x0+b.x1)/2, (b.y0+b.y1)/2), false
}

// holds reports whether a place is in the shadow: whether the number of sides to one
// hand is odd.
func (w *shadow) holds(x, y float64) (inside bool) {
	for i, v := range w.corners {
		u := w.corners[(i+1)%len(w.corners)]
		if (v.Y > y) != (u.Y > y) && x < v.X+(y-v.Y)/(u.Y-v.Y)*(u.X-v.X) {
			inside = !inside
		}
	}
	return inside
}

// crossed reports whether a part of a segment lies inside the box, not only on its
// edge.
func (b box) crossed(from, to r3.Vec) bool {
	start, end := 0.0, 1.0
	for _, side := range [4][2]float64{ // the way inwards, and how far inside the start is
		{to.X - from.X, from.X - b.x0}, {from.X - to.X, b.x1 - from.X},
		{to.Y - from.Y, from.Y - b.y0}, {from.Y - to.Y, b.y1 - from.Y},
	} {
		switch way, inside := side[0], side[1]; {
		case way > 0:
			start = max(start, -inside/way)
		case way < 0:
			end = min(end, -inside/way)
		case inside <= 0:
			return false
		}
	}
	return start < end
}

// covered keeps of a cell's shadows those whose outline crosses it. It reports whether
// one covers the cell.
func (k *cell) covered(b box) bool {
	var crossing []*shadow
	for _, w := range k.shadows {
		covers, crosses := w.over(b)
		if covers {
			return true
		}
		if crosses {
			crossing = append(crossing, w)
		}
	}
	k.shadows = crossing
	return false
}

// hide takes from a cell what the shadows that cross it hide. uneven is the light that
// the spread of the picture could move.
func (k *cell) hide(b box, n r3.Vec, form, uneven float64) {
	hidden, ok := b.hidden(k.shadows, n)
	seen := max(0, min(1, 1-hidden/form))
	if !ok {
		seen = 0
		x, y, dx, dy := (b.x0+b.x1)/2, (b.y0+b.y1)/2, (b.x1-b.x0)/3, (b.y1-b.y0)/3
		for _, at := range [5][2]float64{{x, y}, {x - dx, y - dy}, {x + dx, y - dy}, {x - dx, y + dy}, {x + dx, y + dy}} {
			if !slices.ContainsFunc(k.shadows, func(w *shadow) bool { return w.holds(at[0], at[1]) }) {
				seen += 0.2
			}
		}
		k.err += k.light.Sum() * max(seen, 1-seen)
	}
	k.err += uneven
	for c := range 3 {
		k.light[c] *= min(1, seen)
	}
}

// hidden is the projected solid angle of what one shadow, or two of which one is
// convex, hide of a box from a receiver with the unit normal n. ok is false for others.
func (b box) hidden(shadows []*shadow, n r3.Vec) (form float64, ok bool) {
	switch {
	case len(shadows) == 1:
		return b.under(shadows[0].corners, n), true
	case len(shadows) == 2 && shadows[0].turn != 0:
		shadows = []*shadow{shadows[1], shadows[0]}
	case len(shadows) != 2 || shadows[1].turn == 0:
		return 0, false
	}
	one, two := shadows[0].corners, shadows[1]
	form = b.under(one, n) + b.under(two.corners, n)
	// Less what both hide.
	both := one
	for i, v := range two.corners {
		side := r3.Scale(two.turn, r3.Sub(two.corners[(i+1)%len(two.corners)], v))
		both = cut(nil, both, func(p r3.Vec) float64 { return side.X*(p.Y-v.Y) - side.Y*(p.X-v.X) })
	}
	return form - b.under(both, n), true
}

// under is the projected solid angle of the part of a polygon that lies in the box.
func (b box) under(corners []r3.Vec, n r3.Vec) float64 {
	for _, inside := range [4]func(p r3.Vec) float64{
		func(p r3.Vec) float64 { return p.X - b.x0 }, func(p r3.Vec) float64 { return b.x1 - p.X },
		func(p r3.Vec) float64 { return p.Y - b.y0 }, func(p r3.Vec) float64 { return b.y1 - p.Y },
	} {
		corners = cut(nil, corners, inside)
	}
	return math.Abs(projected(clip(nil, corners, n), n))
}
