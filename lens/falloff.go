package lens

import (
	"math"

	"gonum.org/v1/gonum/unit"
)

// RelativeIllumination is the illuminance on the sensor at a field angle θ over
// that on the axis, for a scene of uniform luminance. The entrance pupil is taken
// to be a flat disc that neither moves nor changes.
//
//	E(θ)/E(0) = r'(0)² sin θ cos θ/(r(θ) r'(θ))
//
// r is the Radius of the model and r' its Slope. The result is cos⁴ θ for a
// rectilinear lens, (sin θ cos θ)/θ for an equidistant one, cos θ for an
// equisolid one and 1 for an orthographic one. Real wide-angle lenses keep more
// light towards the edge, since their pupil tilts and grows, or less, since their
// barrel cuts into it.
//
// ok is false if θ is negative, beyond the image circle, or 90° or more, where a
// flat pupil is seen edge-on or from behind.
//
// Source: conservation of flux, after R. Kingslake, Optical System Design
// (1983), from memory.
func (l Lens) RelativeIllumination(theta unit.Angle) (fraction float64, ok bool) {
	t := float64(theta)
	if !(t >= 0 && t <= l.edgeAngle && t < math.Pi/2) || l.model == nil {
		return 0, false
	}
	// Below the normal numbers r loses its digits, and the limit is 1.
	if t < 0x1p-1000 {
		return 1, true
	}
	r, ok := l.model.Radius(theta)
	slope, okSlope := l.model.Slope(theta)
	if !ok || !okSlope {
		return 0, false
	}
	e := l.axisSlope / r * math.Sin(t) * (l.axisSlope / slope * math.Cos(t))
	if !(e >= 0) || math.IsInf(e, 1) {
		return 0, false
	}
	return e, true
}

// FalloffStops is by how many stops the sensor is darker at a field angle θ than
// on the axis.
//
//	−log2(E(θ)/E(0))
//
// The domain is that of RelativeIllumination.
//
// Source: as RelativeIllumination; a stop is a factor of two, common practice.
func (l Lens) FalloffStops(theta unit.Angle) (stops float64, ok bool) {
	e, ok := l.RelativeIllumination(theta)
	if !ok || e == 0 {
		return 0, false
	}
	return -math.Log2(e) + 0, true // no −0
}
