// Package near compares floating-point results in tests. Every comparison
// takes a tolerance and the reason why that tolerance, and fails on NaN.
package near

import (
	"math"
	"testing"
)

// Abs fails the test unless |got − want| ≤ tol. Equal infinities agree; NaN
// agrees with nothing.
func Abs[T ~float64](t testing.TB, what string, got, want, tol T, why string) {
	t.Helper()
	if d := distance(got, want); !(d <= float64(tol)) {
		t.Errorf("%s: got %.17g, want %.17g: off by %.3g, allowed %.3g (%s)",
			what, float64(got), float64(want), d, float64(tol), why)
	}
}

// Rel fails the test unless |got − want| ≤ tol·|want|.
func Rel[T ~float64](t testing.TB, what string, got, want T, tol float64, why string) {
	t.Helper()
	if d := distance(got, want); !(d <= tol*math.Abs(float64(want))) && d != 0 {
		t.Errorf("%s: got %.17g, want %.17g: off by %.3g of it, allowed %.3g (%s)",
			what, float64(got), float64(want), d/math.Abs(float64(want)), tol, why)
	}
}

// ULP fails the test unless at most n representable numbers lie between got
// and want, counting one of them.
func ULP[T ~float64](t testing.TB, what string, got, want T, n uint64, why string) {
	t.Helper()
	if d, ok := ulps(float64(got), float64(want)); !ok || d > n {
		t.Errorf("%s: got %.17g, want %.17g: %d ulp apart, allowed %d (%s)",
			what, float64(got), float64(want), d, n, why)
	}
}

// NaN fails the test unless got is not a number.
func NaN[T ~float64](t testing.TB, what string, got T) {
	t.Helper()
	if !math.IsNaN(float64(got)) {
		t.Errorf("%s: got %.17g, want NaN", what, float64(got))
	}
}

// distance is |got − want|, 0 for equal infinities, NaN where either is NaN.
func distance[T ~float64](got, want T) float64 {
	if got == want {
		return 0
	}
	return math.Abs(float64(got) - float64(want))
}

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

// NumbersOnly leaves out a long test that is no more parallel than others where
// the race detector would make it ten times longer.
func NumbersOnly(t testing.TB) {
	if RaceDetector {
		t.Skip("numbers only")
	}
}
