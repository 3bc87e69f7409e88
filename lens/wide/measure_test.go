package wide_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens/wide"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var frames = flag.Int("frames", 12, "random bright frames to measure")

// sky is a frame of a bright scene behind a round rim.
type sky struct {
	width, height int
	x, y, r       float64 // px
	fade          float64 // px, standard deviation of the rim
	falloff       float64 // what is left at the rim
	flare         float64 // outside, at the rim
	noise         float64
	scene         func(x, y float64) float64
}

func (s sky) plane(rng *rand.Rand) wide.Plane[float32] {
	p := wide.Plane[float32]{Pix: make([]float32, s.width*s.height), Width: s.width, Height: s.height}
	for j := range s.height {
		for i := range s.width {
			var v float64
			fine := 1 // points across a pixel
			if math.Abs(math.Hypot(float64(i)-s.x, float64(j)-s.y)-s.r) < 8 {
				fine = 4
			}
			for k := range fine * fine {
				x, y := float64(i)+(float64(k%fine)+0.5)/float64(fine), float64(j)+(float64(k/fine)+0.5)/float64(fine)
				r := math.Hypot(x-s.x, y-s.y)
				inside := 0.5 * math.Erfc((r-s.r)/s.fade/math.Sqrt2)
				light := 1 - (1-s.falloff)*math.Pow(r/s.r, 4)
				if r > s.r {
					light = s.falloff
				}
				if s.scene != nil && inside > 0 {
					light *= s.scene(x, y)
				}
				v += (inside*light + s.flare*math.Exp(-math.Abs(r-s.r)/(0.3*s.r))) / float64(fine*fine)
			}
			p.Pix[j*s.width+i] = float32(0.01 + v + s.noise*rng.NormFloat64())
		}
	}
	return p
}

// clouds vary slowly, and a dark bow hides part of the rim.
func clouds(rng *rand.Rand) func(x, y float64) float64 {
	var waves [6][3]float64
	for i := range waves {
		waves[i] = [3]float64{0.08 * rng.NormFloat64(), 0.08 * rng.NormFloat64(), 2 * math.Pi * rng.Float64()}
	}
	from := 2 * math.Pi * rng.Float64()
	return func(x, y float64) float64 {
		v := 0.6
		for _, w := range waves {
			v += 0.06 * math.Sin(w[0]*x+w[1]*y+w[2])
		}
		if a := math.Mod(math.Atan2(y-100, x-160)-from+4*math.Pi, 2*math.Pi); a < 0.9 && math.Hypot(x-160, y-100) > 70 {
			v *= 0.05
		}
		return v
	}
}

func TestImageCirclesMeasured(t *testing.T) {
	near.NumbersOnly(t)
	sums, outside, total := map[string]float64{}, 0, 0
	for seed := range *frames {
		rng := rand.New(rand.NewPCG(5, uint64(seed)))
		s := sky{width: 320, height: 200, r: 115 + 25*rng.Float64(), fade: 0.6 + 1.2*rng.Float64(), falloff: 0.4 + 0.5*rng.Float64(), flare: 0.03 * rng.Float64(), noise: 0.02 * rng.Float64()}
		s.x, s.y = 160+6*rng.NormFloat64(), 100+6*rng.NormFloat64()
		s.scene = clouds(rng)
		got, err := wide.MeasureImageCircle(s.plane(rng))
		require.NoError(t, err, "seed %d: %+v", seed, s)
		for name, z := range map[string]float64{
			"x": (got.X.Value - s.x) / got.X.Uncertainty, "y": (got.Y.Value - s.y) / got.Y.Uncertainty, "radius": (got.Radius.Value - s.r) / got.Radius.Uncertainty,
		} {
			if seed < 12 {
				ref.Near(t, "L-WC1", z, 0, seed, name)
			}
			total++
			if sums[name] += z; !(math.Abs(z) <= 3) {
				outside++
			}
		}
		assert.InDelta(t, got.X.Value-160, got.OffsetX, 1e-9)
		assert.InDelta(t, got.Y.Value-100, got.OffsetY, 1e-9)
	}
	n := float64(*frames)
	assert.LessOrEqual(t, float64(outside), math.Max(1, 0.01*float64(total)), "of %d", total)
	for name, sum := range sums {
		assert.LessOrEqual(t, math.Abs(sum/n), math.Max(0.5, 3.3/math.Sqrt(n)), name)
		t.Logf("%s: bias %.2f of an uncertainty", name, sum/n)
	}
	t.Logf("%d of %d outside three uncertainties", outside, total)
}

func TestImageCirclesRefused(t *testing.T) {
	s := sky{width: 160, height: 100, x: 80, y: 50, r: 66, fade: 0.8, falloff: 0.7, noise: 0.005}
	rng := func() *rand.Rand { return rand.New(rand.NewPCG(1, 1)) }
	got := must[wide.ImageCircle](t)(wide.MeasureImageCircle(s.plane(rng())))
	assert.InDelta(t, 66, got.Radius.Value, 0.2, "a rim of 0.8 px, and noise")
	assert.InDelta(t, 0.4, got.Visible, 0.12, "the circle is cut off at top and bottom")
	for name, change := range map[string]func(s *sky){
		"lit all over": func(s *sky) { s.r = 300 },
		"square": func(s *sky) {
			s.scene = func(x, y float64) float64 {
				if math.Abs(x-80) > 35 || math.Abs(y-50) > 30 {
					return 0
				}
				return 1
			}
		},
		"dark": func(s *sky) { s.scene = func(x, y float64) float64 { return 0 } },
	} {
		s := s
		change(&s)
		circle, err := wide.MeasureImageCircle(s.plane(rng()))
		refuses(t, err, "rim of the image circle")
		assert.Zero(t, circle, name)
	}
	p := s.plane(rng())
	for i := range p.Pix {
		p.Pix[i] = float32(nan)
	}
	_, err := wide.MeasureImageCircle(p)
	refuses(t, err, "sample NaN: must be a finite number")
	_, err = wide.MeasureImageCircle(wide.Plane[uint8]{Pix: make([]uint8, 6400), Width: 64, Height: 100})
	refuses(t, err, "must have light and dark")
	_, err = wide.MeasureImageCircle(wide.Plane[uint8]{Pix: make([]uint8, 6300), Width: 63, Height: 100})
	refuses(t, err, "must have at least 64 columns and rows")
}
