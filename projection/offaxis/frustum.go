package offaxis

import (
	"encoding/json"
	"fmt"
	"image"
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Window is a flat rectangle in the stage frame, in metres, that an eye looks
// through: a face of a wall, or a picture on it. Its corners are named as the eye
// sees them. NewFrustum checks it.
type Window struct{ LowerLeft, LowerRight, UpperLeft r3.Vec }

// Frustum is a pyramid of view between a near and a far plane. Its apex is the eye,
// at the Pose's Position, which looks along the Pose's −Z.
//
// Left, Right, Bottom and Top are the sides of its section at Near. They are
// measured to the right and upwards from the point straight ahead of the eye. A
// wall to the left of the eye has a negative Left and a negative Right.
//
// A Frustum is valid if its fields are finite, 0 < Near < Far, Left < Right and
// Bottom < Top. Far may also be +Inf, which is null in JSON. The methods of an
// invalid Frustum, such as the zero Frustum, return ok = false.
type Frustum struct {
	Left, Right, Bottom, Top unit.Length
	Near, Far                unit.Length

	Pose projection.Pose
}

// frustumJSON is a Frustum in JSON, which has no infinity.
type frustumJSON struct {
	plainFrustum
	Far *unit.Length // hides that of the plain Frustum
}

// plainFrustum is a Frustum without methods.
type plainFrustum Frustum

// MarshalJSON writes the fields under their names, with lengths in metres and
// angles in radians. An infinite Far becomes null.
func (f Frustum) MarshalJSON() ([]byte, error) {
	j := frustumJSON{plainFrustum: plainFrustum(f)}
	if !math.IsInf(float64(f.Far), 1) {
		j.Far = &f.Far
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (f *Frustum) UnmarshalJSON(data []byte) error {
	var far unit.Length
	j := frustumJSON{Far: &far}
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*f = Frustum(j.plainFrustum)
	if f.Far = far; j.Far == nil {
		f.Far = unit.Length(math.Inf(1))
	}
	return nil
}

// NewFrustum returns the frustum from an eye through a window. A picture that is
// rendered with it and shown on the window looks right from the eye.
//
//	Left = right·a near/d   Right = right·b near/d
//	Bottom = up·a near/d    Top = up·c near/d
//
// a, b and c are the lower left, lower right and upper left corner relative to the
// eye. right and up are the unit axes of the window, and d is the distance of the
// eye from its plane. eye is in metres.
//
// Sides of the window outside 1 µm to 1e9 m are errors, and so are axes that are
// not square to within 1e-6 rad. The eye must be in front of the window, by more
// than a millionth of the larger side: an eye behind it sees the corners mirrored.
// near must be above 0 and below far. far may be +Inf.
//
// Source: R. Kooima, Generalized Perspective Projection, 2008, from memory.
func NewFrustum(w Window, eye r3.Vec, near, far unit.Length) (Frustum, error) {
	v := valid.New("offaxis", ErrInvalid)
	geom.CheckVec(v, "lower left corner", w.LowerLeft, "m")
	geom.CheckVec(v, "lower right corner", w.LowerRight, "m")
	geom.CheckVec(v, "upper left corner", w.UpperLeft, "m")
	geom.CheckVec(v, "eye", eye, "m")
	checkDepths(v, near, far)
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	right, up := r3.Sub(w.LowerRight, w.LowerLeft), r3.Sub(w.UpperLeft, w.LowerLeft)
	width, height := r3.Norm(right), r3.Norm(up)
	side := valid.Closed[unit.Length](1e-6, 1e9)
	v.Length("width of the window", unit.Length(width), side)
	v.Length("height of the window", unit.Length(height), side)
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	right, up = r3.Scale(1/width, right), r3.Scale(1/height, up)
	back := r3.Cross(right, up)
	corner := unit.Angle(math.Atan2(r3.Norm(back), r3.Dot(right, up)))
	v.Angle("angle at the lower left corner", corner, valid.Closed(90*projection.Degree-1e-6, 90*projection.Degree+1e-6))
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	back = r3.Unit(back)
	up = r3.Cross(back, right)
	a := r3.Sub(w.LowerLeft, eye)
	d := -r3.Dot(a, back)
	if least := 1e-6 * max(width, height); d < 0 {
		v.Fault("eye", quantity.Length(unit.Length(-d))+" behind the window", "must be in front of it, where its corners are as named")
	} else {
		v.Length("distance of the eye from the window", unit.Length(d), valid.Above(unit.Length(least), 1e15))
	}
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	k := float64(near) / d
	f := Frustum{
		Left: unit.Length(k * r3.Dot(right, a)), Right: unit.Length(k * r3.Dot(right, r3.Sub(w.LowerRight, eye))),
		Bottom: unit.Length(k * r3.Dot(up, a)), Top: unit.Length(k * r3.Dot(up, r3.Sub(w.UpperLeft, eye))),
		Near: near, Far: far,
		Pose: poseOf(eye, orient.Axes{Right: right, Up: up, Back: back}),
	}
	if !f.isValid() {
		v.Fault("window", fmt.Sprintf("of %g × %g m", width, height), "must not vanish at the near distance")
		return Frustum{}, v.Err()
	}
	return f, nil
}

// poseOf is the pose at a position with the axes given.
func poseOf(position r3.Vec, a orient.Axes) projection.Pose {
	p := projection.Pose{Position: position}
	p.Heading, p.Elevation, p.Roll = a.Angles()
	return p
}

func axes(p projection.Pose) orient.Axes { return orient.FromAngles(p.Heading, p.Elevation, p.Roll) }

func finite(p projection.Pose) bool {
	return 0*p.Position.X+0*p.Position.Y+0*p.Position.Z+0*float64(p.Heading)+0*float64(p.Elevation)+0*float64(p.Roll) == 0
}

// checkDepths checks near, and far against a valid near.
func checkDepths(v *valid.Checker, near, far unit.Length) {
	infinity := unit.Length(math.Inf(1))
	depth := valid.Between(0, infinity)
	v.Length("near", near, depth)
	if !depth.Contains(float64(near)) {
		near = 0
	}
	v.Length("far", far, valid.Above(near, infinity))
}

func (f Frustum) isValid() bool {
	ends := func(l unit.Length) bool { return !math.IsInf(float64(l), 0) } // NaN is not less than anything
	return ends(f.Left) && ends(f.Right) && ends(f.Bottom) && ends(f.Top) &&
		f.Left < f.Right && f.Bottom < f.Top && f.Near > 0 && f.Near < f.Far && finite(f.Pose)
}

func (f Frustum) ifValid() (Frustum, bool) {
	if !f.isValid() {
		return Frustum{}, false
	}
	return f, true
}

// Window is the section of the frustum at a distance straight ahead of the eye. It
// is the inverse of NewFrustum. ok is false if the distance is not above 0 and
// finite.
func (f Frustum) Window(distance unit.Length) (w Window, ok bool) {
	if !f.isValid() || !(distance > 0 && distance <= math.MaxFloat64) {
		return Window{}, false
	}
	k := float64(distance / f.Near)
	a := axes(f.Pose)
	at := func(x, y unit.Length) r3.Vec {
		return r3.Add(f.Pose.Position, a.ToStage(r3.Vec{X: k * float64(x), Y: k * float64(y), Z: -float64(distance)}))
	}
	return Window{LowerLeft: at(f.Left, f.Bottom), LowerRight: at(f.Right, f.Bottom), UpperLeft: at(f.Left, f.Top)}, true
}

// ClipDepth says how depth is written in clip space, after division by w. There is
// no default.
type ClipDepth uint8

const (
	DepthMinusOneToOne ClipDepth = iota + 1 // −1 at Near, 1 at Far
	DepthZeroToOne                          // 0 at Near, 1 at Far
	DepthOneToMinusOne                      // 1 at Near, −1 at Far
	DepthOneToZero                          // 1 at Near, 0 at Far: best for depths in floating point
)

var clipDepths = enum.New[ClipDepth](ErrInvalid, []string{
	DepthMinusOneToOne: "-1 to 1", DepthZeroToOne: "0 to 1", DepthOneToMinusOne: "1 to -1", DepthOneToZero: "1 to 0",
})

// String gives a name like "0 to 1".
func (d ClipDepth) String() string { return clipDepths.Name(d) }

// MarshalText gives the name. An unknown ClipDepth is an error.
func (d ClipDepth) MarshalText() ([]byte, error) { return clipDepths.Marshal(d) }

// UnmarshalText reads a name. Any other text is an error and leaves d unchanged.
func (d *ClipDepth) UnmarshalText(text []byte) error { return clipDepths.Unmarshal(d, text) }

// ends are the depths at Near and at Far.
func (d ClipDepth) ends() (near, far float64, ok bool) {
	if !clipDepths.Known(d) {
		return 0, 0, false
	}
	e := [...][2]float64{{-1, 1}, {0, 1}, {1, -1}, {1, 0}}[d-1]
	return e[0], e[1], true
}

// EyeToClip is the matrix from the eye's own frame to clip space. After division
// by w the sides of the frustum lie at ±1 in x and y, and z runs from N at Near to
// F at Far:
//
//	2n/(r−l)  0         (r+l)/(r−l)       0
//	0         2n/(t−b)  (t+b)/(t−b)       0
//	0         0         (Nk−F)/(1−k)      n(N−F)/(1−k)    k = n/f
//	0         0        −1                 0
//
// n is Near, f is Far, and l, r, b and t are the sides. ok is false if the depth is
// unknown or an element is not finite.
//
// Source: R. Kooima, Generalized Perspective Projection, 2008, for N = −1 and
// F = 1, from memory.
func (f Frustum) EyeToClip(depth ClipDepth) (m Matrix, ok bool) {
	N, F, ok := depth.ends()
	if !ok || !f.isValid() {
		return Matrix{}, false
	}
	l, r, b, t, n := float64(f.Left), float64(f.Right), float64(f.Bottom), float64(f.Top), float64(f.Near)
	k := float64(f.Near / f.Far)
	m = Matrix{
		{2 * n / (r - l), 0, (r + l) / (r - l), 0},
		{0, 2 * n / (t - b), (t + b) / (t - b), 0},
		{0, 0, (N*k - F) / (1 - k), n * (N - F) / (1 - k)},
		{0, 0, -1, 0},
	}
	if !m.finite() {
		return Matrix{}, false
	}
	return m, true
}

// StageToEye is the matrix from the stage frame to the eye's own frame: a move by
// −Position, then the rotation of Pose.FromStage. ok is false if the frustum is
// invalid or an element is not finite.
func (f Frustum) StageToEye() (m Matrix, ok bool) {
	if !f.isValid() {
		return Matrix{}, false
	}
	a := axes(f.Pose)
	row := func(v r3.Vec) [4]float64 { return [4]float64{v.X, v.Y, v.Z, -r3.Dot(v, f.Pose.Position)} }
	m = Matrix{row(a.Right), row(a.Up), row(a.Back), {0, 0, 0, 1}}
	if !m.finite() {
		return Matrix{}, false
	}
	return m, true
}

// StageToClip is the matrix from the stage frame to clip space, the product
// EyeToClip · StageToEye. The corners of the window land on ±1 in x and y. ok is
// false if either matrix has no answer. FrustumFromMatrix is the inverse.
func (f Frustum) StageToClip(depth ClipDepth) (m Matrix, ok bool) {
	clip, ok := f.EyeToClip(depth)
	eye, okEye := f.StageToEye()
	if !ok || !okEye {
		return Matrix{}, false
	}
	if m = clip.times(eye); !m.finite() {
		return Matrix{}, false
	}
	return m, true
}

// FrustumFromMatrix returns the frustum of a matrix from the stage frame to clip
// space. It is the inverse of StageToClip. It is also the inverse of EyeToClip:
// then the result has no Pose. A positive factor on the whole matrix changes
// nothing.
//
// The first three columns of the rows are
//
//	w: −back    x: (2n·right + (r+l)·back)/(r−l)    y: (2n·up + (t+b)·back)/(t−b)
//
// and the last column gives the eye, for which x, y and w are 0. A distant Far
// follows from a small difference. It keeps the digits that Near/Far leaves it,
// and is +Inf if none is left.
//
// A matrix whose rows do not have this form to within 1e-6 is an error: one that
// is skewed or mirrored, of a parallel projection, or of another clip depth.
func FrustumFromMatrix(m Matrix, depth ClipDepth) (Frustum, error) {
	v := valid.New("offaxis", ErrInvalid)
	N, F, _ := depth.ends()
	clipDepths.Check(v, "clip depth", depth)
	if !m.finite() {
		v.Fault("matrix", "with an element that is not finite", "must be finite")
	}
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	scale := r3.Norm(m.row(3))
	back := r3.Scale(-1/scale, m.row(3))
	shear := func(i int) (side r3.Vec, length, s float64) {
		row := r3.Scale(1/scale, m.row(i))
		s = r3.Dot(row, back)
		side = r3.Sub(row, r3.Scale(s, back))
		length = r3.Norm(side)
		return r3.Scale(1/length, side), length, s
	}
	right, a, sx := shear(0)
	up, b, sy := shear(1)
	z := r3.Scale(1/scale, m.row(2))
	c := r3.Dot(z, back)
	// The eye along its own axes, from the last column.
	eye := r3.Vec{Z: m[3][3] / scale}
	eye.X = -(m[0][3]/scale + sx*eye.Z) / a
	eye.Y = -(m[1][3]/scale + sy*eye.Z) / b
	d := m[2][3]/scale + c*eye.Z
	n := d / (c + N)
	f := Frustum{
		Left: unit.Length(n * (sx - 1) / a), Right: unit.Length(n * (sx + 1) / a),
		Bottom: unit.Length(n * (sy - 1) / b), Top: unit.Length(n * (sy + 1) / b),
		Near: unit.Length(n), Far: unit.Length(d / (c + F)),
	}
	if math.Abs(c+F) <= 1e-15*math.Abs(F) {
		f.Far = unit.Length(math.Inf(1))
	}
	pose, err := projection.PoseFromAxes(r3.Vec{}, right, up, back)
	v.Add("matrix", err)
	v.Number("depth of the matrix square to its axis", r3.Norm(r3.Sub(z, r3.Scale(c, back))), "", valid.Closed(0, 1e-6))
	if !v.OK() {
		return Frustum{}, v.Err()
	}
	pose.Position = orient.Axes{Right: right, Up: up, Back: back}.ToStage(eye)
	f.Pose = pose
	if !f.isValid() {
		v.Fault("matrix", fmt.Sprintf("with near %g m and far %g m", float64(f.Near), float64(f.Far)), "must have 0 < near < far at the clip depth given")
		return Frustum{}, v.Err()
	}
	return f, nil
}

// Tile is the frustum of one tile of the picture. The whole frustum fills a raster
// of width × height px. Sides that two tiles share are equal to the last bit. ok is
// false if the tile is empty or extends beyond the raster.
func (f Frustum) Tile(width, height int, tile image.Rectangle) (part Frustum, ok bool) {
	if tile.Empty() || !tile.In(image.Rectangle{Max: image.Pt(width, height)}) || !f.isValid() {
		return Frustum{}, false
	}
	between := func(a, b unit.Length, i, n int) unit.Length {
		t := unit.Length(i) / unit.Length(n)
		return a*(1-t) + b*t
	}
	part = f
	part.Left, part.Right = between(f.Left, f.Right, tile.Min.X, width), between(f.Left, f.Right, tile.Max.X, width)
	part.Top, part.Bottom = between(f.Top, f.Bottom, tile.Min.Y, height), between(f.Top, f.Bottom, tile.Max.Y, height)
	return part.ifValid()
}

// Overscan is the frustum with a margin on each side, as a fraction of its width
// and of its height. The raster grows by 1 + 2·fraction along both. ok is false if
// the fraction is below 0 or not finite.
func (f Frustum) Overscan(fraction float64) (wide Frustum, ok bool) {
	if !(fraction >= 0 && fraction <= math.MaxFloat64) || !f.isValid() {
		return Frustum{}, false
	}
	x, y := unit.Length(fraction)*(f.Right-f.Left), unit.Length(fraction)*(f.Top-f.Bottom)
	wide = f
	wide.Left, wide.Right = f.Left-x, f.Right+x
	wide.Bottom, wide.Top = f.Bottom-y, f.Top+y
	return wide.ifValid()
}

// OverscanAngle is the frustum with each side turned outwards by an angle: the
// angle by which the camera may turn before the next picture arrives.
//
//	Right → Near·tan(atan(Right/Near) + angle)    and the other sides likewise
//
// ok is false if the angle is below 0, or if a side would come to 90° from straight
// ahead.
func (f Frustum) OverscanAngle(angle unit.Angle) (wide Frustum, ok bool) {
	if !(angle >= 0 && angle < math.Pi/2) || !f.isValid() {
		return Frustum{}, false
	}
	if angle == 0 {
		return f, true
	}
	ok = true
	out := func(side unit.Length) unit.Length {
		a := math.Atan2(float64(side), float64(f.Near)) + float64(angle)
		ok = ok && a < math.Pi/2
		return f.Near * unit.Length(geom.Tan(a))
	}
	wide = f
	wide.Left, wide.Right = -out(-f.Left), out(f.Right)
	wide.Bottom, wide.Top = -out(-f.Bottom), out(f.Top)
	if !ok {
		return Frustum{}, false
	}
	return wide.ifValid()
}
