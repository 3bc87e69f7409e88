package sync_test

import (
	"fmt"
	"log"
	"time"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/clock"
)

// The plates of the ferry crossing were shot at "23.976". Where is the frame
// an hour into the take?
func ExampleRate() {
	rate, err := timing.ParseRate("23.976")
	if err != nil {
		log.Fatal(err)
	}
	hour, _ := timing.NewSeconds(3600, 1)
	n, _ := rate.Frame(hour, timing.Floor)
	begins, _ := rate.Time(n)
	fmt.Println(rate, "frame", n, "begins at", begins)

	whole, _ := timing.NewRate(24, 1)
	slip, _ := rate.Beat(whole)
	fmt.Printf("a wall at 24 is a frame ahead after %.3f s\n", float64(slip.Time()))
	// Output:
	// 24000/1001 frame 86313 begins at 28799771/8000 s
	// a wall at 24 is a frame ahead after 41.708 s
}

// A trigger box counts nanoseconds. It must fire in the middle of what the last row of
// a camera sees: the data sheet gives 3.61 µs a row for 2160 rows, the menu 1/50 s, and
// the cable 12 µs of delay.
func ExampleSeconds() {
	exposure, err := timing.ParseSeconds("1/50")
	if err != nil {
		log.Fatal(err)
	}
	row, err := timing.NearestSeconds(3.61e-6, 1e12) // to a picosecond
	if err != nil {
		log.Fatal(err)
	}
	readout, _ := row.Scale(2159, 1)
	half, _ := exposure.Scale(1, 2)
	fire, _ := readout.Add(half)
	fire, _ = fire.Sub(timing.SecondsOf(12 * time.Microsecond))
	after, err := fire.Duration(timing.Nearest)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("fire", fire, "after the frame, by the box", after)

	// A light whose period a meter shows as 8.334 ms is not one of 120 Hz.
	period, _ := timing.ParseSeconds("8.334 ms")
	light, err := timing.RateOf(period)
	if err != nil {
		log.Fatal(err)
	}
	mains, _ := timing.NewRate(120, 1)
	slip, _ := light.Beat(mains)
	take := timing.SecondsOf(2 * time.Minute)
	fmt.Printf("it falls behind by one flash in %.0f s, within the take: %t\n", float64(slip.Time()), slip.Compare(take) < 0)
	// Output:
	// fire 1778199/100000000 s after the frame, by the box 17.78199ms
	// it falls behind by one flash in 104 s, within the take: true
}

// A plate camera shows its shutter as 1/60 s. What angle is that at 23.976, and
// when does the shutter open for frame 1000, if the tracking data are stamped at the
// middle of the exposure?
func ExampleShutterAngle() {
	rate, _ := timing.ParseRate("23.976")
	exposure, _ := timing.NewSeconds(1, 60)
	angle, err := timing.ShutterAngleOf(exposure, rate)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%v, about %.2f°\n", angle, float64(angle.Angle()/timing.Degree))
	opens, closes, _ := angle.Interval(rate, 1000, timing.Centred)
	fmt.Println("open from", opens, "to", closes)
	// Output:
	// 144000/1001°, about 143.86°
	// open from 417/10 s to 2503/60 s
}

// In the wheelhouse the camera runs at 24 frames a second, under lamps on mains of
// 50 Hz and before a wall of 3840 Hz. The operator asks for 180°.
func ExampleNearestCleanAngle() {
	camera, _ := timing.NewRate(24, 1)
	mains, _ := timing.NewRate(50, 1)
	lamps, _ := timing.MainsFlicker(mains)
	wall, _ := timing.NewRate(3840, 1)
	wanted, _ := timing.NewShutterAngle(180, 1)

	spec := timing.CleanSpec{Camera: camera, Light: lamps, Other: wall, Tolerance: 0.005}
	clean, err := timing.NearestCleanAngle(spec, wanted)
	if err != nil {
		log.Fatal(err)
	}
	exposure, _ := clean.Angle.Exposure(camera)
	fmt.Printf("%v is %v: change the shutter by %.1f°\n", clean.Angle, exposure, float64(clean.Change/timing.Degree))
	list, _ := timing.CleanAngles(spec)
	fmt.Println("all of them:", list)

	// A wall that is a little off is met by no shutter exactly.
	spec.Other, _ = timing.NewRate(3839, 1)
	spec.Tolerance = 0
	clean, _ = timing.NearestCleanAngle(spec, wanted)
	fmt.Printf("%v: %v misses the wall by %.3f %%\n", clean.Limit, clean.Angle, 100*clean.OtherMiss)
	// Output:
	// 172.8° is 1/50 s: change the shutter by -7.2°
	// all of them: [172.8° 259.2° 345.6°]
	// other light missed: 259.2° misses the wall by 0.148 %
}

// The clean angle at 23.976 under lamps on mains of 50 Hz is no decimal, and the
// camera's menu sets tenths of a degree. What is left at the angle that it can set?
func ExampleShutterAngle_Rounded() {
	camera, _ := timing.ParseRate("23.976")
	mains, _ := timing.NewRate(50, 1)
	lamps, _ := timing.MainsFlicker(mains)
	wanted, _ := timing.NewShutterAngle(180, 1)
	clean, err := timing.NearestCleanAngle(timing.CleanSpec{Camera: camera, Light: lamps}, wanted)
	if err != nil {
		log.Fatal(err)
	}
	menu, err := clean.Angle.Rounded(1)
	if err != nil {
		log.Fatal(err)
	}
	exposure, _ := menu.Exposure(camera)
	fmt.Println("clean is", clean.Angle, "and the menu sets", menu)

	// Of a lamp that varies as a sine between dark and bright.
	left, _ := banding.ResidualModulation(1, lamps.Frequency(), exposure.Time())
	fmt.Printf("of a sine: modulation %.5f\n", left)

	// Of a dimmed lamp that is on for 40 % of its period; and of ever shorter pulses,
	// one or two of which fall into an exposure.
	pulse, _ := banding.Pulse(0.4)
	rowTime, _ := timing.NewSeconds(8, 2160_000) // 2160 rows in 8 ms
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: lamps, Greys: []banding.Waveform{pulse}},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("of pulses: depth %.5f, of the shortest %.2f\n", p.Worst().Depth, p.WorstDepth())
	// Output:
	// clean is 172800/1001° and the menu sets 172.6°
	// of a sine: modulation 0.00016
	// of pulses: depth 0.00020, of the shortest 0.33
}

// A wall is locked to cameras at 23.976 and refreshes 160 times a frame. Is the 1/50 s
// of the camera's menu clean on it, and what would be?
func ExampleRate_Scale() {
	camera, _ := timing.ParseRate("23.976")
	wall, err := camera.Scale(160, 1)
	if err != nil {
		log.Fatal(err)
	}
	menu, err := timing.ParseSeconds("1/50")
	if err != nil {
		log.Fatal(err)
	}
	n, miss, _ := wall.Periods(menu)
	whole, _ := wall.Time(n)
	fmt.Printf("the wall runs at %.2f Hz; %v is %d of its periods and %.1f µs\n", float64(wall.Frequency()), menu, n, 1e6*float64(miss.Time()))
	angle, _ := timing.ShutterAngleOf(whole, camera)
	fmt.Println("clean is", angle, "or", whole)
	// Output:
	// the wall runs at 3836.16 Hz; 1/50 s is 77 of its periods and -72.1 µs
	// clean is 173.25° or 77077/3840000 s
}

// Two cameras of the rig are locked, and one of them hangs upside down. At their seam,
// row 1000 of the one meets row 1000 of the other. What does each do 105 ms into the
// take, and how much later does the second see what lies at the seam?
func ExampleReadout() {
	rate, _ := timing.ParseRate("23.976")
	exposure, _ := timing.ParseSeconds("1/50")
	row, _ := timing.ParseSeconds("3.6 µs")
	spec := timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: 6480, RowTime: row}
	upright, err := timing.NewReadout(spec)
	if err != nil {
		log.Fatal(err)
	}
	spec.Direction = timing.BottomUp
	hanging, err := timing.NewReadout(spec)
	if err != nil {
		log.Fatal(err)
	}

	now := timing.SecondsOf(105 * time.Millisecond)
	var middles []timing.Seconds
	for _, camera := range []timing.Readout{upright, hanging} {
		at, err := camera.At(now)
		if err != nil {
			log.Fatal(err)
		}
		open := at.Open[0]
		fmt.Printf("frame %d is open in rows %d to %d, and row %d is read\n", open.Frame, open.First, open.Last, at.Row)
		seam, _ := camera.Row(2, 1000)
		middles = append(middles, seam.Middle)
	}
	later, _ := middles[1].Sub(middles[0])
	fmt.Printf("the second is %.2f ms later\n", 1e3*float64(later.Time()))
	// Output:
	// frame 2 is open in rows 440 to 5995, and row 439 is read
	// frame 2 is open in rows 484 to 6039, and row 6040 is read
	// the second is 16.12 ms later
}

// Two recorders without a cable between them begin their frames together when
// both count from the epoch.
func ExampleRate_Align() {
	rate, _ := timing.ParseRate("23.976")
	var leaps clock.LeapTable
	now, err := leaps.AtTime(time.Date(2026, time.May, 4, 9, 30, 0, 0, time.UTC))
	if err != nil {
		log.Fatal(err)
	}
	a, err := rate.Align(now.PTP)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("frame", a.Frame, "began", a.Phase, "ago; the next begins at", a.Next)
	num, den := a.Next.Ratio()
	fmt.Printf("that is %d s and %d ns\n", num/den, num%den*1_000_000_000/den)
	// Output:
	// frame 42626662225 began 31/960 s ago; the next begins at 21334644444113/12000 s
	// that is 1777887037 s and 9416666 ns
}
