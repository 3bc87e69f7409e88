package photosite

import (
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Exact by definition of the SI since 2019.
const (
	planck     = 6.62607015e-34 // J·s
	lightSpeed = 299792458      // m/s
	efficacy   = 683            // lm/W, of light of 540 THz; the luminosity function is 1 at 555 nm in air
)

const nanometre = unit.Nano * unit.Metre

// The band in which light counts as visible: that of the luminosity function.
var visible = valid.Closed(360*nanometre, 830*nanometre)

// Illuminant is a light whose spectrum the CIE gives. Its zero value is none.
//
// Source: CIE 15 (from memory): A by its formula, D65 by its table, which was read in
// colord 1.4.6, data/illuminant/CIE-D65.sp.
type Illuminant uint8

// The illuminants.
const (
	EqualEnergy   Illuminant = iota + 1 // the same power at all wavelengths
	IlluminantA                         // incandescent lamps, 2856 K
	IlluminantD65                       // average daylight, 6500 K
)

var illuminants = enum.New[Illuminant](ErrInvalid, []string{
	EqualEnergy: "equal energy", IlluminantA: "illuminant A", IlluminantD65: "illuminant D65",
})

// String gives a name like "illuminant A".
func (i Illuminant) String() string { return illuminants.Name(i) }

// MarshalText gives the name. An unknown Illuminant is an error.
func (i Illuminant) MarshalText() ([]byte, error) { return illuminants.Marshal(i) }

// UnmarshalText reads a name. Any other text is an error and leaves i unchanged.
func (i *Illuminant) UnmarshalText(text []byte) error { return illuminants.Unmarshal(i, text) }

// Sample is the power of a light at a wavelength, in any unit per nanometre.
type Sample struct {
	Wavelength unit.Length
	Power      float64
}

// SpectrumSpec describes a light in one of three ways: by Illuminant, Line or
// Samples.
type SpectrumSpec struct {
	// Illuminant is a standard light.
	Illuminant Illuminant `json:",omitzero"`
	// Line is the wavelength of light of a single wavelength, 360 to 830 nm.
	Line unit.Length `json:",omitzero"`
	// Samples are a measured spectrum: at least two, wavelengths increasing from
	// 360 to 830 nm, powers 0 to 1e12. Between samples the power is linear, outside
	// of them it is 0.
	Samples []Sample `json:",omitzero"`
}

// Spectrum is the spectral power of a light in relative numbers. It is immutable.
// The methods of its zero value return zeros and false.
type Spectrum struct {
	samples []node // increasing; none for a line
	line    float64
	lumens  float64 // of the whole spectrum, per unit of its power
}

type node struct{ nm, power float64 }

// NewSpectrum makes a Spectrum.
func NewSpectrum(spec SpectrumSpec) (Spectrum, error) {
	c := valid.New("photosite", ErrInvalid)
	var s Spectrum
	ways := 0
	if spec.Illuminant != 0 {
		ways++
		illuminants.Check(c, "illuminant", spec.Illuminant)
		s.samples = spec.Illuminant.nodes()
	}
	if spec.Line != 0 {
		ways++
		c.Length("line", spec.Line, visible)
		s.line = float64(spec.Line / nanometre)
	}
	if spec.Samples != nil {
		ways++
		s.samples = checkSamples(c, spec.Samples)
	}
	if ways != 1 {
		c.Fault("spectrum", fmt.Sprintf("given in %d ways", ways), "give one of illuminant, line and samples")
	}
	if !c.OK() {
		return Spectrum{}, c.Err()
	}
	if s.line != 0 {
		s.lumens = efficacy * luminosity(s.line)
	} else {
		s.lumens = efficacy * s.integral(visibleFrom, visibleTo, luminosity)
	}
	if !(s.lumens >= math.SmallestNonzeroFloat64*1e30) {
		return Spectrum{}, c.Refuse("spectrum", "without visible light", "must have power where the luminosity function is not 0")
	}
	return s, nil
}

func checkSamples(c *valid.Checker, samples []Sample) (nodes []node) {
	c.Int("count of samples", len(samples), "", 2, 1<<20)
	for i, s := range samples {
		c.Length(fmt.Sprintf("sample %d, wavelength", i), s.Wavelength, visible)
		c.Number(fmt.Sprintf("sample %d, power", i), s.Power, "", valid.Closed(0.0, 1e12))
		if !c.OK() {
			return nil // one fault of a long table is enough
		}
		at := node{float64(s.Wavelength / nanometre), s.Power}
		if i > 0 && at.nm <= nodes[i-1].nm {
			c.Fault(fmt.Sprintf("sample %d, wavelength", i), quantity.Length(s.Wavelength), "must be more than the one before")
			return nil
		}
		nodes = append(nodes, at)
	}
	return nodes
}

// PhotonsPerLuxSecond is how many photons of a band reach 1 µm² of the sensor by a
// focal-plane exposure of 1 lx·s:
//
//	n = ∫ S λ/(h c) dλ / (683 lm/W ∫ S V dλ)
//
// with spectral power S and luminosity function V. The upper integral goes over the
// band, that of the light which the filters before the sensor let through. The lower
// one goes over the whole light, since a meter sees it without those filters. The
// band matters more than the light: from 400 to 700 nm illuminant A brings 11980
// photons, from 380 to 780 nm it brings 21000. State the band with the number. ok is
// false if the band is not increasing, is not within 360 to 830 nm, or holds no light.
//
// The power of an illuminant is linear between values every 5 nm.
//
// Source: EMVA 1288 release 3.1, eq. 3 and 4 (from memory); CIE 018 (from memory) for
// 683 lm/W and V, whose table was read in colord 1.4.6, data/cmf/CIE1931-2deg-XYZ.cmf;
// h and c of the SI.
func (s Spectrum) PhotonsPerLuxSecond(from, to unit.Length) (perSquareMicrometre float64, ok bool) {
	if s.lumens == 0 || !visible.Contains(float64(from)) || !visible.Contains(float64(to)) || from >= to {
		return 0, false
	}
	low, high := float64(from/nanometre), float64(to/nanometre)
	var power float64 // times wavelength in nm
	switch {
	case s.line == 0:
		power = s.integral(low, high, func(nm float64) float64 { return nm })
	case s.line >= low && s.line <= high:
		power = s.line
	}
	if power <= 0 {
		return 0, false
	}
	return power / s.lumens * (1e-9 * 1e-12 / (planck * lightSpeed)), true
}

// LumensPerWatt is the luminous efficacy of the light in lm/W:
//
//	K = 683 lm/W ∫ S V dλ / ∫ S dλ
//
// both from 360 to 830 nm. Multiply an irradiance in W/m² by it to have lx.
//
// Source: CIE 018 (from memory).
func (s Spectrum) LumensPerWatt() float64 {
	switch {
	case s.lumens == 0:
		return 0
	case s.line != 0:
		return s.lumens
	}
	return s.lumens / s.integral(visibleFrom, visibleTo, func(float64) float64 { return 1 })
}

// integral is that of the power times weight over a band. Between the nodes of the
// spectrum and of the luminosity function the power is linear and the weight a
// polynomial of at most degree 3, so that Gauss's rule of three points is exact.
func (s Spectrum) integral(from, to float64, weight func(nm float64) float64) float64 {
	from, to = max(from, s.samples[0].nm), min(to, s.samples[len(s.samples)-1].nm)
	if from >= to {
		return 0
	}
	at := []float64{from, to}
	for _, n := range s.samples {
		if n.nm > from && n.nm < to {
			at = append(at, n.nm)
		}
	}
	for nm := visibleFrom; nm <= visibleTo; nm += luminosityStep {
		if nm > from && nm < to {
			at = append(at, nm)
		}
	}
	slices.Sort(at)
	sum := 0.0
	for i, b := range at[1:] {
		f := func(nm float64) float64 { return s.power(nm) * weight(nm) }
		middle, half := (at[i]+b)/2, (b-at[i])/2
		off := half * math.Sqrt(3./5)
		sum += half / 9 * (5*f(middle-off) + 8*f(middle) + 5*f(middle+off))
	}
	return sum
}

// power is the power at a wavelength within the samples.
func (s Spectrum) power(nm float64) float64 {
	i, _ := slices.BinarySearchFunc(s.samples, nm, func(n node, nm float64) int {
		switch {
		case n.nm < nm:
			return -1
		case n.nm > nm:
			return 1
		}
		return 0
	})
	b := s.samples[min(i, len(s.samples)-1)]
	if b.nm <= nm || i == 0 {
		return b.power
	}
	a := s.samples[i-1]
	return a.power + (b.power-a.power)*(nm-a.nm)/(b.nm-a.nm)
}

// nodes are the samples of an illuminant.
func (i Illuminant) nodes() (nodes []node) {
	switch i {
	case EqualEnergy:
		return []node{{visibleFrom, 1}, {visibleTo, 1}}
	case IlluminantA:
		const c2, kelvin = 1.435e7, 2848 // nm·K, K: the formula keeps the old constants
		for nm := visibleFrom; nm <= visibleTo; nm += luminosityStep {
			nodes = append(nodes, node{nm, math.Pow(nm/560, -5) / math.Expm1(c2/(kelvin*nm))})
		}
	case IlluminantD65:
		for i, power := range d65 {
			nodes = append(nodes, node{visibleFrom + d65Step*float64(i), power})
		}
	}
	return nodes
}

// luminosity is V at a wavelength from visibleFrom to visibleTo: the polynomial
// through the four nearest values of the table, as CIE 015 advises (from memory).
func luminosity(nm float64) float64 {
	at := (nm - visibleFrom) / luminosityStep
	first := max(0, min(int(at)-1, len(luminosities)-4))
	sum := 0.0
	for i := range 4 {
		term := luminosities[first+i]
		for j := range 4 {
			if j != i {
				term *= (at - float64(first+j)) / float64(i-j)
			}
		}
		sum += term
	}
	return sum
}
