package sensor

import "example.com/platewright/internal/valid"

// Raster is a number of columns and rows of pixels or photosites. A Raster is
// not validated; what takes one rejects sides outside 1 to 2^24.
type Raster struct {
	Columns, Rows int
}

func (r Raster) check(c *valid.Checker) {
	c.Int("columns", r.Columns, "px", 1, valid.MaxSide)
	c.Int("rows", r.Rows, "px", 1, valid.MaxSide)
}

func (r Raster) ok() bool {
	return r.Columns >= 1 && r.Columns <= valid.MaxSide && r.Rows >= 1 && r.Rows <= valid.MaxSide
}

// Headroom says how far a plate can be pushed into before one of its pixels
// covers more than one delivered pixel.
type Headroom struct {
	// Across and Down are plate pixels per delivered pixel along a row and
	// along a column, without a push-in.
	Across, Down float64
	// Factor is the smaller of the two: the largest push-in. Below 1 the plate
	// has too few pixels even without one.
	Factor float64
	// Limit is the direction that sets Factor.
	Limit Direction
}

// Headroom is the push-in headroom of a plate of raster r in a delivery:
//
//	across = columns / delivered columns
//	down   = rows / delivered rows
//	factor = min(across, down)
//
// It counts pixels and assumes an even pixel density. The density of a fisheye
// plate, or of a plate projected onto walls, is not even. The mosaic of a sensor
// and the blur of a lens leave less detail than the count says. ok is false if a
// side of either raster is outside 1 to 2^24.
//
// Source: common practice.
func (r Raster) Headroom(delivered Raster) (h Headroom, ok bool) {
	if !r.ok() || !delivered.ok() {
		return Headroom{}, false
	}
	h.Across = float64(r.Columns) / float64(delivered.Columns)
	h.Down = float64(r.Rows) / float64(delivered.Rows)
	h.Factor = min(h.Across, h.Down)
	switch {
	case h.Across < h.Down:
		h.Limit = Horizontal
	case h.Down < h.Across:
		h.Limit = Vertical
	}
	return h, true
}
