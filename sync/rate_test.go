package sync_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

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
		num, den := must(timing.ParseRate(text)).Ratio()
		ref.Equal(t, "T-RATE-NAMES", [2]int64{num, den}, want, text)
	}
	// The others follow the same rule of 1000/1001.
	for text, want := range map[string]string{
		"47.952": "48000/1001", "47.95": "48000/1001", "59.94": "60000/1001", "71.928": "72000/1001", "71.93": "72000/1001",
		"95.904": "96000/1001", "95.90": "96000/1001", "119.88": "120000/1001",
		"25": "25", "24": "24", "50/2": "25", "48000/2002": "24000/1001", "1/3": "1/3",
	} {
		assert.Equal(t, want, must(timing.ParseRate(text)).String(), text)
	}
}

// TestDecimalsOfRates reads decimals worked out by long division: 24000/1001
// is 23.976023976…, 30000/1001 is 29.970029970…
func TestDecimalsOfRates(t *testing.T) {
	for text, want := range map[string]timing.Rate{
		"24.000": rate(24, 1), "25.00": rate(25, 1), "24.0": rate(24, 1), "100.000": rate(100, 1), "23.000000": rate(23, 1),
		"23.9760": rate(24000, 1001), "23.976024": rate(24000, 1001), "23.976023976": rate(24000, 1001),
		"29.970": rate(30000, 1001), "29.97003": rate(30000, 1001), "59.940": rate(60000, 1001), "119.880": rate(120000, 1001),
	} {
		ref.Equal(t, "T-TEXT", must(timing.ParseRate(text)), want, text)
	}
	// No name stands for another rate than the one that rounds to it.
	for _, text := range []string{"23.976", "23.98", "29.97", "47.952", "47.95", "59.94", "71.928", "71.93", "95.904", "95.90", "119.88"} {
		digits := len(text) - strings.IndexByte(text, '.') - 1
		assert.Equal(t, text, ratOf(must(timing.ParseRate(text))).FloatString(digits))
	}
}

func TestRatesRefused(t *testing.T) {
	for _, text := range []string{
		"", " ", "24 ", "+24", "-24", "0", "0/1", "24/0", "24/-1", "23.97", "23.9", "23.970", "23.980", "95.9", "24.", ".0", "24.0/1", "1/24.0", "24.01", "25.00 ", "24.0.0", "+24.0", "024.976", "25.975", "0.00", "1e3", "0x18", "24/1/1",
		"23.9760239760", // ten digits
		"/", "24/", "/24", "NaN", "Inf", "24000:1001", "2147483648", "1/2147483648", "99999999999999999999",
	} {
		assert.ErrorIs(t, second(timing.ParseRate(text)), timing.ErrInvalid, text)
	}
	for _, r := range [][2]int64{{0, 1}, {1, 0}, {-24, 1}, {24, -1}, {-24, -1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, 1}, {1 << 31, 1}, {1, 1 << 31}} {
		assert.ErrorIs(t, second(timing.NewRate(r[0], r[1])), timing.ErrInvalid, r)
	}
	assert.EqualError(t, second(timing.NewRate(-24, 1)), "sync: rate -24/1: both numbers must be more than 0")
	assert.ErrorContains(t, second(timing.ParseRate("18446744073709551615")), `"18446744073709551615"`, "the text as it was given")
	// Only the lowest terms must be small.
	assert.Equal(t, rate(1, 1), rate(math.MaxInt64, math.MaxInt64))
	assert.Equal(t, "2147483647/2147483646", rate(math.MaxInt32, math.MaxInt32-1).String())
}

func TestDigitsOfRates(t *testing.T) {
	for num, want := range map[int64][2]float64{ // frames a second, milliseconds a frame
		24000: {23.976023976024, 41.7083333333333}, 30000: {29.97002997003, 33.3666666666667},
		60000: {59.9400599400599, 16.6833333333333}, 120000: {119.88011988012, 8.34166666666667},
	} {
		r := rate(num, 1001)
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
	times := []timing.Seconds{{}, seconds(1<<60+127, 1<<60+385), seconds(1<<53+1, 1), seconds(1, 1<<53+1), seconds(-1<<63, 3), seconds(math.MaxInt64, math.MaxInt64-1)}
	for range 20000 {
		times = append(times, seconds(rng.Int64()>>rng.IntN(63)*(1-2*rng.Int64N(2)), 1+rng.Int64()>>rng.IntN(63)))
	}
	for _, s := range times {
		assert.True(t, nearest(ratOf(s), float64(s.Time())), s)
	}
	for range 5000 {
		r := rate(1+rng.Int64N(math.MaxInt32), 1+rng.Int64N(math.MaxInt32))
		assert.True(t, nearest(ratOf(r), float64(r.Frequency())), r)
	}
}

// TestBeat runs two clocks frame by frame until they begin a frame together with
// one frame more on one of them.
func TestBeat(t *testing.T) {
	for _, pair := range [][2]timing.Rate{
		{rate(24, 1), rate(24000, 1001)}, {rate(60, 1), rate(60000, 1001)}, {rate(60000, 1001), rate(60, 1)},
		{rate(24, 1), rate(25, 1)}, {rate(50, 1), rate(60, 1)}, {rate(3, 7), rate(1, 2)},
	} {
		fast, slow := ratOf(pair[0].Period()), ratOf(pair[1].Period())
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
		ref.Equal(t, "T-RATE-BEAT", ratOf(got).RatString(), b.RatString(), pair)
	}
	for _, pair := range [][2]timing.Rate{{rate(24, 1), rate(24, 1)}, {{}, rate(24, 1)}, {rate(24, 1), {}}, {}} {
		got, ok := pair[0].Beat(pair[1])
		assert.False(t, ok, pair)
		assert.Zero(t, got)
	}
	// The ends of the range neither overflow nor lose the difference.
	const top = math.MaxInt32
	got, ok := rate(top, top-1).Beat(rate(top-1, top-2))
	assert.True(t, ok)
	assert.Equal(t, seconds((top-1)*(top-2), 1), got)
}

// TestRatesMeetAgainExactly adds periods up one by one.
func TestRatesMeetAgainExactly(t *testing.T) {
	for _, n := range []int64{24000, 30000} {
		r, sum := rate(n, 1001), new(big.Rat)
		for range n {
			sum.Add(sum, big.NewRat(1001, n))
		}
		ref.Equal(t, "T-RATE-COINCIDENCE", ratOf(must(r.Time(n))).RatString(), sum.RatString())
		ref.Equal(t, "T-RATE-COINCIDENCE", must(r.Frame(seconds(sum.Num().Int64(), 1), timing.Floor)), n)
	}
}

func TestElapsedTime(t *testing.T) {
	for n, want := range map[int64]timing.Seconds{10: seconds(200, 1000), 50: seconds(1, 1), 100: seconds(2, 1), 30 * 60 * 50: seconds(1800, 1)} {
		ref.Equal(t, "T-RATE-ELAPSED", must(rate(50, 1).Time(n)), want, n)
	}
	// Drop skips labels, so it has no say in the spacing of frames.
	for _, n := range []int64{10, 60, 120, 3600, 36000} {
		ref.Equal(t, "T-RATE-ELAPSED", must(rate(60000, 1001).Time(n)), seconds(n*1001, 60000), n)
	}
}

// TestRasterPeriods takes totals of lines and samples: what is active, and front
// porch, synchronisation and back porch of both.
func TestRasterPeriods(t *testing.T) {
	for _, tc := range []struct {
		clock, samples, lines int64
		want                  timing.Seconds
	}{
		{27_000_000, 720 + 16 + 62 + 60, 480 + 9 + 6 + 30, seconds(1001, 60000)},
		{27_000_000, 720 + 12 + 64 + 68, 576 + 5 + 5 + 39, seconds(1, 50)},
		{13_500_000, 720 + 12 + 63 + 69, 576 + 2 + 3 + 19 + 2 + 3 + 20, seconds(1, 25)},
		{148_500_000, 1920 + 88 + 44 + 148, 1080 + 4 + 5 + 36, seconds(1, 60)},
		{74_250_000, 1920 + 638 + 44 + 148, 1080 + 4 + 5 + 36, seconds(1, 24)},
	} {
		ref.Equal(t, "T-RASTER-TOTALS", rate(tc.clock, tc.samples*tc.lines).Period(), tc.want, tc)
	}
}

// TestFrameUndoesTime has times that are exact, and times cut off to nanoseconds, of
// which Nearest finds the frame.
func TestFrameUndoesTime(t *testing.T) {
	const hours100 = 100 * 3600 * 120
	for _, r := range tradeRates() {
		for n := int64(-hours100); n < hours100; n += 997 { // a prime: all phases of all denominators come up
			at := must(r.Time(n))
			for mode := timing.Floor; mode <= timing.Ceil; mode++ {
				if got := must(r.Frame(at, mode)); got != n {
					t.Fatalf("%v: frame %d comes back as %d", r, n, got)
				}
			}
			num, den := at.Ratio()
			ns := new(big.Int).Mul(big.NewInt(num), big.NewInt(1e9))
			ns.Div(ns, big.NewInt(den)) // cut off
			if got := must(r.Frame(seconds(ns.Int64(), 1e9), timing.Nearest)); got != n {
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
		r := rate(1+rng.Int64N(math.MaxInt32), 1+rng.Int64N(math.MaxInt32))
		at := seconds(rng.Int64()>>rng.IntN(63)*(1-2*rng.Int64N(2)), 1+rng.Int64()>>rng.IntN(63))
		if rng.IntN(4) == 0 { // halfway
			num, den := r.Ratio()
			at = seconds((2*rng.Int64N(1000)-999)*den, 2*num)
		}
		x := new(big.Rat).Mul(ratOf(at), ratOf(r))
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
	one, half := rate(1, 1), rate(1, 2)
	refused(t,
		second(rate(24000, 1001).Time(math.MaxInt64)), second(rate(120, 1).Frame(seconds(math.MaxInt64, 1), timing.Floor)), second(half.Time(1<<62)), // 2⁶³ s
		second(timing.NewSeconds(1, 0)), second(timing.NewSeconds(1, -1)), second(timing.NewSeconds(1, math.MinInt64)),
	)
	// ±2⁶³ frames: only the negative one is an int64.
	for mode := timing.Floor; mode <= timing.Ceil; mode++ {
		assert.EqualValues(t, int64(math.MinInt64), must(rate(2, 1).Frame(seconds(-1<<62, 1), mode)))
		refused(t, second(rate(2, 1).Frame(seconds(1<<62, 1), mode)))
	}
	assert.EqualValues(t, int64(math.MinInt64), must(one.Frame(must(one.Time(math.MinInt64)), timing.Ceil)))
	assert.EqualValues(t, int64(math.MaxInt64), must(one.Frame(seconds(math.MaxInt64, 1), timing.Nearest)))
	assert.Equal(t, seconds(math.MinInt64, 1), must(half.Time(-1<<62)))
	assert.EqualError(t, second(one.Frame(timing.Seconds{}, 3)), "sync: rounding Rounding(3): must be floor, nearest or ceil")
}

func TestZeroValuesOfRateAndSeconds(t *testing.T) {
	var r timing.Rate
	refused(t, second(r.Time(1)), second(r.Frame(timing.Seconds{}, timing.Floor)), second(r.Align(timing.Seconds{})))
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
	assert.Equal(t, seconds(0, 7), s)
}

func FuzzParseRate(f *testing.F) {
	for _, s := range []string{"24000/1001", "23.976", "25", "0/0", "1/3", "-1", "2147483647/2147483646"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := timing.ParseRate(s)
		if err != nil {
			require.ErrorIs(t, err, timing.ErrInvalid)
			return
		}
		assert.Equal(t, r, must(timing.ParseRate(r.String())))
		assert.EqualValues(t, 1001, must(r.Frame(must(r.Time(1001)), timing.Floor)))
	})
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
		assert.Equal(t, n, must(r.Frame(at, timing.Nearest)))
	})
}
