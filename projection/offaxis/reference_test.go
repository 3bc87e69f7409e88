package offaxis_test

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/offaxis"
	"example.com/platewright/projection/panorama"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// apply is the position in clip space after division by w.
func apply(m offaxis.Matrix, v r3.Vec) r3.Vec {
	var out [4]float64
	for i, row := range m {
		out[i] = row[0]*v.X + row[1]*v.Y + row[2]*v.Z + row[3]
	}
	return r3.Vec{X: out[0] / out[3], Y: out[1] / out[3], Z: out[2] / out[3]}
}

func TestFrustumMatrices(t *testing.T) {
	top := 0.1 * math.Tan(math.Pi/8)
	right := top * 640 / 480
	f := offaxis.Frustum{
		Left: unit.Length(-right), Right: unit.Length(right), Bottom: unit.Length(-top), Top: unit.Length(top),
		Near: 0.1, Far: 200,
	}
	m, _ := f.EyeToClip(offaxis.DepthMinusOneToOne)
	for i, got := range []float64{m[0][0], m[1][1], m[2][2], m[2][3]} {
		ref.Near(t, "P-FRUSTUM-1", got, []float64{1.81066, 2.414213, -1.001, -0.2001}[i], i)
		ref.Near(t, "P-FRUSTUM-2", got, []float64{1.81066017178, 2.41421356237, -1.00100050025, -0.200100050025}[i], i)
	}
	depth := func(d offaxis.ClipDepth, c, e float64) {
		t.Helper()
		m, ok := f.EyeToClip(d)
		require.True(t, ok, "depth %d: no matrix", d)
		ref.Near(t, "P-FRUSTUM-4", m[2][2], c, d, "factor")
		ref.Near(t, "P-FRUSTUM-4", m[2][3], e, d, "constant")
	}
	depth(offaxis.DepthZeroToOne, 200/(0.1-200), 0.1*200/(0.1-200))
	depth(offaxis.DepthOneToZero, 0.1/(200-0.1), 0.1*200/(200-0.1))
	depth(offaxis.DepthOneToMinusOne, (200+0.1)/(200-0.1), 2*0.1*200/(200-0.1))
	f.Far = unit.Length(math.Inf(1))
	depth(offaxis.DepthZeroToOne, -1, -0.1)
	depth(offaxis.DepthOneToZero, 0, 0.1)
	depth(offaxis.DepthMinusOneToOne, -1, -0.2)
	depth(offaxis.DepthOneToMinusOne, 1, 0.2)
}

func TestOffAxisFrusta(t *testing.T) {
	for _, tc := range []struct {
		eye                   r3.Vec
		l, r, b, t            float64
		p02, p12              float64
		left, right, down, up float64 // degrees
	}{
		// On the axis l = −r and b = −t; the article's text slips to l = r, b = t.
		{r3.Vec{Y: 2, Z: 6}, -0.0833333333333, 0.0833333333333, -0.0333333333333, 0.0333333333333,
			0, 0, -39.8055710923, 39.8055710923, -18.4349488229, 18.4349488229},
		{r3.Vec{X: 2, Y: 1.5, Z: 6}, -0.116666666667, 0.05, -0.025, 0.0416666666667,
			-0.4, 0.25, -49.398705355, 26.5650511771, -14.0362434679, 22.619864948},
	} {
		check := func(what string, got, want float64) {
			t.Helper()
			ref.Near(t, "P-FRUSTUM-3", got, want, what, tc.eye)
		}
		sides := func(f offaxis.Frustum, what string) {
			t.Helper()
			check(what+" l", float64(f.Left), tc.l)
			check(what+" r", float64(f.Right), tc.r)
			check(what+" b", float64(f.Bottom), tc.b)
			check(what+" t", float64(f.Top), tc.t)
		}
		f := trial.Must[offaxis.Frustum](t)(offaxis.NewFrustum(wall, tc.eye, 0.1, 100))
		sides(f, "frustum")
		m, _ := f.EyeToClip(offaxis.DepthMinusOneToOne)
		check("P00", m[0][0], 0.2/(tc.r-tc.l))
		check("P11", m[1][1], 0.2/(tc.t-tc.b))
		check("P02", m[0][2], tc.p02)
		check("P12", m[1][2], tc.p12)
		check("P22", m[2][2], -1.002002002)
		check("P23", m[2][3], -0.2002002002)
		view, _ := f.StageToEye()
		for i, got := range []float64{view[0][3], view[1][3], view[2][3]} {
			check("move", got, -[]float64{tc.eye.X, tc.eye.Y, tc.eye.Z}[i])
		}
		clip, _ := f.StageToClip(offaxis.DepthMinusOneToOne)
		for _, c := range []r3.Vec{{X: -5}, {X: 5}, {X: -5, Y: 4}, {X: 5, Y: 4}} {
			got := apply(clip, c)
			check("corner x", got.X, math.Copysign(1, c.X))
			check("corner y", got.Y, c.Y/2-1)
		}
		back := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromMatrix(clip, offaxis.DepthMinusOneToOne))
		sides(back, "from the matrix")
		check("eye", r3.Norm(r3.Sub(back.Pose.Position, tc.eye)), 0)
		w, _ := back.Window(6)
		check("lower left", r3.Norm(r3.Sub(w.LowerLeft, wall.LowerLeft)), 0)
		check("lower right", r3.Norm(r3.Sub(w.LowerRight, wall.LowerRight)), 0)
		check("upper left", r3.Norm(r3.Sub(w.UpperLeft, wall.UpperLeft)), 0)

		// As the lens of a camera with a sensor 36 mm wide.
		width := 36 * mm
		film, ok := f.FilmBack(width)
		require.True(t, ok, "no film back")
		height := 36e-3 * (tc.t - tc.b) / (tc.r - tc.l)
		ref.Near(t, "P-FRUSTUM-5", film.ShiftRight, unit.Length(tc.p02*36e-3/2), "shift right", tc.eye)
		ref.Near(t, "P-FRUSTUM-5", film.ShiftUp, unit.Length(tc.p12*height/2), "shift up", tc.eye)
		ref.Near(t, "P-FRUSTUM-5", film.Height, unit.Length(height), "height", tc.eye)
		ref.Near(t, "P-FRUSTUM-5", film.FocalLength, unit.Length(0.1*36e-3/(tc.r-tc.l)), "focal length", tc.eye)
		again := trial.Must[offaxis.Frustum](t)(offaxis.FrustumFromFilmBack(film, 0.1, 100, f.Pose))
		for i, pair := range [][2]unit.Length{{again.Left, unit.Length(tc.l)}, {again.Right, unit.Length(tc.r)}, {again.Bottom, unit.Length(tc.b)}, {again.Top, unit.Length(tc.t)}} {
			ref.Near(t, "P-FRUSTUM-5", pair[0], pair[1], "side", i, tc.eye)
		}

		wide, _ := f.OverscanAngle(5 * deg)
		for i, side := range [][2]float64{{float64(wide.Left), tc.left - 5}, {float64(wide.Right), tc.right + 5}, {float64(wide.Bottom), tc.down - 5}, {float64(wide.Top), tc.up + 5}} {
			ref.Near(t, "P-FRUSTUM-6", math.Atan(side[0]/0.1)/float64(deg), side[1], "angle", i, tc.eye)
		}
		wide, _ = f.Overscan(0.1)
		w10, h10 := 0.1*(tc.r-tc.l), 0.1*(tc.t-tc.b)
		for i, side := range [][2]float64{{float64(wide.Left), tc.l - w10}, {float64(wide.Right), tc.r + w10}, {float64(wide.Bottom), tc.b - h10}, {float64(wide.Top), tc.t + h10}} {
			ref.Near(t, "P-FRUSTUM-6", side[0], side[1], "side", i, tc.eye)
		}

		tiles := []image.Rectangle{image.Rect(0, 0, 1000, 500), image.Rect(1000, 500, 4000, 1600), image.Rect(3999, 1599, 4000, 1600)}
		points := []r3.Vec{{X: -5, Y: 4}, {X: 1, Y: 2, Z: -3}, {X: 5, Y: 4, Z: 1}, {}}
		position := func(m offaxis.Matrix, p r3.Vec, size image.Point) (x, y float64) {
			n := apply(m, p)
			return (1 + n.X) / 2 * float64(size.X), (1 - n.Y) / 2 * float64(size.Y)
		}
		for _, tile := range tiles {
			part, ok := f.Tile(4000, 1600, tile)
			require.True(t, ok, "no tile %v", tile)
			m, _ := part.StageToClip(offaxis.DepthOneToZero)
			for _, p := range points {
				x, y := position(clip, p, image.Pt(4000, 1600))
				tx, ty := position(m, p, tile.Size())
				ref.Near(t, "P-FRUSTUM-7", tx+float64(tile.Min.X), x, "x", tile, p)
				ref.Near(t, "P-FRUSTUM-7", ty+float64(tile.Min.Y), y, "y", tile, p)
			}
		}
	}
}

func TestLookupTriangles(t *testing.T) {
	centre := r3.Vec{X: 10, Y: 2, Z: -30}
	for _, e := range []struct {
		spec     offaxis.SurroundSpec
		eye, ray r3.Vec // from the centre
		want     r3.Vec // of any length
	}{
		{offaxis.SurroundSpec{Shape: offaxis.AtInfinity}, r3.Vec{X: 100}, r3.Vec{X: 1, Y: 2, Z: 2}, r3.Vec{X: 1, Y: 2, Z: 2}},
		{offaxis.SurroundSpec{Shape: offaxis.Sphere, Radius: 5}, r3.Vec{X: 3}, r3.Vec{Z: -1}, r3.Vec{X: 3, Z: -4}},
		{offaxis.SurroundSpec{Shape: offaxis.Sphere, Radius: 3}, r3.Vec{X: -1, Y: 2}, r3.Vec{X: 1, Z: 1}, r3.Vec{X: 1, Y: 2, Z: 2}},
		{offaxis.SurroundSpec{Shape: offaxis.Cylinder, Radius: 5}, r3.Vec{X: 3, Y: 1}, r3.Vec{Z: -1}, r3.Vec{X: 3, Y: 1, Z: -4}},
		{offaxis.SurroundSpec{Shape: offaxis.Cylinder, Radius: 5}, r3.Vec{X: 3, Y: 100}, r3.Vec{Y: -25, Z: -1}, r3.Vec{X: 3, Z: -4}},
		{offaxis.SurroundSpec{Shape: offaxis.Cylinder, Radius: 5}, r3.Vec{X: 3, Y: 1}, r3.Vec{Y: -1}, r3.Vec{Y: -1}},
		{offaxis.SurroundSpec{Shape: offaxis.Dome, Radius: 5, Ground: 2}, r3.Vec{X: 1}, r3.Vec{Y: -1, Z: -1}, r3.Vec{X: 1, Y: -2, Z: -2}},
		{offaxis.SurroundSpec{Shape: offaxis.Dome, Radius: 5, Ground: 2}, r3.Vec{X: 3}, r3.Vec{Z: -1}, r3.Vec{X: 3, Z: -4}},
		{offaxis.SurroundSpec{Shape: offaxis.Dome, Radius: 5, Ground: 2}, r3.Vec{X: 3, Y: 1}, r3.Vec{Y: -1}, r3.Vec{X: 3, Y: -2}},
	} {
		e.spec.Centre = centre
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(e.spec))
		got, ok := s.Lookup(r3.Add(centre, e.eye), e.ray)
		assert.True(t, ok, "%+v: no answer", e)
		want := r3.Unit(e.want)
		ref.Near(t, "P-EYE-1", got.X, want.X, e.spec.Shape, e.eye, e.ray, "x")
		ref.Near(t, "P-EYE-1", got.Y, want.Y, e.spec.Shape, e.eye, e.ray, "y")
		ref.Near(t, "P-EYE-1", got.Z, want.Z, e.spec.Shape, e.eye, e.ray, "z")
	}
}

func TestLookupByWalking(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, spec := range []offaxis.SurroundSpec{
		{Shape: offaxis.Sphere, Radius: 40},
		{Shape: offaxis.Cylinder, Radius: 40, Centre: r3.Vec{Y: 3}},
		{Shape: offaxis.Dome, Radius: 40, Ground: 4, Centre: r3.Vec{X: -1, Y: 4}},
	} {
		s := trial.Must[offaxis.Surround](t)(offaxis.NewSurround(spec))
		inside := func(p r3.Vec) bool {
			p = r3.Sub(p, spec.Centre)
			switch spec.Shape {
			case offaxis.Cylinder:
				return p.X*p.X+p.Z*p.Z < 1600
			case offaxis.Dome:
				return r3.Norm2(p) < 1600 && p.Y > -4
			}
			return r3.Norm2(p) < 1600
		}
		for range 500 {
			eye := r3.Add(spec.Centre, r3.Scale(40*math.Cbrt(rng.Float64())*0.999, r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})))
			ray := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
			got, ok := s.Lookup(eye, ray)
			require.True(t, ok == inside(eye), "%v: eye %v inside: %v, answer: %v", spec.Shape, eye, inside(eye), ok)
			if !ok {
				continue
			}
			lo, hi := 0.0, 1e6
			for lo < (lo+hi)/2 && (lo+hi)/2 < hi {
				if mid := (lo + hi) / 2; inside(r3.Add(eye, r3.Scale(mid, ray))) {
					lo = mid
				} else {
					hi = mid
				}
			}
			want := r3.Unit(r3.Sub(r3.Add(eye, r3.Scale(lo, ray)), spec.Centre))
			ref.Near(t, "P-EYE-2", r3.Norm(r3.Sub(got, want)), 0, spec.Shape, eye, ray)

			cam := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 400, Height: 400})
			v := trial.Must[offaxis.EyeView](t)(s.EyeView(cam, eye))
			x, y, _ := cam.Project(ray)
			seen, ok := v.Unproject(x, y)
			require.True(t, ok, "nothing seen at %v, %v", x, y)
			ref.Near(t, "P-EYE-2", r3.Norm(r3.Sub(seen, want)), 0, spec.Shape, eye, ray, "view")
		}
		cube := trial.Must[panorama.Cube](t)(panorama.NewCube(100, projection.Pose{}))
		v := trial.Must[offaxis.EyeView](t)(s.EyeView(cube, r3.Vec{Y: 1}))
		xs, ys := v.Breaks()
		ref.Equal(t, "P-EYE-3", len(xs), 5)
		ref.Equal(t, "P-EYE-3", len(ys), 0)
		ref.Equal(t, "P-EYE-3", xs[4], 500.0)
		v = trial.Must[offaxis.EyeView](t)(s.EyeView(trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 4, Height: 4}), r3.Vec{Y: 1}))
		xs, _ = v.Breaks()
		ref.Equal(t, "P-EYE-3", len(xs), 0, "camera")
	}
}

const (
	deg             = projection.Degree
	mm  unit.Length = unit.Milli * unit.Metre
)

var wall = offaxis.Window{LowerLeft: r3.Vec{X: -5}, LowerRight: r3.Vec{X: 5}, UpperLeft: r3.Vec{X: -5, Y: 4}}
