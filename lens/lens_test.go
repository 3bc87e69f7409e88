package lens_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

const (
	mm = unit.Milli * unit.Metre
	um = unit.Micro * unit.Metre
)

var (
	inf = math.Inf(1)
	nan = math.NaN()
)

// closed is a projection in closed form, for tests.
type closed struct {
	name                 string
	radius, slope, angle func(float64) float64
	max, rmax            float64
	open                 bool // max itself is not reached
}

func (c closed) Radius(theta unit.Angle) (float64, bool) {
	t := float64(theta)
	if !(t >= 0 && t <= c.max) || (c.open && t == c.max) {
		return 0, false
	}
	return c.radius(t), true
}

func (c closed) Angle(r float64) (unit.Angle, bool) {
	if !(r >= 0 && r <= c.rmax) || math.IsInf(r, 1) {
		return 0, false
	}
	return unit.Angle(c.angle(r)), true
}

func (c closed) Slope(theta unit.Angle) (float64, bool) {
	if _, ok := c.Radius(theta); !ok {
		return 0, false
	}
	return c.slope(float64(theta)), true
}

func (c closed) MaxAngle() unit.Angle { return unit.Angle(c.max) }

var (
	stereographic = closed{"stereographic",
		func(t float64) float64 { return 2 * math.Tan(t/2) },
		func(t float64) float64 { return 1 / (math.Cos(t/2) * math.Cos(t/2)) },
		func(r float64) float64 { return 2 * math.Atan(r/2) },
		math.Pi, inf, true}
	equidistant = closed{"equidistant",
		func(t float64) float64 { return t },
		func(float64) float64 { return 1 },
		func(r float64) float64 { return r },
		math.Pi, math.Pi, false}
	equisolid = closed{"equisolid",
		func(t float64) float64 { return 2 * math.Sin(t/2) },
		func(t float64) float64 { return math.Cos(t / 2) },
		func(r float64) float64 { return 2 * math.Asin(r/2) },
		math.Pi, 2, false}
	orthographic = closed{"orthographic", math.Sin, math.Cos, math.Asin, math.Pi / 2, 1, false}
)

// projections is every closed form; nil is the rectilinear one.
var projections = []struct {
	name string
	p    lens.Projection
}{
	{"rectilinear", nil}, {"stereographic", stereographic}, {"equidistant", equidistant},
	{"equisolid", equisolid}, {"orthographic", orthographic},
}

func mustNew(t testing.TB, spec lens.Spec) lens.Lens {
	t.Helper()
	l, err := lens.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// circle is the image circle of a lens that has one.
func circle(t testing.TB, l lens.Lens) unit.Length {
	t.Helper()
	d, ok := l.ImageCircle()
	if !ok {
		t.Fatal("no image circle")
	}
	return d
}

func TestImageCircleOfSnydersExamples(t *testing.T) {
	// A radius of 3 and a point 153.67 degrees from the centre of the map: the
	// azimuthal equidistant map is the equidistant lens, Lambert's the equisolid.
	const c = 153.6733925 * lens.Degree
	l := mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Projection: equidistant, MaxAngle: c})
	ref.Near(t, "L-S3", float64(circle(t, l)/mm)/2, 8.0463200, "radius")
	l = mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Projection: equisolid, MaxAngle: c})
	ref.Near(t, "L-S3", float64(circle(t, l)/mm)/2, 5.8423497, "radius, equal area")

	l = mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Projection: equidistant, ImageCircle: 2 * 8.0463200 * mm})
	ref.Near(t, "L-S3a", float64(l.MaxAngle()/lens.Degree), 153.6733925, "angle")
	l = mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Projection: equisolid, ImageCircle: 2 * 5.8423497 * mm})
	ref.Near(t, "L-S3a", float64(l.MaxAngle()/lens.Degree), 153.6733925, "angle, equal area")
}

func TestTheTighterLimitEndsTheImage(t *testing.T) {
	spec := lens.Spec{FocalLength: 4 * mm, FNumber: 2.8, Projection: equidistant, MaxAngle: 110 * lens.Degree}
	byAngle := mustNew(t, spec)
	near.Rel(t, "circle from the angle", circle(t, byAngle), 2*4*mm*unit.Length(110*lens.Degree), 4e-16, "two roundings")
	spec.ImageCircle = 20 * mm
	if l := mustNew(t, spec); circle(t, l) != circle(t, byAngle) || l.MaxAngle() != byAngle.MaxAngle() {
		t.Errorf("a wider circle changed the image: %v %v", circle(t, l), l.MaxAngle())
	}
	spec.ImageCircle = 12 * mm
	l := mustNew(t, spec)
	if circle(t, l) != 12*mm {
		t.Errorf("circle %v, want that of the spec", circle(t, l))
	}
	near.Rel(t, "angle from the circle", float64(l.MaxAngle()), 1.5, 4e-16, "6 mm at 4 mm a radian, two roundings")
}

func TestACircleJustInsideTheRim(t *testing.T) {
	for _, p := range projections {
		for deg := 1; deg < 90; deg++ {
			spec := lens.Spec{FocalLength: 7 * mm, FNumber: 4, Projection: p.p, MaxAngle: unit.Angle(deg) * lens.Degree}
			spec.ImageCircle = circle(t, mustNew(t, spec)) * (1 - 0x1p-53)
			if l := mustNew(t, spec); circle(t, l) != spec.ImageCircle || l.MaxAngle() > spec.MaxAngle {
				t.Errorf("%s at %d degrees: circle %v, angle %v", p.name, deg, circle(t, l), l.MaxAngle())
			}
		}
	}
}

func TestAnImageWithoutLimit(t *testing.T) {
	for _, p := range []lens.Projection{nil, stereographic} {
		l := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2, Projection: p})
		if d, ok := l.ImageCircle(); ok {
			t.Errorf("%v: circle %v, want none", p, d)
		}
		// Nothing proves that a circle of which nothing is known covers a format.
		if c, ok := l.Coverage(lens.Format{Width: 36 * mm, Height: 24 * mm}); ok {
			t.Errorf("%v: coverage %+v, want none", p, c)
		}
		if _, ok := l.AngleOfView(unit.Length(inf)); ok {
			t.Errorf("%v: an infinite length has a view", p)
		}
	}
	l := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2})
	if l.MaxAngle() != 90*lens.Degree {
		t.Errorf("a rectilinear lens without limit ends at %v", l.MaxAngle())
	}
}

func TestNewNamesEveryFault(t *testing.T) {
	_, err := lens.New(lens.Spec{FocalLength: -3 * mm, FNumber: 0, ImageCircle: unit.Length(nan), MaxAngle: 100 * lens.Degree})
	if !errors.Is(err, lens.ErrInvalid) {
		t.Fatalf("got %v", err)
	}
	for _, want := range []string{
		"lens: focal length -3 mm: must be at least 100 µm and at most 2 m",
		"lens: f-number 0: must be at least 0.5 and at most 1024",
		"lens: image circle NaN m: must be at least 100 µm and at most 1 m",
		"lens: largest angle 100°: must be at least 0° and at most 90°",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no %q in\n%v", want, err)
		}
	}
	for _, tc := range []struct {
		spec lens.Spec
		want string
	}{
		{lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, ImageCircle: 40 * mm, MaxAngle: 1, Projection: lonely{}},
			`lens: largest angle 57.2958°: the projection gives it no image height
lens: image circle 40 mm: the projection gives its edge no field angle`},
		{lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, MaxAngle: -1 * lens.Degree, Projection: noNumbers{}},
			`lens: largest angle of the projection NaN°: must be more than 0° and at most 180°
lens: slope of the projection on the axis NaN: must be more than 0 and finite
lens: largest angle -1°: must be at least 0° and at most 180°`},
	} {
		if _, err := lens.New(tc.spec); err == nil || err.Error() != tc.want {
			t.Errorf("got\n%v\nwant\n%s", err, tc.want)
		}
	}
}

// odd is a projection whose answers are set by hand.
type odd struct {
	r, slope   float64
	angle, max unit.Angle
	ok         bool
}

func (o odd) Radius(unit.Angle) (float64, bool) { return o.r, o.ok }
func (o odd) Angle(float64) (unit.Angle, bool)  { return o.angle, o.ok }
func (o odd) Slope(unit.Angle) (float64, bool)  { return o.slope, o.ok || o.slope == 1 }
func (o odd) MaxAngle() unit.Angle              { return o.max }

func TestProjectionsThatMakeNoSense(t *testing.T) {
	spec := lens.Spec{FocalLength: 10 * mm, FNumber: 2, ImageCircle: 1 * mm, MaxAngle: 1}
	for _, p := range []odd{
		{}, {max: unit.Angle(nan), slope: 1, ok: true}, {max: 4, slope: 1, ok: true}, {max: 2, slope: -1, ok: true},
		{max: 2, slope: nan, ok: true}, {max: 2, slope: inf, ok: true}, {max: 2, slope: 1},
		{max: 2, slope: 1, r: nan, ok: true}, {max: 2, slope: 1, r: -1, ok: true},
		{max: 2, slope: 1, r: 1, angle: unit.Angle(nan), ok: true}, {max: 2, slope: 1, r: 1, angle: -1, ok: true},
	} {
		spec.Projection = p
		if _, err := lens.New(spec); !errors.Is(err, lens.ErrInvalid) {
			t.Errorf("%+v: got %v", p, err)
		}
		if _, err := lens.FocalLengthForView(p, 10*mm, 1); err == nil && !(p.r > 0) {
			t.Errorf("%+v: a focal length for its view", p)
		}
	}
}

// strange holds the numbers that break arithmetic.
var strange = []float64{0, math.Copysign(0, -1), 5e-324, -5e-324, 1e-300, 1e-9, 0.02, 0.035, 0.05, 1, -1, math.Pi / 2, math.Pi, 1e9, 1e300, math.MaxFloat64, -math.MaxFloat64, inf, -inf, nan}

// TestNoInputBreaksAMethod calls every method with strange numbers: no panic,
// and no NaN where a result says ok. Of the results only a few may be +Inf.
func TestNoInputBreaksAMethod(t *testing.T) {
	lenses := []lens.Lens{{}}
	for _, p := range projections {
		lenses = append(lenses, mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, Projection: p.p}))
		lenses = append(lenses, mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, Projection: p.p, ImageCircle: 44 * mm}))
	}
	check := func(what string, ok, mayBeInf bool, v ...float64) {
		t.Helper()
		for _, x := range v {
			if ok && (math.IsNaN(x) || math.IsInf(x, -1) || (math.IsInf(x, 1) && !mayBeInf)) {
				t.Errorf("%s gives %v", what, v)
			}
		}
	}
	for i, l := range lenses {
		zero := i == 0
		check("MaxAngle", true, false, float64(l.MaxAngle()))
		d, ok := l.ImageCircle()
		check("ImageCircle", ok, false, float64(d))
		for _, a := range strange {
			x := unit.Length(a)
			v, ok := l.AngleOfView(x)
			check("AngleOfView", ok, false, float64(v))
			e, okE := l.RelativeIllumination(unit.Angle(a))
			check("RelativeIllumination", okE, false, e)
			st, okS := l.FalloffStops(unit.Angle(a))
			check("FalloffStops", okS, false, st)
			h, okH := l.Hyperfocal(x)
			check("Hyperfocal", okH, false, float64(h))
			n, okN := l.WorkingFNumber(x)
			check("WorkingFNumber", okN, false, n)
			if zero && (ok || okE || okS || okH || okN) {
				t.Errorf("the zero lens answers %v", a)
			}
			for _, b := range strange {
				y := unit.Length(b)
				d, ok := l.DepthOfField(x, y)
				check("DepthOfField", ok, false, float64(d.Near))
				check("DepthOfField", ok, true, float64(d.Far), float64(d.Total))
				if ok && !(d.Near <= x && x <= d.Far) {
					t.Errorf("focus %v, confusion %v: %+v", a, b, d)
				}
				bl, okB := l.Blur(x, y)
				check("Blur", okB, false, float64(bl))
				if zero && (ok || okB) {
					t.Errorf("the zero lens answers %v, %v", a, b)
				}
				c, okC := l.Coverage(lens.Format{Width: x, Height: y, OffsetX: y, OffsetY: -x})
				check("Coverage", okC, false, float64(c.Corner), float64(c.Width), float64(c.Height), c.Area)
				for _, z := range strange {
					s, n, ok := l.FocusBetween(x, y, unit.Length(z))
					check("FocusBetween", ok, true, float64(s))
					check("FocusBetween", ok, false, n)
					o, okO := l.OTF(z, 0.5*um, x, y)
					check("OTF", okO, false, o)
					if zero && (ok || okO) {
						t.Errorf("the zero lens answers %v, %v, %v", a, b, z)
					}
				}
			}
		}
	}
}

// TestNoInputBreaksAFunction does the same for functions.
func TestNoInputBreaksAFunction(t *testing.T) {
	one := func(name string, f func(float64) (float64, error)) {
		for _, a := range strange {
			v, err := f(a)
			if err == nil && math.IsNaN(v) || err != nil && !errors.Is(err, lens.ErrInvalid) {
				t.Errorf("%s(%v): %v, %v", name, a, v, err)
			}
			if math.IsNaN(a) && err == nil {
				t.Errorf("%s takes NaN", name)
			}
		}
	}
	two := func(name string, f func(a, b float64) (float64, error)) {
		for _, b := range strange {
			one(name, func(a float64) (float64, error) { return f(a, b) })
			one(name, func(a float64) (float64, error) { return f(b, a) })
		}
	}
	type l = unit.Length
	asFloat := func(v l, err error) (float64, error) { return float64(v), err }
	two("ImageDistance", func(a, b float64) (float64, error) { return asFloat(lens.ImageDistance(l(a), l(b))) })
	two("ObjectDistance", func(a, b float64) (float64, error) { return asFloat(lens.ObjectDistance(l(a), l(b))) })
	two("FocalLength", func(a, b float64) (float64, error) { return asFloat(lens.FocalLength(l(a), l(b))) })
	two("Magnification", func(a, b float64) (float64, error) { return lens.Magnification(l(a), l(b)) })
	two("FocalLengthForView", func(a, b float64) (float64, error) {
		return asFloat(lens.FocalLengthForView(stereographic, l(a), unit.Angle(b)))
	})
	two("CircleOfConfusion", func(a, b float64) (float64, error) {
		return asFloat(lens.CircleOfConfusion(unit.Angle(a), 2, b))
	})
	two("AiryRadius", func(a, b float64) (float64, error) { return asFloat(lens.AiryRadius(l(a), b)) })
	two("CutoffFrequency", func(a, b float64) (float64, error) { return lens.CutoffFrequency(l(a), b) })
	two("EncircledEnergy", func(a, b float64) (float64, error) { return lens.EncircledEnergy(l(a), l(b), 2) })
	two("DefocusWaves", func(a, b float64) (float64, error) { return lens.DefocusWaves(l(a), l(b), 2) })
	two("DefocusOTF", func(a, b float64) (float64, error) { return lens.DefocusOTF(a, b) })
	two("BlurOTF", func(a, b float64) (float64, error) { return lens.BlurOTF(a, l(b)) })
	two("Stops", lens.Stops)
	two("TStop", lens.TStop)
	two("Transmission", lens.Transmission)
	one("DiffractionMTF", lens.DiffractionMTF)
	one("FNumberAt", lens.FNumberAt)
	// A wavelength of 550 without its unit is 550 m.
	if _, err := lens.AiryRadius(550, 4); err == nil {
		t.Error("a wavelength of 550 m passed")
	}
}
