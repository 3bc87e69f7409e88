package projection

import (
	"math"

	"example.com/platewright/internal/valid"
)

// Counting is a way in which others count positions on a raster; that of this
// package is the outer corner of the top left pixel at (0, 0), px, y down. Where
// two ways are taken for each other a picture moves by half a pixel or stands
// upside down. The zero Counting is none.
//
// Source of the ways: for integer centres the OpenCV 4.6 documentation, calib3d,
// getDefaultNewCameraMatrix; for −1 to 1 and 0 to 1 upwards The OpenGL Graphics
// System, version 4.6, viewport transformation and texture minification; for −1
// to 1 downwards the Vulkan 1.3 specification, viewport transformation; all from
// memory.
type Counting uint8

const (
	CountIntegerCentres    Counting = iota + 1 // px, the centre of the top left pixel at (0, 0), y down
	CountZeroToOneDown                         // from the raster's outer top left corner to the bottom right one
	CountZeroToOneUp                           // from the bottom left corner to the top right one
	CountMinusOneToOneDown                     // from the top left corner to the bottom right one
	CountMinusOneToOneUp                       // from the bottom left corner to the top right one
)

// FromRaster is a raster position (x, y), px, as counted so on a raster of width
// × height px:
//
//	CountIntegerCentres       x − ½          y − ½
//	CountZeroToOneDown        x/width        y/height
//	CountZeroToOneUp          x/width        1 − y/height
//	CountMinusOneToOneDown    2x/width − 1   2y/height − 1
//	CountMinusOneToOneUp      2x/width − 1   1 − 2y/height
//
// The position may lie outside the raster. ok is false for another Counting,
// sides that are not 1 to 16777216 px, and where a number is not finite. ToRaster
// is the inverse.
func (c Counting) FromRaster(width, height int, x, y float64) (u, v float64, ok bool) {
	w, h, ok := c.sides(width, height)
	switch c {
	case CountIntegerCentres:
		u, v = x-0.5, y-0.5
	case CountZeroToOneDown:
		u, v = x/w, y/h
	case CountZeroToOneUp:
		u, v = x/w, (h-y)/h
	case CountMinusOneToOneDown:
		u, v = (x-w/2)/(w/2), (y-h/2)/(h/2)
	case CountMinusOneToOneUp:
		u, v = (x-w/2)/(w/2), (h/2-y)/(h/2)
	}
	return finitePair(u, v, ok)
}

// ToRaster is the raster position, px, of (u, v) counted so on a raster of width
// × height px, the inverse of FromRaster: its formulas solved for x and y, its
// domain.
func (c Counting) ToRaster(width, height int, u, v float64) (x, y float64, ok bool) {
	w, h, ok := c.sides(width, height)
	switch c {
	case CountIntegerCentres:
		x, y = u+0.5, v+0.5
	case CountZeroToOneDown:
		x, y = w*u, h*v
	case CountZeroToOneUp:
		x, y = w*u, h*(1-v)
	case CountMinusOneToOneDown:
		x, y = w/2*(1+u), h/2*(1+v)
	case CountMinusOneToOneUp:
		x, y = w/2*(1+u), h/2*(1-v)
	}
	return finitePair(x, y, ok)
}

func (c Counting) sides(width, height int) (w, h float64, ok bool) {
	ok = c >= CountIntegerCentres && c <= CountMinusOneToOneUp && width >= 1 && width <= valid.MaxSide && height >= 1 && height <= valid.MaxSide
	return float64(width), float64(height), ok
}

func finitePair(a, b float64, ok bool) (float64, float64, bool) {
	if !ok || !(math.Abs(a) <= math.MaxFloat64 && math.Abs(b) <= math.MaxFloat64) {
		return 0, 0, false
	}
	return a, b, true
}
