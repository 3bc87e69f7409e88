package sensor

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("sensor: invalid value")

const millimetre = unit.Milli * unit.Metre

// Limits of this package alone. Those that it shares stand in internal/valid.
var (
	indices = valid.Closed(0.1, 1e8)    // exposure indices and ISO speeds
	values  = valid.Closed(-100.0, 100) // exposure values
)

// snapped returns the nearer end of r if v lies outside r by rounding only, and v
// otherwise: an inverse then accepts what its function returned at the end.
func snapped(v float64, r valid.Range) float64 {
	if end := min(max(v, r.Min), r.Max); math.Abs(v-end) <= 1e-12*math.Abs(end) {
		return end
	}
	return v
}

// answer returns v, or 0 and the faults found.
func answer[T ~float64](c *valid.Checker, v T) (T, error) {
	if !c.OK() {
		return 0, c.Err()
	}
	return v, nil
}
