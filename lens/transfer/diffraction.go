package transfer

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// AiryRadius is the radius of the first dark ring in the image of a point, for
// a lens without aberrations and a uniformly lit round pupil.
//
//	(j/π) λ N = 1.2196698912665 λ N
//
// j is the first zero of the Bessel function J1, λ the wavelength, and N the
// working f-number.
//
// Source: OpenStax, University Physics Volume 3 (2016), section 4.5.
func AiryRadius(wavelength unit.Length, fNumber float64) (unit.Length, error) {
	c := valid.New("transfer", ErrInvalid)
	checkWave(c, wavelength, fNumber)
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Length(airyZero / math.Pi * float64(wavelength) * fNumber), nil
}

// airyZero is the first zero of J1: Abramowitz and Stegun, Handbook of
// Mathematical Functions (1964), table 9.5, from memory.
const airyZero = 3.83170597020751231561

// EncircledEnergy is the fraction of the light in the image of a point that
// falls within a radius of its centre, for a lens without aberrations that is in
// focus, and a uniformly lit round pupil.
//
//	1 − J0(v)² − J1(v)²,  v = π r/(λ N)
//
// λ is the wavelength and N the working f-number. The radius r is not negative,
// and may be +Inf.
//
// Source: Lord Rayleigh (1881), in M. Born and E. Wolf, Principles of Optics,
// section 8.5.2, from memory.
func EncircledEnergy(radius, wavelength unit.Length, fNumber float64) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	c.Length("radius", radius, valid.Closed(0, unit.Length(math.Inf(1))))
	checkWave(c, wavelength, fNumber)
	if !c.OK() {
		return 0, c.Err()
	}
	v := math.Pi * (float64(radius) / float64(wavelength) / fNumber)
	if v > 2 {
		j0, j1 := math.J0(v), math.J1(v)
		return 1 - float64(j0*j0) - float64(j1*j1), nil
	}
	// The integral of 2 J1²/v term by term, where the closed form cancels.
	u := v * v / 4
	sum, term := 0.0, u
	for k := 0.0; math.Abs(term) > 0x1p-60*sum; k++ {
		sum += term / (k + 1)
		term *= -u * (2*k + 4) * (2*k + 3) / ((k + 1) * (k + 3) * (k + 2) * (k + 2))
	}
	return sum, nil
}

// CutoffFrequency is the spatial frequency, in line pairs per millimetre on the
// sensor, from which a lens transfers no contrast at all.
//
//	1/(λ N)
//
// λ is the wavelength and N the working f-number.
//
// Source: J. W. Goodman, Introduction to Fourier Optics, section 6.3, from
// memory.
func CutoffFrequency(wavelength unit.Length, fNumber float64) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	checkWave(c, wavelength, fNumber)
	if !c.OK() {
		return 0, c.Err()
	}
	return 1e-3 / (float64(wavelength) * fNumber), nil
}

// SamplingRatio is Q, which compares the pitch of the photosites with the finest
// detail that diffraction lets through.
//
//	Q = λ N/p
//
// λ is the wavelength, N the working f-number and p the pitch. CutoffFrequency
// is 2/Q times the Nyquist frequency of the sensor, 1/(2p). So a picture in
// focus can alias if Q is less than 2, and cannot if it is 2 or more.
//
// Source: the ratio of the two frequencies; the name Q from memory of the
// literature on remote sensing.
func SamplingRatio(wavelength unit.Length, fNumber float64, pitch unit.Length) (float64, error) {
	c := valid.New("transfer", ErrInvalid)
	checkWave(c, wavelength, fNumber)
	c.Length("pitch", pitch, valid.Pitches)
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(wavelength) * fNumber / float64(pitch), nil
}

func checkWave(c *valid.Checker, wavelength unit.Length, fNumber float64) {
	c.Length("wavelength", wavelength, valid.Wavelengths)
	c.Number("f-number", fNumber, "", valid.FNumbers)
}
