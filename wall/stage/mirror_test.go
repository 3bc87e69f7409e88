package stage_test

import (
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

// room is the volume with another arc behind the camera.
func room(t testing.TB) stage.Spec {
	spec := volume(t, 1)
	spec.Rasters = append(spec.Rasters, stage.Raster{Width: 3000, Height: 1600})
	spec.Parts = append(spec.Parts, must[stage.Part](t)(stage.FromWall("behind", wall.Spec{
		PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 200, PanelPixelsY: 200, Columns: 15, Rows: 8,
		Radius: 3.5, Position: r3.Vec{Y: 1.6, Z: 3}, Heading: 180 * wall.Degree,
	}, stage.Place{Raster: 2}, 200)))
	return spec
}

// march follows a ray in steps of 2 mm until f changes its sign, and halves the last
// step. f is negative inside a solid.
func march(o, d r3.Vec, f func(r3.Vec) float64) (p r3.Vec, ok bool) {
	at := func(t float64) r3.Vec { return r3.Add(o, r3.Scale(t, d)) }
	for t := 0.0; t < 8; t += 2e-3 {
		if f(at(t)) > 0 && f(at(t+2e-3)) < 0 {
			a, b := t, t+2e-3
			for range 50 {
				if m := (a + b) / 2; f(at(m)) > 0 {
					a = m
				} else {
					b = m
				}
			}
			return at(a), true
		}
	}
	return r3.Vec{}, false
}

// A ray marched to the mirror, a solid described by a function, bounces off the
// slope of that function, and meets the panel that trying all of them finds.
func TestReflectionsByMarching(t *testing.T) {
	spec := room(t)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(10, 1))
	centre := r3.Vec{X: -0.6, Y: 1.4, Z: -0.6}
	visor := func(p r3.Vec) float64 { return r3.Norm(r3.Sub(p, centre)) - 0.3 }
	foot, up := r3.Vec{X: -1, Y: 0.9, Z: -1}, r3.Vec{X: 0.1, Y: 0.9, Z: -0.2}
	front := r3.Vec{X: 0.2, Z: 1}
	screen := func(p r3.Vec) float64 { return r3.Norm(r3.Cross(r3.Sub(p, foot), r3.Unit(up))) - 0.8 }
	bowl := func(p r3.Vec) float64 { return 0.9 - r3.Norm(r3.Sub(p, r3.Vec{Y: 1.5})) }
	for _, tc := range []struct {
		name   string
		mirror stage.Mirror
		solid  func(r3.Vec) float64
	}{
		{"visor", must[stage.Mirror](t)(stage.SphereMirror(centre, 0.3, front, 100*wall.Degree)), visor},
		{"windscreen", must[stage.Mirror](t)(stage.CylinderMirror(foot, r3.Add(foot, up), 0.8, front, 60*wall.Degree)), screen},
		{"bowl", must[stage.Mirror](t)(stage.SphereMirror(r3.Vec{Y: 1.5}, -0.9, r3.Vec{X: 0.3, Y: 0.2, Z: -1}, 70*wall.Degree)), bowl},
	} {
		shows, worst := map[stage.Sight]int{}, 0.0
		for range 250 {
			eye := r3.Vec{X: 0.6 * rng.NormFloat64(), Y: 1.6, Z: 0.6 + 0.3*rng.Float64()}
			if tc.solid(eye) < 0 {
				continue
			}
			u, v := rng.Float64(), rng.Float64()
			got := s.Reflect(eye, tc.mirror, u, v)
			shows[got.Why]++
			if got.Direction == (r3.Vec{}) {
				continue
			}
			d := r3.Unit(r3.Sub(got.Point, eye))
			p, ok := march(eye, d, tc.solid)
			require.True(t, ok, "%s: the marched ray meets the solid", tc.name)
			if distance(p, got.Point) > 0.01 {
				continue // it met another part of the solid, which the mirror leaves out
			}
			slope := r3.Vec{
				X: tc.solid(r3.Add(p, r3.Vec{X: 1e-5})) - tc.solid(r3.Sub(p, r3.Vec{X: 1e-5})),
				Y: tc.solid(r3.Add(p, r3.Vec{Y: 1e-5})) - tc.solid(r3.Sub(p, r3.Vec{Y: 1e-5})),
				Z: tc.solid(r3.Add(p, r3.Vec{Z: 1e-5})) - tc.solid(r3.Sub(p, r3.Vec{Z: 1e-5})),
			}
			// Turned by half a turn around the normal, what came from the eye leaves.
			leaves := r3.Rotate(r3.Scale(-1, d), math.Pi, r3.Unit(slope))
			worst = max(worst, distance(p, got.Point), distance(leaves, got.Direction))
			first, ok := bruteForce(spec, got.Point, got.Direction, 1e-6, math.Inf(1))
			want := stage.ShowsNothing
			switch {
			case ok && first.blocker >= 0:
				want = stage.ShowsBlocker
			case ok && !first.lit:
				want = stage.ShowsBack
			case ok:
				want = stage.Seen
			}
			ref.Equal(t, "W-ST-SHOWS", got.Why, want, tc.name, got.Point)
			if ok && want != stage.ShowsBlocker {
				ref.Equal(t, "W-ST-SHOWS", [2]int{got.Hit.Part, got.Hit.Panel}, [2]int{first.part, first.panel}, tc.name)
			}
		}
		ref.Within(t, "W-ST-MARCH", worst, tc.name)
		assert.Greater(t, shows[stage.Seen], 20, "%s: %v", tc.name, shows)
		assert.NotZero(t, shows[stage.ShowsNothing], tc.name)
	}
}

// The way of light from the eye by the mirror to the panel does not change to first
// order when the point moves on the mirror.
func TestReflectionsByFermat(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(room(t)))
	rng := rand.New(rand.NewPCG(11, 1))
	centre := r3.Vec{X: -0.6, Y: 1.4, Z: -0.6}
	for _, mirror := range []stage.Mirror{
		must[stage.Mirror](t)(stage.SphereMirror(centre, 0.3, r3.Vec{Z: 1}, 80*wall.Degree)),
		must[stage.Mirror](t)(stage.CylinderMirror(centre, r3.Add(centre, r3.Vec{Y: 0.8}), 0.5, r3.Vec{Z: 1}, 80*wall.Degree)),
		must[stage.Mirror](t)(stage.FlatMirror(wall.Rectangle{LowerLeft: centre, LowerRight: r3.Add(centre, r3.Vec{X: 1, Z: 0.3}), UpperLeft: r3.Add(centre, r3.Vec{Y: 1, Z: -0.4})})),
		func(u, v float64) (point, normal r3.Vec) { // a bulging panel of one's own
			x, y := u-0.5, v-0.5
			return r3.Add(centre, r3.Vec{X: x, Y: y, Z: -x * x * y}), r3.Vec{X: 2 * x * y, Y: x * x, Z: 1}
		},
	} {
		found := 0
		for range 150 {
			eye := r3.Vec{X: rng.NormFloat64(), Y: 1.6, Z: 1 + rng.Float64()}
			u, v := 0.02+0.96*rng.Float64(), 0.02+0.96*rng.Float64()
			r := s.Reflect(eye, mirror, u, v)
			if r.Why != stage.Seen {
				continue
			}
			found++
			way := func(u, v float64) float64 {
				p, _ := mirror(u, v)
				return distance(eye, p) + distance(p, r.Hit.Point)
			}
			const h = 1e-5
			ref.Within(t, "W-ST-FERMAT", max(math.Abs(way(u+h, v)-way(u-h, v)), math.Abs(way(u, v+h)-way(u, v-h)))/(2*h))
			_, n := mirror(u, v)
			assert.Positive(t, r3.Dot(r.Direction, n), "it leaves on the side of the normal")
			ref.Near(t, "W-ST-INCIDENCE", float64(r.Incidence/wall.Degree), 180/math.Pi*math.Acos(r3.Dot(r3.Unit(n), r.Direction)))
		}
		assert.Greater(t, found, 15)
	}
}

// A flat mirror is a window to the picture of the eye behind it: through its corners
// that eye sees the edges of what a wing must fill.
func TestReachByTheEyeBehindTheMirror(t *testing.T) {
	spec := wall.Spec{PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 1, Rows: 1, Position: r3.Vec{X: 0.2, Y: 1.1, Z: 3}, Heading: 180 * wall.Degree}
	part := must[stage.Part](t)(stage.FromWall("wing", spec, stage.Place{}, 0))
	s := must[stage.Stage](t)(stage.New(stage.Spec{Parts: []stage.Part{part}, Rasters: []stage.Raster{{100, 100}}}))
	// A side window at z = 0 that faces +Z, 0.8 by 0.6 m; the camera at z = 1.
	window := wall.Rectangle{LowerLeft: r3.Vec{X: -0.4, Y: 0.8}, LowerRight: r3.Vec{X: 0.4, Y: 0.8}, UpperLeft: r3.Vec{X: -0.4, Y: 1.4}}
	eye := r3.Vec{X: 0.1, Y: 1.3, Z: 1}
	m := must[stage.Mirror](t)(stage.FlatMirror(window))
	got, err := s.Reach(eye, m, part.Panels[0].Face, 10, 41, 31)
	require.NoError(t, err)
	// From (0.1, 1.3, −1) the plane z = 3 is four times as far as the window. Its left
	// is at +X, for one who looks at the wing.
	east, west := 0.1+4*(0.4-0.1), 0.1+4*(-0.4-0.1)
	top, bottom := 1.3+4*(1.4-1.3), 1.3+4*(0.8-1.3)
	for i, want := range [4]float64{east - 0.7, -0.3 - west, 0.6 - bottom, top - 1.6} {
		ref.Near(t, "W-ST-REACH", []float64{float64(got.Left), float64(got.Right), float64(got.Below), float64(got.Above)}[i], want, i)
	}
	assert.Equal(t, 41*31, got.Points)
	assert.Equal(t, got.Empty, got.Filled)
	// Of the window, 3.2 by 2.4 m in the plane, the wing fills 1 by 1.
	assert.InDelta(t, 1-1/(3.2*2.4), float64(got.Empty)/(41*31), 0.02, "a row and a column of 41 by 31")

	// Half a metre away the plane is one and a half times as far as the window.
	near := part.Panels[0].Face
	near.LowerLeft.Z, near.LowerRight.Z, near.UpperLeft.Z = 0.5, 0.5, 0.5
	got, err = s.Reach(eye, m, near, 10, 41, 31)
	require.NoError(t, err)
	ref.Near(t, "W-ST-REACH", float64(got.Right), -0.3-(0.1+1.5*(-0.4-0.1)))
	ref.Near(t, "W-ST-REACH", float64(got.Below), 0.6-(1.3+1.5*(0.8-1.3)))
	ref.Near(t, "W-ST-REACH", float64(got.Left), 0, "the wing is wider")

	// With a limit of 1 m, less is filled; from behind, nothing is seen.
	got, err = s.Reach(eye, m, part.Panels[0].Face, 1, 41, 31)
	require.NoError(t, err)
	assert.Less(t, got.Filled, got.Empty)
	assert.LessOrEqual(t, max(got.Left, got.Right, got.Above, got.Below), unit.Length(1))
	got, err = s.Reach(r3.Vec{Z: -1}, m, part.Panels[0].Face, 1, 2, 2)
	require.NoError(t, err)
	assert.Zero(t, got)
}

func TestMirrorsNameWhatIsWrong(t *testing.T) {
	_, err := stage.SphereMirror(r3.Vec{}, 0, r3.Vec{}, 0)
	assert.ErrorContains(t, err, "radius, without its sign, 0 m: must be at least 1 mm")
	assert.ErrorContains(t, err, "middle (0, 0, 0): must be finite and not zero")
	assert.ErrorContains(t, err, "angle 0°")
	_, err = stage.CylinderMirror(r3.Vec{}, r3.Vec{Y: 1}, 1, r3.Vec{Y: 3}, 1)
	assert.ErrorContains(t, err, "part of the middle across the axis")
	_, err = stage.CylinderMirror(r3.Vec{Y: 1}, r3.Vec{Y: 1}, 1, r3.Vec{Y: 3}, 1)
	assert.ErrorContains(t, err, "must have a length")
	_, err = stage.FlatMirror(wall.Rectangle{})
	assert.ErrorIs(t, err, stage.ErrInvalid)
	s := must[stage.Stage](t)(stage.New(volume(t, 1)))
	_, err = s.Reach(r3.Vec{}, nil, wall.Rectangle{}, 1, 2, 2)
	assert.ErrorContains(t, err, "mirror: must be set")
	for _, m := range []stage.Mirror{
		func(u, v float64) (p, n r3.Vec) { return r3.Vec{X: math.NaN()}, r3.Vec{Z: 1} },
		func(u, v float64) (p, n r3.Vec) { return r3.Vec{Z: -1}, r3.Vec{} },
	} {
		assert.Equal(t, stage.Reflection{Why: stage.OffPanels}, s.Reflect(r3.Vec{}, m, 0.5, 0.5))
	}
}

func TestMirrorLimits(t *testing.T) {
	for want, radius := range map[string]unit.Length{"radius, without its sign, 900 µm": 0.9e-3, "radius, without its sign, 101 km": -101e3} {
		_, err := stage.SphereMirror(r3.Vec{}, radius, r3.Vec{Z: 1}, 1)
		assert.ErrorContains(t, err, want)
		_, err = stage.CylinderMirror(r3.Vec{}, r3.Vec{Y: 1}, radius, r3.Vec{Z: 1}, 1)
		assert.ErrorContains(t, err, want)
	}
}
