package rig_test

import (
	"math"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const deg = projection.Degree

func camera(t testing.TB, spec projection.CameraSpec) projection.Camera {
	t.Helper()
	c, err := projection.NewCamera(spec)
	require.NoError(t, err)
	return c
}

// toward is the direction of a heading and an elevation in degrees.
func toward(lon, lat float64) r3.Vec {
	return projection.Pose{Heading: unit.Angle(lon) * deg, Elevation: unit.Angle(lat) * deg}.ToStage(r3.Vec{Z: -1})
}

func lonLat(d r3.Vec) (lon, lat float64) {
	return math.Atan2(d.X, -d.Z) / float64(deg), math.Atan2(d.Y, math.Hypot(d.X, d.Z)) / float64(deg)
}

// coverage is Coverage of good input, and whether the tolerance is met.
func coverage(t testing.TB, a rig.Rig, tolerance float64) (rig.Coverage, bool) {
	t.Helper()
	c, err := a.Coverage(tolerance)
	require.NoError(t, err)
	require.Equal(t, c.Error <= tolerance, c.OK)
	return c, c.OK
}

// holesOf is Holes of good input, and whether the tolerance is met.
func holesOf(t testing.TB, a rig.Rig, tolerance float64) ([]rig.Hole, bool) {
	t.Helper()
	holes, sum, err := a.Holes(tolerance)
	require.NoError(t, err)
	require.Equal(t, sum.Error <= tolerance, sum.OK)
	whole := 0.0
	for _, h := range holes {
		whole += h.SolidAngle
	}
	require.InDelta(t, whole, sum.Value, 1e-12)
	return holes, sum.OK
}
