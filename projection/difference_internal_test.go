package projection

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// SciPy's example of aligning vectors, and the turn it finds as that between two
// cameras.
func TestAlignment(t *testing.T) {
	d := []pair{
		{a: r3.Vec{Y: 1}, b: r3.Vec{X: 1}},
		{a: r3.Vec{Y: 1, Z: 1}, b: r3.Vec{X: 1, Y: 1.1}},
		{a: r3.Vec{Y: 1, Z: 1}, b: r3.Vec{X: 1, Y: 0.9}},
	}
	q, ok := align(d, []float64{1, 1, 1})
	if !ok {
		t.Fatal("no rotation")
	}
	squares := 0.0
	for _, p := range d {
		squares += p.chord(q) * p.chord(q)
	}
	ref.Near(t, "P-R4", math.Sqrt(squares), 0.141421356237308, "root of the sum of squares")
	for i, want := range []r3.Vec{{Y: 1}, {Z: 1}, {X: 1}} { // columns of [0 0 1; 1 0 0; 0 1 0]
		axis := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[i]
		ref.Near(t, "P-R4", r3.Norm(r3.Sub(r3.Rotation(q).Rotate(axis), want)), 0, "rotation", i)
	}
	// It is a third of a turn about (1, 1, 1), and a heading and a roll of 90°
	// each are one as well.
	spec := CameraSpec{Model: Equisolid, FocalX: 1000, FocalY: 1000, Width: 3000, Height: 2000}
	a, err := NewCamera(spec)
	if err != nil {
		t.Fatal(err)
	}
	spec.Pose = Pose{Heading: math.Pi / 2, Roll: math.Pi / 2}
	b, err := NewCamera(spec)
	if err != nil {
		t.Fatal(err)
	}
	largest, turned, ok := MaxAngularDifference(a, b)
	if !ok {
		t.Fatal("nothing compared")
	}
	ref.Near(t, "P-R4", float64(largest), 0, "the same lens")
	ref.Near(t, "P-R4", float64(turned), 2*math.Pi/3, "a third of a turn")
}

// The rotation is better than its neighbours by the bound given.
func TestAlignmentIsNearlyMinimax(t *testing.T) {
	spec := CameraSpec{Model: Equisolid, FocalX: 1000, FocalY: 1000, Width: 1600, Height: 1200}
	a, err := NewCamera(spec)
	if err != nil {
		t.Fatal(err)
	}
	spec.Model, spec.FocalX, spec.FocalY, spec.OffsetX = Stereographic, 1020, 1015, 30
	b, err := NewCamera(spec)
	if err != nil {
		t.Fatal(err)
	}
	largest, turned, ok := MaxAngularDifference(a, b)
	if !ok {
		t.Fatal("nothing compared")
	}
	// An offset to the right is, on the axis, a turn to the right about the
	// vertical: search headings, elevations and rolls for a better one.
	d := commonPlaces(a, b)
	worst := func(p Pose) float64 {
		m := 0.0
		for _, e := range d {
			m = max(m, r3.Norm(r3.Sub(e.a, p.ToStage(e.b))))
		}
		return 2 * math.Asin(m/2)
	}
	best, least := Pose{}, math.Inf(1)
	for step := 0.01; step > 1e-6; step /= 2 {
		for moved := true; moved; {
			moved = false
			from := best
			for i := range 27 {
				p := from
				p.Heading += unit.Angle(float64(i%3-1) * step)
				p.Elevation += unit.Angle(float64(i/3%3-1) * step)
				p.Roll += unit.Angle(float64(i/9-1) * step)
				if w := worst(p); w < least {
					best, least, moved = p, w, true
				}
			}
		}
	}
	near.Rel(t, "largest", float64(largest), least, 0.011, "1 % above the least, and the search")
	if float64(largest) < least*(1-1e-3) {
		t.Errorf("%v is below the least, %v", largest, least)
	}
	if !(turned > 0.02 && turned < 0.04) {
		t.Errorf("turned by %v rad", turned)
	}
}
