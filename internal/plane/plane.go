// Package plane holds one channel of a picture, as the packages take it that measure
// pictures. Each of them publishes Plane and Sample under the same names.
package plane

import (
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
)

// Sample is a type of samples.
type Sample interface{ uint8 | uint16 | float32 }

// Plane is one channel of a raster over the caller's samples, which are not copied.
type Plane[T Sample] struct {
	Pix           []T
	Width, Height int
	Stride        int // samples from one row to the next; 0 means Width · Step
	Step          int // samples from one column to the next, as 3 in a picture of three channels; 0 means 1
}

// steps gives Stride and Step with their defaults. ok is false if the plane has no
// pixel, or if it does not lie within Pix.
func (p Plane[T]) steps() (stride, step int, ok bool) {
	stride, step = p.Stride, p.Step
	if step == 0 {
		step = 1
	}
	sides := p.Width > 0 && p.Height > 0 && p.Width <= valid.MaxSide && p.Height <= valid.MaxSide
	if !sides || step < 0 || p.Width > 1 && step > len(p.Pix) {
		return 0, 0, false
	}
	row := int64(p.Width-1)*int64(step) + 1 // from the first sample to the last
	if stride == 0 {
		stride = p.Width * step
	}
	last := int64(len(p.Pix)) - row // where the last row may begin
	ok = row <= int64(len(p.Pix)) && (p.Height == 1 || stride > 0 && int64(stride) >= row && int64(stride) <= last/int64(p.Height-1))
	return stride, step, ok
}

// Check adds a fault unless the plane has pixels that all lie within Pix. least is the
// number of columns and of rows that it must have.
func (p Plane[T]) Check(c *valid.Checker, field string, least int) {
	if _, _, ok := p.steps(); !ok {
		c.Fault(field, p.text(), "must have columns and rows, at most %d of each, that lie within its samples", valid.MaxSide)
	} else if p.Width < least || p.Height < least {
		c.Fault(field, p.text(), "must have at least %d columns and rows", least)
	}
}

func (p Plane[T]) text() string {
	n := strconv.Itoa
	return Size(p.Width, p.Height) + ", stride " + n(p.Stride) + ", step " + n(p.Step) + ", of " + n(len(p.Pix)) + " samples"
}

// Row gives the samples of row y from the first column to the last, and the step from
// one column to the next. The plane must have passed Check.
func (p Plane[T]) Row(y int) (samples []T, step int) {
	stride, step, _ := p.steps()
	first := y * stride
	return p.Pix[first : first+(p.Width-1)*step+1], step
}

// Sub is the part of w × h px whose first pixel is (x, y). It must lie within the
// plane, and the plane must have passed Check.
func (p Plane[T]) Sub(x, y, w, h int) Plane[T] {
	stride, step, _ := p.steps()
	first := y*stride + x*step
	return Plane[T]{Pix: p.Pix[first : first+(h-1)*stride+(w-1)*step+1], Width: w, Height: h, Stride: stride, Step: step}
}

// SameSize adds a fault if a plane is not as large as the first of its kind.
func SameSize(c *valid.Checker, field string, width, height, firstWidth, firstHeight int) {
	if width != firstWidth || height != firstHeight {
		c.Fault(field, Size(width, height), "must be as large as the first, %s", Size(firstWidth, firstHeight))
	}
}

// Size is the text of a size, as "640 × 480 px".
func Size(width, height int) string {
	return strconv.Itoa(width) + " × " + strconv.Itoa(height) + " px"
}

// FullScale is the sample that stands for 1: the largest whole number, or 1 for
// float32.
func FullScale[T Sample]() float64 {
	var zero T
	switch any(zero).(type) {
	case uint8:
		return math.MaxUint8
	case uint16:
		return math.MaxUint16
	}
	return 1
}
