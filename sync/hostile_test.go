package sync_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	timing "example.com/platewright/sync"
)

func TestHostileArguments(t *testing.T) {
	r := rate(24000, 1001)
	spec := timing.BandingSpec{Camera: r, Refresh: rate(100, 1), DutyCycle: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 2000}
	scanned := spec
	scanned.Multiplex, scanned.WallRowsPerCameraRow = 8, -0.7
	hostile.Calls(t, []any{
		r, rate(100, 1), seconds(1, 48), degrees("180"), timecode(rate(30000, 1001), true), timing.TimecodeSpec{Rate: r},
		spec, scanned, must(timing.NewBanding(spec)), must(timing.NewBanding(scanned)),
		timing.CleanSpec{Camera: r, Light: rate(100, 1), Other: rate(3840, 1), Tolerance: 0.01},
		timing.MotionSpec{Time: 0.02, Speed: 5, Distance: 30, Density: 40},
		[]float64{1, 2, 1, 2}, "25", "180", "01:00:00;02",
	},
		timing.NewRate, timing.ParseRate, timing.MainsFlicker,
		timing.Rate.Align, timing.Rate.Beat, timing.Rate.Frame, timing.Rate.Frequency, timing.Rate.MarshalText,
		timing.Rate.Period, timing.Rate.Ratio, timing.Rate.String, timing.Rate.Time,
		timing.Rounding.String, timing.Rounding.MarshalText, timing.ShutterPhase.String, timing.ShutterPhase.MarshalText,
		timing.CleanLimit.String, timing.CleanLimit.MarshalText,
		timing.NewSeconds, timing.PTPTime, timing.Seconds.MarshalText, timing.Seconds.Ratio, timing.Seconds.String, timing.Seconds.Time,
		timing.NewShutterAngle, timing.ParseShutterAngle, timing.ShutterAngleOf, timing.CleanAngles, timing.NearestCleanAngle,
		timing.ShutterAngle.Angle, timing.ShutterAngle.Exposure, timing.ShutterAngle.Interval, timing.ShutterAngle.MarshalText, timing.ShutterAngle.Rounded, timing.ShutterAngle.String,
		timing.NewTimecode, timing.Timecode.Format, timing.Timecode.Parse, timing.Timecode.Wrap,
		timing.NewBanding, timing.Banding.Bands, timing.Banding.Cycle, timing.Banding.Depth, timing.Banding.Drift,
		timing.Banding.Extremes, timing.Banding.Row, timing.Banding.Spacing, timing.Banding.WorstDepth,
		timing.ResidualModulation, timing.MeasureBands, timing.PercentFlicker, timing.FlickerIndex, timing.FlickerLimits,
		timing.ImageMotion, timing.DriftTime,
	)
}
