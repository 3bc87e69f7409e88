// Package mincut divides a network in two by the cut of least cost.
//
// The method is that of Y. Boykov and V. Kolmogorov, An Experimental Comparison
// of Min-Cut/Max-Flow Algorithms, IEEE Trans. PAMI 26 (2004), 1124, from memory. Two
// search trees grow, one from the source and one towards the sink. Where they meet, flow
// is sent along the path found, and branches that it saturates are reattached.
package mincut

import "context"

// Graph is a network of nodes with up to four neighbours each, as on a grid.
// Direction d^1 is the opposite of direction d: the neighbour of n in direction d
// has n as its neighbour in direction d^1.
type Graph struct {
	Neighbours [][4]int32 // by direction; −1: none
	Capacity   [][4]int32 // from a node to each neighbour, 0 or more

	// Terminal is the capacity from the source to each node. A negative value is
	// a capacity from the node to the sink.
	Terminal []int64
}

// Cut finds a minimum cut and says of each node whether it lies on the side of
// the sink. Of several minimum cuts it takes the one with the fewest nodes on that
// side. It uses up the capacities of g. The error is that of a cancelled context.
func Cut(ctx context.Context, g Graph) (ofSink []bool, err error) {
	n := len(g.Terminal)
	s := &solver{
		Graph: g,
		tree:  make([]tree, n), parent: make([]int8, n), queued: make([]bool, n),
		stamp: make([]int64, n), depth: make([]int32, n),
	}
	if err := s.saturate(ctx); err != nil {
		return nil, err
	}
	return s.reachSink(), nil
}

// solver turns capacities into residual capacities of a largest flow.
type solver struct {
	Graph
	tree    []tree
	parent  []int8  // its direction, or root or orphan
	depth   []int32 // nodes to the root, as of the time stamp
	stamp   []int64
	now     int64
	active  []int32 // nodes whose tree may grow there
	queued  []bool  // is in active
	orphans []int32
}

// tree is the search tree that holds a node.
type tree uint8

const (
	free tree = iota
	ofSource
	ofSink
)

// Values of parent beside a direction.
const (
	root int8 = 4 + iota
	orphan
)

// residual is what may still flow between node n and its neighbour in direction
// d, which is its parent in tree t: from the parent in the tree of the source, to
// the parent in that of the sink.
func (s *solver) residual(t tree, n int32, d int) int32 {
	if t == ofSource {
		return s.Capacity[s.Neighbours[n][d]][d^1]
	}
	return s.Capacity[n][d]
}

// send lets an amount flow there.
func (s *solver) send(t tree, n int32, d int, amount int32) {
	if t == ofSink {
		amount = -amount
	}
	s.Capacity[n][d] += amount
	s.Capacity[s.Neighbours[n][d]][d^1] -= amount
}

// saturate finds a largest flow.
func (s *solver) saturate(ctx context.Context) error {
	for i, t := range s.Terminal {
		if t != 0 {
			s.tree[i], s.parent[i], s.depth[i] = ofSource, root, 1
			if t < 0 {
				s.tree[i] = ofSink
			}
			s.activate(int32(i))
		}
	}
	var spare []int32
	for len(s.active) > 0 {
		batch := s.active
		s.active, spare = spare[:0], batch
		for _, n := range batch {
			for d := s.grow(n); d >= 0; d = s.grow(n) {
				s.augment(n, d)
			}
			s.queued[n] = false
			if err := ctx.Err(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *solver) activate(n int32) {
	if !s.queued[n] {
		s.queued[n] = true
		s.active = append(s.active, n)
	}
}

// grow extends the tree of a node to its neighbours, and gives the direction in
// which it meets the other tree, or −1.
func (s *solver) grow(n int32) int {
	s.now++
	t := s.tree[n]
	if t == free {
		return -1
	}
	for d, o := range s.Neighbours[n] {
		// From the neighbour, n lies in the opposite direction.
		if o < 0 || s.residual(t, o, d^1) <= 0 {
			continue
		}
		switch {
		case s.tree[o] == free:
			s.tree[o] = t
			s.activate(o)
		case s.tree[o] != t:
			return d
		case s.stamp[o] > s.stamp[n] || s.depth[o] <= s.depth[n]+1:
			continue // else o is nearer to its root by way of n
		}
		s.parent[o], s.stamp[o], s.depth[o] = int8(d^1), s.stamp[n], s.depth[n]+1
	}
	return -1
}

// augment sends what the path through n and its neighbour, of the other tree,
// can carry, and mends the trees.
func (s *solver) augment(n int32, d int) {
	o := s.Neighbours[n][d]
	if s.tree[n] == ofSink {
		n, o, d = o, n, d^1
	}
	amount := min(int64(s.Capacity[n][d]), s.bottleneck(n), s.bottleneck(o))
	s.send(ofSink, n, d, int32(amount))
	s.push(n, amount)
	s.push(o, amount)
	for first := 0; first < len(s.orphans); first++ {
		s.adopt(s.orphans[first])
	}
	s.orphans = s.orphans[:0]
}

// bottleneck is what the branches from a node to its root can carry.
func (s *solver) bottleneck(n int32) int64 {
	t, least := s.tree[n], int64(1)<<62
	for ; s.parent[n] != root; n = s.Neighbours[n][s.parent[n]] {
		least = min(least, int64(s.residual(t, n, int(s.parent[n]))))
	}
	return min(least, max(s.Terminal[n], -s.Terminal[n]))
}

// push sends an amount along the branches from a node to its root, and cuts off
// those that are saturated.
func (s *solver) push(n int32, amount int64) {
	t := s.tree[n]
	for s.parent[n] != root {
		d := int(s.parent[n])
		s.send(t, n, d, int32(amount))
		if s.residual(t, n, d) == 0 {
			s.orphan(n)
		}
		n = s.Neighbours[n][d]
	}
	if t == ofSink {
		amount = -amount
	}
	s.Terminal[n] -= amount
	if s.Terminal[n] == 0 {
		s.orphan(n)
	}
}

func (s *solver) orphan(n int32) {
	s.parent[n] = orphan
	s.orphans = append(s.orphans, n)
}

// adopt gives an orphan a parent of its tree that is connected to a root. Without
// any, the node becomes free and its children orphans.
func (s *solver) adopt(n int32) {
	t := s.tree[n]
	for d, o := range s.Neighbours[n] {
		if o < 0 || s.tree[o] != t || s.residual(t, n, d) <= 0 {
			continue
		}
		if depth := s.toRoot(o); depth > 0 {
			s.parent[n], s.stamp[n], s.depth[n] = int8(d), s.now, depth+1
			return
		}
	}
	for d, o := range s.Neighbours[n] {
		if o < 0 || s.tree[o] != t {
			continue
		}
		if s.residual(t, n, d) > 0 {
			s.activate(o)
		}
		if s.parent[o] == int8(d^1) {
			s.orphan(o)
		}
	}
	s.tree[n] = free
}

// toRoot is the number of nodes from a node to its root, or 0 if the way ends at
// an orphan. The nodes passed keep their depth, so that the next walk is short.
func (s *solver) toRoot(n int32) int32 {
	steps, at := int32(0), n
	for s.stamp[at] != s.now && s.parent[at] != root {
		if s.parent[at] == orphan {
			return 0
		}
		at = s.Neighbours[at][s.parent[at]]
		steps++
	}
	if s.stamp[at] != s.now {
		s.stamp[at], s.depth[at] = s.now, 1
	}
	total := s.depth[at] + steps
	for depth := total; s.stamp[n] != s.now; n = s.Neighbours[n][s.parent[n]] {
		s.stamp[n], s.depth[n] = s.now, depth
		depth--
	}
	return total
}

// reachSink says of each node whether more could flow from it to the sink.
func (s *solver) reachSink() []bool {
	reach := make([]bool, len(s.Terminal))
	var queue []int32
	for n, t := range s.Terminal {
		if t < 0 {
			reach[n] = true
			queue = append(queue, int32(n))
		}
	}
	for len(queue) > 0 {
		n := queue[0]
		queue = queue[1:]
		for d, o := range s.Neighbours[n] {
			if o >= 0 && !reach[o] && s.Capacity[o][d^1] > 0 {
				reach[o] = true
				queue = append(queue, o)
			}
		}
	}
	return reach
}
