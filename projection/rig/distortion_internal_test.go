package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/require"
)

// bare hides that a distortion bounds itself.
type bare struct{ d projection.BoundedDistortion }

func (b bare) Distort(x, y float64) (u, v float64, ok bool)   { return b.d.Distort(x, y) }
func (b bare) Undistort(u, v float64) (x, y float64, ok bool) { return b.d.Undistort(u, v) }
func (b bare) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return b.d.Jacobian(x, y)
}
func (b bare) MaxRadius() float64 { return b.d.(interface{ MaxRadius() float64 }).MaxRadius() }

// calibrated are specs of cameras with strong distortions: barrel to the fold,
// pincushion, moustache, a ratio of polynomials, elements out of centre, a prism; with
// the principal point off centre and beside the raster, an image circle, and one
// beyond 90°. The scale is 1000 px.
func calibrated(t testing.TB) []projection.CameraSpec {
	t.Helper()
	distortion := func(s projection.BrownConradySpec) projection.Distortion {
		d, err := projection.NewBrownConrady(s)
		require.NoError(t, err)
		return d
	}
	barrel := distortion(projection.BrownConradySpec{K1: -0.28, K2: 0.07, P1: 2e-3, P2: -1e-3})
	specs := []projection.CameraSpec{
		{Distortion: barrel, Width: 1600, Height: 1000, OffsetX: 40, OffsetY: -30},
		{Distortion: barrel, Width: 6000, Height: 1200, OffsetX: 700, OffsetY: 500},
		{Distortion: distortion(projection.BrownConradySpec{K1: -0.3}), Width: 4000, Height: 4000},
		{Distortion: distortion(projection.BrownConradySpec{K1: 0.25, K2: 0.1}), Width: 2600, Height: 1800, OffsetX: -200},
		{Distortion: distortion(projection.BrownConradySpec{K1: -0.2, K2: 0.15, K3: -0.02, P1: 0.01, P2: 0.02}), Width: 2600, Height: 2200},
		{Distortion: distortion(projection.BrownConradySpec{K1: 0.5, K2: 0.1, K4: 0.8, K5: 0.2, K6: 0.01, S1: 0.01, S2: -0.004, S3: -0.02, S4: 0.003}), Width: 3000, Height: 1500, OffsetX: 300, OffsetY: 1200},
		{Distortion: barrel, Width: 2600, Height: 1400, Pitch: 5e-6, ImageCircle: 11e-3, OffsetX: -120, OffsetY: 60},
		{Distortion: distortion(projection.BrownConradySpec{K1: -0.1, P1: 0.03, P2: -0.04, S1: 0.06, S3: -0.05}), Width: 3000, Height: 3000, Pitch: 5e-6, ImageCircle: 9e-3, OffsetX: -300},
		{Distortion: distortion(projection.BrownConradySpec{K1: 0.3, P1: -0.02, S1: -0.05, S3: 0.07}), Width: 3000, Height: 3000, Pitch: 5e-6, ImageCircle: 9e-3},
		{Distortion: barrel, Width: 2600, Height: 1400, MaxAngle: 40 * projection.Degree},
		{Model: projection.Equidistant, Distortion: distortion(projection.BrownConradySpec{K1: -0.01, P1: 4e-3, MaxRadius: 1.8}), Width: 5000, Height: 2600, OffsetY: 400},
	}
	for i := range specs {
		s := &specs[i]
		if s.Model == nil {
			s.Model = projection.Rectilinear
		}
		s.FocalX, s.FocalY = 1000, 1050
		s.Pose = projection.Pose{Heading: 0.3, Elevation: -0.4, Roll: 0.5}
	}
	return specs
}

func calibratedRegions(t testing.TB) (regions []region) {
	t.Helper()
	for i, s := range calibrated(t) {
		if i%3 == 0 {
			s.Distortion = bare{s.Distortion.(projection.BoundedDistortion)}
		}
		c, err := projection.NewCamera(s)
		require.NoError(t, err)
		regions = append(regions, newRegion(c))
	}
	return regions
}

// Nothing on the raster comes from beyond the reach, which is hardly more than needed:
// the image circle, which also limits, does not count for it.
func TestReachOfDistorted(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for i, g := range calibratedRegions(t) {
		far := 0.0
		for k := range 20_000 {
			x, y := rng.Float64()*float64(g.c.width), rng.Float64()*float64(g.c.height)
			switch k % 3 {
			case 0:
				x = float64(k%2) * float64(g.c.width)
			case 1:
				y = float64(k%2) * float64(g.c.height)
			}
			if d, ok := g.c.Unproject(x, y); ok {
				far = max(far, sphere.Angle(g.c.ahead, d))
			}
		}
		require.LessOrEqual(t, far, g.reach+1e-12, "camera %d", i)
		if g.limits&imageCircle == 0 {
			require.Less(t, g.reach, max(far*1.1, far+0.02), "camera %d", i)
		}
		require.True(t, g.bounded(), "camera %d", i)
		require.False(t, math.IsInf(g.bends[len(g.bends)-1], 1), "camera %d", i)
	}
}

// The gradients that distort gives are those of differences, in both coordinates, for a
// prism whose Jacobian is not symmetric.
func TestGradientsThroughDistortion(t *testing.T) {
	c := calibratedRegions(t)[5].c
	const h = 1e-6
	for _, p := range [][2]float64{{0.3, 0.2}, {-0.5, 0.4}, {0.1, -0.6}} {
		got, ok := c.distort([2]place{{p[0], 1, 0.5}, {p[1], -0.25, 2}}, true)
		require.True(t, ok)
		along := func(dx, dy float64) (du, dv float64) {
			u0, v0, _ := c.distortion.Distort(p[0]-h*dx, p[1]-h*dy)
			u1, v1, _ := c.distortion.Distort(p[0]+h*dx, p[1]+h*dy)
			return (u1 - u0) / (2 * h), (v1 - v0) / (2 * h)
		}
		ur, vr := along(1, -0.25)
		ut, vt := along(0.5, 2)
		for i, want := range [2][2]float64{{ur, ut}, {vr, vt}} {
			require.InDelta(t, want[0], got[i].dr, 1e-9, "%v: differences of 1e-6", p)
			require.InDelta(t, want[1], got[i].dt, 1e-9, "%v: differences of 1e-6", p)
		}
	}
}

// What the package comment says of the triangles that a distortion costs.
func TestTrianglesOfDistorted(t *testing.T) {
	count := func(s projection.CameraSpec) float64 {
		c, err := projection.NewCamera(s)
		require.NoError(t, err)
		r, err := New(Spec{Cameras: []projection.Camera{c}})
		require.NoError(t, err)
		return float64(r.walk(1e-5, func(e float64) *walker {
			return &walker{regions: r.regions, finest: e, coarsest: math.Inf(1), most: 1 << 22}
		}).nodes)
	}
	specs := calibrated(t)
	for i, want := range map[int][2]float64{0: {60e3, 2.6}, 3: {60e3, 0.7}, 6: {106e3, 4.4}} {
		s := specs[i]
		triangles := count(s)
		require.InEpsilon(t, want[0], triangles, 0.1, "camera %d", i)
		s.Model, s.Distortion = projection.Equidistant, nil
		require.InEpsilon(t, want[1], triangles/count(s), 0.1, "camera %d, against a fisheye", i)
	}
}

// bent moves each coordinate by the squares of both.
type bent struct{ uxx, uyy, vxx, vyy float64 }

func (b bent) Distort(x, y float64) (u, v float64, ok bool) {
	return x + b.uxx*x*x + b.uyy*y*y, y + b.vxx*x*x + b.vyy*y*y, true
}
func (b bent) Undistort(u, v float64) (x, y float64, ok bool) { return 0, 0, false }
func (b bent) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return 1 + 2*b.uxx*x, 2 * b.uyy * y, 2 * b.vxx * x, 1 + 2*b.vyy*y, true
}

// Whichever of the four derivatives changes, samples find it: the second derivative is
// twice the coefficient, and the bound a tenth more.
func TestSampledBoundsOfADistortion(t *testing.T) {
	for _, d := range []bent{{uxx: 0.1}, {uyy: -0.1}, {vxx: -0.1}, {vyy: 0.1}} {
		slope, bend := sampledDistortion{d}.Bounds(0.2, 0.5)
		require.InDelta(t, 0.22, bend, 1e-9, "%+v: differences", d)
		most := 1 + 2*max(d.uxx, d.vyy)*0.5 // of the greatest singular value; the root of the sum of the squares is up to √2 of it
		require.True(t, slope >= most && slope <= 1.1*math.Sqrt2*(most+0.1), "%+v: %v", d, slope)
	}
}
