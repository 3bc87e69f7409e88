package warp

import (
	"context"
	"fmt"
	"image"
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/valid"
)

// A tile is the piece of work that a worker takes.
const (
	tileWidth  = 256
	tileHeight = 32
)

// Options control Warp and Blend. For a wall, and all that moves through fine detail,
// take AntiAlias, with CatmullRom where it must be sharp; for a push-in and a still,
// PixelMean. JSON leaves out functions and Coverage.
type Options struct {
	Filter Filter
	Minify Minify
	Edge   Edge       // in Blend, Constant filters as Mask; Fill then stands where no layer has a weight
	Fill   [4]float32 // by channel, in samples; only with Constant
	// Coverage, if not the zero frame, is one channel of the size of the target. It
	// receives the fraction of the filter's weight that fell on pixels of the source,
	// in Blend the largest of the layers that have a weight.
	Coverage Frame[float32]        `json:"-"`
	Workers  int                   // goroutines; 0, or more than GOMAXPROCS: GOMAXPROCS
	Progress func(done, total int) `json:"-"` // called after each piece of work, one call at a time
}

// Warp fills dst with what its pixels see of src, through a map from the size of
// dst to the size of src. A pixel that sees nothing becomes 0 in all channels, or
// Fill.
//
// A NaN or infinite sample spreads to the pixels that have a weight for it. dst, src
// and the coverage must not overlap; frames with different strides that interleave
// in one buffer are taken to overlap.
func Warp[T Sample](ctx context.Context, dst, src Frame[T], m *Map, opts Options) error {
	j := jobOf[T]()
	defer j.release()
	j.one[0] = Layer[T]{Frame: src, Map: m}
	return j.run(ctx, dst, j.one[:], opts, false)
}

// job is one call of Warp or Blend. Jobs are pooled with their pyramids.
type job[T Sample] struct {
	workers
	one      [1]Layer[T]
	dst      Frame[T]
	coverage Frame[float32]
	fill     [4]float32
	layers   []layer[T]
	blend    bool
	tilesX   int

	building *sampler[T] // whose image pyramid is being made
	level    int
	part     image.Rectangle // of that level

	tileFn, averageFn func(i int, s *scratch) // bound once: binding allocates
}

// layer is a Layer made ready.
type layer[T Sample] struct {
	sampler[T]
	own      []level[T] // memory for levels
	m        *Map
	gain     [4]float32
	feather  float64
	priority *Priority // nil: the margin
}

var pools [3]sync.Pool

func poolOf[T Sample]() *sync.Pool {
	var zero T
	switch any(zero).(type) {
	case uint8:
		return &pools[0]
	case uint16:
		return &pools[1]
	}
	return &pools[2]
}

func jobOf[T Sample]() *job[T] {
	if j, ok := poolOf[T]().Get().(*job[T]); ok {
		return j
	}
	j := &job[T]{}
	j.tileFn, j.averageFn = j.tile, j.average
	return j
}

// release drops what belongs to the caller and keeps the buffers.
func (j *job[T]) release() {
	j.one[0] = Layer[T]{}
	j.dst, j.coverage = Frame[T]{}, Frame[float32]{}
	for i := range j.layers {
		j.layers[i].m, j.layers[i].priority = nil, nil
		j.layers[i].sampler.levels = nil
		if len(j.layers[i].own) > 0 {
			j.layers[i].own[0] = level[T]{}
		}
	}
	j.building = nil
	j.workers.release()
	poolOf[T]().Put(j)
}

func (j *job[T]) run(ctx context.Context, dst Frame[T], layers []Layer[T], opts Options, blend bool) error {
	if err := check(ctx, dst, layers, opts, blend); err != nil {
		return err
	}
	j.dst, j.coverage, j.blend, j.fill = dst, opts.Coverage, blend, [4]float32{}
	if opts.Edge == Constant {
		j.fill = opts.Fill
	}
	j.layers = extend(j.layers, len(layers))
	for i := range layers {
		l, in := &j.layers[i], &layers[i]
		l.m, l.feather, l.priority, l.gain = in.Map, in.Feather, in.Priority, gains(in.Gain)
		l.ch, l.wrap, l.poles = in.Frame.ch, in.Map.wrap, in.Map.poles
		l.plain = way{window: window{separable: opts.Filter.separable()}}
		l.edge, l.fill = opts.Edge, j.fill
		if blend {
			if l.edge == Constant {
				l.edge = Mask
			}
			if err := l.m.fitMargins(ctx, &j.workers, opts.Workers); err != nil {
				return err
			}
		}
		l.family, l.means = nil, false
		top := 0
		if opts.Minify != PointSample && opts.Filter != Nearest {
			l.means = opts.Minify == PixelMean
			l.family = familyOf(opts.Filter, opts.Minify)
			top = l.family.top(l.m.major, l.m.minor)
		}
		if err := j.levels(ctx, l, in.Frame, top, opts.Workers); err != nil {
			return err
		}
	}
	j.tilesX = (dst.width + tileWidth - 1) / tileWidth
	tilesY := (dst.height + tileHeight - 1) / tileHeight
	return j.workers.run(ctx, opts.Workers, j.tilesX*tilesY, opts.Progress, j.tileFn)
}

func check[T Sample](ctx context.Context, dst Frame[T], layers []Layer[T], opts Options, blend bool) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if dst.pix == nil {
		c.Fault("target frame", "without pixels", "must be made by NewFrame")
	}
	checkWorkers(c, opts.Workers)
	filters.Check(c, "Filter", opts.Filter)
	minifies.Check(c, "Minify", opts.Minify)
	edges.Check(c, "Edge", opts.Edge)
	if f := opts.Coverage; f.pix != nil && (f.width != dst.width || f.height != dst.height || f.ch != 1) {
		c.Fault("Coverage", fmt.Sprintf("%d × %d px, %d channels", f.width, f.height, f.ch), "must be %d × %d px, 1 channel", dst.width, dst.height)
	}
	if overlap(opts.Coverage, dst) {
		c.Fault("Coverage", "in the memory of the target frame", "must not overlap it")
	}
	if len(layers) == 0 {
		c.Fault("layers", "none", "must be at least one")
	}
	for i := range layers {
		l := &layers[i]
		name := func(s string) string {
			if blend {
				return fmt.Sprintf("layer %d: %s", i, s)
			}
			return s
		}
		switch m, f := l.Map, l.Frame; {
		case f.pix == nil:
			c.Fault(name("source frame"), "without pixels", "must be made by NewFrame")
		case m == nil || m.width == 0:
			c.Fault(name("map"), "none", "must be made by NewMap")
		default:
			if m.width != dst.width || m.height != dst.height {
				c.Fault(name("target frame"), fmt.Sprintf("%d × %d px", dst.width, dst.height), "must be as the map's, %d × %d px", m.width, m.height)
			}
			if m.srcWidth != f.width || m.srcHeight != f.height {
				c.Fault(name("source frame"), fmt.Sprintf("%d × %d px", f.width, f.height), "must be as the map's, %d × %d px", m.srcWidth, m.srcHeight)
			}
			if dst.pix != nil && f.ch != dst.ch {
				c.Fault(name("source frame"), fmt.Sprintf("%d channels", f.ch), "must be as the target's, %d", dst.ch)
			}
			if overlap(f, dst) {
				c.Fault(name("source frame"), "in the memory of the target frame", "must not overlap it")
			}
			if overlap(f, opts.Coverage) {
				c.Fault(name("source frame"), "in the memory of Coverage", "must not overlap it")
			}
		}
		// Names are made only where something is wrong: they allocate.
		for k, g := range l.Gain {
			if r := valid.Closed[float64](0, maxGain); blend && !r.Contains(g) {
				c.Number(name(fmt.Sprintf("Gain of channel %d", k)), g, "", r)
			}
		}
		if r := valid.Closed[float64](0, maxSide); blend && !r.Contains(l.Feather) {
			c.Number(name("Feather"), l.Feather, "px", r)
		}
		switch s := l.Priority; {
		case (s == nil) != (layers[0].Priority == nil):
			c.Fault(name("Priority"), "of some layers only", "must be given for all or for none")
		case s != nil && (s.width != dst.width || s.height != dst.height):
			c.Fault(name("Priority"), fmt.Sprintf("%d × %d px", s.width, s.height), "must be as the target, %d × %d px", dst.width, dst.height)
		}
	}
	return c.Err()
}

// levels gives a layer the image pyramid of its frame up to level top. A frame that
// does not change keeps the whole of it.
func (j *job[T]) levels(ctx context.Context, l *layer[T], f Frame[T], top, workers int) error {
	reads := box{0, 0, float64(f.width), float64(f.height)}
	if f.still == nil {
		if top > 0 {
			// Taps of the coarsest level, what made that, and probes.
			reads = reads.within(l.m.reads, math.Ldexp(lanes.MaxTaps/2+4, top)+2*l.family.reach*l.m.major)
		}
		l.sampler.levels = l.own[:0]
		err := j.build(ctx, &l.sampler, f, top, workers, reads)
		l.own = l.sampler.levels
		return err
	}
	kept := f.still.pyramid(&l.sampler)
	kept.mu.Lock() // whoever waits here finds it made
	defer kept.mu.Unlock()
	kept.ch, kept.wrap, kept.poles = l.ch, l.wrap, l.poles
	err := j.build(ctx, &kept.sampler, f, top, workers, reads)
	l.sampler.levels = kept.sampler.levels
	return err
}

// build adds to the levels that a sampler has of a frame those up to level top, and
// fills the part of them that is read.
func (j *job[T]) build(ctx context.Context, s *sampler[T], f Frame[T], top, workers int, reads box) error {
	had := len(s.levels)
	s.levels = extend(s.levels, max(top+1, had))
	if had == 0 {
		s.levels[0] = f.level()
	}
	j.building = s
	for n := max(had, 1); n <= top; n++ {
		l := &s.levels[n]
		l.shape(&s.levels[n-1], s.wrap)
		j.level, j.part = n, image.Rect(int(reads.x0*l.scaleX), int(reads.y0*l.scaleY),
			min(int(math.Ceil(reads.x1*l.scaleX)), l.w), min(int(math.Ceil(reads.y1*l.scaleY)), l.h))
		if err := j.workers.run(ctx, workers, (j.part.Dy()+tileHeight-1)/tileHeight, nil, j.averageFn); err != nil {
			s.levels = s.levels[:n]
			return err
		}
	}
	return nil
}

// extend makes a slice n long, and keeps what it held there before it was cut.
func extend[E any](s []E, n int) []E {
	if n > cap(s) {
		s = append(s[:cap(s)], make([]E, n-cap(s))...)
	}
	return s[:n]
}

// average does a band of rows of the level being built.
func (j *job[T]) average(band int, s *scratch) {
	for y := j.part.Min.Y + band*tileHeight; y < min(j.part.Min.Y+(band+1)*tileHeight, j.part.Max.Y); y++ {
		for x := j.part.Min.X; x < j.part.Max.X; x += tileWidth {
			j.building.coarsen(j.level, y, x, min(x+tileWidth, j.part.Max.X), s)
		}
	}
}

// tile fills one tile of the target.
func (j *job[T]) tile(i int, s *scratch) {
	x0, y0 := i%j.tilesX*tileWidth, i/j.tilesX*tileHeight
	x1, y1 := min(x0+tileWidth, j.dst.width), min(y0+tileHeight, j.dst.height)
	n, ch := x1-x0, j.dst.ch
	b := batch{s: s, ch: ch, xs: s.xs[:n], ys: s.ys[:n], vals: s.val[:n*ch], cov: s.cov[:n]}
	if j.blend {
		b.vals, b.cov = s.sum[:n*ch], s.best[:n]
	}
	for y := y0; y < y1; y++ {
		out := j.dst.Row(y)[x0*ch : x1*ch]
		switch floats, direct := any(out).([]float32); {
		case j.blend:
			j.mix(y, x0, b)
			if j.fill != [4]float32{} {
				j.fillEmpty(b)
			}
			lanes.Round(out, b.vals)
		case direct:
			// In place, but for the last pixels: the loops write past them.
			in := max(n-3, 0)
			inPlace, end := b.slice(0, in), b.slice(in, n)
			inPlace.vals, end.vals = floats[:in*ch], s.val[:(n-in)*ch]
			j.layers[0].row(y, x0, inPlace)
			j.layers[0].row(y, x0+in, end)
			copy(floats[in*ch:], end.vals)
		default:
			j.layers[0].row(y, x0, b)
			lanes.Round(out, b.vals)
		}
		if j.coverage.pix != nil {
			copy(j.coverage.Row(y)[x0:x1], b.cov)
		}
	}
	for k := range s.runs { // they hold maps of the caller
		s.runs[k].run = run{}
	}
	clear(s.ways[:])
}

// fillEmpty puts Options.Fill where no layer has a weight.
func (j *job[T]) fillEmpty(b batch) {
	for i, c := range b.cov {
		if c == 0 {
			copy(b.vals[i*b.ch:(i+1)*b.ch], j.fill[:])
		}
	}
}

// batch is positions to be sampled, and what comes of them. The three values
// behind vals lose what they held.
type batch struct {
	s         *scratch
	first     int // place of the first pixel in the scratch memory
	ch        int
	xs, ys    []float64 // source positions; NaN: none
	vals, cov []float32
}

// slice is pixels [i, end) of a batch.
func (b batch) slice(i, end int) batch {
	return batch{b.s, b.first + i, b.ch, b.xs[i:end], b.ys[i:end], b.vals[i*b.ch : end*b.ch], b.cov[i:end]}
}

// pixel is the values of one pixel.
func (b *batch) pixel(i int) []float32 { return b.vals[i*b.ch : (i+1)*b.ch] }

// row samples the target pixels of row y from x0 on. What one window serves is
// sampled together: the source is fetched ahead.
func (l *layer[T]) row(y, x0 int, b batch) {
	r := l.m.runOf(y)
	begin, n := 0, len(b.xs) // begin of what has positions and waits for sampling
	var waits window
	for i, end := 0, 0; i < n; i = end {
		r.move(x0+i, x0+n)
		end = i + r.len()
		part := b.slice(i, end)
		seen := r.positions(part.xs, part.ys)
		w, one := l.cellWay(&r, b.s)
		waiting := seen && one && w.divided == 0
		if begin < i && (!waiting || w.window != waits) {
			l.windows(b.slice(begin, i), waits)
			begin = i
		}
		if waiting {
			waits = w.window
			continue
		}
		begin = end
		switch {
		case !seen:
			l.empty(part.vals)
			clear(part.cov)
		case one:
			l.probes(part, w)
		default:
			l.filtered(&r, part)
		}
	}
	if begin < n {
		l.windows(b.slice(begin, n), waits)
	}
}

// sample reads the source at the positions of a run. Its coverage is 0 where a
// position is NaN.
func (l *layer[T]) sample(r *run, b batch) {
	switch w, one := l.cellWay(r, b.s); {
	case !one:
		l.filtered(r, b)
	case w.divided > 0:
		l.probes(b, w)
	default:
		l.windows(b, w.window)
	}
}

// knownWay is the way that serves a whole cell, if there is one.
type knownWay struct {
	cell   *cell
	family *family
	way    way
	one    bool
}

// cellWay is the way that serves the whole cell of a run. one is false if there is
// none.
func (l *layer[T]) cellWay(r *run, s *scratch) (w *way, one bool) {
	if l.family == nil || !l.means && !r.cell.minify {
		return &l.plain, true
	}
	if r.cell.smooth == nil {
		return &l.plain, false
	}
	// The rows of a tile ask for the same cells one after another.
	known := &s.ways[r.col%len(s.ways)]
	if known.cell == r.cell && known.family == l.family {
		return &known.way, known.one
	}
	f := l.m.frame(r.row, r.col)
	at := func(u, v float64) way {
		j := r.cell.smooth.jacobian(u, v, f)
		return l.way(&j)
	}
	*known = knownWay{r.cell, l.family, at(0, 0), true}
	for _, c := range [...][2]float64{{-1, -1}, {1, -1}, {-1, 1}, {1, 1}} {
		corner := at(c[0], c[1])
		known.one = known.one && corner.alike(&known.way)
	}
	return &known.way, known.one
}

// filtered samples the pixels of a run by their Jacobians. In smooth cells those
// from one multiple of shared to the next have one in common.
func (l *layer[T]) filtered(r *run, b batch) {
	jac := b.s.jac[:r.len()]
	if r.cell.stored != nil {
		r.storedJacobians(jac)
	}
	f := l.m.frame(r.row, r.col)
	var waits window
	begin := 0 // of what has a window and waits for sampling
	flush := func(end int) {
		if begin < end {
			l.windows(b.slice(begin, end), waits)
		}
		begin = end
	}
	for i, end := 0, 0; i < len(jac); i = end {
		x := r.x0 + i
		if r.cell.stored != nil {
			end = i + 1
			if p, near := l.m.polarOf(x, r.y, b.xs[i], b.ys[i]); near && (p.scale > 2 || !l.means) {
				flush(i)
				begin = end
				l.aroundPole(&p, b.slice(i, end))
				continue
			}
		} else {
			centre := float64(x-x%shared) + shared/2
			end, jac[i] = min(i+shared-x%shared, len(jac)), r.cell.smooth.jacobian((centre-f.cx)/f.hx, r.v, f)
		}
		w := l.way(&jac[i])
		if w.window != waits {
			flush(i)
			waits = w.window
		}
		if w.divided > 0 {
			flush(i)
			begin = end
			l.probes(b.slice(i, end), &w)
		}
	}
	flush(len(jac))
}
