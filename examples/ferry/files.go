package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"math"
	"os"
	"path/filepath"

	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// findPlates finds the file of each camera in a folder and checks its size,
// without decoding the pictures. All faults are reported together.
func findPlates(ctx context.Context, folder string, spec plateSpec) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("-plates %s: %w", folder, cause(err))
	}
	present := map[string]bool{}
	for _, e := range entries {
		present[e.Name()] = true
	}
	var files []string
	var faults []error
	for i, c := range spec.Cameras {
		f := spec.format(i)
		var found []string
		for _, ending := range []string{".png", ".jpg", ".jpeg"} {
			if name := fileName(c.Name) + ending; present[name] {
				found = append(found, filepath.Join(folder, name))
			}
		}
		switch {
		case len(found) == 0:
			faults = append(faults, fmt.Errorf("%s.png: missing: camera %q needs a plate of that name, or .jpg", filepath.Join(folder, fileName(c.Name)), c.Name))
		case len(found) > 1:
			faults = append(faults, fmt.Errorf("%s and %s: camera %q must have one plate", found[0], found[1], c.Name))
		default:
			files = append(files, found[0])
			faults = append(faults, checkSize(ctx, found[0], f.Columns, f.Rows))
		}
	}
	return files, errors.Join(faults...)
}

func checkSize(ctx context.Context, file string, width, height int) error {
	c, err := readConfig(ctx, file)
	if err == nil && (c.Width != width || c.Height != height) {
		err = fmt.Errorf("%s: %d × %d px: must be %d × %d, the format of the camera", file, c.Width, c.Height, width, height)
	}
	return err
}

// checkSphere checks the shape of a panorama without decoding it.
func checkSphere(ctx context.Context, file string) error {
	c, err := readConfig(ctx, file)
	if err == nil && (c.Width != 2*c.Height || c.Height < 2 || c.Width > 1<<16) {
		err = fmt.Errorf("%s: %d × %d px: must be twice as wide as high, and at most 65536 px wide", file, c.Width, c.Height)
	}
	return err
}

func readConfig(ctx context.Context, file string) (image.Config, error) {
	f, err := open(ctx, file)
	if err != nil {
		return image.Config{}, err
	}
	defer f.Close()
	c, _, err := image.DecodeConfig(bufio.NewReader(f))
	if err != nil {
		return c, fmt.Errorf("%s: not a PNG or JPEG picture: %w", file, err)
	}
	return c, nil
}

// readLinear reads a picture of a known size into linear light, three
// channels: 16 bits are linear already, 8 bits are sRGB.
func readLinear(ctx context.Context, file string, width, height int) (frame warp.Frame[uint16], err error) {
	if err := checkSize(ctx, file, width, height); err != nil {
		return frame, inputError{err}
	}
	f, err := open(ctx, file)
	if err != nil {
		return frame, inputError{err}
	}
	defer f.Close()
	img, _, err := image.Decode(bufio.NewReaderSize(f, 1<<16))
	if ctx.Err() != nil {
		return frame, ctx.Err()
	}
	if err != nil {
		return frame, inputError{fmt.Errorf("%s: broken or cut short: %w", file, err)}
	}
	switch p := img.(type) {
	case *image.Gray16, *image.RGBA64, *image.NRGBA64:
		in, err := warp.FromImage[uint16](img)
		if err != nil {
			return frame, inputError{fmt.Errorf("%s: %w", file, err)}
		}
		return threeChannels(in, func(v uint16) uint16 { return v })
	case *image.Paletted:
		// Few plates have a palette; draw its colours out.
		out := image.NewRGBA(p.Rect)
		for y := p.Rect.Min.Y; y < p.Rect.Max.Y; y++ {
			for x := p.Rect.Min.X; x < p.Rect.Max.X; x++ {
				out.Set(x, y, p.At(x, y))
			}
		}
		img = out
	}
	in, err := warp.FromImage[uint8](img)
	if err != nil {
		return frame, inputError{fmt.Errorf("%s: %w", file, err)}
	}
	var linear [256]uint16
	for i := range linear {
		linear[i] = code(65535 * fromSRGB(float64(i)/255))
	}
	return threeChannels(in, func(v uint8) uint16 { return linear[v] })
}

// threeChannels copies a frame to three channels of 16 bits: grey to all
// three, alpha dropped.
func threeChannels[T uint8 | uint16](in warp.Frame[T], convert func(T) uint16) (warp.Frame[uint16], error) {
	w, h := in.Size()
	out, err := newFrame(w, h)
	if err != nil {
		return out, err
	}
	channels := in.Channels()
	for y := range h {
		from, to := in.Row(y), out.Row(y)
		for x := range w {
			for k := range 3 {
				to[3*x+k] = convert(from[channels*x+min(k, channels-1)])
			}
		}
	}
	return out, nil
}

// toSRGB and fromSRGB are the transfer function of IEC 61966-2-1 and its
// inverse, on values from 0 to 1.
func toSRGB(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

func fromSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// panoramaSource is an equirectangular picture to make plates from.
type panoramaSource struct {
	frame    warp.Frame[uint16]
	geometry projection.Equirect
}

func readSphere(ctx context.Context, file string) (*panoramaSource, error) {
	c, err := readConfig(ctx, file)
	if err != nil {
		return nil, inputError{err}
	}
	frame, err := readLinear(ctx, file, c.Width, c.Height)
	if err != nil {
		return nil, err
	}
	geometry, err := projection.NewEquirect(c.Width, c.Height, pose(r3.Vec{}, 0, 0, 0))
	return &panoramaSource{frame, geometry}, err
}

// onto makes the plate of one camera.
func (p *panoramaSource) onto(ctx context.Context, plate warp.Frame[uint16], camera projection.Camera, progress func(done, total int)) error {
	m, err := warp.NewMap(ctx, camera, p.geometry, warp.MapOptions{})
	if err != nil {
		return err
	}
	return warp.Warp(ctx, plate, p.frame, m, warp.Options{Filter: warp.CatmullRom, Progress: progress})
}
