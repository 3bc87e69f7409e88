package sync_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"strings"
	"testing"

	"example.com/platewright/sync/internal/trial"

	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// roundTrip writes a value in JSON, reads it back, and returns what was written.
func roundTrip[T any](t *testing.T, want T) string {
	t.Helper()
	written := trial.Must(json.Marshal(want))
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
		Camera   timing.ReadoutSpec
		Row      timing.Exposure
		Now      timing.Instant
	}
	camera := timing.ReadoutSpec{
		Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Phase: timing.Centred, Rows: 2160, RowTime: trial.Seconds(1, 270000), Direction: timing.BottomUp, Offset: trial.Seconds(1, 1000),
	}
	readout := trial.Must(timing.NewReadout(camera))
	lights := timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(10, 1)}
	want := slate{
		trial.Rate(24000, 1001), trial.Degrees("172.8"), trial.Seconds(-1001, 24000), timing.Nearest, timing.Centred,
		trial.Must(trial.Rate(24000, 1001).Align(trial.Seconds(1_700_000_000, 1))), lights, trial.Must(timing.NearestCleanAngle(lights, trial.Degrees("360"))),
		camera, trial.Must(readout.Row(0, 0)), trial.Must(readout.At(trial.Seconds(1, 80))),
	}
	assert.Equal(t, `{"Rate":"24000/1001","Angle":"172.8°","At":"-1001/24000 s","Rounding":"nearest","Phase":"centred",`+
		`"Aligned":{"Frame":40759240759,"Phase":"241/24000 s","Next":"1020000000019/600 s"},`+
		`"Lights":{"Camera":"24","Light":"10","Tolerance":0},`+
		`"Clean":{"Angle":"360°","Limit":"light too slow","Change":0,"LightMiss":1.4,"OtherMiss":0},`+
		`"Camera":{"Rate":"24","Exposure":"1/48 s","Phase":"centred","Rows":2160,"RowTime":"1/270000 s","Direction":"bottom up","Offset":"1/1000 s"},`+
		`"Row":{"Opens":"-767/540000 s","Middle":"2429/270000 s","Closes":"10483/540000 s"},`+
		`"Now":{"Open":[{"Frame":0,"First":0,"Last":1866}],"Reading":true,"Frame":0,"Row":1867}}`, roundTrip(t, want))

	var read struct{ Rate timing.Rate }
	require.NoError(t, json.Unmarshal([]byte(`{"Rate":"29.97"}`), &read))
	assert.Equal(t, trial.Rate(30000, 1001), read.Rate)
}

// TestJSONOfTemplates writes specs that are not filled in, and reads them back.
func TestJSONOfTemplates(t *testing.T) {
	type template struct {
		Clean   timing.CleanSpec
		Found   timing.CleanShutter
		Aligned timing.Alignment
		Camera  timing.ReadoutSpec
		Now     timing.Instant
	}
	for _, want := range []template{{}, {Clean: timing.CleanSpec{Light: trial.Rate(100, 1)}}} {
		roundTrip(t, want)
	}
}

func TestTextRoundTripsAtTheEnds(t *testing.T) {
	for _, want := range []timing.Seconds{
		{}, trial.Seconds(3, 1), trial.Seconds(-3, 1), trial.Seconds(math.MinInt64, 1), trial.Seconds(math.MaxInt64, math.MaxInt64-1), trial.Seconds(math.MinInt64, math.MaxInt64),
	} {
		got := trial.Seconds(1, 7)
		require.NoError(t, got.UnmarshalText(trial.Must(want.MarshalText())))
		assert.Equal(t, want, got)
	}
	for _, want := range []timing.ShutterAngle{
		trial.Degrees("360"), trial.Degrees("0.000000001"), trial.Degrees("86400/1001"), trial.Must(timing.ShutterAngleOf(trial.Seconds(1, math.MaxInt64), trial.Rate(1, 1))),
		trial.Must(timing.ShutterAngleOf(trial.Seconds(math.MaxInt64-1, math.MaxInt64), trial.Rate(1, 1))), // the most digits
	} {
		roundTrip(t, want)
	}
}

func TestEnums(t *testing.T) {
	type enums struct {
		R timing.Rounding
		L timing.CleanLimit
		P timing.ShutterPhase
		D timing.ReadDirection
	}
	for want, v := range map[string]enums{
		"floor, clean, leading, top down":             {timing.Floor, timing.Clean, timing.Leading, timing.TopDown},
		"nearest, light too slow, centred, bottom up": {timing.Nearest, timing.LightTooSlow, timing.Centred, timing.BottomUp},
		"ceil, other light missed, centred, top down": {timing.Ceil, timing.OtherMissed, timing.Centred, timing.TopDown},
	} {
		assert.Equal(t, want, fmt.Sprintf("%v, %v, %v, %v", v.R, v.L, v.P, v.D))
		roundTrip(t, v)
	}
	assert.Equal(t, "Rounding(3) ShutterPhase(0)", fmt.Sprint(timing.Rounding(3), timing.ShutterPhase(0)))
}

func TestTextRefused(t *testing.T) {
	trial.Refused(t, timing.ErrInvalid,
		trial.Second(timing.Rate{}.MarshalText()), trial.Second(timing.ShutterAngle{}.MarshalText()),
		trial.Second(timing.Rounding(3).MarshalText()), trial.Second(timing.CleanLimit(3).MarshalText()), trial.Second(timing.ShutterPhase(0).MarshalText()),
		(*timing.Rate)(nil).UnmarshalText([]byte("24")), (*timing.Seconds)(nil).UnmarshalText([]byte("3 s")),
		(*timing.ShutterAngle)(nil).UnmarshalText([]byte("90")), (*timing.Rounding)(nil).UnmarshalText([]byte("ceil")),
	)
	type values struct {
		R timing.Rate
		S timing.Seconds
		A timing.ShutterAngle
		P timing.ShutterPhase
	}
	v := values{trial.Rate(24, 1), trial.Seconds(1, 7), trial.Degrees("90"), timing.Centred}
	before := v
	trial.Refused(t, timing.ErrInvalid, v.R.UnmarshalText([]byte("29.98")))
	for _, text := range []string{
		"", " s", "3", "0.02", "-", "+ s", "--3 s", "3  s", "3 s ", " 3 s", "3 m", "3 sec", "3/0 s", "0/0", "3/-1 s", "3/ s", "1.5/2 s", "1/2/3 s", ".5 s", "5. s", "1e-3 s", "1_000 s", "0x1p-3 s",
		"9223372036854775808 s", "-9223372036854775809 s", "1/9223372036854775808 s", "99999999999999999999/0 s", "0.00000000000000000001 s", "0.9223372036854775807 s", "1/9223372036854775807 ms", "9223372036854775807 min", "NaN s", "Inf s",
	} {
		assert.ErrorIs(t, v.S.UnmarshalText([]byte(text)), timing.ErrInvalid, text)
	}
	for _, text := range []string{"", "0", "361", "ninety"} {
		assert.ErrorIs(t, v.A.UnmarshalText([]byte(text)), timing.ErrInvalid, text)
	}
	assert.EqualError(t, v.P.UnmarshalText([]byte("trailing")), `sync: shutter phase "trailing": must be leading or centred`)
	assert.Equal(t, before, v, "a text that is refused changes the value")
}

// FuzzParse reads rates, angles and times. What is read comes back from its own text,
// and a time is the number before its unit, read by math/big.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"24000/1001", "23.976", "25", "0/0", "1/3", "-1", "2147483647/2147483646",
		"172.8", "864/5", "360°", "0", "1/0", "1.5/2", "86400/1001°",
		"1/50", "0.02 s", "20ms", "-7.5 µs", "+10 h", "99999999999999999999/7 s", "0.00000000000000000001 min", "9223372036854775807 ns",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if r, err := timing.ParseRate(s); err != nil {
			require.ErrorIs(t, err, timing.ErrInvalid)
		} else {
			assert.Equal(t, r, trial.Must(timing.ParseRate(r.String())))
			assert.EqualValues(t, 1001, trial.Must(r.Frame(trial.Must(r.Time(1001)), timing.Floor)))
		}
		if a, err := timing.ParseShutterAngle(s); err != nil {
			require.ErrorIs(t, err, timing.ErrInvalid)
		} else {
			assert.Equal(t, a, trial.Must(timing.ParseShutterAngle(a.String())))
			r := trial.Rate(24000, 1001)
			if e, err := a.Exposure(r); err == nil {
				if back, err := timing.ShutterAngleOf(e, r); err == nil {
					assert.Equal(t, a, back)
				}
			}
		}
		at, err := timing.ParseSeconds(s)
		if err != nil {
			require.ErrorIs(t, err, timing.ErrInvalid)
			return
		}
		assert.Equal(t, at, trial.Must(timing.ParseSeconds(at.String())))
		end := len(strings.TrimRight(s, " hminsuµμ"))
		want := decimalRat(t, s[:end])
		per := map[string]*big.Rat{"": big.NewRat(1, 1), "s": big.NewRat(1, 1), "ms": big.NewRat(1, 1e3), "ns": big.NewRat(1, 1e9), "min": big.NewRat(60, 1), "h": big.NewRat(3600, 1)}[strings.TrimSpace(s[end:])]
		if per == nil {
			per = big.NewRat(1, 1e6)
		}
		assert.Zero(t, want.Mul(want, per).Cmp(trial.Rat(at)), s)
	})
}

// decimalRat reads a decimal or a fraction. Of a fraction, big.Rat takes numbers that
// begin with 0 for octal.
func decimalRat(t *testing.T, s string) *big.Rat {
	above, below, fraction := strings.Cut(s, "/")
	want, ok := new(big.Rat).SetString(above)
	require.True(t, ok, s)
	if fraction {
		by, ok := new(big.Rat).SetString(below)
		require.True(t, ok, s)
		want.Quo(want, by)
	}
	return want
}
