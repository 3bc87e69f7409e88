package main

import (
	"fmt"
	"image/color"
	"io"
	"math/rand/v2"

	"example.com/platewright/examples/internal/program"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

const (
	shown  = 120  // rows
	spread = 0.25 // of the light over its mean, from black to white in the picture
)

// strip is a picture of rows, drawn as bars from left to right.
type strip []float64

// Plot makes strip a plot.Plotter.
func (s strip) Plot(c draw.Canvas, p *plot.Plot) {
	_, toY := p.Transforms(&c)
	const seam = 0.5 // points, by which a bar goes under the next
	for r, v := range s {
		grey := uint8(255 * min(max((v-1+spread)/(2*spread), 0), 1))
		top, bottom := toY(float64(r)), max(toY(float64(r+1))-seam, c.Min.Y)
		c.FillPolygon(color.Gray{grey}, []vg.Point{{X: c.Min.X, Y: top}, {X: c.Max.X, Y: top}, {X: c.Max.X, Y: bottom}, {X: c.Min.X, Y: bottom}})
	}
}

// picture draws the bands of two shutters: predicted, rendered, and both as curves. It
// measures the rendered ones.
func picture(w io.Writer, out *program.Folder) error {
	rng := rand.New(rand.NewPCG(1, 2))
	code := codes[0]
	var plots [][]*plot.Plot
	for _, text := range []string{"12", "11.25"} {
		angle, err := timing.ParseShutterAngle(text)
		if err != nil {
			return err
		}
		p, err := predict(angle, wallRows, []int{code})
		if err != nil {
			return err
		}
		predicted, _ := p.Frame(0, 0)
		rendered, err := render(angle, code, 2*shown, rng)
		if err != nil {
			return err
		}
		found, err := banding.MeasureBands(rendered)
		if err != nil {
			return err
		}
		measured := fmt.Sprintf("none stand out of the noise, which hides up to %.2f", found.DetectionLimit)
		if bands, _ := p.Bands(0); len(bands) > 0 && found.Spacing > 0 {
			measured = fmt.Sprintf("depth %.2f ± %.2f, %.2f ± %.2f rows apart, predicted %.2f", found.Depth, found.DepthError, found.Spacing, found.SpacingError, bands[0].Spacing)
		}
		fmt.Fprintf(w, "%s: predicted depth %.3f; measured in the rendered rows: %s\n", angle, p.Worst().Depth, measured)

		predicted, rendered = predicted[:shown], rendered[:shown]
		mean := floats.Sum(predicted) / shown
		floats.Scale(1/mean, predicted)
		floats.Scale(1/mean, rendered)
		left, middle := panel(fmt.Sprintf("%s, %.4g refreshes: predicted", angle, exposed(angle))), panel("rendered, photon by photon")
		left.Add(strip(predicted))
		middle.Add(strip(rendered))
		for _, p := range []*plot.Plot{left, middle} {
			p.X.Tick.Marker = plot.ConstantTicks{}
			p.X.Label.Text = "along the row"
		}
		curves, err := compare(predicted, rendered)
		if err != nil {
			return err
		}
		plots = append(plots, []*plot.Plot{left, middle, curves})
	}
	return save(out, plots)
}

// panel is an empty plot over rows, which count downwards.
func panel(title string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.Y.Label.Text = title, "camera row, down"
	p.Title.TextStyle.Font.Size, p.Title.Padding = vg.Points(12), vg.Points(6)
	p.Y.Min, p.Y.Max, p.X.Min, p.X.Max = 0, shown, 0, 1
	p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	return p
}

// compare draws the predicted rows as a line and the rendered ones as dots.
func compare(predicted, rendered []float64) (*plot.Plot, error) {
	p := panel("both")
	p.X.Label.Text = "light of a row, % of the mean"
	p.X.Min, p.X.Max = 80, 140 // with room for the key
	p.X.Tick.Marker = plot.ConstantTicks{{Value: 80, Label: "80"}, {Value: 90, Label: "90"}, {Value: 100, Label: "100"}, {Value: 110, Label: "110"}, {Value: 120, Label: "120"}, {Value: 130, Label: "130"}}
	points := func(rows []float64) (xy plotter.XYs) {
		for r, v := range rows {
			xy = append(xy, plotter.XY{X: 100 * v, Y: float64(r) + 0.5})
		}
		return xy
	}
	line, err := plotter.NewLine(points(predicted))
	if err != nil {
		return nil, err
	}
	line.Color, line.Width = color.RGBA{0x10, 0x30, 0x70, 0xff}, vg.Points(1.6)
	dots, err := plotter.NewScatter(points(rendered))
	if err != nil {
		return nil, err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: color.RGBA{0xe0, 0x8a, 0x1e, 0xff}, Radius: vg.Points(1.8), Shape: draw.CircleGlyph{}}
	p.Add(plotter.NewGrid(), dots, line)
	p.Legend.Add("predicted", line)
	p.Legend.Add("rendered", dots)
	p.Legend.Top, p.Legend.XOffs, p.Legend.YOffs, p.Legend.Padding = true, vg.Points(-4), vg.Points(-6), vg.Points(3)
	return p, nil
}

// save draws the plots in rows, a title above and a note below.
func save(out *program.Folder, plots [][]*plot.Plot) error {
	img := vgimg.NewWith(vgimg.UseWH(13*vg.Inch, 9*vg.Inch), vgimg.UseDPI(120))
	all := draw.New(img)
	style := plots[0][0].Title.TextStyle
	style.Font.Size, style.XAlign, style.YAlign = vg.Points(15), draw.XCenter, draw.YTop
	all.FillText(style, vg.Point{X: all.Center().X, Y: all.Max.Y - vg.Points(8)},
		fmt.Sprintf("Bands of the wall at two shutters: a grey of %s, %d refreshes a frame in %d scan groups", names[0], refreshes, groups))
	style.Font.Size, style.XAlign, style.YAlign = vg.Points(11), draw.XLeft, draw.YBottom
	style.Color = color.Gray{0x40}
	all.FillText(style, vg.Point{X: all.Min.X + vg.Points(14), Y: all.Min.Y + vg.Points(6)},
		fmt.Sprintf("First %d of %d rows, wall in focus. In the pictures black is %.0f %% of the mean light, and white %.0f %%. Caution: a picture without bands does not show how the wall flashes.", shown, rows, 100*(1-spread), 100*(1+spread)))
	body := draw.Crop(all, vg.Points(8), vg.Points(-14), vg.Points(30), vg.Points(-36))
	tiles := draw.Tiles{Rows: len(plots), Cols: len(plots[0]), PadX: vg.Points(18), PadY: vg.Points(14)}
	for r, canvases := range plot.Align(plots, tiles, body) {
		for c, canvas := range canvases {
			plots[r][c].Draw(canvas)
		}
	}
	return out.Save("bands.png", img)
}
