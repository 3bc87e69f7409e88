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

// brownConrady is a distortion of a strength that calibrations of wide lenses reach.
func brownConrady(t testing.TB, rng *rand.Rand) projection.Distortion {
	t.Helper()
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	spec := projection.BrownConradySpec{K1: between(-0.35, 0.3), K2: between(-0.05, 0.12), K3: between(-0.02, 0.02)}
	if rng.IntN(2) == 0 {
		spec.P1, spec.P2 = between(-0.01, 0.01), between(-0.01, 0.01)
	}
	if rng.IntN(3) == 0 {
		spec.K4, spec.K5, spec.K6 = between(-0.1, 0.5), between(0, 0.2), between(0, 0.02)
		spec.S1, spec.S3 = between(-0.01, 0.01), between(-0.01, 0.01)
	}
	d, err := projection.NewBrownConrady(spec)
	require.NoError(t, err)
	return d
}

// calibrated is a random camera with a distortion, its principal point off centre,
// often with an image circle or a largest angle.
func calibrated(t testing.TB, rng *rand.Rand, k int) projection.Camera {
	t.Helper()
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	f := between(600, 1500)
	spec := projection.CameraSpec{Model: projection.Rectilinear, Distortion: brownConrady(t, rng),
		FocalX: f, FocalY: f * between(0.8, 1.25), Pitch: 5e-6,
		Width: 600 + rng.IntN(2500), Height: 400 + rng.IntN(1600), OffsetX: between(-300, 300), OffsetY: between(-300, 300),
		Pose: projection.Pose{Position: r3.Vec{X: 0.1 * float64(k)}, Heading: unit.Angle(between(-0.5, 0.5) + float64(k%2)), Elevation: unit.Angle(between(-1, 1)), Roll: unit.Angle(between(-3, 3))}}
	if rng.IntN(3) == 0 {
		spec.ImageCircle = unit.Length(5e-6 * f * between(0.5, 2))
	}
	if rng.IntN(4) == 0 {
		spec.MaxAngle = unit.Angle(between(20, 60)) * deg
	}
	return trial.Camera(t, spec)
}

// spread calls do for n directions that lie evenly over the sphere, on a spiral whose
// turns follow one another by the golden section. Each stands for 4π/n sr.
func spread(n int, do func(dir r3.Vec)) {
	for i := range n {
		y := (2*float64(i)+1)/float64(n) - 1
		c := math.Sqrt(1 - y*y)
		sin, cos := math.Sincos(2 * math.Pi * math.Phi * float64(i))
		do(r3.Vec{X: c * sin, Y: y, Z: -c * cos})
	}
}

// The bound of Coverage holds, at each tolerance, against the integral around the
// raster, where the whole raster is imaged.
func TestCoverageOfDistortedAgainstSolidAngle(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(51, 52))
	checked := 0
	for k := range 30 {
		c := calibrated(t, rng, k)
		w, h := c.Size()
		// A limit other than the raster's leaves SolidAngle nothing to go around.
		want, ok := c.SolidAngle(0, 0, float64(w), float64(h))
		if !ok || c.Spec().ImageCircle > 0 {
			continue
		}
		checked++
		a := array(t, c)
		tolerances := []float64{1e-2, 1e-4}
		if k < 15 {
			tolerances = append(tolerances, 1e-6)
		}
		for _, tolerance := range tolerances {
			got, err := a.Coverage(tolerance)
			require.NoError(t, err)
			assert.True(t, got.OK, "%+v: %g not met: %v", c.Spec(), tolerance, got)
			assert.InDelta(t, want, got.AtLeast[0], got.Error+1e-10, "%+v, tolerance %g: the bound and the integral's", c.Spec(), tolerance)
			if tolerance == 1e-6 {
				ref.Near(t, "P-W7", got.AtLeast[0], want, k)
			}
		}
	}
	assert.Greater(t, checked, 8)
}

// Coverage, Shared and Holes agree with counting the directions of a fine grid that
// Project puts on the raster.
func TestCoverageOfDistortedAgainstTheGrid(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(53, 54))
	for range 4 {
		cameras := []projection.Camera{calibrated(t, rng, 0), calibrated(t, rng, 1)}
		a := array(t, cameras...)
		var hits [3]float64
		const n = 500_000
		spread(n, func(d r3.Vec) {
			n := 0
			for _, c := range cameras {
				x, y, ok := c.Project(d)
				w, h := c.Size()
				if ok && x >= 0 && y >= 0 && x <= float64(w) && y <= float64(h) {
					n++
				}
			}
			for k := range n + 1 {
				hits[k]++
			}
		})
		c, ok := coverage(t, a, 1e-4)
		assert.True(t, ok, "%v", c)
		// Along limits some 6 rad long 1200 points, of 2.5e-5 sr each, fall to either
		// side as if at random: a little over three standard deviations of their sum.
		const sr, grain = 4 * math.Pi / n, 1.5e-3
		assert.InDelta(t, hits[1]*sr, c.AtLeast[0], c.Error+grain)
		assert.InDelta(t, hits[2]*sr, c.AtLeast[1], c.Error+grain)
		shared, err := a.Shared(0, 1, 1e-4)
		require.NoError(t, err)
		assert.True(t, shared.OK)
		assert.InDelta(t, hits[2]*sr, shared.Value, shared.Error+grain)
		holes, ok := holesOf(t, a, 1e-3)
		assert.True(t, ok)
		sum := 0.0
		for _, h := range holes {
			sum += h.SolidAngle
		}
		assert.InDelta(t, 4*math.Pi-c.AtLeast[0], sum, 1e-3+c.Error)
	}
}

// distortedShot is a camera with a distortion that is not the same to either side, and
// the source pixels per delivered pixel of a level frame at (x, y) px from its centre,
// y up, found by mapping two neighbouring points in each of 12 directions.
func distortedShot(t *testing.T) (c projection.Camera, source func(pose projection.Pose, focal, x, y float64) float64) {
	t.Helper()
	d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: -0.2, K2: 0.05, P1: 0.01, P2: -0.02})
	require.NoError(t, err)
	c = trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 2000, FocalY: 2100, Width: 3600, Height: 2600, OffsetX: 60,
		Pose: projection.Pose{Heading: 0.3, Elevation: 0.1, Roll: 0.2}})
	w, h := c.Size()
	return c, func(pose projection.Pose, focal, x, y float64) float64 {
		at := func(x, y float64) (float64, float64, bool) {
			return c.Project(pose.ToStage(r3.Vec{X: x, Y: y, Z: -focal}))
		}
		if u, v, ok := at(x, y); !ok || u < 0 || v < 0 || u > float64(w) || v > float64(h) {
			return 0
		}
		least := math.Inf(1)
		for k := range 12 {
			sin, cos := math.Sincos(math.Pi / 12 * float64(k))
			x0, y0, _ := at(x-cos/2, y-sin/2)
			x1, y1, _ := at(x+cos/2, y+sin/2)
			least = min(least, math.Hypot(x1-x0, y1-y0))
		}
		return least
	}
}

// No view narrower than PushInFrame's has a source pixel for each of its own, and this
// one has, by mapping the edges and the inside of the frame. PushInFrame compares the
// least density of any direction with what the frame asks for along its radius. Where
// the two directions differ, mapping finds more.
func TestPushInFrameOfDistortedByMapping(t *testing.T) {
	cam, source := distortedShot(t)
	a := array(t, cam)
	const w, h = 480.0, 270.0
	for _, at := range [][2]float64{{17, 6}, {5, 12}, {30, -5}} {
		pose := projection.Pose{Heading: unit.Angle(at[0]) * deg, Elevation: unit.Angle(at[1]) * deg}
		across, v, err := a.PushInFrame(trial.Toward(at[0], at[1]), w, h)
		require.NoError(t, err)
		require.True(t, v.OK, "%v: %+v", at, v)
		f := w / 2 / math.Tan(float64(across)/2)
		least := math.Inf(1)
		for i := -8.0; i <= 8; i++ {
			for j := -8.0; j <= 8; j++ {
				least = min(least, source(pose, f, w*i/16, h*j/16))
			}
		}
		assert.InDelta(t, 1.0009, least, 0.001, "%v: up to 0.2 %% more", at)
	}
}

// The directions that Allowed counts are those in which mapping finds a source pixel for
// each pixel of a frame of 2 × 2: such a frame is one direction.
func TestAllowedOfDistortedByCounting(t *testing.T) {
	t.Parallel()
	cam, source := distortedShot(t)
	const focal = 2150 // between the densities in the middle and in the corners
	shot := rig.Shot{Width: 2, Height: 2, Across: unit.Angle(2 * math.Atan(1.0/focal))}
	got, err := array(t, cam).Allowed(shot, 0.02)
	require.NoError(t, err)
	require.True(t, got.OK, "%+v", got)
	hits, seen := 0.0, 0.0
	const n = 40_000
	spread(n, func(d r3.Vec) {
		lon, lat := trial.LonLat(d)
		s := source(projection.Pose{Heading: unit.Angle(lon) * deg, Elevation: unit.Angle(lat) * deg}, focal, 0, 0)
		if s > 0 {
			seen++
		}
		if s >= 1 {
			hits++
		}
	})
	assert.True(t, hits > seen/4 && hits < seen*3/4, "%v of %v: the limit of sight is all there is", hits, seen)
	// Along a limit of 5 rad some 280 points of 3.1e-4 sr fall to either side as if at random.
	assert.InDelta(t, hits*4*math.Pi/n, got.Value, got.Error+0.01)
}
