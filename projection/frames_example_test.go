package projection_test

import (
	"fmt"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// A film back of 36 × 20.25 mm goes into a scene whose unit is the metre.
func ExampleFilmBack_USD() {
	const mm = unit.Milli * unit.Metre
	b := projection.FilmBack{FocalLength: 25 * mm, Width: 36 * mm, Height: 20.25 * mm, ShiftUp: 3 * mm, Focus: 4 * unit.Metre}
	u, err := b.USD(1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("horizontalAperture %.4g, verticalAperture %.4g, verticalApertureOffset %.4g\n", u.HorizontalAperture, u.VerticalAperture, u.VerticalApertureOffset)
	fmt.Printf("focalLength %.4g, focusDistance %.4g\n", u.FocalLength, u.FocusDistance)

	// On a raster of 2:1 that must show nothing but what the sensor sees.
	spec, err := b.CameraSpec(4096, 2048, projection.FitCropped, projection.Pose{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("pitch %.3f µm, axis %.1f px below the middle\n", float64(spec.Pitch)*1e6, spec.OffsetY)
	// Output:
	// horizontalAperture 0.36, verticalAperture 0.2025, verticalApertureOffset 0.03
	// focalLength 0.25, focusDistance 4
	// pitch 8.789 µm, axis 341.3 px below the middle
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
		fmt.Println(err)
		return
	}
	p, err := e.Pose()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("the camera is %.1f m above the chart's origin and %.1f m in front\n", p.Position.Y, p.Position.Z)
	// Output:
	// the camera is 0.5 m above the chart's origin and 3.0 m in front
}

// The faces of a cube of 1024 px, and where the ferry's wake is on them.
func ExampleCube() {
	cube, err := projection.NewCube(1024, projection.Pose{})
	if err != nil {
		fmt.Println(err)
		return
	}
	wake := projection.Pose{Heading: 180 * projection.Degree, Elevation: -20 * projection.Degree}.ToStage(r3.Vec{Z: -1})
	x, y, _ := cube.Project(wake)
	fmt.Printf("(%.1f, %.1f) px, on face %d\n", x, y, int(x)/1024)
	// Output:
	// (5632.0, 698.4) px, on face 5
}
