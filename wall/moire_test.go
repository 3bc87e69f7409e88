package wall_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

const (
	mm = unit.Milli * unit.Metre
	um = unit.Micro * unit.Metre
)

func TestImagePitch(t *testing.T) {
	image := must[float64](t)(wall.ImagePitch(2.8*mm, 5, 35*mm, 6*um))
	ref.Near(t, "W-M5", image, 3.28969452837, "pitch in photosites")
	ref.Near(t, "W-M5", image*6, 19.7381671702, "pitch in µm")
	all, err := wall.PredictMoire(wall.MoireSpec{Grid: grid(image, 0), EmittingX: 0.5, EmittingY: 0.5, Aperture: 1, Order: 1})
	if err != nil {
		t.Fatal(err)
	}
	m := find(all, 1, 0)
	ref.Near(t, "W-M5", m.Frequency.X, 0.303979591837, "frequency")
	if m.Kind != wall.Resolved {
		t.Errorf("below half a cycle per photosite, but %s", m.Kind)
	}

	// Where all photosites resolve the grid, and where red ones do.
	for _, tc := range []struct {
		sampling        wall.Sampling
		image, distance float64
	}{{wall.EveryPhotosite, 2, 8.201666666666667}, {wall.Green, 2, 8.201666666666667}, {wall.RedOrBlue, 4, 4.118333333333333}} {
		distance := must[unit.Length](t)(wall.NyquistDistance(2.8*mm, 35*mm, 6*um, tc.sampling))
		ref.Near(t, "W-M6", must[float64](t)(wall.ImagePitch(2.8*mm, distance, 35*mm, 6*um)), tc.image, "photosites at the Nyquist distance")
		ref.Near(t, "W-M6", float64(distance), tc.distance)
	}
}

func TestAliasFrequency(t *testing.T) {
	for _, tc := range []struct{ fs, f, want float64 }{
		{1000, 1200, 200}, {200, 170, 30}, {1, 0.6, 0.4}, {1, 1.3, 0.3}, {1, 2.05, 0.05},
		{1, 0, 0}, {1, 0.5, 0.5}, {1, 3, 0},
	} {
		ref.Near(t, "W-M1", must[float64](t)(wall.AliasFrequency(tc.f, tc.fs)), tc.want, tc.fs, tc.f)
	}
}

func TestBeatPeriod(t *testing.T) {
	for _, tc := range []struct {
		id   string
		p, q float64
		a    unit.Angle
		want float64
	}{
		{"W-M2", 2.8, 2.9, 0, 81.2}, {"W-M2", 1.9, 2.0, 0, 38}, {"W-M2", 5, 6, 0, 30},
		{"W-M4", 1, 1.1, 5 * wall.Degree, 8.11555893288}, {"W-M4", 2.5, 2.6, -3 * wall.Degree, 38.9731618989},
	} {
		ref.Near(t, tc.id, must[float64](t)(wall.BeatPeriod(tc.p, tc.q, tc.a)), tc.want, tc.p, tc.q)
	}
	if b := must[float64](t)(wall.BeatPeriod(3, 3, 0)); !math.IsInf(b, 1) {
		t.Errorf("equal gratings beat at %v", b)
	}
	// Close gratings keep their digits, where p² + q² − 2pq cos loses them.
	near.Rel(t, "close", must[float64](t)(wall.BeatPeriod(1, 1, 1e-9)), 1e9, 1e-15, "1/(2 sin(a/2)) of a small angle")
}

func diffraction(n float64) float64 {
	if n >= 1 {
		return 0
	}
	return 2 / math.Pi * (math.Acos(n) - n*math.Sqrt(1-n*n))
}

func TestSquareWaveContrast(t *testing.T) {
	for n, want := range map[float64]float64{
		0.1: 0.917270787425, 0.2: 0.830331817935, 0.3: 0.778427641907, 0.5: 0.497839487254, 0.7: 0.239522338021,
	} {
		ref.Near(t, "W-M8", must[float64](t)(wall.SquareWaveContrast(n, 1, diffraction)), want, n)
	}
	// Out of focus the contrast is reversed: 4/π of −0.1, and of a third of −0.06.
	got := must[float64](t)(wall.SquareWaveContrast(1, 4, func(f float64) float64 { return map[float64]float64{1: -0.1, 3: -0.06}[f] }))
	near.Abs(t, "reversed", got, 4/math.Pi*(-0.1+0.02), 1e-15, "a few roundings")
	// A system that leaves all leaves a square wave: 4/π (1 − 1/3 + 1/5 − …) = 1.
	got = must[float64](t)(wall.SquareWaveContrast(1, 1e6, func(float64) float64 { return 1 }))
	near.Abs(t, "perfect system", got, 1, 1e-6, "the series ends after 1e6: the next term is 4/π 1e-6, and the sum lies half of it off")
}

// lines are lit columns of a wall in a row of photosites, at an image pitch.
type lines struct{ pitch, lit, aperture float64 }

// row renders what photosites make of a row of lit widths: the share of each
// sensitive width that is lit, by the overlap of intervals, averaged over a box
// of the width blur as a lens might spread it.
func (l lines) row(n int, blur, phase float64) []float64 {
	lit := func(x float64) float64 { // integral of the wave from 0 to x
		periods := math.Floor(x / l.pitch)
		rest := x - periods*l.pitch
		return periods*l.pitch*l.lit + math.Min(rest, l.lit*l.pitch)
	}
	const taps = 400
	out := make([]float64, n)
	for i := range out {
		for k := range taps {
			x := float64(i) + phase + blur*((float64(k)+0.5)/taps-0.5)
			out[i] += 1000 * (lit(x+l.aperture) - lit(x)) / l.aperture / taps
		}
	}
	return out
}

func TestMoireIsWhatARecordingShows(t *testing.T) {
	for _, tc := range []struct {
		lines
		blur float64
	}{
		{lines{1.07, 0.5, 0.9}, 0.4},
		{lines{0.93, 0.3, 0.8}, 0.5},
		{lines{1.31, 0.25, 0.7}, 0},
		{lines{3.2897, 0.6, 1}, 1},
		{lines{0.517, 0.4, 0.75}, 0.2},
		{lines{1.07, 0.4, 0.9}, 1.6}, // the box reverses contrast
		// The lens and aperture leave nothing.
		{lines{0.8, 0.5, 0.8}, 0},
	} {
		spec := wall.MoireSpec{Grid: grid(tc.pitch, 0), EmittingX: tc.lit, EmittingY: 1, Aperture: tc.aperture, Order: 8}
		if tc.blur > 0 {
			spec.Transfer = func(f float64) float64 { return math.Sin(math.Pi*f*tc.blur) / (math.Pi * f * tc.blur) }
		}
		all, err := wall.PredictMoire(spec)
		if err != nil {
			t.Fatal(err)
		}
		want := all[0]
		got, err := wall.MeasureRipple(tc.row(2000, tc.blur, 0.123))
		if err != nil {
			t.Fatal(err)
		}
		if want.Contrast < 1e-9 {
			if got.Contrast > 1e-9 {
				t.Errorf("%+v: measured %+v, predicted none", tc, got)
			}
			continue
		}
		ref.Within(t, "W-M9", math.Abs(got.Frequency-math.Abs(want.Frequency.X)), "frequency", fmt.Sprint(tc.pitch))
		ref.Within(t, "W-M10", math.Abs(got.Contrast/want.Contrast-1), "contrast", fmt.Sprint(tc.pitch))
	}
}

func TestMeasureRipple(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 1))
	for range 200 {
		n := 16 + int(math.Exp(8*rng.Float64()))
		f := (2.2 + rng.Float64()*(float64(n)/2-4)) / float64(n)
		contrast := math.Pow(10, -3*rng.Float64())
		phase := 2 * math.Pi * rng.Float64()
		mean := math.Exp(3 * rng.NormFloat64())
		samples := make([]float64, n)
		for i := range samples {
			samples[i] = mean * (1 + contrast*math.Cos(2*math.Pi*f*float64(i)+phase))
		}
		got, err := wall.MeasureRipple(samples)
		if err != nil {
			t.Fatal(err)
		}
		ref.Within(t, "W-M11", math.Abs(got.Frequency-f)*float64(n), "cycles in the record", n)
		ref.Within(t, "W-M11", math.Abs(got.Contrast/contrast-1), "contrast", n, f)
	}
	// A second, weaker one beside it disturbs by its share over distance cubed.
	for range 200 {
		const n, contrast = 1000, 0.1
		k := 50 + 300*rng.Float64()
		apart, share := 4+30*rng.Float64(), rng.Float64()/2
		phase := 2 * math.Pi * rng.Float64()
		samples := make([]float64, n)
		for i := range samples {
			x := 2 * math.Pi * float64(i) / n
			samples[i] = 3 * (1 + contrast*(math.Cos(k*x)+share*math.Cos((k+apart)*x+phase)))
		}
		got, err := wall.MeasureRipple(samples)
		if err != nil {
			t.Fatal(err)
		}
		near.Abs(t, "beside another", got.Contrast/contrast, 1, share/(apart*apart*apart)+1e-6, "what the doc comment promises")
	}
	// A weak one is found; what is slower than twice a record is not taken for one.
	weak, slow := make([]float64, 400), make([]float64, 400)
	for i := range weak {
		weak[i] = 1 + 1e-9*math.Sin(0.3*float64(i))
		slow[i] = 1 + 0.1*math.Sin(2*math.Pi*1.4*float64(i)/400)
	}
	near.Rel(t, "weak", must[wall.Ripple](t)(wall.MeasureRipple(weak)).Contrast, 1e-9, 1e-5, "samples of 1 with roundings of 1e-16")
	if got := must[wall.Ripple](t)(wall.MeasureRipple(slow)); got.Frequency < 2.0/400 {
		t.Errorf("%v cycles in the record", got.Frequency*400)
	}
	// Close to half a cycle the frequency stays at or below it, and an odd number
	// of alternating samples has its crests in the middle.
	for n := 50; n < 80; n++ {
		samples := make([]float64, n)
		for i := range samples {
			samples[i] = 1.125 + 0.125*float64(1-i%2*2)
		}
		got := must[wall.Ripple](t)(wall.MeasureRipple(samples))
		if got.Frequency > 0.5 {
			t.Errorf("%v cycles per sample", got.Frequency)
		}
		near.Abs(t, "alternating", got.Contrast, 0.125/1.125, 1e-4, "a flat top at 0.5: half a cycle and a little less differ little")
	}
	constant := make([]float64, 100)
	for i := range constant {
		constant[i] = 0.1
	}
	if got, err := wall.MeasureRipple(constant); err != nil || got != (wall.Ripple{}) {
		t.Errorf("an even line ripples: %+v, %v", got, err)
	}
	for i := range constant {
		constant[i] = 1 + 0.25*float64(i%2)
	}
	got, err := wall.MeasureRipple(constant)
	if err != nil {
		t.Fatal(err)
	}
	near.Abs(t, "half a cycle", got.Frequency, 0.5, 1e-6, "the top is flat: at 0.5 the sine vanishes")
	near.Abs(t, "half a cycle", got.Contrast, 0.125/1.125, 1e-6, "samples at the crests, frequency as above")
}

func TestMoireFaults(t *testing.T) {
	good := wall.MoireSpec{Grid: grid(1.1, 0), EmittingX: 0.5, EmittingY: 0.5, Aperture: 1, Order: 1}
	predict := func(change func(*wall.MoireSpec)) error {
		spec := good
		change(&spec)
		return second(wall.PredictMoire(spec))
	}
	line := make([]float64, 20)
	balanced := make([]float64, 32) // of a mean that is rounding only
	for i := range balanced {
		balanced[i] = float64(1-i%2*2) + 1e-14
	}
	bad := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, nan}
	one := func(float64) float64 { return 1 }
	for i, err := range []error{
		second(wall.ImagePitch(0, 5, 0.035, 6e-6)),
		second(wall.ImagePitch(0.0028, 0.035, 0.035, 6e-6)),
		second(wall.ImagePitch(0.0028, 5, unit.Length(nan), 6e-6)),
		second(wall.ImagePitch(0.0028, 5, 0.035, 0)),
		second(wall.NyquistDistance(0.0028, 0.035, 6e-6, 3)),
		second(wall.NyquistDistance(-1, 0.035, 6e-6, 0)),
		second(wall.AliasFrequency(1, 0)),
		second(wall.AliasFrequency(inf, 1)),
		second(wall.AliasFrequency(-1, 1)),
		second(wall.BeatPeriod(0, 1, 0)),
		second(wall.BeatPeriod(1, nan, 0)),
		second(wall.BeatPeriod(1, 1, math.Pi)),
		predict(func(s *wall.MoireSpec) { s.Grid = wall.Grid{} }),
		predict(func(s *wall.MoireSpec) { s.Grid.Down.X = nan }),
		predict(func(s *wall.MoireSpec) { s.Grid.Across.X = 1e200 }),
		predict(func(s *wall.MoireSpec) { s.Grid.Down = s.Grid.Across }),
		predict(func(s *wall.MoireSpec) { s.Grid.Down = r2.Vec{X: -1, Y: 0.9e-3} }),
		predict(func(s *wall.MoireSpec) { s.EmittingX = 0 }),
		predict(func(s *wall.MoireSpec) { s.EmittingY = 1.1 }),
		predict(func(s *wall.MoireSpec) { s.EmittingY = nan }),
		predict(func(s *wall.MoireSpec) { s.Aperture = nan }),
		predict(func(s *wall.MoireSpec) { s.Order = 0 }),
		predict(func(s *wall.MoireSpec) { s.Order = 65 }),
		predict(func(s *wall.MoireSpec) { s.Sampling = 3 }),
		predict(func(s *wall.MoireSpec) { s.Sampling = -1 }),
		predict(func(s *wall.MoireSpec) { s.Transfer = func(float64) float64 { return nan } }),
		predict(func(s *wall.MoireSpec) { s.Transfer = func(float64) float64 { return -1.1 } }),
		second(wall.SquareWaveContrast(0, 1, one)),
		second(wall.SquareWaveContrast(nan, 1, one)),
		second(wall.SquareWaveContrast(1, inf, one)),
		second(wall.SquareWaveContrast(1e-7, 1, one)),
		second(wall.SquareWaveContrast(0.1, 1, nil)),
		second(wall.SquareWaveContrast(0.1, 1, func(float64) float64 { return nan })),
		second(wall.SquareWaveContrast(0.1, 1, func(float64) float64 { return -1.1 })),
		second(wall.MeasureRipple(nil)),
		second(wall.MeasureRipple(line[:15])),
		second(wall.MeasureRipple(line)),
		second(wall.MeasureRipple(bad)),
		second(wall.MeasureRipple(balanced)),
	} {
		if !errors.Is(err, wall.ErrInvalid) {
			t.Errorf("%d: got %v", i, err)
		}
	}
}

func FuzzMeasureRipple(f *testing.F) {
	f.Add([]byte("0123456789abcdefghijklmnopqrstuvwxyz"), 1.0, 1e-3)
	f.Add(make([]byte, 64), 0.0, 1.0)
	f.Add([]byte{0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255, 0, 255}, 0.5, 1e90)
	f.Fuzz(func(t *testing.T, data []byte, offset, scale float64) {
		samples := make([]float64, len(data))
		for i, b := range data {
			samples[i] = offset + scale*float64(b)
		}
		r, err := wall.MeasureRipple(samples)
		if err != nil {
			if !errors.Is(err, wall.ErrInvalid) {
				t.Fatal(err)
			}
			return
		}
		if !(r.Frequency >= 0 && r.Frequency <= 0.5 && r.Contrast >= 0 && r.Contrast <= math.MaxFloat64) {
			t.Fatalf("%+v", r)
		}
	})
}
