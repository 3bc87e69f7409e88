// Pushin shows what is left of the detail when an editor pushes into a plate: a
// table, and a chart for four stops.
//
//	go run ./examples/pushin
//	go run ./examples/pushin -out evening
//
// The camera has 12288 photosites of 3 µm across, behind a lens of 12 mm that is in
// focus. The picture is delivered 3840 px wide.
package main

import (
	"fmt"
	"image/color"
	"io"
	"math"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

const (
	mm    = unit.Milli * unit.Metre
	um    = unit.Micro * unit.Metre
	green = 0.55 * um

	focalLength = 12 * mm
	pitch       = 3 * um
	columns     = 12288
	delivered   = 3840
	distance    = 10 * unit.Metre // of the focus and of the detail
	vibration   = 0.5 * um        // what the vehicle's engine leaves of a soft mount
)

func main() { program.Main("pushin", run) }

func run(w io.Writer, out *program.Folder) error {
	steps, err := series(5.6, []float64{1, 1.5, 2, 2.5, 3, 4})
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "Contrast that is left at f/5.6, of detail whose period is two or four delivered pixels.")
	fmt.Fprintln(w, "A range: green photosites alone sample it, or all of them do.")
	fmt.Fprintln(w)
	fmt.Fprintln(w, "push-in  photosites/px  two pixels              four pixels")
	for _, s := range steps {
		fmt.Fprintf(w, "%4.1f ×   %8.2f       %-22s  %s\n", s.Factor, s.PhotositesPerPixel, kept(s.Nyquist), kept(s.HalfNyquist))
	}
	return chart(out)
}

// kept is a line like "0 to 41 % at 139 lp/mm".
func kept(l transfer.Left) string {
	percent := fmt.Sprintf("%.0f %%", 100*l.Most)
	switch {
	case l.Most == 0:
		percent = "nothing"
	case l.Least < l.Most:
		percent = fmt.Sprintf("%.0f to %.0f %%", 100*l.Least, 100*l.Most)
	}
	return fmt.Sprintf("%s at %.0f lp/mm", percent, l.LinePairsPerMM)
}

// series is a series of push-ins at one stop.
func series(fNumber float64, factors []float64) ([]transfer.PushInStep, error) {
	l, err := lens.New(lens.Spec{FocalLength: focalLength, FNumber: fNumber})
	if err != nil {
		return nil, err
	}
	system, err := transfer.NewSystem(transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: pitch, Vibration: vibration})
	if err != nil {
		return nil, err
	}
	return system.PushIn(transfer.PushInSpec{
		PhotositesPerPixel: float64(columns) / delivered, Factors: factors, Focus: distance, Object: distance,
	})
}

const most = 7 // the largest push-in of the chart

// chart draws two panels side by side: detail of two delivered pixels and of four.
func chart(out *program.Folder) error {
	left, err := panel("the finest detail: a period of 2 delivered pixels", 2)
	if err != nil {
		return err
	}
	right, err := panel("detail twice as coarse: a period of 4", 4)
	if err != nil {
		return err
	}
	left.Y.Label.Text = "contrast left, %"
	for i, fNumber := range []float64{2.8, 5.6, 11, 16} {
		steps, err := series(fNumber, steps(1, most, 601))
		if err != nil {
			return err
		}
		// The colours darken with the aperture.
		ink := []color.RGBA{{0xe0, 0x8a, 0x1e, 0xff}, {0xc0, 0x3a, 0x5a, 0xff}, {0x6a, 0x3d, 0x9a, 0xff}, {0x10, 0x30, 0x70, 0xff}}[i]
		for _, p := range []struct {
			*plot.Plot
			left func(transfer.PushInStep) transfer.Left
		}{{left, func(s transfer.PushInStep) transfer.Left { return s.Nyquist }}, {right, func(s transfer.PushInStep) transfer.Left { return s.HalfNyquist }}} {
			var sure, perhaps plotter.XYs
			for _, s := range steps {
				switch l := p.left(s); {
				case l.Least > 0:
					sure = append(sure, plotter.XY{X: s.Factor, Y: 100 * l.Least})
				case l.Most > 0:
					perhaps = append(perhaps, plotter.XY{X: s.Factor, Y: 100 * l.Most})
				}
			}
			for i, points := range []plotter.XYs{sure, perhaps} {
				if len(points) == 0 {
					continue
				}
				line, err := plotter.NewLine(points)
				if err != nil {
					return err
				}
				line.Width, line.Color = vg.Points(2), ink
				if i == 1 {
					line.Dashes = []vg.Length{vg.Points(5), vg.Points(4)}
				} else if p.Plot == left {
					left.Legend.Add(fmt.Sprintf("f/%g", fNumber), line)
				}
				p.Add(line)
			}
		}
	}
	img := vgimg.NewWith(vgimg.UseWH(11*vg.Inch, 5*vg.Inch), vgimg.UseDPI(144))
	canvas := draw.New(img)
	tiles := draw.Tiles{Rows: 1, Cols: 2, PadX: vg.Points(16), PadTop: vg.Points(34), PadBottom: vg.Points(28), PadLeft: vg.Points(8), PadRight: vg.Points(14)}
	plots := [][]*plot.Plot{{left, right}}
	for i, tile := range plot.Align(plots, tiles, canvas)[0] {
		plots[0][i].Draw(tile)
	}
	title := left.Title.TextStyle
	title.Font.Size = vg.Points(15)
	canvas.FillText(title, vg.Point{X: canvas.Center().X, Y: canvas.Max.Y - vg.Points(12)},
		fmt.Sprintf("What is left of the detail when pushing in: %d photosites of 3 µm, delivered %d px wide", columns, delivered))
	title.Font.Size = vg.Points(11)
	canvas.FillText(title, vg.Point{X: canvas.Center().X, Y: vg.Points(18)},
		"Lens in focus, green light, photosites and vibration counted. Dashed: from nothing up to this, by the colour of the detail and the demosaicing.")
	return out.Save("what-is-left.png", img)
}

// panel is a plot for detail whose period is so many delivered pixels. It shows
// where the green photosites, and where all of them, become too coarse for it.
func panel(title string, period float64) (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text = title
	p.X.Label.Text = "push-in factor"
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 1, most, 0, 100
	p.X.Tick.Marker = marks(1, most, 1)
	p.Y.Tick.Marker = marks(0, 100, 20)
	p.Legend.Top = true
	p.Legend.YOffs, p.Legend.XOffs = vg.Points(-10), vg.Points(-10)
	q := float64(columns) / delivered * period // photosites in a period, without a push-in
	for _, zone := range []struct {
		from, to float64
		grey     uint8
		label    string
	}{
		{q / (2 * math.Sqrt2), q / 2, 0xee, "the mosaic decides"},
		{q / 2, most, 0xd8, "finer than the photosites"},
	} {
		area, err := plotter.NewPolygon(plotter.XYs{{X: zone.from, Y: 0}, {X: zone.to, Y: 0}, {X: zone.to, Y: 100}, {X: zone.from, Y: 100}})
		if err != nil {
			return nil, err
		}
		area.Color, area.LineStyle.Width = color.Gray{zone.grey}, 0
		label, err := plotter.NewLabels(plotter.XYLabels{
			XYs: plotter.XYs{{X: (zone.from + zone.to) / 2, Y: 97}}, Labels: []string{zone.label},
		})
		if err != nil {
			return nil, err
		}
		style := &label.TextStyle[0]
		style.Rotation, style.XAlign, style.YAlign = math.Pi/2, draw.XRight, draw.YCenter
		style.Font, style.Color = font.From(plot.DefaultFont, vg.Points(11)), color.Gray{0x40}
		p.Add(area, label)
	}
	return p, nil
}

// marks is a tick at every whole number of steps.
func marks(from, to, step float64) plot.ConstantTicks {
	var t plot.ConstantTicks
	for v := from; v <= to; v += step {
		t = append(t, plot.Tick{Value: v, Label: fmt.Sprint(v)})
	}
	return t
}

// steps is n values from one to another.
func steps(from, to float64, n int) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = from + (to-from)*float64(i)/float64(n-1)
	}
	return values
}
