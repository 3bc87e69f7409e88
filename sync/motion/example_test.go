package motion_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"

	"example.com/platewright/sync/motion"
	"gonum.org/v1/gonum/unit"
)

// The plate plays two frames late. How far off is the quay, 40 m abeam of a ferry
// at 6 m/s, on a plate of 60 px a degree?
func ExampleImageMotion() {
	camera, _ := timing.NewRate(24, 1)
	late, _ := camera.Time(2)
	m, err := motion.ImageMotion(motion.MotionSpec{
		Time: late.Time(), Speed: 6, Distance: 40 * unit.Metre, Density: 60,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.2f m, %.3f°, %.1f px\n", float64(m.Displacement), float64(m.Angle/motion.Degree), m.Pixels)
	// Output:
	// 0.50 m, 0.716°, 43.0 px
}
