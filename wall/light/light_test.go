package light_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

var (
	facing = r3.Vec{Z: -1}
	grey   = light.RGB{0.25, 0.5, 0.25} // 1 cd/m²
)

// upright is a rectangle in the plane z = 0 that faces +Z.
func upright(x0, y0, x1, y1 float64) wall.Rectangle {
	return wall.Rectangle{LowerLeft: r3.Vec{X: x0, Y: y0}, LowerRight: r3.Vec{X: x1, Y: y0}, UpperLeft: r3.Vec{X: x0, Y: y1}}
}

func outline(r wall.Rectangle) []r3.Vec {
	return []r3.Vec{r.LowerLeft, r.LowerRight, r3.Add(r.UpperLeft, r3.Sub(r.LowerRight, r.LowerLeft)), r.UpperLeft}
}

func scene(t testing.TB, panels ...light.Panel) *light.Scene {
	return must[*light.Scene](t)(light.New(light.Spec{Panels: panels}))
}

// factor is the view factor of the panels of a scene of 1 cd/m².
func factor(t testing.TB, s *light.Scene, point, normal r3.Vec) float64 {
	return must[light.Light](t)(s.Illuminance(point, normal)).RGB.Sum() / math.Pi
}

// Receivers 10 m from a square of 10 m.
func TestViewFactors(t *testing.T) {
	square := upright(0, 0, 10, 10)
	s := scene(t, light.Panel{Rectangle: square, Peak: grey})
	up, down := r3.Vec{Y: 1}, r3.Vec{Y: -1}
	for _, tc := range []struct {
		id     string
		x, y   float64
		normal r3.Vec
		want   float64
	}{
		{"W-IV1", 0, 0, facing, 0.1385316060}, {"W-IV1", 2, 0, facing, 0.1638694545}, {"W-IV1", 5, 5, facing, 0.2394564705}, {"W-IV1", 2, 2, facing, 0.1954523349},
		{"W-IV1b", 0, 0, facing, 0.138531605995}, {"W-IV1b", 2, 0, facing, 0.163869454544}, {"W-IV1b", 5, 5, facing, 0.239456470461}, {"W-IV1b", 2, 2, facing, 0.195452334916},
		{"W-IV7", 0, 0, up, 0.05573419700}, {"W-IV7", 2, 0, up, 0.06505816388}, {"W-IV7", 2, 10, down, 0.06505816388}, {"W-IV7", 5, -10, up, 0.04517433814},
		{"W-IV7b", 0, 0, up, 0.0557341970026}, {"W-IV7b", 2, 0, up, 0.0650581638821}, {"W-IV7b", 2, 10, down, 0.0650581638821}, {"W-IV7b", 5, -10, up, 0.0451743381410},
		{"W-IV10", 0, 2, up, 0.0426071323179},
	} {
		point := r3.Vec{X: tc.x, Y: tc.y, Z: 10}
		ref.Near(t, tc.id, factor(t, s, point, tc.normal), tc.want, tc.x, tc.y, "scene")
		ref.Near(t, tc.id, must[float64](t)(light.ViewFactor(point, r3.Scale(1e-200, tc.normal), outline(square)...)), tc.want, tc.x, tc.y, "polygon")
	}
	// From behind there is no light.
	assert.Zero(t, factor(t, s, r3.Vec{X: 5, Y: 5, Z: -10}, r3.Vec{Z: 1}))
	assert.Zero(t, must[float64](t)(light.ViewFactor(r3.Vec{X: 5, Y: 5, Z: -10}, r3.Vec{Z: 1}, outline(square)...)))

	assert.Zero(t, must[float64](t)(light.ViewFactor(r3.Vec{X: 5, Y: 5}, facing, outline(square)...)), "in its plane")

	// Whole walls seen from their axis.
	for _, tc := range []struct{ w, h, d, want float64 }{
		{1, 1, 1, 0.239456470461}, {10, 5, 3, 0.591060204867}, {6, 3, 2, 0.543460641021}, {12, 4, 4, 0.408163799237},
	} {
		s := scene(t, light.Panel{Rectangle: upright(-tc.w/2, -tc.h/2, tc.w/2, tc.h/2), Peak: grey})
		ref.Near(t, "W-IV15", factor(t, s, r3.Vec{Z: tc.d}, facing), tc.want, tc)
	}

	// Limits: an octant, an infinite wall, and one from afar. A normal has any length.
	upTo := func(x0, y0, x1, y1, z float64) float64 {
		return factor(t, scene(t, light.Panel{Rectangle: upright(x0, y0, x1, y1), Peak: grey}), r3.Vec{Z: z}, r3.Scale(math.MaxFloat64, facing))
	}
	ref.Near(t, "W-IV17", 4*upTo(0, 0, 100, 100, 1e-5), 1, "octant")
	ref.Near(t, "W-IV17", upTo(-50, -50, 50, 50, 1e-9), 1, "infinite wall")
	ref.Near(t, "W-IV17", 1e6*math.Pi*upTo(-0.5, -0.5, 0.5, 0.5, 1000), 1, "far field L A/d²")

	// A disc as a polygon of many corners, and a concave polygon as a square less a
	// quarter of it, cut by the horizon too.
	for _, tc := range []struct{ r, h, want float64 }{{1, 1, 0.5}, {2, 1, 0.8}} {
		var disc []r3.Vec
		for i := range 1000 {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / 1000)
			disc = append(disc, r3.Vec{X: tc.r * cos, Y: tc.r * sin})
		}
		ref.Near(t, "W-IV14", must[float64](t)(light.ViewFactor(r3.Vec{Z: tc.h}, facing, disc...)), tc.want)
	}
	ell := []r3.Vec{{}, {X: 10}, {X: 10, Y: 10}, {X: 5, Y: 10}, {X: 5, Y: 5}, {Y: 5}}
	for _, n := range []r3.Vec{facing, {X: 1, Z: -1}, {Y: 1, X: -0.3}, {X: -1, Y: 0.2}} {
		p := r3.Vec{X: 4, Y: 6, Z: 3}
		rest := must[float64](t)(light.ViewFactor(p, n, outline(upright(0, 5, 5, 10))...))
		assert.InDelta(t, factor(t, s, p, n)-rest, must[float64](t)(light.ViewFactor(p, n, ell...)), 1e-14, "a few roundings")
	}
}

// What a floor gets of a wall that stands along its edge of length 1: the floor is
// c deep and the wall a high.
func TestWallAndFloor(t *testing.T) {
	for _, tc := range []struct{ c, a, want float64 }{
		{1, 1, 0.20004}, {1, 2, 0.23285}, {1, 4, 0.24522}, {1, 6, 0.24783}, {1, 10, 0.24921}, {1, 20, 0.24980},
		{2, 2, 0.29860}, {2, 4, 0.33462}, {2, 6, 0.34386}, {0.6, 0.2, 0.07377}, {0.2, 0.6, 0.07377},
	} {
		s := scene(t, light.Panel{Rectangle: upright(0, 0, 1, tc.a), Peak: grey})
		across := func(z float64) float64 {
			return quad.Fixed(func(x float64) float64 { return factor(t, s, r3.Vec{X: x, Z: z}, r3.Vec{Y: 1}) }, 0, 1, 40, nil, 0)
		}
		got := quad.Fixed(func(u float64) float64 { return 2 * u * across(u*u) }, 0, math.Sqrt(tc.c), 40, nil, 0)
		ref.Near(t, "W-IV19", got, tc.want, tc.c, tc.a)
	}
}

// room is the inside of a box of six panels with one corner in the origin.
func room(size r3.Vec, like light.Panel) []light.Panel {
	x, y, z := r3.Vec{X: size.X}, r3.Vec{Y: size.Y}, r3.Vec{Z: size.Z}
	face := func(corner, right, up r3.Vec) light.Panel {
		p := like
		p.Rectangle = wall.Rectangle{LowerLeft: corner, LowerRight: r3.Add(corner, right), UpperLeft: r3.Add(corner, up)}
		return p
	}
	neg := func(v r3.Vec) r3.Vec { return r3.Scale(-1, v) }
	return []light.Panel{
		face(r3.Vec{}, x, y), face(r3.Add(x, z), neg(x), y), // back, front
		face(z, neg(z), y), face(x, z, y), // left, right
		face(z, x, neg(z)), face(y, x, z), // floor, ceiling
	}
}

func TestClosedBox(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 44))
	s := scene(t, room(r3.Vec{X: 4, Y: 3, Z: 6}, light.Panel{Peak: light.RGB{100, 200, 50}})...)
	for range 300 {
		p := r3.Vec{X: 0.1 + 3.8*rng.Float64(), Y: 0.1 + 2.8*rng.Float64(), Z: 0.1 + 5.8*rng.Float64()}
		n := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		got := must[light.Light](t)(s.Illuminance(p, n))
		for c, l := range []float64{100, 200, 50} {
			ref.Near(t, "W-IBOX", got.RGB[c], math.Pi*l)
		}
		require.Zero(t, got.Error)
		q := must[light.Cube](t)(s.Cube(p))
		require.InDelta(t, 0, q.VectorToScalar, 1e-10, "even light has no direction")
	}
	lux := must[[]light.Light](t)(s.Map(context.Background(), wall.Rectangle{
		LowerLeft: r3.Vec{X: 1, Z: 5}, LowerRight: r3.Vec{X: 3, Z: 5}, UpperLeft: r3.Vec{X: 1, Z: 2},
	}, 3, 2))
	for _, l := range lux {
		ref.Near(t, "W-IBOX", l.RGB.Sum(), math.Pi*350)
	}
}

// The vectors are integrals over the area of the wall by SciPy 1.10.1 (dblquad, to
// 1e-13). The code adds up edges instead, so a value from the sum over edges would be
// no check of it. Nine digits of that sum, rounded on the way, are off by up to 7e-9
// (0.254871207, 0.512455970, -1.092365970), and are not used.
func TestLightVector(t *testing.T) {
	s := scene(t, light.Panel{Rectangle: wall.Rectangle{LowerLeft: r3.Vec{X: -6, Z: -4}, LowerRight: r3.Vec{X: 6, Z: -4}, UpperLeft: r3.Vec{X: -6, Y: 5, Z: -4}}, Peak: grey})
	for _, tc := range []struct {
		point, want r3.Vec
		length      float64
	}{
		{r3.Vec{Y: 1.5}, r3.Vec{Y: 0.254871213144, Z: -1.437913220211}, 1.460326595028},
		{r3.Vec{}, r3.Vec{Y: 0.512455967670, Z: -1.092365972355}, 1.206596260710},
	} {
		q := must[light.Cube](t)(s.Cube(tc.point))
		ref.Near(t, "W-IVEC", q.Vector.X, 0)
		ref.Near(t, "W-IVEC", q.Vector.Y, tc.want.Y)
		ref.Near(t, "W-IVEC", q.Vector.Z, tc.want.Z)
		ref.Near(t, "W-IVEC", r3.Norm(q.Vector), tc.length)
		// A wall wholly in front of both: nothing behind.
		assert.Zero(t, q.Faces[4].RGB.Sum(), "+Z looks away")
	}

	// A far small panel is a beam, along a direction that no axis has: all on one
	// side, and 4 times the mean over a sphere.
	beam := scene(t, light.Panel{Rectangle: upright(-0.01, -0.01, 0.01, 0.01), Peak: grey})
	q := must[light.Cube](t)(beam.Cube(r3.Vec{X: 30, Y: -40, Z: 50}))
	ref.Near(t, "W-ICUBE", q.VectorToScalar, 4)
	ref.Near(t, "W-ICUBE", q.Vector.X/q.Vector.Z, -30./-50)
	ref.Near(t, "W-ICUBE", q.Vector.Y/q.Vector.Z, 40./-50)
	ref.Near(t, "W-ICUBE", q.Key.RGB.Sum()*5000*math.Sqrt2/(0.02*0.02), 1) // A cos 45°/r²
	_, ok := q.KeyToFill()
	assert.False(t, ok, "no light on the far side")

	// Two parallel walls of one shape and 8 to 1 in luminance, seen from between.
	two := scene(t, light.Panel{Rectangle: upright(-2, -2, 2, 2), Peak: light.RGB{0, 800, 0}},
		light.Panel{Rectangle: wall.Rectangle{LowerLeft: r3.Vec{X: 2, Y: -2, Z: 4}, LowerRight: r3.Vec{X: -2, Y: -2, Z: 4}, UpperLeft: r3.Vec{X: 2, Y: 2, Z: 4}}, Peak: light.RGB{100, 0, 0}})
	q = must[light.Cube](t)(two.Cube(r3.Vec{Z: 2}))
	stops, ok := q.KeyToFill()
	require.True(t, ok)
	ref.Near(t, "W-IKEY", stops, 3)
	assert.Greater(t, q.Key.RGB[1], 0.0)
	assert.Zero(t, q.Key.RGB[0])
	assert.Zero(t, q.Fill.RGB[1])
}

// Walls in any attitude around a point, whose luminance is integrated over the sphere.
func TestCubeAgainstTheSphere(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 3))
	for range 40 {
		var panels []light.Panel
		var vector r3.Vec
		var scalar float64
		for range 2 + rng.IntN(3) {
			r := somewhere(rng)
			middle := r3.Scale(0.5, r3.Add(r.LowerRight, r.UpperLeft))
			right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
			n := r3.Unit(r3.Cross(right, up))
			// So far behind the point that it shines on it, somewhat from the side.
			move := r3.Sub(r3.Add(r3.Scale(-1.5-3*rng.Float64(), n), r3.Scale(rng.NormFloat64(), r3.Unit(right))), middle)
			r.LowerLeft, r.LowerRight, r.UpperLeft = r3.Add(r.LowerLeft, move), r3.Add(r.LowerRight, move), r3.Add(r.UpperLeft, move)
			l := 100 * rng.Float64()
			panels = append(panels, light.Panel{Rectangle: r, Peak: light.RGB{l / 2, l / 2, 0}})
			const steps = 40
			for i := range steps * steps {
				at := r3.Add(r.LowerLeft, r3.Add(r3.Scale((float64(i%steps)+0.5)/steps, right), r3.Scale((float64(i/steps)+0.5)/steps, up)))
				d := r3.Norm(at)
				flux := l * r3.Norm(right) * r3.Norm(up) / (steps * steps) * -r3.Dot(at, n) / (d * d * d)
				vector = r3.Add(vector, r3.Scale(flux/d, at))
				scalar += flux / 4
			}
		}
		q := must[light.Cube](t)(scene(t, panels...).Cube(r3.Vec{}))
		require.InDelta(t, 0, r3.Norm(r3.Sub(q.Vector, vector)), 1e-3*4*scalar, "mid-point rule")
		require.InDelta(t, r3.Norm(vector)/scalar, q.VectorToScalar, 0.5)
	}
}

// picture is one with structure at all scales.
func picture(rng *rand.Rand, w, h int) *light.Picture {
	p := &light.Picture{Width: w, Height: h, Pixels: make([]float32, 3*w*h)}
	a, b, c := 6*rng.Float64(), 6*rng.Float64(), rng.Float64()
	for i := range p.Pixels {
		x, y := float64(i/3%w)/float64(w), float64(i/3/w)/float64(h)
		p.Pixels[i] = float32(0.5 + 0.4*math.Sin(a*x+b*y+float64(i%3)) + c*(rng.Float64()-0.5))
	}
	return p
}

// somewhere is a panel of some size and orientation.
func somewhere(rng *rand.Rand) wall.Rectangle {
	turn := r3.NewRotation(6*rng.Float64(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	at := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
	w, h := 1+4*rng.Float64(), 1+3*rng.Float64()
	place := func(x, y float64) r3.Vec { return r3.Add(at, turn.Rotate(r3.Vec{X: x, Y: y})) }
	return wall.Rectangle{LowerLeft: place(-w/2, -h/2), LowerRight: place(w/2, -h/2), UpperLeft: place(-w/2, h/2)}
}

// brute sums over every pixel of a panel, cut into steps × steps pieces.
func brute(p light.Panel, point, normal r3.Vec, steps int, weight func(at r3.Vec, right, up, out float64) float64) (lux light.RGB) {
	r := p.Rectangle
	right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
	back := r3.Unit(r3.Cross(right, up))
	w, h := p.Picture.Width*steps, p.Picture.Height*steps
	area := r3.Norm(right) * r3.Norm(up) / float64(w*h)
	n := r3.Unit(normal)
	for j := range h {
		for i := range w {
			at := r3.Add(r.UpperLeft, r3.Add(r3.Scale((float64(i)+0.5)/float64(w), right), r3.Scale(-(float64(j)+0.5)/float64(h), up)))
			way := r3.Sub(at, point)
			d2 := r3.Dot(way, way)
			k := area * max(0, -r3.Dot(way, back)) * max(0, r3.Dot(way, n)) / (d2 * d2)
			if k == 0 {
				continue
			}
			if weight != nil {
				out := r3.Scale(-1, way)
				k *= weight(at, r3.Dot(out, r3.Unit(right)), r3.Dot(out, r3.Unit(up)), r3.Dot(out, back))
			}
			for c := range lux {
				v := float64(p.Picture.Pixels[3*(j/steps*p.Picture.Width+i/steps)+c])
				lux[c] += k * p.Peak[c] * max(0, min(1, v))
			}
		}
	}
	return lux
}

// viewpoint is a point in front of a panel, 0.7 m away from its plane or more, and
// some normal.
func viewpoint(rng *rand.Rand, r wall.Rectangle) (point, normal r3.Vec) {
	right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
	point = r3.Add(r.LowerLeft, r3.Add(r3.Scale(2*rng.Float64()-0.5, right), r3.Scale(2*rng.Float64()-0.5, up)))
	point = r3.Add(point, r3.Scale(0.7+3*rng.Float64(), r3.Unit(r3.Cross(right, up))))
	return point, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}

// Pictures on panels in any attitude against a plain sum over their pixels: the
// error stays below the bound, and the bound below the tolerance.
func TestPictureAgainstPixels(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	var worst float64
	for i := range 60 {
		p := light.Panel{Rectangle: somewhere(rng), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 40+rng.IntN(30), 30+rng.IntN(30))}
		tolerance := []float64{0.2, 0.01, 1e-3}[i%3]
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Tolerance: tolerance}))
		point, normal := viewpoint(rng, p.Rectangle)
		want := brute(p, point, normal, 3, nil)
		got := must[light.Light](t)(s.Illuminance(point, normal))
		if want.Sum() < 1 {
			continue
		}
		require.LessOrEqual(t, got.Error, tolerance*got.RGB.Sum()*1.0001)
		// Plain sums err too: their pieces are 1 cm to 4 cm wide.
		for c := range want {
			require.InDelta(t, want[c], got.RGB[c], got.Error+1e-3*want.Sum(), "%v", got)
		}
		off := math.Abs(want.Sum()-got.RGB.Sum()) / want.Sum()
		worst = max(worst, off/tolerance)
		ref.Within(t, "W-IPIC", max(0, off-got.Error/want.Sum()))
	}
	t.Logf("worst error over tolerance %.3g", worst)

	// A face close to few large pixels: the bound holds also where it is coarse.
	for range 40 {
		p := light.Panel{Rectangle: upright(0, 0, 4, 3), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 8, 6)}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Tolerance: 0.3}))
		point := r3.Vec{X: 4 * rng.Float64(), Y: 3 * rng.Float64(), Z: 0.15 + 0.3*rng.Float64()}
		normal := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: -1}
		want := brute(p, point, normal, 20, nil)
		got := must[light.Light](t)(s.Illuminance(point, normal))
		require.InDelta(t, want.Sum(), got.RGB.Sum(), got.Error+1e-3*want.Sum())
	}
}

// Blocks of 2 × 2 pixels, of which one is lit: where it lies in the block counts at
// the left and the top edge of the wall. Values clip as a wall clips them.
func TestLargePicture(t *testing.T) {
	p := light.Panel{Rectangle: upright(0, 0, 6, 3), Peak: light.RGB{100, 300, 50}, Picture: &light.Picture{Width: 1024, Height: 512, Pixels: make([]float32, 3*1024*512)}}
	for i := range p.Picture.Pixels {
		p.Picture.Pixels[i] = -3
		if i/3%2 == 1 && i/3/1024%2 == 0 {
			p.Picture.Pixels[i] = 5
		}
	}
	s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Tolerance: 3e-4}))
	for _, point := range []r3.Vec{{X: 0, Y: 1.5, Z: 0.5}, {X: 3, Y: 3, Z: 0.5}} {
		got, want := must[light.Light](t)(s.Illuminance(point, facing)), brute(p, point, facing, 1, nil)
		for c := range want {
			assert.InEpsilon(t, want[c], got.RGB[c], 1e-3, "the tolerance, and that of the plain sum")
		}
	}
}

// A large picture is read into little memory: some 2^17 blocks.
func TestMemoryOfALargePicture(t *testing.T) {
	pic := &light.Picture{Width: 2000, Height: 600, Pixels: make([]float32, 3*2000*600)}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	scene(t, light.Panel{Rectangle: upright(0, 0, 6, 3), Peak: grey, Picture: pic})
	runtime.ReadMemStats(&after)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(40<<20), "2^18 nodes of 64 bytes, and half as many again")
}

func TestPartOfAPicture(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 3))
	whole := light.Panel{Rectangle: upright(0, 0, 4, 3), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 40, 30)}
	left, right := whole, whole
	left.Rectangle, left.X, left.Y, left.Width, left.Height = upright(0, 0, 1, 3), 0, 0, 10, 30
	right.Rectangle, right.X, right.Y, right.Width, right.Height = upright(1, 0, 4, 3), 10, 0, 30, 30
	point, normal := r3.Vec{X: 1, Y: 1, Z: 2}, r3.Vec{X: 0.3, Y: 0.2, Z: -1}
	fine := func(panels ...light.Panel) light.RGB {
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: panels, Tolerance: 1e-5}))
		return must[light.Light](t)(s.Illuminance(point, normal)).RGB
	}
	one, two := fine(whole), fine(left, right)
	for c := range one {
		assert.InEpsilon(t, one[c], two[c], 3e-5, "two tolerances")
	}
}

// Walls, flat and curved in any attitude, show their picture as the wall lays out its
// pixels: the light is the sum over the places of all pixels.
func TestPanels(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	for tried := 0; tried < 20; {
		spec := wall.Spec{
			PanelWidth: 0.8, PanelHeight: 0.5, PanelPixelsX: 8, PanelPixelsY: 4, Columns: 1 + rng.IntN(5), Rows: 1 + rng.IntN(4),
			Position: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()},
			Heading:  unit.Angle(6 * rng.Float64()), Elevation: unit.Angle(3*rng.Float64() - 1.5), Roll: unit.Angle(6 * rng.Float64()),
		}
		if tried%3 > 0 {
			spec.Radius = unit.Length(2 + 3*rng.Float64())
		}
		w := must[wall.Wall](t)(wall.New(spec))
		width, height := w.Size()
		p := light.Panel{Peak: light.RGB{300, 900, 100}, Picture: picture(rng, width, height)}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: light.Panels(w, p), Tolerance: 1e-4}))
		point := r3.Add(spec.Position, r3.Vec{X: 3 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
		normal := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		if d := must[unit.Length](t)(w.Distance(point)); d < 1 {
			continue // a plain sum is too coarse there
		}
		tried++
		const steps = 4 // pieces of a pixel, to each side
		var want light.RGB
		for j := range steps * height {
			for i := range steps * width {
				x, y := (float64(i)+0.5)/steps, (float64(j)+0.5)/steps
				at, _ := w.Point(x, y)
				out, _ := w.Normal(x, y)
				way := r3.Sub(at, point)
				d2 := r3.Norm2(way)
				k := 0.1 * 0.125 / (steps * steps) * max(0, -r3.Dot(way, out)) * max(0, r3.Dot(way, normal)) / (d2 * d2)
				for c := range want {
					v := float64(p.Picture.Pixels[3*(j/steps*width+i/steps)+c])
					want[c] += k * p.Peak[c] * max(0, min(1, v))
				}
			}
		}
		got := must[light.Light](t)(s.Illuminance(point, normal)).RGB
		for c := range want {
			ref.Within(t, "W-IPANELS", math.Abs(got[c]-want[c])/p.Peak[c], spec, point, normal)
		}
	}
}

// A face on the wall itself gets nothing from the flat part on which it sits, however
// it is turned. A millimetre in front of a panel it gets nearly all it can.
func TestLightInThePlaneOfAPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(42, 1))
	for range 1000 {
		spec := wall.Spec{
			PanelWidth: 0.8, PanelHeight: 0.5, PanelPixelsX: 8, PanelPixelsY: 4, Columns: 1 + rng.IntN(5), Rows: 1 + rng.IntN(4),
			Position: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()},
			Heading:  unit.Angle(6 * rng.Float64()), Elevation: unit.Angle(3*rng.Float64() - 1.5), Roll: unit.Angle(6 * rng.Float64()),
		}
		if rng.IntN(2) == 0 {
			spec.Position = r3.Scale(1e4*rng.Float64(), spec.Position)
		}
		if rng.IntN(2) == 0 {
			spec.Radius = unit.Length(2 + 3*rng.Float64())
		}
		w := must[wall.Wall](t)(wall.New(spec))
		panels := light.Panels(w, light.Panel{Peak: grey})
		width, height := w.Size()
		x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
		own := 0
		if spec.Radius > 0 {
			own = int(x / 8)
		}
		s := scene(t, panels[own])
		p, _ := w.Point(x, y)
		n, _ := w.Normal(x, y)
		r := panels[own].Rectangle
		beside := r3.Add(p, r3.Scale(20*rng.NormFloat64(), r3.Sub(r.LowerRight, r.LowerLeft)))
		for _, p := range []r3.Vec{p, beside} {
			for _, normal := range []r3.Vec{n, r3.Scale(-1, n), {X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}} {
				if f := factor(t, s, p, normal); f != 0 {
					t.Fatalf("%+v at %v, %v facing %v: %v", spec, x, y, normal, f)
				}
			}
		}
		if r3.Norm(spec.Position) < 100 {
			middle := r3.Scale(0.5, r3.Add(r.LowerRight, r.UpperLeft))
			require.InDelta(t, 1, factor(t, s, r3.Add(middle, r3.Scale(1e-3, n)), r3.Scale(-1, n)), 1e-4, "1 − F is some (1 mm/0.25 m)²")
		}
	}
}

// Far from a turned panel the light is that of an integral over it by Gauss and
// Legendre's rule, which is exact there.
func TestLightFarFromAPanel(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 1))
	var nodes, weights [4]float64
	quad.Legendre{}.FixedLocations(nodes[:], weights[:], 0, 1)
	for range 1000 {
		r := somewhere(rng)
		right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
		back := r3.Cross(right, up)
		away := math.Pow(10, 2+3.9*rng.Float64())
		point := r3.Scale(away, r3.Unit(r3.Add(r3.Vec{X: 0.5 * rng.NormFloat64(), Y: 0.5 * rng.NormFloat64(), Z: 0.5 * rng.NormFloat64()}, r3.Unit(back))))
		normal := r3.Unit(r3.Sub(r3.Vec{X: rng.NormFloat64() / 3, Y: rng.NormFloat64() / 3, Z: rng.NormFloat64() / 3}, r3.Unit(point)))
		if r3.Dot(r3.Unit(point), r3.Unit(back)) < 0.1 || r3.Dot(r3.Unit(point), normal) > -0.1 {
			continue
		}
		var want float64
		for i, u := range nodes {
			for j, v := range nodes {
				way := r3.Sub(r3.Add(r.LowerLeft, r3.Add(r3.Scale(u, right), r3.Scale(v, up))), point)
				d2 := r3.Norm2(way)
				want -= weights[i] * weights[j] * r3.Dot(way, back) * r3.Dot(way, normal) / (d2 * d2) / math.Pi
			}
		}
		require.InDelta(t, want, factor(t, scene(t, light.Panel{Rectangle: r, Peak: grey}), point, normal), 1e-15*r3.Norm(r3.Add(right, up))/away, "a few roundings of the angles of the sides")
	}
}

// emission is a table every 1° of a function of the angle.
func emission(t testing.TB, across, up func(angle float64) float64) *light.Emission {
	var spec light.EmissionSpec
	for i := -90; i <= 90; i++ {
		a := float64(i) * math.Pi / 180
		spec.Angles = append(spec.Angles, unit.Angle(i)*light.Degree)
		spec.Horizontal, spec.Vertical = append(spec.Horizontal, max(0, across(a))), append(spec.Vertical, max(0, up(a)))
	}
	return must[*light.Emission](t)(light.NewEmission(spec))
}

func TestEmission(t *testing.T) {
	// Brightness to one hand and from below.
	e := emission(t, func(a float64) float64 { return 1 + a/4 }, func(a float64) float64 { return 1 - a/2 })
	r := upright(0, 0, 2, 2)
	at, d := r3.Vec{X: 1, Y: 1}, math.Tan(math.Pi/6)
	for _, tc := range []struct{ eye, want r3.Vec }{
		{r3.Vec{Z: 3}, r3.Vec{X: 1}},
		{r3.Vec{X: d, Z: 1}, r3.Vec{X: 1 + math.Pi/24}}, {r3.Vec{X: -d, Z: 1}, r3.Vec{X: 1 - math.Pi/24}},
		{r3.Vec{Y: d, Z: 1}, r3.Vec{X: 1 - math.Pi/12}}, {r3.Vec{Y: -d, Z: 1}, r3.Vec{X: 1 + math.Pi/12}},
		// Between the axes the mean of both, by symmetry.
		{r3.Vec{X: d / math.Sqrt2, Y: d / math.Sqrt2, Z: 1}, r3.Vec{X: 1 - math.Pi/48}},
	} {
		got, ok := e.Toward(r, at, r3.Add(at, tc.eye))
		require.True(t, ok)
		ref.Near(t, "W-IEMIT", got, tc.want.X, tc.eye)
	}
	_, ok := e.Toward(r, at, r3.Vec{X: 5, Y: 1, Z: -0.1})
	assert.False(t, ok, "from behind")

	// A wall without end whose luminance is as the cosine: ∫ cos² dω = 2π/3.
	cosine := emission(t, math.Cos, math.Cos)
	s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{{Rectangle: upright(-1000, -1000, 1000, 1000), Peak: grey, Emission: cosine}}, Tolerance: 1e-3}))
	got := must[light.Light](t)(s.Illuminance(r3.Vec{Z: 1}, facing))
	ref.Near(t, "W-IEMITWALL", got.RGB.Sum(), 2*math.Pi/3)
	assert.InDelta(t, 2*math.Pi/3, got.RGB.Sum(), got.Error)

	// Pictures on panels with a lopsided emission, against a plain sum.
	rng := rand.New(rand.NewPCG(4, 3))
	across := func(a float64) float64 { return math.Pow(math.Cos(a), 0.4) * (1 + a/5) }
	up := func(a float64) float64 { return math.Cos(a) * (1 - a/3) }
	e = emission(t, across, up)
	for i := range 32 {
		p := light.Panel{Rectangle: somewhere(rng), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 40+rng.IntN(30), 30+rng.IntN(30)), Emission: e}
		tolerance := []float64{0.2, 0.02}[i%2]
		if i%4 < 2 { // an even panel, which is exact but for its emission
			for k := range p.Picture.Pixels {
				p.Picture.Pixels[k] = 1
			}
		}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Tolerance: tolerance}))
		point, normal := viewpoint(rng, p.Rectangle)
		want := brute(p, point, normal, 2, func(_ r3.Vec, right, up_, out float64) float64 {
			theta := math.Atan(math.Hypot(right, up_) / out)
			phi := math.Atan2(up_, right)
			return across(math.Copysign(theta, right))*math.Pow(math.Cos(phi), 2) + up(math.Copysign(theta, up_))*math.Pow(math.Sin(phi), 2)
		})
		got := must[light.Light](t)(s.Illuminance(point, normal))
		require.InDelta(t, want.Sum(), got.RGB.Sum(), got.Error+3e-4*want.Sum())
		require.LessOrEqual(t, got.Error, max(tolerance*got.RGB.Sum()*1.0001, 0.05*got.RGB.Sum()))
	}
}

func TestBlockers(t *testing.T) {
	// A screen half way hides all of the wall to the right of x = 0.37.
	r := upright(-3, -2, 3, 2)
	screen := []r3.Vec{{X: 0.185, Y: -50, Z: 1}, {X: 50, Y: -50, Z: 1}, {X: 50, Y: 50, Z: 1}, {X: 0.185, Y: 50, Z: 1}}
	point := r3.Vec{Z: 2}
	want := must[float64](t)(light.ViewFactor(point, facing, outline(upright(-3, -2, 0.37, 2))...))
	for name, spec := range map[string]light.Spec{
		"polygon":  {Blockers: [][]r3.Vec{screen}},
		"function": {Clear: func(a, b r3.Vec) bool { return (a.X+b.X)/2 < 0.185 }},
	} {
		spec.Panels, spec.Tolerance = []light.Panel{{Rectangle: r, Peak: grey}}, 2e-3
		s := must[*light.Scene](t)(light.New(spec))
		ref.Near(t, "W-IBLOCK", factor(t, s, point, facing), want, name)
	}

	// A panel does not hide itself.
	rng := rand.New(rand.NewPCG(6, 3))
	for range 20 {
		r := somewhere(rng)
		point, normal := viewpoint(rng, r)
		free := scene(t, light.Panel{Rectangle: r, Peak: grey})
		own := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{{Rectangle: r, Peak: grey}}, Blockers: [][]r3.Vec{outline(r)}}))
		require.InDelta(t, factor(t, free, point, normal), factor(t, own, point, normal), 1e-12, "sums of cells")
	}

	// Rectangles in any attitude between a picture and a face, against rays to all
	// pixels.
	for range 25 {
		p := light.Panel{Rectangle: somewhere(rng), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 60, 50)}
		point, normal := viewpoint(rng, p.Rectangle)
		middle := r3.Scale(0.5, r3.Add(p.Rectangle.LowerRight, p.Rectangle.UpperLeft))
		b := somewhere(rng)
		move := r3.Sub(r3.Add(r3.Scale(0.6, point), r3.Scale(0.4, middle)), b.LowerLeft)
		b = wall.Rectangle{LowerLeft: r3.Add(b.LowerLeft, move), LowerRight: r3.Add(b.LowerRight, move), UpperLeft: r3.Add(b.UpperLeft, move)}
		right, up := r3.Sub(b.LowerRight, b.LowerLeft), r3.Sub(b.UpperLeft, b.LowerLeft)
		want := brute(p, point, normal, 2, func(at r3.Vec, _, _, _ float64) float64 {
			// at + t (point − at) = corner + u right + v up
			m := r3.NewMat([]float64{point.X - at.X, -right.X, -up.X, point.Y - at.Y, -right.Y, -up.Y, point.Z - at.Z, -right.Z, -up.Z})
			to := r3.Sub(b.LowerLeft, at)
			det := m.Det()
			solve := func(c int) float64 {
				k := r3.NewMat(nil)
				for i := range 3 {
					for j := range 3 {
						k.Set(i, j, m.At(i, j))
					}
				}
				k.Set(0, c, to.X)
				k.Set(1, c, to.Y)
				k.Set(2, c, to.Z)
				return k.Det() / det
			}
			if s, u, v := solve(0), solve(1), solve(2); s > 0 && s < 1 && u > 0 && u < 1 && v > 0 && v < 1 {
				return 0
			}
			return 1
		})
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Blockers: [][]r3.Vec{outline(b)}, Tolerance: 0.02}))
		got := must[light.Light](t)(s.Illuminance(point, normal))
		require.InDelta(t, want.Sum(), got.RGB.Sum(), got.Error+4e-3*(want.Sum()+10))
	}
}

// Small and concave things half way to an even wall hide what their outlines, twice as
// large, cover there. The far side of a box adds nothing to its near side.
func TestShadowsByHand(t *testing.T) {
	r := upright(-3, -2, 3, 2)
	point := r3.Vec{X: 0.2, Y: -0.1, Z: 4}
	normal := r3.Vec{X: 0.3, Y: 0.4, Z: -1}
	whole := must[float64](t)(light.ViewFactor(point, normal, outline(r)...))
	half := func(v r3.Vec) r3.Vec { return r3.Scale(0.5, r3.Add(v, point)) }
	board := outline(upright(0.31, 0.1, 0.38, 0.16))
	ell := []r3.Vec{{X: -2}, {X: 1}, {X: 1, Y: 1}, {X: 0.5, Y: 1}, {X: 0.5, Y: 0.5}, {X: -2, Y: 0.5}}
	behind := outline(upright(-9, -9, 9, 9))
	for i := range behind {
		behind[i].Z = 4.1
	}
	for name, tc := range map[string]struct {
		hidden, more [][]r3.Vec // the outlines of what is hidden; other blockers, which hide nothing more
	}{
		"a board of 3 cm, 2 m away":    {[][]r3.Vec{board}, nil},
		"the same twice":               {[][]r3.Vec{board}, [][]r3.Vec{board}},
		"an angle":                     {[][]r3.Vec{ell}, nil},
		"two apart":                    {[][]r3.Vec{ell, outline(upright(-1.5, -1, -1.4, -0.5))}, nil},
		"one over the edge":            {[][]r3.Vec{outline(upright(2, -2, 3, -1))}, [][]r3.Vec{outline(upright(2.5, -4, 9, -1.5))}},
		"one behind":                   {nil, [][]r3.Vec{behind}},
		"beside the wall":              {nil, [][]r3.Vec{outline(upright(3, -2, 4, 2))}},
		"all of it":                    {[][]r3.Vec{outline(r)}, [][]r3.Vec{board, outline(upright(-4, -3, 4, 3))}},
		"its own outline":              {nil, nil},
		"three that share two corners": {[][]r3.Vec{outline(upright(-1, -1, 1, 1))}, [][]r3.Vec{outline(upright(-1, -1, 0, 1)), outline(upright(0, -1, 1, 0)), outline(upright(0, 0, 1, 1))}},
	} {
		want := whole
		spec := light.Spec{Panels: []light.Panel{{Rectangle: r, Peak: grey}}, Tolerance: 1e-4}
		for _, corners := range tc.hidden {
			want -= must[float64](t)(light.ViewFactor(point, normal, corners...))
		}
		for _, corners := range append(tc.hidden, tc.more...) {
			nearer := append([]r3.Vec(nil), corners...)
			for i := range nearer {
				if name != "one behind" {
					nearer[i] = half(nearer[i])
				}
			}
			spec.Blockers = append(spec.Blockers, nearer)
		}
		if name == "its own outline" {
			spec.Blockers = [][]r3.Vec{outline(r)}
		}
		s := must[*light.Scene](t)(light.New(spec))
		got := must[light.Light](t)(s.Illuminance(point, normal))
		if name == "three that share two corners" || name == "one over the edge" {
			assert.InDelta(t, want, got.RGB.Sum()/math.Pi, max(1e-12, got.Error/math.Pi), name)
			assert.Less(t, got.Error, 1e-4*math.Pi, name)
			continue
		}
		ref.Near(t, "W-ISHADOW", got.RGB.Sum()/math.Pi, want, name)
	}
	// A corner named twice, and a board that covers a part of the angle: they hide the
	// angle and the rest of the board.
	twice := append(append([]r3.Vec(nil), ell[:5]...), ell[4:]...)
	over, rest := outline(upright(-1, 0.2, -0.5, 0.8)), outline(upright(-1, 0.5, -0.5, 0.8))
	for i := range twice {
		twice[i] = half(twice[i])
	}
	for i := range over {
		over[i] = half(over[i])
	}
	want := whole - must[float64](t)(light.ViewFactor(point, normal, ell...)) - must[float64](t)(light.ViewFactor(point, normal, rest...))
	for _, blockers := range [][][]r3.Vec{{twice, over}, {over, twice}} {
		both := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{{Rectangle: r, Peak: grey}}, Blockers: blockers}))
		got := must[light.Light](t)(both.Illuminance(point, normal))
		ref.Near(t, "W-ISHADOW", got.RGB.Sum()/math.Pi, want, "a corner named twice")
		assert.Zero(t, got.Error, "two shadows, one of them convex")
	}

	// A receiver that lies on a blocker, to roundings, sees the wall all the same.
	rng := rand.New(rand.NewPCG(11, 3))
	for range 50 {
		turn := r3.NewRotation(6*rng.Float64(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		on := outline(upright(-0.3-rng.Float64(), -0.3-rng.Float64(), 0.3+rng.Float64(), 0.3+rng.Float64()))
		for i := range on {
			on[i] = r3.Add(point, turn.Rotate(on[i]))
		}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{{Rectangle: r, Peak: grey}}, Blockers: [][]r3.Vec{on}}))
		ref.Near(t, "W-ISHADOW", factor(t, s, point, normal), whole, "on a blocker")
	}

	// Where three shadows have one outline, the estimate of what is seen lies in the
	// middle of its error.
	var off, bound float64
	for range 20 {
		x, y := 2*rng.Float64()-2, 2*rng.Float64()-1.5
		board := outline(upright(x, y, x+0.3+rng.Float64(), y+0.3+rng.Float64()))
		want := whole - must[float64](t)(light.ViewFactor(point, normal, board...))
		for i := range board {
			board[i] = half(board[i])
		}
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{{Rectangle: r, Peak: grey}}, Blockers: [][]r3.Vec{board, board, board}, Tolerance: 0.05}))
		got := must[light.Light](t)(s.Illuminance(point, normal))
		require.InDelta(t, want*math.Pi, got.RGB.Sum(), got.Error)
		off, bound = off+math.Abs(want*math.Pi-got.RGB.Sum()), bound+got.Error
	}
	assert.Less(t, off, bound/3)
}

// Boxes between a picture and a face, in any attitude, against rays to all pixels. The
// error stays below its bound, and the bound below the tolerance.
func TestBoxesAgainstRays(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 3))
	e := emission(t, math.Cos, func(a float64) float64 { return 1 - a*a/4 })
	for i := range 24 {
		p := light.Panel{Rectangle: somewhere(rng), Peak: light.RGB{300, 900, 100}, Picture: picture(rng, 60, 50)}
		var weight func(right, up, out float64) float64
		if i%4 == 0 {
			p.Emission = e
			weight = func(right, up, out float64) float64 {
				theta, phi := math.Atan(math.Hypot(right, up)/out), math.Atan2(up, right)
				return math.Cos(theta)*math.Pow(math.Cos(phi), 2) + (1-theta*theta/4)*math.Pow(math.Sin(phi), 2)
			}
		}
		point, normal := viewpoint(rng, p.Rectangle)
		middle := r3.Scale(0.5, r3.Add(p.Rectangle.LowerRight, p.Rectangle.UpperLeft))
		type box struct {
			centre, size r3.Vec
			turn, back   r3.Rotation
		}
		var boxes []box
		var blockers [][]r3.Vec
		for range 1 + i%3 {
			angle, axis := 6*rng.Float64(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
			b := box{
				centre: r3.Add(r3.Add(r3.Scale(0.5, point), r3.Scale(0.5, middle)), r3.Scale(0.3, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})),
				size:   r3.Vec{X: 0.1 + 0.4*rng.Float64(), Y: 0.1 + 0.4*rng.Float64(), Z: 0.1 + 0.4*rng.Float64()},
				turn:   r3.NewRotation(angle, axis), back: r3.NewRotation(-angle, axis),
			}
			boxes = append(boxes, b)
			corner := func(x, y, z float64) r3.Vec {
				return r3.Add(b.centre, b.turn.Rotate(r3.Vec{X: x * b.size.X, Y: y * b.size.Y, Z: z * b.size.Z}))
			}
			for _, side := range []float64{-1, 1} {
				blockers = append(blockers,
					[]r3.Vec{corner(side, -1, -1), corner(side, 1, -1), corner(side, 1, 1), corner(side, -1, 1)},
					[]r3.Vec{corner(-1, side, -1), corner(1, side, -1), corner(1, side, 1), corner(-1, side, 1)},
					[]r3.Vec{corner(-1, -1, side), corner(1, -1, side), corner(1, 1, side), corner(-1, 1, side)})
			}
		}
		inside := func(b box, from, to r3.Vec) bool { // does the segment meet the box?
			a, d := b.back.Rotate(r3.Sub(from, b.centre)), b.back.Rotate(r3.Sub(to, from))
			start, end := 0.0, 1.0
			for _, s := range [3][3]float64{{a.X, d.X, b.size.X}, {a.Y, d.Y, b.size.Y}, {a.Z, d.Z, b.size.Z}} {
				one, two := (-s[2]-s[0])/s[1], (s[2]-s[0])/s[1]
				start, end = max(start, min(one, two)), min(end, max(one, two))
			}
			return start < end
		}
		want := brute(p, point, normal, 2, func(at r3.Vec, right, up, out float64) float64 {
			for _, b := range boxes {
				if inside(b, at, point) {
					return 0
				}
			}
			if weight != nil {
				return weight(right, up, out)
			}
			return 1
		})
		s := must[*light.Scene](t)(light.New(light.Spec{Panels: []light.Panel{p}, Blockers: blockers, Tolerance: 0.01}))
		got := must[light.Light](t)(s.Illuminance(point, normal))
		free := must[light.Light](t)(scene(t, p).Illuminance(point, normal)).RGB.Sum()
		require.LessOrEqual(t, got.Error, 0.0101*got.RGB.Sum()+1e-9, i)
		for c := range want {
			require.InDelta(t, want[c], got.RGB[c], got.Error+2e-3*free+1e-3, "%d: outlines and the horizon fall between rays", i)
		}
	}
}

func TestMap(t *testing.T) {
	s := scene(t, light.Panel{Rectangle: upright(-2, 0, 2, 3), Peak: light.RGB{100, 200, 50}})
	// A floor, its upper left corner at the wall's left end.
	floor := wall.Rectangle{LowerLeft: r3.Vec{X: -2, Z: 4}, LowerRight: r3.Vec{X: 4, Z: 4}, UpperLeft: r3.Vec{X: -2}}
	got := must[[]light.Light](t)(s.Map(context.Background(), floor, 3, 2))
	var want []light.Light
	for _, z := range []float64{1, 3} {
		for _, x := range []float64{-1, 1, 3} {
			want = append(want, must[light.Light](t)(s.Illuminance(r3.Vec{X: x, Z: z}, r3.Vec{Y: 1})))
		}
	}
	for i := range want {
		for c := range 3 {
			assert.InEpsilon(t, want[i].RGB[c], got[i].RGB[c], 1e-12, i)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := s.Map(ctx, floor, 3, 2)
	assert.ErrorIs(t, err, context.Canceled)
	_, err = s.Mutual(ctx, 1, nil)
	assert.ErrorIs(t, err, context.Canceled)
	var noContext context.Context
	_, err = s.Map(noContext, floor, 3, 2)
	assert.ErrorContains(t, err, "context")
	_, err = s.Mutual(noContext, 1, nil)
	assert.ErrorContains(t, err, "context")
}
