package recording_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/recording"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func offload(t testing.TB, spec recording.OffloadSpec) recording.Offload {
	t.Helper()
	o, err := recording.NewOffload(spec)
	require.NoError(t, err)
	return o
}

// copied moves the bytes of media a step at a time: each reader gives some of the medium
// in it, the link carries as many as there are copies of them, each store takes some. A
// reader whose medium is empty gets the next one.
func copied(s recording.OffloadSpec, media int, bytes float64) (copying, verifying float64) {
	carried := math.Inf(1)
	if s.LinkBytesPerSecond != 0 {
		carried = s.LinkBytesPerSecond
	}
	const step = 0.01
	waiting := media
	readers := make([]float64, s.Readers) // bytes left on the medium in each
	for ; ; copying += step {
		busy := 0
		for i := range readers {
			if readers[i] <= 1e-9*bytes && waiting > 0 {
				readers[i] = bytes / float64(media)
				waiting--
			}
			if readers[i] > 1e-9*bytes {
				busy++
			}
		}
		if busy == 0 {
			break
		}
		read := float64(busy) * s.ReadBytesPerSecond * step
		sent := 0.0
		for range s.Copies {
			sent += min(read, s.WriteBytesPerSecond*step)
		}
		sent = min(sent, carried*step)
		for i := range readers {
			if readers[i] > 1e-9*bytes {
				readers[i] -= sent / float64(s.Copies*busy)
			}
		}
	}
	if s.VerifyBytesPerSecond == 0 {
		return copying, 0
	}
	for left := bytes * float64(s.Copies); left > 1e-9*bytes; verifying += step {
		back := 0.0
		for range s.Copies {
			back += s.VerifyBytesPerSecond * step
		}
		left -= min(back, carried*step)
	}
	return copying, verifying
}

func TestOffloadByCopying(t *testing.T) {
	for _, tc := range []struct {
		media        int
		spec         recording.OffloadSpec
		copy, verify recording.Limit
	}{
		{4, recording.OffloadSpec{Readers: 1, ReadBytesPerSecond: 400, Copies: 2, WriteBytesPerSecond: 900, VerifyBytesPerSecond: 1000}, recording.Readers, recording.Stores},
		{4, recording.OffloadSpec{Readers: 4, ReadBytesPerSecond: 400, Copies: 2, WriteBytesPerSecond: 900}, recording.Stores, recording.NoLimit},
		{4, recording.OffloadSpec{Readers: 4, ReadBytesPerSecond: 400, Copies: 3, WriteBytesPerSecond: 900, VerifyBytesPerSecond: 1000, LinkBytesPerSecond: 1200}, recording.Link, recording.Link},
		{4, recording.OffloadSpec{Readers: 1, ReadBytesPerSecond: 100, Copies: 2, WriteBytesPerSecond: 900, VerifyBytesPerSecond: 150, LinkBytesPerSecond: 1200}, recording.Readers, recording.Stores},
		// Readers without a medium: three of four, two and five of eight, and three of four in a second round.
		{1, recording.OffloadSpec{Readers: 4, ReadBytesPerSecond: 400, Copies: 2, WriteBytesPerSecond: 900}, recording.Readers, recording.NoLimit},
		{6, recording.OffloadSpec{Readers: 8, ReadBytesPerSecond: 100, Copies: 1, WriteBytesPerSecond: 900}, recording.Readers, recording.NoLimit},
		{3, recording.OffloadSpec{Readers: 8, ReadBytesPerSecond: 400, Copies: 1, WriteBytesPerSecond: 900}, recording.Stores, recording.NoLimit},
		{5, recording.OffloadSpec{Readers: 4, ReadBytesPerSecond: 400, Copies: 2, WriteBytesPerSecond: 900}, recording.Readers, recording.NoLimit},
	} {
		const bytes = 72000
		copying, verifying := copied(tc.spec, tc.media, bytes)
		got, ok := offload(t, tc.spec).Time(tc.media, bytes)
		require.True(t, ok)
		ref.Near(t, "S-OFFLOAD", float64(got.Copy), copying, tc)
		ref.Near(t, "S-OFFLOAD", float64(got.Verify), verifying, tc)
		assert.Equal(t, [2]recording.Limit{tc.copy, tc.verify}, [2]recording.Limit{got.CopyLimit, got.VerifyLimit})
		text, err := json.Marshal(got)
		require.NoError(t, err)
		assert.Contains(t, string(text), `"CopyLimit":"`+tc.copy.String()+`"`)
		for _, bad := range []float64{-1, 1e31, math.NaN(), math.Inf(1)} {
			got, ok := offload(t, tc.spec).Time(tc.media, bad)
			assert.True(t, !ok && got == recording.OffloadTime{}, bad)
		}
		for _, bad := range []int{-1, 0, 1e9 + 1} {
			got, ok := offload(t, tc.spec).Time(bad, bytes)
			assert.True(t, !ok && got == recording.OffloadTime{}, bad)
		}
	}
	_, err := recording.NewOffload(recording.OffloadSpec{Readers: -1, VerifyBytesPerSecond: -1, LinkBytesPerSecond: math.NaN()})
	assert.EqualError(t, err, `recording: readers -1: must be at least 1 and at most 1000
recording: rate of a reader 0 B/s: must be at least 1 B/s and at most 1e+15 B/s
recording: copies 0: must be at least 1 and at most 100
recording: rate of writing 0 B/s: must be at least 1 B/s and at most 1e+15 B/s
recording: rate of verification -1 B/s: must be at least 1 B/s and at most 1e+15 B/s
recording: rate of the link NaN B/s: must be at least 1 B/s and at most 1e+15 B/s`)
	assert.ErrorIs(t, err, recording.ErrInvalid)
}

// lived goes through a day second by second, with people who carry sets of media
// about. A camera writes one unit of data a second, a medium holds room of them, and
// the station copies and verifies so many units a second.
func lived(takes [][2]int, sets, room, swap int, copying, verifying float64) (day recording.Day) {
	type place struct {
		where string // camera, to station, queue, to camera, box
		since int
		data  float64
		turns int
	}
	all := make([]place, sets)
	for i := range all {
		all[i] = place{where: "box", since: -1 << 30}
	}
	all[0].where = "camera"
	inCamera, coming := 0, -1 // −1: none
	next, end := 0, 0         // the take to come, and the end of the one before
	over, waiting := false, -1
	working, toCopy, toVerify := -1, 0.0, 0.0
	fresh := true
	for now := 0; ; now++ {
		// At the cameras.
		if !over && inCamera >= 0 && now == end {
			switch {
			case next == len(takes):
				over = true
			case takes[next][1] > room:
				day.Limit, day.Short = recording.TakeTooLong, unit.Time(takes[next][1]-room)
				over = true
			}
			if data := all[inCamera].data; over && data > 0 || !over && data+float64(takes[next][1]) > float64(room) {
				all[inCamera].where, all[inCamera].since = "to station", now
				inCamera = -1
			}
		}
		if !over && inCamera < 0 && coming < 0 {
			for i, p := range all { // the one that has been in the box for longest
				if p.where == "box" && (coming < 0 || p.since < all[coming].since) {
					coming = i
				}
			}
			if coming >= 0 {
				if all[coming].since > end {
					waiting = coming // it was not free when the cameras were
				}
				all[coming].where, all[coming].since = "to camera", now
			}
		}
		if coming >= 0 && all[coming].since+swap <= now {
			inCamera, coming = coming, -1
			all[inCamera].where = "camera"
			if !over && next < len(takes) && now > takes[next][0] { // too late
				day.Limit, day.Short = recording.NoTimeToSwap, unit.Time(now-takes[next][0])
				if waiting == inCamera {
					day.Limit = recording.NoFreeMedium
				}
				over = true
			}
		}
		if !over && inCamera >= 0 && next < len(takes) && now == takes[next][0] {
			p := &all[inCamera]
			for range takes[next][1] {
				p.data++
			}
			end = now + takes[next][1]
			day.Recorded = append(day.Recorded, recording.RecordedTake{Set: inCamera, Turn: p.turns, Left: unit.Time(room) - unit.Time(p.data)})
			fresh = fresh && p.turns == 0
			if fresh {
				day.Fresh++
			}
			next++
		}
		// At the station, in the second from now on.
		if working < 0 {
			for i, p := range all {
				if p.where == "to station" && p.since+swap <= now && (working < 0 || p.since < all[working].since) {
					working = i
				}
			}
			if working >= 0 {
				toCopy, toVerify = all[working].data, all[working].data
				if verifying == 0 {
					toVerify = 0
				}
			}
		}
		if working >= 0 {
			if toCopy > 0 {
				toCopy -= copying
			} else {
				toVerify -= verifying
			}
			if toCopy <= 0 && toVerify <= 0 {
				p := &all[working]
				p.where, p.since, p.data, p.turns = "box", now+1, 0, p.turns+1
				day.Done = unit.Time(now + 1)
				working = -1
			}
		}
		if over {
			moving := working >= 0
			for _, p := range all {
				moving = moving || p.where == "to station"
			}
			if !moving {
				break
			}
		}
	}
	day.OK = day.Limit == recording.NoLimit
	return day
}

func TestScheduleByLivingThroughDays(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	seen := map[recording.Limit]int{}
	reused := 0
	for range 1500 {
		room := 8 * (2 + random.IntN(10))
		sets, swap := 1+random.IntN(4), random.IntN(6)
		copying, verifying := []float64{0.5, 1, 2, 4}[random.IntN(4)], []float64{0, 0.5, 1, 4}[random.IntN(4)]
		var takes [][2]int
		var schedule []recording.Take
		now := random.IntN(10)
		for range 1 + random.IntN(12) {
			length := 8 * (1 + random.IntN(4))
			takes = append(takes, [2]int{now, length})
			schedule = append(schedule, recording.Take{Start: unit.Time(now), Length: unit.Time(length)})
			now += length + random.IntN(60)
		}
		const cameras, unitBytes = 3, 1000.
		rec := made(t, recording.Spec{
			Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1},
			CameraBytesPerSecond: unitBytes, Cameras: cameras,
		})
		spec := recording.DaySpec{
			Recording: rec, Takes: schedule, Sets: sets, MediumBytes: unitBytes * float64(room), Swap: unit.Time(swap),
			Offload: offload(t, recording.OffloadSpec{
				ReadBytesPerSecond: unitBytes * cameras * copying, Copies: 2, WriteBytesPerSecond: 1e9, VerifyBytesPerSecond: unitBytes * cameras * verifying,
			}),
		}
		got, err := recording.Schedule(spec)
		require.NoError(t, err)
		want := lived(takes, sets, room, swap, copying, verifying)
		ref.Near(t, "S-SCHEDULE", float64(got.Done), float64(want.Done), takes)
		ref.Near(t, "S-SCHEDULE", float64(got.Short), float64(want.Short), takes)
		diff := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-9))
		require.Empty(t, diff, "takes %v, %d sets of %d, swap %d, copying %v, verifying %v", takes, sets, room, swap, copying, verifying)
		// The hour from which times count makes no difference.
		const earlier = 100000
		for i := range schedule {
			schedule[i].Start -= earlier
		}
		shifted, err := recording.Schedule(spec)
		require.NoError(t, err)
		if got.Done != 0 {
			shifted.Done += earlier
		}
		require.Empty(t, cmp.Diff(got, shifted, cmpopts.EquateApprox(0, 1e-9)))

		seen[got.Limit]++
		if got.Fresh < len(got.Recorded) {
			reused++
		}
	}
	for limit, least := range map[recording.Limit]int{recording.NoLimit: 100, recording.NoFreeMedium: 100, recording.NoTimeToSwap: 50, recording.TakeTooLong: 50} {
		assert.GreaterOrEqual(t, seen[limit], least, limit)
	}
	assert.GreaterOrEqual(t, reused, 100, "days on which media are used again")
}

// Each camera has one medium, so that more readers than cameras are of no use.
func TestScheduleKnowsHowManyMediaThereAreToRead(t *testing.T) {
	rec := made(t, recording.Spec{
		Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1},
		CameraBytesPerSecond: 200, Cameras: 3,
	})
	for readers, copying := range map[int]float64{1: 3 * 120, 2: 2 * 120, 3: 120, 8: 120} { // a medium takes 120 s
		day, err := recording.Schedule(recording.DaySpec{
			Recording: rec, Takes: []recording.Take{{Start: 0, Length: 60}}, Sets: 1, MediumBytes: 1e6,
			Offload: offload(t, recording.OffloadSpec{Readers: readers, ReadBytesPerSecond: 100, Copies: 1, WriteBytesPerSecond: 1e9}),
		})
		require.NoError(t, err)
		assert.InDelta(t, 60+copying, float64(day.Done), 1e-9, "%d readers", readers)
	}
}

func TestSchedulesThatAreErrors(t *testing.T) {
	rec := made(t, recording.Spec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1}})
	sound := recording.DaySpec{
		Recording: rec, Takes: []recording.Take{{Start: 0, Length: 60}, {Start: 60, Length: 60}}, Sets: 2, MediumBytes: 1e12,
		Offload: offload(t, recording.OffloadSpec{ReadBytesPerSecond: 1e9, Copies: 2, WriteBytesPerSecond: 1e9}),
	}
	day, err := recording.Schedule(sound)
	require.NoError(t, err)
	assert.True(t, day.OK, "takes may touch")
	for want, change := range map[string]func(*recording.DaySpec){
		"recording: recording Recording{}: must come from New":                                    func(s *recording.DaySpec) { s.Recording = recording.Recording{} },
		"recording: off-load Offload{}: must come from NewOffload":                                func(s *recording.DaySpec) { s.Offload = recording.Offload{} },
		"recording: sets of media 0: must be at least 1 and at most 1000":                         func(s *recording.DaySpec) { s.Sets = 0 },
		"recording: medium NaN B: must be at least 1 B and at most 1e+30 B":                       func(s *recording.DaySpec) { s.MediumBytes = math.NaN() },
		"recording: swap -1 s: must be at least 0 s and at most 277.778 h":                        func(s *recording.DaySpec) { s.Swap = -1 },
		"recording: takes 0: must be at least 1 and at most 100000":                               func(s *recording.DaySpec) { s.Takes = nil },
		"recording: take 1, start 59 s: must not be before the end of the one before, 1 min":      func(s *recording.DaySpec) { s.Takes = []recording.Take{{0, 60}, {59, 60}, {0, -1}} },
		"recording: take 0, length 0 s: must be at least 1 ms and at most 277778 h":               func(s *recording.DaySpec) { s.Takes = []recording.Take{{0, 0}, {59, 60}} },
		"recording: take 0, start 2.77778e+06 h: must be at least -277778 h and at most 277778 h": func(s *recording.DaySpec) { s.Takes = []recording.Take{{1e10, 60}} },
	} {
		spec := sound
		change(&spec)
		day, err := recording.Schedule(spec)
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, recording.ErrInvalid)
		assert.Zero(t, day)
	}
}
