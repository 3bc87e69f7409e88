package warp

import (
	"math"
	"testing"
)

// TestJumpsAreTold where a step is more than 1 px longer than twice that on the
// other side: derivatives, and positions between pixels, keep to their own side.
func TestJumpsAreTold(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		left, right float64 // steps along x, NaN where there is none
		want        float64 // derivative
		toRight     float64 // the step that leads right
		joined      bool
		ok          bool
	}{
		{1, 2.9, 1.95, 2.9, true, true},
		{1, 3, 2, 3, true, true},
		{1, 3.1, 1, 1, false, true},
		{1, 5.9, 1, 1, false, true},
		{2.9, 1, 1.95, 1, true, true},
		{3.1, 1, 1, 1, true, true},
		{0, 0.9, 0.45, 0.9, true, true},
		{0, 1.1, 0, 0, false, true},
		{nan, 2, 2, 2, true, true},
		{2, nan, 2, 2, false, true},
		{nan, nan, 0, 0, false, false},
	} {
		x, y, ok := difference(tc.left*0.6, tc.left*0.8, tc.right*0.6, tc.right*0.8)
		if ok != tc.ok || math.Abs(x-0.6*tc.want) > 1e-12 || math.Abs(y-0.8*tc.want) > 1e-12 {
			t.Errorf("derivative of steps %v, %v: (%v, %v, %v), want %v, %v", tc.left, tc.right, x, y, ok, tc.want, tc.ok)
		}
		step := func(di, dj int) (dx, dy float64) {
			if di < 0 {
				return -tc.left * 0.6, -tc.left * 0.8
			}
			return tc.right * 0.6, tc.right * 0.8
		}
		dx, dy, joined := side(step, 1, 0)
		if joined != tc.joined || math.Abs(dx-0.6*tc.toRight) > 1e-12 || math.Abs(dy-0.8*tc.toRight) > 1e-12 {
			t.Errorf("step right of %v, %v: (%v, %v, %v), want %v, %v", tc.left, tc.right, dx, dy, joined, tc.toRight, tc.joined)
		}
	}
}
