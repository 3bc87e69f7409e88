package warp

import "gonum.org/v1/gonum/spatial/r3"

// maxSide is the largest side of a raster. Positions are kept to 2⁻²⁰ px, and
// 24 + 20 bits leave float64 room to add and subtract.
const maxSide = 1 << 24

// Target is a raster whose pixels look somewhere: a view, a panorama, a wall
// seen from the set. Unproject gives the direction (of any length but zero)
// seen at a raster position, or ok = false where there is none. It must be safe
// for concurrent use.
//
// A target may also have a method
//
//	Breaks() (xs, ys []float64)
//
// with the raster positions at which its surface bends or jumps. No
// interpolation crosses them.
type Target interface {
	Size() (width, height int)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// Source is a raster that was filmed or drawn: Project gives the raster
// position at which it shows a direction, or ok = false where it does not. It
// must be safe for concurrent use.
//
// A source may also have methods
//
//	WrapX() bool
//	WrapY() bool
//	Margin(x, y float64) float64
//
// WrapX says that the left and right edges meet, as in a panorama all around.
// WrapY, of a source that wraps in x, says that the top and the bottom are poles,
// as in a panorama of the whole sphere: the rows beyond them are those before
// them, half a turn away; the width must then be even. Margin is the distance in pixels from a
// position to the nearest limit of what the source sees, negative outside; it
// governs where Blend puts its seams and how it feathers. It must not change by
// more than twice the way. Without it the edges of the raster are the limits.
type Source interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
}

type breaker interface {
	Breaks() (xs, ys []float64)
}

type wrapper interface{ WrapX() bool }

type poler interface{ WrapY() bool }

type marginer interface{ Margin(x, y float64) float64 }
