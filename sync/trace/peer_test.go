package trace_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Frames of a photograph, the second shifted by up to three pixels, with noise of 1 % of what they mostly span.
func TestShiftsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "shift")
	errors := map[string][]float64{}
	for k := range 60 {
		r := same.Random{Seed: uint64(100 + k)}
		x, y := 20*256+r.Below(400*256), 84*256+r.Below(60*256)
		dx, dy := r.Below(769)-384, r.Below(769)-384
		var m trace.ShiftMeter[uint16]
		var got trace.Shift
		for i := range 2 {
			var err error
			got, err = m.Add(trace.Plane[uint16]{Pix: r.Record(same.Crop(t, x-i*dx, y-i*dy, 128, 128, 96), 100), Width: 128, Height: 96})
			require.NoError(t, err)
		}
		if !got.Known {
			got.X = math.NaN()
		}
		errors["ours"] = append(errors["ours"], math.Hypot(got.X-float64(dx)/128, got.Y-float64(dy)/128))
		for peer, a := range answers {
			errors[peer] = append(errors[peer], math.Hypot(a[k][0]-float64(dx)/128, a[k][1]-float64(dy)/128))
		}
	}
	ref.Within(t, "T-SHIFT-PEERS", same.Behind(t, "shift, px", errors))
}

// A light that changes every four frames, in two recordings that began at different times.
func TestOffsetsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "offset")
	errors := map[string][]float64{}
	for k := range 60 {
		r := same.Random{Seed: uint64(300 + k)}
		v := make([]int, 0, 200*128)
		for range 200 {
			level := r.Below(1000)
			for range 128 {
				v = append(v, level)
			}
		}
		sum := func(v []int, n int) []int { // of n values
			out := make([]int, len(v)-n+1)
			total := 0
			for i, x := range v {
				if total += x; i >= n {
					total -= v[i-n]
				}
				if i >= n-1 {
					out[i-n+1] = total
				}
			}
			return out
		}
		v = sum(sum(sum(v, 128), 128), 16)
		first := 200 + r.Below(3200)
		record := func(first int) trace.Trace {
			out := trace.Trace{Rate: trial.Rate(24, 1)}
			for i := range 500 {
				out.Values = append(out.Values, float64(v[first+32*i]+(4_000_000*r.Noise())>>16))
			}
			return out
		}
		a := record(0)
		o, err := trace.MeasureOffset(a, record(first))
		require.NoError(t, err)
		errors["ours"] = append(errors["ours"], 24*float64(o.Time)-float64(first)/32)
		for peer, a := range answers {
			errors[peer] = append(errors[peer], a[k][0]-float64(first)/32)
		}
	}
	ref.Within(t, "T-OFFSET-PEERS", same.Behind(t, "offset, frames", errors))
}

// A position that swings, on a pan, by its shifts from frame to frame.
func TestVibrationsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "vibration")
	frequencies, amplitudes := map[string][]float64{}, map[string][]float64{}
	for k := range 50 {
		r := same.Random{Seed: uint64(600 + k)}
		f, size, turn := 2+float64(r.Below(9_000_000))/1e6, 0.3+float64(r.Below(700))/1000, float64(r.Below(6000))/1000
		at := func(n int) float64 { return size * math.Sin(2*math.Pi*f*float64(n)/24+turn) }
		var shifts []trace.Shift
		for n := range 300 {
			shifts = append(shifts, trace.Shift{X: at(n+1) - at(n) + 2 + float64(r.Noise())/65536*0.1, Known: true})
		}
		got, err := trace.MeasureVibration(shifts, trial.Rate(24, 1))
		require.NoError(t, err)
		if assert.NotEmpty(t, got.Peaks, k) {
			frequencies["ours"] = append(frequencies["ours"], float64(got.Peaks[0].Frequency)-f)
			amplitudes["ours"] = append(amplitudes["ours"], got.Peaks[0].X-size)
		}
		for peer, a := range answers {
			frequencies[peer] = append(frequencies[peer], a[k][0]-f)
			amplitudes[peer] = append(amplitudes[peer], a[k][1]-size)
		}
	}
	ref.Within(t, "T-VIBRATION-PEERS", same.Behind(t, "frequency, Hz", frequencies), "frequency")
	ref.Within(t, "T-VIBRATION-PEERS", same.Behind(t, "amplitude, px", amplitudes), "amplitude")
}
