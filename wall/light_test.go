package wall_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// upright is a rectangle in the plane z = 0 whose lit side faces +Z.
func upright(x0, y0, x1, y1 float64) wall.Rectangle {
	return wall.Rectangle{LowerLeft: r3.Vec{X: x0, Y: y0}, LowerRight: r3.Vec{X: x1, Y: y0}, UpperLeft: r3.Vec{X: x0, Y: y1}}
}

// Receivers 10 m from a square of 10 m.
func TestViewFactors(t *testing.T) {
	square := upright(0, 0, 10, 10)
	facing, up, down := r3.Vec{Z: -1}, r3.Vec{Y: 1}, r3.Vec{Y: -1}
	factor := must[float64](t)
	for _, tc := range []struct {
		id, idDigits string
		x, y         float64
		normal       r3.Vec
		want, digits float64
	}{
		{"W-V1", "W-V1b", 0, 0, facing, 0.1385316060, 0.138531605995},
		{"W-V2", "W-V2b", 2, 0, facing, 0.1638694545, 0.163869454544},
		{"W-V3", "W-V3b", 5, 5, facing, 0.2394564705, 0.239456470461},
		{"W-V4", "W-V4b", 2, 2, facing, 0.1954523349, 0.195452334916},
		{"W-V7", "W-V7b", 0, 0, up, 0.05573419700, 0.0557341970026},
		{"W-V8", "W-V8b", 2, 0, up, 0.06505816388, 0.0650581638821},
		{"W-V8", "W-V8b", 2, 10, down, 0.06505816388, 0.0650581638821},
		{"W-V9", "W-V9b", 5, -10, up, 0.04517433814, 0.045174338141},
	} {
		got := factor(wall.ViewFactor(square, r3.Vec{X: tc.x, Y: tc.y, Z: 10}, tc.normal))
		ref.Near(t, tc.id, got, tc.want, tc.x, tc.y)
		ref.Near(t, tc.idDigits, got, tc.digits, tc.x, tc.y)
	}

	// At height 2 a receiver that faces up sees 8 by 10 of it. The printed
	// number adds the two faces of a plate; each of our receivers has one.
	point := r3.Vec{Y: 2, Z: 10}
	above := factor(wall.ViewFactor(square, point, up))
	below := factor(wall.ViewFactor(square, point, down))
	ref.Near(t, "W-V10", above, 0.0426071323179)
	ref.Near(t, "W-V10b", above+below, 0.04656468770)

	// An octant, by a rectangle that all but fills it.
	octant := factor(wall.ViewFactor(upright(0, 0, 1e7, 1e7), r3.Vec{Z: 1}, facing))
	ref.Near(t, "W-V11", math.Pi*octant, 0.785398163397)
	ref.Near(t, "W-V17", factor(wall.ViewFactor(upright(-1e8, -1e8, 1e8, 1e8), r3.Vec{Z: 1}, facing)), 1, "infinite wall")
	ref.Near(t, "W-V17", 1e6*math.Pi*factor(wall.ViewFactor(upright(-0.5, -0.5, 0.5, 0.5), r3.Vec{Z: 1000}, facing)), 1, "far field L A/d²")

	// A disc in strips.
	for _, tc := range []struct{ r, h, want float64 }{{1, 1, 0.5}, {2, 1, 0.8}} {
		const strips = 4000
		var sum float64
		for i := range strips {
			y0 := tc.r * (2*float64(i)/strips - 1)
			y1 := tc.r * (2*float64(i+1)/strips - 1)
			half := math.Sqrt(tc.r*tc.r - (y0+y1)*(y0+y1)/4)
			sum += factor(wall.ViewFactor(upright(-half, y0, half, y1), r3.Vec{Z: tc.h}, facing))
		}
		ref.Near(t, "W-V14", sum, tc.want, tc.r, tc.h)
	}
}

func TestWallSeenCentrally(t *testing.T) {
	facing := r3.Vec{Z: -1}
	for _, tc := range []struct {
		w, h, d, factor, lux, solid float64
	}{
		{1, 1, 1, 0.239456470461, 0.752274688454, 0.805431683161},
		{10, 5, 3, 0.591060204867, 1.85687039744, 2.32444728037},
		{6, 3, 2, 0.543460641021, 1.70733195735, 2.0908403519},
		{12, 4, 4, 0.408163799237, 1.28228439314, 1.52509995154},
	} {
		w := must[wall.Wall](t)(wall.New(wall.Spec{
			PanelWidth: unit.Length(tc.w / 4), PanelHeight: unit.Length(tc.h / 3),
			PanelPixelsX: 10, PanelPixelsY: 10, Columns: 4, Rows: 3,
		}))
		eye := r3.Vec{Z: tc.d}
		factor, _ := w.ViewFactor(eye, facing)
		lux, _ := w.Illuminance(eye, facing, func(int, int) float64 { return 1000 })
		solid, _ := w.SolidAngle(eye)
		ref.Near(t, "W-V15", factor, tc.factor, "F")
		ref.Near(t, "W-V15", lux/1000, tc.lux, "E/L")
		ref.Near(t, "W-V15", solid, tc.solid, "solid angle")
		ref.Near(t, "W-V15", must[float64](t)(wall.SolidAngle(upright(-tc.w/2, -tc.h/2, tc.w/2, tc.h/2), eye)), tc.solid, "solid angle of a rectangle")
	}
	ref.Near(t, "W-V16", must[float64](t)(wall.SolidAngle(upright(-1, -1, 1, 1), r3.Vec{Z: 1})), 2.09439510239)
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
		var factor, solid, lux float64
		luminance := func(column, row int) float64 { return float64(100 + 50*column + 20*row) }
		for _, p := range ps {
			r := wall.Rectangle{
				LowerLeft: r3.Add(p.corner, p.down), LowerRight: r3.Add(r3.Add(p.corner, p.down), p.right), UpperLeft: p.corner,
			}
			f, s := midpoint(r, point, normal, 60)
			nearest = math.Min(nearest, distance(r3.Add(p.corner, r3.Scale(0.5, r3.Add(p.down, p.right))), point))
			factor, solid, lux = factor+f, solid+s, lux+math.Pi*f*luminance(p.column, p.row)
		}
		if nearest < 1 {
			continue // plain integration is too coarse there
		}
		tried++
		gotFactor, ok := w.ViewFactor(point, normal)
		gotSolid, ok2 := w.SolidAngle(point)
		gotLux, ok3 := w.Illuminance(point, normal, luminance)
		if !ok || !ok2 || !ok3 {
			t.Fatal("no answer")
		}
		ref.Within(t, "W-V18", math.Abs(gotFactor-factor), "F")
		ref.Within(t, "W-V18", math.Abs(gotSolid-solid), "solid angle")
		ref.Within(t, "W-V18", math.Abs(gotLux-lux)/2000, "E/L")
	}
}

func TestLightProperties(t *testing.T) {
	// A drum lights a receiver in its middle that faces its wall with what
	// its open ends leave; inside a long one F comes near 1.
	long := hexagon(6)
	long.PanelHeight = 100
	w := must[wall.Wall](t)(wall.New(long))
	middle := r3.Vec{Z: 2}
	factor, _ := w.ViewFactor(middle, r3.Vec{X: 1})
	solid, _ := w.SolidAngle(middle)
	// The ends are hexagons of 6√3 m², 200 m off.
	end := 6 * math.Sqrt(3) / (200 * 200)
	near.Rel(t, "solid angle", solid, 4*math.Pi-2*end, 1e-6, "the end as a far, small source: the next term is (size/distance)² of 5e-6 of the sphere")
	near.Abs(t, "F", factor, 1, 1e-5, "the ends lie on the horizon of the receiver")

	// The view factors along n and −n differ by the net flux through the
	// receiver, which is linear in n.
	r := upright(-1, -2, 3, 1)
	p := r3.Vec{X: 0.3, Y: 0.2, Z: 1.5}
	flux := func(n r3.Vec) float64 {
		a := must[float64](t)(wall.ViewFactor(r, p, n))
		b := must[float64](t)(wall.ViewFactor(r, p, r3.Scale(-2, n)))
		return a - b
	}
	n := r3.Unit(r3.Vec{X: 1, Y: -2, Z: -0.5})
	near.Abs(t, "flux", flux(n), n.X*flux(r3.Vec{X: 1})+n.Y*flux(r3.Vec{Y: 1})+n.Z*flux(r3.Vec{Z: 1}), 1e-15, "a few roundings of numbers below 1")

	// From behind and from the plane there is none.
	for _, p := range []r3.Vec{{Z: -1}, {X: 5}, {}} {
		f := must[float64](t)(wall.ViewFactor(r, p, r3.Vec{Z: 1}))
		s := must[float64](t)(wall.SolidAngle(r, p))
		if f != 0 || s != 0 {
			t.Errorf("from %v: %v, %v sr", p, f, s)
		}
	}
	// Facing away there is none either.
	if f := must[float64](t)(wall.ViewFactor(r, p, r3.Vec{Z: 1})); f != 0 {
		t.Errorf("facing away: %v", f)
	}
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
		column, row, _ := w.Panel(x, y)
		px, py := float64(spec.PanelPixelsX), float64(spec.PanelPixelsY)
		r, ok := w.Rectangle(float64(column)*px, float64(row)*py, float64(column+1)*px, float64(row+1)*py)
		if !ok {
			t.Fatal("no panel")
		}
		// Nor does one on another panel of a flat wall, where the tilt of the
		// first by one rounding over its side counts.
		if first, ok := w.Rectangle(0, 0, px, py); ok && spec.Radius == 0 {
			if s := must[float64](t)(wall.SolidAngle(first, p)); s != 0 {
				t.Fatalf("%+v beside at %v, %v: %v sr", spec, x, y, s)
			}
		}
		for _, normal := range []r3.Vec{n, r3.Scale(-1, n), {X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}} {
			f := must[float64](t)(wall.ViewFactor(r, p, normal))
			s := must[float64](t)(wall.SolidAngle(r, p))
			lux, ok := w.Illuminance(p, normal, func(c, r int) float64 {
				if c == column && r == row {
					return 1000
				}
				return 0
			})
			if f != 0 || s != 0 || lux != 0 || !ok {
				t.Fatalf("%+v at %v, %v facing %v: %v, %v sr, %v lx, %v", spec, x, y, normal, f, s, lux, ok)
			}
			if factor, ok := w.ViewFactor(p, normal); !ok || !(factor >= 0 && factor <= 1+1e-12) {
				t.Fatalf("%+v at %v, %v: the wall gives %v, %v", spec, x, y, factor, ok)
			}
			if spec.Radius == 0 {
				if s, ok := w.SolidAngle(p); s != 0 || !ok {
					t.Fatalf("%+v at %v, %v: %v sr", spec, x, y, s)
				}
			}
		}
		// A millimetre in front there is light again: nearly the half space,
		// but for the edges.
		if r3.Norm(spec.Position) < 100 {
			mid, _ := w.Point((float64(column)+0.5)*px, (float64(row)+0.5)*py)
			f := must[float64](t)(wall.ViewFactor(r, r3.Add(mid, r3.Scale(1e-3, n)), r3.Scale(-1, n)))
			near.Abs(t, "close", f, 1, 1e-4, "the horizon of a panel of 0.3 m or more, 1 mm away: 1 − F is some (2 mm/0.3 m)²")
		}
	}
}

// Far from a turned panel the light is that of an integral over it by Gauss and
// Legendre's rule, which is exact there.
func TestLightFarFromATurnedPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 1))
	nodes := [4]float64{0.0694318442029737, 0.3300094782075719, 0.6699905217924281, 0.9305681557970263}
	weights := [4]float64{0.1739274225687269, 0.3260725774312731, 0.3260725774312731, 0.1739274225687269}
	for range 2000 {
		spec := square()
		spec.Columns, spec.Rows, spec.Position = 1, 1, r3.Vec{}
		spec.Heading, spec.Elevation, spec.Roll = unit.Angle(6*rng.Float64()), unit.Angle(rng.Float64()), unit.Angle(6*rng.Float64())
		w := must[wall.Wall](t)(wall.New(spec))
		r, _ := w.Rectangle(0, 0, 100, 100)
		right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
		back := r3.Cross(right, up)
		away := math.Pow(10, 2+5*rng.Float64())
		point := r3.Scale(away, r3.Unit(r3.Add(r3.Vec{X: 0.5 * rng.NormFloat64(), Y: 0.5 * rng.NormFloat64(), Z: 0.5 * rng.NormFloat64()}, back)))
		normal := r3.Unit(r3.Sub(r3.Vec{X: rng.NormFloat64() / 3, Y: rng.NormFloat64() / 3, Z: rng.NormFloat64() / 3}, r3.Unit(point)))
		if r3.Dot(r3.Unit(point), back) < 0.1 || r3.Dot(r3.Unit(point), normal) > -0.1 {
			continue
		}
		var factor, solid float64
		for i, u := range nodes {
			for j, v := range nodes {
				way := r3.Sub(r3.Add(r.LowerLeft, r3.Add(r3.Scale(u, right), r3.Scale(v, up))), point)
				d2 := r3.Norm2(way)
				s := -weights[i] * weights[j] * r3.Dot(way, back) / (d2 * math.Sqrt(d2))
				solid += s
				factor += s * r3.Dot(way, normal) / math.Sqrt(d2) / math.Pi
			}
		}
		near.Abs(t, "F", must[float64](t)(wall.ViewFactor(r, point, normal)), factor, 4e-16/away, "the error stated, for a side of 1 m")
		near.Rel(t, "solid angle", must[float64](t)(wall.SolidAngle(r, point)), solid, 1e-15*away, "the error stated, for a side of 1 m")
	}
}

// A rectangle whose corner is off the square by half of what is allowed: what
// that changes is what it changes in an integral.
func TestLightOfALeaningRectangle(t *testing.T) {
	r := upright(0, 0, 2, 3)
	leaning := r
	leaning.UpperLeft.X += 1.5e-6
	p, n := r3.Vec{X: 3, Y: 2, Z: 2}, r3.Vec{X: -0.5, Y: 0.1, Z: -1}
	factor, solid := midpoint(r, p, n, 400)
	factor2, solid2 := midpoint(leaning, p, n, 400)
	change := must[float64](t)(wall.ViewFactor(leaning, p, n)) - must[float64](t)(wall.ViewFactor(r, p, n))
	near.Rel(t, "F", change, factor2-factor, 1e-3, "mid-point rule with 400 by 400 points; differences of 1e-7 with roundings of 1e-16")
	change = must[float64](t)(wall.SolidAngle(leaning, p)) - must[float64](t)(wall.SolidAngle(r, p))
	near.Rel(t, "solid angle", change, solid2-solid, 1e-3, "the same")
}

func TestEV100FromLuminance(t *testing.T) {
	for _, tc := range []struct {
		id                 string
		luminance, k, want float64
	}{
		{"W-E2", 0.125, 12.5, 0},
		{"W-E6", 4096, 12.5, 15},
		{"W-E6", 1, 12.5, 3},
		{"W-E6", 0.008, 12.5, -4},
		{"W-E10", 100, 12.5, 9.64385618977},
		{"W-E10", 1000, 12.5, 12.9657842847},
		{"W-E10", 1500, 12.5, 13.5507467854},
	} {
		ref.Near(t, tc.id, must[float64](t)(wall.EV100FromLuminance(tc.luminance, tc.k)), tc.want, tc.luminance)
	}
}

func TestLightFaults(t *testing.T) {
	r := upright(0, 0, 1, 1)
	n := r3.Vec{Z: -1}
	for _, err := range []error{
		second(wall.ViewFactor(wall.Rectangle{}, r3.Vec{Z: 1}, n)),
		second(wall.ViewFactor(r, r3.Vec{Z: nan}, n)),
		second(wall.ViewFactor(r, r3.Vec{Z: 1}, r3.Vec{})),
		second(wall.ViewFactor(r, r3.Vec{Z: 1}, r3.Vec{Y: inf})),
		second(wall.SolidAngle(wall.Rectangle{}, r3.Vec{Z: 1})),
		second(wall.SolidAngle(r, r3.Vec{Y: -inf})),
		second(wall.EV100FromLuminance(0, 12.5)),
		second(wall.EV100FromLuminance(nan, 12.5)),
		second(wall.EV100FromLuminance(100, 0)),
	} {
		if !errors.Is(err, wall.ErrInvalid) {
			t.Errorf("got %v", err)
		}
	}
	w := must[wall.Wall](t)(wall.New(square()))
	one := func(int, int) float64 { return 1 }
	_, a := w.SolidAngle(r3.Vec{X: nan})
	_, b := w.ViewFactor(r3.Vec{X: inf}, n)
	_, c := w.ViewFactor(r3.Vec{}, r3.Vec{})
	_, d := w.Illuminance(r3.Vec{}, n, nil)
	_, e := w.Illuminance(r3.Vec{}, n, func(int, int) float64 { return nan })
	_, f := w.Illuminance(r3.Vec{}, n, func(int, int) float64 { return -1 })
	_, g := w.Illuminance(r3.Vec{Y: nan}, n, one)
	// Too much light for a number has no answer; where little of it arrives, it has.
	brightest := func(int, int) float64 { return math.MaxFloat64 }
	hollow := must[wall.Wall](t)(wall.New(hexagon(6)))
	if lux, ok := hollow.Illuminance(r3.Vec{Z: 2}, n, brightest); ok || lux != 0 {
		t.Errorf("the largest luminance gives %v, %v", lux, ok)
	}
	lux, ok := w.Illuminance(r3.Vec{Z: 1000}, n, brightest)
	factor, _ := w.ViewFactor(r3.Vec{Z: 1000}, n)
	near.Rel(t, "the largest luminance from afar", lux/math.MaxFloat64, math.Pi*factor, 1e-9, "E = π L F; panels 1 km away lose digits")
	if !ok {
		t.Error("no answer from afar")
	}
	_, h := w.Illuminance(r3.Vec{}, r3.Vec{Z: nan}, one)
	if a || b || c || d || e || f || g || h {
		t.Error("an answer to a question that has none", a, b, c, d, e, f, g, h)
	}
}

func second[T any](_ T, err error) error { return err }
