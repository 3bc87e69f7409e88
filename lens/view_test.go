package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestAngleOfViewOfAPinhole(t *testing.T) {
	const width, height = 36 * mm, 24 * mm
	diagonal := unit.Length(math.Hypot(float64(width), float64(height)))
	normal := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 4})
	for size, want := range map[unit.Length]float64{width: 39.6, height: 27.0, diagonal: 46.8} {
		ref.Near(t, "L-A1", float64(has[unit.Angle](t)(normal.AngleOfView(size))/lens.Degree), want)
	}
	for _, f := range []unit.Length{14, 20, 24, 28, 35, 50, 85, 100, 135, 200} {
		l := mustNew(t, lens.Spec{FocalLength: f * mm, FNumber: 4})
		for _, size := range []unit.Length{width, height, diagonal} {
			// The rays from the two ends of the length through the pinhole.
			a := r3.Vec{X: float64(-size / 2), Z: float64(f * mm)}
			b := r3.Vec{X: float64(size / 2), Z: float64(f * mm)}
			between := math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b))
			ref.Near(t, "L-A2", float64(has[unit.Angle](t)(l.AngleOfView(size))), between, float64(f), "mm")
			ref.Near(t, "L-A2f", must[unit.Length](t)(lens.FocalLengthForView(nil, size, unit.Angle(between)))/mm, f)
		}
	}
}

func TestAngleOfViewBeyondAHemisphere(t *testing.T) {
	// The same map example as in TestImageCircleOfSnydersExamples.
	l := mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Model: equidistant})
	view := has[unit.Angle](t)(l.AngleOfView(2 * 8.0463200 * mm))
	ref.Near(t, "L-S3v", float64(view/lens.Degree), 2*153.6733925)
	f := must[unit.Length](t)(lens.FocalLengthForView(equisolid, 2*5.8423497*mm, 2*153.6733925*lens.Degree))
	ref.Near(t, "L-S3f", f/mm, 3)
}

func TestAngleOfViewRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	answered := 0
	for _, m := range models {
		limit := math.Pi / 2
		if m.m != nil {
			limit = float64(m.m.MaxAngle())
		}
		for range 500 {
			view := unit.Angle(2 * limit * (1e-6 + 0.999*rng.Float64()))
			size := unit.Length(math.Exp(6*rng.Float64()-7)) * unit.Metre
			f, err := lens.FocalLengthForView(m.m, size, view)
			if err != nil {
				continue // outside the plausible focal lengths
			}
			answered++
			l := mustNew(t, lens.Spec{FocalLength: f, FNumber: 4, Model: m.m})
			back := has[unit.Angle](t)(l.AngleOfView(size))
			assert.InEpsilon(t, float64(view), float64(back), 2e-13, "%s: rounding of f, magnified (tan θ)/θ = 405 times at 99.9 %% of an orthographic rim", m.name)
		}
	}
	assert.Greater(t, answered, 2000, "views that have a focal length, of 2500")
}

func TestAngleOfViewAtTheEdge(t *testing.T) {
	for _, m := range models {
		l := mustNew(t, lens.Spec{FocalLength: 7 * mm, FNumber: 4, Model: m.m, MaxAngle: 77 * lens.Degree})
		edge := circle(t, l)
		assert.Equal(t, 2*77*lens.Degree, has[unit.Angle](t)(l.AngleOfView(edge)), "%s: the whole circle", m.name)
		assert.LessOrEqual(t, has[unit.Angle](t)(l.AngleOfView(edge*(1-0x1p-53))), 2*77*lens.Degree, "%s: just inside", m.name)
		_, ok := l.AngleOfView(edge * (1 + 0x1p-52))
		assert.False(t, ok, "%s: just outside", m.name)
		assert.Zero(t, has[unit.Angle](t)(l.AngleOfView(0)), m.name)
		last := 0 * lens.Degree
		for i := range 100 {
			v := has[unit.Angle](t)(l.AngleOfView(edge * unit.Length(i+1) / 100))
			assert.Greater(t, v, last, "%s: the view grows with the length, at %d %%", m.name, i+1)
			last = v
		}
	}
}

func TestViewsThatAModelLacks(t *testing.T) {
	for _, r := range []struct {
		m    lens.Model
		view unit.Angle
	}{{nil, 180}, {nil, 200}, {orthographic, 181}, {stereographic, 360}, {equidistant, 361}, {nil, 0}, {nil, -10}} {
		_, err := lens.FocalLengthForView(r.m, 36*mm, r.view*lens.Degree)
		refuses(t, err, "lens: angle of view ")
	}
	must[unit.Length](t)(lens.FocalLengthForView(equisolid, 36*mm, 360*lens.Degree))
	for _, size := range []unit.Length{0, 99e-9, 1.01, unit.Length(nan)} {
		_, err := lens.FocalLengthForView(nil, size, 1)
		refuses(t, err, "lens: size ")
	}
	for _, r := range []struct {
		size unit.Length
		view unit.Angle
	}{{0.05 * mm, 1}, {1, 0.2}} {
		_, err := lens.FocalLengthForView(nil, r.size, r.view)
		refuses(t, err, "lens: focal length ")
	}
}

func FuzzAngleOfView(f *testing.F) {
	f.Add(0.05, 0.036, 0.0, uint8(0))
	f.Add(0.003, 0.016, 0.02, uint8(2))
	f.Add(0.01, 0.04, 0.04, uint8(3))
	f.Fuzz(func(t *testing.T, focal, size, circle float64, which uint8) {
		m := models[int(which)%len(models)]
		l, err := lens.New(lens.Spec{FocalLength: unit.Length(focal), FNumber: 4, Model: m.m, ImageCircle: unit.Length(circle)})
		if err != nil {
			return
		}
		v, ok := l.AngleOfView(unit.Length(size))
		if !ok {
			return
		}
		d, limited := l.ImageCircle()
		if !(v >= 0 && v <= 2*l.MaxAngle()) || limited && size > float64(d) {
			t.Fatalf("%s: view %v of %v", m.name, v, size)
		}
		if v < 1e-3 || v > 1.9*l.MaxAngle() {
			return
		}
		if back, err := lens.FocalLengthForView(m.m, unit.Length(size), v); err == nil {
			assert.InEpsilon(t, focal, float64(back), 1e-13, "%s: rounding of the angle, magnified near the rim", m.name)
		}
	})
}
