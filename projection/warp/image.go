package warp

import (
	"fmt"
	"image"
	"image/color"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/valid"
)

// FromImage makes a frame of a picture: one channel of Gray and Gray16, three of
// YCbCr, four of RGBA, NRGBA, RGBA64 and NRGBA64. Alpha becomes premultiplied.
// Samples of 8 bits become 257 times as large in uint16; all become 0 to 1 in
// float32. 16 bits into uint8, and any other type of picture, are an error. Codes
// stay codes: see Transfer.
func FromImage[T Sample](img image.Image) (Frame[T], error) {
	ch, err := channelsOf[T](img)
	if err != nil {
		return Frame[T]{}, err
	}
	box := img.Bounds()
	f, err := NewFrame(FrameSpec[T]{Width: box.Dx(), Height: box.Dy(), Channels: ch})
	if err != nil {
		return f, err
	}
	copyImage(f, img)
	return f, nil
}

// CopyImage copies a picture into a frame of its size and channels, converted as by
// FromImage. It allocates nothing, and so suits Sequence.Read. After an error the
// frame is unchanged.
func CopyImage[T Sample](dst Frame[T], img image.Image) error {
	ch, err := channelsOf[T](img)
	if err != nil {
		return err
	}
	c := valid.New("warp", ErrInvalid)
	box := img.Bounds()
	switch {
	case dst.pix == nil:
		c.Fault("frame", "without pixels", "must be made by NewFrame")
	case box.Dx() != dst.width || box.Dy() != dst.height || ch != dst.ch:
		c.Fault("picture", fmt.Sprintf("%d × %d px, %d channels", box.Dx(), box.Dy(), ch),
			"must be as the frame, %d × %d px, %d channels", dst.width, dst.height, dst.ch)
	}
	if !c.OK() {
		return c.Err()
	}
	copyImage(dst, img)
	return nil
}

// pictureKind is the channels of a picture, its largest sample, and whether its
// alpha is straight. It has no channels if its type is unknown or it is nil.
func pictureKind(img image.Image) (ch, top int, straight bool) {
	if valid.Absent(img) {
		return 0, 0, false
	}
	switch img.(type) {
	case *image.Gray:
		return 1, 0xff, false
	case *image.Gray16:
		return 1, 0xffff, false
	case *image.RGBA:
		return 4, 0xff, false
	case *image.NRGBA:
		return 4, 0xff, true
	case *image.RGBA64:
		return 4, 0xffff, false
	case *image.NRGBA64:
		return 4, 0xffff, true
	case *image.YCbCr:
		return 3, 0xff, false
	}
	return 0, 0, false
}

// channelsOf is the number of channels of a picture that can be copied to samples T.
func channelsOf[T Sample](img image.Image) (int, error) {
	ch, top, _ := pictureKind(img)
	limit, isWhole := lanes.Limit[T]()
	c := valid.New("warp", ErrInvalid)
	switch {
	case ch == 0:
		c.Fault("picture", fmt.Sprintf("%T", img), "must be Gray, Gray16, RGBA, RGBA64, NRGBA, NRGBA64 or YCbCr")
		return 0, c.Err()
	case isWhole && top > int(limit):
		c.Fault("picture", "16 bits", "must be at most 8 bits for uint8")
	}
	box := img.Bounds()
	if w, h := box.Dx(), box.Dy(); w > 0 && h > 0 && !holds(img, w, h) {
		c.Fault("picture", "cut short", "must have samples for %d × %d px", w, h)
	}
	return ch, c.Err()
}

// copyImage copies a picture that has been checked.
func copyImage[T Sample](f Frame[T], img image.Image) {
	const pixels = 256 // at a time
	var memory [4 * pixels]uint32
	_, top, straight := pictureKind(img)
	limit, isWhole := lanes.Limit[T]()
	origin := img.Bounds().Min
	for y := range f.height {
		for x := 0; x < f.width; x += pixels {
			row := f.Row(y)[x*f.ch : min(x+pixels, f.width)*f.ch]
			line := memory[:len(row)]
			readRow(line, img, origin.X+x, origin.Y+y)
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
	}
}

// holds says whether a picture has the samples that its size calls for: anyone may
// set its fields.
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

// readRow reads pixels of a picture from (x0, y) on.
func readRow(line []uint32, img image.Image, x0, y int) {
	switch p := img.(type) {
	case *image.Gray:
		readBytes(line, p.Pix[p.PixOffset(x0, y):])
	case *image.RGBA:
		readBytes(line, p.Pix[p.PixOffset(x0, y):])
	case *image.NRGBA:
		readBytes(line, p.Pix[p.PixOffset(x0, y):])
	case *image.Gray16:
		readWords(line, p.Pix[p.PixOffset(x0, y):])
	case *image.RGBA64:
		readWords(line, p.Pix[p.PixOffset(x0, y):])
	case *image.NRGBA64:
		readWords(line, p.Pix[p.PixOffset(x0, y):])
	case *image.YCbCr:
		for i := 0; i < len(line); i += 3 {
			yo, co := p.YOffset(x0+i/3, y), p.COffset(x0+i/3, y)
			r, g, b := color.YCbCrToRGB(p.Y[yo], p.Cb[co], p.Cr[co])
			line[i], line[i+1], line[i+2] = uint32(r), uint32(g), uint32(b)
		}
	}
}

func readBytes(line []uint32, pix []uint8) {
	for i, v := range pix[:len(line)] {
		line[i] = uint32(v)
	}
}

func readWords(line []uint32, pix []uint8) {
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

// ToImage makes a picture of a frame: Gray or Gray16 of one channel, RGBA or RGBA64
// of three or four. The fourth is a premultiplied alpha, which limits the colours.
// uint8 gives 8 bits per sample; uint16, and float32 from 0 to 1, give 16. A frame
// of two channels is an error.
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
