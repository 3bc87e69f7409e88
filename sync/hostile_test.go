package sync_test

import (
	"testing"
	"time"

	"example.com/platewright/internal/hostile"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	r := trial.Rate(24000, 1001)
	hostile.Calls(t, []any{
		r, trial.Rate(100, 1), trial.Seconds(1, 48), trial.Degrees("180"),
		timing.CleanSpec{Camera: r, Light: trial.Rate(100, 1), Other: trial.Rate(3840, 1), Tolerance: 0.01},
		timing.ReadoutSpec{Rate: r, Exposure: trial.Seconds(1, 48), Phase: timing.Centred, Rows: 2160, RowTime: trial.Seconds(1, 270000)},
		trial.Must(timing.NewReadout(timing.ReadoutSpec{Rate: r, Exposure: trial.Seconds(1, 48), Phase: timing.Leading, Rows: 2160, RowTime: trial.Seconds(1, 270000)})),
		"25", "180", "20 ms", time.Second,
	},
		timing.NewRate, timing.ParseRate, timing.MainsFlicker,
		timing.Rate.Align, timing.Rate.Beat, timing.Rate.Frame, timing.Rate.Frequency, timing.Rate.MarshalText, timing.Rate.Nominal,
		timing.Rate.Per, timing.Rate.Period, timing.Rate.Ratio, timing.Rate.String, timing.Rate.Time,
		timing.Rounding.String, timing.Rounding.MarshalText, timing.ShutterPhase.String, timing.ShutterPhase.MarshalText,
		timing.CleanLimit.String, timing.CleanLimit.MarshalText,
		timing.NewReadout, timing.Readout.Row, timing.Readout.Span, timing.Readout.At, timing.ReadDirection.String, timing.ReadDirection.MarshalText,
		timing.RateOf, timing.Rate.Scale, timing.Rate.Periods,
		timing.SecondsOf, timing.NearestSeconds, timing.ParseSeconds, timing.Seconds.Add, timing.Seconds.Sub, timing.Seconds.Scale, timing.Seconds.Compare, timing.Seconds.Duration,
		timing.NewSeconds, timing.Seconds.MarshalText, timing.Seconds.Ratio, timing.Seconds.String, timing.Seconds.Time,
		timing.NewShutterAngle, timing.ParseShutterAngle, timing.ShutterAngleOf, timing.CleanAngles, timing.NearestCleanAngle,
		timing.ShutterAngle.Angle, timing.ShutterAngle.Exposure, timing.ShutterAngle.Interval, timing.ShutterAngle.MarshalText, timing.ShutterAngle.Rounded, timing.ShutterAngle.String,
	)
}
