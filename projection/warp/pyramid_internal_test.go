package warp

import (
	"math"
	"testing"
)

// TestLevelsAreMeansOverEqualShares compares levels of odd and even sides with
// means by brute force: each texel cut into as many parts as there are texels
// in the level above, and the other way round.
func TestLevelsAreMeansOverEqualShares(t *testing.T) {
	for _, tc := range []struct {
		w, h int
		wrap bool
	}{{8, 6, false}, {7, 5, false}, {10, 3, true}, {6, 1, true}, {1, 9, false}, {2, 2, true}} {
		below := &level[float32]{w: tc.w, h: tc.h, stride: 2*tc.w + 3, scaleX: 1, scaleY: 1}
		below.pix = make([]float32, below.stride*tc.h)
		for i := range below.pix {
			below.pix[i] = float32((i * i * 37) % 251)
		}
		var l level[float32]
		l.shape(below, 2, tc.wrap)
		if tc.wrap && l.w%2 != 0 {
			t.Errorf("%+v: a level of %d columns", tc, l.w)
		}
		for y := range l.h {
			l.average(below, y, 2, false)
			for x := range l.w {
				for c := range 2 {
					sum, count := 0.0, 0
					for sy := y * tc.h; sy < (y+1)*tc.h; sy++ {
						for sx := x * tc.w; sx < (x+1)*tc.w; sx++ {
							sum += float64(below.pix[sy/l.h*below.stride+sx/l.w*2+c])
							count++
						}
					}
					if got, want := float64(l.pix[y*l.stride+2*x+c]), sum/float64(count); math.Abs(got-want) > 1e-4 {
						t.Errorf("%+v: texel (%d, %d)[%d] is %v, want %v", tc, x, y, c, got, want)
					}
				}
			}
		}
	}
}

func TestHalvesGoToTheEven(t *testing.T) {
	// Two of four is a half: 0.5, 1.5, 2.5, 3.5 become 0, 2, 2, 4.
	p, q := []uint8{1, 1, 3, 3, 5, 5, 7, 7}, []uint8{0, 0, 0, 0, 0, 0, 0, 0}
	out := make([]uint8, 4)
	halve(out, p, q, 1, true)
	for i, want := range []uint8{0, 2, 2, 4} {
		if out[i] != want {
			t.Errorf("got %v, want 0 2 2 4", out)
			break
		}
	}
}
