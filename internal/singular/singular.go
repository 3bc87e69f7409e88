// Package singular computes the singular values of 2 × 2 matrices: the longest
// and the shortest semi-axis of the ellipse to which such a matrix maps the
// unit circle.
package singular

import "math"

// Values are the singular values of the matrix with the rows (a, b) and (c, d):
//
//	most  = (|(a + d, c − b)| + |(a − d, b + c)|)/2
//	least = |a·d − b·c|/most
//
// Each has a relative error of a few roundings, also where the matrix is nearly
// singular; a least below 1e-400·most may be lost. Where an element is not a
// number, both are NaN; where one is infinite, most is too, and least is NaN.
//
// Source: most, half the sum of the lengths of the matrix's conformal and
// anticonformal parts; the determinant after W. Kahan, as J.-M. Muller et al.,
// Handbook of Floating-Point Arithmetic (2010), algorithm 5.11, from memory.
func Values(a, b, c, d float64) (most, least float64) {
	if largest := max(math.Abs(a), math.Abs(b), math.Abs(c), math.Abs(d)); !(largest > 1e-100 && largest < 1e150) {
		if !(largest > 0 && largest <= math.MaxFloat64) {
			return largest, largest * 0
		}
		// A power of two near 2⁴⁰⁰ keeps products from the ends of the range.
		_, e := math.Frexp(largest)
		e -= 400
		most, least = Values(math.Ldexp(a, -e), math.Ldexp(b, -e), math.Ldexp(c, -e), math.Ldexp(d, -e))
		return math.Ldexp(most, e), math.Ldexp(least, e)
	}
	most = (math.Hypot(a+d, c-b) + math.Hypot(a-d, b+c)) / 2
	// a·d − b·c, with what the product b·c loses to rounding given back.
	bc := float64(b * c)
	det := math.FMA(a, d, -bc) + math.FMA(-b, c, bc)
	return most, math.Abs(det) / most
}
