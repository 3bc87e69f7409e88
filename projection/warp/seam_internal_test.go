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

// TestDifferenceIsAMean of squares over what lies around a node, not at it: of a ramp
// beside black, more by the variance of positions within a pitch, which is pitch²/12.
func TestDifferenceIsAMean(t *testing.T) {
	const side, pitch = 64, 16
	f := seamFinder[float32]{labelMap: newLabelMap(grid{width: side, height: side, nx: 5, ny: 5, perX: 1. / pitch, perY: 1. / pitch}, false)}
	for _, slope := range [][2]float64{{1, 0}, {0, 1}, {0, 0}} {
		frame, err := NewFrame(FrameSpec[float32]{Width: side, Height: side, Channels: 1})
		require.NoError(t, err)
		positions := Positions[float32]{Width: side, Height: side, X: make([]float32, side*side), Y: make([]float32, side*side)}
		for i := range side * side {
			x, y := float64(i%side)+0.5, float64(i/side)+0.5
			positions.X[i], positions.Y[i] = float32(x), float32(y)
			frame.Row(i / side)[i%side] = float32(slope[0]*(x-side/2) + slope[1]*(y-side/2))
		}
		m, err := NewMapFromPositions(t.Context(), positions, SourceSpec{Width: side, Height: side}, MapOptions{})
		require.NoError(t, err)
		f.layers = append(f.layers, layer[float32]{m: m, gain: [4]float32{1}, sampler: sampler[float32]{ch: 1, levels: []level[float32]{frame.level()}}})
	}
	for k := range 2 {
		got := f.difference(&f.layers[k], &f.layers[2], side/2, side/2)
		assert.InEpsilon(t, pitch*pitch/12., got, 0.1, "16 points stand for the integral")
	}
}
