package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// cubic is a model of a user's own.
type cubic struct{}

func (cubic) MaxAngle() unit.Angle { return 2 }
func (cubic) Radius(t unit.Angle) (float64, bool) {
	return float64(t - t*t*t/30), t >= 0 && t <= 2
}
func (cubic) Slope(t unit.Angle) (float64, bool) { return float64(1 - t*t/10), t >= 0 && t <= 2 }
func (c cubic) Angle(r float64) (unit.Angle, bool) {
	lo, hi := 0.0, 2.0
	for range 60 {
		m := (lo + hi) / 2
		if v, _ := c.Radius(unit.Angle(m)); v < r {
			lo = m
		} else {
			hi = m
		}
	}
	return unit.Angle(lo), r >= 0 && r <= 2-8.0/30
}

// measured are models whose second derivative is greatest inside their domain: two
// polynomials, a table of a few points, and one so dense and uneven that samples
// at any fixed step miss its extremes.
func measured(t *testing.T) []projection.Model {
	t.Helper()
	var models []projection.Model
	for _, c := range [][]float64{{1, 0.3, -0.12, 0.012}, {1, -0.3, 0.1, -0.01}} {
		p, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c})
		require.NoError(t, err)
		models = append(models, p)
	}
	rng := rand.New(rand.NewPCG(9, 10))
	for _, n := range []int{20, 3000} {
		points := make([]projection.TablePoint, n)
		theta := 0.0
		for i := range points {
			step := 1.9 / float64(n) * (0.2 + 1.6*rng.Float64())
			theta += step
			height := step * (0.6 + 0.4*rng.Float64())
			if i > 0 {
				height += points[i-1].Height
			}
			points[i] = projection.TablePoint{Angle: unit.Angle(theta), Height: height}
		}
		table, err := projection.NewTable(points)
		require.NoError(t, err)
		models = append(models, table)
	}
	return append(models, cubic{}, struct{ projection.Model }{models[0]}) // of which nothing but samples is known
}

// someDir is a random direction.
func someDir(rng *rand.Rand) r3.Vec {
	return sphere.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// What judge says of a cap is tried at points of the cap: a decision must hold
// at each, and a point farther than e from a cut's great circle must be on the
// side of the limit that the cut says.
func TestJudgeIsConservative(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(5, 6))
	var regions []region
	for _, m := range append(measured(t), projection.Rectilinear, projection.Stereographic, projection.Equidistant, projection.Equisolid, projection.Orthographic) {
		for _, spec := range []projection.CameraSpec{
			{Width: 1600, Height: 1000, OffsetX: 40, OffsetY: -30},
			{Width: 3000, Height: 2000, OffsetX: -200, MaxAngle: 60 * projection.Degree},
			{Width: 6000, Height: 1200, OffsetX: 700, OffsetY: 500},
			{Width: 900, Height: 5000, MaxAngle: m.MaxAngle()},
			{Width: 1600, Height: 1000, OffsetX: -760, OffsetY: 490}, // edges close to the axis
		} {
			spec.Model, spec.FocalX, spec.FocalY = m, 1000, 1050
			spec.Pose = projection.Pose{Heading: 0.3, Elevation: -0.4, Roll: 0.5}
			c, err := projection.NewCamera(spec)
			require.NoError(t, err)
			regions = append(regions, newRegion(c))
		}
	}
	judgeIsConservative(t, rng, append(regions, calibratedRegions(t)...), 120_000)
}

// Beyond 90° the reach of a lens with a distortion is not convex, which the bounds must
// allow for.
func TestJudgeIsConservativeBeyond90(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 8))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	var regions []region
	for range 60 {
		model := []projection.Form{projection.Equidistant, projection.Equisolid, projection.Stereographic}[rng.IntN(3)]
		d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: between(-0.02, 0.02), K2: between(0, 0.001), P1: between(-4e-3, 4e-3), P2: between(-4e-3, 4e-3)})
		require.NoError(t, err)
		c, err := projection.NewCamera(projection.CameraSpec{Model: model, Distortion: d, FocalX: 1000, FocalY: 1000 * between(0.9, 1.1),
			Width: 4000 + rng.IntN(2000), Height: 1000 + rng.IntN(4000), OffsetX: between(-300, 300), OffsetY: between(-300, 300),
			MaxAngle: unit.Angle(between(95, 170)) * projection.Degree})
		require.NoError(t, err)
		if g := newRegion(c); g.reach > math.Pi/2 && g.bounded() {
			regions = append(regions, g)
		}
	}
	require.Greater(t, len(regions), 40)
	judgeIsConservative(t, rng, regions, 40_000)
}

func judgeIsConservative(t *testing.T, rng *rand.Rand, regions []region, caps int) {
	t.Helper()
	var decided, cutCaps, sided int
	for range caps {
		g := &regions[rng.IntN(len(regions))]
		rho := math.Pow(10, -4*rng.Float64()) / 2
		p := someDir(rng)
		if rng.IntN(2) == 0 { // near a limit
			c := g.c
			x, y := rng.Float64()*float64(g.c.width), rng.Float64()*float64(g.c.height)
			switch rng.IntN(5) {
			case 0:
				x = 0
			case 1:
				x = float64(g.c.width)
			case 2:
				y = 0
			case 3:
				y = float64(g.c.height)
			}
			q, ok := c.Unproject(x, y)
			if !ok {
				continue
			}
			p = sphere.Unit(r3.Add(q, r3.Scale(rho*rng.Float64(), someDir(rng))))
		}
		seen, left, rough, cuts := g.judge(p, rho, g.limits, cut{}, nil)
		if seen && left != 0 && rough {
			continue
		}
		for range 20 {
			d := sphere.Unit(r3.Cross(p, someDir(rng)))
			sin, cos := math.Sincos(rho * math.Sqrt(rng.Float64()))
			q := r3.Add(r3.Scale(cos, p), r3.Scale(sin, d))
			margin, _ := g.c.look(q)
			switch {
			case !seen:
				decided++
				if margin > 1e-6 {
					t.Fatalf("%T %v: %v is seen by %v px, in a cap of %v called unseen", g.c.model, g.c.model, q, margin, rho)
				}
			case left == 0:
				decided++
				if margin < -1e-6 {
					t.Fatalf("%T %v: %v is off by %v px, in a cap of %v called seen", g.c.model, g.c.model, q, margin, rho)
				}
			default:
				cutCaps++
				inside, sure := true, true
				for _, c := range cuts {
					s := r3.Dot(c.n, q)
					inside = inside && s > 0
					sure = sure && math.Abs(s) > c.e
				}
				if !sure {
					continue
				}
				sided++
				if (margin > 0) != inside && math.Abs(margin) > 1e-6 {
					t.Fatalf("%T %v: the margin of %v is %v px in a cap of %v, cut as %v", g.c.model, g.c.model, q, margin, rho, cuts)
				}
			}
		}
	}
	if decided < caps*5/6 || sided < caps*5/6 || cutCaps-sided < 100 {
		t.Errorf("%d decided, %d on a side of a cut, of %d: the test has lost its grip", decided, sided, cutCaps)
	}
}

// The bound of the second derivative grows with the field angle, and holds
// against differences of the mapping itself.
func TestBend(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, m := range append(measured(t), projection.Stereographic, projection.Equidistant, projection.Equisolid, projection.Orthographic) {
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, FocalX: 1, FocalY: 1, Width: 100, Height: 100})
		require.NoError(t, err)
		g := newRegion(c)
		last := 0.0
		for theta := 0.01; theta < min(float64(m.MaxAngle()), 3.1); theta += 1e-4 {
			b := g.bend(theta)
			if b < last {
				t.Fatalf("%v: the bound falls at %v", m, theta)
			}
			last = b
		}
		for range 5000 {
			theta := rng.Float64() * min(float64(m.MaxAngle())-0.0003, 3.1)
			phi, dir := rng.Float64()*2*math.Pi, rng.Float64()*2*math.Pi
			sinT, cosT := math.Sincos(theta)
			sinP, cosP := math.Sincos(phi)
			p := r3.Vec{X: sinT * cosP, Y: sinT * sinP, Z: -cosT}
			e1 := r3.Vec{X: cosT * cosP, Y: cosT * sinP, Z: sinT}
			e2 := r3.Vec{X: -sinP, Y: cosP}
			step := r3.Add(r3.Scale(math.Cos(dir), e1), r3.Scale(math.Sin(dir), e2))
			const h = 2e-4
			along := func(s float64) (float64, float64) {
				x, y, ok := c.Project(r3.Add(r3.Scale(math.Cos(s), p), r3.Scale(math.Sin(s), step)))
				require.True(t, ok, "%v: not imaged near %v", m, theta)
				return x, y
			}
			x0, y0 := along(-h)
			x1, y1 := along(0)
			x2, y2 := along(h)
			got := max(math.Abs(x0-2*x1+x2), math.Abs(y0-2*y1+y2)) / (h * h)
			if bound := g.bend(theta + h); got > bound*(1+1e-9)+1e-5 {
				t.Fatalf("%v: second derivative %v at %v, bound %v", m, got, theta, bound)
			}
		}
	}
}

// Work that is cut short leaves a bound that holds, and a smaller tolerance never gives
// a larger bound.
func TestWalkCutShort(t *testing.T) {
	c, err := projection.NewCamera(projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 1 << 12, Height: 1 << 12, MaxAngle: 60 * projection.Degree, Pose: projection.Pose{Heading: 1}})
	require.NoError(t, err)
	a, err := New(Spec{Cameras: []projection.Camera{c}})
	require.NoError(t, err)
	for _, keep := range []bool{false, true} {
		last := math.Inf(1)
		for tolerance := 1e-1; tolerance > 1e-9; tolerance /= 2 {
			w := a.walk(tolerance, func(e float64) *walker {
				return &walker{regions: a.regions, finest: e, coarsest: holeGrain, most: 3000, keep: keep}
			})
			require.LessOrEqual(t, w.err, last, "tolerance %g", tolerance)
			last = w.err
		}
		for _, most := range []int{10, 100, 1000, 20000} {
			w := a.walk(1e-12, func(e float64) *walker {
				return &walker{regions: a.regions, finest: e, coarsest: holeGrain, most: most, keep: keep}
			})
			// Each triangle on the way down has three more to be visited.
			if w.nodes > most+8+3*maxDepth || !(w.err > 1e-12) {
				t.Errorf("%d triangles of %d, an error of %v", w.nodes, most, w.err)
			}
			// Kept are the pieces not seen; of a triangle given up there are none.
			got := w.area[0]
			if keep {
				got = 0
				for _, p := range w.pieces {
					got += p.area
				}
			}
			if off := math.Abs(got - 3*math.Pi); off > w.err {
				t.Errorf("after %d triangles %v sr are not seen, off by %v with a bound of %v", w.nodes, got, off, w.err)
			}
			if most == 20000 && !(w.err < 1e-3) {
				t.Errorf("20000 triangles leave an error of %v", w.err)
			}
		}
	}
}

// A last step of next to no length does not spoil the bounds of samples.
func TestBendOfAShortStep(t *testing.T) {
	ends := []float64{1e-9, 0.4 * bendStep}
	for k := 10.0; k < 600; k += 10 {
		ends = append(ends, k*bendStep, k*bendStep*(1+4e-16), k*bendStep*(1+1e-15))
	}
	for _, end := range ends {
		c, err := projection.NewCamera(projection.CameraSpec{Model: cubic{}, FocalX: 1000, FocalY: 1000, Width: 100, Height: 100, MaxAngle: unit.Angle(end)})
		require.NoError(t, err)
		g := newRegion(c)
		// Of r = θ − θ³/30, r″ is −θ/5; with the other terms the norm stays below 1.3 θ.
		if got := g.bend(end); !(got > 0.1*end && got < 1.3*max(end, bendStep)) {
			t.Errorf("a model that ends at %v: bound %v", end, got)
		}
		if got := g.fine[len(g.fine)-1]; !(got > 0.9*(1-end*end/10)) {
			t.Errorf("a model that ends at %v: density %v", end, got)
		}
	}
}

// What density says of a cap holds at points of the cap: that they are seen, and no
// less finely; and for small caps it says nearly all there is.
func TestDensityOfCaps(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(15, 16))
	var regions []region
	for _, m := range append(measured(t), projection.Rectilinear, projection.Stereographic, projection.Equidistant, projection.Equisolid, projection.Orthographic) {
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, FocalX: 1000, FocalY: 1000, Width: 2600, Height: 2200, OffsetX: 40,
			Pose: projection.Pose{Heading: 0.3, Elevation: -0.4, Roll: 0.5}})
		require.NoError(t, err)
		regions = append(regions, newRegion(c))
	}
	for _, g := range append(regions, calibratedRegions(t)...) {
		m := g.c.model
		s, _ := Ball{Centre: r3.Vec{X: 1, Z: -4}, Radius: 0.5}.shadow(r3.Vec{})
		g.shadows = []shadow{s}
		bounded, tight := 0, 0
		for range 6000 {
			p := someDir(rng)
			rho := math.Pow(10, -4*rng.Float64()) / 2
			bound := g.density(p, rho, nil)
			if bound == 0 {
				continue
			}
			bounded++
			_, at := g.look(p)
			if rho < 1e-3 && bound/float64(1/projection.Degree) > 0.995*at {
				tight++
			}
			for range 20 {
				sin, cos := math.Sincos(rho * math.Sqrt(rng.Float64()))
				q := r3.Add(r3.Scale(cos, p), r3.Scale(sin, sphere.Unit(r3.Cross(p, someDir(rng)))))
				if margin, d := g.look(q); margin < -1e-6 || d < bound*float64(projection.Degree)*(1-1e-9) {
					t.Fatalf("%T %v: %v has %v px/° and a margin of %v px, in a cap of %v said to have %v", m, m, q, d, margin, rho, bound*float64(projection.Degree))
				}
			}
		}
		if bounded < 200 || tight < 10 {
			t.Errorf("%T %v: %d caps bounded, %d tight: the test has lost its grip", m, m, bounded, tight)
		}
	}
}
