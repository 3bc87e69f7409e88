package projection_test

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
)

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
			if !errors.Is(err, projection.ErrInvalid) {
				t.Error(err)
			}
			return
		}
		end := float64(m.MaxAngle())
		if !(end > 0 && end <= math.Pi) || (limit > 0 && end > limit) {
			t.Fatalf("%v ends at %v", m, end)
		}
		if !(part >= 0 && part <= 1) {
			return
		}
		theta := part * end
		rEnd, ok := m.Radius(m.MaxAngle())
		r, ok2 := m.Radius(unit.Angle(theta))
		slope, ok3 := m.Slope(unit.Angle(theta))
		if !ok || !ok2 || !ok3 || !(r >= 0 && r <= rEnd && slope >= 0) {
			t.Fatalf("%v at %v: %v (%v), %v (%v), of %v (%v)", m, theta, r, ok2, slope, ok3, rEnd, ok)
		}
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
		if !ok || !(float64(back) >= 0 && float64(back) <= end) {
			t.Fatalf("%v: %v comes back as %v, %v", m, r, back, ok)
		}
		again, _ := m.Radius(back)
		if math.Abs(again-r) > 4*noise(theta)+4*noise(float64(back)) {
			t.Errorf("%v at %v: radius %v, angle %v, radius %v", m, theta, r, back, again)
		}
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
			if !errors.Is(err, projection.ErrInvalid) {
				t.Error(err)
			}
			return
		}
		for _, p := range points {
			r, ok := m.Radius(p.Angle)
			back, ok2 := m.Angle(p.Height)
			if !ok || !ok2 || r != p.Height || back != p.Angle {
				t.Errorf("%v: %v, %v", p, r, back)
			}
		}
		if !(part >= 0 && part <= 1) {
			return
		}
		theta := unit.Angle(part) * m.MaxAngle()
		rEnd, _ := m.Radius(m.MaxAngle())
		r, ok := m.Radius(theta)
		slope, ok2 := m.Slope(theta)
		if !ok || !ok2 || !(r >= 0 && r <= rEnd && slope >= 0 && slope <= math.MaxFloat64) {
			t.Fatalf("at %v of %v: %v, %v", theta, points, r, slope)
		}
		back, ok := m.Angle(r)
		again, ok2 := m.Radius(back)
		slopeBack, _ := m.Slope(back)
		if !ok || !ok2 || math.Abs(again-r) > 1e-15*(r+rEnd+float64(theta)*(slope+slopeBack)) {
			t.Errorf("at %v of %v: radius %v, angle %v, radius %v", theta, points, r, back, again)
		}
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
			if !errors.Is(err, projection.ErrInvalid) {
				t.Error(err)
			}
			return
		}
		if end := d.MaxRadius(); !(end > 0 && end <= 1e9) {
			t.Fatalf("ends at %v", end)
		}
		if a, b, ok := d.Undistort(x, y); ok {
			u, v, ok := d.Distort(a, b)
			if !ok || !(math.Hypot(u-x, v-y) <= 2e-12*max(1, math.Hypot(x, y))) {
				t.Errorf("(%v, %v) comes from (%v, %v), which goes to (%v, %v), %v", x, y, a, b, u, v, ok)
			}
		} else if a != 0 || b != 0 {
			t.Errorf("(%v, %v) comes from (%v, %v) without ok", x, y, a, b)
		}
		u, v, ok := d.Distort(x, y)
		ux, uy, vx, vy, ok2 := d.Jacobian(x, y)
		if ok != ok2 || ok != (math.Hypot(x, y) <= d.MaxRadius()) && math.Abs(math.Hypot(x, y)/d.MaxRadius()-1) > 1e-14 {
			t.Fatalf("(%v, %v) of %v: %v, %v", x, y, d.MaxRadius(), ok, ok2)
		}
		if !ok {
			return
		}
		if !finite(u, v, ux, uy, vx, vy) {
			t.Fatalf("(%v, %v): %v, %v, %v, %v, %v, %v", x, y, u, v, ux, uy, vx, vy)
		}
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
