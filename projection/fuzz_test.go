package projection_test

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
			trial.Refuses(t, projection.ErrInvalid, err)
			assert.True(t, form == 0, "%q: %v, %v", text, form, err)
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
			assert.True(t, theta == 0, "%v at %v: %v without ok", m, r, theta)
			return
		}
		back, ok := m.Radius(theta)
		require.True(t, ok && theta >= 0 && theta <= m.MaxAngle(), "%v at %v: angle %v has no radius", m, r, theta)
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
			m = trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}
		}
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, FocalX: fx, FocalY: fy, Width: w, Height: h, OffsetX: ox, OffsetY: oy, MaxAngle: unit.Angle(limit),
			Pose: projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation), Roll: unit.Angle(roll)}})
		if err != nil {
			assert.ErrorIs(t, err, projection.ErrInvalid)
			return
		}
		if a, b, d := c.FieldOfView(); !trial.Finite(float64(a), float64(b), float64(d)) {
			t.Errorf("field of view %v, %v, %v", a, b, d)
		}
		assert.False(t, math.IsNaN(c.Margin(x, y)), "margin at %v, %v", x, y)
		if d, ok := c.Unproject(x, y); ok {
			assert.True(t, trial.Finite(d.X, d.Y, d.Z) && math.Abs(r3.Norm(d)-1) <= 1e-12, "direction %v at %v, %v", d, x, y)
		}
		dir := r3.Vec{X: dx, Y: dy, Z: dz}
		px, py, ok := c.Project(dir)
		if !ok {
			return
		}
		assert.True(t, trial.Finite(px, py), "%v is imaged at %v, %v", dir, px, py)
		density, ok := c.Density(dir)
		assert.True(t, ok && !math.IsNaN(density.Radial+density.Tangential), "%v has density %v, %v", dir, density, ok)
		// Where a pixel is a small angle, the direction comes back.
		if min(density.Radial, density.Tangential) < 1 || max(fx, fy) > 1e6 || max(math.Abs(px), math.Abs(py)) > 1e8 {
			return
		}
		back, ok := c.Unproject(px, py)
		scale := max(math.Abs(dx), math.Abs(dy), math.Abs(dz))
		unitDir := r3.Unit(r3.Vec{X: dx / scale, Y: dy / scale, Z: dz / scale})
		assert.True(t, ok && r3.Norm(r3.Sub(back, unitDir)) <= 1e-6, "%v came back as %v, %v", unitDir, back, ok)
	})
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
		if j, ok := c.Jacobian(r3.Vec{X: dx, Y: dy, Z: dz}); ok {
			assert.False(t, math.IsNaN(j.XRight+j.XUp+j.YRight+j.YUp), "Jacobian %+v", j)
		}
		for _, op := range []func() (projection.Camera, error){
			func() (projection.Camera, error) { return c.Crop(n, m, w, h) },
			func() (projection.Camera, error) { return c.Scale(n, m) },
			func() (projection.Camera, error) { return c.Bin(n, m) },
		} {
			if d, err := op(); err == nil {
				if x, y, ok := d.Project(r3.Vec{X: dx, Y: dy, Z: dz}); ok && !trial.Finite(x, y) {
					t.Errorf("%v, %v after an operation", x, y)
				}
			} else if !errors.Is(err, projection.ErrInvalid) {
				t.Errorf("%v", err)
			}
		}
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
			assert.ErrorIs(t, err, projection.ErrInvalid)
			return
		}
		back, err := projection.ExtrinsicsFromRows(e.Rows())
		require.NoError(t, err)
		q, err := back.Pose()
		require.NoError(t, err)
		if a := p.AngleTo(q); !(a < 1e-14) {
			t.Errorf("%v came back %v rad away", e, float64(a))
		}
		if n := r3.Norm(e.Rotation); n < 3.14 && !(r3.Norm(r3.Sub(back.Rotation, e.Rotation)) < 1e-14) {
			t.Errorf("%v came back as %v", e.Rotation, back.Rotation)
		}
	})
}

// FuzzOddPolynomial looks for a polynomial that is accepted and yet turns back,
// and for a radius that does not come back.
func FuzzOddPolynomial(f *testing.F) {
	f.Add(1.0, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371, 0.0, 0.5)
	f.Add(1-1e-12, -2./3, 1./5, 0.0, 0.0, 0.0, 1.0)
	f.Add(1e-6, -1e9, 1e9, -1e9, 1e9, 3.0, 0.999999)
	f.Add(1e6, 1e9, 1e9, 1e9, 1e9, 3.2, 1e-300)
	f.Add(math.NaN(), 0.0, math.Inf(1), 0.0, 0.0, -1.0, math.NaN())
	f.Fuzz(func(t *testing.T, c1, c2, c3, c4, c5, limit, part float64) {
		c := []float64{c1, c2, c3, c4, c5}
		m, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c, MaxAngle: unit.Angle(limit)})
		if err != nil {
			assert.ErrorIs(t, err, projection.ErrInvalid)
			return
		}
		end := float64(m.MaxAngle())
		require.True(t, end > 0 && end <= math.Pi && !(limit > 0 && end > limit), "%v ends at %v", m, end)
		if !(part >= 0 && part <= 1) {
			return
		}
		theta := part * end
		rEnd, ok := m.Radius(m.MaxAngle())
		r, ok2 := m.Radius(unit.Angle(theta))
		slope, ok3 := m.Slope(unit.Angle(theta))
		require.True(t, ok && ok2 && ok3 && r >= 0 && r <= rEnd && slope >= 0, "%v at %v: %v (%v), %v (%v), of %v (%v)", m, theta, r, ok2, slope, ok3, rEnd, ok)
		// What roundings of the terms amount to.
		noise := func(theta float64) (sum float64) {
			p := theta
			for i, k := range c {
				sum += float64(2*i+1) * math.Abs(k) * p
				p *= theta * theta
			}
			return 1e-15 * sum
		}
		if less, _ := m.Radius(unit.Angle(theta * 0.999)); less > r+noise(theta) {
			t.Errorf("%v turns back before %v: %v, %v", m, theta, less, r)
		}
		back, ok := m.Angle(r)
		require.True(t, ok && float64(back) >= 0 && float64(back) <= end, "%v: %v comes back as %v, %v", m, r, back, ok)
		again, _ := m.Radius(back)
		assert.True(t, math.Abs(again-r) <= 4*noise(theta)+4*noise(float64(back)), "%v at %v: radius %v, angle %v, radius %v", m, theta, r, back, again)
	})
}

// FuzzTable reads points out of bytes.
func FuzzTable(f *testing.F) {
	seed := func(v ...float64) {
		var b []byte
		for _, x := range v {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		f.Add(b, 0.7)
	}
	seed(0.2, 0.199, 0.4, 0.39, 0.7, 0.66)
	seed(0, 0, 1e-9, 1e-9, 2e-9, 1e6, 3.14159, 1e6+1)
	seed(0.1, 5e-324, 0.2, 1e-323, 3, 1e6)
	seed(math.NaN(), 1, 2, math.Inf(1))
	f.Fuzz(func(t *testing.T, b []byte, part float64) {
		var points []projection.TablePoint
		for ; len(b) >= 16 && len(points) < 200; b = b[16:] {
			points = append(points, projection.TablePoint{
				Angle:  unit.Angle(math.Float64frombits(binary.LittleEndian.Uint64(b))),
				Height: math.Float64frombits(binary.LittleEndian.Uint64(b[8:])),
			})
		}
		m, err := projection.NewTable(points)
		if err != nil {
			assert.ErrorIs(t, err, projection.ErrInvalid)
			return
		}
		for _, p := range points {
			r, ok := m.Radius(p.Angle)
			back, ok2 := m.Angle(p.Height)
			assert.True(t, ok && ok2 && r == p.Height && back == p.Angle, "%v: %v, %v", p, r, back)
		}
		if !(part >= 0 && part <= 1) {
			return
		}
		theta := unit.Angle(part) * m.MaxAngle()
		rEnd, _ := m.Radius(m.MaxAngle())
		r, ok := m.Radius(theta)
		slope, ok2 := m.Slope(theta)
		require.True(t, ok && ok2 && r >= 0 && r <= rEnd && slope >= 0 && slope <= math.MaxFloat64, "at %v of %v: %v, %v", theta, points, r, slope)
		back, ok := m.Angle(r)
		again, ok2 := m.Radius(back)
		slopeBack, _ := m.Slope(back)
		assert.True(t, ok && ok2 && math.Abs(again-r) <= 1e-15*(r+rEnd+float64(theta)*(slope+slopeBack)), "at %v of %v: radius %v, angle %v, radius %v", theta, points, r, back, again)
	})
}

// FuzzBrownConrady looks for an answer that is not one, and for a position of
// the domain that does not come back.
func FuzzBrownConrady(f *testing.F) {
	f.Add(-0.266, -0.0386, 0.238, 0.0, 0.0, 0.0, 0.00178, -0.00028, 0.0, 0.0, 0.0, 0.0, 0.3, -0.4)
	f.Add(0.3, 0.05, 0.001, 1.2, -0.8, 0.01, 0.01, 0.02, 0.01, -0.002, 0.003, 0.004, 1.0, 1.0)         // a pole
	f.Add(-0.798, -0.0386, 99.476, -4.0, 0.0, 0.0, 0.0002225, -0.00028, 0.0, 0.0, 0.0, 0.0, 0.3, -0.4) // on a pole
	f.Add(0.9, 0.05, 0.001, 1.2, 0.2, 0.01, 0.01, 0.02, 0.01, -0.002, 0.003, 0.004, 1.0, 1.0)
	f.Add(1e6, -1e6, 1e6, -1e6, 1e6, -1e6, 1e6, -1e6, 1e6, -1e6, 1e6, -1e6, 1e-7, 0.0)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1e9, 1e300)
	f.Add(math.NaN(), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.Inf(1), math.NaN(), 0.0)
	f.Fuzz(func(t *testing.T, k1, k2, k3, k4, k5, k6, p1, p2, s1, s2, s3, s4, x, y float64) {
		d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: k1, K2: k2, K3: k3, K4: k4, K5: k5, K6: k6, P1: p1, P2: p2, S1: s1, S2: s2, S3: s3, S4: s4})
		if err != nil {
			assert.ErrorIs(t, err, projection.ErrInvalid)
			return
		}
		if end := maxRadius(d); !(end > 0 && end <= 1e9) {
			t.Fatalf("ends at %v", end)
		}
		if a, b, ok := d.Undistort(x, y); ok {
			u, v, ok := d.Distort(a, b)
			assert.True(t, ok && math.Hypot(u-x, v-y) <= 2e-12*max(1, math.Hypot(x, y)), "(%v, %v) comes from (%v, %v), which goes to (%v, %v), %v", x, y, a, b, u, v, ok)
		} else if a != 0 || b != 0 {
			t.Errorf("(%v, %v) comes from (%v, %v) without ok", x, y, a, b)
		}
		u, v, ok := d.Distort(x, y)
		ux, uy, vx, vy, ok2 := d.Jacobian(x, y)
		if ok != ok2 || ok != (math.Hypot(x, y) <= maxRadius(d)) && math.Abs(math.Hypot(x, y)/maxRadius(d)-1) > 1e-14 {
			t.Fatalf("(%v, %v) of %v: %v, %v", x, y, maxRadius(d), ok, ok2)
		}
		if !ok {
			return
		}
		require.True(t, trial.Finite(u, v, ux, uy, vx, vy), "(%v, %v): %v, %v, %v, %v, %v, %v", x, y, u, v, ux, uy, vx, vy)
		// Coefficients of real lenses, on their field: everything comes back.
		size := 0.0
		for _, c := range []float64{k1, k2, k3, k4, k5, k6, p1, p2, s1, s2, s3, s4} {
			size = max(size, math.Abs(c))
		}
		if size > 2 || math.Hypot(x, y) > 3 {
			return
		}
		if _, _, ok := d.Undistort(u, v); !ok {
			t.Errorf("(%v, %v), which goes to (%v, %v), does not come back", x, y, u, v)
		}
	})
}
