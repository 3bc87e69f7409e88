package wall

import (
	"cmp"
	"math"
	"slices"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

// ImagePitch is the wall's pixel pitch in the image of a thin lens, in
// photosites, seen straight on:
//
//	image = pitch f / ((distance − f) photosite)
//
// The distance is along the lens's axis, from its front principal plane, and the
// lens is focused there. It is more than the focal length f; all are more than 0.
// Elsewhere in the image, and on a slanting wall, use View.ImageGrid.
//
// Source: the thin-lens equation.
func ImagePitch(pitch, distance, focalLength, photosite unit.Length) (photosites float64, err error) {
	c := valid.New("wall", ErrInvalid)
	checkOptics(c, pitch, focalLength, photosite)
	least := unit.Length(0)
	if focalLengths.Contains(float64(focalLength)) {
		least = focalLength
	}
	c.Length("distance", distance, valid.Above(least, 1e6))
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(pitch) * float64(focalLength) / (float64(distance-focalLength) * float64(photosite)), nil
}

// NyquistDistance is the distance, along the axis of a thin lens focused there,
// up to which the photosites resolve the wall's pixel grid, seen straight on and
// upright. There one pixel fills as many photosites as Sampling.NyquistPitch
// says, so
//
//	distance = f + pitch f / (NyquistPitch photosite)
//
// From farther away the grid aliases. photosite is the pitch of all photosites
// together, whatever the sampling. Lengths are more than 0.
//
// Source: the thin-lens equation and the sampling theorem.
func NyquistDistance(pitch, focalLength, photosite unit.Length, sampling Sampling) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	checkOptics(c, pitch, focalLength, photosite)
	sampling.check(c)
	if !c.OK() {
		return 0, c.Err()
	}
	image := unit.Length(sampling.NyquistPitch())
	return focalLength + pitch*focalLength/(image*photosite), nil
}

// AliasFrequency is the frequency, from 0 to half the sampling frequency, as
// which a frequency appears when it is sampled; both in the same unit:
//
//	alias = |f − fs round(f/fs)|
//
// The frequency is at least 0, the sampling frequency more than 0.
//
// Source: the sampling theorem.
func AliasFrequency(frequency, sampling float64) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("frequency", frequency, "", valid.Closed[float64](0, 1e15))
	c.Number("sampling frequency", sampling, "", valid.Above[float64](0, 1e15))
	if !c.OK() {
		return 0, c.Err()
	}
	return alias(frequency, sampling), nil
}

// alias folds f, exactly, into 0 … fs/2.
func alias(f, fs float64) float64 { return math.Abs(math.Remainder(f, fs)) }

// BeatPeriod is the period of the beat between two line gratings, of periods p
// and q in one unit, with an angle between their lines, in the same unit:
//
//	beat = p q / √((p − q)² + 4 p q sin²(angle/2))
//
// Parallel gratings of one period do not beat: the period is +Inf. Periods are
// more than 0, the angle is within ±90°.
//
// Source: I. Amidror, The Theory of the Moiré Phenomenon, chapter 2, where the
// root is written √(p² + q² − 2 p q cos(angle)).
func BeatPeriod(p, q float64, angle unit.Angle) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	period := valid.Closed[float64](1e-12, 1e12)
	c.Number("first period", p, "", period)
	c.Number("second period", q, "", period)
	c.Angle("angle", angle, valid.Closed[unit.Angle](-math.Pi/2, math.Pi/2))
	if !c.OK() {
		return 0, c.Err()
	}
	return p * q / math.Hypot(p-q, 2*math.Sqrt(p*q)*math.Sin(float64(angle)/2)), nil
}

// Sampling says which photosites record a channel. In a mosaic of colour filters
// of two by two photosites, two of them are green, on a diagonal, and red and
// blue have one each.
type Sampling int

const (
	EveryPhotosite Sampling = iota // no mosaic, or the sum of its channels
	Green                          // every second photosite, as on a chequerboard
	RedOrBlue                      // every second photosite of every second row
)

// NyquistPitch is the least pitch in photosites, along the rows or columns, of a
// grid whose lines are parallel to the photosites' and which the sampling
// resolves: 2, and 4 for RedOrBlue. For an unknown sampling it is 0. A grid that
// leans on the photosites has other limits, which PredictMoire finds.
//
// Source: the sampling theorem.
func (s Sampling) NyquistPitch() (photosites float64) {
	switch s {
	case EveryPhotosite, Green:
		return 2
	case RedOrBlue:
		return 4
	}
	return 0
}

// steps are the two shortest steps from a photosite of the channel to others.
// For every Sampling they are square to each other and of one length.
func (s Sampling) steps() (a, b r2.Vec) {
	switch s {
	case Green:
		return r2.Vec{X: 1, Y: 1}, r2.Vec{X: 1, Y: -1}
	case RedOrBlue:
		return r2.Vec{X: 2}, r2.Vec{Y: 2}
	}
	return r2.Vec{X: 1}, r2.Vec{Y: 1}
}

func (s Sampling) check(c *valid.Checker) { c.Int("sampling", int(s), "", 0, int(RedOrBlue)) }

// Ripple is a periodic change of brightness along a line of photosites.
type Ripple struct {
	Frequency float64 // cycles per photosite, 0 to 0.5
	Contrast  float64 // amplitude of the sinusoid over the mean
}

// MoireSpec says how a camera samples a wall's pixel grid around one point of
// its picture.
type MoireSpec struct {
	Grid Grid // the picture of the wall's pixel grid, as View.ImageGrid gives it

	// EmittingX and EmittingY are the lit width and the lit height of a wall
	// pixel over the pitch along the same axis, more than 0 and up to 1. Their
	// product is the share of the wall's area that emits.
	EmittingX, EmittingY float64

	Aperture float64  // sensitive side of a photosite over the photosites' pitch, 0 (a point) to 1
	Sampling Sampling // the photosites that record the channel
	Order    int      // harmonics up to this number along each axis are looked at, 1 to 64

	// Transfer is what the lens and a filter in front of the sensor make of the
	// contrast (their OTF) at a frequency in cycles per photosite, which may be
	// above half: from −1 to 1, negative where they reverse it, as defocus can.
	// Nil leaves all.
	Transfer func(cyclesPerPhotosite float64) float64
}

// MoireKind says what a ripple looks like in a recording.
type MoireKind string

const (
	// Resolved ripples are recorded at their own frequency: the picture shows
	// the pixels themselves.
	Resolved MoireKind = "resolved"
	// Beat ripples are recorded so close to half a cycle per sample that
	// neighbouring samples alternate and the alternation swells and fades over
	// eight samples or more. The eye sees that swelling. The grid's own
	// frequency may lie on either side of the limit.
	Beat MoireKind = "beat"
	// Aliased ripples are recorded at another, lower frequency than their own.
	Aliased MoireKind = "aliased"
)

// beatSamples is the length of a Beat's envelope from which on it counts as one:
// a choice.
const beatSamples = 8

// Moire is the ripple that one harmonic of a wall's pixel grid leaves in a
// recording. Frequencies are in cycles per photosite, x to the right and y down:
// the ripple changes along that vector, and its lines run square to it.
type Moire struct {
	Harmonic [2]int    // cycles per wall pixel along a row and along a column of the wall
	Kind     MoireKind // what it looks like
	Contrast float64   // amplitude of the sinusoid over the mean, up to 2

	Frequency r2.Vec // as it is recorded
	Pattern   r2.Vec // as it is seen: Frequency, or of a Beat the frequency of its envelope
}

// Period is the length of one cycle of what is seen, in photosites:
//
//	period = 1/|Pattern|
//
// ok is false where that is more than 1e9 photosites. Then the ripple changes
// the whole field alike: it looks flat, or of a Beat like an even alternation.
func (m Moire) Period() (photosites float64, ok bool) {
	f := r2.Norm(m.Pattern)
	if !(f >= 1e-9 && f <= math.MaxFloat64) {
		return 0, false
	}
	return 1 / f, true
}

// PredictMoire gives the ripples that the harmonics of a wall's pixel grid leave
// in a recording, the one of most contrast first. From the grid's steps a and b
// in the picture come its two reciprocal vectors u and v, which have u·a = v·b =
// 1 and u·b = v·a = 0. Harmonic (m, n) then has, before it is sampled, the
// frequency
//
//	ν = m u + n v
//
// The photosites record it at the nearest of the frequencies that look the same
// to them: ν less the nearest point of the lattice reciprocal to theirs. For
// EveryPhotosite this takes the nearest whole number from νx and from νy. Of lit
// rectangles, a square photosite and the optics
//
//	contrast = 2 |sinc(m EmittingX) sinc(n EmittingY) sinc(νx Aperture) sinc(νy Aperture) Transfer(|ν|)|
//
// is left, with sinc(x) = sin(πx)/(πx). Contrast is amplitude over mean, so it
// may be more than 1: lit points on black have harmonics of contrast 2.
//
// Harmonics (m, n) and (−m, −n) are one ripple, listed with m ≥ 0. Those of no
// contrast are listed too. Contrast is that of scene-linear values before a
// colour filter array is interpolated. Two limits: where several harmonics are
// recorded at one frequency, as at whole image pitches, they add up by their
// phases; and where a frequency is 0, or the envelope of a Beat, nearer than a
// cycle over the length of the record, the amplitude depends on phase.
//
// The steps of the grid are between 1e-3 and 1e6 photosites long and stand at an
// angle of 1e-3 rad or more. Frequencies err by a few roundings of ν, divided by
// the sine of that angle.
//
// Source: the sampling theorem in two dimensions (D. P. Petersen, D. Middleton,
// Information and Control 5, 1962), the Fourier series of a rectangular wave,
// and the transfer function of a rectangular aperture (G. D. Boreman, Modulation
// Transfer Function in Optical and Electro-Optical Systems).
func PredictMoire(spec MoireSpec) ([]Moire, error) {
	c := valid.New("wall", ErrInvalid)
	u, v := spec.Grid.reciprocal(c)
	emitting := valid.Above[float64](0, 1)
	c.Number("emitting share along x", spec.EmittingX, "", emitting)
	c.Number("emitting share along y", spec.EmittingY, "", emitting)
	c.Number("aperture share", spec.Aperture, "", valid.Closed[float64](0, 1))
	spec.Sampling.check(c)
	c.Int("order", spec.Order, "", 1, 64)
	if !c.OK() {
		return nil, c.Err()
	}
	ripples := make([]Moire, 0, 2*spec.Order*(spec.Order+1))
	for m := range spec.Order + 1 {
		for n := -spec.Order; n <= spec.Order; n++ {
			if m == 0 && n <= 0 {
				continue
			}
			across, down := float64(m), float64(n)
			nu := r2.Add(r2.Scale(across, u), r2.Scale(down, v))
			contrast := 2 * math.Abs(sinc(across*spec.EmittingX)*sinc(down*spec.EmittingY)*
				sinc(nu.X*spec.Aperture)*sinc(nu.Y*spec.Aperture))
			if spec.Transfer != nil {
				left := spec.Transfer(r2.Norm(nu))
				c.Number("transfer", left, "", valid.Closed[float64](-1, 1))
				if !c.OK() {
					return nil, c.Err()
				}
				contrast *= math.Abs(left)
			}
			r := Moire{Harmonic: [2]int{m, n}, Contrast: contrast}
			r.Frequency, r.Pattern, r.Kind = spec.Sampling.record(nu)
			ripples = append(ripples, r)
		}
	}
	slices.SortStableFunc(ripples, func(a, b Moire) int { return cmp.Compare(b.Contrast, a.Contrast) })
	return ripples, nil
}

// record is the frequency at which the samples record a frequency, and the
// frequency and kind of what an eye sees of it.
//
// Counted in cycles per step a and b of the samples, all frequencies that differ
// by whole numbers look the same.
func (s Sampling) record(nu r2.Vec) (frequency, pattern r2.Vec, kind MoireKind) {
	a, b := s.steps()
	cycles := func(p, q float64) r2.Vec {
		return r2.Scale(1/r2.Norm2(a), r2.Add(r2.Scale(p, a), r2.Scale(q, b)))
	}
	p, q := r2.Dot(nu, a), r2.Dot(nu, b)
	foldedP, foldedQ := math.Remainder(p, 1), math.Remainder(q, 1)
	frequency, kind = cycles(foldedP, foldedQ), Resolved
	if foldedP != p || foldedQ != q {
		kind = Aliased
	}
	// Near (½, 0), (0, ½) and (½, ½) samples alternate, and what is more than
	// that frequency swells twice a cycle.
	swellP, swellQ := math.Remainder(2*foldedP, 1), math.Remainder(2*foldedQ, 1)
	alternates := math.Abs(foldedP) > 0.25 || math.Abs(foldedQ) > 0.25
	if alternates && math.Hypot(swellP, swellQ) <= 1.0/beatSamples {
		return frequency, cycles(swellP, swellQ), Beat
	}
	return frequency, frequency, kind
}

// SquareWaveContrast is the contrast that optics leave of a black and white
// square wave of a frequency, from their MTF, which leaves nothing above cutoff:
//
//	contrast = 4/π Σ (−1)^k MTF((2k+1) frequency)/(2k+1),  (2k+1) frequency ≤ cutoff
//
// A pixel grid whose lit width is half its pitch is such a wave. frequency and
// cutoff are in the same unit, more than 0, and cutoff is at most a million times
// the frequency. The MTF is from −1 to 1, negative where the optics reverse
// contrast, as defocus can; so the result, which is that in the middle of the
// bars, is negative where they show white for black. It may be more than 1.
//
// Source: J. W. Coltman, The Specification of Imaging Properties by Response to
// a Sine Wave Input, Journal of the Optical Society of America 44, 1954.
func SquareWaveContrast(frequency, cutoff float64, mtf func(frequency float64) float64) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("frequency", frequency, "", valid.Above[float64](0, 1e15))
	most := 1e21
	if c.OK() {
		most = 1e6 * frequency
	}
	c.Number("cutoff", cutoff, "", valid.Above(0, most))
	if mtf == nil {
		c.Fault("mtf", "nil", "must be a function")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	var sum float64
	for n := 1.0; n*frequency <= cutoff && c.OK(); n += 2 {
		left := mtf(n * frequency)
		c.Number("mtf", left, "", valid.Closed[float64](-1, 1))
		if math.Mod(n, 4) == 3 {
			left = -left
		}
		sum += left / n
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return 4 / math.Pi * sum, nil
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

var focalLengths = valid.Above[unit.Length](0, 1e2)

func checkOptics(c *valid.Checker, pitch, focalLength, photosite unit.Length) {
	c.Length("pitch", pitch, valid.Above[unit.Length](0, 1e3))
	c.Length("focal length", focalLength, focalLengths)
	c.Length("photosite", photosite, valid.Closed[unit.Length](1e-9, 1))
}
