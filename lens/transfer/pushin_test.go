package transfer_test

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// overlap is the fraction of a disc that its copy covers, shifted by x diameters:
// strips of it, each cut where the nearer edge is.
func overlap(x float64) float64 {
	const strips = 20000
	sum := 0.0
	for i := range strips {
		y := (2*(float64(i)+0.5)/strips - 1)
		sum += 2 * math.Max(0, 2*math.Sqrt(1-y*y)-2*x) / strips
	}
	return sum / math.Pi
}

func TestPushInAgainstOverlapAndStripes(t *testing.T) {
	const pitch = 2 * um
	s := mustSystem(t, transfer.SystemSpec{
		Lens: mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 4}), Wavelength: 0.5 * um, Pitch: pitch,
	})
	const infinity = unit.Length(math.MaxFloat64)
	steps := must[[]transfer.PushInStep](t)(s.PushIn(transfer.PushInSpec{
		PhotositesPerPixel: 4, Factors: []float64{1, 1.5, 2, 3, 4, 5}, Focus: infinity, Object: infinity,
	}))
	assert.Len(t, steps, 6)
	for _, step := range steps {
		for period, left := range map[float64]transfer.Left{2: step.Nyquist, 4: step.HalfNyquist} {
			width := period * 4 / step.Factor * float64(pitch/mm) // of a period on the sensor, mm
			mean, n := 0.0, 10000.
			for i := range int(n) { // over a photosite
				mean += math.Cos(2*math.Pi*float64(pitch/mm)/width*((float64(i)+0.5)/n-0.5)) / n
			}
			want := overlap(4*0.5e-3/width) * mean
			ref.Near(t, "L-PUSH", left.Contrast, want, step.Factor, period)
			if left.Most != 0 {
				ref.Near(t, "L-PUSH", left.Most, want, step.Factor, period)
			}
		}
		assert.Equal(t, 4/step.Factor, step.PhotositesPerPixel)
	}
}

// TestWhatAMosaicSamples finds the frequencies that a lattice cannot tell from an
// even grey, by summing waves over its places. Stripes of half the least of them
// look the same as stripes in another direction.
func TestWhatAMosaicSamples(t *testing.T) {
	const size = 32
	limit := func(sampled func(x, y int) bool) float64 { // periods per pitch
		least := math.Inf(1)
		for a := -16; a <= 16; a++ {
			for b := -16; b <= 16; b++ {
				sum, n := complex(0, 0), 0
				for x := range size {
					for y := range size {
						if sampled(x, y) {
							n++
							sum += cmplx.Rect(1, 2*math.Pi*(float64(a*x)+float64(b*y))/16)
						}
					}
				}
				if (a != 0 || b != 0) && cmplx.Abs(sum) > 0.999*float64(n) {
					least = math.Min(least, math.Hypot(float64(a)/16, float64(b)/16)/2)
				}
			}
		}
		return least
	}
	s := mustSystem(t, transfer.SystemSpec{
		Lens: mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 2}), Wavelength: 0.5 * um, Pitch: 3 * um, ApertureWidth: um,
	})
	last := func(keeps func(transfer.Left) bool) float64 { // frequency that is kept, in periods per pitch
		factor := root.Boundary(func(z float64) bool {
			step := must[[]transfer.PushInStep](t)(s.PushIn(transfer.PushInSpec{
				PhotositesPerPixel: 2, Factors: []float64{z}, Focus: 10, Object: 10,
			}))[0]
			return keeps(step.Nyquist)
		}, 3, 1)
		return factor / 4
	}
	ref.Near(t, "L-MOSAIC", last(func(l transfer.Left) bool { return l.Most > 0 }), limit(func(x, y int) bool { return true }))
	ref.Near(t, "L-MOSAIC", last(func(l transfer.Left) bool { return l.Least > 0 }), limit(func(x, y int) bool { return (x+y)%2 == 0 }))
	// At the limit of the photosites itself, detail counts as sampled.
	steps := must[[]transfer.PushInStep](t)(s.PushIn(transfer.PushInSpec{PhotositesPerPixel: 3, Factors: []float64{3}, Focus: 10, Object: 10}))
	assert.Positive(t, steps[0].Nyquist.Most)
	assert.Zero(t, steps[0].Nyquist.Least)
	assert.Positive(t, steps[0].HalfNyquist.Least)
}

func TestPushInKeepsNothingReversed(t *testing.T) {
	s := mustSystem(t, transfer.SystemSpec{
		Lens: mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 2.8}), Wavelength: green, Pitch: 3 * um,
		Motion: transfer.Motion{Length: 14 * um},
	})
	spec := transfer.PushInSpec{PhotositesPerPixel: 2, Factors: []float64{1}, Focus: 4, Object: 4}
	across := must[[]transfer.PushInStep](t)(s.PushIn(spec))[0]
	assert.Negative(t, across.Nyquist.Contrast)
	assert.Zero(t, across.Nyquist.Most)
	assert.Positive(t, across.HalfNyquist.Most)
	assert.InDelta(t, across.HalfNyquist.Contrast, across.HalfNyquist.Most, 1e-12, "the same integral")
	spec.Direction = 90 * deg
	down := must[[]transfer.PushInStep](t)(s.PushIn(spec))[0]
	assert.Positive(t, down.Nyquist.Least, "motion across takes nothing from stripes that lie across")
	_, err := json.Marshal(across)
	assert.NoError(t, err)
	// Close to the lens, focus and object are far from the same.
	near := must[[]transfer.PushInStep](t)(s.PushIn(transfer.PushInSpec{
		PhotositesPerPixel: 8, Factors: []float64{1}, Direction: 90 * deg, Focus: 60 * mm, Object: 61 * mm,
	}))[0].Nyquist
	assert.InDelta(t, near.Contrast, near.Most, 1e-12, "the same integral")
	assert.InDelta(t, near.Contrast, has[float64](t)(s.OTF(near.LinePairsPerMM, 90*deg, 60*mm, 61*mm)), 1e-15)
}

// TestWhatIsReversedTwiceIsNotSharp has two parts that reverse contrast at nearly the
// same frequency. Between the two it is negative, in a gap that a search steps over;
// beyond them it is positive again.
func TestWhatIsReversedTwiceIsNotSharp(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 1})
	const period, next = 6 * um, 6 * um * (1 - 1e-4)
	along := func(degrees float64) unit.Length { return unit.Length(math.Cos(degrees * math.Pi / 180)) }
	filter := func(n transfer.Spots, separation unit.Length, direction unit.Angle) transfer.LowPass {
		return transfer.LowPass{Spots: n, Separation: separation, Direction: direction * deg}
	}
	// Stripes vary at 70°, so that this motion is 50° off.
	motion := func(first unit.Length) transfer.Motion {
		return transfer.Motion{Length: first / along(50), Direction: 20 * deg}
	}
	first := 1 / float64(period/mm)
	for name, spec := range map[string]transfer.SystemSpec{
		"two spots":               {LowPass: filter(transfer.TwoSpots, period/2/along(40), 30), Motion: motion(next)},
		"motion":                  {LowPass: filter(transfer.TwoSpots, next/2/along(40), 30), Motion: motion(period)},
		"four spots, along":       {LowPass: filter(transfer.FourSpots, period/2/along(40), 30), Motion: motion(next)},
		"four spots, across":      {LowPass: filter(transfer.FourSpots, period/2/along(15), -5), Motion: motion(next)},
		"four spots, both at 45°": {LowPass: filter(transfer.FourSpots, period/2/along(45), 25)},
		"square":                  {Pitch: 5 * um, ApertureWidth: period / along(20), Motion: motion(next)},
		"round":                   {Pitch: 7 * um, Aperture: transfer.RoundAperture, ApertureWidth: 1.2196698912665 * period, Motion: motion(next)},
	} {
		spec.Lens, spec.Wavelength = l, 0.5*um
		s := mustSystem(t, spec)
		assert.InEpsilon(t, first, has[float64](t)(s.FrequencyAt(0, 70*deg, 4, 4)), 1e-9, name)
		assert.Positive(t, has[float64](t)(s.OTF(1.1*first, 70*deg, 4, 4)), name)
		depth := must[transfer.Depth](t)(s.Depth(4, transfer.Detail{LinePairsPerMM: 1.1 * first, Direction: 70 * deg, Contrast: 1e-9}))
		assert.False(t, depth.OK, name)
		assert.Zero(t, depth.InFocus, name)
	}
	// The same with defocus as the other part: just before each is first 0, the
	// object is so far out of focus that the lens leaves nothing.
	alone := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: 0.5 * um})
	object := unit.Length(has[float64](t)(root.Find(func(d float64) float64 {
		return has[float64](t)(alone.OTF(first*(1-1e-4), 0, 4, unit.Length(d)))
	}, 3, 4)))
	for name, spec := range map[string]transfer.SystemSpec{
		"two spots":          {LowPass: filter(transfer.TwoSpots, period/2/along(40), 30)},
		"four spots, along":  {LowPass: filter(transfer.FourSpots, period/2/along(40), 30)},
		"four spots, across": {LowPass: filter(transfer.FourSpots, period/2/along(15), -5)},
		"motion":             {Motion: motion(period)},
		"square":             {Pitch: 5 * um, ApertureWidth: period / along(20)},
		"round":              {Pitch: 7 * um, Aperture: transfer.RoundAperture, ApertureWidth: 1.2196698912665 * period},
	} {
		spec.Lens, spec.Wavelength = l, 0.5*um
		got := has[float64](t)(mustSystem(t, spec).FrequencyAt(0, 70*deg, 4, object))
		assert.InEpsilon(t, first, got, 2e-4, "%s: between the two", name)
	}
	// Stripes that vary along the rows meet the other side of the square.
	s := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: 0.5 * um, Pitch: period, Motion: transfer.Motion{Length: next}})
	assert.InEpsilon(t, 1/float64(period/mm), has[float64](t)(s.FrequencyAt(0, 0, 4, 4)), 1e-9)
}

func TestPushInRefuses(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 2.8})
	s := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 3 * um})
	sound := transfer.PushInSpec{PhotositesPerPixel: 2, Factors: []float64{1}, Focus: 4, Object: 4}
	for want, change := range map[string]func(*transfer.PushInSpec){
		"transfer: photosites per pixel 0":          func(p *transfer.PushInSpec) { p.PhotositesPerPixel = 0 },
		"transfer: factors: must be set":            func(p *transfer.PushInSpec) { p.Factors = nil },
		"transfer: factor 0.009":                    func(p *transfer.PushInSpec) { p.Factors = []float64{0.009} },
		"transfer: factor 1001":                     func(p *transfer.PushInSpec) { p.Factors = []float64{1001} },
		"transfer: factor 0:":                       func(p *transfer.PushInSpec) { p.Factors = []float64{1, 0} },
		"transfer: direction NaN":                   func(p *transfer.PushInSpec) { p.Direction = unit.Angle(nan) },
		"transfer: focus distance 12 mm: must be m": func(p *transfer.PushInSpec) { p.Focus = 12 * mm },
		"transfer: object distance 0 m":             func(p *transfer.PushInSpec) { p.Object = 0 },
		"transfer: object distance 1 µm: must blur by less at this focus: see DefocusOTF": func(p *transfer.PushInSpec) { p.Object = um },
	} {
		spec := sound
		change(&spec)
		_, err := s.PushIn(spec)
		refuses(t, err, want)
	}
	// The finest detail is beyond the cutoff and needs no blur, the coarser one does.
	stopped := mustSystem(t, transfer.SystemSpec{
		Lens: mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 11}), Wavelength: green, Pitch: 3 * um,
	})
	_, err := stopped.PushIn(transfer.PushInSpec{PhotositesPerPixel: 0.9, Factors: []float64{1}, Focus: 4, Object: um})
	refuses(t, err, "must blur by less")
	_, err = transfer.System{}.PushIn(sound)
	refuses(t, err, "transfer: system System{}: must come from NewSystem")
	_, err = mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green}).PushIn(sound)
	refuses(t, err, "transfer: pitch of the system: must be set")
}

func TestFrequenciesByCountingAndByRays(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 40 * mm, FNumber: 2.8})
	s := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 5 * um})
	// 12 columns of 5 µm are delivered as 8 pixels, which show two periods: so many
	// stripes on a millimetre of the sensor.
	ref.Near(t, "L-PIXELS", has[float64](t)(s.PixelFrequency(4, 12./8)), 2/(12*0.005))
	ref.Near(t, "L-PIXELS", has[float64](t)(s.PixelFrequency(2, 1)), 100)
	// Pixels of 2.8 mm on a wall at 7 m, with the lens focused at 4 m.
	sensor := imaged(40, 4000) // mm behind the lens
	period := 3 * 2.8 * sensor / 7000
	ref.Near(t, "L-WALL", has[float64](t)(s.WallFrequency(3, 2.8*mm, 4, 7)), 1/period)
	for _, ok := range []bool{
		second(s.PixelFrequency(0, 1)), second(s.PixelFrequency(2, nan)), second(transfer.System{}.PixelFrequency(2, 1)),
		second(mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green}).PixelFrequency(2, 1)),
		second(s.PixelFrequency(1.1e6, 1)), second(s.WallFrequency(1, 90e-9, 4, 7)), second(s.WallFrequency(1, 1.1, 4, 7)),
		second(s.WallFrequency(0, mm, 4, 7)), second(s.WallFrequency(1, 0, 4, 7)), second(s.WallFrequency(1, mm, 40*mm, 7)),
		second(s.WallFrequency(1, mm, 4, 0)), second(s.WallFrequency(1, mm, 4, unit.Length(inf))), second(transfer.System{}.WallFrequency(1, mm, 4, 7)),
	} {
		assert.False(t, ok)
	}
	assert.True(t, second(s.WallFrequency(1, 100e-9, 4, 7)) && second(s.WallFrequency(1, 1, 4, 7)))
	for _, end := range []float64{1e-4, 1e6} {
		assert.True(t, second(s.PixelFrequency(end, 1)) && second(s.PixelFrequency(1, end)) && second(s.WallFrequency(end, mm, 4, 7)))
	}
	for _, factor := range []float64{0.01, 1000} {
		_, err := s.PushIn(transfer.PushInSpec{PhotositesPerPixel: 2, Factors: []float64{factor}, Focus: 4, Object: 4})
		assert.NoError(t, err)
	}
}

func second[T any](_ T, ok bool) bool { return ok }

// A thousand times into pixels of a ten-thousandth of a photosite is finer than 1e9 line
// pairs per millimetre, which has nothing to do with the object's distance.
func TestPushInNamesWhatIsTooFine(t *testing.T) {
	s := mustSystem(t, transfer.SystemSpec{Lens: mustLens(t, lens.Spec{FocalLength: 40 * mm, FNumber: 4}), Wavelength: green, Pitch: 3 * um})
	spec := transfer.PushInSpec{PhotositesPerPixel: 1e-4, Factors: []float64{1, 1000}, Focus: 4, Object: 4}
	_, err := s.PushIn(spec)
	refuses(t, err, "photosites per pixel at the largest factor 1e-07: must be at least 1.66667e-07")
	assert.NotContains(t, err.Error(), "object distance")
	spec.Factors[1] = 599 // 0.998e9 line pairs per millimetre
	_, err = s.PushIn(spec)
	assert.NoError(t, err)
}
