package motion_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/motion"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	spec := motion.Spec{Velocity: r3.Vec{X: 1, Y: 2, Z: -3}, Yaw: 1, Pitch: 1, Roll: 1, Arm: r3.Vec{X: 1}}
	camera := starboard(44, 4000)
	view := trial.Must(motion.NewView(camera, readout(timing.TopDown, 8000, trial.Seconds(5, 1e6))))
	hostile.Calls(t, []any{spec, trial.Must(motion.New(spec)), camera, view, pan(), r3.Vec{X: 1}, r3.Vec{X: 1e300, Y: -1e300}, unit.Length(10), unit.Time(0.1)},
		motion.New, motion.NewView, motion.Strobing,
		motion.Motion.Direction, motion.Motion.Displacement, motion.Motion.Angle, motion.Motion.Record, motion.Motion.Skew, motion.Motion.Shear)
}
