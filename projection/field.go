package projection

import (
	"math"

	"example.com/platewright/internal/root"
	"gonum.org/v1/gonum/unit"
)

// FieldOfView is the angle seen along the row and the column of the principal point, and
// along the diagonal of the raster that sees more: the sum of the field angles at both
// ends, which counts an offset principal point. Each end reaches as far as MaxAngle, the
// image circle and the Distortion allow. If the principal point lies beside the raster,
// across and down are differences of field angles.
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
