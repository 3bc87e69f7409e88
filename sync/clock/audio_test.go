package clock_test

import (
	"math"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func audio(frames timing.Rate, samples int64, rounding timing.Rounding) clock.Audio {
	return trial.Must(clock.NewAudio(clock.AudioSpec{Frames: frames, Samples: trial.Rate(samples, 1), Rounding: rounding}))
}

func TestPublishedSequences(t *testing.T) {
	for _, c := range []struct {
		rate timing.Rate
		want []int64
	}{
		{trial.Rate(30000, 1001), []int64{1602, 1601, 1602, 1601, 1602}},
		{trial.Rate(24000, 1001), []int64{2002}}, {trial.Rate(24, 1), []int64{2000}}, {trial.Rate(25, 1), []int64{1920}}, {trial.Rate(50, 1), []int64{960}},
	} {
		got := audio(c.rate, 48000, timing.Nearest).Sequence()
		ref.Equal(t, "T-AUDIO-ORDER", slices.Equal(got, c.want), true, c.rate, got)
	}
	// What the doc comment of Sequence says.
	sixty := trial.Rate(60000, 1001)
	assert.Equal(t, []int64{801, 801, 800, 801, 801}, audio(sixty, 48000, timing.Nearest).Sequence())
	assert.Equal(t, []int64{801, 801, 801, 801, 800}, audio(sixty, 48000, timing.Ceil).Sequence())
	assert.Equal(t, []int64{1602, 1602, 1601, 1602, 1601}, audio(trial.Rate(30000, 1001), 48000, timing.Ceil).Sequence())
	assert.Equal(t, []int64{1601, 1602, 1601, 1602, 1602}, audio(trial.Rate(30000, 1001), 48000, timing.Floor).Sequence())
	given := []int64{800, 801, 801, 801, 801, 801, 801, 801, 801, 800}
	a := trial.Must(clock.NewAudio(clock.AudioSpec{Frames: sixty, Samples: trial.Rate(48000, 1), Sequence: given}))
	assert.Equal(t, given, a.Sequence())
	assert.EqualValues(t, 4004, trial.Must(a.Sample(5)))
}

// TestSamplesOneByOne puts each sample into the frame in which it begins: a sample at
// the very beginning of a frame belongs to it, as with ceil.
func TestSamplesOneByOne(t *testing.T) {
	near.NumbersOnly(t)
	for _, r := range trial.Rates() {
		for _, samples := range []int64{44100, 48000, 96000} {
			num, den := r.Ratio()
			a := audio(r, samples, timing.Ceil)
			frame, place := int64(0), int64(-1)
			for k := range samples {
				place++
				for (frame+1)*den*samples <= k*num {
					frame, place = frame+1, 0
				}
				n, in, err := a.Frame(k)
				if err != nil || n != frame || in != place {
					t.Fatalf("sample %d at %s is sample %d of frame %d, %v, want %d of %d", k, r, in, n, err, place, frame)
				}
				if place == 0 {
					ref.Equal(t, "T-AUDIO-COUNT", trial.Must(a.Sample(frame)), k, r)
				}
			}
		}
	}
}

// Over a day every frame is found by its first sample, and the one before by the sample
// before.
func TestSamplesOverADay(t *testing.T) {
	near.NumbersOnly(t)
	a := audio(trial.Rate(30000, 1001), 48000, timing.Nearest)
	ref.Equal(t, "T-AUDIO-COUNT", trial.Must(a.Sample(30000)), 48048000)
	ref.Equal(t, "T-AUDIO-COUNT", trial.Must(a.Sample(-30000)), -48048000)
	for n := int64(-40); n < 2589410; n += 1 + n/10_000 {
		first := trial.Must(a.Sample(n))
		in, place, err := a.Frame(first)
		before, last, err2 := a.Frame(first - 1)
		if err != nil || err2 != nil || in != n || place != 0 || before != n-1 || last != first-1-trial.Must(a.Sample(n-1)) {
			t.Fatalf("frame %d begins at sample %d, which is %d of frame %d, and the one before is %d of %d", n, first, place, in, last, before)
		}
	}
	for _, edge := range []int64{math.MaxInt64, math.MinInt64 + 8008} {
		n, place, err := a.Frame(edge)
		require.NoError(t, err)
		if edge < 0 {
			assert.Equal(t, edge, trial.Must(a.Sample(n))+place)
		}
	}
	trial.Refused(t, clock.ErrInvalid, trial.Second(a.Sample(math.MaxInt64)), trial.Second(a.Sample(math.MinInt64)))
	_, _, err := a.Frame(math.MinInt64 + 8007)
	assert.ErrorIs(t, err, clock.ErrInvalid)
}

func TestAudiosRefused(t *testing.T) {
	good := clock.AudioSpec{Frames: trial.Rate(30000, 1001), Samples: trial.Rate(48000, 1)}
	for why, spoil := range map[string]func(*clock.AudioSpec){
		"frame rate: must be set":     func(s *clock.AudioSpec) { s.Frames = timing.Rate{} },
		"sample rate: must be set":    func(s *clock.AudioSpec) { s.Samples = timing.Rate{} },
		"rounding":                    func(s *clock.AudioSpec) { s.Rounding = 7 },
		"at least the frame rate, 30": func(s *clock.AudioSpec) { s.Samples = trial.Rate(29, 1) },
		"a multiple of 5 frames":      func(s *clock.AudioSpec) { s.Sequence = []int64{1602, 1601, 1602, 1601} },
		"hold 8008 samples in 5":      func(s *clock.AudioSpec) { s.Sequence = []int64{1602, 1602, 1602, 1601, 1602} },
		"frame 1 0 samples":           func(s *clock.AudioSpec) { s.Sequence = []int64{3203, 0, 1602, 1601, 1602} },
		"frame 4 4294967297 samples":  func(s *clock.AudioSpec) { s.Sequence = []int64{1602, 1601, 1602, 1601, 1<<32 + 1} },
		"frames: must begin again":    func(s *clock.AudioSpec) { s.Samples = trial.Rate(48000001, 1000) },
		"10005 frames: must begin":    func(s *clock.AudioSpec) { s.Sequence = make([]int64, 10005) },
	} {
		spec := good
		spoil(&spec)
		a, err := clock.NewAudio(spec)
		assert.ErrorIs(t, err, clock.ErrInvalid, why)
		assert.ErrorContains(t, err, why)
		assert.Zero(t, a)
	}
	var none clock.Audio
	assert.Nil(t, none.Sequence())
	trial.Refused(t, clock.ErrInvalid, trial.Second(none.Sample(0)))
	_, _, err := none.Frame(0)
	assert.ErrorIs(t, err, clock.ErrInvalid)
}
