package projection_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

var sink float64

type mapper interface {
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
	Size() (width, height int)
}

func benchMappers(tb testing.TB) map[string]mapper {
	m := map[string]mapper{}
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		c, err := projection.NewCamera(projection.CameraSpec{Model: f, FocalX: 3000, FocalY: 3000, Width: 6000, Height: 6000,
			Pose: projection.Pose{Heading: 1, Elevation: 0.2, Roll: 0.1}})
		require.NoError(tb, err)
		m[f.String()] = c
	}
	c, err := projection.NewCamera(projection.CameraSpec{Model: trial.KannalaBrandt{1, 0, 0, 0, 0}, FocalX: 3000, FocalY: 3000, Width: 6000, Height: 6000})
	require.NoError(tb, err)
	m["own"] = c
	poly, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, 0.02, -0.01, 0.001, -0.0001}, MaxAngle: 100 * deg})
	require.NoError(tb, err)
	c, err = projection.NewCamera(projection.CameraSpec{Model: poly, FocalX: 3000, FocalY: 3000, Width: 6000, Height: 6000})
	require.NoError(tb, err)
	m["polynomial"] = c
	return m
}

func BenchmarkProject(b *testing.B) {
	for name, m := range benchMappers(b) {
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
	for name, m := range benchMappers(b) {
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
	for name, m := range benchMappers(t) {
		if n := testing.AllocsPerRun(100, func() {
			d, _ := m.Unproject(3000, 3100)
			x, y, _ := m.Project(d)
			sink = x + y
		}); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}
