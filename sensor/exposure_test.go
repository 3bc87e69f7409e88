package sensor_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

func exposure(t testing.TB, spec sensor.ExposureSpec) sensor.Exposure {
	t.Helper()
	e, err := sensor.NewExposure(spec)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// must fails the test on an error and passes the value on.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Error(err)
		}
		return v
	}
}

// known fails the test where there is no answer and passes the value on.
func known(t testing.TB) func(float64, bool) float64 {
	return func(v float64, ok bool) float64 {
		t.Helper()
		if !ok {
			t.Error("no answer")
		}
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
		ref.Near(t, "sensor-ev100", e.EV100(), tc.ev100, tc)
		ref.Near(t, "sensor-settings-for-ev", must[unit.Time](t)(sensor.TimeForEV100(tc.ev100, tc.n, tc.index)), tc.t, tc)
		ref.Near(t, "sensor-settings-for-ev", must[float64](t)(sensor.FNumberForEV100(tc.ev100, tc.t, tc.index)), tc.n, tc)
	}
	// Av + Tv; the index does not count.
	e := exposure(t, sensor.ExposureSpec{FNumber: 8, Time: 1. / 250, Index: 3200})
	ref.Near(t, "sensor-ev", e.EV(), 13.9657842847)
	ref.Near(t, "sensor-ev", e.EV(), 6+7.96578428466)
}

func TestMeters(t *testing.T) {
	value := must[float64](t)
	ref.Near(t, "sensor-meter-zero", value(sensor.EV100FromLuminance(0.125, 12.5)), 0)
	ref.Near(t, "sensor-meter-zero", value(sensor.EV100FromIlluminance(2.5, 250)), 0)
	ref.Near(t, "sensor-meter-zero", value(sensor.LuminanceFromEV100(0, 12.5)), 0.125)
	ref.Near(t, "sensor-meter-zero", value(sensor.IlluminanceFromEV100(0, 250)), 2.5)

	for _, tc := range []struct{ luminance, want float64 }{{100, 9.64385618977}, {1000, 12.9657842847}, {1500, 13.5507467854}} {
		ref.Near(t, "sensor-meter-wall", value(sensor.EV100FromLuminance(tc.luminance, 12.5)), tc.want, tc)
	}

	luminance := []float64{0.008, 0.016, 0.031, 0.063, 0.125, 0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048, 4096}
	illuminance := []float64{0.156, 0.313, 0.625, 1.25, 2.5, 5, 10, 20, 40, 80, 160, 320, 640, 1280, 2560, 5120, 10240, 20480, 40960, 81920}
	for i := range luminance {
		ev := float64(i - 4)
		ref.Near(t, "sensor-meter-table-luminance", value(sensor.LuminanceFromEV100(ev, 12.5)), luminance[i], ev)
		ref.Near(t, "sensor-meter-table-illuminance", value(sensor.IlluminanceFromEV100(ev, 250)), illuminance[i], ev)
		if ev >= 0 { // printed without rounding
			ref.Near(t, "sensor-meter-table-luminance", value(sensor.EV100FromLuminance(luminance[i], 12.5)), ev, ev)
			ref.Near(t, "sensor-meter-table-illuminance", value(sensor.EV100FromIlluminance(illuminance[i], 250)), ev, ev)
		}
	}
	const squareFoot = 0.3048 * 0.3048 // m²
	for _, tc := range []struct{ ev, footLambert, footCandle float64 }{
		{3, 0.292, 1.86}, {6, 2.33, 14.9}, {9, 18.7, 119}, {12, 149, 951}, {13, 299, 0}, {14, 598, 3805},
	} {
		ref.Near(t, "sensor-meter-table-footlambert", value(sensor.LuminanceFromEV100(tc.ev, 12.5))*math.Pi*squareFoot, tc.footLambert, tc)
		if tc.footCandle != 0 { // the source prints none at 13
			ref.Near(t, "sensor-meter-table-footcandle", value(sensor.IlluminanceFromEV100(tc.ev, 250))*squareFoot, tc.footCandle, tc)
		}
	}

	// Settings of EV100 12 and of 9: f/8 1/64 s at 100, and at 800.
	e := exposure(t, sensor.ExposureSpec{FNumber: 8, Time: 1. / 64, Index: 100})
	ref.Near(t, "sensor-meter-settings", known(t)(e.Luminance(12.5)), 512)
	ref.Near(t, "sensor-meter-settings", known(t)(e.Illuminance(250)), 10240)
	e = exposure(t, sensor.ExposureSpec{FNumber: 8, Time: 1. / 64, Index: 800})
	ref.Near(t, "sensor-meter-settings", known(t)(e.Luminance(12.5)), 64)
	ref.Near(t, "sensor-meter-settings", known(t)(e.Illuminance(250)), 1280)
}

// The example of the source: 4000 cd/m², f/8, 1/250 s, and its usual lens.
var sourceLens = sensor.ExposureSpec{
	FNumber: 8, Time: 1. / 250, Index: 400,
	Transmittance: 0.9, Unvignetted: 0.98, OffAxis: 10 * sensor.Degree,
}

func TestFocalPlane(t *testing.T) {
	flare := sourceLens
	flare.FlareExposure = 0.0015
	h := known(t)(exposure(t, flare).FocalPlane(4000))
	ref.Near(t, "sensor-focal-plane", h, 0.1643937)
	ref.Near(t, "sensor-focal-plane-12", h, 0.164393708621)
	ha := known(t)(exposure(t, sourceLens).FocalPlane(4000))
	ref.Near(t, "sensor-focal-plane-12", ha, 0.162893708621)

	near5m := sourceLens
	near5m.Magnification = 0.05 / (5 - 0.05) // F/(o − F)
	ref.Near(t, "sensor-focal-plane-near", known(t)(exposure(t, near5m).FocalPlane(4000)), 0.9801*ha)

	ref.Near(t, "sensor-saturation", known(t)(exposure(t, flare).Saturation(4000, 400)), 0.8430446)
	ref.Near(t, "sensor-saturation-no-flare", known(t)(exposure(t, sourceLens).Saturation(4000, 400)), 0.8353523)
}

func TestSaturationMargin(t *testing.T) {
	e := exposure(t, sourceLens)
	full := known(t)(e.Saturation(4000, 400))
	for stops := -20; stops <= 20; stops++ {
		l := math.Ldexp(4000/full, -stops) // full at 0 stops
		ref.Near(t, "sensor-saturation-margin", known(t)(e.SaturationMargin(l, 400)), float64(stops), stops)
	}
	if v, ok := e.SaturationMargin(0, 400); ok || v != 0 {
		t.Errorf("no light: %v, %v", v, ok)
	}
}

func TestSpeeds(t *testing.T) {
	value := must[float64](t)
	ref.Near(t, "sensor-saturation-inverse", value(sensor.SaturationSpeed(78)), 1)
	ref.Near(t, "sensor-saturation-inverse", value(sensor.SaturationExposure(0.5)), 156)
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
	const index = 100
	grey := 10. / index
	white := value(sensor.SaturationExposure(index)) * 0.18 / grey
	ref.Near(t, "sensor-saturation-speed", white, 1.41)
	ref.Near(t, "sensor-saturation-speed", value(sensor.SaturationSpeed(1.41*grey/0.18))/value(sensor.ExposureIndex(grey)), 1)
	for _, tc := range []struct{ h, want float64 }{
		{0.1628937086212269, 61.3897251443},
		{0.16439371, 60.82957797}, {0.08810904, 113.49573211}, {0.09310904, 107.40095699},
	} {
		ref.Near(t, "sensor-exposure-index", value(sensor.ExposureIndex(tc.h)), tc.want, tc)
	}
}

// What a meter calls right gives the mean exposure that the index means: with K
// 12.5 and q 0.65, q K is 8.1, and 10 with the 15.4 that ISO 12232 implies.
func TestMeteredSceneIsExposedForItsIndex(t *testing.T) {
	for _, s := range evOfSettings {
		spec := sourceLens
		spec.FNumber, spec.Time, spec.Index = s.n, s.t, s.index
		e := exposure(t, spec)
		h := known(t)(e.FocalPlane(known(t)(e.Luminance(15.35))))
		near.Rel(t, "index", must[float64](t)(sensor.ExposureIndex(h)), s.index, 1e-3, "15.35 has 4 digits")
	}
}

func TestExposureProportions(t *testing.T) {
	spec := sensor.ExposureSpec{FNumber: 4, Time: 1. / 48, Index: 800}
	base := exposure(t, spec)
	h := known(t)(base.FocalPlane(10))
	// An ideal lens: H = π L t / (4 N²), the illuminance π L over (2N)².
	near.Rel(t, "ideal lens", h, math.Pi*10/48/64, 1e-15, "a few roundings")
	for _, tc := range []struct {
		what   string
		change func(*sensor.ExposureSpec)
		factor float64
	}{
		{"twice the time", func(s *sensor.ExposureSpec) { s.Time *= 2 }, 2},
		{"twice the f-number", func(s *sensor.ExposureSpec) { s.FNumber *= 2 }, 0.25},
		{"any index", func(s *sensor.ExposureSpec) { s.Index = 50 }, 1},
		{"half the glass", func(s *sensor.ExposureSpec) { s.Transmittance = 0.5 }, 0.5},
		{"half vignetted", func(s *sensor.ExposureSpec) { s.Unvignetted = 0.5 }, 0.5},
		{"60° off axis", func(s *sensor.ExposureSpec) { s.OffAxis = 60 * sensor.Degree }, 1. / 16},
		{"life size", func(s *sensor.ExposureSpec) { s.Magnification = 1 }, 0.25},
	} {
		changed := spec
		tc.change(&changed)
		near.Rel(t, tc.what, known(t)(exposure(t, changed).FocalPlane(10)), tc.factor*h, 1e-14, "a few roundings")
	}
	spec.FlareExposure = 0.25
	near.Abs(t, "flare", known(t)(exposure(t, spec).FocalPlane(0)), 0.25, 0, "the flare alone")
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
				near.Rel(t, m.name, must[float64](t)(m.back(must[float64](t)(m.there(v, k)), k)), v, 1e-14, "an ulp of log2 at 47 EV is 7e-15")
			}
			for _, ev := range []float64{-100, 100} { // 1e-29 and 1e31 in proportion
				if v, err := m.back(ev, k); !errors.Is(err, sensor.ErrInvalid) || v != 0 {
					t.Errorf("%s at %v EV: %v, %v", m.name, ev, v, err)
				}
			}
		}
	}
	for _, n := range []float64{0.5, 1.4, 1024} {
		for _, shutter := range []unit.Time{1e-9, 1. / 48, 1e6} {
			for _, index := range []float64{0.1, 799, 1e8} {
				ev := exposure(t, sensor.ExposureSpec{FNumber: n, Time: shutter, Index: index}).EV100()
				near.Rel(t, "f-number", must[float64](t)(sensor.FNumberForEV100(ev, shutter, index)), n, 1e-14, "an ulp of log2 at 60 EV is 7e-15")
				near.Rel(t, "time", must[unit.Time](t)(sensor.TimeForEV100(ev, n, index)), shutter, 1e-14, "an ulp of log2 at 60 EV is 7e-15")
			}
		}
	}
	for _, h := range []float64{1e-7, 0.1, 100} {
		index := must[float64](t)(sensor.ExposureIndex(h))
		exposure(t, sensor.ExposureSpec{FNumber: 4, Time: 1, Index: index})
	}
	for compression := 1.0; compression < 20; compression += 0.37 {
		fast := sensor.RecordingSpec{Raster: sensor.UHD4320.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: sensor.FrameRate{Num: 24000, Den: 1001}, Compression: compression}
		r := recording(t, fast)
		lasts, ok := r.StoreTime(1e30)
		store, okBack := r.StoreBytes(lasts)
		if near.Rel(t, "store", store, 1e30, 1e-15, "two roundings"); !ok || !okBack {
			t.Errorf("the largest store: %v, %v", ok, okBack)
		}
		if store, ok := r.StoreBytes(1e30); ok {
			t.Errorf("a take that needs %v bytes, which StoreTime refuses", store)
		}
		slow := fast
		slow.Raster, slow.Rate = sensor.Raster{Columns: 1, Rows: 1}, sensor.FrameRate{Num: 1, Den: math.MaxInt64}
		r = recording(t, slow)
		store, ok = r.StoreBytes(1e30)
		lasts, okBack = r.StoreTime(store)
		if near.Rel(t, "take", float64(lasts), 1e30, 1e-15, "two roundings"); !ok || !okBack {
			t.Errorf("the longest take: %v, %v", ok, okBack)
		}
		if lasts, ok := r.StoreTime(1e30); ok {
			t.Errorf("a store that lasts %v s, which StoreBytes refuses", float64(lasts))
		}
	}
	irradiance := must[float64](t)(sensor.Irradiance(1e12, 0.5))
	must[float64](t)(sensor.Photons(irradiance, um, um, um, 1))
}

func TestSettingsThatNothingHas(t *testing.T) {
	for want, ask := range map[string]func() error{
		// sqrt(2^-7 · 1 · 100/100)
		"sensor: f-number for -7 EV 0.0883883: must be at least 0.5 and at most 1024":                 func() error { _, err := sensor.FNumberForEV100(-7, 1, 100); return err },
		"sensor: f-number for 40 EV 1.04858e+06: must be at least 0.5 and at most 1024":               func() error { _, err := sensor.FNumberForEV100(40, 1, 100); return err },
		"sensor: exposure time for 50 EV 8.88178e-08 ns: must be at least 1 ns and at most 277.778 h": func() error { _, err := sensor.TimeForEV100(50, 1, 1000); return err },
	} {
		if err := ask(); !errors.Is(err, sensor.ErrInvalid) || err.Error() != want {
			t.Errorf("got\n%v\nwant\n%s", err, want)
		}
	}
	// A meter would have to show a light that there is not.
	e := exposure(t, sensor.ExposureSpec{FNumber: 1024, Time: 1e-9, Index: 0.1})
	if l, ok := e.Luminance(12.5); ok {
		t.Errorf("a luminance of %v cd/m²", l)
	}
	if l, ok := e.Illuminance(250); ok {
		t.Errorf("an illuminance of %v lx", l)
	}
}

func FuzzExposureValue(f *testing.F) {
	f.Add(12.0, 8.0, 0.004, 400.0, 12.5)
	f.Add(-100.0, 1024.0, 1e-9, 1e8, 1000.0)
	f.Add(math.NaN(), math.Inf(1), math.Inf(-1), 0.0, -1.0)
	f.Fuzz(func(t *testing.T, ev, n, seconds, index, k float64) {
		const why = "an ulp of log2 at 100 EV is 1.4e-14"
		if l, err := sensor.LuminanceFromEV100(ev, k); err == nil {
			if back, err := sensor.EV100FromLuminance(l, k); err == nil {
				near.Abs(t, "luminance", back, ev, 3e-14, why)
			}
		}
		if l, err := sensor.IlluminanceFromEV100(ev, k); err == nil {
			if back, err := sensor.EV100FromIlluminance(l, k); err == nil {
				near.Abs(t, "illuminance", back, ev, 3e-14, why)
			}
		}
		if shutter, err := sensor.TimeForEV100(ev, n, index); err == nil {
			if e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: n, Time: shutter, Index: index}); err == nil {
				near.Abs(t, "time", e.EV100(), ev, 3e-14, why)
			}
		}
		if fNumber, err := sensor.FNumberForEV100(ev, unit.Time(seconds), index); err == nil {
			if e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: fNumber, Time: unit.Time(seconds), Index: index}); err == nil {
				near.Abs(t, "f-number", e.EV100(), ev, 3e-14, why)
			}
		}
	})
}
