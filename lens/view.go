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
// projection allows. There is no answer for a length that is negative, more
// than 1 m, or longer than the image circle.
//
// Source: the definition of the projection; common practice.
func (l Lens) AngleOfView(size unit.Length) (unit.Angle, bool) {
	half := float64(size) / 2
	if size != 0 && !sides.Contains(float64(size)) || half > l.edge || l.projection == nil {
		return 0, false
	}
	if half == l.edge {
		return unit.Angle(2 * l.edgeAngle), true
	}
	theta, ok := l.projection.Angle(math.Min(half/l.scale, l.edgeRadius))
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
// The projection is nil for the rectilinear one. The size is more than 0 and
// at most 1 m; half the view lies within the projection. The result is what
// Spec takes as FocalLength; one that New would refuse is an error.
//
// Source: as AngleOfView.
func FocalLengthForView(p Projection, size unit.Length, view unit.Angle) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	p, limit, slope := checkProjection(c, p)
	c.Length("size", size, sides)
	c.Angle("angle of view", view, valid.Above(0, 2*limit))
	if !c.OK() {
		return 0, c.Err()
	}
	r, ok := p.Radius(view / 2)
	if !ok || !(r > 0) || math.IsInf(r, 1) {
		c.Fault("angle of view", quantity.Angle(view), "the projection draws it at no finite size")
		return 0, c.Err()
	}
	f := size / 2 / unit.Length(r)
	checkFocalLength(c, f, slope)
	if !c.OK() {
		return 0, c.Err()
	}
	return f, nil
}
