package wall

import (
	"math"
	"slices"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// SolidAngle is the solid angle, in sr, that the lit side of a rectangle fills
// at a point in metres in the stage frame. For each of the two triangles a, b, c
// that make up the rectangle, as vectors from the point,
//
//	tan(Ω/2) = a·(b×c) / (|a||b||c| + (a·b)|c| + (b·c)|a| + (c·a)|b|)
//
// From the plane of the rectangle or from behind it is 0. So it is at distances
// from that plane below what rounded coordinates can tell: a few units of their
// last digit at the rectangle, and beside it as many more times as the point is
// more sides away. From afar the relative error is below 1e-15 distance/side.
//
// Source: A. van Oosterom and J. Strackee, The Solid Angle of a Plane Triangle,
// IEEE Transactions on Biomedical Engineering 30, 1983.
func SolidAngle(r Rectangle, point r3.Vec) (steradians float64, err error) {
	c := valid.New("wall", ErrInvalid)
	q, _ := r.patch(c, point)
	if !c.OK() {
		return 0, c.Err()
	}
	return q.solidAngle(), nil
}

// ViewFactor is the share of a small receiver's half space that the lit side of
// a rectangle fills, weighted by the cosine at the receiver: a Lambertian
// rectangle of luminance L in cd/m² puts E = π L F lx on the receiver. The part
// below the receiver's horizon is cut off. Over the edges from corner v to
// corner w of what is left, as vectors from the point, in the turn that makes the
// sum positive,
//
//	F = 1/(2π) Σ γ normal·(v×w)/|v×w|,  γ the angle between v and w
//
// The point is in metres and the normal a direction of any length, both in the
// stage frame. From the plane of the rectangle or from behind F is 0, and so it is
// at distances from that plane that rounded coordinates cannot tell from 0 (see
// SolidAngle). From afar F errs by less than 4e-16 times side/distance.
//
// Source: J. H. Lambert, Photometria, 1760; the polygon formula as it is used
// for view factors of rectangles in J. R. Howell, A Catalog of Radiation Heat
// Transfer Configuration Factors.
func ViewFactor(r Rectangle, point, normal r3.Vec) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	q, axes := r.patch(c, point)
	n, ok := direction(normal)
	if !ok {
		c.Fault("normal", vector(normal), "must be finite and not zero")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return q.viewFactor(axes.FromStage(n)), nil
}

// SolidAngle is the solid angle, in sr, that the lit side of the wall fills at a
// point in metres in the stage frame: the sum over its panels, each as in the
// function SolidAngle. A panel that another one hides counts as well, so for a
// point outside a hollow wall it is an upper bound. ok is false unless the point
// is within 1e9 m along each axis.
func (w Wall) SolidAngle(point r3.Vec) (steradians float64, ok bool) {
	if w.s == nil || !within(point) {
		return 0, false
	}
	s := w.s
	point = s.axes.FromStage(r3.Sub(point, s.origin))
	for i := range s.segments() {
		steradians += s.whole(i, point).solidAngle()
	}
	return steradians, true
}

// ViewFactor is the share of a small receiver's half space that the lit side of
// the wall fills, as in the function ViewFactor: a wall of one luminance L, in
// cd/m², puts E = π L F lx on it. A panel that another one hides counts as well,
// so for a point outside a hollow wall it is an upper bound. ok is false unless
// the point is within 1e9 m along each axis and the normal has a direction.
func (w Wall) ViewFactor(point, normal r3.Vec) (factor float64, ok bool) {
	n, ok := direction(normal)
	if w.s == nil || !within(point) || !ok {
		return 0, false
	}
	s := w.s
	point, n = s.axes.FromStage(r3.Sub(point, s.origin)), s.axes.FromStage(n)
	for i := range s.segments() {
		factor += s.whole(i, point).viewFactor(s.turn(i, n))
	}
	return factor, true
}

// Illuminance is the light, in lx, that the wall puts on a small receiver at a
// point in metres that faces along normal, both in the stage frame. luminance
// gives the mean luminance of each panel in cd/m²:
//
//	E = π Σ L(column, row) F(column, row)
//
// with the view factor F of each panel as in the function ViewFactor. Where all
// panels show the same luminance, π L times Wall.ViewFactor is the same at less
// cost. ok is false unless the point is within 1e9 m along each axis, the normal
// has a direction, every luminance is finite and not negative, and so is the
// result.
func (w Wall) Illuminance(point, normal r3.Vec, luminance func(column, row int) float64) (lux float64, ok bool) {
	n, ok := direction(normal)
	if w.s == nil || luminance == nil || !within(point) || !ok {
		return 0, false
	}
	s := w.s
	point, n = s.axes.FromStage(r3.Sub(point, s.origin)), s.axes.FromStage(n)
	for column := range s.columns {
		x0 := float64(column * s.panelX)
		x1 := x0 + float64(s.panelX)
		i := s.segment(x0)
		turned := s.turn(i, n)
		for row := range s.rows {
			l := luminance(column, row)
			if !(l >= 0 && l <= math.MaxFloat64) {
				return 0, false
			}
			y0 := float64(row * s.panelY)
			// The factor first: π times a large luminance may be too large.
			lux += l * (math.Pi * s.patch(i, x0, y0, x1, y0+float64(s.panelY), point).viewFactor(turned))
		}
	}
	if !(lux <= math.MaxFloat64) {
		return 0, false
	}
	return lux, true
}

// EV100FromLuminance is the exposure value at index 100 that a reflected-light
// meter gives for a luminance in cd/m²:
//
//	EV100 = log2(100 L/K)
//
// K is the constant of the meter in cd·s/m², which ISO 2720:1974 lets lie from
// 10.6 to 13.4; 12.5 is common, and so is 14, outside that range. Luminances
// outside 1e-12 to 1e12 cd/m² and K outside 1 to 1000 are errors.
//
// Source: ISO 2720:1974.
func EV100FromLuminance(luminance, k float64) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("luminance", luminance, "cd/m²", valid.Closed(1e-12, 1e12))
	c.Number("meter constant K", k, "cd·s/m²", valid.Closed(1.0, 1000))
	if !c.OK() {
		return 0, c.Err()
	}
	return math.Log2(luminance / k * 100), nil
}

// patch is a flat panel and a point, in the panel's own frame: x to the right, y
// up, z towards the viewer of the lit side, origin at its lower left corner. Of
// far points this frame keeps the digits that differences of far corners lose.
type patch struct {
	corners [4]r2.Vec // lower left, lower right, upper right, upper left
	point   r3.Vec
}

// patch puts a rectangle and a point into the rectangle's own frame.
func (r Rectangle) patch(c *valid.Checker, point r3.Vec) (q patch, axes orient.Axes) {
	right, up, back, width, _ := r.axes(c)
	checkPoint(c, "point", point)
	if !c.OK() {
		return patch{}, orient.Axes{}
	}
	axes = orient.Axes{Right: right, Up: up, Back: back}
	// The corner may be off the square by a millionth.
	side := axes.FromStage(r3.Sub(r.UpperLeft, r.LowerLeft))
	q = patch{
		corners: [4]r2.Vec{{}, {X: width}, {X: width + side.X, Y: side.Y}, {X: side.X, Y: side.Y}},
		point:   axes.FromStage(r3.Sub(point, r.LowerLeft)),
	}
	q.settle(largest(r.LowerLeft), largest(r.LowerRight), largest(r.UpperLeft), largest(point))
	return q, axes
}

// patch is the part of segment i between two raster positions, and a point in
// the wall's own frame, in the part's own frame.
func (s *surface) patch(i int, x0, y0, x1, y1 float64, point r3.Vec) patch {
	corner := s.local(i, x0, y1)
	way := r3.Sub(point, corner)
	width, height := (x1-x0)*s.pitchX, (y1-y0)*s.pitchY
	q := patch{
		corners: [4]r2.Vec{{}, {X: width}, {X: width, Y: height}, {Y: height}},
		point:   r3.Vec{X: r3.Dot(way, s.along(i)), Y: way.Y, Z: r3.Dot(way, s.normal(i))},
	}
	q.settle(largest(s.origin), math.Abs(s.radius), largest(corner), largest(point))
	return q
}

// settle puts a point into the panel's plane where its distance from it is less
// than the coordinates of point and panel, rounded to float64, can tell. Beside
// the panel its own tilt, which is known to a rounding over a side, counts too.
func (q *patch) settle(coordinates ...float64) {
	x, y := q.point.X/q.corners[1].X, q.point.Y/q.corners[3].Y
	if math.Abs(q.point.Z) <= 4*0x1p-52*slices.Max(coordinates)*(1+math.Abs(x)+math.Abs(y)) {
		q.point.Z = 0
	}
}

// whole is segment i from its top to its bottom.
func (s *surface) whole(i int, point r3.Vec) patch {
	return s.patch(i, float64(i)*s.segmentX, 0, float64(i+1)*s.segmentX, s.height, point)
}

// turn brings a direction from the wall's own frame into that of segment i.
func (s *surface) turn(i int, n r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(n, s.along(i)), Y: n.Y, Z: r3.Dot(n, s.normal(i))}
}

func largest(v r3.Vec) float64 {
	return math.Max(math.Abs(v.X), math.Max(math.Abs(v.Y), math.Abs(v.Z)))
}

// way is the vector from the point to a place on the panel.
func (q patch) way(v r2.Vec) r3.Vec {
	return r3.Vec{X: v.X - q.point.X, Y: v.Y - q.point.Y, Z: -q.point.Z}
}

func (q patch) solidAngle() float64 {
	if !(q.point.Z > 0) {
		return 0
	}
	return q.triangle(q.corners[0], q.corners[1], q.corners[2]) + q.triangle(q.corners[0], q.corners[2], q.corners[3])
}

func (q patch) triangle(u, v, w r2.Vec) float64 {
	a, b, c := q.way(u), q.way(v), q.way(w)
	la, lb, lc := r3.Norm(a), r3.Norm(b), r3.Norm(c)
	// a·(b×c) is the distance times twice the triangle's area.
	return 2 * math.Atan2(q.point.Z*r2.Cross(r2.Sub(v, u), r2.Sub(w, u)),
		la*lb*lc+r3.Dot(a, b)*lc+r3.Dot(b, c)*la+r3.Dot(c, a)*lb)
}

// viewFactor is that of a receiver at the point; its unit normal is in the
// panel's frame.
func (q patch) viewFactor(n r3.Vec) float64 {
	if !(q.point.Z > 0) {
		return 0
	}
	// What is left above the horizon. A rectangle cut by a line has five corners
	// at most; each of its four sides can add two, whatever is rounded.
	var buffer [8]r2.Vec
	left := buffer[:0]
	for i, v := range q.corners {
		w := q.corners[(i+1)%4]
		hv, hw := r3.Dot(q.way(v), n), r3.Dot(q.way(w), n)
		if hv >= 0 {
			left = append(left, v)
		}
		if (hv >= 0) != (hw >= 0) {
			left = append(left, r2.Add(v, r2.Scale(hv/(hv-hw), r2.Sub(w, v))))
		}
	}
	var sum float64
	for i, v := range left {
		w := left[(i+1)%len(left)]
		side := r2.Sub(w, v)
		from := q.way(v)
		// v × w = v × (w − v), which keeps the digits of a short side.
		cross := r3.Cross(from, r3.Vec{X: side.X, Y: side.Y})
		if sin := r3.Norm(cross); sin > 0 {
			sum -= math.Atan2(sin, r3.Dot(from, q.way(w))) * r3.Dot(n, cross) / sin
		}
	}
	return math.Max(0, math.Min(1, sum/(2*math.Pi)))
}

// direction is the unit vector along v, however long v is.
func direction(v r3.Vec) (n r3.Vec, ok bool) {
	scale := math.Max(math.Abs(v.X), math.Max(math.Abs(v.Y), math.Abs(v.Z)))
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	return r3.Unit(r3.Vec{X: v.X / scale, Y: v.Y / scale, Z: v.Z / scale}), true
}
