package transfer_test

import (
	"fmt"
	"log"

	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"gonum.org/v1/gonum/unit"
)

const (
	millimetre = unit.Milli * unit.Metre
	micrometre = unit.Micro * unit.Metre
	green      = 0.55 * micrometre
)

// Pixels 2.8 mm apart on a wall 7 m away, seen by a camera that is focused
// nearer: how much of their grid reaches the sensor, where it could beat with
// the photosites?
func ExampleLensOTF() {
	l, err := lens.New(lens.Spec{FocalLength: 40 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	const wall, pitch = 7 * unit.Metre, 2.8 * millimetre
	for _, focus := range []unit.Length{7, 6.5, 6, 5, 4} {
		// On the sensor the grid is as small as the image at this focus is near.
		image, _ := lens.ImageDistance(40*millimetre, focus)
		grid := 1 / (float64(pitch/millimetre) * float64(image/wall))
		contrast, _ := transfer.LensOTF(l, grid, green, focus, wall)
		fmt.Printf("focused at %.1f m: %.0f lp/mm, contrast %+.2f\n", float64(focus), grid, contrast)
	}
	// Output:
	// focused at 7.0 m: 62 lp/mm, contrast +0.88
	// focused at 6.5 m: 62 lp/mm, contrast +0.75
	// focused at 6.0 m: 62 lp/mm, contrast +0.38
	// focused at 5.0 m: 62 lp/mm, contrast -0.09
	// focused at 4.0 m: 62 lp/mm, contrast -0.02
}

// The contrast of stripes at the Nyquist frequency of a sensor is the product of
// what the lens, the photosites, the turn of the ferry and the vibration of its
// engine leave.
func ExampleBoxOTF() {
	const pitch, n = 4.5 * micrometre, 5.6
	nyquist := 1 / (2 * float64(pitch/millimetre)) // lp/mm
	focus, err := transfer.DiffractionOTF(nyquist, green, n)
	if err != nil {
		log.Fatal(err)
	}
	photosite, _ := transfer.BoxOTF(nyquist, pitch)
	turn, _ := transfer.BoxOTF(nyquist, pitch/2) // half a pixel during the exposure
	engine, _ := transfer.JitterOTF(nyquist, 0.3*micrometre)
	fmt.Printf("%.3f × %.3f × %.3f × %.3f = %.3f\n", focus, photosite, turn, engine, focus*photosite*turn*engine)

	// Beyond it the sensor shows false stripes: how far does the lens reach?
	cutoff, _ := transfer.CutoffFrequency(green, n)
	q, _ := transfer.SamplingRatio(green, n, pitch)
	fmt.Printf("the lens reaches %.0f lp/mm, the sensor %.0f: Q = %.2f\n", cutoff, nyquist, q)
	// Output:
	// 0.573 × 0.637 × 0.900 × 0.978 = 0.321
	// the lens reaches 325 lp/mm, the sensor 111: Q = 0.68
}

// Which of the two formulas does a wall need that is far out of focus?
func ExampleBlurOTF() {
	const blur, n = 62 * micrometre, 2.8
	for _, linePairs := range []float64{5, 10, 20, 40} {
		simple, err := transfer.BlurOTF(linePairs, blur)
		if err != nil {
			log.Fatal(err)
		}
		exact, _ := transfer.DefocusOTF(linePairs, green, n, blur)
		fmt.Printf("%2.0f lp/mm: %+.3f, with diffraction %+.3f\n", linePairs, simple, exact)
	}
	// Output:
	//  5 lp/mm: +0.886, with diffraction +0.879
	// 10 lp/mm: +0.595, with diffraction +0.594
	// 20 lp/mm: -0.013, with diffraction +0.014
	// 40 lp/mm: +0.051, with diffraction +0.022
}

// An LED wall whose pixels are lit over half of their pitch is a pattern of hard
// stripes. On the sensor its pitch is 16 µm.
func ExampleSquareWaveContrast() {
	const pitch, n = 4.5 * micrometre, 2.8
	cutoff, err := transfer.CutoffFrequency(green, n)
	if err != nil {
		log.Fatal(err)
	}
	contrast, err := transfer.SquareWaveContrast(62.5, cutoff, func(linePairsPerMM float64) float64 {
		optics, _ := transfer.DiffractionOTF(linePairsPerMM, green, n)
		photosite, _ := transfer.BoxOTF(linePairsPerMM, pitch)
		return optics * photosite
	})
	fmt.Printf("contrast %.2f: %v\n", contrast, err)
	// Output: contrast 0.91: <nil>
}

// A lamp on the shore at night is a point. How much of its light falls within the
// circle that fits in a photosite, if it is in focus?
func ExampleEncircledEnergy() {
	const pitch = 4.5 * micrometre
	for _, n := range []float64{2.8, 5.6, 11} {
		ring, err := transfer.AiryRadius(green, n)
		if err != nil {
			log.Fatal(err)
		}
		e, _ := transfer.EncircledEnergy(pitch/2, green, n)
		fmt.Printf("f/%g: first dark ring %.1f µm, %.0f %% of the light\n", n, float64(ring/micrometre), 100*e)
	}
	// Output:
	// f/2.8: first dark ring 1.9 µm, 85 % of the light
	// f/5.6: first dark ring 3.8 µm, 70 % of the light
	// f/11: first dark ring 7.4 µm, 29 % of the light
}
