package wide

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// ZoomSpec describes a zoom lens by a table, as its maker or a test chart gives it.
type ZoomSpec struct {
	// Model is how the lens images field angles, at every focal length. Nil is
	// rectilinear.
	Model lens.Model
	// Points are at least two, of increasing focal length. Between two of them, the
	// diameter of the image circle changes in proportion to the focal length.
	Points []ZoomPoint
}

// ZoomPoint is the diameter of the image circle at a focal length, each with the
// range of its namesake in lens.Spec.
type ZoomPoint struct {
	FocalLength, ImageCircle unit.Length
}

// Zoom is a zoom lens. It is immutable, and safe for concurrent use. It is not
// comparable. The methods of the zero Zoom give errors.
type Zoom struct {
	model  lens.Model
	points []ZoomPoint // none in the zero Zoom
}

// NewZoom checks a spec, and copies its points.
func NewZoom(spec ZoomSpec) (Zoom, error) {
	c := valid.New("wide", ErrInvalid)
	c.Int("number of points", len(spec.Points), "", 2, 1<<16)
	for i, p := range spec.Points {
		if i > 0 && !(p.FocalLength > spec.Points[i-1].FocalLength) {
			c.Fault(fmt.Sprintf("focal length of point %d", i), quantity.Length(p.FocalLength), "must be more than that of the point before, %s", quantity.Length(spec.Points[i-1].FocalLength))
		}
		c.Length(fmt.Sprintf("image circle of point %d", i), p.ImageCircle, valid.ImageCircles)
		_, err := lens.New(lens.Spec{FocalLength: p.FocalLength, FNumber: 1, Model: spec.Model, ImageCircle: p.ImageCircle})
		c.Add(fmt.Sprintf("point %d", i), err)
		if !c.OK() {
			break // the faults of one point of a long table are enough
		}
	}
	if !c.OK() {
		return Zoom{}, c.Err()
	}
	return Zoom{model: spec.Model, points: slices.Clone(spec.Points)}, nil
}

// At is the lens at one focal length and f-number, with the image circle between
// those of the two points around it. A focal length outside the table is an error.
//
// Source: linear interpolation.
func (z Zoom) At(focalLength unit.Length, fNumber float64) (lens.Lens, error) {
	c := z.checker()
	if c.OK() {
		first, last := z.ends()
		c.Length("focal length", focalLength, valid.Closed(first, last))
	}
	if !c.OK() {
		return lens.Lens{}, c.Err()
	}
	l, err := lens.New(lens.Spec{FocalLength: focalLength, FNumber: fNumber, Model: z.model, ImageCircle: z.circle(focalLength)})
	c.Add("lens at "+quantity.Length(focalLength), err)
	if !c.OK() {
		return lens.Lens{}, c.Err()
	}
	return l, nil
}

// ZoomLimit says what keeps a zoom from an angle of view.
type ZoomLimit uint8

const (
	// ZoomFits means that the zoom has the focal length, and lights the view there.
	ZoomFits ZoomLimit = iota + 1
	// ZoomStartsLonger means that the shortest focal length of the zoom is longer.
	ZoomStartsLonger
	// ZoomEndsShorter means that the longest focal length of the zoom is shorter.
	ZoomEndsShorter
	// ZoomCircleTooSmall means that the zoom has the focal length, but its image
	// circle ends inside the view.
	ZoomCircleTooSmall
)

var zoomLimits = enum.New[ZoomLimit](ErrInvalid, []string{
	ZoomFits: "fits", ZoomStartsLonger: "the zoom starts longer", ZoomEndsShorter: "the zoom ends shorter",
	ZoomCircleTooSmall: "the image circle is too small",
})

// String gives a name like "the zoom starts longer".
func (z ZoomLimit) String() string { return zoomLimits.Name(z) }

// MarshalText gives the name. An unknown ZoomLimit is an error.
func (z ZoomLimit) MarshalText() ([]byte, error) { return zoomLimits.Marshal(z) }

// UnmarshalText reads a name. Any other text is an error and leaves z unchanged.
func (z *ZoomLimit) UnmarshalText(text []byte) error { return zoomLimits.Unmarshal(z, text) }

// ZoomView is the focal length at which a view just fits a length of the format.
type ZoomView struct {
	FocalLength unit.Length
	Limit       ZoomLimit `json:",omitzero"`
	// Margin is the radius of the image circle less what the view needs. It is 0 if
	// the zoom does not have the focal length.
	Margin unit.Length
}

// ZoomViews is a view fitted to a format in three ways.
type ZoomViews struct {
	// Across and Down are the longest focal lengths at which the view is inside the
	// width and inside the height, on both sides of the axis.
	Across, Down ZoomView
	// Corners is the shortest focal length at which the view is not inside the format:
	// its circle goes through the farthest corner. From here on, no corner is dark.
	Corners ZoomView
}

// Views finds the focal lengths at which an angle of view fits a format. For a
// fisheye of 180° they are those of the circular picture (Down, if the format is
// wide) and of the full picture (Corners).
//
//	f = d/r(view/2)
//
// d is the distance from the axis to the nearer side of the format across and down,
// or to the farthest corner, and r the Radius of the model. A view that is not more
// than 0, or beyond the model, is an error, as are a format that does not contain the
// axis, and a fit whose focal length is beyond those of package lens.
//
// Source: as lens.FocalLengthForView.
func (z Zoom) Views(f lens.Format, view unit.Angle) (ZoomViews, error) {
	c := z.checker()
	x, y := math.Abs(float64(f.OffsetX)), math.Abs(float64(f.OffsetY))
	w, h := float64(f.Width)/2, float64(f.Height)/2
	c.Length("width of the format", f.Width, valid.SensorSides)
	c.Length("height of the format", f.Height, valid.SensorSides)
	if c.OK() && !(x < w && y < h) {
		c.Fault("offset of the format", quantity.Length(unit.Length(math.Hypot(x, y))), "the format must contain the axis")
	}
	var views [3]ZoomView
	for i, distance := range [3]float64{w - x, h - y, math.Hypot(w+x, h+y)} {
		if !c.OK() {
			break
		}
		var err error
		views[i], err = z.view(unit.Length(distance), view)
		c.Add("view", err)
	}
	if !c.OK() {
		return ZoomViews{}, c.Err()
	}
	return ZoomViews{Across: views[0], Down: views[1], Corners: views[2]}, nil
}

// view fits half a view to a distance from the axis.
func (z Zoom) view(distance unit.Length, view unit.Angle) (ZoomView, error) {
	f, err := lens.FocalLengthForView(z.model, 2*distance, view)
	if err != nil {
		return ZoomView{}, err
	}
	v := ZoomView{FocalLength: f}
	switch first, last := z.ends(); {
	case f < first:
		v.Limit = ZoomStartsLonger
	case f > last:
		v.Limit = ZoomEndsShorter
	default:
		v.Margin = z.circle(f)/2 - distance
		v.Limit = ZoomFits
		// A circle that a model gives may miss its own view by a rounding.
		if v.Margin < -1e-12*distance {
			v.Limit = ZoomCircleTooSmall
		}
	}
	return v, nil
}

// circle is the image circle at a focal length of the zoom.
func (z Zoom) circle(focalLength unit.Length) unit.Length {
	i := sort.Search(len(z.points)-1, func(i int) bool { return z.points[i].FocalLength >= focalLength })
	a, b := z.points[max(i-1, 0)], z.points[max(i, 1)]
	t := (focalLength - a.FocalLength) / (b.FocalLength - a.FocalLength)
	return a.ImageCircle*(1-t) + b.ImageCircle*t
}

// ends are the shortest and the longest focal length.
func (z Zoom) ends() (first, last unit.Length) {
	return z.points[0].FocalLength, z.points[len(z.points)-1].FocalLength
}

func (z Zoom) checker() *valid.Checker {
	c := valid.New("wide", ErrInvalid)
	if len(z.points) == 0 {
		c.Fault("zoom", "Zoom{}", "must come from NewZoom")
	}
	return c
}
