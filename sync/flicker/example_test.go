package flicker_test

import (
	"fmt"
	"log"

	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/flicker"
	"gonum.org/v1/gonum/unit"
)

// A lamp that swings between 70 and 100 at 100 Hz, against the limits, and as a
// camera at 24 frames a second and 180° sees it.
func ExampleFlickerLimits() {
	waveform := []float64{100, 85, 70, 85}
	percent, _ := flicker.PercentFlicker(waveform)
	index, _ := flicker.FlickerIndex(waveform)
	lowRisk, noEffect, err := flicker.FlickerLimits(100)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f %%, flicker index %.3f; low risk below %.1f %%, no effect below %.2f %%\n", percent, index, lowRisk, noEffect)
	left, _ := banding.ResidualModulation(percent/100, 100, unit.Time(1./48))
	fmt.Printf("%.2f %% remain in the picture\n", 100*left)
	// Output:
	// 17.6 %, flicker index 0.044; low risk below 8.0 %, no effect below 3.33 %
	// 0.70 % remain in the picture
}
