package clock_test

import (
	"encoding/json"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func roundTrip[T any](t *testing.T, want T) string {
	t.Helper()
	written := trial.Must(json.Marshal(want))
	var got T
	require.NoError(t, json.Unmarshal(written, &got))
	assert.Equal(t, want, got)
	return string(written)
}

// Specs and results go through JSON, filled in and not.
func TestJSON(t *testing.T) {
	rate := trial.Rate(30000, 1001)
	tc := clock.TimecodeSpec{Rate: rate, Drop: true}
	drift := clock.DriftSpec{Rate: rate, Recorders: []clock.Recorder{{PPM: 5, TolerancePPM: 1, Offset: 1e-3}, {}}, Limits: clock.DriftLimits{Phase: 90 * timing.Degree}}
	resync := clock.ResyncSpec{Drift: drift, Margin: 0.25, Day: 36000, Takes: []clock.Take{{Start: 60, Duration: 600}}}
	jam := clock.DailyJamSpec{Timecode: tc, At: trial.Seconds(7200, 1), Offset: trial.Seconds(-3600, 1)}
	daily := trial.Must(clock.NewDailyJam(jam, clock.LeapTable{}))
	moment := trial.Must(clock.LeapTable{}.Parse("2016-12-31T23:59:60.5Z"))
	word := trial.Must(trial.Must(clock.NewTimecode(tc)).Word(1800))

	assert.Equal(t, `{"Rate":"30000/1001","Drop":true}`, roundTrip(t, tc))
	assert.Equal(t, `{"State":"drifts","After":1390.2777777777778,"Limit":"phase","Apart":0.008341666666666667,"Pair":[0,1]}`,
		roundTrip(t, clock.Drift{State: clock.Drifts, After: 1390.2777777777778, Limit: clock.LimitPhase, Apart: 0.008341666666666667, Pair: [2]int{0, 1}}))
	assert.Equal(t, `{"PTP":"2966457673/2 s","Unix":"2966457599/2 s","LeapSecond":true,"TAIMinusUTC":36,"Expired":false}`, roundTrip(t, moment))
	assert.Equal(t, `{"Hours":0,"Minutes":1,"Seconds":0,"Frames":2,"Drop":true,"ColourFrame":false,"Field":false,"GroupFlags":0}`, roundTrip(t, word))
	assert.Equal(t, `{"Timecode":{"Rate":"30000/1001","Drop":true},"At":"7200 s","Offset":"-3600 s"}`, roundTrip(t, jam))
	roundTrip(t, drift)
	roundTrip(t, resync)
	roundTrip(t, trial.Must(clock.PlanResync(resync)))
	roundTrip(t, trial.Must(daily.AtPTP(moment.PTP)))
	roundTrip(t, trial.Must(daily.NextJam(moment.PTP)))
	roundTrip(t, clock.AudioSpec{Frames: rate, Samples: trial.Rate(48000, 1), Sequence: []int64{1602}, Rounding: timing.Nearest})
	roundTrip(t, struct{ P clock.Packing }{clock.FiftyField})
	roundTrip(t, clock.Date{Year: 2026, Month: 5, Day: 23})

	roundTrip(t, clock.TimecodeSpec{})
	roundTrip(t, clock.DriftSpec{})
	roundTrip(t, clock.ResyncSpec{})
	roundTrip(t, clock.DailyJamSpec{})
	roundTrip(t, clock.AudioSpec{})
	roundTrip(t, clock.Resync{Drift: clock.Drift{State: clock.Never, Limit: clock.LimitTime}, Jams: []unit.Time{0}})
}

func TestEnums(t *testing.T) {
	assert.Equal(t, "60-field 50-field 24-frame Packing(0) Packing(4)", join(clock.SixtyField, clock.FiftyField, clock.TwentyFourFrame, clock.Packing(0), clock.Packing(4)))
	assert.Equal(t, "drifts past never DriftState(0)", join(clock.Drifts, clock.Past, clock.Never, clock.DriftState(0)))
	assert.Equal(t, "time frames phase pixels DriftLimit(0)", join(clock.LimitTime, clock.LimitFrames, clock.LimitPhase, clock.LimitPixels, clock.DriftLimit(0)))
	trial.Refused(t, clock.ErrInvalid,
		trial.Second(clock.Packing(0).MarshalText()), trial.Second(clock.DriftState(0).MarshalText()), trial.Second(clock.DriftLimit(9).MarshalText()),
		new(clock.Packing).UnmarshalText([]byte("30-field")), new(clock.DriftState).UnmarshalText(nil), new(clock.DriftLimit).UnmarshalText([]byte("Time")),
	)
}

func join[T interface{ String() string }](values ...T) string {
	text := ""
	for k, v := range values {
		if k > 0 {
			text += " "
		}
		text += v.String()
	}
	return text
}
