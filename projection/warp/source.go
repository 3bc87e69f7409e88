package warp

import (
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// maxSide is the largest side of a raster. Positions are kept to 2⁻²⁰ px; 24 + 20
// bits leave float64 room to add and subtract.
const maxSide = valid.MaxSide

// Target is a raster to be filled: a view, a panorama, a wall seen from the set.
// Unproject gives the direction seen at a raster position, of any length but zero.
// ok is false if the position sees nothing. NewMap looks for such positions at
// points at most 16 px apart, and may miss a smaller opening or hole.
//
// A target may have more methods:
//
//	Breaks() (xs, ys []float64)
//	WrapX() bool
//
// Breaks gives the raster positions at which the surface of the target bends or
// jumps. NewMap does not interpolate across them. WrapX says that the left and
// right edges meet, as in a panorama of 360°; FindSeams leads seams across them.
type Target interface {
	Size() (width, height int)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// Source is a raster that was filmed or drawn. Project gives the raster position
// that shows a direction. ok is false if none does.
//
// A source may have more methods:
//
//	WrapX() bool
//	WrapY() bool
//	Margin(x, y float64) float64
//	Breaks() (xs, ys []float64)
//
// WrapX says that the left and right edges meet. WrapY, of a source that wraps in x,
// says that the top and bottom edges are poles, as in a panorama of the whole
// sphere: a row beyond a pole is the row before it, half a turn away. The width must
// then be even.
//
// Margin is the distance in pixels from a position to the nearest limit of what
// the source sees, holes included. It is negative outside, and must be Lipschitz
// with constant 2. Without a Margin the limits are the edges of the raster; a source
// with poles then has none.
//
// Breaks gives the raster positions of joints, as between the faces of a cube in one
// strip. The edges of the raster are then joints too. The map is not interpolated
// across a joint. Filters do mix both sides, near it.
type Source interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
}

// The optional methods of targets and sources.
type (
	breaker  interface{ Breaks() (xs, ys []float64) }
	xWrapper interface{ WrapX() bool }
	yWrapper interface{ WrapY() bool }
	marginer interface{ Margin(x, y float64) float64 }
)
