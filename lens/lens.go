package lens

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("lens: invalid value")

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180

// Model is the law by which a lens images a field angle, at unit focal length:
// how far from the axis the image of a direction is. Field angles are measured
// from the axis and are not negative; image heights are in focal lengths. Each
// method gives ok = false outside its domain. Slope(0) need not be 1: a model may
// carry a scale of its own. A Model must be safe for concurrent use.
type Model interface {
	// Radius is the image height r(θ). It grows from 0 on the axis.
	Radius(theta unit.Angle) (r float64, ok bool)
	// Angle is the field angle θ(r), the inverse of Radius.
	Angle(r float64) (theta unit.Angle, ok bool)
	// Slope is dr/dθ, per radian.
	Slope(theta unit.Angle) (slope float64, ok bool)
	// MaxAngle is the supremum of the field angles, at most 180°. Radius has no
	// answer there if the image height grows without limit.
	MaxAngle() unit.Angle
}

// Spec describes a lens at one aperture. JSON cannot read a Spec into the interface
// Model: put both in a struct that shadows the field with a type that JSON can read,
// like a Form of package projection.
//
//	var file struct {
//		lens.Spec
//		Model projection.Form
//	}
//	err := json.Unmarshal(data, &file)
//	file.Spec.Model = file.Model
type Spec struct {
	// FocalLength is the scale of the model: the image height at a field angle θ
	// is FocalLength · Model.Radius(θ). The paraxial focal length is FocalLength ·
	// Model.Slope(0), which is the same if the slope on the axis is 1. The
	// paraxial focal length is from 0.1 mm to 2 m.
	FocalLength unit.Length
	// FNumber is the paraxial focal length over the diameter of the entrance
	// pupil, from 0.5 to 1024.
	FNumber float64
	// Model is how the lens images field angles. Nil is rectilinear, r = tan θ.
	Model Model
	// ImageCircle is the diameter of the image, from 0.1 mm to 1 m: the circle
	// that is lit, or the one that is sharp enough. Zero imposes no limit beside
	// MaxAngle.
	ImageCircle unit.Length
	// MaxAngle is the largest field angle, half of the whole view of the lens: 100°
	// for a fisheye of 200°. Zero imposes no limit beside that of the model.
	MaxAngle unit.Angle
}

// Lens is a lens at one aperture. It is immutable, and safe for concurrent use.
// Lenses from equal specs are equal with == if their models are comparable. The
// methods of the zero Lens give ok = false or an error.
type Lens struct {
	scale     float64 // m, of the model
	focal     float64 // m, paraxial: that of the thin lens
	fNumber   float64
	model     Model   // never nil after New
	axisSlope float64 // dr/dθ on the axis
	edgeAngle float64 // rad
	edge      float64 // m, radius of the image circle, +Inf without limit
}

// halfView is the field MaxAngle in errors. Lenses are sold by the whole view.
const halfView = "largest angle (half the view)"

// New checks a spec. If it gives both an image circle and a largest angle, the
// image ends at whichever comes first.
func New(spec Spec) (Lens, error) {
	c := valid.New("lens", ErrInvalid)
	m, limit, slope := checkModel(c, spec.Model)
	focal := checkFocalLength(c, spec.FocalLength, slope)
	c.Number("f-number", spec.FNumber, "", valid.FNumbers)
	if spec.ImageCircle != 0 {
		c.Length("image circle", spec.ImageCircle, valid.ImageCircles)
	}
	c.Angle(halfView, spec.MaxAngle, valid.Closed(0, limit))
	if !c.OK() {
		return Lens{}, c.Err()
	}

	l := Lens{
		scale: float64(spec.FocalLength), focal: float64(focal), fNumber: spec.FNumber, model: m, axisSlope: slope,
		edgeAngle: float64(limit), edge: math.Inf(1),
	}
	if spec.MaxAngle > 0 {
		l.edgeAngle = float64(spec.MaxAngle)
	}
	if r, ok := m.Radius(unit.Angle(l.edgeAngle)); ok && r > 0 {
		l.edge = r * l.scale
	} else if unit.Angle(l.edgeAngle) != limit {
		c.Fault(halfView, quantity.Angle(spec.MaxAngle), "the model gives it no image height")
	}
	if half := float64(spec.ImageCircle) / 2; half > 0 && half < l.edge {
		a, ok := m.Angle(half / l.scale)
		if !ok || !(a > 0) {
			c.Fault("image circle", quantity.Length(spec.ImageCircle), "the model gives its edge no field angle")
		}
		// Rounding may carry the angle past that of a rim just outside.
		l.edgeAngle, l.edge = math.Min(float64(a), l.edgeAngle), half
	}
	if !c.OK() {
		return Lens{}, c.Err()
	}
	return l, nil
}

// ImageCircle is the diameter of the image.
//
//	2 f r(θmax)
//
// θmax is MaxAngle. If the ImageCircle of the Spec is smaller, it is the result.
// ok is false if neither the spec nor the model limits the image.
func (l Lens) ImageCircle() (diameter unit.Length, ok bool) {
	if l.model == nil || math.IsInf(l.edge, 1) {
		return 0, false
	}
	return unit.Length(2 * l.edge), true
}

// MaxAngle is the field angle at the edge of the image circle, half of the whole
// view of the lens. If the image has no limit, MaxAngle is the supremum of the
// field angles: 90° for a rectilinear lens. It is 0 for the zero Lens.
func (l Lens) MaxAngle() unit.Angle { return unit.Angle(l.edgeAngle) }

// rectilinear is the model of a lens that images straight lines as straight.
type rectilinear struct{}

func (rectilinear) Radius(theta unit.Angle) (float64, bool) {
	if !(theta >= 0 && theta < math.Pi/2) {
		return 0, false
	}
	return math.Tan(float64(theta)), true
}

func (rectilinear) Angle(r float64) (unit.Angle, bool) {
	return unit.Angle(math.Atan(r)), true
}

func (m rectilinear) Slope(theta unit.Angle) (float64, bool) {
	r, ok := m.Radius(theta)
	return 1 + r*r, ok
}

func (rectilinear) MaxAngle() unit.Angle { return math.Pi / 2 }

// checkModel gives the model to use, its largest angle and its slope on the axis.
// It replaces a faulty one by a sound one, so that other fields can be checked.
func checkModel(c *valid.Checker, m Model) (_ Model, limit unit.Angle, slope float64) {
	switch {
	case m == nil:
		m = rectilinear{}
	case valid.Absent(m):
		c.Fault("model", fmt.Sprintf("(%T)(nil)", m), "must not be a nil pointer; a nil interface is the rectilinear model")
		m = rectilinear{}
	case m.MaxAngle() == 0: // the zero value of an enum of models
		c.Fault("model", fmt.Sprintf("not set (%T with a largest angle of 0°)", m), "must image angles of more than 0°; nil is rectilinear")
		m = rectilinear{}
	}
	limit = m.MaxAngle()
	halfViews := valid.Above[unit.Angle](0, math.Pi)
	c.Angle("largest angle of the model", limit, halfViews)
	if !halfViews.Contains(float64(limit)) {
		limit = math.Pi
	}
	slope, ok := m.Slope(0)
	if !ok || !valid.Between(0, math.Inf(1)).Contains(slope) {
		c.Fault("slope of the model on the axis", quantity.Number(slope, ""), "must be more than 0 and finite")
		slope = 1
	}
	return m, limit, slope
}

// checkFocalLength gives the paraxial focal length, which it checks: a scale times
// the slope of the model on the axis.
func checkFocalLength(c *valid.Checker, scale unit.Length, slope float64) unit.Length {
	focal := scale * unit.Length(slope)
	if slope == 1 {
		c.Length("focal length", scale, valid.FocalLengths)
	} else {
		field := fmt.Sprintf("focal length %s times the model's slope on the axis %s:", quantity.Length(scale), quantity.Number(slope, ""))
		c.Length(field, focal, valid.FocalLengths)
	}
	return focal
}
