package wall

import (
	"fmt"
	"math"

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
// divided by 1.001, with its frame rate divided by 1.001.
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

// Capacity is the rate, in bit/s, at which the link carries active picture at a
// frame rate of num/den. In each frame it carries as many whole rasters of 20 bit
// a pixel as fit:
//
//	rasters = ⌊(Num/Den) / (num/den)⌋
//	capacity = 20 Width Height rasters num/den
//
// Two rasters a frame carry one picture of up to 40 bit a pixel (12 bit, 4:4:4).
// ok is false if the frame rate is not above 0 or exceeds the link's, and for the
// zero Link.
//
// Source: common practice.
func (l Link) Capacity(num, den int64) (bitsPerSecond float64, ok bool) {
	raster, err := PayloadRate(l.Width, l.Height, 20, num, den)
	if err != nil || l.Num < 1 || l.Den < 1 {
		return 0, false
	}
	// A rate that a whole number of rasters fills must not lose one to a rounding.
	rasters := math.Floor(float64(l.Num) * float64(den) / (float64(l.Den) * float64(num)) * (1 + 1e-12))
	if !(rasters >= 1) {
		return 0, false
	}
	return rasters * raster, true
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
	if num < 1 || den < 1 || float64(num) > 1e6*float64(den) {
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", num, den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
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
// each link carries a rectangle of the raster, cut the raster instead. Both rates
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
// How many pixels a port drives depends on its protocol, the frame rate and the
// bit depth. Fewer than a panel has is an error.
//
// Source: common practice.
func (w Wall) Ports(pixelsPerPort int) (ports int, err error) {
	c := valid.New("wall", ErrInvalid)
	if w.s == nil {
		c.Fault("wall", "zero value", "must come from New")
		return 0, c.Err()
	}
	perPort := pixelsPerPort / w.s.panelX / w.s.panelY
	if perPort < 1 {
		c.Fault("pixels per port", fmt.Sprintf("%d px", pixelsPerPort), "must be at least %d px, which is one panel", int64(w.s.panelX)*int64(w.s.panelY))
		return 0, c.Err()
	}
	panels := w.s.columns * w.s.rows
	return (panels-1)/perPort + 1, nil
}
