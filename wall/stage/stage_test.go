package stage_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// must gives a value that a constructor made without an error.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// volume is the stage of a wheelhouse: a hollow arc on raster 0, a ceiling with
// panels of twice the pitch and a chain with a corner and a gap on raster 1, a box
// and a set piece with a notch. size sets the number of panels.
func volume(t testing.TB, size int) stage.Spec {
	t.Helper()
	fine := stage.PanelType{Width: 0.5, Height: 0.5, PixelsX: 200, PixelsY: 100, Power: 150}
	arc := must[stage.Part](t)(stage.FromWall("arc", wall.Spec{
		PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 200, PanelPixelsY: 200, Columns: 10 * size, Rows: 4 * size,
		Radius: unit.Length(3 * size), Position: r3.Vec{Y: float64(size), Z: -4},
	}, stage.Place{}, 200))
	ceiling := must[stage.Part](t)(stage.FromWall("ceiling", wall.Spec{
		PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 128, PanelPixelsY: 128, Columns: 3 * size, Rows: 2 * size,
		Position: r3.Vec{Y: 3 * float64(size)}, Elevation: 90 * wall.Degree,
	}, stage.Place{Raster: 1}, 300))
	wing := must[stage.Part](t)(stage.Chain{
		Name: "wing",
		Columns: []stage.Column{
			{Panel: fine, Rows: 3}, {Panel: fine, Rows: 4, Turn: 90 * wall.Degree}, {Panel: fine, Rows: 2, Gap: 0.1, Base: 0.5, Turn: -30 * wall.Degree},
		},
		Anchor: 1, Position: r3.Vec{X: 3, Y: 0.2, Z: 2}, Heading: 100 * wall.Degree, Elevation: 5 * wall.Degree, Roll: 2 * wall.Degree,
		At: stage.Place{Raster: 1, Y: 256 * size},
	}.Part())
	box := must[stage.Blocker](t)(stage.Box("cabin", r3.Vec{X: 0.5, Y: 0.6, Z: -1}, r3.Vec{X: 1, Y: 1.2, Z: 1.5}, 0.3, 0.1, 0.05))
	notch := stage.Blocker{Name: "flat with a notch", Faces: [][]r3.Vec{{{X: -2, Z: -2}, {X: -1, Z: -2}, {X: -1, Y: 2, Z: -2}, {X: -1.5, Y: 0.5, Z: -2}, {X: -2, Y: 2, Z: -2}}}}
	return stage.Spec{
		Parts:    []stage.Part{arc, ceiling, wing},
		Rasters:  []stage.Raster{{2000 * size, 800 * size}, {max(600, 384*size), 256*size + 400}},
		Blockers: []stage.Blocker{box, notch},
	}
}

// met is the first face that a ray meets, by trying every one in turn. It solves
// for the ray and two sides at once, and cuts polygons into triangles with signs.
type met struct {
	part, panel, blocker int
	t, a, b              float64 // along the ray, and along the sides of a panel from its upper left corner
	lit                  bool
}

func bruteForce(spec stage.Spec, o, d r3.Vec, from, to float64) (first met, ok bool) {
	first.t = to
	for i, part := range spec.Parts {
		for j, p := range part.Panels {
			u, v := r3.Sub(p.Face.LowerRight, p.Face.LowerLeft), r3.Sub(p.Face.LowerLeft, p.Face.UpperLeft)
			t, a, b := cross(o, d, p.Face.UpperLeft, u, v)
			if t > from && t < first.t && a >= 0 && a <= 1 && b >= 0 && b <= 1 {
				first, ok = met{i, j, -1, t, a, b, r3.Dot(d, r3.Cross(v, u)) < 0}, true
			}
		}
	}
	for i, b := range spec.Blockers {
		for _, f := range b.Faces {
			// A point is inside if an odd number of the fan's triangles hold it.
			in, at := false, 0.0
			for k := 1; k+1 < len(f); k++ {
				t, a, b := cross(o, d, f[0], r3.Sub(f[k], f[0]), r3.Sub(f[k+1], f[0]))
				if a >= 0 && b >= 0 && a+b <= 1 {
					in, at = !in, t
				}
			}
			if in && at > from && at < first.t {
				first, ok = met{-1, -1, i, at, 0, 0, false}, true
			}
		}
	}
	return first, ok
}

// cross solves o + t d = corner + a u + b v by Cramer's rule.
func cross(o, d, corner, u, v r3.Vec) (t, a, b float64) {
	w := r3.Sub(corner, o)
	det := r3.Dot(d, r3.Cross(u, v))
	return r3.Dot(w, r3.Cross(u, v)) / det, -r3.Dot(d, r3.Cross(w, v)) / det, -r3.Dot(d, r3.Cross(u, w)) / det
}

func random(rng *rand.Rand, spread float64) r3.Vec {
	return r3.Vec{X: spread * rng.NormFloat64(), Y: spread * rng.NormFloat64(), Z: spread * rng.NormFloat64()}
}

func TestHitsAreThoseOfEveryFaceInTurn(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(1, 1))
	wrong, worst, counts := 0, 0.0, map[stage.Surface]int{}
	for range 15000 {
		o, d := r3.Add(r3.Vec{Y: 1}, random(rng, 2)), random(rng, 1)
		want, wantOK := bruteForce(spec, o, d, 0, math.Inf(1))
		got, ok := s.Hit(o, d)
		counts[got.Surface]++
		if ok != wantOK || ok && (got.Blocker != want.blocker || want.blocker < 0 && (got.Part != want.part || got.Panel != want.panel || (got.Surface == stage.LitFace) != want.lit)) {
			wrong++
			continue
		}
		if !ok {
			continue
		}
		worst = max(worst, r3.Norm(r3.Sub(got.Point, r3.Add(o, r3.Scale(want.t, d)))), math.Abs(float64(got.Distance)-want.t*r3.Norm(d)))
		if want.blocker < 0 {
			p := spec.Parts[want.part].Panels[want.panel]
			x, y := float64(p.At.X)+want.a*float64(p.PixelsX), float64(p.At.Y)+want.b*float64(p.PixelsY)
			worst = max(worst, math.Abs(x-got.X), math.Abs(y-got.Y))
			if got.Raster != p.At.Raster {
				wrong++
			}
		}
	}
	ref.Equal(t, "W-ST-HIT", wrong, 0)
	ref.Within(t, "W-ST-HITAT", worst)
	for _, what := range []stage.Surface{0, stage.LitFace, stage.PanelBack, stage.AtBlocker} {
		assert.Greater(t, counts[what], 200, "rays that meet %v", what)
	}
}

// Panels behind each other, each 1.2 times as far as the last: no division of space
// into equal slices parts more than a few of them.
func TestHitsAmongPanelsFarApart(t *testing.T) {
	spec := stage.Spec{Parts: make([]stage.Part, 1), Rasters: []stage.Raster{{1000, 1}}}
	for i := range 70 {
		o := r3.Vec{X: -0.5, Y: -0.5, Z: -math.Pow(1.2, float64(i))}
		spec.Parts[0].Panels = append(spec.Parts[0].Panels, stage.Panel{
			Face:    wall.Rectangle{LowerLeft: o, LowerRight: r3.Add(o, r3.Vec{X: 1}), UpperLeft: r3.Add(o, r3.Vec{Y: 1})},
			PixelsX: 10, PixelsY: 1, At: stage.Place{X: 10 * i},
		})
	}
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(14, 1))
	for range 2000 {
		o := r3.Vec{X: rng.Float64() - 0.5, Y: rng.Float64() - 0.5, Z: -math.Pow(1.2, 72*rng.Float64()-1)}
		d := r3.Vec{X: 1e-6 * rng.NormFloat64(), Z: float64(2*rng.IntN(2) - 1)}
		want, wantOK := bruteForce(spec, o, d, 0, math.Inf(1))
		got, ok := s.Hit(o, d)
		ref.Equal(t, "W-ST-HIT", ok, wantOK, o, d)
		if ok {
			ref.Equal(t, "W-ST-HIT", got.Panel, want.panel, o, d)
		}
	}
}

func TestClearIsThatOfEveryFaceInTurn(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(2, 1))
	wrong, clear := 0, 0
	for range 8000 {
		a, b := r3.Add(r3.Vec{Y: 1}, random(rng, 2)), r3.Add(r3.Vec{Y: 1}, random(rng, 2))
		d := r3.Sub(b, a)
		_, blocked := bruteForce(spec, a, d, 1e-6/r3.Norm(d), 1-1e-6/r3.Norm(d))
		if s.Clear(a, b) == blocked {
			wrong++
		}
		if !blocked {
			clear++
		}
	}
	ref.Equal(t, "W-ST-CLEAR", wrong, 0)
	assert.InDelta(t, 4000, clear, 3000, "some are clear, some are not")
	p, n, ok := s.Point(0, 1000, 400)
	require.True(t, ok)
	assert.True(t, s.Clear(p, r3.Add(p, n)), "from a panel to a point in front of it")
	assert.False(t, s.Clear(r3.Sub(p, n), r3.Add(p, n)), "through a panel")
	assert.False(t, s.Clear(p, r3.Vec{X: math.NaN()}))
	assert.True(t, stage.Stage{}.Clear(p, n))
}

// An arc is a chain of equal joint angles, and both are a wall.
func TestArcChainAndWallAgree(t *testing.T) {
	const columns = 9
	turn := 2 * math.Asin(0.25)
	spec := wall.Spec{
		PanelWidth: 1, PanelHeight: 0.5, PanelPixelsX: 100, PanelPixelsY: 40, Columns: columns, Rows: 3, Radius: 2,
		Position: r3.Vec{X: 1, Y: 2, Z: 3}, Heading: 20 * wall.Degree, Elevation: -10 * wall.Degree, Roll: 7 * wall.Degree,
	}
	w := must[wall.Wall](t)(wall.New(spec))
	place := stage.Place{X: 30, Y: 20}
	arc := must[stage.Part](t)(stage.FromWall("arc", spec, place, 0))
	middle, _ := w.Rectangle(400, 0, 500, 120)
	chain := stage.Chain{Anchor: 4, Position: middle.LowerLeft, Heading: spec.Heading, Elevation: spec.Elevation, Roll: spec.Roll, At: place}
	for range columns {
		chain.Columns = append(chain.Columns, stage.Column{
			Panel: stage.PanelType{Width: 1, Height: 0.5, PixelsX: 100, PixelsY: 40}, Rows: 3, Turn: unit.Angle(turn),
		})
	}
	for _, part := range []stage.Part{arc, must[stage.Part](t)(chain.Part())} {
		s := must[stage.Stage](t)(stage.New(stage.Spec{Parts: []stage.Part{part}, Rasters: []stage.Raster{{1000, 200}}}))
		rng := rand.New(rand.NewPCG(3, 1))
		for range 500 {
			x, y := rng.Float64()*900, rng.Float64()*120
			want, _ := w.Point(x, y)
			normal, _ := w.Normal(x, y)
			got, n, ok := s.Point(0, x+30, y+20)
			require.True(t, ok)
			ref.Within(t, "W-ST-CHAIN", max(r3.Norm(r3.Sub(got, want)), r3.Norm(r3.Sub(n, normal))), part.Name, x, y)
			o := r3.Add(want, random(rng, 1))
			wx, wy, okW := w.Pixel(o, r3.Sub(want, o))
			h, _ := s.Hit(o, r3.Sub(want, o))
			require.Equal(t, okW, h.Surface == stage.LitFace)
			if okW {
				ref.Within(t, "W-ST-WALL", math.Hypot(h.X-30-wx, h.Y-20-wy), part.Name, x, y)
			}
		}
	}
}

// A corner of 90° with a gap: the bisector is at 45°.
func TestCornerByHand(t *testing.T) {
	a, b := stage.PanelType{Width: 2, Height: 1, PixelsX: 20, PixelsY: 10}, stage.PanelType{Width: 3, Height: 0.5, PixelsX: 60, PixelsY: 12}
	part := must[stage.Part](t)(stage.Chain{
		Columns:  []stage.Column{{Panel: a, Rows: 1, Gap: 9, Turn: 1}, {Panel: b, Rows: 2, Turn: 90 * wall.Degree, Gap: 0.1 * math.Sqrt2, Base: 0.25}},
		Position: r3.Vec{X: -2, Z: -3}, At: stage.Place{X: 5, Y: 7},
	}.Part())
	want := []stage.Panel{
		{Face: wall.Rectangle{LowerLeft: r3.Vec{X: -2, Z: -3}, LowerRight: r3.Vec{Z: -3}, UpperLeft: r3.Vec{X: -2, Y: 1, Z: -3}}, PixelsX: 20, PixelsY: 10, At: stage.Place{X: 5, Y: 21}},
		{Face: wall.Rectangle{LowerLeft: r3.Vec{X: 0.1, Y: 0.75, Z: -2.9}, LowerRight: r3.Vec{X: 0.1, Y: 0.75, Z: 0.1}, UpperLeft: r3.Vec{X: 0.1, Y: 1.25, Z: -2.9}}, PixelsX: 60, PixelsY: 12, At: stage.Place{X: 25, Y: 7}},
		{Face: wall.Rectangle{LowerLeft: r3.Vec{X: 0.1, Y: 0.25, Z: -2.9}, LowerRight: r3.Vec{X: 0.1, Y: 0.25, Z: 0.1}, UpperLeft: r3.Vec{X: 0.1, Y: 0.75, Z: -2.9}}, PixelsX: 60, PixelsY: 12, At: stage.Place{X: 25, Y: 19}},
	}
	require.Len(t, part.Panels, len(want))
	for i, p := range part.Panels {
		off := max(distance(p.Face.LowerLeft, want[i].Face.LowerLeft), distance(p.Face.LowerRight, want[i].Face.LowerRight), distance(p.Face.UpperLeft, want[i].Face.UpperLeft))
		ref.Within(t, "W-ST-CORNER", off, i)
		p.Face = want[i].Face
		assert.Equal(t, want[i], p)
	}
}

func distance(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

// From the middle of a box every direction meets it, at the distance of the slab
// that it leaves first.
func TestBoxBySlabs(t *testing.T) {
	centre, size := r3.Vec{X: 1, Y: 2, Z: -3}, r3.Vec{X: 1, Y: 2, Z: 4}
	// Turned by a heading of 90°, its width runs along +Z and its depth along −X.
	box := must[stage.Blocker](t)(stage.Box("box", centre, size, 90*wall.Degree, 0, 0))
	spec := volume(t, 1)
	spec.Blockers = []stage.Blocker{box}
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(4, 1))
	for range 1000 {
		d := r3.Unit(random(rng, 1))
		h, ok := s.Hit(centre, d)
		require.True(t, ok)
		want := min(2/math.Abs(d.X), 1/math.Abs(d.Y), 0.5/math.Abs(d.Z))
		if in, _ := bruteForce(stage.Spec{Parts: spec.Parts}, centre, d, 0, math.Inf(1)); in.t > 0 && in.t < want {
			continue // a panel inside the box
		}
		ref.Near(t, "W-ST-BOX", float64(h.Distance), want, d)
		assert.Equal(t, stage.AtBlocker, h.Surface)
	}
}

// A box is turned as a wall with the same angles.
func TestBoxIsTurnedAsAWall(t *testing.T) {
	h, e, r := 40*wall.Degree, -25*wall.Degree, 15*wall.Degree
	w := must[wall.Wall](t)(wall.New(wall.Spec{PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 1, PanelPixelsY: 1, Columns: 1, Rows: 1, Heading: h, Elevation: e, Roll: r}))
	face, _ := w.Rectangle(0, 0, 1, 1)
	normal, _ := w.Normal(0, 0)
	spec := volume(t, 1)
	spec.Parts = spec.Parts[1:2] // the ceiling, at a height of 3 m
	spec.Blockers = []stage.Blocker{must[stage.Blocker](t)(stage.Box("box", r3.Vec{}, r3.Vec{X: 1, Y: 2, Z: 3}, h, e, r))}
	s := must[stage.Stage](t)(stage.New(spec))
	for i, d := range []r3.Vec{r3.Sub(face.LowerRight, face.LowerLeft), r3.Sub(face.UpperLeft, face.LowerLeft), normal} {
		for _, sign := range []float64{1, -1} {
			hit, _ := s.Hit(r3.Vec{}, r3.Scale(sign, d))
			ref.Near(t, "W-ST-BOX", float64(hit.Distance), float64(i+1)/2, "axis", i, sign)
		}
	}
}

func TestNoRaySlipsThroughAJoint(t *testing.T) {
	spec := volume(t, 1)
	spec.Parts, spec.Blockers = spec.Parts[:1], nil
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(5, 1))
	for range 5000 {
		x, y := 200*float64(rng.IntN(11)), 200*float64(rng.IntN(5)) // corners of panels, those of the outline as well
		if rng.IntN(2) == 0 {
			y = 800 * rng.Float64()
		}
		p, _, ok := s.Point(0, x, y)
		require.True(t, ok)
		eye := r3.Add(r3.Vec{Y: 1, Z: -1}, random(rng, 0.5))
		h, ok := s.Hit(eye, r3.Sub(p, eye))
		require.True(t, ok, "a joint at %v, %v from %v", x, y, eye)
		assert.InDelta(t, 0, distance(p, h.Point), 1e-8, "a millionth of a pixel, seen aslant")
	}
}

func TestTotalsByHand(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(volume(t, 1)))
	parts, all := s.Totals()
	for i, want := range []stage.Total{
		{Name: "arc", Panels: 40, Pixels: 40 * 200 * 200, Area: 10, Power: 8000},
		{Name: "ceiling", Panels: 6, Pixels: 6 * 128 * 128, Area: 6, Power: 1800},
		{Name: "wing", Panels: 9, Pixels: 9 * 200 * 100, Area: 2.25, Power: 1350},
		{Name: "all", Panels: 55, Pixels: 1600000 + 98304 + 180000, Area: 18.25, Power: 11150},
	} {
		got := append(parts, all)[i]
		ref.Near(t, "W-ST-TOTAL", got.Area, want.Area, want.Name)
		got.Area = want.Area
		ref.Equal(t, "W-ST-COUNT", got, want)
	}
}

func TestNewNamesWhatIsWrong(t *testing.T) {
	sound := func() stage.Spec { return volume(t, 1) }
	nan := math.NaN()
	for want, spoil := range map[string]func(s *stage.Spec){
		"number of panels 0":                                 func(s *stage.Spec) { s.Parts = nil },
		"number of rasters 0":                                func(s *stage.Spec) { s.Rasters = nil },
		"height of raster 1 0 px":                            func(s *stage.Spec) { s.Rasters[1].Height = 0 },
		"lower left corner of panel 2 of part 1 (ceiling) x": func(s *stage.Spec) { s.Parts[1].Panels[2].Face.LowerLeft.X = nan },
		"deviation from a right angle of panel 1 of part 0":  func(s *stage.Spec) { s.Parts[0].Panels[1].Face.UpperLeft.X += 0.01 },
		"place of panel 1 of part 1 (ceiling) (128, 0) px in raster 1: must not lie on panel 0 of part 2 (wing)": func(s *stage.Spec) { s.Parts[2].Panels[0].At = stage.Place{Raster: 1, X: 150} },
		"(1801, 600) px in raster 0: must hold 200 × 200 px in a raster of 2000 × 800 px":                        func(s *stage.Spec) { s.Parts[0].Panels[39].At.X = 1801 },
		"must hold 200 × 200 px in a raster of 2000 × 799 px":                                                    func(s *stage.Spec) { s.Rasters[0].Height = 799 },
		"raster of panel 0 of part 0 (arc) 2":                                                                    func(s *stage.Spec) { s.Parts[0].Panels[0].At.Raster = 2 },
		"raster of panel 0 of part 0 (arc) -1":                                                                   func(s *stage.Spec) { s.Parts[0].Panels[0].At.Raster = -1 },
		"(-1, 0) px in raster 0: must hold":                                                                      func(s *stage.Spec) { s.Parts[0].Panels[0].At.X = -1 },
		"power of panel 1 of part 0 (arc) 1.5e+06 W":                                                             func(s *stage.Spec) { s.Parts[0].Panels[1].Power = 1.5e6 },
		"power of panel 0 of part 0 (arc) -1 W":                                                                  func(s *stage.Spec) { s.Parts[0].Panels[0].Power = -1 },
		"corners of face 1 of blocker 0 (cabin) 2":                                                               func(s *stage.Spec) { s.Blockers[0].Faces[1] = s.Blockers[0].Faces[1][:2] },
		"area of face 0 of blocker 1 (flat with a notch)":                                                        func(s *stage.Spec) { s.Blockers[1].Faces[0] = []r3.Vec{{}, {X: 1}, {X: 2}} },
		"area of face 2 of blocker 0 (cabin)":                                                                    func(s *stage.Spec) { s.Blockers[0].Faces[2] = make([]r3.Vec, 4) },
		"distance of a corner from the plane of face 0":                                                          func(s *stage.Spec) { s.Blockers[1].Faces[0][0].Z -= 0.02 },
		"corner of face 0 of blocker 1 (flat with a notch) y":                                                    func(s *stage.Spec) { s.Blockers[1].Faces[0][0].Y = nan },
	} {
		spec := sound()
		spoil(&spec)
		_, err := stage.New(spec)
		assert.ErrorIs(t, err, stage.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
	_, err := stage.FromWall("arc", wall.Spec{}, stage.Place{}, 0)
	assert.ErrorIs(t, err, wall.ErrInvalid)
	assert.ErrorContains(t, err, "wall arc: wall: panel width")
	_, err = stage.Chain{Columns: []stage.Column{{Panel: stage.PanelType{Width: 1, Height: 1, PixelsX: 1, PixelsY: 1}, Rows: 1, Turn: 90}}, Anchor: 1}.Part()
	assert.ErrorContains(t, err, "is 90*Degree meant?")
	assert.ErrorContains(t, err, "anchor 1: must be at least 0 and at most 0")
	column := func() stage.Column {
		return stage.Column{Panel: stage.PanelType{Width: 1, Height: 1, PixelsX: 1, PixelsY: 1}, Rows: 1}
	}
	for want, spoil := range map[string]func(c *stage.Column){
		"panel width of column 1 0 m":                          func(c *stage.Column) { c.Panel.Width = 0 },
		"panel height of column 1 200 m":                       func(c *stage.Column) { c.Panel.Height = 200 },
		"panel pixels x of column 1 0 px":                      func(c *stage.Column) { c.Panel.PixelsX = 0 },
		"panel pixels y of column 1 0 px":                      func(c *stage.Column) { c.Panel.PixelsY = 0 },
		"rows of column 1 0: must be at least 1":               func(c *stage.Column) { c.Rows = 0 },
		"number of panels 1048577":                             func(c *stage.Column) { c.Rows = 1 << 20 },
		"rows of column 1 3: must be at least 1 and at most 2": func(c *stage.Column) { c.Rows, c.Panel.PixelsY = 3, 1<<23 },
		"gap of column 1 -10 mm":                               func(c *stage.Column) { c.Gap = -0.01 },
		"base of column 1 -101 m":                              func(c *stage.Column) { c.Base = -101 },
		"power of a panel 2e+06 W":                             func(c *stage.Column) { c.Panel.Power = 2e6 },
	} {
		spoiled := column()
		spoil(&spoiled)
		_, err := stage.Chain{Columns: []stage.Column{column(), spoiled}}.Part()
		assert.ErrorContains(t, err, want)
	}
	_, err = stage.Chain{Elevation: 91 * wall.Degree, At: stage.Place{X: -1}}.Part()
	assert.ErrorContains(t, err, "number of columns 0")
	assert.ErrorContains(t, err, "elevation 91°")
	_, err = stage.Chain{Columns: []stage.Column{column()}, Position: r3.Vec{Y: nan}}.Part()
	assert.ErrorContains(t, err, "position y NaN")
	_, err = stage.Box("box", r3.Vec{}, r3.Vec{X: 1, Y: 1}, 0, 0, 0)
	assert.ErrorContains(t, err, "depth 0 m")
}

func BenchmarkHit(b *testing.B) {
	for _, size := range []int{1, 7} {
		spec := volume(b, size)
		s := must[stage.Stage](b)(stage.New(spec))
		_, all := s.Totals()
		rng := rand.New(rand.NewPCG(6, 1))
		rays := make([][2]r3.Vec, 4096)
		for i := range rays {
			rays[i] = [2]r3.Vec{r3.Add(r3.Vec{Y: 1}, random(rng, 0.5)), random(rng, 1)}
		}
		b.Run(fmt.Sprintf("panels=%d", all.Panels), func(b *testing.B) {
			for i := range b.N {
				r := &rays[i%len(rays)]
				s.Hit(r[0], r[1])
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrays/s")
		})
	}
}

// Light that a panel sends out does not meet the panel that sends it.
func TestRaysStartOnPanels(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(15, 1))
	met := 0
	for range 3000 {
		x, y := 2000*rng.Float64(), 800*rng.Float64()
		p, normal, ok := s.Point(0, x, y)
		require.True(t, ok)
		d := random(rng, 1)
		d = r3.Add(d, r3.Scale(0.1+math.Abs(r3.Dot(d, normal))-r3.Dot(d, normal), normal)) // to the lit side
		// The same ray from a millimetre farther on, where no panel is near.
		want, wantOK := bruteForce(spec, r3.Add(p, r3.Scale(1e-3, r3.Unit(d))), d, 0, math.Inf(1))
		got, ok := s.Hit(p, d)
		ref.Equal(t, "W-ST-HIT", ok, wantOK, x, y, d)
		if ok {
			met++
			ref.Equal(t, "W-ST-HIT", [3]int{got.Part, got.Panel, got.Blocker}, [3]int{want.part, want.panel, want.blocker}, x, y, d)
		}
	}
	assert.InDelta(t, 1500, met, 1000, "some meet another panel or a blocker, some leave the stage")
}

func TestDirectionsOfAnyLength(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(volume(t, 1)))
	rng := rand.New(rand.NewPCG(16, 1))
	for range 100 {
		o, d := r3.Add(r3.Vec{Y: 1}, random(rng, 1)), r3.Unit(random(rng, 1))
		want, wantOK := s.Hit(o, d)
		for _, size := range []float64{1e-310, 1e-170, 1e-101, 1e-99, 7, 1e99, 1e101, 1e170, 1e308} {
			got, ok := s.Hit(o, r3.Scale(size, d))
			require.Equal(t, wantOK, ok, size)
			assert.Equal(t, [4]int{want.Part, want.Panel, want.Raster, want.Blocker}, [4]int{got.Part, got.Panel, got.Raster, got.Blocker}, size)
			assert.InDelta(t, float64(want.Distance), float64(got.Distance), 1e-9, "a few roundings; denormal numbers have some 12 digits: %v", size)
		}
	}
}
