package rig_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Six fisheyes around the wheelhouse roof, 60° apart and tilted up.
func ferryRig() (rig.Rig, error) {
	var cameras []projection.Camera
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
			return rig.Rig{}, err
		}
		cameras = append(cameras, c)
	}
	return rig.New(rig.Spec{Cameras: cameras})
}

func ExampleRig_Coverage() {
	ferry, err := ferryRig()
	if err != nil {
		log.Fatal(err)
	}
	c, err := ferry.Coverage(1e-4)
	if err != nil || !c.OK {
		log.Fatal(c.Error, err)
	}
	for i, name := range []string{"one camera", "two", "three"} {
		fmt.Printf("seen by at least %s: %.1f %% of the sphere\n", name, 100*c.AtLeast[i]/(4*math.Pi))
	}
	holes, unseen, err := ferry.Holes(1e-4)
	if err != nil || !unseen.OK {
		log.Fatal(unseen.Error, err)
	}
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
func ExampleRig_Seams() {
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
			log.Fatal(err)
		}
		cameras = append(cameras, c)
	}
	ferry, err := rig.New(rig.Spec{Cameras: cameras})
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range ferry.Seams() {
		fmt.Printf("cameras %d and %d join along %.0f°\n", s.A, s.B, float64(s.Length()/projection.Degree))
	}
	shared, err := ferry.Shared(0, 1, 1e-3)
	if err != nil || !shared.OK {
		log.Fatal(shared.Error, err)
	}
	fmt.Printf("cameras 0 and 1 share %.2f sr\n", shared.Value)
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
func ExampleRig_PushIn() {
	ferry, err := ferryRig()
	if err != nil {
		log.Fatal(err)
	}
	bow := r3.Vec{Z: -1}
	for _, size := range [][2]int{{1920, 1080}, {3840, 2160}} {
		p, _ := ferry.PushIn(bow, size[0])
		fmt.Printf("%d × %d: %.1f px/° ahead, %.1f° across with a full centre", size[0], size[1], p.Density, float64(p.Across/projection.Degree))
		whole, v, err := ferry.PushInFrame(bow, size[0], size[1])
		if err != nil {
			log.Fatal(err)
		}
		if v.OK {
			fmt.Printf(", %.1f° with full corners\n", float64(whole/projection.Degree))
		} else {
			fmt.Printf(", never with full corners: at best %.2f px a px, %.0f° across\n", v.Factor, float64(whole/projection.Degree))
		}
	}
	// Output:
	// 1920 × 1080: 69.8 px/° ahead, 27.0° across with a full centre, 29.3° with full corners
	// 3840 × 2160: 69.8 px/° ahead, 51.3° across with a full centre, never with full corners: at best 0.91 px a px, 82° across
}

// The ferry's rig, 0.32 m from one entrance pupil to the next. A mast stands aft
// of it, and the roof of the wheelhouse lies below.
func ferryRoof() (rig.Rig, error) {
	spec := rig.Spec{
		Boxes: []rig.Box{
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
			return rig.Rig{}, err
		}
		spec.Cameras = append(spec.Cameras, c)
	}
	return rig.New(spec)
}

// How far a quay must be for the plates to join without a ghost.
func ExampleRig_ClearDistance() {
	ferry, err := ferryRoof()
	if err != nil {
		log.Fatal(err)
	}
	seam := ferry.Seams()[0]
	at, _, _ := ferry.SeamParallax(seam, 25)
	fmt.Printf("cameras %d and %d at 25 m: %.1f arc-minutes, %.1f px, by the bound %.1f px\n",
		seam.A, seam.B, 60*float64(at.Angle/projection.Degree), at.Pixels, at.Bound)
	for _, limit := range []float64{1, 4} {
		c, err := ferry.ClearDistance(seam, limit)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("within %.0f px from %.0f m on; the worst at an elevation of %.0f°\n",
			limit, float64(c.Distance), math.Asin(c.Dir.Y)/float64(projection.Degree))
	}
	// Output:
	// cameras 0 and 1 at 25 m: 44.0 arc-minutes, 56.2 px, by the bound 59.1 px
	// within 1 px from 1404 m on; the worst at an elevation of -32°
	// within 4 px from 351 m on; the worst at an elevation of -32°
}

// What the roof and the mast take from the plate.
func ExampleNew() {
	ferry, err := ferryRoof()
	if err != nil {
		log.Fatal(err)
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
		fmt.Printf("%s: seen by %d\n", what.name, ferry.Count(what.dir))
	}
	// Output:
	// bow: seen by 1
	// mast: seen by 0
	// beside the mast: seen by 2
	// roof: seen by 0
}

// Where a tight shot of the shore can look: aft the mast is in the way.
func ExampleRig_Allows() {
	ferry, err := ferryRoof()
	if err != nil {
		log.Fatal(err)
	}
	tight := rig.Shot{Width: 1920, Height: 1080, Across: 30 * projection.Degree}
	for _, heading := range []unit.Angle{0, 40, 180} {
		dir := projection.Pose{Heading: heading * projection.Degree, Elevation: 5 * projection.Degree}.ToStage(r3.Vec{Z: -1})
		fmt.Printf("%.0f°: %v\n", float64(heading), ferry.Allows(dir, tight))
	}
	// Output:
	// 0°: true
	// 40°: true
	// 180°: false
}

// Why a frame over the bow fails, and by how much. Verdict also says where.
func ExampleRig_Judge() {
	ferry, err := ferryRoof()
	if err != nil {
		log.Fatal(err)
	}
	for _, across := range []unit.Angle{60, 20, 110} {
		v, err := ferry.Judge(r3.Vec{Y: 0.05, Z: -1}, rig.Shot{Width: 1920, Height: 1080, Across: across * projection.Degree})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%.0f°: %v, %.2f source pixels per delivered pixel\n", float64(across), v.Limit, v.Factor)
	}
	// Output:
	// 60°: none, 1.67 source pixels per delivered pixel
	// 20°: too few pixels, 0.71 source pixels per delivered pixel
	// 110°: unseen, 0.00 source pixels per delivered pixel
}
