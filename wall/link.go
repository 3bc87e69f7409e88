package wall

import (
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// Link is an open standard of a serial digital link. Its line rate carries
// blanking as well; what is left for the picture is a raster of Width × Height
// pixels of 20 bit (10 bit, 4:2:2), Num/Den times a second at most.
type Link struct {
	Standard      string
	LineRate      float64 // bit/s
	Width, Height int     // pixels of the active picture
	Num, Den      int64   // pictures a second
}

// Links lists serial digital links by standard and rate. Each rate exists also
// divided by 1.001, with the frame rates divided as well.
//
// Source: SMPTE 292M, SMPTE ST 424, SMPTE ST 2081-10, SMPTE ST 2082-10.
func Links() []Link {
	return []Link{
		{"SMPTE 292M", 1.485e9 / 1.001, 1920, 1080, 30000, 1001},
		{"SMPTE 292M", 1.485e9, 1920, 1080, 30, 1},
		{"SMPTE ST 424", 2.97e9 / 1.001, 1920, 1080, 60000, 1001},
		{"SMPTE ST 424", 2.97e9, 1920, 1080, 60, 1},
		{"SMPTE ST 2081-10", 5.94e9 / 1.001, 3840, 2160, 30000, 1001},
		{"SMPTE ST 2081-10", 5.94e9, 3840, 2160, 30, 1},
		{"SMPTE ST 2082-10", 11.88e9 / 1.001, 3840, 2160, 60000, 1001},
		{"SMPTE ST 2082-10", 11.88e9, 3840, 2160, 60, 1},
	}
}

// Picture is how much active picture the link carries at a frame rate, in bit/s:
// as many whole rasters a frame as it has time for, each of 20 bit a pixel,
//
//	rasters = ⌊(Num/Den) / (num/den)⌋,  picture = 20 Width Height rasters num/den
//
// Two rasters a frame carry one picture of 40 bit a pixel (12 bit and less,
// 4:4:4). The slower the frame rate between two whole numbers of rasters, the
// more of the line rate is blanking. ok is false for a frame rate above the
// link's, for one that is not above 0, and for the zero value.
//
// Source: common practice; elementary arithmetic.
func (l Link) Picture(num, den int64) (bitsPerSecond float64, ok bool) {
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

// PayloadRate is the rate of a raster's pixels in bit/s, without blanking or any
// coding of the link:
//
//	rate = width height bits num/den
//
// width and height in pixels, bits per pixel over all components (20 for 10 bit
// 4:2:2), num/den frames a second. Up to 2^24 pixels a side, 1024 bits, and
// 1e6 frames a second.
//
// Source: elementary arithmetic.
func PayloadRate(width, height, bits int, num, den int64) (bitsPerSecond float64, err error) {
	c := valid.New("wall", ErrInvalid)
	c.Int("width", width, "px", 1, 1<<24)
	c.Int("height", height, "px", 1, 1<<24)
	c.Int("bits", bits, "bit", 1, 1024)
	if num < 1 || den < 1 || float64(num) > 1e6*float64(den) {
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", num, den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(width) * float64(height) * float64(bits) * float64(num) / float64(den), nil
}

// LinksNeeded is how many links of a capacity in bit/s carry a payload in bit/s,
// and the share of their joint capacity that it takes:
//
//	count = ⌈payload/capacity⌉,  share = payload/(count capacity)
//
// The capacity of a link for picture is less than its line rate, which carries
// blanking too: give what Link.Picture says. The count holds where the payload
// can be split freely between links; where each carries a rectangle of the
// raster, cut the raster instead. Both are more than 0, and payload at most a
// million capacities.
//
// Source: elementary arithmetic.
func LinksNeeded(payload, capacity float64) (count int, share float64, err error) {
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

// Ports is how many ports of a processor drive the wall, where a port drives so
// many pixels and a panel hangs on one port:
//
//	panels per port = ⌊pixelsPerPort / pixels of a panel⌋
//	ports = ⌈panels / panels per port⌉
//
// ok is false where a port cannot drive one panel. It is common practice; how
// many pixels a port drives depends on its protocol, frame rate and bit depth.
func (w Wall) Ports(pixelsPerPort int) (ports int, ok bool) {
	if w.s == nil {
		return 0, false
	}
	perPort := pixelsPerPort / w.s.panelX / w.s.panelY
	if perPort < 1 {
		return 0, false
	}
	panels := w.s.columns * w.s.rows
	return (panels-1)/perPort + 1, true
}
