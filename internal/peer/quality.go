package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strings"

	"example.com/platewright/internal/peer/scenes"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// picture is a scene. Its arguments are the size of the coarser pixels, those
// of the source or of the target, in source pixels, and the side of the
// source.
type picture struct {
	name string
	draw func(coarse, side float64) scenes.Scene
}

// inside scales a scene from coarse pixels to source pixels.
func inside(s scenes.Scene, coarse float64) scenes.Scene {
	return func(x, y float64) float64 { return s(x/coarse, y/coarse) }
}

func grating(f, angle float64) func(coarse, side float64) scenes.Scene {
	s, c := math.Sincos(angle)
	return func(coarse, _ float64) scenes.Scene { return inside(scenes.Grating(f*c, f*s, 1), coarse) }
}

// The pictures. Frequencies are in cycles per coarse pixel.
var pictures = []picture{
	{"zone plate to 0.45", func(coarse, side float64) scenes.Scene {
		return scenes.ZonePlate(side/2, side/2, side/2, 0.45/coarse)
	}},
	{"zone plate to 0.5 of the source", func(_, side float64) scenes.Scene { return scenes.ZonePlate(side/2, side/2, side/2, 0.5) }},
	{"grating 0.1 at 20°", grating(0.1, 0.35)},
	{"grating 0.25 at 60°", grating(0.25, 1.05)},
	{"grating 0.4 at 2°", grating(0.4, 0.035)},
	{"edges at 6°", func(coarse, _ float64) scenes.Scene { return inside(scenes.Edges(0.1, 9.3), coarse) }},
	{"edges at 35°", func(coarse, _ float64) scenes.Scene { return inside(scenes.Edges(0.61, 9.3), coarse) }},
	{"stars", func(coarse, _ float64) scenes.Scene { return inside(scenes.Stars(0.7), coarse) }},
}

// methods are our filters, with what each peer has of the same name. An empty
// name means that it has none.
var methods = []struct {
	name   string
	filter warp.Filter
	opencv string // remap's interpolation
	oiio   string // st_warp's filter
	scale  string // the options of FFmpeg's scale
}{
	{"bilinear", warp.Bilinear, "linear", "triangle", "flags=bilinear+accurate_rnd+bitexact"},
	{"Catmull-Rom", warp.CatmullRom, "cubic", "", "flags=bicubic+accurate_rnd+bitexact"},
	{"Mitchell", warp.Mitchell, "", "", ""},
	{"Lanczos", warp.Lanczos3, "lanczos", "lanczos3", "flags=lanczos+accurate_rnd+bitexact:param0=3"},
}

// sheet is a flat raster. As a target it sees, at each position, the position
// to which to maps it.
type sheet struct {
	w, h int
	to   scenes.Affine
}

func (s sheet) Size() (width, height int) { return s.w, s.h }

func (s sheet) Unproject(x, y float64) (r3.Vec, bool) {
	x, y = s.to.At(x, y)
	return r3.Vec{X: x, Y: y, Z: 1}, true
}

func (s sheet) Project(d r3.Vec) (x, y float64, ok bool) {
	return d.X, d.Y, d.X >= 0 && d.Y >= 0 && d.X <= float64(s.w) && d.Y <= float64(s.h)
}

// problem is one line of a table: a square source to resample to a square
// target.
type problem struct {
	side, size int
	pix        []float32 // of the source
	truth      []float32 // of the target
	scale      float64   // source px per target px, in the middle
	margin     int       // px of the target at its edges that do not count
	coded      bool      // all sides read 16-bit codes; else only FFmpeg does

	// The map, from target to source: for our side as rasters that see
	// directions, for the others in closed form.
	target warp.Target
	source warp.Source
	at     func(x, y float64) (float64, float64)
}

// judge runs all sides on problems. Their sources and results are files in a
// folder.
type judge struct {
	py     *peerProcess
	ffmpeg string
	folder string
	cases  *regexp.Regexp

	lines  int
	behind []string // the lines in which PixelMean is behind
}

func (j *judge) file(name string) string { return filepath.Join(j.folder, name) }

// give hands all peers the source and the map.
func (j *judge) give(p problem) error {
	n := p.size * p.size
	xs, ys := make([]float32, n), make([]float32, n)
	wholeX, wholeY := make([]uint16, n), make([]uint16, n)
	for i := range n {
		x, y := p.at(float64(i%p.size)+0.5, float64(i/p.size)+0.5)
		xs[i], ys[i] = float32(x-0.5), float32(y-0.5)
		wholeX[i], wholeY[i] = uint16(x), uint16(y)
	}
	kind, err := "float32", write(j.file("source"), p.pix)
	if p.coded {
		kind, err = "uint16", write(j.file("source"), codes(p.pix))
	}
	if err := errors.Join(err, write(j.file("codes"), codes(p.pix)), write(j.file("xs"), xs), write(j.file("ys"), ys),
		write(j.file("wholex"), wholeX), write(j.file("wholey"), wholeY)); err != nil {
		return err
	}
	if _, err := j.py.ask("source", kind, p.side, p.side, 1); err != nil {
		return err
	}
	if _, err := j.py.ask("maps", p.size, p.size); err != nil {
		return err
	}
	_, err = j.py.ask("st")
	return err
}

// python returns what the Python process makes of the problem it was given.
func (j *judge) python(p problem, words ...any) ([]float32, error) {
	if _, err := j.py.ask(words...); err != nil {
		return nil, err
	}
	if _, err := j.py.ask("write"); err != nil {
		return nil, err
	}
	if p.coded {
		return j.decoded(p)
	}
	made := make([]float32, p.size*p.size)
	return made, read(j.file("out"), made)
}

// decoded reads a result in 16-bit codes.
func (j *judge) decoded(p problem) ([]float32, error) {
	made := make([]uint16, p.size*p.size)
	err := read(j.file("out"), made)
	return decode(made), err
}

// gray is how FFmpeg is told of a square of 16-bit codes in a file.
func (j *judge) gray(side int, name string) []string {
	return []string{"-f", "rawvideo", "-pix_fmt", "gray16le", "-video_size", fmt.Sprintf("%dx%d", side, side), "-i", j.file(name)}
}

// filtered returns what a filter of FFmpeg makes of the source.
func (j *judge) filtered(p problem, filter string) ([]float32, error) {
	args := append(j.gray(p.side, "codes"), "-vf", filter, "-f", "rawvideo", "-pix_fmt", "gray16le", j.file("out"))
	if _, err := runFFmpeg(j.ffmpeg, args...); err != nil {
		return nil, err
	}
	return j.decoded(p)
}

// nearest returns what FFmpeg's remap makes of the problem. It takes whole
// pixels: each is the one that the position is in.
func (j *judge) nearest(p problem) ([]float32, error) {
	args := append(append(j.gray(p.side, "codes"), j.gray(p.size, "wholex")...), j.gray(p.size, "wholey")...)
	args = append(args, "-filter_complex", "[0][1][2]remap", "-f", "rawvideo", "-pix_fmt", "gray16le", j.file("out"))
	if _, err := runFFmpeg(j.ffmpeg, args...); err != nil {
		return nil, err
	}
	return j.decoded(p)
}

// scaled returns what FFmpeg's scale filter makes of the source.
func (j *judge) scaled(p problem, how string) ([]float32, error) {
	return j.filtered(p, fmt.Sprintf("scale=%d:%d:%s", p.size, p.size, how))
}

// ours returns what we make of the problem.
func (p problem) ours(opts warp.Options) ([]float32, error) {
	if p.coded {
		made, err := resample(p, codes(p.pix), opts)
		return decode(made), err
	}
	return resample(p, p.pix, opts)
}

func resample[T warp.Sample](p problem, pix []T, opts warp.Options) ([]T, error) {
	src, err := warp.NewFrame(warp.FrameSpec[T]{Width: p.side, Height: p.side, Channels: 1, Pix: pix})
	if err != nil {
		return nil, err
	}
	out := make([]T, p.size*p.size)
	dst, err := warp.NewFrame(warp.FrameSpec[T]{Width: p.size, Height: p.size, Channels: 1, Pix: out})
	if err != nil {
		return nil, err
	}
	m, err := warp.NewMap(context.Background(), p.target, p.source, warp.MapOptions{})
	if err != nil {
		return nil, err
	}
	return out, warp.Warp(context.Background(), dst, src, m, opts)
}

// column is a method in a table of PSNRs. A nil run leaves the cell empty.
type column struct {
	name string
	run  func() ([]float32, error)
}

// stFilters are the filters of st_warp that are compared.
var stFilters = []string{"box", "triangle", "lanczos3"}

// ourColumns are our filters with AntiAlias, and PixelMean as the last.
func ourColumns(p problem) []column {
	var columns []column
	for _, m := range methods {
		columns = append(columns, column{m.name, func() ([]float32, error) { return p.ours(warp.Options{Filter: m.filter}) }})
	}
	return append(columns, column{"PixelMean", func() ([]float32, error) { return p.ours(warp.Options{Minify: warp.PixelMean}) }})
}

// theirColumns are what every table has of the peers.
func (j *judge) theirColumns(p problem) []column {
	var columns []column
	for _, how := range []string{"linear", "cubic", "lanczos"} {
		columns = append(columns, column{"cv " + how, func() ([]float32, error) { return j.python(p, "remap", how, "maps") }})
	}
	for _, how := range stFilters {
		columns = append(columns, column{"st " + how, func() ([]float32, error) { return j.python(p, "st_warp", how, 1, p.size, 1) }})
	}
	for _, how := range stFilters {
		wide := column{name: "wide " + how}
		if p.scale > 1 {
			wide.run = func() ([]float32, error) { return j.python(p, "st_warp", how, p.scale, p.size, 1) }
		}
		columns = append(columns, wide)
	}
	return append(columns, column{"ff nearest", func() ([]float32, error) { return j.nearest(p) }})
}

// scaleColumns are FFmpeg's other way to scale in place.
func (j *judge) scaleColumns(p problem) (columns []column) {
	for _, m := range methods {
		if m.scale != "" {
			columns = append(columns, column{"scale " + m.name, func() ([]float32, error) { return j.scaled(p, m.scale) }})
		}
	}
	return columns
}

// row prints the cells of a line of a table: the first two at fixed widths,
// the others as wide as their heads.
func row(name, magnification string, heads, cells []string) {
	fmt.Printf("| %-31s | %5s |", name, magnification)
	for i, c := range cells {
		fmt.Printf(" %*s |", len([]rune(heads[i])), c)
	}
	fmt.Println()
}

// heads prints the head of a table and returns its columns' names.
func heads(ours, theirs []column) []string {
	var names []string
	for _, c := range append(ours, theirs...) {
		names = append(names, c.name)
	}
	names = append(names, "best of theirs", "PixelMean ahead by")
	row("scene", "magn.", names, names)
	rule := make([]string, len(names))
	for i, n := range names {
		rule[i] = strings.Repeat("-", len([]rune(n))-1) + ":"
	}
	row(strings.Repeat("-", 31), "----:", names, rule)
	return names
}

// compare prints a line of a table: the PSNR of each method.
func (j *judge) compare(name string, magnification float64, p problem, ours, theirs []column, heads []string) error {
	if err := j.give(p); err != nil {
		return err
	}
	var cells []string
	var mean float64 // of PixelMean
	best := math.Inf(-1)
	for i, c := range append(ours, theirs...) {
		if c.run == nil {
			cells = append(cells, "")
			continue
		}
		made, err := c.run()
		if err != nil {
			return fmt.Errorf("%s, %v, %s: %w", name, magnification, c.name, err)
		}
		psnr := middle(made, p.truth, p.size, p.margin)
		cells = append(cells, fmt.Sprintf("%.1f", psnr))
		if i < len(ours) {
			mean = psnr
		} else {
			best = max(best, psnr)
		}
	}
	ahead := fmt.Sprintf("%.1f", mean-best)
	j.lines++
	if mean < min(best, rounding)-0.05 {
		ahead += " behind"
		j.behind = append(j.behind, fmt.Sprintf("%s at %v", name, magnification))
	}
	row(name, fmt.Sprint(magnification), heads, append(cells, fmt.Sprintf("%.1f", best), ahead))
	return nil
}

// points is the number of sample points along each side of a pixel in the
// integration of a scene, over the finer pixels of source and target.
const points = 16

// rounding is the PSNR, in dB, beyond which 16-bit codes tell nothing: theirs,
// rounded at best, have 107.
const rounding = 100

// truthPoints are as many along each side of a pixel of the target.
func truthPoints(scale float64) int { return int(math.Ceil(points * max(scale, 1))) }

// quality prints how near resampled frames come to the means of the scene over
// the pixels of the target, in dB.
func quality(python, ffmpeg, folder string, cases *regexp.Regexp) (err error) {
	py, err := startPython(python, warpScript, folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, py.stop()) }()
	ff, err := version(ffmpeg)
	if err != nil {
		return err
	}
	j := &judge{py: py, ffmpeg: ffmpeg, folder: folder, cases: cases}
	fmt.Printf(`%s; %s
PSNR in dB against the scene's means over the target's pixels. Every side gets the same source and map.
Ours: four filters with AntiAlias, and PixelMean, which is marked where it is behind the best of theirs by 0.05 dB or more,
unless it has 100 dB, where the rounding of codes decides.
cv: OpenCV's remap (cubic a = -0.75, Lanczos of 8 × 8 taps, positions to 1/32 px, no filter for what is too fine).
st: OpenImageIO's st_warp, whose filters have one width for the whole frame; wide: widened by the scale in the middle, where that is above 1.
ff: FFmpeg's remap, which takes whole pixels and so can only do nearest; it reads 16-bit codes.
`, py.version, ff)
	for _, table := range []func() error{j.turned, j.inPlace, j.sphere} {
		if err := table(); err != nil {
			return err
		}
	}
	fmt.Printf("\nPixelMean is behind the best of theirs in %d of %d lines. %s\n", len(j.behind), j.lines, strings.Join(j.behind, "; "))
	return j.responses()
}

// each calls f for the problems of a table that were chosen, with the heads
// printed before the first.
func (j *judge) each(title string, pictures []picture, magnifications []float64, set func(picture, float64) (problem, error), more func(problem) []column) error {
	fmt.Printf("\n%s\n\n", title)
	var names []string
	for _, pic := range pictures {
		for _, magnification := range magnifications {
			if !j.cases.MatchString(fmt.Sprintf("%s %v", pic.name, magnification)) {
				continue
			}
			p, err := set(pic, magnification)
			if err != nil {
				return err
			}
			ours, theirs := ourColumns(p), append(j.theirColumns(p), more(p)...)
			if names == nil {
				names = heads(ours, theirs)
			}
			if err := j.compare(pic.name, magnification, p, ours, theirs, names); err != nil {
				return err
			}
		}
	}
	return nil
}

// turned compares frames that are turned, moved and scaled.
func (j *judge) turned() error {
	set := func(pic picture, magnification float64) (problem, error) {
		scale, side := 1/magnification, 128
		if scale > 1 {
			side = 288
		}
		size := min(96, int(0.7*float64(side)/scale))
		to := scenes.Turned(size, size, scale, 0.3, float64(side)/2+0.37, float64(side)/2-0.21)
		return flat(pic.draw(max(scale, 1), float64(side)), side, size, scale, to), nil
	}
	return j.each("Turned by 17° and moved by parts of a pixel, float32", pictures, []float64{0.25, 0.5, 0.7, 1, 1.5, 2, 4}, set,
		func(problem) []column { return nil })
}

// inPlace compares frames that are only scaled.
func (j *judge) inPlace() error {
	set := func(pic picture, magnification float64) (problem, error) {
		scale, side := 1/magnification, 64
		if scale > 1 {
			side = 256
		}
		p := flat(pic.draw(max(scale, 1), float64(side)), side, int(float64(side)*magnification), scale, scenes.Affine{XX: scale, YY: scale})
		p.margin, p.coded = int(4*max(magnification, 1)), true
		return p, nil
	}
	return j.each("Scaled in place, uint16, without the edges; scale: FFmpeg's, which needs no map (cubic B = 0, C = 0.6) and whose weights widen where it minifies",
		pictures, []float64{0.25, 0.5, 0.75, 1.5, 2, 4}, set, j.scaleColumns)
}

// flat is a problem between two flat rasters.
func flat(scene scenes.Scene, side, size int, scale float64, to scenes.Affine) problem {
	return problem{
		side: side, size: size, scale: scale,
		pix:    scenes.Frame(scene, side, side, points, scenes.Affine{XX: 1, YY: 1}),
		truth:  scenes.Frame(scene, size, size, truthPoints(scale), to),
		target: sheet{size, size, to}, source: sheet{w: side, h: side}, at: to.At,
	}
}

// responses prints the contrast that is left of waves where frames are
// minified. Waves that a target can hold should stay, finer ones should go. A
// mean over the target's pixels, which is the truth above, leaves sinc f of a
// wave: of waves just too fine, which alias, still more than half.
func (j *judge) responses() error {
	fmt.Print(`
Contrast left of waves of so many cycles a target pixel at 25° to its axes, dB: ours with AntiAlias / OpenCV's remap / OpenImageIO's st_warp, widened / FFmpeg's scale; from 0.5 on less is better

`)
	var names []string
	for _, m := range methods {
		names = append(names, fmt.Sprintf("%-23s", m.name))
	}
	row("scene", "magn.", names, names)
	rule := strings.Repeat("-", 23)
	row(strings.Repeat("-", 31), "----:", names, []string{rule, rule, rule, rule})
	for _, magnification := range []float64{0.25, 0.5, 0.75} {
		for _, f := range []float64{0.125, 0.25, 0.375, 0.55, 0.65, 0.8, 0.95} {
			name := fmt.Sprintf("wave %v", f)
			if !j.cases.MatchString(fmt.Sprintf("%s %v", name, magnification)) || f*magnification > 0.48 {
				continue
			}
			const side = 256
			s, c := math.Sincos(25 * math.Pi / 180)
			p := flat(scenes.Grating(f*magnification*c, f*magnification*s, 1), side, int(side*magnification),
				1/magnification, scenes.Affine{XX: 1 / magnification, YY: 1 / magnification})
			if err := j.give(p); err != nil {
				return err
			}
			var cells []string
			for _, m := range methods {
				columns := []column{{"", func() ([]float32, error) { return p.ours(warp.Options{Filter: m.filter}) }}}
				if m.opencv != "" {
					columns = append(columns, column{"", func() ([]float32, error) { return j.python(p, "remap", m.opencv, "maps") }})
				}
				if m.oiio != "" {
					columns = append(columns, column{"", func() ([]float32, error) { return j.python(p, "st_warp", m.oiio, p.scale, p.size, 1) }})
				} else if m.opencv != "" {
					columns = append(columns, column{})
				}
				if m.scale != "" {
					columns = append(columns, column{"", func() ([]float32, error) { return j.scaled(p, m.scale) }})
				}
				var parts []string
				for _, col := range columns {
					if col.run == nil {
						parts = append(parts, "none")
						continue
					}
					made, err := col.run()
					if err != nil {
						return err
					}
					parts = append(parts, fmt.Sprintf("%.1f", contrast(made, p.size)))
				}
				cells = append(cells, strings.Join(parts, "/"))
			}
			row(name, fmt.Sprint(magnification), names, cells)
		}
	}
	return nil
}

// contrast is what is left of a wave, in dB.
func contrast(pix []float32, size int) float64 {
	sum, count := 0.0, 0
	for y := 6; y < size-6; y++ {
		for x := 6; x < size-6; x++ {
			d := float64(pix[y*size+x]) - 0.5
			sum += d * d
			count++
		}
	}
	return 10 * math.Log10(sum/float64(count)/(scenes.GratingAmplitude*scenes.GratingAmplitude/2))
}

// codes returns samples as 16-bit codes.
func codes(pix []float32) []uint16 {
	out := make([]uint16, len(pix))
	for i, v := range pix {
		out[i] = uint16(v*65535 + 0.5)
	}
	return out
}

// decode returns 16-bit codes as samples from 0 to 1.
func decode(pix []uint16) []float32 {
	out := make([]float32, len(pix))
	for i, v := range pix {
		out[i] = float32(v) / 65535
	}
	return out
}

// middle returns the PSNR of a square without its margins.
func middle(pix, truth []float32, size, margin int) float64 {
	var a, b []float32
	for y := margin; y < size-margin; y++ {
		a = append(a, pix[y*size+margin:(y+1)*size-margin]...)
		b = append(b, truth[y*size+margin:(y+1)*size-margin]...)
	}
	return scenes.PSNR(a, b)
}
