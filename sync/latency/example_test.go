package latency_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/latency"
	"gonum.org/v1/gonum/unit"
)

// How late is the wall behind the camera, stage by stage, and what does that cost while
// the camera pans at 20° a second?
func ExampleTotal() {
	tracking, _ := timing.NewRate(240, 1)
	film, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(48, 1)
	const ms = unit.Milli * unit.Second
	chain := []latency.Stage{
		{Name: "tracker", Rate: tracking, Time: 4 * ms},
		{Name: "network", Rate: tracking, Time: 0.5 * ms, Jitter: 1 * ms},
		{Name: "renderer", Rate: film, Frames: 2, Free: true},
		{Name: "wall", Rate: refresh, Frames: 1},
		{Name: "half the exposure", Time: 10.4 * ms},
	}
	for i, s := range chain {
		d, err := latency.Total(chain[:i+1])
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%-18s %5.1f to %5.1f ms\n", s.Name, 1e3*float64(d.Least), 1e3*float64(d.Worst))
	}
	d, _ := latency.Total(chain)
	fmt.Printf("on average %.1f frames\n", float64(d.Mean)*float64(film.Frequency()))
	m, err := latency.MarginFor(latency.MarginSpec{
		Latency: d.Worst, Pan: 20 * latency.Degree, Width: 40 * latency.Degree, Height: 24 * latency.Degree,
		Distance: 4 * unit.Metre, Pitch: 2.8 * unit.Milli * unit.Metre,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f° late; a margin of %.0f columns and %.0f rows on each side\n", float64(m.PanLate/latency.Degree), m.Columns, m.Rows)
	// Output:
	// tracker              4.0 to   4.0 ms
	// network              4.5 to   5.5 ms
	// renderer            87.8 to  93.0 ms
	// wall               108.7 to 113.8 ms
	// half the exposure  119.1 to 124.2 ms
	// on average 2.9 frames
	// 2.5° late; a margin of 71 columns and 5 rows on each side
}

// Which tracking sample belongs to the middle of the exposure of frame 1000, and how far
// must a renderer predict that starts 70 ms before?
func ExampleTracker() {
	rate, _ := timing.ParseRate("23.976")
	exposure, _ := timing.ParseSeconds("1/50 s")
	camera, err := timing.NewReadout(timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: 2160})
	if err != nil {
		log.Fatal(err)
	}
	frame, _ := camera.Span(1000)

	tracking, _ := timing.NewRate(240, 1)
	delay, _ := timing.ParseSeconds("5 ms")
	tracker, err := latency.NewTracker(latency.TrackerSpec{Rate: tracking, Delay: delay})
	if err != nil {
		log.Fatal(err)
	}
	s, _ := tracker.At(frame.Middle)
	fmt.Printf("middle %v: %.0f %% of the way from sample %d to the next\n", frame.Middle, 100*s.Fraction, s.Before)

	early, _ := timing.ParseSeconds("70 ms")
	start, _ := frame.Middle.Sub(early)
	p, _ := tracker.Newest(start, frame.Middle)
	fmt.Printf("from sample %d, %.1f ms ahead\n", p.Newest, 1e3*float64(p.Ahead.Time()))
	// Output:
	// middle 25031/600 s: 40 % of the way from sample 10012 to the next
	// from sample 9994, 76.7 ms ahead
}
