package transfer_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/unit"
)

const degree = math.Pi / 180

var edges = flag.Int("edges", 12, "random edges to measure")

// drawn is an edge drawn from first principles: light that spreads normally, and square
// photosites that gather it.
type drawn struct {
	width, height int
	position      float64 // along a row, at half the height
	tilt, bow     float64 // radians; px, from the chord to the middle
	sigma         float64 // px
	dark, bright  float64
	noise, shot   float64 // of dark, and what light adds to the variance
	level, falls  bool
}

// twiceSummed is the second integral of the normal distribution's, in closed form.
func twiceSummed(d, sigma float64) float64 {
	z := d / sigma
	return ((d*d+sigma*sigma)*0.5*math.Erfc(-z/math.Sqrt2) + sigma*d*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)) / 2
}

// pixel is the mean over a photosite, at a distance along a row, of an edge at an angle.
func (e drawn) pixel(along, angle float64) float64 {
	sin, cos := math.Sincos(math.Abs(angle))
	d := along * cos
	if sin < 1e-3 { // a photosite is a box for an upright edge
		first := func(d float64) float64 {
			z := d / e.sigma
			return d*0.5*math.Erfc(-z/math.Sqrt2) + e.sigma*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)
		}
		return (first(d+cos/2) - first(d-cos/2)) / cos
	}
	s := func(u, v float64) float64 { return twiceSummed(d+u*cos/2+v*sin/2, e.sigma) }
	return (s(1, 1) - s(1, -1) - s(-1, 1) + s(-1, -1)) / (sin * cos)
}

// otf is the transform of what pixel draws, in closed form.
func (e drawn) otf(f float64) float64 {
	sin, cos := math.Sincos(e.tilt)
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x)
	}
	return math.Exp(-2*math.Pi*math.Pi*e.sigma*e.sigma*f*f) * sinc(f*cos) * sinc(f*sin)
}

// plane draws it, with noise unless rng is nil.
func (e drawn) plane(rng *rand.Rand, pixel func(along, angle float64) float64) transfer.Plane[float32] {
	p := transfer.Plane[float32]{Pix: make([]float32, e.width*e.height), Width: e.width, Height: e.height}
	if e.level {
		p.Width, p.Height = e.height, e.width
	}
	for y := range e.height {
		t := (float64(y)+0.5)*2/float64(e.height) - 1
		at := e.position + math.Tan(e.tilt)*t*float64(e.height)/2 + e.bow*(1-t*t)
		angle := math.Atan(math.Tan(e.tilt) - 4*e.bow*t/float64(e.height))
		for x := range e.width {
			way := pixel(float64(x)+0.5-at, angle)
			if e.falls {
				way = 1 - way
			}
			v := e.dark + (e.bright-e.dark)*way
			if rng != nil {
				v += math.Sqrt(e.noise*e.noise+e.shot*(v-e.dark)) * rng.NormFloat64()
			}
			if e.level {
				p.Pix[x*e.height+y] = float32(v)
			} else {
				p.Pix[y*e.width+x] = float32(v)
			}
		}
	}
	return p
}

// An edge without noise, in closed form.
func TestEdgeInClosedForm(t *testing.T) {
	near.NumbersOnly(t)
	for _, sigma := range []float64{0.2, 0.3, 0.5, 1, 1.5} {
		e := drawn{width: 150, height: 200, position: 74.3, tilt: 6 * degree, bow: 1.5, sigma: sigma, dark: -0.2, bright: 0.7}
		got := must[transfer.Edge](t)(transfer.MeasureEdge(e.plane(nil, e.pixel), transfer.EdgeSpec{}))
		for _, f := range []float64{0, 0.03, 0.1, 0.25, 0.4, 0.5} {
			ref.Near(t, "L-EDGE", has[transfer.Contrast](t)(got.At(f)).OTF.Value, e.otf(f), sigma, f)
		}
		for _, f := range []float64{0.7, 0.9, 1} {
			ref.Near(t, "L-EDGEF", has[transfer.Contrast](t)(got.At(f)).MTF.Value, e.otf(f), sigma, f)
		}
		assert.InDelta(t, -6, float64(got.Direction)/degree, 1e-4, "no noise, and float32")
		assert.InDelta(t, 75.8, got.Position.Value, 1e-3)
		assert.InDelta(t, 1.5, got.Bow.Value, 1e-3)
		assert.InDelta(t, -0.2, got.Dark, 1e-5)
		assert.InDelta(t, 0.7, got.Bright, 1e-5)
		// Half of the light of a normal distribution is within 0.6745 of it.
		p := got.Spread[len(got.Spread)/2+4]
		assert.Equal(t, 1.0, p.Distance)
		if sigma >= 1 {
			box := (1 + math.Pow(math.Tan(6*degree), 2)) / 12 // what photosites add to the variance
			assert.InDelta(t, 0.5*math.Erfc(-1/math.Sqrt(2*(sigma*sigma+box))), p.Light, 2e-3, "a box is not a normal distribution")
		}
	}
}

// Samples at points, whose MTF50 is sqrt(ln 2/2)/(pi sigma).
func TestFrequencyAtHalfContrast(t *testing.T) {
	near.NumbersOnly(t)
	for sigma, want := range map[float64]float64{0.3: 0.624635417098, 0.5: 0.374781250259, 0.7: 0.267700893042, 1: 0.187390625129, 1.5: 0.124927083420} {
		e := drawn{width: 150, height: 200, position: 74.3, tilt: -5 * degree, sigma: sigma, dark: 0.1, bright: 0.7, level: true}
		got := must[transfer.Edge](t)(transfer.MeasureEdge(e.plane(nil, func(along, angle float64) float64 {
			return 0.5 * math.Erfc(-along*math.Cos(angle)/sigma/math.Sqrt2)
		}), transfer.EdgeSpec{}))
		ref.Near(t, "L-EDGE50", has[transfer.Estimate](t)(got.FrequencyAt(0.5)).Value, want, sigma)
	}
}

// TestEdgeOfASystem draws the edge that a System should leave: the spread by the
// transform of its optics, photosites by integrals over their squares.
func TestEdgeOfASystem(t *testing.T) {
	near.NumbersOnly(t)
	const pitch = 4.5 * um
	for i, tilt := range []float64{7, -11} {
		spec := transfer.SystemSpec{
			Lens: mustLens(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2.8}), Wavelength: green, Pitch: pitch,
			Motion: transfer.Motion{Length: 3 * um, Direction: 30 * deg}, Vibration: 0.4 * um,
		}
		focus, object := 4.0*unit.Metre, [2]unit.Length{4, 3.94}[i]
		system := mustSystem(t, spec)
		spec.Pitch = 0
		optics := mustSystem(t, spec)
		e := drawn{width: 180, height: 180, position: 91.2, tilt: tilt * degree, dark: 0.1, bright: 0.9, noise: 0.004, level: i == 1, falls: i == 0}
		direction := unit.Angle(-e.tilt)
		if e.level {
			direction = 90*deg - direction
		}
		const step = 0.02 // px
		table := make([]float64, 6000)
		for k := 1; k < 800; k++ { // the cutoff is 649 lp/mm
			nu := float64(k) - 0.5
			cycles := nu * float64(pitch/mm)
			otf := has[float64](t)(optics.OTF(nu, direction, focus, object))
			// sin(2 pi f d) by rotation
			turn := cmplx.Rect(1, 2*math.Pi*cycles*step)
			z := complex(otf/(math.Pi*cycles)*float64(pitch/mm), 0)
			for j := range table {
				table[j] += imag(z)
				z *= turn
			}
		}
		spread := func(d float64) float64 {
			k := math.Abs(d) / step
			j := int(k)
			v := table[j] + (k-float64(j))*(table[j+1]-table[j])
			return 0.5 + math.Copysign(v, d)
		}
		x, w := make([]float64, 5), make([]float64, 5)
		quad.Legendre{}.FixedLocations(x, w, -0.5, 0.5)
		pixel := func(along, angle float64) (mean float64) {
			sin, cos := math.Sincos(angle)
			if math.Abs(along) > 100 {
				return spread(math.Copysign(100, along))
			}
			for j, u := range x {
				for k, v := range x {
					mean += w[j] * w[k] * spread((along+u)*cos+v*sin)
				}
			}
			return mean
		}
		got := must[transfer.Edge](t)(transfer.MeasureEdge(e.plane(rand.New(rand.NewPCG(3, uint64(i))), pixel), transfer.EdgeSpec{}))
		for _, f := range []float64{0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7} {
			nu := has[float64](t)(system.PixelFrequency(1/f, 1))
			want := has[float64](t)(system.OTF(nu, got.Direction, focus, object))
			contrast := has[transfer.Contrast](t)(got.At(f))
			assert.Less(t, contrast.OTF.Uncertainty, 0.015)
			ref.Near(t, "L-EDGES", (contrast.OTF.Value-want)/contrast.OTF.Uncertainty, 0, tilt, f)
		}
	}
}

// TestEdgesMeasured draws edges at random: their error is within three uncertainties,
// and leans to neither side.
func TestEdgesMeasured(t *testing.T) {
	near.NumbersOnly(t)
	names := []float64{0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7}
	sums, outside, total := map[string]float64{}, 0, 0
	for seed := range *edges {
		rng := rand.New(rand.NewPCG(7, uint64(seed)))
		e := drawn{
			width: 100 + rng.IntN(80), height: 100 + rng.IntN(80), tilt: (3 + 9*rng.Float64()) * degree,
			sigma: 0.25 + rng.Float64(), dark: 0.05, bright: 0.2 + 0.7*rng.Float64(), level: rng.IntN(2) == 1, falls: rng.IntN(2) == 1,
		}
		if rng.IntN(2) == 1 {
			e.tilt = -e.tilt
		}
		e.position = float64(e.width)/2 + 8*(rng.Float64()-0.5)
		e.bow = 4 * (rng.Float64() - 0.5)
		e.noise = (e.bright - e.dark) * math.Pow(10, -1-2*rng.Float64())
		e.shot = 2e-4 * rng.Float64()
		got, err := transfer.MeasureEdge(e.plane(rng, e.pixel), transfer.EdgeSpec{})
		require.NoError(t, err, "seed %d: %+v", seed, e)
		direction := -e.tilt
		if e.level {
			direction = math.Pi/2 + e.tilt
		}
		// MTF at half of the contrast, found on the closed form
		half, _ := root.Find(func(f float64) float64 { return e.otf(f) - 0.5 }, 0, 1)
		at50 := has[transfer.Estimate](t)(got.FrequencyAt(0.5))
		errors := map[string]float64{
			"position":  (got.Position.Value - e.position - e.bow) / got.Position.Uncertainty,
			"direction": (float64(got.Direction) - direction) / float64(got.DirectionUncertainty),
			"bow":       (got.Bow.Value - e.bow) / got.Bow.Uncertainty,
			"MTF50":     (at50.Value - half) / at50.Uncertainty,
		}
		for _, f := range names {
			c := has[transfer.Contrast](t)(got.At(f))
			errors[fmt.Sprint("OTF at ", f)] = (c.OTF.Value - e.otf(f)) / c.OTF.Uncertainty
			if c.MTF.Value > 2*c.MTF.Uncertainty {
				errors[fmt.Sprint("MTF at ", f)] = (c.MTF.Value - e.otf(f)) / c.MTF.Uncertainty
			}
		}
		for name, z := range errors {
			total++
			if sums[name] += z; !(math.Abs(z) <= 3) {
				outside++
			}
		}
	}
	n := float64(*edges)
	assert.LessOrEqual(t, float64(outside), math.Max(3, 0.01*float64(total)), "of %d values", total)
	for name, sum := range sums {
		if strings.HasPrefix(name, "MTF at 0.7") || strings.HasPrefix(name, "MTF at 0.5") {
			continue // only where it is above noise: chosen by itself
		}
		assert.LessOrEqual(t, math.Abs(sum/n), math.Max(0.5, 3.3/math.Sqrt(n)), name)
		t.Logf("%s: bias %.2f of an uncertainty", name, sum/n)
	}
	t.Logf("%d of %d outside three uncertainties", outside, total)
}

// TestEdgesOfPictures draws what pictures have besides noise: edges bent as an arc,
// shading, and noise that neighbours share, as after demosaicing and noise reduction.
func TestEdgesOfPictures(t *testing.T) {
	near.NumbersOnly(t)
	for kind := range 3 {
		outside, total := 0, 0
		sums, seeds := map[string]float64{}, max(4, *edges/4)
		for seed := range seeds {
			rng := rand.New(rand.NewPCG(uint64(seed), uint64(kind)))
			e := drawn{width: 110, height: 100 + rng.IntN(60), tilt: (4 + 8*rng.Float64()) * degree, sigma: 0.4 + 0.3*rng.Float64(), position: 53 + 4*rng.Float64()}
			radius := float64(e.height) * (5 + 5*rng.Float64())
			noise := make([]float64, e.width*e.height)
			for i := range noise {
				noise[i] = (0.002 + 0.006*rng.Float64()) * rng.NormFloat64()
			}
			white := append([]float64{}, noise...)
			p := transfer.Plane[float32]{Pix: make([]float32, e.width*e.height), Width: e.width, Height: e.height}
			for y := range e.height {
				// The arc's centre is on its normal, to the right.
				dy := float64(y) + 0.5 - float64(e.height)/2
				sin := math.Sin(e.tilt) - dy/radius
				at, angle := e.position+radius*(math.Cos(e.tilt)-math.Sqrt(1-sin*sin)), math.Asin(sin)
				for x := range e.width {
					i := y*e.width + x
					light := 0.1 + 0.5*e.pixel(float64(x)+0.5-at, -angle)
					if kind == 1 {
						light *= 1 + 0.0002*float64(x) + 0.0003*float64(y)
					}
					n := white[i]
					if inside := x > 0 && y > 0 && x < e.width-1 && y < e.height-1; kind == 2 && inside && seed%2 == 0 {
						if (x+y)%2 == 1 { // green between photosites
							n = (white[i-1] + white[i+1] + white[i-e.width] + white[i+e.width]) / 4
						}
					} else if kind == 2 && inside {
						n = (4*n + 2*(white[i-1]+white[i+1]+white[i-e.width]+white[i+e.width]) +
							white[i-e.width-1] + white[i-e.width+1] + white[i+e.width-1] + white[i+e.width+1]) / 16
					}
					p.Pix[i] = float32(light + n)
				}
			}
			got, err := transfer.MeasureEdge(p, transfer.EdgeSpec{})
			require.NoError(t, err, "kind %d, seed %d", kind, seed)
			all := map[string]float64{
				"position":  (got.Position.Value - e.position) / got.Position.Uncertainty,
				"direction": (float64(got.Direction) - e.tilt) / float64(got.DirectionUncertainty),
			}
			for _, f := range []float64{0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5} {
				c := has[transfer.Contrast](t)(got.At(f))
				all[fmt.Sprint("OTF at ", f)] = (c.OTF.Value - e.otf(f)) / c.OTF.Uncertainty
			}
			for name, z := range all {
				total++
				if sums[name] += z; !(math.Abs(z) <= 3) {
					outside++
				}
			}
		}
		t.Logf("kind %d: %d of %d outside three uncertainties", kind, outside, total)
		ref.Within(t, "L-EDGEP", max(0, float64(outside-1))/float64(total), kind)
		if kind != 1 { // shading leans, and nobody can tell it from spread
			for name, sum := range sums {
				assert.LessOrEqual(t, math.Abs(sum/float64(seeds)), math.Max(0.5, 3.3/math.Sqrt(float64(seeds))), "kind %d: %s", kind, name)
			}
		}
	}
}

// The middle row of an odd number is on neither side.
func TestLowEdgeInOddRows(t *testing.T) {
	for _, level := range []bool{false, true} {
		e := drawn{width: 100, height: 101, position: 50, tilt: 5 * degree, sigma: 0.5, dark: 1, bright: 1.01, noise: 2e-5, level: level}
		got := must[transfer.Edge](t)(transfer.MeasureEdge(e.plane(rand.New(rand.NewPCG(2, 2)), e.pixel), transfer.EdgeSpec{}))
		assert.InDelta(t, 50, got.Position.Value, 0.01, "row noise of 0.2 %% of the edge")
	}
}

func TestSamplesOfAnEdge(t *testing.T) {
	e := drawn{width: 80, height: 90, position: 41, tilt: 5 * degree, sigma: 0.5, dark: 0.1, bright: 0.7}
	p := e.plane(nil, e.pixel)
	want := must[transfer.Edge](t)(transfer.MeasureEdge(p, transfer.EdgeSpec{}))
	// A picture of three channels, whose samples are the square roots of light.
	three := transfer.Plane[uint16]{Pix: make([]uint16, 3*80*90), Width: 80, Height: 90, Step: 3}
	for i, v := range p.Pix {
		three.Pix[3*i] = uint16(math.Round(65535 * math.Sqrt(float64(v))))
	}
	got := must[transfer.Edge](t)(transfer.MeasureEdge(three, transfer.EdgeSpec{Linear: func(code float64) float64 { return code / 65535 * code / 65535 }}))
	a, b := has[transfer.Contrast](t)(want.At(0.3)), has[transfer.Contrast](t)(got.At(0.3))
	assert.InDelta(t, a.OTF.Value, b.OTF.Value, 1e-4, "rounding to 16 bit")
	assert.InDelta(t, 0.7, got.Bright, 1e-4)
	got = must[transfer.Edge](t)(transfer.MeasureEdge(p, transfer.EdgeSpec{HalfWidth: 12}))
	assert.InDelta(t, 12, got.HalfWidth, 1e-12)
	assert.InDelta(t, a.OTF.Value, has[transfer.Contrast](t)(got.At(0.3)).OTF.Value, 1e-4)
}

func TestEdgesRefused(t *testing.T) {
	near.NumbersOnly(t)
	good := drawn{width: 90, height: 100, position: 45, tilt: 5 * degree, sigma: 0.6, dark: 0.1, bright: 0.9, noise: 0.004}
	measure := func(e drawn, change func(p transfer.Plane[float32]), spec transfer.EdgeSpec) error {
		p := e.plane(rand.New(rand.NewPCG(1, 1)), e.pixel)
		if change != nil {
			change(p)
		}
		edge, err := transfer.MeasureEdge(p, spec)
		if err != nil {
			assert.Zero(t, edge)
		}
		return err
	}
	require.NoError(t, measure(good, nil, transfer.EdgeSpec{}))
	for _, r := range []struct {
		name   string
		change func(e *drawn)
		want   string
	}{
		{"no edge", func(e *drawn) { e.bright = e.dark }, "must be there and stand out"},
		{"noise over the edge", func(e *drawn) { e.noise = 0.5 }, "edge"},
		{"noise", func(e *drawn) { e.noise, e.sigma, e.width, e.position = 0.25, 4, 160, 80 }, "noise is too high"},
		{"upright", func(e *drawn) { e.tilt = 0 }, "aslant over 100 px"},
		{"level, and not aslant", func(e *drawn) { e.tilt, e.level = 0.1*degree, true }, "aslant over 100 px"},
		{"half a column a row", func(e *drawn) { e.tilt, e.height, e.width = math.Atan(0.5), 60, 90 }, "no gap of more than 1/6 px"},
		{"45°", func(e *drawn) { e.tilt, e.height, e.width = 45*degree, 50, 120 }, "at most 40°"},
		{"beside the side", func(e *drawn) { e.position = 14 }, "from the side of the plane"},
		{"too soft", func(e *drawn) { e.sigma = 10 }, "must be"},
		{"sharply bent", func(e *drawn) { e.bow, e.tilt = 25, 0 }, "must be at most 40°"},
	} {
		e := good
		r.change(&e)
		if err := measure(e, nil, transfer.EdgeSpec{}); assert.Error(t, err, r.name) {
			refuses(t, err, r.want)
		}
	}
	columns := func(from, to int, v float32) func(p transfer.Plane[float32]) {
		return func(p transfer.Plane[float32]) {
			for y := range p.Height {
				for x := from; x < to; x++ {
					p.Pix[y*p.Width+x] += v
				}
			}
		}
	}
	wide := good
	wide.width, wide.position = 180, 90
	for _, r := range []struct {
		from, to int
		light    float32
		want     string
	}{{135, 137, 0.3, "no second edge"}, {40, 42, 0.4, "no second edge"}, {68, 70, 0.8, "no line"}} {
		err := measure(wide, func(p transfer.Plane[float32]) {
			for y := range p.Height {
				for x := r.from; x < r.to; x++ {
					p.Pix[y*p.Width+x+(y-50)*5/57] += r.light
				}
			}
		}, transfer.EdgeSpec{})
		if assert.Error(t, err, "a line at %d px", r.from) {
			refuses(t, err, r.want)
		}
	}
	for _, r := range []struct {
		name   string
		change func(p transfer.Plane[float32])
		spec   transfer.EdgeSpec
		want   string
	}{
		{"a bar", columns(80, 90, -0.8), transfer.EdgeSpec{}, "no second edge"},
		{"a fainter one", columns(0, 8, 0.3), transfer.EdgeSpec{}, "no second edge"},
		{"shading", func(p transfer.Plane[float32]) {
			for i := range p.Pix {
				p.Pix[i] += 0.006 * float32(i%p.Width)
			}
		}, transfer.EdgeSpec{HalfWidth: 6}, "no shading"},
		{"a kink", func(p transfer.Plane[float32]) {
			for y := 70; y < p.Height; y++ {
				row := p.Pix[y*p.Width : (y+1)*p.Width]
				copy(row, row[2:])
			}
		}, transfer.EdgeSpec{}, "off a smooth curve"},
		{"half of it", func(p transfer.Plane[float32]) {
			for i := len(p.Pix) / 2; i < len(p.Pix); i++ {
				p.Pix[i] = 0.1 + 0.01*float32(i%3)
			}
		}, transfer.EdgeSpec{}, "must"},
		{"clipped", nil, transfer.EdgeSpec{White: 0.9}, "clipped: must be at most 0.5 %"},
		{"crushed", nil, transfer.EdgeSpec{White: 2, Black: 0.1}, "clipped"},
		{"NaN", func(p transfer.Plane[float32]) { p.Pix[95] = float32(nan) }, transfer.EdgeSpec{}, "(column 5, row 1)"},
		{"light that is infinite", nil, transfer.EdgeSpec{Linear: func(float64) float64 { return inf }}, "must be a finite number"},
		{"half width", nil, transfer.EdgeSpec{HalfWidth: 5}, "half width 5 px"},
		{"ends", nil, transfer.EdgeSpec{White: 1, Black: 2}, "black 2: must be less than white, 1"},
	} {
		err := measure(good, r.change, r.spec)
		if assert.Error(t, err, r.name) {
			refuses(t, err, r.want)
		}
	}
	_, err := transfer.MeasureEdge(transfer.Plane[uint8]{Pix: make([]uint8, 23*100), Width: 23, Height: 100}, transfer.EdgeSpec{})
	refuses(t, err, "must have at least 24 columns and rows")
	_, err = transfer.MeasureEdge(transfer.Plane[uint8]{Pix: make([]uint8, 100*100), Width: 100, Height: 100}, transfer.EdgeSpec{})
	refuses(t, err, "must be there")
	for _, contrast := range []float64{0, 1, nan, -1} {
		_, ok := transfer.Edge{}.FrequencyAt(contrast)
		assert.False(t, ok)
	}
	_, ok := transfer.Edge{}.FrequencyAt(0.5)
	assert.False(t, ok)
	_, ok = transfer.Edge{}.At(0)
	assert.False(t, ok)
}

func TestHostileEdges(t *testing.T) {
	near.NumbersOnly(t)
	e := drawn{width: 40, height: 40, position: 20, tilt: 8 * degree, sigma: 0.5, dark: 0.1, bright: 0.7}
	p := e.plane(nil, e.pixel)
	spec := transfer.EdgeSpec{White: 1, Black: 0.01, HalfWidth: 8}
	edge := must[transfer.Edge](t)(transfer.MeasureEdge(p, spec))
	hostile.Calls(t, []any{p, spec, edge, transfer.Plane[uint8]{Pix: make([]uint8, 1600), Width: 40, Height: 40}},
		transfer.MeasureEdge[float32], transfer.MeasureEdge[uint8], transfer.MeasureEdge[uint16], transfer.Edge.At, transfer.Edge.FrequencyAt)
	text, err := json.Marshal(edge)
	require.NoError(t, err)
	var back transfer.Edge
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, edge, back)
	text, err = json.Marshal(transfer.EdgeSpec{White: 1, Linear: math.Sqrt})
	require.NoError(t, err)
	assert.JSONEq(t, `{"White": 1, "Black": 0, "HalfWidth": 0}`, string(text))
}

// 400 × 400 px in at most 20 ms.
func BenchmarkMeasureEdge(b *testing.B) {
	e := drawn{width: 400, height: 400, position: 203.3, tilt: 5 * math.Pi / 180, sigma: 0.5, dark: 0.1, bright: 0.7, noise: 0.005}
	p := e.plane(rand.New(rand.NewPCG(1, 2)), e.pixel)
	for b.Loop() {
		if _, err := transfer.MeasureEdge(p, transfer.EdgeSpec{}); err != nil {
			b.Fatal(err)
		}
	}
}

func TestContrastsBetweenSteps(t *testing.T) {
	at := func(f, otf, mtf, uncertainty float64) transfer.Contrast {
		return transfer.Contrast{CyclesPerPixel: f, OTF: transfer.Estimate{Value: otf, Uncertainty: 0.01}, MTF: transfer.Estimate{Value: mtf, Uncertainty: uncertainty}}
	}
	e := transfer.Edge{Contrasts: []transfer.Contrast{at(0, 1, 1, 0), at(0.5, -0.2, 0.4, 0.1), at(1, 0, 0.2, 0.1)}}
	c := has[transfer.Contrast](t)(e.At(0.25))
	assert.InDelta(t, 0.4, c.OTF.Value, 1e-12)
	assert.InDelta(t, 0.7, c.MTF.Value, 1e-12)
	f := has[transfer.Estimate](t)(e.FrequencyAt(0.4))
	assert.InDelta(t, 0.5, f.Value, 1e-12)
	_, ok := e.FrequencyAt(0.29)
	assert.False(t, ok, "less than three uncertainties")
}
