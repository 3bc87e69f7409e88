package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/dsp/fourier"
)

// MeasureRipple finds the strongest sinusoid in a line of samples, such as a row
// of a recorded wall or the mean of several: its frequency in cycles per sample
// and its amplitude over the mean. Samples are scene-linear, equally spaced, 16
// to 2^20 of them, with a mean above 0.
//
// The peak of a discrete Fourier transform gives a first frequency; then the
// constant and sinusoid that fit best, in least squares under a Hann window, are
// sought near it. Of a lone sinusoid the result is exact to 1e-6 of a cycle per
// record and 1e-6 of the contrast. Another of a share s of its amplitude, d ≥ 4
// cycles per record away, disturbs the contrast by at most s/d³ of it.
//
// At least two periods must lie in the record: slower changes, such as falloff,
// must be taken out first. Within a cycle per record of 0.5 the amplitude
// depends on phase. A contrast below 1e-12 is reported as no ripple at all.
//
// Method: linear least squares, begun at the highest peak of the periodogram;
// elementary.
func MeasureRipple(samples []float64) (Ripple, error) {
	c := valid.New("wall", ErrInvalid)
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
		return Ripple{}, c.Err()
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
		return Ripple{}, c.Err()
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
	peak, highest := 0, 0.0
	for k := int(math.Ceil(slowest * float64(size))); k < len(coefficients); k++ {
		re, im := real(coefficients[k]), imag(coefficients[k])
		if p := re*re + im*im; p > highest {
			peak, highest = k, p
		}
	}
	f := sinusoid{samples: samples, weights: weights, mean: mean, total: total}
	centre, step := float64(peak)/float64(size), 1/float64(size)
	frequency := f.best(math.Max(slowest, centre-2*step), math.Min(0.5, centre+2*step))
	_, contrast := f.fit(frequency)
	if contrast < 1e-12 {
		return Ripple{}, nil
	}
	return Ripple{Frequency: frequency, Contrast: contrast}, nil
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

// best searches an interval for the frequency that explains most, by golden
// section.
func (s *sinusoid) best(lo, hi float64) float64 {
	const ratio = 1 / math.Phi
	a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	fa, _ := s.fit(a)
	fb, _ := s.fit(b)
	for range 40 {
		if fa >= fb {
			hi, b, fb = b, a, fa
			a = hi - ratio*(hi-lo)
			fa, _ = s.fit(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + ratio*(hi-lo)
			fb, _ = s.fit(b)
		}
	}
	return (lo + hi) / 2
}
