package projection

import "math"

// BoundedDistortion is a Distortion that bounds its derivatives. Package rig then
// proves its results. For any other Distortion it samples the derivatives.
type BoundedDistortion interface {
	Distortion
	// Bounds gives an upper bound of the first derivative and one of the second,
	// at all positions from lo to hi away from the origin, as operator norms: Distort
	// moves by at most slope times the way of its argument, and its Jacobian changes
	// by at most bend times that way. Outside the domain both are +Inf.
	Bounds(lo, hi float64) (slope, bend float64)
}

// Bounds bounds the first and the second derivative of Distort, as a
// BoundedDistortion does. With ′ the derivative by r², the radial part has the
// first derivatives
//
//	g across the radius    g + 2r²g′ along it
//
// and the second derivatives a = 6rg′ + 4r³g″ and b = 2rg′, whose norm is at most
// |a + b|/2 + max(|a − b|/2, |b|). The tangential terms add at most 6r|P| and
// 6|P|, those of the prism 2r|S| + 4r³|S′| and 2|S| + 12r²|S′|, for P = (P1, P2),
// S = (S1, S3) and S′ = (S2, S4).
//
// The ratio g and its derivatives are evaluated in interval arithmetic, so a narrow
// annulus has tight bounds. lo below 0, hi below lo or beyond MaxRadius and NaN give
// +Inf.
func (d *brownConrady) Bounds(lo, hi float64) (slope, bend float64) {
	if !(lo >= 0 && lo <= hi && hi*hi <= d.max2) {
		return math.Inf(1), math.Inf(1)
	}
	r, r2 := span{lo, hi}, span{lo * lo, hi * hi}
	n, n1, n2 := cubicIn(r2, d.K1, d.K2, d.K3)
	m, m1, m2 := cubicIn(r2, d.K4, d.K5, d.K6)
	if !(m.lo > 0) {
		return math.Inf(1), math.Inf(1)
	}
	g := n.over(m)
	g1 := n1.minus(g.times(m1)).over(m)
	g2 := n2.minus(g1.times(m1).scale(2)).minus(g.times(m2)).over(m)

	p := math.Hypot(d.P1, d.P2)
	s, s2 := math.Hypot(d.S1, d.S3), math.Hypot(d.S2, d.S4)
	along := g.plus(r2.times(g1).scale(2))
	slope = max(g.size(), along.size()) + hi*(6*p+2*s+4*hi*hi*s2)

	h := r.times(g1).scale(2)                            // b
	a := h.scale(3).plus(r.times(r2).times(g2).scale(4)) // a
	bend = a.plus(h).size()/2 + max(a.minus(h).size()/2, h.size()) + 6*p + 2*s + 12*hi*hi*s2
	if math.IsNaN(slope) || math.IsNaN(bend) {
		return math.Inf(1), math.Inf(1)
	}
	const spare = 1 + 1e-12 // rounding is less
	return slope * spare, bend * spare
}

// cubicIn is 1 + k1 x + k2 x² + k3 x³ and its first two derivatives for all x of a
// span from 0 on.
func cubicIn(x span, k1, k2, k3 float64) (p, p1, p2 span) {
	at := func(k float64) span { return span{k, k} }
	p = at(1).plus(x.times(at(k1).plus(x.times(at(k2).plus(x.scale(k3))))))
	p1 = at(k1).plus(x.times(at(2 * k2).plus(x.scale(3 * k3))))
	p2 = at(2 * k2).plus(x.scale(6 * k3))
	return p, p1, p2
}

// span is an interval of numbers.
type span struct{ lo, hi float64 }

func (s span) plus(t span) span  { return span{s.lo + t.lo, s.hi + t.hi} }
func (s span) minus(t span) span { return span{s.lo - t.hi, s.hi - t.lo} }
func (s span) size() float64     { return max(math.Abs(s.lo), math.Abs(s.hi)) }

func (s span) scale(k float64) span {
	return span{min(k*s.lo, k*s.hi), max(k*s.lo, k*s.hi)}
}

func (s span) times(t span) span {
	a, b, c, d := s.lo*t.lo, s.lo*t.hi, s.hi*t.lo, s.hi*t.hi
	return span{min(a, b, c, d), max(a, b, c, d)}
}

// over is s/t for a positive t.
func (s span) over(t span) span { return s.times(span{1 / t.hi, 1 / t.lo}) }
