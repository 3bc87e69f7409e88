package rig_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	hostile.Calls(t, []any{unit.Angle(0.1), 16}, rig.EquivalentFocalLength)
}

func TestDistortionIsRefused(t *testing.T) {
	d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: -0.1})
	require.NoError(t, err)
	c := camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 100, FocalY: 100, Width: 100, Height: 100})
	_, err = rig.New(rig.Spec{Cameras: []projection.Camera{c}})
	assert.ErrorIs(t, err, rig.ErrInvalid)
	assert.ErrorContains(t, err, "camera 0 with distortion")
}

// A bare 90 is 90 rad: a box refuses it, and asks for degrees.
func TestTurnsBeyondOneAreRefused(t *testing.T) {
	c := camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1, FocalY: 1, Width: 2, Height: 2})
	for field, p := range map[string]projection.Pose{"heading": {Heading: 90}, "elevation": {Elevation: -45}, "roll": {Roll: 90}} {
		p.Position = r3.Vec{X: 9}
		_, err := rig.New(rig.Spec{Cameras: []projection.Camera{c}, Boxes: []rig.Box{{Pose: p, Width: 1, Height: 1, Depth: 1}}})
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, field)
		assert.ErrorContains(t, err, "*Degree meant?")
	}
}
