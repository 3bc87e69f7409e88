package stage

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// tree is a bounding volume hierarchy: a binary tree whose nodes hold the box
// around all items below them. A ray or a point that is outside the box of a node
// cannot meet any of its items.
type tree struct {
	nodes []node
	order []int32 // items, so that those of a leaf are neighbours
	boxes []box   // of the items
}

type node struct {
	middle, half r3.Vec  // of the box
	first, count int32   // of a leaf: items order[first : first+count]; otherwise children first and first+1, count 0
	_            [8]byte // makes a node 64 bytes: one line of a processor's cache
}

type box struct{ min, max r3.Vec }

const (
	leafSize      = 2  // the greatest number of items of a leaf
	slicesOfANode = 16 // of equal width, between which a node may be divided
	maxDepth      = 20 // from here on nodes are halved: a million items take 20 levels more
	maxStack      = 44
)

func newTree(boxes []box) tree {
	if len(boxes) == 0 {
		return tree{}
	}
	t := tree{nodes: make([]node, 1, 2*len(boxes)), order: make([]int32, len(boxes)), boxes: boxes}
	for i := range t.order {
		t.order[i] = int32(i)
	}
	t.split(0, 0, len(boxes), 0)
	return t
}

// split makes node n of the items order[from:to].
func (t *tree) split(n, from, to, depth int) {
	boxes := t.boxes
	items := t.order[from:to]
	around := boxes[items[0]]
	middles := box{around.middle(), around.middle()}
	for _, i := range items[1:] {
		around = around.with(boxes[i])
		m := boxes[i].middle()
		middles = middles.with(box{m, m})
	}
	t.nodes[n].middle, t.nodes[n].half = around.middle(), r3.Scale(0.5, r3.Sub(around.max, around.min))
	if len(items) <= leafSize {
		t.nodes[n].first, t.nodes[n].count = int32(from), int32(len(items))
		return
	}
	half := (from + to) / 2
	if depth < maxDepth {
		half = from + t.divide(items, middles)
	}
	first := len(t.nodes)
	t.nodes = append(t.nodes, node{}, node{})
	t.nodes[n].first = int32(first)
	t.split(first, from, half, depth+1)
	t.split(first+1, half, to, depth+1)
}

// divide sorts items into two groups, and gives the number of the first. A ray that
// meets the box around all of them meets that of a group with a probability
// proportional to its area; so the groups are those, between slices of space along one
// axis, with the least sum of area times items.
func (t *tree) divide(items []int32, middles box) (first int) {
	low, spread := middles.min, r3.Sub(middles.max, middles.min)
	slice := func(axis int, i int32) int {
		at := component(r3.Sub(t.boxes[i].middle(), low), axis) / component(spread, axis)
		return min(int(at*slicesOfANode), slicesOfANode-1)
	}
	best, bestAxis, bestSlice := math.Inf(1), -1, 0
	for axis := range 3 {
		if !(component(spread, axis) > 0) {
			continue
		}
		var boxes [slicesOfANode]box
		var counts [slicesOfANode]int
		for _, i := range items {
			k := slice(axis, i)
			if counts[k]++; counts[k] == 1 {
				boxes[k] = t.boxes[i]
			} else {
				boxes[k] = boxes[k].with(t.boxes[i])
			}
		}
		// From the right, the cost of what lies beyond each slice; then from the left.
		var beyond [slicesOfANode]float64
		var group box
		count := 0
		add := func(k int) float64 {
			if counts[k] > 0 {
				if count == 0 {
					group = boxes[k]
				}
				group = group.with(boxes[k])
				count += counts[k]
			}
			return group.area() * float64(count)
		}
		for k := slicesOfANode - 1; k > 0; k-- {
			beyond[k-1] = add(k)
		}
		// The first and the last slice hold an item, so neither group is empty.
		count = 0
		for k := range slicesOfANode - 1 {
			if cost := add(k) + beyond[k]; cost < best {
				best, bestAxis, bestSlice = cost, axis, k
			}
		}
	}
	if bestAxis < 0 {
		return len(items) / 2 // all in one place
	}
	for i, item := range items {
		if slice(bestAxis, item) <= bestSlice {
			items[i], items[first] = items[first], item
			first++
		}
	}
	return first
}

func component(v r3.Vec, axis int) float64 { return [3]float64{v.X, v.Y, v.Z}[axis] }

// area is half of that of the faces of a box.
func (b box) area() float64 {
	d := r3.Sub(b.max, b.min)
	return d.X*d.Y + d.Y*d.Z + d.Z*d.X
}

// visit calls f with every item whose box meets b, until f returns false.
func (t *tree) visit(b box, f func(item int32) bool) {
	if len(t.nodes) == 0 {
		return
	}
	var few [maxStack]int32
	for todo := append(few[:0], 0); len(todo) > 0; {
		n := &t.nodes[todo[len(todo)-1]]
		todo = todo[:len(todo)-1]
		switch {
		case !n.meets(b):
		case n.count == 0:
			todo = append(todo, n.first, n.first+1)
		default:
			for _, i := range t.order[n.first : n.first+n.count] {
				if t.boxes[i].meets(b) && !f(i) {
					return
				}
			}
		}
	}
}

func (b box) middle() r3.Vec { return r3.Scale(0.5, r3.Add(b.min, b.max)) }

func (b box) with(c box) box {
	return box{
		r3.Vec{X: min(b.min.X, c.min.X), Y: min(b.min.Y, c.min.Y), Z: min(b.min.Z, c.min.Z)},
		r3.Vec{X: max(b.max.X, c.max.X), Y: max(b.max.Y, c.max.Y), Z: max(b.max.Z, c.max.Z)},
	}
}

func (b box) meets(c box) bool {
	return b.min.X <= c.max.X && c.min.X <= b.max.X &&
		b.min.Y <= c.max.Y && c.min.Y <= b.max.Y &&
		b.min.Z <= c.max.Z && c.min.Z <= b.max.Z
}

// meets reports whether the box of a node meets another.
func (n *node) meets(b box) bool {
	return box{r3.Sub(n.middle, n.half), r3.Add(n.middle, n.half)}.meets(b)
}

func boxAround(points []r3.Vec, margin float64) box {
	b := box{points[0], points[0]}
	for _, p := range points[1:] {
		b = b.with(box{p, p})
	}
	m := r3.Vec{X: margin, Y: margin, Z: margin}
	return box{r3.Sub(b.min, m), r3.Add(b.max, m)}
}

// face is a flat surface that rays meet: a panel, or one polygon of a blocker. Its
// own coordinates x and y are pixels from the upper left corner of a panel, or
// metres from the corner of the rectangle around a polygon.
type face struct {
	corner  r3.Vec // where x and y are 0
	normal  r3.Vec // unit; the lit side of a panel
	x, y    r3.Vec // x = x·(p − corner), and y alike
	w, h    float64
	panel   int32    // its number, or −1
	blocker int32    // its number, or −1
	outline []r2.Vec // of a polygon, in x and y
}

// edge is how far outside its outline, in the face's own coordinates, a ray still
// counts as meeting it, so that none slips through a joint of two panels.
const edge = 1e-6

// meet is the t > from at which the ray o + t d meets the face, or +Inf.
func (f *face) meet(o, d r3.Vec, from float64) float64 {
	to := r3.Sub(f.corner, o)
	t := r3.Dot(f.normal, to) / r3.Dot(f.normal, d)
	if !(t > from && t <= math.MaxFloat64) {
		return math.Inf(1)
	}
	p := r3.Vec{X: t*d.X - to.X, Y: t*d.Y - to.Y, Z: t*d.Z - to.Z}
	x, y := r3.Dot(f.x, p), r3.Dot(f.y, p)
	if !(x >= -edge && x <= f.w+edge && y >= -edge && y <= f.h+edge) || (f.outline != nil && !inside(f.outline, x, y)) {
		return math.Inf(1)
	}
	return t
}

// at is a point of the face's plane in the face's own coordinates.
func (f *face) at(p r3.Vec) (x, y float64) {
	p = r3.Sub(p, f.corner)
	return r3.Dot(f.x, p), r3.Dot(f.y, p)
}

// inside reports whether an outline goes around a point: a line from the point to
// the right crosses it an odd number of times.
func inside(outline []r2.Vec, x, y float64) bool {
	in := false
	a := outline[len(outline)-1]
	for _, b := range outline {
		if (a.Y > y) != (b.Y > y) && x < a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
		a = b
	}
	return in
}

// nearest is the number of the first face that the ray o + t d meets, with
// from < t < to, and its t. It is −1 if there is none. The faces stand in the
// order of the tree.
func (t *tree) nearest(faces []face, o, d r3.Vec, from, to float64) (first int32, at float64) {
	first, at = -1, to
	limit := bits(at)
	if len(t.nodes) == 0 {
		return first, at
	}
	r := ray{o: o, inv: r3.Vec{X: inverse(d.X), Y: inverse(d.Y), Z: inverse(d.Z)}}
	r.size = r3.Vec{X: math.Abs(r.inv.X), Y: math.Abs(r.inv.Y), Z: math.Abs(r.inv.Z)}
	type later struct {
		node int32
		t    int64
	}
	var stack [maxStack]later
	depth := 0
	n := int32(0)
	for {
		nd := &t.nodes[n]
		if nd.count > 0 {
			for i := nd.first; i < nd.first+nd.count; i++ {
				if t := faces[i].meet(o, d, from); t < at {
					first, at, limit = i, t, bits(t)
				}
			}
		} else {
			near, far := nd.first, nd.first+1
			tn, tf := r.enter((*[2]node)(t.nodes[near:]), bits(from), limit)
			if tf < tn {
				near, far, tn, tf = far, near, tf, tn
			}
			if tf < limit {
				stack[depth] = later{far, tf}
				depth++
			}
			if tn < limit {
				n = near
				continue
			}
		}
		for {
			if depth == 0 {
				return first, at
			}
			depth--
			if stack[depth].t < limit {
				n = stack[depth].node
				break
			}
		}
	}
}

// ray is a ray o + t d as the boxes need it: 1/d, and its size.
type ray struct{ o, inv, size r3.Vec }

// enter gives the t ≥ from at which a ray enters each of two boxes, or +Inf if it does
// not before to. from is 0 or more.
//
// Processors predict the branches of such a test badly, so there are few. Instead of
// numbers it compares their bits as integers, which is faster. Of numbers that are not
// negative, the order is the same. Negative ones come before all others; their order
// among themselves does not matter here.
func (r *ray) enter(n *[2]node, from, to int64) (first, second int64) {
	a, b := &n[0], &n[1]
	x, y, z := (a.middle.X-r.o.X)*r.inv.X, (a.middle.Y-r.o.Y)*r.inv.Y, (a.middle.Z-r.o.Z)*r.inv.Z
	dx, dy, dz := a.half.X*r.size.X, a.half.Y*r.size.Y, a.half.Z*r.size.Z
	first = max(from, bits(x-dx), bits(y-dy), bits(z-dz))
	out := min(to, bits(x+dx), bits(y+dy), bits(z+dz))
	if first > out {
		first = never
	}
	x, y, z = (b.middle.X-r.o.X)*r.inv.X, (b.middle.Y-r.o.Y)*r.inv.Y, (b.middle.Z-r.o.Z)*r.inv.Z
	dx, dy, dz = b.half.X*r.size.X, b.half.Y*r.size.Y, b.half.Z*r.size.Z
	second = max(from, bits(x-dx), bits(y-dy), bits(z-dz))
	out = min(to, bits(x+dx), bits(y+dy), bits(z+dz))
	if second > out {
		second = never
	}
	return first, second
}

const never = math.MaxInt64

func bits(x float64) int64 { return int64(math.Float64bits(x)) }

// inverse is 1/x, or a large number of its sign that times 0 is 0.
func inverse(x float64) float64 {
	if math.Abs(x) < 1e-250 {
		return math.Copysign(1e250, x)
	}
	return 1 / x
}
