// Package sphere is the geometry of directions. A direction is a vector of
// length 1: a point of the unit sphere.
package sphere

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Norm returns the length of v, at a fraction of the time of r3.Norm. Components
// are at most 1e150, and the length is 0 or at least 1e-150: beyond, squares
// leave the range of float64.
func Norm(v r3.Vec) float64 { return math.Sqrt(v.X*v.X + v.Y*v.Y + v.Z*v.Z) }

// Unit returns the direction of v, at a fraction of the time of r3.Unit. The
// length of v is from 1e-150 to 1e150; that of the zero vector is NaN.
func Unit(v r3.Vec) r3.Vec { return r3.Scale(1/Norm(v), v) }

// Angle returns the angle between two vectors, 0 to π, to a few roundings also
// where it is small or near π:
//
//	atan2(|a × b|, a·b)
//
// The lengths need not be 1, but their product is from 1e-150 to 1e150.
func Angle(a, b r3.Vec) float64 { return math.Atan2(Norm(r3.Cross(a, b)), r3.Dot(a, b)) }

// Triangle returns the solid angle of the spherical triangle between three
// directions:
//
//	tan(Ω/2) = |a·((b − a) × (c − a))| / (1 + a·b + b·c + c·a)
//
// The differences keep the digits of small triangles.
//
// Source: A. van Oosterom and J. Strackee, The Solid Angle of a Plane Triangle,
// IEEE Transactions on Biomedical Engineering 30, 1983, from memory.
func Triangle(a, b, c r3.Vec) float64 {
	volume := r3.Dot(a, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
	below := 1 + r3.Dot(a, b) + r3.Dot(b, c) + r3.Dot(c, a)
	if x := math.Abs(volume) / below; x >= 0 && x < 1e-4 {
		return 2 * (x - x*x*x/3) // the next term is 2e-17 of it
	}
	return 2 * math.Atan2(math.Abs(volume), below)
}

// Clip appends to dst the part of a convex spherical polygon on the side of the
// great circle to which its pole n points. Each corner but those on the circle
// is kept as it is.
func Clip(dst, polygon []r3.Vec, n r3.Vec) []r3.Vec {
	if len(polygon) == 0 {
		return dst
	}
	last := polygon[len(polygon)-1]
	dLast := r3.Dot(n, last)
	for _, v := range polygon {
		d := r3.Dot(n, v)
		if (d < 0) != (dLast < 0) {
			f := dLast / (dLast - d)
			dst = append(dst, Unit(r3.Add(r3.Scale(1-f, last), r3.Scale(f, v))))
		}
		if d >= 0 {
			dst = append(dst, v)
		}
		last, dLast = v, d
	}
	return dst
}
