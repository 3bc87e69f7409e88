package banding_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	spec := pulsed(trial.Rate(24000, 1001), trial.Rate(24000, 1001), 0.5, seconds(0.02), seconds(1e-5), 200)
	scanned := spec
	scanned.Wall.Turns, scanned.View.WallRowsPerCameraRow, scanned.View.Blur = []int{1, 0, 2}, -0.7, 1.5
	hostile.Calls(t, []any{
		spec, scanned, spec.Wall, scanned.View, trial.Must(banding.New(spec)), trial.Must(banding.New(scanned)), []float64{1, 2, 1, 2},
	},
		banding.New, banding.Prediction.Bands, banding.Prediction.CameraRates, banding.Prediction.Cycle, banding.Prediction.DepthWithin,
		banding.Prediction.Extremes, banding.Prediction.Frame, banding.Prediction.LightRates, banding.Prediction.Phases,
		banding.Prediction.ShutterAngles, banding.Prediction.Tolerance, banding.Prediction.Worst, banding.Prediction.WorstDepth,
		banding.BitPlanes, banding.InOrder, banding.PeriodsFor, banding.Pulse, banding.Sampled, banding.Scattered,
		banding.ResidualModulation, banding.MeasureBands,
	)
}
