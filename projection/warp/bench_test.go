package warp_test

import (
	"fmt"
	"testing"

	"example.com/platewright/internal/peer/scenes"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func megapixels(b *testing.B, w, h int) {
	b.ReportMetric(float64(w)*float64(h)*float64(b.N)/1e6/b.Elapsed().Seconds(), "Mpx/s")
}

// BenchmarkNewMap builds the map of a plate of full size.
func BenchmarkNewMap(b *testing.B) {
	target := newView(12288, 6480, 100*degree, 0, 0, 0)
	source := newFisheye(8000, 180*degree, 0, 0)
	for _, workers := range []int{1, 0} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			for b.Loop() {
				if _, err := warp.NewMap(b.Context(), target, source, warp.MapOptions{Workers: workers}); err != nil {
					b.Fatal(err)
				}
			}
			megapixels(b, 12288, 6480)
		})
	}
}

// benchmarkWarp looks into a fisheye with a view of 60° and 2048 × 1152 px on
// one worker. A side of 5400 px makes it about 1 : 1; larger ones minify.
func benchmarkWarp[T warp.Sample](b *testing.B, ch, side int) {
	b.Run(fmt.Sprintf("%Tx%d/side=%d", *new(T), ch, side), func(b *testing.B) {
		m := newMap(b, newView(2048, 1152, 60*degree, 10*degree, 5*degree, 0), newFisheye(side, 180*degree, 0, 0))
		src, dst := newFrame[T](b, side, side, ch), newFrame[T](b, 2048, 1152, ch)
		paint(src, func(x, y, c int) float64 { return float64((x*7 + y*13 + c*5) & 255) })
		for b.Loop() {
			mustWarp(b, dst, src, m, warp.Options{Workers: 1})
		}
		megapixels(b, 2048, 1152)
	})
}

func BenchmarkWarp(b *testing.B) {
	for _, side := range []int{4000, 5400, 6500, 7000, 8000, 12000} {
		benchmarkWarp[uint16](b, 3, side)
	}
	benchmarkWarp[uint16](b, 1, 5400)
	benchmarkWarp[uint16](b, 4, 5400)
	benchmarkWarp[uint8](b, 3, 5400)
	benchmarkWarp[uint8](b, 4, 5400)
	benchmarkWarp[float32](b, 3, 5400)
	benchmarkWarp[float32](b, 4, 5400)
}

// BenchmarkPlate fills a plate of full size, which takes some 600 MB.
func BenchmarkPlate(b *testing.B) {
	const side = 4000
	m := newMap(b, newView(12288, 6480, 100*degree, 0, 0, 0), newFisheye(side, 180*degree, 0, 0))
	src, dst := newFrame[uint16](b, side, side, 3), newFrame[uint16](b, 12288, 6480, 3)
	for b.Loop() {
		mustWarp(b, dst, src, m, warp.Options{})
	}
	megapixels(b, 12288, 6480)
}

// BenchmarkBlend joins five cameras into a panorama.
func BenchmarkBlend(b *testing.B) {
	target := equirect{4096, 2048, 0}
	var layers []warp.Layer[uint16]
	for i := range 5 {
		camera := newFisheye(1500, 160*degree, 72*degree*unit.Angle(i), 0)
		f := newFrame[uint16](b, 1500, 1500, 3)
		layers = append(layers, warp.Layer[uint16]{Frame: f, Map: newMap(b, target, camera), Feather: 100})
	}
	dst := newFrame[uint16](b, 4096, 2048, 3)
	for b.Loop() {
		require.NoError(b, warp.Blend(b.Context(), dst, layers, warp.Options{}))
	}
	megapixels(b, 4096, 2048)
}

// BenchmarkView looks into a plate of full size, on one worker: what is compared with
// general-purpose libraries.
func BenchmarkView(b *testing.B) {
	benchmarkView[uint8](b)
	benchmarkView[uint16](b)
	benchmarkView[float32](b)
}

// BenchmarkMovingEye makes a map and a frame of a wall for each position of an eye, on
// one worker. The smaller frame reads levels of the plate's image pyramid.
func BenchmarkMovingEye(b *testing.B) {
	source := newFisheye(8000, 180*degree, 0, 0)
	plate := newFrame[uint16](b, source.w, source.h, 3)
	paint(plate, func(x, y, c int) float64 { return float64((x*7 + y*13 + c*5) & 255) })
	for _, w := range []int{3840, 640} {
		h := w * 9 / 16
		dst := newFrame[uint16](b, w, h, 3)
		for _, still := range []bool{false, true} {
			b.Run(fmt.Sprintf("width=%d/still=%v", w, still), func(b *testing.B) {
				src := plate
				if still {
					src = src.Still()
				}
				var m warp.Map
				turn := unit.Angle(0)
				b.ReportAllocs()
				for b.Loop() {
					turn += 0.1 * degree
					require.NoError(b, m.Remake(b.Context(), newView(w, h, 90*degree, turn, 0, 0), source, warp.MapOptions{Workers: 1}))
					mustWarp(b, dst, src, &m, warp.Options{Workers: 1})
				}
				megapixels(b, w, h)
			})
		}
	}
}

// BenchmarkMinify reduces a flat plate by so much, and turns it a little.
func BenchmarkMinify(b *testing.B) {
	const side = 5120
	src := newFrame[uint16](b, side, side, 3)
	paint(src, func(x, y, c int) float64 { return float64((x*7 + y*13 + c*5) & 255) })
	for _, scale := range []float64{1.5, 2, 2.4, 3, 4, 6} {
		size := int(side * 0.98 / scale)
		m, dst := newMap(b, affine(size, size, scenes.Turned(size, size, scale, 0.01, side/2, side/2)), flat(side, side)), newFrame[uint16](b, size, size, 3)
		for _, opts := range []warp.Options{{}, {Filter: warp.CatmullRom}, {Filter: warp.Lanczos3}, {Minify: warp.PixelMean}} {
			b.Run(fmt.Sprintf("%v/%v/%v", scale, opts.Filter, opts.Minify), func(b *testing.B) {
				opts.Workers = 1
				for b.Loop() {
					mustWarp(b, dst, src, m, opts)
				}
				megapixels(b, size, size)
			})
		}
	}
}

func benchmarkView[T warp.Sample](b *testing.B) {
	source := newFisheye(12288, 180*degree, 0, 0)
	source.h = 6480
	m := newMap(b, newView(3840, 2160, 90*degree, 0, 0, 0), source)
	src, dst := newFrame[T](b, source.w, source.h, 3), newFrame[T](b, 3840, 2160, 3)
	paint(src, func(x, y, c int) float64 { return float64((x*7 + y*13 + c*5) & 255) })
	for filter, name := range []string{"bilinear", "nearest", "Catmull-Rom", "Mitchell", "Lanczos"} {
		b.Run(fmt.Sprintf("%T/%s", *new(T), name), func(b *testing.B) {
			for b.Loop() {
				mustWarp(b, dst, src, m, warp.Options{Filter: warp.Filter(filter), Minify: warp.PointSample, Workers: 1})
			}
			megapixels(b, 3840, 2160)
		})
	}
	for _, minify := range []warp.Minify{warp.PixelMean, warp.AntiAlias} {
		b.Run(fmt.Sprintf("%T/%v", *new(T), minify), func(b *testing.B) {
			for b.Loop() {
				mustWarp(b, dst, src, m, warp.Options{Minify: minify, Workers: 1})
			}
			megapixels(b, 3840, 2160)
		})
	}
}
