package plate_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor/plate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// filled is a plane of one value.
func filled[T plate.Sample](w, h int, v T) plate.Plane[T] {
	return plate.Plane[T]{Pix: slices.Repeat([]T{v}, w*h), Width: w, Height: h}
}

// refused holds that an error says what is wrong, and that there is no answer beside it.
func refused[V any](t testing.TB, want string) func(V, error) {
	return func(v V, err error) {
		t.Helper()
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, plate.ErrInvalid)
		assert.Zero(t, v)
	}
}

func TestLightOfParts(t *testing.T) {
	// Light by column, so that a region off by one gives another mean.
	p := plate.Plane[uint8]{Width: 60, Height: 40, Step: 2}
	for y := range 40 {
		for x := range 60 {
			p.Pix = append(p.Pix, uint8(2*x+y+10), 255)
		}
	}
	r := plate.Region{X: 5, Y: 3, Width: 17, Height: 19}
	got := must[plate.Estimate](t)(plate.MeasureLight(p, plate.LightSpec{Region: r}))
	assert.InDelta(t, 2*(5+8)+(3+9)+10, got.Value, 1e-12, "the middle of a ramp")
	doubled := must[plate.Estimate](t)(plate.MeasureLight(p, plate.LightSpec{Region: r, Linear: func(c float64) float64 { return 2*c - 20 }}))
	assert.InDelta(t, 2*got.Value-20, doubled.Value, 1e-12, "a straight curve")
	assert.InDelta(t, 2*got.Uncertainty, doubled.Uncertainty, 1e-12, "a straight curve")
	// The table of a large frame gives what the curve gives.
	large := filled[uint8](60, 40, 7)
	squared := func(c float64) float64 { return c * c }
	assert.InDelta(t, 49, must[plate.Estimate](t)(plate.MeasureLight(large, plate.LightSpec{Linear: squared})).Value, 1e-12, "7²")
	// A card without noise is known to the step from code to code.
	assert.InDelta(t, 14/math.Sqrt(12), must[plate.Estimate](t)(plate.MeasureLight(large, plate.LightSpec{Linear: squared})).Uncertainty, 1e-12, "(8² − 6²)/2 over √12")
	assert.Zero(t, must[plate.Estimate](t)(plate.MeasureLight(filled[float32](60, 40, 0.5), plate.LightSpec{})).Uncertainty)
}

func TestLightThatIsRefused(t *testing.T) {
	card := filled[uint8](40, 30, 100)
	no := refused[plate.Estimate]
	no(t, "frame 0 × 0 px")(plate.MeasureLight(plate.Plane[uint8]{}, plate.LightSpec{}))
	no(t, "region 15 × 30 px at (0, 0): must have at least 16 columns and rows, inside the frame of 40 × 30 px")(
		plate.MeasureLight(card, plate.LightSpec{Region: plate.Region{Width: 15, Height: 30}}))
	for _, r := range []plate.Region{{X: -1, Width: 20, Height: 20}, {X: 21, Width: 20, Height: 20}, {Y: 11, Width: 20, Height: 20}, {X: math.MaxInt, Width: 20, Height: 20}} {
		no(t, "inside the frame")(plate.MeasureLight(card, plate.LightSpec{Region: r}))
	}
	no(t, "region 100 % clipped: must be at most 0.5 %")(plate.MeasureLight(filled[uint8](40, 30, 255), plate.LightSpec{}))
	no(t, "region 100 % crushed: must be at most 0.5 %")(plate.MeasureLight(filled[uint8](40, 30, 0), plate.LightSpec{}))
	no(t, "column 0, row 0")(plate.MeasureLight(filled(40, 30, float32(math.NaN())), plate.LightSpec{}))
	no(t, "must be a number, as must its light (column 0, row 0)")(plate.MeasureLight(card, plate.LightSpec{Linear: func(float64) float64 { return math.NaN() }}))
	no(t, "black 100: must be less than white, 50")(plate.MeasureLight(card, plate.LightSpec{White: 50, Black: 100}))
	for i := range 6 {
		card.Pix[40*i] = 255 // 6 of 1200
	}
	require.NoError(t, second(plate.MeasureLight(card, plate.LightSpec{})))
	card.Pix[1] = 255
	no(t, "region 0.583333 % clipped")(plate.MeasureLight(card, plate.LightSpec{}))
}

func second[V any](_ V, err error) error { return err }

func TestStops(t *testing.T) {
	e := func(v, u float64) plate.Estimate { return plate.Estimate{Value: v, Uncertainty: u} }
	got := must[plate.Estimate](t)(plate.Stops(e(0.72, 0.01), e(0.18, 0)))
	assert.InDelta(t, 2, got.Value, 1e-15, "four times the light")
	assert.InDelta(t, (math.Log2(0.73)-math.Log2(0.71))/2, got.Uncertainty, 2e-6, "a difference quotient")
	back := must[plate.Estimate](t)(plate.Stops(e(0.18, 0), e(0.72, 0.01)))
	assert.Equal(t, plate.Estimate{Value: -got.Value, Uncertainty: got.Uncertainty}, back)
	no := refused[plate.Estimate]
	no(t, "light 0: must be more than 0")(plate.Stops(e(0, 0), e(1, 0)))
	no(t, "reference NaN")(plate.Stops(e(1, 0), e(math.NaN(), 0)))
	no(t, "light: uncertainty -1: must be at least 0")(plate.Stops(e(1, -1), e(1, 0)))
	no(t, "light 0.3 ± 0.1: must be more than 3 uncertainties")(plate.Stops(e(0.3, 0.1), e(1, 0)))
}

func TestDriftsThatAreRefused(t *testing.T) {
	var times []unit.Time
	var stops []plate.Estimate
	for i := range 40 {
		times = append(times, unit.Time(i))
		stops = append(stops, plate.Estimate{Value: 0.01 * float64(i%3)})
	}
	d := must[plate.Drift](t)(plate.MeasureDrift(times, stops))
	assert.InDelta(t, 0.0082, d.Scatter, 5e-4, "of 0, 1 and 2: √(2/3) hundredths")
	assert.Negative(t, d.Correlation, "up and down from frame to frame")
	exact := slices.Clone(stops)
	for i := range exact {
		exact[i] = plate.Estimate{Value: 1 - float64(i)/120, Uncertainty: 0.01}
	}
	d = must[plate.Drift](t)(plate.MeasureDrift(times, exact))
	assert.InDelta(t, -0.5, d.StopsPerMinute.Value, 1e-12, "half a stop less a minute")
	assert.InDelta(t, 0.01*60/math.Sqrt(40*(40*40-1)/12.), d.StopsPerMinute.Uncertainty, 1e-12, "of 40 times a second apart")

	no := refused[plate.Drift]
	no(t, "frames 23: must be at least 24")(plate.MeasureDrift(times[:23], stops[:23]))
	no(t, "stops 39: must be as many as the times, 40")(plate.MeasureDrift(times, stops[:39]))
	slow := slices.Clone(stops)
	for i := range slow {
		slow[i].Value = math.Cos(math.Pi*float64(i)/40) * math.Abs(float64(i)-20)
	}
	no(t, "a wander as slow as the take cannot be told from a drift")(plate.MeasureDrift(times, slow))
	bad := slices.Clone(times)
	bad[7] = 5
	no(t, "time 5 s: must be after the one before, 6 s")(plate.MeasureDrift(bad, stops))
	for i := range bad {
		bad[i] = unit.Time(float64(i) * 1e-200)
	}
	no(t, "must span at least 1 ms")(plate.MeasureDrift(bad, stops))
	bad[0] = -1.5e9
	no(t, "time -416667 h: must be at least -277778 h")(plate.MeasureDrift(bad, stops))
	stops[3].Value = math.NaN()
	no(t, "stops NaN")(plate.MeasureDrift(times, stops))
}

// What MeasureNoise says of frames that are not as its model.
func TestNoiseThatIsNotAsTheModel(t *testing.T) {
	near.NumbersOnly(t)
	r := rand.New(rand.NewPCG(1, 8))
	even := func(float64) float64 { return 0.01 }
	ramp := func(x, y int) float64 { return 0.2 + 0.001*float64(x) + 0.0005*float64(y) }

	// A mosaic that was interpolated: neighbours are means of two.
	raw := record[float32](r, 256, 256, 1, ramp, even)
	smooth := filled[float32](256, 256, 0)
	for y := range 255 {
		for x := range 255 {
			smooth.Pix[y*256+x] = (raw.Pix[y*256+x] + raw.Pix[y*256+x+1] + raw.Pix[y*256+256+x] + raw.Pix[y*256+257+x]) / 4
		}
	}
	n := must[plate.Noise](t)(plate.MeasureNoise(smooth, plate.LightSpec{Region: plate.Region{Width: 255, Height: 255}}))
	assert.Equal(t, 2, n.Spacing)
	ref.Near(t, "S-PLATE-NOISE-MEAN", n.Floor.Value, 0.005, "of four samples")
	assert.InDelta(t, 0.005, n.Floor.Value, 3*n.Floor.Uncertainty, "of four samples")

	// Detail as fine as the pixels: too much by a fifth or so, and never too little.
	for seed := range 4 {
		r := rand.New(rand.NewPCG(uint64(seed), 9))
		s := newScene(t, r, 256, 192, 1, 0.05, 0.8)
		n, err := plate.MeasureNoise(record[float32](r, 256, 192, 1, s.at, even), plate.LightSpec{White: 2, Black: -1})
		if err != nil {
			continue
		}
		for _, l := range n.Levels {
			assert.Greater(t, l.Noise.Value+3*l.Noise.Uncertainty, 0.01, "%+v", l)
			assert.Less(t, l.Noise.Value-3*l.Noise.Uncertainty, 0.01*1.25, "%+v", l)
		}
	}

	no := refused[plate.Noise]
	no(t, "rounding hides it, or there is none")(plate.MeasureNoise(filled[uint16](200, 200, 5000), plate.LightSpec{}))
	no(t, "rounding hides it, or there is none")(plate.MeasureNoise(filled[float32](200, 200, 0.5), plate.LightSpec{}))
	quiet := record[uint16](r, 200, 200, full16, func(int, int) float64 { return 0.3 }, constant(0.4/full16))
	no(t, "rounding hides it")(plate.MeasureNoise(quiet, plate.LightSpec{}))
	no(t, "0 blocks of 8 × 8 samples: must hold at least 100 that are neither clipped nor crushed")(plate.MeasureNoise(filled[uint8](200, 200, 255), plate.LightSpec{}))
	no(t, "0 blocks of 8 × 8 samples")(plate.MeasureNoise(filled[uint8](200, 200, 0), plate.LightSpec{}))
	no(t, "81 blocks of 8 × 8 samples")(plate.MeasureNoise(record[uint8](r, 79, 79, 255, ramp, even), plate.LightSpec{}))
	no(t, "column 3, row 1")(plate.MeasureNoise(spoiled(200, 200, 203), plate.LightSpec{}))
	coarse := filled[float32](160, 160, 0)
	for i := range coarse.Pix { // means over 12 × 12 px
		for j := range 144 {
			coarse.Pix[i] += raw.Pix[(i/160+j/12)*256+i%160+j%12] / 144
		}
	}
	no(t, "noise of coarse grain cannot be told from the scene")(plate.MeasureNoise(coarse, plate.LightSpec{}))
}

// spoiled is a plane with one NaN.
func spoiled(w, h, at int) plate.Plane[float32] {
	p := filled[float32](w, h, 0.5)
	p.Pix[at] = float32(math.NaN())
	return p
}

// Defects in even frames, at corners and edges, and those that cannot be told.
func TestDefectsOfEvenFrames(t *testing.T) {
	const w, h = 40, 30
	r := rand.New(rand.NewPCG(1, 10))
	sites := map[[2]int]plate.DefectKind{{0, 0}: plate.Hot, {39, 0}: plate.Dead, {39, 29}: plate.Hot, {0, 15}: plate.Stuck, {20, 10}: plate.Hot, {21, 20}: plate.Stuck, {22, 29}: plate.Dead}
	frames := func(level func(i int) float64) (out []plate.Plane[uint8]) {
		for i := range 12 {
			p := record[uint8](r, w, h, 255, func(x, y int) float64 { return level(i) }, constant(0.005))
			for at, kind := range sites {
				v := &p.Pix[at[1]*w+at[0]]
				switch kind {
				case plate.Hot:
					*v += 40
				case plate.Dead:
					*v = uint8(r.IntN(2))
				case plate.Stuck:
					*v = 255
				}
			}
			out = append(out, p)
		}
		return out
	}
	measure := func(frames []plate.Plane[uint8], spec plate.DefectSpec) plate.Defects {
		m := must[*plate.DefectMeter[uint8]](t)(plate.NewDefectMeter[uint8](spec))
		for _, f := range frames {
			require.NoError(t, m.Add(f))
		}
		return must[plate.Defects](t)(m.Measure())
	}
	rising := frames(func(i int) float64 { return 0.2 + 0.04*float64(i) })
	got := measure(rising, plate.DefectSpec{})
	assert.Zero(t, got.Unconfirmed)
	require.Len(t, got.Sites, len(sites), "%+v", got.Sites)
	for i, d := range got.Sites {
		ref.Equal(t, "S-PLATE-DEFECTS", d.Kind, sites[[2]int{d.X, d.Y}], d)
		if i > 0 {
			last := got.Sites[i-1]
			assert.True(t, d.Y > last.Y || d.Y == last.Y && d.X > last.X, "in order")
		}
		if d.Kind == plate.Hot {
			assert.InDelta(t, 40, d.Deviation, 1.5, "noise of 1.3 in 12 frames")
		}
	}
	steady := frames(func(int) float64 { return 0.3 })
	assert.Equal(t, plate.Defects{Frames: 12, Unconfirmed: len(sites)}, measure(steady, plate.DefectSpec{}))
	assert.Len(t, measure(steady, plate.DefectSpec{NothingStays: true}).Sites, len(sites))
	assert.Equal(t, plate.Defects{Frames: 12, Unconfirmed: 2}, measure(rising, plate.DefectSpec{Limit: 0.5}), "both that are stuck, in light that changes by less than half the limit")
	assert.Len(t, measure(rising, plate.DefectSpec{Limit: 0.25}).Sites, len(sites)-3, "hot ones deviate by 40 of 255")

	// Details that stand still are brighter or darker in proportion to light that changes.
	for _, contrast := range []float64{0.1, 0.5, 1.4, 2.5} {
		var still []plate.Plane[uint8]
		for i := range 12 {
			level := 0.2 + 0.015*float64(i)
			still = append(still, record[uint8](r, w, h, 255, func(x, y int) float64 {
				if x == 7 && y == 8 {
					return contrast * level
				}
				return level
			}, constant(0.005)))
		}
		got := measure(still, plate.DefectSpec{})
		assert.Empty(t, got.Sites, contrast)
		assert.Equal(t, 1, got.Unconfirmed, contrast)
		assert.Len(t, measure(still, plate.DefectSpec{NothingStays: true}).Sites, 1, contrast)
	}
}

// A photosite that exceeds all but one neighbour stands out, whichever one that is. One that
// exceeds all but two does not.
func TestDefectsBesideBrightNeighbours(t *testing.T) {
	around := [][2]int{{-1, -1}, {0, -1}, {1, -1}, {-1, 0}, {1, 0}, {-1, 1}, {0, 1}, {1, 1}}
	for i, a := range around {
		for _, b := range around[i:] {
			m := must[*plate.DefectMeter[uint8]](t)(plate.NewDefectMeter[uint8](plate.DefectSpec{NothingStays: true}))
			for range 12 {
				p := filled[uint8](20, 20, 50)
				for _, at := range [][2]int{{0, 0}, a, b} {
					p.Pix[(10+at[1])*20+10+at[0]] = 150
				}
				require.NoError(t, m.Add(p))
			}
			found := slices.ContainsFunc(must[plate.Defects](t)(m.Measure()).Sites, func(d plate.Defect) bool { return d.X == 10 && d.Y == 10 })
			assert.Equal(t, a == b, found, "%v and %v are as bright", a, b)
		}
	}
}

func TestDefectsThatAreRefused(t *testing.T) {
	for want, spec := range map[string]plate.DefectSpec{
		"limit 0.6: must be at least 0.002 and at most 0.5": {Limit: 0.6},
		"limit NaN":                    {Limit: math.NaN()},
		"black 300: must be less than": {Black: 300},
	} {
		refused[*plate.DefectMeter[uint8]](t, want)(plate.NewDefectMeter[uint8](spec))
	}
	assert.ErrorContains(t, new(plate.DefectMeter[uint8]).Add(filled[uint8](9, 9, 1)), "must come from NewDefectMeter")
	m := must[*plate.DefectMeter[float32]](t)(plate.NewDefectMeter[float32](plate.DefectSpec{}))
	assert.ErrorContains(t, m.Add(filled[float32](2, 9, 0)), "must have at least 3 columns and rows")
	assert.ErrorContains(t, m.Add(spoiled(90, 70, 90*40+5)), "(column 5, row 40)")
	require.NoError(t, m.Add(filled[float32](90, 70, 0.5)))
	assert.ErrorContains(t, m.Add(filled[float32](70, 90, 0.5)), "frame 70 × 90 px: must be as large as the first, 90 × 70 px")
	r := rand.New(rand.NewPCG(1, 11))
	noisy := record[float32](r, 90, 70, 1, func(int, int) float64 { return 0.5 }, constant(0.1))
	err := m.Add(noisy)
	assert.ErrorContains(t, err, "plate: limit 0.05: must be more: ")
	assert.Regexp(t, `: \d\d?(\.\d+)? % of the photosites`, err, "a percentage")
	refused[plate.Defects](t, "frames 1: must be at least 12")(m.Measure())
}

func TestFlareThatIsRefused(t *testing.T) {
	no := refused[plate.Flare]
	frame := filled[float32](176, 176, 0.2)
	f := must[plate.Flare](t)(plate.MeasureFlare(frame, plate.FlareSpec{NoLight: plate.Estimate{Value: 0.05}}))
	assert.InDelta(t, 0.15, f.AtMost.Value, 1e-7, "float32")
	assert.InDelta(t, 1, f.FractionOfMean, 1e-6, "all of it")
	// The darkest block, in a region that begins elsewhere.
	for i := range 64 {
		frame.Pix[(21+i/8)*176+13+i%8] = 0.1
	}
	f = must[plate.Flare](t)(plate.MeasureFlare(frame, plate.FlareSpec{LightSpec: plate.LightSpec{Region: plate.Region{X: 5, Y: 5, Width: 171, Height: 171}}, DarkFraction: 0.001}))
	assert.Equal(t, plate.Region{X: 13, Y: 21, Width: 8, Height: 8}, f.Darkest)
	assert.InDelta(t, (0.1+3*0.2)/4, f.AtMost.Value, 1e-7, "four blocks at least")

	no(t, "darkest part 100 % crushed: must be at most 0.5 %: the veil is cut off with the black")(plate.MeasureFlare(filled[uint8](160, 160, 0), plate.FlareSpec{}))
	no(t, "no light 0.3: must be at most the light of the darkest part, 0.")(plate.MeasureFlare(frame, plate.FlareSpec{NoLight: plate.Estimate{Value: 0.3}}))
	no(t, "region 399 blocks of 8 × 8 samples: must be at least 400")(plate.MeasureFlare(filled[uint8](168, 152, 9), plate.FlareSpec{}))
	no(t, "dark fraction 0.6: must be at least 0.001 and at most 0.5")(plate.MeasureFlare(frame, plate.FlareSpec{DarkFraction: 0.6}))
	no(t, "no light NaN")(plate.MeasureFlare(frame, plate.FlareSpec{NoLight: plate.Estimate{Value: math.NaN()}}))
	no(t, "no light: uncertainty -1")(plate.MeasureFlare(frame, plate.FlareSpec{NoLight: plate.Estimate{Uncertainty: -1}}))
	no(t, "(column 7, row 3)")(plate.MeasureFlare(spoiled(160, 160, 3*160+7), plate.FlareSpec{}))
	no(t, "(column 0, row 0)")(plate.MeasureFlare(filled[uint8](160, 160, 9), plate.FlareSpec{LightSpec: plate.LightSpec{Linear: func(float64) float64 { return math.Inf(1) }}}))
}

// Every constant has its name, in print and in JSON, and is read back from it.
func TestNames(t *testing.T) {
	kinds := []plate.DefectKind{plate.Hot, plate.Dead, plate.Stuck}
	text := must[[]byte](t)(json.Marshal(kinds))
	assert.Equal(t, `["hot","dead","stuck"]`, string(text))
	var back []plate.DefectKind
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, kinds, back)
	assert.Equal(t, "DefectKind(4)", (plate.Stuck + 1).String())
	_, err := json.Marshal(plate.DefectKind(0))
	assert.ErrorContains(t, err, "defect kind")
}

// One channel of an interleaved picture gives what a copy of it gives.
func TestChannelsOfPictures(t *testing.T) {
	const w, h = 192, 168
	r := rand.New(rand.NewPCG(1, 12))
	s := newScene(t, r, w, h, 2, 0.05, 0.8)
	copied := record[uint16](r, w, h, full16, s.at, constant(0.01))
	copied.Pix[70*w+30] = 0
	channel := plate.Plane[uint16]{Pix: make([]uint16, 3*(w+6)*h), Width: w, Height: h, Stride: 3 * (w + 6), Step: 3}
	for i := range channel.Pix {
		channel.Pix[i] = uint16(r.IntN(full16))
	}
	for y := range h {
		for x := range w {
			channel.Pix[y*channel.Stride+3*x] = copied.Pix[y*w+x]
		}
	}
	light := plate.LightSpec{Region: plate.Region{X: 3, Y: 5, Width: 180, Height: 160}, Linear: linear}
	assert.Equal(t, must[plate.Estimate](t)(plate.MeasureLight(copied, light)), must[plate.Estimate](t)(plate.MeasureLight(channel, light)))
	assert.Equal(t, must[plate.Noise](t)(plate.MeasureNoise(copied, light)), must[plate.Noise](t)(plate.MeasureNoise(channel, light)))
	flare := plate.FlareSpec{LightSpec: light}
	assert.Equal(t, must[plate.Flare](t)(plate.MeasureFlare(copied, flare)), must[plate.Flare](t)(plate.MeasureFlare(channel, flare)))
	a := must[*plate.DefectMeter[uint16]](t)(plate.NewDefectMeter[uint16](plate.DefectSpec{NothingStays: true}))
	b := must[*plate.DefectMeter[uint16]](t)(plate.NewDefectMeter[uint16](plate.DefectSpec{NothingStays: true}))
	for range 12 {
		require.NoError(t, a.Add(copied))
		require.NoError(t, b.Add(channel))
	}
	want := must[plate.Defects](t)(a.Measure())
	assert.NotEmpty(t, want.Sites)
	assert.Equal(t, want, must[plate.Defects](t)(b.Measure()))
}

// Half of the frames are not enough, however steady the deviation; a detail that runs
// into the frame's edge does not stand out there.
func TestWhatDoesNotStandOut(t *testing.T) {
	const w, h = 30, 24
	m := must[*plate.DefectMeter[uint8]](t)(plate.NewDefectMeter[uint8](plate.DefectSpec{NothingStays: true}))
	for i := range 12 {
		p := filled[uint8](w, h, 100)
		p.Pix[10*w+10] = 160
		if i%12 == 11 || i%2 == 1 { // two neighbours as bright in 6 of 12 frames
			p.Pix[9*w+10], p.Pix[10*w+11] = 160, 160
		}
		for k := range 3 {
			p.Pix[5*w+k], p.Pix[7*w+w-1-k] = 160, 160
			p.Pix[k*w+20], p.Pix[(h-1-k)*w+22] = 160, 160
		}
		require.NoError(t, m.Add(p))
	}
	var got [][2]int
	for _, d := range must[plate.Defects](t)(m.Measure()).Sites {
		got = append(got, [2]int{d.X, d.Y})
	}
	assert.Equal(t, [][2]int{{20, 2}, {2, 5}, {w - 3, 7}, {22, h - 3}}, got, "the ends of lines inside the frame")
}

// Rounding is part of the uncertainty where the noise does not spread over codes, and
// the table of a curve holds the last code.
func TestRoundedLight(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 13))
	card := func(noise float64) plate.Plane[uint8] {
		return record[uint8](r, 64, 64, 255, func(int, int) float64 { return 100.2 / 255 }, constant(noise/255))
	}
	hidden := must[plate.Estimate](t)(plate.MeasureLight(card(0.25), plate.LightSpec{}))
	assert.Greater(t, hidden.Uncertainty, 0.28, "a step over √12")
	assert.InDelta(t, 100.2, hidden.Value, 3*hidden.Uncertainty, "three deviations")
	spread := must[plate.Estimate](t)(plate.MeasureLight(card(2), plate.LightSpec{}))
	assert.InDelta(t, 2./64, spread.Uncertainty, 0.01, "of 64² samples")
	full := must[plate.Estimate](t)(plate.MeasureLight(filled[uint8](60, 40, 255), plate.LightSpec{White: 256, Linear: func(c float64) float64 { return c * c }}))
	assert.InDelta(t, 255*255, full.Value, 1e-9, "the last of the table")
}
