package warp_test

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/peer/scenes"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/special"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMeansAreThoseFitted reads the weights off impulses: one in each channel, at
// the taps around a position.
func TestMeansAreThoseFitted(t *testing.T) {
	const n, size, tap = 40, 9, 20
	f, err := os.Open("../../testdata/projection/means.csv")
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, 78)
	for _, record := range records[1:] {
		var row [10]float64
		for i := range row {
			row[i], err = strconv.ParseFloat(record[i], 64)
			require.NoError(t, err)
		}
		s, at, want := row[0], row[1], row[2:]
		// The middle of the target looks at the centre of a tap and at behind it,
		// through pixels s wide, and of another height; of the other axis it looks
		// at a centre, or not.
		// Kernels are for the nearest 1/128.
		along, other, beside := max(s-0.4/128, 1e-3), 0.6, 17.5
		if at != 0 {
			beside = 17.3
		}
		for name, to := range map[string]scenes.Affine{
			"along":  {XX: along, YY: other},
			"down":   {XX: other, YY: along},
			"turned": {XY: along, YX: -other},
		} {
			down := name == "down"
			to.X0, to.Y0 = tap+0.5+at, beside
			if down {
				to.X0, to.Y0 = to.Y0, to.X0
			}
			to.X0 -= (to.XX + to.XY) * size / 2
			to.Y0 -= (to.YX + to.YY) * size / 2
			m := newMap(t, affine(size, size, to), flat(n, n))
			for first := 0; first < 8; first += 4 {
				src, dst := newFrame[float32](t, n, n, 4), newFrame[float32](t, size, size, 4)
				paint(src, func(x, y, c int) float64 {
					if down {
						x = y
					}
					if x == tap-3+first+c {
						return 1
					}
					return 0
				})
				require.NoError(t, warp.Warp(t.Context(), dst, src, m, warp.Options{Minify: warp.PixelMean}))
				for c, got := range dst.Row(size / 2)[size/2*4 : size/2*4+4] {
					ref.Near(t, "WARP-MEANS", float64(got), want[first+c], s, at, name, first+c)
				}
			}
		}
	}
}

// TestMeansFollowTheMap looks at a wave through pixels that are higher, the
// farther to the right they are.
func TestMeansFollowTheMap(t *testing.T) {
	const w, h, n, f = 160, 5, 60, 0.25
	p := warp.Positions[float64]{Width: w, Height: h}
	for y := range h {
		for x := range w {
			p.X = append(p.X, 0.3*float64(x)+5)
			p.Y = append(p.Y, n/2+(float64(y)-h/2)*float64(x+20)/100)
		}
	}
	m, err := warp.NewMapFromPositions(t.Context(), p, warp.SourceSpec{Width: n, Height: n}, warp.MapOptions{})
	require.NoError(t, err)
	wave := func(y float64) float64 { return math.Cos(2*math.Pi*f*y + 1) }
	src, dst := newFrame[float32](t, n, n, 1), newFrame[float32](t, w, h, 1)
	paint(src, func(_, y, _ int) float64 { return special.Sinc(f) * wave(float64(y)+0.5) })
	mustWarp(t, dst, src, m, warp.Options{Minify: warp.PixelMean})
	for x := range w {
		s := float64(x+20) / 100
		want := special.Sinc(s*f) * wave(p.Y[h/2*w+x])
		assert.InDelta(t, want, dst.Row(h / 2)[x], 0.015, "1.6 %% of a wave of 1; pixel %d, %v high", x, s)
	}
}

// TestMeansAreNearest: no other filter comes nearer to what the pixels of the
// target hold of a scene, at any scale, turned or not, but for sharp edges at
// 1 : 1, of which the source holds false ones: there it is behind by a hair.
func TestMeansAreNearest(t *testing.T) {
	near.NumbersOnly(t)
	for name, draw := range map[string]func(coarse, n float64) scenes.Scene{
		"zone plate": func(coarse, n float64) scenes.Scene { return scenes.ZonePlate(n/2, n/2, n/2, 0.42/coarse) },
		"stars": func(coarse, _ float64) scenes.Scene {
			s := scenes.Stars(0.8)
			return func(x, y float64) float64 { return s(x/coarse, y/coarse) }
		},
		"edges": func(coarse, _ float64) scenes.Scene { return scenes.Edges(0.5, 9.3*coarse) },
	} {
		for _, scale := range []float64{0.25, 0.8, 1, 1.3, 1.9, 2.2} {
			for _, angle := range []float64{0, 0.4} {
				n := 90
				if scale > 1 {
					n = 150
				}
				size := min(70, int(0.65*float64(n)/scale))
				scene := draw(max(scale, 1), float64(n))
				src := scenes.Frame(scene, n, n, 8, scenes.Affine{XX: 1, YY: 1})
				to := scenes.Turned(size, size, scale, angle, float64(n)/2+0.37, float64(n)/2-0.21)
				truth := scenes.Frame(scene, size, size, 8, to)
				m := newMap(t, affine(size, size, to), flat(n, n))
				how := func(o warp.Options) float64 {
					seen := make([]float32, size*size)
					mustWarp(t, frameOf(t, size, size, seen), frameOf(t, n, n, src), m, o)
					return scenes.PSNR(seen, truth)
				}
				slack := 0.0
				if name == "edges" && (scale == 0.8 || scale == 1) {
					slack = 0.25
				}
				means := how(warp.Options{Minify: warp.PixelMean})
				for _, k := range smoothing {
					for _, minify := range []warp.Minify{warp.AntiAlias, warp.PointSample} {
						other := how(warp.Options{Filter: k.filter, Minify: minify})
						assert.GreaterOrEqual(t, means, other-slack, "dB, %s, scale %v turned by %v, beside %v, %v", name, scale, angle, k.filter, minify)
					}
				}
			}
		}
	}
}

// TestMeansCopy: pixels of one size are copied, also where the raster is turned
// by a quarter, and a texel beside one that is no number stays what it is.
func TestMeansCopy(t *testing.T) {
	const n = 40
	src := newFrame[float32](t, n, n, 3)
	random(src, 4)
	src.Row(7)[3*9] = float32(math.NaN())
	src.Row(7)[3*9+1] = float32(math.Inf(1))
	for quarter := range 4 {
		s, c := math.Sincos(float64(quarter) * math.Pi / 2)
		s, c = math.Round(s), math.Round(c)
		to := scenes.Affine{XX: c, XY: -s, YX: s, YY: c, X0: n / 2 * (1 - c + s), Y0: n / 2 * (1 - s - c)}
		dst := newFrame[float32](t, n, n, 3)
		mustWarp(t, dst, src, newMap(t, affine(n, n, to), flat(n, n)), warp.Options{Minify: warp.PixelMean})
		for y := range n {
			for x := range n {
				sx, sy := to.At(float64(x)+0.5, float64(y)+0.5)
				for k := range 3 {
					got, want := dst.Row(y)[3*x+k], src.Row(int(sy))[3*int(sx)+k]
					if math.Float32bits(got) != math.Float32bits(want) {
						t.Fatalf("turned by %d quarters: (%d, %d)[%d] is %v, want %v", quarter, x, y, k, got, want)
					}
				}
			}
		}
	}
}

// TestMeansCopyAlongOneAxis: where rows are those of the source, one that is no
// number stays alone, whatever becomes of the other axis.
func TestMeansCopyAlongOneAxis(t *testing.T) {
	const n = 40
	for _, down := range []bool{false, true} {
		src, dst := newFrame[float32](t, n, n, 1), newFrame[float32](t, n, n, 1)
		const bad = 17
		paint(src, func(x, y, _ int) float64 {
			if !down && y == bad || down && x == bad {
				return math.NaN()
			}
			return float64(x+y) / 100
		})
		to := scenes.Affine{XX: 0.5, YY: 1, X0: 10.1}
		if down {
			to = scenes.Affine{XX: 1, YY: 0.5, Y0: 10.1}
		}
		mustWarp(t, dst, src, newMap(t, affine(n, n, to), flat(n, n)), warp.Options{Minify: warp.PixelMean})
		for y := range n {
			for x, v := range dst.Row(y) {
				assert.Equal(t, !down && y == bad || down && x == bad, v != v, "down %v: (%d, %d)", down, x, y)
			}
		}
		// At centres on both axes a single line gains along the other.
		paint(src, func(x, y, _ int) float64 {
			if !down && x == bad || down && y == bad {
				return 1
			}
			return 0
		})
		if to.X0 = 9.75; down {
			to.X0, to.Y0 = 0, 9.75
		}
		mustWarp(t, dst, src, newMap(t, affine(n, n, to), flat(n, n)), warp.Options{Minify: warp.PixelMean})
		most := float32(0)
		for y := range n {
			most = max(most, slices.Max(dst.Row(y)))
		}
		assert.InDelta(t, 1.15, most, 0.05, "a line of 1, down %v", down)
	}
}

// TestMeansTakeNoFilter, nor more than what a lone pixel sees.
func TestMeansTakeNoFilter(t *testing.T) {
	source, view := equirect{1024, 512, 0}, newView(101, 101, 90*degree, 20*degree, 88*degree, 0)
	m := newMap(t, view, source)
	src := newFrame[uint16](t, 1024, 512, 3)
	random(src, 5)
	var first warp.Frame[uint16]
	for _, f := range []warp.Filter{warp.Bilinear, warp.CatmullRom, warp.Mitchell, warp.Lanczos3} {
		dst := newFrame[uint16](t, 101, 101, 3)
		mustWarp(t, dst, src, m, warp.Options{Filter: f, Minify: warp.PixelMean})
		if f == warp.Bilinear {
			first = dst
		} else {
			assert.True(t, equal(first, dst), "%v", f)
		}
	}
	// Nobody knows how wide a lone pixel is: it is taken for 1 : 1.
	line, one := newFrame[float32](t, 20, 20, 1), newFrame[float32](t, 1, 1, 1)
	paint(line, func(x, _, _ int) float64 {
		if x == 10 {
			return 1
		}
		return 0
	})
	p := warp.Positions[float64]{Width: 1, Height: 1, X: []float64{10.5 + 0.25}, Y: []float64{9.3}}
	lone, err := warp.NewMapFromPositions(t.Context(), p, warp.SourceSpec{Width: 20, Height: 20}, warp.MapOptions{})
	require.NoError(t, err)
	mustWarp(t, one, line, lone, warp.Options{Minify: warp.PixelMean})
	near, far := newFrame[float32](t, 9, 9, 1), newFrame[float32](t, 9, 9, 1)
	for out, scale := range map[*warp.Frame[float32]]float64{&near: 1, &far: 0.002} {
		to := scenes.Affine{XX: scale, YY: 1, X0: 10.75 - 4.5*scale, Y0: 4.8}
		mustWarp(t, *out, line, newMap(t, affine(9, 9, to), flat(20, 20)), warp.Options{Minify: warp.PixelMean})
	}
	assert.InDelta(t, near.Row(4)[4], one.Row(0)[0], 1e-6, "as a pixel 1 px wide")
	assert.Greater(t, math.Abs(float64(far.Row(4)[4]-one.Row(0)[0])), 0.05, "not as one without width")
}

// TestMeansOfVeryLongPixels: what is finer than a pixel is long does not fold,
// on a panorama either.
func TestMeansOfVeryLongPixels(t *testing.T) {
	near.NumbersOnly(t)
	const n, size = 512, 20
	src := newFrame[float32](t, n, n, 1)
	random(src, 6)
	for _, wrap := range []bool{false, true} {
		for _, down := range []bool{false, true} {
			for _, long := range []float64{6, 8, 16} {
				source := flat(n, n)
				source.wrap = wrap
				to := scenes.Affine{XX: long, YY: 1}
				if down {
					to = scenes.Affine{XX: 1, YY: long}
				}
				to.X0, to.Y0 = math.Round(n/2-to.XX*size/2), math.Round(n/2-to.YY*size/2)
				m := newMap(t, affine(size, size, to), source)
				rms := func(o warp.Options) float64 {
					dst := newFrame[float32](t, size, size, 1)
					mustWarp(t, dst, src, m, o)
					sum := 0.0
					for y := range size {
						for x, got := range dst.Row(y) {
							mean, count := 0.0, 0.0
							x0, y0 := int(to.X0+to.XX*float64(x)), int(to.Y0+to.YY*float64(y))
							for sy := y0; sy < y0+int(to.YY); sy++ {
								for sx := x0; sx < x0+int(to.XX); sx++ {
									mean += float64(src.Row(sy)[sx])
									count++
								}
							}
							sum += (float64(got) - mean/count) * (float64(got) - mean/count)
						}
					}
					return math.Sqrt(sum)
				}
				assert.Less(t, rms(warp.Options{Minify: warp.PixelMean}), 0.5*rms(warp.Options{Filter: warp.CatmullRom}), "wrap %v, down %v, %v px long", wrap, down, long)
			}
		}
	}
}

// TestMeansOfLongPixels: what is fine across the shorter axis of a pixel stays,
// however long the other one is.
func TestMeansOfLongPixels(t *testing.T) {
	const n, size, f = 240, 40, 0.2
	src := newFrame[float32](t, n, n, 1)
	wave := func(y float64) float64 { return 0.5 + 0.4*math.Cos(2*math.Pi*f*y+1) }
	paint(src, func(_, y, _ int) float64 { return 0.5 + special.Sinc(f)*(wave(float64(y)+0.5)-0.5) })
	for _, long := range []float64{1, 1.9, 2.2, 2.5, 3, 3.5, 4} {
		to := scenes.Affine{XX: long, YY: 0.5, X0: n/2 - long*size/2, Y0: 100.2}
		dst := newFrame[float32](t, size, size, 1)
		mustWarp(t, dst, src, newMap(t, affine(size, size, to), flat(n, n)), warp.Options{Minify: warp.PixelMean})
		// From 3.5 on the radial kernel, which is not as fine, takes over.
		allowed := 0.006
		if long > 3.5 {
			allowed = 0.2
		}
		for y := range size {
			_, sy := to.At(0, float64(y)+0.5)
			want := 0.5 + special.Sinc(0.5*f)*(wave(sy)-0.5)
			require.InDelta(t, want, dst.Row(y)[size/2], allowed, "%v px long, row %d", long, y)
		}
	}
}

// TestMeansKeepConstantsAndRamps, up to the edges of the source.
func TestMeansKeepConstantsAndRamps(t *testing.T) {
	near.NumbersOnly(t)
	const n = 60
	flatland, slope := make([]float32, n*n), make([]float32, n*n)
	at := func(x, y float64) float64 { return 1.5*(x-n/2) - 0.5*(y-n/2) }
	for i := range flatland {
		flatland[i] = 0.7
		slope[i] = float32(at(float64(i%n)+0.5, float64(i/n)+0.5))
	}
	for _, scale := range []float64{0.3, 0.7, 0.999, 1.1, 1.9, 2.2, 2.5, 4} {
		for _, edge := range []warp.Edge{warp.Mask, warp.Clamp} {
			size := int(n/scale) + 8
			m := newMap(t, affine(size, size, scenes.Turned(size, size, scale, 0.4, n/2+0.1, n/2+0.2)), flat(n, n))
			seen := make([]float32, size*size)
			cov := newFrame[float32](t, size, size, 1)
			mustWarp(t, frameOf(t, size, size, seen), frameOf(t, n, n, flatland), m, warp.Options{Minify: warp.PixelMean, Edge: edge, Coverage: cov})
			worst := 0.0
			for i, v := range seen {
				if cov.Row(i / size)[i%size] > 0 {
					worst = math.Max(worst, math.Abs(float64(v)-float64(float32(0.7))))
				}
			}
			ref.Within(t, "WARP-CONSTANT", worst, scale, edge)
		}
		size := int(0.6 * n / scale)
		to := scenes.Turned(size, size, scale, 0.4, n/2+0.1, n/2+0.2)
		seen := make([]float32, size*size)
		mustWarp(t, frameOf(t, size, size, seen), frameOf(t, n, n, slope), newMap(t, affine(size, size, to), flat(n, n)), warp.Options{Minify: warp.PixelMean})
		worst := 0.0
		for i, v := range seen {
			if x, y := to.At(float64(i%size)+0.5, float64(i/size)+0.5); scale <= 2 && math.Hypot(x-n/2, y-n/2) < n/2-5 {
				worst = math.Max(worst, math.Abs(float64(v)-at(x, y)))
			}
		}
		ref.Within(t, "WARP-RAMP", worst, scale)
	}
}
