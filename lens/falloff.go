package lens

import (
	"math"

	"gonum.org/v1/gonum/unit"
)

// RelativeIllumination is how brightly a lens lights the sensor at a field
// angle, as a part of what it gives on the axis, for a scene of even luminance
// and an entrance pupil that is seen as a fixed, flat disc:
//
//	E(θ)/E(0) = r'(0)² sin θ cos θ / (r(θ) r'(θ))
//
// which is cos⁴ θ for a rectilinear lens, (sin θ cos θ)/θ for an equidistant
// one, cos θ for an equisolid one and 1 for an orthographic one. Real
// wide-angle lenses hold more light towards the edge, since their pupil tips
// and swells, or less, since their mount cuts into it.
//
// There is no answer from 90° on, where a flat pupil is seen from its edge or
// from behind, nor beyond the image circle.
//
// Source: conservation of flux, after R. Kingslake, Optical System Design
// (1983), from memory.
func (l Lens) RelativeIllumination(theta unit.Angle) (float64, bool) {
	t := float64(theta)
	if !(t >= 0 && t <= l.edgeAngle && t < math.Pi/2) || l.projection == nil {
		return 0, false
	}
	// Below the normal numbers r loses its digits, and the limit is 1.
	if t < 0x1p-1000 {
		return 1, true
	}
	r, ok := l.projection.Radius(theta)
	slope, okSlope := l.projection.Slope(theta)
	if !ok || !okSlope {
		return 0, false
	}
	e := l.axisSlope / r * math.Sin(t) * (l.axisSlope / slope * math.Cos(t))
	if !(e >= 0) || math.IsInf(e, 1) {
		return 0, false
	}
	return e, true
}

// FalloffStops is by how many stops the sensor is lit less at a field angle
// than on the axis:
//
//	−log2(E(θ)/E(0))
//
// The domain is that of RelativeIllumination.
//
// Source: as RelativeIllumination; a stop is a factor of two, common practice.
func (l Lens) FalloffStops(theta unit.Angle) (float64, bool) {
	e, ok := l.RelativeIllumination(theta)
	if !ok || e == 0 {
		return 0, false
	}
	return -math.Log2(e) + 0, true
}
