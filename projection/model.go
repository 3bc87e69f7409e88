package projection

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package that reports a wrong
// input.
var ErrInvalid = errors.New("projection: invalid value")

// Degree is one degree of arc, which gonum's unit package lacks.
const Degree unit.Angle = math.Pi / 180

// Model is the law by which a lens that is symmetric about its axis images a
// field angle, at unit focal length: image heights are in focal lengths, field
// angles are measured from the optical axis.
//
// Radius grows without a stop from Radius(0) = 0 to the largest angle, Angle
// is its inverse, and Slope its derivative. Each gives ok = false outside the
// domain and for NaN. A Model must be safe for concurrent use.
type Model interface {
	// Radius is the image height r(θ).
	Radius(theta unit.Angle) (r float64, ok bool)
	// Angle is the field angle θ(r).
	Angle(r float64) (theta unit.Angle, ok bool)
	// Slope is dr/dθ, per radian.
	Slope(theta unit.Angle) (slope float64, ok bool)
	// MaxAngle is the supremum of the field angles that the model images.
	// Whether it is included, Radius tells.
	MaxAngle() unit.Angle
}

// Bounded is a Model that bounds its derivatives. What package rig computes is
// then proved; of another Model it takes samples, every 0.18°.
type Bounded interface {
	Model
	// Bounds gives a lower bound of the slope, and a lower and an upper bound of
	// r″ = d²r/dθ², per rad², over all field angles from lo to hi, which lie in
	// the Model's domain. They may be infinite. Where nothing is known, as outside
	// the domain, they are 0, −Inf and +Inf.
	Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64)
}

// within reports whether lo and hi enclose a part of a model's domain.
func within(m Model, lo, hi unit.Angle) bool {
	end := m.MaxAngle()
	return lo >= 0 && lo <= hi && hi <= end && end > 0
}

// unbounded is what Bounds gives where nothing is known.
func unbounded() (slope, bendLow, bendHigh float64) { return 0, math.Inf(-1), math.Inf(1) }

// Form is one of the five closed forms of lens projection. It is a Model; its
// zero value is not valid, images nothing and prints as "Form(0)".
//
//	Rectilinear    r = tan θ         θ < 90°
//	Stereographic  r = 2 tan(θ/2)    θ < 180°
//	Equidistant    r = θ             θ ≤ 180°
//	Equisolid      r = 2 sin(θ/2)    θ ≤ 180°
//	Orthographic   r = sin θ         θ ≤ 90°
//
// Source: J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395 (1987), chapters 22, 21, 25, 24 and 20, where they are the
// gnomonic, stereographic, azimuthal equidistant, Lambert azimuthal equal-area
// and orthographic projections of the sphere of directions.
type Form uint8

// The closed forms.
const (
	Rectilinear   Form = iota + 1 // keeps straight lines straight
	Stereographic                 // keeps angles: small circles stay round
	Equidistant                   // keeps distance from the axis: pixels per degree of field angle are constant
	Equisolid                     // keeps solid angle: steradians per pixel are constant
	Orthographic                  // keeps solid angle weighted by the cosine from the axis
)

var formNames = [...]string{
	Rectilinear:   "rectilinear",
	Stereographic: "stereographic",
	Equidistant:   "equidistant",
	Equisolid:     "equisolid",
	Orthographic:  "orthographic",
}

func (f Form) valid() bool { return f >= Rectilinear && f <= Orthographic }

// String is like "equisolid".
func (f Form) String() string {
	if !f.valid() {
		return fmt.Sprintf("Form(%d)", uint8(f))
	}
	return formNames[f]
}

// MarshalText gives the name that String gives, and an error for an invalid
// Form.
func (f Form) MarshalText() ([]byte, error) {
	if !f.valid() {
		return nil, fmt.Errorf("projection: form %v: must be one of the five: %w", f, ErrInvalid)
	}
	return []byte(formNames[f]), nil
}

// UnmarshalText takes a name that MarshalText gives. On an error f is left as
// it was.
func (f *Form) UnmarshalText(text []byte) error {
	for i := Rectilinear; i <= Orthographic; i++ {
		if string(text) == formNames[i] {
			*f = i
			return nil
		}
	}
	return fmt.Errorf("projection: form %q: must be rectilinear, stereographic, equidistant, equisolid or orthographic: %w", text, ErrInvalid)
}

// MaxAngle is the supremum of the field angles: 90° for Rectilinear (not
// included) and Orthographic (included), 180° for Stereographic (not included),
// Equidistant and Equisolid (included), 0 for an invalid Form.
func (f Form) MaxAngle() unit.Angle {
	switch f {
	case Rectilinear, Orthographic:
		return math.Pi / 2
	case Stereographic, Equidistant, Equisolid:
		return math.Pi
	}
	return 0
}

// contains reports whether θ is in the domain. NaN is not.
func (f Form) contains(theta float64) bool {
	switch f {
	case Rectilinear:
		return theta >= 0 && theta < math.Pi/2
	case Orthographic:
		return theta >= 0 && theta <= math.Pi/2
	case Stereographic:
		return theta >= 0 && theta < math.Pi
	case Equidistant, Equisolid:
		return theta >= 0 && theta <= math.Pi
	}
	return false
}

// Radius is the image height in focal lengths at the field angle, within 2 ulp.
// Outside 0 … MaxAngle, for NaN and for an invalid Form, ok is false. The
// formulas and their source stand at Form.
func (f Form) Radius(theta unit.Angle) (r float64, ok bool) {
	t := float64(theta)
	if !f.contains(t) {
		return 0, false
	}
	switch f {
	case Rectilinear:
		return geom.Tan(t), true
	case Stereographic:
		return 2 * geom.Tan(t/2), true
	case Equidistant:
		return t, true
	case Equisolid:
		return 2 * math.Sin(t/2), true
	default:
		return math.Sin(t), true
	}
}

// Angle is the field angle at an image height in focal lengths, the inverse of
// Radius, within 2.5 ulp of the angle that has this radius. Negative heights,
// heights that no field angle reaches (above π for Equidistant, 2 for
// Equisolid, 1 for Orthographic), infinities and NaN give ok = false.
//
// At the rim of Equisolid and Orthographic the radius no longer grows with the
// angle, so an angle δ short of the rim comes back from its rounded radius only
// to about 1e-16/δ rad, 2e-8 rad at the rim itself.
//
// Source: Snyder (1987), inverse equations (22-16), (21-15), (25-15), (24-16)
// and those of chapter 20, the inverse sines through atan2 so that the rim keeps its
// precision.
func (f Form) Angle(r float64) (theta unit.Angle, ok bool) {
	if !(r >= 0 && r <= math.MaxFloat64) {
		return 0, false
	}
	switch {
	case f == Rectilinear:
		// The arc tangent of a great number rounds to 90°, which is not included.
		return unit.Angle(math.Min(math.Atan(r), belowRight)), true
	case f == Stereographic:
		return unit.Angle(2 * math.Min(math.Atan(r/2), belowRight)), true
	case f == Equidistant && r <= math.Pi:
		return unit.Angle(r), true
	case f == Equisolid && r <= 2:
		return unit.Angle(2 * math.Atan2(r, math.Sqrt((2-r)*(2+r)))), true
	case f == Orthographic && r <= 1:
		return unit.Angle(math.Atan2(r, math.Sqrt((1-r)*(1+r)))), true
	}
	return 0, false
}

// belowRight is the largest float64 below a right angle.
var belowRight = math.Nextafter(math.Pi/2, 0)

// Slope is dr/dθ at the field angle, per radian; it has the domain of Radius.
//
//	Rectilinear    1/cos²θ
//	Stereographic  1/cos²(θ/2)
//	Equidistant    1
//	Equisolid      cos(θ/2)
//	Orthographic   cos θ
//
// It is the scale along the radius that Snyder (1987) calls h′ or k′.
func (f Form) Slope(theta unit.Angle) (slope float64, ok bool) {
	t := float64(theta)
	if !f.contains(t) {
		return 0, false
	}
	switch f {
	case Rectilinear:
		c := math.Cos(t)
		return 1 / (c * c), true
	case Stereographic:
		c := math.Cos(t / 2)
		return 1 / (c * c), true
	case Equidistant:
		return 1, true
	case Equisolid:
		return math.Cos(t / 2), true
	default:
		return math.Cos(t), true
	}
}

// Bounds bounds the slope and r″ as a Bounded does. Both grow or fall throughout,
// so their extremes are at lo and hi:
//
//	Rectilinear    r″ = 2 sin θ/cos³θ
//	Stereographic  r″ = sin(θ/2)/cos³(θ/2)
//	Equidistant    r″ = 0
//	Equisolid      r″ = −sin(θ/2)/2
//	Orthographic   r″ = −sin θ
func (f Form) Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64) {
	s0, ok0 := f.Slope(lo)
	s1, ok1 := f.Slope(hi)
	if !within(f, lo, hi) || !ok0 {
		return unbounded()
	}
	if !ok1 { // at an end that is not included
		s1 = math.Inf(1)
	}
	a, b := f.bend(float64(lo)), f.bend(float64(hi))
	if !ok1 {
		b = math.Inf(1)
	}
	return min(s0, s1), min(a, b), max(a, b)
}

// bend is r″ at a field angle of the domain.
func (f Form) bend(theta float64) float64 {
	switch f {
	case Rectilinear:
		sin, cos := math.Sincos(theta)
		return 2 * sin / (cos * cos * cos)
	case Stereographic:
		sin, cos := math.Sincos(theta / 2)
		return sin / (cos * cos * cos)
	case Equisolid:
		return -math.Sin(theta/2) / 2
	case Orthographic:
		return -math.Sin(theta)
	}
	return 0
}
