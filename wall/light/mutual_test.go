package light_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// In a closed box the light of all reflections is a geometric series.
func TestMutualInAClosedBox(t *testing.T) {
	panels := room(r3.Vec{X: 4, Y: 3, Z: 6}, light.Panel{Peak: light.RGB{10, 20, 5}, Reflectance: 0.3})
	var at []r3.Vec
	patches := must[[]light.Patch](t)(scene(t, panels...).Mutual(context.Background(), 1.5, func(p, n r3.Vec) float64 {
		at = append(at, p) // one call after the other
		return 70
	}))
	require.Len(t, patches, 2*(3*2+4*2+3*4))
	require.Len(t, at, len(patches))
	for i, p := range patches {
		require.InDelta(t, 0, r3.Norm(r3.Sub(at[i], middle(p))), 1e-12)
		panels = append(panels, light.Panel{Rectangle: p.Rectangle, Peak: p.Reflected})
		ref.Near(t, "W-IMUT", p.RGB[0], math.Pi*10/0.7)
		ref.Near(t, "W-IMUT", p.RGB[1], math.Pi*20/0.7)
		ref.Near(t, "W-IMUT", p.SetLux, 70/0.7)
		ref.Near(t, "W-IMUT", p.Veil, 0.3/math.Pi*(math.Pi*35/0.7+100))
	}
	// A face anywhere gets all of it, too.
	whole := scene(t, panels...)
	for _, p := range []r3.Vec{{X: 1, Y: 1, Z: 1}, {X: 3.9, Y: 0.2, Z: 5}} {
		l := must[light.Light](t)(whole.Illuminance(p, r3.Vec{X: 0.3, Y: -1, Z: 0.6})).RGB
		for c, l0 := range []float64{10, 20, 5} {
			ref.Near(t, "W-IMUT", l[c], math.Pi*l0/0.7)
		}
	}
}

// The outlines of the panels may be blockers: a room in any attitude lights itself all
// the same.
func TestMutualBetweenBlockers(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(10, 3))
	for range 5 {
		turn := r3.NewRotation(6*rng.Float64(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		panels := room(r3.Vec{X: 4, Y: 3, Z: 6}, light.Panel{Peak: light.RGB{10, 20, 5}, Reflectance: 0.3})
		var blockers [][]r3.Vec
		for i := range panels {
			r := &panels[i].Rectangle
			r.LowerLeft, r.LowerRight, r.UpperLeft = turn.Rotate(r.LowerLeft), turn.Rotate(r.LowerRight), turn.Rotate(r.UpperLeft)
			blockers = append(blockers, outline(*r))
		}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: panels, Blockers: blockers}))
		for _, p := range must[[]light.Patch](t)(s.Mutual(context.Background(), 1, nil)) {
			ref.Near(t, "W-IMUT", p.RGB.Sum(), math.Pi*35/0.7)
		}
	}
}

// middle is that of a patch.
func middle(p light.Patch) r3.Vec {
	return r3.Scale(0.5, r3.Add(p.Rectangle.LowerRight, p.Rectangle.UpperLeft))
}

// A corner of two walls and a floor of unequal reflectance, against rays that
// bounce at random.
func TestMutualAgainstRays(t *testing.T) {
	panels := room(r3.Vec{X: 4, Y: 3, Z: 4}, light.Panel{})
	panels = []light.Panel{panels[0], panels[2], panels[4]} // back, left, floor
	panels[0].Peak, panels[0].Reflectance = light.RGB{0, 100, 0}, 0.3
	panels[1].Reflectance = 0.6
	panels[2].Reflectance = 0.8
	block := wall.Rectangle{LowerLeft: r3.Vec{X: 2, Y: 0, Z: 1.5}, LowerRight: r3.Vec{X: 4, Y: 0, Z: 1.5}, UpperLeft: r3.Vec{X: 2, Y: 1, Z: 1.5}}
	s := must[*light.Scene](t)(light.New(light.Spec{Panels: panels, Blockers: [][]r3.Vec{outline(block)}}))
	patches := must[[]light.Patch](t)(s.Mutual(context.Background(), 0.25, nil))

	rng := rand.New(rand.NewPCG(8, 3))
	hit := func(from, d r3.Vec) (int, r3.Vec) {
		best, at, which := math.Inf(1), r3.Vec{}, -1
		for i, r := range []wall.Rectangle{panels[0].Rectangle, panels[1].Rectangle, panels[2].Rectangle, block} {
			right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
			n := r3.Cross(right, up)
			l := r3.Dot(r3.Sub(r.LowerLeft, from), n) / r3.Dot(d, n)
			p := r3.Add(from, r3.Scale(l, d))
			u, v := r3.Dot(r3.Sub(p, r.LowerLeft), right)/r3.Norm2(right), r3.Dot(r3.Sub(p, r.LowerLeft), up)/r3.Norm2(up)
			if l > 1e-9 && l < best && u > 0 && u < 1 && v > 0 && v < 1 {
				best, at, which = l, p, i
			}
		}
		return which, at
	}
	normals := []r3.Vec{{Z: 1}, {X: 1}, {Y: 1}}
	for _, i := range []int{100, 250, len(patches) - 40} {
		p := patches[i]
		const paths = 20000
		var sum, square float64
		for range paths {
			lux := 0.0
			at, which, weight := middle(p), p.Panel, 1.0
			for weight > 1e-3 {
				// By the cosine: a point of the sphere that touches the surface.
				v := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
				next, there := hit(at, r3.Add(normals[which], v))
				if next < 0 || next == 3 {
					break
				}
				if next == 0 {
					lux += weight * 100 * math.Pi
				}
				at, which = there, next
				weight *= panels[next].Reflectance
			}
			sum, square = sum+lux, square+lux*lux
		}
		want := sum / paths
		require.Greater(t, want, 10.0)
		standard := math.Sqrt((square/paths - want*want) / paths)
		ref.Within(t, "W-IMUTRAY", math.Abs(p.RGB.Sum()-want)/standard, i)
	}
}

func TestVeilAndDrive(t *testing.T) {
	ratio, ok := light.Contrast(1000, 0.5, 4.5)
	require.True(t, ok)
	ref.Near(t, "W-IHAND", ratio, 200.9)
	ref.Near(t, "W-IHAND", light.RGB{1, 2, 4}.Sum(), 7)
	for _, tc := range [][3]float64{{0, 0, 1}, {1, 2, 1}, {1, 0, 0}, {1, -1, 2}, {1, 0, math.NaN()}, {math.Inf(1), 0, 1}} {
		_, ok := light.Contrast(tc[0], tc[1], tc[2])
		assert.False(t, ok, tc)
	}
	factor, ok := light.Drive(1000, 200, 400)
	require.True(t, ok)
	ref.Near(t, "W-IHAND", factor, 2)
	for _, tc := range [][3]float64{{200, 200, 400}, {200, -1, 400}, {200, 1, 0}, {math.NaN(), 0, 1}} {
		_, ok := light.Drive(tc[0], tc[1], tc[2])
		assert.False(t, ok, tc)
	}
}

func TestPrimaries(t *testing.T) {
	d65 := light.Chromaticity{X: 0.3127, Y: 0.3290}
	bt709 := light.Primaries{{X: 0.64, Y: 0.33}, {X: 0.30, Y: 0.60}, {X: 0.15, Y: 0.06}}
	bt2020 := light.Primaries{{X: 0.708, Y: 0.292}, {X: 0.170, Y: 0.797}, {X: 0.131, Y: 0.046}}
	for _, tc := range []struct {
		p    light.Primaries
		id   string
		want light.RGB
	}{
		{bt709, "W-IRGB", light.RGB{0.2126, 0.7152, 0.0722}},
		{bt709, "W-IRGBb", light.RGB{0.212639005872, 0.715168678768, 0.072192315361}},
		{bt2020, "W-IRGBb", light.RGB{0.262700212011, 0.677998071519, 0.059301716470}},
	} {
		got := must[light.RGB](t)(tc.p.Peaks(d65, 1500))
		for c := range got {
			ref.Near(t, tc.id, got[c]/1500, tc.want[c])
		}
		dim := must[light.RGB](t)(tc.p.Peaks(d65, 1e-3))
		ref.Near(t, tc.id, dim[2]/1e-3, tc.want[2])
		xy, ok := tc.p.Chromaticity(got)
		require.True(t, ok)
		ref.Near(t, "W-IXY", xy.X, d65.X)
		ref.Near(t, "W-IXY", xy.Y, d65.Y)
	}
	xy, ok := bt709.Chromaticity(light.RGB{0, 7, 0})
	require.True(t, ok)
	ref.Near(t, "W-IXY", xy.X, 0.30)
	_, err := bt709.Peaks(light.Chromaticity{X: 0.7, Y: 0.29}, 1500)
	assert.ErrorContains(t, err, "must be a mixture of the primaries")
	_, ok = bt709.Chromaticity(light.RGB{})
	assert.False(t, ok)
}
