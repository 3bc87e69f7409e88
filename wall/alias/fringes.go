package alias

import (
	"math"

	"example.com/platewright/internal/peak"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/dsp/fourier"
)

// Fringes are a periodic variation of luminance along a line of photosites.
type Fringes struct {
	Frequency float64 // cycles per photosite, 0 to 0.5
	Contrast  float64 // amplitude of the sinusoid over the mean
}

// MeasureFringes finds the strongest sinusoid in a line of samples, such as a row
// of a recorded wall or the mean of several rows. Samples are scene-linear and
// equally spaced, 16 to 2^20 of them, each within ±1e100, with a mean above 0.
//
// For a lone sinusoid the frequency has an error of at most 1e-6 cycles per
// record, and the contrast a relative error of at most 1e-6. A second sinusoid of
// s times the amplitude, d ≥ 4 cycles per record away, changes the contrast by at
// most s/d³ of it. If several are within 1 % of the strongest, any of them may be
// found.
//
// The record must hold two periods or more. Remove slower changes, such as
// falloff, first. Within one cycle per record of 0.5 the amplitude depends on
// phase. A contrast below 1e-12 is reported as none: both fields are 0.
//
// Method: the highest peak of the periodogram, refined by linear least squares of
// a constant and a sinusoid under a Hann window.
func MeasureFringes(samples []float64) (Fringes, error) {
	c := valid.New("alias", ErrInvalid)
	n := len(samples)
	c.Int("samples", n, "", 16, 1<<20)
	var largest float64
	for _, v := range samples {
		if !(math.Abs(v) <= 1e100) {
			c.Number("sample", v, "", valid.Closed[float64](-1e100, 1e100))
			break
		}
		largest = math.Max(largest, math.Abs(v))
	}
	if !c.OK() {
		return Fringes{}, c.Err()
	}
	weights := make([]float64, n)
	var sum, total float64
	for i, v := range samples {
		sin := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
		weights[i] = sin * sin
		sum += weights[i] * v
		total += weights[i]
	}
	mean := sum / total
	c.Number("mean of the samples", mean, "", valid.Above(largest*1e-12, 1e100))
	if !c.OK() {
		return Fringes{}, c.Err()
	}

	size := 64
	for size < 4*n {
		size *= 2
	}
	padded := make([]float64, size)
	for i, v := range samples {
		padded[i] = weights[i] * (v/mean - 1)
	}
	coefficients := fourier.NewFFT(size).Coefficients(nil, padded)
	slowest := 2 / float64(n)
	peakAt, highest := 0, 0.0
	for k := int(math.Ceil(slowest * float64(size))); k < len(coefficients); k++ {
		re, im := real(coefficients[k]), imag(coefficients[k])
		if p := re*re + im*im; p > highest {
			peakAt, highest = k, p
		}
	}
	if highest == 0 {
		return Fringes{}, nil
	}
	f := sinusoid{samples: samples, weights: weights, mean: mean, total: total}
	centre, step := float64(peakAt)/float64(size), 1/float64(size)
	frequency, _ := peak.Find(f.explained, math.Max(slowest, centre-2*step), centre, math.Min(0.5, centre+2*step), 1e-8*step)
	_, contrast := f.fit(frequency)
	if contrast < 1e-12 {
		return Fringes{}, nil
	}
	return Fringes{Frequency: frequency, Contrast: contrast}, nil
}

// sinusoid fits a constant and a sinusoid to weighted samples.
type sinusoid struct {
	samples, weights []float64
	mean, total      float64
}

// fit gives the weighted power that a sinusoid of a frequency explains, and its
// amplitude over the constant's value. Counted from the middle of the record
// the sine is odd and the weights are even, so it is square to the constant and
// to the cosine.
func (s *sinusoid) fit(frequency float64) (explained, contrast float64) {
	middle := float64(len(s.samples)-1) / 2
	var wc, wcc, wss, wyc, wys float64
	for i, v := range s.samples {
		sin, cos := math.Sincos(2 * math.Pi * frequency * (float64(i) - middle))
		w := s.weights[i]
		y := v/s.mean - 1
		wc += w * cos
		wcc += w * cos * cos
		wss += w * sin * sin
		wyc += w * y * cos
		wys += w * y * sin
	}
	// y has no weighted mean, so taking the mean out of the cosine changes only
	// its power.
	wcc -= wc * wc / s.total
	var a, b float64
	if wcc > 1e-9*s.total {
		a = wyc / wcc
	}
	if wss > 1e-9*s.total {
		b = wys / wss
	}
	// The constant that goes with a is not the weighted mean of the samples.
	constant := 1 - a*wc/s.total
	return a*wyc + b*wys, math.Hypot(a, b) / constant
}

func (s *sinusoid) explained(frequency float64) float64 {
	power, _ := s.fit(frequency)
	return power
}
