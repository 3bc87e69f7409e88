package projection_test

import (
	"fmt"
	"log"
	"math"

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
		log.Fatal(err)
	}
	// A buoy on the horizon, 30° ahead of the beam.
	buoy := projection.Direction(-60*projection.Degree, 0)
	x, y, _ := port.Project(buoy)
	fmt.Printf("the buoy is at (%.1f, %.1f) px, %.0f px inside\n", x, y, port.Margin(x, y))

	density, _ := port.Density(buoy)
	fmt.Printf("there a degree is %.1f px along the radius and %.1f px across\n", density.Radial, density.Tangential)

	across, _, _ := port.FieldOfView()
	fmt.Printf("the camera sees %.1f° across\n", float64(across/projection.Degree))

	fmt.Println("the bow is seen:", port.Sees(r3.Vec{Z: -1}), "starboard:", port.Sees(r3.Vec{X: 1}))
	// Output:
	// the buoy is at (4108.2, 3228.4) px, 1952 px inside
	// there a degree is 33.7 px along the radius and 36.2 px across
	// the camera sees 194.4° across
	// the bow is seen: true starboard: false
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

// A film back of 36 × 20.25 mm goes into a scene whose unit is the metre.
func ExampleFilmBack_USD() {
	const mm = unit.Milli * unit.Metre
	b := projection.FilmBack{FocalLength: 25 * mm, Width: 36 * mm, Height: 20.25 * mm, ShiftUp: 3 * mm, Focus: 4 * unit.Metre}
	u, err := b.USD(1)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("horizontalAperture %.4g, verticalAperture %.4g, verticalApertureOffset %.4g\n", u.HorizontalAperture, u.VerticalAperture, u.VerticalApertureOffset)
	fmt.Printf("focalLength %.4g, focusDistance %.4g\n", u.FocalLength, u.FocusDistance)

	// On a raster of 2:1 that must show nothing but what the sensor sees.
	spec, err := b.CameraSpec(4096, 2048, projection.FitCropped, projection.Pose{})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("pitch %.3f µm, axis %.1f px below the middle\n", float64(spec.Pitch)*1e6, spec.OffsetY)

	// The left half of the picture alone is a camera with its lens shifted to the left.
	whole, err := projection.NewCamera(spec)
	if err != nil {
		log.Fatal(err)
	}
	left, err := whole.Crop(0, 0, 2048, 2048)
	if err != nil {
		log.Fatal(err)
	}
	half, err := projection.FilmBackOf(left)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("left half: %.1f × %.1f mm, shifted by %.1f mm\n", float64(half.Width/mm), float64(half.Height/mm), float64(half.ShiftRight/mm))
	// Output:
	// horizontalAperture 0.36, verticalAperture 0.2025, verticalApertureOffset 0.03
	// focalLength 0.25, focusDistance 4
	// pitch 8.789 µm, axis 341.3 px below the middle
	// left half: 18.0 × 18.0 mm, shifted by -9.0 mm
}

// The tracked camera between two of its reports, for a frame that falls there.
func ExamplePose_Interpolate() {
	before := projection.Pose{Position: r3.Vec{X: 0.10, Y: 1.6, Z: 3}, Heading: 170 * projection.Degree}
	after := projection.Pose{Position: r3.Vec{X: 0.20, Y: 1.6, Z: 3}, Heading: -170 * projection.Degree}
	p, _ := before.Interpolate(after, 0.25)
	fmt.Printf("x = %.3f m, heading %.1f°\n", p.Position.X, float64(p.Heading/projection.Degree))
	fmt.Printf("the whole turn is %.1f°\n", float64(before.AngleTo(after)/projection.Degree))
	// Output:
	// x = 0.125 m, heading 175.0°
	// the whole turn is 20.0°
}

// A chart at the ferry's bow, as a calibration found it: where is the camera?
func ExampleExtrinsics_Pose() {
	// The chart is 3 m ahead of the camera, upright and facing it: a half turn about
	// X leads from its axes, +Y up, to those of computer vision.
	e, err := projection.ExtrinsicsFromRows([3][4]float64{
		{1, 0, 0, 0},
		{0, -1, 0, 0.5},
		{0, 0, -1, 3},
	})
	if err != nil {
		log.Fatal(err)
	}
	p, err := e.Pose()
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the camera is %.1f m above the chart's origin and %.1f m in front\n", p.Position.Y, p.Position.Z)

	// A stereo calibration leads from its frame to that of a second one.
	second, err := e.Then(projection.Extrinsics{Translation: r3.Vec{X: -0.3}}).Pose()
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the second is %.1f m to its right\n", second.Position.X-p.Position.X)

	// What the chart's axes are in the frame of computer vision.
	up := projection.VisionAxes(p.FromStage(r3.Vec{Y: 1}))
	fmt.Printf("the chart's up is (%.0f, %.0f, %.0f) there\n", up.X, up.Y, up.Z)
	// Output:
	// the camera is 0.5 m above the chart's origin and 3.0 m in front
	// the second is 0.3 m to its right
	// the chart's up is (0, -1, 0) there
}

// Two cameras on a ferry that is under way: where they see a lighthouse, and how one
// stands in the other's frame.
func ExamplePose_Compose() {
	ferry := projection.Pose{Position: r3.Vec{X: 120, Z: -40}, Heading: 30 * projection.Degree}
	port := ferry.Compose(projection.Pose{Position: r3.Vec{X: -2, Y: 6}, Heading: -60 * projection.Degree})
	bow := ferry.Compose(projection.Pose{Position: r3.Vec{Y: 6, Z: -3}})
	lighthouse := r3.Vec{X: 60, Y: 25, Z: -400}
	for name, pose := range map[string]projection.Pose{"port": port, "bow": bow} {
		c, err := projection.NewCamera(projection.CameraSpec{
			Model: projection.Equisolid, FocalX: 2000, FocalY: 2000, Width: 6144, Height: 6144, Pose: pose,
		})
		if err != nil {
			log.Fatal(err)
		}
		x, y, _ := c.ProjectPoint(lighthouse)
		heading, elevation, _ := projection.HeadingElevation(r3.Sub(lighthouse, pose.Position))
		fmt.Printf("%s: (%.1f, %.1f), at %.2f°, %.2f° up\n", name, x, y, float64(heading/projection.Degree), float64(elevation/projection.Degree))
	}
	relative := bow.Inverse().Compose(port)
	fmt.Printf("the port camera is turned by %.0f° and stands %.1f m to the left of the bow camera\n",
		float64(bow.AngleTo(port)/projection.Degree), -relative.Position.X)
	ahead := bow.FromStage(r3.Vec{Z: -1})
	fmt.Printf("north is to the left of the bow: %v\n", ahead.X < 0)
	// Unordered output:
	// port: (3792.7, 2965.9), at -9.22°, 2.99° up
	// bow: (1713.1, 2960.7), at -9.76°, 3.00° up
	// the port camera is turned by 60° and stands 2.0 m to the left of the bow camera
	// north is to the left of the bow: true
}

// The fisheye of the ferry's bow camera, calibrated: k₁ to k₄ follow a first
// coefficient of 1.
func ExampleNewOddPolynomial() {
	bow, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{
		Coefficients: []float64{1, 0.021, -0.018, 0.0042, -0.00061},
		MaxAngle:     100 * projection.Degree, // where the calibration ends
	})
	if err != nil {
		log.Fatal(err)
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
func ExampleNewTable() {
	var points []projection.TablePoint
	for _, p := range [][2]float64{{15, 2.089}, {30, 4.142}, {45, 6.124}, {60, 8.003}, {75, 9.741}, {90, 11.30}, {95, 11.77}} {
		points = append(points, projection.TablePoint{Angle: unit.Angle(p[0]) * projection.Degree, Height: p[1] / 8})
	}
	lens, err := projection.NewTable(points)
	if err != nil {
		log.Fatal(err)
	}
	port, err := projection.NewCamera(projection.CameraSpec{
		Model:       lens,
		FocalLength: 8 * unit.Milli * unit.Metre, // which divided the heights
		Pitch:       4 * unit.Micro * unit.Metre,
		Width:       6144, Height: 6144,
	})
	if err != nil {
		log.Fatal(err)
	}
	density, _ := port.Density(projection.Direction(40*projection.Degree, 0))
	across, _, _ := port.FieldOfView()
	fmt.Printf("40° off the axis a degree is %.1f px along the radius and %.1f px across\n", density.Radial, density.Tangential)
	fmt.Printf("the camera sees %.1f° across\n", float64(across/projection.Degree))
	// Output:
	// 40° off the axis a degree is 32.8 px along the radius and 37.2 px across
	// the camera sees 190.0° across
}

// A calibration of the wheelhouse's witness camera, as OpenCV writes it: k1, k2,
// p1, p2, k3, and a principal point counted from the centre of the first pixel.
func ExampleNewBrownConrady() {
	matrix := projection.Intrinsics{{1122.4, 0, 958.7}, {0, 1121.8, 541.9}, {0, 0, 1}}
	k := [5]float64{-0.271, 0.094, 0.0008, -0.0004, -0.017} // k1, k2, p1, p2, k3
	lens, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: k[0], K2: k[1], P1: k[2], P2: k[3], K3: k[4]})
	if err != nil {
		log.Fatal(err)
	}
	spec, err := matrix.CameraSpec(1920, 1080)
	if err != nil {
		log.Fatal(err)
	}
	spec.Model, spec.Distortion = projection.Rectilinear, lens
	witness, err := projection.NewCamera(spec)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("one image for one direction up to %.1f° off the axis\n", float64(witness.Spec().MaxAngle/projection.Degree))
	d, _ := witness.Unproject(0, 0)
	x, y, _ := witness.Project(d)
	fmt.Printf("the corner looks to (%.4f, %.4f, %.4f), and is at (%.9f, %.9f)\n", d.X, d.Y, d.Z, math.Abs(x), math.Abs(y))
	// Output:
	// one image for one direction up to 58.0° off the axis
	// the corner looks to (-0.7072, 0.4018, -0.5817), and is at (0.000000000, 0.000000000)
}

// The bow camera's files come as half-size proxies of the middle of the sensor.
func ExampleCamera_Crop() {
	bow, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Equisolid, FocalX: 2000, FocalY: 2000, Width: 8192, Height: 6144,
	})
	if err != nil {
		log.Fatal(err)
	}
	open, err := bow.Crop(1024, 1536, 6144, 3072)
	if err != nil {
		log.Fatal(err)
	}
	proxy, err := open.Bin(2, 2)
	if err != nil {
		log.Fatal(err)
	}
	beacon := projection.Direction(20*projection.Degree, 3*projection.Degree)
	for _, c := range []projection.Camera{bow, open, proxy} {
		w, h := c.Size()
		x, y, _ := c.Project(beacon)
		fmt.Printf("%d × %d: (%.2f, %.2f)\n", w, h, x, y)
	}
	// Output:
	// 8192 × 6144: (4789.87, 2965.68)
	// 6144 × 3072: (3765.87, 1429.68)
	// 3072 × 1536: (1882.94, 714.84)
}

// A tile of the plate, for a light on the set that stands for it.
func ExampleCamera_SolidAngle() {
	port, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 2000, FocalY: 2000, Width: 6144, Height: 6144,
	})
	if err != nil {
		log.Fatal(err)
	}
	tile, _ := port.SolidAngle(0, 0, 3072, 1536)
	pixel, _ := port.SolidAngle(0, 3072, 1, 3073)
	ahead, _ := port.SolidAngle(3072, 3072, 3073, 3073)
	fmt.Printf("the tile: %.4f sr\na pixel at the edge: %.1f nsr, in the middle: %.1f nsr\n", tile, pixel*1e9, ahead*1e9)
	// Output:
	// the tile: 0.8044 sr
	// a pixel at the edge: 162.7 nsr, in the middle: 250.0 nsr
}
