package sensor

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// BoxMTF is how much contrast is left at a spatial frequency, in line pairs per
// millimetre on the sensor, after averaging over a length:
//
//	MTF = |sin(π w ν) / (π w ν)|
//
// The length is the light-sensitive width of a photosite, or how far the
// picture moves at an even speed during the exposure. The first zero is at
// ν = 1/w; beyond it contrast comes back, every other time with black for
// white, which the modulus hides. Frequencies outside 0 to 1e9 lp/mm and
// lengths outside 0 to 1 m are errors.
//
// Source: J. W. Goodman, Introduction to Fourier Optics (from memory).
func BoxMTF(linePairsPerMM float64, width unit.Length) (float64, error) {
	x, err := periods(linePairsPerMM, width)
	if err != nil {
		return 0, err
	}
	if x == 0 {
		return 1, nil
	}
	// sin(πx) from the distance to the nearest whole x, where it is exactly 0.
	return math.Abs(math.Sin(math.Pi*(x-math.Round(x))) / (math.Pi * x)), nil
}

// JitterMTF is how much contrast is left at a spatial frequency, in line pairs
// per millimetre on the sensor, of a picture that shakes during the exposure by
// a normally distributed displacement of that standard deviation:
//
//	MTF = exp(−2 π² σ² ν²)
//
// It holds where the exposure sees many independent displacements. Frequencies
// outside 0 to 1e9 lp/mm and displacements outside 0 to 1 m are errors.
//
// Source: Fourier transform of the normal distribution, derived; that it serves
// for random motion of a picture is from memory of the literature on image
// quality.
func JitterMTF(linePairsPerMM float64, rms unit.Length) (float64, error) {
	x, err := periods(linePairsPerMM, rms)
	if err != nil {
		return 0, err
	}
	return math.Exp(-2 * math.Pi * math.Pi * x * x), nil
}

// periods is how many periods of a frequency fit into a length.
func periods(linePairsPerMM float64, l unit.Length) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number("spatial frequency", linePairsPerMM, "lp/mm", valid.Closed(0.0, 1e9))
	c.Length("length", l, valid.Closed[unit.Length](0, 1))
	return linePairsPerMM * float64(l/millimetre), c.Err()
}

// SamplingRatio is how finely a sensor samples what diffraction lets through:
//
//	Q = λ N / p
//
// The cut-off of the lens, 1/(λ N), is 2/Q times the Nyquist frequency: from
// Q = 2 on nothing aliases. N is the working f-number. Wavelengths of 10 nm to
// 30 µm, f-numbers of 0.5 to 1024 and pitches of 0.1 µm to 1 mm are answered,
// others are errors.
//
// Source: the cut-off, J. W. Goodman, Introduction to Fourier Optics, section
// 6.3 (from memory); Q, from memory of the literature on image quality.
func SamplingRatio(wavelength unit.Length, fNumber float64, pitch unit.Length) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	checkWavelength(c, wavelength)
	checkFNumber(c, fNumber)
	checkPitch(c, "pitch", pitch)
	if err := c.Err(); err != nil {
		return 0, err
	}
	return float64(wavelength) * fNumber / float64(pitch), nil
}
