package exr

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Bounds on what a header may take, whatever the limits of the pixels.
const (
	maxHeader = 64 << 20 // bytes looked at
	maxText   = 1 << 16  // bytes of an attribute that is kept
	maxKept   = 1 << 20  // bytes of all of them
)

// Reader reads a file row by row, in the order of the file.
type Reader struct {
	in     *bufio.Reader
	at     int64 // bytes read
	header Header
	max    int64 // bytes of the header that may still be read

	rowBytes  int64
	decreases bool    // last rows first, says the header
	offsets   []int64 // of the chunks, as they stand in the file
	read      int     // chunks read

	packed  bytes.Buffer
	raw     bytes.Buffer
	inflate io.ReadCloser
	rows    []byte // of the chunk that are still to be given
	y, step int    // of the next of them, and from it to the one after
	samples [][]float32
}

// NewReader reads the header. The data window may hold at most maxSamples samples,
// pixels times channels, and the display window as many pixels.
func NewReader(r io.Reader, maxSamples int64) (*Reader, error) {
	d := &Reader{in: bufio.NewReaderSize(r, 1<<16), max: maxHeader}
	if err := d.readHeader(); err != nil {
		return nil, err
	}
	rowBytes, err := d.header.check()
	if err != nil {
		return nil, err
	}
	d.rowBytes = rowBytes
	// Sides are at most 2²⁴ px, and channels fewer than 2¹³: no overflow.
	w, h := d.header.Data.Size()
	if n := w * h * int64(len(d.header.Channels)); n > maxSamples {
		return nil, fault("%d × %d px of %d channels: must be at most %d samples", w, h, len(d.header.Channels), maxSamples)
	}
	if w, h := d.header.Display.Size(); w*h > maxSamples {
		return nil, fault("display window of %d × %d px: must be at most %d px", w, h, maxSamples)
	}
	if err := d.readOffsets(); err != nil {
		return nil, err
	}
	d.samples = make([][]float32, len(d.header.Channels))
	return d, nil
}

// Header gives the header.
func (d *Reader) Header() Header { return d.header }

// Next gives the next row of the data window, one slice per channel in the order of
// the header. The slices are valid until the next call. Half and uint samples become
// float32, the latter rounded. Rows come from the top down or from the bottom up, as
// the file has them. After the last the error is io.EOF.
func (d *Reader) Next() (y int, samples [][]float32, err error) {
	if len(d.rows) == 0 {
		if d.read == len(d.offsets) {
			return 0, nil, io.EOF
		}
		if err := d.nextChunk(); err != nil {
			return 0, nil, err
		}
	}
	n := int(d.rowBytes)
	row := d.rows[:n]
	if d.step < 0 {
		row = d.rows[len(d.rows)-n:]
		d.rows = d.rows[:len(d.rows)-n]
	} else {
		d.rows = d.rows[n:]
	}
	w, _ := d.header.Data.Size()
	width := int(w)
	for i, c := range d.header.Channels {
		if d.samples[i] == nil {
			d.samples[i] = make([]float32, width)
		}
		out := d.samples[i]
		switch c.Type {
		case Half:
			for x := range out {
				out[x] = fromHalf(binary.LittleEndian.Uint16(row[2*x:]))
			}
		case Uint:
			for x := range out {
				out[x] = float32(binary.LittleEndian.Uint32(row[4*x:]))
			}
		default:
			for x := range out {
				out[x] = math.Float32frombits(binary.LittleEndian.Uint32(row[4*x:]))
			}
		}
		row = row[width*c.Type.size():]
	}
	y = d.y
	d.y += d.step
	return y, d.samples, nil
}

// nextChunk reads the chunk that stands next in the file.
func (d *Reader) nextChunk() error {
	gap := d.offsets[d.read] - d.at
	if gap < 0 {
		return fault("chunk %d at byte %d, within the one before it: the file is damaged", d.read, d.offsets[d.read])
	}
	if err := d.skip(gap); err != nil {
		return err
	}
	var prefix [8]byte
	if err := d.fill(prefix[:], "a chunk"); err != nil {
		return err
	}
	le := binary.LittleEndian
	first := int64(int32(le.Uint32(prefix[:]))) - int64(d.header.Data.MinY)
	size := int64(int32(le.Uint32(prefix[4:])))
	step := int64(d.header.Compression.rows())
	n := len(d.offsets)
	want := d.read
	if d.decreases {
		want = n - 1 - d.read
	}
	if first != int64(want)*step {
		return fault("chunk %d begins at row %d of the data window: must be %d", d.read, first, int64(want)*step)
	}
	rows := d.header.chunkRows(want)
	raw := d.rowBytes * int64(rows)
	if size < 0 || size > raw || size < raw && d.header.Compression == None {
		return fault("chunk %d has %d bytes: its rows have %d", d.read, size, raw)
	}
	// Buffers grow with what is read, not with what is promised.
	d.packed.Reset()
	got, err := io.CopyN(&d.packed, d.in, size)
	d.at += got
	if err != nil {
		return short(err, "a chunk")
	}
	data := d.packed.Bytes()
	if size < raw {
		if data, err = d.unzip(data, raw); err != nil {
			return err
		}
	}
	d.rows = data
	d.y, d.step = int(d.header.Data.MinY)+int(first), 1
	if d.decreases {
		d.y, d.step = d.y+rows-1, -1
	}
	d.read++
	return nil
}

// unzip gives the raw bytes of a chunk, of which there must be exactly n.
func (d *Reader) unzip(data []byte, n int64) ([]byte, error) {
	in := bytes.NewReader(data)
	var err error
	if d.inflate == nil {
		d.inflate, err = zlib.NewReader(in)
	} else {
		err = d.inflate.(zlib.Resetter).Reset(in, nil)
	}
	if err != nil {
		d.inflate = nil
		return nil, fault("chunk %d: %v", d.read, err)
	}
	d.raw.Reset()
	got, err := io.Copy(&d.raw, io.LimitReader(d.inflate, n+1))
	if err != nil {
		return nil, fault("chunk %d: %v", d.read, err)
	}
	if got != n {
		return nil, fault("chunk %d: unpacks to other than the %d bytes of its rows", d.read, n)
	}
	// What was packed is not needed any more.
	d.packed.Reset()
	d.packed.Grow(int(n))
	out := d.packed.AvailableBuffer()[:n]
	join(out, d.raw.Bytes())
	return out, nil
}

// readOffsets reads the table of where chunks stand. They must stand one after
// another, in the order of the header or against it.
func (d *Reader) readOffsets() error {
	n := d.header.chunks()
	var b [8]byte
	for range n {
		if err := d.fill(b[:], "the table of offsets"); err != nil {
			return err
		}
		v := binary.LittleEndian.Uint64(b[:])
		if v > math.MaxInt64 {
			return fault("a chunk at byte %d", v)
		}
		d.offsets = append(d.offsets, int64(v))
	}
	if d.decreases && n > 1 && d.offsets[0] > d.offsets[n-1] {
		for i, j := 0, n-1; i < j; i, j = i+1, j-1 {
			d.offsets[i], d.offsets[j] = d.offsets[j], d.offsets[i]
		}
	}
	low := d.at
	for i, o := range d.offsets {
		if o < low {
			return fault("chunk %d of %d at byte %d: must be at %d or later; the file is cut short, damaged or not in order", i, n, o, low)
		}
		low = o + 8
	}
	return nil
}

func (d *Reader) readHeader() error {
	var b [8]byte
	if err := d.fill(b[:], "the header"); err != nil {
		return err
	}
	le := binary.LittleEndian
	if le.Uint32(b[:]) != magic {
		return fault("no OpenEXR file")
	}
	flags := le.Uint32(b[4:])
	switch {
	case flags&255 != version:
		return fault("version %d: must be %d", flags&255, version)
	case flags&flagTiled != 0:
		return fault("tiles: must be scan lines")
	case flags&flagDeep != 0:
		return fault("deep pixels: must be flat")
	case flags&flagParts != 0:
		return fault("several parts: must be one")
	}
	seen := map[string]bool{}
	kept := 0
	for {
		name, err := d.name()
		if err != nil {
			return err
		}
		if name == "" {
			break
		}
		kind, err := d.name()
		if err != nil {
			return err
		}
		var b [4]byte
		if err := d.fill(b[:], "the header"); err != nil {
			return err
		}
		size := int64(int32(le.Uint32(b[:])))
		if size < 0 || size > d.max {
			return fault("attribute %q of %d bytes: too large", name, size)
		}
		d.max -= size
		want, known := wanted[name]
		if !known && kind != "string" || !known && (size > maxText || kept+len(name)+int(size) > maxKept) {
			if err := d.skip(size); err != nil {
				return err
			}
			continue
		}
		switch {
		case !known:
		case seen[name]:
			return fault("attribute %q twice", name)
		case kind != want.kind || size > maxText || want.size > 0 && size != want.size:
			limit := fmt.Sprint(want.size)
			if want.size == 0 {
				limit = fmt.Sprintf("at most %d", maxText)
			}
			return fault("attribute %q of type %q and %d bytes: must be %s of %s bytes", name, kind, size, want.kind, limit)
		}
		value := make([]byte, size)
		if err := d.fill(value, "the header"); err != nil {
			return err
		}
		if !known {
			kept += len(name) + len(value)
			if d.header.Text == nil {
				d.header.Text = map[string]string{}
			}
			d.header.Text[name] = string(value)
			continue
		}
		seen[name] = true
		if err := want.set(d, value); err != nil {
			return err
		}
	}
	for _, name := range [...]string{"channels", "compression", "dataWindow", "displayWindow", "lineOrder"} {
		if !seen[name] {
			return fault("no attribute %q", name)
		}
	}
	return nil
}

// wanted are the attributes that say how to read the pixels.
var wanted = map[string]struct {
	kind string
	size int64 // 0: any
	set  func(d *Reader, v []byte) error
}{
	"channels": {"chlist", 0, (*Reader).setChannels},
	"compression": {"compression", 1, func(d *Reader, v []byte) error {
		d.header.Compression = Compression(v[0])
		return nil
	}},
	"dataWindow":    {"box2i", 16, func(d *Reader, v []byte) error { d.header.Data = boxOf(v); return nil }},
	"displayWindow": {"box2i", 16, func(d *Reader, v []byte) error { d.header.Display = boxOf(v); return nil }},
	"lineOrder": {"lineOrder", 1, func(d *Reader, v []byte) error {
		if v[0] > 1 {
			return fault("line order %d: must be increasing (0) or decreasing (1)", v[0])
		}
		d.decreases = v[0] == 1
		return nil
	}},
}

func boxOf(v []byte) Box {
	at := func(i int) int32 { return int32(binary.LittleEndian.Uint32(v[i:])) }
	return Box{at(0), at(4), at(8), at(12)}
}

func (d *Reader) setChannels(v []byte) error {
	le := binary.LittleEndian
	for {
		end := bytes.IndexByte(v, 0)
		if end < 0 {
			return fault("a list of channels without an end")
		}
		name := string(v[:end])
		v = v[end+1:]
		if name == "" {
			break
		}
		if len(v) < 16 {
			return fault("channel %q: cut short", name)
		}
		kind, acrossX, acrossY := le.Uint32(v), le.Uint32(v[8:]), le.Uint32(v[12:])
		if acrossX != 1 || acrossY != 1 {
			return fault("channel %q has a sample every %d × %d px: must be one each", name, acrossX, acrossY)
		}
		if kind > uint32(Float) {
			return fault("channel %q has type %d: must be uint, half or float", name, kind)
		}
		d.header.Channels = append(d.header.Channels, Channel{name, Type(kind)})
		v = v[16:]
	}
	return nil
}

// name reads the name or the type of an attribute.
func (d *Reader) name() (string, error) {
	var name []byte
	for {
		c, err := d.in.ReadByte()
		if err != nil {
			return "", short(err, "the header")
		}
		d.at++
		d.max--
		switch {
		case c == 0:
			return string(name), nil
		case len(name) == longName || d.max < 0:
			return "", fault("a name of more than %d bytes", longName)
		}
		name = append(name, c)
	}
}

// fill reads all of b.
func (d *Reader) fill(b []byte, what string) error {
	n, err := io.ReadFull(d.in, b)
	d.at += int64(n)
	if err != nil {
		return short(err, what)
	}
	return nil
}

func (d *Reader) skip(n int64) error {
	got, err := io.CopyN(io.Discard, d.in, n)
	d.at += got
	if err != nil {
		return short(err, "the file")
	}
	return nil
}

// short is the error of a read that got less than it wanted.
func short(err error, what string) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return fault("%s is cut short", what)
	}
	return fmt.Errorf("exr: %w", err)
}
