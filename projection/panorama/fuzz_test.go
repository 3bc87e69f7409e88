package panorama_test

import (
	"math"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/panorama"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func FuzzEquirect(f *testing.F) {
	f.Add(4096, 2048, 0.1, 0.2, 0.3, 100.0, 200.0, 0.1, 0.2, -1.0)
	f.Add(1, 1<<24, 0.0, 0.0, 0.0, -1e300, 0.0, 0.0, 1e-320, 0.0)
	f.Add(3, 3, math.NaN(), 0.0, 0.0, math.Inf(1), math.NaN(), 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, w, h int, heading, elevation, roll, x, y, dx, dy, dz float64) {
		e, err := panorama.NewEquirect(w, h, projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)})
		if err != nil {
			return
		}
		if d, ok := e.Unproject(x, y); ok && !(math.Abs(r3.Norm(d)-1) < 1e-12) {
			t.Errorf("direction %v at %v, %v", d, x, y)
		}
		px, py, ok := e.Project(r3.Vec{X: dx, Y: dy, Z: dz})
		if ok && !(px >= 0 && px < float64(w) && py >= 0 && py <= float64(h)) {
			t.Errorf("(%v, %v, %v) is imaged at %v, %v", dx, dy, dz, px, py)
		}
	})
}

// FuzzPanoramas looks for a panic, an ok without a finite answer, and a direction
// that does not come back.
func FuzzPanoramas(f *testing.F) {
	f.Add(4096, 2048, -1.0, 1.0, 0.5, -0.2, 0.1, 1.0, 2.0, 3.0, 100.0, 200.0)
	f.Add(2, 2, 1.5, 1.6, math.NaN(), 0.0, 0.0, 0.0, -1.0, 0.0, 0.5, 0.5)
	f.Add(1, 1<<24, -1.57, 1.57, 0.0, math.Pi/2, 0.0, 1e-320, 1.0, 1e300, -1e300, math.Inf(1))
	f.Add(6, 6, 1e-300, 2e-300, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 36.0, 6.0)
	f.Fuzz(func(t *testing.T, width, height int, bottom, top, heading, elevation, roll, dx, dy, dz, x, y float64) {
		p := projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)}
		try := func(name string, pan trial.Mapper, err error) {
			if err != nil {
				assert.ErrorIs(t, err, panorama.ErrInvalid, name)
				return
			}
			if d, ok := pan.Unproject(x, y); ok && !(math.Abs(r3.Norm(d)-1) < 1e-14) {
				t.Errorf("%s looks along %v at %v, %v", name, d, x, y)
			}
			px, py, ok := pan.Project(r3.Vec{X: dx, Y: dy, Z: dz})
			if !ok {
				return
			}
			require.True(t, 0*px+0*py == 0, "%s images at %v, %v", name, px, py)
			back, ok := pan.Unproject(px, py)
			require.True(t, ok, "%s has no direction at %v, %v", name, px, py)
			m := max(math.Abs(dx), math.Abs(dy), math.Abs(dz))
			want := r3.Unit(r3.Vec{X: dx / m, Y: dy / m, Z: dz / m})
			// A cylinder's focal length may be so great that its top drowns the height.
			if d := r3.Norm(r3.Sub(back, want)); !(d < 1e-9) && name != "cylindrical" {
				t.Errorf("%s: %v came back as %v", name, want, back)
			}
		}
		cube, err := panorama.NewCube(height, p)
		try("cube", cube, err)
		cylinder, err := panorama.NewCylindrical(panorama.CylindricalSpec{Width: width, Height: height, Bottom: unit.Angle(bottom), Top: unit.Angle(top), Pose: p})
		try("cylindrical", cylinder, err)
	})
}
