package stage_test

import (
	"fmt"
	"math"

	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// wheelhouse is the stage around a ferry's wheelhouse: an arc ahead, a wing at its
// right end, a ceiling of coarser panels, and the cabin.
func wheelhouse() stage.Spec {
	panel := wall.Spec{PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 200, PanelPixelsY: 200, Columns: 24, Rows: 10, Radius: 6, Position: r3.Vec{Y: 2.5, Z: -6}}
	arc, err := stage.FromWall("arc", panel, stage.Place{}, 180)
	check(err)
	coarse := wall.Spec{PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 96, PanelPixelsY: 96, Columns: 12, Rows: 8, Position: r3.Vec{Y: 4.5, Z: -1.5}, Elevation: 90 * wall.Degree}
	ceiling, err := stage.FromWall("ceiling", coarse, stage.Place{Raster: 1}, 140)
	check(err)
	fine := stage.PanelType{Width: 0.5, Height: 0.5, PixelsX: 200, PixelsY: 200, Power: 180}
	wing := stage.Chain{Name: "wing", Position: r3.Vec{X: 6, Z: -1}, Heading: 100 * wall.Degree, At: stage.Place{Raster: 0, X: 4800}}
	for range 6 {
		wing.Columns = append(wing.Columns, stage.Column{Panel: fine, Rows: 8})
	}
	wing.Columns[4].Turn = 15 * wall.Degree // the last two panels turn in
	right, err := wing.Part()
	check(err)
	cabin, err := stage.Box("cabin", r3.Vec{Y: 0.4, Z: 0.3}, r3.Vec{X: 2, Y: 0.8, Z: 1.2}, 0, 0, 0)
	check(err)
	return stage.Spec{
		Parts: []stage.Part{arc, ceiling, right}, Rasters: []stage.Raster{{6000, 2000}, {1152, 768}}, Blockers: []stage.Blocker{cabin},
	}
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}

// What hangs, and what a ray from the helmsman's eye meets.
func Example() {
	s, err := stage.New(wheelhouse())
	if err != nil {
		fmt.Println(err)
		return
	}
	parts, all := s.Totals()
	for _, t := range append(parts, all) {
		fmt.Printf("%-7s %3d panels, %5.2f Mpx, %5.1f m², %4.1f kW\n", t.Name, t.Panels, float64(t.Pixels)/1e6, float64(t.Area), float64(t.Power)/1000)
	}
	eye := r3.Vec{Y: 1.7}
	for _, dir := range []r3.Vec{{Z: -1}, {X: 1}, {Y: 1}, {Y: -1, Z: 0.5}, {Z: 1}} {
		h, ok := s.Hit(eye, dir)
		switch {
		case !ok:
			fmt.Println(dir, "meets nothing")
		case h.Surface == stage.AtBlocker:
			fmt.Printf("%v meets blocker %d after %.2f m\n", dir, h.Blocker, float64(h.Distance))
		default:
			fmt.Printf("%v meets the %v of part %d at (%.1f, %.1f) px of raster %d\n", dir, h.Surface, h.Part, h.X, h.Y, h.Raster)
		}
	}
	p, _, _ := s.Point(1, 576, 384)
	fmt.Println("light from the middle of the ceiling reaches the floor behind the cabin:", s.Clear(p, r3.Vec{Z: 1.5}))
	// Output:
	// arc     240 panels,  9.60 Mpx,  60.0 m², 43.2 kW
	// ceiling  96 panels,  0.88 Mpx,  24.0 m², 13.4 kW
	// wing     48 panels,  1.92 Mpx,  12.0 m²,  8.6 kW
	// all     384 panels, 12.40 Mpx,  96.0 m², 65.3 kW
	// {0 0 -1} meets the lit face of part 0 at (2400.0, 1320.0) px of raster 0
	// {1 0 0} meets the lit face of part 2 at (5206.2, 920.0) px of raster 0
	// {0 1 0} meets the lit face of part 1 at (576.0, 96.0) px of raster 1
	// {0 -1 0.5} meets blocker 0 after 1.01 m
	// {0 0 1} meets nothing
	// light from the middle of the ceiling reaches the floor behind the cabin: true
}

// A corner and a wedge by the angles at their joints.
func ExampleChain() {
	fine := stage.PanelType{Width: 0.5, Height: 1, PixelsX: 200, PixelsY: 400}
	coarse := stage.PanelType{Width: 1, Height: 1, PixelsX: 256, PixelsY: 256}
	part, err := stage.Chain{
		Name: "quay",
		Columns: []stage.Column{
			{Panel: fine, Rows: 3},
			{Panel: fine, Rows: 3, Turn: 90 * wall.Degree}, // a corner
			{Panel: coarse, Rows: 2, Turn: -30 * wall.Degree, Gap: 0.02 * unit.Metre, Base: 1}, // a wedge that points at the viewer
		},
		Position: r3.Vec{X: -2, Z: -3},
	}.Part()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, i := range []int{2, 5, 7} {
		p := part.Panels[i]
		fmt.Printf("panel %d: lower left corner (%.2f, %.2f, %.2f) m, pixel (%d, %d)\n", i, p.Face.LowerLeft.X, p.Face.LowerLeft.Y, p.Face.LowerLeft.Z, p.At.X, p.At.Y)
	}
	// Output:
	// panel 2: lower left corner (-2.00, 0.00, -3.00) m, pixel (0, 800)
	// panel 5: lower left corner (-1.50, 0.00, -3.00) m, pixel (200, 800)
	// panel 7: lower left corner (-1.49, 1.00, -2.48) m, pixel (400, 944)
}

// The raster of the arc and the wing as package projection/warp takes it: where the
// helmsman's eye finds a pixel, and what it cannot see.
func ExampleStage_View() {
	s, err := stage.New(wheelhouse())
	check(err)
	v, err := s.View(r3.Vec{Y: 1, Z: 3}, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	width, height := v.Size()
	xs, ys := v.Breaks()
	fmt.Printf("%d × %d px, %d breaks across, %d down\n", width, height, len(xs), len(ys))
	dir, _ := v.Unproject(5900, 1000)
	x, y, _ := v.Project(dir)
	fmt.Printf("%.3f is the direction of (%.0f, %.0f)\n", dir, x, y)
	fmt.Println(v.Sight(2400, 1990), "|", v.Sight(5900, 1900), "|", v.Sight(4700, 1000))
	// Output:
	// 6000 × 2000 px, 25 breaks across, 1 down
	// {0.965 0.090 -0.244} is the direction of (5900, 1000)
	// hidden by a blocker | off the panels | seen
}

// The crew measures two panels: one hangs 4 mm too far to the right, one is turned.
// What that does in the frame of a camera with 8000 photosites to a slope of 1.
func ExampleHang() {
	spec := wheelhouse()
	arc := spec.Parts[0]
	var surveys []stage.Survey
	for _, i := range []int{108, 109} {
		f := arc.Panels[i].Face
		right := r3.Sub(f.LowerRight, f.LowerLeft)
		c := stage.Survey{Panel: i, Corners: [4]r3.Vec{f.UpperLeft, r3.Add(f.UpperLeft, right), f.LowerRight, f.LowerLeft}}
		for k := range c.Corners {
			if i == 108 {
				c.Corners[k].X += 0.004
			} else if k == 1 || k == 2 {
				c.Corners[k].Z += 0.006 // its right edge stands forward
			}
		}
		c.Corners[0].Y += 0.0005 // and no tape is exact
		surveys = append(surveys, c)
	}
	hung, fits, err := stage.Hang(arc, surveys)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, f := range fits {
		fmt.Printf("panel %d: moved %.1f mm, turned %.2f°, noise %.2f mm\n", f.Panel, 1e3*float64(f.Moved), float64(f.Turned/wall.Degree), 1e3*float64(f.Noise))
	}
	planned, err := stage.New(spec)
	check(err)
	spec.Parts[0] = hung
	real, err := stage.New(spec)
	check(err)
	v, err := planned.View(r3.Vec{Y: 1.7}, 0)
	check(err)
	for _, x := range []float64{2500, 2700} {
		shift, why := v.Shift(real, newPinhole(0, 0, 0, 8000, 8000, 4000), x, 900)
		fmt.Printf("at %.0f, 900: (%.1f, %.1f) photosites, %v\n", x, shift.X, shift.Y, why)
	}
	// Output:
	// panel 108: moved 4.0 mm, turned 0.01°, noise 0.16 mm
	// panel 109: moved 3.0 mm, turned 0.68°, noise 0.36 mm
	// at 2500, 900: (5.3, -0.2) photosites, seen
	// at 2700, 900: (0.5, -0.9) photosites, seen
}

// The deckhand in close-up: whose pixels run out first, if the editor pushes in by
// 1.5, or if a longer lens does.
func ExampleStage_Resolutions() {
	s, err := stage.New(wheelhouse())
	check(err)
	spec := stage.ResolutionSpec{
		Camera: newPinhole(20*wall.Degree, 5*wall.Degree, 0, 5200, 4608, 2592), Eye: r3.Vec{X: -0.5, Y: 1.6, Z: 1},
		Plate:          func(dir r3.Vec) float64 { return 48 }, // px per degree
		DeliveredWidth: 3840, Factor: 1.5, Acuity: wall.Degree / 60,
	}
	for _, push := range []stage.PushIn{stage.Editorial, stage.Physical} {
		spec.PushIn = push
		m, err := s.Resolutions(spec, 3, 1)
		if err != nil {
			fmt.Println(err)
			return
		}
		for _, r := range m {
			if r.Why != stage.Seen {
				fmt.Printf("%v at %.0f: %v\n", push, r.X, r.Why)
				continue
			}
			fmt.Printf("%v at %.0f: plate %.0f, wall %.0f, camera %.0f, delivered %.0f px/°; %v limits, enlarged %.1f times; %.1f photosites a pixel\n",
				push, r.X, r.Plate, r.Wall, r.Camera, r.Delivered, r.Limit, r.Enlarge, r.PhotositesPerPixel.Least)
		}
	}
	// Output:
	// editorial at 1280: plate 48, wall 49, camera 93, delivered 116 px/°; plate limits, enlarged 2.4 times; 1.9 photosites a pixel
	// editorial at 2304: plate 48, wall 50, camera 91, delivered 113 px/°; plate limits, enlarged 2.4 times; 1.8 photosites a pixel
	// editorial at 3328: plate 48, wall 50, camera 93, delivered 116 px/°; plate limits, enlarged 2.4 times; 1.9 photosites a pixel
	// physical at 1280: plate 48, wall 49, camera 139, delivered 116 px/°; plate limits, enlarged 2.4 times; 2.8 photosites a pixel
	// physical at 2304: plate 48, wall 50, camera 136, delivered 113 px/°; plate limits, enlarged 2.4 times; 2.7 photosites a pixel
	// physical at 3328: plate 48, wall 50, camera 139, delivered 116 px/°; plate limits, enlarged 2.4 times; 2.8 photosites a pixel
}

// What the windscreen of the wheelhouse, a part of a cylinder, shows to a camera on
// the foredeck, and how far the ceiling would have to reach for it.
func ExampleStage_Reach() {
	s, err := stage.New(wheelhouse())
	check(err)
	screen, err := stage.CylinderMirror(r3.Vec{Y: 0.9, Z: 0.6}, r3.Vec{Y: 1.9, Z: 1.0}, 1.2, r3.Vec{Z: -1}, 40*wall.Degree)
	if err != nil {
		fmt.Println(err)
		return
	}
	camera := r3.Vec{X: 0.3, Y: 1.5, Z: -3}
	for _, v := range []float64{0.1, 0.5, 0.9} {
		r := s.Reflect(camera, screen, 0.5, v)
		fmt.Printf("at %.1f of its height: %v", v, r.Why)
		if r.Why == stage.Seen {
			fmt.Printf(", part %d at (%.0f, %.0f) px", r.Hit.Part, r.Hit.X, r.Hit.Y)
		}
		fmt.Println()
	}
	ceiling := wall.Rectangle{LowerLeft: r3.Vec{X: -3, Y: 4.5, Z: -3.5}, LowerRight: r3.Vec{X: 3, Y: 4.5, Z: -3.5}, UpperLeft: r3.Vec{X: -3, Y: 4.5, Z: 0.5}}
	reach, err := s.Reach(camera, screen, ceiling, 6, 41, 41)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d of %d points show nothing; the ceiling fills %d, if it reaches %.1f m farther to the left, %.1f to the right, %.1f to the front, %.1f to the back\n",
		reach.Empty, reach.Points, reach.Filled, float64(reach.Left), float64(reach.Right), float64(reach.Below), float64(reach.Above))
	// Output:
	// at 0.1 of its height: shows nothing
	// at 0.5 of its height: seen, part 1 at (503, 570) px
	// at 0.9 of its height: seen, part 1 at (524, 393) px
	// 904 of 1681 points show nothing; the ceiling fills 836, if it reaches 6.0 m farther to the left, 5.3 to the right, 0.8 to the front, 2.4 to the back
}

// A sloping window, a visor, and a wing mirror of one's own making.
func ExampleStage_Reflect() {
	s, err := stage.New(wheelhouse())
	check(err)
	window, err := stage.FlatMirror(wall.Rectangle{LowerLeft: r3.Vec{X: 0.5, Y: 1}, LowerRight: r3.Vec{X: -0.5, Y: 1}, UpperLeft: r3.Vec{X: 0.5, Y: 1.8, Z: -0.1}})
	check(err)
	visor, err := stage.SphereMirror(r3.Vec{Y: 1.6}, 0.15, r3.Vec{Z: -1}, 60*wall.Degree)
	check(err)
	bulge := func(u, v float64) (point, normal r3.Vec) {
		x, y := u-0.5, v-0.5
		return r3.Vec{X: 0.3 * x, Y: 1.5 + 0.3*y, Z: -0.1 * (1 - x*x - y*y)}, r3.Vec{X: 0.3 * x, Y: 0.3 * y, Z: -0.45}
	}
	for _, m := range []stage.Mirror{window, visor, bulge} {
		r := s.Reflect(r3.Vec{X: 0.4, Y: 1.6, Z: -2.5}, m, 0.3, 0.4)
		fmt.Printf("%.0f° off the normal: %v", float64(r.Incidence/wall.Degree), r.Why)
		if r.Why == stage.Seen {
			fmt.Printf(", raster %d at (%.0f, %.0f) px", r.Hit.Raster, r.Hit.X, r.Hit.Y)
		}
		fmt.Println()
	}
	// Output:
	// 11° off the normal: shows nothing
	// 26° off the normal: seen, raster 0 at (967, 112) px
	// 20° off the normal: seen, raster 0 at (1294, 1836) px
}

// The region of the arc that a tracked camera sees, and by how much it must be
// enlarged if the light comes 100 ms after the move.
func ExampleView_Margin() {
	s, err := stage.New(wheelhouse())
	check(err)
	eye := r3.Vec{Y: 1.6, Z: 1}
	v, err := s.View(eye, 0)
	check(err)
	camera := newPinhole(10*wall.Degree, 4*wall.Degree, 0, 2600, 2304, 1296)
	mask, err := v.Mask(camera, 30, 10) // cells of 200 px
	check(err)
	for row := range 10 {
		for column := range 30 {
			if mask[30*row+column] {
				fmt.Print("#")
			} else {
				fmt.Print("-")
			}
		}
		fmt.Println()
	}
	m, err := v.Margin(camera, stage.Motion{Pan: 30 * wall.Degree, Tilt: 10 * wall.Degree, Travel: r3.Vec{X: 0.8}}, 100*unit.Milli, 17, 9)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("margin %.0f px across, %.0f px down\n", m.X, m.Y)
	// Output:
	// ------------------------------
	// ------------------------------
	// ----------########------------
	// ---------###########----------
	// ---------###########----------
	// ---------###########----------
	// ---------###########----------
	// ---------###########----------
	// ---------###########----------
	// ------------------------------
	// margin 184 px across, 63 px down
}

// The horizon was made for a camera at 1.6 m. How wrong it is for a second camera
// lower down, and for an entrance pupil 8 cm in front of the tracked point.
func ExampleView_EyeError() {
	s, err := stage.New(wheelhouse())
	check(err)
	v, err := s.View(r3.Vec{Y: 1.6}, 0)
	check(err)
	horizon := unit.Length(math.Inf(1))
	low, _ := v.EyeError(2400, 1360, r3.Vec{Y: 0.9}, horizon)
	pupil, _ := v.EyeError(600, 1360, r3.Vec{Y: 1.6, Z: -0.08}, horizon)
	boat, _ := v.EyeError(2400, 1360, r3.Vec{Y: 0.9}, 40)
	fmt.Printf("%.1f° from below, %.2f° beside the pupil; a boat 40 m away %.1f°\n",
		float64(low/wall.Degree), float64(pupil/wall.Degree), float64(boat/wall.Degree))
	// Output:
	// 6.7° from below, 0.53° beside the pupil; a boat 40 m away 5.7°
}
