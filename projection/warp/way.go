package warp

import "math"

// way is how a pixel is filtered: by one window and, as far as it is too long for one,
// by several narrower ones along its longer axis.
type way struct {
	window
	x, y    float64 // scales of the window, in texels
	divided float32 // as far as probes take the place of the window

	narrow       window
	n            int     // probes: places of the narrow window
	stepX, stepY float64 // from one to the next, source px
}

const (
	// shared is the number of neighbours that share a way, where the map is smooth.
	shared = 8
	// Rows that lie so many texels further along than the ones above begin to give way
	// to probes, and by the second number are gone; so do more taps than there are.
	steepBegins, steepEnds = 1, 1.2
	longBegins             = 0.9
	// shiftSteps is the number of shifts of rows for each texel.
	shiftSteps = 32
	// mostProbes bounds the time that a pixel takes: longer ones are read from a
	// coarser level.
	mostProbes = 64
	// topLevel bounds the pyramid: 2²⁴ px become one.
	topLevel = 24
)

// way is that for a Jacobian. With C = J·Jᵀ the pixel is the ellipse dᵀ·C⁻¹·d = 1. The
// rows of a window lean as its middles do, each shifted against the one above:
//
//	shift = Cxy/Cyy,   extent along = √(Cxx − Cxy²/Cyy),   extent down = √Cyy
//
// which is the ellipse if the kernels make a round one where C is 1. Upright windows
// take half of the time, and serve where Cxy²/(Cxx·Cyy) is small. Probes have the
// shorter axis of the ellipse, and are spread along the longer one so that the second
// moments add up to C.
func (s *sampler[T]) way(j *Jacobian) (w way) {
	cxx, cxy, cyy := j.XX*j.XX+j.XY*j.XY, j.XX*j.YX+j.XY*j.YY, j.YX*j.YX+j.YY*j.YY
	if *j == (Jacobian{}) { // not known, or a point
		cxx, cyy = 1, 1
	}
	mean, half := (cxx+cyy)/2, (cxx-cyy)/2
	root := math.Sqrt(half*half + cxy*cxy)
	minor := max(math.Sqrt(max(mean-root, 0)), 1)
	major := max(math.Sqrt(mean+root), minor)
	f := s.family
	// As far as rows lean, the pixel is no thinner than a texel.
	txx, txy, tyy := cxx, cxy, cyy
	if mean-root < 1 {
		thick, slim := (major*major+minor*minor)/2, (major*major-minor*minor)/2/max(root, 1e-9)
		txx, txy, tyy = thick+slim*half, slim*cxy, thick-slim*half
	}
	lean := min(max(4*(txy*txy/(txx*tyy*f.leans)-1), 0), 1)
	cxx, cyy = cxx+lean*(txx-cxx), cyy+lean*(tyy-cyy)
	shift := lean * txy / cyy
	x, y := math.Sqrt(cxx-shift*shift*cyy), math.Sqrt(cyy)
	w.level = s.levelFor(minor)
	long := math.Ldexp(max(x, y), -w.level) / f.widest
	w.divided = float32(min(max((math.Abs(shift)-steepBegins)/(steepEnds-steepBegins), (long-longBegins)/(1-longBegins), 0), 1))
	if w.divided < 1 {
		l := &s.levels[w.level]
		w.x, w.y = x*l.scaleX, y*l.scaleY
		w.along, w.down = f.kernels(w.x, w.level), f.kernels(w.y, w.level)
		w.shift = float32(math.Round(shift*l.scaleX/l.scaleY*shiftSteps) / shiftSteps)
	}
	if w.divided == 0 {
		return w
	}
	// The window of a probe, and how far probes spread.
	major, minor = f.slack*major, f.slack*minor
	wide, high := minor, minor
	qy, qx := math.Sincos(math.Atan2(cxy, half) / 2)
	spread := math.Sqrt(major*major - minor*minor)
	if long > longBegins && math.Abs(shift) < steepEnds && lean == 0 { // along an axis: as wide as windows can be
		most := math.Ldexp(longBegins*f.widest, w.level)
		wide, high = min(x, most), min(y, most)
		qx, qy, spread = 1, 0, max(x, y)
		if y > x {
			qx, qy = 0, 1
		}
		if f.slack == 1 {
			spread = math.Sqrt(spread*spread - most*most)
		}
	}
	level := s.levelFor(min(wide, high))
	across := math.Hypot(qx*wide, qy*high)
	for ; ; level++ {
		// Waves that so many probes cannot tell from longer ones are beyond what their
		// windows pass.
		step := 1 / (0.5/max(across, math.Ldexp(1, level)) + 0.4/spread)
		w.n = max(int(math.Ceil(2*f.reach*spread/step)), 1)
		if w.n <= mostProbes || level == len(s.levels)-1 {
			break
		}
	}
	w.n = min(w.n, mostProbes)
	step := 2 * f.reach * spread / float64(w.n)
	w.stepX, w.stepY = qx*step, qy*step
	w.narrow.level = level
	l := &s.levels[level]
	w.narrow.along, w.narrow.down = f.kernels(wide*l.scaleX, level), f.kernels(high*l.scaleY, level)
	return w
}

// alike says whether one way serves for two pixels.
func (w *way) alike(v *way) bool {
	near := func(a, b float64) bool { return math.Abs(a-b) <= 1./64*max(1, math.Abs(a)) }
	if w.divided < 1 && !(w.level == v.level && near(w.x, v.x) && near(w.y, v.y) && math.Abs(float64(w.shift-v.shift)) <= 1./shiftSteps) {
		return false
	}
	return math.Abs(float64(w.divided-v.divided)) < 1./8 && (w.divided > 0) == (v.divided > 0) &&
		w.n == v.n && near(w.stepX, v.stepX) && near(w.stepY, v.stepY)
}

// levelFor is the level to read at a scale of the narrower axis.
func (s *sampler[T]) levelFor(minor float64) int { return min(s.family.level(minor), len(s.levels)-1) }

// probes samples the pixels of a batch by their one window as far as they are not
// divided, and by probes as far as they are.
func (s *sampler[T]) probes(b batch, w *way) {
	first, n := b.first, len(b.xs)
	r := b.s
	part := batch{s: r, first: first, ch: b.ch, xs: r.px[first : first+n], ys: r.py[first : first+n],
		vals: r.part[:len(b.vals)], cov: r.partCov[:n]}
	sum := r.probed[:len(b.vals)]
	clear(sum)
	clear(b.cov)
	total := float32(0)
	add := func(weight float64) {
		total += float32(weight)
		for i, c := range part.cov {
			w := float32(weight)
			b.cov[i] += float32(w * c)
			if s.edge != Constant {
				w *= c
			}
			if w == 0 {
				continue // no texel: what stands there is not a mean
			}
			for k, v := range part.vals[i*b.ch : (i+1)*b.ch] {
				sum[i*b.ch+k] += float32(w * v)
			}
		}
	}
	var line [mostProbes]float64
	weights := 0.0
	for k := range w.n {
		line[k] = s.family.line(s.offset(k, w.n))
		weights += line[k]
	}
	for k := range w.n {
		at := float64(k) - float64(w.n-1)/2
		dx, dy := at*w.stepX, at*w.stepY
		for i, x := range b.xs {
			part.xs[i], part.ys[i] = x+dx, b.ys[i]+dy
		}
		if s.wrap {
			for i, x := range part.xs {
				part.xs[i] = wrapTo(x, float64(s.levels[0].w))
			}
		}
		s.windows(part, w.narrow)
		add(line[k] / weights * float64(w.divided))
	}
	if w.divided < 1 {
		copy(part.xs, b.xs)
		copy(part.ys, b.ys)
		s.windows(part, w.window)
		add(1 - float64(w.divided))
	}
	for i, c := range b.cov {
		out := b.pixel(i)
		by := c
		switch {
		case !(c > 0):
			// Nothing is seen, or only where no probe looks.
			b.cov[i] = s.single(b.xs[i], b.ys[i], s.plain.window, r, out)
			continue
		case s.edge == Constant:
			by = total
		}
		b.cov[i] = min(c/total, 1)
		for k := range out {
			out[k] = sum[i*b.ch+k] / by
		}
	}
}

// offset is where probe k of n lies, in widths of the pixel.
func (s *sampler[T]) offset(k, n int) float64 {
	return s.family.reach * (2*float64(k) + 1 - float64(n)) / float64(n)
}
