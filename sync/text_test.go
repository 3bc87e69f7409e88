package sync_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
)

func TestTextRoundTrips(t *testing.T) {
	type slate struct {
		Rate     sync.Rate
		Angle    sync.ShutterAngle
		At       sync.Seconds
		Aligned  sync.Alignment
		Timecode sync.Timecode
	}
	drop := timecode(rate(30000, 1001), true)
	in := slate{
		rate(24000, 1001), degrees("172.8"), seconds(-1001, 24000),
		must(rate(24000, 1001).Align(seconds(1_700_000_000, 1))), drop,
	}
	written := must(json.Marshal(in))
	want := `{"Rate":"24000/1001","Angle":"172.8°","At":"-1001/24000 s",` +
		`"Aligned":{"Frame":40759240759,"Phase":"241/24000 s","Next":"1020000000019/600 s"},"Timecode":"30 drop"}`
	if string(written) != want {
		t.Errorf("got %s, want %s", written, want)
	}
	var out slate
	if err := json.Unmarshal(written, &out); err != nil || out != in {
		t.Errorf("got %v, %v, want %v", out, err, in)
	}
}

func TestTextRoundTripsAtTheEnds(t *testing.T) {
	for _, want := range []sync.Seconds{
		{}, seconds(3, 1), seconds(-3, 1), seconds(math.MinInt64, 1), seconds(math.MaxInt64, math.MaxInt64-1), seconds(math.MinInt64, math.MaxInt64),
	} {
		got := seconds(1, 7)
		if err := got.UnmarshalText(must(want.MarshalText())); err != nil || got != want {
			t.Errorf("%v comes back as %v, %v", want, got, err)
		}
	}
	for _, want := range []sync.ShutterAngle{
		degrees("360"), degrees("0.000000001"), degrees("86400/1001"), must(sync.ShutterAngleOf(seconds(1, math.MaxInt64), rate(1, 1))),
		must(sync.ShutterAngleOf(seconds(math.MaxInt64-1, math.MaxInt64), rate(1, 1))), // the most digits
	} {
		var got sync.ShutterAngle
		if err := got.UnmarshalText(must(want.MarshalText())); err != nil || got != want {
			t.Errorf("%v comes back as %v, %v", want, got, err)
		}
	}
	for _, want := range countings() {
		var got sync.Timecode
		if err := got.UnmarshalText(must(want.MarshalText())); err != nil || got != want {
			t.Errorf("%v comes back as %v, %v", want, got, err)
		}
	}
}

func TestTextRefused(t *testing.T) {
	_, err := sync.ShutterAngle{}.MarshalText()
	wantInvalid(t, "no angle", err)
	_, err = sync.Timecode{}.MarshalText()
	wantInvalid(t, "no timecode", err)

	s := seconds(1, 7)
	for _, text := range []string{"", " s", "3", "3s", "3 s ", "3/0 s", "3/-1 s", "1.5 s", "1/2/3 s", "3 ms", "9223372036854775808 s", "NaN s"} {
		wantInvalid(t, text, s.UnmarshalText([]byte(text)))
	}
	a := degrees("90")
	for _, text := range []string{"", "0", "361", "ninety"} {
		wantInvalid(t, text, a.UnmarshalText([]byte(text)))
	}
	tc := timecode(rate(25, 1), false)
	for _, text := range []string{"", "drop", " drop", "29.97 drop", "30000/1001 drop", "24 drop", "50 drop", "30drop", "30 drop ", "23", "030", "30 df"} {
		wantInvalid(t, text, tc.UnmarshalText([]byte(text)))
	}
	if s != seconds(1, 7) || a != degrees("90") || tc != timecode(rate(25, 1), false) {
		t.Error("a text that is refused changes the value")
	}
	wantInvalid(t, "nil", (*sync.Rate)(nil).UnmarshalText([]byte("24")))
	wantInvalid(t, "nil", (*sync.Seconds)(nil).UnmarshalText([]byte("3 s")))
	wantInvalid(t, "nil", (*sync.ShutterAngle)(nil).UnmarshalText([]byte("90")))
	wantInvalid(t, "nil", (*sync.Timecode)(nil).UnmarshalText([]byte("24")))
}

// TestDecimalsOfRates reads decimals worked out by long division: 24000/1001
// is 23.976023976…, 30000/1001 is 29.970029970…
func TestDecimalsOfRates(t *testing.T) {
	for text, want := range map[string]sync.Rate{
		"24.000": rate(24, 1), "25.00": rate(25, 1), "24.0": rate(24, 1), "100.000": rate(100, 1), "23.000000": rate(23, 1),
		"23.9760": rate(24000, 1001), "23.976024": rate(24000, 1001), "23.976023976": rate(24000, 1001),
		"29.970": rate(30000, 1001), "29.97003": rate(30000, 1001), "59.940": rate(60000, 1001), "119.880": rate(120000, 1001),
	} {
		ref.Equal(t, "sync-text", must(sync.ParseRate(text)), want, text)
	}
}
