package trace

import (
	"math"
	"math/cmplx"
	"slices"
	"strconv"

	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/unit"
)

// Peak is a frequency at which a picture vibrates, in hertz. X and Y are the amplitudes
// of its position, in pixels: half of the way from end to end. Each error is a standard
// uncertainty, one standard deviation.
type Peak struct {
	Frequency, FrequencyError unit.Frequency
	X, Y, ErrorX, ErrorY      float64
}

// Vibration is the result of MeasureVibration.
type Vibration struct {
	Peaks []Peak // up to 8, the clearest first

	// RestX and RestY are the root mean square of the shifts that the peaks leave, in
	// pixels a frame.
	RestX, RestY float64
}

// MeasureVibration finds the frequencies of a camera that shakes, from the shifts of
// successive frames (ShiftMeter.Add). A position that swings with amplitude A at
// frequency f shifts from frame to frame with an amplitude of
//
//	2 A sin(π f/rate)
//
// Frequencies lie between 3 periods in the take and as much below half the rate. Vibration
// faster than half the rate is found folded, at another frequency: shoot at two rates to
// tell. A peak stands out of the noise around its frequency. Chance makes one in less than
// a hundredth of takes, also where noise grows or falls with the frequency. Peaks closer
// than 4 periods in the take are one.
//
// Shifts outside 64 to 65536, of which a tenth are not Known besides the first, and numbers
// that are not finite, are errors. So is a rate above 1000 frames a second.
//
// Method: Fourier transform with a Hann window, one peak after another; then least squares,
// in which most shifts count alike.
func MeasureVibration(shifts []Shift, rate timing.Rate) (Vibration, error) {
	c := newChecker()
	switch num, den := rate.Ratio(); {
	case num == 0:
		c.Unset("rate")
	case num > 1000*den:
		c.Fault("rate", rate.String(), "must be at most 1000")
	}
	if len(shifts) > 0 && !shifts[0].Known {
		shifts = shifts[1:]
	}
	c.Int("shifts", len(shifts), "", 64, 1<<16)
	known := checkShifts(c, shifts)
	if c.OK() && 10*known < 9*len(shifts) {
		c.Fault("shifts", strconv.Itoa(known)+" of "+strconv.Itoa(len(shifts))+" known", "must be known in nine of ten: film something with detail")
	}
	if !c.OK() {
		return Vibration{}, c.Err()
	}

	n := len(shifts)
	t := newTaper(shifts, 0.1) // to tell peaks from each other
	axes := [2][]float64{make([]float64, n), make([]float64, n)}
	for i, s := range shifts {
		if s.Known {
			axes[0][i], axes[1][i] = s.X, s.Y
		}
	}
	var found []swing
	size := 1
	for size < 2*n {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	pad := make([]float64, size)
	var floors [2][]float64 // the power of noise by frequency, for each axis
	for {
		power := make([]float64, size/2+1) // of both axes, over noise
		var singles [2][]float64
		for a, v := range axes {
			t.level(v)
			clear(pad)
			for i, x := range v {
				pad[i] = t.weights[i] * x
			}
			spectrum := fft.Coefficients(nil, pad)
			single := make([]float64, len(power))
			for i, z := range spectrum {
				single[i] = real(z)*real(z) + imag(z)*imag(z)
			}
			singles[a] = single
			floors[a] = background(single, size/n, 1e-24*t.sum*t.sum)
			for i, p := range single {
				power[i] += p / floors[a][i]
			}
		}
		for i, s := range found { // without the others, which were found since
			at := int(math.Round(s.w / (2 * math.Pi) * float64(size)))
			found[i].floors = [2]float64{floors[0][at], floors[1][at]}
		}
		bins := size / n // a period
		lowest := 3 * bins
		best, highest := 0, 0.0
		for i := lowest; i < len(power)-lowest; i++ {
			if power[i] <= highest {
				continue
			}
			// A peak stands above what is slower, too, as a slow pan is not.
			slower := 0.0
			for k := max(0, i-4*bins); k <= i-2*bins; k++ {
				slower = max(slower, singles[0][k]/floors[0][i]+singles[1][k]/floors[1][i])
			}
			if 2*slower < power[i] {
				best, highest = i, power[i]
			}
		}
		if len(found) == 8 || highest < math.Log(float64(n))+14 {
			break
		}
		found = append(found, swing{w: 2 * math.Pi * float64(best) / float64(size), floors: [2]float64{floors[0][best], floors[1][best]}})
		fitAll(found, t, axes, size, 2)
	}
	// All shifts count alike, but for the ends, where a slow pan would leak.
	hann := t
	t = newTaper(shifts, 0.1)
	fitAll(found, t, axes, size, 5)
	var out Vibration
	f := float64(rate.Frequency())
	for _, s := range found {
		p := Peak{Frequency: unit.Frequency(s.w / (2 * math.Pi) * f)}
		k := 2 * math.Sin(math.Pi*float64(p.Frequency)/f)
		var e [2]float64
		known := 0.0
		for a := range axes {
			noise := floors[a][int(math.Round(s.w/(2*math.Pi)*float64(size)))] / hann.square // variance of a shift
			noise *= 1.2                                                                     // the median of some 20 periods is uncertain
			e[a] = math.Sqrt(2*noise*t.square) / t.sum / k
			known += math.Pow(cmplx.Abs(s.size[a])*t.spread, 2) / (2 * noise * t.spreadSquare)
		}
		p.X, p.Y, p.ErrorX, p.ErrorY = cmplx.Abs(s.size[0])/k, cmplx.Abs(s.size[1])/k, e[0], e[1]
		p.FrequencyError = unit.Frequency(f / (2 * math.Pi * math.Sqrt(known)))
		out.Peaks = append(out.Peaks, p)
	}
	for i, s := range shifts {
		if s.Known {
			out.RestX += axes[0][i] * axes[0][i] / float64(known)
			out.RestY += axes[1][i] * axes[1][i] / float64(known)
		}
	}
	out.RestX, out.RestY = math.Sqrt(out.RestX), math.Sqrt(out.RestY)
	return out, nil
}

// background is the mean power of noise around each frequency, from the median: over half
// the frequency to both sides, from 10 periods in the take to an eighth of the spectrum.
// Each period has some bins. Errors of the place of one frame move two shifts in opposite
// ways, so that noise grows with the frequency; hands and wind make it fall.
func background(power []float64, bins int, least float64) []float64 {
	out := make([]float64, len(power))
	var sorted []float64
	for i := 0; i < len(power); i++ {
		half := max(10*bins, min(i/2, len(power)/8))
		from, to := max(2*bins, i-half), min(len(power), i+half+1)
		sorted = append(sorted[:0], power[from:to]...)
		slices.Sort(sorted)
		// Neighbours have nearly the same: some share one median.
		level := math.Max(sorted[len(sorted)/2]/math.Ln2, least)
		for last := min(len(power)-1, i+half/8); i <= last; i++ {
			out[i] = level
		}
		i--
	}
	return out
}

// swing is a wave of w rad a frame in the shifts along both axes: Re(size · exp(i w n)).
type swing struct {
	w      float64
	size   [2]complex128
	floors [2]float64 // the power of noise, for each axis
}

// fitAll fits all swings in turn, since each disturbs the others a little.
func fitAll(found []swing, t taper, axes [2][]float64, size, times int) {
	for range times {
		for i := range found {
			found[i].fit(t, axes, 2*math.Pi/float64(size))
		}
	}
}

// fit puts the swing back into what is left of the shifts, finds it again within a bin by
// least squares, and takes it out.
func (s *swing) fit(t taper, axes [2][]float64, bin float64) {
	for _, v := range axes {
		t.level(v) // without the swing, which need not be 0 on average
	}
	s.add(t, axes, 1)
	explained := func(w float64) float64 {
		_, powers := t.sines(axes, w)
		return powers[0]/s.floors[0] + powers[1]/s.floors[1]
	}
	// Golden sections.
	lo, hi := s.w-bin, s.w+bin
	a, b := hi-(hi-lo)/math.Phi, lo+(hi-lo)/math.Phi
	atA, atB := explained(a), explained(b)
	for range 26 {
		if atA < atB {
			lo, a, atA = a, b, atB
			b = lo + (hi-lo)/math.Phi
			atB = explained(b)
		} else {
			hi, b, atB = b, a, atA
			a = hi - (hi-lo)/math.Phi
			atA = explained(a)
		}
	}
	s.w = (lo + hi) / 2
	s.size, _ = t.sines(axes, s.w)
	s.add(t, axes, -1)
}

// add adds the swing, times a sign, where the shifts are known.
func (s *swing) add(t taper, axes [2][]float64, sign float64) {
	turning(s.w, len(t.weights), func(i int, z complex128) {
		if t.weights[i] > 0 {
			axes[0][i] += sign * real(s.size[0]*z)
			axes[1][i] += sign * real(s.size[1]*z)
		}
	})
}

// turning calls f with exp(i w k) for each k.
func turning(w float64, n int, f func(k int, z complex128)) {
	turn, z := cmplx.Rect(1, w), complex(1, 0)
	for k := range n {
		if f(k, z); k%1024 == 1023 { // no rounding adds up
			z = cmplx.Rect(1, w*float64(k+1))
		} else {
			z *= turn
		}
	}
}

// taper is a window, 0 where a shift is not known, and its sums.
type taper struct {
	weights                           []float64
	sum, square, spread, spreadSquare float64
}

// newTaper rises and falls as a cosine in a fraction of each half: a Hann window if that
// is 1.
func newTaper(shifts []Shift, fraction float64) taper {
	n := float64(len(shifts))
	t := taper{weights: make([]float64, len(shifts))}
	for i, s := range shifts {
		u := float64(i) - (n-1)/2
		if s.Known {
			end := (1 - 2*math.Abs(u)/n) / fraction
			t.weights[i] = 1 - math.Cos(math.Pi*math.Min(1, end))
		}
		w := t.weights[i]
		t.sum += w
		t.square += w * w
		t.spread += w * u * u
		t.spreadSquare += w * w * u * u
	}
	return t
}

// level takes the mean under the window out of a series, where it is known.
func (t taper) level(v []float64) {
	mean := dot(t.weights, v) / t.sum
	for i := range v {
		if t.weights[i] > 0 {
			v[i] -= mean
		}
	}
}

// sines fits a cosine and a sine of w rad a frame to both series. Powers are what they
// explain of the weighted squares.
func (t taper) sines(axes [2][]float64, w float64) (sizes [2]complex128, powers [2]float64) {
	var ones complex128 // Σ weight·exp(2 i w n)
	var sums [2]complex128
	turning(w, len(t.weights), func(k int, z complex128) {
		weight := t.weights[k]
		x, y := weight*axes[0][k], weight*axes[1][k]
		c, s := real(z), imag(z)
		ones += complex(weight*(c*c-s*s), weight*2*c*s)
		sums[0] += complex(x*c, x*s)
		sums[1] += complex(y*c, y*s)
	})
	cc, ss, cs := (t.sum+real(ones))/2, (t.sum-real(ones))/2, imag(ones)/2
	det := cc*ss - cs*cs
	for a, sum := range sums {
		c, s := real(sum), imag(sum) // Σ weight·v·cos, Σ weight·v·sin
		p, q := (c*ss-s*cs)/det, (s*cc-c*cs)/det
		sizes[a], powers[a] = complex(p, -q), (p*c+q*s)*t.sum/2
	}
	return sizes, powers
}
