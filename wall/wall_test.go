package wall_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// must is the value of a call that may not fail.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// hexagon is a wall of panels 2 m wide and 1 m high, 100 px by 50 px, on a
// circle of 2 m: as many sides of a regular hexagon as it has columns.
func hexagon(columns int) wall.Spec {
	return wall.Spec{
		PanelWidth: 2 * unit.Metre, PanelHeight: 1 * unit.Metre, PanelPixelsX: 100, PanelPixelsY: 50,
		Columns: columns, Rows: 4, Radius: 2 * unit.Metre,
	}
}

// wheelhouse is the main wall of an invented stage: the harbour as it is seen
// through the windows of a ferry's wheelhouse.
func wheelhouse() wall.Spec {
	return wall.Spec{
		PanelWidth: 500 * unit.Milli * unit.Metre, PanelHeight: 500 * unit.Milli * unit.Metre,
		PanelPixelsX: 200, PanelPixelsY: 200, Columns: 50, Rows: 12, Radius: 10 * unit.Metre, Position: r3.Vec{Y: 3.2, Z: -10},
	}
}

// somewhere gives random walls of every kind.
func somewhere(rng *rand.Rand) wall.Spec {
	s := wall.Spec{
		PanelWidth: unit.Length(0.3 + rng.Float64()), PanelHeight: unit.Length(0.3 + rng.Float64()),
		PanelPixelsX: 1 + rng.IntN(300), PanelPixelsY: 1 + rng.IntN(300), Columns: 1 + rng.IntN(12), Rows: 1 + rng.IntN(5),
		Position: r3.Vec{X: 10 * rng.NormFloat64(), Y: 10 * rng.NormFloat64(), Z: 10 * rng.NormFloat64()},
		Heading:  unit.Angle(2 * math.Pi * rng.Float64()), Elevation: unit.Angle(math.Pi * (rng.Float64() - 0.5)),
		Roll: unit.Angle(2 * math.Pi * rng.Float64()),
	}
	if kind := rng.IntN(3); kind > 0 {
		// From a full turn to a nearly flat arc.
		turn := 2 * math.Pi * math.Pow(rng.Float64(), 2)
		s.Radius = s.PanelWidth / unit.Length(2*math.Sin(math.Min(turn/float64(s.Columns), 1)/2))
		s.Radius = unit.Length(math.Min(float64(s.Radius), 1e5))
		if kind == 2 {
			s.Radius = -s.Radius
		}
	}
	return s
}

// view is a wall of any kind and an eye before it.
type view struct {
	wall.View
	spec wall.Spec
	wall wall.Wall
	eye  r3.Vec
}

// anyView gives random walls and eyes within some metres of them.
func anyView(t testing.TB, rng *rand.Rand) view {
	for {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		eye := r3.Add(spec.Position, r3.Vec{X: 3 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
		if v, err := w.View(eye); err == nil {
			return view{v, spec, w, eye}
		}
	}
}

func distance(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

func TestHexagon(t *testing.T) {
	root3 := math.Sqrt(3)
	for _, tc := range []struct {
		columns int
		x       float64
		want    r3.Vec
		normal  r3.Vec
	}{
		// Two sides: the middle is the joint between them.
		{2, 0, r3.Vec{X: -root3, Z: 1}, r3.Vec{X: 0.5, Z: root3 / 2}}, {2, 100, r3.Vec{}, r3.Vec{X: -0.5, Z: root3 / 2}},
		{2, 150, r3.Vec{X: root3 / 2, Z: 0.5}, r3.Vec{X: -0.5, Z: root3 / 2}},
		{2, 200, r3.Vec{X: root3, Z: 1}, r3.Vec{X: -0.5, Z: root3 / 2}},
		// Three sides: the middle is the middle of a panel.
		{3, 0, r3.Vec{X: -2, Z: root3}, r3.Vec{X: root3 / 2, Z: 0.5}}, {3, 100, r3.Vec{X: -1}, r3.Vec{Z: 1}},
		{3, 150, r3.Vec{}, r3.Vec{Z: 1}}, {3, 300, r3.Vec{X: 2, Z: root3}, r3.Vec{X: -root3 / 2, Z: 0.5}},
		// One side and five: the middle is the middle of a panel too.
		{1, 50, r3.Vec{}, r3.Vec{Z: 1}}, {5, 250, r3.Vec{}, r3.Vec{Z: 1}},
		// All six: the ends meet, behind a viewer in the middle.
		{6, 0, r3.Vec{Z: 4}, r3.Vec{X: 0.5, Z: -root3 / 2}}, {6, 600, r3.Vec{Z: 4}, r3.Vec{X: -0.5, Z: -root3 / 2}},
	} {
		w := must[wall.Wall](t)(wall.New(hexagon(tc.columns)))
		p, ok := w.Point(tc.x, 100)
		n, _ := w.Normal(tc.x, 100)
		ref.Equal(t, "W-G1", ok, true, tc.columns, tc.x)
		ref.Within(t, "W-G2", distance(p, tc.want), "point", tc.columns, tc.x)
		ref.Within(t, "W-G2", distance(n, tc.normal), "normal", tc.columns, tc.x)

		// And the same places back, from the centre of the circle.
		axis := r3.Vec{Z: 2}
		if tc.columns%2 == 1 {
			axis.Z = root3
		}
		x, y, ok := w.Pixel(axis, r3.Sub(tc.want, axis))
		off := math.Abs(x - tc.x)
		if tc.columns == 6 {
			off = math.Min(off, 600-off)
		}
		ref.Equal(t, "W-G1", ok, true, "seen from the axis", tc.columns, tc.x)
		ref.Within(t, "W-G2", off, "column of the ray", tc.columns, tc.x)
		ref.Within(t, "W-G2", math.Abs(y-100), "row of the ray", tc.columns, tc.x)
	}
	convex := hexagon(3)
	convex.Radius = -convex.Radius
	w := must[wall.Wall](t)(wall.New(convex))
	p, _ := w.Point(300, 0)
	ref.Within(t, "W-G2", distance(p, r3.Vec{X: 2, Y: 2, Z: -root3}), "away from the viewer")
}

func TestPanelsAndPitch(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse()))
	px, py := w.Pitch()
	ref.Near(t, "W-G3", px, 2.5*unit.Milli*unit.Metre)
	ref.Near(t, "W-G3", py, 2.5*unit.Milli*unit.Metre)
	oblong := hexagon(3)
	oblong.PanelHeight = 1.2
	h := must[wall.Wall](t)(wall.New(oblong))
	px, py = h.Pitch()
	a, _ := h.Point(100, 20)
	b, _ := h.Point(200, 20)
	c, _ := h.Point(100, 120)
	ref.Near(t, "W-G3", float64(px), distance(a, b)/100, "across")
	ref.Near(t, "W-G3", float64(py), distance(a, c)/100, "down")
	width, height := w.Size()
	assert.Equal(t, [2]int{10000, 2400}, [2]int{width, height}, "the raster")
	for p, want := range map[[2]float64][3]any{
		{0, 0}: {0, 0, true}, {199.999, 199.999}: {0, 0, true}, {200, 200}: {1, 1, true}, {10000, 2400}: {49, 11, true},
		{10000.001, 0}: {0, 0, false}, {0, -1e-9}: {0, 0, false}, {nan, 0}: {0, 0, false}, {0, nan}: {0, 0, false}, {inf, 0}: {0, 0, false},
	} {
		column, row, ok := w.Panel(p[0], p[1])
		ref.Equal(t, "W-G1", [3]any{column, row, ok}, want, p)
	}
	xs, ys := w.Breaks()
	require.Len(t, xs, 49, "breaks across")
	require.Nil(t, ys, "breaks down")
	ref.Equal(t, "W-G1", [2]float64{xs[0], xs[48]}, [2]float64{200, 9800}, "breaks")
	flat := wheelhouse()
	flat.Radius = 0
	xs, ys = must[wall.Wall](t)(wall.New(flat)).Breaks()
	ref.Equal(t, "W-G1", len(xs)+len(ys), 0, "breaks of a flat wall")
}

// Each sign, as a sentence.
func TestOrientation(t *testing.T) {
	for _, tc := range []struct {
		sentence                      string
		heading, elevation, roll      unit.Angle
		normal, right, down, anywhere r3.Vec
	}{
		{"with no rotation it faces +Z, x to +X, y to −Y", 0, 0, 0, r3.Vec{Z: 1}, r3.Vec{X: 1}, r3.Vec{Y: -1}, r3.Vec{}},
		{"heading +90° puts it on the +X side, facing −X", 90 * wall.Degree, 0, 0, r3.Vec{X: -1}, r3.Vec{Z: 1}, r3.Vec{Y: -1}, r3.Vec{X: 5}},
		{"elevation +90° makes a ceiling", 0, 90 * wall.Degree, 0, r3.Vec{Y: -1}, r3.Vec{X: 1}, r3.Vec{Z: -1}, r3.Vec{Y: 5}},
		{"roll +90° turns its top to the right", 0, 0, 90 * wall.Degree, r3.Vec{Z: 1}, r3.Vec{Y: -1}, r3.Vec{X: -1}, r3.Vec{Z: -5}},
	} {
		spec := wheelhouse()
		spec.Radius = 0
		spec.Position, spec.Heading, spec.Elevation, spec.Roll = tc.anywhere, tc.heading, tc.elevation, tc.roll
		w := must[wall.Wall](t)(wall.New(spec))
		n, _ := w.Normal(5000, 1200)
		middle, _ := w.Point(5000, 1200)
		right, _ := w.Point(5400, 1200)
		down, _ := w.Point(5000, 1600)
		got := [4]r3.Vec{n, middle, r3.Sub(right, middle), r3.Sub(down, middle)}
		// A few roundings of numbers up to 5.
		if diff := cmp.Diff([4]r3.Vec{tc.normal, tc.anywhere, tc.right, tc.down}, got, cmpopts.EquateApprox(0, 1e-14)); diff != "" {
			t.Errorf("%s: normal, middle, right, down (-want +got):\n%s", tc.sentence, diff)
		}
	}
}

// The raster's origin is the outer corner of the top-left pixel.
func TestRasterCorners(t *testing.T) {
	spec := wheelhouse()
	spec.Radius, spec.Position = 0, r3.Vec{}
	w := must[wall.Wall](t)(wall.New(spec))
	for _, tc := range []struct{ x, y, wantX, wantY float64 }{
		{0, 0, -12.5, 3}, {10000, 0, 12.5, 3}, {0, 2400, -12.5, -3}, {10000, 2400, 12.5, -3}, {0.5, 0.5, -12.5 + 0.00125, 3 - 0.00125},
	} {
		p, ok := w.Point(tc.x, tc.y)
		require.True(t, ok, "point at %v", tc)
		assert.Zero(t, p.Z)
		assert.InDelta(t, tc.wantX, p.X, 1e-14, "a few roundings of numbers up to 12.5")
		assert.InDelta(t, tc.wantY, p.Y, 1e-14, "the same")
		from := r3.Vec{X: 1, Y: 2, Z: 7}
		x, y, ok := w.Pixel(from, r3.Sub(p, from))
		require.True(t, ok, "the ray to the corner %v", tc)
		assert.InDelta(t, tc.x, x, 1e-9, "coordinates of 1e4 px with relative roundings of 1e-15, a few of them")
		assert.InDelta(t, tc.y, y, 1e-9, "the same")
	}
}

// plate is one panel as plain geometry: what Pixel is compared with.
type plate struct {
	corner, right, down r3.Vec // one panel long
	column, row         int
}

func plates(t testing.TB, w wall.Wall, s wall.Spec) []plate {
	var ps []plate
	for c := range s.Columns {
		for r := range s.Rows {
			x0, y0 := float64(c*s.PanelPixelsX), float64(r*s.PanelPixelsY)
			rect, ok := w.Rectangle(x0, y0, x0+float64(s.PanelPixelsX), y0+float64(s.PanelPixelsY))
			require.True(t, ok, "panel %d, %d has a rectangle", c, r)
			ps = append(ps, plate{rect.UpperLeft, r3.Sub(rect.LowerRight, rect.LowerLeft), r3.Sub(rect.LowerLeft, rect.UpperLeft), c, r})
		}
	}
	return ps
}

// trace tries every panel in turn.
func trace(ps []plate, s wall.Spec, o, d r3.Vec) (x, y float64, lit bool) {
	best := inf
	for _, p := range ps {
		n := r3.Cross(p.down, p.right) // towards the viewer
		facing := r3.Dot(n, d)
		t := r3.Dot(n, r3.Sub(p.corner, o)) / facing
		at := r3.Sub(r3.Add(o, r3.Scale(t, d)), p.corner)
		u, v := r3.Dot(at, p.right)/r3.Norm2(p.right), r3.Dot(at, p.down)/r3.Norm2(p.down)
		if t > 0 && t < best && u >= 0 && u <= 1 && v >= 0 && v <= 1 {
			best, lit = t, facing < 0
			x = (float64(p.column) + u) * float64(s.PanelPixelsX)
			y = (float64(p.row) + v) * float64(s.PanelPixelsY)
		}
	}
	return x, y, lit
}

func TestPixelMeetsTheNearestPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	hits := 0
	for range 400 {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		ps := plates(t, w, spec)
		for range 50 {
			o := r3.Add(spec.Position, r3.Vec{X: 4 * rng.NormFloat64(), Y: 4 * rng.NormFloat64(), Z: 4 * rng.NormFloat64()})
			target := ps[rng.IntN(len(ps))]
			aim := r3.Add(target.corner, r3.Add(r3.Scale(rng.Float64(), target.right), r3.Scale(rng.Float64(), target.down)))
			d := r3.Scale(math.Exp(8*rng.NormFloat64()), r3.Sub(aim, o))
			wantX, wantY, want := trace(ps, spec, o, d)
			x, y, ok := w.Pixel(o, d)
			if ok != want || ok && math.Abs(x-wantX)+math.Abs(y-wantY) > 1e-6 {
				t.Fatalf("%+v\nfrom %v along %v: got %v, %v, %v, want %v, %v, %v", spec, o, d, x, y, ok, wantX, wantY, want)
			}
			if ok {
				hits++
			}
		}
	}
	assert.Greater(t, hits, 4000, "hits: the test has lost its point")
}

// Every ray through a joint, or a hair beside it, meets one of the two panels.
func TestNoGapsAtJoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	for range 300 {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		width, height := w.Size()
		for k := 0; k <= spec.Columns; k++ {
			x := float64(k * spec.PanelPixelsX)
			y := rng.Float64() * float64(height)
			p, _ := w.Point(x, y)
			n, _ := w.Normal(x, y)
			before, _ := w.Normal(math.Max(0, x-0.5), y)
			// In front of both neighbours, and too near for anything to stand between.
			o := r3.Add(p, r3.Scale(0.02+0.05*rng.Float64(), r3.Unit(r3.Add(n, before))))
			d := r3.Sub(p, o)
			for range 20 {
				gx, gy, ok := w.Pixel(o, d)
				off := math.Abs(gx - x)
				if k == 0 || k == spec.Columns {
					// The two ends of a drum are one place.
					off = math.Min(off, float64(width)-off)
				}
				if !ok || off > 1e-6 || math.Abs(gy-y) > 1e-6 {
					t.Fatalf("%+v: joint %d at %v, %v: %v, %v, %v", spec, k, x, y, gx, gy, ok)
				}
				d.X, d.Z = math.Nextafter(d.X, inf), math.Nextafter(d.Z, -inf)
			}
		}
	}
}

func TestBackIsBlind(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(hexagon(2)))
	for _, tc := range []struct {
		what string
		o, d r3.Vec
		ok   bool
	}{
		{"from the front", r3.Vec{X: 1, Z: 3}, r3.Vec{Z: -1}, true},
		{"from the back", r3.Vec{X: 1, Z: -3}, r3.Vec{Z: 1}, false},
		{"away from the wall", r3.Vec{X: 1, Z: 3}, r3.Vec{Z: 1}, false},
		{"over the top", r3.Vec{X: 1, Y: 2.001, Z: 3}, r3.Vec{Z: -1}, false},
		{"along an upright line", r3.Vec{X: 1, Z: 3}, r3.Vec{Y: -1}, false},
		{"no direction", r3.Vec{X: 1, Z: 3}, r3.Vec{}, false},
		{"direction not a number", r3.Vec{X: 1, Z: 3}, r3.Vec{X: nan, Z: -1}, false},
		{"infinite direction", r3.Vec{X: 1, Z: 3}, r3.Vec{Z: -inf}, false},
		{"infinite origin", r3.Vec{X: 1, Z: inf}, r3.Vec{Z: -1}, false},
		{"origin not a number", r3.Vec{Y: nan, Z: 3}, r3.Vec{Z: -1}, false},
		{"tiny direction", r3.Vec{X: 1, Z: 3}, r3.Vec{Z: -5e-324}, true},
		{"huge direction", r3.Vec{X: 1, Z: 3}, r3.Vec{Z: -math.MaxFloat64}, true},
		{"huge origin", r3.Vec{X: 1, Z: 1e300}, r3.Vec{Z: -1}, true},
	} {
		x, y, ok := w.Pixel(tc.o, tc.d)
		assert.Equal(t, tc.ok, ok, tc.what)
		assert.True(t, ok || x == 0 && y == 0, tc.what)
	}
	// Five sides of the hexagon, open towards +Z: from outside, low rays meet
	// a back, and rays over the near panels reach the lit side behind them.
	w = must[wall.Wall](t)(wall.New(hexagon(5)))
	outside := r3.Vec{X: 8, Z: math.Sqrt(3)}
	x, y, ok := w.Pixel(outside, r3.Vec{X: -1})
	assert.True(t, !ok && x == 0 && y == 0, "seen through the back of a panel")
	outside.Y = 4
	_, _, ok = w.Pixel(outside, r3.Vec{X: -10, Y: -2.5})
	assert.True(t, ok, "seen over the top of the near panels")
}

func TestRectangle(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(hexagon(3)))
	r, ok := w.Rectangle(100, 50, 200, 150)
	ref.Equal(t, "W-G1", ok, true, "the middle panel, two rows of it")
	ref.Within(t, "W-G2", distance(r.LowerLeft, r3.Vec{X: -1, Y: -1}), "corner of the middle panel")
	ref.Within(t, "W-G2", distance(r.LowerRight, r3.Vec{X: 1, Y: -1}), "corner of the middle panel")
	ref.Within(t, "W-G2", distance(r.UpperLeft, r3.Vec{X: -1, Y: 1}), "corner of the middle panel")
	for p, want := range map[[4]float64]bool{
		{0, 0, 100, 200}: true, {200, 0, 300, 200}: true, {50, 0, 150, 200}: false, // the last across a joint
		{0, 0, 0, 200}: false, {100, 0, 0, 200}: false, {0, 0, 100, 0}: false, {0, 0, 100, 201}: false,
		{-1, 0, 100, 200}: false, {0, 0, nan, 200}: false, {300, 0, 300, 200}: false,
	} {
		r, ok := w.Rectangle(p[0], p[1], p[2], p[3])
		assert.Equal(t, [2]bool{want, want}, [2]bool{ok, r != wall.Rectangle{}}, "%v", p)
	}
}

// Pixels divide the sides of the rectangle, from its upper left corner on, and the lit
// side is that from which its corners are named.
func TestWallOfARectangle(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 1))
	for i := range 200 {
		w := must[wall.Wall](t)(wall.New(somewhere(rng)))
		if i%20 == 0 { // a ceiling or a floor
			w = must[wall.Wall](t)(wall.New(wall.Spec{PanelWidth: 2, PanelHeight: 3, PanelPixelsX: 50, PanelPixelsY: 80, Columns: 1, Rows: 1, Elevation: unit.Angle(i/20%2*180-90) * wall.Degree, Heading: unit.Angle(rng.Float64())}))
		}
		xs, _ := w.Breaks()
		width, height := w.Size()
		x1 := append(xs, float64(width))[0]
		r, ok := w.Rectangle(0, 0, x1, float64(height))
		require.True(t, ok)
		got := must[wall.Wall](t)(r.Wall(40, 30))
		gotX, gotY := got.Size()
		require.Equal(t, [2]int{40, 30}, [2]int{gotX, gotY})
		right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
		for range 5 {
			x, y := 40*rng.Float64(), 30*rng.Float64()
			p, ok := got.Point(x, y)
			require.True(t, ok)
			ref.Within(t, "W-G9", distance(p, r3.Add(r.UpperLeft, r3.Sub(r3.Scale(x/40, right), r3.Scale(y/30, up)))), r, x, y)
			n, _ := got.Normal(x, y)
			ref.Within(t, "W-G9", distance(n, r3.Unit(r3.Cross(right, up))), "normal", r)
		}
	}
	face := wall.Rectangle{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{Y: 2}}
	with := func(change func(*wall.Rectangle)) error {
		r := face
		change(&r)
		return second(r.Wall(10, 10))
	}
	refused(t, map[string]error{
		"lower left y NaN m": with(func(r *wall.Rectangle) { r.LowerLeft.Y = nan }),
		"upper left z 2000":  with(func(r *wall.Rectangle) { r.UpperLeft.Z = 2e6 }),
		"width 0 m":          with(func(r *wall.Rectangle) { r.LowerRight = r.LowerLeft }),
		"height 101 m":       with(func(r *wall.Rectangle) { r.UpperLeft.Y = 101 }),
		"rectangle 84.29° between its sides: must have right angles": with(func(r *wall.Rectangle) { r.UpperLeft.X = 0.2 }),
		"panel pixels x 0 px": second(face.Wall(0, 10)),
		"panel pixels y -1":   second(face.Wall(10, -1)),
	})
}

func TestFaultsAreReportedTogether(t *testing.T) {
	assert.EqualError(t, wall.ErrInvalid, "wall: invalid value")
	_, err := wall.New(wall.Spec{PanelWidth: 3, PanelHeight: -1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 10, Rows: 1 << 18, Radius: 2, Heading: unit.Angle(nan)})
	assert.EqualError(t, err, `wall: panel height -1 m: must be more than 0 m and at most 100 m
wall: panel pixels y 100 px: must be at least 1 and at most 64 px
wall: rows 262144: must be at least 1 and at most 104857
wall: heading NaN°: must be at least -360° and at most 360°
wall: radius, without its sign, 2 m: must be at least a panel's width, 3 m`)
	spec := hexagon(7)
	spec.Rows = 0
	_, err = wall.New(spec)
	assert.EqualError(t, err, `wall: rows 0: must be at least 1 and at most 1048576
wall: turn of the arc 420°: must be at least 0° and at most 360°`)
}

func TestSpecFaults(t *testing.T) {
	for want, change := range map[string]func(*wall.Spec){
		"wall: panel width 0 m: must be more than 0 m and at most 100 m":                   func(s *wall.Spec) { s.PanelWidth = 0 },
		"wall: panel height NaN m":                                                         func(s *wall.Spec) { s.PanelHeight = unit.Length(nan) },
		"wall: panel pixels x 0 px: must be at least 1":                                    func(s *wall.Spec) { s.PanelPixelsX = 0 },
		"wall: panel pixels y -3 px: must be at least 1":                                   func(s *wall.Spec) { s.PanelPixelsY = -3 },
		"wall: columns 0: must be at least 1":                                              func(s *wall.Spec) { s.Columns = 0 },
		"wall: columns":                                                                    func(s *wall.Spec) { s.Columns = math.MaxInt },
		"wall: panel pixels y 4096 px: must be at least 1 and at most 2048 px":             func(s *wall.Spec) { s.Rows, s.PanelPixelsY = 1<<13, 1<<12 },
		"wall: panel pixels x 17 px: must be at least 1 and at most 16 px":                 func(s *wall.Spec) { s.Columns, s.PanelPixelsX, s.Rows, s.Radius = 1<<20, 17, 1, 0 },
		"wall: rows 32768: must be at least 1 and at most 20971":                           func(s *wall.Spec) { s.Rows, s.PanelPixelsY = 1<<15, 1 },
		"wall: radius, without its sign, 499 mm: must be at least a panel's width, 500 mm": func(s *wall.Spec) { s.Radius = 0.499 },
		"wall: radius, without its sign, 499 mm":                                           func(s *wall.Spec) { s.Radius = -0.499 },
		"wall: radius, without its sign, NaN m":                                            func(s *wall.Spec) { s.Radius = unit.Length(nan) },
		"wall: radius, without its sign, +Inf m":                                           func(s *wall.Spec) { s.Radius = unit.Length(-inf) },
		"wall: turn of the arc 478.019°: must be at least 0° and at most 360°":             func(s *wall.Spec) { s.Radius = 3 },
		"wall: position y +Inf m":                                                          func(s *wall.Spec) { s.Position.Y = inf },
		"wall: elevation 91°: must be at least -90° and at most 90°":                       func(s *wall.Spec) { s.Elevation = 91 * wall.Degree },
		"wall: heading NaN°":                                                               func(s *wall.Spec) { s.Heading = unit.Angle(nan) },
		"wall: roll 400°":                                                                  func(s *wall.Spec) { s.Roll = 400 * wall.Degree },
	} {
		spec := wheelhouse()
		change(&spec)
		refused(t, map[string]error{want: second(wall.New(spec))})
	}
	err := second(wall.New(wall.Spec{}))
	assert.Len(t, strings.Split(err.Error(), "\n"), 6, "every fault is told: %v", err)
}

func TestZeroWall(t *testing.T) {
	var w wall.Wall
	width, height := w.Size()
	pitchX, pitchY := w.Pitch()
	xs, ys := w.Breaks()
	assert.Zero(t, width+height)
	assert.Zero(t, pitchX+pitchY)
	assert.Empty(t, append(xs, ys...))
	_, _, panel := w.Panel(0, 0)
	_, point := w.Point(0, 0)
	_, normal := w.Normal(0, 0)
	_, _, pixel := w.Pixel(r3.Vec{}, r3.Vec{Z: -1})
	_, rectangle := w.Rectangle(0, 0, 1, 1)
	assert.Equal(t, [5]bool{}, [5]bool{panel, point, normal, pixel, rectangle}, "answers of a wall of no panels")
	for _, err := range []error{
		second(w.Ports(1000)), second(w.View(r3.Vec{})), second(w.Distance(r3.Vec{})),
	} {
		assert.EqualError(t, err, "wall: wall zero value: must come from New")
	}
}

// The distances of a regular hexagon of side 2: its sides are √3 from its centre.
func TestDistanceToHexagon(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(hexagon(3))) // 4 m high, the middle side at z = 0, open towards +z
	root3 := math.Sqrt(3)
	for _, tc := range []struct {
		point r3.Vec
		want  float64
	}{
		{r3.Vec{Z: root3}, root3},                       // the centre: three sides are as near
		{r3.Vec{X: 0.5, Y: 1, Z: -3}, 3},                // behind the middle side
		{r3.Vec{X: 0.5, Y: -4, Z: -1.5}, 2.5},           // behind and below the lower edge: 1.5 and 2
		{r3.Vec{X: 4, Z: root3}, 2},                     // beside the right edge
		{r3.Vec{X: -1, Y: 0.5}, 0},                      // on a joint
		{r3.Vec{X: -2, Y: 5, Z: root3 + 4}, 5},          // off the upper left corner: 3 and 4
		{r3.Vec{X: 1.5, Y: -2, Z: root3 / 2}, 0},        // on the lower edge of the right side
		{r3.Vec{X: 1.5 + root3/2, Z: root3/2 - 0.5}, 1}, // behind the right side
	} {
		ref.Near(t, "W-G7", float64(must[unit.Length](t)(w.Distance(tc.point))), tc.want, tc.point)
	}
}

// Distance is the least to the points of lattices, one on each panel.
func TestDistanceIsTheLeast(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 7))
	for range 60 {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		// Some metres off, or, in one of three, close to the surface.
		from := r3.Add(spec.Position, r3.Vec{X: 3 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
		if width, height := w.Size(); rng.IntN(3) == 0 {
			on, _ := w.Point(rng.Float64()*float64(width), rng.Float64()*float64(height))
			from = r3.Add(on, r3.Vec{X: 0.01 * rng.NormFloat64(), Z: 0.01 * rng.NormFloat64()})
		}
		want := inf
		for column := range spec.Columns {
			for row := range spec.Rows {
				want = min(want, latticeDistance(w, spec, column, row, from))
			}
		}
		ref.Near(t, "W-G8", float64(must[unit.Length](t)(w.Distance(from))), want, spec, from)
	}
}

// latticeDistance is the least distance from a point to a lattice on one panel. The
// lattice is refined around its best point: on a flat panel there is one minimum only.
func latticeDistance(w wall.Wall, spec wall.Spec, column, row int, from r3.Vec) float64 {
	const steps = 8
	x0, y0 := float64(column*spec.PanelPixelsX), float64(row*spec.PanelPixelsY)
	x1, y1 := x0+float64(spec.PanelPixelsX), y0+float64(spec.PanelPixelsY)
	// A right edge belongs to the next panel, which has the same points there.
	left, right, top, bottom := x0, x1, y0, y1
	least := inf
	for range 18 {
		var bestX, bestY float64
		here := inf
		dx, dy := (right-left)/steps, (bottom-top)/steps
		for i := range steps + 1 {
			for j := range steps + 1 {
				x, y := min(left+float64(i)*dx, right), min(top+float64(j)*dy, bottom)
				p, _ := w.Point(x, y)
				if d := distance(p, from); d < here {
					here, bestX, bestY = d, x, y
				}
			}
		}
		least = min(least, here)
		left, right = max(x0, bestX-dx), min(x1, bestX+dx)
		top, bottom = max(y0, bestY-dy), min(y1, bestY+dy)
	}
	return least
}

func second[T any](_ T, err error) error { return err }

// refused checks errors against a part of their text.
func refused(t *testing.T, errs map[string]error) {
	t.Helper()
	for want, err := range errs {
		assert.ErrorIs(t, err, wall.ErrInvalid, want)
		assert.ErrorContains(t, err, want)
	}
}

func FuzzPixel(f *testing.F) {
	f.Add(10.0, 0.0, 1.7, 0.0, 0.0, 0.1, -1.0)
	f.Add(-3.0, 0.3, 1.7, 40.0, 1.0, 0.0, -1.0)
	f.Add(0.0, -5.0, 0.0, 3.0, 0.0, 1.0, 0.0)
	f.Add(9.0, 0.0, 0.0, 0.0, 1e-300, 0.0, -1e-300)
	f.Fuzz(func(t *testing.T, radius, ox, oy, oz, dx, dy, dz float64) {
		spec := wheelhouse()
		spec.Radius = unit.Length(radius)
		w, err := wall.New(spec)
		if err != nil {
			return
		}
		o, d := r3.Vec{X: ox, Y: oy, Z: oz}, r3.Vec{X: dx, Y: dy, Z: dz}
		x, y, ok := w.Pixel(o, d)
		if !ok {
			return
		}
		p, on := w.Point(x, y)
		if !on {
			t.Fatalf("%v, %v is not on the wall", x, y)
		}
		if reach := r3.Norm(o); !(reach < 1e4) {
			return // beyond it rounding of the origin shows
		}
		way := r3.Sub(p, o)
		scale := math.Max(math.Abs(dx), math.Max(math.Abs(dy), math.Abs(dz)))
		d = r3.Unit(r3.Scale(1/scale, d))
		if math.IsNaN(d.X + d.Y + d.Z) {
			return // too small a direction for this plain check
		}
		if miss := r3.Norm(r3.Cross(way, d)); miss > 1e-6 || r3.Dot(way, d) < -1e-6 {
			t.Fatalf("the point found lies %v m beside the ray", miss)
		}
	})
}

func BenchmarkPixel(b *testing.B) {
	w := must[wall.Wall](b)(wall.New(wheelhouse()))
	b.ReportAllocs()
	for i := range b.N {
		w.Pixel(r3.Vec{Y: 1.7}, r3.Vec{X: float64(i%200-100) / 100, Z: -1})
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mray/s")
}
