package sync

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("sync: invalid value")

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180

func fault(field, value, format string, args ...any) error {
	c := valid.New("sync", ErrInvalid)
	c.Fault(field, value, format, args...)
	return c.Err()
}
