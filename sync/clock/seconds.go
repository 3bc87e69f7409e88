package clock

import (
	"math/bits"

	timing "example.com/platewright/sync"
)

// nanoseconds is ⌊10⁹ num/den⌋ for 0 ≤ num < den.
func nanoseconds(num, den int64) int64 {
	hi, lo := bits.Mul64(uint64(num), 1e9)
	q, _ := bits.Div64(hi, lo, uint64(den))
	return int64(q)
}

// shift is t + s whole seconds.
func shift(t timing.Seconds, s int64) (timing.Seconds, error) {
	whole, err := timing.NewSeconds(s, 1)
	if err != nil {
		return timing.Seconds{}, err
	}
	return exact(t.Add(whole))
}

// exact gives the value of a call of package sync, and makes its error one of this
// package.
func exact[T any](v T, err error) (T, error) {
	if err != nil {
		c := newChecker()
		c.Add("result", err)
		return *new(T), c.Err()
	}
	return v, nil
}
