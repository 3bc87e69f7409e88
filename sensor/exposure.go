package sensor

import (
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ExposureSpec describes how a picture is exposed. What concerns the lens may
// stay zero, which means a lens that loses nothing, on its axis, focused far.
type ExposureSpec struct {
	// FNumber is the focal length over the diameter of the entrance pupil, 0.5
	// to 1024. A T-number may stand in its place, with
	// Transmittance left at zero: it has the loss in the glass in it.
	FNumber float64
	// Time that the sensor gathers light, 1 ns to 1e6 s.
	Time unit.Time
	// Index is the ISO exposure index that the camera is set to, 0.1 to 1e8.
	Index float64

	// Transmittance of the lens, above 0 to 1. Zero means 1.
	Transmittance float64
	// Unvignetted is the part of the light that mechanical vignetting leaves,
	// above 0 to 1. Zero means 1.
	Unvignetted float64
	// OffAxis is the angle of the chief ray from the axis, 0 to less than 90°.
	OffAxis unit.Angle
	// Magnification is picture size over object size, 0 (far) to 100.
	Magnification float64
	// FlareExposure is what stray light adds, in lx·s; 0 to 1e6.
	FlareExposure float64
}

// Exposure is a checked exposure. It is immutable and comparable; the methods
// of its zero value return zeros and false.
type Exposure struct {
	n2          float64 // f-number squared
	t, index    float64
	q           float64 // focal-plane lux-seconds per (cd/m² · t / n2)
	flareLuxSec float64
}

// NewExposure checks a spec.
func NewExposure(spec ExposureSpec) (Exposure, error) {
	if spec.Transmittance == 0 {
		spec.Transmittance = 1
	}
	if spec.Unvignetted == 0 {
		spec.Unvignetted = 1
	}
	c := valid.New("sensor", ErrInvalid)
	checkFNumber(c, spec.FNumber)
	checkTime(c, spec.Time)
	checkIndex(c, "index", spec.Index)
	c.Number("transmittance", spec.Transmittance, "", valid.Above(0.0, 1))
	c.Number("unvignetted", spec.Unvignetted, "", valid.Above(0.0, 1))
	c.Angle("off-axis angle", spec.OffAxis, valid.Below(0, 90*Degree))
	c.Number("magnification", spec.Magnification, "", valid.Closed(0.0, 100))
	c.Number("flare exposure", spec.FlareExposure, "lx·s", valid.Closed(0.0, 1e6))
	if err := c.Err(); err != nil {
		return Exposure{}, err
	}
	cos := math.Cos(float64(spec.OffAxis))
	focus := 1 / (1 + spec.Magnification) // F/i of a thin lens
	return Exposure{
		n2:          spec.FNumber * spec.FNumber,
		t:           float64(spec.Time),
		index:       spec.Index,
		q:           math.Pi / 4 * spec.Transmittance * spec.Unvignetted * (cos * cos * cos * cos) * focus * focus,
		flareLuxSec: spec.FlareExposure,
	}, nil
}

func checkFNumber(c *valid.Checker, n float64) { c.Number("f-number", n, "", fNumbers) }

func checkTime(c *valid.Checker, t unit.Time) { c.Time("exposure time", t, times) }

func checkIndex(c *valid.Checker, field string, s float64) { c.Number(field, s, "", indices) }

// EV is the exposure value of the f-number and the time, whatever the index:
//
//	EV = log2(N² / t), t in seconds
//
// One more halves the light on the sensor.
//
// Source: ISO 2720:1974; ASA PH2.12-1961 (from memory).
func (e Exposure) EV() float64 {
	if e == (Exposure{}) {
		return 0
	}
	return math.Log2(e.n2 / e.t)
}

// EV100 is the exposure value that would suit the same scene at index 100:
//
//	EV100 = log2(N² / t) − log2(S / 100), S the index
//
// One more is twice the light in the scene.
//
// Source: as EV.
func (e Exposure) EV100() float64 {
	if e == (Exposure{}) {
		return 0
	}
	return math.Log2(e.n2 / e.t * (100 / e.index))
}

// Luminance is the luminance in cd/m² for which a reflected-light meter would
// give these settings:
//
//	L = N² K / (t S)
//
// K is the constant of the meter; see EV100FromLuminance. There is no answer
// (false) for a K outside 1 to 1000, nor for a luminance outside 1e-12 to 1e12
// cd/m².
//
// Source: ISO 2720:1974.
func (e Exposure) Luminance(k float64) (float64, bool) { return e.metered(k, reflected) }

// Illuminance is the illuminance in lx for which an incident-light meter would
// give these settings:
//
//	E = N² C / (t S)
//
// C is the constant of the meter; see EV100FromIlluminance. There is no answer
// (false) for a C outside 10 to 10000, nor for an illuminance outside 1e-12 to
// 1e12 lx.
//
// Source: ISO 2720:1974.
func (e Exposure) Illuminance(c float64) (float64, bool) { return e.metered(c, incident) }

func (e Exposure) metered(constant float64, m meter) (float64, bool) {
	if e == (Exposure{}) || !m.constants.Contains(constant) {
		return 0, false
	}
	light := e.n2 * constant / (e.t * e.index)
	if !lights.Contains(light) {
		return 0, false
	}
	return light, true
}

// FocalPlane is the exposure of the sensor in lux-seconds by a surface of that
// luminance in cd/m²:
//
//	H = q L t (F/i)² / N² + Hf
//	q = (π/4) T v cos⁴θ
//	F/i = 1 / (1 + m)
//
// with transmittance T, vignetting v, off-axis angle θ, magnification m, focal
// length F, image distance i, flare Hf. On the axis of a lens focused far, this
// is t times what Irradiance gives for a radiance. cos⁴θ and F/i are those of a
// thin lens that does not distort; a fisheye keeps more light at its edge, so
// give it OffAxis 0 and put its measured falloff into Unvignetted. There is no
// answer (false) for a luminance outside 0 to 1e12 cd/m².
//
// Source: ISO 12232:2006, focal-plane exposure, as restated by colour-hdri
// (module dsc).
func (e Exposure) FocalPlane(luminance float64) (luxSeconds float64, ok bool) {
	if e == (Exposure{}) || !valid.Closed(0, lights.Max).Contains(luminance) {
		return 0, false
	}
	return e.q*luminance*e.t/e.n2 + e.flareLuxSec, true
}

// Saturation is the part of a full photosite that a surface of that luminance
// in cd/m² fills, on a sensor of that saturation-based speed:
//
//	fraction = H / Hsat = H · Ssat / 78
//
// with H as in FocalPlane. Above 1 the sensor clips. The speed is a property of
// the sensor (see SaturationSpeed) and need not be the index it is set to.
// There is no answer (false) for a luminance outside 0 to 1e12 cd/m² or a speed
// outside 0.1 to 1e8.
//
// Source: ISO 12232:2006, saturation-based speed, as restated by colour-hdri.
func (e Exposure) Saturation(luminance, saturationSpeed float64) (fraction float64, ok bool) {
	h, ok := e.FocalPlane(luminance)
	if !ok || !indices.Contains(saturationSpeed) {
		return 0, false
	}
	return h * saturationSpeed / saturationConstant, true
}

// SaturationMargin is how many stops a surface of that luminance in cd/m² stays
// below saturation:
//
//	margin = −log2(fraction), fraction as in Saturation
//
// It is negative where the sensor clips. There is no answer (false) where
// Saturation has none, nor where no light arrives at all.
//
// Source: as Saturation.
func (e Exposure) SaturationMargin(luminance, saturationSpeed float64) (stops float64, ok bool) {
	fraction, ok := e.Saturation(luminance, saturationSpeed)
	if !ok || fraction <= 0 {
		return 0, false
	}
	return -math.Log2(fraction), true
}

const (
	saturationConstant = 78 // lx·s
	indexConstant      = 10 // lx·s
)

// SaturationSpeed is the ISO speed of a sensor that is full at a focal-plane
// exposure:
//
//	Ssat = 78 / Hsat, Hsat in lx·s
//
// At that index an 18 % grey exposed to 10/Ssat leaves a full white about half a
// stop below saturation: 78 is near 10 √2 / 0.18. Exposures outside 7.8e-7 to
// 780 lx·s are errors: they give no speed from 0.1 to 1e8. SaturationExposure is
// the inverse.
//
// Source: ISO 12232:2006, as restated by colour-hdri.
func SaturationSpeed(saturationLuxSeconds float64) (float64, error) {
	return overExposure("saturation exposure", saturationConstant, saturationLuxSeconds)
}

// SaturationExposure is the focal-plane exposure in lx·s that fills a sensor of
// a saturation-based speed:
//
//	Hsat = 78 / Ssat
//
// Speeds outside 0.1 to 1e8 are errors. SaturationSpeed is the inverse.
//
// Source: as SaturationSpeed.
func SaturationExposure(saturationSpeed float64) (luxSeconds float64, err error) {
	c := valid.New("sensor", ErrInvalid)
	checkIndex(c, "saturation speed", saturationSpeed)
	if err := c.Err(); err != nil {
		return 0, err
	}
	return saturationConstant / saturationSpeed, nil
}

// ExposureIndex is the index at which an arithmetic mean focal-plane exposure
// is the one intended:
//
//	EI = 10 / Ha, Ha in lx·s
//
// Exposures outside 1e-7 to 100 lx·s are errors: they give no index from 0.1 to
// 1e8.
//
// Source: ISO 12232:2006, as restated by colour-hdri.
func ExposureIndex(meanLuxSeconds float64) (float64, error) {
	return overExposure("mean exposure", indexConstant, meanLuxSeconds)
}

func overExposure(field string, constant, luxSeconds float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number(field, luxSeconds, "lx·s", valid.Closed(constant/indices.Max, constant/indices.Min))
	if err := c.Err(); err != nil {
		return 0, err
	}
	return constant / luxSeconds, nil
}

// meter is the constant of a kind of meters. The ranges of the standard are
// narrower.
type meter struct {
	name, unit string
	constants  valid.Range
}

var (
	reflected = meter{"meter constant K", "cd·s/m²", valid.Closed(1.0, 1000)}
	incident  = meter{"meter constant C", "lx·s", valid.Closed(10.0, 10000)}
)

func (m meter) check(c *valid.Checker, constant float64) {
	c.Number(m.name, constant, m.unit, m.constants)
}

// EV100FromLuminance is the exposure value at index 100 that a reflected-light
// meter gives for a luminance in cd/m²:
//
//	EV100 = log2(100 L / K)
//
// K is the constant of the meter in cd·s/m², which ISO 2720:1974 lets lie from
// 10.6 to 13.4; 12.5 is common, and so is 14, outside that range. At an index S
// the exposure value is higher by log2(S/100). Luminances outside 1e-12 to 1e12
// cd/m² and K outside 1 to 1000 are errors. LuminanceFromEV100 is the inverse.
//
// Source: ISO 2720:1974, as restated by colour-hdri (module exposure).
func EV100FromLuminance(luminance, k float64) (float64, error) {
	return ev100(luminance, "luminance", "cd/m²", k, reflected)
}

// LuminanceFromEV100 is the luminance in cd/m² for which a reflected-light meter
// gives an exposure value at index 100:
//
//	L = 2^EV100 · K / 100
//
// Luminances outside 1e-12 to 1e12 cd/m² and K outside 1 to 1000 are errors.
// EV100FromLuminance is the inverse.
//
// Source: as EV100FromLuminance.
func LuminanceFromEV100(ev, k float64) (float64, error) {
	return light(ev, "luminance", "cd/m²", k, reflected)
}

// EV100FromIlluminance is the exposure value at index 100 that an incident-light
// meter gives for an illuminance in lx:
//
//	EV100 = log2(100 E / C)
//
// C is the constant of the meter in lx·s, which ISO 2720:1974 lets lie from 240
// to 400 for a flat receptor (250 is common) and from 320 to 540 for a
// hemispherical one. Illuminances outside 1e-12 to 1e12 lx and C outside 10 to
// 10000 are errors. IlluminanceFromEV100 is the inverse.
//
// Source: as EV100FromLuminance.
func EV100FromIlluminance(illuminance, c float64) (float64, error) {
	return ev100(illuminance, "illuminance", "lx", c, incident)
}

// IlluminanceFromEV100 is the illuminance in lx for which an incident-light
// meter gives an exposure value at index 100:
//
//	E = 2^EV100 · C / 100
//
// Illuminances outside 1e-12 to 1e12 lx and C outside 10 to 10000 are errors.
// EV100FromIlluminance is the inverse.
//
// Source: as EV100FromLuminance.
func IlluminanceFromEV100(ev, c float64) (float64, error) {
	return light(ev, "illuminance", "lx", c, incident)
}

func ev100(v float64, field, unitName string, constant float64, m meter) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	c.Number(field, v, unitName, lights)
	m.check(c, constant)
	if err := c.Err(); err != nil {
		return 0, err
	}
	return math.Log2(100 * v / constant), nil
}

func light(ev float64, field, unitName string, constant float64, m meter) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	m.check(c, constant)
	if err := c.Err(); err != nil {
		return 0, err
	}
	v := snapped(math.Exp2(ev)*constant/100, lights)
	c.Number(resulting(field, ev), v, unitName, lights)
	return answer(c, v)
}

func checkEV(c *valid.Checker, ev float64) { c.Number("exposure value", ev, "EV", values) }

// resulting names a quantity that an exposure value comes to.
func resulting(field string, ev float64) string {
	return fmt.Sprintf("%s for %s", field, quantity.Number(ev, "EV"))
}

// answer is v, or 0 with the faults that were found.
func answer[T ~float64](c *valid.Checker, v T) (T, error) {
	if !c.OK() {
		return 0, c.Err()
	}
	return v, nil
}

// TimeForEV100 is the exposure time that suits a scene of an exposure value at
// index 100, with an f-number and an index:
//
//	t = 100 N² / (2^EV100 · S)
//
// Exposure values beyond ±100, f-numbers outside 0.5 to 1024, indices outside
// 0.1 to 1e8 and times outside 1 ns to 1e6 s are errors. FNumberForEV100 answers
// for the aperture.
//
// Source: ISO 2720:1974, solved for t.
func TimeForEV100(ev, fNumber, index float64) (unit.Time, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	checkFNumber(c, fNumber)
	checkIndex(c, "index", index)
	if err := c.Err(); err != nil {
		return 0, err
	}
	t := unit.Time(snapped(100*fNumber*fNumber/(math.Exp2(ev)*index), times))
	c.Time(resulting("exposure time", ev), t, times)
	return answer(c, t)
}

// FNumberForEV100 is the f-number that suits a scene of an exposure value at
// index 100, with an exposure time and an index:
//
//	N = sqrt(2^EV100 · t · S / 100)
//
// Exposure values beyond ±100, times outside 1 ns to 1e6 s, indices outside 0.1
// to 1e8 and f-numbers outside 0.5 to 1024 are errors. TimeForEV100 answers for
// the time.
//
// Source: ISO 2720:1974, solved for N.
func FNumberForEV100(ev float64, t unit.Time, index float64) (float64, error) {
	c := valid.New("sensor", ErrInvalid)
	checkEV(c, ev)
	checkTime(c, t)
	checkIndex(c, "index", index)
	if err := c.Err(); err != nil {
		return 0, err
	}
	n := snapped(math.Sqrt(math.Exp2(ev)*float64(t)*index/100), fNumbers)
	c.Number(resulting("f-number", ev), n, "", fNumbers)
	return answer(c, n)
}
