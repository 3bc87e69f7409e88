package trace_test

import (
	"fmt"
	"math"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/trace"
	"gonum.org/v1/gonum/unit"
)

// brightness is how bright a quay is that passes by, at a time in seconds.
func brightness(t float64) float64 {
	sum := 1.0
	for k := 1.0; k < 30; k++ {
		sum += 0.1 * math.Sin(2*math.Pi*0.3*math.Sqrt(k)*t+k*k)
	}
	return sum
}

// Two cameras of the ferry began 3.2 ms apart, on clocks that are 20 millionths apart.
func ExampleMeasureOffset() {
	rate, _ := timing.ParseRate("24")
	port, starboard := trace.Trace{Rate: rate}, trace.Trace{Rate: rate}
	for n := range 24 * 60 {
		t := float64(n) / 24
		port.Values = append(port.Values, brightness(t))
		starboard.Values = append(starboard.Values, 0.8*brightness(t*1.00002+0.0032)) // a darker lens
	}
	window := trace.Trace{Rate: rate, Values: port.Values[:20*24]}
	offset, err := trace.MeasureOffset(window, starboard)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f ms\n", float64(offset.Time)*1000)

	drift, err := trace.MeasureDrift(port, starboard, 10)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f ms at the start, and %.0f millionths\n", float64(drift.Start)*1000, drift.PPM)
	// Output:
	// 3.4 ms
	// 3.2 ms at the start, and 20 millionths
}

// A recorder writes one frame twice, and tears another.
func ExampleWatcher() {
	picture := func(n int) (p trace.Plane[uint16]) { // a pattern that moves
		p = trace.Plane[uint16]{Width: 128, Height: 72}
		for y := range p.Height {
			for x := range p.Width {
				p.Pix = append(p.Pix, uint16(30000+20000*math.Sin(float64(x+3*n)/9+float64(y)/7)))
			}
		}
		return p
	}
	watcher, err := trace.NewWatcher[uint16](trace.WatchSpec{Noise: 0.002})
	if err != nil {
		fmt.Println(err)
		return
	}
	for n := range 24 {
		frame := picture(n)
		switch n {
		case 8:
			frame = picture(7)
		case 15:
			copy(frame.Pix[40*128:], picture(14).Pix[40*128:])
		}
		if err := watcher.Add(frame); err != nil {
			fmt.Println(err)
			return
		}
	}
	for _, finding := range watcher.Report().Findings {
		fmt.Println(finding)
	}
	// Output:
	// frame 8: repeated
	// frame 15: torn at row 40 ± 0
}

// Two frames are missing in a folder, and a take has the timecode of another rate.
func ExampleFindJumps() {
	labels, _ := trace.FindJumps([]int64{1001, 1002, 1003, 1006, 1007})
	fmt.Printf("%+v\n", labels.Jumps)

	var code []int64
	for n := range int64(24 * 10) {
		code = append(code, n*25/24)
	}
	labels, _ = trace.FindJumps(code)
	fmt.Println(labels.Counts, "labels in", labels.Frames, "frames")
	// Output:
	// [{Frame:3 Step:3}]
	// 25 labels in 24 frames
}

// A pan of 1.5 px a frame, recorded without frame 20.
func ExampleFindGaps() {
	var meter trace.ShiftMeter[float32]
	var shifts []trace.Shift
	for n := range 40 {
		if n == 20 {
			continue
		}
		frame := trace.Plane[float32]{Width: 128, Height: 64}
		for y := range frame.Height {
			for x := range frame.Width {
				u := float64(x) + 1.5*float64(n)
				frame.Pix = append(frame.Pix, float32(0.5+0.2*math.Sin(u/14+float64(y)/9)+0.2*math.Sin(u/37)))
			}
		}
		shift, err := meter.Add(frame)
		if err != nil {
			fmt.Println(err)
			return
		}
		shifts = append(shifts, shift)
	}
	gaps, err := trace.FindGaps(shifts)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, g := range gaps.Found {
		fmt.Println(g.Missing, "missing before frame", g.Frame)
	}
	// Output:
	// 1 missing before frame 20
}

// Lamps on 50 Hz leave bands 625 rows apart, known to 2 rows by banding.MeasureBands.
func ExampleMeasureRowTime() {
	light, _ := timing.ParseRate("100")
	times, err := trace.MeasureRowTime(trace.RowTimeSpec{
		Spacing: 625, SpacingError: 2, Light: light,
		From: 1 * unit.Micro * unit.Second, To: 20 * unit.Micro * unit.Second,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, t := range times {
		fmt.Printf("%.2f ± %.2f µs\n", float64(t.Time)*1e6, float64(t.Error)*1e6)
	}
	// Output:
	// 16.00 ± 0.05 µs
}

// A camera on the rail of the ferry shakes with the engine.
func ExampleMeasureVibration() {
	rate, _ := timing.ParseRate("48")
	var meter trace.ShiftMeter[float32]
	var shifts []trace.Shift
	for n := range 96 {
		at := 0.8 * math.Sin(2*math.Pi*11*float64(n)/48) // px
		frame := trace.Plane[float32]{Width: 96, Height: 64}
		for y := range frame.Height {
			for x := range frame.Width {
				frame.Pix = append(frame.Pix, float32(0.5+0.2*math.Sin(float64(x)/4+float64(y)/9)+0.2*math.Sin((float64(y)-at)/3)))
			}
		}
		shift, err := meter.Add(frame)
		if err != nil {
			fmt.Println(err)
			return
		}
		shifts = append(shifts, shift)
	}
	vibration, err := trace.MeasureVibration(shifts, rate)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range vibration.Peaks[:1] {
		fmt.Printf("%.1f Hz, %.1f px up and down\n", float64(p.Frequency), p.Y)
	}
	// Output:
	// 11.0 Hz, 0.8 px up and down
}
