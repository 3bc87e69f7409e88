package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// image is refracted for an object that may be at infinity, here 1e16 mm.
func image(f, object float64) float64 {
	return float64(refracted(unit.Length(f), unit.Length(math.Min(object, 1e16))))
}

func TestDepthOfFocusByTracingCones(t *testing.T) {
	for _, r := range []struct{ f, n, c, s, printed float64 }{ // mm
		{50, 2.8, .025, inf, .07}, {12, 4, .006, inf, .024}, {8, 1.8, .005, inf, .009}, {50, 2.8, .025, 500, 0}, {100, 4, .03, 210, 0},
	} {
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: r.n})
		got := must[unit.Length](t)(l.DepthOfFocus(unit.Length(r.s)*mm, unit.Length(r.c)*mm)) / mm
		at := image(r.f, r.s)
		for _, side := range []float64{-1, 1} { // in front of the image and behind it
			want := has[float64](t)(root.Find(func(d float64) float64 {
				return r.f/r.n*math.Abs(at+side*d-at)/at - r.c
			}, 0, at/2))
			ref.Near(t, "L-O1", float64(got), want, r)
		}
		if r.printed > 0 {
			ref.Near(t, "L-O1", float64(got), r.printed, r)
		}
	}
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 2.8})
	_, err := l.DepthOfFocus(50*mm, 5*um)
	refuses(t, err, "lens: focus distance 50 mm: must be more than 50 mm")
	_, err = l.DepthOfFocus(3, 50*mm)
	refuses(t, err, "lens: circle of confusion 50 mm")
	_, err = lens.Lens{}.DepthOfFocus(3, 5*um)
	refuses(t, err, "must come from New")
}

func TestFlangeErrorByRefraction(t *testing.T) {
	for _, r := range []struct{ f, s, e float64 }{ // mm
		{12, inf, .01}, {12, 3000, .01}, {12, 3000, -.01}, {8, 1000, .05}, {50, 80, -2}, {50, 51, 30},
	} {
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: 4})
		got := has[unit.Length](t)(l.ActualFocus(unit.Length(r.s)*mm, unit.Length(r.e)*mm)) / mm
		sensor := image(r.f, r.s) + r.e
		want := has[float64](t)(root.Find(func(d float64) float64 { return image(r.f, d) - sensor }, r.f*1.0001, 1e9))
		ref.Near(t, "L-O3", float64(got), want, r)
	}
	l := mustNew(t, lens.Spec{FocalLength: 12 * mm, FNumber: 4})
	far := has[unit.Length](t)(l.ActualFocus(unit.Length(inf), 10*um))
	assert.InDelta(t, 14.4, float64(far), 0.05, "metres: half the last digit of the example in the doc")
	assert.Equal(t, inf, float64(has[unit.Length](t)(l.ActualFocus(unit.Length(inf), 0))))
	for _, r := range [][2]unit.Length{{unit.Length(inf), -1e-9}, {12 * mm, 0}, {3, 2}, {3, unit.Length(nan)}, {3, -12 * mm}} {
		_, ok := l.ActualFocus(r[0], r[1])
		assert.False(t, ok, r)
	}
	_, ok := lens.Lens{}.ActualFocus(3, 0)
	assert.False(t, ok)
}

// A far point at an angle from the axis is drawn where the straight ray through
// the middle of the lens meets the sensor.
func TestBreathingByRefraction(t *testing.T) {
	const f = 12.0 // mm
	l := mustNew(t, lens.Spec{FocalLength: f * mm, FNumber: 4})
	for _, r := range [][2]float64{{inf, 3000}, {3000, inf}, {3000, 300}, {500, 800}, {inf, 24}} {
		height := func(focus float64) float64 { return math.Tan(0.9) * image(f, focus) }
		got := has[float64](t)(l.Breathing(unit.Length(r[0])*mm, unit.Length(r[1])*mm))
		ref.Near(t, "L-O5", got, height(r[1])/height(r[0]), r)
	}
	scale := has[float64](t)(l.Breathing(unit.Length(inf), 3))
	assert.InDelta(t, 23, (scale-1)*17.2/0.003, 0.5, "photosites of 3 µm at the rim of an image of 17.2 mm")
	for _, r := range [][2]unit.Length{{12 * mm, 3}, {3, 12 * mm}, {unit.Length(nan), 3}} {
		_, ok := l.Breathing(r[0], r[1])
		assert.False(t, ok, r)
	}
	_, ok := lens.Lens{}.Breathing(3, 3)
	assert.False(t, ok)
}

func TestFocusMarksByRefraction(t *testing.T) {
	for _, r := range []struct{ f, s, p float64 }{ // mm
		{12, 3000, 120}, {12, 25, 120}, {50, 400, 45}, {200, 1500, -90}, {100, 201, 60},
	} {
		l := mustNew(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: 4})
		// The sensor is fixed, and the lens moves until the image is on it.
		mark := r.p + image(r.f, r.s) - image(r.f, inf) + r.s
		ref.Near(t, "L-O6", float64(has[unit.Length](t)(l.FocusMark(unit.Length(r.s)*mm, unit.Length(r.p)*mm))/mm), mark, r)
		ref.Near(t, "L-O6", float64(has[unit.Length](t)(l.FocusFromMark(unit.Length(mark)*mm, unit.Length(r.p)*mm))/mm), r.s, r)
	}
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 4})
	for s := 0.101; s < 1e6; s *= 1.5 {
		mark := has[unit.Length](t)(l.FocusMark(unit.Length(s), 80*mm))
		assert.InEpsilon(t, s, float64(has[unit.Length](t)(l.FocusFromMark(mark, 80*mm))), 1e-13,
			"a rounding of the mark, over the slope of the mark, 0.01 at 101 mm")
	}
	lifeSize := has[unit.Length](t)(l.FocusMark(100*mm, 80*mm))
	assert.InDelta(t, 230, float64(lifeSize/mm), 1e-12, "the nearest mark, in mm")
	assert.Equal(t, inf, float64(has[unit.Length](t)(l.FocusMark(unit.Length(inf), 80*mm))))
	assert.Equal(t, inf, float64(has[unit.Length](t)(l.FocusFromMark(unit.Length(inf), 80*mm))))
	for _, r := range [][2]unit.Length{{99.99 * mm, 80 * mm}, {3, 1.1}, {3, -1.1}, {unit.Length(nan), 0}, {3, unit.Length(nan)}} {
		_, ok := l.FocusMark(r[0], r[1])
		assert.False(t, ok, r)
	}
	for _, r := range [][2]unit.Length{{229.99 * mm, 80 * mm}, {3, 1.1}, {3, -1.1}, {unit.Length(nan), 0}, {3, unit.Length(nan)}} {
		_, ok := l.FocusFromMark(r[0], r[1])
		assert.False(t, ok, r)
	}
	_, ok := lens.Lens{}.FocusMark(3, 0)
	assert.False(t, ok)
	_, ok = lens.Lens{}.FocusFromMark(3, 0)
	assert.False(t, ok)
}

// A ray towards the image, a millionth of a radian from the axis, goes through a
// plate and meets the axis further on.
func TestPlateShiftByRefraction(t *testing.T) {
	for _, r := range []struct{ thickness, index, printed float64 }{ // mm
		{2, 1.5, 0.666666666667}, {4, 1.52, 1.36842105263}, {2.5, 1.517, 0.852010547132}, {1, 1, 0}, {100, 4, 75},
	} {
		const angle = 1e-6
		within := math.Asin(math.Sin(angle) / r.index)
		want := r.thickness - r.thickness*math.Tan(within)/math.Tan(angle)
		got := float64(must[unit.Length](t)(lens.PlateShift(unit.Length(r.thickness)*mm, r.index)) / mm)
		ref.Near(t, "L-O2", got, want, r)
		ref.Near(t, "L-O2", got, r.printed, r)
	}
	for _, r := range []struct {
		thickness unit.Length
		index     float64
		want      string
	}{{0, 1.5, "lens: thickness of the plate 0 m"}, {2, 1.5, "is 2 mm meant?"}, {101 * mm, 1.5, "at most 100 mm"}, {2 * mm, .9, "lens: refractive index 0.9"}, {2 * mm, 4.1, "at most 4"}, {2 * mm, nan, "refractive index NaN"}} {
		_, err := lens.PlateShift(r.thickness, r.index)
		refuses(t, err, r.want)
	}
}
