package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// SolidAngle is the solid angle, in sr, that the lit side of a rectangle fills
// at a point in metres in the stage frame. For each of the two triangles a, b, c
// that make up the rectangle, as vectors from the point,
//
//	tan(Ω/2) = a·(b×c) / (|a||b||c| + (a·b)|c| + (b·c)|a| + (c·a)|b|)
//
// From the plane of the rectangle or from behind it is 0.
//
// Source: A. van Oosterom and J. Strackee, The Solid Angle of a Plane Triangle,
// IEEE Transactions on Biomedical Engineering 30, 1983.
func SolidAngle(r Rectangle, point r3.Vec) (steradians float64, err error) {
	c := valid.New("wall", ErrInvalid)
	r.axes(c)
	checkPoint(c, "point", point)
	if !c.OK() {
		return 0, c.Err()
	}
	return r.from(point).solidAngle(), nil
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
// stage frame. From the plane of the rectangle or from behind F is 0.
//
// Source: J. H. Lambert, Photometria, 1760; the polygon formula as it is used
// for view factors of rectangles in J. R. Howell, A Catalog of Radiation Heat
// Transfer Configuration Factors.
func ViewFactor(r Rectangle, point, normal r3.Vec) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	r.axes(c)
	checkPoint(c, "point", point)
	n, ok := direction(normal)
	if !ok {
		c.Fault("normal", vector(normal), "must be finite and not zero")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return r.from(point).viewFactor(n), nil
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
	for i := range w.s.segments() {
		steradians += w.s.whole(i).from(point).solidAngle()
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
	for i := range w.s.segments() {
		factor += w.s.whole(i).from(point).viewFactor(n)
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
// has a direction, and every luminance is finite and not negative.
func (w Wall) Illuminance(point, normal r3.Vec, luminance func(column, row int) float64) (lux float64, ok bool) {
	n, ok := direction(normal)
	if w.s == nil || luminance == nil || !within(point) || !ok {
		return 0, false
	}
	s := w.s
	for column := range s.columns {
		x0 := float64(column * s.panelX)
		x1 := x0 + float64(s.panelX)
		for row := range s.rows {
			l := luminance(column, row)
			if !(l >= 0 && l <= math.MaxFloat64) {
				return 0, false
			}
			y0 := float64(row * s.panelY)
			panel := s.rectangle(s.segment(x0), x0, y0, x1, y0+float64(s.panelY))
			lux += math.Pi * l * panel.from(point).viewFactor(n)
		}
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

// quad is a rectangle by its corners as seen from a point. Its lit side faces
// the point where a·(b×c) of its first three corners is positive.
type quad [4]r3.Vec

// from is a rectangle as seen from a point.
func (r Rectangle) from(point r3.Vec) quad {
	upperRight := r3.Add(r.LowerRight, r3.Sub(r.UpperLeft, r.LowerLeft))
	return quad{
		r3.Sub(r.LowerLeft, point), r3.Sub(r.UpperLeft, point),
		r3.Sub(upperRight, point), r3.Sub(r.LowerRight, point),
	}
}

// whole is segment i from its top to its bottom.
func (s *surface) whole(i int) Rectangle {
	return s.rectangle(i, float64(i)*s.segmentX, 0, float64(i+1)*s.segmentX, s.height)
}

func (q quad) faces() bool { return r3.Dot(q[0], r3.Cross(q[1], q[2])) > 0 }

func (q quad) solidAngle() float64 {
	if !q.faces() {
		return 0
	}
	return triangle(q[0], q[1], q[2]) + triangle(q[0], q[2], q[3])
}

func triangle(a, b, c r3.Vec) float64 {
	la, lb, lc := r3.Norm(a), r3.Norm(b), r3.Norm(c)
	return 2 * math.Atan2(r3.Dot(a, r3.Cross(b, c)),
		la*lb*lc+r3.Dot(a, b)*lc+r3.Dot(b, c)*la+r3.Dot(c, a)*lb)
}

func (q quad) viewFactor(n r3.Vec) float64 {
	if !q.faces() {
		return 0
	}
	// What is left above the horizon: a convex polygon cut by a plane has one
	// corner more at most.
	var left [5]r3.Vec
	count := 0
	for i, v := range q {
		w := q[(i+1)%4]
		hv, hw := r3.Dot(v, n), r3.Dot(w, n)
		if hv >= 0 {
			left[count] = v
			count++
		}
		if (hv >= 0) != (hw >= 0) {
			left[count] = r3.Add(v, r3.Scale(hv/(hv-hw), r3.Sub(w, v)))
			count++
		}
	}
	var sum float64
	for i := range count {
		v, w := left[i], left[(i+1)%count]
		cross := r3.Cross(v, w)
		if sin := r3.Norm(cross); sin > 0 {
			sum += math.Atan2(sin, r3.Dot(v, w)) * r3.Dot(n, cross) / sin
		}
	}
	return math.Max(0, sum/(2*math.Pi))
}

// direction is the unit vector along v, however long v is.
func direction(v r3.Vec) (n r3.Vec, ok bool) {
	scale := math.Max(math.Abs(v.X), math.Max(math.Abs(v.Y), math.Abs(v.Z)))
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	return r3.Unit(r3.Vec{X: v.X / scale, Y: v.Y / scale, Z: v.Z / scale}), true
}
