package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// TestLightOfARing counts the light of a narrow ring of the scene. The pupil, a
// flat disc, takes in light in proportion to its area as seen from the ring,
// cos θ, and to the ring's solid angle. The sensor spreads it over the area of
// the ring's image, which the radius alone gives.
func TestLightOfARing(t *testing.T) {
	const half = 1e-4 // rad
	for _, m := range models {
		density := func(from, to float64) float64 {
			inner, outer := m.radius(from), m.radius(to)
			solid := 2 * math.Pi * (math.Cos(from) - math.Cos(to))
			return math.Cos((from+to)/2) * solid / (math.Pi * (outer - inner) * (outer + inner))
		}
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: m.m})
		for _, deg := range []float64{5, 10, 20, 30, 40, 45, 60, 80} {
			a := deg * math.Pi / 180
			want := density(a-half, a+half) / density(0, half)
			ref.Near(t, "L-F4", has[float64](t)(l.RelativeIllumination(unit.Angle(a))), want, m.name, deg, "degrees")
			// So many times the light is halved.
			ref.Near(t, "L-F4", math.Pow(0.5, has[float64](t)(l.FalloffStops(unit.Angle(a)))), want, m.name, deg, "degrees, stops")
		}
	}
}

// TestFluxIsConserved adds up the light on the sensor and in the pupil: what
// enters a flat pupil from a cone of half-angle a is in proportion to sin² a.
func TestFluxIsConserved(t *testing.T) {
	near.NumbersOnly(t)
	const a, steps = 70 * math.Pi / 180, 20000
	for _, m := range models {
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: m.m})
		sum, last := 0.0, 0.0
		for i := range steps {
			e := has[float64](t)(l.RelativeIllumination(unit.Angle(a * (float64(i) + 0.5) / steps)))
			r := m.radius(a * (float64(i) + 1) / steps)
			sum += e * (r*r - last*last)
			last = r
		}
		ref.Near(t, "L-F7", sum, math.Sin(a)*math.Sin(a), m.name)
	}
}

// scaled is a model with a scale of its own.
type scaled struct {
	lens.Model
	by float64
}

func (s scaled) Angle(r float64) (unit.Angle, bool) { return s.Model.Angle(r / s.by) }
func (s scaled) Radius(theta unit.Angle) (float64, bool) {
	r, ok := s.Model.Radius(theta)
	return s.by * r, ok
}
func (s scaled) Slope(theta unit.Angle) (float64, bool) {
	r, ok := s.Model.Slope(theta)
	return s.by * r, ok
}

func TestRelativeIlluminationLimits(t *testing.T) {
	for _, m := range models {
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: m.m})
		for _, a := range []unit.Angle{0, 5e-324, 1e-320, 1e-300, 1e-200, 1e-20, 1e-9} {
			near.ULP(t, m.name+" on the axis", has[float64](t)(l.RelativeIllumination(a)), 1, 4, "a few roundings")
			assert.InDelta(t, 0, has[float64](t)(l.FalloffStops(a)), 1e-15, "%s: stops on the axis", m.name)
		}
		last := 1 + 1e-15
		for i := range 90 {
			e := has[float64](t)(l.RelativeIllumination(unit.Angle(i) * lens.Degree))
			assert.LessOrEqual(t, e, last*(1+4e-16), "%s at %d degrees: a few roundings", m.name, i)
			last = e
		}
		// At 90° a flat pupil is seen edge-on. cos(π/2) in floating point is 6e-17,
		// which would come to 54 stops. Just below, there is an answer.
		has[float64](t)(l.FalloffStops(unit.Angle(math.Nextafter(math.Pi/2, 0))))
		for _, a := range []unit.Angle{math.Pi / 2, 90.001 * lens.Degree, 2, -1, unit.Angle(nan), unit.Angle(inf)} {
			_, ok := l.RelativeIllumination(a)
			_, okStops := l.FalloffStops(a)
			assert.False(t, ok || okStops, "%s at %v rad", m.name, float64(a))
		}
	}
	narrow := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: equidistant, MaxAngle: 40 * lens.Degree})
	has[float64](t)(narrow.RelativeIllumination(narrow.MaxAngle()))
	_, ok := narrow.RelativeIllumination(unit.Angle(math.Nextafter(float64(narrow.MaxAngle()), 1)))
	assert.False(t, ok, "light beyond the image circle")
	twice := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: scaled{equidistant, 2}})
	assert.InEpsilon(t, 2/math.Pi, has[float64](t)(twice.RelativeIllumination(45*lens.Degree)), 1e-15, "the scale of a model cancels")
}

// A model may be wrong about itself: what comes of it must not pass for light.
func TestLightOfModelsThatMakeNoSense(t *testing.T) {
	for _, m := range []odd{
		{r: nan, slope: 1, max: 1, ok: true}, {r: 0, slope: 1, max: 1, ok: true}, {r: -1, slope: 1, max: 1, ok: true}, {r: 1, slope: 1, max: 1},
	} {
		l, err := lens.New(lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: m})
		if err != nil {
			continue
		}
		_, ok := l.RelativeIllumination(0.5)
		_, okStops := l.FalloffStops(0.5)
		assert.False(t, ok || okStops, "%+v", m)
	}
	dark := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Model: odd{r: inf, slope: 1, max: 1, ok: true}})
	assert.Zero(t, has[float64](t)(dark.RelativeIllumination(0.5)))
	_, ok := dark.FalloffStops(0.5)
	assert.False(t, ok, "stops to no light at all")
}
