package banding_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
)

// A camera reads 2160 rows in 8 ms and looks at the wall outside the windows: 3840
// pulses a second, dimmed to a quarter, in eight scan groups that are lit row by row.
// The picture passes one wall row from one camera row to the next.
func Example() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(3840, 1)
	quarter, _ := banding.Pulse(0.25)
	turns, _ := banding.InOrder(8)
	exposure, _ := timing.ParseSeconds("2.1 ms")
	rowTime, _ := timing.NewSeconds(8, 2160_000) // 2160 rows in 8 ms
	spec := banding.Spec{
		Wall:   banding.Wall{Rate: refresh, Greys: []banding.Waveform{quarter}, Turns: turns},
		View:   banding.View{WallRowsPerCameraRow: 1},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
	}
	p, err := banding.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	bands, _ := p.Bands(0)
	fmt.Printf("%.1f bands a frame, %.1f rows apart, drifting %.0f rows/s\n", bands[0].Count, bands[0].Spacing, bands[0].Drift)
	fmt.Printf("depth %.3f, of the darkest grey up to %.3f\n", p.Worst().Depth, p.WorstDepth())

	// What the recording shows, measured.
	rows, _ := p.Frame(0, 0)
	found, _ := banding.MeasureBands(rows)
	fmt.Printf("measured: %.1f rows apart, depth %.3f ± %.3f\n", found.Spacing, found.Depth, found.DepthError)

	// Eight whole pulses instead of 8.064.
	spec.Camera.Exposure, _ = timing.NewSeconds(8, 3840)
	p, _ = banding.New(spec)
	rows, _ = p.Frame(0, 0)
	found, _ = banding.MeasureBands(rows)
	fmt.Printf("at 8 pulses: depth %v; measured: %v, where %.3f would show\n", p.Worst().Depth, found.Depth, found.DetectionLimit)
	// Output:
	// 239.3 bands a frame, 9.0 rows apart, drifting 0 rows/s
	// depth 0.059, of the darkest grey up to 0.059
	// measured: 9.0 rows apart, depth 0.062 ± 0.014
	// at 8 pulses: depth 0; measured: 0, where 0.002 would show
}

// A wall makes its greys of 16 pulses a frame, which last one unit of time more or less
// each. Greys whose pulses are all alike are clean at every whole number of pulses. In the
// others the pulses of a frame differ, so that the light repeats once a frame only.
func ExampleScattered() {
	rate, _ := timing.NewRate(24, 1)
	exposure, _ := timing.NewSeconds(7, 16*24)
	rowTime, _ := timing.ParseSeconds("5 µs")
	for _, code := range []int{1, 16, 24, 128, 129} {
		grey, err := banding.Scattered(code, 8, 16)
		if err != nil {
			log.Fatal(err)
		}
		p, err := banding.New(banding.Spec{
			Wall:   banding.Wall{Rate: rate, Greys: []banding.Waveform{grey}, Refreshes: 16},
			Camera: timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
		})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("code %3d of 255: 7 of 16 pulses exposed, depth %.3f\n", code, p.Worst().Depth)
	}
	// Output:
	// code   1 of 255: 7 of 16 pulses exposed, depth 1.000
	// code  16 of 255: 7 of 16 pulses exposed, depth 0.000
	// code  24 of 255: 7 of 16 pulses exposed, depth 0.048
	// code 128 of 255: 7 of 16 pulses exposed, depth 0.000
	// code 129 of 255: 7 of 16 pulses exposed, depth 0.009
}

// A grey of bit planes is a pulse for each bit. An exposure that is short beside the
// period cuts it into unequal parts.
func ExampleBitPlanes() {
	rate, _ := timing.NewRate(960, 1)
	camera, _ := timing.NewRate(48, 1)
	exposure, _ := timing.ParseSeconds("2.5 ms")
	rowTime, _ := timing.ParseSeconds("4 µs")
	var greys []banding.Waveform
	codes := []int{1, 77, 128, 254}
	for _, code := range codes {
		grey, err := banding.BitPlanes(code, 8)
		if err != nil {
			log.Fatal(err)
		}
		greys = append(greys, grey)
	}
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: rate, Greys: greys},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
	})
	if err != nil {
		log.Fatal(err)
	}
	for i, code := range codes {
		e, _ := p.Extremes(i)
		fmt.Printf("code %3d: depth %.3f, row %d is darkest if row 0 opens %.2f periods into the light\n", code, e.Depth, e.Dark.Row, e.Dark.Phase)
	}
	fmt.Printf("worst is code %d; no grey exceeds %.3f\n", codes[p.Worst().Grey], p.WorstDepth())
	// Output:
	// code   1: depth 0.200, row 0 is darkest if row 0 opens 0.00 periods into the light
	// code  77: depth 0.172, row 0 is darkest if row 0 opens 0.00 periods into the light
	// code 128: depth 0.166, row 0 is darkest if row 0 opens 0.50 periods into the light
	// code 254: depth 0.001, row 0 is darkest if row 0 opens 0.60 periods into the light
	// worst is code 1; no grey exceeds 0.200
}

// A lamp on mains, recorded with a photodiode, flickers in frames of a global shutter.
func ExampleSampled() {
	camera, _ := timing.NewRate(24, 1)
	lamp, _ := timing.NewRate(100, 1)
	exposure, _ := timing.ParseSeconds("1/48")
	light, err := banding.Sampled([]float64{0.62, 0.81, 0.95, 1, 0.96, 0.84, 0.71, 0.6, 0.52, 0.47, 0.48, 0.53})
	if err != nil {
		log.Fatal(err)
	}
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: lamp, Greys: []banding.Waveform{light}},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, Rows: 2160},
	})
	if err != nil {
		log.Fatal(err)
	}
	bands, _ := p.Bands(0)
	e := p.Worst()
	cycle, _ := p.Cycle()
	fmt.Printf("%d bands; frames between %.3f and %.3f, every %.2f s\n", len(bands), e.Dark.Light, e.Bright.Light, float64(cycle))
	// Output:
	// 0 bands; frames between 0.698 and 0.719, every 0.25 s
}

// Which settings keep the bands of these greys below 1 %?
func ExamplePrediction_ShutterAngles() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(240, 1)
	exposure, _ := timing.ParseSeconds("1/48")
	rowTime, _ := timing.ParseSeconds("5 µs")
	var greys []banding.Waveform
	for _, duty := range []float64{0.9, 0.5, 0.2} {
		grey, _ := banding.Pulse(duty)
		greys = append(greys, grey)
	}
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: refresh, Greys: greys},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
	})
	if err != nil {
		log.Fatal(err)
	}
	angles, _ := p.ShutterAngles(0.01, 90*timing.Degree, 200*timing.Degree)
	for _, r := range angles.Ranges {
		fmt.Printf("shutter %.2f° to %.2f°\n", float64(r.From/timing.Degree), float64(r.To/timing.Degree))
	}
	angles, _ = p.ShutterAngles(0.01, 80*timing.Degree, 100*timing.Degree)
	fmt.Printf("between 80° and 100°: %v, best is %.1f° with %.3f\n", angles.Reason, float64(angles.Best/timing.Degree), angles.Depth)
	rates, _ := p.LightRates(0.01, 150, 250)
	fmt.Printf("light: %.2f to %.2f Hz\n", float64(rates.Ranges[0].From), float64(rates.Ranges[0].To))
	rates, _ = p.CameraRates(0.01, 23.5, 25)
	fmt.Printf("camera: %.3f to %.3f frames/s\n", float64(rates.Ranges[0].From), float64(rates.Ranges[0].To))

	// By how much may the rates be off, and what if they are?
	fraction, _, _ := p.Tolerance(0.01)
	depth, _ := p.DepthWithin(0.001)
	fmt.Printf("off by %.2f %%: depth 0.01; off by 0.1 %%: depth %.4f\n", 100*fraction, depth)
	k, _ := banding.PeriodsFor(0.01)
	fmt.Printf("any grey at any shutter: %d periods\n", k)
	// Output:
	// shutter 107.57° to 108.44°
	// shutter 143.43° to 144.58°
	// shutter 179.29° to 180.73°
	// between 80° and 100°: no whole number of periods, best is 90.0° with 0.200
	// light: 191.24 to 192.78 Hz
	// camera: 23.903 to 24.095 frames/s
	// off by 0.40 %: depth 0.01; off by 0.1 %: depth 0.0025
	// any grey at any shutter: 50 periods
}

// A wall shows one picture in the first half of each frame, and another in the second.
// A camera that is locked to it sees one of them only, at the right phase.
func ExamplePrediction_Phases() {
	rate, _ := timing.NewRate(24, 1)
	half, _ := banding.Pulse(0.5)
	exposure, _ := timing.ParseSeconds("1/96")
	rowTime, _ := timing.ParseSeconds("4 µs")
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: rate, Greys: []banding.Waveform{half}},
		Camera: timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: 2160, RowTime: rowTime},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("at some phase: %v\n", p.Worst().Depth)
	phases, _ := p.Phases(0.001)
	for _, r := range phases.Ranges {
		fmt.Printf("below 0.001 at phases %.4f to %.4f\n", r.From, r.To)
	}
	// Output:
	// at some phase: 1
	// below 0.001 at phases 0.9995 to 1.0432
}
