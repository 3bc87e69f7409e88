// Package flicker judges light that flickers by the published limits.
package flicker

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("flicker: invalid value")

func newChecker() *valid.Checker { return valid.New("flicker", ErrInvalid) }
