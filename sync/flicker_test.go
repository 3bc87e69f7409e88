package sync_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
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
	ref.Near(t, "sync-percent", must(sync.PercentFlicker([]float64{3, 1, 2})), 50)
	ref.Near(t, "sync-percent", must(sync.PercentFlicker([]float64{1, 0})), 100)
	ref.Near(t, "sync-percent", must(sync.PercentFlicker([]float64{5, 5, 5})), 0)

	for m, index := range map[float64]float64{0.1: 0.0318309886184, 0.5: 0.159154943092, 1: 0.318309886184} {
		s := wave(func(x float64) float64 { return 1 + m*math.Sin(2*math.Pi*x) })
		ref.Near(t, "sync-index", must(sync.FlickerIndex(s)), index, m)
		ref.Near(t, "sync-percent-waves", must(sync.PercentFlicker(s)), 100*m, m)
	}
	rectified := wave(func(x float64) float64 { return math.Abs(math.Sin(2 * math.Pi * x)) })
	ref.Near(t, "sync-index", must(sync.FlickerIndex(rectified)), 0.210513662353, "rectified sine")
	ref.Near(t, "sync-percent-waves", must(sync.PercentFlicker(rectified)), 100, "rectified sine")
	for d, index := range map[float64]float64{0.1: 0.9, 0.25: 0.75, 0.5: 0.5, 0.9: 0.1} {
		s := make([]float64, 1000)
		for i := range s {
			if i < int(math.Round(1000*d)) {
				s[i] = 40
			}
		}
		ref.Near(t, "sync-index", must(sync.FlickerIndex(s)), index, "pulses", d)
		ref.Near(t, "sync-percent-waves", must(sync.PercentFlicker(s)), 100, "pulses", d)
	}
}

func TestFlickerDoesNotHangOnScaleOrStart(t *testing.T) {
	s := wave(func(x float64) float64 { return 2 + math.Sin(2*math.Pi*x) + 0.3*math.Cos(6*math.Pi*x) })
	percent, index := must(sync.PercentFlicker(s)), must(sync.FlickerIndex(s))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 4} {
		turned := make([]float64, len(s))
		for i := range s {
			turned[(i+777)%len(s)] = s[i] * scale
		}
		near.Rel(t, "percent", must(sync.PercentFlicker(turned)), percent, 1e-12, "rounding of the scale")
		near.Rel(t, "index", must(sync.FlickerIndex(turned)), index, 1e-11, "rounding of the sums of 16384 samples")
	}
}

func TestFlickerRefuses(t *testing.T) {
	for _, bad := range [][]float64{nil, {1}, {0, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 1}, {1, math.Inf(1)}, {math.Inf(-1), 1}} {
		_, err := sync.PercentFlicker(bad)
		wantInvalid(t, "percent", err)
		_, err = sync.FlickerIndex(bad)
		wantInvalid(t, "index", err)
	}
}

func TestFlickerLimits(t *testing.T) {
	low, none, err := sync.FlickerLimits(100)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "sync-limits-100", low, 8.0)
	ref.Near(t, "sync-limits-100", none, 3.3)
	for _, tc := range []struct{ f, low, none float64 }{
		{120, 9.6, 3.996}, {50, 1.25, 0.5}, {90, 7.2, 2.997}, {1250, 100, 41.625}, {1251, 100, 41.6583}, {3000, 100, 99.9}, {3001, 100, 100}, {3840, 100, 100},
	} {
		low, none, err := sync.FlickerLimits(unit.Frequency(tc.f))
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "sync-limits", low, tc.low, tc.f)
		ref.Near(t, "sync-limits", none, tc.none, tc.f)
	}
	for f := 1.0; f < 5000; f++ {
		low, none, _ := sync.FlickerLimits(unit.Frequency(f))
		if !(none <= low && low <= 100 && none > 0) {
			t.Errorf("%v Hz: limits %v and %v", f, low, none)
		}
	}
	for _, f := range []float64{0, -50, math.NaN(), math.Inf(1)} {
		_, _, err := sync.FlickerLimits(unit.Frequency(f))
		wantInvalid(t, "frequency", err)
	}
}
