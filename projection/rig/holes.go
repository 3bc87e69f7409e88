package rig

import (
	"cmp"
	"math"
	"slices"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Hole is a connected region of directions that no camera of a rig sees.
type Hole struct {
	SolidAngle float64 // sr
	// Centre is the direction of the centroid, of length 1 in the stage frame. It may
	// lie outside a hole that is not convex.
	Centre r3.Vec
	// Radius is the angular radius of the smallest cap around Centre that contains
	// the hole, to within 0.3°.
	Radius unit.Angle
}

// holeGrain, rad, is the largest radius of a triangle that limits of a hole may cut.
const holeGrain = 0.004

// Holes finds the regions that no camera sees, largest first, and the sum of their solid
// angles. The tolerance, in sr, is that of the sum. If the OK of the sum is false, the
// result is the best that was reached within a million triangles.
//
// Regions less than about a degree apart may be reported as one. Regions smaller than
// their fraction of the tolerance may be missing. What Coverage refuses is an error.
func (r Rig) Holes(tolerance float64) (holes []Hole, sum SolidAngle, err error) {
	v := valid.New("rig", ErrInvalid)
	r.checkTolerance(v, tolerance)
	if err := v.Err(); err != nil {
		return nil, SolidAngle{}, err
	}
	w := r.walk(tolerance, func(e float64) *walker {
		return &walker{regions: r.regions, finest: e, coarsest: holeGrain, most: 1 << 20, keep: true}
	})
	// Drop slivers that are not larger than the error.
	pieces := slices.DeleteFunc(w.pieces, func(p piece) bool { return p.area <= w.tree[p.node].err })
	empty := make([]bool, len(w.tree))
	for _, p := range pieces {
		empty[p.node] = true
	}
	group := connect(w.tree, empty)

	index := map[int]int{} // of a group in holes
	moments := []r3.Vec{}
	for _, p := range pieces {
		g := group.find(p.node)
		i, known := index[g]
		if !known {
			i = len(holes)
			index[g] = i
			holes = append(holes, Hole{})
			moments = append(moments, r3.Vec{})
		}
		holes[i].SolidAngle += p.area
		moments[i] = r3.Add(moments[i], moment(p.corner))
	}
	for _, p := range pieces {
		i := index[group.find(p.node)]
		h := &holes[i]
		if h.Centre == (r3.Vec{}) {
			m := moments[i]
			if r3.Norm(m) < 1e-6*h.SolidAngle {
				m = p.corner[0] // it lies evenly around: any direction is the centre
			}
			h.Centre = sphere.Unit(m)
		}
		// Where the point opposite to the centre is not in the hole, the farthest of
		// the hole is on its limits, where pieces are small: a corner is near.
		if holds(p.corner, r3.Scale(-1, h.Centre)) {
			h.Radius = math.Pi
		}
		for _, v := range p.corner {
			h.Radius = max(h.Radius, unit.Angle(sphere.Angle(h.Centre, v)))
		}
	}
	slices.SortStableFunc(holes, func(a, b Hole) int { return cmp.Compare(b.SolidAngle, a.SolidAngle) })
	for _, h := range holes {
		sum.Value += h.SolidAngle
	}
	sum.Error, sum.OK = w.err, w.err <= tolerance
	return holes, sum, nil
}

// moment is the integral of the direction over a spherical polygon: half the sum,
// over its edges, of their lengths times their inward normals.
func moment(polygon []r3.Vec) (m r3.Vec) {
	last := polygon[len(polygon)-1]
	for _, c := range polygon {
		n := r3.Cross(last, c)
		if sin := sphere.Norm(n); sin > 0 {
			m = r3.Add(m, r3.Scale(math.Atan2(sin, r3.Dot(last, c))/(2*sin), n))
		}
		last = c
	}
	return m
}

// holds reports whether a convex spherical polygon, less than a hemisphere and
// counted anticlockwise, holds a point, edges included.
func holds(polygon []r3.Vec, v r3.Vec) bool {
	const slack = 1e-15
	last := polygon[len(polygon)-1]
	wide := 0.0
	for _, c := range polygon {
		if r3.Dot(v, r3.Cross(last, c)) < -slack {
			return false
		}
		wide = max(wide, sphere.Angle(polygon[0], c))
		last = c
	}
	// A sliver's edges do not tell how far it reaches.
	return sphere.Angle(polygon[0], v) <= wide+slack
}

// groups is a forest in which connected nodes have one root.
type groups []int

func (g groups) find(i int) int {
	for g[i] != i {
		g[i] = g[g[i]]
		i = g[i]
	}
	return i
}

func (g groups) join(a, b int) { g[g.find(a)] = g.find(b) }

// connect joins the leaves of the tree that share a piece of an edge and both hold
// directions that no camera sees.
func connect(tree []node, empty []bool) groups {
	g := make(groups, len(tree))
	for i := range g {
		g[i] = i
	}
	// across joins what meets at edge ea of a and edge eb of b, which run in
	// opposite senses. Edge k leads from corner k to corner k+1, and the children
	// at these corners keep it as their edge k.
	var across func(a, ea, b, eb int)
	across = func(a, ea, b, eb int) {
		ca, cb := tree[a].child, tree[b].child
		a0, a1, b0, b1 := a, a, b, b
		if ca != 0 {
			a0, a1 = ca+ea, ca+(ea+1)%3
		}
		if cb != 0 {
			b0, b1 = cb+eb, cb+(eb+1)%3
		}
		if ca == 0 && cb == 0 {
			if empty[a] && empty[b] {
				g.join(a, b)
			}
			return
		}
		across(a0, ea, b1, eb)
		across(a1, ea, b0, eb)
	}
	for _, n := range tree {
		if c := n.child; c != 0 {
			// The middle child meets the others at the edges opposite to their
			// corners.
			across(c+3, 0, c+2, 0)
			across(c+3, 1, c, 1)
			across(c+3, 2, c+1, 2)
		}
	}
	for a, ta := range octants {
		for b, tb := range octants[:a] {
			for ea := range 3 {
				for eb := range 3 {
					if ta[ea] == tb[(eb+1)%3] && ta[(ea+1)%3] == tb[eb] {
						across(a, ea, b, eb)
					}
				}
			}
		}
	}
	return g
}
