package stage_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r3"
)

// projector is a camera that answers with what it should not.
type projector struct{ width int }

func (p projector) Size() (width, height int) { return p.width, 2 }
func (p projector) Project(r3.Vec) (x, y float64, ok bool) {
	return math.NaN(), math.Inf(1), p.width == 2
}
func (p projector) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	return r3.Vec{X: math.NaN()}, true
}

func TestHostileArguments(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	v := must[stage.View](t)(s.View(r3.Vec{Y: 1}, 0))
	c := newPinhole(0, 0, 0, 700, 800, 600)
	chain := stage.Chain{Columns: []stage.Column{{Panel: stage.PanelType{Width: 1, Height: 1, PixelsX: 10, PixelsY: 10}, Rows: 1}}}
	face := spec.Parts[0].Panels[0].Face
	sound := []any{
		spec, s, v, face, c, projector{2}, projector{-1}, chain, stage.Place{Raster: 1, X: 5, Y: 5}, spec.Parts[0],
		wall.Spec{PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 10, PanelPixelsY: 10, Columns: 1, Rows: 1},
		r3.Vec{Y: 1, Z: -1}, r3.Vec{X: 1e6, Y: -1e6, Z: 1e6}, r3.Vec{X: 1e300, Y: 1e300, Z: 1e300}, r3.Vec{Z: math.NaN()},
		stage.Mirror(func(u, v float64) (p, n r3.Vec) { return r3.Vec{Y: 1, Z: -2}, r3.Vec{X: 0.2, Z: 1} }),
		stage.Mirror(func(u, v float64) (p, n r3.Vec) { return r3.Vec{Y: math.NaN()}, r3.Vec{Z: math.Inf(1)} }),
		stage.Motion{Pan: 1}, stage.ResolutionSpec{Camera: c, DeliveredWidth: 100, Factor: 1, Acuity: 1e-3},
		[]stage.Survey{{Corners: cornersOf(face)}}, "name",
		stage.Sight(99), stage.Surface(9), stage.PushIn(9), stage.Limit(9), []byte("seen"),
	}
	hostile.Calls(t, sound,
		stage.New, stage.FromWall, stage.Chain.Part, stage.Hang, stage.FlatMirror,
		stage.Stage.Hit, stage.Stage.Clear, stage.Stage.Totals, stage.Stage.Point, stage.Stage.View,
		stage.View.Size, stage.View.Project, stage.View.Unproject, stage.View.Sight, stage.View.Breaks,
		stage.View.Shift, stage.View.EyeError,
		stage.Sight.String, stage.Sight.MarshalText, (*stage.Sight).UnmarshalText,
		stage.Surface.String, stage.Surface.MarshalText, (*stage.Surface).UnmarshalText,
		stage.PushIn.String, stage.PushIn.MarshalText, (*stage.PushIn).UnmarshalText,
		stage.Limit.String, stage.Limit.MarshalText, (*stage.Limit).UnmarshalText,
	)
	// The rest with few arguments, since all combinations take long.
	few := []any{s, v, c, projector{2}, face, r3.Vec{Y: 1, Z: -1}, stage.Motion{Pan: 1}, stage.ResolutionSpec{Camera: projector{2}, DeliveredWidth: 100, Factor: 1, Acuity: 1e-3}}
	hostile.Calls(t, few, func(s stage.Stage, spec stage.ResolutionSpec, n int) ([]stage.Resolution, error) {
		return s.Resolutions(spec, n, 2)
	},
		func(v view, c camera, n int) ([]bool, error) { return v.Mask(c, n, 2) },
		func(v view, c camera, m stage.Motion, n int) (stage.Margin, error) { return v.Margin(c, m, 0.1, 2, n) },
		func(s stage.Stage, eye r3.Vec, r float64) (stage.Reflection, bool) {
			return s.Reflect(eye, sound[15].(stage.Mirror), r, r), true
		},
	)
}

type (
	view   = stage.View
	camera = stage.Camera
)
