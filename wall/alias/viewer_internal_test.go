package alias

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The steps of Barten's formula against printed values, and then a Viewer whose
// numbers go into them.
func TestThreshold(t *testing.T) {
	for _, tc := range [][3]float64{{20, 60, 3.262346170373243}, {0.2, 600, 3.262346170373243}, {100, 60, 2.7931307}} {
		ref.Near(t, "W-CS2", pupil(tc[0], tc[1]), tc[2], tc)
	}
	for d, want := range map[float64]float64{2.1: .008791157173231, 2.5: .008975274678558} {
		ref.Near(t, "W-CS3", observer{pupil: d}.spread(), want, d)
	}
	for _, tc := range [][3]float64{{4, 60, 3.572948005052482}, {8, 60, 1.851640199545103}, {4, 120, 3.577708763999663}} {
		ref.Near(t, "W-CS5", math.Sqrt(observer{field: tc[1]}.area(tc[0])), tc[2], tc)
	}
	ref.Near(t, "W-CS6", observer{luminance: 20, pupil: 2.1, field: 60}.sensitivity(4), 360.8691122, "4 cycles per degree")

	at := func(v Viewer, f float64) float64 {
		contrast, err := v.Threshold(f)
		require.NoError(t, err)
		return contrast
	}
	// The pupil follows from the luminance.
	v := Viewer{PhotositesPerDegree: 40, Luminance: 50}
	want := observer{luminance: 50, pupil: pupil(50, 60), field: 60}
	assert.InEpsilon(t, 1/want.sensitivity(8), at(v, 0.2), 1e-12, "0.2 × 40 cycles per degree")

	// The zero Viewer: 60 photosites per degree, 100 cd/m².
	var zero Viewer
	assert.Equal(t, at(Viewer{PhotositesPerDegree: 60, Luminance: 100}, 0.3), at(zero, 0.3))
	assert.NotEqual(t, at(Viewer{PhotositesPerDegree: 60, Luminance: 101}, 0.3), at(zero, 0.3))

	// It never falls with frequency, and is flat up to the peak, which lies at a few
	// cycles per degree. Within the formula the peak is the best of all.
	best := math.Inf(1)
	o := newSight(zero).observer
	for u := 0.1; u < 30; u *= 1.001 {
		best = math.Min(best, 1/o.sensitivity(u))
	}
	assert.InEpsilon(t, best, at(zero, 0), 1e-6, "steps of 0.1 % at a flat top")
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
