package projection_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/projection"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// JSON has no infinity, and a far plane may be infinitely far.
func TestFrustaInJSON(t *testing.T) {
	f := projection.Frustum{Left: -1, Right: 2, Bottom: -0.5, Top: 0.75, Near: 0.1, Far: 100,
		Pose: projection.Pose{Position: r3.Vec{X: 1, Y: 2, Z: 3}, Heading: 10 * deg, Elevation: -5 * deg, Roll: 1 * deg}}
	for _, far := range []float64{100, math.Inf(1)} {
		f.Far = unit.Length(far)
		text, err := json.Marshal(struct{ View projection.Frustum }{f})
		require.NoError(t, err)
		var back struct{ View projection.Frustum }
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, f, back.View, string(text))
	}
	text, err := json.Marshal(f)
	require.NoError(t, err)
	assert.JSONEq(t, `{"Left":-1,"Right":2,"Bottom":-0.5,"Top":0.75,"Near":0.1,"Far":null,"Pose":{"Position":{"X":1,"Y":2,"Z":3},
		"Heading":0.17453292519943295,"Elevation":-0.08726646259971647,"Roll":0.017453292519943295}}`, string(text))
	// What cannot be read leaves a frustum as it was; one without Far is not sound.
	assert.Error(t, json.Unmarshal([]byte(`{"Left":"far"}`), &f))
	assert.Equal(t, unit.Length(-1), f.Left)
	require.NoError(t, json.Unmarshal([]byte(`{"Left":-1,"Right":1,"Bottom":-1,"Top":1,"Near":1}`), &f))
	_, ok := f.StageToEye()
	assert.False(t, ok)
}

// opening is a Model whose radius grows as a root towards its end at 1 rad: its
// slope is infinite there.
type opening struct{}

func (opening) MaxAngle() unit.Angle { return 1 }
func (opening) Radius(a unit.Angle) (float64, bool) {
	return 1 - math.Sqrt(float64(1-a)), a >= 0 && a <= 1
}
func (opening) Angle(r float64) (unit.Angle, bool) {
	return unit.Angle(r * (2 - r)), r >= 0 && r <= 1
}
func (opening) Slope(a unit.Angle) (float64, bool) {
	return 0.5 / math.Sqrt(float64(1-a)), a >= 0 && a <= 1
}

// No density and no Jacobian is infinite, nor any place in a picture.
func TestNoInfiniteDensity(t *testing.T) {
	c := camera(t, projection.CameraSpec{Model: opening{}, FocalX: 100, FocalY: 100, Width: 300, Height: 300})
	sin, cos := math.Sincos(1)
	seen := 0
	for _, out := range []float64{0, 1e-17, 1e-16, 3e-16, 1e-12, 1e-3} {
		dir := r3.Vec{X: sin - out, Z: -cos}
		if _, _, ok := c.Project(dir); ok {
			seen++
		}
		d, ok := c.Density(dir)
		assert.False(t, ok && math.IsInf(d.Radial, 0), "%+v", d)
		j, okJ := c.Jacobian(dir)
		assert.Equal(t, ok, okJ)
		_, err := json.Marshal([]any{d, j})
		assert.NoError(t, err)
	}
	assert.Equal(t, 6, seen)
}
