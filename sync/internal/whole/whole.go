// Package whole splits int64 numbers into sign and magnitude, and puts them together.
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
