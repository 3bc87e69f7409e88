package wide_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"example.com/platewright/lens/wide"
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

func must[T any](t testing.TB) func(T, error) T {
	t.Helper()
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

func has[T any](t testing.TB) func(T, bool) T {
	t.Helper()
	return func(v T, ok bool) T {
		t.Helper()
		require.True(t, ok, "no answer")
		return v
	}
}

func refuses(t testing.TB, err error, want string) {
	t.Helper()
	assert.ErrorIs(t, err, wide.ErrInvalid)
	assert.ErrorContains(t, err, want)
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }

// traced is a prescription beside the table of it at 10 mm.
type traced struct {
	tracer
	spec    wide.Spec
	lens    wide.Lens
	axis    seen    // a ten-thousandth of a radian from the axis
	focal   float64 // of the prescription, in its own unit
	pupil   float64 // m, diameter on the axis at 10 mm
	degrees int     // at the edge
}

func bothTraced(t testing.TB) map[string]traced {
	t.Helper()
	lenses := map[string]traced{}
	for name, r := range map[string]struct {
		prescription []surface
		spec         func(unit.Length) (wide.Spec, error)
		degrees      int
	}{"170°": {prescription170, wide.Fisheye170, 85}, "100°": {prescription100, wide.Retrofocus100, 50}} {
		s := must[wide.Spec](t)(r.spec(10 * mm))
		l := traced{tracer: newTracer(r.prescription), spec: s, lens: must[wide.Lens](t)(wide.New(s)), degrees: r.degrees}
		l.axis = l.at(t, 1e-4)
		l.focal, l.pupil = l.axis.height/1e-4, 0.01/s.FNumber
		lenses[name] = l
	}
	return lenses
}

// The numbers of the tables come from an exact trace, and a second trace, written apart
// from it, gives the same.
func TestTablesAreThoseOfTheTrace(t *testing.T) {
	for name, l := range bothTraced(t) {
		require.Len(t, l.spec.Points, l.degrees/5+1)
		for i, p := range l.spec.Points[1:] {
			s := l.at(t, rad(float64(5*i+5)))
			assert.InDelta(t, rad(float64(5*i+5)), float64(p.FieldAngle), 1e-15, "a rounding")
			for id, pair := range map[string][2]float64{
				"L-WT1": {float64(p.ImageHeight) / 0.01, s.height / l.focal},
				"L-WT2": {float64(p.Pupil) / 0.01, s.pupil / l.focal},
			} {
				ref.Near(t, id, pair[0], pair[1], name, i)
			}
			ref.Near(t, "L-WT2", p.Illumination, s.light/l.axis.light, name, i, "illumination")
			ref.Near(t, "L-WT2", p.PupilAspect, s.radial/s.tangential/(l.axis.radial/l.axis.tangential), name, i, "aspect")
		}
	}
	// Height and pupil behind the first vertex in the unit of the prescription, and
	// illumination.
	for _, r := range []struct {
		spec             func(unit.Length) (wide.Spec, error)
		edge, length     float64
		step             int
		rows             [][4]float64
		printedFocalness float64
	}{
		{wide.Fisheye170, 0.246282277, 7.7637, 17, [][4]float64{
			{5, 0.017859481, 1.3986543, 0.999797}, {10, 0.035639734, 1.3925908, 0.999190}, {20, 0.070653710, 1.3678437, 0.996826},
			{40, 0.136527701, 1.2604322, 0.988266}, {50, 0.166410116, 1.1701782, 0.982681}, {70, 0.217737144, 0.8829666, 0.970773},
			{80, 0.237921847, 0.6663955, 0.965336}, {85, 0.246282277, 0.5352265, 0.962966},
		}, 0.205053530344},
		{wide.Retrofocus100, 0.525419028, 7.5331, 10, [][4]float64{
			{5, 0.057161126, 1.4970724, 1.000074}, {10, 0.114027604, 1.4904321, 1.000296}, {30, 0.332831759, 1.4159520, 1.002855}, {50, 0.525419028, 1.2455315, 1.008524},
		}, 0.656285892356},
	} {
		one := must[wide.Spec](t)(r.spec(1 * mm))
		unitOf := r.edge / float64(one.Points[r.step].ImageHeight) // from metres
		for _, row := range r.rows {
			p := one.Points[int(row[0])/5]
			ref.Near(t, "L-WT3", float64(p.ImageHeight)*unitOf, row[1], row)
			ref.Near(t, "L-WT3", float64(p.Pupil)*unitOf, r.length-row[2], row)
			ref.Near(t, "L-WT3", p.Illumination, row[3], row)
		}
		// The image is not quite where paraxial rays meet.
		assert.InEpsilon(t, r.printedFocalness, 1e-3*unitOf, 0.0013, "the axis slope is up to 0.12 %% less than the paraxial focal length")
	}
}

func TestBetweenThePointsOfATable(t *testing.T) {
	for name, l := range bothTraced(t) {
		ref.Near(t, "L-WT4", float64(l.lens.FocalLength())/0.01, 1, name)
		for deg := 1.25; deg < float64(l.degrees); deg += 1.25 {
			theta := unit.Angle(rad(deg))
			s := l.at(t, rad(deg))
			r := has[float64](t)(l.lens.Radius(theta))
			ref.Near(t, "L-WT4", r, s.height/l.focal, name, deg)
			ref.Near(t, "L-WT4a", float64(has[unit.Angle](t)(l.lens.Angle(s.height/l.focal))), rad(deg), name, deg)
			assert.InDelta(t, rad(deg), float64(has[unit.Angle](t)(l.lens.Angle(r))), 1e-14, "%s at %v°: the inverse", name, deg)
			slope := (l.at(t, rad(deg)+1e-4).height - l.at(t, rad(deg)-1e-4).height) / 2e-4 / l.focal
			ref.Near(t, "L-WT5", has[float64](t)(l.lens.Slope(theta)), slope, name, deg)
			ref.Near(t, "L-WT6", float64(has[unit.Length](t)(l.lens.Pupil(theta)))/0.01, s.pupil/l.focal, name, deg)
			ref.Near(t, "L-WT7", has[float64](t)(l.lens.RelativeIllumination(theta)), s.light/l.axis.light, name, deg)
			radial, tangential, ok := l.lens.PupilWidths(theta)
			require.True(t, ok)
			ref.Near(t, "L-WT8", float64(radial)/l.pupil, s.radial/l.axis.radial, name, deg, "radial")
			ref.Near(t, "L-WT8", float64(tangential)/l.pupil, s.tangential/l.axis.tangential, name, deg, "tangential")
		}
	}
}

// At its points a lens gives its table, and outside it nothing.
func TestAtThePointsOfATable(t *testing.T) {
	for name, l := range bothTraced(t) {
		ref.Near(t, "L-WT9", float64(l.lens.MaxAngle())*180/math.Pi, float64(l.degrees), name)
		for _, p := range l.spec.Points {
			r := has[float64](t)(l.lens.Radius(p.FieldAngle))
			assert.InEpsilon(t, 1+float64(p.ImageHeight), 1+r*float64(l.lens.FocalLength()), 1e-15, "a few roundings")
			assert.InDelta(t, float64(p.FieldAngle), float64(has[unit.Angle](t)(l.lens.Angle(r))), 1e-14, "the inverse")
			assert.InDelta(t, float64(p.Pupil), float64(has[unit.Length](t)(l.lens.Pupil(p.FieldAngle))), 1e-15, "a few roundings")
			assert.InDelta(t, p.Illumination, has[float64](t)(l.lens.RelativeIllumination(p.FieldAngle)), 1e-15, "a few roundings")
		}
		assert.InDelta(t, 1, has[float64](t)(l.lens.Slope(0)), 1e-15, "a rounding")
		radial, tangential, _ := l.lens.PupilWidths(0)
		assert.InEpsilon(t, l.pupil, float64(radial), 1e-6, "the focal length of the table")
		assert.Equal(t, radial, tangential)
		edge := has[float64](t)(l.lens.Radius(l.lens.MaxAngle()))
		_, ok := l.lens.Angle(edge * (1 + 1e-12))
		assert.False(t, ok)
		_, ok = l.lens.Angle(-1e-12)
		assert.False(t, ok)
		for _, theta := range []unit.Angle{-1e-12, l.lens.MaxAngle() * (1 + 1e-12), unit.Angle(nan)} {
			_, okRadius := l.lens.Radius(theta)
			_, okSlope := l.lens.Slope(theta)
			_, okPupil := l.lens.Pupil(theta)
			_, okLight := l.lens.RelativeIllumination(theta)
			_, _, okWidths := l.lens.PupilWidths(theta)
			_, okBlur := l.lens.Blur(theta, 3, 2)
			assert.False(t, okRadius || okSlope || okPupil || okLight || okWidths || okBlur, theta)
		}
	}
	var none wide.Lens
	assert.True(t, none.FocalLength() == 0 && none.MaxAngle() == 0)
}

// wideView is an invented fisheye of 220° whose barrel cuts into the light at the edge.
func wideView() wide.Spec {
	spec := wide.Spec{FNumber: 2.8}
	for deg := 0.0; deg <= 110; deg += 10 {
		p := wide.Point{FieldAngle: unit.Angle(rad(deg)), ImageHeight: unit.Length(rad(deg)) * 8 * mm, Pupil: 120*mm + unit.Length(deg*deg)*um, Illumination: 1}
		if deg > 70 {
			p.Illumination = 1 - (deg-70)*0.02
		}
		spec.Points = append(spec.Points, p)
	}
	return spec
}

// The table has light beyond 90°, between two points never more or less than theirs.
func TestTablesBeyondARightAngle(t *testing.T) {
	spec := wideView()
	l := must[wide.Lens](t)(wide.New(spec))
	for i, p := range spec.Points[1:] {
		last := spec.Points[i]
		for k := 0.0; k <= 1; k += 0.1 {
			theta := last.FieldAngle + (p.FieldAngle-last.FieldAngle)*unit.Angle(k)
			e := has[float64](t)(l.RelativeIllumination(theta))
			assert.True(t, e <= last.Illumination+1e-15 && e >= p.Illumination-1e-15, "%v at %v", e, theta)
			r, s, ok := l.PupilWidths(theta)
			assert.True(t, ok && r > 0)
			assert.InEpsilon(t, float64(r), float64(s), 1e-15, "without aspects the pupil is round")
		}
	}
	// A round pupil at 100° that passes 0.4 into an image drawn out by θ/sin θ.
	r, _, _ := l.PupilWidths(unit.Angle(rad(100)))
	assert.InEpsilon(t, 8e-3/2.8*math.Sqrt(0.4*rad(100)/math.Sin(rad(100))), float64(r), 1e-12, "a few roundings")

	spec.Points[3].ImageHeight = 0
	assert.InDelta(t, 8*rad(30), 1e3*8e-3*has[float64](t)(l.Radius(unit.Angle(rad(30)))), 1e-9, "the table is copied: mm")

	thin := must[lens.Lens](t)(lens.New(lens.Spec{FocalLength: l.FocalLength(), FNumber: 2.8, Model: l}))
	assert.InDelta(t, 16*rad(110), float64(has[unit.Length](t)(thin.ImageCircle())/mm), 1e-9, "mm")
	assert.InDelta(t, 2*12/8.0, float64(has[unit.Angle](t)(thin.AngleOfView(24*mm))), 1e-12, "radians")
}

func TestTablesThatCannotBe(t *testing.T) {
	for want, change := range map[string]func(*wide.Spec){
		"wide: f-number 0": func(s *wide.Spec) { s.FNumber = 0 },
		"wide: number of points 0: must be at least 4": func(s *wide.Spec) { s.Points = nil },
		"wide: number of points 3: must be at least 4": func(s *wide.Spec) { s.Points = s.Points[:3] },
		"wide: point 0 {": func(s *wide.Spec) { s.Points = s.Points[1:] },
		"on the axis: angle and height 0, illumination and":    func(s *wide.Spec) { s.Points[0].Illumination = 0.9 },
		"wide: field angle of point 4 30°: must be more than":  func(s *wide.Spec) { s.Points[4].FieldAngle = s.Points[3].FieldAngle },
		"wide: field angle of point 11 176°":                   func(s *wide.Spec) { s.Points[11].FieldAngle = unit.Angle(rad(176)) },
		"wide: field angle of point 2 NaN°":                    func(s *wide.Spec) { s.Points[2].FieldAngle = unit.Angle(nan) },
		"wide: image height of point 5 0 m: must be more than": func(s *wide.Spec) { s.Points[5].ImageHeight = 0 },
		"wide: image height of point 11 600 mm":                func(s *wide.Spec) { s.Points[11].ImageHeight = 0.6 },
		"is 120 mm meant?":                                     func(s *wide.Spec) { s.Points[0].Pupil = 120 },
		"wide: illumination of point 9 0":                      func(s *wide.Spec) { s.Points[9].Illumination = 0 },
		"wide: pupil aspect of point 1 0":                      func(s *wide.Spec) { s.Points[0].PupilAspect = 1 },
		"wide: image heights between 40° and 50°: must grow everywhere: add points, or smooth them": func(s *wide.Spec) {
			s.Points[4].ImageHeight = s.Points[5].ImageHeight - 1*um
		},
		"wide: focal length, which is the slope of the image heights on the axis 80 µm": func(s *wide.Spec) {
			for i := range s.Points {
				s.Points[i].ImageHeight /= 100
			}
		},
	} {
		spec := wideView()
		change(&spec)
		_, err := wide.New(spec)
		refuses(t, err, want)
	}
	for _, f := range []unit.Length{0, 0.09 * mm, 101 * mm, unit.Length(nan)} {
		_, err := wide.Fisheye170(f)
		refuses(t, err, "wide: focal length ")
		_, err = wide.Retrofocus100(f)
		refuses(t, err, "wide: focal length ")
	}
	_, err := wide.Fisheye170(28.1 * mm)
	refuses(t, err, "wide: focal length 28.1 mm: must be at least 100 µm and at most 28 mm")
	_, err = wide.Fisheye170(12)
	refuses(t, err, "is 12 mm meant?")
	_, err = wide.New(must[wide.Spec](t)(wide.Fisheye170(28 * mm)))
	require.NoError(t, err, "the longest")
	_, err = wide.New(must[wide.Spec](t)(wide.Retrofocus100(100 * mm)))
	require.NoError(t, err, "the longest")
}

func TestHostileArguments(t *testing.T) {
	spec := wideView()
	l := must[wide.Lens](t)(wide.New(spec))
	zooms := wide.ZoomSpec{Points: []wide.ZoomPoint{{FocalLength: 8e-3, ImageCircle: 0.02}, {FocalLength: 16e-3, ImageCircle: 0.04}}}
	frame := even{width: 64, height: 64, x: 32, y: 32}.plane(rand.New(rand.NewPCG(1, 1)))
	hostile.Calls(t, []any{frame, wide.FalloffSpec{X: 32, Y: 32, Pitch: 4 * um, Points: heights(0, 8, 16, 24)}},
		wide.MeasureImageCircle[float32], wide.MeasureImageCircle[uint16], wide.MeasureFalloff[float32], wide.MeasureFalloff[uint8])
	hostile.Calls(t, []any{spec, l, zooms, must[wide.Zoom](t)(wide.NewZoom(zooms)), (*form)(nil), lens.Format{Width: 0.036, Height: 0.024}, wide.Wall{Distance: 3, Pitch: 2e-3, Incidence: 0.5}, wide.SeamSpec{Pivot: 0.1, Turn: 1, Distance: 2, Pitch: 3e-6}},
		wide.New, wide.Fisheye170, wide.Retrofocus100, wide.Lens.Radius, wide.Lens.Angle, wide.Lens.Slope, wide.Lens.MaxAngle, wide.Lens.FocalLength,
		wide.Lens.Pupil, wide.Lens.PupilWidths, wide.Lens.RelativeIllumination, wide.Lens.Blur, wide.Lens.WallBlur, wide.Lens.FocusForWallBlur,
		wide.Lens.Sight, wide.Lens.Seam,
		wide.NewZoom, wide.Zoom.At, wide.Zoom.Views, wide.ZoomLimit.String, wide.ZoomLimit.MarshalText, (*wide.ZoomLimit).UnmarshalText)
}

func TestLongTablesGiveShortErrors(t *testing.T) {
	_, err := wide.New(wide.Spec{FNumber: 2, Points: make([]wide.Point, 1<<16)})
	assert.ErrorIs(t, err, wide.ErrInvalid)
	assert.Less(t, len(err.Error()), 1000)
	_, err = wide.NewZoom(wide.ZoomSpec{Points: make([]wide.ZoomPoint, 1<<16)})
	assert.ErrorIs(t, err, wide.ErrInvalid)
	assert.Less(t, len(err.Error()), 1000)
}
