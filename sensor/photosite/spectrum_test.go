package photosite_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor/photosite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func spectrum(t testing.TB, spec photosite.SpectrumSpec) photosite.Spectrum {
	t.Helper()
	return must[photosite.Spectrum](t)(photosite.NewSpectrum(spec))
}

// every gives a spectrum of so many values a step apart.
func every(step, from float64, powers []float64) (samples []photosite.Sample) {
	for i, p := range powers {
		samples = append(samples, photosite.Sample{Wavelength: unit.Length(from+step*float64(i)) * nm, Power: p})
	}
	return samples
}

// A line of a wavelength has the luminous efficacy 683 V.
func TestLuminosityFunction(t *testing.T) {
	of := func(wavelength float64) float64 {
		return spectrum(t, photosite.SpectrumSpec{Line: unit.Length(wavelength) * nm}).LumensPerWatt() / 683
	}
	for wavelength, v := range map[float64]float64{
		400: .000396, 450: .038, 460: .06, 470: .09098, 480: .13902, 500: .323, 510: .503, 520: .71, 530: .862, 540: .954,
		550: .9949501, 555: 1, 560: .995, 580: .87, 590: .757, 600: .631, 620: .381, 630: .265, 650: .107, 680: .017,
		700: .004102, 780: .00001499,
	} {
		ref.Near(t, "S-LUMINOSITY", of(wavelength), v, wavelength)
	}
	ref.Near(t, "S-LUMINOSITY-BETWEEN", of(589), .7691547)
	ref.Near(t, "S-LUMINOSITY-BETWEEN", of(633), .2353344)
	ref.Near(t, "S-LUMINOSITY-STEEP", of(507), .4443096)
	// The sum of the table of every 1 nm, from 360 to 830 nm.
	sum := 0.0
	for wavelength := 360.0; wavelength <= 830; wavelength++ {
		sum += of(wavelength)
	}
	ref.Near(t, "S-LUMINOSITY-SUM", sum, 106.85691710117)
	// The same as an integral: a light that is the same at all wavelengths.
	white := spectrum(t, photosite.SpectrumSpec{Illuminant: photosite.EqualEnergy})
	ref.Near(t, "S-LUMINOSITY-SUM", white.LumensPerWatt()*470/683, 106.85691710117)
}

// No value of the table is out of line: the steps of its logarithm, every 5 nm, change
// by less than a sixth.
func TestLuminosityFunctionIsSmooth(t *testing.T) {
	log := func(wavelength float64) float64 {
		return math.Log(spectrum(t, photosite.SpectrumSpec{Line: unit.Length(wavelength) * nm}).LumensPerWatt())
	}
	for wavelength := 365.0; wavelength < 830; wavelength += 5 {
		assert.InDelta(t, 0, log(wavelength-5)-2*log(wavelength)+log(wavelength+5), 1./6, "%g nm", wavelength)
	}
}

// A fluorescent lamp: CIE F2, every 5 nm from 380 nm.
var lamp = []float64{
	1.18, 1.48, 1.84, 2.15, 3.44, 15.69, 3.85, 3.74, 4.19, 4.62, 5.06, 34.98, 11.81, 6.27, 6.63, 6.93, 7.19, 7.40, 7.54, 7.62,
	7.65, 7.62, 7.62, 7.45, 7.28, 7.15, 7.05, 7.04, 7.16, 7.47, 8.04, 8.88, 10.01, 24.88, 16.64, 14.59, 16.16, 17.56, 18.62, 21.47,
	22.79, 19.29, 18.66, 17.73, 16.54, 15.21, 13.80, 12.36, 10.95, 9.65, 8.40, 7.32, 6.31, 5.43, 4.68, 4.02, 3.45, 2.96, 2.55, 2.19,
	1.89, 1.64, 1.53, 1.27, 1.10, 0.99, 0.88, 0.76, 0.68, 0.61, 0.56, 0.54, 0.51, 0.47, 0.47, 0.43, 0.46, 0.47, 0.40, 0.33, 0.27,
}

func TestEfficacyOfALamp(t *testing.T) {
	s := spectrum(t, photosite.SpectrumSpec{Samples: every(5, 380, lamp)})
	ref.Near(t, "S-EFFICACY-LAMP", s.LumensPerWatt(), 336.83937176)
}

// The printed counts add up photons every 1 nm from end to end, as bins 1 nm wide.
func TestPhotonsPerLuxSecond(t *testing.T) {
	for _, tc := range []struct {
		illuminant photosite.Illuminant
		from, to   float64
		want       float64
	}{
		{photosite.IlluminantA, 400, 700, 12032.22836}, {photosite.IlluminantA, 380, 780, 21070.28826},
		{photosite.EqualEnergy, 400, 700, 11419.07968}, {photosite.EqualEnergy, 380, 780, 16042.58262},
	} {
		s := spectrum(t, photosite.SpectrumSpec{Illuminant: tc.illuminant})
		got := known(t)(s.PhotonsPerLuxSecond(unit.Length(tc.from-0.5)*nm, unit.Length(tc.to+0.5)*nm))
		ref.Near(t, "S-PHOTONS-ILLUMINANT", got, tc.want, tc)
	}
	line := spectrum(t, photosite.SpectrumSpec{Line: 555 * nm})
	ref.Near(t, "S-PHOTONS-LINE", known(t)(line.PhotonsPerLuxSecond(555*nm, 556*nm)), 4090.68037333)
	ref.Near(t, "S-PHOTONS-LINE", known(t)(line.PhotonsPerLuxSecond(554*nm, 555*nm)), 4090.68037333)

	// 1 µW/cm² of 555 nm is 6.83 lx. The constant of the standard is for 1 ms and a
	// wavelength of 1 µm.
	ref.Near(t, "S-PHOTONS-EMVA", known(t)(line.PhotonsPerLuxSecond(500*nm, 600*nm))*6.83e-3/0.555, 50.34)
}

// The CIE makes D65 of three components of daylight, S0 + M1 S1 + M2 S2. Their values
// every 10 nm, 360 to 830 nm, and the M of 6504 K.
func TestDaylight(t *testing.T) {
	s0 := []float64{
		61.5, 68.8, 63.4, 65.8, 94.8, 104.8, 105.9, 96.8, 113.9, 125.6, 125.5, 121.3, 121.3, 113.5, 113.1, 110.8, 106.5, 108.8, 105.3,
		104.4, 100.0, 96.0, 95.1, 89.1, 90.5, 90.3, 88.4, 84.0, 85.1, 81.9, 82.6, 84.9, 81.3, 71.9, 74.3, 76.4, 63.3, 71.7, 77.0, 65.2,
		47.7, 68.6, 65.0, 66.0, 61.0, 53.3, 58.9, 61.9,
	}
	s1 := []float64{
		38.0, 42.4, 38.5, 35.0, 43.4, 46.3, 43.9, 37.1, 36.7, 35.9, 32.6, 27.9, 24.3, 20.1, 16.2, 13.2, 8.6, 6.1, 4.2, 1.9, 0.0, -1.6,
		-3.5, -3.5, -5.8, -7.2, -8.6, -9.5, -10.9, -10.7, -12.0, -14.0, -13.6, -12.0, -13.3, -12.9, -10.6, -11.6, -12.2, -10.2, -7.8,
		-11.2, -10.4, -10.6, -9.7, -8.3, -9.3, -9.8,
	}
	s2 := []float64{
		5.3, 6.1, 3.0, 1.2, -1.1, -0.5, -0.7, -1.2, -2.6, -2.9, -2.8, -2.6, -2.6, -1.8, -1.5, -1.3, -1.2, -1.0, -0.5, -0.3, 0.0, 0.2,
		0.5, 2.1, 3.2, 4.1, 4.7, 5.1, 6.7, 7.3, 8.6, 9.8, 10.2, 8.3, 9.6, 8.5, 7.0, 7.6, 8.0, 6.7, 5.2, 7.4, 6.8, 7.0, 6.4, 5.5, 6.1, 6.5,
	}
	const kelvin = 6500 * 1.4388 / 1.4380
	x := -4.6070e9/math.Pow(kelvin, 3) + 2.9678e6/math.Pow(kelvin, 2) + 0.09911e3/kelvin + 0.244063
	y := -3*x*x + 2.870*x - 0.275
	m := 0.0241 + 0.2562*x - 0.7341*y
	m1, m2 := (-1.3515-1.7703*x+5.9114*y)/m, (0.0300-31.4424*x+30.0717*y)/m
	// The CIE rounds both.
	m1, m2 = math.Round(1000*m1)/1000, math.Round(1000*m2)/1000
	var made []float64
	for i := range s0 {
		made = append(made, s0[i]+m1*s1[i]+m2*s2[i])
	}
	daylight := spectrum(t, photosite.SpectrumSpec{Samples: every(10, 360, made)})
	d65 := spectrum(t, photosite.SpectrumSpec{Illuminant: photosite.IlluminantD65})
	for from := 360.0; from < 830; from += 10 { // so that one wrong entry shows
		low, high := unit.Length(from)*nm, unit.Length(from+10)*nm
		ref.Near(t, "S-PHOTONS-DAYLIGHT", known(t)(d65.PhotonsPerLuxSecond(low, high)), known(t)(daylight.PhotonsPerLuxSecond(low, high)), from)
	}
	ref.Near(t, "S-PHOTONS-DAYLIGHT", d65.LumensPerWatt(), daylight.LumensPerWatt())
}

// A lamp as lines 1 nm apart: how many photons of a band come with the lumens of all.
func TestPhotonsOfALampByLines(t *testing.T) {
	s := spectrum(t, photosite.SpectrumSpec{Samples: every(5, 380, lamp)})
	fine := map[int]float64{}
	for nm := 380; nm <= 780; nm++ {
		i := min((nm-380)/5, len(lamp)-2)
		at := float64(nm-380)/5 - float64(i)
		fine[nm] = lamp[i]*(1-at) + lamp[i+1]*at
	}
	var photons, lumens float64
	for wavelength, power := range fine {
		width := 1.0
		if wavelength == 380 || wavelength == 780 {
			width = 0.5
		}
		line := spectrum(t, photosite.SpectrumSpec{Line: unit.Length(wavelength) * nm})
		lumens += width * power * line.LumensPerWatt()
		if wavelength >= 420 && wavelength <= 680 {
			if wavelength == 420 || wavelength == 680 {
				width = 0.5
			}
			photons += width * power * float64(wavelength) * 1e-9 / 1.986445857e-25 // J m, h c
		}
	}
	ref.Near(t, "S-PHOTONS-LAMP", known(t)(s.PhotonsPerLuxSecond(420*nm, 680*nm)), photons/lumens*1e-12)
}

func TestSpectraAsJSON(t *testing.T) {
	for want, spec := range map[string]photosite.SpectrumSpec{
		`{"Illuminant":"illuminant D65"}`: {Illuminant: photosite.IlluminantD65},
		`{"Line":5e-7}`:                   {Line: 5e-7},
		`{"Samples":[{"Wavelength":5e-7,"Power":1},{"Wavelength":6e-7,"Power":2}]}`: {Samples: []photosite.Sample{{5e-7, 1}, {6e-7, 2}}},
	} {
		text := must[[]byte](t)(json.Marshal(spec))
		assert.Equal(t, want, string(text))
		var back photosite.SpectrumSpec
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, spec, back)
	}
}

func TestSpectraWithoutAnswer(t *testing.T) {
	line := spectrum(t, photosite.SpectrumSpec{Line: 555 * nm})
	narrow := spectrum(t, photosite.SpectrumSpec{Samples: every(10, 500, []float64{1, 0, 0})})
	for name, ask := range map[string]func() (float64, bool){
		"beside the line":    func() (float64, bool) { return line.PhotonsPerLuxSecond(556*nm, 600*nm) },
		"before the line":    func() (float64, bool) { return line.PhotonsPerLuxSecond(400*nm, 554*nm) },
		"band reversed":      func() (float64, bool) { return line.PhotonsPerLuxSecond(600*nm, 500*nm) },
		"band of no width":   func() (float64, bool) { return line.PhotonsPerLuxSecond(555*nm, 555*nm) },
		"infrared":           func() (float64, bool) { return line.PhotonsPerLuxSecond(500*nm, 831*nm) },
		"ultraviolet":        func() (float64, bool) { return line.PhotonsPerLuxSecond(359*nm, 600*nm) },
		"a band in metres":   func() (float64, bool) { return line.PhotonsPerLuxSecond(400, 700) },
		"beside the samples": func() (float64, bool) { return narrow.PhotonsPerLuxSecond(600*nm, 700*nm) },
		"where they are 0":   func() (float64, bool) { return narrow.PhotonsPerLuxSecond(510*nm, 520*nm) },
		"no spectrum":        func() (float64, bool) { return photosite.Spectrum{}.PhotonsPerLuxSecond(400*nm, 700*nm) },
	} {
		v, ok := ask()
		assert.False(t, ok, name)
		assert.Zero(t, v, name)
	}
	assert.Zero(t, photosite.Spectrum{}.LumensPerWatt())
	for want, spec := range map[string]photosite.SpectrumSpec{
		"photosite: spectrum given in 0 ways: give one of illuminant, line and samples": {},
		"photosite: spectrum given in 2 ways: ":                                         {Line: 555 * nm, Illuminant: photosite.IlluminantA},
		"photosite: illuminant Illuminant(9): ":                                         {Illuminant: 9},
		"photosite: line 555 m: ":                                                       {Line: 555},
		"photosite: line 359 nm: ":                                                      {Line: 359 * nm},
		"photosite: count of samples 1: ":                                               {Samples: every(5, 500, []float64{1})},
		"photosite: count of samples 0: ":                                               {Samples: []photosite.Sample{}},
		"photosite: sample 1, wavelength 840 nm: ":                                      {Samples: every(20, 820, []float64{1, 1})},
		"photosite: sample 1, wavelength 500 nm: must be more than the one before":      {Samples: every(0, 500, []float64{1, 1})},
		"photosite: sample 1, power -1: ":                                               {Samples: every(5, 500, []float64{1, -1})},
		"photosite: sample 0, power NaN: ":                                              {Samples: every(5, 500, []float64{math.NaN(), 1})},
		"photosite: spectrum without visible light: ":                                   {Samples: every(5, 500, []float64{0, 0})},
	} {
		s, err := photosite.NewSpectrum(spec)
		assert.ErrorIs(t, err, photosite.ErrInvalid, want)
		assert.ErrorContains(t, err, want)
		assert.Zero(t, s)
	}
}
