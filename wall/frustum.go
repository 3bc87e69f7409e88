package wall

import (
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Rectangle is a flat rectangle in the stage frame by three of its corners as
// the viewer of its lit side sees them, in metres. The normal of the lit side is
// that of (LowerRight − LowerLeft) × (UpperLeft − LowerLeft). Functions that take
// one ask for sides of 1 µm or more that stand square to within 1e-6 rad.
type Rectangle struct{ LowerLeft, LowerRight, UpperLeft r3.Vec }

// axes checks a rectangle and gives its unit vectors, the last of them towards
// the viewer, and its sides in metres.
func (r Rectangle) axes(c *valid.Checker) (right, up, back r3.Vec, width, height float64) {
	checkPoint(c, "lower left corner", r.LowerLeft)
	checkPoint(c, "lower right corner", r.LowerRight)
	checkPoint(c, "upper left corner", r.UpperLeft)
	if !c.OK() {
		return
	}
	right, up = r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
	width, height = r3.Norm(right), r3.Norm(up)
	c.Length("width of the rectangle", unit.Length(width), valid.Closed[unit.Length](1e-6, 1e9))
	c.Length("height of the rectangle", unit.Length(height), valid.Closed[unit.Length](1e-6, 1e9))
	if !c.OK() {
		return
	}
	right, up = r3.Scale(1/width, right), r3.Scale(1/height, up)
	cross := r3.Cross(right, up)
	corner := unit.Angle(math.Atan2(r3.Norm(cross), r3.Dot(right, up)))
	c.Angle("angle at the lower left corner", corner, valid.Closed(90*Degree-1e-6, 90*Degree+1e-6))
	if !c.OK() {
		return
	}
	back = r3.Unit(cross)
	return right, r3.Cross(back, right), back, width, height
}

// Matrix is a 4 × 4 matrix by rows, Matrix[row][column], that acts on columns
// (x, y, z, 1).
type Matrix [4][4]float64

// Frustum is the off-axis pyramid from an eye through a rectangle. The extents
// are those of its section at the near distance, measured from the straight
// line of sight, to the right and up. RightAxis to BackAxis are the unit axes of
// the eye, in the stage frame: it looks along −BackAxis, square to the rectangle.
type Frustum struct {
	Left, Right, Bottom, Top, Near, Far unit.Length

	Eye                         r3.Vec // metres in the stage frame
	RightAxis, UpAxis, BackAxis r3.Vec
}

// NewFrustum is the frustum with which a picture rendered for the rectangle,
// and shown on it, looks right from the eye. From the corners relative to the
// eye a (lower left), b (lower right) and c (upper left), and the distance d of
// the eye from the rectangle's plane:
//
//	left = right·a near/d   right = right·b near/d
//	bottom = up·a near/d    top = up·c near/d
//
// The eye is in front of the rectangle, by more than a millionth of its larger
// side. near is 1 µm or more and less than far.
//
// Source: R. Kooima, Generalized Perspective Projection, 2008.
func NewFrustum(r Rectangle, eye r3.Vec, near, far unit.Length) (Frustum, error) {
	c := valid.New("wall", ErrInvalid)
	right, up, back, width, height := r.axes(c)
	checkPoint(c, "eye", eye)
	depths := valid.Closed[unit.Length](1e-6, 1e9)
	c.Length("near", near, depths)
	if depths.Contains(float64(near)) {
		depths = valid.Above(near, 1e9)
	}
	c.Length("far", far, depths)
	if !c.OK() {
		return Frustum{}, c.Err()
	}
	a := r3.Sub(r.LowerLeft, eye)
	d := -r3.Dot(a, back)
	c.Length("distance of the eye", unit.Length(d), valid.Between(unit.Length(1e-6*math.Max(width, height)), unit.Length(math.Inf(1))))
	if !c.OK() {
		return Frustum{}, c.Err()
	}
	k := near / unit.Length(d)
	left, bottom := r3.Dot(right, a), r3.Dot(up, a)
	return Frustum{
		Left: unit.Length(left) * k, Right: unit.Length(left+width) * k,
		Bottom: unit.Length(bottom) * k, Top: unit.Length(bottom+height) * k,
		Near: near, Far: far,
		Eye: eye, RightAxis: right, UpAxis: up, BackAxis: back,
	}, nil
}

// Projection is the matrix from the eye's own frame (x right, y up, looking
// along −z) to clip space; after division by w the rectangle's corners lie at
// ±1 in x and y, the near plane at −1 and the far plane at 1 in z:
//
//	2n/(r−l)  0         (r+l)/(r−l)   0
//	0         2n/(t−b)  (t+b)/(t−b)   0
//	0         0        −(f+n)/(f−n)  −2fn/(f−n)
//	0         0        −1             0
//
// ok is false unless Left < Right, Bottom < Top and 0 < Near < Far, all finite,
// and where an element is too large for a number.
//
// Source: R. Kooima, Generalized Perspective Projection, 2008, where the
// matrix is that of the OpenGL fixed pipeline.
func (f Frustum) Projection() (m Matrix, ok bool) {
	if !f.sound() {
		return Matrix{}, false
	}
	l, r, b, t := float64(f.Left), float64(f.Right), float64(f.Bottom), float64(f.Top)
	n, z := float64(f.Near), float64(f.Far)
	m = Matrix{
		{2 * n / (r - l), 0, (r + l) / (r - l), 0},
		{0, 2 * n / (t - b), (t + b) / (t - b), 0},
		{0, 0, -(z + n) / (z - n), -2 * z * n / (z - n)},
		{0, 0, -1, 0},
	}
	if !m.finite() {
		return Matrix{}, false
	}
	return m, true
}

// StageToEye is the matrix from the stage frame to the eye's own frame: a turn
// by the transposed axes after a move by −Eye. ok is false where the axes are no
// right-handed set of unit vectors square to each other, to within 1e-6, as in
// the zero value, or Eye is not finite.
//
// Source: R. Kooima, Generalized Perspective Projection, 2008.
func (f Frustum) StageToEye() (m Matrix, ok bool) {
	// Any two of these leave two axes free to be longer or shorter together.
	skew := r3.Norm(r3.Sub(r3.Cross(f.RightAxis, f.UpAxis), f.BackAxis)) +
		r3.Norm(r3.Sub(r3.Cross(f.UpAxis, f.BackAxis), f.RightAxis)) +
		r3.Norm(r3.Sub(r3.Cross(f.BackAxis, f.RightAxis), f.UpAxis))
	if !(skew < 1e-6 && r3.Norm2(f.RightAxis) > 0.5) {
		return Matrix{}, false
	}
	row := func(a r3.Vec) [4]float64 { return [4]float64{a.X, a.Y, a.Z, -r3.Dot(a, f.Eye)} }
	m = Matrix{row(f.RightAxis), row(f.UpAxis), row(f.BackAxis), {0, 0, 0, 1}}
	if !m.finite() {
		return Matrix{}, false
	}
	return m, true
}

// Angles are those from the straight line of sight to each side, positive to
// the right and up:
//
//	angle = atan(extent/near)
//
// ok is false unless Left < Right, Bottom < Top and 0 < Near < Far, all finite.
func (f Frustum) Angles() (left, right, bottom, top unit.Angle, ok bool) {
	if !f.sound() {
		return 0, 0, 0, 0, false
	}
	angle := func(extent unit.Length) unit.Angle {
		return unit.Angle(math.Atan2(float64(extent), float64(f.Near)))
	}
	return angle(f.Left), angle(f.Right), angle(f.Bottom), angle(f.Top), true
}

// sound reports whether the extents and depths are those of a frustum.
func (f Frustum) sound() bool {
	finite := f.Left >= -math.MaxFloat64 && f.Right <= math.MaxFloat64 &&
		f.Bottom >= -math.MaxFloat64 && f.Top <= math.MaxFloat64 && f.Far <= math.MaxFloat64
	return finite && f.Left < f.Right && f.Bottom < f.Top && f.Near > 0 && f.Near < f.Far
}

func (m Matrix) finite() bool {
	for _, row := range m {
		for _, e := range row {
			if math.IsNaN(e) || math.IsInf(e, 0) {
				return false
			}
		}
	}
	return true
}

// reach is how far out, in metres along each axis, points may lie.
const reach = 1e9

func within(p r3.Vec) bool {
	return math.Abs(p.X) <= reach && math.Abs(p.Y) <= reach && math.Abs(p.Z) <= reach
}

// checkPoint checks a position in metres.
func checkPoint(c *valid.Checker, field string, p r3.Vec) {
	for i, v := range [3]float64{p.X, p.Y, p.Z} {
		c.Length(field+" "+"xyz"[i:i+1], unit.Length(v), valid.Closed[unit.Length](-reach, reach))
	}
}

func vector(p r3.Vec) string { return fmt.Sprintf("(%g, %g, %g) m", p.X, p.Y, p.Z) }
