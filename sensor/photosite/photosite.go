package photosite

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("photosite: invalid value")

const micrometre = unit.Micro * unit.Metre

// Spec describes one photosite and its converter by the linear model of EMVA 1288.
// Photons arrive during the exposure, and some of them free an electron. Noise that
// does not depend on the light is added. A linear converter rounds the sum to a
// whole number (DN).
type Spec struct {
	// PitchX and PitchY are the distances from photosite to photosite along a row
	// and along a column, 0.1 µm to 1 mm. sensor.Format.Pitch gives them.
	PitchX, PitchY unit.Length
	// PhotonsPerLuxSecond is how many photons a lux-second of the light brings to
	// 1 µm² of the sensor, 1 to 1e9. Spectrum.PhotonsPerLuxSecond gives it for a
	// light and a band.
	PhotonsPerLuxSecond float64
	// QuantumEfficiency is electrons per photon, the mean over those photons and
	// over the whole area of a photosite, its colour filter included; 1e-6 to 1.
	QuantumEfficiency float64
	// ReadNoise is the standard deviation of the temporal dark noise before
	// conversion, 0 to 1e9 electrons.
	ReadNoise float64
	// SaturationCapacity is how many electrons fill the photosite, 1 to 1e12.
	SaturationCapacity float64
	// Gain is DN per electron, 1e-9 to 1e9. A converter of b bits whose full
	// scale is the saturation capacity has (2^b − 1) / SaturationCapacity.
	Gain float64
	// PRNU, the photo response non-uniformity, is the standard deviation between
	// photosites of their response, as a fraction of the mean; 0 to 1. A Pixel
	// counts it, the methods of Photosite leave it out.
	PRNU float64
	// DSNU, the dark signal non-uniformity, is the standard deviation between
	// photosites of their mean without light, 0 to 1e9 electrons. It counts as PRNU.
	DSNU float64
}

// Photosite is a photosite with its converter. It is immutable and comparable.
// The methods of its zero value return zeros and false. It knows temporal noise
// alone, as the linear model of EMVA 1288 does; a Pixel adds the fixed pattern.
type Photosite struct {
	spec      Spec
	electrons float64 // of one lux-second
}

// New makes a Photosite.
func New(spec Spec) (Photosite, error) {
	c := valid.New("photosite", ErrInvalid)
	c.Length("pitch x", spec.PitchX, valid.Pitches)
	c.Length("pitch y", spec.PitchY, valid.Pitches)
	c.Number("photons per lux-second", spec.PhotonsPerLuxSecond, "per µm²", valid.Closed(1.0, 1e9))
	c.Number("quantum efficiency", spec.QuantumEfficiency, "", valid.Closed(1e-6, 1))
	c.Number("read noise", spec.ReadNoise, "e⁻", valid.Closed(0.0, 1e9))
	c.Number("saturation capacity", spec.SaturationCapacity, "e⁻", valid.Closed(1.0, 1e12))
	c.Number("gain", spec.Gain, "DN/e⁻", valid.Closed(1e-9, 1e9))
	c.Number("PRNU", spec.PRNU, "", valid.Closed(0.0, 1))
	c.Number("DSNU", spec.DSNU, "e⁻", valid.Closed(0.0, 1e9))
	if err := c.Err(); err != nil {
		return Photosite{}, err
	}
	area := float64(spec.PitchX/micrometre) * float64(spec.PitchY/micrometre)
	return Photosite{spec, area * spec.PhotonsPerLuxSecond * spec.QuantumEfficiency}, nil
}

// Variances in DN². Rounding adds the first. The standard replaces a smaller dark
// variance by the second: with so little noise, the variance after rounding
// depends on where between two numbers the dark level lies.
const (
	quantisation = 1.0 / 12
	leastDark    = 0.24
)

// rounding is the variance that the converter adds, in electrons squared.
func (p Photosite) rounding() float64 { return quantisation / (p.spec.Gain * p.spec.Gain) }

// Electrons is the mean count of electrons that a focal-plane exposure H in lx·s
// frees in the photosite:
//
//	μe = η n px py H
//
// with quantum efficiency η, pitches px and py in µm, and n photons per µm² and
// lux-second. sensor.Exposure.FocalPlane gives H of a surface in the scene. ok is
// false if H is outside 0 to SaturationExposure.
//
// Source: EMVA 1288 release 3.1, eq. 1 to 4 (from memory).
func (p Photosite) Electrons(luxSeconds float64) (electrons float64, ok bool) {
	if p == (Photosite{}) || !(luxSeconds >= 0 && luxSeconds <= p.SaturationExposure()) {
		return 0, false
	}
	return min(luxSeconds*p.electrons, p.spec.SaturationCapacity), true
}

// Signal gives the mean and the temporal noise (standard deviation) of the numbers
// for a focal-plane exposure in lx·s, in DN. The mean counts from the dark level.
//
//	mean   = K μe
//	noise² = K² σd² + 1/12 + K · mean
//
// with gain K, read noise σd and μe of Electrons. 1/12 is the variance of
// rounding. It holds where the noise exceeds about a quarter of a DN (EMVA 1288,
// from memory). Below that it is an average over all dark levels between two
// numbers; at a single level the noise is anything from 0 to half a DN. ok is
// false if Electrons has no answer.
//
// Source: EMVA 1288 release 3.1, linear model (from memory).
func (p Photosite) Signal(luxSeconds float64) (mean, noise float64, ok bool) {
	electrons, ok := p.Electrons(luxSeconds)
	if !ok {
		return 0, 0, false
	}
	variance := electrons + p.spec.ReadNoise*p.spec.ReadNoise + p.rounding()
	return p.spec.Gain * electrons, p.spec.Gain * math.Sqrt(variance), true
}

// SNR is the ratio of signal to temporal noise for a focal-plane exposure in lx·s:
//
//	SNR = μe / sqrt(μe + σd² + 1/(12 K²))
//
// In decibels it is 20 log10, in stops log2. ok is false if Electrons has no answer.
//
// Source: EMVA 1288 release 3.1, eq. 19 and 20 (from memory).
func (p Photosite) SNR(luxSeconds float64) (snr float64, ok bool) {
	mean, noise, ok := p.Signal(luxSeconds)
	if !ok {
		return 0, false
	}
	return mean / noise, true
}

// SaturationExposure is the focal-plane exposure in lx·s that fills the photosite:
//
//	Hsat = μe.sat / (η n px py)    μe.sat the saturation capacity
func (p Photosite) SaturationExposure() (luxSeconds float64) {
	if p == (Photosite{}) {
		return 0
	}
	return p.spec.SaturationCapacity / p.electrons
}

// SaturationSpeed is the ISO saturation-based speed of the photosite, which
// sensor.Exposure.FractionOfSaturation and SaturationMargin take:
//
//	Ssat = 78 / Hsat    Hsat of SaturationExposure
//
// It depends on the light: the more photons a lux-second brings, the higher it is, and
// the earlier the sensor clips. It is not the index that is set on a camera.
//
// Source: ISO 12232:2006, saturation-based speed.
func (p Photosite) SaturationSpeed() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return 78 / p.SaturationExposure()
}

// MaxSNR is the ratio of signal to noise at saturation. It counts shot noise
// alone, as the standard does.
//
//	SNRmax = sqrt(μe.sat)
func (p Photosite) MaxSNR() float64 { return math.Sqrt(p.spec.SaturationCapacity) }

// threshold is the sensitivity threshold in electrons.
func (p Photosite) threshold() float64 {
	gain := p.spec.Gain
	dark := max(p.spec.ReadNoise*p.spec.ReadNoise+p.rounding(), leastDark/(gain*gain))
	return math.Sqrt(dark) + 0.5
}

// Threshold is the absolute sensitivity threshold as a focal-plane exposure in
// lx·s: that with an SNR of 1, by the approximation of the standard.
//
//	μe.min = σ + 1/2
//	σ²     = max(σd² + 1/(12 K²), 0.24/K²)
//
// σ is the dark noise in electrons. The standard replaces a dark variance below
// 0.24 DN² by that value. The approximation is low by less than 1/(8σ) electrons,
// and by at most half an electron.
func (p Photosite) Threshold() (luxSeconds float64) {
	if p == (Photosite{}) {
		return 0
	}
	return p.threshold() / p.electrons
}

// DynamicRange is the ratio of saturation to the sensitivity threshold:
//
//	DR = μe.sat / μe.min    μe.min of Threshold
//
// In decibels it is 20 log10, in stops log2. It is the range of one photosite, down to
// an SNR of 1. Pixel.Latitude is that of a delivered pixel, down to any SNR.
func (p Photosite) DynamicRange() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return p.spec.SaturationCapacity / p.threshold()
}
