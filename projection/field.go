package projection

import (
	"math"

	"example.com/platewright/internal/root"
	"example.com/platewright/internal/sphere"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// FieldOfView is the angle seen across and down the raster, along the row and the
// column of the principal point, and from corner to corner. Each is the sum of the
// field angles at both ends, so it is right for an offset principal point. Of the two
// diagonals it is the larger. Each end counts as far as MaxAngle, the image circle
// and the Distortion's domain allow. If the principal point lies beside the raster,
// across and down are differences of field angles. All are 0 for the zero Camera.
func (c Camera) FieldOfView() (across, down, diagonal unit.Angle) {
	if c.c == nil {
		return 0, 0, 0
	}
	left, right := c.c.cx/c.c.fx, (float64(c.c.width)-c.c.cx)/c.c.fx
	top, bottom := c.c.cy/c.c.fy, (float64(c.c.height)-c.c.cy)/c.c.fy
	across = c.c.sight(-left, 0, left) + c.c.sight(right, 0, right)
	down = c.c.sight(0, -top, top) + c.c.sight(0, bottom, bottom)
	diagonal = max(
		c.c.sight(-left, -top, 1)+c.c.sight(right, bottom, 1),
		c.c.sight(right, -top, 1)+c.c.sight(-left, bottom, 1))
	return across, down, diagonal
}

// sight is the field angle, with a sign, at an image position in focal lengths, or
// where the way to it from the axis leaves what the lens images.
func (c *camera) sight(u, v, sign float64) unit.Angle {
	if c.distortion == nil {
		return c.side(math.Copysign(math.Hypot(u, v), sign))
	}
	at := func(t float64) (float64, bool) {
		x, y, ok := c.undistort(t*u, t*v)
		return math.Hypot(x, y), ok
	}
	r, ok := at(1)
	if !ok {
		r, _ = at(root.Boundary(func(t float64) bool { _, ok := at(t); return ok }, 1, 0))
	}
	return c.side(math.Copysign(r, sign))
}

// side is the field angle, with the sign of r, at an image height of the model, or
// the largest.
func (c *camera) side(r float64) unit.Angle {
	theta, ok := unit.Angle(c.thetaMax), true
	if math.Abs(r) < c.rMax {
		theta, ok = c.model.Angle(math.Abs(r))
	}
	if !ok {
		return 0
	}
	return unit.Angle(math.Copysign(float64(theta), r))
}

// fieldSteps is into how many parts a line is divided before any is halved.
const fieldSteps = 64

// FieldAlong is the field of view along a straight line of the raster from
// (x0, y0) to (x1, y1) px, such as a row from (0, y) to (Width, y), or a diagonal
// from corner to corner. Only the part of the line that the camera sees counts, as
// for Margin.
//
// Between is the angle between the rays at the ends of the line. Turned is the angle
// through which the ray turns on the way from one to the other. The ray does not take
// the shortest way along a line of a fisheye that misses the principal point, and
// Turned is then larger; it may exceed 180°. The error of Turned is at most 1e-9 rad
// if the model is smooth, and 1e-7 rad if an end lies on a rim.
//
// ok is false if no part of the line is seen, if a Distortion's domain ends within
// the part seen, and for ends that are equal, not finite, or more than 1e9 px from the
// raster.
func (c Camera) FieldAlong(x0, y0, x1, y1 float64) (between, turned unit.Angle, ok bool) {
	if c.c == nil || !(max(math.Abs(x0), math.Abs(y0), math.Abs(x1), math.Abs(y1)) <= 1e9) {
		return 0, 0, false
	}
	ray := func(t float64) (r3.Vec, bool) { return c.Unproject(x0+t*(x1-x0), y0+t*(y1-y0)) }
	from, to := c.c.clip(x0, y0, x1, y1)
	if !(from < to) {
		return 0, 0, false
	}
	inside := func(t float64) bool { _, ok := ray(t); return ok }
	// Only a distortion leaves the middle in doubt.
	mid := (from + to) / 2
	for i := 1; i <= fieldSteps && !inside(mid); i++ {
		mid = from + (to-from)*float64(i)/(fieldSteps+1)
	}
	if !inside(mid) {
		return 0, 0, false
	}
	if !inside(from) {
		from = root.Boundary(inside, from, mid)
	}
	if !inside(to) {
		to = root.Boundary(inside, to, mid)
	}
	first, _ := ray(from)
	last, _ := ray(to)
	p := path{ray: ray, ok: true, left: mostParts}
	ends := []float64{from, to}
	if foot := c.c.foot(x0, y0, x1, y1); foot > from && foot < to {
		ends = []float64{from, foot, to} // where it may turn most in no time
	}
	sum := 0.0
	for i := 1; i < len(ends); i++ {
		p.from, p.to = ends[i-1], ends[i]
		a, at := 0.0, p.at(0)
		for k := 1; k <= fieldSteps; k++ {
			b := math.Pi / 2 * float64(k) / fieldSteps
			m, next := p.at((a+b)/2), p.at(b)
			sum += p.turned(a, b, at, m, next)
			a, at = b, next
		}
	}
	if !p.ok {
		return 0, 0, false
	}
	return unit.Angle(sphere.Angle(first, last)), unit.Angle(sum), true
}

// path is the ray along a part of a line, by an angle from 0 to π/2. Equal steps of
// it are denser towards the ends: near a rim the ray turns as the root of the
// distance from it.
type path struct {
	ray      func(t float64) (r3.Vec, bool)
	from, to float64
	ok       bool
	left     int // parts to halve
}

// mostParts is many times what smooth models take.
const mostParts = 1 << 16

func (p *path) at(a float64) r3.Vec {
	sin, cos := math.Sincos(a)
	t := p.from + (p.to-p.from)*sin*sin
	if a > math.Pi/4 {
		t = p.to - (p.to-p.from)*cos*cos
	}
	d, ok := p.ray(min(max(t, p.from), p.to))
	p.ok = p.ok && ok
	return d
}

// turned is the turn between a and b, given the rays there and halfway. Chords fall
// short by the square of their length; extrapolated from two lengths, by its fourth
// power. It halves parts until two extrapolations agree, or until the turn is so
// small that only roundings near a rim would be followed.
func (p *path) turned(a, b float64, from, middle, to r3.Vec) float64 {
	m := (a + b) / 2
	left, right := p.at((a+m)/2), p.at((m+b)/2)
	one, two := sphere.Angle(from, to), sphere.Angle(from, middle)+sphere.Angle(middle, to)
	four := sphere.Angle(from, left) + sphere.Angle(left, middle) + sphere.Angle(middle, right) + sphere.Angle(right, to)
	coarse, fine := two+(two-one)/3, four+(four-two)/3
	p.left--
	if !(math.Abs(fine-coarse) > 1e-12) || four < 1e-5 || p.left <= 0 || !p.ok {
		return fine + (fine-coarse)/15
	}
	return p.turned(a, m, from, left, middle) + p.turned(m, b, middle, right, to)
}

// foot is the fraction of a line's length at which it comes nearest to the axis.
func (c *camera) foot(x0, y0, x1, y1 float64) float64 {
	px, py := (x0-c.cx)/c.fx, (y0-c.cy)/c.fy
	dx, dy := (x1-x0)/c.fx, (y1-y0)/c.fy
	d := math.Hypot(dx, dy)
	return -(px*(dx/d) + py*(dy/d)) / d
}

// clip is the part of a line on the raster, in the image circle and, without a
// distortion, within MaxAngle, as fractions of its length.
func (c *camera) clip(x0, y0, x1, y1 float64) (from, to float64) {
	from, to = 0, 1
	within := func(p, d, high float64) { // 0 ≤ p + t·d ≤ high
		switch {
		case d > 0:
			from, to = max(from, -p/d), min(to, (high-p)/d)
		case d < 0:
			from, to = max(from, (high-p)/d), min(to, -p/d)
		case !(p >= 0 && p <= high):
			to = -1
		}
	}
	within(x0, x1-x0, float64(c.width))
	within(y0, y1-y0, float64(c.height))
	limit := c.rMax
	if c.distortion != nil {
		limit = c.uMax
	}
	px, py := (x0-c.cx)/c.fx, (y0-c.cy)/c.fy
	dx, dy := (x1-x0)/c.fx, (y1-y0)/c.fy
	if d := math.Hypot(dx, dy); d > 0 {
		along := c.foot(x0, y0, x1, y1)
		off := px*(dy/d) - py*(dx/d)
		half := math.Sqrt((limit-off)*(limit+off)) / d // NaN where the line misses the circle
		if !(half >= 0) {
			return 0, -1
		}
		from, to = max(from, along-half), min(to, along+half)
	} else {
		to = -1
	}
	return from, to
}
