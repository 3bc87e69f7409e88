package projection

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package that reports a wrong
// input.
var ErrInvalid = errors.New("projection: invalid value")

// Degree is one degree of arc, which gonum's unit package lacks.
const Degree unit.Angle = math.Pi / 180

// Model is the projection of a lens that is symmetric about its axis: the image
// height r at the field angle θ, for a focal length of 1.
//
// Radius increases strictly from Radius(0) = 0 to the largest angle. Angle is its
// inverse and Slope its derivative. Each gives ok = false outside the domain and
// for NaN. A Model must be safe for concurrent use.
type Model interface {
	// Radius is the image height r(θ), in focal lengths.
	Radius(theta unit.Angle) (r float64, ok bool)
	// Angle is the field angle θ(r).
	Angle(r float64) (theta unit.Angle, ok bool)
	// Slope is dr/dθ, per radian.
	Slope(theta unit.Angle) (slope float64, ok bool)
	// MaxAngle is the supremum of the field angles. Radius tells whether the
	// Model images that angle itself.
	MaxAngle() unit.Angle
}

// Bounded is a Model that bounds its derivatives. Package rig then proves its
// results. For any other Model it samples the derivatives every 0.09°.
type Bounded interface {
	Model
	// Bounds gives bounds that hold at every field angle from lo to hi: a lower
	// bound of the slope, per radian, and a lower and an upper bound of r″ = d²r/dθ²,
	// per radian². Bounds may be infinite. If lo to hi is not an interval in the
	// domain they are 0, −Inf and +Inf.
	Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64)
}

// within reports whether lo and hi enclose a part of a model's domain.
func within(m Model, lo, hi unit.Angle) bool {
	end := m.MaxAngle()
	return lo >= 0 && lo <= hi && hi <= end && end > 0
}

// unbounded is what Bounds gives if nothing is known.
func unbounded() (slope, bendLow, bendHigh float64) { return 0, math.Inf(-1), math.Inf(1) }
