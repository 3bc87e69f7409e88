package warp

import (
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/require"
)

// affine is a map without a lens: it multiplies, turns, and multiplies again.
func affine(t *testing.T, w, h, srcW, srcH int, wrap bool, major, minor, angle, turn float64) *Map {
	t.Helper()
	s, c := math.Sincos(angle)
	p, q := math.Sincos(turn)
	j := Jacobian{XX: major*c*q + minor*s*p, XY: major*c*p - minor*s*q, YX: major*s*q - minor*c*p, YY: major*s*p + minor*c*q}
	positions := Positions[float64]{Width: w, Height: h}
	for y := range h {
		for x := range w {
			dx, dy := float64(x)+0.5-float64(w)/2, float64(y)+0.5-float64(h)/2
			positions.X = append(positions.X, float64(srcW)/2+j.XX*dx+j.XY*dy)
			positions.Y = append(positions.Y, float64(srcH)/2+j.YX*dx+j.YY*dy)
		}
	}
	m, err := NewMapFromPositions(t.Context(), positions, SourceSpec{Width: srcW, Height: srcH, WrapX: wrap, WrapY: wrap}, MapOptions{})
	require.NoError(t, err)
	return m
}

// TestReadsStayInside: whole vectors are read and written, but none outside a
// source or a target.
func TestReadsStayInside(t *testing.T) {
	near.NumbersOnly(t) // the race detector does not see into assembly
	insideCase[uint8](t)
	insideCase[uint16](t)
	insideCase[float32](t)
}

func insideCase[T Sample](t *testing.T) {
	for i, tc := range []struct {
		srcW, srcH                int
		wrap                      bool
		major, minor, angle, turn float64
	}{
		{61, 47, false, 1, 1, 0.3, 0.1},
		{60, 40, true, 0.7, 0.7, 1, 0},
		{150, 110, false, 2.2, 2.2, 0.2, 0.5},
		{150, 110, true, 6.3, 5.9, 0.2, 0.5},
		{900, 70, false, 21, 0.8, 0.03, 0},
		{900, 70, true, 30, 0.7, 0.025, 1},
		{70, 900, false, 21, 0.8, 1.55, 0},
		{9, 5, false, 0.2, 0.2, 0, 0.1},
		{1, 1, false, 0.1, 0.1, 0, 0},
	} {
		m := affine(t, 24, 19, tc.srcW, tc.srcH, tc.wrap, tc.major, tc.minor, tc.angle, tc.turn)
		for ch := 1 + i%2; ch <= 4; ch += 2 { // two of the four, by turns
			for _, atEnd := range []bool{false, true} {
				src, err := NewFrame(FrameSpec[T]{Width: tc.srcW, Height: tc.srcH, Channels: ch, Pix: hostile.Guarded[T](t, tc.srcW*tc.srcH*ch, atEnd)})
				require.NoError(t, err)
				dst, err := NewFrame(FrameSpec[T]{Width: 24, Height: 19, Channels: ch, Pix: hostile.Guarded[T](t, 24*19*ch, atEnd)})
				require.NoError(t, err)
				for _, opts := range []Options{{}, {Filter: Nearest}, {Filter: CatmullRom}, {Filter: Lanczos3}, {Minify: PixelMean}} {
					opts.Workers = 1
					if fault := hostile.Faults(func() { err = Warp(t.Context(), dst, src, m, opts) }); fault != nil || err != nil {
						t.Fatalf("case %d, %d channels, %v: %v %v", i, ch, opts, fault, err)
					}
				}
			}
		}
	}
}
