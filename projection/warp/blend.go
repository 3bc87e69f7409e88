package warp

import (
	"context"
	"math"
)

// maxGain is the largest gain of a layer.
const maxGain = 1e6

// Layer is one source of a blend.
type Layer[T Sample] struct {
	Frame Frame[T]
	Map   *Map // onto the target that all layers share

	// Gain multiplies the samples, one factor a channel; 0: 1. It evens out
	// exposure and white balance between cameras.
	Gain [4]float64

	// Feather is the width over which the layer fades: at its limits in source
	// px, at seams in the unit of what places them, which are source px for
	// margins and the unit of the Priority else.
	Feather float64

	// Priority, where it is not nil, places the seams instead of the margin:
	// the layer that stands highest is shown. All layers have one, or none has.
	Priority *Priority
}

// Blend fills dst with a weighted mean of what its pixels see of several
// sources, each filtered as Warp does:
//
//	dst = Σ wᵢ·gainᵢ·srcᵢ / Σ wᵢ
//	wᵢ = coverageᵢ · s(mᵢ/Fᵢ) · seamᵢ,   s(t) = t²(3 − 2t),  t within [0, 1]
//
// with the margins m from the sources (see Source) and the feathers F, in
// source pixels. A seam between two layers lies where their margins are equal,
// and of the layers j that see the pixel
//
//	seamᵢ = min over j of s(1 + (mᵢ − mⱼ)/Fᵢ)
//
// So each pixel shows the layer that sees it farthest from its limits, and
// others only as far as their margins come within their feather of that.
//
// Where layers have a Priority p, a seam lies where the priorities are equal,
// and a layer gives way to a higher one as far as that has come up itself:
//
//	seamᵢ = min over j of 1 − min(1, aⱼ/aᵢ)·(1 − s(1 + (pᵢ − pⱼ)/Fᵢ)),   a = s(m/F)
//
// Either way nothing jumps across a limit or a seam, as long as the feathers
// are not 0. Where a single layer sees, it is shown in full up to its limits.
// A layer with a feather of 0 gives way at once to what stands higher, and to
// an earlier layer that stands as high.
//
// A source without limits, as a full panorama, has infinite margins: without
// priorities it hides every layer that has limits, and shares with its like, in
// equal parts, or, with feathers of 0, leaves all to the first.
//
// A layer is sampled only where it has weight. Several target-sized frames are
// never held: the layers stream through by tiles, and may differ in size.
// Source of s: The OpenGL Shading Language 4.60 (2017), 8.3.
func Blend[T Sample](ctx context.Context, dst Frame[T], layers []Layer[T], opts Options) error {
	j := jobOf[T]()
	defer j.release()
	return j.run(ctx, dst, layers, opts, true)
}

// gains are the factors of a layer's channels.
func gains(spec [4]float64) (g [4]float32) {
	for k, v := range spec {
		g[k] = float32(v)
		if v == 0 {
			g[k] = 1
		}
	}
	return g
}

// amplify multiplies pixels by the gains of their channels.
func (l *layer[T]) amplify(pixels []float32) {
	if l.gain == [4]float32{1, 1, 1, 1} {
		return
	}
	for ; len(pixels) >= l.ch; pixels = pixels[l.ch:] {
		for k := range pixels[:l.ch] {
			pixels[k] *= l.gain[k&3]
		}
	}
}

// rank is what a run of target pixels, of one cell, has of a layer: how it
// stands against the others, by its margin or its Priority.
type rank struct {
	row, col  int
	low, high float64 // bounds of the priority over the run; high NaN: nothing is seen
	full      bool    // nothing of it fades at a limit, nor is any pixel unseen
	margin    [3]float64
	smooth    bool // the margin is margin[0] + u·(margin[1] + u·margin[2]), and all of the run is seen

	priority [cellSide]float64
	fade     [cellSide]float64 // at the limits of the source; 0 where it does not see
}

// mix fills s.sum with the weighted mean of all layers, and s.best with the
// largest coverage.
func (j *job[T]) mix(y, x0, x1 int, s *scratch) {
	n, ch := x1-x0, j.dst.ch
	clear(s.sum[:n*ch])
	clear(s.best[:n])
	s.ranks = extend(s.ranks, len(j.layers))
	for x := x0; x < x1; {
		end := x1
		for k := range j.layers {
			// Maps of one target have the same cells, but for those that broke it
			// up otherwise.
			m := j.layers[k].m
			end = min(end, m.colEdges[m.colOf[x]+1])
		}
		best := math.Inf(-1) // some layer stands so high all along, and in full
		for k := range j.layers {
			p := &s.ranks[k]
			j.layers[k].bound(p, y, x, end)
			if p.full {
				best = max(best, p.low)
			}
		}
		only, count := 0, 0
		for k := range j.layers {
			if j.layers[k].reaches(&s.ranks[k], best) {
				only = k
				count++
			}
		}
		sum, cover := s.sum[(x-x0)*ch:(end-x0)*ch], s.best[x-x0:end-x0]
		clear(sum) // of what sampling spilled
		switch count {
		case 0:
		case 1:
			l, p := &j.layers[only], &s.ranks[only]
			l.m.positions(p.row, p.col, y, x, s.xs[:end-x], s.ys[:end-x])
			l.sample(p.row, p.col, y, x, end, s, sum, cover)
			l.amplify(sum)
		default:
			j.join(best, y, x, end, s, sum, cover)
		}
		x = end
	}
}

// bound finds how a layer stands over the pixels [x0, x1) of a row, without a
// look at each.
func (l *layer[T]) bound(p *rank, y, x0, x1 int) {
	p.row, p.col = int(l.m.rowOf[y]), int(l.m.colOf[x0])
	if p.margin, p.smooth = l.m.smoothMargin(p.row, p.col, y); p.smooth {
		way := math.Abs(p.margin[1]) + math.Abs(p.margin[2]) + 1
		p.low, p.high = p.margin[0]-way, p.margin[0]+way
	} else {
		p.low, p.high = l.m.bounds(p.row, p.col, y)
	}
	p.full = true // by margin, low says it all
	if l.priority != nil {
		p.full = p.low >= l.feather
		if p.high == p.high {
			p.low, p.high = l.priority.bounds(y, x0, x1)
		}
	}
}

// reaches says whether a layer may have weight where another, in full, stands
// as high as best or higher.
func (l *layer[T]) reaches(p *rank, best float64) bool {
	return p.high >= best-l.feather // −∞, NaN: see bounds
}

// bounds limits the margin over the part of a row of a target that lies in a
// cell, without a look at each pixel: a margin is a distance, so it changes by
// no more than the position does. Twice the way is allowed for, since margins
// may be approximate. Where nothing is seen, high is NaN.
func (m *Map) bounds(row, col, y int) (low, high float64) {
	switch c := m.cell(row, col); c.kind {
	case interpolated:
		_, cy, _, hy := m.frame(row, col)
		v := (float64(y) + 0.5 - cy) / hy
		a0, a1, a2 := along(&c.x, v)
		b0, b1, b2 := along(&c.y, v)
		way := math.Hypot(math.Abs(a1)+math.Abs(a2), math.Abs(b1)+math.Abs(b2))
		margin := m.marginAt(m.confine(a0, b0))
		return margin - 2*way, margin + 2*way
	case stored:
		return math.Inf(-1), m.marginAt(c.x[0], c.y[0]) + 2*c.x[1]
	}
	return math.Inf(-1), math.NaN()
}

// join blends the pixels [x0, x1) of a row, of one cell, one by one. The mean
// runs: each layer pulls it by its share of the weight so far, so that one
// layer alone, or equal layers, come out exactly.
func (j *job[T]) join(best float64, y, x0, x1 int, s *scratch, sum, cover []float32) {
	n, ch := x1-x0, j.dst.ch
	s.joined = s.joined[:0]
	for k := range j.layers {
		l, p := &j.layers[k], &s.ranks[k]
		if !l.reaches(p, best) {
			continue
		}
		s.joined = append(s.joined, k)
		l.rank(p, y, x0, n, s)
	}
	// Where margins place the seams, the highest alone decides.
	var highest [cellSide]float64
	var leader [cellSide]int // the first with the highest
	for i := range n {
		leader[i] = -1
	}
	for _, k := range s.joined {
		p := &s.ranks[k]
		for i := range n {
			if p.fade[i] > 0 && (leader[i] < 0 || p.priority[i] > highest[i]) {
				highest[i], leader[i] = p.priority[i], k
			}
		}
	}
	var total [cellSide]float32
	for _, k := range s.joined {
		l, p := &j.layers[k], &s.ranks[k]
		var weights [cellSide]float32
		first, end := n, 0 // of the pixels with weight
		for i := range n {
			seam := 0.0
			switch {
			case p.fade[i] == 0:
			case l.priority != nil:
				seam = j.seam(k, i, s)
			case p.priority[i] < highest[i]:
				if l.feather > 0 {
					seam = smoothstep(1 + (p.priority[i]-highest[i])/l.feather)
				}
			case l.feather > 0 || leader[i] == k:
				seam = 1
			}
			if weights[i] = float32(p.fade[i] * seam); weights[i] > 0 {
				first, end = min(first, i), i+1
			}
		}
		if first >= end {
			continue
		}
		l.m.positions(p.row, p.col, y, x0+first, s.xs[:end-first], s.ys[:end-first])
		for i, w := range weights[first:end] {
			if w == 0 { // not to be sampled
				s.xs[i] = math.NaN()
			}
		}
		vals, cov := s.val[:(end-first)*ch], s.cov[:end-first]
		l.sample(p.row, p.col, y, x0+first, x0+end, s, vals, cov)
		l.amplify(vals)
		for i, w := range weights[first:end] {
			w *= cov[i]
			if w == 0 {
				continue
			}
			into := first + i
			total[into] += w
			share := w / total[into]
			cover[into] = max(cover[into], cov[i])
			mean := sum[into*ch : (into+1)*ch]
			for c, v := range vals[i*ch : (i+1)*ch] {
				mean[c] += float32(share * (v - mean[c]))
			}
		}
	}
}

// rank finds how a layer stands at each of n pixels from x0 on, and how much of
// it there is.
func (l *layer[T]) rank(p *rank, y, x0, n int, s *scratch) {
	if p.smooth {
		cx, _, hx, _ := l.m.frame(p.row, p.col)
		for i := range n {
			u := (float64(x0+i) + 0.5 - cx) / hx
			margin := p.margin[0] + u*(p.margin[1]+u*p.margin[2])
			p.priority[i], p.fade[i] = margin, fade(margin, l.feather)
		}
	} else {
		l.m.positions(p.row, p.col, y, x0, s.xs[:n], s.ys[:n])
		for i := range n {
			if s.xs[i] != s.xs[i] {
				p.priority[i], p.fade[i] = 0, 0
				continue
			}
			margin := l.m.marginAt(s.xs[i], s.ys[i])
			p.priority[i], p.fade[i] = margin, fade(margin, l.feather)
		}
	}
	if l.priority != nil {
		for i := range n {
			p.priority[i] = l.priority.at(float64(x0+i)+0.5, float64(y)+0.5)
		}
	}
}

// seam is what the other layers leave of layer k at pixel i of a run, where
// priorities place the seams.
func (j *job[T]) seam(k, i int, s *scratch) float64 {
	l, own, fade := &j.layers[k], s.ranks[k].priority[i], s.ranks[k].fade[i]
	left := 1.0
	for _, o := range s.joined {
		p := &s.ranks[o]
		if o == k || p.fade[i] == 0 {
			continue
		}
		other, beside := p.priority[i], 0.0
		switch {
		case own > other, own == other && (l.feather > 0 || k < o): // both may be infinite
			continue
		case l.feather > 0:
			beside = smoothstep(1 + (own-other)/l.feather)
		}
		left = min(left, 1-min(1, p.fade[i]/fade)*(1-beside))
	}
	return left
}

// faintest is the fade of a pixel that is seen, yet lies on the limit: where
// no other layer sees, it still counts.
const faintest = 1.0 / (1 << 20)

// fade is how much of a layer there is at a margin from its limits.
func fade(margin, feather float64) float64 {
	if feather == 0 || margin >= feather {
		return 1
	}
	return max(smoothstep(margin/feather), faintest)
}

// smoothstep goes from 0 at t = 0 to 1 at t = 1, level at both.
func smoothstep(t float64) float64 {
	t = min(max(t, 0), 1)
	return t * t * (3 - 2*t)
}

// marginAt is the distance from a source position to the limit of what the
// source sees; what a source gives as NaN is no margin at all.
func (m *Map) marginAt(x, y float64) float64 {
	switch {
	case m.margin != nil:
		if d := m.margin.Margin(x, y); d == d {
			return d
		}
		return math.Inf(-1)
	case m.poles:
		return math.Inf(1)
	case m.wrap:
		return min(y, float64(m.srcHeight)-y)
	}
	return min(x, float64(m.srcWidth)-x, y, float64(m.srcHeight)-y)
}
