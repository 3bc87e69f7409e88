package transfer

import (
	"math"

	"example.com/platewright/internal/quadrature"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/special"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// spreads are the widths over which a picture is averaged.
var spreads = valid.Closed(0, 1*unit.Metre)

// BoxOTF is the transfer function of averaging over a length: of a photosite
// along its width, or of a picture that moves at a constant speed during the
// exposure.
//
//	sin(π ν w)/(π ν w)
//
// The frequency ν is in line pairs per millimetre on the sensor. The width w is
// the light-sensitive width of the photosite, or the distance that the picture
// moves. The result is 0 at ν = 1/w and at its multiples, and exactly 0 where
// ν w is exactly a whole number. Between 1/w and 2/w it is negative. A width
// outside 0 to 1 m is an error.
//
// Source: Fourier transform of a rectangle.
func BoxOTF(linePairsPerMM float64, width unit.Length) (float64, error) {
	x, err := periods(linePairsPerMM, "width", width)
	if err != nil {
		return 0, err
	}
	return special.Sinc(x) + 0, nil // no −0
}

// JitterOTF is the transfer function of random vibration: of a picture that
// moves during the exposure by a normally distributed displacement.
//
//	exp(−2 π² σ² ν²)
//
// The frequency ν is in line pairs per millimetre on the sensor. σ is the
// standard deviation of the displacement along the direction in which the
// pattern varies. The formula holds if the exposure is long enough to contain
// many independent displacements. The result is never negative. A displacement
// outside 0 to 1 m is an error.
//
// Source: Fourier transform of the normal distribution.
func JitterOTF(linePairsPerMM float64, rms unit.Length) (float64, error) {
	x, err := periods(linePairsPerMM, "displacement", rms)
	if err != nil {
		return 0, err
	}
	return gauss(x), nil
}

// gauss is the transfer function of a normal distribution of standard deviation 1.
func gauss(x float64) float64 { return math.Exp(-2 * math.Pi * math.Pi * x * x) }

// BlurOTF is the transfer function of a uniform disc, which is the image of a
// point that is out of focus if diffraction is left out.
//
//	2 J1(z)/z,  z = π ν b
//
// The frequency ν is in line pairs per millimetre on the sensor, and b is the
// diameter of the disc, as lens.Lens.Blur gives it. The first zero is at ν = 1.22/b;
// beyond it the result changes sign. A diameter outside 0 to 1 m is an error.
//
// BlurOTF approximates DefocusOTF at frequencies far below the cutoff. The
// difference is at most 1.3 ν over CutoffFrequency.
//
// Source: Fourier transform of a disc.
func BlurOTF(linePairsPerMM float64, diameter unit.Length) (float64, error) {
	x, err := periods(linePairsPerMM, "diameter of the blur", diameter)
	if err != nil {
		return 0, err
	}
	return jinc(x), nil
}

// jinc is the transfer function of a disc of diameter 1.
func jinc(x float64) float64 {
	z := math.Pi * x
	if z < 1e-8 { // 1 − z²/8
		return 1
	}
	return 2 * math.J1(z) / z
}

// DiffractionOTF is the transfer function of a lens without aberrations that is
// in focus, for a uniformly lit round pupil and incoherent light.
//
//	(2/π) (φ − sin φ cos φ),  cos φ = ν λ N
//
// The frequency ν is in line pairs per millimetre on the sensor, λ is the
// wavelength and N the working f-number. From CutoffFrequency on the result is
// 0; it is never negative. Defocus and aberrations only lower it. The result keeps
// its full relative precision up to the cutoff.
//
// Source: J. W. Goodman, Introduction to Fourier Optics, section 6.3, from
// memory.
func DiffractionOTF(linePairsPerMM float64, wavelength unit.Length, fNumber float64) (float64, error) {
	return DefocusOTF(linePairsPerMM, wavelength, fNumber, 0)
}

// DefocusOTF is the transfer function of a lens without aberrations that is out
// of focus, for a uniformly lit round pupil and incoherent light. It contains
// both diffraction and defocus.
//
//	(4/π) ∫ √(1 − (x+t)²) cos(π ν b t) dt,  t from 0 to 1 − x,  x = ν λ N
//
// The frequency ν is in line pairs per millimetre on the sensor, λ is the
// wavelength, N the working f-number and b the diameter of the blur by geometry,
// as lens.Lens.Blur gives it. From CutoffFrequency on the result is 0. A blur outside
// 0 to 1 m is an error. Below the cutoff a blur of more than 80 000 λ N is an
// error: the path error at the edge of the pupil, b/(8 λ N) wavelengths, is
// then more than 10 000.
//
// The integral is computed numerically. Its absolute error is below 1e-12 up to
// a blur of 8000 λ N, and below 1e-11 beyond.
//
// Source: H. H. Hopkins, The frequency response of a defocused optical system,
// Proc. R. Soc. Lond. A 231 (1955) 91, from memory.
func DefocusOTF(linePairsPerMM float64, wavelength unit.Length, fNumber float64, blur unit.Length) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	c.Number("spatial frequency", linePairsPerMM, "lp/mm", valid.Frequencies)
	checkWave(c, wavelength, fNumber)
	c.Length("blur", blur, spreads)
	if !c.OK() {
		return 0, c.Err()
	}
	otf, ok := defocused(linePairsPerMM, float64(wavelength)*fNumber, float64(blur))
	if !ok {
		c.Fault("blur", quantity.Length(blur), "must be at most %s at this wavelength and f-number", quantity.Length(mostBlur*wavelength*unit.Length(fNumber)))
	}
	return otf, c.Err()
}

// SquareWaveContrast is the contrast that optics leave of stripes that are
// black and white with hard edges, all of the same width.
//
//	(4/π) Σ (−1)^k OTF((2k+1) ν)/(2k+1),  (2k+1) ν ≤ cutoff
//
// The frequency ν of the stripes and the cutoff, above which the optics transfer
// nothing, are in line pairs per millimetre. A grid of pixels is such a pattern
// if each pixel is lit over half of its pitch. otf is the transfer function, from
// −1 to 1, negative where the optics reverse contrast; the product of the
// functions of this package is one.
//
// The result is the contrast between the middles of the white and the black
// stripes. It is negative where they have changed places, and it may be a little
// more than 1. The frequency is more than 0; the cutoff is more than 0, and at
// most a million times the frequency. A value of otf outside −1 to 1 is an error.
//
// Source: J. W. Coltman, The Specification of Imaging Properties by Response to
// a Sine Wave Input, Journal of the Optical Society of America 44 (1954) 468,
// from memory.
func SquareWaveContrast(linePairsPerMM, cutoff float64, otf func(linePairsPerMM float64) float64) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	c.Number("spatial frequency", linePairsPerMM, "lp/mm", valid.Above(0, valid.Frequencies.Max))
	most := 1e6 * valid.Frequencies.Max
	if c.OK() {
		most = 1e6 * linePairsPerMM
	}
	c.Number("cutoff", cutoff, "lp/mm", valid.Above(0, most))
	if otf == nil {
		c.Fault("transfer function", "nil", "must be a function")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	sum, sign := 0.0, 1.0
	for n := 1.0; n*linePairsPerMM <= cutoff; n += 2 {
		value := otf(n * linePairsPerMM)
		c.Number("value of the transfer function", value, "", valid.Closed[float64](-1, 1))
		if !c.OK() {
			return 0, c.Err()
		}
		sum += sign * value / n
		sign = -sign
	}
	return 4 / math.Pi * sum, nil
}

// periods is the number of periods of a pattern in a length on the sensor.
func periods(linePairsPerMM float64, field string, length unit.Length) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	c.Number("spatial frequency", linePairsPerMM, "lp/mm", valid.Frequencies)
	c.Length(field, length, spreads)
	return linePairsPerMM * float64(length/(unit.Milli*unit.Metre)), c.Err()
}

// mostBlur is the largest blur of DefocusOTF over wavelength and f-number.
const mostBlur = 8e4

// defocused is DefocusOTF. spot is λ N in metres. ok is false if the
// blur is too large below the cutoff.
func defocused(linePairsPerMM, spot, blur float64) (otf float64, ok bool) {
	x := linePairsPerMM * (1e3 * spot) // fraction of the cutoff
	switch {
	case x >= 1:
		return 0, true
	case blur == 0:
		return pupilOverlap(x), true
	case !(blur <= mostBlur*spot):
		return 0, false
	}
	return hopkins(linePairsPerMM, spot, blur), true
}

// hopkins is the integral below the cutoff.
func hopkins(linePairsPerMM, spot, blur float64) float64 {
	// With t = (1 − x)(1 − s²) the integrand is smooth for s from 0 to 1:
	// 2 s² (1 − x)^(3/2) √(2 − (1 − x) s²) cos(k (1 − s²)).
	left := 1 - linePairsPerMM*(1e3*spot) // 1 − x
	k := math.Pi * 1e3 * linePairsPerMM * blur * left
	integrand := func(s float64) float64 {
		square := s * s
		return square * math.Sqrt(2-left*square) * math.Cos(k*(1-square))
	}
	// A panel of Panels takes at most about four periods of the cosine.
	sum := quadrature.Panels(integrand, 0, 1, 1+int(k/(4*math.Pi)))
	return math.Min(8/math.Pi*left*math.Sqrt(left)*sum, 1) // rounding may carry it above 1
}

// pupilOverlap is the fraction of a disc that its copy covers, if the copy is
// shifted by x diameters.
func pupilOverlap(x float64) float64 {
	phi := math.Atan2(math.Sqrt((1-x)*(1+x)), x)
	return lessSine(2*phi) / math.Pi
}

// lessSine is t − sin t without cancellation for small t.
func lessSine(t float64) float64 {
	if t > 1 {
		return t - math.Sin(t)
	}
	sum := 0.0
	term := t * t * t / 6
	for k := 4.0; math.Abs(term) > 0x1p-60*sum; k += 2 {
		sum += term
		term *= -t * t / (k * (k + 1))
	}
	return sum
}
