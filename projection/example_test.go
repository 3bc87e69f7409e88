package projection_test

import (
	"fmt"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The port camera of the ferry's plate rig: an equisolid fisheye of 8 mm on a
// sensor of 6144 × 6144 pixels, turned 90° to the left and tilted up by 5°.
func Example() {
	port, err := projection.NewCamera(projection.CameraSpec{
		Model:       projection.Equisolid,
		FocalLength: 8 * unit.Milli * unit.Metre,
		Pitch:       4 * unit.Micro * unit.Metre,
		Width:       6144, Height: 6144,
		ImageCircle: 24 * unit.Milli * unit.Metre,
		Pose: projection.Pose{
			Heading:   -90 * projection.Degree,
			Elevation: 5 * projection.Degree,
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	// A buoy on the horizon, 30° ahead of the beam.
	buoy := projection.Pose{Heading: -60 * projection.Degree}.ToStage(r3.Vec{Z: -1})
	x, y, ok := port.Project(buoy)
	fmt.Printf("buoy at (%.1f, %.1f) px: %v, %.0f px inside the image circle\n", x, y, ok, port.Margin(x, y))

	across, _, _ := port.FieldOfView()
	fmt.Printf("seen across: %.1f°\n", float64(across/projection.Degree))

	_, _, ok = port.Project(r3.Vec{X: 1})
	fmt.Println("starboard seen:", ok)
	// Output:
}
