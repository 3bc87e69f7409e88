package sync_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync"
)

func TestHostileArguments(t *testing.T) {
	rate, _ := sync.NewRate(24000, 1001)
	flash, _ := sync.NewRate(100, 1)
	second, _ := sync.NewSeconds(1, 48)
	angle, _ := sync.NewShutterAngle(180, 1)
	drop, _ := sync.NewRate(30000, 1001)
	timecode, _ := sync.NewTimecode(sync.TimecodeSpec{Rate: drop, Drop: true})
	spec := sync.BandingSpec{Camera: rate, Refresh: flash, Duty: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 2000}
	banding, _ := sync.NewBanding(spec)
	turns := spec
	turns.Multiplex, turns.WallRowsPerRow = 8, -0.7
	scanned, _ := sync.NewBanding(turns)
	offset := sync.OffsetSpec{Offset: 0.02, Speed: 5, Distance: 30, PixelsPerDegree: 40}
	late, _ := sync.NewOffset(offset)
	hostile.Calls(t, []any{
		rate, flash, second, angle, timecode, banding, spec, scanned, turns, offset, late,
		sync.TimecodeSpec{Rate: rate}, sync.Label{Hours: 1, Minutes: 1, Frames: 2},
		[]float64{1, 2, 1, 2}, "25", "180", "01:00:00;02",
	},
		sync.NewRate, sync.ParseRate, sync.Mains, sync.SteadyRate,
		sync.Rate.Align, sync.Rate.Beat, sync.Rate.Frame, sync.Rate.Frequency, sync.Rate.MarshalText,
		sync.Rate.Period, sync.Rate.Ratio, sync.Rate.String, sync.Rate.Time,
		sync.NewSeconds, sync.PTPTime, sync.Seconds.MarshalText, sync.Seconds.Ratio, sync.Seconds.String, sync.Seconds.Time,
		sync.NewShutterAngle, sync.ParseShutterAngle, sync.ShutterAngleOf,
		sync.CleanAngles, sync.CommonCleanAngles, sync.NearestCleanAngle, sync.NearestCommonCleanAngle,
		sync.ShutterAngle.Angle, sync.ShutterAngle.Exposure, sync.ShutterAngle.Interval, sync.ShutterAngle.MarshalText, sync.ShutterAngle.String,
		sync.NewTimecode, sync.Timecode.Day, sync.Timecode.Format, sync.Timecode.Frame, sync.Timecode.FromSuperFrame,
		sync.Timecode.Label, sync.Timecode.MarshalText, sync.Timecode.Nominal, sync.Timecode.Parse, sync.Timecode.SuperFrame, sync.Timecode.Wrap,
		sync.NewBanding, sync.Banding.Bands, sync.Banding.Cycle, sync.Banding.Depth, sync.Banding.Drift,
		sync.Banding.Extremes, sync.Banding.Row, sync.Banding.Spacing, sync.Banding.Stops, sync.Banding.WorstDepth,
		sync.Ripple, sync.MeasureBands, sync.PercentFlicker, sync.FlickerIndex, sync.FlickerLimits,
		sync.NewOffset, sync.Offset.Angle, sync.Offset.Displacement, sync.Offset.Pixels,
		sync.FreeRunFrames, sync.FreeRunSlip,
	)
}
