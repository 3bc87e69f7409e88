package projection

import (
	"fmt"
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// VisionAxes turns a vector from a camera's own frame (+X right, +Y up, −Z ahead) into
// that of computer vision (+X right, +Y down, +Z ahead), and back: (x, y, z) → (x, −y, −z).
func VisionAxes(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} }

// Intrinsics is the camera matrix of computer vision, by rows:
//
//	FocalX  0       x
//	0       FocalY  y
//	0       0       1
//
// Its principal point (x, y) counts from the centre of the top-left pixel, and so is half
// a pixel less than on the rasters of this package.
type Intrinsics [3][3]float64

// Intrinsics is the camera matrix of the camera, also after Crop, Scale and Bin. It holds
// neither the Model nor the Distortion.
func (c Camera) Intrinsics() Intrinsics {
	if c.c == nil {
		return Intrinsics{}
	}
	return Intrinsics{{c.c.fx, 0, c.c.cx - 0.5}, {0, c.c.fy, c.c.cy - 0.5}, {0, 0, 1}}
}

// CameraSpec is the part of a spec that the matrix holds, for a raster of width × height
// px. Model, Distortion and Pose are for the caller to add. Elements other than those of
// Intrinsics are an error. So is skew: rows and columns of a raster are at right angles
// here, and a calibration that leaves skew free finds noise in it.
func (k Intrinsics) CameraSpec(width, height int) (CameraSpec, error) {
	v := valid.New("projection", ErrInvalid)
	geom.CheckRaster(v, width, height)
	v.Number("focal x", k[0][0], "px", focals)
	v.Number("focal y", k[1][1], "px", focals)
	spec := CameraSpec{
		FocalX: k[0][0], FocalY: k[1][1], Width: width, Height: height,
		OffsetX: k[0][2] + 0.5 - float64(width)/2, OffsetY: k[1][2] + 0.5 - float64(height)/2,
	}
	v.Number("offset x", spec.OffsetX, "px", offsets)
	v.Number("offset y", spec.OffsetY, "px", offsets)
	if k[0][1] != 0 {
		v.Fault("skew", quantity.Number(k[0][1], "px"), "must be 0: rows and columns of a raster are at right angles")
	}
	for _, e := range [...]struct {
		row, column int
		want        float64
	}{{1, 0, 0}, {2, 0, 0}, {2, 1, 0}, {2, 2, 1}} {
		v.Number(fmt.Sprintf("row %d, column %d", e.row+1, e.column+1), k[e.row][e.column], "", valid.Closed(e.want, e.want))
	}
	if err := v.Err(); err != nil {
		return CameraSpec{}, err
	}
	return spec, nil
}

// Extrinsics is a Pose as calibrations in computer vision write it. It takes a point p of
// the stage, or of the calibration's own world, into the camera's frame of +X right, +Y
// down, +Z ahead:
//
//	R(Rotation)·p + Translation
//
// The zero Extrinsics is a camera at the origin that looks along +Z, its top towards −Y.
type Extrinsics struct {
	Rotation    r3.Vec // along the axis of a right-handed turn, its length the angle in rad
	Translation r3.Vec // metres
}

// Extrinsics is the same pose in the frame of computer vision, its Rotation at most π
// long:
//
//	R = (right, −up, −back) as rows    Translation = −R·Position
func (p Pose) Extrinsics() Extrinsics {
	r := transposed(vision(p.axes()))
	return Extrinsics{Rotation: rotationVector(r), Translation: r3.Scale(-1, r.ToStage(p.Position))}
}

// Pose is the inverse of Pose.Extrinsics. A part that is not finite is an error, as is a
// Rotation longer than 1e6 rad.
func (e Extrinsics) Pose() (Pose, error) {
	c := valid.New("projection", ErrInvalid)
	c.Number("length of the rotation", r3.Norm(e.Rotation), "rad", valid.Closed(0.0, 1e6))
	geom.CheckVec(c, "translation", e.Translation, "m")
	if err := c.Err(); err != nil {
		return Pose{}, err
	}
	r := transposed(rotation(e.Rotation))
	return poseOf(r3.Scale(-1, r.ToStage(e.Translation)), vision(r)), nil
}

// Then is e followed by next: the extrinsics of a second camera, if e are those of a first
// one and next lead from the first camera's frame to the second's, as a stereo calibration
// gives them. It is NaN if e or next is not finite.
//
//	R = R(next)·R(e)    Translation = R(next)·Translation(e) + Translation(next)
func (e Extrinsics) Then(next Extrinsics) Extrinsics {
	a, b := rotation(e.Rotation), rotation(next.Rotation)
	return Extrinsics{
		Rotation:    rotationVector(product(b, a)),
		Translation: r3.Add(b.ToStage(e.Translation), next.Translation),
	}
}

// vision swaps a camera's axes for those it has in computer vision, right, down
// and ahead, and these for its own.
func vision(a orient.Axes) orient.Axes {
	return orient.Axes{Right: a.Right, Up: r3.Scale(-1, a.Up), Back: r3.Scale(-1, a.Back)}
}

// Rows gives the rows of (R | Translation), which act on columns (x, y, z, 1) of the
// stage. Their error is 1e-15, and 1e-15 more for each rad of Rotation. They are NaN if e
// is not finite.
func (e Extrinsics) Rows() [3][4]float64 {
	r := transposed(rotation(e.Rotation))
	row := func(v r3.Vec, t float64) [4]float64 { return [4]float64{v.X, v.Y, v.Z, t} }
	return [3][4]float64{row(r.Right, e.Translation.X), row(r.Up, e.Translation.Y), row(r.Back, e.Translation.Z)}
}

// ExtrinsicsFromRows is the inverse of Extrinsics.Rows. Rows that are not those of a
// rotation, to 1e-6, are an error.
func ExtrinsicsFromRows(rows [3][4]float64) (Extrinsics, error) {
	vec := func(i int) r3.Vec { return r3.Vec{X: rows[i][0], Y: rows[i][1], Z: rows[i][2]} }
	v := valid.New("projection", ErrInvalid)
	p, err := PoseFromAxes(r3.Vec{}, vec(0), r3.Scale(-1, vec(1)), r3.Scale(-1, vec(2)))
	v.Add("rows", err)
	e := p.Extrinsics()
	e.Translation = r3.Vec{X: rows[0][3], Y: rows[1][3], Z: rows[2][3]}
	geom.CheckVec(v, "translation", e.Translation, "m")
	if !v.OK() {
		return Extrinsics{}, v.Err()
	}
	return e, nil
}

// FilmBack is a rectilinear camera by lengths: the rectangle of film or sensor behind the
// lens, and how far the lens is shifted against it.
type FilmBack struct {
	FocalLength   unit.Length // above 0
	Width, Height unit.Length // above 0

	// ShiftRight and ShiftUp are the shift of the lens against the centre of the
	// rectangle, seen from behind the camera. Shifted to the right the camera sees more
	// on its right, shifted up more above.
	ShiftRight, ShiftUp unit.Length

	Focus unit.Length // distance in focus, 0 if not given
}

func (b FilmBack) check(v *valid.Checker) {
	size := valid.Closed[unit.Length](1e-9, 1e9)
	v.Length("focal length", b.FocalLength, size)
	v.Length("width", b.Width, size)
	v.Length("height", b.Height, size)
	shift := valid.Closed[unit.Length](-1e9, 1e9)
	v.Length("shift right", b.ShiftRight, shift)
	v.Length("shift up", b.ShiftUp, shift)
	v.Length("focus", b.Focus, valid.Closed[unit.Length](0, 1e15))
}

// Fit is how a film back is laid, by its centre, on a raster of another aspect ratio. The
// zero Fit is not valid: programs differ in this.
type Fit uint8

const (
	FitWidth   Fit = iota + 1 // the widths agree
	FitHeight                 // the heights agree
	FitWhole                  // the raster shows all of the film back, and more beside or above it
	FitCropped                // the raster shows nothing but the film back, and not all of it
	FitStretch                // both agree, with pixels that are not square
)

var fitNames = enum.New[Fit](ErrInvalid, []string{
	FitWidth: "width", FitHeight: "height", FitWhole: "whole", FitCropped: "cropped", FitStretch: "stretch",
})

// String gives a name like "cropped".
func (f Fit) String() string { return fitNames.Name(f) }

// MarshalText gives the name. An unknown Fit is an error.
func (f Fit) MarshalText() ([]byte, error) { return fitNames.Marshal(f) }

// UnmarshalText reads a name. Any other text is an error and leaves f unchanged.
func (f *Fit) UnmarshalText(text []byte) error { return fitNames.Unmarshal(f, text) }

// CameraSpec is the spec of the camera with such a film back and a raster of width × height
// px. The fit sets the film area that the raster shows:
//
//	FitWidth     Height = Width·height/width
//	FitHeight    Width = Height·width/height
//	FitWhole     the larger area of these two
//	FitCropped   the smaller area of these two
//	FitStretch   Width and Height as they are
//
// and, with that area,
//
//	Pitch = Width/width    OffsetX = −ShiftRight/Pitch    OffsetY = ShiftUp/Pitch
//
// With FitStretch FocalX and FocalY give the scale, and Pitch is 0.
func (b FilmBack) CameraSpec(width, height int, fit Fit, pose Pose) (CameraSpec, error) {
	v := valid.New("projection", ErrInvalid)
	b.check(v)
	v.Int("raster width", width, "px", 1, valid.MaxSide)
	v.Int("raster height", height, "px", 1, valid.MaxSide)
	fitNames.Check(v, "fit", fit)
	pose.check(v)
	if err := v.Err(); err != nil {
		return CameraSpec{}, err
	}
	w, h := unit.Length(width), unit.Length(height)
	wider := w*b.Height > h*b.Width // the raster than the film back
	switch {
	case fit == FitStretch:
	case fit == FitHeight, fit == FitWhole && wider, fit == FitCropped && !wider:
		b.Width = b.Height * w / h
	default:
		b.Height = b.Width * h / w
	}
	pitchX, pitchY := b.Width/w, b.Height/h
	spec := CameraSpec{
		Model: Rectilinear,
		Width: width, Height: height,
		OffsetX: -float64(b.ShiftRight / pitchX), OffsetY: float64(b.ShiftUp / pitchY),
		Pose: pose,
	}
	if fit == FitStretch {
		spec.FocalX, spec.FocalY = float64(b.FocalLength/pitchX), float64(b.FocalLength/pitchY)
	} else {
		spec.FocalLength, spec.Pitch = b.FocalLength, pitchX
	}
	return spec, nil
}

// FilmBackOf is the film back that the raster of a camera shows, without Focus, also after
// Crop, Scale and Bin. A camera that is not rectilinear, has a Distortion, or whose Pitch is
// not known is an error.
func FilmBackOf(c Camera) (FilmBack, error) {
	v := valid.New("projection", ErrInvalid)
	s := c.Spec()
	if s.Model != Rectilinear {
		v.Fault("model", fmt.Sprint(s.Model), "must be rectilinear")
	}
	if s.Distortion != nil {
		v.Fault("distortion", fmt.Sprintf("%T", s.Distortion), "must be none: a film back has none")
	}
	if !(s.Pitch > 0) {
		v.Fault("pitch", quantity.Length(s.Pitch), "must be known: a film back has lengths")
	}
	if err := v.Err(); err != nil {
		return FilmBack{}, err
	}
	// Pitch is the mean of the two sides of a pixel, f that of both focal lengths.
	f := math.Sqrt(s.FocalX * s.FocalY)
	x, y := s.Pitch*unit.Length(f/s.FocalX), s.Pitch*unit.Length(f/s.FocalY)
	return FilmBack{
		FocalLength: unit.Length(f) * s.Pitch,
		Width:       unit.Length(s.Width) * x, Height: unit.Length(s.Height) * y,
		ShiftRight: -unit.Length(s.OffsetX) * x, ShiftUp: unit.Length(s.OffsetY) * y,
	}, nil
}

// USDCamera holds the attributes of an OpenUSD camera (UsdGeomCamera) that say how it
// images, under their names. Its Pose needs no change of axes. Apertures, their offsets and
// the focal length are in tenths of a scene unit: millimetres only if the unit is a
// centimetre. FocusDistance is in scene units. The offsets are a FilmBack's ShiftRight and
// ShiftUp.
type USDCamera struct {
	HorizontalAperture, VerticalAperture             float64
	HorizontalApertureOffset, VerticalApertureOffset float64
	FocalLength                                      float64
	FocusDistance                                    float64
}

func checkUnit(v *valid.Checker, metersPerUnit float64) {
	v.Number("meters per unit", metersPerUnit, "m", valid.Closed(1e-9, 1e9))
}

// USD is the film back in a scene of metersPerUnit metres a unit, 1e-9 to 1e9.
func (b FilmBack) USD(metersPerUnit float64) (USDCamera, error) {
	v := valid.New("projection", ErrInvalid)
	b.check(v)
	checkUnit(v, metersPerUnit)
	if err := v.Err(); err != nil {
		return USDCamera{}, err
	}
	tenths := func(l unit.Length) float64 { return 10 * float64(l) / metersPerUnit }
	return USDCamera{
		HorizontalAperture: tenths(b.Width), VerticalAperture: tenths(b.Height),
		HorizontalApertureOffset: tenths(b.ShiftRight), VerticalApertureOffset: tenths(b.ShiftUp),
		FocalLength:   tenths(b.FocalLength),
		FocusDistance: float64(b.Focus) / metersPerUnit,
	}, nil
}

// FilmBack is the inverse of FilmBack.USD, to a rounding or two.
func (u USDCamera) FilmBack(metersPerUnit float64) (FilmBack, error) {
	v := valid.New("projection", ErrInvalid)
	checkUnit(v, metersPerUnit)
	length := func(tenths float64) unit.Length { return unit.Length(tenths * metersPerUnit / 10) }
	b := FilmBack{
		FocalLength: length(u.FocalLength),
		Width:       length(u.HorizontalAperture), Height: length(u.VerticalAperture),
		ShiftRight: length(u.HorizontalApertureOffset), ShiftUp: length(u.VerticalApertureOffset),
		Focus: unit.Length(u.FocusDistance * metersPerUnit),
	}
	b.check(v)
	if err := v.Err(); err != nil {
		return FilmBack{}, err
	}
	return b, nil
}
