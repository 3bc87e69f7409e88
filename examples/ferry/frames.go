package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// made is what has been made, and how well it agrees with the scene.
type made struct {
	pictures []string
	checks   []check
}

// check is an agreement between frames and the scene they show.
type check struct {
	what string
	off  difference
	want float64 // dB that the error lies below the signal
}

// How far the error is to lie below the signal, in dB. The procedural scene has
// edges three photosites wide, which resampling softens. A sphere seen anew is
// softer than the original: it has been filtered into the plates, and is
// filtered once more; in means of pixels most of that is gone.
const (
	wantFrame  = 30
	wantSphere = 25
	wantMeans  = 37
)

// maker makes the pictures of one job.
type maker struct {
	*job
	ctx    context.Context
	output *output
	stderr io.Writer
	plates []warp.Frame[uint16]
	made   made

	writing  sync.WaitGroup // pictures are encoded while the next is made
	writeErr error          // read after writing.Wait
	writer   chan struct{}  // one picture is encoded at a time

	terminal bool   // progress is printed in place
	said     string // what progress was last printed of
}

func newMaker(ctx context.Context, j *job, out *output, stderr io.Writer) *maker {
	return &maker{job: j, ctx: ctx, output: out, stderr: stderr, writer: make(chan struct{}, 1), terminal: isTerminal(stderr)}
}

// frames gets the plates and makes all frames from them.
func (m *maker) frames() error {
	var err error
	for _, step := range []func() error{m.getPlates, m.wallFrames, m.pushIn, m.panorama} {
		if err = step(); err != nil {
			break
		}
	}
	m.writing.Wait()
	return errors.Join(err, m.writeErr)
}

// getPlates reads the plates, or makes them from the sphere or the procedural
// harbour.
func (m *maker) getPlates() error {
	var sphere *panoramaSource
	if m.sphere != "" {
		var err error
		if sphere, err = readSphere(m.ctx, m.sphere); err != nil {
			return err
		}
	}
	for i, camera := range m.shoot.cameras {
		name := m.shoot.Plates.Cameras[i].Name
		progress := m.progress(fmt.Sprintf("plate %d of %d, %s", i+1, len(m.shoot.cameras), name))
		progress(0, 1)
		w, h := camera.Size()
		var plate warp.Frame[uint16]
		var err error
		if m.files != nil {
			plate, err = readLinear(m.ctx, m.files[i], w, h)
		} else if plate, err = newFrame(w, h); err == nil {
			if sphere != nil {
				err = sphere.onto(m.ctx, plate, camera, progress)
			} else {
				err = m.shade(plate, camera, progress)
			}
		}
		if err != nil {
			return err
		}
		m.plates = append(m.plates, plate)
		if m.keepPlates {
			if err := m.writeLinear("plates/"+fileName(name)+".png", plate); err != nil {
				return err
			}
		}
	}
	if sphere != nil {
		return m.roundTrip(sphere)
	}
	return nil
}

// create makes the file of a picture.
func (m *maker) create(name string) (io.WriteCloser, error) {
	m.made.pictures = append(m.made.pictures, name)
	return m.output.create(name)
}

// wallFrames makes the frame of each wall for each position of the tracked
// camera.
func (m *maker) wallFrames() error {
	for i, at := range m.shoot.StageCamera.Positions {
		for k, view := range m.shoot.views[i] {
			wall := m.shoot.Walls[k].Name
			frame, coverage, err := m.blend(view, fmt.Sprintf("%s for position %s", wall, at.Name), moving)
			if err != nil {
				return err
			}
			if err := m.write(fmt.Sprintf("walls/%s/%s.png", fileName(wall), fileName(at.Name)), frame); err != nil {
				return err
			}
			m.compareWithScene(fmt.Sprintf("%s for position %s", wall, at.Name), view, frame, coverage)
		}
	}
	return nil
}

// pushIn makes the narrowest view that keeps a source pixel all over, or at
// its centre where none does, around the last shot that is seen.
func (m *maker) pushIn() error {
	d := m.shoot.delivery
	for _, shot := range slices.Backward(m.shoot.Shots) {
		p, ok := m.shoot.array.PushIn(shot.direction(), d.Columns)
		if !ok {
			continue
		}
		across := p.Across
		if whole, ok := m.shoot.array.PushInFrame(shot.direction(), d.Columns, d.Rows); ok {
			across = whole
		}
		view, err := projection.NewView(projection.ViewSpec{
			Width: d.Columns, Height: d.Rows, Across: across,
			Pose: pose(r3.Vec{}, shot.HeadingDeg, shot.ElevationDeg, 0),
		})
		if err != nil {
			return err
		}
		what := fmt.Sprintf("push-in on %q, %.1f° across", shot.Name, float64(across/deg))
		frame, coverage, err := m.blend(view, what, still)
		if err != nil {
			return err
		}
		m.compareWithScene(what, view, frame, coverage)
		return m.write("push-in.png", frame)
	}
	return nil
}

// panorama lays all plates over the whole sphere.
func (m *maker) panorama() error {
	height := max(2, m.shoot.Plates.Format.Columns/8)
	sphere, err := projection.NewEquirect(2*height, height, projection.Pose{})
	if err != nil {
		return err
	}
	frame, _, err := m.blend(sphere, "sphere of all plates", still)
	if err != nil {
		return err
	}
	return m.write("sphere.png", frame)
}

// How frames are made: walls play what moves, and must not shimmer; of stills
// every pixel should hold what a camera's would.
var (
	moving = warp.Options{Filter: warp.CatmullRom}
	still  = warp.Options{Minify: warp.PixelMean}
)

// blend resamples all plates into a target, in one of these ways.
func (m *maker) blend(target warp.Target, what string, how warp.Options) (frame warp.Frame[uint16], coverage warp.Frame[float32], err error) {
	w, h := target.Size()
	if frame, err = newFrame(w, h); err != nil {
		return frame, coverage, err
	}
	if coverage, err = warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1}); err != nil {
		return frame, coverage, err
	}
	var layers []warp.Layer[uint16]
	progress := m.progress(what)
	for i, camera := range m.shoot.cameras {
		progress(0, 1)
		mp, err := warp.NewMap(m.ctx, target, camera, warp.MapOptions{})
		if err != nil {
			return frame, coverage, err
		}
		if mp.Report().SeenShare > 0 {
			layers = append(layers, warp.Layer[uint16]{Frame: m.plates[i], Map: mp, Feather: m.shoot.Plates.FeatherPx})
		}
	}
	if len(layers) == 0 {
		return frame, coverage, nil // no camera sees any of it: black, coverage 0
	}
	how.Coverage, how.Progress = coverage, progress
	err = warp.Blend(m.ctx, frame, layers, how)
	return frame, coverage, err
}

// Where the scene is smooth it is evaluated at the corners of squares of so many
// photosites only, and interpolated between them; squares with all corners
// outside the image circle stay black, for the circle cannot reach a photosite's
// centre within. Workers take strips of rows.
const (
	patch     = 4
	stripRows = 16 * patch
)

// shade fills a plate from the scene.
func (m *maker) shade(dst warp.Frame[uint16], target warp.Target, progress func(done, total int)) error {
	w, h := target.Size()
	strips := (h + stripRows - 1) / stripRows
	gain := 65535 * m.plateGain()
	var done int
	var lock sync.Mutex
	parallel(m.ctx, strips, func(i int) {
		s := shader{dst: dst, target: target, scene: m.scene, gain: gain, width: w}
		s.top, s.bottom = make([]corner, w/patch+1), make([]corner, w/patch+1)
		s.strip(i*stripRows, min((i+1)*stripRows, h))
		lock.Lock()
		defer lock.Unlock()
		done++
		progress(done, strips)
	})
	return m.ctx.Err()
}

// parallel does pieces 0 to n−1 of some work on all cores, none more once the
// context has ended.
func parallel(ctx context.Context, n int, work func(i int)) {
	var next atomic.Int64
	var group sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		group.Add(1)
		go func() {
			defer group.Done()
			for i := int(next.Add(1)) - 1; i < n && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				work(i)
			}
		}()
	}
	group.Wait()
}

// shader is what a strip of shade needs.
type shader struct {
	dst         warp.Frame[uint16]
	target      warp.Target
	scene       scene
	gain        float64
	width       int
	top, bottom []corner // of the squares of a row
}

// corner is the scene at a pixel's centre.
type corner struct {
	colour       rgb
	seen, smooth bool
}

// at is the scene at the centre of a pixel, scaled to samples and within their
// range.
func (s *shader) at(x, y int) corner {
	d, ok := s.target.Unproject(float64(x)+0.5, float64(y)+0.5)
	if !ok {
		return corner{}
	}
	c := corner{s.scene.radiance(d), true, s.scene.smooth(d)}
	for k := range c.colour {
		c.colour[k] = min(max(c.colour[k]*s.gain, 0), 65535)
	}
	return c
}

func (s *shader) strip(y0, y1 int) {
	corners := func(row []corner, y int) {
		for i := range row {
			row[i] = s.at(i*patch, y)
		}
	}
	corners(s.bottom, y0)
	for y := y0; y < y1; y += patch {
		s.top, s.bottom = s.bottom, s.top
		corners(s.bottom, y+patch)
		end := min(y+patch, y1)
		for i := range len(s.top) - 1 {
			a, b, c, d := &s.top[i], &s.top[i+1], &s.bottom[i], &s.bottom[i+1]
			switch {
			case a.smooth && b.smooth && c.smooth && d.smooth:
				s.between(i, y, end)
			case a.seen || b.seen || c.seen || d.seen:
				s.each(i*patch, (i+1)*patch, y, end)
			}
		}
		s.each((len(s.top)-1)*patch, s.width, y, end)
	}
}

// between fills a square from its corners.
func (s *shader) between(i, y0, y1 int) {
	for y := y0; y < y1; y++ {
		v := float64(y-y0) / patch
		row := s.dst.Row(y)[3*patch*i : 3*patch*(i+1) : 3*patch*(i+1)]
		for k := range 3 {
			a := s.top[i].colour[k] + (s.bottom[i].colour[k]-s.top[i].colour[k])*v
			step := (s.top[i+1].colour[k] + (s.bottom[i+1].colour[k]-s.top[i+1].colour[k])*v - a) / patch
			for j := range patch {
				row[3*j+k] = uint16(a + step*float64(j) + 0.5)
			}
		}
	}
}

// each fills pixel by pixel.
func (s *shader) each(x0, x1, y0, y1 int) {
	for y := y0; y < y1; y++ {
		row := s.dst.Row(y)
		for x := x0; x < x1; x++ {
			c := s.at(x, y).colour
			p := row[3*x : 3*x+3 : 3*x+3]
			p[0], p[1], p[2] = uint16(c[0]+0.5), uint16(c[1]+0.5), uint16(c[2]+0.5)
		}
	}
}

// plateGain turns the procedural scene, in which 1 is the brightest light of
// the scenario, into samples: full scale is the saturation of a camera whose
// saturation speed is the exposure index set.
func (m *maker) plateGain() float64 {
	brightest := 0.0
	for _, l := range m.shoot.Light {
		brightest = max(brightest, l.CdM2)
	}
	if f, ok := m.shoot.plates[0].exposure.Saturation(brightest, m.shoot.Plates.ExposureIndex); ok {
		return f
	}
	return 1
}

// compareWithScene holds a frame of the procedural plates against the scene
// itself, seen directly from the target: an error in any map, pose or
// half-pixel would show. Points are taken from a grid over the frame.
func (m *maker) compareWithScene(what string, target warp.Target, frame warp.Frame[uint16], coverage warp.Frame[float32]) {
	if m.files != nil || m.sphere != "" {
		return // the scene is not known at a point
	}
	gain := m.plateGain()
	w, h := target.Size()
	var d difference
	for y := h / 128; y < h; y += max(1, h/64) {
		for x := w / 256; x < w; x += max(1, w/128) {
			dir, ok := target.Unproject(float64(x)+0.5, float64(y)+0.5)
			if !ok || coverage.Row(y)[x] < 1 {
				continue
			}
			for k, v := range m.scene.radiance(dir) {
				d.add(float64(frame.Row(y)[3*x+k]), float64(code(v*gain*65535)))
			}
		}
	}
	m.made.checks = append(m.made.checks, check{what, d, wantFrame})
}

// roundTrip sees the sphere anew from the plates made of it.
func (m *maker) roundTrip(sphere *panoramaSource) error {
	seen, coverage, err := m.blend(sphere.geometry, "sphere seen anew from its plates", still)
	if err != nil {
		return err
	}
	m.made.checks = append(m.made.checks,
		check{"sphere seen anew, against the original", compare(seen, sphere.frame, coverage, 1), wantSphere},
		check{"the same, means of 4 × 4 px", compare(seen, sphere.frame, coverage, 4), wantMeans})
	return m.write("sphere-seen-anew.png", seen)
}

// compare measures the difference of two frames where all is covered, between
// the means of squares of so many pixels.
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

// difference gathers the differences between samples of 16 bits.
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

// belowScale is how far the error lies below the largest sample there can be,
// in dB, and belowSignal how far below what is compared with.
func (d difference) belowScale() float64 {
	return 10 * math.Log10(65535*65535*float64(d.n)/d.squares)
}
func (d difference) belowSignal() float64 { return 10 * math.Log10(d.signal/d.squares) }

func (r *report) frames(m made) {
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

// progress prints the share done of one piece of work: on a terminal in place,
// elsewhere one line when it begins.
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

// isTerminal says whether a person watches what is written.
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
