package main

import (
	"context"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"example.com/platewright/internal/orient"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
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

// bench is what all parts of the speed run share.
type bench struct {
	py     *peerProcess
	ffmpeg string
	folder string
	rounds int
	cases  *regexp.Regexp

	width, height int // of the plate
	source        projection.Camera
	target        projection.Camera
	toView        *warp.Map
}

// pair holds the best times of both sides, or of ours alone.
type pair struct{ ours, theirs float64 }

// turns runs both sides in turn.
func turns(rounds int, ours func() error, theirs ...func() (float64, error)) (pair, error) {
	best := pair{math.Inf(1), math.Inf(1)}
	for range rounds {
		start := time.Now()
		if err := ours(); err != nil {
			return best, err
		}
		best.ours = min(best.ours, time.Since(start).Seconds())
		for _, f := range theirs {
			took, err := f()
			if err != nil {
				return best, err
			}
			best.theirs = min(best.theirs, took)
		}
	}
	return best, nil
}

const lineFormat = "%-51s %9s %9s %7s  %s\n"

// line prints the work of a case, in Mpx, divided by the times.
func (b *bench) line(name string, mpx float64, p pair, remark string) {
	theirs, ratio := "", ""
	if !math.IsInf(p.theirs, 1) {
		theirs, ratio = fmt.Sprintf("%.1f", mpx/p.theirs), fmt.Sprintf("%.2f", p.theirs/p.ours)
	}
	fmt.Printf(lineFormat, name, fmt.Sprintf("%.1f", mpx/p.ours), theirs, ratio, remark)
}

// warps times the work on frames.
func warps(python, ffmpeg, folder string, rounds, shrink int, cases *regexp.Regexp) (err error) {
	b := &bench{ffmpeg: ffmpeg, folder: folder, rounds: rounds, cases: cases, width: plateWidth / shrink, height: plateHeight / shrink}
	b.source, err = projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: b.focal(), FocalY: b.focal(), Width: b.width, Height: b.height,
	})
	if err != nil {
		return err
	}
	b.target, err = projection.NewView(projection.ViewSpec{
		Width: viewWidth / shrink, Height: viewHeight / shrink, Across: viewAcross,
		Pose: projection.Pose{Heading: heading, Elevation: elevation},
	})
	if err != nil {
		return err
	}
	if b.toView, err = b.newMap(1); err != nil {
		return err
	}
	b.py, err = startPython(python, warpScript, folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.py.stop()) }()
	ff, err := version(ffmpeg)
	if err != nil {
		return err
	}
	w, h := b.target.Size()
	report := b.toView.Report()
	fmt.Printf("%s; %s; one thread, best of %d turns\n", b.py.version, ff, rounds)
	fmt.Printf("fisheye plate of %d × %d px to a view of %d × %d px, %d channels, %.2f to %.2f source px a target px, %.1f %% of the view seen\n\n",
		b.width, b.height, w, h, channels, report.SmallestScale, report.LargestScale, 100*report.SeenFraction)
	fmt.Printf(lineFormat, "case", "ours", "theirs", "ratio", "Mpx/s of the target; differences: largest, mean")
	if err := b.maps(); err != nil {
		return err
	}
	if err := b.timeType("uint8"); err != nil {
		return err
	}
	if err := b.timeType("uint16"); err != nil {
		return err
	}
	if err := b.timeType("float32"); err != nil {
		return err
	}
	return b.blends(shrink)
}

func (b *bench) timeType(kind string) error {
	switch kind {
	case "uint8":
		return timeWarps[uint8](b, kind, 255)
	case "uint16":
		return timeWarps[uint16](b, kind, 65535)
	}
	return timeWarps[float32](b, kind, 1)
}

func (b *bench) focal() float64 { return float64(b.width) / float64(plateAcross) }

func (b *bench) newMap(workers int) (*warp.Map, error) {
	return warp.NewMap(context.Background(), b.target, b.source, warp.MapOptions{Workers: workers})
}

// maps compares the building of maps.
func (b *bench) maps() error {
	w, h := b.target.Size()
	viewFocal := float64(w) / 2 / math.Tan(float64(viewAcross)/2)
	words := []any{"geometry", b.focal(), float64(b.width)/2 - 0.5, float64(b.height)/2 - 0.5, viewFocal, w, h}
	for _, v := range turn() {
		words = append(words, v)
	}
	if _, err := b.py.ask(words...); err != nil {
		return err
	}
	var m *warp.Map
	best, err := turns(b.rounds, func() (err error) {
		m, err = b.newMap(1)
		return err
	}, func() (float64, error) { return b.py.ask("build") })
	if err != nil {
		return err
	}
	if _, err := b.py.ask("write_maps"); err != nil {
		return err
	}
	xs, ys := make([]float32, w*h), make([]float32, w*h)
	if err := errors.Join(read(filepath.Join(b.folder, "xs"), xs), read(filepath.Join(b.folder, "ys"), ys)); err != nil {
		return err
	}
	var d deviation
	for i := range xs {
		x, y, _ := m.At(float64(i%w)+0.5, float64(i/w)+0.5)
		d.add(math.Hypot(x-0.5-float64(xs[i]), y-0.5-float64(ys[i])))
	}
	b.line("map: NewMap, fisheye.initUndistortRectifyMap", float64(w*h)/1e6, best, d.String()+" px; theirs evaluates every pixel")
	return nil
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

// timeWarps times everything with one sample type.
func timeWarps[T warp.Sample](b *bench, kind string, top float64) error {
	src, err := warp.NewFrame(warp.FrameSpec[T]{Width: b.width, Height: b.height, Channels: channels})
	if err != nil {
		return err
	}
	paintPlate(src, top)
	w, h := b.target.Size()
	pix := make([]T, w*h*channels)
	dst, err := warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: channels, Pix: pix})
	if err != nil {
		return err
	}
	file := filepath.Join(b.folder, "source")
	if err := writeFrame(file, src); err != nil {
		return err
	}
	if _, err := b.py.ask("source", kind, b.width, b.height, channels); err != nil {
		return err
	}
	if err := os.Remove(file); err != nil {
		return err
	}
	if _, err := b.py.ask("build"); err != nil {
		return err
	}
	if _, err := b.py.ask("fix"); err != nil {
		return err
	}
	mpx := float64(w*h) / 1e6
	ours := func(opts warp.Options) func() error {
		return func() error { return warp.Warp(context.Background(), dst, src, b.toView, opts) }
	}
	theirs := make([]T, len(pix))
	unit := " codes"
	if top == 1 {
		unit = " of 1"
	}
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
		name := fmt.Sprintf("%s %s", kind, c.name)
		if !b.cases.MatchString(name) {
			continue
		}
		ask := func(maps string) func() (float64, error) {
			return func() (float64, error) { return b.py.ask("remap", c.theirs, maps) }
		}
		run := ours(warp.Options{Filter: c.filter, Minify: warp.PointSample, Workers: 1})
		best, err := turns(b.rounds, run, ask("fixed"), ask("maps"))
		if err != nil {
			return err
		}
		if _, err := b.py.ask("write"); err != nil {
			return err
		}
		d, err := against(filepath.Join(b.folder, "out"), theirs, pix)
		if err != nil {
			return err
		}
		if bound := slope/32*top + min(top-1, 1); c.filter == warp.Bilinear && d.largest > bound {
			return fmt.Errorf("%s: differs from OpenCV's by %.3g, which positions explain to %.3g", name, d.largest, bound)
		}
		b.line(name+", remap", mpx, best, d.String()+unit+c.remark)
		if c.filter == warp.Nearest {
			continue
		}
		if best, err = turns((b.rounds+1)/2, ours(warp.Options{Filter: c.filter, Workers: 1})); err != nil {
			return err
		}
		b.line(name+", footprints", mpx, best, "no peer has them")
		if kind == "uint16" && c.filter != warp.Lanczos3 {
			for _, how := range []warp.Minify{warp.PointSample, warp.AntiAlias} {
				one, err := turns((b.rounds+1)/2, ours(warp.Options{Filter: c.filter, Minify: how, Workers: 1}))
				if err != nil {
					return err
				}
				two, err := turns((b.rounds+1)/2, ours(warp.Options{Filter: c.filter, Minify: how, Workers: 2}))
				if err != nil {
					return err
				}
				what := ", two workers"
				if how == warp.AntiAlias {
					what = ", footprints, two workers"
				}
				b.line(name+what, mpx, two, fmt.Sprintf("%.2f times one", one.ours/two.ours))
			}
		}
	}
	if name := kind + " pixel means"; b.cases.MatchString(name) {
		best, err := turns(b.rounds, ours(warp.Options{Minify: warp.PixelMean, Workers: 1}))
		if err != nil {
			return err
		}
		b.line(name, mpx, best, "8 × 8 taps; no peer has them")
	}
	if name := kind + " map and bilinear together"; kind != "float32" && b.cases.MatchString(name) {
		best, err := turns(b.rounds, func() error {
			m, err := b.newMap(1)
			if err != nil {
				return err
			}
			return warp.Warp(context.Background(), dst, src, m, warp.Options{Minify: warp.PointSample, Workers: 1})
		}, func() (float64, error) { return b.py.ask("build_and_remap", "linear") })
		if err != nil {
			return err
		}
		b.line(name, mpx, best, "initUndistortRectifyMap and remap")
	}
	if _, err := b.py.ask("forget_frames"); err != nil {
		return err
	}
	if kind == "float32" {
		return nil
	}
	return timeFFmpeg(b, kind, src, dst, pix)
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

// against reads what a peer made and compares it with ours.
func against[T warp.Sample](path string, theirs, ours []T) (d *deviation, err error) {
	if err := read(path, theirs); err != nil {
		return nil, err
	}
	d = &deviation{}
	for i, v := range ours {
		d.add(math.Abs(float64(v) - float64(theirs[i])))
	}
	return d, nil
}

// A panorama of the whole sphere from four fisheyes.
const (
	panoramaWidth, panoramaHeight = 16384, 8192
	layerSide                     = 4096
	layerAcross                   = 190 * projection.Degree
	feather                       = 200
	// Of the panorama's rows, OpenCV does so many strips of so many: maps and
	// weights of all of them would take 5 GB.
	strips, stripRows = 8, 64
)

func (b *bench) blends(shrink int) error {
	const name = "uint8 panorama from four fisheyes"
	if !b.cases.MatchString(name) {
		return nil
	}
	w, h, side := panoramaWidth/shrink, panoramaHeight/shrink, layerSide/shrink
	rows := max(stripRows/shrink, 4)
	sphere, err := panorama.NewEquirect(w, h, projection.Pose{})
	if err != nil {
		return err
	}
	dst, err := warp.NewFrame(warp.FrameSpec[uint8]{Width: w, Height: h, Channels: channels})
	if err != nil {
		return err
	}
	var layers []warp.Layer[uint8]
	var cameras []projection.Camera
	focal := float64(side) / float64(layerAcross)
	start := time.Now()
	for i := range 4 {
		c, err := projection.NewCamera(projection.CameraSpec{
			Model: projection.Equidistant, FocalX: focal, FocalY: focal, Width: side, Height: side, MaxAngle: layerAcross / 2,
			Pose: projection.Pose{Heading: 90 * projection.Degree * unit.Angle(i)},
		})
		if err != nil {
			return err
		}
		m, err := warp.NewMap(context.Background(), sphere, c, warp.MapOptions{Workers: 1})
		if err != nil {
			return err
		}
		f, err := warp.NewFrame(warp.FrameSpec[uint8]{Width: side, Height: side, Channels: channels})
		if err != nil {
			return err
		}
		paintPlate(f, 255)
		cameras = append(cameras, c)
		layers = append(layers, warp.Layer[uint8]{Frame: f, Map: m, Feather: feather / float64(shrink)})
	}
	mpx := float64(w*h) / 1e6
	b.line("panorama: four maps", mpx, pair{time.Since(start).Seconds(), math.Inf(1)}, "ours alone")

	// For OpenCV, the positions and the weights of its strips.
	part := float64(strips*rows) / float64(h)
	rowOf := func(i int) int { return (i/rows*2+1)*h/(2*strips) + i%rows }
	n := strips * rows * w
	total, smooth := make([]float32, n), func(t float64) float64 {
		t = min(max(t, 0), 1)
		return t * t * (3 - 2*t)
	}
	all := make([][]float32, len(layers))
	largest := make([]float64, n)
	for pass := range 2 {
		for k, l := range layers {
			xs, ys := make([]float32, n), make([]float32, n)
			if pass == 1 {
				all[k] = make([]float32, n)
			}
			for i := range n {
				x, y, ok := l.Map.At(float64(i%w)+0.5, float64(rowOf(i/w))+0.5)
				if !ok {
					xs[i], ys[i] = -100, -100
					continue
				}
				xs[i], ys[i] = float32(x-0.5), float32(y-0.5)
				margin := cameras[k].Margin(x, y)
				if pass == 0 {
					largest[i] = max(largest[i], margin)
					continue
				}
				weight := smooth(margin/l.Feather) * smooth(1+(margin-largest[i])/l.Feather)
				all[k][i] = float32(weight)
				total[i] += float32(weight)
			}
			if pass == 0 {
				continue
			}
			if err := errors.Join(
				write(filepath.Join(b.folder, fmt.Sprint("xs", k)), xs), write(filepath.Join(b.folder, fmt.Sprint("ys", k)), ys),
				writeFrame(filepath.Join(b.folder, fmt.Sprint("layer", k)), l.Frame),
			); err != nil {
				return err
			}
		}
	}
	for k := range layers {
		for i := range total {
			if total[i] > 0 {
				all[k][i] /= total[i]
			}
		}
		if err := write(filepath.Join(b.folder, fmt.Sprint("weights", k)), all[k]); err != nil {
			return err
		}
	}
	all, largest, total = nil, nil, nil
	if _, err := b.py.ask("layers", len(layers), side, channels, w, strips*rows, strips); err != nil {
		return err
	}
	blend := func(workers int) func() error {
		return func() error {
			return warp.Blend(context.Background(), dst, layers, warp.Options{Workers: workers})
		}
	}
	remapped := math.Inf(1)
	rounds := (b.rounds + 1) / 2
	best, err := turns(rounds, blend(1), func() (float64, error) {
		took, err := b.py.ask("blend", 0)
		remapped = min(remapped, took)
		if err != nil {
			return 0, err
		}
		return b.py.ask("blend", 1)
	})
	if err != nil {
		return err
	}
	if _, err := b.py.ask("write_joined"); err != nil {
		return err
	}
	theirs := make([]uint8, n*channels)
	if err := read(filepath.Join(b.folder, "out"), theirs); err != nil {
		return err
	}
	var d deviation
	for i := range strips * rows {
		for k, v := range dst.Row(rowOf(i)) {
			d.add(math.Abs(float64(v) - float64(theirs[i*w*channels+k])))
		}
	}
	b.line(name+", four remaps", mpx, pair{best.ours, remapped / part}, fmt.Sprintf("theirs without weights; 1 row in %.0f stands for all", 1/part))
	b.line(name+", remaps, weights", mpx, pair{best.ours, best.theirs / part}, d.String()+" codes; maps and weights given")
	two, err := turns(rounds, blend(2))
	if err != nil {
		return err
	}
	b.line(name+", two workers", mpx, two, fmt.Sprintf("%.2f times one", best.ours/two.ours))
	return nil
}
