package offaxis_test

import (
	"fmt"
	"image"

	"example.com/platewright/projection"
	"example.com/platewright/projection/offaxis"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The wall outside the wheelhouse's front windows, 10 m wide and 4 m high, as the
// tracked camera sees it from 6 m away and off to the right.
func ExampleNewFrustum() {
	wall := offaxis.Window{
		LowerLeft:  r3.Vec{X: -5},
		LowerRight: r3.Vec{X: 5},
		UpperLeft:  r3.Vec{X: -5, Y: 4},
	}
	eye := r3.Vec{X: 2, Y: 1.5, Z: 6}
	f, err := offaxis.NewFrustum(wall, eye, 0.1*unit.Metre, 1000*unit.Metre)
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
	m, _ := part.EyeToClip(offaxis.DepthOneToZero)
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
	for _, spec := range []offaxis.SurroundSpec{
		{Shape: offaxis.AtInfinity, Centre: centre},
		{Shape: offaxis.Dome, Centre: centre, Radius: 40, Ground: 6},
	} {
		surround, err := offaxis.NewSurround(spec)
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
		heading, elevation, _ := projection.HeadingElevation(dir)
		fmt.Printf("ahead: %.2f° to the right, %.2f° up; ", float64(heading/projection.Degree), float64(elevation/projection.Degree))
		dir, _ = view.Unproject(960, 1080)
		heading, elevation, _ = projection.HeadingElevation(dir)
		fmt.Printf("bottom of the frame: %.2f°, %.2f°\n", float64(heading/projection.Degree), float64(elevation/projection.Degree))
	}
	// Output:
	// ahead: 0.00° to the right, 0.00° up; bottom of the frame: 0.00°, -17.99°
	// ahead: 2.87° to the right, -1.43° up; bottom of the frame: 7.40°, -21.13°
}

// Another program renders the left wall, and prints the matrix that it uses. Where
// in the stage does it take the wall to be, and from where does it look?
func ExampleFrustumFromMatrix() {
	theirs := offaxis.Matrix{ // from the stage to clip space, by rows
		{1.2, 0, 0.4, 0},
		{0, 3, 0.25, -4.875},
		{0, 0, -1.0002000200020003, 5.801180118011801},
		{0, 0, -1, 6},
	}
	f, err := offaxis.FrustumFromMatrix(theirs, offaxis.DepthMinusOneToOne)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("eye at %.2f m, near %.1f m, far %.0f m\n", f.Pose.Position, float64(f.Near), float64(f.Far))
	w, _ := f.Window(6 * unit.Metre) // where the survey has the wall
	fmt.Printf("wall from %.2f m to %.2f m, up to %.2f m\n", w.LowerLeft, w.LowerRight, w.UpperLeft)
	fmt.Println("the survey has its foot at 0 m: their wall hangs too low")
	// Output:
	// eye at {-2.00 1.12 6.00} m, near 0.1 m, far 1000 m
	// wall from {-5.00 -0.38 0.00} m to {5.00 -0.38 0.00} m, up to {-5.00 3.62 0.00} m
	// the survey has its foot at 0 m: their wall hangs too low
}

// The camera may turn by 2° before the wall shows its next picture, and the wall's
// processor wants 5 % on each side to soften the edge.
func ExampleFrustum_Overscan() {
	f := offaxis.Frustum{Left: -0.12, Right: 0.05, Bottom: -0.025, Top: 0.042, Near: 0.1, Far: 1000}
	turned, _ := f.OverscanAngle(2 * projection.Degree)
	wide, ok := turned.Overscan(0.05)
	fmt.Printf("%.4f to %.4f m across, %.4f to %.4f m up: %v\n",
		float64(wide.Left), float64(wide.Right), float64(wide.Bottom), float64(wide.Top), ok)
	fmt.Printf("render %.0f %% of the pixels across\n", 100*float64((wide.Right-wide.Left)/(f.Right-f.Left)))
	// Output:
	// -0.1381 to 0.0636 m across, -0.0325 to 0.0499 m up: true
	// render 119 % of the pixels across
}
