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
	p.nodes = b.nodes
	return !math.IsNaN(s.mean[0] + s.mean[1] + s.mean[2])
}

type builder struct {
	panel *panel
	peak  RGB
	pic   *Picture
	leaf  int // the most pixels of a leaf
	nodes []node
}

// across reports whether a block of w × h pixels is halved across its width: if
// that is the longer side in metres. A block of a picture one pixel wide is halved
// along its other side.
func (p *panel) across(w, h float64) bool {
	return w*p.pitchX >= h*p.pitchY && w > 1 || h == 1
}

func (b *builder) build(x0, y0, x1, y1 int) (s sums) {
	w, h := x1-x0, y1-y0
	i := len(b.nodes)
	b.nodes = append(b.nodes, node{})
	if w*h <= b.leaf {
		s = b.read(x0, y0, x1, y1)
	} else {
		var one, two sums
		var share, d1x, d2x, d1y, d2y float64
		if b.panel.across(float64(w), float64(h)) {
			m := x0 + w/2
			one, two = b.halves([4]int{x0, y0, m, y1}, [4]int{m, y0, x1, y1})
			share = float64(m-x0) / float64(w)
			d1x, d2x = float64(m-x1)/2, float64(m-x0)/2
		} else {
			m := y0 + h/2
			one, two = b.halves([4]int{x0, y0, x1, m}, [4]int{x0, m, x1, y1})
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
	n := &b.nodes[i]
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

// halves builds the two halves of the block whose node is the last one. Those of
// large blocks are built at the same time.
func (b *builder) halves(first, second [4]int) (one, two sums) {
	i := len(b.nodes) - 1
	if (first[2]-first[0])*(first[3]-first[1]) < 1<<20 {
		one = b.build(first[0], first[1], first[2], first[3])
		b.nodes[i].right = int32(len(b.nodes))
		two = b.build(second[0], second[1], second[2], second[3])
		return one, two
	}
	left, right := *b, *b
	left.nodes, right.nodes = nil, nil
	done := make(chan struct{})
	go func() {
		one = left.build(first[0], first[1], first[2], first[3])
		close(done)
	}()
	two = right.build(second[0], second[1], second[2], second[3])
	<-done
	for _, part := range [][]node{left.nodes, right.nodes} {
		base := int32(len(b.nodes))
		b.nodes[i].right = base // that of the second half stays
		for _, n := range part {
			if n.right != 0 {
				n.right += base
			}
			b.nodes = append(b.nodes, n)
		}
	}
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
