package sensor_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func exposure(t testing.TB, spec sensor.ExposureSpec) sensor.Exposure {
	t.Helper()
	e, err := sensor.NewExposure(spec)
	require.NoError(t, err)
	return e
}

// must fails the test on an error and passes the value on.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// known fails the test where there is no answer and passes the value on.
func known(t testing.TB) func(float64, bool) float64 {
	return func(v float64, ok bool) float64 {
		t.Helper()
		require.True(t, ok, "no answer")
		return v
	}
}

var evOfSettings = []struct {
	n     float64
	t     unit.Time
	index float64
	ev100 float64
}{
	{8, 1. / 250, 100, 13.96578428},
	{8, 1. / 250, 400, 11.96578428},
	{5.6, 1. / 500, 800, 10.93663794},
	{2.8, 1. / 1000, 1600, 8.93663794},
}

func TestExposureValue(t *testing.T) {
	for _, tc := range evOfSettings {
		e := exposure(t, sensor.ExposureSpec{FNumber: tc.n, Time: tc.t, Index: tc.index})
		ref.Near(t, "S-EV100", e.EV100(), tc.ev100, tc)
		ref.Near(t, "S-SETTINGS-FOR-EV", must[unit.Time](t)(sensor.TimeForEV100(tc.ev100, tc.n, tc.index)), tc.t, tc)
		ref.Near(t, "S-SETTINGS-FOR-EV", must[float64](t)(sensor.FNumberForEV100(tc.ev100, tc.t, tc.index)), tc.n, tc)
	}
}

// light is the light of a whole number of EV, by doubling or halving that of EV 0.
func light(ev int, atZero float64) float64 {
	for ; ev > 0; ev-- {
		atZero *= 2
	}
	for ; ev < 0; ev++ {
		atZero /= 2
	}
	return atZero
}

// A stop of the f-number, of the time or of the index is one EV, and a doubling
// of the light: from f/1, 1 s and index 100 on.
func TestStopsAreCounted(t *testing.T) {
	for closed := -2; closed <= 20; closed++ { // by the f-number
		for faster := -19; faster <= 29; faster += 4 { // by the time
			for slower := -19; slower <= 9; slower += 7 { // by the index
				stops := closed + faster + slower
				if stops < -35 || stops > 37 {
					continue // beyond the lights answered
				}
				e := exposure(t, sensor.ExposureSpec{
					FNumber: math.Sqrt(light(closed, 1)), Time: unit.Time(light(-faster, 1)), Index: light(-slower, 100),
				})
				ref.Near(t, "S-EV", e.EV(), float64(closed+faster), closed, faster)
				ref.Near(t, "S-EV", e.EV100(), float64(stops), closed, faster, slower)
				ref.Near(t, "S-METER-SETTINGS", known(t)(e.Luminance(12.5)), light(stops, 0.125), closed, faster, slower)
				ref.Near(t, "S-METER-SETTINGS", known(t)(e.Luminance(25)), light(stops+1, 0.125), closed, faster, slower)
				ref.Near(t, "S-METER-SETTINGS", known(t)(e.Illuminance(250)), light(stops, 2.5), closed, faster, slower)
				ref.Near(t, "S-METER-SETTINGS", known(t)(e.Illuminance(500)), light(stops+1, 2.5), closed, faster, slower)
			}
		}
	}
}

func TestMeters(t *testing.T) {
	value := must[float64](t)
	ref.Near(t, "S-METER-ZERO", value(sensor.EV100FromLuminance(0.125, 12.5)), 0)
	ref.Near(t, "S-METER-ZERO", value(sensor.EV100FromIlluminance(2.5, 250)), 0)
	ref.Near(t, "S-METER-ZERO", value(sensor.LuminanceFromEV100(0, 12.5)), 0.125)
	ref.Near(t, "S-METER-ZERO", value(sensor.IlluminanceFromEV100(0, 250)), 2.5)

	for ev := -30; ev <= 30; ev++ {
		for _, doubled := range []int{0, 1} { // the constant of the meter
			k, c := light(doubled, 12.5), light(doubled, 250)
			cdPerM2, lux := light(ev+doubled, 0.125), light(ev+doubled, 2.5)
			ref.Near(t, "S-METER-DOUBLING", value(sensor.LuminanceFromEV100(float64(ev), k)), cdPerM2, ev, k)
			ref.Near(t, "S-METER-DOUBLING", value(sensor.IlluminanceFromEV100(float64(ev), c)), lux, ev, c)
			ref.Near(t, "S-METER-DOUBLING", value(sensor.EV100FromLuminance(cdPerM2, k)), float64(ev), ev, k)
			ref.Near(t, "S-METER-DOUBLING", value(sensor.EV100FromIlluminance(lux, c)), float64(ev), ev, c)
		}
	}
}

// The example of the source: 4000 cd/m², f/8, 1/250 s, and its usual lens.
var sourceLens = sensor.ExposureSpec{
	FNumber: 8, Time: 1. / 250, Index: 400,
	Transmission: 0.9, RelativeIllumination: 0.98 * 0.9406018657828263, // vignetting, and cos⁴ of 10°
}

func TestFocalPlane(t *testing.T) {
	flare := sourceLens
	flare.FlareExposure = 0.0015
	ref.Near(t, "S-FOCAL-PLANE", known(t)(exposure(t, flare).FocalPlane(4000)), 0.1643937)
	ref.Near(t, "S-SATURATION", known(t)(exposure(t, flare).FractionOfSaturation(4000, 400)), 0.8430446)
	ref.Near(t, "S-SATURATION-NO-FLARE", known(t)(exposure(t, sourceLens).FractionOfSaturation(4000, 400)), 0.8353523)
}

// The light of a far surface, followed through a lens of focal length 1 that
// images without fault: each ring of the entrance pupil, of radius h, sends its
// rays to the sensor at the angle α of sin α = h. First the rays are counted
// where they enter: a patch of the surface that fills a solid angle ω lights
// the pupil, and the lens lays this light on the patch's image, of area ω.
// Then they are added up where they arrive, over the cone.
func TestFocalPlaneOfALensThatImagesWell(t *testing.T) {
	for _, n := range []float64{0.5, 0.7, 1.4, 2.8, 16} {
		got := known(t)(exposure(t, sensor.ExposureSpec{FNumber: n, Time: 1, Index: 100}).FocalPlane(1))
		const rings = 20000
		edge := 1 / (2 * n)
		var entering, arriving float64
		for i := range rings {
			h, next := edge*float64(i)/rings, edge*float64(i+1)/rings
			entering += math.Pi * (next - h) * (next + h)
			from, to := math.Asin(h), math.Asin(next)
			middle := (from + to) / 2
			arriving += math.Cos(middle) * 2 * math.Pi * math.Sin(middle) * (to - from)
		}
		ref.Near(t, "S-FOCAL-PLANE-RINGS", got, entering, n, "entering")
		ref.Near(t, "S-FOCAL-PLANE-RINGS", got, arriving, n, "arriving")
	}
}

// A thin lens is a bright disc before the sensor: each patch of it lights a point
// of the sensor by the cosines at both ends over the distance squared. Focused
// near, the disc stands farther away.
func TestFocalPlaneOffTheAxis(t *testing.T) {
	const n = 1000 // so small a disc is far away; 1/(4 n²) is what is left of its size
	for _, angle := range []float64{0, 10, 35, 60, 80} {
		for _, m := range []float64{0, 0.05 / 4.95, 1, 3} {
			i := 1 + m // image distance of a lens of focal length 1
			y := i * math.Tan(angle*math.Pi/180)
			cos4 := math.Pow(math.Cos(angle*math.Pi/180), 4) // natural falloff
			const rings, spokes = 30, 60
			var light float64
			for ring := range rings {
				for spoke := range spokes {
					r := (float64(ring) + 0.5) / rings / (2 * n)
					sin, cos := math.Sincos(2 * math.Pi * (float64(spoke) + 0.5) / spokes)
					patch := r * (1. / (2 * n) / rings) * (2 * math.Pi / spokes)
					d := math.Hypot(math.Hypot(r*cos-y, r*sin), i)
					light += patch * (i / d) * (i / d) / (d * d)
				}
			}
			e := exposure(t, sensor.ExposureSpec{FNumber: n, Time: 5, Index: 100, RelativeIllumination: cos4, Magnification: m})
			ref.Near(t, "S-FOCAL-PLANE-PUPIL", known(t)(e.FocalPlane(7)), 5*7*light, angle, m)
		}
	}
}

func TestSaturationMargin(t *testing.T) {
	e := exposure(t, sourceLens)
	full := known(t)(e.FractionOfSaturation(4000, 400))
	for stops := -20; stops <= 20; stops++ {
		l := light(-stops, 4000/full) // full at 0 stops
		ref.Near(t, "S-SATURATION-MARGIN", known(t)(e.SaturationMargin(l, 400)), float64(stops), stops)
	}
	_, ok := e.SaturationMargin(0, 400)
	assert.False(t, ok, "no light")
}

func TestSpeeds(t *testing.T) {
	value := must[float64](t)
	ref.Near(t, "S-SATURATION-INVERSE", value(sensor.SaturationSpeed(78)), 1)
	ref.Near(t, "S-SATURATION-INVERSE", value(sensor.SaturationExposure(0.5)), 156)
	for _, s := range []float64{0.1, 100, 799, 1e8} {
		h := value(sensor.SaturationExposure(s))
		near.ULP(t, "speed", value(sensor.SaturationSpeed(h)), s, 1, "two divisions")
	}
	for _, h := range []float64{7.8e-7, 1e-3, 780} {
		s := value(sensor.SaturationSpeed(h))
		near.ULP(t, "exposure", value(sensor.SaturationExposure(s)), h, 1, "two divisions")
	}
	// An 18 % grey exposed for index 100 on a sensor of speed 100: a white of
	// 141 % would be full, half a stop above a perfect white.
	const index, grey = 100, 10. / 100
	ref.Near(t, "S-SATURATION-SPEED", value(sensor.SaturationExposure(index))*0.18/grey, 1.41)
	ref.Near(t, "S-SATURATION-SPEED", value(sensor.SaturationSpeed(1.41*grey/0.18))/index, 1)
}

// A scene that a meter measures is exposed for the index set, by 10/S lx·s, if
// q K is 10: K is 15.4 with the usual lens.
func TestMeteredSceneIsExposedForItsIndex(t *testing.T) {
	for _, s := range evOfSettings {
		spec := sourceLens
		spec.FNumber, spec.Time, spec.Index = s.n, s.t, s.index
		e := exposure(t, spec)
		h := known(t)(e.FocalPlane(known(t)(e.Luminance(15.35))))
		assert.InEpsilon(t, 10/s.index, h, 1e-3, "15.35 has 4 digits")
	}
}

func TestExposureProportions(t *testing.T) {
	spec := sensor.ExposureSpec{FNumber: 4, Time: 1. / 48, Index: 800}
	h := known(t)(exposure(t, spec).FocalPlane(10))
	for what, tc := range map[string]struct {
		change func(*sensor.ExposureSpec)
		factor float64
	}{
		"twice the time":     {func(s *sensor.ExposureSpec) { s.Time *= 2 }, 2},
		"twice the f-number": {func(s *sensor.ExposureSpec) { s.FNumber *= 2 }, 0.25},
		"any index":          {func(s *sensor.ExposureSpec) { s.Index = 50 }, 1},
		"half the glass":     {func(s *sensor.ExposureSpec) { s.Transmission = 0.5 }, 0.5},
		"a darker edge":      {func(s *sensor.ExposureSpec) { s.RelativeIllumination = 0.0625 }, 1. / 16},
		"life size":          {func(s *sensor.ExposureSpec) { s.Magnification = 1 }, 0.25},
	} {
		changed := spec
		tc.change(&changed)
		assert.InEpsilon(t, tc.factor*h, known(t)(exposure(t, changed).FocalPlane(10)), 1e-14, what)
	}
	spec.FlareExposure = 0.25
	assert.Equal(t, 0.25, known(t)(exposure(t, spec).FocalPlane(0)), "the flare alone")
}

func TestEqualSpecsGiveEqualValues(t *testing.T) {
	spec := sensor.ExposureSpec{FNumber: 4, Time: 1. / 48, Index: 800}
	same := spec
	same.Transmission, same.RelativeIllumination = 1, 1
	assert.True(t, exposure(t, spec) == exposure(t, same))
}

// An inverse takes whatever the function gives, to the ends of its range.
func TestInversesTakeEachOthersEnds(t *testing.T) {
	for _, k := range []float64{10, 12.5, 77.7, 1000} {
		for _, m := range []struct {
			name  string
			there func(v, k float64) (float64, error)
			back  func(ev, k float64) (float64, error)
		}{
			{"luminance", sensor.EV100FromLuminance, sensor.LuminanceFromEV100},
			{"illuminance", sensor.EV100FromIlluminance, sensor.IlluminanceFromEV100},
		} {
			for _, v := range []float64{1e-12, 3e-7, 1, 1e12} {
				assert.InEpsilon(t, v, must[float64](t)(m.back(must[float64](t)(m.there(v, k)), k)), 1e-14, "%s: an ulp of log2 at 47 EV is 7e-15", m.name)
			}
			for _, ev := range []float64{-100, 100} { // 1e-29 and 1e31 in proportion
				v, err := m.back(ev, k)
				assert.ErrorIs(t, err, sensor.ErrInvalid, m.name)
				assert.Zero(t, v, m.name)
			}
		}
	}
	for _, n := range []float64{0.5, 1.4, 1024} {
		for _, shutter := range []unit.Time{1e-9, 1. / 48, 1e6} {
			for _, index := range []float64{0.1, 799, 1e8} {
				ev := exposure(t, sensor.ExposureSpec{FNumber: n, Time: shutter, Index: index}).EV100()
				assert.InEpsilon(t, n, must[float64](t)(sensor.FNumberForEV100(ev, shutter, index)), 1e-14, "an ulp of log2 at 60 EV is 7e-15")
				assert.InEpsilon(t, float64(shutter), float64(must[unit.Time](t)(sensor.TimeForEV100(ev, n, index))), 1e-14, "an ulp of log2 at 60 EV is 7e-15")
			}
		}
	}
}

func TestSettingsThatNothingHas(t *testing.T) {
	for want, ask := range map[string]func() error{
		// sqrt(2^-7 · 1 · 100/100)
		"sensor: f-number for -7 EV 0.0883883: must be at least 0.5 and at most 1024":                 func() error { _, err := sensor.FNumberForEV100(-7, 1, 100); return err },
		"sensor: f-number for 40 EV 1.04858e+06: must be at least 0.5 and at most 1024":               func() error { _, err := sensor.FNumberForEV100(40, 1, 100); return err },
		"sensor: exposure time for 50 EV 8.88178e-08 ns: must be at least 1 ns and at most 277.778 h": func() error { _, err := sensor.TimeForEV100(50, 1, 1000); return err },
	} {
		err := ask()
		assert.ErrorIs(t, err, sensor.ErrInvalid)
		assert.EqualError(t, err, want)
	}
	// An answer a little beyond the end of a range is refused.
	for _, beyond := range []float64{1.001, 1.0000001} {
		_, err := sensor.LuminanceFromEV100(math.Log2(beyond*1e12/0.125), 12.5)
		assert.ErrorIs(t, err, sensor.ErrInvalid)
		_, err = sensor.TimeForEV100(math.Log2(beyond*1e9), 1, 100)
		assert.ErrorIs(t, err, sensor.ErrInvalid)
		_, err = sensor.FNumberForEV100(2*math.Log2(beyond*1024), 1, 100)
		assert.ErrorIs(t, err, sensor.ErrInvalid)
	}
	// A meter would have to show a light that there is not.
	e := exposure(t, sensor.ExposureSpec{FNumber: 1024, Time: 1e-9, Index: 0.1})
	_, ok := e.Luminance(12.5)
	assert.False(t, ok)
	_, ok = e.Illuminance(250)
	assert.False(t, ok)
}

func FuzzExposureValue(f *testing.F) {
	f.Add(12.0, 8.0, 0.004, 400.0, 12.5)
	f.Add(-100.0, 1024.0, 1e-9, 1e8, 1000.0)
	f.Add(math.NaN(), math.Inf(1), math.Inf(-1), 0.0, -1.0)
	f.Fuzz(func(t *testing.T, ev, n, seconds, index, k float64) {
		same := func(what string, back float64, err error) {
			if err == nil {
				assert.InDelta(t, ev, back, 3e-14, "%s: an ulp of log2 at 100 EV is 1.4e-14", what)
			}
		}
		if l, err := sensor.LuminanceFromEV100(ev, k); err == nil {
			back, err := sensor.EV100FromLuminance(l, k)
			same("luminance", back, err)
		}
		if l, err := sensor.IlluminanceFromEV100(ev, k); err == nil {
			back, err := sensor.EV100FromIlluminance(l, k)
			same("illuminance", back, err)
		}
		if shutter, err := sensor.TimeForEV100(ev, n, index); err == nil {
			e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: n, Time: shutter, Index: index})
			same("time", e.EV100(), err)
		}
		if fNumber, err := sensor.FNumberForEV100(ev, unit.Time(seconds), index); err == nil {
			e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: fNumber, Time: unit.Time(seconds), Index: index})
			same("f-number", e.EV100(), err)
		}
	})
}
