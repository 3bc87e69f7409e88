package banding_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	spec := banding.BandingSpec{Camera: trial.Rate(24000, 1001), Refresh: trial.Rate(100, 1), DutyCycle: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 2000}
	scanned := spec
	scanned.Multiplex, scanned.WallRowsPerCameraRow = 8, -0.7
	hostile.Calls(t, []any{
		spec, scanned, trial.Must(banding.NewBanding(spec)), trial.Must(banding.NewBanding(scanned)), []float64{1, 2, 1, 2},
	},
		banding.NewBanding, banding.Banding.Bands, banding.Banding.Cycle, banding.Banding.Depth, banding.Banding.Drift,
		banding.Banding.Extremes, banding.Banding.Row, banding.Banding.Spacing, banding.Banding.WorstDepth,
		banding.ResidualModulation, banding.MeasureBands,
	)
}
