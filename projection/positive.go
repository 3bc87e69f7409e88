package projection

import (
	"math"
	"slices"
)

// positiveUpTo is the first positive root of the polynomial Σ a[i]·xⁱ, of whatever
// multiplicity: up to it the polynomial is positive. It is rounded down, within 2 ulp
// (beyond x = 1 within 2x ulp). It is +Inf if there is no root, and 0 if a[0] is not
// positive.
//
// No root is missed: an interval counts as positive only if all its Bernstein
// coefficients are, between which the polynomial lies, and is halved otherwise
// (G. Farin, Curves and Surfaces for CAGD, the convex hull property and
// subdivision). Beyond 1 the polynomial is taken in 1/x.
func positiveUpTo(a []float64) float64 {
	for len(a) > 0 && a[len(a)-1] == 0 {
		a = a[:len(a)-1]
	}
	if len(a) == 0 || !(a[0] > 0) {
		return 0
	}
	n := len(a)
	if z := positiveOn(bernstein(a), 0, 1); z < 1 {
		return z
	}
	reversed := make([]float64, n)
	for i, v := range a {
		reversed[n-1-i] = v
	}
	b := bernstein(reversed)
	for i, j := 0, n-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
	return 1 / (1 - positiveOn(b, 0, 1)) // x = 1/(1 − z)
}

// bernstein gives the coefficients, on [0, 1], of the polynomial Σ a[i]·xⁱ.
func bernstein(a []float64) []float64 {
	b := append([]float64(nil), a...)
	n := len(a) - 1
	binomial := 1.0
	for i := 1; i <= n; i++ {
		binomial *= float64(n-i+1) / float64(i)
		b[i] /= binomial
	}
	for i := 1; i <= n; i++ {
		for j := n; j >= i; j-- {
			b[j] += b[j-1]
		}
	}
	return b
}

// polynomialRange bounds the polynomial Σ a[i]·xⁱ for 0 ≤ lo ≤ x ≤ hi, with room for
// rounding.
func polynomialRange(a []float64, lo, hi float64) (low, high float64) {
	n := len(a)
	shifted := append([]float64(nil), a...) // in powers of (x − lo)/(hi − lo)
	size := 0.0
	for i := n - 1; i >= 0; i-- {
		size = size*hi + math.Abs(a[i])
	}
	for i := range n {
		for j := n - 2; j >= i; j-- {
			shifted[j] += lo * shifted[j+1]
		}
	}
	scale := 1.0
	for i := range shifted {
		shifted[i] *= scale
		scale *= hi - lo
	}
	b := bernstein(shifted)
	spare := size * 0x1p-46
	return slices.Min(b) - spare, slices.Max(b) + spare
}

// positiveOn is hi if the polynomial with the Bernstein coefficients b on [lo, hi]
// is positive throughout, and otherwise how far it is.
func positiveOn(b []float64, lo, hi float64) float64 {
	all := true
	for _, v := range b {
		all = all && v > 0
	}
	if all {
		return hi
	}
	if !(b[0] > 0) || hi-lo <= hi*0x1p-52 {
		return lo
	}
	n := len(b)
	left, right := make([]float64, n), append([]float64(nil), b...)
	for i := range n {
		left[i] = right[0]
		for j := range n - 1 - i {
			right[j] = right[j]/2 + right[j+1]/2
		}
	}
	mid := lo + (hi-lo)/2
	if z := positiveOn(left, lo, mid); z < mid {
		return z
	}
	return positiveOn(right, mid, hi)
}
