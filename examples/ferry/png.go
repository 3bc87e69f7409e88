package main

import (
	"bufio"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"math"

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

// writePNG writes three channels of 8 or 16 bits, row by row, and closes the
// file. Rows of 16 bits are linear light, those of 8 bits sRGB; the file says so.
// Source: W3C, Portable Network Graphics (PNG) Specification (Second Edition).
func writePNG(f io.WriteCloser, frame warp.Frame[uint16], bits int, row func(out []byte, y int, in []uint16)) error {
	buffered := bufio.NewWriterSize(f, 1<<18)
	err := encodePNG(buffered, frame, bits, row)
	return errors.Join(err, buffered.Flush(), f.Close())
}

func encodePNG(out io.Writer, frame warp.Frame[uint16], bits int, row func(out []byte, y int, in []uint16)) error {
	if _, err := io.WriteString(out, "\x89PNG\r\n\x1a\n"); err != nil {
		return err
	}
	w, h := frame.Size()
	header := binary.BigEndian.AppendUint32(nil, uint32(w))
	header = binary.BigEndian.AppendUint32(header, uint32(h))
	const colour = 2
	header = append(header, byte(bits), colour, 0, 0, 0)
	meaning, value := "sRGB", []byte{0} // perceptual intent
	if bits == 16 {
		meaning, value = "gAMA", binary.BigEndian.AppendUint32(nil, 100000) // an exponent of 1
	}
	if err := errors.Join(chunk(out, "IHDR", header), chunk(out, meaning, value)); err != nil {
		return err
	}
	data := bufio.NewWriterSize(chunks{out}, 1<<16)
	packed, err := zlib.NewWriterLevel(data, zlib.HuffmanOnly)
	if err != nil {
		return err
	}
	pixel := 3 * bits / 8
	width := pixel * w
	lines := [2][]byte{make([]byte, width), make([]byte, width)} // this row and the one above
	filtered := make([]byte, 1+width)
	for y := range h {
		line, above := lines[y&1], lines[1-y&1]
		row(line, y, frame.Row(y))
		const average = 3
		filtered[0] = average
		for i := range pixel {
			filtered[1+i] = line[i] - above[i]/2
		}
		for i := pixel; i < width; i++ {
			filtered[1+i] = line[i] - byte((int(line[i-pixel])+int(above[i]))/2)
		}
		if _, err := packed.Write(filtered); err != nil {
			return err
		}
	}
	if err := errors.Join(packed.Close(), data.Flush()); err != nil {
		return err
	}
	return chunk(out, "IEND", nil)
}

// chunks makes an IDAT chunk of every write.
type chunks struct{ out io.Writer }

func (c chunks) Write(p []byte) (int, error) { return len(p), chunk(c.out, "IDAT", p) }

func chunk(out io.Writer, name string, data []byte) error {
	sum := crc32.NewIEEE()
	both := io.MultiWriter(out, sum)
	_, err := out.Write(binary.BigEndian.AppendUint32(nil, uint32(len(data))))
	_, err2 := io.WriteString(both, name)
	_, err3 := both.Write(data)
	_, err4 := out.Write(binary.BigEndian.AppendUint32(nil, sum.Sum32()))
	return errors.Join(err, err2, err3, err4)
}
