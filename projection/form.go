package projection

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/unit"
)

// Form is one of the five closed forms of lens projection. It is a Model. The zero Form
// is not valid.
//
//	Rectilinear    r = tan θ         dr/dθ = 1/cos²θ        θ < 90°
//	Stereographic  r = 2 tan(θ/2)    dr/dθ = 1/cos²(θ/2)    θ < 180°
//	Equidistant    r = θ             dr/dθ = 1              θ ≤ 180°
//	Equisolid      r = 2 sin(θ/2)    dr/dθ = cos(θ/2)       θ ≤ 180°
//	Orthographic   r = sin θ         dr/dθ = cos θ          θ ≤ 90°
type Form uint8

// The closed forms.
const (
	Rectilinear   Form = iota + 1 // keeps straight lines straight
	Stereographic                 // keeps angles: small circles stay round
	Equidistant                   // keeps distance from the axis: pixels per degree of field angle are constant
	Equisolid                     // keeps solid angle: steradians per pixel are constant
	Orthographic                  // keeps solid angle weighted by the cosine from the axis
)

var formNames = enum.New[Form](ErrInvalid, []string{
	Rectilinear: "rectilinear", Stereographic: "stereographic", Equidistant: "equidistant", Equisolid: "equisolid", Orthographic: "orthographic",
})

// String gives a name like "equisolid".
func (f Form) String() string { return formNames.Name(f) }

// MarshalText gives the name. An unknown Form is an error.
func (f Form) MarshalText() ([]byte, error) { return formNames.Marshal(f) }

// UnmarshalText reads a name. Any other text is an error and leaves f unchanged.
func (f *Form) UnmarshalText(text []byte) error { return formNames.Unmarshal(f, text) }

// closedForm is all that the code knows of one closed form, for a focal length of 1. The
// arguments of its functions are in its domain.
type closedForm struct {
	end      float64 // largest field angle
	included bool    // whether it is imaged
	rMax     float64 // largest image height

	radius, angle, slope func(float64) float64
	bend                 func(theta float64) float64 // r″

	mapping
}

// mapping is how a camera uses a model: without an angle where a closed form
// needs none, and with sums in the form that does not cancel.
type mapping struct {
	// perSide is r/s for a direction of length n with the component z along the
	// axis, whose tip is s from the axis.
	perSide func(s2, z, n float64) (k float64, ok bool)
	// slope is dr/dθ in that direction, where r/sin θ is across.
	slopeAt func(across, s2, z, n float64) (slope float64, ok bool)
	// ray is sin θ/r and cos θ at the square of an image height.
	ray func(r2 float64) (k, z float64, ok bool)
}

// closedForms are the five. closedForms[0] stands for every unknown Form.
var closedForms = [...]closedForm{
	0: {rMax: -1},
	Rectilinear: {
		end: math.Pi / 2, rMax: math.MaxFloat64,
		radius: geom.Tan,
		// The arc tangent of a large number rounds to 90°, which is not included.
		angle: func(r float64) float64 { return math.Min(math.Atan(r), belowRight) }, // (22-16)
		slope: func(t float64) float64 { c := math.Cos(t); return 1 / (c * c) },
		bend:  func(t float64) float64 { sin, cos := math.Sincos(t); return 2 * sin / (cos * cos * cos) },
		mapping: mapping{
			perSide: func(_, z, _ float64) (float64, bool) { return 1 / z, z > 0 },
			slopeAt: func(across, _, _, _ float64) (float64, bool) { return across * across, true },
			ray: func(r2 float64) (k, z float64, ok bool) {
				k = 1 / math.Sqrt(1+r2)
				return k, k, true
			},
		},
	},
	Stereographic: {
		end: math.Pi, rMax: math.MaxFloat64,
		radius: func(t float64) float64 { return 2 * geom.Tan(t/2) },
		angle:  func(r float64) float64 { return 2 * math.Min(math.Atan(r/2), belowRight) }, // (21-15)
		slope:  func(t float64) float64 { c := math.Cos(t / 2); return 1 / (c * c) },
		bend:   func(t float64) float64 { sin, cos := math.Sincos(t / 2); return sin / (cos * cos * cos) },
		mapping: mapping{
			perSide: func(s2, z, n float64) (float64, bool) { // tan(θ/2) = s/(n + z) = (n − z)/s
				if z >= 0 {
					return 2 / (n + z), true
				}
				return 2 * (n - z) / s2, s2 > antipode*n*n
			},
			slopeAt: func(across, _, _, _ float64) (float64, bool) { return across, true },
			ray:     func(r2 float64) (k, z float64, ok bool) { return 4 / (4 + r2), (4 - r2) / (4 + r2), true },
		},
	},
	Equidistant: {
		end: math.Pi, included: true, rMax: math.Pi,
		radius: func(t float64) float64 { return t },
		angle:  func(r float64) float64 { return r }, // (25-15)
		slope:  func(float64) float64 { return 1 },
		bend:   func(float64) float64 { return 0 },
		mapping: mapping{
			perSide: func(s2, z, n float64) (float64, bool) {
				if s2 > 0 {
					s := math.Sqrt(s2)
					return math.Atan2(s, z) / s, z > 0 || s2 > antipode*n*n
				}
				return 1 / n, z > 0
			},
			slopeAt: func(_, _, _, _ float64) (float64, bool) { return 1, true },
			ray: func(r2 float64) (k, z float64, ok bool) {
				if r2 == 0 {
					return 1, 1, true
				}
				r := math.Sqrt(r2)
				sin, cos := math.Sincos(r)
				return sin / r, cos, true
			},
		},
	},
	Equisolid: {
		end: math.Pi, included: true, rMax: 2,
		radius: func(t float64) float64 { return 2 * math.Sin(t/2) },
		angle:  func(r float64) float64 { return 2 * math.Atan2(r, math.Sqrt((2-r)*(2+r))) }, // (24-16)
		slope:  func(t float64) float64 { return math.Cos(t / 2) },
		bend:   func(t float64) float64 { return -math.Sin(t/2) / 2 },
		mapping: mapping{
			perSide: func(s2, z, n float64) (float64, bool) { // sin²(θ/2) = (n − z)/2n = s²/(2n(n + z))
				if z >= 0 {
					return math.Sqrt(2 / (n * (n + z))), true
				}
				return math.Sqrt(2 * (n - z) / (n * s2)), s2 > antipode*n*n
			},
			slopeAt: func(across, _, _, _ float64) (float64, bool) { return 1 / across, true }, // cos(θ/2) and its inverse
			ray:     func(r2 float64) (k, z float64, ok bool) { return math.Sqrt(max(0, 1-r2/4)), 1 - r2/2, true },
		},
	},
	Orthographic: {
		end: math.Pi / 2, included: true, rMax: 1,
		radius: math.Sin,
		angle:  func(r float64) float64 { return math.Atan2(r, math.Sqrt((1-r)*(1+r))) }, // chapter 20
		slope:  math.Cos,
		bend:   func(t float64) float64 { return -math.Sin(t) },
		mapping: mapping{
			perSide: func(_, z, n float64) (float64, bool) { return 1 / n, z >= -slack*n }, // sin θ = s/n
			slopeAt: func(_, _, z, n float64) (float64, bool) { return max(0, z/n), true },
			ray:     func(r2 float64) (k, z float64, ok bool) { return 1, math.Sqrt(max(0, 1-r2)), true },
		},
	},
}

// belowRight is the largest float64 below a right angle.
var belowRight = math.Nextafter(math.Pi/2, 0)

func (f Form) closed() *closedForm {
	if int(f) >= len(closedForms) {
		return &closedForms[0]
	}
	return &closedForms[f]
}

// contains reports whether θ is in the domain. NaN is not.
func (l *closedForm) contains(theta float64) bool {
	return theta >= 0 && (theta < l.end || l.included && theta == l.end)
}

// MaxAngle is the supremum of the field angles, as given at Form.
func (f Form) MaxAngle() unit.Angle { return unit.Angle(f.closed().end) }

// Radius is the image height at a field angle, in focal lengths, to 2 ulp.
func (f Form) Radius(theta unit.Angle) (r float64, ok bool) {
	l := f.closed()
	if !l.contains(float64(theta)) {
		return 0, false
	}
	return l.radius(float64(theta)), true
}

// Angle is the field angle at an image height in focal lengths, to 2.5 ulp of the angle
// that has this radius. At the rim of Equisolid and Orthographic the radius stops growing:
// an angle δ short of it comes back from its rounded radius to about 1e-16/δ rad, and to
// 2e-8 rad at the rim itself.
func (f Form) Angle(r float64) (theta unit.Angle, ok bool) {
	l := f.closed()
	if !(r >= 0 && r <= l.rMax) {
		return 0, false
	}
	return unit.Angle(l.angle(r)), true
}

// Slope is dr/dθ at a field angle, per radian.
func (f Form) Slope(theta unit.Angle) (slope float64, ok bool) {
	l := f.closed()
	if !l.contains(float64(theta)) {
		return 0, false
	}
	return l.slope(float64(theta)), true
}

// Bounds gives the slope and r″ at lo and hi, where both have their extremes.
func (f Form) Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64) {
	l := f.closed()
	if !within(f, lo, hi) || !l.contains(float64(lo)) {
		return unbounded()
	}
	from, low := l.slope(float64(lo)), l.bend(float64(lo))
	if !l.contains(float64(hi)) { // both grow without limit
		return from, low, math.Inf(1)
	}
	to, high := l.slope(float64(hi)), l.bend(float64(hi))
	return min(from, to), min(low, high), max(low, high)
}
