package warp_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection/warp"
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
				if w, _ := c.Size(); coverage != (w > 0) {
					t.Errorf("coverage is %d px wide", w)
				}
				return nil
			}
			s.Options.Progress = func(done, total int) { steps = append(steps, fmt.Sprint(done, "/", total)) }
			if err := warp.RunSequence(t.Context(), s); err != nil {
				t.Fatal(err)
			}
			if want := []int{7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18}; !slices.Equal(written, want) {
				t.Errorf("written: %v", written)
			}
			if len(steps) != 12 || steps[11] != "12/12" {
				t.Errorf("progress: %v", steps)
			}
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
		if ahead := n - int(written.Load()); ahead > 4 {
			t.Errorf("frame %d is read, %d are written", n, written.Load())
		}
		close(reading[n])
		return read(ctx, n, into)
	}
	s.Write = func(ctx context.Context, n int, f frame16, _ frame32) error {
		select {
		case <-reading[min(n+2, count-1)]:
		case <-ctx.Done():
			return fmt.Errorf("frame %d is never read: %w", n+2, ctx.Err())
		}
		if int(f.Row(0)[0]) != n {
			t.Errorf("frame %d holds %d", n, f.Row(0)[0])
		}
		written.Add(1)
		return nil
	}
	if err := warp.RunSequence(ctx, s); err != nil {
		t.Error(err)
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
		if !errors.Is(err, errTape) || err.Error() != "warp: frame 105: "+what+": no space" {
			t.Errorf("%s: %v", what, err)
		}
		if reads > 6+4 || last > 105 {
			t.Errorf("%s: %d frames read, frame %d written last", what, reads, last)
		}
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
	if err := warp.RunSequence(t.Context(), s); !errors.Is(err, errTape) {
		t.Error(err)
	}
}

func TestSequenceCancelled(t *testing.T) {
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(t.Context())
	s := sequence(t, 0, 1000)
	s.Write = func(_ context.Context, n int, _ frame16, _ frame32) error {
		if n == 3 {
			cancel()
		}
		if n > 3 {
			t.Errorf("frame %d is written", n)
		}
		return nil
	}
	if err := warp.RunSequence(ctx, s); err != context.Canceled {
		t.Error(err)
	}
	s.Read = func(context.Context, int, []frame16) error { t.Error("read"); return nil }
	if err := warp.RunSequence(ctx, s); err != context.Canceled {
		t.Errorf("cancelled before: %v", err)
	}
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
		func() {
			defer func() {
				if got := recover(); got != what {
					t.Errorf("%s: recovered %v", what, got)
				}
			}()
			t.Errorf("%s: returned %v", what, warp.RunSequence(t.Context(), s))
		}()
		leavesNothing(t, before)
	}
	s := sequence(t, 0, 100)
	s.Read = func(context.Context, int, []frame16) error { runtime.Goexit(); return nil }
	if err := warp.RunSequence(t.Context(), s); err == nil || !strings.Contains(err.Error(), "read ended its goroutine") {
		t.Errorf("Goexit: %v", err)
	}
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
		"frame":     func(s *warp.Sequence[uint16]) { s.Layers[1].Frame = newFrame[uint16](t, 20, 20, 1) },
		"coverage":  func(s *warp.Sequence[uint16]) { s.Options.Coverage = newFrame[float32](t, 60, 20, 1) },
		"size":      func(s *warp.Sequence[uint16]) { s.Layers[1].Map = newMap(t, flat(61, 20), flat(20, 20)) },
		"gain":      func(s *warp.Sequence[uint16]) { s.Layers[1].Gain[2] = -1 },
	} {
		s := sequence(t, 0, 3)
		spoil(&s)
		if err := warp.RunSequence(t.Context(), s); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := warp.RunSequence(noContext, sequence(t, 0, 3)); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("no context: %v", err)
	}
}

func TestSequenceAllocatesNothingAFrame(t *testing.T) {
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	run := func(count int) float64 {
		s := sequence(t, 0, count)
		s.Coverage = true
		return testing.AllocsPerRun(3, func() {
			if err := warp.RunSequence(t.Context(), s); err != nil {
				t.Error(err)
			}
		})
	}
	if short, long := run(20), run(220); long-short > 40 {
		t.Errorf("%v allocations for 20 frames, %v for 220", short, long)
	}
}
