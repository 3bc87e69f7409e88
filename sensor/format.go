package sensor

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// FormatSpec describes the picture area of a sensor: its raster, and either its
// size or the pitch of its photosites.
type FormatSpec struct {
	// Raster counts the photosites that form the picture.
	Raster Raster
	// Width and Height are the size of the area. Photosites need not be square.
	Width, Height unit.Length
	// Pitch gives the distance from photosite to photosite, the same in both
	// directions. Give it instead of Width and Height.
	Pitch unit.Length
}

// Format is the picture area of a sensor. It is immutable and comparable. The
// methods of its zero value return zeros and false.
type Format struct {
	raster        Raster
	width, height unit.Length
}

// NewFormat makes a Format. A spec with both a size and a pitch is an error.
func NewFormat(spec FormatSpec) (Format, error) {
	c := valid.New("sensor", ErrInvalid)
	spec.Raster.check(c)
	f := Format{raster: spec.Raster, width: spec.Width, height: spec.Height}
	switch {
	case spec.Pitch == 0:
		c.Length("width", f.width, valid.SensorSides)
		c.Length("height", f.height, valid.SensorSides)
	case f.width != 0 || f.height != 0:
		c.Fault("pitch", "with a width or height", "give the pitch or the size, not both")
	default:
		c.Length("pitch", spec.Pitch, valid.Pitches)
		if c.OK() {
			f.width = spec.Pitch * unit.Length(f.raster.Columns)
			f.height = spec.Pitch * unit.Length(f.raster.Rows)
			c.Length("width from the pitch", f.width, valid.SensorSides)
			c.Length("height from the pitch", f.height, valid.SensorSides)
		}
	}
	if err := c.Err(); err != nil {
		return Format{}, err
	}
	return f, nil
}

// Size gives the width and height of the picture area.
func (f Format) Size() (width, height unit.Length) { return f.width, f.height }

// Pitch gives the distance from photosite to photosite along a row (x) and along
// a column (y):
//
//	px = width / columns
//	py = height / rows
//
// A camera of package projection with square pixels takes either as Pitch. With
// others it takes both: FocalX = F/px and FocalY = F/py, F the focal length.
func (f Format) Pitch() (x, y unit.Length) {
	if f == (Format{}) {
		return 0, 0
	}
	return f.width / unit.Length(f.raster.Columns), f.height / unit.Length(f.raster.Rows)
}

// Diagonal is the distance from corner to corner:
//
//	d = sqrt(width² + height²)
func (f Format) Diagonal() unit.Length { return diagonal(f.width, f.height) }

func diagonal(w, h unit.Length) unit.Length {
	return unit.Length(math.Hypot(float64(w), float64(h)))
}

// Nyquist is the Nyquist frequency of the raster in line pairs per millimetre,
// along a row (x) and along a column (y). Finer detail aliases.
//
//	νN = 1 / (2 p)    p the pitch
//
// Each colour of a mosaic is sampled more coarsely. A colour with a photosite in
// every second column has half this frequency along a row.
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

// CropFactor compares the sides and the diagonal of a reference area with those of a
// format: reference over format, so that a smaller format has a larger factor.
type CropFactor struct {
	Width, Height, Diagonal float64
}

// CropFactor compares the format with a reference area. A Gate's Size fits the
// parameters: f.CropFactor(sensor.GateStill.Size()). Widths are compared where
// pictures are cut to one shape, as in motion pictures, and diagonals for stills. The
// factors are the same if the shapes are. ok is false if a reference side is outside
// the range of a format's sides.
//
// Source: common practice.
func (f Format) CropFactor(referenceWidth, referenceHeight unit.Length) (c CropFactor, ok bool) {
	if f == (Format{}) || !valid.SensorSides.Contains(float64(referenceWidth)) || !valid.SensorSides.Contains(float64(referenceHeight)) {
		return CropFactor{}, false
	}
	return CropFactor{
		Width:    float64(referenceWidth / f.width),
		Height:   float64(referenceHeight / f.height),
		Diagonal: float64(diagonal(referenceWidth, referenceHeight) / f.Diagonal()),
	}, true
}

// Equivalent is the focal length and the f-number of a rectilinear lens on the
// reference area that takes the same picture as a lens on the format: the same angle
// of view across, the same depth of field in the same picture, and as much light on
// the whole picture.
//
//	Fʹ = c F    Nʹ = c N    c the crop factor by width
//
// The exposure is that of N, not of Nʹ. A focal length outside 100 µm to 2 m or an
// f-number out of range is an error, and so is the zero CropFactor. Those of the
// result have no range.
//
// Source: common practice.
func (c CropFactor) Equivalent(focalLength unit.Length, fNumber float64) (unit.Length, float64, error) {
	check := valid.New("sensor", ErrInvalid)
	check.Number("crop factor by width", c.Width, "", valid.Closed(1e-7, 1e7)) // of any two widths
	check.Length("focal length", focalLength, valid.FocalLengths)
	checkFNumber(check, fNumber)
	if !check.OK() {
		return 0, 0, check.Err()
	}
	return unit.Length(c.Width) * focalLength, c.Width * fNumber, nil
}

// CropSpec describes a crop: the part of a format that is read out.
type CropSpec struct {
	// Of is the whole format.
	Of Format
	// Raster of the crop, at most that of the format.
	Raster Raster
	// Right and Down move the crop from the centre, in whole pixels. If the
	// number of pixels left over is odd, the unmoved crop lies half a pixel to
	// the left of the centre, or above it.
	Right, Down int
}

// Crop is the part of a format that is read out. It is immutable and comparable.
// The methods of its zero value return zeros.
type Crop struct {
	format      Format
	column, row int
	x, y        unit.Length
}

// NewCrop makes a Crop. A crop that is not wholly within the format is an error.
func NewCrop(spec CropSpec) (Crop, error) {
	c := valid.New("sensor", ErrInvalid)
	of := spec.Of.raster
	if spec.Of == (Format{}) {
		c.Fault("format", "without a raster", "must come from NewFormat")
		of = Raster{valid.MaxSide, valid.MaxSide}
	}
	// A side that does not fit is one fault; the move is then checked against the
	// whole side, so that it adds no second fault of the same cause.
	side := func(name, moved string, pixels, whole, by int) (rest int) {
		c.Int(name, pixels, "px", 1, whole)
		rest = whole
		if pixels >= 1 && pixels <= whole {
			rest -= pixels
		}
		c.Int(moved, by, "px", -(rest / 2), rest-rest/2)
		return rest
	}
	restX := side("crop columns", "crop moved right", spec.Raster.Columns, of.Columns, spec.Right)
	restY := side("crop rows", "crop moved down", spec.Raster.Rows, of.Rows, spec.Down)
	if err := c.Err(); err != nil {
		return Crop{}, err
	}
	px, py := spec.Of.Pitch()
	crop := Crop{
		format: Format{
			raster: spec.Raster,
			width:  spec.Of.width * unit.Length(spec.Raster.Columns) / unit.Length(of.Columns),
			height: spec.Of.height * unit.Length(spec.Raster.Rows) / unit.Length(of.Rows),
		},
		column: restX/2 + spec.Right,
		row:    restY/2 + spec.Down,
	}
	crop.x = px * unit.Length(2*crop.column-restX) / 2
	crop.y = py * unit.Length(2*crop.row-restY) / 2
	return crop, nil
}

// Format is the crop as a format of its own.
func (c Crop) Format() Format { return c.format }

// Origin gives the first column and row of the crop, in pixels of the whole
// format from its top-left corner. The raster position (x, y) of the whole is
// (x − column, y − row) in the crop.
func (c Crop) Origin() (column, row int) { return c.column, c.row }

// Centre is the position of the crop's centre on the sensor, measured from the
// centre of the whole format, x to the right and y down. It is not zero for an
// unmoved crop that leaves an odd number of pixels.
func (c Crop) Centre() (x, y unit.Length) { return c.x, c.y }

// Reduction is a way to read fewer samples than a format has photosites. Its zero
// value is none.
type Reduction uint8

// The reductions.
const (
	// Binning adds the photosites of each sample.
	Binning Reduction = iota + 1
	// Skipping reads one photosite of each sample. Light on the others is lost, and
	// detail aliases.
	Skipping
	// Scaling computes each sample from all photosites after they are read.
	Scaling
)

var reductions = enum.New[Reduction](ErrInvalid, []string{Binning: "binning", Skipping: "skipping", Scaling: "scaling"})

// String gives a name like "binning".
func (r Reduction) String() string { return reductions.Name(r) }

// MarshalText gives the name. An unknown Reduction is an error.
func (r Reduction) MarshalText() ([]byte, error) { return reductions.Marshal(r) }

// UnmarshalText reads a name. Any other text is an error and leaves r unchanged.
func (r *Reduction) UnmarshalText(text []byte) error { return reductions.Unmarshal(r, text) }

// ReadoutSpec describes a mode of a camera that records fewer samples than there are
// photosites.
type ReadoutSpec struct {
	// Of is the format that is read, or Crop.Format.
	Of Format
	// By is how.
	By Reduction
	// Raster of the samples, at most that of the format. Binning and Skipping divide
	// photosites into whole samples, as many as fit: 2048 columns of 6144 are 3
	// photosites a sample, and so are those of 6145, of which one column is left over.
	Raster Raster
}

// Readout is what a reduction makes of a format. It is immutable and comparable.
// The methods of its zero value return zeros.
type Readout struct {
	format       Format
	photosites   float64
	fillX, fillY float64
}

// NewReadout makes a Readout.
func NewReadout(spec ReadoutSpec) (Readout, error) {
	c := valid.New("sensor", ErrInvalid)
	of := spec.Of.raster
	if spec.Of == (Format{}) {
		c.Fault("format", "without a raster", "must come from NewFormat")
		of = Raster{valid.MaxSide, valid.MaxSide}
	}
	reductions.Check(c, "reduction", spec.By)
	c.Int("columns of samples", spec.Raster.Columns, "px", 1, of.Columns)
	c.Int("rows of samples", spec.Raster.Rows, "px", 1, of.Rows)
	if !c.OK() {
		return Readout{}, c.Err()
	}
	across := float64(of.Columns) / float64(spec.Raster.Columns)
	down := float64(of.Rows) / float64(spec.Raster.Rows)
	r := Readout{fillX: 1, fillY: 1}
	if spec.By != Scaling {
		across, down = math.Floor(across), math.Floor(down)
	}
	r.photosites = across * down
	if spec.By == Skipping {
		r.photosites, r.fillX, r.fillY = 1, 1/across, 1/down
	}
	px, py := spec.Of.Pitch()
	r.format = Format{
		raster: spec.Raster,
		width:  px * unit.Length(across) * unit.Length(spec.Raster.Columns),
		height: py * unit.Length(down) * unit.Length(spec.Raster.Rows),
	}
	return r, nil
}

// Format is the format of the samples: their raster, their pitch and the area that
// they cover, without what is left over at its edges.
func (r Readout) Format() Format { return r.format }

// Photosites is how many photosites a sample is made of. PixelSpec of package
// photosite takes its root as Binning, if it is whole, or as a factor of Scale.
func (r Readout) Photosites() float64 { return r.photosites }

// Fill is the side of the area that a sample averages over, across and down, as a
// fraction of the pitch of the samples. 1 damps the finest detail and its aliases by
// 2/π at the Nyquist frequency, as BoxOTF in package lens/transfer computes. With
// less they stay. The photosites of one colour of a mosaic that are binned lie apart:
// that fills less than this.
func (r Readout) Fill() (x, y float64) { return r.fillX, r.fillY }
