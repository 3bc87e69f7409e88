// Package tiny has a change for every verdict.
package tiny

// Sum is tested with y = 0 only.
func Sum(x, y int) int { return x + y }

// Difference is tested.
func Difference(x, y int) int { return x - y }

// Larger may give either of two that are equal.
func Larger(x, y int) int {
	if x > y {
		return x
	}
	return y
}

// Divide ends where n gets less.
func Divide(n, by uint) uint {
	for n != 0 {
		n /= by
	}
	return n
}

// Second takes no other index.
func Second(bits [2]bool) bool { return bits[1] }
