package projection_test

import (
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
)

func benchMappers(tb testing.TB) map[string]trial.Mapper {
	m := map[string]trial.Mapper{}
	spec := projection.CameraSpec{FocalX: 3000, FocalY: 3000, Width: 6000, Height: 6000, Pose: projection.Pose{Heading: 1, Elevation: 0.2, Roll: 0.1}}
	for _, f := range forms {
		spec.Model = f
		m[f.String()] = trial.Camera(tb, spec)
	}
	spec.Model = trial.KannalaBrandt{1, 0, 0, 0, 0}
	m["own"] = trial.Camera(tb, spec)
	spec.Model = oddPolynomial(tb, 100*deg, 1, 0.02, -0.01, 0.001, -0.0001)
	m["polynomial"] = trial.Camera(tb, spec)
	return m
}

func BenchmarkMapping(b *testing.B)            { trial.BenchmarkMapping(b, benchMappers(b)) }
func TestMappingAllocatesNothing(t *testing.T) { trial.AllocatesNothing(t, benchMappers(t)) }
