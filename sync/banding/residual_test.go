package banding_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// TestResidualModulation integrates the sine over the exposure in both of its
// phases.
func TestResidualModulation(t *testing.T) {
	for _, tc := range []struct{ f, t float64 }{
		{100, 1.0 / 48}, {120, 1.0 / 48}, {100, 1.0 / 60}, {120, 1.0 / 50}, {100, 1.0 / 1000}, {3840, 0.0021}, {48, 0.04},
	} {
		for _, m := range []float64{1, 0.5} {
			want := m * trial.Remains(tc.f, tc.t)
			ref.Near(t, "T-RESIDUAL", trial.Must(banding.ResidualModulation(m, unit.Frequency(tc.f), unit.Time(tc.t))), want, tc, m)
		}
	}
	for k := 1; k <= 12; k++ {
		assert.Zero(t, trial.Must(banding.ResidualModulation(1, 120, unit.Time(float64(k)/120))), "whole periods")
	}
	assert.Equal(t, 0.7, trial.Must(banding.ResidualModulation(0.7, 0, 1)), "a light that does not vary")
	assert.InDelta(t, 0.7, trial.Must(banding.ResidualModulation(0.7, 100, 1e-9)), 1e-13, "(πx)²/6")

	for _, ends := range [][3]float64{{0, 0, 1e-9}, {1, 1e9, 1e6}} {
		assert.NoError(t, trial.Second(banding.ResidualModulation(ends[0], unit.Frequency(ends[1]), unit.Time(ends[2]))), ends)
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for _, beyond := range [][3]float64{
		{up(1), 100, 1}, {-5e-324, 100, 1}, {1, up(1e9), 1}, {1, -5e-324, 1}, {1, 100, up(1e6)}, {1, 100, math.Nextafter(1e-9, 0)}, {1, 100, 0},
		{math.NaN(), 100, 1}, {1, math.NaN(), 1}, {1, 100, math.NaN()}, {math.Inf(1), 100, 1}, {1, math.Inf(1), 1}, {1, 100, math.Inf(1)},
	} {
		assert.ErrorIs(t, trial.Second(banding.ResidualModulation(beyond[0], unit.Frequency(beyond[1]), unit.Time(beyond[2]))), banding.ErrInvalid, beyond)
	}
}
