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

// FuzzRaster looks for a panic, a hang, and an answer that cannot be, in what a
// camera says of its raster.
func FuzzRaster(f *testing.F) {
	f.Add(uint8(4), 1000.0, 1100.0, 600, 400, 10.0, -5.0, 0.0, 0.0, 0.0, 600.0, 400.0, 0.1, 0.2, -1.0, 3, 2)
	f.Add(uint8(1), 1e-18, 1e18, 1, 1<<24, 1e9, -1e9, 1.5, -1e9, 1e9, 0.5, 1e-9, 1e-320, 1e308, 0.0, 1<<24, -1)
	f.Add(uint8(5), 1.0, 1.0, 3, 3, 0.0, 0.0, 0.0, 0.5, 1.5, 2.5, 1.5, 1.0, 0.0, 0.0, 0, 0)
	f.Add(uint8(3), 1.0, 1.0, 7, 7, 0.0, 0.0, 0.0, -9.0, -9.0, 16.0, 16.0, 0.0, 0.0, 1.0, 7, 7)
	f.Add(uint8(6), 100.0, 100.0, 400, 400, 0.0, 0.0, 0.0, 0.0, 200.0, 400.0, 201.0, 0.0, 0.0, 1.0, 7, 7)
	f.Fuzz(func(t *testing.T, model uint8, fx, fy float64, w, h int, ox, oy, limit, x0, y0, x1, y1, dx, dy, dz float64, n, m int) {
		spec := projection.CameraSpec{Model: projection.Form(model % 8), FocalX: fx, FocalY: fy, Width: w, Height: h, OffsetX: ox, OffsetY: oy, MaxAngle: unit.Angle(limit)}
		switch model % 8 {
		case 6:
			spec.Model, _ = projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, -0.05, 0.001}})
		case 7:
			spec.Model, spec.Distortion = projection.Equidistant, shear{-0.05, 0.01, 1.6}
		}
		c, err := projection.NewCamera(spec)
		if err != nil {
			return
		}
		if sr, ok := c.SolidAngle(x0, y0, x1, y1); !(sr >= 0 && sr <= 4*math.Pi*(1+1e-9)) || (!ok && sr != 0) {
			t.Errorf("solid angle %v, %v", sr, ok)
		}
		if between, turned, ok := c.FieldAlong(x0, y0, x1, y1); !finite(float64(between), float64(turned)) || between < 0 || between > 180*deg || float64(turned-between) < -1e-6 || (!ok && turned != 0) {
			t.Errorf("field %v between, %v turned, %v", between, turned, ok)
		}
		if j, ok := c.Jacobian(r3.Vec{X: dx, Y: dy, Z: dz}); ok {
			if math.IsNaN(j.XRight + j.XUp + j.YRight + j.YUp) {
				t.Errorf("Jacobian %+v", j)
			}
			if right, up, ok := j.Angles(x0, y0); !finite(float64(right), float64(up)) || (!ok && right != 0) {
				t.Errorf("angles %v, %v", right, up)
			}
		}
		for _, op := range []func() (projection.Camera, error){
			func() (projection.Camera, error) { return c.Crop(n, m, w, h) },
			func() (projection.Camera, error) { return c.Scale(n, m) },
			func() (projection.Camera, error) { return c.Bin(n, m) },
		} {
			if d, err := op(); err == nil {
				if x, y, ok := d.Project(r3.Vec{X: dx, Y: dy, Z: dz}); ok && !finite(x, y) {
					t.Errorf("%v, %v after an operation", x, y)
				}
			} else if !errors.Is(err, projection.ErrInvalid) {
				t.Errorf("%v", err)
			}
		}
	})
}
