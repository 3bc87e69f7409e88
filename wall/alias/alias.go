package alias

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/special"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("alias: invalid value")

// Emitters is the lit part of a wall pixel, a rectangle: its width and height over
// the pitch of the pixels along the same axis. Both are more than 0 and up to 1.
// Their product is the area fill factor; see LitWidth.
type Emitters struct{ Width, Height float64 }

// LitWidth is the width, over the pitch, of a square emitter that lights a
// fraction of the area of its pixel:
//
//	width = √(area fill factor)
//
// Data sheets often give the fraction of the area, and a fraction of 0.25 is half
// the width. A fraction of 0 or less, or of more than 1, is an error.
func LitWidth(areaFill float64) (width float64, err error) {
	c := valid.New("alias", ErrInvalid)
	c.Number("area fill factor", areaFill, "", valid.Above[float64](0, 1))
	if !c.OK() {
		return 0, c.Err()
	}
	return math.Sqrt(areaFill), nil
}

// Spec says how photosites sample a wall's pixel grid around one point of the
// picture.
type Spec struct {
	Grid       wall.Grid // the image of the wall's pixel grid, from wall.View.ImageGrid
	Emitters   Emitters
	Photosites Photosites
	Order      int // harmonics up to this number along each axis are computed, 1 to 64

	// Transfer is the optical transfer function of the lens at a frequency in cycles
	// per photosite. It is called for frequencies above half a cycle too. Values are
	// from −1 to 1; a negative one reverses contrast, as defocus can. Nil means no
	// loss. It is left out of JSON.
	Transfer func(nu r2.Vec) float64 `json:"-"`
}

// Kind says what a component looks like in a recording.
type Kind uint8

const (
	// Resolved components are recorded at their own frequency. The picture shows
	// the wall's pixels themselves.
	Resolved Kind = iota
	// Beat components are recorded close to half a cycle per sample. Neighbouring
	// samples alternate, and the alternation swells and fades over eight samples or
	// more; the eye sees the swelling. The grid's own frequency may be on either
	// side of the Nyquist limit.
	Beat
	// Aliased components are recorded at a lower frequency than their own.
	Aliased
)

var kinds = enum.New[Kind](ErrInvalid, []string{Resolved: "resolved", Beat: "beat", Aliased: "aliased"})

// String gives a name like "resolved".
func (k Kind) String() string { return kinds.Name(k) }

// MarshalText gives the name. An unknown Kind is an error.
func (k Kind) MarshalText() ([]byte, error) { return kinds.Marshal(k) }

// UnmarshalText reads a name. Any other text is an error and leaves k unchanged.
func (k *Kind) UnmarshalText(text []byte) error { return kinds.Unmarshal(k, text) }

// beatSamples is the length from which on an envelope counts as a Beat: a choice.
const beatSamples = 8

// Alias is one component of a recording of a wall: the sinusoid that one harmonic
// of the wall's pixel grid leaves in it. Frequencies are vectors in cycles per
// photosite, x to the right and y down. Brightness changes along the vector; the
// lines of the pattern are perpendicular to it.
type Alias struct {
	Harmonic [2]int  // cycles per wall pixel, along a row and along a column of the wall
	Carrier  Carrier // what the mosaic multiplies it with; Luma for every other Sampling
	Kind     Kind    // what it looks like
	Contrast float64 // amplitude of the sinusoid over the mean, up to 2

	Source    r2.Vec // of the grid's image, before it is sampled
	Frequency r2.Vec // as recorded
	Pattern   r2.Vec // as seen: Frequency, but of a Beat the envelope and of a chroma carrier the colour
}

// Period is the length of one cycle of the visible pattern, in photosites:
//
//	period = 1/|Pattern|
//
// ok is false if it exceeds 1e9 photosites. Such a component changes the whole
// field alike: it looks flat, or if a Beat like an even alternation.
func (a Alias) Period() (photosites float64, ok bool) {
	f := r2.Norm(a.Pattern)
	if !(f >= 1e-9 && f <= math.MaxFloat64) {
		return 0, false
	}
	return 1 / f, true
}

// Direction is the direction in which the visible pattern varies, more than −90°
// and up to 90°. It is 0 along the rows of photosites, for upright stripes, and
// 90° down the columns, for level stripes; positive angles turn from right to
// down. ok is false where Period has no answer.
func (a Alias) Direction() (direction unit.Angle, ok bool) {
	if _, ok := a.Period(); !ok {
		return 0, false
	}
	x, y := a.Pattern.X, a.Pattern.Y
	if x < 0 || x == 0 && y < 0 {
		x, y = -x, -y
	}
	return unit.Angle(math.Atan2(y, x)), true
}

// Crawl is how a pattern moves while the image of the wall moves.
type Crawl struct {
	Cycles float64 // periods of the recorded component that pass a photosite; the sign is that of Source · motion
	Shift  r2.Vec  // of the visible pattern, in photosites, along Pattern
}

// Crawl is the movement of the visible pattern while the image of the wall's
// pixels moves, as the camera or the wall does; see Scene.Motion. With the
// frequency ν of Source and the pattern's frequency f,
//
//	cycles = ν · motion
//	shift  = f (ν · motion)/|f|²
//
// and twice that shift for a Beat. A coarse pattern of a fine grid crawls farther
// than the grid, by the ratio of the periods, and may go the other way. If Cycles
// exceeds ½ between two frames, an eye cannot tell the way: the pattern flickers.
// motion is in photosites. ok is false where Period has no answer, or if motion is
// not within ±1e9 photosites.
func (a Alias) Crawl(motion r2.Vec) (crawl Crawl, ok bool) {
	if _, ok := a.Period(); !ok || !(math.Abs(motion.X) <= 1e9 && math.Abs(motion.Y) <= 1e9) {
		return Crawl{}, false
	}
	crawl.Cycles = r2.Dot(a.Source, motion)
	k := crawl.Cycles / r2.Norm2(a.Pattern)
	if a.Kind == Beat {
		k *= 2
	}
	crawl.Shift = r2.Scale(k, a.Pattern)
	return crawl, true
}

// Predict returns the components that a wall's pixel grid leaves in a recording, in
// order of falling contrast. The grid's steps a and b have the reciprocal vectors u
// and v: u·a = v·b = 1 and u·b = v·a = 0. Before sampling, harmonic (m, n) has the
// frequency
//
//	ν = m u + n v
//
// It is recorded at ν less the nearest point of the lattice reciprocal to the
// photosites of the channel. For EveryPhotosite this subtracts the nearest whole
// number from νx and from νy. With the Width w of a photosite and the separations
// p and q of its low-pass filter, the contrast is
//
//	2 |sinc(m lit width) sinc(n lit height) sinc(νx w) sinc(νy w) cos(π p νx) cos(π q νy) Transfer(ν)|
//
// with sinc(x) = sin(πx)/(πx). It may exceed 1: small lit points on black have
// harmonics of contrast 2. It holds for scene-linear values before the colours of
// a mosaic are interpolated.
//
// For Mosaic each harmonic is listed up to four times, once for each Carrier whose
// amplitude is not 0. The constant pattern of the mosaic itself is not listed.
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
// Transfer Function in Optical and Electro-Optical Systems), all from memory.
func Predict(spec Spec) ([]Alias, error) {
	c := valid.New("alias", ErrInvalid)
	u, v := reciprocal(c, spec.Grid)
	spec.Emitters.check(c)
	spec.Photosites.check(c)
	checkOrder(c, spec.Order)
	if !c.OK() {
		return nil, c.Err()
	}
	p := newPlane(spec.Photosites)
	harmonics := spec.Emitters.harmonics(spec.Order)
	all := make([]Alias, 0, len(harmonics)*len(p.carriers))
	for _, h := range harmonics {
		nu := h.frequency(u, v)
		contrast := h.contrast * p.aperture(nu)
		if spec.Transfer != nil {
			otf := spec.Transfer(nu)
			if err := checkTransfer(otf); err != nil {
				return nil, err
			}
			contrast *= math.Abs(otf)
		}
		for _, k := range p.carriers {
			all = append(all, p.record(h, nu, k, contrast))
		}
	}
	slices.SortStableFunc(all, func(a, b Alias) int { return cmp.Compare(b.Contrast, a.Contrast) })
	return all, nil
}

// harmonic is one term of the Fourier series of the emitters.
type harmonic struct {
	m, n     int
	contrast float64 // amplitude over the mean
}

// harmonics are the terms up to an order, in order of falling contrast.
func (e Emitters) harmonics(order int) []harmonic {
	var all []harmonic
	for m := range order + 1 {
		for n := -order; n <= order; n++ {
			if m == 0 && n <= 0 {
				continue
			}
			all = append(all, harmonic{m, n, 2 * math.Abs(special.Sinc(float64(m)*e.Width)*special.Sinc(float64(n)*e.Height))})
		}
	}
	slices.SortStableFunc(all, func(a, b harmonic) int { return cmp.Compare(b.contrast, a.contrast) })
	return all
}

func (h harmonic) frequency(u, v r2.Vec) r2.Vec {
	m, n := float64(h.m), float64(h.n)
	return r2.Vec{X: m*u.X + n*v.X, Y: m*u.Y + n*v.Y}
}

func (e Emitters) check(c *valid.Checker) {
	sides := valid.Above[float64](0, 1)
	c.Number("lit width", e.Width, "", sides)
	c.Number("lit height", e.Height, "", sides)
}

const maxOrder = 64

func checkOrder(c *valid.Checker, order int) { c.Int("order", order, "", 1, maxOrder) }

func checkTransfer(otf float64) error {
	if otf >= -1 && otf <= 1 {
		return nil
	}
	c := valid.New("alias", ErrInvalid)
	c.Number("transfer", otf, "", valid.Closed[float64](-1, 1))
	return c.Err()
}

// reciprocal checks a grid and gives its reciprocal vectors: the frequencies, in
// cycles per photosite, of one cycle a pixel across and of one down.
func reciprocal(c *valid.Checker, g wall.Grid) (u, v r2.Vec) {
	lengths := valid.Closed(1e-3, 1e6)
	a, b := math.Hypot(g.Across.X, g.Across.Y), math.Hypot(g.Down.X, g.Down.Y)
	c.Number("step of the grid across", a, "photosites", lengths)
	c.Number("step of the grid down", b, "photosites", lengths)
	if !c.OK() {
		return r2.Vec{}, r2.Vec{}
	}
	area := r2.Cross(g.Across, g.Down)
	lean := unit.Angle(math.Atan2(math.Abs(area), math.Abs(r2.Dot(g.Across, g.Down))))
	c.Angle("angle between the steps of the grid", lean, valid.Closed[unit.Angle](1e-3, math.Pi/2))
	return r2.Scale(1/area, r2.Vec{X: g.Down.Y, Y: -g.Down.X}),
		r2.Scale(1/area, r2.Vec{X: -g.Across.Y, Y: g.Across.X})
}
