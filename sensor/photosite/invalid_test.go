package photosite_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWrongSpecsAreErrors(t *testing.T) {
	_, err := photosite.New(photosite.Spec{PRNU: 1.5, DSNU: -1, ReadNoise: math.NaN(), PitchX: 3, PitchY: -um})
	assert.EqualError(t, err, `photosite: pitch x 3 m: must be at least 100 nm and at most 1 mm (a bare number is in metres: is 3 µm meant?)
photosite: pitch y -1 µm: must be at least 100 nm and at most 1 mm
photosite: photons per lux-second 0 per µm²: must be at least 1 per µm² and at most 1e+09 per µm²
photosite: quantum efficiency 0: must be at least 1e-06 and at most 1
photosite: read noise NaN e⁻: must be at least 0 e⁻ and at most 1e+09 e⁻
photosite: saturation capacity 0 e⁻: must be at least 1 e⁻ and at most 1e+12 e⁻
photosite: gain 0 DN/e⁻: must be at least 1e-09 DN/e⁻ and at most 1e+09 DN/e⁻
photosite: PRNU 1.5: must be at least 0 and at most 1
photosite: DSNU -1 e⁻: must be at least 0 e⁻ and at most 1e+09 e⁻`)
	assert.ErrorIs(t, err, photosite.ErrInvalid)
	_, err = photosite.NewPixel(photosite.PixelSpec{Binning: 17, Scale: -1, ColourFraction: 1.1, Frames: -1})
	assert.EqualError(t, err, `photosite: photosite Photosite{}: must come from New
photosite: binning 17: must be at least 1 and at most 16
photosite: scale -1: must be at least 0.001 and at most 1000
photosite: colour fraction 1.1: must be at least 0.001 and at most 1
photosite: frames -1: must be at least 1 and at most 1000000`)
	assert.ErrorIs(t, err, photosite.ErrInvalid)
}

func TestZeroValuesAnswerNothing(t *testing.T) {
	var p photosite.Photosite
	var x photosite.Pixel
	assert.Zero(t, [...]float64{p.SaturationExposure(), p.SaturationSpeed(), p.MaxSNR(), p.Threshold(), p.DynamicRange(), x.Grain()})
	for question, ask := range map[string]func() (float64, bool){
		"electrons":        func() (float64, bool) { return p.Electrons(0) },
		"SNR":              func() (float64, bool) { return p.SNR(0) },
		"signal":           func() (float64, bool) { mean, _, ok := p.Signal(0); return mean, ok },
		"noise":            func() (float64, bool) { _, noise, ok := p.Signal(0); return noise, ok },
		"noise of a pixel": func() (float64, bool) { n, ok := x.Noise(0); return n.SNR, ok },
		"exposure for SNR": func() (float64, bool) { return x.ExposureForSNR(1) },
		"latitude":         func() (float64, bool) { l, ok := x.Latitude(1, 1); return l.AboveStops, ok },
		"indices":          func() (float64, bool) { i, ok := x.Indices(1, 1, 1); return i.Least, ok },
		"fit":              func() (float64, bool) { f, ok := x.Fit(sensor.Exposure{}, 1, 1, 1); return f.AboveStops, ok },
	} {
		v, ok := ask()
		assert.Zero(t, v, question)
		assert.False(t, ok, question)
	}
}

// Every constant has its name, in print and in JSON, and is read back from it.
func TestNames(t *testing.T) {
	type enums struct {
		Illuminants []photosite.Illuminant
		Sources     []photosite.Source
		Ends        []photosite.End
	}
	all := enums{
		[]photosite.Illuminant{photosite.EqualEnergy, photosite.IlluminantA, photosite.IlluminantD65},
		[]photosite.Source{photosite.ShotNoise, photosite.DarkNoise, photosite.FixedPattern},
		[]photosite.End{photosite.Highlights, photosite.Shadows},
	}
	want := `{"Illuminants":["equal energy","illuminant A","illuminant D65"],"Sources":["shot noise","dark noise","fixed pattern"],"Ends":["highlights","shadows"]}`
	text := must[[]byte](t)(json.Marshal(all))
	assert.Equal(t, want, string(text))
	var back enums
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, all, back)
	for want, got := range map[string]interface{ String() string }{
		"Illuminant(0)": photosite.Illuminant(0), "Illuminant(4)": photosite.IlluminantD65 + 1, "Source(0)": photosite.Source(0),
		"Source(4)": photosite.FixedPattern + 1, "End(0)": photosite.End(0), "End(3)": photosite.Shadows + 1,
	} {
		assert.Equal(t, want, got.String())
	}
}
