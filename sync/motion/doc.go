// Package motion computes how far the picture of a moving camera moves.
package motion

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("motion: invalid value")

func newChecker() *valid.Checker { return valid.New("motion", ErrInvalid) }

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180
