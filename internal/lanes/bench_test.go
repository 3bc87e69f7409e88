package lanes

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// BenchmarkLoops times each loop in assembly and its twin in Go, in one run.
func BenchmarkLoops(b *testing.B) {
	if !accelerated {
		b.Skip("no assembly here")
	}
	benchmarkLoops[uint8](b)
	benchmarkLoops[uint16](b)
	benchmarkLoops[float32](b)
	const n = 256
	xs, ys := make([]float64, n), make([]float64, n)
	at, u, v := make([]int, n), make([]float32, n), make([]float32, n)
	for i := range xs {
		xs[i], ys[i] = 10.3+1.01*float64(i), 20.7+0.1*float64(i)
	}
	line := make([]float32, 8*n+20)
	for ch := 1; ch <= 4; ch++ {
		inBothWays(b, fmt.Sprintf("halve/%d", ch), n, func() { Halve(line, line[4*n:], n/2, ch) })
	}
	g := NewGrid(Raster[uint16]{Pix: make([]uint16, 1<<20), Stride: 1024, Channels: 3}, 340, 1000, 2, 2, Width)
	inBothWays(b, "place", n, func() { Place(at, u, v, xs, ys, &g) })
	inBothWays(b, "positions", n, func() {
		Positions(xs, ys, &Quadratic{100, 50, 0.1}, &Quadratic{100, 1, 0.2}, -127, 1.0/128, 1000, 1000)
	})
}

func inBothWays(b *testing.B, name string, n int, f func()) {
	for _, fast := range []bool{true, false} {
		way := "Go"
		if fast {
			way = "assembly"
		}
		b.Run(name+"/"+way, func(b *testing.B) {
			defer setAccelerated(setAccelerated(fast))
			for b.Loop() {
				f()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/px")
		})
	}
}

func benchmarkLoops[T Sample](b *testing.B) {
	const n = 256
	for _, ch := range []int{1, 3, 4} {
		rng := rand.New(rand.NewPCG(1, 2))
		r := raster[T](rng, 400, 60, ch)
		var at []int
		var u, v []float32
		for i := range n {
			at, u, v = append(at, (20+i/40)*r.Stride+(40+i)*ch), append(u, rng.Float32()), append(v, rng.Float32())
		}
		out := make([]float32, n*ch+8)
		name := func(s string) string { return fmt.Sprintf("%s/%Tx%d", s, *new(T), ch) }
		inBothWays(b, name("nearest"), n, func() { Nearest(out, r, at, r.Stride) })
		inBothWays(b, name("bilinear"), n, func() { Bilinear(out, r, at, u, v, r.Stride) })
		for _, pairs := range []int{1, 2, 3, 4, 5, 6, 8} {
			k := kernels[pairs-1]
			inBothWays(b, name(fmt.Sprintf("window%d", k.Taps())), n, func() { Window(out, r, k, k, Slant{}, at, u, v, r.Stride) })
			slant := NewSlant(0.3, k.Taps())
			inBothWays(b, name(fmt.Sprintf("lean%d", k.Taps())), n, func() { Window(out, r, k, k, slant, at, u, v, r.Stride) })
		}
		runs := []int{0, r.Stride, 2 * r.Stride, 3 * r.Stride}
		inBothWays(b, name("sum"), n, func() { Sum(out[:n*ch], r.Pix, runs, u[:4], r.Stride) })
		if _, isWhole := Limit[T](); !isWhole {
			continue
		}
		rounded := make([]T, n*ch)
		inBothWays(b, name("round"), n, func() { Round(rounded, out[:n*ch]) })
	}
}
