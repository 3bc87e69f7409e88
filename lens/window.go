package lens

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// CentredWindow is the largest part of a format, about the centre of the format, that
// has an aspect and is inside the image circle with all four corners.
//
// The aspect is width over height, from 0.01 to 100. The domain is otherwise that of
// CircleFit. A format whose centre is outside the circle is an error. The result is
// exact to rounding, on the side of the circle that is lit.
//
// Source: plane geometry.
func (l Lens) CentredWindow(f Format, aspect float64) (Format, error) {
	return l.window(f, aspect, "does not reach the centre of the format", func(_, offset, _ float64) float64 { return offset })
}

// FreeWindow is the largest part of a format that has an aspect and is inside the
// image circle with all four corners, wherever in the format it is. Of all such parts
// it is the one nearest to the axis. In a centred format it is the CentredWindow.
//
// The domain is that of CentredWindow, but here a format that the circle does not
// touch is an error.
//
// Source: plane geometry.
func (l Lens) FreeWindow(f Format, aspect float64) (Format, error) {
	return l.window(f, aspect, "does not reach the format", func(side, offset, half float64) float64 {
		return math.Max(0, offset-(side/2-half))
	})
}

// window is the largest window whose centre, at a half width, is centre(side, offset,
// half width) from the axis along each side of the format.
func (l Lens) window(f Format, aspect float64, unlit string, centre func(side, offset, half float64) float64) (Format, error) {
	c := l.checkFormat(f)
	c.Number("aspect", aspect, "", valid.Closed(0.01, 100.0))
	if !c.OK() {
		return Format{}, c.Err()
	}
	w, h := float64(f.Width), float64(f.Height)
	x, y := math.Abs(float64(f.OffsetX)), math.Abs(float64(f.OffsetY))
	// outside is how far the farthest corner is outside the circle.
	outside := func(half float64) float64 {
		return math.Hypot(centre(w, x, half)+half, centre(h, y, half/aspect)+half/aspect) - l.edge
	}
	half := math.Min(w, aspect*h) / 2
	if outside(half) > 0 {
		// It grows with the window: half the width is a root, or the centre is dark.
		within, ok := root.Find(outside, 0, half)
		half = within - 4*0x1p-52*l.edge
		if !ok {
			return Format{}, c.Refuse("image circle", quantity.Length(unit.Length(2*l.edge)), "%s", unlit)
		}
	}
	part := Format{
		Width: unit.Length(2 * half), Height: unit.Length(2 * half / aspect),
		OffsetX: unit.Length(math.Copysign(centre(w, x, half), float64(f.OffsetX))) + 0, // no −0
		OffsetY: unit.Length(math.Copysign(centre(h, y, half/aspect), float64(f.OffsetY))) + 0,
	}
	c.Length("width of the window", part.Width, valid.SensorSides)
	c.Length("height of the window", part.Height, valid.SensorSides)
	if !c.OK() {
		return Format{}, c.Err()
	}
	return part, nil
}
