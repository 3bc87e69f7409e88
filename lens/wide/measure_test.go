package wide_test

import (
	"encoding/json"
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens/wide"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
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
	// Noise is a large part of the light outside in 8 bits on a curve.
	noisy := s
	noisy.noise = 0.01
	p := noisy.plane(rng())
	codes := wide.Plane[uint8]{Pix: make([]uint8, len(p.Pix)), Width: p.Width, Height: p.Height}
	for i, v := range p.Pix {
		codes.Pix[i] = uint8(min(255, 255*math.Pow(max(0, float64(v)), 1/2.4)))
	}
	got = must[wide.ImageCircle](t)(wide.MeasureImageCircle(codes))
	assert.InDelta(t, 66, got.Radius.Value, 1, "a curve makes the circle larger")
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
	p = s.plane(rng())
	for i := range p.Pix {
		p.Pix[i] = float32(nan)
	}
	_, err := wide.MeasureImageCircle(p)
	refuses(t, err, "sample NaN: must be a finite number")
	// Samples on rays to the right, between those that are looked at first.
	large := sky{width: 800, height: 300, x: 400, y: 150, r: 200, fade: 0.8, falloff: 0.7}
	for _, bad := range []float64{nan, inf} {
		p = large.plane(rng())
		for y := range 300 {
			p.Pix[y*800+502] = float32(bad)
		}
		_, err = wide.MeasureImageCircle(p)
		refuses(t, err, "must be a finite number (near column 50")
	}
	_, err = wide.MeasureImageCircle(wide.Plane[uint8]{Pix: make([]uint8, 6400), Width: 64, Height: 100})
	refuses(t, err, "must have light and dark")
	_, err = wide.MeasureImageCircle(wide.Plane[uint8]{Pix: make([]uint8, 6300), Width: 63, Height: 100})
	refuses(t, err, "must have at least 64 columns and rows")
}

// even is a frame of even light behind a lens that gets darker away from its axis.
type even struct {
	width, height int
	x, y          float64
	fourth        float64 // what is left at 100 px is 1 − fourth, by the fourth power
	gx, gy, noise float64
}

func (e even) illumination(r float64) float64 { return 1 - e.fourth*math.Pow(r/100, 4) }

func (e even) plane(rng *rand.Rand) wide.Plane[float32] {
	p := wide.Plane[float32]{Pix: make([]float32, e.width*e.height), Width: e.width, Height: e.height}
	for j := range e.height {
		for i := range e.width {
			x, y := float64(i)+0.5-e.x, float64(j)+0.5-e.y
			v := 0.6 * (1 + e.gx*x + e.gy*y) * e.illumination(math.Min(math.Hypot(x, y), 110))
			p.Pix[j*e.width+i] = float32(0.05 + v + e.noise*rng.NormFloat64())
		}
	}
	return p
}

func heights(px ...float64) (points []wide.Point) {
	for _, h := range px {
		points = append(points, wide.Point{FieldAngle: unit.Angle(h / 80), ImageHeight: unit.Length(h) * 4 * um, Pupil: 0.05})
	}
	return points
}

func TestFalloffMeasured(t *testing.T) {
	near.NumbersOnly(t)
	sums, outside, total := map[int]float64{}, 0, 0
	for seed := range *frames {
		rng := rand.New(rand.NewPCG(9, uint64(seed)))
		e := even{width: 240, height: 150, x: 120 + 5*rng.NormFloat64(), y: 75 + 5*rng.NormFloat64(), fourth: 0.7 * rng.Float64(), gx: 2e-4 * rng.NormFloat64(), gy: 2e-4 * rng.NormFloat64(), noise: 0.001 + 0.02*rng.Float64()}
		if seed%2 == 1 {
			e.y += 35 // the outer rings are cut off on one side
		}
		spec := wide.FalloffSpec{X: e.x, Y: e.y, Pitch: 4 * um, Dark: 0.05, Points: heights(0, 20, 40, 60, 75, 90, 100)}
		got, err := wide.MeasureFalloff(e.plane(rng), spec)
		require.NoError(t, err, "seed %d", seed)
		for k, p := range got.Points[1:] {
			z := (p.Illumination - e.illumination(float64(p.ImageHeight/spec.Pitch))) / got.Uncertainties[k+1]
			if seed < 12 {
				ref.Near(t, "L-WC2", z, 0, seed, k+1)
			}
			total++
			if sums[k] += z; !(math.Abs(z) <= 3) {
				outside++
			}
		}
		assert.InDelta(t, e.gx, got.GradientX, 1e-4)
		assert.InDelta(t, e.gy, got.GradientY, 1e-4)
		_, err = wide.New(wide.Spec{FNumber: 4, Points: got.Points})
		require.NoError(t, err, "the table goes to New")
	}
	n := float64(*frames)
	assert.LessOrEqual(t, float64(outside), math.Max(1, 0.01*float64(total)), "of %d", total)
	for k, sum := range sums {
		assert.LessOrEqual(t, math.Abs(sum/n), math.Max(0.5, 3.3/math.Sqrt(n)), "point %d", k+1)
		t.Logf("point %d: bias %.2f of an uncertainty", k+1, sum/n)
	}
	t.Logf("%d of %d outside three uncertainties", outside, total)
}

func TestFalloffRefused(t *testing.T) {
	e := even{width: 240, height: 150, x: 120, y: 75, fourth: 0.5}
	p := e.plane(rand.New(rand.NewPCG(1, 1)))
	good := wide.FalloffSpec{X: 120, Y: 75, Pitch: 4 * um, Dark: 0.05, Points: heights(0, 30, 60, 90)}
	got := must[wide.Falloff](t)(wide.MeasureFalloff(p, good))
	assert.InDelta(t, e.illumination(90), got.Points[3].Illumination, 1e-3, "no noise; the fourth power along a ring of 4 px")
	assert.Equal(t, 1.0, got.Points[0].Illumination)
	squared := good
	squared.Dark = math.Sqrt(0.05)
	squared.Linear = func(v float64) float64 { return v * v }
	q := p
	q.Pix = make([]float32, len(p.Pix))
	for i, v := range p.Pix {
		q.Pix[i] = float32(math.Sqrt(float64(v)))
	}
	assert.InDelta(t, got.Points[3].Illumination, must[wide.Falloff](t)(wide.MeasureFalloff(q, squared)).Points[3].Illumination, 1e-5)
	_, err := json.Marshal(squared)
	require.NoError(t, err)
	for want, change := range map[string]func(s *wide.FalloffSpec){
		"column of the axis -1 px":                  func(s *wide.FalloffSpec) { s.X = -1 },
		"row of the axis":                           func(s *wide.FalloffSpec) { s.Y = nan },
		"pitch":                                     func(s *wide.FalloffSpec) { s.Pitch = 0 },
		"number of points 1":                        func(s *wide.FalloffSpec) { s.Points = s.Points[:1] },
		"image height of a point":                   func(s *wide.FalloffSpec) { s.Points[0].ImageHeight = um },
		"must have at least 6, of 24 (point 3, at":  func(s *wide.FalloffSpec) { s.Points = heights(0, 30, 60, 150) },
		"field angle of a point 42.9718°":           func(s *wide.FalloffSpec) { s.Points[1].FieldAngle = math.Pi / 2 },
		"field angle of a point NaN":                func(s *wide.FalloffSpec) { s.Points[2].FieldAngle = unit.Angle(nan) },
		"must be below white, 0.6: it is clipped (": func(s *wide.FalloffSpec) { s.White = 0.6 },
		"white NaN":                                 func(s *wide.FalloffSpec) { s.White = nan },
		"must be brighter than dark everywhere":     func(s *wide.FalloffSpec) { s.Dark = 0.5 },
		"must be a finite number":                   func(s *wide.FalloffSpec) { s.Linear = func(v float64) float64 { return inf } },
	} {
		s := good
		s.Points = slices.Clone(good.Points)
		change(&s)
		f, err := wide.MeasureFalloff(p, s)
		if assert.Error(t, err, want) {
			refuses(t, err, want)
		}
		assert.Zero(t, f)
	}
}
