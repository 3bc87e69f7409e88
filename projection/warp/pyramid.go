package warp

import (
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
)

// level is a level of an image pyramid: the source, or the source made coarser.
// Level n has about 2⁻ⁿ times the sides of the source, and each of its texels
// covers an equal part of it. The sides need not be powers of two. If the source
// wraps, the width of every level is even, so that half a turn is whole texels.
type level[T Sample] struct {
	lanes.Raster[T]
	w, h          int
	scaleX        float64 // texels per source pixel
	scaleY        float64
	columns, rows []tent // what a texel gathers of the level below
}

// level is the frame itself.
func (f Frame[T]) level() level[T] {
	return level[T]{Raster: lanes.Raster[T]{Pix: f.pix, Stride: f.st, Channels: f.ch}, w: f.width, h: f.height, scaleX: 1, scaleY: 1}
}

// tent has the weights of a texel along an axis of the level below: those of a tent
// function as wide as two texels. From twice as many texels they are 1, 3, 3, 1
// eighths, which take out most of what the coarser level cannot hold.
type tent struct {
	first  int
	weight [tentTaps]float32 // the sum is 1
}

// tentTaps is how many texels a tent of up to 4 texels touches at most.
const tentTaps = 6

// nextSide is the side of the level above.
func nextSide(n int, even bool) int {
	half := (n + 1) / 2
	if even && half%2 != 0 {
		half++
	}
	return half
}

// tents divides n texels into equal parts.
func tents(into []tent, n, parts int) []tent {
	if cap(into) < parts {
		into = make([]tent, parts)
	}
	into = into[:parts]
	size := float64(n) / float64(parts)
	for i := range into {
		middle := (float64(i) + 0.5) * size
		s := tent{first: int(math.Floor(middle - size + 1e-9))}
		// The integral of the tent up to a distance t from its middle.
		upTo := func(t float64) float64 {
			t = min(max(t/size, -1), 1)
			return 0.5 + t - math.Copysign(t*t/2, t)
		}
		for k := range s.weight {
			t := float64(s.first+k) - middle
			s.weight[k] = float32(upTo(t+1) - upTo(t))
		}
		into[i] = s
	}
	return into
}

// shape makes l the level above below, reusing what it holds.
func (l *level[T]) shape(below *level[T], wrap bool) {
	l.w, l.h = nextSide(below.w, wrap), nextSide(below.h, false)
	l.Channels = below.Channels
	l.Stride = l.w * l.Channels
	l.scaleX = below.scaleX * float64(l.w) / float64(below.w)
	l.scaleY = below.scaleY * float64(l.h) / float64(below.h)
	if n := l.h * l.Stride; cap(l.Pix) < n {
		l.Pix = make([]T, n)
	} else {
		l.Pix = l.Pix[:n]
	}
	l.columns = tents(l.columns, below.w, l.w)
	l.rows = tents(l.rows, below.h, l.h)
}

// coarsen fills texels [x0, x1) of row y of level n from the level below, tileWidth of
// them at most. Beyond the edges of a source that does not wrap its texels are repeated.
func (s *sampler[T]) coarsen(n, y, x0, x1 int, r *scratch) {
	l, below := &s.levels[n], &s.levels[n-1]
	var weights [tentTaps]float32
	var rows, at [tentTaps]int
	taps := 0
	for k, w := range l.rows[y].weight {
		if w != 0 {
			weights[taps], rows[taps] = w, l.rows[y].first+k
			taps++
		}
	}
	// Down first, by stretches of texels that lie side by side in all rows.
	first, end := l.columns[x0].first, l.columns[x1-1].first+tentTaps
	for x, next := first, 0; x < end; x = next {
		next = end
		for k, row := range rows[:taps] {
			at[k], _ = s.address(below, x, row)
			next = min(next, x+below.w-at[k]%below.Stride/s.ch)
		}
		if !s.wrap && (x < 0 || x >= below.w) {
			next = x + 1
		}
		lanes.Sum(r.line[(x-first)*s.ch:(next-first)*s.ch], below.Pix, at[:taps], weights[:taps], 2*below.Stride)
	}
	if values := r.val[:]; below.w == 2*l.w {
		lanes.Halve(values, r.line[:], x1-x0, s.ch)
	} else {
		across(values, r.line[:], l.columns[x0:x1], s.ch)
	}
	lanes.Round(l.Pix[y*l.Stride+x0*s.ch:y*l.Stride+x1*s.ch], r.val[:(x1-x0)*s.ch])
}

// across weighs the texels of a line, which begins at the first of the first column.
func across(out, line []float32, columns []tent, ch int) {
	for x := range columns {
		c := &columns[x]
		for k := range ch {
			p := line[(c.first-columns[0].first)*ch+k:]
			sum := float32(0)
			for i, w := range c.weight {
				if w != 0 {
					sum += float32(w * p[i*ch])
				}
			}
			out[x*ch+k] = sum
		}
	}
}

// stillLevels are the levels of a frame that does not change: one pyramid for each
// kind of edges that maps give the frame.
type stillLevels[T Sample] [3]stillPyramid[T]

type stillPyramid[T Sample] struct {
	mu sync.Mutex
	sampler[T]
}

// pyramid is that for the edges of a sampler.
func (all *stillLevels[T]) pyramid(s *sampler[T]) *stillPyramid[T] {
	kind := 0
	if s.wrap {
		kind++
	}
	if s.poles {
		kind++
	}
	return &all[kind]
}
