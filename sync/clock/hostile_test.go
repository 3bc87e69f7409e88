package clock_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	r := trial.Rate(30000, 1001)
	spec := clock.TimecodeSpec{Rate: r, Drop: true}
	hostile.Calls(t, []any{r, trial.Rate(24, 1), spec, clock.TimecodeSpec{Rate: r}, trial.Must(clock.NewTimecode(spec)), "01:00:00;02"},
		clock.NewTimecode, clock.Timecode.Format, clock.Timecode.Parse, clock.Timecode.Wrap, clock.DriftTime, clock.PTPTime,
	)
}
