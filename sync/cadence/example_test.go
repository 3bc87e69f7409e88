package cadence_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/cadence"
)

// stage is the camera that films the ferry's wall, at 24 frames a second and 180°.
func stage() timing.ReadoutSpec {
	rate, _ := timing.NewRate(24, 1)
	exposure, _ := timing.ParseSeconds("1/48")
	row, _ := timing.ParseSeconds("3.7 µs")
	return timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: 4320, RowTime: row}
}

// The wall changes its picture within one refresh, of 3840 a second. When may it
// change, and what must the phase of its reference be set to?
func ExampleChangeWindow() {
	camera := stage()
	refresh, _ := timing.ParseSeconds("1/3840")
	w, err := cadence.ChangeWindow(camera, refresh)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the window is %.2f ms; at most %.2f ms may be exposed\n", 1e3*float64(w.Length.Time()), 1e3*float64(w.LongestExposure.Time()))
	phase, _ := cadence.PhaseOf(w.Middle, camera.Rate, 1125)
	fmt.Printf("begin the change %.0f µs after the camera's frame: %.1f°, %.0f lines of 1125\n", phase.Microseconds, phase.Degrees, phase.Lines)

	// At 300° every change tears the picture.
	wide, _ := timing.ParseShutterAngle("300")
	camera.Exposure, _ = wide.Exposure(camera.Rate)
	w, _ = cadence.ChangeWindow(camera, refresh)
	fmt.Printf("at 300°: %.2f ms\n", 1e3*float64(w.Length.Time()))
	// Output:
	// the window is 4.59 ms; at most 25.43 ms may be exposed
	// begin the change 39110 µs after the camera's frame: 337.9°, 1056 lines of 1125
	// at 300°: -9.30 ms
}

// The wall plays the plates at 23.976 before a camera at 24. The change wanders
// through the frame: where does it tear, and how often does a plate show twice?
func ExamplePlayback() {
	content, _ := timing.ParseRate("23.976")
	p, err := cadence.NewPlayback(cadence.PlaybackSpec{Camera: stage(), Content: content})
	if err != nil {
		log.Fatal(err)
	}
	for _, n := range []int64{0, 240, 480, 720, 980, 990} {
		view, err := p.Frame(n)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Println("frame", n, "sees", view.Content, "repeated:", view.Repeated, "torn:", view.Tears)
	}
	hour, _ := p.Count(0, 24*3600)
	fmt.Printf("in an hour %d frames repeat, and %d of %d are torn\n", hour.Repeated, hour.Torn, hour.Frames)
	// Output:
	// frame 0 sees 0 repeated: false torn: []
	// frame 240 sees 240 repeated: false torn: [{240 0 2702}]
	// frame 480 sees 479 repeated: false torn: [{480 0 4319}]
	// frame 720 sees 719 repeated: false torn: [{720 2478 4319}]
	// frame 980 sees 979 repeated: false torn: []
	// frame 990 sees 989 repeated: false torn: []
	// in an hour 86 frames repeat, and 76251 of 86400 are torn
}

// Two cameras film the same wall, each its own plates. The third content frame is
// for the people on the set. They see all three go by 24 times a second: that is
// flashing light, in the range that can cause seizures.
func ExampleInterleave() {
	a := stage()
	a.Exposure, _ = timing.ParseSeconds("1/200")
	a.Rows = 1620
	b := a
	b.Offset, _ = timing.ParseSeconds("15 ms")
	refresh, _ := timing.ParseSeconds("1/3840")
	shared, err := cadence.Interleave(cadence.InterleaveSpec{Cameras: []timing.ReadoutSpec{a, b}, Blank: 1, Settle: refresh})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("the wall plays", shared.Content, "frames a second and flickers", shared.Flicker, "times a second")
	for i, s := range shared.Slots {
		fmt.Printf("camera %d: margin %.2f ms, shift it by %.2f ms; at most %.2f ms\n", i, 1e3*float64(s.Margin.Time()), 1e3*float64(s.Shift.Time()), 1e3*float64(s.LongestExposure.Time()))
	}
	// Output:
	// the wall plays 72 frames a second and flickers 24 times a second
	// camera 0: margin -0.26 ms, shift it by 1.58 ms; at most 7.64 ms
	// camera 1: margin 0.85 ms, shift it by 0.47 ms; at most 7.64 ms
}

// Plates at 23.976 play on a wall that takes 59.94, in real time and at 40 % of the
// speed.
func ExampleRetime() {
	source, _ := timing.ParseRate("23.976")
	output, _ := timing.ParseRate("59.94")
	real, _ := timing.ParseSeconds("1 s")
	spec := cadence.RetimeSpec{Source: source, Output: output, Speed: real, Start: output.Period(), Method: cadence.Hold}
	spec.Start, _ = spec.Start.Scale(1, 2)
	r, err := cadence.NewRetime(spec)
	if err != nil {
		log.Fatal(err)
	}
	pattern, _ := r.Pattern()
	fmt.Println("plates show", pattern, "times")

	spec.Speed, _ = real.Scale(2, 5)
	spec.Start, spec.Method = timing.Seconds{}, cadence.Blend
	r, err = cadence.NewRetime(spec)
	if err != nil {
		log.Fatal(err)
	}
	for n := range int64(4) {
		parts, err := r.Frame(n)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Print("frame ", n, ":")
		for _, p := range parts {
			fmt.Printf(" plate %d × %.2f", p.Frame, p.Weight())
		}
		fmt.Println()
	}
	// Output:
	// plates show 2:3 times
	// frame 0: plate 0 × 1.00
	// frame 1: plate 0 × 0.84 plate 1 × 0.16
	// frame 2: plate 0 × 0.68 plate 1 × 0.32
	// frame 3: plate 0 × 0.52 plate 1 × 0.48
}
