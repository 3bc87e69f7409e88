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
// Frequencies lie between 3 periods in the take and as much below half the rate. Vibration faster than
// half the rate is found folded, at another frequency: shoot at two rates to tell. A
// peak is found if chance makes one in less than a thousandth of takes with even noise.
// Peaks closer than 4 periods in the take are one.
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
	known := 0
	for i, s := range shifts {
		if !s.Known {
			continue
		}
		known++
		if !(math.Abs(s.X) <= 1e6 && math.Abs(s.Y) <= 1e6) {
			c.Fault("shifts["+strconv.Itoa(i)+"]", "not a shift", "must be within ±1e6 px")
			break
		}
	}
	if c.OK() && 10*known < 9*len(shifts) {
		c.Fault("shifts", strconv.Itoa(known)+" of "+strconv.Itoa(len(shifts))+" known", "must be known in nine of ten: film something with detail")
	}
	if !c.OK() {
		return Vibration{}, c.Err()
	}

	n := len(shifts)
	t := newTaper(shifts, 1) // to tell peaks from each other
	axes := [2][]float64{make([]float64, n), make([]float64, n)}
	for i, s := range shifts {
		if s.Known {
			axes[0][i], axes[1][i] = s.X, s.Y
		}
	}
	var out Vibration
	var noise [2]float64 // variance of a shift
	var floors [2]float64
	var found []swing
	size := 1
	for size < 2*n {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	pad := make([]float64, size)
	for {
		// Both spectra over their noise.
		power := make([]float64, size/2+1)
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
			sorted := slices.Clone(single)
			slices.Sort(sorted)
			floors[a] = math.Max(sorted[len(sorted)/2]/math.Ln2, 1e-24*t.sum*t.sum)
			noise[a] = floors[a] / t.square
			for i, p := range single {
				power[i] += p / floors[a]
			}
		}
		lowest := 3 * size / n
		best := lowest
		for i := lowest; i < len(power)-lowest; i++ {
			if power[i] > power[best] {
				best = i
			}
		}
		if len(found) == 8 || power[best] < math.Log(float64(n))+10 {
			break
		}
		found = append(found, swing{w: 2 * math.Pi * float64(best) / float64(size)})
		fitAll(found, t, axes, floors, size)
	}
	// All shifts count alike, but for the ends, where a slow pan would leak.
	t = newTaper(shifts, 0.1)
	fitAll(found, t, axes, floors, size)
	for _, s := range found {
		out.Peaks = append(out.Peaks, Peak{Frequency: unit.Frequency(s.w / (2 * math.Pi) * float64(rate.Frequency()))})
	}
	for i := range out.Peaks {
		p := &out.Peaks[i]
		f := float64(rate.Frequency())
		k := 2 * math.Sin(math.Pi*float64(p.Frequency)/f)
		e := func(a int) float64 { return math.Sqrt(2*noise[a]*t.square) / t.sum / k }
		x, y := cmplx.Abs(found[i].size[0]), cmplx.Abs(found[i].size[1])
		p.X, p.Y, p.ErrorX, p.ErrorY = x/k, y/k, e(0), e(1)
		known := 0.0
		for a, s := range [2]float64{x, y} {
			known += s * s * t.spread * t.spread / (2 * noise[a] * t.spreadSquare)
		}
		p.FrequencyError = unit.Frequency(f / (2 * math.Pi * math.Sqrt(known)))
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

// swing is a wave of w rad a frame in the shifts along both axes: Re(size · exp(i w n)).
type swing struct {
	w    float64
	size [2]complex128
}

// fitAll fits all swings in turn, since each disturbs the others a little.
func fitAll(found []swing, t taper, axes [2][]float64, floors [2]float64, size int) {
	for range 4 {
		for i := range found {
			found[i].fit(t, axes, floors, 2*math.Pi/float64(size))
		}
	}
}

// fit puts the swing back into what is left of the shifts, finds it again within a bin by
// least squares, and takes it out.
func (s *swing) fit(t taper, axes [2][]float64, floors [2]float64, bin float64) {
	for _, v := range axes {
		t.level(v) // without the swing, which need not be 0 on average
	}
	s.add(t, axes, 1)
	explained := func(w float64) float64 {
		ones := t.wave(nil, 2*w)
		_, x := t.sine(axes[0], w, ones)
		_, y := t.sine(axes[1], w, ones)
		return x/floors[0] + y/floors[1]
	}
	lo, hi := s.w-bin, s.w+bin
	for range 45 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if explained(a) < explained(b) {
			lo = a
		} else {
			hi = b
		}
	}
	s.w = (lo + hi) / 2
	ones := t.wave(nil, 2*s.w)
	for a := range axes {
		s.size[a], _ = t.sine(axes[a], s.w, ones)
	}
	s.add(t, axes, -1)
}

// add adds the swing, times a sign, where the shifts are known.
func (s *swing) add(t taper, axes [2][]float64, sign float64) {
	for i, w := range t.weights {
		if w > 0 {
			z := cmplx.Exp(complex(0, s.w*float64(i)))
			axes[0][i] += sign * real(s.size[0]*z)
			axes[1][i] += sign * real(s.size[1]*z)
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

// sine fits a cosine and a sine to a series. power is what they explain of its weighted
// square, and ones is wave(nil, 2w).
func (t taper) sine(v []float64, w float64, ones complex128) (size complex128, power float64) {
	z := t.wave(v, w)
	c, s := real(z), -imag(z) // Σ weight·v·cos, Σ weight·v·sin
	cc, ss, cs := (t.sum+real(ones))/2, (t.sum-real(ones))/2, -imag(ones)/2
	det := cc*ss - cs*cs
	a, b := (c*ss-s*cs)/det, (s*cc-c*cs)/det
	return complex(a, -b), (a*c + b*s) * t.sum / 2
}

// wave is the Fourier sum of a series at w rad a frame, or of ones if it is nil.
func (t taper) wave(v []float64, w float64) complex128 {
	turn, z := cmplx.Exp(complex(0, -w)), complex(1, 0)
	var sum complex128
	for i, x := range t.weights {
		if v != nil {
			x *= v[i]
		}
		sum += z * complex(x, 0)
		if z *= turn; i%1024 == 1023 { // no rounding adds up
			z = cmplx.Exp(complex(0, -w*float64(i+1)))
		}
	}
	return sum
}
