package warp

import (
	"errors"
	"fmt"
	"math"
	"unsafe"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package about its input.
var ErrInvalid = errors.New("warp: invalid value")

// Sample is the type of a sample: whole numbers, or linear light in float32.
type Sample interface{ uint8 | uint16 | float32 }

// maxAllocated is the most samples that NewFrame allocates: a wrong size in a file
// must not take all memory.
const maxAllocated = 1 << 33

// allocatable is that, or what the memory that an int can count holds.
func allocatable[T Sample]() int64 {
	return min(maxAllocated, math.MaxInt/int64(unsafe.Sizeof(*new(T))))
}

// FrameSpec describes a raster of samples with interleaved channels. A plane of a
// planar picture is a frame of one channel.
type FrameSpec[T Sample] struct {
	Width, Height int // px, at most 2²⁴
	Channels      int // 1 to 4
	Pix           []T // row after row; nil: allocated, all zero
	Stride        int // samples from one row to the next; 0: Width × Channels
}

// Frame is a raster over the caller's samples. They are not copied: writing to the
// slice writes to the frame. The zero value has no pixels.
type Frame[T Sample] struct {
	pix                   []T
	width, height, ch, st int
	still                 *stillLevels[T] // nil: samples may change between calls
}

// NewFrame checks a spec. The slice must hold every row in full. What lies between
// rows or after the last is never read or written.
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
	case pix == nil && need > allocatable[T]():
		c.Fault("Pix", "nil", "must be given for more than %d samples", allocatable[T]())
	}
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	if pix == nil {
		pix = make([]T, need)
		inLargePages(pix)
	}
	return Frame[T]{pix: pix[:need:need], width: spec.Width, height: spec.Height, ch: spec.Channels, st: st}, nil
}

// Still is the frame of a source that does not change, as one plate for many positions
// of an eye. Warp and Blend then keep its image pyramid, up to a third of its memory.
// If samples have changed, ask for it again.
func (f Frame[T]) Still() Frame[T] {
	if f.pix != nil {
		f.still = new(stillLevels[T])
	}
	return f
}

// Size gives the number of pixels across and down.
func (f Frame[T]) Size() (width, height int) { return f.width, f.height }

// Channels gives the number of samples of a pixel.
func (f Frame[T]) Channels() int { return f.ch }

// overlap says whether two frames share memory.
func overlap[A, B Sample](f Frame[A], g Frame[B]) bool {
	if f.pix == nil || g.pix == nil {
		return false
	}
	one, other := f.block(), g.block()
	if other.at < one.at {
		one, other = other, one
	}
	apart := other.at - one.at
	if apart >= one.size {
		return false
	}
	if other.size == other.row {
		other.stride = one.stride // a single row
	}
	// Side by side in one buffer, rows of either lie between those of the other.
	// Rows that follow each other at different strides are taken to meet somewhere.
	column := apart % one.stride
	return one.stride != other.stride || column < one.row || column+other.row > one.stride
}

// block is where the samples of a frame are: bytes.
type block struct{ at, size, row, stride uintptr }

func (f Frame[T]) block() block {
	sample := unsafe.Sizeof(f.pix[0])
	return block{uintptr(unsafe.Pointer(unsafe.SliceData(f.pix))), uintptr(len(f.pix)) * sample, uintptr(f.width*f.ch) * sample, uintptr(f.st) * sample}
}

// Row gives the samples of a row, as a slice of the frame's own: pixel x begins at
// x × Channels. It is nil outside the frame.
func (f Frame[T]) Row(y int) []T {
	if y < 0 || y >= f.height {
		return nil
	}
	o := y * f.st
	n := o + f.width*f.ch
	return f.pix[o:n:n]
}
