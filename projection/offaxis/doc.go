// Package offaxis is the view of an eye through a window that it does not face
// straight on: the frusta and matrices with which a picture for a wall is rendered,
// and what of a plate an eye sees away from the plate's centre.
package offaxis

import "errors"

// ErrInvalid is wrapped by every error of this package that reports a wrong
// input.
var ErrInvalid = errors.New("offaxis: invalid value")
