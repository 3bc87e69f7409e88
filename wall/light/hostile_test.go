package light_test

import (
	"context"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	nan := math.NaN()
	pic := &light.Picture{Width: 2, Height: 1, Pixels: []float32{0, 0.5, 1, 1, 1, 1}}
	panel := light.Panel{Rectangle: upright(-1, -1, 1, 1), Peak: grey, Picture: pic, Width: 1, Height: 1, Reflectance: 0.2}
	spec := light.Spec{Panels: []light.Panel{panel}, Blockers: [][]r3.Vec{outline(upright(0, 0, 1, 1))}, Tolerance: 0.1}
	s := must[*light.Scene](t)(light.New(spec))
	e := emission(t, math.Cos, math.Cos)
	w := must[wall.Wall](t)(wall.New(wall.Spec{PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 2, PanelPixelsY: 1, Columns: 1, Rows: 1}))
	d65 := light.Chromaticity{X: 0.3127, Y: 0.329}
	hostile.Calls(t, []any{
		s, (*light.Scene)(nil), &light.Scene{}, spec, panel, w, e, (*light.Emission)(nil), &light.Emission{},
		r3.Vec{Z: 1}, r3.Vec{X: 1e6, Y: -1e6, Z: 1e6}, r3.Vec{X: 1e300, Y: 1e300, Z: 1e300}, r3.Vec{X: 1e-300}, r3.Vec{Y: nan},
		panel.Rectangle, wall.Rectangle{LowerLeft: r3.Vec{X: 1}, LowerRight: r3.Vec{X: nan}}, outline(panel.Rectangle),
		light.EmissionSpec{Angles: []unit.Angle{-90 * light.Degree, 0, 90 * light.Degree}, Horizontal: []float64{0, 1, 0}, Vertical: []float64{0, 1, 0}},
		light.EmissionSpec{Angles: []unit.Angle{unit.Angle(nan), 0, 1}, Horizontal: []float64{0, 1, nan}, Vertical: []float64{0, 1, 0}},
		light.Cube{}, light.Cube{Key: light.Light{RGB: light.RGB{1}}, Fill: light.Light{RGB: light.RGB{nan}}},
		d65, light.Primaries{{X: 0.64, Y: 0.33}, {X: 0.30, Y: 0.60}, {X: 0.15, Y: 0.06}}, light.RGB{1, 2, 3}, light.RGB{1, -2, 3},
		context.Background(), func(_, _ r3.Vec) float64 { return nan },
	},
		light.New, (*light.Scene).Illuminance, (*light.Scene).Cube, (*light.Scene).Map, (*light.Scene).Mutual,
		light.Cube.KeyToFill, light.NewEmission, (*light.Emission).Toward, light.Primaries.Peaks, light.Primaries.Chromaticity,
		light.Contrast, light.Drive,
	)
	assert.Len(t, light.Panels(w, panel), 1)
	assert.Empty(t, light.Panels(wall.Wall{}, panel))
	for _, corners := range [][]r3.Vec{nil, {{}, {X: 1}}, {{}, {X: 1}, {X: 2}}, {{X: nan}, {}, {}}, {{}, {X: 1}, {X: 1, Y: 1}, {Y: 1, Z: 0.5}}} {
		_, err := light.ViewFactor(r3.Vec{Z: 1}, facing, corners...)
		assert.ErrorIs(t, err, light.ErrInvalid, corners)
	}
}

func TestFaults(t *testing.T) {
	nan := float32(math.NaN())
	pic := &light.Picture{Width: 2, Height: 1, Pixels: []float32{0, 0.5, 1, 1, 1, 1}}
	for _, tc := range []struct {
		change func(s *light.Spec, p *light.Panel)
		want   string
	}{
		{func(s *light.Spec, p *light.Panel) { s.Tolerance = 0.6 }, "tolerance 0.6"},
		{func(s *light.Spec, p *light.Panel) { p.Peak[2] = -1 }, "panel 0, peak of blue -1 cd/m²"},
		{func(s *light.Spec, p *light.Panel) { p.Reflectance = 1 }, "reflectance 1"},
		{func(s *light.Spec, p *light.Panel) { p.Emission = &light.Emission{} }, "NewEmission"},
		{func(s *light.Spec, p *light.Panel) { p.Rectangle.UpperLeft = r3.Vec{X: 1, Y: 1} }, "right angles"},
		{func(s *light.Spec, p *light.Panel) { p.Rectangle.UpperLeft = p.Rectangle.LowerLeft }, "sides over 1 nm"},
		{func(s *light.Spec, p *light.Panel) {
			p.Picture = &light.Picture{Width: 2, Height: 2, Pixels: pic.Pixels}
		}, "three a pixel, 12"},
		{func(s *light.Spec, p *light.Panel) { p.X = 2 }, "x 2 px"},
		{func(s *light.Spec, p *light.Panel) { p.X, p.Width, p.Height = 1, 2, 1 }, "width 2 px"},
		{func(s *light.Spec, p *light.Panel) { p.X, p.Width, p.Height = 1, 1, 2 }, "height 2 px"},
		{func(s *light.Spec, p *light.Panel) {
			p.Picture = &light.Picture{Width: 1, Height: 1, Pixels: []float32{0, nan, 0}}
		}, "must hold numbers"},
		{func(s *light.Spec, p *light.Panel) { s.Blockers = [][]r3.Vec{{{}, {X: 1}}} }, "blocker 0, number of corners 2"},
	} {
		spec := light.Spec{Panels: []light.Panel{{Rectangle: upright(0, 0, 1, 1), Peak: grey, Picture: pic}}}
		tc.change(&spec, &spec.Panels[0])
		_, err := light.New(spec)
		require.ErrorIs(t, err, light.ErrInvalid, tc.want)
		assert.ErrorContains(t, err, tc.want)
	}
	_, err := light.New(light.Spec{})
	assert.ErrorContains(t, err, "number of panels 0")
	s := scene(t, light.Panel{Rectangle: upright(0, 0, 1, 1), Peak: grey, Reflectance: 0.5})
	_, err = s.Mutual(context.Background(), 0.01, nil)
	assert.ErrorContains(t, err, "more than 2000 patches")
	_, err = s.Mutual(context.Background(), 0.5, func(_, _ r3.Vec) float64 { return -1 })
	assert.ErrorContains(t, err, "set light")
	_, err = s.Map(context.Background(), upright(0, 0, 1, 1), 2000, 2000)
	assert.ErrorContains(t, err, "at most 2^20")

	ok := light.EmissionSpec{Angles: []unit.Angle{-90 * light.Degree, 0, 90 * light.Degree}, Horizontal: []float64{0, 1, 0}, Vertical: []float64{0, 1, 0}}
	for _, tc := range []struct {
		change func(s *light.EmissionSpec)
		want   string
	}{
		{func(s *light.EmissionSpec) { s.Vertical = s.Vertical[:2] }, "must have one of each an angle"},
		{func(s *light.EmissionSpec) { s.Angles = []unit.Angle{-1.5, 0, 1.5} }, "must reach from"},
		{func(s *light.EmissionSpec) { s.Angles = []unit.Angle{-90 * light.Degree, 1, 90 * light.Degree} }, "0° among them"},
		{func(s *light.EmissionSpec) { s.Angles = []unit.Angle{-90 * light.Degree, 0, 90.5 * light.Degree} }, "angle 90.5°"},
		{func(s *light.EmissionSpec) { s.Angles = []unit.Angle{0, 0, 0} }, "must ascend"},
		{func(s *light.EmissionSpec) { s.Horizontal = []float64{0, 0.9, 0} }, "must be 1"},
	} {
		spec := ok
		tc.change(&spec)
		_, err := light.NewEmission(spec)
		assert.ErrorContains(t, err, tc.want)
	}
}
