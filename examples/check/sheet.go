package main

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"sort"
	"strings"

	"example.com/platewright/internal/strict"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// Colours of the sheet. Marks differ in lightness and shape as well, so that people who
// see no difference between some hues can read the sheet, and so can a grey printer.
var (
	paper  = color.RGBA{0xfa, 0xf9, 0xf5, 0xff}
	ink    = color.RGBA{0x1a, 0x1a, 0x22, 0xff}
	pencil = color.RGBA{0x6d, 0x6d, 0x78, 0xff}
	rule   = color.RGBA{0xc9, 0xc7, 0xbf, 0xff}
	shade  = color.RGBA{0xe6, 0xe4, 0xdb, 0xff}
	amber  = color.RGBA{0xff, 0xb0, 0x00, 0xff}
	sky    = color.RGBA{0x4f, 0xc3, 0xff, 0xff}
	pink   = color.RGBA{0xff, 0x5f, 0xa8, 0xff}
	white  = color.RGBA{0xff, 0xff, 0xff, 0xff}
	black  = color.RGBA{0, 0, 0, 0xff}
)

// Sizes in pixels of the sheet.
const (
	margin    = 48
	gutter    = 56 // right of a thumbnail: ticks of bands
	between   = 44
	textSize  = 19
	lineHigh  = 26
	labelSize = 16
)

// drawSheet draws the sheet: all cameras, and what was found.
func drawSheet(ctx context.Context, r *result) (image.Image, error) {
	columns := min(max(1, int(math.Ceil(math.Sqrt(1.2*float64(len(r.takes))-0.2)))), 6)
	wide := [...]float64{1200, 900, 800, 680, 600, 540}[columns-1]
	common := commonGain(r.takes)
	legend := &legend{}
	var cells []cell
	for _, t := range r.takes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		cells = append(cells, newCell(r, t, wide, common, legend))
	}
	var head cell
	head.width = max(1000, float64(columns)*(wide+gutter+between)-between)
	head.write(printable(r.Name, 200), 38, 52, ink)
	head.write(summary(r), textSize+3, lineHigh+6, ink)
	if common > 0 {
		head.write(fmt.Sprintf("Thumbnails are brightened by %s.", plural(common, "stop")), textSize, lineHigh, pencil)
	}
	for _, f := range r.Findings { // of no camera
		if shown(f) && f.Camera == "" {
			head.write(subject(f)+" "+sentence(f), textSize, lineHigh, ink)
		}
	}
	var foot cell
	foot.width = head.width
	legend.write(&foot)
	if slices.ContainsFunc(r.Findings, func(f finding) bool { return shown(f) && f.Uncertainty != nil && *f.Uncertainty > 0 }) {
		foot.space(10)
		foot.write("A value ± its uncertainty, one standard deviation.", textSize, lineHigh, ink)
	}
	if r.Caution != "" {
		foot.space(10)
		foot.write("Caution: "+printable(r.Caution, 2000), textSize, lineHigh, ink)
	}

	high := 2*margin + head.height + between + foot.height
	for row := range slices.Chunk(cells, columns) {
		high += tallest(row) + between
	}
	canvas := vgimg.NewWith(vgimg.UseWH(vg.Length(2*margin+head.width), vg.Length(high)), vgimg.UseDPI(72), vgimg.UseBackgroundColor(paper))
	p := &page{draw.New(canvas), high}
	y := float64(margin)
	head.draw(p, margin, y)
	y += head.height + between
	for row := range slices.Chunk(cells, columns) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for i, c := range row {
			c.draw(p, margin+float64(i)*(wide+gutter+between), y)
		}
		y += tallest(row) + between
	}
	foot.draw(p, margin, y)
	return canvas.Image(), nil
}

func tallest(row []cell) (high float64) {
	for _, c := range row {
		high = max(high, c.height)
	}
	return high
}

// summary counts what the sheet shows.
func summary(r *result) string {
	frames, count := 0, map[verdict]int{}
	for _, c := range r.Cameras {
		frames += c.Frames
	}
	for _, f := range r.Findings {
		count[f.Verdict]++
	}
	return fmt.Sprintf("%s of %s: %d over the limit, %d within it, %d not shown.",
		plural(frames, "frame"), plural(len(r.takes), "camera"), count[over], count[within], count[notShown])
}

// shown reports whether the sheet draws a finding: one beyond its limit, or a note of
// something that is there.
func shown(f finding) bool {
	there := f.Value != nil && *f.Value != 0 || f.Frames != nil || f.Where != nil || f.draw.Pattern != nil
	return f.Verdict == over || f.Verdict == noted && there
}

// sentence is a finding in words, without its camera.
func sentence(f finding) string {
	parts := []string{printable(f.named(), 60)}
	if f.Question == asksBands {
		parts[0] = "bands, " + parts[0]
	}
	if v := valueText(f); v != "" && f.Unit != "frames" {
		parts[0] += " " + v
	}
	if f.Limit != nil && *f.Limit != 0 {
		parts[0] += fmt.Sprintf(" (limit %.3g)", *f.Limit)
	}
	if f.Verdict == noted {
		parts[0] = "note: " + parts[0]
	}
	if f.Other != "" {
		parts[0] += " against " + printable(f.Other, 60)
	}
	if f.draw.Bands == nil && (f.Value == nil || len(f.Why) < 80) { // longer remarks stand in the report
		parts = append(parts, printable(f.Why, 200))
	}
	return strings.ReplaceAll(strings.TrimSuffix(strings.Join(parts, "; "), "; "), " -", " −")
}

func printable(s string, most int) string { return strict.Printable(s, most) }

// A page is the sheet with y down, in pixels.
type page struct {
	draw.Canvas
	high float64
}

type point struct{ x, y float64 }

func (p *page) at(o point) vg.Point { return vg.Point{X: vg.Length(o.x), Y: vg.Length(p.high - o.y)} }

func (p *page) line(c color.Color, width float64, points ...point) {
	var line []vg.Point
	for _, o := range points {
		line = append(line, p.at(o))
	}
	p.StrokeLines(draw.LineStyle{Color: c, Width: vg.Length(width)}, line)
}

// cased is a line with a black edge, which stands out on any picture.
func (p *page) cased(c color.Color, width float64, points ...point) {
	p.line(black, width+2.5, points...)
	p.line(c, width, points...)
}

func (p *page) fill(c color.Color, points ...point) {
	var corners []vg.Point
	for _, o := range points {
		corners = append(corners, p.at(o))
	}
	p.FillPolygon(c, corners)
}

func (p *page) rectangle(c color.Color, b box) { p.fill(c, b.corners()[:4]...) }

func (p *page) text(s string, size float64, c color.Color, across text.XAlignment, o point) {
	p.FillText(style(size, across, c), p.at(o), s)
}

// tag is a short text on black.
func (p *page) tag(s string, o point) box {
	w := widthOf(s, labelSize)
	b := box{o.x, o.y, w + 12, labelSize + 8}
	p.rectangle(black, b)
	p.text(s, labelSize, white, draw.XCenter, point{b.x + b.w/2, b.y + b.h/2})
	return b
}

// picture draws an image over a box.
func (p *page) picture(img image.Image, b box) {
	p.DrawImage(vg.Rectangle{Min: p.at(point{b.x, b.y + b.h}), Max: p.at(point{b.x + b.w, b.y})}, img)
}

func style(size float64, across text.XAlignment, c color.Color) text.Style {
	return text.Style{Color: c, Font: font.From(plot.DefaultFont, vg.Length(size)), XAlign: across, YAlign: draw.YCenter, Handler: plot.DefaultTextHandler}
}

func widthOf(s string, size float64) float64 {
	return float64(style(size, draw.XLeft, black).Width(s))
}

// fitted cuts a text to a width.
func fitted(s string, size, width float64) string {
	if widthOf(s, size) <= width {
		return s
	}
	r := []rune(s)
	cut := func(n int) string { return strings.TrimSpace(string(r[:n])) + "…" }
	return cut(max(1, sort.Search(len(r), func(n int) bool { return widthOf(cut(n), size) > width })-1))
}

// folds breaks a text between words into lines of a width.
func folds(s string, size, width float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && widthOf(line+" "+word, size) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += fitted(word, size, width)
	}
	return append(lines, line)
}

// box is a rectangle on the sheet.
type box struct{ x, y, w, h float64 }

// corners go around, and on to the second, so that the first is a corner of a line too.
func (b box) corners() []point {
	return []point{{b.x, b.y}, {b.x + b.w, b.y}, {b.x + b.w, b.y + b.h}, {b.x, b.y + b.h}, {b.x, b.y}, {b.x + b.w, b.y}}
}

func (b box) meets(o box) bool {
	return b.x < o.x+o.w && o.x < b.x+b.w && b.y < o.y+o.h && o.y < b.y+b.h
}

// cell is what stands one below the other.
type cell struct {
	width, height float64
	blocks        []func(p *page, x, y float64)
	heights       []float64
}

func (c *cell) add(high float64, draw func(p *page, x, y float64)) {
	c.blocks, c.heights = append(c.blocks, draw), append(c.heights, high)
	c.height += high
}

func (c *cell) space(high float64) { c.add(high, func(*page, float64, float64) {}) }

func (c *cell) write(s string, size, high float64, ink color.Color) {
	for _, line := range folds(s, size, c.width) {
		c.add(high, func(p *page, x, y float64) { p.text(line, size, ink, draw.XLeft, point{x, y + high/2}) })
	}
}

func (c *cell) draw(p *page, x, y float64) {
	for i, draw := range c.blocks {
		draw(p, x, y)
		y += c.heights[i]
	}
}

// numberedFinding is a finding with the number that it has in its cell.
type numberedFinding struct {
	finding
	number int
}

// newCell makes the cell of a camera.
func newCell(r *result, t *take, wide float64, common int, legend *legend) cell {
	c := cell{width: wide}
	c.add(36, func(p *page, x, y float64) {
		p.text(fitted(printable(t.Name, 80), 27, wide), 27, ink, draw.XLeft, point{x, y + 16})
	})
	var found []numberedFinding
	var unsure []string
	for _, v := range []verdict{over, noted} {
		for _, f := range r.Findings {
			if f.Camera == t.Name && f.Verdict == v && shown(f) {
				found = append(found, numberedFinding{f, len(found) + 1})
			}
		}
	}
	neighbours := 0
	for _, f := range r.Findings {
		switch {
		case f.Verdict == notShown && f.Camera == t.Name && !slices.Contains(unsure, f.What):
			unsure = append(unsure, f.What)
		case f.Verdict == over && f.Other == t.Name:
			neighbours++
		}
	}
	gain := gainOf(t, common)
	legend.thumbnail(&c, t, found, gain, common)
	if len(found) > 0 && (len(t.Bad) > 0 || slices.ContainsFunc(found, inTime)) {
		legend.timeLine(&c, t, found)
	}
	for _, f := range found {
		if f.Value != nil && (f.Question == asksExposure || f.Question == asksOffset) && (f.Unit == "stops" || f.Unit == "ms") {
			legend.gauge(&c, f)
		}
	}
	legend.insets(&c, found)
	c.space(6)
	const most = 12
	for i, f := range found {
		if i == most {
			c.write(fmt.Sprintf("and %d more: see the report", len(found)-most), textSize, lineHigh, pencil)
			break
		}
		how := ink
		if f.Verdict == noted {
			how = pencil
		}
		c.item(f.number, sentence(f.finding)+f.remark(t, wide), how)
	}
	for _, f := range r.Findings {
		if f.Verdict == over && f.Other == t.Name {
			c.write(fmt.Sprintf("%s: see %s", printable(f.named(), 60), printable(f.Camera, 80)), textSize, lineHigh, ink)
		}
	}
	if len(found)+neighbours == 0 {
		c.write("nothing found", textSize, lineHigh, ink)
	}
	if len(unsure) > 0 {
		c.write("not shown: "+printable(strings.Join(unsure, ", "), 200), textSize, lineHigh, pencil)
	}
	return c
}

// item is a line of a list with a number.
func (c *cell) item(number int, s string, ink color.Color) {
	const indent = 38
	lines := folds(s, textSize, c.width-indent)
	if len(lines) > 4 {
		lines = append(lines[:3], fitted(lines[3]+" "+lines[4], textSize, c.width-indent))
	}
	for i, line := range lines {
		c.add(lineHigh, func(p *page, x, y float64) {
			if i == 0 {
				p.tag(fmt.Sprint(number), point{x, y + 1})
			}
			p.text(line, textSize, ink, draw.XLeft, point{x + indent, y + lineHigh/2})
		})
	}
}

// remark says of a finding how its marks are drawn.
func (f numberedFinding) remark(t *take, wide float64) string {
	switch {
	case inTime(f) && f.Frames.Last > f.Frames.First:
		return fmt.Sprintf(", frames %s to %s", t.label(f.Frames.First), t.label(f.Frames.Last))
	case inTime(f):
		return ", frame " + t.label(f.Frames.First)
	case f.draw.Bands != nil && f.draw.Bands.Spacing > 0:
		s := fmt.Sprintf("; a band every %.4g px", f.draw.Bands.Spacing)
		if n := skip(f.draw.Bands.Spacing * wide / float64(t.Shape.Width)); n > 1 {
			s += fmt.Sprintf(", one in %d drawn", n)
		}
		return s
	case len(f.draw.Shifts) > 0:
		return fmt.Sprintf("; strokes %g times as long", exaggeration(f.draw.Shifts, wide/float64(t.Shape.Width)))
	}
	return ""
}

// label is the number of a frame, or its place in the take if it has none.
func (t *take) label(i int) string {
	if i >= 0 && i < len(t.Files) && t.Files[i].Known {
		return fmt.Sprint(t.Files[i].Number)
	}
	return fmt.Sprint(i)
}

// skip is how many bands share a tick, so that ticks stand apart.
func skip(spacing float64) int { return max(1, int(math.Ceil(5/spacing))) }

// exaggeration makes strokes of shifts long enough to be seen. scale is px of the sheet a
// px of the frame.
func exaggeration(shifts []shiftMark, scale float64) float64 {
	const longest = 40 // px of the sheet, of the middle stroke
	var lengths []float64
	for _, s := range shifts {
		lengths = append(lengths, math.Hypot(s.Across, s.Down)*scale)
	}
	slices.Sort(lengths)
	middle := lengths[len(lengths)/2]
	best := 1.0
	for _, f := range []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000} {
		if f*middle <= longest {
			best = f
		}
	}
	return best
}

// commonGain is the brightening of the middle camera in stops.
func commonGain(takes []*take) int {
	var gains []int
	for _, t := range takes {
		if t.Thumb.Width > 0 {
			gains = append(gains, ownGain(t))
		}
	}
	if len(gains) == 0 {
		return 0
	}
	slices.Sort(gains)
	return gains[len(gains)/2]
}

// gainOf is the common brightening, so that differences between cameras stay seen. A
// camera that it would leave dark or burn out, as one in another place, has its own.
func gainOf(t *take, common int) int {
	if own := ownGain(t); own < common-1 || own > common+1 {
		return own
	}
	return common
}

// ownGain is the brightening that brings the bright parts of a thumbnail near white.
func ownGain(t *take) int {
	var all []float32
	for _, ch := range t.Thumb.Channels {
		for i := 0; i < len(ch.Pix); i += 7 {
			all = append(all, ch.Pix[i])
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	bright := float64(all[len(all)*98/100])
	return int(min(max(0, math.Floor(math.Log2(0.9/max(bright, 1e-4)))), 8))
}

// displayed is a thumbnail as a screen shows it: sRGB (IEC 61966-2-1).
func displayed(s *small, gain int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, s.Width, s.Height))
	factor := math.Exp2(float64(gain))
	for k := range 3 {
		ch := s.Channels[min(k, len(s.Channels)-1)]
		for y := range s.Height {
			row, step := ch.Row(y)
			for x := range s.Width {
				v := min(max(factor*float64(row[x*step]), 0), 1)
				if v <= 0.0031308 {
					v *= 12.92
				} else {
					v = 1.055*math.Pow(v, 1/2.4) - 0.055
				}
				i := img.PixOffset(x, y)
				img.Pix[i+k], img.Pix[i+3] = uint8(255*v+0.5), 0xff
			}
		}
	}
	return img
}
