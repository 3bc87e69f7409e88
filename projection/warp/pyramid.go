package warp

import "math"

// level is a source, or a source averaged down. Level n has about 2⁻ⁿ times
// the sides of the source, and each of its texels is the mean over an equal
// share of it: the sides need not be powers of two, and where the source wraps
// the width of every level is even, so that half a turn is whole texels.
type level[T Sample] struct {
	pix           []T
	w, h, stride  int
	scaleX        float64 // texels a source pixel
	scaleY        float64
	columns, rows []share // what a texel gathers of the level below
}

// share is the run of texels below that one texel covers: begin whole ones,
// the first and the last of which count by weight.
type share struct {
	first, n    int
	head, inner float64
	tail        float64
}

// nextSide is the side of the level above.
func nextSide(n int, even bool) int {
	half := (n + 1) / 2
	if even && half%2 != 0 {
		half++
	}
	return half
}

// shares divides n texels into equal parts.
func shares(into []share, n, parts int) []share {
	if cap(into) < parts {
		into = make([]share, parts)
	}
	into = into[:parts]
	size := float64(n) / float64(parts)
	for i := range into {
		// In whole numbers: part i covers [i·n/parts, (i+1)·n/parts).
		n, parts := int64(n), int64(parts)
		a, b := int64(i)*n, int64(i+1)*n
		first, last := a/parts, (b-1)/parts
		s := share{first: int(first), n: int(last-first) + 1, inner: 1 / size}
		s.head = (1 - float64(a-first*parts)/float64(parts)) / size
		s.tail = float64(b-last*parts) / float64(parts) / size
		if s.n == 1 {
			s.head, s.tail = 1, 0
		}
		into[i] = s
	}
	return into
}

// weight of the k-th texel of a share.
func (s *share) weight(k int) float64 {
	switch k {
	case 0:
		return s.head
	case s.n - 1:
		return s.tail
	}
	return s.inner
}

// shape makes l the level above below, reusing what it holds.
func (l *level[T]) shape(below *level[T], ch int, wrap bool) {
	l.w, l.h = nextSide(below.w, wrap), nextSide(below.h, false)
	l.stride = l.w * ch
	l.scaleX = below.scaleX * float64(l.w) / float64(below.w)
	l.scaleY = below.scaleY * float64(l.h) / float64(below.h)
	if n := l.h * l.stride; cap(l.pix) < n {
		l.pix = make([]T, n)
	} else {
		l.pix = l.pix[:n]
	}
	l.columns = shares(l.columns, below.w, l.w)
	l.rows = shares(l.rows, below.h, l.h)
}

// average fills row y of l. Whole numbers are rounded to the nearest, halves
// to the even, so that level upon level stays without bias.
func (l *level[T]) average(below *level[T], y, ch int, whole bool) {
	out := l.pix[y*l.stride : (y+1)*l.stride]
	r := &l.rows[y]
	if below.w == 2*l.w && below.h == 2*l.h {
		o := 2 * y * below.stride
		halve(out, below.pix[o:o+2*l.stride], below.pix[o+below.stride:o+below.stride+2*l.stride], ch, whole)
		return
	}
	for x := range l.columns {
		c := &l.columns[x]
		for k := range ch {
			sum := 0.0
			for j := range r.n {
				o := (r.first+j)*below.stride + c.first*ch + k
				line := 0.0
				for i := range c.n {
					line += c.weight(i) * float64(below.pix[o+i*ch])
				}
				sum += r.weight(j) * line
			}
			if whole {
				sum = math.RoundToEven(sum)
			}
			out[x*ch+k] = T(sum)
		}
	}
}

// halve writes the means of two by two texels of the rows p and q.
func halve[T Sample](out, p, q []T, ch int, whole bool) {
	if !whole {
		for len(out) >= ch {
			for k := range ch {
				out[k] = T(0.25 * (float64(p[k]) + float64(p[k+ch]) + float64(q[k]) + float64(q[k+ch])))
			}
			out, p, q = out[ch:], p[2*ch:], q[2*ch:]
		}
		return
	}
	for len(out) >= ch {
		for k := range ch {
			sum := uint32(p[k]) + uint32(p[k+ch]) + uint32(q[k]) + uint32(q[k+ch])
			out[k] = T((sum + 1 + sum>>2&1) >> 2)
		}
		out, p, q = out[ch:], p[2*ch:], q[2*ch:]
	}
}
