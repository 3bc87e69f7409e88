package sync_test

import (
	"fmt"
	"log"
	"time"

	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
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

// Elapsed time comes from frames, never from labels: between these two labels
// with drop, the clock runs for one frame.
func ExampleTimecode() {
	rate, _ := timing.ParseRate("29.97")
	tc, err := timing.NewTimecode(timing.TimecodeSpec{Rate: rate, Drop: true})
	if err != nil {
		log.Fatal(err)
	}
	in, _ := tc.Parse("00:00:59;29")
	out, _ := tc.Parse("00:01:00;02")
	elapsed, _ := rate.Time(out - in)
	fmt.Println(out-in, "frame,", elapsed)

	// A take that runs past midnight.
	slate, _ := tc.Parse("23:59:59;20")
	fmt.Println(tc.Format(slate+30), "is", tc.Format(tc.Wrap(slate+30)), "of the next day")

	_, err = tc.Parse("00:01:00;00")
	fmt.Println(err)
	_, err = tc.Parse("00:01:00:02")
	fmt.Println(err)
	// Output:
	// 1 frame, 1001/30000 s
	// 24:00:00;20 is 00:00:00;20 of the next day
	// sync: label 00:01:00;00: names no frame: with drop, a minute not divisible by ten begins at frame number 2
	// sync: label "00:01:00:02": must have ';' before the frames, not ':': drop is true
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
	left, _ := timing.ResidualModulation(1, lamps.Frequency(), exposure.Time())
	fmt.Printf("of a sine: modulation %.5f\n", left)

	// Of a dimmed lamp that is on for 40 % of its period; and of ever shorter pulses,
	// one or two of which fall into an exposure.
	b, err := timing.NewBanding(timing.BandingSpec{
		Camera: camera, Refresh: lamps, DutyCycle: 0.4,
		Exposure: exposure.Time(), RowTime: 8 * unit.Milli * unit.Second / 2160, Rows: 2160,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("of pulses: depth %.5f, of the shortest %.2f\n", b.Depth(), b.WorstDepth())
	// Output:
	// clean is 172800/1001° and the menu sets 172.6°
	// of a sine: modulation 0.00016
	// of pulses: depth 0.00020, of the shortest 0.33
}

// A camera reads 2160 rows in 8 ms and looks at the wall outside the windows:
// 3840 pulses a second, dimmed to a quarter, in eight scan groups. The picture
// passes one wall row from one camera row to the next.
func ExampleBanding() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(3840, 1)
	spec := timing.BandingSpec{
		Camera: camera, Refresh: refresh, DutyCycle: 0.25, Multiplex: 8, WallRowsPerCameraRow: 1,
		Exposure: 2.1 * unit.Milli * unit.Second,
		RowTime:  8 * unit.Milli * unit.Second / 2160,
		Rows:     2160,
	}
	b, err := timing.NewBanding(spec)
	if err != nil {
		log.Fatal(err)
	}
	spacing, _ := b.Spacing()
	drift, _ := b.Drift()
	fmt.Printf("%.1f bands a frame, %.1f rows apart, drifting %.0f rows/s\n", b.Bands(), spacing, drift)
	fmt.Printf("depth %.3f, of the darkest grey %.3f\n", b.Depth(), b.WorstDepth())

	// What the recording shows, measured.
	rows := make([]float64, spec.Rows)
	for r := range rows {
		rows[r], _ = b.Row(r)
	}
	found, _ := timing.MeasureBands(rows)
	fmt.Printf("measured: %.1f rows apart, depth %.3f ± %.3f\n", found.Spacing, found.Depth, found.DepthError)

	// Eight whole pulses instead of 8.064.
	spec.Exposure = unit.Time(8.0 / 3840)
	b, _ = timing.NewBanding(spec)
	fmt.Printf("at 8 pulses: depth %v, of the darkest grey %v\n", b.Depth(), b.WorstDepth())
	for r := range rows {
		rows[r], _ = b.Row(r)
	}
	found, _ = timing.MeasureBands(rows)
	fmt.Printf("measured: depth %v, where %.3f would show\n", found.Depth, found.DetectionLimit)
	// Output:
	// 239.3 bands a frame, 9.0 rows apart, drifting 0 rows/s
	// depth 0.059, of the darkest grey 0.059
	// measured: 9.0 rows apart, depth 0.062 ± 0.014
	// at 8 pulses: depth 0, of the darkest grey 0
	// measured: depth 0, where 0.002 would show
}

// A global shutter shows no bands. Under a dimmed lamp on mains of 50 Hz its frames
// pulse instead.
func ExampleBanding_Cycle() {
	camera, _ := timing.NewRate(24, 1)
	lamp, _ := timing.NewRate(100, 1)
	b, err := timing.NewBanding(timing.BandingSpec{
		Camera: camera, Refresh: lamp, DutyCycle: 0.4, Exposure: unit.Time(1. / 48), Rows: 2160,
	})
	if err != nil {
		log.Fatal(err)
	}
	darkest, brightest := b.Extremes()
	cycle, _ := b.Cycle()
	fmt.Printf("%.0f bands; frames between %.3f and %.3f, every %.2f s\n", b.Bands(), darkest, brightest, float64(cycle))
	// Output:
	// 0 bands; frames between 0.384 and 0.424, every 0.25 s
}

// The plate plays two frames late. How far off is the quay, 40 m abeam of a ferry
// at 6 m/s, on a plate of 60 px a degree?
func ExampleImageMotion() {
	camera, _ := timing.NewRate(24, 1)
	late, _ := camera.Time(2)
	m, err := timing.ImageMotion(timing.MotionSpec{
		Time: late.Time(), Speed: 6, Distance: 40 * unit.Metre, Density: 60,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.2f m, %.3f°, %.1f px\n", float64(m.Displacement), float64(m.Angle/timing.Degree), m.Pixels)
	// Output:
	// 0.50 m, 0.716°, 43.0 px
}

// Two recorders are off by 5 ppm from each other and are not locked.
func ExampleDriftTime() {
	rate, _ := timing.ParseRate("23.976")
	frame, err := timing.DriftTime(rate, 5)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("a frame after %.1f h; %.2f frames in a take of an hour\n", float64(frame)/3600, 3600/float64(frame))
	// Output:
	// a frame after 2.3 h; 0.43 frames in a take of an hour
}

// Two recorders without a cable between them begin their frames together when
// both count from the epoch.
func ExampleRate_Align() {
	rate, _ := timing.ParseRate("23.976")
	now, err := timing.PTPTime(time.Date(2026, time.May, 4, 9, 30, 0, 0, time.UTC))
	if err != nil {
		log.Fatal(err)
	}
	a, err := rate.Align(now)
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

// A lamp that swings between 70 and 100 at 100 Hz, against the limits, and as a
// camera at 24 frames a second and 180° sees it.
func ExampleFlickerLimits() {
	waveform := []float64{100, 85, 70, 85}
	percent, _ := timing.PercentFlicker(waveform)
	index, _ := timing.FlickerIndex(waveform)
	lowRisk, noEffect, err := timing.FlickerLimits(100)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f %%, flicker index %.3f; low risk below %.1f %%, no effect below %.2f %%\n", percent, index, lowRisk, noEffect)
	left, _ := timing.ResidualModulation(percent/100, 100, unit.Time(1./48))
	fmt.Printf("%.2f %% remain in the picture\n", 100*left)
	// Output:
	// 17.6 %, flicker index 0.044; low risk below 8.0 %, no effect below 3.33 %
	// 0.70 % remain in the picture
}
