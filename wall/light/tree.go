package light

import "math"

// node is a block of a picture: what it shines, in cd/m². Blocks halve down to
// leaves. The left child of node i is node i+1.
type node struct {
	right  int32      // how far on the other child is; 0 in a leaf
	mean   [3]float64 // of each primary
	slopeX [3]float32 // mean of luminance times distance in pixels from the middle
	slopeY [3]float32
	spread float32 // sum over the primaries of the standard deviation
}

// sums are what a block passes on while the tree is built: means over its pixels.
type sums struct{ mean, square, x, y [3]float64 }

// shows builds the tree of a panel's picture, with leaves of up to leaf pixels. It
// reports whether all pixels are numbers.
func (p *panel) shows(spec Panel, leaf int) bool {
	if spec.Picture == nil {
		p.nodes = []node{{mean: spec.Peak}}
		return true
	}
	x, y, w, h := spec.region()
	b := builder{panel: p, peak: spec.Peak, pic: spec.Picture, leaf: leaf, counts: map[[2]int]int{}}
	p.nodes = make([]node, b.count(w, h))
	s := b.build(p.nodes, x, y, x+w, y+h)
	return !math.IsNaN(s.mean[0] + s.mean[1] + s.mean[2])
}

// mostLeaves is about how many blocks of all pictures are kept: up to this many
// pixels they are kept whole.
const mostLeaves = 1 << 17

type builder struct {
	panel  *panel
	peak   RGB
	pic    *Picture
	leaf   int            // the most pixels of a leaf
	counts map[[2]int]int // nodes of the tree of a block of w × h pixels
}

// count is the number of nodes of the tree of a block.
func (b *builder) count(w, h int) int {
	if w*h <= b.leaf {
		return 1
	}
	n, ok := b.counts[[2]int{w, h}]
	if !ok {
		if b.panel.across(float64(w), float64(h)) {
			n = 1 + b.count(w/2, h) + b.count(w-w/2, h)
		} else {
			n = 1 + b.count(w, h/2) + b.count(w, h-h/2)
		}
		b.counts[[2]int{w, h}] = n
	}
	return n
}

// across reports whether a block of w × h pixels is halved across its width: if
// that is the longer side in metres. A block of a picture one pixel wide is halved
// along its other side.
func (p *panel) across(w, h float64) bool {
	return w*p.pitchX >= h*p.pitchY && w > 1 || h == 1
}

// build fills the nodes of a block's tree.
func (b *builder) build(nodes []node, x0, y0, x1, y1 int) (s sums) {
	w, h := x1-x0, y1-y0
	if w*h <= b.leaf {
		s = b.read(x0, y0, x1, y1)
	} else {
		var one, two sums
		var share, d1x, d2x, d1y, d2y float64
		if b.panel.across(float64(w), float64(h)) {
			m := x0 + w/2
			one, two = b.halves(nodes, [4]int{x0, y0, m, y1}, [4]int{m, y0, x1, y1})
			share = float64(m-x0) / float64(w)
			d1x, d2x = float64(m-x1)/2, float64(m-x0)/2
		} else {
			m := y0 + h/2
			one, two = b.halves(nodes, [4]int{x0, y0, x1, m}, [4]int{x0, m, x1, y1})
			share = float64(m-y0) / float64(h)
			d1y, d2y = float64(m-y1)/2, float64(m-y0)/2
		}
		for c := range 3 {
			s.mean[c] = share*one.mean[c] + (1-share)*two.mean[c]
			s.square[c] = share*one.square[c] + (1-share)*two.square[c]
			s.x[c] = share*(one.x[c]+d1x*one.mean[c]) + (1-share)*(two.x[c]+d2x*two.mean[c])
			s.y[c] = share*(one.y[c]+d1y*one.mean[c]) + (1-share)*(two.y[c]+d2y*two.mean[c])
		}
	}
	n := &nodes[0]
	var spread float64
	for c := range 3 {
		n.mean[c] = b.peak[c] * s.mean[c]
		n.slopeX[c], n.slopeY[c] = float32(b.peak[c]*s.x[c]), float32(b.peak[c]*s.y[c])
		// Below 1e-7 of the mean the difference of squares is rounding.
		if v := s.square[c] - s.mean[c]*s.mean[c]; v > 1e-14*s.square[c] {
			spread += b.peak[c] * math.Sqrt(v)
		}
	}
	n.spread = float32(spread)
	return s
}

// halves builds the two halves of a block, at the same time if they are large.
func (b *builder) halves(nodes []node, first, second [4]int) (one, two sums) {
	w, h := first[2]-first[0], first[3]-first[1]
	right := 1 + b.count(w, h)
	nodes[0].right = int32(right)
	if w*h < 1<<20 {
		one = b.build(nodes[1:right], first[0], first[1], first[2], first[3])
		two = b.build(nodes[right:], second[0], second[1], second[2], second[3])
		return one, two
	}
	done := make(chan struct{})
	go func() {
		one = b.build(nodes[1:right], first[0], first[1], first[2], first[3])
		close(done)
	}()
	two = b.build(nodes[right:], second[0], second[1], second[2], second[3])
	<-done
	return one, two
}

// read sums the pixels of a leaf.
func (b *builder) read(x0, y0, x1, y1 int) (s sums) {
	middleX, middleY := float64(x0+x1-1)/2, float64(y0+y1-1)/2
	each := 1 / float64((x1-x0)*(y1-y0))
	for c := range 3 {
		var sum, square, x, y float64
		for j := y0; j < y1; j++ {
			row := b.pic.Pixels[3*(j*b.pic.Width+x0)+c : 3*(j*b.pic.Width+x1)]
			var inRow float64
			dx := float64(x0) - middleX
			for i := 0; i < len(row); i += 3 {
				v := float64(row[i])
				if v < 0 {
					v = 0
				}
				if v > 1 {
					v = 1
				}
				inRow += v
				square += v * v
				x += v * dx
				dx++
			}
			sum += inRow
			y += inRow * (float64(j) - middleY)
		}
		s.mean[c], s.square[c], s.x[c], s.y[c] = sum*each, square*each, x*each, y*each
	}
	return s
}
