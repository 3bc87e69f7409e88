package projection_test

import (
	"fmt"
	"math"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The fisheye of the ferry's bow camera, calibrated: k₁ to k₄ follow a first
// coefficient of 1.
func ExampleOddPolynomial() {
	bow, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{
		Coefficients: []float64{1, 0.021, -0.018, 0.0042, -0.00061},
		MaxAngle:     100 * projection.Degree, // where the calibration ends
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(bow)
	for _, degrees := range []unit.Angle{30, 60, 90, 110} {
		if r, ok := bow.Radius(degrees * projection.Degree); ok {
			back, _ := bow.Angle(r)
			fmt.Printf("%v°: %.5f focal lengths, and back at %.9f°\n", float64(degrees), r, float64(back/projection.Degree))
		} else {
			fmt.Printf("%v°: not imaged\n", float64(degrees))
		}
	}
	// Output:
	// r = 1·θ + 0.021·θ^3 − 0.018·θ^5 + 0.0042·θ^7 − 0.00061·θ^9, θ ≤ 100°
	// 30°: 0.52595 focal lengths, and back at 30.000000000°
	// 60°: 1.05352 focal lengths, and back at 60.000000000°
	// 90°: 1.54364 focal lengths, and back at 90.000000000°
	// 110°: not imaged
}

// A lens of 8 mm measured on a bench at seven angles, heights in millimetres.
func ExampleTable() {
	var points []projection.TablePoint
	for _, p := range [][2]float64{{15, 2.089}, {30, 4.142}, {45, 6.124}, {60, 8.003}, {75, 9.741}, {90, 11.30}, {95, 11.77}} {
		points = append(points, projection.TablePoint{Angle: unit.Angle(p[0]) * projection.Degree, Height: p[1] / 8})
	}
	lens, err := projection.NewTable(points)
	if err != nil {
		fmt.Println(err)
		return
	}
	port, err := projection.NewCamera(projection.CameraSpec{
		Model:       lens,
		FocalLength: 8 * unit.Milli * unit.Metre, // which divided the heights
		Pitch:       4 * unit.Micro * unit.Metre,
		Width:       6144, Height: 6144,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	density, _ := port.Density(projection.Pose{Heading: 40 * projection.Degree}.ToStage(r3.Vec{Z: -1}))
	across, _, _ := port.FieldOfView()
	fmt.Printf("40° off the axis a degree is %.1f px along the radius and %.1f px across\n", density.Radial, density.Tangential)
	fmt.Printf("the camera sees %.1f° across\n", float64(across/projection.Degree))
	// Output:
	// 40° off the axis a degree is 32.8 px along the radius and 37.2 px across
	// the camera sees 190.0° across
}

// A calibration of the wheelhouse's witness camera, as OpenCV writes it: k1, k2,
// p1, p2, k3, and a principal point counted from the centre of the first pixel.
func ExampleBrownConrady() {
	k := [5]float64{-0.271, 0.094, 0.0008, -0.0004, -0.017}
	cx, cy := 958.7, 541.9
	lens, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: k[0], K2: k[1], P1: k[2], P2: k[3], K3: k[4]})
	if err != nil {
		fmt.Println(err)
		return
	}
	witness, err := projection.NewCamera(projection.CameraSpec{
		Model:      projection.Rectilinear,
		Distortion: lens,
		FocalX:     1122.4, FocalY: 1121.8,
		Width: 1920, Height: 1080,
		OffsetX: cx + 0.5 - 960, OffsetY: cy + 0.5 - 540,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("one image for one direction up to %.1f° off the axis\n", math.Atan(lens.MaxRadius())*180/math.Pi)
	d, _ := witness.Unproject(0, 0)
	x, y, _ := witness.Project(d)
	fmt.Printf("the corner looks to (%.4f, %.4f, %.4f), and is at (%.9f, %.9f)\n", d.X, d.Y, d.Z, math.Abs(x), math.Abs(y))
	// Output:
	// one image for one direction up to 58.0° off the axis
	// the corner looks to (-0.7072, 0.4018, -0.5817), and is at (0.000000000, 0.000000000)
}
