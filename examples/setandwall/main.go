// Setandwall finds the focus and the stop that hold the actors on a set and the LED
// wall behind them: a table by the fineness of the detail, and a chart of the
// contrast along the distance, against three settings that a crew might try.
//
//	go run ./examples/setandwall
//	go run ./examples/setandwall -out evening
//
// A wall that is in focus shows its grid of pixels: ask package wall for the moiré
// before you trust such a setting.
package main

import (
	"fmt"
	"image/color"
	"io"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

const (
	mm    = unit.Milli * unit.Metre
	um    = unit.Micro * unit.Metre
	green = 0.55 * um

	focalLength       = 40 * mm
	pitch             = 4.4 * um
	columns           = 8192
	delivered         = 3840
	actors            = 3 * unit.Metre
	wall              = 6 * unit.Metre
	widest, narrowest = 2, 22
	period            = 4   // delivered pixels, of the detail that matters
	wanted            = 0.5 // of its contrast
)

func main() { program.Main("setandwall", run) }

func run(w io.Writer, out *program.Folder) error {
	fmt.Fprintf(w, "Actors at %g m, the wall at %g m, a lens of %g mm. What keeps %g %% of the contrast of both?\n\n",
		float64(actors), float64(wall), float64(focalLength/mm), 100*wanted)
	fmt.Fprintln(w, "period   on the sensor  focus   stop    contrast left  verdict")
	for _, p := range []float64{2, 3, 4, 6, 8} {
		set, err := best(p)
		if err != nil {
			return err
		}
		system, err := at(set.FNumber)
		if err != nil {
			return err
		}
		nu, _ := system.PixelFrequency(p, columns/float64(delivered))
		verdict := "holds"
		if !set.OK {
			verdict = fmt.Sprintf("%.0f points short, most is taken by %s", 100*set.Shortfall, set.Limit)
		}
		fmt.Fprintf(w, "%g px     %5.1f lp/mm    %.2f m  f/%-4.1f  %3.0f %%          %s\n", p, nu, float64(set.Focus), set.FNumber, 100*set.Contrast, verdict)
	}
	return chart(out)
}

// at is the camera at one stop.
func at(fNumber float64) (transfer.System, error) {
	l, err := lens.New(lens.Spec{FocalLength: focalLength, FNumber: fNumber})
	if err != nil {
		return transfer.System{}, err
	}
	return transfer.NewSystem(transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: pitch})
}

// best is the setting that keeps most of a detail whose period is so many delivered
// pixels.
func best(period float64) (transfer.Setting, error) {
	system, err := at(widest)
	if err != nil {
		return transfer.Setting{}, err
	}
	nu, _ := system.PixelFrequency(period, columns/float64(delivered))
	return system.BestSetting(actors, wall, transfer.Detail{LinePairsPerMM: nu, Contrast: wanted}, widest, narrowest)
}

// chart draws the contrast along the distance.
func chart(out *program.Folder) error {
	p := plot.New()
	p.Title.Text = fmt.Sprintf("Which focus and stop hold set and wall? A lens of %g mm, detail of %d delivered pixels", float64(focalLength/mm), period)
	p.Title.TextStyle.Font.Size = vg.Points(14)
	p.Title.Padding = vg.Points(12)
	p.X.Label.Text, p.Y.Label.Text = "distance from the camera, m", "contrast left, %"
	const nearest, farthest = 2., 9.
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = nearest, farthest, -20, 100
	p.X.Tick.Marker, p.Y.Tick.Marker = marks(nearest, farthest, 1), marks(-20, 100, 20)
	p.Legend.XOffs, p.Legend.YOffs, p.Legend.Padding = vg.Points(-6), vg.Points(80), vg.Points(3) // where no curve goes

	depth, err := plotter.NewPolygon(plotter.XYs{{X: float64(actors), Y: -20}, {X: float64(wall), Y: -20}, {X: float64(wall), Y: 100}, {X: float64(actors), Y: 100}})
	if err != nil {
		return err
	}
	depth.Color, depth.LineStyle.Width = color.Gray{0xee}, 0
	p.Add(depth)
	for _, level := range []struct {
		y      float64
		dashes []vg.Length
	}{{0, nil}, {100 * wanted, []vg.Length{vg.Points(3), vg.Points(3)}}} {
		line, err := plotter.NewLine(plotter.XYs{{X: nearest, Y: level.y}, {X: farthest, Y: level.y}})
		if err != nil {
			return err
		}
		line.Color, line.Width, line.Dashes = color.Gray{0x60}, vg.Points(0.8), level.dashes
		p.Add(line)
	}

	set, err := best(period)
	if err != nil {
		return err
	}
	for _, s := range []struct {
		name    string
		focus   unit.Length
		fNumber float64
		ink     color.RGBA
		width   float64
	}{
		{"on the wall", wall, 4, color.RGBA{0xe0, 0x8a, 0x1e, 0xff}, 1.6},
		{"on the actors", actors, 4, color.RGBA{0xc0, 0x3a, 0x5a, 0xff}, 1.6},
		{"between, stopped down", set.Focus, narrowest, color.RGBA{0x6a, 0x3d, 0x9a, 0xff}, 1.6},
		{"the best setting", set.Focus, set.FNumber, color.RGBA{0x10, 0x30, 0x70, 0xff}, 3},
	} {
		system, err := at(s.fNumber)
		if err != nil {
			return err
		}
		nu, _ := system.PixelFrequency(period, columns/float64(delivered))
		var points plotter.XYs
		for d := nearest; d <= farthest; d += 0.01 {
			if otf, ok := system.OTF(nu, 0, s.focus, unit.Length(d)); ok {
				points = append(points, plotter.XY{X: d, Y: 100 * otf})
			}
		}
		line, err := plotter.NewLine(points)
		if err != nil {
			return err
		}
		line.Color, line.Width = s.ink, vg.Points(s.width)
		p.Add(line)
		p.Legend.Add(fmt.Sprintf("%s: focus %.1f m, f/%.3g", s.name, float64(s.focus), s.fNumber), line)
	}
	labels, err := plotter.NewLabels(plotter.XYLabels{
		XYs:    plotter.XYs{{X: float64(actors), Y: 95}, {X: float64(wall), Y: 95}, {X: farthest, Y: 100*wanted - 5}, {X: float64(actors+wall) / 2, Y: -17}},
		Labels: []string{" actors", "wall ", "wanted ", "below 0, bright and dark change places"},
	})
	if err != nil {
		return err
	}
	labels.TextStyle[1].XAlign, labels.TextStyle[2].XAlign, labels.TextStyle[3].XAlign = draw.XRight, draw.XRight, draw.XCenter
	for i := range labels.TextStyle {
		labels.TextStyle[i].Font = p.X.Tick.Label.Font
		labels.TextStyle[i].Font.Size = vg.Points(11)
		labels.TextStyle[i].Color = color.Gray{0x40}
	}
	p.Add(labels)

	img := vgimg.NewWith(vgimg.UseWH(10*vg.Inch, 5.5*vg.Inch), vgimg.UseDPI(144))
	p.Draw(draw.Crop(draw.New(img), vg.Points(8), vg.Points(-14), vg.Points(8), vg.Points(-8)))
	return out.Save("set-and-wall.png", img)
}

// marks is a tick at every step.
func marks(from, to, step float64) plot.ConstantTicks {
	var t plot.ConstantTicks
	for v := from; v <= to; v += step {
		t = append(t, plot.Tick{Value: v, Label: fmt.Sprint(v)})
	}
	return t
}
