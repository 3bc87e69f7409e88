package sensor

import (
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ExposureSpec describes the settings of a camera and the losses of its lens.
// Where the fields of the lens are zero, the lens loses nothing, the surface is
// on its axis, and the focus is far.
type ExposureSpec struct {
	// FNumber is the f-number of the lens. If it is a T-number, leave the glass out of
	// Transmission: a T-number includes the loss in it.
	FNumber float64
	// Time is the exposure time.
	Time unit.Time
	// Index is the ISO exposure index that the camera is set to. It plays a part in
	// the meter formulas alone: EV100, Luminance, Illuminance.
	Index float64

	// Transmission is the fraction of the light that glass and filters let through, the
	// product of all of them, above 0 to 1. Zero means 1. It plays a part, as all fields
	// below, in FocalPlane and what follows from it. The meter formulas EV100,
	// Luminance and Illuminance leave it out: for them, give a T-number as FNumber.
	Transmission float64
	// RelativeIllumination is the illumination of the sensor at the image of the
	// surface over that on the axis, by natural falloff and vignetting; above 0 to 10,
	// since a few fisheyes gain towards the edge. Zero means 1, on the axis. Packages
	// lens and lens/wide compute it.
	RelativeIllumination float64
	// Magnification is image size over object size, 0 to 100. A far surface has 0.
	Magnification float64
	// FlareExposure is the focal-plane exposure that stray light adds, 0 to
	// 1e6 lx·s.
	FlareExposure float64
}

// Exposure is how a camera exposes a scene. It is immutable and comparable. The
// methods of its zero value return zeros and false.
type Exposure struct {
	n2          float64 // f-number squared
	t, index    float64
	q           float64 // focal-plane lux-seconds per (cd/m² · t / n2)
	flareLuxSec float64
}

// NewExposure makes an Exposure.
func NewExposure(spec ExposureSpec) (Exposure, error) {
	if spec.Transmission == 0 {
		spec.Transmission = 1
	}
	if spec.RelativeIllumination == 0 {
		spec.RelativeIllumination = 1
	}
	c := valid.New("sensor", ErrInvalid)
	checkFNumber(c, spec.FNumber)
	checkTime(c, spec.Time)
	checkIndex(c, "index", spec.Index)
	c.Number("transmission", spec.Transmission, "", valid.Above(0.0, 1))
	c.Number("relative illumination", spec.RelativeIllumination, "", valid.Above(0.0, 10))
	c.Number("magnification", spec.Magnification, "", valid.Closed(0.0, 100))
	c.Number("flare exposure", spec.FlareExposure, "lx·s", valid.Closed(0.0, 1e6))
	if err := c.Err(); err != nil {
		return Exposure{}, err
	}
	focus := 1 / (1 + spec.Magnification) // F/i of a thin lens
	return Exposure{
		n2:          spec.FNumber * spec.FNumber,
		t:           float64(spec.Time),
		index:       spec.Index,
		q:           math.Pi / 4 * spec.Transmission * spec.RelativeIllumination * focus * focus,
		flareLuxSec: spec.FlareExposure,
	}, nil
}

func checkFNumber(c *valid.Checker, n float64) { c.Number("f-number", n, "", valid.FNumbers) }

func checkTime(c *valid.Checker, t unit.Time) { c.Time("exposure time", t, valid.ExposureTimes) }

func checkIndex(c *valid.Checker, field string, s float64) { c.Number(field, s, "", indices) }

// EV is the exposure value of the f-number and the time. The index plays no
// part.
//
//	EV = log2(N² / t)    t in s
//
// One EV more is half the light on the sensor.
//
// Source: ISO 2720:1974; ASA PH2.12-1961 (from memory).
func (e Exposure) EV() float64 {
	if e == (Exposure{}) {
		return 0
	}
	return math.Log2(e.n2 / e.t)
}

// EV100 is the exposure value of the scene for which these settings are right,
// at index 100:
//
//	EV100 = log2(N² / t) − log2(S / 100)    S the index
//
// One EV more is twice the light in the scene.
func (e Exposure) EV100() float64 {
	if e == (Exposure{}) {
		return 0
	}
	return math.Log2(e.n2 / e.t * (100 / e.index))
}

// Luminance is the luminance in cd/m² for which a reflected-light meter gives
// these settings:
//
//	L = N² K / (t S)    K the constant of the meter
//
// ok is false if K or L is out of range.
func (e Exposure) Luminance(k float64) (cdPerM2 float64, ok bool) { return reflected.light(e, k) }

// Illuminance is the illuminance in lx for which an incident-light meter gives
// these settings:
//
//	E = N² C / (t S)    C the constant of the meter
//
// ok is false if C or E is out of range.
func (e Exposure) Illuminance(c float64) (lux float64, ok bool) { return incident.light(e, c) }

// FocalPlane is the focal-plane exposure in lx·s by a surface of a luminance
// L in cd/m²:
//
//	H   = q L t (F/i)² / N² + Hf
//	q   = (π/4) T R
//	F/i = 1 / (1 + m)
//
// with transmission T, relative illumination R, magnification m, focal length F, image
// distance i and flare exposure Hf. The standard writes v cos⁴θ for R, with vignetting
// factor v and field angle θ: the falloff of a thin lens without distortion. F/i is that
// of a thin lens. ok is false if L is outside 0 to 1e12 cd/m².
//
// Source: ISO 12232:2006, focal-plane exposure.
func (e Exposure) FocalPlane(luminance float64) (luxSeconds float64, ok bool) {
	if e == (Exposure{}) || !valid.Closed(0, valid.Luminances.Max).Contains(luminance) {
		return 0, false
	}
	return e.q*luminance*e.t/e.n2 + e.flareLuxSec, true
}

// FractionOfSaturation is the focal-plane exposure by a surface of a luminance
// in cd/m², as a fraction of the exposure that saturates the sensor:
//
//	fraction = H / Hsat = H · Ssat / 78
//
// H is that of FocalPlane, Ssat the saturation-based speed of the sensor: measured, or
// Photosite.SaturationSpeed of package photosite. The sensor clips above 1. The index
// set on a camera is no such speed, and often several times higher. ok is false if
// FocalPlane has no answer or the speed is out of range.
//
// Source: ISO 12232:2006, saturation-based speed.
func (e Exposure) FractionOfSaturation(luminance, saturationSpeed float64) (fraction float64, ok bool) {
	h, ok := e.FocalPlane(luminance)
	if !ok || !indices.Contains(saturationSpeed) {
		return 0, false
	}
	return h * saturationSpeed / saturationConstant, true
}

// SaturationMargin is how many stops a surface of a luminance in cd/m² is below
// saturation:
//
//	margin = −log2(fraction)    fraction of FractionOfSaturation
//
// It is negative if the sensor clips. ok is false if FractionOfSaturation has no
// answer or no light arrives.
func (e Exposure) SaturationMargin(luminance, saturationSpeed float64) (stops float64, ok bool) {
	fraction, ok := e.FractionOfSaturation(luminance, saturationSpeed)
	if !ok || fraction <= 0 {
		return 0, false
	}
	return -math.Log2(fraction), true
}

const saturationConstant = 78 // lx·s

// SaturationSpeed is the ISO saturation-based speed of a sensor that saturates
// at a focal-plane exposure in lx·s:
//
//	Ssat = 78 / Hsat
//
// A grey of 18 % reflectance that receives 10/Ssat lx·s then leaves half a stop
// between a white of 100 % and saturation: 78 ≈ 10 √2 / 0.18. An exposure outside
// 7.8e-7 to 780 lx·s is an error. SaturationExposure is the inverse.
//
// Source: ISO 12232:2006.
func SaturationSpeed(saturationLuxSeconds float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number("saturation exposure", saturationLuxSeconds, "lx·s", valid.Closed(saturationConstant/indices.Max, saturationConstant/indices.Min))
	return answer(c, saturationConstant/saturationLuxSeconds)
}

// SaturationExposure is the focal-plane exposure in lx·s that saturates a
// sensor of a saturation-based speed:
//
//	Hsat = 78 / Ssat
//
// A speed out of range is an error. SaturationSpeed is the inverse.
func SaturationExposure(saturationSpeed float64) (luxSeconds float64, err error) {
	c := valid.New("sensor", ErrInvalid)
	checkIndex(c, "saturation speed", saturationSpeed)
	return answer(c, saturationConstant/saturationSpeed)
}

// meter is a kind of light meter: the light that it measures, and its constant.
// The standard allows narrower ranges of constants.
type meter struct {
	quantity, unit         string
	lights                 valid.Range
	constant, constantUnit string
	constants              valid.Range
}

var (
	reflected = meter{"luminance", "cd/m²", valid.Luminances, "meter constant K", "cd·s/m²", valid.Closed(1.0, 1000)}
	incident  = meter{"illuminance", "lx", valid.Illuminances, "meter constant C", "lx·s", valid.Closed(10.0, 10000)}
)

// light gives the light for which the meter gives the settings of e.
func (m meter) light(e Exposure, constant float64) (float64, bool) {
	if e == (Exposure{}) || !m.constants.Contains(constant) {
		return 0, false
	}
	light := e.n2 * constant / (e.t * e.index)
	if !m.lights.Contains(light) {
		return 0, false
	}
	return light, true
}

func (m meter) ev100(light, constant float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number(m.quantity, light, m.unit, m.lights)
	c.Number(m.constant, constant, m.constantUnit, m.constants)
	return answer(c, math.Log2(100*light/constant))
}

func (m meter) fromEV100(ev, constant float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	c.Number(m.constant, constant, m.constantUnit, m.constants)
	light := snapped(math.Exp2(ev)*constant/100, m.lights)
	if c.OK() {
		c.Number(resulting(m.quantity, ev), light, m.unit, m.lights)
	}
	return answer(c, light)
}

func checkEV(c *valid.Checker, ev float64) { c.Number("exposure value", ev, "EV", values) }

// resulting names a quantity that follows from an exposure value.
func resulting(field string, ev float64) string {
	return fmt.Sprintf("%s for %s", field, quantity.Number(ev, "EV"))
}

// EV100FromLuminance is the exposure value at index 100 that a reflected-light
// meter gives for a luminance in cd/m²:
//
//	EV100 = log2(100 L / K)
//
// K is the constant of the meter in cd·s/m². ISO 2720:1974 allows 10.6 to 13.4.
// 12.5 is common, and so is 14, which is outside that. An argument out of range
// is an error. LuminanceFromEV100 is the inverse.
//
// Source: ISO 2720:1974.
func EV100FromLuminance(luminance, k float64) (float64, error) { return reflected.ev100(luminance, k) }

// LuminanceFromEV100 is the luminance in cd/m² for which a reflected-light
// meter gives an exposure value at index 100:
//
//	L = 2^EV100 · K / 100
//
// An argument or a luminance out of range is an error. EV100FromLuminance is the
// inverse.
func LuminanceFromEV100(ev, k float64) (cdPerM2 float64, err error) {
	return reflected.fromEV100(ev, k)
}

// EV100FromIlluminance is the exposure value at index 100 that an
// incident-light meter gives for an illuminance in lx:
//
//	EV100 = log2(100 E / C)
//
// C is the constant of the meter in lx·s. ISO 2720:1974 allows 240 to 400 for a
// flat receptor, where 250 is common, and 320 to 540 for a hemispherical one. An
// argument out of range is an error. IlluminanceFromEV100 is the inverse.
func EV100FromIlluminance(illuminance, c float64) (float64, error) {
	return incident.ev100(illuminance, c)
}

// IlluminanceFromEV100 is the illuminance in lx for which an incident-light
// meter gives an exposure value at index 100:
//
//	E = 2^EV100 · C / 100
//
// An argument or an illuminance out of range is an error. EV100FromIlluminance is
// the inverse.
func IlluminanceFromEV100(ev, c float64) (lux float64, err error) { return incident.fromEV100(ev, c) }

// TimeForEV100 is the exposure time for a scene of an exposure value at index
// 100, with an f-number and an index:
//
//	t = 100 N² / (2^EV100 · S)
//
// An argument or a time out of range is an error. FNumberForEV100 solves for the
// f-number.
func TimeForEV100(ev, fNumber, index float64) (unit.Time, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	checkFNumber(c, fNumber)
	checkIndex(c, "index", index)
	t := unit.Time(snapped(100*fNumber*fNumber/(math.Exp2(ev)*index), valid.ExposureTimes))
	if c.OK() {
		c.Time(resulting("exposure time", ev), t, valid.ExposureTimes)
	}
	return answer(c, t)
}

// FNumberForEV100 is the f-number for a scene of an exposure value at index
// 100, with an exposure time and an index:
//
//	N = sqrt(2^EV100 · t · S / 100)
//
// An argument or an f-number out of range is an error. TimeForEV100 solves for
// the time.
func FNumberForEV100(ev float64, t unit.Time, index float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	checkTime(c, t)
	checkIndex(c, "index", index)
	n := snapped(math.Sqrt(math.Exp2(ev)*float64(t)*index/100), valid.FNumbers)
	if c.OK() {
		c.Number(resulting("f-number", ev), n, "", valid.FNumbers)
	}
	return answer(c, n)
}
