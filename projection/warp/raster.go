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
// interpolation crosses them. Where Unproject has no direction is found by
// looking at points no more than 16 px apart: an opening or a hole between them
// goes unnoticed.
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
//	Breaks() (xs, ys []float64)
//
// WrapX says that the left and right edges meet, as in a panorama all around.
// WrapY, of a source that wraps in x, says that the top and the bottom are poles,
// as in a panorama of the whole sphere: the rows beyond them are those before
// them, half a turn away; the width must then be even. Unless it has a Margin,
// such a source is taken to see all around.
//
// Margin is the distance in pixels from a position to the nearest limit of what
// the source sees, holes in its view included, negative outside. It governs
// where Blend puts its seams and how it feathers, and tells NewMap where no
// limit needs to be looked for. It must not change by more than twice the way.
// Without it the edges of the raster are the limits.
//
// Breaks are the raster positions of joints: at which pixels that are side by
// side do not look side by side, as between the faces of a cube in one strip.
// The edges of the raster are then joints too. No interpolation of the map
// crosses them. The filters of Warp and Blend do: within half a pixel of a
// joint, or half a footprint, they mix what stands on either side.
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
