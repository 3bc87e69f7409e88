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
	for _, r := range []struct{ deg, want float64 }{
		{5, 0.984865454104}, {10, 0.940601865783}, {20, 0.779728243768}, {30, 0.5625},
		{40, 0.344362511235}, {45, 0.25}, {60, 0.0625},
	} {
		got, ok := l.RelativeIllumination(unit.Angle(r.deg) * lens.Degree)
		if !ok {
			t.Fatal(r.deg)
		}
		ref.Near(t, "L-F3", got, r.want, r.deg, "degrees")
		stops, _ := l.FalloffStops(unit.Angle(r.deg) * lens.Degree)
		if r.deg == 45 || r.deg == 60 {
			ref.Near(t, "L-F3s", stops, -math.Log2(r.want), r.deg, "degrees: two stops, four stops")
		}
	}
}

func TestRelativeIlluminationByProjection(t *testing.T) {
	for _, r := range []struct {
		id   string
		deg  float64
		want [5]float64 // rectilinear, stereographic, equidistant, equisolid, orthographic
	}{
		{"L-F4", 30, [5]float64{0.5625, 0.753886114156, 0.826993343133, 0.866025403784, 1}},
		{"L-F5", 45, [5]float64{0.25, 0.515165042945, 0.636619772368, 0.707106781187, 1}},
		{"L-F6", 60, [5]float64{0.0625, 0.28125, 0.413496671566, 0.5, 1}},
	} {
		for i, p := range projections {
			l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: p.p})
			got, ok := l.RelativeIllumination(unit.Angle(r.deg) * lens.Degree)
			if !ok {
				t.Fatal(p.name)
			}
			ref.Near(t, r.id, got, r.want[i], p.name)
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

// scaled is a projection whose unit is not its focal length on the axis.
type scaled struct {
	lens.Projection
	by float64
}

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
		for _, a := range []unit.Angle{90.001, 120, -1, unit.Angle(nan), unit.Angle(inf)} {
			if e, ok := l.RelativeIllumination(a * lens.Degree); ok {
				t.Errorf("%s at %v degrees: %v", p.name, float64(a), e)
			}
		}
	}
	narrow := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: equidistant, MaxAngle: 40 * lens.Degree})
	if _, ok := narrow.RelativeIllumination(41 * lens.Degree); ok {
		t.Error("light beyond the image circle")
	}
	twice := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 2, Projection: scaled{equidistant, 2}})
	e, _ := twice.RelativeIllumination(45 * lens.Degree)
	near.Rel(t, "a projection twice as large everywhere", e, 2/math.Pi, 1e-15, "the scale cancels")
}
