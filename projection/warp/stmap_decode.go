package warp

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/valid"
)

// DecodeOptions control DecodeSTMap.
type DecodeOptions struct {
	MapOptions
	BottomLeft bool // green counts from the bottom of the source, unless the file states its origin
	MaxPixels  int  // the most that the target may have; 0: 2²⁷
}

// DecodeSTMap reads an ST map (see EncodeSTMap) for a source of the given size, and
// makes a map of it as NewMapFromPositions does.
//
// The file must be OpenEXR with scan lines and float channels R and G. Half floats
// are an error: their 11 bits cannot tell pixels apart beyond 2048. A pixel is
// unseen if there is a channel A below 1, since interpolated edges mix positions,
// if its position is NaN or outside the source, and outside the data window. The
// target is the display window. A file that states its origin, as those of
// EncodeSTMap do, overrides BottomLeft.
//
// Memory grows with the rows read, up to MaxPixels.
func DecodeSTMap(ctx context.Context, r io.Reader, source SourceSpec, opts DecodeOptions) (*Map, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if valid.Absent(r) {
		c.Fault("reader", "nil", "must be given")
	}
	c.Int("MaxPixels", opts.MaxPixels, "px", 0, math.MaxInt)
	// One pixel stands for the target until its size is known.
	newBuilder(new(Map)).begin(c, 1, 1, nil, nil, source, opts.MapOptions)
	if !c.OK() {
		return nil, c.Err()
	}
	if opts.MaxPixels == 0 {
		opts.MaxPixels = 1 << 27
	}
	watched := &watched{Reader: r, ctx: ctx}
	d := &decoder{ctx: ctx, source: source, opts: opts}
	err := d.decode(bufio.NewReaderSize(watched, 1<<16))
	switch {
	case err != nil && ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil && watched.err != nil:
		return nil, fmt.Errorf("warp: %w", watched.err)
	case err != nil:
		return nil, err
	}
	d.settle()
	return d.finishKnown(ctx)
}

// watched is a reader that ends when the context does. It remembers the error of
// the caller's reader, which decoding may hide.
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
	c.Fault("ST map", "file", format, args...)
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
	b := newBuilder(new(Map))
	if !b.begin(c, width, height, nil, nil, d.source, d.opts.MapOptions) {
		return c.Err()
	}
	d.builder = b
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
		if d.opts.BottomLeft {
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

func (d *decoder) decode(in *bufio.Reader) error {
	// A map has few channels; others may stand beside.
	const channels = 16
	r, err := exr.NewReader(in, channels*min(int64(d.opts.MaxPixels), 1<<48))
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
	switch h.Text[originAttribute] {
	case topLeft:
		d.opts.BottomLeft = false
	case bottomLeft:
		d.opts.BottomLeft = true
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
