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
		ref.Near(t, "T-INDEX", trial.Must(flicker.Index(s)), index, m)
		ref.Near(t, "T-PERCENT-WAVES", trial.Must(flicker.Percent(s)), 100*m, m)
	}
	deep := map[float64][]float64{ // by their index
		0.210513662353: wave(func(x float64) float64 { return math.Abs(math.Sin(2 * math.Pi * x)) }),
		0.25:           wave(func(x float64) float64 { return math.Abs(2*x - 1) }),
	}
	for pulse, index := range map[int]float64{100: 0.9, 250: 0.75, 500: 0.5, 900: 0.1} { // samples of 1000
		deep[index] = append(slices.Repeat([]float64{40}, pulse), make([]float64, 1000-pulse)...)
	}
	for index, s := range deep {
		ref.Near(t, "T-INDEX", trial.Must(flicker.Index(s)), index)
		ref.Near(t, "T-PERCENT-WAVES", trial.Must(flicker.Percent(s)), 100, index)
	}
	assert.InDelta(t, 50, trial.Must(flicker.Percent([]float64{3, 1, 2})), 1e-13, "four roundings")
	assert.Zero(t, trial.Must(flicker.Percent([]float64{5, 5, 5})))
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
			short := 50 - trial.Must(flicker.Percent(s))
			assert.LessOrEqual(t, short, 100*bound+1e-9)
			reached = math.Max(reached, short)
		}
		assert.Greater(t, reached, 100*bound/5, "the bound is not idle")
	}
}

func TestFlickerIgnoresScaleAndStart(t *testing.T) {
	s := wave(func(x float64) float64 { return 2 + math.Sin(2*math.Pi*x) + 0.3*math.Cos(6*math.Pi*x) })
	percent, index := trial.Must(flicker.Percent(s)), trial.Must(flicker.Index(s))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 4} {
		turned := make([]float64, len(s))
		for i := range s {
			turned[(i+777)%len(s)] = s[i] * scale
		}
		assert.InEpsilon(t, percent, trial.Must(flicker.Percent(turned)), 1e-12, "rounding of the scale")
		assert.InEpsilon(t, index, trial.Must(flicker.Index(turned)), 1e-11, "rounding of the sums of 16384 samples")
	}
}

func TestFlickerRefuses(t *testing.T) {
	for _, bad := range [][]float64{nil, {1}, {0, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 1}, {1, math.Inf(1)}, {math.Inf(-1), 1}} {
		trial.Refused(t, flicker.ErrInvalid, trial.Second(flicker.Percent(bad)), trial.Second(flicker.Index(bad)))
	}
}

func TestLimitsAt(t *testing.T) {
	for _, tc := range []struct{ f, low, none, seizures float64 }{
		{100, 8, 3.33, 100}, {120, 9.6, 3.996, 100}, {50, 1.25, 0.5, 5}, {89, 2.225, 0.89, 5}, {90, 7.2, 2.997, 100}, {1250, 100, 41.625, 100},
		{1251, 100, 41.6583, 100}, {3000, 100, 99.9, 100}, {3001, 100, 100, 100}, {3840, 100, 100, 100},
	} {
		l, err := flicker.LimitsAt(unit.Frequency(tc.f))
		require.NoError(t, err)
		ref.Near(t, "T-LIMITS", l.LowRisk, tc.low, tc.f)
		ref.Near(t, "T-LIMITS", l.NoEffect, tc.none, tc.f)
		ref.Near(t, "T-LIMITS", l.Seizures, tc.seizures, tc.f)
	}
	for f := 1.0; f < 5000; f++ {
		l, err := flicker.LimitsAt(unit.Frequency(f))
		require.NoError(t, err)
		assert.True(t, l.NoEffect <= l.LowRisk && l.LowRisk <= 100 && l.NoEffect > 0, "%v Hz: limits %v", f, l)
	}
	for _, f := range []float64{0, -50, math.NaN(), math.Inf(1)} {
		_, err := flicker.LimitsAt(unit.Frequency(f))
		assert.ErrorIs(t, err, flicker.ErrInvalid, f)
	}
}

func TestVisibility(t *testing.T) {
	sine := func(m float64) []float64 {
		return wave(func(x float64) float64 { return 1 + m*math.Sin(2*math.Pi*x) })
	}
	for _, tc := range []struct{ f, m, want float64 }{{100, 1, 3.90205328057}, {120, 1, 3.62734154693}, {100, 0.2, 0.780410656114}} {
		ref.Near(t, "T-SVM", trial.Must(flicker.Visibility(sine(tc.m), unit.Time(1/tc.f))), tc.want, tc.f, tc.m)
	}
	// Amplitudes that reach the printed thresholds.
	for f, threshold := range map[float64]float64{80: .242880220666, 100: .256275332010, 120: .275683992550, 200: .365356966632, 300: .491453832396,
		480: .710581929533, 1000: .973190198730, 2000: .999844981645} {
		ref.Near(t, "T-SVM", trial.Must(flicker.Visibility(sine(threshold), unit.Time(1/f))), 1, f)
	}
	rectified := wave(func(x float64) float64 { return math.Abs(math.Sin(math.Pi * x)) })
	ref.Near(t, "T-SVM-RECTIFIED", trial.Must(flicker.Visibility(rectified, 0.01)), 2.60186711869)
	for _, f := range []float64{79, 2010} { // outside of the band
		assert.InDelta(t, 0, trial.Must(flicker.Visibility(sine(1), unit.Time(1/f))), 1e-12, "no components but roundings")
	}
	for _, level := range []float64{1, 1e-320, 1e308} {
		s := slices.Repeat([]float64{0, level, level, 0}, 100) // twice √½ out of phase: a sine of √2
		assert.InDelta(t, math.Sqrt2*3.90205328057, trial.Must(flicker.Visibility(s, 1)), 1e-6, "100 periods, whose printed measure is that of a sine of 1")
	}
	for _, err := range []error{
		trial.Second(flicker.Visibility(make([]float64, 1<<15+1), 1)), trial.Second(flicker.Visibility([]float64{1, 2}, 0)),
		trial.Second(flicker.Visibility([]float64{1, 2}, 61)), trial.Second(flicker.Visibility([]float64{1}, 1)),
	} {
		assert.ErrorIs(t, err, flicker.ErrInvalid)
	}
}
