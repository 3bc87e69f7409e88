package warp

import "testing"

// TestMarginsBelowZeroDoNotDrawSeams: a source may see a little beyond what its
// margin says.
func TestMarginsBelowZeroDoNotDrawSeams(t *testing.T) {
	for _, margins := range [][2]float64{{3, -27}, {-27, 3}, {-2, -5}, {-5, 5}, {4, 0}, {4, 2}} {
		f := seamFinder[float32]{territory: newTerritory(8, 8, 4, false), layers: make([]layer[float32], 2)}
		f.opts.Cost = func(int, int, float64, float64) float64 { return 1 }
		for k := range f.layers {
			positions := Positions[float32]{Width: 8, Height: 8, X: make([]float32, 64), Y: make([]float32, 64)}
			m, err := NewMapFromPositions(t.Context(), positions, SourceSpec{Width: 8, Height: 8, Margin: func(_, _ float64) float64 { return margins[k] }}, MapOptions{})
			if err != nil {
				t.Fatal(err)
			}
			f.layers[k].m = m
		}
		if c := f.claim(0, 1, 1, 1); !(c.off >= 0 && c.off <= 1) {
			t.Errorf("margins %v: off is %v, want 0 to 1", margins, c.off)
		}
	}
}
