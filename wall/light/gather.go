package light

import (
	"container/heap"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// Light is the illuminance of a small receiver.
type Light struct {
	RGB   RGB     // lx by primary
	Error float64 // lx: the largest error of any primary and of their sum
}

// mostCells is where the refinement of one receiver ends.
const mostCells = 1 << 14

// Illuminance is the illuminance of a small receiver at a point, in metres, that
// faces along normal:
//
//	E = ∫ L cos θ cos ε / r² dA
//
// θ is the angle at the receiver, ε that at the panel, r the distance. The surface
// is cut into blocks. A block of mean luminance L̄ contributes
//
//	L̄ ½ Σ γ normal·(v×w)/|v×w| + g·m
//
// The sum is Lambert's formula over the edges from v to w, γ the angle between
// them. g is the gradient of the kernel, m the first moment of the block's
// picture. Blocks are halved until the error is below the scene's tolerance, or
// there are 2^14 of them.
//
// Light.Error is a bound for panels that follow Lambert's law, unless there is a Clear.
// An even panel is exact in one block. With an Emission the error is an estimate from
// five directions in each block.
//
// Blockers are projected on to the panels. Their shadows are exact, except in blocks
// that the outlines of three shadows or of two concave ones cross: these are halved as
// well. Clear is asked along rays to the middles and corners of blocks. Its error
// counts the blocks that are clear in part, and those wider than 1/10 of the distance.
// What looks smaller may slip between the rays.
//
// Source: J. H. Lambert, Photometria, 1760, from memory.
func (s *Scene) Illuminance(point, normal r3.Vec) (Light, error) {
	c := valid.New("light", ErrInvalid)
	s.check(c, point)
	n, ok := direction(normal)
	if !ok {
		c.Fault("normal", fmt.Sprint(normal), "must be finite and not zero")
	}
	if !c.OK() {
		return Light{}, c.Err()
	}
	return s.gather(point, n), nil
}

// check checks what a question about a point needs.
func (s *Scene) check(c *valid.Checker, point r3.Vec) {
	if s == nil || len(s.panels) == 0 {
		c.Fault("scene", "zero value", "must come from New")
	}
	if !near(point) {
		c.Fault("point", fmt.Sprint(point), "must be within ±1000 km")
	}
}

// cell is a block of a panel as a receiver sees it.
type cell struct {
	panel, node    int32
	x0, y0, x1, y1 float64 // pixels
	light          RGB
	err            float64
	shadows        []*shadow // those that may fall on it
}

// cells is a heap with the greatest error on top.
type cells []cell

func (h cells) Len() int           { return len(h) }
func (h cells) Less(i, j int) bool { return h[i].err > h[j].err }
func (h cells) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *cells) Push(x any)        { *h = append(*h, x.(cell)) }
func (h *cells) Pop() any {
	last := len(*h) - 1
	x := (*h)[last]
	*h = (*h)[:last]
	return x
}

// gather is the light at a point along a unit normal.
func (s *Scene) gather(point, normal r3.Vec) Light {
	var open cells
	var done Light
	var lux, err float64 // of what is open and done
	cones := s.cones(point)
	for i := range s.panels {
		p := &s.panels[i]
		k := cell{panel: int32(i), x1: p.columns, y1: p.rows}
		if q := p.above(point); q.Z > 0 && p.peak > 0 {
			k.shadows = s.shadows(p, point, q, cones)
		}
		s.measure(&k, point, normal)
		if k.err > 0 {
			open = append(open, k)
		} else {
			done.add(k)
		}
		lux, err = lux+k.light.Sum(), err+k.err
	}
	heap.Init(&open)
	for count := len(open); len(open) > 0 && err > s.tolerance*lux && count < mostCells; count++ {
		k := open[0]
		one, two, ok := s.split(k)
		lux, err = lux-k.light.Sum(), err-k.err
		if !ok {
			// Its error can be no less.
			done.add(heap.Pop(&open).(cell))
			lux, err = lux+k.light.Sum(), err+k.err
			continue
		}
		s.measure(&one, point, normal)
		s.measure(&two, point, normal)
		lux, err = lux+one.light.Sum()+two.light.Sum(), err+one.err+two.err
		open[0] = one
		heap.Fix(&open, 0)
		heap.Push(&open, two)
	}
	for _, k := range open {
		done.add(k)
	}
	for c := range 3 {
		done.RGB[c] = max(0, done.RGB[c])
	}
	return done
}

func (l *Light) add(k cell) {
	for c := range 3 {
		l.RGB[c] += k.light[c]
	}
	l.Error += k.err
}

// split halves a cell. ok is false if it is a leaf whose pixels differ, or too
// small.
func (s *Scene) split(k cell) (one, two cell, ok bool) {
	p := &s.panels[k.panel]
	n := &p.nodes[k.node]
	one, two = k, k
	w, h := k.x1-k.x0, k.y1-k.y0
	if n.right == 0 {
		if n.spread > 0 || w*h < 1e-9*p.columns*p.rows {
			return one, two, false
		}
		if w*p.pitchX >= h*p.pitchY {
			one.x1 = k.x0 + w/2
			two.x0 = one.x1
		} else {
			one.y1 = k.y0 + h/2
			two.y0 = one.y1
		}
		return one, two, true
	}
	one.node, two.node = k.node+1, k.node+n.right
	if p.across(w, h) {
		one.x1 = k.x0 + math.Floor(w/2)
		two.x0 = one.x1
	} else {
		one.y1 = k.y0 + math.Floor(h/2)
		two.y0 = one.y1
	}
	return one, two, true
}

// measure computes the light of a cell and its error.
func (s *Scene) measure(k *cell, point, normal r3.Vec) {
	p := &s.panels[k.panel]
	node := &p.nodes[k.node]
	k.light, k.err = RGB{}, 0
	q := p.above(point)
	if !(q.Z > 0) || p.peak == 0 {
		return
	}
	n := p.local(normal)
	b := box{k.x0*p.pitchX - q.X, k.y0*p.pitchY - q.Y, k.x1*p.pitchX - q.X, k.y1*p.pitchY - q.Y, q.Z}
	form := b.lambert(n)
	if form == 0 {
		return
	}
	near, far, low, high := b.range4(n)
	// The kernel h l/r⁴, with l = n·v, and its largest and least value.
	most, least := b.h*max(0, high)/(near*near), b.h*max(0, low)/(far*far)
	area, halfX, halfY := (b.x1-b.x0)*(b.y1-b.y0), (b.x1-b.x0)/2, (b.y1-b.y0)/2
	spread := float64(node.spread)
	if k.covered(b) {
		return
	}
	k.light = RGB(node.mean)
	for c := range 3 {
		k.light[c] *= form
	}
	if spread > 0 {
		// By Schwarz's inequality: the spread of the picture times that of the kernel.
		k.err = min(spread*area*(most-least)/2, p.peak*form)
		if low > 0 && len(k.shadows) == 0 {
			// The kernel less its tangent plane, by its second derivatives.
			r := math.Sqrt(near)
			second := b.h * (20*high/r + 8*math.Hypot(n.X, n.Y)) / (near * near * r)
			a2, b2 := halfX*halfX, halfY*halfY
			curved := spread * area * second / 2 * math.Sqrt(a2*a2/5+2*a2*b2/9+b2*b2/5)
			if curved < k.err {
				k.err = curved
				gx, gy := b.gradient(n)
				for c := range 3 {
					k.light[c] += area * (gx*p.pitchX*float64(node.slopeX[c]) + gy*p.pitchY*float64(node.slopeY[c]))
				}
			}
		}
	}
	uneven, tilt := min(spread*area*most, p.peak*form), (most-least)/(most+least)
	if len(k.shadows) > 0 {
		tilt = 1
	}
	if p.emission != nil {
		uneven *= k.shade(p.emission, b, uneven, tilt)
	}
	if len(k.shadows) > 0 {
		k.hide(b, n, form, uneven)
	}
	if s.clear != nil {
		s.mask(k, p, point, math.Hypot(halfX, halfY)/math.Sqrt(near))
	}
}

// shade weighs a cell by its emission, with Simpson's rule over its middle and its
// corners. uneven is the light that the spread of the picture could move, tilt the
// relative change of the kernel. It returns the greatest emission there.
func (k *cell) shade(e *Emission, b box, uneven, tilt float64) (most float64) {
	x, y := (b.x0+b.x1)/2, (b.y0+b.y1)/2
	// From the panel to the receiver; up is −y.
	middle := e.toward(-x, y, b.h)
	least := middle
	most = middle
	mean := middle * 2 / 3
	for _, at := range [4][2]float64{{b.x0, b.y0}, {b.x1, b.y0}, {b.x0, b.y1}, {b.x1, b.y1}} {
		v := e.toward(-at[0], at[1], b.h)
		least, most = min(least, v), max(most, v)
		mean += v / 12
	}
	lux := k.light.Sum()
	for c := range 3 {
		k.light[c] *= mean
	}
	k.err = k.err*most + lux*math.Abs(mean-middle) + (most-least)/2*(lux*tilt+uneven)
	return most
}

// mask weighs a cell by how many of five rays are clear, to its middle and its
// corners. A straight edge of a shadow that cuts the cell always parts the corners.
func (s *Scene) mask(k *cell, p *panel, point r3.Vec, size float64) {
	x, y, dx, dy := (k.x0+k.x1)/2, (k.y0+k.y1)/2, (k.x1-k.x0)*(0.5-1e-6), (k.y1-k.y0)*(0.5-1e-6)
	seen := 0.0
	for _, at := range [5][2]float64{{x, y}, {x - dx, y - dy}, {x + dx, y - dy}, {x - dx, y + dy}, {x + dx, y + dy}} {
		if s.clear(point, p.at(at[0], at[1])) {
			seen += 0.2
		}
	}
	whole := k.light.Sum()
	switch {
	case size > 0.05: // too large for five rays
		k.err += whole
	case seen > 0.1 && seen < 0.9:
		k.err += whole * max(seen, 1-seen)
	default:
		k.err *= math.Round(seen)
	}
	for c := range 3 {
		k.light[c] *= min(1, seen)
	}
}

// box is a rectangle in a panel's own frame, relative to the foot of a receiver
// that is h above the panel.
type box struct{ x0, y0, x1, y1, h float64 }

// lambert is the projected solid angle of the rectangle, π times the view factor,
// on a receiver whose unit normal is n. Below the horizon it is cut off.
func (b box) lambert(n r3.Vec) float64 {
	corners := [4]r3.Vec{{X: b.x0, Y: b.y0, Z: -b.h}, {X: b.x1, Y: b.y0, Z: -b.h}, {X: b.x1, Y: b.y1, Z: -b.h}, {X: b.x0, Y: b.y1, Z: -b.h}}
	var buffer [8]r3.Vec
	sum := projected(clip(buffer[:0], corners[:], n), n)
	// Rounding may leave a trace of the wrong sign.
	return max(0, min(math.Pi, -sum))
}

// clip appends to left the part of a polygon above the horizon of a receiver.
func clip(left, corners []r3.Vec, n r3.Vec) []r3.Vec {
	return cut(left, corners, func(v r3.Vec) float64 { return r3.Dot(v, n) })
}

// cut appends to left the part of a polygon where inside is not negative.
func cut(left, corners []r3.Vec, inside func(v r3.Vec) float64) []r3.Vec {
	for i, v := range corners {
		w := corners[(i+1)%len(corners)]
		hv, hw := inside(v), inside(w)
		if hv >= 0 {
			left = append(left, v)
		}
		if (hv >= 0) != (hw >= 0) {
			left = append(left, r3.Add(v, r3.Scale(hv/(hv-hw), r3.Sub(w, v))))
		}
	}
	return left
}

// projected is Lambert's sum over the edges of a polygon around the receiver. It
// is negative if the corners run anticlockwise as the receiver sees them.
func projected(corners []r3.Vec, n r3.Vec) (sum float64) {
	for i, v := range corners {
		w := corners[(i+1)%len(corners)]
		// v × w = v × (w − v), which keeps the digits of a short side.
		cross := r3.Cross(v, r3.Sub(w, v))
		if sin := math.Sqrt(r3.Dot(cross, cross)); sin > 0 {
			sum += math.Atan2(sin, r3.Dot(v, w)) * r3.Dot(n, cross) / sin
		}
	}
	return sum / 2
}

// range4 is the least and the greatest square of the distance, and of the
// numerator n·v of the cosine.
func (b box) range4(n r3.Vec) (near, far, low, high float64) {
	x, y, a, c := (b.x0+b.x1)/2, (b.y0+b.y1)/2, (b.x1-b.x0)/2, (b.y1-b.y0)/2
	nx, ny := max(0, math.Abs(x)-a), max(0, math.Abs(y)-c)
	fx, fy := math.Abs(x)+a, math.Abs(y)+c
	middle := n.X*x + n.Y*y - n.Z*b.h
	reach := math.Abs(n.X)*a + math.Abs(n.Y)*c
	return nx*nx + ny*ny + b.h*b.h, fx*fx + fy*fy + b.h*b.h, middle - reach, middle + reach
}

// gradient is that of the kernel h n·v/r⁴ in the middle.
func (b box) gradient(n r3.Vec) (gx, gy float64) {
	x, y := (b.x0+b.x1)/2, (b.y0+b.y1)/2
	r2 := x*x + y*y + b.h*b.h
	l := n.X*x + n.Y*y - n.Z*b.h
	return b.h / (r2 * r2) * (n.X - 4*l*x/r2), b.h / (r2 * r2) * (n.Y - 4*l*y/r2)
}

// ViewFactor is the fraction of the light that a small receiver at a point would
// get inside an evenly bright sphere, if only a flat polygon of 3 corners or more
// shines:
//
//	F = E/(π L) = 1/(2π) Σ γ normal·(v×w)/|v×w|
//
// γ is the angle between the vectors v and w from the point to neighbouring
// corners. Corners run anticlockwise as the viewer of the lit side sees them; from
// behind F is 0. The polygon may be concave, but must not cross itself.
//
// Source: as Scene.Illuminance.
func ViewFactor(point, normal r3.Vec, corners ...r3.Vec) (float64, error) {
	c := valid.New("light", ErrInvalid)
	n, ok := direction(normal)
	if !ok {
		c.Fault("normal", fmt.Sprint(normal), "must be finite and not zero")
	}
	if !near(point) {
		c.Fault("point", fmt.Sprint(point), "must be within ±1000 km")
	}
	g := newPolygon(c, "polygon", corners)
	if !c.OK() {
		return 0, c.Err()
	}
	ways := make([]r3.Vec, len(corners))
	for i, v := range corners {
		ways[i] = r3.Sub(v, point)
	}
	if !(r3.Dot(g.normal, ways[0]) < 0) {
		return 0, nil
	}
	return max(0, min(1, -projected(clip(nil, ways, n), n)/math.Pi)), nil
}
