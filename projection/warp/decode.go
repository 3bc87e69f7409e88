package warp

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/valid"
)

// DecodeOptions govern DecodeMap. The zero value is the default.
type DecodeOptions struct {
	MapOptions
	Origin    Origin // of files that do not state it: all but those of MapEXR
	MaxPixels int    // the most that the target may have; 0: 2²⁷
}

// DecodeMap reads a map from a file of any MapFormat, which it tells by its
// first bytes, for a source of the size given. Rows are made into cells as they
// come, as NewMapFromPositions does; only a PNG is held as a whole, at 8 bytes
// a pixel and those of the file.
//
// An OpenEXR file must have float channels R and G; half ones, whose 11 bits
// tell no two pixels apart beyond 2048, are refused. Where there is a channel
// A, a pixel is seen if it is 1: less is what resampling makes of an edge, where
// positions are mixed too. The target is the display window; it sees nothing
// beyond the data window, and what the data window holds beyond it is left out.
// A file that states its origin, as those of EncodeMap do, is believed.
//
// A PFM file must have three channels, either byte order, and a pixel is seen
// where the third is 1 or more. A PNG must have 16 bits and colour; a pixel is
// seen where alpha, if any, is full. In all, NaN is unseen, and so are
// positions outside the source.
//
// The tolerance is met against what the file holds. A PNG's rounding exceeds the
// default tolerance from a source of 2048 px on: such a map is stored pixel by
// pixel, at 8 bytes each, unless the tolerance is raised to width/65535 or so.
//
// What a header promises is checked against MaxPixels, and takes no memory before
// a first row has come. Memory follows what is read, of which a byte may unpack to
// a thousand, and the map: 0.2 byte for each pixel of the target, 8 for each row
// and column, and 8 for each pixel of the cells that are stored. DecodeMap returns
// the context's error when cancelled.
func DecodeMap(ctx context.Context, r io.Reader, source SourceSpec, opts DecodeOptions) (*Map, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if valid.Absent(r) {
		c.Fault("reader", "nil", "must be given")
	}
	checkOrigin(c, opts.Origin)
	c.Int("MaxPixels", opts.MaxPixels, "px", 0, math.MaxInt)
	// One pixel stands for the target until its size is known.
	newBuilder(c, 1, 1, nil, nil, source, opts.MapOptions)
	if !c.OK() {
		return nil, c.Err()
	}
	if opts.MaxPixels == 0 {
		opts.MaxPixels = 1 << 27
	}
	watched := &watched{Reader: r, ctx: ctx}
	d := &decoder{ctx: ctx, in: bufio.NewReaderSize(watched, 1<<16), source: source, opts: opts}
	var err error
	switch first, _ := d.in.Peek(4); {
	case bytes.Equal(first, []byte{0x76, 0x2f, 0x31, 0x01}):
		err = d.exr()
	case bytes.Equal(first, []byte("\x89PNG")):
		err = d.png()
	case bytes.HasPrefix(first, []byte("PF")):
		err = d.pfm()
	default:
		err = d.fault("no OpenEXR, PFM with three channels or PNG")
	}
	switch {
	case err != nil && ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil && watched.err != nil:
		return nil, fmt.Errorf("warp: %w", watched.err)
	case err != nil:
		return nil, err
	}
	d.settle()
	return d.finishKnown(ctx, opts.MapOptions)
}

// watched ends when the context does, and remembers the error of a reader: not
// every decoder passes it on.
type watched struct {
	io.Reader
	ctx context.Context
	err error
}

func (w *watched) Read(p []byte) (n int, err error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	n, err = w.Reader.Read(p)
	if err != nil && err != io.EOF {
		w.err = err
	}
	return n, err
}

// decoder gathers the rows of a file into rows of cells.
type decoder struct {
	ctx    context.Context
	in     *bufio.Reader
	source SourceSpec
	opts   DecodeOptions
	*builder

	left   int                 // the first column of the target that the file has
	band   [cellSide][]float64 // x and y by turns, of the pixels of a row of cells; nil: rows not seen
	spare  [][]float64         // rows of earlier bands
	row    int                 // of cells, that is being gathered; −1: none
	done   int                 // rows of cells that are settled
	xs, ys []float32           // of one row of pixels, as the file has them
	mask   []float32           // less than 1: unseen
}

func (d *decoder) fault(format string, args ...any) error {
	c := valid.New("warp", ErrInvalid)
	c.Fault("map", "file", format, args...)
	return c.Err()
}

// checkSize says whether a target of the size that a file states may be made.
func (d *decoder) checkSize(width, height int64) error {
	if width < 1 || height < 1 || width > maxSide || height > maxSide || width*height > int64(d.opts.MaxPixels) {
		return d.fault("%d × %d px: must be 1 to %d px each way and at most %d px", width, height, maxSide, d.opts.MaxPixels)
	}
	return nil
}

// begin makes an empty map, of which the file has n columns from left on. It is
// called when the first of its rows has been read: what a header promises takes
// no memory.
func (d *decoder) begin(width, height, left, n int) error {
	c := valid.New("warp", ErrInvalid)
	d.builder = newBuilder(c, width, height, nil, nil, d.source, d.opts.MapOptions)
	if !c.OK() {
		return c.Err()
	}
	d.row, d.left = -1, left
	d.xs, d.ys, d.mask = make([]float32, n), make([]float32, n), make([]float32, n)
	return nil
}

// add takes in xs, ys and mask as row y of the target. Rows come in order, up
// or down.
func (d *decoder) add(y int) error {
	if err := d.ctx.Err(); err != nil {
		return err
	}
	row := int(d.rowOf[y])
	if row != d.row {
		d.settle()
		d.row = row
	}
	var band []float64
	if n := len(d.spare); n > 0 {
		band, d.spare = d.spare[n-1], d.spare[:n-1]
	} else {
		band = make([]float64, 2*len(d.xs))
	}
	d.band[y-d.rowEdges[row]] = band
	w, h := float64(d.srcWidth), float64(d.srcHeight)
	for i, x := range d.xs {
		band[2*i] = math.NaN()
		if !(d.mask[i] >= 1) { // NaN
			continue
		}
		sx, sy := w*float64(x), h*float64(d.ys[i])
		if d.opts.Origin == OriginBottomLeft {
			sy = h - sy
		}
		if sx, sy, ok := d.inside(sx, sy); ok {
			band[2*i], band[2*i+1] = sx, sy
		}
	}
	return nil
}

// settle makes cells of the rows gathered.
func (d *decoder) settle() {
	if d.builder == nil || d.row < 0 {
		return
	}
	top := d.rowEdges[d.row]
	d.settleKnown(d.row, func(x, y int) (sx, sy float64, ok bool) {
		band, i := d.band[y-top], 2*(x-d.left)
		if i < 0 || i >= len(band) {
			return 0, 0, false
		}
		return band[i], band[i+1], band[i] == band[i]
	})
	for i, band := range d.band {
		if band != nil {
			d.spare, d.band[i] = append(d.spare, band), nil
		}
	}
	if d.opts.Progress != nil {
		d.done++
		d.opts.Progress(d.done, 2*len(d.tally))
	}
	d.row = -1
}

func (d *decoder) exr() error {
	// A map has few channels; others may stand beside.
	const channels = 16
	r, err := exr.NewReader(d.in, channels*min(int64(d.opts.MaxPixels), 1<<48))
	if err != nil {
		return d.fault("%v", err)
	}
	h := r.Header()
	find := func(name string) int {
		return slices.IndexFunc(h.Channels, func(c exr.Channel) bool { return c.Name == name })
	}
	red, green, alpha := find("R"), find("G"), find("A")
	for _, k := range []int{red, green} {
		if k < 0 || h.Channels[k].Type != exr.Float {
			return d.fault("must have channels R and G of 32-bit floats")
		}
	}
	for o, name := range originNames {
		if h.Text[originAttribute] == name {
			d.opts.Origin = Origin(o)
		}
	}
	width, height := h.Display.Size()
	if err := d.checkSize(width, height); err != nil {
		return err
	}
	// The columns of the data window within the display window.
	left, right := max(h.Data.MinX, h.Display.MinX), min(h.Data.MaxX, h.Display.MaxX)
	from, to := int64(left)-int64(h.Data.MinX), int64(right)-int64(h.Data.MinX)+1
	if from >= to {
		from, to = 0, 0
	}
	for {
		y, samples, err := r.Next()
		if err != nil && err != io.EOF {
			return d.fault("%v", err)
		}
		if d.builder == nil {
			if err := d.begin(int(width), int(height), int(int64(left)-int64(h.Display.MinX)), int(to-from)); err != nil {
				return err
			}
		}
		if err == io.EOF {
			return nil
		}
		if y < int(h.Display.MinY) || y > int(h.Display.MaxY) || from == to {
			continue
		}
		copy(d.xs, samples[red][from:to])
		copy(d.ys, samples[green][from:to])
		if alpha < 0 {
			for i := range d.mask {
				d.mask[i] = 1
			}
		} else {
			copy(d.mask, samples[alpha][from:to])
		}
		if err := d.add(y - int(h.Display.MinY)); err != nil {
			return err
		}
	}
}

func (d *decoder) pfm() error {
	var fields [4]string
	for i := range fields {
		var err error
		if fields[i], err = d.word(); err != nil {
			return err
		}
	}
	width, err1 := strconv.Atoi(fields[1])
	height, err2 := strconv.Atoi(fields[2])
	scale, err3 := strconv.ParseFloat(fields[3], 64)
	if fields[0] != "PF" || err1 != nil || err2 != nil || err3 != nil || !(scale < 0 || scale > 0) {
		return d.fault("PFM with the header %q: must be PF, width, height, and a scale whose sign gives the byte order", fields)
	}
	if err := d.checkSize(int64(width), int64(height)); err != nil {
		return err
	}
	var order binary.ByteOrder = binary.BigEndian
	if scale < 0 {
		order = binary.LittleEndian
	}
	var row bytes.Buffer // it grows with what is read
	for y := height - 1; y >= 0; y-- {
		row.Reset()
		if _, err := io.CopyN(&row, d.in, 12*int64(width)); err != nil {
			return d.fault("cut short")
		}
		if d.builder == nil {
			if err := d.begin(width, height, 0, width); err != nil {
				return err
			}
		}
		b := row.Bytes()
		for i := range d.xs {
			d.xs[i] = math.Float32frombits(order.Uint32(b[12*i:]))
			d.ys[i] = math.Float32frombits(order.Uint32(b[12*i+4:]))
			d.mask[i] = math.Float32frombits(order.Uint32(b[12*i+8:]))
		}
		if err := d.add(y); err != nil {
			return err
		}
	}
	return nil
}

const (
	// deflates is the most bytes that deflate packs into one: 258 into 2 bits
	// (P. Deutsch, RFC 1951 (1996), 3.2.5, from memory).
	deflates = 1032
	// maxBeside bounds what a PNG may hold beside its picture.
	maxBeside = 1 << 24
)

// word reads up to the next white space, which is one byte.
func (d *decoder) word() (string, error) {
	var word []byte
	for {
		b, err := d.in.ReadByte()
		switch {
		case err != nil:
			return "", d.fault("cut short")
		case b == ' ' || b == '\t' || b == '\r' || b == '\n':
			return string(word), nil
		case len(word) == 32:
			return "", d.fault("PFM with a header that does not end")
		}
		word = append(word, b)
	}
}

func (d *decoder) png() error {
	// The header stands at the beginning, always of one length: W3C, Portable
	// Network Graphics, 2nd ed. (2003), 11.2.2, from memory.
	head, _ := d.in.Peek(26)
	if len(head) < 26 {
		return d.fault("cut short")
	}
	const rgb, rgba = 2, 6
	if depth, kind := head[24], head[25]; string(head[12:16]) != "IHDR" || depth != 16 || kind != rgb && kind != rgba {
		return d.fault("PNG of %d bits and colour type %d: must have 16 bits and colour", depth, kind)
	}
	width, height := int64(binary.BigEndian.Uint32(head[16:])), int64(binary.BigEndian.Uint32(head[20:]))
	if err := d.checkSize(width, height); err != nil {
		return err
	}
	// The decoder takes memory for the whole picture at once, so the file is read
	// before: one that is too short to hold it is refused.
	samples := int64(3)
	if head[25] == rgba {
		samples = 4
	}
	raw := height * (1 + 2*samples*width)
	var file bytes.Buffer
	if _, err := io.Copy(&file, io.LimitReader(d.in, raw+raw/1000+maxBeside)); err != nil {
		return d.fault("%v", err)
	}
	if int64(file.Len()) < raw/deflates {
		return d.fault("PNG of %d × %d px in %d bytes: cut short", width, height, file.Len())
	}
	img, err := png.Decode(&file)
	if err != nil {
		return d.fault("%v", err)
	}
	if err := d.begin(int(width), int(height), 0, int(width)); err != nil {
		return err
	}
	var pix []uint8
	var stride int
	switch p := img.(type) {
	case *image.NRGBA64:
		pix, stride = p.Pix, p.Stride
	case *image.RGBA64: // without alpha: all is opaque
		pix, stride = p.Pix, p.Stride
	default:
		return d.fault("PNG of type %T", img)
	}
	for y := range d.height {
		row := pix[y*stride:]
		for i := range d.xs {
			p := row[8*i : 8*i+8]
			d.xs[i] = float32(binary.BigEndian.Uint16(p)) / 0xffff
			d.ys[i] = float32(binary.BigEndian.Uint16(p[2:])) / 0xffff
			d.mask[i] = float32(binary.BigEndian.Uint16(p[6:])) / 0xffff
		}
		if err := d.add(y); err != nil {
			return err
		}
	}
	return nil
}
