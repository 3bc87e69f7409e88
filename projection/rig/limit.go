package rig

import (
	"fmt"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
)

// Limit is the reason why a frame or a distance is not allowed. The zero value
// says that nothing stands against it.
type Limit uint8

// The limits.
const (
	NoLimit      Limit = iota // allowed
	Unseen                    // a direction that no camera sees, or that a camera of the seam does not image
	TooFewPixels              // fewer source pixels than delivered ones
	OutOfRange                // no distance that a float64 holds is enough
)

var limitNames = enum.New[Limit](ErrInvalid, []string{NoLimit: "none", Unseen: "unseen", TooFewPixels: "too few pixels", OutOfRange: "out of range"})

// String gives a name like "too few pixels".
func (l Limit) String() string { return limitNames.Name(l) }

// MarshalText gives the name. An unknown Limit is an error.
func (l Limit) MarshalText() ([]byte, error) { return limitNames.Marshal(l) }

// UnmarshalText reads a name. Any other text is an error and leaves l unchanged.
func (l *Limit) UnmarshalText(text []byte) error { return limitNames.Unmarshal(l, text) }

// checkDirection reports a direction that is zero or not finite.
func checkDirection(v *valid.Checker, name string, dir r3.Vec) {
	if _, ok := geom.Handy(dir); !ok {
		v.Fault(name, fmt.Sprintf("(%g, %g, %g)", dir.X, dir.Y, dir.Z), "must be finite and not zero")
	}
}
