package warp

import (
	"context"
	"math"

	"example.com/platewright/internal/valid"
)

// LabelMapSpec describes a label map: which layer is shown where.
type LabelMapSpec struct {
	Width, Height int // of the target, px
	Pitch         int // between the nodes of the grid, px; reduced until it divides the side
	Layers        int // at most 64

	// At gives the layer shown at a target position, 0 to Layers − 1. Any other
	// value means none. It is called once per node, from one goroutine.
	At func(x, y float64) int

	WrapX bool // the left and right edges of the target meet
}

// NewLabelPriorities gives the priorities of layers that put the seams where the
// labels change. They are distances from there, as those of FindSeams. Corners are
// exact to about half a pitch.
func NewLabelPriorities(ctx context.Context, spec LabelMapSpec) ([]*Priority, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	g := newGrid(c, spec.Width, spec.Height, spec.Pitch, maxSeamNodes)
	c.Int("Layers", spec.Layers, "", 1, maxSeamLayers)
	if spec.At == nil {
		c.Fault("At", "nil", "must be given")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	m := newLabelMap(g, spec.WrapX)
	for i := range m.labels {
		x, y := g.node(i%m.columns, i/m.columns)
		if label := spec.At(x, y); label >= 0 && label < spec.Layers {
			m.labels[i] = int16(label)
		}
		if i%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	return m.priorities(ctx, spec.Layers, 0)
}

// maxSeamNodes is the most nodes of a label map: seams take some 100 bytes for
// each.
const maxSeamNodes = 1 << 23

// maxSeamLayers bounds the layers, and so the priorities made of them.
const maxSeamLayers = 64

// labelMap is the layer shown at each node of a grid.
type labelMap struct {
	grid
	wrap    bool
	columns int     // of labels; one less than of nodes if the target wraps
	labels  []int16 // −1: none
}

func newLabelMap(g grid, wrap bool) labelMap {
	m := labelMap{grid: g, wrap: wrap, columns: g.nx}
	if wrap {
		m.columns--
	}
	m.labels = make([]int16, m.columns*m.ny)
	for i := range m.labels {
		m.labels[i] = -1
	}
	return m
}

// priorities are the signed distances of each layer from where it ends.
func (m *labelMap) priorities(ctx context.Context, layers, goroutines int) ([]*Priority, error) {
	out := make([]*Priority, layers)
	var g workers
	err := g.run(ctx, goroutines, layers, nil, func(k int, _ *scratch) { out[k] = m.priority(int16(k)) })
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (m *labelMap) priority(k int16) *Priority {
	p := &Priority{grid: m.grid, values: make([]float32, m.nx*m.ny)}
	own := m.distances(func(label int16) bool { return label == k })
	other := m.distances(func(label int16) bool { return label >= 0 && label != k })
	// A layer ends midway between nodes.
	half := 0.5 * min(1/m.perX, 1/m.perY)
	for i := range m.ny {
		for n := range m.nx {
			at := i*m.columns + n%m.columns
			d := other[at] - own[at]
			d = math.Copysign(max(math.Abs(d)-half, 0), d)
			p.values[i*m.nx+n] = float32(d)
		}
	}
	return p
}

// distances are those from each node to the nearest of a kind, px, or maxSide.
// Source: P. F. Felzenszwalb and D. P. Huttenlocher, Distance Transforms of Sampled
// Functions, Theory of Computing 8 (2012), 415.
func (m *labelMap) distances(of func(label int16) bool) []float64 {
	d := make([]float64, len(m.labels))
	const far = float64(maxSide) * maxSide
	for i, label := range m.labels {
		if !of(label) {
			d[i] = far
		}
	}
	nx, ny := m.columns, m.ny
	var e envelope
	line := make([]float64, max(3*nx, ny))
	for x := range nx {
		for y := range ny {
			line[y] = d[y*nx+x]
		}
		e.transform(line[:ny], 1/m.perY)
		for y := range ny {
			d[y*nx+x] = line[y]
		}
	}
	for y := range ny {
		row := d[y*nx : (y+1)*nx]
		if m.wrap { // a turn to either side
			copy(line, row)
			copy(line[nx:], row)
			copy(line[2*nx:], row)
			e.transform(line[:3*nx], 1/m.perX)
			copy(row, line[nx:2*nx])
		} else {
			e.transform(row, 1/m.perX)
		}
		for x, v := range row {
			row[x] = min(math.Sqrt(v), maxSide)
		}
	}
	return d
}

// envelope is the lower envelope of parabolas.
type envelope struct {
	vertex []int     // of each parabola
	from   []float64 // where each becomes the lowest
	values []float64
}

// transform replaces each f[q] by the least of f[p] + (step·(q − p))².
func (e *envelope) transform(f []float64, step float64) {
	e.vertex, e.from, e.values = e.vertex[:0], e.from[:0], append(e.values[:0], f...)
	square := step * step
	for q, v := range e.values {
		at := math.Inf(-1)
		for len(e.vertex) > 0 {
			last := len(e.vertex) - 1
			p := e.vertex[last]
			// Where the parabolas of p and q cross.
			at = (v-e.values[p])/(2*square*float64(q-p)) + float64(q+p)/2
			if at > e.from[last] {
				break
			}
			e.vertex, e.from = e.vertex[:last], e.from[:last]
			at = math.Inf(-1)
		}
		e.vertex, e.from = append(e.vertex, q), append(e.from, at)
	}
	k := 0
	for q := range f {
		for k+1 < len(e.from) && e.from[k+1] < float64(q) {
			k++
		}
		p := e.vertex[k]
		d := step * float64(q-p)
		f[q] = e.values[p] + d*d
	}
}
