package lens_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

// must gives the result of a call that must give no error.
func must[T any](t testing.TB) func(T, error) T {
	t.Helper()
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// has gives the result of a call that must have an answer.
func has[T any](t testing.TB) func(T, bool) T {
	t.Helper()
	return func(v T, ok bool) T {
		t.Helper()
		require.True(t, ok, "no answer")
		return v
	}
}

// refuses fails the test unless an error wraps the sentinel and says what is
// wanted.
func refuses(t testing.TB, err error, want string) {
	t.Helper()
	assert.ErrorIs(t, err, lens.ErrInvalid)
	assert.ErrorContains(t, err, want)
}

func mustNew(t testing.TB, spec lens.Spec) lens.Lens {
	t.Helper()
	return must[lens.Lens](t)(lens.New(spec))
}

// circle is the image circle of a lens that has one.
func circle(t testing.TB, l lens.Lens) unit.Length {
	t.Helper()
	return has[unit.Length](t)(l.ImageCircle())
}

// closed is a model in closed form.
type closed struct {
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
	stereographic = &closed{
		func(t float64) float64 { return 2 * math.Tan(t/2) },
		func(t float64) float64 { return 1 / (math.Cos(t/2) * math.Cos(t/2)) },
		func(r float64) float64 { return 2 * math.Atan(r/2) },
		math.Pi, inf, true}
	equidistant = &closed{
		func(t float64) float64 { return t },
		func(float64) float64 { return 1 },
		func(r float64) float64 { return r },
		math.Pi, math.Pi, false}
	equisolid = &closed{
		func(t float64) float64 { return 2 * math.Sin(t/2) },
		func(t float64) float64 { return math.Cos(t / 2) },
		func(r float64) float64 { return 2 * math.Asin(r/2) },
		math.Pi, 2, false}
	orthographic = &closed{math.Sin, math.Cos, math.Asin, math.Pi / 2, 1, false}
)

// models is every closed form; nil is the rectilinear one.
var models = []struct {
	name   string
	m      lens.Model
	radius func(float64) float64
}{
	{"rectilinear", nil, math.Tan}, {"stereographic", stereographic, stereographic.radius}, {"equidistant", equidistant, equidistant.radius},
	{"equisolid", equisolid, equisolid.radius}, {"orthographic", orthographic, orthographic.radius},
}

func TestImageCircleOfSnydersExamples(t *testing.T) {
	// A radius of 3 and a point 153.67 degrees from the centre of the map: the
	// azimuthal equidistant map is the equidistant lens, Lambert's the equisolid.
	const c = 153.6733925 * lens.Degree
	for _, r := range []struct {
		m      lens.Model
		radius unit.Length // mm
	}{{equidistant, 8.0463200}, {equisolid, 5.8423497}} {
		l := mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Model: r.m, MaxAngle: c})
		ref.Near(t, "L-S3", circle(t, l)/2/mm, r.radius)
		l = mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Model: r.m, ImageCircle: 2 * r.radius * mm})
		ref.Near(t, "L-S3a", float64(l.MaxAngle()/lens.Degree), 153.6733925)
	}
}

func TestTheTighterLimitEndsTheImage(t *testing.T) {
	spec := lens.Spec{FocalLength: 4 * mm, FNumber: 2.8, Model: equidistant, MaxAngle: 110 * lens.Degree}
	byAngle := mustNew(t, spec)
	assert.InEpsilon(t, 8e-3*110*math.Pi/180, float64(circle(t, byAngle)), 4e-16, "two roundings")
	assert.True(t, byAngle == mustNew(t, spec), "equal specs give equal lenses")
	spec.ImageCircle = 20 * mm
	assert.True(t, byAngle == mustNew(t, spec), "a wider circle imposes no limit")
	spec.ImageCircle = 12 * mm
	l := mustNew(t, spec)
	assert.Equal(t, 12*mm, circle(t, l))
	assert.InEpsilon(t, 1.5, float64(l.MaxAngle()), 4e-16, "6 mm at 4 mm a radian, two roundings")
}

func TestACircleJustInsideTheRim(t *testing.T) {
	for _, m := range models {
		for deg := 1; deg < 90; deg++ {
			spec := lens.Spec{FocalLength: 7 * mm, FNumber: 4, Model: m.m, MaxAngle: unit.Angle(deg) * lens.Degree}
			byAngle := mustNew(t, spec)
			spec.ImageCircle = circle(t, byAngle)
			assert.True(t, byAngle == mustNew(t, spec), "%s at %d degrees: the same circle imposes no limit", m.name, deg)
			spec.ImageCircle *= 1 - 0x1p-53
			l := mustNew(t, spec)
			assert.Equal(t, spec.ImageCircle, circle(t, l), "%s at %d degrees", m.name, deg)
			assert.LessOrEqual(t, l.MaxAngle(), spec.MaxAngle, "%s at %d degrees", m.name, deg)
		}
	}
}

// A model may be inexact: that must not carry an angle past the largest.
func TestNoAngleBeyondTheLargest(t *testing.T) {
	generous := &closed{equidistant.radius, equidistant.slope, func(r float64) float64 { return r * (1 + 1e-9) }, math.Pi, math.Pi, false}
	spec := lens.Spec{FocalLength: 4 * mm, FNumber: 2.8, Model: generous, MaxAngle: 1}
	assert.LessOrEqual(t, has[unit.Angle](t)(mustNew(t, spec).AngleOfView(8*mm*(1-1e-12))), unit.Angle(2))
	spec.ImageCircle = 8 * mm * (1 - 1e-12)
	assert.LessOrEqual(t, mustNew(t, spec).MaxAngle(), unit.Angle(1))
}

func TestAnImageWithoutLimit(t *testing.T) {
	for _, m := range []lens.Model{nil, stereographic} {
		l := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2, Model: m})
		_, ok := l.ImageCircle()
		assert.False(t, ok, "an image circle without limit")
		_, ok = l.AngleOfView(unit.Length(inf))
		assert.False(t, ok, "the view of an infinite length")
	}
	unlimited := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2})
	assert.Equal(t, 90*lens.Degree, unlimited.MaxAngle())
	assert.True(t, unlimited == mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2, MaxAngle: 90 * lens.Degree}), "the limit of the model imposes none")
}

func TestNewNamesEveryFault(t *testing.T) {
	for _, tc := range []struct {
		spec lens.Spec
		want string
	}{
		{lens.Spec{FocalLength: -3 * mm, FNumber: 0, ImageCircle: unit.Length(nan), MaxAngle: 100 * lens.Degree},
			`lens: focal length -3 mm: must be at least 100 µm and at most 2 m
lens: f-number 0: must be at least 0.5 and at most 1024
lens: image circle NaN m: must be at least 100 µm and at most 1 m
lens: largest angle (half the view) 100°: must be at least 0° and at most 90°`},
		{lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, ImageCircle: 40 * mm, MaxAngle: 1, Model: lonely{}},
			`lens: largest angle (half the view) 57.2958°: the model gives it no image height
lens: image circle 40 mm: the model gives its edge no field angle`},
		{lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, MaxAngle: -1 * lens.Degree, Model: noNumbers{}},
			`lens: largest angle of the model NaN°: must be more than 0° and at most 180°
lens: slope of the model on the axis NaN: must be more than 0 and finite
lens: largest angle (half the view) -1°: must be at least 0° and at most 180°`},
		{lens.Spec{FocalLength: 8 * mm, FNumber: 2.8, Model: unset{}},
			`lens: model not set (lens_test.unset with a largest angle of 0°): must image angles of more than 0°; nil is rectilinear`},
	} {
		_, err := lens.New(tc.spec)
		assert.ErrorIs(t, err, lens.ErrInvalid)
		assert.EqualError(t, err, tc.want)
	}
}

// odd is a model whose answers are set by hand.
type odd struct {
	r, slope   float64
	angle, max unit.Angle
	ok         bool
}

func (o odd) Radius(unit.Angle) (float64, bool) { return o.r, o.ok }
func (o odd) Angle(float64) (unit.Angle, bool)  { return o.angle, o.ok }
func (o odd) Slope(unit.Angle) (float64, bool)  { return o.slope, o.ok || o.slope == 1 }
func (o odd) MaxAngle() unit.Angle              { return o.max }

func TestModelsThatMakeNoSense(t *testing.T) {
	spec := lens.Spec{FocalLength: 10 * mm, FNumber: 2, ImageCircle: 1 * mm, MaxAngle: 1}
	for _, m := range []odd{
		{}, {max: unit.Angle(nan), slope: 1, ok: true}, {max: 4, slope: 1, ok: true}, {max: 2, slope: -1, ok: true},
		{max: 2, slope: nan, ok: true}, {max: 2, slope: inf, ok: true}, {max: 2, slope: 1},
		{max: 2, slope: 1, r: nan, ok: true}, {max: 2, slope: 1, r: -1, ok: true},
		{max: 2, slope: 1, r: 1, angle: unit.Angle(nan), ok: true}, {max: 2, slope: 1, r: 1, angle: -1, ok: true},
	} {
		spec.Model = m
		_, err := lens.New(spec)
		assert.ErrorIs(t, err, lens.ErrInvalid, "%+v", m)
		if !(m.r > 0) {
			_, err = lens.FocalLengthForView(m, 10*mm, 1)
			assert.ErrorIs(t, err, lens.ErrInvalid, "%+v", m)
		}
	}
}

// What New cannot see of a model must not pass for an answer.
func TestAnglesOfModelsThatMakeNoSense(t *testing.T) {
	for _, m := range []lens.Model{lonely{}, odd{r: 1, slope: 1, angle: -1, max: 1, ok: true}, odd{r: 1, slope: 1, angle: unit.Angle(nan), max: 1, ok: true}} {
		_, ok := mustNew(t, lens.Spec{FocalLength: 10 * mm, FNumber: 2, Model: m}).AngleOfView(10 * mm)
		assert.False(t, ok, "%#v", m)
	}
}

// strange holds the numbers that break arithmetic.
var strange = []float64{0, math.Copysign(0, -1), 5e-324, -5e-324, 1e-300, 1e-9, 0.02, 0.035, 0.05, 1, -1, math.Pi / 2, math.Pi, 1e9, 1e300, math.MaxFloat64, -math.MaxFloat64, inf, -inf, nan}

// TestNoInputBreaksAMethod calls every method with strange numbers: no panic,
// no NaN where there is an answer, and 0 where there is none. Of the results only
// a few may be +Inf.
func TestNoInputBreaksAMethod(t *testing.T) {
	lenses := []lens.Lens{{}}
	for _, m := range models {
		lenses = append(lenses, mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, Model: m.m}))
		lenses = append(lenses, mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2.8, Model: m.m, ImageCircle: 44 * mm}))
	}
	for i, l := range lenses {
		// check takes the answer of a method, of which the first result is finite.
		check := func(what string, ok bool, finite float64, others ...float64) {
			t.Helper()
			if !ok {
				for _, x := range append(others, finite) {
					if x != 0 {
						t.Errorf("%s has no answer, and gives %v and %v", what, finite, others)
					}
				}
				return
			}
			if i == 0 {
				t.Errorf("%s answers for the zero lens", what)
			}
			for _, x := range append(others, finite) {
				if math.IsNaN(x) || math.IsInf(x, -1) || math.IsInf(finite, 0) {
					t.Errorf("%s gives %v and %v", what, finite, others)
				}
			}
		}
		valid := func(err error) bool {
			t.Helper()
			if err != nil && !errors.Is(err, lens.ErrInvalid) {
				t.Error(err)
			}
			return err == nil
		}
		assert.GreaterOrEqual(t, float64(l.MaxAngle()), 0.)
		d, ok := l.ImageCircle()
		check("ImageCircle", ok, float64(d))
		for _, a := range strange {
			x := unit.Length(a)
			v, ok := l.AngleOfView(x)
			check("AngleOfView", ok, float64(v))
			e, ok := l.RelativeIllumination(unit.Angle(a))
			check("RelativeIllumination", ok, e)
			st, ok := l.FalloffStops(unit.Angle(a))
			check("FalloffStops", ok, st)
			h, err := l.Hyperfocal(x)
			check("Hyperfocal", valid(err), float64(h))
			n, ok := l.WorkingFNumber(x)
			check("WorkingFNumber", ok, n)
			for _, b := range strange {
				y := unit.Length(b)
				d, err := l.DepthOfField(x, y)
				check("DepthOfField", valid(err), float64(d.Near), float64(d.Far), float64(d.Total))
				if err == nil && !(d.Near <= x && x <= d.Far) {
					t.Errorf("focus %v, confusion %v: %+v", a, b, d)
				}
				bl, ok := l.Blur(x, y)
				check("Blur", ok, float64(bl))
				c, err := l.CircleFit(lens.Format{Width: x, Height: y, OffsetX: y, OffsetY: -x})
				check("CircleFit", valid(err), float64(c.Corner), float64(c.Width), float64(c.Height), c.Area)
				for _, z := range strange {
					s, n, err := l.FocusBetween(x, y, unit.Length(z))
					check("FocusBetween", valid(err), n, float64(s))
					if err == nil && !(x <= s && s <= y && n > 0) {
						t.Errorf("between %v and %v: focus %v at f/%v", a, b, s, n)
					}
				}
			}
		}
	}
}

// TestNoInputBreaksAFunction does the same for functions.
func TestNoInputBreaksAFunction(t *testing.T) {
	type l = unit.Length
	asFloat := func(v l, err error) (float64, error) { return float64(v), err }
	for name, f := range map[string]func(a, b float64) (float64, error){
		"ImageDistance": func(a, b float64) (float64, error) { return asFloat(lens.ImageDistance(l(a), l(b))) },
		"Magnification": func(a, b float64) (float64, error) { return lens.Magnification(l(a), l(b)) },
		"FocalLengthForView": func(a, b float64) (float64, error) {
			return asFloat(lens.FocalLengthForView(stereographic, l(a), unit.Angle(b)))
		},
		"CircleOfConfusion": func(a, b float64) (float64, error) {
			return asFloat(lens.CircleOfConfusion(unit.Angle(a), 2, b))
		},
		"Stops":        lens.Stops,
		"TStop":        lens.TStop,
		"Transmission": lens.Transmission,
		"FNumberAt":    func(a, b float64) (float64, error) { return lens.FNumberAt(a + b) },
	} {
		for _, a := range strange {
			for _, b := range strange {
				v, err := f(a, b)
				if err == nil && (math.IsNaN(v) || math.IsNaN(a) || math.IsNaN(b)) || err != nil && (v != 0 || !errors.Is(err, lens.ErrInvalid)) {
					t.Errorf("%s(%v, %v): %v, %v", name, a, b, v, err)
				}
			}
		}
	}
}
