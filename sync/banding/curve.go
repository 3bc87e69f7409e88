package banding

import (
	"cmp"
	"math"
	"slices"
)

// point is a corner of a curve.
type point struct{ x, y float64 }

// curve is a function that is linear between its corners, which are in ascending order
// of x. The first corner is at 0 and the last is at 1.
type curve []point

// at is the curve at x, if corner i is the first that is not to the left of x.
func (c curve) at(i int, x float64) float64 {
	if i == 0 || c[i].x == x {
		return c[i].y
	}
	p, q := c[i-1], c[i]
	return p.y + (q.y-p.y)*((x-p.x)/(q.x-p.x))
}

// find is the curve at x, 0 to 1.
func (c curve) find(x float64) float64 {
	i, _ := slices.BinarySearchFunc(c, x, func(p point, x float64) int { return cmp.Compare(p.x, x) })
	return c.at(i, x)
}

// walk calls f with both curves at each x where one has a corner, from left to right.
func walk(a, b curve, f func(x, ya, yb float64, ofA, ofB bool)) {
	for i, j := 0, 0; i < len(a) && j < len(b); {
		x := min(a[i].x, b[j].x)
		ofA, ofB := a[i].x == x, b[j].x == x
		f(x, a.at(i, x), b.at(j, x), ofA, ofB)
		for i < len(a) && a[i].x <= x {
			i++
		}
		for j < len(b) && b[j].x <= x {
			j++
		}
	}
}

// sum is s·a + t·b.
func sum(s float64, a curve, t float64, b curve) curve {
	var out curve
	walk(a, b, func(x, ya, yb float64, _, _ bool) { out = append(out, point{x, s*ya + t*yb}) })
	return out
}

// upper is the larger of two curves at each place.
func upper(a, b curve) curve {
	out := make(curve, 0, max(len(a), len(b)))
	var x0, y0, gap0 float64 // the last x, and there a and a − b
	walk(a, b, func(x, ya, yb float64, ofA, ofB bool) {
		gap := ya - yb
		if gap*gap0 < 0 {
			t := gap0 / (gap0 - gap)
			out = append(out, point{x0 + (x-x0)*t, y0 + (ya-y0)*t})
		}
		// A corner of the lower curve is none of the upper one.
		if gap == 0 || gap > 0 && ofA || gap < 0 && ofB {
			out = append(out, point{x, max(ya, yb)})
		}
		x0, y0, gap0 = x, ya, gap
	})
	return out
}

// highest is the largest of n curves at each place.
func highest(n int, at func(i int) curve) curve {
	if n == 1 {
		return at(0)
	}
	half := n / 2
	return upper(highest(half, at), highest(n-half, func(i int) curve { return at(half + i) }))
}

// negated is −c.
func (c curve) negated() curve {
	out := make(curve, len(c))
	for i, p := range c {
		out[i] = point{p.x, -p.y}
	}
	return out
}

// below lists the intervals in which the curve is at most y, in ascending order.
func (c curve) below(y float64) (intervals []Range[float64]) {
	add := func(from, to float64) {
		if n := len(intervals); n > 0 && intervals[n-1].To == from {
			intervals[n-1].To = to
			return
		}
		intervals = append(intervals, Range[float64]{from, to})
	}
	for i, p := range c[:len(c)-1] {
		q := c[i+1]
		cross := func() float64 { return p.x + (q.x-p.x)*((y-p.y)/(q.y-p.y)) }
		switch {
		case p.y <= y && q.y <= y:
			add(p.x, q.x)
		case p.y <= y:
			add(p.x, cross())
		case q.y <= y:
			add(cross(), q.x)
		}
	}
	return intervals
}

// top is the largest value of the curve.
func (c curve) top() float64 {
	most := math.Inf(-1)
	for _, p := range c {
		most = max(most, p.y)
	}
	return most
}
