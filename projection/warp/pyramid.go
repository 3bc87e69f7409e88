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

// coarsen fills row y of level n from the level below. Beyond the edges of a
// source that does not wrap its texels are repeated.
func (s *sampler[T]) coarsen(n, y int, lines *coarse) {
	l, below := &s.levels[n], &s.levels[n-1]
	out := l.Pix[y*l.Stride : (y+1)*l.Stride]
	r := &l.rows[y]
	// Down first, into one line with room on both sides for the texels beyond.
	const room = tentTaps
	width := below.w * s.ch
	line := lines.line(width + 2*room*s.ch)
	middle := line[room*s.ch : room*s.ch+width]
	used := 0
	for k, w := range r.weight {
		if w == 0 {
			continue
		}
		row := r.first + k
		if s.poles && (row < 0 || row >= below.h) {
			// Half a turn away: two halves of a row of its own.
			o, _ := s.address(below, 0, row)
			half := width / 2
			begin := o - o%below.Stride
			pix := below.Pix[begin : begin+width]
			gather(middle[:half], pix[half:], w, used == 0)
			gather(middle[half:], pix[:half], w, used == 0)
		} else {
			begin := min(max(row, 0), below.h-1) * below.Stride
			gather(middle, below.Pix[begin:begin+width], w, used == 0)
		}
		used++
	}
	for k := range room * s.ch {
		texel, c := k/s.ch, k%s.ch
		before, after := 0, below.w-1
		if s.wrap {
			before, after = ((texel-room)%below.w+below.w)%below.w, texel%below.w
		}
		line[k] = middle[before*s.ch+c]
		line[room*s.ch+width+k] = middle[after*s.ch+c]
	}
	values := lines.value(len(out))
	across(values, line, l.columns, room, s.ch)
	lanes.Round(out, values)
}

// gather adds a weighted row of texels to a line, or begins it.
func gather[T Sample](line []float32, pix []T, w float32, begin bool) {
	pix = pix[:len(line)]
	if begin {
		for i, p := range pix {
			line[i] = float32(w * float32(p))
		}
		return
	}
	for i, p := range pix {
		line[i] += float32(w * float32(p))
	}
}

// across weighs the texels of a line, which begins room texels before the first.
func across(out, line []float32, columns []tent, room, ch int) {
	for x := range columns {
		c := &columns[x]
		for k := range ch {
			o := (c.first+room)*ch + k
			sum := float32(c.weight[0]*line[o]) + float32(c.weight[1]*line[o+ch])
			sum += float32(c.weight[2]*line[o+2*ch]) + float32(c.weight[3]*line[o+3*ch])
			if c.weight[4] != 0 {
				sum += float32(c.weight[4] * line[o+4*ch])
			}
			if c.weight[5] != 0 {
				sum += float32(c.weight[5] * line[o+5*ch])
			}
			out[x*ch+k] = sum
		}
	}
}

// coarse is room for a row of a level in the making.
type coarse struct{ lines, values []float32 }

func (c *coarse) line(n int) []float32 {
	c.lines = extend(c.lines, n)
	return c.lines
}

func (c *coarse) value(n int) []float32 {
	c.values = extend(c.values, n)
	return c.values
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
