package trial

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mapper maps between directions and the positions of a raster.
type Mapper interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// BenchmarkMapping measures both ways of each mapper.
func BenchmarkMapping(b *testing.B, mappers map[string]Mapper) {
	for name, m := range mappers {
		dirs := make([]r3.Vec, 1024)
		rng := rand.New(rand.NewPCG(1, 1))
		w, h := m.Size()
		for i := range dirs {
			dirs[i], _ = m.Unproject(rng.Float64()*float64(w), rng.Float64()*float64(h))
		}
		Benchmark(b, "project/"+name, "directions", func(i int) { m.Project(dirs[i%1024]) })
		Benchmark(b, "unproject/"+name, "directions", func(i int) { m.Unproject(float64(i%w), float64(i*7%h)) })
	}
}

// Benchmark measures how many things are done in a second.
func Benchmark(b *testing.B, name, things string, do func(i int)) {
	b.Run(name, func(b *testing.B) {
		b.ReportAllocs()
		for i := range b.N {
			do(i)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), things+"/s")
	})
}

// AllocatesNothing checks that neither way of a mapper takes memory.
func AllocatesNothing(t *testing.T, mappers map[string]Mapper) {
	for name, m := range mappers {
		if n := testing.AllocsPerRun(100, func() {
			d, _ := m.Unproject(3000, 3100)
			m.Project(d)
		}); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}
