package wall_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/orient"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestHostileArguments(t *testing.T) {
	spec := hexagon(3)
	w := must[wall.Wall](t)(wall.New(spec))
	v := must[wall.View](t)(w.View(r3.Vec{Z: 1}))
	hostile.Calls(t, []any{
		wall.Links()[5], wall.Link{Width: math.MaxInt, Height: math.MaxInt, Num: 1 << 62, Den: 1001}, wall.Limit{Width: 500}, wall.Sight(9),
		spec, w, v, r3.Vec{Z: 1}, r3.Vec{X: 1e6, Y: -1e6, Z: 1e6}, r3.Vec{X: 1e300, Y: 1e300, Z: 1e300},
		pinhole{orient.FromAngles(0, 0, 0), 7000}, (*pinhole)(nil), projector(nil),
		[]byte("seen"), wall.Rectangle{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{Y: 2}}, wall.Rectangle{LowerLeft: r3.Vec{Z: nan}},
	},
		wall.ImagePitch, wall.ViewingDistance,
		wall.Links, wall.Link.Capacity, wall.Link.Rates, wall.Link.Limit, wall.Wall.Split, wall.PayloadRate, wall.LinksNeeded,
		wall.New, wall.Wall.Breaks, wall.Wall.Normal, wall.Wall.Panel, wall.Wall.Pitch,
		wall.Wall.Pixel, wall.Wall.Point, wall.Wall.Ports, wall.Wall.Rectangle, wall.Wall.Size,
		wall.Wall.View, wall.Rectangle.Wall,
		wall.View.Breaks, wall.View.PixelDensity, wall.View.PixelDensityRange, wall.View.ImageGrid, wall.View.Project,
		wall.View.Sight, wall.View.Size, wall.View.Unproject,
		wall.Sight.String, wall.Sight.MarshalText, (*wall.Sight).UnmarshalText,
	)
}
