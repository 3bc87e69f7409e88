package rig

import (
	"math"
	"slices"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The limits of what a camera sees, as bits.
const (
	leftEdge = 1 << iota
	rightEdge
	topEdge
	bottomEdge
	rimCircle   // MaxAngle or the image circle; where there is a distortion, its MaxRadius or MaxAngle
	imageCircle // of a camera with a distortion
)

// region is the part of the sphere of directions that a camera sees, as the
// intersection of up to five limits.
type region struct {
	c      *view
	limits uint8     // those that bind
	reach  float64   // no direction is seen farther from the axis, rad
	edge   [4]r3.Vec // rectilinear: inward unit normals of the raster's edges, which are great circles
	side   [4]float64
	bends  []float64 // bend at steps of bendStep, to the end or 3 rad
	slopes []float64 // of a camera with a distortion: the greatest first derivative, likewise

	// Of a model that is not a closed form:
	fine []float64  // the least density in each step of bendStep
	aq   [2]float64 // the greatest |r″| and |q|, see steps

	shadows []shadow // what occluders hide of it
}

func newRegion(camera projection.Camera) region {
	c := newView(camera)
	g := region{c: c}
	w, h := float64(c.width), float64(c.height)
	g.side = [4]float64{c.cx / c.fx, (w - c.cx) / c.fx, c.cy / c.fy, (h - c.cy) / c.fy}
	corner := math.Hypot(max(g.side[0], g.side[1]), max(g.side[2], g.side[3]))
	if c.distortion != nil {
		g.distorted(corner)
		return g
	}
	g.reach = c.angle(corner)
	if c.rMax < corner {
		g.limits |= rimCircle
	}
	for i, s := range g.side {
		if s < c.rMax {
			g.limits |= 1 << i
		}
		if s < -c.rMax {
			g.reach = math.Inf(-1) // the raster lies outside the image
		}
	}
	if c.form == projection.Rectilinear {
		for i, l := range [4]r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
			l.Z = g.side[i]
			g.edge[i] = sphere.Unit(c.toStage(l))
		}
	} else {
		g.steps()
	}
	return g
}

// cut stands for a limit inside a small cap of directions: the limit runs
// within e rad of the great circle with the inward unit normal n.
type cut struct {
	n    r3.Vec
	e    float64
	body int // whose limit it is, of those of a triangle
	of   int // the camera of that body
}

// rounding, rad, bounds the error of a cut from floating-point rounding.
const rounding = 2e-15

// with returns a cut of the same body with another n and e.
func (c cut) with(n r3.Vec, e float64) cut {
	c.n, c.e = n, e
	return c
}

// judge tells which of the limits in open may run through a cap, around the unit vector
// p with the angular radius rho. If seen is false, the camera sees nothing of the cap.
// If seen is true and left is 0, it sees all of the cap. For each limit in left a cut is
// appended, unless rough says that the cap is too large for a great circle to stand for
// the limit.
//
// The image position is a function on the sphere. Its gradient at p is known, and its
// second derivative over the cap is bounded by bend. The remainder of Taylor's formula
// proves both the decision and the error of the cut.
func (g *region) judge(p r3.Vec, rho float64, open uint8, mark cut, cuts []cut) (seen bool, left uint8, rough bool, _ []cut) {
	c := g.c
	v := r3.Vec{X: r3.Dot(c.right, p), Y: r3.Dot(c.down, p), Z: r3.Dot(c.ahead, p)}
	s := math.Sqrt(v.X*v.X + v.Y*v.Y)
	theta := math.Atan2(s, v.Z)
	if theta-rho > g.reach+1e-12 {
		return false, 0, false, cuts
	}
	cos, sin := 1.0, 0.0 // of the angle about the axis
	if s > 0 {
		cos, sin = v.X/s, v.Y/s
	}
	if open&rimCircle != 0 {
		seen, left, rough, cuts = judgeCircle(c.ahead, c.thetaMax, p, theta, rho, rimCircle, mark, cuts)
		if !seen {
			return false, 0, false, cuts
		}
	}
	edges := open &^ rimCircle
	if edges == 0 {
		return true, left, rough, cuts
	}
	if c.form == projection.Rectilinear && c.distortion == nil {
		seen, crossed, cuts := judgeEdges(g.edge[:], p, rho, edges, mark, cuts)
		return seen, left | crossed, rough, cuts
	}

	sinT, cosT := s, v.Z
	if theta > g.reach {
		// Nothing is seen out there, and the model may end: judge from the nearest
		// point within reach.
		rho += theta - g.reach
		theta = g.reach
		sinT, cosT = math.Sincos(theta)
	}
	r, slope, ok := c.radial(theta, cosT)
	across := slope
	if sinT > 0 {
		across = r / sinT
	}
	// Both coordinates, and their gradients along the radius and across it.
	place := [2]place{{r * cos, slope * cos, -across * sin}, {r * sin, slope * sin, across * cos}}
	var m, steepest float64
	if c.distortion == nil {
		m = g.bend(min(theta+rho, c.thetaMax+0.1*rho))
	} else {
		place, ok = c.distort(place, ok)
		steepest, m = g.bendOfDistorted(theta, rho)
	}
	if !ok || !(m <= math.MaxFloat64) {
		return true, left | edges, true, cuts
	}
	// limit judges one limit: d is a function of the direction that is positive
	// inside, dr and dt its gradient, m a bound of its second derivative.
	limit := func(bit uint8, d, dr, dt, m float64) (outside bool) {
		grad := math.Sqrt(dr*dr + dt*dt)
		change := grad*rho + m*rho*rho/2
		if d < -change {
			return true
		}
		if d > change {
			return false
		}
		left |= bit
		e := m*rho*rho/2/grad + 0.4*rho*rho*rho
		if !(e < rho/4) || rho > 0.3 {
			rough = true
			return false
		}
		// The linear function in the plane that touches the sphere there.
		n := c.toStage(r3.Vec{
			X: dr*cosT*cos - dt*sin + d*sinT*cos,
			Y: dr*cosT*sin + dt*cos + d*sinT*sin,
			Z: -dr*sinT + d*cosT,
		})
		cuts = append(cuts, mark.with(sphere.Unit(n), e+rounding))
		return false
	}
	for axis, at := range place {
		for i := range 2 {
			bit, sign := uint8(1)<<(2*axis+i), float64(1-2*i)
			if edges&bit != 0 && limit(bit, g.side[2*axis+i]+sign*at.at, sign*at.dr, sign*at.dt, m) {
				return false, 0, false, cuts
			}
		}
	}
	if edges&imageCircle != 0 {
		// Half the difference of the squares, which is smooth at the middle too.
		x, y, u := place[0], place[1], 1/c.circle
		far := math.Sqrt(x.at*x.at+y.at*y.at) + steepest*rho
		if limit(imageCircle, (c.circle-(x.at*x.at+y.at*y.at)*u)/2, -(x.at*x.dr+y.at*y.dr)*u, -(x.at*x.dt+y.at*y.dt)*u,
			(steepest*steepest+far*m)*u) {
			return false, 0, false, cuts
		}
	}
	return true, left, rough, cuts
}

// place is an image coordinate, in focal lengths, and its gradient on the sphere,
// along the radius from the axis and across it.
type place struct{ at, dr, dt float64 }

// judgeCircle is judge for the inside of a circle around axis. theta is the angle
// between p and the axis. left is bit if the circle may run through the cap, else 0.
func judgeCircle(axis r3.Vec, radius float64, p r3.Vec, theta, rho float64, bit uint8, mark cut, cuts []cut) (inside bool, left uint8, rough bool, _ []cut) {
	d := radius - theta
	switch {
	case d < -rho:
		return false, 0, false, cuts
	case d > rho:
		return true, 0, false, cuts
	}
	// At the angle Δ about the axis from the point of the circle nearest to p, the
	// circle has left its tangent great circle by sin θ cos θ (1 − cos Δ); the cap
	// bounds cos Δ. The cut lies halfway.
	sin, cos := math.Sincos(theta)
	cosMax := math.Cos(radius)
	off := math.Abs(cosMax) * (math.Cos(d) - math.Cos(rho)) / sin
	if !(off < rho) || rho > 0.3 {
		return true, bit, true, cuts
	}
	sinCut, cosCut := math.Sincos(radius - math.Copysign(off/2, cosMax))
	outward := r3.Scale(1/sin, r3.Sub(p, r3.Scale(cos, axis)))
	n := sphere.Unit(r3.Sub(r3.Scale(sinCut, axis), r3.Scale(cosCut, outward)))
	return true, bit, false, append(cuts, mark.with(n, 0.51*off+rounding))
}

// judgeEdges is judge for great circles, given by their inward unit normals. Only those
// in open count.
func judgeEdges(normals []r3.Vec, p r3.Vec, rho float64, open uint8, mark cut, cuts []cut) (inside bool, left uint8, _ []cut) {
	sinRho := math.Sin(min(rho, math.Pi/2))
	for i, n := range normals {
		if open&(1<<i) == 0 {
			continue
		}
		switch d := r3.Dot(n, p); {
		case d < -sinRho:
			return false, 0, cuts
		case d <= sinRho:
			left |= 1 << i
			cuts = append(cuts, mark.with(n, rounding))
		}
	}
	return true, left, cuts
}

const (
	bendSteps = 1024
	bendStep  = math.Pi / bendSteps
)

// bend bounds the second derivative on the sphere, in focal lengths per rad², of
// either image coordinate up to the field angle θ. With r(θ) and a coordinate
// r cos φ the Hessian is, along the radius and across it,
//
//	| a cos φ  −b sin φ |    a = r″
//	| −b sin φ  c cos φ |    b = (r′ sin θ − r cos θ)/sin²θ
//	                         c = b cos θ − r
//
// whose norm is at most |a + c|/2 + max(|a − c|/2, |b|) for every φ.
func (g *region) bend(theta float64) float64 {
	if i := int(math.Ceil(theta / bendStep)); i < len(g.bends) {
		return g.bends[i]
	}
	last := g.bends[len(g.bends)-1]
	if g.c.thetaMax <= farthestBend {
		return last
	}
	half := math.Cos(min(theta, g.c.thetaMax) / 2)
	a, b := g.aq[0], g.aq[1]/(2*half*half)
	c := b + g.c.rMax
	return max(last, a, c, (a+c)/2+b)
}

// farthestBend, rad, is the end of the table of bends. Close to the direction behind the
// camera the bounds grow without limit; bend computes them there.
const farthestBend = 3

// sampled estimates the Bounds of a model that does not have this method, from three
// field angles. It assumes that r″ deviates from linear by at most 5 %, and that the
// slope is nowhere more than 1e-4 below its least value at the three angles.
type sampled struct{ projection.Model }

func (m sampled) Bounds(from, to unit.Angle) (slope, bendLow, bendHigh float64) {
	lo, hi := float64(from), float64(to)
	lo = max(0, min(lo, hi-bendStep)) // the last step may be too short for differences
	h := (hi - lo) / 2
	s0, ok0 := m.Slope(unit.Angle(lo))
	s1, ok1 := m.Slope(unit.Angle(lo + h))
	s2, ok2 := m.Slope(unit.Angle(hi))
	if !ok2 { // MaxAngle may be excluded
		s2, ok2 = m.Slope(unit.Angle(math.Nextafter(hi, 0)))
	}
	a, b := (s1-s0)/h, (s2-s1)/h
	a, b = a-(b-a)/2, b+(b-a)/2
	spare := max(math.Abs(a), math.Abs(b)) / 20
	if !(ok0 && ok1 && ok2 && spare <= math.MaxFloat64) {
		return 0, math.Inf(-1), math.Inf(1)
	}
	return (1 - 1e-4) * min(s0, s1, s2), min(a, b) - spare, max(a, b) + spare
}

// steps bounds bend and density in steps of bendStep.
func (g *region) steps() {
	c := g.c
	m := bounds(c.model)
	g.bends = []float64{0}
	for i := 0; i == 0 || float64(i)*bendStep < c.thetaMax; i++ {
		lo, hi := float64(i)*bendStep, min(float64(i+1)*bendStep, c.thetaMax)
		s := c.step(m, lo, hi)
		if hi <= farthestBend {
			g.bends = append(g.bends, max(s.bend, g.bends[i]))
		}
		g.aq[0], g.aq[1] = max(g.aq[0], s.a), max(g.aq[1], s.q)
		g.fine = append(g.fine, s.fine)
	}
}

// bounds is the model, sampled where it does not bound itself.
func bounds(m projection.Model) projection.Bounded {
	if b, ok := m.(projection.Bounded); ok {
		return b
	}
	return sampled{m}
}

// step is what is known of a model between two field angles lo and hi.
type step struct {
	r0, r1 float64 // image heights there
	fine   float64 // lower bound of the density, per rad
	steep  float64 // upper bound of the density, per rad
	bend   float64 // bound of the second derivative, see region.bend
	a, q   float64 // the greatest |r″| and |q|
}

// step bounds the Hessian and the density between two field angles, given bounds of
// r′ and r″. A term of the Hessian is
//
//	b = q/(1 + cos θ)    q = (r′ sin θ − r cos θ)/(1 − cos θ)
//
// The derivative of the numerator of q is sin θ (r″ + r), so q is the mean of r″ + r over
// the cap up to θ. Over a step q therefore moves towards a value of r″ + r within the
// step, by at most the fraction by which the cap grows. b is also the derivative of
// r/sin θ, the density across the radius.
func (c *view) step(m projection.Bounded, lo, hi float64) step {
	const spare = 1e-9 // rounding is less
	r0, slope, ok := c.radial(lo, math.Cos(lo))
	r1, okEnd := c.model.Radius(unit.Angle(hi))
	if !okEnd {
		r1 = c.rMax
	}
	least, a0, a1 := m.Bounds(unit.Angle(lo), unit.Angle(hi))

	sin, cos := math.Sincos(lo)
	sin0, cos0 := math.Sincos(lo / 2)
	sin1, cos1 := math.Sincos(hi / 2)
	q, across, share := a0+r0, slope, 1.0
	if lo > 0 {
		q, across = (slope*sin-r0*cos)/(2*sin0*sin0), r0/sin
		share = (sin1 - sin0) * (sin1 + sin0) / (sin1 * sin1)
	}
	q0, q1 := min(q, q+share*(a0+r0-q)), max(q, q+share*(a1+r1-q))
	// Over 1 + cos θ, which falls.
	d0, d1 := 2*cos0*cos0, 2*cos1*cos1
	b0, b1 := min(q0/d0, q0/d1), max(q1/d0, q1/d1)
	cosEnd := math.Cos(hi)
	c0 := min(b0*cos, b0*cosEnd, b1*cos, b1*cosEnd) - r1
	c1 := max(b0*cos, b0*cosEnd, b1*cos, b1*cosEnd) - r0

	a := max(math.Abs(a0), math.Abs(a1))
	bend := (1 + spare) * max(a, math.Abs(c0), math.Abs(c1),
		max(math.Abs(a0+c0), math.Abs(a1+c1))/2+max(math.Abs(b0), math.Abs(b1)))
	if !ok || !(bend >= 0) {
		bend = math.Inf(1)
	}
	fine := (1 - spare) * min(least, across, across+(hi-lo)*b0)
	if !ok || !(fine >= 0) {
		fine = 0
	}
	steep := (1 + spare) * max(slope+(hi-lo)*max(0, a1), across+(hi-lo)*max(0, b1))
	if !ok || !(steep >= 0) {
		steep = math.Inf(1)
	}
	return step{r0, r1, fine, steep, bend, a, max(math.Abs(q0), math.Abs(q1))}
}

// density is a lower bound, over a cap, of the smaller of the radial and tangential
// densities, in px/rad. It is 0 unless the camera is proved to see all of the cap. cuts
// is a scratch buffer.
func (g *region) density(p r3.Vec, rho float64, cuts []cut) float64 {
	seen, open, _, _ := g.judge(p, rho, g.limits, cut{}, cuts)
	if !seen || open != 0 {
		return 0
	}
	for i := range g.shadows {
		s := &g.shadows[i]
		if hidden, _, _, _ := s.judge(p, rho, s.limits(), cut{}, cuts); hidden {
			return 0
		}
	}
	theta := sphere.Angle(g.c.ahead, p)
	if g.c.distortion != nil {
		_, m := g.bendOfDistorted(theta, rho)
		d, ok := g.c.Density(p)
		if least := d.Least/float64(projection.Degree) - max(g.c.fx, g.c.fy)*m*rho; ok && least > 0 {
			return least
		}
		return 0
	}
	low, high := max(0, theta-rho), min(theta+rho, g.c.thetaMax)
	if g.c.form != 0 {
		return g.c.least(low, high) * min(g.c.fx, g.c.fy)
	}
	to := min(int(high/bendStep)+1, len(g.fine))
	least := slices.Min(g.fine[min(int(low/bendStep), to-1):to])
	return least * min(g.c.fx, g.c.fy)
}
