package warp

import (
	"context"
	"math"
)

// Layer is one source of a blend.
type Layer[T Sample] struct {
	Frame   Frame[T]
	Map     *Map    // onto the target that all layers share
	Gain    float64 // multiplies the samples; 0: 1
	Feather float64 // width over which the layer fades, at its limits and at seams, source px
}

// Blend fills dst with a weighted mean of what its pixels see of several
// sources, each filtered as Warp does. The seam between two of them lies where
// their margins are equal:
//
//	dst = Σ wᵢ·gainᵢ·srcᵢ / Σ wᵢ
//	wᵢ = coverageᵢ · s(mᵢ/Fᵢ) · s(1 + (mᵢ − max m)/Fᵢ),   s(t) = t²(3 − 2t),  t within [0, 1]
//
// with the margins m from the sources (see Source), their maximum over the
// layers that see the pixel, and the feathers F, in source pixels. So each
// pixel shows the layer that sees it farthest from its limits, and others only
// as far as their margins come within their feather of that; across a limit or
// a seam nothing jumps. Where a single layer sees, it is shown in full up to
// its limits. A layer with a feather of 0 has weight only where its margin is
// the largest, of equal ones the first.
//
// A source without limits, as a full panorama, has infinite margins: it hides
// every layer that has limits, and shares with its like, in equal parts, or,
// with feathers of 0, leaves all to the first.
//
// A layer is sampled only where it has weight. Several target-sized frames are
// never held: the layers stream through by tiles, and may differ in size.
// Source of s: The OpenGL Shading Language 4.60 (2017), 8.3.
func Blend[T Sample](ctx context.Context, dst Frame[T], layers []Layer[T], opts Options) error {
	j := jobOf[T]()
	defer j.release()
	return j.run(ctx, dst, layers, opts, true)
}

// standing is what a run of target pixels, of one cell, has of a layer.
type standing struct {
	row, col  int
	low, high float64           // bounds of the margin over the run
	margin    [cellSide]float64 // NaN where the layer does not see
}

// mix fills s.sum with the weighted mean of all layers, and s.best with the
// largest coverage.
func (j *job[T]) mix(y, x0, x1 int, s *scratch) {
	n, ch := x1-x0, j.dst.ch
	clear(s.sum[:n*ch])
	clear(s.best[:n])
	s.standings = extend(s.standings, len(j.layers))
	for x := x0; x < x1; {
		end := x1
		best := math.Inf(-1) // some layer has this margin or more all along
		for k := range j.layers {
			m, st := j.layers[k].m, &s.standings[k]
			// Maps of one target have the same cells.
			st.row, st.col = int(m.rowOf[y]), int(m.colOf[x])
			end = min(end, m.colEdges[st.col+1])
			st.low, st.high = m.bounds(st.row, st.col, y)
			best = max(best, st.low)
		}
		only, count := 0, 0
		for k := range j.layers {
			if j.layers[k].reaches(&s.standings[k], best) {
				only = k
				count++
			}
		}
		sum, cover := s.sum[(x-x0)*ch:(end-x0)*ch], s.best[x-x0:end-x0]
		clear(sum) // of what sampling spilled
		switch count {
		case 0:
		case 1:
			l, st := &j.layers[only], &s.standings[only]
			l.m.positions(st.row, st.col, y, x, end, s)
			l.sample(st.row, st.col, y, x, end, s, sum, cover)
			if l.gain != 1 {
				for i := range sum {
					sum[i] *= float32(l.gain)
				}
			}
		default:
			j.join(best, y, x, end, s, sum, cover)
		}
		x = end
	}
}

// reaches says whether a layer may have weight where another has the margin
// best or more.
func (l *layer[T]) reaches(st *standing, best float64) bool {
	return st.high >= best-l.feather // −∞, NaN: see bounds
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
	var largest [cellSide]float64
	var first [cellSide]int // the first layer with the largest margin
	for i := range n {
		largest[i], first[i] = math.Inf(-1), -1
	}
	for k := range j.layers {
		l, st := &j.layers[k], &s.standings[k]
		if !l.reaches(st, best) {
			continue
		}
		l.m.positions(st.row, st.col, y, x0, x1, s)
		for i := range n {
			if s.xs[i] != s.xs[i] {
				st.margin[i] = math.NaN()
				continue
			}
			margin := l.m.marginAt(s.xs[i], s.ys[i])
			st.margin[i] = margin
			if margin > largest[i] || first[i] < 0 {
				largest[i], first[i] = margin, k
			}
		}
	}
	var total [cellSide]float32
	for k := range j.layers {
		l, st := &j.layers[k], &s.standings[k]
		if !l.reaches(st, best) {
			continue
		}
		var weights [cellSide]float32
		any := false
		for i := range n {
			weights[i] = float32(weight(st.margin[i], largest[i], l.feather, first[i] == k))
			any = any || weights[i] > 0
		}
		if !any {
			continue
		}
		l.m.positions(st.row, st.col, y, x0, x1, s)
		for i, w := range weights[:n] {
			if w == 0 { // not to be sampled
				s.xs[i] = math.NaN()
			}
		}
		vals, cov := s.val[:n*ch], s.cov[:n]
		l.sample(st.row, st.col, y, x0, x1, s, vals, cov)
		gain := float32(l.gain)
		for i, w := range weights[:n] {
			w *= cov[i]
			if w == 0 {
				continue
			}
			total[i] += w
			share := w / total[i]
			cover[i] = max(cover[i], cov[i])
			for c := i * ch; c < (i+1)*ch; c++ {
				sum[c] += float32(share * (float32(gain*vals[c]) - sum[c]))
			}
		}
	}
}

// faintest is the fade of a pixel that is seen, yet lies on the limit: where
// no other layer sees, it still counts.
const faintest = 1.0 / (1 << 20)

// weight is that of a layer at a pixel, but for its coverage.
func weight(margin, largest, feather float64, first bool) float64 {
	switch {
	case margin != margin:
		return 0
	case first && feather == 0:
		return 1
	case feather == 0:
		return 0
	}
	seam := 1.0
	if margin < largest { // else both may be infinite
		seam = smoothstep(1 + (margin-largest)/feather)
	}
	return max(smoothstep(margin/feather), faintest) * seam
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
