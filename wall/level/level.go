package level

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("level: invalid value")

// Curve gives the light of a signal from 0 to 1, as a fraction of Spec.White. It
// must not fall, and must give 0 to 1.
type Curve func(signal float64) float64

// Power is the curve of a display without black offset:
//
//	light = signal^exponent
//
// The exponent of Recommendation ITU-R BT.1886 (2011), Annex 1, is 2.4. An exponent
// of 0 or less gives a curve that New refuses.
func Power(exponent float64) Curve {
	return func(signal float64) float64 { return math.Pow(signal, exponent) }
}

// PQ is the light of a signal by the perceptual quantizer. The light is a fraction
// of 10 000 cd/m², so Spec.White is 10000:
//
//	light = (max(e^(1/m₂) − c₁, 0)/(c₂ − c₃ e^(1/m₂)))^(1/m₁)
//
// A signal below 0 counts as 0, one above 1 as 1. NaN gives NaN.
//
// Source: SMPTE ST 2084 (2014), 5, from memory.
func PQ(signal float64) (light float64) {
	const m1, m2 = 2610.0 / 16384, 2523.0 / 32
	const c1, c2, c3 = 3424.0 / 4096, 2413.0 / 128, 2392.0 / 128
	n := math.Pow(max(0, min(1, signal)), 1/m2)
	return math.Pow(max(n-c1, 0)/(c2-c3*n), 1/m1)
}

// Spec says how a wall turns codes into light:
//
//	wanted    = White Curve(signal)
//	luminance = Black + Dimming min(wanted, Peak), rounded to the driver's steps
//
// Dimming lowers the whole picture, and codes clip where they clipped before. For a
// processor that keeps luminances and clips sooner, lower Peak instead.
type Spec struct {
	Bits   int  // of a code: 1 to 16; at least 8 if Narrow
	Narrow bool // black and white are 16·2^(Bits−8) and 235·2^(Bits−8), not 0 and 2^Bits − 1; codes outside show the same as these

	Curve Curve
	White float64 // cd/m² that the curve gives at signal 1, 0.01 to 1e6; 0: Peak

	Peak    float64 // cd/m² of full white, undimmed: 0.01 to 1e6
	Dimming float64 // fraction of the light that is left: 1e-4 to 1; 0: 1

	// Black is the luminance of a black wall, 0 to 1e5 cd/m²: what it emits at code 0,
	// and the set light that it reflects. A matt face of reflectance ρ under an
	// illuminance E reflects ρ E/π.
	Black float64

	// DriveBits is the number of bits, 8 to 24, of the panel's driver, whose steps of
	// light are equal; 0: no steps. With DimByDrive, dimming leaves fewer of these
	// steps; without it, each step gets smaller, as by a lower current.
	DriveBits  int
	DimByDrive bool
}

// Display gives the luminance of each code of a wall. New makes it. The zero Display
// has no codes. A Display is immutable, safe for concurrent use and comparable only
// with itself.
type Display struct{ t *table }

type table struct {
	luminances []float64 // of each code
	clipped    int       // the first code above the peak, or len(luminances)
}

// New makes a Display from a Spec. It calls the curve for every code.
func New(spec Spec) (Display, error) {
	c := valid.New("level", ErrInvalid)
	least := 1
	if spec.Narrow {
		least = 8
	}
	c.Int("bits", spec.Bits, "bit", least, 16)
	if spec.Curve == nil {
		c.Unset("curve")
	}
	luminances := valid.Closed(0.01, 1e6)
	c.Number("peak", spec.Peak, unitOfLuminance, luminances)
	if spec.White != 0 {
		c.Number("white", spec.White, unitOfLuminance, luminances)
	} else {
		spec.White = spec.Peak
	}
	if spec.Dimming == 0 {
		spec.Dimming = 1
	}
	c.Number("dimming", spec.Dimming, "", valid.Closed(1e-4, 1.0))
	c.Number("black", spec.Black, unitOfLuminance, valid.Closed(0, 1e5))
	if spec.DriveBits != 0 {
		c.Int("drive bits", spec.DriveBits, "bit", 8, 24)
	}
	if !c.OK() {
		return Display{}, c.Err()
	}

	top := 1<<spec.Bits - 1
	black, span := 0.0, float64(top)
	if spec.Narrow {
		step := float64(int(1) << (spec.Bits - 8))
		black, span = 16*step, 219*step
	}
	t := &table{luminances: make([]float64, top+1), clipped: top + 1}
	last := 0.0
	for code := range t.luminances {
		light := spec.Curve(max(0, min(1, (float64(code)-black)/span)))
		if !(light >= last && light <= 1) {
			return Display{}, c.Refuse("curve", fmt.Sprintf("%.6g at code %d", light, code), "must be at least %.6g, the light of the code before, and at most 1", last)
		}
		last = light
		wanted := light * spec.White / spec.Peak
		if wanted > 1 {
			t.clipped = min(t.clipped, code)
		}
		t.luminances[code] = spec.Black + spec.Peak*spec.emitted(min(wanted, 1))
	}
	if !(t.luminances[top] > t.luminances[0]) {
		return Display{}, c.Refuse("luminance of the last code", quantity.Number(t.luminances[top], unitOfLuminance), "must be more than that of code 0")
	}
	return Display{t}, nil
}

// emitted is what the panel makes of a fraction of its peak.
func (s Spec) emitted(wanted float64) float64 {
	if s.DriveBits == 0 {
		return s.Dimming * wanted
	}
	steps := float64(int(1)<<s.DriveBits - 1)
	if s.DimByDrive {
		return math.Round(s.Dimming*wanted*steps) / steps
	}
	return s.Dimming * math.Round(wanted*steps) / steps
}

// Luminance is the luminance of a code, in cd/m². ok is false if the code is below 0
// or has more than Bits bits.
func (d Display) Luminance(code int) (luminance float64, ok bool) {
	if d.t == nil || code < 0 || code >= len(d.t.luminances) {
		return 0, false
	}
	return d.t.luminances[code], true
}

// Code is the greatest code that is no brighter than a luminance in cd/m². Of codes
// that show the same, such as the clipped ones, it is the first. ok is false if the
// luminance is below that of black or above that of the last code.
func (d Display) Code(luminance float64) (code int, ok bool) {
	if d.t == nil || !(luminance >= d.t.luminances[0] && luminance <= d.t.top()) {
		return 0, false
	}
	// The first of the codes as bright as this one.
	return d.first(d.t.luminances[d.first(math.Nextafter(luminance, math.Inf(1)))-1]), true
}

// FirstClipped is the lowest code whose wanted luminance exceeds the peak. It shows
// the same as all codes above it. ok is false if no code clips.
func (d Display) FirstClipped() (code int, ok bool) {
	if d.t == nil || d.t.clipped == len(d.t.luminances) {
		return 0, false
	}
	return d.t.clipped, true
}

// first is the lowest code at least as bright as a luminance; the number of codes if
// there is none.
func (d Display) first(luminance float64) int {
	low, high := 0, len(d.t.luminances)
	for low < high {
		if mid := (low + high) / 2; d.t.luminances[mid] < luminance {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low
}

func (t *table) top() float64 { return t.luminances[len(t.luminances)-1] }

// Fit says how much of a plate lies outside what a wall can show.
type Fit struct {
	Black, Top   float64 // cd/m² of the first and of the last code
	Highlights   float64 // fraction of samples above Top
	ClippedStops float64 // from Top to the brightest sample; 0 if none is above
	Shadows      float64 // fraction of samples below Black
}

// Fit compares wanted luminances with what the wall can show. Each is a sample of the
// plate in cd/m², as it should be seen on the wall, 0 to 1e12. Samples above Top
// clip. Samples below Black cannot be shown: the wall is never darker. No samples, and
// a sample out of range, are errors.
func (d Display) Fit(wanted []float64) (Fit, error) {
	c := d.check()
	if len(wanted) == 0 {
		c.Unset("wanted luminances")
	}
	if !c.OK() {
		return Fit{}, c.Err()
	}
	f := Fit{Black: d.t.luminances[0], Top: d.t.top()}
	above, below, brightest := 0, 0, f.Top
	for i, v := range wanted {
		switch {
		case !(v >= 0 && v <= 1e12):
			c.Number(fmt.Sprintf("wanted luminance %d", i), v, unitOfLuminance, valid.Closed(0, 1e12))
			return Fit{}, c.Err()
		case v > f.Top:
			above++
			brightest = max(brightest, v)
		case v < f.Black:
			below++
		}
	}
	f.Highlights, f.Shadows = float64(above)/float64(len(wanted)), float64(below)/float64(len(wanted))
	f.ClippedStops = math.Log2(brightest / f.Top)
	return f, nil
}

// check begins the checks of a method's arguments with the Display itself.
func (d Display) check() *valid.Checker {
	c := valid.New("level", ErrInvalid)
	if d.t == nil {
		c.Fault("display", "zero value", "must come from New")
	}
	return c
}

const unitOfLuminance = "cd/m²"
