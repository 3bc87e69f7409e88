package trace

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// Trace is one number a frame of a recording, as its mean brightness or the change
// since the frame before. Value n stands for the time n/Rate.
type Trace struct {
	Rate   timing.Rate `json:",omitzero"` // at most 1000 a second
	Values []float64   // 64 to 2²² finite numbers
}

const (
	leastValues = 64
	mostValues  = 1 << 22
)

func (tr Trace) check(c *valid.Checker, name string) {
	switch num, den := tr.Rate.Ratio(); {
	case num == 0:
		c.Unset(name + ".rate")
	case num > 1000*den:
		c.Fault(name+".rate", tr.Rate.String(), "must be at most 1000")
	}
	if n := len(tr.Values); n < leastValues || n > mostValues {
		c.Fault(name+".values", strconv.Itoa(n), "must be %d to %d numbers", leastValues, mostValues)
	}
	for i, v := range tr.Values {
		if !(math.Abs(v) <= 1e100) {
			c.Fault(fmt.Sprintf("%s.values[%d]", name, i), strconv.FormatFloat(v, 'g', 6, 64), "must be -1e100 to 1e100")
			return
		}
	}
}

// fps is the rate in frames per second.
func (tr Trace) fps() float64 { return float64(tr.Rate.Frequency()) }

// Offset is the result of MeasureOffset.
type Offset struct {
	// Time is when frame 0 of b is, counted from frame 0 of a. It is positive if b
	// began later. Error is its standard uncertainty, one standard deviation.
	Time, Error unit.Time

	Overlap     unit.Time // how long both recorded
	Correlation float64   // of the two traces at this offset, without slow changes: above 0 to 1
}

// MeasureOffset finds the time between the first frames of two recordings of the same
// scene, from a trace of each.
//
//	a(t) = gain · b(t − Time) + slow changes + noise
//
// The gain is positive. The slow changes are a polynomial of degree 4, as from falling
// light or an iris. Rates may differ. The result is good to a fraction of a frame if the
// traces change within seconds: flashes, a hand before the lens, trees that pass. The
// exposures of both cameras should be as long; otherwise the times are those of their
// middles.
//
// A trace outside the ranges of Trace is an error, and so is evidence that allows no
// answer:
//
//   - A trace that does not change.
//   - No offset at which the traces agree better than by chance, in an overlap of a
//     quarter of the shorter trace at least.
//   - A second offset at which they agree about as well, as with a light that repeats.
//   - An uncertainty of more than a frame.
//
// One thing that happens in both recordings, but not at the same time, looks like a
// common event, and one fade over many seconds, without anything faster, may give a wrong
// answer: compare it with another window of the take. Clocks that drift by more than half
// a frame blur it: use MeasureDrift.
//
// A flash or a step that is shorter than a frame leaves no trace of when it was within the
// frame. The uncertainty contains that.
//
// Method: correlation by Fourier transforms, then its peak between frames, with a
// standard uncertainty from the residuals and their correlation in time (Newey and West,
// Econometrica 55 (1987) 703, from memory).
func MeasureOffset(a, b Trace) (Offset, error) {
	c := newChecker()
	a.check(c, "a")
	b.check(c, "b")
	if !c.OK() {
		return Offset{}, c.Err()
	}
	o, fault := offset(a, b, 1)
	if fault != "" {
		c.Fault("traces", "no offset", "%s", fault)
	}
	return o, c.Err()
}

// offset measures the offset of two traces that were checked, or says why it cannot.
// Frames of b last stretch times as long by a's clock as b's rate says.
func offset(a, b Trace, stretch float64) (Offset, string) {
	// The faster trace gives the grid. The other is read between its values.
	if a.fps() < b.fps() {
		o, fault := offset(b, a, 1/stretch)
		o.Time *= unit.Time(-stretch) // from b's clock to a's
		return o, fault
	}
	x, y := smooth(a.Values), smooth(b.Values)
	step := 1 / stretch // frames of b in a frame of a
	if a.Rate != b.Rate {
		step *= b.fps() / a.fps()
	}
	lag, fault := coarse(x, y, step, a.fps())
	if fault != "" {
		return Offset{}, fault
	}
	o, fault := refine(x, y, step, lag, a.fps())
	if fault == "" {
		l := float64(o.Time) * a.fps()
		first := abruptness(a.Values, l, l+float64(len(y))/step)
		second := abruptness(b.Values, -l*step, (float64(len(x))-l)*step) / step
		o.Error = unit.Time(math.Hypot(float64(o.Error), math.Max(leastError, math.Max(first, second))/a.fps()))
	}
	return o, fault
}

// smooth is the trace after the binomial filter ¼, ½, ¼, less its mean and over its
// standard deviation. Without what is near half the rate, the values between frames can
// be read exactly. The first and the last value are lost; they repeat their neighbours.
func smooth(v []float64) []float64 {
	n := len(v)
	s := make([]float64, n)
	scale := 0.0
	for _, x := range v {
		scale = math.Max(scale, math.Abs(x))
	}
	if scale == 0 {
		return s
	}
	for i := 1; i < n-1; i++ {
		s[i] = (v[i-1]/scale + 2*(v[i]/scale) + v[i+1]/scale) / 4
	}
	s[0], s[n-1] = s[1], s[n-2]
	var sum, square float64
	for _, x := range s {
		sum += x
	}
	for i := range s {
		s[i] -= sum / float64(n)
		square += s[i] * s[i]
	}
	sd := math.Sqrt(square / float64(n))
	if sd < 1e-12 { // rounding
		clear(s)
		return s
	}
	for i := range s {
		s[i] /= sd
	}
	return s
}

// leastError is the uncertainty in values that interpolation and the polynomial leave
// where there is no noise.
const leastError = 5e-4

// reach is how many values on either side an interpolated value is made of.
const reach = 12

// kernels holds the weights of a value, and of its derivative, at 1/256 of a frame.
var kernels = func() (k [257][2 * reach][2]float64) {
	h := func(x float64) float64 { // sin(πx)/(πx) under a Gaussian, which ends at e^-9
		if x == 0 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x) * math.Exp(-9*x*x/(reach*reach))
	}
	for f := range k {
		var sum, slope float64
		for j := range k[f] {
			x := float64(f)/256 + reach - 1 - float64(j)
			k[f][j] = [2]float64{h(x), (h(x+1e-4) - h(x-1e-4)) / 2e-4}
			sum += k[f][j][0]
			slope += k[f][j][1]
		}
		for j, w := range k[f] { // a constant is read exactly, with slope 0
			k[f][j] = [2]float64{w[0] / sum, (w[1] - slope*w[0]/sum) / sum}
		}
	}
	return k
}()

// read gives a trace and its derivative at the positions p, p + step, and so on. They
// must lie between reach − 1 and len − reach − 1.
func read(v []float64, p, step float64, value, slope []float64) {
	var weights [2 * reach][2]float64
	last := -1.0
	for n := range value {
		at := p + float64(n)*step
		i := math.Floor(at)
		f := at - i
		if step == 1 {
			i, f = math.Floor(p)+float64(n), p-math.Floor(p)
		}
		if f != last {
			last = f
			k := int(f * 256)
			g := f*256 - float64(k)
			k0, k1 := &kernels[k], &kernels[min(k+1, 256)]
			for j := range weights {
				weights[j][0] = k0[j][0] + g*(k1[j][0]-k0[j][0])
				weights[j][1] = k0[j][1] + g*(k1[j][1]-k0[j][1])
			}
		}
		near := v[int(i)-reach+1:][:2*reach]
		var sum, rise float64
		for j, w := range &weights {
			sum += w[0] * near[j]
			rise += w[1] * near[j]
		}
		value[n], slope[n] = sum, rise
	}
}

// coarse finds the place of y's first value in x to a value, where both agree best.
func coarse(x, y []float64, step, fps float64) (lag int, fault string) {
	if step != 1 {
		span := float64(len(y)-1) / step
		if span >= mostValues {
			return 0, "must have rates that differ less, or be shorter"
		}
		n := int(span) + 1
		slow := y
		y = make([]float64, n)
		for i := range y {
			p := float64(i) * step
			j := min(int(p), len(slow)-2)
			y[i] = slow[j] + (p-float64(j))*(slow[j+1]-slow[j])
		}
	}
	half := max(8, min(min(len(x), len(y))/4, int(4*fps))) / 2
	if min(len(x), len(y)) < 2*half+leastValues/2 {
		return 0, "must overlap longer"
	}
	x, y = highPass(x, half), highPass(y, half)
	shorter := min(len(x), len(y))
	if energy(x) < 1e-9 || energy(y) < 1e-9 {
		return 0, "must change in both traces"
	}

	size := 1
	for size < len(x)+len(y) {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	pad := make([]float64, size)
	copy(pad, x)
	fx := fft.Coefficients(nil, pad)
	clear(pad)
	copy(pad, y)
	fy := fft.Coefficients(nil, pad)
	for i := range fx {
		fx[i] *= complex(real(fy[i]), -imag(fy[i]))
	}
	both := fft.Sequence(pad, fx)

	ex, ey := cumulate(x), cumulate(y)
	least := max(leastValues/2, shorter/4)
	first, last := least-len(y), len(x)-least
	agree := make([]float64, last-first+1) // correlation · √overlap
	rho := make([]float64, len(agree))
	for i := range agree {
		l := first + i
		lo, hi := max(0, l), min(len(x), l+len(y))
		e := (ex[hi] - ex[lo]) * (ey[hi-l] - ey[lo-l])
		if e <= 1e-9*ex[len(x)]*ey[len(y)]*float64(least)/float64(shorter) { // hardly anything changes in this overlap
			continue
		}
		rho[i] = both[(l+size)%size] / float64(size) / math.Sqrt(e)
		agree[i] = rho[i] * math.Sqrt(float64(hi-lo))
	}
	best := 0
	for i := range agree {
		if agree[i] > agree[best] {
			best = i
		}
	}
	if agree[best] <= 0 {
		return 0, noCommon
	}
	// The peak ends where the correlation first falls below a third.
	low, high := best, best
	for low > 0 && agree[low-1] > agree[best]/3 {
		low--
	}
	for high < len(agree)-1 && agree[high+1] > agree[best]/3 {
		high++
	}
	var square float64
	n := 0
	for i, v := range agree {
		if i < low || i > high {
			square += v * v
			n++
		}
	}
	if n < leastValues/2 {
		return 0, "must change faster: the traces agree at every offset"
	}
	// Values are correlated: so many stand for one that is independent. Fisher's
	// transform of a correlation by chance is nearly normal.
	each := math.Max(1, square/float64(n))
	fisher := func(i int) float64 {
		r := math.Min(rho[i], 1-1e-6)
		independent := agree[i] * agree[i] / (rho[i] * rho[i]) / each
		return math.Atanh(r) * math.Sqrt(math.Max(independent-3, 0))
	}
	repeats := false
	other := 0.0
	for i := range agree {
		if (i < low || i > high) && rho[i] > 0 {
			repeats = repeats || agree[i] > 0.9*agree[best] || rho[i] > 0.97*rho[best]
			other = math.Max(other, fisher(i))
		}
	}
	// By chance, the largest of n normal numbers is about √(2 ln n) standard deviations.
	chance := math.Sqrt(2*math.Log(float64(n))) + 1
	found := fisher(best)
	repeats = repeats || found > chance && other > 0.7*found
	// Where little happens, chance is no normal number: two events of strangers that lie
	// as far apart agree. Events that all agree are evidence, and so is a single one if
	// little else happens in either trace.
	l := first + best
	lo, hi := max(0, l), min(len(x), l+len(y))
	var product, products float64
	for i := lo; i < hi; i++ {
		p := x[i] * y[i-l]
		product += p
		products += p * p
	}
	events := product * product / products / each
	scarce := events < 10 && rho[best] < 0.9 && math.Atanh(rho[best])*math.Sqrt(events) < 2.6
	if events < 2 && math.Min((ex[hi]-ex[lo])/ex[len(x)], (ey[hi-l]-ey[lo-l])/ey[len(y)]) < 0.4 {
		scarce = true
	}
	switch {
	case rho[best] > 0.5 && repeats:
		return 0, "must not repeat: the traces agree about as well at another offset"
	case found < chance || scarce || repeats:
		return 0, noCommon
	}
	return l, ""
}

const noCommon = "must show a common event: the traces agree at no offset better than by chance"

// highPass is a trace less its mean over a window around each value. The ends, which have
// no such window, are left out: there a slow change would look like an event.
func highPass(v []float64, half int) []float64 {
	sum := make([]float64, len(v)+1)
	for i, x := range v {
		sum[i+1] = sum[i] + x
	}
	out := make([]float64, len(v)-2*half)
	for i := range out {
		out[i] = v[i+half] - (sum[i+2*half+1]-sum[i])/float64(2*half+1)
	}
	return out
}

// cumulate gives the sum of the squares before each value.
func cumulate(v []float64) []float64 {
	sum := make([]float64, len(v)+1)
	for i, x := range v {
		sum[i+1] = sum[i] + x*x
	}
	return sum
}

func energy(v []float64) float64 { return dot(v, v) / float64(len(v)) }

// degree of the polynomial that slow changes are.
const degree = 4

// refine finds the lag at which x and y((i − lag) · step) agree, from one that is right
// to a few values. There
//
//	Σ (x y′ − x′ y) = 0
//
// whatever the gain is, wherever the overlap ends, and however the noise of each trace
// is spread, as long as the noise of both is independent.
func refine(x, y []float64, step float64, lag int, fps float64) (Offset, string) {
	// Some values around the overlap stay out, so that it need not change with the lag.
	const slack = 4
	l := float64(lag)
	lo := max(reach, int(math.Ceil(l+slack+reach/step)))
	hi := min(len(x)-reach, int(math.Floor(l-slack+float64(len(y)-reach-2)/step)))
	n := hi - lo
	if n < leastValues/2 {
		return Offset{}, "must overlap longer"
	}
	terms := polynomials(n)
	target, rise := make([]float64, n), make([]float64, n)
	model, slope := make([]float64, n), make([]float64, n)
	read(x, float64(lo), 1, target, rise)
	project(target, terms)
	project(rise, terms)
	at := func(l float64) (unlike float64) { // Σ (x′ y − x y′)
		read(y, (float64(lo)-l)*step, step, model, slope)
		for i := range slope {
			slope[i] *= step
		}
		project(model, terms)
		project(slope, terms)
		return dot(rise, model) - dot(target, slope)
	}
	for range 30 {
		unlike := at(l)
		steep := dot(rise, slope)
		if !(steep > 0) {
			return Offset{}, noCommon
		}
		move := unlike / (2 * steep)
		l += math.Max(-0.5, math.Min(0.5, move))
		if math.Abs(l-float64(lag)) > slack-1 {
			return Offset{}, "must agree at one offset: the fit leaves the peak"
		}
		if math.Abs(move) < 1e-5 {
			break
		}
	}

	// By what an offset changes that. It is Σ x′ y′ unless the traces agree at other offsets
	// with another gain, as an exponential does.
	const around = 0.5
	steep := (at(l-around) - at(l+around)) / (4 * around)
	at(l)
	if full := dot(rise, slope); !(steep > 0.2*full) {
		return Offset{}, "must change faster: the traces agree at every offset"
	}

	mm, tt, tm := dot(model, model), dot(target, target), dot(target, model)
	gain := math.Sqrt(tt / mm)
	score := make([]float64, n)
	for i, t := range target {
		score[i] = (t - gain*model[i]) * (slope[i] + rise[i]/gain) / 2
	}
	variance := longVariance(score) * float64(n) / float64(n-degree-3)
	e := math.Sqrt(variance) / steep
	o := Offset{
		Time: unit.Time(l / fps), Error: unit.Time(e / fps),
		Overlap: unit.Time((math.Min(float64(len(x)), l+float64(len(y))/step) - math.Max(0, l)) / fps), Correlation: math.Min(1, tm/math.Sqrt(mm*tt)),
	}
	switch {
	case !(tm > 0):
		return Offset{}, noCommon
	case !(float64(o.Error)*fps*step <= 1):
		return Offset{}, "must allow an uncertainty below a frame: use a longer or a clearer event"
	}
	return o, ""
}

// abruptness is the uncertainty, in values, of a trace whose events from one value to
// another change within few of them. A flash or a step between two exposures leaves no trace of when it was. What the
// sampling folds together lies near the Nyquist frequency: second differences, taken
// three times, keep sin⁶(π f) of the amplitude there, and next to nothing of what changes
// slowly. Noise is there all along the trace, so it is told by the median. The factor and
// the limit are those of simulated flashes and steps.
func abruptness(v []float64, from, to float64) float64 {
	const most = 0.33
	first, end := int(math.Max(0, from)), int(math.Min(float64(len(v)), to))
	if end-first < 16 {
		return most
	}
	steps := differences(v[first:end])
	largest := floats.Norm(steps, math.Inf(1))
	if largest == 0 {
		return 0
	}
	floats.Scale(1/largest, steps) // fourth powers stay within float64
	fine := bends(bends(bends(steps)))
	abrupt := dot(fine, fine)
	var some []float64 // a median needs no more
	for i := 0; i < len(fine); i += 1 + len(fine)/4096 {
		some = append(some, fine[i]*fine[i])
	}
	noise := estimate.Median(some) / 0.455 // the median of χ² with one degree of freedom
	abrupt -= noise * float64(len(fine))
	all, fourths := 0.0, 0.0
	for _, x := range steps {
		all += x * x
		fourths += x * x * x * x
	}
	if abrupt <= 0 {
		return 0
	}
	events := all * all / fourths / 3 // each fills some three values
	return math.Min(most, 4*abrupt/all) / math.Sqrt(math.Max(1, events))
}

func differences(v []float64) []float64 {
	out := make([]float64, len(v)-1)
	for i := range out {
		out[i] = v[i+1] - v[i]
	}
	return out
}

// bends is 1 at the Nyquist frequency, and sin²(π f) at f cycles per value.
func bends(v []float64) []float64 {
	out := make([]float64, len(v)-2)
	for i := range out {
		out[i] = (2*v[i+1] - v[i] - v[i+2]) / 4
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// longVariance is the variance of the sum of a series whose values are correlated over
// a short time (Newey and West).
func longVariance(s []float64) float64 {
	lags := min(len(s)/4, 8+int(2*math.Cbrt(float64(len(s)))))
	total := 0.0
	for k := 0; k <= lags; k++ {
		sum := 0.0
		for i := k; i < len(s); i++ {
			sum += s[i] * s[i-k]
		}
		weight := 2 * (1 - float64(k)/float64(lags+1))
		if k == 0 {
			weight = 1
		}
		total += weight * sum
	}
	return math.Max(total, 0)
}

// polynomials are orthonormal over n values: constant, linear and so on.
func polynomials(n int) [][]float64 {
	terms := make([][]float64, 0, degree+1)
	for d := range degree + 1 {
		p := make([]float64, n)
		for i := range p {
			u := (2*float64(i)+1)/float64(n) - 1
			p[i] = 1
			if d > 0 {
				p[i] = terms[d-1][i] * u
			}
		}
		project(p, terms)
		norm := math.Sqrt(energy(p) * float64(n))
		for i := range p {
			p[i] /= norm
		}
		terms = append(terms, p)
	}
	return terms
}

// project takes out of v what orthonormal terms can make.
func project(v []float64, terms [][]float64) {
	for _, p := range terms {
		d := dot(v, p)
		for i := range v {
			v[i] -= d * p[i]
		}
	}
}
