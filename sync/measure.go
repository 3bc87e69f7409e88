package sync

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// Bands is what MeasureBands finds in a frame.
type Bands struct {
	Depth   float64 // (max − min)/(max + min) of the rows
	Spacing float64 // rows from one band to the next; 0 where none repeat
}

// fewestBands is the fewest in a frame whose spacing is told.
const fewestBands = 1.4

// minRows is the fewest rows in which bands can be told from chance.
const minRows = 32

// MeasureBands estimates the bands in a recorded frame from the mean of each
// row, top to bottom, in linear light.
//
// The rows should hold nothing but the bands: divide them by the rows of the
// same scene under a steady light, or film an even grey, and average over
// many columns, since noise adds to Depth. Depth is Banding.Depth where the
// rows hold a whole band and no row time averages it away.
//
// Spacing is the period of the sum of a constant and up to three harmonics
// that fits best, down to two rows. With bands as Banding gives them and no
// noise it is right within 6 % where the frame holds 1.5 bands, 2 % where two,
// 0.6 % where three or more. It is 0 where that sum explains little of what
// the rows vary (there are no bands, or flashes too short for the rows to
// meet), and where fewer than 1.4 bands are found, too few to tell.
//
// rows must be finite, not negative and not all 0; 32 at least.
//
// Method: least squares, begun at the lowest strong peak of the periodogram.
func MeasureBands(rows []float64) (Bands, error) {
	if len(rows) < minRows {
		return Bands{}, fault("rows", strconv.Itoa(len(rows)), "must be %d at least", minRows)
	}
	percent, err := PercentFlicker(rows)
	if err != nil {
		return Bands{}, err
	}
	peak, _ := waveform(rows)
	return Bands{Depth: percent / 100, Spacing: spacing(rows, peak)}, nil
}

func spacing(rows []float64, peak float64) float64 {
	n := float64(len(rows))
	mean := 0.0
	for _, v := range rows {
		mean += v / peak / n
	}
	// Four times the rows, so that no peak falls between two bins.
	length := 1
	for length < 4*len(rows) {
		length *= 2
	}
	padded := make([]float64, length)
	power := 0.0
	for i, v := range rows {
		padded[i] = v/peak - mean
		power += padded[i] * padded[i]
	}
	if power < n*1e-20 {
		return 0 // rounding, no bands
	}
	f, ok := lowestStrongPeak(padded, n)
	if !ok {
		return 0
	}
	centred := padded[:len(rows)]
	f, explained := refine(centred, max(f-0.5/n, 0.5/n), min(f+0.5/n, 0.5))
	// By chance the best of all fits to n rows explains about 20/n.
	if explained < power*(0.1+20/n) || f*n < fewestBands {
		return 0
	}
	return 1 / f
}

// lowestStrongPeak is the lowest frequency, in periods a row, at which the
// periodogram has a peak of at least half its highest. In bands from pulses no
// harmonic is stronger than the fundamental, but some are nearly as strong.
func lowestStrongPeak(padded []float64, n float64) (f float64, ok bool) {
	coefficients := fourier.NewFFT(len(padded)).Coefficients(nil, padded)
	p := make([]float64, len(coefficients))
	highest := 0.0
	for k, c := range coefficients {
		p[k] = real(c)*real(c) + imag(c)*imag(c)
		if float64(k)*n >= 0.5*float64(len(padded)) {
			highest = math.Max(highest, p[k])
		}
	}
	for k := 1; k < len(p); k++ {
		last := k == len(p)-1
		if float64(k)*n >= 0.5*float64(len(padded)) && p[k] >= highest/2 && p[k] >= p[k-1] && (last || p[k] >= p[k+1]) {
			return float64(k) / float64(len(padded)), true
		}
	}
	return 0, false
}

// refine finds the frequency between lo and hi whose harmonics explain most of
// v, and how much that is, by golden section.
func refine(v []float64, lo, hi float64) (f, explained float64) {
	const golden = 0.6180339887498949 // (√5 − 1)/2
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := harmonics(v, a), harmonics(v, b)
	for range 40 { // to 5e-9 of the range
		if fa >= fb {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = harmonics(v, a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = harmonics(v, b)
		}
	}
	if fa >= fb {
		return a, fa
	}
	return b, fb
}

// harmonics is the part of Σv² that a constant and up to three harmonics of
// the frequency f explain.
func harmonics(v []float64, f float64) float64 {
	count := max(1, int(math.Min(3, math.Floor(0.499/f)))) // those that rows can tell: under half a period a row
	size := 1 + 2*count
	var basis, right [7]float64
	var normal [7 * 7]float64
	basis[0] = 1
	for i, y := range v {
		for h := 1; h <= count; h++ {
			basis[2*h-1], basis[2*h] = math.Sincos(2 * math.Pi * f * float64(h) * float64(i))
		}
		for j, bj := range basis[:size] {
			right[j] += bj * y
			for k := j; k < size; k++ {
				normal[j*size+k] += bj * basis[k]
			}
		}
	}
	b := mat.NewVecDense(size, right[:size])
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(mat.NewSymDense(size, normal[:size*size])) || chol.SolveVecTo(&x, b) != nil {
		return 0
	}
	return mat.Dot(&x, b)
}
