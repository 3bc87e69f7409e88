package pngrows

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"io"
	"math/rand/v2"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// kinds are the colour types and bits of the standard, and the channels of a pixel.
var kinds = []struct{ colour, bits, channels int }{
	{0, 1, 1}, {0, 2, 1}, {0, 4, 1}, {0, 8, 1}, {0, 16, 1}, {2, 8, 3}, {2, 16, 3},
	{3, 1, 1}, {3, 2, 1}, {3, 4, 1}, {3, 8, 1}, {4, 8, 2}, {4, 16, 2}, {6, 8, 4}, {6, 16, 4},
}

// section is a chunk of a file.
func section(name string, data []byte) []byte {
	out := append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), name...)
	out = append(out, data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

func header(w, h, colour, bits, interlace int) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(w))
	b = binary.BigEndian.AppendUint32(b, uint32(h))
	return section("IHDR", append(b, byte(bits), byte(colour), 0, 0, byte(interlace)))
}

func zipped(data []byte) []byte {
	var b bytes.Buffer
	z := zlib.NewWriter(&b)
	z.Write(data)
	z.Close()
	return b.Bytes()
}

// written is a file whose rows hold random bytes. Taken as filtered, these are pictures
// as any others. filter is that of the first row, and each row has the next.
func written(rng *rand.Rand, w, h, colour, bits, channels, filter int) []byte {
	file := append([]byte(Signature), header(w, h, colour, bits, 0)...)
	if colour == 3 {
		palette := make([]byte, 3<<bits)
		for i := range palette {
			palette[i] = byte(rng.Uint32())
		}
		file = append(file, section("PLTE", palette)...)
	}
	var rows []byte
	for y := range h {
		rows = append(rows, byte((filter+y)%5))
		for range (w*channels*bits + 7) / 8 {
			rows = append(rows, byte(rng.Uint32()))
		}
	}
	data := zipped(rows)
	cut := len(data) / 3 // three chunks, one of them empty
	for _, part := range [][]byte{data[:cut], nil, data[cut:]} {
		file = append(file, section("IDAT", part)...)
	}
	return append(file, section("IEND", nil)...)
}

// decoded gives all rows of a file.
func decoded(d *Reader, in io.Reader) (h Header, rows [][]byte, err error) {
	if h, err = d.Reset(in, 1e6); err != nil {
		return h, nil, err
	}
	for {
		row, err := d.Next()
		if err == io.EOF {
			return h, rows, nil
		}
		if err != nil {
			return h, rows, err
		}
		rows = append(rows, bytes.Clone(row))
	}
}

// compare holds rows against the picture of the standard library.
func compare(t *testing.T, h Header, rows [][]byte, want image.Image, what string) {
	t.Helper()
	require.Equal(t, want.Bounds(), image.Rect(0, 0, h.Width, h.Height), what)
	require.Len(t, rows, h.Height, what)
	for y, row := range rows {
		require.Len(t, row, h.Width*h.Channels*h.Bits/8, what)
		at := func(i int) uint16 {
			if h.Bits == 16 {
				return binary.BigEndian.Uint16(row[2*i:])
			}
			return 257 * uint16(row[i])
		}
		for x := range h.Width {
			got := color.NRGBA64{A: 0xffff}
			i := x * h.Channels
			got.R, got.G, got.B = at(i), at(i), at(i)
			if h.Channels > 2 {
				got.G, got.B = at(i+1), at(i+2)
			}
			if h.Channels%2 == 0 {
				got.A = at(i + h.Channels - 1)
			}
			// Pictures hold alpha that is not multiplied: At must not be asked for RGBA().
			if c := straight(want.At(x, y)); got != c {
				t.Fatalf("%s: %d, %d: %v, want %v", what, x, y, got, c)
			}
		}
	}
}

func straight(c color.Color) color.NRGBA64 {
	switch c := c.(type) {
	case color.NRGBA64:
		return c
	case color.NRGBA:
		return color.NRGBA64{257 * uint16(c.R), 257 * uint16(c.G), 257 * uint16(c.B), 257 * uint16(c.A)}
	}
	r, g, b, a := c.RGBA()
	return color.NRGBA64{uint16(r), uint16(g), uint16(b), uint16(a)}
}

// Files of all kinds, with all filters in each row, are those that the standard library
// reads. One reader reads them all, by blocks and byte by byte.
func TestReadsAsTheStandardLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var d Reader
	for _, k := range kinds {
		for filter := range 5 {
			for _, size := range [][2]int{{1, 1}, {7, 6}, {33, 11}} {
				what := fmt.Sprintf("colour type %d, %d bits, filter %d, %v px", k.colour, k.bits, filter, size)
				file := written(rng, size[0], size[1], k.colour, k.bits, k.channels, filter)
				want, err := png.Decode(bytes.NewReader(file))
				require.NoError(t, err, what)
				for _, in := range []io.Reader{bytes.NewReader(file), iotest.OneByteReader(bytes.NewReader(file))} {
					h, rows, err := decoded(&d, in)
					require.NoError(t, err, what)
					compare(t, h, rows, want, what)
				}
			}
		}
	}
}

// What Encode writes is read back.
func TestReadsWhatEncodeWrites(t *testing.T) {
	for _, kind := range [...][2]int{{8, zlib.HuffmanOnly}, {16, zlib.HuffmanOnly}, {16, zlib.NoCompression}} {
		bits, level := kind[0], kind[1]
		var b bytes.Buffer
		sample := func(i, y int) byte { return byte(i*i/3 + 7*y) }
		require.NoError(t, Encode(&b, 200, 90, bits, level, func(out []byte, y int) error {
			for i := range out {
				out[i] = sample(i, y)
			}
			return nil
		}))
		h, rows, err := decoded(new(Reader), &b)
		require.NoError(t, err)
		require.Equal(t, Header{200, 90, 3, bits}, h)
		for y, row := range rows {
			for i, v := range row {
				if v != sample(i, y) {
					t.Fatalf("%d bits: byte %d of row %d", bits, i, y)
				}
			}
		}
	}
}

// A reader that has read a frame reads the next without new memory.
func TestMemoryIsKept(t *testing.T) {
	file := written(rand.New(rand.NewPCG(3, 4)), 300, 40, 2, 16, 3, 0)
	var d Reader
	in := bytes.NewReader(nil)
	read := func() {
		in.Reset(file)
		_, err := d.Reset(in, 1e6)
		for err == nil {
			_, err = d.Next()
		}
		require.Equal(t, io.EOF, err)
	}
	read()
	assert.LessOrEqual(t, testing.AllocsPerRun(20, read), 4.0)
}

// A file cut anywhere is an error, and so is a file with one byte changed anywhere: all
// of it stands under a sum.
func TestDamage(t *testing.T) {
	var d Reader
	for _, k := range kinds[4:8] {
		file := written(rand.New(rand.NewPCG(5, 6)), 5, 4, k.colour, k.bits, k.channels, 1)
		for n := range file {
			_, _, err := decoded(&d, bytes.NewReader(file[:n]))
			require.ErrorIs(t, err, ErrFormat, "cut to %d bytes", n)
			require.ErrorContains(t, err, "cut short")
			changed := bytes.Clone(file)
			changed[n] ^= 0x10
			_, _, err = decoded(&d, bytes.NewReader(changed))
			require.Error(t, err, "changed at %d", n)
			if err != ErrInterlaced {
				require.ErrorIs(t, err, ErrFormat, "changed at %d", n)
			}
		}
		_, _, err := decoded(&d, bytes.NewReader(file))
		require.NoError(t, err, "the reader goes on after an error")
	}
}

func TestFilesRefused(t *testing.T) {
	join := func(parts ...[]byte) []byte { return append([]byte(Signature), bytes.Join(parts, nil)...) }
	end := section("IEND", nil)
	row := func(n int) []byte { return section("IDAT", zipped(make([]byte, n))) }
	for _, tc := range []struct {
		file []byte
		want string
	}{
		{nil, "cut short"},
		{[]byte("GIF89a, and more"), "not a PNG"},
		{join(header(40000, 25000, 2, 16, 0)), "40000 × 25000 px: must be at most 1000000 px"},
		{join(header(1<<17+1, 1, 0, 8, 0)), "131073 × 1 px: must be 1 to 131072 px each way"},
		{join(header(0, 1, 0, 8, 0)), "0 × 1 px"},
		{join(header(1, 0, 0, 8, 0)), "1 × 0 px"},
		{join(header(1, 1, 2, 4, 0)), "4 bits of colour type 2"},
		{join(header(1, 1, 5, 8, 0)), "8 bits of colour type 5"},
		{join(header(1, 1, 3, 16, 0)), "16 bits of colour type 3"},
		{join(header(1, 1, 0, 3, 0)), "3 bits of colour type 0"},
		{join(header(1, 1, 0, 8, 2)), "interlace 2"},
		{join(end), `begins with a chunk "IEND" of 0 bytes`},
		{join(section("IHDR", make([]byte, 12))), `begins with a chunk "IHDR" of 12 bytes`},
		{join(section("IDAT", make([]byte, 13))), `begins with a chunk "IDAT" of 13 bytes`},
		{join(header(1, 1, 0, 8, 0), end), `a chunk "IEND" before the picture`},
		{join(header(1, 1, 0, 8, 0), header(1, 1, 0, 8, 0)), `a chunk "IHDR" before the picture`},
		{join(header(1, 1, 0, 8, 0), section("ABCD", nil)), `a chunk "ABCD" before the picture`},
		{join(header(1, 1, 3, 8, 0), row(2), end), "no palette"},
		{join(header(1, 1, 0, 8, 0), section("PLTE", make([]byte, 3))), "a palette where none may be"},
		{join(header(1, 1, 3, 8, 0), section("PLTE", make([]byte, 3)), section("PLTE", make([]byte, 3))), "a palette where none may be"},
		{join(header(1, 1, 3, 8, 0), section("PLTE", make([]byte, 4))), "a palette of 4 bytes"},
		{join(header(1, 1, 3, 8, 0), section("PLTE", nil)), "a palette of 0 bytes"},
		{join(header(1, 1, 3, 1, 0), section("PLTE", make([]byte, 9))), "1 to 2 colours"},
		{join(header(1, 1, 3, 8, 0), section("PLTE", make([]byte, 3)), section("IDAT", zipped([]byte{0, 1})), end), "colour 1 of a palette of 1"},
		{join(header(1, 1, 0, 8, 0), section("IDAT", zipped([]byte{5, 0})), end), "filter 5"},
		{join(header(1, 1, 0, 8, 0), row(3), end), "more data"},
		{join(header(1, 1, 0, 8, 0), section("IDAT", append(zipped(make([]byte, 2)), 0)), end), "more data"},
		{join(header(1, 1, 0, 8, 0), row(1), end), "cut short, at row 0 of 1"},
		{join(header(1, 3, 0, 8, 0), row(5), end), "cut short, at row 2 of 3"},
		{join(header(1, 1, 0, 8, 0), section("IDAT", []byte("no zlib")), end), "damaged, at row 0 of 1"},
		{join(header(1, 1, 0, 8, 0), section("IDAT", []byte{0x78, 0x9c, 0xff, 0xff}), end), "damaged, at row 0 of 1"},
	} {
		_, _, err := decoded(new(Reader), bytes.NewReader(tc.file))
		require.ErrorIs(t, err, ErrFormat, tc.want)
		assert.ErrorContains(t, err, tc.want)
	}
	_, _, err := decoded(new(Reader), bytes.NewReader(join(header(1, 1, 0, 8, 1))))
	assert.Equal(t, ErrInterlaced, err)
}

// An error of the disk, or the end of a context, stays what it is.
func TestErrorsOfTheSource(t *testing.T) {
	file := written(rand.New(rand.NewPCG(7, 8)), 20, 20, 2, 8, 3, 0)
	failed := errors.New("unplugged")
	for _, n := range []int{0, 10, 40, 50, 200, len(file) - 8} {
		_, _, err := decoded(new(Reader), io.MultiReader(bytes.NewReader(file[:n]), iotest.ErrReader(failed)))
		assert.ErrorIs(t, err, failed, "after %d bytes", n)
		assert.NotErrorIs(t, err, ErrFormat)
	}
}

// FuzzReader reads what the standard library reads, to the same samples.
func FuzzReader(f *testing.F) {
	rng := rand.New(rand.NewPCG(9, 10))
	for _, k := range kinds {
		f.Add(written(rng, 5, 7, k.colour, k.bits, k.channels, 0))
	}
	var d Reader
	f.Fuzz(func(t *testing.T, file []byte) {
		h, rows, err := decoded(&d, bytes.NewReader(file))
		if err != nil {
			if err != ErrInterlaced {
				require.ErrorIs(t, err, ErrFormat)
			}
			return
		}
		if bytes.Contains(file, []byte("tRNS")) {
			return // a transparent colour, which the reader skips
		}
		want, err := png.Decode(bytes.NewReader(file))
		require.NoError(t, err)
		compare(t, h, rows, want, "fuzzed")
	})
}
