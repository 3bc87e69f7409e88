package warp

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// LabelMapSpec says which layer a target shows where: seams by hand.
type LabelMapSpec struct {
	Width, Height int // of the target, px

	// Pitch is the distance of the nodes at which At is asked, px. It is made
	// smaller until it divides the side.
	Pitch int

	Layers int // at most 64

	// At is the layer shown at a target position, from 0 to Layers − 1; others
	// stand for none. It is asked once a node, from one goroutine.
	At func(x, y float64) int

	WrapX bool // the left and right edges of the target meet
}

// NewLabelPriorities gives each layer of a blend the Priority that puts the seams
// where the labels change: the distance from there in target pixels, positive
// where the layer is shown. The feathers are then widths in target pixels.
// Corners are exact to about half a pitch.
//
// It returns the context's error when cancelled. Source of the distances: P. F.
// Felzenszwalb and D. P. Huttenlocher, Distance Transforms of Sampled
// Functions, Theory of Computing 8 (2012), 415.
func NewLabelPriorities(ctx context.Context, spec LabelMapSpec) ([]*Priority, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	c.Int("Width", spec.Width, "px", 1, maxSide)
	c.Int("Height", spec.Height, "px", 1, maxSide)
	c.Int("Pitch", spec.Pitch, "px", 1, maxSide)
	c.Int("Layers", spec.Layers, "", 1, maxSeamLayers)
	if spec.At == nil {
		c.Fault("At", "nil", "must be given")
	}
	if c.OK() {
		checkNodes(c, spec.Width, spec.Height, spec.Pitch)
	}
	if !c.OK() {
		return nil, c.Err()
	}
	t := newTerritory(spec.Width, spec.Height, spec.Pitch, spec.WrapX)
	for i := range t.labels {
		x, y := t.grid.node(i%t.columns, i/t.columns)
		if label := spec.At(x, y); label >= 0 && label < spec.Layers {
			t.labels[i] = int16(label)
		}
		if i%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	return t.priorities(ctx, spec.Layers, 0)
}

// maxSeamNodes is the most nodes of a grid of labels: seams take some 100 bytes
// for each.
const maxSeamNodes = 1 << 23

// maxSeamLayers bounds the layers, and so the priorities made of them.
const maxSeamLayers = 64

func checkNodes(c *valid.Checker, width, height, pitch int) {
	g := newGrid(width, height, pitch)
	if n := int64(g.nx) * int64(g.ny); n > maxSeamNodes {
		c.Fault("Pitch", fmt.Sprintf("%d px", pitch), "must make at most %d nodes on %d × %d px, not %d", maxSeamNodes, width, height, n)
	}
}

// territory is a grid of labels.
type territory struct {
	grid    *Priority // its nodes only
	wrap    bool
	columns int     // of labels; where the target wraps, one less than of nodes
	ny      int     // rows
	labels  []int16 // the layer shown at each node; −1: none
}

func newTerritory(width, height, pitch int, wrap bool) territory {
	g := newGrid(width, height, pitch)
	t := territory{grid: g, wrap: wrap, columns: g.nx, ny: g.ny}
	if wrap {
		t.columns--
	}
	t.labels = make([]int16, t.columns*t.ny)
	for i := range t.labels {
		t.labels[i] = -1
	}
	return t
}

// priorities are the signed distances of each layer from where it ends.
func (t *territory) priorities(ctx context.Context, layers, workers int) ([]*Priority, error) {
	out := make([]*Priority, layers)
	var crew crew
	err := crew.run(ctx, workers, layers, nil, func(k int, _ *scratch) { out[k] = t.priority(int16(k)) })
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (t *territory) priority(k int16) *Priority {
	s := *t.grid
	s.values = make([]float32, s.nx*s.ny)
	own := t.distances(func(label int16) bool { return label == k })
	other := t.distances(func(label int16) bool { return label >= 0 && label != k })
	// A layer ends midway between nodes.
	half := 0.5 * min(1/s.perX, 1/s.perY)
	for i := range s.ny {
		for n := range s.nx {
			at := i*t.columns + n%t.columns
			d := other[at] - own[at]
			d = math.Copysign(max(math.Abs(d)-half, 0), d)
			s.values[i*s.nx+n] = float32(d)
		}
	}
	return &s
}

// distances are those from each node to the nearest of a kind, px, or maxSide.
func (t *territory) distances(of func(label int16) bool) []float64 {
	d := make([]float64, len(t.labels))
	const far = float64(maxSide) * maxSide
	for i, label := range t.labels {
		if !of(label) {
			d[i] = far
		}
	}
	nx, ny := t.columns, t.ny
	var e envelope
	line := make([]float64, max(3*nx, ny))
	for x := range nx {
		for y := range ny {
			line[y] = d[y*nx+x]
		}
		e.transform(line[:ny], 1/t.grid.perY)
		for y := range ny {
			d[y*nx+x] = line[y]
		}
	}
	for y := range ny {
		row := d[y*nx : (y+1)*nx]
		if t.wrap { // a turn to either side
			copy(line, row)
			copy(line[nx:], row)
			copy(line[2*nx:], row)
			e.transform(line[:3*nx], 1/t.grid.perX)
			copy(row, line[nx:2*nx])
		} else {
			e.transform(row, 1/t.grid.perX)
		}
		for x, v := range row {
			row[x] = min(math.Sqrt(v), maxSide)
		}
	}
	return d
}

// envelope is the lower envelope of parabolas.
type envelope struct {
	foot   []int     // where each parabola stands
	from   []float64 // where it becomes the lowest
	values []float64
}

// transform replaces each f[q] by the least of f[p] + (step·(q − p))².
func (e *envelope) transform(f []float64, step float64) {
	e.foot, e.from, e.values = e.foot[:0], e.from[:0], append(e.values[:0], f...)
	square := step * step
	for q, v := range e.values {
		at := math.Inf(-1)
		for len(e.foot) > 0 {
			last := len(e.foot) - 1
			p := e.foot[last]
			// Where the parabolas of p and q cross.
			at = (v-e.values[p])/(2*square*float64(q-p)) + float64(q+p)/2
			if at > e.from[last] {
				break
			}
			e.foot, e.from = e.foot[:last], e.from[:last]
			at = math.Inf(-1)
		}
		e.foot, e.from = append(e.foot, q), append(e.from, at)
	}
	k := 0
	for q := range f {
		for k+1 < len(e.from) && e.from[k+1] < float64(q) {
			k++
		}
		p := e.foot[k]
		d := step * float64(q-p)
		f[q] = e.values[p] + d*d
	}
}
