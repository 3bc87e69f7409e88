package rig_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	hostile.Calls(t, []any{unit.Angle(0.1), 16}, rig.EquivalentFocalLength)
}

// halfway is a distortion that ends inside the raster without saying where.
type halfway struct{ none }

func (halfway) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return 1, 0, 0, 1, math.Hypot(x, y) < 0.3
}

// none is a distortion that moves nothing.
type none struct{}

func (none) Distort(x, y float64) (u, v float64, ok bool)            { return x, y, true }
func (none) Undistort(u, v float64) (x, y float64, ok bool)          { return u, v, true }
func (none) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) { return 1, 0, 0, 1, true }

func TestDistortionWithAnUnknownEndIsRefused(t *testing.T) {
	spec := projection.CameraSpec{Model: projection.Rectilinear, Distortion: none{}, FocalX: 100, FocalY: 100, Width: 100, Height: 100}
	_, err := rig.New(rig.Spec{Cameras: []projection.Camera{trial.Camera(t, spec)}})
	assert.NoError(t, err)
	spec.Distortion = halfway{}
	_, err = rig.New(rig.Spec{Cameras: []projection.Camera{trial.Camera(t, spec)}})
	assert.ErrorIs(t, err, rig.ErrInvalid)
	assert.ErrorContains(t, err, "camera 0 with distortion")
}

// A bare 90 is 90 rad: a box refuses it, and asks for degrees.
func TestTurnsBeyondOneAreRefused(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1, FocalY: 1, Width: 2, Height: 2})
	for field, p := range map[string]projection.Pose{"heading": {Heading: 90}, "elevation": {Elevation: -45}, "roll": {Roll: 90}} {
		p.Position = r3.Vec{X: 9}
		_, err := rig.New(rig.Spec{Cameras: []projection.Camera{c}, Boxes: []rig.Box{{Pose: p, Width: 1, Height: 1, Depth: 1}}})
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, field)
		assert.ErrorContains(t, err, "*Degree meant?")
	}
}
