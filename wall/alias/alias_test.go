package alias_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/unit"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// must is the value of a call that may not fail.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

func second[T any](_ T, err error) error { return err }

// refused checks errors against a part of their text.
func refused(t *testing.T, errs map[string]error) {
	t.Helper()
	for want, err := range errs {
		assert.ErrorIs(t, err, alias.ErrInvalid, want)
		assert.ErrorContains(t, err, want)
	}
}

// lines are lit columns of a wall in a row of photosites, at an image pitch.
type lines struct{ pitch, lit, aperture float64 }

// row gives the samples of n photosites: the fraction of each sensitive width that
// is lit, averaged over a box of the width blur as a lens might spread it.
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

// contrast is the amplitude over the mean of the sinusoid of a frequency in a line
// of samples.
func contrast(line []float64, frequency float64) float64 {
	weights := harris(len(line))
	mean := stat.Mean(line, weights)
	var sum complex128
	for i, v := range line {
		sum += complex(weights[i]*(v/mean-1), 0) * cmplx.Exp(complex(0, -2*math.Pi*frequency*float64(i)))
	}
	return 2 * cmplx.Abs(sum) / floats.Sum(weights)
}

// Every harmonic of a row of pixels, as photosites record it through a lens.
func TestPredictIsWhatARecordingShows(t *testing.T) {
	near.NumbersOnly(t)
	compared := 0
	for _, tc := range []struct {
		lines
		blur float64
	}{
		{lines{1.07, 0.5, 0.9}, 0.4}, {lines{0.93, 0.3, 0.8}, 0.5}, {lines{1.31, 0.25, 0.7}, 0}, {lines{3.2897, 0.6, 1}, 1},
		{lines{7.123, 0.35, 0.6}, 0.7}, {lines{0.517, 0.4, 0.75}, 0.2},
		{lines{1.07, 0.4, 0.9}, 1.6}, // the box reverses contrast
		// The lens and aperture leave nothing.
		{lines{0.8, 0.5, 0.8}, 0},
	} {
		spec := alias.Spec{Grid: grid(tc.pitch, 0), Emitters: alias.Emitters{Width: tc.lit, Height: 1}, Photosites: alias.Photosites{Width: tc.aperture}, Order: 8}
		if tc.blur > 0 {
			spec.Transfer = func(nu r2.Vec) float64 {
				x := math.Pi * r2.Norm(nu) * tc.blur
				return math.Sin(x) / x
			}
		}
		all := must[[]alias.Alias](t)(alias.Predict(spec))
		record := tc.row(4000, tc.blur, 0.123)
		got := must[alias.Fringes](t)(alias.MeasureFringes(record))
		if all[0].Contrast < 1e-9 {
			assert.Less(t, got.Contrast, 1e-9, "%+v: predicted none", tc)
			continue
		}
		ref.Within(t, "W-M9", math.Abs(got.Frequency-math.Abs(all[0].Frequency.X)), "frequency", tc)
		ref.Within(t, "W-M10", math.Abs(got.Contrast/all[0].Contrast-1), "contrast", tc)
		for _, m := range all {
			alone := !slices.ContainsFunc(all, func(other alias.Alias) bool {
				return other != m && other.Contrast > 1e-9 && math.Abs(math.Abs(other.Frequency.X)-math.Abs(m.Frequency.X)) < 5./4000
			})
			if m.Harmonic[1] == 0 && alone {
				ref.Within(t, "W-M10", math.Abs(contrast(record, m.Frequency.X)-m.Contrast), "contrast of", m.Harmonic, tc)
				compared++
			}
		}
	}
	assert.Greater(t, compared, 40, "harmonics: the test has lost its point")
}

var half = alias.Emitters{Width: 0.5, Height: 0.5}

func grid(pitch float64, roll unit.Angle) wall.Grid {
	sin, cos := math.Sincos(float64(roll))
	return wall.Grid{Across: r2.Vec{X: pitch * cos, Y: pitch * sin}, Down: r2.Vec{X: -pitch * sin, Y: pitch * cos}}
}

func find(all []alias.Alias, m, n int) alias.Alias {
	for _, r := range all {
		if r.Harmonic == [2]int{m, n} {
			return r
		}
	}
	return alias.Alias{}
}

// Grids that lean on the photosites beat as two line gratings do. The numbers are
// those of the closed form for gratings with periods p and q.
func TestPredictOfALeaningGrid(t *testing.T) {
	for _, tc := range []struct {
		p, q float64
		lean unit.Angle
		want float64
	}{
		{2.8, 2.9, 0, 81.2}, {1.9, 2, 0, 38}, {5, 6, 0, 30},
		{1, 1.1, 5 * wall.Degree, 8.11555893287525}, {2.5, 2.6, -3 * wall.Degree, 38.9731618988991},
		{1, 1.02, 5 * wall.Degree, 11.2896420161274}, // not the 51 photosites of a grid that stands straight
		{1, 0.97, -3 * wall.Degree, 16.2602001800747}, {1, 1.3, 11 * wall.Degree, 3.50241085399820},
	} {
		all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(tc.q/tc.p, tc.lean), Emitters: half, Order: 1}))
		for _, h := range [][2]int{{1, 0}, {0, 1}} {
			period, ok := find(all, h[0], h[1]).Period()
			assert.True(t, ok)
			ref.Near(t, "W-M2", period*tc.p, tc.want, tc.p, tc.q, tc.lean)
		}
	}
}

// What is seen changes at the limits that the sampling theorem sets, and not at
// the same image pitch for all channels.
func TestKinds(t *testing.T) {
	both := func(pitch float64, s alias.Sampling) [2]alias.Alias {
		all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(pitch, 0), Emitters: half, Photosites: alias.Photosites{Width: 1, Sampling: s}, Order: 1}))
		return [2]alias.Alias{find(all, 1, 0), find(all, 0, 1)}
	}
	for _, tc := range []struct {
		pitch    float64
		sampling alias.Sampling
		kind     alias.Kind
		period   float64 // 0 where there is none
	}{
		{5, alias.EveryPhotosite, alias.Resolved, 5},
		{2.5, alias.EveryPhotosite, alias.Resolved, 2.5},
		{2.29, alias.EveryPhotosite, alias.Resolved, 2.29},
		{2.28, alias.EveryPhotosite, alias.Beat, 57.0 / 7},  // 1 − 2/2.28 = 7/57, of more than 8 samples
		{2.2, alias.EveryPhotosite, alias.Beat, 11},         // 1 − 2/2.2 = 1/11
		{2.01, alias.EveryPhotosite, alias.Beat, 201},       // 1 − 2/2.01 = 1/201
		{1.99, alias.EveryPhotosite, alias.Beat, 199},       // 2/1.99 − 1 = 1/199
		{2, alias.EveryPhotosite, alias.Beat, 0},            // alternates evenly
		{1.5, alias.EveryPhotosite, alias.Aliased, 3},       // 2/3 is recorded as 1/3
		{1.1, alias.EveryPhotosite, alias.Aliased, 11},      // 1/1.1 is recorded as 1/11
		{1, alias.EveryPhotosite, alias.Aliased, 0},         // flat
		{1 + 1e-10, alias.EveryPhotosite, alias.Aliased, 0}, // flat over 1e9 photosites
		{2.5, alias.GreenPhotosites, alias.Resolved, 2.5},
		{1.5, alias.GreenPhotosites, alias.Aliased, 3},
		{5, alias.RedOrBluePhotosites, alias.Resolved, 5},
		{4.1, alias.RedOrBluePhotosites, alias.Beat, 82},      // 0.5 − 2/4.1 = 1/82
		{3, alias.RedOrBluePhotosites, alias.Aliased, 6},      // 1/3 is recorded as 1/6
		{2.2, alias.RedOrBluePhotosites, alias.Aliased, 22},   // 1/2.2 is recorded as 1/2 − 1/2.2
		{2.01, alias.RedOrBluePhotosites, alias.Aliased, 402}, // the same
	} {
		for _, m := range both(tc.pitch, tc.sampling) {
			ref.Equal(t, "W-M18", m.Kind, tc.kind, m.Harmonic, tc.pitch, tc.sampling)
			period, ok := m.Period()
			ref.Equal(t, "W-M18", ok, tc.period > 0, "has a period", m.Harmonic, tc.pitch, tc.sampling)
			ref.Near(t, "W-M18b", period, tc.period, m.Harmonic, tc.pitch, tc.sampling)
		}
	}
	// A grid seen at 2.01 photosites keeps most of its contrast; so does one
	// that is just not resolved. 2 sinc(1/2) sinc(1/2.01).
	assert.InDelta(t, 0.8146, both(2.01, alias.EveryPhotosite)[0].Contrast, 1e-4, "(4/π)(2.01/π) sin(π/2.01), of four digits")
	ref.Equal(t, "W-M18", [3]float64{alias.EveryPhotosite.NyquistPitch(), alias.GreenPhotosites.NyquistPitch(), alias.RedOrBluePhotosites.NyquistPitch()}, [3]float64{2, 2, 4})

	// Along the diagonal green has half of its photosites' rows: a grid at 45°
	// is resolved down to 2√2 photosites, and by all photosites down to √2.
	for _, tc := range []struct {
		pitch float64
		s     alias.Sampling
		kind  alias.Kind
	}{
		{4, alias.GreenPhotosites, alias.Resolved}, {2.5, alias.GreenPhotosites, alias.Aliased}, {2, alias.GreenPhotosites, alias.Aliased},
		{2, alias.EveryPhotosite, alias.Resolved}, {1.7, alias.EveryPhotosite, alias.Resolved}, {1.1, alias.EveryPhotosite, alias.Aliased},
	} {
		all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(tc.pitch, 45*wall.Degree), Emitters: half, Photosites: alias.Photosites{Sampling: tc.s}, Order: 1}))
		ref.Equal(t, "W-M18", find(all, 1, 0).Kind, tc.kind, "at 45°", tc.pitch, tc.s)
	}

	// 7/16 of a cycle: an envelope of 8 samples is the shortest that counts.
	shortest := find(must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(16, 0), Emitters: half, Order: 7})), 7, 0)
	ref.Equal(t, "W-M18", shortest.Kind, alias.Beat, "7/16 of a cycle")
	ref.Equal(t, "W-M18", shortest.Pattern, r2.Vec{X: -1. / 8}, "7/16 of a cycle")

	// Half a cycle across and a fifth down: on the limit, and still resolved.
	all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: wall.Grid{Across: r2.Vec{X: 2}, Down: r2.Vec{Y: 5}}, Emitters: half, Order: 1}))
	ref.Equal(t, "W-M18", find(all, 1, 1).Kind, alias.Resolved, "on the limit")
}

// TestJSON writes specs, filled in and not, and answers, and reads them back.
func TestJSON(t *testing.T) {
	type values struct {
		Spec     alias.Spec
		All      []alias.Alias
		Sampling alias.Sampling
		Kind     alias.Kind
		Carrier  alias.Carrier
		Verdict  alias.Verdict
	}
	round := func(want values) string {
		written := want
		written.Spec.Transfer = func(r2.Vec) float64 { return 0.5 } // has no JSON
		text, err := json.Marshal(written)
		require.NoError(t, err)
		var back values
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, want, back)
		return string(text)
	}
	round(values{})
	for _, pitch := range []float64{1, 2, 1.1, 3} {
		spec := alias.Spec{Grid: grid(pitch, 0), Emitters: half, Order: 3, Photosites: alias.Photosites{Sampling: alias.GreenPhotosites}}
		all := must[[]alias.Alias](t)(alias.Predict(spec))
		text := round(values{spec, all, alias.RedOrBluePhotosites, alias.Beat, alias.ChromaDown, alias.Verdict{Seen: 1, Worst: alias.Node{Alias: all[0]}}})
		assert.Contains(t, text, `"Sampling":"red or blue photosites","Kind":"beat","Carrier":"chroma down"`)
	}
	assert.Equal(t, "Sampling(9) Kind(9) Carrier(9)", fmt.Sprint(alias.Sampling(9), alias.Kind(9), alias.Carrier(9)))
	for _, zero := range []fmt.Stringer{alias.EveryPhotosite, alias.Resolved, alias.Luma} {
		assert.Zero(t, zero)
	}
	for _, bad := range []string{`{"Sampling": "red"}`, `{"Kind": ""}`, `{"Carrier": "chroma"}`} {
		assert.ErrorIs(t, json.Unmarshal([]byte(bad), &values{}), alias.ErrInvalid, bad)
	}
}

// Lit points on black have harmonics of twice the mean, and each is listed once.
func TestPredictOfPoints(t *testing.T) {
	all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(10, 0.1), Emitters: alias.Emitters{Width: 1e-9, Height: 1e-9}, Order: 3}))
	listed := map[[2]int]bool{}
	for _, m := range all {
		assert.InDelta(t, 2, m.Contrast, 1e-12, "sinc of 3e-9")
		assert.False(t, listed[m.Harmonic] || listed[[2]int{-m.Harmonic[0], -m.Harmonic[1]}], "%v again", m.Harmonic)
		listed[m.Harmonic] = true
	}
	assert.Len(t, all, (7*7-1)/2)
}

func TestPredictFaults(t *testing.T) {
	for want, change := range map[string]func(*alias.Spec){
		"step of the grid across 0 photosites: must be at least 0.001 photosites and at most 1e+06 photosites": func(s *alias.Spec) { s.Grid = wall.Grid{} },
		"step of the grid down NaN photosites":           func(s *alias.Spec) { s.Grid.Down.X = nan },
		"step of the grid across 1e+200 photosites":      func(s *alias.Spec) { s.Grid.Across.X = 1e200 },
		"angle between the steps of the grid 0°":         func(s *alias.Spec) { s.Grid.Down = s.Grid.Across },
		"angle between the steps of the grid 0.05":       func(s *alias.Spec) { s.Grid.Down = r2.Vec{X: -1, Y: 0.9e-3} },
		"lit width 0: must be more than 0 and at most 1": func(s *alias.Spec) { s.Emitters.Width = 0 },
		"lit height 1.1": func(s *alias.Spec) { s.Emitters.Height = 1.1 },
		"photosite width NaN: must be at least 0 and at most 1":                             func(s *alias.Spec) { s.Photosites.Width = nan },
		"low-pass x 17 photosites: must be at least 0 photosites and at most 16 photosites": func(s *alias.Spec) { s.Photosites.LowPassX = 17 },
		"low-pass y NaN":                             func(s *alias.Spec) { s.Photosites.LowPassY = nan },
		"response of red -1":                         func(s *alias.Spec) { s.Photosites.Response.Red = -1 },
		"response of green NaN":                      func(s *alias.Spec) { s.Photosites.Response.Green = nan },
		"response of blue 1e+07":                     func(s *alias.Spec) { s.Photosites.Response.Blue = 1e7 },
		"order 0: must be at least 1 and at most 64": func(s *alias.Spec) { s.Order = 0 },
		"order 65":                                   func(s *alias.Spec) { s.Order = 65 },
		"sampling Sampling(4): must be every photosite, green photosites, red or blue photosites or mosaic": func(s *alias.Spec) { s.Photosites.Sampling = 4 },
		"transfer NaN: must be at least -1 and at most 1":                                                   func(s *alias.Spec) { s.Transfer = func(r2.Vec) float64 { return nan } },
		"transfer -1.1": func(s *alias.Spec) { s.Transfer = func(r2.Vec) float64 { return -1.1 } },
	} {
		spec := alias.Spec{Grid: grid(1.1, 0), Emitters: half, Photosites: alias.Photosites{Width: 1}, Order: 1}
		change(&spec)
		refused(t, map[string]error{want: second(alias.Predict(spec))})
	}
}
