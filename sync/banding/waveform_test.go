package banding_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
)

// lit is the time that a waveform of ones and zeros is on.
func lit(w banding.Waveform) (on float64, pulses int) {
	for i, s := range w {
		next := 1.0
		if i+1 < len(w) {
			next = w[i+1].From
		}
		on += s.Level * (next - s.From)
		pulses += int(s.Level)
	}
	return on, pulses
}

// TestGreysAreAsBrightAsTheirCodes adds up the pulses of all codes.
func TestGreysAreAsBrightAsTheirCodes(t *testing.T) {
	for code := 1; code < 256; code++ {
		on, pulses := lit(trial.Must(banding.BitPlanes(code, 8)))
		ref.Near(t, "T-BAND-GREY", on, float64(code)/255, "planes", code)
		// Neighbouring bits join.
		want := 0
		for b := range 8 {
			if code>>b&1 == 1 && code>>(b+1)&1 == 0 {
				want++
			}
		}
		assert.Equal(t, want, pulses, "planes of %b", code)
		for _, n := range []int{1, 3, 16, 100, 255} {
			units := math.Ceil(255 / float64(n))
			w := trial.Must(banding.Scattered(code, 8, n))
			on, pulses = lit(w)
			ref.Near(t, "T-BAND-GREY", on, float64(code)/(units*float64(n)), "scattered", code, n)
			if code < n*int(units-1) {
				assert.Equal(t, min(code, n), pulses, "%d pulses of code %d", n, code)
			}
		}
	}
	for _, code := range []int{1, 32767, 65535} {
		on, _ := lit(trial.Must(banding.Scattered(code, 16, 2048)))
		ref.Near(t, "T-BAND-GREY", on, float64(code)/65536, "scattered", code)
	}
}

func TestWaveforms(t *testing.T) {
	for name, tc := range map[string]struct{ got, want banding.Waveform }{
		"pulse":         {trial.Must(banding.Pulse(0.3)), banding.Waveform{{From: 0, Level: 1}, {From: 0.3, Level: 0}}},
		"always on":     {trial.Must(banding.Pulse(1)), banding.Waveform{{From: 0, Level: 1}}},
		"101 in planes": {trial.Must(banding.BitPlanes(5, 3)), banding.Waveform{{From: 0, Level: 1}, {From: 4. / 7, Level: 0}, {From: 6. / 7, Level: 1}}},
		"010 in planes": {trial.Must(banding.BitPlanes(2, 3)), banding.Waveform{{From: 0, Level: 0}, {From: 4. / 7, Level: 1}, {From: 6. / 7, Level: 0}}},
		// 7 units of 2 in each of 4 pulses: 1, 1, 2 and 1.
		"5 in four pulses": {trial.Must(banding.Scattered(5, 3, 4)), banding.Waveform{
			{From: 0, Level: 1}, {From: 1. / 8, Level: 0}, {From: 2. / 8, Level: 1}, {From: 3. / 8, Level: 0}, {From: 4. / 8, Level: 1}, {From: 5. / 8, Level: 0}, {From: 6. / 8, Level: 1},
		}},
		"samples": {trial.Must(banding.Sampled([]float64{2, 0, 1})), banding.Waveform{{From: 0, Level: 2}, {From: 1. / 3, Level: 0}, {From: 2. / 3, Level: 1}}},
	} {
		assert.Empty(t, cmp.Diff(tc.want, tc.got, cmpopts.EquateApprox(0, 1e-15)), name)
	}
	for _, duty := range []float64{0, -1, math.Nextafter(1, 2), math.NaN()} {
		assert.ErrorIs(t, trial.Second(banding.Pulse(duty)), banding.ErrInvalid, duty)
	}
	for _, tc := range [][2]int{{0, 8}, {256, 8}, {1, 0}, {1, 17}, {-1, 8}, {1, math.MaxInt}, {1, math.MinInt}} {
		trial.Refused(t, banding.ErrInvalid, trial.Second(banding.BitPlanes(tc[0], tc[1])), trial.Second(banding.Scattered(tc[0], tc[1], 4)))
	}
	trial.Refused(t, banding.ErrInvalid,
		trial.Second(banding.Scattered(1, 8, 0)), trial.Second(banding.Scattered(1, 8, 2049)), trial.Second(banding.Scattered(1, 8, -1)),
		trial.Second(banding.Sampled(nil)), trial.Second(banding.Sampled(make([]float64, 4))), trial.Second(banding.Sampled(make([]float64, 4097))), trial.Second(banding.Sampled([]float64{1, math.Inf(1)})),
		trial.Second(banding.InOrder(-1)), trial.Second(banding.InOrder(1025)))
	assert.Equal(t, []int{0, 1, 2}, trial.Must(banding.InOrder(3)))
}
