package plate

import (
	"errors"
	"math"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/stat/distuv"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("plate: invalid value")

func newChecker() *valid.Checker { return valid.New("plate", ErrInvalid) }

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate = estimate.Estimate

// Region is a part of a picture in pixels: the first column and row, and how many of
// them. The zero value is the whole picture.
type Region struct{ X, Y, Width, Height int }

func (r Region) text() string {
	n := strconv.Itoa
	return n(r.Width) + " × " + n(r.Height) + " px at (" + n(r.X) + ", " + n(r.Y) + ")"
}

// cut is the region of a frame. A fault is added unless it lies in the frame and has at
// least so many columns and rows.
func cut[T Sample](c *valid.Checker, frame Plane[T], r Region, least int) Plane[T] {
	frame.Check(c, "frame", 1)
	if !c.OK() {
		return frame
	}
	if r == (Region{}) {
		r = Region{0, 0, frame.Width, frame.Height}
	}
	if r.X < 0 || r.Y < 0 || r.Width < least || r.Height < least || r.Width > frame.Width-r.X || r.Height > frame.Height-r.Y {
		c.Fault("region", r.text(), "must have at least %d columns and rows, inside the frame of %s × %s px", least, strconv.Itoa(frame.Width), strconv.Itoa(frame.Height))
		return frame
	}
	return frame.Sub(r.X, r.Y, r.Width, r.Height)
}

// ends are the codes from which on samples are clipped, and down to which they are
// crushed. A white of 0 means the largest sample.
type ends struct{ white, black float64 }

func newEnds[T Sample](c *valid.Checker, white, black float64) ends {
	if white == 0 {
		white = plane.FullScale[T]()
	}
	codes := valid.Closed(-math.MaxFloat32, math.MaxFloat32)
	c.Number("white", white, "", codes)
	c.Number("black", black, "", codes)
	if c.OK() && black >= white {
		c.Fault("black", quantity.Number(black, ""), "must be less than white, %s", quantity.Number(white, ""))
	}
	return ends{white, black}
}

// student widens a deviation of so many degrees of freedom, so that three of it hold as
// much as three of a normal distribution.
func student(freedom float64) float64 {
	const below = 0.99865 // of a normal distribution lies below three deviations
	return distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile(below) / 3
}

func finite[T Sample](v T) bool { return math.Abs(float64(v)) <= math.MaxFloat32 }

// badRow says where a row is not finite, from a column on. Other channels may lie between
// its samples.
func badRow[T Sample](frame Plane[T], y, from int) error {
	row, step := frame.Row(y)
	x := from
	for x*step < len(row)-1 && finite(row[x*step]) {
		x++
	}
	return notFinite(x, y)
}

func notFinite(x, y int) error {
	return newChecker().Refuse("sample", "NaN or infinite", "must be a number, as must its light (column %d, row %d)", x, y)
}
