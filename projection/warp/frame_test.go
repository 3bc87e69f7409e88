package warp_test

import (
	"errors"
	"image"
	"image/color"
	"math"
	"slices"
	"strconv"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
)

func TestFrameSharesTheCallersSamples(t *testing.T) {
	pix := make([]uint16, 4+2*10+6)
	f, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 3, Height: 3, Channels: 2, Pix: pix, Stride: 10})
	if err != nil {
		t.Fatal(err)
	}
	if w, h := f.Size(); w != 3 || h != 3 || f.Channels() != 2 {
		t.Errorf("%d × %d px, %d channels", w, h, f.Channels())
	}
	row := f.Row(2)
	row[5] = 77
	if len(row) != 6 || cap(row) != 6 || pix[25] != 77 {
		t.Errorf("row 2 has %d samples of %d, pix[25] = %d", len(row), cap(row), pix[25])
	}
	if f.Row(-1) != nil || f.Row(3) != nil {
		t.Error("there is a row outside the frame")
	}
}

func TestFrameSpecsThatAreRefused(t *testing.T) {
	for name, spec := range map[string]warp.FrameSpec[uint8]{
		"empty":           {},
		"no channels":     {Width: 2, Height: 2},
		"five channels":   {Width: 2, Height: 2, Channels: 5},
		"negative":        {Width: -2, Height: 2, Channels: 1},
		"too wide":        {Width: 1<<24 + 1, Height: 2, Channels: 1},
		"stride":          {Width: 4, Height: 2, Channels: 3, Stride: 11},
		"negative stride": {Width: 4, Height: 2, Channels: 3, Stride: -12},
		"huge stride":     {Width: 4, Height: 1 << 24, Channels: 3, Stride: math.MaxInt},
		"short":           {Width: 4, Height: 2, Channels: 3, Pix: make([]uint8, 23)},
		"all of memory":   {Width: 1 << 24, Height: 1 << 24, Channels: 4},
	} {
		if _, err := warp.NewFrame(spec); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: got %v, want ErrInvalid", name, err)
		}
	}
	// As many bytes as there are addresses of 32 bits: where an int has no more,
	// that is refused, elsewhere not asked for.
	if strconv.IntSize == 32 {
		if _, err := warp.NewFrame(warp.FrameSpec[float32]{Width: 1 << 15, Height: 1 << 15, Channels: 1}); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("got %v, want ErrInvalid", err)
		}
		if _, err := warp.NewPlanes(warp.PlanesSpec[float32]{Width: 1 << 15, Height: 1 << 14, Planes: 2}); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("got %v, want ErrInvalid", err)
		}
	}
	var zero warp.Frame[float32]
	if w, h := zero.Size(); w != 0 || h != 0 || zero.Row(0) != nil || zero.Channels() != 0 {
		t.Error("the zero frame has pixels")
	}
}

func TestFromImage(t *testing.T) {
	box := image.Rect(-3, 5, 0, 7) // origins other than 0, 0
	gray := image.NewGray(box)
	gray.SetGray(-2, 6, color.Gray{Y: 0xab})
	f, err := warp.FromImage[uint16](gray)
	if err != nil {
		t.Fatal(err)
	}
	ref.Equal(t, "WARP-DEPTH", f.Row(1)[1], 0xabab)
	g, err := warp.FromImage[float32](gray)
	if err != nil {
		t.Fatal(err)
	}
	ref.Equal(t, "WARP-DEPTH", g.Row(1)[1], float32(171.0/255))

	straight := image.NewNRGBA64(box)
	straight.SetNRGBA64(-3, 5, color.NRGBA64{R: 0xffff, G: 0x8000, B: 1, A: 0x8000})
	h, err := warp.FromImage[uint16](straight)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := h.Row(0)[:4], []uint16{0x8000, 0x4000, 1, 0x8000}; !slices.Equal(got, want) {
		t.Errorf("premultiplied %#x, want %#x", got, want)
	}
	if _, err := warp.FromImage[uint8](straight); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("16 bits became 8: %v", err)
	}
	for name, img := range map[string]image.Image{
		"nil": nil, "typed nil": (*image.Gray)(nil), "palette": image.NewPaletted(box, nil), "empty": image.NewGray(image.Rectangle{}),
	} {
		if _, err := warp.FromImage[uint8](img); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: got %v, want ErrInvalid", name, err)
		}
	}
}

// TestFromImageAgreesWithAt compares every type of picture with what the
// standard library's slow way of reading gives, alpha premultiplied.
func TestFromImageAgreesWithAt(t *testing.T) {
	box := image.Rect(2, 3, 9, 8)
	ycc := image.NewYCbCr(box, image.YCbCrSubsampleRatio420)
	for i := range ycc.Y {
		ycc.Y[i] = uint8(i * 37)
	}
	for i := range ycc.Cb {
		ycc.Cb[i], ycc.Cr[i] = uint8(i*71), uint8(i*29)
	}
	pictures := []image.Image{ycc, noise(image.NewGray(box)), noise(image.NewGray16(box)), noise(image.NewRGBA(box)),
		noise(image.NewRGBA64(box)), noise(image.NewNRGBA(box)), noise(image.NewNRGBA64(box))}
	for _, img := range pictures {
		f, err := warp.FromImage[uint16](img)
		if err != nil {
			t.Fatal(err)
		}
		light, err := warp.FromImage[float32](img)
		if err != nil {
			t.Fatal(err)
		}
		ch := f.Channels()
		for y := box.Min.Y; y < box.Max.Y; y++ {
			for x := box.Min.X; x < box.Max.X; x++ {
				r, g, b, a := img.At(x, y).RGBA()
				off := 1.0 // what is premultiplied is rounded here, and cut there
				if img == image.Image(ycc) {
					off = 255 // colours are rounded to 8 bits
				}
				for k, want := range []uint32{r, g, b, a}[:ch] {
					at := (x-box.Min.X)*ch + k
					if got := f.Row(y - box.Min.Y)[at]; math.Abs(float64(got)-float64(want)) > off {
						t.Fatalf("%T (%d, %d)[%d]: got %#x, want %#x", img, x, y, k, got, want)
					}
					if got := float64(light.Row(y - box.Min.Y)[at]) * 0xffff; math.Abs(got-float64(want)) > off {
						t.Fatalf("%T (%d, %d)[%d] in light: got %v, want %#x", img, x, y, k, got, want)
					}
				}
			}
		}
	}
}

// TestFromImageOfPart takes parts of pictures, whose slices end with the last
// pixel, and pictures whose slices end before it.
func TestFromImageOfPart(t *testing.T) {
	box := image.Rect(-3, 5, 6, 12)
	part := image.Rect(1, 8, 6, 12)
	type picture interface {
		image.Image
		SubImage(image.Rectangle) image.Image
	}
	pictures := []picture{image.NewGray(box), image.NewGray16(box), image.NewRGBA(box), image.NewNRGBA(box), image.NewRGBA64(box), image.NewNRGBA64(box)}
	for ratio := image.YCbCrSubsampleRatio444; ratio <= image.YCbCrSubsampleRatio410; ratio++ {
		pictures = append(pictures, image.NewYCbCr(box, ratio))
	}
	for _, img := range pictures {
		for y := part.Min.Y; y < part.Max.Y; y++ {
			r := image.Rect(part.Min.X, y, part.Max.X, part.Max.Y)
			if _, err := warp.FromImage[uint16](img.SubImage(r)); err != nil {
				t.Errorf("%T, %v: %v", img, r, err)
			}
		}
		if p, ok := img.(*image.YCbCr); ok {
			for _, short := range []image.YCbCr{
				{Y: p.Y[1:], Cb: p.Cb, Cr: p.Cr, YStride: p.YStride, CStride: p.CStride},
				{Y: p.Y, Cb: p.Cb[1:], Cr: p.Cr, YStride: p.YStride, CStride: p.CStride},
				{Y: p.Y, Cb: p.Cb, Cr: p.Cr[1:], YStride: p.YStride, CStride: p.CStride},
				{Y: p.Y, Cb: p.Cb, Cr: p.Cr, YStride: -p.YStride, CStride: p.CStride},
				{Y: p.Y, Cb: p.Cb, Cr: p.Cr, YStride: p.YStride, CStride: math.MaxInt},
			} {
				short.Rect, short.SubsampleRatio = box, p.SubsampleRatio
				if _, err := warp.FromImage[uint16](&short); !errors.Is(err, warp.ErrInvalid) {
					t.Errorf("%v: got %v, want ErrInvalid", p.SubsampleRatio, err)
				}
			}
		}
	}
	pix := make([]uint8, 9*7*8)
	for _, img := range []image.Image{
		&image.Gray{Pix: pix[:9*7-1], Stride: 9, Rect: box}, &image.Gray16{Pix: pix[:9*7*2-1], Stride: 9 * 2, Rect: box},
		&image.RGBA{Pix: pix[:9*7*4-1], Stride: 9 * 4, Rect: box}, &image.NRGBA{Pix: pix[:9*7*4-1], Stride: 9 * 4, Rect: box},
		&image.RGBA64{Pix: pix[:9*7*8-1], Stride: 9 * 8, Rect: box}, &image.NRGBA64{Pix: pix[:9*7*8-1], Stride: 9 * 8, Rect: box},
		&image.Gray{Rect: box}, &image.Gray{Pix: pix, Stride: -1, Rect: box}, &image.Gray{Pix: pix, Stride: math.MaxInt, Rect: box},
		&image.RGBA64{Rect: image.Rect(math.MinInt, math.MinInt, math.MaxInt, math.MaxInt)}, &image.YCbCr{Rect: image.Rect(0, 0, math.MaxInt, math.MaxInt)},
	} {
		if _, err := warp.FromImage[uint16](img); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%T: got %v, want ErrInvalid", img, err)
		}
	}
}

type settable interface {
	image.Image
	Set(x, y int, c color.Color)
}

func noise(img settable) image.Image {
	b := img.Bounds()
	n := uint32(1)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			n = n*1664525 + 1013904223
			img.Set(x, y, color.NRGBA64{R: uint16(n), G: uint16(n >> 5), B: uint16(n >> 11), A: uint16(n >> 16)})
		}
	}
	return img
}

func TestToImage(t *testing.T) {
	f := newFrame[uint8](t, 2, 1, 4)
	copy(f.Row(0), []uint8{10, 20, 30, 128, 200, 20, 30, 128})
	img, err := warp.ToImage(f)
	if err != nil {
		t.Fatal(err)
	}
	// A colour of half coverage, premultiplied, is 10/128 of the full one; a
	// colour beyond its alpha cannot be, and is cut.
	got := color.NRGBAModel.Convert(img.At(0, 0)).(color.NRGBA)
	ref.Equal(t, "WARP-OVER", got, color.NRGBA{R: 19, G: 39, B: 59, A: 128})
	got = color.NRGBAModel.Convert(img.At(1, 0)).(color.NRGBA)
	ref.Equal(t, "WARP-OVER", got.R, 255)

	g := newFrame[float32](t, 3, 1, 1)
	copy(g.Row(0), []float32{-1, 0.5, 2})
	img, err = warp.ToImage(g)
	if err != nil {
		t.Fatal(err)
	}
	gray := img.(*image.Gray16)
	if got := []uint16{gray.Gray16At(0, 0).Y, gray.Gray16At(1, 0).Y, gray.Gray16At(2, 0).Y}; !slices.Equal(got, []uint16{0, 32768, 65535}) {
		t.Errorf("got %v", got)
	}
	h := newFrame[uint16](t, 1, 1, 3)
	copy(h.Row(0), []uint16{1, 2, 65535})
	img, err = warp.ToImage(h)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.(*image.RGBA64).RGBA64At(0, 0); got != (color.RGBA64{R: 1, G: 2, B: 65535, A: 65535}) {
		t.Errorf("got %v", got)
	}
	for _, f := range []warp.Frame[uint8]{{}, newFrame[uint8](t, 2, 2, 2)} {
		if _, err := warp.ToImage(f); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("got %v, want ErrInvalid", err)
		}
	}
}

// TestOverlapIsRefused: frames may lie side by side in one buffer, but share
// no sample.
func TestOverlapIsRefused(t *testing.T) {
	const w, h, ch, stride = 5, 4, 3, 40
	pix := make([]uint16, 400)
	m := newMap(t, flat(w, h), flat(w, h))
	at := func(from, stride int) warp.Frame[uint16] {
		f, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: w, Height: h, Channels: ch, Pix: pix[from:], Stride: stride})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	owners := func(from, stride int) map[int]bool {
		all := map[int]bool{}
		for y := range h {
			for x := range w * ch {
				all[from+y*stride+x] = true
			}
		}
		return all
	}
	const first = 60
	mine := owners(first, stride)
	for from := range 240 {
		shared := false
		for s := range owners(from, stride) {
			shared = shared || mine[s]
		}
		for _, pair := range [][2]int{{first, from}, {from, first}} {
			err := warp.Warp(t.Context(), at(pair[0], stride), at(pair[1], stride), m, warp.Options{})
			if errors.Is(err, warp.ErrInvalid) != shared || err != nil && !shared {
				t.Errorf("at %d and %d: %v", pair[0], pair[1], err)
			}
		}
	}
	if err := warp.Warp(t.Context(), at(0, 30), at(70, 35), m, warp.Options{}); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("strides of 30 and 35: %v", err)
	}
	// A single row has no stride.
	m = newMap(t, flat(w, 1), flat(w, 1))
	row := func(from, stride int) warp.Frame[uint16] {
		f, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: w, Height: 1, Channels: ch, Pix: pix[from:], Stride: stride})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	for apart, shared := range map[int]bool{0: true, 14: true, 15: false, 40: false} {
		if err := warp.Warp(t.Context(), row(100, 30), row(100+apart, 60), m, warp.Options{}); errors.Is(err, warp.ErrInvalid) != shared {
			t.Errorf("rows %d apart: %v", apart, err)
		}
	}
}

// TestCoverageIsApart from both frames.
func TestCoverageIsApart(t *testing.T) {
	m := newMap(t, flat(4, 4), flat(4, 4))
	a, b, cov := newFrame[float32](t, 4, 4, 1), newFrame[float32](t, 4, 4, 1), newFrame[float32](t, 4, 4, 1)
	for name, c := range map[string]struct {
		coverage warp.Frame[float32]
		fails    bool
	}{"source": {b, true}, "target": {a, true}, "apart": {cov, false}, "none": {}} {
		if err := warp.Warp(t.Context(), a, b, m, warp.Options{Coverage: c.coverage}); errors.Is(err, warp.ErrInvalid) != c.fails {
			t.Errorf("%s: %v", name, err)
		}
	}
}
