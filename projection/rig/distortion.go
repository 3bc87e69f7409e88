package rig

import (
	"math"

	"example.com/platewright/projection"
)

// distort takes the coordinates of an image position and their gradients through
// the distortion.
func (c *view) distort(p [2]place, ok bool) ([2]place, bool) {
	x, y := p[0], p[1]
	u, v, ok1 := c.distortion.Distort(x.at, y.at)
	ux, uy, vx, vy, ok2 := c.distortion.Jacobian(x.at, y.at)
	return [2]place{
		{u, ux*x.dr + uy*y.dr, ux*x.dt + uy*y.dt},
		{v, vx*x.dr + vy*y.dr, vx*x.dt + vy*y.dt},
	}, ok && ok1 && ok2
}

// distorted finds the limits of a camera with a distortion, and bounds its
// derivatives in steps of bendStep. With m(dir) the image position before the
// distortion D, and |·| the norms of derivatives,
//
//	|(D∘m)′| ≤ |D′||m′|    |(D∘m)″| ≤ |D″||m′|² + |D′||m″|
//
// corner is the image height of the corner of the raster that is farthest from the
// principal point.
func (g *region) distorted(corner float64) {
	c := g.c
	d, ok := c.distortion.(projection.BoundedDistortion)
	if !ok {
		d = sampledDistortion{c.distortion}
	}
	g.limits = leftEdge | rightEdge | topEdge | bottomEdge
	if c.circle < corner {
		g.limits |= imageCircle
	}
	r := g.farthest(d)
	g.reach = c.angle(r)
	if r >= c.rMax {
		g.limits |= rimCircle
	}
	m := bounds(c.model)
	g.bends, g.slopes = []float64{0}, []float64{0}
	for i := 0; i == 0 || float64(i)*bendStep < g.reach; i++ {
		lo, hi := float64(i)*bendStep, min(float64(i+1)*bendStep, g.reach)
		s := c.step(m, lo, hi)
		slope, bend := d.Bounds(s.r0, min(s.r1, c.rMax))
		// The spare of step is more than what rounds here.
		steep, bent := slope*s.steep, bend*s.steep*s.steep+slope*s.bend
		if math.IsNaN(steep + bent) {
			steep, bent = math.Inf(1), math.Inf(1)
		}
		g.slopes = append(g.slopes, max(steep, g.slopes[i]))
		g.bends = append(g.bends, max(bent, g.bends[i]))
	}
}

// bounded reports whether the derivatives are bounded all over the raster. The last step
// is not counted, since the slope of a model may be infinite at its end.
func (g *region) bounded() bool { return g.bends[max(0, len(g.bends)-2)] <= math.MaxFloat64 }

// bendOfDistorted bounds the first and the second derivative of the image
// coordinates, in focal lengths, from a point at the field angle θ to each point of
// the camera's reach within rho of it.
//
// A cap beyond 90° is not convex: the shortest way inside it may lead along its rim. The
// rim is a curve with the geodesic curvature |cot reach|. Along it the second derivative
// gains that curvature times the gradient, and the turn of the tangent as much again.
func (g *region) bendOfDistorted(theta, rho float64) (slope, bend float64) {
	i := min(int(math.Ceil((theta+rho)/bendStep)), len(g.bends)-1)
	slope, bend = g.slopes[i], g.bends[i]
	if theta+rho > g.reach && g.reach > math.Pi/2 {
		bend += 2.2 * math.Abs(1/math.Tan(g.reach)) * slope
	}
	return slope, bend
}

// rimPlaces is how many places of a circle farthest tries.
const rimPlaces = 256

// farthest is an image height before the distortion such that everything on the raster
// comes from within it. The distortion images a circle around the axis to a closed curve.
// If that curve stays outside the raster and one corner of the raster comes from inside
// the circle, all of the raster does, since a distortion is one-to-one. Between the
// points tried, the bound of the derivative limits the distance of the curve from them.
func (g *region) farthest(d projection.BoundedDistortion) float64 {
	c := g.c
	inside := math.Inf(1)
	for _, x := range [2]float64{-g.side[0], g.side[1]} {
		for _, y := range [2]float64{-g.side[2], g.side[3]} {
			if a, b, ok := d.Undistort(x, y); ok {
				inside = min(inside, math.Hypot(a, b))
			}
		}
	}
	if inside > c.rMax {
		return c.rMax
	}
	clear := func(r float64) bool {
		slope, _ := d.Bounds(r, r)
		gap := slope * r * math.Pi / rimPlaces
		for i := range rimPlaces {
			sin, cos := math.Sincos(2 * math.Pi / rimPlaces * float64(i))
			u, v, ok := d.Distort(r*cos, r*sin)
			outside := math.Hypot(max(-g.side[0]-u, u-g.side[1], 0), max(-g.side[2]-v, v-g.side[3], 0))
			if !ok || !(outside > gap) {
				return false
			}
		}
		return true
	}
	for r := max(inside, 1e-9); r < c.rMax; r *= 1.02 {
		if clear(r) {
			return r
		}
	}
	return c.rMax
}

// sampledDistortion estimates the Bounds of a distortion that does not have this method,
// from its Jacobian at three radii and sixteen angles and from differences there. It
// assumes that both derivatives are at most 10 % greater in between.
type sampledDistortion struct{ projection.Distortion }

func (d sampledDistortion) Bounds(lo, hi float64) (slope, bend float64) {
	h := 1e-4 * hi
	for _, r := range [3]float64{lo, (lo + hi) / 2, hi} {
		for i := range 16 {
			sin, cos := math.Sincos(math.Pi / 8 * float64(i))
			r := min(r, hi-2*h)
			var j [3][4]float64
			for k, to := range [3][2]float64{{0, 0}, {h, 0}, {0, h}} {
				var ok bool
				if j[k][0], j[k][1], j[k][2], j[k][3], ok = d.Jacobian(r*cos+to[0], r*sin+to[1]); !ok {
					return math.Inf(1), math.Inf(1)
				}
			}
			slope = max(slope, apart(j[0], [4]float64{}))
			bend = max(bend, math.Hypot(apart(j[1], j[0]), apart(j[2], j[0]))/h)
		}
	}
	if math.IsNaN(slope) || math.IsNaN(bend) {
		return math.Inf(1), math.Inf(1)
	}
	return 1.1 * slope, 1.1 * bend
}

// apart is the norm of the difference of two Jacobians: the root of the sum of the
// squares, which is no less than the operator norm.
func apart(a, b [4]float64) float64 {
	sum := 0.0
	for i := range a {
		sum += (a[i] - b[i]) * (a[i] - b[i])
	}
	return math.Sqrt(sum)
}
