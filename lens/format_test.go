package lens_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func circleOf(t testing.TB, diameter unit.Length) lens.Lens {
	t.Helper()
	return mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4, ImageCircle: diameter})
}

// slices is the part of the format inside the circle by brute force: a sum
// over rows of the length that the circle leaves of each.
func slices(f lens.Format, diameter unit.Length, rows int) float64 {
	r := float64(diameter) / 2
	left, right := float64(f.OffsetX-f.Width/2), float64(f.OffsetX+f.Width/2)
	sum := 0.0
	for i := range rows {
		y := float64(f.OffsetY) + float64(f.Height)*((float64(i)+0.5)/float64(rows)-0.5)
		if math.Abs(y) >= r {
			continue
		}
		chord := math.Sqrt(r*r - y*y)
		sum += math.Max(0, math.Min(right, chord)-math.Max(left, -chord))
	}
	return sum / float64(rows) / float64(f.Width)
}

func TestCircleFitByIntegration(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	formats := []lens.Format{
		{Width: 36 * mm, Height: 24 * mm},
		{Width: 24 * mm, Height: 36 * mm},
		{Width: 36 * mm, Height: 24 * mm, OffsetY: 6 * mm},
		{Width: 36 * mm, Height: 24 * mm, OffsetX: -25 * mm, OffsetY: 20 * mm},
	}
	for range 60 {
		u := func() unit.Length { return unit.Length(rng.Float64()) * mm }
		formats = append(formats, lens.Format{Width: 1*mm + 40*u(), Height: 1*mm + 40*u(), OffsetX: 40*u() - 20*mm, OffsetY: 40*u() - 20*mm})
	}
	for i, f := range formats {
		for _, d := range []unit.Length{5 * mm, 20 * mm, 24 * mm, 30 * mm, 36 * mm, 40 * mm, 43 * mm, 60 * mm} {
			fit := must[lens.CircleFit](t)(circleOf(t, d).CircleFit(f))
			ref.Near(t, "L-C1", fit.Area, slices(f, d, 20000), i, float64(d/mm), "mm")
		}
	}
}

func TestCircleFitGeometry(t *testing.T) {
	for _, r := range []struct {
		name     string
		format   lens.Format // mm, as all lengths here
		diameter unit.Length
		want     lens.CircleFit
	}{
		{"a circle inside a square fills π/4 of it", lens.Format{Width: 24, Height: 24}, 24,
			lens.CircleFit{Limit: lens.CircleCutsCorners, Corner: 12 - 12*math.Sqrt2, Area: math.Pi / 4}},
		{"half of 40 × 30 reaches 25 to its corner", lens.Format{Width: 40, Height: 30}, 48,
			lens.CircleFit{Limit: lens.CircleCutsCorners, Corner: -1, Width: 4, Height: 9, Area: -1}},
		{"an offset moves the farther corner to 12 + 8 and 15", lens.Format{Width: 24, Height: 30, OffsetX: -8}, 52,
			lens.CircleFit{Limit: lens.CircleCovers, Corner: 1, Width: 6, Height: 11, Area: 1}},
		{"half a disc on a format whose edge is its diameter", lens.Format{Width: 20, Height: 20, OffsetY: -10}, 20,
			lens.CircleFit{Limit: lens.CircleCutsHeight, Corner: 10 - 10*unit.Length(math.Sqrt(5)), Width: 0, Height: -10, Area: math.Pi / 8}},
		{"the same turned", lens.Format{Width: 20, Height: 20, OffsetX: 10}, 20,
			lens.CircleFit{Limit: lens.CircleCutsWidth, Corner: 10 - 10*unit.Length(math.Sqrt(5)), Width: -10, Height: 0, Area: math.Pi / 8}},
		{"a circular fisheye", lens.Format{Width: 40, Height: 30}, 20,
			lens.CircleFit{Limit: lens.CircleCutsBoth, Corner: -15, Width: -10, Height: -5, Area: math.Pi / 12}},
		{"a format beside the circle", lens.Format{Width: 4, Height: 4, OffsetX: 8}, 10,
			lens.CircleFit{Limit: lens.CircleCutsWidth, Corner: 5 - unit.Length(math.Sqrt(104)), Width: -5, Height: 3}},
	} {
		f := r.format
		f.Width, f.Height, f.OffsetX, f.OffsetY = f.Width*mm, f.Height*mm, f.OffsetX*mm, f.OffsetY*mm
		got := must[lens.CircleFit](t)(circleOf(t, r.diameter*mm).CircleFit(f))
		assert.Equal(t, r.want.Limit, got.Limit, r.name)
		for i, pair := range [][2]unit.Length{{got.Corner, r.want.Corner}, {got.Width, r.want.Width}, {got.Height, r.want.Height}} {
			ref.Near(t, "L-C2", pair[0]/mm, pair[1], r.name, "length", i)
		}
		if r.want.Area >= 0 {
			ref.Near(t, "L-C2", got.Area, r.want.Area, r.name)
		}
	}
}

// The axis is in the top left corner of a format of 8 × 6, of which 3-4-5 gives the
// diagonal; then 5 left of the middle of one of 24 × 24.
func TestCircleFitAtAllCorners(t *testing.T) {
	for _, r := range []struct {
		format lens.Format // mm, as all lengths here
		want   [4]lens.Corner
	}{
		{lens.Format{Width: 8, Height: 6, OffsetX: 4, OffsetY: 3},
			[4]lens.Corner{{X: 0, Y: 0, Margin: 9}, {X: 8, Y: 0, Margin: 1}, {X: 8, Y: 6, Margin: -1}, {X: 0, Y: 6, Margin: 3}}},
		{lens.Format{Width: 8, Height: 24, OffsetX: 5},
			[4]lens.Corner{{X: 1, Y: -12, Margin: 9 - unit.Length(math.Sqrt(145))}, {X: 9, Y: -12, Margin: -6}, {X: 9, Y: 12, Margin: -6}, {X: 1, Y: 12, Margin: 9 - unit.Length(math.Sqrt(145))}}},
	} {
		f := r.format
		f.Width, f.Height, f.OffsetX, f.OffsetY = f.Width*mm, f.Height*mm, f.OffsetX*mm, f.OffsetY*mm
		fit := must[lens.CircleFit](t)(circleOf(t, 18*mm).CircleFit(f))
		for i, want := range r.want {
			got := fit.Corners[i]
			for k, pair := range [][2]unit.Length{{got.X, want.X}, {got.Y, want.Y}, {got.Margin, want.Margin}} {
				ref.Near(t, "L-C2", pair[0]/mm, pair[1], "corner", i, "length", k)
			}
		}
	}
}

func TestCircleFitMeetsTheCornerExactly(t *testing.T) {
	fitOf := func(f lens.Format, d unit.Length) lens.CircleFit {
		return must[lens.CircleFit](t)(circleOf(t, d).CircleFit(f))
	}
	f := lens.Format{Width: 36 * mm, Height: 24 * mm}
	d := unit.Length(2 * math.Hypot(float64(f.Width)/2, float64(f.Height)/2))
	fit := fitOf(f, d)
	assert.True(t, fit.Limit == lens.CircleCovers && fit.Corner == 0 && fit.Area == 1, "%+v", fit)
	fit = fitOf(f, d*(1-1e-9))
	assert.True(t, fit.Limit == lens.CircleCutsCorners && fit.Corner < 0 && fit.Area <= 1 && fit.Area > 1-1e-9, "%+v", fit)
}

func TestCircleFitSymmetryAndGrowth(t *testing.T) {
	fitOf := func(f lens.Format, d unit.Length) lens.CircleFit {
		return must[lens.CircleFit](t)(circleOf(t, d).CircleFit(f))
	}
	rng := rand.New(rand.NewPCG(7, 8))
	for range 300 {
		u := func() unit.Length { return unit.Length(rng.Float64()) * mm }
		f := lens.Format{Width: 1*mm + 40*u(), Height: 1*mm + 40*u(), OffsetX: 30*u() - 15*mm, OffsetY: 30*u() - 15*mm}
		d := 2*mm + 60*u()
		fit := fitOf(f, d)

		mirrored := fit
		for i, c := range fit.Corners {
			mirrored.Corners[(i+2)%4] = lens.Corner{X: -c.X, Y: -c.Y, Margin: c.Margin}
		}
		assert.Equal(t, mirrored, fitOf(lens.Format{Width: f.Width, Height: f.Height, OffsetX: -f.OffsetX, OffsetY: -f.OffsetY}, d))

		turned := fitOf(lens.Format{Width: f.Height, Height: f.Width, OffsetX: f.OffsetY, OffsetY: f.OffsetX}, d)
		want := lens.CircleFit{Corner: fit.Corner, Width: fit.Height, Height: fit.Width}
		for i, from := range [4]int{0, 3, 2, 1} {
			c := fit.Corners[from]
			want.Corners[i] = lens.Corner{X: c.Y, Y: c.X, Margin: c.Margin}
		}
		assert.Empty(t, cmp.Diff(want, turned, cmpopts.IgnoreFields(lens.CircleFit{}, "Limit", "Area")), "the same sums")
		assert.InDelta(t, fit.Area, turned.Area, 1e-12, "about 1e-15 of the disc over the smallest format")

		assert.GreaterOrEqual(t, fitOf(f, d*1.01).Area, fit.Area-1e-12, "a wider circle fills as much")
		pushed := f
		pushed.OffsetX += 1e-6 * mm
		assert.InDelta(t, fit.Area, fitOf(pushed, d).Area, 2e-6, "a push of 1 nm sweeps no more than that along two sides of 1 mm")
	}
}

func TestCircleFitOfNoFormat(t *testing.T) {
	l := circleOf(t, 20*mm)
	for _, r := range []struct {
		format lens.Format
		want   string
	}{
		{lens.Format{Height: 1 * mm}, "lens: width of the format 0 m: must be at least 100 nm and at most 1 m"},
		{lens.Format{Width: 36, Height: 24 * mm}, "is 36 mm meant?"},
		{lens.Format{Width: unit.Length(nan), Height: 1 * mm}, "width of the format NaN m"},
		{lens.Format{Width: 1 * mm}, "height of the format 0 m"},
		{lens.Format{Width: 1 * mm, Height: -1 * mm}, "height of the format -1 mm"},
		{lens.Format{Width: 1 * mm, Height: unit.Length(inf)}, "height of the format +Inf m"},
		{lens.Format{Width: 1 * mm, Height: 1 * mm, OffsetX: unit.Length(nan)}, "offset along the width NaN m"},
		{lens.Format{Width: 1 * mm, Height: 1 * mm, OffsetY: -1.1}, "offset along the height -1.1 m"},
	} {
		_, err := l.CircleFit(r.format)
		refuses(t, err, r.want)
	}
	fit := must[lens.CircleFit](t)(l.CircleFit(lens.Format{Width: 1, Height: 100e-9, OffsetX: 1, OffsetY: -1}))
	assert.Zero(t, fit.Area, "the largest offsets")
	// Nothing proves that an image circle of unknown size covers a format.
	_, err := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4}).CircleFit(lens.Format{Width: 36 * mm, Height: 24 * mm})
	refuses(t, err, "lens: image circle without limit: set ImageCircle or MaxAngle in the Spec")
}

func TestCircleFitMarshals(t *testing.T) {
	fit := must[lens.CircleFit](t)(circleOf(t, 48*mm).CircleFit(lens.Format{Width: 40 * mm, Height: 30 * mm}))
	text, err := json.Marshal(fit)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"Limit":"cuts the corners"`)
	var back lens.CircleFit
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, fit, back)
	assert.Equal(t, "CircleLimit(0)", lens.CircleFit{}.Limit.String())
	text, err = json.Marshal(lens.CircleFit{Area: 0.5})
	require.NoError(t, err, "half filled in")
	assert.NotContains(t, string(text), "Limit")
	require.NoError(t, json.Unmarshal(text, &back))
	refuses(t, new(lens.CircleLimit).UnmarshalText([]byte("wobbly")), `lens: circle limit "wobbly": must be covers the format, `)
}
