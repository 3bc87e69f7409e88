package photosite

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("photosite: invalid value")

// Spec describes one photosite and its converter by the linear model of
// EMVA 1288, the source of the formulas of Photosite. Photons arrive during the exposure, and some of them free an
// electron. Noise that does not depend on the light is added. A linear converter
// rounds the sum to a whole number (DN).
type Spec struct {
	// QuantumEfficiency is electrons per photon at the wavelength of the light,
	// over the whole area of a photosite; 1e-6 to 1.
	QuantumEfficiency float64
	// ReadNoise is the standard deviation of the temporal dark noise before
	// conversion, 0 to 1e9 electrons.
	ReadNoise float64
	// SaturationCapacity is how many electrons fill the photosite, 1 to 1e12.
	SaturationCapacity float64
	// Gain is DN per electron, 1e-9 to 1e9. A converter of b bits whose full
	// scale is the saturation capacity has (2^b − 1) / SaturationCapacity.
	Gain float64
}

// Photosite is a photosite with its converter. It is immutable and comparable.
// The methods of its zero value return zeros and false.
type Photosite struct {
	spec Spec
}

// New makes a Photosite.
func New(spec Spec) (Photosite, error) {
	c := valid.New("photosite", ErrInvalid)
	c.Number("quantum efficiency", spec.QuantumEfficiency, "", valid.Closed(1e-6, 1))
	c.Number("read noise", spec.ReadNoise, "e⁻", valid.Closed(0.0, 1e9))
	c.Number("saturation capacity", spec.SaturationCapacity, "e⁻", valid.Closed(1.0, 1e12))
	c.Number("gain", spec.Gain, "DN/e⁻", valid.Closed(1e-9, 1e9))
	if err := c.Err(); err != nil {
		return Photosite{}, err
	}
	return Photosite{spec}, nil
}

// Variances in DN². Rounding adds the first. The standard replaces a smaller dark
// variance by the second: with so little noise, the variance after rounding
// depends on where between two numbers the dark level lies.
const (
	quantisation = 1.0 / 12
	leastDark    = 0.24
)

// darkVariance is the variance without light, in electrons squared before the
// converter.
func (p Photosite) darkVariance() float64 {
	return p.spec.ReadNoise*p.spec.ReadNoise + quantisation/(p.spec.Gain*p.spec.Gain)
}

// Signal gives the mean and the temporal noise (standard deviation) of the numbers
// for a mean count of photons μp, in DN. The mean counts from the dark level.
//
//	mean   = K η μp
//	noise² = K² σd² + 1/12 + K · mean
//
// with gain K, quantum efficiency η and read noise σd. 1/12 is the variance of
// rounding. It holds where the noise exceeds about a quarter of a DN (EMVA 1288,
// from memory). Below that it is an average over all dark levels between two
// numbers; at a single level the noise is anything from 0 to half a DN. ok is
// false if the count is outside 0 to SaturationPhotons.
//
// Source: EMVA 1288 release 3.1, linear model (from memory).
func (p Photosite) Signal(photons float64) (mean, noise float64, ok bool) {
	if p == (Photosite{}) || !(photons >= 0 && photons <= p.SaturationPhotons()) {
		return 0, 0, false
	}
	electrons := p.spec.QuantumEfficiency * photons
	return p.spec.Gain * electrons, p.spec.Gain * math.Sqrt(electrons+p.darkVariance()), true
}

// SNR is the ratio of signal to temporal noise for a mean count of photons μp:
//
//	SNR = μe / sqrt(μe + σd² + 1/(12 K²))    μe = η μp
//
// In decibels it is 20 log10, in stops log2. ok is false if the count is outside
// 0 to SaturationPhotons.
//
// Source: EMVA 1288 release 3.1, eq. 19 and 20 (from memory).
func (p Photosite) SNR(photons float64) (snr float64, ok bool) {
	mean, noise, ok := p.Signal(photons)
	if !ok {
		return 0, false
	}
	return mean / noise, true
}

// SaturationPhotons is the mean count of photons that fills the photosite:
//
//	μp.sat = μe.sat / η    μe.sat the saturation capacity
func (p Photosite) SaturationPhotons() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return p.spec.SaturationCapacity / p.spec.QuantumEfficiency
}

// SaturationSpeed is the ISO saturation-based speed of the photosite for light of
// one wavelength λ, without filters. sensor.Exposure.FractionOfSaturation takes it.
//
//	Hsat = μp.sat K h c / (px py λ)    Ssat = 78 / Hsat
//
// K is the luminous efficacy of the light in lm/W, more than 0 to 683.002: 683 at
// 555 nm, and 683 V(λ) elsewhere, with the luminosity function V of CIE 018. Other
// light than that of 555 nm has more photons per lux-second. A photosite of the same
// quantum efficiency then has a higher speed and clips earlier. An argument or a
// speed out of range is an error, and so is the zero Photosite.
//
// Source: EMVA 1288, as Photons, and ISO 12232:2006, as the function SaturationSpeed.
func (p Photosite) SaturationSpeed(pitchX, pitchY, wavelength unit.Length, lumensPerWatt float64) (float64, error) {
	c := valid.New("photosite", ErrInvalid)
	if p == (Photosite{}) {
		c.Fault("photosite", "Photosite{}", "must come from New")
	}
	c.Length("pitch x", pitchX, valid.Pitches)
	c.Length("pitch y", pitchY, valid.Pitches)
	c.Length("wavelength", wavelength, valid.Wavelengths)
	c.Number("luminous efficacy", lumensPerWatt, "lm/W", valid.Above(0.0, 683.002))
	if !c.OK() {
		return 0, c.Err()
	}
	perLuxSecond, err := Photons(1/lumensPerWatt, wavelength, pitchX, pitchY, 1)
	if err != nil {
		return 0, err
	}
	speed, err := sensor.SaturationSpeed(p.SaturationPhotons() / perLuxSecond)
	c.Add("speed", err)
	return speed, c.Err()
}

// MaxSNR is the ratio of signal to noise at saturation. It counts shot noise
// alone, as the standard does.
//
//	SNRmax = sqrt(μe.sat)
func (p Photosite) MaxSNR() float64 { return math.Sqrt(p.spec.SaturationCapacity) }

// Threshold is the absolute sensitivity threshold in photons: the mean count
// with an SNR of 1, by the approximation of the standard.
//
//	μp.min = (σ + 1/2) / η
//	σ²     = max(σd² + 1/(12 K²), 0.24/K²)
//
// σ is the dark noise in electrons. The standard replaces a dark variance below
// 0.24 DN² by that value. The approximation is low by less than 1/(8σ) electrons,
// and by at most half an electron.
func (p Photosite) Threshold() float64 {
	if p == (Photosite{}) {
		return 0
	}
	dark := math.Sqrt(max(p.darkVariance(), leastDark/(p.spec.Gain*p.spec.Gain)))
	return (dark + 0.5) / p.spec.QuantumEfficiency
}

// DynamicRange is the ratio of saturation to the sensitivity threshold:
//
//	DR = μp.sat / μp.min    μp.min of Threshold
//
// In decibels it is 20 log10, in stops log2.
func (p Photosite) DynamicRange() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return p.SaturationPhotons() / p.Threshold()
}

// Exact by definition of the SI since 2019 (CODATA 2018).
const (
	planck     = 6.62607015e-34 // J·s
	lightSpeed = 299792458      // m/s
)

// Photons is the mean count of photons of a wavelength λ that reach a photosite
// during a time t, by an irradiance E of the sensor in W/m²:
//
//	μp = px py t E λ / (h c)
//
// px and py are the pitches of the photosites. For light of 555 nm, 1 lx is
// 1/683 W/m². An irradiance outside 0 to 1e13 W/m² or another argument out of range
// is an error.
//
// Source: EMVA 1288 release 3.1, eq. 3 and 4 (from memory); h and c of the SI.
func Photons(irradiance float64, wavelength, pitchX, pitchY unit.Length, t unit.Time) (float64, error) {
	c := valid.New("photosite", ErrInvalid)
	c.Number("irradiance", irradiance, "W/m²", valid.Closed(0.0, 1e13))
	c.Length("wavelength", wavelength, valid.Wavelengths)
	c.Length("pitch x", pitchX, valid.Pitches)
	c.Length("pitch y", pitchY, valid.Pitches)
	c.Time("exposure time", t, valid.ExposureTimes)
	energy := irradiance * float64(pitchX) * float64(pitchY) * float64(t)
	if !c.OK() {
		return 0, c.Err()
	}
	return energy * float64(wavelength) / (planck * lightSpeed), nil
}
