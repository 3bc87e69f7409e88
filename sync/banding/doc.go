// Package banding predicts the light and dark rows that a pulsed light leaves in a
// picture, and measures them in a recorded frame.
package banding

import (
	"errors"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("banding: invalid value")

func newChecker() *valid.Checker { return valid.New("banding", ErrInvalid) }

func fault(field, value, format string, args ...any) error {
	c := newChecker()
	c.Fault(field, value, format, args...)
	return c.Err()
}

// setRate adds a fault if the rate is not set.
func setRate(c *valid.Checker, field string, r timing.Rate) {
	if r == (timing.Rate{}) {
		c.Unset(field)
	}
}
