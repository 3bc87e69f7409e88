// Package near compares floating-point results in tests by representable
// numbers, and says which tests may be left out under the race detector.
package near

import (
	"math"
	"strconv"
	"testing"
)

// ULP fails the test unless got is at most n representable numbers from want.
// NaN is far from everything. why says why that many.
func ULP[T ~float64](t testing.TB, what string, got, want T, n uint64, why string) {
	t.Helper()
	if d, ok := ulps(float64(got), float64(want)); !ok || d > n {
		t.Errorf("%s: got %.17g, want %.17g: %d ulp apart, allowed %d (%s)",
			what, float64(got), float64(want), d, n, why)
	}
}

// ulps counts the representable numbers from a to b; ok is false for NaN.
func ulps(a, b float64) (uint64, bool) {
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.MaxUint64, false
	}
	ka, kb := key(a), key(b)
	if ka < kb {
		ka, kb = kb, ka
	}
	return uint64(ka) - uint64(kb), true
}

// key orders the floats as integers, with −0 and 0 alike.
func key(x float64) int64 {
	b := int64(math.Float64bits(x))
	if b < 0 {
		return math.MinInt64 - b
	}
	return b
}

// NumbersOnly skips a test under the race detector, which would make it ten times
// longer, and where int has 32 bits, where floating-point numbers are the same. It is
// for long tests of numbers that run no code, and nothing in parallel, that other
// tests do not.
func NumbersOnly(t testing.TB) {
	if RaceDetector || strconv.IntSize == 32 {
		t.Skip("numbers only")
	}
}
