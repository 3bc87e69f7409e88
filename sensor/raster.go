package sensor

import (
	"math"

	"example.com/platewright/internal/valid"
)

// Raster is a number of pixels or photosites: so many columns, so many rows.
// It is a plain value that nobody checks until it is used.
type Raster struct {
	Columns, Rows int
}

func (r Raster) check(c *valid.Checker) {
	c.Int("columns", r.Columns, "px", 1, maxSide)
	c.Int("rows", r.Rows, "px", 1, maxSide)
}

func (r Raster) ok() bool {
	return r.Columns >= 1 && r.Columns <= maxSide && r.Rows >= 1 && r.Rows <= maxSide
}

// WholeWindows is how many whole windows of a smaller raster lie side by side
// across and down this one, and whether they fill it with nothing left over:
//
//	across = floor(columns / part columns), down = floor(rows / part rows)
//
// Both are zero where the part is larger, or where a side of either raster is
// not 1 to 2^24.
//
// Source: definition.
func (r Raster) WholeWindows(part Raster) (across, down int, exact bool) {
	if !r.ok() || !part.ok() {
		return 0, 0, false
	}
	across, down = r.Columns/part.Columns, r.Rows/part.Rows
	if across == 0 || down == 0 {
		return 0, 0, false
	}
	return across, down, r.Columns%part.Columns == 0 && r.Rows%part.Rows == 0
}

// Headroom is how far a plate can be pushed into before its pixels are spread
// over more than one delivered pixel each.
type Headroom struct {
	// Across and Down are plate pixels per delivered pixel at full frame,
	// along a row and along a column. Below 1 the plate is short of pixels.
	Across, Down float64
	// Factor is the smaller of the two: the largest push-in.
	Factor float64
	// Stops is log2 of Factor: how many times the frame can be halved in width.
	Stops float64
	// Limit is the direction that sets Factor.
	Limit Direction
}

// Direction names a direction of a raster.
type Direction int

// The directions of a raster.
const (
	BothWays Direction = iota
	AlongRows
	AlongColumns
)

// String is like "along rows".
func (d Direction) String() string {
	switch d {
	case BothWays:
		return "both ways"
	case AlongRows:
		return "along rows"
	case AlongColumns:
		return "along columns"
	}
	return "no direction"
}

// Headroom is the push-in headroom of a plate of this raster in a delivery of
// the other:
//
//	across = columns / delivered columns, down = rows / delivered rows
//	factor = min(across, down), stops = log2(factor)
//
// It counts pixels, as if they lay evenly: the pixels of a fisheye picture do
// not, nor do those of a picture projected onto walls, and a mosaic of colours
// or the blur of a lens leaves less than the count. There is no answer (false)
// where a side of either raster is not 1 to 2^24.
//
// Source: common practice.
func (r Raster) Headroom(delivered Raster) (Headroom, bool) {
	if !r.ok() || !delivered.ok() {
		return Headroom{}, false
	}
	h := Headroom{
		Across: float64(r.Columns) / float64(delivered.Columns),
		Down:   float64(r.Rows) / float64(delivered.Rows),
	}
	h.Factor = math.Min(h.Across, h.Down)
	h.Stops = math.Log2(h.Factor)
	switch {
	case h.Across < h.Down:
		h.Limit = AlongRows
	case h.Down < h.Across:
		h.Limit = AlongColumns
	}
	return h, true
}
