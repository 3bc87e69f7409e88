package sensor_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/sensor"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

func TestFaultsAreReportedTogether(t *testing.T) {
	_, err := sensor.NewFormat(sensor.FormatSpec{Raster: sensor.Raster{Columns: 0, Rows: 1 << 25}, Width: 36, Height: unit.Length(math.NaN())})
	want := `sensor: columns 0 px: must be at least 1 and at most 16777216 px
sensor: rows 33554432 px: must be at least 1 and at most 16777216 px
sensor: width 36 m: must be at least 100 nm and at most 1 m (a bare number is in metres: is 36 mm meant?)
sensor: height NaN m: must be at least 100 nm and at most 1 m`
	assert.EqualError(t, err, want)
	_, err = sensor.NewCrop(sensor.CropSpec{Right: 1 << 25, Down: -1 << 25})
	want = `sensor: format without a raster: must come from NewFormat
sensor: crop columns 0 px: must be at least 1 and at most 16777216 px
sensor: crop moved right 33554432 px: must be at least -8388608 and at most 8388608 px
sensor: crop rows 0 px: must be at least 1 and at most 16777216 px
sensor: crop moved down -33554432 px: must be at least -8388608 and at most 8388608 px`
	assert.EqualError(t, err, want)
	// A crop that is too wide is one fault, not two.
	_, err = sensor.NewCrop(sensor.CropSpec{Of: sized(t, 3*mm, 2*mm), Raster: sensor.Raster{Columns: 4, Rows: 1}})
	assert.EqualError(t, err, "sensor: crop columns 4 px: must be at least 1 and at most 3 px")
	for _, side := range []struct {
		raster sensor.Raster
		want   string
	}{
		{sensor.Raster{Columns: 20001, Rows: 1}, "sensor: width from the pitch 1.00005 m: must be at least 100 nm and at most 1 m"},
		{sensor.Raster{Columns: 1, Rows: 20001}, "sensor: height from the pitch 1.00005 m: must be at least 100 nm and at most 1 m"},
	} {
		got, err := sensor.NewFormat(sensor.FormatSpec{Raster: side.raster, Pitch: 50 * um})
		assert.ErrorContains(t, err, side.want)
		assert.Zero(t, got)
	}
	_, err = sensor.EV100FromLuminance(0, math.NaN())
	want = `sensor: luminance 0 cd/m²: must be at least 1e-12 cd/m² and at most 1e+12 cd/m²
sensor: meter constant K NaN cd·s/m²: must be at least 1 cd·s/m² and at most 1000 cd·s/m²`
	assert.EqualError(t, err, want)
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
		"crop of nothing":    second(sensor.NewCrop(sensor.CropSpec{Raster: raster})),
		"crop too wide":      second(sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: 3841, Rows: 1}})),
		"crop moved out":     second(sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: 3840, Rows: 1}, Right: 1})),
		"crop far out":       second(sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: raster, Down: math.MinInt})),
		"a lens below f/0.5": second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 0.49, Time: 1, Index: 100})),
		"empty exposure":     second(sensor.NewExposure(sensor.ExposureSpec{})),
		"infinite time":      second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: unit.Time(inf), Index: 100})),
		"bright glass":       second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, Transmission: 1.01})),
		"percent":            second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, RelativeIllumination: 80})),
		"no light at all":    second(sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: 1, Index: 100, RelativeIllumination: -1})),
	}
	for name, err := range faults {
		assert.ErrorIs(t, err, sensor.ErrInvalid, name)
	}
}

func TestZeroValuesAnswerNothing(t *testing.T) {
	var f sensor.Format
	var c sensor.Crop
	var e sensor.Exposure
	px, py := f.Pitch()
	nx, ny := f.Nyquist()
	width, height := f.Size()
	cx, cy := c.Centre()
	assert.Zero(t, [...]unit.Length{px, py, width, height, f.Diagonal(), cx, cy})
	assert.Equal(t, f, c.Format())
	assert.Zero(t, [...]float64{
		nx, ny, e.EV(), e.EV100(),
	})
	for question, ask := range map[string]func() (float64, bool){
		"crop factor": func() (float64, bool) { c, ok := f.CropFactor(sensor.GateStill.Size()); return c.Width, ok },
		"luminance":   func() (float64, bool) { return e.Luminance(12.5) },
		"illuminance": func() (float64, bool) { return e.Illuminance(250) },
		"focal plane": func() (float64, bool) { return e.FocalPlane(100) },
		"fraction":    func() (float64, bool) { return e.FractionOfSaturation(100, 100) },
		"margin":      func() (float64, bool) { return e.SaturationMargin(100, 100) },
	} {
		v, ok := ask()
		assert.Zero(t, v, question)
		assert.False(t, ok, question)
	}
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
	}
	still := format(t, sensor.FormatSpec{Raster: sensor.UHD2160.Raster(), Width: 36 * mm, Height: 20.25 * mm})
	e := exposure(t, sourceLens)
	for _, a := range special {
		v, err := sensor.SaturationSpeed(a)
		check("SaturationSpeed", v, err, a)
		v, err = sensor.SaturationExposure(a)
		check("SaturationExposure", v, err, a)
		for _, b := range special {
			for name, f := range two {
				v, err := f(a, b)
				check(name, v, err, a, b)
			}
			factor, _ := still.CropFactor(unit.Length(a), unit.Length(b))
			check("CropFactor", factor.Diagonal, nil, a, b)
			v, _ := e.FractionOfSaturation(a, b)
			check("FractionOfSaturation", v, nil, a, b)
			v, _ = e.SaturationMargin(a, b)
			check("SaturationMargin", v, nil, a, b)
			v, _ = e.Luminance(a)
			check("Luminance", v, nil, a)
			v, _ = e.Illuminance(a)
			check("Illuminance", v, nil, a)
			for _, c := range special {
				s, err := sensor.TimeForEV100(a, b, c)
				check("TimeForEV100", float64(s), err, a, b, c)
				v, err := sensor.FNumberForEV100(a, unit.Time(b), c)
				check("FNumberForEV100", v, err, a, b, c)
			}
		}
	}
}
