package sync_test

import (
	"math"
	"slices"
	"testing"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
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
		ref.Near(t, "T-INDEX", must(timing.FlickerIndex(s)), index, m)
		ref.Near(t, "T-PERCENT-WAVES", must(timing.PercentFlicker(s)), 100*m, m)
	}
	deep := map[float64][]float64{ // by their index
		0.210513662353: wave(func(x float64) float64 { return math.Abs(math.Sin(2 * math.Pi * x)) }),
		0.25:           wave(func(x float64) float64 { return math.Abs(2*x - 1) }),
	}
	for pulse, index := range map[int]float64{100: 0.9, 250: 0.75, 500: 0.5, 900: 0.1} { // samples of 1000
		deep[index] = append(slices.Repeat([]float64{40}, pulse), make([]float64, 1000-pulse)...)
	}
	for index, s := range deep {
		ref.Near(t, "T-INDEX", must(timing.FlickerIndex(s)), index)
		ref.Near(t, "T-PERCENT-WAVES", must(timing.PercentFlicker(s)), 100, index)
	}
	assert.InDelta(t, 50, must(timing.PercentFlicker([]float64{3, 1, 2})), 1e-13, "four roundings")
	assert.Zero(t, must(timing.PercentFlicker([]float64{5, 5, 5})))
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
			short := 50 - must(timing.PercentFlicker(s))
			assert.LessOrEqual(t, short, 100*bound+1e-9)
			reached = math.Max(reached, short)
		}
		assert.Greater(t, reached, 100*bound/5, "the bound is not idle")
	}
}

func TestFlickerIgnoresScaleAndStart(t *testing.T) {
	s := wave(func(x float64) float64 { return 2 + math.Sin(2*math.Pi*x) + 0.3*math.Cos(6*math.Pi*x) })
	percent, index := must(timing.PercentFlicker(s)), must(timing.FlickerIndex(s))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 4} {
		turned := make([]float64, len(s))
		for i := range s {
			turned[(i+777)%len(s)] = s[i] * scale
		}
		assert.InEpsilon(t, percent, must(timing.PercentFlicker(turned)), 1e-12, "rounding of the scale")
		assert.InEpsilon(t, index, must(timing.FlickerIndex(turned)), 1e-11, "rounding of the sums of 16384 samples")
	}
}

func TestFlickerRefuses(t *testing.T) {
	for _, bad := range [][]float64{nil, {1}, {0, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 1}, {1, math.Inf(1)}, {math.Inf(-1), 1}} {
		refused(t, second(timing.PercentFlicker(bad)), second(timing.FlickerIndex(bad)))
	}
}

func TestFlickerLimits(t *testing.T) {
	for _, tc := range []struct{ f, low, none float64 }{
		{100, 8, 3.33}, {120, 9.6, 3.996}, {50, 1.25, 0.5}, {90, 7.2, 2.997}, {1250, 100, 41.625}, {1251, 100, 41.6583}, {3000, 100, 99.9}, {3001, 100, 100}, {3840, 100, 100},
	} {
		low, none, err := timing.FlickerLimits(unit.Frequency(tc.f))
		require.NoError(t, err)
		ref.Near(t, "T-LIMITS", low, tc.low, tc.f)
		ref.Near(t, "T-LIMITS", none, tc.none, tc.f)
	}
	for f := 1.0; f < 5000; f++ {
		low, none, err := timing.FlickerLimits(unit.Frequency(f))
		require.NoError(t, err)
		assert.True(t, none <= low && low <= 100 && none > 0, "%v Hz: limits %v and %v", f, low, none)
	}
	for _, f := range []float64{0, -50, math.NaN(), math.Inf(1)} {
		_, _, err := timing.FlickerLimits(unit.Frequency(f))
		assert.ErrorIs(t, err, timing.ErrInvalid, f)
	}
}

// TestResidualModulation integrates the sine over the exposure in both of its
// phases.
func TestResidualModulation(t *testing.T) {
	for _, tc := range []struct{ f, t float64 }{
		{100, 1.0 / 48}, {120, 1.0 / 48}, {100, 1.0 / 60}, {120, 1.0 / 50}, {100, 1.0 / 1000}, {3840, 0.0021}, {48, 0.04},
	} {
		for _, m := range []float64{1, 0.5} {
			want := m * remains(tc.f, tc.t)
			ref.Near(t, "T-RESIDUAL", must(timing.ResidualModulation(m, unit.Frequency(tc.f), unit.Time(tc.t))), want, tc, m)
		}
	}
	for k := 1; k <= 12; k++ {
		assert.Zero(t, must(timing.ResidualModulation(1, 120, unit.Time(float64(k)/120))), "whole periods")
	}
	assert.Equal(t, 0.7, must(timing.ResidualModulation(0.7, 0, 1)), "a light that does not vary")
	assert.InDelta(t, 0.7, must(timing.ResidualModulation(0.7, 100, 1e-9)), 1e-13, "(πx)²/6")

	for _, ends := range [][3]float64{{0, 0, 1e-9}, {1, 1e9, 1e6}} {
		assert.NoError(t, second(timing.ResidualModulation(ends[0], unit.Frequency(ends[1]), unit.Time(ends[2]))), ends)
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for _, beyond := range [][3]float64{
		{up(1), 100, 1}, {-5e-324, 100, 1}, {1, up(1e9), 1}, {1, -5e-324, 1}, {1, 100, up(1e6)}, {1, 100, math.Nextafter(1e-9, 0)}, {1, 100, 0},
		{math.NaN(), 100, 1}, {1, math.NaN(), 1}, {1, 100, math.NaN()}, {math.Inf(1), 100, 1}, {1, math.Inf(1), 1}, {1, 100, math.Inf(1)},
	} {
		assert.ErrorIs(t, second(timing.ResidualModulation(beyond[0], unit.Frequency(beyond[1]), unit.Time(beyond[2]))), timing.ErrInvalid, beyond)
	}
}
