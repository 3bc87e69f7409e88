package warp

import (
	"context"
	"math"
)

// marginTolerance is the largest error of an interpolated margin, source px.
const marginTolerance = 1.0 / 1024

// marginFit is the margin over a cell as a biquadratic, if it is smooth.
type marginFit struct {
	p      [9]float32 // see biquadratic
	smooth bool
}

// along is the margin as a quadratic in u at one v.
func (f *marginFit) along(v float64) (q quadratic) {
	for i := range q {
		q[i] = float64(f.p[i]) + v*(float64(f.p[3+i])+v*float64(f.p[6+i]))
	}
	return q
}

// margins are those of the cells of a map.
type margins struct {
	m     *Map
	cells []marginFit
	rowFn func(row int, _ *scratch) // bound once: binding allocates
}

func newMargins(m *Map) *margins {
	all := &margins{m: m}
	all.rowFn = all.row
	return all
}

// row prepares a row of cells.
func (all *margins) row(row int, _ *scratch) {
	cols := len(all.m.colEdges) - 1
	for i := row * cols; i < (row+1)*cols; i++ {
		all.cells[i] = marginFit{}
		if c := all.m.cells[i].smooth; c != nil {
			all.cells[i] = all.m.fitMargin(c)
		}
	}
}

// fitMargins prepares the margins of all smooth cells, once for a map: Blend needs
// that of every pixel, and sources may be slow. A cell whose check points exceed
// the tolerance, as where another limit becomes the nearest, is evaluated pixel by
// pixel.
func (m *Map) fitMargins(ctx context.Context, g *workers, n int) error {
	if m.margin == nil || m.margins.Load() != nil {
		return nil // the edges of the raster are quick
	}
	all := m.spareMargins.Swap(nil)
	if all == nil {
		all = newMargins(m)
	}
	all.cells = extend(all.cells, len(m.cells))
	err := g.run(ctx, n, len(m.rowEdges)-1, nil, all.rowFn)
	if err == nil {
		m.margins.Store(all)
	}
	return err
}

func (m *Map) fitMargin(c *smoothCell) (f marginFit) {
	at := func(u, v float64) float64 { return m.marginAt(m.confine(c.x.at(u, v), c.y.at(u, v))) }
	var p [9]float64
	for k := range p {
		p[k] = at(float64(k%3-1), float64(k/3-1))
	}
	for k, v := range newBiquadratic(p) {
		f.p[k] = float32(v)
	}
	f.smooth = true
	for k := range 4 {
		u, v := float64(k%2)-0.5, float64(k/2)-0.5
		if miss := math.Abs(f.along(v).at(u) - at(u, v)); !(miss <= marginTolerance) { // also if infinite
			f.smooth = false
		}
	}
	return f
}

// smoothMargin is the margin along the row as a quadratic in the u of the cell. ok
// is false if the margin has to be evaluated pixel by pixel.
func (r *run) smoothMargin() (q quadratic, ok bool) {
	all := r.m.margins.Load()
	if all == nil {
		return q, false
	}
	f := &all.cells[r.row*(len(r.m.colEdges)-1)+r.col]
	if !f.smooth {
		return q, false
	}
	return f.along(r.v), true
}
