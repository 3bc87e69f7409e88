// Package trace measures recordings frame by frame.
package trace

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("trace: invalid value")

func newChecker() *valid.Checker { return valid.New("trace", ErrInvalid) }
