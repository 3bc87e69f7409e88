package lens_test

import (
	"fmt"

	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

const (
	millimetre = unit.Milli * unit.Metre
	micrometre = unit.Micro * unit.Metre
)

// The camera on the stage stands 4 m from the helmsman of the ferry, whose
// wheelhouse windows look out on LED walls 7 m away: what is sharp?
func ExampleLens_DepthOfField() {
	l, err := lens.New(lens.Spec{FocalLength: 40 * millimetre, FNumber: 2.8})
	if err != nil {
		fmt.Println(err)
		return
	}
	const pitch = 5 * micrometre
	d, ok := l.DepthOfField(4*unit.Metre, 2*pitch)
	if !ok {
		return
	}
	fmt.Printf("sharp from %.2f m to %.2f m, over %.2f m\n", float64(d.Near), float64(d.Far), float64(d.Total))
	wall, _ := l.Blur(4*unit.Metre, 7*unit.Metre)
	fmt.Printf("a pixel of the wall blurs to %.0f µm\n", float64(wall/micrometre))
	// Output:
	// sharp from 3.74 m to 4.30 m, over 0.56 m
	// a pixel of the wall blurs to 62 µm
}

// The deck of the ferry is to be sharp from the rail at 2 m to the far shore.
func ExampleLens_FocusBetween() {
	l, err := lens.New(lens.Spec{FocalLength: 8 * millimetre, FNumber: 4})
	if err != nil {
		fmt.Println(err)
		return
	}
	farShore := 900 * unit.Metre
	focus, n, ok := l.FocusBetween(2*unit.Metre, farShore, 5*micrometre)
	fmt.Printf("focus at %.2f m, f/%.1f or narrower: %v\n", float64(focus), n, ok)
	// Output:
	// focus at 3.99 m, f/3.2 or narrower: true
}

// Pixels 2.8 mm apart on a wall 7 m away, seen by a camera that is focused
// nearer: how much of their grid reaches the sensor, where it could beat with
// the photosites?
func ExampleLens_OTF() {
	l, err := lens.New(lens.Spec{FocalLength: 40 * millimetre, FNumber: 2.8})
	if err != nil {
		fmt.Println(err)
		return
	}
	const wall, pitch = 7 * unit.Metre, 2.8 * millimetre
	for _, focus := range []unit.Length{7, 6.5, 6, 5, 4} {
		// On the sensor the grid is as small as the image at this focus is near.
		image, _ := lens.ImageDistance(40*millimetre, focus)
		grid := 1 / (float64(pitch/millimetre) * float64(image/wall))
		contrast, _ := l.OTF(grid, 0.55*micrometre, focus, wall)
		fmt.Printf("focused at %.1f m: %.0f lp/mm, contrast %+.2f\n", float64(focus), grid, contrast)
	}
	// Output:
	// focused at 7.0 m: 62 lp/mm, contrast +0.88
	// focused at 6.5 m: 62 lp/mm, contrast +0.75
	// focused at 6.0 m: 62 lp/mm, contrast +0.38
	// focused at 5.0 m: 62 lp/mm, contrast -0.09
	// focused at 4.0 m: 62 lp/mm, contrast -0.02
}

func ExampleImageDistance() {
	image, err := lens.ImageDistance(40*millimetre, 4*unit.Metre)
	if err != nil {
		fmt.Println(err)
		return
	}
	m, _ := lens.Magnification(40*millimetre, 4*unit.Metre)
	fmt.Printf("%.3f mm, magnification %.4f\n", float64(image/millimetre), m)

	_, err = lens.ImageDistance(40*millimetre, -4*unit.Metre)
	fmt.Println(err)
	// Output:
	// 40.404 mm, magnification -0.0101
	// lens: object distance -4 m: must be more than 0 m
}

func ExampleLens_RelativeIllumination() {
	l, err := lens.New(lens.Spec{FocalLength: 18 * millimetre, FNumber: 4})
	if err != nil {
		fmt.Println(err)
		return
	}
	view, _ := l.AngleOfView(28 * millimetre)
	e, _ := l.RelativeIllumination(view / 2)
	stops, _ := l.FalloffStops(view / 2)
	fmt.Printf("%.1f° off the axis: %.0f %% of the light, %.1f stops down\n", float64(view/2/lens.Degree), 100*e, stops)
	// Output:
	// 37.9° off the axis: 39 % of the light, 1.4 stops down
}

func ExampleDiffractionMTF() {
	const wave, n = 0.55 * micrometre, 11.0
	ring, _ := lens.AiryRadius(wave, n)
	cutoff, err := lens.CutoffFrequency(wave, n)
	if err != nil {
		fmt.Println(err)
		return
	}
	m, _ := lens.DiffractionMTF(80 / cutoff)
	fmt.Printf("first dark ring %.1f µm, cutoff %.0f lp/mm, contrast at 80 lp/mm %.2f\n", float64(ring/micrometre), cutoff, m)
	// Output:
	// first dark ring 7.4 µm, cutoff 165 lp/mm, contrast at 80 lp/mm 0.41
}

func ExampleTStop() {
	t, err := lens.TStop(2.8, 0.82)
	if err != nil {
		fmt.Println(err)
		return
	}
	loss, _ := lens.Stops(2.8, t)
	fmt.Printf("T%.1f, %.2f stops less light\n", t, loss)
	// Output:
	// T3.1, 0.29 stops less light
}

// A viewer 2 m from a screen 1.2 m wide sees what a sensor 36 mm wide records.
func ExampleCircleOfConfusion() {
	const arcMinute = lens.Degree / 60
	c, err := lens.CircleOfConfusion(arcMinute, 2*unit.Metre, 1200.0/36)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f µm\n", float64(c/micrometre))
	// Output:
	// 17.5 µm
}
