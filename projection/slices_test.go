package projection_test

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func BenchmarkProjectAll(b *testing.B) {
	for name, m := range benchMappers(b) {
		c, ok := m.(slicer)
		if !ok {
			continue
		}
		const n = 4096
		dirs, x, y, good := slicesOf(c, n)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				c.ProjectAll(x, y, good, dirs)
			}
			b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdirections/s")
		})
	}
}

func BenchmarkUnprojectAll(b *testing.B) {
	for name, m := range benchMappers(b) {
		c, ok := m.(slicer)
		if !ok {
			continue
		}
		const n = 4096
		dirs, x, y, good := slicesOf(c, n)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				c.UnprojectAll(dirs, good, x, y)
			}
			b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdirections/s")
		})
	}
}

type slicer interface {
	mapper
	ProjectAll(x, y []float64, ok []bool, dirs []r3.Vec) int
	UnprojectAll(dirs []r3.Vec, ok []bool, x, y []float64) int
}

// slicesOf are n positions that a camera images, at random over the disc, and
// their directions.
func slicesOf(c slicer, n int) (dirs []r3.Vec, x, y []float64, ok []bool) {
	rng := rand.New(rand.NewPCG(1, 1))
	w, h := c.Size()
	for len(dirs) < n {
		px, py := rng.Float64()*float64(w), rng.Float64()*float64(h)
		if d, ok := c.Unproject(px, py); ok {
			dirs, x, y = append(dirs, d), append(x, px), append(y, py)
		}
	}
	return dirs, x, y, make([]bool, n)
}
