package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime/debug"
	"slices"
	"sync"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// made is what has been made, and how well it agrees with the scene.
type made struct {
	pictures []string
	checks   []check
	overlaps []overlap
	suspect  string // what would explain overlaps that disagree
}

// check compares a frame with the scene that it shows.
type check struct {
	what string
	off  difference
	want float64 // dB that the error lies below the signal
}

// Limits of the error, in dB below the signal. Resampling softens the edges of the
// procedural scene, which are three photosites wide. A panorama that is rebuilt from
// the plates has been filtered twice, and is softer than the original. Means over
// several pixels remove most of that difference.
const (
	wantFrame  = 30
	wantSphere = 25
	wantMeans  = 37
)

// maker makes the pictures of one job.
type maker struct {
	*job
	ctx    context.Context
	output *program.Folder
	stderr io.Writer

	original *panoramaSource // the plates are made from it, or compared with it; nil: none
	outlooks []outlook       // by camera
	kept     []kept          // of the plates, by camera
	made     made

	writing  sync.WaitGroup // pictures are encoded while the next is made
	writeErr error          // read after writing.Wait
	writer   chan struct{}  // one picture is encoded at a time

	terminal bool   // progress is printed in place
	said     string // the piece of work whose progress was printed last
}

func newMaker(ctx context.Context, j *job, out *program.Folder, stderr io.Writer) *maker {
	return &maker{job: j, ctx: ctx, output: out, stderr: stderr, kept: make([]kept, len(j.shoot.cameras)), writer: make(chan struct{}, 1), terminal: isTerminal(stderr)}
}

// frame is a picture that needs the full resolution of a part of the plates.
type frame struct {
	what, file string
	target     warp.Target
	how        warp.Options
}

// Options of the frames. Walls play moving pictures, which must not shimmer. A pixel of
// a still should hold what the pixel of a camera would.
var (
	moving = warp.Options{Filter: warp.CatmullRom}
	still  = warp.Options{Minify: warp.PixelMean}
)

// frames takes the plates and makes all frames from them. A 12K plate takes half a
// gigabyte. So plates are taken one at a time, and only the parts that the frames show
// are kept.
func (m *maker) frames() error {
	// Most of the memory is in a few large frames, so a collection is cheap. By default
	// it would start only when garbage takes as much memory as the frames.
	defer debug.SetGCPercent(debug.SetGCPercent(10))
	err := m.allFrames()
	m.kept, m.outlooks, m.original = nil, nil, nil
	m.writing.Wait()
	return errors.Join(err, m.writeErr)
}

func (m *maker) allFrames() error {
	if m.sphere != "" {
		var err error
		if m.original, err = readSphere(m.ctx, m.sphere); err != nil {
			return err
		}
	}
	if err := m.lookOut(); err != nil {
		return err
	}
	frames, err := m.list()
	if err != nil {
		return err
	}
	targets := make([]warp.Target, 0, len(frames)+1)
	for _, f := range frames {
		targets = append(targets, f.target)
	}
	if m.original != nil {
		targets = append(targets, m.original.geometry)
	}
	if err := m.takePlates(targets); err != nil {
		return err
	}
	if m.original != nil {
		if err := m.roundTrip(); err != nil {
			return err
		}
	}
	for _, f := range frames {
		picture, err := m.blend(f.target, part, f.what, f.how)
		if err != nil {
			return err
		}
		if err := m.write(f.file, picture); err != nil {
			return err
		}
		m.compareWithScene(f.what, f.target, picture)
	}
	return errors.Join(m.panorama(), m.compareOverlaps())
}

// list is the frames to be made: one of each wall for each position of the tracked
// camera, and a push-in. The surround says where the things on the walls stand.
func (m *maker) list() ([]frame, error) {
	var frames []frame
	for i, at := range m.shoot.StageCamera.Positions {
		for k, view := range m.shoot.views[i] {
			wall := m.shoot.Walls[k].Name
			seen, err := m.shoot.surround.EyeView(view, at.position())
			if err != nil {
				return nil, err
			}
			frames = append(frames, frame{
				what: fmt.Sprintf("%s for position %s", wall, at.Name), how: moving,
				file: fmt.Sprintf("walls/%s/%s", fileName(wall), fileName(at.Name)), target: seen,
			})
		}
	}
	f, ok, err := m.pushIn()
	if ok {
		frames = append(frames, f)
	}
	return frames, err
}

// create makes the file of a picture.
func (m *maker) create(name string) (io.WriteCloser, error) {
	m.made.pictures = append(m.made.pictures, name)
	return m.output.Create(name)
}

// pushIn is the narrowest view of the last shot that the plates see and that has at
// least one source pixel per pixel all over. If there is none, it has that at its
// centre.
func (m *maker) pushIn() (f frame, ok bool, err error) {
	d := m.shoot.delivery
	for _, shot := range slices.Backward(m.shoot.Shots) {
		p, ok := m.shoot.array.PushIn(shot.direction(), d.Columns)
		if !ok {
			continue
		}
		across := p.Across
		if whole, v, err := m.shoot.array.PushInFrame(shot.direction(), d.Columns, d.Rows); err == nil && v.OK {
			across = whole
		}
		view, err := projection.NewView(projection.ViewSpec{
			Width: d.Columns, Height: d.Rows, Across: across,
			Pose: pose(r3.Vec{}, shot.HeadingDeg, shot.ElevationDeg, 0),
		})
		what := fmt.Sprintf("push-in on %q, %.1f° across", shot.Name, float64(across/deg))
		return frame{what: what, file: "push-in", target: view, how: still}, err == nil, err
	}
	return frame{}, false, nil
}

// panorama blends all plates into a picture of the whole sphere.
func (m *maker) panorama() error {
	height := max(2, m.shoot.Plates.Format.Columns/8)
	sphere, err := panorama.NewEquirect(2*height, height, projection.Pose{})
	if err != nil {
		return err
	}
	frame, err := m.blend(sphere, small, "sphere of all plates", still)
	if err != nil {
		return err
	}
	return m.write("sphere", frame)
}

// Which version of the plates a frame is made from.
func part(k *kept) *source  { return &k.part }
func small(k *kept) *source { return &k.small }

// blend resamples all plates into a target. Each pixel shows the plate in which it lies
// farthest from the limits, among the plates whose view the vessel does not hide. If it
// hides all of them, the pixel shows the vessel: its light is right, and whoever paints
// it out needs the surroundings. A pixel that no plate sees is black.
func (m *maker) blend(target warp.Target, of func(*kept) *source, what string, how warp.Options) (warp.Frame[uint16], error) {
	w, h := target.Size()
	frame, err := newFrame(w, h)
	if err != nil {
		return frame, err
	}
	var layers []warp.Layer[uint16]
	how.Progress = m.progress(what)
	how.Progress(0, 1)
	for i := range m.kept {
		s := of(&m.kept[i])
		if s.scale == 0 {
			continue
		}
		mp, err := warp.NewMap(m.ctx, target, s.camera, warp.MapOptions{})
		if err != nil {
			return frame, err
		}
		if mp.Report().SeenFraction == 0 {
			continue
		}
		priority, err := m.priority(target, i, s.scale)
		if err != nil {
			return frame, err
		}
		layers = append(layers, warp.Layer[uint16]{
			Frame: s.frame, Map: mp, Feather: m.shoot.Plates.FeatherPx / s.scale, Priority: priority,
		})
	}
	if len(layers) == 0 {
		return frame, nil // no camera sees any of it
	}
	return frame, warp.Blend(m.ctx, frame, layers, how)
}

// compareWithScene compares a frame made from the procedural plates with the scene
// itself, evaluated at points of a grid over the frame. It detects an error in a map or
// a pose, also one of half a pixel.
func (m *maker) compareWithScene(what string, target warp.Target, frame warp.Frame[uint16]) {
	if m.files != nil || m.original != nil {
		return // the scene is not known at a point
	}
	gain := m.plateGain()
	w, h := target.Size()
	var d difference
	for y := h / 128; y < h; y += max(1, h/64) {
		for x := w / 256; x < w; x += max(1, w/128) {
			dir, ok := target.Unproject(float64(x)+0.5, float64(y)+0.5)
			if !ok || !m.inside(dir) {
				continue
			}
			for k, v := range m.scene.Radiance(dir) {
				d.add(float64(frame.Row(y)[3*x+k]), float64(code(v*gain*65535)))
			}
		}
	}
	m.made.checks = append(m.made.checks, check{what, d, wantFrame})
}

// inside reports whether a plate sees a direction that the vessel does not hide, away
// from the limits of the picture.
func (m *maker) inside(dir r3.Vec) bool {
	for i := range m.outlooks {
		if s, ok := m.outlooks[i].at(dir); ok && s.clear >= 4 {
			return true
		}
	}
	return false
}

// roundTrip rebuilds the panorama from the plates that were made from it.
func (m *maker) roundTrip() error {
	sphere, how := m.original, still
	w, h := sphere.geometry.Size()
	coverage, err := warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1})
	if err != nil {
		return err
	}
	how.Coverage = coverage
	seen, err := m.blend(sphere.geometry, part, "sphere seen anew from its plates", how)
	if err != nil {
		return err
	}
	m.made.checks = append(m.made.checks,
		check{"sphere seen anew, against the original", compare(seen, sphere.frame, coverage, 1), wantSphere},
		check{"the same, means of 4 × 4 px", compare(seen, sphere.frame, coverage, 4), wantMeans})
	return m.write("sphere-seen-anew", seen)
}

// compare measures the difference of two frames where both are covered. It compares the
// means of squares of several pixels.
func compare(a, b warp.Frame[uint16], coverage warp.Frame[float32], side int) difference {
	var d difference
	w, h := a.Size()
	for y := 0; y+side <= h; y += side {
		for x := 0; x+side <= w; x += side {
			var sum [2][3]float64
			covered := true
			for j := range side {
				for i := range side {
					covered = covered && coverage.Row(y + j)[x+i] >= 1
					for k := range 3 {
						sum[0][k] += float64(a.Row(y + j)[3*(x+i)+k])
						sum[1][k] += float64(b.Row(y + j)[3*(x+i)+k])
					}
				}
			}
			if covered {
				for k := range 3 {
					d.add(sum[0][k]/float64(side*side), sum[1][k]/float64(side*side))
				}
			}
		}
	}
	return d
}

// difference sums up the differences between samples of 16 bits.
type difference struct {
	n       int
	squares float64
	signal  float64
}

func (d *difference) add(got, want float64) {
	d.n++
	d.squares += (got - want) * (got - want)
	d.signal += want * want
}

// belowScale is the level of the error below the largest possible sample, in dB.
// belowSignal is its level below the signal.
func (d difference) belowScale() float64 {
	return 10 * math.Log10(65535*65535*float64(d.n)/d.squares)
}
func (d difference) belowSignal() float64 { return 10 * math.Log10(d.signal/d.squares) }

func (r *report) frames(m made, s *shoot) {
	if len(m.overlaps) > 0 {
		r.question("Do neighbouring plates agree where both see?")
	}
	for _, o := range m.overlaps {
		what := fmt.Sprintf("%s and %s at %s", o.a, o.b, o.where)
		switch {
		case !o.detail:
			r.line(what, "cannot be told: too little detail")
		case o.correlation < wantCorrelation:
			r.limit(false, what, fmt.Sprintf("correlation %.2f", o.correlation), fmt.Sprintf("wanted %g: not the same", wantCorrelation))
		case o.beyond:
			r.limit(false, what, fmt.Sprintf("correlation %.2f", o.correlation), fmt.Sprintf("%d px off or more", farthestShift*smallScale))
		default:
			r.limit(o.shiftPx <= s.Plates.ParallaxPx, what, fmt.Sprintf("correlation %.2f, %.1f px off", o.correlation, o.shiftPx),
				fmt.Sprintf("wanted %g, within %g px", wantCorrelation, s.Plates.ParallaxPx))
		}
	}
	if m.suspect != "" {
		r.note("Plates disagree: " + m.suspect + ".")
	}
	if len(m.checks) == 0 {
		return
	}
	r.question("Do the frames show the scene?")
	for _, c := range m.checks {
		if c.off.n == 0 {
			r.none(c.what, "no plate covers it")
			continue
		}
		r.limit(c.off.belowSignal() >= c.want, c.what, fmt.Sprintf("error %.1f dB below the signal", c.off.belowSignal()),
			fmt.Sprintf("wanted %g; %.1f dB below full scale", c.want, c.off.belowScale()))
	}
}

// progress prints how much of a piece of work is done. On a terminal it updates one
// line. Elsewhere it prints one line when the work begins.
func (m *maker) progress(what string) func(done, total int) {
	last := -10
	return func(done, total int) {
		percent := 100 * done / total
		switch {
		case !m.terminal && what != m.said:
			fmt.Fprintln(m.stderr, what)
		case m.terminal && percent/10 != last/10:
			fmt.Fprintf(m.stderr, "\r\033[K%s: %d %%", what, percent)
			if done == total {
				fmt.Fprint(m.stderr, "\r\033[K")
			}
		}
		m.said, last = what, percent
	}
}

// isTerminal reports whether a writer is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// code rounds to a sample of 16 bits.
func code(v float64) uint16 {
	return uint16(min(max(v, 0), 65535) + 0.5)
}

func newFrame(w, h int) (warp.Frame[uint16], error) {
	return warp.NewFrame(warp.FrameSpec[uint16]{Width: w, Height: h, Channels: 3})
}
