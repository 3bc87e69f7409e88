package warp

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// maxNodes is the most nodes of a grid over a target: 256 MB of float32.
const maxNodes = 1 << 26

// PrioritySpec describes the priority of a layer over a target.
type PrioritySpec struct {
	Width, Height int // of the target, px
	Pitch         int // between the nodes of the grid, px; reduced until it divides the side
	// At gives the priority at a target position, within [0, Width] × [0, Height].
	// It is called once per node, from one goroutine. A node where it gives NaN
	// takes the value of the nearest node that has one. Infinities count as ±2²⁴.
	At func(x, y float64) float64
}

// Priority is the priority of a layer over a target. Blend shows the layer of the
// highest priority and fades over the layer's feather, which is in the same unit: of a
// distance in target pixels, it is the width of the fade in target pixels.
type Priority struct {
	grid
	values []float32
}

// NewPriority evaluates a priority at the nodes of its grid, and interpolates
// between them bilinearly.
func NewPriority(ctx context.Context, spec PrioritySpec) (*Priority, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	g := newGrid(c, spec.Width, spec.Height, spec.Pitch, maxNodes)
	if spec.At == nil {
		c.Fault("At", "nil", "must be given")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	p := &Priority{grid: g, values: make([]float32, g.nx*g.ny)}
	for i := range g.ny {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for k := range g.nx {
			x, y := g.node(k, i)
			p.values[i*g.nx+k] = float32(min(max(spec.At(x, y), -maxSide), maxSide)) // NaN stays
		}
	}
	p.fillGaps()
	return p, nil
}

// grid is nodes over a target, the edges included.
type grid struct {
	width, height int // of the target, px
	nx, ny        int // nodes
	perX, perY    float64
}

// newGrid lays nodes over a target, or tells c what is wrong.
func newGrid(c *valid.Checker, width, height, pitch, most int) grid {
	c.Int("Width", width, "px", 1, maxSide)
	c.Int("Height", height, "px", 1, maxSide)
	c.Int("Pitch", pitch, "px", 1, maxSide)
	if !c.OK() {
		return grid{}
	}
	g := grid{width: width, height: height, nx: (width+pitch-1)/pitch + 1, ny: (height+pitch-1)/pitch + 1}
	if n := int64(g.nx) * int64(g.ny); n > int64(most) {
		c.Fault("Pitch", fmt.Sprintf("%d px", pitch), "must make at most %d nodes on %d × %d px, not %d", most, width, height, n)
	}
	g.perX, g.perY = float64(g.nx-1)/float64(width), float64(g.ny-1)/float64(height)
	return g
}

// node is the target position of a node.
func (g *grid) node(k, i int) (x, y float64) {
	return float64(g.width) * float64(k) / float64(g.nx-1), float64(g.height) * float64(i) / float64(g.ny-1)
}

// fillGaps gives every NaN the value of the nearest node that has one, in steps
// along the grid; without any, 0.
func (p *Priority) fillGaps() {
	var queue []int
	for i, v := range p.values {
		if v == v {
			queue = append(queue, i)
		}
	}
	if len(queue) == 0 {
		clear(p.values)
		return
	}
	if len(queue) == len(p.values) {
		return
	}
	for len(queue) > 0 {
		i := queue[0]
		queue = queue[1:]
		for _, n := range neighbours(i, p.nx, p.ny, false) {
			if n >= 0 && p.values[n] != p.values[n] {
				p.values[n] = p.values[i]
				queue = append(queue, n)
			}
		}
	}
}

// The four directions of a grid, in pairs of opposites.
const (
	right = iota
	left
	down
	up
)

// neighbours are those of a node of a grid, by direction; −1 beyond its edges.
func neighbours(i, nx, ny int, wrap bool) (n [4]int) {
	x, y := i%nx, i/nx
	n = [4]int{right: i + 1, left: i - 1, down: i + nx, up: i - nx}
	if x == nx-1 {
		n[right] = -1
		if wrap {
			n[right] = i + 1 - nx
		}
	}
	if x == 0 {
		n[left] = -1
		if wrap {
			n[left] = i - 1 + nx
		}
	}
	if y == ny-1 {
		n[down] = -1
	}
	if y == 0 {
		n[up] = -1
	}
	return n
}

// At gives the priority at a target position. ok is false outside the target.
func (p *Priority) At(x, y float64) (priority float64, ok bool) {
	if p == nil || !(x >= 0 && x <= float64(p.width) && y >= 0 && y <= float64(p.height)) || p.values == nil {
		return 0, false
	}
	return p.at(x, y), true
}

func (p *Priority) at(x, y float64) float64 {
	x, y = x*p.perX, y*p.perY
	k, i := min(int(x), p.nx-2), min(int(y), p.ny-2)
	u, v := x-float64(k), y-float64(i)
	upper, lower := p.values[i*p.nx+k:], p.values[(i+1)*p.nx+k:]
	a, b, c, d := float64(upper[0]), float64(upper[1]), float64(lower[0]), float64(lower[1])
	top, bottom := a+float64(u*(b-a)), c+float64(u*(d-c))
	return top + float64(v*(bottom-top))
}

// bounds are those of the priority over the pixels [x0, x1) of a row.
func (p *Priority) bounds(y, x0, x1 int) (low, high float64) {
	i := min(int((float64(y)+0.5)*p.perY), p.ny-2)
	first, last := int((float64(x0)+0.5)*p.perX), min(int((float64(x1)-0.5)*p.perX)+1, p.nx-1)
	low, high = math.Inf(1), math.Inf(-1)
	for k := min(first, last-1); k <= last; k++ {
		a, b := float64(p.values[i*p.nx+k]), float64(p.values[(i+1)*p.nx+k])
		low, high = min(low, a, b), max(high, a, b)
	}
	// A last place of the interpolation.
	slack := 1e-9 * max(math.Abs(low), math.Abs(high))
	return low - slack, high + slack
}

// SamplingPriority gives a function for PrioritySpec.At: the logarithm of a layer's
// source pixels per target pixel,
//
//	p = octave · log₂ √|det J|,   J = ∂(sx, sy)/∂(x, y)
//
// If the source of a layer is twice as fine along each axis, its priority is higher
// by octave, in the unit of the feathers. It is NaN where the map does not see.
func SamplingPriority(m *Map, octave float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		j, ok := m.Jacobian(x, y)
		if !ok {
			return math.NaN()
		}
		return octave * math.Log2(math.Abs(j.XX*j.YY-j.XY*j.YX)) / 2
	}
}
