package warp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// pierced is a flat source with a round hole, or, where reversed, one that
// sees nothing but what is in the circle.
type pierced struct {
	*plane
	cx, cy, r float64
	reversed  bool
}

func (s pierced) Project(d vec) (x, y float64, ok bool) {
	x, y, ok = s.plane.Project(d)
	return x, y, ok && math.Hypot(x-s.cx, y-s.cy) <= s.r == s.reversed
}

// measured is one that tells its margin.
type measured struct{ pierced }

func (s measured) Margin(x, y float64) float64 {
	d := math.Hypot(x-s.cx, y-s.cy) - s.r
	if s.reversed {
		return -d
	}
	return min(d, x, y, float64(s.w)-x, float64(s.h)-y)
}

// TestMarginsFindEveryHole, of a pixel or none at all.
func TestMarginsFindEveryHole(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 150 {
		s := measured{pierced{flat(200, 150), 200 * rng.Float64(), 150 * rng.Float64(), 4 * rng.Float64(), false}}
		target := turned(150, 100, 0.7+rng.Float64(), rng.Float64(), 100, 75)
		worst, _ := worstError(t, newMap(t, target, s), target, s, false)
		assert.LessOrEqual(t, worst, 1e-4, "%+v", s)
	}
}

// TestOpeningsOfElevenPixelsAreFound without a margin: points stand 8 px
// apart, and a circle of 11 px reaches one.
func TestOpeningsOfElevenPixelsAreFound(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(3, 4))
	for k := range 200 {
		s := pierced{flat(160, 130), 12 + 136*rng.Float64(), 12 + 106*rng.Float64(), 5.6, k%2 == 0}
		target := flat(160, 130)
		worst, _ := worstError(t, newMap(t, target, s), target, s, false)
		assert.LessOrEqual(t, worst, 1e-4, "%+v", s)
	}
}

// TestCubeAsSource: the faces of a cube stand side by side in its strip, and
// no cell may be interpolated from one into another.
func TestCubeAsSource(t *testing.T) {
	cube, err := panorama.NewCube(512, projection.Pose{})
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(5, 6))
	for k := range 12 {
		heading, elevation := unit.Angle(2*math.Pi*rng.Float64()), unit.Angle(3*rng.Float64()-1.5)
		var target warp.Target = newView(130, 70, 70*degree, heading, elevation, unit.Angle(rng.Float64()))
		if k%2 == 0 {
			target = cameraAsTarget{newFisheye(150, 240*degree, heading, elevation)}
		}
		m := newMap(t, target, cube)
		worst, _ := worstError(t, m, target, cube, false)
		checkBound(t, worst, m.Report().LargestError, 1.0/64)
	}
	// Within one face all is interpolated but for what is near its edges.
	target := newView(300, 300, 60*degree, 0, 0, 0)
	r := newMap(t, target, cube).Report()
	assert.Zero(t, r.StoredFraction)
	assert.Equal(t, 1.0, r.SeenFraction)
}

// island is a source in two pieces with a joint at 200: a disc of 12 px in the
// view, and what is around it, whose position nears the joint as it nears the
// disc.
type island struct {
	*plane
	cx, cy float64
	down   bool // the joint is across the rows
}

func (s island) Project(d vec) (x, y float64, ok bool) {
	x, y = 200-math.Hypot(d.X-s.cx, d.Y-s.cy)+12, d.Y
	if x > 200 {
		x += 100
	}
	if s.down {
		x, y = y, x
	}
	return x, y, true
}

func (s island) Breaks() (xs, ys []float64) {
	if s.down {
		return nil, []float64{200}
	}
	return []float64{200}, nil
}

// TestJointsAreFound where they bulge into a cell between its nodes.
func TestJointsAreFound(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 8))
	for k := range 100 {
		s := island{flat(400, 400), 20 + 90*rng.Float64(), 20 + 90*rng.Float64(), k%2 == 0}
		target := flat(128, 128)
		m, err := warp.NewMap(t.Context(), target, s, warp.MapOptions{Tolerance: 20})
		require.NoError(t, err)
		worst, _ := worstError(t, m, target, s, false)
		assert.LessOrEqual(t, worst, 20.0, "(%v, %v)", s.cx, s.cy)
	}
}

func TestMapsAtAnEdgeAreSmall(t *testing.T) {
	near.NumbersOnly(t)
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
	}{
		"view past a circle's edge": {newView(12288, 6480, 100*degree, 50*degree, 20*degree, 10*degree), newFisheye(8000, 180*degree, 0, 0)},
		"circle within the raster":  {cameraOn{newFisheye(6480, 180*degree, 0, 0), 12288}, newFisheye(8000, 180*degree, 0, 0)},
	} {
		r := newMap(t, tc.target, tc.source).Report()
		assert.LessOrEqual(t, r.Bytes, 32<<20, name)
		assert.LessOrEqual(t, r.LargestError, 1.0/64, name)
		assert.LessOrEqual(t, r.SeenFraction, 0.9, name)
	}
}

// cameraOn is a fisheye as a target on a raster wider than its circle.
type cameraOn struct {
	fisheye
	width int
}

func (c cameraOn) Size() (int, int) { return c.width, c.h }
func (c cameraOn) Unproject(x, y float64) (vec, bool) {
	return cameraAsTarget{c.fisheye}.Unproject(x-float64(c.width-c.w)/2, y)
}
