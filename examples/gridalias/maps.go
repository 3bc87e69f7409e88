package main

import (
	"context"
	"fmt"
	"image/color"
	"math"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// classes are the steps of the contrast over the limit. The colours grow
// darker evenly, so that a map can be read in grey and by the colour-blind.
var classes = []struct {
	upTo float64
	name string
	ink  color.RGBA
}{
	{1, fmt.Sprintf("safe: contrast up to the limit of %g %%", 100*limit), color.RGBA{0xc6, 0xe4, 0xf0, 0xff}},
	{3, "1 to 3 times the limit", color.RGBA{0xfb, 0xd2, 0x7c, 0xff}},
	{10, "3 to 10 times", color.RGBA{0xf2, 0x98, 0x4a, 0xff}},
	{30, "10 to 30 times", color.RGBA{0xd4, 0x55, 0x4e, 0xff}},
	{100, "30 to 100 times", color.RGBA{0x8c, 0x29, 0x6b, 0xff}},
	{math.Inf(1), "more than 100 times", color.RGBA{0x2c, 0x10, 0x4e, 0xff}},
}

var noAnswer = color.Gray{0x9a}

// grid is a lattice of verdicts, drawn as cells that touch. Cells are clipped to the
// axes.
type grid struct {
	columns, rows int
	x, y          func(i int) float64
	verdict       func(column, row int) (visibility float64, ok bool)
}

func (g grid) ink(column, row int) color.Color {
	visibility, ok := g.verdict(column, row)
	for _, class := range classes {
		if ok && visibility <= class.upTo {
			return class.ink
		}
	}
	return noAnswer
}

// Plot makes grid a plot.Plotter.
func (g grid) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	side := func(at func(int) float64, i int, low, high float64) (from, to float64) {
		half := (at(1) - at(0)) / 2
		return max(low, at(i)-half), min(high, at(i)+half)
	}
	const seam = 0.4 // points, by which a cell goes under its neighbours
	for row := range g.rows {
		for column := range g.columns {
			left, right := side(g.x, column, p.X.Min, p.X.Max)
			low, high := side(g.y, row, p.Y.Min, p.Y.Max)
			x0, x1 := toX(left)-seam, toX(right)+seam
			y0, y1 := min(toY(low), toY(high))-seam, max(toY(low), toY(high))+seam
			c.FillPolygon(g.ink(column, row), []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
		}
	}
}

// chart is an empty plot with a lattice of classes in it.
func chart(title, x, y string, g grid) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.Title.TextStyle.Font.Size, p.Title.Padding = vg.Points(12), vg.Points(8)
	p.Add(g)
	return p
}

// line adds a curve to a plot.
func line(p *plot.Plot, points plotter.XYs, width float64, ink color.Color) error {
	l, err := plotter.NewLine(points)
	if err != nil {
		return err
	}
	l.Width, l.Color = vg.Points(width), ink
	p.Add(l)
	return nil
}

// mark adds a named point to a plot.
func mark(p *plot.Plot, name string, at plotter.XY) error {
	for _, pass := range []struct { // a white outline, for dark colours
		ink    color.Color
		around []vg.Point
	}{{color.White, []vg.Point{{X: -1.2}, {X: 1.2}, {Y: -1.2}, {Y: 1.2}, {X: 1, Y: 1}, {X: -1, Y: -1}}}, {color.Black, []vg.Point{{}}}} {
		points, err := plotter.NewScatter(plotter.XYs{at})
		if err != nil {
			return err
		}
		points.GlyphStyle = draw.GlyphStyle{Color: pass.ink, Radius: vg.Points(4.5), Shape: draw.CircleGlyph{}}
		if pass.ink == color.White {
			points.GlyphStyle.Radius = vg.Points(6)
		}
		p.Add(points)
		for _, by := range pass.around {
			labels, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{at}, Labels: []string{name}})
			if err != nil {
				return err
			}
			labels.Offset = vg.Point{X: vg.Points(8) + by.X, Y: vg.Points(-4) + by.Y}
			labels.TextStyle[0].Font = p.X.Tick.Label.Font
			labels.TextStyle[0].Font.Size, labels.TextStyle[0].Color = vg.Points(11), pass.ink
			p.Add(labels)
		}
	}
	return nil
}

// drawFloor draws the floor seen from above, once with the focus on the wall and once
// on the actor.
func (s stage) drawFloor(out *program.Folder) error {
	step := func(from, to float64, n int) func(int) float64 {
		return func(i int) float64 { return from + (to-from)*float64(i)/float64(n-1) }
	}
	var plots []*plot.Plot
	for _, f := range []struct {
		name string
		on   r3.Vec
	}{{"focus on the middle of the wall", target}, {"focus on the actor", actor}} {
		places, err := s.floorMap(f.on)
		if err != nil {
			return err
		}
		p := chart(f.name, "to the right of the middle of the wall, m", "from the middle of the wall, m", grid{
			columns: floor.Columns, rows: floor.Rows,
			x: step(float64(floor.MinX), float64(floor.MaxX), floor.Columns),
			y: step(float64(floor.MinZ)-target.Z, float64(floor.MaxZ)-target.Z, floor.Rows),
			verdict: func(column, row int) (float64, bool) {
				v := places[row*floor.Columns+column].Verdict
				return v.Worst.Visibility, v.Seen > 0 && v.Unknown == 0
			},
		})
		var arc plotter.XYs
		width, height := s.wall.Size()
		for i := range 26 {
			if at, ok := s.wall.Point(float64(width*i)/25, float64(height)/2); ok {
				arc = append(arc, plotter.XY{X: at.X, Y: at.Z - target.Z})
			}
		}
		if err := line(p, arc, 3, color.Black); err != nil {
			return err
		}
		if err := mark(p, "actor", plotter.XY{X: actor.X, Y: actor.Z - target.Z}); err != nil {
			return err
		}
		if err := mark(p, "wanted place", plotter.XY{Y: distance}); err != nil {
			return err
		}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = float64(floor.MinX), float64(floor.MaxX), -0.2, float64(floor.MaxZ)-target.Z
		plots = append(plots, p)
	}
	return s.save(out, "floor.png", fmt.Sprintf("Where may the camera stand? Worst alias of red and blue in the frame, %g mm at f/%g", float64(focalLength/mm), fNumber),
		"grey: the camera sees no wall, cannot focus, or nobody knows; the line is the wall, from above", plots, 7.9*vg.Inch) // to scale
}

// drawFrame draws the frame from the standard place with the focus on the actor, for
// all photosites and for red and blue. With the focus on the wall nothing is safe.
func (s stage) drawFrame(out *program.Folder) error {
	var plots []*plot.Plot
	for _, sampling := range []alias.Sampling{alias.EveryPhotosite, alias.RedOrBluePhotosites} {
		c := from(standard().eye, actor)
		c.sampling = sampling
		shot, ok := c.shot()
		if !ok {
			return fmt.Errorf("no camera at %v", c.eye)
		}
		nodes, _, err := s.scene.Map(context.Background(), shot, fine)
		if err != nil {
			return err
		}
		at := func(column, row int) alias.Node { return nodes[row*fine.Columns+column] }
		p := chart(sampling.String(), "photosite column", "photosite row, down", grid{
			columns: fine.Columns, rows: fine.Rows,
			x: func(i int) float64 { return at(i, 0).X },
			y: func(i int) float64 { return at(0, i).Y },
			verdict: func(column, row int) (float64, bool) {
				n := at(column, row)
				return n.Visibility, n.Sight == wall.Seen
			},
		})
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, width, 0, height
		p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
		plots = append(plots, p)
	}
	return s.save(out, "frame.png", fmt.Sprintf("Where in the frame does the grid alias? From %g m, %g mm at f/%g, focus on the actor", distance, float64(focalLength/mm), fNumber),
		"grey: no wall", plots, 5.1*vg.Inch) // to scale
}

// save draws two plots side by side, a title above and the key below.
func (s stage) save(out *program.Folder, name, title, note string, plots []*plot.Plot, high vg.Length) error {
	img := vgimg.NewWith(vgimg.UseWH(13*vg.Inch, high), vgimg.UseDPI(120))
	all := draw.New(img)
	style := plots[0].Title.TextStyle
	style.Font.Size, style.XAlign, style.YAlign = vg.Points(14), draw.XCenter, draw.YTop
	all.FillText(style, vg.Point{X: all.Center().X, Y: all.Max.Y - vg.Points(8)}, title)

	key := plot.NewLegend()
	key.TextStyle.Font.Size = vg.Points(11)
	const foot = 58
	columns := [3]float64{0.03, 0.3, 0.6}
	for i, c := range classes {
		box := draw.Crop(all, 0, 0, 0, 0)
		x := all.Min.X + vg.Length(columns[i%3])*all.Size().X
		y := all.Min.Y + vg.Points(foot-20-18*float64(i/3))
		swatch := []vg.Point{{X: x, Y: y}, {X: x + vg.Points(22), Y: y}, {X: x + vg.Points(22), Y: y + vg.Points(12)}, {X: x, Y: y + vg.Points(12)}}
		box.FillPolygon(c.ink, swatch)
		box.StrokeLines(draw.LineStyle{Color: color.Gray{0x60}, Width: vg.Points(0.7)}, append(swatch, swatch[0]))
		box.FillText(key.TextStyle, vg.Point{X: x + vg.Points(28), Y: y + vg.Points(1)}, c.name)
	}
	small := key.TextStyle
	small.Color = color.Gray{0x40}
	all.FillText(small, vg.Point{X: all.Min.X + vg.Length(columns[0])*all.Size().X, Y: all.Min.Y + vg.Points(5)}, note)

	middle := all.Size().X / 2
	body := draw.Crop(all, vg.Points(6), vg.Points(-10), vg.Points(foot+4), vg.Points(-32))
	plots[0].Draw(draw.Crop(body, 0, -middle, 0, 0))
	plots[1].Draw(draw.Crop(body, middle, 0, 0, 0))

	return out.Save(name, img)
}
