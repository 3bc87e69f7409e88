package banding

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"example.com/platewright/sync/internal/whole"
	"gonum.org/v1/gonum/dsp/fourier"
)

// Band is one system of bands in a frame: light and dark rows at an even spacing.
type Band struct {
	Spacing float64 // rows from one band to the next
	Count   float64 // bands in a frame, rows/Spacing

	// Drift is the speed of the bands in rows per second, positive towards higher
	// rows. It is exactly 0 if the rate of the light is a whole multiple of the
	// camera rate. Bands that move by about half their spacing from frame to frame may
	// be seen to go either way.
	Drift float64

	// Amplitude is that of the sine with this spacing, over the mean light. Harmonics
	// whose spacing the frame cannot tell from this one are added, so that it is the
	// largest that a phase can give.
	Amplitude float64
}

const (
	mostBands = 8
	faint     = 0.05 // the amplitude, over that of the strongest, that is left out
	fewest    = 1e-6 // the fraction of a band in the frame that counts as none: rounding
)

// Bands lists the systems of bands that cross a frame of one of the greys, strongest
// first: up to 8, of at least a twentieth of the amplitude of the strongest. There are
// none at a clean shutter, and none if the frame holds less than a millionth of a
// band, as under a global shutter without scan groups. ok is false if there is no such
// grey.
//
//	1/Spacing = |a|,  a = h · row time · rate + q s/m, less the nearest whole number
//	Drift = −c · camera rate / a
//
// h = 1, 2, … is a harmonic of the light, and q a harmonic of the pattern of the m
// groups on the wall. s is View.WallRowsPerCameraRow. c is h times the periods in a
// frame, less the nearest whole number. The row time counts negative if the camera
// reads upwards. Without groups, q is 0. With groups that are lit row by row, h = 1 and
// q = −1 are the strongest; with other orders several systems may be about as strong.
// Harmonics up to 16 times Refreshes count, and 4096 at most.
func (p Prediction) Bands(grey int) (bands []Band, ok bool) {
	if grey < 0 || grey >= len(p.greys) {
		return nil, false
	}
	if p.part == 0 {
		return nil, true
	}
	candidates := p.lines(grey)
	strongest := 0.0
	var found []harmonicLine
	for i, c := range candidates {
		if i >= 4*mostBands {
			break
		}
		if len(p.delay) > 1 {
			c.power = p.seen(c)
		}
		c.power += c.others
		strongest = math.Max(strongest, c.power)
		found = append(found, c)
	}
	slices.SortStableFunc(found, func(a, b harmonicLine) int { return cmp.Compare(b.power, a.power) })
	for _, c := range found {
		if c.power < faint*strongest || len(bands) == mostBands {
			break
		}
		move := float64(c.harmonic) * p.advance
		move -= math.Round(move)
		if move == -0.5 {
			move = 0.5
		}
		bands = append(bands, Band{
			Spacing:   1 / math.Abs(c.f),
			Count:     float64(p.rows) * math.Abs(c.f),
			Drift:     0 - move*p.camera/c.f,
			Amplitude: c.power,
		})
	}
	return bands, true
}

// harmonicLine is one harmonic of the light and of the groups, as it shows in the rows.
type harmonicLine struct {
	f        float64 // periods a row, −½ to ½
	harmonic int     // h of the light
	step     float64 // periods from row to row that come of the groups: q s/m
	strength float64 // of harmonic h in an exposure, over the mean light
	power    float64 // of the line
	others   float64 // of other harmonics of the light at the same place
}

const mostHarmonics = 4096

// lines are the lines that may be strong, by what they are expected to have, strongest
// first.
func (p Prediction) lines(grey int) []harmonicLine {
	l := p.greys[grey]
	harmonics := min(16*p.refreshes, mostHarmonics)
	strengths := make([]float64, harmonics+1)
	strongest := 0.0
	for h := 1; h <= harmonics; h++ {
		strengths[h] = 2 * cmplx.Abs(l.harmonic(h)) / l.mean * sinc(p.exposure(), float64(h)*p.part, h)
		strongest = math.Max(strongest, strengths[h])
	}
	m := len(p.delay)
	transfer := make([]float64, 4*m+1) // of q = −2m … 2m
	for i := range transfer {
		nu := float64(i-2*m) / float64(m)
		transfer[i] = wallTransfer(nu, p.spec.View.Blur, p.kernel)
	}
	fft := fourier.NewCmplxFFT(m)
	turns := make([]complex128, m)
	perRow := p.perRow // from row to row of the frame, not of the readout
	if p.bottomUp() {
		perRow = -perRow
	}
	var all []harmonicLine
	for h := 1; h <= harmonics; h++ {
		if strengths[h] < faint*faint*strongest {
			continue
		}
		for j, delay := range p.delay {
			turns[j] = cmplx.Rect(1/float64(m), -2*math.Pi*fraction(float64(h)*delay))
		}
		pattern := fft.Coefficients(nil, turns)
		for q := -2 * m; q <= 2*m; q++ {
			step := float64(q) * p.spec.View.WallRowsPerCameraRow / float64(m)
			f := float64(h)*perRow + step
			f -= math.Round(f)
			power := strengths[h] * cmplx.Abs(pattern[whole.Mod(q, m)]) * transfer[q+2*m]
			if math.Abs(f)*float64(p.rows) >= fewest*float64(h) && power > 0 {
				all = append(all, harmonicLine{f: f, harmonic: h, step: step, strength: strengths[h], power: power})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b harmonicLine) int { return cmp.Compare(b.power, a.power) })
	// Of lines that rows cannot tell apart, the strongest stands for all.
	var apart []harmonicLine
	for _, c := range all {
		near := func(o harmonicLine) bool { return math.Abs(math.Abs(o.f)-math.Abs(c.f))*float64(p.rows) < 1 }
		switch i := slices.IndexFunc(apart, near); {
		case i < 0 && len(apart) < 4*mostBands:
			apart = append(apart, c)
		case i >= 0 && apart[i].harmonic != c.harmonic:
			apart[i].others += c.power
		}
	}
	return apart
}

// seen is the amplitude of a line in the rows of the frame, through a Hann window.
func (p Prediction) seen(c harmonicLine) float64 {
	turns := make([]complex128, len(p.delay))
	for g, delay := range p.delay {
		turns[g] = cmplx.Rect(1, -2*math.Pi*fraction(float64(c.harmonic)*delay))
	}
	weights := make([]float64, len(p.delay))
	var found complex128
	total := 0.0
	for r := range p.rows {
		p.groups(r, weights)
		var sees complex128
		for g, w := range weights {
			sees += complex(w, 0) * turns[g]
		}
		sin := math.Sin(math.Pi * (float64(r) + 0.5) / float64(p.rows))
		found += sees * cmplx.Rect(sin*sin, -2*math.Pi*fraction(c.step*float64(r)))
		total += sin * sin
	}
	return c.strength * cmplx.Abs(found) / total
}

// harmonic is a Fourier coefficient of the light: its mean times exp(−2πi h x).
func (l light) harmonic(h int) complex128 {
	var sum complex128
	for i, at := range l.at {
		// Each step turns the light on from its time to the end of the period.
		sum += complex(l.level[i]-l.before(i), 0) * cmplx.Rect(1, -2*math.Pi*fraction(float64(h)*at))
	}
	return sum / complex(0, 2*math.Pi*float64(h))
}

// sinc is |sin(πhw)|/(πhw), for an exposure w whose fraction times h is part.
func sinc(w, part float64, h int) float64 {
	return math.Abs(math.Sin(math.Pi*(part-math.Round(part)))) / (math.Pi * float64(h) * w)
}

// wallTransfer is what a row of wall pixels and the kernel leave of a pattern of nu
// periods a wall row.
func wallTransfer(nu, blur float64, kernel []float64) float64 {
	through := func(x float64) float64 { // a box of x periods
		if x == 0 {
			return 1
		}
		return math.Abs(math.Sin(math.Pi*(x-math.Round(x)))) / (math.Pi * math.Abs(x))
	}
	bin := blur / float64(len(kernel))
	var sum complex128
	for i, w := range kernel {
		sum += cmplx.Rect(w, 2*math.Pi*nu*bin*float64(i))
	}
	return through(nu) * through(nu*bin) * cmplx.Abs(sum)
}
