package warp

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/lanes"
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
		for ch := 1; ch <= 4; ch++ {
			for _, atEnd := range []bool{false, true} {
				src, err := NewFrame(FrameSpec[T]{Width: tc.srcW, Height: tc.srcH, Channels: ch, Pix: hostile.Guarded[T](t, tc.srcW*tc.srcH*ch, atEnd)})
				require.NoError(t, err)
				dst, err := NewFrame(FrameSpec[T]{Width: 24, Height: 19, Channels: ch, Pix: hostile.Guarded[T](t, 24*19*ch, atEnd)})
				require.NoError(t, err)
				for filter := range Lanczos3 + 1 {
					if fault := hostile.Faults(func() {
						err = Warp(t.Context(), dst, src, m, Options{Filter: filter, Workers: 1})
						err = errors.Join(err, Warp(t.Context(), dst, src, m, Options{Filter: filter, Minify: PixelMean, Workers: 1}))
					}); fault != nil || err != nil {
						t.Fatalf("case %d, %d channels, filter %d: %v %v", i, ch, filter, fault, err)
					}
				}
			}
		}
	}
}

// TestPatchHoldsWhatIsRead: of a long and slanting footprint across a seam, the
// loops look at a row more than the ellipse has, and there farther to the side.
func TestPatchHoldsWhatIsRead(t *testing.T) {
	for ch := 1; ch <= 4; ch++ {
		const side = 256
		s := sampler[float32]{ch: ch, wrap: true, poles: true, radial: softDisc}
		s.levels = []level[float32]{{Raster: lanes.Raster[float32]{Pix: make([]float32, side*side*ch), Stride: side * ch, Channels: ch}, w: side, h: side, scaleX: 1, scaleY: 1}}
		r := new(scratch)
		var out [4]float32
		// Whether the row falls beyond the ellipse depends on its height and on
		// where its middle is.
		for slant := 0.018; slant < 0.024; slant += 0.0002 {
			p, q := math.Sincos(slant)
			f := s.shape(&Jacobian{XX: 35 * q, XY: -0.75 * p, YX: 35 * p, YY: 0.75 * q})
			for y := 0.5; y < 1.5; y += 1. / 16 {
				s.footprint(0.5, y, &f, r, out[:ch])
				guard := hostile.Guarded[float32](t, len(r.patch), true)
				r.patch = guard[:0:len(guard)]
				if fault := hostile.Faults(func() { s.footprint(0.5, y, &f, r, out[:ch]) }); fault != nil {
					t.Fatalf("%d channels, slant %v, at %v: %v", ch, slant, y, fault)
				}
				r.patch = nil
			}
		}
	}
}

// TestFootprintsNearAnEdgeStayInside: at the corners of a level, where one is read
// in place or by its patch as there is room.
func TestFootprintsNearAnEdgeStayInside(t *testing.T) {
	const w, h = 96, 64
	for ch := 1; ch <= 4; ch++ {
		for _, atEnd := range []bool{false, true} {
			pix := hostile.Guarded[float32](t, w*h*ch, atEnd)
			s := sampler[float32]{ch: ch, radial: softDisc}
			s.levels = []level[float32]{{Raster: lanes.Raster[float32]{Pix: pix, Stride: w * ch, Channels: ch}, w: w, h: h, scaleX: 1, scaleY: 1}}
			r := new(scratch)
			var vals [4*shared + 4]float32
			var cov [shared]float32
			for _, axes := range [][2]float64{{2, 2}, {9, 2}, {14, 0.8}, {3, 2.2}} {
				for angle := 0.0; angle < 3.1; angle += 0.31 {
					p, q := math.Sincos(angle)
					f := s.shape(&Jacobian{XX: axes[0] * q, XY: -axes[1] * p, YX: axes[0] * p, YY: axes[1] * q})
					fault := hostile.Faults(func() {
						for step := 0.0; step < 30; step += 0.29 {
							for _, at := range [][2]float64{{f.reach, step}, {step, f.h}, {step, step / 3}} {
								for side := range 4 {
									r.xs[0], r.ys[0] = at[0]+0.5, at[1]+0.5
									if side&1 > 0 {
										r.xs[0] = w - r.xs[0]
									}
									if side&2 > 0 {
										r.ys[0] = h - r.ys[0]
									}
									r.xs[0], r.ys[0] = min(max(r.xs[0], 0), w), min(max(r.ys[0], 0), h)
									s.footprints(&f, batch{s: r, ch: ch, xs: r.xs[:1], ys: r.ys[:1], vals: vals[:ch], cov: cov[:1]})
								}
							}
						}
					})
					if fault != nil {
						t.Fatalf("%d channels, axes %v at %.2f: %v", ch, axes, angle, fault)
					}
				}
			}
		}
	}
}
