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

	// Gain multiplies the samples, one factor per channel; 0: 1. It evens out
	// exposure and white balance between cameras.
	Gain [4]float64

	// Feather is the width over which the layer fades at the limits of its source and
	// at seams. It is in source pixels; with a Priority, the fade at seams is in the
	// unit of that Priority.
	Feather float64

	// Priority places the seams instead of the margins: the layer of the highest
	// priority is shown. Either all layers have one or none has.
	Priority *Priority
}

// Blend fills dst with a weighted mean of several sources, each filtered as Warp
// does:
//
//	dst = Σ wᵢ·gainᵢ·srcᵢ / Σ wᵢ
//	wᵢ = coverageᵢ · s(mᵢ/Fᵢ) · seamᵢ,   s(t) = t²(3 − 2t),  t within [0, 1]
//
// m are the margins of the sources (see Source) and F the feathers, in source
// pixels. A seam between two layers lies where their margins are equal:
//
//	seamᵢ = min over j of s(1 + (mᵢ − mⱼ)/Fᵢ)
//
// over the layers j that see the pixel. So each pixel shows the layer that sees it
// farthest from its limits. If the layers have priorities p, a seam lies where these
// are equal. A layer gives way to one of a higher priority as that fades in:
//
//	seamᵢ = min over j of 1 − min(1, aⱼ/aᵢ)·(1 − s(1 + (pᵢ − pⱼ)/Fᵢ)),   a = s(m/F)
//
// The result is continuous across limits and seams unless a feather is 0. A single
// layer is shown in full up to its limits. A layer with a feather of 0 gives way
// at once to a higher priority, and to an earlier layer of the same. A source
// without limits, as a full panorama, has infinite margins: without priorities it
// hides every layer that has limits. Several such layers share in equal parts; with
// feathers of 0 the first has all.
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

// layerRun is what a layer is to a run of target pixels.
type layerRun struct {
	run
	low, high float64   // bounds of the priority over the run; high NaN: nothing is seen
	full      bool      // the layer neither fades at a limit nor misses a pixel
	margin    quadratic // in the u of the cell, if smooth
	smooth    bool      // and all pixels of the run see the source

	priority [cellSide]float64 // of each pixel: its margin, or that of Layer.Priority
	fade     [cellSide]float64 // at the limits of the source; 0: the pixel does not see it
}

// mix fills a batch with the weighted mean of all layers, and the largest
// coverage, for the target pixels of row y from x0 on.
func (j *job[T]) mix(y, x0 int, b batch) {
	n, s := len(b.xs), b.s
	clear(b.vals)
	clear(b.cov)
	s.runs = extend(s.runs, len(j.layers))
	for k := range j.layers {
		s.runs[k].run = j.layers[k].m.runOf(y)
	}
	for i := 0; i < n; {
		end := n
		for k := range s.runs {
			// Maps of one target have the same cells, but for those that broke it
			// up otherwise.
			s.runs[k].move(x0+i, x0+end)
			end = i + s.runs[k].len()
		}
		best := math.Inf(-1) // some layer has this priority or more all along, and in full
		for k := range j.layers {
			r := &s.runs[k]
			r.x1 = x0 + end
			j.layers[k].bound(r)
			if r.full {
				best = max(best, r.low)
			}
		}
		only, count := 0, 0
		for k := range j.layers {
			if j.layers[k].reaches(&s.runs[k], best) {
				only = k
				count++
			}
		}
		out := b.slice(i, end)
		clear(out.vals) // of what sampling spilled
		switch count {
		case 0:
		case 1:
			l, r := &j.layers[only], &s.runs[only].run
			r.positions(out.xs, out.ys)
			l.sample(r, out)
			l.amplify(out.vals)
		default:
			j.join(best, out)
		}
		i = end
	}
}

// bound finds the priority of a layer over a run, without a look at each pixel.
func (l *layer[T]) bound(r *layerRun) {
	if r.margin, r.smooth = r.smoothMargin(); r.smooth {
		reach := r.margin.reach() + 1
		r.low, r.high = r.margin[0]-reach, r.margin[0]+reach
	} else {
		r.low, r.high = r.marginBounds()
	}
	r.full = true // by margin, low says it all
	if l.priority != nil {
		r.full = r.low >= l.feather
		if r.high == r.high {
			r.low, r.high = l.priority.bounds(r.y, r.x0, r.x1)
		}
	}
}

// reaches says whether a layer may have a weight if another, in full, has the
// priority best or a higher one.
func (l *layer[T]) reaches(r *layerRun, best float64) bool {
	return r.high >= best-l.feather // −∞, NaN: see marginBounds
}

// join blends the pixels of a run one by one. The mean is a running one: each
// layer pulls it by its fraction of the weight so far, so that one layer alone, or
// equal layers, come out exactly.
func (j *job[T]) join(best float64, out batch) {
	n, s := len(out.xs), out.s
	s.joined = s.joined[:0]
	for k := range j.layers {
		l, r := &j.layers[k], &s.runs[k]
		if !l.reaches(r, best) {
			continue
		}
		s.joined = append(s.joined, k)
		l.evaluate(r, s)
	}
	// Where margins place the seams, the highest alone decides.
	var highest [cellSide]float64
	var leader [cellSide]int // the first with the highest
	for i := range n {
		leader[i] = -1
	}
	for _, k := range s.joined {
		r := &s.runs[k]
		for i := range n {
			if r.fade[i] > 0 && (leader[i] < 0 || r.priority[i] > highest[i]) {
				highest[i], leader[i] = r.priority[i], k
			}
		}
	}
	var total [cellSide]float32
	for _, k := range s.joined {
		l, r := &j.layers[k], &s.runs[k]
		var weights [cellSide]float32
		first, end := n, 0 // of the pixels with a weight
		for i := range n {
			seam := 0.0
			switch {
			case r.fade[i] == 0:
			case l.priority != nil:
				seam = j.seam(k, i, s)
			case r.priority[i] < highest[i]:
				if l.feather > 0 {
					seam = smoothstep(1 + (r.priority[i]-highest[i])/l.feather)
				}
			case l.feather > 0 || leader[i] == k:
				seam = 1
			}
			if weights[i] = float32(r.fade[i] * seam); weights[i] > 0 {
				first, end = min(first, i), i+1
			}
		}
		if first >= end {
			continue
		}
		part := r.run
		part.x0, part.x1 = r.x0+first, r.x0+end
		b := batch{s: s, ch: out.ch, xs: s.xs[:end-first], ys: s.ys[:end-first], vals: s.val[:(end-first)*out.ch], cov: s.cov[:end-first]}
		part.positions(b.xs, b.ys)
		for i, w := range weights[first:end] {
			if w == 0 { // not to be sampled
				b.xs[i] = math.NaN()
			}
		}
		l.sample(&part, b)
		l.amplify(b.vals)
		for i, w := range weights[first:end] {
			w *= b.cov[i]
			if w == 0 {
				continue
			}
			into := first + i
			total[into] += w
			fraction := w / total[into]
			out.cov[into] = max(out.cov[into], b.cov[i])
			mean := out.pixel(into)
			for c, v := range b.pixel(i) {
				mean[c] += float32(fraction * (v - mean[c]))
			}
		}
	}
}

// evaluate finds the priority of a layer at each pixel of a run, and how far it
// fades there.
func (l *layer[T]) evaluate(r *layerRun, s *scratch) {
	n := r.len()
	if r.smooth {
		cx, hx := middle(r.m.colEdges, r.col)
		for i := range n {
			margin := r.margin.at((float64(r.x0+i) + 0.5 - cx) / hx)
			r.priority[i], r.fade[i] = margin, fade(margin, l.feather)
		}
	} else {
		r.positions(s.xs[:n], s.ys[:n])
		for i := range n {
			if s.xs[i] != s.xs[i] {
				r.priority[i], r.fade[i] = 0, 0
				continue
			}
			margin := r.m.marginAt(s.xs[i], s.ys[i])
			r.priority[i], r.fade[i] = margin, fade(margin, l.feather)
		}
	}
	if l.priority != nil {
		for i := range n {
			r.priority[i] = l.priority.at(float64(r.x0+i)+0.5, float64(r.y)+0.5)
		}
	}
}

// seam is the weight that the other layers leave to layer k at pixel i of a run,
// if priorities place the seams.
func (j *job[T]) seam(k, i int, s *scratch) float64 {
	l, own, fade := &j.layers[k], s.runs[k].priority[i], s.runs[k].fade[i]
	left := 1.0
	for _, o := range s.joined {
		r := &s.runs[o]
		if o == k || r.fade[i] == 0 {
			continue
		}
		other, beside := r.priority[i], 0.0
		switch {
		case own > other, own == other && (l.feather > 0 || k < o): // both may be infinite
			continue
		case l.feather > 0:
			beside = smoothstep(1 + (own-other)/l.feather)
		}
		left = min(left, 1-min(1, r.fade[i]/fade)*(1-beside))
	}
	return left
}

// faintest is the fade of a pixel that is seen, yet lies on the limit: where
// no other layer sees, it still counts.
const faintest = 1.0 / (1 << 20)

// fade is the weight of a layer at a margin from its limits.
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
