package near_test

import (
	"fmt"
	"math"
	"testing"

	"example.com/platewright/internal/near"
)

// recorder is a testing.TB that remembers failures instead of reporting them.
type recorder struct {
	testing.TB
	failed bool
}

func (r *recorder) Helper()               {}
func (r *recorder) Errorf(string, ...any) { r.failed = true }

func TestComparisons(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for i, tc := range []struct {
		compare func(t testing.TB)
		pass    bool
	}{
		{func(t testing.TB) { near.Abs(t, "", 1, 1.25, 0.25, "") }, true},
		{func(t testing.TB) { near.Abs(t, "", 1, 1.25, 0.2, "") }, false},
		{func(t testing.TB) { near.Abs(t, "", nan, nan, inf, "") }, false},
		{func(t testing.TB) { near.Abs(t, "", inf, inf, 0, "") }, true},
		{func(t testing.TB) { near.Abs(t, "", inf, -inf, 1e300, "") }, false},
		{func(t testing.TB) { near.Abs(t, "", 1, 1, nan, "") }, false},
		{func(t testing.TB) { near.Rel(t, "", 1.01, 1, 0.02, "") }, true},
		{func(t testing.TB) { near.Rel(t, "", -1.0, 1, 0.02, "") }, false},
		{func(t testing.TB) { near.Rel(t, "", 0.0, 0, 0, "") }, true},
		{func(t testing.TB) { near.Rel(t, "", nan, 1, inf, "") }, false},
		{func(t testing.TB) { near.ULP(t, "", 1, math.Nextafter(1, 2), 1, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", 1, math.Nextafter(1, 2), 0, "") }, false},
		{func(t testing.TB) { near.ULP(t, "", math.Copysign(0, -1), 0, 0, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", 5e-324, -5e-324, 2, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", math.MaxFloat64, -math.MaxFloat64, 1<<40, "") }, false},
		{func(t testing.TB) { near.ULP(t, "", nan, nan, math.MaxUint64, "") }, false},
		{func(t testing.TB) { near.NaN(t, "", nan) }, true},
		{func(t testing.TB) { near.NaN(t, "", 0.0) }, false},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			r := &recorder{}
			tc.compare(r)
			if r.failed == tc.pass {
				t.Errorf("failed: %v, want pass: %v", r.failed, tc.pass)
			}
		})
	}
}
