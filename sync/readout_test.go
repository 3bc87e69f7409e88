package sync_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sensor is a camera run tick by tick: frames begin, a pointer goes from row to row
// and opens each, and each row closes after its exposure and is read.
type sensor struct {
	period, exposure, rowTime, rows, first int64 // in ticks; first is when frame 0's first row opens
	bottomUp                               bool

	frame  []int64 // that a row exposes
	left   []int64 // ticks that a row stays open
	read   int64   // the row that is read, or −1
	readOf int64
	busy   int64 // ticks that it takes still
	opened map[[2]int64]int64
	closed map[[2]int64]int64
}

func (s *sensor) row(k int64) int64 {
	if s.bottomUp {
		return s.rows - 1 - k
	}
	return k
}

// step goes on to a tick.
func (s *sensor) step(tick int64) {
	if s.busy--; s.busy <= 0 {
		s.read = -1
	}
	for i := range s.left {
		if s.left[i] == 0 {
			continue
		}
		if s.left[i]--; s.left[i] == 0 {
			s.closed[[2]int64{s.frame[i], int64(i)}] = tick
			if s.rowTime > 0 {
				s.read, s.readOf, s.busy = int64(i), s.frame[i], s.rowTime
			}
		}
	}
	for k := range s.rows {
		// The pointer comes to row k when a frame began k row times ago.
		if ago := tick - k*s.rowTime - s.first; ago%s.period == 0 {
			i := s.row(k)
			s.frame[i], s.left[i] = ago/s.period, s.exposure
			s.opened[[2]int64{s.frame[i], i}] = tick
		}
	}
}

// now is the state in the words of Instant.
func (s *sensor) now() (at timing.Instant) {
	byFrame := map[int64][]int{}
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for i, left := range s.left {
		if left > 0 {
			byFrame[s.frame[i]] = append(byFrame[s.frame[i]], i)
			low, high = min(low, s.frame[i]), max(high, s.frame[i])
		}
	}
	for f := low; f <= high; f++ {
		if rows := byFrame[f]; len(rows) > 0 {
			at.Open = append(at.Open, timing.RowRange{Frame: f, First: rows[0], Last: rows[len(rows)-1]})
		}
	}
	if s.read >= 0 {
		at.Reading, at.Frame, at.Row = true, s.readOf, int(s.read)
	}
	return at
}

// TestReadoutAgainstASensor runs sensors tick by tick.
func TestReadoutAgainstASensor(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(61, 62))
	var seen struct{ global, full, two, closed, reading, spans int }
	for n := range 120 {
		rate := trial.Rates()[n%17]
		num, den := rate.Ratio()
		s := sensor{rows: 1 + rng.Int64N(9), rowTime: rng.Int64N(5), bottomUp: rng.IntN(2) == 0, read: -1, opened: map[[2]int64]int64{}, closed: map[[2]int64]int64{}}
		s.period = max(2, s.rows*s.rowTime+rng.Int64N(2)*rng.Int64N(20))
		s.exposure = 2 * (1 + rng.Int64N(s.period/2))
		if s.exposure == s.period {
			seen.full++
		}
		if s.rowTime == 0 {
			seen.global++
		}
		s.frame, s.left = make([]int64, s.rows), make([]int64, s.rows)
		at := func(tick int64) timing.Seconds { return trial.Seconds(tick*den, num*s.period) }
		offset := rng.Int64N(200) - 100
		spec := timing.ReadoutSpec{Rate: rate, Exposure: at(s.exposure), Phase: timing.Leading, Rows: int(s.rows), RowTime: at(s.rowTime), Offset: at(offset)}
		s.first = offset
		if rng.IntN(2) == 0 {
			spec.Phase = timing.Centred
			s.first -= s.exposure / 2
		}
		if s.bottomUp {
			spec.Direction = timing.BottomUp
		}
		r := trial.Must(timing.NewReadout(spec))
		// Before the first three periods are over not all that is open has been seen.
		begin := -2*s.period - 100
		for tick := begin; tick < begin+8*s.period; tick++ {
			s.step(tick)
			if tick < begin+3*s.period {
				continue
			}
			want := s.now()
			if len(want.Open) == 2 {
				seen.two++
			}
			if len(want.Open) == 0 {
				seen.closed++
			}
			if want.Reading {
				seen.reading++
			}
			ref.Equal(t, "T-READOUT-AT", cmp.Diff(want, trial.Must(r.At(at(tick)))), "", spec, tick)
			between := trial.Must(at(2*tick+1).Scale(1, 2))
			ref.Equal(t, "T-READOUT-AT", cmp.Diff(want, trial.Must(r.At(between))), "", spec, tick)
		}
		for of, closes := range s.closed {
			opens := s.opened[of]
			got := trial.Must(r.Row(of[0], int(of[1])))
			want := timing.Exposure{Opens: at(opens), Middle: trial.Must(at(opens+closes).Scale(1, 2)), Closes: at(closes)}
			ref.Equal(t, "T-READOUT-ROW", got, want, spec, of)
		}
		// The frames of which every row has been seen from end to end.
		for frame := begin / s.period; frame < 12; frame++ {
			opens, closes, complete := int64(math.MaxInt64), int64(math.MinInt64), true
			for row := range s.rows {
				c, ok := s.closed[[2]int64{frame, row}]
				complete = complete && ok
				opens, closes = min(opens, s.opened[[2]int64{frame, row}]), max(closes, c)
			}
			if complete {
				want := timing.Exposure{Opens: at(opens), Middle: trial.Must(at(opens+closes).Scale(1, 2)), Closes: at(closes)}
				ref.Equal(t, "T-READOUT-SPAN", trial.Must(r.Span(frame)), want, spec, frame)
				seen.spans++
			}
		}
	}
	assert.Greater(t, min(seen.global, seen.full, seen.two, seen.closed, seen.reading, seen.spans), 5, "%+v", seen)
}

// TestReadoutByHand adds up a second, an offset of 1 ms, 2159 rows in 270000 a second,
// and an exposure of 1/48 s around its middle.
func TestReadoutByHand(t *testing.T) {
	r := trial.Must(timing.NewReadout(timing.ReadoutSpec{
		Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Phase: timing.Centred, Rows: 2160, RowTime: trial.Seconds(1, 270000), Direction: timing.BottomUp, Offset: trial.Seconds(1, 1000),
	}))
	const unit = 2160000 // 1/48 s are 45000 of it, a row is 8
	const opens = unit + 2160 - 22500
	ref.Equal(t, "T-READOUT-ROW", trial.Must(r.Row(24, 2159)), timing.Exposure{Opens: trial.Seconds(opens, unit), Middle: trial.Seconds(opens+22500, unit), Closes: trial.Seconds(opens+45000, unit)})
	ref.Equal(t, "T-READOUT-ROW", trial.Must(r.Row(24, 0)).Opens, trial.Seconds(opens+8*2159, unit))
	ref.Equal(t, "T-READOUT-SPAN", trial.Must(r.Span(24)), timing.Exposure{Opens: trial.Seconds(opens, unit), Middle: trial.Seconds(opens+22500+4*2159, unit), Closes: trial.Seconds(opens+45000+8*2159, unit)})
}

// TestReadoutFarFromTheEpoch holds that nothing is lost after ten hours, nor at today's
// time of the Precision Time Protocol. 24000 frames at 24000/1001 take 1001 s.
func TestReadoutFarFromTheEpoch(t *testing.T) {
	for text, far := range map[string]int64{"1/270 ms": 1_700_000, "3.704 µs": 1_700_000, "3.703704 µs": 36} {
		spec := timing.ReadoutSpec{
			Rate: trial.Rate(24000, 1001), Exposure: trial.Seconds(1, 50), Phase: timing.Leading, Rows: 2160,
			RowTime: trial.Must(timing.ParseSeconds(text)), Offset: trial.Seconds(1, 1000),
		}
		r := trial.Must(timing.NewReadout(spec))
		near, away := trial.Must(r.Row(5, 2159)), trial.Must(r.Row(5+24000*far, 2159))
		since := trial.Seconds(1001*far, 1)
		ref.Equal(t, "T-READOUT-FAR", away.Opens, trial.Must(near.Opens.Add(since)), text)
		ref.Equal(t, "T-READOUT-FAR", away.Closes, trial.Must(near.Closes.Add(since)), text)
		at := trial.Must(r.At(away.Closes))
		ref.Equal(t, "T-READOUT-FAR", [3]any{at.Reading, at.Frame, at.Row}, [3]any{true, 5 + 24000*far, 2159}, text)
	}
}

// TestReadoutOverTheYears holds how far times fit with the longest fractions that are in
// use: half an exposure of refreshes at 3836.16 Hz and half a readout. Times of the
// Precision Time Protocol are over fifty years.
func TestReadoutOverTheYears(t *testing.T) {
	for text, days := range map[string]int64{"3601 ns": 5 * 365, "3.600001 µs": 14} {
		spec := timing.ReadoutSpec{
			Rate: trial.Rate(24000, 1001), Exposure: trial.Must(trial.Rate(3840000, 1001).Time(79)), Phase: timing.Leading, Rows: 3240,
			RowTime: trial.Must(timing.ParseSeconds(text)), Offset: trial.Seconds(days*86400, 1),
		}
		assert.NoError(t, trial.Second(trial.Must(timing.NewReadout(spec)).Span(1)), text)
		spec.Offset = trial.Seconds(55*365*86400, 1)
		err := trial.Second(trial.Must(timing.NewReadout(spec)).Span(1))
		assert.ErrorContains(t, err, "count from a nearer time, as the first frame of the day", text)
	}
}

func TestReadoutsRefused(t *testing.T) {
	good := timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Phase: timing.Leading, Rows: 2160, RowTime: trial.Seconds(1, 24*2160)}
	r := trial.Must(timing.NewReadout(good))
	assert.Equal(t, r, trial.Must(timing.NewReadout(good)))
	for want, change := range map[string]func(*timing.ReadoutSpec){
		"sync: rate: must be set":                                                                     func(s *timing.ReadoutSpec) { s.Rate = timing.Rate{} },
		"sync: rows 0: must be at least 1 and at most 16777216":                                       func(s *timing.ReadoutSpec) { s.Rows = 0 },
		"sync: shutter phase ShutterPhase(0): must be leading or centred":                             func(s *timing.ReadoutSpec) { s.Phase = 0 },
		"sync: direction ReadDirection(2): must be top down or bottom up":                             func(s *timing.ReadoutSpec) { s.Direction = 2 },
		"sync: exposure 0 s: must be more than 0 s":                                                   func(s *timing.ReadoutSpec) { s.Exposure = timing.Seconds{} },
		"sync: exposure 25/576 s: must be at most the period of a frame, 1/24 s":                      func(s *timing.ReadoutSpec) { s.Exposure = trial.Seconds(25, 576) },
		"sync: row time -1/1000 s: must be at least 0 s":                                              func(s *timing.ReadoutSpec) { s.RowTime = trial.Seconds(-1, 1000) },
		"sync: rows 2160 of 1/51839 s: must be read within the period of a frame, 1/24 s":             func(s *timing.ReadoutSpec) { s.RowTime = trial.Seconds(1, 24*2160-1) },
		"sync: rows 2160 of 9223372036854775807 s: must be read within the period of a frame, 1/24 s": func(s *timing.ReadoutSpec) { s.RowTime = trial.Seconds(math.MaxInt64, 1) },
		"sync: offset 1/9223372036854775807 s: less half the exposure must fit a fraction of int64":   func(s *timing.ReadoutSpec) { s.Offset, s.Phase = trial.Seconds(1, math.MaxInt64), timing.Centred },
		"sync: offset 0 s: less half the exposure must fit a fraction of int64":                       func(s *timing.ReadoutSpec) { s.Exposure, s.Phase = trial.Seconds(1, math.MaxInt64), timing.Centred },
		"sync: rate: must be set\nsync: shutter phase ShutterPhase(0): must be leading or centred":    func(s *timing.ReadoutSpec) { s.Rate, s.Phase = timing.Rate{}, 0 },
	} {
		spec := good
		change(&spec)
		assert.EqualError(t, trial.Second(timing.NewReadout(spec)), want)
	}
	assert.EqualError(t, trial.Second(r.Row(0, -1)), "sync: row -1: must be at least 0 and at most 2159")
	assert.EqualError(t, trial.Second(r.Row(0, 2160)), "sync: row 2160: must be at least 0 and at most 2159")
	const long = "the times of its rows must fit fractions of int64; count from a nearer time, as the first frame of the day, or give the row time in fewer digits"
	assert.EqualError(t, trial.Second(r.Row(math.MaxInt64, 0)), "sync: frame 9223372036854775807: "+long)
	assert.EqualError(t, trial.Second(r.Span(math.MaxInt64)), "sync: frame 9223372036854775807: "+long)
	assert.EqualError(t, trial.Second(r.At(trial.Seconds(math.MaxInt64, 1))), "sync: time 9223372036854775807 s: its place among the rows must fit fractions of int64")
	for _, err := range []error{trial.Second(timing.Readout{}.Row(0, 0)), trial.Second(timing.Readout{}.Span(0)), trial.Second(timing.Readout{}.At(timing.Seconds{}))} {
		assert.EqualError(t, err, "sync: readout: must be set")
	}
	fine := good
	fine.RowTime = trial.Seconds(1, 1<<61-1) // a prime
	r = trial.Must(timing.NewReadout(fine))
	require.NoError(t, trial.Second(r.Row(0, 0)))
	assert.ErrorIs(t, trial.Second(r.Row(1, 1)), timing.ErrInvalid)
	assert.ErrorIs(t, trial.Second(r.Span(0)), timing.ErrInvalid)
	assert.NotZero(t, trial.Must(r.At(timing.Seconds{})))
}
