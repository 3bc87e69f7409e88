package light_test

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// standing is a wall of 8 m × 4 m, 4 m in front of an actor whose eyes are at the
// origin, and a dusk picture on it: bright in the left third.
func standing() light.Panel {
	primaries := light.Primaries{{X: 0.69, Y: 0.30}, {X: 0.19, Y: 0.73}, {X: 0.14, Y: 0.06}}
	peak, _ := primaries.Peaks(light.Chromaticity{X: 0.3127, Y: 0.3290}, 1200)
	dusk := &light.Picture{Width: 300, Height: 150, Pixels: make([]float32, 3*300*150)}
	for i := range 300 * 150 {
		warm := [3]float32{0.1, 0.08, 0.07}
		if i%300 < 100 {
			warm = [3]float32{0.9, 0.6, 0.3}
		}
		copy(dusk.Pixels[3*i:], warm[:])
	}
	return light.Panel{
		Rectangle: wall.Rectangle{LowerLeft: r3.Vec{X: -4, Y: -1.5, Z: -4}, LowerRight: r3.Vec{X: 4, Y: -1.5, Z: -4}, UpperLeft: r3.Vec{X: -4, Y: 2.5, Z: -4}},
		Peak:      peak, Picture: dusk, Reflectance: 0.05,
	}
}

// How bright is the face, from where, and in which colour?
func ExampleScene_Cube() {
	s, err := light.New(light.Spec{Panels: []light.Panel{standing()}})
	if err != nil {
		fmt.Println(err)
		return
	}
	q, err := s.Cube(r3.Vec{})
	if err != nil {
		fmt.Println(err)
		return
	}
	front := q.Faces[5] // −Z, towards the wall
	fmt.Printf("face: %.0f lx, right to %.0f lx\n", front.RGB.Sum(), front.Error)
	fmt.Printf("from %.0f° to the left, vector to scalar %.1f\n", math.Atan2(-q.Vector.X, -q.Vector.Z)*180/math.Pi, q.VectorToScalar)
	if stops, ok := q.KeyToFill(); ok {
		fmt.Printf("key to fill %.1f stops\n", stops)
	} else {
		fmt.Println("no fill")
	}
	primaries := light.Primaries{{X: 0.69, Y: 0.30}, {X: 0.19, Y: 0.73}, {X: 0.14, Y: 0.06}}
	if xy, ok := primaries.Chromaticity(front.RGB); ok {
		fmt.Printf("colour x %.3f, y %.3f\n", xy.X, xy.Y)
	}
	if factor, ok := light.Drive(800, 250, front.RGB.Sum()); ok {
		fmt.Printf("for 800 lx with 250 lx of set light: wall by %+.1f stops\n", math.Log2(factor))
	}
	// Output:
	// face: 313 lx, right to 3 lx
	// from 21° to the left, vector to scalar 3.4
	// no fill
	// colour x 0.391, y 0.371
	// for 800 lx with 250 lx of set light: wall by +0.8 stops
}

// How bright is the floor along a line away from the wall, beside a car door?
func ExampleScene_Map() {
	door := []r3.Vec{{X: -3, Y: -1.5, Z: -2}, {X: 0, Y: -1.5, Z: -2}, {X: 0, Y: -0.3, Z: -2}, {X: -3, Y: -0.3, Z: -2}}
	s, err := light.New(light.Spec{Panels: []light.Panel{standing()}, Blockers: [][]r3.Vec{door}})
	if err != nil {
		fmt.Println(err)
		return
	}
	floor := wall.Rectangle{LowerLeft: r3.Vec{X: -2, Y: -1.5, Z: 2}, LowerRight: r3.Vec{X: 2, Y: -1.5, Z: 2}, UpperLeft: r3.Vec{X: -2, Y: -1.5, Z: -4}}
	lights, err := s.Map(context.Background(), floor, 2, 3)
	if err != nil {
		fmt.Println(err)
		return
	}
	for row := range 3 {
		fmt.Printf("%d m from the wall: %4.0f lx left, %4.0f lx right\n", 1+2*row, lights[2*row].RGB.Sum(), lights[2*row+1].RGB.Sum())
	}
	// Output:
	// 1 m from the wall:  387 lx left,  155 lx right
	// 3 m from the wall:   21 lx left,   73 lx right
	// 5 m from the wall:   57 lx left,   45 lx right
}

// A wing joins the wall at a right angle: what do they do to each other's blacks?
func ExampleScene_Mutual() {
	back := standing()
	wing := light.Panel{
		Rectangle: wall.Rectangle{LowerLeft: r3.Vec{X: 4, Y: -1.5, Z: -4}, LowerRight: r3.Vec{X: 4, Y: -1.5, Z: 0}, UpperLeft: r3.Vec{X: 4, Y: 2.5, Z: -4}},
		Peak:      light.RGB{300, 800, 100}, Reflectance: 0.05,
	}
	floor := light.Panel{
		Rectangle:   wall.Rectangle{LowerLeft: r3.Vec{X: -4, Y: -1.5}, LowerRight: r3.Vec{X: 4, Y: -1.5}, UpperLeft: r3.Vec{X: -4, Y: -1.5, Z: -4}},
		Reflectance: 0.3,
	}
	s, err := light.New(light.Spec{Panels: []light.Panel{back, wing, floor}})
	if err != nil {
		fmt.Println(err)
		return
	}
	setLight := func(point, normal r3.Vec) float64 { return 50 } // lx, the same everywhere
	patches, err := s.Mutual(context.Background(), 0.5, setLight)
	if err != nil {
		fmt.Println(err)
		return
	}
	var worst light.Patch
	for _, p := range patches {
		if p.Panel == 0 && p.Veil > worst.Veil {
			worst = p
		}
	}
	ratio, _ := light.Contrast(1200, 0.3, worst.Veil)
	fmt.Printf("at x %.2f m: %.0f lx from the walls, black at least %.0f cd/m², contrast %.0f to 1\n", (worst.Rectangle.LowerLeft.X+worst.Rectangle.LowerRight.X)/2, worst.RGB.Sum(), worst.Veil, ratio)
	// Output:
	// at x 3.75 m: 1759 lx from the walls, black at least 29 cd/m², contrast 42 to 1
}

// A ceiling meets the wall. Both show the same white: what step does the camera see?
func ExampleEmission_Toward() {
	e, err := light.NewEmission(light.EmissionSpec{
		Angles:     []unit.Angle{-90 * light.Degree, -60 * light.Degree, 0, 60 * light.Degree, 90 * light.Degree},
		Horizontal: []float64{0.3, 0.85, 1, 0.85, 0.3},
		Vertical:   []float64{0.2, 0.75, 1, 0.60, 0.1},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	back := wall.Rectangle{LowerLeft: r3.Vec{X: -4, Z: -4}, LowerRight: r3.Vec{X: 4, Z: -4}, UpperLeft: r3.Vec{X: -4, Y: 4, Z: -4}}
	ceiling := wall.Rectangle{LowerLeft: r3.Vec{X: -4, Y: 4, Z: -4}, LowerRight: r3.Vec{X: 4, Y: 4, Z: -4}, UpperLeft: r3.Vec{X: -4, Y: 4}}
	joint, eye := r3.Vec{Y: 4, Z: -4}, r3.Vec{Y: 1.5, Z: 3}
	b, ok1 := e.Toward(back, joint, eye)
	c, ok2 := e.Toward(ceiling, joint, eye)
	if !ok1 || !ok2 {
		fmt.Println("the camera does not see both")
		return
	}
	fmt.Printf("wall %.2f, ceiling %.2f of the luminance along the normal: a step of %+.2f stops\n", b, c, math.Log2(c/b))
	// Output:
	// wall 0.92, ceiling 0.43 of the luminance along the normal: a step of -1.10 stops
}

// How much light does a lit banner of three corners give, 2 m away?
func ExampleViewFactor() {
	f, err := light.ViewFactor(r3.Vec{}, r3.Vec{Z: -1}, r3.Vec{X: -1, Z: -2}, r3.Vec{X: 1, Z: -2}, r3.Vec{Y: 2, Z: -2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f: at 500 cd/m² it gives %.0f lx\n", f, math.Pi*500*f)
	// Output:
	// 0.115: at 500 cd/m² it gives 181 lx
}

// The light of a curved wall showing one picture.
func ExamplePanels() {
	w, err := wall.New(wall.Spec{PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 20, PanelPixelsY: 20, Columns: 20, Rows: 8, Radius: 5, Position: r3.Vec{Z: -5}})
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := light.New(light.Spec{Panels: light.Panels(w, light.Panel{Peak: light.RGB{250, 700, 50}})})
	if err != nil {
		fmt.Println(err)
		return
	}
	l, err := s.Illuminance(r3.Vec{}, r3.Vec{Z: -1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f lx\n", l.RGB.Sum())
	// Output:
	// 1222 lx
}
