package lens

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Format is the picture area of a sensor, as it lies in the image plane: a
// rectangle whose centre is off the axis of the lens by the offsets. Zero offsets
// centre it. A positive OffsetX moves it to the right in the upright picture, and a
// positive OffsetY down, as y of a raster grows. The offsets of a camera in package
// projection have the other sign, since they lead from the centre to the axis. Sides
// are from 100 nm to 1 m, offsets from −1 m to 1 m. A Format of package sensor fits:
//
//	w, h := f.Size()
//	lens.Format{Width: w, Height: h}
type Format struct {
	Width, Height    unit.Length
	OffsetX, OffsetY unit.Length
}

// CircleLimit says which part of a format an image circle leaves dark.
type CircleLimit uint8

const (
	// CircleCovers means that the circle contains the whole format, corners included.
	CircleCovers CircleLimit = iota + 1
	// CircleCutsCorners means that only corners are outside the circle.
	CircleCutsCorners
	// CircleCutsWidth means that the circle ends inside the width, and reaches the
	// ends of the height.
	CircleCutsWidth
	// CircleCutsHeight means that the circle ends inside the height, and reaches the
	// ends of the width.
	CircleCutsHeight
	// CircleCutsBoth means that the circle ends inside the width and the height, as
	// that of a circular fisheye does.
	CircleCutsBoth
)

var circleLimits = enum.New[CircleLimit](ErrInvalid, []string{
	CircleCovers: "covers the format", CircleCutsCorners: "cuts the corners", CircleCutsWidth: "cuts the width",
	CircleCutsHeight: "cuts the height", CircleCutsBoth: "cuts the width and the height",
})

// String gives a name like "cuts the corners".
func (c CircleLimit) String() string { return circleLimits.Name(c) }

// MarshalText gives the name. An unknown CircleLimit is an error.
func (c CircleLimit) MarshalText() ([]byte, error) { return circleLimits.Marshal(c) }

// UnmarshalText reads a name. Any other text is an error and leaves c unchanged.
func (c *CircleLimit) UnmarshalText(text []byte) error { return circleLimits.Unmarshal(c, text) }

// CircleFit says how an image circle fills a format. Lengths are in metres in
// JSON. A margin is the radius of the circle less the distance of a point from
// the axis: positive is what is left over, negative is the shortfall.
type CircleFit struct {
	// Limit is which part of the format is dark. JSON leaves it out if it is not set.
	Limit CircleLimit `json:",omitzero"`
	// Corners are the four corners of the upright picture, clockwise from the top
	// left.
	Corners [4]Corner
	// Corner is the least margin of the corners. The format is covered if it is not
	// negative; otherwise the radius of the circle must grow by −Corner.
	Corner unit.Length
	// Width and Height are the margins on the lines across and down the format
	// through the axis, each at its farther end.
	Width, Height unit.Length
	// Area is the fraction of the area of the format inside the circle.
	Area float64
}

// Corner is a corner of a format.
type Corner struct {
	X, Y   unit.Length // position, from the axis to the right and down
	Margin unit.Length // as those of CircleFit
}

// CircleFit compares the image circle, of radius R, with a format of width W and
// height H whose centre is off the axis by x and y. The margins are
//
//	R − √((W/2 + |x|)² + (H/2 + |y|)²),  R − (W/2 + |x|),  R − (H/2 + |y|)
//
// at the farthest corner, across and down. The area is in closed form. Rounding
// leaves an error in it of about 1e-15 (1 + R²/(W H)), and none if the circle
// contains the format or misses it.
//
// A side or an offset of the format outside its range is an error, and so is a
// lens whose image circle neither the Spec nor the Model limits.
//
// Source: plane geometry.
func (l Lens) CircleFit(f Format) (CircleFit, error) {
	c := l.checkFormat(f)
	if !c.OK() {
		return CircleFit{}, c.Err()
	}
	w, h := float64(f.Width), float64(f.Height)
	x, y := math.Abs(float64(f.OffsetX)), math.Abs(float64(f.OffsetY))
	right, top := x+w/2, y+h/2
	left, bottom := x-w/2, y-h/2
	fit := CircleFit{
		Corner: unit.Length(l.edge - math.Hypot(right, top)),
		Width:  unit.Length(l.edge - right),
		Height: unit.Length(l.edge - top),
	}
	for i, side := range [4][2]unit.Length{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		cx, cy := f.OffsetX+side[0]*f.Width/2, f.OffsetY+side[1]*f.Height/2
		fit.Corners[i] = Corner{X: cx, Y: cy, Margin: unit.Length(l.edge - math.Hypot(float64(cx), float64(cy)))}
	}
	switch {
	case fit.Corner >= 0:
		fit.Limit = CircleCovers
	case fit.Width >= 0 && fit.Height >= 0:
		fit.Limit = CircleCutsCorners
	case fit.Height >= 0:
		fit.Limit = CircleCutsWidth
	case fit.Width >= 0:
		fit.Limit = CircleCutsHeight
	default:
		fit.Limit = CircleCutsBoth
	}
	switch {
	case fit.Corner >= 0:
		fit.Area = 1
	case math.Hypot(math.Max(left, 0), math.Max(bottom, 0)) < l.edge:
		// In radii of the circle.
		x0, x1, y0, y1 := left/l.edge, right/l.edge, bottom/l.edge, top/l.edge
		a := discQuadrant(x1, y1) - discQuadrant(x0, y1) - discQuadrant(x1, y0) + discQuadrant(x0, y0)
		fit.Area = math.Min(math.Max(a/(w/l.edge)/(h/l.edge), 0), 1)
	}
	return fit, nil
}

// checkFormat begins the checks of a method that compares a format with the image
// circle.
func (l Lens) checkFormat(f Format) *valid.Checker {
	c := l.checker()
	checkSides(c, f)
	if _, ok := l.ImageCircle(); !ok && l.model != nil {
		c.Fault("image circle", "without limit", "set ImageCircle or MaxAngle in the Spec")
	}
	return c
}

func checkSides(c *valid.Checker, f Format) {
	offsets := valid.Closed(-1*unit.Metre, 1*unit.Metre)
	c.Length("width of the format", f.Width, valid.SensorSides)
	c.Length("height of the format", f.Height, valid.SensorSides)
	c.Length("offset along the width", f.OffsetX, offsets)
	c.Length("offset along the height", f.OffsetY, offsets)
}

// discQuadrant is the area that the unit disc shares with the rectangle from
// its centre to (x, y), with the sign of x y.
func discQuadrant(x, y float64) float64 {
	sign := 1.0
	if (x < 0) != (y < 0) {
		sign = -1
	}
	x, y = math.Min(math.Abs(x), 1), math.Min(math.Abs(y), 1)
	if math.Hypot(x, y) <= 1 {
		return sign * x * y
	}
	// The circle leaves the rectangle at (u, y) and (x, v): two triangles and
	// the sector between them.
	u, v := math.Sqrt((1-y)*(1+y)), math.Sqrt((1-x)*(1+x))
	sector := math.Atan2(y, u) - math.Atan2(v, x)
	return sign * (u*y + x*v + sector) / 2
}
