package main

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"example.com/platewright/examples/internal/pictures"
	"example.com/platewright/examples/internal/pngrows"
	"example.com/platewright/examples/internal/program"
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
		return nil, fmt.Errorf("-plates %s: %w", folder, program.Cause(err))
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

func readConfig(ctx context.Context, file string) (pngrows.Header, error) {
	var r pictures.Reader
	defer r.Close()
	return r.Open(ctx, file, mostPixels)
}

// mostPixels is the size of the largest panorama.
const mostPixels = 1 << 31

// readLinear reads a picture of a known size into linear light, with three channels.
// 16 bits are linear already, 8 bits are sRGB. Grey goes to all channels, and alpha is
// dropped.
func readLinear(ctx context.Context, file string, width, height int) (frame warp.Frame[uint16], err error) {
	if err := checkSize(ctx, file, width, height); err != nil {
		return frame, program.Input(err)
	}
	var r pictures.Reader
	defer r.Close()
	h, err := r.Open(ctx, file, mostPixels)
	if err != nil {
		return frame, program.Input(err)
	}
	light, err := srgbLight(ctx)
	if err != nil {
		return frame, err
	}
	if frame, err = newFrame(width, height); err != nil {
		return frame, err
	}
	place := [3]int{0, 1, 2} // of red, green and blue in a pixel
	if h.Channels < 3 {
		place = [3]int{}
	}
	for y := 0; ; y++ {
		row, err := r.Next()
		switch {
		case err == io.EOF:
			return frame, nil
		case ctx.Err() != nil:
			return frame, ctx.Err()
		case err != nil:
			return frame, program.Input(err)
		}
		out := frame.Row(y)
		for x := range width {
			for k, at := range place {
				if i := x*h.Channels + at; h.Bits == 16 {
					out[3*x+k] = binary.BigEndian.Uint16(row[2*i:])
				} else {
					out[3*x+k] = code(65535 * float64(light[row[i]]))
				}
			}
		}
	}
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
		return nil, program.Input(err)
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
