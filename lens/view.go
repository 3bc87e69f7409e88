package lens

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// AngleOfView is the angle that a length across the middle of the image takes
// in, be it the width, the height or the diagonal of the format:
//
//	2 θ(d/(2f))
//
// where θ is the inverse of the projection: 2 atan(d/(2f)) for a rectilinear
// lens. The lens is focused at infinity. It may be more than 180° where the
// projection allows. There is no answer for a length that is negative, not
// finite, or longer than the image circle.
//
// Source: the definition of the projection; common practice.
func (l Lens) AngleOfView(size unit.Length) (unit.Angle, bool) {
	half := float64(size) / 2
	if !(half >= 0 && half <= l.edge) || math.IsInf(half, 1) || l.projection == nil {
		return 0, false
	}
	if half == l.edge {
		return unit.Angle(2 * l.edgeAngle), true
	}
	theta, ok := l.projection.Angle(math.Min(half/l.focal, l.edgeRadius))
	if !ok || !(theta >= 0) {
		return 0, false
	}
	return 2 * unit.Angle(math.Min(float64(theta), l.edgeAngle)), true
}

// FocalLengthForView is the focal length at which a length across the middle
// of the image takes in an angle, the inverse of AngleOfView:
//
//	f = d/(2 r(view/2))
//
// The projection is nil for the rectilinear one. The size is from 1 µm
// to 100 m; half the view lies within the projection.
//
// Source: as AngleOfView.
func FocalLengthForView(p Projection, size unit.Length, view unit.Angle) (unit.Length, error) {
	p = orRectilinear(p)
	c := valid.New("lens", ErrInvalid)
	c.Length("size", size, lengths)
	limit := p.MaxAngle()
	c.Angle("largest angle of the projection", limit, halfViews)
	if !halfViews.Contains(float64(limit)) {
		limit = math.Pi
	}
	c.Angle("angle of view", view, valid.Above(0, 2*limit))
	if !c.OK() {
		return 0, c.Err()
	}
	r, ok := p.Radius(view / 2)
	f := float64(size) / 2 / r
	if !ok || !(f > 0) || math.IsInf(f, 1) {
		c.Fault("angle of view", quantity.Angle(view), "the projection draws it at no finite size")
		return 0, c.Err()
	}
	return unit.Length(f), nil
}
