package panorama_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/panorama"
	"gonum.org/v1/gonum/spatial/r3"
)

const deg = projection.Degree

func mappers(tb testing.TB) map[string]trial.Mapper {
	turned := projection.Pose{Heading: 1, Elevation: 0.2}
	return map[string]trial.Mapper{
		"equirectangular": trial.Must[panorama.Equirect](tb)(panorama.NewEquirect(16384, 8192, turned)),
		"with a border":   trial.Must[panorama.BorderEquirect](tb)(panorama.NewBorderEquirect(16384, 8192, turned)),
		"cylindrical":     trial.Must[panorama.Cylindrical](tb)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: 16384, Height: 8192, Bottom: -1, Top: 1, Pose: turned})),
		"cube":            trial.Must[panorama.Cube](tb)(panorama.NewCube(4096, turned)),
	}
}

func BenchmarkMapping(b *testing.B)            { trial.BenchmarkMapping(b, mappers(b)) }
func TestMappingAllocatesNothing(t *testing.T) { trial.AllocatesNothing(t, mappers(t)) }

func TestHostileArguments(t *testing.T) {
	turned := projection.Pose{Heading: 1, Elevation: -0.3, Roll: 0.2}
	cylinder := panorama.CylindricalSpec{Width: 400, Height: 100, Top: 0.3, Bottom: -0.2}
	sound := []any{
		turned, cylinder, 16, r3.Vec{X: 1, Y: 2, Z: -3},
		trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(cylinder)),
		trial.Must[panorama.Cube](t)(panorama.NewCube(64, turned)),
		trial.Must[panorama.Equirect](t)(panorama.NewEquirect(100, 50, turned)),
		trial.Must[panorama.BorderEquirect](t)(panorama.NewBorderEquirect(100, 50, turned)),
	}
	hostile.Calls(t, sound,
		panorama.NewCube, panorama.Cube.Breaks, panorama.Cube.Face, panorama.Cube.Project, panorama.Cube.Size, panorama.Cube.Unproject,
		panorama.NewCylindrical, panorama.Cylindrical.Margin, panorama.Cylindrical.Project, panorama.Cylindrical.Size, panorama.Cylindrical.Unproject, panorama.Cylindrical.WrapX,
		panorama.NewEquirect, panorama.Equirect.Project, panorama.Equirect.Size, panorama.Equirect.Unproject,
		panorama.NewBorderEquirect, panorama.BorderEquirect.Project, panorama.BorderEquirect.Size, panorama.BorderEquirect.Unproject,
	)
}
