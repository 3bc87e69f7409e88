package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/platewright/projection/warp"

	"example.com/platewright/internal/near"
)

type buffer struct{ bytes.Buffer }

func (*buffer) Close() error { return nil }

// written writes a file with writePNG, and decodes it with the standard library.
func written(t *testing.T, f warp.Frame[uint16], bits int, row func([]byte, int, []uint16)) (img image.Image, file []byte) {
	t.Helper()
	var b buffer
	require.NoError(t, writePNG(&b, f, bits, row))
	file = b.Bytes()
	img, err := png.Decode(bytes.NewReader(file))
	require.NoError(t, err)
	return img, file
}

// picture is a frame with all three samples of a pixel from a function.
func picture(t *testing.T, w, h int, at func(x, y, k int) uint16) warp.Frame[uint16] {
	t.Helper()
	f, err := newFrame(w, h)
	require.NoError(t, err)
	for y := range h {
		for i := range f.Row(y) {
			f.Row(y)[i] = at(i/3, y, i%3)
		}
	}
	return f
}

// A file of 16 bits keeps every sample and is marked as linear. A file of 8 bits is
// marked as sRGB.
func TestLinearFileKeepsAll(t *testing.T) {
	const w, h = 331, 217
	f := picture(t, w, h, func(x, y, k int) uint16 { return uint16(y*1201 + (3*x+k)*(3*x+k)*7) })
	img, file := written(t, f, 16, linearRow)
	require.Contains(t, string(file[:80]), "gAMA\x00\x01\x86\xa0")
	back, err := warp.FromImage[uint16](img)
	require.NoError(t, err)
	for y := range h {
		for x := range w {
			require.Equal(t, f.Row(y)[3*x:3*x+3], back.Row(y)[4*x:4*x+3])
		}
	}
	_, file = written(t, f, 8, dithered(t))
	require.Contains(t, string(file[:80]), "sRGB\x00")
}

// The mean light of an even field of 16 × 16 px in a file of 8 bits is that of the
// frame to a hundredth of a step between codes, by the formula of IEC 61966-2-1.
// Without dither it is up to half a step off.
func TestDitherKeepsTheMean(t *testing.T) {
	near.NumbersOnly(t)
	for level := 3; level < 65535; level += 547 {
		f := picture(t, 16, 16, func(int, int, int) uint16 { return uint16(level) })
		img, _ := written(t, f, 8, dithered(t))
		var sum [3]float64
		least, most := uint8(255), uint8(0)
		for y := range 16 {
			for x := range 16 {
				r, g, b, _ := img.At(x, y).RGBA()
				for k, v := range []uint32{r, g, b} {
					sum[k] += fromSRGB(float64(v>>8)/255) / 256
					least, most = min(least, uint8(v>>8)), max(most, uint8(v>>8))
				}
			}
		}
		require.LessOrEqual(t, most-least, uint8(1), "level %d", level)
		step := fromSRGB(float64(least)/255+1./255) - fromSRGB(float64(least)/255)
		for _, s := range sum {
			require.InDelta(t, float64(level)/65535, s, 0.01*step, "level %d", level)
		}
	}
}

// A dusk sky is a ramp over few codes. Its means over 16 × 16 px, which an eye sees
// from a distance, rise evenly: there are no bands.
func TestDitherShowsNoBands(t *testing.T) {
	const w, h = 2048, 16
	ramp := func(x float64) float64 { return 700 + 180*x/w } // of 65535: three codes
	f := picture(t, w, h, func(x, _, _ int) uint16 { return uint16(ramp(float64(x)+0.5) + 0.5) })
	img, _ := written(t, f, 8, dithered(t))
	for x0 := 0; x0 < w; x0 += 16 {
		mean := 0.0
		for y := range h {
			for x := x0; x < x0+16; x++ {
				_, g, _, _ := img.At(x, y).RGBA()
				mean += fromSRGB(float64(g>>8)/255) / 256
			}
		}
		want := ramp(float64(x0)+8) / 65535
		// A code's step is some 55 of 65535 here.
		require.InDelta(t, 0, (mean-want)*65535, 2, "at %d px", x0)
	}
}

// Plates are read in strips, and every pixel is that of the picture, for all kinds of
// pictures.
func TestPlatesAreReadWhole(t *testing.T) {
	near.NumbersOnly(t)
	const w, h = 130, 201
	rgba, deep, grey := image.NewNRGBA(image.Rect(0, 0, w, h)), image.NewNRGBA64(image.Rect(0, 0, w, h)), image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.NRGBA64{uint16(x * 500), uint16(y * 320), uint16((x + y) * 190), 0xffff}
			rgba.Set(x, y, c)
			deep.Set(x, y, c)
			grey.Set(x, y, c)
		}
	}
	for name, img := range map[string]image.Image{"rgba.png": rgba, "deep.png": deep, "grey.png": grey, "photo.jpg": rgba} {
		var b bytes.Buffer
		if name == "photo.jpg" {
			require.NoError(t, jpeg.Encode(&b, img, nil))
		} else {
			require.NoError(t, png.Encode(&b, img))
		}
		kept, _, err := image.Decode(bytes.NewReader(b.Bytes()))
		require.NoError(t, err)
		frame, err := readLinear(t.Context(), writeFile(t, name, b.Bytes()), w, h)
		require.NoError(t, err)
		for y := range h {
			for x := range w {
				r, g, b, _ := kept.At(x, y).RGBA()
				for k, v := range []uint32{r, g, b} {
					want := float64(v)
					if name != "deep.png" {
						want = 65535 * fromSRGB(float64(v>>8)/255)
					}
					require.InDelta(t, want, float64(frame.Row(y)[3*x+k]), 0.5, "rounded: %s at %d, %d", name, x, y)
				}
			}
		}
	}
}

// dithered returns the function that dithers rows, without gain.
func dithered(t *testing.T) func(out []byte, y int, in []uint16) {
	light, err := srgbLight(t.Context())
	require.NoError(t, err)
	return newDither(light, 1).row
}

// fromSRGB is the inverse of the transfer function of IEC 61966-2-1, on values
// from 0 to 1.
func fromSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
