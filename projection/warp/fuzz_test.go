package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/require"
)

// FuzzWarp warps and blends small frames of any size, stride and affine map,
// and checks what must hold of every one: constants stay, what is unseen is 0,
// coverage is a share, what lies between rows is not touched.
func FuzzWarp(f *testing.F) {
	f.Add(uint8(5), uint8(4), uint8(7), uint8(3), uint8(2), uint8(1), 1.0, 0.0, 0.0, 1.0, 0.0, 0.0, false)
	f.Add(uint8(64), uint8(33), uint8(40), uint8(64), uint8(0), uint8(3), 7.5, 0.3, -0.2, 9.1, -4.0, 2.5, true)
	f.Add(uint8(1), uint8(1), uint8(250), uint8(250), uint8(9), uint8(4), 250.0, 3.0, 1.0, 250.0, 0.0, 0.0, false)
	f.Add(uint8(100), uint8(9), uint8(8), uint8(8), uint8(1), uint8(2), 1e-9, 0.0, 0.0, 1e9, 4.0, 4.0, true)
	f.Add(uint8(70), uint8(70), uint8(8), uint8(8), uint8(1), uint8(2), math.NaN(), math.Inf(1), 0.0, 1e300, -1e300, 4.0, true)
	f.Fuzz(func(t *testing.T, tw, th, sw, sh, gap, channels uint8, xx, xy, yx, yy, x0, y0 float64, wrap bool) {
		w, h, ch := int(tw)%128+1, int(th)%128+1, int(channels)%4+1
		source := flat(int(sw)+1, int(sh)+1)
		if wrap {
			source.w += source.w % 2
			source.wrap = true
		}
		target := &plane{w: w, h: h, xx: xx, xy: xy, x0: x0, yx: yx, yy: yy, y0: y0}
		m := newMap(t, target, source)
		src, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: source.w, Height: source.h, Channels: ch, Stride: source.w*ch + int(gap)})
		require.NoError(t, err)
		paint(src, func(_, _, c int) float64 { return float64(1000*c + 77) })
		stride := w*ch + int(gap)
		pix := make([]uint16, stride*h)
		for i := range pix {
			pix[i] = 9
		}
		dst, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: w, Height: h, Channels: ch, Pix: pix, Stride: stride})
		require.NoError(t, err)
		cov := newFrame[float32](t, w, h, 1)
		for _, blend := range []bool{false, true} {
			if blend {
				err = warp.Blend(t.Context(), dst, []warp.Layer[uint16]{{Frame: src, Map: m, Feather: 3}, {Frame: src, Map: m}}, warp.Options{Coverage: cov})
			} else {
				err = warp.Warp(t.Context(), dst, src, m, warp.Options{Coverage: cov})
			}
			require.NoError(t, err)
			for y := range h {
				row, share := dst.Row(y), cov.Row(y)
				for x := range w {
					sx, sy, ok := m.At(float64(x)+0.5, float64(y)+0.5)
					if ok != (share[x] > 0) || !(share[x] <= 1) || ok && !(sx >= 0 && sx <= float64(source.w) && sy >= 0 && sy <= float64(source.h)) {
						t.Fatalf("(%d, %d): At gives %v, %v, %v, coverage %v", x, y, sx, sy, ok, share[x])
					}
					for c := range ch {
						var want uint16
						if ok {
							want = uint16(1000*c + 77)
						}
						if row[x*ch+c] != want {
							t.Fatalf("(%d, %d)[%d] is %d, want %d", x, y, c, row[x*ch+c], want)
						}
					}
				}
				if y < h-1 {
					for _, v := range pix[y*stride+w*ch : (y+1)*stride] {
						if v != 9 {
							t.Fatalf("written beyond row %d", y)
						}
					}
				}
			}
		}
	})
}

// FuzzNewFrame checks that a frame that is accepted has all its rows.
func FuzzNewFrame(f *testing.F) {
	f.Add(4, 3, 2, 8, 24)
	f.Add(1<<24, 1<<24, 4, math.MaxInt, 10)
	f.Add(-1, 0, 5, -7, 0)
	f.Fuzz(func(t *testing.T, w, h, ch, stride, n int) {
		pix := make([]uint8, max(0, n)%4096)
		frame, err := warp.NewFrame(warp.FrameSpec[uint8]{Width: w, Height: h, Channels: ch, Pix: pix, Stride: stride})
		if err != nil {
			return
		}
		for y := range h {
			if got := len(frame.Row(y)); got != w*ch {
				t.Fatalf("row %d has %d samples, want %d", y, got, w*ch)
			}
		}
	})
}
