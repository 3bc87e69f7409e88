package banding_test

import (
	"flag"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
)

// walls is how many random walls and cameras the judge renders.
var walls = flag.Int("walls", 10, "random `walls` to render")

// emission is a time in which a wall pixel gives a steady light, in seconds after the
// period begins.
type emission struct{ on, off, level float64 }

// scene of a scanned wall, in a model of its own: times in seconds, wall rows one by one,
// and what each pixel emits listed one by one.
type scannedWall struct {
	period    float64
	emissions [][]emission // of each scan group

	rows              int
	rowTime, exposure float64
	pitch             float64 // wall rows from camera row to camera row, negative for a camera upside down
	top               float64 // where on the wall, in its rows, camera row 0 begins
	blur              float64 // wall rows
	kernel            []float64
	opens             float64 // when the row that is read first opens
	upwards           bool    // the last row is read first
}

// at is when a row opens.
func (w scannedWall) at(r int) float64 {
	if w.upwards {
		r = w.rows - 1 - r
	}
	return w.opens + float64(r)*w.rowTime
}

// light is the mean light of a scan group from time a to b.
func (w scannedWall) light(group int, a, b float64) float64 {
	lit := 0.0
	for n := math.Floor(a/w.period) - 1; n*w.period < b; n++ {
		for _, e := range w.emissions[group] {
			if on, off := max(a, n*w.period+e.on), min(b, n*w.period+e.off); off > on {
				lit += e.level * (off - on)
			}
		}
	}
	return lit / (b - a)
}

// sees lists what a camera row sees of each scan group, from the wall rows under it.
func (w scannedWall) sees(r int) []float64 {
	m := len(w.emissions)
	seen := make([]float64, m)
	centre := w.top + w.pitch*(float64(r)+0.5)
	group := func(wallRow float64) int { return ((int(wallRow) % m) + m) % m }
	if w.blur == 0 {
		seen[group(math.Floor(centre))] = 1
		return seen
	}
	kernel := w.kernel
	if kernel == nil {
		kernel = []float64{1}
	}
	part := w.blur / float64(len(kernel))
	for k := math.Floor(centre - w.blur/2); k < centre+w.blur/2; k++ {
		for i, weight := range kernel {
			begin := centre - w.blur/2 + part*float64(i)
			if overlap := min(begin+part, k+1) - max(begin, k); overlap > 0 {
				seen[group(k)] += overlap / part * weight / floats.Sum(kernel)
			}
		}
	}
	return seen
}

// row is what a camera row records if it opens at a time.
func (w scannedWall) row(seen []float64, opens float64) (light float64) {
	for g, share := range seen {
		if share > 0 {
			light += share * w.light(g, opens, opens+w.exposure)
		}
	}
	return light
}

// frame is what the camera records.
func (w scannedWall) frame() []float64 {
	out := make([]float64, w.rows)
	for r := range out {
		out[r] = w.row(w.sees(r), w.at(r))
	}
	return out
}

// emissionsOf lists what the pixels of each group emit: refresh by refresh, turn by turn,
// step by step.
func emissionsOf(period float64, steps banding.Waveform, turns []int, refreshes int) (all [][]emission) {
	m := len(turns)
	slot := period / float64(m*refreshes)
	for _, turn := range turns {
		var own []emission
		for i := range refreshes {
			begins := period*float64(i)/float64(refreshes) + float64(turn)*slot
			// The pixel's own time, in refreshes, from i to i + 1.
			for k, s := range steps {
				next := 1 + steps[0].From
				if k+1 < len(steps) {
					next = steps[k+1].From
				}
				for _, shift := range []float64{-1, 0} {
					from := max(0, (s.From+shift)*float64(refreshes)-float64(i))
					to := min(1, (next+shift)*float64(refreshes)-float64(i))
					if to > from && s.Level > 0 {
						own = append(own, emission{begins + from*slot, begins + to*slot, s.Level})
					}
				}
			}
		}
		all = append(all, own)
	}
	return all
}

// randomWaveform is one of the drives, or steps at random.
func randomWaveform(rng *rand.Rand, refreshes int) banding.Waveform {
	switch rng.IntN(5) {
	case 0:
		return trial.Must(banding.Pulse(0.05 + 0.95*rng.Float64()))
	case 1:
		return trial.Must(banding.BitPlanes(1+rng.IntN(255), 8))
	case 2:
		return trial.Must(banding.Scattered(1+rng.IntN(255), 8, refreshes))
	case 3:
		levels := make([]float64, 1+rng.IntN(9))
		for i := range levels {
			levels[i] = rng.Float64()
		}
		return trial.Must(banding.Sampled(levels))
	}
	var w banding.Waveform
	for at := 0.3 * rng.Float64(); at < 1; at += 0.02 + 0.4*rng.Float64() {
		w = append(w, banding.Step{From: at, Level: 2 * rng.Float64()})
	}
	return w
}

// randomScan is a spec of a scanned wall before a camera of 24 frames a second.
func randomScan(rng *rand.Rand) (spec banding.Spec) {
	groups := 1 + rng.IntN(12)
	spec.Wall.Refreshes = 1 + rng.IntN(3)*rng.IntN(2)
	spec.Wall.Rate = trial.Rate(600+rng.Int64N(3000), 1)
	spec.Wall.Turns = rng.Perm(groups)
	if rng.IntN(3) == 0 {
		spec.Wall.Turns = trial.Must(banding.InOrder(groups))
	}
	for range 3 {
		spec.Wall.Greys = append(spec.Wall.Greys, randomWaveform(rng, spec.Wall.Refreshes))
	}
	spec.View = banding.View{WallRowsPerCameraRow: (0.05 + rng.Float64()) * float64(1-2*rng.IntN(2)), Offset: 100 * rng.NormFloat64()}
	if rng.IntN(3) > 0 {
		spec.View.Blur = 4 * rng.Float64()
	}
	if rng.IntN(3) == 0 {
		for range 1 + rng.IntN(5) {
			spec.View.Kernel = append(spec.View.Kernel, 0.1+rng.Float64())
		}
	}
	spec.Camera = timing.ReadoutSpec{
		Rate: trial.Rate(24, 1), Rows: 1080, Phase: timing.Leading, Direction: timing.ReadDirection(rng.IntN(2)),
		RowTime:  seconds((0.005 + 0.015*rng.Float64()) / 1080),
		Exposure: seconds((0.2 + 4*rng.Float64()) / float64(spec.Wall.Rate.Frequency())),
	}
	return spec
}

// rendered is the wall of a spec in the judge's model.
func rendered(spec banding.Spec, grey int) scannedWall {
	turns := spec.Wall.Turns
	if len(turns) == 0 {
		turns = []int{0}
	}
	period := 1 / float64(spec.Wall.Rate.Frequency())
	return scannedWall{
		period: period, emissions: emissionsOf(period, spec.Wall.Greys[grey], turns, max(1, spec.Wall.Refreshes)),
		rows: spec.Camera.Rows, rowTime: float64(spec.Camera.RowTime.Time()), exposure: float64(spec.Camera.Exposure.Time()),
		upwards: spec.Camera.Direction == timing.BottomUp,
		pitch:   spec.View.WallRowsPerCameraRow, top: spec.View.Offset, blur: spec.View.Blur, kernel: spec.View.Kernel,
	}
}

// window is a Hann window.
func window(r, rows int) float64 {
	sin := math.Sin(math.Pi * (float64(r) + 0.5) / float64(rows))
	return sin * sin
}

// strongest is the frequency, in periods a row, of the strongest line in the
// spectrum of the rows from a lowest frequency on, and its amplitude over their mean.
func strongest(rows []float64, lowest float64) (f, amplitude float64) {
	const length = 1 << 15
	mean := floats.Sum(rows) / float64(len(rows))
	padded := make([]float64, length)
	total := 0.0
	for i, v := range rows {
		padded[i] = (v - mean) * window(i, len(rows))
		total += window(i, len(rows))
	}
	best, at := 0.0, 0
	var powers []float64
	for k, c := range fourier.NewFFT(length).Coefficients(nil, padded) {
		powers = append(powers, cmplx.Abs(c))
		if n := len(powers); k >= 2 && float64(k-1) >= lowest*length && powers[n-2] >= max(powers[n-1], powers[n-3], best) {
			best, at = powers[n-2], k-1
		}
	}
	return float64(at) / length, 2 * best / total / mean
}

// lineOf is the line of a frequency in the spectrum of the rows.
func lineOf(rows []float64, f float64) (sum complex128) {
	for r, v := range rows {
		sum += complex(v*window(r, len(rows)), 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(r)))
	}
	return sum
}

// amplitudeOf is the amplitude of a line of the rows over their mean.
func amplitudeOf(rows []float64, f float64) float64 {
	total := 0.0
	for r, v := range rows {
		total += v * window(r, len(rows))
	}
	return 2 * cmplx.Abs(lineOf(rows, f)) / total
}

// TestRenderedWalls holds rows, extremes and bands against walls rendered emission by
// emission, wall row by wall row.
func TestRenderedWalls(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(51, 52))
	spacings, drifts := 0, 0
	for spacings < *walls {
		spec := randomScan(rng)
		p := predicted(t, spec)
		grey := rng.IntN(3)
		w := rendered(spec, grey)
		phase := 3 * rng.NormFloat64()
		w.opens = phase * w.period
		frame, ok := p.Frame(grey, phase)
		require.True(t, ok)
		want := w.frame()
		for r, v := range want {
			ref.Near(t, "T-BAND-FRAME", frame[r], v, "row", r, spec)
		}

		// Spacing: of the strongest line that has 20 bands or more: others near it move a peak by a fraction of one.
		bands, ok := p.Bands(grey)
		require.True(t, ok)
		f, amplitude := strongest(want, 20/float64(w.rows))
		// A spectrum cannot tell lines that are less than 3 bands a frame apart.
		crowded := func(b banding.Band) bool {
			apart := math.Abs(b.Count - f*float64(w.rows))
			return apart > 0.3 && apart < 3 && b.Amplitude > amplitude/20
		}
		if amplitude > 0.01 && !slices.ContainsFunc(bands, crowded) {
			spacings++
			i := slices.IndexFunc(bands, func(b banding.Band) bool { return math.Abs(f*b.Spacing-1) <= 0.01 })
			if assert.GreaterOrEqual(t, i, 0, "bands %v rows apart, predicted %+v\n%+v", 1/f, bands, spec) {
				ref.Near(t, "T-BAND-SPACING", bands[i].Spacing, 1/f, spec)
				assert.InEpsilon(t, float64(w.rows)/bands[i].Spacing, bands[i].Count, 1e-14, "roundings")
				for _, b := range bands {
					if b.Count >= 20 {
						assert.Less(t, amplitudeOf(want, 1/b.Spacing), b.Amplitude+0.3*amplitude, "leakage of lines some bands a frame away: %v of %+v\n%+v", b, bands, spec)
					}
				}
				if math.Abs(bands[i].Amplitude/amplitude-1) < 0.02 { // else harmonics that move at speeds of their own
					drifts++
					// Bands that move by x rows turn the line by −2π x/spacing.
					next := w
					next.opens += 1. / 24
					moved := -cmplx.Phase(lineOf(next.frame(), 1/bands[i].Spacing)/lineOf(want, 1/bands[i].Spacing)) / (2 * math.Pi)
					assert.InDelta(t, 0, math.Remainder(moved-bands[i].Drift/24/bands[i].Spacing, 1), 0.05, "leakage of weaker lines: %+v\n%+v", bands, spec)
				}
			}
		}

		// The extremes are met where they are said to be, and nowhere exceeded.
		var worst float64
		for grey := range spec.Wall.Greys {
			w := rendered(spec, grey)
			e, ok := p.Extremes(grey)
			require.True(t, ok)
			for _, x := range []banding.Extreme{e.Dark, e.Bright} {
				ref.Near(t, "T-BAND-EXTREMES", x.Light, w.row(w.sees(x.Row), x.Phase*w.period+w.at(x.Row)), spec, grey)
			}
			dark, bright := math.Inf(1), 0.0
			for r := rng.IntN(40); r < w.rows; r += 40 {
				seen := w.sees(r)
				for i := range 80 {
					v := w.row(seen, (float64(i)+rng.Float64())/80*w.period)
					dark, bright = min(dark, v), max(bright, v)
				}
			}
			if dark < e.Dark.Light-1e-9 || bright > e.Bright.Light+1e-9 {
				t.Errorf("rows get %v to %v, more than %+v\n%+v", dark, bright, e, spec)
			}
			// 80 phases and some 27 rows come close to the extremes.
			ref.Near(t, "T-BAND-DEPTH", e.Depth, (bright-dark)/(bright+dark), spec, grey)
			worst = max(worst, e.Depth)
		}
		assert.Equal(t, worst, p.Worst().Depth)
	}
	t.Logf("%d walls with bands to count, %d of one harmonic", spacings, drifts)
	assert.Greater(t, drifts, *walls/3)
}

// TestScannedWallsByHand holds one wall with its spacings worked out from
// 3840/s · 8 ms/2160 − s/8.
func TestScannedWallsByHand(t *testing.T) {
	near.NumbersOnly(t)
	for s, want := range map[float64]float64{
		1: 9.02707, 0.71: 13.4178, 0.5: 20.7135, 1.3: 6.74410, -1: 7.18276,
		0.113777777778: math.Inf(1), // the turns keep pace with the readout
	} {
		spec := banding.Spec{
			Wall:   banding.Wall{Rate: trial.Rate(3840, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(0.25))}, Turns: trial.Must(banding.InOrder(8))},
			View:   banding.View{WallRowsPerCameraRow: s, Offset: 0.37},
			Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: seconds(0.0021), Phase: timing.Leading, RowTime: trial.Seconds(8, 2160_000), Rows: 2160},
		}
		bands, _ := predicted(t, spec).Bands(0)
		if math.IsInf(want, 1) {
			assert.Less(t, bands[0].Spacing, 8.8, "the turns keep pace with the readout: weaker bands are left")
			continue
		}
		assert.InEpsilon(t, want, bands[0].Spacing, 5e-6, "s = %v: half a unit of the last printed digit", s)
		rows := rendered(spec, 0).frame()
		f, _ := strongest(rows, 0)
		for _, b := range bands[:2] {
			ref.Near(t, "T-BAND-AMPLITUDE", b.Amplitude, amplitudeOf(rows, 1/b.Spacing), s, b.Spacing)
		}
		assert.InEpsilon(t, want, 1/f, 0.005, "s = %v, simulated: bins of the spectrum", s)
	}
}

func TestTwoGroupsGiveTwoEqualBands(t *testing.T) {
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: trial.Rate(1920, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(0.6))}, Turns: []int{1, 0}},
		View:   banding.View{WallRowsPerCameraRow: 0.3, Offset: 0.2},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: seconds(0.0032), Phase: timing.Leading, RowTime: trial.Seconds(16, 2160_000), Rows: 2160},
	}
	bands, _ := predicted(t, spec).Bands(0)
	require.GreaterOrEqual(t, len(bands), 2)
	assert.InEpsilon(t, bands[0].Amplitude, bands[1].Amplitude, 0.02, "leakage")
	f, _ := strongest(rendered(spec, 0).frame(), 0)
	assert.True(t, math.Abs(f*bands[0].Spacing-1) < 0.01 || math.Abs(f*bands[1].Spacing-1) < 0.01, "bands %v rows apart, predicted %+v", 1/f, bands)
}

// TestBlurThatSpansAllGroups averages over whole rounds of the groups: the wall is a light
// without groups and with more pulses.
func TestBlurThatSpansAllGroups(t *testing.T) {
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: trial.Rate(960, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(0.5))}, Turns: []int{0, 2, 1, 3}},
		View:   banding.View{WallRowsPerCameraRow: 0.37, Offset: 0.2, Blur: 8},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 700), Phase: timing.Leading, RowTime: seconds(5e-6), Rows: 600},
	}
	blurred := predicted(t, spec)
	spec.View.Blur, spec.View.Kernel = 1024, []float64{1, 2, 3, 2} // as much, also weighed
	same := predicted(t, spec)
	spec.Wall.Rate, spec.Wall.Turns, spec.View = trial.Rate(4*960, 1), nil, banding.View{}
	want := predicted(t, spec).Worst().Depth
	assert.InDelta(t, want, blurred.Worst().Depth, 1e-12, "roundings")
	assert.InDelta(t, want, same.Worst().Depth, 1e-12, "roundings")
	for k := int64(1); k <= 6; k++ { // a quarter of a period of the groups is clean
		spec.Wall.Rate, spec.Wall.Turns, spec.View = trial.Rate(960, 1), []int{0, 2, 1, 3}, banding.View{Blur: 4}
		spec.Camera.Exposure = trial.Seconds(k, 3840)
		assert.InDelta(t, 0, predicted(t, spec).Worst().Depth, 1e-12, "roundings")
	}
}

// TestBlurByHand has rows that see parts of two wall rows, under a global shutter that is
// open while one of two groups is lit.
func TestBlurByHand(t *testing.T) {
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: trial.Rate(100, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(1))}, Turns: []int{0, 1}},
		View:   banding.View{WallRowsPerCameraRow: 0.5, Blur: 0.6},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 200), Phase: timing.Leading, Rows: 5},
	}
	for _, tc := range []struct {
		pitch  float64
		kernel []float64
		want   []float64
	}{
		// Row 0 sees positions −0.05 to 0.55: 0.05 of row −1, which is of group 1.
		{0.5, nil, []float64{0.55 / 0.6, 0.55 / 0.6, 0.05 / 0.6, 0.05 / 0.6, 0.55 / 0.6}},
		{-0.5, nil, []float64{0.05 / 0.6, 0.05 / 0.6, 0.55 / 0.6, 0.55 / 0.6, 0.05 / 0.6}},
		// The lower half of what it sees weighs three times the upper one.
		{0.5, []float64{1, 3}, []float64{(0.25 + 3*0.3) / 1.2, (0.3 + 3*0.25) / 1.2, 0.05 / 1.2, 3 * 0.05 / 1.2, (0.25 + 3*0.3) / 1.2}},
	} {
		spec.View.WallRowsPerCameraRow, spec.View.Kernel = tc.pitch, tc.kernel
		got, ok := predicted(t, spec).Frame(0, 0)
		assert.True(t, ok)
		assert.InDeltaSlice(t, tc.want, got, 1e-12, "%v", tc)
	}
}

// TestHarmonicsAtOnePlaceAdd has a global shutter, under which all harmonics of the light
// give the pattern of the groups.
func TestHarmonicsAtOnePlaceAdd(t *testing.T) {
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: trial.Rate(100, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(0.3))}, Turns: []int{2, 0, 1}},
		View:   banding.View{WallRowsPerCameraRow: 0.21},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 900), Phase: timing.Leading, Rows: 300},
	}
	p := predicted(t, spec)
	bands, _ := p.Bands(0)
	assert.InEpsilon(t, 3/0.21, bands[0].Spacing, 1e-12, "three wall rows")
	most := 0.0
	for i := range 100 {
		rows, _ := p.Frame(0, float64(i)/100)
		total := 0.0
		for r := range rows {
			total += window(r, len(rows))
		}
		most = max(most, 2*cmplx.Abs(lineOf(rows, 1/bands[0].Spacing))/total/0.1) // a mean light of 0.3/3
	}
	assert.LessOrEqual(t, most, bands[0].Amplitude*1.03, "leakage, and harmonics beyond the sixteenth")
	assert.GreaterOrEqual(t, most, bands[0].Amplitude/2, "harmonics do not meet all at once")
}

// TestLittleBlurIsNone has rows that see one wall row each, far from the first.
func TestLittleBlurIsNone(t *testing.T) {
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: trial.Rate(960, 1), Greys: []banding.Waveform{trial.Must(banding.Pulse(0.5))}, Turns: []int{0, 2, 1, 3}},
		View:   banding.View{WallRowsPerCameraRow: 1, Offset: 1e6},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 700), Phase: timing.Leading, RowTime: seconds(5e-6), Rows: 60},
	}
	want, _ := predicted(t, spec).Frame(0, 0.1)
	spec.View.Blur, spec.View.Kernel = 1e-3, rising(1024)
	got, _ := predicted(t, spec).Frame(0, 0.1)
	assert.InDeltaSlice(t, want, got, 1e-9, "parts of a millionth of a row")
}
