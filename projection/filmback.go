package projection

import (
	"errors"
	"fmt"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// FilmBack is a rectilinear camera by lengths: the rectangle of film or sensor
// behind the lens, and how far the lens is shifted against it.
type FilmBack struct {
	FocalLength   unit.Length // above 0
	Width, Height unit.Length // above 0

	// ShiftRight and ShiftUp are the shift of the lens against the centre of the
	// rectangle, both seen from behind the camera. Shifted to the right the camera
	// sees more on its right, and its straight line of sight meets the picture left
	// of the middle; shifted up it sees more above, and the line meets the picture
	// below the middle.
	ShiftRight, ShiftUp unit.Length

	Focus unit.Length // distance in focus, 0 where not given
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

// Fit is how a film back is laid on a raster of another shape. The centre of the
// film back stays in the middle of the raster. The zero Fit is none: there is no
// policy that all agree on.
type Fit uint8

const (
	FitWidth   Fit = iota + 1 // as wide as the raster, whatever its height
	FitHeight                 // as high as the raster, whatever its width
	FitWhole                  // all of it on the raster, which shows more beside or above it
	FitCropped                // nothing but it on the raster, which cuts it off
	FitStretch                // exactly on the raster, with pixels that are not square
)

// Gate is the film back whose whole area a raster of width × height px shows: b
// with the Width or the Height that the fit gives it,
//
//	FitWidth     Height = Width·height/width
//	FitHeight    Width = Height·width/height
//	FitWhole     the larger of the two, FitCropped the smaller
//	FitStretch   as b
//
// Sides are 1 to 16777216 px. Each length of b must be given, but for the shifts
// and Focus.
func (b FilmBack) Gate(width, height int, fit Fit) (FilmBack, error) {
	v := valid.New("projection", ErrInvalid)
	b.check(v)
	v.Int("raster width", width, "px", 1, valid.MaxSide)
	v.Int("raster height", height, "px", 1, valid.MaxSide)
	if fit < FitWidth || fit > FitStretch {
		v.Fault("fit", fmt.Sprint(uint8(fit)), "must be one of the five constants")
	}
	if !v.OK() {
		return FilmBack{}, v.Err()
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
	return b, nil
}

// CameraSpec is the camera with such a film back and a raster of width × height
// px, laid on it by Gate:
//
//	Pitch = Width/width    OffsetX = −ShiftRight/Pitch    OffsetY = ShiftUp/Pitch
//
// of the gate; with FitStretch the scale is given by FocalX and FocalY instead,
// for each side has its own. FilmBackOf is the inverse but for Focus.
func (b FilmBack) CameraSpec(width, height int, fit Fit, pose Pose) (CameraSpec, error) {
	g, err := b.Gate(width, height, fit)
	v := valid.New("projection", ErrInvalid)
	pose.check(v)
	if err := errors.Join(err, v.Err()); err != nil {
		return CameraSpec{}, err
	}
	pitchX, pitchY := g.Width/unit.Length(width), g.Height/unit.Length(height)
	spec := CameraSpec{
		Model: Rectilinear,
		Width: width, Height: height,
		OffsetX: -float64(g.ShiftRight / pitchX), OffsetY: float64(g.ShiftUp / pitchY),
		Pose: pose,
	}
	if fit == FitStretch {
		spec.FocalX, spec.FocalY = float64(g.FocalLength/pitchX), float64(g.FocalLength/pitchY)
	} else {
		spec.FocalLength, spec.Pitch = g.FocalLength, pitchX
	}
	return spec, nil
}

// FilmBackOf is the film back of a rectilinear camera that is given by
// FocalLength and Pitch: Width·Pitch by Height·Pitch. Its raster is taken whole.
func FilmBackOf(spec CameraSpec) (FilmBack, error) {
	v := valid.New("projection", ErrInvalid)
	if spec.Model != Rectilinear {
		v.Fault("model", fmt.Sprintf("%T %v", spec.Model, spec.Model), "must be Rectilinear")
	}
	if spec.FocalX != 0 || spec.FocalY != 0 {
		v.Fault("focal x and focal y", fmt.Sprintf("%g and %g px", spec.FocalX, spec.FocalY), "must be 0: a film back has lengths")
	}
	b := FilmBack{
		FocalLength: spec.FocalLength,
		Width:       unit.Length(spec.Width) * spec.Pitch, Height: unit.Length(spec.Height) * spec.Pitch,
		ShiftRight: -unit.Length(spec.OffsetX) * spec.Pitch, ShiftUp: unit.Length(spec.OffsetY) * spec.Pitch,
	}
	v.Length("pitch", spec.Pitch, valid.Closed[unit.Length](1e-8, 1e-3))
	b.check(v)
	if err := v.Err(); err != nil {
		return FilmBack{}, err
	}
	return b, nil
}

// USDCamera holds the values of attributes of an OpenUSD camera (UsdGeomCamera)
// that say how it images, under their names. Apertures, their offsets and the
// focal length are in tenths of a scene unit, which are millimetres only where
// the unit is a centimetre; the focus distance is in whole scene units. How long
// a scene unit is, the stage's metersPerUnit says. The schema's camera looks
// along −Z with +Y up, as a Pose does.
//
// A positive horizontalApertureOffset moves what is seen to the right, a positive
// verticalApertureOffset up: they are a FilmBack's ShiftRight and ShiftUp.
//
// Source: OpenUSD, UsdGeomCamera schema and GfCamera, from memory.
type USDCamera struct {
	HorizontalAperture, VerticalAperture             float64 // tenths of a scene unit
	HorizontalApertureOffset, VerticalApertureOffset float64 // tenths of a scene unit
	FocalLength                                      float64 // tenths of a scene unit
	FocusDistance                                    float64 // scene units
}

func checkUnit(v *valid.Checker, metersPerUnit float64) {
	v.Number("meters per unit", metersPerUnit, "m", valid.Closed(1e-9, 1e9))
}

// USD is the film back in a scene of so many metres a unit, 1e-9 to 1e9. All
// lengths but Focus, which is divided by metersPerUnit, become
//
//	10·length/metersPerUnit
//
// USDCamera.FilmBack is the inverse.
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

// FilmBack is the film back of a camera of a scene of so many metres a unit, the
// inverse of FilmBack.USD to a rounding or two.
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
