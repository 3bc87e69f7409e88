package main

import (
	"bytes"
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

// timeFFmpeg times FFmpeg's two filters that do such work. They take integer
// samples.
func timeFFmpeg[T warp.Sample](t *timing[T]) error {
	format, ok := map[string]string{"uint8": "gbrp", "uint16": "gbrp16le"}[t.kind]
	if !ok {
		return nil
	}
	cases := []struct {
		filter       warp.Filter
		name, theirs string
		remark       string
	}{
		{warp.Bilinear, "bilinear, ff v360", "linear", ""},
		{warp.CatmullRom, "bicubic, ff v360", "cubic", "; ours Catmull-Rom, theirs Lagrange"},
		{warp.Lanczos3, "Lanczos, ff v360", "lanczos", "; ours 6 × 6 taps, theirs 4 × 4"},
		{warp.Nearest, "nearest, ff remap", "", "; nearest is all that remap has"},
	}
	chosen := cases[:0]
	for _, c := range cases {
		if t.cases.MatchString(t.kind + " " + c.name) {
			chosen = append(chosen, c)
		}
	}
	if len(chosen) == 0 {
		return nil
	}
	if err := t.load(); err != nil {
		return err
	}
	w, h := t.target.Size()
	file := func(name string) string { return filepath.Join(t.folder, name) }
	defer os.Remove(file("planes"))
	if err := writePlanes(file("planes"), t.frames.src); err != nil {
		return err
	}
	// The remap filter counts whole pixels.
	xs, ys := make([]uint16, w*h), make([]uint16, w*h)
	for i := range xs {
		x, y, ok := t.toView.At(float64(i%w)+0.5, float64(i/w)+0.5)
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
	in := raw(format, t.width, t.height, "planes")
	maps := append(raw("gray16le", w, h, "mapx"), raw("gray16le", w, h, "mapy")...)
	const again = "loop=loop=-1:size=1"
	across, down := float64(t.width-1)/t.focal()*180/math.Pi, float64(t.height-1)/t.focal()*180/math.Pi
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
		return runFFmpeg(t.ffmpeg, append(in[:len(in):len(in)], "-vf", again+",null", "-frames:v", fmt.Sprint(frames), "-f", "null", "-")...)
	})
	if err != nil {
		return err
	}
	for _, c := range chosen {
		// A run of FFmpeg's is many frames, so it comes once, before our turns.
		theirs, err := perFrame((t.rounds+1)/2, func(frames int) (time.Duration, error) {
			return runFFmpeg(t.ffmpeg, arguments(c.theirs, frames, "-f", "null", "-")...)
		})
		if err != nil {
			return err
		}
		if theirs -= max(nothing, 0); theirs <= 0 {
			theirs = math.Inf(1)
			c.remark += "; too short to time"
		}
		err = t.run(contest{
			name: t.kind + " " + c.name, mpx: float64(w*h) / 1e6, rounds: t.rounds, goal: goalSameWork,
			ours: func(workers int) error {
				return t.frames.warp(warp.Options{Filter: c.filter, Minify: warp.PointSample, Workers: workers})
			},
			theirs: []func() (float64, error){func() (float64, error) { return theirs, nil }},
			remark: func() (string, error) {
				if _, err := runFFmpeg(t.ffmpeg, arguments(c.theirs, 1, "-f", "rawvideo", "-pix_fmt", format, file("out"))...); err != nil {
					return "", err
				}
				if err := read(file("out"), t.theirs); err != nil {
					return "", err
				}
				var d deviation
				for i, v := range t.frames.pix {
					for n, plane := range planes {
						if plane == i%channels {
							d.add(math.Abs(float64(v) - float64(t.theirs[n*w*h+i/channels])))
						}
					}
				}
				return d.String() + t.unit + c.remark, nil
			},
		})
		if err != nil {
			return err
		}
	}
	return nil
}
