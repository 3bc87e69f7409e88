package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
)

// planes are the channels in FFmpeg's order, green first.
var planes = [channels]int{1, 2, 0}

// writePlanes writes a frame of three channels plane by plane.
func writePlanes[T warp.Sample](path string, f warp.Frame[T]) error {
	w, h := f.Size()
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	line := make([]T, w)
	for _, c := range planes {
		for y := 0; y < h && err == nil; y++ {
			for x, row := 0, f.Row(y); x < w; x++ {
				line[x] = row[x*channels+c]
			}
			err = binary.Write(out, binary.LittleEndian, line)
		}
	}
	return errors.Join(err, out.Close())
}

// runFFmpeg returns the user time of a run on one thread.
func runFFmpeg(ffmpeg string, args ...string) (time.Duration, error) {
	cmd := exec.Command(ffmpeg, append([]string{"-v", "error", "-y", "-nostdin", "-threads", "1", "-filter_threads", "1", "-filter_complex_threads", "1"}, args...)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		return 0, fmt.Errorf("%s: %w: %s", ffmpeg, err, said.String())
	}
	return cmd.ProcessState.UserTime(), nil
}

// perFrame returns the user time per frame: the slope between one frame and
// several, so that reading the source and making tables, done once, do not
// count.
func perFrame(rounds int, run func(frames int) (time.Duration, error)) (seconds float64, err error) {
	const several = 6
	few, many := math.Inf(1), math.Inf(1)
	for range rounds {
		for n, best := range map[int]*float64{1: &few, several: &many} {
			took, err := run(n)
			if err != nil {
				return 0, err
			}
			*best = min(*best, took.Seconds())
		}
	}
	return (many - few) / (several - 1), nil
}

// timeFFmpeg times FFmpeg's two filters that do such work on the source.
func timeFFmpeg[T warp.Sample](b *bench, kind string, src, dst warp.Frame[T], pix []T) error {
	cases := []struct {
		filter       warp.Filter
		name, theirs string
		remark       string
	}{
		{warp.Bilinear, "bilinear", "linear", ""},
		{warp.CatmullRom, "bicubic", "cubic", "ours Catmull-Rom, theirs Lagrange"},
		{warp.Lanczos3, "Lanczos", "lanczos", "ours 6 × 6 taps, theirs 4 × 4"},
		{warp.Nearest, "nearest", "", "remap: nearest is all it has"},
	}
	title := func(name, theirs string) string {
		if theirs == "" {
			return fmt.Sprintf("%s %s, FFmpeg remap", kind, name)
		}
		return fmt.Sprintf("%s %s, FFmpeg v360", kind, name)
	}
	any := false
	for _, c := range cases {
		any = any || b.cases.MatchString(title(c.name, c.theirs))
	}
	if !any {
		return nil
	}
	w, h := b.target.Size()
	format := "gbrp"
	if kind == "uint16" {
		format = "gbrp16le"
	}
	file := func(name string) string { return filepath.Join(b.folder, name) }
	defer os.Remove(file("planes"))
	if err := writePlanes(file("planes"), src); err != nil {
		return err
	}
	// The remap filter counts whole pixels.
	xs, ys := make([]uint16, w*h), make([]uint16, w*h)
	for i := range xs {
		x, y, ok := b.toView.At(float64(i%w)+0.5, float64(i/w)+0.5)
		if !ok {
			x, y = 65535, 65535
		}
		xs[i], ys[i] = uint16(x), uint16(y)
	}
	if err := errors.Join(write(file("mapx"), xs), write(file("mapy"), ys)); err != nil {
		return err
	}
	raw := func(format string, w, h int, name string) []string {
		return []string{"-f", "rawvideo", "-pix_fmt", format, "-video_size", fmt.Sprintf("%dx%d", w, h), "-i", file(name)}
	}
	in := raw(format, b.width, b.height, "planes")
	maps := append(raw("gray16le", w, h, "mapx"), raw("gray16le", w, h, "mapy")...)
	const again = "loop=loop=-1:size=1"
	across, down := float64(b.width-1)/b.focal()*180/math.Pi, float64(b.height-1)/b.focal()*180/math.Pi
	viewDown := 2 * math.Atan(math.Tan(float64(viewAcross)/2)*float64(h)/float64(w)) * 180 / math.Pi
	arguments := func(theirs string, frames int, end ...string) []string {
		var args []string
		if theirs == "" {
			args = append(append(args, in...), maps...)
			args = append(args, "-filter_complex", fmt.Sprintf("[0]%s[a];[1]%s[b];[2]%s[c];[a][b][c]remap", again, again, again))
		} else {
			args = append(append(args, in...), "-vf", fmt.Sprintf(
				"%s,v360=input=fisheye:output=flat:ih_fov=%.9f:iv_fov=%.9f:h_fov=%.9f:v_fov=%.9f:yaw=%.9f:pitch=%.9f:w=%d:h=%d:interp=%s",
				again, across, down, float64(viewAcross/projection.Degree), viewDown, float64(heading/projection.Degree), float64(elevation/projection.Degree), w, h, theirs))
		}
		return append(append(args, "-frames:v", fmt.Sprint(frames)), end...)
	}
	nothing, err := perFrame(2, func(frames int) (time.Duration, error) {
		return runFFmpeg(b.ffmpeg, append(in[:len(in):len(in)], "-vf", again+",null", "-frames:v", fmt.Sprint(frames), "-f", "null", "-")...)
	})
	if err != nil {
		return err
	}
	theirs := make([]T, len(pix))
	for _, c := range cases {
		name := title(c.name, c.theirs)
		if !b.cases.MatchString(name) {
			continue
		}
		best, err := turns(b.rounds, func() error {
			return warp.Warp(context.Background(), dst, src, b.toView, warp.Options{Filter: c.filter, Minify: warp.PointSample, Workers: 1})
		})
		if err != nil {
			return err
		}
		best.theirs, err = perFrame((b.rounds+1)/2, func(frames int) (time.Duration, error) {
			return runFFmpeg(b.ffmpeg, arguments(c.theirs, frames, "-f", "null", "-")...)
		})
		if err != nil {
			return err
		}
		best.theirs -= max(nothing, 0)
		if _, err := runFFmpeg(b.ffmpeg, arguments(c.theirs, 1, "-f", "rawvideo", "-pix_fmt", format, file("out"))...); err != nil {
			return err
		}
		if err := read(file("out"), theirs); err != nil {
			return err
		}
		var d deviation
		for i, v := range pix {
			at := i / channels
			for n, c := range planes {
				if c == i%channels {
					d.add(math.Abs(float64(v) - float64(theirs[n*w*h+at])))
				}
			}
		}
		remark := d.String() + " codes"
		if c.remark != "" {
			remark += "; " + c.remark
		}
		b.line(name, float64(w*h)/1e6, best, remark)
	}
	return nil
}
