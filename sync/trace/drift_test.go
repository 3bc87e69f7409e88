package trace_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDriftClosedLoop(t *testing.T) {
	near.NumbersOnly(t)
	var drift, start score
	for seed := range *seeds / 2 {
		r := rand.New(rand.NewPCG(uint64(seed), 5))
		scene := newLight(r, 140)
		from, ppm := r.Float64()*6-3, 200*r.NormFloat64()
		rb, fb := trial.Rate(24, 1), 24.0
		if seed%2 == 1 {
			rb, fb = trial.Rate(25, 1), 25.0
		}
		a := scene.record(5, 24, 0.5/24, 0, 24*120)
		b := scene.record(5+from, fb, 0.5/fb, ppm, int(fb)*120)
		spoil(r, a, 0.02)
		spoil(r, b, 0.02)
		d, err := trace.MeasureDrift(trace.Trace{Rate: trial.Rate(24, 1), Values: a}, trace.Trace{Rate: rb, Values: b}, 10)
		if err != nil {
			drift.refused++
			t.Logf("seed %d: %v", seed, err)
			continue
		}
		// Frame n of b is at from + n/fb·(1 + ppm/1e6): in a's time t, n/fb = (t − from)/(1 + ppm/1e6).
		k := ppm * 1e-6 / (1 + ppm*1e-6)
		drift.add(d.PPM, k*1e6, d.Error)
		start.add(float64(d.Start), from*(1-k), float64(d.StartError))
	}
	drift.check(t, "drift")
	start.check(t, "start")
	assert.LessOrEqual(t, drift.refused, *seeds/20)
}

func TestDriftRefuses(t *testing.T) {
	scene := newLight(rand.New(rand.NewPCG(1, 6)), 60).record(0, 25, 0.02, 0, 1500)
	tr := func(v []float64) trace.Trace { return trace.Trace{Rate: trial.Rate(25, 1), Values: v} }
	jumped := append(append([]float64(nil), scene[:700]...), scene[712:]...)
	_, err := trace.MeasureDrift(tr(scene), tr(jumped), 6)
	assert.ErrorContains(t, err, "must have offsets that change evenly")
	_, err = trace.MeasureDrift(tr(scene), tr(scene), 25)
	assert.ErrorContains(t, err, "windows 2: must be at least 5")
	_, err = trace.MeasureDrift(tr(scene), tr(scene), 2)
	assert.ErrorContains(t, err, "window 50 frames: must hold at least 64")
	many := func(n int) trace.Trace { return trace.Trace{Rate: trial.Rate(32, 1), Values: make([]float64, n)} }
	_, err = trace.MeasureDrift(many(64*10001), many(64), 2)
	assert.ErrorContains(t, err, "windows 10001: must be at most 10000")
	_, err = trace.MeasureDrift(tr(scene), tr(scene), 1)
	assert.ErrorContains(t, err, "window 1 s")
}

// Values of a smooth light, read from a closed form at times of both clocks.
func TestDriftOfExactTraces(t *testing.T) {
	scene := newLight(rand.New(rand.NewPCG(3, 7)), 130)
	scene.shadows = nil // no more than 3 Hz
	a := scene.record(0, 24, 0.02, 0, 24*120)
	b := scene.record(1, 24, 0.02, 100, 24*110)
	d, err := trace.MeasureDrift(trace.Trace{Rate: trial.Rate(24, 1), Values: a}, trace.Trace{Rate: trial.Rate(24, 1), Values: b}, 10)
	require.NoError(t, err)
	ref.Near(t, "T-OFFSET-DRIFT", d.PPM, 100/1.0001)
}
