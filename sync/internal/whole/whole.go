// Package whole computes with whole numbers where Go's operators round towards 0 or overflow.
package whole

// Magnitude is |a|, for the least int64 too.
func Magnitude(a int64) uint64 {
	if a < 0 {
		return -uint64(a)
	}
	return uint64(a)
}

// Signed is m, or −m. ok is false if that does not fit.
func Signed(negative bool, m uint64) (a int64, ok bool) {
	if negative {
		return -int64(m), m <= 1<<63
	}
	return int64(m), m < 1<<63
}

// Floor is ⌊num/den⌋ of a fraction with a positive denominator.
func Floor(num, den int64) int64 {
	q := num / den
	if num%den < 0 {
		q--
	}
	return q
}

// Mod is a mod b, at least 0 and less than b, which is positive.
func Mod[T int | int64](a, b T) T {
	if a %= b; a < 0 {
		a += b
	}
	return a
}
