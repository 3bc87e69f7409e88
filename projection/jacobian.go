package projection

import (
	"math"

	"example.com/platewright/internal/singular"
	"gonum.org/v1/gonum/spatial/r3"
)

// Density is how finely a camera samples the directions around one, in pixels per degree
// of arc.
type Density struct {
	Radial     float64 // along the radius from the optical axis
	Tangential float64 // across it
	// Least is the density along the arc on which it is least: the smaller of Radial
	// and Tangential, or less than both with a Distortion or if FocalX and FocalY differ.
	Least float64
}

// Density is the sampling density in a direction, in px per degree:
//
//	Radial      f · dr/dθ · π/180
//	Tangential  f · r/sin θ · π/180
//
// where f lies between FocalX and FocalY according to the direction on the raster. A
// Distortion stretches each. Least is the smaller singular value of the Jacobian. ok is
// that of Project, and false if a density is not finite.
func (c Camera) Density(dir r3.Vec) (d Density, ok bool) {
	p, ok := c.polar(dir)
	if !ok {
		return Density{}, false
	}
	d = Density{Radial: math.Hypot(p.xr, p.yr) * float64(Degree), Tangential: math.Hypot(p.xt, p.yt) * float64(Degree)}
	if c.c.distortion == nil && (c.c.fx == c.c.fy || p.cos == 0 || p.sin == 0) {
		d.Least = min(d.Radial, d.Tangential)
	} else {
		_, least := singular.Values(p.xr, p.xt, p.yr, p.yt)
		d.Least = least * float64(Degree)
	}
	return d, true
}

// Jacobian is the derivative of a camera's raster position by the direction p, for small
// turns to the right and up, in rad:
//
//	dir = p + right·Right + up·Up
//	dx  = XRight·right + XUp·up
//	dy  = YRight·right + YUp·up
//
// Right and Up are at right angles to p and to each other. They are the camera's own right
// and up, carried from the optical axis to p by the shortest turn.
type Jacobian struct {
	Right, Up                r3.Vec  // in the stage frame
	XRight, XUp, YRight, YUp float64 // px per radian; y down
}

// Jacobian is the derivative of Project in a direction:
//
//	F · D · R(φ) · diag(dr/dθ, r/sin θ) · R(−φ) · diag(1, −1)
//
// with F the focal lengths, D the Distortion's Jacobian, R(φ) the rotation by φ, and the
// last factor because up is against y. ok is that of Density. The singular values are the
// largest and the least density, in px per radian. The inverse of the determinant is the
// solid angle of a pixel.
func (c Camera) Jacobian(dir r3.Vec) (j Jacobian, ok bool) {
	p, ok := c.polar(dir)
	if !ok {
		return Jacobian{}, false
	}
	bend := 1 - p.cosT
	if p.cosT > 0 {
		bend = p.sinT * p.sinT / (1 + p.cosT)
	}
	right := r3.Vec{X: 1 - bend*p.cos*p.cos, Y: -bend * p.cos * p.sin, Z: -p.sinT * p.cos}
	down := r3.Vec{X: -bend * p.cos * p.sin, Y: 1 - bend*p.sin*p.sin, Z: -p.sinT * p.sin}
	return Jacobian{
		Right: c.c.toStage(right), Up: r3.Scale(-1, c.c.toStage(down)),
		XRight: p.cos*p.xr - p.sin*p.xt, XUp: -p.sin*p.xr - p.cos*p.xt,
		YRight: p.cos*p.yr - p.sin*p.yt, YUp: -p.sin*p.yr - p.cos*p.yt,
	}, true
}

// polar is the derivative of the raster position in a direction, in px per
// radian: along the radius from the optical axis (xr, yr) and across it (xt, yt),
// clockwise seen from behind. cos and sin are of the angle of that radius from the
// camera's right, cosT and sinT of the field angle.
type polar struct{ xr, xt, yr, yt, cos, sin, cosT, sinT float64 }

func (c Camera) polar(dir r3.Vec) (p polar, ok bool) {
	if c.c == nil {
		return polar{}, false
	}
	v, n, ok := c.c.local(dir)
	if !ok {
		return polar{}, false
	}
	return c.c.polar(v, n)
}

// polar is that for a direction in the camera's frame and its length.
func (c *camera) polar(v r3.Vec, n float64) (p polar, ok bool) {
	s2 := v.X*v.X + v.Y*v.Y
	k, ok := c.perSide(s2, v.Z, n)
	if !ok {
		return polar{}, false
	}
	s := math.Sqrt(s2)
	p.cosT, p.sinT = v.Z/n, s/n
	tangential := k * n // sin θ = s/n
	radial, ok := c.mapping.slopeAt(tangential, s2, v.Z, n)
	if !ok {
		return polar{}, false
	}
	p.cos = 1
	if s > 0 {
		p.cos, p.sin = v.X/s, v.Y/s
	}
	p.xr, p.xt = radial*p.cos, -tangential*p.sin
	p.yr, p.yt = radial*p.sin, tangential*p.cos
	if c.distortion != nil {
		if _, _, ok := c.distort(k*v.X, k*v.Y); !ok {
			return polar{}, false
		}
		ux, uy, vx, vy, ok := c.distortion.Jacobian(k*v.X, k*v.Y)
		if sum := ux + uy + vx + vy; !ok || sum-sum != 0 { // NaN or infinite
			return polar{}, false
		}
		p.xr, p.yr = ux*p.xr+uy*p.yr, vx*p.xr+vy*p.yr
		p.xt, p.yt = ux*p.xt+uy*p.yt, vx*p.xt+vy*p.yt
	}
	p.xr, p.xt = p.xr*c.fx, p.xt*c.fx
	p.yr, p.yt = p.yr*c.fy, p.yt*c.fy
	sum := p.xr + p.xt + p.yr + p.yt
	return p, sum-sum == 0 // a model's slope may be infinite at its end
}
