package warp

import (
	"math"

	"example.com/platewright/internal/lanes"
)

// run is neighbouring pixels of one row of the target, all of one cell.
type run struct {
	m        *Map
	cell     *cell
	row, col int     // of the cell
	y        int     // row of the target
	v        float64 // coordinate of the row within the cell
	x0, x1   int     // columns [x0, x1) of the target
}

// runOf is a run of row y without pixels: see move.
func (m *Map) runOf(y int) run {
	row := int(m.rowOf[y])
	cy, hy := middle(m.rowEdges, row)
	return run{m: m, row: row, y: y, v: (float64(y) + 0.5 - cy) / hy}
}

// move makes it the pixels of its row from column x0 on, up to x1 or to the end of
// the cell.
func (r *run) move(x0, x1 int) {
	r.col = int(r.m.colOf[x0])
	r.cell = r.m.cell(r.row, r.col)
	r.x0, r.x1 = x0, min(x1, r.m.colEdges[r.col+1])
}

// len is the number of pixels.
func (r *run) len() int { return r.x1 - r.x0 }

// positions writes the source positions of the pixels, NaN where nothing is seen,
// and says whether there are any.
func (r *run) positions(xs, ys []float64) bool {
	switch {
	case r.cell.smooth != nil:
		r.interpolate(xs, ys)
	case r.cell.stored != nil:
		r.load(xs, ys)
	default:
		return false
	}
	return true
}

func (r *run) interpolate(xs, ys []float64) {
	c := r.cell.smooth
	cx, hx := middle(r.m.colEdges, r.col)
	x, y := c.x.along(r.v), c.y.along(r.v)
	w, h := float64(r.m.srcWidth), float64(r.m.srcHeight)
	if lanes.Positions(xs, ys, (*lanes.Quadratic)(&x), (*lanes.Quadratic)(&y), float64(r.x0)+0.5-cx, 1/hx, w, h) {
		return
	}
	for i, x := range xs {
		if !(x >= 0 && x < w && ys[i] >= 0 && ys[i] <= h) {
			xs[i], ys[i] = r.m.confine(x, ys[i])
		}
	}
}

func (r *run) load(xs, ys []float64) {
	c := r.cell.stored
	offsets := c.offsets[r.m.offsetOf(r.row, r.col, r.x0, r.y):]
	w := float64(r.m.srcWidth)
	for i := range xs {
		x, y := c.x+float64(offsets[2*i]), c.y+float64(offsets[2*i+1])
		if r.m.wrap {
			x = wrapTo(x, w)
		}
		xs[i], ys[i] = x, y
	}
}

// offsetOf is the place of a pixel among the offsets of a stored cell.
func (m *Map) offsetOf(row, col, x, y int) int {
	side := m.colEdges[col+1] - m.colEdges[col]
	return 2 * ((y-m.rowEdges[row])*side + x - m.colEdges[col])
}

// storedJacobians are those of the pixels of a stored cell: differences between
// pixels of the cell, and on its rim with those beside it. At a jump the steps to
// both sides are needed.
func (r *run) storedJacobians(out []Jacobian) {
	m, c := r.m, r.cell.stored
	left, right := m.colEdges[r.col], m.colEdges[r.col+1]-1
	top, bottom := m.rowEdges[r.row], m.rowEdges[r.row+1]-1
	for i := range out {
		x := r.x0 + i
		here := c.offsets[m.offsetOf(r.row, r.col, x, r.y):]
		to := func(tx, ty float64) (dx, dy float64, ok bool) {
			sx, sy, ok := m.locate(tx, ty)
			return m.apart(c.x+float64(here[0]), sx), sy - c.y - float64(here[1]), ok
		}
		step := func(sideX, sideY float64) (dx, dy float64) {
			if x, y := x+int(sideX), r.y+int(sideY); x >= left && x <= right && y >= top && y <= bottom {
				if p := c.offsets[m.offsetOf(r.row, r.col, x, y):]; p[0] == p[0] {
					return m.apart(float64(here[0]), float64(p[0])), float64(p[1] - here[1])
				}
			} else if x >= 0 && x < m.width && y >= 0 && y < m.height {
				if dx, dy, ok := to(float64(x)+0.5, float64(y)+0.5); ok {
					return dx, dy
				}
			}
			// No neighbour: as far as the pixel's edge.
			if dx, dy, ok := to(float64(x)+0.5+sideX/2, float64(r.y)+0.5+sideY/2); ok {
				return 2 * dx, 2 * dy
			}
			return math.NaN(), math.NaN()
		}
		out[i] = joinSteps(1, step)
	}
}

// marginBounds limits the margin over the part of the row that lies in the cell,
// without a look at each pixel: a margin changes by at most twice the distance in
// the source. high is NaN if nothing is seen.
func (r *run) marginBounds() (low, high float64) {
	switch c := r.cell; {
	case c.smooth != nil:
		x, y := c.smooth.x.along(r.v), c.smooth.y.along(r.v)
		reach := math.Hypot(x.reach(), y.reach())
		margin := r.m.marginAt(r.m.confine(x[0], y[0]))
		return margin - 2*reach, margin + 2*reach
	case c.stored != nil:
		return math.Inf(-1), r.m.marginAt(c.stored.x, c.stored.y) + 2*c.stored.reach
	}
	return math.Inf(-1), math.NaN()
}
