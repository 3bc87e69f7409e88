package warp_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/special"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func mustWarp[T warp.Sample](t testing.TB, dst, src warp.Frame[T], m *warp.Map, opts warp.Options) {
	t.Helper()
	require.NoError(t, warp.Warp(t.Context(), dst, src, m, opts))
}

// random fills a frame with what its type can hold, float32 with its oddest.
func random[T warp.Sample](f warp.Frame[T], seed uint64) {
	r := rand.New(rand.NewPCG(seed, 1))
	paint(f, func(_, _, _ int) float64 { return float64(T(r.Float64() * 255)) })
}

func equal[T warp.Sample](a, b warp.Frame[T]) bool {
	_, h := a.Size()
	for y := range h {
		if !slices.EqualFunc(a.Row(y), b.Row(y), func(x, y T) bool { return x == y || x != x && y != y }) {
			return false
		}
	}
	return true
}

func TestIdentityCopiesBits(t *testing.T) {
	for ch := 1; ch <= 4; ch++ {
		identity[uint8](t, ch)
		identity[uint16](t, ch)
		identity[float32](t, ch)
	}
}

func identity[T warp.Sample](t *testing.T, ch int) {
	t.Helper()
	const w, h = 301, 97
	src, err := warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: ch, Stride: w*ch + 5})
	require.NoError(t, err)
	random(src, 7)
	if v, ok := any(src.Row(50)).([]float32); ok {
		v[40*ch] = float32(math.Inf(1))
		v[80*ch] = float32(math.NaN())
		v[90*ch] = math.MaxFloat32
		v[120*ch] = math.SmallestNonzeroFloat32
	}
	// A camera onto itself: the map holds rounding errors, the frame must not.
	for name, m := range map[string]*warp.Map{
		"plane":    newMap(t, flat(w, h), flat(w, h)),
		"view":     newMap(t, newView(w, h, 70*degree, 33*degree, 21*degree, 11*degree), newView(w, h, 70*degree, 33*degree, 21*degree, 11*degree)),
		"panorama": newMap(t, equirect{w - 1, h, 0}, equirect{w - 1, h, 0}),
	} {
		from := src
		if name == "panorama" {
			from = newFrame[T](t, w-1, h, ch)
			random(from, 8)
		}
		fw, fh := from.Size()
		dst := newFrame[T](t, fw, fh, ch)
		cov := newFrame[float32](t, fw, fh, 1)
		mustWarp(t, dst, from, m, warp.Options{Coverage: cov})
		assert.True(t, equal(dst, from), "%s, %T, %d channels", name, *new(T), ch)
		for y := range fh {
			for x, c := range cov.Row(y) {
				if c != 1 {
					t.Fatalf("%s: coverage of (%d, %d) is %v", name, x, y, c)
				}
			}
		}
		require.NoError(t, warp.Blend(t.Context(), dst, []warp.Layer[T]{{Frame: from, Map: m, Feather: 20}}, warp.Options{}))
		assert.True(t, equal(dst, from), "%s, %T, %d channels: a single layer", name, *new(T), ch)
	}
}

// TestShiftsAtTheFourCorners moves a raster by whole pixels: (1, 2) of the
// target shows (3, 5) of the source, and what would show beyond is 0.
func TestShiftsAtTheFourCorners(t *testing.T) {
	src := newFrame[uint16](t, 9, 8, 1)
	paint(src, func(x, y, _ int) float64 { return float64(100*y + x + 1) })
	for _, d := range [][2]int{{2, 3}, {-2, 3}, {2, -3}, {-2, -3}} {
		target := flat(9, 8)
		target.x0, target.y0 = float64(d[0]), float64(d[1])
		dst, cov := newFrame[uint16](t, 9, 8, 1), newFrame[float32](t, 9, 8, 1)
		mustWarp(t, dst, src, newMap(t, target, flat(9, 8)), warp.Options{Coverage: cov})
		for y := range 8 {
			for x := range 9 {
				var want uint16
				sx, sy := x+d[0], y+d[1]
				if sx >= 0 && sx < 9 && sy >= 0 && sy < 8 {
					want = uint16(100*sy + sx + 1)
				}
				assert.Equal(t, want, dst.Row(y)[x], "moved by %v: (%d, %d)", d, x, y)
				assert.Equal(t, want > 0, cov.Row(y)[x] == 1, "moved by %v: (%d, %d)", d, x, y)
			}
		}
	}
}

// slow interpolates bilinearly the obvious way, in float64, between the pixels
// that exist.
func slow[T warp.Sample](src warp.Frame[T], sx, sy float64, c int) (value, weight float64) {
	w, h := src.Size()
	ch := src.Channels()
	for j := int(math.Floor(sy - 0.5)); j <= int(math.Floor(sy-0.5))+1; j++ {
		for i := int(math.Floor(sx - 0.5)); i <= int(math.Floor(sx-0.5))+1; i++ {
			k := (1 - math.Abs(sx-0.5-float64(i))) * (1 - math.Abs(sy-0.5-float64(j)))
			if i >= 0 && i < w && j >= 0 && j < h && k > 0 {
				value += k * float64(src.Row(j)[i*ch+c])
				weight += k
			}
		}
	}
	return value / weight, weight
}

func TestBilinearAgainstTheObvious(t *testing.T) {
	for ch := 1; ch <= 4; ch++ {
		againstSlow[uint8](t, ch, 0.502)
		againstSlow[uint16](t, ch, 0.502)
		againstSlow[float32](t, ch, 2e-3)
	}
}

func againstSlow[T warp.Sample](t *testing.T, ch int, tol float64) {
	t.Helper()
	const w, h = 64, 48
	src := newFrame[T](t, w, h, ch)
	random(src, 3)
	// Enlarged, turned, and past all edges.
	target := turned(130, 140, 0.6, 0.7, w/2+0.3, h/2-0.2)
	m := newMap(t, target, flat(w, h))
	dst, cov := newFrame[T](t, 130, 140, ch), newFrame[float32](t, 130, 140, 1)
	mustWarp(t, dst, src, m, warp.Options{Coverage: cov})
	for y := range 140 {
		for x := range 130 {
			d, _ := target.Unproject(float64(x)+0.5, float64(y)+0.5)
			inside := d.X >= 0 && d.Y >= 0 && d.X <= w && d.Y <= h
			for c := range ch {
				want, weight := 0.0, 0.0
				if inside {
					want, weight = slow(src, d.X, d.Y, c)
				}
				if got := float64(dst.Row(y)[x*ch+c]); !(math.Abs(got-want) <= tol) {
					t.Fatalf("%T, %d channels: (%d, %d)[%d] is %v, want %v", *new(T), ch, x, y, c, got, want)
				}
				if got := float64(cov.Row(y)[x]); !(math.Abs(got-weight) <= 1e-5) {
					t.Fatalf("%T: coverage of (%d, %d) is %v, want %v", *new(T), x, y, got, weight)
				}
			}
		}
	}
}

// TestRamp: bilinear interpolation reproduces a linear function, whatever the
// part of a pixel by which it is moved.
func TestRamp(t *testing.T) {
	const w, h = 200, 4
	ramp := func(x float64) float64 { return 300 * x }
	for _, shift := range []float64{1.0 / 3, 0.013, 0.5, 0.987, 31.0 / 64} {
		target := flat(w-1, h)
		target.x0 = shift
		m := newMap(t, target, flat(w, h))
		whole, real := newFrame[uint16](t, w, h, 1), newFrame[float32](t, w, h, 1)
		paint(whole, func(x, _, _ int) float64 { return ramp(float64(x) + 0.5) })
		paint(real, func(x, _, _ int) float64 { return ramp(float64(x) + 0.5) })
		a, b := newFrame[uint16](t, w-1, h, 1), newFrame[float32](t, w-1, h, 1)
		require.NoError(t, errors.Join(warp.Warp(t.Context(), a, whole, m, warp.Options{}), warp.Warp(t.Context(), b, real, m, warp.Options{})))
		for x := range w - 1 {
			want := ramp(float64(x) + 0.5 + shift)
			ref.Within(t, "WARP-RAMP-16", math.Abs(float64(a.Row(1)[x])-want), shift, x)
			ref.Within(t, "WARP-RAMP-32", math.Abs(float64(b.Row(1)[x])-want)/want, shift, x)
		}
	}
}

// wave is a scene without an edge, whose integral over a rectangle is known.
type wave struct{ fx, fy, phase float64 }

func (s wave) at(x, y float64) float64 {
	return 0.5 + 0.4*math.Cos(2*math.Pi*(s.fx*x+s.fy*y)+s.phase)
}

// mean is the integral over a rectangle by its area, in closed form.
func (s wave) mean(x0, y0, x1, y1 float64) float64 {
	return 0.5 + 0.4*math.Cos(2*math.Pi*(s.fx*(x0+x1)/2+s.fy*(y0+y1)/2)+s.phase)*special.Sinc(s.fx*(x1-x0))*special.Sinc(s.fy*(y1-y0))
}

// TestMinificationKeepsLight compares a minified raster with integrals of the
// scene. A wave long against a target pixel comes out as the scene's integral
// under the kernel; one shorter than a target pixel comes out as its mean.
func TestMinificationKeepsLight(t *testing.T) {
	near.NumbersOnly(t)
	const n = 600
	for _, scale := range []float64{1.5, 2, 2.6, 3.7, 4.5, 5.3, 7.9, 11, 30} {
		for _, s := range []wave{{0, 0, 0}, {0.1 / scale, 0, 1}, {0.04 / scale, 0.09 / scale, 2}} {
			src := newFrame[float32](t, n, n, 1)
			paint(src, func(x, y, _ int) float64 {
				return s.mean(float64(x), float64(y), float64(x+1), float64(y+1))
			})
			for _, angle := range []float64{0, 0.5, 2.3} {
				size := int(n / scale * 0.6)
				m := newMap(t, turned(size, size, scale, angle, n/2+0.4, n/2-0.3), flat(n, n))
				dst := newFrame[float32](t, size, size, 1)
				require.NoError(t, warp.Warp(t.Context(), dst, src, m, warp.Options{}))
				worst, kept := 0.0, underKernel(s, scale)
				for y := range size {
					for x, got := range dst.Row(y) {
						sx, sy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
						want := 0.5 + kept*(s.at(sx, sy)-0.5)
						worst = max(worst, math.Abs(float64(got)-want))
					}
				}
				id := "WARP-RADIAL"
				if s.fx == 0 {
					id = "WARP-CONSTANT"
				}
				ref.Within(t, id, worst, scale, angle, s)
			}
		}
	}
}

// kernelAt is the kernel of Bilinear along an axis, t in target pixels.
func kernelAt(t float64) float64 {
	s := max(1-t*t/(1.79*1.79), 0)
	return s * s * (0.211819 + s*(0.890156+s*(-1.22396+s*(0.697362-0.00242*s))))
}

// underKernel is the fraction of the contrast of a wave that this kernel leaves at
// a scale: of each axis a sum, as wide as the package makes it below a scale of 2.
func underKernel(s wave, scale float64) float64 {
	const n = 2000
	scale *= 1 + 0.043*min(max((2-scale)/0.75, 0), 1)
	product := 1.0
	for _, f := range []float64{s.fx * scale, s.fy * scale} {
		var kept, total float64
		for i := range n {
			x := (float64(i)+0.5)/n*3.58 - 1.79
			kept += kernelAt(x) * math.Cos(2*math.Pi*f*x)
			total += kernelAt(x)
		}
		product *= kept / total
	}
	return product
}

// TestGrazing minifies 12 times along one direction and not along the other:
// stripes along the short one are kept, those along the long one taken out.
func TestGrazing(t *testing.T) {
	near.NumbersOnly(t)
	const n = 768
	for _, angle := range []float64{0, 0.3, math.Pi / 4, 1.2, math.Pi / 2, 2.2} {
		s, c := math.Sincos(angle)
		target := flat(40, 300)
		target.xx, target.yx = 12*c, 12*s
		target.xy, target.yy = -s, c
		target.x0 = n/2 - target.xx*20 - target.xy*150
		target.y0 = n/2 - target.yx*20 - target.yy*150
		m := newMap(t, target, flat(n, n))
		stripes := func(along bool) float64 {
			fx, fy := c/7, s/7 // period 7 px along the long axis of the pixel
			if !along {
				fx, fy = -s/7, c/7
			}
			src, dst := newFrame[float32](t, n, n, 1), newFrame[float32](t, 40, 300, 1)
			paint(src, func(x, y, _ int) float64 {
				return 0.5 + 0.5*math.Cos(2*math.Pi*(fx*(float64(x)+0.5)+fy*(float64(y)+0.5)))
			})
			mustWarp(t, dst, src, m, warp.Options{})
			sum := 0.0
			for y := 20; y < 280; y++ {
				for _, v := range dst.Row(y)[3:37] {
					sum += (float64(v) - 0.5) * (float64(v) - 0.5)
				}
			}
			return math.Sqrt(sum / (260 * 34) * 8) // contrast
		}
		assert.LessOrEqual(t, stripes(true), 0.06, "contrast of stripes finer than a pixel, turned by %v", angle)
		// Bilinear interpolation of a period of 7 px leaves 0.87 or more; a
		// tent at a slant is a little broader.
		assert.GreaterOrEqual(t, stripes(false), 0.6, "contrast of stripes of 7 px, turned by %v", angle)
	}
}

// harbour is a smooth scene on the sphere.
func harbour(d [3]float64) float64 {
	return 0.5 + 0.2*d[0]*d[1] + 0.15*d[2] + 0.1*math.Sin(3*d[0]+2*d[1])
}

func sphere(p equirect, x, y float64) float64 {
	d, _ := p.Unproject(x, y)
	return harbour([3]float64{d.X, d.Y, d.Z})
}

// TestSeamAndPoles looks across the seam and at the poles of a panorama, from
// far magnified to far minified: no pixel leaves the analytic scene.
func TestSeamAndPoles(t *testing.T) {
	near.NumbersOnly(t)
	for _, w := range []int{256, 1024, 2000} {
		p := equirect{w, w / 2, w / 3}
		src := newFrame[float32](t, w, w/2, 1)
		paint(src, func(x, y, _ int) float64 { return sphere(p, float64(x)+0.5, float64(y)+0.5) })
		for _, v := range []view{
			newView(121, 101, 100*degree, 180*degree, 0, 0), newView(121, 101, 100*degree, 60*degree, 0, 0),
			newView(121, 101, 90*degree, 10*degree, 90*degree, 0), newView(120, 100, 90*degree, 75*degree, -88*degree, 20*degree),
			newView(600, 300, 30*degree, 10*degree, 89*degree, 0),
		} {
			m := newMap(t, v, p)
			dst, cov := newFrame[float32](t, v.w, v.h, 1), newFrame[float32](t, v.w, v.h, 1)
			mustWarp(t, dst, src, m, warp.Options{Coverage: cov})
			// The scene bends by less than 1.5 a radian²; the wider of a target
			// pixel and a column, times 1.6, blurs it by its square over 6 (the
			// kernel has a variance of 0.4 px²). The map may miss by half as much
			// again as 1/64 px, and the scene changes by less than 0.5 a radian.
			pixel := max(1/v.focal, 2*math.Pi/float64(w)) * 1.6
			worst := 0.0
			for y := range v.h {
				for x, got := range dst.Row(y) {
					d, _ := v.Unproject(float64(x)+0.5, float64(y)+0.5)
					n := math.Sqrt(d.X*d.X + d.Y*d.Y + d.Z*d.Z)
					want := harbour([3]float64{d.X / n, d.Y / n, d.Z / n})
					allowed := 1.5*pixel*pixel/3 + 0.5*2*math.Pi/float64(w)*1.5/64
					worst = max(worst, math.Abs(float64(got)-want)/allowed)
					if cov.Row(y)[x] != 1 {
						t.Fatalf("coverage of (%d, %d) is %v", x, y, cov.Row(y)[x])
					}
				}
			}
			assert.LessOrEqual(t, worst, 1.0, "of what is allowed: panorama of %d px, %+v", w, v)
		}
	}
}

// TestSeamIsNowhere turns a panorama by whole columns, and its frame with it:
// every bit of what is seen stays.
func TestSeamIsNowhere(t *testing.T) {
	near.NumbersOnly(t)
	seamIsNowhere[uint16](t)
	seamIsNowhere[float32](t)
}

func seamIsNowhere[T warp.Sample](t *testing.T) {
	const w, h = 512, 256
	base, turned := newFrame[T](t, w, h, 3), newFrame[T](t, w, h, 3)
	random(base, 5)
	for _, target := range []view{
		newView(200, 160, 100*degree, 170*degree, 40*degree, 5*degree), // magnifies
		newView(90, 75, 100*degree, 170*degree, 10*degree, 5*degree),   // minifies, not by a level
	} {
		for _, opts := range []warp.Options{{}, {Filter: warp.CatmullRom}, {Filter: warp.Lanczos3}, {Minify: warp.PixelMean}} {
			seen, got := newFrame[T](t, target.w, target.h, 3), newFrame[T](t, target.w, target.h, 3)
			mustWarp(t, seen, base, newMap(t, target, equirect{w, h, 0}), opts)
			for _, shift := range []int{1, 17, 256, 311, 511} {
				paint(turned, func(x, y, c int) float64 { return float64(base.Row(y)[(x+w-shift)%w*3+c]) })
				mustWarp(t, got, turned, newMap(t, target, equirect{w, h, shift}), opts)
				assert.True(t, equal(got, seen), "%d px wide, turned by %d columns, %T, %+v", target.w, shift, *new(T), opts)
			}
		}
	}
}

func TestLargeSides(t *testing.T) {
	for _, side := range [][2]int{{70000, 16}, {16, 70000}} {
		w, h := side[0], side[1]
		src, dst := newFrame[uint8](t, w, h, 1), newFrame[uint8](t, w, h, 1)
		paint(src, func(x, y, _ int) float64 { return float64((x*31 + y*17) & 255) })
		target := flat(w, h)
		target.xx, target.x0 = -1, float64(w) // mirrored
		mustWarp(t, dst, src, newMap(t, target, flat(w, h)), warp.Options{})
		for y := 0; y < h; y += 5 {
			for x := 0; x < w; x += 3 {
				if got, want := dst.Row(y)[x], uint8(((w-1-x)*31+y*17)&255); got != want {
					t.Fatalf("%d × %d: (%d, %d) is %d, want %d", w, h, x, y, got, want)
				}
			}
		}
	}
}

func TestRoundingSaturates(t *testing.T) {
	src, dst := newFrame[uint8](t, 2, 1, 1), newFrame[uint8](t, 2, 1, 1)
	copy(src.Row(0), []uint8{200, 3})
	m := newMap(t, flat(2, 1), flat(2, 1))
	for gain, want := range map[float64][]uint8{2: {255, 6}, 0.5: {100, 2}, 1e6: {255, 255}, 0.1: {20, 0}} {
		require.NoError(t, warp.Blend(t.Context(), dst, []warp.Layer[uint8]{{Frame: src, Map: m, Gain: [4]float64{gain}}}, warp.Options{}))
		assert.Equal(t, want, dst.Row(0), "gain %v", gain)
	}
}

func TestHostileSources(t *testing.T) {
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, -1e30, -1e-300, 0, 63.9999, 64, 64.0001, 1 << 31, -1 << 31, 12.5}
	for _, wrap := range []bool{false, true} {
		r := rand.New(rand.NewPCG(1, 2))
		source := flat(64, 64)
		source.wrap = wrap
		source.hostile = func(x, y float64) (float64, float64, bool) {
			h := uint64(int64(x*8))*0x9e3779b97f4a7c15 ^ uint64(int64(y*8))*0xc2b2ae3d27d4eb4f
			if h>>60 > 8 {
				return x, y, true
			}
			return odd[h%uint64(len(odd))], odd[h/7%uint64(len(odd))], h>>50&7 != 0
		}
		m := newMap(t, flat(150, 70), source)
		src, dst, cov := newFrame[uint16](t, 64, 64, 3), newFrame[uint16](t, 150, 70, 3), newFrame[float32](t, 150, 70, 1)
		paint(src, func(_, _, _ int) float64 { return float64(r.IntN(65536)) })
		mustWarp(t, dst, src, m, warp.Options{Coverage: cov})
		for y := range 70 {
			for x, c := range cov.Row(y) {
				_, _, ok := m.At(float64(x)+0.5, float64(y)+0.5)
				if ok != (c > 0) || !(c >= 0 && c <= 1) {
					t.Errorf("(%d, %d): seen %v, coverage %v", x, y, ok, c)
				}
			}
		}
	}
}

// scene is a case with every kind of cell, magnified and minified.
func scene[T warp.Sample](t testing.TB) (dst, src warp.Frame[T], m *warp.Map) {
	source := newFisheye(450, 190*degree, 10*degree, 0)
	target := equirect{600, 300, 0}
	src, dst = newFrame[T](t, 450, 450, 3), newFrame[T](t, 600, 300, 3)
	random(src, 9)
	return dst, src, newMap(t, target, source)
}

func TestAnyNumberOfWorkersGivesTheSameBits(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(8))
	dst, src, m := scene[float32](t)
	other := newMap(t, equirect{600, 300, 0}, newFisheye(1700, 180*degree, 100*degree, 10*degree)) // reads levels
	large := newFrame[float32](t, 1700, 1700, 3)
	random(large, 4)
	layers := []warp.Layer[float32]{{Frame: src, Map: m, Feather: 60}, {Frame: large, Map: other, Feather: 200, Gain: [4]float64{1.1, 1.2, 0.9}}}
	var first, firstBlend warp.Frame[float32]
	for _, workers := range []int{1, 2, 7, 0} {
		n, err := warp.NewMap(t.Context(), equirect{600, 300, 0}, newFisheye(450, 190*degree, 10*degree, 0), warp.MapOptions{Workers: workers})
		require.NoError(t, err)
		mustWarp(t, dst, src, n, warp.Options{Workers: workers})
		blend := newFrame[float32](t, 600, 300, 3)
		require.NoError(t, warp.Blend(t.Context(), blend, layers, warp.Options{Workers: workers}))
		if workers == 1 {
			first, firstBlend = dst, blend
			dst = newFrame[float32](t, 600, 300, 3)
			continue
		}
		assert.True(t, equal(dst, first), "%d workers", workers)
		assert.True(t, equal(blend, firstBlend), "%d workers", workers)
	}
}

func TestCancelledWorkStops(t *testing.T) {
	before := runtime.NumGoroutine()
	dst, src, m := scene[uint8](t)
	ctx, cancel := context.WithCancel(t.Context())
	calls := 0
	err := warp.Warp(ctx, dst, src, m, warp.Options{Workers: 1, Progress: func(done, total int) {
		calls++
		assert.Equal(t, [2]int{calls, 3 * 10}, [2]int{done, total})
		if done == 3 {
			cancel()
		}
	}})
	assert.Equal(t, context.Canceled, err)
	assert.Equal(t, 3, calls, "pieces done")
	assert.Equal(t, context.Canceled, warp.Warp(ctx, dst, src, m, warp.Options{}))
	leavesNothing(t, before)
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	dst, src, m := scene[uint16](t)
	wide := newMap(t, equirect{60, 30, 0}, newFisheye(450, 190*degree, 10*degree, 0)) // needs the pyramid
	small := newFrame[uint16](t, 60, 30, 3)
	floats, plate, _ := scene[float32](t)
	layers := []warp.Layer[uint16]{{Frame: src, Map: m, Feather: 30}, {Frame: src, Map: m}}
	for name, f := range map[string]func() error{
		"Warp":          func() error { return warp.Warp(t.Context(), dst, src, m, warp.Options{}) },
		"Warp minified": func() error { return warp.Warp(t.Context(), small, src, wide, warp.Options{}) },
		"Warp by means": func() error { return warp.Warp(t.Context(), dst, src, m, warp.Options{Minify: warp.PixelMean}) },
		"Warp floats":   func() error { return warp.Warp(t.Context(), floats, plate, m, warp.Options{Filter: warp.Lanczos3}) },
		"Blend":         func() error { return warp.Blend(t.Context(), dst, layers, warp.Options{}) },
	} {
		var err error
		assert.Zero(t, testing.AllocsPerRun(4, func() { err = errors.Join(err, f()) }), "%s: allocations per frame", name)
		require.NoError(t, err)
	}
}

func TestWarpRefuses(t *testing.T) {
	ctx := t.Context()
	m := newMap(t, flat(6, 5), flat(8, 7))
	dst, src := newFrame[uint8](t, 6, 5, 3), newFrame[uint8](t, 8, 7, 3)
	var zero warp.Frame[uint8]
	big := newFrame[uint8](t, 8, 7, 3)
	same := newMap(t, flat(8, 7), flat(8, 7))
	for name, f := range map[string]func() error{
		"nil context":   func() error { return warp.Warp(noContext, dst, src, m, warp.Options{}) },
		"zero target":   func() error { return warp.Warp(ctx, zero, src, m, warp.Options{}) },
		"zero source":   func() error { return warp.Warp(ctx, dst, zero, m, warp.Options{}) },
		"nil map":       func() error { return warp.Warp(ctx, dst, src, nil, warp.Options{}) },
		"zero map":      func() error { return warp.Warp(ctx, dst, src, &warp.Map{}, warp.Options{}) },
		"target's size": func() error { return warp.Warp(ctx, src, src, m, warp.Options{}) },
		"source's size": func() error { return warp.Warp(ctx, dst, dst, m, warp.Options{}) },
		"channels":      func() error { return warp.Warp(ctx, dst, newFrame[uint8](t, 8, 7, 4), m, warp.Options{}) },
		"coverage": func() error {
			return warp.Warp(ctx, dst, src, m, warp.Options{Coverage: newFrame[float32](t, 6, 6, 1)})
		},
		"onto itself": func() error { return warp.Warp(ctx, big, big, same, warp.Options{}) },
		"no layers":   func() error { return warp.Blend[uint8](ctx, dst, nil, warp.Options{}) },
		"gain": func() error {
			return warp.Blend(ctx, dst, []warp.Layer[uint8]{{Frame: src, Map: m, Gain: [4]float64{-1}}}, warp.Options{})
		},
		"NaN feather": func() error {
			return warp.Blend(ctx, dst, []warp.Layer[uint8]{{Frame: src, Map: m, Feather: math.NaN()}}, warp.Options{})
		},
	} {
		assert.ErrorIs(t, f(), warp.ErrInvalid, name)
	}
	assert.ErrorContains(t, warp.Warp(ctx, src, src, m, warp.Options{}), "target frame 8 × 7 px: must be as the map's, 6 × 5 px")
	assert.ErrorContains(t, warp.Warp(ctx, dst, dst, m, warp.Options{}), "source frame 6 × 5 px: must be as the map's, 8 × 7 px")
	err := warp.Blend(ctx, dst, []warp.Layer[uint8]{{Frame: src, Map: m}, {Frame: src, Map: m, Gain: [4]float64{0, math.Inf(1)}, Feather: -2}}, warp.Options{})
	const want = "warp: layer 1: Gain of channel 1 +Inf: must be at least 0 and at most 1e+06\nwarp: layer 1: Feather -2 px: must be at least 0 px and at most 1.67772e+07 px"
	assert.EqualError(t, err, want)
}

func TestNonFiniteSamplesStayWhereTheirWeightIs(t *testing.T) {
	src := newFrame[float32](t, 20, 20, 1)
	paint(src, func(_, _, _ int) float64 { return 1 })
	src.Row(10)[10] = float32(math.NaN())
	// On texel columns, between rows: the neighbour to the right has no weight.
	target := flat(20, 19)
	target.y0 = 0.25
	dst := newFrame[float32](t, 20, 19, 1)
	mustWarp(t, dst, src, newMap(t, target, flat(20, 20)), warp.Options{})
	for y := range 19 {
		for x, v := range dst.Row(y) {
			assert.Equal(t, x == 10 && (y == 9 || y == 10), v != v, "(%d, %d)", x, y)
		}
	}
}

// TestPyramidOfOddSides averages down sides that are no powers of two: the
// mean of the whole stays.
func TestPyramidOfOddSides(t *testing.T) {
	for _, side := range [][2]int{{517, 389}, {512, 256}, {1000, 37}, {333, 1}} {
		src := newFrame[uint16](t, side[0], side[1], 2)
		sum := 0.0
		random(src, 12)
		for y := range side[1] {
			for x := range side[0] {
				sum += float64(src.Row(y)[2*x])
			}
		}
		target := flat(1, 1)
		target.xx, target.yy = float64(side[0]), float64(side[1])
		m := newMap(t, target, flat(side[0], side[1]))
		dst := newFrame[uint16](t, 1, 1, 2)
		mustWarp(t, dst, src, m, warp.Options{})
		// A tent is no box: random samples of a spread of 74 agree in the mean
		// only, here to four standard deviations of what it covers.
		allowed := 4*74/math.Sqrt(0.4*float64(side[0]*side[1])) + 0.5
		assert.InDelta(t, sum/float64(side[0]*side[1]), dst.Row(0)[0], allowed, "mean of %v", side)
	}
}

// TestLevelsDoNotBlur compares the contrast left of waves above half of the target's
// Nyquist frequency with what the kernel leaves, on either side of the scales at which
// the next level is read, whose averaging must be made up for.
func TestLevelsDoNotBlur(t *testing.T) {
	near.NumbersOnly(t)
	const n, parts = 600, 400
	for _, scale := range []float64{2.45, 2.55, 4.1, 4.9, 5.1, 10.2, 13} {
		size := int(n / scale * 0.8)
		m := newMap(t, turned(size, size, scale, 0, n/2+0.4, n/2-0.3), flat(n, n))
		s := wave{0.25 / scale, 0.15 / scale, 1}
		src, dst := newFrame[float32](t, n, n, 1), newFrame[float32](t, size, size, 1)
		paint(src, func(x, y, _ int) float64 { return s.at(float64(x)+0.5, float64(y)+0.5) })
		for filter, k := range lowPasses {
			mustWarp(t, dst, src, m, warp.Options{Filter: filter})
			var product, square float64
			for y := range size {
				for x, got := range dst.Row(y) {
					sx, sy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
					wave := s.at(sx, sy) - 0.5
					product, square = product+wave*(float64(got)-0.5), square+wave*wave
				}
			}
			axis := func(c [5]float64, f float64) (sum float64) {
				for i := range parts {
					x := (float64(i) + 0.5) / parts * k.radius
					u := 1 - x*x/(k.radius*k.radius)
					sum += 2 * k.radius / parts * math.Pow(u, k.rim) * (c[0] + u*(c[1]+u*(c[2]+u*(c[3]+u*c[4])))) * math.Cos(2*math.Pi*f*x)
				}
				return sum
			}
			want := axis(k.a, 0.25)*axis(k.a, 0.15) - axis(k.b, 0.25)*axis(k.b, 0.15)
			// Few taps fit a kernel to so much, and soft ones are only as wide as wanted.
			assert.InDelta(t, want, product/square, 0.012, "%v, contrast at scale %v", filter, scale)
		}
	}
}

// TestPolesTurnHalf looks beyond the first and the last row of a panorama: the
// same row follows, half a turn away.
func TestPolesTurnHalf(t *testing.T) {
	source := flat(8, 4)
	source.wrap = true
	src, dst := newFrame[float32](t, 8, 4, 1), newFrame[float32](t, 8, 4, 1)
	paint(src, func(x, y, _ int) float64 { return float64(x) })
	for _, tc := range []struct {
		shift       float64
		first, last float64 // of column 1
	}{{0, 1, 1}, {0.25, 1, 0.75*1 + 0.25*5}, {0.5, 1, 3}, {-0.25, 0.75*1 + 0.25*5, 1}, {-0.5, 3, 1}} {
		target := flat(8, 4)
		target.y0 = tc.shift
		mustWarp(t, dst, src, newMap(t, target, source), warp.Options{})
		assert.InDelta(t, tc.first, dst.Row(0)[1], 1e-6, "first row, moved by %v", tc.shift)
		assert.InDelta(t, tc.last, dst.Row(3)[1], 1e-6, "last row, moved by %v", tc.shift)
	}
}

// stretched shows a flat source with a scale that grows along x.
type stretched struct{ plane }

func (s *stretched) Unproject(x, y float64) (vec, bool) {
	return vec{X: x * (2 + 0.02*x), Y: 3 * y, Z: 1}, true
}

// TestFilterFollowsTheScale warps with scales of 2 to 6 in one row of cells.
func TestFilterFollowsTheScale(t *testing.T) {
	target := &stretched{*flat(100, 40)}
	m := newMap(t, target, flat(400, 120))
	s := wave{0.06, 0, 0}
	src, dst := newFrame[float32](t, 400, 120, 1), newFrame[float32](t, 100, 40, 1)
	paint(src, func(x, y, _ int) float64 { return s.at(float64(x)+0.5, float64(y)+0.5) })
	mustWarp(t, dst, src, m, warp.Options{})
	for x := 5; x < 95; x++ {
		sx, sy, _ := m.At(float64(x)+0.5, 20.5)
		want := 0.5 + underKernel(s, 2+0.04*(float64(x)+0.5))*(s.at(sx, sy)-0.5)
		// What the scale changes by over the pixels that share a way.
		assert.InDelta(t, want, dst.Row(20)[x], 0.02, "(%d, 20)", x)
	}
}

// TestCoverageOfWindows minifies by 4 across an edge: the coverage is the
// fraction of the kernel inside.
func TestCoverageOfWindows(t *testing.T) {
	for _, edge := range []float64{0, 0.3, 0.5, 0.8} {
		target := flat(20, 20)
		target.xx, target.yy, target.x0, target.y0 = 4, 4, -20+4*edge, 100
		m := newMap(t, target, flat(400, 400))
		src := newFrame[uint8](t, 400, 400, 1)
		dst, cov := newFrame[uint8](t, 20, 20, 1), newFrame[float32](t, 20, 20, 1)
		mustWarp(t, dst, src, m, warp.Options{Coverage: cov})
		for x, got := range cov.Row(10) {
			want := 0.0
			if d := 4*(float64(x)+0.5) + target.x0; d >= 0 {
				want = kernelBeyond(-d / 4)
			}
			// The texels of the level are half a target pixel wide.
			assert.InDelta(t, want, got, 0.04, "edge %v: coverage of (%d, 10)", edge, x)
		}
	}
}

// kernelBeyond is the fraction of the kernel on the far side of a line at a distance.
func kernelBeyond(from float64) float64 {
	const n = 300
	var part, total float64
	for i := range n {
		for j := range n {
			x, y := (float64(i)+0.5)/n*3.58-1.79, (float64(j)+0.5)/n*3.58-1.79
			w := kernelAt(math.Hypot(x, y))
			total += w
			if x >= from {
				part += w
			}
		}
	}
	return part / total
}

// closed is a panorama that does not say that its edges meet.
type closed struct{ p equirect }

func (c closed) Size() (int, int)                      { return c.p.Size() }
func (c closed) Project(d vec) (x, y float64, ok bool) { return c.p.Project(d) }

// TestJumpsDoNotBlur looks across the edges of such a panorama: the jump from
// one to the other is no pixel to be filtered over.
func TestJumpsDoNotBlur(t *testing.T) {
	p := equirect{1024, 512, 0}
	src := newFrame[float32](t, 1024, 512, 1)
	paint(src, func(x, y, _ int) float64 { return sphere(p, float64(x)+0.5, float64(y)+0.5) })
	v := newView(121, 101, 100*degree, 180*degree, 0, 3*degree)
	dst := newFrame[float32](t, 121, 101, 1)
	mustWarp(t, dst, src, newMap(t, v, closed{p}), warp.Options{})
	for y := range 101 {
		for x, got := range dst.Row(y) {
			d, _ := v.Unproject(float64(x)+0.5, float64(y)+0.5)
			sx, sy, _ := p.Project(d)
			// Beside an edge half of the tent, 1.25 target pixels wide, is
			// missing, which moves its middle by half a pixel at most.
			if want := sphere(p, sx, sy); math.Abs(float64(got)-want) > 0.5*1.25/v.focal {
				t.Fatalf("(%d, %d) is %v, want %v", x, y, got, want)
			}
		}
	}
}

// TestWritesStayInTheirTile: vectors are written past a pixel, but neither past
// a row nor over what another tile has written.
func TestWritesStayInTheirTile(t *testing.T) {
	staysCase[uint8](t)
	staysCase[uint16](t)
	staysCase[float32](t)
}

func staysCase[T warp.Sample](t *testing.T) {
	for ch := 1; ch <= 4; ch++ {
		for _, w := range []int{1, 2, 3, 4, 5, 255, 256, 257, 258, 259, 300} {
			const h, around = 3, 5
			src := newFrame[T](t, w+8, h+8, ch)
			paint(src, func(x, y, c int) float64 { return float64((x*7+y*13+c*5)%200 + 20) })
			m := newMap(t, &plane{w: w, h: h, xx: 1, yy: 1, x0: 3.25, y0: 2.75}, flat(w+8, h+8))
			for _, f := range []warp.Filter{warp.Bilinear, warp.Nearest, warp.CatmullRom, warp.Lanczos3} {
				var whole []T
				for workers := range 3 {
					pix := make([]T, h*(w*ch+around))
					for i := range pix {
						pix[i] = 7
					}
					dst, err := warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: ch, Stride: w*ch + around, Pix: pix})
					require.NoError(t, err)
					mustWarp(t, dst, src, m, warp.Options{Filter: f, Workers: workers})
					for i, v := range pix {
						if beside := i%(w*ch+around) >= w*ch; beside != (v == 7) {
							t.Fatalf("%d channels, %d px, filter %d: %v at %d", ch, w, f, v, i)
						}
					}
					if whole == nil {
						whole = pix
					} else if !slices.Equal(whole, pix) {
						t.Fatalf("%d channels, %d px, filter %d: depends on workers", ch, w, f)
					}
				}
			}
		}
	}
}
