package pngrows

import (
	"bufio"
	"compress/flate"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// ErrFormat is wrapped by every error about the content of a file.
var ErrFormat = errors.New("png: not a file that can be read")

// ErrInterlaced is the error of a file whose rows do not stand one after another.
var ErrInterlaced = errors.New("png: interlaced")

func fault(format string, args ...any) error {
	return fmt.Errorf(format+"%w", append(args, quiet{})...)
}

// quiet is ErrFormat without its words.
type quiet struct{}

func (quiet) Error() string        { return "" }
func (quiet) Is(target error) bool { return target == ErrFormat }

// Signature is what a file begins with.
const Signature = "\x89PNG\r\n\x1a\n"

// maxSide is the largest number of pixels along a side.
const maxSide = 1 << 17

// Header describes the rows that a Reader gives.
type Header struct {
	Width, Height int
	Channels      int // 1 grey, 2 grey and alpha, 3 red, green and blue, 4 these and alpha
	Bits          int // of a sample: 8 or 16
}

// Types of colour in a file.
const (
	colourGrey = iota
	_
	colourRGB
	colourPalette
	colourGreyAlpha
	_
	colourRGBA
)

// channels of each type of colour. A palette has one in the file.
var channels = [...]int{colourGrey: 1, colourRGB: 3, colourPalette: 1, colourGreyAlpha: 2, colourRGBA: 4}

// Reader reads files one after another, row by row, in memory that it keeps. The zero
// value is ready. Transparent colours of files without alpha are not handled, nor is any
// chunk that says what the samples mean.
type Reader struct {
	file    sections
	inflate io.ReadCloser // nil before the first file
	header  Header
	colour  int
	bits    int // of a sample in the file
	palette []byte
	lines   [2][]byte // the filter's number, and the row: this one and the one above
	wide    []byte    // a row of small samples or of a palette, as it is given
	row     int       // the next
}

// Reset begins a file and gives its header. A file of more than maxPixels pixels is an
// error.
func (d *Reader) Reset(in io.Reader, maxPixels int64) (Header, error) {
	d.header, d.row = Header{}, 0
	d.palette = d.palette[:0]
	d.file.reset(in)
	if err := d.readHeader(maxPixels); err != nil {
		return Header{}, err
	}
	for {
		if err := d.file.next(); err != nil {
			return Header{}, err
		}
		switch name := d.file.name; {
		case name == "IDAT":
			if d.colour == colourPalette && len(d.palette) == 0 {
				return Header{}, fault("no palette")
			}
			h := Header{Width: d.header.Width, Height: d.header.Height, Channels: channels[d.colour], Bits: max(8, d.bits)}
			if d.colour == colourPalette {
				h.Channels = 3
			}
			d.header = h
			return h, d.begin()
		case name == "PLTE":
			if err := d.readPalette(); err != nil {
				return Header{}, err
			}
		case name[0] >= 'A' && name[0] <= 'Z': // a critical chunk: a reader may not skip it
			return Header{}, fault("a chunk %q before the picture: not known there", name)
		}
	}
}

func (d *Reader) readHeader(maxPixels int64) error {
	var b [13]byte
	if _, err := io.ReadFull(d.file.in, b[:len(Signature)]); err != nil {
		return short(err)
	}
	if string(b[:len(Signature)]) != Signature {
		return fault("not a PNG file")
	}
	if err := d.file.next(); err != nil {
		return err
	}
	if d.file.name != "IHDR" || d.file.left != 13 {
		return fault("begins with a chunk %q of %d bytes: must be IHDR of 13", d.file.name, d.file.left)
	}
	if err := d.file.all(b[:]); err != nil {
		return err
	}
	w, h := binary.BigEndian.Uint32(b[:]), binary.BigEndian.Uint32(b[4:])
	if w < 1 || h < 1 || w > maxSide || h > maxSide {
		return fault("%d × %d px: must be 1 to %d px each way", w, h, maxSide)
	}
	if n := int64(w) * int64(h); n > maxPixels {
		return fault("%d × %d px: must be at most %d px", w, h, maxPixels)
	}
	d.header.Width, d.header.Height = int(w), int(h)
	d.bits, d.colour = int(b[8]), int(b[9])
	known := false
	switch d.colour {
	case colourGrey:
		known = d.bits == 1 || d.bits == 2 || d.bits == 4 || d.bits == 8 || d.bits == 16
	case colourPalette:
		known = d.bits == 1 || d.bits == 2 || d.bits == 4 || d.bits == 8
	case colourRGB, colourGreyAlpha, colourRGBA:
		known = d.bits == 8 || d.bits == 16
	}
	switch {
	case !known:
		return fault("%d bits of colour type %d: no such kind", d.bits, d.colour)
	case b[10] != 0 || b[11] != 0 || b[12] > 1:
		return fault("compression %d, filter %d, interlace %d: no such methods", b[10], b[11], b[12])
	case b[12] == 1:
		return ErrInterlaced
	}
	return nil
}

func (d *Reader) readPalette() error {
	n := d.file.left
	if d.colour == colourGrey || d.colour == colourGreyAlpha || len(d.palette) > 0 {
		return fault("a palette where none may be")
	}
	if most := uint32(1) << min(d.bits, 8); n == 0 || n%3 != 0 || n/3 > most {
		return fault("a palette of %d bytes: must be three a colour, of 1 to %d colours", n, most)
	}
	d.palette = append(d.palette, make([]byte, n)...)
	return d.file.all(d.palette)
}

// begin makes ready for the rows.
func (d *Reader) begin() error {
	var err error
	if d.inflate == nil {
		d.inflate, err = zlib.NewReader(&d.file)
	} else {
		err = d.inflate.(zlib.Resetter).Reset(&d.file, nil)
	}
	if err != nil {
		d.inflate = nil
		return d.damage(err)
	}
	n := 1 + (d.header.Width*channels[d.colour]*d.bits+7)/8
	for i := range d.lines {
		d.lines[i] = resize(d.lines[i], n)
	}
	clear(d.lines[1]) // what stands above the first row
	if d.bits < 8 || d.colour == colourPalette {
		d.wide = resize(d.wide, d.header.Width*d.header.Channels)
	}
	return nil
}

func resize(b []byte, n int) []byte {
	if cap(b) < n {
		return make([]byte, n)
	}
	return b[:n]
}

// Next gives the next row from the top: the samples of one pixel after those of the
// other, of 16 bits the high byte first. Samples of 1, 2 and 4 bits are stretched to 8,
// and palettes looked up. The row is valid until the next call and must not be changed.
// After the last row, and only if the file is whole to its end, the error is io.EOF.
func (d *Reader) Next() ([]byte, error) {
	if d.row == d.header.Height {
		return nil, d.end()
	}
	full := d.lines[d.row&1]
	if _, err := io.ReadFull(d.inflate, full); err != nil {
		return nil, d.damage(err)
	}
	line := full[1:]
	step := max(1, channels[d.colour]*d.bits/8)
	if err := unfilter(full[0], line, d.lines[1-d.row&1][1:], step); err != nil {
		return nil, err
	}
	d.row++
	switch {
	case d.colour == colourPalette:
		return d.lookUp(line)
	case d.bits < 8:
		d.split(line, 1)
		most := byte(1)<<d.bits - 1
		for i := range d.wide {
			d.wide[i] *= 255 / most
		}
		return d.wide, nil
	}
	return line, nil
}

// split puts samples of 1 to 8 bits into each step-th byte of a row.
func (d *Reader) split(line []byte, step int) {
	for x := range d.header.Width {
		at := x * d.bits
		d.wide[x*step] = line[at/8] >> (8 - d.bits - at%8) & byte(1<<d.bits-1)
	}
}

func (d *Reader) lookUp(line []byte) ([]byte, error) {
	d.split(line, 3)
	for i := 0; i < len(d.wide); i += 3 {
		at := 3 * int(d.wide[i])
		if at >= len(d.palette) {
			return nil, fault("colour %d of a palette of %d", at/3, len(d.palette)/3)
		}
		copy(d.wide[i:i+3], d.palette[at:])
	}
	return d.wide, nil
}

// end looks at what stands after the last row.
func (d *Reader) end() error {
	var more [1]byte
	switch n, err := io.ReadFull(d.inflate, more[:]); {
	case n != 0:
		return fault("more data than that of %d rows", d.header.Height)
	case err != io.EOF:
		return d.damage(err)
	}
	if len(d.file.ready) > 0 || d.file.left > 0 && d.file.name == "IDAT" {
		return fault("more data than that of %d rows", d.header.Height)
	}
	for d.file.name != "IEND" {
		if err := d.file.next(); err != nil {
			return err
		}
	}
	if err := d.file.skip(); err != nil {
		return err
	}
	return io.EOF
}

// damage says at which row the image data ended. An error of the source stays as it is.
func (d *Reader) damage(err error) error {
	var corrupt flate.CorruptInputError
	switch {
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return fault("cut short, at row %d of %d", d.row, d.header.Height)
	case errors.Is(err, ErrFormat):
		return fault("%v, at row %d of %d", err, d.row, d.header.Height)
	case errors.As(err, &corrupt) || err == zlib.ErrChecksum || err == zlib.ErrHeader || err == zlib.ErrDictionary:
		return fault("damaged, at row %d of %d: %v", d.row, d.header.Height, err)
	}
	return err
}

// unfilter undoes the filter of a row. step is the bytes of a pixel.
func unfilter(kind byte, line, above []byte, step int) error {
	above = above[:len(line)]
	switch kind {
	case 0:
	case 1: // the pixel before
		for i := step; i < len(line); i++ {
			line[i] += line[i-step]
		}
	case 2: // the pixel above
		for i, b := range above {
			line[i] += b
		}
	case 3: // their mean
		for i := range min(step, len(line)) {
			line[i] += above[i] / 2
		}
		for i := step; i < len(line); i++ {
			line[i] += byte((int(line[i-step]) + int(above[i])) / 2)
		}
	case 4: // the nearest to their plane, of these and the pixel between them
		for k := range min(step, len(line)) {
			a, c := 0, 0
			for i := k; i < len(line); i += step {
				b := int(above[i])
				toA, toB := b-c, a-c
				toC := max(toA+toB, -toA-toB)
				toA, toB = max(toA, -toA), max(toB, -toB)
				best := c
				if toA <= toB && toA <= toC {
					best = a
				} else if toB <= toC {
					best = b
				}
				line[i] += byte(best)
				a, c = int(line[i]), b
			}
		}
	default:
		return fault("filter %d: must be 0 to 4", kind)
	}
	return nil
}

// sections reads the chunks of a file. As a reader it gives what is in the chunks of
// image data from the one at which it stands.
type sections struct {
	in    *bufio.Reader
	name  string
	left  uint32 // bytes of the chunk that are not read
	sum   uint32
	head  [8]byte
	block [1 << 15]byte
	ready []byte // of block: read and not yet given
}

func (s *sections) reset(in io.Reader) {
	if s.in == nil {
		s.in = bufio.NewReaderSize(in, 1<<16)
	} else {
		s.in.Reset(in)
	}
	s.name, s.left, s.ready = "", 0, nil
}

// names of chunks that every file has.
var names = map[string]string{"IHDR": "IHDR", "PLTE": "PLTE", "IDAT": "IDAT", "IEND": "IEND"}

// next goes to the next chunk.
func (s *sections) next() error {
	if s.name != "" {
		if err := s.skip(); err != nil {
			return err
		}
	}
	if _, err := io.ReadFull(s.in, s.head[:]); err != nil {
		return short(err)
	}
	name, known := names[string(s.head[4:])]
	if !known {
		name = string(s.head[4:])
	}
	s.name, s.left = name, binary.BigEndian.Uint32(s.head[:])
	if s.left > 1<<31-1 {
		return fault("a chunk %q of %d bytes", s.name, s.left)
	}
	s.sum = crc32.ChecksumIEEE(s.head[4:])
	return nil
}

// skip reads the chunk to its end and checks its sum.
func (s *sections) skip() error {
	for s.left > 0 {
		if err := s.fill(); err != nil {
			return err
		}
	}
	s.ready = nil
	if _, err := io.ReadFull(s.in, s.head[:4]); err != nil {
		return short(err)
	}
	if binary.BigEndian.Uint32(s.head[:]) != s.sum {
		return fault("damaged: the sum of a chunk %q is wrong", s.name)
	}
	return nil
}

// fill makes bytes of the chunk ready.
func (s *sections) fill() error {
	n, err := s.in.Read(s.block[:min(s.left, uint32(len(s.block)))])
	s.ready = s.block[:n]
	s.left -= uint32(n)
	s.sum = crc32.Update(s.sum, crc32.IEEETable, s.ready)
	if n > 0 || err == nil {
		return nil
	}
	return short(err)
}

// all reads a chunk whose length is that of b.
func (s *sections) all(b []byte) error {
	for len(b) > 0 {
		if err := s.fill(); err != nil {
			return err
		}
		b = b[copy(b, s.ready):]
	}
	s.ready = nil
	return nil
}

// data makes image data ready, from the next chunk too. After the last, io.EOF.
func (s *sections) data() error {
	for len(s.ready) == 0 {
		switch {
		case s.name != "IDAT":
			return io.EOF
		case s.left > 0:
			if err := s.fill(); err != nil {
				return err
			}
		default:
			if err := s.next(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *sections) Read(p []byte) (int, error) {
	if err := s.data(); err != nil {
		return 0, err
	}
	n := copy(p, s.ready)
	s.ready = s.ready[n:]
	return n, nil
}

func (s *sections) ReadByte() (byte, error) {
	if len(s.ready) == 0 {
		if err := s.data(); err != nil {
			return 0, err
		}
	}
	b := s.ready[0]
	s.ready = s.ready[1:]
	return b, nil
}

// short says that a file ends too early, or passes on another error.
func short(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return fault("cut short")
	}
	return err
}
