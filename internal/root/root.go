// Package root finds roots inside a bracket.
package root

import "math"

// Find returns x between lo and hi with f(x) = 0, for a continuous f whose
// values at lo and hi differ in sign or are zero. x is within 2 ulp of the
// point where the computed f changes sign. ok is false without a change of
// sign, or if f returns NaN.
//
// Method: Brent's (R. P. Brent, Algorithms for Minimization Without
// Derivatives, 1973, chapter 4), with bisection whenever interpolation does
// not shrink the bracket. The bracket is only halved after 100 steps, so that
// the search ends for every f.
func Find(f func(float64) float64, lo, hi float64) (x float64, ok bool) {
	a, b := lo, hi
	fa, fb := f(a), f(b)
	switch {
	case math.IsNaN(fa) || math.IsNaN(fb):
		return 0, false
	case fa == 0:
		return a, true
	case fb == 0:
		return b, true
	case math.Signbit(fa) == math.Signbit(fb):
		return 0, false
	}
	c, fc := a, fa           // b is the best point, c the other side of the root
	d := b - a               // the last step
	e := d                   // the step before
	for step := range 3000 { // no bracket of floats is halved 2200 times
		if math.Signbit(fb) == math.Signbit(fc) {
			c, fc = a, fa
			d = b - a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		tol := math.Max(math.Abs(b)*0x1p-52, 5e-324)
		half := (c - b) / 2
		if fb == 0 || math.Abs(c-b) <= tol {
			return b, true
		}
		if step < 100 && math.Abs(e) >= tol && math.Abs(fa) > math.Abs(fb) {
			var p, q float64
			s := fb / fa
			if a == c {
				p, q = 2*half*s, 1-s
			} else {
				r := fb / fc
				q = fa / fc
				p = s * (2*half*q*(q-r) - (b-a)*(r-1))
				q = (q - 1) * (r - 1) * (s - 1)
			}
			if p > 0 {
				q = -q
			}
			p = math.Abs(p)
			if 2*p < math.Min(3*half*q-math.Abs(tol*q), math.Abs(e*q)) {
				e, d = d, p/q
			} else {
				d, e = half, half
			}
		} else {
			d, e = half, half
		}
		a, fa = b, fb
		if math.Abs(d) > tol {
			b += d
		} else {
			b += math.Copysign(math.Min(tol, math.Abs(half)), half)
		}
		if fb = f(b); math.IsNaN(fb) {
			return 0, false
		}
	}
	return 0, false
}
