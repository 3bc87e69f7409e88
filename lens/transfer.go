package lens

import (
	"math"
	"sync"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/unit"
)

// DiffractionMTF is the contrast that a lens without aberrations leaves of a
// fine pattern, for an evenly lit round pupil and incoherent light:
//
//	(2/π) (φ − sin φ cos φ),  cos φ = x
//
// x is the spatial frequency over CutoffFrequency. It is not negative; from 1
// on the result is 0. The result keeps its full relative precision up to the
// cutoff.
//
// Source: J. W. Goodman, Introduction to Fourier Optics, section 6.3, from
// memory.
func DiffractionMTF(x float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("frequency over cutoff", x, "", frequencies)
	if !c.OK() {
		return 0, c.Err()
	}
	return pupilOverlap(x), nil
}

// DefocusOTF is the transfer of a lens that is out of focus and has no other
// aberration: its size is the contrast left of a fine pattern, and where it is
// negative dark and bright have changed places.
//
//	(4/π) ∫ √(1 − (x+t)²) cos(8π W x t) dt,  t from 0 to 1 − x
//
// x is the spatial frequency over CutoffFrequency, not negative; from 1 on the
// result is 0. W is the path error at the edge of the pupil in wavelengths, of
// either sign, of size at most 10000: see DefocusWaves. The integral is taken
// numerically: the absolute error is below 1e-12 up to 1000 waves and below
// 1e-11 beyond.
//
// Source: H. H. Hopkins, The frequency response of a defocused optical system,
// Proc. R. Soc. Lond. A 231 (1955) 91, from memory.
func DefocusOTF(x, waves float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("frequency over cutoff", x, "", frequencies)
	c.Number("defocus", waves, "waves", valid.Closed(-maxWaves, maxWaves))
	if !c.OK() {
		return 0, c.Err()
	}
	return defocused(x, waves), nil
}

// DefocusWaves is the path error at the edge of the pupil, in wavelengths, of
// a lens whose image of a point is a disc of a diameter b for geometrical
// optics (see Lens.Blur):
//
//	W = b/(8 λ N)
//
// which is dz/(8 λ N²) where the sensor lies dz from the focus. b is from 0
// to 1 m; wavelength and f-number are those of AiryRadius.
//
// Source: J. W. Goodman, Introduction to Fourier Optics, section 6.4.4, from
// memory.
func DefocusWaves(blur, wavelength unit.Length, fNumber float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Length("blur", blur, blurs)
	checkWave(c, wavelength, fNumber)
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(blur) / (8 * fNumber * float64(wavelength)), nil
}

// BlurOTF is the transfer of an evenly lit disc, which is what defocus comes
// to for coarse patterns, where diffraction does not count:
//
//	2 J1(z)/z,  z = π ν b
//
// The frequency ν is in line pairs per millimetre, finite and not negative; b
// is the diameter of the disc, from 0 to 1 m.
//
// Source: J. W. Goodman, Introduction to Fourier Optics, section 6.4.4, from
// memory.
func BlurOTF(lpPerMM float64, diameter unit.Length) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("frequency", lpPerMM, "lp/mm", frequencies)
	c.Length("blur", diameter, blurs)
	if !c.OK() {
		return 0, c.Err()
	}
	z := math.Pi * 1e3 * (lpPerMM * float64(diameter))
	switch {
	case z < 1e-8: // 1 − z²/8
		return 1, nil
	case math.IsInf(z, 1):
		return 0, nil
	}
	return 2 * math.J1(z) / z, nil
}

// OTF is the transfer of the lens, without aberrations, on its axis, for a
// pattern on an object at one distance while it is focused at another:
// DefocusOTF for the Blur between the two, at the WorkingFNumber. The frequency
// is in line pairs per millimetre on the sensor, finite and not negative;
// wavelength and distances are those of AiryRadius and Blur. There is no answer
// where the defocus exceeds 10000 waves below the cutoff.
//
// Source: as DefocusOTF and DefocusWaves.
func (l Lens) OTF(lpPerMM float64, wavelength, focus, object unit.Length) (float64, bool) {
	blur, ok := l.Blur(focus, object)
	n, okN := l.WorkingFNumber(focus)
	if !ok || !okN || !frequencies.Contains(lpPerMM) || !wavelengths.Contains(float64(wavelength)) {
		return 0, false
	}
	spot := float64(wavelength) * n
	x, waves := lpPerMM*1e3*spot, float64(blur)/(8*spot)
	switch {
	case x >= 1:
		return 0, true
	case !(waves <= maxWaves):
		return 0, false
	}
	return defocused(x, waves), true
}

const maxWaves = 1e4

// pupilOverlap is the part of a disc that its copy covers, shifted by x
// diameters.
func pupilOverlap(x float64) float64 {
	if x >= 1 {
		return 0
	}
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

// defocused is Hopkins's integral. With x + t = cos φ it becomes that of
// sin²φ cos(8π W x (cos φ − x)) from 0 to acos x, which is smooth to its ends.
// Each panel of 32 points takes at most about four turns of the cosine.
func defocused(x, waves float64) float64 {
	if x >= 1 {
		return 0
	}
	if waves == 0 {
		return pupilOverlap(x)
	}
	nodes, weights := gauss()
	end := math.Atan2(math.Sqrt((1-x)*(1+x)), x)
	k := 8 * math.Pi * waves * x
	panels := 1 + math.Floor(math.Abs(k)*end/(8*math.Pi))
	sum := 0.0
	for p := range int(panels) {
		half := end / panels / 2
		mid := half * float64(2*p+1)
		panel := 0.0
		for i, u := range nodes {
			sin, cos := math.Sincos(mid + half*u)
			panel += weights[i] * sin * sin * math.Cos(k*(cos-x))
		}
		sum += panel * half
	}
	return 4 / math.Pi * sum
}

// gauss is the Gauss-Legendre rule on [−1, 1].
var gauss = sync.OnceValues(func() (nodes, weights []float64) {
	nodes, weights = make([]float64, 32), make([]float64, 32)
	quad.Legendre{}.FixedLocations(nodes, weights, -1, 1)
	return nodes, weights
})
