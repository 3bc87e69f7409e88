package warp_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type (
	frame16 = warp.Frame[uint16]
	frame32 = warp.Frame[float32]
)

// sequence is of two layers side by side, frame n of which are n and 2n.
func sequence(t testing.TB, first, count int) warp.Sequence[uint16] {
	target := flat(60, 20)
	return warp.Sequence[uint16]{
		First: first, Count: count, Channels: 1,
		Layers: []warp.Layer[uint16]{{Map: newMap(t, target, flat(30, 20))}, {Map: newMap(t, target, &offset{flat(20, 20), 30}), Gain: [4]float64{3}}},
		Read: func(_ context.Context, n int, into []frame16) error {
			for i, f := range into {
				w, h := f.Size()
				for y := range h {
					row := f.Row(y)
					for x := range w {
						row[x] = uint16(n * (i + 1))
					}
				}
			}
			return nil
		},
		Write: func(context.Context, int, frame16, frame32) error { return nil },
	}
}

// leavesNothing fails where goroutines outlive the test's work.
func leavesNothing(t *testing.T, before int) {
	t.Helper()
	for range 200 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(time.Millisecond) // those that have ended their work are still being taken down
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), before)
}

func TestSequenceWritesInOrder(t *testing.T) {
	for _, depth := range []int{0, 1, 2, 5} {
		for _, coverage := range []bool{false, true} {
			before := runtime.NumGoroutine()
			s := sequence(t, 7, 12)
			s.Depth, s.Coverage = depth, coverage
			var written []int
			var steps []string
			s.Write = func(_ context.Context, n int, f frame16, c frame32) error {
				written = append(written, n)
				for x, v := range f.Row(10) {
					want := 0
					switch {
					case x < 30:
						want = n
					case x < 50:
						want = 6 * n
					}
					if int(v) != want || coverage && (c.Row(10)[x] == 1) != (want > 0) {
						return fmt.Errorf("pixel %d is %d, want %d", x, v, want)
					}
				}
				w, _ := c.Size()
				assert.Equal(t, coverage, w > 0)
				return nil
			}
			s.Options.Progress = func(done, total int) { steps = append(steps, fmt.Sprint(done, "/", total)) }
			require.NoError(t, warp.RunSequence(t.Context(), s))
			assert.Equal(t, []int{7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18}, written)
			require.Len(t, steps, 12)
			assert.Equal(t, "12/12", steps[11])
			leavesNothing(t, before)
		}
	}
}

// TestSequenceOverlaps holds the writing of each frame until the one two later
// is being read, which would never be if one waited for the other.
func TestSequenceOverlaps(t *testing.T) {
	const count = 8
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	s := sequence(t, 0, count)
	reading := make([]chan struct{}, count)
	for i := range reading {
		reading[i] = make(chan struct{})
	}
	var written atomic.Int64
	read := s.Read
	s.Read = func(ctx context.Context, n int, into []frame16) error {
		// Two sets of sources and two targets: no more than four in flight.
		assert.LessOrEqual(t, n-int(written.Load()), 4, "frame %d is read", n)
		close(reading[n])
		return read(ctx, n, into)
	}
	s.Write = func(ctx context.Context, n int, f frame16, _ frame32) error {
		select {
		case <-reading[min(n+2, count-1)]:
		case <-ctx.Done():
			return fmt.Errorf("frame %d is never read: %w", n+2, ctx.Err())
		}
		assert.EqualValues(t, n, f.Row(0)[0])
		written.Add(1)
		return nil
	}
	require.NoError(t, warp.RunSequence(ctx, s))
}

// moving is a sequence whose source shows its column in each sample, and whose map
// for frame n begins at column n.
func moving(t testing.TB, first, count int) warp.Sequence[uint16] {
	s := sequence(t, first, count)
	s.Layers = make([]warp.Layer[uint16], 1)
	s.Read = func(_ context.Context, n int, into []frame16) error {
		paint(into[0], func(x, _, _ int) float64 { return float64(1000*n + x) })
		return nil
	}
	s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
		if layer != 0 {
			t.Errorf("asked for the map of layer %d", layer)
		}
		target := flat(40, 20)
		target.x0 = float64(n)
		return warp.NewMap(ctx, target, flat(100, 20), warp.MapOptions{})
	}
	return s
}

// TestSequenceTakesAMapPerFrame: each frame goes through its own map, whatever is
// held in memory, and maps are asked for in order.
func TestSequenceTakesAMapPerFrame(t *testing.T) {
	for _, depth := range []int{0, 1, 5} {
		before := runtime.NumGoroutine()
		s := moving(t, 7, 12)
		s.Depth = depth
		var asked, written []int
		makeMap := s.Map
		s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
			asked = append(asked, n)
			return makeMap(ctx, n, layer)
		}
		s.Write = func(_ context.Context, n int, f frame16, _ frame32) error {
			written = append(written, n)
			for x, v := range f.Row(10) {
				assert.EqualValues(t, 1000*n+n+x, v, "frame %d, column %d", n, x)
			}
			return nil
		}
		require.NoError(t, warp.RunSequence(t.Context(), s))
		want := []int{7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18}
		assert.Equal(t, want, asked)
		assert.Equal(t, want, written)
		leavesNothing(t, before)
	}
}

// TestSequenceMapsByLayer in order, with the priority of each layer kept.
func TestSequenceMapsByLayer(t *testing.T) {
	s := sequence(t, 3, 4)
	maps := []*warp.Map{s.Layers[0].Map, s.Layers[1].Map}
	s.Layers[0].Map, s.Layers[1].Map = nil, nil
	var asked []string
	s.Map = func(_ context.Context, n, layer int) (*warp.Map, error) {
		asked = append(asked, fmt.Sprint(n, "/", layer))
		return maps[layer], nil
	}
	s.Write = func(_ context.Context, n int, f frame16, _ frame32) error {
		assert.EqualValues(t, n, f.Row(3)[5])
		assert.EqualValues(t, 6*n, f.Row(3)[45])
		return nil
	}
	require.NoError(t, warp.RunSequence(t.Context(), s))
	assert.Equal(t, []string{"3/0", "3/1", "4/0", "4/1", "5/0", "5/1", "6/0", "6/1"}, asked)
	assert.Nil(t, s.Layers[0].Map, "the caller's layers are not written to")
}

// TestSequenceReadsWhileAMapIsMade holds the map of each frame until the next frame
// is being read, which would never be if reading waited for it.
func TestSequenceReadsWhileAMapIsMade(t *testing.T) {
	const count = 6
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	s := moving(t, 0, count)
	reading := make([]chan struct{}, count)
	for i := range reading {
		reading[i] = make(chan struct{})
	}
	read, makeMap := s.Read, s.Map
	s.Read = func(ctx context.Context, n int, into []frame16) error {
		close(reading[n])
		return read(ctx, n, into)
	}
	s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
		if n > 0 { // the first tells the size of the frames
			select {
			case <-reading[min(n+1, count-1)]:
			case <-ctx.Done():
				return nil, fmt.Errorf("frame %d is never read: %w", n+1, ctx.Err())
			}
		}
		return makeMap(ctx, n, layer)
	}
	require.NoError(t, warp.RunSequence(ctx, s))
}

// TestSequenceMapsThatFail end everything: with an error, none at all, another
// size, a panic, or a cancelled context.
func TestSequenceMapsThatFail(t *testing.T) {
	errTrack := errors.New("no tracking data")
	for _, at := range []int{100, 105} { // before the first frame is read, and later
		for name, tc := range map[string]struct {
			fail func(ctx context.Context) (*warp.Map, error)
			is   error
			say  string
		}{
			"error":       {func(context.Context) (*warp.Map, error) { return nil, errTrack }, errTrack, "map: no tracking data"},
			"none":        {func(context.Context) (*warp.Map, error) { return nil, nil }, warp.ErrInvalid, "layer 0: map none"},
			"zero":        {func(context.Context) (*warp.Map, error) { return new(warp.Map), nil }, warp.ErrInvalid, "layer 0: map none"},
			"source size": {func(context.Context) (*warp.Map, error) { return newMap(t, flat(40, 20), flat(101, 20)), nil }, warp.ErrInvalid, "source frame 100 × 20 px"},
			"target size": {func(context.Context) (*warp.Map, error) { return newMap(t, flat(40, 21), flat(100, 20)), nil }, warp.ErrInvalid, "target frame 40 × 20 px"},
		} {
			if at == 100 && strings.HasSuffix(name, "size") {
				continue // the first tells the size
			}
			before := runtime.NumGoroutine()
			s := moving(t, 100, 1000)
			makeMap, last := s.Map, 0
			s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
				if n == at {
					return tc.fail(ctx)
				}
				assert.Less(t, n, at, "%s: a map after the error", name)
				return makeMap(ctx, n, layer)
			}
			s.Write = func(_ context.Context, n int, _ frame16, _ frame32) error { last = n; return nil }
			err := warp.RunSequence(t.Context(), s)
			assert.ErrorIs(t, err, tc.is, name)
			assert.ErrorContains(t, err, fmt.Sprintf("frame %d: ", at), name)
			assert.ErrorContains(t, err, tc.say, name)
			assert.Less(t, last, at, name)
			leavesNothing(t, before)
		}

		before := runtime.NumGoroutine()
		s := moving(t, 100, 1000)
		makeMap := s.Map
		s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
			if n == at {
				panic("tracking")
			}
			return makeMap(ctx, n, layer)
		}
		assert.PanicsWithValue(t, "tracking", func() { warp.RunSequence(t.Context(), s) })
		leavesNothing(t, before)

		ctx, cancel := context.WithCancel(t.Context())
		s.Map = func(ctx context.Context, n, layer int) (*warp.Map, error) {
			if n == at {
				cancel()
				<-ctx.Done() // that given to Map ends too
				return nil, ctx.Err()
			}
			return makeMap(ctx, n, layer)
		}
		assert.Equal(t, context.Canceled, warp.RunSequence(ctx, s))
		leavesNothing(t, before)
	}
}

var errTape = errors.New("no space")

func TestSequenceStopsAtTheFirstError(t *testing.T) {
	for _, what := range []string{"read", "write"} {
		before := runtime.NumGoroutine()
		s := sequence(t, 100, 1000)
		reads, last := 0, 0
		read := s.Read
		s.Read = func(ctx context.Context, n int, into []frame16) error {
			reads++
			if what == "read" && n == 105 {
				return errTape
			}
			return read(ctx, n, into)
		}
		s.Write = func(_ context.Context, n int, _ frame16, _ frame32) error {
			last = n
			if what == "write" && n == 105 {
				return errTape
			}
			return nil
		}
		err := warp.RunSequence(t.Context(), s)
		assert.ErrorIs(t, err, errTape)
		assert.EqualError(t, err, "warp: frame 105: "+what+": no space")
		assert.LessOrEqual(t, reads, 6+4, what)
		assert.LessOrEqual(t, last, 105, what)
		leavesNothing(t, before)
	}
}

// TestSequenceErrorReachesTheOtherStage: a Read that waits hears that Write has
// failed, and its answer is not taken for the cause.
func TestSequenceErrorReachesTheOtherStage(t *testing.T) {
	s := sequence(t, 0, 10)
	read := s.Read
	s.Read = func(ctx context.Context, n int, into []frame16) error {
		if n == 1 {
			<-ctx.Done()
			return ctx.Err()
		}
		return read(ctx, n, into)
	}
	s.Write = func(context.Context, int, frame16, frame32) error { return errTape }
	assert.ErrorIs(t, warp.RunSequence(t.Context(), s), errTape)
}

func TestSequenceCancelled(t *testing.T) {
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(t.Context())
	s := sequence(t, 0, 1000)
	s.Write = func(_ context.Context, n int, _ frame16, _ frame32) error {
		if n == 3 {
			cancel()
		}
		assert.LessOrEqual(t, n, 3)
		return nil
	}
	assert.Equal(t, context.Canceled, warp.RunSequence(ctx, s))
	s.Read = func(context.Context, int, []frame16) error { t.Error("read"); return nil }
	assert.Equal(t, context.Canceled, warp.RunSequence(ctx, s), "cancelled before")
	leavesNothing(t, before)
}

// TestSequencePanicsGoOn in the goroutine of the caller.
func TestSequencePanicsGoOn(t *testing.T) {
	for _, what := range []string{"read", "write", "progress"} {
		before := runtime.NumGoroutine()
		s := sequence(t, 0, 100)
		read := s.Read
		s.Read = func(ctx context.Context, n int, into []frame16) error {
			if what == "read" && n == 4 {
				panic(what)
			}
			return read(ctx, n, into)
		}
		s.Write = func(_ context.Context, n int, _ frame16, _ frame32) error {
			if what == "write" && n == 4 {
				panic(what)
			}
			return nil
		}
		s.Options.Progress = func(done, _ int) {
			if what == "progress" && done == 4 {
				panic(what)
			}
		}
		assert.PanicsWithValue(t, what, func() { warp.RunSequence(t.Context(), s) })
		leavesNothing(t, before)
	}
	s := sequence(t, 0, 100)
	s.Read = func(context.Context, int, []frame16) error { runtime.Goexit(); return nil }
	assert.ErrorContains(t, warp.RunSequence(t.Context(), s), "read ended its goroutine")
}

func TestSequencesThatAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(s *warp.Sequence[uint16]){
		"none":      func(s *warp.Sequence[uint16]) { *s = warp.Sequence[uint16]{} },
		"count":     func(s *warp.Sequence[uint16]) { s.Count = 0 },
		"first":     func(s *warp.Sequence[uint16]) { s.First = math.MaxInt },
		"channels":  func(s *warp.Sequence[uint16]) { s.Channels = 5 },
		"depth":     func(s *warp.Sequence[uint16]) { s.Depth = -1 },
		"read":      func(s *warp.Sequence[uint16]) { s.Read = nil },
		"write":     func(s *warp.Sequence[uint16]) { s.Write = nil },
		"no layers": func(s *warp.Sequence[uint16]) { s.Layers = nil },
		"no map":    func(s *warp.Sequence[uint16]) { s.Layers[1].Map = nil },
		"frame":     func(s *warp.Sequence[uint16]) { s.Layers[1].Frame = newFrame[uint16](t, 21, 20, 1) },
		"coverage":  func(s *warp.Sequence[uint16]) { s.Options.Coverage = newFrame[float32](t, 60, 20, 1) },
		"two maps": func(s *warp.Sequence[uint16]) {
			s.Map = func(context.Context, int, int) (*warp.Map, error) { return s.Layers[0].Map, nil }
		},
		"size": func(s *warp.Sequence[uint16]) { s.Layers[1].Map = newMap(t, flat(61, 20), flat(20, 20)) },
		"gain": func(s *warp.Sequence[uint16]) { s.Layers[1].Gain[2] = -1 },
	} {
		s := sequence(t, 0, 3)
		spoil(&s)
		assert.ErrorIs(t, warp.RunSequence(t.Context(), s), warp.ErrInvalid, name)
	}
	assert.ErrorIs(t, warp.RunSequence(noContext, sequence(t, 0, 3)), warp.ErrInvalid)
	s := sequence(t, 0, 0)
	s.Channels, s.Depth, s.Write = 5, 65, nil
	err := warp.RunSequence(t.Context(), s)
	for _, name := range []string{"Count", "Channels", "Depth", "Write"} {
		assert.ErrorContains(t, err, name, "all faults at once")
	}
}

func TestSequenceAllocatesNothingAFrame(t *testing.T) {
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	maps := []*warp.Map{newMap(t, flat(60, 20), flat(80, 20)), newMap(t, turned(60, 20, 2, 0.3, 40, 10), flat(80, 20))}
	for _, changing := range []bool{false, true} {
		run := func(count int) float64 {
			s := sequence(t, 0, count)
			s.Coverage = true
			if changing { // between a map without a pyramid and one with
				s.Layers = s.Layers[:1]
				s.Layers[0].Map = nil
				s.Map = func(_ context.Context, n, _ int) (*warp.Map, error) { return maps[n%2], nil }
			}
			return testing.AllocsPerRun(3, func() { assert.NoError(t, warp.RunSequence(t.Context(), s)) })
		}
		short, long := run(20), run(220)
		assert.LessOrEqual(t, long-short, 40.0, "allocations for 200 frames more; maps change: %v", changing)
	}
}
