package cadence_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/cadence"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	film := trial.Rate(24000, 1001)
	camera := timing.ReadoutSpec{Rate: film, Exposure: trial.Seconds(1, 50), Phase: timing.Centred, Rows: 2160, RowTime: trial.Seconds(1, 270000)}
	playback := cadence.PlaybackSpec{Camera: camera, Content: trial.Rate(60, 1), Settle: trial.Seconds(1, 3840)}
	retime := cadence.RetimeSpec{Source: film, Output: trial.Rate(60, 1), Speed: trial.Seconds(-1, 2), Method: cadence.Blend}
	hostile.Calls(t, []any{
		film, camera, playback, retime, trial.Seconds(1, 48), trial.Must(cadence.NewPlayback(playback)), trial.Must(cadence.NewRetime(retime)),
		cadence.InterleaveSpec{Cameras: []timing.ReadoutSpec{camera, camera}, Blank: 1},
	},
		cadence.ChangeWindow, cadence.PhaseOf, cadence.Interleave, cadence.NewPlayback, cadence.Playback.Frame, cadence.Playback.Count,
		cadence.NewRetime, cadence.Retime.Frame, cadence.Retime.Count, cadence.Retime.Pattern, cadence.Part.Weight, cadence.Pattern.String,
		cadence.Method.String, cadence.Method.MarshalText,
	)
}
