package fit_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/projection/fit"
	"gonum.org/v1/gonum/unit"
)

// shoot stands for a frame of linear light from a camera. Its plates are gain times too
// bright, and blue times more in blue. The camera looks turned farther to the right than it is
// believed to.
func shoot(heading, turned unit.Angle, gain, blue float64) fit.Plate[float32] {
	spec := projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 60, FocalY: 60, Width: 160, Height: 160,
		Pose: projection.Pose{Heading: heading},
	}
	believed, err := projection.NewCamera(spec)
	if err != nil {
		log.Fatal(err)
	}
	spec.Pose.Heading += turned
	real, err := projection.NewCamera(spec)
	if err != nil {
		log.Fatal(err)
	}
	pix := make([]float32, 0, 3*160*160)
	for y := range 160 {
		for x := range 160 {
			d, _ := real.Unproject(float64(x)+0.5, float64(y)+0.5)
			light := gain * (0.3 + 0.1*d.Y + 0.03*(math.Sin(31*d.X+5*d.Y)+math.Sin(27*d.Y-9*d.Z)+math.Sin(35*d.Z+14*d.X)))
			pix = append(pix, float32(light), float32(light), float32(light*blue))
		}
	}
	p := fit.Plate[float32]{Camera: believed}
	for c := range 3 {
		p.Channels = append(p.Channels, fit.Plane[float32]{Pix: pix[c:], Width: 160, Height: 160, Step: 3})
	}
	return p
}

// Four cameras round a ferry's wheelhouse, of which one is 1/3 stop and 4 % in blue off.
func ExampleMeasureGains() {
	plates := []fit.Plate[float32]{
		shoot(0, 0, 1, 1),
		shoot(90*projection.Degree, 0, 1, 1),
		shoot(180*projection.Degree, 0, math.Exp2(1./3), 1.04),
		shoot(270*projection.Degree, 0, 1, 1),
	}
	var pairs []fit.Pair
	for a := range plates {
		b := (a + 1) % len(plates)
		p, err := fit.MeasurePair(plates[a], plates[b], fit.PairSpec{A: a, B: b, Patch: 6})
		if err != nil {
			log.Fatal(err)
		}
		pairs = append(pairs, p)
	}
	gains, err := fit.MeasureGains(pairs, fit.GainSpec{Cameras: len(plates), Gauge: fit.Median})
	if err != nil {
		log.Fatal(err)
	}
	for i := range plates {
		fmt.Printf("camera %d: %+.2f stops, blue %+.1f %%\n", i, 0+math.Round(100*gains.Stops[i][1].Value)/100, 0+math.Round(1000*(math.Exp2(gains.Tints[i][2].Value)-1))/10)
	}
	fmt.Printf("the ring closes to %.2f stops\n", math.Abs(gains.Closures[0].Stops[1].Value))
	// Output:
	// camera 0: +0.00 stops, blue +0.0 %
	// camera 1: +0.00 stops, blue +0.0 %
	// camera 2: +0.33 stops, blue +4.0 %
	// camera 3: +0.00 stops, blue +0.0 %
	// the ring closes to 0.00 stops
}

// A camera that looks 1° farther to the right than it is believed to.
func ExampleMeasureSeam() {
	a := shoot(0, 0, 1, 1)
	b := shoot(60*projection.Degree, 1*projection.Degree, 1, 1)
	seam, err := fit.MeasureSeam(a, b, fit.SeamSpec{Patch: 16, Reach: 4})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("off by %.2f px\n", seam.Median)
	fmt.Printf("B is turned by %.2f° to the right, which leaves %.1f px\n", float64(seam.Heading.Value/projection.Degree), seam.MedianRest)
	// Output:
	// off by 0.95 px
	// B is turned by 1.00° to the right, which leaves 0.0 px
}
