package alias_test

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// From farther away the grid of the harbour wall aliases in a 35 mm lens, in red
// and blue sooner than in the whole.
func ExamplePredict() {
	pitch, focal, photosite := 2.8*unit.Milli*unit.Metre, 35*unit.Milli*unit.Metre, 6*unit.Micro*unit.Metre
	for _, distance := range []unit.Length{5, 8.1, 15} {
		p, _ := wall.ImagePitch(pitch, distance, focal, photosite)
		for _, channel := range []alias.Sampling{alias.EveryPhotosite, alias.RedOrBluePhotosites} {
			all, err := alias.Predict(alias.Spec{
				Grid:       wall.Grid{Across: r2.Vec{X: p}, Down: r2.Vec{Y: p}},
				Emitters:   alias.Emitters{Width: 0.4, Height: 0.5},
				Photosites: alias.Photosites{Width: 0.9, Sampling: channel},
				Order:      3,
				Transfer:   func(nu r2.Vec) float64 { return math.Exp(-2 * r2.Norm2(nu)) },
			})
			if err != nil {
				fmt.Println(err)
				return
			}
			a := all[0]
			period, _ := a.Period()
			fmt.Printf("%.1f m, %v: %v, every %.1f photosites, contrast %.2f\n", float64(distance), channel, a.Kind, period, a.Contrast)
		}
	}
	// Output:
	// 5.0 m, every photosite: resolved, every 3.3 photosites, contrast 1.11
	// 5.0 m, red or blue photosites: aliased, every 5.1 photosites, contrast 1.11
	// 8.1 m, every photosite: beat, every 80.3 photosites, contrast 0.66
	// 8.1 m, red or blue photosites: aliased, every 160.7 photosites, contrast 0.66
	// 15.0 m, every photosite: aliased, every 11.9 photosites, contrast 0.06
	// 15.0 m, red or blue photosites: aliased, every 11.9 photosites, contrast 0.06
}

// The raw picture of a mosaic before an orange sunset: brightness, and colour on its
// carriers. The photosites resolve the grid; the colours do not.
func ExamplePredict_mosaic() {
	all, err := alias.Predict(alias.Spec{
		Grid:     wall.Grid{Across: r2.Vec{X: 3.2}, Down: r2.Vec{Y: 3.2}},
		Emitters: alias.Emitters{Width: 0.5, Height: 0.5},
		Photosites: alias.Photosites{
			Width: 0.9, LowPassX: 0.6, LowPassY: 0.6,
			Sampling: alias.Mosaic, Response: alias.Response{Red: 1, Green: 0.55, Blue: 0.2},
		},
		Order: 1,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, a := range all {
		if a.Harmonic == [2]int{1, 0} {
			fmt.Printf("%v: %.3f cycles across, %.1f down, contrast %.2f, %v\n", a.Carrier, math.Abs(a.Frequency.X), math.Abs(a.Frequency.Y), a.Contrast, a.Kind)
		}
	}
	// Output:
	// luma: 0.312 cycles across, 0.0 down, contrast 0.93, resolved
	// chroma across: 0.188 cycles across, 0.0 down, contrast 0.32, aliased
	// chroma down: 0.312 cycles across, 0.5 down, contrast 0.32, aliased
	// chroma on the diagonal: 0.188 cycles across, 0.5 down, contrast 0.04, aliased
}

// Who sees an alias of 20 photosites: a viewer at the design distance, one before a
// push-in of 4, and one in a dark room before a dim display.
func ExampleViewer_Threshold() {
	for _, v := range []alias.Viewer{{}, {PhotositesPerDegree: 15}, {Luminance: 1}} {
		contrast, err := v.Threshold(1. / 20)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("from %.2f %% contrast\n", 100*contrast)
	}
	// Output:
	// from 0.14 % contrast
	// from 0.14 % contrast
	// from 0.45 % contrast
}

// A stage with a wing at a right angle, panel by panel. The wing is seen aslant, where its
// pixels crowd along its rows: there the grid aliases most.
func ExampleNewScene() {
	panel := stage.PanelType{Width: 0.5 * unit.Metre, Height: 0.5 * unit.Metre, PixelsX: 192, PixelsY: 192}
	columns := make([]stage.Column, 16)
	for i := range columns {
		columns[i] = stage.Column{Panel: panel, Rows: 8}
	}
	columns[10].Turn = 90 * wall.Degree
	part, err := stage.Chain{Columns: columns, Position: r3.Vec{X: -3, Z: -5}}.Part()
	if err != nil {
		fmt.Println(err)
		return
	}
	var spec alias.SceneSpec
	for _, p := range part.Panels {
		w, err := p.Face.Wall(p.PixelsX, p.PixelsY)
		if err != nil {
			fmt.Println(err)
			return
		}
		spec.Surfaces = append(spec.Surfaces, alias.Surface{Wall: w, Emitters: alias.Emitters{Width: 0.5, Height: 0.5}})
	}
	spec.Viewer.Contrast = 0.01
	scene, err := alias.NewScene(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	shot := alias.Shot{
		Eye:        r3.Vec{Y: 1.7},
		Camera:     camera{axes: orient.FromAngles(0.2, 0, 0), focal: 4000, width: 4096, height: 2160},
		Photosites: alias.Photosites{Width: 0.9},
		Transfer:   func(nu r2.Vec, _ r3.Vec) float64 { return math.Exp(-8 * r2.Norm2(nu)) },
	}
	nodes, verdict, err := scene.Map(context.Background(), shot, alias.Frame{Columns: 64, Rows: 36})
	if err != nil {
		fmt.Println(err)
		return
	}
	safe := 0
	for _, n := range nodes {
		if n.Visibility <= 1 && !n.Incomplete {
			safe++
		}
	}
	worst := verdict.Worst
	period, _ := worst.Alias.Period()
	fmt.Printf("safe in %d of %d places; worst on panel %d: contrast %.2f, %v, every %.1f photosites\n",
		safe, verdict.Seen, worst.Surface, worst.Alias.Contrast, worst.Alias.Kind, period)
	// Output:
	// safe in 330 of 2304 places; worst on panel 115: contrast 0.21, beat, every 8.2 photosites
}

// The harbour wall from 9 m away through a soft lens, with a low-pass filter: its grid
// aliases. From 6.6 m on the photosites resolve it, and of its harmonics too little
// is left to see.
func ExampleScene_NearestSafe() {
	lit, _ := alias.LitWidth(0.25)
	w, err := wall.New(wall.Spec{
		PanelWidth: 0.5 * unit.Metre, PanelHeight: 0.5 * unit.Metre, PanelPixelsX: 192, PanelPixelsY: 192, Columns: 24, Rows: 8,
		Position: r3.Vec{Y: 2},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	scene, err := alias.NewScene(alias.SceneSpec{
		Surfaces: []alias.Surface{{Wall: w, Emitters: alias.Emitters{Width: lit, Height: lit}}},
		Viewer:   alias.Viewer{Contrast: 0.01},
		Order:    8,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	shot := func(distance float64) (alias.Shot, bool) {
		return alias.Shot{
			Eye:        r3.Vec{Y: 2, Z: distance},
			Camera:     camera{axes: orient.FromAngles(0, 0, 0), focal: 5800, width: 4096, height: 2160},
			Photosites: alias.Photosites{Width: 1, LowPassX: 0.7, LowPassY: 0.7},
			Transfer:   func(nu r2.Vec, _ r3.Vec) float64 { return math.Exp(-4 * r2.Norm2(nu)) },
		}, true
	}
	frame := alias.Frame{Columns: 5, Rows: 3}
	from9, _ := shot(9)
	_, verdict, err := scene.Map(context.Background(), from9, frame)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("from 9 m: safe %v, %v, contrast %.2f\n", verdict.Safe(), verdict.Worst.Alias.Kind, verdict.Worst.Alias.Contrast)
	nearest, err := scene.NearestSafe(context.Background(), alias.Search{Wanted: 9, Least: 2, Most: 9, Steps: 70}, frame, shot)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("safe %v from %.2f m\n", nearest.OK, nearest.Setting)
	// Output:
	// from 9 m: safe false, aliased, contrast 0.04
	// safe true from 6.61 m
}

// A line of a test recording, with fringes of 5 % every 12.5 photosites.
func ExampleMeasureFringes() {
	line := make([]float64, 1000)
	for i := range line {
		line[i] = 0.4 * (1 + 0.05*math.Sin(2*math.Pi*float64(i)/12.5))
	}
	r, err := alias.MeasureFringes(line)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f cycles per photosite, contrast %.3f\n", r.Frequency, r.Contrast)
	// Output: 0.080 cycles per photosite, contrast 0.050
}
