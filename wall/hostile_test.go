package wall_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/orient"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestHostileArguments(t *testing.T) {
	spec := hexagon(3)
	w := must[wall.Wall](t)(wall.New(spec))
	v := must[wall.View](t)(w.View(r3.Vec{Z: 1}))
	hostile.Calls(t, []any{
		wall.Links()[5], wall.Link{Width: 1 << 62, Height: 1 << 62, Num: 1 << 62, Den: 1001}, wall.Limit{Width: 500}, wall.Sampling(3), wall.MoireKind(9), wall.Sight(9),
		spec, w, v, r3.Vec{Z: 1}, r3.Vec{X: 1e6, Y: -1e6, Z: 1e6}, r3.Vec{X: 1e300, Y: 1e300, Z: 1e300},
		wall.MoireSpec{Grid: grid(0.9, 0.1), WallFillX: 0.5, WallFillY: 0.5, PhotositeFill: 0.9, Order: 1},
		pinhole{orient.FromAngles(0, 0, 0), 7000}, (*pinhole)(nil), projector(nil),
		wall.Moire{}, wall.Moire{Pattern: r2.Vec{X: nan}}, wall.Moire{Pattern: r2.Vec{X: inf}},
		[]float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2},
		func(float64) float64 { return nan },
		func(int, int) float64 { return nan },
		[]byte("beat"),
	},
		wall.ImagePitch, wall.NyquistDistance, wall.ViewingDistance,
		wall.Links, wall.Link.Capacity, wall.Link.Rates, wall.Link.Limit, wall.Wall.Split, wall.PayloadRate, wall.LinksNeeded,
		wall.PredictMoire, wall.Moire.Period, wall.Sampling.NyquistPitch, wall.MeasureFringes,
		wall.New, wall.Wall.Breaks, wall.Wall.Illuminance, wall.Wall.Normal, wall.Wall.Panel, wall.Wall.Pitch,
		wall.Wall.Pixel, wall.Wall.Point, wall.Wall.Ports, wall.Wall.Rectangle, wall.Wall.Size,
		wall.Wall.SolidAngle, wall.Wall.View,
		wall.View.Breaks, wall.View.PixelDensity, wall.View.PixelDensityRange, wall.View.ImageGrid, wall.View.Project,
		wall.View.Sight, wall.View.Size, wall.View.Unproject,
		wall.Sampling.String, wall.Sampling.MarshalText, (*wall.Sampling).UnmarshalText,
		wall.MoireKind.String, wall.MoireKind.MarshalText, (*wall.MoireKind).UnmarshalText,
		wall.Sight.String, wall.Sight.MarshalText, (*wall.Sight).UnmarshalText,
	)
}
