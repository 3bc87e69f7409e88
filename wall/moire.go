package wall

import (
	"cmp"
	"math"
	"slices"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/special"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
)

// Sampling says which photosites record a channel. In a mosaic of colour filters,
// every two by two photosites hold two green ones, on a diagonal, one red and one
// blue.
type Sampling uint8

const (
	EveryPhotosite      Sampling = iota // no mosaic, or the sum of its channels
	GreenPhotosites                     // every second photosite, as on a chequerboard
	RedOrBluePhotosites                 // every second photosite of every second row
)

var samplings = enum.New[Sampling](ErrInvalid, []string{
	EveryPhotosite: "every photosite", GreenPhotosites: "green photosites", RedOrBluePhotosites: "red or blue photosites",
})

// String gives a name like "green photosites".
func (s Sampling) String() string { return samplings.Name(s) }

// MarshalText gives the name. An unknown Sampling is an error.
func (s Sampling) MarshalText() ([]byte, error) { return samplings.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Sampling) UnmarshalText(text []byte) error { return samplings.Unmarshal(s, text) }

// NyquistPitch is the least pitch, in photosites, of a grid that the sampling
// resolves, if the grid's lines are parallel to the photosites': 2, and 4 for
// RedOrBluePhotosites. A rotated grid has other limits, which PredictMoire finds.
// It is 0 for an unknown Sampling.
//
// Source: the sampling theorem.
func (s Sampling) NyquistPitch() (photosites float64) {
	switch s {
	case EveryPhotosite, GreenPhotosites:
		return 2
	case RedOrBluePhotosites:
		return 4
	}
	return 0
}

// steps are the two shortest steps from a photosite of the channel to others.
// For every Sampling they are perpendicular and of one length.
func (s Sampling) steps() (a, b r2.Vec) {
	switch s {
	case GreenPhotosites:
		return r2.Vec{X: 1, Y: 1}, r2.Vec{X: 1, Y: -1}
	case RedOrBluePhotosites:
		return r2.Vec{X: 2}, r2.Vec{Y: 2}
	}
	return r2.Vec{X: 1}, r2.Vec{Y: 1}
}

// MoireSpec says how a camera samples a wall's pixel grid around one point of its
// picture.
type MoireSpec struct {
	Grid Grid // the image of the wall's pixel grid, from View.ImageGrid

	// WallFillX and WallFillY are the linear fill factors of a wall pixel: its lit
	// width and height over the pitch along the same axis, more than 0 and up to 1.
	// Their product is the area fill factor.
	WallFillX, WallFillY float64

	// PhotositeFill is the linear fill factor of a photosite: the side of its
	// sensitive square over the photosite pitch, from 0 (a point) to 1.
	PhotositeFill float64

	Sampling Sampling // the photosites that record the channel
	Order    int      // harmonics up to this number along each axis are computed, 1 to 64

	// Transfer is the optical transfer function of the lens, and of a filter in
	// front of the sensor, at a frequency in cycles per photosite. It is called for
	// frequencies above half a cycle too. Values are from −1 to 1; a negative one
	// reverses contrast, as defocus can. Nil means no loss.
	// It is left out of JSON.
	Transfer func(cyclesPerPhotosite float64) float64 `json:"-"`
}

// MoireKind says what a component looks like in a recording.
type MoireKind uint8

const (
	// Resolved components are recorded at their own frequency. The picture shows
	// the wall's pixels themselves.
	Resolved MoireKind = iota
	// Beat components are recorded close to half a cycle per sample. Neighbouring
	// samples alternate, and the alternation swells and fades over eight samples or
	// more; the eye sees the swelling. The grid's own frequency may be on either
	// side of the Nyquist limit.
	Beat
	// Aliased components are recorded at a lower frequency than their own.
	Aliased
)

var moireKinds = enum.New[MoireKind](ErrInvalid, []string{Resolved: "resolved", Beat: "beat", Aliased: "aliased"})

// String gives a name like "resolved".
func (k MoireKind) String() string { return moireKinds.Name(k) }

// MarshalText gives the name. An unknown MoireKind is an error.
func (k MoireKind) MarshalText() ([]byte, error) { return moireKinds.Marshal(k) }

// UnmarshalText reads a name. Any other text is an error and leaves k unchanged.
func (k *MoireKind) UnmarshalText(text []byte) error { return moireKinds.Unmarshal(k, text) }

// beatSamples is the length from which on an envelope counts as a Beat: a choice.
const beatSamples = 8

// Moire is one component of a recording of a wall: the sinusoid that one harmonic
// of the wall's pixel grid leaves in it. Frequencies are vectors in cycles per
// photosite, x to the right and y down. Brightness changes along the vector; the
// lines of the pattern are perpendicular to it.
type Moire struct {
	Harmonic [2]int    // cycles per wall pixel, along a row and along a column of the wall
	Kind     MoireKind // what it looks like
	Contrast float64   // amplitude of the sinusoid over the mean, up to 2

	Frequency r2.Vec // as recorded
	Pattern   r2.Vec // as seen: Frequency, or for a Beat the frequency of its envelope
}

// Period is the length of one cycle of the visible pattern, in photosites:
//
//	period = 1/|Pattern|
//
// ok is false if it exceeds 1e9 photosites. Such a component changes the whole
// field alike: it looks flat, or if a Beat like an even alternation.
func (m Moire) Period() (photosites float64, ok bool) {
	f := r2.Norm(m.Pattern)
	if !(f >= 1e-9 && f <= math.MaxFloat64) {
		return 0, false
	}
	return 1 / f, true
}

// PredictMoire returns the components that a wall's pixel grid leaves in a
// recording, in order of falling contrast. The grid's steps a and b have the
// reciprocal vectors u and v: u·a = v·b = 1 and u·b = v·a = 0. Before sampling,
// harmonic (m, n) has the frequency
//
//	ν = m u + n v
//
// It is recorded at ν less the nearest point of the lattice reciprocal to the
// photosites of the channel. For EveryPhotosite this subtracts the nearest whole
// number from νx and from νy. The contrast is
//
//	2 |sinc(m WallFillX) sinc(n WallFillY) sinc(νx PhotositeFill) sinc(νy PhotositeFill) Transfer(|ν|)|
//
// with sinc(x) = sin(πx)/(πx). It may exceed 1: small lit points on black have
// harmonics of contrast 2. It holds for scene-linear values before the colours of
// a mosaic are interpolated.
//
// Harmonics (m, n) and (−m, −n) are one component, listed with m ≥ 0. Components
// of no contrast are listed too. Phases are not part of the result, and matter in
// two cases. Several harmonics may be recorded at one frequency, as at whole image
// pitches; they add up by their phases. And if Pattern has less than about one
// cycle in the picture, the picture shows only a part of the contrast.
//
// The steps of the grid must be 1e-3 to 1e6 photosites long, and the angle between
// them at least 1e-3 rad. Frequencies have an error of a few roundings of ν,
// divided by the sine of that angle.
//
// Source: the sampling theorem in two dimensions (D. P. Petersen, D. Middleton,
// Information and Control 5, 1962), the Fourier series of a rectangular wave, and
// the transfer function of a rectangular aperture (G. D. Boreman, Modulation
// Transfer Function in Optical and Electro-Optical Systems), both from memory.
func PredictMoire(spec MoireSpec) ([]Moire, error) {
	c := valid.New("wall", ErrInvalid)
	u, v := spec.Grid.reciprocal(c)
	fill := valid.Above[float64](0, 1)
	c.Number("wall fill x", spec.WallFillX, "", fill)
	c.Number("wall fill y", spec.WallFillY, "", fill)
	c.Number("photosite fill", spec.PhotositeFill, "", valid.Closed[float64](0, 1))
	samplings.Check(c, "sampling", spec.Sampling)
	c.Int("order", spec.Order, "", 1, 64)
	if !c.OK() {
		return nil, c.Err()
	}
	components := make([]Moire, 0, 2*spec.Order*(spec.Order+1))
	for m := range spec.Order + 1 {
		for n := -spec.Order; n <= spec.Order; n++ {
			if m == 0 && n <= 0 {
				continue
			}
			across, down := float64(m), float64(n)
			nu := r2.Add(r2.Scale(across, u), r2.Scale(down, v))
			contrast := 2 * math.Abs(special.Sinc(across*spec.WallFillX)*special.Sinc(down*spec.WallFillY)*
				special.Sinc(nu.X*spec.PhotositeFill)*special.Sinc(nu.Y*spec.PhotositeFill))
			if spec.Transfer != nil {
				otf := spec.Transfer(r2.Norm(nu))
				c.Number("transfer", otf, "", valid.Closed[float64](-1, 1))
				if !c.OK() {
					return nil, c.Err()
				}
				contrast *= math.Abs(otf)
			}
			component := Moire{Harmonic: [2]int{m, n}, Contrast: contrast}
			component.Frequency, component.Pattern, component.Kind = spec.Sampling.record(nu)
			components = append(components, component)
		}
	}
	slices.SortStableFunc(components, func(a, b Moire) int { return cmp.Compare(b.Contrast, a.Contrast) })
	return components, nil
}

// record is the frequency at which the samples record a frequency, and the
// frequency and kind of what an eye sees of it.
//
// Counted in cycles per step a and b of the samples, all frequencies that differ
// by whole numbers look the same.
func (s Sampling) record(nu r2.Vec) (frequency, pattern r2.Vec, kind MoireKind) {
	a, b := s.steps()
	cycles := func(p, q float64) r2.Vec {
		return r2.Scale(1/r2.Norm2(a), r2.Add(r2.Scale(p, a), r2.Scale(q, b)))
	}
	p, q := r2.Dot(nu, a), r2.Dot(nu, b)
	foldedP, foldedQ := math.Remainder(p, 1), math.Remainder(q, 1)
	frequency, kind = cycles(foldedP, foldedQ), Resolved
	if foldedP != p || foldedQ != q {
		kind = Aliased
	}
	// Near (½, 0), (0, ½) and (½, ½) samples alternate, and what is more than
	// that frequency swells twice a cycle.
	swellP, swellQ := math.Remainder(2*foldedP, 1), math.Remainder(2*foldedQ, 1)
	alternates := math.Abs(foldedP) > 0.25 || math.Abs(foldedQ) > 0.25
	if alternates && math.Hypot(swellP, swellQ) <= 1.0/beatSamples {
		return frequency, cycles(swellP, swellQ), Beat
	}
	return frequency, frequency, kind
}
