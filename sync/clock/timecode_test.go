package clock_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unsafe"

	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func timecode(r timing.Rate, drop bool) clock.Timecode {
	return trial.Must(clock.NewTimecode(clock.TimecodeSpec{Rate: r, Drop: drop}))
}

// counting is one that NewTimecode accepts.
type counting struct {
	rate    timing.Rate
	nominal int // frames in a labelled second
	skipped int // labels a minute
}

func (c counting) timecode() clock.Timecode { return timecode(c.rate, c.skipped > 0) }

func countings() map[string]counting {
	all := map[string]counting{}
	for _, r := range trial.Rates() {
		all[r.String()] = counting{r, int(math.Ceil(float64(r.Frequency()))), 0}
	}
	for n, skipped := range map[int]int{30: 2, 60: 4, 120: 8} {
		r := trial.Rate(int64(n)*1000, 1001)
		all[r.String()+" drop"] = counting{r, n, skipped}
	}
	return all
}

func TestPublishedLabels(t *testing.T) {
	drop30, drop60 := timecode(trial.Rate(30000, 1001), true), timecode(trial.Rate(60000, 1001), true)
	ref.Equal(t, "T-TC-DROP-HOUR", trial.Must(drop30.Parse("01:00:00;00")), 107892)
	// Numbers 1802 and 3604 are 2 and 4 frames after a minute of 1800 and 3600.
	ref.Equal(t, "T-TC-DROP-NUMBER", drop30.Format(1800), "00:01:00;02")
	ref.Equal(t, "T-TC-DROP-NUMBER", drop60.Format(3600), "00:01:00;04")
	ref.Equal(t, "T-TC-TEN-MINUTES", trial.Must(drop30.Parse("00:10:00;00")), 17982)
	ref.Equal(t, "T-TC-TEN-MINUTES", trial.Must(drop60.Parse("00:10:00;00")), 35964)

	plain30, plain25 := timecode(trial.Rate(30, 1), false), timecode(trial.Rate(25, 1), false)
	ref.Equal(t, "T-TC-PLAIN", trial.Must(plain30.Parse("01:02:03:04")), 111694)
	ref.Equal(t, "T-TC-PLAIN", trial.Must(plain30.Parse("00:01:02:03")), 1863)
	ref.Equal(t, "T-TC-PLAIN", trial.Must(plain25.Parse("01:00:00:00")), 90000)
	ref.Equal(t, "T-TC-PLAIN", plain25.Format(91530), "01:01:01:05")
	ref.Equal(t, "T-TC-PLAIN", plain25.Format(35), "00:00:01:10")
	ref.Equal(t, "T-TC-WRAP", plain25.Format(plain25.Wrap(2250000)), "01:00:00:00")
	ref.Equal(t, "T-TC-NEGATIVE", plain25.Format(-100), "-00:00:04:00")
	ref.Equal(t, "T-TC-NEXT", drop30.Format(trial.Must(drop30.Parse("10:10:10;10"))+1), "10:10:10;11")

	// The same list of cases reads "01:00:00.00" as drop too. We do not: one
	// label has one spelling, and which kind it is stands in the spec.
	ref.Equal(t, "T-TC-SEPARATOR", trial.Must(drop30.Parse("00:01:00;02")), 1800)
	trial.Refused(t, clock.ErrInvalid, trial.Second(drop30.Parse("01:00:00.00")))
}

// wholeDays makes TestEveryLabelOfADay go through all labels of all rates:
//
//	go test ./sync/clock -run EveryLabel -args -whole-days
var wholeDays = flag.Bool("whole-days", false, "go through every label of a day at every rate")

// TestEveryLabelOfADay counts the labels of a day one by one, as a person would,
// and finds each frame under its own.
func TestEveryLabelOfADay(t *testing.T) {
	near.NumbersOnly(t)
	put := func(digits []byte, v int) {
		for i := len(digits) - 1; i >= 0; i-- {
			digits[i], v = '0'+byte(v%10), v/10
		}
	}
	for name, c := range countings() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tc := c.timecode()
			label := []byte("00:00:00:00")
			if c.nominal >= 100 {
				label = append(label, '0')
			}
			if c.skipped > 0 {
				label[8] = ';'
			}
			var room []byte
			n := int64(0)
			for second := range 86400 {
				// Labels with drop at 30 and 60 are counted whole. Of others, no rule tells
				// minutes or hours apart, and no standard defines drop at 120: their ends do.
				if !*wholeDays && (c.skipped == 0 || c.nominal == 120) && second >= 600 && second%60 > 1 && second < 86390 {
					n += int64(c.nominal)
					continue
				}
				put(label[:2], second/3600)
				put(label[3:5], second/60%60)
				put(label[6:8], second%60)
				for f := range c.nominal {
					put(label[9:], f)
					text := unsafe.String(unsafe.SliceData(label), len(label)) // no allocation in so many calls
					if f < c.skipped && second%60 == 0 && second%600 != 0 {
						_, err := tc.Parse(text)
						require.ErrorIs(t, err, clock.ErrInvalid)
						continue
					}
					if room = tc.AppendFormat(room[:0], n); string(room) != text {
						t.Fatalf("frame %d is %s, want %s", n, room, text)
					}
					if got, err := tc.Parse(text); err != nil || got != n {
						t.Fatalf("%s is frame %d, %v, want %d", text, got, err, n)
					}
					n++
				}
			}
			ref.Equal(t, "T-TC-EVERY-LABEL", trial.Must(tc.Parse("24:00:00"+tc.Format(0)[8:])), n, name)
			ref.Equal(t, "T-TC-EVERY-LABEL", tc.Wrap(-1), n-1, name)
			ref.Equal(t, "T-TC-EVERY-LABEL", tc.Wrap(n), 0, name)
		})
	}
}

// TestLabelErrors reads each label of an hour, and compares it with its frame's time.
func TestLabelErrors(t *testing.T) {
	drop := timecode(trial.Rate(30000, 1001), true)
	ref.Equal(t, "T-TC-ERROR", trial.Must(drop.LabelError(2589408)), trial.Seconds(864, 10000))
	plain := timecode(trial.Rate(30000, 1001), false)
	ref.Equal(t, "T-TC-ERROR", trial.Must(plain.LabelError(3600*30)), trial.Seconds(-36, 10))
	for name, c := range countings() {
		tc := c.timecode()
		num, den := c.rate.Ratio()
		for n := int64(-2000); n < 3600*int64(c.nominal); n += 997 {
			label, sign := tc.Format(n), int64(1)
			if n < 0 {
				label, sign = label[1:], -1
			}
			var h, m, s, f int64
			trial.Must(fmt.Sscanf(strings.ReplaceAll(label, ";", ":"), "%d:%d:%d:%d", &h, &m, &s, &f))
			nominal := int64(c.nominal)
			want := trial.Seconds(sign*((h*3600+m*60+s)*nominal+f)*num-n*den*nominal, nominal*num)
			ref.Equal(t, "T-TC-ERROR", trial.Must(tc.LabelError(n)), want, name, n)
		}
		if den != 1 {
			trial.Refused(t, clock.ErrInvalid, trial.Second(tc.LabelError(math.MinInt64)))
		}
	}
	trial.Refused(t, clock.ErrInvalid, trial.Second(clock.Timecode{}.LabelError(0)))
}

func TestSpecsOfTimecodeRefused(t *testing.T) {
	for _, spec := range []clock.TimecodeSpec{
		{}, {Drop: true}, {Rate: trial.Rate(25, 1), Drop: true}, {Rate: trial.Rate(30, 1), Drop: true}, {Rate: trial.Rate(60, 1), Drop: true},
		// Some programs drop labels at 24000/1001. SMPTE ST 12-1 defines no such count.
		{Rate: trial.Rate(24000, 1001), Drop: true}, {Rate: trial.Rate(48000, 1001), Drop: true},
		{Rate: trial.Rate(25000, 1001)}, {Rate: trial.Rate(24500, 1001)}, {Rate: trial.Rate(2997, 100)}, {Rate: trial.Rate(30, 1001)},
		{Rate: trial.Rate(23, 1)}, {Rate: trial.Rate(240, 1)}, {Rate: trial.Rate(1, 1)}, {Rate: trial.Rate(2147483647, 1001)},
	} {
		c, err := clock.NewTimecode(spec)
		assert.ErrorIs(t, err, clock.ErrInvalid, spec)
		assert.Zero(t, c)
	}
}

func TestLabelsRefused(t *testing.T) {
	plain, drop, fast := timecode(trial.Rate(30000, 1001), false), timecode(trial.Rate(30000, 1001), true), timecode(trial.Rate(120, 1), false)
	for _, tc := range []struct {
		c    clock.Timecode
		text string
	}{
		{plain, "notvalid"}, {plain, ""}, {plain, "-"}, {plain, "01:02:03"}, {plain, "1:02:03:04"}, {plain, "01:2:03:04"},
		{plain, "01:02:03:4"}, {plain, "01:02:03:004"}, {plain, "01:02:03:04 "}, {plain, " 01:02:03:04"}, {plain, "+01:02:03:04"},
		{plain, "--1:02:03:04"}, {plain, "01:02:-3:04"}, {plain, "01:02:+3:04"}, {plain, "01:02.03:04"}, {plain, "０１:02:03:04"},
		{plain, "xx:02:03:04"}, {plain, "01:xx:03:04"}, {plain, "01:02:xx:04"}, {plain, "01:02:03:xx"},
		{plain, "-00:00:00:00"}, {drop, "-00:00:00;00"}, {plain, "001:02:03:04"}, {plain, "-001:02:03:04"}, // never written
		{plain, "01:60:00:00"}, {plain, "01:00:60:00"}, {plain, "01:00:00:30"}, {plain, "99999999999999999999:00:00:00"},
		{plain, "9223372036854775807:00:00:00"}, {drop, "9223372036854775807:59:00;02"},
		{drop, "85487080013854:23:00;02"}, {drop, "85487080013855:00:00;00"}, // just too many for int64
		// 90000 h is 68384 more than 2⁶⁴ frames: as small an index as any, if it wrapped.
		{timecode(trial.Rate(25, 1), false), "204963823041218:00:00:00"},
		{plain, "01:00:00;00"}, {drop, "01:00:00:00"}, {plain, "01:00:00.00"}, {drop, "01;00;00;00"}, // contradict the flag
		{drop, "00:01:00;00"}, {drop, "00:01:00;01"}, {drop, "23:59:00;00"}, {drop, "-00:01:00;01"}, // skipped
		{fast, "00:00:00:29"}, {fast, "00:00:00:120"},
	} {
		n, err := tc.c.Parse(tc.text)
		assert.ErrorIs(t, err, clock.ErrInvalid, tc.text)
		assert.Zero(t, n, tc.text)
	}
	for text, why := range map[string]string{"204963823041218:00:00:00": "must fit int64", "01:02.03:04": "must be like 00:00:00:00"} {
		assert.ErrorContains(t, trial.Second(plain.Parse(text)), why)
	}
	assert.EqualError(t, trial.Second(plain.Parse("01:61:62:33")), "clock: minutes 61: must be at least 0 and at most 59\nclock: seconds 62: must be at least 0 and at most 59\nclock: frames 33: must be at least 0 and at most 29")
}

func TestBelowZeroAndBeyondADay(t *testing.T) {
	c := timecode(trial.Rate(30000, 1001), true)
	const day = 2589408
	for n, want := range map[int64]string{-1: "-00:00:00;01", -1800: "-00:01:00;02", day: "24:00:00;00", 7 * day: "168:00:00;00"} {
		assert.Equal(t, want, c.Format(n))
		assert.Equal(t, n, trial.Must(c.Parse(c.Format(n))))
	}
	assert.Equal(t, "23:59:59;29", c.Format(c.Wrap(-1)))
	for _, n := range []int64{math.MinInt64, math.MaxInt64, -day, day, 0} {
		assert.Equal(t, n, trial.Must(c.Parse(c.Format(n))))
		w := c.Wrap(n)
		assert.True(t, 0 <= w && w < day && (w-n%day)%day == 0, "frame %d wraps to %d", n, w)
	}
}

func TestLabelsAtRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for name, c := range countings() {
		tc := c.timecode()
		for range 5000 {
			n := rng.Int64() >> rng.IntN(63) * (1 - 2*rng.Int64N(2))
			if got, err := tc.Parse(tc.Format(n)); err != nil || got != n {
				t.Fatalf("%s: frame %d is %s, which is frame %d, %v", name, n, tc.Format(n), got, err)
			}
		}
	}
}

func TestZeroTimecode(t *testing.T) {
	var c clock.Timecode
	trial.Refused(t, clock.ErrInvalid, trial.Second(c.Parse("00:00:00:00")))
	assert.Empty(t, c.Format(5))
	assert.Zero(t, c.Wrap(5))
}

func FuzzTimecode(f *testing.F) {
	for _, s := range []string{"01:00:00;00", "00:01:00:02", "-00:00:04:00", "24:00:00:119", "notvalid", "00:01:00;01"} {
		f.Add(s)
	}
	all := countings()
	f.Fuzz(func(t *testing.T, s string) {
		for name, c := range all {
			tc := c.timecode()
			n, err := tc.Parse(s)
			if err != nil {
				require.ErrorIs(t, err, clock.ErrInvalid)
				continue
			}
			assert.Equal(t, n, trial.Must(tc.Parse(tc.Format(n))), name)
		}
	})
}

// Labels of common days are written into the room given, and read, without allocation.
func TestLabelsDoNotAllocate(t *testing.T) {
	tc := timecode(trial.Rate(60000, 1001), true)
	room := make([]byte, 0, 24)
	assert.Zero(t, testing.AllocsPerRun(100, func() { room = tc.AppendFormat(room[:0], -1234567) }))
	assert.Zero(t, testing.AllocsPerRun(100, func() { _, _ = tc.Parse("-05:43:18;35") }))
}

func BenchmarkParse(b *testing.B) {
	tc := timecode(trial.Rate(30000, 1001), true)
	for b.Loop() {
		_, _ = tc.Parse("17:42:13;28")
	}
}

func BenchmarkFormat(b *testing.B) {
	tc := timecode(trial.Rate(30000, 1001), true)
	for b.Loop() {
		_ = tc.Format(1910000)
	}
}

func BenchmarkAppendFormat(b *testing.B) {
	tc := timecode(trial.Rate(30000, 1001), true)
	room := make([]byte, 0, 24)
	for b.Loop() {
		room = tc.AppendFormat(room[:0], 1910000)
	}
}
