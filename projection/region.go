package projection

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The limits of what a camera sees, as bits.
const (
	leftEdge = 1 << iota
	rightEdge
	topEdge
	bottomEdge
	rimCircle // MaxAngle or the image circle
)

// region is the part of the sphere of directions that a camera sees, as the
// intersection of up to five limits.
type region struct {
	c      *camera
	limits uint8     // those that bind
	reach  float64   // no direction is seen farther from the axis, rad
	edge   [4]r3.Vec // rectilinear: inward unit normals of the raster's edges, which are great circles
	side   [4]float64
	bends  []float64 // bend at steps of bendStep
	fine   []float64 // of a model of the caller's own: its density at steps of bendStep

	shadows []shadow // what occluders hide of it
}

func newRegion(c *camera) region {
	g := region{c: c}
	w, h := float64(c.width), float64(c.height)
	g.side = [4]float64{c.cx / c.fx, (w - c.cx) / c.fx, c.cy / c.fy, (h - c.cy) / c.fy}
	corner := math.Hypot(max(g.side[0], g.side[1]), max(g.side[2], g.side[3]))
	g.reach = float64(c.side(corner))
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
	if c.form == Rectilinear {
		for i, l := range [4]r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
			l.Z = g.side[i]
			g.edge[i] = unitVec(c.toStage(l))
		}
	}
	if c.form != Rectilinear {
		g.bends = c.bends()
	}
	if c.form == 0 {
		g.fine = c.fineness()
	}
	return g
}

func (c *camera) toStage(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*c.right.X + v.Y*c.down.X + v.Z*c.ahead.X,
		Y: v.X*c.right.Y + v.Y*c.down.Y + v.Z*c.ahead.Y,
		Z: v.X*c.right.Z + v.Y*c.down.Z + v.Z*c.ahead.Z,
	}
}

// cut stands for a limit inside a small cap of directions: the limit runs
// within e rad of the great circle with the inward unit normal n.
type cut struct {
	n    r3.Vec
	e    float64
	body int // whose limit it is, of those of a triangle
	of   int // the camera of that body
}

// rounding, rad, is what the place of a cut may be off.
const rounding = 2e-15

// with is a cut of the same body.
func (c cut) with(n r3.Vec, e float64) cut {
	c.n, c.e = n, e
	return c
}

// judge says of a cap, around the unit vector p with the angular radius rho,
// which limits of open may run through it. seen is false where the camera surely
// sees nothing of the cap; where it is true and open comes back 0, the camera
// surely sees all of it. For each limit still open a cut is appended, unless
// rough says that the cap is too large to put a great circle in its place.
//
// The image position is a function on the sphere whose gradient at p is known
// and whose second derivative is bounded over the cap, by bend: with the
// remainder of Taylor's formula both the decision and the cut's error hold.
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
	if c.form == Rectilinear {
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
	m := g.bend(min(theta+rho, c.thetaMax+0.1*rho))
	if !ok || !(m <= math.MaxFloat64) {
		return true, left | edges, true, cuts
	}
	across := slope
	if sinT > 0 {
		across = r / sinT
	}
	for axis, trig := range [2][2]float64{{cos, -sin}, {sin, cos}} {
		low, high := uint8(leftEdge)<<(2*axis), uint8(rightEdge)<<(2*axis)
		if edges&(low|high) == 0 {
			continue
		}
		// The coordinate, and its gradient along the radius and across it.
		at := r * trig[0]
		dr, dt := slope*trig[0], across*trig[1]
		grad := math.Sqrt(dr*dr + dt*dt)
		change := grad*rho + m*rho*rho/2
		for i, bit := range [2]uint8{low, high} {
			if edges&bit == 0 {
				continue
			}
			sign := float64(1 - 2*i)
			d := g.side[2*axis+i] + sign*at
			switch {
			case d < -change:
				return false, 0, false, cuts
			case d <= change:
				left |= bit
				e := m*rho*rho/2/grad + 0.4*rho*rho*rho
				if !(e < rho/4) || rho > 0.3 {
					rough = true
					break
				}
				// The linear function in the plane that touches the sphere there.
				n := c.toStage(r3.Vec{
					X: sign*(dr*cosT*cos-dt*sin) + d*sinT*cos,
					Y: sign*(dr*cosT*sin+dt*cos) + d*sinT*sin,
					Z: -sign*dr*sinT + d*cosT,
				})
				cuts = append(cuts, mark.with(unitVec(n), e+rounding))
			}
		}
	}
	return true, left, rough, cuts
}

// judgeCircle judges of a cap, around p with the angular radius rho, its place in
// a circle, p being theta from its axis. left is the bit given, or 0.
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
	n := unitVec(r3.Sub(r3.Scale(sinCut, axis), r3.Scale(cosCut, outward)))
	return true, bit, false, append(cuts, mark.with(n, 0.51*off+rounding))
}

// judgeEdges does so of great circles, given by their inward unit normals, those
// of open.
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

// radial is Radius and Slope of the model, for the closed forms without more
// trigonometry.
func (c *camera) radial(theta, cos float64) (r, slope float64, ok bool) {
	switch half := math.Sqrt((1 + cos) / 2); c.form { // cos(θ/2)
	case Equidistant:
		return theta, 1, true
	case Equisolid:
		return math.Sqrt(max(0, 2-2*cos)), half, true
	}
	r, ok = c.model.Radius(unit.Angle(theta))
	slope, ok2 := c.model.Slope(unit.Angle(theta))
	return r, slope, ok && ok2
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
//	                         c = (r′ sin θ cos θ − r)/sin²θ
//
// whose norm is at most |a + c|/2 + max(|a − c|/2, |b|) for every φ. For the
// closed forms that grows with θ.
func (g *region) bend(theta float64) float64 {
	if i := int(math.Ceil(theta / bendStep)); i < len(g.bends) {
		return g.bends[i]
	}
	return g.c.hessian(theta)
}

// bends is the running maximum of the bound, of a model of the caller's own with
// a twentieth to spare: it holds if the model is smooth over a step. Near its
// end, which may be steep, a closed form is asked directly.
func (c *camera) bends() []float64 {
	end, spare := min(float64(c.model.MaxAngle()), 3), 1.0
	if c.form == 0 {
		end, spare = c.thetaMax, 1.05
	}
	table := []float64{0}
	for i := 1; float64(i)*bendStep <= end; i++ {
		b := spare * c.hessian(float64(i)*bendStep)
		if !(b >= 0) {
			b = math.Inf(1)
		}
		table = append(table, max(b, table[i-1]))
	}
	return table
}

// hessian is the bound at one angle; beyond the end of a model that at its end.
func (c *camera) hessian(theta float64) float64 {
	theta = max(theta, 0.01) // below, differences cancel
	if c.form == 0 {
		theta = min(theta, c.thetaMax)
	} else if theta = min(theta, float64(c.form.MaxAngle())); theta > math.Pi-1e-9 {
		return math.Inf(1)
	}
	sin, cos := math.Sincos(theta)
	r, slope, ok := c.radial(theta, cos)
	a := 0.0
	switch c.form {
	case Stereographic: // sec²(θ/2) tan(θ/2)
		a = slope * r / 2
	case Equidistant:
	case Equisolid: // −sin(θ/2)/2
		a = -r / 4
	case Orthographic:
		a = -r
	default:
		h := min(bendStep, theta)
		before, ok2 := c.model.Slope(unit.Angle(theta - h))
		a, ok = (slope-before)/h, ok && ok2
	}
	if !ok {
		return math.Inf(1)
	}
	b := (slope*sin - r*cos) / (sin * sin)
	d := (slope*sin*cos - r) / (sin * sin)
	return math.Abs(a+d)/2 + max(math.Abs(a-d)/2, math.Abs(b))
}

// density bounds from below what the camera samples all over a cap, the smaller of
// radial and tangential, in px/rad; it is 0 unless the camera surely sees all of
// the cap. A model of the caller's own is taken to be smooth over bendStep. cuts
// is room to work in.
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
	theta := between(g.c.ahead, p)
	low, high := max(0, theta-rho), min(theta+rho, g.c.thetaMax)
	least := 1.0
	switch g.c.form {
	case Rectilinear:
		least = 1 / math.Cos(low)
	case Stereographic:
		h := math.Cos(low / 2)
		least = 1 / (h * h)
	case Equidistant:
	case Equisolid:
		least = math.Cos(high / 2)
	case Orthographic:
		least = max(0, math.Cos(high))
	default:
		to := min(int(high/bendStep)+2, len(g.fine))
		least = (1 - 1e-4) * slices.Min(g.fine[min(int(low/bendStep), to-1):to])
	}
	return least * min(g.c.fx, g.c.fy)
}

// fineness is the smaller of the densities along and across the radius, in focal
// lengths per rad, at steps of bendStep and at the end.
func (c *camera) fineness() (table []float64) {
	for i := 0; ; i++ {
		theta := min(float64(i)*bendStep, c.thetaMax)
		r, slope, ok := c.radial(theta, math.Cos(theta))
		least := slope
		if sin := math.Sin(theta); sin > 0 {
			least = min(least, r/sin)
		}
		if !ok || !(least >= 0) {
			least = 0
		}
		table = append(table, least)
		if theta == c.thetaMax {
			return table
		}
	}
}
