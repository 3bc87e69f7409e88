package fit_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/fit"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestHostileArguments(t *testing.T) {
	camera := must[projection.Camera](t)(fisheye(t, projection.Pose{}).Scale(48, 48))
	plate := pattern(t, camera, camera, 1)
	places := []r3.Vec{{Z: -1}, {X: 0.6, Z: -0.8}}
	hostile.Calls(t, []any{plate, fit.PairSpec{B: 1, Patch: 24}, fit.SeamSpec{Places: places, Patch: 8, Reach: 1}, fit.GainSpec{Cameras: 2},
		[]fit.Pair{pair(0, 1, 1, 0.1), pair(1, 0, -1, 0.1)}, fit.Median},
		fit.MeasurePair[float32], fit.MeasureSeam[float32], fit.MeasureGains, fit.Gauge.String, fit.Gauge.MarshalText)
}

// blind is a camera that answers with nonsense.
type blind struct{ projection.Camera }

func (blind) Project(r3.Vec) (x, y float64, ok bool)           { return 1e300, -1e300, true }
func (blind) Unproject(float64, float64) (dir r3.Vec, ok bool) { return r3.Vec{}, true }

func TestCamerasThatAnswerNonsense(t *testing.T) {
	camera := fisheye(t, projection.Pose{})
	good := pattern(t, camera, camera, 1)
	bad := good
	bad.Camera = blind{camera}
	for _, p := range [][2]fit.Plate[float32]{{good, bad}, {bad, good}, {bad, bad}} {
		if _, err := fit.MeasurePair(p[0], p[1], fit.PairSpec{B: 1}); err == nil {
			t.Error("a pair")
		}
		if _, err := fit.MeasureSeam(p[0], p[1], fit.SeamSpec{}); err == nil {
			t.Error("a seam")
		}
	}
}
