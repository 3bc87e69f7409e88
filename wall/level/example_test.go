package level_test

import (
	"fmt"
	"math"

	"example.com/platewright/wall/level"
)

// A wall of 1500 cd/m² shows a dusk plate in PQ of 10 bits, at half its light. What
// clips, where does the sky band, and what do 300 lx of set light do to the shadows?
func Example() {
	spec := level.Spec{
		Bits: 10, Narrow: true, Curve: level.PQ, White: 10000,
		Peak: 1500, Dimming: 0.5,
	}
	const reflectance = 0.04
	for _, illuminance := range []float64{0, 300} {
		spec.Black = reflectance * illuminance / math.Pi
		wall, err := level.New(spec)
		if err != nil {
			fmt.Println(err)
			return
		}
		dark, err := wall.FirstVisible(level.Barten, 1, level.Viewer{})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%3.0f lx: black %.2f cd/m², first code that stands out %d\n", illuminance, spec.Black, dark)

		banding, err := wall.Banding(level.GSDF, 1, level.Viewer{})
		if err != nil {
			fmt.Println(err)
			return
		}
		for _, r := range banding.Ranges {
			fmt.Printf("  bands from %.3g to %.3g cd/m², at worst %.1f JND a code; %d steps not judged\n", r.From, r.To, r.Worst.JND, banding.Unjudged)
		}
		if code, ok := wall.FirstClipped(); ok {
			fmt.Printf("  codes clip from %d on\n", code)
		}
	}
	// Output:
	// 0 lx: black 0.00 cd/m², first code that stands out 65
	//   bands from 3.8 to 747 cd/m², at worst 1.6 JND a code; 55 steps not judged
	//   codes clip from 762 on
	// 300 lx: black 3.82 cd/m², first code that stands out 93
	//   bands from 17.2 to 751 cd/m², at worst 1.6 JND a code; 0 steps not judged
	//   codes clip from 762 on
}

// The step of one code at a luminance, for an eye on the set and for the audience
// of the picture that a camera takes of it, a tenth as bright.
func ExampleDisplay_Step() {
	wall, err := level.New(level.Spec{Bits: 8, Curve: level.Power(2.4), Peak: 1000})
	if err != nil {
		fmt.Println(err)
		return
	}
	code, _ := wall.Code(20)
	shown, _ := wall.Luminance(code)
	fmt.Printf("code %d, %.1f cd/m²\n", code, shown)
	for _, viewer := range []level.Viewer{{}, {Gain: 0.1}} {
		step, err := wall.Step(code, viewer)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%.2f to %.2f cd/m²: %.1f JND, %.1f thresholds\n", step.From, step.To, step.JND, step.Thresholds)
	}
	// Output:
	// code 49, 19.1 cd/m²
	// 19.09 to 20.04 cd/m²: 5.0 JND, 19.5 thresholds
	// 1.91 to 2.00 cd/m²: 2.6 JND, 13.5 thresholds
}

// Samples of a plate, as luminances wanted on the wall.
func ExampleDisplay_Fit() {
	wall, err := level.New(level.Spec{Bits: 10, Curve: level.Power(2.4), Peak: 1500, Black: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := wall.Fit([]float64{0.5, 5, 40, 90, 120, 300, 800, 6000})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f %% clip, by up to %.1f stops; %.1f %% lie below black, %.0f cd/m²\n",
		100*fit.Highlights, fit.ClippedStops, 100*fit.Shadows, fit.Black)
	// Output:
	// 12.5 % clip, by up to 2.0 stops; 12.5 % lie below black, 2 cd/m²
}

// Two greys, a just-noticeable difference apart.
func ExampleJNDIndex() {
	index, _ := level.JNDIndex(100)
	next, _ := level.JNDLuminance(index + 1)
	fmt.Printf("100 cd/m² is index %.1f; the next grey is %.2f cd/m²\n", index, next)
	sensitivity, err := level.ContrastSensitivity(4, 100, 40*level.Degree)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("4 cycles a degree are seen from a contrast of %.2f %% on\n", 100/sensitivity)
	// Output:
	// 100 cd/m² is index 476.4; the next grey is 100.75 cd/m²
	// 4 cycles a degree are seen from a contrast of 0.15 % on
}
