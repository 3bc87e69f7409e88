package lens

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// AngleOfView is the angle that a length across the middle of the image takes in,
// like the width, the height or the diagonal of a centred format.
//
//	2 θ(d/(2f))
//
// d is the length, f the FocalLength of the Spec, and θ the Angle of the model:
// 2 atan(d/(2f)) for a rectilinear lens. The lens is focused at infinity. The
// result may be more than 180° if the model allows it. ok is false if d is not 0
// and outside 100 nm to 1 m, or if it is longer than the diameter of the image
// circle.
//
// Source: the definition of the model; common practice.
func (l Lens) AngleOfView(size unit.Length) (view unit.Angle, ok bool) {
	half := float64(size) / 2
	if size != 0 && !valid.SensorSides.Contains(float64(size)) || half > l.edge || l.model == nil {
		return 0, false
	}
	if half == l.edge {
		return unit.Angle(2 * l.edgeAngle), true
	}
	theta, ok := l.model.Angle(half / l.scale)
	if !ok || !(theta >= 0) {
		return 0, false
	}
	return 2 * unit.Angle(math.Min(float64(theta), l.edgeAngle)), true
}

// FocalLengthForView is the focal length at which a length across the middle of
// the image takes in an angle. It is the inverse of AngleOfView.
//
//	f = d/(2 r(view/2))
//
// d is the length, from 100 nm to 1 m, and r the Radius of the model; a nil model
// is rectilinear. The result is a FocalLength for Spec. A view that is not more
// than 0, or beyond the model, is an error. So is a result that New would refuse.
//
// Source: as AngleOfView.
func FocalLengthForView(m Model, size unit.Length, view unit.Angle) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	m, limit, slope := checkModel(c, m)
	c.Length("size", size, valid.SensorSides)
	c.Angle("angle of view", view, valid.Above(0, 2*limit))
	if !c.OK() {
		return 0, c.Err()
	}
	r, ok := m.Radius(view / 2)
	if !ok {
		return 0, c.Refuse("angle of view", quantity.Angle(view), "the model gives it no image height")
	}
	f := size / 2 / unit.Length(r)
	checkFocalLength(c, f, slope)
	if !c.OK() {
		return 0, c.Err()
	}
	return f, nil
}
