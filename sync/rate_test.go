package sync_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
)

func TestNamesOfRates(t *testing.T) {
	for _, tc := range []struct {
		text     string
		num, den int64
	}{
		{"24000/1001", 24000, 1001}, {"23.976", 24000, 1001}, {"23.98", 24000, 1001},
		{"30000/1001", 30000, 1001}, {"29.97", 30000, 1001},
	} {
		num, den := must(sync.ParseRate(tc.text)).Ratio()
		ref.Equal(t, "sync-rate-names", [2]int64{num, den}, [2]int64{tc.num, tc.den}, tc.text)
	}
	// The others follow the same rule of 1000/1001.
	for text, want := range map[string]string{
		"47.952": "48000/1001", "47.95": "48000/1001", "59.94": "60000/1001", "71.928": "72000/1001", "71.93": "72000/1001",
		"95.904": "96000/1001", "95.90": "96000/1001", "119.88": "120000/1001",
		"25": "25", "24": "24", "50/2": "25", "48000/2002": "24000/1001", "1/3": "1/3",
	} {
		if got := must(sync.ParseRate(text)).String(); got != want {
			t.Errorf("%q: got %s, want %s", text, got, want)
		}
	}
}

func TestDecimalNamesRoundTheRate(t *testing.T) {
	// A name must be the rate, rounded to its own digits: no name of the table
	// can stand beside the wrong rate.
	for _, text := range []string{"23.976", "23.98", "29.97", "47.952", "47.95", "59.94", "71.928", "71.93", "95.904", "95.90", "119.88"} {
		digits := len(text) - strings.IndexByte(text, '.') - 1
		if got := ratOf(must(sync.ParseRate(text))).FloatString(digits); got != text {
			t.Errorf("%q is the name of %s", text, got)
		}
	}
}

func TestRatesRefused(t *testing.T) {
	for _, text := range []string{
		"", " ", "24 ", "+24", "-24", "0", "0/1", "24/0", "24/-1", "23.97", "23.9", "23.970", "23.980", "95.9", "24.", ".0", "24.0/1", "1/24.0", "24.01", "25.00 ", "24.0.0", "+24.0", "024.976", "25.975", "0.00", "1e3", "0x18", "24/1/1",
		"/", "24/", "/24", "NaN", "Inf", "24000:1001", "2147483648", "1/2147483648", "99999999999999999999",
	} {
		_, err := sync.ParseRate(text)
		wantInvalid(t, text, err)
	}
	for _, r := range [][2]int64{{0, 1}, {1, 0}, {-24, 1}, {24, -1}, {-24, -1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, 1}} {
		_, err := sync.NewRate(r[0], r[1])
		wantInvalid(t, "NewRate", err)
	}
	// Only the lowest terms must be small.
	if got := rate(math.MaxInt64, math.MaxInt64); got != rate(1, 1) {
		t.Errorf("got %v", got)
	}
}

func TestRateAsText(t *testing.T) {
	var v struct{ Rate sync.Rate }
	if err := json.Unmarshal([]byte(`{"Rate":"29.97"}`), &v); err != nil || v.Rate != rate(30000, 1001) {
		t.Errorf("got %v, %v", v, err)
	}
	out := must(json.Marshal(v))
	if string(out) != `{"Rate":"30000/1001"}` {
		t.Errorf("got %s", out)
	}
	before := v.Rate
	wantInvalid(t, "unmarshal", v.Rate.UnmarshalText([]byte("29.98")))
	if v.Rate != before {
		t.Error("a failed UnmarshalText changed the rate")
	}
	_, err := sync.Rate{}.MarshalText()
	wantInvalid(t, "no rate", err)
}

func TestDigitsOfRates(t *testing.T) {
	for _, tc := range []struct {
		num        int64
		fps, perMS float64
	}{
		{24000, 23.976023976024, 41.7083333333333},
		{30000, 29.97002997003, 33.3666666666667},
		{60000, 59.9400599400599, 16.6833333333333},
		{120000, 119.88011988012, 8.34166666666667},
	} {
		r := rate(tc.num, 1001)
		ref.Near(t, "sync-rate-digits", float64(r.Frequency()), tc.fps, r)
		ref.Near(t, "sync-rate-digits", float64(r.Period().Time())*1000, tc.perMS, r, "period")
	}
}

func TestBeat(t *testing.T) {
	for _, tc := range []struct {
		a, b sync.Rate
		want float64
	}{
		{rate(24, 1), rate(24000, 1001), 41.7083333333},
		{rate(60, 1), rate(60000, 1001), 16.6833333333},
		{rate(60000, 1001), rate(60, 1), 16.6833333333},
	} {
		got, ok := tc.a.Beat(tc.b)
		if !ok {
			t.Errorf("%v and %v: no beat", tc.a, tc.b)
		}
		ref.Near(t, "sync-rate-beat", float64(got.Time()), tc.want, tc.a, tc.b)
	}
	for _, pair := range [][2]sync.Rate{{rate(24, 1), rate(24, 1)}, {{}, rate(24, 1)}, {rate(24, 1), {}}, {}} {
		if got, ok := pair[0].Beat(pair[1]); ok || got != (sync.Seconds{}) {
			t.Errorf("%v: got %v, %v", pair, got, ok)
		}
	}
	// The ends of the range neither overflow nor lose the difference.
	const top = math.MaxInt32
	got, ok := rate(top, top-1).Beat(rate(top-1, top-2))
	if num, den := got.Ratio(); !ok || num != (top-1)*(top-2) || den != 1 {
		t.Errorf("got %v, %v", got, ok)
	}
}

func TestRatesMeetAgainExactly(t *testing.T) {
	for _, n := range []int64{24000, 30000} {
		at := must(rate(n, 1001).Time(n))
		num, den := at.Ratio()
		ref.Equal(t, "sync-rate-coincidence", [2]int64{num, den}, [2]int64{1001, 1})
		ref.Equal(t, "sync-rate-coincidence", must(rate(n, 1001).Frame(seconds(1001, 1), sync.Floor)), n)
	}
}

func TestElapsedTime(t *testing.T) {
	for _, tc := range []struct {
		n    int64
		want sync.Seconds
	}{{10, seconds(200, 1000)}, {50, seconds(1, 1)}, {100, seconds(2, 1)}, {30 * 60 * 50, seconds(1800, 1)}} {
		ref.Equal(t, "sync-rate-elapsed", must(rate(50, 1).Time(tc.n)), tc.want, tc.n)
	}
	// Drop leaves out labels, so it has no say in the spacing of frames.
	for _, n := range []int64{10, 60, 120, 3600, 36000} {
		ref.Equal(t, "sync-rate-elapsed", must(rate(60000, 1001).Time(n)), seconds(n*1001, 60000), n)
	}
}

func TestRasterPeriods(t *testing.T) {
	ref.Equal(t, "sync-raster-625", rate(13_500_000, 864*625).Period(), seconds(1, 25))
	ref.Equal(t, "sync-raster-totals", rate(13_500_000, 858*525).Period(), seconds(1001, 30000))
	ref.Equal(t, "sync-raster-totals", rate(148_500_000, 2200*1125).Period(), seconds(1, 60))
	ref.Equal(t, "sync-raster-totals", rate(74_250_000, 2750*1125).Period(), seconds(1, 24))
}

func TestFrameUndoesTime(t *testing.T) {
	for _, r := range tradeRates() {
		day := int64(math.Ceil(float64(r.Frequency()))) * 86400
		step := int64(97) // a prime: all phases of all denominators come up
		if r == rate(24000, 1001) {
			step = 1
		}
		for n := -day; n <= day; n += step {
			at := must(r.Time(n))
			for mode := sync.Floor; mode <= sync.Ceil; mode++ {
				if got := must(r.Frame(at, mode)); got != n {
					t.Fatalf("%v: frame %d comes back as %d", r, n, got)
				}
			}
			if n < 0 {
				n += 96 // negative ones more sparsely
			}
		}
	}
}

func TestNearestSurvivesNanoseconds(t *testing.T) {
	const hours100 = 100 * 3600 * 120
	for _, r := range tradeRates() {
		for n := int64(0); n < hours100; n += 9973 {
			num, den := must(r.Time(n)).Ratio()
			ns := new(big.Int).Mul(big.NewInt(num), big.NewInt(1e9))
			ns.Div(ns, big.NewInt(den)) // cut off
			if got := must(r.Frame(seconds(ns.Int64(), 1e9), sync.Nearest)); got != n {
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
		for mode, want := range map[sync.Rounding]*big.Int{
			sync.Floor:   floor(x),
			sync.Nearest: floor(new(big.Rat).Add(x, half)),
			sync.Ceil:    new(big.Int).Neg(floor(new(big.Rat).Neg(x))),
		} {
			got, err := r.Frame(at, mode)
			if !want.IsInt64() {
				refused++
				wantInvalid(t, "overflow", err)
				continue
			}
			if err != nil {
				t.Fatalf("%v at %v: %v", r, at, err)
			}
			ref.Equal(t, "sync-rate-rounding", got, want.Int64(), r, at, mode)
		}
	}
	if refused == 0 {
		t.Error("no overflow was tried")
	}
}

func TestTimesThatDoNotFit(t *testing.T) {
	_, err := rate(24000, 1001).Time(math.MaxInt64)
	wantInvalid(t, "Time", err)
	_, err = rate(120, 1).Frame(seconds(math.MaxInt64, 1), sync.Floor)
	wantInvalid(t, "Frame", err)
	if got := must(rate(1, 1).Time(math.MinInt64)); must(rate(1, 1).Frame(got, sync.Ceil)) != math.MinInt64 {
		t.Errorf("the least frame is at %v", got)
	}
	for _, mode := range []sync.Rounding{-1, 3} {
		_, err = rate(24, 1).Frame(sync.Seconds{}, mode)
		wantInvalid(t, "rounding", err)
	}
	for _, den := range []int64{0, -1, math.MinInt64} {
		_, err = sync.NewSeconds(1, den)
		wantInvalid(t, "NewSeconds", err)
	}
}

func TestZeroValuesOfRateAndSeconds(t *testing.T) {
	var r sync.Rate
	_, err := r.Time(1)
	wantInvalid(t, "Time", err)
	_, err = r.Frame(sync.Seconds{}, sync.Floor)
	wantInvalid(t, "Frame", err)
	_, err = r.Align(sync.Seconds{})
	wantInvalid(t, "Align", err)
	if num, den := r.Ratio(); num != 0 || den != 0 || r.Frequency() != 0 || r.Period() != (sync.Seconds{}) || r.String() != "no rate" {
		t.Errorf("got %d/%d, %v, %v, %v", num, den, r.Frequency(), r.Period(), r)
	}
	var s sync.Seconds
	if num, den := s.Ratio(); num != 0 || den != 1 || s.Time() != 0 || s.String() != "0 s" || s != seconds(0, 7) {
		t.Errorf("got %d/%d, %v, %v", num, den, s.Time(), s)
	}
}

func FuzzParseRate(f *testing.F) {
	for _, s := range []string{"24000/1001", "23.976", "25", "0/0", "1/3", "-1", "2147483647/2147483646"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := sync.ParseRate(s)
		if err != nil {
			wantInvalid(t, s, err)
			return
		}
		if again := must(sync.ParseRate(r.String())); again != r {
			t.Errorf("%q: %v comes back as %v", s, r, again)
		}
		if got := must(r.Frame(must(r.Time(1001)), sync.Floor)); got != 1001 {
			t.Errorf("%v: frame 1001 comes back as %d", r, got)
		}
	})
}

func FuzzFrameRoundTrip(f *testing.F) {
	f.Add(int64(24000), int64(1001), int64(2073600))
	f.Add(int64(math.MaxInt32), int64(math.MaxInt32-1), int64(math.MinInt64))
	f.Fuzz(func(t *testing.T, num, den, n int64) {
		r, err := sync.NewRate(num, den)
		if err != nil {
			return
		}
		at, err := r.Time(n)
		if err != nil {
			wantInvalid(t, "Time", err)
			return
		}
		if got := must(r.Frame(at, sync.Nearest)); got != n {
			t.Errorf("%v: frame %d comes back as %d", r, n, got)
		}
	})
}

func TestWholeNumbersAtTheEndsOfInt64(t *testing.T) {
	// ±2⁶³ frames: only the negative one is an int64.
	got, err := rate(2, 1).Frame(seconds(-1<<62, 1), sync.Floor)
	if err != nil || got != math.MinInt64 {
		t.Errorf("got %v, %v", got, err)
	}
	for mode := sync.Floor; mode <= sync.Ceil; mode++ {
		_, err = rate(2, 1).Frame(seconds(1<<62, 1), mode)
		wantInvalid(t, "2^63 frames", err)
	}
	_, err = rate(1, 2).Time(1 << 62)
	wantInvalid(t, "2^63 s", err)
	if got := must(rate(1, 2).Time(-1 << 62)); got != seconds(math.MinInt64, 1) {
		t.Errorf("got %v", got)
	}
}
