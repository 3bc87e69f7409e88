package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
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
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(17, 18))
	found := 0
	for range 24 {
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
	assert.Greater(t, found, 14, "windows")
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
	touching := circleOf(t, unit.Length(2*math.Hypot(float64(f.Width)/2, float64(f.Height)/2)))
	assert.Equal(t, f, must[lens.Format](t)(touching.FreeWindow(f, float64(f.Width/f.Height))), "a circle through the corners")

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
