package warp

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMarginsWithinRounding: where two layers end at one line, what their margins
// differ by there tells nothing; more does.
func TestMarginsWithinRounding(t *testing.T) {
	for _, tc := range []struct {
		a, b, feather float64
		contested     bool
		least, most   float64 // of off
	}{
		{0, 5e-16, 0, true, 0, 1e-9},
		{-5e-16, 0, 0, true, 0, 1e-9},
		{2 - 1e-12, 2, 2, true, 0, 1e-9},
		{2 - 0.01, 2, 2, false, 0, 1},
		{0.004, 0.012, 0, true, 0.49, 0.51},
	} {
		f := seamFinder[float32]{labelMap: newLabelMap(grid{width: 8, height: 8, nx: 3, ny: 3, perX: 0.25, perY: 0.25}, false), layers: make([]layer[float32], 2)}
		f.opts.Cost = func(int, int, float64, float64) float64 { return 1 }
		for k, margin := range []float64{tc.a, tc.b} {
			positions := Positions[float32]{Width: 8, Height: 8, X: make([]float32, 64), Y: make([]float32, 64)}
			m, err := NewMapFromPositions(t.Context(), positions, SourceSpec{Width: 8, Height: 8, Margin: func(_, _ float64) float64 { return margin }}, MapOptions{})
			require.NoError(t, err)
			f.layers[k].m, f.layers[k].feather = m, tc.feather
		}
		c := f.claim(0, 1, 1, 1)
		assert.Equal(t, tc.contested, !c.stays && !c.goes, "%+v", tc)
		assert.InDelta(t, (tc.least+tc.most)/2, c.off, (tc.most-tc.least)/2, "%+v", tc)
	}
}

// TestMarginsBelowZeroDoNotDrawSeams: a source may see a little beyond what its
// margin says.
func TestMarginsBelowZeroDoNotDrawSeams(t *testing.T) {
	for _, margins := range [][2]float64{{3, -27}, {-27, 3}, {-2, -5}, {-5, 5}, {4, 0}, {4, 2}} {
		f := seamFinder[float32]{labelMap: newLabelMap(grid{width: 8, height: 8, nx: 3, ny: 3, perX: 0.25, perY: 0.25}, false), layers: make([]layer[float32], 2)}
		f.opts.Cost = func(int, int, float64, float64) float64 { return 1 }
		for k := range f.layers {
			positions := Positions[float32]{Width: 8, Height: 8, X: make([]float32, 64), Y: make([]float32, 64)}
			m, err := NewMapFromPositions(t.Context(), positions, SourceSpec{Width: 8, Height: 8, Margin: func(_, _ float64) float64 { return margins[k] }}, MapOptions{})
			require.NoError(t, err)
			f.layers[k].m = m
		}
		assert.InDelta(t, 0.5, f.claim(0, 1, 1, 1).off, 0.5, "margins %v: off is 0 to 1", margins)
	}
}
