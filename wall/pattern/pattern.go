package pattern

import (
	"errors"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("pattern: invalid value")

func newChecker() *valid.Checker { return valid.New("pattern", ErrInvalid) }

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
// them.
type Region struct{ X, Y, Width, Height int }

func (r Region) within(s Region) bool {
	return r.X >= s.X && r.Y >= s.Y && r.X+r.Width <= s.X+s.Width && r.Y+r.Height <= s.Y+s.Height
}

func notFinite(x, y int) error {
	return newChecker().Refuse("sample", "NaN or infinite", "must be a number, as must its light (column %d, row %d)", x, y)
}
