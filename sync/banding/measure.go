package banding

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"
	"strconv"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/sync/internal/samples"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Measurement is the result of MeasureBands. Each error is the half-width of an interval
// that holds the truth in at least 19 of 20 frames.
type Measurement struct {
	// Depth is the contrast of the bands, without falloff and noise. If no bands
	// stand out, it is 0, and DepthError is DetectionLimit plus the contrast of the
	// falloff, in which fewer than 4 bands can hide.
	Depth, DepthError float64

	// DetectionLimit is the depth from which on 4 bands or more stand out of the
	// noise, if their bright or dark part takes at least an eighth of the spacing.
	DetectionLimit float64

	// Spacing is the number of rows from one band to the next, and SpacingError is
	// its error. Both are 0 if no bands stand out.
	Spacing, SpacingError float64
}

const (
	minRows   = 32   // the fewest rows in which bands can be told from chance
	minBands  = 4    // the fewest bands that cannot be mistaken for falloff
	apart     = 1.5  // lines of a spectrum as close as this, in periods a frame, are one
	falloff   = 5    // terms of the falloff: a polynomial of degree 4
	harmonics = 24   // the most that are fitted
	uneven    = 1e-3 // the amplitude, over the mean, that falloff may leave

	// fewHarmonics are enough to show how harmonics fall. Rows tell fewer from each
	// other near spacings that are ratios of whole numbers up to 8.
	fewHarmonics = 4
)

// MeasureBands estimates the bands in a recorded frame from the mean of each row,
// top to bottom, in linear light.
//
//	row i = falloff(i) · (1 + Σ aₕ cos(2πh i/spacing) + bₕ sin(2πh i/spacing)) + noise
//
// Film an even grey, or divide the rows by those of the same scene under a steady
// light. Average over many columns, because the errors grow with the noise of the
// rows. The noise must be independent from row to row. Falloff towards the edges may
// remain: it is fitted as a polynomial of degree 4.
//
// Depth corresponds to Extremes.Depth. On a wall with scan groups, weaker bands may cross
// the strongest; Depth is then that of the average over them, which is less.
//
// Fewer than 32 rows and more than 65536 are an error, and so is evidence that allows no
// answer:
//
//   - Fewer than 4 bands, if they can be told from falloff, and up to 8 weak ones
//     that falloff may leave of fewer. Use a taller frame or a slower readout, or
//     compute the bands with New.
//   - Bands 2 rows apart, unless they beat at least 1.5 times in the frame.
//   - Bands like 2.5 or 5 rows apart, if their harmonics are strong: rows meet too
//     few phases to tell one from the other.
//   - Noise in which bands of any depth would be lost.
//   - Rows that no bands of one spacing fit.
//
// One frame in a thousand without bands shows some by chance. Less than one band
// shows a part of its depth only. Falloff and few bands may cancel out: rows divided
// by those under a steady light are safer, and give a smaller DepthError. It is at
// least 0.001, which falloff may leave, and exceeds half of Depth near spacings like
// 3 rows, where all harmonics coincide.
//
// Method: nonlinear least squares, and Rice's formula for upcrossings.
func MeasureBands(rows []float64) (Measurement, error) {
	// Each strong line of the periodogram is tried as the fundamental of a fit of
	// frequency, harmonics and falloff. SpacingError comes from the covariance of the
	// best fit. DepthError bounds the noise of the fitted wave, and the harmonics that
	// are not fitted.
	c := newChecker()
	if c.Int("rows", len(rows), "", minRows, maxRows); !c.OK() {
		return Measurement{}, c.Err()
	}
	peak := samples.Check(c, rows)
	if !c.OK() {
		return Measurement{}, c.Err()
	}
	r := newRecord(rows, peak)
	lines, floor := r.spectrum()
	n := float64(len(rows))
	// The power of a line of noise exceeds x times the floor once in exp(x/2);
	// a frame has n/2 independent lines, and twice that between them.
	threshold := 2 * math.Log(1000*1.5*n)
	least := max(threshold*floor, n/2*uneven*uneven*r.mean*r.mean)
	limit := (math.Sqrt(least) + 1.645*math.Sqrt(floor)) * math.Sqrt(2/n) / (2 * eighth * r.mean)
	if limit >= 1 {
		return Measurement{}, newChecker().Refuse("rows", quantity.Number(100*math.Sqrt(floor)/r.mean, "% of noise"), "must be less noisy: bands of any depth would be lost")
	}
	f, power := r.fundamental(lines, least)
	if power < least {
		var falloff [falloff]float64
		for p, q := range r.terms {
			falloff[p] = floats.Dot(q, r.rows)
		}
		return Measurement{DepthError: min(limit+r.contrast(falloff), 1), DetectionLimit: limit}, nil
	}
	if f == 0 {
		return Measurement{}, newChecker().Refuse("rows", strconv.Itoa(len(rows)), unclear)
	}
	if f*n < minBands {
		return Measurement{}, newChecker().Refuse("rows", quantity.Number(f*n, "bands"), "must hold at least %d bands: fewer cannot be told from falloff; "+fewRemedy, minBands)
	}
	if (0.5-f)*n < apart {
		return Measurement{}, newChecker().Refuse("rows", quantity.Number(1/f, "rows from band to band"), "must be farther from 2: rows then meet two phases of the bands only")
	}
	out, err := r.bands(f, floor)
	if err == nil {
		out.DetectionLimit = limit
	}
	return out, err
}

// eighth is the amplitude of the fundamental of a rectangle of height 1 that
// lasts an eighth of its period: (2/π) sin(π/8).
const eighth = 0.2436

const fewRemedy = "use a taller frame or a slower readout, or compute the bands with New"

const unclear = "must hold bands that repeat, on an even grey: no steady spacing and falloff meet them"

// record is a frame's rows and the polynomials that falloff is made of.
type record struct {
	rows  []float64 // over their peak
	mean  float64
	terms [falloff][]float64 // orthonormal, the first constant

	// Memory of fit: the derivative of the model by each unknown, all rows of one
	// after those of another, and what the model leaves of the rows.
	slopes, rest []float64
}

func newRecord(rows []float64, peak float64) record {
	n := len(rows)
	r := record{rows: make([]float64, n), slopes: make([]float64, (falloff+2*harmonics+1)*n), rest: make([]float64, n)}
	for i, v := range rows {
		r.rows[i] = v / peak
		r.mean += r.rows[i] / float64(len(rows))
	}
	for p := range r.terms {
		q := make([]float64, len(rows))
		for i := range q {
			x := (2*float64(i)+1)/float64(len(rows)) - 1
			q[i] = math.Pow(x, float64(p))
		}
		orthonormalise(q, r.terms[:p])
		r.terms[p] = q
	}
	return r
}

// orthonormalise takes out of q what lies along the others, and scales the
// rest to length 1. Twice is enough for full precision.
func orthonormalise(q []float64, others [][]float64) {
	for range 2 {
		remove(q, others)
	}
	floats.Scale(1/floats.Norm(q, 2), q)
}

func remove(q []float64, others [][]float64) {
	for _, o := range others {
		floats.AddScaled(q, -floats.Dot(q, o), o)
	}
}

// contrast is that of a falloff.
func (r record) contrast(falloff [falloff]float64) float64 {
	least, most := math.Inf(1), 0.0
	for i := range r.rows {
		level := 0.0
		for p, q := range r.terms {
			level += falloff[p] * q[i]
		}
		least, most = math.Min(least, level), math.Max(most, level)
	}
	least = math.Max(least, 0)
	return (most - least) / (most + least)
}

// line is a frequency, in periods a row, and the sum of squares that a sine of
// it explains beside the falloff.
type line struct{ f, power float64 }

// spectrum is the periodogram of the rows with a floating falloff, and its
// floor, the variance of a row's noise, from the median over all lines.
func (r record) spectrum() (lines []line, floor float64) {
	n := len(r.rows)
	length := 1
	for length < 8*n {
		length *= 2
	}
	fft := fourier.NewFFT(length)
	transform := func(v []float64) []complex128 {
		padded := make([]float64, length)
		copy(padded, v)
		return fft.Coefficients(nil, padded)
	}
	rest := slices.Clone(r.rows)
	remove(rest, r.terms[:])
	remove(rest, r.terms[:])
	data := transform(rest)
	var terms [falloff][]complex128
	for p, q := range r.terms {
		terms[p] = transform(q)
	}
	var powers []float64
	for k := 1; 2*k < length; k++ {
		// Counted from the middle row, cosines are even and sines are odd: they have
		// nothing in common. cc and ss is what the falloff does not explain of them.
		f := float64(k) / float64(length)
		turn := cmplx.Rect(1, math.Pi*f*float64(n-1))
		own := math.Sin(2*math.Pi*f*float64(n)) / math.Sin(2*math.Pi*f)
		cc, ss := (float64(n)+own)/2, (float64(n)-own)/2
		for _, t := range terms {
			v := t[k] * turn
			cc, ss = cc-real(v)*real(v), ss-imag(v)*imag(v)
		}
		if cc*ss < 1e-4*float64(n)*float64(n) {
			continue // nearly part of the falloff, or alternating rows
		}
		v := data[k] * turn
		power := real(v)*real(v)/cc + imag(v)*imag(v)/ss
		lines = append(lines, line{f, power})
		powers = append(powers, power)
	}
	slices.Sort(powers)
	return lines, powers[len(powers)/2] / (2 * math.Ln2)
}

// fundamental is the frequency whose harmonics explain most of the rows, out
// of the strong lines of their spectrum, and the power of the strongest. In
// bands from pulses no harmonic is stronger than the fundamental, but some are
// nearly as strong.
func (r record) fundamental(lines []line, least float64) (f, power float64) {
	var peaks []line
	for i, l := range lines {
		if (i == 0 || l.power >= lines[i-1].power) && (i == len(lines)-1 || l.power > lines[i+1].power) {
			peaks = append(peaks, l)
		}
	}
	if len(peaks) == 0 {
		return 0, 0 // the rows are the falloff
	}
	slices.SortFunc(peaks, func(a, b line) int { return cmp.Compare(b.power, a.power) })
	power = peaks[0].power
	var starts []float64
	for _, p := range peaks[:min(len(peaks), 6)] {
		if p.power < power/4 {
			break
		}
		starts = append(starts, p.f)
	}
	// Of a few bands, the falloff has taken what it can.
	if n := float64(len(r.rows)); starts[0]*n < 4*minBands {
		for few := 1.5; few < minBands; few += 0.25 {
			starts = append(starts, few/n)
		}
	}
	best := math.Inf(1)
	for _, start := range starts {
		// Ahead of a stronger line only by more than noise.
		if m, left, ok := r.solve(start, min(6, r.distinct(start)), true); ok && left.squares < best-least {
			f, best = m.f, left.squares
		}
	}
	return f, power
}

// distinct is the number of harmonics of f that rows tell from each other, from
// falloff and from alternating rows; 1 at least.
func (r record) distinct(f float64) int {
	n := float64(len(r.rows))
	var seen []float64
	for h := 1; h <= harmonics; h++ {
		a := math.Abs(float64(h)*f - math.Round(float64(h)*f))
		if h > 1 && (a*n < falloff/2. || (0.5-a)*n < apart) {
			return h - 1
		}
		for _, s := range seen {
			if math.Abs(a-s)*n < apart {
				return h - 1
			}
		}
		seen = append(seen, a)
	}
	return harmonics
}

// model is what MeasureBands fits: falloff · (1 + wave).
type model struct {
	f       float64
	falloff [falloff]float64
	wave    []float64 // cos, sin, cos, sin, … of 1, 2, … times f
}

// fitted is a step of the least squares: of the falloff, the wave and, if
// wanted, the frequency.
type fitted struct {
	step    *mat.VecDense
	chol    mat.Cholesky
	squares float64 // what the model leaves, before the step
	settled bool    // no further step would change it
}

// noise is the standard deviation of a row about the model.
func (f fitted) noise(rows int) float64 {
	return math.Sqrt(f.squares / float64(rows-f.step.Len()))
}

// covariance is that of the step, if rows vary about the model by 1.
func (f fitted) covariance() (*mat.SymDense, bool) {
	var c mat.SymDense
	err := f.chol.InverseTo(&c)
	return &c, err == nil
}

// fit solves for the changes of the model, linearised, that meet the rows best.
func (r record) fit(m model, frequency bool) (out fitted, ok bool) {
	n := len(r.rows)
	size := falloff + len(m.wave)
	if frequency {
		size++
	}
	slopes, rest := r.slopes[:size*n], r.rest
	middle := float64(n-1) / 2
	for i, y := range r.rows {
		x := float64(i) - middle // from the middle, phase and frequency are independent
		level := 0.0
		for p, q := range r.terms {
			level += m.falloff[p] * q[i]
		}
		wave, byFrequency := 1.0, 0.0
		turn := cmplx.Rect(1, 2*math.Pi*(m.f*x-math.Round(m.f*x)))
		harmonic := complex(1, 0)
		for j := 0; j < len(m.wave); j += 2 {
			harmonic *= turn
			cos, sin := real(harmonic), imag(harmonic)
			wave += m.wave[j]*cos + m.wave[j+1]*sin
			byFrequency += math.Pi * float64(j+2) * x * (m.wave[j+1]*cos - m.wave[j]*sin)
			slopes[(falloff+j)*n+i], slopes[(falloff+j+1)*n+i] = level*cos, level*sin
		}
		for p, q := range r.terms {
			slopes[p*n+i] = wave * q[i]
		}
		if frequency {
			slopes[(size-1)*n+i] = level * byFrequency
		}
		rest[i] = y - level*wave
	}
	out.squares = floats.Dot(rest, rest)
	columns := mat.NewDense(size, n, slopes)
	var normal mat.SymDense
	normal.SymOuterK(1, columns)
	var right mat.VecDense
	right.MulVec(columns, mat.NewVecDense(n, rest))
	out.step = mat.NewVecDense(size, nil)
	if !out.chol.Factorize(&normal) {
		return fitted{}, false
	}
	return out, out.chol.SolveVecTo(out.step, &right) == nil
}

// solve fits so many harmonics of a frequency near f, or of f itself; ok is
// false where there is no such fit.
func (r record) solve(f float64, count int, near bool) (m model, last fitted, ok bool) {
	m = model{f: f, wave: make([]float64, 2)}
	m.falloff[0] = r.mean / r.terms[0][0]
	if !near {
		m.wave = make([]float64, 2*count)
	}
	for i := range 24 {
		if near && i == 4 { // the fundamental leads the others
			m.wave = append(m.wave, make([]float64, 2*count-2)...)
		}
		frequency := near && i > 0 && i != 4 // not of a wave that is 0
		if last, ok = r.fit(m, frequency); !ok {
			return m, last, false
		}
		largest := 0.0
		for p := range m.falloff {
			m.falloff[p] += last.step.AtVec(p)
		}
		for j := range m.wave {
			m.wave[j] += last.step.AtVec(falloff + j)
			largest = math.Max(largest, math.Abs(last.step.AtVec(falloff+j)))
		}
		if frequency {
			m.f += last.step.AtVec(last.step.Len() - 1)
		}
		if !(math.Abs(m.f-f)*float64(len(r.rows)) < 0.5) {
			return m, last, false
		}
		if largest < 1e-9 && (i > 5 || !near) {
			last.settled = true
			break
		}
	}
	return m, last, true
}

// bands fits the harmonics of f and gives what they say. floor is the variance of
// a row's noise.
func (r record) bands(f, floor float64) (Measurement, error) {
	fail := newChecker().Refuse("rows", quantity.Number(1/f, "rows from band to band"), unclear)
	most := min(r.distinct(f), len(r.rows)/8)
	m, last, ok := r.solve(f, most, false)
	if !ok {
		return Measurement{}, fail
	}
	for j := 2; j < len(m.wave) && most < fewHarmonics; j += 2 {
		if math.Hypot(m.wave[j], m.wave[j+1]) > 0.85*math.Hypot(m.wave[0], m.wave[1]) {
			return Measurement{}, newChecker().Refuse("rows", quantity.Number(1/f, "rows from band to band"), "must be farther from a ratio of small whole numbers: rows meet too few phases to tell bands from their harmonics; use another readout or refresh rate")
		}
	}
	count, told, envelope := r.choose(m, last)
	tail := envelope / (float64(count) + 0.5)
	// Harmonics that are only noise would seem to know the frequency.
	for m, last, ok = r.solve(f, told, true); !(ok && last.settled) && told > 1; m, last, ok = r.solve(f, told, true) {
		told /= 2
	}
	if !ok || !last.settled {
		return Measurement{}, fail
	}
	covariance, ok := last.covariance()
	if !ok {
		return Measurement{}, fail
	}
	end := last.step.Len() - 1
	turn := last.noise(len(r.rows)) * math.Sqrt(covariance.At(end, end))
	// A harmonic that is not fitted and falls beside a line pulls it.
	pulled := 0.3 / float64(len(r.rows)) * 2 * envelope / float64((most+1)*(most+1)) / math.Hypot(m.wave[0], m.wave[1])
	if m, last, ok = r.solve(m.f, count, false); !ok || !last.settled {
		return Measurement{}, fail
	}
	if covariance, ok = last.covariance(); !ok {
		return Measurement{}, fail
	}
	sigma := last.noise(len(r.rows))
	// Harmonics that are hardly more than noise would only make the wave deeper.
	for j := 0; j < len(m.wave); j += 2 {
		power := m.wave[j]*m.wave[j] + m.wave[j+1]*m.wave[j+1]
		noise := 1.5 * sigma * sigma * (covariance.At(falloff+j, falloff+j) + covariance.At(falloff+j+1, falloff+j+1))
		keep := 0.0
		if power > noise {
			keep = 1 - noise/power
		}
		m.wave[j], m.wave[j+1] = keep*m.wave[j], keep*m.wave[j+1]
	}
	// The wave over one spacing, and the largest deviation of its noise.
	dark, bright, deviation := math.Inf(1), math.Inf(-1), 0.0
	at := make([]float64, last.step.Len())
	steps := 64 * count
	for i := range steps {
		wave := 0.0
		for j := 0; j < len(m.wave); j += 2 {
			sin, cos := math.Sincos(2 * math.Pi * float64((j/2+1)*i) / float64(steps))
			at[falloff+j], at[falloff+j+1] = cos, sin
			wave += m.wave[j]*cos + m.wave[j+1]*sin
		}
		dark, bright = math.Min(dark, wave), math.Max(bright, wave)
		if i%8 == 0 {
			v := mat.NewVecDense(len(at), at)
			deviation = math.Max(deviation, sigma*math.Sqrt(mat.Inner(v, covariance, v)))
		}
	}
	within := upcrossings(count)*deviation + tail
	sum := 2 + bright + dark
	if !(sum > 0) {
		return Measurement{}, fail
	}
	if bands := m.f * float64(len(r.rows)); bands < 2*minBands && r.leftover(m, (bright-dark)/2, sigma*sigma, floor) {
		return Measurement{}, newChecker().Refuse("rows", quantity.Number(bands, "weak bands"), "must hold at least %d bands: these may be what falloff leaves of fewer; "+fewRemedy, minBands)
	}
	return Measurement{
		Depth:        min((bright-dark)/sum, 1),
		DepthError:   min(2*within/sum+uneven, 1),
		Spacing:      1 / m.f,
		SpacingError: (1.96*turn + pulled) / (m.f * m.f),
	}, nil
}

// leftover reports whether bands of an amplitude may be what the falloff leaves of
// fewer: they are weak beside it, or the rows vary about them by more than noise
// and a fifth of the amplitude.
func (r record) leftover(m model, amplitude, variance, floor float64) bool {
	beyond := variance - floor
	return amplitude < 0.05*r.contrast(m.falloff) || beyond > 0.3*floor && beyond > math.Pow(0.2*amplitude*r.mean, 2)
}

// upcrossings is how many standard deviations the noise of a wave of so many
// harmonics leaves in one frame of 20, anywhere and either way: it crosses a
// level z upwards count/√3 exp(−z²/2) times a period (Rice's formula for an
// even spectrum).
func upcrossings(count int) float64 {
	return math.Sqrt(2 * math.Log(2*20*float64(count)/math.Sqrt(3)))
}

// choose gives the number of harmonics for which the error of the wave is
// least, and the part of that error that harmonics beyond them make.
//
// Those of a pulse and an exposure fall with the square of their number, times
// two sines that average (2/π)². What is below the noise, or beyond the fit, is
// taken to go on like that. A few harmonics may all be weak by chance: those beyond
// them are then taken to be as strong as they can be.
func (r record) choose(m model, last fitted) (count, told int, envelope float64) {
	n := float64(len(r.rows))
	most := len(m.wave) / 2
	sigma := last.noise(len(r.rows)) / r.mean
	seen := 4 * sigma * math.Sqrt(2/n)
	all, upper := 0.0, 0.0
	for h := 1; h <= most; h++ {
		a := math.Hypot(m.wave[2*h-2], m.wave[2*h-1])
		if h == 1 || a > seen {
			all = math.Max(all, float64(h*h)*a)
			told = h
		}
		if h > most-max(fewHarmonics, most/2) {
			upper = math.Max(upper, float64(h*h)*math.Max(a, seen))
		}
	}
	envelope = math.Min(all, upper)
	switch {
	case most >= fewHarmonics:
		envelope /= 2
	case most == 1:
		envelope *= 1.5 // all others together may be as strong as the one
	}
	best := math.Inf(1)
	for h := 1; h <= most; h++ {
		if e := upcrossings(h)*sigma*math.Sqrt(float64(2*h+1)/n) + envelope/(float64(h)+0.5); e < best {
			count, best = h, e
		}
	}
	return count, told, envelope
}
