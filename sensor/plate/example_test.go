package plate_test

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"

	"example.com/platewright/sensor/plate"
	"gonum.org/v1/gonum/unit"
)

// quay is a simulated frame of 320 × 240 px of 16 bits, linear: a dark quay under a
// bright sky, a grey card of 18 %, a lamp. It has noise of 0.5 % of full scale.
func quay(seed uint64, exposure float64) plate.Plane[uint16] {
	random := rand.New(rand.NewPCG(seed, 1))
	p := plate.Plane[uint16]{Pix: make([]uint16, 320*240), Width: 320, Height: 240}
	for i := range p.Pix {
		x, y := i%320, i/320
		light := 0.03 + 0.001*float64(x)/320
		switch {
		case x >= 250 && x < 280 && y >= 90 && y < 120:
			light = 4 // the lamp
		case x >= 40 && x < 100 && y >= 140 && y < 200:
			light = 0.18
		case y < 100:
			light = 0.5 - 0.002*float64(y)
		}
		v := exposure*light + 0.005*random.NormFloat64()
		p.Pix[i] = uint16(math.Round(65535 * min(max(v, 0), 1)))
	}
	return p
}

// Does anything clip in the take, and where?
func ExampleLevelMeter() {
	meter, err := plate.NewLevelMeter[uint16](plate.LevelSpec{})
	if err != nil {
		log.Fatal(err)
	}
	for frame := range uint64(5) {
		if err := meter.Add(quay(frame, 1)); err != nil {
			log.Fatal(err)
		}
	}
	levels, err := meter.Measure()
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("clipped %.2f %%, crushed %.2f %%\n", 100*levels.Clipped.Fraction, 100*levels.Crushed.Fraction)
	for _, a := range levels.Clipped.Areas {
		fmt.Printf("%d × %d px at (%d, %d)\n", a.Width, a.Height, a.X, a.Y)
	}
	median, _ := levels.Percentile(0.5)
	fmt.Printf("median %.2f, in the lowest eighth %.0f %%\n", median/65535, 100*float64(levels.Count(0, 65536/8))/float64(levels.Samples))
	// Output:
	// clipped 1.17 %, crushed 0.00 %
	// 64 × 64 px at (256, 64)
	// median 0.04, in the lowest eighth 53 %
}

// How far from 18 % is the card, and does it drift?
func ExampleMeasureDrift() {
	card := plate.LightSpec{Region: plate.Region{X: 45, Y: 145, Width: 50, Height: 50}}
	grey := plate.Estimate{Value: 0.18 * 65535}
	var times []unit.Time
	var stops []plate.Estimate
	for frame := range uint64(24) {
		seconds := 5 * float64(frame)
		light, err := plate.MeasureLight(quay(frame, math.Exp2(-0.3-0.1*seconds/60)), card)
		if err != nil {
			log.Fatal(err)
		}
		off, err := plate.Stops(light, grey)
		if err != nil {
			log.Fatal(err)
		}
		times, stops = append(times, unit.Time(seconds)), append(stops, off)
	}
	fmt.Printf("first frame %+.3f ± %.3f stops\n", stops[0].Value, stops[0].Uncertainty)
	drift, err := plate.MeasureDrift(times, stops)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("drift %+.4f ± %.4f stops a minute\n", drift.StopsPerMinute.Value, drift.StopsPerMinute.Uncertainty)
	// Output:
	// first frame -0.300 ± 0.001 stops
	// drift -0.0996 ± 0.0006 stops a minute
}

// How noisy is it, from the plate's own flat parts?
func ExampleMeasureNoise() {
	noise, err := plate.MeasureNoise(quay(1, 1), plate.LightSpec{})
	if err != nil {
		log.Fatal(err)
	}
	for _, l := range noise.Levels {
		fmt.Printf("at %4.1f %% of full scale: %.3f ± %.3f %%\n", 100*l.Light/65535, 100*l.Noise.Value/65535, 100*l.Noise.Uncertainty/65535)
	}
	fmt.Println("electrons show in it:", noise.Gain != plate.Estimate{})
	// Output:
	// at  3.0 % of full scale: 0.503 ± 0.012 %
	// at  3.0 % of full scale: 0.467 ± 0.066 %
	// at  3.1 % of full scale: 0.506 ± 0.012 %
	// at  5.3 % of full scale: 0.477 ± 0.065 %
	// at 30.2 % of full scale: 0.507 ± 0.012 %
	// at 40.1 % of full scale: 0.490 ± 0.028 %
	// at 46.6 % of full scale: 0.490 ± 0.014 %
	// electrons show in it: false
}

// Which photosites are defective? The camera stands still, but the light grows from frame
// to frame, which tells them from details of the scene.
func ExampleDefectMeter() {
	meter, err := plate.NewDefectMeter[uint16](plate.DefectSpec{})
	if err != nil {
		log.Fatal(err)
	}
	for frame := range uint64(12) {
		p := quay(frame, 0.6+0.05*float64(frame))
		p.Pix[60*320+200] += 8000 // under the sky
		p.Pix[61*320+100] = 0
		if err := meter.Add(p); err != nil {
			log.Fatal(err)
		}
	}
	defects, err := meter.Measure()
	if err != nil {
		log.Fatal(err)
	}
	for _, d := range defects.Sites {
		fmt.Printf("%s at (%d, %d)\n", d.Kind, d.X, d.Y)
	}
	// Output:
	// hot at (200, 60)
	// dead at (100, 61)
}

// How much veiling flare may there be? The quay is dark, but not black.
func ExampleMeasureFlare() {
	flare, err := plate.MeasureFlare(quay(1, 1), plate.FlareSpec{})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("at most %.2f ± %.2f %% of full scale, %.0f %% of the mean\n",
		100*flare.AtMost.Value/65535, 100*flare.AtMost.Uncertainty/65535, 100*flare.FractionOfMean)
	// Output:
	// at most 3.00 ± 0.05 % of full scale, 15 % of the mean
}
