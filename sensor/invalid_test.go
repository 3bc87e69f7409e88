package sensor_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

func TestFaultsAreReportedTogether(t *testing.T) {
	_, err := sensor.NewFormat(sensor.FormatSpec{Raster: sensor.Raster{Columns: 0, Rows: 1 << 25}, Width: 36, Height: unit.Length(math.NaN())})
	want := `sensor: columns 0 px: must be at least 1 and at most 16777216 px
sensor: rows 33554432 px: must be at least 1 and at most 16777216 px
sensor: width 36 m: must be at least 100 nm and at most 1 m (a bare number is in metres: is 36 mm meant?)
sensor: height NaN m: must be at least 100 nm and at most 1 m`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	_, err = sensor.NewWindow(sensor.WindowSpec{Right: 1 << 25, Down: -1 << 25})
	want = `sensor: format without a raster: must come from NewFormat
sensor: window columns 0 px: must be at least 1 and at most 16777216 px
sensor: window moved right 33554432 px: must be at least -8388608 and at most 8388608 px
sensor: window rows 0 px: must be at least 1 and at most 16777216 px
sensor: window moved down -33554432 px: must be at least -8388608 and at most 8388608 px`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	_, err = sensor.EV100FromLuminance(0, math.NaN())
	want = `sensor: luminance 0 cd/m²: must be at least 1e-12 cd/m² and at most 1e+12 cd/m²
sensor: meter constant K NaN cd·s/m²: must be at least 1 cd·s/m² and at most 1000 cd·s/m²`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	_, err = sensor.NewRecording(sensor.RecordingSpec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: sensor.FrameRate{Num: 24}})
	want = `sensor: frame rate 24/0 fps: must be at most 1000000 fps, and its two numbers at least 1`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestWrongSpecsAreErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	raster := sensor.UHD2160.Raster()
	whole := format(t, sensor.FormatSpec{Raster: raster, Width: 36 * mm, Height: 20.25 * mm})
	second := func(_ any, err error) error { return err }
	faults := map[string]error{
		"no size":            second(sensor.NewFormat(sensor.FormatSpec{Raster: raster})),
		"size and pitch":     second(sensor.NewFormat(sensor.FormatSpec{Raster: raster, Width: 36 * mm, Pitch: um})),
		"NaN pitch":          second(sensor.NewFormat(sensor.FormatSpec{Raster: raster, Pitch: unit.Length(nan)})),
		"pitch in mm":        second(sensor.NewFormat(sensor.FormatSpec{Raster: raster, Pitch: 5})),
		"too wide by pitch":  second(sensor.NewFormat(sensor.FormatSpec{Raster: raster, Pitch: mm})),
		"window of nothing":  second(sensor.NewWindow(sensor.WindowSpec{Raster: raster})),
		"window too wide":    second(sensor.NewWindow(sensor.WindowSpec{Of: whole, Raster: sensor.Raster{Columns: 3841, Rows: 1}})),
		"window moved out":   second(sensor.NewWindow(sensor.WindowSpec{Of: whole, Raster: sensor.Raster{Columns: 3840, Rows: 1}, Right: 1})),
		"window far out":     second(sensor.NewWindow(sensor.WindowSpec{Of: whole, Raster: raster, Down: math.MinInt})),
		"empty recording":    second(sensor.NewRecording(sensor.RecordingSpec{})),
		"no frames":          second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: 0, Den: 1}})),
		"frames backwards":   second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: -24, Den: 1}})),
		"frames in no time":  second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: 24, Den: 0}})),
		"a lens below f/0.5": second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 0.49, Time: 1, Index: 100})),
		"a rate too high":    second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: 1000001, Den: 1}})),
		"expanding":          second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: 24, Den: 1}, Compression: 0.5})),
		"negative cameras":   second(sensor.NewRecording(sensor.RecordingSpec{Raster: raster, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.FrameRate{Num: 24, Den: 1}, Cameras: -1})),
		"empty exposure":     second(sensor.NewExposure(sensor.ExposureSpec{})),
		"infinite time":      second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: unit.Time(inf), Index: 100})),
		"bright glass":       second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, Transmittance: 1.01})),
		"sideways":           second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, OffAxis: 90 * sensor.Degree})),
		"degrees as radians": second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, OffAxis: 10})),
		"empty photosite":    second(sensor.NewPhotosite(sensor.PhotositeSpec{})),
		"quantum bonus":      second(sensor.NewPhotosite(sensor.PhotositeSpec{QuantumEfficiency: 1.1, Saturation: 1e4, Gain: 1})),
		"NaN noise":          second(sensor.NewPhotosite(sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: nan, Saturation: 1e4, Gain: 1})),
	}
	for name, err := range faults {
		if !errors.Is(err, sensor.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestZeroValuesAnswerNothing(t *testing.T) {
	var f sensor.Format
	var w sensor.Window
	var r sensor.Recording
	var e sensor.Exposure
	var p sensor.Photosite
	zeros := func(name string, values ...float64) {
		for _, v := range values {
			if v != 0 {
				t.Errorf("%s: %v", name, values)
			}
		}
	}
	no := func(name string, ok bool) {
		if ok {
			t.Errorf("%s has an answer", name)
		}
	}
	px, py := f.Pitch()
	nx, ny := f.Nyquist()
	zeros("format", float64(px), float64(py), nx, ny, float64(f.Diagonal()), f.Aspect())
	_, ok := f.CropFactor(sensor.ApertureStill.Size())
	no("format", ok)
	wx, wy := w.Centre()
	zeros("window", float64(wx), float64(wy))
	if w.Format() != f {
		t.Error("the zero window has a format")
	}
	zeros("recording", r.BitsPerSecond(), r.BytesPerSecond())
	_, ok = r.StoreTime(1e12)
	no("recording", ok)
	_, ok = r.StoreBytes(10)
	no("recording", ok)
	zeros("exposure", e.EV(), e.EV100())
	for i, ask := range []func() (float64, bool){
		func() (float64, bool) { return e.Luminance(12.5) },
		func() (float64, bool) { return e.Illuminance(250) },
		func() (float64, bool) { return e.FocalPlane(100) },
		func() (float64, bool) { return e.Saturation(100, 100) },
		func() (float64, bool) { return e.SaturationMargin(100, 100) },
		func() (float64, bool) { return p.SNR(0) },
		func() (float64, bool) { _, _, ok := p.Signal(0); return 0, ok },
	} {
		v, ok := ask()
		zeros(fmt.Sprint("question ", i), v)
		no(fmt.Sprint("question ", i), ok)
	}
	zeros("photosite", p.SaturationPhotons(), p.MaxSNR(), p.Threshold(), p.ExactThreshold(), p.DynamicRange())
}

var special = []float64{0, math.Copysign(0, -1), 5e-324, -1, 1e-12, 0.5, 1, 12.5, 90, 1e6, 1e12, math.MaxFloat64, -math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN()}

// Whatever goes in, what comes out is finite, or zero with an error.
func TestFunctionsNeverGiveNaN(t *testing.T) {
	check := func(name string, v float64, err error, in ...float64) {
		t.Helper()
		if math.IsNaN(v) || math.IsInf(v, 0) || (err != nil && (v != 0 || !errors.Is(err, sensor.ErrInvalid))) {
			t.Errorf("%s%v: %v, %v", name, in, v, err)
		}
	}
	two := map[string]func(a, b float64) (float64, error){
		"EV100FromLuminance": sensor.EV100FromLuminance, "LuminanceFromEV100": sensor.LuminanceFromEV100,
		"EV100FromIlluminance": sensor.EV100FromIlluminance, "IlluminanceFromEV100": sensor.IlluminanceFromEV100,
		"Irradiance": sensor.Irradiance,
		"BoxMTF":     func(a, b float64) (float64, error) { return sensor.BoxMTF(a, unit.Length(b)) },
		"JitterMTF":  func(a, b float64) (float64, error) { return sensor.JitterMTF(a, unit.Length(b)) },
	}
	still := format(t, sensor.FormatSpec{Raster: sensor.UHD2160.Raster(), Width: 36 * mm, Height: 20.25 * mm})
	e := exposure(t, sourceLens)
	rec := recording(t, sensor.RecordingSpec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: sensor.FrameRate{Num: 24, Den: 1}})
	for _, a := range special {
		v, err := sensor.SaturationSpeed(a)
		check("SaturationSpeed", v, err, a)
		v, err = sensor.SaturationExposure(a)
		check("SaturationExposure", v, err, a)
		v, err = sensor.ExposureIndex(a)
		check("ExposureIndex", v, err, a)
		for _, b := range special {
			for name, f := range two {
				v, err := f(a, b)
				check(name, v, err, a, b)
			}
			v, _ := still.CropFactor(unit.Length(a), unit.Length(b))
			check("CropFactor", v, nil, a, b)
			v, _ = e.Saturation(a, b)
			check("Saturation", v, nil, a, b)
			v, _ = e.SaturationMargin(a, b)
			check("SaturationMargin", v, nil, a, b)
			v, _ = e.Luminance(a)
			check("Luminance", v, nil, a)
			v, _ = e.Illuminance(a)
			check("Illuminance", v, nil, a)
			v, _ = rec.StoreBytes(unit.Time(a))
			check("StoreBytes", v, nil, a)
			lasts, _ := rec.StoreTime(a)
			check("StoreTime", float64(lasts), nil, a)
			for _, c := range special {
				s, err := sensor.TimeForEV100(a, b, c)
				check("TimeForEV100", float64(s), err, a, b, c)
				v, err := sensor.FNumberForEV100(a, unit.Time(b), c)
				check("FNumberForEV100", v, err, a, b, c)
				v, err = sensor.SamplingRatio(unit.Length(a), b, unit.Length(c))
				check("SamplingRatio", v, err, a, b, c)
				v, err = sensor.Photons(a, unit.Length(b), unit.Length(c), 5*um, unit.Milli)
				check("Photons", v, err, a, b, c)
				v, err = sensor.Photons(a, um, unit.Length(b), 5*um, unit.Time(c))
				check("Photons", v, err, a, b, c)
			}
		}
	}
}
