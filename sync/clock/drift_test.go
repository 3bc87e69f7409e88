package clock_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// TestFramesOfDrift runs a right clock and one that is off, frame by frame, until one is
// whole frames ahead.
func TestFramesOfDrift(t *testing.T) {
	for _, r := range []timing.Rate{trial.Rate(24, 1), trial.Rate(30000, 1001)} {
		for _, ppm := range []int64{10, -10, 50, -50, 400} {
			num, den := r.Ratio()
			right, wrong := den*(1_000_000+ppm), den*1_000_000 // periods, in 1/(num·(10⁶ + ppm)) s
			for ahead := int64(1); ahead <= 3; ahead++ {
				// Frame 0 of the slow clock and frame ahead of the fast one.
				a, b := int64(0), ahead*min(right, wrong)
				for b > a {
					a, b = a+max(right, wrong), b+min(right, wrong)
				}
				elapsed := float64(a) / float64(num*(1_000_000+ppm))
				drift := trial.Must(clock.DriftTime(clock.DriftSpec{
					Rate: r, Recorders: []clock.Recorder{{PPM: float64(ppm)}, {}}, Limits: clock.DriftLimits{Frames: float64(ahead)},
				}))
				ref.Near(t, "T-DRIFT", float64(drift.After), elapsed, r, ppm, ahead)
				assert.Equal(t, clock.Drifts, drift.State)
				assert.Equal(t, clock.LimitFrames, drift.Limit)
			}
		}
	}
}

// TestDriftWithinTolerances counts the ticks of oscillators of 1 MHz. Each second they
// give a whole number of ticks more or less, anywhere within their tolerances.
func TestDriftWithinTolerances(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		limit := 1 + rng.IntN(30_000) // µs
		ppm, tolerance, offset := [3]int{}, [3]int{}, [3]int{}
		spec := clock.DriftSpec{Limits: clock.DriftLimits{Time: unit.Time(limit) * unit.Micro}}
		for k := range 3 {
			ppm[k], tolerance[k], offset[k] = rng.IntN(21)-10, rng.IntN(6), rng.IntN(limit+2)-limit/2
			spec.Recorders = append(spec.Recorders, clock.Recorder{PPM: float64(ppm[k]), TolerancePPM: float64(tolerance[k]), Offset: unit.Time(offset[k]) * unit.Micro})
		}
		// The first second after which two clocks can be too far apart: every error of
		// one, against every error of another.
		first, pairs := math.MaxInt, map[[2]int]bool{}
		for i := range 3 {
			for k := i + 1; k < 3; k++ {
				for a := ppm[i] - tolerance[i]; a <= ppm[i]+tolerance[i]; a++ {
					for b := ppm[k] - tolerance[k]; b <= ppm[k]+tolerance[k]; b++ {
						apart := offset[i] - offset[k]
						for s := 0; s <= 40_000 && s <= first; s++ {
							if max(apart, -apart) > limit {
								if s < first {
									clear(pairs)
								}
								first, pairs[[2]int{i, k}] = s, true
								break
							}
							apart += a - b
						}
					}
				}
			}
		}
		drift := trial.Must(clock.DriftTime(spec))
		require.Equal(t, clock.LimitTime, drift.Limit)
		switch drift.State {
		case clock.Never:
			require.Equal(t, math.MaxInt, first)
		case clock.Past:
			require.Zero(t, first)
			require.True(t, pairs[drift.Pair])
		case clock.Drifts:
			if drift.After > 39_999 {
				continue
			}
			// Clocks pass the limit in the second before the first that finds them past it.
			ref.Near(t, "T-DRIFT-TICKS", float64(drift.After), float64(first)-0.5, spec)
			require.True(t, pairs[drift.Pair], "%v is not in %v", drift.Pair, pairs)
		}
	}
}

func TestLimitsOfDrift(t *testing.T) {
	spec := clock.DriftSpec{Rate: trial.Rate(25, 1), Recorders: []clock.Recorder{{PPM: 10}, {}}}
	for _, c := range []struct {
		limits clock.DriftLimits
		speed  float64
		which  clock.DriftLimit
		apart  unit.Time
	}{
		{clock.DriftLimits{Time: 0.01, Frames: 1, Phase: 360 * timing.Degree}, 0, clock.LimitTime, 0.01},
		{clock.DriftLimits{Time: 0.01, Frames: 0.2, Phase: 90 * timing.Degree}, 0, clock.LimitFrames, 0.008},
		{clock.DriftLimits{Phase: 90 * timing.Degree, Frames: 0.5}, 0, clock.LimitPhase, 0.01},
		{clock.DriftLimits{Phase: 90 * timing.Degree, Pixels: 2}, 400, clock.LimitPixels, 0.005},
		{clock.DriftLimits{Phase: 90 * timing.Degree, Pixels: 8}, 400, clock.LimitPhase, 0.01},
	} {
		spec.Limits, spec.PixelsPerSecond = c.limits, c.speed
		drift := trial.Must(clock.DriftTime(spec))
		assert.InEpsilon(t, float64(c.apart), float64(drift.Apart), 1e-15, c)
		assert.InEpsilon(t, float64(c.apart)*1e5, float64(drift.After), 1e-15, "10 ppm make 1 s of 10⁵ s")
		drift.Apart, drift.After = 0, 0
		assert.Equal(t, clock.Drift{State: clock.Drifts, Limit: c.which, Pair: [2]int{0, 1}}, drift, c)
	}
}

// Limits that are too small to be told from 0 s are limits all the same.
func TestSmallestLimits(t *testing.T) {
	spec := clock.DriftSpec{Rate: trial.Rate(100, 1), Recorders: []clock.Recorder{{PPM: 10}, {}}}
	for limits, which := range map[clock.DriftLimits]clock.DriftLimit{
		{Time: 5e-324}: clock.LimitTime, {Frames: 5e-324}: clock.LimitFrames, {Phase: 5e-324}: clock.LimitPhase, {Pixels: 5e-324, Time: 1}: clock.LimitPixels,
	} {
		spec.Limits, spec.PixelsPerSecond = limits, 0
		if limits.Pixels > 0 {
			spec.PixelsPerSecond = 100
		}
		drift := trial.Must(clock.DriftTime(spec))
		assert.Equal(t, []any{clock.Drifts, which}, []any{drift.State, drift.Limit}, limits)
	}
}

// One second is the limit, and ±1 s the offset.
func TestOffsetsOfDrift(t *testing.T) {
	at := func(ppm float64, offset unit.Time) clock.Drift {
		return trial.Must(clock.DriftTime(clock.DriftSpec{Recorders: []clock.Recorder{{PPM: ppm}, {Offset: -offset}}, Limits: clock.DriftLimits{Time: 1}}))
	}
	past := math.Nextafter(1, 2)
	for _, c := range []struct {
		ppm    float64
		offset unit.Time
		state  clock.DriftState
		after  float64
	}{
		{1e4, 0, clock.Drifts, 100}, {1e4, 0.5, clock.Drifts, 50}, {1e4, -0.5, clock.Drifts, 150}, {-1e4, 0.5, clock.Drifts, 150}, {-1e4, -0.5, clock.Drifts, 50},
		{1e4, 1, clock.Drifts, 0}, {-1e4, 1, clock.Drifts, 200}, {0, 1, clock.Never, 0}, {0, -1, clock.Never, 0}, {0.9e-9, 0, clock.Never, 0}, {-1e-9, 0, clock.Drifts, 1e15},
		{0, unit.Time(past), clock.Past, 0}, {-1e4, unit.Time(past), clock.Past, 0}, {1e4, -unit.Time(past), clock.Past, 0},
	} {
		got := at(c.ppm, c.offset)
		assert.Equal(t, c.state, got.State, c)
		assert.InEpsilon(t, 1+c.after, 1+float64(got.After), 1e-12, c)
	}
}

func TestDriftsRefused(t *testing.T) {
	good := func() clock.DriftSpec {
		return clock.DriftSpec{Rate: trial.Rate(24, 1), Recorders: make([]clock.Recorder, 2), Limits: clock.DriftLimits{Frames: 1, Pixels: 1}, PixelsPerSecond: 1}
	}
	beyond := math.Nextafter(1e5, math.Inf(1))
	for why, spoil := range map[string]func(*clock.DriftSpec){
		"rate: must be set":            func(s *clock.DriftSpec) { s.Rate = timing.Rate{} },
		"limits: must be set":          func(s *clock.DriftSpec) { s.Limits, s.PixelsPerSecond = clock.DriftLimits{}, 0 },
		"recorders 1":                  func(s *clock.DriftSpec) { s.Recorders = s.Recorders[1:] },
		"recorders 1001":               func(s *clock.DriftSpec) { s.Recorders = make([]clock.Recorder, 1001) },
		"recorder 1, clock error 1000": func(s *clock.DriftSpec) { s.Recorders[1].PPM = beyond },
		"recorder 0, clock error -100": func(s *clock.DriftSpec) { s.Recorders[0].PPM = -beyond },
		"clock error NaN":              func(s *clock.DriftSpec) { s.Recorders[0].PPM = math.NaN() },
		"recorder 0, tolerance -1 ppm": func(s *clock.DriftSpec) { s.Recorders[0].TolerancePPM = -1 },
		"recorder 0, tolerance 100000": func(s *clock.DriftSpec) { s.Recorders[0].TolerancePPM = beyond },
		"recorder 0, offset":           func(s *clock.DriftSpec) { s.Recorders[0].Offset = 1.1e9 },
		"recorder 1, offset -":         func(s *clock.DriftSpec) { s.Recorders[1].Offset = -1.1e9 },
		"time limit -1 s":              func(s *clock.DriftSpec) { s.Limits.Time = -1 },
		"frame limit -1 frames":        func(s *clock.DriftSpec) { s.Limits.Frames = -1 },
		"phase limit":                  func(s *clock.DriftSpec) { s.Limits.Phase = -1 },
		"pixel limit -1 px":            func(s *clock.DriftSpec) { s.Limits.Pixels = -1 },
		"pixels per second 0 px/s":     func(s *clock.DriftSpec) { s.PixelsPerSecond = 0 },
		"without a limit in pixels":    func(s *clock.DriftSpec) { s.Limits.Pixels = 0 },
	} {
		spec := good()
		spoil(&spec)
		drift, err := clock.DriftTime(spec)
		assert.ErrorIs(t, err, clock.ErrInvalid, why)
		assert.ErrorContains(t, err, why)
		assert.Zero(t, drift)
	}
	edge := good()
	edge.Recorders = []clock.Recorder{{PPM: 1e5, TolerancePPM: 1e5, Offset: -1e9}, {PPM: -1e5, Offset: 1e9}}
	assert.Equal(t, clock.Past, trial.Must(clock.DriftTime(edge)).State)
	edge = good()
	edge.Rate, edge.Limits.Frames, edge.Limits.Phase = timing.Rate{}, 0, 0
	require.NoError(t, trial.Second(clock.DriftTime(edge)), "pixels need no rate")
}
