package lens_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// evenAngles is the model of an equidistant fisheye: the image height grows in
// proportion to the field angle.
type evenAngles struct{}

func (evenAngles) Radius(theta unit.Angle) (float64, bool) {
	return float64(theta), theta >= 0 && theta <= math.Pi
}
func (evenAngles) Angle(r float64) (unit.Angle, bool)     { return unit.Angle(r), r >= 0 && r <= math.Pi }
func (evenAngles) Slope(theta unit.Angle) (float64, bool) { return 1, theta >= 0 && theta <= math.Pi }
func (evenAngles) MaxAngle() unit.Angle                   { return math.Pi }

// A fisheye of 200° on the roof of the ferry's wheelhouse, in front of a sensor
// of 36 mm by 24 mm that is lowered to keep the harbour and give up some sky.
func Example() {
	l, err := lens.New(lens.Spec{
		FocalLength: 8 * unit.Milli * unit.Metre,
		FNumber:     5.6,
		Model:       evenAngles{},
		MaxAngle:    100 * lens.Degree,
	})
	if err != nil {
		log.Fatal(err)
	}
	const mm = unit.Milli * unit.Metre
	circle, _ := l.ImageCircle()
	fmt.Printf("image circle %.2f mm\n", float64(circle/mm))

	fit, err := l.CircleFit(lens.Format{Width: 36 * mm, Height: 24 * mm, OffsetY: 1.5 * mm})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("it %v, and the worst corner is %.2f mm outside\n", fit.Limit, -float64(fit.Corner/mm))
	for i, name := range []string{"top left", "top right", "bottom right", "bottom left"} {
		c := fit.Corners[i]
		fmt.Printf("  %s (%.1f, %.1f) mm: %.2f mm\n", name, float64(c.X/mm), float64(c.Y/mm), float64(c.Margin/mm))
	}
	fmt.Printf("margins: width %.2f mm, height %.2f mm; %.1f %% of the sensor is lit\n", float64(fit.Width/mm), float64(fit.Height/mm), 100*fit.Area)

	view, ok := l.AngleOfView(24 * mm)
	fmt.Printf("24 mm across the middle take in %.1f°: %v\n", float64(view/lens.Degree), ok)
	_, ok = l.AngleOfView(36 * mm)
	fmt.Printf("36 mm lie within the circle: %v\n", ok)
	// Output:
	// image circle 27.93 mm
	// it cuts the width, and the worst corner is 8.54 mm outside
	//   top left (-18.0, -10.5) mm: -6.88 mm
	//   top right (18.0, -10.5) mm: -6.88 mm
	//   bottom right (18.0, 13.5) mm: -8.54 mm
	//   bottom left (-18.0, 13.5) mm: -8.54 mm
	// margins: width -4.04 mm, height 0.46 mm; 65.6 % of the sensor is lit
	// 24 mm across the middle take in 171.9°: true
	// 36 mm lie within the circle: false
}
