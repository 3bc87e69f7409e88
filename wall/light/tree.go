package light

import "math"

// node is a block of a picture: what it shines, in cd/m². Blocks halve down to
// leaves. The left child of node i is node i+1.
type node struct {
	right  int32      // the other child; 0 in a leaf
	mean   [3]float64 // of each primary
	slopeX [3]float32 // mean of luminance times distance in pixels from the middle
	slopeY [3]float32
	spread float32 // sum over the primaries of the standard deviation
}

// sums are what a block passes on while the tree is built: means over its pixels.
type sums struct{ mean, square, x, y [3]float64 }

// shows builds the tree of a panel's picture. It reports whether all pixels are
// numbers.
func (p *panel) shows(spec Panel) bool {
	if spec.Picture == nil {
		p.nodes = []node{{mean: spec.Peak}}
		return true
	}
	x, y, w, h := spec.region()
	b := builder{panel: p, peak: spec.Peak, pic: spec.Picture, leaf: 1}
	if w*h > 1<<18 {
		b.leaf = 64
	}
	s := b.build(x, y, x+w, y+h)
	return !math.IsNaN(s.mean[0] + s.mean[1] + s.mean[2])
}

type builder struct {
	panel *panel
	peak  RGB
	pic   *Picture
	leaf  int
}

// half is where a block is split, in pixels from its start, and whether across its
// width. The longer side in metres is halved.
func (p *panel) half(w, h float64) (across bool) {
	return w*p.pitchX >= h*p.pitchY
}

func (b *builder) build(x0, y0, x1, y1 int) sums {
	p, w, h := b.panel, x1-x0, y1-y0
	i := len(p.nodes)
	p.nodes = append(p.nodes, node{})
	var s sums
	if w*h <= b.leaf {
		s = b.read(x0, y0, x1, y1)
	} else {
		var one, two sums
		var share, d1x, d2x, d1y, d2y float64
		// A block one pixel wide is split along its other side.
		if across := p.half(float64(w), float64(h)); across && w > 1 || h == 1 {
			m := x0 + w/2
			one = b.build(x0, y0, m, y1)
			p.nodes[i].right = int32(len(p.nodes))
			two = b.build(m, y0, x1, y1)
			share = float64(m-x0) / float64(w)
			d1x, d2x = float64(m-x1)/2, float64(m-x0)/2
		} else {
			m := y0 + h/2
			one = b.build(x0, y0, x1, m)
			p.nodes[i].right = int32(len(p.nodes))
			two = b.build(x0, m, x1, y1)
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
	n := &p.nodes[i]
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

// read sums the pixels of a leaf.
func (b *builder) read(x0, y0, x1, y1 int) (s sums) {
	middleX, middleY := float64(x0+x1-1)/2, float64(y0+y1-1)/2
	for y := y0; y < y1; y++ {
		row := b.pic.Pixels[3*(y*b.pic.Width+x0) : 3*(y*b.pic.Width+x1)]
		dy := float64(y) - middleY
		for x := x0; x < x1; x++ {
			dx := float64(x) - middleX
			for c := range 3 {
				v := float64(max(0, min(1, row[3*(x-x0)+c]))) // NaN stays NaN
				s.mean[c] += v
				s.square[c] += v * v
				s.x[c] += v * dx
				s.y[c] += v * dy
			}
		}
	}
	each := 1 / float64((x1-x0)*(y1-y0))
	for c := range 3 {
		s.mean[c] *= each
		s.square[c] *= each
		s.x[c] *= each
		s.y[c] *= each
	}
	return s
}
