package plate_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/platewright/internal/same"
	"example.com/platewright/sensor/plate"
	"github.com/stretchr/testify/require"
)

// plates is how many random plates each judge measures.
var plates = flag.Int("plates", 12, "random `plates` to measure")

// must fails the test on an error and passes the value on.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// waterfront is the green channel of a real sphere, 512 × 256, linear, 1 at most.
var waterfront = sync.OnceValues(func() ([]float64, error) {
	img, err := same.Waterfront()
	if err != nil {
		return nil, err
	}
	out := make([]float64, 512*256)
	for i := range out {
		_, g, _, _ := img.At(i%512, i/512).RGBA()
		out[i] = float64(g) / 65535
	}
	return out, nil
})

// scene is real content: a part of the waterfront, magnified by bilinear interpolation,
// with its black at dark and its lamps at bright. It is soft at the scale of pixels, as
// plates are.
type scene struct {
	samples       []float64
	width, height int
}

func newScene(t testing.TB, r *rand.Rand, width, height int, magnification, dark, bright float64) scene {
	t.Helper()
	all := must[[]float64](t)(waterfront())
	s := scene{make([]float64, width*height), width, height}
	x0 := r.Float64() * (511 - float64(width)/magnification)
	y0 := r.Float64() * (255 - float64(height)/magnification)
	const lamps = 0.15 // are brighter
	for i := range s.samples {
		x, y := x0+float64(i%width)/magnification, y0+float64(i/width)/magnification
		ix, iy := int(x), int(y)
		fx, fy := x-float64(ix), y-float64(iy)
		at := func(dx, dy int) float64 { return min(all[(iy+dy)*512+ix+dx], lamps) }
		s.samples[i] = (1-fy)*((1-fx)*at(0, 0)+fx*at(1, 0)) + fy*((1-fx)*at(0, 1)+fx*at(1, 1))
		s.samples[i] = dark + (bright-dark)/lamps*s.samples[i]
	}
	return s
}

// record makes a plate of a light from 0 to 1 with normal noise.
func record[T plate.Sample](r *rand.Rand, width, height int, scale float64, light func(x, y int) float64, noise func(light float64) float64) plate.Plane[T] {
	p := plate.Plane[T]{Pix: make([]T, width*height), Width: width, Height: height}
	for i := range p.Pix {
		l := light(i%width, i/width)
		v := scale * (l + noise(l)*r.NormFloat64())
		if scale > 1 { // whole numbers
			v = math.Round(min(max(v, 0), scale))
		}
		p.Pix[i] = T(v)
	}
	return p
}

func (s scene) at(x, y int) float64 { return s.samples[y*s.width+x] }

func constant(v float64) func(float64) float64 { return func(float64) float64 { return v } }

// tally counts how often the truth lies within three uncertainties, and the mean error
// in uncertainties.
type tally struct {
	n, within int
	sum       float64
}

func (s *tally) add(e plate.Estimate, truth float64) {
	z := (e.Value - truth) / e.Uncertainty
	s.n++
	s.sum += z
	if math.Abs(z) <= 3 {
		s.within++
	}
}

// outside is the share of measurements that the truth is farther from than three
// uncertainties.
func (s *tally) outside() float64 { return float64(s.n-s.within) / float64(s.n) }

// bias is the mean error in uncertainties, less what so few measurements leave.
func (s *tally) bias() float64 {
	n := float64(s.n)
	return max(0, math.Abs(s.sum/n)-2/math.Sqrt(n))
}

// log prints what was counted.
func (s *tally) log(t testing.TB, what string) {
	t.Helper()
	t.Logf("%-12s %d of %d within three, mean error %+.2f", what, s.within, s.n, s.sum/float64(s.n))
}
