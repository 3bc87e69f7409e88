package sync_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
)

// scene is a frame of a pulsed light in a model of its own. Times are in
// periods of the light.
type scene struct {
	rows                           int
	spacing, exposure, duty, phase float64
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

func (s scene) frame(rng *rand.Rand) []float64 {
	out := make([]float64, s.rows)
	for i := range out {
		opens := s.phase + float64(i)/s.spacing
		x := (2*float64(i)+1)/float64(s.rows) - 1 - s.middle
		falloff := math.Pow(1+s.vignette*x*x, -2) // cos⁴
		v := falloff * s.lit(opens, opens+s.exposure) / s.exposure
		out[i] = math.Max(0, v*(1+s.noise*rng.NormFloat64()))
	}
	return out
}

// depth is the contrast of the light over a sweep of phases. Its extremes are
// where an exposure opens or closes with the pulse.
func (s scene) depth() float64 {
	least, most := math.Inf(1), 0.0
	for _, opens := range []float64{0, s.duty, 1 - s.exposure, s.duty - s.exposure} {
		opens -= math.Floor(opens)
		v := s.lit(opens, opens+s.exposure)
		least, most = math.Min(least, v), math.Max(most, v)
	}
	return (most - least) / (most + least)
}

func randomScene(rng *rand.Rand, least, most float64) scene {
	return scene{
		rows: 512, spacing: least * math.Pow(most/least, rng.Float64()),
		exposure: 0.2 + 3.8*rng.Float64(), duty: 0.1 + 0.9*rng.Float64(), phase: rng.Float64(),
		vignette: 0.1 * rng.Float64(), middle: 0.2 * rng.NormFloat64(),
	}
}

// TestMeasuredBandsHoldTheTruth holds the stated errors against simulated
// frames: of N intervals that hold the truth 19 times in 20, fewer than 0.95 N
// less three standard deviations of the binomial hold it by chance once in a
// thousand. A band that barely stands out of the noise may be taken for one of
// its harmonics.
func TestMeasuredBandsHoldTheTruth(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct {
		name              string
		least, most       float64 // rows from band to band
		noise             float64
		bias, wide, wrong float64 // of the depth, mean; of its error, mean; spacings off by more than 5 %, at most
	}{
		{"40 dB", 5, 120, 0.01, 0.004, 0.03, 2},
		{"60 dB", 5, 120, 0.001, 0.004, 0.02, 0},
		{"26 dB", 5, 120, 0.05, 0.008, 0.07, 2},
		{"2 to 4 rows", 2.02, 4, 0.01, 0.004, 0.03, 2},
		{"no noise", 2.02, 120, 0, 0.004, 0.02, 0},
	} {
		rng := rand.New(rand.NewPCG(9, 10))
		const frames = 120
		var deep, apart, found, off, bias, wide float64
		for range frames {
			s := randomScene(rng, tc.least, tc.most)
			s.noise = tc.noise
			got, err := sync.MeasureBands(s.frame(rng))
			if err != nil {
				t.Fatalf("%s: %+v: %v", tc.name, s, err)
			}
			bias += (got.Depth - s.depth()) / frames
			wide += got.DepthError / frames
			if math.Abs(got.Depth-s.depth()) <= got.DepthError {
				deep++
			}
			if got.Spacing == 0 {
				continue // not above the noise
			}
			found++
			if math.Abs(got.Spacing-s.spacing) <= got.SpacingError {
				apart++
			}
			if math.Abs(got.Spacing/s.spacing-1) > 0.05 {
				off++
			}
		}
		atLeast := func(n float64) float64 { return 0.95*n - 3*math.Sqrt(0.95*0.05*n) }
		t.Logf("%s: %v found, depth held %v, spacing held %v, off %v, bias %.4f, error %.4f", tc.name, found, deep, apart, off, bias, wide)
		if deep < atLeast(frames) || apart < atLeast(found) || found < 0.8*frames {
			t.Errorf("%s: of %v found, %v depths and %v spacings hold the truth", tc.name, found, deep, apart)
		}
		if off > tc.wrong || math.Abs(bias) > tc.bias || wide > tc.wide {
			t.Errorf("%s: %v spacings are others, the depth is biased by %.4f, its error is %.4f", tc.name, off, bias, wide)
		}
	}
}

// TestMeasuredSinesHoldTheTruth has light that is no pulse, of lamps on mains:
// noise is all that its harmonics have.
func TestMeasuredSinesHoldTheTruth(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(21, 22))
	const frames = 120
	held := 0.0
	for range frames {
		depth, spacing, phase := 0.3+0.6*rng.Float64(), 5+60*rng.Float64(), rng.Float64()
		rows := make([]float64, 512)
		for i := range rows {
			rows[i] = math.Max(0, 1+depth*math.Sin(2*math.Pi*(float64(i)/spacing+phase))+0.05*rng.NormFloat64())
		}
		got := must(sync.MeasureBands(rows))
		if math.Abs(got.Depth-depth) <= got.DepthError {
			held++
		}
		near.Abs(t, "spacing", got.Spacing, spacing, 2*got.SpacingError, "four standard deviations")
	}
	if held < 0.95*frames-3*math.Sqrt(0.95*0.05*frames) {
		t.Errorf("%v of %v depths hold the truth", held, frames)
	}
}

func TestCleanFramesHaveNoBands(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(11, 12))
	bands := 0
	for i := range 200 {
		s := randomScene(rng, 5, 120)
		s.exposure, s.noise = float64(1+rng.IntN(4)), []float64{0, 0.0005, 0.01, 0.05}[i%4]
		got, err := sync.MeasureBands(s.frame(rng))
		if err != nil || got.Depth != 0 {
			bands++
		} else if got.Spacing != 0 || got.SpacingError != 0 || !(got.DepthError > 0 && got.DepthError < 0.003+s.noise) {
			t.Errorf("%+v: got %+v", s, got)
		}
	}
	if bands > 7 { // of 2 expected: once in a thousand
		t.Errorf("%d of 200 frames without bands have some", bands)
	}
}

// TestBandsAtTheLimitAreFound renders bands as deep as a frame without any says
// would have been found, an eighth of their spacing wide.
func TestBandsAtTheLimitAreFound(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(13, 14))
	found := 0
	const frames = 60
	for range frames {
		clean := scene{rows: 512, spacing: 33.3, exposure: 1, duty: 0.5, noise: 0.01}
		none, err := sync.MeasureBands(clean.frame(rng))
		if err != nil || none.Depth != 0 {
			continue
		}
		rows := clean.frame(rng)
		for i := range rows {
			if x := float64(i)/33.3 + 0.7; x-math.Floor(x) < 1.0/8 {
				rows[i] *= 1 + 2*none.DepthError
			}
		}
		if got, err := sync.MeasureBands(rows); err == nil && got.Depth > 0 {
			found++
		}
	}
	if found < 51 { // 57 are to be expected, and fewer than 51 once in a hundred
		t.Errorf("%d of %d are found", found, frames)
	}
}

func TestMeasuredAndPredictedBands(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(15, 16))
	for _, tc := range []struct{ exposure, duty, bands float64 }{
		{1.5, 0.5, 4}, {1.5, 0.5, 7.3}, {0.5, 0.25, 5.5}, {2.4, 0.1, 12.25}, {0.9, 0.6, 30.72}, {1.05, 0.08, 4.4}, {3.3, 0.9, 5.7}, {0.2, 0.03, 9},
	} {
		s := scene{rows: 720, spacing: 720 / tc.bands, exposure: tc.exposure, duty: tc.duty, phase: 0.3}
		got := must(sync.MeasureBands(s.frame(rng)))
		ref.Near(t, "sync-measure", got.Spacing, 720/tc.bands, tc)
		b := banding(t, flashes(tc.exposure, tc.duty))
		near.Abs(t, fmt.Sprint("depth predicted and measured ", tc), got.Depth, b.Depth(), got.DepthError, "the error that it states")
	}
	// Flashes so short that the harmonics are as strong as the fundamental.
	for i := range 8 {
		s := scene{rows: 1080, spacing: 1080 / 8.1, exposure: 0.05, duty: 0.02, phase: float64(i) / 8, noise: 0.05}
		got := must(sync.MeasureBands(s.frame(rng)))
		near.Rel(t, "short flashes", got.Spacing, s.spacing, 0.006, "noise of 5 % a row averages out")
	}
}

func TestPoorEvidenceIsRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	refused := func(rows []float64, why string) {
		t.Helper()
		got, err := sync.MeasureBands(rows)
		wantInvalid(t, why, err)
		if err != nil && !strings.Contains(err.Error(), why) {
			t.Errorf("got %v, want %q", err, why)
		}
		if got != (sync.Bands{}) {
			t.Errorf("%s: an error and %+v", why, got)
		}
	}
	for i := range 8 {
		s := scene{rows: 1080, spacing: 1080 / (1.2 + 0.3*float64(i)), exposure: 1.4, duty: 0.4, phase: 0.37 * float64(i), noise: 0.003}
		refused(s.frame(rng), "must hold 4 bands at least")
	}
	s := scene{rows: 1080, spacing: 2.001, exposure: 0.4, duty: 0.4}
	refused(s.frame(rng), "must be farther from 2")
	s = scene{rows: 64, spacing: 9, exposure: 1.4, duty: 0.4, noise: 1.5}
	refused(s.frame(rng), "must be less noisy")

	flat := make([]float64, 1080)
	for i := range flat {
		flat[i] = 0.18
	}
	refused(nil, "must be 32 at least")
	refused(flat[:31], "must be 32 at least")
	refused(make([]float64, 100), "must hold some light")
	for _, v := range []float64{math.NaN(), math.Inf(1), -1} {
		bad := append([]float64(nil), flat...)
		bad[77] = v
		refused(bad, "sample 77")
	}
	if got := must(sync.MeasureBands(flat)); got.Depth != 0 || got.Spacing != 0 {
		t.Errorf("a flat frame has %+v", got)
	}
}

func TestMeasureBandsDoesNotHangOnScale(t *testing.T) {
	s := scene{rows: 400, spacing: 10.3, exposure: 1.4, duty: 0.4}
	rows := s.frame(seeded())
	want := must(sync.MeasureBands(rows))
	for _, scale := range []float64{1e-300, 7, math.MaxFloat64 / 2} {
		scaled := make([]float64, len(rows))
		for i, v := range rows {
			scaled[i] = v * scale
		}
		got := must(sync.MeasureBands(scaled))
		near.Rel(t, "depth", got.Depth, want.Depth, 1e-9, "rounding of the scale")
		near.Rel(t, "spacing", got.Spacing, want.Spacing, 1e-9, "rounding of the scale")
	}
}

func seeded() *rand.Rand { return rand.New(rand.NewPCG(1, 1)) }

// TestMeasureBandsOfAnything gives what no camera records.
func TestMeasureBandsOfAnything(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(19, 20))
	for i := range 300 {
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
		got, err := sync.MeasureBands(rows)
		if err != nil {
			wantInvalid(t, "anything", err)
			continue
		}
		if !(got.Depth >= 0 && got.Depth <= 1 && got.DepthError > 0 && got.DepthError <= 1 && got.Spacing >= 0 && got.SpacingError >= 0 && got.SpacingError < 1e9) {
			t.Errorf("%v: got %+v", rows, got)
		}
	}
}

func BenchmarkMeasureBands(b *testing.B) {
	s := scene{rows: 4320, spacing: 50.3, exposure: 1.4, duty: 0.4, noise: 0.01}
	rows := s.frame(seeded())
	for b.Loop() {
		if _, err := sync.MeasureBands(rows); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
