package offaxis_test

import (
	"image"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/offaxis"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	turned := projection.Pose{Heading: 1, Elevation: -0.3, Roll: 0.2}
	back := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	frustum := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromFilmBack(back, 0.1, 100, turned))
	matrix, _ := frustum.StageToClip(offaxis.DepthZeroToOne)
	hostile.Calls(t, []any{
		turned, back, frustum, matrix, offaxis.DepthZeroToOne, image.Rect(0, 0, 4, 4), unit.Angle(0.1), 16,
		r3.Vec{X: 1, Y: 2, Z: -3}, r3.Vec{X: math.Inf(1)},
	},
		offaxis.FrustumFromMatrix, offaxis.Frustum.EyeToClip, offaxis.Frustum.FilmBack,
		offaxis.Frustum.Overscan, offaxis.Frustum.OverscanAngle, offaxis.Frustum.StageToClip,
		offaxis.Frustum.StageToEye, offaxis.Frustum.Tile, offaxis.Frustum.Window,
	)
	// Fewer of what takes four arguments.
	hostile.Calls(t, []any{wall, back, r3.Vec{Z: 5}, turned}, offaxis.NewFrustum, offaxis.FrustumFromFilmBack)
}
