package projection

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// fieldSteps is the number of chords by which the turn along a line is added
// up.
const fieldSteps = 512

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
		from = boundary(inside, from, mid)
	}
	if !inside(to) {
		to = boundary(inside, to, mid)
	}
	first, _ := ray(from)
	at, even := first, first
	var all, pairs float64
	for i := 1; i <= fieldSteps; i++ {
		// Denser towards the ends, where a rim may make the angle grow as a root.
		t := to
		if i < fieldSteps {
			sin := math.Sin(math.Pi / 2 * float64(i) / fieldSteps)
			t = from + (to-from)*sin*sin
		}
		next, ok := ray(t)
		if !ok {
			return 0, 0, false
		}
		all += arc(at, next)
		if i%2 == 0 {
			pairs += arc(even, next)
			even = next
		}
		at = next
	}
	// Chords fall short by the square of their length.
	return unit.Angle(arc(first, at)), unit.Angle(all + (all-pairs)/3), true
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
		along := -(px*(dx/d) + py*(dy/d)) / d
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

// arc is the angle between two vectors.
func arc(a, b r3.Vec) float64 {
	return math.Atan2(norm(r3.Cross(a, b)), r3.Dot(a, b))
}
