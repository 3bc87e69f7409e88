package warp

import (
	"context"
	"math"

	"example.com/platewright/internal/valid"
)

// maxNodes is the most nodes of a grid over a target: 256 MB of float32.
const maxNodes = 1 << 26

// PrioritySpec says how a layer stands against others over a target.
type PrioritySpec struct {
	Width, Height int // of the target, px

	// Pitch is the distance of the nodes at which At is asked, px. It is made
	// smaller until it divides the side.
	Pitch int

	// At gives the priority at a target position, within [0, Width] × [0,
	// Height], the edges of the raster included. It is asked once a node, from
	// one goroutine. Where it gives NaN the nearest node that has a value
	// stands in; infinities count as ±2²⁴.
	At func(x, y float64) float64
}

// Priority is how a layer stands against others over a target: Blend shows the
// one that stands highest, and fades over the layer's feather in the same unit.
// Let a layer stand by its distance in target pixels from where it is to end,
// negative beyond, and the feather is the width of the fade in target pixels.
//
// It is a grid of values, bilinear between nodes, so it never jumps; it is
// immutable and safe for concurrent use.
type Priority struct {
	width, height int
	nx, ny        int // nodes
	perX, perY    float64
	values        []float32
}

// NewPriority evaluates a priority at the nodes of its grid. It returns the
// context's error when cancelled.
func NewPriority(ctx context.Context, spec PrioritySpec) (*Priority, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	c.Int("Width", spec.Width, "px", 1, maxSide)
	c.Int("Height", spec.Height, "px", 1, maxSide)
	c.Int("Pitch", spec.Pitch, "px", 1, maxSide)
	if spec.At == nil {
		c.Fault("At", "nil", "must be given")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	s := newGrid(spec.Width, spec.Height, spec.Pitch)
	c.Number("nodes", float64(s.nx)*float64(s.ny), "", valid.Closed[float64](1, maxNodes))
	if !c.OK() {
		return nil, c.Err()
	}
	s.values = make([]float32, s.nx*s.ny)
	for i := range s.ny {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for k := range s.nx {
			x, y := s.node(k, i)
			s.values[i*s.nx+k] = float32(min(max(spec.At(x, y), -maxSide), maxSide)) // NaN stays
		}
	}
	s.fill()
	return s, nil
}

// newGrid lays nodes over a target, the edges included.
func newGrid(width, height, pitch int) *Priority {
	s := &Priority{width: width, height: height, nx: (width+pitch-1)/pitch + 1, ny: (height+pitch-1)/pitch + 1}
	s.perX, s.perY = float64(s.nx-1)/float64(width), float64(s.ny-1)/float64(height)
	return s
}

// node is the target position of a node.
func (s *Priority) node(k, i int) (x, y float64) {
	return float64(s.width) * float64(k) / float64(s.nx-1), float64(s.height) * float64(i) / float64(s.ny-1)
}

// fill gives every NaN the value of the nearest node, in steps along the grid,
// that has one; without any, 0.
func (s *Priority) fill() {
	var queue []int
	for i, v := range s.values {
		if v == v {
			queue = append(queue, i)
		}
	}
	if len(queue) == 0 {
		clear(s.values)
		return
	}
	if len(queue) == len(s.values) {
		return
	}
	for len(queue) > 0 {
		i := queue[0]
		queue = queue[1:]
		for _, n := range neighbours(i, s.nx, s.ny, false) {
			if n >= 0 && s.values[n] != s.values[n] {
				s.values[n] = s.values[i]
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

// At is the priority at a target position; ok is false outside the target.
func (s *Priority) At(x, y float64) (priority float64, ok bool) {
	if s == nil || !(x >= 0 && x <= float64(s.width) && y >= 0 && y <= float64(s.height)) || s.values == nil {
		return 0, false
	}
	return s.at(x, y), true
}

func (s *Priority) at(x, y float64) float64 {
	x, y = x*s.perX, y*s.perY
	k, i := min(int(x), s.nx-2), min(int(y), s.ny-2)
	u, v := x-float64(k), y-float64(i)
	p, q := s.values[i*s.nx+k:], s.values[(i+1)*s.nx+k:]
	a, b, c, d := float64(p[0]), float64(p[1]), float64(q[0]), float64(q[1])
	top, bottom := a+float64(u*(b-a)), c+float64(u*(d-c))
	return top + float64(v*(bottom-top))
}

// bounds are those of the priority over the pixels [x0, x1) of a row.
func (s *Priority) bounds(y, x0, x1 int) (low, high float64) {
	i := min(int((float64(y)+0.5)*s.perY), s.ny-2)
	first, last := int((float64(x0)+0.5)*s.perX), min(int((float64(x1)-0.5)*s.perX)+1, s.nx-1)
	low, high = math.Inf(1), math.Inf(-1)
	for k := min(first, last-1); k <= last; k++ {
		a, b := float64(s.values[i*s.nx+k]), float64(s.values[(i+1)*s.nx+k])
		low, high = min(low, a, b), max(high, a, b)
	}
	// A last place of the interpolation.
	slack := 1e-9 * max(math.Abs(low), math.Abs(high))
	return low - slack, high + slack
}

// SamplingPriority gives a priority (see PrioritySpec.At) by how many pixels a layer's
// source has for a target pixel:
//
//	p = octave · log₂ √|det J|,   J = ∂(sx, sy)/∂(x, y)
//
// A layer whose source is twice as fine as another's along each axis stands
// higher by octave, in whatever unit the feathers have. Where the map does not
// see it is NaN. Add to it what else counts, as a part of the margin.
func SamplingPriority(m *Map, octave float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		j, ok := m.Jacobian(x, y)
		if !ok {
			return math.NaN()
		}
		return octave * math.Log2(math.Abs(j.XX*j.YY-j.XY*j.YX)) / 2
	}
}
