package lens_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

var infinity = unit.Length(math.Inf(1))

// The mount of a plate camera holds its sensor 10 µm too far back. How far is the
// focus, set to infinity, and how exact must the mount be?
func ExampleLens_ActualFocus() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	actual, _ := l.ActualFocus(infinity, 10*micrometre)
	_, ok := l.ActualFocus(infinity, -10*micrometre)
	fmt.Printf("10 µm too far back: focused at %.1f m; too far in front: anything sharp %v\n", float64(actual), ok)

	const photosite = 3 * micrometre
	room, err := l.DepthOfFocus(infinity, 2*photosite)
	fmt.Printf("two photosites of blur are ± %.1f µm: %v\n", float64(room/micrometre), err)
	// Output:
	// 10 µm too far back: focused at 14.4 m; too far in front: anything sharp false
	// two photosites of blur are ± 16.8 µm: <nil>
}

// A lens was calibrated at infinity, and is focused on the rail of the ferry at 3 m.
// By how many photosites of 3 µm is the rim of its image, at 17.2 mm, off?
func ExampleLens_Breathing() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	scale, _ := l.Breathing(infinity, 3*unit.Metre)
	rim := 17.2 * millimetre * unit.Length(scale-1)
	fmt.Printf("%.2f %% larger: %.0f photosites\n", 100*(scale-1), float64(rim/(3*micrometre)))
	// Output: 0.40 % larger: 23 photosites
}

// A tape from the sensor mark to the rail reads 1.50 m. The entrance pupil is 118 mm
// in front of the sensor.
func ExampleLens_FocusFromMark() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 2.8})
	if err != nil {
		log.Fatal(err)
	}
	const pupil = 118 * millimetre
	focus, _ := l.FocusFromMark(1.50*unit.Metre, pupil)
	depth, err := l.DepthOfField(focus, 6*micrometre)
	if err != nil {
		log.Fatal(err)
	}
	near, _ := l.FocusMark(depth.Near, pupil)
	far, _ := l.FocusMark(depth.Far, pupil)
	fmt.Printf("%.3f m from the pupil; sharp from %.2f m to %.2f m on the tape\n", float64(focus), float64(near), float64(far))
	// Output: 1.382 m from the pupil; sharp from 1.31 m to 1.76 m on the tape
}

// A filter is put between lens and sensor. The lens must be moved out by as much.
func ExamplePlateShift() {
	shift, err := lens.PlateShift(2*millimetre, 1.52)
	fmt.Printf("%.2f mm: %v\n", float64(shift/millimetre), err)
	// Output: 0.68 mm: <nil>
}

// What the glass of a lens and a filter of density 0.6 leave of the light, and the
// f-number for an exposure table.
func ExampleFilterTransmission() {
	glass, err := lens.Transmission(2.8, 3.1)
	if err != nil {
		log.Fatal(err)
	}
	filter, _ := lens.FilterTransmission(0.6)
	stops, _ := lens.FilterStops(0.6)
	t, _ := lens.TStop(2.8, glass*filter)
	fmt.Printf("the filter takes %.3f stops; with the glass %.1f %% are left: T%.2f\n", stops, 100*glass*filter, t)
	// Output: the filter takes 1.993 stops; with the glass 20.5 % are left: T6.19
}

// From mark to mark is a third of a stop, whatever the marks say.
func ExampleMarks() {
	marks, err := lens.Marks(3)
	if err != nil {
		log.Fatal(err)
	}
	for _, m := range marks[9:13] {
		byMark, _ := lens.Stops(m.Exact, m.Marked)
		fmt.Printf("f/%g is %.4f: the mark is off by %+.3f stops\n", m.Marked, m.Exact, byMark)
	}
	// Output:
	// f/2.8 is 2.8284: the mark is off by -0.029 stops
	// f/3.2 is 3.1748: the mark is off by +0.023 stops
	// f/3.5 is 3.5636: the mark is off by -0.052 stops
	// f/4 is 4.0000: the mark is off by +0.000 stops
}

// A sensor is lowered under a circle that is too small for it. What 16:9 picture is
// left, and what if it must stay in the middle of the sensor?
func ExampleLens_FreeWindow() {
	l, err := lens.New(lens.Spec{FocalLength: 12 * millimetre, FNumber: 4, ImageCircle: 34.4 * millimetre})
	if err != nil {
		log.Fatal(err)
	}
	sensor := lens.Format{Width: 36 * millimetre, Height: 24 * millimetre, OffsetY: 3 * millimetre}
	centred, err := l.CentredWindow(sensor, 16.0/9)
	if err != nil {
		log.Fatal(err)
	}
	free, _ := l.FreeWindow(sensor, 16.0/9)
	for _, w := range []lens.Format{centred, free} {
		fmt.Printf("%.2f × %.2f mm, %.2f mm below the axis\n", float64(w.Width/millimetre), float64(w.Height/millimetre), float64(w.OffsetY/millimetre))
	}
	// Output:
	// 27.07 × 15.23 mm, 3.00 mm below the axis
	// 29.98 × 16.86 mm, 0.00 mm below the axis
}
