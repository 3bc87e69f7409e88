package main

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"

	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// classes are the steps of the contrast of an alias over its limit. Their colours get
// darker evenly, so that a map can be read in grey and by the colour-blind.
var classes = []struct {
	upTo float64
	name string
	ink  color.RGBA
}{
	{1, "safe: up to the limit, or resolved", color.RGBA{0xc6, 0xe4, 0xf0, 0xff}},
	{3, "1 to 3 times the limit", color.RGBA{0xfb, 0xd2, 0x7c, 0xff}},
	{10, "3 to 10 times", color.RGBA{0xf2, 0x98, 0x4a, 0xff}},
	{30, "10 to 30 times", color.RGBA{0xd4, 0x55, 0x4e, 0xff}},
	{100, "30 to 100 times", color.RGBA{0x8c, 0x29, 0x6b, 0xff}},
	{math.Inf(1), "more than 100 times", color.RGBA{0x2c, 0x10, 0x4e, 0xff}},
}

// atlas is a picture of several maps of aliases with one key.
type atlas struct {
	title, note string
	maps        [][]aliasMap // rows of maps
	high        vg.Length    // of one row
}

// aliasMap is a lattice of places, each with the contrast of its worst alias over the
// limit. The cells lie row by row from the top.
type aliasMap struct {
	title         string
	x, y          axis
	columns, rows int
	over          []float64 // NaN: not known, or no wall
	lines         []plotter.XYs
	marks         []mark
}

// Plot draws the cells. It makes aliasMap a plot.Plotter.
func (a aliasMap) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	const seam = 0.4 // points, by which a cell goes under its neighbours
	for i, over := range a.over {
		var ink color.Color = noAnswer
		for _, class := range classes {
			if over <= class.upTo {
				ink = class.ink
				break
			}
		}
		x, y := float64(i%a.columns)/float64(a.columns), float64(i/a.columns)/float64(a.rows)
		left, right := toX(p.X.Max*x)-seam, toX(p.X.Max*(x+1/float64(a.columns)))+seam
		top, bottom := toY(p.Y.Max*(1-y))+seam, toY(p.Y.Max*(1-y-1/float64(a.rows)))-seam
		left, right, bottom, top = max(left, c.Min.X), min(right, c.Max.X), max(bottom, c.Min.Y), min(top, c.Max.Y)
		c.FillPolygon(ink, []vg.Point{{X: left, Y: bottom}, {X: right, Y: bottom}, {X: right, Y: top}, {X: left, Y: top}})
	}
}

// plot is the map with its axes. The plot's own axes run up from the lower left.
func (a aliasMap) plot() (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = a.title, a.x.label, a.y.label
	p.Title.TextStyle.Font.Size, p.Title.Padding = 11, 5
	p.X.Tick.Marker, p.Y.Tick.Marker = a.x.ticks(), a.y.ticks()
	p.Add(a)
	for _, line := range a.lines {
		points := make(plotter.XYs, len(line))
		for i, o := range line {
			points[i] = plotter.XY{X: a.x.along(o.X), Y: a.y.along(o.Y)}
		}
		for _, pass := range []struct {
			c color.Color
			w vg.Length
		}{{ink, 4.5}, {shadow, 2.2}} {
			l, err := plotter.NewLine(points)
			if err != nil {
				return nil, err
			}
			l.Color, l.Width = pass.c, pass.w
			p.Add(l)
		}
	}
	p.X.Min, p.X.Max = 0, math.Abs(a.x.high-a.x.low)
	p.Y.Min, p.Y.Max = 0, math.Abs(a.y.high-a.y.low)
	return p, nil
}

// save draws the maps into a PNG file and closes it.
func (m atlas) save(f io.WriteCloser) error {
	defer f.Close()
	const foot, head = 62, 50
	rows, columns := len(m.maps), len(m.maps[0])
	canvas := vgimg.NewWith(vgimg.UseWH(chartWidth, vg.Length(rows)*m.high+head+foot), vgimg.UseDPI(110))
	all := draw.New(canvas)
	all.FillText(style(14, draw.XCenter, draw.YTop, color.Black), vg.Point{X: all.Center().X, Y: all.Max.Y - 8}, m.title)
	all.FillText(style(10.5, draw.XCenter, draw.YTop, color.Black), vg.Point{X: all.Center().X, Y: all.Max.Y - 28}, m.note)
	body := draw.Crop(all, 6, -10, foot, -head)
	width, height := body.Size().X/vg.Length(columns), body.Size().Y/vg.Length(rows)
	for i, row := range m.maps {
		for k, one := range row {
			p, err := one.plot()
			if err != nil {
				return err
			}
			area := draw.Crop(body, vg.Length(k)*(width+6), -vg.Length(columns-1-k)*width, vg.Length(rows-1-i)*height+6, -vg.Length(i)*height)
			p.Draw(area)
			one.drawMarks(p, area)
		}
	}
	m.drawKey(all)
	_, err := vgimg.PngCanvas{Canvas: canvas}.WriteTo(f)
	return errors.Join(err, f.Close())
}

// drawMarks names points, in black with a white edge.
func (a aliasMap) drawMarks(p *plot.Plot, whole draw.Canvas) {
	area := p.DataCanvas(whole)
	toX, toY := p.Transforms(&area)
	for _, m := range a.marks {
		at := vg.Point{X: toX(a.x.along(m.points[0].X)), Y: toY(a.y.along(m.points[0].Y))}
		area.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 6, Shape: draw.CircleGlyph{}}, at)
		area.DrawGlyph(draw.GlyphStyle{Color: shadow, Radius: 4.5, Shape: draw.CircleGlyph{}}, at)
		side, align := vg.Length(9), text.XAlignment(draw.XLeft)
		if at.X > area.Center().X {
			side, align = -9, draw.XRight
		}
		for _, by := range []vg.Point{{X: -1.2}, {X: 1.2}, {Y: -1.2}, {Y: 1.2}, {X: 1, Y: 1}, {X: -1, Y: -1}} {
			area.FillText(style(11, align, draw.YCenter, ink), vg.Point{X: at.X + side + by.X, Y: at.Y + by.Y}, m.name)
		}
		area.FillText(style(11, align, draw.YCenter, shadow), vg.Point{X: at.X + side, Y: at.Y}, m.name)
	}
}

// drawKey draws the meanings of the colours at the foot of the picture.
func (m atlas) drawKey(all draw.Canvas) {
	plain := style(10.5, draw.XLeft, draw.YCenter, color.Black)
	column := all.Size().X / 4
	entry := func(i int, c color.Color, name string) {
		x, y := all.Min.X+column*(vg.Length(i%4)+0.12), all.Min.Y+40-20*vg.Length(i/4)
		box := []vg.Point{{X: x, Y: y - 6}, {X: x + 24, Y: y - 6}, {X: x + 24, Y: y + 6}, {X: x, Y: y + 6}}
		all.FillPolygon(c, box)
		all.StrokeLines(draw.LineStyle{Color: color.Gray{0x60}, Width: 0.7}, append(box, box[0]))
		all.FillText(plain, vg.Point{X: x + 31, Y: y}, name)
	}
	for i, c := range classes {
		entry(i, c.ink, c.name)
	}
	entry(len(classes), noAnswer, "no wall in sight, or not known")
}

// aliasMaps shows where in the picture from a position the columns and the rows of pixels
// alias, with the focus of the scenario and with the focus on the wall.
func (m *maker) aliasMaps(position int) (atlas, error) {
	s := &m.shoot
	at := s.StageCamera.Positions[position]
	here := s.standing(position)
	w, h := here.camera.Size()
	picture := atlas{
		title: "Where in the picture from position " + at.Name + " does the LED grid alias?",
		note:  fmt.Sprintf("the worst alias of red and blue; the limit is a contrast of %g %%, amplitude over mean", s.Limits.AliasPercent),
		high:  4.3 * vg.Inch,
	}
	focuses := []string{"focus at " + length(here.focus)}
	depths := []unit.Length{here.focus}
	if depth, ok := s.wallDepth(here.eye, here.axis); ok {
		focuses, depths = append(focuses, "focus on the wall, at "+length(depth)), append(depths, depth)
	} else {
		focuses[0] += ", no wall in the middle of the picture"
	}
	for i, focus := range focuses {
		var row []aliasMap
		for _, grid := range []struct {
			name  string
			scene *alias.Scene
		}{{"columns of wall pixels", &s.grids.columns}, {"rows of wall pixels", &s.grids.rows}} {
			here.focus = depths[i]
			nodes, _, err := grid.scene.Map(m.ctx, s.shot(here), fine)
			if err != nil {
				return atlas{}, err
			}
			one := aliasMap{
				title: grid.name + ", " + focus, columns: fine.Columns, rows: fine.Rows,
				x: axis{"photosite column", 0, float64(w), 0}, y: axis{"photosite row, down", float64(h), 0, 0},
			}
			for _, n := range nodes {
				known := n.Sight == wall.Seen && !n.Incomplete
				one.over = append(one.over, over(n.Visibility, known))
			}
			row = append(row, one)
		}
		picture.maps = append(picture.maps, row)
	}
	return picture, m.ctx.Err()
}

// over is the contrast of an alias over the limit, or NaN if it is not known.
func over(visibility float64, known bool) float64 {
	if !known {
		return math.NaN()
	}
	return visibility
}

// floorCells is the number of places across and along the floor at which the camera is
// tried. Tests lower it.
var floorCells = 22

// floorMaps shows the floor from above: what the camera of a position would see of the
// grid if it stood elsewhere at the same height and looked the same way, with the focus
// of the scenario and with the focus on the wall.
func (m *maker) floorMaps(position int) (atlas, error) {
	s := &m.shoot
	lens := s.StageCamera.Lens
	here := s.standing(position)
	at := s.StageCamera.Positions[position]
	picture := atlas{
		title: fmt.Sprintf("Where may the camera stand, if it looks as at %s? %g mm at f/%g, lens %.2f m high", at.Name, lens.FocalLengthMm, lens.FNumber, here.eye.Y),
		note:  fmt.Sprintf("the worst alias of red and blue in the whole picture; the limit is a contrast of %g %%; seen from above: the walls, and where the camera looks", s.Limits.AliasPercent),
		maps:  make([][]aliasMap, 1), high: 6.9 * vg.Inch,
	}
	x, z := s.floor()
	half := func(a axis) float64 { return (a.high - a.low) / float64(2*floorCells) }
	floor := alias.Floor{
		MinX: unit.Length(x.low + half(x)), MaxX: unit.Length(x.high - half(x)), Columns: floorCells,
		MinZ: unit.Length(z.high - half(z)), MaxZ: unit.Length(z.low + half(z)), Rows: floorCells,
		Height: unit.Length(here.eye.Y),
	}
	for i, focus := range []string{"focus at " + length(here.focus), "focus on the wall in the middle of the picture"} {
		places, err := s.grids.all.Floor(m.ctx, floor, few, func(eye r3.Vec) (alias.Shot, bool) {
			there := here
			there.eye = eye
			if depth, ok := s.wallDepth(eye, here.axis); ok && i > 0 {
				there.focus = depth
			} else if i > 0 {
				return alias.Shot{}, false
			}
			return s.shot(there), float64(there.focus) > 2*lens.FocalLengthMm/1000
		})
		if err != nil {
			return atlas{}, err
		}
		one := aliasMap{title: focus, x: x, y: z, columns: floorCells, rows: floorCells, lines: s.plan(position)}
		for _, p := range places {
			one.over = append(one.over, over(p.Worst.Visibility, p.Seen > 0 && p.Unknown == 0))
		}
		one.marks = []mark{
			{name: at.Name, points: []plotter.XY{{X: here.eye.X, Y: here.eye.Z}}},
			{name: "actor", points: []plotter.XY{{X: s.Actor.PositionM[0], Y: s.Actor.PositionM[2]}}},
		}
		picture.maps[0] = append(picture.maps[0], one)
	}
	return picture, nil
}

// floor is the part of the floor around the actor and the positions of the camera, with
// room around it. The front of the stage, −z, is at the top of a map.
func (s *shoot) floor() (x, z axis) {
	const room = 3.5 // m
	x = axis{label: "x, m to the right", low: math.Inf(1), high: math.Inf(-1)}
	z = axis{label: "z, m to the back", low: math.Inf(-1), high: math.Inf(1)}
	points := [][3]float64{s.Actor.PositionM}
	for _, at := range s.StageCamera.Positions {
		points = append(points, at.PositionM)
	}
	for _, p := range points {
		x.low, x.high = min(x.low, p[0]-room), max(x.high, p[0]+room)
		z.high, z.low = min(z.high, p[2]-room), max(z.low, p[2]+room)
	}
	// Equal sides, so that a metre is as long both ways.
	grow := ((x.high - x.low) - (z.low - z.high)) / 2
	z.high, z.low = z.high-max(grow, 0), z.low+max(grow, 0)
	x.low, x.high = x.low-max(-grow, 0), x.high+max(-grow, 0)
	return x, z
}

// plan are lines on the floor: the upright walls within it, and the sides of what the
// camera sees from a position.
func (s *shoot) plan(position int) (lines []plotter.XYs) {
	x, z := s.floor()
	inside := func(p r3.Vec) bool { return p.X >= x.low && p.X <= x.high && p.Z >= z.high && p.Z <= z.low }
	const parts = 200
	for i, w := range s.walls {
		if math.Abs(s.Walls[i].ElevationDeg) > 45 {
			continue
		}
		var line plotter.XYs
		width, height := w.Size()
		for k := range parts + 1 {
			p, ok := w.Point(float64(width*k)/parts, float64(height)/2)
			if ok = ok && inside(p); ok {
				line = append(line, plotter.XY{X: p.X, Y: p.Z})
			}
			if (!ok || k == parts) && len(line) > 1 {
				lines = append(lines, line)
			}
			if !ok {
				line = nil
			}
		}
	}
	camera, eye := s.finders[position], s.StageCamera.Positions[position].position()
	width, height := camera.Size()
	for _, side := range []float64{0, float64(width)} {
		if dir, ok := camera.Unproject(side, float64(height)/2); ok {
			const long = 1.2 // m
			far := r3.Add(eye, r3.Scale(long, dir))
			lines = append(lines, plotter.XYs{{X: eye.X, Y: eye.Z}, {X: far.X, Y: far.Z}})
		}
	}
	return lines
}
