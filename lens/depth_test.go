package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

func TestHyperfocalWorkedExample(t *testing.T) {
	const c = 0.03 * mm
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 8})
	h, ok := l.Hyperfocal(c)
	if !ok {
		t.Fatal("no hyperfocal distance")
	}
	ref.Near(t, "L-H1", h/mm, 10467, "H")
	ref.Near(t, "L-H1", (h-50*mm)/mm, 10417, "H - f")
	d, ok := l.DepthOfField(h, c)
	if !ok || !math.IsInf(float64(d.Far), 1) {
		t.Errorf("focused at the hyperfocal distance the far limit is %v", d.Far)
	}
	ref.Near(t, "L-H1", d.Near/mm, 5233, "near limit, focused at H")
	ref.Near(t, "L-H1b", h/mm, 10466.6666667, "H")
	ref.Near(t, "L-H1b", d.Near/mm, 5233.33333333, "H/2")
	ref.Near(t, "L-H3", (h-10416.6666666667*mm)/mm, 50, "the two definitions lie one focal length apart")

	// Focused at H/2 the worked example gives H/3 to H, leaving out a focal length.
	d, ok = l.DepthOfField(h/2, c)
	if !ok {
		t.Fatal("no depth of field")
	}
	ref.Near(t, "L-H1c", d.Near/mm, 3489, "near limit, focused at H/2")
	ref.Near(t, "L-H1d", d.Far/mm, 10467, "far limit, focused at H/2")
	near.Rel(t, "far limit of the thin lens, focused at H/2", d.Far, h-50*mm, 1e-15, "H - f by algebra")
}

func TestHyperfocalInInches(t *testing.T) {
	// A course for photographers, in feet and inches, with H = f²/(N c).
	const inch, foot = 25.4 * mm, 304.8 * mm
	l := mustNew(t, lens.Spec{FocalLength: 2 * inch, FNumber: 8})
	h, _ := l.Hyperfocal(0.002 * inch)
	ref.Near(t, "L-H2", (h-2*inch)/foot, 20.8, "H")
	d, _ := l.DepthOfField(h-2*inch, 0.002*inch)
	ref.Near(t, "L-H2", d.Near/foot, 10.4, "near limit")
}

func TestDepthOfFieldTable(t *testing.T) {
	for _, r := range []struct {
		id                    string
		f, n, c, s, near, far float64 // mm
	}{
		{"L-H4", 50, 8, .03, 5000, 3389.37093275, 9527.43902439},
		{"L-H5", 50, 16, .03, 3000, 1915.21961185, 6918.81918819},
		{"L-H7", 24, 4, .025, 3000, 1978.02197802, 6206.89655172},
	} {
		c := unit.Length(r.c) * mm
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: r.n})
		d, ok := l.DepthOfField(unit.Length(r.s)*mm, c)
		if !ok {
			t.Fatal(r.id)
		}
		ref.Near(t, r.id, float64(d.Near/mm), r.near, "near")
		ref.Near(t, r.id, float64(d.Far/mm), r.far, "far")
		ref.Near(t, r.id, float64(d.Total/mm), r.far-r.near, "total")

		s, n, ok := l.FocusBetween(unit.Length(r.near)*mm, unit.Length(r.far)*mm, c)
		if !ok {
			t.Fatal(r.id)
		}
		ref.Near(t, "L-H4i", float64(s/mm), r.s, r.id, "focus")
		ref.Near(t, "L-H4i", n, r.n, r.id, "f-number")
	}
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 16})
	h, _ := l.Hyperfocal(.03 * mm)
	ref.Near(t, "L-H5", float64(h/mm), 5258.33333333, "H")
	l = mustNew(t, lens.Spec{FocalLength: 24 * mm, FNumber: 4})
	h, _ = l.Hyperfocal(.025 * mm)
	ref.Near(t, "L-H7", float64(h/mm), 5784, "H")
}

func TestDepthOfFieldApproximations(t *testing.T) {
	// near = H s/(H + s), far = H s/(H − s), total = 2 H s²/(H² − s²) for s much
	// longer than f: off by the order of f/s.
	l := mustNew(t, lens.Spec{FocalLength: 24 * mm, FNumber: 4})
	c := 0.025 * mm
	hl, _ := l.Hyperfocal(c)
	h := float64(hl)
	for _, s := range []float64{0.6, 1.2, 2, 3} {
		d, _ := l.DepthOfField(unit.Length(s), c)
		order := 0.024 / s
		ref.Within(t, "L-H9", math.Abs(float64(d.Near)/(h*s/(h+s))-1)/order, s, "near")
		ref.Within(t, "L-H9", math.Abs(float64(d.Far)/(h*s/(h-s))-1)/order, s, "far")
		ref.Within(t, "L-H9", math.Abs(float64(d.Total)/(2*h*s*s/(h*h-s*s))-1)/order, s, "total")
	}
}

func TestBlurThroughTheImages(t *testing.T) {
	// The cone from a pupil of 2.5 mm comes to a point 5.0505 mm behind the lens
	// and is cut 5.0050 mm behind it, the two textbook image distances.
	l := mustNew(t, lens.Spec{FocalLength: 5 * mm, FNumber: 2})
	b, ok := l.Blur(5000*mm, 500*mm)
	if !ok {
		t.Fatal("no blur")
	}
	const nearer, farther = 5.05050505051, 5.00500500501
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-farther)/nearer, "object nearer than the focus")
	b, _ = l.Blur(500*mm, 5000*mm)
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-farther)/farther, "object farther than the focus")
	b, _ = l.Blur(500*mm, unit.Length(inf))
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-5)/5, "object at infinity")
	b, _ = l.Blur(unit.Length(inf), 5000*mm)
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(farther-5)/farther, "focus at infinity")
}

func TestWorkingFNumberOfTextbookMagnifications(t *testing.T) {
	l := mustNew(t, lens.Spec{FocalLength: 10 * cm, FNumber: 4})
	for _, r := range []struct{ s, m float64 }{{50, -0.25}, {20, -1}, {inf, 0}} {
		n, ok := l.WorkingFNumber(unit.Length(r.s) * cm)
		if !ok {
			t.Fatal(r.s)
		}
		ref.Near(t, "L-N1", n, 4*(1+math.Abs(r.m)), r.s, "cm")
	}
}

func TestCircleOfConfusionOfAnEye(t *testing.T) {
	// 550 nm and a pupil of 3.00 mm: 2.24e-4 rad, which is 0.179 mm at 0.800 m
	// and 1.30 m at 5.81 km.
	c, err := lens.CircleOfConfusion(2.24e-4, 0.800, 1)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-D2c", float64(c/mm), 0.179)
	wide, _ := lens.CircleOfConfusion(2.24e-4, 5810, 1000)
	ref.Near(t, "L-D2w", float64(wide*1000), 1.30)
	// A plate 24 mm wide shown 12 m wide is enlarged 500 times.
	if got, _ := lens.CircleOfConfusion(2.24e-4, 0.800, 500); math.Abs(float64(got/c)*500-1) > 1e-15 {
		t.Errorf("enlarged 500 times: %v, want a 500th of %v", got, c)
	}
}

// TestDepthOfFieldIsWhereTheBlurIsAllowed ties depth of field to blur.
func TestDepthOfFieldIsWhereTheBlurIsAllowed(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for range 2000 {
		f := 0.004 * math.Exp(4*rng.Float64())
		n := math.Exp2(rng.Float64() * 4)
		c := math.Exp(-13 + 3*rng.Float64())
		s := f * (1.01 + math.Exp(8*rng.Float64()-2))
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(f), FNumber: n})
		d, ok := l.DepthOfField(unit.Length(s), unit.Length(c))
		if !ok {
			t.Fatalf("f %v, N %v, c %v, s %v", f, n, c, s)
		}
		if !(float64(d.Near) > f && d.Near <= unit.Length(s) && unit.Length(s) <= d.Far) {
			t.Errorf("f %v, s %v: %+v", f, s, d)
		}
		// 1/near − 1/s is the small difference of two: its digits are lost.
		lost := 1e-15 * (1 + float64(d.Near)/(s-float64(d.Near)))
		b, _ := l.Blur(unit.Length(s), d.Near)
		near.Rel(t, "blur at the near limit", float64(b), c, lost, "rounding of the limit")
		h, _ := l.Hyperfocal(unit.Length(c))
		if (s >= float64(h)) != math.IsInf(float64(d.Far), 1) {
			t.Errorf("f %v, s %v, H %v: far %v", f, s, h, d.Far)
		}
		if at, _ := l.DepthOfField(h, unit.Length(c)); !math.IsInf(float64(at.Far), 1) {
			t.Errorf("f %v, N %v, c %v: focused at the hyperfocal distance the far limit is %v", f, n, c, at.Far)
		}
		if math.IsInf(float64(d.Far), 1) {
			b, _ = l.Blur(unit.Length(s), d.Far)
			if float64(b) > c*(1+1e-12) {
				t.Errorf("infinity counts as sharp, but blurs to %v of %v", b, c)
			}
			continue
		}
		b, _ = l.Blur(unit.Length(s), d.Far)
		lost = 1e-15 * (2 + s/(float64(d.Far)-s) + float64(d.Far)/s)
		near.Rel(t, "blur at the far limit", float64(b), c, lost, "rounding of the limit")
		near.Rel(t, "total", d.Total, d.Far-d.Near, 4*lost+1e-15*float64(d.Far/d.Total), "rounding of the limits")

		s2, n2, ok := l.FocusBetween(d.Near, d.Far, unit.Length(c))
		if !ok {
			t.Fatal("no focus between the limits")
		}
		near.Rel(t, "focus", float64(s2), s, 4*lost, "as the limits")
		near.Rel(t, "f-number", n2, n, 8*lost+1e-15*f/(s-f), "as the limits, and the focus from the focal length")
	}
}

func TestDepthOfFieldEnds(t *testing.T) {
	far := unit.Length(inf)
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 8})
	c := 0.03 * mm
	h, _ := l.Hyperfocal(c)
	d, ok := l.DepthOfField(far, c)
	if !ok || !math.IsInf(float64(d.Far), 1) || !math.IsInf(float64(d.Total), 1) {
		t.Errorf("focused at infinity: %+v, %v", d, ok)
	}
	near.Rel(t, "near limit, focused at infinity", d.Near, h-50*mm, 1e-15, "a few roundings")
	if b, ok := l.Blur(far, far); !ok || b != 0 {
		t.Errorf("infinity is blurred by %v", b)
	}
	if b, ok := l.Blur(3, 3); !ok || b != 0 {
		t.Errorf("the focus is blurred by %v", b)
	}
	s, n, ok := l.FocusBetween(h/2, far, c)
	if !ok {
		t.Fatal("no focus to infinity")
	}
	near.Rel(t, "focus to infinity", s, h, 1e-15, "one rounding of twice the near limit")
	near.Rel(t, "its f-number", n, 8, 4e-15, "a few roundings")
	// Very shallow: the total keeps its digits, the difference would not. By
	// hand: 2 N c (s − f) s/f² for a confusion of 1e-12 mm, to first order.
	shallow, _ := l.DepthOfField(5*unit.Metre, 1e-12*mm)
	near.Rel(t, "shallow total", float64(shallow.Total), 2*8*1e-15*4.95*5/0.0025, 1e-12, "first order in the confusion")

	for _, r := range []struct{ s, c unit.Length }{
		{50 * mm, c}, {49 * mm, c}, {0, c}, {-3, c}, {-far, c}, {unit.Length(nan), c},
		{3, 0}, {3, -c}, {3, unit.Length(nan)}, {3, far},
		{3, 0.03}, // millimetres taken for metres: wider than the pupil
	} {
		if d, ok := l.DepthOfField(r.s, r.c); ok {
			t.Errorf("focus %v, confusion %v: %+v", r.s, r.c, d)
		}
	}
	for _, r := range []struct{ near, far unit.Length }{{2, 2}, {3, 2}, {50 * mm, 2}, {0, 2}, {-1, 2}, {far, far}, {2, unit.Length(nan)}} {
		if s, n, ok := l.FocusBetween(r.near, r.far, c); ok {
			t.Errorf("between %v and %v: focus %v, f/%v", r.near, r.far, s, n)
		}
	}
}

func FuzzDepthOfField(f *testing.F) {
	f.Add(0.05, 8.0, 5.0, 3e-5)
	f.Add(0.05, 8.0, 0.05, 3e-5)
	f.Add(0.004, 2.0, math.Inf(1), 2e-6)
	f.Fuzz(func(t *testing.T, focal, n, s, c float64) {
		l, err := lens.New(lens.Spec{FocalLength: unit.Length(focal), FNumber: n})
		if err != nil {
			return
		}
		d, ok := l.DepthOfField(unit.Length(s), unit.Length(c))
		if !ok {
			return
		}
		if !(float64(d.Near) >= focal && float64(d.Near) <= s && s <= float64(d.Far) && d.Total >= 0) {
			t.Fatalf("f %v, N %v, s %v, c %v: %+v", focal, n, s, c, d)
		}
		if !(float64(d.Near) < 0.999*s && float64(d.Near) > 1.001*focal && s < 1e6) {
			return
		}
		s2, _, ok := l.FocusBetween(d.Near, d.Far, unit.Length(c))
		if !ok {
			t.Fatalf("no focus between %v and %v", d.Near, d.Far)
		}
		if !math.IsInf(float64(d.Far), 1) {
			near.Rel(t, "focus", float64(s2), s, 1e-11, "rounding of the limits")
		}
	})
}
