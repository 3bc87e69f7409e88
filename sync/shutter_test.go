package sync_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestShutterTimes holds the times that go with the usual angles at 24 frames a
// second.
func TestShutterTimes(t *testing.T) {
	r := trial.Rate(24, 1)
	for angle, den := range map[string]int64{"360": 24, "270": 32, "180": 48, "172.8": 50, "144": 60, "90": 96, "72": 120, "45": 192} {
		ref.Equal(t, "T-SHUTTER-TIMES", trial.Must(trial.Degrees(angle).Exposure(r)), trial.Seconds(1, den), angle)
		ref.Equal(t, "T-SHUTTER-TIMES", trial.Must(timing.ShutterAngleOf(trial.Seconds(1, den), r)), trial.Degrees(angle), angle)
	}
}

// TestShutterAgainstADisc turns a disc in front of the gate, tick by tick, and
// notes when light falls on a frame.
func TestShutterAgainstADisc(t *testing.T) {
	const turn = 1440 // ticks
	rng := rand.New(rand.NewPCG(33, 34))
	for _, r := range trial.Rates() {
		num, den := r.Ratio()
		at := func(tick int64) timing.Seconds { return trial.Seconds(tick*den, num*turn) }
		opening := 2 + 2*rng.Int64N(turn/2-1)
		angle := trial.Must(timing.NewShutterAngle(opening*360, turn))
		for phase, ahead := range map[timing.ShutterPhase]int64{timing.Leading: 0, timing.Centred: opening / 2} {
			frame := rng.Int64N(200) - 100
			// The opening passes the gate once in the turn around the frame's time.
			var first, last, open int64
			for tick := frame*turn - ahead; tick < (frame+1)*turn-ahead; tick++ {
				if sector := tick + ahead - frame*turn; sector < opening {
					if open == 0 {
						first = tick
					}
					last = tick
					open++
				}
			}
			opens, closes, err := angle.Interval(r, frame, phase)
			require.NoError(t, err)
			ref.Equal(t, "T-SHUTTER-INTERVAL", opens, at(first), r, frame, phase)
			ref.Equal(t, "T-SHUTTER-INTERVAL", closes, at(last+1), r, frame, phase)
			ref.Equal(t, "T-SHUTTER-DISC", trial.Must(angle.Exposure(r)), at(open), r, angle)
			ref.Equal(t, "T-SHUTTER-DISC", trial.Must(timing.ShutterAngleOf(at(open), r)), angle, r)
		}
	}
}

// TestRoundedAgainstAMenu looks for the nearest of all the angles that a menu
// offers, the wider of two.
func TestRoundedAgainstAMenu(t *testing.T) {
	rng := rand.New(rand.NewPCG(35, 36))
	for decimals, steps := range []int64{1, 10, 100} {
		// Halfway, beside it, at both ends, and the clean angle of 50 Hz at 23.976.
		angles := []timing.ShutterAngle{
			trial.Degrees("0.5"), trial.Degrees("180.5"), trial.Degrees("172.55"), trial.Degrees("172.549999999"), trial.Degrees("172.05"), trial.Degrees("90.005"),
			trial.Degrees("360"), trial.Degrees("359.996"), trial.Degrees("172800/1001"),
		}
		for range 30 {
			den := 1 + rng.Int64N(5000)
			angles = append(angles, trial.Must(timing.NewShutterAngle(den+rng.Int64N(359*den), den)))
		}
		for _, a := range angles {
			at := trial.Rat(trial.Must(a.Exposure(trial.Rate(1, 360)))) // seconds are degrees
			num, den := at.Num().Int64(), at.Denom().Int64()
			best, least := int64(0), int64(math.MaxInt64)
			for k := int64(1); k <= 360*steps; k++ {
				miss := k*den - num*steps // times den · steps
				if miss = max(miss, -miss); miss <= least {
					best, least = k, miss
				}
			}
			ref.Equal(t, "T-SHUTTER-MENU", trial.Must(a.Rounded(decimals)), trial.Must(timing.NewShutterAngle(best, steps)), a, decimals)
		}
	}
}

func TestRoundedAtTheEnds(t *testing.T) {
	assert.Equal(t, "172.6°", trial.Must(trial.Degrees("172800/1001").Rounded(1)).String())
	assert.Equal(t, "172.627372627°", trial.Must(trial.Degrees("172800/1001").Rounded(9)).String())
	assert.Equal(t, trial.Degrees("0.1"), trial.Must(trial.Degrees("0.05").Rounded(1)))
	assert.Equal(t, trial.Degrees("360"), trial.Must(trial.Must(timing.ShutterAngleOf(trial.Seconds(math.MaxInt64-1, math.MaxInt64), trial.Rate(1, 1))).Rounded(9)))
	assert.EqualError(t, trial.Second(trial.Degrees("0.049").Rounded(1)), "sync: shutter angle 0.049°: must be at least 0.05°, or have more decimals than 1")
	assert.EqualError(t, trial.Second(trial.Degrees("90").Rounded(-1)), "sync: decimals -1: must be at least 0 and at most 9")
	assert.EqualError(t, trial.Second(trial.Degrees("90").Rounded(10)), "sync: decimals 10: must be at least 0 and at most 9")
	assert.EqualError(t, trial.Second(timing.ShutterAngle{}.Rounded(1)), "sync: shutter angle: must be set")
}

// TestShutterAngleInRadians holds the bound of two ulp, against 2π to 40 digits.
func TestShutterAngleInRadians(t *testing.T) {
	for text, want := range map[string]float64{"360": 2 * math.Pi, "180": math.Pi, "90": math.Pi / 2, "45": math.Pi / 4, "120": 2 * math.Pi / 3} {
		ref.Near(t, "T-SHUTTER-RADIANS", float64(trial.Must(timing.ParseShutterAngle(text)).Angle()), want, text)
	}
	turn, _ := new(big.Rat).SetString("6.283185307179586476925286766559005768394")
	rng := rand.New(rand.NewPCG(35, 36))
	for range 5000 {
		den := 1 + rng.Int64()>>rng.IntN(63)
		num := 1 + rng.Int64N(den)
		a := trial.Must(timing.ShutterAngleOf(trial.Seconds(num, den), trial.Rate(1, 1)))
		want, _ := new(big.Rat).Mul(turn, big.NewRat(num, den)).Float64()
		ref.Near(t, "T-SHUTTER-RADIANS", float64(a.Angle()), want, a)
	}
}

func TestShutterAngleText(t *testing.T) {
	for in, want := range map[string]string{
		"172.8": "172.8°", "172.8°": "172.8°", "864/5": "172.8°", "180.000": "180°", "86400/1001": "86400/1001°", "0.5": "0.5°", "360°": "360°",
	} {
		a := trial.Degrees(in)
		assert.Equal(t, want, a.String())
		assert.Equal(t, a, trial.Degrees(a.String()))
	}
	assert.Equal(t, trial.Degrees("172.8"), trial.Must(timing.NewShutterAngle(1728, 10)))
	for _, s := range []string{
		"", "°", "0", "0.0", "-90", "+90", "360.0001", "720", "1/0", "1//2", ".", "5.", ".5", "1.5/2", "1e2", "0x10", "90 ", "90°°", "NaN", "Inf", "1_0",
		"123456789012345678901234567890123456789012345", "0.0000000000000000000000000000000000001",
	} {
		assert.ErrorIs(t, trial.Second(timing.ParseShutterAngle(s)), timing.ErrInvalid, s)
	}
	for _, x := range [][2]int64{{0, 1}, {90, 0}, {90, -1}, {-90, 1}, {361, 1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, 1}, {1, math.MaxInt64}} {
		assert.ErrorIs(t, trial.Second(timing.NewShutterAngle(x[0], x[1])), timing.ErrInvalid, x)
	}
}

func TestIntervalsRefused(t *testing.T) {
	half, second := trial.Degrees("180"), trial.Rate(1, 1)
	// A shutter of 360° leaves no gap.
	_, closes, err1 := trial.Degrees("360").Interval(trial.Rate(24000, 1001), 99, timing.Centred)
	opens, _, err2 := trial.Degrees("360").Interval(trial.Rate(24000, 1001), 100, timing.Centred)
	require.NoError(t, err1)
	require.NoError(t, err2)
	assert.Equal(t, opens, closes)
	_, _, err := half.Interval(trial.Rate(24, 1), 0, 0)
	assert.EqualError(t, err, "sync: shutter phase ShutterPhase(0): must be leading or centred")
	for _, tc := range []struct {
		a     timing.ShutterAngle
		r     timing.Rate
		n     int64
		phase timing.ShutterPhase
	}{
		{half, trial.Rate(24, 1), 0, 3}, {half, trial.Rate(24000, 1001), math.MaxInt64, timing.Leading},
		{half, timing.Rate{}, 0, timing.Leading}, {timing.ShutterAngle{}, second, 0, timing.Leading},
		{trial.Degrees("360"), second, math.MaxInt64, timing.Leading},  // opens at 2⁶³ − 1 s, closes at 2⁶³ s
		{trial.Degrees("360"), second, 1 << 62, timing.Centred},        // closes at (2⁶³ + 1)/2 s
		{trial.Degrees("360"), second, -1 << 62, timing.Centred},       // opens at −(2⁶³ + 1)/2 s
		{trial.Degrees("360"), second, 1<<62 + 1<<61, timing.Centred},  // neither fits
		{trial.Degrees("360"), second, -1<<62 - 1<<61, timing.Centred}, // neither fits
	} {
		opens, closes, err = tc.a.Interval(tc.r, tc.n, tc.phase)
		assert.ErrorIs(t, err, timing.ErrInvalid, tc)
		assert.Zero(t, [2]timing.Seconds{opens, closes})
	}
	opens, closes, err = trial.Degrees("360").Interval(second, math.MaxInt64-1, timing.Leading)
	require.NoError(t, err)
	assert.Equal(t, [2]timing.Seconds{trial.Seconds(math.MaxInt64-1, 1), trial.Seconds(math.MaxInt64, 1)}, [2]timing.Seconds{opens, closes})
}

func TestExposuresRefused(t *testing.T) {
	r := trial.Rate(24, 1)
	trial.Refused(t, timing.ErrInvalid,
		trial.Second(trial.Must(timing.NewShutterAngle(1, math.MaxInt64/360)).Exposure(trial.Rate(math.MaxInt32, 1))),
		trial.Second(timing.ShutterAngleOf(timing.Seconds{}, r)),
		trial.Second(timing.ShutterAngleOf(trial.Seconds(-1, 48), r)),
		trial.Second(timing.ShutterAngleOf(trial.Seconds(1001, 24000), r)),
		trial.Second(timing.ShutterAngleOf(trial.Seconds(1, math.MaxInt64), trial.Rate(math.MaxInt32, math.MaxInt32-1))),
		trial.Second(timing.ShutterAngleOf(trial.Seconds(1, 48), timing.Rate{})),
	)
	assert.EqualError(t, trial.Second(trial.Degrees("172.8").Exposure(timing.Rate{})), "sync: rate: must be set")
	assert.EqualError(t, trial.Second(timing.ShutterAngle{}.Exposure(r)), "sync: shutter angle: must be set")
	assert.EqualError(t, trial.Second(timing.ShutterAngle{}.Exposure(timing.Rate{})), "sync: shutter angle: must be set\nsync: rate: must be set")
	assert.Zero(t, timing.ShutterAngle{}.Angle())
	assert.Equal(t, "no angle", timing.ShutterAngle{}.String())
}
