package warp

import (
	"errors"
	"fmt"
	"math"
	"unsafe"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is what every error of this package about its input wraps.
var ErrInvalid = errors.New("warp: invalid value")

// Sample is a type of sample: whole numbers, or linear light in float32.
type Sample interface{ uint8 | uint16 | float32 }

// maxAllocated is the most samples that NewFrame allocates: a wrong size in a
// file's header must not take all memory.
const maxAllocated = 1 << 33

// allocatable is that, or what the memory that an int can count holds.
func allocatable[T Sample]() int64 {
	return min(maxAllocated, math.MaxInt/int64(unsafe.Sizeof(*new(T))))
}

// maxPlanes is the most planes of one slice.
const maxPlanes = 64

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
	pix := storage(c, spec.Pix, need)
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	return Frame[T]{pix: pix[:need:need], width: spec.Width, height: spec.Height, ch: spec.Channels, st: st}, nil
}

// storage is the caller's samples, if there are enough, or new ones.
func storage[T Sample](c *valid.Checker, pix []T, need int64) []T {
	switch {
	case pix != nil && int64(len(pix)) < need:
		c.Fault("Pix", fmt.Sprintf("%d samples", len(pix)), "must be at least %d", need)
	case pix == nil && need > allocatable[T]():
		c.Fault("Pix", "nil", "must be given for more than %d samples", allocatable[T]())
	case pix == nil:
		pix = make([]T, need)
		inLargePages(pix)
	}
	return pix
}

// Size is the number of pixels across and down.
func (f Frame[T]) Size() (width, height int) { return f.width, f.height }

// Channels is the number of samples of a pixel.
func (f Frame[T]) Channels() int { return f.ch }

// PlanesSpec describes a raster whose channels are kept apart: a picture of one
// channel for each, in one slice.
type PlanesSpec[T Sample] struct {
	Width, Height int // px, of every plane, at most 2²⁴
	Planes        int // 1 to 64
	Pix           []T // nil: allocated, all zero
	Stride        int // samples from one row of a plane to the next; 0: Width

	// PlaneStride is the samples from one plane to the next; 0: Stride × Height.
	// Less than a plane is meant for rows that take turns, the first of each
	// plane and then the second: Stride is then that of all planes.
	PlaneStride int
}

// NewPlanes checks a spec and gives a frame of one channel for each plane, over
// the caller's samples, which are not copied. The slice must hold every row of
// every plane in full, and no two may share samples.
//
// Warp and Blend take one plane after the other, through the same map. Planes
// of other sizes, as of colour differences on a coarser raster, are specs of
// their own, and need maps of their own, of a source scaled as they are.
func NewPlanes[T Sample](spec PlanesSpec[T]) ([]Frame[T], error) {
	c := valid.New("warp", ErrInvalid)
	c.Int("Width", spec.Width, "px", 1, maxSide)
	c.Int("Height", spec.Height, "px", 1, maxSide)
	c.Int("Planes", spec.Planes, "", 1, maxPlanes)
	if !c.OK() {
		return nil, c.Err()
	}
	st, apart := int64(spec.Stride), int64(spec.PlaneStride)
	if st == 0 {
		st = int64(spec.Width)
	}
	c.Number("Stride", float64(st), "", valid.Closed[float64](float64(spec.Width), math.MaxInt32))
	if !c.OK() {
		return nil, c.Err()
	}
	plane := st*int64(spec.Height-1) + int64(spec.Width)
	others := int64(spec.Planes - 1)
	if apart == 0 {
		apart = st * int64(spec.Height)
	}
	inTurn := apart >= int64(spec.Width) && apart <= st && apart*others+int64(spec.Width) <= st
	switch {
	case others == 0:
		apart = 0
	case apart > maxAllocated || apart < plane && !inTurn:
		c.Fault("PlaneStride", fmt.Sprint(apart), "must be at least %d and at most %d, or that of rows in turn", plane, int64(maxAllocated))
		return nil, c.Err()
	}
	need := apart*others + plane
	pix := storage(c, spec.Pix, need)
	if !c.OK() {
		return nil, c.Err()
	}
	frames := make([]Frame[T], spec.Planes)
	for k := range frames {
		from := apart * int64(k)
		frames[k] = Frame[T]{pix: pix[from : from+plane : from+plane], width: spec.Width, height: spec.Height, ch: 1, st: int(st)}
	}
	return frames, nil
}

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
