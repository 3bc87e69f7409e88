// Package orient converts heading, elevation and roll to axes in the stage
// frame and back. The stage frame is right-handed with +Y up; without rotation
// a body looks along −Z with +X to its right.
package orient

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Axes are the unit vectors of a turned body in the stage frame: the images of
// its own +X, +Y and +Z. Back is opposite to the direction in which it looks.
// They form a right-handed set.
type Axes struct{ Right, Up, Back r3.Vec }

// FromAngles composes heading, then elevation, then roll, each in the frame
// that the previous turn left. Heading is positive to the right seen from
// above, elevation upwards, roll clockwise seen from behind:
//
//	R = Ry(−heading) · Rx(elevation) · Rz(−roll)
func FromAngles(heading, elevation, roll unit.Angle) Axes {
	sh, ch := math.Sincos(float64(heading))
	se, ce := math.Sincos(float64(elevation))
	sr, cr := math.Sincos(float64(roll))
	right := r3.Vec{X: ch, Z: sh}
	up := r3.Vec{X: -sh * se, Y: ce, Z: ch * se}
	return Axes{
		Right: r3.Vec{X: cr*right.X - sr*up.X, Y: -sr * up.Y, Z: cr*right.Z - sr*up.Z},
		Up:    r3.Vec{X: cr*up.X + sr*right.X, Y: cr * up.Y, Z: cr*up.Z + sr*right.Z},
		Back:  r3.Vec{X: -sh * ce, Y: -se, Z: ch * ce},
	}
}

// ToStage turns a vector from the body's frame into the stage frame.
func (a Axes) ToStage(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*a.Right.X + v.Y*a.Up.X + v.Z*a.Back.X,
		Y: v.X*a.Right.Y + v.Y*a.Up.Y + v.Z*a.Back.Y,
		Z: v.X*a.Right.Z + v.Y*a.Up.Z + v.Z*a.Back.Z,
	}
}

// FromStage is the inverse of ToStage.
func (a Axes) FromStage(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(v, a.Right), Y: r3.Dot(v, a.Up), Z: r3.Dot(v, a.Back)}
}

// Angles is the inverse of FromAngles: heading and roll within ±π, elevation
// within ±π/2. Straight up or down heading and roll are the same turn; the
// roll is then 0.
func (a Axes) Angles() (heading, elevation, roll unit.Angle) {
	horizontal := math.Hypot(a.Back.X, a.Back.Z)
	elevation = angle(-a.Back.Y, horizontal)
	if horizontal < 2e-15 {
		return angle(a.Right.Z, a.Right.X), elevation, 0
	}
	heading = angle(-a.Back.X, a.Back.Z)
	// Against the axes of this very heading: close to straight up or down it is
	// uncertain, and the roll makes up for it.
	level := FromAngles(heading, elevation, 0)
	return heading, elevation, angle(-r3.Dot(a.Right, level.Up), r3.Dot(a.Right, level.Right))
}

// angle is the direction of (x, y), without a negative zero: straight back is +π, and a
// direction of 0 prints as 0.
func angle(y, x float64) unit.Angle { return unit.Angle(math.Atan2(y+0, x)) }
