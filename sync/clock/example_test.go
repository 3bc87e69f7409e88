package clock_test

import (
	"fmt"
	"log"
	"math/bits"
	"strings"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"gonum.org/v1/gonum/unit"
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

// Labels to burn into the frames of a take, without an allocation a frame.
func ExampleTimecode_AppendFormat() {
	rate, _ := timing.ParseRate("25")
	tc, err := clock.NewTimecode(clock.TimecodeSpec{Rate: rate})
	if err != nil {
		log.Fatal(err)
	}
	first, _ := tc.Parse("10:59:59:23")
	var label []byte
	for n := first; n < first+3; n++ {
		label = tc.AppendFormat(label[:0], n)
		fmt.Printf("%s\n", label)
	}
	// Output:
	// 10:59:59:23
	// 10:59:59:24
	// 11:00:00:00
}

// How wrong is a label an hour after the clocks were set?
func ExampleTimecode_LabelError() {
	rate, _ := timing.ParseRate("23.976")
	tc, err := clock.NewTimecode(clock.TimecodeSpec{Rate: rate})
	if err != nil {
		log.Fatal(err)
	}
	hour, _ := timing.ParseSeconds("3600 s")
	n, _ := rate.Frame(hour, timing.Nearest)
	ahead, _ := tc.LabelError(n)
	fmt.Printf("%s, %.3f s\n", tc.Format(n), float64(ahead.Time()))
	// Output:
	// 00:59:56:10, -3.596 s
}

// A picture file holds a word. The plates were shot at 50 frames a second, in pairs.
func ExampleUnpack() {
	word, err := clock.Unpack(0x8b204910, clock.FiftyField)
	if err != nil {
		fmt.Println(err)
	}
	word, err = clock.Unpack(0x91204910, clock.FiftyField)
	if err != nil {
		log.Fatal(err)
	}
	rate, _ := timing.ParseRate("50")
	tc, _ := clock.NewTimecode(clock.TimecodeSpec{Rate: rate})
	n, _ := tc.WordFrame(word)
	fmt.Println(tc.Format(n))

	// The next frame, for a file (60-field at any rate) and for RTP.
	next, _ := tc.Word(n + 1)
	file, _ := next.Pack(clock.SixtyField)
	stream, _ := next.Pack(clock.FiftyField)
	fmt.Printf("%#08x %#08x\n", file, bits.ReverseBytes32(stream))
	// Output:
	// clock: hours 0xb: must be two decimal digits of at most 23
	// 11:20:49:21
	// 0x11204911 0x11492011
}

// The day's date travels in the user bits.
func ExampleDate() {
	user, err := clock.Date{Year: 2026, Month: 5, Day: 4}.UserBits()
	if err != nil {
		log.Fatal(err)
	}
	date, _ := clock.UserDate(user)
	fmt.Printf("%#08x %v %v\n", user, clock.UserGroups(user), date)
	// Output:
	// 0x00260504 [4 0 5 0 6 2 0 0] {2026 5 4}
}

// The number of a reel, 417, in the first three groups.
func ExampleUserBits() {
	user, err := clock.UserBits([8]uint8{7, 1, 4})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%x\n", user)
	// Output:
	// 417
}

// Labels on a quay two hours east of Greenwich, jammed at four in the morning.
func ExampleDailyJam() {
	rate, _ := timing.ParseRate("29.97")
	at, _ := timing.ParseSeconds("14400 s")
	offset, _ := timing.ParseSeconds("7200 s")
	var leaps clock.LeapTable
	jam, err := clock.NewDailyJam(clock.DailyJamSpec{Timecode: clock.TimecodeSpec{Rate: rate, Drop: true}, At: at, Offset: offset}, leaps)
	if err != nil {
		log.Fatal(err)
	}
	now, err := leaps.Parse("2026-05-04T14:30:00+02:00")
	if err != nil {
		log.Fatal(err)
	}
	label, _ := jam.AtPTP(now.PTP)
	fmt.Printf("%s began %.1f ms early\n", label.Label, 1000*float64(label.Ahead.Time()))
	next, _ := jam.NextJam(now.PTP)
	fmt.Printf("at the next jam %s follows in place of %s: %d labels\n", next.After, next.Before, next.Skipped)
	// Output:
	// 14:30:00;00 began 18.1 ms early
	// at the next jam 04:00:00;00 follows in place of 04:00:00;02: -2 labels
}

// A leap second has a label of its own in UTC, and none in the ordinary clock.
func ExampleLeapTable() {
	var leaps clock.LeapTable
	leap, err := leaps.Parse("2016-12-31T23:59:60Z")
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(leap.PTP, leap, leap.Time().Format("15:04:05"))
	later, _ := leaps.Parse("2027-03-01T12:00:00Z")
	fmt.Println(later.PTP, "expired:", later.Expired)

	// A later list, here shortened.
	leaps, err = clock.ReadLeapTable(strings.NewReader("#@ 4023129600\n2272060800 10\n2287785600 11\n"))
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(leaps.Expires().Format("2006-01-02"))
	// Output:
	// 1483228836 s 2016-12-31T23:59:60Z 23:59:59
	// 1803902437 s expired: true
	// 2027-06-28
}

// Two cameras of 5 ppm each, jammed to within 0.2 ms. At 10 degrees a second and 70 px a
// degree, things move 700 px a second.
func ExampleDriftTime() {
	rate, _ := timing.ParseRate("23.976")
	camera := clock.Recorder{TolerancePPM: 5}
	jammed := clock.Recorder{TolerancePPM: 5, Offset: 0.2 * unit.Milli}
	drift, err := clock.DriftTime(clock.DriftSpec{
		Rate: rate, Recorders: []clock.Recorder{camera, jammed},
		Limits: clock.DriftLimits{Pixels: 2, Frames: 0.25}, PixelsPerSecond: 700,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%s past %s after %.0f s\n", drift.State, drift.Limit, float64(drift.After))
	// Output:
	// drifts past pixels after 266 s
}

// A day of sound and picture: when do the recorders need a jam?
func ExamplePlanResync() {
	rate, _ := timing.ParseRate("25")
	const hour = 3600 * unit.Second
	plan, err := clock.PlanResync(clock.ResyncSpec{
		Drift: clock.DriftSpec{
			Rate:      rate,
			Recorders: []clock.Recorder{{TolerancePPM: 1}, {TolerancePPM: 1}, {TolerancePPM: 0.2}},
			Limits:    clock.DriftLimits{Frames: 0.5},
		},
		Margin: 0.2, Day: 9 * hour,
		Takes: []clock.Take{{Start: hour, Duration: hour}, {Start: 2 * hour, Duration: hour / 2}, {Start: 6 * hour, Duration: hour}},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%v, every %.2f h at the latest\n", plan.OK, float64(plan.Interval/hour))
	for _, jam := range plan.Jams {
		fmt.Printf("%.2f h\n", float64(jam/hour))
	}
	// Output:
	// true, every 2.22 h at the latest
	// 0.00 h
	// 2.00 h
	// 4.22 h
	// 6.00 h
	// 8.22 h
}

// Sound at 48 kHz beside 29.97 frames a second.
func ExampleAudio() {
	frames, _ := timing.ParseRate("29.97")
	samples, _ := timing.ParseRate("48000")
	audio, err := clock.NewAudio(clock.AudioSpec{Frames: frames, Samples: samples, Rounding: timing.Nearest})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(audio.Sequence())
	first, _ := audio.Sample(107892)
	frame, place, _ := audio.Frame(172_800_000)
	fmt.Println(first, frame, place)
	// Output:
	// [1602 1601 1602 1601 1602]
	// 172799827 107892 173
}
