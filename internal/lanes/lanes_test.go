package lanes

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// raster is w by h texels without order, with something at the end that no
// result may depend on.
func raster[T Sample](rng *rand.Rand, w, h, ch int) Raster[T] {
	r := Raster[T]{Pix: make([]T, h*(w*ch+3)+3*Width*ch), Stride: w*ch + 3, Channels: ch}
	limit, whole := Limit[T]()
	for i := range r.Pix {
		if whole {
			r.Pix[i] = T(rng.Float32() * limit)
		} else {
			r.Pix[i] = T(rng.Float32()*2 - 0.5)
		}
	}
	return r
}

// kernels have weights of no meaning, on 2 to 32 taps, and tables coarse and fine.
var kernels = func() (all []*Kernel) {
	for taps := 2; taps <= MaxTaps; taps += 2 {
		all = append(all, NewKernel(taps, 4+taps*taps, func(f float64, w []float64) { meaningless(f, w) }))
	}
	return all
}()

func meaningless(f float64, w []float64) {
	for i := range w {
		w[i] = math.Sin(float64(i*i)+3*f) / float64(len(w))
	}
}

// between are the weights of such a kernel, in float64.
func between(k *Kernel, f float32) []float64 {
	a, b := make([]float64, k.Taps()), make([]float64, k.Taps())
	steps := float64(4 + k.Taps()*k.Taps())
	at, t := math.Modf(float64(f) * steps)
	meaningless(at/steps, a)
	meaningless((at+1)/steps, b)
	for i := range a {
		a[i] += t * (b[i] - a[i])
	}
	return a
}

// batch is a run of pixels over a raster of 40 by 30.
func batch(rng *rand.Rand, stride, ch, n int) (at []int, u, v []float32) {
	for range n {
		o := rng.IntN(20)*stride + rng.IntN(30)*ch
		if rng.IntN(8) == 0 {
			o = -1
		}
		at, u, v = append(at, o), append(u, rng.Float32()), append(v, rng.Float32())
	}
	return at, u, v
}

// bothWays runs f with the assembly and without, and compares all bits.
func bothWays(t *testing.T, what string, f func() []float32) []float32 {
	t.Helper()
	saved := setAccelerated(true)
	fast := f()
	setAccelerated(false)
	plain := f()
	setAccelerated(saved)
	for i := range plain {
		if math.Float32bits(fast[i]) != math.Float32bits(plain[i]) && !(fast[i] != fast[i] && plain[i] != plain[i]) {
			t.Fatalf("%s: value %d is %v from assembly, %v from Go", what, i, fast[i], plain[i])
		}
	}
	return plain
}

// dropSkipped clears what the loops pass over.
func dropSkipped(out []float32, at []int, ch int) []float32 {
	for i, o := range at {
		if o < 0 {
			clear(out[i*ch : (i+1)*ch])
		}
	}
	return out[:len(at)*ch]
}

func near(t *testing.T, what string, got float32, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(float64(got)-want) <= tolerance) {
		t.Fatalf("%s: %v, want %v ± %v", what, got, want, tolerance)
	}
}

// sampled is the test of one type of sample, the largest of which is limit.
type sampled func(t *testing.T, rng *rand.Rand, ch int, limit float64)

func each(t *testing.T, bytes, words, floats sampled) {
	for ch := 1; ch <= 4; ch++ {
		rng := func() *rand.Rand { return rand.New(rand.NewPCG(1, uint64(ch))) }
		t.Run(fmt.Sprintf("uint8×%d", ch), func(t *testing.T) { bytes(t, rng(), ch, 255) })
		t.Run(fmt.Sprintf("uint16×%d", ch), func(t *testing.T) { words(t, rng(), ch, 65535) })
		t.Run(fmt.Sprintf("float32×%d", ch), func(t *testing.T) { floats(t, rng(), ch, 1) })
	}
}

func TestNearest(t *testing.T) {
	each(t, nearestCase[uint8], nearestCase[uint16], nearestCase[float32])
}
func TestBilinear(t *testing.T) {
	each(t, bilinearCase[uint8], bilinearCase[uint16], bilinearCase[float32])
}
func TestWindow(t *testing.T) { each(t, windowCase[uint8], windowCase[uint16], windowCase[float32]) }

func nearestCase[T Sample](t *testing.T, rng *rand.Rand, ch int, _ float64) {
	r := raster[T](rng, 40, 30, ch)
	for n := range 20 {
		at, _, _ := batch(rng, r.Stride, ch, n)
		got := bothWays(t, "nearest", func() []float32 {
			out := make([]float32, n*ch+3)
			Nearest(out, r, at, 100)
			return dropSkipped(out, at, ch)
		})
		for i, o := range at {
			for c := range ch {
				want := 0.0
				if o >= 0 {
					want = float64(r.Pix[o+c])
				}
				near(t, "nearest", got[i*ch+c], want, 0)
			}
		}
	}
}

func bilinearCase[T Sample](t *testing.T, rng *rand.Rand, ch int, limit float64) {
	r := raster[T](rng, 40, 30, ch)
	for n := range 70 {
		at, u, v := batch(rng, r.Stride, ch, n)
		got := bothWays(t, "bilinear", func() []float32 {
			out := make([]float32, n*ch+3)
			Bilinear(out, r, at, u, v, 100)
			return dropSkipped(out, at, ch)
		})
		for i, o := range at {
			for c := range ch {
				want := 0.0
				if o >= 0 {
					for j, wy := range []float64{1 - float64(v[i]), float64(v[i])} {
						for k, wx := range []float64{1 - float64(u[i]), float64(u[i])} {
							want += wy * wx * float64(r.Pix[o+j*r.Stride+k*ch+c])
						}
					}
				}
				near(t, "bilinear", got[i*ch+c], want, 5e-7*limit)
			}
		}
	}
}

func windowCase[T Sample](t *testing.T, rng *rand.Rand, ch int, limit float64) {
	for i, k := range kernels {
		down, r := kernels[i*7%len(kernels)], raster[T](rng, 70, 55, ch)
		for n := range 20 {
			at, u, v := batch(rng, r.Stride, ch, n)
			got := bothWays(t, fmt.Sprintf("window of %d × %d taps", k.Taps(), down.Taps()), func() []float32 {
				out := make([]float32, n*ch+3)
				Window(out, r, k, down, Slant{}, at, u, v, -100)
				return dropSkipped(out, at, ch)
			})
			for i, o := range at {
				wx, wy := between(k, u[i]), between(down, v[i])
				for c := range ch {
					want := 0.0
					if o >= 0 {
						for j := range wy {
							for m := range wx {
								want += wy[j] * wx[m] * float64(r.Pix[o+j*r.Stride+m*ch+c])
							}
						}
					}
					near(t, "window", got[i*ch+c], want, 3e-6*limit)
				}
			}
		}
	}
}

func TestLean(t *testing.T) { each(t, leanCase[uint8], leanCase[uint16], leanCase[float32]) }

// leanCase sums over rows that lie where a line through the position has them.
func leanCase[T Sample](t *testing.T, rng *rand.Rand, ch int, limit float64) {
	for i, k := range kernels {
		down, r := kernels[i*7%len(kernels)], raster[T](rng, 110, 55, ch)
		for _, shift := range []float32{0.01, -0.3, 0.77, -1.2} {
			slant, n := NewSlant(shift, down.Taps()), 1+rng.IntN(18)
			at, u, v := batch(rng, r.Stride, ch, n)
			got := bothWays(t, fmt.Sprintf("%d × %d taps, shifted by %v", k.Taps(), down.Taps(), shift), func() []float32 {
				out := make([]float32, n*ch+3)
				Window(out, r, k, down, slant, at, u, v, -100)
				return dropSkipped(out, at, ch)
			})
			// The middle of the columns stands for that of an upright window.
			columns := slant.Columns(k.Taps())
			for i, o := range at {
				for c := range ch {
					want := 0.0
					for j, wy := range between(down, v[i]) {
						if o < 0 {
							continue
						}
						place := float64(u[i]) + float64(shift)*(float64(j-down.Taps()/2+1)-float64(v[i]))
						whole := math.Floor(place)
						first := columns/2 - k.Taps()/2 + int(whole)
						if first < 0 || first+k.Taps() > columns {
							t.Fatalf("taps %d to %d of %d columns", first, first+k.Taps(), columns)
						}
						for m, wx := range between(k, float32(place-whole)) {
							want += wy * wx * float64(r.Pix[o+j*r.Stride+(first+m)*ch+c])
						}
					}
					near(t, "lean", got[i*ch+c], want, 2e-5*limit)
				}
			}
		}
	}
}

func TestSum(t *testing.T) { each(t, sumCase[uint8], sumCase[uint16], sumCase[float32]) }

func sumCase[T Sample](t *testing.T, rng *rand.Rand, ch int, limit float64) {
	r := raster[T](rng, 100, 9, ch)
	for n := range 100 {
		at, w := []int{}, []float32{}
		for range 1 + n%7 {
			at, w = append(at, rng.IntN(len(r.Pix)-n+1)), append(w, rng.Float32()-0.3)
		}
		for i, v := range bothWays(t, "sum", func() []float32 {
			out := make([]float32, n)
			Sum(out, r.Pix, at, w, 50)
			return out
		}) {
			want := 0.0
			for k, o := range at {
				want += float64(w[k]) * float64(r.Pix[o+i])
			}
			near(t, "sum", v, want, 1e-6*limit)
		}
	}
}

func TestHalve(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for ch := 1; ch <= 4; ch++ {
		for n := range 20 {
			line := make([]float32, (2*n+2)*ch+3)
			for i := range line {
				line[i] = rng.Float32()
			}
			for i, v := range bothWays(t, "halve", func() []float32 {
				out := make([]float32, n*ch+3)
				Halve(out, line, n, ch)
				return out[:n*ch]
			}) {
				want := 0.0
				for k, w := range []float64{1, 3, 3, 1} {
					want += w / 8 * float64(line[(i/ch*2+k)*ch+i%ch])
				}
				near(t, "halve", v, want, 2e-7)
			}
		}
	}
}

// TestStrangers: samples without weight do not count, whatever they are.
func TestStrangers(t *testing.T) {
	nan := float32(math.NaN())
	for ch := 1; ch <= 4; ch++ {
		for i, k := range kernels {
			down := kernels[i*7%len(kernels)]
			r := Raster[float32]{Pix: make([]float32, 60*60*ch), Stride: 60 * ch, Channels: ch}
			for i := range r.Pix {
				r.Pix[i] = nan
			}
			at := 20*r.Stride + 20*ch
			for y := range down.Taps() {
				for x := range k.Taps() * ch {
					r.Pix[at+y*r.Stride+x] = 1
				}
			}
			for i, v := range bothWays(t, "window", func() []float32 {
				out := make([]float32, 2*ch+3)
				Window(out, r, k, down, Slant{}, []int{at}, []float32{0.3}, []float32{0.6}, 0)
				Window(out[ch:], r, k, down, Slant{Shift: 1e-9}, []int{at}, []float32{0.3}, []float32{0.6}, 0)
				return out[:2*ch]
			}) {
				if v != v {
					t.Errorf("%d channels, %d taps: value %d is NaN", ch, k.Taps(), i)
				}
			}
		}
	}
}

func TestRound(t *testing.T) {
	values := []float32{0, -0.1, 0.49999, 0.5, 1.5, 254.5, 254.4, 255.5, 256, 65534.5, 65535.4, 65535.5, 65536, 1e30, -1e30,
		float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), 3, 2.5, 100.25}
	rng := rand.New(rand.NewPCG(5, 6))
	for range 500 {
		values = append(values, rng.Float32()*70000-1000)
	}
	nearest := func(v float32, limit float64) float64 {
		if v != v {
			return 0
		}
		return math.Floor(math.Min(math.Max(float64(v), 0), limit) + 0.5)
	}
	for _, n := range []int{0, 1, 7, 8, 9, 16, 21, len(values)} {
		bothWays(t, "round", func() []float32 {
			a, b := make([]uint8, n), make([]uint16, n)
			Round(a, values[:n])
			Round(b, values[:n])
			var all []float32
			for i, v := range values[:n] {
				near(t, fmt.Sprintf("%v as uint8", v), float32(a[i]), nearest(v, 255), 0)
				near(t, fmt.Sprintf("%v as uint16", v), float32(b[i]), nearest(v, 65535), 0)
				all = append(all, float32(a[i]), float32(b[i]))
			}
			return all
		})
	}
}
