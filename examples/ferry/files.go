package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"image/draw"
	_ "image/jpeg"
	_ "image/png"
	"os"
	"path/filepath"

	"example.com/platewright/examples/internal/command"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// findPlates finds the file of each camera in a folder and checks its size,
// without decoding the pictures. All faults are reported together.
func findPlates(ctx context.Context, folder string, spec plateSpec) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("-plates %s: %w", folder, command.Cause(err))
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
	f, err := command.Open(ctx, file)
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

// readLinear reads a picture of a known size into linear light, with three
// channels. 16 bits are linear already, 8 bits are sRGB.
func readLinear(ctx context.Context, file string, width, height int) (frame warp.Frame[uint16], err error) {
	if err := checkSize(ctx, file, width, height); err != nil {
		return frame, command.InputError{Err: err}
	}
	f, err := command.Open(ctx, file)
	if err != nil {
		return frame, command.InputError{Err: err}
	}
	defer f.Close()
	img, _, err := image.Decode(bufio.NewReaderSize(f, 1<<16))
	if ctx.Err() != nil {
		return frame, ctx.Err()
	}
	if err != nil {
		return frame, command.InputError{Err: fmt.Errorf("%s: broken or cut short: %w", file, err)}
	}
	if frame, err = newFrame(width, height); err != nil {
		return frame, err
	}
	switch p := img.(type) {
	case *image.Gray16, *image.RGBA64, *image.NRGBA64:
		err = threeChannels(frame, img, func(v uint16) uint16 { return v })
	default:
		if palette, ok := p.(*image.Paletted); ok {
			// A picture with a palette is rare: draw it in full colour first.
			out := image.NewRGBA(palette.Rect)
			draw.Draw(out, out.Rect, palette, out.Rect.Min, draw.Src)
			img = out
		}
		var light []float32
		if light, err = srgbLight(ctx); err == nil {
			err = threeChannels(frame, img, func(v uint8) uint16 { return code(65535 * float64(light[v])) })
		}
	}
	if err != nil {
		return frame, command.InputError{Err: fmt.Errorf("%s: %w", file, err)}
	}
	return frame, nil
}

// threeChannels copies a picture of samples T to three channels of 16 bits. Grey
// goes to all three, and alpha is dropped. It copies a few rows at a time, because
// a second copy of a whole plate takes half a gigabyte.
func threeChannels[T uint8 | uint16](out warp.Frame[uint16], img image.Image, convert func(T) uint16) error {
	const rows = 64
	bounds := img.Bounds()
	parts, ok := img.(interface {
		SubImage(r image.Rectangle) image.Image
	})
	if !ok {
		return fmt.Errorf("pictures of type %T are not read", img)
	}
	w, h := out.Size()
	for top := 0; top < h; top += rows {
		strip := image.Rect(bounds.Min.X, bounds.Min.Y+top, bounds.Max.X, min(bounds.Min.Y+top+rows, bounds.Max.Y))
		in, err := warp.FromImage[T](parts.SubImage(strip))
		if err != nil {
			return err
		}
		channels := in.Channels()
		for y := range strip.Dy() {
			from, to := in.Row(y), out.Row(top+y)
			for x := range w {
				for k := range 3 {
					to[3*x+k] = convert(from[channels*x+min(k, channels-1)])
				}
			}
		}
	}
	return nil
}

// srgbLight is the linear light of each code of 8-bit sRGB, 0 to 1.
func srgbLight(ctx context.Context) ([]float32, error) {
	codes, light := make([]uint8, 256), make([]float32, 256)
	for i := range codes {
		codes[i] = uint8(i)
	}
	from, err := warp.NewFrame(warp.FrameSpec[uint8]{Pix: codes, Width: len(codes), Height: 1, Channels: 1})
	to, err2 := warp.NewFrame(warp.FrameSpec[float32]{Pix: light, Width: len(codes), Height: 1, Channels: 1})
	transfer, err3 := warp.NewTransfer[uint8](warp.TransferSpec{Curve: warp.SRGB})
	if err := cmp.Or(err, err2, err3); err != nil {
		return nil, err
	}
	return light, transfer.Linearize(ctx, to, from)
}

// panoramaSource is an equirectangular picture to make plates from.
type panoramaSource struct {
	frame    warp.Frame[uint16]
	geometry panorama.Equirect
}

func readSphere(ctx context.Context, file string) (*panoramaSource, error) {
	c, err := readConfig(ctx, file)
	if err != nil {
		return nil, command.InputError{Err: err}
	}
	frame, err := readLinear(ctx, file, c.Width, c.Height)
	if err != nil {
		return nil, err
	}
	geometry, err := panorama.NewEquirect(c.Width, c.Height, pose(r3.Vec{}, 0, 0, 0))
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
