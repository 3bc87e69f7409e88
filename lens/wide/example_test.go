package wide_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/lens"
	"example.com/platewright/lens/wide"
	"gonum.org/v1/gonum/unit"
)

const millimetre = unit.Milli * unit.Metre

// A published fisheye of 170° at f/1.8, scaled to 8 mm, for a plate camera of the ferry:
// what its table says, beside the formulas for an ideal lens.
func Example() {
	spec, err := wide.Fisheye170(8 * millimetre)
	if err != nil {
		log.Fatal(err)
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	thin, err := lens.New(lens.Spec{FocalLength: w.FocalLength(), FNumber: spec.FNumber, Model: w})
	if err != nil {
		log.Fatal(err)
	}
	circle, _ := thin.ImageCircle()
	fmt.Printf("image circle %.2f mm\n", float64(circle/millimetre))
	onAxis, _ := w.Pupil(0)
	for _, deg := range []unit.Angle{0, 30, 60, 85} {
		r, _ := w.Radius(deg * lens.Degree)
		pupil, _ := w.Pupil(deg * lens.Degree)
		light, _ := w.RelativeIllumination(deg * lens.Degree)
		ideal, _ := thin.RelativeIllumination(deg * lens.Degree)
		fmt.Printf("%2.0f°: %.2f mm from the axis, pupil %4.1f mm forward, %.3f of the light (%.3f with a flat pupil)\n",
			float64(deg), 8*r, float64((pupil-onAxis)/millimetre), light, ideal)
	}
	// Output:
	// image circle 19.24 mm
	//  0°: 0.00 mm from the axis, pupil  0.0 mm forward, 1.000 of the light (1.000 with a flat pupil)
	// 30°: 4.08 mm from the axis, pupil  3.0 mm forward, 0.993 of the light (0.919 with a flat pupil)
	// 60°: 7.56 mm from the axis, pupil 13.8 mm forward, 0.977 of the light (0.635 with a flat pupil)
	// 85°: 9.62 mm from the axis, pupil 33.8 mm forward, 0.963 of the light (0.167 with a flat pupil)
}

// A table of your own: a fisheye of 190°, measured on a turntable. Beyond 80° its barrel
// cuts into the light.
func ExampleNew() {
	spec := wide.Spec{FNumber: 4}
	for _, p := range [][4]float64{ // degrees, mm, mm in front of the sensor, light
		{0, 0, 92, 1}, {20, 2.78, 92.2, 0.99}, {40, 5.47, 92.9, 0.96}, {60, 7.99, 94.2, 0.91}, {80, 10.28, 96.3, 0.84}, {90, 11.31, 97.7, 0.62}, {95, 11.78, 98.5, 0.31},
	} {
		spec.Points = append(spec.Points, wide.Point{
			FieldAngle: unit.Angle(p[0]) * lens.Degree, ImageHeight: unit.Length(p[1]) * millimetre, Pupil: unit.Length(p[2]) * millimetre, Illumination: p[3],
		})
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("focal length %.2f mm, half the view %.0f°\n", float64(w.FocalLength()/millimetre), float64(w.MaxAngle()/lens.Degree))
	for _, deg := range []unit.Angle{75, 92} {
		e, _ := w.RelativeIllumination(deg * lens.Degree)
		fmt.Printf("%.0f°: %.1f stops down\n", float64(deg), -math.Log2(e))
	}
	// Output:
	// focal length 8.01 mm, half the view 95°
	// 75°: 0.2 stops down
	// 92°: 0.9 stops down
}

// A bollard is 0.6 m in front of the sensor and 0.8 m aside. Seen from the pupil of the
// axis it would be elsewhere.
func ExampleLens_Sight() {
	spec, err := wide.Fisheye170(8 * millimetre)
	if err != nil {
		log.Fatal(err)
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	s, _ := w.Sight(0.6*unit.Metre, 0.8*unit.Metre)
	onAxis, _ := w.Pupil(0)
	fixed := math.Atan2(0.8, 0.6-float64(onAxis)) * 180 / math.Pi
	fmt.Printf("%.2f° from the axis, %.3f m from the pupil; from a fixed pupil %.2f°\n", float64(s.FieldAngle/lens.Degree), float64(s.Distance), fixed)
	// Output: 67.40° from the axis, 0.867 m from the pupil; from a fixed pupil 66.28°
}

// The taking camera on the stage sees an LED wall of 2.6 mm pitch at 5 m. How far off
// must its focus be for the grid to blur over one pixel, on the axis and at 45°?
func ExampleLens_FocusForWallBlur() {
	spec, err := wide.Retrofocus100(18 * millimetre)
	if err != nil {
		log.Fatal(err)
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	for _, deg := range []unit.Angle{0, 45} {
		theta := deg * lens.Degree
		// A flat wall square to the axis.
		wall := wide.Wall{Distance: 5 * unit.Metre / unit.Length(math.Cos(float64(theta))), Pitch: 2.6 * millimetre, Incidence: theta}
		f, err := w.FocusForWallBlur(theta, wall, 1)
		if err != nil {
			log.Fatal(err)
		}
		b, _ := w.WallBlur(theta, f.Near, wall)
		fmt.Printf("%2.0f°: wall at %.2f m, focus at %.2f m or nearer, or from %.1f m on; blur %.2f by %.2f pixels\n",
			float64(deg), float64(wall.Distance), float64(f.Near), float64(f.Beyond), b.Radial, b.Tangential)
	}
	// Output:
	//  0°: wall at 5.00 m, focus at 3.17 m or nearer, or from 11.8 m on; blur 1.00 by 1.00 pixels
	// 45°: wall at 7.07 m, focus at 4.54 m or nearer, or from 15.9 m on; blur 1.10 by 1.00 pixels
}

// An actor 2 m from the stage's camera, focused on, stands before things at 6 m. How
// do points of them blur at the edge of the picture?
func ExampleLens_Blur() {
	spec, err := wide.Fisheye170(8 * millimetre)
	if err != nil {
		log.Fatal(err)
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	for _, deg := range []unit.Angle{0, 45, 80} {
		b, _ := w.Blur(deg*lens.Degree, 2*unit.Metre, 6*unit.Metre)
		fmt.Printf("%2.0f°: %.1f µm towards the axis, %.1f µm around it\n", float64(deg), float64(b.Radial)*1e6, float64(b.Tangential)*1e6)
	}
	// Output:
	//  0°: 11.9 µm towards the axis, 11.9 µm around it
	// 45°: 8.2 µm towards the axis, 13.0 µm around it
	// 80°: 2.9 µm towards the axis, 16.3 µm around it
}

// Two plate cameras are turned by 100° about one point. Their seam is at 50° in both. A
// rail passes at 2 m.
func ExampleLens_Seam() {
	spec, err := wide.Fisheye170(8 * millimetre)
	if err != nil {
		log.Fatal(err)
	}
	w, err := wide.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	for _, pivotAt := range []unit.Angle{0, 50, 60} {
		pivot, _ := w.Pupil(pivotAt * lens.Degree)
		s, err := w.Seam(wide.SeamSpec{Pivot: pivot, Turn: 100 * lens.Degree, Distance: 2 * unit.Metre, Pitch: 3 * unit.Micro * unit.Metre})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("about the pupil of %2.0f°: pupils %.1f mm apart, %.2f° and %.1f photosites of parallax\n",
			float64(pivotAt), float64(s.Baseline/millimetre), math.Abs(float64(s.Parallax/lens.Degree)), math.Abs(s.Photosites))
	}
	// Output:
	// about the pupil of  0°: pupils 13.9 mm apart, 0.40° and 14.9 photosites of parallax
	// about the pupil of 50°: pupils 0.0 mm apart, 0.00° and 0.0 photosites of parallax
	// about the pupil of 60°: pupils 7.4 mm apart, 0.21° and 7.9 photosites of parallax
}

// A zoom fisheye gives a circular picture at its short end. Its circle grows until
// 13 mm, and stays from there on.
func ExampleZoom_Views() {
	z, err := wide.NewZoom(wide.ZoomSpec{Model: equidistant, Points: []wide.ZoomPoint{
		{FocalLength: 7 * millimetre, ImageCircle: 22 * millimetre},
		{FocalLength: 13 * millimetre, ImageCircle: 41 * millimetre},
		{FocalLength: 15 * millimetre, ImageCircle: 41 * millimetre},
	}})
	if err != nil {
		log.Fatal(err)
	}
	v, err := z.Views(lens.Format{Width: 36 * millimetre, Height: 24 * millimetre}, 180*lens.Degree)
	if err != nil {
		log.Fatal(err)
	}
	for _, w := range []struct {
		name string
		view wide.ZoomView
	}{{"down", v.Down}, {"across", v.Across}, {"corner to corner", v.Corners}} {
		fmt.Printf("180° %s: %.2f mm, %v (%+.2f mm)\n", w.name, float64(w.view.FocalLength/millimetre), w.view.Limit, float64(w.view.Margin/millimetre))
	}
	l, err := z.At(13*millimetre, 5.6)
	if err != nil {
		log.Fatal(err)
	}
	fit, err := l.CircleFit(lens.Format{Width: 36 * millimetre, Height: 24 * millimetre})
	fmt.Printf("at 13 mm the circle %v, by %.2f mm: %v\n", fit.Limit, -float64(fit.Corner/millimetre), err)
	// Output:
	// 180° down: 7.64 mm, fits (+0.01 mm)
	// 180° across: 11.46 mm, fits (+0.06 mm)
	// 180° corner to corner: 13.77 mm, the image circle is too small (-1.13 mm)
	// at 13 mm the circle cuts the corners, by 1.13 mm: <nil>
}

// A frame of an overcast sky, here drawn: where is the axis of the lens, and how much
// light does it lose towards the rim? The result is part of a table for New.
func ExampleMeasureImageCircle() {
	const width, height = 320, 200
	sky := wide.Plane[uint16]{Pix: make([]uint16, width*height), Width: width, Height: height}
	for y := range height {
		for x := range width {
			r := math.Hypot(float64(x)+0.5-163, float64(y)+0.5-98) / 130 // over the radius
			light := (1 - 0.3*r*r) * math.Max(0, math.Min(1, (1-r)*130/3+0.5))
			sky.Pix[y*width+x] = uint16(1000 + 40000*light)
		}
	}
	circle, err := wide.MeasureImageCircle(sky)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("radius %.1f px, axis %+.1f px to the right and %+.1f px down\n", circle.Radius.Value, circle.OffsetX, circle.OffsetY)

	const pitch = 32e-6 * unit.Metre
	table := []wide.Point{{}, {FieldAngle: 0.5, ImageHeight: 1.4 * millimetre}, {FieldAngle: 1, ImageHeight: 2.7 * millimetre}, {FieldAngle: 1.5, ImageHeight: 4 * millimetre}}
	falloff, err := wide.MeasureFalloff(sky, wide.FalloffSpec{X: circle.X.Value, Y: circle.Y.Value, Pitch: pitch, Dark: 1000, Points: table})
	if err != nil {
		log.Fatal(err)
	}
	for _, p := range falloff.Points {
		fmt.Printf("%2.0f°: %.3f\n", float64(p.FieldAngle/lens.Degree), p.Illumination)
	}
	// Output:
	// radius 130.0 px, axis +3.0 px to the right and -2.0 px down
	//  0°: 1.000
	// 29°: 0.966
	// 57°: 0.874
	// 86°: 0.723
}
