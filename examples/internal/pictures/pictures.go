// Package pictures reads PNG and JPEG files row by row. PNG files stream, but for
// interlaced ones. These and JPEG files are decoded as a whole.
package pictures

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"

	"example.com/platewright/examples/internal/pngrows"
	"example.com/platewright/examples/internal/program"
)

// Reader reads files one after another, row by row, in memory that it keeps. The zero
// value is ready.
type Reader struct {
	png    pngrows.Reader
	format pngrows.Header
	ctx    context.Context
	path   string
	file   io.ReadCloser

	decode func(io.Reader) (image.Image, error) // of a file that does not stream, until it is decoded
	whole  image.Image                          // what it gave
	y      int                                  // the next row of it
	line   []byte
}

// Open begins a file and says what its rows hold. A file of more than maxPixels pixels is
// an error, and so is any other fault: the text begins with the path. Reads fail once
// the context has ended. Close must follow, also after an error.
func (r *Reader) Open(ctx context.Context, path string, maxPixels int64) (pngrows.Header, error) {
	r.ctx, r.path, r.decode, r.y = ctx, path, nil, 0
	err := r.again()
	if err != nil {
		return pngrows.Header{}, err
	}
	if r.format, err = r.start(maxPixels); err != nil {
		return pngrows.Header{}, r.fault(err)
	}
	return r.format, nil
}

func (r *Reader) start(maxPixels int64) (h pngrows.Header, err error) {
	in := bufio.NewReader(r.file)
	magic, err := in.Peek(len(pngrows.Signature))
	switch {
	case len(magic) == 0 && err == io.EOF:
		return h, errors.New("is empty")
	case err != nil && err != io.EOF:
		return h, err
	case len(magic) > 2 && string(magic[:3]) == "\xff\xd8\xff":
		return r.jpegFormat(in, maxPixels)
	case string(magic) != pngrows.Signature:
		return h, errors.New("not a PNG or JPEG file")
	}
	h, err = r.png.Reset(in, maxPixels)
	if err == pngrows.ErrInterlaced {
		return r.interlacedFormat(maxPixels)
	}
	return h, err
}

// again opens the file from its beginning.
func (r *Reader) again() (err error) {
	r.Close()
	r.file, err = program.Open(r.ctx, r.path)
	return err
}

// Close closes the file.
func (r *Reader) Close() error {
	r.whole = nil
	if r.file == nil {
		return nil
	}
	f := r.file
	r.file = nil
	return f.Close()
}

// fault is an error as the caller gets it.
func (r *Reader) fault(err error) error {
	if e := r.ctx.Err(); e != nil {
		return e
	}
	return fmt.Errorf("%s: %w", r.path, err)
}

func (r *Reader) jpegFormat(in io.Reader, maxPixels int64) (h pngrows.Header, err error) {
	c, err := jpeg.DecodeConfig(in)
	if err != nil {
		return h, broken(err)
	}
	h = pngrows.Header{Width: c.Width, Height: c.Height, Bits: 8}
	switch c.ColorModel {
	case color.GrayModel:
		h.Channels = 1
	case color.YCbCrModel:
		h.Channels = 3
	case color.RGBAModel:
		h.Channels = 4
	default:
		return h, errors.New("has inks of a print for channels: must be grey or colours of light")
	}
	r.decode = jpeg.Decode
	return h, sized(h, maxPixels)
}

func (r *Reader) interlacedFormat(maxPixels int64) (h pngrows.Header, err error) {
	if err := r.again(); err != nil {
		return h, err
	}
	c, err := png.DecodeConfig(bufio.NewReader(r.file))
	if err != nil {
		return h, broken(err)
	}
	h = pngrows.Header{Width: c.Width, Height: c.Height, Channels: 4, Bits: 8}
	switch c.ColorModel {
	case color.GrayModel:
		h.Channels = 1
	case color.Gray16Model:
		h.Channels, h.Bits = 1, 16
	case color.RGBA64Model, color.NRGBA64Model:
		h.Bits = 16
	}
	r.decode = png.Decode
	return h, sized(h, maxPixels)
}

func sized(h pngrows.Header, maxPixels int64) error {
	if n := int64(h.Width) * int64(h.Height); n < 1 || n > maxPixels {
		return fmt.Errorf("%d × %d px: must be 1 to %d px", h.Width, h.Height, maxPixels)
	}
	return nil
}

func broken(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return errors.New("cut short")
	}
	return fmt.Errorf("damaged: %w", err)
}

// Next gives the next row from the top, as pngrows.Reader.Next does. After the last the
// error is io.EOF.
func (r *Reader) Next() ([]byte, error) {
	var row []byte
	var err error
	if r.decode == nil && r.whole == nil {
		row, err = r.png.Next()
	} else {
		row, err = r.nextOfWhole()
	}
	if err != nil && err != io.EOF {
		return nil, r.fault(err)
	}
	return row, err
}

func (r *Reader) nextOfWhole() ([]byte, error) {
	if r.whole == nil {
		if err := r.again(); err != nil {
			return nil, err
		}
		img, err := r.decode(bufio.NewReaderSize(r.file, 1<<16))
		if err != nil {
			return nil, broken(err)
		}
		if err := r.check(img); err != nil {
			return nil, err
		}
		r.whole, r.decode = img, nil
		r.line = make([]byte, r.format.Width*r.format.Channels*r.format.Bits/8)
	}
	if r.y == r.format.Height {
		return nil, io.EOF
	}
	y := r.y
	r.y++
	switch p := r.whole.(type) {
	case *image.Gray:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.Gray16:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.RGBA:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.NRGBA:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.RGBA64:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.NRGBA64:
		return p.Pix[y*p.Stride:][:len(r.line)], nil
	case *image.YCbCr:
		for x := range r.format.Width {
			at, colour := p.YOffset(x, y), p.COffset(x, y)
			r.line[3*x], r.line[3*x+1], r.line[3*x+2] = color.YCbCrToRGB(p.Y[at], p.Cb[colour], p.Cr[colour])
		}
	case *image.Paletted:
		for x, k := range p.Pix[y*p.Stride:][:r.format.Width] {
			c := color.NRGBAModel.Convert(p.Palette[k]).(color.NRGBA)
			r.line[4*x], r.line[4*x+1], r.line[4*x+2], r.line[4*x+3] = c.R, c.G, c.B, c.A
		}
	}
	return r.line, nil
}

// check says whether a picture is what the header promised.
func (r *Reader) check(img image.Image) error {
	h := pngrows.Header{Width: img.Bounds().Dx(), Height: img.Bounds().Dy(), Bits: 8}
	switch img.(type) {
	case *image.Gray:
		h.Channels = 1
	case *image.Gray16:
		h.Channels, h.Bits = 1, 16
	case *image.YCbCr:
		h.Channels = 3
	case *image.RGBA, *image.NRGBA, *image.Paletted:
		h.Channels = 4
	case *image.RGBA64, *image.NRGBA64:
		h.Channels, h.Bits = 4, 16
	}
	if h != r.format {
		return fmt.Errorf("holds a %T of %d × %d px, unlike its header", img, h.Width, h.Height)
	}
	return nil
}
