package transfer

import (
	"math"
	"slices"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// pixelRatios are numbers of photosites across a pixel, and of pixels in a period.
var pixelRatios = valid.Closed(1e-4, 1e6)

// PixelFrequency is the spatial frequency on the sensor, in line pairs per
// millimetre, of stripes whose period is a number of pixels.
//
//	1/(period · q · pitch)
//
// q is the number of photosites across a pixel: 1 for the photosites themselves,
// columns of the sensor over columns of the delivery for a delivered picture. A
// period of 2 is the Nyquist frequency of those pixels. period and q are from 1e-4
// to 1e6. ok is false if one is not, or if the System has no pitch.
//
// Source: definition.
func (s System) PixelFrequency(period, photositesPerPixel float64) (linePairsPerMM float64, ok bool) {
	if s.spec.Pitch == 0 || !pixelRatios.Contains(period) || !pixelRatios.Contains(photositesPerPixel) {
		return 0, false
	}
	return 1e-3 / (period * photositesPerPixel * float64(s.spec.Pitch)), true
}

// WallFrequency is the spatial frequency on the sensor, in line pairs per
// millimetre, of stripes on an LED wall whose period is a number of its pixels, in
// the middle of the picture and seen squarely.
//
//	d (s − f)/(period · pitch · f s)
//
// d is the distance of the wall, s the focus distance and f the focal length: the
// scale of the picture is that of the focus distance, whether the wall is sharp or
// not. A period of 1 is the grid of the pixels itself; 2 is the finest pattern that
// they can show. The period is from 1e-4 to 1e6, the pitch from 100 nm to 1 m, the
// distance of the wall more than 0 and at most 1e9 m, and the focus distance more
// than f. ok is false if one is not.
//
// Source: the thin-lens equation, and the ray through the middle of the lens.
func (s System) WallFrequency(period float64, pitch, focus, wall unit.Length) (linePairsPerMM float64, ok bool) {
	n, ok := s.spec.Lens.WorkingFNumber(focus)
	if !ok || !pixelRatios.Contains(period) || !valid.Closed(100*unit.Nano*unit.Metre, 1*unit.Metre).Contains(float64(pitch)) ||
		!valid.Distances.Contains(float64(wall)) {
		return 0, false
	}
	image := s.focal * n / s.fNumber // the image distance
	return 1e-3 / (period * float64(pitch) * (image / float64(wall))), true
}

// PushInSpec asks what a series of push-ins leaves.
type PushInSpec struct {
	// PhotositesPerPixel is the number of photosites across a delivered pixel
	// without a push-in, from 1e-4 to 1e6: columns of the sensor over columns of
	// the delivery.
	PhotositesPerPixel float64
	// Factors are the push-ins, each from 0.01 to 1000. 1 is none.
	Factors []float64
	// Direction is that in which the detail varies.
	Direction unit.Angle
	// Focus and Object are distances, as in OTF.
	Focus, Object unit.Length
}

// PushInStep is what one push-in leaves.
type PushInStep struct {
	Factor             float64
	PhotositesPerPixel float64 // at this factor
	// Nyquist is the finest detail that the delivered pixels can show, of a period of
	// two of them. HalfNyquist is of a period of four.
	Nyquist, HalfNyquist Left
}

// Left is what is left of a detail.
type Left struct {
	LinePairsPerMM float64 // on the sensor
	// Contrast is OTF: what reaches the photosites.
	Contrast float64
	// Least and Most are the range of what sampling keeps of it. Most holds if every
	// photosite samples the detail, as a colourless one can be; it is 0 above the
	// Nyquist frequency of the photosites. Least holds if the green photosites of a
	// colour mosaic alone do; it is 0 above theirs. Both are 0 if the detail, or a
	// coarser one, is reversed.
	Least, Most float64
}

// PushIn gives the contrast that is left at the Nyquist frequency of the delivered
// picture, and at half of it, for a series of push-ins. A push-in by z shows 1/z of
// the width of the picture, so that a delivered pixel has 1/z of the photosites.
//
// What a colour mosaic keeps is given as a range, since it depends on the colour of
// the detail and on the demosaicing, which is not modelled. Its ends are derived
// from sampling alone. Stripes in any direction are sampled up to
//
//	1/(2p)      by all photosites, a square lattice of pitch p
//	1/(2√2 p)   by the green ones of a mosaic, every second on a chequerboard
//
// The green photosites alone also sample vertical and horizontal stripes up to
// 1/(2p), but diagonal ones only up to the second limit. The range does not hold for
// pure red or blue, which a mosaic samples up to 1/(4p) only. Above the first limit no
// detail is kept: what Contrast leaves there shows as moiré. Common practice puts
// the resolution of a mosaic at about 0.7 of its photosites, which is the second
// limit. The filter that scales the picture to the delivery is not counted.
//
// A System without a pitch, no factors, and a field outside its range are errors.
//
// Source: Nyquist's limit of a lattice is the largest circle in its cell of
// frequencies: D. P. Petersen and D. Middleton, Sampling and Reconstruction of
// Wave-Number-Limited Functions in N-Dimensional Euclidean Spaces, Information and
// Control 5 (1962) 279, from memory.
func (s System) PushIn(spec PushInSpec) ([]PushInStep, error) {
	c := s.checker()
	if c.OK() && s.spec.Pitch == 0 {
		c.Unset("pitch of the system")
	}
	c.Number("photosites per pixel", spec.PhotositesPerPixel, "", pixelRatios)
	if len(spec.Factors) == 0 {
		c.Unset("factors")
	}
	for _, z := range spec.Factors {
		c.Number("factor", z, "", valid.Closed(0.01, 1000.))
	}
	c.Angle("direction", spec.Direction, valid.Turns)
	c.Length("focus distance", spec.Focus, valid.Above(s.focal, math.Inf(1)))
	c.Length("object distance", spec.Object, valid.Above(0, math.Inf(1)))
	if c.OK() {
		finest := spec.PhotositesPerPixel / slices.Max(spec.Factors)
		if least := 0.5e-3 / (valid.Frequencies.Max * float64(s.spec.Pitch)); finest < least {
			c.Number("photosites per pixel at the largest factor", finest, "", valid.Closed(least, pixelRatios.Max))
		}
	}
	if !c.OK() {
		return nil, c.Err()
	}
	steps := make([]PushInStep, len(spec.Factors))
	for i, z := range spec.Factors {
		q := spec.PhotositesPerPixel / z
		nyquist, ok := s.left(2*q, spec)
		half, okHalf := s.left(4*q, spec)
		if !ok || !okHalf {
			return nil, c.Refuse("object distance", quantity.Length(spec.Object), "must blur by less at this focus: see DefocusOTF")
		}
		steps[i] = PushInStep{Factor: z, PhotositesPerPixel: q, Nyquist: nyquist, HalfNyquist: half}
	}
	return steps, nil
}

// left is what is left of stripes whose period is a number of photosites. ok is
// false if OTF has no answer.
func (s System) left(period float64, spec PushInSpec) (l Left, ok bool) {
	l.LinePairsPerMM = 1e-3 / (period * float64(s.spec.Pitch))
	l.Contrast, ok = s.OTF(l.LinePairsPerMM, spec.Direction, spec.Focus, spec.Object)
	spot, blur, _ := s.spread(spec.Focus, spec.Object)
	kept := s.resolved(l.LinePairsPerMM, float64(spec.Direction), spot, blur)
	if period >= 2 {
		l.Most = kept
	}
	if period >= 2*math.Sqrt2 {
		l.Least = kept
	}
	return l, ok
}
