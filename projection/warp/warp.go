package warp

import (
	"context"
	"fmt"
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/valid"
)

// A tile is what a worker does at a time.
const (
	tileWidth  = 256
	tileHeight = 32
)

// Options govern Warp and Blend. The zero value is the default.
type Options struct {
	Filter Filter
	Minify Minify
	// Edge is for pixels beyond the edges of the source. In Blend Constant is
	// as Mask, but that Fill stands where no layer has weight.
	Edge Edge
	Fill [4]float32 // of each channel, in samples; only with Constant
	// Coverage, where it is not the zero frame, has the size of the target and
	// one channel, and receives the share of the filter's weight that fell on
	// pixels of the source: 1 inside, less within half a pixel (or half a
	// footprint) of its edges, 0 where nothing is seen. In Blend it is the
	// largest among the layers that have weight.
	Coverage Frame[float32]
	Workers  int                   // goroutines; 0, or more than GOMAXPROCS: GOMAXPROCS
	Progress func(done, total int) // called after each piece of work, one call at a time
}

// Warp fills dst with what its pixels see of src, through a map from the size
// of dst to the size of src.
//
// Where the map magnifies or keeps size, Options.Filter weighs the pixels of the
// source around a position. Where it minifies, all filters but Nearest give way
// to a bell over the footprint of the target pixel (see the package comment),
// from the source or from coarser levels of it, so that detail finer than the
// target can hold is taken out instead of folding into false patterns.
// Options.Minify chooses otherwise: PixelMean also where the map magnifies. At the
// edges of the source Options.Edge says what counts. A target pixel that sees
// nothing becomes 0 in all channels, or Fill.
//
// Samples are taken to be proportional to light, and an alpha channel to be
// premultiplied; means of anything else are not means of light. Whole numbers
// are rounded to the nearest and saturate. A NaN or infinite sample spreads to
// what its weight reaches.
//
// The result is the same for any number of workers. dst, src and the coverage
// must not overlap; of frames entwined in one buffer with different strides it is
// taken that they do. Cancelled, it returns the context's error and leaves dst in
// part written.
func Warp[T Sample](ctx context.Context, dst, src Frame[T], m *Map, opts Options) error {
	j := jobOf[T]()
	defer j.release()
	j.one[0] = Layer[T]{Frame: src, Map: m}
	return j.run(ctx, dst, j.one[:], opts, false)
}

// job is one call of Warp or Blend. Jobs are pooled with their pyramids.
type job[T Sample] struct {
	crew
	one      [1]Layer[T]
	dst      Frame[T]
	coverage Frame[float32]
	fill     [4]float32
	layers   []layer[T]
	blend    bool
	tilesX   int

	building *sampler[T] // whose level is being averaged
	level    int

	tileFn, averageFn func(i int, s *scratch) // bound once: binding allocates
}

// layer is a Layer made ready.
type layer[T Sample] struct {
	sampler[T]
	m         *Map
	pointwise bool
	gain      [4]float32
	feather   float64
	priority  *Priority // nil: the margin
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
		if len(j.layers[i].levels) > 0 {
			j.layers[i].levels[0] = level[T]{}
		}
	}
	j.building = nil
	j.crew.release()
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
		l.filter, l.kernels, l.bell = opts.Filter, opts.Filter.separable(), bellOf(opts.Filter, opts.Minify)
		l.edge, l.fill = opts.Edge, j.fill
		if blend {
			if l.edge == Constant {
				l.edge = Mask
			}
			if err := l.m.fitMargins(ctx, opts.Workers); err != nil {
				return err
			}
		}
		l.pointwise = opts.Minify == PointSample || l.filter == Nearest
		if l.means = opts.Minify == PixelMean && !l.pointwise; l.means {
			l.kernels = meansFor(&Jacobian{XX: widest, YY: widest}) // until a pixel has its own
		}
		top := 0
		if !l.pointwise {
			top = l.bell.levelFor(l.m.large, l.m.minor)
		}
		if err := j.build(ctx, &l.sampler, in.Frame, top, opts.Workers); err != nil {
			return err
		}
	}
	j.tilesX = (dst.width + tileWidth - 1) / tileWidth
	tilesY := (dst.height + tileHeight - 1) / tileHeight
	return j.crew.run(ctx, opts.Workers, j.tilesX*tilesY, opts.Progress, j.tileFn)
}

func check[T Sample](ctx context.Context, dst Frame[T], layers []Layer[T], opts Options, blend bool) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if dst.pix == nil {
		c.Fault("target frame", "without pixels", "must be made by NewFrame")
	}
	checkWorkers(c, opts.Workers)
	c.Int("Filter", int(opts.Filter), "", 0, int(filters)-1)
	c.Int("Minify", int(opts.Minify), "", 0, int(minifies)-1)
	c.Int("Edge", int(opts.Edge), "", 0, int(edges)-1)
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

// build makes the levels of a sampler, as many as its map calls for.
func (j *job[T]) build(ctx context.Context, s *sampler[T], f Frame[T], top, workers int) error {
	all := extend(s.levels, top+1)
	s.levels = all[:1]
	s.levels[0] = f.level()
	j.building = s
	for n := 1; n <= top; n++ {
		s.levels = all[:n+1]
		s.levels[n].shape(&s.levels[n-1], s.wrap)
		j.level = n
		bands := (s.levels[n].h + tileHeight - 1) / tileHeight
		if err := j.crew.run(ctx, workers, bands, nil, j.averageFn); err != nil {
			return err
		}
	}
	return nil
}

// extend makes a slice n long, and keeps what it held there before it was cut.
func extend[E any](s []E, n int) []E {
	s = s[:cap(s)]
	for len(s) < n {
		s = append(s, *new(E))
	}
	return s[:n]
}

// average does a band of rows of the level being built.
func (j *job[T]) average(band int, s *scratch) {
	l := &j.building.levels[j.level]
	for y := band * tileHeight; y < min((band+1)*tileHeight, l.h); y++ {
		j.building.coarsen(j.level, y, &s.coarse)
	}
}

// tile fills one tile of the target.
func (j *job[T]) tile(i int, s *scratch) {
	x0, y0 := i%j.tilesX*tileWidth, i/j.tilesX*tileHeight
	x1, y1 := min(x0+tileWidth, j.dst.width), min(y0+tileHeight, j.dst.height)
	n, ch := x1-x0, j.dst.ch
	for y := y0; y < y1; y++ {
		out := j.dst.Row(y)[x0*ch : x1*ch]
		values, cover := s.val[:n*ch], s.cov[:n]
		switch floats, direct := any(out).([]float32); {
		case j.blend:
			j.mix(y, x0, x1, s)
			values, cover = s.sum[:n*ch], s.best[:n]
			if j.fill != [4]float32{} {
				j.fillEmpty(values, cover)
			}
			lanes.Round(out, values)
		case direct:
			// In place, but for the last pixels: the loops write past them.
			in := max(n-3, 0)
			j.layers[0].row(y, x0, x0+in, s, floats, cover)
			j.layers[0].row(y, x0+in, x1, s, values, cover[in:])
			copy(floats[in*ch:], values[:(n-in)*ch])
		default:
			j.layers[0].row(y, x0, x1, s, values, cover)
			lanes.Round(out, values)
		}
		if j.coverage.pix != nil {
			copy(j.coverage.Row(y)[x0:x1], cover)
		}
	}
}

// fillEmpty puts Options.Fill where no layer has weight.
func (j *job[T]) fillEmpty(values, cover []float32) {
	ch := j.dst.ch
	for i, c := range cover {
		if c == 0 {
			copy(values[i*ch:(i+1)*ch], j.fill[:])
		}
	}
}

// row samples the target pixels [x0, x1) of a row, and gives their coverage. The
// three values behind vals lose what they held. Cells for which one filter serves
// are sampled together: the source is fetched ahead.
func (l *layer[T]) row(y, x0, x1 int, s *scratch, vals, cov []float32) {
	m := l.m
	row := int(m.rowOf[y])
	begin := 0 // of what has positions and waits for sampling
	sample := func(end int) {
		if begin < end {
			l.plain(begin, end, l.kernels, s, vals[begin*l.ch:end*l.ch], cov[begin:end])
		}
	}
	for x := x0; x < x1; {
		col := int(m.colOf[x])
		end, from := min(m.colEdges[col+1], x1), x-x0
		c := m.cell(row, col)
		switch {
		case c.kind == unseen:
			sample(from)
			l.empty(vals[from*l.ch : (end-x0)*l.ch])
			clear(cov[from : end-x0])
			begin = end - x0
		case l.plainly(c):
			m.positions(row, col, y, x, s.xs[from:end-x0], s.ys[from:end-x0])
		default:
			sample(from)
			m.positions(row, col, y, x, s.xs[:end-x], s.ys[:end-x])
			l.filtered(c, row, col, y, x, end, s, vals[from*l.ch:(end-x0)*l.ch], cov[from:end-x0])
			begin = end - x0
		}
		x = end
	}
	sample(x1 - x0)
}

// plainly says whether one filter serves for a whole cell.
func (l *layer[T]) plainly(c *cell) bool { return l.pointwise || !c.minify && !l.means }

// sample reads the source at the positions in s of the target pixels [x0, x1),
// of one cell, and gives their coverage, 0 where a position is NaN. The three
// values behind vals lose what they held.
func (l *layer[T]) sample(row, col, y, x0, x1 int, s *scratch, vals, cov []float32) {
	if c := l.m.cell(row, col); l.plainly(c) {
		l.plain(0, x1-x0, l.kernels, s, vals, cov)
	} else {
		l.filtered(c, row, col, y, x0, x1, s, vals, cov)
	}
}

// filtered samples pixels by their Jacobians. In interpolated cells, which are
// smooth, those from one multiple of shared to the next have one in common.
func (l *layer[T]) filtered(c *cell, row, col, y, x0, x1 int, s *scratch, vals, cov []float32) {
	if c.kind == stored {
		l.m.storedJacobians(c, row, col, y, x0, x1, s)
	}
	cx, cy, hx, hy := l.m.frame(row, col)
	v := (float64(y) + 0.5 - cy) / hy
	kernels, begin := l.kernels, 0 // of what has no footprint and waits for sampling
	plain := func(end int) {
		if begin < end {
			l.plain(begin, end, kernels, s, vals[begin*l.ch:end*l.ch], cov[begin:end])
		}
	}
	for i, end := 0, 0; i < x1-x0; i = end {
		x := x0 + i
		var j Jacobian
		if c.kind == stored {
			end, j = i+1, s.jac[i]
		} else {
			middle := float64(x-x%shared) + shared/2
			end, j = min(i+shared-x%shared, x1-x0), c.jacobian((middle-cx)/hx, v, 1/hx, 1/hy)
		}
		if l.means {
			if k := meansFor(&j); k != kernels {
				plain(i)
				kernels, begin = k, i
			}
		}
		var p pole
		var polar bool
		if c.kind == stored && l.poles {
			var above Jacobian
			if p, above, polar = l.m.polar(x, y, s.xs[i], s.ys[i]); polar {
				j = above
			}
		}
		crowd := 1.0
		if l.means && l.poles && !polar {
			crowd = math.Sin(math.Pi * s.ys[i] / float64(l.m.srcHeight))
		}
		f := l.shape(&j, crowd)
		if f.share == 0 {
			continue
		}
		plain(i)
		begin = end
		out, cover := vals[i*l.ch:end*l.ch], cov[i:end]
		mean, part := s.mean[:len(out)], s.part[:len(cover)]
		if f.share == 1 {
			mean, part = out, cover
		} else {
			l.plain(i, end, kernels, s, out, cover)
		}
		if polar {
			l.above(p, &f, mean)
			part[0] = 1
		} else {
			l.footprints(i, end, &f, s, mean, part)
		}
		if f.share < 1 {
			for k, m := range mean {
				out[k] = lanes.Lerp(out[k], m, f.share)
			}
			for k, m := range part {
				cover[k] = lanes.Lerp(cover[k], m, f.share)
			}
		}
	}
	plain(x1 - x0)
}
