// Setlight shows how bright walls make a set, and what they do to each other: a table,
// and a map of the light at the height of a face.
//
//	go run ./examples/setlight
//	go run ./examples/setlight -out evening
//
// A curved wall of 12 m × 4.5 m stands before an actor, and a ceiling hangs above. The
// wall shows a dusk: a bright band over dark water. The floor is grey.
package main

import (
	"context"
	"fmt"
	"image/color"
	"io"
	"math"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/palette/moreland"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

const (
	mm = unit.Milli * unit.Metre

	wallPeak, ceilingPeak = 900, 300 // cd/m²
	black                 = 0.2      // cd/m², of the panels themselves
	reflectance           = 0.05     // of dark panels
	floorReflectance      = 0.3
	faceHeight            = 1.6 // m
	wallRadius            = 6.5 // m

	patchSide = 0.5 * unit.Metre // of the parts of surfaces that light each other
)

var (
	actor = r3.Vec{Y: faceHeight, Z: -0.6}
	// primaries of the panels as a meter might give them; white is that of daylight.
	primaries = light.Primaries{{X: 0.69, Y: 0.30}, {X: 0.19, Y: 0.73}, {X: 0.14, Y: 0.06}}
	white     = light.Chromaticity{X: 0.3127, Y: 0.3290}
	columns   = 80 // of the map
)

func main() { program.Main("setlight", run) }

func run(w io.Writer, out *program.Folder) error {
	s, whole, count, err := stage()
	if err != nil {
		return err
	}
	if err := face(w, s, whole); err != nil {
		return err
	}
	if err := blacks(w, s, count); err != nil {
		return err
	}
	return chart(whole, out)
}

// stage is the lit set by itself, the set with what its surfaces reflect of each other's
// light, and how many of its panels are the wall's.
func stage() (s, whole *light.Scene, count int, err error) {
	curved, err := wall.New(wall.Spec{
		PanelWidth: 600 * mm, PanelHeight: 450 * mm, PanelPixelsX: 20, PanelPixelsY: 15, Columns: 20, Rows: 10,
		Radius: wallRadius * unit.Metre, Position: r3.Vec{Y: 2.25, Z: -4},
	})
	if err != nil {
		return nil, nil, 0, err
	}
	peak, err := primaries.Peaks(white, wallPeak)
	if err != nil {
		return nil, nil, 0, err
	}
	above, err := primaries.Peaks(white, ceilingPeak)
	if err != nil {
		return nil, nil, 0, err
	}
	width, height := curved.Size()
	panels := light.Panels(curved, light.Panel{Peak: peak, Picture: dusk(width, height), Reflectance: reflectance})
	count = len(panels)
	panels = append(panels,
		light.Panel{ // the ceiling, which looks down
			Rectangle: wall.Rectangle{LowerLeft: r3.Vec{X: -3.6, Y: 4.6, Z: -2.9}, LowerRight: r3.Vec{X: 3.6, Y: 4.6, Z: -2.9}, UpperLeft: r3.Vec{X: -3.6, Y: 4.6, Z: 1.9}},
			Peak:      above, Reflectance: reflectance,
		},
		light.Panel{ // the floor, which looks up
			Rectangle:   wall.Rectangle{LowerLeft: r3.Vec{X: -4, Z: 3}, LowerRight: r3.Vec{X: 4, Z: 3}, UpperLeft: r3.Vec{X: -4, Z: -3}},
			Reflectance: floorReflectance,
		})
	if s, err = light.New(light.Spec{Panels: panels}); err != nil {
		return nil, nil, 0, err
	}
	patches, err := s.Mutual(context.Background(), patchSide, nil)
	if err != nil {
		return nil, nil, 0, err
	}
	for _, p := range patches {
		panels = append(panels, light.Panel{Rectangle: p.Rectangle, Peak: p.Reflected})
	}
	whole, err = light.New(light.Spec{Panels: panels})
	return s, whole, count, err
}

// dusk is warm above the horizon on the left, blue elsewhere, and nearly black below.
func dusk(width, height int) *light.Picture {
	p := &light.Picture{Width: width, Height: height, Pixels: make([]float32, 0, 3*width*height)}
	for y := range height {
		for x := range width {
			sky := [3]float32{0.04, 0.06, 0.12}
			switch {
			case y > height*11/20:
				sky = [3]float32{0.01, 0.012, 0.015}
			case y > height*7/20 && x < width/3:
				sky = [3]float32{1, 0.55, 0.25}
			}
			p.Pixels = append(p.Pixels, sky[:]...)
		}
	}
	return p
}

// face prints the light on the actor.
func face(w io.Writer, s, whole *light.Scene) error {
	fmt.Fprintf(w, "A dusk on a wall of up to %d cd/m², a ceiling of %d cd/m², an actor %.1f m from the wall\n\n", wallPeak, ceilingPeak, 4+actor.Z)
	direct, err := s.Cube(actor)
	if err != nil {
		return err
	}
	q, err := whole.Cube(actor)
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "on the actor        light   of it by way of floor and walls")
	for i, name := range []string{"right side", "left side", "top", "from below", "back", "face, to the wall"} {
		lux := q.Faces[i].RGB.Sum()
		fmt.Fprintf(w, "%-18s  %4.0f lx   %3.0f lx\n", name, lux, lux-direct.Faces[i].RGB.Sum())
	}
	fmt.Fprintf(w, "\nMost comes from %.0f° to the left and %.0f° up; vector to scalar is %.1f of 4",
		math.Atan2(-q.Vector.X, -q.Vector.Z)*180/math.Pi, math.Asin(q.Vector.Y/r3.Norm(q.Vector))*180/math.Pi, q.VectorToScalar)
	if stops, ok := q.KeyToFill(); ok {
		fmt.Fprintf(w, ", key to fill %.1f stops", stops)
	}
	fmt.Fprintln(w, ".")
	front := q.Faces[5].RGB
	if xy, ok := primaries.Chromaticity(front); ok {
		fmt.Fprintf(w, "Its colour on the face is x %.3f, y %.3f; white is %.3f, %.3f.\n", xy.X, xy.Y, white.X, white.Y)
	}
	if factor, ok := light.Drive(400, 150, front.Sum()); ok {
		fmt.Fprintf(w, "For 400 lx on the face, 150 of them from lamps, all walls change by %+.1f stops.\n", math.Log2(factor))
	}
	return nil
}

// blacks prints what is left of the wall's black, under the walls and the floor alone
// and under lamps.
func blacks(w io.Writer, s *light.Scene, count int) error {
	fmt.Fprintf(w, "\nblack of the wall, %g cd/m² by itself   worst black   contrast left\n", black)
	for _, lamps := range []float64{0, 20, 100, 500} {
		patches, err := s.Mutual(context.Background(), patchSide, func(_, normal r3.Vec) float64 {
			return lamps * max(0, normal.Z) // what of the lamps reaches panels that face the set
		})
		if err != nil {
			return err
		}
		worst := 0.0
		for _, p := range patches {
			if p.Panel < count {
				worst = max(worst, p.Veil)
			}
		}
		ratio, _ := light.Contrast(wallPeak, black, worst)
		name := fmt.Sprintf("with %g lx of lamps on it", lamps)
		if lamps == 0 {
			name = "by walls, ceiling and floor alone"
		}
		fmt.Fprintf(w, "%-38s  %5.1f cd/m²   %.0f to 1\n", name, black+worst, ratio)
	}
	return nil
}

// field is the light on faces that look to the wall, as a grid for a map.
type field struct {
	columns, rows int
	lights        []light.Light
}

const (
	left, right    = -4.0, 4.0 // m, of the map
	nearest, depth = 1.5, 6.0  // m from the middle of the wall
)

func (f field) Dims() (c, r int) { return f.columns, f.rows }
func (f field) X(c int) float64  { return left + (float64(c)+0.5)*(right-left)/float64(f.columns) }
func (f field) Y(r int) float64  { return nearest + (float64(r)+0.5)*(depth-nearest)/float64(f.rows) }
func (f field) Z(c, r int) float64 {
	return f.lights[r*f.columns+c].RGB.Sum()
}

// chart draws the light on a face that looks to the wall, by where it stands.
func chart(s *light.Scene, out *program.Folder) error {
	f := field{columns: columns, rows: columns / 2}
	for r := range f.rows {
		for c := range f.columns {
			l, err := s.Illuminance(r3.Vec{X: f.X(c), Y: faceHeight, Z: f.Y(r) - 4}, r3.Vec{Z: -1})
			if err != nil {
				return err
			}
			f.lights = append(f.lights, l)
		}
	}
	p := plot.New()
	p.Title.Text = "How bright is a face that looks to the wall, with what floor and walls reflect?"
	p.Title.TextStyle.Font.Size, p.Title.Padding = vg.Points(14), vg.Points(10)
	p.X.Label.Text, p.Y.Label.Text = "to the right of the middle of the wall, m", "from the middle of the wall, m"
	inks := moreland.ExtendedBlackBody()
	most := 0.0
	for _, l := range f.lights {
		most = max(most, l.RGB.Sum())
	}
	inks.SetMin(0)
	inks.SetMax(most)
	heat := plotter.NewHeatMap(f, inks.Palette(255))
	heat.Min, heat.Max, heat.Rasterized = 0, most, true
	p.Add(heat)
	levels := []float64{50, 100, 150, 200, 250, 300}
	lines := plotter.NewContour(f, levels, nil)
	lines.LineStyles = []draw.LineStyle{{Color: color.White, Width: vg.Points(0.8)}}
	p.Add(lines)
	arc := make(plotter.XYs, 101) // the wall, from above
	for i := range arc {
		x := left + (right-left)*float64(i)/100
		arc[i] = plotter.XY{X: x, Y: wallRadius - math.Sqrt(wallRadius*wallRadius-x*x)}
	}
	front, err := plotter.NewLine(arc)
	if err != nil {
		return err
	}
	front.Width = vg.Points(3)
	p.Add(front)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = left, right, -0.1, depth
	at := plotter.XYLabels{XYs: plotter.XYs{{X: actor.X, Y: 4 + actor.Z}}, Labels: []string{"  actor"}}
	dot, err := plotter.NewScatter(at.XYs)
	if err != nil {
		return err
	}
	dot.GlyphStyle = draw.GlyphStyle{Color: color.White, Radius: vg.Points(4), Shape: draw.CircleGlyph{}}
	label, err := plotter.NewLabels(at)
	if err != nil {
		return err
	}
	label.TextStyle[0].Font, label.TextStyle[0].Color = p.X.Tick.Label.Font, color.White
	p.Add(dot, label)

	bar := plot.New()
	bar.Add(&plotter.ColorBar{ColorMap: inks, Vertical: true})
	bar.HideX()
	bar.Y.Label.Text = "lx; white lines every 50; the black line is the wall, from above"
	bar.Title.Text, bar.Title.TextStyle.Font.Size, bar.Title.Padding = " ", vg.Points(14), vg.Points(10)

	img := vgimg.NewWith(vgimg.UseWH(11*vg.Inch, 7.9*vg.Inch), vgimg.UseDPI(120))
	whole := draw.New(img)
	p.Draw(draw.Crop(whole, vg.Points(6), -1.5*vg.Inch, vg.Points(6), vg.Points(-8)))
	bar.Draw(draw.Crop(whole, 9.7*vg.Inch, -0.2*vg.Inch, 0.45*vg.Inch, vg.Points(-8)))
	return out.Save("faces.png", img)
}
