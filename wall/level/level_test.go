package level_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/level"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func display(t testing.TB, spec level.Spec) level.Display {
	t.Helper()
	d, err := level.New(spec)
	require.NoError(t, err)
	return d
}

func luminance(t testing.TB, d level.Display, code int) float64 {
	t.Helper()
	l, ok := d.Luminance(code)
	require.True(t, ok, code)
	return l
}

// pq is a wall that can show all of PQ.
func pq(bits int, narrow bool) level.Spec {
	return level.Spec{Bits: bits, Narrow: narrow, Curve: level.PQ, White: 10000, Peak: 10000}
}

func TestPQ(t *testing.T) {
	for signal, want := range map[float64]float64{0.508078421517: 100, 0.751827096247: 1000, 0.149945732100: 1, 0.902572393311: 4000} {
		ref.Near(t, "W-LV1", level.PQ(signal)*1e4, want, signal)
	}
	assert.Zero(t, level.PQ(-0.1))
	assert.EqualValues(t, 1, level.PQ(1))
	assert.EqualValues(t, 1, level.PQ(1.5))
	assert.True(t, math.IsNaN(level.PQ(math.NaN())))
}

// The relative step of one narrow code of 10 and 12 bits at a luminance: the slope
// of the curve there, from two codes around it.
func TestStepsOfPQ(t *testing.T) {
	for _, tc := range []struct {
		bits      int
		luminance float64
		percent   float64
	}{{10, 1, 2.25847612}, {10, 100, 1.14347132}, {10, 1000, 1.05266999}, {12, 1, 0.561009826}, {12, 100, 0.284732225}, {12, 1000, 0.262141767}} {
		d := display(t, pq(tc.bits, true))
		code, ok := d.Code(tc.luminance)
		require.True(t, ok)
		s, err := d.Step(code, level.Viewer{})
		require.NoError(t, err)
		require.True(t, s.From <= tc.luminance && tc.luminance < s.To)
		// Steps shrink slowly with luminance: those that begin at and end above a
		// luminance enclose the one that begins at it.
		ref.Near(t, "W-LV2", 100*(s.To-s.From)/s.From, tc.percent, tc.bits, tc.luminance)
		ref.Near(t, "W-LV2", 200*s.Contrast/(1-s.Contrast), tc.percent, tc.bits, tc.luminance, "from the modulation")
	}
}

func TestPower(t *testing.T) {
	d := display(t, level.Spec{Bits: 8, Curve: level.Power(2), Peak: 65025, Black: 3})
	for code, want := range map[int]float64{0: 3, 1: 4, 10: 103, 255: 65028} {
		ref.Near(t, "W-LV3", luminance(t, d, code), want, code)
		back, ok := d.Code(luminance(t, d, code))
		assert.True(t, ok)
		ref.Equal(t, "W-LV4", back, code)
	}
	code, ok := d.Code(102.9)
	assert.True(t, ok)
	ref.Equal(t, "W-LV4", code, 9)
	for _, l := range []float64{2.9, 65028.1, math.NaN(), math.Inf(1)} {
		_, ok := d.Code(l)
		assert.False(t, ok, l)
	}
	for _, code := range []int{-1, 256} {
		_, ok := d.Luminance(code)
		assert.False(t, ok, code)
	}
	_, ok = d.FirstClipped()
	assert.False(t, ok)
}

func TestNarrow(t *testing.T) {
	d := display(t, level.Spec{Bits: 10, Narrow: true, Curve: level.Power(1), Peak: 876})
	for code, want := range map[int]float64{0: 0, 64: 0, 65: 1, 939: 875, 940: 876, 1023: 876} {
		ref.Near(t, "W-LV3", luminance(t, d, code), want, code)
	}
	code, ok := d.Code(876)
	assert.True(t, ok)
	ref.Equal(t, "W-LV4", code, 940, "the first of the codes that show the same")
	_, ok = d.FirstClipped()
	assert.False(t, ok, "a signal above white is not a light above the peak")
}

func TestClipping(t *testing.T) {
	spec := level.Spec{Bits: 8, Curve: level.Power(1), White: 255, Peak: 100, Black: 1, Dimming: 0.5}
	d := display(t, spec)
	for code, want := range map[int]float64{0: 1, 2: 2, 100: 51, 101: 51, 255: 51} {
		ref.Near(t, "W-LV3", luminance(t, d, code), want, code)
	}
	first, ok := d.FirstClipped()
	assert.True(t, ok)
	ref.Equal(t, "W-LV5", first, 101)
	code, _ := d.Code(51)
	ref.Equal(t, "W-LV4", code, 100)

	fit, err := d.Fit([]float64{0, 0.5, 1, 20, 51, 52, 204, 3})
	require.NoError(t, err)
	ref.Equal(t, "W-LV5", fit, level.Fit{Black: 1, Top: 51, Highlights: 2.0 / 8, ClippedStops: 2, Shadows: 2.0 / 8})
	fit, err = d.Fit([]float64{51})
	require.NoError(t, err)
	assert.Zero(t, fit.ClippedStops)
}

// Steps of the driver, counted by hand: at half light 255 steps of half the size, or
// half as many steps of the same size.
func TestDrive(t *testing.T) {
	spec := level.Spec{Bits: 10, Curve: level.Power(1), Peak: 255, DriveBits: 8, Dimming: 0.5}
	for byDrive, want := range map[bool]struct {
		levels int
		second float64
	}{false: {256, 0.5}, true: {129, 1}} { // 127.5 rounds up
		spec.DimByDrive = byDrive
		d := display(t, spec)
		levels := map[float64]bool{}
		for code := range 1024 {
			levels[luminance(t, d, code)] = true
		}
		assert.Len(t, levels, want.levels)
		assert.True(t, levels[want.second], "the second level")
		assert.InDelta(t, 127.5, luminance(t, d, 1023), 0.5, "half of a step of 1")
	}
}

// A ramp of equal codes: where a step by hand is larger than the limit.
func TestBanding(t *testing.T) {
	spec := pq(10, false)
	spec.Peak = 1500
	d := display(t, spec)
	for _, viewer := range []level.Viewer{{}, {Gain: 0.05}, {Field: 5 * level.Degree}} {
		for _, by := range []level.Measure{level.GSDF, level.Barten} {
			for _, limit := range []float64{0.5, 2, 4} {
				b, err := d.Banding(by, limit, viewer)
				require.NoError(t, err)
				// Brute force over steps; nothing is visible between ranges.
				in, unjudged := map[int]bool{}, 0
				for _, r := range b.Ranges {
					worst := 0.0
					for code := r.First; code <= r.Last; code++ {
						in[code] = true
						s, err := d.Step(code, viewer)
						require.NoError(t, err)
						worst = max(worst, map[level.Measure]float64{level.GSDF: s.JND, level.Barten: s.Thresholds}[by])
					}
					first, _ := d.Step(r.First, viewer)
					last, _ := d.Step(r.Last, viewer)
					assert.Equal(t, [2]float64{first.From, last.To}, [2]float64{r.From, r.To})
					assert.Equal(t, worst, map[level.Measure]float64{level.GSDF: r.Worst.JND, level.Barten: r.Worst.Thresholds}[by])
				}
				count := 0
				for code := range 1023 {
					s, err := d.Step(code, viewer)
					require.NoError(t, err)
					size, judged := s.Thresholds, true
					if by == level.GSDF {
						size, judged = s.JND, s.InGSDF || s.From == s.To
					}
					if !judged {
						unjudged++
					}
					if visible := judged && size > limit; visible {
						count++
						require.True(t, in[code], "%v %v", by, code)
					} else {
						require.False(t, in[code], "%v %v", by, code)
					}
				}
				ref.Equal(t, "W-LV6", len(in), count, by, limit, viewer)
				ref.Equal(t, "W-LV6", b.Unjudged, unjudged, by, limit, viewer)
			}
		}
	}
}

// An eye on the set has a gain of 1 and a field of 40°, and a step of just the limit is
// not visible.
func TestDefaultsAndTheLimit(t *testing.T) {
	d := display(t, pq(6, false))
	zero, err := d.Step(30, level.Viewer{})
	require.NoError(t, err)
	same, err := d.Step(30, level.Viewer{Gain: 1, Field: 2 * math.Pi / 9})
	require.NoError(t, err)
	assert.Empty(t, cmp.Diff(zero, same, cmpopts.EquateApprox(1e-12, 0)))
	dim, err := d.Step(30, level.Viewer{Gain: 0.25})
	require.NoError(t, err)
	assert.InDelta(t, zero.To/4, dim.To, 1e-12, "a quotient of powers of two")
	assert.InDelta(t, zero.Contrast, dim.Contrast, 1e-14, "gain changes no contrast")
	assert.Less(t, dim.JND, zero.JND)

	all, err := d.Banding(level.GSDF, 1, level.Viewer{})
	require.NoError(t, err)
	require.Len(t, all.Ranges, 1)
	none, err := d.Banding(level.GSDF, all.Ranges[0].Worst.JND, level.Viewer{})
	require.NoError(t, err)
	assert.Empty(t, none.Ranges)
}

// Codes that show the same do not cut a range in two: a driver of few steps, fed with
// many codes, bands from its first step on.
func TestBandingOfTheDriver(t *testing.T) {
	d := display(t, level.Spec{Bits: 12, Curve: level.Power(2.4), Peak: 1000, DriveBits: 8})
	b, err := d.Banding(level.Barten, 1, level.Viewer{})
	require.NoError(t, err)
	require.Len(t, b.Ranges, 1)
	assert.Zero(t, b.Unjudged)
	r := b.Ranges[0]
	// Half a step of 1/255 is the first that rounds up: (1/510)^(1/2.4) of 4095 codes.
	assert.Equal(t, int(math.Pow(1.0/510, 1/2.4)*4095), r.First)
	assert.Zero(t, r.From)
	assert.Equal(t, r.First, r.Worst.Code)
}

// The lowest code that stands out of black, found by the JND of the whole way.
func TestFirstVisible(t *testing.T) {
	spec := level.Spec{Bits: 10, Curve: level.Power(2.4), Peak: 1000}
	before := map[level.Measure]int{}
	for _, black := range []float64{0.1, 0.5, 8} {
		spec.Black = black
		d := display(t, spec)
		for _, by := range []level.Measure{level.GSDF, level.Barten} {
			code, err := d.FirstVisible(by, 1, level.Viewer{})
			require.NoError(t, err)
			if by == level.GSDF {
				// By hand: one index above that of black, through the inverse.
				at, _ := level.JNDIndex(black)
				next, _ := level.JNDLuminance(at + 1)
				ref.Equal(t, "W-LV7", code, int(math.Ceil(math.Pow((next-black)/1000, 1/2.4)*1023)), black)
			}
			assert.Greater(t, code, before[by], "more set light hides more codes")
			before[by] = code
		}
		assert.Less(t, before[level.Barten], before[level.GSDF], "Barten's is the stricter measure")
	}
	coarse := level.Spec{Bits: 4, Curve: level.Power(1), Peak: 1500, Black: 1}
	code, err := display(t, coarse).FirstVisible(level.Barten, 1, level.Viewer{})
	require.NoError(t, err)
	ref.Equal(t, "W-LV7", code, 1, "1 and 101 cd/m²")
	spec.Black = 0.01
	_, err = display(t, spec).FirstVisible(level.GSDF, 1, level.Viewer{Gain: 2})
	assert.EqualError(t, err, "level: luminance of black 0.02 cd/m² seen: must be in the GSDF, as must the codes above: 0.05 to 3993.4 cd/m²; judge by Barten")
	code, err = display(t, spec).FirstVisible(level.GSDF, 1, level.Viewer{Gain: 10})
	require.NoError(t, err)
	assert.Positive(t, code)
	spec.Black, spec.Peak = 1000, 0.1
	_, err = display(t, spec).FirstVisible(level.Barten, 1, level.Viewer{})
	assert.EqualError(t, err, "level: limit 1: must be less, since no code stands out from black so far")
}

func TestFaults(t *testing.T) {
	good := level.Spec{Bits: 8, Curve: level.Power(2.4), Peak: 1000}
	_, err := level.New(level.Spec{Bits: 17, White: -1, Dimming: 2, Black: math.NaN(), DriveBits: 3})
	assert.ErrorIs(t, err, level.ErrInvalid)
	assert.EqualError(t, err, `level: bits 17 bit: must be at least 1 and at most 16 bit
level: curve: must be set
level: peak 0 cd/m²: must be at least 0.01 cd/m² and at most 1e+06 cd/m²
level: white -1 cd/m²: must be at least 0.01 cd/m² and at most 1e+06 cd/m²
level: dimming 2: must be at least 0.0001 and at most 1
level: black NaN cd/m²: must be at least 0 cd/m² and at most 100000 cd/m²
level: drive bits 3 bit: must be at least 8 and at most 24 bit`)
	for text, change := range map[string]func(*level.Spec){
		"bits 7 bit: must be at least 8":           func(s *level.Spec) { s.Bits, s.Narrow = 7, true },
		"curve NaN at code 0":                      func(s *level.Spec) { s.Curve = func(float64) float64 { return math.NaN() } },
		"curve +Inf at code 0":                     func(s *level.Spec) { s.Curve = level.Power(-1) },
		"curve 0.996078 at code 1: must be at lea": func(s *level.Spec) { s.Curve = func(v float64) float64 { return 1 - v } },
		"at most 1":                            func(s *level.Spec) { s.Curve = func(v float64) float64 { return 2 * v } },
		"luminance of the last code 0.5 cd/m²": func(s *level.Spec) { s.Black, s.Curve = 0.5, func(float64) float64 { return 0 } },
	} {
		s := good
		change(&s)
		_, err := level.New(s)
		assert.ErrorIs(t, err, level.ErrInvalid, text)
		assert.ErrorContains(t, err, text)
	}
	d := display(t, good)
	second := func(_ any, err error) error { return err }
	for text, err := range map[string]error{
		"code 255: must be at least 0 and at most 254": second(d.Step(255, level.Viewer{})),
		"code -1":        second(d.Step(-1, level.Viewer{})),
		"gain NaN":       second(d.Step(1, level.Viewer{Gain: math.NaN()})),
		"field 10313.2°": second(d.Step(1, level.Viewer{Field: 180})),
		"limit 0: must be at least 0.001 and at most 1000":            second(d.Banding(level.GSDF, 0, level.Viewer{})),
		"measure Measure(0): must be GSDF or Barten":                  second(d.FirstVisible(0, 1, level.Viewer{})),
		"wanted luminances: must be set":                              second(d.Fit(nil)),
		"wanted luminance 1 -1 cd/m²: must be at least 0 cd/m²":       second(d.Fit([]float64{0, -1})),
		"spatial frequency 0 cycles/°: must be at least 0.01 cycles/": second(level.ContrastSensitivity(0, 1, 40*level.Degree)),
		"luminance -1 cd/m²":                                          second(level.ContrastSensitivity(4, -1, 40*level.Degree)),
		"field 0°":                                                    second(level.ContrastSensitivity(4, 1, 0)),
		"display zero value: must come from New":                      second(level.Display{}.Fit([]float64{1})),
	} {
		assert.ErrorIs(t, err, level.ErrInvalid, text)
		assert.ErrorContains(t, err, text)
	}
	_, ok := level.Display{}.Code(1)
	assert.False(t, ok)
}

func TestJSON(t *testing.T) {
	b, err := display(t, level.Spec{Bits: 2, Curve: level.Power(1), Peak: 100}).Banding(level.Barten, 1, level.Viewer{})
	require.NoError(t, err)
	text, err := json.Marshal(struct {
		By level.Measure
		B  level.Banding
	}{level.Barten, b})
	require.NoError(t, err)
	var back struct {
		By level.Measure
		B  level.Banding
	}
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, level.Barten, back.By)
	assert.Empty(t, cmp.Diff(b, back.B, cmpopts.EquateEmpty()))
	assert.ErrorIs(t, new(level.Measure).UnmarshalText([]byte("x")), level.ErrInvalid)
}

func TestHostileArguments(t *testing.T) {
	spec := level.Spec{Bits: 4, Curve: level.Power(2), Peak: 100}
	d := display(t, spec)
	zero := level.Curve(func(float64) float64 { return 0 })
	hostile.Calls(t, []any{spec, d, zero, level.Curve(level.PQ), level.GSDF, level.Barten, level.Viewer{Gain: 1e-6}, 40 * level.Degree, []float64{0, 1e12}},
		level.New, level.JNDIndex, level.JNDLuminance, level.ContrastSensitivity,
		level.Display.Luminance, level.Display.Code, level.Display.FirstClipped, level.Display.Fit,
		level.Display.Step, level.Display.Banding, level.Display.FirstVisible,
		level.Measure.String, level.Measure.MarshalText, (*level.Measure).UnmarshalText,
	)
}
