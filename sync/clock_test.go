package sync_test

import (
	"math"
	"math/big"
	"testing"
	"time"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDriftTime runs a right clock and one that is off, frame by frame, until one is
// whole frames ahead.
func TestDriftTime(t *testing.T) {
	for _, r := range []timing.Rate{rate(24, 1), rate(30000, 1001)} {
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
				ref.Near(t, "T-DRIFT", float64(ahead)*float64(must(timing.DriftTime(r, float64(ppm)))), elapsed, r, ppm, ahead)
			}
		}
	}
}

func TestEndsOfDriftTime(t *testing.T) {
	r := rate(24, 1)
	for _, ppm := range []float64{1e5, -1e5, 1e-9, -1e-9} {
		assert.NoError(t, second(timing.DriftTime(r, ppm)), ppm)
	}
	beyond := math.Nextafter(1e5, math.Inf(1))
	for _, ppm := range []float64{beyond, -beyond, 0.99e-9, -0.99e-9, 0, math.NaN(), math.Inf(1)} {
		assert.ErrorIs(t, second(timing.DriftTime(r, ppm)), timing.ErrInvalid, ppm)
	}
	refused(t, second(timing.DriftTime(timing.Rate{}, 1)))
}

// TestAlignmentCountsFrames counts frames from the epoch, one by one. Far from it,
// num frames last den seconds, so that it is enough to count from a whole multiple
// of them.
func TestAlignmentCountsFrames(t *testing.T) {
	for _, r := range tradeRates() {
		num, den := r.Ratio()
		for _, at := range []timing.Seconds{
			{}, seconds(1, 1), seconds(1001, 7), seconds(1_700_000_000, 1), seconds(170000000001, 100), seconds(170000000004, 100),
			seconds(1_700_000_000_123_456_789, 1e9), seconds(-1, 1), seconds(-1_000_000_007, 1e9), seconds(9_000_000_000_000_000_001, 1e9),
		} {
			// In units of 1/(num·lower) s: the time, a period, and num periods.
			upper, lower := at.Ratio()
			now, period := new(big.Int).Mul(big.NewInt(upper), big.NewInt(num)), big.NewInt(den*lower)
			whole := new(big.Int).Mul(period, big.NewInt(num))
			cycles, rest := new(big.Int).DivMod(now, whole, new(big.Int))
			frame, begins := new(big.Int).Mul(cycles, big.NewInt(num)), new(big.Int)
			for next := new(big.Int); ; begins.Set(next) {
				if next.Add(begins, period).Cmp(rest) > 0 {
					break
				}
				frame.Add(frame, big.NewInt(1))
			}
			unit := new(big.Int).Mul(big.NewInt(num), big.NewInt(lower))
			begins.Sub(rest, begins) // since the frame began
			phase := new(big.Rat).SetFrac(begins, unit)
			next := new(big.Rat).Add(ratOf(at), new(big.Rat).Sub(ratOf(r.Period()), phase))
			got := must(r.Align(at))
			ref.Equal(t, "T-ALIGN", got.Frame, frame.Int64(), r, at)
			ref.Equal(t, "T-ALIGN", ratOf(got.Phase).RatString(), phase.RatString(), r, at)
			ref.Equal(t, "T-ALIGN", ratOf(got.Next).RatString(), next.RatString(), r, at)
		}
		ref.Equal(t, "T-EPOCH", must(r.Align(timing.Seconds{})), timing.Alignment{Next: r.Period()}, r)
	}
	refused(t, second(rate(120, 1).Align(seconds(math.MaxInt64, 1))), second(rate(1, 1).Align(seconds(math.MaxInt64, 1)))) // too far, and no next
}

func TestPTPTime(t *testing.T) {
	// 2017-01-01 is 17167 days after the beginning of 1970.
	first := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	ref.Equal(t, "T-TAI", must(timing.PTPTime(first)), seconds(17167*86400+37, 1))
	// The list gives the same moment as 3692217600 s since 1900, and 1970 as
	// 2208988800 s.
	ref.Equal(t, "T-TAI", must(timing.PTPTime(first)), seconds(3692217600-2208988800+37, 1))
	inZone := time.Date(2024, 2, 29, 12, 0, 0, 500, time.FixedZone("harbour", 3600))
	ref.Equal(t, "T-TAI", must(timing.PTPTime(inZone)), seconds((19782*86400+11*3600+37)*1e9+500, 1e9))
	last := time.Date(2261, 12, 31, 23, 59, 59, 999_999_999, time.UTC)
	require.NoError(t, second(timing.PTPTime(last)))
	for _, bad := range []time.Time{{}, first.Add(-1), last.Add(1), time.Unix(math.MaxInt64, 0), time.Unix(math.MinInt64, 0)} {
		assert.ErrorIs(t, second(timing.PTPTime(bad)), timing.ErrInvalid, bad)
	}
}
