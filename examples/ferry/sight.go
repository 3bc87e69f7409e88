package main

import (
	"errors"
	"math"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// sight is the place of a direction in one plate.
type sight struct {
	x, y   float64 // plate px
	margin float64 // distance to the nearest limit of the image, plate px
	clear  float64 // distance to the nearest limit or outline of the vessel, plate px; negative if the vessel hides the view
}

// outlook is the view of one camera between the parts of the vessel.
type outlook struct {
	camera  projection.Camera
	shadows *warp.Priority // distance to the parts' outlines, plate px, negative inside; nil: none is in view
	aside   float64        // distance to keep from an outline, plate px
}

// shadowNodes is the number of nodes along a row of a plate at which the
// outlines of the vessel's parts are looked for.
const shadowNodes = 1024

// lookOut makes the outlook of every camera.
func (m *maker) lookOut() error {
	m.outlooks = make([]outlook, len(m.shoot.cameras))
	faults := make([]error, len(m.outlooks))
	err := parallel.Until(m.ctx, len(m.outlooks), func(i int) { m.outlooks[i], faults[i] = m.newOutlook(i) })
	return errors.Join(append(faults, err)...)
}

// newOutlook finds the outlines on a grid. A part that is thinner than a step of the grid
// may be missed, so the view counts as hidden up to two steps beside an outline.
func (m *maker) newOutlook(i int) (outlook, error) {
	o := outlook{camera: m.shoot.cameras[i]}
	w, h := o.camera.Size()
	const open, hidden, beyond = 0, 1, -1
	step := max(1, w/shadowNodes)
	any := false
	fields, err := warp.NewLabelPriorities(m.ctx, warp.LabelMapSpec{
		Width: w, Height: h, Pitch: step, Layers: 2,
		At: func(x, y float64) int {
			dir, ok := o.camera.Unproject(x, y)
			switch {
			case !ok || o.camera.Margin(x, y) < 0:
				return beyond
			case m.shoot.alone[i].Count(dir) == 0:
				any = true
				return hidden
			}
			return open
		},
	})
	if err == nil && any {
		o.shadows, o.aside = fields[open], 2*float64(step)
	}
	return o, err
}

// at is the sight of a direction. ok is false if the camera does not see it.
func (o *outlook) at(dir r3.Vec) (s sight, ok bool) {
	x, y, ok := o.camera.Project(dir)
	if !ok {
		return sight{}, false
	}
	margin := o.camera.Margin(x, y)
	if margin < 0 {
		return sight{}, false
	}
	s = sight{x: x, y: y, margin: margin, clear: margin}
	if o.shadows != nil {
		if d, ok := o.shadows.At(x, y); ok {
			s.clear = min(margin, d-o.aside)
		}
	}
	return s, true
}

// rank is the priority of the plate: how far the direction lies inside its clear
// view, in plate px. A plate whose view is hidden ranks a feather lower, so it has
// no weight where another plate has a clear view.
func (s sight) rank(feather float64) float64 {
	if s.clear < 0 {
		return s.clear - feather
	}
	return s.clear
}

// covers reports whether warp.Blend gives another plate no weight beside s.
func (s sight) covers(other sight, feather float64) bool {
	return s.rank(feather) >= other.rank(feather)+feather && s.margin >= min(other.margin, feather)
}

// bounds is a rectangle that grows; the zero value is empty.
type bounds struct {
	x0, y0, x1, y1 float64
	any            bool
}

func (b *bounds) add(x0, y0, x1, y1 float64) {
	if !b.any {
		*b = bounds{x0, y0, x1, y1, true}
		return
	}
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, x0), min(b.y0, y0), max(b.x1, x1), max(b.y1, y1)
}

// gridStep is the distance of the points of a target at which plates are
// compared, px.
func gridStep(t warp.Target) int {
	w, _ := t.Size()
	return min(max(1, w/256), 16)
}

// needs finds the part of each plate that a target shows. It looks at the centres of the
// cells of a grid over the target.
func (m *maker) needs(target warp.Target) ([]bounds, error) {
	w, h := target.Size()
	step, feather := gridStep(target), m.shoot.Plates.FeatherPx
	rows := (h + step - 1) / step
	parts := make([][]bounds, rows)
	err := parallel.Until(m.ctx, rows, func(row int) {
		parts[row] = make([]bounds, len(m.outlooks))
		sights, seen := make([]sight, len(m.outlooks)), make([]bool, len(m.outlooks))
		for x := 0; x < w; x += step {
			dir, ok := target.Unproject(float64(x)+float64(min(step, w-x))/2, float64(row*step)+float64(min(step, h-row*step))/2)
			if !ok {
				continue
			}
			for i := range m.outlooks {
				sights[i], seen[i] = m.outlooks[i].at(dir)
			}
			for i, s := range sights {
				needed := seen[i]
				for k := 0; k < len(sights) && needed; k++ {
					needed = k == i || !seen[k] || !sights[k].covers(s, feather)
				}
				if needed {
					parts[row][i].add(s.x, s.y, s.x, s.y)
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	all := make([]bounds, len(m.outlooks))
	for i := range all {
		for _, p := range parts {
			if b := p[i]; b.any {
				all[i].add(b.x0, b.y0, b.x1, b.y1)
			}
		}
		b := &all[i]
		if !b.any {
			continue
		}
		// Between these points a plate may be needed up to a step farther out, and the
		// filter reaches about as far again. Weights fade over the feather at the edges
		// of the part that is kept.
		mp, err := warp.NewMap(m.ctx, target, m.outlooks[i].camera, warp.MapOptions{})
		if err != nil {
			return nil, err
		}
		room := feather + 8 + 2*float64(step)*max(mp.Report().LargestScale, 1)
		b.add(b.x0-room, b.y0-room, b.x1+room, b.y1+room)
	}
	return all, nil
}

// priority is the priority of a plate over a target, in pixels of a frame whose
// pixels are scale plate px wide.
func (m *maker) priority(target warp.Target, i int, scale float64) (*warp.Priority, error) {
	w, h := target.Size()
	return warp.NewPriority(m.ctx, warp.PrioritySpec{
		Width: w, Height: h, Pitch: gridStep(target),
		At: func(x, y float64) float64 {
			if dir, ok := target.Unproject(x, y); ok {
				if s, ok := m.outlooks[i].at(dir); ok {
					return s.rank(m.shoot.Plates.FeatherPx) / scale
				}
			}
			return math.NaN() // no weight there
		},
	})
}
