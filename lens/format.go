package lens

import (
	"math"

	"gonum.org/v1/gonum/unit"
)

// Format is the part of the image plane that is recorded: a rectangle whose
// centre lies off the axis of the lens by the offsets, across and along its
// height. Its sides are more than 0 and at most 1 m, its offsets at most 1 m;
// zero offsets centre it.
type Format struct {
	Width, Height    unit.Length
	OffsetX, OffsetY unit.Length
}

// Coverage says how an image circle fills a format. Each margin is the radius
// of the circle less the distance of a point from the axis: what is left over
// where it is positive, what is missing where it is negative.
type Coverage struct {
	// Corner is the margin at the corner farthest from the axis: the circle
	// covers the format where it is not negative.
	Corner unit.Length
	// Width and Height are the margins at the farther end of the lines across
	// and down the format through the axis.
	Width, Height unit.Length
	// Area is the part of the format's area inside the circle, from 0 to 1.
	Area float64
}

// Coverage compares the image circle with a format:
//
//	R − √((W/2 + |x|)² + (H/2 + |y|)²),  R − (W/2 + |x|),  R − (H/2 + |y|)
//
// and the area of the disc inside the rectangle over W H. The area is closed
// form; rounding leaves an error of about 1e-15 (1 + R²/(W H)), and none where
// the circle covers the format or misses it. There is no answer where
// ImageCircle has none, or where a side or an offset of the format is out of
// its range.
//
// Source: plane geometry.
func (l Lens) Coverage(f Format) (Coverage, bool) {
	w, h := float64(f.Width), float64(f.Height)
	x, y := math.Abs(float64(f.OffsetX)), math.Abs(float64(f.OffsetY))
	_, ok := l.ImageCircle()
	if !ok || !sides.Contains(w) || !sides.Contains(h) || !(x <= sides.Max && y <= sides.Max) {
		return Coverage{}, false
	}
	right, top := x+w/2, y+h/2
	left, bottom := x-w/2, y-h/2
	cov := Coverage{
		Corner: unit.Length(l.edge - math.Hypot(right, top)),
		Width:  unit.Length(l.edge - right),
		Height: unit.Length(l.edge - top),
	}
	switch {
	case cov.Corner >= 0:
		cov.Area = 1
	case math.Hypot(math.Max(left, 0), math.Max(bottom, 0)) < l.edge:
		// In radii of the circle, so that no square overflows.
		x0, x1, y0, y1 := left/l.edge, right/l.edge, bottom/l.edge, top/l.edge
		a := discQuadrant(x1, y1) - discQuadrant(x0, y1) - discQuadrant(x1, y0) + discQuadrant(x0, y0)
		cov.Area = math.Min(math.Max(a/(w/l.edge)/(h/l.edge), 0), 1)
	}
	return cov, true
}

// discQuadrant is the area that the unit disc shares with the rectangle from
// its centre to (x, y), with the sign of x y.
func discQuadrant(x, y float64) float64 {
	sign := 1.0
	if (x < 0) != (y < 0) {
		sign = -1
	}
	x, y = math.Min(math.Abs(x), 1), math.Min(math.Abs(y), 1)
	if math.Hypot(x, y) <= 1 {
		return sign * x * y
	}
	// The circle leaves the rectangle at (u, y) and (x, v): two triangles and
	// the sector between them.
	u, v := math.Sqrt((1-y)*(1+y)), math.Sqrt((1-x)*(1+x))
	sector := math.Atan2(y, u) - math.Atan2(v, x)
	return sign * (u*y + x*v + sector) / 2
}
