package alias

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/special"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

// Sampling says which photosites record a channel. In a mosaic of colour filters,
// every two by two photosites hold two green ones, on a diagonal, one red and one
// blue.
type Sampling uint8

const (
	EveryPhotosite      Sampling = iota // no mosaic, or the sum of its channels
	GreenPhotosites                     // every second photosite, as on a chequerboard
	RedOrBluePhotosites                 // every second photosite of every second row
	Mosaic                              // every photosite behind its own colour, before the colours are interpolated
)

var samplings = enum.New[Sampling](ErrInvalid, []string{
	EveryPhotosite: "every photosite", GreenPhotosites: "green photosites", RedOrBluePhotosites: "red or blue photosites", Mosaic: "mosaic",
})

// String gives a name like "green photosites".
func (s Sampling) String() string { return samplings.Name(s) }

// MarshalText gives the name. An unknown Sampling is an error.
func (s Sampling) MarshalText() ([]byte, error) { return samplings.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Sampling) UnmarshalText(text []byte) error { return samplings.Unmarshal(s, text) }

// NyquistPitch is the least pitch, in photosites, of a grid that the sampling
// resolves, if the grid's lines are parallel to the photosites': 2, and 4 for
// RedOrBluePhotosites and for the colours of a Mosaic. A rotated grid has other
// limits, which Predict finds. It is 0 for an unknown Sampling.
//
// Source: the sampling theorem.
func (s Sampling) NyquistPitch() (photosites float64) {
	switch s {
	case EveryPhotosite, GreenPhotosites:
		return 2
	case RedOrBluePhotosites, Mosaic:
		return 4
	}
	return 0
}

// NyquistDistance is the greatest distance from which the photosites resolve a
// wall's pixel grid, seen squarely and upright. From farther away the grid
// aliases; already from a little nearer it beats (see Beat). It is the distance at
// which wall.ImagePitch gives Sampling.NyquistPitch:
//
//	distance = f + pitch f / (NyquistPitch photosite)
//
// photosite is the pitch of all photosites together, whatever the sampling. The
// pitch of the wall is more than 0 and up to 100 m, the focal length 0.1 mm to 2 m,
// the photosite 0.1 µm to 1 mm; others are errors.
//
// Source: the thin-lens equation and the sampling theorem.
func NyquistDistance(pitch, focalLength, photosite unit.Length, sampling Sampling) (unit.Length, error) {
	c := valid.New("alias", ErrInvalid)
	c.Length("pitch", pitch, valid.Above[unit.Length](0, 100))
	c.Length("focal length", focalLength, valid.FocalLengths)
	c.Length("photosite", photosite, valid.Pitches)
	samplings.Check(c, "sampling", sampling)
	if !c.OK() {
		return 0, c.Err()
	}
	image := unit.Length(sampling.NyquistPitch())
	return focalLength + pitch*focalLength/(image*photosite), nil
}

// Response is how strongly the photosites of each colour respond to the even light
// of the wall's picture, in any one unit. Equal responses are those of a neutral
// picture after white balance; the zero Response means that. Each is 0 to 1e6.
type Response struct{ Red, Green, Blue float64 }

// Photosites is what samples the picture: the sensitive square of a photosite, the
// low-pass filter before it, and the photosites that record a channel.
type Photosites struct {
	// Width is the side of the sensitive square over the photosite pitch, from 0 (a
	// point) to 1.
	Width float64

	// LowPassX and LowPassY are the separations, in photosites, of the two images
	// that a birefringent filter makes along each axis, 0 to 16. 0 is no filter.
	LowPassX, LowPassY float64

	Sampling Sampling
	Response Response // only for Mosaic
}

func (p Photosites) check(c *valid.Checker) {
	c.Number("photosite width", p.Width, "", valid.Closed[float64](0, 1))
	separations := valid.Closed[float64](0, 16)
	c.Number("low-pass x", p.LowPassX, "photosites", separations)
	c.Number("low-pass y", p.LowPassY, "photosites", separations)
	samplings.Check(c, "sampling", p.Sampling)
	responses := valid.Closed[float64](0, 1e6)
	c.Number("response of red", p.Response.Red, "", responses)
	c.Number("response of green", p.Response.Green, "", responses)
	c.Number("response of blue", p.Response.Blue, "", responses)
}

// Carrier is what a mosaic of colour filters multiplies a picture with. With red at
// the even columns of even rows and blue at the odd ones of odd rows, photosite
// (x, y) records
//
//	(R + 2G + B)/4 + (R − 2G + B)/4 (−1)^(x+y) + (R − B)/4 ((−1)^x + (−1)^y)
//
// The first term is the brightness, luma. The others are the colour, chroma, on
// carriers of half a cycle per photosite along both axes, across and down. They
// vanish for a neutral picture.
//
// Source: E. Dubois, IEEE Signal Processing Letters 12, 2005; D. Alleysson, S.
// Süsstrunk, J. Hérault, IEEE Trans. Image Processing 14, 2005; both from memory.
type Carrier uint8

const (
	Luma           Carrier = iota // (0, 0)
	ChromaDiagonal                // (½, ½), of R − 2G + B
	ChromaAcross                  // (½, 0), of R − B
	ChromaDown                    // (0, ½), of R − B
)

var carriers = enum.New[Carrier](ErrInvalid, []string{
	Luma: "luma", ChromaDiagonal: "chroma on the diagonal", ChromaAcross: "chroma across", ChromaDown: "chroma down",
})

// String gives a name like "chroma across".
func (k Carrier) String() string { return carriers.Name(k) }

// MarshalText gives the name. An unknown Carrier is an error.
func (k Carrier) MarshalText() ([]byte, error) { return carriers.Marshal(k) }

// UnmarshalText reads a name. Any other text is an error and leaves k unchanged.
func (k *Carrier) UnmarshalText(text []byte) error { return carriers.Unmarshal(k, text) }

func (k Carrier) frequency() r2.Vec {
	switch k {
	case ChromaDiagonal:
		return r2.Vec{X: 0.5, Y: 0.5}
	case ChromaAcross:
		return r2.Vec{X: 0.5}
	case ChromaDown:
		return r2.Vec{Y: 0.5}
	}
	return r2.Vec{}
}

// plane is a set of Photosites that is ready to sample.
type plane struct {
	Photosites
	carriers []carried
}

// carried is a carrier and its amplitude over that of luma.
type carried struct {
	Carrier
	amplitude float64
}

func newPlane(p Photosites) plane {
	out := plane{Photosites: p, carriers: []carried{{Luma, 1}}}
	r := p.Response
	luma := r.Red + 2*r.Green + r.Blue
	if p.Sampling != Mosaic || luma == 0 {
		return out
	}
	diagonal, axes := math.Abs(r.Red-2*r.Green+r.Blue)/luma, math.Abs(r.Red-r.Blue)/luma
	if diagonal > 0 {
		out.carriers = append(out.carriers, carried{ChromaDiagonal, diagonal})
	}
	if axes > 0 {
		out.carriers = append(out.carriers, carried{ChromaAcross, axes}, carried{ChromaDown, axes})
	}
	return out
}

// aperture is what the low-pass filter and the photosite leave of a contrast.
func (p *plane) aperture(nu r2.Vec) float64 {
	left := special.Sinc(nu.X*p.Width) * special.Sinc(nu.Y*p.Width)
	if p.LowPassX != 0 {
		left *= math.Cos(math.Pi * p.LowPassX * nu.X)
	}
	if p.LowPassY != 0 {
		left *= math.Cos(math.Pi * p.LowPassY * nu.Y)
	}
	return math.Abs(left)
}

// record is the component that a harmonic leaves on a carrier.
func (p *plane) record(h harmonic, nu r2.Vec, k carried, contrast float64) Alias {
	a := Alias{Harmonic: [2]int{h.m, h.n}, Carrier: k.Carrier, Contrast: contrast * k.amplitude, Source: nu}
	if k.Carrier == Luma {
		a.Frequency, a.Pattern, a.Kind = p.Sampling.record(nu)
		return a
	}
	// An interpolation of the colours takes the carrier away again.
	a.Frequency, _, _ = EveryPhotosite.record(r2.Add(nu, k.frequency()))
	_, a.Pattern, a.Kind = RedOrBluePhotosites.record(nu)
	return a
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

// record is the frequency at which the samples record a frequency, and the
// frequency and kind of what an eye sees of it.
//
// Counted in cycles per step a and b of the samples, all frequencies that differ
// by whole numbers look the same.
func (s Sampling) record(nu r2.Vec) (frequency, pattern r2.Vec, kind Kind) {
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
