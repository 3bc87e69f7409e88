package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"

	"example.com/platewright/internal/parallel"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/palette"
	"gonum.org/v1/plot/palette/moreland"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// chart is a quantity over a rectangle. It is drawn as a picture with a key to its
// colours and marks. The lightness of the colours rises evenly from night blue to sand,
// so a chart can be read in grey and by the colour-blind.
type chart struct {
	title, quantity string
	note            string // below the title
	x, y            axis
	columns, rows   int
	value           func(x, y float64) float64 // NaN: no answer, drawn grey
	weight          func(x, y float64) float64 // of a cell in the percentiles of the scale; nil: 1
	step            float64                    // the range of colours ends on multiples of step
	whole           bool                       // the values are whole numbers and have one colour each
	marks           []mark
}

type axis struct {
	label     string
	low, high float64
	every     float64 // distance of ticks; 0: chosen to fit
}

// mark is a named point or outline in the chart's coordinates. The chart shows its
// number, and the key its name: names can be long, and marks close together.
type mark struct {
	name   string
	points []plotter.XY
	round  float64 // the period of a cyclic x axis, as 360°; 0: the axis is not cyclic
}

// chartColumns is the number of cells across a chart. Tests lower it.
var chartColumns = 720

const (
	chartWidth, chartHeight = 14 * vg.Inch, 7 * vg.Inch // a long key makes the picture higher
	keyWidth                = 2.9 * vg.Inch
	finest                  = 1440 // px across the picture
	outliers                = 0.02 // fraction of the values beyond each end of the colours
	nameLength              = 34   // characters; longer names are cut
	mostClasses             = 10   // colours of a chart of whole numbers
)

var (
	noAnswer = color.Gray{0xb0}
	ink      = color.RGBA{0xff, 0xff, 0xff, 0xff}
	shadow   = color.RGBA{0, 0, 0, 0xff}
)

// scale maps the values of a chart to colours.
type scale struct {
	colours   palette.ColorMap
	low, high float64
	clipped   bool // some values lie outside low to high
	empty     bool // the chart has no values
}

// scale chooses the colours for the values of the chart.
func (c *chart) scale(values []float64) (s scale, err error) {
	s.colours, err = moreland.NewLuminance([]color.Color{
		color.RGBA{0x06, 0x0c, 0x30, 0xff}, // night blue
		color.RGBA{0x20, 0x58, 0x8a, 0xff},
		color.RGBA{0x6e, 0x96, 0x96, 0xff},
		color.RGBA{0xdc, 0xbe, 0x5a, 0xff},
		color.RGBA{0xff, 0xf6, 0xd8, 0xff}, // sand
	})
	if err != nil {
		return s, err
	}
	type weighed struct{ v, w float64 }
	var all []weighed
	total := 0.0
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		w := 1.0
		if c.weight != nil {
			w = c.weight(c.cell(i%c.columns, i/c.columns))
		}
		all = append(all, weighed{v, w})
		total += w
	}
	if len(all) == 0 {
		s.empty, s.low, s.high = true, 0, c.step
	} else {
		slices.SortFunc(all, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
		s.low, s.high = all[0].v, all[len(all)-1].v
		if !c.whole {
			sum := 0.0
			for _, one := range all {
				if sum <= outliers*total {
					s.low = one.v
				}
				if sum <= (1-outliers)*total {
					s.high = one.v
				}
				sum += one.w
			}
		}
		s.low = math.Floor(s.low/c.step) * c.step
		s.high = max(math.Ceil(s.high/c.step)*c.step, s.low+c.step)
		if c.whole {
			s.high = all[len(all)-1].v
		}
		s.clipped = all[0].v < s.low || all[len(all)-1].v > s.high
	}
	s.colours.SetMin(s.low)
	s.colours.SetMax(max(s.high, s.low+c.step))
	return s, nil
}

// class is the number of whole numbers that share a colour.
func (s *scale) class() float64 { return math.Ceil((s.high - s.low + 1) / mostClasses) }

func (s *scale) at(v float64, whole bool) color.Color {
	if math.IsNaN(v) || s.empty {
		return noAnswer
	}
	if whole {
		v = s.low + math.Floor((v-s.low)/s.class())*s.class()
	}
	one, err := s.colours.At(min(max(v, s.colours.Min()), s.colours.Max()))
	if err != nil {
		return noAnswer
	}
	return one
}

// save draws the chart into a PNG file and closes it.
func (c *chart) save(ctx context.Context, f io.WriteCloser) error {
	defer f.Close()
	values, err := c.values(ctx)
	if err != nil {
		return err
	}
	s, err := c.scale(values)
	if err != nil {
		return err
	}
	n := max(1, finest/c.columns) // px across a cell
	img := image.NewRGBA(image.Rect(0, 0, c.columns*n, c.rows*n))
	for i, v := range values {
		colour := s.at(v, c.whole)
		for y := i / c.columns * n; y < (i/c.columns+1)*n; y++ {
			for x := i % c.columns * n; x < (i%c.columns+1)*n; x++ {
				img.Set(x, y, colour)
			}
		}
	}

	p := plot.New()
	p.Title.Text = c.title
	p.Title.TextStyle.Font.Size = 13
	for _, line := range wrapText(c.note, 120) {
		p.Title.Text += "\n" + strings.TrimSpace(line)
	}
	p.X.Label.Text, p.Y.Label.Text = c.x.label, c.y.label
	p.X.Tick.Marker, p.Y.Tick.Marker = c.x.ticks(), c.y.ticks()
	// The plot's own axes run up from the lower left; a raster's rows run down.
	p.X.Max, p.Y.Max = math.Abs(c.x.high-c.x.low), math.Abs(c.y.high-c.y.low)
	p.Add(plotter.NewImage(img, 0, 0, p.X.Max, p.Y.Max))

	// If the key is longer than the chart, the picture becomes higher.
	height := max(chartHeight, c.drawKey(&s, draw.New(vgimg.New(keyWidth, chartHeight)))+0.6*vg.Inch)
	canvas := vgimg.NewWith(vgimg.UseWH(chartWidth, height), vgimg.UseDPI(110))
	dc := draw.New(canvas)
	main := draw.Crop(dc, 0.1*vg.Inch, -keyWidth, height-chartHeight+0.1*vg.Inch, -0.1*vg.Inch)
	p.Draw(main)
	c.drawMarks(p, main)
	c.drawKey(&s, draw.Crop(dc, chartWidth-keyWidth+0.15*vg.Inch, -0.1*vg.Inch, 0, -0.45*vg.Inch))
	_, err = vgimg.PngCanvas{Canvas: canvas}.WriteTo(f)
	return errors.Join(err, f.Close())
}

// cell is the centre of a cell, in the chart's coordinates.
func (c *chart) cell(i, j int) (x, y float64) {
	return c.x.low + (float64(i)+0.5)/float64(c.columns)*(c.x.high-c.x.low),
		c.y.high + (float64(j)+0.5)/float64(c.rows)*(c.y.low-c.y.high)
}

// values evaluates the chart at the centres of the cells, row by row from the top.
func (c *chart) values(ctx context.Context) ([]float64, error) {
	values := make([]float64, c.columns*c.rows)
	err := parallel.Until(ctx, c.rows, func(j int) {
		for i := range c.columns {
			values[j*c.columns+i] = c.value(c.cell(i, j))
		}
	})
	return values, err
}

func style(size vg.Length, x text.XAlignment, y text.YAlignment, c color.Color) text.Style {
	return text.Style{Color: c, Font: font.From(plot.DefaultFont, size), XAlign: x, YAlign: y, Handler: plot.DefaultTextHandler}
}

// drawMarks draws outlines and points in white with a black edge, so that they stand out
// on any colour. It puts their numbers where they cover least.
func (c *chart) drawMarks(p *plot.Plot, whole draw.Canvas) {
	area := p.DataCanvas(whole)
	toX, toY := p.Transforms(&area)
	place := func(o plotter.XY) vg.Point {
		return vg.Point{X: toX(c.x.along(o.X)), Y: toY(c.y.along(o.Y))}
	}
	var lines [][]vg.Point
	for _, m := range c.marks {
		for _, line := range m.lines(c.x) {
			var one []vg.Point
			for _, o := range line {
				one = append(one, place(o))
			}
			lines = append(lines, one)
		}
	}
	var taken []vg.Rectangle
	for _, pass := range []struct {
		c color.Color
		w vg.Length
	}{{shadow, 1.6}, {ink, 0}} {
		for _, line := range lines {
			if len(line) == 1 {
				area.DrawGlyph(draw.GlyphStyle{Color: pass.c, Radius: 2.6 + pass.w, Shape: draw.CircleGlyph{}}, line[0])
				taken = append(taken, around(line[0], 3.6, 3.6))
			} else {
				area.StrokeLines(draw.LineStyle{Color: pass.c, Width: 1.2 + pass.w}, line)
			}
		}
	}
	numbers := style(10, draw.XCenter, draw.YCenter, ink)
	for i, m := range c.marks {
		name := fmt.Sprint(i + 1)
		w, h := numbers.Width(name)/2+2, vg.Length(6.5)
		best, least := vg.Point{}, math.MaxInt
		for _, o := range m.points {
			at := place(o)
			for far := range 4 {
				for _, side := range [][2]vg.Length{{1, 1}, {-1, 1}, {1, -1}, {-1, -1}, {0, 1}, {0, -1}, {1, 0}, {-1, 0}} {
					spot := vg.Point{X: at.X + side[0]*(w*vg.Length(1+2*far)+4), Y: at.Y + side[1]*(h*vg.Length(1+2*far)+4)}
					if hits := conflicts(around(spot, w, h), area.Rectangle, lines, taken); hits < least {
						best, least = spot, hits
					}
					if least == 0 {
						break
					}
				}
			}
		}
		box := around(best, w, h)
		taken = append(taken, box)
		area.FillPolygon(color.RGBA{0, 0, 0, 0xc0}, []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}})
		area.FillText(numbers, best, name)
	}
}

func around(at vg.Point, w, h vg.Length) vg.Rectangle {
	return vg.Rectangle{Min: vg.Point{X: at.X - w, Y: at.Y - h}, Max: vg.Point{X: at.X + w, Y: at.Y + h}}
}

// conflicts is the penalty of a label at a place. Covering lines costs little, covering
// other labels and points costs more, and leaving the chart costs most.
func conflicts(box, area vg.Rectangle, lines [][]vg.Point, taken []vg.Rectangle) int {
	n := 0
	if box.Min.X < area.Min.X || box.Max.X > area.Max.X || box.Min.Y < area.Min.Y || box.Max.Y > area.Max.Y {
		n += 10000
	}
	for _, t := range taken {
		if box.Min.X < t.Max.X && t.Min.X < box.Max.X && box.Min.Y < t.Max.Y && t.Min.Y < box.Max.Y {
			n += 1000
		}
	}
	for _, line := range lines {
		for i := 1; i < len(line); i++ {
			const parts = 8
			for k := range parts {
				f := vg.Length(k) / parts
				x, y := line[i-1].X+(line[i].X-line[i-1].X)*f, line[i-1].Y+(line[i].Y-line[i-1].Y)*f
				if x > box.Min.X && x < box.Max.X && y > box.Min.Y && y < box.Max.Y {
					n++
				}
			}
		}
	}
	return n
}

// lines splits the outline where it crosses the end of a cyclic axis.
func (m *mark) lines(x axis) (lines [][]plotter.XY) {
	line := []plotter.XY{m.points[0]}
	for i := 1; i < len(m.points); i++ {
		a, b := m.points[i-1], m.points[i]
		if d := b.X - a.X; m.round > 0 && math.Abs(d) > m.round/2 {
			turn := math.Copysign(m.round, d)
			out, in := x.low, x.high // the line leaves the chart at out and comes back at in
			if d < 0 {
				out, in = in, out
			}
			y := a.Y + (b.Y-a.Y)*(out-a.X)/(b.X-turn-a.X)
			lines = append(lines, append(line, plotter.XY{X: out, Y: y}))
			line = []plotter.XY{{X: in, Y: y}}
		}
		line = append(line, b)
	}
	return append(lines, line)
}

// drawKey draws the meanings of the colours and numbers, from the top of an
// area down. It returns the height of the key.
func (c *chart) drawKey(s *scale, area draw.Canvas) vg.Length {
	plain := style(10, draw.XLeft, draw.YCenter, color.Black)
	const row = 15
	y := area.Max.Y
	write := func(indent vg.Length, line string) {
		area.FillText(plain, vg.Point{X: area.Min.X + indent, Y: y - row/2 + 2}, line)
		y -= row
	}
	swatch := func(one color.Color) {
		low, high, right := y-row+2, y-1, area.Min.X+24
		area.FillPolygon(one, []vg.Point{{X: area.Min.X, Y: low}, {X: right, Y: low}, {X: right, Y: high}, {X: area.Min.X, Y: high}})
	}
	for _, line := range wrapText(c.quantity, nameLength+6) {
		write(0, strings.TrimSpace(line))
	}
	switch {
	case s.empty:
	case c.whole:
		for v := s.high - math.Mod(s.high-s.low, s.class()); v >= s.low; v -= s.class() {
			swatch(s.at(v, true))
			last := min(v+s.class()-1, s.high)
			if last > v {
				write(32, fmt.Sprintf("%g to %g", v, last))
			} else {
				write(32, fmt.Sprintf("%g", v))
			}
		}
	default:
		const height = 13 * row
		bar := image.NewRGBA(image.Rect(0, 0, 1, 256))
		for i := range 256 {
			bar.Set(0, i, s.at(s.high+(s.low-s.high)*(float64(i)+0.5)/256, false))
		}
		y -= 6
		area.DrawImage(vg.Rectangle{Min: vg.Point{X: area.Min.X, Y: y - height}, Max: vg.Point{X: area.Min.X + 24, Y: y}}, bar)
		step := niceStep(s.high-s.low, c.step)
		for i := math.Ceil(s.low / step); i*step <= s.high; i++ {
			at := y - height + height*vg.Length((i*step-s.low)/(s.high-s.low))
			area.StrokeLine2(draw.LineStyle{Color: color.Black, Width: 0.5}, area.Min.X+24, at, area.Min.X+28, at)
			area.FillText(plain, vg.Point{X: area.Min.X + 32, Y: at}, fmt.Sprintf("%g", i*step))
		}
		y -= height + 6
		if s.clipped {
			write(0, "values beyond are clipped: 2 % at most")
			write(0, "at either end")
		}
	}
	swatch(noAnswer)
	write(32, "none")
	y -= row / 2
	for i, m := range c.marks {
		name := []rune(m.name)
		if len(name) > nameLength {
			name = append(name[:nameLength-1], '…')
		}
		write(0, fmt.Sprintf("%d  %s", i+1, string(name)))
	}
	return area.Max.Y - y
}

// niceStep is the smallest distance of ticks that gives at most about ten of them over
// span. It is smallest times 1, 2 or 5 times a power of ten.
func niceStep(span, smallest float64) float64 {
	for scale := smallest; ; scale *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if span/(m*scale) <= 10 {
				return m * scale
			}
		}
	}
}

// along is the distance of a value from the low end of the axis.
func (a axis) along(v float64) float64 {
	if a.high < a.low {
		return a.low - v
	}
	return v - a.low
}

// ticks stand at multiples of every. Their values are distances along the axis.
func (a axis) ticks() plot.Ticker {
	low, high, step := min(a.low, a.high), max(a.low, a.high), a.every
	if step == 0 {
		step = niceStep(high-low, 1)
	}
	return plot.TickerFunc(func(_, _ float64) []plot.Tick {
		var ticks []plot.Tick
		for i := math.Ceil(low / step); i*step <= high; i++ {
			ticks = append(ticks, plot.Tick{Value: a.along(i * step), Label: fmt.Sprintf("%g", i*step)})
		}
		return ticks
	})
}

// overSphere is a chart over all directions.
func overSphere(title, quantity string, step float64, value func(heading, elevation float64) float64) chart {
	return chart{
		title: title, quantity: quantity,
		x:       axis{"heading from the bow, degrees to the right", -180, 180, 30},
		y:       axis{"elevation, degrees", -90, 90, 15},
		columns: chartColumns, rows: chartColumns / 2,
		value:  value,
		weight: func(_, elevation float64) float64 { return math.Cos(elevation * float64(deg)) },
		step:   step,
	}
}
