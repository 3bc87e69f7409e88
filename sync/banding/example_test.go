package banding_test

import (
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"gonum.org/v1/gonum/unit"
)

// A camera reads 2160 rows in 8 ms and looks at the wall outside the windows:
// 3840 pulses a second, dimmed to a quarter, in eight scan groups. The picture
// passes one wall row from one camera row to the next.
func ExampleBanding() {
	camera, _ := timing.NewRate(24, 1)
	refresh, _ := timing.NewRate(3840, 1)
	spec := banding.BandingSpec{
		Camera: camera, Refresh: refresh, DutyCycle: 0.25, Multiplex: 8, WallRowsPerCameraRow: 1,
		Exposure: 2.1 * unit.Milli * unit.Second,
		RowTime:  8 * unit.Milli * unit.Second / 2160,
		Rows:     2160,
	}
	b, err := banding.NewBanding(spec)
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
	found, _ := banding.MeasureBands(rows)
	fmt.Printf("measured: %.1f rows apart, depth %.3f ± %.3f\n", found.Spacing, found.Depth, found.DepthError)

	// Eight whole pulses instead of 8.064.
	spec.Exposure = unit.Time(8.0 / 3840)
	b, _ = banding.NewBanding(spec)
	fmt.Printf("at 8 pulses: depth %v, of the darkest grey %v\n", b.Depth(), b.WorstDepth())
	for r := range rows {
		rows[r], _ = b.Row(r)
	}
	found, _ = banding.MeasureBands(rows)
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
	b, err := banding.NewBanding(banding.BandingSpec{
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
