package warp

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is what every error of this package about its input wraps.
var ErrInvalid = errors.New("warp: invalid value")

// Sample is a type of sample: whole numbers, or linear light in float32.
type Sample interface{ uint8 | uint16 | float32 }

// maxAllocated is the most samples that NewFrame allocates: a wrong size in a
// file's header must not take all memory.
const maxAllocated = 1 << 33

// FrameSpec describes a raster of samples, channels interleaved.
type FrameSpec[T Sample] struct {
	Width, Height int // px, at most 2²⁴
	Channels      int // 1 to 4
	Pix           []T // row after row; nil: allocated, all zero
	Stride        int // samples from one row to the next; 0: Width × Channels
}

// Frame is a raster over the caller's samples, which are not copied: whoever
// writes to the slice writes to the frame. The zero value has no pixels.
type Frame[T Sample] struct {
	pix                   []T
	width, height, ch, st int
}

// NewFrame checks a spec. The slice must hold every row in full; what lies
// between rows, or after the last, is never read or written.
func NewFrame[T Sample](spec FrameSpec[T]) (Frame[T], error) {
	c := valid.New("warp", ErrInvalid)
	c.Int("Width", spec.Width, "px", 1, maxSide)
	c.Int("Height", spec.Height, "px", 1, maxSide)
	c.Int("Channels", spec.Channels, "", 1, 4)
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	row := spec.Width * spec.Channels
	st := spec.Stride
	if st == 0 {
		st = row
	}
	c.Int("Stride", st, "", row, math.MaxInt32)
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	need := int64(st)*int64(spec.Height-1) + int64(row)
	pix := spec.Pix
	switch {
	case pix != nil && int64(len(pix)) < need:
		c.Fault("Pix", fmt.Sprintf("%d samples", len(pix)), "must be at least %d", need)
	case pix == nil && need > min(maxAllocated, math.MaxInt):
		c.Fault("Pix", "nil", "must be given for more than %d samples", int64(maxAllocated))
	}
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	if pix == nil {
		pix = make([]T, need)
	}
	return Frame[T]{pix: pix[:need:need], width: spec.Width, height: spec.Height, ch: spec.Channels, st: st}, nil
}

// Size is the number of pixels across and down.
func (f Frame[T]) Size() (width, height int) { return f.width, f.height }

// Channels is the number of samples of a pixel.
func (f Frame[T]) Channels() int { return f.ch }

// Row is the samples of a row, a window on the frame's own slice: pixel x
// begins at x times Channels. Outside the frame it is nil.
func (f Frame[T]) Row(y int) []T {
	if y < 0 || y >= f.height {
		return nil
	}
	o := y * f.st
	n := o + f.width*f.ch
	return f.pix[o:n:n]
}
