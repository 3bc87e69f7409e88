package photosite_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/sensor/photosite"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

func TestWrongSpecsAreErrors(t *testing.T) {
	second := func(_ any, err error) error { return err }
	faults := map[string]error{
		"empty photosite":  second(photosite.New(photosite.Spec{})),
		"quantum bonus":    second(photosite.New(photosite.Spec{QuantumEfficiency: 1.1, SaturationCapacity: 1e4, Gain: 1})),
		"NaN noise":        second(photosite.New(photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: math.NaN(), SaturationCapacity: 1e4, Gain: 1})),
		"negative light":   second(photosite.Photons(-1, um, um, um, 1)),
		"wavelength in nm": second(photosite.Photons(1, 555, um, um, 1)),
		"pitch x in µm":    second(photosite.Photons(1, um, 5, um, 1)),
		"pitch y in µm":    second(photosite.Photons(1, um, um, 5, 1)),
		"no time":          second(photosite.Photons(1, um, um, um, 0)),
	}
	for name, err := range faults {
		assert.ErrorIs(t, err, photosite.ErrInvalid, name)
	}
}

func TestZeroValuesAnswerNothing(t *testing.T) {
	var p photosite.Photosite
	assert.Zero(t, [...]float64{p.SaturationPhotons(), p.MaxSNR(), p.Threshold(), p.DynamicRange()})
	for question, ask := range map[string]func() (float64, bool){
		"SNR":    func() (float64, bool) { return p.SNR(0) },
		"signal": func() (float64, bool) { mean, _, ok := p.Signal(0); return mean, ok },
		"noise":  func() (float64, bool) { _, noise, ok := p.Signal(0); return noise, ok },
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
		if math.IsNaN(v) || math.IsInf(v, 0) || (err != nil && (v != 0 || !errors.Is(err, photosite.ErrInvalid))) {
			t.Errorf("%s%v: %v, %v", name, in, v, err)
		}
	}
	for _, a := range special {
		for _, b := range special {
			for _, c := range special {
				v, err := photosite.Photons(a, unit.Length(b), unit.Length(c), 5*um, unit.Milli)
				check("Photons", v, err, a, b, c)
				v, err = photosite.Photons(a, um, unit.Length(b), 5*um, unit.Time(c))
				check("Photons", v, err, a, b, c)
			}
		}
	}
}
