package main

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/projection"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// The truth of the sphere's scenes is drawn by geometry in closed form. It must
// be that of the cameras that resample, and must undo itself.
func TestSphereIsThatOfTheCameras(t *testing.T) {
	const side, size = 402, 64
	camera, view, err := sphereRasters(side, size)
	require.NoError(t, err)
	focal, viewFocal := side/float64(plateAcross), size/2/math.Tan(float64(viewAcross)/2)
	axes := viewAxes(float64(heading), float64(elevation))
	random := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		x, y := size*random.Float64(), size*random.Float64()
		d := viewDirection(axes, x, y, size, viewFocal)
		want, ok := view.Unproject(x, y)
		require.True(t, ok)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(d), projection.VisionAxes(want))), 1e-12, "roundings")

		x, y = fisheyePosition(d, side, focal)
		wantX, wantY, ok := camera.Project(want)
		require.True(t, ok)
		assert.InDelta(t, wantX, x, 1e-9, "roundings")
		assert.InDelta(t, wantY, y, 1e-9, "roundings")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(d), fisheyeDirection(x, y, side, focal))), 1e-12, "roundings")

		x, y, ok = around(axes, d, 1)
		require.True(t, ok)
		assert.InDelta(t, math.Acos(r3.Dot(r3.Unit(d), axes[2])), math.Hypot(x, y), 1e-7, "the arc cosine of small angles")
	}
}
