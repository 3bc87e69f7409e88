package projection

import (
	"math"

	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// fieldSteps is the number of parts of a line that are looked at before any is
// halved.
const fieldSteps = 64

// FieldAlong is the field of view along a straight line of the raster from
// (x0, y0) to (x1, y1) px: a row is (0, y) to (Width, y), a column likewise, a
// diagonal from corner to corner.
//
// Between is the angle between the rays at the ends of the line, or of the part
// of it that the camera sees, as Margin tells. Turned is the angle through which
// the ray goes from one end to the other: more than Between where it does not
// take the shortest way, as along every line of a fisheye that misses the
// principal point, and where that would be the other way around, beyond 180°.
// Turned is within 1e-9 of it where the model is smooth, and 1e-7 rad where a
// rim is among its ends.
//
// ok is false where nothing of the line is seen, where a Distortion's domain ends
// within the part seen, and for ends that are equal, not finite, or more than
// 1e9 px from the raster.
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
		from = geom.Boundary(inside, from, mid)
	}
	if !inside(to) {
		to = geom.Boundary(inside, to, mid)
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
	return unit.Angle(geom.Angle(first, last)), unit.Angle(sum), true
}

// path is what a ray does along a part of a line, by an angle of 0 to π/2 that
// is denser towards the ends, where a rim may make the ray turn as a root.
type path struct {
	ray      func(t float64) (r3.Vec, bool)
	from, to float64
	ok       bool
	left     int // parts to halve
}

// mostParts is many times what lines on smooth models take.
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

// turned is the turn between a and b from the rays there and halfway: chords fall
// short by the square of their length, and what is left by its fourth power. It
// halves parts until both say the same, or the turn is so small that the roundings
// near a rim would be followed.
func (p *path) turned(a, b float64, from, middle, to r3.Vec) float64 {
	m := (a + b) / 2
	left, right := p.at((a+m)/2), p.at((m+b)/2)
	one, two := geom.Angle(from, to), geom.Angle(from, middle)+geom.Angle(middle, to)
	four := geom.Angle(from, left) + geom.Angle(left, middle) + geom.Angle(middle, right) + geom.Angle(right, to)
	coarse, fine := two+(two-one)/3, four+(four-two)/3
	p.left--
	if !(math.Abs(fine-coarse) > 1e-12) || four < 1e-5 || p.left <= 0 || !p.ok {
		return fine + (fine-coarse)/15
	}
	return p.turned(a, m, from, left, middle) + p.turned(m, b, middle, right, to)
}

// foot is the part of a line's length at which it comes nearest to the axis.
func (c *camera) foot(x0, y0, x1, y1 float64) float64 {
	px, py := (x0-c.cx)/c.fx, (y0-c.cy)/c.fy
	dx, dy := (x1-x0)/c.fx, (y1-y0)/c.fy
	d := math.Hypot(dx, dy)
	return -(px*(dx/d) + py*(dy/d)) / d
}

// clip is the part of a line on the raster and, where no distortion bends it, in
// the image circle and within MaxAngle, as parts of its length.
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
