package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// widest is the width of the largest window about a centre, by halving: its four
// corners are tried against the format and the circle.
func widest(f lens.Format, diameter unit.Length, aspect, x, y float64) float64 {
	inside := func(width float64) bool {
		for _, sx := range []float64{-1, 1} {
			for _, sy := range []float64{-1, 1} {
				cx, cy := x+sx*width/2, y+sy*width/aspect/2
				if math.Hypot(cx, cy) > float64(diameter)/2 || math.Abs(cx-float64(f.OffsetX)) > float64(f.Width)/2*(1+1e-13) ||
					math.Abs(cy-float64(f.OffsetY)) > float64(f.Height)/2*(1+1e-13) {
					return false
				}
			}
		}
		return true
	}
	if !inside(0) { // by how much the centre is outside, so that a search can find its way
		return -max(math.Hypot(x, y)-float64(diameter)/2, math.Abs(x-float64(f.OffsetX))-float64(f.Width)/2, math.Abs(y-float64(f.OffsetY))-float64(f.Height)/2)
	}
	lo, hi := 0.0, 2*float64(f.Width)
	for range 45 {
		if mid := (lo + hi) / 2; inside(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// highest is the largest value of a function with one peak, by dropping the worse
// third of the rest.
func highest(lo, hi float64, f func(float64) float64) float64 {
	for range 70 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if f(a) < f(b) {
			lo = a
		} else {
			hi = b
		}
	}
	return f((lo + hi) / 2)
}

// The largest width about a centre has one peak, over all centres and along each
// line of them: the windows that fit form a convex set.
func TestWindowsByTryingCentres(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	found := 0
	for range 40 {
		u := func() unit.Length { return unit.Length(rng.Float64()) * mm }
		f := lens.Format{Width: 5*mm + 35*u(), Height: 5*mm + 25*u(), OffsetX: 30*u() - 15*mm, OffsetY: 24*u() - 12*mm}
		diameter, aspect := 8*mm+30*u(), 0.4+2*rng.Float64()
		l := circleOf(t, diameter)

		x, y := float64(f.OffsetX), float64(f.OffsetY)
		centred, err := l.CentredWindow(f, aspect)
		if want := widest(f, diameter, aspect, x, y); want > 1e-6 {
			assert.NoError(t, err)
			ref.Near(t, "L-C3", float64(centred.Width), want, "centred", f)
			assert.True(t, centred.OffsetX == f.OffsetX && centred.OffsetY == f.OffsetY, "%+v", centred)
			assert.InDelta(t, aspect, float64(centred.Width/centred.Height), 1e-14, "a rounding")
		} else {
			refuses(t, err, "does not reach the centre of the format")
		}

		free, err := l.FreeWindow(f, aspect)
		best := highest(x-float64(f.Width)/2, x+float64(f.Width)/2, func(x float64) float64 {
			return highest(y-float64(f.Height)/2, y+float64(f.Height)/2, func(y float64) float64 { return widest(f, diameter, aspect, x, y) })
		})
		if best < 1e-6 {
			continue
		}
		found++
		if assert.NoError(t, err) {
			ref.Near(t, "L-C3f", float64(free.Width), best, "free", f)
			fit := must[lens.CircleFit](t)(l.CircleFit(free))
			assert.Equal(t, lens.CircleCovers, fit.Limit, "%+v", free)
			assert.LessOrEqual(t, math.Abs(float64(free.OffsetX-f.OffsetX)), float64(f.Width-free.Width)/2+1e-15, "within the format")
			assert.LessOrEqual(t, math.Abs(float64(free.OffsetY-f.OffsetY)), float64(f.Height-free.Height)/2+1e-15, "within the format")
			assert.GreaterOrEqual(t, free.Width, centred.Width)
		}
	}
	assert.Greater(t, found, 25, "windows")
}

func TestWindowsOfKnownSize(t *testing.T) {
	l := circleOf(t, 20*mm)
	f := lens.Format{Width: 36 * mm, Height: 24 * mm}
	square := must[lens.Format](t)(l.CentredWindow(f, 1))
	assert.InDelta(t, 20/math.Sqrt2, float64(square.Width/mm), 1e-12, "the square in a circle, in mm")
	assert.Equal(t, square, must[lens.Format](t)(l.FreeWindow(f, 1)), "a centred format")
	wide := must[lens.Format](t)(l.CentredWindow(f, 4.0/3))
	assert.InDelta(t, 16, float64(wide.Width/mm), 1e-12, "3-4-5")
	assert.InDelta(t, 12, float64(wide.Height/mm), 1e-12, "3-4-5")
	small := lens.Format{Width: 8 * mm, Height: 6 * mm, OffsetX: -1 * mm, OffsetY: 2 * mm}
	assert.Equal(t, small, must[lens.Format](t)(l.FreeWindow(small, 8.0/6)), "all of a format that is lit")

	_, err := l.FreeWindow(lens.Format{Width: 4 * mm, Height: 4 * mm, OffsetX: 13 * mm}, 1)
	refuses(t, err, "lens: image circle 20 mm: does not reach the format")
	_, err = l.CentredWindow(lens.Format{Width: 8 * mm, Height: 4 * mm, OffsetX: 11 * mm}, 1)
	refuses(t, err, "lens: image circle 20 mm: does not reach the centre of the format")
	for _, aspect := range []float64{0, -1, 101, nan, inf} {
		_, err := l.CentredWindow(f, aspect)
		refuses(t, err, "lens: aspect ")
	}
	_, err = l.FreeWindow(lens.Format{Width: 36 * mm}, 1)
	refuses(t, err, "lens: height of the format 0 m")
	_, err = l.FreeWindow(lens.Format{Width: 1 * um, Height: 1 * um}, 100)
	refuses(t, err, "lens: height of the window 10 nm")
	_, err = mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4}).FreeWindow(f, 1)
	refuses(t, err, "lens: image circle without limit")
}

// A zoom of a fisheye whose circle is that of 180° up to 12 mm and the same beyond.
func TestViewsOfAZoom(t *testing.T) {
	const r90 = math.Pi / 2 // a quarter of a circle about the camera, drawn in equal steps
	zoom := must[lens.Zoom](t)(lens.NewZoom(lens.ZoomSpec{Model: equidistant, Points: []lens.ZoomPoint{
		{7 * mm, 14 * r90 * mm}, {10 * mm, 20 * r90 * mm}, {12 * mm, 24 * r90 * mm}, {15 * mm, 24 * r90 * mm},
	}}))
	for f, want := range map[unit.Length]float64{7: 14 * r90, 8: 16 * r90, 11: 22 * r90, 12: 24 * r90, 14: 24 * r90, 15: 24 * r90} {
		l := must[lens.Lens](t)(zoom.At(f*mm, 4))
		ref.Near(t, "L-C4", float64(circle(t, l)/mm), want, f)
		ref.Near(t, "L-C4", float64(l.MaxAngle()), math.Min(r90, 12*r90/float64(f)), f, "radians")
	}
	v := must[lens.ZoomViews](t)(zoom.Views(lens.Format{Width: 36 * mm, Height: 24 * mm}, 180*lens.Degree))
	ref.Near(t, "L-C5", float64(v.Across.FocalLength/mm), 18/r90, "across")
	ref.Near(t, "L-C5", float64(v.Down.FocalLength/mm), 12/r90, "down")
	ref.Near(t, "L-C5", float64(v.Corners.FocalLength/mm), math.Sqrt(18*18+12*12)/r90, "corners")
	assert.Equal(t, [3]lens.ZoomLimit{lens.ZoomFits, lens.ZoomFits, lens.ZoomCircleTooSmall}, [3]lens.ZoomLimit{v.Across.Limit, v.Down.Limit, v.Corners.Limit})
	assert.InDelta(t, 0, float64(v.Down.Margin/mm), 1e-12, "the circle of 180°")
	assert.InDelta(t, 12*r90-math.Sqrt(18*18+12*12), float64(v.Corners.Margin/mm), 1e-12, "short of the corner")

	// Two sides of the format are nearer, and one corner farther. Chords of right
	// angles, twice the radius by the sine of half, are image heights of 2 sin 45°.
	solid := must[lens.Zoom](t)(lens.NewZoom(lens.ZoomSpec{Model: equisolid, Points: []lens.ZoomPoint{{9 * mm, 30 * mm}, {12 * mm, 48 * mm}}}))
	v = must[lens.ZoomViews](t)(solid.Views(lens.Format{Width: 36 * mm, Height: 24 * mm, OffsetX: -2 * mm, OffsetY: 3 * mm}, 180*lens.Degree))
	ref.Near(t, "L-C5", float64(v.Across.FocalLength/mm), 16/math.Sqrt2, "across")
	ref.Near(t, "L-C5", float64(v.Down.FocalLength/mm), 9/math.Sqrt2, "down")
	ref.Near(t, "L-C5", float64(v.Corners.FocalLength/mm), 25/math.Sqrt2, "corners: 20 across and 15 down")
	assert.Equal(t, [3]lens.ZoomLimit{lens.ZoomFits, lens.ZoomStartsLonger, lens.ZoomEndsShorter}, [3]lens.ZoomLimit{v.Across.Limit, v.Down.Limit, v.Corners.Limit})
	assert.True(t, v.Down.Margin == 0 && v.Corners.Margin == 0, "no margin outside the zoom: %+v", v)
}

func TestZoomsThatCannotBe(t *testing.T) {
	point := func(f, c unit.Length) lens.ZoomPoint { return lens.ZoomPoint{FocalLength: f, ImageCircle: c} }
	for _, r := range []struct {
		spec lens.ZoomSpec
		want string
	}{
		{lens.ZoomSpec{}, "lens: number of points 0: must be at least 2"},
		{lens.ZoomSpec{Points: []lens.ZoomPoint{point(8*mm, 20*mm)}}, "lens: number of points 1"},
		{lens.ZoomSpec{Points: []lens.ZoomPoint{point(8*mm, 20*mm), point(8*mm, 30*mm)}}, "lens: focal length of point 1 8 mm: must be more than that of the point before, 8 mm"},
		{lens.ZoomSpec{Points: []lens.ZoomPoint{point(8*mm, 20*mm), point(15, 30*mm)}}, "is 15 mm meant?"},
		{lens.ZoomSpec{Points: []lens.ZoomPoint{point(8*mm, 0), point(15*mm, 30*mm)}}, "lens: image circle of point 0 0 m"},
		{lens.ZoomSpec{Points: []lens.ZoomPoint{point(8*mm, 20*mm), point(unit.Length(nan), 30*mm)}}, "lens: focal length of point 1 NaN m"},
		{lens.ZoomSpec{Model: lonely{}, Points: []lens.ZoomPoint{point(8*mm, 20*mm), point(15*mm, 30*mm)}}, "point 0: lens: image circle 20 mm: the model gives its edge no field angle"},
		{lens.ZoomSpec{Model: unset{}, Points: []lens.ZoomPoint{point(8*mm, 20*mm), point(15*mm, 30*mm)}}, "lens: model not set"},
	} {
		_, err := lens.NewZoom(r.spec)
		refuses(t, err, r.want)
	}
	points := []lens.ZoomPoint{point(8*mm, 20*mm), point(15*mm, 30*mm)}
	z := must[lens.Zoom](t)(lens.NewZoom(lens.ZoomSpec{Points: points}))
	points[0].ImageCircle = 1 * mm
	assert.InDelta(t, 20, float64(circle(t, must[lens.Lens](t)(z.At(8*mm, 4)))/mm), 1e-12, "the table is copied: mm")
	_, err := z.At(7.9*mm, 4)
	refuses(t, err, "lens: focal length 7.9 mm: must be at least 8 mm and at most 15 mm")
	_, err = z.At(8*mm, 0)
	refuses(t, err, "lens: f-number 0")
	f := lens.Format{Width: 36 * mm, Height: 24 * mm}
	_, err = z.Views(f, 180*lens.Degree)
	refuses(t, err, "lens: angle of view 180°: the model gives it no image height")
	_, err = z.Views(f, 0)
	refuses(t, err, "lens: angle of view 0°")
	for _, offset := range []lens.Format{{OffsetX: 18 * mm}, {OffsetY: -12 * mm}} {
		offset.Width, offset.Height = f.Width, f.Height
		_, err = z.Views(offset, 1)
		refuses(t, err, "the format must contain the axis")
	}
	_, err = z.Views(lens.Format{Height: 24 * mm}, 1)
	refuses(t, err, "lens: width of the format 0 m")
	_, err = lens.Zoom{}.Views(f, 1)
	refuses(t, err, "lens: zoom Zoom{}: must come from NewZoom")
	_, err = lens.Zoom{}.At(8*mm, 4)
	refuses(t, err, "must come from NewZoom")
	assert.Equal(t, "ZoomLimit(9)", lens.ZoomLimit(9).String())
	refuses(t, new(lens.ZoomLimit).UnmarshalText([]byte("wobbly")), `lens: zoom limit "wobbly": must be fits, `)
}
