package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"example.com/platewright/examples/internal/pictures"
	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/plane"
)

// mostPixels is the largest frame that is read.
const mostPixels = 1 << 27

// listFrames lists what may be frames in a folder, in the order of their numbers: files
// whose names end as those of PNG, JPEG and OpenEXR, and do not begin with a point.
func listFrames(ctx context.Context, folder string) ([]frameFile, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", folder, program.Cause(err))
	}
	var files []frameFile
	for _, e := range entries {
		name := e.Name()
		switch strings.ToLower(filepath.Ext(name)) {
		case ".png", ".jpg", ".jpeg", ".exr":
		default:
			continue
		}
		if e.IsDir() || name[0] == '.' {
			continue
		}
		f := frameFile{Path: filepath.Join(folder, name), Name: name}
		f.Number, f.Known = lastNumber(name)
		files = append(files, f)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("%s: holds no PNG, JPEG or OpenEXR files", folder)
	}
	slices.SortFunc(files, func(a, b frameFile) int { return byNumbers(a.Name, b.Name) })
	return files, ctx.Err()
}

// lastNumber is the last run of digits before the ending of a name.
func lastNumber(name string) (n int64, ok bool) {
	name = strings.TrimSuffix(name, filepath.Ext(name))
	end := strings.LastIndexAny(name, digits) + 1
	n, err := strconv.ParseInt(name[len(strings.TrimRight(name[:end], digits)):end], 10, 64)
	return n, err == nil
}

const digits = "0123456789"

// byNumbers compares names as people count: frame 9 comes before frame 10.
func byNumbers(a, b string) int {
	whole := cmp.Compare(a, b)
	for a != "" && b != "" {
		numberA, restA := leadingNumber(a)
		numberB, restB := leadingNumber(b)
		if numberA == "" || numberB == "" {
			if a[0] != b[0] {
				break
			}
			a, b = a[1:], b[1:]
			continue
		}
		if c := cmp.Or(cmp.Compare(len(numberA), len(numberB)), cmp.Compare(numberA, numberB)); c != 0 {
			return c
		}
		a, b = restA, restB
	}
	return cmp.Or(cmp.Compare(a, b), whole)
}

// leadingNumber splits off the digits at the start of a name, without leading zeros. A
// number of zeros alone keeps one.
func leadingNumber(s string) (number, rest string) {
	rest = strings.TrimLeft(s, digits)
	number = s[:len(s)-len(rest)]
	if trimmed := strings.TrimLeft(number, "0"); trimmed != "" || number == "" {
		return trimmed, rest
	}
	return "0", rest
}

// readShape reads only as much of a file as says what it promises to hold.
func readShape(ctx context.Context, path string) (shape, error) {
	var r reader
	defer r.close()
	return r.open(ctx, path)
}

// reader reads frames one after another and reuses what memory it can: all of it for PNG
// files that are not interlaced, all but some rows for OpenEXR. JPEG and interlaced PNG
// files are decoded as a whole, beside the picture. It is not safe for concurrent use:
// each worker has its own.
type reader struct {
	rows   pictures.Reader
	stride int // channels of a row of a PNG or JPEG file, with alpha

	file     io.ReadCloser // OpenEXR, or nil
	floats   *exr.Reader
	channels []int // the channels of the picture among those of the file
}

// open begins a file.
func (r *reader) open(ctx context.Context, path string) (s shape, err error) {
	if strings.EqualFold(filepath.Ext(path), ".exr") {
		if r.file, err = program.Open(ctx, path); err != nil {
			return s, err
		}
		s, err = r.openFloats()
		return s, faulty(ctx, path, err)
	}
	h, err := r.rows.Open(ctx, path, mostPixels)
	if err != nil {
		return s, err
	}
	r.stride = h.Channels
	s = shape{Width: h.Width, Height: h.Height, Channels: 1, Kind: eightBit}
	if h.Channels > 2 {
		s.Channels = 3
	}
	if h.Bits == 16 {
		s.Kind = sixteenBit
	}
	return s, nil
}

func (r *reader) close() {
	r.rows.Close()
	if r.file != nil {
		r.file.Close()
	}
	r.file, r.floats = nil, nil
}

// faulty is an error about the content of a file.
func faulty(ctx context.Context, path string, err error) error {
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return fmt.Errorf("%s: %w", path, err)
}

func (r *reader) openFloats() (s shape, err error) {
	in := bufio.NewReader(r.file)
	if _, err := in.Peek(1); err == io.EOF {
		return s, errors.New("is empty")
	}
	if r.floats, err = exr.NewReader(in, 4*mostPixels); err != nil {
		return s, err
	}
	h := r.floats.Header()
	if h.Data != h.Display {
		return s, errors.New("its data window is not its display window: must be the same")
	}
	w, height := h.Data.Size()
	if w*height > mostPixels {
		return s, fmt.Errorf("%d × %d px: must be at most %d px", w, height, mostPixels)
	}
	s = shape{Width: int(w), Height: int(height), Kind: floating}
	place := func(name string) int {
		return slices.IndexFunc(h.Channels, func(c exr.Channel) bool { return c.Name == name && c.Type != exr.Uint })
	}
	r.channels = []int{place("R"), place("G"), place("B")}
	if slices.Contains(r.channels, -1) {
		r.channels = []int{place("Y")}
	}
	if slices.Contains(r.channels, -1) {
		return s, errors.New("no channels R, G and B, and no Y, of half or float samples")
	}
	s.Channels = len(r.channels)
	return s, nil
}

// read reads a frame. The shape of the picture is that of the file. What is wrong with a
// file is an error that begins with its path; NaN and infinities are one too. After an
// error the picture holds nothing of use.
func (r *reader) read(ctx context.Context, path string, into *picture) error {
	defer r.close()
	s, err := r.open(ctx, path)
	if err != nil {
		return err
	}
	if r.floats != nil {
		return faulty(ctx, path, r.readFloats(s, into))
	}
	for y := 0; ; y++ {
		row, err := r.rows.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if y == 0 {
			into.reshape(s) // memory is taken only once there is something to put into it
		}
		if s.Kind == sixteenBit {
			r.splitWords(row, into.Words, y*s.Width)
			continue
		}
		for k, channel := range into.Bytes {
			out := channel.Pix[y*s.Width:][:s.Width]
			for x := range out {
				out[x] = row[k+x*r.stride]
			}
		}
	}
}

// splitWords puts the samples of a row into planes, from their sample first on.
func (r *reader) splitWords(row []byte, planes []plane.Plane[uint16], first int) {
	n := planes[0].Width
	if r.stride == 3 { // nearly all frames: one pass is several times as fast as three
		red, green, blue := planes[0].Pix[first:][:n], planes[1].Pix[first:][:n], planes[2].Pix[first:][:n]
		for x := range red {
			_ = row[5]
			red[x], green[x], blue[x] = binary.BigEndian.Uint16(row), binary.BigEndian.Uint16(row[2:]), binary.BigEndian.Uint16(row[4:])
			row = row[6:]
		}
		return
	}
	for k, channel := range planes {
		out := channel.Pix[first:][:n]
		for x := range out {
			out[x] = binary.BigEndian.Uint16(row[2*(k+x*r.stride):])
		}
	}
}

func (r *reader) readFloats(s shape, into *picture) error {
	top := int(r.floats.Header().Data.MinY)
	for first := true; ; first = false {
		y, samples, err := r.floats.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if first {
			into.reshape(s)
		}
		y -= top
		for k, c := range r.channels {
			out := into.Floats[k].Pix[y*s.Width:][:s.Width]
			for x, v := range samples[c] {
				if v-v != 0 {
					return fmt.Errorf("holds %v in channel %s at column %d, row %d", v, r.floats.Header().Channels[c].Name, x, y)
				}
				out[x] = v
			}
		}
	}
}

// reshape gives the picture planes of a shape, in the memory that it has if that is
// enough.
func (p *picture) reshape(s shape) {
	p.shape = s
	p.Bytes = planes(p.Bytes, s, eightBit)
	p.Words = planes(p.Words, s, sixteenBit)
	p.Floats = planes(p.Floats, s, floating)
}

func planes[T plane.Sample](have []plane.Plane[T], s shape, kind sampleKind) []plane.Plane[T] {
	if s.Kind != kind {
		return nil
	}
	have = slices.Grow(have, s.Channels)[:s.Channels]
	for k := range have {
		have[k] = plane.Plane[T]{Pix: samples(have[k].Pix, s.Width*s.Height), Width: s.Width, Height: s.Height}
	}
	return have
}

func samples[T plane.Sample](have []T, n int) []T {
	if cap(have) < n {
		return make([]T, n)
	}
	return have[:n]
}

// shrink fills into with the frame made smaller by factor. linear gives the light of a
// code, and white is the code from which on a sample is clipped.
func (p *picture) shrink(ctx context.Context, factor int, linear func(code float64) float64, white float64, into *small) error {
	if factor < 1 || p.Width < factor || p.Height < factor {
		return fmt.Errorf("a frame of %d × %d px cannot be made smaller by %d", p.Width, p.Height, factor)
	}
	w, h := p.Width/factor, p.Height/factor
	s := shape{Width: w, Height: h, Channels: p.Channels, Kind: floating}
	into.Width, into.Height, into.Factor = w, h, factor
	into.Channels = planes(into.Channels, s, floating)
	switch p.Kind {
	case eightBit:
		return shrink(ctx, p.Bytes, linear, white, into)
	case sixteenBit:
		return shrink(ctx, p.Words, linear, white, into)
	default:
		return shrink(ctx, p.Floats, linear, white, into)
	}
}

func shrink[T plane.Sample](ctx context.Context, from []plane.Plane[T], linear func(code float64) float64, white float64, into *small) error {
	lights := plane.NewLights[T](linear, from[0].Width*from[0].Height)
	n := into.Factor
	return parallel.Until(ctx, into.Height, func(y int) {
		clipped := make([]bool, into.Width)
		sums := make([]float64, into.Width)
		for k, channel := range from {
			clear(sums)
			for j := range n {
				row, step := channel.Row(y*n + j)
				for x := range sums {
					sum := 0.0
					for i := x * n * step; i < (x+1)*n*step && i < len(row); i += step {
						sum += lights.Of(row[i])
						clipped[x] = clipped[x] || float64(row[i]) >= white
					}
					sums[x] += sum
				}
			}
			out := into.Channels[k].Pix[y*into.Width:]
			for x, sum := range sums {
				out[x] = float32(sum / float64(n*n))
			}
		}
		for x, c := range clipped {
			for k := range into.Channels {
				if v := &into.Channels[k].Pix[y*into.Width+x]; c {
					*v = max(*v, 1)
				}
			}
		}
	})
}
