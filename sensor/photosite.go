package sensor

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// PhotositeSpec describes one photosite and its conversion to numbers by the
// linear model of EMVA 1288: it gathers photons for a time, some free an
// electron, noise that does not depend on light is added, and a linear
// converter rounds the sum to a whole number (DN).
type PhotositeSpec struct {
	// QuantumEfficiency is electrons per photon at the wavelength in question,
	// over the whole area of a photosite; 1e-6 to 1.
	QuantumEfficiency float64
	// ReadNoise is the temporal dark noise before conversion, in electrons
	// (standard deviation), 0 to 1e9.
	ReadNoise float64
	// Saturation is the saturation capacity in electrons, 1 to 1e12.
	Saturation float64
	// Gain is DN per electron, 1e-9 to 1e9. A converter of b bits that is full
	// when the photosite is has (2^b − 1) / Saturation.
	Gain float64
}

// Photosite is a checked photosite. It is immutable and comparable; the methods
// of its zero value return zeros and false.
type Photosite struct {
	spec PhotositeSpec
}

// NewPhotosite checks a spec.
func NewPhotosite(spec PhotositeSpec) (Photosite, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number("quantum efficiency", spec.QuantumEfficiency, "", valid.Closed(1e-6, 1))
	c.Number("read noise", spec.ReadNoise, "e⁻", valid.Closed(0.0, 1e9))
	c.Number("saturation", spec.Saturation, "e⁻", valid.Closed(1.0, 1e12))
	c.Number("gain", spec.Gain, "DN/e⁻", valid.Closed(1e-9, 1e9))
	if err := c.Err(); err != nil {
		return Photosite{}, err
	}
	return Photosite{spec}, nil
}

// Variances in DN². Rounding adds the first. No dark noise counts as less than
// the second: where less is left, what the converter makes of it depends on
// where between two numbers the dark level lies.
const (
	quantisation = 1.0 / 12
	leastDark    = 0.24
)

// darkVariance is the variance without light as if it arose in the photosite,
// in electrons squared.
func (p Photosite) darkVariance() float64 {
	return p.spec.ReadNoise*p.spec.ReadNoise + quantisation/(p.spec.Gain*p.spec.Gain)
}

// thresholdVariance is the darkVariance that a threshold is reckoned with.
func (p Photosite) thresholdVariance() float64 {
	return max(p.darkVariance(), leastDark/(p.spec.Gain*p.spec.Gain))
}

// Signal is the mean and the temporal noise (standard deviation) of the numbers
// that come out for a mean count of photons, in DN, the mean taken from that
// without light:
//
//	μy − μy.dark = K η μp
//	σy² = K² σd² + 1/12 + K (μy − μy.dark)
//
// with gain K, quantum efficiency η, read noise σd. There is no answer (false)
// for counts below 0 or above SaturationPhotons. 1/12 holds where the noise
// spreads over more than about a quarter of a DN (EMVA 1288, from memory); with
// less it is the mean over all levels between two numbers, and the noise at one
// level is anything from 0 to half a DN.
//
// Source: EMVA 1288 release 3.1, linear model (from memory), as implemented by
// EMVA1288/emva1288.
func (p Photosite) Signal(photons float64) (mean, noise float64, ok bool) {
	if p == (Photosite{}) || !(photons >= 0 && photons <= p.SaturationPhotons()) {
		return 0, 0, false
	}
	electrons := p.spec.QuantumEfficiency * photons
	return p.spec.Gain * electrons, p.spec.Gain * math.Sqrt(electrons+p.darkVariance()), true
}

// SNR is the ratio of signal to temporal noise for a mean count of photons:
//
//	SNR = μe / sqrt(μe + σd² + 1/(12 K²)), μe = η μp
//
// In decibels it is 20 log10, in stops log2. There is no answer (false) for
// counts below 0 or above SaturationPhotons.
//
// Source: EMVA 1288 release 3.1, eq. 19 and 20 (from memory).
func (p Photosite) SNR(photons float64) (float64, bool) {
	mean, noise, ok := p.Signal(photons)
	if !ok {
		return 0, false
	}
	return mean / noise, true
}

// SaturationPhotons is the mean count of photons that fills the photosite:
//
//	μp.sat = μe.sat / η
//
// Source: EMVA 1288, saturation capacity, as implemented by EMVA1288/emva1288.
func (p Photosite) SaturationPhotons() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return p.spec.Saturation / p.spec.QuantumEfficiency
}

// MaxSNR is the ratio of signal to noise at saturation, where that of the light
// itself is taken to be all there is:
//
//	SNRmax = sqrt(μe.sat)
//
// Source: as SaturationPhotons.
func (p Photosite) MaxSNR() float64 { return math.Sqrt(p.spec.Saturation) }

// Threshold is the absolute sensitivity threshold in photons, by the
// approximation of the standard:
//
//	μp.min = (σ + 1/2) / η
//	σ²     = max(σd² + 1/(12 K²), 0.24/K²)
//
// σ is the dark noise in electrons. Its floor, 0.24 DN², is what the standard
// sets in place of any smaller dark variance, which rounding hides. Threshold is
// below ExactThreshold by half an electron at most, and by less than 1/(8 σ)
// electrons.
//
// Source: as SaturationPhotons, the floor included.
func (p Photosite) Threshold() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return (math.Sqrt(p.thresholdVariance()) + 0.5) / p.spec.QuantumEfficiency
}

// ExactThreshold is the mean count of photons at which SNR is 1 with the dark
// noise σ of Threshold:
//
//	μp = (1 + sqrt(1 + 4 σ²)) / (2 η)
//
// Where the floor of σ counts, SNR itself is more than 1 there: it is the mean
// over all dark levels, and the threshold is for one that lies badly.
//
// Source: the root of μe = sqrt(μe + σ²), a quadratic in μe.
func (p Photosite) ExactThreshold() float64 {
	if p == (Photosite{}) {
		return 0
	}
	return (1 + math.Sqrt(1+4*p.thresholdVariance())) / (2 * p.spec.QuantumEfficiency)
}

// DynamicRange is the ratio of the brightest to the darkest light that the
// photosite tells:
//
//	DR = μp.sat / μp.min, μp.min as in Threshold
//
// In decibels it is 20 log10, in stops log2.
//
// Source: as SaturationPhotons.
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

// Photons is the mean count of photons of one wavelength that reach a photosite
// in a time, by the irradiance of the sensor in W/m²:
//
//	μp = px py t E λ / (h c)
//
// Pitches of 0.1 µm to 1 mm, times of 1 ns to 1e6 s, wavelengths of 10 nm to
// 30 µm and irradiances of 0 to 1e13 W/m² are answered, others are errors.
//
// Source: EMVA 1288 release 3.1, eq. 3 and 4 (from memory); h and c of the SI.
func Photons(irradiance float64, wavelength, pitchX, pitchY unit.Length, t unit.Time) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number("irradiance", irradiance, "W/m²", valid.Closed(0.0, 1e13))
	checkWavelength(c, wavelength)
	checkPitch(c, "pitch x", pitchX)
	checkPitch(c, "pitch y", pitchY)
	checkTime(c, t)
	if err := c.Err(); err != nil {
		return 0, err
	}
	energy := irradiance * float64(pitchX) * float64(pitchY) * float64(t)
	return energy * float64(wavelength) / (planck * lightSpeed), nil
}

func checkWavelength(c *valid.Checker, l unit.Length) {
	c.Length("wavelength", l, wavelengths)
}

// Irradiance is the irradiance of the sensor in W/m² on the axis of a lens that
// loses nothing, by an even surface of a radiance in W/(m²·sr):
//
//	E = π R / (4 N²)
//
// N is the working f-number; for a far object it is the f-number itself. The
// lens meets the sine condition, as every lens that is sharp near its axis does:
// the rim of its cone of light stands at α from the axis with sin α = 1/(2N), so
// E = π R sin² α. EMVA 1288 lights a bare sensor through a flat round opening
// instead, whose distance over diameter it calls f-number: there tan α is
// 1/(2N), and E is π R/(1 + (2N)²), 0.17 stops less at N = 1.4. Radiances
// outside 0 to 1e12 and N outside 0.5 to 1024 are errors.
//
// Source: the sine condition, M. Born and E. Wolf, Principles of Optics, section
// 4.8, from memory; ISO 12232:2006 has the same π/(4 N²), as restated by
// colour-hdri.
func Irradiance(radiance, fNumber float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number("radiance", radiance, "W/(m²·sr)", valid.Closed(0.0, 1e12))
	checkFNumber(c, fNumber)
	if err := c.Err(); err != nil {
		return 0, err
	}
	return math.Pi * radiance / (4 * fNumber * fNumber), nil
}
