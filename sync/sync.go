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

func newChecker() *valid.Checker { return valid.New("sync", ErrInvalid) }

func unset(field string) error {
	c := newChecker()
	c.Unset(field)
	return c.Err()
}

// readText sets *to to the value that parse gives. On an error *to is unchanged.
func readText[T any](to *T, text []byte, parse func(string) (T, error)) error {
	if to == nil {
		return newChecker().Refuse("pointer", "nil", "must point to what the text is read into")
	}
	v, err := parse(string(text))
	if err == nil {
		*to = v
	}
	return err
}
