package wall

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
)

// Link is an open standard of a serial digital link. The line rate carries
// blanking as well as the picture. The picture is a raster of Width × Height
// pixels of 20 bit (10 bit, 4:2:2), at most Num/Den times a second.
type Link struct {
	Standard      string
	LineRate      float64 // bit/s
	Width, Height int     // pixels of the active picture
	Num, Den      int64   // the highest frame rate, Num/Den frames a second
}

// Links lists serial digital links by standard and rate. Each rate exists also
// divided by 1.001, with its frame rates divided by 1.001.
//
// Source: SMPTE ST 292-1, ST 424, ST 2081-10, ST 2082-10, from memory.
func Links() []Link {
	return []Link{
		{"SMPTE ST 292-1", 1.485e9 / 1.001, 1920, 1080, 30000, 1001},
		{"SMPTE ST 292-1", 1.485e9, 1920, 1080, 30, 1},
		{"SMPTE ST 424", 2.97e9 / 1.001, 1920, 1080, 60000, 1001},
		{"SMPTE ST 424", 2.97e9, 1920, 1080, 60, 1},
		{"SMPTE ST 2081-10", 5.94e9 / 1.001, 3840, 2160, 30000, 1001},
		{"SMPTE ST 2081-10", 5.94e9, 3840, 2160, 30, 1},
		{"SMPTE ST 2082-10", 11.88e9 / 1.001, 3840, 2160, 60000, 1001},
		{"SMPTE ST 2082-10", 11.88e9, 3840, 2160, 60, 1},
	}
}

// Carried is a frame rate that a link carries. Each frame is one raster, or two
// rasters that share the bits of a pixel. Total counts the samples of a line and the
// lines of a raster with blanking: what they exceed Width and Height by is blanking.
//
//	LineRate = 20 TotalX TotalY Rasters Num/Den
type Carried struct {
	Num, Den       int64
	Rasters        int
	TotalX, TotalY int
}

// Rates lists the frame rates that the link carries, the lowest first: 24, 25, 30, 48,
// 50 and 60 up to the link's highest; on a link whose rate is divided by 1.001, 24,
// 30, 48 and 60 divided by 1.001. The zero Link, and one whose fields are beyond the limits
// of PayloadRate, has none.
//
// Source: SMPTE ST 274, ST 2048-1 and ST 2036-1, from memory.
func (l Link) Rates() (rates []Carried) {
	if _, err := PayloadRate(l.Width, l.Height, 20, l.Num, l.Den); err != nil {
		return nil
	}
	slow := l.Den == 1001
	top := l.Num / l.Den // of nominal frames
	if slow {
		top = l.Num / 1000
	}
	for _, rate := range []int64{24, 25, 30, 48, 50, 60} {
		if rate > top || slow && rate%25 == 0 {
			continue
		}
		c := Carried{Num: rate, Den: 1, Rasters: int(top / rate), TotalY: int(int64(l.Height) * 1125 / 1080)}
		if slow {
			c.Num, c.Den = 1000*rate, 1001
		}
		// At the highest rate of the standards a line of 1920 pixels is 2200 samples.
		c.TotalX = int(int64(l.Width) * 2200 / 1920 * top / (rate * int64(c.Rasters)))
		rates = append(rates, c)
	}
	return rates
}

// carried is the frame rate num/den among those of the link.
func (l Link) carried(num, den int64) (c Carried, ok bool) {
	for _, c := range l.Rates() {
		// Of equal quotients, over numbers too large to multiply.
		if num >= c.Num && num%c.Num == 0 && den%c.Den == 0 && num/c.Num == den/c.Den {
			return c, true
		}
	}
	return Carried{}, false
}

// Capacity is the rate, in bit/s, at which the link carries active picture at a
// frame rate of num/den:
//
//	capacity = 20 Width Height Rasters num/den
//
// Two rasters a frame carry one picture of up to 40 bit a pixel (12 bit, 4:4:4).
// ok is false if the frame rate is not one of Rates: a link at 5.94 Gbit/s carries
// 24 frames a second, at 5.94/1.001 Gbit/s it carries 24/1.001.
//
// Source: common practice.
func (l Link) Capacity(num, den int64) (bitsPerSecond float64, ok bool) {
	c, ok := l.carried(num, den)
	if !ok {
		return 0, false
	}
	raster, _ := PayloadRate(l.Width, l.Height, 20, c.Num, c.Den) // checked by Rates
	return float64(c.Rasters) * raster, true
}

// Limit is what one link carries of a picture of the given bits a pixel, up to 20 for
// each raster of a frame, at a frame rate of num/den. ok is false if the link does not
// carry the bits or the rate.
func (l Link) Limit(bits int, num, den int64) (limit Limit, ok bool) {
	c, ok := l.carried(num, den)
	if !ok || bits < 1 || bits > 20*c.Rasters {
		return Limit{}, false
	}
	return Limit{Width: l.Width, Height: l.Height}, true
}

// PayloadRate is the data rate, in bit/s, of a raster's pixels without blanking or
// line coding:
//
//	rate = width height bits num/den
//
// width and height are in pixels, each up to 2^24. bits is the number of bits a
// pixel over all components, up to 1024: 20 for 10 bit 4:2:2, 30 for 10 bit RGB.
// num/den is the frame rate, up to 1e6 frames a second.
func PayloadRate(width, height, bits int, num, den int64) (bitsPerSecond float64, err error) {
	c := valid.New("wall", ErrInvalid)
	c.Int("width", width, "px", 1, valid.MaxSide)
	c.Int("height", height, "px", 1, valid.MaxSide)
	c.Int("bits", bits, "bit", 1, 1024)
	checkRate(c, num, den)
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(width) * float64(height) * float64(bits) * float64(num) / float64(den), nil
}

// LinksNeeded is the number of links, each of a capacity in bit/s, that carry a
// payload in bit/s, and the fraction of their joint capacity that the payload
// fills:
//
//	count = ⌈payload/capacity⌉,  filled = payload/(count capacity)
//
// The capacity must be that for picture, as Link.Capacity gives it, not the line
// rate. The count is right if the payload can be split freely between links; if
// each link carries a rectangle of the raster, ask Wall.Split instead. Both rates
// must be more than 0, the capacity up to 1e18 bit/s, and the payload up to a
// million capacities.
func LinksNeeded(payload, capacity float64) (count int, filled float64, err error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("capacity", capacity, "bit/s", valid.Above[float64](0, 1e18))
	most := 1e24
	if c.OK() {
		most = 1e6 * capacity
	}
	c.Number("payload", payload, "bit/s", valid.Above(0, most))
	if !c.OK() {
		return 0, 0, c.Err()
	}
	// A payload that fills its links to the last bit must not need one more
	// for a rounding.
	count = max(1, int(math.Ceil(payload/capacity*(1-1e-12))))
	return count, payload / (float64(count) * capacity), nil
}

// Ports is the number of processor ports that drive the wall, if a port drives up
// to pixelsPerPort pixels and each panel hangs on one port:
//
//	panels per port = ⌊pixelsPerPort / pixels of a panel⌋
//	ports = ⌈panels / panels per port⌉
//
// Panel i along the chain, counted from 0, hangs on port ⌊i/panels per port⌋. If the
// panels of a port must form a rectangle, ask Split. How many pixels a port drives
// depends on its protocol, the frame rate and the bit depth. Fewer than a panel has is
// an error.
//
// Source: common practice.
func (w Wall) Ports(pixelsPerPort int) (ports int, err error) {
	c := valid.New("wall", ErrInvalid)
	if w.s == nil {
		return 0, c.Refuse("wall", "zero value", "must come from New")
	}
	perPort := pixelsPerPort / w.s.panelX / w.s.panelY
	if perPort < 1 {
		return 0, c.Refuse("pixels per port", fmt.Sprintf("%d px", pixelsPerPort), "must be at least %d px, which is one panel", int64(w.s.panelX)*int64(w.s.panelY))
	}
	panels := w.s.columns * w.s.rows
	return (panels-1)/perPort + 1, nil
}

// Limit is the largest picture that one link or port carries. A zero field is no
// limit; one of the first four must be set. All are at most 2^24, PixelRate 1e15.
type Limit struct {
	Width, Height int     // pixels of the active picture
	Pixels        int     // of the active picture
	PixelRate     float64 // pixels a second, blanking included

	BlankingX, BlankingY int // pixels a line and lines a frame without picture
}

// Part is a rectangle of whole panels that one link carries: its first column and row,
// counted from 0 at the top left, and how many of them.
type Part struct{ Column, Row, Columns, Rows int }

// Split is a wall cut into parts, one to a link, from top to bottom and left to right.
type Split struct {
	Parts []Part

	// AtLeast is a lower bound on the parts of any cut into rectangles of whole panels:
	// all panels over the most that one link carries. If it is the number of Parts, no
	// other cut needs fewer.
	AtLeast int
}

// Split cuts the wall into rectangles of whole panels, each within the limit at num/den
// frames a second, up to 1e6:
//
//	width ≤ Width,  height ≤ Height,  width height ≤ Pixels
//	(width + BlankingX)(height + BlankingY) num/den ≤ PixelRate
//
// The cut is either into bands as wide as the wall, each cut across into parts as high
// as itself, or the same with bands as high as the wall. It has the fewest parts of all
// cuts of these two kinds. Cuts of other kinds can have fewer: see AtLeast. A limit
// below one panel is an error.
func (w Wall) Split(limit Limit, num, den int64) (Split, error) {
	c := valid.New("wall", ErrInvalid)
	if w.s == nil {
		c.Fault("wall", "zero value", "must come from New")
	}
	c.Int("limit of width", limit.Width, "px", 0, valid.MaxSide)
	c.Int("limit of height", limit.Height, "px", 0, valid.MaxSide)
	c.Int("limit of pixels", limit.Pixels, "px", 0, valid.MaxSide)
	c.Number("limit of pixel rate", limit.PixelRate, "px/s", valid.Closed(0, 1e15))
	c.Int("blanking x", limit.BlankingX, "px", 0, valid.MaxSide)
	c.Int("blanking y", limit.BlankingY, "px", 0, valid.MaxSide)
	checkRate(c, num, den)
	if limit.Width == 0 && limit.Height == 0 && limit.Pixels == 0 && limit.PixelRate == 0 {
		c.Unset("limit")
	}
	if !c.OK() {
		return Split{}, c.Err()
	}
	s := w.s
	rate := func(x, y float64) float64 {
		return (x + float64(limit.BlankingX)) * (y + float64(limit.BlankingY)) * float64(num) / float64(den)
	}
	fits := func(columns, rows int) bool {
		x, y := float64(columns*s.panelX), float64(rows*s.panelY)
		return (limit.Width == 0 || x <= float64(limit.Width)) && (limit.Height == 0 || y <= float64(limit.Height)) &&
			(limit.Pixels == 0 || x*y <= float64(limit.Pixels)) &&
			// A rate that is filled exactly must not lose a panel to a rounding.
			(limit.PixelRate == 0 || rate(x, y)*(1-1e-12) <= limit.PixelRate)
	}
	if !fits(1, 1) {
		panel := fmt.Sprintf("panel of %d × %d px", s.panelX, s.panelY)
		for _, l := range []struct {
			name, unit string
			limit      float64
			panel      float64
		}{
			{"width", "px", float64(limit.Width), float64(s.panelX)},
			{"height", "px", float64(limit.Height), float64(s.panelY)},
			{"pixels", "px", float64(limit.Pixels), float64(s.panelX) * float64(s.panelY)},
			{"pixel rate", "px/s", limit.PixelRate, rate(float64(s.panelX), float64(s.panelY))},
		} {
			if l.limit != 0 && l.limit < l.panel {
				c.Fault("limit of "+l.name, quantity.Number(l.limit, l.unit), "must be at least that of one %s, %s", panel, quantity.Number(l.panel, l.unit))
			}
		}
		return Split{}, c.Err()
	}
	split := Split{Parts: bands(s.columns, s.rows, fits)}
	upright := bands(s.rows, s.columns, func(rows, columns int) bool { return fits(columns, rows) })
	if len(upright) < len(split.Parts) {
		for i, p := range upright {
			upright[i] = Part{Column: p.Row, Row: p.Column, Columns: p.Rows, Rows: p.Columns}
		}
		slices.SortFunc(upright, func(a, b Part) int { return cmp.Or(a.Row-b.Row, a.Column-b.Column) })
		split.Parts = upright
	}
	most := 0
	for rows, columns := 1, s.columns; rows <= s.rows; rows++ {
		for columns > 0 && !fits(columns, rows) {
			columns--
		}
		most = max(most, columns*rows)
	}
	split.AtLeast = (s.columns*s.rows-1)/most + 1
	return split, nil
}

// bands cuts columns × rows panels into bands of whole rows, and each band into as few
// parts as fit, so that there are as few parts as this allows. One panel must fit.
func bands(columns, rows int, fits func(columns, rows int) bool) (parts []Part) {
	// A band of more rows never needs fewer parts, so that only the highest band of
	// each number of parts matters.
	type band struct{ rows, parts int }
	var choices []band
	wide := columns // the most columns of a part as high as the band
	for high := 1; high <= rows; high++ {
		for wide > 0 && !fits(wide, high) {
			wide--
		}
		if wide == 0 {
			break
		}
		n := (columns-1)/wide + 1
		if last := len(choices) - 1; last >= 0 && choices[last].parts == n {
			choices[last].rows = high
		} else {
			choices = append(choices, band{high, n})
		}
	}
	// The fewest parts of the upper rows, and the last band of them.
	fewest, lowest := make([]int, rows+1), make([]band, rows+1)
	for r := 1; r <= rows; r++ {
		fewest[r] = math.MaxInt
		for _, b := range choices {
			if n := fewest[max(0, r-b.rows)] + b.parts; n < fewest[r] {
				fewest[r], lowest[r] = n, b
			}
		}
	}
	var chosen []band
	most := 0 // rows that the chosen bands could have
	for r := rows; r > 0; r = max(0, r-lowest[r].rows) {
		chosen = append(chosen, lowest[r])
		most += lowest[r].rows
	}
	// Even parts: each band gives up the same fraction of the rows that it could have.
	// None ends up empty, or there would be a cut of fewer bands.
	above := 0
	for _, b := range chosen {
		top, bottom := portion(rows, above, most), portion(rows, above+b.rows, most)
		for i := range b.parts {
			from, to := portion(columns, i, b.parts), portion(columns, i+1, b.parts)
			parts = append(parts, Part{Column: from, Row: top, Columns: to - from, Rows: bottom - top})
		}
		above += b.rows
	}
	return parts
}

// portion is ⌊n i/of⌋.
func portion(n, i, of int) int { return int(int64(n) * int64(i) / int64(of)) }

func checkRate(c *valid.Checker, num, den int64) {
	if num < 1 || den < 1 || float64(num) > 1e6*float64(den) {
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", num, den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
}
