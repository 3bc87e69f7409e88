package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

func TestCos4Law(t *testing.T) {
	l := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2})
	for deg, want := range map[unit.Angle]float64{45: 2, 60: 4} {
		stops, ok := l.FalloffStops(deg * lens.Degree)
		if !ok {
			t.Fatal(deg)
		}
		ref.Near(t, "L-F3s", stops, want, float64(deg), "degrees: two stops, four stops")
	}
}

// TestRelativeIlluminationOfARing counts the light of a narrow ring of the
// scene. The pupil, a flat disc, takes in light in proportion to its area as
// seen from the ring, cos θ, and to the ring's solid angle. The sensor spreads
// it over the area of the ring's image, which the radius alone gives.
func TestRelativeIlluminationOfARing(t *testing.T) {
	const half = 1e-4 // rad
	for _, p := range projections {
		q := p.p
		if q == nil {
			q = closed{"", math.Tan, nil, nil, math.Pi / 2, inf, true}
		}
		density := func(from, to float64) float64 {
			inner, _ := q.Radius(unit.Angle(from))
			outer, _ := q.Radius(unit.Angle(to))
			solid := 2 * math.Pi * (math.Cos(from) - math.Cos(to))
			return math.Cos((from+to)/2) * solid / (math.Pi * (outer - inner) * (outer + inner))
		}
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: p.p})
		for _, deg := range []float64{5, 10, 20, 30, 40, 45, 60, 80} {
			a := deg * math.Pi / 180
			got, ok := l.RelativeIllumination(unit.Angle(a))
			if !ok {
				t.Fatal(p.name)
			}
			ref.Near(t, "L-F4", got, density(a-half, a+half)/density(0, half), p.name, deg, "degrees")
		}
	}
}

// TestFluxIsConserved adds up the light on the sensor and in the pupil: what
// enters a flat pupil from a cone of half-angle a is in proportion to sin² a.
func TestFluxIsConserved(t *testing.T) {
	for _, p := range projections {
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: p.p})
		const a, steps = 70 * math.Pi / 180, 20000
		q := p.p
		if q == nil {
			q = closed{"", math.Tan, nil, nil, math.Pi / 2, inf, true}
		}
		sum, last := 0.0, 0.0
		for i := range steps {
			e, ok := l.RelativeIllumination(unit.Angle(a * (float64(i) + 0.5) / steps))
			if !ok {
				t.Fatal(p.name)
			}
			r, _ := q.Radius(unit.Angle(a * (float64(i) + 1) / steps))
			sum += e * (r*r - last*last)
			last = r
		}
		ref.Near(t, "L-F7", sum, math.Sin(a)*math.Sin(a), p.name)
	}
}

// scaled is a projection with a scale of its own.
type scaled struct {
	lens.Projection
	by float64
}

func (s scaled) Angle(r float64) (unit.Angle, bool) { return s.Projection.Angle(r / s.by) }
func (s scaled) Radius(theta unit.Angle) (float64, bool) {
	r, ok := s.Projection.Radius(theta)
	return s.by * r, ok
}
func (s scaled) Slope(theta unit.Angle) (float64, bool) {
	r, ok := s.Projection.Slope(theta)
	return s.by * r, ok
}

func TestRelativeIlluminationLimits(t *testing.T) {
	for _, p := range projections {
		l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: p.p})
		for _, a := range []unit.Angle{0, 5e-324, 1e-320, 1e-300, 1e-200, 1e-20, 1e-9} {
			e, ok := l.RelativeIllumination(a)
			if !ok {
				t.Errorf("%s at %v: no answer", p.name, a)
			}
			near.ULP(t, p.name+" on the axis", e, 1, 4, "a few roundings")
			s, ok := l.FalloffStops(a)
			if !ok || math.Abs(s) > 1e-15 {
				t.Errorf("%s: %v stops on the axis", p.name, s)
			}
		}
		last := 1 + 1e-15
		for i := range 90 {
			e, ok := l.RelativeIllumination(unit.Angle(i) * lens.Degree)
			if !ok || e > last*(1+4e-16) {
				t.Errorf("%s at %d degrees: %v after %v, %v", p.name, i, e, last, ok)
			}
			last = e
		}
		// At 90° a flat pupil shows its edge. cos(π/2) in floating point is 6e-17,
		// which would come to 54 stops.
		if s, ok := l.FalloffStops(math.Pi / 2); ok {
			t.Errorf("%s at 90°: %v stops", p.name, s)
		}
		for _, a := range []unit.Angle{90, 90.001, 120, -1, unit.Angle(nan), unit.Angle(inf)} {
			if e, ok := l.RelativeIllumination(a * lens.Degree); ok {
				t.Errorf("%s at %v degrees: %v", p.name, float64(a), e)
			}
		}
	}
	narrow := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: equidistant, MaxAngle: 40 * lens.Degree})
	if _, ok := narrow.RelativeIllumination(narrow.MaxAngle()); !ok {
		t.Error("no light at the rim of the image circle")
	}
	if _, ok := narrow.RelativeIllumination(41 * lens.Degree); ok {
		t.Error("light beyond the image circle")
	}
	twice := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: scaled{equidistant, 2}})
	e, _ := twice.RelativeIllumination(45 * lens.Degree)
	near.Rel(t, "a projection twice as large everywhere", e, 2/math.Pi, 1e-15, "the scale cancels")
}
