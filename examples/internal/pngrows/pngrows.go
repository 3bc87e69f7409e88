// Package pngrows reads and writes PNG files row by row, so that no whole picture need be
// in memory.
package pngrows

import (
	"bufio"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// Encode writes a picture of three channels of 8 or 16 bits. row fills one row after the
// other, from the top: red, green and blue of each pixel, of 16 bits the high byte first.
// Samples of 16 bits are linear light, those of 8 bits sRGB; the file says so. level is one
// of package compress/zlib: HuffmanOnly halves a smooth picture in little time, and
// NoCompression suits noise, which no level makes much smaller. An error of row ends the
// file.
//
// Source: W3C, Portable Network Graphics (PNG) Specification (Second Edition).
func Encode(w io.Writer, width, height, bits, level int, row func(out []byte, y int) error) error {
	if bits != 8 && bits != 16 {
		return fmt.Errorf("pngrows: %d bits: must be 8 or 16", bits)
	}
	out := bufio.NewWriterSize(w, 1<<18)
	return errors.Join(encode(out, width, height, bits, level, row), out.Flush())
}

func encode(out io.Writer, width, height, bits, level int, row func(out []byte, y int) error) error {
	if _, err := io.WriteString(out, Signature); err != nil {
		return err
	}
	header := binary.BigEndian.AppendUint32(nil, uint32(width))
	header = binary.BigEndian.AppendUint32(header, uint32(height))
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
	packed, err := zlib.NewWriterLevel(data, level)
	if err != nil {
		return err
	}
	pixel := 3 * bits / 8
	length := pixel * width
	lines := [2][]byte{make([]byte, length), make([]byte, length)} // this row and the one above
	filtered := make([]byte, 1+length)
	for y := range height {
		line, above := lines[y&1], lines[1-y&1]
		if err := row(line, y); err != nil {
			return err
		}
		if level == zlib.NoCompression {
			copy(filtered[1:], line)
			if _, err := packed.Write(filtered); err != nil {
				return err
			}
			continue
		}
		const average = 3
		filtered[0] = average
		for i := range pixel {
			filtered[1+i] = line[i] - above[i]/2
		}
		for i := pixel; i < length; i++ {
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
