// Package peak finds maxima of functions of one variable.
package peak

import "math"

// Find returns a local maximum of f between lo and hi, and its value: x to
// within tolerance, or to where roundings of f decide. The search starts at
// start, lo ≤ start ≤ hi, and never goes below: value ≥ f(start). If f has
// only one maximum in [lo, hi], this is it. f may be −Inf; NaN counts as −Inf.
//
// Near a smooth maximum f is flat: a tolerance below 1e-8 of the scale on which
// f falls to half gains nothing.
//
// Method: golden section search (W. H. Press et al., Numerical Recipes, 3rd
// edition, section 10.2, from memory).
func Find(f func(float64) float64, lo, start, hi, tolerance float64) (x, value float64) {
	const fraction = 2 - math.Phi // of the larger side, next to the best point
	x, value = start, f(start)
	if math.IsNaN(value) {
		value = math.Inf(-1)
	}
	for hi-lo > tolerance {
		next := x + fraction*(hi-x)
		if x-lo > hi-x {
			next = x - fraction*(x-lo)
		}
		if next == x {
			break
		}
		// The worse of the two points becomes an end of the bracket.
		if v := f(next); v > value {
			x, next, value = next, x, v
		}
		if next > x {
			hi = next
		} else {
			lo = next
		}
	}
	return x, value
}
