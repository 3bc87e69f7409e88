package projection

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Project is the raster position of a direction, in px.
//
//	(x, y) = principal point + r(θ)·(FocalX·cos φ, FocalY·sin φ)
//
// with φ clockwise from the right seen from behind the camera. A Distortion acts between
// r(θ) and the focal lengths. ok is false beyond MaxAngle, the image circle or the domain
// of the Distortion, and within 1e-15 rad of the direction opposite to the optical axis,
// whose image is a whole circle.
func (c Camera) Project(dir r3.Vec) (x, y float64, ok bool) {
	if c.c == nil {
		return 0, 0, false
	}
	v, n, ok := c.c.local(dir)
	if !ok {
		return 0, 0, false
	}
	k, ok := c.c.perSide(v.X*v.X+v.Y*v.Y, v.Z, n)
	if !ok {
		return 0, 0, false
	}
	u, w := k*v.X, k*v.Y
	if c.c.distortion != nil {
		if u, w, ok = c.c.distort(u, w); !ok {
			return 0, 0, false
		}
	}
	return c.c.cx + c.c.fx*u, c.c.cy + c.c.fy*w, true
}

// ProjectPoint is the raster position of a point of the stage, in metres, as seen from the
// camera's position, which stands for its entrance pupil: Project(p − Pose.Position). ok is
// that of Project, and false at that position itself.
func (c Camera) ProjectPoint(p r3.Vec) (x, y float64, ok bool) {
	if c.c == nil {
		return 0, 0, false
	}
	return c.Project(r3.Sub(p, c.c.spec.Pose.Position))
}

// Sees reports whether a direction is imaged and on the raster, edges included to 1e-6 px.
func (c Camera) Sees(dir r3.Vec) bool {
	x, y, ok := c.Project(dir)
	return ok && c.Margin(x, y) >= -1e-6
}

// distort is Distort within the image circle.
func (c *camera) distort(x, y float64) (u, v float64, ok bool) {
	u, v, ok = c.distortion.Distort(x, y)
	return u, v, ok && u*u+v*v <= c.uMax2
}

// undistort is the model's position of an image position, both in focal lengths.
// ok is false outside the image circle and MaxAngle.
func (c *camera) undistort(u, v float64) (x, y float64, ok bool) {
	if c.distortion != nil {
		if !(u*u+v*v <= c.uMax2) {
			return 0, 0, false
		}
		if u, v, ok = c.distortion.Undistort(u, v); !ok {
			return 0, 0, false
		}
	}
	return u, v, square(u, v) <= c.rMax2
}

// square is u² + v², not fused, so that it has the same bits everywhere: at a rim
// the angle is the root of its last digit.
func square(u, v float64) float64 { return float64(u*u) + float64(v*v) }

// local turns a direction into the camera's frame, here +X right, +Y down, +Z
// ahead, and gives its length n. It scales a direction whose fourth power would
// overflow or vanish.
func (c *camera) local(dir r3.Vec) (v r3.Vec, n float64, ok bool) {
	for range 2 {
		v = r3.Vec{
			X: c.right.X*dir.X + c.right.Y*dir.Y + c.right.Z*dir.Z,
			Y: c.down.X*dir.X + c.down.Y*dir.Y + c.down.Z*dir.Z,
			Z: c.ahead.X*dir.X + c.ahead.Y*dir.Y + c.ahead.Z*dir.Z,
		}
		n2 := v.X*v.X + v.Y*v.Y + v.Z*v.Z
		if n2 > 0x1p-300 && n2 < 0x1p300 {
			return v, math.Sqrt(n2), true
		}
		m := max(math.Abs(dir.X), math.Abs(dir.Y), math.Abs(dir.Z))
		if !(m > 0 && m <= math.MaxFloat64) {
			break
		}
		dir = r3.Vec{X: dir.X / m, Y: dir.Y / m, Z: dir.Z / m}
	}
	return r3.Vec{}, 0, false
}

// perSide is that of the mapping, up to the largest image height.
func (c *camera) perSide(s2, z, n float64) (k float64, ok bool) {
	k, ok = c.mapping.perSide(s2, z, n)
	return k, ok && k*k*s2 <= c.rMax2
}

// perSideOf is perSide of a model that is not a closed form.
func (c *camera) perSideOf(s2, z, n float64) (float64, bool) {
	if s2 == 0 {
		slope, ok := c.model.Slope(0)
		return slope / n, ok && z > 0
	}
	s := math.Sqrt(s2)
	theta := math.Atan2(s, z)
	if theta > c.thetaMax*(1+slack) || (z < 0 && s2 <= antipode*n*n) {
		return 0, false
	}
	r, ok := c.model.Radius(unit.Angle(min(theta, c.thetaMax)))
	return r / s, ok
}

// slopeOf is slopeAt of a model that is not a closed form.
func (c *camera) slopeOf(_, s2, z, _ float64) (float64, bool) {
	return c.model.Slope(unit.Angle(min(math.Atan2(math.Sqrt(s2), z), c.thetaMax)))
}

// rayOf is ray of a model that is not a closed form.
func (c *camera) rayOf(r2 float64) (k, z float64, ok bool) {
	r := math.Sqrt(r2)
	if r == 0 {
		slope, ok := c.model.Slope(0)
		return 1 / slope, 1, ok && slope > 0
	}
	theta, ok := c.model.Angle(min(r, c.rMax))
	sin, cos := math.Sincos(float64(theta))
	return sin / r, cos, ok
}

// Unproject is the direction whose image is at (x, y) px, the inverse of Project. ok is
// false beyond MaxAngle, the image circle or the domain of the Distortion.
func (c Camera) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	if c.c == nil {
		return r3.Vec{}, false
	}
	a, b, ok := c.c.undistort((x-c.c.cx)*c.c.ix, (y-c.c.cy)*c.c.iy)
	if !ok {
		return r3.Vec{}, false
	}
	k, z, ok := c.c.mapping.ray(square(a, b))
	if !ok {
		return r3.Vec{}, false
	}
	return c.c.toStage(r3.Vec{X: k * a, Y: k * b, Z: z}), true
}

// toStage turns a vector of the camera's frame, here +X right, +Y down, +Z ahead,
// into the stage frame.
func (c *camera) toStage(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*c.right.X + v.Y*c.down.X + v.Z*c.ahead.X,
		Y: v.X*c.right.Y + v.Y*c.down.Y + v.Z*c.ahead.Y,
		Z: v.X*c.right.Z + v.Y*c.down.Z + v.Z*c.ahead.Z,
	}
}
