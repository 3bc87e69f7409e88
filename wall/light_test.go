package wall_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// sheet is a wall of one panel in the plane z = 0, whose lit side faces +Z.
func sheet(t testing.TB, x0, y0, x1, y1 float64) wall.Wall {
	return must[wall.Wall](t)(wall.New(wall.Spec{
		PanelWidth: unit.Length(x1 - x0), PanelHeight: unit.Length(y1 - y0), PanelPixelsX: 1, PanelPixelsY: 1,
		Columns: 1, Rows: 1, Position: r3.Vec{X: (x0 + x1) / 2, Y: (y0 + y1) / 2},
	}))
}

// even is the luminance of a wall whose panels are all alike.
func even(luminance float64) func(column, row int) float64 {
	return func(int, int) float64 { return luminance }
}

// factor is the view factor of a wall, E/(π L).
func factor(t testing.TB, w wall.Wall, point, normal r3.Vec) float64 {
	return must[float64](t)(w.Illuminance(point, normal, even(1))) / math.Pi
}

// Receivers 10 m from a square of 10 m.
func TestViewFactors(t *testing.T) {
	square := sheet(t, 0, 0, 10, 10)
	facing, up, down := r3.Vec{Z: -1}, r3.Vec{Y: 1}, r3.Vec{Y: -1}
	for _, tc := range []struct {
		id, idDigits string
		x, y         float64
		normal       r3.Vec
		want, digits float64
	}{
		{"W-V1", "W-V1b", 0, 0, facing, 0.1385316060, 0.138531605995},
		{"W-V1", "W-V1b", 2, 0, facing, 0.1638694545, 0.163869454544},
		{"W-V1", "W-V1b", 5, 5, facing, 0.2394564705, 0.239456470461},
		{"W-V1", "W-V1b", 2, 2, facing, 0.1954523349, 0.195452334916},
		{"W-V7", "W-V7b", 0, 0, up, 0.05573419700, 0.0557341970026},
		{"W-V7", "W-V7b", 2, 0, up, 0.06505816388, 0.0650581638821},
		{"W-V7", "W-V7b", 2, 10, down, 0.06505816388, 0.0650581638821},
		{"W-V7", "W-V7b", 5, -10, up, 0.04517433814, 0.0451743381410},
	} {
		got := must[float64](t)(square.Illuminance(r3.Vec{X: tc.x, Y: tc.y, Z: 10}, r3.Scale(1e-200, tc.normal), even(1e12))) / (math.Pi * 1e12)
		ref.Near(t, tc.id, got, tc.want, tc.x, tc.y)
		ref.Near(t, tc.idDigits, got, tc.digits, tc.x, tc.y)
	}

	// At height 2 a receiver that faces up sees 8 by 10 of it. The printed
	// number adds the two faces of a plate; each of our receivers has one.
	point := r3.Vec{Y: 2, Z: 10}
	above, below := factor(t, square, point, up), factor(t, square, point, down)
	ref.Near(t, "W-V10", above, 0.0426071323179)
	ref.Near(t, "W-V7", above+below, 0.04656468770, "both faces")

	// A normal of any length, up to the largest there is.
	assert.Equal(t, factor(t, square, r3.Vec{Z: 10}, facing), factor(t, square, r3.Vec{Z: 10}, r3.Scale(math.MaxFloat64, facing)))

	// An octant, by a rectangle that all but fills it.
	ref.Near(t, "W-V11", math.Pi*factor(t, sheet(t, 0, 0, 100, 100), r3.Vec{Z: 1e-5}, facing), math.Pi/4)
	ref.Near(t, "W-V17", factor(t, sheet(t, -50, -50, 50, 50), r3.Vec{Z: 1e-12}, facing), 1, "infinite wall")
	ref.Near(t, "W-V17", 1e6*math.Pi*factor(t, sheet(t, -0.5, -0.5, 0.5, 0.5), r3.Vec{Z: 1000}, facing), 1, "far field L A/d²")

	// A disc in strips.
	for _, tc := range []struct{ r, h, want float64 }{{1, 1, 0.5}, {2, 1, 0.8}} {
		const strips = 4000
		var sum float64
		for i := range strips {
			y0 := tc.r * (2*float64(i)/strips - 1)
			y1 := tc.r * (2*float64(i+1)/strips - 1)
			half := math.Sqrt(tc.r*tc.r - (y0+y1)*(y0+y1)/4)
			sum += factor(t, sheet(t, -half, y0, half, y1), r3.Vec{Z: tc.h}, facing)
		}
		ref.Near(t, "W-V14", sum, tc.want, tc.r, tc.h)
	}
}

// What a floor gets of a wall that stands along its edge of length 1: the floor
// is c deep and the wall a high. The table's 0.34916 for a depth of 2 and a height
// of 10 is left out: its closed form gives 0.34910, and so does this integral.
func TestWallAndFloor(t *testing.T) {
	for _, tc := range []struct{ c, a, want float64 }{
		{1, 1, 0.20004}, {1, 2, 0.23285}, {1, 4, 0.24522}, {1, 6, 0.24783}, {1, 10, 0.24921}, {1, 20, 0.24980},
		{2, 2, 0.29860}, {2, 4, 0.33462}, {2, 6, 0.34386}, {0.6, 0.2, 0.07377}, {0.2, 0.6, 0.07377},
	} {
		w := sheet(t, 0, 0, 1, tc.a)
		across := func(z float64) float64 {
			return quad.Fixed(func(x float64) float64 {
				return must[float64](t)(w.Illuminance(r3.Vec{X: x, Z: z}, r3.Vec{Y: 1}, even(1/math.Pi)))
			}, 0, 1, 40, nil, 0)
		}
		// Closer points at the edge, where the factor bends.
		got := quad.Fixed(func(u float64) float64 { return 2 * u * across(u*u) }, 0, math.Sqrt(tc.c), 40, nil, 0)
		ref.Near(t, "W-V19", got, tc.want, tc.c, tc.a)
	}
}

func TestWallSeenCentrally(t *testing.T) {
	facing := r3.Vec{Z: -1}
	for _, tc := range []struct {
		w, h, d, factor, lux, solid float64
	}{
		{1, 1, 1, 0.239456470461, 0.752274688454, 0.805431683161}, {10, 5, 3, 0.591060204867, 1.85687039744, 2.32444728037},
		{6, 3, 2, 0.543460641021, 1.70733195735, 2.0908403519}, {12, 4, 4, 0.408163799237, 1.28228439314, 1.52509995154},
	} {
		w := must[wall.Wall](t)(wall.New(wall.Spec{
			PanelWidth: unit.Length(tc.w / 4), PanelHeight: unit.Length(tc.h / 3),
			PanelPixelsX: 10, PanelPixelsY: 10, Columns: 4, Rows: 3,
		}))
		eye := r3.Vec{Z: tc.d}
		lux := must[float64](t)(w.Illuminance(eye, facing, even(1000)))
		ref.Near(t, "W-V15", factor(t, w, eye, facing), tc.factor, "F")
		ref.Near(t, "W-V15", lux/1000, tc.lux, "E/L")
		ref.Near(t, "W-V15", must[float64](t)(w.SolidAngle(eye)), tc.solid, "solid angle")
	}
	ref.Near(t, "W-V16", must[float64](t)(sheet(t, -1, -1, 1, 1).SolidAngle(r3.Vec{Z: 1})), 2*math.Pi/3)
}

// midpoint integrates cos·cos/(π r²) and cos/r² over a rectangle.
func midpoint(r wall.Rectangle, p, n r3.Vec, steps int) (factor, solid float64) {
	right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
	cross := r3.Cross(right, up)
	area := r3.Norm(cross) / float64(steps*steps)
	back := r3.Unit(cross)
	n = r3.Unit(n)
	for i := range steps {
		for j := range steps {
			u, v := (float64(i)+0.5)/float64(steps), (float64(j)+0.5)/float64(steps)
			way := r3.Sub(r3.Add(r.LowerLeft, r3.Add(r3.Scale(u, right), r3.Scale(v, up))), p)
			d2 := r3.Norm2(way)
			out := -r3.Dot(way, back) / math.Sqrt(d2)
			if out <= 0 {
				continue
			}
			solid += area * out / d2
			factor += area * out * math.Max(0, r3.Dot(way, n)/math.Sqrt(d2)) / (math.Pi * d2)
		}
	}
	return factor, solid
}

// Arcs, ceilings and receivers in any direction against plain integration.
func TestLightAgainstIntegration(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	for tried := 0; tried < 25; {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		point := r3.Add(spec.Position, r3.Vec{X: 3 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
		normal := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		ps := plates(t, w, spec)
		nearest := inf
		var wantFactor, wantSolid, wantLux float64
		luminance := func(column, row int) float64 { return float64(100 + 50*column + 20*row) }
		for _, p := range ps {
			r := wall.Rectangle{
				LowerLeft: r3.Add(p.corner, p.down), LowerRight: r3.Add(r3.Add(p.corner, p.down), p.right), UpperLeft: p.corner,
			}
			f, s := midpoint(r, point, normal, 60)
			nearest = math.Min(nearest, distance(r3.Add(p.corner, r3.Scale(0.5, r3.Add(p.down, p.right))), point))
			wantFactor, wantSolid, wantLux = wantFactor+f, wantSolid+s, wantLux+math.Pi*f*luminance(p.column, p.row)
		}
		if nearest < 1 {
			continue // plain integration is too coarse there
		}
		tried++
		gotFactor := factor(t, w, point, normal)
		gotSolid := must[float64](t)(w.SolidAngle(point))
		gotLux := must[float64](t)(w.Illuminance(point, normal, luminance))
		ref.Within(t, "W-V18", math.Abs(gotFactor-wantFactor), "F")
		ref.Within(t, "W-V18", math.Abs(gotSolid-wantSolid), "solid angle")
		ref.Within(t, "W-V18", math.Abs(gotLux-wantLux)/2000, "E/L")
	}
}

// Inside a closed box every direction ends on a wall, and what faces up or down
// as it likes gets as much light as it can.
func TestClosedBox(t *testing.T) {
	rng := rand.New(rand.NewPCG(44, 1))
	var box []wall.Wall
	for _, side := range []wall.Spec{
		{Position: r3.Vec{Z: -3}, PanelWidth: 2, PanelHeight: 1, Columns: 2},
		{Position: r3.Vec{Z: 3}, PanelWidth: 1, PanelHeight: 1, Columns: 4, Heading: 180 * wall.Degree},
		{Position: r3.Vec{X: 2}, PanelWidth: 6, PanelHeight: 1, Columns: 1, Heading: 90 * wall.Degree},
		{Position: r3.Vec{X: -2}, PanelWidth: 2, PanelHeight: 1, Columns: 3, Heading: -90 * wall.Degree, Roll: 180 * wall.Degree},
		{Position: r3.Vec{Y: 1}, PanelWidth: 4, PanelHeight: 3, Columns: 1, Elevation: 90 * wall.Degree},
		{Position: r3.Vec{Y: -1}, PanelWidth: 3, PanelHeight: 2, Columns: 2, Elevation: -90 * wall.Degree, Roll: 90 * wall.Degree},
	} {
		side.PanelPixelsX, side.PanelPixelsY, side.Rows = 7, 5, 2
		box = append(box, must[wall.Wall](t)(wall.New(side)))
	}
	for range 500 {
		p := r3.Vec{X: 4*rng.Float64() - 2, Y: 2*rng.Float64() - 1, Z: 6*rng.Float64() - 3}
		n := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		var all, solid float64
		for _, w := range box {
			all += factor(t, w, p, n)
			solid += must[float64](t)(w.SolidAngle(p))
		}
		require.InDelta(t, 1, all, 2e-14, "twelve rectangles and more, some roundings each")
		require.InDelta(t, 4*math.Pi, solid, 2e-13, "the same, of angles up to 2π")
	}
	// From behind, from the plane, and facing away there is none.
	behind, front := r3.Vec{X: 0.3, Y: 0.2, Z: -3.5}, r3.Vec{X: 0.3, Y: 0.2, Z: -2}
	for _, p := range []r3.Vec{behind, {X: 5, Z: -3}, {Z: -3}} {
		assert.Zero(t, factor(t, box[0], p, r3.Vec{Z: 1}), "F from %v", p)
		assert.Zero(t, factor(t, box[0], p, r3.Vec{Z: -1}), "F from %v", p)
		assert.Zero(t, must[float64](t)(box[0].SolidAngle(p)), "solid angle from %v", p)
	}
	assert.Zero(t, factor(t, box[0], front, r3.Vec{Z: 1}), "facing away")
}

// A receiver on the wall itself, that faces as the wall does or any other way,
// gets nothing from the panel it sits on.
func TestLightInThePlaneOfAPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(42, 1))
	for range 2000 {
		spec := somewhere(rng)
		if rng.IntN(2) == 0 {
			spec.Position = r3.Scale(1e4*rng.Float64(), spec.Position)
		}
		w := must[wall.Wall](t)(wall.New(spec))
		width, height := w.Size()
		x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
		p, _ := w.Point(x, y)
		n, _ := w.Normal(x, y)
		column, row, ok := w.Panel(x, y)
		require.True(t, ok)
		only := func(column, row int) func(c, r int) float64 {
			return func(c, r int) float64 {
				if c == column && r == row {
					return 1000
				}
				return 0
			}
		}
		for _, normal := range []r3.Vec{n, r3.Scale(-1, n), {X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}} {
			lux := must[float64](t)(w.Illuminance(p, normal, only(column, row)))
			if spec.Radius == 0 {
				// Nor does it from another panel of a flat wall, where the tilt of
				// that one by a rounding over its side counts.
				lux += must[float64](t)(w.Illuminance(p, normal, only(0, 0))) + must[float64](t)(w.SolidAngle(p))
			}
			if all := factor(t, w, p, normal); lux != 0 || !(all >= 0 && all <= 1+1e-12) {
				t.Fatalf("%+v at %v, %v facing %v: %v lx, %v from all panels", spec, x, y, normal, lux, all)
			}
		}
		// Nor does it beside the panel, in its plane, though that is known only as
		// well as its corners are.
		px, py := float64(spec.PanelPixelsX), float64(spec.PanelPixelsY)
		r, ok := w.Rectangle(float64(column)*px, float64(row)*py, float64(column+1)*px, float64(row+1)*py)
		require.True(t, ok)
		beside := r3.Add(r.LowerLeft, r3.Scale(20*rng.NormFloat64(), r3.Sub(r.LowerRight, r.LowerLeft)))
		require.Zero(t, must[float64](t)(w.Illuminance(beside, n, only(column, row))), "%+v: beside panel %d, %d", spec, column, row)
		require.Zero(t, must[float64](t)(w.Illuminance(beside, r3.Scale(-1, n), only(column, row))), "%+v: beside panel %d, %d", spec, column, row)
		// A millimetre in front there is light again: nearly the half space, but
		// for the edges.
		if r3.Norm(spec.Position) < 100 {
			middle, _ := w.Point((float64(column)+0.5)*px, (float64(row)+0.5)*py)
			lux := must[float64](t)(w.Illuminance(r3.Add(middle, r3.Scale(1e-3, n)), r3.Scale(-1, n), only(column, row)))
			require.InDelta(t, 1000*math.Pi, lux, 0.1*math.Pi, "the horizon of a panel of 0.3 m or more, 1 mm away: 1 − F is some (2 mm/0.3 m)²")
		}
	}
}

// Far from a turned panel the light is that of an integral over it by Gauss and
// Legendre's rule, which is exact there.
func TestLightFarFromATurnedPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 1))
	for range 2000 {
		spec := square()
		spec.Columns, spec.Rows, spec.Position = 1, 1, r3.Vec{}
		spec.Heading, spec.Elevation, spec.Roll = unit.Angle(6*rng.Float64()), unit.Angle(rng.Float64()), unit.Angle(6*rng.Float64())
		w := must[wall.Wall](t)(wall.New(spec))
		back, _ := w.Normal(0, 0)
		away := math.Pow(10, 2+3.9*rng.Float64())
		point := r3.Scale(away, r3.Unit(r3.Add(r3.Vec{X: 0.5 * rng.NormFloat64(), Y: 0.5 * rng.NormFloat64(), Z: 0.5 * rng.NormFloat64()}, back)))
		normal := r3.Unit(r3.Sub(r3.Vec{X: rng.NormFloat64() / 3, Y: rng.NormFloat64() / 3, Z: rng.NormFloat64() / 3}, r3.Unit(point)))
		if r3.Dot(r3.Unit(point), back) < 0.1 || r3.Dot(r3.Unit(point), normal) > -0.1 {
			continue
		}
		var nodes, weights [4]float64
		quad.Legendre{}.FixedLocations(nodes[:], weights[:], 0, 1)
		var wantFactor, wantSolid float64
		for i, u := range nodes {
			for j, v := range nodes {
				at, _ := w.Point(100*u, 100*v)
				way := r3.Sub(at, point)
				d2 := r3.Norm2(way)
				s := -weights[i] * weights[j] * r3.Dot(way, back) / (d2 * math.Sqrt(d2))
				wantSolid += s
				wantFactor += s * r3.Dot(way, normal) / math.Sqrt(d2) / math.Pi
			}
		}
		require.InDelta(t, wantFactor, factor(t, w, point, normal), 4e-16/away, "the error stated, for a side of 1 m")
		require.InEpsilon(t, wantSolid, must[float64](t)(w.SolidAngle(point)), 1e-15*away, "the error stated, for a side of 1 m")
	}
}

func TestLightFaults(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	n := r3.Vec{Z: -1}
	panel := func(luminance float64) func(column, row int) float64 {
		return func(column, row int) float64 {
			if column == 3 && row == 2 {
				return luminance
			}
			return 0
		}
	}
	refused(t, map[string]error{
		"point x NaN m: must be at least -1000 km and at most 1000 km": second(w.SolidAngle(r3.Vec{X: nan})),
		"point z 2000 km": second(w.SolidAngle(r3.Vec{Y: -inf, Z: 2e6})),
		"point y NaN m":   second(w.Illuminance(r3.Vec{Y: nan}, n, even(1))),
		"normal (0, 0, 0): must be finite and not zero": second(w.Illuminance(r3.Vec{}, r3.Vec{}, even(1))),
		"normal (0, +Inf, 0)":                           second(w.Illuminance(r3.Vec{}, r3.Vec{Y: inf}, even(1))),
		"normal (0, 0, NaN)":                            second(w.Illuminance(r3.Vec{}, r3.Vec{Z: nan}, even(1))),
		"luminance nil: must be a function":             second(w.Illuminance(r3.Vec{}, n, nil)),
		"luminance of panel (3, 2) NaN cd/m²: must be at least 0 cd/m² and at most 1e+12 cd/m²": second(w.Illuminance(r3.Vec{}, n, panel(nan))),
		"luminance of panel (3, 2) -1 cd/m²":                                                    second(w.Illuminance(r3.Vec{}, n, panel(-1))),
		"luminance of panel (3, 2) 1.1e+12 cd/m²":                                               second(w.Illuminance(r3.Vec{}, n, panel(1.1e12))),
	})
}
