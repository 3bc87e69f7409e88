package motion_test

import (
	"fmt"
	"log"
	"math"

	timing "example.com/platewright/sync"

	"example.com/platewright/sync/motion"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The plates play two frames late, while the ferry makes 6 m/s and turns to starboard at
// 1.5° a second. How far off is the picture, by heading, for the quay 40 m away and for
// the far shore? The plate has 60 px a degree.
func ExampleMotion_Angle() {
	ferry, err := motion.New(motion.Spec{Velocity: r3.Vec{Z: -6}, Yaw: 1.5 * motion.Degree})
	if err != nil {
		log.Fatal(err)
	}
	camera, _ := timing.NewRate(24, 1)
	late, _ := camera.Time(2)
	for heading := 0; heading < 360; heading += 45 {
		sin, cos := math.Sincos(float64(heading) * math.Pi / 180)
		dir := r3.Vec{X: sin, Z: -cos}
		quay, _ := ferry.Angle(dir, 40*unit.Metre, -late.Time())
		shore, _ := ferry.Angle(dir, unit.Length(math.Inf(1)), -late.Time())
		fmt.Printf("%3d°: quay %4.1f px, shore %.1f px\n", heading, 60*float64(quay/motion.Degree), 60*float64(shore/motion.Degree))
	}
	// Output:
	// 0°: quay  7.5 px, shore 7.5 px
	//  45°: quay 22.7 px, shore 7.5 px
	//  90°: quay 35.5 px, shore 7.5 px
	// 135°: quay 23.1 px, shore 7.5 px
	// 180°: quay  7.5 px, shore 7.5 px
	// 225°: quay 38.2 px, shore 7.5 px
	// 270°: quay 50.5 px, shore 7.5 px
	// 315°: quay 37.6 px, shore 7.5 px
}

// A buoy is 20° on the port bow, 60 m away. Where is it 4 s later, if the ferry makes
// 6 m/s and turns to port at 2° a second? The camera is 30 m before the point about
// which she turns.
func ExampleMotion_Direction() {
	ferry, err := motion.New(motion.Spec{Velocity: r3.Vec{Z: -6}, Yaw: -2 * motion.Degree, Arm: r3.Vec{Z: -30}})
	if err != nil {
		log.Fatal(err)
	}
	sin, cos := math.Sincos(-20 * math.Pi / 180)
	buoy, ok := ferry.Direction(r3.Vec{X: sin, Z: -cos}, 60*unit.Metre, 4*unit.Second)
	fmt.Printf("%.1f°, %v\n", math.Atan2(buoy.X, -buoy.Z)*180/math.Pi, ok)
	// Output:
	// -16.1°, true
}

// panorama is 70 px a degree, with its middle at the bow.
type panorama struct{}

func (panorama) Project(dir r3.Vec) (x, y float64, ok bool) {
	heading := math.Atan2(dir.X, -dir.Z) * 180 / math.Pi
	elevation := math.Atan2(dir.Y, math.Hypot(dir.X, dir.Z)) * 180 / math.Pi
	return 70 * (heading + 180), 70 * (45 - elevation), true
}

// One of two cameras hangs upside down. Both read 6300 rows in 16 ms, and so record the
// top of a mast 30° up at different times. The ferry turns at 10° a second.
func ExampleMotion_Skew() {
	ferry, _ := motion.New(motion.Spec{Yaw: 10 * motion.Degree})
	rate, _ := timing.NewRate(24, 1)
	exposure, _ := timing.NewSeconds(1, 96)
	row, _ := timing.NewSeconds(16, 1000*6300)
	readout := timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Centred, Rows: 6300, RowTime: row}
	upright, err := motion.NewView(panorama{}, readout)
	if err != nil {
		log.Fatal(err)
	}
	readout.Direction = timing.BottomUp
	hanging, err := motion.NewView(panorama{}, readout)
	if err != nil {
		log.Fatal(err)
	}
	mast := r3.Vec{Z: -math.Cos(math.Pi / 6), Y: math.Sin(math.Pi / 6)}
	skew, ok := ferry.Skew(upright, hanging, mast, 25*unit.Metre)
	if !ok {
		log.Fatal("the mast is out of the picture")
	}
	shear, _ := ferry.Shear(upright, mast, 25*unit.Metre)
	fmt.Printf("recorded %.1f ms apart: %.1f px at the seam\n", 1e3*float64(skew.Time), skew.FirstPixels)
	fmt.Printf("a mast of 1000 rows leans %.1f px to the left in the upright camera\n", -1000*shear.Lean)
	// Output:
	// recorded 10.7 ms apart: 7.5 px at the seam
	// a mast of 1000 rows leans 1.8 px to the left in the upright camera
}

// Where does an upright camera record the foot and the top of a mast, while the ferry
// rolls at 6° a second?
func ExampleMotion_Record() {
	ferry, _ := motion.New(motion.Spec{Roll: 6 * motion.Degree})
	rate, _ := timing.NewRate(24, 1)
	exposure, _ := timing.NewSeconds(1, 96)
	row, _ := timing.NewSeconds(16, 1000*6300)
	view, err := motion.NewView(panorama{}, timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Centred, Rows: 6300, RowTime: row})
	if err != nil {
		log.Fatal(err)
	}
	for _, elevation := range []float64{0, 30} {
		sin, cos := math.Sincos(elevation * math.Pi / 180)
		mast := r3.Vec{X: cos * math.Sqrt2 / 2, Y: sin, Z: -cos * math.Sqrt2 / 2} // on the starboard bow
		got, ok := ferry.Record(view, mast, 25*unit.Metre)
		fmt.Printf("%2.0f°: x %.1f, y %.1f, after %.1f ms, %v\n", elevation, got.X, got.Y, 1e3*float64(got.Time), ok)
	}
	moved, _ := ferry.Displacement(panorama{}, r3.Vec{X: 1, Z: -1}, 25*unit.Metre, exposure.Time())
	fmt.Printf("its foot is blurred over %.1f px\n", moved.Pixels)
	// Output:
	// 0°: x 15750.0, y 3147.6, after 8.0 ms, true
	// 30°: x 15749.5, y 1049.2, after 2.7 ms, true
	// its foot is blurred over 3.1 px
}

// From which speed on does a pan over a picture of 3840 px strobe?
func ExampleStrobing() {
	rate, _ := timing.NewRate(24, 1)
	half, _ := timing.NewSeconds(1, 48)
	s, err := motion.Strobing(motion.StrobingSpec{
		Rate: rate, Exposure: half, Density: 96, Width: 3840, Speed: 8 * motion.Degree, BlurLimit: 12, GapLimit: 12,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.0f px a frame, %.0f px of them blurred; crosses in %.1f s\n", s.Step, s.Blur, float64(s.Crossing))
	fmt.Printf("by the rule no faster than %.1f s, %.1f° a second\n", float64(s.GuideCrossing), float64(s.GuideSpeed/motion.Degree))
	fmt.Printf("12 px of blur from %.1f° a second on\n", float64(s.BlurSpeed/motion.Degree))
	// Output:
	// 32 px a frame, 16 px of them blurred; crosses in 5.0 s
	// by the rule no faster than 7.0 s, 5.7° a second
	// 12 px of blur from 6.0° a second on
}
