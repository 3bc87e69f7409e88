package projection_test

import (
	"fmt"
	"image"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The wall outside the wheelhouse's front windows, 10 m wide and 4 m high, as the
// tracked camera sees it from 6 m away and off to the right.
func ExampleNewFrustum() {
	wall := projection.Window{
		LowerLeft:  r3.Vec{X: -5},
		LowerRight: r3.Vec{X: 5},
		UpperLeft:  r3.Vec{X: -5, Y: 4},
	}
	eye := r3.Vec{X: 2, Y: 1.5, Z: 6}
	f, err := projection.NewFrustum(wall, eye, 0.1*unit.Metre, 1000*unit.Metre)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("at 0.1 m: %.4f to %.4f m across, %.4f to %.4f m up\n", float64(f.Left), float64(f.Right), float64(f.Bottom), float64(f.Top))

	// The same as a camera with a sensor of 36 mm and a lens that shifts.
	b, _ := f.FilmBack(36 * unit.Milli * unit.Metre)
	const mm = unit.Milli * unit.Metre
	fmt.Printf("lens of %.1f mm, shifted by %.1f mm to the right and %.1f mm up\n",
		float64(b.FocalLength/mm), float64(b.ShiftRight/mm), float64(b.ShiftUp/mm))

	// One of the four machines that draw it renders the right half of the top.
	part, _ := f.Tile(4000, 1600, image.Rect(2000, 0, 4000, 800))
	m, _ := part.EyeToClip(projection.DepthOneToZero)
	for _, row := range m {
		fmt.Printf("%8.4f\n", row)
	}
	// Output:
	// at 0.1 m: -0.1167 to 0.0500 m across, -0.0250 to 0.0417 m up
	// lens of 21.6 mm, shifted by -7.2 mm to the right and 1.8 mm up
	// [  2.4000   0.0000   0.2000   0.0000]
	// [  0.0000   6.0000   1.5000   0.0000]
	// [  0.0000   0.0000   0.0001   0.1000]
	// [  0.0000   0.0000  -1.0000   0.0000]
}

// The plate was shot from the ferry's roof, 6 m above the water. The set's camera
// stands 2 m to the right of where the plate's centre is and 1 m lower: the quay
// 40 m away must be looked up elsewhere than the far shore.
func ExampleSurround_EyeView() {
	centre := r3.Vec{Y: 6}
	eye := r3.Vec{X: 2, Y: 5}
	camera, err := projection.NewView(projection.ViewSpec{Width: 1920, Height: 1080, Across: 60 * projection.Degree})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, spec := range []projection.SurroundSpec{
		{Shape: projection.AtInfinity, Centre: centre},
		{Shape: projection.Dome, Centre: centre, Radius: 40, Ground: 6},
	} {
		surround, err := projection.NewSurround(spec)
		if err != nil {
			fmt.Println(err)
			return
		}
		view, err := surround.EyeView(camera, eye)
		if err != nil {
			fmt.Println(err)
			return
		}
		dir, _ := view.Unproject(960, 540)
		heading, elevation := lonLat(dir)
		fmt.Printf("ahead: %.2f° to the right, %.2f° up; ", heading, elevation)
		dir, _ = view.Unproject(960, 1080)
		heading, elevation = lonLat(dir)
		fmt.Printf("bottom of the frame: %.2f°, %.2f°\n", heading, elevation)
	}
	// Output:
	// ahead: 0.00° to the right, 0.00° up; bottom of the frame: 0.00°, -17.99°
	// ahead: 2.87° to the right, -1.43° up; bottom of the frame: 7.40°, -21.13°
}

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
