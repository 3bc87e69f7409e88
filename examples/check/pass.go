package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"example.com/platewright/internal/plane"
	"example.com/platewright/lens/wide"
	"example.com/platewright/sensor/plate"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/flicker"
	"example.com/platewright/sync/trace"
	"example.com/platewright/wall/pattern"
)

const (
	compareColumns    = 1024 // of the small versions that are compared between cameras
	thumbColumns      = 480
	noiseFrames       = 3
	defectFrames      = 24
	leastDefectFrames = 12 // that a DefectMeter needs
	rowFrames         = 48
	rowColumns        = 1024 // of a row that its mean takes
	blocksAcross      = 32   // of the frames in which flashes are looked for
	blocksDown        = 18
)

// plan says what is measured of which frames. Frames are counted from the first of the
// take, as camera.at has them.
type plan struct {
	rate    *timing.Rate
	moments []int // frames that are compared between cameras
	limits  limitsSpec
}

// measured is what the walk over the frames of a take has found.
type measured struct {
	index       []int       // of the files that were measured
	means       [][]float64 // mean light in the picture, by channel and frame
	levels      []plate.Levels
	noise       [][]plate.Noise // by channel
	noiseWhy    error
	flare       []plate.Flare
	flareWhy    error
	defects     []plate.Defects
	defectWhy   error
	report      trace.Report
	changes     []float64
	shifts      []trace.Shift
	shiftWhy    error
	rows        [][]float64 // mean light of rows, by frame, from firstRow on
	rowsAt      []int       // when these frames were recorded
	firstRow    int
	moments     map[int]*small
	flashes     flicker.Report
	flashWhy    error
	patterns    *pattern.Patterns
	patternWhy  error
	evenness    *pattern.Uniformity
	evennessWhy error
	insets      []small // of the patterns
}

// desk is what a worker keeps from camera to camera: a frame is half a gigabyte.
type desk struct {
	reader reader
	frame  picture
}

// measure walks over the frames of a take once.
func (c *camera) measure(ctx context.Context, d *desk, p plan, progress func()) error {
	switch c.Shape.Kind {
	case eightBit:
		return walk(ctx, c, d, p, progress, func(p *picture) []plane.Plane[uint8] { return p.Bytes })
	case sixteenBit:
		return walk(ctx, c, d, p, progress, func(p *picture) []plane.Plane[uint16] { return p.Words })
	}
	return walk(ctx, c, d, p, progress, func(p *picture) []plane.Plane[float32] { return p.Floats })
}

// walker is the walk over frames of one type of samples.
type walker[T plane.Sample] struct {
	*camera
	plan
	levels  []*plate.LevelMeter[T]
	watch   *trace.Watcher[T]
	shift   *trace.ShiftMeter[T]
	defects []*plate.DefectMeter[T]
	monitor *flicker.Monitor
	lights  plane.Lights[T]
	small   small
	blocks  []float32 // for the monitor
	packed  []float32
	due     map[string][]int // frames that are still to be taken, by purpose
}

func walk[T plane.Sample](ctx context.Context, c *camera, d *desk, p plan, progress func(), planes func(*picture) []plane.Plane[T]) error {
	w := walker[T]{camera: c, plan: p, due: map[string][]int{}}
	w.due["noise"] = spread(len(c.Files), noiseFrames)
	if len(c.Files) >= leastDefectFrames {
		w.due["defects"] = spread(len(c.Files), defectFrames)
	}
	w.due["middle"] = spread(len(c.Files), 1)
	c.found.moments = map[int]*small{}
	wanted := map[int]bool{}
	for _, at := range p.moments {
		wanted[at] = true
	}
	bad := map[int]bool{}
	for _, b := range c.Bad {
		bad[b.Index] = true
	}
	frame := &d.frame
	for i, file := range c.Files {
		if err := ctx.Err(); err != nil {
			return err
		}
		progress()
		if bad[i] {
			continue
		}
		why := ""
		if err := d.reader.read(ctx, file.Path, frame); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			why = strings.TrimPrefix(err.Error(), file.Path+": ")
		} else if frame.shape != c.Shape {
			why = fmt.Sprintf("is %s, the others are %s", frame.shape, c.Shape)
		} else if err := frame.shrink(ctx, c.factor(), c.light, c.white, &w.small); err != nil {
			return err
		} else {
			why = w.blank()
		}
		if why == "" {
			if err := w.take(ctx, i, planes(frame), wanted[c.at[i]]); err != nil {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				why = err.Error()
			}
		}
		if why != "" {
			c.Bad = append(c.Bad, badFrame{i, why})
		}
	}
	return w.end()
}

// spread is up to n of the numbers below total, evenly spread.
func spread(total, n int) []int {
	n = min(n, total)
	out := make([]int, n)
	for i := range out {
		out[i] = (2*i + 1) * total / (2 * n)
	}
	return out
}

// isDue reports whether frame i serves a purpose: it, or one before it that was bad.
func (w *walker[T]) isDue(purpose string, i int) bool {
	due := false
	for len(w.due[purpose]) > 0 && w.due[purpose][0] <= i {
		w.due[purpose], due = w.due[purpose][1:], true
	}
	return due
}

// factor is that of the small versions.
func (c *camera) factor() int {
	return min((c.Shape.Width+compareColumns-1)/compareColumns, c.Shape.Height)
}

// String is a text like "640 × 480 px, RGB, 16 bits".
func (s shape) String() string {
	colours := "RGB"
	if s.Channels == 1 {
		colours = "grey"
	}
	return fmt.Sprintf("%s, %s, %s", s.size(), colours, s.Kind)
}

// kind is empty if no file is a frame.
func (s shape) kind() string {
	if s.Kind == 0 {
		return ""
	}
	return s.Kind.String()
}

// blank says of a frame that shows nothing what it is.
func (w *walker[T]) blank() string {
	low, high, full, n, sum := math.Inf(1), math.Inf(-1), 0, 0, 0.0
	white := 1.0
	if w.camera.white == brightestHalf && w.camera.spec == nil {
		white = brightestHalf // nothing says that 1 is
	}
	for _, ch := range w.small.Channels {
		for y := range ch.Height {
			row, step := ch.Row(y)
			for x := 0; x < len(row); x += step {
				v := float64(row[x])
				low, high, sum = min(low, v), max(high, v), sum+v
				n++
				if v >= white {
					full++
				}
			}
		}
	}
	switch {
	case n == 0:
		return "holds no pixels"
	case full > n*98/100:
		return "all white"
	case high < 0.002 && math.Abs(sum/float64(n)) < 2e-4:
		return "all black"
	case high < 0:
		return fmt.Sprintf("all darker than black, %g", w.camera.black)
	case low == high:
		return fmt.Sprintf("all of one colour, %.3g of white", low)
	}
	return ""
}

// take measures one frame.
func (w *walker[T]) take(ctx context.Context, i int, planes []plane.Plane[T], moment bool) error {
	c := w.camera
	middle := planes[len(planes)/2]
	if w.watch == nil {
		if err := w.begin(middle); err != nil {
			return err
		}
	}
	// The first to refuse a frame leaves it out of all.
	if err := w.watch.Add(middle); err != nil {
		return err
	}
	for k, p := range planes {
		if err := w.levels[k].Add(p); err != nil {
			return err
		}
	}
	c.found.index = append(c.found.index, i)
	if len(c.found.index) == 1 {
		c.Thumb = thumbnail(&w.small) // until the middle of the take, which may be bad
	}
	w.averages()
	if w.shift != nil {
		s, err := w.shift.Add(middle)
		if err != nil {
			c.found.shiftWhy = err
		}
		c.found.shifts = append(c.found.shifts, s) // not known after an error
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if w.isDue("noise", i) {
		w.noises(planes)
	}
	if w.isDue("defects", i) {
		for k, m := range w.defects {
			if err := m.Add(planes[k]); err != nil {
				c.found.defectWhy = err
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if w.isDue("middle", i) {
		c.Thumb = thumbnail(&w.small)
		w.wallLooks(planes)
	}
	if moment {
		c.found.moments[c.at[i]] = w.small.clone()
	}
	if c.spec != nil && c.spec.RowTimeUs > 0 && len(c.found.rows) < rowFrames {
		w.rowMeans(i, middle)
	}
	if w.monitor != nil {
		if err := w.flash(); err != nil {
			c.found.flashWhy = err
		}
	}
	return nil
}

// begin makes the meters, from what the first frame shows.
func (w *walker[T]) begin(middle plane.Plane[T]) error {
	c := w.camera
	w.lights = plane.NewLights[T](c.light, middle.Width*middle.Height)
	if c.circle == nil {
		// Without a lens in the scenario, the dark surround of a fisheye is looked for.
		if found, err := wide.MeasureImageCircle(w.small.Channels[len(w.small.Channels)/2]); err == nil {
			f := float64(w.small.Factor)
			c.circle = &disc{found.X.Value * f, found.Y.Value * f, inner * found.Radius.Value * f}
		}
	}
	for range c.Shape.Channels {
		m, err := plate.NewLevelMeter[T](plate.LevelSpec{
			White: c.white, Black: c.lowest, Cell: min(64, max(8, c.Shape.Width/64)),
			Columns: func(y int) (from, end int) { return c.circle.columns(y, 1, c.Shape.Width) },
		})
		if err != nil {
			return err
		}
		w.levels = append(w.levels, m)
		if w.plan.limits.Defects == nil {
			continue
		}
		d, err := plate.NewDefectMeter[T](plate.DefectSpec{White: c.white, Black: c.black})
		if err != nil {
			return err
		}
		w.defects = append(w.defects, d)
	}
	// A recorder that repeats a frame repeats its noise, to the last bit; compression to
	// JPEG may change it again.
	noise := 0.0
	if ending := strings.ToLower(filepath.Ext(c.Files[0].Name)); ending == ".jpg" || ending == ".jpeg" {
		if found, err := plate.MeasureNoise(middle, plate.LightSpec{Region: c.inside(), White: c.white}); err == nil {
			for _, l := range found.Levels {
				noise = max(noise, l.Noise.Value*float64(found.Spacing)/plane.FullScale[T]())
			}
		}
	}
	var err error
	if w.watch, err = trace.NewWatcher[T](trace.WatchSpec{Noise: min(noise, 0.5)}); err != nil {
		return err
	}
	const least = 64 // px, of a ShiftMeter's frames
	if w.plan.limits.ShakePx != nil && !c.isWitness() && min(c.Shape.Width, c.Shape.Height) >= least {
		w.shift = new(trace.ShiftMeter[T])
	}
	if w.plan.rate != nil {
		w.monitor, err = flicker.NewMonitor(flicker.MonitorSpec{Rate: *w.plan.rate, Columns: blocksAcross, Rows: blocksDown})
		w.blocks = make([]float32, 3*blocksAcross*blocksDown)
	}
	return err
}

// inside is the largest rectangle, of the proportions of the frame, that the picture fills.
func (c *camera) inside() plate.Region {
	w, h := float64(c.Shape.Width), float64(c.Shape.Height)
	all := plate.Region{Width: c.Shape.Width, Height: c.Shape.Height}
	if c.circle == nil {
		return all
	}
	dx, dy := max(c.circle.X, w-c.circle.X), max(c.circle.Y, h-c.circle.Y)
	if math.Hypot(dx, dy) <= c.circle.Radius {
		return all
	}
	// Half its width and height, as parts of those of the frame.
	k := min(1, c.circle.Radius/math.Hypot(w/2, h/2))
	left, right := max(0, c.circle.X-k*w/2), min(w, c.circle.X+k*w/2)
	top, bottom := max(0, c.circle.Y-k*h/2), min(h, c.circle.Y+k*h/2)
	return plate.Region{X: int(math.Ceil(left)), Y: int(math.Ceil(top)), Width: max(1, int(right)-int(math.Ceil(left))), Height: max(1, int(bottom)-int(math.Ceil(top)))}
}

// averages keeps the mean light of each channel.
func (w *walker[T]) averages() {
	c := w.camera
	if c.found.means == nil {
		c.found.means = make([][]float64, len(w.small.Channels))
	}
	for k, ch := range w.small.Channels {
		sum, n := 0.0, 0
		for y := range ch.Height {
			row, step := ch.Row(y)
			from, end := c.circle.columns(y, w.small.Factor, ch.Width)
			for x := from; x < end; x++ {
				sum += float64(row[x*step])
				n++
			}
		}
		c.found.means[k] = append(c.found.means[k], sum/float64(max(1, n)))
	}
}

// noises measures noise and veil in one frame.
func (w *walker[T]) noises(planes []plane.Plane[T]) {
	c := w.camera
	if c.found.noise == nil {
		c.found.noise = make([][]plate.Noise, len(planes))
	}
	spec := plate.LightSpec{Region: c.inside(), Linear: c.light, White: c.white}
	if c.lowest > 0 {
		spec.Black = c.lowest
	}
	for k, p := range planes {
		if c.noise != nil && w.plan.limits.NoiseRatio != nil {
			if n, err := plate.MeasureNoise(p, spec); err == nil {
				c.found.noise[k] = append(c.found.noise[k], n)
			} else {
				c.found.noiseWhy = err
			}
		}
	}
	if w.plan.limits.VeilPercent != nil && c.isPlate() {
		f, err := plate.MeasureFlare(planes[len(planes)/2], plate.FlareSpec{LightSpec: spec})
		if err == nil {
			c.found.flare = append(c.found.flare, f)
		} else {
			c.found.flareWhy = err
		}
	}
}

// rowMeans keeps the mean light of each row of the picture that is a quarter as wide as
// the frame or more.
func (w *walker[T]) rowMeans(i int, p plane.Plane[T]) {
	c := w.camera
	var means []float64
	first := -1
	stride := max(1, p.Width/rowColumns)
	for y := range p.Height {
		from, end := c.circle.columns(y, 1, p.Width)
		if end-from < p.Width/4 {
			if first >= 0 {
				break
			}
			continue
		}
		if first < 0 {
			first = y
		}
		row, step := p.Row(y)
		sum, n := 0.0, 0
		for x := from; x < end; x += stride {
			sum += w.lights.Of(row[x*step])
			n++
		}
		means = append(means, sum/float64(n))
	}
	c.found.firstRow = first
	c.found.rows, c.found.rowsAt = append(c.found.rows, means), append(c.found.rowsAt, c.at[i])
}

// flash gives the frame to the monitor, by the means of blocks.
func (w *walker[T]) flash() error {
	n := w.small.Width * w.small.Height
	if len(w.packed) < 3*n {
		w.packed = make([]float32, 3*n)
	}
	packed := w.packed[:3*n]
	for k := range 3 {
		ch := w.small.Channels[min(k, len(w.small.Channels)-1)]
		for y := range ch.Height {
			row, step := ch.Row(y)
			for x := range ch.Width {
				packed[3*(y*ch.Width+x)+k] = max(0, row[x*step])
			}
		}
	}
	if err := flicker.BlockMeans(w.blocks, packed, w.small.Width, blocksAcross, blocksDown); err != nil {
		return err
	}
	return w.monitor.Add(w.blocks)
}

// wallLooks measures what a witness camera sees of a wall. A camera that the scenario does
// not know may be one.
func (w *walker[T]) wallLooks(planes []plane.Plane[T]) {
	c := w.camera
	if c.isPlate() {
		return
	}
	middle := planes[len(planes)/2]
	spec := pattern.Spec{Linear: c.light, White: c.white}
	if l := w.plan.limits.PatternPercent; l != nil {
		spec.Limit = *l / 100 / 2 // so that one just below the limit is measured
	}
	found, err := pattern.MeasurePatterns(middle, spec)
	if err != nil {
		c.found.patternWhy = err
	} else {
		c.found.patterns = &found

		for i := range found.Found {
			r := found.Found[i].Region
			c.found.insets = append(c.found.insets, inset(middle, w.lights, region{r.X, r.Y, r.Width, r.Height}))
		}
	}
	if w.plan.limits.EvennessPercent != nil && c.isWitness() {
		u, err := pattern.MeasureUniformity(planes, pattern.UniformitySpec{
			Columns: min(8, c.Shape.Width/64), Rows: min(8, c.Shape.Height/64), Linear: c.light, White: c.white,
		})
		if err != nil {
			c.found.evennessWhy = err
		} else {
			c.found.evenness = &u
		}
	}
}

// end asks the meters.
func (w *walker[T]) end() error {
	c := w.camera
	if len(c.found.index) == 0 {
		return nil
	}
	for _, m := range w.levels {
		l, err := m.Measure()
		if err != nil {
			return err
		}
		c.found.levels = append(c.found.levels, l)
	}
	c.found.report, c.found.changes = w.watch.Report(), w.watch.Changes()
	for _, m := range w.defects {
		d, err := m.Measure()
		if err != nil {
			c.found.defectWhy = errors.Join(c.found.defectWhy, err)
			break
		}
		c.found.defects = append(c.found.defects, d)
	}
	if w.monitor != nil {
		c.found.flashes = w.monitor.Report()
	}
	return nil
}

// clone copies a small version.
func (s *small) clone() *small {
	out := *s
	out.Channels = nil
	for _, ch := range s.Channels {
		dense := plane.Plane[float32]{Pix: make([]float32, ch.Width*ch.Height), Width: ch.Width, Height: ch.Height}
		for y := range ch.Height {
			row, step := ch.Row(y)
			for x := range ch.Width {
				dense.Pix[y*ch.Width+x] = row[x*step]
			}
		}
		out.Channels = append(out.Channels, dense)
	}
	return &out
}

// thumbnail makes a small version smaller still.
func thumbnail(s *small) small {
	f := min((s.Width+thumbColumns-1)/thumbColumns, s.Height)
	out := small{Width: s.Width / f, Height: s.Height / f, Factor: s.Factor * f}
	for _, ch := range s.Channels {
		p := plane.Plane[float32]{Pix: make([]float32, out.Width*out.Height), Width: out.Width, Height: out.Height}
		for y := range out.Height {
			for v := range f {
				row, step := ch.Row(y*f + v)
				for x := range out.Width {
					for u := range f {
						p.Pix[y*out.Width+x] += row[(x*f+u)*step] / float32(f*f)
					}
				}
			}
		}
		out.Channels = append(out.Channels, p)
	}
	return out
}

// inset is the middle of a region at its full size, at most 128 px across.
func inset[T plane.Sample](p plane.Plane[T], lights plane.Lights[T], r region) small {
	const most = 128
	w, h := min(r.Width, most), min(r.Height, most)
	x0, y0 := r.X+(r.Width-w)/2, r.Y+(r.Height-h)/2
	out := small{Width: w, Height: h, Factor: 1}
	pix := make([]float32, 0, w*h)
	for y := y0; y < y0+h; y++ {
		row, step := p.Row(y)
		for x := x0; x < x0+w; x++ {
			pix = append(pix, float32(lights.Of(row[x*step])))
		}
	}
	out.Channels = []plane.Plane[float32]{{Pix: pix, Width: w, Height: h}}
	return out
}
