package sync_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// someSeconds gives times of all sizes, many of which overflow when added.
func someSeconds(rng *rand.Rand) timing.Seconds {
	num, den := rng.Int64()>>rng.IntN(64), 1+(rng.Int64()-1)>>rng.IntN(63)
	if rng.IntN(2) == 0 {
		num = -num
	}
	switch rng.IntN(8) {
	case 0:
		num = math.MinInt64
	case 1:
		den = []int64{1, 2, 1001, 24000, 1e9}[rng.IntN(5)]
	}
	return trial.Seconds(num, max(1, den))
}

// sound checks a result against an exact one: it is the same, or an error where
// numerator or denominator does not fit.
func sound(t *testing.T, id string, got timing.Seconds, err error, want *big.Rat, args ...any) {
	t.Helper()
	if !want.Num().IsInt64() || !want.Denom().IsInt64() {
		require.ErrorIs(t, err, timing.ErrInvalid, "%v", args)
		assert.Zero(t, got)
		return
	}
	require.NoError(t, err, "%v", args)
	ref.Equal(t, id, trial.Rat(got).RatString(), want.RatString(), args...)
}

func TestSecondsAgainstBigFractions(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 52))
	overflows := 0
	for range 5000 {
		a, b := someSeconds(rng), someSeconds(rng)
		x, y := trial.Rat(a), trial.Rat(b)
		sum, err := a.Add(b)
		sound(t, "T-SECONDS-SUM", sum, err, new(big.Rat).Add(x, y), a, b)
		if err != nil {
			overflows++
		}
		difference, err := a.Sub(b)
		sound(t, "T-SECONDS-SUM", difference, err, new(big.Rat).Sub(x, y), a, b)
		num, den := b.Ratio()
		product, err := a.Scale(num, den)
		sound(t, "T-SECONDS-SUM", product, err, new(big.Rat).Mul(x, y), a, b)
		ref.Equal(t, "T-SECONDS-SUM", a.Compare(b), x.Cmp(y), a, b)
		assert.Zero(t, a.Compare(a))
	}
	assert.Greater(t, overflows, 500)
	assert.Less(t, overflows, 4500)
	// A sum whose terms do not fit, though it does.
	half := trial.Seconds(math.MaxInt64, 2)
	assert.Equal(t, trial.Seconds(math.MaxInt64, 1), trial.Must(half.Add(half)))
	least := trial.Seconds(math.MinInt64, 1)
	assert.Equal(t, trial.Seconds(-1, 1), trial.Must(trial.Seconds(math.MaxInt64, 1).Add(least)))
	assert.Zero(t, trial.Must(least.Sub(least)))
	assert.EqualError(t, trial.Second(least.Scale(-1, 1)), "sync: time -9223372036854775808 s · -1/1: the product must fit a fraction of int64")
	assert.EqualError(t, trial.Second(least.Sub(trial.Seconds(1, 1))), "sync: time -9223372036854775808 s − 1 s: the difference must fit a fraction of int64")
	assert.EqualError(t, trial.Second(trial.Seconds(1, math.MaxInt64).Add(trial.Seconds(1, 2))), "sync: time 1/9223372036854775807 s + 1/2 s: the sum must fit a fraction of int64")
	assert.EqualError(t, trial.Second(half.Scale(1, 0)), "sync: factor 1/0: the denominator must be more than 0")
}

func TestParseSeconds(t *testing.T) {
	fiftieth := trial.Seconds(1, 50)
	for _, text := range []string{"1/50", "1/50 s", "1/50s", "0.02 s", "20 ms", "20ms", "+20.0 ms", "20000 µs", "20000 μs", "20000 us", "20000000 ns", "2/100", "1/3000 min", "1/180000 h"} {
		ref.Equal(t, "T-SECONDS-TEXT", trial.Must(timing.ParseSeconds(text)), fiftieth, text)
	}
	for text, want := range map[string]timing.Seconds{
		"0 s": {}, "-0/5": {}, "-7.5 µs": trial.Seconds(-3, 400000), "10 h": trial.Seconds(36000, 1), "1.5 min": trial.Seconds(90, 1), "007 s": trial.Seconds(7, 1),
		"-9223372036854775808 s": trial.Seconds(math.MinInt64, 1), "9223372036854775807 ns": trial.Seconds(math.MaxInt64, 1e9), "0.000000001 ns": trial.Seconds(1, 1e18),
	} {
		ref.Equal(t, "T-SECONDS-TEXT", trial.Must(timing.ParseSeconds(text)), want, text)
	}
	assert.EqualError(t, trial.Second(timing.ParseSeconds("50")), `sync: time "50": must be a number and a unit like "1/50 s", "0.02 s" or "20 ms"`)
	assert.EqualError(t, trial.Second(timing.ParseSeconds("9223372036854775808 s")), `sync: time "9223372036854775808 s": must fit a fraction of int64`)
}

// TestDurations compares with the time package's own arithmetic, and reads what it
// prints.
func TestDurations(t *testing.T) {
	rng := rand.New(rand.NewPCG(53, 54))
	for range 2000 {
		d := time.Duration(rng.Uint64()) >> rng.IntN(63)
		s := timing.SecondsOf(d)
		ref.Equal(t, "T-SECONDS-DURATION", trial.Rat(s).RatString(), big.NewRat(d.Nanoseconds(), 1e9).RatString(), d)
		for r := timing.Floor; r <= timing.Ceil; r++ {
			ref.Equal(t, "T-SECONDS-DURATION", trial.Must(s.Duration(r)), d, r)
		}
	}
	for text, want := range map[string][3]time.Duration{
		"1/3 s": {333333333, 333333333, 333333334}, "-1/3 s": {-333333334, -333333333, -333333333}, "2.5 ns": {2, 3, 3}, "-2.5 ns": {-3, -2, -2}, "1001/24000 s": {41708333, 41708333, 41708334},
	} {
		for r := timing.Floor; r <= timing.Ceil; r++ {
			ref.Equal(t, "T-SECONDS-DURATION", trial.Must(trial.Must(timing.ParseSeconds(text)).Duration(r)), want[r], text, r)
		}
	}
	assert.Equal(t, time.Duration(math.MinInt64), trial.Must(trial.Seconds(math.MinInt64, 1e9).Duration(timing.Nearest)))
	assert.EqualError(t, trial.Second(trial.Seconds(9223372037, 1).Duration(timing.Floor)), "sync: time 9223372037 s: must fit a Duration: less than 2⁶³ ns")
	assert.EqualError(t, trial.Second(trial.Seconds(1, 1).Duration(3)), "sync: rounding Rounding(3): must be floor, nearest or ceil")
}

func TestNearestSeconds(t *testing.T) {
	for _, tc := range []struct {
		t    unit.Time
		den  int64
		want timing.Seconds
	}{
		{7.53e-6, 1e12, trial.Seconds(753, 1e8)}, {8e-3 / 2160, 1e12, trial.Seconds(3703704, 1e12)}, {-0.5, 1, timing.Seconds{}}, {0.5, 1, trial.Seconds(1, 1)},
		{0x1p62, 1, trial.Seconds(1<<62, 1)}, {-0x1p63, 1, trial.Seconds(math.MinInt64, 1)}, {5e-324, 1, timing.Seconds{}},
	} {
		ref.Equal(t, "T-SECONDS-NEAREST", trial.Must(timing.NearestSeconds(tc.t, tc.den)), tc.want, tc)
	}
	rng := rand.New(rand.NewPCG(55, 56))
	for range 2000 {
		x, den := rng.NormFloat64()*math.Exp(3*rng.NormFloat64()), 1+rng.Int64N(1e12)
		got := trial.Rat(trial.Must(timing.NearestSeconds(unit.Time(x), den)))
		off := new(big.Rat).SetFloat64(x)
		off.Abs(off.Sub(off, got)).Mul(off, big.NewRat(2*den, 1))
		assert.LessOrEqual(t, off.Cmp(big.NewRat(1, 1)), 0, "%v in %d", x, den)
		assert.True(t, new(big.Rat).Mul(got, big.NewRat(den, 1)).IsInt())
	}
	assert.EqualError(t, trial.Second(timing.NearestSeconds(unit.Time(math.NaN()), 0)), "sync: time NaN s: must be a finite number\nsync: denominator 0: must be more than 0")
	assert.EqualError(t, trial.Second(timing.NearestSeconds(0x1p63, 1)), "sync: time 9.223372036854776e+18 s: must be less than 2⁶³ times 1/1 s")
}

// TestScaledRates locks a wall to a camera and counts its refreshes.
func TestScaledRates(t *testing.T) {
	film := trial.Rate(24000, 1001)
	wall := trial.Must(film.Scale(160, 1))
	ref.Equal(t, "T-RATE-SCALE", wall, trial.Rate(3840000, 1001))
	assert.InDelta(t, 3836.163836, float64(wall.Frequency()), 5e-7, "half a unit of the last printed digit")
	for _, r := range trial.Rates() {
		for _, by := range [][2]int64{{160, 1}, {1, 2}, {2, 3}, {5, 2}, {1001, 1000}, {14, 6}} {
			// by[1] frames last as long as by[0] refreshes.
			frames := trial.Must(r.Time(by[1]))
			want := trial.Must(timing.RateOf(trial.Must(frames.Scale(1, by[0]))))
			ref.Equal(t, "T-RATE-SCALE", trial.Must(r.Scale(by[0], by[1])), want, r, by)
		}
		ref.Equal(t, "T-RATE-SCALE", trial.Must(timing.RateOf(r.Period())), r)
	}
	assert.EqualError(t, trial.Second(film.Scale(-1, 2)), "sync: factor -1/2: must be more than 0")
	assert.EqualError(t, trial.Second(film.Scale(1, 0)), "sync: factor 1/0: the denominator must be more than 0")
	assert.EqualError(t, trial.Second(film.Scale(1e6, 1)), "sync: rate 24000/1001 · 1000000/1: both numbers must be at most 2147483647 in lowest terms")
	assert.EqualError(t, trial.Second(film.Scale(math.MaxInt64, 7)), "sync: rate 24000/1001 · 9223372036854775807/7: both numbers must be at most 2147483647 in lowest terms")
	assert.EqualError(t, trial.Second(timing.Rate{}.Scale(1, 1)), "sync: rate: must be set")
	assert.EqualError(t, trial.Second(timing.RateOf(trial.Seconds(-1, 24))), "sync: period -1/24 s: must be more than 0 s")
	assert.EqualError(t, trial.Second(timing.RateOf(trial.Seconds(1<<31, 1))), "sync: rate 1/2147483648: both numbers must be at most 2147483647 in lowest terms")
}

// TestPeriodsOfAnExposure walks along the periods, one by one, to the nearest.
func TestPeriodsOfAnExposure(t *testing.T) {
	rng := rand.New(rand.NewPCG(57, 58))
	clean := 0
	for range 1000 {
		light := trial.Must(trial.Rates()[rng.IntN(17)].Scale(1+rng.Int64N(40), 1+rng.Int64N(3)))
		exposure := trial.Must(timing.NewSeconds(1+rng.Int64N(200), []int64{1000, 4800, 24000}[rng.IntN(3)]))
		n, period := int64(1), trial.Rat(light.Period())
		miss := func(n int64) *big.Rat {
			x := new(big.Rat).Mul(period, big.NewRat(n, 1))
			return x.Sub(trial.Rat(exposure), x)
		}
		for ; new(big.Rat).Abs(miss(n+1)).Cmp(new(big.Rat).Abs(miss(n))) <= 0; n++ {
		}
		gotN, gotMiss, err := light.Periods(exposure)
		require.NoError(t, err)
		ref.Equal(t, "T-CLEAN-EXACT", gotN, n, light, exposure)
		ref.Equal(t, "T-CLEAN-EXACT", trial.Rat(gotMiss).RatString(), miss(n).RatString(), light, exposure)
		if gotMiss == (timing.Seconds{}) {
			clean++
		}
	}
	assert.Greater(t, clean, 10)
	// 172.8° at 24 frames a second is clean under mains of 50 Hz, and not at 23.976.
	for rate, want := range map[timing.Rate]timing.Seconds{trial.Rate(24, 1): {}, trial.Rate(24000, 1001): trial.Seconds(1, 50000)} {
		_, miss, err := trial.Rate(100, 1).Periods(trial.Must(trial.Degrees("172.8").Exposure(rate)))
		require.NoError(t, err)
		ref.Equal(t, "T-CLEAN-EXACT", miss, want, rate)
	}
	for _, tc := range []struct {
		r    timing.Rate
		s    timing.Seconds
		want string
	}{
		{timing.Rate{}, trial.Seconds(1, 50), "sync: rate: must be set"},
		{trial.Rate(100, 1), timing.Seconds{}, "sync: exposure 0 s: must be more than 0 s"},
		{trial.Rate(100, 1), trial.Seconds(-1, 50), "sync: exposure -1/50 s: must be more than 0 s"},
		{trial.Rate(100, 1), trial.Seconds(math.MaxInt64, 1), "sync: time 9223372036854775807 s: the number of its frame must fit int64"},
		{trial.Rate(100, 1), trial.Seconds(1, math.MaxInt64), "sync: time 1/9223372036854775807 s − 1/100 s: the difference must fit a fraction of int64"},
	} {
		_, _, err := tc.r.Periods(tc.s)
		assert.EqualError(t, err, tc.want)
	}
}
