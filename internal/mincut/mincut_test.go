package mincut

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// grid is a network of w by h nodes; the ends of its rows are neighbours too.
// All nodes have a terminal or every second or third, and capacities are small or large.
func grid(rng *rand.Rand, w, h int) Graph {
	n := w * h
	most, one := []int{2, 20}[rng.IntN(2)], 1+rng.IntN(3)
	g := Graph{Neighbours: make([][4]int32, n), Capacity: make([][4]int32, n), Terminal: make([]int64, n)}
	for i := range n {
		x, y := i%w, i/w
		g.Neighbours[i] = [4]int32{int32(y*w + (x+1)%w), int32(y*w + (x+w-1)%w), int32(i + w), int32(i - w)}
		if y == h-1 {
			g.Neighbours[i][2] = -1
		}
		if y == 0 {
			g.Neighbours[i][3] = -1
		}
		for d := range 4 {
			g.Capacity[i][d] = int32(rng.IntN(most))
		}
		if rng.IntN(one) == 0 {
			g.Terminal[i] = int64(rng.IntN(2*most+1) - most)
		}
	}
	return g
}

func clone(g Graph) Graph {
	return Graph{g.Neighbours, append([][4]int32(nil), g.Capacity...), append([]int64(nil), g.Terminal...)}
}

// cost is what a division of the network cuts.
func cost(g Graph, ofSink func(n int32) bool) (sum int64) {
	for n := range g.Terminal {
		n := int32(n)
		switch t := g.Terminal[n]; {
		case t > 0 && ofSink(n):
			sum += t
		case t < 0 && !ofSink(n):
			sum -= t
		}
		for d, o := range g.Neighbours[n] {
			if o >= 0 && !ofSink(n) && ofSink(o) {
				sum += int64(g.Capacity[n][d])
			}
		}
	}
	return sum
}

// TestCutAgainstAllDivisions of networks of 12 nodes: the cut costs the least,
// and has the fewest nodes of the sink among those that do.
func TestCutAgainstAllDivisions(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for trial := range 60 {
		g := grid(rng, 2+trial%3, 12/(2+trial%3))
		got, err := Cut(t.Context(), clone(g))
		require.NoError(t, err)
		bits := 0
		for n, is := range got {
			if is {
				bits |= 1 << n
			}
		}
		side := func(division int) func(n int32) bool {
			return func(n int32) bool { return division>>n&1 == 1 }
		}
		least := cost(g, side(bits))
		for division := range 1 << 12 {
			if c := cost(g, side(division)); c < least || c == least && bits&division != bits {
				t.Fatalf("trial %d: cut %b costs %d, cut %b %d", trial, bits, least, division, c)
			}
		}
	}
}

// TestCutIsTheLargestFlow on networks too large to try all divisions: a flow
// found path by path, breadth first, is as large as the cut is dear.
func TestCutIsTheLargestFlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 60 {
		g := grid(rng, 3+rng.IntN(30), 3+rng.IntN(30))
		got, err := Cut(t.Context(), clone(g))
		require.NoError(t, err)
		assert.Equal(t, largestFlow(clone(g)), cost(g, func(n int32) bool { return got[n] }))
	}
}

// largestFlow is by the shortest path, again and again (J. Edmonds and R. M. Karp,
// J. ACM 19 (1972), 248).
func largestFlow(g Graph) (total int64) {
	for {
		from := make([]int8, len(g.Terminal)) // direction back, 4 at a source; −1: not reached
		var queue []int32
		for n, t := range g.Terminal {
			from[n] = -1
			if t > 0 {
				from[n] = 4
				queue = append(queue, int32(n))
			}
		}
		end := int32(-1)
		for len(queue) > 0 && end < 0 {
			n := queue[0]
			queue = queue[1:]
			if g.Terminal[n] < 0 {
				end = n
			}
			for d, o := range g.Neighbours[n] {
				if o >= 0 && from[o] < 0 && g.Capacity[n][d] > 0 {
					from[o] = int8(d ^ 1)
					queue = append(queue, o)
				}
			}
		}
		if end < 0 {
			return total
		}
		amount := -g.Terminal[end]
		begin := end
		for ; from[begin] < 4; begin = g.Neighbours[begin][from[begin]] {
			back := g.Neighbours[begin][from[begin]]
			amount = min(amount, int64(g.Capacity[back][from[begin]^1]))
		}
		amount = min(amount, g.Terminal[begin])
		g.Terminal[end] += amount
		g.Terminal[begin] -= amount
		for n := end; from[n] < 4; n = g.Neighbours[n][from[n]] {
			back := g.Neighbours[n][from[n]]
			g.Capacity[back][from[n]^1] -= int32(amount)
			g.Capacity[n][from[n]] += int32(amount)
		}
		total += amount
	}
}

func TestCutCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Cut(ctx, grid(rand.New(rand.NewPCG(1, 1)), 100, 100))
	assert.ErrorIs(t, err, context.Canceled)
	ofSink, err := Cut(t.Context(), Graph{})
	assert.NoError(t, err)
	assert.Empty(t, ofSink)
}
