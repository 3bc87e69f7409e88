package projection_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/projection"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

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
