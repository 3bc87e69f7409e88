// Package exr reads and writes OpenEXR files of scan lines: version 2, one part,
// channels of full resolution, no compression, ZIP or ZIPS. It writes float
// channels, and reads half and uint channels too.
//
// Rows stream. A reader holds one chunk, which is one row, or 16 rows with ZIP. A
// writer holds one chunk per processor. Colour is not handled here.
//
// Source: Academy Software Foundation, OpenEXR File Layout (version 2), and what
// it does to bytes before zlib, both from memory. Checked against OpenEXR's own
// library, OpenCV and FFmpeg (go run ./internal/peer -what exr).
package exr

import (
	"errors"
	"fmt"
	"math"
)

// ErrFormat is wrapped by every error about the content of a file or a Header.
var ErrFormat = errors.New("exr: not a file that can be read or written")

func fault(format string, args ...any) error {
	return fmt.Errorf("exr: "+format+"%w", append(args, quiet{})...)
}

// quiet is ErrFormat without its words.
type quiet struct{}

func (quiet) Error() string        { return "" }
func (quiet) Is(target error) bool { return target == ErrFormat }

// Compression is how the rows of a chunk are packed.
type Compression uint8

// The values are those of the file.
const (
	None Compression = 0
	ZIPS Compression = 2 // zlib, row by row
	ZIP  Compression = 3 // zlib, 16 rows at a time
)

var compressionNames = [...]string{"none", "RLE", "ZIPS", "ZIP", "PIZ", "PXR24", "B44", "B44A", "DWAA", "DWAB"}

// rows is how many rows stand in a chunk.
func (c Compression) rows() int {
	if c == ZIP {
		return 16
	}
	return 1
}

// Type is what the samples of a channel are in the file.
type Type uint8

// The values are those of the file.
const (
	Uint  Type = 0 // 32 bits
	Half  Type = 1 // 16 bits, floating point
	Float Type = 2 // 32 bits, floating point
)

// size is the bytes of a sample.
func (t Type) size() int {
	if t == Half {
		return 2
	}
	return 4
}

// Channel is one number per pixel.
type Channel struct {
	Name string
	Type Type
}

// Box is a rectangle of pixels, both corners within it, y down.
type Box struct{ MinX, MinY, MaxX, MaxY int32 }

// Size gives the number of pixels across and down, less than 1 for an empty box.
func (b Box) Size() (width, height int64) {
	return int64(b.MaxX) - int64(b.MinX) + 1, int64(b.MaxY) - int64(b.MinY) + 1
}

// maxSide is the largest side of a box that is read or written.
const maxSide = 1 << 24

// Header describes a file.
type Header struct {
	Channels      []Channel // in the order of their names, which differ
	Compression   Compression
	Data, Display Box               // the pixels in the file, and those of the picture
	Text          map[string]string // attributes that are strings
}

// The bytes a file begins with, and the bits of its version.
const (
	magic        = 20000630
	version      = 2
	flagTiled    = 1 << 9
	flagLong     = 1 << 10 // names of up to 255 bytes rather than 31
	flagDeep     = 1 << 11
	flagParts    = 1 << 12
	shortestName = 1
	shortName    = 31
	longName     = 255
)

// check says what is wrong with a header, and gives the bytes of a row.
func (h *Header) check() (rowBytes int64, err error) {
	if len(h.Channels) == 0 {
		return 0, fault("no channels")
	}
	for i, c := range h.Channels {
		if len(c.Name) < shortestName || len(c.Name) > longName {
			return 0, fault("a channel's name of %d bytes: must be %d to %d", len(c.Name), shortestName, longName)
		}
		if c.Type > Float {
			return 0, fault("channel %q has type %d: must be uint, half or float", c.Name, c.Type)
		}
		if i > 0 && h.Channels[i-1].Name >= c.Name {
			return 0, fault("channel %q after %q: must be in order of their names", c.Name, h.Channels[i-1].Name)
		}
		rowBytes += int64(c.Type.size())
	}
	switch h.Compression {
	case None, ZIPS, ZIP:
	default:
		name := fmt.Sprint(h.Compression)
		if int(h.Compression) < len(compressionNames) {
			name = compressionNames[h.Compression]
		}
		return 0, fault("compression %s: must be none, ZIPS or ZIP", name)
	}
	for _, b := range []struct {
		name string
		Box
	}{{"data window", h.Data}, {"display window", h.Display}} {
		if w, height := b.Size(); w < 1 || height < 1 || w > maxSide || height > maxSide {
			return 0, fault("%s of %d × %d px: must be 1 to %d px each way", b.name, w, height, maxSide)
		}
	}
	w, _ := h.Data.Size()
	rowBytes *= w
	if n := h.Compression.rows(); rowBytes*int64(n) > math.MaxInt32 {
		return 0, fault("chunks of %d rows of %d bytes: must be at most %d bytes", n, rowBytes, math.MaxInt32)
	}
	return rowBytes, nil
}

// chunks is the number of chunks of a checked header.
func (h *Header) chunks() int {
	_, height := h.Data.Size()
	n := int64(h.Compression.rows())
	return int((height + n - 1) / n)
}

// chunkRows is the number of rows of a chunk: the last may have fewer.
func (h *Header) chunkRows(chunk int) int {
	_, height := h.Data.Size()
	n := h.Compression.rows()
	return min(n, int(height)-chunk*n)
}

// part puts the first, third, … byte of a chunk before the second, fourth, …, and
// makes each the difference from the one before it, plus 128. Samples have 2 or 4
// bytes, so that a chunk has an even number.
func part(out, in []byte) {
	half := len(in) / 2
	for i := range half {
		out[i], out[half+i] = in[2*i], in[2*i+1]
	}
	for i := len(out) - 1; i > 0; i-- {
		out[i] += 128 - out[i-1]
	}
}

// join is the inverse of part. It writes over in.
func join(out, in []byte) {
	last := byte(128)
	for i, v := range in {
		last += v - 128
		in[i] = last
	}
	half := len(in) / 2
	for i := range half {
		out[2*i], out[2*i+1] = in[i], in[half+i]
	}
}

// fromHalf is the number that 16 bits of floating point stand for: 1 bit of
// sign, 5 of exponent, 10 of fraction (IEEE 754-2008, binary16).
func fromHalf(h uint16) float32 {
	sign := uint32(h>>15) << 31
	exponent, fraction := uint32(h>>10)&31, uint32(h)&1023
	switch exponent {
	case 0:
		v := float32(fraction) * (1.0 / (1 << 24))
		return math.Float32frombits(math.Float32bits(v) | sign)
	case 31:
		return math.Float32frombits(sign | 255<<23 | fraction<<13)
	}
	return math.Float32frombits(sign | (exponent+127-15)<<23 | fraction<<13)
}
