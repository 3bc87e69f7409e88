package projection_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func FuzzFormText(f *testing.F) {
	for _, s := range []string{"rectilinear", "equisolid", "", "Form(0)", "EQUIDISTANT"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var form projection.Form
		if err := form.UnmarshalText(text); err != nil {
			if !errors.Is(err, projection.ErrInvalid) || form != 0 {
				t.Errorf("%q: %v, %v", text, form, err)
			}
		} else if back, err := form.MarshalText(); err != nil || string(back) != string(text) {
			t.Errorf("%q came back as %q, %v", text, back, err)
		}
	})
}

func FuzzFormAngle(f *testing.F) {
	for form := range uint8(7) {
		for _, r := range []float64{0, 1e-300, 1, 1.9, 2, math.Pi, 1e17, math.Inf(1), math.NaN()} {
			f.Add(form, r)
		}
	}
	f.Fuzz(func(t *testing.T, form uint8, r float64) {
		m := projection.Form(form)
		theta, ok := m.Angle(r)
		if !ok {
			if theta != 0 {
				t.Errorf("%v at %v: %v without ok", m, r, theta)
			}
			return
		}
		back, ok := m.Radius(theta)
		if !ok || !(theta >= 0 && theta <= m.MaxAngle()) {
			t.Fatalf("%v at %v: angle %v has no radius", m, r, theta)
		}
		// At great radii the angle, rounded, no longer tells them apart.
		slope, _ := m.Slope(theta)
		if d := math.Abs(back - r); d > 8e-16*(r+float64(theta)*slope) && r < 1e15 {
			t.Errorf("%v at %v came back as %v", m, r, back)
		}
	})
}

// FuzzCamera looks for a panic, an ok without a finite answer, and a position
// that does not come back.
func FuzzCamera(f *testing.F) {
	f.Add(uint8(4), 1000.0, 1000.0, 6000, 4000, 10.0, -5.0, 0.0, 0.1, 0.2, 0.3, 100.0, 200.0, 0.1, 0.2, -1.0)
	f.Add(uint8(1), 1e-18, 1e18, 1, 1<<24, 1e9, -1e9, 1.5, 1e300, -1e300, 0.0, -1e300, 1e-300, 1e-320, 1e308, 0.0)
	f.Add(uint8(3), math.Inf(1), math.NaN(), -1, 0, math.NaN(), 0.0, -1.0, math.Inf(-1), 0.0, 0.0, math.NaN(), 0.0, 0.0, 0.0, 0.0)
	f.Add(uint8(0), 100.0, 100.0, 10, 10, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 3.0, 3.0, 0.0, 0.0, 1.0)
	f.Fuzz(func(t *testing.T, form uint8, fx, fy float64, w, h int, ox, oy, limit, heading, elevation, roll, x, y, dx, dy, dz float64) {
		var m projection.Model = projection.Form(form)
		if form == 0 {
			m = kannalaBrandt{1, 0.02, -0.01, 0, 0}
		}
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, FocalX: fx, FocalY: fy, Width: w, Height: h, OffsetX: ox, OffsetY: oy, MaxAngle: unit.Angle(limit),
			Pose: projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)}})
		if err != nil {
			if !errors.Is(err, projection.ErrInvalid) {
				t.Errorf("%v", err)
			}
			return
		}
		if a, b, d := c.FieldOfView(); !finite(float64(a), float64(b), float64(d)) {
			t.Errorf("field of view %v, %v, %v", a, b, d)
		}
		if math.IsNaN(c.Margin(x, y)) {
			t.Errorf("margin at %v, %v", x, y)
		}
		if d, ok := c.Unproject(x, y); ok {
			if !finite(d.X, d.Y, d.Z) || math.Abs(r3.Norm(d)-1) > 1e-12 {
				t.Errorf("direction %v at %v, %v", d, x, y)
			}
		}
		dir := r3.Vec{X: dx, Y: dy, Z: dz}
		px, py, ok := c.Project(dir)
		if !ok {
			return
		}
		if !finite(px, py) {
			t.Errorf("%v is imaged at %v, %v", dir, px, py)
		}
		density, ok := c.Density(dir)
		if !ok || math.IsNaN(density.Radial+density.Tangential) {
			t.Errorf("%v has density %v, %v", dir, density, ok)
		}
		// Where a pixel is a small angle, the direction comes back.
		if min(density.Radial, density.Tangential) < 1 || max(fx, fy) > 1e6 || max(math.Abs(px), math.Abs(py)) > 1e8 {
			return
		}
		back, ok := c.Unproject(px, py)
		scale := max(math.Abs(dx), math.Abs(dy), math.Abs(dz))
		unitDir := r3.Unit(r3.Vec{X: dx / scale, Y: dy / scale, Z: dz / scale})
		if !ok || r3.Norm(r3.Sub(back, unitDir)) > 1e-6 {
			t.Errorf("%v came back as %v, %v", unitDir, back, ok)
		}
	})
}

func FuzzEquirect(f *testing.F) {
	f.Add(4096, 2048, 0.1, 0.2, 0.3, 100.0, 200.0, 0.1, 0.2, -1.0)
	f.Add(1, 1<<24, 0.0, 0.0, 0.0, -1e300, 0.0, 0.0, 1e-320, 0.0)
	f.Add(3, 3, math.NaN(), 0.0, 0.0, math.Inf(1), math.NaN(), 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, w, h int, heading, elevation, roll, x, y, dx, dy, dz float64) {
		e, err := projection.NewEquirect(w, h, projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)})
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

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
