package projection

import (
	"fmt"
	"math"

	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
)

// BrownConradySpec gives the coefficients of a BrownConrady, each within ±1e6 and 0
// if the calibration lacks it. OpenCV lists them in the order k1, k2, p1, p2, k3, k4,
// k5, k6, s1, s2, s3, s4: k3 comes after p2.
type BrownConradySpec struct {
	K1, K2, K3 float64 // radial
	K4, K5, K6 float64 // radial, of the denominator
	P1, P2     float64 // tangential
	S1, S2     float64 // thin prism, along x
	S3, S4     float64 // thin prism, along y
	MaxRadius  float64 // where the calibration ends, in focal lengths before the distortion; 0 leaves it to the coefficients
}

type brownConrady struct {
	BrownConradySpec
	max, max2 float64 // the largest radius, and its square with slack
	rational  bool    // a denominator
	prism     bool    // terms of a prism
}

// NewBrownConrady makes the Distortion of a lens that is nearly rectilinear: radial, as a
// polynomial or a ratio of polynomials; tangential, from decentred lens elements; and that
// of a thin prism. Use it with the Rectilinear Model. With r² = x² + y² and x, y before the
// distortion,
//
//	g = (1 + K1 r² + K2 r⁴ + K3 r⁶) / (1 + K4 r² + K5 r⁴ + K6 r⁶)
//	u = g x + 2 P1 x y + P2 (r² + 2x²) + S1 r² + S2 r⁴
//	v = g y + P1 (r² + 2y²) + 2 P2 x y + S3 r² + S4 r⁴
//
// Its domain is a disc, whose radius a method MaxRadius gives. It ends at the spec's
// MaxRadius, at the largest radius within which the distortion is proved to be one-to-one
// (for radial terms alone, where the image height stops growing), where the denominator
// falls to 1e-3, or at 1e9. Distort brings what Undistort gives back to within 1e-12 of u
// and v, or of 1 if they are smaller.
//
// The Distortion marshals to JSON as its spec, as it was given. A BrownConradySpec read
// from that JSON gives the same Distortion again.
func NewBrownConrady(spec BrownConradySpec) (BoundedDistortion, error) {
	v := valid.New("projection", ErrInvalid)
	for _, f := range []struct {
		name  string
		value float64
	}{
		{"k1", spec.K1}, {"k2", spec.K2}, {"k3", spec.K3}, {"k4", spec.K4}, {"k5", spec.K5}, {"k6", spec.K6},
		{"p1", spec.P1}, {"p2", spec.P2}, {"s1", spec.S1}, {"s2", spec.S2}, {"s3", spec.S3}, {"s4", spec.S4},
	} {
		v.Number(f.name, f.value, "", valid.Closed(-1e6, 1e6))
	}
	v.Number("largest radius", spec.MaxRadius, "", valid.Closed(0, farthestOut))
	if !v.OK() {
		return nil, v.Err()
	}
	d := &brownConrady{BrownConradySpec: spec}
	d.prism = spec.S1 != 0 || spec.S2 != 0 || spec.S3 != 0 || spec.S4 != 0
	d.rational = spec.K4 != 0 || spec.K5 != 0 || spec.K6 != 0
	d.max = min(d.oneToOne(), farthestOut)
	if spec.MaxRadius > 0 {
		d.max = min(d.max, spec.MaxRadius)
	}
	d.max2 = d.max * d.max * (1 + slack)
	return d, nil
}

// farthestOut, in focal lengths, ends distortions that do not end themselves: 1e-9 rad
// short of 90°.
const farthestOut = 1e9

// pole is the least denominator. Image heights grow without limit where it vanishes.
const pole = 1e-3

// oneToOne is the radius of a disc on which the symmetric part of the Jacobian
// is positive definite. Then no two points of the disc share an image, for the way
// from one image to the other leads less than 90° off the way between the points.
//
// The radial part has the eigenvalues g and d(rg)/dr. The tangential terms reduce
// them by at most 6r|P|, those of the prism by r|2S + 4S′r²|. All of it, times the
// denominator squared, is a polynomial in r.
func (d *brownConrady) oneToOne() float64 {
	numerator := []float64{1, 0, d.K1, 0, d.K2, 0, d.K3}
	denominator := []float64{1, 0, d.K4, 0, d.K5, 0, d.K6}
	taken := []float64{0, 6*math.Hypot(d.P1, d.P2) + 2*math.Hypot(d.S1, d.S3), 0, 4 * math.Hypot(d.S2, d.S4)}
	rest := polyTimes(-1, polyProduct(taken, polyProduct(denominator, denominator)))
	g := polyProduct(numerator, denominator)
	bend := polySum(polyProduct(polySlope(numerator), denominator), polyTimes(-1, polyProduct(numerator, polySlope(denominator))))
	return min(
		positiveUpTo(polySum(denominator, []float64{-pole})),
		positiveUpTo(polySum(g, rest)),
		positiveUpTo(polySum(polySum(g, polyProduct([]float64{0, 1}, bend)), rest)))
}

// Polynomials by their coefficients, from the constant on.

func polyProduct(a, b []float64) []float64 {
	c := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			c[i+j] += x * y
		}
	}
	return c
}

func polySum(a, b []float64) []float64 {
	if len(a) < len(b) {
		a, b = b, a
	}
	c := append([]float64(nil), a...)
	for i, y := range b {
		c[i] += y
	}
	return c
}

func polyTimes(k float64, a []float64) []float64 { return polyProduct([]float64{k}, a) }

func polySlope(a []float64) []float64 {
	c := make([]float64, len(a)-1)
	for i := range c {
		c[i] = float64(i+1) * a[i+1]
	}
	return c
}

// String gives the coefficients and the radius of the domain.
func (d *brownConrady) String() string {
	return fmt.Sprintf("BrownConrady%+v up to %.6g", d.BrownConradySpec, d.max)
}

// MaxRadius is the radius of the domain.
func (d *brownConrady) MaxRadius() float64 { return d.max }

func (d *brownConrady) Distort(x, y float64) (u, v float64, ok bool) {
	if !(x*x+y*y <= d.max2) {
		return 0, 0, false
	}
	u, v = d.at(x, y)
	return u, v, true
}

func (d *brownConrady) at(x, y float64) (u, v float64) {
	r2 := x*x + y*y
	g := 1 + r2*(d.K1+r2*(d.K2+r2*d.K3))
	if d.rational {
		g /= 1 + r2*(d.K4+r2*(d.K5+r2*d.K6))
	}
	xy := 2 * x * y
	u = g*x + d.P1*xy + d.P2*(r2+2*x*x) + r2*(d.S1+r2*d.S2)
	v = g*y + d.P2*xy + d.P1*(r2+2*y*y) + r2*(d.S3+r2*d.S4)
	return u, v
}

func (d *brownConrady) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	if !(x*x+y*y <= d.max2) {
		return 0, 0, 0, 0, false
	}
	ux, uy, vx, vy = d.jacobian(x, y)
	return ux, uy, vx, vy, true
}

func (d *brownConrady) jacobian(x, y float64) (ux, uy, vx, vy float64) {
	r2 := x*x + y*y
	g, bend := d.ratio(r2)
	bend *= 2 // by x, y of r²
	cross := bend*x*y + 2*(d.P1*x+d.P2*y)
	sx, sy := 2*(d.S1+2*r2*d.S2), 2*(d.S3+2*r2*d.S4)
	ux = g + bend*x*x + 2*d.P1*y + 6*d.P2*x + sx*x
	uy = cross + sx*y
	vx = cross + sy*x
	vy = g + bend*y*y + 6*d.P1*y + 2*d.P2*x + sy*y
	return ux, uy, vx, vy
}

// ratio is g and its derivative by r².
func (d *brownConrady) ratio(r2 float64) (g, bend float64) {
	n := 1 + r2*(d.K1+r2*(d.K2+r2*d.K3))
	m := 1 + r2*(d.K4+r2*(d.K5+r2*d.K6))
	g = n / m
	return g, (d.K1 + r2*(2*d.K2+r2*3*d.K3) - g*(d.K4+r2*(2*d.K5+r2*3*d.K6))) / m
}

// Undistort uses Newton's method in the plane, which suffices for most lenses. If it
// does not settle, it inverts the radial terms by Newton's method inside a bracket,
// then the others in the plane, accepting only steps that come closer.
func (d *brownConrady) Undistort(u, v float64) (x, y float64, ok bool) {
	rho := math.Sqrt(u*u + v*v)
	if !(rho <= math.MaxFloat64) {
		return 0, 0, false
	}
	if rho == 0 {
		return 0, 0, true
	}
	if x, y, ok := d.quick(u, v); ok {
		return x, y, true
	}
	r := d.radius(rho)
	x, y = d.polish(r*u/rho, r*v/rho, u, v)
	// At a fold a position is known to half the digits only.
	if r := math.Sqrt(x*x + y*y); r > d.max && r <= d.max*(1+1e-6) {
		x, y = x*(d.max/r), y*(d.max/r)
	}
	if a, b := d.at(x, y); !(x*x+y*y <= d.max2 && math.Abs(a-u)+math.Abs(b-v) <= 1e-12*max(1, rho)) {
		return 0, 0, false
	}
	return x, y, true
}

// radius is the inverse of the radial terms.
func (d *brownConrady) radius(rho float64) float64 {
	return root.Increasing(func(r float64) (float64, float64) {
		g, bend := d.ratio(r * r)
		return r * g, g + 2*r*r*bend
	}, rho, 0, d.max, min(rho, d.max/2)) // not at the end, where slopes may be extreme
}

// quick is Undistort if a few steps suffice. No two positions of the domain share an
// image, so a position found is the only one.
func (d *brownConrady) quick(u, v float64) (x, y float64, ok bool) {
	r2 := u*u + v*v
	g := 1 + r2*(d.K1+r2*(d.K2+r2*d.K3))
	m := 1 + r2*(d.K4+r2*(d.K5+r2*d.K6))
	if !(g > 0.1*m) {
		return 0, 0, false
	}
	x, y = u*m/g, v*m/g
	for range 8 {
		dx, dy := d.newton(x, y, u, v)
		x, y = x+dx, y+dy
		if dx*dx+dy*dy <= 1e-17*(x*x+y*y) { // and the next step its square
			return x, y, d.leads(x, y, u, v)
		}
	}
	return 0, 0, false
}

// leads reports whether (x, y) is in the domain and its image is (u, v), to rounding.
func (d *brownConrady) leads(x, y, u, v float64) bool {
	a, b := d.at(x, y)
	return x*x+y*y <= d.max2 && math.Abs(a-u)+math.Abs(b-v) <= 4e-15*max(1, math.Abs(u)+math.Abs(v))
}

// newton is the step of Newton's method from (x, y) to where the image is (u, v).
func (d *brownConrady) newton(x, y, u, v float64) (dx, dy float64) {
	r2 := x*x + y*y
	g := 1 + r2*(d.K1+r2*(d.K2+r2*d.K3))
	bend := d.K1 + r2*(2*d.K2+r2*3*d.K3)
	if d.rational {
		m := 1 / (1 + r2*(d.K4+r2*(d.K5+r2*d.K6)))
		g *= m
		bend = (bend - g*(d.K4+r2*(2*d.K5+r2*3*d.K6))) * m
	}
	bend *= 2
	along, cross := 2*(d.P1*y+d.P2*x), 2*(d.P1*x+d.P2*y)+bend*x*y
	du := u - (x*(g+along) + r2*d.P2)
	dv := v - (y*(g+along) + r2*d.P1)
	g += along
	ux, uy := g+bend*x*x+4*d.P2*x, cross
	vx, vy := cross, g+bend*y*y+4*d.P1*y
	if d.prism {
		du -= r2 * (d.S1 + r2*d.S2)
		dv -= r2 * (d.S3 + r2*d.S4)
		tx, ty := 2*(d.S1+2*r2*d.S2), 2*(d.S3+2*r2*d.S4)
		ux, uy = ux+tx*x, uy+tx*y
		vx, vy = vx+ty*x, vy+ty*y
	}
	det := 1 / (ux*vy - uy*vx)
	return (vy*du - uy*dv) * det, (ux*dv - vx*du) * det
}

// polish moves (x, y) to where its image is nearest to (u, v). On the way it may
// leave the domain by a little.
func (d *brownConrady) polish(x, y, u, v float64) (float64, float64) {
	a, b := d.at(x, y)
	left := (u-a)*(u-a) + (v-b)*(v-b)
	for range 60 {
		ux, uy, vx, vy := d.jacobian(x, y)
		det := ux*vy - uy*vx
		dx, dy := (vy*(u-a)-uy*(v-b))/det, (ux*(v-b)-vx*(u-a))/det
		// The step after this one would be lost in roundings.
		last := math.Abs(dx)+math.Abs(dy) <= 1e-9*(math.Abs(x)+math.Abs(y))
		for part := 1.0; ; part /= 2 {
			if part < 0x1p-30 {
				return x, y
			}
			nx, ny := x+part*dx, y+part*dy
			if !(nx*nx+ny*ny <= 1.1*d.max2) {
				continue
			}
			a, b = d.at(nx, ny)
			if l := (u-a)*(u-a) + (v-b)*(v-b); l < left || (last && l <= 4*left) {
				x, y, left = nx, ny, l
				break
			}
		}
		if last || left == 0 {
			break
		}
	}
	return x, y
}
