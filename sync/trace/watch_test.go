package trace_test

import (
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/trace"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// waterfront is the green of a photograph, over full scale.
var waterfront = sync.OnceValue(func() (v struct {
	w, h int
	pix  []float32
}) {
	f, err := os.Open("../../testdata/waterfront.png")
	if err != nil {
		panic(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		panic(err)
	}
	v.w, v.h = img.Bounds().Dx(), img.Bounds().Dy()
	v.pix = make([]float32, v.w*v.h)
	for y := range v.h {
		for x := range v.w {
			_, g, _, _ := img.At(img.Bounds().Min.X+x, img.Bounds().Min.Y+y).RGBA()
			v.pix[y*v.w+x] = float32(g) / 65535
		}
	}
	return v
})

// The pictures of these tests.
const width, height = 320, 120

// crop reads the photograph between its pixels from (x, y) on: its rows with detail, four
// times as high.
func crop(x, y float64) []float32 {
	p := waterfront()
	i := int(x)
	u := float32(x - float64(i))
	out := make([]float32, width*height)
	for r := range height {
		at := 82 + (y+float64(r))/4
		j := int(at)
		v := float32(at - float64(j))
		for c := range width {
			k := j*p.w + i + c
			out[r*width+c] = (1-v)*((1-u)*p.pix[k]+u*p.pix[k+1]) + v*((1-u)*p.pix[k+p.w]+u*p.pix[k+p.w+1])
		}
	}
	return out
}

// normals are random numbers, since making them anew takes most of the time.
var normals = sync.OnceValue(func() []float64 {
	r := rand.New(rand.NewPCG(7, 7))
	v := make([]float64, 1<<18)
	for i := range v {
		v[i] = r.NormFloat64()
	}
	return v
})

// noisy is a picture as a camera would record it: with noise, in 16 bit.
func noisy(r *rand.Rand, picture []float32, sd float64) trace.Plane[uint16] {
	p := trace.Plane[uint16]{Pix: make([]uint16, len(picture)), Width: width, Height: height}
	noise := normals()[r.IntN(1<<18-len(picture)):]
	for i, v := range picture {
		x := 65535 * (0.05 + 0.9*float64(v) + sd*noise[i])
		p.Pix[i] = uint16(math.Max(0, math.Min(65535, x)))
	}
	return p
}

// pan is a camera that moves across the photograph.
func pan(r *rand.Rand) func(n int) []float32 {
	dx, dy := 3+2*r.Float64(), 2*r.Float64()-1
	x, y := 10+90*r.Float64(), 15+5*r.Float64()
	return func(n int) []float32 { return crop(x+dx*float64(n), y+dy*float64(n)) }
}

func watch(t *testing.T, noise float64, frames ...trace.Plane[uint16]) trace.Report {
	t.Helper()
	w, err := trace.NewWatcher[uint16](trace.WatchSpec{Noise: noise})
	require.NoError(t, err)
	for _, f := range frames {
		require.NoError(t, w.Add(f))
	}
	return w.Report()
}

func TestWatcherFindsFaults(t *testing.T) {
	near.NumbersOnly(t)
	const frames = 14
	var clean, repeats, torn, rows, unclear int
	for seed := range *seeds / 2 {
		r := rand.New(rand.NewPCG(uint64(seed), 10))
		at := pan(r)
		take := func(number func(n int) (upper, lower, row int)) (out []trace.Plane[uint16]) {
			for n := range frames {
				upper, lower, row := number(n)
				picture := at(upper)
				if upper != lower {
					copy(picture[row*width:], at(lower)[row*width:])
				}
				out = append(out, noisy(r, picture, 0.01))
			}
			return out
		}
		got := watch(t, 0.01, take(func(n int) (int, int, int) { return n, n, 0 })...)
		clean += len(got.Findings)
		unclear += got.Unclear

		bad := 4 + r.IntN(6)
		got = watch(t, 0.01, take(func(n int) (int, int, int) {
			if n == bad {
				return n - 1, n - 1, 0
			}
			return n, n, 0
		})...)
		if cmp.Equal([]trace.Finding{{Kind: trace.Repeated, Frame: bad, Frames: 1}}, got.Findings) {
			repeats++
		} else {
			t.Logf("seed %d: repeat at %d: %+v", seed, bad, got)
		}

		row := 30 + r.IntN(60)
		upper := r.IntN(2) == 0
		got = watch(t, 0.01, take(func(n int) (int, int, int) {
			switch {
			case n != bad:
				return n, n, 0
			case upper:
				return n - 1, n, row
			}
			return n, n - 1, row
		})...)
		if len(got.Findings) == 1 && got.Findings[0].Kind == trace.Torn && got.Findings[0].Frame == bad && got.Findings[0].Upper == upper {
			torn++
			if d := got.Findings[0].Row - row; max(d, -d) <= got.Findings[0].RowError+1 {
				rows++
			} else {
				t.Logf("seed %d: torn at row %d: %+v", seed, row, got)
			}
		} else {
			t.Logf("seed %d: torn at row %d, %v: %+v", seed, row, upper, got)
		}
	}
	t.Logf("of %d: %d alarms and %d unclear frames in clean takes, %d repeats, %d tears, %d rows", *seeds/2, clean, unclear, repeats, torn, rows)
	assert.LessOrEqual(t, clean, *seeds/100, "false alarms")
	ref.Equal(t, "T-WATCH-FAULTS", repeats+torn, 2*(*seeds/2))
	assert.GreaterOrEqual(t, rows, torn-*seeds/100)
}

// A scene that stands still gives no finding; digital repeats of 12 frames are stuck.
func TestWatcherStill(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 11))
	at := pan(r)
	var still, stuck, flash, twos []trace.Plane[uint16]
	for n := range 20 {
		still = append(still, noisy(r, at(0), 0.01))
		stuck = append(stuck, noisy(r, at(n), 0.01))
		twos = append(twos, noisy(r, at(n/2), 0.01))
		lit := at(0)
		if n == 10 || n == 11 {
			for i := range lit {
				lit[i] = 0.3 + 0.7*lit[i]
			}
		}
		flash = append(flash, noisy(r, lit, 0.01))
	}
	for n := 6; n < 18; n++ {
		stuck[n] = stuck[5]
	}
	assert.Empty(t, cmp.Diff(trace.Report{Frames: 20, Unclear: 19}, watch(t, 0.01, still...)))
	assert.Empty(t, cmp.Diff(trace.Report{Frames: 20, Unclear: 17}, watch(t, 0.01, flash...)), "a flash of two frames")
	want := []trace.Finding{{Kind: trace.Stuck, Frame: 6, Frames: 12}}
	assert.Empty(t, cmp.Diff(want, watch(t, 0.01, stuck...).Findings))
	assert.Empty(t, cmp.Diff(want, watch(t, 0, stuck...).Findings), "to the last bit")
	assert.Len(t, watch(t, 0.01, twos...).Findings, 6, "each second frame, but for the ends")
	assert.Empty(t, watch(t, 0, twos...).Findings, "noise differs")
}

// Means and changes of numbered samples, by hand.
func TestWatcherNumbers(t *testing.T) {
	w, err := trace.NewWatcher[uint8](trace.WatchSpec{})
	require.NoError(t, err)
	const columns = 200 // blocks of two
	p := trace.Plane[uint8]{Pix: make([]uint8, 3*columns*16), Width: columns, Height: 16, Step: 3}
	require.NoError(t, w.Add(p))
	for i := range p.Pix {
		p.Pix[i] = 99 // other channels
	}
	for i := range columns * 16 {
		p.Pix[3*i] = uint8(51 + 10*(i%2)) // a mean of 56 in each block
	}
	require.NoError(t, w.Add(p))
	for y := range 8 {
		for x := range columns {
			p.Pix[3*(y*columns+x)] += 51 // a fifth of full scale, in half of the picture
		}
	}
	require.NoError(t, w.Add(p))
	ref.Near(t, "T-WATCH-MEAN", w.Means()[1], 56./255)
	ref.Near(t, "T-WATCH-MEAN", w.Means()[2], 81.5/255)
	ref.Near(t, "T-WATCH-CHANGE", w.Changes()[0], 56./255)
	ref.Near(t, "T-WATCH-CHANGE", w.Changes()[1], 56./255)
	ref.Near(t, "T-WATCH-CHANGE", w.Changes()[2], 0.2*math.Sqrt(0.5))
	require.NoError(t, w.Add(p))
	assert.Zero(t, w.Changes()[3])
}

func TestFindingText(t *testing.T) {
	assert.Equal(t, "frames 6 to 7: repeated", trace.Finding{Kind: trace.Repeated, Frame: 6, Frames: 2}.String())
}

// A camera that shakes is now and then where it was a frame before, and its picture
// changes in some rows only where it moves along what they show. Neither is a fault.
func TestWatcherOfShakes(t *testing.T) {
	near.NumbersOnly(t)
	const frames = 24
	alarms, takes := 0, *seeds/2
	for seed := range takes {
		r := rand.New(rand.NewPCG(uint64(seed), 51))
		fx, fy, px, py := 0.1+0.4*r.Float64(), 0.1+0.4*r.Float64(), 6*r.Float64(), 6*r.Float64()
		x0, y0, size := 20+100*r.Float64(), 20+20*r.Float64(), 0.5+2*r.Float64()
		var film []trace.Plane[uint16]
		for n := range frames {
			x, y := x0+size*math.Sin(2*math.Pi*fx*float64(n)+px), y0+4*size*math.Sin(2*math.Pi*fy*float64(n)+py)
			film = append(film, noisy(r, crop(x, y), 0.01))
		}
		if got := watch(t, 0.01, film...); len(got.Findings) > 0 {
			alarms++
			t.Logf("seed %d: %v", seed, got.Findings)
		}
	}
	ref.Within(t, "T-WATCH-ALARMS", float64(alarms)/float64(takes))
}
