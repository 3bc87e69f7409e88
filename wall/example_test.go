package wall_test

import (
	"fmt"
	"math"

	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The main wall of a ferry's wheelhouse: 50 by 12 panels of half a metre on an
// arc of 10 m, the mast of a fishing boat 4 m to the right of the middle.
func Example() {
	w, err := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200,
		Columns: 50, Rows: 12,
		Radius:   10 * unit.Metre,
		Position: r3.Vec{Y: 3.2, Z: -10},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	width, height := w.Size()
	pitch, _ := w.Pitch()
	fmt.Printf("%d × %d px of %.1f mm\n", width, height, 1000*float64(pitch))

	p, _ := w.Point(6600, 1200)
	column, row, _ := w.Panel(6600, 1200)
	fmt.Printf("the mast stands at (%.2f, %.2f, %.2f) m, on panel (%d, %d)\n", p.X, p.Y, p.Z, column, row)

	camera := r3.Vec{X: -1, Y: 1.7, Z: 2}
	x, y, ok := w.Pixel(camera, r3.Sub(p, camera))
	fmt.Printf("the camera meets it at %.1f, %.1f: %v\n", x, y, ok)
	// Output:
	// 10000 × 2400 px of 2.5 mm
	// the mast stands at (3.89, 3.20, -9.21) m, on panel (33, 6)
	// the camera meets it at 6600.0, 1200.0: true
}

// How many pixels of the wall fill a degree for the helmsman's eyes.
func ExampleView_PixelDensity() {
	w, _ := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200,
		Columns: 20, Rows: 10,
		Position: r3.Vec{Y: 2.5, Z: -5},
	})
	v, err := w.View(r3.Vec{Y: 1.7})
	if err != nil {
		fmt.Println(err)
		return
	}
	d, _ := v.PixelDensity(2000, 1000)
	fmt.Printf("in the middle %.1f × %.1f px a degree\n", d.X, d.Y)
	d, _ = v.PixelDensity(0, 1000)
	fmt.Printf("at the left end %.1f × %.1f\n", d.X, d.Y)
	least, greatest, _ := v.PixelDensityRange()
	fmt.Printf("across from %.1f to %.1f\n", least.X, greatest.X)
	// Output:
	// in the middle 35.4 × 35.8 px a degree
	// at the left end 69.8 × 50.0
	// across from 34.9 to 71.0
}

// The window through which the left third of a flat wall shows the harbour.
// offaxis.Window(r), of package projection/offaxis, takes it from here to a
// frustum.
func ExampleWall_Rectangle() {
	w, _ := wall.New(wall.Spec{
		PanelWidth: 1 * unit.Metre, PanelHeight: 1 * unit.Metre,
		PanelPixelsX: 400, PanelPixelsY: 400,
		Columns: 9, Rows: 4,
		Position: r3.Vec{Y: 2.5, Z: -5},
	})
	r, ok := w.Rectangle(0, 0, 1200, 1600)
	fmt.Printf("%.1f %.1f %.1f %v\n", r.LowerLeft, r.LowerRight, r.UpperLeft, ok)
	// Output: {-4.5 0.5 -5.0} {-1.5 0.5 -5.0} {-4.5 4.5 -5.0} true
}

// Which columns of a hollow wall the camera sees from beside it, and how far off
// the panels' axis, where real panels change colour.
func ExampleView_Sight() {
	w, _ := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200,
		Columns: 36, Rows: 12,
		Radius:   4 * unit.Metre,
		Position: r3.Vec{Y: 3, Z: -4},
	})
	v, err := w.View(r3.Vec{X: 4, Y: 1.7, Z: 5})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, column := range []float64{2, 9, 18, 25, 34} {
		x := 200*column + 100
		why := v.Sight(x, 1200)
		fmt.Printf("column %.0f: %v", column, why)
		if why == wall.Seen {
			dir, _ := v.Unproject(x, 1200)
			n, _ := w.Normal(x, 1200)
			fmt.Printf(", %.0f° off the axis", math.Acos(-r3.Dot(dir, n))*180/math.Pi)
		}
		fmt.Println()
	}
	// Output:
	// column 2: seen, 46° off the axis
	// column 9: seen, 16° off the axis
	// column 18: seen, 27° off the axis
	// column 25: hidden by a panel
	// column 34: seen from behind
}

// How near the helmsman may stand before sharp eyes see pixels.
func ExampleViewingDistance() {
	d, _ := wall.ViewingDistance(2.6*unit.Milli*unit.Metre, wall.Degree/60)
	fmt.Printf("%.2f m\n", float64(d))
	// Output: 8.94 m
}

// What feeds a wall of 10000 × 2400 px at 24 frames a second and 30 bit a pixel.
func ExampleLinksNeeded() {
	rate, _ := wall.PayloadRate(10000, 2400, 30, 24, 1)
	for _, link := range wall.Links() {
		capacity, ok := link.Capacity(24, 1)
		if !ok || link.Width < 3840 {
			continue
		}
		n, filled, err := wall.LinksNeeded(rate, capacity)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s, %.2f Gbit/s: %d links, filled to %.0f %%\n", link.Standard, link.LineRate/1e9, n, 100*filled)
	}
	// Output:
	// SMPTE ST 2081-10, 5.94 Gbit/s: 5 links, filled to 87 %
	// SMPTE ST 2082-10, 11.88 Gbit/s: 3 links, filled to 72 %
}

// Which panels hang on which link: a wall of 10000 × 2400 px, 24 frames a second and
// 30 bit a pixel. Freely split, three links would do.
func ExampleWall_Split() {
	w, err := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200, Columns: 50, Rows: 12,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, link := range wall.Links() {
		limit, ok := link.Limit(30, 24, 1)
		if !ok || link.Width < 3840 {
			continue
		}
		for _, c := range link.Rates() {
			if c.Num == 24 {
				fmt.Printf("%s: %d × %d px of %d × %d, %d rasters a frame\n", link.Standard, link.Width, link.Height, c.TotalX, c.TotalY, c.Rasters)
			}
		}
		split, err := w.Split(limit, 24, 1)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%d links; any cut needs at least %d\n", len(split.Parts), split.AtLeast)
		for i, p := range split.Parts[:3] {
			fmt.Printf("link %d: columns %d to %d, rows %d to %d\n", i+1, p.Column+1, p.Column+p.Columns, p.Row+1, p.Row+p.Rows)
		}
	}
	// Output:
	// SMPTE ST 2082-10: 3840 × 2160 px of 5500 × 2250, 2 rasters a frame
	// 6 links; any cut needs at least 4
	// link 1: columns 1 to 16, rows 1 to 6
	// link 2: columns 17 to 33, rows 1 to 6
	// link 3: columns 34 to 50, rows 1 to 6
}

// setCamera is the camera on the set, a pinhole: 35 mm, 4096 by 2160 photosites of 6 µm,
// looking ahead. A camera of package projection has these two methods too.
type setCamera struct{}

const focal = 35 / 0.006 // photosites

func (setCamera) Project(dir r3.Vec) (x, y float64, ok bool) {
	return 2048 - focal*dir.X/dir.Z, 1080 + focal*dir.Y/dir.Z, dir.Z < 0
}

func (setCamera) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	return r3.Unit(r3.Vec{X: x - 2048, Y: 1080 - y, Z: -focal}), true
}

// The pixel grid of the wheelhouse's curved wall in the middle of the camera's
// picture, and at its right edge, where the wall turns towards the camera.
func ExampleView_ImageGrid() {
	w, err := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200,
		Columns: 50, Rows: 12,
		Radius:   10 * unit.Metre,
		Position: r3.Vec{Y: 3.2, Z: -10},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	var camera setCamera
	eye := r3.Vec{Y: 1.7, Z: 1}
	v, err := w.View(eye)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, photosite := range []float64{2048, 4090} {
		// From the picture to the wall: a ray, and the wall pixel that it meets.
		dir, _ := camera.Unproject(photosite, 1080)
		x, y, ok := w.Pixel(eye, dir)
		if !ok {
			fmt.Println("no wall there")
			continue
		}
		// And back: the pixel grid around it, as the camera samples it.
		g, why := v.ImageGrid(camera, x, y)
		if why != wall.Seen {
			fmt.Println(why)
			continue
		}
		fmt.Printf("wall pixel (%.0f, %.0f): pixels (%.2f, %.2f) and (%.2f, %.2f) photosites apart\n",
			x, y, g.Across.X, g.Across.Y, g.Down.X, g.Down.Y)
	}
	// Output:
	// wall pixel (5000, 1800): pixels (1.33, 0.00) and (0.00, 1.33) photosites apart
	// wall pixel (6479, 1800): pixels (1.50, 0.00) and (0.00, 1.41) photosites apart
}
