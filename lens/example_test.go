package lens_test

import (
	"encoding/json"
	"fmt"
	"log"

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
		log.Fatal(err)
	}
	const pitch = 5 * micrometre
	d, err := l.DepthOfField(4*unit.Metre, 2*pitch)
	if err != nil {
		log.Fatal(err)
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
		log.Fatal(err)
	}
	farShore := 900 * unit.Metre
	focus, n, err := l.FocusBetween(2*unit.Metre, farShore, 5*micrometre)
	fmt.Printf("focus at %.2f m, f/%.1f or narrower: %v\n", float64(focus), n, err)

	_, _, err = l.FocusBetween(farShore, 2*unit.Metre, 5*micrometre)
	fmt.Println(err)
	// Output:
	// focus at 3.99 m, f/3.2 or narrower: <nil>
	// lens: far limit 2 m: must be more than 900 m
}

// Close to a thing, the lens moves away from the sensor, and its aperture acts
// like a smaller one.
func ExampleLens_WorkingFNumber() {
	l, err := lens.New(lens.Spec{FocalLength: 40 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	for _, focus := range []unit.Length{4, 0.4, 0.08} {
		n, _ := l.WorkingFNumber(focus)
		m, _ := lens.Magnification(40*millimetre, focus)
		loss, _ := lens.Stops(2.8, n)
		fmt.Printf("%.2f m: magnification %.3f, f/%.2f, %.2f stops less light\n", float64(focus), m, n, loss)
	}
	// Output:
	// 4.00 m: magnification -0.010, f/2.83, 0.03 stops less light
	// 0.40 m: magnification -0.111, f/3.11, 0.30 stops less light
	// 0.08 m: magnification -1.000, f/5.60, 2.00 stops less light
}

func ExampleLens_RelativeIllumination() {
	l, err := lens.New(lens.Spec{FocalLength: 18 * millimetre, FNumber: 4})
	if err != nil {
		log.Fatal(err)
	}
	view, _ := l.AngleOfView(28 * millimetre)
	e, _ := l.RelativeIllumination(view / 2)
	stops, _ := l.FalloffStops(view / 2)
	fmt.Printf("%.1f° off the axis: %.0f %% of the light, %.1f stops down\n", float64(view/2/lens.Degree), 100*e, stops)
	// Output:
	// 37.9° off the axis: 39 % of the light, 1.4 stops down
}

// A wheelhouse window is to fill the width of a sensor of 36 mm.
func ExampleFocalLengthForView() {
	f, err := lens.FocalLengthForView(nil, 36*millimetre, 60*lens.Degree)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f mm\n", float64(f/millimetre))
	// Output: 31.2 mm
}

// The exact f-numbers from f/4 to f/5.6 in thirds of a stop.
func ExampleFNumberAt() {
	from, err := lens.Stops(1, 4)
	if err != nil {
		log.Fatal(err)
	}
	for third := range 4 {
		n, _ := lens.FNumberAt(from + float64(third)/3)
		fmt.Printf("f/%.3f\n", n)
	}
	// Output:
	// f/4.000
	// f/4.490
	// f/5.040
	// f/5.657
}

func ExampleTStop() {
	t, err := lens.TStop(2.8, 0.82)
	if err != nil {
		log.Fatal(err)
	}
	loss, _ := lens.Stops(2.8, t)
	fmt.Printf("T%.1f, %.2f stops less light\n", t, loss)

	// A lens that is marked T3.1 and known to be f/2.8.
	tau, err := lens.Transmission(2.8, 3.1)
	fmt.Printf("%.0f %%: %v\n", 100*tau, err)
	// Output:
	// T3.1, 0.29 stops less light
	// 82 %: <nil>
}

// A viewer 2 m from a screen 1.2 m wide sees what a sensor 36 mm wide records.
func ExampleCircleOfConfusion() {
	const arcMinute = lens.Degree / 60
	c, err := lens.CircleOfConfusion(arcMinute, 2*unit.Metre, 1200.0/36)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f µm\n", float64(c/micrometre))
	// Output:
	// 17.5 µm
}

// namedModel is a Model that JSON reads by its name, as it does projection.Form.
type namedModel struct{ evenAngles }

func (*namedModel) UnmarshalText(text []byte) error {
	if string(text) != "equidistant" {
		return fmt.Errorf("model %q: must be equidistant", text)
	}
	return nil
}

// A lens of the ferry from a file, lengths in metres and angles in radians.
func ExampleSpec() {
	var file struct {
		lens.Spec
		Model namedModel // shadows the interface in Spec
	}
	err := json.Unmarshal([]byte(`{"FocalLength": 0.008, "FNumber": 5.6, "Model": "equidistant", "MaxAngle": 1.7453}`), &file)
	if err != nil {
		log.Fatal(err)
	}
	spec := file.Spec
	spec.Model = file.Model
	l, err := lens.New(spec)
	if err != nil {
		log.Fatal(err)
	}
	circle, _ := l.ImageCircle()
	fmt.Printf("image circle %.2f mm\n", 1e3*float64(circle))
	// Output: image circle 27.92 mm
}
