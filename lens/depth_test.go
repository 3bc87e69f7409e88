package lens_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func TestHyperfocalInInches(t *testing.T) {
	// A course for photographers, in feet and inches, with H = f²/(N c).
	const inch, foot = 25.4 * mm, 304.8 * mm
	l := mustNew(t, lens.Spec{FocalLength: 2 * inch, FNumber: 8})
	h := must[unit.Length](t)(l.Hyperfocal(0.002 * inch))
	ref.Near(t, "L-H2", (h-2*inch)/foot, 20.8, "H")
	d := must[lens.DepthOfField](t)(l.DepthOfField(h-2*inch, 0.002*inch))
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

// sharpFrom is the focus in mm at which infinity, here 1e16 mm, is just sharp.
func sharpFrom(t testing.TB, f, n, c float64) float64 {
	return has[float64](t)(root.Find(func(s float64) float64 { return cone(f, n, s, 1e16) - c }, 1.01*f, 1e8))
}

func TestDepthOfFieldByTracingCones(t *testing.T) {
	for _, r := range []struct{ f, n, c, s float64 }{ // mm
		{50, 8, .03, 5000}, {50, 16, .03, 3000}, {24, 4, .025, 3000}, {12, 2.8, .006, 2000}, {100, 5.6, .03, 300},
		// An aperture wider than the focal length.
		{50, .8, .03, 3000}, {25, 1, .02, 4000}, {50, .5, .03, 2000},
	} {
		blur := func(d float64) float64 { return cone(r.f, r.n, r.s, d) - r.c }
		nearest := has[float64](t)(root.Find(blur, 1.01*r.f, r.s))
		farthest := has[float64](t)(root.Find(blur, r.s, 1e8))

		c := unit.Length(r.c) * mm
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: r.n})
		d := must[lens.DepthOfField](t)(l.DepthOfField(unit.Length(r.s)*mm, c))
		ref.Near(t, "L-H4", float64(d.Near/mm), nearest, r, "near")
		ref.Near(t, "L-H4", float64(d.Far/mm), farthest, r, "far")
		ref.Near(t, "L-H4t", float64(d.Total/mm), farthest-nearest, r, "total")
		ref.Near(t, "L-H4", float64(must[unit.Length](t)(l.Hyperfocal(c))/mm), sharpFrom(t, r.f, r.n, r.c), r, "H")

		s, n, err := l.FocusBetween(unit.Length(nearest)*mm, unit.Length(farthest)*mm, c)
		require.NoError(t, err)
		ref.Near(t, "L-H4", float64(s/mm), r.s, r, "focus")
		ref.Near(t, "L-H4t", n, r.n, r, "f-number")
	}
}

// TestOneLensWrittenInTwoScales holds a lens whose model carries the focal
// length, as a polynomial may that was fitted in millimetres, against the same
// lens written the plain way.
func TestOneLensWrittenInTwoScales(t *testing.T) {
	answers := func(l lens.Lens) []float64 {
		d := must[lens.DepthOfField](t)(l.DepthOfField(2, 3*um))
		s, n, err := l.FocusBetween(1, 3, 3*um)
		require.NoError(t, err)
		return []float64{
			float64(d.Near), float64(d.Far), float64(d.Total), float64(s), n, float64(l.MaxAngle()),
			float64(must[unit.Length](t)(l.Hyperfocal(3 * um))),
			must[lens.CircleFit](t)(l.CircleFit(lens.Format{Width: 36 * mm, Height: 24 * mm})).Area,
			float64(has[unit.Length](t)(l.Blur(2, 1))), has[float64](t)(l.WorkingFNumber(0.1)),
			float64(circle(t, l)),
			float64(has[unit.Angle](t)(l.AngleOfView(24 * mm))), has[float64](t)(l.FalloffStops(1)),
		}
	}
	want := answers(mustNew(t, lens.Spec{FocalLength: 12 * mm, FNumber: 5.6, Model: equidistant, ImageCircle: 30 * mm}))
	for _, by := range []float64{12, 0.012, 1e-9, 1e9} {
		other := lens.Spec{FocalLength: 12 * mm / unit.Length(by), FNumber: 5.6, Model: scaled{equidistant, by}, ImageCircle: 30 * mm}
		for i, got := range answers(mustNew(t, other)) {
			assert.InEpsilon(t, want[i], got, 1e-13, "answer %d, scale %v: a few roundings", i, by)
		}
		f := must[unit.Length](t)(lens.FocalLengthForView(scaled{equidistant, by}, 24*mm, 2))
		assert.InEpsilon(t, 12e-3, float64(f)*by, 1e-15, "scale for a view: a few roundings")
	}
	// The focal length as the image shows it: a small angle from the axis over
	// the height at which it is drawn.
	l := mustNew(t, lens.Spec{FocalLength: 1 * mm, FNumber: 5.6, Model: scaled{equisolid, 12}})
	f := 2 * 1e-3 / float64(has[unit.Angle](t)(l.AngleOfView(2*um))) // mm
	ref.Near(t, "L-H4s", float64(must[unit.Length](t)(l.Hyperfocal(3*um))/mm), sharpFrom(t, f, 5.6, .003))
}

// TestBlurOfAFisheyeGoesByTheRay follows the rays from a point through two
// opposite ends of a pupil that turns to face it, into an equidistant lens
// focused far away: each is drawn at the angle at which it comes.
func TestBlurOfAFisheyeGoesByTheRay(t *testing.T) {
	const f, n, distance = 8e-3, 2.8, 0.75
	l := mustNew(t, lens.Spec{FocalLength: f, FNumber: n, Model: equidistant})
	want := has[unit.Length](t)(l.Blur(unit.Length(inf), distance))
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
	got := has[unit.Length](t)(l.Blur(focus*mm, depth*mm))
	image, sensor := float64(refracted(f, depth)), float64(refracted(f, focus))
	for _, deg := range []float64{0, 20, 40, 60} {
		// The ray through the middle of the lens is not bent.
		height := -image * math.Tan(deg*math.Pi/180)
		lands := func(at float64) float64 { return at + (height-at)*sensor/image }
		ref.Near(t, "L-B1", float64(got/mm), math.Abs(lands(f/n/2)-lands(-f/n/2)), deg, "degrees")
	}
}

func TestBlurThroughTheImages(t *testing.T) {
	// The cone from a pupil of 2.5 mm comes to a point about 5.0505 mm behind the
	// lens and is cut about 5.0050 mm behind it.
	l := mustNew(t, lens.Spec{FocalLength: 5 * mm, FNumber: 2})
	for _, r := range [][2]float64{{5000, 500}, {500, 5000}, {500, inf}, {inf, 5000}} {
		got := has[unit.Length](t)(l.Blur(unit.Length(r[0])*mm, unit.Length(r[1])*mm))
		ref.Near(t, "L-B1", float64(got/mm), cone(5, 2, r[0], r[1]), r)
	}
	for _, same := range []unit.Length{3, unit.Length(inf)} {
		assert.Zero(t, has[unit.Length](t)(l.Blur(same, same)), "in focus")
	}
}

func TestWorkingFNumberIsThatOfTheCone(t *testing.T) {
	// The cone is as long as the image is far, and as wide as the pupil.
	l := mustNew(t, lens.Spec{FocalLength: 10 * cm, FNumber: 4})
	for _, s := range []unit.Length{50, 20, 11, 1e12} {
		ref.Near(t, "L-N1", has[float64](t)(l.WorkingFNumber(s*cm)), float64(refracted(10, s))/(10./4), float64(s), "cm")
	}
}

func TestDepthOfFieldApproximations(t *testing.T) {
	// near = H s/(H + s), far = H s/(H − s), total = 2 H s²/(H² − s²) for s much
	// longer than f: off by the order of f/s.
	l := mustNew(t, lens.Spec{FocalLength: 24 * mm, FNumber: 4})
	h := float64(must[unit.Length](t)(l.Hyperfocal(0.025 * mm)))
	for _, s := range []float64{0.6, 1.2, 2, 3} {
		d := must[lens.DepthOfField](t)(l.DepthOfField(unit.Length(s), 0.025*mm))
		order := 0.024 / s
		ref.Within(t, "L-H9", math.Abs(float64(d.Near)/(h*s/(h+s))-1)/order, s, "near")
		ref.Within(t, "L-H9", math.Abs(float64(d.Far)/(h*s/(h-s))-1)/order, s, "far")
		ref.Within(t, "L-H9", math.Abs(float64(d.Total)/(2*h*s*s/(h*h-s*s))-1)/order, s, "total")
	}
}

func TestDepthOfFieldMarshals(t *testing.T) {
	for want, d := range map[string]lens.DepthOfField{
		`{"Near":3.5,"Far":null,"Total":null}`: {Near: 3.5, Far: unit.Length(inf), Total: unit.Length(inf)},
		`{"Near":3.5,"Far":7.25,"Total":3.75}`: {Near: 3.5, Far: 7.25, Total: 3.75},
		`{"Near":0,"Far":0,"Total":0}`:         {},
	} {
		text, err := json.Marshal(d)
		require.NoError(t, err)
		assert.JSONEq(t, want, string(text))
		var back lens.DepthOfField
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, d, back)
	}
	d := lens.DepthOfField{Near: 1, Far: 2, Total: 1}
	for text, want := range map[string]string{
		`{"Near": "1 m"}`:                      "lens: depth of field in JSON: Near string: must hold Near, Far and Total as numbers of metres; an infinite Far or Total is null",
		`{"Near": null, "Far": 2, "Total": 1}`: "lens: depth of field in JSON: Near null: must",
		`{"Near": 1, "Far": 1e400}`:            "lens: depth of field in JSON: Far number 1e400: must",
		`{"Near": 1, "Middle": 2}`:             `lens: depth of field in JSON: unknown field "Middle": must`,
		`[1, 2]`:                               "lens: depth of field in JSON: array: must",
	} {
		refuses(t, json.Unmarshal([]byte(text), &d), want)
		assert.Equal(t, lens.DepthOfField{Near: 1, Far: 2, Total: 1}, d, text)
	}
	require.NoError(t, json.Unmarshal([]byte(`null`), &d))
	assert.Equal(t, lens.DepthOfField{Near: 1, Far: 2, Total: 1}, d, "null is no value")
	require.NoError(t, json.Unmarshal([]byte(`{"Near": 3}`), &d))
	assert.Equal(t, lens.DepthOfField{Near: 3}, d, "absent fields")
}

func TestCircleOfConfusionOfAnEye(t *testing.T) {
	// 550 nm and a pupil of 3.00 mm: 2.24e-4 rad, which is 0.179 mm at 0.800 m
	// and 1.30 m at 5.81 km.
	c := must[unit.Length](t)(lens.CircleOfConfusion(2.24e-4, 0.800, 1))
	ref.Near(t, "L-D2c", float64(c/mm), 0.179)
	wide := must[unit.Length](t)(lens.CircleOfConfusion(2.24e-4, 5810, 1000))
	ref.Near(t, "L-D2w", float64(wide*1000), 1.30)
	// A plate 24 mm wide shown 12 m wide is enlarged 500 times.
	enlarged := must[unit.Length](t)(lens.CircleOfConfusion(2.24e-4, 0.800, 500))
	assert.InEpsilon(t, float64(c)/500, float64(enlarged), 1e-15, "one rounding")
	// A right angle spans twice the distance.
	right := must[unit.Length](t)(lens.CircleOfConfusion(unit.Angle(math.Nextafter(math.Pi/2, 0)), 3, 1))
	assert.InEpsilon(t, 6, float64(right), 1e-15, "a few roundings")
	for _, r := range []struct {
		a    unit.Angle
		d    unit.Length
		m    float64
		want string
	}{
		{0, 1, 1, "lens: angle 0°"}, {math.Pi / 2, 1, 1, "lens: angle 90°"}, {1, 0, 1, "lens: viewing distance 0 m"},
		{1, 1.1e9, 1, "lens: viewing distance "}, {1, 1, 0.999e-3, "lens: enlargement 0.000999"}, {1, 1, 1000000.001, "lens: enlargement "},
	} {
		_, err := lens.CircleOfConfusion(r.a, r.d, r.m)
		refuses(t, err, r.want)
	}
}

// TestDepthOfFieldIsWhereTheBlurIsAllowed ties depth of field to blur.
func TestDepthOfFieldIsWhereTheBlurIsAllowed(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for range 2000 {
		f := 0.004 * math.Exp(4*rng.Float64())
		n := math.Exp2(rng.Float64()*5 - 1)
		c := math.Exp(-13 + 3*rng.Float64())
		s := f * (1.01 + math.Exp(8*rng.Float64()-2))
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(f), FNumber: n})
		blur := func(object unit.Length) float64 { return float64(has[unit.Length](t)(l.Blur(unit.Length(s), object))) }
		d := must[lens.DepthOfField](t)(l.DepthOfField(unit.Length(s), unit.Length(c)))
		near, far := float64(d.Near), float64(d.Far)
		if !(near > f && near <= s && s <= far) {
			t.Errorf("f %v, s %v: %+v", f, s, d)
		}
		// 1/near − 1/s is the small difference of two: its digits are lost.
		assert.InEpsilon(t, c, blur(d.Near), 1e-15*(1+near/(s-near)), "rounding of the near limit")
		h := must[unit.Length](t)(l.Hyperfocal(unit.Length(c)))
		assert.Equal(t, s >= float64(h), math.IsInf(far, 1), "f %v, s %v, H %v: far %v", f, s, h, far)
		atH := must[lens.DepthOfField](t)(l.DepthOfField(h, unit.Length(c)))
		assert.True(t, math.IsInf(float64(atH.Far), 1), "f %v, N %v, c %v: focused at the hyperfocal distance the far limit is %v", f, n, c, atH.Far)
		if math.IsInf(far, 1) {
			assert.LessOrEqual(t, blur(d.Far), c*(1+1e-12), "infinity counts as sharp")
			continue
		}
		lost := 1e-15 * (2 + s/(far-s) + far/s)
		assert.InEpsilon(t, c, blur(d.Far), lost, "rounding of the far limit")
		assert.InEpsilon(t, far-near, float64(d.Total), 4*lost+1e-15*far/float64(d.Total), "rounding of the limits")

		s2, n2, err := l.FocusBetween(d.Near, d.Far, unit.Length(c))
		require.NoError(t, err)
		assert.InEpsilon(t, s, float64(s2), 4*lost, "as the limits")
		assert.InEpsilon(t, n, n2, 8*lost+1e-15*f/(s-f), "as the limits, and the focus from the focal length")
	}
}

func TestDepthOfFieldEnds(t *testing.T) {
	far := unit.Length(inf)
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 8})
	const c = 0.03 * mm
	h := must[unit.Length](t)(l.Hyperfocal(c))
	d := must[lens.DepthOfField](t)(l.DepthOfField(far, c))
	assert.True(t, math.IsInf(float64(d.Far), 1) && math.IsInf(float64(d.Total), 1), "focused at infinity: %+v", d)
	assert.InEpsilon(t, float64(h-50*mm), float64(d.Near), 1e-15, "focused at infinity: a few roundings")
	s, n, err := l.FocusBetween(h/2, far, c)
	require.NoError(t, err)
	assert.InEpsilon(t, float64(h), float64(s), 1e-15, "one rounding of twice the near limit")
	assert.InEpsilon(t, 8, n, 4e-15, "a few roundings")
	// Very shallow: the total keeps its digits, the difference would not. By
	// hand: 2 N c (s − f) s/f² for a confusion of 1 nm, to first order.
	long := mustNew(t, lens.Spec{FocalLength: 500 * mm, FNumber: 1})
	shallow := must[lens.DepthOfField](t)(long.DepthOfField(5, 1e-9))
	assert.InEpsilon(t, 2*1e-9*4.5*5/0.25, float64(shallow.Total), 1e-14, "first order in the confusion: the next is 3e-16")
	// A pupil of 2^-5 m: a circle of confusion as wide calls everything sharp.
	wide := mustNew(t, lens.Spec{FocalLength: 0.0625, FNumber: 2})
	must[unit.Length](t)(wide.Hyperfocal(0.03125 * (1 - 0x1p-53)))
	_, err = wide.Hyperfocal(0.03125)
	refuses(t, err, "lens: circle of confusion 31.25 mm: must be at least 1 nm and less than 31.25 mm")

	for _, r := range []struct {
		s, c unit.Length
		want string
	}{
		{50 * mm, c, "lens: focus distance 50 mm: must be more than 50 mm"}, {49 * mm, c, "focus distance 49 mm"}, {0, c, "focus distance 0 m"},
		{-far, c, "focus distance -Inf m"}, {unit.Length(nan), c, "focus distance NaN m"},
		{3, 0, "circle of confusion 0 m"}, {3, -c, "circle of confusion -30 µm"}, {3, unit.Length(nan), "circle of confusion NaN m"},
		{3, 0.9e-9, "circle of confusion 0.9 nm"}, {3, far, "circle of confusion +Inf m"},
	} {
		_, err := l.DepthOfField(r.s, r.c)
		refuses(t, err, r.want)
	}
	for _, r := range []struct {
		near, far, c unit.Length
		want         string
	}{
		{2, 2, c, "lens: far limit 2 m: must be more than 2 m"}, {3, 2, c, "far limit 2 m"}, {2, unit.Length(nan), c, "far limit NaN m"},
		{50 * mm, 2, c, "lens: near limit 50 mm: must be more than 50 mm and at most "}, {-1, 2, c, "near limit -1 m"}, {far, far, c, "near limit +Inf m"},
		{2, 3, 0, "circle of confusion 0 m"}, {2, 3, 1.1, "circle of confusion 1.1 m"},
	} {
		_, _, err := l.FocusBetween(r.near, r.far, r.c)
		refuses(t, err, r.want)
	}
	_, err = lens.Lens{}.DepthOfField(3, c)
	refuses(t, err, "lens: lens Lens{}: must come from New")
}

// TestNothingIsOutOfItsOwnRange holds the limits to either side of the focus, and
// the focus between the limits, where rounding could put them across.
func TestNothingIsOutOfItsOwnRange(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 1000 {
		f := 0.004 * math.Exp(4*rng.Float64())
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(f), FNumber: 8})
		s := unit.Length(math.Nextafter(f*(1+1e-6*float64(rng.IntN(2))), 1))
		d := must[lens.DepthOfField](t)(l.DepthOfField(s, 1e-9))
		assert.True(t, d.Near <= s && s <= d.Far, "f %v: %v is not in %+v", f, s, d)
		near := unit.Length(f * (1.1 + 1000*rng.Float64()))
		far := unit.Length(math.Nextafter(float64(near), inf))
		s, _, err := l.FocusBetween(near, far, 1e-6)
		assert.True(t, err == nil && near <= s && s <= far, "%v is not between %v and %v: %v", s, near, far, err)
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
		d, err := l.DepthOfField(unit.Length(s), unit.Length(c))
		if err != nil {
			return
		}
		if !(float64(d.Near) >= focal && float64(d.Near) <= s && s <= float64(d.Far) && d.Total >= 0) {
			t.Fatalf("f %v, N %v, s %v, c %v: %+v", focal, n, s, c, d)
		}
		if !(float64(d.Near) < 0.999*s && float64(d.Near) > 1.001*focal && s < 1e6) {
			return
		}
		s2, _, err := l.FocusBetween(d.Near, d.Far, unit.Length(c))
		require.NoError(t, err)
		if !math.IsInf(float64(d.Far), 1) {
			assert.InEpsilon(t, s, float64(s2), 1e-11, "rounding of the limits")
		}
	})
}
