package cadence_test

import (
	"encoding/json"
	"maps"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/cadence"
	"example.com/platewright/sync/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// shoot is a camera and a wall whose times are all whole even numbers of ticks.
type shoot struct {
	period, exposure, rowTime, rows, offset int64 // of the camera
	bottomUp                                bool
	content, on, settle                     int64 // of the wall: its period, when frame 0 comes on, how long it changes
	rate                                    timing.Rate
}

func someShoot(rng *rand.Rand) shoot {
	s := shoot{
		rows: 1 + rng.Int64N(7), rowTime: 2 * rng.Int64N(5), bottomUp: rng.IntN(2) == 0,
		content: 2 * (1 + rng.Int64N(60)), on: 2 * (rng.Int64N(100) - 50), offset: 2 * (rng.Int64N(100) - 50),
		rate: trial.Rates()[rng.IntN(17)],
	}
	s.period = max(2, s.rows*s.rowTime+2*rng.Int64N(2)*rng.Int64N(30))
	s.exposure = 2 * (1 + rng.Int64N(s.period/2))
	if rng.IntN(3) == 0 {
		s.exposure = 2 // often shorter than the row time
	}
	if rng.IntN(2) == 0 {
		s.settle = 2 * rng.Int64N(1+s.content/2)
	}
	return s
}

func (s shoot) at(tick int64) timing.Seconds {
	num, den := s.rate.Ratio()
	return trial.Seconds(tick*den, num*s.period)
}

func (s shoot) camera() timing.ReadoutSpec {
	spec := timing.ReadoutSpec{Rate: s.rate, Exposure: s.at(s.exposure), Phase: timing.Leading, Rows: int(s.rows), RowTime: s.at(s.rowTime), Offset: s.at(s.offset)}
	if s.bottomUp {
		spec.Direction = timing.BottomUp
	}
	return spec
}

func (s shoot) contentRate() timing.Rate { return trial.Must(timing.RateOf(s.at(s.content))) }

// row is the row that is read as number k.
func (s shoot) row(k int64) int64 {
	if s.bottomUp {
		return s.rows - 1 - k
	}
	return k
}

// seen looks at the wall through every row of a frame at every tick. It gives the
// content frames of each row, counted from the top.
func (s shoot) seen(frame int64) []map[int64]bool {
	rows := make([]map[int64]bool, s.rows)
	for k := range s.rows {
		rows[s.row(k)] = map[int64]bool{}
		opens := s.offset + frame*s.period + k*s.rowTime
		for tick := opens; tick < opens+s.exposure; tick++ {
			now := s.newest(tick)
			rows[s.row(k)][now] = true
			// The one before is still there while the wall changes.
			for old := now - 1; s.on+(old+1)*s.content+s.settle > tick; old-- {
				rows[s.row(k)][old] = true
			}
		}
	}
	return rows
}

// newest is the content frame that came on last.
func (s shoot) newest(tick int64) int64 {
	n := (tick-s.on)/s.content - 2
	for s.on+(n+1)*s.content <= tick {
		n++
	}
	return n
}

// view puts what the rows saw in the words of View.
func (s shoot) view(frame int64) cadence.View {
	rows := s.seen(frame)
	middle := func(frame int64) int64 {
		return s.newest(s.offset + frame*s.period + ((s.rows-1)*s.rowTime+s.exposure)/2)
	}
	v := cadence.View{Content: middle(frame), First: math.MaxInt64, Last: math.MinInt64}
	before := middle(frame - 1)
	v.Repeated, v.Skipped = v.Content == before, max(0, v.Content-before-1)
	for _, saw := range rows {
		for m := range saw {
			v.First, v.Last = min(v.First, m), max(v.Last, m)
		}
	}
	for m := v.First + 1; m <= v.Last; m++ {
		tear := cadence.Tear{Content: m, First: -1}
		for i, saw := range rows {
			if saw[m-1] && saw[m] {
				if tear.First < 0 {
					tear.First = i
				}
				tear.Last = i
			}
		}
		if tear.First < 0 {
			// A cut: the lower of the two rows at it is the first of the lower part.
			above := 0
			for i := range rows {
				if isOld(rows[i], m) != isOld(rows[0], m) {
					above = i
					break
				}
			}
			tear.First, tear.Last = above, above-1
		}
		v.Tears = append(v.Tears, tear)
	}
	return v
}

func isOld(saw map[int64]bool, m int64) bool {
	for n := range saw {
		if n >= m {
			return false
		}
	}
	return true
}

// TestPlaybackAgainstEveryRow looks at walls through every row, tick by tick.
func TestPlaybackAgainstEveryRow(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(71, 72))
	var seen struct{ whole, torn, twice, cut, repeated, skipped int }
	for range 250 {
		s := someShoot(rng)
		spec := cadence.PlaybackSpec{Camera: s.camera(), Content: s.contentRate(), Offset: s.at(s.on), Settle: s.at(s.settle)}
		p := trial.Must(cadence.NewPlayback(spec))
		var counts cadence.Counts
		for frame := int64(-3); frame < 5; frame++ {
			want := s.view(frame)
			ref.Equal(t, "T-CADENCE-VIEW", cmp.Diff(want, trial.Must(p.Frame(frame))), "", s, frame)
			counts.Frames++
			counts.Skipped += want.Skipped
			seen.skipped += int(min(1, want.Skipped))
			if want.Repeated {
				counts.Repeated++
				seen.repeated++
			}
			if len(want.Tears) == 0 {
				seen.whole++
				continue
			}
			counts.Torn++
			seen.torn++
			if len(want.Tears) > 1 {
				seen.twice++
			}
			if tear := want.Tears[0]; tear.Last < tear.First {
				seen.cut++
			}
		}
		ref.Equal(t, "T-CADENCE-COUNT", trial.Must(p.Count(-3, 8)), counts, s)
	}
	assert.Greater(t, min(seen.whole, seen.torn, seen.twice, seen.cut, seen.repeated, seen.skipped), 30, "%+v", seen)
}

// TestPlaybackOverADay runs a camera at 24 before content at 23.976, in ticks of
// 1/24000 s, frame by frame for a day.
func TestPlaybackOverADay(t *testing.T) {
	near.NumbersOnly(t)
	camera := timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(500, 24000), Phase: timing.Leading, Rows: 301, RowTime: trial.Seconds(1, 24000)}
	p := trial.Must(cadence.NewPlayback(cadence.PlaybackSpec{Camera: camera, Content: trial.Rate(24000, 1001), Offset: trial.Seconds(-7, 24000)}))
	const day = 24 * 86400
	var want cadence.Counts
	on, next, before := int64(0), int64(1001-7), int64(-1) // frame 0 sees content frame 0 in its middle
	for frame := int64(0); frame < day; frame++ {
		opens := frame * 1000
		for next <= opens+400 { // the middle of 800 ticks
			on, next = on+1, next+1001
		}
		want.Frames++
		if on == before {
			want.Repeated++
		}
		want.Skipped += max(0, on-before-1)
		// The last change that is not after the middle, and the next one.
		if last := next - 1001; last > opens || next < opens+800 {
			want.Torn++
		}
		before = on
	}
	got := trial.Must(p.Count(0, day))
	ref.Equal(t, "T-CADENCE-COUNT", got, want)
	assert.InDelta(t, 86400/41.708333333, got.Repeated, 1, "one in 41.7083 s; the ends of the day")
}

func TestChangeWindowAgainstEveryChange(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(73, 74))
	open, shut := 0, 0
	for range 200 {
		s := someShoot(rng)
		s.settle = 2 * rng.Int64N(2) * rng.Int64N(10)
		w := trial.Must(cadence.ChangeWindow(s.camera(), s.at(s.settle)))
		// One change, from content frame −1 to 0, at every tick of a period. The frames
		// before and after see it too.
		s.content = 1 << 20
		clean, first, last := 0, int64(0), int64(0)
		for change := s.offset + s.exposure; change < s.offset+s.exposure+s.period; change++ {
			s.on = change
			torn := false
			for frame := int64(-1); frame <= 3; frame++ {
				old, young := false, false
				for _, saw := range s.seen(frame) {
					old, young = old || saw[-1], young || saw[0]
				}
				torn = torn || old && young
			}
			if torn {
				continue
			}
			if clean == 0 {
				first = change
			}
			last = change
			clean++
		}
		if clean == 0 {
			shut++
			ref.Equal(t, "T-CADENCE-WINDOW", w.Length.Compare(timing.Seconds{}), -1, s)
		} else {
			open++
			ref.Equal(t, "T-CADENCE-WINDOW", w.Length, s.at(last-first), s)
			ref.Equal(t, "T-CADENCE-WINDOW", [3]timing.Seconds{w.Opens, w.Middle, w.Closes}, [3]timing.Seconds{s.at(first), trial.Must(s.at(first+last).Scale(1, 2)), s.at(last)}, s)
		}
		// With the longest exposure the window has just closed.
		if spec := s.camera(); w.LongestExposure.Compare(timing.Seconds{}) > 0 && w.LongestExposure.Compare(s.rate.Period()) <= 0 {
			spec.Exposure = w.LongestExposure
			ref.Equal(t, "T-CADENCE-WINDOW", trial.Must(cadence.ChangeWindow(spec, s.at(s.settle))).Length, timing.Seconds{}, s)
		}
	}
	assert.Greater(t, min(open, shut), 30)
}

func TestPhaseOf(t *testing.T) {
	// A quarter of a frame at 24 is 90°, 10416.67 µs and 281.25 of 1125 lines.
	for _, at := range []timing.Seconds{trial.Seconds(1, 96), trial.Seconds(1+96*3600, 96), trial.Seconds(-3, 96)} {
		got := trial.Must(cadence.PhaseOf(at, trial.Rate(24, 1), 1125))
		assert.Equal(t, trial.Seconds(1, 96), got.Time)
		ref.Near(t, "T-CADENCE-PHASE", got.Degrees, 90, at)
		ref.Near(t, "T-CADENCE-PHASE", got.Microseconds, 10416.666666666667, at)
		ref.Near(t, "T-CADENCE-PHASE", got.Lines, 281.25, at)
	}
	assert.Zero(t, trial.Must(cadence.PhaseOf(trial.Seconds(1, 96), trial.Rate(24, 1), 0)).Lines)
	assert.EqualError(t, trial.Second(cadence.PhaseOf(timing.Seconds{}, timing.Rate{}, math.NaN())), "cadence: lines NaN: must be at least 0 and at most 1e+06\ncadence: rate: must be set")
	assert.EqualError(t, trial.Second(cadence.PhaseOf(trial.Seconds(math.MaxInt64, 1), trial.Rate(24, 1), 0)), "phase: sync: time 9223372036854775807 s: the number of its frame must fit int64")
}

// TestInterleaveAgainstEveryRow looks at a shared wall through every row.
func TestInterleaveAgainstEveryRow(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(75, 76))
	own, other, shifted := 0, 0, 0
	for range 150 {
		base := someShoot(rng)
		cameras, blank := 1+rng.Int64N(3), rng.Int64N(3)
		slots := cameras + blank
		base.content = 2 * (1 + rng.Int64N(30))
		base.period = base.content * slots
		base.settle = 2 * rng.Int64N(2) * rng.Int64N(1+base.content/4)
		spec := cadence.InterleaveSpec{Blank: int(blank), Offset: base.at(base.on), Settle: base.at(base.settle)}
		shoots := make([]shoot, cameras)
		for i := range shoots {
			s := base
			s.rows = 1 + rng.Int64N(4)
			s.rowTime = 2 * rng.Int64N(1+base.content/(4*s.rows))
			s.exposure = 2 * (1 + rng.Int64N(base.content/2))
			s.offset = base.on + 2*rng.Int64N(base.period)
			if rng.IntN(2) == 0 {
				s.offset = base.on + int64(i)*base.content + base.settle
			}
			shoots[i] = s
			spec.Cameras = append(spec.Cameras, s.camera())
		}
		got := trial.Must(cadence.Interleave(spec))
		assert.Equal(t, base.contentRate(), got.Content)
		assert.Equal(t, base.rate, got.Flicker)
		// alone says whether camera i sees its own content only, moved by so many ticks.
		alone := func(i int, move int64) bool {
			s := shoots[i]
			s.offset += move
			all := map[int64]bool{}
			for _, saw := range s.seen(0) {
				maps.Copy(all, saw)
			}
			for m := range all {
				return len(all) == 1 && ((m-int64(i))%slots+slots)%slots == 0
			}
			return false
		}
		for i, slot := range got.Slots {
			s := shoots[i]
			margin := trial.Rat(slot.Margin)
			ref.Equal(t, "T-CADENCE-SLOT", margin.Sign() >= 0, alone(i, 0), s, i)
			if alone(i, 0) {
				own++
				move := int64(1)
				for ; alone(i, move) && alone(i, -move); move++ {
				}
				ref.Equal(t, "T-CADENCE-SLOT", slot.Margin, s.at(move-1), s, i)
			} else {
				other++
			}
			span := (s.rows-1)*s.rowTime + s.exposure
			ref.Equal(t, "T-CADENCE-SLOT", slot.LongestExposure, s.at(base.content-base.settle-(s.rows-1)*s.rowTime), s, i)
			ref.Equal(t, "T-CADENCE-SLOT", [2]timing.Seconds{slot.On, slot.Off}, [2]timing.Seconds{s.at(s.on + int64(i)*s.content + s.settle), s.at(s.on + int64(i+1)*s.content)}, s, i)
			// Moved by Shift it has as much room before as after, and moved less than half a cycle.
			moved := spec
			moved.Cameras = append([]timing.ReadoutSpec(nil), spec.Cameras...)
			moved.Cameras[i].Offset = trial.Must(moved.Cameras[i].Offset.Add(slot.Shift))
			again := trial.Must(cadence.Interleave(moved)).Slots[i]
			ref.Equal(t, "T-CADENCE-SLOT", again.Shift, timing.Seconds{}, s, i)
			ref.Equal(t, "T-CADENCE-SLOT", again.Margin, trial.Must(s.at(base.content-base.settle-span).Scale(1, 2)), s, i)
			assert.LessOrEqual(t, max(slot.Shift.Time(), -slot.Shift.Time()), s.at(base.period).Time()/2)
			if again.Margin.Compare(timing.Seconds{}) >= 0 {
				shifted++
			}
		}
	}
	assert.Greater(t, min(own, other, shifted), 30)
}

func TestRefused(t *testing.T) {
	good := cadence.PlaybackSpec{
		Camera:  timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Phase: timing.Leading, Rows: 2160, RowTime: trial.Seconds(1, 270000)},
		Content: trial.Rate(24, 1),
	}
	p := trial.Must(cadence.NewPlayback(good))
	assert.Equal(t, p, trial.Must(cadence.NewPlayback(good)))
	for want, change := range map[string]func(*cadence.PlaybackSpec){
		"camera: sync: rate: must be set\ncadence: content rate: must be set":                   func(s *cadence.PlaybackSpec) { s.Camera.Rate, s.Content = timing.Rate{}, timing.Rate{} },
		"cadence: content rate 24001: must be at most 1000 times the camera's, 24":              func(s *cadence.PlaybackSpec) { s.Content = trial.Rate(24001, 1) },
		"cadence: settle -1/9 s: must be at least 0 s":                                          func(s *cadence.PlaybackSpec) { s.Settle = trial.Seconds(-1, 9) },
		"cadence: settle 1/23 s: must be at most the period of the content, 1/24 s":             func(s *cadence.PlaybackSpec) { s.Settle = trial.Seconds(1, 23) },
		"camera: sync: rows 0: must be at least 1 and at most 16777216\ncadence: settle -1/9 s": func(s *cadence.PlaybackSpec) { s.Camera.Rows, s.Settle = 0, trial.Seconds(-1, 9) },
	} {
		spec := good
		change(&spec)
		err := trial.Second(cadence.NewPlayback(spec))
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, cadence.ErrInvalid)
	}
	limit := good
	limit.Content = trial.Rate(24000, 1)
	require.NoError(t, trial.Second(cadence.NewPlayback(limit)))
	assert.EqualError(t, trial.Second(cadence.Playback{}.Frame(0)), "cadence: playback: must be set")
	assert.EqualError(t, trial.Second(cadence.Playback{}.Count(0, 1)), "cadence: playback: must be set")
	assert.ErrorContains(t, trial.Second(p.Frame(math.MaxInt64)), "frame 9223372036854775807: sync: frame 9223372036854775807: the times of its rows must fit")
	slow := good
	slow.Camera.Rate, slow.Content, slow.Camera.RowTime, slow.Camera.Exposure = trial.Rate(1, 1), trial.Rate(1, 1), timing.Seconds{}, trial.Seconds(1, 1)
	assert.EqualError(t, trial.Second(trial.Must(cadence.NewPlayback(slow)).Frame(math.MinInt64)), "cadence: frame -9223372036854775808: must have a frame before it")
	for _, frames := range [][2]int64{{0, -1}, {0, 1<<40 + 1}, {math.MaxInt64, 1}, {math.MinInt64, 1}} {
		assert.ErrorContains(t, trial.Second(p.Count(frames[0], frames[1])), "must be at least 0 and at most 1099511627776, and their numbers must fit int64")
	}
	assert.Equal(t, cadence.Counts{}, trial.Must(p.Count(5, 0)))
	long := good
	long.Content = trial.Rate(math.MaxInt32, 1<<20*24+1)
	for _, frames := range []string{"262145", "603979800"} {
		n := trial.Must(strconv.ParseInt(frames, 10, 64))
		assert.EqualError(t, trial.Second(trial.Must(cadence.NewPlayback(long)).Count(0, n)), "cadence: frames "+frames+": must be at most 262144, since all happens again only after 603979800")
	}

	assert.ErrorContains(t, trial.Second(cadence.ChangeWindow(timing.ReadoutSpec{}, trial.Seconds(-1, 2))), "\ncadence: settle -1/2 s: must be at least 0 s")
	assert.ErrorContains(t, trial.Second(cadence.ChangeWindow(good.Camera, trial.Seconds(1, math.MaxInt64))), "window: sync: time")

	shared := cadence.InterleaveSpec{Cameras: []timing.ReadoutSpec{good.Camera, good.Camera}}
	most := cadence.InterleaveSpec{Cameras: make([]timing.ReadoutSpec, 64), Blank: 64}
	for i := range most.Cameras {
		most.Cameras[i] = good.Camera
	}
	assert.Equal(t, trial.Rate(24*128, 1), trial.Must(cadence.Interleave(most)).Content)
	other := good.Camera
	other.Rate = trial.Rate(25, 1)
	for want, change := range map[string]func(*cadence.InterleaveSpec){
		"cadence: cameras 0: must be at least 1 and at most 64":                     func(s *cadence.InterleaveSpec) { s.Cameras = nil },
		"cadence: cameras 65: must be at least 1 and at most 64":                    func(s *cadence.InterleaveSpec) { s.Cameras = make([]timing.ReadoutSpec, 65) },
		"cadence: blank 65: must be at least 0 and at most 64":                      func(s *cadence.InterleaveSpec) { s.Blank = 65 },
		"cadence: settle -1/9 s: must be at least 0 s":                              func(s *cadence.InterleaveSpec) { s.Settle = trial.Seconds(-1, 9) },
		"cadence: settle 1/47 s: must be at most the period of the content, 1/48 s": func(s *cadence.InterleaveSpec) { s.Settle = trial.Seconds(1, 47) },
		"cadence: camera 1 25: must run at the rate of camera 0, 24":                func(s *cadence.InterleaveSpec) { s.Cameras = []timing.ReadoutSpec{good.Camera, other} },
		"camera 0: sync: rate: must be set":                                         func(s *cadence.InterleaveSpec) { s.Cameras = make([]timing.ReadoutSpec, 1) },
		"camera 0: sync: time":                                                      func(s *cadence.InterleaveSpec) { s.Offset = trial.Seconds(1, math.MaxInt64) },
		"content: sync: rate 2147483647 · 2/1: both numbers must be at most": func(s *cadence.InterleaveSpec) {
			fast := timing.ReadoutSpec{Rate: trial.Rate(math.MaxInt32, 1), Exposure: trial.Seconds(1, math.MaxInt32), Phase: timing.Leading, Rows: 1}
			s.Cameras = []timing.ReadoutSpec{fast, fast}
		},
	} {
		spec := shared
		change(&spec)
		err := trial.Second(cadence.Interleave(spec))
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, cadence.ErrInvalid)
	}
}

func TestJSON(t *testing.T) {
	written := trial.Must(json.Marshal(cadence.View{Content: 3, First: 2, Last: 3, Tears: []cadence.Tear{{3, 10, 20}}}))
	assert.Equal(t, `{"Content":3,"First":2,"Last":3,"Repeated":false,"Skipped":0,"Tears":[{"Content":3,"First":10,"Last":20}]}`, string(written))
	for _, want := range []any{&cadence.PlaybackSpec{}, &cadence.RetimeSpec{}, &cadence.InterleaveSpec{Cameras: make([]timing.ReadoutSpec, 1)}, &cadence.Window{}, &cadence.RetimeSpec{
		Source: trial.Rate(24, 1), Output: trial.Rate(60000, 1001), Speed: trial.Seconds(-1, 2), Start: trial.Seconds(1, 120), Method: cadence.Blend,
	}} {
		text := trial.Must(json.Marshal(want))
		switch v := want.(type) {
		case *cadence.PlaybackSpec:
			roundTrip(t, text, *v)
		case *cadence.RetimeSpec:
			roundTrip(t, text, *v)
		case *cadence.InterleaveSpec:
			roundTrip(t, text, *v)
		case *cadence.Window:
			roundTrip(t, text, *v)
		}
	}
}

func roundTrip[T any](t *testing.T, text []byte, want T) {
	t.Helper()
	var got T
	require.NoError(t, json.Unmarshal(text, &got))
	assert.Equal(t, want, got)
}
