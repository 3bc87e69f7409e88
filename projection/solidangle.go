package projection

import (
	"math"
	"slices"
	"sort"

	"example.com/platewright/internal/quadrature"
)

// SolidAngle is the solid angle, in sr, of what the camera images in the rectangle of the
// raster with the corners (x0, y0) and (x1, y1) px, within MaxAngle and the image circle.
// Its relative error is at most 1e-11, or 1e-15 sr.
//
//	Ω = ∮ (1 − cos θ) dφ    around the rectangle
//
// ok is false if a Distortion does not image every point of the edge, if a Model or
// Distortion is too rough for the error stated, and for corners more than 1e9 px from the
// raster.
func (c Camera) SolidAngle(x0, y0, x1, y1 float64) (sr float64, ok bool) {
	if c.c == nil || !(max(math.Abs(x0), math.Abs(y0), math.Abs(x1), math.Abs(y1)) <= 1e9) {
		return 0, false
	}
	if x0 == x1 || y0 == y1 {
		return 0, true
	}
	l := loop{c: c.c, ok: true, Adaptive: quadrature.Adaptive{Halvings: mostHalvings}}
	if m, ok := c.c.model.(*table); ok {
		l.knots = m.heights
	}
	corner := [4][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
	for i := range corner {
		corner[i][0] = (corner[i][0] - c.c.cx) / c.c.fx
		corner[i][1] = (corner[i][1] - c.c.cy) / c.c.fy
	}
	// Around a rectangle that does not contain the axis ∮ dφ = 0. Then 1 − cos θ may
	// be counted from its value at a corner, which keeps the digits of small ones.
	x, y := corner[0][0], corner[0][1]
	if math.Hypot(x, y) > 2*math.Hypot(corner[2][0]-x, corner[2][1]-y) {
		if a, b, ok := c.c.undistort(x, y); ok {
			l.level, _ = l.height(a*a + b*b)
		}
	}
	for i, p := range corner {
		q := corner[(i+1)%4]
		sr += l.edge(p, q)
	}
	if sr = math.Abs(sr); !l.ok || !(l.Unsettled <= 1e-11*sr+1e-15) {
		return 0, false
	}
	return sr, true
}

// loop integrates around a rectangle.
type loop struct {
	c     *camera
	level float64   // subtracted from 1 − cos θ
	knots []float64 // image heights at which the model's curvature jumps
	ok    bool
	quadrature.Adaptive
}

// mostHalvings is many times what smooth functions take. halvingsAKnot is what a
// knot takes under a Distortion, which leaves its place on the edge unknown. Near
// the end of a model whose radius stops growing, where its angle is known to half the
// digits, halving would never end.
const (
	mostHalvings  = 4096
	halvingsAKnot = 64
)

// height is 1 − cos θ at the square of an image height, no more than that at the
// limit, and its ratio to the square.
func (l *loop) height(r2 float64) (h, ratio float64) {
	r2 = min(r2, l.c.rMax*l.c.rMax)
	k, z, ok := l.c.mapping.ray(r2)
	l.ok = l.ok && ok
	if z < 0 {
		return 1 - z, (1 - z) / r2
	}
	ratio = k * k / (1 + z) // sin²θ/(1 + cos θ)
	return ratio * r2, ratio
}

// edge is the integral along a straight edge of the rectangle, in focal lengths.
func (l *loop) edge(p, q [2]float64) float64 {
	dx, dy := q[0]-p[0], q[1]-p[1]
	// Per unit of t, (a, b) the model's position.
	f := func(t float64) (value, size float64) {
		a, b := p[0]+t*dx, p[1]+t*dy
		da, db := dx, dy
		if d := l.c.distortion; d != nil {
			x, y, ok := l.c.undistort(a, b)
			ux, uy, vx, vy, ok2 := d.Jacobian(x, y)
			if !ok || !ok2 {
				l.ok = false
				return 0, 0
			}
			a, b = x, y
			det := ux*vy - uy*vx
			da, db = (vy*dx-uy*dy)/det, (ux*dy-vx*dx)/det
		}
		r2 := a*a + b*b
		turn := a*db - b*da
		h, ratio := l.height(r2)
		if l.level == 0 && r2 <= l.c.rMax*l.c.rMax {
			return ratio * turn, 0
		}
		turn /= r2
		return (h - l.level) * turn, (h + l.level) * math.Abs(turn)
	}
	// The circles of the limit and of the knots, where the integrand bends, divide
	// the edge.
	at := []float64{0, 1}
	if l.c.distortion == nil {
		d2 := dx*dx + dy*dy
		along := -(p[0]*dx + p[1]*dy) / d2
		off := (p[0]*dy - p[1]*dx) / math.Sqrt(d2)
		divide := func(t float64) {
			if t > 0 && t < 1 {
				at = append(at, t)
			}
		}
		circle := func(r float64) {
			if half2 := (r - off) * (r + off) / d2; half2 > 0 {
				half := math.Sqrt(half2)
				divide(along - half)
				divide(along + half)
			}
		}
		circle(l.c.rMax)
		divide(along) // the foot of the axis, near which it turns fastest
		far := min(l.c.rMax, max(math.Hypot(p[0], p[1]), math.Hypot(q[0], q[1])))
		for i := sort.SearchFloat64s(l.knots, math.Abs(off)); i < len(l.knots) && l.knots[i] < far; i++ {
			circle(l.knots[i])
		}
		slices.Sort(at)
		l.Halvings += len(at)
	} else {
		l.Halvings += halvingsAKnot * len(l.knots)
	}
	return l.Integral(f, at...)
}
