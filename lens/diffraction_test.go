package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// darkRing is the radius in µm at which the waves from all over a round pupil
// first cancel. Two points of the pupil that lie a diameter apart across the
// ring send waves whose paths differ by radius/N: the pupil is cut into chords
// along the ring, whose lengths follow a half-circle. Chebyshev's rule for
// such a weight is exact here to rounding.
func darkRing(wavelength, n float64) float64 {
	return crossing(0.9*wavelength*n, 1.5*wavelength*n, func(radius float64) float64 {
		const chords = 64
		sum := 0.0
		for k := 1; k <= chords; k++ {
			sin, place := math.Sincos(math.Pi * float64(k) / (chords + 1))
			path := radius * place / 2 / n
			sum += sin * sin * math.Cos(2*math.Pi*path/wavelength)
		}
		return sum
	})
}

// finestFringe is the frequency in lp/mm of the finest stripes that light of a
// wavelength in µm can draw: those between the waves from two opposite ends of
// the pupil, which bring it to the sensor at angles whose sine is 1/(2N). It is
// read off the stripes: the place where the two are first opposed is half a
// period from that where they meet in step.
func finestFringe(wavelength, n float64) float64 {
	sin := math.Sin(math.Asin(1 / (2 * n)))
	dark := crossing(0.3*wavelength*n, 0.7*wavelength*n, func(x float64) float64 {
		re1, im1 := math.Cos(2*math.Pi*x*sin/wavelength), math.Sin(2*math.Pi*x*sin/wavelength)
		re2, im2 := math.Cos(-2*math.Pi*x*sin/wavelength), math.Sin(-2*math.Pi*x*sin/wavelength)
		// The sum of the two changes sign in the dark.
		return (re1 + re2) + (im1 + im2)
	})
	return 1e3 / (2 * dark)
}

func TestAiryRadiusAndCutoffTable(t *testing.T) {
	const wave = 0.55 * um
	for _, n := range []float64{2.8, 4, 5.6, 8, 11, 16, 22} {
		r, err := lens.AiryRadius(wave, n)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D6", float64(r/um), darkRing(0.55, n), n)
		c, err := lens.CutoffFrequency(wave, n)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D8", c, finestFringe(0.55, n), n)
	}
	c, _ := lens.CutoffFrequency(4*um, 4)
	ref.Near(t, "L-D7", c, 62.5)
	r, _ := lens.AiryRadius(1*um, 1)
	ref.Near(t, "L-D5", float64(r/um), 1.2196699)
}

func TestRayleighAngleOfTextbooks(t *testing.T) {
	// The angle to the first dark ring behind a pupil is the ring's radius over
	// the focal length, here of 24 pupils.
	r, err := lens.AiryRadius(0.55*um, 24)
	if err != nil {
		t.Fatal(err)
	}
	telescope := float64(r) / (24 * 2.40)
	ref.Near(t, "L-D1", telescope*1e7, 2.80, "1e-7 rad")
	ref.Near(t, "L-D1", telescope*2.0e6, 0.56, "light years, at two million")
	ref.Near(t, "L-D12", telescope*1e7, 2.8, "1e-7 rad")
	ref.Near(t, "L-D12", telescope*180/math.Pi*1e5, 1.6, "1e-5 degrees")
	eye := float64(r) / (24 * 3.00e-3)
	ref.Near(t, "L-D2", eye*1e4, 2.24, "1e-4 rad")
	ref.Near(t, "L-D2", 1.30/eye/1000, 5.81, "km to tell 1.30 m apart")
	ref.Near(t, "L-D2r", 0.800*eye*1000, 0.179, "mm at 0.800 m")
}

func TestEncircledEnergyOfDarkRings(t *testing.T) {
	// The first zeros of J1: Abramowitz and Stegun, table 9.5.
	for i, r := range []struct{ zero, want float64 }{
		{3.8317059702, 0.837785}, {7.0155866698, 0.909931}, {10.1734681351, 0.937647},
	} {
		got, err := lens.EncircledEnergy(unit.Length(r.zero/math.Pi*4)*0.55*um, 0.55*um, 4)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D5e", got, r.want, "ring", i+1)
	}
}

func TestEncircledEnergyBySummingThePattern(t *testing.T) {
	// The integral of the pattern (2 J1(v)/v)², of which 2 J1²/v is a ring's
	// share, by Simpson's rule.
	share := func(v float64) float64 {
		if v == 0 {
			return 0
		}
		return 2 * math.J1(v) * math.J1(v) / v
	}
	for _, v := range []float64{1e-6, 1e-3, 0.1, 1, 1.999, 2, 2.001, 3, 5, 10, 40} {
		const n = 4000
		sum := share(0) + share(v)
		for i := 1; i < n; i++ {
			sum += float64(2+2*(i%2)) * share(v*float64(i)/n)
		}
		want := sum * v / n / 3
		got, err := lens.EncircledEnergy(unit.Length(v/math.Pi*2)*0.5*um, 0.5*um, 2)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D13", got, want, v)
	}
}

func TestEncircledEnergyEnds(t *testing.T) {
	if e, err := lens.EncircledEnergy(0, 0.5*um, 2); err != nil || e != 0 {
		t.Errorf("within nothing: %v, %v", e, err)
	}
	if e, err := lens.EncircledEnergy(unit.Length(inf), 0.5*um, 2); err != nil || e != 1 {
		t.Errorf("within everything: %v, %v", e, err)
	}
	// v²/4 near the centre, in full relative precision.
	e, _ := lens.EncircledEnergy(unit.Length(1e-9/math.Pi), 1*um, 1)
	near.Rel(t, "near the centre", e, 1e-6*(1./4-1e-6/32), 1e-12, "the next term is 2e-15 of it")
	last := -1.0
	for i := range 400 {
		e, err := lens.EncircledEnergy(unit.Length(i)*0.05*um, 0.5*um, 2)
		if err != nil || e < last || e > 1 {
			t.Fatalf("%d: %v after %v, %v", i, e, last, err)
		}
		last = e
	}
	for _, r := range []unit.Length{-1 * um, unit.Length(nan)} {
		if e, err := lens.EncircledEnergy(r, 0.5*um, 2); err == nil {
			t.Errorf("within %v: %v", r, e)
		}
	}
}

func TestPupilNarrowsLightSpreads(t *testing.T) {
	// The first dark ring holds the same light at every aperture.
	for _, n := range []float64{0.5, 1.4, 8, 1024} {
		r, _ := lens.AiryRadius(0.55*um, n)
		e, err := lens.EncircledEnergy(r, 0.55*um, n)
		if err != nil {
			t.Fatal(err)
		}
		// At the zero of J1 what is left is 1 − J0², with J0 = −0.4027593957.
		ref.Near(t, "L-D5j", e, 1-0.4027593957*0.4027593957, n)
	}
}
