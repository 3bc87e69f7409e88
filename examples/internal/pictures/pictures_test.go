package pictures

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/platewright/examples/internal/pngrows"
)

func saved(t *testing.T, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "frame")
	require.NoError(t, os.WriteFile(path, content, 0o666))
	return path
}

// painted has another colour in each pixel.
func painted(img interface {
	image.Image
	Set(x, y int, c color.Color)
}) image.Image {
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			img.Set(x, y, color.NRGBA64{uint16(x * 2900), uint16(y * 4100), uint16((x*y + 3) * 210), 0xffff})
		}
	}
	return img
}

func read(t *testing.T, r *Reader, path string) (h pngrows.Header, rows [][]byte, err error) {
	t.Helper()
	h, err = r.Open(t.Context(), path, 1e4)
	defer r.Close()
	for err == nil {
		var row []byte
		if row, err = r.Next(); err == nil {
			rows = append(rows, bytes.Clone(row))
		}
	}
	if err == io.EOF {
		err = nil
	}
	return h, rows, err
}

// A picture is, pixel by pixel, what the standard library decodes.
func TestPictures(t *testing.T) {
	box := image.Rect(0, 0, 21, 14)
	grey, colour, deep := painted(image.NewGray(box)), painted(image.NewNRGBA(box)), painted(image.NewRGBA64(box))
	var r Reader
	for name, tc := range map[string]struct {
		img            image.Image
		encode         func(io.Writer, image.Image) error
		channels, bits int
	}{
		"grey JPEG":         {grey, toJPEG, 1, 8},
		"JPEG":              {colour, toJPEG, 3, 8},
		"grey PNG":          {grey, png.Encode, 1, 8},
		"PNG":               {colour, png.Encode, 3, 8},
		"PNG of 16 bits":    {deep, png.Encode, 3, 16},
		"PNG with 16, grey": {painted(image.NewGray16(box)), png.Encode, 1, 16},
	} {
		var b bytes.Buffer
		require.NoError(t, tc.encode(&b, tc.img), name)
		h, rows, err := read(t, &r, saved(t, b.Bytes()))
		require.NoError(t, err, name)
		require.Equal(t, pngrows.Header{Width: 21, Height: 14, Channels: tc.channels, Bits: tc.bits}, h, name)
		want, _, err := image.Decode(&b)
		require.NoError(t, err)
		same(t, h, rows, want, name)
	}
}

func toJPEG(w io.Writer, img image.Image) error { return jpeg.Encode(w, img, nil) }

func same(t *testing.T, h pngrows.Header, rows [][]byte, want image.Image, what any) {
	t.Helper()
	require.Len(t, rows, h.Height, what)
	for y, row := range rows {
		for x := range h.Width {
			r, g, b, _ := want.At(x, y).RGBA()
			for k, v := range []uint32{r, g, b} {
				i := x*h.Channels + min(k, h.Channels-1)
				got := uint32(row[i*h.Bits/8])
				if h.Bits == 16 {
					got = uint32(binary.BigEndian.Uint16(row[2*i:]))
				} else {
					v >>= 8
				}
				require.Equal(t, v, got, "%s: channel %d at %d, %d", what, k, x, y)
			}
		}
	}
}

func section(name string, data []byte) []byte {
	out := append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), name...)
	out = append(out, data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

// interlaced is a file in the seven passes of the standard. Its bytes are numbered.
func interlaced(w, h, colour, bits, channels int, more []byte) []byte {
	var rows []byte
	for _, pass := range [][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}} {
		columns := (w - pass[0] + pass[2] - 1) / pass[2]
		for y := pass[1]; y < h && columns > 0; y += pass[3] {
			rows = append(rows, 0) // no filter
			for range columns * channels * bits / 8 {
				rows = append(rows, byte(len(rows)))
			}
		}
	}
	var data bytes.Buffer
	z := zlib.NewWriter(&data)
	z.Write(rows)
	z.Close()
	size := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(w)), uint32(h))
	return slices.Concat([]byte(pngrows.Signature), section("IHDR", append(size, byte(bits), byte(colour), 0, 0, 1)),
		more, section("IDAT", data.Bytes()), section("IEND", nil))
}

func TestInterlaced(t *testing.T) {
	var r Reader
	palette := make([]byte, 3*256)
	for i := range palette {
		palette[i] = byte(i * i)
	}
	for _, k := range []struct {
		colour, bits, channels int
		more                   []byte
	}{{0, 8, 1, nil}, {0, 16, 1, nil}, {2, 8, 3, nil}, {2, 16, 3, nil}, {3, 8, 1, section("PLTE", palette)}, {6, 8, 4, nil}, {6, 16, 4, nil}} {
		file := interlaced(11, 9, k.colour, k.bits, k.channels, k.more)
		want, err := png.Decode(bytes.NewReader(file))
		require.NoError(t, err)
		h, rows, err := read(t, &r, saved(t, file))
		require.NoError(t, err)
		switch p := want.(type) { // RGBA() is to give colours that alpha does not touch
		case *image.NRGBA:
			want = &image.RGBA{Pix: p.Pix, Stride: p.Stride, Rect: p.Rect}
		case *image.NRGBA64:
			want = &image.RGBA64{Pix: p.Pix, Stride: p.Stride, Rect: p.Rect}
		}
		same(t, h, rows, want, h)
	}
	_, _, err := read(t, &r, saved(t, interlaced(11, 9, 0, 8, 1, section("tRNS", []byte{0, 7}))))
	require.ErrorContains(t, err, "holds a *image.NRGBA of 11 × 9 px, unlike its header")
}

func TestFilesRefused(t *testing.T) {
	var whole, large bytes.Buffer
	require.NoError(t, jpeg.Encode(&whole, painted(image.NewRGBA(image.Rect(0, 0, 50, 40))), nil))
	require.NoError(t, jpeg.Encode(&large, image.NewGray(image.Rect(0, 0, 101, 100)), nil))
	var r Reader
	for name, tc := range map[string]struct {
		file []byte
		want string
	}{
		"empty":             {nil, "is empty"},
		"a letter":          {[]byte("x"), "not a PNG or JPEG file"},
		"another kind":      {[]byte("GIF89a and more"), "not a PNG or JPEG file"},
		"JPEG, cut early":   {whole.Bytes()[:30], "cut short"},
		"JPEG, cut late":    {whole.Bytes()[:whole.Len()-40], "damaged"},
		"JPEG, no picture":  {[]byte("\xff\xd8\xff\xe0 and no more of it"), "cut short"},
		"JPEG, damaged":     {bytes.Replace(whole.Bytes(), []byte("\xff\xc4"), []byte("\xff\xdb"), 1), "damaged"},
		"more than allowed": {large.Bytes(), "101 × 100 px: must be 1 to 10000 px"},
		"PNG, cut":          {[]byte(pngrows.Signature + "1234"), "cut short"},
	} {
		path := saved(t, tc.file)
		_, _, err := read(t, &r, path)
		require.ErrorContains(t, err, path+": ", name)
		assert.ErrorContains(t, err, tc.want, name)
	}
	_, _, err := read(t, &r, filepath.Join(t.TempDir(), "none.png"))
	assert.ErrorContains(t, err, "none.png: no such file")
	_, _, err = read(t, &r, t.TempDir())
	assert.ErrorContains(t, err, "is a folder")
}

func TestEndOfTheContext(t *testing.T) {
	var file bytes.Buffer
	require.NoError(t, png.Encode(&file, painted(image.NewRGBA(image.Rect(0, 0, 300, 300)))))
	ctx, stop := context.WithCancel(t.Context())
	var r Reader
	_, err := r.Open(ctx, saved(t, file.Bytes()), 1e6)
	require.NoError(t, err)
	defer r.Close()
	stop()
	for err == nil {
		_, err = r.Next()
	}
	if err != io.EOF { // a small file may stand in a buffer already
		assert.Equal(t, context.Canceled, err)
	}
}
