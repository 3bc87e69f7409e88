package main

import (
	"context"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"time"

	"example.com/platewright/internal/orient"
	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

//go:embed warp.py
var warpScript string

// The plate is filled by a fisheye of 180° across. The view sees 90° of it and
// looks a little to the side.
const (
	plateWidth, plateHeight = 12288, 6480
	viewWidth, viewHeight   = 3840, 2160
	plateAcross             = 180 * projection.Degree
	viewAcross              = 90 * projection.Degree
	heading, elevation      = 15 * projection.Degree, 4 * projection.Degree
	channels                = 3
)

// Goals of the ratio, ours to theirs.
const (
	goalSameWork = 1.0  // at least as fast as whatever does the same
	goalSTWarp   = 10.0 // st_warp weighs many samples for each pixel, as our filters for fine detail do
)

// stage is the plate, the view and the map between them.
type stage struct {
	width, height int // of the plate
	source        projection.Camera
	target        projection.Camera
	toView        *warp.Map
}

// newStage divides the sides of both rasters by shrink.
func newStage(shrink int) (*stage, error) {
	s := &stage{width: plateWidth / shrink, height: plateHeight / shrink}
	var err error
	s.source, err = projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: s.focal(), FocalY: s.focal(), Width: s.width, Height: s.height,
	})
	if err != nil {
		return nil, err
	}
	s.target, err = projection.NewView(projection.ViewSpec{
		Width: viewWidth / shrink, Height: viewHeight / shrink, Across: viewAcross,
		Pose: projection.Pose{Heading: heading, Elevation: elevation},
	})
	if err != nil {
		return nil, err
	}
	s.toView, err = s.newMap(1)
	return s, err
}

// focal and viewFocal are the focal lengths of the plate and the view, in px.
func (s *stage) focal() float64 { return float64(s.width) / float64(plateAcross) }

func (s *stage) viewFocal() float64 {
	w, _ := s.target.Size()
	return float64(w) / 2 / math.Tan(float64(viewAcross)/2)
}

func (s *stage) newMap(workers int) (*warp.Map, error) {
	return warp.NewMap(context.Background(), s.target, s.source, warp.MapOptions{Workers: workers})
}

// frames are a plate and a view of one sample type.
type frames[T warp.Sample] struct {
	*stage
	src, dst warp.Frame[T]
	pix      []T // of dst
}

func newFrames[T warp.Sample](s *stage, top float64) (f *frames[T], err error) {
	f = &frames[T]{stage: s}
	if f.src, err = warp.NewFrame(warp.FrameSpec[T]{Width: s.width, Height: s.height, Channels: channels}); err != nil {
		return nil, err
	}
	paintPlate(f.src, top)
	w, h := s.target.Size()
	f.pix = make([]T, w*h*channels)
	f.dst, err = warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: channels, Pix: f.pix})
	return f, err
}

// warp resamples the plate.
func (f *frames[T]) warp(opts warp.Options) error {
	return warp.Warp(context.Background(), f.dst, f.src, f.toView, opts)
}

// together makes a map and resamples the plate by it.
func (f *frames[T]) together(opts warp.Options) error {
	m, err := f.newMap(opts.Workers)
	if err != nil {
		return err
	}
	return warp.Warp(context.Background(), f.dst, f.src, m, opts)
}

// sum is a check sum of the view.
func (f *frames[T]) sum() float64 {
	hash := crc32.NewIEEE()
	for pix := f.pix; len(pix) > 0; pix = pix[min(chunk, len(pix)):] {
		binary.Write(hash, binary.LittleEndian, pix[:min(chunk, len(pix))]) // a hash takes all
	}
	return float64(hash.Sum32())
}

// bench is what all parts of the speed run share.
type bench struct {
	*stage
	py, twin *peerProcess
	ffmpeg   string
	folder   string
	rounds   int
	shrink   int
	cases    *regexp.Regexp
}

// contest is one line of the table.
type contest struct {
	name   string
	mpx    float64 // the work
	rounds int
	goal   float64 // of the ratio; 0: none
	ours   func(workers int) error
	twin   []any                     // what to ask our Go without assembly; none: it does not run
	theirs []func() (float64, error) // the faster counts
	remark func() (string, error)    // asked after all turns
}

// times are the best of each side, in seconds. Infinity stands for a side that did not run.
type times struct{ one, two, twin, theirs float64 }

// run times all sides in turn and prints the line.
func (b *bench) run(c contest) error {
	t := times{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	for range c.rounds {
		for i, best := range []*float64{&t.one, &t.two} {
			start := time.Now()
			if err := c.ours(i + 1); err != nil {
				return err
			}
			*best = min(*best, time.Since(start).Seconds())
		}
		if len(c.twin) > 0 {
			took, err := b.twin.ask(c.twin...)
			if err != nil {
				return err
			}
			t.twin = min(t.twin, took)
		}
		for _, f := range c.theirs {
			took, err := f()
			if err != nil {
				return err
			}
			t.theirs = min(t.theirs, took)
		}
	}
	remark := ""
	if c.remark != nil {
		var err error
		if remark, err = c.remark(); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
	}
	printTimes(c, t, remark)
	return nil
}

const rowFormat = "| %-43s | %6s | %11s | %7s | %6s | %6s | %-13s | %s |\n"

func printHead() {
	fmt.Printf(rowFormat, "case", "ours", "two workers", "Go only", "theirs", "ratio", "goal", "differences: largest, mean; remarks")
	fmt.Printf(rowFormat, "-------------------------------------------", "-----:", "----------:", "------:", "-----:", "-----:", "-------------", "---")
}

// printTimes prints the work done a second by each side.
func printTimes(c contest, t times, remark string) {
	speed := func(seconds float64) string {
		if math.IsInf(seconds, 1) {
			return ""
		}
		return fmt.Sprintf("%.3g", c.mpx/seconds)
	}
	two, ratio, goal := speed(t.two), "", ""
	if runtime.GOMAXPROCS(0) < 2 {
		two = ""
	}
	if !math.IsInf(t.theirs, 1) {
		ratio = fmt.Sprintf("%.2f", t.theirs/t.one)
		if c.goal > 0 {
			goal = fmt.Sprintf("≥ %.3g, met", c.goal)
			if t.theirs/t.one < c.goal {
				goal = fmt.Sprintf("≥ %.3g, missed", c.goal)
			}
		}
	}
	fmt.Printf(rowFormat, c.name, speed(t.one), two, speed(t.twin), speed(t.theirs), ratio, goal, remark)
}

// warps times the work on frames.
func warps(python, ffmpeg, folder string, rounds, shrink int, cases *regexp.Regexp) (err error) {
	b := &bench{ffmpeg: ffmpeg, folder: folder, rounds: rounds, shrink: shrink, cases: cases}
	if b.stage, err = newStage(shrink); err != nil {
		return err
	}
	if b.py, err = startPython(python, warpScript, folder); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.py.stop()) }()
	if b.twin, err = startTwin(folder, shrink); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.twin.stop()) }()
	ff, err := version(ffmpeg)
	if err != nil {
		return err
	}
	w, h := b.target.Size()
	report := b.toView.Report()
	fmt.Printf(`%s; %s
One thread each, best of %d turns, half as many for what is slow. Fisheye plate of %d × %d px to a view of %d × %d px,
%d channels, %.2f to %.2f source px a target px, %.1f %% of the view seen. Mpx of the target a second:
ours, ours with two workers, ours with loops in Go instead of assembly (purego), theirs; ratio: ours to theirs
`, b.py.version, ff, rounds, b.width, b.height, w, h, channels, report.SmallestScale, report.LargestScale, 100*report.SeenFraction)
	if runtime.GOMAXPROCS(0) < 2 {
		fmt.Println("Two workers need GOMAXPROCS of 2 or more: their column is empty")
	}
	fmt.Println()
	printHead()
	if err := b.geometry(); err != nil {
		return err
	}
	if err := timeWarps[uint8](b, "uint8", 255); err != nil {
		return err
	}
	if err := timeWarps[uint16](b, "uint16", 65535); err != nil {
		return err
	}
	return timeWarps[float32](b, "float32", 1)
}

// geometry tells the Python process of plate and view, and compares the
// building of maps.
func (b *bench) geometry() error {
	w, h := b.target.Size()
	words := []any{"geometry", b.focal(), float64(b.width)/2 - 0.5, float64(b.height)/2 - 0.5, b.viewFocal(), w, h}
	for _, v := range turn() {
		words = append(words, v)
	}
	if _, err := b.py.ask(words...); err != nil {
		return err
	}
	const name = "map: fisheye.initUndistortRectifyMap"
	if !b.cases.MatchString(name) {
		return nil
	}
	return b.run(contest{
		name: name, mpx: float64(w*h) / 1e6, rounds: b.rounds, goal: goalSameWork,
		ours: func(workers int) error {
			_, err := b.newMap(workers)
			return err
		},
		theirs: []func() (float64, error){func() (float64, error) { return b.py.ask("build") }},
		remark: func() (string, error) {
			if _, err := b.py.ask("write_maps"); err != nil {
				return "", err
			}
			xs, ys := make([]float32, w*h), make([]float32, w*h)
			if err := errors.Join(read(filepath.Join(b.folder, "xs"), xs), read(filepath.Join(b.folder, "ys"), ys)); err != nil {
				return "", err
			}
			var d deviation
			for i := range xs {
				x, y, _ := b.toView.At(float64(i%w)+0.5, float64(i/w)+0.5)
				d.add(math.Hypot(x-0.5-float64(xs[i]), y-0.5-float64(ys[i])))
			}
			return d.String() + " px; theirs evaluates every pixel", nil
		},
	})
}

// turn is the rotation from the view to the fisheye, in the frame of computer
// vision, row by row.
func turn() (m [9]float64) {
	axes := orient.FromAngles(heading, elevation, 0)
	for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d := projection.VisionAxes(axes.ToStage(projection.VisionAxes(e)))
		m[i], m[3+i], m[6+i] = d.X, d.Y, d.Z
	}
	return m
}

// deviation collects differences.
type deviation struct {
	largest, sum float64
	count        int
}

func (d *deviation) add(e float64) {
	d.largest = max(d.largest, e)
	d.sum += e
	d.count++
}

func (d *deviation) String() string {
	return fmt.Sprintf("%.3g, %.2g", d.largest, d.sum/float64(d.count))
}

// slope is the largest change in a plate per pixel, along x plus along y, as a
// fraction of the range. Positions may differ by 1/32 px on both axes: 1/64 px
// of OpenCV's rounding and 1/64 px of the map's tolerance. Values then differ
// by at most slope/32; half a pixel would show.
const slope = 0.02

// paintPlate paints slow waves, the same in all sample types.
func paintPlate[T warp.Sample](f warp.Frame[T], top float64) {
	w, h := f.Size()
	across, down := make([]float64, w), make([]float64, h)
	const step = slope / 0.45 // radians a px
	for x := range across {
		across[x] = math.Sin(step * float64(x))
	}
	for y := range down {
		down[y] = math.Sin(step * float64(y))
	}
	ch := f.Channels()
	for y := range h {
		row := f.Row(y)
		for x := range w {
			v := 0.5 + 0.45*across[x]*down[y]
			for c := range ch {
				row[x*ch+c] = T(v*top + 0.5*float64(min(1, int(top)-1)))
				v = 1 - v
			}
		}
	}
}

// timeWarps times everything with one sample type. Nothing is loaded for cases
// that were not chosen.
func timeWarps[T warp.Sample](b *bench, kind string, top float64) error {
	unit := " codes"
	if top == 1 {
		unit = " of 1"
	}
	t := &timing[T]{bench: b, kind: kind, top: top, unit: unit}
	if err := t.remaps(); err != nil {
		return err
	}
	if err := t.forget(); err != nil {
		return err
	}
	if err := timeFFmpeg(t); err != nil {
		return err
	}
	return timeBlend(t)
}

// timing is a bench with frames of one sample type.
type timing[T warp.Sample] struct {
	*bench
	kind   string
	top    float64 // the largest sample
	unit   string  // of differences
	frames *frames[T]
	theirs []T
	shared bool // with the Python process and the twin
}

// load makes the frames.
func (t *timing[T]) load() (err error) {
	if t.frames == nil {
		if t.frames, err = newFrames[T](t.stage, t.top); err != nil {
			return err
		}
		t.theirs = make([]T, len(t.frames.pix))
	}
	return nil
}

// share gives the other processes the plate.
func (t *timing[T]) share() error {
	if err := t.load(); err != nil || t.shared {
		return err
	}
	t.shared = true
	file := filepath.Join(t.folder, "source")
	if err := writeFrame(file, t.frames.src); err != nil {
		return err
	}
	if _, err := t.py.ask("source", t.kind, t.width, t.height, channels); err != nil {
		return err
	}
	if err := os.Remove(file); err != nil {
		return err
	}
	for _, command := range []string{"build", "fix", "st"} {
		if _, err := t.py.ask(command); err != nil {
			return err
		}
	}
	_, err := t.twin.ask("frames", t.kind)
	return err
}

// forget has the other processes drop the frames.
func (t *timing[T]) forget() error {
	t.shared = false
	for _, p := range []*peerProcess{t.py, t.twin} {
		if _, err := p.ask("forget_frames"); err != nil {
			return err
		}
	}
	return nil
}

// against compares the rows of ours that are chosen with what a peer made.
func (t *timing[T]) against(chosen func(y int) bool) (*deviation, error) {
	if _, err := t.py.ask("write"); err != nil {
		return nil, err
	}
	if err := read(filepath.Join(t.folder, "out"), t.theirs); err != nil {
		return nil, err
	}
	d := &deviation{}
	w, h := t.target.Size()
	for y := range h {
		if !chosen(y) {
			continue
		}
		for i := y * w * channels; i < (y+1)*w*channels; i++ {
			d.add(math.Abs(float64(t.frames.pix[i]) - float64(t.theirs[i])))
		}
	}
	return d, nil
}

// same checks that the twin makes the same samples.
func (t *timing[T]) same() error {
	sum, err := t.twin.ask("sum")
	if err == nil && sum != t.frames.sum() {
		err = errors.New("our Go without assembly makes other samples")
	}
	return err
}

// Of so many strips of so many rows, st_warp does one: all would take minutes.
// Its time is multiplied to that of the whole.
const stRows, stPart = 15, 8

// remaps compares with OpenCV's remap and OpenImageIO's st_warp.
func (t *timing[T]) remaps() error {
	w, h := t.target.Size()
	ours := func(opts warp.Options) func(int) error {
		return func(workers int) error {
			opts.Workers = workers
			return t.frames.warp(opts)
		}
	}
	ask := func(words ...any) func() (float64, error) {
		return func() (float64, error) { return t.py.ask(words...) }
	}
	all := func(int) bool { return true }
	var contests []contest
	for _, c := range []struct {
		filter       warp.Filter
		name, theirs string
		remark       string
	}{
		{warp.Nearest, "nearest", "nearest", ""},
		{warp.Bilinear, "bilinear", "linear", "; theirs to 1/32 px"},
		{warp.CatmullRom, "bicubic", "cubic", "; ours a = -0.5, theirs -0.75, to 1/32 px"},
		{warp.Lanczos3, "Lanczos", "lanczos", "; ours 6 × 6 taps, theirs 8 × 8, to 1/32 px"},
	} {
		contests = append(contests, contest{
			name: c.name + ", cv remap", goal: goalSameWork,
			ours:   ours(warp.Options{Filter: c.filter, Minify: warp.PointSample}),
			twin:   twinWords("warp", warp.Options{Filter: c.filter, Minify: warp.PointSample}),
			theirs: []func() (float64, error){ask("remap", c.theirs, "fixed"), ask("remap", c.theirs, "maps")},
			remark: func() (string, error) {
				d, err := t.against(all)
				if err != nil {
					return "", err
				}
				if bound := slope/32*t.top + min(t.top-1, 1); c.filter == warp.Bilinear && d.largest > bound {
					return "", fmt.Errorf("differs from OpenCV's by %.3g, which positions explain to %.3g", d.largest, bound)
				}
				return d.String() + t.unit + c.remark, t.same()
			},
		})
	}
	contests = append(contests, contest{
		name: "map and bilinear, cv both", goal: goalSameWork,
		ours: func(workers int) error {
			return t.frames.together(warp.Options{Filter: warp.Bilinear, Minify: warp.PointSample, Workers: workers})
		},
		twin:   twinWords("together", warp.Options{Minify: warp.PointSample}),
		theirs: []func() (float64, error){ask("build_and_remap", "linear")},
		remark: func() (string, error) { return "initUndistortRectifyMap and remap", t.same() },
	})
	for _, c := range []struct {
		name   string
		opts   warp.Options
		filter string  // of st_warp; "": none
		scale  float64 // of its width
		remark string
	}{
		{"PixelMean, st_warp box", warp.Options{Minify: warp.PixelMean}, "box", 1, "; theirs 1² taps"},
		{"PixelMean, st_warp wide box", warp.Options{Minify: warp.PixelMean}, "box", t.focal() / t.viewFocal(), "; theirs widened by the scale in the middle"},
		{"bilinear AntiAlias, st_warp triangle", warp.Options{Filter: warp.Bilinear}, "triangle", 1, "; theirs 2² taps"},
		{"bicubic AntiAlias", warp.Options{Filter: warp.CatmullRom}, "", 1, ""},
		{"Lanczos AntiAlias, st_warp lanczos3", warp.Options{Filter: warp.Lanczos3}, "lanczos3", 1, "; theirs 6² taps"},
	} {
		rival := contest{name: c.name, rounds: (t.rounds + 1) / 2, goal: goalSTWarp, ours: ours(c.opts)}
		if c.opts.Minify == warp.PixelMean {
			rival.twin = twinWords("warp", c.opts)
		}
		if c.filter != "" {
			rival.theirs = []func() (float64, error){ask("st_warp", c.filter, c.scale, stRows, stPart)}
			rival.remark = func() (string, error) {
				d, err := t.against(func(y int) bool { return y/stRows%stPart == stPart/2 })
				if err != nil {
					return "", err
				}
				if len(rival.twin) > 0 {
					err = t.same()
				}
				return d.String() + t.unit + c.remark, err
			}
		}
		contests = append(contests, rival)
	}
	for _, c := range contests {
		c.name, c.mpx = t.kind+" "+c.name, float64(w*h)/1e6
		if c.rounds == 0 {
			c.rounds = t.rounds
		}
		if !t.cases.MatchString(c.name) {
			continue
		}
		if err := t.share(); err != nil {
			return err
		}
		if err := t.run(c); err != nil {
			return err
		}
	}
	return nil
}

func writeFrame[T warp.Sample](path string, f warp.Frame[T]) error {
	_, h := f.Size()
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	for y := 0; y < h && err == nil; y++ {
		err = binary.Write(out, binary.LittleEndian, f.Row(y))
	}
	return errors.Join(err, out.Close())
}
