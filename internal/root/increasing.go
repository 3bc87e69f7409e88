package root

import "math"

// Increasing returns x in [lo, hi] with f(x) = y, for a smooth and increasing
// f that also gives its slope. x is as near as the rounding of f divided by the
// slope allows. For y outside f(lo) to f(hi) it returns lo or hi.
//
// It always ends. Newton's method starts at x; where a step leaves the bracket,
// or the steps do not halve, the bracket is halved instead.
func Increasing(f func(x float64) (y, slope float64), y, lo, hi, x float64) float64 {
	last := hi - lo
	for range 2000 { // more than the halvings of any bracket and Newton's steps between
		v, slope := f(x)
		v -= y
		switch {
		case v == 0:
			return x
		case v > 0:
			hi = x
		default:
			lo = x
		}
		next := x - v/slope
		step := math.Abs(next - x)
		if !(next >= lo && next <= hi) || step > last/2 {
			next = lo + (hi-lo)/2
			if next == lo || next == hi {
				return next
			}
			step = hi - lo // twice the move, so that Newton's method is tried again
		} else if step <= math.Abs(x)*0x1p-30 {
			return next // the error is of the order of the step's square
		}
		last, x = step, next
	}
	return x
}
