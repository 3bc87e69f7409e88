package projection

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Jacobian is how a camera's raster position moves when the direction turns a
// little, to the right or up. The direction p and the unit vectors Right and Up
// are at right angles to each other, so for small angles
//
//	dir = p + right·Right + up·Up
//	dx  = XRight·right + XUp·up
//	dy  = YRight·right + YUp·up
//
// Right and Up are the camera's own, carried along from the optical axis to p by
// the shortest turn: on the axis they are the camera's right and top, and
// nowhere but opposite to it do they jump.
type Jacobian struct {
	Right, Up                r3.Vec  // in the stage frame
	XRight, XUp, YRight, YUp float64 // px per radian; y down
}

// Jacobian is the derivative of Project in a direction: dir in the stage frame,
// of any length but 0. In closed form it is
//
//	F · D · R(φ) · diag(dr/dθ, r/sin θ) · R(−φ) · diag(1, −1)
//
// with F the focal lengths, D the Distortion's Jacobian, R(φ) the rotation by
// the angle about the axis, and the last factor for up, which is against y. ok
// is that of Camera.Density. The singular values of the matrix are the densities
// of the direction in which it is sampled most and least finely, and a pixel
// there has the solid angle of the inverse of its determinant.
func (c Camera) Jacobian(dir r3.Vec) (j Jacobian, ok bool) {
	if c.c == nil {
		return Jacobian{}, false
	}
	v, n, ok := c.c.local(dir)
	if !ok {
		return Jacobian{}, false
	}
	p, ok := c.c.polar(v, n)
	if !ok {
		return Jacobian{}, false
	}
	sinT, cosT := math.Sqrt(v.X*v.X+v.Y*v.Y)/n, v.Z/n
	bend := 1 - cosT
	if cosT > 0 {
		bend = sinT * sinT / (1 + cosT)
	}
	right := r3.Vec{X: 1 - bend*p.cos*p.cos, Y: -bend * p.cos * p.sin, Z: -sinT * p.cos}
	down := r3.Vec{X: -bend * p.cos * p.sin, Y: 1 - bend*p.sin*p.sin, Z: -sinT * p.sin}
	return Jacobian{
		Right: c.c.toStage(right), Up: r3.Scale(-1, c.c.toStage(down)),
		XRight: p.cos*p.xr - p.sin*p.xt, XUp: -p.sin*p.xr - p.cos*p.xt,
		YRight: p.cos*p.yr - p.sin*p.yt, YUp: -p.sin*p.yr - p.cos*p.yt,
	}, true
}

// Angles is the inverse of the Jacobian: how far to the right and up the
// direction turns while the raster position moves by (dx, dy) px, as long as
// that is little. ok is false where the Jacobian has no inverse, as on the rim of
// an orthographic image, and for values that are not finite.
func (j Jacobian) Angles(dx, dy float64) (right, up unit.Angle, ok bool) {
	scale := max(math.Abs(j.XRight), math.Abs(j.XUp), math.Abs(j.YRight), math.Abs(j.YUp))
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return 0, 0, false
	}
	a, b, c, d := j.XRight/scale, j.XUp/scale, j.YRight/scale, j.YUp/scale
	det := a*d - b*c
	x, y := (d*dx-b*dy)/det/scale, (a*dy-c*dx)/det/scale
	if !(math.Abs(x) <= math.MaxFloat64 && math.Abs(y) <= math.MaxFloat64) {
		return 0, 0, false
	}
	return unit.Angle(x), unit.Angle(y), true
}

// SolidAngle is the solid angle, in sr, of what the camera images in a rectangle
// of the raster with the corners (x0, y0) and (x1, y1) px: a pixel, a tile, the
// raster or more. It is the sum of those of its parts, within 1e-11 of it and
// 1e-15 sr.
//
//	Ω = ∮ (1 − cos θ) dφ    around the rectangle, no farther out than the limit
//
// What lies beyond MaxAngle or the image circle counts nothing. Where there is a
// Distortion, ok is false for a rectangle of which a point on the edge is not
// imaged. It is false as well where a Model or Distortion is too rough for the
// error stated, for corners that are not finite, those that lie more than 1e9 px
// from the raster, and for the zero Camera.
func (c Camera) SolidAngle(x0, y0, x1, y1 float64) (sr float64, ok bool) {
	if c.c == nil || !(max(math.Abs(x0), math.Abs(y0), math.Abs(x1), math.Abs(y1)) <= 1e9) {
		return 0, false
	}
	if x0 == x1 || y0 == y1 {
		return 0, true
	}
	l := loop{c: c.c, ok: true, left: mostHalvings}
	if m, pieced := c.c.model.(interface{ knots() []float64 }); pieced {
		l.knots = m.knots()
	}
	corner := [4][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
	for i := range corner {
		corner[i][0] = (corner[i][0] - c.c.cx) / c.c.fx
		corner[i][1] = (corner[i][1] - c.c.cy) / c.c.fy
	}
	// Around a rectangle that does not hold the axis, ∮ dφ = 0: 1 − cos θ may be
	// counted from that at its middle, which leaves the digits of small ones.
	mx, my := (corner[0][0]+corner[2][0])/2, (corner[0][1]+corner[2][1])/2
	reach := math.Hypot(corner[2][0]-mx, corner[2][1]-my)
	if math.Hypot(mx, my) > 4*reach {
		if a, b, ok := c.c.undistort(mx, my); ok {
			l.level, _ = l.height(a*a + b*b)
		}
	}
	for i, p := range corner {
		q := corner[(i+1)%4]
		sr += l.edge(p, q)
	}
	if sr = math.Abs(sr); !l.ok || !(l.open <= 1e-11*sr+1e-15) {
		return 0, false
	}
	return sr, true
}

// loop integrates around a rectangle.
type loop struct {
	c     *camera
	level float64   // taken off 1 − cos θ
	knots []float64 // image heights at which the model's curvature jumps
	ok    bool
	left  int     // halvings
	open  float64 // sum of the differences at which halving ended too early
}

// mostHalvings is many times what smooth functions take, and halvingsAKnot what
// a knot does under a Distortion, where it lies anywhere. Near a stop of a
// model's radius, where its angle is known but to the root of a rounding, there
// is no end.
const (
	mostHalvings  = 4096
	halvingsAKnot = 64
)

// height is 1 − cos θ at the square of an image height, no more than that at the
// limit, and its ratio to the square.
func (l *loop) height(r2 float64) (h, ratio float64) {
	r2 = min(r2, l.c.rMax*l.c.rMax)
	k, z, ok := l.c.ray(r2)
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
	// The limit's circle and those of the knots, which bend what is integrated,
	// divide the edge.
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
		l.left += len(at)
	} else {
		l.left += halvingsAKnot * len(l.knots)
	}
	parts := make([]integral, len(at)-1)
	tolerance := 0.0
	for i := range parts {
		parts[i] = gauss(f, at[i], at[i+1])
		tolerance += 1e-14*parts[i].abs + 1e-15*parts[i].size
	}
	sum := 0.0
	for i, part := range parts {
		sum += l.integrate(f, at[i], at[i+1], part, tolerance/float64(len(parts)), 40)
	}
	return sum
}

// integral is one of a function, one of its absolute value, and one of the size
// of what its rounding is in proportion to.
type integral struct{ value, abs, size float64 }

// integrate halves an interval until the halves say what the whole says.
func (l *loop) integrate(f func(float64) (value, size float64), a, b float64, whole integral, tolerance float64, depth int) float64 {
	m := (a + b) / 2
	left, right := gauss(f, a, m), gauss(f, m, b)
	l.left--
	sum := left.value + right.value
	switch d := math.Abs(sum - whole.value); {
	case d <= tolerance:
		return sum
	case depth == 0 || l.left <= 0:
		l.open += d
		return sum
	}
	return l.integrate(f, a, m, left, tolerance, depth-1) + l.integrate(f, m, b, right, tolerance, depth-1)
}

// gaussAt and gaussWeight are the rule of Gauss and Legendre of ten places on
// −1 … 1.
var gaussAt, gaussWeight = func() (x, w [10]float64) {
	quad.Legendre{}.FixedLocations(x[:], w[:], -1, 1)
	return x, w
}()

func gauss(f func(float64) (value, size float64), a, b float64) (g integral) {
	for i, x := range gaussAt {
		value, size := f((a+b)/2 + x*(b-a)/2)
		w := gaussWeight[i] * (b - a) / 2
		g.value += w * value
		g.abs += w * math.Abs(value)
		g.size += w * size
	}
	return g
}
