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

func circleOf(t testing.TB, diameter unit.Length) lens.Lens {
	return mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4, ImageCircle: diameter})
}

// slices is the part of the format inside the circle by brute force: a sum
// over rows of the length that the circle leaves of each.
func slices(f lens.Format, diameter unit.Length, rows int) float64 {
	r := float64(diameter) / 2
	left, right := float64(f.OffsetX-f.Width/2), float64(f.OffsetX+f.Width/2)
	sum := 0.0
	for i := range rows {
		y := float64(f.OffsetY) + float64(f.Height)*((float64(i)+0.5)/float64(rows)-0.5)
		if math.Abs(y) >= r {
			continue
		}
		chord := math.Sqrt(r*r - y*y)
		sum += math.Max(0, math.Min(right, chord)-math.Max(left, -chord))
	}
	return sum / float64(rows) / float64(f.Width)
}

func TestCoverageByIntegration(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	formats := []lens.Format{
		{Width: 36 * mm, Height: 24 * mm},
		{Width: 24 * mm, Height: 36 * mm},
		{Width: 36 * mm, Height: 24 * mm, OffsetY: 6 * mm},
		{Width: 36 * mm, Height: 24 * mm, OffsetX: -25 * mm, OffsetY: 20 * mm},
	}
	for range 60 {
		u := func() unit.Length { return unit.Length(rng.Float64()) * mm }
		formats = append(formats, lens.Format{Width: 1*mm + 40*u(), Height: 1*mm + 40*u(), OffsetX: 40*u() - 20*mm, OffsetY: 40*u() - 20*mm})
	}
	for i, f := range formats {
		for _, d := range []unit.Length{5 * mm, 20 * mm, 24 * mm, 30 * mm, 36 * mm, 40 * mm, 43 * mm, 60 * mm} {
			c, ok := circleOf(t, d).Coverage(f)
			if !ok {
				t.Fatal(f)
			}
			ref.Near(t, "L-C1", c.Area, slices(f, d, 20000), i, float64(d/mm), "mm")
		}
	}
}

func TestCoverageGeometry(t *testing.T) {
	// A circle inside a square fills π/4 of it, a square inside a circle is full.
	c, _ := circleOf(t, 24*mm).Coverage(lens.Format{Width: 24 * mm, Height: 24 * mm})
	ref.Near(t, "L-C2", c.Area, math.Pi/4, "circle in a square")
	near.Abs(t, "side", c.Width, 0, 0, "exact")
	// The 3-4-5 triangle: half a format of 40 x 30 reaches 25 to its corner.
	c, _ = circleOf(t, 48*mm).Coverage(lens.Format{Width: 40 * mm, Height: 30 * mm})
	ref.Near(t, "L-C2", float64(c.Corner/mm), -1, "corner")
	ref.Near(t, "L-C2", float64(c.Width/mm), 4, "width")
	ref.Near(t, "L-C2", float64(c.Height/mm), 9, "height")
	// Offsets move the farther side away: 8 + 12 and 15 + 0 are 25 off.
	c, _ = circleOf(t, 52*mm).Coverage(lens.Format{Width: 24 * mm, Height: 30 * mm, OffsetX: -8 * mm})
	ref.Near(t, "L-C2", float64(c.Corner/mm), 1, "corner, offset")
	ref.Near(t, "L-C2", float64(c.Width/mm), 6, "width, offset")
	ref.Near(t, "L-C2", float64(c.Height/mm), 11, "height, offset")
	ref.Near(t, "L-C2", c.Area, 1, "all of it")
	// Half a disc on a format whose middle line is the rim's chord.
	c, _ = circleOf(t, 20*mm).Coverage(lens.Format{Width: 20 * mm, Height: 20 * mm, OffsetY: 10 * mm})
	ref.Near(t, "L-C2", c.Area, math.Pi/8, "half a disc")
}

func TestCoverageMeetsTheCornerExactly(t *testing.T) {
	f := lens.Format{Width: 36 * mm, Height: 24 * mm}
	d := 2 * math.Hypot(float64(f.Width)/2, float64(f.Height)/2)
	c, ok := circleOf(t, unit.Length(d)).Coverage(f)
	if !ok || c.Corner < 0 || c.Area != 1 {
		t.Errorf("the circle about the corners: %+v, %v", c, ok)
	}
	c, ok = circleOf(t, unit.Length(d*(1-1e-9))).Coverage(f)
	if !ok || c.Corner >= 0 || c.Area > 1 || c.Area < 1-1e-9 {
		t.Errorf("just inside the corners: %+v, %v", c, ok)
	}
	c, ok = circleOf(t, 10*mm).Coverage(lens.Format{Width: 4 * mm, Height: 4 * mm, OffsetX: 8 * mm})
	if !ok || c.Area != 0 {
		t.Errorf("a format beside the circle: %+v, %v", c, ok)
	}
}

func TestCoverageSymmetryAndGrowth(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 300 {
		u := func() unit.Length { return unit.Length(rng.Float64()) * mm }
		f := lens.Format{Width: 1*mm + 40*u(), Height: 1*mm + 40*u(), OffsetX: 30*u() - 15*mm, OffsetY: 30*u() - 15*mm}
		d := 2*mm + 60*u()
		c, _ := circleOf(t, d).Coverage(f)
		g := f
		g.OffsetX, g.OffsetY = -g.OffsetX, -g.OffsetY
		if m, _ := circleOf(t, d).Coverage(g); m != c {
			t.Errorf("mirrored: %+v, want %+v", m, c)
		}
		turned := lens.Format{Width: f.Height, Height: f.Width, OffsetX: f.OffsetY, OffsetY: f.OffsetX}
		m, _ := circleOf(t, d).Coverage(turned)
		near.Abs(t, "turned", m.Area, c.Area, 1e-12, "about 1e-15 of the disc over the smallest format")
		near.Abs(t, "turned", m.Width, c.Height, 0, "the same sum")
		wider, _ := circleOf(t, d*1.01).Coverage(f)
		if wider.Area < c.Area-1e-12 {
			t.Errorf("a wider circle fills less: %v after %v", wider.Area, c.Area)
		}
		// A small push changes the area by little: at most its edges' sweep.
		g = f
		g.OffsetX += 1e-6 * mm
		m, _ = circleOf(t, d).Coverage(g)
		near.Abs(t, "pushed", m.Area, c.Area, 2e-6, "1 nm over a side of 1 mm, twice")
	}
}

func TestCoverageOfNoFormat(t *testing.T) {
	l := circleOf(t, 20*mm)
	for _, f := range []lens.Format{
		{}, {Width: 1 * mm}, {Height: 1 * mm}, {Width: -1 * mm, Height: 1 * mm}, {Width: 36, Height: 2400},
		{Width: unit.Length(nan), Height: 1 * mm}, {Width: unit.Length(inf), Height: 1 * mm},
		{Width: 1 * mm, Height: 1 * mm, OffsetX: unit.Length(nan)}, {Width: 1 * mm, Height: 1 * mm, OffsetY: unit.Length(-inf)},
	} {
		if c, ok := l.Coverage(f); ok {
			t.Errorf("%+v: %+v", f, c)
		}
	}
}
