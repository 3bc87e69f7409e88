package warp_test

import (
	"fmt"
	"testing"

	"example.com/platewright/projection/warp"
)

func megapixels(b *testing.B, w, h int) {
	b.ReportMetric(float64(w)*float64(h)*float64(b.N)/1e6/b.Elapsed().Seconds(), "Mpx/s")
	b.ReportMetric(0, "ns/op")
}

func BenchmarkNewMap(b *testing.B) {
	target := newView(12288, 6480, 100*degree, 0, 0, 0)
	source := newFisheye(8000, 180*degree, 0, 0)
	for b.Loop() {
		m, err := warp.NewMap(b.Context(), target, source, warp.MapOptions{Workers: 1})
		if err != nil {
			b.Fatal(err)
		}
		if b.N == 1 {
			b.Logf("%+v", m.Report())
		}
	}
	megapixels(b, 12288, 6480)
}

// benchmarkWarp looks into a fisheye of the side given with a 2048 px view of
// 60 degrees; sides near 5900 make it about 1 : 1.
func benchmarkWarp[T warp.Sample](b *testing.B, ch, side, workers int) {
	target := newView(2048, 1152, 60*degree, 10*degree, 5*degree, 0)
	source := newFisheye(side, 180*degree, 0, 0)
	m := newMap(b, target, source)
	src, dst := newFrame[T](b, side, side, ch), newFrame[T](b, 2048, 1152, ch)
	paint(src, func(x, y, c int) float64 { return float64((x*7 + y*13 + c*5) & 255) })
	for b.Loop() {
		if err := warp.Warp(b.Context(), dst, src, m, warp.Options{Workers: workers}); err != nil {
			b.Fatal(err)
		}
	}
	megapixels(b, 2048, 1152)
}

func BenchmarkWarp(b *testing.B) {
	for _, side := range []int{4000, 5400, 7000, 12000} {
		b.Run(fmt.Sprintf("uint16x3/side=%d", side), func(b *testing.B) { benchmarkWarp[uint16](b, 3, side, 1) })
	}
	b.Run("uint8x3/side=4000", func(b *testing.B) { benchmarkWarp[uint8](b, 3, 4000, 1) })
	b.Run("uint8x4/side=4000", func(b *testing.B) { benchmarkWarp[uint8](b, 4, 4000, 1) })
	b.Run("float32x3/side=4000", func(b *testing.B) { benchmarkWarp[float32](b, 3, 4000, 1) })
	b.Run("uint16x1/side=4000", func(b *testing.B) { benchmarkWarp[uint16](b, 1, 4000, 1) })
}
