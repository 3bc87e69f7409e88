package main

import (
	"compress/zlib"
	"errors"
	"io"
	"math"

	"example.com/platewright/examples/internal/pngrows"
	"example.com/platewright/projection/warp"
)

// write writes a frame to two files. name.png is for looking at: 8 bits, sRGB (IEC
// 61966-2-1), dithered, with the gain of the command line. linear/name.png keeps all
// data: 16 bits, linear light, with full scale at the saturation of the plates. write
// returns before the files are complete, so the frame must not change any more.
func (m *maker) write(name string, frame warp.Frame[uint16]) error {
	light, err := srgbLight(m.ctx)
	if err != nil {
		return err
	}
	dithered := newDither(light, math.Exp2(m.gain))
	if err := m.inBackground(name+".png", frame, 8, dithered.row); err != nil {
		return err
	}
	return m.inBackground("linear/"+name+".png", frame, 16, linearRow)
}

func (m *maker) inBackground(name string, frame warp.Frame[uint16], bits int, row func(out []byte, y int, in []uint16)) error {
	f, err := m.create(name)
	if err != nil {
		return err
	}
	m.writing.Add(1)
	m.writer <- struct{}{}
	go func() {
		defer m.writing.Done()
		err := writePNG(f, frame, bits, row)
		m.writeErr = errors.Join(m.writeErr, err)
		<-m.writer
	}()
	return m.ctx.Err()
}

// writeLinear writes a frame as it is: PNG, 16 bits, linear light.
func (m *maker) writeLinear(name string, frame warp.Frame[uint16]) error {
	f, err := m.create(name)
	if err != nil {
		return err
	}
	return writePNG(f, frame, 16, linearRow)
}

// linearRow is a row as PNG has it, the high byte of each sample first.
func linearRow(out []byte, _ int, in []uint16) {
	for i, v := range in {
		out[2*i], out[2*i+1] = byte(v>>8), byte(v)
	}
}

// dither turns linear light of 16 bits into sRGB of 8. Light between two codes becomes
// one or the other by an ordered pattern of 16 × 16 px, so that the mean light is right.
// A slow ramp, as in a sky, then shows no steps.
type dither struct {
	code [1 << 16]uint8  // the code at or below each light
	part [1 << 16]uint16 // how far the light lies beyond that code, in 1/256 of the step
}

// newDither makes the tables from the light of each code and a gain.
func newDither(light []float32, gain float64) *dither {
	d := new(dither)
	k := 0
	for i := range d.code {
		v := min(float64(i)/65535*gain, 1)
		for k < 255 && float64(light[k+1]) <= v {
			k++
		}
		d.code[i] = uint8(k)
		if k < 255 {
			d.part[i] = uint16((v-float64(light[k]))/(float64(light[k+1])-float64(light[k]))*256 + 0.5)
		}
	}
	return d
}

func (d *dither) row(out []byte, y int, in []uint16) {
	pattern := &bayer[y&15]
	for i, v := range in {
		out[i] = d.code[v]
		// Each colour uses another part of the pattern, or all three would step at once.
		if d.part[v] > pattern[(i/3+5*(i%3))&15] {
			out[i]++
		}
	}
}

// bayer is the ordered pattern of B. E. Bayer (1973). It holds each of 0 to 255 once,
// and spreads the pixels below any threshold as evenly as possible.
var bayer = func() (t [16][16]uint16) {
	for y := range t {
		for x := range t[y] {
			for bit := range 4 {
				t[y][x] = t[y][x]<<2 | uint16((x^y)>>bit&1<<1|y>>bit&1)
			}
		}
	}
	return t
}()

// writePNG writes a frame as package pngrows does, and closes the file. row turns the
// samples of row y into bytes.
func writePNG(f io.WriteCloser, frame warp.Frame[uint16], bits int, row func(out []byte, y int, in []uint16)) error {
	w, h := frame.Size()
	err := pngrows.Encode(f, w, h, bits, zlib.HuffmanOnly, func(out []byte, y int) error {
		row(out, y, frame.Row(y))
		return nil
	})
	return errors.Join(err, f.Close())
}
