package offaxis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/offaxis"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	deg             = projection.Degree
	mm  unit.Length = unit.Milli * unit.Metre
)

// must gives the value of a constructor, or ends the test.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// refuses checks that an error wraps the sentinel and names each of some fields.
func refuses(t *testing.T, err error, fields ...string) {
	t.Helper()
	require.ErrorIs(t, err, offaxis.ErrInvalid)
	for _, f := range fields {
		assert.ErrorContains(t, err, f)
	}
}

func pose(heading, elevation, roll float64) projection.Pose {
	return projection.Pose{Heading: unit.Angle(heading) * deg, Elevation: unit.Angle(elevation) * deg, Roll: unit.Angle(roll) * deg}
}

func randomVec(rng *rand.Rand, scale float64) r3.Vec {
	return r3.Scale(scale, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

func randomPose(rng *rand.Rand) projection.Pose {
	p := pose(rng.Float64()*360-180, rng.Float64()*180-90, rng.Float64()*360-180)
	p.Position = randomVec(rng, 10)
	return p
}

func camera(t testing.TB, spec projection.CameraSpec) projection.Camera {
	t.Helper()
	c, err := projection.NewCamera(spec)
	require.NoError(t, err)
	return c
}

func lonLat(d r3.Vec) (lon, lat float64) {
	return math.Atan2(d.X, -d.Z) / float64(deg), math.Atan2(d.Y, math.Hypot(d.X, d.Z)) / float64(deg)
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// columns are the images of the three axes.
func columns(p projection.Pose) [3]r3.Vec {
	return [3]r3.Vec{p.ToStage(r3.Vec{X: 1}), p.ToStage(r3.Vec{Y: 1}), p.ToStage(r3.Vec{Z: 1})}
}

// apart is how far two poses are from each other: metres and rad, added.
func apart(p, q projection.Pose) float64 {
	return r3.Norm(r3.Sub(p.Position, q.Position)) + float64(p.AngleTo(q))
}
