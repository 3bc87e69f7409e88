package light

import (
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// Chromaticity is a colour without its brightness: CIE 1931 x and y.
type Chromaticity struct{ X, Y float64 }

// Primaries are the chromaticities of a wall's red, green and blue, as measured.
type Primaries [3]Chromaticity

// Peaks are the luminances of the three primaries, in cd/m², that together give a
// luminance of white at a chromaticity. They solve
//
//	Σ Peaks[i] (xᵢ/yᵢ, 1, zᵢ/yᵢ) = luminance (x/y, 1, z/y),  z = 1 − x − y
//
// x and y are 0 to 1, y at least 0.001, x + y at most 1. The luminance is 1e-12 to
// 1e12 cd/m². Primaries that cannot mix this white are an error.
//
// Source: CIE 15, Colorimetry, from memory.
func (p Primaries) Peaks(white Chromaticity, luminance float64) (RGB, error) {
	c := valid.New("light", ErrInvalid)
	for i, name := range []string{"red", "green", "blue"} {
		checkChromaticity(c, name, p[i])
	}
	checkChromaticity(c, "white", white)
	c.Number("luminance", luminance, "cd/m²", valid.Luminances)
	if !c.OK() {
		return RGB{}, c.Err()
	}
	// In units yᵢ the columns are (xᵢ, yᵢ, 1), and white is (x, y, 1)/y.
	cross := func(a, b, c Chromaticity) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }
	whole := cross(p[0], p[1], p[2])
	peaks := RGB{cross(white, p[1], p[2]), cross(p[0], white, p[2]), cross(p[0], p[1], white)}
	for i := range peaks {
		peaks[i] *= luminance * p[i].Y / (whole * white.Y)
		if !(peaks[i] >= 0 && peaks[i] <= math.MaxFloat64) {
			return RGB{}, c.Refuse("white", fmt.Sprint(white), "must be a mixture of the primaries %v", p)
		}
	}
	return peaks, nil
}

func checkChromaticity(c *valid.Checker, name string, xy Chromaticity) {
	c.Number(name+" x", xy.X, "", valid.Closed(0, 1.0))
	c.Number(name+" y", xy.Y, "", valid.Closed(0.001, 1.0))
	if c.OK() && xy.X+xy.Y > 1 {
		c.Fault(name, fmt.Sprint(xy), "must have x + y of at most 1")
	}
}

// Chromaticity is the colour of light by the wall's primaries. ok is false for
// light that is not above 0, and for chromaticities outside the range of Peaks.
func (p Primaries) Chromaticity(light RGB) (xy Chromaticity, ok bool) {
	c := valid.New("light", ErrInvalid)
	var x, y, all float64
	for i, l := range light {
		checkChromaticity(c, "primary", p[i])
		c.Number("light", l, "", valid.Closed(0, 1e15))
		x, y, all = x+l*p[i].X/p[i].Y, y+l, all+l/p[i].Y
	}
	if !c.OK() || !(y > 1e-15) {
		return Chromaticity{}, false
	}
	return Chromaticity{x / all, y / all}, true
}
