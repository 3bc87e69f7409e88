package warp

import (
	"math"
	"testing"

	"example.com/platewright/internal/lanes"
	"github.com/stretchr/testify/assert"
)

// TestLevelsAreTents compares levels of odd and even sides with tents over the
// level below, summed in small steps.
func TestLevelsAreTents(t *testing.T) {
	const ch, steps = 2, 4000
	for _, tc := range []struct {
		w, h        int
		wrap, poles bool
	}{{8, 6, false, false}, {7, 5, false, false}, {10, 3, true, false}, {10, 3, true, true}, {16, 8, true, true}, {6, 1, true, true}, {1, 9, false, false}, {2, 2, true, true}} {
		s := sampler[float32]{levels: make([]level[float32], 2), ch: ch, wrap: tc.wrap, poles: tc.poles}
		below, l := &s.levels[0], &s.levels[1]
		*below = level[float32]{Raster: lanes.Raster[float32]{Stride: ch*tc.w + 3, Channels: ch}, w: tc.w, h: tc.h, scaleX: 1, scaleY: 1}
		below.Pix = make([]float32, below.Stride*tc.h)
		for i := range below.Pix {
			below.Pix[i] = float32((i * i * 37) % 251)
		}
		l.shape(below, tc.wrap)
		if tc.wrap {
			assert.Zero(t, l.w%2, "%+v: a level of %d columns", tc, l.w)
		}
		at := func(x, y, c int) float64 {
			if tc.poles && y < 0 {
				y, x = -1-y, x+tc.w/2
			}
			if tc.poles && y >= tc.h {
				y, x = 2*tc.h-1-y, x+tc.w/2
			}
			if tc.wrap {
				x = (x + 8*tc.w) % tc.w
			}
			x, y = min(max(x, 0), tc.w-1), min(max(y, 0), tc.h-1)
			return float64(below.Pix[y*below.Stride+x*ch+c])
		}
		// weights of the texels below along an axis
		tent := func(i, parts, n int) map[int]float64 {
			size := float64(n) / float64(parts)
			w := map[int]float64{}
			for k := range steps {
				d := (float64(k)+0.5)/steps*2 - 1
				w[int(math.Floor((float64(i)+0.5+d)*size))] += (1 - math.Abs(d)) * 2 / steps
			}
			return w
		}
		for y := range l.h {
			s.coarsen(1, y, 0, l.w, new(scratch))
			for x := range l.w {
				for c := range ch {
					want := 0.0
					for sy, wy := range tent(y, l.h, tc.h) {
						for sx, wx := range tent(x, l.w, tc.w) {
							want += wy * wx * at(sx, sy, c)
						}
					}
					assert.InDelta(t, want, l.Pix[y*l.Stride+ch*x+c], 0.3, "%+v: texel (%d, %d)[%d]", tc, x, y, c)
				}
			}
		}
	}
}

// TestHalving has the weights 1, 3, 3, 1 along both axes.
func TestHalving(t *testing.T) {
	s := sampler[uint16]{levels: make([]level[uint16], 2), ch: 1}
	s.levels[0] = level[uint16]{Raster: lanes.Raster[uint16]{Pix: make([]uint16, 64), Stride: 8, Channels: 1}, w: 8, h: 8, scaleX: 1, scaleY: 1}
	s.levels[0].Pix[3*8+4] = 6400
	s.levels[1].shape(&s.levels[0], false)
	for y := range 4 {
		s.coarsen(1, y, 0, 4, new(scratch))
	}
	// Texel (4, 3) is the second of the four of column 2, the last of column 1;
	// the third of row 1, the first of row 2.
	got := s.levels[1].Pix
	for i, want := range map[int]uint16{5: 300, 6: 900, 9: 100, 10: 300, 0: 0, 15: 0, 7: 0, 4: 0} {
		assert.Equal(t, want, got[i], "texel %d", i)
	}
}
