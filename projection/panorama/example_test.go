package panorama_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
)

// The ferry's wake on three panoramas.
func Example() {
	wake := projection.Direction(170*projection.Degree, -20*projection.Degree)
	sphere, err := panorama.NewEquirect(16384, 8192, projection.Pose{})
	if err != nil {
		log.Fatal(err)
	}
	x, y, _ := sphere.Project(wake)
	fmt.Printf("equirectangular: (%.1f, %.1f)\n", x, y)

	// For a ring of walls, from 30° below the horizon to 45° above.
	ring, err := panorama.NewCylindrical(panorama.CylindricalSpec{Width: 16384, Height: 4113, Bottom: -30 * projection.Degree, Top: 45 * projection.Degree})
	if err != nil {
		log.Fatal(err)
	}
	x, y, _ = ring.Project(wake)
	fmt.Printf("cylindrical: (%.1f, %.1f), %.0f px above the lower edge\n", x, y, ring.Margin(x, y))

	cube, err := panorama.NewCube(4096, projection.Pose{})
	if err != nil {
		log.Fatal(err)
	}
	x, y, _ = cube.Project(wake)
	face := int(x) / 4096
	astern, _ := cube.Face(face)
	u, v, _ := astern.Project(wake)
	fmt.Printf("cube: (%.1f, %.1f), which is (%.1f, %.1f) on face %d\n", x, y, u, v, face)
	// Output:
	// equirectangular: (15928.9, 5006.2)
	// cylindrical: (15928.9, 3556.6), 556 px above the lower edge
	// cube: (22166.9, 2804.9), which is (1686.9, 2804.9) on face 5
}

// An environment map whose first and last columns both look astern: read as an
// Equirect its picture would be stretched by a pixel.
func ExampleBorderEquirect() {
	m, err := panorama.NewBorderEquirect(2048, 1024, projection.Pose{})
	if err != nil {
		log.Fatal(err)
	}
	for _, x := range []float64{0.5, 2047.5} { // pixel centres
		d, _ := m.Unproject(x, 512)
		fmt.Printf("%.1f: (%.3f, %.3f, %.3f)\n", x, math.Abs(d.X), d.Y, d.Z)
	}
	// Output:
	// 0.5: (0.000, 0.000, 1.000)
	// 2047.5: (0.000, 0.000, 1.000)
}
