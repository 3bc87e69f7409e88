package flicker_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/flicker"
	"example.com/platewright/sync/internal/trial"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	spec := flicker.MonitorSpec{Rate: trial.Rate(24, 1), Columns: 2, Rows: 2, Field: flicker.Field{Width: 1.5, Height: 1.5}, White: 100}
	hostile.Calls(t, []any{[]float64{1, 2, 1, 2}, []float32{1, 2, 3}, spec, trial.Must(flicker.NewMonitor(spec)), unit.Length(2), unit.Time(1)},
		flicker.Percent, flicker.Index, flicker.LimitsAt, flicker.Visibility, flicker.FieldAt, flicker.BlockMeans, flicker.NewMonitor,
		(*flicker.Monitor).Add, (*flicker.Monitor).AddLuminance, (*flicker.Monitor).Report,
		flicker.Criterion.String, flicker.Criterion.MarshalText, flicker.Finding.String)
}
