package trace_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	tr := trace.Trace{Rate: trial.Rate(24, 1), Values: newLight(rand.New(rand.NewPCG(1, 1)), 20).record(0, 24, 0.02, 0, 400)}
	frame := trace.Plane[float32]{Pix: make([]float32, 64*64), Width: 64, Height: 64}
	rows := trace.RowTimeSpec{Spacing: 4, Light: trial.Rate(1000, 1), To: 0.001}
	hostile.Calls(t, []any{tr, unit.Time(3), frame, trace.WatchSpec{Noise: 0.1}, rows, []int64{1, 2, 4},
		trial.Must(trace.NewWatcher[float32](trace.WatchSpec{})), &trace.Watcher[float32]{}, trace.Torn, new(trace.ShiftMeter[float32]), make([]trace.Shift, 70), tr.Rate},
		trace.MeasureOffset, trace.MeasureDrift, trace.MeasureRowTime, trace.FindJumps, trace.MeasureVibration, trace.FindGaps, (*trace.ShiftMeter[float32]).Add, trace.NewWatcher[float32],
		(*trace.Watcher[float32]).Add, (*trace.Watcher[float32]).Means, (*trace.Watcher[float32]).Changes, (*trace.Watcher[float32]).Report,
		trace.Kind.String, trace.Kind.MarshalText, trace.Finding.String)
}

func TestWatcherRefuses(t *testing.T) {
	w, err := trace.NewWatcher[float32](trace.WatchSpec{})
	require.NoError(t, err)
	frame := func(side int) trace.Plane[float32] {
		return trace.Plane[float32]{Pix: make([]float32, side*side), Width: side, Height: side}
	}
	require.NoError(t, w.Add(frame(20)))
	bad := frame(20)
	bad.Pix[20*3] = -2e6
	assert.ErrorContains(t, w.Add(bad), "frame 1, row 3 a sample: must be finite")
	assert.ErrorContains(t, w.Add(frame(21)), "frame 1 21 × 21 px: must be 20 × 20 px")
	assert.ErrorContains(t, w.Add(frame(15)), "at least 16")
	assert.Equal(t, 1, w.Report().Frames, "a refused frame does not count")
	_, err = trace.NewWatcher[float32](trace.WatchSpec{Noise: -0.1})
	assert.ErrorContains(t, err, "noise -0.1 of full scale")
}
