package transfer_test

import (
	"encoding/json"
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
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
	// strange is what a careless or hostile caller may pass.
	strange = []float64{0, math.Copysign(0, -1), 5e-324, -5e-324, 1e-300, 1e-9, 5e-7, 0.02, 0.05, 1, -1, 4, 1e9, 1e300, math.MaxFloat64, -math.MaxFloat64, inf, -inf, nan}
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
	assert.ErrorIs(t, err, transfer.ErrInvalid)
	assert.ErrorContains(t, err, want)
}

func mustLens(t testing.TB, spec lens.Spec) lens.Lens {
	t.Helper()
	return must[lens.Lens](t)(lens.New(spec))
}

func mustSystem(t testing.TB, spec transfer.SystemSpec) transfer.System {
	t.Helper()
	return must[transfer.System](t)(transfer.NewSystem(spec))
}

// imaged is where a ray from an object on the axis, which meets a lens close to
// its middle, comes back to the axis, by the law of refraction at two spherical
// faces of radius f around glass of index 1.5. The lens has no thickness.
func imaged(f, object float64) float64 {
	const index = 1.5
	height := 1e-7 * f
	normal := math.Asin(height / f) // of the first face, away from the axis
	within := math.Asin(math.Sin(math.Atan(height/object)+normal)/index) - normal
	return -height / math.Tan(math.Asin(index*math.Sin(within-normal))+normal)
}

// cone is the width on the sensor of the cone of light from an object, for a
// lens focused at s.
func cone(f, n, s, d float64) float64 {
	tip := imaged(f, d)
	return f / n * math.Abs(tip-imaged(f, s)) / tip
}

// gauss is a transfer function.
func gauss(linePairsPerMM float64) float64 { return math.Exp(-linePairsPerMM * linePairsPerMM / 1e4) }

func TestABareNumberIsInMetres(t *testing.T) {
	_, err := transfer.AiryRadius(0.55, 4)
	refuses(t, err, "is 550 nm meant?)")
	_, err = transfer.AiryRadius(550, 4)
	refuses(t, err, "wavelength 550 m")
	_, err = transfer.BoxOTF(100, 4.5)
	refuses(t, err, "is 4.5 mm meant?)")
}

// TestNoInputBreaksAFunction calls functions of two numbers with all pairs of
// strange ones: the result is a number, or an error and 0.
func TestNoInputBreaksAFunction(t *testing.T) {
	type l = unit.Length
	asFloat := func(v l, err error) (float64, error) { return float64(v), err }
	for name, f := range map[string]func(a, b float64) (float64, error){
		"AiryRadius":         func(a, b float64) (float64, error) { return asFloat(transfer.AiryRadius(l(a), b)) },
		"CutoffFrequency":    func(a, b float64) (float64, error) { return transfer.CutoffFrequency(l(a), b) },
		"EncircledEnergy":    func(a, b float64) (float64, error) { return transfer.EncircledEnergy(l(a), l(b), 2) },
		"SamplingRatio":      func(a, b float64) (float64, error) { return transfer.SamplingRatio(l(a), 2, l(b)) },
		"DiffractionOTF":     func(a, b float64) (float64, error) { return transfer.DiffractionOTF(a, l(b), 2) },
		"DefocusOTF":         func(a, b float64) (float64, error) { return transfer.DefocusOTF(a, 0.5*um, 2, l(b)) },
		"BlurOTF":            func(a, b float64) (float64, error) { return transfer.BlurOTF(a, l(b)) },
		"BoxOTF":             func(a, b float64) (float64, error) { return transfer.BoxOTF(a, l(b)) },
		"JitterOTF":          func(a, b float64) (float64, error) { return transfer.JitterOTF(a, l(b)) },
		"SquareWaveContrast": func(a, b float64) (float64, error) { return transfer.SquareWaveContrast(a, min(b, 1e4), gauss) },
	} {
		for _, a := range strange {
			for _, b := range strange {
				v, err := f(a, b)
				if err == nil && (math.IsNaN(v) || math.IsNaN(a) || math.IsNaN(b)) || err != nil && (v != 0 || !errors.Is(err, transfer.ErrInvalid)) {
					t.Errorf("%s(%v, %v): %v, %v", name, a, b, v, err)
				}
			}
		}
	}
}

func TestHostileArguments(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 0.035, FNumber: 2.8})
	system := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 3 * um})
	hostile.Calls(t, []any{
		system, transfer.SystemSpec{Lens: l, Wavelength: green}, transfer.Detail{LinePairsPerMM: 80, Contrast: 0.3},
		transfer.PushInSpec{PhotositesPerPixel: 2, Factors: []float64{2, nan}, Focus: 4, Object: 4}, transfer.FourSpots,
		gauss, func(float64) float64 { return nan },
	},
		transfer.AiryRadius, transfer.BlurOTF, transfer.BoxOTF, transfer.CutoffFrequency, transfer.DefocusOTF,
		transfer.DiffractionOTF, transfer.EncircledEnergy, transfer.JitterOTF, transfer.SamplingRatio,
		transfer.SquareWaveContrast, transfer.NewSystem, transfer.System.OTF, transfer.System.Losses, transfer.System.FrequencyAt,
		transfer.System.Depth, transfer.System.BestSetting, transfer.System.PushIn, transfer.System.PixelFrequency,
		transfer.System.WallFrequency, transfer.Losses.Least, transfer.Part.String, transfer.Spots.MarshalText,
		(*transfer.Aperture).UnmarshalText,
	)
}

// Results of failed calls are part of what callers write.
func TestEmptyResultsGoToJSON(t *testing.T) {
	for _, v := range []any{transfer.Depth{}, transfer.Setting{}} {
		text, err := json.Marshal(v)
		require.NoError(t, err)
		assert.NotContains(t, string(text), "Limit")
	}
}
