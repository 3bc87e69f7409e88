package lens_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
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

// cone is the width in mm of the cone of light of an object at d, where the
// sensor of a lens focused at s cuts it: the cone stands on the pupil, f/n wide,
// and its tip is where refraction brings the rays together.
func cone(f, n, s, d float64) float64 {
	tip := float64(refracted(unit.Length(f), unit.Length(d)))
	sensor := float64(refracted(unit.Length(f), unit.Length(s)))
	return f / n * math.Abs(tip-sensor) / tip
}

// crossing is where a function that has one sign at lo and another at hi
// changes it.
func crossing(lo, hi float64, f func(float64) float64) float64 {
	below := f(lo) < 0
	for range 200 {
		if mid := lo + (hi-lo)/2; (f(mid) < 0) == below {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

func TestDepthOfFieldByTracingCones(t *testing.T) {
	for _, r := range []struct{ f, n, c, s float64 }{ // mm
		{50, 8, .03, 5000}, {50, 16, .03, 3000}, {24, 4, .025, 3000}, {12, 2.8, .006, 2000}, {100, 5.6, .03, 300},
	} {
		blur := func(d float64) float64 { return cone(r.f, r.n, r.s, d) - r.c }
		nearest, farthest := crossing(1.01*r.f, r.s, blur), crossing(r.s, 1e8, blur)
		// At the hyperfocal distance infinity, here 1e13 mm, is just sharp.
		hyperfocal := crossing(1.01*r.f, 1e8, func(s float64) float64 { return cone(r.f, r.n, s, 1e13) - r.c })

		c := unit.Length(r.c) * mm
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: r.n})
		d, ok := l.DepthOfField(unit.Length(r.s)*mm, c)
		h, okH := l.Hyperfocal(c)
		if !ok || !okH {
			t.Fatal(r)
		}
		ref.Near(t, "L-H4", float64(d.Near/mm), nearest, r, "near")
		ref.Near(t, "L-H4", float64(d.Far/mm), farthest, r, "far")
		ref.Near(t, "L-H4t", float64(d.Total/mm), farthest-nearest, r, "total")
		ref.Near(t, "L-H4", float64(h/mm), hyperfocal, r, "H")

		s, n, ok := l.FocusBetween(unit.Length(nearest)*mm, unit.Length(farthest)*mm, c)
		if !ok {
			t.Fatal(r)
		}
		ref.Near(t, "L-H4", float64(s/mm), r.s, r, "focus")
		ref.Near(t, "L-H4t", n, r.n, r, "f-number")
	}
}

// TestOneLensWrittenInTwoScales holds a lens whose projection carries the focal
// length, as a polynomial may that was fitted in millimetres, against the same
// lens written the plain way.
func TestOneLensWrittenInTwoScales(t *testing.T) {
	plain := mustNew(t, lens.Spec{FocalLength: 12 * mm, FNumber: 5.6, Projection: equidistant, ImageCircle: 30 * mm})
	for _, by := range []float64{12, 0.012, 1e-9, 1e9} {
		other := mustNew(t, lens.Spec{
			FocalLength: 12 * mm / unit.Length(by), FNumber: 5.6, Projection: scaled{equidistant, by}, ImageCircle: 30 * mm,
		})
		for i, ask := range []func(lens.Lens) (float64, bool){
			func(l lens.Lens) (float64, bool) { h, ok := l.Hyperfocal(3 * um); return float64(h), ok },
			func(l lens.Lens) (float64, bool) { d, ok := l.DepthOfField(2, 3*um); return float64(d.Near), ok },
			func(l lens.Lens) (float64, bool) { d, ok := l.DepthOfField(2, 3*um); return float64(d.Far), ok },
			func(l lens.Lens) (float64, bool) { d, ok := l.DepthOfField(2, 3*um); return float64(d.Total), ok },
			func(l lens.Lens) (float64, bool) { s, _, ok := l.FocusBetween(1, 3, 3*um); return float64(s), ok },
			func(l lens.Lens) (float64, bool) { _, n, ok := l.FocusBetween(1, 3, 3*um); return n, ok },
			func(l lens.Lens) (float64, bool) { b, ok := l.Blur(2, 1); return float64(b), ok },
			func(l lens.Lens) (float64, bool) { return l.WorkingFNumber(0.1) },
			func(l lens.Lens) (float64, bool) { return l.OTF(80, 0.55*um, 2, 3) },
			func(l lens.Lens) (float64, bool) { c, ok := l.ImageCircle(); return float64(c), ok },
			func(l lens.Lens) (float64, bool) { a, ok := l.AngleOfView(24 * mm); return float64(a), ok },
			func(l lens.Lens) (float64, bool) { return float64(l.MaxAngle()), true },
			func(l lens.Lens) (float64, bool) { return l.FalloffStops(1) },
			func(l lens.Lens) (float64, bool) {
				c, ok := l.Coverage(lens.Format{Width: 36 * mm, Height: 24 * mm})
				return c.Area, ok
			},
		} {
			want, ok := ask(plain)
			got, okOther := ask(other)
			if !ok || !okOther {
				t.Fatalf("question %d, scale %v: %v, %v", i, by, ok, okOther)
			}
			near.Rel(t, fmt.Sprintf("question %d, scale %v", i, by), got, want, 1e-13, "a few roundings")
		}
		f, err := lens.FocalLengthForView(scaled{equidistant, by}, 24*mm, 2)
		if err != nil {
			t.Fatal(err)
		}
		near.Rel(t, "scale for a view", f*unit.Length(by), 12*mm, 1e-15, "a few roundings")
	}
	// The focal length as the image shows it: a small angle from the axis over
	// the height at which it is drawn.
	l := mustNew(t, lens.Spec{FocalLength: 1 * mm, FNumber: 5.6, Projection: scaled{equisolid, 12}})
	view, _ := l.AngleOfView(2 * um)
	f := 2 * 1e-3 / float64(view) // mm
	h, _ := l.Hyperfocal(3 * um)
	ref.Near(t, "L-H4s", float64(h/mm), crossing(13, 1e6, func(s float64) float64 { return cone(f, 5.6, s, 1e13) - .003 }))
}

// TestBlurOfAFisheyeGoesByTheRay follows the rays from a point through two
// opposite ends of a pupil that turns to face it, into an equidistant lens
// focused far away: each is drawn at the angle at which it comes.
func TestBlurOfAFisheyeGoesByTheRay(t *testing.T) {
	const f, n, distance = 8e-3, 2.8, 0.75
	l := mustNew(t, lens.Spec{FocalLength: f, FNumber: n, Projection: equidistant})
	want, ok := l.Blur(unit.Length(inf), distance)
	if !ok {
		t.Fatal("no blur")
	}
	for _, deg := range []float64{0, 30, 60, 85, 95, 110} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		angle := func(end float64) float64 {
			across, along := distance*sin-end*cos, distance*cos+end*sin
			return math.Atan2(across, along)
		}
		blur := f * (angle(-f/n/2) - angle(f/n/2))
		ref.Near(t, "L-B2", math.Abs(blur)*1e3, float64(want/mm), deg, "degrees")
	}
}

// TestBlurOfARectilinearLensGoesByDepth follows the rays from a point beside
// the axis to its image, through which all of them go, and on to the sensor.
func TestBlurOfARectilinearLensGoesByDepth(t *testing.T) {
	const f, n, focus, depth = 35.0, 2.8, 3000.0, 1500.0 // mm
	l := mustNew(t, lens.Spec{FocalLength: f * mm, FNumber: n})
	got, ok := l.Blur(focus*mm, depth*mm)
	if !ok {
		t.Fatal("no blur")
	}
	image, sensor := float64(refracted(f, depth)), float64(refracted(f, focus))
	for _, deg := range []float64{0, 20, 40, 60} {
		// The ray through the middle of the lens is not bent.
		height := -image * math.Tan(deg*math.Pi/180)
		lands := func(at float64) float64 { return at + (height-at)*sensor/image }
		ref.Near(t, "L-B1", float64(got/mm), math.Abs(lands(f/n/2)-lands(-f/n/2)), deg, "degrees")
	}
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
	// The cone from a pupil of 2.5 mm comes to a point about 5.0505 mm behind the
	// lens and is cut about 5.0050 mm behind it.
	l := mustNew(t, lens.Spec{FocalLength: 5 * mm, FNumber: 2})
	b, ok := l.Blur(5000*mm, 500*mm)
	if !ok {
		t.Fatal("no blur")
	}
	nearer, farther := float64(refracted(5, 500)), float64(refracted(5, 5000))
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-farther)/nearer, "object nearer than the focus")
	b, _ = l.Blur(500*mm, 5000*mm)
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-farther)/farther, "object farther than the focus")
	b, _ = l.Blur(500*mm, unit.Length(inf))
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(nearer-5)/5, "object at infinity")
	b, _ = l.Blur(unit.Length(inf), 5000*mm)
	ref.Near(t, "L-B1", float64(b/mm), 2.5*(farther-5)/farther, "focus at infinity")
}

func TestWorkingFNumberIsThatOfTheCone(t *testing.T) {
	// The cone is as long as the image is far, and as wide as the pupil.
	l := mustNew(t, lens.Spec{FocalLength: 10 * cm, FNumber: 4})
	for _, s := range []unit.Length{50, 20, 11, 1e12} {
		n, ok := l.WorkingFNumber(s * cm)
		if !ok {
			t.Fatal(s)
		}
		ref.Near(t, "L-N1", n, float64(refracted(10, s))/(10./4), float64(s), "cm")
	}
}

func TestDepthOfFieldMarshals(t *testing.T) {
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 8})
	for _, r := range []struct {
		focus unit.Length
		want  string
	}{{unit.Length(inf), `"Far":null,"Total":null`}, {5, `"Far":9.527`}} {
		d, ok := l.DepthOfField(r.focus, 0.03*mm)
		if !ok {
			t.Fatal(r.focus)
		}
		text, err := json.Marshal(map[string]any{"sharp": d})
		if err != nil || !strings.Contains(string(text), r.want) {
			t.Fatalf("%s, %v: want %s", text, err, r.want)
		}
		var back struct{ Sharp lens.DepthOfField }
		if err := json.Unmarshal(text, &back); err != nil || back.Sharp != d {
			t.Errorf("%+v, %v: want %+v", back.Sharp, err, d)
		}
	}
	var d lens.DepthOfField
	if err := json.Unmarshal([]byte(`{"Near": "1 m"}`), &d); err == nil {
		t.Errorf("read %+v out of a text", d)
	}
}

func TestFNumbersAndConfusionsAtTheirEnds(t *testing.T) {
	// A pupil of 2^-5 m: a circle of confusion as wide calls everything sharp.
	l := mustNew(t, lens.Spec{FocalLength: 0.0625, FNumber: 2})
	if h, ok := l.Hyperfocal(0.03125); ok {
		t.Errorf("a circle as wide as the pupil: %v", h)
	}
	if _, ok := l.Hyperfocal(0.03125 * (1 - 0x1p-53)); !ok {
		t.Error("a circle just narrower than the pupil: no answer")
	}
	// An aperture wider than the focal length.
	for _, n := range []float64{0.5, 0.8, 1} {
		l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: n})
		d, ok := l.DepthOfField(3, 0.03*mm)
		_, got, okN := l.FocusBetween(d.Near, d.Far, 0.03*mm)
		if !ok || !okN {
			t.Errorf("f/%v: %v, %v", n, ok, okN)
		}
		near.Rel(t, "f-number", got, n, 1e-12, "the limits lie 1 to 2 % apart, each with an ulp or two")
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
