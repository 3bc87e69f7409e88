package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"regexp"

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

var methods = []struct {
	name   string
	filter warp.Filter
	opencv string // "": it has none
	scale  string // FFmpeg's; "": it has none
}{
	{"bilinear", warp.Bilinear, "linear", "flags=bilinear+accurate_rnd+bitexact"},
	{"Catmull-Rom", warp.CatmullRom, "cubic", "flags=bicubic+accurate_rnd+bitexact"},
	{"Mitchell", warp.Mitchell, "", ""},
	{"Lanczos", warp.Lanczos3, "lanczos", "flags=lanczos+accurate_rnd+bitexact:param0=3"},
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

// resample warps one channel through an affine map.
func resample[T warp.Sample](pix []T, side, size int, to scenes.Affine, opts warp.Options) ([]T, error) {
	src, err := warp.NewFrame(warp.FrameSpec[T]{Width: side, Height: side, Channels: 1, Pix: pix})
	if err != nil {
		return nil, err
	}
	out := make([]T, size*size)
	dst, err := warp.NewFrame(warp.FrameSpec[T]{Width: size, Height: size, Channels: 1, Pix: out})
	if err != nil {
		return nil, err
	}
	m, err := warp.NewMap(context.Background(), sheet{size, size, to}, sheet{w: side, h: side}, warp.MapOptions{})
	if err != nil {
		return nil, err
	}
	return out, warp.Warp(context.Background(), dst, src, m, opts)
}

// give hands OpenCV a square source and the maps of a square target.
func give(py *peerProcess, folder string, src []float32, side, size int, to scenes.Affine) error {
	xs, ys := make([]float32, size*size), make([]float32, size*size)
	for i := range xs {
		x, y := to.At(float64(i%size)+0.5, float64(i/size)+0.5)
		xs[i], ys[i] = float32(x-0.5), float32(y-0.5)
	}
	file := func(name string) string { return filepath.Join(folder, name) }
	if err := errors.Join(write(file("source"), src), write(file("xs"), xs), write(file("ys"), ys)); err != nil {
		return err
	}
	if _, err := py.ask("source", "float32", side, side, 1); err != nil {
		return err
	}
	_, err := py.ask("maps", size, size)
	return err
}

// remapped returns OpenCV's result for the source and the maps it was given.
func remapped(py *peerProcess, out, filter string, size int) ([]float32, error) {
	if _, err := py.ask("remap", filter, "maps"); err != nil {
		return nil, err
	}
	if _, err := py.ask("write"); err != nil {
		return nil, err
	}
	made := make([]float32, size*size)
	return made, read(out, made)
}

// points is the number of sample points along each side of a pixel in the
// integration of a scene.
const points = 16

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
	fmt.Printf(`%s; %s
PSNR in dB against the scene's means over the target's pixels: ours / theirs, < where ours is behind by 0.05 or more;
last, our PixelMean against the best of theirs

Turned by 17° and moved by parts of a pixel, float32; theirs: OpenCV's remap (cubic a = -0.75, Lanczos of 8 × 8 taps, no filter for what is too fine)
`, py.version, ff)
	titles(14)
	file := func(name string) string { return filepath.Join(folder, name) }
	for _, p := range pictures {
		for _, magnification := range []float64{0.25, 0.5, 0.7, 1, 1.5, 2, 4} {
			name := fmt.Sprintf("%-32s %5v", p.name, magnification)
			if !cases.MatchString(name) {
				continue
			}
			scale := 1 / magnification
			side := 128
			if scale > 1 {
				side = 288
			}
			size := min(96, int(0.7*float64(side)/scale))
			scene := p.draw(max(scale, 1), float64(side))
			to := scenes.Turned(size, size, scale, 0.3, float64(side)/2+0.37, float64(side)/2-0.21)
			src := scenes.Frame(scene, side, side, points, scenes.Affine{XX: 1, YY: 1})
			truth := scenes.Frame(scene, size, size, points, to)
			if err := give(py, folder, src, side, size, to); err != nil {
				return err
			}
			fmt.Print(name)
			best := 0.0 // of theirs, by any filter
			for _, m := range methods {
				seen, err := resample(src, side, size, to, warp.Options{Filter: m.filter})
				if err != nil {
					return err
				}
				theirs := math.NaN()
				if m.opencv != "" {
					made, err := remapped(py, file("out"), m.opencv, size)
					if err != nil {
						return err
					}
					theirs = scenes.PSNR(made, truth)
					best = max(best, theirs)
				}
				cell(scenes.PSNR(seen, truth), theirs)
			}
			seen, err := resample(src, side, size, to, warp.Options{Minify: warp.PixelMean})
			if err != nil {
				return err
			}
			cell(scenes.PSNR(seen, truth), best)
			fmt.Println()
		}
	}
	fmt.Print("\nScaled in place, uint16, without the edges; theirs: FFmpeg's scale (cubic B = 0, C = 0.6), whose weights widen where it minifies\n")
	titles(14)
	for _, p := range pictures {
		for _, magnification := range []float64{0.25, 0.5, 0.75, 1.5, 2, 4} {
			name := fmt.Sprintf("%-32s %5v", p.name, magnification)
			if !cases.MatchString(name) {
				continue
			}
			scale, side := 1/magnification, 64
			if scale > 1 {
				side = 256
			}
			size := int(float64(side) * magnification)
			scene := p.draw(max(scale, 1), float64(side))
			to := scenes.Affine{XX: scale, YY: scale}
			src := codes(scenes.Frame(scene, side, side, points, scenes.Affine{XX: 1, YY: 1}))
			truth := scenes.Frame(scene, size, size, points, to)
			if err := write(file("source"), src); err != nil {
				return err
			}
			fmt.Print(name)
			margin := int(4 * max(magnification, 1))
			best := 0.0
			for _, m := range methods {
				seen, err := resample(src, side, size, to, warp.Options{Filter: m.filter})
				if err != nil {
					return err
				}
				theirs := math.NaN()
				if m.scale != "" {
					made := make([]uint16, size*size)
					if err := scaled(ffmpeg, folder, m.scale, side, size, made); err != nil {
						return err
					}
					theirs = middle(made, truth, size, margin)
					best = max(best, theirs)
				}
				cell(middle(seen, truth, size, margin), theirs)
			}
			seen, err := resample(src, side, size, to, warp.Options{Minify: warp.PixelMean})
			if err != nil {
				return err
			}
			cell(middle(seen, truth, size, margin), best)
			fmt.Println()
		}
	}
	return responses(py, ffmpeg, folder, cases)
}

// responses prints the contrast that is left of waves where frames are
// minified. Waves that a target can hold should stay, finer ones should go. A
// mean over the target's pixels, which is the truth above, leaves sinc f of a
// wave: of waves just too fine, which alias, still more than half.
func responses(py *peerProcess, ffmpeg, folder string, cases *regexp.Regexp) error {
	fmt.Print(`
Contrast left of waves of so many cycles a target pixel at 25° to its axes, dB: ours / OpenCV's remap / FFmpeg's scale; from 0.5 on less is better
`)
	titles(18)
	file := func(name string) string { return filepath.Join(folder, name) }
	for _, magnification := range []float64{0.25, 0.5, 0.75} {
		for _, f := range []float64{0.125, 0.25, 0.375, 0.55, 0.65, 0.8, 0.95} {
			name := fmt.Sprintf("%-32s %5v", fmt.Sprintf("wave %v", f), magnification)
			if !cases.MatchString(name) || f*magnification > 0.48 {
				continue
			}
			const side = 256
			size, s, c := int(side*magnification), math.Sin(25*math.Pi/180), math.Cos(25*math.Pi/180)
			scene := scenes.Grating(f*magnification*c, f*magnification*s, 1)
			src := scenes.Frame(scene, side, side, points, scenes.Affine{XX: 1, YY: 1})
			to := scenes.Affine{XX: 1 / magnification, YY: 1 / magnification}
			contrast := func(pix []float32) float64 {
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
			if err := give(py, folder, src, side, size, to); err != nil {
				return err
			}
			if err := write(file("source"), codes(src)); err != nil {
				return err
			}
			fmt.Print(name)
			for _, m := range methods {
				seen, err := resample(src, side, size, to, warp.Options{Filter: m.filter})
				if err != nil {
					return err
				}
				line := fmt.Sprintf("%.1f", contrast(seen))
				if m.opencv != "" {
					made, err := remapped(py, file("out"), m.opencv, size)
					if err != nil {
						return err
					}
					line += fmt.Sprintf("/%.1f", contrast(made))
				}
				if m.scale != "" {
					made, real := make([]uint16, size*size), make([]float32, size*size)
					if err := scaled(ffmpeg, folder, m.scale, side, size, made); err != nil {
						return err
					}
					for i, v := range made {
						real[i] = float32(v) / 65535
					}
					line += fmt.Sprintf("/%.1f", contrast(real))
				}
				fmt.Printf("  %-18s", line)
			}
			fmt.Println()
		}
	}
	return nil
}

// scaled runs FFmpeg's scale filter on the square of 16-bit samples in the
// file source.
func scaled(ffmpeg, folder, how string, side, size int, out []uint16) error {
	file := func(name string) string { return filepath.Join(folder, name) }
	if _, err := runFFmpeg(ffmpeg, "-f", "rawvideo", "-pix_fmt", "gray16le", "-video_size", fmt.Sprintf("%dx%d", side, side), "-i", file("source"),
		"-vf", fmt.Sprintf("scale=%d:%d:%s", size, size, how), "-f", "rawvideo", "-pix_fmt", "gray16le", file("out")); err != nil {
		return err
	}
	return read(file("out"), out)
}

// titles prints the heads of the columns.
func titles(width int) {
	fmt.Printf("%-32s %5s", "scene", "magn.")
	for _, m := range methods {
		fmt.Printf("  %-*s", width, m.name)
	}
	fmt.Println()
}

// cell prints one comparison.
func cell(ours, theirs float64) {
	switch {
	case theirs != theirs:
		fmt.Printf("  %5.1f         ", ours)
	case ours < theirs-0.05:
		fmt.Printf("  %5.1f / %5.1f <", ours, theirs)
	default:
		fmt.Printf("  %5.1f / %5.1f  ", ours, theirs)
	}
}

// codes returns samples as 16-bit codes.
func codes(pix []float32) []uint16 {
	out := make([]uint16, len(pix))
	for i, v := range pix {
		out[i] = uint16(v*65535 + 0.5)
	}
	return out
}

// middle returns the PSNR of a square without its margins.
func middle(pix []uint16, truth []float32, size, margin int) float64 {
	var a, b []float32
	for y := margin; y < size-margin; y++ {
		for x := margin; x < size-margin; x++ {
			a, b = append(a, float32(pix[y*size+x])/65535), append(b, truth[y*size+x])
		}
	}
	return scenes.PSNR(a, b)
}
