package sync_test

import (
	"math"
	"math/big"
	"testing"

	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
)

// TestAlignmentCountsFrames counts frames from the epoch, one by one. Far from it,
// num frames last den seconds, so that it is enough to count from a whole multiple
// of them.
func TestAlignmentCountsFrames(t *testing.T) {
	for _, r := range trial.Rates() {
		num, den := r.Ratio()
		for _, at := range []timing.Seconds{
			{}, trial.Seconds(1, 1), trial.Seconds(1001, 7), trial.Seconds(1_700_000_000, 1), trial.Seconds(170000000001, 100), trial.Seconds(170000000004, 100),
			trial.Seconds(1_700_000_000_123_456_789, 1e9), trial.Seconds(-1, 1), trial.Seconds(-1_000_000_007, 1e9), trial.Seconds(9_000_000_000_000_000_001, 1e9),
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
			next := new(big.Rat).Add(trial.Rat(at), new(big.Rat).Sub(trial.Rat(r.Period()), phase))
			got := trial.Must(r.Align(at))
			ref.Equal(t, "T-ALIGN", got.Frame, frame.Int64(), r, at)
			ref.Equal(t, "T-ALIGN", trial.Rat(got.Phase).RatString(), phase.RatString(), r, at)
			ref.Equal(t, "T-ALIGN", trial.Rat(got.Next).RatString(), next.RatString(), r, at)
		}
		ref.Equal(t, "T-EPOCH", trial.Must(r.Align(timing.Seconds{})), timing.Alignment{Next: r.Period()}, r)
	}
	trial.Refused(t, timing.ErrInvalid, trial.Second(trial.Rate(120, 1).Align(trial.Seconds(math.MaxInt64, 1))), trial.Second(trial.Rate(1, 1).Align(trial.Seconds(math.MaxInt64, 1)))) // too far, and no next
}
