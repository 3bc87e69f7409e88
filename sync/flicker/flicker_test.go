package flicker_test

import (
	"math"
	"slices"
	"testing"

	"example.com/platewright/sync/flicker"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// wave samples one period of f, 16384 times from 0 on.
func wave(f func(x float64) float64) []float64 {
	s := make([]float64, 1<<14)
	for i := range s {
		s[i] = f(float64(i) / float64(len(s)))
	}
	return s
}

func TestFlickerOfWaveforms(t *testing.T) {
	for m, index := range map[float64]float64{0.1: 0.0318309886184, 0.5: 0.159154943092, 1: 0.318309886184} {
		s := wave(func(x float64) float64 { return 1 + m*math.Sin(2*math.Pi*x) })
		ref.Near(t, "T-INDEX", trial.Must(flicker.FlickerIndex(s)), index, m)
		ref.Near(t, "T-PERCENT-WAVES", trial.Must(flicker.PercentFlicker(s)), 100*m, m)
	}
	deep := map[float64][]float64{ // by their index
		0.210513662353: wave(func(x float64) float64 { return math.Abs(math.Sin(2 * math.Pi * x)) }),
		0.25:           wave(func(x float64) float64 { return math.Abs(2*x - 1) }),
	}
	for pulse, index := range map[int]float64{100: 0.9, 250: 0.75, 500: 0.5, 900: 0.1} { // samples of 1000
		deep[index] = append(slices.Repeat([]float64{40}, pulse), make([]float64, 1000-pulse)...)
	}
	for index, s := range deep {
		ref.Near(t, "T-INDEX", trial.Must(flicker.FlickerIndex(s)), index)
		ref.Near(t, "T-PERCENT-WAVES", trial.Must(flicker.PercentFlicker(s)), 100, index)
	}
	assert.InDelta(t, 50, trial.Must(flicker.PercentFlicker([]float64{3, 1, 2})), 1e-13, "four roundings")
	assert.Zero(t, trial.Must(flicker.PercentFlicker([]float64{5, 5, 5})))
}

// TestPeaksBetweenSamples holds the bound (π/n)²/2 of the swing at each peak.
func TestPeaksBetweenSamples(t *testing.T) {
	for _, n := range []int{4, 7, 16, 50} {
		bound, reached := math.Pow(math.Pi/float64(n), 2)/2, 0.0
		for phase := range 100 {
			s := make([]float64, n)
			for i := range s {
				s[i] = 1 + 0.5*math.Cos(2*math.Pi*(float64(i)+float64(phase)/100)/float64(n))
			}
			// Both peaks are short by at most bound·swing/2·2: (0.5(1−e) − −0.5(1−e))/2.
			short := 50 - trial.Must(flicker.PercentFlicker(s))
			assert.LessOrEqual(t, short, 100*bound+1e-9)
			reached = math.Max(reached, short)
		}
		assert.Greater(t, reached, 100*bound/5, "the bound is not idle")
	}
}

func TestFlickerIgnoresScaleAndStart(t *testing.T) {
	s := wave(func(x float64) float64 { return 2 + math.Sin(2*math.Pi*x) + 0.3*math.Cos(6*math.Pi*x) })
	percent, index := trial.Must(flicker.PercentFlicker(s)), trial.Must(flicker.FlickerIndex(s))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 4} {
		turned := make([]float64, len(s))
		for i := range s {
			turned[(i+777)%len(s)] = s[i] * scale
		}
		assert.InEpsilon(t, percent, trial.Must(flicker.PercentFlicker(turned)), 1e-12, "rounding of the scale")
		assert.InEpsilon(t, index, trial.Must(flicker.FlickerIndex(turned)), 1e-11, "rounding of the sums of 16384 samples")
	}
}

func TestFlickerRefuses(t *testing.T) {
	for _, bad := range [][]float64{nil, {1}, {0, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 1}, {1, math.Inf(1)}, {math.Inf(-1), 1}} {
		trial.Refused(t, flicker.ErrInvalid, trial.Second(flicker.PercentFlicker(bad)), trial.Second(flicker.FlickerIndex(bad)))
	}
}

func TestFlickerLimits(t *testing.T) {
	for _, tc := range []struct{ f, low, none float64 }{
		{100, 8, 3.33}, {120, 9.6, 3.996}, {50, 1.25, 0.5}, {90, 7.2, 2.997}, {1250, 100, 41.625}, {1251, 100, 41.6583}, {3000, 100, 99.9}, {3001, 100, 100}, {3840, 100, 100},
	} {
		low, none, err := flicker.FlickerLimits(unit.Frequency(tc.f))
		require.NoError(t, err)
		ref.Near(t, "T-LIMITS", low, tc.low, tc.f)
		ref.Near(t, "T-LIMITS", none, tc.none, tc.f)
	}
	for f := 1.0; f < 5000; f++ {
		low, none, err := flicker.FlickerLimits(unit.Frequency(f))
		require.NoError(t, err)
		assert.True(t, none <= low && low <= 100 && none > 0, "%v Hz: limits %v and %v", f, low, none)
	}
	for _, f := range []float64{0, -50, math.NaN(), math.Inf(1)} {
		_, _, err := flicker.FlickerLimits(unit.Frequency(f))
		assert.ErrorIs(t, err, flicker.ErrInvalid, f)
	}
}
