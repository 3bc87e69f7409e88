package pattern_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"example.com/platewright/wall/pattern"
	"gonum.org/v1/gonum/spatial/r2"
)

// A witness camera sees a wall whose pixels are 1.19 photosites apart. Its frame has
// the alias that was predicted, and railings, which were not predicted.
func ExampleMeasurePatterns() {
	predicted, err := alias.Predict(alias.Spec{
		Grid:       wall.Grid{Across: r2.Vec{X: 1.19, Y: 0.12}, Down: r2.Vec{X: -0.12, Y: 1.19}},
		Emitters:   alias.Emitters{Width: 0.6, Height: 0.6},
		Photosites: alias.Photosites{Width: 0.9},
		Order:      2,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	var spec pattern.Spec
	for _, a := range predicted {
		spec.Expected = append(spec.Expected, a.Frequency)
	}
	// The frame: in truth it comes from the camera.
	rng := rand.New(rand.NewPCG(1, 1))
	frame := pattern.Plane[uint16]{Pix: make([]uint16, 640*512), Width: 640, Height: 512}
	f := predicted[0].Frequency
	for i := range frame.Pix {
		x, y := float64(i%640), float64(i/640)
		light := 1 + 0.05*math.Cos(2*math.Pi*(f.X*x+f.Y*y)) + 0.01*rng.NormFloat64()
		if x < 256 && y < 256 {
			light *= 1 + 0.1*math.Sin(2*math.Pi*(x/9+y/90))
		}
		frame.Pix[i] = uint16(20000 * light)
	}
	m, err := pattern.MeasurePatterns(frame, spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range m.Found {
		period := p.Period()
		direction, _ := p.Direction()
		from := "not predicted"
		if p.Prediction >= 0 {
			from = fmt.Sprint("harmonic ", predicted[p.Prediction].Harmonic)
		}
		fmt.Printf("contrast %.3f, period %.2f px, direction %.1f°, %d × %d px: %s\n",
			p.Contrast.Value, period.Value, float64(direction)*180/math.Pi, p.Region.Width, p.Region.Height, from)
	}
	// Output:
	// contrast 0.050, period 5.32 px, direction 63.5°, 640 × 512 px: harmonic [0 1]
	// contrast 0.100, period 8.96 px, direction 5.7°, 256 × 256 px: not predicted
}

// Two panels side by side show an even field; the right one is 2 % brighter and a
// little more blue.
func ExampleMeasureUniformity() {
	rng := rand.New(rand.NewPCG(1, 1))
	var planes []pattern.Plane[uint16]
	for channel := range 3 {
		p := pattern.Plane[uint16]{Pix: make([]uint16, 256*128), Width: 256, Height: 128}
		for i := range p.Pix {
			light := 1 + 0.01*rng.NormFloat64()
			if i%256 >= 128 {
				light *= 1.02 + 0.01*float64(channel/2)
			}
			p.Pix[i] = uint16(20000 * light)
		}
		planes = append(planes, p)
	}
	m, err := pattern.MeasureUniformity(planes, pattern.UniformitySpec{
		Columns: 2, Rows: 1,
		// From below to above: the right panel is on its right.
		Joints: []pattern.Joint{{From: r2.Vec{X: 128, Y: 128}, To: r2.Vec{X: 128, Y: 0}}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, l := range m.Regions[0] {
		fmt.Printf("panel %d: red %.0f ± %.0f, blue over red %.3f ± %.4f\n", i+1, l.Mean[0].Value, l.Mean[0].Uncertainty, l.Ratio[2].Value, l.Ratio[2].Uncertainty)
	}
	for channel, s := range m.Steps[0] {
		fmt.Printf("step of channel %d: %.1f ± %.1f %%\n", channel, 100*s.Value, 100*s.Uncertainty)
	}
	// Output:
	// panel 1: red 20001 ± 2, blue over red 1.000 ± 0.0001
	// panel 2: red 20398 ± 2, blue over red 1.010 ± 0.0001
	// step of channel 0: 2.0 ± 0.1 %
	// step of channel 1: 1.9 ± 0.1 %
	// step of channel 2: 2.8 ± 0.1 %
}
