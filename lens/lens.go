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

// What a spec or a function accepts. The ends are wider than what is built,
// and yet narrow enough to catch millimetres given as metres.
var (
	focalLengths = valid.Closed(100*unit.Micro*unit.Metre, 2*unit.Metre)
	imageCircles = valid.Closed(100*unit.Micro*unit.Metre, 1*unit.Metre)
	sides        = valid.Above(0, 1*unit.Metre) // of a format
	blurs        = valid.Closed(0, 1*unit.Metre)
	wavelengths  = valid.Closed(10*unit.Nano*unit.Metre, 30*unit.Micro*unit.Metre)
	fNumbers     = valid.Closed(0.5, 1024.0) // in air no lens is below 0.5
	halfViews    = valid.Above[unit.Angle](0, math.Pi)
	frequencies  = valid.Below(0, math.Inf(1)) // lp/mm, or over the cutoff
)

// Projection is how far from the axis a lens draws what lies at an angle to
// it, for a focal length of one: Radius is the image height in focal lengths
// at a field angle, Angle its inverse, Slope the derivative dr/dθ, MaxAngle the
// largest field angle (or the bound just short of it, where the image height
// grows without limit). A result of ok = false means that there is no answer.
// Field angles are measured from the axis and are never negative. Slope(0)
// need not be 1: a projection may carry a scale of its own.
type Projection interface {
	Radius(theta unit.Angle) (float64, bool)
	Angle(r float64) (unit.Angle, bool)
	Slope(theta unit.Angle) (float64, bool)
	MaxAngle() unit.Angle
}

// Spec describes a lens at one aperture.
type Spec struct {
	// FocalLength is the scale of the projection: the image height at a field
	// angle θ is FocalLength · Projection.Radius(θ). The paraxial focal length
	// is FocalLength · Projection.Slope(0), which is the same for every
	// projection whose slope on the axis is 1. The paraxial focal length is
	// from 0.1 mm to 2 m.
	FocalLength unit.Length
	// FNumber is the paraxial focal length over the diameter of the entrance
	// pupil, from 0.5 to 1024.
	FNumber float64
	// Projection is nil for the rectilinear one, r = tan θ.
	Projection Projection
	// ImageCircle is the diameter of the image, lit or usable as the caller
	// likes, from 0.1 mm to 1 m; 0 where nothing but MaxAngle limits it.
	ImageCircle unit.Length
	// MaxAngle is the largest field angle, half of the lens's whole view; 0
	// for that of the projection.
	MaxAngle unit.Angle
}

// Lens is a lens at one aperture. It does not change, and is safe for
// concurrent use where its Projection is. The methods of a zero Lens have no
// answer. Object and focus distances may be +Inf; the package comment says
// where they are measured.
type Lens struct {
	scale      float64 // m, of the projection
	focal      float64 // m, paraxial: what a thin lens has
	fNumber    float64
	projection Projection
	axisSlope  float64 // dr/dθ on the axis
	edgeAngle  float64 // rad
	edgeRadius float64 // of the image circle in focal lengths, +Inf without limit
	edge       float64 // the same in m
}

// New checks a spec. Where it gives both an image circle and a largest angle,
// the image ends at whichever comes first.
func New(spec Spec) (Lens, error) {
	c := valid.New("lens", ErrInvalid)
	p, limit, slope := checkProjection(c, spec.Projection)
	focal := checkFocalLength(c, spec.FocalLength, slope)
	c.Number("f-number", spec.FNumber, "", fNumbers)
	if spec.ImageCircle != 0 {
		c.Length("image circle", spec.ImageCircle, imageCircles)
	}
	c.Angle("largest angle", spec.MaxAngle, valid.Closed(0, limit))
	if !c.OK() {
		return Lens{}, c.Err()
	}

	l := Lens{
		scale: float64(spec.FocalLength), focal: float64(focal), fNumber: spec.FNumber, projection: p, axisSlope: slope,
		edgeAngle: float64(limit), edgeRadius: math.Inf(1), edge: math.Inf(1),
	}
	if spec.MaxAngle > 0 {
		l.edgeAngle = float64(spec.MaxAngle)
	}
	if r, ok := p.Radius(unit.Angle(l.edgeAngle)); ok && r > 0 {
		l.edgeRadius, l.edge = r, r*l.scale
	} else if unit.Angle(l.edgeAngle) != limit {
		c.Fault("largest angle", quantity.Angle(spec.MaxAngle), "the projection gives it no image height")
	}
	if half := float64(spec.ImageCircle) / 2; half > 0 && half < l.edge {
		r := math.Min(half/l.scale, l.edgeRadius)
		a, ok := p.Angle(r)
		if !ok || !(a > 0) {
			c.Fault("image circle", quantity.Length(spec.ImageCircle), "the projection gives its edge no field angle")
		}
		// Rounding may carry the angle past that of a rim just outside.
		l.edgeAngle, l.edgeRadius, l.edge = math.Min(float64(a), l.edgeAngle), r, half
	}
	if !c.OK() {
		return Lens{}, c.Err()
	}
	return l, nil
}

// ImageCircle is the diameter of the image:
//
//	2 f r(θmax)
//
// or that of the spec, where it is smaller. There is no answer where neither
// the spec nor the projection limits it.
func (l Lens) ImageCircle() (unit.Length, bool) {
	if l.projection == nil || math.IsInf(l.edge, 1) {
		return 0, false
	}
	return unit.Length(2 * l.edge), true
}

// MaxAngle is the field angle at the edge of the image circle, half of the
// lens's whole view. Where the circle has no limit, it is the bound that field
// angles stay below.
func (l Lens) MaxAngle() unit.Angle { return unit.Angle(l.edgeAngle) }

// rectilinear is the projection of a lens that draws straight lines straight.
type rectilinear struct{}

func (rectilinear) Radius(theta unit.Angle) (float64, bool) {
	ok := theta >= 0 && theta < math.Pi/2
	if !ok {
		return 0, false
	}
	return math.Tan(float64(theta)), true
}

func (rectilinear) Angle(r float64) (unit.Angle, bool) {
	if !(r >= 0) || math.IsInf(r, 1) {
		return 0, false
	}
	return unit.Angle(math.Atan(r)), true
}

func (p rectilinear) Slope(theta unit.Angle) (float64, bool) {
	r, ok := p.Radius(theta)
	if !ok {
		return 0, false
	}
	return 1 + r*r, true
}

func (rectilinear) MaxAngle() unit.Angle { return math.Pi / 2 }

// checkProjection gives what to reckon with: the projection, its largest angle
// and its slope on the axis. Where one of these is at fault, it gives a sound
// one in its place, so that the other fields can still be checked.
func checkProjection(c *valid.Checker, p Projection) (_ Projection, limit unit.Angle, slope float64) {
	switch {
	case p == nil:
		p = rectilinear{}
	case valid.Absent(p):
		c.Fault("projection", fmt.Sprintf("(%T)(nil)", p), "must not be a nil pointer; a nil interface is the rectilinear projection")
		p = rectilinear{}
	}
	limit = p.MaxAngle()
	c.Angle("largest angle of the projection", limit, halfViews)
	if !halfViews.Contains(float64(limit)) {
		limit = math.Pi
	}
	slope, ok := p.Slope(0)
	if !ok || !valid.Between(0, math.Inf(1)).Contains(slope) {
		c.Fault("slope of the projection on the axis", quantity.Number(slope, ""), "must be more than 0 and finite")
		slope = 1
	}
	return p, limit, slope
}

// checkFocalLength checks the paraxial focal length that a scale and the slope
// of the projection on the axis come to, and gives it.
func checkFocalLength(c *valid.Checker, scale unit.Length, slope float64) unit.Length {
	focal := scale * unit.Length(slope)
	if slope == 1 {
		c.Length("focal length", scale, focalLengths)
	} else {
		field := fmt.Sprintf("focal length %s times the projection's slope on the axis %s:", quantity.Length(scale), quantity.Number(slope, ""))
		c.Length(field, focal, focalLengths)
	}
	return focal
}
