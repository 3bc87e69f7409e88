package clock_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"

	"example.com/platewright/sync/clock"
)

// Elapsed time comes from frames, never from labels: between these two labels
// with drop, the clock runs for one frame.
func ExampleTimecode() {
	rate, _ := timing.ParseRate("29.97")
	tc, err := clock.NewTimecode(clock.TimecodeSpec{Rate: rate, Drop: true})
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
	// clock: label 00:01:00;00: names no frame: with drop, a minute not divisible by ten begins at frame number 2
	// clock: label "00:01:00:02": must have ';' before the frames, not ':': drop is true
}

// Two recorders are off by 5 ppm from each other and are not locked.
func ExampleDriftTime() {
	rate, _ := timing.ParseRate("23.976")
	frame, err := clock.DriftTime(rate, 5)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("a frame after %.1f h; %.2f frames in a take of an hour\n", float64(frame)/3600, 3600/float64(frame))
	// Output:
	// a frame after 2.3 h; 0.43 frames in a take of an hour
}
