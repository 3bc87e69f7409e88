package projection

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// OddPolynomialSpec gives the coefficients of odd powers of the field angle in
// radians, for an image height in focal lengths.
type OddPolynomialSpec struct {
	Coefficients []float64  // of θ, θ³, θ⁵ …: 1 to 16, the first 1e-6 to 1e6, the others within ±1e9
	MaxAngle     unit.Angle // where the measurement ends, 0 to 180°; 0 leaves it to the polynomial
}

type oddPolynomial struct {
	n        int         // coefficients given
	c, d     [16]float64 // those of r/θ and of dr/dθ in powers of θ², then 0
	rMax     float64
	thetaMax float64

	// start holds cubics for θ on equal steps of u, where r = top·(1 − (1 − u)²).
	// As a function of u, θ stays smooth at the end, where r stops growing.
	start       [starts][4]float64
	top, perTop float64
	small       float64 // an error of the cubics that one step of Newton's makes good
}

const starts = 128

// NewOddPolynomial makes the Model of a lens measured as an odd polynomial in the field
// angle, r = c₁θ + c₂θ³ + c₃θ⁵ + …. Two notations number the coefficients differently:
//
//	k₁ … k₅ of Kannala and Brandt    Coefficients: k₁, k₂, k₃, k₄, k₅
//	θ(1 + k₁θ² + k₂θ⁴ + k₃θ⁶ + k₄θ⁸) Coefficients: 1, k₁, k₂, k₃, k₄
//
// The first has a free scale: if its r is in millimetres or pixels, the Camera's focal
// length is 1 mm or 1 px. The Model ends, inclusively, where the radius first stops
// growing, which is proved and not sampled, at 180°, or at the spec's MaxAngle. The error
// of Angle is at most 1e-15 rad and a few roundings of the radius divided by the slope: at
// a stop of the radius, 2e-8 rad.
//
// The Model marshals to JSON as its spec, with the MaxAngle in effect. An OddPolynomialSpec
// read from that JSON gives the same Model again.
func NewOddPolynomial(spec OddPolynomialSpec) (Bounded, error) {
	v := valid.New("projection", ErrInvalid)
	n := len(spec.Coefficients)
	v.Int("number of coefficients", n, "", 1, len(oddPolynomial{}.c))
	for i, c := range spec.Coefficients {
		field := fmt.Sprintf("coefficient of θ^%d", 2*i+1)
		if i == 0 {
			v.Number(field, c, "", valid.Closed(1e-6, 1e6))
		} else {
			v.Number(field, c, "", valid.Closed(-1e9, 1e9))
		}
	}
	v.Angle("largest angle", spec.MaxAngle, valid.Closed[unit.Angle](0, math.Pi))
	if !v.OK() {
		return nil, v.Err()
	}
	p := &oddPolynomial{n: n}
	for i, c := range spec.Coefficients {
		p.c[i], p.d[i] = c, float64(2*i+1)*c
	}
	// The slope is a polynomial in θ².
	end := min(math.Sqrt(positiveUpTo(p.d[:])), math.Pi)
	p.top, _ = p.at(end)
	p.perTop, p.small = 1/p.top, 0x1p-30*end
	p.fillStarts(end)
	p.thetaMax, p.rMax = end, p.top
	if m := float64(spec.MaxAngle); m > 0 && m < end {
		p.thetaMax = m
		p.rMax, _ = p.at(m)
	}
	return p, nil
}

// fillStarts lays a cubic through four angles of each step up to the end.
func (p *oddPolynomial) fillStarts(end float64) {
	theta := 0.0
	at := func(i int) float64 { // the angle at u = i/(3·starts), i growing
		w := 1 - float64(i)/(3*starts)
		theta = root.Increasing(p.at, p.top*(1-w)*(1+w), theta, end, min(theta+end/(3*starts), end))
		return theta
	}
	for i := range p.start {
		y0 := theta
		y1, y2, y3 := at(3*i+1), at(3*i+2), at(3*i+3)
		p.start[i] = [4]float64{
			y0,
			(18*y1 - 11*y0 - 9*y2 + 2*y3) / 2,
			(18*y0 - 45*y1 + 36*y2 - 9*y3) / 2,
			(27*y1 - 9*y0 - 27*y2 + 9*y3) / 2,
		}
	}
}

// at is the radius and the slope at any angle.
func (p *oddPolynomial) at(theta float64) (r, slope float64) {
	x := theta * theta
	c, d := &p.c, &p.d
	for i := p.n - 1; i >= 5; i-- {
		r = r*x + c[i]
		slope = slope*x + d[i]
	}
	r = ((((r*x+c[4])*x+c[3])*x+c[2])*x+c[1])*x + c[0]
	slope = ((((slope*x+d[4])*x+d[3])*x+d[2])*x+d[1])*x + d[0]
	return r * theta, slope
}

// angle is the inverse of the radius. One step of Newton's method from the cubic
// squares its error. More are taken only if that step shows that the cubic was poor.
func (p *oddPolynomial) angle(r float64) (theta float64, ok bool) {
	if !(r >= 0 && r <= p.rMax) {
		return 0, false
	}
	t := r * p.perTop
	if t > 1 {
		t = 1
	}
	u := starts * t / (1 + math.Sqrt(1-t))
	i := int(u)
	if i >= starts {
		i = starts - 1
	}
	s := u - float64(i)
	c := &p.start[i]
	theta = c[0] + s*(c[1]+s*(c[2]+s*c[3]))
	y, slope := p.at(theta)
	if step := (y - r) / slope; math.Abs(step) <= p.small {
		theta -= step
		if theta > p.thetaMax {
			theta = p.thetaMax
		}
		return theta, true
	}
	return root.Increasing(p.at, r, 0, p.thetaMax, min(max(theta, 0), p.thetaMax)), true
}

func (p *oddPolynomial) MaxAngle() unit.Angle { return unit.Angle(p.thetaMax) }

func (p *oddPolynomial) Radius(theta unit.Angle) (r float64, ok bool) {
	if !(theta >= 0 && float64(theta) <= p.thetaMax) {
		return 0, false
	}
	r, _ = p.at(float64(theta))
	return min(r, p.rMax), true
}

func (p *oddPolynomial) Angle(r float64) (theta unit.Angle, ok bool) {
	t, ok := p.angle(r)
	return unit.Angle(t), ok
}

func (p *oddPolynomial) Slope(theta unit.Angle) (slope float64, ok bool) {
	if !(theta >= 0 && float64(theta) <= p.thetaMax) {
		return 0, false
	}
	_, slope = p.at(float64(theta))
	return max(slope, 0), true
}

// String gives the polynomial in full, like "r = 1·θ − 0.02·θ^3, θ ≤ 93°".
func (p *oddPolynomial) String() string {
	var b strings.Builder
	b.WriteString("r =")
	for i, c := range p.c[:p.n] {
		sign := " + "
		switch {
		case c < 0:
			sign = " − "
		case i == 0:
			sign = " "
		}
		fmt.Fprintf(&b, "%s%v·θ", sign, math.Abs(c))
		if i > 0 {
			fmt.Fprintf(&b, "^%d", 2*i+1)
		}
	}
	fmt.Fprintf(&b, ", θ ≤ %s", quantity.Angle(p.MaxAngle()))
	return b.String()
}

// Bounds gives the extreme Bernstein coefficients, between which a polynomial lies:
// of the slope as a polynomial in θ², and of
//
//	r″ = θ·(2·3c₂ + 4·5c₃θ² + …)
func (p *oddPolynomial) Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64) {
	if !within(p, lo, hi) {
		return unbounded()
	}
	d := p.d[:p.n]
	from, to := float64(lo), float64(hi)
	slope, _ = polynomialRange(d, from*from, to*to)
	bend := make([]float64, max(1, len(d)-1))
	for i := 1; i < len(d); i++ {
		bend[i-1] = 2 * float64(i) * d[i]
	}
	low, high := polynomialRange(bend, from*from, to*to)
	return max(slope, 0), min(low*from, low*to), max(high*from, high*to)
}

// MarshalJSON writes the spec, with the MaxAngle in effect.
func (p *oddPolynomial) MarshalJSON() ([]byte, error) {
	return json.Marshal(OddPolynomialSpec{p.c[:p.n], p.MaxAngle()})
}
