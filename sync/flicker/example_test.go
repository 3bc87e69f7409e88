package flicker_test

import (
	"encoding/json"
	"fmt"
	"log"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/flicker"
	"gonum.org/v1/gonum/unit"
)

// A lamp that swings between 70 and 100 at 100 Hz, against the limits, and as a
// camera at 24 frames a second and 180° sees it.
func ExampleLimitsAt() {
	waveform := []float64{100, 85, 70, 85}
	percent, _ := flicker.Percent(waveform)
	index, _ := flicker.Index(waveform)
	limits, err := flicker.LimitsAt(100)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f %%, flicker index %.3f; low risk below %.1f %%, no effect below %.2f %%\n", percent, index, limits.LowRisk, limits.NoEffect)
	left, _ := banding.ResidualModulation(percent/100, 100, unit.Time(1./48))
	fmt.Printf("%.2f %% remain in the picture\n", 100*left)
	// Output:
	// 17.6 %, flicker index 0.044; low risk below 8.0 %, no effect below 3.33 %
	// 0.70 % remain in the picture
}

// The ferry turns into the sun: it flashes between the masts of the marina, on the
// right third of a wall of 8 m by 4.5 m, 4 m from the nearest eye. The wall is divided
// into 64 by 36 blocks. White is 1200 cd/m².
func ExampleMonitor() {
	rate, _ := timing.NewRate(24, 1)
	field, _ := flicker.FieldAt(4, 0.125, 0.125)
	monitor, err := flicker.NewMonitor(flicker.MonitorSpec{Rate: rate, Columns: 64, Rows: 36, Field: field, White: 1200})
	if err != nil {
		log.Fatal(err)
	}
	const width, height = 256, 144 // px, of a proxy of the plate in linear light
	frame, means := make([]float32, 3*width*height), make([]float32, 3*64*36)
	for n := range 96 {
		for i := range frame {
			frame[i] = 0.3 // dusk
			if mast := n%6 < 3; i/3%width >= 2*width/3 && n >= 24 && n < 60 && !mast {
				frame[i] = 0.9
			}
		}
		if err := flicker.BlockMeans(means, frame, width, 64, 36); err != nil {
			log.Fatal(err)
		}
		if err := monitor.Add(means); err != nil {
			log.Fatal(err)
		}
	}
	report := monitor.Report()
	for _, f := range report.Findings {
		fmt.Println(f)
	}
	fmt.Println(report.Caution)
	// Output:
	// general flash: at most 4 flashes in a second, frames 27 to 48; up to 100 % of a field at once, more than 3 flashes in places that fill 100 %: OVER THE LIMIT from frame 45
	// red flash: at most 0 flashes in a second; up to 0 % of a field at once: within the limits
	// older red flash: at most 0 flashes in a second; up to 0 % of a field at once: within the limits
	// absolute flash: at most 4 flashes in a second, frames 27 to 48; up to 100 % of a field at once, more than 3 flashes in places that fill 100 %: OVER THE LIMIT from frame 45
	// A result within these limits is no clearance and no medical advice: photosensitive people differ. Warn everybody, follow the local rules, and be able to go to a steady picture at once.
}

// The light of a lamp on a dimmer rises and breaks off 120 times a second.
func ExampleVisibility() {
	waveform := []float64{}
	for i := range 64 {
		waveform = append(waveform, float64(i%32)) // two periods of a sawtooth
	}
	svm, err := flicker.Visibility(waveform, 2./120)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f; moving things seem to jump above 1\n", svm)
	// Output:
	// 2.4; moving things seem to jump above 1
}

// A finding as a record for the day's papers.
func ExampleReport() {
	rate, _ := timing.ParseRate("23.976")
	monitor, err := flicker.NewMonitor(flicker.MonitorSpec{Rate: rate})
	if err != nil {
		log.Fatal(err)
	}
	for n := range 48 {
		if err := monitor.AddLuminance([]float64{0.2 + 0.6*float64(n%2)}); err != nil {
			log.Fatal(err)
		}
	}
	text, _ := json.Marshal(monitor.Report().Findings[0])
	fmt.Println(string(text))
	// Output:
	// {"Criterion":"general flash","WithinLimits":false,"Over":7,"Flashes":12,"From":1,"To":24,"Area":1,"AreaFrame":1,"Repeated":1,"RepeatedFrame":7,"SpacingFrames":2,"Spaced":false}
}
