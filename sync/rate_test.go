package sync_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNamesOfRates(t *testing.T) {
	for text, want := range map[string][2]int64{
		"24000/1001": {24000, 1001}, "23.976": {24000, 1001}, "23.98": {24000, 1001},
		"30000/1001": {30000, 1001}, "29.97": {30000, 1001},
	} {
		num, den := trial.Must(timing.ParseRate(text)).Ratio()
		ref.Equal(t, "T-RATE-NAMES", [2]int64{num, den}, want, text)
	}
	// The others follow the same rule of 1000/1001.
	for text, want := range map[string]string{
		"47.952": "48000/1001", "47.95": "48000/1001", "59.94": "60000/1001", "71.928": "72000/1001", "71.93": "72000/1001",
		"95.904": "96000/1001", "95.90": "96000/1001", "119.88": "120000/1001",
		"25": "25", "24": "24", "50/2": "25", "48000/2002": "24000/1001", "1/3": "1/3",
	} {
		assert.Equal(t, want, trial.Must(timing.ParseRate(text)).String(), text)
	}
}

// TestDecimalsOfRates reads decimals worked out by long division: 24000/1001
// is 23.976023976…, 30000/1001 is 29.970029970…
func TestDecimalsOfRates(t *testing.T) {
	for text, want := range map[string]timing.Rate{
		"24.000": trial.Rate(24, 1), "25.00": trial.Rate(25, 1), "24.0": trial.Rate(24, 1), "100.000": trial.Rate(100, 1), "23.000000": trial.Rate(23, 1),
		"23.9760": trial.Rate(24000, 1001), "23.976024": trial.Rate(24000, 1001), "23.976023976": trial.Rate(24000, 1001),
		"29.970": trial.Rate(30000, 1001), "29.97003": trial.Rate(30000, 1001), "59.940": trial.Rate(60000, 1001), "119.880": trial.Rate(120000, 1001),
	} {
		ref.Equal(t, "T-TEXT", trial.Must(timing.ParseRate(text)), want, text)
	}
	// No name stands for another rate than the one that rounds to it.
	for _, text := range []string{"23.976", "23.98", "29.97", "47.952", "47.95", "59.94", "71.928", "71.93", "95.904", "95.90", "119.88"} {
		digits := len(text) - strings.IndexByte(text, '.') - 1
		assert.Equal(t, text, trial.Rat(trial.Must(timing.ParseRate(text))).FloatString(digits))
	}
}

func TestRatesRefused(t *testing.T) {
	for _, text := range []string{
		"", " ", "24 ", "+24", "-24", "0", "0/1", "24/0", "24/-1", "23.97", "23.9", "23.970", "23.980", "95.9", "24.", ".0", "24.0/1", "1/24.0", "24.01", "25.00 ", "24.0.0", "+24.0", "024.976", "25.975", "0.00", "1e3", "0x18", "24/1/1",
		"23.9760239760", // ten digits
		"/", "24/", "/24", "NaN", "Inf", "24000:1001", "2147483648", "1/2147483648", "99999999999999999999",
	} {
		assert.ErrorIs(t, trial.Second(timing.ParseRate(text)), timing.ErrInvalid, text)
	}
	for _, r := range [][2]int64{{0, 1}, {1, 0}, {-24, 1}, {24, -1}, {-24, -1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, 1}, {1 << 31, 1}, {1, 1 << 31}} {
		assert.ErrorIs(t, trial.Second(timing.NewRate(r[0], r[1])), timing.ErrInvalid, r)
	}
	assert.EqualError(t, trial.Second(timing.NewRate(-24, 1)), "sync: rate -24/1: both numbers must be more than 0")
	assert.ErrorContains(t, trial.Second(timing.ParseRate("18446744073709551615")), `"18446744073709551615"`, "the text as it was given")
	// Only the lowest terms must be small.
	assert.Equal(t, trial.Rate(1, 1), trial.Rate(math.MaxInt64, math.MaxInt64))
	assert.Equal(t, "2147483647/2147483646", trial.Rate(math.MaxInt32, math.MaxInt32-1).String())
}

func TestDigitsOfRates(t *testing.T) {
	for num, want := range map[int64][2]float64{ // frames a second, milliseconds a frame
		24000: {23.976023976024, 41.7083333333333}, 30000: {29.97002997003, 33.3666666666667},
		60000: {59.9400599400599, 16.6833333333333}, 120000: {119.88011988012, 8.34166666666667},
	} {
		r := trial.Rate(num, 1001)
		ref.Near(t, "T-RATE-DIGITS", float64(r.Frequency()), want[0], r)
		ref.Near(t, "T-RATE-DIGITS", float64(r.Period().Time())*1000, want[1], r, "period")
	}
}

// TestFloatsAreTheNearest holds the bound of half an ulp: no other float64 is
// nearer to the fraction.
func TestFloatsAreTheNearest(t *testing.T) {
	nearest := func(x *big.Rat, got float64) bool {
		distance := func(f float64) *big.Rat {
			d := new(big.Rat).SetFloat64(f)
			return d.Abs(d.Sub(d, x))
		}
		d := distance(got)
		return d.Cmp(distance(math.Nextafter(got, math.Inf(1)))) <= 0 && d.Cmp(distance(math.Nextafter(got, math.Inf(-1)))) <= 0
	}
	rng := rand.New(rand.NewPCG(31, 32))
	// Numerator and denominator round in opposite directions here.
	times := []timing.Seconds{{}, trial.Seconds(1<<60+127, 1<<60+385), trial.Seconds(1<<53+1, 1), trial.Seconds(1, 1<<53+1), trial.Seconds(-1<<63, 3), trial.Seconds(math.MaxInt64, math.MaxInt64-1)}
	for range 20000 {
		times = append(times, trial.Seconds(rng.Int64()>>rng.IntN(63)*(1-2*rng.Int64N(2)), 1+rng.Int64()>>rng.IntN(63)))
	}
	for _, s := range times {
		assert.True(t, nearest(trial.Rat(s), float64(s.Time())), s)
	}
	for range 5000 {
		r := trial.Rate(1+rng.Int64N(math.MaxInt32), 1+rng.Int64N(math.MaxInt32))
		assert.True(t, nearest(trial.Rat(r), float64(r.Frequency())), r)
	}
}

// TestBeat runs two clocks frame by frame until they begin a frame together with
// one frame more on one of them.
func TestBeat(t *testing.T) {
	for _, pair := range [][2]timing.Rate{
		{trial.Rate(24, 1), trial.Rate(24000, 1001)}, {trial.Rate(60, 1), trial.Rate(60000, 1001)}, {trial.Rate(60000, 1001), trial.Rate(60, 1)},
		{trial.Rate(24, 1), trial.Rate(25, 1)}, {trial.Rate(50, 1), trial.Rate(60, 1)}, {trial.Rate(3, 7), trial.Rate(1, 2)},
	} {
		fast, slow := trial.Rat(pair[0].Period()), trial.Rat(pair[1].Period())
		if fast.Cmp(slow) > 0 {
			fast, slow = slow, fast
		}
		a, b := new(big.Rat).Set(fast), new(big.Rat)
		for a.Cmp(b) != 0 {
			a.Add(a, fast)
			b.Add(b, slow)
		}
		got, ok := pair[0].Beat(pair[1])
		require.True(t, ok)
		ref.Equal(t, "T-RATE-BEAT", trial.Rat(got).RatString(), b.RatString(), pair)
	}
	for _, pair := range [][2]timing.Rate{{trial.Rate(24, 1), trial.Rate(24, 1)}, {{}, trial.Rate(24, 1)}, {trial.Rate(24, 1), {}}, {}} {
		got, ok := pair[0].Beat(pair[1])
		assert.False(t, ok, pair)
		assert.Zero(t, got)
	}
	// The ends of the range neither overflow nor lose the difference.
	const top = math.MaxInt32
	got, ok := trial.Rate(top, top-1).Beat(trial.Rate(top-1, top-2))
	assert.True(t, ok)
	assert.Equal(t, trial.Seconds((top-1)*(top-2), 1), got)
}

// TestRatesMeetAgainExactly adds periods up one by one.
func TestRatesMeetAgainExactly(t *testing.T) {
	for _, n := range []int64{24000, 30000} {
		r, sum := trial.Rate(n, 1001), new(big.Rat)
		for range n {
			sum.Add(sum, big.NewRat(1001, n))
		}
		num, den := trial.Must(r.Time(n)).Ratio()
		ref.Equal(t, "T-RATE-COINCIDENCE", big.NewRat(num, den).RatString(), sum.RatString())
		ref.Equal(t, "T-RATE-COINCIDENCE", trial.Must(r.Frame(trial.Seconds(sum.Num().Int64(), 1), timing.Floor)), n)
	}
}

func TestElapsedTime(t *testing.T) {
	for n, want := range map[int64]timing.Seconds{10: trial.Seconds(200, 1000), 50: trial.Seconds(1, 1), 100: trial.Seconds(2, 1), 30 * 60 * 50: trial.Seconds(1800, 1)} {
		ref.Equal(t, "T-RATE-ELAPSED", trial.Must(trial.Rate(50, 1).Time(n)), want, n)
	}
	// Drop skips labels, so it has no say in the spacing of frames.
	for _, n := range []int64{10, 60, 120, 3600, 36000} {
		ref.Equal(t, "T-RATE-ELAPSED", trial.Must(trial.Rate(60000, 1001).Time(n)), trial.Seconds(n*1001, 60000), n)
	}
}

// TestRasterPeriods takes totals of lines and samples: what is active, and front
// porch, synchronisation and back porch of both.
func TestRasterPeriods(t *testing.T) {
	for _, tc := range []struct {
		clock, samples, lines int64
		want                  timing.Seconds
	}{
		{27_000_000, 720 + 16 + 62 + 60, 480 + 9 + 6 + 30, trial.Seconds(1001, 60000)},
		{27_000_000, 720 + 12 + 64 + 68, 576 + 5 + 5 + 39, trial.Seconds(1, 50)},
		{13_500_000, 720 + 12 + 63 + 69, 576 + 2 + 3 + 19 + 2 + 3 + 20, trial.Seconds(1, 25)},
		{148_500_000, 1920 + 88 + 44 + 148, 1080 + 4 + 5 + 36, trial.Seconds(1, 60)},
		{74_250_000, 1920 + 638 + 44 + 148, 1080 + 4 + 5 + 36, trial.Seconds(1, 24)},
	} {
		ref.Equal(t, "T-RASTER-TOTALS", trial.Rate(tc.clock, tc.samples*tc.lines).Period(), tc.want, tc)
	}
}

// TestFrameUndoesTime has times that are exact, and times cut off to nanoseconds, of
// which Nearest finds the frame.
func TestFrameUndoesTime(t *testing.T) {
	const hours100 = 100 * 3600 * 120
	for _, r := range trial.Rates() {
		for n := int64(-hours100); n < hours100; n += 997 { // a prime: all phases of all denominators come up
			at := trial.Must(r.Time(n))
			for mode := timing.Floor; mode <= timing.Ceil; mode++ {
				if got := trial.Must(r.Frame(at, mode)); got != n {
					t.Fatalf("%v: frame %d comes back as %d", r, n, got)
				}
			}
			num, den := at.Ratio()
			ns := new(big.Int).Mul(big.NewInt(num), big.NewInt(1e9))
			ns.Div(ns, big.NewInt(den)) // cut off
			if got := trial.Must(r.Frame(trial.Seconds(ns.Int64(), 1e9), timing.Nearest)); got != n {
				t.Fatalf("%v: frame %d comes back as %d", r, n, got)
			}
		}
	}
}

func TestFrameRoundsExactly(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	half := big.NewRat(1, 2)
	floor := func(x *big.Rat) *big.Int {
		return new(big.Int).Div(x.Num(), x.Denom()) // Euclidean: floor, as the denominator is positive
	}
	refused := 0
	for range 20000 {
		r := trial.Rate(1+rng.Int64N(math.MaxInt32), 1+rng.Int64N(math.MaxInt32))
		at := trial.Seconds(rng.Int64()>>rng.IntN(63)*(1-2*rng.Int64N(2)), 1+rng.Int64()>>rng.IntN(63))
		if rng.IntN(4) == 0 { // halfway
			num, den := r.Ratio()
			at = trial.Seconds((2*rng.Int64N(1000)-999)*den, 2*num)
		}
		x := new(big.Rat).Mul(trial.Rat(at), trial.Rat(r))
		for mode, want := range map[timing.Rounding]*big.Int{
			timing.Floor:   floor(x),
			timing.Nearest: floor(new(big.Rat).Add(x, half)),
			timing.Ceil:    new(big.Int).Neg(floor(new(big.Rat).Neg(x))),
		} {
			got, err := r.Frame(at, mode)
			if !want.IsInt64() {
				refused++
				require.ErrorIs(t, err, timing.ErrInvalid)
				continue
			}
			require.NoError(t, err, "%v at %v", r, at)
			ref.Equal(t, "T-RATE-ROUNDING", got, want.Int64(), r, at, mode)
		}
	}
	assert.Positive(t, refused, "no overflow was tried")
}

func TestTimesThatDoNotFit(t *testing.T) {
	one, half := trial.Rate(1, 1), trial.Rate(1, 2)
	trial.Refused(t, timing.ErrInvalid,
		trial.Second(trial.Rate(24000, 1001).Time(math.MaxInt64)), trial.Second(trial.Rate(120, 1).Frame(trial.Seconds(math.MaxInt64, 1), timing.Floor)), trial.Second(half.Time(1<<62)), // 2⁶³ s
		trial.Second(timing.NewSeconds(1, 0)), trial.Second(timing.NewSeconds(1, -1)), trial.Second(timing.NewSeconds(1, math.MinInt64)),
	)
	// ±2⁶³ frames: only the negative one is an int64.
	for mode := timing.Floor; mode <= timing.Ceil; mode++ {
		assert.EqualValues(t, int64(math.MinInt64), trial.Must(trial.Rate(2, 1).Frame(trial.Seconds(-1<<62, 1), mode)))
		trial.Refused(t, timing.ErrInvalid, trial.Second(trial.Rate(2, 1).Frame(trial.Seconds(1<<62, 1), mode)))
	}
	assert.EqualValues(t, int64(math.MinInt64), trial.Must(one.Frame(trial.Must(one.Time(math.MinInt64)), timing.Ceil)))
	assert.EqualValues(t, int64(math.MaxInt64), trial.Must(one.Frame(trial.Seconds(math.MaxInt64, 1), timing.Nearest)))
	assert.Equal(t, trial.Seconds(math.MinInt64, 1), trial.Must(half.Time(-1<<62)))
	assert.EqualError(t, trial.Second(one.Frame(timing.Seconds{}, 3)), "sync: rounding Rounding(3): must be floor, nearest or ceil")
}

func TestZeroValuesOfRateAndSeconds(t *testing.T) {
	var r timing.Rate
	trial.Refused(t, timing.ErrInvalid, trial.Second(r.Time(1)), trial.Second(r.Frame(timing.Seconds{}, timing.Floor)), trial.Second(r.Align(timing.Seconds{})))
	num, den := r.Ratio()
	assert.Zero(t, [2]int64{num, den})
	assert.Zero(t, r.Frequency())
	assert.Zero(t, r.Period())
	assert.Equal(t, "no rate", r.String())

	var s timing.Seconds
	num, den = s.Ratio()
	assert.Equal(t, [2]int64{0, 1}, [2]int64{num, den})
	assert.Zero(t, s.Time())
	assert.Equal(t, "0 s", s.String())
	assert.Equal(t, trial.Seconds(0, 7), s)
}

func FuzzFrameRoundTrip(f *testing.F) {
	f.Add(int64(24000), int64(1001), int64(2073600))
	f.Add(int64(math.MaxInt32), int64(math.MaxInt32-1), int64(math.MinInt64))
	f.Fuzz(func(t *testing.T, num, den, n int64) {
		r, err := timing.NewRate(num, den)
		if err != nil {
			return
		}
		at, err := r.Time(n)
		if err != nil {
			require.ErrorIs(t, err, timing.ErrInvalid)
			return
		}
		assert.Equal(t, n, trial.Must(r.Frame(at, timing.Nearest)))
	})
}

// TestTimeOfADay adds the periods of a day's frames one by one.
func TestTimeOfADay(t *testing.T) {
	var rates []timing.Rate = trial.Rates()
	for _, r := range rates {
		nominal, ok := r.Nominal()
		require.True(t, ok, r)
		num, den := r.Ratio()
		elapsed := int64(0) // in 1/num s
		for range 86400 * nominal {
			elapsed += den
		}
		ref.Equal(t, "T-TC-DAY", trial.Must(r.Time(86400*nominal)), trial.Seconds(elapsed, num), r)
	}
}

// TestNominal takes the whole number that a rate rounds to, as open implementations of
// timecode do.
func TestNominal(t *testing.T) {
	for _, r := range trial.Rates() {
		num, den := r.Ratio()
		got, ok := r.Nominal()
		require.True(t, ok, r)
		ref.Equal(t, "T-RATE-NOMINAL", got, (num+den/2)/den, r)
	}
	for _, r := range []timing.Rate{{}, trial.Rate(23, 1), trial.Rate(25000, 1001), trial.Rate(24, 1001), trial.Rate(1, 1001), trial.Rate(24001, 1001), trial.Rate(25, 2)} {
		_, ok := r.Nominal()
		assert.False(t, ok, r)
	}
}

// TestPer counts the frames of two rates in a time that is whole frames of both.
func TestPer(t *testing.T) {
	for _, pair := range [][2]timing.Rate{
		{trial.Rate(3840, 1), trial.Rate(24, 1)}, {trial.Rate(100, 1), trial.Rate(24000, 1001)}, {trial.Rate(24000, 1001), trial.Rate(60, 1)}, {trial.Rate(7, 3), trial.Rate(5, 9)},
	} {
		_, a := pair[0].Ratio()
		_, b := pair[1].Ratio()
		both := trial.Seconds(a*b, 1)
		num, den := pair[0].Per(pair[1])
		ref.Equal(t, "T-RATE-PER", big.NewRat(num, den).RatString(),
			big.NewRat(trial.Must(pair[0].Frame(both, timing.Floor)), trial.Must(pair[1].Frame(both, timing.Floor))).RatString(), pair)
	}
	for _, pair := range [][2]timing.Rate{{}, {{}, trial.Rate(24, 1)}, {trial.Rate(24, 1), {}}} {
		num, den := pair[0].Per(pair[1])
		assert.Equal(t, [2]int64{0, 1}, [2]int64{num, den})
	}
}
