package banding_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
)

// all measures every frame of the statistical tests, and not an eighth of them.
var all = flag.Bool("all", false, "measure `all` frames, which takes half a minute")

// sample is so many frames, or an eighth.
func sample(frames int) int {
	if *all {
		return frames
	}
	return frames / 8
}

// scene is a frame of a pulsed light in a model of its own. Times are in
// periods of the light.
type scene struct {
	rows                           int
	spacing, exposure, duty, phase float64
	steady                         float64 // light beside the pulses, over theirs while they are on
	sine                           bool    // light of lamps on mains: 1 + sin of the phase, instead of pulses
	noise                          float64 // standard deviation over the light of a row
	vignette, middle               float64 // tan² of the angle of the row farthest up and down; where the axis is, −1 to 1
}

// lit is what a light that is on from 0 to duty of each period gives from a to b.
func (s scene) lit(a, b float64) (sum float64) {
	for k := math.Floor(a); k < b; k++ {
		sum += math.Max(0, math.Min(b, k+s.duty)-math.Max(a, k))
	}
	return sum
}

// light is the mean light on a row that opens at a time.
func (s scene) light(opens float64) float64 {
	if s.sine {
		return s.steady + 1 + math.Sin(2*math.Pi*opens)
	}
	return s.steady + s.lit(opens, opens+s.exposure)/s.exposure
}

func (s scene) frame(rng *rand.Rand) []float64 {
	out := make([]float64, s.rows)
	for i := range out {
		x := (2*float64(i)+1)/float64(s.rows) - 1 - s.middle
		falloff := math.Pow(1+s.vignette*x*x, -2) // cos⁴
		v := falloff * s.light(s.phase+float64(i)/s.spacing)
		out[i] = math.Max(0, v*(1+s.noise*rng.NormFloat64()))
	}
	return out
}

// depth is the contrast of the light over a sweep of phases. Its extremes are
// where an exposure opens or closes with the pulse.
func (s scene) depth() float64 {
	at := []float64{0, s.duty, 1 - s.exposure, s.duty - s.exposure}
	if s.sine {
		at = []float64{0.25, 0.75}
	}
	light := make([]float64, len(at))
	for i, opens := range at {
		light[i] = s.light(opens - math.Floor(opens))
	}
	return contrast(light)
}

func contrast(light []float64) float64 {
	least, most := floats.Min(light), floats.Max(light)
	return (most - least) / (most + least)
}

func randomScene(rng *rand.Rand, least, most float64) scene {
	return scene{
		rows: 512, spacing: least * math.Pow(most/least, rng.Float64()),
		exposure: 0.2 + 3.8*rng.Float64(), duty: 0.1 + 0.9*rng.Float64(), phase: rng.Float64(),
		vignette: 0.1 * rng.Float64(), middle: 0.2 * rng.NormFloat64(),
	}
}

// shallow is a scene of pulses or lamps to whose light a steady one is added, so
// that its bands have a depth of 0.005 to 0.5, or less. Half of the scenes have no
// falloff.
func shallow(rng *rand.Rand) scene {
	s := randomScene(rng, 2, 2)
	s.rows, s.sine = []int{128, 300}[rng.IntN(2)], rng.IntN(3) == 0
	s.noise = []float64{0.0003, 0.001, 0.003, 0.01, 0.03}[rng.IntN(5)]
	if rng.IntN(2) == 0 {
		s.vignette = 0
	}
	want := 0.005 * math.Pow(100, rng.Float64())
	light := make([]float64, 2000)
	for i := range light {
		light[i] = s.light(float64(i) / 2000)
	}
	least, most := floats.Min(light), floats.Max(light)
	s.steady = math.Max(0, ((most-least)/want-most-least)/2)
	return s
}

// holds is 1 where an interval around got holds want, else 0.
func holds(got, within, want float64) float64 {
	if math.Abs(got-want) <= within {
		return 1
	}
	return 0
}

// noisy has 64 rows without bands, and noise of a deviation over their mean.
func noisy(rng *rand.Rand, deviation float64) []float64 {
	rows := make([]float64, 64)
	for i := range rows {
		rows[i] = 1 + deviation*float64(1-2*rng.IntN(2))
	}
	return rows
}

// fewestHeld is what fewer than n intervals that hold the truth 19 times in 20 do by
// chance once in a thousand: 0.95 n less three standard deviations of the binomial.
func fewestHeld(n float64) float64 { return 0.95*n - 3*math.Sqrt(0.95*0.05*n) }

// TestMeasuredBandsHoldTheTruth holds the stated errors against simulated frames:
// each interval holds the truth in 19 of 20. A band that barely stands out of the
// noise may be taken for one of its harmonics.
func TestMeasuredBandsHoldTheTruth(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct {
		name              string
		least, most       float64 // rows from band to band
		noise             float64
		bias, wide, wrong float64 // of the depth, mean; of its error, mean; spacings off by more than 5 %, at most
		apart             float64 // mean error of the spacing, relative
		lamps             bool    // on mains: no pulses, and no falloff
	}{
		{"40 dB", 5, 120, 0.01, 0.004, 0.03, 2, 0.003, false},
		{"60 dB", 5, 120, 0.001, 0.004, 0.02, 0, 0.001, false},
		{"26 dB", 5, 120, 0.05, 0.008, 0.07, 2, 0.01, false},
		{"2 to 4 rows", 2.02, 4, 0.01, 0.004, 0.03, 2, 0.003, false},
		{"no noise", 2.02, 120, 0, 0.004, 0.02, 0, 0.001, false},
		{"lamps", 5, 65, 0.05, 0.008, 0.07, 0, 0.01, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(9, 10))
			n := sample(120)
			frames := float64(n)
			var deep, apart, found, off, bias, wide, spread float64
			for range n {
				s := randomScene(rng, tc.least, tc.most)
				s.noise = tc.noise
				if tc.lamps {
					s.sine, s.vignette, s.steady = true, 0, 1/(0.3+0.6*rng.Float64())-1
				}
				got, err := banding.MeasureBands(s.frame(rng))
				require.NoError(t, err, "%+v", s)
				if got.Depth == 0 {
					got.DepthError = got.DetectionLimit // at least 4 bands
				}
				bias += (got.Depth - s.depth()) / frames
				wide += got.DepthError / frames
				deep += holds(got.Depth, got.DepthError, s.depth())
				if got.Spacing == 0 {
					continue // not above the noise
				}
				found++
				spread += got.SpacingError / s.spacing
				apart += holds(got.Spacing, got.SpacingError, s.spacing)
				off += 1 - holds(got.Spacing/s.spacing, 0.05, 1)
			}
			spread /= found
			t.Logf("%v found, depth held %v, spacing held %v, off %v, bias %.4f, error %.4f, of the spacing %.5f", found, deep, apart, off, bias, wide, spread)
			assert.GreaterOrEqual(t, deep, fewestHeld(frames), "depths that hold the truth")
			assert.GreaterOrEqual(t, apart, fewestHeld(found), "spacings that hold the truth")
			assert.GreaterOrEqual(t, found, 0.8*frames-1)
			assert.LessOrEqual(t, off, tc.wrong, "spacings of other bands")
			assert.LessOrEqual(t, math.Abs(bias), tc.bias)
			assert.LessOrEqual(t, wide, tc.wide)
			assert.LessOrEqual(t, spread, tc.apart)
		})
	}
}

// TestBandsWithoutNoiseAreExact has frames of nothing but a falloff of degree 4 and
// a few harmonics: where rows tell those apart, spacing and depth are exact.
func TestBandsWithoutNoiseAreExact(t *testing.T) {
	near.NumbersOnly(t)
	wave := func(x, second, third float64) float64 {
		return 1 + 0.4*math.Sin(x) + second*math.Cos(2*x) + third*math.Sin(3*x+1)
	}
	for _, n := range []int{64, 100, 333, 720} {
		for i, bands := range []float64{4.3, 5.5, 7.25, 12.7, 20.2, 40.3} {
			spacing, second, third := float64(n)/bands, 0.05*float64(i%3), 0.03*float64(i%2)
			if spacing < 12 {
				continue // the harmonics beyond the third must be told from it
			}
			rows := make([]float64, n)
			for j := range rows {
				x := (2*float64(j)+1)/float64(n) - 1
				falloff := 1 - 0.3*x + 0.2*x*x - 0.1*x*x*x - 0.2*x*x*x*x
				rows[j] = falloff * wave(2*math.Pi*float64(j)/spacing+float64(i), second, third)
			}
			least, most := math.Inf(1), 0.0
			for k := range 10000 {
				v := wave(2*math.Pi*float64(k)/10000, second, third)
				least, most = math.Min(least, v), math.Max(most, v)
			}
			got := trial.Must(banding.MeasureBands(rows))
			assert.InEpsilon(t, spacing, got.Spacing, 1e-12, "%d rows, %v bands: roundings, averaged", n, bands)
			assert.Less(t, got.SpacingError, 1e-6*spacing, "%d rows, %v bands: no noise", n, bands)
			assert.InDelta(t, (most-least)/(most+least), got.Depth, 5e-4, "%d rows, %v bands: extremes of 64 places in a period", n, bands)
			assert.InDelta(t, 0.001, got.DepthError, 1e-4, "%d rows, %v bands: what falloff may leave, no noise", n, bands)
		}
	}
}

// TestStatedNoise averages what is said of the noise of frames that are too noisy.
// A frame has some 32 lines, half of them below the floor.
func TestStatedNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	mean := 0.0
	n := sample(1600)
	frames := float64(n)
	for range n {
		var percent float64
		if _, err := fmt.Sscanf(fmt.Sprint(trial.Second(banding.MeasureBands(noisy(rng, 0.7)))), "banding: rows %g %% of noise", &percent); err != nil {
			percent = 70 // less noise than must be refused
		}
		mean += percent / frames
	}
	assert.InDelta(t, 70, mean, 2, "the deviation of one frame is some 8")
}

// TestSpacingErrorIsTheLeast compares the stated error with the least that the
// frequency of a sine in noise can have: a standard deviation of √6 σ/(π A n^1.5)
// cycles a row, of an amplitude A (D. C. Rife, R. R. Boorstyn, IEEE Transactions on
// Information Theory 20, 1974, from memory).
func TestSpacingErrorIsTheLeast(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(23, 24))
	const frames, n, amplitude, noise, spacing = 12, 1080, 0.5, 0.1, 60.3
	least := 1.96 * math.Sqrt(6) * noise / (math.Pi * amplitude * math.Pow(n, 1.5)) * spacing * spacing
	mean := 0.0
	for range frames {
		rows, phase := make([]float64, n), rng.Float64()
		for i := range rows {
			rows[i] = 1 + amplitude*math.Sin(2*math.Pi*(float64(i)/spacing+phase)) + noise*rng.NormFloat64()
		}
		mean += trial.Must(banding.MeasureBands(rows)).SpacingError / frames
	}
	assert.InEpsilon(t, 1.05*least, mean, 0.05, "0 to 10 % above the least: falloff and harmonics that may be there")
}

func TestCleanFramesHaveNoBands(t *testing.T) {
	near.NumbersOnly(t)
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	bands := 0
	frames := sample(200)
	for i := range frames {
		s := randomScene(rng, 5, 120)
		s.exposure, s.noise = float64(1+rng.IntN(4)), []float64{0, 0.0005, 0.01, 0.05}[i%4]
		got, err := banding.MeasureBands(s.frame(rng))
		if err != nil || got.Depth != 0 {
			bands++
			continue
		}
		assert.True(t, got.Spacing == 0 && got.SpacingError == 0 && got.DetectionLimit > 0 && got.DetectionLimit < 0.003+s.noise, "%+v: got %+v", s, got)
		s.noise = 0
		assert.InDelta(t, contrast(s.frame(rng)), got.DepthError-got.DetectionLimit, 1e-3+0.5*got.DetectionLimit, "%+v: falloff, beside its terms of a degree over 4, and noise", s)
	}
	assert.LessOrEqual(t, bands, 1+frames/200, "of 200 frames without bands 0.2 are expected to show some, more than 2 once in a thousand")
}

// TestBandsAtTheLimitAreFound renders bands as deep as a frame without any says
// would have been found, an eighth of their spacing wide.
func TestBandsAtTheLimitAreFound(t *testing.T) {
	near.NumbersOnly(t)
	t.Parallel()
	rng := rand.New(rand.NewPCG(13, 14))
	found, frames := 0, sample(60)
	for range frames {
		clean := scene{rows: 512, spacing: 33.3, exposure: 1, duty: 0.5, noise: 0.01}
		none, err := banding.MeasureBands(clean.frame(rng))
		if err != nil || none.Depth != 0 {
			continue
		}
		rows := clean.frame(rng)
		for i := range rows {
			if x := float64(i)/33.3 + 0.7; x-math.Floor(x) < 1.0/8 {
				rows[i] *= 1 + 2*none.DetectionLimit
			}
		}
		if got, err := banding.MeasureBands(rows); err == nil && got.Depth > 0 {
			found++
		}
	}
	assert.GreaterOrEqual(t, found, int(fewestHeld(float64(frames))), "of 60; 57 are to be expected, and fewer than 51 once in a hundred")
}

// TestFewBandsAreNoOthers has frames of 0.3 to 6 bands. Whatever the number, an answer
// holds the truth in 19 frames of 20; a refusal says why.
func TestFewBandsAreNoOthers(t *testing.T) {
	near.NumbersOnly(t)
	t.Parallel()
	rng := rand.New(rand.NewPCG(25, 26))
	for _, tc := range []struct {
		least, most    float64 // bands in the frame
		frames         int
		fewest, others float64 // answers, and answers of other bands, at least and at most
	}{{0.3, 1, 80, 0.3, 0.03}, {1, 2, 80, 0.05, 0.03}, {2, 4, 80, 0.02, 0.03}, {4.05, 6, 80, 0.97, 0.02}} {
		var answers, held, others float64
		frames := sample(tc.frames)
		for range frames {
			s := shallow(rng)
			bands := tc.least + (tc.most-tc.least)*rng.Float64()
			s.spacing = float64(s.rows) / bands
			got, err := banding.MeasureBands(s.frame(rng))
			if err != nil {
				assert.Regexp(t, "must hold at least 4 bands: .*; use a taller frame|must hold bands that repeat", err.Error(), "%+v", s)
				continue
			}
			answers++
			if got.Depth == 0 {
				s.noise = 0
				held += holds(0, got.DepthError, contrast(s.frame(rng)))
				continue
			}
			held += holds(got.Depth, got.DepthError, s.depth()) * holds(got.Spacing, got.SpacingError, s.spacing)
			others += 1 - holds(got.Spacing/s.spacing, 0.2, 1)
		}
		t.Logf("%v to %v bands: %v of %v answered, %v held, %v of other bands", tc.least, tc.most, answers, frames, held, others)
		assert.GreaterOrEqual(t, answers, math.Floor(tc.fewest*float64(frames)), "%v to %v bands", tc.least, tc.most)
		assert.GreaterOrEqual(t, held, fewestHeld(answers), "%v to %v bands", tc.least, tc.most)
		assert.LessOrEqual(t, others, math.Ceil(tc.others*float64(frames)), "%v to %v bands: one frame in a thousand shows some by chance", tc.least, tc.most)
	}
}

// TestAboutOneBandIsRefused has deep bands, one to one and a half in a frame, and
// next to no noise. Falloff leaves of them what looks like 4 to 6 weak bands.
func TestAboutOneBandIsRefused(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(27, 28))
	for i := range sample(120) {
		s := scene{
			rows: 540, spacing: 540 / (1 + 0.48*float64(i)/float64(sample(120))), exposure: 0.15 + 0.7*rng.Float64(), duty: 0.3 + 0.4*rng.Float64(),
			phase: rng.Float64(), steady: 0.5, noise: 1e-4, sine: i%3 == 0,
		}
		if got, err := banding.MeasureBands(s.frame(rng)); err == nil {
			assert.True(t, got.Depth == 0 && got.DepthError > s.depth()/2, "%+v: got %+v", s, got)
		} else {
			assert.Regexp(t, "must hold at least 4 bands|must hold bands that repeat", err.Error())
		}
	}
}

// TestBandsThatMeetFewPhases has bands whole and half numbers of rows apart, or nearly.
// A row then meets the phases of others, and some harmonics look like each other.
func TestBandsThatMeetFewPhases(t *testing.T) {
	near.NumbersOnly(t)
	t.Parallel()
	rng := rand.New(rand.NewPCG(29, 30))
	var allAnswers, allDeep float64
	for _, spacing := range []float64{2, 2.5, 3, 3.5, 4, 5, 6, 7} {
		n := sample(60)
		frames := float64(n)
		var answers, deep, apart float64
		for i := range n {
			s := randomScene(rng, 2, 2)
			s.noise = []float64{0.0003, 0.001, 0.003, 0.01}[rng.IntN(4)]
			s.spacing = spacing + []float64{0, 0.001, 0.001 * rng.NormFloat64(), 0.03 * rng.NormFloat64()}[i%4]
			got, err := banding.MeasureBands(s.frame(rng))
			if err != nil {
				assert.Regexp(t, "must be farther from 2: |must be farther from a ratio of small whole numbers: |must hold bands that repeat", err.Error(), "%+v", s)
				continue
			}
			if got.Depth == 0 {
				continue
			}
			answers++
			deep += holds(got.Depth, got.DepthError, s.depth())
			alias := 1 / s.spacing
			apart += holds(got.Spacing, got.SpacingError, 1/math.Abs(alias-math.Round(alias)))
		}
		t.Logf("%v rows: %v of %v answered, depth held %v, spacing held %v", spacing, answers, frames, deep, apart)
		if spacing > 2 {
			assert.GreaterOrEqual(t, answers, 0.5*frames, "%v rows", spacing)
		}
		assert.GreaterOrEqual(t, deep, fewestHeld(answers), "%v rows", spacing)
		assert.GreaterOrEqual(t, apart, fewestHeld(answers), "%v rows", spacing)
		allAnswers, allDeep = allAnswers+answers, allDeep+deep
	}
	assert.GreaterOrEqual(t, allDeep, fewestHeld(allAnswers), "all spacings")
}

func TestMeasuredAndPredictedBands(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(15, 16))
	for _, tc := range []struct{ exposure, duty, bands float64 }{
		{1.5, 0.5, 4}, {1.5, 0.5, 7.3}, {0.5, 0.25, 5.5}, {2.4, 0.1, 12.25}, {0.9, 0.6, 30.72}, {1.05, 0.08, 4.4}, {3.3, 0.9, 5.7}, {0.2, 0.03, 9},
	} {
		s := scene{rows: 720, spacing: 720 / tc.bands, exposure: tc.exposure, duty: tc.duty, phase: 0.3}
		got := trial.Must(banding.MeasureBands(s.frame(rng)))
		ref.Near(t, "T-MEASURE", got.Spacing, 720/tc.bands, tc)
		p := predicted(t, pulsed(trial.Rate(1, 1), trial.Rate(100, 1), tc.duty, seconds(tc.exposure/100), seconds(tc.bands/100/720), 720))
		bands, _ := p.Bands(0)
		assert.InDelta(t, p.Worst().Depth, got.Depth, got.DepthError, "%v: the error that it states", tc)
		assert.InDelta(t, bands[0].Spacing, got.Spacing, got.SpacingError, "%v: the error that it states", tc)
	}
	// Where the second harmonic coincides with the first.
	for _, spacing := range []float64{2.999, 3, 3.001} {
		s := scene{rows: 512, spacing: spacing, exposure: 1.4, duty: 0.4, phase: 0.3, noise: 0.01}
		got := trial.Must(banding.MeasureBands(s.frame(rng)))
		assert.InDelta(t, s.depth(), got.Depth, got.DepthError, "%v rows: the error that it states", spacing)
		assert.InEpsilon(t, spacing, got.Spacing, 1e-4, "%v rows: noise of 1 % a row averages out", spacing)
	}
	// Flashes so short that the harmonics are as strong as the fundamental.
	for i := range 3 {
		s := scene{rows: 1080, spacing: 1080 / 8.1, exposure: 0.05, duty: 0.02, phase: float64(i) / 3, noise: 0.05}
		got := trial.Must(banding.MeasureBands(s.frame(rng)))
		assert.InEpsilon(t, s.spacing, got.Spacing, 0.006, "noise of 5 % a row averages out")
	}
}

func TestPoorEvidenceIsRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	refused := func(rows []float64, why string) {
		t.Helper()
		got, err := banding.MeasureBands(rows)
		assert.ErrorIs(t, err, banding.ErrInvalid)
		assert.ErrorContains(t, err, why)
		assert.Zero(t, got)
	}
	for i := range 8 {
		s := scene{rows: 1080, spacing: 1080 / (1.2 + 0.3*float64(i)), exposure: 1.4, duty: 0.4, phase: 0.37 * float64(i), noise: 0.003}
		refused(s.frame(rng), "must hold at least 4 bands")
	}
	// Just inside and just outside of what is stated: bands in a frame, beats of bands
	// 2 rows apart, and noise.
	for _, bands := range []float64{3.9, 4.1, 1080/2. - 1.4, 1080/2. - 1.6} {
		got, err := banding.MeasureBands(scene{rows: 1080, spacing: 1080 / bands, exposure: 0.4, duty: 0.4}.frame(rng))
		if bands == 4.1 || bands == 1080/2.-1.6 {
			require.NoError(t, err, bands)
			assert.InDelta(t, 1080/bands, got.Spacing, 0.01*got.Spacing, "as many bands as there must be")
		} else {
			assert.ErrorIs(t, err, banding.ErrInvalid, bands)
		}
	}
	for range sample(160) {
		// Of 64 rows, bands of depth 1 show in noise of 0.43 of the mean.
		require.NoError(t, trial.Second(banding.MeasureBands(noisy(rng, 0.33))))
		refused(noisy(rng, 0.7), "must be less noisy")
	}
	s := scene{rows: 1080, spacing: 2.001, exposure: 0.4, duty: 0.4}
	refused(s.frame(rng), "rows 2.00")
	s = scene{rows: 64, spacing: 9, exposure: 1.4, duty: 0.4, noise: 1.5}
	refused(s.frame(rng), "must be less noisy")

	flat := make([]float64, 1080)
	for i := range flat {
		flat[i] = 0.18
	}
	refused(nil, "must be at least 32")
	refused(flat[:31], "must be at least 32")
	refused(make([]float64, 1<<16+1), "rows 65537: must be at least 32 and at most 65536")
	refused(make([]float64, 100), "must hold some light")
	for _, v := range []float64{math.NaN(), math.Inf(1), -1} {
		bad := append([]float64(nil), flat...)
		bad[77] = v
		refused(bad, "sample 77")
	}
	for _, n := range []int{32, 1080} {
		got := trial.Must(banding.MeasureBands(flat[:n]))
		assert.True(t, got.Depth == 0 && got.Spacing == 0, "a flat frame has %+v", got)
		assert.InDelta(t, got.DetectionLimit, got.DepthError, 1e-12, "no falloff in which bands could hide")
	}
}

func TestMeasureBandsIgnoresScale(t *testing.T) {
	s := scene{rows: 400, spacing: 10.3, exposure: 1.4, duty: 0.4}
	rows := s.frame(seeded())
	want := trial.Must(banding.MeasureBands(rows))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 2} {
		scaled := make([]float64, len(rows))
		for i, v := range rows {
			scaled[i] = v * scale
		}
		got := trial.Must(banding.MeasureBands(scaled))
		assert.InEpsilon(t, want.Depth, got.Depth, 1e-9, "rounding of the scale")
		assert.InEpsilon(t, want.Spacing, got.Spacing, 1e-9, "rounding of the scale")
	}
}

func seeded() *rand.Rand { return rand.New(rand.NewPCG(1, 1)) }

// TestMeasureBandsOfAnything gives what no camera records.
func TestMeasureBandsOfAnything(t *testing.T) {
	near.NumbersOnly(t)
	t.Parallel()
	rng := rand.New(rand.NewPCG(19, 20))
	for i := range sample(300) {
		rows := make([]float64, 32+rng.IntN(200))
		for j := range rows {
			x := float64(j) / float64(len(rows))
			switch i % 6 {
			case 0:
				rows[j] = math.Exp(20 * rng.NormFloat64())
			case 1:
				rows[j] = float64(rng.IntN(2))
			case 2:
				rows[j] = math.Floor(5 * x)
			case 3:
				rows[j] = math.Exp(-200 * x * x)
			case 4:
				rows[j] = float64(j % (1 + i/6))
			case 5:
				rows[j] = math.Pow(x, float64(i)) + 1e-12
			}
		}
		rows[i%32] += 1e-3
		got, err := banding.MeasureBands(rows)
		if err != nil {
			assert.ErrorIs(t, err, banding.ErrInvalid)
			continue
		}
		assert.True(t, got.Depth >= 0 && got.Depth <= 1 && got.DepthError > 0 && got.DepthError <= 1 && got.Spacing >= 0 && got.SpacingError >= 0 && got.SpacingError < 1e9,
			"%v: got %+v", rows, got)
	}
}

func BenchmarkMeasureBands(b *testing.B) {
	s := scene{rows: 4320, spacing: 50.3, exposure: 1.4, duty: 0.4, noise: 0.01}
	rows := s.frame(seeded())
	for b.Loop() {
		if _, err := banding.MeasureBands(rows); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
