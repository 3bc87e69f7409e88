package exr

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
)

// Encode writes a file of float channels, from the top row down. row fills the
// samples of row y of the data window, one slice per channel, in the order of the
// header.
//
// The places of the chunks come first in the file. So that few chunks are held in
// memory, row is called twice for each row if there is compression, and must give
// the same both times.
func Encode(w io.Writer, h Header, row func(y int, samples [][]float32) error) error {
	rowBytes, err := h.check()
	if err != nil {
		return err
	}
	for _, c := range h.Channels {
		if c.Type != Float {
			return fault("channel %q: only float channels are written", c.Name)
		}
	}
	head, err := h.bytes()
	if err != nil {
		return err
	}
	p := newPacker(&h, rowBytes, row)
	sizes := make([]int, h.chunks())
	for i := range sizes {
		sizes[i] = int(rowBytes) // a chunk is a row without compression
	}
	if h.Compression != None {
		if err := p.each(func(i int, packed []byte) error {
			sizes[i] = len(packed)
			return nil
		}); err != nil {
			return err
		}
	}

	out := bufio.NewWriterSize(w, 1<<16)
	// A bufio.Writer keeps the first error; Flush tells it.
	out.Write(head)
	offset := uint64(len(head)) + 8*uint64(len(sizes))
	for _, size := range sizes {
		out.Write(binary.LittleEndian.AppendUint64(nil, offset))
		offset += 8 + uint64(size)
	}
	if err := p.each(func(i int, packed []byte) error {
		if len(packed) != sizes[i] {
			return errors.New("exr: rows that differ when asked for again")
		}
		prefix := binary.LittleEndian.AppendUint32(nil, uint32(h.Data.MinY+int32(i*h.Compression.rows())))
		out.Write(binary.LittleEndian.AppendUint32(prefix, uint32(len(packed))))
		if _, err := out.Write(packed); err != nil {
			return fmt.Errorf("exr: %w", err)
		}
		return nil
	}); err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("exr: %w", err)
	}
	return nil
}

// bytes gives the file up to the table of offsets.
func (h *Header) bytes() ([]byte, error) {
	le := binary.LittleEndian
	flags := uint32(version)
	long := func(name string) {
		if len(name) > shortName {
			flags |= flagLong
		}
	}
	var list []byte
	for _, c := range h.Channels {
		if strings.ContainsRune(c.Name, 0) {
			return nil, fault("channel %q: its name holds a zero byte", c.Name)
		}
		long(c.Name)
		list = append(append(list, c.Name...), 0)
		list = le.AppendUint32(list, uint32(c.Type))
		list = le.AppendUint32(list, 0) // linear, and three bytes kept free
		list = le.AppendUint32(list, 1) // every column
		list = le.AppendUint32(list, 1) // every row
	}
	list = append(list, 0)

	var out []byte
	attribute := func(name, kind string, value []byte) {
		long(name)
		out = append(append(out, name...), 0)
		out = append(append(out, kind...), 0)
		out = le.AppendUint32(out, uint32(len(value)))
		out = append(out, value...)
	}
	box := func(b Box) (v []byte) {
		for _, c := range []int32{b.MinX, b.MinY, b.MaxX, b.MaxY} {
			v = le.AppendUint32(v, uint32(c))
		}
		return v
	}
	one := le.AppendUint32(nil, math.Float32bits(1))
	attribute("channels", "chlist", list)
	attribute("compression", "compression", []byte{byte(h.Compression)})
	attribute("dataWindow", "box2i", box(h.Data))
	attribute("displayWindow", "box2i", box(h.Display))
	attribute("lineOrder", "lineOrder", []byte{0})
	attribute("pixelAspectRatio", "float", one)
	attribute("screenWindowCenter", "v2f", make([]byte, 8))
	attribute("screenWindowWidth", "float", one)
	for _, name := range slices.Sorted(maps.Keys(h.Text)) {
		value := h.Text[name]
		if len(name) < shortestName || len(name) > longName || strings.ContainsRune(name, 0) || len(value) > maxText {
			return nil, fault("attribute %q of %d bytes: must have a name of %d to %d bytes, none of them zero, and at most %d bytes", name, len(value), shortestName, longName, maxText)
		}
		attribute(name, "string", []byte(value))
	}
	out = append(out, 0)
	head := le.AppendUint32(nil, magic)
	return append(le.AppendUint32(head, flags), out...), nil
}

// packer makes chunks of rows, several at a time.
type packer struct {
	*Header
	row     func(y int, samples [][]float32) error
	samples [][]float32
	chunks  []chunk
}

type chunk struct {
	raw, mix []byte
	zipped   bytes.Buffer
	zip      *zlib.Writer
}

func newPacker(h *Header, rowBytes int64, row func(y int, samples [][]float32) error) *packer {
	p := &packer{Header: h, row: row, samples: make([][]float32, len(h.Channels))}
	width := int(rowBytes) / 4 / len(h.Channels)
	for i := range p.samples {
		p.samples[i] = make([]float32, width)
	}
	at := 1
	if h.Compression != None {
		at = min(runtime.GOMAXPROCS(0), h.chunks())
	}
	p.chunks = make([]chunk, at)
	for i := range p.chunks {
		c := &p.chunks[i]
		c.raw = make([]byte, 0, int(rowBytes)*h.chunkRows(0))
		if h.Compression != None {
			c.mix = make([]byte, cap(c.raw))
			// Smooth floats shrink little more with more effort.
			c.zip, _ = zlib.NewWriterLevel(nil, zlib.BestSpeed)
		}
	}
	return p
}

// each calls use with the bytes of all chunks, in order. Chunks are packed in
// parallel.
func (p *packer) each(use func(i int, packed []byte) error) error {
	for first, n := 0, p.Header.chunks(); first < n; first += len(p.chunks) {
		batch := p.chunks[:min(len(p.chunks), n-first)]
		var wg sync.WaitGroup
		err := func() error {
			defer wg.Wait()
			for i := range batch {
				c := &batch[i]
				if err := p.fill(c, first+i); err != nil {
					return err
				}
				if c.zip != nil {
					wg.Add(1)
					go func() {
						defer wg.Done()
						c.pack()
					}()
				}
			}
			return nil
		}()
		if err != nil {
			return err
		}
		for i := range batch {
			if err := use(first+i, batch[i].bytes()); err != nil {
				return err
			}
		}
	}
	return nil
}

// fill gets the rows of a chunk.
func (p *packer) fill(c *chunk, i int) error {
	c.raw = c.raw[:0]
	first := int(p.Data.MinY) + i*p.Compression.rows()
	for k := range p.chunkRows(i) {
		if err := p.row(first+k, p.samples); err != nil {
			return err
		}
		for _, channel := range p.samples {
			for _, v := range channel {
				c.raw = binary.LittleEndian.AppendUint32(c.raw, math.Float32bits(v))
			}
		}
	}
	return nil
}

// pack compresses a chunk. Writing to memory does not fail.
func (c *chunk) pack() {
	mix := c.mix[:len(c.raw)]
	part(mix, c.raw)
	c.zipped.Reset()
	c.zip.Reset(&c.zipped)
	c.zip.Write(mix)
	c.zip.Close()
}

// bytes gives a chunk as it is written: unpacked if packing does not make it smaller.
func (c *chunk) bytes() []byte {
	if c.zip == nil || c.zipped.Len() >= len(c.raw) {
		return c.raw
	}
	return c.zipped.Bytes()
}
