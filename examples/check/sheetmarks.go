package main

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// legend knows which kinds of marks were drawn, and says in words what they mean.
type legend struct {
	clipped, crushed, place, bands, pattern, shifts, timeline, bar, offset bool
}

// write makes a line of each kind of mark.
func (l *legend) write(c *cell) {
	for _, one := range []struct {
		drawn bool
		draw  func(p *page, b box)
		words string
	}{
		{l.clipped, func(p *page, b box) { p.hatched(amber, b, 1) }, "clipped: samples at the top of their range"},
		{l.crushed, func(p *page, b box) { p.hatched(sky, b, -1) }, "crushed: samples at the bottom of their range"},
		{l.place, func(p *page, b box) { p.cased(white, 2, b.corners()...) }, "where the finding of that number is"},
		{l.bands, func(p *page, b box) {
			for i := range 3 {
				p.cased(pink, 3, point{b.x + b.w/2, b.y + 4 + 8*float64(i)}, point{b.x + b.w, b.y + 4 + 8*float64(i)})
			}
		}, "bands: their bright rows"},
		{l.pattern, func(p *page, b box) {
			p.cased(amber, 2, b.corners()...)
			p.across(amber, point{b.x + b.w/2, b.y + b.h/2}, 1, 0.3, 14)
		}, "a periodic pattern, with a line across its stripes; below, a part of it enlarged, with ticks a period apart"},
		{l.shifts, func(p *page, b box) { p.stroke(point{b.x + 6, b.y + b.h - 6}, point{b.x + b.w - 4, b.y + 5}) },
			"from where this camera shows a thing to where its neighbour does, longer than they are by the factor stated"},
		{l.timeline, func(p *page, b box) {
			p.mark("repeated", b.x+8, b.x+8, b.y+b.h/2)
			p.mark("torn", b.x+30, b.x+30, b.y+b.h/2)
		}, "frames of the take: a square is a repeated, stuck or missing frame, a stroke a torn one, a cross one that cannot be measured"},
		{l.bar, func(p *page, b box) {
			p.rectangle(shade, box{b.x, b.y + 6, b.w, b.h - 12})
			p.rectangle(ink, box{b.x + b.w/2, b.y + 8, b.w / 3, b.h - 16})
		}, "difference from the middle camera, in stops: the limits are shaded, the thin line is three uncertainties"},
		{l.offset, func(p *page, b box) {
			p.rectangle(shade, box{b.x, b.y + 6, b.w, b.h - 12})
			p.fill(ink, point{b.x + 34, b.y + b.h/2}, point{b.x + 28, b.y + 3}, point{b.x + 40, b.y + 3})
		}, "when the camera opened, in ms after the middle camera (before it: negative): the limits are shaded"},
	} {
		if !one.drawn {
			continue
		}
		const swatch, high = 48, 34
		for i, line := range folds(one.words, textSize, c.width-swatch-20) {
			c.add(high, func(p *page, x, y float64) {
				if i == 0 {
					p.rectangle(pencil, box{x, y + 2, swatch, high - 6})
					one.draw(p, box{x + 2, y + 4, swatch - 4, high - 10})
				}
				p.text(line, textSize, ink, draw.XLeft, point{x + swatch + 16, y + high/2 - 1})
			})
		}
	}
}

// thumbnail draws a frame of the take with the marks of what was found.
func (l *legend) thumbnail(c *cell, t *take, found []numberedFinding, gain, common int) {
	if t.Thumb.Width == 0 || t.Shape.Width == 0 {
		c.add(90, func(p *page, x, y float64) {
			p.rectangle(shade, box{x, y, c.width, 80})
			p.text("no frame could be measured", textSize, pencil, draw.XCenter, point{x + c.width/2, y + 40})
		})
		return
	}
	scale := min(c.width/float64(t.Shape.Width), 3*c.width/float64(t.Shape.Height))
	high := scale * float64(t.Shape.Height)
	for _, f := range found {
		l.note(f)
	}
	img := displayed(&t.Thumb, gain)
	c.add(high+8, func(p *page, x, y float64) {
		frame := box{x, y, scale * float64(t.Shape.Width), high}
		// Columns and rows that filled no pixel of the thumbnail are missing at its far sides.
		f := scale * float64(t.Thumb.Factor)
		p.rectangle(black, frame)
		p.picture(img, box{x, y, min(f*float64(t.Thumb.Width), frame.w), min(f*float64(t.Thumb.Height), frame.h)})
		o := overlay{page: p, frame: frame, scale: scale, rows: t.Shape.Height}
		for i := len(found) - 1; i >= 0; i-- { // what matters most is drawn last
			o.draw(found[i])
		}
		p.line(pencil, 1, frame.corners()...)
		o.tags(found)
	})
	if gain != common {
		how := "not brightened"
		if gain > 0 {
			how = "brightened by " + plural(gain, "stop")
		}
		c.write(how, labelSize, lineHigh-4, pencil)
	}
}

// note takes down which kinds of marks a finding has.
func (l *legend) note(f numberedFinding) {
	switch {
	case f.draw.Pattern != nil:
		l.pattern = true
	case f.draw.Bands != nil:
		l.bands = true
	case len(f.draw.Shifts) > 0:
		l.shifts = true
	case f.Question == asksLevels && len(f.draw.Areas) > 0:
		l.clipped = l.clipped || f.What != "crushed"
		l.crushed = l.crushed || f.What == "crushed"
	case len(f.places()) > 0:
		l.place = true
	}
}

// places are the areas that a finding names.
func (f numberedFinding) places() []region {
	if len(f.draw.Areas) > 0 || f.Where == nil {
		return f.draw.Areas
	}
	return []region{*f.Where}
}

// overlay draws marks on a thumbnail.
type overlay struct {
	*page
	frame box
	scale float64 // px of the sheet a px of the frame
	rows  int
	spots map[int]point // where a finding's number should stand
}

func (o *overlay) on(x, y float64) point {
	return point{o.frame.x + o.scale*x, o.frame.y + o.scale*y}
}

// area is a region on the sheet, large enough to be seen and within the thumbnail.
func (o *overlay) area(r region) box {
	const least = 16
	a := o.on(float64(r.X), float64(r.Y))
	w, h := o.scale*float64(r.Width), o.scale*float64(r.Height)
	if w < least {
		a.x, w = a.x-(least-w)/2, least
	}
	if h < least {
		a.y, h = a.y-(least-h)/2, least
	}
	x, y := max(a.x, o.frame.x), max(a.y, o.frame.y)
	return box{x, y, max(4, min(a.x+w, o.frame.x+o.frame.w)-x), max(4, min(a.y+h, o.frame.y+o.frame.h)-y)}
}

func (o *overlay) draw(f numberedFinding) {
	if o.spots == nil {
		o.spots = map[int]point{}
	}
	faint := func(c color.RGBA) color.RGBA {
		if f.Verdict == over {
			return c
		}
		return color.RGBA{uint8((int(c.R) + 0x90) / 2), uint8((int(c.G) + 0x90) / 2), uint8((int(c.B) + 0x90) / 2), 0xff}
	}
	switch {
	case f.draw.Pattern != nil:
		m := f.draw.Pattern
		b := o.area(m.Region)
		o.cased(faint(amber), 3.5, b.corners()...)
		if m.Across != 0 || m.Down != 0 {
			o.across(faint(amber), point{b.x + b.w/2, b.y + b.h/2}, m.Across, m.Down, 0.35*min(b.w, b.h))
		}
		o.spots[f.number] = point{b.x, b.y}
	case f.draw.Bands != nil && f.draw.Bands.Spacing > 0:
		m := f.draw.Bands
		step := m.Spacing * float64(skip(m.Spacing*o.scale))
		right := o.frame.x + o.frame.w
		first := math.Mod(m.First, m.Spacing)
		if first < 0 {
			first += m.Spacing
		}
		for y := first; y < float64(o.rows); y += step {
			at := o.on(0, y).y
			o.cased(faint(pink), 3, point{right - 14, at}, point{right + 14, at})
		}
		o.spots[f.number] = point{right + 20, o.frame.y}
	case len(f.draw.Shifts) > 0:
		factor := exaggeration(f.draw.Shifts, o.scale)
		every := 1 + len(f.draw.Shifts)/60
		for i := 0; i < len(f.draw.Shifts); i += every {
			s := f.draw.Shifts[i]
			o.stroke(o.on(s.X, s.Y), o.on(s.X+factor*s.Across, s.Y+factor*s.Down))
		}
		s := f.draw.Shifts[len(f.draw.Shifts)/2]
		o.spots[f.number] = o.on(s.X, s.Y)
	default:
		for i, r := range f.places() {
			b := o.area(r)
			switch {
			case f.Question != asksLevels:
				o.cased(faint(white), 2, b.corners()...)
			case f.What == "crushed":
				o.hatched(faint(sky), b, -1)
			default:
				o.hatched(faint(amber), b, 1)
			}
			if i == 0 {
				o.spots[f.number] = point{b.x + b.w + 4, b.y - 6}
			}
		}
	}
}

// tags puts the numbers of findings beside their marks, none on another.
func (o *overlay) tags(found []numberedFinding) {
	var taken []box
	for _, f := range found {
		at, ok := o.spots[f.number]
		if !ok {
			continue
		}
		name := fmt.Sprint(f.number)
		b := box{at.x, max(at.y, o.frame.y), widthOf(name, labelSize) + 12, labelSize + 8}
		b.x = min(b.x, o.frame.x+o.frame.w+gutter-b.w)
		for range 40 {
			i := slices.IndexFunc(taken, b.meets)
			if i < 0 {
				break
			}
			if b.y = taken[i].y + taken[i].h + 2; b.y+b.h > o.frame.y+o.frame.h {
				b.x, b.y = b.x-b.w-4, o.frame.y
			}
		}
		taken = append(taken, o.tag(name, point{b.x, b.y}))
	}
}

// hatched is an outline with slanted lines in it: rising (1) or falling (−1).
func (p *page) hatched(c color.Color, b box, slant float64) {
	const step = 13
	for d := step - b.h; d < b.w; d += step {
		from, to := max(0, d), min(b.w, d+b.h) // along the box; the line is at the bottom at d
		up := func(x float64) float64 {
			if slant > 0 {
				return b.y + b.h - (x - d)
			}
			return b.y + (x - d)
		}
		p.line(black, 5, point{b.x + from, up(from)}, point{b.x + to, up(to)})
		p.line(c, 3, point{b.x + from, up(from)}, point{b.x + to, up(to)})
	}
	p.cased(c, 3, b.corners()...)
}

// across is a line with bars at its ends, along a direction.
func (p *page) across(c color.Color, middle point, dx, dy, half float64) {
	n := math.Hypot(dx, dy)
	dx, dy = dx/n, dy/n
	a, b := point{middle.x - half*dx, middle.y - half*dy}, point{middle.x + half*dx, middle.y + half*dy}
	p.cased(c, 2, a, b)
	for _, end := range []point{a, b} {
		p.cased(c, 2, point{end.x - 7*dy, end.y + 7*dx}, point{end.x + 7*dy, end.y - 7*dx})
	}
}

// stroke is a line from a dot.
func (p *page) stroke(from, to point) {
	p.cased(white, 3, from, to)
	for _, pass := range []struct {
		c color.Color
		r vg.Length
	}{{black, 5}, {white, 3.5}} {
		p.DrawGlyph(draw.GlyphStyle{Color: pass.c, Radius: pass.r, Shape: draw.CircleGlyph{}}, p.at(from))
	}
}

// inTime reports whether a finding has its place in the time line.
func inTime(f numberedFinding) bool {
	return f.Frames != nil && (f.Question == asksFrames || f.Question == asksRepeats || f.Question == asksFlashes)
}

// timeLine draws the frames of a take as a line, with marks.
func (l *legend) timeLine(c *cell, t *take, found []numberedFinding) {
	l.timeline = true
	n := len(t.Files)
	c.add(64, func(p *page, x, y float64) {
		const inset = 12
		middle := y + 24
		at := func(i int) float64 {
			return x + inset + (c.width-2*inset)*(float64(i)+0.5)/float64(n)
		}
		p.line(pencil, 2, point{x, middle}, point{x + c.width, middle})
		var taken []box
		write := func(s string, at float64) {
			w := widthOf(s, labelSize)
			b := box{min(max(at-w/2, x), x+c.width-w), middle + 16, w, labelSize}
			if slices.ContainsFunc(taken, box{b.x - 8, b.y, b.w + 16, b.h}.meets) {
				return
			}
			taken = append(taken, b)
			p.text(s, labelSize, pencil, draw.XLeft, point{b.x, b.y + b.h/2})
		}
		for _, b := range t.Bad {
			p.mark("bad", at(b.Index), at(b.Index), middle)
			write(t.label(b.Index), at(b.Index))
		}
		for _, f := range found {
			if inTime(f) && !(f.Question == asksFrames && f.Verdict == over && strings.HasPrefix(f.What, "bad")) {
				p.mark(f.What, at(f.Frames.First), at(f.Frames.Last), middle)
				write(t.label(f.Frames.First), at(f.Frames.First))
			}
		}
		write("frame "+t.label(0), x)
		write(t.label(n-1), x+c.width)
	})
}

// mark is a mark of frames on a time line.
func (p *page) mark(what string, from, to, y float64) {
	switch what {
	case "torn":
		p.cased(amber, 3, point{from - 5, y + 11}, point{from + 5, y - 11})
	case "bad":
		p.line(ink, 3, point{from - 6, y + 6}, point{from + 6, y - 6})
		p.line(ink, 3, point{from - 6, y - 6}, point{from + 6, y + 6})
	default:
		b := box{from - 6, y - 7, max(12, to-from+12), 14}
		p.rectangle(black, box{b.x - 2, b.y - 2, b.w + 4, b.h + 4})
		p.rectangle(pink, b)
	}
}

// gauge draws a difference on a scale: one of exposure as a bar, one of time as a mark.
func (l *legend) gauge(c *cell, f numberedFinding) {
	v, u, limit := *f.Value, 0.0, 0.0
	if f.Uncertainty != nil {
		u = *f.Uncertainty
	}
	if f.Limit != nil {
		limit = *f.Limit
	}
	isTime := f.Unit == "ms"
	l.bar = l.bar || !isTime
	l.offset = l.offset || isTime
	span := 1.25 * max(math.Abs(v)+3*u, limit, 1e-6)
	name := f.named()
	c.add(58, func(p *page, x, y float64) {
		const left, right, high = 170, 40, 18
		p.tag(fmt.Sprint(f.number), point{x, y + 6})
		p.text(fitted(name, labelSize, left-40), labelSize, ink, draw.XLeft, point{x + 32, y + 18})
		wide := c.width - left - right
		at := func(v float64) float64 { return x + left + wide/2*(1+v/span) }
		middle := y + 18
		p.rectangle(shade, box{at(-limit), middle - high/2, at(limit) - at(-limit), high})
		p.line(rule, 1.5, point{at(-span), middle}, point{at(span), middle})
		step := tickStep(span)
		for i := math.Ceil(-span / step); i*step <= span; i++ {
			p.line(pencil, 1, point{at(i * step), middle + 9}, point{at(i * step), middle + 15})
			unit := ""
			if i == 0 {
				unit = " " + f.Unit
			}
			p.text(strings.ReplaceAll(fmt.Sprintf("%.3g", i*step), "-", "−")+unit, labelSize-2, pencil, draw.XCenter, point{at(i * step), middle + 25})
		}
		p.line(ink, 1.5, point{at(0), middle - 12}, point{at(0), middle + 12})
		p.line(ink, 1.5, point{at(v - 3*u), middle}, point{at(v + 3*u), middle})
		if isTime {
			p.fill(ink, point{at(v), middle + 4}, point{at(v) - 8, middle - 13}, point{at(v) + 8, middle - 13})
			return
		}
		p.rectangle(ink, box{min(at(0), at(v)), middle - 6, math.Abs(at(v) - at(0)), 12})
	})
}

// tickStep is 1, 2 or 5 times a power of ten, for some five ticks between −span and span.
func tickStep(span float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(span)))
	for _, m := range []float64{0.2, 0.5, 1, 2} {
		if span/(m*power) <= 3.2 {
			return m * power
		}
	}
	return 5 * power
}

// insets draws parts of patterns enlarged.
func (l *legend) insets(c *cell, found []numberedFinding) {
	var some []numberedFinding
	widest, tallest := 0, 0
	for _, f := range found {
		if m := f.draw.Pattern; m != nil && m.Inset.Width > 0 && len(some) < 4 {
			some = append(some, f)
			widest, tallest = max(widest, m.Inset.Width), max(tallest, m.Inset.Height)
		}
	}
	if len(some) == 0 {
		return
	}
	const gap = 16
	room := min(256, (c.width+gap)/float64(len(some))-gap)
	times := max(1, int(room/float64(widest)))
	high := float64(times * tallest)
	c.add(high+20, func(p *page, x, y float64) {
		y += 8
		for i, f := range some {
			m := f.draw.Pattern
			img := enlarged(&m.Inset, times)
			b := box{math.Round(x + float64(i)*(room+gap)), math.Round(y), float64(img.Bounds().Dx()), float64(img.Bounds().Dy())}
			p.picture(img, b)
			p.line(pencil, 1, b.corners()...)
			if n := math.Hypot(m.Across, m.Down); n > 0 {
				half := 0.4 * min(b.w, b.h)
				middle := point{b.x + b.w/2, b.y + b.h/2}
				dx, dy := m.Across/n, m.Down/n
				p.cased(amber, 2, point{middle.x - half*dx, middle.y - half*dy}, point{middle.x + half*dx, middle.y + half*dy})
				for d := 0.0; d <= half && float64(times)/n >= 4; d += float64(times) / n {
					for _, s := range []float64{d, -d} {
						o := point{middle.x + s*dx, middle.y + s*dy}
						p.line(black, 4, point{o.x - 6*dy, o.y + 6*dx}, point{o.x + 6*dy, o.y - 6*dx})
						p.line(amber, 2, point{o.x - 5*dy, o.y + 5*dx}, point{o.x + 5*dy, o.y - 5*dx})
					}
				}
			}
			p.tag(fmt.Sprint(f.number), point{b.x, b.y})
		}
	})
	c.write(fmt.Sprintf("parts enlarged %d times, their contrast stretched", times), labelSize, lineHigh-4, pencil)
}

// enlarged shows each sample as a square, from black at the second percentile to white at
// the 98th.
func enlarged(s *small, times int) image.Image {
	ch := s.Channels[len(s.Channels)/2]
	var all []float32
	for y := range s.Height {
		row, step := ch.Row(y)
		for x := range s.Width {
			all = append(all, row[x*step])
		}
	}
	sorted := slices.Clone(all)
	slices.Sort(sorted)
	low, high := float64(sorted[len(sorted)*2/100]), float64(sorted[len(sorted)*98/100])
	img := image.NewGray(image.Rect(0, 0, s.Width*times, s.Height*times))
	for y := range s.Height * times {
		for x := range s.Width * times {
			v := (float64(all[y/times*s.Width+x/times]) - low) / max(high-low, 1e-9)
			img.Pix[y*img.Stride+x] = uint8(255*min(max(v, 0), 1) + 0.5)
		}
	}
	return img
}
