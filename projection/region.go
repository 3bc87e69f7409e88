package projection

import (
	"math"

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
	bends  []float64 // own models: running bound of the second derivative
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
	}
	if c.form == Rectilinear {
		for i, l := range [4]r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
			l.Z = g.side[i]
			g.edge[i] = r3.Unit(c.toStage(l))
		}
	}
	if c.form == 0 {
		g.bends = bendTable(c.model, c.thetaMax)
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
	n      r3.Vec
	e      float64
	camera int
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
func (g *region) judge(p r3.Vec, rho float64, open uint8, camera int, cuts []cut) (seen bool, left uint8, rough bool, _ []cut) {
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
		switch d := c.thetaMax - theta; {
		case d < -rho:
			return false, 0, false, cuts
		case d <= rho:
			left |= rimCircle
			// At the angle Δ about the axis from the point of the circle nearest to
			// p, the circle has left its tangent great circle by
			// sin θ cos θ (1 − cos Δ); the cap bounds cos Δ.
			sinMax, cosMax := math.Sincos(c.thetaMax)
			off := math.Abs(cosMax) * (math.Cos(d) - math.Cos(rho)) / s
			if !(off < rho) || rho > 0.3 {
				rough = true
				break
			}
			sinMax, cosMax = math.Sincos(c.thetaMax - math.Copysign(off/2, cosMax))
			n := c.toStage(r3.Vec{X: -cosMax * cos, Y: -cosMax * sin, Z: sinMax})
			cuts = append(cuts, cut{n, 0.51*off + 1e-15, camera})
		}
	}
	edges := open &^ rimCircle
	if edges == 0 {
		return true, left, rough, cuts
	}
	if c.form == Rectilinear {
		sinRho := math.Sin(min(rho, math.Pi/2))
		for i, n := range g.edge {
			if edges&(1<<i) == 0 {
				continue
			}
			switch d := r3.Dot(n, p); {
			case d < -sinRho:
				return false, 0, false, cuts
			case d <= sinRho:
				left |= 1 << i
				cuts = append(cuts, cut{n, 1e-15, camera})
			}
		}
		return true, left, rough, cuts
	}

	if theta > g.reach {
		// Nothing is seen out there, and the model may end: judge from the nearest
		// point within reach.
		rho += theta - g.reach
		theta = g.reach
	}
	sinT, cosT := math.Sincos(theta)
	r, ok := c.model.Radius(unit.Angle(theta))
	slope, ok2 := c.model.Slope(unit.Angle(theta))
	m := g.bend(min(theta+rho, c.thetaMax+0.1*rho))
	if !ok || !ok2 || !(m < 1e6) {
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
				cuts = append(cuts, cut{r3.Unit(n), e + 1e-15, camera})
			}
		}
	}
	return true, left, rough, cuts
}

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
	f := g.c.form
	if f == 0 {
		i := int(math.Ceil(theta / g.c.thetaMax * bendSteps))
		return g.bends[min(i, bendSteps)]
	}
	if f == Orthographic {
		theta = min(theta, math.Pi/2)
	} else if theta > math.Pi-1e-9 {
		return math.Inf(1)
	}
	theta = max(theta, 0.01) // below, differences cancel
	r, _ := f.Radius(unit.Angle(theta))
	slope, _ := f.Slope(unit.Angle(theta))
	second := 0.0
	switch f {
	case Stereographic: // sec²(θ/2) tan(θ/2)
		second = slope * r / 2
	case Equisolid: // −sin(θ/2)/2
		second = -r / 4
	case Orthographic:
		second = -r
	}
	return hessian(theta, r, slope, second)
}

func hessian(theta, r, slope, second float64) float64 {
	sin, cos := math.Sincos(theta)
	a := second
	b := (slope*sin - r*cos) / (sin * sin)
	c := (slope*sin*cos - r) / (sin * sin)
	return math.Abs(a+c)/2 + max(math.Abs(a-c)/2, math.Abs(b))
}

// bendSteps is the number of steps in the table of an own model.
const bendSteps = 512

// bendTable samples bend for an own model, as a running maximum with a
// twentieth to spare: it holds for models that are smooth over a step.
func bendTable(m Model, end float64) []float64 {
	table := make([]float64, bendSteps+1)
	h := end / bendSteps
	last := 0.0
	for i := 1; i <= bendSteps; i++ {
		theta := end * float64(i) / bendSteps
		r, ok1 := m.Radius(unit.Angle(theta))
		slope, ok2 := m.Slope(unit.Angle(theta))
		before, ok3 := m.Slope(unit.Angle(theta - h))
		if b := 1.05 * hessian(theta, r, slope, (slope-before)/h); ok1 && ok2 && ok3 && b >= 0 {
			last = max(last, b)
		} else {
			last = math.Inf(1)
		}
		table[i] = last
	}
	table[0] = table[1]
	return table
}
