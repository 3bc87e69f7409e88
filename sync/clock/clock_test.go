package clock_test

import (
	"math"
	"testing"
	"time"

	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDriftTime runs a right clock and one that is off, frame by frame, until one is
// whole frames ahead.
func TestDriftTime(t *testing.T) {
	for _, r := range []timing.Rate{trial.Rate(24, 1), trial.Rate(30000, 1001)} {
		for _, ppm := range []int64{10, -10, 50, -50, 400} {
			num, den := r.Ratio()
			right, wrong := den*(1_000_000+ppm), den*1_000_000 // periods, in 1/(num·(10⁶ + ppm)) s
			for ahead := int64(1); ahead <= 3; ahead++ {
				// Frame 0 of the slow clock and frame ahead of the fast one.
				a, b := int64(0), ahead*min(right, wrong)
				for b > a {
					a, b = a+max(right, wrong), b+min(right, wrong)
				}
				elapsed := float64(a) / float64(num*(1_000_000+ppm))
				ref.Near(t, "T-DRIFT", float64(ahead)*float64(trial.Must(clock.DriftTime(r, float64(ppm)))), elapsed, r, ppm, ahead)
			}
		}
	}
}

func TestEndsOfDriftTime(t *testing.T) {
	r := trial.Rate(24, 1)
	for _, ppm := range []float64{1e5, -1e5, 1e-9, -1e-9} {
		assert.NoError(t, trial.Second(clock.DriftTime(r, ppm)), ppm)
	}
	beyond := math.Nextafter(1e5, math.Inf(1))
	for _, ppm := range []float64{beyond, -beyond, 0.99e-9, -0.99e-9, 0, math.NaN(), math.Inf(1)} {
		assert.ErrorIs(t, trial.Second(clock.DriftTime(r, ppm)), clock.ErrInvalid, ppm)
	}
	trial.Refused(t, clock.ErrInvalid, trial.Second(clock.DriftTime(timing.Rate{}, 1)))
}

func TestPTPTime(t *testing.T) {
	// 2017-01-01 is 17167 days after the beginning of 1970.
	first := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	ref.Equal(t, "T-TAI", trial.Must(clock.PTPTime(first)), trial.Seconds(17167*86400+37, 1))
	// The list gives the same moment as 3692217600 s since 1900, and 1970 as
	// 2208988800 s.
	ref.Equal(t, "T-TAI", trial.Must(clock.PTPTime(first)), trial.Seconds(3692217600-2208988800+37, 1))
	inZone := time.Date(2024, 2, 29, 12, 0, 0, 500, time.FixedZone("harbour", 3600))
	ref.Equal(t, "T-TAI", trial.Must(clock.PTPTime(inZone)), trial.Seconds((19782*86400+11*3600+37)*1e9+500, 1e9))
	last := time.Date(2261, 12, 31, 23, 59, 59, 999_999_999, time.UTC)
	require.NoError(t, trial.Second(clock.PTPTime(last)))
	for _, bad := range []time.Time{{}, first.Add(-1), last.Add(1), time.Unix(math.MaxInt64, 0), time.Unix(math.MinInt64, 0)} {
		assert.ErrorIs(t, trial.Second(clock.PTPTime(bad)), clock.ErrInvalid, bad)
	}
}
