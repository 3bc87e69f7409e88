package clock_test

import (
	"testing"
	"time"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
)

func TestHostileArguments(t *testing.T) {
	r := trial.Rate(30000, 1001)
	spec := clock.TimecodeSpec{Rate: r, Drop: true}
	tc := trial.Must(clock.NewTimecode(spec))
	drift := clock.DriftSpec{Rate: r, Recorders: []clock.Recorder{{PPM: 1}, {}}, Limits: clock.DriftLimits{Frames: 1}}
	jam := clock.DailyJamSpec{Timecode: spec}
	sound := clock.AudioSpec{Frames: r, Samples: trial.Rate(48000, 1), Sequence: []int64{1602, 1601, 1602, 1601, 1602}}
	moment := trial.Must(clock.LeapTable{}.Parse("2016-12-31T23:59:60.5Z"))
	hostile.Calls(t, []any{
		r, trial.Rate(24, 1), spec, clock.TimecodeSpec{Rate: r}, tc, "01:00:00;02", "2016-12-31T23:59:60Z", time.Unix(1e9, 0),
		drift, clock.ResyncSpec{Drift: drift, Margin: 0.5, Day: 36000, Takes: []clock.Take{{Start: 60, Duration: 600}}},
		jam, trial.Must(clock.NewDailyJam(jam, clock.LeapTable{})), moment, moment.PTP, trial.Seconds(1<<62, 1<<62-1),
		sound, trial.Must(clock.NewAudio(sound)), clock.SixtyField, trial.Must(tc.Word(1800)), clock.Date{Year: 2026, Month: 5, Day: 23},
		uint32(0x23595929), ^uint32(0), [8]uint8{1, 2, 3}, []byte("x"),
	},
		clock.NewTimecode, clock.Timecode.Format, clock.Timecode.AppendFormat, clock.Timecode.Parse, clock.Timecode.Wrap, clock.Timecode.LabelError,
		clock.Timecode.Word, clock.Timecode.WordFrame, clock.Word.Pack, clock.Unpack, clock.UserGroups, clock.UserBits, clock.Date.UserBits, clock.UserDate,
		clock.DriftTime, clock.PlanResync,
		clock.NewAudio, clock.Audio.Sequence, clock.Audio.Sample, clock.Audio.Frame,
		clock.LeapTable.AtPTP, clock.LeapTable.AtTime, clock.LeapTable.Parse, clock.LeapTable.Expires, clock.ReadLeapTable, clock.Moment.Time, clock.Moment.String,
		clock.NewDailyJam, clock.DailyJam.AtPTP, clock.DailyJam.NextJam,
	)
}
