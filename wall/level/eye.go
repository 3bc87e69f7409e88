package level

import (
	"math"

	"example.com/platewright/internal/peak"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Degree is one degree of arc.
const Degree unit.Angle = math.Pi / 180

// gsdf is a quotient of polynomials in x = ln(index).
var gsdf = struct{ over, under []float64 }{
	over:  []float64{-1.3011877, 8.0242636e-2, 1.3646699e-1, -2.5468404e-2, 1.3635334e-3},
	under: []float64{1, -2.5840191e-2, -1.0320229e-1, 2.8745620e-2, -3.1978977e-3, 1.2992634e-4},
}

const lastIndex = 1023 // of the GSDF

// JNDLuminance is the luminance in cd/m² at an index of just-noticeable differences
// (JND) of the Grayscale Standard Display Function (GSDF):
//
//	log10 L = (a + c x + e x² + g x³ + m x⁴)/(1 + b x + d x² + f x³ + h x⁴ + k x⁵),  x = ln(index)
//
// One index is the least step that an average observer notices in a standard target:
// a patch of 2° with a sinusoid of 4 cycles per degree. ok is false if the index is
// outside 1 to 1023, which are 0.05 and 3993.4 cd/m².
//
// Source: DICOM PS3.14, Grayscale Standard Display Function, from memory.
func JNDLuminance(index float64) (luminance float64, ok bool) {
	if !(index >= 1 && index <= lastIndex) {
		return 0, false
	}
	return gsdfLuminance(math.Log(index)), true
}

func gsdfLuminance(x float64) float64 {
	return math.Pow(10, polynomial(gsdf.over, x)/polynomial(gsdf.under, x))
}

func polynomial(coefficients []float64, x float64) (y float64) {
	for i := len(coefficients) - 1; i >= 0; i-- {
		y = y*x + coefficients[i]
	}
	return y
}

// JNDIndex is the index of a luminance in cd/m²: the inverse of JNDLuminance. ok is
// false outside 0.05 to 3993.4 cd/m².
func JNDIndex(luminance float64) (index float64, ok bool) {
	x, ok := root.Find(func(x float64) float64 { return gsdfLuminance(x) - luminance }, 0, math.Log(lastIndex))
	if !ok {
		return 0, false
	}
	return math.Exp(x), true
}

// ContrastSensitivity is the inverse of the least modulation of a sinusoid that an
// average young observer sees with both eyes, by Barten's model:
//
//	S = (M/k)/√((2/T)(1/X₀² + 1/12² + (u/15)²)(1/(η p E) + Φ/(1 − e^−(u/7)²)))
//	M = e^(−2 π² σ² u²),  σ² = (0.5′)² + (0.08′ d)²
//	d = 5 − 3 tanh(0.4 log₁₀(L X₀²/40²))
//	E = (π/4) d² L (1 − (d/9.7)² + (d/12.4)⁴)
//
// u is in cycles per degree, 0.01 to 100. X₀ is the side of the field in degrees, d is
// the diameter of the pupil in mm, and E is the light on the retina in Td. k is 3, T is
// 0.1 s, η is 0.03, p is 1.2274e6, and Φ is 3e-8. Individual observers differ by a factor of
// two and more.
//
// The luminance in cd/m² is that to which the eye has adapted, 1e-12 to 1e12. The
// field that it looks at is 0.1° to 180° wide. Arguments outside are errors. The model
// was fitted at some 1e-4 to 1e3 cd/m².
//
// Source: P. G. J. Barten, Formula for the contrast sensitivity of the human eye,
// Proc. SPIE 5294 (2003), from memory.
func ContrastSensitivity(cyclesPerDegree, luminance float64, field unit.Angle) (float64, error) {
	c := valid.New("level", ErrInvalid)
	c.Number("spatial frequency", cyclesPerDegree, "cycles/°", valid.Closed(leastFrequency, mostFrequency))
	c.Number("luminance", luminance, unitOfLuminance, valid.Luminances)
	c.Angle("field", field, fields)
	if !c.OK() {
		return 0, c.Err()
	}
	return sensitivity(cyclesPerDegree, luminance, float64(field/Degree)), nil
}

const leastFrequency, mostFrequency = 0.01, 100.0

var fields = valid.Closed(0.1*Degree, 180*Degree)

func sensitivity(u, luminance, field float64) float64 {
	return sensitivityWith(u, luminance, field, pupil(luminance, field))
}

// sensitivityWith is the sensitivity of an eye with a pupil of d mm.
func sensitivityWith(u, luminance, field, d float64) float64 {
	const k, t, eta, p, phi, u0 = 3, 0.1, 0.03, 1.2274e6, 3e-8, 7
	photons := 1 / (eta * p * retinal(luminance, d))
	neural := phi / -math.Expm1(-(u/u0)*(u/u0))
	x := extent(u, field)
	return opticalMTF(u, spread(d)) / k / math.Sqrt(2/t/(x*x)*(photons+neural))
}

// pupil is the diameter of the pupil in mm.
func pupil(luminance, field float64) float64 {
	return 5 - 3*math.Tanh(0.4*math.Log10(luminance*field*field/(40*40)))
}

// retinal is the light on the retina in Td, less for rays through the pupil's rim.
func retinal(luminance, d float64) float64 {
	a, b := d/9.7, d/12.4
	return math.Pi / 4 * d * d * luminance * (1 - a*a + b*b*b*b)
}

// spread is the standard deviation of the eye's line spread in degrees.
func spread(d float64) float64 { return math.Hypot(0.5/60, 0.08/60*d) }

func opticalMTF(u, sigma float64) float64 {
	return math.Exp(-2 * math.Pi * math.Pi * sigma * sigma * u * u)
}

// extent is the side in degrees over which the eye adds up what it sees.
func extent(u, field float64) float64 {
	return 1 / math.Sqrt(1/(field*field)+1/(12.0*12)+u*u/(15*15))
}

// bestSensitivity is the greatest sensitivity of any spatial frequency. S has one
// maximum over log u.
func bestSensitivity(luminance, field float64) float64 {
	_, best := peak.Find(func(x float64) float64 { return sensitivity(math.Exp(x), luminance, field) },
		math.Log(leastFrequency), 0, math.Log(mostFrequency), 1e-3)
	return best
}
