package wide_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"example.com/platewright/lens/wide"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// form is a model in closed form, to 180°.
type form struct{ radius, slope, angle func(float64) float64 }

func (m form) Radius(theta unit.Angle) (float64, bool) {
	return m.radius(float64(theta)), theta >= 0 && theta <= math.Pi
}
func (m form) Angle(r float64) (unit.Angle, bool) {
	return unit.Angle(m.angle(r)), r >= 0 && r <= m.radius(math.Pi)
}
func (m form) Slope(theta unit.Angle) (float64, bool) { return m.slope(float64(theta)), true }
func (form) MaxAngle() unit.Angle                     { return math.Pi }

var (
	equidistant = &form{func(t float64) float64 { return t }, func(float64) float64 { return 1 }, func(r float64) float64 { return r }}
	equisolid   = &form{
		func(t float64) float64 { return 2 * math.Sin(t/2) },
		func(t float64) float64 { return math.Cos(t / 2) },
		func(r float64) float64 { return 2 * math.Asin(r/2) },
	}
)

// A zoom of a fisheye whose circle is that of 180° up to 12 mm and the same beyond.
func TestViewsOfAZoom(t *testing.T) {
	const r90 = math.Pi / 2 // a quarter of a circle about the camera, drawn in equal steps
	zoom := must[wide.Zoom](t)(wide.NewZoom(wide.ZoomSpec{Model: equidistant, Points: []wide.ZoomPoint{
		{7 * mm, 14 * r90 * mm}, {10 * mm, 20 * r90 * mm}, {12 * mm, 24 * r90 * mm}, {15 * mm, 24 * r90 * mm},
	}}))
	for f, want := range map[unit.Length]float64{7: 14 * r90, 8: 16 * r90, 11: 22 * r90, 12: 24 * r90, 14: 24 * r90, 15: 24 * r90} {
		l := must[lens.Lens](t)(zoom.At(f*mm, 4))
		ref.Near(t, "L-C4", float64(has[unit.Length](t)(l.ImageCircle())/mm), want, f)
		ref.Near(t, "L-C4", float64(l.MaxAngle()), math.Min(r90, 12*r90/float64(f)), f, "radians")
	}
	v := must[wide.ZoomViews](t)(zoom.Views(lens.Format{Width: 36 * mm, Height: 24 * mm}, 180*lens.Degree))
	ref.Near(t, "L-C5", float64(v.Across.FocalLength/mm), 18/r90, "across")
	ref.Near(t, "L-C5", float64(v.Down.FocalLength/mm), 12/r90, "down")
	ref.Near(t, "L-C5", float64(v.Corners.FocalLength/mm), math.Sqrt(18*18+12*12)/r90, "corners")
	assert.Equal(t, [3]wide.ZoomLimit{wide.ZoomFits, wide.ZoomFits, wide.ZoomCircleTooSmall}, [3]wide.ZoomLimit{v.Across.Limit, v.Down.Limit, v.Corners.Limit})
	assert.InDelta(t, 0, float64(v.Down.Margin/mm), 1e-12, "the circle of 180°")
	assert.InDelta(t, 12*r90-math.Sqrt(18*18+12*12), float64(v.Corners.Margin/mm), 1e-12, "short of the corner")

	// A zoom that ends there fits as well.
	ends := must[wide.Zoom](t)(wide.NewZoom(wide.ZoomSpec{Model: equidistant, Points: []wide.ZoomPoint{
		{FocalLength: v.Down.FocalLength, ImageCircle: 30 * mm}, {FocalLength: v.Across.FocalLength, ImageCircle: 40 * mm},
	}}))
	e := must[wide.ZoomViews](t)(ends.Views(lens.Format{Width: 36 * mm, Height: 24 * mm}, 180*lens.Degree))
	assert.Equal(t, [2]wide.ZoomLimit{wide.ZoomFits, wide.ZoomFits}, [2]wide.ZoomLimit{e.Down.Limit, e.Across.Limit})

	// Two sides of the format are nearer, and one corner farther. Chords of right
	// angles, twice the radius by the sine of half, are image heights of 2 sin 45°.
	solid := must[wide.Zoom](t)(wide.NewZoom(wide.ZoomSpec{Model: equisolid, Points: []wide.ZoomPoint{{9 * mm, 30 * mm}, {12 * mm, 48 * mm}}}))
	v = must[wide.ZoomViews](t)(solid.Views(lens.Format{Width: 36 * mm, Height: 24 * mm, OffsetX: -2 * mm, OffsetY: 3 * mm}, 180*lens.Degree))
	ref.Near(t, "L-C5", float64(v.Across.FocalLength/mm), 16/math.Sqrt2, "across")
	ref.Near(t, "L-C5", float64(v.Down.FocalLength/mm), 9/math.Sqrt2, "down")
	ref.Near(t, "L-C5", float64(v.Corners.FocalLength/mm), 25/math.Sqrt2, "corners: 20 across and 15 down")
	assert.Equal(t, [3]wide.ZoomLimit{wide.ZoomFits, wide.ZoomStartsLonger, wide.ZoomEndsShorter}, [3]wide.ZoomLimit{v.Across.Limit, v.Down.Limit, v.Corners.Limit})
	assert.True(t, v.Down.Margin == 0 && v.Corners.Margin == 0, "no margin outside the zoom: %+v", v)
}

func TestZoomsThatCannotBe(t *testing.T) {
	point := func(f, c unit.Length) wide.ZoomPoint { return wide.ZoomPoint{FocalLength: f, ImageCircle: c} }
	for _, r := range []struct {
		spec wide.ZoomSpec
		want string
	}{
		{wide.ZoomSpec{}, "wide: number of points 0: must be at least 2"},
		{wide.ZoomSpec{Points: []wide.ZoomPoint{point(8*mm, 20*mm)}}, "wide: number of points 1"},
		{wide.ZoomSpec{Points: []wide.ZoomPoint{point(8*mm, 20*mm), point(8*mm, 30*mm)}}, "wide: focal length of point 1 8 mm: must be more than that of the point before, 8 mm"},
		{wide.ZoomSpec{Points: []wide.ZoomPoint{point(8*mm, 20*mm), point(15, 30*mm)}}, "is 15 mm meant?"},
		{wide.ZoomSpec{Points: []wide.ZoomPoint{point(8*mm, 0), point(15*mm, 30*mm)}}, "wide: image circle of point 0 0 m"},
		{wide.ZoomSpec{Points: []wide.ZoomPoint{point(8*mm, 20*mm), point(unit.Length(nan), 30*mm)}}, "wide: focal length of point 1 NaN m"},
		{wide.ZoomSpec{Model: (*form)(nil), Points: []wide.ZoomPoint{point(8*mm, 20*mm), point(15*mm, 30*mm)}}, "point 0: lens: model (*wide_test.form)(nil)"},
	} {
		_, err := wide.NewZoom(r.spec)
		refuses(t, err, r.want)
	}
	points := []wide.ZoomPoint{point(8*mm, 20*mm), point(15*mm, 30*mm)}
	z := must[wide.Zoom](t)(wide.NewZoom(wide.ZoomSpec{Points: points}))
	points[0].ImageCircle = 1 * mm
	assert.InDelta(t, 20, float64(has[unit.Length](t)(must[lens.Lens](t)(z.At(8*mm, 4)).ImageCircle())/mm), 1e-12, "the table is copied: mm")
	_, err := z.At(7.9*mm, 4)
	refuses(t, err, "wide: focal length 7.9 mm: must be at least 8 mm and at most 15 mm")
	_, err = z.At(8*mm, 0)
	refuses(t, err, "lens: f-number 0")
	f := lens.Format{Width: 36 * mm, Height: 24 * mm}
	_, err = z.Views(f, 180*lens.Degree)
	refuses(t, err, "view: lens: angle of view 180°: the model gives it no image height")
	_, err = z.Views(f, 0)
	refuses(t, err, "lens: angle of view 0°")
	for _, offset := range []lens.Format{{OffsetX: 18 * mm}, {OffsetY: -12 * mm}} {
		offset.Width, offset.Height = f.Width, f.Height
		_, err = z.Views(offset, 1)
		refuses(t, err, "the format must contain the axis")
	}
	_, err = z.Views(lens.Format{Height: 24 * mm}, 1)
	refuses(t, err, "wide: width of the format 0 m")
	_, err = wide.Zoom{}.Views(f, 1)
	refuses(t, err, "wide: zoom Zoom{}: must come from NewZoom")
	_, err = wide.Zoom{}.At(8*mm, 4)
	refuses(t, err, "must come from NewZoom")
	assert.Equal(t, "ZoomLimit(9)", wide.ZoomLimit(9).String())
	refuses(t, new(wide.ZoomLimit).UnmarshalText([]byte("wobbly")), `wide: zoom limit "wobbly": must be fits, `)
}
