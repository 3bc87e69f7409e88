package alias

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/level"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The contrast sensitivity has printed values of its own, in package level.
func TestThreshold(t *testing.T) {
	sensitivity := func(u, luminance float64) float64 {
		s, err := level.ContrastSensitivity(u, luminance, 60*level.Degree)
		require.NoError(t, err)
		return s
	}
	at := func(v Viewer, f float64) float64 {
		contrast, err := v.Threshold(f)
		require.NoError(t, err)
		return contrast
	}
	v := Viewer{PhotositesPerDegree: 40, Luminance: 50}
	ref.Near(t, "W-A12", at(v, 0.2), 1/sensitivity(8, 50), "0.2 × 40 cycles per degree")

	// The zero Viewer: 60 photosites per degree, 100 cd/m².
	var zero Viewer
	assert.Equal(t, at(Viewer{PhotositesPerDegree: 60, Luminance: 100}, 0.3), at(zero, 0.3))
	assert.NotEqual(t, at(Viewer{PhotositesPerDegree: 60, Luminance: 101}, 0.3), at(zero, 0.3))

	// It never falls with frequency, and is flat up to the peak, which lies at a few
	// cycles per degree. Within the formula the peak is the best of all.
	best := math.Inf(1)
	for u := 0.1; u < 30; u *= 1.001 {
		best = math.Min(best, 1/sensitivity(u, 100))
	}
	ref.Near(t, "W-A12", at(zero, 0), best, "the peak")
	before := 0.0
	for f := 0.0; f < 2; f += 0.01 {
		contrast := at(zero, f)
		assert.GreaterOrEqual(t, contrast, before)
		assert.GreaterOrEqual(t, contrast, best*(1-1e-6))
		before = contrast
	}
	// Half a percent is about what people see at best, and at 30 cycles per degree,
	// of which a sharp eye sees little, some tenths.
	assert.True(t, best > 1e-3 && best < 5e-3, "%v", best)
	assert.True(t, at(zero, 0.5) > 0.02 && at(zero, 0.5) < 0.5, "%v", at(zero, 0.5))
	assert.Greater(t, at(Viewer{Luminance: 1}, 0.3), at(zero, 0.3), "in the dark one sees less")

	// A limit of one's own.
	assert.Equal(t, 0.02, at(Viewer{Contrast: 0.02}, 0.4))
	assert.Less(t, at(zero, 1e6), math.Inf(1), "nothing is visible there, but a number")

	for want, err := range map[string]error{
		"photosites per degree 0.5: must be at least 1 and at most 10000": second(Viewer{PhotositesPerDegree: 0.5}.Threshold(0)),
		"photosites per degree NaN":                                       second(Viewer{PhotositesPerDegree: math.NaN()}.Threshold(0)),
		"luminance 0.001 cd/m²: must be at least 0.01 cd/m²":              second(Viewer{Luminance: 0.001}.Threshold(0)),
		"visible contrast -1: must be at least 0 and at most 2":           second(Viewer{Contrast: -1}.Threshold(0)),
		"frequency -1 cycles per photosite":                               second(zero.Threshold(-1)),
		"frequency NaN":                                                   second(zero.Threshold(math.NaN())),
	} {
		assert.ErrorIs(t, err, ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
}

func second[T any](_ T, err error) error { return err }
