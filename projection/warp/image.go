package warp

import (
	"fmt"
	"image"
	"image/color"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/valid"
)

// FromImage copies a picture into a frame: one channel from Gray and Gray16,
// three from YCbCr, four from RGBA, NRGBA, RGBA64 and NRGBA64, with the alpha
// premultiplied whatever it was. uint16 holds 8-bit samples times 257, float32
// all samples as 0 to 1; 16 bits do not become 8, which is an error, as is any
// other type of picture.
//
// The transfer function of the picture is left alone: means of samples are
// means of light only where the picture holds linear light. A Gray or RGBA
// needs no copy: its Pix and Stride fit a FrameSpec.
func FromImage[T Sample](img image.Image) (Frame[T], error) {
	c := valid.New("warp", ErrInvalid)
	ch, top, straight := 0, 0, false
	switch p := img.(type) {
	case *image.Gray:
		if p != nil {
			ch, top = 1, 0xff
		}
	case *image.Gray16:
		if p != nil {
			ch, top = 1, 0xffff
		}
	case *image.RGBA:
		if p != nil {
			ch, top = 4, 0xff
		}
	case *image.NRGBA:
		if p != nil {
			ch, top, straight = 4, 0xff, true
		}
	case *image.RGBA64:
		if p != nil {
			ch, top = 4, 0xffff
		}
	case *image.NRGBA64:
		if p != nil {
			ch, top, straight = 4, 0xffff, true
		}
	case *image.YCbCr:
		if p != nil {
			ch, top = 3, 0xff
		}
	}
	limit, isWhole := lanes.Limit[T]()
	switch {
	case ch == 0:
		c.Fault("picture", fmt.Sprintf("%T", img), "must be Gray, Gray16, RGBA, RGBA64, NRGBA, NRGBA64 or YCbCr")
	case isWhole && top > int(limit):
		c.Fault("picture", "16 bits", "must be at most 8 bits for uint8")
	}
	if !c.OK() {
		return Frame[T]{}, c.Err()
	}
	box := img.Bounds()
	if w, h := box.Dx(), box.Dy(); w > 0 && h > 0 && !holds(img, w, h) {
		c.Fault("picture", "cut short", "must have samples for %d × %d px", w, h)
		return Frame[T]{}, c.Err()
	}
	f, err := NewFrame(FrameSpec[T]{Width: box.Dx(), Height: box.Dy(), Channels: ch})
	if err != nil {
		return f, err
	}
	line := make([]uint32, f.width*ch)
	for y := range f.height {
		readRow(line, img, y+box.Min.Y)
		row := f.Row(y)
		if !isWhole {
			for i, v := range line {
				row[i] = T(float32(v) / float32(top))
			}
			for i := 3; straight && i < len(row); i += 4 {
				row[i-3], row[i-2], row[i-1] = row[i-3]*row[i], row[i-2]*row[i], row[i-1]*row[i]
			}
			continue
		}
		for i := range line {
			line[i] *= uint32(limit) / uint32(top)
		}
		if straight {
			premultiply(line, uint32(limit))
		}
		for i, v := range line {
			row[i] = T(v)
		}
	}
	return f, nil
}

// holds says whether a picture has the samples that its size calls for: they
// are open to whoever made it.
func holds(img image.Image, width, height int) bool {
	enough := func(pix []uint8, stride, cols, rows int) bool {
		n := len(pix) - cols // to the last row
		return n >= 0 && (rows == 1 || stride >= 0 && stride <= n/(rows-1))
	}
	switch p := img.(type) {
	case *image.Gray:
		return enough(p.Pix, p.Stride, width, height)
	case *image.Gray16:
		return enough(p.Pix, p.Stride, 2*width, height)
	case *image.RGBA:
		return enough(p.Pix, p.Stride, 4*width, height)
	case *image.NRGBA:
		return enough(p.Pix, p.Stride, 4*width, height)
	case *image.RGBA64:
		return enough(p.Pix, p.Stride, 8*width, height)
	case *image.NRGBA64:
		return enough(p.Pix, p.Stride, 8*width, height)
	case *image.YCbCr:
		// The last column and row of its colours, by strides of 0 and 1.
		colours := image.YCbCr{Rect: p.Rect, SubsampleRatio: p.SubsampleRatio}
		col := colours.COffset(p.Rect.Max.X-1, p.Rect.Max.Y-1)
		colours.CStride = 1
		row := colours.COffset(p.Rect.Max.X-1, p.Rect.Max.Y-1) - col
		return enough(p.Y, p.YStride, width, height) &&
			enough(p.Cb, p.CStride, col+1, row+1) && enough(p.Cr, p.CStride, col+1, row+1)
	}
	return false
}

// readRow reads one row of a picture of one of the types that FromImage takes.
func readRow(line []uint32, img image.Image, y int) {
	x0 := img.Bounds().Min.X
	switch p := img.(type) {
	case *image.Gray:
		narrow(line, p.Pix[p.PixOffset(x0, y):])
	case *image.RGBA:
		narrow(line, p.Pix[p.PixOffset(x0, y):])
	case *image.NRGBA:
		narrow(line, p.Pix[p.PixOffset(x0, y):])
	case *image.Gray16:
		broad(line, p.Pix[p.PixOffset(x0, y):])
	case *image.RGBA64:
		broad(line, p.Pix[p.PixOffset(x0, y):])
	case *image.NRGBA64:
		broad(line, p.Pix[p.PixOffset(x0, y):])
	case *image.YCbCr:
		for i := 0; i < len(line); i += 3 {
			yo, co := p.YOffset(x0+i/3, y), p.COffset(x0+i/3, y)
			r, g, b := color.YCbCrToRGB(p.Y[yo], p.Cb[co], p.Cr[co])
			line[i], line[i+1], line[i+2] = uint32(r), uint32(g), uint32(b)
		}
	}
}

func narrow(line []uint32, pix []uint8) {
	for i, v := range pix[:len(line)] {
		line[i] = uint32(v)
	}
}

func broad(line []uint32, pix []uint8) {
	for i := range line {
		line[i] = uint32(pix[2*i])<<8 | uint32(pix[2*i+1])
	}
}

func premultiply(line []uint32, top uint32) {
	for i := 0; i+3 < len(line); i += 4 {
		a := line[i+3]
		for k := i; k < i+3; k++ {
			line[k] = (line[k]*a + top/2) / top
		}
	}
}

// ToImage copies a frame into a picture: one channel to Gray or Gray16, three
// or four to RGBA or RGBA64, the fourth a premultiplied alpha, to which larger
// colours are cut. uint8 makes 8 bits; uint16, and float32 from 0 to 1, make 16.
// A frame of two channels has no such picture, which is an error.
func ToImage[T Sample](f Frame[T]) (image.Image, error) {
	c := valid.New("warp", ErrInvalid)
	switch {
	case f.pix == nil:
		c.Fault("frame", "without pixels", "must be made by NewFrame")
	case f.ch == 2:
		c.Fault("frame", "2 channels", "must have 1, 3 or 4")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	box := image.Rect(0, 0, f.width, f.height)
	limit, isWhole := lanes.Limit[T]()
	deep := limit != 0xff
	factor := float32(1)
	if !isWhole {
		factor = 0xffff
	}
	var img image.Image
	var pix []uint8
	switch {
	case f.ch == 1 && deep:
		p := image.NewGray16(box)
		img, pix = p, p.Pix
	case f.ch == 1:
		p := image.NewGray(box)
		img, pix = p, p.Pix
	case deep:
		p := image.NewRGBA64(box)
		img, pix = p, p.Pix
	default:
		p := image.NewRGBA(box)
		img, pix = p, p.Pix
	}
	top := uint16(0xffff)
	if !deep {
		top = 0xff
	}
	values := make([]float32, f.ch)
	samples := make([]uint16, 4)
	o := 0
	for y := range f.height {
		row := f.Row(y)
		for ; len(row) > 0; row = row[f.ch:] {
			for k, v := range row[:f.ch] {
				values[k] = float32(v) * factor
			}
			lanes.Round(samples, values)
			n := 1
			if f.ch > 1 {
				n = 4
			}
			if f.ch == 3 {
				samples[3] = top
			}
			for _, v := range samples[:n] {
				if n == 4 {
					v = min(v, samples[3])
				}
				if deep {
					pix[o] = uint8(v >> 8)
					o++
				}
				pix[o] = uint8(v)
				o++
			}
		}
	}
	return img, nil
}
