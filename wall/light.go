package wall

import (
	"fmt"
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// SolidAngle is the solid angle, in sr, that the lit side of the wall fills at a
// point in metres in the stage frame. It is the sum over the two triangles a, b, c
// of each flat part of the wall, as vectors from the point:
//
//	tan(Ω/2) = a·(b×c) / (|a||b||c| + (a·b)|c| + (b·c)|a| + (c·a)|b|)
//
// A part that the point sees from behind adds nothing. A part that another part
// hides is counted all the same, so the result is an upper bound for a point
// outside a hollow wall. A point within rounding of the plane of a part counts as
// in it, and sees nothing of it. From afar the relative error is below
// 1e-15 distance/side of a part.
//
// Source: A. van Oosterom and J. Strackee, The Solid Angle of a Plane Triangle,
// IEEE Transactions on Biomedical Engineering 30, 1983, from memory.
func (w Wall) SolidAngle(point r3.Vec) (steradians float64, err error) {
	c := valid.New("wall", ErrInvalid)
	if w.checkLight(c, point); !c.OK() {
		return 0, c.Err()
	}
	s := w.s
	point = s.axes.FromStage(r3.Sub(point, s.origin))
	for i := range s.segments() {
		steradians += s.patch(i, float64(i)*s.segmentX, 0, float64(i+1)*s.segmentX, s.height, point).solidAngle()
	}
	return steradians, nil
}

// Illuminance is the illuminance, in lx, that the wall causes on a small receiver
// at a point in metres that faces along normal, both in the stage frame.
// luminance gives the mean luminance of each panel, 0 to 1e12 cd/m²; columns and
// rows count from 0 at the top left. Panels emit by Lambert's law:
//
//	E = π Σ L(column, row) F(column, row)
//
// F is the view factor of a panel: the fraction of the receiver's half space that
// the panel fills, weighted by the cosine at the receiver. The part of the panel
// below the receiver's horizon is cut off. Over the edges of the rest, from corner
// v to corner w as vectors from the point,
//
//	F = 1/(2π) Σ γ normal·(v×w)/|v×w|,  γ the angle between v and w
//
// For panels seen from behind, hidden, or in the plane of the point the rules of
// SolidAngle hold. From afar F has an error below 4e-16 side/distance for each
// panel.
//
// Source: J. H. Lambert, Photometria, 1760; the polygon formula as used for view
// factors of rectangles in J. R. Howell, A Catalog of Radiation Heat Transfer
// Configuration Factors; both from memory.
func (w Wall) Illuminance(point, normal r3.Vec, luminance func(column, row int) float64) (lux float64, err error) {
	c := valid.New("wall", ErrInvalid)
	w.checkLight(c, point)
	n, ok := direction(normal)
	if !ok {
		c.Fault("normal", vector(normal), "must be finite and not zero")
	}
	if luminance == nil {
		c.Fault("luminance", "nil", "must be a function")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	s := w.s
	point, n = s.axes.FromStage(r3.Sub(point, s.origin)), s.axes.FromStage(n)
	luminances := valid.Closed(0, valid.Luminances.Max)
	for column := range s.columns {
		x0 := float64(column * s.panelX)
		x1 := x0 + float64(s.panelX)
		i := s.segment(x0)
		turned := s.turn(i, n)
		for row := range s.rows {
			l := luminance(column, row)
			if !luminances.Contains(l) {
				c.Number(fmt.Sprintf("luminance of panel (%d, %d)", column, row), l, "cd/m²", luminances)
				return 0, c.Err()
			}
			y0 := float64(row * s.panelY)
			lux += l * math.Pi * s.patch(i, x0, y0, x1, y0+float64(s.panelY), point).viewFactor(turned)
		}
	}
	return lux, nil
}

// checkLight checks what a question about light needs.
func (w Wall) checkLight(c *valid.Checker, point r3.Vec) {
	checkPoint(c, "point", point)
	if w.s == nil {
		c.Fault("wall", "zero value", "must come from New")
	}
}

// patch is a flat rectangle of the wall and a point, in the rectangle's own frame:
// x to the right, y up, z towards the viewer of the lit side, origin at its lower
// left corner. For far points this frame keeps the digits that differences of far
// corners lose.
type patch struct {
	width, height float64
	point         r3.Vec
}

// patch is the part of segment i between two raster positions, and a point in
// the wall's own frame.
func (s *surface) patch(i int, x0, y0, x1, y1 float64, point r3.Vec) patch {
	corner := s.local(i, x0, y1)
	q := patch{
		width: (x1 - x0) * s.pitchX, height: (y1 - y0) * s.pitchY,
		point: s.turn(i, r3.Sub(point, corner)),
	}
	// A distance from the plane that is less than the rounding of the coordinates
	// is none. Beside the rectangle the rounding of its tilt counts too.
	rounding := 4 * 0x1p-52 * max(largest(s.origin), math.Abs(s.radius), largest(corner), largest(point))
	if math.Abs(q.point.Z) <= rounding*(1+math.Abs(q.point.X)/q.width+math.Abs(q.point.Y)/q.height) {
		q.point.Z = 0
	}
	return q
}

// turn brings a vector from the wall's own frame into that of segment i.
func (s *surface) turn(i int, v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(v, s.along(i)), Y: v.Y, Z: r3.Dot(v, s.normal(i))}
}

func (q patch) solidAngle() float64 {
	if !(q.point.Z > 0) {
		return 0
	}
	corner := r3.Scale(-1, q.point)
	right, up := r3.Vec{X: q.width}, r3.Vec{Y: q.height}
	diagonal := r3.Add(right, up)
	return sphere.PlaneTriangle(corner, right, diagonal) + sphere.PlaneTriangle(corner, diagonal, up)
}

// viewFactor is that of a receiver at the point; its unit normal is in the
// rectangle's frame.
func (q patch) viewFactor(n r3.Vec) float64 {
	if !(q.point.Z > 0) {
		return 0
	}
	way := func(v r2.Vec) r3.Vec { return r3.Vec{X: v.X - q.point.X, Y: v.Y - q.point.Y, Z: -q.point.Z} }
	corners := [4]r2.Vec{{}, {X: q.width}, {X: q.width, Y: q.height}, {Y: q.height}}
	// What is left above the horizon. A rectangle cut by a line has five corners
	// at most; each of its four sides can add two, whatever is rounded.
	var buffer [8]r2.Vec
	left := buffer[:0]
	for i, v := range corners {
		w := corners[(i+1)%4]
		hv, hw := r3.Dot(way(v), n), r3.Dot(way(w), n)
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
		from := way(v)
		// v × w = v × (w − v), which keeps the digits of a short side.
		cross := r3.Cross(from, r3.Vec{X: side.X, Y: side.Y})
		if sin := r3.Norm(cross); sin > 0 {
			sum -= math.Atan2(sin, r3.Dot(from, way(w))) * r3.Dot(n, cross) / sin
		}
	}
	return math.Max(0, math.Min(1, sum/(2*math.Pi)))
}

// direction is the unit vector along v. ok is false if v is zero or not finite.
func direction(v r3.Vec) (n r3.Vec, ok bool) {
	scale := largest(v)
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	return r3.Unit(r3.Vec{X: v.X / scale, Y: v.Y / scale, Z: v.Z / scale}), true
}

// largest is the size of the largest component, NaN if one is NaN.
func largest(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }
