package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

func TestAngleOfViewTable(t *testing.T) {
	// A published table to 0.1 degree for 50 mm. Its rows for 100 mm and longer
	// are those of 50 mm divided in proportion, so they are no reference: the
	// right width at 100 mm is 20.41 degrees, below, where it prints 19.8.
	const width, height = 36 * mm, 24 * mm
	diagonal := unit.Length(math.Hypot(float64(width), float64(height)))
	for _, r := range []struct {
		id      string
		f       unit.Length // mm
		h, v, d float64     // degrees
	}{
		{"L-A1", 50, 39.6, 27.0, 46.8},
		{"L-A2", 14, 104.250032698, 81.20258929, 114.182131367},
		{"L-A2", 20, 83.9744249916, 61.9275130641, 94.4932135164},
		{"L-A2", 24, 73.7397952917, 53.1301023542, 84.0622275484},
		{"L-A2", 28, 65.4704525442, 46.3971810273, 75.3806496234},
		{"L-A2", 35, 54.4322231146, 37.8492888321, 63.4399665954},
		{"L-A2", 50, 39.597752709, 26.9914665616, 46.793003344},
		{"L-A2", 85, 23.9131684863, 16.0714214211, 28.5583222548},
		{"L-A2", 100, 20.4079474435, 13.6855468253, 24.4137302792},
		{"L-A2", 135, 15.1892867372, 10.15921572, 18.2081194862},
		{"L-A2", 200, 10.2855291158, 6.8672607249, 12.3469684015},
	} {
		l := mustNew(t, lens.Spec{FocalLength: r.f * mm, FNumber: 4})
		for _, c := range []struct {
			name string
			size unit.Length
			want float64
		}{{"across", width, r.h}, {"down", height, r.v}, {"corner to corner", diagonal, r.d}} {
			got, ok := l.AngleOfView(c.size)
			if !ok {
				t.Fatal(r.f, c.name)
			}
			ref.Near(t, r.id, float64(got/lens.Degree), c.want, float64(r.f), "mm", c.name)
			if r.id == "L-A2" {
				f, err := lens.FocalLengthForView(nil, c.size, unit.Angle(c.want)*lens.Degree)
				if err != nil {
					t.Fatal(err)
				}
				ref.Near(t, "L-A2f", f/mm, r.f, c.name)
			}
		}
	}
}

func TestAngleOfViewBeyondAHemisphere(t *testing.T) {
	// The same map example as in TestImageCircleOfSnydersExamples.
	l := mustNew(t, lens.Spec{FocalLength: 3 * mm, FNumber: 4, Projection: equidistant})
	got, ok := l.AngleOfView(2 * 8.0463200 * mm)
	if !ok {
		t.Fatal("no view")
	}
	ref.Near(t, "L-S3v", float64(got/lens.Degree), 2*153.6733925)
	f, err := lens.FocalLengthForView(equisolid, 2*5.8423497*mm, 2*153.6733925*lens.Degree)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-S3f", f/mm, 3)
}

func TestAngleOfViewRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	answered := 0
	defer func() {
		if answered < 2000 {
			t.Errorf("only %d of 2500 views have a focal length", answered)
		}
	}()
	for _, p := range projections {
		limit := math.Pi / 2
		if p.p != nil {
			limit = float64(p.p.MaxAngle())
		}
		for range 500 {
			view := unit.Angle(2 * limit * (1e-6 + 0.999*rng.Float64()))
			size := unit.Length(math.Exp(6*rng.Float64()-7)) * unit.Metre
			f, err := lens.FocalLengthForView(p.p, size, view)
			if err != nil {
				continue // outside the plausible focal lengths
			}
			l := mustNew(t, lens.Spec{FocalLength: f, FNumber: 4, Projection: p.p})
			answered++
			back, ok := l.AngleOfView(size)
			near.Rel(t, p.name, back, view, 2e-13, "rounding of f, magnified (tan θ)/θ = 405 times at 99.9 % of an orthographic rim")
			if !ok {
				t.Errorf("%s: no view of %v", p.name, size)
			}
		}
	}
}

func TestAngleOfViewAtTheEdge(t *testing.T) {
	for _, p := range projections {
		l := mustNew(t, lens.Spec{FocalLength: 7 * mm, FNumber: 4, Projection: p.p, MaxAngle: 77 * lens.Degree})
		edge := circle(t, l)
		if v, ok := l.AngleOfView(edge); !ok || v != 2*77*lens.Degree {
			t.Errorf("%s: view %v, %v across the whole circle", p.name, float64(v/lens.Degree), ok)
		}
		if v, ok := l.AngleOfView(edge * (1 - 0x1p-53)); !ok || v > 2*77*lens.Degree {
			t.Errorf("%s: view %v, %v just inside the circle", p.name, v, ok)
		}
		if _, ok := l.AngleOfView(edge * (1 + 0x1p-52)); ok {
			t.Errorf("%s: a view beyond the circle", p.name)
		}
		if v, ok := l.AngleOfView(0); !ok || v != 0 {
			t.Errorf("%s: view %v, %v of nothing", p.name, v, ok)
		}
		last := 0 * lens.Degree
		for i := range 100 {
			v, ok := l.AngleOfView(edge * unit.Length(i+1) / 100)
			if !ok || !(v > last) {
				t.Errorf("%s: the view does not grow at %d %%: %v, %v", p.name, i+1, v, ok)
			}
			last = v
		}
	}
}

func TestViewsThatAProjectionLacks(t *testing.T) {
	for _, r := range []struct {
		p    lens.Projection
		view unit.Angle
	}{{nil, 180}, {nil, 200}, {orthographic, 181}, {stereographic, 360}, {equidistant, 361}, {nil, 0}, {nil, -10}} {
		if f, err := lens.FocalLengthForView(r.p, 36*mm, r.view*lens.Degree); err == nil {
			t.Errorf("%v: focal length %v for %v degrees", r.p, f, float64(r.view))
		}
	}
	if _, err := lens.FocalLengthForView(equisolid, 36*mm, 360*lens.Degree); err != nil {
		t.Error(err)
	}
}

func FuzzAngleOfView(f *testing.F) {
	f.Add(0.05, 0.036, 0.0, uint8(0))
	f.Add(0.003, 0.016, 0.02, uint8(2))
	f.Add(0.01, 0.04, 0.04, uint8(3))
	f.Fuzz(func(t *testing.T, focal, size, circle float64, which uint8) {
		p := projections[int(which)%len(projections)]
		l, err := lens.New(lens.Spec{FocalLength: unit.Length(focal), FNumber: 4, Projection: p.p, ImageCircle: unit.Length(circle)})
		if err != nil {
			return
		}
		v, ok := l.AngleOfView(unit.Length(size))
		if !ok {
			return
		}
		d, limited := l.ImageCircle()
		if !(v >= 0 && v <= 2*l.MaxAngle()) || limited && size > float64(d) {
			t.Fatalf("%s: view %v of %v", p.name, v, size)
		}
		if v < 1e-3 || v > 1.9*l.MaxAngle() {
			return
		}
		back, err := lens.FocalLengthForView(p.p, unit.Length(size), v)
		if err == nil {
			near.Rel(t, p.name, float64(back), focal, 1e-13, "rounding of the angle, magnified near the rim")
		}
	})
}
