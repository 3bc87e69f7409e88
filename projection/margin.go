package projection

import (
	"math"

	"example.com/platewright/internal/peak"
)

// Margin is the distance, in px, of (x, y) from the nearest limit of what the camera sees:
// an edge of the raster, the image circle, the circle of MaxAngle, or that of the
// Distortion's MaxRadius. It is negative outside a limit. Outside several, it tells of the
// one that is exceeded most; the distance to a corner may be larger. If FocalX and FocalY
// differ, it is a lower bound of the distance to a circle, low by at most their ratio. A
// Distortion bends the last two circles; the nearest point of the bent one is found by
// search. It is −Inf for a position that the Distortion does not reach, and for x or y not
// a number or too large to be squared.
func (c Camera) Margin(x, y float64) float64 {
	if c.c == nil || math.IsNaN(x) || math.IsNaN(y) {
		return math.Inf(-1)
	}
	edge := min(x, float64(c.c.width)-x, y, float64(c.c.height)-y)
	u, v := (x-c.c.cx)/c.c.fx, (y-c.c.cy)/c.c.fy
	f := min(c.c.fx, c.c.fy)
	r := math.Sqrt(square(u, v)) // blends ask this of every pixel
	if r > math.MaxFloat64 {
		return math.Inf(-1)
	}
	if c.c.distortion == nil {
		return min(edge, (c.c.rMax-r)*f)
	}
	if near := min(edge, (c.c.uMax-r)*f); r < c.c.rimWithin && near <= (c.c.rimWithin-r)*f {
		return near // the rim is farther
	}
	a, b, ok := c.c.distortion.Undistort(u, v)
	if sum := a + b; !ok || sum-sum != 0 { // NaN or infinite
		return math.Inf(-1)
	}
	rim := c.c.fromRim(u, v)
	if !(square(a, b) <= c.c.rMax2) {
		rim = -rim
	}
	return min(edge, rim*f, (c.c.uMax-r)*f)
}

// rimSamples is how many points of a bent rim are tried before the search.
const rimSamples = 64

// findRim is a lower bound of the image height on the bent rim: the least at the
// points tried, less the longest way from one to the next for what lies between
// them. It is −Inf if the distortion does not reach the rim.
func (c *camera) findRim() float64 {
	least, longest := math.Inf(1), 0.0
	var lastU, lastV float64
	for i := range rimSamples + 1 {
		sin, cos := math.Sincos(2 * math.Pi / rimSamples * float64(i))
		u, v, ok := c.distortion.Distort(c.rMax*cos, c.rMax*sin)
		if sum := u + v; !ok || sum-sum != 0 { // NaN or infinite
			return math.Inf(-1)
		}
		if i > 0 {
			longest = max(longest, math.Hypot(u-lastU, v-lastV))
		}
		least, lastU, lastV = min(least, math.Hypot(u, v)), u, v
	}
	return least - longest
}

// fromRim is the distance, in focal lengths, of an image position from the
// nearest point of the bent rim. It is +Inf if the distortion ends before the rim.
func (c *camera) fromRim(u, v float64) float64 {
	nearness := func(phi float64) float64 {
		sin, cos := math.Sincos(phi)
		p, q, ok := c.distortion.Distort(c.rMax*cos, c.rMax*sin)
		if d := math.Hypot(p-u, q-v); ok && !math.IsNaN(d) {
			return -d
		}
		return math.Inf(-1)
	}
	const step = 2 * math.Pi / rimSamples
	at, most := 0.0, math.Inf(-1)
	for i := range rimSamples {
		if d := nearness(step * float64(i)); d > most {
			at, most = step*float64(i), d
		}
	}
	_, most = peak.Find(nearness, at-step, at, at+step, 1e-9) // the error is of its square
	return -most
}
