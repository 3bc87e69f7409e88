package motion_test

import (
	"encoding/json"
	"math"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/motion"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func pan() motion.StrobingSpec {
	return motion.StrobingSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Density: 96, Width: 3840, Speed: 12 * motion.Degree, BlurLimit: 8, GapLimit: 12}
}

// TestPanFrameByFrame follows a thing through frames, and its blur in small steps of time.
func TestPanFrameByFrame(t *testing.T) {
	for _, rate := range trial.Rates() {
		spec := pan()
		spec.Rate = rate
		spec.Exposure = trial.Must(rate.Period().Scale(2, 5))
		got := trial.Must(motion.Strobing(spec))
		place := func(t float64) float64 { return t * 12 * 96 } // px
		period := 1 / float64(rate.Frequency())
		ref.Near(t, "T-STROBE", got.Step, place(5*period)-place(4*period), rate)
		low, high := math.Inf(1), math.Inf(-1)
		for k := range 101 {
			x := place(3*period + 0.4*period*float64(k)/100)
			low, high = math.Min(low, x), math.Max(high, x)
		}
		ref.Near(t, "T-STROBE", got.Blur, high-low, rate)
		ref.Near(t, "T-STROBE", got.Gap, place(4*period)-high, rate)
		// The speeds at which the limits are reached, by trying them.
		for speed, what := range map[unit.Angle]func(motion.Strobe) float64{
			got.BlurSpeed:  func(s motion.Strobe) float64 { return s.Blur / 8 },
			got.GapSpeed:   func(s motion.Strobe) float64 { return s.Gap / 12 },
			got.GuideSpeed: func(s motion.Strobe) float64 { return float64(s.Crossing / s.GuideCrossing) },
		} {
			spec := spec
			spec.Speed = speed
			ref.Near(t, "T-STROBE", what(trial.Must(motion.Strobing(spec))), 1, rate)
		}
	}
	got := trial.Must(motion.Strobing(pan()))
	ref.Near(t, "T-STROBE-GUIDE", float64(got.GuideCrossing), 7)
	ref.Near(t, "T-STROBE-GUIDE", float64(got.GuideSpeed/motion.Degree), 40./7) // 3840 px are 40°
	ref.Near(t, "T-STROBE-GUIDE", float64(got.Crossing), 40./12)
}

func TestStrobingEnds(t *testing.T) {
	full := pan()
	full.Exposure = full.Rate.Period()
	got := trial.Must(motion.Strobing(full))
	assert.Zero(t, got.Gap)
	assert.Zero(t, got.GapSpeed)
	full.Speed = 0
	assert.Zero(t, trial.Must(motion.Strobing(full)).Crossing)
	full.Speed, full.Density = 1e-3*motion.Degree/1e6, 1e6
	assert.NotZero(t, trial.Must(motion.Strobing(full)).Crossing)
	full.Speed /= 2
	assert.Zero(t, trial.Must(motion.Strobing(full)).Crossing)

	for _, ends := range []motion.StrobingSpec{
		{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 1e9), Density: 1e-3, Width: 1, BlurLimit: 1e-3, GapLimit: 1e-3},
		{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 24), Density: 1e6, Width: 1 << 24, Speed: 720 * motion.Degree, BlurLimit: 1e6, GapLimit: 1e6},
	} {
		_, err := motion.Strobing(ends)
		assert.NoError(t, err)
	}

	text, err := json.Marshal(pan())
	require.NoError(t, err)
	var back motion.StrobingSpec
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, pan(), back)

	for want, change := range map[string]func(*motion.StrobingSpec){
		"rate: must be set":                           func(s *motion.StrobingSpec) { s.Rate = timing.Rate{} },
		"exposure 1/23 s: must be at most the period": func(s *motion.StrobingSpec) { s.Exposure = trial.Seconds(1, 23) },
		"exposure 0 s: must be at least":              func(s *motion.StrobingSpec) { s.Exposure = timing.Seconds{} },
		"density 0 px/°: must be":                     func(s *motion.StrobingSpec) { s.Density = 0 },
		"width 0.5 px: must be":                       func(s *motion.StrobingSpec) { s.Width = 0.5 },
		"speed a second -1°: must be":                 func(s *motion.StrobingSpec) { s.Speed = -motion.Degree },
		"blur limit NaN px: must be":                  func(s *motion.StrobingSpec) { s.BlurLimit = math.NaN() },
		"gap limit 0 px: must be":                     func(s *motion.StrobingSpec) { s.GapLimit = 0 },
	} {
		spec := pan()
		change(&spec)
		_, err := motion.Strobing(spec)
		assert.ErrorIs(t, err, motion.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
}
