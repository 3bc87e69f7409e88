package flicker_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/flicker"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// findings runs frames of colours through a monitor.
func findings(t *testing.T, spec flicker.MonitorSpec, frames ...[]float32) map[flicker.Criterion]flicker.Finding {
	t.Helper()
	m := trial.Must(flicker.NewMonitor(spec))
	for _, f := range frames {
		require.NoError(t, m.Add(f))
	}
	return byCriterion(m.Report())
}

func byCriterion(r flicker.Report) map[flicker.Criterion]flicker.Finding {
	of := map[flicker.Criterion]flicker.Finding{}
	for _, f := range r.Findings {
		of[f.Criterion] = f
	}
	return of
}

// levels runs a sequence of luminances, in one block.
func levels(t *testing.T, spec flicker.MonitorSpec, luminance ...float64) map[flicker.Criterion]flicker.Finding {
	t.Helper()
	m := trial.Must(flicker.NewMonitor(spec))
	for _, v := range luminance {
		require.NoError(t, m.AddLuminance([]float64{v}))
	}
	return byCriterion(m.Report())
}

// digits makes luminances of a sequence like "00111".
func digits(s string, dark, bright float64) []float64 {
	var v []float64
	for _, d := range s {
		v = append(v, dark+(bright-dark)*float64(d-'0'))
	}
	return v
}

// second holds all frames of a short sequence.
func second() flicker.MonitorSpec { return flicker.MonitorSpec{Rate: trial.Rate(1000, 1)} }

func TestGeneralFlashes(t *testing.T) {
	at25 := flicker.MonitorSpec{Rate: trial.Rate(25, 1)}
	for _, tc := range []struct {
		id     string
		spec   flicker.MonitorSpec
		levels []float64
		want   float64 // transitions
	}{
		{"T-FLASH-TRANSITIONS", second(), []float64{0, .02, .02, .07, .10, .20, .10, .20, .15, .15, .09, -.01 + .01}, 4},
		{"T-FLASH-TRANSITIONS", second(), []float64{.8, 1, .85}, 0},
		{"T-FLASH-TRANSITIONS", second(), []float64{.6, 1, .4}, 2},
		{"T-FLASH-TRANSITIONS", second(), digits("0101010101010101", .830770, 1), 0},
		{"T-FLASH-TRANSITIONS", at25, digits("0000011100011100000000000000011100011100000000000000011100011100000", 0, 1), 5},
	} {
		got := levels(t, tc.spec, tc.levels...)[flicker.GeneralFlash]
		ref.Equal(t, tc.id, 2*got.Flashes, tc.want, tc.levels)
		assert.True(t, got.WithinLimits, tc.levels)
		assert.EqualValues(t, -1, got.Over)
	}
	// The text itself: a change of 0.10 or more, the darker state below 0.80.
	for _, tc := range []struct{ dark, bright, want float64 }{
		{0, .1, 1}, {0, .0999, 0}, {.7, .8, 1}, {.7999, .9, 1}, {.8, .9, 0}, {.8, 5, 0}, {.79, .8899, 0}, {.3, .4, 1},
	} {
		for _, l := range [][]float64{{tc.dark, tc.bright}, {tc.bright, tc.dark}} {
			ref.Equal(t, "T-FLASH-GENERAL", 2*levels(t, second(), l...)[flicker.GeneralFlash].Flashes, tc.want, l)
		}
	}
}

// TestWeightsOfColours: how much darker or brighter a grey must be than a colour.
func TestWeightsOfColours(t *testing.T) {
	for _, tc := range []struct {
		colour    []float32
		luminance float32
	}{{[]float32{1, 0, 0}, .2126}, {[]float32{0, 1, 0}, .7152}, {[]float32{0, 0, 1}, .0722}, {[]float32{.5, .5, .5}, .5}} {
		for step, want := range map[float32]float64{.0999: 0, .1001: 1} {
			v := tc.luminance + step
			got := findings(t, second(), tc.colour, []float32{v, v, v})[flicker.GeneralFlash]
			ref.Equal(t, "T-FLASH-WEIGHTS", 2*got.Flashes, want, tc.colour, step)
		}
	}
}

// TestTheLimit: 6 transitions pass, 7 do not.
func TestTheLimit(t *testing.T) {
	for s, want := range map[string]bool{"0101010": true, "01010101": false, "010101010": false} {
		got := levels(t, flicker.MonitorSpec{Rate: trial.Rate(10, 1)}, digits(s, 0, 1)...)[flicker.GeneralFlash]
		ref.Equal(t, "T-FLASH-LIMIT", got.WithinLimits, want, s)
		if !want {
			assert.EqualValues(t, 7, got.Over)
		}
	}
}

func colours(names string) [][]float32 {
	of := map[rune][]float32{
		'K': {0, 0, 0}, 'W': {1, 1, 1}, 'R': {1, 0, 0}, 'B': {0, 0, 1}, 'G': {0, 1, 0},
		'g': {.2126, .2126, .2126}, // as bright as red
		'r': {.3, 0, 0},            // dark red
		'p': {1, .125, .125},       // 0.8 exactly
		'q': {1, .126, .125},       // just below
	}
	var frames [][]float32
	for _, n := range names {
		frames = append(frames, of[n])
	}
	return frames
}

func TestRedFlashes(t *testing.T) {
	for _, tc := range []struct {
		id, names              string
		general, red, olderRed float64 // transitions
	}{
		{"T-FLASH-COLOURS", "KWRWR", 4, 3, 3},
		{"T-FLASH-COLOURS", "WKWKWKRgRgr", 7, 5, 5},
	} {
		got := findings(t, flicker.MonitorSpec{Rate: trial.Rate(10, 1)}, colours(tc.names)...)
		for c, want := range map[flicker.Criterion]float64{flicker.GeneralFlash: tc.general, flicker.RedFlash: tc.red, flicker.OlderRedFlash: tc.olderRed} {
			ref.Equal(t, tc.id, 2*got[c].Flashes, want, tc.names, c)
			ref.Equal(t, tc.id, got[c].WithinLimits, want <= 6, tc.names, c)
		}
	}
	for names, want := range map[string]float64{"RW": 1, "WR": 1, "RB": 1, "BR": 1, "RG": 1, "GR": 1, "Rp": 0, "pR": 0, "pW": 0, "WB": 0, "qR": 0} {
		ref.Equal(t, "T-FLASH-RED", 2*findings(t, second(), colours(names)...)[flicker.RedFlash].Flashes, want, names)
	}
	for names, want := range map[string]float64{"RK": 1, "KR": 1, "RKRK": 3, "KRWR": 3, "KK": 0, "rK": 1} {
		got := findings(t, second(), colours(names)...)
		ref.Equal(t, "T-FLASH-RED-BLACK", 2*got[flicker.OlderRedFlash].Flashes, want, names)
		assert.InDelta(t, want, 2*got[flicker.RedFlash].Flashes, 0, "%s: as under the older criterion", names)
	}
	// More than 20, and one of the two a saturated red.
	for _, tc := range []struct {
		from, to []float32
		want     float64
	}{
		{[]float32{0, 0, 0}, []float32{.0625, 0, 0}, 0}, {[]float32{0, 0, 0}, []float32{.0626, 0, 0}, 1},
		{[]float32{1, 1, 0}, []float32{1, .5, 0}, 0},     // neither is
		{[]float32{1, .5, 0}, []float32{.1, 0, 0}, 1},    // the one with less
		{[]float32{.1, .5, .5}, []float32{.06, 0, 0}, 0}, // negative values are 0
		{[]float32{.5, .0625, .0625}, []float32{.25, .0625, .0625}, 1},
		{[]float32{.5, .0626, .0625}, []float32{.25, .0625, .0625}, 0}, // 0.7998
	} {
		for _, f := range [][][]float32{{tc.from, tc.to}, {tc.to, tc.from}} {
			ref.Equal(t, "T-FLASH-OLDER", 2*findings(t, second(), f...)[flicker.OlderRedFlash].Flashes, tc.want, f)
		}
	}
}

func TestAbsoluteFlashes(t *testing.T) {
	spec := second()
	spec.White = 1000
	for _, tc := range []struct{ dark, bright, want float64 }{ // cd/m²
		{0, 20, 1}, {0, 19.99, 0}, {159, 179, 1}, {159, 178.9, 0}, {160, 180, 1}, {160, 179.9, 0}, {180, 200, 0}, {320, 360, 1}, {320, 359, 0}, {800, 900, 1}, {800, 899, 0},
	} {
		for _, l := range [][]float64{{tc.dark / 1000, tc.bright / 1000}, {tc.bright / 1000, tc.dark / 1000}} {
			ref.Equal(t, "T-FLASH-ABSOLUTE", 2*levels(t, spec, l...)[flicker.AbsoluteFlash].Flashes, tc.want, l)
		}
	}
	assert.NotContains(t, levels(t, second(), 0, 1), flicker.AbsoluteFlash, "white is not known")
}

// longest is the largest number of transitions that any choice of frames gives: all
// pairs of frames, in all orders that fit, by dynamic programming.
func longest(n int, rises, falls func(i, j int) bool) float64 {
	best := [2][]float64{make([]float64, n), make([]float64, n)} // that end at or before a frame with a rise, a fall
	for j := range n {
		for d, is := range []func(i, j int) bool{rises, falls} {
			for i := range j {
				if is(i, j) {
					best[d][j] = max(best[d][j], 1+best[1-d][i])
				}
			}
			if j > 0 {
				best[d][j] = max(best[d][j], best[d][j-1])
			}
		}
	}
	return max(best[0][n-1], best[1][n-1])
}

func TestNoChoiceOfFramesGivesMore(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(3, 5))
	spec := second()
	spec.White = 300
	for range 300 {
		n := 2 + rng.IntN(40)
		v, step := make([]float64, n), math.Pow(10, -2*rng.Float64())
		for i := range v {
			v[i] = rng.Float64()
			if i > 0 && rng.IntN(3) > 0 { // small steps with reversals
				v[i] = math.Abs(v[i-1] + step*(rng.Float64()-0.5))
			}
		}
		got := levels(t, spec, v...)
		general := func(dark, bright int) bool { return v[bright]-v[dark] >= .1 && v[dark] < .8 }
		absolute := func(dark, bright int) bool {
			l, h := 300*v[dark], 300*v[bright]
			return h-l >= 20 && l < 160 || l >= 160 && (h-l)/(h+l) >= 1./17
		}
		for c, is := range map[flicker.Criterion]func(i, j int) bool{flicker.GeneralFlash: general, flicker.AbsoluteFlash: absolute} {
			ref.Equal(t, "T-FLASH-CHOICE", 2*got[c].Flashes, longest(n, is, func(i, j int) bool { return is(j, i) }), c, v)
		}

		// Few colours, so that many lie just at a limit.
		frames := make([][]float32, n)
		for i := range frames {
			k := float32(rng.IntN(5)) / 16
			frames[i] = [][]float32{{.05 + k, 0, k / 8}, {k, k, k}, {1, .125, .2 * k}, {k, .2, 1 - k}, {0, 0, 0}}[rng.IntN(5)]
		}
		red := func(i int) bool { f := frames[i]; return f[0] > 0 && float64(f[0]) >= .8*float64(f[0]+f[1]+f[2]) }
		measure := func(i int) float64 {
			return math.Max(0, 320*(float64(frames[i][0])-float64(frames[i][1])-float64(frames[i][2])))
		}
		older := func(i, j int) bool { return (red(i) || red(j)) && measure(j)-measure(i) > 20 }
		seen := findings(t, second(), frames...)
		ref.Equal(t, "T-FLASH-CHOICE", 2*seen[flicker.OlderRedFlash].Flashes, longest(n, older, func(i, j int) bool { return older(j, i) }), frames)
		into := func(i, j int) bool { return red(j) && !red(i) && apart(frames[i], frames[j]) > .2 }
		want := longest(n, into, func(i, j int) bool { return into(j, i) })
		assert.GreaterOrEqual(t, 2*seen[flicker.RedFlash].Flashes, want, "%v", frames)
		// With one red and one other colour the boxes are exact.
		pair := [][]float32{frames[0], frames[n-1], {0, 0, 0}}
		for i := range frames {
			frames[i] = pair[rng.IntN(3)]
		}
		want = longest(n, into, func(i, j int) bool { return into(j, i) })
		ref.Equal(t, "T-FLASH-CHOICE", 2*findings(t, second(), frames...)[flicker.RedFlash].Flashes, want, frames)
	}
}

// apart is the distance in u′v′ by way of xy: u′ = 4x/(−2x + 12y + 3).
func apart(a, b []float32) float64 {
	var u, v [2]float64
	for i, f := range [][]float32{a, b} {
		if f[0]+f[1]+f[2] == 0 {
			return math.Inf(1)
		}
		var xyz [3]float64
		for k, row := range [][3]float64{{.4124564, .3575761, .1804375}, {.2126729, .7151522, .0721750}, {.0193339, .1191920, .9503041}} {
			for c := range row {
				xyz[k] += row[c] * float64(f[c])
			}
		}
		x, y := xyz[0]/(xyz[0]+xyz[1]+xyz[2]), xyz[1]/(xyz[0]+xyz[1]+xyz[2])
		u[i], v[i] = 4*x/(-2*x+12*y+3), 9*y/(-2*x+12*y+3)
	}
	return math.Hypot(u[0]-u[1], v[0]-v[1])
}

// TestDistancesOfReds: pairs on either side of 0.2 in u′v′.
func TestDistancesOfReds(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	counts := map[bool]int{}
	for range 1000 {
		red := []float32{1, .25 * rng.Float32(), 0}
		other := []float32{1, rng.Float32(), rng.Float32()}
		if other[1]+other[2] < .25 {
			continue // a saturated red too
		}
		d := apart(red, other)
		if math.Abs(d-.2) < 1e-6 {
			continue
		}
		counts[d > .2]++
		want := 0.0
		if d > .2 {
			want = 1
		}
		ref.Equal(t, "T-FLASH-DISTANCE", 2*findings(t, second(), red, other)[flicker.RedFlash].Flashes, want, red, other)
	}
	assert.Greater(t, min(counts[true], counts[false]), 100, "pairs on both sides: %v", counts)
}

// TestRedsAreNear holds what redDetector relies on.
func TestRedsAreNear(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	most := 0.0
	red := func() []float32 {
		g := rng.Float32() * .25
		return []float32{1, g, rng.Float32() * (.25 - g)}
	}
	for range 20000 {
		most = math.Max(most, apart(red(), red()))
	}
	most = math.Max(most, apart([]float32{1, .25, 0}, []float32{1, 0, 0}))
	assert.Less(t, most, 0.15)
	assert.Greater(t, most, 0.14)
	for pair, want := range map[string]float64{"RW": 0.258681584838, "RB": 0.457154992866, "RG": 0.328104130530, "Rp": 0.110860456104} {
		f := colours(pair)
		assert.InDelta(t, want, apart(f[0], f[1]), 1e-7, "rounding of the matrix in the source to 7 digits")
	}
}

// TestTheWorstSecond compares with all windows, in exact fractions.
func TestTheWorstSecond(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 2))
	for _, rate := range append(trial.Rates(), trial.Rate(1, 1), trial.Rate(7, 2)) {
		for range 5 {
			n := 3 * int(math.Ceil(float64(rate.Frequency())))
			v, starts, level := make([]float64, n), []int64{}, 0.0
			for i := range v {
				if i > 0 && rng.IntN(4) == 0 {
					level = 1 - level
					starts = append(starts, int64(i))
				}
				v[i] = level
			}
			got := levels(t, flicker.MonitorSpec{Rate: rate}, v...)[flicker.GeneralFlash]
			most, spacing, over := 0, int64(0), int64(-1)
			for i, from := range starts {
				begin, count := trial.Rat(trial.Must(rate.Time(from))), 0
				for _, to := range starts[i:] {
					end := trial.Rat(trial.Must(rate.Time(to)))
					if end.Sub(end, begin).Cmp(trial.Rat(trial.Seconds(1, 1))) >= 0 {
						break
					}
					if count++; count == 7 && over < 0 {
						over = to
					}
				}
				most = max(most, count)
				if i >= 2 && (spacing == 0 || from-starts[i-2] < spacing) {
					spacing = from - starts[i-2]
				}
			}
			ref.Equal(t, "T-FLASH-SECOND", [3]any{2 * got.Flashes, got.Over, got.SpacingFrames}, [3]any{float64(most), over, spacing}, rate, starts)
			assert.Equal(t, got.Over < 0, got.WithinLimits)
			inside := 0
			for _, s := range starts {
				if got.From <= s && s <= got.To {
					inside++
				}
			}
			assert.Equal(t, most, inside, "transitions from From to To")
		}
	}
}

// TestThreeASecond: evenly spaced, three flashes a second are within the limits, and
// spaced.
func TestThreeASecond(t *testing.T) {
	for _, tc := range []struct {
		rate           timing.Rate
		frames         int // of a flash
		within, spaced bool
	}{
		{trial.Rate(24, 1), 8, true, true}, {trial.Rate(24, 1), 7, false, false},
		{trial.Rate(24000, 1001), 8, true, true},
		{trial.Rate(25, 1), 9, true, true}, {trial.Rate(25, 1), 8, false, false},
		{trial.Rate(50, 1), 18, true, true}, {trial.Rate(50, 1), 17, true, false},
		{trial.Rate(30, 1), 10, true, true}, {trial.Rate(30, 1), 9, false, false}, {trial.Rate(30000, 1001), 10, true, true},
		{trial.Rate(60, 1), 20, true, true}, {trial.Rate(60, 1), 19, false, false}, {trial.Rate(60000, 1001), 20, true, true},
	} {
		var v []float64
		for i := range 10 * tc.frames {
			v = append(v, float64(i%tc.frames*2/tc.frames))
		}
		got := levels(t, flicker.MonitorSpec{Rate: tc.rate}, v...)[flicker.GeneralFlash]
		ref.Equal(t, "T-FLASH-SPACING", got.Spaced, tc.spaced, tc)
		assert.Equal(t, tc.within, got.WithinLimits, "%+v: %+v", tc, got)
		assert.EqualValues(t, tc.frames, got.SpacingFrames)
	}
	once := levels(t, second(), 0, 1, 0)[flicker.GeneralFlash]
	assert.True(t, once.Spaced && once.SpacingFrames == 0, "no second flash: %+v", once)
}

// TestPlaces: what flashes in which part of the picture.
func TestPlaces(t *testing.T) {
	spec := flicker.MonitorSpec{Rate: trial.Rate(24, 1), Columns: 5, Rows: 5}
	run := func(frames int, value func(frame, x, y int) float64) flicker.Finding {
		m := trial.Must(flicker.NewMonitor(spec))
		for f := range frames {
			v := make([]float64, 25)
			for i := range v {
				v[i] = value(f, i%5, i/5)
			}
			require.NoError(t, m.AddLuminance(v))
		}
		return byCriterion(m.Report())[flicker.GeneralFlash]
	}
	row := run(24, func(f, x, y int) float64 { // a fifth
		if y == 3 {
			return float64(f % 2)
		}
		return 0.5
	})
	ref.Equal(t, "T-FLASH-AREA", [3]any{row.Area, row.Flashes, row.WithinLimits}, [3]any{0.2, 0.0, true})
	assert.InDelta(t, 0.2, row.Repeated, 1e-12)
	turns := run(48, func(f, x, y int) float64 { return float64((f + x) % 5 / 4) }) // one column in five at a time
	assert.Less(t, turns.Area, 0.21, "one column at a time gets brighter")
	assert.Zero(t, turns.Flashes)
	assert.InDelta(t, 1, turns.Repeated, 1e-12, "all places flash, in turn")
	assert.False(t, turns.WithinLimits)
	assert.Positive(t, turns.Over)
	assert.LessOrEqual(t, turns.Over, turns.RepeatedFrame)
	halves := run(24, func(f, x, y int) float64 { // against each other, never more than 2/5
		if x < 2 {
			return float64(f / 4 % 2)
		}
		if x > 2 {
			return float64((f/4 + 1) % 2)
		}
		return 0
	})
	assert.Equal(t, []any{2.5, 0.4}, []any{halves.Flashes, halves.Area}, "up and down at once are one transition: %+v", halves)
	assert.True(t, halves.WithinLimits)
	// Left and then right: changes of both count, if each is large enough.
	inTurn := run(20, func(f, x, y int) float64 {
		if x < 2 && f < 10 || x > 2 && f >= 10 {
			return float64(f % 2)
		}
		return 0
	})
	assert.InDelta(t, 9, inTurn.Flashes, 0.5)
	// Two flashes on the left, then one and a half on the right: no place has more than
	// two, and the picture has 3.5.
	for transitions, want := range map[int]bool{6: true, 7: false} {
		few := run(24, func(f, x, y int) float64 {
			n := min(f, transitions)
			if x < 2 {
				return float64(min(n, 4) % 2)
			}
			if x > 2 && n > 4 {
				return float64(n % 2)
			}
			return 0
		})
		assert.Equal(t, []any{float64(transitions) / 2, 0.0, want}, []any{few.Flashes, few.Repeated, few.WithinLimits}, "%+v", few)
	}
}

// TestFields compares with fields laid everywhere, 16 places to a block, and the
// blocks cut with them one by one.
func TestFields(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(11, 4))
	for range 40 {
		spec := flicker.MonitorSpec{
			Rate: trial.Rate(24, 1), Columns: 1 + rng.IntN(6), Rows: 1 + rng.IntN(6),
			Field: flicker.Field{Width: 0.25 + float64(rng.IntN(112))/16, Height: 0.25 + float64(rng.IntN(112))/16},
		}
		lit := make([]float64, spec.Columns*spec.Rows)
		for i := range lit {
			lit[i] = float64(rng.IntN(2))
		}
		want := 0.0
		for x := 0.0; x == 0 || x+spec.Field.Width <= float64(spec.Columns); x += 1. / 16 {
			for y := 0.0; y == 0 || y+spec.Field.Height <= float64(spec.Rows); y += 1. / 16 {
				sum := 0.0
				for i, v := range lit {
					left, top := float64(i%spec.Columns), float64(i/spec.Columns)
					sum += v * math.Max(0, math.Min(left+1, x+spec.Field.Width)-math.Max(left, x)) * math.Max(0, math.Min(top+1, y+spec.Field.Height)-math.Max(top, y))
				}
				want = math.Max(want, sum/(spec.Field.Width*spec.Field.Height))
			}
		}
		m := trial.Must(flicker.NewMonitor(spec))
		require.NoError(t, m.AddLuminance(make([]float64, len(lit))))
		require.NoError(t, m.AddLuminance(lit))
		ref.Near(t, "T-FLASH-FIELD", m.Report().Findings[0].Area, want, spec, lit)
	}
}

// TestSmallFields holds that a field inside a block flashes with it, however small it is,
// and that no field is more than full.
func TestSmallFields(t *testing.T) {
	for _, side := range []float64{5e-324, 1e-200, 1e-9, 0.3, 2.1, 3.4906585039886586} {
		m := trial.Must(flicker.NewMonitor(flicker.MonitorSpec{
			Rate: trial.Rate(24, 1), Columns: 64, Rows: 36, Field: flicker.Field{Width: side, Height: 0.75 * side},
		}))
		v := make([]float64, 64*36)
		for frame := range 24 {
			for i := range v {
				v[i] = float64(frame % 2)
			}
			require.NoError(t, m.AddLuminance(v))
		}
		got := m.Report().Findings[0]
		assert.InDelta(t, 1, got.Area, 1e-12, side)
		assert.LessOrEqual(t, max(got.Area, got.Repeated), 1.0, side)
	}
}

// TestSafeArea: a screen of 1024 by 768 px in blocks of 32 px. A quarter of the field of
// 341 by 256 px is 21824 px, between 21 and 22 blocks.
func TestSafeArea(t *testing.T) {
	spec := flicker.MonitorSpec{Rate: trial.Rate(24, 1), Columns: 32, Rows: 24, Field: flicker.Field{Width: 341. / 32, Height: 256. / 32}}
	for flashing, want := range map[int]bool{21: true, 22: false} {
		m := trial.Must(flicker.NewMonitor(spec))
		for frame := range 24 {
			v := make([]float64, 32*24)
			for i := range flashing {
				v[(20+i/8)*32+24+i%8] = float64(frame % 2) // in a corner
			}
			v[0] = float64(frame % 2) // far from the others
			require.NoError(t, m.AddLuminance(v))
		}
		got := m.Report().Findings[0]
		ref.Equal(t, "T-FLASH-SAFE-AREA", got.WithinLimits, want, flashing)
		assert.InDelta(t, float64(flashing)*32*32/(341*256), got.Area, 1e-12)
		assert.InDelta(t, got.Area, got.Repeated, 1e-12)
	}
}

func TestFieldAt(t *testing.T) {
	f := trial.Must(flicker.FieldAt(5, 0.0028, 0.0028))
	ref.Near(t, "T-FLASH-FIELD-AT", f.Width, 311.665937856)
	ref.Near(t, "T-FLASH-FIELD-AT", f.Height, 233.749453392)
	ref.Near(t, "T-FLASH-FIELD-AT", f.Width*f.Height/4, 18212.9356537)
	screen := trial.Must(flicker.FieldAt(1, 1, 1))
	ref.Near(t, "T-FLASH-FIELD-PRINTED", screen.Width, 0.1745)
	ref.Near(t, "T-FLASH-FIELD-PRINTED", screen.Height, 0.1309)
	assert.InEpsilon(t, 2*f.Height, trial.Must(flicker.FieldAt(5, 0.0056, 0.0014)).Height, 1e-12)
	assert.InEpsilon(t, f.Width/2, trial.Must(flicker.FieldAt(5, 0.0056, 0.0014)).Width, 1e-12)
	assert.ErrorContains(t, trial.Second(flicker.FieldAt(1e9, 1e-9, 1)), "field width")
	assert.ErrorIs(t, trial.Second(flicker.FieldAt(0, 1, 1)), flicker.ErrInvalid)
}

func TestBlockMeans(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, tc := range []struct{ width, height, columns, rows int }{{7, 5, 3, 2}, {16, 9, 16, 9}, {64, 36, 4, 3}, {1, 1, 1, 1}, {5, 4, 2, 4}} {
		frame, means := make([]float32, 3*tc.width*tc.height), make([]float32, 3*tc.columns*tc.rows)
		for i := range frame {
			frame[i] = rng.Float32()
		}
		require.NoError(t, flicker.BlockMeans(means, frame, tc.width, tc.columns, tc.rows))
		sums, counts := make([]float64, len(means)), make([]float64, len(means))
		for i, v := range frame {
			// A pixel belongs to the last block that begins at it or before.
			x, y := i/3%tc.width, i/3/tc.width
			column, row := ((x+1)*tc.columns-1)/tc.width, ((y+1)*tc.rows-1)/tc.height
			at := 3*(row*tc.columns+column) + i%3
			sums[at], counts[at] = sums[at]+float64(v), counts[at]+1
		}
		for i := range means {
			ref.Near(t, "T-FLASH-BLOCKS", float64(means[i]), sums[i]/counts[i], tc, i)
		}
	}
	for _, tc := range []struct{ means, frame, width, columns, rows int }{
		{3, 12, 0, 1, 1}, {3, 12, 2, 0, 1}, {3, 12, 2, 1, 0}, {3, 11, 2, 1, 1}, {3, 13, 2, 1, 1}, {9, 12, 2, 3, 1}, {9, 12, 2, 1, 3}, {2, 12, 2, 1, 1}, {4, 12, 2, 1, 1},
	} {
		assert.ErrorIs(t, flicker.BlockMeans(make([]float32, tc.means), make([]float32, tc.frame), tc.width, tc.columns, tc.rows), flicker.ErrInvalid, tc)
	}
}

func TestMonitorRefuses(t *testing.T) {
	good := flicker.MonitorSpec{Rate: trial.Rate(24, 1), Columns: 2, Rows: 1, White: 100}
	for want, change := range map[string]func(*flicker.MonitorSpec){
		"rate: must be set":                      func(s *flicker.MonitorSpec) { s.Rate = timing.Rate{} },
		"rate 1001: must be at most 1000":        func(s *flicker.MonitorSpec) { s.Rate = trial.Rate(1001, 1) },
		"rows 0: must be at least 1":             func(s *flicker.MonitorSpec) { s.Rows = 0 },
		"columns 4097: must be":                  func(s *flicker.MonitorSpec) { s.Columns = 4097 },
		"blocks 1052672: must be":                func(s *flicker.MonitorSpec) { s.Columns, s.Rows = 4096, 257 },
		"field height 0 blocks: must be":         func(s *flicker.MonitorSpec) { s.Field.Width = 1 },
		"white NaN cd/m²: must be":               func(s *flicker.MonitorSpec) { s.White = math.NaN() },
		"field width 2e+06 blocks: must be more": func(s *flicker.MonitorSpec) { s.Field = flicker.Field{Width: 2e6, Height: 1} },
	} {
		spec := good
		change(&spec)
		_, err := flicker.NewMonitor(spec)
		assert.ErrorIs(t, err, flicker.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
	m := trial.Must(flicker.NewMonitor(good))
	require.NoError(t, m.AddLuminance([]float64{0, 1}))
	assert.EqualError(t, m.AddLuminance([]float64{0, math.NaN()}), "flicker: frame 1: block 1 NaN: must be at least 0 and at most 1e+06")
	assert.ErrorContains(t, m.AddLuminance([]float64{-1, 0}), "frame 1: block 0 -1")
	assert.ErrorContains(t, m.AddLuminance([]float64{0}), "frame 1 1 numbers: must be 2: 2 × 1 blocks of 1")
	assert.ErrorContains(t, m.Add(make([]float32, 6)), "must be of colour or luminance")
	assert.EqualValues(t, 1, m.Report().Frames, "frames that are refused do not count")
	assert.ErrorContains(t, new(flicker.Monitor).Add(nil), "must be made by NewMonitor")
	assert.Empty(t, new(flicker.Monitor).Report().Findings)
}

func TestFindingsInJSON(t *testing.T) {
	m := trial.Must(flicker.NewMonitor(flicker.MonitorSpec{Rate: trial.Rate(24, 1), White: 1000}))
	for _, f := range colours("RWRWRWRWRWRWRW") {
		require.NoError(t, m.Add(f))
	}
	want := m.Report()
	assert.Contains(t, want.Caution, "no clearance and no medical advice")
	text, err := json.Marshal(want)
	require.NoError(t, err)
	var got flicker.Report
	require.NoError(t, json.Unmarshal(text, &got))
	assert.Empty(t, cmp.Diff(want, got))
	spec := flicker.MonitorSpec{Rate: trial.Rate(24000, 1001), Columns: 3, Rows: 2, Field: flicker.Field{Width: 1, Height: 2}, White: 5}
	text, err = json.Marshal(spec)
	require.NoError(t, err)
	var back flicker.MonitorSpec
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, spec, back)
	assert.ErrorIs(t, json.Unmarshal([]byte(`{"Criterion":"loud"}`), &flicker.Finding{}), flicker.ErrInvalid)
}

// TestMonitorKeepsNothing: once all blocks have flashed, a frame takes no memory.
func TestMonitorKeepsNothing(t *testing.T) {
	m := trial.Must(flicker.NewMonitor(flicker.MonitorSpec{Rate: trial.Rate(24, 1), Columns: 8, Rows: 8, White: 1000}))
	frames := [][]float32{make([]float32, 3*64), make([]float32, 3*64)}
	for i := range frames[0] {
		frames[0][i] = 1
	}
	n := 0
	add := func() { n++; _ = m.Add(frames[n%2]) }
	for range 60 {
		add()
	}
	assert.Zero(t, testing.AllocsPerRun(100, add))
}

func BenchmarkFrames(b *testing.B) {
	const width, height, columns, rows = 3840, 2160, 64, 36
	frame, means := make([]float32, 3*width*height), make([]float32, 3*columns*rows)
	m := trial.Must(flicker.NewMonitor(flicker.MonitorSpec{Rate: trial.Rate(60, 1), Columns: columns, Rows: rows, Field: flicker.Field{Width: 14, Height: 10.5}, White: 1000}))
	b.Run("means", func(b *testing.B) {
		for range b.N {
			_ = flicker.BlockMeans(means, frame, width, columns, rows)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
	})
	b.Run("monitor", func(b *testing.B) {
		for n := range b.N {
			for i := range means {
				means[i] = float32(n % 2)
			}
			_ = m.Add(means)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
	})
}
