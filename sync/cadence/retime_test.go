package cadence_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/cadence"
	"example.com/platewright/sync/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// counter runs through a clip in whole steps, so many to a source frame.
type counter struct{ perFrame, frame, rest int64 }

func (c *counter) move(steps int64) {
	for c.rest += steps; c.rest >= c.perFrame; c.rest -= c.perFrame {
		c.frame++
	}
	for ; c.rest < 0; c.rest += c.perFrame {
		c.frame--
	}
}

// parts are what a method makes of the place of the counter, with the steps of an
// output frame.
func (c counter) parts(m cadence.Method, steps int64) (parts []cadence.Part) {
	passed := map[int64]int64{}
	switch all := int64(0); m {
	case cadence.Hold:
		passed[c.frame]++
	case cadence.Nearest:
		c.move(c.perFrame / 2)
		passed[c.frame]++
	case cadence.Blend:
		// A frame on either side weighs the more, the fewer steps away it begins.
		for range c.perFrame - c.rest {
			passed[c.frame]++
		}
		for range c.rest {
			passed[c.frame+1]++
		}
	default:
		for ; all != steps; all += sign(steps) {
			if steps < 0 {
				c.move(-1)
			}
			passed[c.frame]++
			if steps > 0 {
				c.move(1)
			}
		}
		if steps == 0 {
			passed[c.frame]++
		}
	}
	low, high, all := int64(math.MaxInt64), int64(math.MinInt64), int64(0)
	for frame, n := range passed {
		low, high, all = min(low, frame), max(high, frame), all+n
	}
	for frame := low; frame <= high; frame++ {
		if n := passed[frame]; n > 0 {
			w := big.NewRat(n, all)
			parts = append(parts, cadence.Part{Frame: frame, Num: w.Num().Int64(), Den: w.Denom().Int64()})
		}
	}
	return parts
}

func sign(x int64) int64 {
	if x < 0 {
		return -1
	}
	return 1
}

// TestRetimeAgainstACounter runs clips at many speeds, forward and backward.
func TestRetimeAgainstACounter(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(81, 82))
	for n := range 120 {
		source, output := trial.Rates()[rng.IntN(17)], trial.Rates()[rng.IntN(17)]
		c := counter{perFrame: 2 * (1 + rng.Int64N(40)), frame: rng.Int64N(200) - 100}
		c.rest = rng.Int64N(c.perFrame)
		steps := rng.Int64N(8*c.perFrame) - 4*c.perFrame
		if n%10 == 0 {
			steps = 0
		}
		// A step is 1/(source · perFrame) seconds of the clip.
		num, den := source.Ratio()
		step := trial.Seconds(den, num*c.perFrame)
		num, den = output.Ratio()
		spec := cadence.RetimeSpec{
			Source: source, Output: output, Method: cadence.Method(1 + n%4),
			Speed: trial.Must(trial.Must(step.Scale(steps, 1)).Scale(num, den)),
			Start: trial.Must(step.Scale(c.frame*c.perFrame+c.rest, 1)),
		}
		r := trial.Must(cadence.NewRetime(spec))
		assert.Equal(t, r, trial.Must(cadence.NewRetime(spec)))
		var counts cadence.Counts
		back := c
		back.move(-steps)
		before := back.parts(spec.Method, steps)
		for frame := range int64(30) {
			want := c.parts(spec.Method, steps)
			got := trial.Must(r.Frame(frame))
			ref.Equal(t, "T-RETIME-STEPS", cmp.Diff(want, got), "", spec, frame)
			counts.Frames++
			if cmp.Equal(before, want) {
				counts.Repeated++
			}
			counts.Skipped += gap(before, want)
			before = want
			c.move(steps)
		}
		ref.Equal(t, "T-RETIME-DAY", trial.Must(r.Count(0, 30)), counts, spec)
	}
}

// gap is the number of whole numbers between two ranges.
func gap(a, b []cadence.Part) (n int64) {
	covered := map[int64]bool{}
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for _, p := range append(append([]cadence.Part(nil), a...), b...) {
		covered[p.Frame] = true
		low, high = min(low, p.Frame), max(high, p.Frame)
	}
	for f := low; f <= high; f++ {
		if !covered[f] {
			n++
		}
	}
	return n
}

// TestRetimeOverADay runs days of frames one by one.
func TestRetimeOverADay(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct {
		source, output timing.Rate
		speed          timing.Seconds
		perFrame       int64 // steps of the counter in a source frame
		steps          int64 // and in an output frame
	}{
		{trial.Rate(24000, 1001), trial.Rate(24, 1), trial.Seconds(1, 1), 1001, 1000},
		{trial.Rate(24, 1), trial.Rate(24000, 1001), trial.Seconds(1, 1), 1000, 1001},
		{trial.Rate(60000, 1001), trial.Rate(24, 1), trial.Seconds(-1, 1), 1001, -2500},
		{trial.Rate(24000, 1001), trial.Rate(24000, 1001), trial.Seconds(997, 1000), 1000, 997},
	} {
		r := trial.Must(cadence.NewRetime(cadence.RetimeSpec{Source: tc.source, Output: tc.output, Speed: tc.speed, Method: cadence.Hold}))
		c, before := counter{perFrame: tc.perFrame}, int64(0)
		c.move(-tc.steps)
		before = c.frame
		c.move(tc.steps)
		var want cadence.Counts
		day := trial.Must(tc.output.Frame(trial.Seconds(86400, 1), timing.Ceil))
		for n := range day {
			want.Frames++
			if c.frame == before {
				want.Repeated++
			}
			want.Skipped += max(0, max(c.frame-before, before-c.frame)-1)
			if n%9973 == 0 || n > day-50 {
				ref.Equal(t, "T-RETIME-DAY", trial.Must(r.Frame(n))[0], cadence.Part{Frame: c.frame, Num: 1, Den: 1}, tc, n)
			}
			before = c.frame
			c.move(tc.steps)
		}
		ref.Equal(t, "T-RETIME-DAY", trial.Must(r.Count(0, day)), want, tc)
	}
}

func TestPatterns(t *testing.T) {
	real := trial.Seconds(1, 1)
	for _, tc := range []struct {
		source, output int64
		speed, start   timing.Seconds
		method         cadence.Method
		want           string
	}{
		{24, 60, real, trial.Seconds(1, 120), cadence.Hold, "2:3"},
		{24, 60, real, timing.Seconds{}, cadence.Hold, "3:2"},
		{24, 50, real, trial.Seconds(11, 600), cadence.Hold, "2:2:2:2:2:2:2:2:2:2:2:3"}, // two more fields a second
		{24, 48, real, timing.Seconds{}, cadence.Hold, "2"},
		{24, 120, real, timing.Seconds{}, cadence.Hold, "5"},
		{24, 30, real, trial.Seconds(1, 40), cadence.Hold, "1:1:1:2"},
		{25, 50, real, timing.Seconds{}, cadence.Hold, "2"},
		{60, 24, real, timing.Seconds{}, cadence.Hold, "1:0:1:0:0"},
		{60, 24, real, timing.Seconds{}, cadence.Nearest, "1:0:0:1:0"},
		{30, 24, real, timing.Seconds{}, cadence.Hold, "1:1:1:1:0"},
		{24, 24, trial.Seconds(1, 2), timing.Seconds{}, cadence.Hold, "2"},
		{24, 24, trial.Seconds(-1, 3), timing.Seconds{}, cadence.Hold, "3"}, // backwards at a third of the speed
		{24, 24, trial.Seconds(-2, 1), timing.Seconds{}, cadence.Hold, "1:0"},
		{24, 24, real, trial.Seconds(7, 48), cadence.Nearest, "1"},
		{24, 60, trial.Seconds(-1, 1), timing.Seconds{}, cadence.Hold, "3:2"},
		{60, 24, trial.Seconds(-1, 1), timing.Seconds{}, cadence.Hold, "1:0:0:1:0"},
	} {
		r := trial.Must(cadence.NewRetime(cadence.RetimeSpec{Source: trial.Rate(tc.source, 1), Output: trial.Rate(tc.output, 1), Speed: tc.speed, Start: tc.start, Method: tc.method}))
		ref.Equal(t, "T-RETIME-PATTERN", trial.Must(r.Pattern()).String(), tc.want, tc)
	}
	// Four film frames A, B, C and D make five interlaced frames of two fields each, of
	// which the third and the fourth are mixed: AA BB BC CD DD.
	fields := trial.Must(cadence.NewRetime(cadence.RetimeSpec{
		Source: trial.Rate(24000, 1001), Output: trial.Rate(60000, 1001), Speed: real, Start: trial.Seconds(1001, 120000), Method: cadence.Hold,
	}))
	var frames string
	for n := range int64(10) {
		if n > 0 && n%2 == 0 {
			frames += " "
		}
		frames += string(rune('A' + trial.Must(fields.Frame(n))[0].Frame))
	}
	ref.Equal(t, "T-RETIME-PATTERN", [2]string{trial.Must(fields.Pattern()).String(), frames}, [2]string{"2:3", "AA BB BC CD DD"})
}

// TestAverageByHand takes 60 frames a second to 24: each output frame lasts two source
// frames and a half.
func TestAverageByHand(t *testing.T) {
	for speed, want := range map[int64][]cadence.Part{1: {{2, 1, 5}, {3, 2, 5}, {4, 2, 5}}, -1: {{-5, 2, 5}, {-4, 2, 5}, {-3, 1, 5}}} {
		r := trial.Must(cadence.NewRetime(cadence.RetimeSpec{Source: trial.Rate(60, 1), Output: trial.Rate(24, 1), Speed: trial.Seconds(speed, 1), Method: cadence.Average}))
		ref.Equal(t, "T-RETIME-STEPS", cmp.Diff(want, trial.Must(r.Frame(1))), "", speed)
	}
}

func TestWeight(t *testing.T) {
	ref.Near(t, "T-RETIME-WEIGHT", cadence.Part{Num: 1, Den: 3}.Weight(), 0.3333333333333333)
	ref.Near(t, "T-RETIME-WEIGHT", cadence.Part{Num: 5, Den: 8}.Weight(), 0.625)
	assert.Zero(t, cadence.Part{}.Weight())
}

func TestRetimesRefused(t *testing.T) {
	good := cadence.RetimeSpec{Source: trial.Rate(24, 1), Output: trial.Rate(60, 1), Speed: trial.Seconds(1, 1), Method: cadence.Hold}
	for want, change := range map[string]func(*cadence.RetimeSpec){
		"cadence: source rate: must be set\ncadence: output rate: must be set\ncadence: method Method(0): must be hold, nearest, blend or average": func(s *cadence.RetimeSpec) {
			*s = cadence.RetimeSpec{}
		},
		"cadence: speed 163843 s: must take the source at most 65536 frames further in a frame of the output, not 65537.2":   func(s *cadence.RetimeSpec) { s.Speed = trial.Seconds(163843, 1) },
		"cadence: speed -163843 s: must take the source at most 65536 frames further in a frame of the output, not -65537.2": func(s *cadence.RetimeSpec) { s.Speed = trial.Seconds(-163843, 1) },
		"speed: sync: time 9223372036854775807 s · 24/1: the product must fit a fraction of int64": func(s *cadence.RetimeSpec) {
			s.Speed, s.Output = trial.Seconds(math.MaxInt64, 1), trial.Rate(1, 1)
		},
	} {
		spec := good
		change(&spec)
		err := trial.Second(cadence.NewRetime(spec))
		assert.EqualError(t, err, want)
		assert.ErrorIs(t, err, cadence.ErrInvalid)
	}
	// Half a frame too fast, and the last frame of all with a part of the next.
	half := good
	half.Speed = trial.Seconds(163840*131072+163840, 131072)
	assert.ErrorIs(t, trial.Second(cadence.NewRetime(half)), cadence.ErrInvalid)
	last := cadence.RetimeSpec{Source: trial.Rate(1000, 1), Output: trial.Rate(1000, 1), Speed: trial.Seconds(1, 1), Start: trial.Seconds((1<<64-1)/5, 400)}
	for _, last.Method = range []cadence.Method{cadence.Hold, cadence.Nearest, cadence.Blend, cadence.Average} {
		assert.ErrorIs(t, trial.Second(trial.Must(cadence.NewRetime(last)).Frame(0)), cadence.ErrInvalid, last.Method)
	}
	fast := good
	fast.Speed = trial.Seconds(163840, 1)
	fast.Method = cadence.Average
	back := fast
	back.Speed = trial.Seconds(-163840, 1)
	require.NoError(t, trial.Second(cadence.NewRetime(back)))
	assert.Len(t, trial.Must(trial.Must(cadence.NewRetime(fast)).Frame(3)), 65536)

	var none cadence.Retime
	for _, err := range []error{trial.Second(none.Frame(0)), trial.Second(none.Count(0, 1)), trial.Second(none.Pattern())} {
		assert.EqualError(t, err, "cadence: retime: must be set")
	}
	freeze := good
	freeze.Speed = timing.Seconds{}
	assert.EqualError(t, trial.Second(trial.Must(cadence.NewRetime(freeze)).Pattern()), "cadence: speed 0 s: must not be 0 s: a freeze has no pattern")
	assert.Equal(t, cadence.Counts{Frames: 10, Repeated: 10}, trial.Must(trial.Must(cadence.NewRetime(freeze)).Count(0, 10)))
	mixed := good
	mixed.Method = cadence.Blend
	assert.EqualError(t, trial.Second(trial.Must(cadence.NewRetime(mixed)).Pattern()), "cadence: method blend: must be hold or nearest: others mix frames")
	long := good
	long.Speed = trial.Seconds(1<<20+1, 1<<22)
	assert.EqualError(t, trial.Second(trial.Must(cadence.NewRetime(long)).Pattern()), "cadence: speed 1048577/4194304 s: must come again after at most 1048576 frames, not 1048577 of the source in 10485760 of the output")
	far := good
	far.Start = trial.Seconds(math.MaxInt64, 3)
	r := trial.Must(cadence.NewRetime(far))
	for _, err := range []error{trial.Second(r.Frame(0)), trial.Second(r.Count(0, 1)), trial.Second(r.Pattern())} {
		assert.ErrorContains(t, err, "must fit")
		assert.ErrorIs(t, err, cadence.ErrInvalid)
	}
	least := good
	least.Source, least.Output, least.Speed = trial.Rate(1, 1), trial.Rate(1, 1), trial.Seconds(math.MinInt64, math.MaxInt64)
	require.ErrorIs(t, trial.Second(trial.Must(cadence.NewRetime(least)).Count(0, 1)), cadence.ErrInvalid)
	require.ErrorIs(t, trial.Second(trial.Must(cadence.NewRetime(least)).Pattern()), cadence.ErrInvalid)
	// Frames of many parts are counted one by one for a while only.
	fast.Source = trial.Rate(24000, 1001)
	assert.ErrorContains(t, trial.Second(trial.Must(cadence.NewRetime(fast)).Count(0, 1000)), "must be at most 16, since")
	far = good
	far.Speed = trial.Seconds(3, 1)
	require.ErrorIs(t, trial.Second(trial.Must(cadence.NewRetime(far)).Frame(math.MaxInt64)), cadence.ErrInvalid)
}
