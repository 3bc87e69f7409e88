package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ImagePitch is the wall's pixel pitch in the image of a thin lens, in
// photosites, seen straight on:
//
//	image = pitch f / ((distance − f) photosite)
//
// The distance is along the lens's axis, from its front principal plane, and the
// lens is focused there. It is more than the focal length f; all are more than 0.
// Elsewhere in the image, and on a slanting wall, use View.ImagePitch.
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

// ImagePitchFromDensity is the wall's pixel pitch in a camera's image, in
// photosites, where the camera has so many photosites per degree and the wall,
// seen from the camera's entrance pupil, so many pixels per degree (as
// View.Density gives), both along the same direction:
//
//	image = photosites per degree / pixels per degree
//
// Both are more than 0. View.ImagePitch asks the camera itself.
//
// Source: elementary arithmetic.
func ImagePitchFromDensity(photositesPerDegree, pixelsPerDegree float64) (photosites float64, err error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("photosites per degree", photositesPerDegree, "", valid.Above[float64](0, 1e12))
	c.Number("pixels per degree", pixelsPerDegree, "", valid.Above[float64](0, 1e12))
	if !c.OK() {
		return 0, c.Err()
	}
	return photositesPerDegree / pixelsPerDegree, nil
}

// NyquistDistance is the distance, along the axis of a thin lens focused there,
// at which a harmonic of the wall's pixel grid falls on half a cycle per
// photosite: there harmonic cycles fill image = 2 harmonic photosites, so
//
//	distance = f + pitch f / (2 harmonic photosite)
//
// Farther away the harmonic aliases. Harmonic 1 is the grid itself. Lengths are
// more than 0, the harmonic is at least 1.
//
// Source: the thin-lens equation and the sampling theorem.
func NyquistDistance(pitch, focalLength, photosite unit.Length, harmonic int) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	checkOptics(c, pitch, focalLength, photosite)
	checkHarmonic(c, harmonic)
	if !c.OK() {
		return 0, c.Err()
	}
	return focalLength + pitch*focalLength/(2*unit.Length(harmonic)*photosite), nil
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

// MoireSpec says how a camera samples a wall's pixel grid along one axis, the
// grid's lines parallel to the photosites'.
type MoireSpec struct {
	ImagePitch float64 // the wall's pixel pitch in the image, in photosites, 1e-6 to 1e6
	Emitting   float64 // lit width of a pixel over its pitch, more than 0 and up to 1
	Aperture   float64 // sensitive width of a photosite over its pitch, 0 (a point) to 1
	Harmonic   int     // of the grid, at least 1; 1 is the grid itself

	// Transfer is what the lens and a filter in front of the sensor leave of the
	// contrast (their MTF), 0 to 1, at a frequency in cycles per photosite, which
	// may be above half. Nil leaves all.
	Transfer func(cyclesPerPhotosite float64) float64
}

// Ripple is a periodic change of brightness along a line of photosites.
type Ripple struct {
	Frequency float64 // cycles per photosite, 0 to 0.5
	Contrast  float64 // amplitude of the sinusoid over the mean
}

// Moire is the ripple that a harmonic of a wall's pixel grid leaves in a
// recording. Where the harmonic is at most half a cycle per photosite, the
// camera resolves it as it is; otherwise it is Aliased into a beat.
type Moire struct {
	Ripple
	Photosites float64 // period in photosites, +Inf at frequency 0
	Pixels     float64 // period in wall pixels
	Aliased    bool
}

// PredictMoire gives the ripple that one harmonic h of the pixel grid leaves. A
// row of lit widths e spaced by the pitch has, at its harmonic h, an amplitude
// of 2 sinc(h e) times its mean; lens and photosite then leave a part of it:
//
//	ν = h / ImagePitch                    cycles per photosite
//	frequency = |ν − round(ν)|
//	contrast = 2 |sinc(h Emitting) sinc(ν Aperture)| Transfer(ν)
//
// with sinc(x) = sin(πx)/(πx). It is the contrast of scene-linear values before
// any colour filter array is interpolated. Close to the frequencies 0 and 0.5
// (nearer than a cycle over the length of the record) the amplitude depends on
// phase: at 0 the ripple becomes a change of the mean.
//
// Source: the Fourier series of a rectangular wave, and the transfer function of
// a rectangular aperture (G. D. Boreman, Modulation Transfer Function in Optical
// and Electro-Optical Systems).
func PredictMoire(spec MoireSpec) (Moire, error) {
	c := valid.New("wall", ErrInvalid)
	c.Number("image pitch", spec.ImagePitch, "photosites", valid.Closed[float64](1e-6, 1e6))
	c.Number("emitting share", spec.Emitting, "", valid.Above[float64](0, 1))
	c.Number("aperture share", spec.Aperture, "", valid.Closed[float64](0, 1))
	checkHarmonic(c, spec.Harmonic)
	if !c.OK() {
		return Moire{}, c.Err()
	}
	h := float64(spec.Harmonic)
	frequency := h / spec.ImagePitch
	contrast := 2 * math.Abs(sinc(h*spec.Emitting)*sinc(frequency*spec.Aperture))
	if spec.Transfer != nil {
		left := spec.Transfer(frequency)
		c.Number("transfer", left, "", valid.Closed[float64](0, 1))
		contrast *= left
	}
	if !c.OK() {
		return Moire{}, c.Err()
	}
	m := Moire{Ripple: Ripple{Frequency: alias(frequency, 1), Contrast: contrast}, Aliased: frequency > 0.5}
	m.Photosites = 1 / m.Frequency
	m.Pixels = m.Photosites / spec.ImagePitch
	return m, nil
}

// SquareWaveContrast is the contrast that optics leave of a black and white
// square wave of a frequency, from their MTF, which leaves nothing above cutoff:
//
//	contrast = 4/π Σ (−1)^k MTF((2k+1) frequency)/(2k+1),  (2k+1) frequency ≤ cutoff
//
// A pixel grid whose lit width is half its pitch is such a wave. frequency and
// cutoff are in the same unit, more than 0, and cutoff is at most a million times
// the frequency; the MTF is 0 to 1.
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
		c.Number("mtf", left, "", valid.Closed[float64](0, 1))
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

func checkHarmonic(c *valid.Checker, harmonic int) { c.Int("harmonic", harmonic, "", 1, 1<<20) }
