package transfer_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// wave is the sum of the waves from all over a round pupil, over their sum in
// step, at a place where those from the two ends of a diameter differ by a phase
// of 2v. The pupil is cut into chords along the diameter, whose lengths follow a
// half-circle. Chebyshev's rule for such a weight is exact here to rounding, for
// v up to 100.
func wave(v float64) float64 {
	const chords = 128
	sum, whole := 0.0, 0.0
	for k := 1; k <= chords; k++ {
		sin, place := math.Sincos(math.Pi * float64(k) / (chords + 1))
		sum += sin * sin * math.Cos(v*place)
		whole += sin * sin
	}
	return sum / whole
}

// finestFringe is the period in µm of the finest stripes that light of a
// wavelength in µm can draw: those between the waves from two opposite ends of
// the pupil, which bring it to the sensor at angles whose sine is 1/(2N). It is
// read off the stripes: the place where the two are first opposed is half a
// period from that where they meet in step.
func finestFringe(t testing.TB, wavelength, n float64) float64 {
	sin := math.Sin(math.Asin(1 / (2 * n)))
	return 2 * has[float64](t)(root.Find(func(x float64) float64 {
		re1, im1 := math.Cos(2*math.Pi*x*sin/wavelength), math.Sin(2*math.Pi*x*sin/wavelength)
		re2, im2 := math.Cos(-2*math.Pi*x*sin/wavelength), math.Sin(-2*math.Pi*x*sin/wavelength)
		// The sum of the two changes sign in the dark.
		return (re1 + re2) + (im1 + im2)
	}, 0.3*wavelength*n, 0.7*wavelength*n))
}

func TestDiffractionByAddingWaves(t *testing.T) {
	for _, n := range []float64{2.8, 4, 5.6, 8, 11, 16, 22} {
		// Waves from the ends of a diameter differ by radius/N at a radius.
		ring := has[float64](t)(root.Find(func(radius float64) float64 { return wave(math.Pi * radius / n / 0.55) }, 0.9*0.55*n, 1.5*0.55*n))
		ref.Near(t, "L-D6", float64(must[unit.Length](t)(transfer.AiryRadius(0.55*um, n))/um), ring, n)
		fringe := finestFringe(t, 0.55, n)
		ref.Near(t, "L-D8", must[float64](t)(transfer.CutoffFrequency(0.55*um, n)), 1e3/fringe, n)
		// The finest stripes measured in pixels.
		ref.Near(t, "L-Q1", must[float64](t)(transfer.SamplingRatio(0.55*um, n, 4.5*um)), fringe/4.5, n)
	}
}

func TestRayleighAngleOfTextbooks(t *testing.T) {
	// The angle to the first dark ring behind a pupil is the ring's radius over
	// the focal length, here of 24 pupils.
	r := must[unit.Length](t)(transfer.AiryRadius(0.55*um, 24))
	telescope := float64(r) / (24 * 2.40)
	ref.Near(t, "L-D1", telescope*1e7, 2.80, "1e-7 rad")
	ref.Near(t, "L-D1", telescope*2.0e6, 0.56, "light years, at two million")
	eye := float64(r) / (24 * 3.00e-3)
	ref.Near(t, "L-D2", eye*1e4, 2.24, "1e-4 rad")
	ref.Near(t, "L-D2", 1.30/eye/1000, 5.81, "km to tell 1.30 m apart")
	ref.Near(t, "L-D2r", 0.800*eye*1000, 0.179, "mm at 0.800 m")
}

func TestEncircledEnergyOfDarkRings(t *testing.T) {
	// The first zeros of J1: Abramowitz and Stegun, table 9.5.
	for i, r := range []struct{ zero, want float64 }{{3.8317059702, 0.838}, {7.0155866698, 0.910}, {10.1734681351, 0.938}} {
		got := must[float64](t)(transfer.EncircledEnergy(unit.Length(r.zero/math.Pi*4)*0.55*um, 0.55*um, 4))
		ref.Near(t, "L-D5e", got, r.want, "ring", i+1)
	}
	// The first dark ring holds the same light at every aperture. At the zero of
	// J1 what is left is 1 − J0², with J0 = −0.4027593957.
	for _, n := range []float64{0.5, 1.4, 8, 1024} {
		r := must[unit.Length](t)(transfer.AiryRadius(0.55*um, n))
		ref.Near(t, "L-D5j", must[float64](t)(transfer.EncircledEnergy(r, 0.55*um, n)), 1-0.4027593957*0.4027593957, n)
	}
}

func TestEncircledEnergyByAddingWaves(t *testing.T) {
	// The light of a ring is the square of the wave times its circumference. All
	// of it is what the pupil passes: ∫ wave² v dv = 2 (Parseval).
	share := func(v float64) float64 { return wave(v) * wave(v) * v / 2 }
	for _, v := range []float64{1e-6, 1e-3, 0.1, 1, 1.999, 2, 2.001, 3, 5, 10, 40} {
		const n = 4000
		sum := share(0) + share(v)
		for i := 1; i < n; i++ {
			sum += float64(2+2*(i%2)) * share(v*float64(i)/n)
		}
		got := must[float64](t)(transfer.EncircledEnergy(unit.Length(v/math.Pi*2)*0.5*um, 0.5*um, 2))
		ref.Near(t, "L-D13", got, sum*v/n/3, v)
	}
}

func TestEncircledEnergyEnds(t *testing.T) {
	within := func(radius unit.Length) float64 {
		return must[float64](t)(transfer.EncircledEnergy(radius, 0.5*um, 2))
	}
	assert.Zero(t, within(0))
	assert.Equal(t, 1., within(unit.Length(inf)))
	assert.InEpsilon(t, 1e-6*(1./4-1e-6/32), within(1e-9/math.Pi), 1e-12, "v²/4 near the centre: the next term is 2e-15 of it")
	last := -1.0
	for i := range 400 {
		e := within(unit.Length(i) * 0.05 * um)
		if e < last || e > 1 {
			t.Fatalf("%d: %v after %v", i, e, last)
		}
		last = e
	}
	for _, r := range []unit.Length{-1 * um, unit.Length(nan)} {
		_, err := transfer.EncircledEnergy(r, 0.5*um, 2)
		refuses(t, err, "transfer: radius ")
	}
	_, err := transfer.SamplingRatio(9*unit.Nano*unit.Metre, 0.4, 2*mm)
	refuses(t, err, `transfer: wavelength 9 nm: must be at least 10 nm and at most 30 µm
transfer: f-number 0.4: must be at least 0.5 and at most 1024
transfer: pitch 2 mm: must be at least 100 nm and at most 1 mm`)
}
