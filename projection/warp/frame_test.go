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
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFrameSharesTheCallersSamples(t *testing.T) {
	pix := make([]uint16, 4+2*10+6)
	f, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 3, Height: 3, Channels: 2, Pix: pix, Stride: 10})
	require.NoError(t, err)
	w, h := f.Size()
	assert.Equal(t, [3]int{3, 3, 2}, [3]int{w, h, f.Channels()})
	row := f.Row(2)
	row[5] = 77
	assert.Equal(t, [2]int{6, 6}, [2]int{len(row), cap(row)})
	assert.EqualValues(t, 77, pix[25])
	assert.Nil(t, f.Row(-1))
	assert.Nil(t, f.Row(3))
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
		_, err := warp.NewFrame(spec)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	// As many bytes as there are addresses of 32 bits: where an int has no more,
	// that is refused, elsewhere not asked for.
	if strconv.IntSize == 32 {
		_, err := warp.NewFrame(warp.FrameSpec[float32]{Width: 1 << 15, Height: 1 << 15, Channels: 1})
		assert.ErrorIs(t, err, warp.ErrInvalid)
	}
	var zero warp.Frame[float32]
	w, h := zero.Size()
	assert.Zero(t, w+h+zero.Channels())
	assert.Nil(t, zero.Row(0))
}

func TestFromImage(t *testing.T) {
	box := image.Rect(-3, 5, 0, 7) // origins other than 0, 0
	gray := image.NewGray(box)
	gray.SetGray(-2, 6, color.Gray{Y: 0xab})
	f, err := warp.FromImage[uint16](gray)
	require.NoError(t, err)
	ref.Equal(t, "WARP-DEPTH", f.Row(1)[1], 0xabab)
	g, err := warp.FromImage[float32](gray)
	require.NoError(t, err)
	ref.Equal(t, "WARP-DEPTH", g.Row(1)[1], float32(171.0/255))

	straight := image.NewNRGBA64(box)
	straight.SetNRGBA64(-3, 5, color.NRGBA64{R: 0xffff, G: 0x8000, B: 1, A: 0x8000})
	h, err := warp.FromImage[uint16](straight)
	require.NoError(t, err)
	assert.Equal(t, []uint16{0x8000, 0x4000, 1, 0x8000}, h.Row(0)[:4], "premultiplied")
	_, err = warp.FromImage[uint8](straight)
	assert.ErrorIs(t, err, warp.ErrInvalid, "16 bits do not become 8")
	for name, img := range map[string]image.Image{
		"nil": nil, "typed nil": (*image.Gray)(nil), "palette": image.NewPaletted(box, nil), "empty": image.NewGray(image.Rectangle{}),
	} {
		_, err := warp.FromImage[uint8](img)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
}

// TestFromImageAgreesWithAt compares every type of picture with what the
// standard library's slow way of reading gives, alpha premultiplied.
func TestFromImageAgreesWithAt(t *testing.T) {
	box := image.Rect(2, 3, 302, 8) // more than is copied at a time
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
		require.NoError(t, err)
		ch := f.Channels()
		// What a frame held before does not count, nor is what lies between rows written.
		pix := slices.Repeat([]float32{9}, 5*(300*ch+2))
		light, err := warp.NewFrame(warp.FrameSpec[float32]{Width: 300, Height: 5, Channels: ch, Pix: pix, Stride: 300*ch + 2})
		require.NoError(t, err)
		require.NoError(t, warp.CopyImage(light, img))
		for y := range 5 {
			require.Equal(t, []float32{9, 9}, pix[y*(300*ch+2)+300*ch:][:2])
		}
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
					// Three roundings of float32 come on top, 3·2⁻²⁴ of 65535.
					if got := float64(light.Row(y - box.Min.Y)[at]) * 0xffff; math.Abs(got-float64(want)) > off+0.012 {
						t.Fatalf("%T (%d, %d)[%d] in light: got %v, want %#x", img, x, y, k, got, want)
					}
				}
			}
		}
	}
}

func TestCopyImageRefuses(t *testing.T) {
	gray := image.NewGray(image.Rect(5, 5, 9, 8))
	for name, tc := range map[string]struct {
		frame warp.Frame[uint8]
		img   image.Image
	}{
		"no frame":   {warp.Frame[uint8]{}, gray},
		"too wide":   {newFrame[uint8](t, 5, 3, 1), gray},
		"turned":     {newFrame[uint8](t, 3, 4, 1), gray},
		"channels":   {newFrame[uint8](t, 4, 3, 4), gray},
		"no picture": {newFrame[uint8](t, 4, 3, 1), nil},
		"16 bits":    {newFrame[uint8](t, 4, 3, 1), image.NewGray16(gray.Rect)},
		"cut short":  {newFrame[uint8](t, 4, 3, 1), &image.Gray{Pix: make([]uint8, 11), Stride: 4, Rect: gray.Rect}},
	} {
		for y := range 5 {
			for x := range tc.frame.Row(y) {
				tc.frame.Row(y)[x] = 7
			}
		}
		assert.ErrorIs(t, warp.CopyImage(tc.frame, tc.img), warp.ErrInvalid, name)
		for y := range 5 {
			for _, v := range tc.frame.Row(y) {
				require.EqualValues(t, 7, v, name)
			}
		}
	}
}

func TestCopyImageAllocatesNothing(t *testing.T) {
	box := image.Rect(0, 0, 300, 20)
	for _, img := range []image.Image{image.NewGray16(box), image.NewNRGBA64(box), image.NewYCbCr(box, image.YCbCrSubsampleRatio420)} {
		f, err := warp.FromImage[uint16](img)
		require.NoError(t, err)
		assert.Zero(t, testing.AllocsPerRun(5, func() { err = errors.Join(err, warp.CopyImage(f, img)) }), "%T", img)
		require.NoError(t, err)
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
			_, err := warp.FromImage[uint16](img.SubImage(r))
			assert.NoError(t, err, "%T, %v", img, r)
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
				_, err := warp.FromImage[uint16](&short)
				assert.ErrorIs(t, err, warp.ErrInvalid, "%T", p.SubsampleRatio)
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
		_, err := warp.FromImage[uint16](img)
		assert.ErrorIs(t, err, warp.ErrInvalid, "%T", img)
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
	require.NoError(t, err)
	// A colour of half coverage, premultiplied, is 10/128 of the full one; a
	// colour beyond its alpha cannot be, and is cut.
	got := color.NRGBAModel.Convert(img.At(0, 0)).(color.NRGBA)
	ref.Equal(t, "WARP-OVER", got, color.NRGBA{R: 19, G: 39, B: 59, A: 128})
	got = color.NRGBAModel.Convert(img.At(1, 0)).(color.NRGBA)
	ref.Equal(t, "WARP-OVER", got.R, 255)

	g := newFrame[float32](t, 3, 1, 1)
	copy(g.Row(0), []float32{-1, 0.5, 2})
	img, err = warp.ToImage(g)
	require.NoError(t, err)
	gray := img.(*image.Gray16)
	assert.Equal(t, []uint16{0, 32768, 65535}, []uint16{gray.Gray16At(0, 0).Y, gray.Gray16At(1, 0).Y, gray.Gray16At(2, 0).Y})
	h := newFrame[uint16](t, 1, 1, 3)
	copy(h.Row(0), []uint16{1, 2, 65535})
	img, err = warp.ToImage(h)
	require.NoError(t, err)
	assert.Equal(t, color.RGBA64{R: 1, G: 2, B: 65535, A: 65535}, img.(*image.RGBA64).RGBA64At(0, 0))
	for _, f := range []warp.Frame[uint8]{{}, newFrame[uint8](t, 2, 2, 2)} {
		_, err := warp.ToImage(f)
		assert.ErrorIs(t, err, warp.ErrInvalid)
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
		require.NoError(t, err)
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
			if shared {
				assert.ErrorIs(t, err, warp.ErrInvalid, "%v", pair)
			} else {
				assert.NoError(t, err, "%v", pair)
			}
		}
	}
	assert.ErrorIs(t, warp.Warp(t.Context(), at(0, 30), at(70, 35), m, warp.Options{}), warp.ErrInvalid, "strides of 30 and 35")
	// A single row has no stride.
	m = newMap(t, flat(w, 1), flat(w, 1))
	row := func(from, stride int) warp.Frame[uint16] {
		f, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: w, Height: 1, Channels: ch, Pix: pix[from:], Stride: stride})
		require.NoError(t, err)
		return f
	}
	for apart, shared := range map[int]bool{0: true, 14: true, 15: false, 40: false} {
		err := warp.Warp(t.Context(), row(100, 30), row(100+apart, 60), m, warp.Options{})
		assert.Equal(t, shared, errors.Is(err, warp.ErrInvalid), "rows %d apart", apart)
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
		err := warp.Warp(t.Context(), a, b, m, warp.Options{Coverage: c.coverage})
		assert.Equal(t, c.fails, errors.Is(err, warp.ErrInvalid), name)
	}
}

// TestPlanesWarpAsChannelsDo compares a picture of three channels with its planes,
// through the same map. The planes of the source follow each other; those of the
// target have their rows by turns.
func TestPlanesWarpAsChannelsDo(t *testing.T) {
	m := newMap(t, newView(80, 60, 70*degree, 20*degree, 5*degree, 0), newFisheye(200, 180*degree, 0, 0))
	value := func(x, y, c int) float64 { return float64((x*37+y*91+c*1009)%4096) * 16 }
	mixed, want := newFrame[uint16](t, 200, 200, 3), newFrame[uint16](t, 80, 60, 3)
	paint(mixed, value)
	mustWarp(t, want, mixed, m, warp.Options{})
	source, target := make([]uint16, 3*200*200), make([]uint16, 3*80*60)
	for c := range 3 {
		src, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 200, Height: 200, Channels: 1, Pix: source[c*200*200:]})
		require.NoError(t, err)
		dst, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 80, Height: 60, Channels: 1, Pix: target[c*80:], Stride: 240})
		require.NoError(t, err)
		paint(src, func(x, y, _ int) float64 { return value(x, y, c) })
		mustWarp(t, dst, src, m, warp.Options{})
	}
	for y := range 60 {
		for x := range 80 {
			for c := range 3 {
				// Sums are taken in another order.
				require.InDelta(t, want.Row(y)[x*3+c], target[(3*y+c)*80+x], 1, "plane %d, (%d, %d)", c, x, y)
			}
		}
	}
}
