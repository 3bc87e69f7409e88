package offaxis_test

import (
	"context"
	"encoding/json"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/offaxis"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestWindowCornersLandOnOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range 300 {
		at := trial.SomePose(rng)
		if i%10 == 0 {
			at.Elevation = -90 * deg // a ceiling
		}
		a := trial.Columns(at)
		width, height := 0.5+20*rng.Float64(), 0.5+8*rng.Float64()
		w := offaxis.Window{LowerLeft: at.Position}
		w.LowerRight = r3.Add(w.LowerLeft, r3.Scale(width, a[0]))
		w.UpperLeft = r3.Add(w.LowerLeft, r3.Scale(height, a[1]))
		upperRight := r3.Add(w.LowerRight, r3.Scale(height, a[1]))
		d := 0.3 + 9*rng.Float64()
		// Often to the side of the window altogether.
		eye := r3.Add(w.LowerLeft, r3.Add(r3.Scale(width*(3*rng.Float64()-1), a[0]), r3.Add(r3.Scale(height*(3*rng.Float64()-1), a[1]), r3.Scale(d, a[2]))))
		n, far := 0.05+0.2*rng.Float64(), 100+100*rng.Float64()
		if i%3 == 0 {
			far = math.Inf(1)
		}
		f := trial.Must[offaxis.Frustum](t)(offaxis.NewFrustum(w, eye, unit.Length(n), unit.Length(far)))
		view, _ := f.StageToEye()
		for depth, ends := range depths {
			clip, ok := f.StageToClip(depth)
			require.True(t, ok, "no matrix of depth %d", depth)
			for c, p := range map[[2]float64]r3.Vec{{-1, -1}: w.LowerLeft, {1, -1}: w.LowerRight, {-1, 1}: w.UpperLeft, {1, 1}: upperRight} {
				got := apply(clip, p)
				assert.InDelta(t, c[0], got.X, 1e-11, "corner x: roundings of up to 1e3 times the window's size over its distance")
				assert.InDelta(t, c[1], got.Y, 1e-11, "corner y: roundings of up to 1e3 times the window's size over its distance")
			}
			// Depth at both ends, and in front of the eye.
			for k, z := range []float64{n, far} {
				if math.IsInf(z, 1) {
					z = 1e15
				}
				ahead := r3.Add(f.Pose.Position, f.Pose.ToStage(r3.Vec{Z: -z}))
				assert.InDelta(t, ends[k], apply(clip, ahead).Z, 1e-9, "depth: roundings of metres up to 40 over the near distance")
				assert.InDelta(t, z, -apply(view, ahead).Z, 1e-13*(10+z), "distance: roundings")
			}
			g := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromMatrix(clip, depth))
			assert.InDelta(t, 0, trial.Apart(g.Pose, f.Pose), 1e-10, "eye: roundings of up to 1e3 times the window's size over its distance")
			assert.InEpsilon(t, float64(f.Near), float64(g.Near), 1e-9, "near: roundings of metres over the near distance")
			if math.IsInf(far, 1) {
				// Within roundings over the near distance of no end at all.
				assert.True(t, g.Far >= 1e9, "far %v of an infinite one", g.Far)
			} else {
				assert.InEpsilon(t, float64(f.Far), float64(g.Far), 1e-8, "far: what Near/Far leaves")
			}
			back, _ := g.Window(unit.Length(d))
			for k, pair := range [][2]r3.Vec{{back.LowerLeft, w.LowerLeft}, {back.LowerRight, w.LowerRight}, {back.UpperLeft, w.UpperLeft}} {
				assert.InDelta(t, 0, r3.Norm(r3.Sub(pair[0], pair[1])), 1e-9, "corner "+string(rune('0'+k))+": "+"metres; as the eye, over the distance")
			}
			// A factor does not count.
			for r := range clip {
				for c := range clip[r] {
					clip[r][c] *= 3
				}
			}
			scaled := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromMatrix(clip, depth))
			assert.InDelta(t, 0, trial.Apart(scaled.Pose, g.Pose), 1e-10, "scaled: roundings")
			assert.InEpsilon(t, float64(g.Near), float64(scaled.Near), 1e-9, "scaled near: roundings")
		}
	}
	// Of a matrix that has no pose, an infinite far comes back as such.
	for depth := range depths {
		f := offaxis.Frustum{Left: -1, Right: 2, Bottom: -3, Top: 4, Near: 0.5, Far: unit.Length(math.Inf(1))}
		m, _ := f.EyeToClip(depth)
		for column := range 2 { // planes of equal depth that are not square to the axis
			skewed := m
			skewed[2][column] = 0.9e-6
			_, err := offaxis.FrustumFromMatrix(skewed, depth)
			assert.NoError(t, err, "within 1e-6")
			skewed[2][column] = -1.1e-6
			_, err = offaxis.FrustumFromMatrix(skewed, depth)
			trial.Refuses(t, offaxis.ErrInvalid, err, "depth of the matrix")
		}
		g, err := offaxis.FrustumFromMatrix(m, depth)
		if err != nil || !math.IsInf(float64(g.Far), 1) || g.Near != f.Near || g.Pose != f.Pose {
			t.Errorf("depth %d: %+v, %v", depth, g, err)
		}
		for i, pair := range [][2]unit.Length{{g.Left, f.Left}, {g.Right, f.Right}, {g.Bottom, f.Bottom}, {g.Top, f.Top}} {
			near.ULP(t, "side "+string(rune('0'+i)), pair[0], pair[1], 4, "a few roundings")
		}
		// So does one so far that its digits are gone, but for the depth that keeps
		// them.
		f.Far = 1e18
		m, _ = f.EyeToClip(depth)
		g, err = offaxis.FrustumFromMatrix(m, depth)
		kept := depth == offaxis.DepthOneToZero && math.Abs(float64(g.Far/f.Far)-1) < 1e-15
		if err != nil || !(kept || math.IsInf(float64(g.Far), 1)) {
			t.Errorf("depth %d: far %v, %v", depth, g.Far, err)
		}
	}
}

func TestFrustumRefuses(t *testing.T) {
	eye := r3.Vec{Y: 2, Z: 6}
	for _, c := range []struct {
		w         offaxis.Window
		eye       r3.Vec
		near, far unit.Length
		fields    []string
	}{
		{wall, r3.Vec{Y: 2}, 0.1, 100, []string{"distance of the eye"}},
		{wall, r3.Vec{Y: 2, Z: 9e-6}, 0.1, 100, []string{"distance of the eye"}},
		{wall, r3.Vec{Y: 2, Z: -6}, 0.1, 100, []string{"eye 6 m behind the window"}},
		{wall, r3.Vec{X: math.NaN(), Z: math.Inf(1)}, 0.1, 100, []string{"eye x", "eye z"}},
		{wall, eye, 1, 1, []string{"far"}},
		{wall, eye, 0, 1, []string{"near"}},
		{wall, eye, unit.Length(math.NaN()), 1, []string{"near"}},
		{wall, eye, unit.Length(math.Inf(1)), unit.Length(math.Inf(1)), []string{"near"}},
		{offaxis.Window{}, eye, 0.1, 100, []string{"width", "height"}},
		{offaxis.Window{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{X: 2}}, eye, 0.1, 100, []string{"angle"}},
		{offaxis.Window{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{X: 0.1, Y: 1}}, eye, 0.1, 100, []string{"angle"}},
		{offaxis.Window{LowerRight: r3.Vec{X: math.NaN()}, UpperLeft: r3.Vec{Y: math.Inf(1)}}, eye, 0.1, 100, []string{"lower right corner x", "upper left corner y"}},
		{wall, eye, 1e-323, 1, []string{"window"}},
	} {
		_, err := offaxis.NewFrustum(c.w, c.eye, c.near, c.far)
		trial.Refuses(t, offaxis.ErrInvalid, err, c.fields...)
	}
	f := trial.Must[offaxis.Frustum](t)(offaxis.NewFrustum(wall, eye, 0.1, 100))
	m, _ := f.StageToClip(offaxis.DepthMinusOneToOne)
	_, err := offaxis.FrustumFromMatrix(m, 0)
	trial.Refuses(t, offaxis.ErrInvalid, err, "clip depth")
	_, err = offaxis.FrustumFromMatrix(m, offaxis.DepthOneToZero)
	trial.Refuses(t, offaxis.ErrInvalid, err, "near")
	_, err = offaxis.FrustumFromMatrix(offaxis.Matrix{}, offaxis.DepthZeroToOne)
	trial.Refuses(t, offaxis.ErrInvalid, err, "matrix")
	parallel := offaxis.Matrix{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, -1, 0}, {0, 0, 0, 1}}
	_, err = offaxis.FrustumFromMatrix(parallel, offaxis.DepthZeroToOne)
	trial.Refuses(t, offaxis.ErrInvalid, err, "matrix")
	for _, row := range []int{0, 1, 3} {
		mirrored := m
		for c := range mirrored[row] {
			mirrored[row][c] *= -1
		}
		_, err = offaxis.FrustumFromMatrix(mirrored, offaxis.DepthMinusOneToOne)
		trial.Refuses(t, offaxis.ErrInvalid, err)
	}
	m[1][1] = math.NaN()
	_, err = offaxis.FrustumFromMatrix(m, offaxis.DepthMinusOneToOne)
	trial.Refuses(t, offaxis.ErrInvalid, err, "finite")

	// No method of a frustum that is not sound answers.
	for _, bad := range []offaxis.Frustum{{}, {Left: 1, Right: -1, Bottom: -1, Top: 1, Near: 1, Far: 2}, {Left: -1, Right: 1, Bottom: -1, Top: 1, Near: 1, Far: 1},
		{Left: -1, Right: 1, Bottom: -1, Top: 1, Near: -1, Far: 1},
		{Left: 1, Right: 1, Bottom: -1, Top: 1, Near: 1, Far: 2}, {Left: -1, Right: 1, Bottom: 1, Top: 1, Near: 1, Far: 2}, {Left: -1, Right: unit.Length(math.Inf(1)), Bottom: -1, Top: 1, Near: 1, Far: 2}} {
		_, ok := bad.EyeToClip(offaxis.DepthZeroToOne)
		_, ok2 := bad.StageToEye()
		_, ok3 := bad.StageToClip(offaxis.DepthZeroToOne)
		_, ok4 := bad.Window(1)
		_, ok5 := bad.Tile(10, 10, image.Rect(0, 0, 5, 5))
		_, ok6 := bad.Overscan(0)
		_, ok7 := bad.OverscanAngle(0)
		assert.True(t, !ok && !ok2 && !ok3 && !ok4 && !ok5 && !ok6 && !ok7, "%+v answers", bad)
	}
	for depth := range depths {
		_, ok := f.EyeToClip(depth + 4)
		assert.False(t, ok, "depth %d has a matrix", depth+4)
	}
	for _, d := range []unit.Length{0, -1, unit.Length(math.NaN()), unit.Length(math.Inf(1))} {
		_, ok := f.Window(d)
		assert.False(t, ok, "a window at %v", d)
	}
}

// The limits that NewFrustum states: what lies just inside is taken, and just outside is not.
func TestFrustumLimits(t *testing.T) {
	window := func(width, height, lean float64) offaxis.Window {
		return offaxis.Window{LowerRight: r3.Vec{X: width}, UpperLeft: r3.Vec{X: height * math.Tan(lean), Y: height}}
	}
	for _, c := range []struct {
		inside, outside       offaxis.Window
		distance, outsideFrom float64 // of the eye, m
		field                 string
	}{
		{window(1e9, 2, 0), window(1.000001e9, 2, 0), 1e6, 1e6, "width of the window"},
		{window(2, 1e9, 0), window(2, 1.000001e9, 0), 1e6, 1e6, "height of the window"},
		{window(1e-6, 2, 0), window(0.999999e-6, 2, 0), 5, 5, "width of the window"},
		{window(2, 1e-6, 0), window(2, 0.999999e-6, 0), 5, 5, "height of the window"},
		{window(4, 3, 0.999e-6), window(4, 3, 1.001e-6), 5, 5, "angle at the lower left corner"},
		{window(4, 3, -0.999e-6), window(4, 3, -1.001e-6), 5, 5, "angle at the lower left corner"},
		{window(4, 3, 0), window(4, 3, 0), 4.001e-6, 3.999e-6, "distance of the eye from the window"},
		{window(3, 4, 0), window(3, 4, 0), 4.001e-6, 3.999e-6, "distance of the eye from the window"},
	} {
		_, err := offaxis.NewFrustum(c.inside, r3.Vec{Z: c.distance}, 1, 2)
		assert.NoError(t, err, "%+v from %v m", c.inside, c.distance)
		_, err = offaxis.NewFrustum(c.outside, r3.Vec{Z: c.outsideFrom}, 1, 2)
		trial.Refuses(t, offaxis.ErrInvalid, err, c.field)
	}
}

func TestTilesAndOverscan(t *testing.T) {
	f := trial.Must[offaxis.Frustum](t)(offaxis.NewFrustum(wall, r3.Vec{X: 2, Y: 1.5, Z: 6}, 0.1, 100))
	whole, ok := f.Tile(4000, 1600, image.Rect(0, 0, 4000, 1600))
	assert.True(t, ok && whole == f, "the whole raster is %+v, %v", whole, ok)
	for _, cut := range []int{1, 7, 1333, 3999} {
		left, _ := f.Tile(4000, 1600, image.Rect(0, 0, cut, 1600))
		right, _ := f.Tile(4000, 1600, image.Rect(cut, 0, 4000, 1600))
		assert.True(t, left.Right == right.Left && left.Left == f.Left && right.Right == f.Right, "cut at %d: %v and %v", cut, left.Right, right.Left)
	}
	// The top rows of the raster are the top of the window.
	upper, _ := f.Tile(4000, 1600, image.Rect(0, 0, 4000, 400))
	assert.True(t, upper.Top == f.Top && upper.Bottom > (f.Top+f.Bottom)/2, "the upper quarter is %+v", upper)
	for _, r := range []image.Rectangle{{}, image.Rect(-1, 0, 5, 5), image.Rect(0, 0, 4001, 5), image.Rect(5, 5, 5, 9), {Min: image.Pt(9, 9), Max: image.Pt(2, 2)}} {
		_, ok := f.Tile(4000, 1600, r)
		assert.False(t, ok, "a tile %v", r)
	}
	if _, ok := f.Tile(-10, -10, image.Rect(-5, -5, -1, -1)); ok {
		t.Error("a tile of a raster without size")
	}
	if g, ok := f.Overscan(0); !ok || g != f {
		t.Errorf("no overscan: %+v, %v", g, ok)
	}
	if g, ok := f.OverscanAngle(0); !ok || g != f {
		t.Errorf("no overscan: %+v, %v", g, ok)
	}
	// Twice is once by the sum.
	a, _ := f.OverscanAngle(3 * deg)
	a, _ = a.OverscanAngle(4 * deg)
	b, _ := f.OverscanAngle(7 * deg)
	assert.InEpsilon(t, float64(b.Left), float64(a.Left), 1e-14, "left: roundings")
	assert.InEpsilon(t, float64(b.Top), float64(a.Top), 1e-14, "top: roundings")
	narrow := offaxis.Frustum{Left: -0.1, Right: 0.1, Bottom: -0.1, Top: 0.1, Near: 1, Far: 2}
	wide, ok := narrow.OverscanAngle(84 * deg) // the sides stand at 5.7°
	tan := math.Tan(float64(84 * deg))
	assert.True(t, ok)
	assert.InEpsilon(t, (0.1+tan)/(1-0.1*tan), float64(wide.Right), 1e-12, "the tangent of a sum")
	for _, angle := range []unit.Angle{-1e-9, 41 * deg, 90 * deg, unit.Angle(math.NaN())} {
		_, ok := f.OverscanAngle(angle)
		assert.False(t, ok, "overscan by %v rad", float64(angle))
	}
	for _, fraction := range []float64{-1e-9, math.NaN(), math.Inf(1), math.MaxFloat64} {
		if g, ok := f.Overscan(fraction); ok != (fraction == math.MaxFloat64) || !ok && g != (offaxis.Frustum{}) {
			t.Errorf("overscan by %v: %v, %v", fraction, g, ok)
		}
	}
}

func TestLookupProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, spec := range surrounds {
		spec.Centre = r3.Vec{X: 4, Y: 6, Z: -2}
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(spec))
		for range 500 {
			ray := trial.Vec(rng, 1)
			d := r3.Unit(ray)
			got, ok := s.Lookup(spec.Centre, r3.Scale(math.Pow(10, 600*rng.Float64()-300), ray))
			require.True(t, ok, "%v: no answer at the centre", spec.Shape)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(got, d)), 1e-15, "from the centre: a few roundings")

			// As the surface recedes, the step of the eye shows as less and less:
			// to first order its part across the way to the point, over the distance.
			far := spec
			if spec.Shape == offaxis.AtInfinity {
				continue
			}
			step := trial.Vec(rng, 1)
			eye := r3.Add(spec.Centre, step)
			for _, radius := range []float64{1e6, 1e9, 1e12, 1e15} {
				far.Radius = unit.Length(radius)
				if spec.Shape == offaxis.Dome && ray.Y < 0 {
					continue // the ground stays near
				}
				s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(far))
				got, ok := s.Lookup(eye, ray)
				require.True(t, ok, "%v: no answer at a radius of %v", spec.Shape, radius)
				dist := radius
				if spec.Shape == offaxis.Cylinder {
					dist /= math.Hypot(d.X, d.Z)
				}
				want := r3.Add(d, r3.Scale(1/dist, r3.Sub(step, r3.Scale(r3.Dot(step, d), d))))
				assert.InDelta(t, 0, r3.Norm(r3.Sub(got, want)), 1e-15+100/radius/radius, "far: roundings, and the second order")
			}
		}
	}
	// The ground of a dome is where it is, however far the sphere: on a step to the
	// right, 4 below the eye and 5 below the centre.
	for _, radius := range []unit.Length{100, 1e6, 1e12, 1e15} {
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(offaxis.SurroundSpec{Shape: offaxis.Dome, Radius: radius, Ground: 5}))
		got, _ := s.Lookup(r3.Vec{X: 2, Y: -1}, r3.Vec{X: 1, Y: -1})
		assert.InDelta(t, 0, r3.Norm(r3.Sub(got, r3.Unit(r3.Vec{X: 6, Y: -5}))), 1e-15, "ground: roundings")
		// Level rays meet the sphere.
		got, ok := s.Lookup(r3.Vec{Y: -1}, r3.Vec{Z: -1})
		assert.True(t, ok && got.Y < 0 && got.Y >= -1.1/float64(radius), "level ray at a radius of %v: %v", radius, got)
	}
}

func TestLookupNearTheSurface(t *testing.T) {
	const r = 32.0
	for k := 1; k <= 48; k++ {
		gap := math.Pow(2, -float64(k)) // of the radius
		z := 1 - gap
		want := r3.Vec{X: math.Sqrt(gap * (2 - gap)), Z: -z} // grazing: x² + z² = 1
		for _, shape := range []offaxis.Shape{offaxis.Sphere, offaxis.Cylinder} {
			s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(offaxis.SurroundSpec{Shape: shape, Radius: r}))
			got, ok := s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{X: 1})
			require.True(t, ok, "no answer %v from the surface", gap)
			near.ULP(t, "grazing x", got.X, want.X, 4, "a few roundings; eye and radius are exact")
			near.ULP(t, "grazing z", got.Z, want.Z, 4, "a few roundings; eye and radius are exact")
			got, _ = s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{Z: -1})
			assert.InDelta(t, 0, r3.Norm(r3.Sub(got, r3.Vec{Z: -1})), 0, "straight out: exact")
			got, _ = s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{Z: 1})
			assert.InDelta(t, 0, r3.Norm(r3.Sub(got, r3.Vec{Z: 1})), 0, "straight through: exact")
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, spec := range surrounds[1:] {
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(spec))
		eyes := []r3.Vec{{X: 30}, {Z: -30}, {X: 31}, {X: 1e300}, {X: nan}, {X: inf}, {Y: nan}, {Y: -inf}, {X: 24, Z: 18}}
		switch spec.Shape {
		case offaxis.Sphere:
			eyes = append(eyes, r3.Vec{Y: 30})
		case offaxis.Dome:
			eyes = append(eyes, r3.Vec{Y: -5}, r3.Vec{Y: -6}, r3.Vec{Y: 30})
		}
		for _, eye := range eyes {
			d, ok := s.Lookup(eye, r3.Vec{X: -1, Y: 1})
			assert.True(t, !ok && d == (r3.Vec{}), "%d: from %v looks along %v", spec.Shape, eye, d)
		}
		for _, ray := range []r3.Vec{{}, {X: nan}, {Z: inf}} {
			d, ok := s.Lookup(r3.Vec{Y: 1}, ray)
			assert.True(t, !ok && d == (r3.Vec{}), "%d: the ray %v gives %v", spec.Shape, ray, d)
		}
	}
	// 49/49 is 1, but 49·(1/49) is not.
	for shape := offaxis.Sphere; shape <= offaxis.Cylinder; shape++ {
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(offaxis.SurroundSpec{Shape: shape, Radius: 49}))
		if _, ok := s.Lookup(r3.Vec{X: 49}, r3.Vec{X: -1}); ok {
			t.Error("an answer on the surface")
		}
	}
	// Within a cylinder there is no ceiling: steeper and steeper rays end straight up.
	s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(surrounds[2]))
	for _, up := range []float64{1, -1} {
		for _, level := range []float64{1e-3, 1e-8, 1e-100, 0} {
			got, ok := s.Lookup(r3.Vec{X: 3, Y: 1000}, r3.Vec{X: level, Y: up})
			require.True(t, ok, "no answer for a slope of %v", level)
			// It meets the surface 27 to the right, at the height 1000 ± 27/level.
			assert.InDelta(t, math.Atan2(30*level, 27+up*1000*level), math.Atan2(got.X, got.Y*up), 1e-15, "steep: rad, roundings")
		}
	}
}

func TestEyeViews(t *testing.T) {
	s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(surrounds[3]))
	cam := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 100, FocalY: 100, Width: 64, Height: 48})
	_, err := s.EyeView(nil, r3.Vec{Y: -5})
	trial.Refuses(t, offaxis.ErrInvalid, err, "target", "eye")
	_, err = offaxis.Surround{}.EyeView(cam, r3.Vec{})
	trial.Refuses(t, offaxis.ErrInvalid, err, "surround")
	if _, ok := (offaxis.Surround{}).Lookup(r3.Vec{}, r3.Vec{X: 1}); ok {
		t.Error("the zero Surround answers")
	}
	// The eye is where the plate's cameras stood, or beside: beyond the surface nothing
	// is known. Not every shape is limited to every side.
	for _, e := range []struct {
		eye     r3.Vec
		outside []offaxis.Shape
	}{
		{r3.Vec{X: 1, Y: -6, Z: 2}, []offaxis.Shape{offaxis.Dome}},
		{r3.Vec{X: 1, Y: 40, Z: 2}, []offaxis.Shape{offaxis.Sphere, offaxis.Dome}},
		{r3.Vec{X: 25, Y: 1, Z: -26}, []offaxis.Shape{offaxis.Sphere, offaxis.Cylinder, offaxis.Dome}},
		{r3.Vec{X: 1, Y: 2, Z: math.Inf(1)}, []offaxis.Shape{offaxis.AtInfinity, offaxis.Sphere, offaxis.Cylinder, offaxis.Dome}},
	} {
		for _, spec := range surrounds {
			v, err := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(spec)).EyeView(cam, e.eye)
			if !slices.Contains(e.outside, spec.Shape) {
				assert.NoError(t, err, "%v, %v", spec.Shape, e.eye)
				continue
			}
			trial.Refuses(t, offaxis.ErrInvalid, err, fmt.Sprintf("eye (%g, %g, %g) m", e.eye.X, e.eye.Y, e.eye.Z))
			assert.Zero(t, v)
		}
	}
	_, err = offaxis.NewSurround(offaxis.SurroundSpec{Radius: -1, Ground: 1, Centre: r3.Vec{X: math.NaN()}})
	trial.Refuses(t, offaxis.ErrInvalid, err, "shape", "radius", "ground", "centre x")
	_, err = offaxis.NewSurround(offaxis.SurroundSpec{Shape: offaxis.Dome, Radius: 3, Ground: 3})
	trial.Refuses(t, offaxis.ErrInvalid, err, "ground")
	_, err = offaxis.NewSurround(offaxis.SurroundSpec{Shape: offaxis.AtInfinity, Radius: 3})
	trial.Refuses(t, offaxis.ErrInvalid, err, "radius")

	var zero offaxis.EyeView
	w, h := zero.Size()
	_, ok := zero.Unproject(0, 0)
	xs, ys := zero.Breaks()
	assert.True(t, w == 0 && h == 0 && !ok && xs == nil && ys == nil, "the zero EyeView answers")

	// As the target of a map: pixel by pixel the plate's position of the direction
	// looked up, which is not that of the camera alone.
	eye := r3.Vec{X: 8, Y: 1, Z: 3}
	v := trial.Must[offaxis.EyeView](t)(s.EyeView(cam, eye))
	plate := trial.Must[panorama.Equirect](t)(panorama.NewEquirect(4096, 2048, projection.Pose{}))
	m, err := warp.NewMap(context.Background(), v, plate, warp.MapOptions{})
	require.NoError(t, err)
	if w, h := v.Size(); w != 64 || h != 48 {
		t.Errorf("size %d × %d", w, h)
	}
	for y := 0.5; y < 48; y += 6 {
		for x := 0.5; x < 64; x += 7 {
			ray, _ := cam.Unproject(x, y)
			dir, _ := s.Lookup(eye, ray)
			wantX, wantY, _ := plate.Project(dir)
			gotX, gotY, ok := m.At(x, y)
			require.True(t, ok, "nothing at %v, %v", x, y)
			assert.InDelta(t, wantX, gotX, 1.0/64, "x: px, the map's tolerance")
			assert.InDelta(t, wantY, gotY, 1.0/64, "y: px, the map's tolerance")
			if straight, _, _ := plate.Project(ray); math.Abs(straight-gotX) < 10 {
				t.Errorf("at %v, %v the step of the eye does not show", x, y)
			}
		}
	}
}

var depths = map[offaxis.ClipDepth][2]float64{
	offaxis.DepthMinusOneToOne: {-1, 1}, offaxis.DepthZeroToOne: {0, 1},
	offaxis.DepthOneToMinusOne: {1, -1}, offaxis.DepthOneToZero: {1, 0},
}

var surrounds = []offaxis.SurroundSpec{
	{Shape: offaxis.AtInfinity},
	{Shape: offaxis.Sphere, Radius: 30},
	{Shape: offaxis.Cylinder, Radius: 30},
	{Shape: offaxis.Dome, Radius: 30, Ground: 5},
}

func TestFilmBacks(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	length := func(scale float64) unit.Length { return unit.Length(scale * (0.1 + rng.Float64())) }
	for range 500 {
		b := projection.FilmBack{
			FocalLength: length(0.1), Width: length(0.05), Height: length(0.05),
			ShiftRight: length(0.01) - 0.006, ShiftUp: length(0.01) - 0.006, Focus: length(10),
		}
		at := trial.SomePose(rng)
		f := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromFilmBack(b, 0.25, 50, at))
		again, ok := f.FilmBack(b.Width)
		require.True(t, ok)
		again.Focus = b.Focus // which a frustum lacks
		assert.Empty(t, cmp.Diff(b, again, cmp.Comparer(func(a, b unit.Length) bool { return math.Abs(float64(a-b)) <= 1e-15 })), "some roundings of sums up to a metre")
		// A pixel of the wall is the same ray through the frustum and the camera.
		cam := trial.Must[projection.Camera](t)(projection.NewCamera(trial.Must[projection.CameraSpec](t)(b.CameraSpec(640, 360, projection.FitStretch, at))))
		x, y := 640*rng.Float64(), 360*rng.Float64()
		dir, _ := cam.Unproject(x, y)
		clip, _ := f.StageToClip(offaxis.DepthZeroToOne)
		n := apply(clip, r3.Add(at.Position, r3.Scale(7, dir)))
		assert.InDelta(t, x, (1+n.X)*320, 1e-9, "px, roundings")
		assert.InDelta(t, y, (1-n.Y)*180, 1e-9, "px, roundings")
	}
}

func TestFilmBacksRefused(t *testing.T) {
	b := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	nan := unit.Length(math.NaN())
	bad := projection.FilmBack{FocalLength: nan, ShiftRight: nan, ShiftUp: unit.Length(math.Inf(1)), Focus: -1}
	_, err := offaxis.FrustumFromFilmBack(bad, 1, 1, projection.Pose{Roll: unit.Angle(math.NaN())})
	trial.Refuses(t, offaxis.ErrInvalid, err, "focal length", "far", "pose roll")
	for _, near := range []unit.Length{nan, unit.Length(math.Inf(1)), 0} {
		_, err = offaxis.FrustumFromFilmBack(b, near, 1, projection.Pose{}) // far is sound, as far as it can be told
		trial.Refuses(t, offaxis.ErrInvalid, err, "near")
		assert.NotContains(t, err.Error(), "offaxis: far", "near %v", near)
		_, err = offaxis.NewFrustum(wall, r3.Vec{Y: 2, Z: 6}, near, -1)
		trial.Refuses(t, offaxis.ErrInvalid, err, "near", "far -1 m: must be more than 0")
	}
	_, err = offaxis.FrustumFromFilmBack(b, 1, 2, projection.Pose{Heading: 90})
	trial.Refuses(t, offaxis.ErrInvalid, err, "pose heading", "is 90*Degree meant?")
	b.ShiftUp = 1e9
	b.Height = 1e-9
	_, err = offaxis.FrustumFromFilmBack(b, 1, 2, projection.Pose{})
	trial.Refuses(t, offaxis.ErrInvalid, err, "shift")
	_, ok := offaxis.Frustum{}.FilmBack(1)
	assert.False(t, ok, "a film back of the zero Frustum")
}

// A pointer to nothing in an interface is refused like nothing.
func TestNilTargetsAreRefused(t *testing.T) {
	s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(offaxis.SurroundSpec{Shape: offaxis.AtInfinity}))
	_, err := s.EyeView((*projection.Camera)(nil), r3.Vec{})
	trial.Refuses(t, offaxis.ErrInvalid, err, "target")
}

// JSON has no infinity, and a far plane may be infinitely far.
func TestFrustaInJSON(t *testing.T) {
	f := offaxis.Frustum{Left: -1, Right: 2, Bottom: -0.5, Top: 0.75, Near: 0.1, Far: 100,
		Pose: projection.Pose{Position: r3.Vec{X: 1, Y: 2, Z: 3}, Heading: 10 * deg, Elevation: -5 * deg, Roll: 1 * deg}}
	for _, far := range []float64{100, math.Inf(1)} {
		f.Far = unit.Length(far)
		text, err := json.Marshal(struct{ View offaxis.Frustum }{f})
		require.NoError(t, err)
		var back struct{ View offaxis.Frustum }
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, f, back.View, string(text))
	}
	text, err := json.Marshal(f)
	require.NoError(t, err)
	assert.JSONEq(t, `{"Left":-1,"Right":2,"Bottom":-0.5,"Top":0.75,"Near":0.1,"Far":null,"Pose":{"Position":{"X":1,"Y":2,"Z":3},
		"Heading":0.17453292519943295,"Elevation":-0.08726646259971647,"Roll":0.017453292519943295}}`, string(text))
	// What cannot be read leaves a frustum as it was; one without Far is not sound.
	assert.Error(t, json.Unmarshal([]byte(`{"Left":"far"}`), &f))
	assert.Equal(t, unit.Length(-1), f.Left)
	require.NoError(t, json.Unmarshal([]byte(`{"Left":-1,"Right":1,"Bottom":-1,"Top":1,"Near":1}`), &f))
	_, ok := f.StageToEye()
	assert.False(t, ok)
}

func TestHostileArguments(t *testing.T) {
	turned := projection.Pose{Heading: 1, Elevation: -0.3, Roll: 0.2}
	back := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	frustum := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromFilmBack(back, 0.1, 100, turned))
	matrix, _ := frustum.StageToClip(offaxis.DepthZeroToOne)
	hostile.Calls(t, []any{
		turned, back, frustum, matrix, offaxis.DepthZeroToOne, image.Rect(0, 0, 4, 4), unit.Angle(0.1), 16,
		r3.Vec{X: 1, Y: 2, Z: -3}, r3.Vec{X: math.Inf(1)},
	},
		offaxis.FrustumFromMatrix, offaxis.Frustum.EyeToClip, offaxis.Frustum.FilmBack,
		offaxis.Frustum.Overscan, offaxis.Frustum.OverscanAngle, offaxis.Frustum.StageToClip,
		offaxis.Frustum.StageToEye, offaxis.Frustum.Tile, offaxis.Frustum.Window,
	)
	// Fewer of what takes four arguments.
	hostile.Calls(t, []any{wall, back, r3.Vec{Z: 5}, turned}, offaxis.NewFrustum, offaxis.FrustumFromFilmBack)
}
