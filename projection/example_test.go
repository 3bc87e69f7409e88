package projection_test

import (
	"fmt"
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

// Six fisheyes around the wheelhouse roof, 60° apart and tilted up.
func ferryRig() (projection.Array, error) {
	var rig []projection.Camera
	for i := range 6 {
		c, err := projection.NewCamera(projection.CameraSpec{
			Model:       projection.Equidistant,
			FocalLength: 12 * unit.Milli * unit.Metre,
			Pitch:       3 * unit.Micro * unit.Metre,
			Width:       8192, Height: 6144,
			Pose: projection.Pose{
				Heading:   60 * unit.Angle(i) * projection.Degree,
				Elevation: 12 * projection.Degree,
			},
		})
		if err != nil {
			return projection.Array{}, err
		}
		rig = append(rig, c)
	}
	return projection.NewArray(projection.ArraySpec{Cameras: rig})
}

func ExampleArray_Coverage() {
	rig, err := ferryRig()
	if err != nil {
		fmt.Println(err)
		return
	}
	c, _ := rig.Coverage(1e-4)
	for i, name := range []string{"one camera", "two", "three"} {
		fmt.Printf("seen by at least %s: %.1f %% of the sphere\n", name, 100*c.AtLeast[i]/(4*math.Pi))
	}
	holes, _ := rig.Holes(1e-4)
	for _, h := range holes {
		where := "above"
		if h.Centre.Y < 0 {
			where = "below"
		}
		fmt.Printf("a hole %s: %.2f sr, within %.1f° of its centre\n", where, h.SolidAngle, float64(h.Radius/projection.Degree))
	}
	// Output:
	// seen by at least one camera: 67.5 % of the sphere
	// seen by at least two: 63.0 % of the sphere
	// seen by at least three: 6.5 % of the sphere
	// a hole below: 2.97 sr, within 58.4° of its centre
	// a hole above: 1.12 sr, within 36.3° of its centre
}

// Where the plates of a ring of four fisheyes and of one to the sky join.
func ExampleArray_Seams() {
	poses := []projection.Pose{{}, {Heading: 90 * projection.Degree}, {Heading: 180 * projection.Degree}, {Heading: 270 * projection.Degree}, {Elevation: 90 * projection.Degree}}
	var cameras []projection.Camera
	for _, pose := range poses {
		c, err := projection.NewCamera(projection.CameraSpec{
			Model:       projection.Equisolid,
			FocalLength: 12 * unit.Milli * unit.Metre,
			Pitch:       3 * unit.Micro * unit.Metre,
			Width:       12288, Height: 6480,
			Pose: pose,
		})
		if err != nil {
			fmt.Println(err)
			return
		}
		cameras = append(cameras, c)
	}
	rig, err := projection.NewArray(projection.ArraySpec{Cameras: cameras})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range rig.Seams() {
		fmt.Printf("cameras %d and %d join along %.0f°\n", s.A, s.B, float64(s.Length()/projection.Degree))
	}
	shared, _, _ := rig.Shared(0, 1, 1e-3)
	fmt.Printf("cameras 0 and 1 share %.2f sr\n", shared)
	// Output:
	// cameras 0 and 1 join along 80°
	// cameras 0 and 3 join along 80°
	// cameras 0 and 4 join along 71°
	// cameras 1 and 2 join along 80°
	// cameras 1 and 4 join along 90°
	// cameras 2 and 3 join along 80°
	// cameras 2 and 4 join along 71°
	// cameras 3 and 4 join along 90°
	// cameras 0 and 1 share 2.69 sr
}

// How tight a UHD frame can be cut out of the plate, over the bow.
func ExampleArray_PushIn() {
	rig, err := ferryRig()
	if err != nil {
		fmt.Println(err)
		return
	}
	bow := r3.Vec{Z: -1}
	for _, size := range [][2]int{{1920, 1080}, {3840, 2160}} {
		p, _ := rig.PushIn(bow, size[0])
		fmt.Printf("%d × %d: %.1f px/° ahead, %.1f° across with a full centre", size[0], size[1], p.Density, float64(p.Across/projection.Degree))
		if whole, ok := rig.PushInFrame(bow, size[0], size[1]); ok {
			fmt.Printf(", %.1f° with full corners\n", float64(whole/projection.Degree))
		} else {
			fmt.Println(", never with full corners")
		}
	}
	// Output:
	// 1920 × 1080: 69.8 px/° ahead, 27.0° across with a full centre, 29.3° with full corners
	// 3840 × 2160: 69.8 px/° ahead, 51.3° across with a full centre, never with full corners
}

// The ferry's rig, 0.32 m from one entrance pupil to the next. A mast stands aft
// of it, and the roof of the wheelhouse lies below.
func ferryRoof() (projection.Array, error) {
	spec := projection.ArraySpec{
		Boxes: []projection.Box{
			{Pose: projection.Pose{Position: r3.Vec{Y: 4.9, Z: 1}}, Width: 3.2, Height: 0.2, Depth: 4},
			{Pose: projection.Pose{Position: r3.Vec{Y: 8, Z: 2.5}}, Width: 0.2, Height: 6, Depth: 0.2},
		},
	}
	for i := range 6 {
		pose := projection.Pose{Heading: 60 * unit.Angle(i) * projection.Degree, Elevation: 12 * projection.Degree}
		pose.Position = r3.Add(r3.Vec{Y: 6}, projection.Pose{Heading: pose.Heading}.ToStage(r3.Vec{Z: -0.32}))
		c, err := projection.NewCamera(projection.CameraSpec{
			Model:       projection.Equidistant,
			FocalLength: 12 * unit.Milli * unit.Metre,
			Pitch:       3 * unit.Micro * unit.Metre,
			Width:       8192, Height: 6144,
			Pose: pose,
		})
		if err != nil {
			return projection.Array{}, err
		}
		spec.Cameras = append(spec.Cameras, c)
	}
	return projection.NewArray(spec)
}

// How far a quay must be for the plates to join without a ghost.
func ExampleArray_ClearDistance() {
	rig, err := ferryRoof()
	if err != nil {
		fmt.Println(err)
		return
	}
	seam := rig.Seams()[0]
	at, _, _ := rig.SeamParallax(seam, 25)
	fmt.Printf("cameras %d and %d at 25 m: %.1f arc-minutes, %.1f px, by the bound %.1f px\n",
		seam.A, seam.B, 60*float64(at.Angle/projection.Degree), at.Pixels, at.Bound)
	for _, limit := range []float64{1, 4} {
		d, where, _ := rig.ClearDistance(seam, limit)
		fmt.Printf("within %.0f px from %.0f m on; the worst at an elevation of %.0f°\n",
			limit, float64(d), math.Asin(where.Y)/float64(projection.Degree))
	}
	// Output:
	// cameras 0 and 1 at 25 m: 44.0 arc-minutes, 56.2 px, by the bound 59.1 px
	// within 1 px from 1404 m on; the worst at an elevation of -32°
	// within 4 px from 351 m on; the worst at an elevation of -32°
}

// What the roof and the mast take from the plate.
func ExampleNewArray() {
	rig, err := ferryRoof()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, what := range []struct {
		name string
		dir  r3.Vec
	}{
		{"bow", r3.Vec{Z: -1}},
		{"mast", r3.Vec{Z: 1}},
		{"beside the mast", r3.Vec{X: 0.06, Z: 1}},
		{"roof", r3.Vec{X: 0.3, Y: -0.5, Z: 1}},
	} {
		fmt.Printf("%s: seen by %d\n", what.name, rig.Count(what.dir))
	}
	// Output:
	// bow: seen by 1
	// mast: seen by 0
	// beside the mast: seen by 2
	// roof: seen by 0
}

// Where a tight shot of the shore can look: aft the mast is in the way.
func ExampleArray_Allows() {
	rig, err := ferryRoof()
	if err != nil {
		fmt.Println(err)
		return
	}
	tight := projection.Shot{Width: 1920, Height: 1080, Across: 30 * projection.Degree}
	for _, heading := range []unit.Angle{0, 40, 180} {
		dir := projection.Pose{Heading: heading * projection.Degree, Elevation: 5 * projection.Degree}.ToStage(r3.Vec{Z: -1})
		fmt.Printf("%.0f°: %v\n", float64(heading), rig.Allows(dir, tight))
	}
	// Output:
	// 0°: true
	// 40°: true
	// 180°: false
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
