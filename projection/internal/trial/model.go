package trial

import (
	"math"

	"example.com/platewright/internal/root"
	"gonum.org/v1/gonum/unit"
)

// KannalaBrandt is a Model of a user's own: k1 θ + k2 θ³ + k3 θ⁵ + k4 θ⁷ + k5 θ⁹
// (J. Kannala and S. S. Brandt, IEEE TPAMI 28 (2006), 1335, equation 6), up to
// 93°: the one measured below turns back soon after.
type KannalaBrandt [5]float64

// MaxAngle is 93°.
func (k KannalaBrandt) MaxAngle() unit.Angle { return 93 * math.Pi / 180 }

// Radius is the polynomial.
func (k KannalaBrandt) Radius(theta unit.Angle) (float64, bool) {
	t := float64(theta)
	if !(t >= 0 && t <= float64(k.MaxAngle())) {
		return 0, false
	}
	t2 := t * t
	return t * (k[0] + t2*(k[1]+t2*(k[2]+t2*(k[3]+t2*k[4])))), true
}

// Slope is its derivative.
func (k KannalaBrandt) Slope(theta unit.Angle) (float64, bool) {
	t := float64(theta)
	if !(t >= 0 && t <= float64(k.MaxAngle())) {
		return 0, false
	}
	t2 := t * t
	return k[0] + t2*(3*k[1]+t2*(5*k[2]+t2*(7*k[3]+t2*9*k[4]))), true
}

// Angle is the inverse of Radius, by a bracketed root.
func (k KannalaBrandt) Angle(r float64) (unit.Angle, bool) {
	t, ok := root.Find(func(t float64) float64 {
		v, _ := k.Radius(unit.Angle(t))
		return v - r
	}, 0, float64(k.MaxAngle()))
	return unit.Angle(t), ok
}
