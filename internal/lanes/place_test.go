package lanes

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestSnap(t *testing.T) {
	for _, tc := range []struct {
		x        float64
		whole    int
		fraction float32
	}{{0, 0, 0}, {0.5, 0, 0.5}, {-0.25, -1, 0.75}, {1e6 + 0.125, 1000000, 0.125}, {3 - 1e-9, 3, 0}, {7 + 1./1048576, 7, 1. / 1048576}, {-4, -4, 0}} {
		if w, f := Snap(tc.x); w != tc.whole || f != tc.fraction {
			t.Errorf("%v is %d and %v, want %d and %v", tc.x, w, f, tc.whole, tc.fraction)
		}
	}
}

// TestPlace compares with the meaning: the taps around a position, if they and
// what is read of them are inside.
func TestPlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, ch := range []int{1, 3} {
		for _, side := range [][2]int{{1, 1}, {2, 2}, {4, 10}, {6, 4}} {
			taps, deep := side[0], side[1]
			for _, size := range [][2]int{{40, 30}, {5, 50}, {6, 6}, {1, 1}} {
				w, h := size[0], size[1]
				r := raster[uint8](rng, w, h, ch)
				r.Pix = r.Pix[:(h-1)*r.Stride+w*ch]
				reach := 20
				g := NewGrid(r, w, h, taps, deep, reach)
				var xs, ys []float64
				for range 403 {
					xs, ys = append(xs, rng.Float64()*float64(w+6)-3), append(ys, rng.Float64()*float64(h+6)-3)
				}
				for i, v := range []float64{0, 0.5, 1.5, 2.5, 3 - 1e-9, 3.5 - 1e-12, float64(w), float64(w) - 0.5, math.NaN(), 1e9, -1e9, math.Inf(1), math.Inf(-1)} {
					xs[7*i], ys[11*i+1] = v, v
				}
				at, us, vs := make([]int, len(xs)), make([]float32, len(xs)), make([]float32, len(xs))
				bothWays(t, "place", func() (got []float32) {
					for n := range 10 {
						if n == 9 {
							n = len(xs)
						}
						for i := range at {
							at[i], us[i], vs[i] = -2, 7, 7 // not written
						}
						all := Place(at[:n], us, vs, xs, ys, &g)
						if none := slices.Contains(at[:n], -1); all == none {
							t.Fatalf("of %d all is %v", n, all)
						}
						for i, o := range at {
							if got = append(got, float32(o)); o >= 0 || i >= n {
								got = append(got, us[i], vs[i])
							}
						}
					}
					return got
				})
				for i, x := range xs {
					// The middle of the tap before the position, by rounding in whole steps.
					half, first, above := 0.5, taps/2-1, deep/2-1
					if taps == 1 {
						half, first, above = 0, 0, 0
					}
					sx, sy := math.Round((x-half)*snapOne)/snapOne, math.Round((ys[i]-half)*snapOne)/snapOne
					ix, iy := math.Floor(sx), math.Floor(sy)
					left, top := int(ix)-first, int(iy)-above
					o := top*r.Stride + left*ch
					want := o
					if !(sx >= -1 && sx < 1e6 && sy >= -1 && sy < 1e6) || sx == ix || sy == iy || left < 0 || top < 0 || left+taps > w || top+deep > h || o+(deep-1)*r.Stride+reach > len(r.Pix) {
						want = -1
					}
					if at[i] != want {
						t.Fatalf("%d × %d, %v taps: (%v, %v) is at %d, want %d", w, h, side, x, ys[i], at[i], want)
					}
					if want >= 0 && (float64(us[i]) != sx-ix || float64(vs[i]) != sy-iy) {
						t.Fatalf("(%v, %v) is (%v, %v) behind a tap", x, ys[i], us[i], vs[i])
					}
				}
			}
		}
	}
}

func TestPositions(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	for n := range 40 {
		for _, edge := range []float64{50, 110, 400} {
			x, y := &Quadratic{60, 30 * rng.Float64(), 5 * rng.Float64()}, &Quadratic{70, -20 * rng.Float64(), 9 * rng.Float64()}
			from, step := -15.5+rng.Float64(), 1/15.5
			bothWays(t, "positions", func() []float32 {
				xs, ys := make([]float64, n), make([]float64, n)
				within := Positions(xs, ys, x, y, from, step, edge, edge+20)
				all := []float32{0}
				inside := true
				for i := range xs {
					u := (from + float64(i)) * step
					if wx, wy := x[0]+x[1]*u+x[2]*u*u, y[0]+y[1]*u+y[2]*u*u; math.Abs(xs[i]-wx) > 1e-12 || math.Abs(ys[i]-wy) > 1e-12*70 {
						t.Fatalf("(%v, %v), want (%v, %v)", xs[i], ys[i], wx, wy)
					}
					inside = inside && xs[i] >= 0 && xs[i] < edge && ys[i] >= 0 && ys[i] <= edge+20
					hi, lo := math.Float64bits(xs[i]), math.Float64bits(ys[i])
					all = append(all, float32(hi>>40), float32(hi&0xffffff), float32(hi>>20&0xffffff), float32(lo&0xffffff), float32(lo>>20&0xffffff))
				}
				if within != inside {
					t.Fatalf("within is %v, want %v", within, inside)
				}
				return all
			})
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		bothWays(t, "positions", func() []float32 {
			if Positions(make([]float64, 9), make([]float64, 9), &Quadratic{v, 0, 0}, &Quadratic{}, 0, 1, 10, 10) {
				t.Errorf("%v is within", v)
			}
			return nil
		})
	}
}
