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
	r, _ := w.Rectangle(0, 0, 50, 50)
	f := must[wall.Frustum](t)(wall.NewFrustum(r, r3.Vec{Z: 1}, 0.1, 100))
	hostile.Calls(t, []any{
		wall.Links()[5],
		spec, w, v, r, f, r3.Vec{Z: 1}, r3.Vec{X: 1e9, Y: -1e9, Z: 1e9}, r3.Vec{X: 1e300, Y: 1e300, Z: 1e300}, r.LowerLeft, f.BackAxis,
		wall.MoireSpec{Grid: grid(0.9, 0.1), EmittingX: 0.5, EmittingY: 0.5, Aperture: 0.9, Order: 1},
		pinhole{orient.FromAngles(0, 0, 0), 7000}, (*pinhole)(nil), projector(nil),
		wall.Moire{}, wall.Moire{Pattern: r2.Vec{X: nan}}, wall.Moire{Pattern: r2.Vec{X: inf}},
		[]float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2},
		func(float64) float64 { return nan },
		func(int, int) float64 { return nan },
	},
		wall.AliasFrequency, wall.AngleAcross, wall.BeatPeriod, wall.DistanceToSpan, wall.EV100FromLuminance,
		wall.ImagePitch, wall.LinksNeeded, wall.Links, wall.Link.Picture, wall.NyquistDistance,
		wall.PayloadRate, wall.PictureHeights, wall.SolidAngle, wall.SquareWaveContrast, wall.ViewFactor,
		wall.ViewingDistance, wall.PredictMoire, wall.Moire.Period, wall.Sampling.NyquistPitch, wall.MeasureRipple,
		wall.NewFrustum, wall.Frustum.Angles, wall.Frustum.Projection, wall.Frustum.StageToEye,
		wall.New, wall.Wall.Breaks, wall.Wall.Illuminance, wall.Wall.Normal, wall.Wall.Panel, wall.Wall.Pitch,
		wall.Wall.Pixel, wall.Wall.Point, wall.Wall.Ports, wall.Wall.Rectangle, wall.Wall.Size,
		wall.Wall.SolidAngle, wall.Wall.View, wall.Wall.ViewFactor,
		wall.View.Breaks, wall.View.Density, wall.View.DensityRange, wall.View.ImageGrid, wall.View.Project,
		wall.View.Size, wall.View.Unproject,
	)
}
