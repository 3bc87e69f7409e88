package flicker

import "math"

// sample is what a block shows in a frame.
type sample struct {
	r, g, b   float64
	luminance float64 // relative
}

// detector finds the transitions of each block under one criterion: +1 brighter or into
// red, −1 darker or out of red, 0 none.
type detector interface {
	step(block int, s sample) int8
}

// short is the fraction by which a change of luminance may fall short of its threshold.
// Samples of type float32 need 1e-6.
const short = 1e-5

func generalFlash(dark, bright float64) bool {
	return bright-dark >= 0.1*(1-short) && dark < 0.8
}

// absoluteFlash compares luminances in cd/m². At 160 cd/m² both cases ask for 20 cd/m².
func absoluteFlash(dark, bright float64) bool {
	if dark < 160 {
		return bright-dark >= 20*(1-short)
	}
	return 17*(bright-dark) >= (bright+dark)*(1-short)
}

// swing is the state of a block whose luminance is followed.
type swing struct {
	low, high float64 // since the last transition
	last      int8
}

type luminanceDetector struct {
	blocks []swing
	scale  float64                         // of relative luminance
	flash  func(dark, bright float64) bool // true for all darker and brighter ones if it is true
}

func newLuminanceDetector(blocks int, scale float64, flash func(dark, bright float64) bool) *luminanceDetector {
	d := &luminanceDetector{make([]swing, blocks), scale, flash}
	for i := range d.blocks {
		d.blocks[i] = swing{low: math.Inf(1), high: math.Inf(-1)}
	}
	return d
}

func (d *luminanceDetector) step(block int, s sample) int8 {
	b, v := &d.blocks[block], s.luminance*d.scale
	b.low, b.high = min(b.low, v), max(b.high, v)
	switch {
	case b.last <= 0 && d.flash(b.low, v):
		b.last, b.high = 1, v
		return 1
	case b.last >= 0 && d.flash(v, b.high):
		b.last, b.low = -1, v
		return -1
	}
	return 0
}

func saturatedRed(s sample) bool { return s.r > 0 && s.r >= 0.8*(s.r+s.g+s.b) }

// redSwing is the state of a block under the older criterion. Extremes are kept for all
// colours and for saturated reds, since one of two colours must be one.
type redSwing struct {
	low, high, lowRed, highRed float64
	last                       int8
}

type olderRedDetector []redSwing

func newOlderRedDetector(blocks int) olderRedDetector {
	d := make(olderRedDetector, blocks)
	for i := range d {
		d[i] = redSwing{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1), 0}
	}
	return d
}

func (d olderRedDetector) step(block int, s sample) int8 {
	const threshold = 20
	b, v, red := &d[block], max(0, 320*(s.r-s.g-s.b)), saturatedRed(s)
	lowRed, highRed := math.Inf(1), math.Inf(-1)
	if red {
		lowRed, highRed = v, v
	}
	b.low, b.high = min(b.low, v), max(b.high, v)
	b.lowRed, b.highRed = min(b.lowRed, lowRed), max(b.highRed, highRed)
	switch {
	case b.last <= 0 && (red && v-b.low > threshold || v-b.lowRed > threshold):
		b.last, b.high, b.highRed = 1, v, highRed
		return 1
	case b.last >= 0 && (red && b.high-v > threshold || b.highRed-v > threshold):
		b.last, b.low, b.lowRed = -1, v, lowRed
		return -1
	}
	return 0
}

// box holds colours seen, by their extremes in u′v′.
type box struct {
	black, coloured          bool
	uLow, uHigh, vLow, vHigh float64
}

// chromaticity gives u′v′ (CIE 1976) of a colour of sRGB's primaries, with the matrix
// that WCAG's page on understanding prints. ok is false for black.
func chromaticity(s sample) (u, v float64, ok bool) {
	x := 0.4124564*s.r + 0.3575761*s.g + 0.1804375*s.b
	y := 0.2126729*s.r + 0.7151522*s.g + 0.0721750*s.b
	z := 0.0193339*s.r + 0.1191920*s.g + 0.9503041*s.b
	sum := x + 15*y + 3*z
	return 4 * x / sum, 9 * y / sum, sum > 0
}

func (b *box) add(u, v float64, ok bool) {
	switch {
	case !ok:
		b.black = true
	case !b.coloured:
		*b = box{b.black, true, u, u, v, v}
	default:
		b.uLow, b.uHigh = min(b.uLow, u), max(b.uHigh, u)
		b.vLow, b.vHigh = min(b.vLow, v), max(b.vHigh, v)
	}
}

// far reports whether a colour of the box may be farther than 0.2 from this one. Black
// is farther than that from all others.
func (b *box) far(u, v float64, ok bool) bool {
	if !ok {
		return b.coloured
	}
	return b.black || b.coloured && math.Hypot(max(u-b.uLow, b.uHigh-u), max(v-b.vLow, b.vHigh-v)) > 0.2
}

type redDetector []struct {
	red, other box // seen since the last transition
	last       int8
}

// Two saturated reds are never farther than 0.15 apart: of two colours that are, one is
// saturated red and the other is not.
func (d redDetector) step(block int, s sample) int8 {
	b := &d[block]
	u, v, ok := chromaticity(s)
	if saturatedRed(s) {
		b.red.add(u, v, ok)
		if b.last <= 0 && b.other.far(u, v, ok) {
			b.last, b.red = 1, box{}
			b.red.add(u, v, ok)
			return 1
		}
		return 0
	}
	b.other.add(u, v, ok)
	if b.last >= 0 && b.red.far(u, v, ok) {
		b.last, b.other = -1, box{}
		b.other.add(u, v, ok)
		return -1
	}
	return 0
}
