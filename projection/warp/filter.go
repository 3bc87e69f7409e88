package warp

import (
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/special"
)

// Filter weighs the pixels of a source around a position, where the map magnifies
// or keeps size. See Minify for other scales.
type Filter uint8

// With t the distance along each axis, in source pixels:
const (
	Bilinear   Filter = iota // 1 − |t| over 2 pixels: soft; never beyond the range of the samples
	Nearest                  // the pixel that holds the position: for masks and labels
	CatmullRom               // cubic over 4 pixels, B = 0, C = ½: sharp, rings a little
	Mitchell                 // cubic over 4 pixels, B = C = ⅓: softer; blurs even at 1 : 1
	Lanczos3                 // sinc(t)·sinc(t/3) over 6 pixels, normalised: sharpest, rings most
)

// Edge is what a filter takes for pixels beyond the edges of a source.
type Edge uint8

const (
	Mask     Edge = iota // nothing; the weights of the other pixels are normalised
	Clamp                // the nearest pixel of the source
	Constant             // Options.Fill, which also stands where nothing is seen
)

// Minify is what becomes of detail finer than the pixels of the target.
type Minify uint8

const (
	AntiAlias Minify = iota // what the target cannot hold is removed, where the map minifies: for what moves
	// PixelMean gives each target pixel the mean of the scene over it, as a camera
	// does, and takes the source's samples for such means, at every scale and with
	// every filter but Nearest. It is nearest to most scenes, but leaves some aliasing,
	// and where the map magnifies it rings at edges and raises noise.
	PixelMean
	PointSample // the filter at every scale, as Nearest always: for sources without fine detail
)

// tentAt, cubicAt and lanczosAt are the weights of filters by the distance of a tap.
// The cubics: D. P. Mitchell and A. N. Netravali, Reconstruction Filters in Computer
// Graphics, SIGGRAPH (1988), eq. 8.
func tentAt(t float64) float64 { return max(0, 1-math.Abs(t)) }

func cubicAt(b, c float64) func(t float64) float64 {
	return func(t float64) float64 {
		t = math.Abs(t)
		switch {
		case t < 1:
			return ((12-9*b-6*c)*t*t*t + (-18+12*b+6*c)*t*t + 6 - 2*b) / 6
		case t < 2:
			return ((-b-6*c)*t*t*t + (6*b+30*c)*t*t + (-12*b-48*c)*t + 8*b + 24*c) / 6
		}
		return 0
	}
}

func lanczosAt(t float64) float64 {
	if math.Abs(t) >= 3 {
		return 0
	}
	return special.Sinc(t) * special.Sinc(t/3)
}

// finePhases is how many steps the tables of filters have from a texel to the next:
// straight lines between them miss by 6e-7 at most.
const finePhases = 1024

// reconstruction is what becomes of a Filter at other scales than Nearest's.
type reconstruction struct {
	kernel func() *lanes.Kernel // where the map magnifies or keeps size
	minify func() *family       // AntiAlias
}

func newReconstruction(taps, phases int, weight func(t float64) float64, l lowPass) reconstruction {
	kernel := sync.OnceValue(func() *lanes.Kernel {
		return lanes.NewKernel(taps, phases, func(f float64, w []float64) { sampled(w, f, weight) })
	})
	return reconstruction{kernel, sync.OnceValue(func() *family { return antiAlias(kernel(), weight, l) })}
}

var reconstructions = [...]reconstruction{
	Bilinear:   newReconstruction(2, 1, tentAt, soft),
	CatmullRom: newReconstruction(4, finePhases, cubicAt(0, 1./2), firm),
	Mitchell:   newReconstruction(4, finePhases, cubicAt(1./3, 1./3), firm),
	Lanczos3:   newReconstruction(6, finePhases, lanczosAt, sharp),
}

// separable is the kernels of a filter; Nearest has none.
func (f Filter) separable() separable {
	if f == Nearest {
		return separable{}
	}
	k := pair{first: reconstructions[f].kernel()}
	return separable{k, k}
}

// sampler reads one source.
type sampler[T Sample] struct {
	levels      []level[T] // the image pyramid; level 0 is the frame
	ch          int
	wrap, poles bool
	plain       way     // where the scale does not matter
	family      *family // where it does; nil: nowhere
	means       bool    // the family is that of PixelMean
	edge        Edge
	fill        [4]float32
}

// address finds texel (x, y) of a level: its place, and whether there is one.
// Where the source has poles there always is. Elsewhere the place is the nearest.
func (s *sampler[T]) address(l *level[T], x, y int) (offset int, inside bool) {
	if s.wrap {
		if s.poles && y < 0 {
			y, x = -1-y, x+l.w/2
		} else if s.poles && y >= l.h {
			y, x = 2*l.h-1-y, x+l.w/2
		}
		x %= l.w
		if x < 0 {
			x += l.w
		}
		cy := min(max(y, 0), l.h-1)
		return cy*l.Stride + x*s.ch, s.poles || cy == y
	}
	cx, cy := min(max(x, 0), l.w-1), min(max(y, 0), l.h-1)
	return cy*l.Stride + cx*s.ch, cx == x && cy == y
}

// window is the taps that pixels are filtered over: of which level, by what, and how
// far each row of them lies along from the one above.
type window struct {
	separable
	level int
	shift float32
}

// slant is how its rows lie.
func (w *window) slant() lanes.Slant { return lanes.NewSlant(w.shift, w.down.first.Taps()) }

// bilinear says whether the kernels are those of Bilinear.
func (w *window) bilinear() bool {
	return w.along.first.Taps() == 2 && w.down.first.Taps() == 2 && w.shift == 0
}

// filter sums over the taps of a window. less is memory for as many values as out has.
func filter[T Sample](out, less []float32, r lanes.Raster[T], w *window, slant lanes.Slant, at []int, u, v []float32, ahead int) {
	lanes.Window(out, r, w.along.first, w.down.first, slant, at, u, v, ahead)
	if w.two() {
		lanes.Window(less, r, w.along.second, w.down.second, slant, at, u, v, 0)
		for i := range out {
			out[i] -= less[i]
		}
	}
}

// windows samples by one window for all positions.
func (s *sampler[T]) windows(b batch, w window) {
	first, end := b.first, b.first+len(b.xs)
	at, u, v := b.s.at[first:end], b.s.u[first:end], b.s.v[first:end]
	l := &s.levels[w.level]
	xs, ys := b.xs, b.ys
	if w.level > 0 {
		xs, ys = b.s.lx[first:end], b.s.ly[first:end]
		for i, x := range b.xs {
			xs[i], ys[i] = x*l.scaleX, b.ys[i]*l.scaleY
		}
	}
	along, down, reach := 1, 1, lanes.Width
	var slant lanes.Slant
	kx, ky := w.along.first, w.down.first
	if kx != nil {
		down, slant = ky.Taps(), w.slant()
		along = slant.Columns(kx.Taps())
		if !w.bilinear() {
			reach = kx.Reach(s.ch) + (along-kx.Taps())*s.ch
		}
	}
	g := lanes.NewGrid(l.Raster, l.w, l.h, along, down, reach)
	// The row before left its places here. It was mostly as far from this one as
	// the next will be.
	middle := len(at) / 2
	ahead := -at[middle]
	all := lanes.Place(at, u, v, xs, ys, &g)
	if ahead += at[middle]; ahead > 4*l.Stride || -ahead > 4*l.Stride {
		ahead = l.Stride
	}
	switch {
	case kx == nil:
		lanes.Nearest(b.vals, l.Raster, at, ahead)
	case w.bilinear():
		lanes.Bilinear(b.vals, l.Raster, at, u, v, ahead)
	default:
		filter(b.vals, b.s.less[:len(b.vals)], l.Raster, &w, slant, at, u, v, ahead)
	}
	copy(b.cov, ones[:])
	if all {
		return
	}
	for i, o := range at {
		if o < 0 {
			b.cov[i] = s.single(xs[i], ys[i], w, b.s, b.pixel(i))
		}
	}
}

// two says whether there are second kernels to be taken off.
func (k separable) two() bool { return k.along.second != nil && k.down.second != nil }

var ones = func() (all [tileWidth]float32) {
	for i := range all {
		all[i] = 1
	}
	return all
}()

// widen copies samples.
func widen[T Sample](out []float32, p []T) {
	for k, v := range p {
		out[k] = float32(v)
	}
}

// empty is what stands where nothing is seen.
func (s *sampler[T]) empty(out []float32) {
	for k := range out {
		out[k] = s.fill[k%s.ch]
	}
}

// single is a window anywhere in the source, its edges included, and gives the
// share of the weight that fell on texels. The position is one of its level.
func (s *sampler[T]) single(x, y float64, k window, r *scratch, out []float32) float32 {
	l := &s.levels[k.level]
	if x != x || y != y {
		s.empty(out)
		return 0
	}
	kx, ky := k.along.first, k.down.first
	if kx == nil {
		ix, _ := lanes.Snap(x)
		iy, _ := lanes.Snap(y)
		// The far edge belongs to the last pixel.
		o, _ := s.address(l, min(ix, l.w-1), min(iy, l.h-1))
		widen(out, l.Pix[o:o+s.ch])
		return 1
	}
	ix, u := lanes.Snap(x - 0.5)
	iy, v := lanes.Snap(y - 0.5)
	if u == 0 && v == 0 && kx.Copies() && ky.Copies() {
		if o, in := s.address(l, ix, iy); in {
			widen(out, l.Pix[o:o+s.ch])
			return 1
		}
	}
	if k.bilinear() {
		return s.four(l, ix, iy, u, v, out)
	}
	slant, taps, h := k.slant(), kx.Taps(), ky.Taps()
	w := slant.Columns(taps)
	ix, iy = ix-w/2+1, iy-h/2+1
	whole := s.whole(l, ix, iy, w, h)
	if u != 0 && v != 0 && whole {
		p := s.patch(l, ix, iy, w, h, r)
		at := [...]int{0}
		us, vs := [...]float32{u}, [...]float32{v}
		var spill, less [4 + 3]float32
		filter(spill[:s.ch], less[:s.ch], p, &k, slant, at[:], us[:], vs[:], 0)
		copy(out, spill[:])
		return 1
	}
	two := k.two() && whole // near an edge the first ones alone keep a constant what it is
	wy := ky.Weights(v)
	exact(&wy, v, ky)
	var bx, by [lanes.MaxTaps]float32
	if two {
		by = k.down.second.Weights(v)
	}
	a := around[T]{s: s, l: l}
	for j := range h {
		column, f := slant.Row(j, h, u, v)
		wx := kx.Weights(f)
		exact(&wx, f, kx)
		if two {
			bx = k.along.second.Weights(f)
		}
		for i := range taps {
			a.add(ix+column+i, iy+j, float64(wx[i]*wy[j])-float64(bx[i]*by[j]))
		}
	}
	return a.mean(out)
}

// whole says whether all texels of a rectangle exist.
func (s *sampler[T]) whole(l *level[T], x, y, w, h int) bool {
	return s.poles || y >= 0 && y+h <= l.h && (s.wrap || x >= 0 && x+w <= l.w)
}

// patch copies a rectangle that may lie across a seam or a pole, so that what is read
// there is computed as elsewhere. Behind each row there is room for what the loops read
// past it.
func (s *sampler[T]) patch(l *level[T], x, y, w, h int, r *scratch) lanes.Raster[float32] {
	p := lanes.Raster[float32]{Stride: w*s.ch + 4*lanes.Width, Channels: s.ch}
	r.patch = extend(r.patch, h*p.Stride)
	p.Pix = r.patch
	for j := range h {
		row := p.Pix[j*p.Stride:]
		for i := range w {
			o, _ := s.address(l, x+i, y+j)
			widen(row[i*s.ch:], l.Pix[o:o+s.ch])
		}
	}
	return p
}

// exact makes the weights at a texel's centre what they should be there, if the
// kernel copies: those of the others are 0, so that what they hold, perhaps NaN,
// does not count.
func exact(w *[lanes.MaxTaps]float32, f float32, k *lanes.Kernel) {
	if f == 0 && k.Copies() {
		taps := k.Taps()
		*w = [lanes.MaxTaps]float32{}
		w[taps/2-1] = 1
	}
}

// four is bilinear interpolation between texel (x, y) of a level and the next.
// It must compute as lanes.Bilinear does. A texel without weight is not read: it
// may not exist, or be NaN.
func (s *sampler[T]) four(l *level[T], x, y int, u, v float32, out []float32) float32 {
	x1, y1 := x+1, y+1
	if u == 0 {
		x1 = x
	}
	if v == 0 {
		y1 = y
	}
	var at [4]int
	var in [4]float32
	for i := range at {
		o, inside := s.address(l, [...]int{x, x1}[i%2], [...]int{y, y1}[i/2])
		at[i] = o
		if inside {
			in[i] = 1
		}
	}
	for k := range out {
		var p [4]float32
		for i := range p {
			if p[i] = float32(l.Pix[at[i]+k]); in[i] == 0 && s.edge == Constant {
				p[i] = s.fill[k]
			}
		}
		out[k] = lanes.Lerp(lanes.Lerp(p[0], p[2], v), lanes.Lerp(p[1], p[3], v), u)
	}
	if s.edge == Clamp {
		return 1
	}
	return lanes.Lerp(lanes.Lerp(in[0], in[2], v), lanes.Lerp(in[1], in[3], v), u)
}

// around sums texels by weight, one after another, wherever they are.
type around[T Sample] struct {
	s              *sampler[T]
	l              *level[T]
	sum            [4]float64
	weight, missed float64
}

func (a *around[T]) add(x, y int, w float64) {
	if w == 0 {
		return
	}
	o, inside := a.s.address(a.l, x, y)
	switch {
	case inside || a.s.edge == Clamp:
		a.weight += w
		for k, v := range a.l.Pix[o : o+a.s.ch] {
			a.sum[k&3] += float64(w * float64(v))
		}
	default:
		a.missed += w
		if a.s.edge == Constant {
			for k := range a.s.ch {
				a.sum[k&3] += float64(w * float64(a.s.fill[k&3]))
			}
		}
	}
}

// mean gives the mean, and the share of the weight that fell on texels.
func (a *around[T]) mean(out []float32) float32 {
	total := a.weight + a.missed
	by := a.weight
	if a.s.edge == Constant {
		by = total
	}
	for k := range out {
		out[k] = float32(a.sum[k&3] / by)
	}
	return float32(min(max(a.weight/total, 0), 1))
}
