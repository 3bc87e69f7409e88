package rig_test

import (
	"math"
	"math/rand/v2"
	"testing"

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

// pair is two cameras of 4000 and 3000 px/rad all over that look to the left and
// to the right, at positions.
func pair(t testing.TB, left, right r3.Vec) rig.Rig {
	t.Helper()
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 4000, FocalY: 4000, Width: 20000, Height: 20000, MaxAngle: 100 * deg,
		Pose: projection.Pose{Position: left, Heading: -30 * deg}}
	a := trial.Camera(t, spec)
	spec.FocalX, spec.FocalY, spec.Pose = 3000, 3000, projection.Pose{Position: right, Heading: 30 * deg}
	return array(t, a, trial.Camera(t, spec))
}

func TestParallaxOfKnownGeometry(t *testing.T) {
	level := pair(t, r3.Vec{X: -0.16, Y: 2, Z: 5}, r3.Vec{X: 0.16, Y: 2, Z: 5})
	for _, e := range []struct{ distance, want float64 }{
		{0.1, 2.02439402290267}, {0.16, math.Pi / 2}, {1, 0.317310524372803}, {5, 0.0639781680786302}, {20, 0.0159996586797733}, {100, 0.00319999726933753}, {math.Inf(1), 0},
	} {
		p, ok := level.Parallax(0, 1, r3.Vec{Z: -7}, unit.Length(e.distance))
		back, ok2 := level.Parallax(1, 0, r3.Vec{Z: -7}, unit.Length(e.distance))
		assert.True(t, ok && ok2 && p == back, "%v m: %v, %v and, the other way, %v, %v", e.distance, p, ok, back, ok2)
		ref.Near(t, "P-B1", float64(p.Angle), e.want, e.distance)
	}
	oblique := array(t, sphere(t, r3.Vec{X: 1, Y: 2, Z: 3}), sphere(t, r3.Vec{X: 1.2, Y: 2.1, Z: 3.4}))
	p, _ := oblique.Parallax(0, 1, r3.Vec{X: 1, Y: 0.5, Z: -2}, 4)
	ref.Near(t, "P-B1", float64(p.Angle), 0.09760018676053701, "oblique")
	p, _ = oblique.Parallax(0, 1, r3.Vec{X: -1, Y: 0.5, Z: 0.2}, 0.15)
	ref.Near(t, "P-B1", float64(p.Angle), 1.9856694627301434, "between the cameras")

	// Along an equidistant camera's radius the images stand f·Δθ apart. The finer
	// camera looks 30° to the left, and its density across the radius, which the
	// bound takes, is that of θ/sin θ.
	p, _ = level.Parallax(0, 1, r3.Vec{Z: -1}, 20)
	ref.Near(t, "P-B2", p.Pixels, 0.0159996586797733*4000)
	end := math.Pi/6 + 0.0159996586797733/2
	ref.Near(t, "P-B5", p.Bound, 0.0159996586797733*4000*end/math.Sin(end))
	on := array(t,
		trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 4000, FocalY: 4000, Width: 20000, Height: 20000, MaxAngle: 100 * deg, Pose: projection.Pose{Position: r3.Vec{X: -0.16}}}),
		trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 3000, FocalY: 3000, Width: 20000, Height: 20000, MaxAngle: 100 * deg, Pose: projection.Pose{Position: r3.Vec{X: 0.16}}}))
	p, _ = on.Parallax(0, 1, r3.Vec{Z: -1}, 20)
	ref.Near(t, "P-B2", p.Pixels, 0.0159996586797733*4000, "on the axis")
	// A camera whose lens does not reach both ways counts with its bound.
	narrow := array(t, round(t, projection.Equidistant, 900, 40*deg, 0), trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 600, FocalY: 600,
		Width: 4000, Height: 4000, Pose: projection.Pose{Position: r3.Vec{X: 1}}}))
	p, ok := narrow.Parallax(0, 1, trial.Toward(39.9, 0), 3)
	assert.True(t, ok && p.Pixels >= 900*float64(p.Angle)*(1-1e-12) && p.Bound >= p.Pixels, "got %+v, %v", p, ok)
}

// The parallax is the angle at the thing between the ways to both cameras, by
// vectors, wherever it is; and far away 2h sin ψ over the distance.
func TestParallaxAgainstVectors(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 12))
	vec := func() r3.Vec { return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()} }
	for range 300 {
		p, q, dir := vec(), vec(), r3.Unit(vec())
		a := array(t, sphere(t, p), sphere(t, q))
		distance := 3 * rng.ExpFloat64()
		thing := r3.Add(r3.Scale(0.5, r3.Add(p, q)), r3.Scale(distance, dir))
		u, v := r3.Sub(thing, p), r3.Sub(thing, q)
		want := math.Atan2(r3.Norm(r3.Cross(u, v)), r3.Dot(u, v))
		got, ok := a.Parallax(0, 1, r3.Scale(5, dir), unit.Length(distance))
		require.True(t, ok, "not seen")
		assert.InDelta(t, want, float64(got.Angle), 1e-13*(1+r3.Norm(r3.Sub(p, q))/min(r3.Norm(u), r3.Norm(v))), "angle: roundings of the thing's position")
		far, _ := a.Parallax(0, 1, dir, 1e6)
		h := r3.Norm(r3.Cross(r3.Sub(q, p), dir))
		assert.InEpsilon(t, h, float64(far.Angle)*1e6, 1e-10, "far away: the square of 1e-6 times the cameras' distance")
		assert.InEpsilon(t, 2*parallaxAt(t, a, dir, 2e6), float64(far.Angle), 1e-10, "twice as far: the same")
	}
}

// The displacement is that of the images of a point, found by projecting it and
// looking up each plate where the other has it; and the bound holds.
func TestParallaxPixelsAgainstProject(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 72))
	checked, far := 0, 0
	for range 60 {
		a, p := someRig(t, rng, 2)
		for range 400 {
			dir := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
			distance := 0.2 / (1e-3 + rng.Float64())
			got, ok := a.Parallax(0, 1, dir, unit.Length(distance))
			if !ok {
				continue
			}
			thing := r3.Add(r3.Scale(0.5, r3.Add(p.at[0], p.at[1])), r3.Scale(distance/r3.Norm(dir), dir))
			want, whole := 0.0, true
			for _, c := range p.cameras {
				x0, y0, ok0 := c.Project(r3.Sub(thing, p.at[0]))
				x1, y1, ok1 := c.Project(r3.Sub(thing, p.at[1]))
				want, whole = max(want, math.Hypot(x1-x0, y1-y0)), whole && ok0 && ok1
			}
			if whole {
				checked++
				assert.InDelta(t, want, got.Pixels, 1e-9*(1+want), "pixels: roundings of the thing's position")
				if got.Bound < 1.5*want {
					far++
				}
			}
			// Equal where a lens does not reach, or had the bound been raised.
			if whole && !(got.Bound > got.Pixels) || !(got.Bound >= got.Pixels) {
				t.Errorf("%+v is beyond its bound", got)
			}
		}
	}
	assert.True(t, checked >= 300 && far >= checked/2, "%d checked, %d with a bound near by: the test has lost its grip", checked, far)
}

func parallaxAt(t *testing.T, a rig.Rig, dir r3.Vec, distance unit.Length) float64 {
	p, ok := a.Parallax(0, 1, dir, distance)
	require.True(t, ok, "not seen")
	return float64(p.Angle)
}

// line is a seam of the caller's own along a range of headings.
func line(from, to float64) rig.Seam {
	s := rig.Seam{A: 0, B: 1}
	for h := from; h <= to; h += 0.5 {
		s.Points = append(s.Points, rig.SeamPoint{Dir: trial.Toward(h, 0)})
	}
	return s
}

func TestSeamParallaxAndClearDistance(t *testing.T) {
	t.Parallel()
	near.NumbersOnly(t)
	a := pair(t, r3.Vec{X: -0.16}, r3.Vec{X: 0.16})
	// Straight ahead is the worst, where all three lie level with the axes.
	s := line(-20, 20)
	p, where, ok := a.SeamParallax(s, 5)
	require.True(t, ok)
	ref.Near(t, "P-B3", float64(p.Angle), 0.0639781680786302)
	ref.Near(t, "P-B3", p.Pixels, 0.0639781680786302*4000)
	require.InDelta(t, 0, r3.Norm(r3.Sub(where, trial.Toward(0, 0))), 1e-12)
	// h/tan(angle/2) for 4000·angle px.
	for _, e := range []struct{ pixels, want float64 }{
		{4000 * math.Pi / 180 / 60, 1100.07895889416}, {4000 * math.Pi / 180, 18.3341840206895},
	} {
		c, err := a.ClearDistance(s, e.pixels)
		require.NoError(t, err)
		ref.Near(t, "P-B4", float64(c.Distance), e.want, e)
		require.InDelta(t, 0, r3.Norm(r3.Sub(c.Dir, trial.Toward(0, 0))), 1e-12)
		require.Equal(t, rig.NoLimit, c.Limit)
	}

	// Along the seams of rigs: no nearer thing farther off than the distance, the limit
	// at it, and more just before it.
	tried := 0
	for _, a := range sampledRigs(t)[1:4] {
		for _, s := range a.seams {
			thin := s.Points[:0:0]
			for i := 0; i < len(s.Points); i += 20 {
				thin = append(thin, s.Points[i])
			}
			s.Points = thin
			for _, px := range []float64{0.5, 4, 60} {
				c, err := a.ClearDistance(s, px)
				require.NoError(t, err)
				require.Equal(t, rig.NoLimit, c.Limit)
				d, where := c.Distance, c.Dir
				tried++
				at, worst, ok := a.SeamParallax(s, d)
				require.True(t, ok)
				assert.InEpsilon(t, px, at.Pixels, 1e-8, "pixels at the distance: root finding to 1e-9")
				require.InDelta(t, 0, r3.Norm(r3.Sub(where, worst)), 1e-12)
				if nearer, _, _ := a.SeamParallax(s, 0.999*d); !(nearer.Pixels > px) {
					t.Errorf("nearer than %v m there are %v px, within %v", d, nearer.Pixels, px)
				}
				for farther := d * 1.001; farther < 100*d; farther *= 1.3 {
					at, _, _ := a.SeamParallax(s, farther)
					assert.True(t, at.Pixels <= px, "at %v m there are %v px, though %v m are clear for %v", farther, at.Pixels, d, px)
				}
			}
		}
	}
	assert.True(t, tried >= 20, "%d tried: the test has lost its grip", tried)

	// In line with both cameras there is no parallax beyond them.
	if p, _, ok := pair(t, r3.Vec{}, trial.Toward(65, 0)).SeamParallax(line(65, 65), 2); !ok || !(p.Angle < 1e-15) {
		t.Errorf("in line: %v, %v", p, ok)
	}
	// Two at one point.
	together := pair(t, r3.Vec{X: 3}, r3.Vec{X: 3})
	if p, _, ok := together.SeamParallax(s, 1e-3); !ok || p != (rig.Parallax{}) {
		t.Errorf("together: %v, %v", p, ok)
	}
	c, err := together.ClearDistance(s, 1e-6)
	require.NoError(t, err)
	require.Equal(t, rig.Clearance{Camera: -1}, c, "together")
	c, err = a.ClearDistance(s, 1e9)
	require.NoError(t, err)
	require.Equal(t, rig.Clearance{Camera: -1}, c, "a limit that nothing exceeds")

	c, err = a.ClearDistance(s, 1)
	require.NoError(t, err)
	require.Equal(t, -1, c.Camera, "both image all of it: %+v", c)

	// A seam that one of the lenses does not image.
	c, err = a.ClearDistance(line(-110, -100), 1)
	require.NoError(t, err)
	require.Equal(t, 1, c.Camera, "which looks 30° to the right and images 100°")
	beside := line(100, 110)
	c, err = a.ClearDistance(beside, 1)
	require.NoError(t, err)
	require.Equal(t, rig.Unseen, c.Limit)
	require.Equal(t, 0, c.Camera, "which looks 30° to the left and images 100°")
	require.Equal(t, beside.Points[0].Dir, c.Dir)
	require.Zero(t, c.Distance)
}

func TestParallaxRefuses(t *testing.T) {
	a := pair(t, r3.Vec{X: -0.16}, r3.Vec{X: 0.16})
	nan, inf := math.NaN(), math.Inf(1)
	ahead := r3.Vec{Z: -1}
	for _, e := range []struct {
		i, j     int
		dir      r3.Vec
		distance float64
	}{
		{0, 0, ahead, 1}, {-1, 0, ahead, 1}, {0, 2, ahead, 1}, {0, 1, r3.Vec{}, 1}, {0, 1, r3.Vec{X: nan}, 1}, {0, 1, r3.Vec{X: inf}, 1},
		{0, 1, ahead, 0}, {0, 1, ahead, -1}, {0, 1, ahead, nan}, {0, 1, ahead, math.Inf(-1)},
		{0, 1, trial.Toward(100, 0), 1}, // seen by one only
	} {
		p, ok := a.Parallax(e.i, e.j, e.dir, unit.Length(e.distance))
		assert.True(t, !ok && p == (rig.Parallax{}), "%v: got %v", e, p)
	}
	beside := line(100, 110)
	pole, notFinite := line(0, 10), line(0, 10)
	pole.Points[3].Dir, notFinite.Points[0].Dir = r3.Vec{}, r3.Vec{X: nan}
	other := line(0, 10)
	other.B = 9
	for _, bad := range []rig.Seam{{}, {A: 0, B: 1}, beside, pole, notFinite, other} {
		p, _, ok := a.SeamParallax(bad, 1)
		assert.True(t, !ok && p == (rig.Parallax{}), "%v: got %v", bad, p)
		c, err := a.ClearDistance(bad, 1)
		if c.Limit != rig.Unseen {
			assert.ErrorIs(t, err, rig.ErrInvalid, "%v", bad)
			assert.Zero(t, c)
		}
		assert.Zero(t, c.Distance)
	}
	s := line(0, 10)
	for _, distance := range []float64{nan, 0, -1} {
		_, _, ok := a.SeamParallax(s, unit.Length(distance))
		assert.False(t, ok, "a distance of %v", distance)
	}
	for _, limit := range []float64{0, -1, nan, inf, 5e-324, 0.9e-6} {
		c, err := a.ClearDistance(s, limit)
		assert.ErrorIs(t, err, rig.ErrInvalid, "limit %v", limit)
		assert.ErrorContains(t, err, "limit")
		assert.Zero(t, c)
	}
	for _, distance := range []float64{inf, math.MaxFloat64, 1e300, 1e-300, 5e-324} {
		p, _, ok := a.SeamParallax(s, unit.Length(distance))
		assert.True(t, ok && p.Pixels >= 0 && p.Pixels <= p.Bound && p.Bound < inf && p.Angle >= 0 && p.Angle <= math.Pi, "at %v m: %+v, %v", distance, p, ok)
	}
	var zero rig.Rig
	if _, ok := zero.Parallax(0, 1, ahead, 1); ok {
		t.Error("the zero Rig has a parallax")
	}
	// Too far apart to tell.
	far := pair(t, r3.Vec{X: -1e308}, r3.Vec{X: 1e308})
	if p, ok := far.Parallax(0, 1, ahead, 1); ok {
		t.Errorf("got %v", p)
	}
}

// FuzzClearDistance looks for a limit whose distance does not keep it.
func FuzzClearDistance(f *testing.F) {
	f.Add(0.3, 0.1, -0.2, 0.0, 0.01)
	f.Add(1e-300, 0.0, 0.0, 1.0, 1e-3)
	f.Add(1.0, 0.0, 0.0, 90*math.Pi/180, 1e9)
	f.Add(0.0, 0.0, 1e6, 0.0, 1e-300)
	f.Fuzz(func(t *testing.T, x, y, z, heading, pixels float64) {
		spec := projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 5000, Height: 5000}
		one, err := projection.NewCamera(spec)
		require.NoError(t, err)
		spec.Pose = projection.Pose{Position: r3.Vec{X: x, Y: y, Z: z}, Heading: 1}
		two, err := projection.NewCamera(spec)
		if err != nil {
			return
		}
		a := array(t, one, two)
		s := rig.Seam{A: 0, B: 1, Points: []rig.SeamPoint{{Dir: trial.Toward(heading, 0)}, {Dir: trial.Toward(heading, 5)}}}
		c, err := a.ClearDistance(s, pixels)
		if err != nil || c.Limit != rig.NoLimit {
			return
		}
		d := c.Distance
		require.True(t, d >= 0 && d <= math.MaxFloat64, "distance %v", d)
		p, _, ok := a.SeamParallax(s, d*(1+1e-8)+5e-324)
		const rounding = 2e-12 // px: two ulps of a position near 5000
		if d > 0 && (!ok || p.Pixels > pixels+rounding) {
			t.Errorf("at %v m: %v, %v; limit %v px", d, p, ok, pixels)
		}
	})
}
