package panorama_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"gonum.org/v1/gonum/spatial/r3"
)

var sink float64

func mappers(tb testing.TB) map[string]mapper {
	turned := projection.Pose{Heading: 1, Elevation: 0.2}
	return map[string]mapper{
		"equirectangular": must[panorama.Equirect](tb)(panorama.NewEquirect(16384, 8192, turned)),
		"with a border":   must[panorama.BorderEquirect](tb)(panorama.NewBorderEquirect(16384, 8192, turned)),
		"cylindrical":     must[panorama.Cylindrical](tb)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: 16384, Height: 8192, Bottom: -1, Top: 1, Pose: turned})),
		"cube":            must[panorama.Cube](tb)(panorama.NewCube(4096, turned)),
	}
}

func BenchmarkProject(b *testing.B) {
	for name, m := range mappers(b) {
		dirs := make([]r3.Vec, 1024)
		rng := rand.New(rand.NewPCG(1, 1))
		w, h := m.Size()
		for i := range dirs {
			dirs[i], _ = m.Unproject(rng.Float64()*float64(w), rng.Float64()*float64(h))
		}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for i := range b.N {
				x, y, _ := m.Project(dirs[i%1024])
				sink = x + y
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "directions/s")
		})
	}
}

func BenchmarkUnproject(b *testing.B) {
	for name, m := range mappers(b) {
		w, h := m.Size()
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for i := range b.N {
				d, _ := m.Unproject(float64(i%w), float64(i*7%h))
				sink = d.X
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "directions/s")
		})
	}
}

func TestMappingAllocatesNothing(t *testing.T) {
	for name, m := range mappers(t) {
		if n := testing.AllocsPerRun(100, func() {
			d, _ := m.Unproject(3000, 3100)
			x, y, _ := m.Project(d)
			sink = x + y
		}); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}

func TestHostileArguments(t *testing.T) {
	turned := projection.Pose{Heading: 1, Elevation: -0.3, Roll: 0.2}
	cylinder := panorama.CylindricalSpec{Width: 400, Height: 100, Top: 0.3, Bottom: -0.2}
	sound := []any{
		turned, cylinder, 16, r3.Vec{X: 1, Y: 2, Z: -3},
		must[panorama.Cylindrical](t)(panorama.NewCylindrical(cylinder)),
		must[panorama.Cube](t)(panorama.NewCube(64, turned)),
		must[panorama.Equirect](t)(panorama.NewEquirect(100, 50, turned)),
		must[panorama.BorderEquirect](t)(panorama.NewBorderEquirect(100, 50, turned)),
	}
	hostile.Calls(t, sound,
		panorama.NewCube, panorama.Cube.Breaks, panorama.Cube.Face, panorama.Cube.Project, panorama.Cube.Size, panorama.Cube.Unproject,
		panorama.NewCylindrical, panorama.Cylindrical.Margin, panorama.Cylindrical.Project, panorama.Cylindrical.Size, panorama.Cylindrical.Unproject, panorama.Cylindrical.WrapX,
		panorama.NewEquirect, panorama.Equirect.Project, panorama.Equirect.Size, panorama.Equirect.Unproject,
		panorama.NewBorderEquirect, panorama.BorderEquirect.Project, panorama.BorderEquirect.Size, panorama.BorderEquirect.Unproject,
	)
}
