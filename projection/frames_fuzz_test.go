package projection_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// FuzzPanoramas looks for a panic, an ok without a finite answer, and a direction
// that does not come back.
func FuzzPanoramas(f *testing.F) {
	f.Add(4096, 2048, -1.0, 1.0, 0.5, -0.2, 0.1, 1.0, 2.0, 3.0, 100.0, 200.0)
	f.Add(2, 2, 1.5, 1.6, math.NaN(), 0.0, 0.0, 0.0, -1.0, 0.0, 0.5, 0.5)
	f.Add(1, 1<<24, -1.57, 1.57, 0.0, math.Pi/2, 0.0, 1e-320, 1.0, 1e300, -1e300, math.Inf(1))
	f.Add(6, 6, 1e-300, 2e-300, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 36.0, 6.0)
	f.Fuzz(func(t *testing.T, width, height int, bottom, top, heading, elevation, roll, dx, dy, dz, x, y float64) {
		p := projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)}
		type panorama interface {
			Project(dir r3.Vec) (x, y float64, ok bool)
			Unproject(x, y float64) (dir r3.Vec, ok bool)
		}
		try := func(name string, pan panorama, err error) {
			if err != nil {
				if !errors.Is(err, projection.ErrInvalid) {
					t.Errorf("%s: %v", name, err)
				}
				return
			}
			if d, ok := pan.Unproject(x, y); ok && !(math.Abs(r3.Norm(d)-1) < 1e-14) {
				t.Errorf("%s looks along %v at %v, %v", name, d, x, y)
			}
			px, py, ok := pan.Project(r3.Vec{X: dx, Y: dy, Z: dz})
			if !ok {
				return
			}
			if !finite(px, py) {
				t.Fatalf("%s images at %v, %v", name, px, py)
			}
			back, ok := pan.Unproject(px, py)
			if !ok {
				t.Fatalf("%s has no direction at %v, %v", name, px, py)
			}
			m := max(math.Abs(dx), math.Abs(dy), math.Abs(dz))
			want := r3.Unit(r3.Vec{X: dx / m, Y: dy / m, Z: dz / m})
			// A cylinder's focal length may be so great that its top drowns the height.
			if d := r3.Norm(r3.Sub(back, want)); !(d < 1e-9) && name != "cylindrical" {
				t.Errorf("%s: %v came back as %v", name, want, back)
			}
		}
		cube, err := projection.NewCube(height, p)
		try("cube", cube, err)
		border, err := projection.NewBorderEquirect(width, height, p)
		try("border", border, err)
		cylinder, err := projection.NewCylindrical(projection.CylindricalSpec{Width: width, Height: height, Bottom: unit.Angle(bottom), Top: unit.Angle(top), Pose: p})
		try("cylindrical", cylinder, err)
	})
}

// FuzzExtrinsics: rows of whatever rotation vector give it back, but for whole
// turns.
func FuzzExtrinsics(f *testing.F) {
	f.Add(0.1, 0.2, 0.3, 1.0, 2.0, 3.0)
	f.Add(math.Pi, 0.0, 0.0, 1e300, 0.0, 0.0)
	f.Add(0.0, 1e-320, 0.0, 0.0, math.Inf(1), 0.0)
	f.Add(1e6, math.NaN(), 0.0, 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, x, y, z, tx, ty, tz float64) {
		e := projection.Extrinsics{Rotation: r3.Vec{X: x, Y: y, Z: z}, Translation: r3.Vec{X: tx, Y: ty, Z: tz}}
		p, err := e.Pose()
		if err != nil {
			if !errors.Is(err, projection.ErrInvalid) {
				t.Errorf("%v", err)
			}
			return
		}
		back, err := projection.ExtrinsicsFromRows(e.Rows())
		if err != nil {
			t.Fatal(err)
		}
		q, err := back.Pose()
		if err != nil {
			t.Fatal(err)
		}
		if a := p.AngleTo(q); !(a < 1e-14) {
			t.Errorf("%v came back %v rad away", e, float64(a))
		}
		if n := r3.Norm(e.Rotation); n < 3.14 && !(r3.Norm(r3.Sub(back.Rotation, e.Rotation)) < 1e-14) {
			t.Errorf("%v came back as %v", e.Rotation, back.Rotation)
		}
	})
}
