package sync_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// roundTrip writes a value in JSON, reads it back, and returns what was written.
func roundTrip[T any](t *testing.T, want T) string {
	t.Helper()
	written := must(json.Marshal(want))
	var got T
	require.NoError(t, json.Unmarshal(written, &got))
	assert.Equal(t, want, got)
	return string(written)
}

func TestJSONRoundTrips(t *testing.T) {
	type slate struct {
		Rate     timing.Rate
		Angle    timing.ShutterAngle
		At       timing.Seconds
		Rounding timing.Rounding
		Phase    timing.ShutterPhase
		Aligned  timing.Alignment
		Lights   timing.CleanSpec
		Clean    timing.CleanShutter
	}
	lights := timing.CleanSpec{Camera: rate(24, 1), Light: rate(10, 1)}
	want := slate{
		rate(24000, 1001), degrees("172.8"), seconds(-1001, 24000), timing.Nearest, timing.Centred,
		must(rate(24000, 1001).Align(seconds(1_700_000_000, 1))), lights, must(timing.NearestCleanAngle(lights, degrees("360"))),
	}
	assert.Equal(t, `{"Rate":"24000/1001","Angle":"172.8°","At":"-1001/24000 s","Rounding":"nearest","Phase":"centred",`+
		`"Aligned":{"Frame":40759240759,"Phase":"241/24000 s","Next":"1020000000019/600 s"},`+
		`"Lights":{"Camera":"24","Light":"10","Tolerance":0},`+
		`"Clean":{"Angle":"360°","Limit":"light too slow","Change":0,"LightMiss":1.4,"OtherMiss":0}}`, roundTrip(t, want))

	var read struct{ Rate timing.Rate }
	require.NoError(t, json.Unmarshal([]byte(`{"Rate":"29.97"}`), &read))
	assert.Equal(t, rate(30000, 1001), read.Rate)
}

// TestJSONOfTemplates writes specs that are not filled in, and reads them back.
func TestJSONOfTemplates(t *testing.T) {
	type template struct {
		Banding  timing.BandingSpec
		Clean    timing.CleanSpec
		Found    timing.CleanShutter
		Motion   timing.MotionSpec
		Timecode timing.TimecodeSpec
		Aligned  timing.Alignment
		Bands    timing.Bands
	}
	for _, want := range []template{{}, {Clean: timing.CleanSpec{Light: rate(100, 1)}, Banding: timing.BandingSpec{Camera: rate(24000, 1001), Rows: 2160}}} {
		roundTrip(t, want)
	}
}

func TestTextRoundTripsAtTheEnds(t *testing.T) {
	for _, want := range []timing.Seconds{
		{}, seconds(3, 1), seconds(-3, 1), seconds(math.MinInt64, 1), seconds(math.MaxInt64, math.MaxInt64-1), seconds(math.MinInt64, math.MaxInt64),
	} {
		got := seconds(1, 7)
		require.NoError(t, got.UnmarshalText(must(want.MarshalText())))
		assert.Equal(t, want, got)
	}
	for _, want := range []timing.ShutterAngle{
		degrees("360"), degrees("0.000000001"), degrees("86400/1001"), must(timing.ShutterAngleOf(seconds(1, math.MaxInt64), rate(1, 1))),
		must(timing.ShutterAngleOf(seconds(math.MaxInt64-1, math.MaxInt64), rate(1, 1))), // the most digits
	} {
		roundTrip(t, want)
	}
}

func TestEnums(t *testing.T) {
	type enums struct {
		R timing.Rounding
		L timing.CleanLimit
		P timing.ShutterPhase
	}
	for want, v := range map[string]enums{
		"floor, clean, leading": {timing.Floor, timing.Clean, timing.Leading}, "nearest, light too slow, centred": {timing.Nearest, timing.LightTooSlow, timing.Centred},
		"ceil, other light missed, centred": {timing.Ceil, timing.OtherMissed, timing.Centred},
	} {
		assert.Equal(t, want, fmt.Sprintf("%v, %v, %v", v.R, v.L, v.P))
		roundTrip(t, v)
	}
	assert.Equal(t, "Rounding(3) ShutterPhase(0)", fmt.Sprint(timing.Rounding(3), timing.ShutterPhase(0)))
}

func TestTextRefused(t *testing.T) {
	refused(t,
		second(timing.Rate{}.MarshalText()), second(timing.ShutterAngle{}.MarshalText()),
		second(timing.Rounding(3).MarshalText()), second(timing.CleanLimit(3).MarshalText()), second(timing.ShutterPhase(0).MarshalText()),
		(*timing.Rate)(nil).UnmarshalText([]byte("24")), (*timing.Seconds)(nil).UnmarshalText([]byte("3 s")),
		(*timing.ShutterAngle)(nil).UnmarshalText([]byte("90")), (*timing.Rounding)(nil).UnmarshalText([]byte("ceil")),
	)
	type values struct {
		R timing.Rate
		S timing.Seconds
		A timing.ShutterAngle
		P timing.ShutterPhase
	}
	v := values{rate(24, 1), seconds(1, 7), degrees("90"), timing.Centred}
	before := v
	refused(t, v.R.UnmarshalText([]byte("29.98")))
	for _, text := range []string{"", " s", "3", "3s", "3 s ", "3/0 s", "3/-1 s", "1.5 s", "1/2/3 s", "3 ms", "9223372036854775808 s", "NaN s"} {
		assert.ErrorIs(t, v.S.UnmarshalText([]byte(text)), timing.ErrInvalid, text)
	}
	for _, text := range []string{"", "0", "361", "ninety"} {
		assert.ErrorIs(t, v.A.UnmarshalText([]byte(text)), timing.ErrInvalid, text)
	}
	assert.EqualError(t, v.P.UnmarshalText([]byte("trailing")), `sync: shutter phase "trailing": must be leading or centred`)
	assert.Equal(t, before, v, "a text that is refused changes the value")
}
