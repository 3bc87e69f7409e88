package lanes

import (
	"testing"

	"example.com/platewright/internal/hostile"
)

// TestRunsEndWhereTheyEnd: eight weights are made at a time, but none is read
// from behind the last position, nor a place.
func TestRunsEndWhereTheyEnd(t *testing.T) {
	r := Raster[float32]{Pix: make([]float32, 40*40*3), Stride: 40 * 3, Channels: 3}
	for _, n := range []int{1, 3, 7, 8, 9, 15} {
		at := hostile.Guarded[int](t, n, true)
		u, v := hostile.Guarded[float32](t, n, true), hostile.Guarded[float32](t, n, true)
		out := hostile.Guarded[float32](t, 3*n+3, true)
		for name, f := range map[string]func(){
			"nearest":  func() { Nearest(out, r, at, 0) },
			"bilinear": func() { Bilinear(out, r, at, u, v, 0) },
			"window":   func() { Window(out, r, kernels[3], kernels[3], Slant{}, at, u, v, 0) },
			"lean":     func() { Window(out, r, kernels[3], kernels[3], NewSlant(0.4, 8), at, u, v, 0) },
		} {
			if fault := hostile.Faults(f); fault != nil {
				t.Errorf("%s of %d: %v", name, n, fault)
			}
		}
	}
}
