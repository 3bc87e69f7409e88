package sync_test

import (
	"fmt"
	"log"
	"time"

	"example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// The plates of the ferry crossing were shot at "23.976". Where is the frame
// an hour into the take?
func ExampleRate() {
	rate, err := sync.ParseRate("23.976")
	if err != nil {
		log.Fatal(err)
	}
	hour, _ := sync.NewSeconds(3600, 1)
	n, _ := rate.Frame(hour, sync.Floor)
	begins, _ := rate.Time(n)
	fmt.Println(rate, "frame", n, "begins at", begins)

	whole, _ := sync.NewRate(24, 1)
	slip, _ := rate.Beat(whole)
	fmt.Printf("a wall at 24 is a frame ahead after %.3f s\n", float64(slip.Time()))
	// Output:
	// 24000/1001 frame 86313 begins at 28799771/8000 s
	// a wall at 24 is a frame ahead after 41.708 s
}

// Elapsed time comes from frames, never from labels: between these two labels
// with drop, the clock runs for one frame.
func ExampleTimecode() {
	rate, _ := sync.ParseRate("29.97")
	tc, err := sync.NewTimecode(sync.TimecodeSpec{Rate: rate, Drop: true})
	if err != nil {
		log.Fatal(err)
	}
	in, _ := tc.Parse("00:00:59;29")
	out, _ := tc.Parse("00:01:00;02")
	elapsed, _ := rate.Time(out - in)
	fmt.Println(out-in, "frame,", elapsed)
	fmt.Println(tc.Format(107892))

	_, err = tc.Parse("00:01:00;00")
	fmt.Println(err)
	_, err = tc.Parse("00:01:00:02")
	fmt.Println(err)
	// Output:
	// 1 frame, 1001/30000 s
	// 01:00:00;00
	// sync: label 00:01:00;00: names no frame: with drop, a minute not divisible by ten begins at frame number 2
	// sync: label "00:01:00:02": must have ';' before the frames, not ':': drop is true
}

// In the wheelhouse the camera runs at 24 frames a second under lamps on mains
// of 50 Hz. The operator asks for 180°.
func ExampleNearestCleanAngle() {
	camera, _ := sync.NewRate(24, 1)
	mains, _ := sync.NewRate(50, 1)
	flash, _ := sync.Mains(mains)
	asked, _ := sync.ParseShutterAngle("180")

	clean, off, err := sync.NearestCleanAngle(camera, flash, asked)
	if err != nil {
		log.Fatal(err)
	}
	exposure, _ := clean.Exposure(camera)
	fmt.Printf("%v is %v: %.1f° less\n", clean, exposure, float64(off/sync.Degree))

	wall, _ := sync.NewRate(3840, 1)
	both, _ := sync.CommonCleanAngles(camera, flash, wall, 0.005)
	fmt.Println("for the lamps and the wall:", both)
	// Output:
	// 172.8° is 1/50 s: 7.2° less
	// for the lamps and the wall: [172.8° 259.2° 345.6°]
}

// A camera reads 2160 rows in 8 ms and looks at the wall outside the windows:
// 3840 pulses a second, dimmed to a quarter, in eight turns. The picture passes
// one wall row from one camera row to the next.
func ExampleBanding() {
	camera, _ := sync.NewRate(24, 1)
	refresh, _ := sync.NewRate(3840, 1)
	spec := sync.BandingSpec{
		Camera: camera, Refresh: refresh, Duty: 0.25, Multiplex: 8, WallRowsPerRow: 1,
		Exposure: 2.1 * unit.Milli * unit.Second,
		RowTime:  8 * unit.Milli * unit.Second / 2160,
		Rows:     2160,
	}
	b, err := sync.NewBanding(spec)
	if err != nil {
		log.Fatal(err)
	}
	spacing, _ := b.Spacing()
	drift, _ := b.Drift()
	stops, _ := b.Stops()
	fmt.Printf("%.1f bands a frame, %.1f rows apart, %.2f stops deep, drifting %.0f rows/s\n", b.Bands(), spacing, stops, drift)
	fmt.Printf("depth %.3f, of the darkest grey %.3f\n", b.Depth(), b.WorstDepth())

	// What the recording shows, measured.
	rows := make([]float64, spec.Rows)
	for r := range rows {
		rows[r], _ = b.Row(r)
	}
	found, _ := sync.MeasureBands(rows)
	fmt.Printf("measured: %.1f rows apart, depth %.3f ± %.3f\n", found.Spacing, found.Depth, found.DepthError)

	// Eight whole pulses instead of 8.064.
	spec.Exposure = unit.Time(8.0 / 3840)
	b, _ = sync.NewBanding(spec)
	fmt.Printf("at 8 pulses: depth %v, of the darkest grey %v\n", b.Depth(), b.WorstDepth())
	// Output:
	// 239.3 bands a frame, 9.0 rows apart, 0.17 stops deep, drifting 0 rows/s
	// depth 0.059, of the darkest grey 0.059
	// measured: 9.0 rows apart, depth 0.062 ± 0.014
	// at 8 pulses: depth 0, of the darkest grey 0
}

// The plate runs two frames late. How far off is the quay, 40 m abeam of a
// ferry at 6 m/s, on a plate of 60 px a degree?
func ExampleOffset() {
	camera, _ := sync.NewRate(24, 1)
	late, _ := camera.Time(2)
	o, err := sync.NewOffset(sync.OffsetSpec{
		Offset: late.Time(), Speed: 6, Distance: 40 * unit.Metre, PixelsPerDegree: 60,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.2f m, %.3f°, %.1f px\n", float64(o.Displacement()), float64(o.Angle()/sync.Degree), o.Pixels())
	// Output:
	// 0.50 m, 0.716°, 43.0 px
}

// Two recorders without a cable between them begin their frames together when
// both count from the epoch.
func ExampleRate_Align() {
	rate, _ := sync.ParseRate("23.976")
	now, err := sync.PTPTime(time.Date(2026, time.May, 4, 9, 30, 0, 0, time.UTC))
	if err != nil {
		log.Fatal(err)
	}
	a, err := rate.Align(now)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("frame", a.Frame, "began", a.Phase, "ago; the next begins at", a.Next)
	// Output:
	// frame 42626662225 began 31/960 s ago; the next begins at 21334644444113/12000 s
}

// A lamp that swings between 70 and 100 at 100 Hz, against the limits.
func ExampleFlickerLimits() {
	percent, _ := sync.PercentFlicker([]float64{100, 85, 70, 85})
	lowRisk, noEffect, err := sync.FlickerLimits(100)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f %%; low risk below %.1f %%, no effect below %.2f %%\n", percent, lowRisk, noEffect)
	// Output:
	// 17.6 %; low risk below 8.0 %, no effect below 3.33 %
}
