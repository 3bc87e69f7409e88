package photosite

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"example.com/platewright/sensor"
)

// PixelSpec describes a pixel of the delivered picture by the photosites and frames
// that are added or averaged for it. A zero field, save Photosite, stands for 1.
type PixelSpec struct {
	// Photosite of the camera.
	Photosite Photosite
	// Binning is how many photosites along each side are added as charge before
	// they are read: 2 for 2 × 2; 1 to 16. The read noise counts once for all of them.
	// The converter is taken to span their sum. Photosites that are averaged after they
	// are read belong to Scale.
	Binning int
	// Scale is how many samples that were read lie along each side of a pixel, 1e-3
	// to 1e3: the headroom of the plate, sensor.Headroom.Factor, over the push-in. A
	// picture of more than 1 is averaged over the area of a pixel, one of less is
	// enlarged.
	Scale float64
	// ColourFraction is the fraction of the samples that see the colour in question,
	// 0.001 to 1. In a mosaic with two greens it is 1/2 for green, 1/4 for red and for
	// blue.
	ColourFraction float64
	// Frames is how many frames of a still scene are averaged, 1 to 1e6.
	Frames int
}

// Pixel is a pixel of the delivered picture. It is immutable and comparable. The
// methods of its zero value return zeros and false.
type Pixel struct {
	photosite                    Photosite
	shot, dark, fixed, perSignal float64 // of the variance, see Noise
	grain                        float64
}

// NewPixel makes a Pixel.
func NewPixel(spec PixelSpec) (Pixel, error) {
	for _, n := range []*int{&spec.Binning, &spec.Frames} {
		if *n == 0 {
			*n = 1
		}
	}
	for _, x := range []*float64{&spec.Scale, &spec.ColourFraction} {
		if *x == 0 {
			*x = 1
		}
	}
	c := valid.New("photosite", ErrInvalid)
	if spec.Photosite == (Photosite{}) {
		c.Fault("photosite", "Photosite{}", "must come from New")
	}
	c.Int("binning", spec.Binning, "", 1, 16)
	c.Number("scale", spec.Scale, "", valid.Closed(1e-3, 1e3))
	c.Number("colour fraction", spec.ColourFraction, "", valid.Closed(1e-3, 1))
	c.Int("frames", spec.Frames, "", 1, 1e6)
	if err := c.Err(); err != nil {
		return Pixel{}, err
	}
	site := spec.Photosite.spec
	perPixel := spec.Scale * spec.Scale * spec.ColourFraction
	samples := max(1, perPixel)
	binned := float64(spec.Binning * spec.Binning)
	frames := float64(spec.Frames)
	read := site.ReadNoise / binned
	return Pixel{
		photosite: spec.Photosite,
		shot:      1 / (binned * samples * frames),
		dark:      (read*read + spec.Photosite.rounding()) / (samples * frames),
		fixed:     site.DSNU * site.DSNU / (binned * samples),
		perSignal: site.PRNU * site.PRNU / (binned * samples),
		grain:     math.Sqrt(samples / perPixel),
	}, nil
}

// Grain is how wide one sample of the noise is, in pixels of the delivered picture.
//
//	grain = max(1, 1 / sqrt(Scale² · ColourFraction))
//
// It grows beyond 1 where the picture is enlarged. The noise of a pixel then stays
// as it is, but is coarser and so more visible.
func (p Pixel) Grain() (pixels float64) { return p.grain }

// Source is a source of noise.
type Source uint8

// The sources of noise.
const (
	ShotNoise    Source = iota + 1 // of the light itself
	DarkNoise                      // of reading and rounding
	FixedPattern                   // PRNU and DSNU, the same in all frames
)

var sources = enum.New[Source](ErrInvalid, []string{
	ShotNoise: "shot noise", DarkNoise: "dark noise", FixedPattern: "fixed pattern",
})

// String gives a name like "shot noise".
func (s Source) String() string { return sources.Name(s) }

// MarshalText gives the name. An unknown Source is an error.
func (s Source) MarshalText() ([]byte, error) { return sources.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Source) UnmarshalText(text []byte) error { return sources.Unmarshal(s, text) }

// Noise is what a pixel shows of an even surface.
type Noise struct {
	// Electrons is the mean signal of one photosite.
	Electrons float64
	// Shot, Dark and Pattern are the standard deviations by each source, between
	// the pixels of one picture, on the scale of Electrons.
	Shot, Dark, Pattern float64
	// SNR is the ratio of Electrons to all three together.
	SNR float64
	// Limit is the largest source. Where it is the fixed pattern, more frames do not
	// help.
	Limit Source `json:",omitzero"`
}

// Noise is the noise of a pixel at a focal-plane exposure in lx·s:
//
//	shot²    = μe / (b n F)
//	dark²    = (σd²/b² + 1/(12 K²)) / (n F)
//	pattern² = (DSNU² + PRNU² μe²) / (b n)
//	SNR      = μe / sqrt(shot² + dark² + pattern²)
//
// with b = Binning² photosites in a sample, n = max(1, Scale² · ColourFraction)
// samples in a pixel, and F frames. It holds where the errors of rounding are
// independent: with a dark noise above a quarter of a DN. The fixed pattern is taken
// to be independent from photosite to photosite. One of rows or columns averages
// less. Where the edges of pixels cut samples in two, the noise is less than this: on
// average a third less just above a Scale of 1, a sixth less at 2. Filters that sharpen while
// they scale keep more. ok is false if Photosite.Electrons has no answer.
//
// Source: for one photosite, EMVA 1288 release 3.1, total SNR (from memory).
func (p Pixel) Noise(luxSeconds float64) (n Noise, ok bool) {
	if p == (Pixel{}) {
		return Noise{}, false
	}
	electrons, ok := p.photosite.Electrons(luxSeconds)
	if !ok {
		return Noise{}, false
	}
	n = Noise{
		Electrons: electrons,
		Shot:      math.Sqrt(p.shot * electrons),
		Dark:      math.Sqrt(p.dark),
		Pattern:   math.Sqrt(p.fixed + p.perSignal*electrons*electrons),
	}
	n.SNR = electrons / math.Sqrt(n.Shot*n.Shot+n.Dark*n.Dark+n.Pattern*n.Pattern)
	switch {
	case n.Pattern >= max(n.Shot, n.Dark):
		n.Limit = FixedPattern
	case n.Dark >= n.Shot:
		n.Limit = DarkNoise
	default:
		n.Limit = ShotNoise
	}
	return n, true
}

// ExposureForSNR is the focal-plane exposure in lx·s at which Noise has an SNR. It
// is the root of
//
//	μe² = SNR² · (shot² + dark² + pattern²)
//
// ok is false if the SNR is outside 1e-9 to 1e9, or is not reached up to saturation.
// It is then more than that of Noise at SaturationExposure.
func (p Pixel) ExposureForSNR(snr float64) (luxSeconds float64, ok bool) {
	electrons, ok := p.electronsForSNR(snr, 0)
	if !ok {
		return 0, false
	}
	return electrons / p.photosite.electrons, true
}

var snrs = valid.Closed(1e-9, 1e9)

// electronsForSNR is the signal μ of that SNR, on a veil that adds noise alone:
//
//	μ² = SNR² (shot · (μ + veil) + dark + fixed + perSignal · (μ + veil)²)
func (p Pixel) electronsForSNR(snr, veil float64) (electrons float64, ok bool) {
	a := 1/(snr*snr) - p.perSignal
	if p == (Pixel{}) || !snrs.Contains(snr) || a <= 0 {
		return 0, false
	}
	b := p.shot + 2*p.perSignal*veil
	c := p.dark + p.fixed + p.shot*veil + p.perSignal*veil*veil
	electrons = (b + math.Sqrt(b*b+4*a*c)) / (2 * a) // a μ² = b μ + c
	if electrons+veil > p.photosite.spec.SaturationCapacity {
		return 0, false
	}
	return electrons, true
}

// Latitude is the range about a grey.
type Latitude struct {
	// AboveStops go from the grey to saturation. They are negative if it clips.
	AboveStops float64
	// BelowStops go from the grey down to the SNR wanted. They are negative if the
	// grey itself has less.
	BelowStops float64
}

// Latitude tells how far above and below a grey of a focal-plane exposure in lx·s
// the pixel keeps an SNR:
//
//	above = log2(Hsat / grey)
//	below = log2(grey / H)    H of ExposureForSNR
//
// ISO 12232 exposes a grey of 18 % with 10/index lx·s. ok is false if
// ExposureForSNR has no answer or the grey is outside 1e-30 to 1e30 lx·s.
func (p Pixel) Latitude(grey, snr float64) (l Latitude, ok bool) {
	least, ok := p.ExposureForSNR(snr)
	if !ok || !greys.Contains(grey) {
		return Latitude{}, false
	}
	return Latitude{math.Log2(p.photosite.SaturationExposure() / grey), math.Log2(grey / least)}, true
}

// Indices are the exposure indices for a range of light about a grey.
type Indices struct {
	// Least protects the highlights: at a lower index they clip.
	Least float64
	// Greatest protects the shadows: at a higher index they are too noisy.
	Greatest float64
	// SpareStops go from Least to Greatest. They are negative if no index protects
	// both ends, and tell then by how much the range is too wide.
	SpareStops float64
}

// Indices gives the exposure indices with which highlights that lie some stops
// above a grey do not clip, and shadows that lie some stops below it keep an SNR:
//
//	least    = 10 · 2^above / Hsat
//	greatest = 10 / (2^below · H)    H of ExposureForSNR
//
// where a metered grey receives 10/index lx·s. ok is false if ExposureForSNR has no
// answer or a number of stops is outside 0 to 100.
//
// Source: ISO 12232:2006, exposure index.
func (p Pixel) Indices(above, below, snr float64) (i Indices, ok bool) {
	least, ok := p.ExposureForSNR(snr)
	if !ok || !stops.Contains(above) || !stops.Contains(below) {
		return Indices{}, false
	}
	i.Least = 10 * math.Exp2(above) / p.photosite.SaturationExposure()
	i.Greatest = 10 / (math.Exp2(below) * least)
	i.SpareStops = math.Log2(i.Greatest / i.Least)
	return i, true
}

var (
	greys = valid.Closed(1e-30, 1e30) // lx·s
	stops = valid.Closed(0.0, 100)
)

// End is an end of the range of light in a scene.
type End uint8

// The ends.
const (
	Highlights End = iota + 1
	Shadows
)

var ends = enum.New[End](ErrInvalid, []string{Highlights: "highlights", Shadows: "shadows"})

// String gives a name like "shadows".
func (e End) String() string { return ends.Name(e) }

// MarshalText gives the name. An unknown End is an error.
func (e End) MarshalText() ([]byte, error) { return ends.Marshal(e) }

// UnmarshalText reads a name. Any other text is an error and leaves e unchanged.
func (e *End) UnmarshalText(text []byte) error { return ends.Unmarshal(e, text) }

// Fit says whether the range of a scene lies between saturation and noise. Stops
// are of luminance in the scene.
type Fit struct {
	// OK reports whether SpareStops is at least 0.
	OK bool
	// SceneStops and SensorStops are the ranges: from the darkest to the brightest
	// surface, and from the SNR wanted to saturation. If the first is more, no
	// setting fits.
	SceneStops, SensorStops float64
	// AboveStops go from the brightest surface to saturation, negative if it clips.
	AboveStops float64
	// BelowStops go from the darkest surface down to the SNR wanted, negative if it
	// has less.
	BelowStops float64
	// Limit is the end with fewer stops, and SpareStops how many: what is missing if
	// it is negative.
	Limit      End `json:",omitzero"`
	SpareStops float64
	// BalanceStops is the change of exposure that leaves both ends the same, save
	// for stray light: more light if positive.
	BalanceStops float64
}

// Fit compares the range of a scene with that of the sensor: surfaces from a darkest
// to a brightest luminance in cd/m², at the settings of an exposure. The darkest
// shall have an SNR, the brightest shall not clip. Stray light of the exposure adds
// noise to the darkest, and no signal. ok is false if Exposure.FocalPlane has no
// answer, darkest is 0 or more than brightest, or the SNR is outside 1e-9 to 1e9 or
// is not reached on the stray light up to saturation.
func (p Pixel) Fit(e sensor.Exposure, darkest, brightest, snr float64) (f Fit, ok bool) {
	veil, okVeil := e.FocalPlane(0)
	dark, okDark := e.FocalPlane(darkest)
	bright, okBright := e.FocalPlane(brightest)
	dark, bright = dark-veil, bright-veil
	least, okSNR := p.electronsForSNR(snr, veil*p.photosite.electrons)
	if !okVeil || !okDark || !okBright || !okSNR || !(dark > 0 && darkest <= brightest) {
		return Fit{}, false
	}
	full := p.photosite.SaturationExposure() - veil
	least /= p.photosite.electrons
	f = Fit{
		SceneStops: math.Log2(bright / dark), SensorStops: math.Log2(full / least),
		AboveStops: math.Log2(full / bright), BelowStops: math.Log2(dark / least),
		Limit: Highlights,
	}
	f.SpareStops = f.AboveStops
	if f.BelowStops < f.AboveStops {
		f.Limit, f.SpareStops = Shadows, f.BelowStops
	}
	f.OK = f.SpareStops >= 0
	f.BalanceStops = (f.AboveStops - f.BelowStops) / 2
	return f, true
}
