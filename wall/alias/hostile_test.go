package alias_test

import (
	"context"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestHostileArguments(t *testing.T) {
	surface := square(t, r3.Vec{Z: -5})
	hostile.Calls(t, []any{
		alias.Sampling(3), alias.Kind(9), alias.Carrier(9), alias.Emitters{Width: 0.5, Height: 0.5},
		alias.Spec{Grid: grid(0.9, 0.1), Emitters: half, Photosites: alias.Photosites{Width: 0.9}, Order: 1},
		alias.Alias{}, alias.Alias{Pattern: r2.Vec{X: nan}}, alias.Alias{Pattern: r2.Vec{X: inf}}, alias.Alias{Pattern: r2.Vec{X: 0.1}},
		surface, wall.Wall{}, alias.SceneSpec{Surfaces: []alias.Surface{surface}, Order: 1}, scene(t, 1, surface),
		ahead(r3.Vec{}), ahead(r3.Vec{X: nan}), alias.Frame{Columns: 2, Rows: 2},
		alias.Floor{MaxX: 1, MaxZ: 1, Columns: 2, Rows: 2}, alias.Search{Most: 1, Steps: 2}, context.Background(),
		alias.Viewer{}, alias.Viewer{Luminance: nan}, alias.Verdict{Seen: 1},
		[]float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2},
		func(eye r3.Vec) (alias.Shot, bool) { return ahead(eye), true },
		func(setting float64) (alias.Shot, bool) { return ahead(r3.Vec{Z: setting}), true },
		[]byte("beat"),
	},
		alias.LitWidth, alias.NyquistDistance, alias.Predict, alias.NewScene, alias.MeasureFringes,
		alias.Alias.Period, alias.Alias.Direction, alias.Alias.Crawl, alias.Sampling.NyquistPitch, alias.Viewer.Threshold, alias.Verdict.Safe,
		alias.Scene.Aliases, alias.Scene.Map, alias.Scene.Motion, alias.Scene.Floor, alias.Scene.NearestSafe,
		alias.Sampling.String, alias.Sampling.MarshalText, (*alias.Sampling).UnmarshalText,
		alias.Kind.String, alias.Kind.MarshalText, (*alias.Kind).UnmarshalText,
		alias.Carrier.String, alias.Carrier.MarshalText, (*alias.Carrier).UnmarshalText,
	)
}
