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
	x, y, _ := port.Project(buoy)
	fmt.Printf("the buoy is at (%.1f, %.1f) px, %.0f px inside\n", x, y, port.Margin(x, y))

	density, _ := port.Density(buoy)
	fmt.Printf("there a degree is %.1f px along the radius and %.1f px across\n", density.Radial, density.Tangential)

	across, _, _ := port.FieldOfView()
	fmt.Printf("the camera sees %.1f° across\n", float64(across/projection.Degree))

	starboard := r3.Vec{X: 1}
	_, _, ok := port.Project(starboard)
	fmt.Println("starboard is imaged:", ok)
	// Output:
	// the buoy is at (4108.2, 3228.4) px, 1952 px inside
	// there a degree is 33.7 px along the radius and 36.2 px across
	// the camera sees 194.4° across
	// starboard is imaged: false
}

// How five lenses of one focal length image the same field angles, in focal
// lengths.
func ExampleForm() {
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		fmt.Printf("%-13v", f)
		for _, degrees := range []float64{45, 90, 110} {
			if r, ok := f.Radius(unit.Angle(degrees) * projection.Degree); ok {
				fmt.Printf(" %.4f", r)
			} else {
				fmt.Print("      –")
			}
		}
		fmt.Println()
	}
	// Output:
	// rectilinear   1.0000      –      –
	// stereographic 0.8284 2.0000 2.8563
	// equidistant   0.7854 1.5708 1.9199
	// equisolid     0.7654 1.4142 1.6383
	// orthographic  0.7071 1.0000      –
}

// A look-up in the assembled panorama: the lighthouse is 40° to starboard and
// 2° above the horizon.
func ExampleEquirect() {
	panorama, err := projection.NewEquirect(49152, 24576, projection.Pose{})
	if err != nil {
		fmt.Println(err)
		return
	}
	lighthouse := projection.Pose{Heading: 40 * projection.Degree, Elevation: 2 * projection.Degree}.ToStage(r3.Vec{Z: -1})
	x, y, _ := panorama.Project(lighthouse)
	fmt.Printf("(%.0f, %.0f) px\n", x, y)
	// Output:
	// (30037, 12015) px
}
