package sensor

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// FormatSpec describes the photosensitive area of a sensor: its raster, and
// either its size or the pitch of its photosites.
type FormatSpec struct {
	// Raster counts the photosites that form the picture, 1 to 2^24 a side.
	Raster Raster
	// Width and Height of the area that the raster covers, 0.1 µm to 1 m. The
	// photosites need not be square.
	Width, Height unit.Length
	// Pitch from photosite to photosite, 0.1 µm to 1 mm, the same both ways.
	// Give it instead of Width and Height.
	Pitch unit.Length
}

// Format is a checked photosensitive area. It is immutable and comparable; the
// methods of its zero value return zeros.
type Format struct {
	raster        Raster
	width, height unit.Length
}

// NewFormat checks a spec. A spec must give the size or the pitch, not both.
func NewFormat(spec FormatSpec) (Format, error) {
	c := valid.New("sensor", ErrInvalid)
	spec.Raster.check(c)
	f := Format{raster: spec.Raster, width: spec.Width, height: spec.Height}
	switch {
	case spec.Pitch == 0:
		checkSide(c, "width", f.width)
		checkSide(c, "height", f.height)
	case f.width != 0 || f.height != 0:
		c.Fault("pitch", "with a width or height", "give the pitch or the size, not both")
	default:
		checkPitch(c, "pitch", spec.Pitch)
		if c.OK() {
			f.width = spec.Pitch * unit.Length(f.raster.Columns)
			f.height = spec.Pitch * unit.Length(f.raster.Rows)
			checkSide(c, "width from the pitch", f.width)
			checkSide(c, "height from the pitch", f.height)
		}
	}
	if err := c.Err(); err != nil {
		return Format{}, err
	}
	return f, nil
}

func checkSide(c *valid.Checker, field string, l unit.Length) { c.Length(field, l, sides) }

func checkPitch(c *valid.Checker, field string, l unit.Length) { c.Length(field, l, pitches) }

// Size is the width and the height of the area.
func (f Format) Size() (width, height unit.Length) { return f.width, f.height }

// Raster is the raster of the area.
func (f Format) Raster() Raster { return f.raster }

// Pitch is the distance from photosite to photosite along a row (x) and along
// a column (y):
//
//	px = width / columns, py = height / rows
//
// Source: definition.
func (f Format) Pitch() (x, y unit.Length) {
	if f == (Format{}) {
		return 0, 0
	}
	return f.width / unit.Length(f.raster.Columns), f.height / unit.Length(f.raster.Rows)
}

// Diagonal is the distance from corner to corner of the area:
//
//	d = sqrt(width² + height²)
//
// Source: definition.
func (f Format) Diagonal() unit.Length { return diagonal(f.width, f.height) }

func diagonal(w, h unit.Length) unit.Length {
	return unit.Length(math.Hypot(float64(w), float64(h)))
}

// Aspect is the width of the area over its height. Where photosites are not
// square it differs from columns over rows.
//
// Source: definition.
func (f Format) Aspect() float64 {
	if f == (Format{}) {
		return 0
	}
	return float64(f.width / f.height)
}

// Nyquist is the spatial frequency on the sensor, in line pairs per
// millimetre, above which detail across (x) or down (y) aliases:
//
//	νN = 1 / (2 p), p the pitch
//
// It is that of the whole raster. Each colour of a mosaic is sampled more
// coarsely: one that has a photosite in every second column, at half of it.
//
// Source: C. E. Shannon, Communication in the Presence of Noise, Proc. IRE
// 37 (1949), theorem 1.
func (f Format) Nyquist() (x, y float64) {
	if f == (Format{}) {
		return 0, 0
	}
	px, py := f.Pitch()
	return 1 / (2 * float64(px/millimetre)), 1 / (2 * float64(py/millimetre))
}

// CropFactor is how many times smaller than a reference area this one is, by
// their diagonals:
//
//	crop factor = reference diagonal / diagonal
//
// A lens has on this format the diagonal angle of view that one of crop
// factor times its focal length has on the reference (rectilinear lenses).
// The ratio of widths is the other definition in use; the two differ wherever
// the aspects do, so say which one is meant. Size returns what the parameters
// take: f.CropFactor(sensor.ApertureStill.Size()). There is no answer (false)
// where a side of the reference is not 0.1 µm to 1 m.
//
// Source: common practice.
func (f Format) CropFactor(referenceWidth, referenceHeight unit.Length) (float64, bool) {
	if f == (Format{}) || !sides.Contains(float64(referenceWidth)) || !sides.Contains(float64(referenceHeight)) {
		return 0, false
	}
	return float64(diagonal(referenceWidth, referenceHeight) / f.Diagonal()), true
}

// WindowSpec describes a window: the part of a format that is read out.
type WindowSpec struct {
	// Of is the whole format.
	Of Format
	// Raster of the window, no larger than that of the format.
	Raster Raster
	// Right and Down move the window, in whole pixels, from the middle. Where
	// an odd number of pixels is left over, the middle is half a pixel left of
	// or above the true one.
	Right, Down int
}

// Window is a checked window. It is immutable and comparable.
type Window struct {
	format      Format
	column, row int
	x, y        unit.Length
}

// NewWindow checks a spec; the window must lie wholly within the format.
func NewWindow(spec WindowSpec) (Window, error) {
	c := valid.New("sensor", ErrInvalid)
	of := spec.Of.raster
	if spec.Of == (Format{}) {
		c.Fault("format", "without a raster", "must come from NewFormat")
		of = Raster{maxSide, maxSide}
	}
	// Without a side that fits, it may move by no more than the whole.
	side := func(name, moved string, pixels, whole, by int) (rest int) {
		c.Int(name, pixels, "px", 1, whole)
		rest = whole
		if pixels >= 1 && pixels <= whole {
			rest -= pixels
		}
		c.Int(moved, by, "px", -(rest / 2), rest-rest/2)
		return rest
	}
	restX := side("window columns", "window moved right", spec.Raster.Columns, of.Columns, spec.Right)
	restY := side("window rows", "window moved down", spec.Raster.Rows, of.Rows, spec.Down)
	if err := c.Err(); err != nil {
		return Window{}, err
	}
	px, py := spec.Of.Pitch()
	w := Window{
		format: Format{
			raster: spec.Raster,
			width:  spec.Of.width * unit.Length(spec.Raster.Columns) / unit.Length(of.Columns),
			height: spec.Of.height * unit.Length(spec.Raster.Rows) / unit.Length(of.Rows),
		},
		column: restX/2 + spec.Right,
		row:    restY/2 + spec.Down,
	}
	w.x = px * unit.Length(2*w.column-restX) / 2
	w.y = py * unit.Length(2*w.row-restY) / 2
	return w, nil
}

// Format is the window as a format of its own, with its raster and its size.
func (w Window) Format() Format { return w.format }

// Origin is the first column and the first row of the window, in pixels of
// the whole format counted from its top left corner: a raster position (x, y)
// of the whole is (x − column, y − row) in the window.
func (w Window) Origin() (column, row int) { return w.column, w.row }

// Centre is where the centre of the window lies from the centre of the whole
// format, on the sensor, x to the right and y down as in the raster. It is not
// zero for a window in the middle that leaves an odd number of pixels.
func (w Window) Centre() (x, y unit.Length) { return w.x, w.y }
