package banding_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"gonum.org/v1/gonum/unit"
)

// A camera reads 2160 rows in 8 ms and looks at the wall outside the windows: 3840
// pulses a second, dimmed to a quarter, in eight scan groups that are lit row by row.
// The picture passes one wall row from one camera row to the next.
func Example() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(3840, 1)
	quarter, _ := banding.Pulse(0.25)
	turns, _ := banding.InOrder(8)
	spec := banding.Spec{
		Wall:     banding.Wall{Rate: refresh, Greys: []banding.Waveform{quarter}, Turns: turns},
		View:     banding.View{WallRowsPerCameraRow: 1},
		Camera:   camera,
		Exposure: 2.1 * unit.Milli * unit.Second,
		RowTime:  8 * unit.Milli * unit.Second / 2160,
		Rows:     2160,
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
	spec.Exposure = unit.Time(8.0 / 3840)
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
	for _, code := range []int{4, 16, 24, 128, 130} {
		grey, err := banding.Scattered(code, 8, 16)
		if err != nil {
			log.Fatal(err)
		}
		p, err := banding.New(banding.Spec{
			Wall:   banding.Wall{Rate: rate, Greys: []banding.Waveform{grey}, Refreshes: 16},
			Camera: rate, Exposure: unit.Time(8. / 16 / 24), RowTime: 5 * unit.Micro * unit.Second, Rows: 2160,
		})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("code %3d of 255: 8 of 16 pulses exposed, depth %.3f\n", code, p.Worst().Depth)
	}
	// Output:
	// code   4 of 255: 8 of 16 pulses exposed, depth 0.000
	// code  16 of 255: 8 of 16 pulses exposed, depth 0.000
	// code  24 of 255: 8 of 16 pulses exposed, depth 0.000
	// code 128 of 255: 8 of 16 pulses exposed, depth 0.000
	// code 130 of 255: 8 of 16 pulses exposed, depth 0.000
}

// A grey of bit planes is a pulse for each bit. An exposure that is short beside the
// period cuts it into unequal parts.
func ExampleBitPlanes() {
	rate, _ := timing.NewRate(960, 1)
	camera, _ := timing.NewRate(48, 1)
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
		Wall: banding.Wall{Rate: rate, Greys: greys}, Camera: camera,
		Exposure: 2.5 * unit.Milli * unit.Second, RowTime: 4 * unit.Micro * unit.Second, Rows: 2160,
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
}

// A lamp on mains, recorded with a photodiode, flickers in frames of a global shutter.
func ExampleSampled() {
	camera, _ := timing.NewRate(24, 1)
	lamp, _ := timing.NewRate(100, 1)
	light, err := banding.Sampled([]float64{0.62, 0.81, 0.95, 1, 0.96, 0.84, 0.71, 0.6, 0.52, 0.47, 0.48, 0.53})
	if err != nil {
		log.Fatal(err)
	}
	p, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: lamp, Greys: []banding.Waveform{light}},
		Camera: camera, Exposure: unit.Time(1. / 48), Rows: 2160,
	})
	if err != nil {
		log.Fatal(err)
	}
	bands, _ := p.Bands(0)
	e := p.Worst()
	cycle, _ := p.Cycle()
	fmt.Printf("%d bands; frames between %.3f and %.3f, every %.2f s\n", len(bands), e.Dark.Light, e.Bright.Light, float64(cycle))
	// Output:
}

// Which settings keep the bands of these greys below 1 %?
func ExamplePrediction_ShutterAngles() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(240, 1)
	var greys []banding.Waveform
	for _, duty := range []float64{0.9, 0.5, 0.2} {
		grey, _ := banding.Pulse(duty)
		greys = append(greys, grey)
	}
	p, err := banding.New(banding.Spec{
		Wall: banding.Wall{Rate: refresh, Greys: greys}, Camera: camera,
		Exposure: unit.Time(1. / 48), RowTime: 5 * unit.Micro * unit.Second, Rows: 2160,
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
}

// A wall shows one picture in the first half of each frame, and another in the second.
// A camera that is locked to it sees one of them only, at the right phase.
func ExamplePrediction_Phases() {
	rate, _ := timing.NewRate(24, 1)
	half, _ := banding.Pulse(0.5)
	p, err := banding.New(banding.Spec{
		Wall: banding.Wall{Rate: rate, Greys: []banding.Waveform{half}}, Camera: rate,
		Exposure: unit.Time(1. / 96), RowTime: 4 * unit.Micro * unit.Second, Rows: 2160,
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
}
