package warp

import (
	"context"
	"math"
)

// marginTolerance is by how much an interpolated margin may miss, source px.
const marginTolerance = 1.0 / 1024

// margins are those of a cell as a biquadratic, where they are smooth.
type margins struct {
	p      [9]float32
	smooth bool
}

// fitMargins prepares the margins of all interpolated cells, once for a map: a
// Blend asks for those of every pixel, and sources may take their time. A cell
// whose check points miss the tolerance, as where another limit becomes the
// nearest, is left to be asked pixel by pixel.
func (m *Map) fitMargins(ctx context.Context, workers int) error {
	if m.margin == nil || m.margins.Load() != nil {
		return nil // the edges of the raster are quick
	}
	cols := len(m.colEdges) - 1
	all := make([]margins, len(m.cells))
	var crew crew
	err := crew.run(ctx, workers, len(m.rowEdges)-1, nil, func(row int, _ *scratch) {
		for col := range cols {
			if c := m.cell(row, col); c.kind == interpolated {
				all[row*cols+col] = m.fitMargin(c)
			}
		}
	})
	if err == nil {
		m.margins.Store(&all)
	}
	return err
}

func (m *Map) fitMargin(c *cell) (f margins) {
	at := func(u, v float64) float64 { return m.marginAt(m.confine(at(&c.x, u, v), at(&c.y, u, v))) }
	var p [9]float64
	for k := range p {
		p[k] = at(float64(k%3-1), float64(k/3-1))
	}
	quadratic(&p)
	for k, v := range p {
		f.p[k] = float32(v)
	}
	f.smooth = true
	for k := range 4 {
		u, v := float64(k%2)-0.5, float64(k/2)-0.5
		b0, b1, b2 := along(&f.p, v)
		if miss := math.Abs(b0 + u*(b1+u*b2) - at(u, v)); !(miss <= marginTolerance) { // also where infinite
			f.smooth = false
		}
	}
	return f
}

// smoothMargin is the margin along row y of a cell as a quadratic in u, which
// is (x + ½ − cx)/hx at pixel x; ok is false where it has to be asked for.
func (m *Map) smoothMargin(row, col, y int) (b [3]float64, ok bool) {
	all := m.margins.Load()
	if all == nil {
		return b, false
	}
	f := &(*all)[row*(len(m.colEdges)-1)+col]
	if !f.smooth {
		return b, false
	}
	_, cy, _, hy := m.frame(row, col)
	b[0], b[1], b[2] = along(&f.p, (float64(y)+0.5-cy)/hy)
	return b, true
}
