package lens_test

import (
	"fmt"
	"math"

	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// evenAngles is a fisheye projection: the image height grows evenly with the
// field angle.
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
		Projection:  evenAngles{},
		MaxAngle:    100 * lens.Degree,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	const mm = unit.Milli * unit.Metre
	circle, _ := l.ImageCircle()
	fmt.Printf("image circle %.2f mm\n", float64(circle/mm))

	c, ok := l.Coverage(lens.Format{Width: 36 * mm, Height: 24 * mm, OffsetY: 1.5 * mm})
	if !ok {
		return
	}
	fmt.Printf("margins: corner %.2f mm, width %.2f mm, height %.2f mm\n", float64(c.Corner/mm), float64(c.Width/mm), float64(c.Height/mm))
	fmt.Printf("%.1f %% of the sensor is lit\n", 100*c.Area)

	view, ok := l.AngleOfView(24 * mm)
	fmt.Printf("24 mm across the middle take in %.1f°: %v\n", float64(view/lens.Degree), ok)
	_, ok = l.AngleOfView(36 * mm)
	fmt.Printf("36 mm lie within the circle: %v\n", ok)
	// Output:
	// image circle 27.93 mm
	// margins: corner -8.54 mm, width -4.04 mm, height 0.46 mm
	// 65.6 % of the sensor is lit
	// 24 mm across the middle take in 171.9°: true
	// 36 mm lie within the circle: false
}
