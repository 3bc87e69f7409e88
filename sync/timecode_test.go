package sync_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
)

func timecode(r sync.Rate, drop bool) sync.Timecode {
	return must(sync.NewTimecode(sync.TimecodeSpec{Rate: r, Drop: drop}))
}

// countings are all that NewTimecode accepts.
func countings() map[string]sync.Timecode {
	all := map[string]sync.Timecode{}
	for _, r := range tradeRates() {
		all[r.String()] = timecode(r, false)
	}
	for _, n := range []int64{30000, 60000, 120000} {
		all[rate(n, 1001).String()+" drop"] = timecode(rate(n, 1001), true)
	}
	return all
}

func TestPublishedLabels(t *testing.T) {
	drop30, drop60 := timecode(rate(30000, 1001), true), timecode(rate(60000, 1001), true)
	ref.Equal(t, "sync-tc-drop-hour", must(drop30.Parse("01:00:00;00")), 107892)
	ref.Equal(t, "sync-tc-drop-hour", must(drop30.Frame(sync.Label{Hours: 1})), 107892)

	// Numbers 1802 and 3604, read as labels without drop.
	ref.Equal(t, "sync-tc-drop-number", drop30.Label(1800), timecode(rate(30, 1), false).Label(1802))
	ref.Equal(t, "sync-tc-drop-number", drop60.Label(3600), timecode(rate(60, 1), false).Label(3604))

	ref.Equal(t, "sync-tc-ten-minutes", must(drop30.Frame(sync.Label{Minutes: 10})), 17982)
	ref.Equal(t, "sync-tc-ten-minutes", must(drop60.Frame(sync.Label{Minutes: 10})), 35964)
	ref.Equal(t, "sync-tc-ten-minutes", drop30.Day(), 144*17982)
	ref.Equal(t, "sync-tc-ten-minutes", drop60.Day(), 144*35964)

	plain30, plain25 := timecode(rate(30, 1), false), timecode(rate(25, 1), false)
	ref.Equal(t, "sync-tc-plain", must(plain30.Parse("01:02:03:04")), 111694)
	ref.Equal(t, "sync-tc-plain", must(plain30.Parse("00:01:02:03")), 1863)
	ref.Equal(t, "sync-tc-plain", must(plain25.Parse("01:00:00:00")), 90000)
	ref.Equal(t, "sync-tc-plain", plain25.Label(91530), sync.Label{Hours: 1, Minutes: 1, Seconds: 1, Frames: 5})
	ref.Equal(t, "sync-tc-plain", plain25.Format(91530), "01:01:01:05")
	ref.Equal(t, "sync-tc-plain", plain25.Format(35), "00:00:01:10")

	ref.Equal(t, "sync-tc-wrap", plain25.Label(plain25.Wrap(2250000)), sync.Label{Hours: 1})
	ref.Equal(t, "sync-tc-negative", plain25.Label(-100), sync.Label{Negative: true, Seconds: 4})
	ref.Equal(t, "sync-tc-negative", plain25.Format(-100), "-00:00:04:00")

	n := must(drop30.Frame(sync.Label{Hours: 10, Minutes: 10, Seconds: 10, Frames: 10}))
	ref.Equal(t, "sync-tc-next", drop30.Label(n+1), sync.Label{Hours: 10, Minutes: 10, Seconds: 10, Frames: 11})

	// The same list of cases reads "01:00:00.00" as drop too. We do not: one
	// label has one spelling, and which kind it is stands in the spec.
	ref.Equal(t, "sync-tc-separator", must(drop30.Parse("00:01:00;02")), 1800)
	_, err := drop30.Parse("01:00:00.00")
	wantInvalid(t, "a full stop", err)
}

func TestDropTable(t *testing.T) {
	for _, tc := range []struct {
		num   int64
		label string
		want  int64
	}{
		{30000, "00:00:59;29", 1799}, {30000, "00:01:00;02", 1800}, {30000, "00:09:59;29", 17981}, {30000, "00:10:00;00", 17982},
		{30000, "10:00:00;00", 1078920}, {30000, "23:59:59;29", 2589407},
		{60000, "00:00:59;59", 3599}, {60000, "00:01:00;04", 3600}, {60000, "00:09:59;59", 35963}, {60000, "00:10:00;00", 35964},
		{60000, "01:00:00;00", 215784}, {60000, "10:00:00;00", 2157840}, {60000, "23:59:59;59", 5178815},
		// Twice the table of 60, and the odd frame of a pair.
		{120000, "00:00:59;119", 7199}, {120000, "00:01:00;008", 7200}, {120000, "00:10:00;000", 71928}, {120000, "23:59:59;119", 10357631},
	} {
		c := timecode(rate(tc.num, 1001), true)
		n := must(c.Parse(tc.label))
		ref.Equal(t, "sync-tc-table", n, tc.want, tc.num, tc.label)
		ref.Equal(t, "sync-tc-table", must(c.Frame(c.Label(n))), tc.want, tc.num, tc.label)
		ref.Equal(t, "sync-tc-table", c.Format(tc.want), tc.label, tc.num)
	}
}

// TestEveryLabelOfADay counts the labels of a day one by one, as a person
// would, and finds each frame under its own.
func TestEveryLabelOfADay(t *testing.T) {
	for name, c := range countings() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			skipped := map[string]int{"30000/1001 drop": 2, "60000/1001 drop": 4, "120000/1001 drop": 8}[name]
			written := name == "30000/1001 drop" || name == "60000/1001 drop"
			n := int64(0)
			for h := range int64(24) {
				if skipped == 0 && h%23 != 0 {
					n += int64(c.Nominal()) * 3600 // without drop, the first and the last hour do
					continue
				}
				for m := range 60 {
					for s := range 60 {
						for f := range c.Nominal() {
							l := sync.Label{Hours: h, Minutes: m, Seconds: s, Frames: f}
							if s == 0 && m%10 != 0 && f < skipped {
								if h == 0 {
									_, err := c.Frame(l)
									wantInvalid(t, "dropped", err)
								}
								continue
							}
							if c.Label(n) != l {
								t.Fatalf("frame %d is %+v, want %+v", n, c.Label(n), l)
							}
							back := func() (int64, error) { return c.Frame(l) }
							if written {
								back = func() (int64, error) { return c.Parse(c.Format(n)) }
							}
							if got, err := back(); err != nil || got != n {
								t.Fatalf("frame %d is %s, which is frame %d, %v", n, c.Format(n), got, err)
							}
							n++
						}
					}
				}
			}
			ref.Equal(t, "sync-tc-every-label", c.Day(), n, name)
		})
	}
}

func TestDaysOfClockAndOfLabels(t *testing.T) {
	r := rate(30000, 1001)
	day := timecode(r, true).Day()
	ref.Equal(t, "sync-tc-day", day, 2589408)
	// 86.4 ms short of 86400 s: labels with drop run that much fast a day.
	ref.Equal(t, "sync-tc-day", must(r.Time(day)), seconds(863999136, 10000))
	// Without drop a labelled hour takes 3.6 s too long.
	hour := must(timecode(r, false).Parse("01:00:00:00"))
	ref.Equal(t, "sync-tc-day", must(r.Time(hour)), seconds(36036, 10))
	// 24 labelled hours at 24000/1001 are 2073600 labels and 86486.4 s, not a
	// day of 86400 s.
	r = rate(24000, 1001)
	ref.Equal(t, "sync-tc-day", timecode(r, false).Day(), 2073600)
	ref.Equal(t, "sync-tc-day", must(r.Time(2073600)), seconds(864864, 10))
}

func TestTimeRunsEvenlyAcrossDroppedLabels(t *testing.T) {
	r := rate(30000, 1001)
	c := timecode(r, true)
	before, after := must(c.Parse("00:00:59;29")), must(c.Parse("00:01:00;02"))
	if got := must(r.Time(after - before)); got != r.Period() {
		t.Errorf("from ;29 to ;02 passes %v, want one period", got)
	}
}

func TestPairsAndLargerGroups(t *testing.T) {
	fifty, sixty := timecode(rate(50, 1), false), timecode(rate(60000, 1001), false)
	l, sub := fifty.SuperFrame(49)
	ref.Equal(t, "sync-tc-pair", l, sync.Label{Frames: 24})
	ref.Equal(t, "sync-tc-pair", sub, 1)
	l, sub = sixty.SuperFrame(59)
	ref.Equal(t, "sync-tc-pair", l, sync.Label{Frames: 29})
	ref.Equal(t, "sync-tc-pair", sub, 1)
	ref.Equal(t, "sync-tc-pair", must(fifty.FromSuperFrame(sync.Label{Frames: 24}, 1)), 49)
	ref.Equal(t, "sync-tc-pair", must(sixty.FromSuperFrame(sync.Label{Frames: 29}, 1)), 59)

	for name, c := range countings() {
		for n := -c.Day() / 20; n < c.Day()/20; n += 7 {
			l, sub := c.SuperFrame(n)
			if l.Frames > 29 {
				t.Fatalf("%s: frame %d has number %d", name, n, l.Frames)
			}
			if got, err := c.FromSuperFrame(l, sub); err != nil || got != n {
				t.Fatalf("%s: frame %d comes back as %d, %v", name, n, got, err)
			}
		}
		for _, sub := range []int{-1, 4} {
			_, err := c.FromSuperFrame(sync.Label{Seconds: 1}, sub)
			wantInvalid(t, name, err)
		}
		for _, f := range []int{-1, 30, math.MaxInt, math.MinInt} {
			_, err := c.FromSuperFrame(sync.Label{Seconds: 1, Frames: f}, 0)
			wantInvalid(t, name, err)
		}
	}
}

func TestSpecsOfTimecodeRefused(t *testing.T) {
	for _, spec := range []sync.TimecodeSpec{
		{},
		{Drop: true},
		{Rate: rate(25, 1), Drop: true},
		{Rate: rate(30, 1), Drop: true},
		{Rate: rate(60, 1), Drop: true},
		// Some programs drop labels at 24000/1001; SMPTE ST 12-1 defines no
		// such count.
		{Rate: rate(24000, 1001), Drop: true},
		{Rate: rate(48000, 1001), Drop: true},
		{Rate: rate(25000, 1001)}, {Rate: rate(24500, 1001)}, {Rate: rate(2997, 100)}, {Rate: rate(30, 1001)},
		{Rate: rate(23, 1)}, {Rate: rate(240, 1)}, {Rate: rate(1, 1)}, {Rate: rate(2147483647, 1001)},
	} {
		c, err := sync.NewTimecode(spec)
		wantInvalid(t, spec.Rate.String(), err)
		if c != (sync.Timecode{}) {
			t.Errorf("%v: an error and a value", spec)
		}
	}
}

func TestLabelsRefused(t *testing.T) {
	plain, drop, fast := timecode(rate(30000, 1001), false), timecode(rate(30000, 1001), true), timecode(rate(120, 1), false)
	for _, tc := range []struct {
		c    sync.Timecode
		text string
	}{
		{plain, "notvalid"}, {plain, ""}, {plain, "-"}, {plain, "01:02:03"}, {plain, "1:02:03:04"}, {plain, "01:2:03:04"},
		{plain, "01:02:03:4"}, {plain, "01:02:03:004"}, {plain, "01:02:03:04 "}, {plain, " 01:02:03:04"}, {plain, "+01:02:03:04"},
		{plain, "--1:02:03:04"}, {plain, "01:02:-3:04"}, {plain, "01:02:+3:04"}, {plain, "01:02.03:04"}, {plain, "０１:02:03:04"},
		{plain, "-00:00:00:00"}, {drop, "-00:00:00;00"}, {plain, "001:02:03:04"}, {plain, "-001:02:03:04"}, // never written
		{plain, "01:60:00:00"}, {plain, "01:00:60:00"}, {plain, "01:00:00:30"}, {plain, "99999999999999999999:00:00:00"},
		{plain, "9223372036854775807:00:00:00"},
		{plain, "01:00:00;00"}, {drop, "01:00:00:00"}, {plain, "01:00:00.00"}, {drop, "01;00;00;00"}, // contradict the flag
		{drop, "00:01:00;00"}, {drop, "00:01:00;01"}, {drop, "23:59:00;00"}, {drop, "-00:01:00;01"}, // dropped
		{fast, "00:00:00:29"}, {fast, "00:00:00:120"},
	} {
		n, err := tc.c.Parse(tc.text)
		wantInvalid(t, tc.text, err)
		if n != 0 {
			t.Errorf("%q: an error and frame %d", tc.text, n)
		}
	}
	for _, l := range []sync.Label{
		{Hours: -1}, {Minutes: -1}, {Seconds: -1}, {Frames: -1}, {Minutes: 60}, {Seconds: 60}, {Frames: 30},
		{Hours: math.MaxInt64}, {Hours: math.MinInt64}, {Minutes: math.MinInt}, {Frames: math.MaxInt},
		{Hours: math.MaxInt64 / 3600 / 30}, // just too many
	} {
		if l.Hours > 0 {
			l.Minutes = 59
		}
		_, err := drop.Frame(l)
		wantInvalid(t, "label", err)
	}
}

func TestBelowZeroAndBeyondADay(t *testing.T) {
	c := timecode(rate(30000, 1001), true)
	for n, want := range map[int64]string{
		-1:          "-00:00:00;01",
		-1800:       "-00:01:00;02",
		2589408:     "24:00:00;00",
		7 * 2589408: "168:00:00;00",
	} {
		if got := c.Format(n); got != want {
			t.Errorf("frame %d is %s, want %s", n, got, want)
		}
		if got := must(c.Parse(c.Format(n))); got != n {
			t.Errorf("frame %d comes back as %d", n, got)
		}
	}
	for _, n := range []int64{math.MinInt64, math.MaxInt64} {
		if got := must(c.Parse(c.Format(n))); got != n {
			t.Errorf("frame %d comes back as %d", n, got)
		}
	}
	if got := c.Format(c.Wrap(-1)); got != "23:59:59;29" {
		t.Errorf("frame -1 of a clock is %s", got)
	}
	for _, n := range []int64{math.MinInt64, math.MaxInt64, -2589408, 2589408, 0} {
		if w := c.Wrap(n); w < 0 || w >= c.Day() || (w-n%c.Day())%c.Day() != 0 {
			t.Errorf("frame %d wraps to %d", n, w)
		}
	}
}

func TestLabelsAtRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for name, c := range countings() {
		for range 5000 {
			n := rng.Int64() >> rng.IntN(63) * (1 - 2*rng.Int64N(2))
			if got, err := c.Parse(c.Format(n)); err != nil || got != n {
				t.Fatalf("%s: frame %d is %s, which is frame %d, %v", name, n, c.Format(n), got, err)
			}
		}
	}
}

func TestZeroTimecode(t *testing.T) {
	var c sync.Timecode
	_, err := c.Parse("00:00:00:00")
	wantInvalid(t, "Parse", err)
	_, err = c.Frame(sync.Label{})
	wantInvalid(t, "Frame", err)
	_, err = c.FromSuperFrame(sync.Label{}, 0)
	wantInvalid(t, "FromSuperFrame", err)
	if l, sub := c.SuperFrame(5); l != (sync.Label{}) || sub != 0 || c.Label(5) != (sync.Label{}) || c.Format(5) != "" ||
		c.Wrap(5) != 0 || c.Day() != 0 || c.Nominal() != 0 {
		t.Error("the zero value counts something")
	}
}

func FuzzTimecode(f *testing.F) {
	for _, s := range []string{"01:00:00;00", "00:01:00:02", "-00:00:04:00", "24:00:00:119", "notvalid", "00:01:00;01"} {
		f.Add(s)
	}
	all := countings()
	f.Fuzz(func(t *testing.T, s string) {
		for name, c := range all {
			n, err := c.Parse(s)
			if err != nil {
				wantInvalid(t, s, err)
				continue
			}
			if again, err := c.Parse(c.Format(n)); err != nil || again != n {
				t.Errorf("%s: %q is frame %d, which comes back as %d, %v", name, s, n, again, err)
			}
		}
	})
}

func TestHoursThatWrapAround(t *testing.T) {
	// 90000 h is 68384 more than 2⁶⁴: as small an index as any, if it wrapped.
	_, err := timecode(rate(25, 1), false).Frame(sync.Label{Hours: 204963823041218})
	wantInvalid(t, "hours", err)
}
