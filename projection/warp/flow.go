package warp

import "context"

// flow is a network over the contested nodes of a grid, from the layers before
// (the source) to the new one (the sink). Where the flow is largest, what still
// leads to the sink is the sink's side of a minimum cut.
//
// It grows by the way of Y. Boykov and V. Kolmogorov, IEEE Trans. PAMI 26
// (2004), 1124: two trees of what the source reaches and of what reaches the
// sink; where they meet flow is sent, and branches cut by that are mended.
type flow struct {
	nodes  []int      // the places on the grid
	beside [][4]int32 // the nodes next to each, by direction; −1: none
	room   [][4]int32 // what may still flow there
	excess []int64    // what may come from the source; negative: go to the sink

	tree    []tree
	parent  []int8  // direction of it, or one of those below
	age     []int64 // when dist was found
	dist    []int32 // to the root
	now     int64
	active  []int32 // nodes whose tree may grow there
	waiting []bool  // in active
	orphans []int32
}

type tree uint8

const (
	free tree = iota
	ofSource
	ofSink
)

// What a parent may be beside a direction.
const (
	root int8 = 4 + iota
	orphan
)

// toward is what may still flow along a branch of a tree between a node and
// the one beside it in a direction, the parent: from that, in the source's.
func (g *flow) toward(t tree, n int32, d int) int32 {
	if t == ofSource {
		return g.room[g.beside[n][d]][d^1]
	}
	return g.room[n][d]
}

// send takes an amount off that.
func (g *flow) send(t tree, n int32, d int, amount int32) {
	if t == ofSink {
		amount = -amount
	}
	g.room[n][d] += amount
	g.room[g.beside[n][d]][d^1] -= amount
}

// solve makes the flow largest.
func (g *flow) solve(ctx context.Context) error {
	n := len(g.nodes)
	g.tree, g.parent, g.waiting = make([]tree, n), make([]int8, n), make([]bool, n)
	g.age, g.dist = make([]int64, n), make([]int32, n)
	for i, e := range g.excess {
		if e != 0 {
			g.tree[i], g.parent[i], g.dist[i] = ofSource, root, 1
			if e < 0 {
				g.tree[i] = ofSink
			}
			g.activate(int32(i))
		}
	}
	for at := 0; at < len(g.active); {
		n := g.active[at]
		d := g.grow(n)
		g.now++
		if d < 0 {
			g.waiting[n] = false
			at++
			if at > 1<<16 { // let go of what is done
				g.active = append(g.active[:0], g.active[at:]...)
				at = 0
			}
		} else {
			g.augment(n, d)
		}
		if g.now&0xfff == 0 && ctx.Err() != nil {
			break
		}
	}
	return ctx.Err()
}

func (g *flow) activate(n int32) {
	if !g.waiting[n] {
		g.waiting[n] = true
		g.active = append(g.active, n)
	}
}

// grow lets a tree grow from a node, and gives the direction in which it meets
// the other, or −1.
func (g *flow) grow(n int32) int {
	t := g.tree[n]
	if t == free {
		return -1
	}
	for d, o := range g.beside[n] {
		// From the other node, the branch leads in the opposite direction.
		if o < 0 || g.toward(t, o, d^1) <= 0 {
			continue
		}
		switch {
		case g.tree[o] == free:
			g.tree[o] = t
			g.activate(o)
		case g.tree[o] != t:
			return d
		case g.parent[o] == root || g.age[o] > g.age[n] || g.dist[o] <= g.dist[n]+1:
			continue // else it is nearer to its root this way
		}
		g.parent[o], g.age[o], g.dist[o] = int8(d^1), g.age[n], g.dist[n]+1
	}
	return -1
}

// augment sends what the path through a node and the one beside it, of the
// other tree, can carry, and mends the trees.
func (g *flow) augment(n int32, d int) {
	o := g.beside[n][d]
	if g.tree[n] == ofSink {
		n, o, d = o, n, d^1
	}
	amount := int64(g.room[n][d])
	amount = min(amount, g.least(n), g.least(o))
	g.send(ofSink, n, d, int32(amount))
	g.carry(n, amount)
	g.carry(o, amount)
	for at := 0; at < len(g.orphans); at++ {
		g.adopt(g.orphans[at])
	}
	g.orphans = g.orphans[:0]
}

// least is what the branches from a node to its root can carry.
func (g *flow) least(n int32) int64 {
	t, least := g.tree[n], int64(1)<<62
	for ; g.parent[n] != root; n = g.beside[n][g.parent[n]] {
		least = min(least, int64(g.toward(t, n, int(g.parent[n]))))
	}
	return min(least, max(g.excess[n], -g.excess[n]))
}

// carry sends an amount along them, and cuts off what is full.
func (g *flow) carry(n int32, amount int64) {
	t := g.tree[n]
	for g.parent[n] != root {
		d := int(g.parent[n])
		g.send(t, n, d, int32(amount))
		if g.toward(t, n, d) == 0 {
			g.disown(n)
		}
		n = g.beside[n][d]
	}
	if t == ofSink {
		amount = -amount
	}
	g.excess[n] -= amount
	if g.excess[n] == 0 {
		g.disown(n)
	}
}

func (g *flow) disown(n int32) {
	g.parent[n] = orphan
	g.orphans = append(g.orphans, n)
}

// adopt finds a node the parent of its tree that is nearest to a root, or sets
// it free, and its children out.
func (g *flow) adopt(n int32) {
	t := g.tree[n]
	nearest, parent := int32(-1), int8(orphan)
	for d, o := range g.beside[n] {
		if o < 0 || g.tree[o] != t || g.toward(t, n, d) <= 0 {
			continue
		}
		if dist := g.depth(o); dist > 0 && (nearest < 0 || dist < nearest) {
			nearest, parent = dist, int8(d)
		}
	}
	g.parent[n] = parent
	if nearest > 0 {
		g.age[n], g.dist[n] = g.now, nearest+1
		return
	}
	for d, o := range g.beside[n] {
		if o < 0 || g.tree[o] != t {
			continue
		}
		if g.toward(t, n, d) > 0 {
			g.activate(o)
		}
		if g.parent[o] == int8(d^1) {
			g.disown(o)
		}
	}
	g.tree[n] = free
}

// depth is the number of nodes from a node to its root, or 0 where an orphan
// stands between. What it passes is marked, so that the next walk is short.
func (g *flow) depth(n int32) int32 {
	steps, at := int32(0), n
	for g.age[at] != g.now && g.parent[at] != root {
		if g.parent[at] == orphan {
			return 0
		}
		at = g.beside[at][g.parent[at]]
		steps++
	}
	if g.age[at] != g.now {
		g.age[at], g.dist[at] = g.now, 1
	}
	depth := g.dist[at] + steps
	for dist := depth; g.age[n] != g.now; n = g.beside[n][g.parent[n]] {
		g.age[n], g.dist[n] = g.now, dist
		dist--
	}
	return depth
}

// leads says of each node whether it leads to the sink still.
func (g *flow) leads() []bool {
	leads := make([]bool, len(g.nodes))
	var queue []int32
	for n, e := range g.excess {
		if e < 0 {
			leads[n] = true
			queue = append(queue, int32(n))
		}
	}
	for len(queue) > 0 {
		n := queue[0]
		queue = queue[1:]
		for d, o := range g.beside[n] {
			if o >= 0 && !leads[o] && g.room[o][d^1] > 0 {
				leads[o] = true
				queue = append(queue, o)
			}
		}
	}
	return leads
}
