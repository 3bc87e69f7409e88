package warp_test

import (
	"math"
	"testing"

	"example.com/platewright/projection/warp"
)

// zonePlate is rings whose frequency grows from 0 in the middle to 0.5 cycles
// a pixel at the distance n/2, and fades to its mean beyond.
func zonePlate(t testing.TB, n int) warp.Frame[float32] {
	f := newFrame[float32](t, n, n, 1)
	paint(f, func(x, y, _ int) float64 {
		dx, dy := float64(x)+0.5-float64(n)/2, float64(y)+0.5-float64(n)/2
		r := math.Hypot(dx, dy)
		if r > float64(n)/2 {
			return 0.5
		}
		return 0.5 + 0.5*math.Cos(math.Pi*r*r/float64(n))
	})
	return f
}

func TestZ(t *testing.T) {
	const n = 2048
	src := zonePlate(t, n)
	for _, s := range []float64{1.1, 1.25, 1.5, 2, 3, 4, 5, 6, 8, 12, 16} {
		for _, ang := range []float64{0, 0.4} {
			size := int(n / s)
			target := flat(size, size)
			sn, cs := math.Sincos(ang)
			target.xx, target.xy, target.yx, target.yy = s*cs, -s*sn, s*sn, s*cs
			target.x0 = n/2 - target.xx*float64(size)/2 - target.xy*float64(size)/2 + 0.37
			target.y0 = n/2 - target.yx*float64(size)/2 - target.yy*float64(size)/2 + 0.21
			m := newMap(t, target, flat(n, n))
			dst := newFrame[float32](t, size, size, 1)
			if err := warp.Warp(t.Context(), dst, src, m, warp.Options{}); err != nil {
				t.Fatal(err)
			}
			db := func(q0, q1 float64) float64 {
				sum, cnt := 0.0, 0
				for y := range size {
					row := dst.Row(y)
					for x := range size {
						sx, sy, ok := m.At(float64(x)+.5, float64(y)+.5)
						if !ok {
							continue
						}
						f := math.Hypot(sx-n/2, sy-n/2) / n // cycles a source px
						if f*s < q0 || f*s >= q1 || f > 0.49 {
							continue
						}
						v := float64(row[x]) - 0.5
						sum += v * v
						cnt++
					}
				}
				return 10 * math.Log10(sum/float64(cnt)/0.125)
			}
			t.Logf("s=%4v ang=%v: 0-.1 %.1f  .25 %.1f  .4-.5 %.1f | >.5 %.1f  >.6 %.1f >.75 %.1f >1 %.1f max%d", s, ang, db(0.02, .1), db(.22, .28), db(.4, .5), db(.5, 99), db(.6, 99), db(.75, 99), db(1, 99), 0)
		}
	}
}
