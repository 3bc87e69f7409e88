package rig_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const deg = projection.Degree

// coverage is Coverage of good input, and whether the tolerance is met.
func coverage(t testing.TB, a rig.Rig, tolerance float64) (rig.Coverage, bool) {
	t.Helper()
	c, err := a.Coverage(tolerance)
	require.NoError(t, err)
	require.Equal(t, c.Error <= tolerance, c.OK)
	return c, c.OK
}

// holesOf is Holes of good input, and whether the tolerance is met.
func holesOf(t testing.TB, a rig.Rig, tolerance float64) ([]rig.Hole, bool) {
	t.Helper()
	holes, sum, err := a.Holes(tolerance)
	require.NoError(t, err)
	require.Equal(t, sum.Error <= tolerance, sum.OK)
	whole := 0.0
	for _, h := range holes {
		whole += h.SolidAngle
	}
	require.InDelta(t, whole, sum.Value, 1e-12)
	return holes, sum.OK
}

func array(t testing.TB, cameras ...projection.Camera) rig.Rig {
	t.Helper()
	a, err := rig.New(rig.Spec{Cameras: cameras})
	require.NoError(t, err)
	return a
}

// cube is a view of 90° square to each side: ahead, right, behind, left, up,
// down.
func cube(t testing.TB) []projection.Camera {
	t.Helper()
	var faces []projection.Camera
	for _, p := range []projection.Pose{{}, {Heading: 90 * deg}, {Heading: 180 * deg}, {Heading: -90 * deg}, {Elevation: 90 * deg}, {Elevation: -90 * deg}} {
		c, err := projection.NewView(projection.ViewSpec{Width: 1000, Height: 1000, Across: 90 * deg, Pose: p})
		require.NoError(t, err)
		faces = append(faces, c)
	}
	return faces
}

// round is a camera that sees a cap.
func round(t testing.TB, f projection.Form, focal float64, alpha, heading unit.Angle) projection.Camera {
	t.Helper()
	return trial.Camera(t, projection.CameraSpec{Model: f, FocalX: focal, FocalY: focal, Width: 1 << 16, Height: 1 << 16,
		MaxAngle: alpha, Pose: projection.Pose{Heading: heading, Roll: 20 * deg}})
}

func TestCoverageOfKnownShapes(t *testing.T) {
	near.NumbersOnly(t)
	// seenBy checks the solid angle that k cameras see, that the tolerance is met,
	// and that the bound of the error holds.
	seenBy := func(id string, a rig.Rig, tolerance float64, k int, want float64, which ...any) {
		t.Helper()
		c, ok := coverage(t, a, tolerance)
		if !ok || !(c.Error <= tolerance) {
			t.Errorf("%s (%v): tolerance %g not met: %g", id, which, tolerance, c.Error)
			return
		}
		got := c.AtLeast[k-1]
		ref.Near(t, id, got, want, which...)
		if id != "P-W5" { // a sum that is not exact itself
			assert.InDelta(t, want, got, c.Error+1e-11, "%s %v: the bound reported, and 12 digits of the reference", id, which)
		}
	}
	for _, r := range []struct{ w, h, d, want float64 }{
		{1, 1, 1, 0.805431683161}, {10, 5, 3, 2.32444728037}, {6, 3, 2, 2.0908403519}, {12, 4, 4, 1.52509995154}, {2, 2, 1, 2 * math.Pi / 3},
	} {
		c, err := projection.NewView(projection.ViewSpec{Width: int(600 * r.w), Height: int(600 * r.h),
			Across: unit.Angle(2 * math.Atan(r.w/2/r.d)), Pose: projection.Pose{Heading: 77 * deg, Elevation: 12 * deg, Roll: 5 * deg}})
		require.NoError(t, err)
		seenBy("P-W1", array(t, c), 1e-9, 1, r.want, r)
	}
	faces := cube(t)
	seenBy("P-W1", array(t, faces...), 1e-9, 1, 4*math.Pi, "cube")
	seenBy("P-W1", array(t, append(faces, cube(t)...)...), 1e-9, 2, 4*math.Pi, "two cubes")

	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		for _, alpha := range []unit.Angle{2, 20, 45, 70, 89, 90, 110, 150, 179} {
			if alpha*deg > f.MaxAngle() || (f == projection.Rectilinear && alpha > 80) {
				continue
			}
			// 2 sin²(α/2) is 1 − cos α without cancellation.
			s := math.Sin(float64(alpha*deg) / 2)
			seenBy("P-W2", array(t, round(t, f, 100, alpha*deg, 33*deg)), 1e-5, 1, 4*math.Pi*s*s, f, alpha)
		}
	}
	for _, e := range []struct{ alpha, beta float64 }{{50, 60}, {90, 30}, {110, 45}, {100, 160}, {70, 139}} {
		alpha, beta := e.alpha*float64(deg), e.beta*float64(deg)
		cosPsi := math.Tan(beta/2) / math.Tan(alpha)
		cosOmega := (math.Cos(beta) - math.Cos(alpha)*math.Cos(alpha)) / (math.Sin(alpha) * math.Sin(alpha))
		want := 2*math.Pi - 2*math.Acos(cosOmega) - 4*math.Acos(cosPsi)*math.Cos(alpha)
		a := array(t, round(t, projection.Equisolid, 500, unit.Angle(alpha), 170*deg), round(t, projection.Equidistant, 300, unit.Angle(alpha), 170*deg-unit.Angle(beta)))
		seenBy("P-W3", a, 1e-6, 2, want, e)
	}
	equal := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1100, Width: 2400, Height: 1500, OffsetX: 100, OffsetY: -40,
		Pose: projection.Pose{Heading: 1, Elevation: 0.3, Roll: 0.2}})
	seenBy("P-W4", array(t, equal), 1e-6, 1, 2.4*1.5/1.1, "equisolid")
	// The corners go beyond the rim.
	inscribed := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000})
	seenBy("P-W4", array(t, inscribed), 1e-6, 1, 4*math.Pi, "the whole sphere")

	for _, m := range []projection.Model{projection.Stereographic, projection.Equidistant, projection.Orthographic, trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}} {
		c := trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 1000, FocalY: 1000, Width: 1400, Height: 1000, OffsetX: 50, OffsetY: 20,
			Pose: projection.Pose{Heading: 2, Elevation: 0.3}})
		sum := 0.0
		for x := 2.0; x < 1400; x += 4 {
			for y := 2.0; y < 1000; y += 4 {
				d, ok := c.Unproject(x, y)
				require.True(t, ok, "a corner is not imaged")
				density, _ := c.Density(d)
				sum += 16 * float64(deg*deg) / (density.Radial * density.Tangential)
			}
		}
		seenBy("P-W5", array(t, c), 1e-6, 1, sum, m)
	}
}

// ferry is the demo's plate rig: six fisheyes around the wheelhouse roof.
func ferry(t testing.TB) []projection.Camera {
	t.Helper()
	var rig []projection.Camera
	for i := range 6 {
		rig = append(rig, trial.Camera(t, projection.CameraSpec{
			Model: projection.Equidistant, FocalLength: 10e-3, Pitch: 3.2e-6, Width: 8192, Height: 6144,
			ImageCircle: 25e-3, OffsetX: 12, OffsetY: -7,
			Pose: projection.Pose{Heading: 60 * deg * unit.Angle(i), Elevation: 10 * deg, Roll: unit.Angle(i) * deg},
		}))
	}
	return rig
}

// Coverage agrees, within its bound, with the integral around the raster, for cameras
// of all kinds.
func TestCoverageAgainstSolidAngle(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	model := func(k int) projection.Model {
		switch {
		case k < 5:
			return projection.Rectilinear + projection.Form(k)
		case k == 5:
			m, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, between(-0.2, 0.1), between(-0.05, 0.05), between(-0.005, 0.01)}})
			require.NoError(t, err)
			return m
		}
		n, end := 5+rng.IntN(12), between(0.5, math.Pi)
		points := make([]projection.TablePoint, n)
		for i := range points {
			theta := end * float64(i+1) / float64(n)
			points[i] = projection.TablePoint{Angle: unit.Angle(theta), Height: 2.2*math.Sin(theta/2.2) + between(-0.01, 0.01)*end/float64(n)}
		}
		m, err := projection.NewTable(points)
		require.NoError(t, err)
		return m
	}
	blind, met := 0, 0
	for k := range 140 {
		f := between(300, 3000)
		spec := projection.CameraSpec{Model: model(k % 7), FocalX: f, FocalY: f * between(0.7, 1.4), Pitch: 5e-6,
			Width: 200 + rng.IntN(6000), Height: 200 + rng.IntN(6000), OffsetX: between(-1500, 1500), OffsetY: between(-1500, 1500),
			Pose: projection.Pose{Heading: unit.Angle(between(-3, 3)), Elevation: unit.Angle(between(-1.5, 1.5)), Roll: unit.Angle(between(-3, 3))}}
		if rng.IntN(2) == 0 {
			spec.ImageCircle = unit.Length(5e-6 * f * between(0.5, 4))
		}
		if rng.IntN(3) == 0 {
			spec.MaxAngle = spec.Model.MaxAngle() * unit.Angle(between(0.1, 0.99))
		}
		cam := trial.Camera(t, spec)
		want, ok := cam.SolidAngle(0, 0, float64(spec.Width), float64(spec.Height))
		require.True(t, ok, "%+v: no solid angle", spec)
		c, ok := coverage(t, array(t, cam), 3e-4)
		if ok {
			met++
		}
		if want == 0 {
			blind++
		}
		assert.InDelta(t, want, c.AtLeast[0], c.Error+1e-10, "%d: %+v: the bound reported, and the integral's", k, spec)
	}
	assert.True(t, met >= 138 && blind <= 20, "%d within the tolerance, %d blind: the test has lost its grip", met, blind)
}

// The bound holds for a table so dense and noisy that its curve turns from point to
// point; the sum is ∮ (1 − cos θ) dφ by the midpoint rule.
func TestCoverageOfANoisyTable(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	points := make([]projection.TablePoint, 900)
	for i := range points {
		theta := float64(i+1) * math.Pi / 1800
		points[i] = projection.TablePoint{Angle: unit.Angle(theta), Height: 2*math.Sin(theta/2) + 1e-4*rng.NormFloat64()}
	}
	m, err := projection.NewTable(points)
	require.NoError(t, err)
	cam := trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 1000, FocalY: 1000, Width: 2000, Height: 1500})
	c, ok := coverage(t, array(t, cam), 1e-3)
	assert.True(t, ok, "the tolerance is not met: %v", c)
	sum := 0.0
	for _, side := range [2][2]float64{{1, 0.75}, {0.75, 1}} { // twice each
		const n = 100_000
		d, step := side[0], 2*side[1]/n
		for i := range n {
			u := (float64(i)+0.5)*step - side[1]
			theta, ok := m.Angle(math.Hypot(d, u))
			require.True(t, ok, "a corner is not imaged")
			s := math.Sin(float64(theta) / 2)
			sum += 2 * 2 * s * s * d / (d*d + u*u) * step
		}
	}
	assert.InDelta(t, sum, c.AtLeast[0], c.Error+1e-7, "solid angle: the bound reported, and the sum's steps of 2e-5")
}

// Coverage agrees with counting at random directions.
func TestCoverageAgainstCounting(t *testing.T) {
	a := array(t, ferry(t)...)
	c, ok := coverage(t, a, 1e-4)
	require.True(t, ok, "tolerance not met")
	countedCoverage(t, a, c, 200_000)
}

// countedCoverage checks a coverage by counting the cameras at n random directions.
func countedCoverage(t *testing.T, a rig.Rig, c rig.Coverage, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 4))
	hits := make([]float64, len(c.AtLeast))
	for range n {
		for k := range a.Count(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}) {
			hits[k]++
		}
	}
	for k, got := range c.AtLeast {
		p := hits[k] / float64(n)
		deviation := math.Sqrt(p * (1 - p) / float64(n))
		assert.InDelta(t, 4*math.Pi*p, got, 4*math.Pi*5*deviation+c.Error, "seen by %d: five standard deviations of counting, and the bound reported", k+1)
		if k > 0 && got > c.AtLeast[k-1] {
			t.Errorf("more is seen by %d than by %d", k+1, k)
		}
	}
}

func TestHolesOfACube(t *testing.T) {
	faces := cube(t)
	holes, ok := holesOf(t, array(t, faces[:4]...), 1e-6)
	require.True(t, ok && len(holes) == 2, "got %d holes, %v", len(holes), ok)
	for _, h := range holes {
		ref.Near(t, "P-H1", h.SolidAngle, 2*math.Pi/3)
		ref.Near(t, "P-H1", float64(h.Radius), math.Acos(1/math.Sqrt(3)))
		ref.Near(t, "P-H1", math.Abs(h.Centre.Y), 1)
	}
	assert.True(t, holes[0].Centre.Y*holes[1].Centre.Y <= 0, "both holes lie on one side")
	if holes, ok := holesOf(t, array(t, faces...), 1e-6); !ok || len(holes) != 0 {
		t.Errorf("a whole cube has holes: %v, %v", holes, ok)
	}
	// What five faces leave is the sixth, and what one leaves lies around behind.
	holes, _ = holesOf(t, array(t, faces[1:]...), 1e-6)
	assert.True(t, len(holes) == 1 && r3.Norm(r3.Sub(holes[0].Centre, r3.Vec{Z: -1})) <= 1e-6, "got %v, want the face ahead", holes)
	holes, _ = holesOf(t, array(t, faces[0]), 1e-6)
	assert.True(t, len(holes) == 1 && r3.Norm(r3.Sub(holes[0].Centre, r3.Vec{Z: 1})) <= 1e-4 && math.Abs(holes[0].SolidAngle-10*math.Pi/3) <= 1e-6, "got %v, want all but the face ahead", holes)
}

// A hole that is all but small parts of the sphere reaches to opposite its centre,
// unless one of them is there: then to the limit of that.
func TestRadiusOfLargeHoles(t *testing.T) {
	for _, roll := range []unit.Angle{0, 7 * deg, 31 * deg} {
		small := func(heading, elevation unit.Angle) projection.Camera {
			c, err := projection.NewView(projection.ViewSpec{Width: 1000, Height: 800, Across: 10 * deg, Pose: projection.Pose{Heading: heading, Elevation: elevation, Roll: roll}})
			require.NoError(t, err)
			return c
		}
		for _, e := range []struct {
			name   string
			middle r3.Vec // of what is seen
			of     rig.Rig
			want   unit.Angle
		}{
			{"60° apart", r3.Unit(r3.Add(trial.Toward(20, 10), trial.Toward(80, 10))), array(t, small(20*deg, 10*deg), small(80*deg, 10*deg)), 180 * deg},
			{"one above the other", trial.Toward(-50, 35), array(t, small(-50*deg, 5*deg), small(-50*deg, 65*deg)), 180 * deg},
			{"one alone", trial.Toward(33, -40), array(t, small(33*deg, -40*deg)), 180*deg - unit.Angle(math.Atan(0.8*math.Tan(float64(5*deg))))},
			{"a cap", trial.Toward(77, 0), array(t, round(t, projection.Equisolid, 1000, 30*deg, 77*deg)), 150 * deg},
		} {
			holes, ok := holesOf(t, e.of, 1e-4)
			require.True(t, ok && len(holes) == 1, "%s: %v, %v", e.name, holes, ok)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(holes[0].Centre, r3.Scale(-1, e.middle))), 5e-3, "%s, centre: the tolerance over the moment of a small part, 0.024 sr", e.name)
			assert.InDelta(t, float64(e.want), float64(holes[0].Radius), float64(0.3*deg), "%s: the doc comment", e.name)
		}
	}
}

// Holes and coverage are found by different walks: together they are the sphere.
func TestHolesCompleteTheSphere(t *testing.T) {
	a := array(t, ferry(t)...)
	c, _ := coverage(t, a, 1e-5)
	holes, ok := holesOf(t, a, 1e-5)
	require.True(t, ok && len(holes) == 2, "got %d holes, %v; want the top and the bottom", len(holes), ok)
	sum := c.AtLeast[0]
	for i, h := range holes {
		sum += h.SolidAngle
		assert.True(t, a.Count(h.Centre) == 0, "hole %d: its centre is seen", i)
		if i > 0 && h.SolidAngle > holes[i-1].SolidAngle {
			t.Error("the holes are not in order")
		}
	}
	assert.InDelta(t, 4*math.Pi, sum, 2e-5, "seen and not seen: two tolerances")
	assert.True(t, holes[0].Centre.Y < -0.99 && holes[1].Centre.Y > 0.99, "got %v, want the larger hole below", holes)
}

// A camera whose image circle misses its raster sees nothing.
func TestBlindArray(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1000, FocalY: 1000, Width: 100, Height: 100, OffsetX: 2000, MaxAngle: 30 * deg})
	a := array(t, c)
	cov, ok := coverage(t, a, 1e-5)
	assert.True(t, ok && cov.AtLeast[0] == 0, "got %v, %v", cov, ok)
	holes, ok := holesOf(t, a, 1e-5)
	assert.True(t, ok && len(holes) == 1 && math.Abs(holes[0].SolidAngle-4*math.Pi) <= 1e-5, "got %v, %v", holes, ok)
	assert.True(t, a.Count(r3.Vec{Z: -1}) == 0, "it sees ahead")
}

func TestBestAndCount(t *testing.T) {
	faces := cube(t)
	a := array(t, faces...)
	for i, d := range []r3.Vec{{Z: -1}, {X: 1}, {Z: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
		got, density, ok := a.Best(r3.Scale(3, d))
		assert.True(t, ok && got == i, "%v: camera %d, %v; want %d", d, got, ok, i)
		ref.Near(t, "P-N1", density, 500*math.Pi/180, d)
		ref.Near(t, "P-N1", float64(a.Count(d)), 1, d)
	}
	// The corner of the cube belongs to three faces.
	corner := r3.Vec{X: 1, Y: 1, Z: -1}
	ref.Near(t, "P-N1", float64(a.Count(corner)), 3)
	_, _, ok := a.Best(corner)
	assert.True(t, ok, "edges are included")
	assert.True(t, a.Count(r3.Vec{}) == 0 && a.Count(r3.Vec{X: math.NaN()}) == 0, "no direction is seen")
	// Equal cameras: the greater margin, whatever the order.
	left, right := round(t, projection.Equidistant, 500, 100*deg, -30*deg), round(t, projection.Equidistant, 500, 100*deg, 30*deg)
	for i, a := range []rig.Rig{array(t, left, right), array(t, right, left)} {
		got, _, _ := a.Best(trial.Toward(10, 5))
		assert.True(t, got == 1-i, "camera %d, want the right one", got)
	}
	// The finer camera, though its margin is smaller.
	fine := round(t, projection.Equidistant, 600, 45*deg, 0)
	if got, density, _ := array(t, left, right, fine).Best(trial.Toward(44, 0)); got != 2 || math.Abs(density-600*math.Pi/180) > 1e-9 {
		t.Errorf("camera %d at %v px per degree", got, density)
	}
}

func TestPushInOfConstantDensity(t *testing.T) {
	const d = 4000.0 // px/rad: 69.8 px/°
	a := array(t, round(t, projection.Equidistant, d, 100*deg, 40*deg))
	for _, e := range []struct {
		dir  r3.Vec
		w, h int
	}{{trial.Toward(40, 0), 1920, 1080}, {trial.Toward(10, 5), 1920, 1080}, {trial.Toward(60, -20), 2048, 858}} {
		p, ok := a.PushIn(e.dir, e.w)
		whole, v, err := a.PushInFrame(e.dir, e.w, e.h)
		require.NoError(t, err)
		require.True(t, ok && v.OK)
		require.InDelta(t, 1, v.Factor, 2e-6, "the narrowest has just enough")
		require.Equal(t, [2]float64{float64(e.w) / 2, float64(e.h) / 2}, [2]float64{math.Abs(v.X - float64(e.w)/2), math.Abs(v.Y - float64(e.h)/2)}, "a corner sets it")
		r := math.Hypot(float64(e.w), float64(e.h)) / 2
		f := d/2 + math.Sqrt(d*d/4-r*r)
		ref.Near(t, "P-P1", p.Density, d*math.Pi/180, e, "density")
		ref.Near(t, "P-P1", float64(p.Across), 2*math.Atan(float64(e.w)/2/d), e, "centre")
		ref.Near(t, "P-P1", float64(whole), 2*math.Atan(float64(e.w)/2/f), e, "whole")
	}
	// More pixels than any view can have in its corners: D·F/(F² + R²) is greatest at
	// F = R. Off the axis a wide view reaches beyond the rim, but the best does not.
	for _, h := range []float64{40, 85, -5} {
		whole, v, err := a.PushInFrame(trial.Toward(h, 0), 3840, 2160)
		require.NoError(t, err)
		require.Equal(t, rig.TooFewPixels, v.Limit, "%v°", h)
		require.False(t, v.OK)
		r := math.Hypot(3840, 2160) / 2
		require.InEpsilon(t, d/(2*r), v.Factor, 1e-3, "%v°: as documented", h)
		require.InEpsilon(t, 2*math.Atan(1920/r), float64(whole), 0.05, "%v°: the factor is flat there", h)
	}
	// A view at 5° from the rim is seen as long as its corners are inside of it.
	whole, v, err := a.PushInFrame(trial.Toward(40+95, 0), 1920, 1080)
	require.NoError(t, err)
	require.Equal(t, rig.TooFewPixels, v.Limit)
	require.InEpsilon(t, 10, float64(whole/deg), 0.01, "the rim is almost straight there")
	// One of whose views each leaves what is seen.
	whole, v, err = a.PushInFrame(trial.Toward(40+99.999, 0), 1920, 1080)
	require.NoError(t, err)
	require.Zero(t, whole)
	require.Equal(t, rig.Unseen, v.Limit)
	require.Equal(t, -1, v.Camera)
	require.Zero(t, a.Count(v.Dir), "%+v", v)
	// And one whose centre does.
	whole, v, err = a.PushInFrame(trial.Toward(-100, 0), 1920, 1080)
	require.NoError(t, err)
	require.Zero(t, whole)
	require.Equal(t, rig.Unseen, v.Limit)
	require.Equal(t, [2]float64{960, 540}, [2]float64{v.X, v.Y})
	require.Equal(t, -1, v.Camera)
	for _, e := range []struct {
		dir  r3.Vec
		w, h int
	}{{r3.Vec{}, 1920, 1080}, {r3.Vec{X: math.NaN()}, 10, 10}, {trial.Toward(40, 0), 0, 10}, {trial.Toward(40, 0), 10, 1<<24 + 1}, {trial.Toward(40, 0), -1, 10}} {
		if p, ok := a.PushIn(e.dir, e.w); ok && e.w >= 1 && e.h >= 1 && e.h <= 1<<24 {
			t.Errorf("%v: got %+v", e, p)
		}
		whole, v, err := a.PushInFrame(e.dir, e.w, e.h)
		require.ErrorIs(t, err, rig.ErrInvalid, "%v", e)
		require.True(t, whole == 0 && v == rig.Verdict{}, "%v", e)
	}
}

// The view that PushInFrame gives does have a source pixel for each of its own, by
// mapping neighbouring positions.
func TestPushInHoldsByMapping(t *testing.T) {
	cam := ferry(t)[0]
	a := array(t, cam)
	dir := trial.Toward(15, 20)
	const w, h = 1920, 1080
	whole, verdict, err := a.PushInFrame(dir, w, h)
	require.NoError(t, err)
	require.True(t, verdict.OK)
	v, err := projection.NewView(projection.ViewSpec{Width: w, Height: h, Across: whole, Pose: projection.Pose{Heading: 15 * deg, Elevation: 20 * deg}})
	require.NoError(t, err)
	least := math.Inf(1)
	source := func(x, y float64) (float64, float64) {
		d, _ := v.Unproject(x, y)
		sx, sy, ok := cam.Project(d)
		require.True(t, ok, "the frame leaves what is seen")
		return sx, sy
	}
	for i := range 17 {
		for j := range 17 {
			x, y := w*float64(i)/16, h*float64(j)/16
			for k := range 16 {
				s, c := math.Sincos(float64(k) * math.Pi / 16)
				x0, y0 := source(x-c/2, y-s/2)
				x1, y1 := source(x+c/2, y+s/2)
				least = min(least, math.Hypot(x1-x0, y1-y0))
			}
		}
	}
	assert.True(t, least > 1-1e-4 && least < 1.02, "the least is %v source pixels per delivered pixel", least)
}

func TestRigRefuses(t *testing.T) {
	for name, cameras := range map[string][]projection.Camera{
		"none": nil, "zero": {{}}, "too many": make([]projection.Camera, 65), "one zero": append(cube(t), projection.Camera{}),
	} {
		if _, err := rig.New(rig.Spec{Cameras: cameras}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	a := array(t, cube(t)...)
	for _, tolerance := range []float64{0, -1, math.NaN()} {
		c, err := a.Coverage(tolerance)
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, "tolerance")
		assert.Zero(t, c)
		holes, sum, err := a.Holes(tolerance)
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, "tolerance")
		assert.True(t, holes == nil && sum == rig.SolidAngle{})
	}
	var zero rig.Rig
	_, err := zero.Coverage(1)
	assert.ErrorContains(t, err, "number of cameras")
	_, _, err = zero.Holes(1)
	assert.ErrorContains(t, err, "number of cameras")
	_, _, okB := zero.Best(r3.Vec{X: 1})
	_, okP := zero.PushIn(r3.Vec{X: 1}, 10)
	assert.True(t, !okB && !okP && zero.Count(r3.Vec{X: 1}) == 0 && zero.Seams() == nil, "the zero Rig sees")
}

// A tolerance below the rounding is not met, with a bound that holds.
func TestCoverageBelowRounding(t *testing.T) {
	c, ok := coverage(t, array(t, cube(t)[0]), 1e-300)
	assert.True(t, !ok && c.Error < 1e-12, "got %v, %v", c, ok)
	assert.InDelta(t, 2*math.Pi/3, c.AtLeast[0], c.Error, "a face: the bound reported")
	holes, ok := holesOf(t, array(t, cube(t)[0]), 1e-300)
	assert.True(t, !ok && len(holes) == 1, "holes %v, %v", holes, ok)
}

// The image of a lens without MaxAngle ends in a rim that is one direction, behind
// the camera. Where the raster cuts the rim, the limits meet there.
func TestCoverageToTheRim(t *testing.T) {
	near.NumbersOnly(t)
	for _, spec := range []projection.CameraSpec{
		{Model: projection.Equisolid, FocalLength: 8e-3, Pitch: 6e-6, Width: 6000, Height: 4000},
		{Model: projection.Equidistant, FocalLength: 5e-3, Pitch: 6e-6, Width: 6000, Height: 4000},
		{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 5000, Height: 3960}, // 99 % of its height
		{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 4100, Height: 3999},
		{Model: projection.Equisolid, FocalX: 1000, FocalY: 1200, Width: 1000, Height: 1000, OffsetX: -1700, OffsetY: 300},
	} {
		spec.Pose = projection.Pose{Heading: 0.7, Elevation: 0.3, Roll: 0.1}
		cam := trial.Camera(t, spec)
		want, ok := cam.SolidAngle(0, 0, float64(spec.Width), float64(spec.Height))
		require.True(t, ok, "no solid angle")
		a := array(t, cam)
		for _, tolerance := range []float64{1e-3, 1e-5} {
			c, ok := coverage(t, a, tolerance)
			assert.True(t, ok && c.Error <= tolerance, "%+v: %v sr is not met: %v", spec, tolerance, c)
			assert.InDelta(t, want, c.AtLeast[0], c.Error+1e-10, "%+v: the bound reported, and the integral's error", spec)
		}
		holes, ok := holesOf(t, a, 1e-5)
		sum := 0.0
		for _, h := range holes {
			sum += h.SolidAngle
		}
		assert.True(t, ok, "%+v: the tolerance of holes is not met", spec)
		assert.InDelta(t, 4*math.Pi-want, sum, 1e-5, "holes of %+v: the tolerance stated", spec)
	}
	// A raster that the rim does not reach.
	cov, ok := coverage(t, array(t, trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1000, FocalY: 1000, Width: 100, Height: 100, OffsetX: 1 << 30})), 1e-5)
	assert.True(t, ok && cov.AtLeast[0] == 0, "a blind camera sees %v, %v", cov, ok)
}

func TestHostileArguments(t *testing.T) {
	hostile.Calls(t, []any{unit.Angle(0.1), 16}, rig.EquivalentFocalLength)
}

// halfway is a distortion that ends inside the raster without saying where.
type halfway struct{ none }

func (halfway) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return 1, 0, 0, 1, math.Hypot(x, y) < 0.3
}

// none is a distortion that moves nothing.
type none struct{}

func (none) Distort(x, y float64) (u, v float64, ok bool)            { return x, y, true }
func (none) Undistort(u, v float64) (x, y float64, ok bool)          { return u, v, true }
func (none) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) { return 1, 0, 0, 1, true }

func TestDistortionWithAnUnknownEndIsRefused(t *testing.T) {
	spec := projection.CameraSpec{Model: projection.Rectilinear, Distortion: none{}, FocalX: 100, FocalY: 100, Width: 100, Height: 100}
	_, err := rig.New(rig.Spec{Cameras: []projection.Camera{trial.Camera(t, spec)}})
	assert.NoError(t, err)
	spec.Distortion = halfway{}
	_, err = rig.New(rig.Spec{Cameras: []projection.Camera{trial.Camera(t, spec)}})
	assert.ErrorIs(t, err, rig.ErrInvalid)
	assert.ErrorContains(t, err, "camera 0 with distortion")
}

// A bare 90 is 90 rad: a box refuses it, and asks for degrees.
func TestTurnsBeyondOneAreRefused(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1, FocalY: 1, Width: 2, Height: 2})
	for field, p := range map[string]projection.Pose{"heading": {Heading: 90}, "elevation": {Elevation: -45}, "roll": {Roll: 90}} {
		p.Position = r3.Vec{X: 9}
		_, err := rig.New(rig.Spec{Cameras: []projection.Camera{c}, Boxes: []rig.Box{{Pose: p, Width: 1, Height: 1, Depth: 1}}})
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, field)
		assert.ErrorContains(t, err, "*Degree meant?")
	}
}
