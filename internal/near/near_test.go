package near_test

import (
	"fmt"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
)

// recorder is a testing.TB that remembers failures instead of reporting them.
type recorder struct {
	testing.TB
	failed bool
}

func (r *recorder) Helper()               {}
func (r *recorder) Errorf(string, ...any) { r.failed = true }

func TestComparisons(t *testing.T) {
	nan := math.NaN()
	for i, tc := range []struct {
		compare func(t testing.TB)
		pass    bool
	}{
		{func(t testing.TB) { near.ULP(t, "", 1, math.Nextafter(1, 2), 1, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", 1, math.Nextafter(1, 2), 0, "") }, false},
		{func(t testing.TB) { near.ULP(t, "", math.Copysign(0, -1), 0, 0, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", 5e-324, -5e-324, 2, "") }, true},
		{func(t testing.TB) { near.ULP(t, "", math.MaxFloat64, -math.MaxFloat64, 1<<40, "") }, false},
		{func(t testing.TB) { near.ULP(t, "", nan, nan, math.MaxUint64, "") }, false},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			r := &recorder{}
			tc.compare(r)
			assert.Equal(t, tc.pass, !r.failed)
		})
	}
}
