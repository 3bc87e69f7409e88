package warp

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/valid"
)

// MapFormat is a kind of file that holds a map. All hold, of target pixel by
// target pixel, the source position x/width in red and y/height in green, from
// 0 at the outer edge of the first source pixel to 1 at that of the last: the
// map of a raster onto itself has (i+½)/width at pixel i. So a map serves
// versions of its source of any size. The zero MapFormat is none.
type MapFormat uint8

const (
	// MapEXR is OpenEXR: scan lines of 32-bit floats, ZIP, in channels R, G,
	// B and A. A is 1 where the source is seen; elsewhere all are 0. Rounding
	// moves a position by 2⁻²⁵ of the source's side at most: 0.0015 px at
	// 49152 px. The target is at most 8388607 px wide.
	MapEXR MapFormat = iota + 1
	// MapEXRPlain is the same without compression: larger and sooner written,
	// and as wide as a map may be.
	MapEXRPlain
	// MapPFM is a portable float map of three channels, the lowest row first,
	// little-endian. The third is 1 where the source is seen; elsewhere all
	// are 0. Rounding is that of MapEXR.
	MapPFM
	// MapPNG16 is PNG of 16 bits, in red, green, blue and alpha. Alpha is full
	// where the source is seen; elsewhere all are 0. Rounding moves a position
	// by up to 1/131070 of the source's side: 0.094 px at 12288 px. It is for
	// previews, and for what reads nothing else.
	MapPNG16
)

// Origin is the corner of the source from which a file counts positions. The
// first row of the file is that of the target's top, whatever the origin, but
// for MapPFM, whose rows always begin at the bottom.
type Origin uint8

const (
	OriginTopLeft    Origin = iota // y/height, down
	OriginBottomLeft               // 1 − y/height, up
)

// These attributes of MapEXR say what its numbers are.
const (
	originAttribute  = "platewright:origin"
	meaningAttribute = "platewright:map"
	meaning          = "R, G: source position over source width, height; corners 0 and 1, pixel i at (i + 1/2)/n; A: 1 seen, 0 not"
)

var originNames = [...]string{OriginTopLeft: "top left", OriginBottomLeft: "bottom left"}

// EncodeOptions govern EncodeMap. Format must be given.
type EncodeOptions struct {
	Format   MapFormat
	Origin   Origin
	Progress func(done, total int) // called after each row that is written, of MapEXR also as it is measured
}

// EncodeMap writes a map as a file, row by row, without a copy of it in
// between. MapEXR goes through the rows twice, since its packed sizes come first.
//
// Nothing of the map's Jacobian is kept, and nothing of what the source is:
// DecodeMap is told its size, seams and margins. It returns the context's error
// when cancelled.
func EncodeMap(ctx context.Context, w io.Writer, m *Map, opts EncodeOptions) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if valid.Absent(w) {
		c.Fault("writer", "nil", "must be given")
	}
	if m == nil || m.width == 0 {
		c.Fault("map", "none", "must be made by NewMap, NewMapFromPositions or DecodeMap")
	}
	if opts.Format < MapEXR || opts.Format > MapPNG16 {
		c.Fault("Format", fmt.Sprint(opts.Format), "must be MapEXR, MapEXRPlain, MapPFM or MapPNG16")
	}
	checkOrigin(c, opts.Origin)
	if !c.OK() {
		return c.Err()
	}
	e := &encoder{ctx: ctx, m: m, opts: opts, xs: make([]float32, m.width), ys: make([]float32, m.width), seen: make([]float32, m.width)}
	e.total = m.height
	switch opts.Format {
	case MapPFM:
		return e.pfm(w)
	case MapPNG16:
		return e.png(w)
	}
	return e.exr(w)
}

func checkOrigin(c *valid.Checker, o Origin) {
	if o > OriginBottomLeft {
		c.Fault("Origin", fmt.Sprint(uint8(o)), "must be OriginTopLeft or OriginBottomLeft")
	}
}

type encoder struct {
	ctx          context.Context
	m            *Map
	opts         EncodeOptions
	xs, ys, seen []float32 // of one row, as the file has them
	done, total  int
}

// row gets a row of the target ready.
func (e *encoder) row(y int) error {
	if err := e.ctx.Err(); err != nil {
		return err
	}
	m := e.m
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	clear(e.xs)
	clear(e.ys)
	clear(e.seen)
	row := int(m.rowOf[y])
	for col, x0 := range m.colEdges[:len(m.colEdges)-1] {
		x1 := m.colEdges[col+1]
		if !m.positions(row, col, y, x0, s.xs[:x1-x0], s.ys[:x1-x0]) {
			continue
		}
		for i := range x1 - x0 {
			if s.xs[i] != s.xs[i] {
				continue
			}
			sx, sy := m.confine(s.xs[i], s.ys[i]) // stored offsets are rounded
			if e.opts.Origin == OriginBottomLeft {
				sy = h - sy
			}
			e.xs[x0+i], e.ys[x0+i], e.seen[x0+i] = float32(sx/w), float32(sy/h), 1
		}
	}
	e.done++
	if e.opts.Progress != nil {
		e.opts.Progress(e.done, e.total)
	}
	return nil
}

func (e *encoder) exr(w io.Writer) error {
	box := exr.Box{MaxX: int32(e.m.width - 1), MaxY: int32(e.m.height - 1)}
	h := exr.Header{
		Channels: []exr.Channel{{Name: "A", Type: exr.Float}, {Name: "B", Type: exr.Float}, {Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}},
		Data:     box, Display: box,
		Text: map[string]string{originAttribute: originNames[e.opts.Origin], meaningAttribute: meaning},
	}
	if e.opts.Format == MapEXR {
		h.Compression = exr.ZIP
		e.total *= 2
	}
	err := exr.Encode(w, h, func(y int, samples [][]float32) error {
		if err := e.row(y); err != nil {
			return err
		}
		copy(samples[0], e.seen)
		copy(samples[2], e.ys)
		copy(samples[3], e.xs)
		return nil
	})
	if errors.Is(err, exr.ErrFormat) {
		c := valid.New("warp", ErrInvalid)
		c.Fault("map", fmt.Sprintf("%d px wide", e.m.width), "does not fit into the file: %v", err)
		return c.Err()
	}
	return err
}

func (e *encoder) pfm(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	fmt.Fprintf(out, "PF\n%d %d\n-1.0\n", e.m.width, e.m.height)
	var b []byte
	for y := e.m.height - 1; y >= 0; y-- {
		if err := e.row(y); err != nil {
			return err
		}
		b = b[:0]
		for i, x := range e.xs {
			for _, v := range [3]float32{x, e.ys[i], e.seen[i]} {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
			}
		}
		if _, err := out.Write(b); err != nil {
			return fmt.Errorf("warp: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("warp: %w", err)
	}
	return nil
}

func (e *encoder) png(w io.Writer) error {
	p := &picture{encoder: e, y: -1}
	quick := png.Encoder{CompressionLevel: png.BestSpeed}
	err := quick.Encode(unlessFailed{w, p}, p)
	if p.err != nil {
		return p.err
	}
	if err != nil {
		return fmt.Errorf("warp: %w", err)
	}
	return nil
}

// unlessFailed stops the encoder where a picture has failed, which has no other
// way to tell it.
type unlessFailed struct {
	io.Writer
	p *picture
}

func (w unlessFailed) Write(b []byte) (int, error) {
	if w.p.err != nil {
		return 0, w.p.err
	}
	return w.Writer.Write(b)
}

// picture is a map as a picture that is asked for row after row.
type picture struct {
	*encoder
	y   int // the row that is ready
	err error
}

func (p *picture) ColorModel() color.Model { return color.NRGBA64Model }
func (p *picture) Bounds() image.Rectangle { return image.Rect(0, 0, p.m.width, p.m.height) }
func (p *picture) Opaque() bool            { return false } // else the encoder would look at every pixel

func (p *picture) At(x, y int) color.Color {
	if y != p.y && p.err == nil {
		p.y = y
		p.err = p.row(y)
	}
	if p.err != nil || p.seen[x] == 0 {
		return color.NRGBA64{}
	}
	return color.NRGBA64{R: sixteen(p.xs[x]), G: sixteen(p.ys[x]), A: 0xffff}
}

// sixteen is 0 to 1 in 16 bits, the nearest.
func sixteen(v float32) uint16 { return uint16(min(max(float64(v), 0), 1)*0xffff + 0.5) }
