package main

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"slices"

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

// chart is a quantity over a rectangle, drawn as a picture with a colour bar.
// The colours run evenly in lightness, from night blue to sand, so they read
// without hue and to the colour-blind.
type chart struct {
	title, quantity string
	x, y            axis
	columns, rows   int
	value           func(x, y float64) float64 // NaN: no answer, drawn grey
	step            float64                    // the colours end on multiples of it
	marks           []mark
}

type axis struct {
	label     string
	low, high float64
	every     float64 // between ticks
}

// mark is a point with a name, or a closed outline with a name, in the chart's
// own coordinates.
type mark struct {
	name    string
	outline []plotter.XY
	label   int // the point of the outline that the name stands at
}

// chartColumns is how finely charts are computed; tests lower it.
var chartColumns = 720

var (
	noAnswer = color.Gray{0xb0}
	ink      = color.RGBA{0xff, 0xff, 0xff, 0xff}
	shadow   = color.RGBA{0, 0, 0, 0xff}
)

// save draws the chart into a PNG file and closes it.
func (c chart) save(ctx context.Context, f io.WriteCloser) error {
	defer f.Close()
	colours, err := moreland.NewLuminance([]color.Color{
		color.RGBA{0x06, 0x0c, 0x30, 0xff}, // night blue
		color.RGBA{0x20, 0x58, 0x8a, 0xff},
		color.RGBA{0x6e, 0x96, 0x96, 0xff},
		color.RGBA{0xdc, 0xbe, 0x5a, 0xff},
		color.RGBA{0xff, 0xf6, 0xd8, 0xff}, // sand
	})
	if err != nil {
		return err
	}
	values := c.values(ctx)
	if err := ctx.Err(); err != nil {
		return err
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	if low > high { // no answer anywhere
		low, high = 0, 0
	}
	low = math.Floor(low/c.step) * c.step
	high = max(math.Ceil(high/c.step)*c.step, low+c.step)
	colours.SetMin(low)
	colours.SetMax(high)

	img := image.NewRGBA(image.Rect(0, 0, c.columns, c.rows))
	for i, v := range values {
		img.Set(i%c.columns, i/c.columns, colourOf(colours, v))
	}

	p := plot.New()
	p.Title.Text = c.title
	p.X.Label.Text, p.Y.Label.Text = c.x.label, c.y.label
	p.X.Tick.Marker, p.Y.Tick.Marker = c.x.ticks(), c.y.ticks()
	// The plot's own axes run up from the lower left; a raster's rows run down.
	p.X.Max, p.Y.Max = math.Abs(c.x.high-c.x.low), math.Abs(c.y.high-c.y.low)
	p.Add(plotter.NewImage(img, 0, 0, p.X.Max, p.Y.Max))
	for _, m := range c.marks {
		m.outline = slices.Clone(m.outline)
		for i, o := range m.outline {
			m.outline[i] = plotter.XY{X: c.x.along(o.X), Y: c.y.along(o.Y)}
		}
		if err := m.draw(p); err != nil {
			return err
		}
	}

	bar := plot.New()
	bar.Add(&plotter.ColorBar{ColorMap: colours, Vertical: true})
	bar.HideX()
	bar.Y.Tick.Marker = multiples(low, high, niceStep(high-low, c.step), func(v float64) float64 { return v })
	bar.Y.Label.Text = c.quantity
	bar.X.Padding = 0
	bar.Title.Text = " "
	bar.X.Label.Text = " "

	const width, height, barWidth = 13 * vg.Inch, 7 * vg.Inch, 1.1 * vg.Inch
	canvas := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(110))
	dc := draw.New(canvas)
	p.Draw(draw.Crop(dc, 0.1*vg.Inch, -barWidth-0.15*vg.Inch, 0.1*vg.Inch, -0.1*vg.Inch))
	bar.Draw(draw.Crop(dc, width-barWidth, -0.1*vg.Inch, 0.45*vg.Inch, -0.1*vg.Inch))

	_, err = vgimg.PngCanvas{Canvas: canvas}.WriteTo(f)
	return errors.Join(err, f.Close())
}

// values are those at the middles of the cells, row by row from the top.
func (c chart) values(ctx context.Context) []float64 {
	values := make([]float64, c.columns*c.rows)
	parallel(ctx, c.rows, func(j int) {
		y := c.y.high + (float64(j)+0.5)/float64(c.rows)*(c.y.low-c.y.high)
		for i := range c.columns {
			x := c.x.low + (float64(i)+0.5)/float64(c.columns)*(c.x.high-c.x.low)
			values[j*c.columns+i] = c.value(x, y)
		}
	})
	return values
}

func colourOf(m palette.ColorMap, v float64) color.Color {
	if math.IsNaN(v) {
		return noAnswer
	}
	c, err := m.At(min(max(v, m.Min()), m.Max()))
	if err != nil {
		return noAnswer
	}
	return c
}

// draw adds the mark twice, dark below light, so that it reads on any colour.
func (m mark) draw(p *plot.Plot) error {
	for _, pass := range []struct {
		c color.Color
		w vg.Length
	}{{shadow, 3}, {ink, 1.2}} {
		if len(m.outline) > 1 {
			line, err := plotter.NewLine(plotter.XYs(m.outline))
			if err != nil {
				return err
			}
			line.Color, line.Width = pass.c, vg.Points(float64(pass.w))
			p.Add(line)
		}
	}
	if m.name == "" {
		return nil
	}
	at := m.outline[m.label%len(m.outline)]
	if len(m.outline) == 1 {
		for _, pass := range []struct {
			c color.Color
			r vg.Length
		}{{shadow, 4}, {ink, 2.5}} {
			dot, err := plotter.NewScatter(plotter.XYs{at})
			if err != nil {
				return err
			}
			dot.GlyphStyle = draw.GlyphStyle{Color: pass.c, Radius: vg.Points(float64(pass.r)), Shape: draw.CircleGlyph{}}
			p.Add(dot)
		}
	}
	align, offset := draw.XLeft, 4.0
	if at.X > 0.75*p.X.Max {
		align, offset = draw.XRight, -4.0
	}
	for _, pass := range []struct {
		c      color.Color
		dx, dy float64
	}{{shadow, -1, 0}, {shadow, 1, 0}, {shadow, 0, -1}, {shadow, 0, 1}, {ink, 0, 0}} {
		labels, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{at}, Labels: []string{m.name}})
		if err != nil {
			return err
		}
		labels.TextStyle[0] = text.Style{
			Color: pass.c, Font: font.From(plot.DefaultFont, 11), XAlign: align, YAlign: draw.YBottom, Handler: plot.DefaultTextHandler,
		}
		labels.Offset = vg.Point{X: vg.Points(offset + pass.dx*0.7), Y: vg.Points(3 + pass.dy*0.7)}
		p.Add(labels)
	}
	return nil
}

// niceStep is 1, 2 or 5 times a power of ten times the smallest step, so that
// no more than ten ticks fit.
func niceStep(span, smallest float64) float64 {
	for scale := smallest; ; scale *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if span/(m*scale) <= 10 {
				return m * scale
			}
		}
	}
}

// multiples are ticks at multiples of step, each placed where at says.
func multiples(low, high, step float64, at func(float64) float64) plot.Ticker {
	return plot.TickerFunc(func(_, _ float64) []plot.Tick {
		var ticks []plot.Tick
		for i := math.Ceil(low / step); i*step <= high; i++ {
			ticks = append(ticks, plot.Tick{Value: at(i * step), Label: fmt.Sprintf("%g", i*step)})
		}
		return ticks
	})
}

// along is how far a value lies from the low end of the axis.
func (a axis) along(v float64) float64 {
	if a.high < a.low {
		return a.low - v
	}
	return v - a.low
}

// ticks stand at multiples of every, by how far along the axis they lie.
func (a axis) ticks() plot.Ticker {
	return multiples(min(a.low, a.high), max(a.low, a.high), a.every, a.along)
}

// overSphere is a chart over all directions.
func overSphere(title, quantity string, step float64, value func(heading, elevation float64) float64) chart {
	return chart{
		title: title, quantity: quantity,
		x:       axis{"heading from the bow, degrees to the right", -180, 180, 30},
		y:       axis{"elevation, degrees", -90, 90, 15},
		columns: chartColumns, rows: chartColumns / 2,
		value: value, step: step,
	}
}
