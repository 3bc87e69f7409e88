package transfer_test

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"

	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"gonum.org/v1/gonum/unit"
)

const (
	millimetre = unit.Milli * unit.Metre
	micrometre = unit.Micro * unit.Metre
	green      = 0.55 * micrometre
)

// A plate camera of the ferry at its Nyquist frequency, on the thing in focus and
// on one that is nearer: how much contrast is left, and what takes it?
func Example() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 4})
	if err != nil {
		log.Fatal(err)
	}
	const pitch = 3 * micrometre
	system, err := transfer.NewSystem(transfer.SystemSpec{
		Lens: l, Wavelength: green, Pitch: pitch,
		LowPass:   transfer.LowPass{Spots: transfer.FourSpots, Separation: 0.7 * pitch},
		Motion:    transfer.Motion{Length: 2 * micrometre}, // the turn of the ferry, across the picture
		Vibration: 0.3 * micrometre,
	})
	if err != nil {
		log.Fatal(err)
	}
	nyquist, _ := system.PixelFrequency(2, 1)
	for _, object := range []unit.Length{8, 5} {
		left, _ := system.Losses(nyquist, 0, 8, object)
		otf, _ := system.OTF(nyquist, 0, 8, object)
		end, _ := system.FrequencyAt(0.2, 0, 8, object)
		fmt.Printf("at %g m: diffraction %.2f, defocus %.2f, photosites %.2f, filter %.2f, turn %.2f, engine %.2f\n", float64(object),
			left.Diffraction, left.Defocus, left.Photosite, left.LowPass, left.Motion, left.Vibration)
		fmt.Printf("  %.2f at %.0f lp/mm, most taken by the %v; 0.2 at %.0f lp/mm\n", otf, nyquist, left.Least(), end)
	}
	// Output:
	// at 8 m: diffraction 0.54, defocus 1.00, photosites 0.64, filter 0.45, turn 0.83, engine 0.95
	//   0.12 at 167 lp/mm, most taken by the low-pass filter; 0.2 at 147 lp/mm
	// at 5 m: diffraction 0.54, defocus 0.91, photosites 0.64, filter 0.45, turn 0.83, engine 0.95
	//   0.11 at 167 lp/mm, most taken by the low-pass filter; 0.2 at 143 lp/mm
}

// What is sharp, by the contrast of detail four photosites in period, and by the
// rule of thumb of a blur of two photosites?
func ExampleSystem_Depth() {
	for _, n := range []float64{2.8, 8, 16} {
		l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: n})
		if err != nil {
			log.Fatal(err)
		}
		const pitch = 3 * micrometre
		system, err := transfer.NewSystem(transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: pitch})
		if err != nil {
			log.Fatal(err)
		}
		detail := transfer.Detail{Contrast: 0.4}
		detail.LinePairsPerMM, _ = system.PixelFrequency(4, 1)
		depth, err := system.Depth(4*unit.Metre, detail)
		if err != nil {
			log.Fatal(err)
		}
		rule, err := l.DepthOfField(4*unit.Metre, 2*pitch)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("f/%g: by geometry %.2f m to %.2f m, ", n, float64(rule.Near), float64(rule.Far))
		if depth.OK {
			fmt.Printf("by contrast %.2f m to %.2f m\n", float64(depth.Field.Near), float64(depth.Field.Far))
		} else {
			fmt.Printf("by contrast nowhere: %.2f is left in focus, %v takes most\n", depth.InFocus, depth.Limit)
		}
	}
	// Output:
	// f/2.8: by geometry 2.73 m to 7.48 m, by contrast 2.31 m to 14.81 m
	// f/8: by geometry 1.72 m to +Inf m, by contrast 1.48 m to +Inf m
	// f/16: by geometry 1.09 m to +Inf m, by contrast nowhere: 0.14 is left in focus, diffraction takes most
}

// The rail of the deck at 2 m and the far shore: which focus and stop keep most of
// detail four photosites in period?
func ExampleSystem_BestSetting() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	system, err := transfer.NewSystem(transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 3 * micrometre})
	if err != nil {
		log.Fatal(err)
	}
	detail := transfer.Detail{Contrast: 0.4}
	detail.LinePairsPerMM, _ = system.PixelFrequency(4, 1)
	for _, rail := range []unit.Length{2, 1} {
		set, err := system.BestSetting(rail, 900*unit.Metre, detail, 2.8, 22)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("from %g m: focus at %.2f m, f/%.1f, contrast %.2f", float64(rail), float64(set.Focus), set.FNumber, set.Contrast)
		if !set.OK {
			fmt.Printf(", %.2f short, %v takes most", set.Shortfall, set.Limit)
		}
		fmt.Println()
	}
	// Output:
	// from 2 m: focus at 3.99 m, f/5.8, contrast 0.50
	// from 1 m: focus at 2.00 m, f/8.3, contrast 0.37, 0.03 short, diffraction takes most
}

// What is left of the detail when an editor pushes into a plate of 12288 photosites
// that is delivered 3840 px wide?
func ExampleSystem_PushIn() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 5.6})
	if err != nil {
		log.Fatal(err)
	}
	system, err := transfer.NewSystem(transfer.SystemSpec{
		Lens: l, Wavelength: green, Pitch: 3 * micrometre, Aperture: transfer.RoundAperture,
	})
	if err != nil {
		log.Fatal(err)
	}
	steps, err := system.PushIn(transfer.PushInSpec{
		PhotositesPerPixel: 12288. / 3840, Factors: []float64{1, 2, 3, 4}, Focus: 8 * unit.Metre, Object: 8 * unit.Metre,
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range steps {
		fmt.Printf("%g×: %.2f photosites a pixel, %.2f to %.2f at Nyquist, %.2f to %.2f at half\n", s.Factor, s.PhotositesPerPixel,
			s.Nyquist.Least, s.Nyquist.Most, s.HalfNyquist.Least, s.HalfNyquist.Most)
	}
	// Output:
	// 1×: 3.20 photosites a pixel, 0.77 to 0.77 at Nyquist, 0.89 to 0.89 at half
	// 2×: 1.60 photosites a pixel, 0.53 to 0.53 at Nyquist, 0.77 to 0.77 at half
	// 3×: 1.07 photosites a pixel, 0.00 to 0.31 at Nyquist, 0.65 to 0.65 at half
	// 4×: 0.80 photosites a pixel, 0.00 to 0.00 at Nyquist, 0.53 to 0.53 at half
}

// Pixels 2.8 mm apart on a wall 7 m away, seen by a camera that is focused
// nearer: how much of their grid reaches the sensor, where it could beat with
// the photosites?
func ExampleSystem_OTF() {
	l, err := lens.New(lens.Spec{FocalLength: 40 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	system, err := transfer.NewSystem(transfer.SystemSpec{Lens: l, Wavelength: green})
	if err != nil {
		log.Fatal(err)
	}
	const wall = 7 * unit.Metre
	for _, focus := range []unit.Length{7, 6.5, 6, 5, 4} {
		grid, _ := system.WallFrequency(1, 2.8*millimetre, focus, wall)
		contrast, _ := system.OTF(grid, 0, focus, wall)
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

// A slanted edge in the picture of a test chart, here drawn with a spread of half a
// pixel: which contrast did the camera leave, and how sure is that?
func ExampleMeasureEdge() {
	const width, height, full = 120, 160, 65535
	chart := transfer.Plane[uint16]{Pix: make([]uint16, width*height), Width: width, Height: height}
	rng := rand.New(rand.NewPCG(1, 2))
	for y := range height {
		edge := 60 + math.Tan(5*math.Pi/180)*(float64(y)+0.5-height/2)
		for x := range width {
			d := (float64(x) + 0.5 - edge) * math.Cos(5*math.Pi/180)
			light := 0.1 + 0.6*0.5*math.Erfc(-d/0.5/math.Sqrt2) + 0.003*rng.NormFloat64()
			chart.Pix[y*width+x] = uint16(light * full)
		}
	}
	// The samples are linear light, so no curve is given.
	edge, err := transfer.MeasureEdge(chart, transfer.EdgeSpec{})
	if err != nil {
		log.Fatal(err)
	}
	half, _ := edge.FrequencyAt(0.5)
	fmt.Printf("MTF50 %.3f ± %.3f cycles per pixel, %.0f lp/mm on photosites of 4.5 µm\n", half.Value, half.Uncertainty, half.Value/0.0045)
	nyquist, _ := edge.At(0.5)
	fmt.Printf("at the Nyquist frequency %.3f ± %.3f, across %.1f°\n", nyquist.MTF.Value, nyquist.MTF.Uncertainty, float64(edge.Direction)*180/math.Pi)
	// Output:
	// MTF50 0.372 ± 0.002 cycles per pixel, 83 lp/mm on photosites of 4.5 µm
	// at the Nyquist frequency 0.284 ± 0.005, across -5.0°
}
