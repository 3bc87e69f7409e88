package warp

import (
	"math/rand/v2"
	"testing"
	"unsafe"
)

// TestOverlapAgainstTheObvious marks the bytes of one frame and looks for those
// of another. What shares memory is always found; what does not is taken to only
// where strides differ.
func TestOverlapAgainstTheObvious(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	buffer := make([]float32, 150)
	bytes := unsafe.Slice((*uint8)(unsafe.Pointer(&buffer[0])), 4*len(buffer))
	for range 20000 {
		w, h, ch := 1+r.IntN(6), 1+r.IntN(4), 1+r.IntN(3)
		stride := w*ch + r.IntN(20)
		f := Frame[float32]{width: w, height: h, ch: ch, st: stride}
		need := stride*(h-1) + w*ch
		if need > len(buffer) {
			continue
		}
		from := r.IntN(len(buffer) - need + 1)
		f.pix = buffer[from : from+need : from+need]
		w2, h2 := 1+r.IntN(30), 1+r.IntN(4)
		stride2 := 4 * stride
		if r.IntN(3) == 0 || stride2 < w2 {
			stride2 = w2 + r.IntN(60)
		}
		g := Frame[uint8]{width: w2, height: h2, ch: 1, st: stride2}
		need2 := stride2*(h2-1) + w2
		if need2 > len(bytes) {
			continue
		}
		from2 := r.IntN(len(bytes) - need2 + 1)
		g.pix = bytes[from2 : from2+need2 : from2+need2]

		var mine [600]bool
		for y := range h {
			for x := range 4 * w * ch {
				mine[4*(from+y*stride)+x] = true
			}
		}
		shared := false
		for y := range h2 {
			for x := range w2 {
				shared = shared || mine[from2+y*stride2+x]
			}
		}
		exact := 4*stride == stride2 || h == 1 || h2 == 1
		if one, other := overlap(f, g), overlap(g, f); one != other || shared && !one || exact && one && !shared {
			t.Fatalf("%d × %d × %d, stride %d, at %d and %d × %d bytes, stride %d, at %d: overlap %v and %v, in truth %v", w, h, ch, stride, from, w2, h2, stride2, from2, one, other, shared)
		}
	}
	if overlap(Frame[float32]{}, Frame[float32]{}) {
		t.Error("frames without samples overlap")
	}
}
