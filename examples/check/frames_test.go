package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"example.com/platewright/internal/exr"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// numberedFolder holds empty files of some names.
func numberedFolder(t *testing.T, names ...string) string {
	t.Helper()
	folder := t.TempDir()
	for _, name := range names {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), nil, 0o666))
	}
	return folder
}

func TestFramesAreListedInOrder(t *testing.T) {
	folder := numberedFolder(t, "b.9.png", "b.10.PNG", "b.010.exr", "a2b11.jpg", "a2b2.jpeg", "a10b1.png", "x.png",
		"notes.txt", "clip.mov", ".hidden.png", "b.99999999999999999999.png", "8k_00.png")
	require.NoError(t, os.Mkdir(filepath.Join(folder, "folder.png"), 0o777))
	files, err := listFrames(t.Context(), folder)
	require.NoError(t, err)
	var want []frameFile
	for _, f := range []frameFile{
		{Name: "8k_00.png", Number: 0, Known: true},
		{Name: "a2b2.jpeg", Number: 2, Known: true},
		{Name: "a2b11.jpg", Number: 11, Known: true},
		{Name: "a10b1.png", Number: 1, Known: true},
		{Name: "b.9.png", Number: 9, Known: true},
		{Name: "b.10.PNG", Number: 10, Known: true},
		{Name: "b.010.exr", Number: 10, Known: true},
		{Name: "b.99999999999999999999.png", Number: math.MaxInt64},
		{Name: "x.png"},
	} {
		f.Path = filepath.Join(folder, f.Name)
		want = append(want, f)
	}
	assert.Empty(t, cmp.Diff(want, files))

	_, err = listFrames(t.Context(), numberedFolder(t, "notes.txt"))
	assert.ErrorContains(t, err, "holds no PNG, JPEG or OpenEXR files")
	_, err = listFrames(t.Context(), filepath.Join(folder, "none"))
	assert.ErrorContains(t, err, "none: no such file or directory")
	_, err = listFrames(t.Context(), files[0].Path)
	assert.ErrorContains(t, err, "8k_00.png: not a directory")
}

// frameOn saves a file and gives its path.
func frameOn(t *testing.T, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, content, 0o666))
	return path
}

// floatFrame is an OpenEXR file whose samples are numbered by column, row and channel.
func floatFrame(t *testing.T, h exr.Header, at func(x, y, c int) float32) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, exr.Encode(&b, h, func(y int, rows [][]float32) error {
		for c, row := range rows {
			for x := range row {
				row[x] = at(x, y-int(h.Data.MinY), c)
			}
		}
		return nil
	}))
	return b.Bytes()
}

func floatHeader(names ...string) exr.Header {
	h := exr.Header{Compression: exr.ZIP, Data: exr.Box{MinX: 5, MinY: -3, MaxX: 5 + 12, MaxY: -3 + 8}}
	h.Display = h.Data
	for _, n := range names {
		h.Channels = append(h.Channels, exr.Channel{Name: n, Type: exr.Float})
	}
	return h
}

func encoded(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

// sampleOf is a sample of a picture of any kind.
func sampleOf(p *picture, k, x, y int) float64 {
	switch p.Kind {
	case eightBit:
		row, step := p.Bytes[k].Row(y)
		return float64(row[x*step])
	case sixteenBit:
		row, step := p.Words[k].Row(y)
		return float64(row[x*step])
	}
	row, step := p.Floats[k].Row(y)
	return float64(row[x*step])
}

// A reader gives the samples of the file, whatever it held before.
func TestFramesAreRead(t *testing.T) {
	const w, h = 13, 9
	box := image.Rect(0, 0, w, h)
	value := func(x, y, k int) uint16 { return uint16(x*4001 + y*523 + k*20011) }
	grey, colour, alpha, deep := image.NewGray16(box), image.NewRGBA64(box), image.NewNRGBA(box), image.NewNRGBA64(box)
	for y := range h {
		for x := range w {
			grey.SetGray16(x, y, color.Gray16{value(x, y, 0)})
			colour.SetRGBA64(x, y, color.RGBA64{value(x, y, 0), value(x, y, 1), value(x, y, 2), 0xffff})
			alpha.SetNRGBA(x, y, color.NRGBA{uint8(value(x, y, 0)), uint8(value(x, y, 1)), uint8(value(x, y, 2)), uint8(x * 19)})
			deep.SetNRGBA64(x, y, color.NRGBA64{value(x, y, 0), value(x, y, 1), value(x, y, 2), uint16(x * 4800)})
		}
	}
	floats := func(x, y, c int) float32 { return float32(x) - 100*float32(y) + 0.25*float32(c) }
	whole := func(x, y, k int) float64 { return float64(value(x, y, k)) }
	for _, tc := range []struct {
		name string
		file []byte
		want shape
		at   func(x, y, k int) float64
	}{
		{"grey.png", encoded(t, grey), shape{w, h, 1, sixteenBit}, whole},
		{"colour.png", encoded(t, colour), shape{w, h, 3, sixteenBit}, whole},
		{"deep.png", encoded(t, deep), shape{w, h, 3, sixteenBit}, whole},
		{"alpha.PNG", encoded(t, alpha), shape{w, h, 3, eightBit}, func(x, y, k int) float64 { return float64(uint8(value(x, y, k))) }},
		{"colour.exr", floatFrame(t, floatHeader("A", "B", "G", "R"), floats), shape{w, h, 3, floating},
			func(x, y, k int) float64 { return float64(floats(x, y, 3-k)) }},
		{"grey.EXR", floatFrame(t, floatHeader("Y", "Z"), floats), shape{w, h, 1, floating}, func(x, y, k int) float64 { return float64(floats(x, y, 0)) }},
	} {
		path := frameOn(t, tc.name, tc.file)
		got, err := readShape(t.Context(), path)
		require.NoError(t, err, tc.name)
		assert.Equal(t, tc.want, got, tc.name)
		var r reader
		var p picture
		for range 2 {
			require.NoError(t, r.read(t.Context(), path, &p), tc.name)
			require.Equal(t, tc.want, p.shape, tc.name)
			require.Equal(t, tc.want.Channels, len(p.Bytes)+len(p.Words)+len(p.Floats), tc.name)
			for k := range tc.want.Channels {
				for y := range h {
					for x := range w {
						require.Equal(t, tc.at(x, y, k), sampleOf(&p, k, x, y), "%s: channel %d at %d, %d", tc.name, k, x, y)
					}
				}
			}
		}
	}

	// A photograph in JPEG comes back as a decoder gives it.
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, colour, nil))
	var p picture
	require.NoError(t, new(reader).read(t.Context(), frameOn(t, "photo.jpg", b.Bytes()), &p))
	img, err := jpeg.Decode(&b)
	require.NoError(t, err)
	for y := range h {
		for x := range w {
			red, green, blue, _ := img.At(x, y).RGBA()
			got := [3]float64{sampleOf(&p, 0, x, y), sampleOf(&p, 1, x, y), sampleOf(&p, 2, x, y)}
			require.Equal(t, [3]float64{float64(red >> 8), float64(green >> 8), float64(blue >> 8)}, got)
		}
	}
}

// Frame after frame takes no new memory for planes. Frames of other sizes and kinds may
// stand between them.
func TestFramesReuseMemory(t *testing.T) {
	img := image.NewRGBA64(image.Rect(0, 0, 400, 300))
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range img.Pix {
		img.Pix[i] = byte(rng.Uint32() | 1)
	}
	for i := 6; i < len(img.Pix); i += 8 { // not transparent
		img.Pix[i], img.Pix[i+1] = 0xff, 0xff
	}
	path := frameOn(t, "a.png", encoded(t, img))
	little := frameOn(t, "b.png", encoded(t, img.SubImage(image.Rect(0, 0, 50, 60))))
	var r reader
	var p picture
	require.NoError(t, r.read(t.Context(), path, &p))
	memory := &p.Words[2].Pix[0]
	require.NoError(t, r.read(t.Context(), little, &p))
	require.Error(t, r.read(t.Context(), frameOn(t, "c.png", []byte("hello")), &p))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	require.NoError(t, r.read(t.Context(), path, &p))
	runtime.ReadMemStats(&after)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(200e3), "tables of inflating; the planes have 720 kB")
	assert.Same(t, memory, &p.Words[2].Pix[0])
}

// Each bad frame is an error that begins with its path and says why. A good one is read
// after it.
func TestBadFrames(t *testing.T) {
	good := encoded(t, image.NewRGBA64(image.Rect(0, 0, 40, 30)))
	float := func(change func(*exr.Header), at func(x, y, c int) float32) []byte {
		h := floatHeader("B", "G", "R")
		if change != nil {
			change(&h)
		}
		return floatFrame(t, h, at)
	}
	level := func(x, y, c int) float32 { return 0.5 }
	at := func(v float64) func(x, y, c int) float32 {
		return func(x, y, c int) float32 {
			if x == 12 && y == 7 && c == 2 {
				return float32(v)
			}
			return 0.5
		}
	}
	promise := bytes.Clone(good)
	binary.BigEndian.PutUint32(promise[16:], 40000)
	binary.BigEndian.PutUint32(promise[20:], 25000)
	whole := float(nil, level)
	halves := bytes.Replace(whole, []byte("R\x00\x02"), []byte("R\x00\x00"), 1)
	var r reader
	var p picture
	fine := frameOn(t, "fine.png", good)
	for _, tc := range []struct {
		name, file string
		content    []byte
		want       string
	}{
		{"empty", "a.png", nil, "is empty"},
		{"empty, floats", "a.exr", nil, "is empty"},
		{"no picture", "a.png", []byte("a text that someone renamed"), "not a PNG or JPEG file"},
		{"no picture, floats", "a.exr", []byte("a text that someone renamed"), "no OpenEXR file"},
		{"cut", "a.png", good[:len(good)/2], "cut short"},
		{"cut, floats", "a.exr", whole[:len(whole)-9], "cut short"},
		{"a promise", "a.png", promise, "40000 × 25000 px: must be at most"},
		{"damaged", "a.png", bytes.Replace(good, []byte("IDAT"), []byte("IDAT\x07"), 1), "damaged"},
		{"NaN", "a.exr", float(nil, at(math.NaN())), "holds NaN in channel R at column 12, row 7"},
		{"infinite", "a.exr", float(nil, at(math.Inf(-1))), "holds -Inf in channel R at column 12, row 7"},
		{"a crop", "a.exr", float(func(h *exr.Header) { h.Display.MaxX++ }, level), "its data window is not its display window"},
		{"depth", "a.exr", float(func(h *exr.Header) { h.Channels = h.Channels[:2] }, level), "no channels R, G and B, and no Y"},
		{"counts", "a.exr", halves, "no channels R, G and B, and no Y, of half or float samples"},
	} {
		path := frameOn(t, tc.file, tc.content)
		err := r.read(t.Context(), path, &p)
		require.ErrorContains(t, err, path+": ", tc.name)
		assert.ErrorContains(t, err, tc.want, tc.name)
		require.NoError(t, r.read(t.Context(), fine, &p), "after "+tc.name)
	}
	assert.ErrorContains(t, r.read(t.Context(), filepath.Join(t.TempDir(), "gone.exr"), &p), "gone.exr: no such file")

	ctx, stop := context.WithCancel(t.Context())
	stop()
	for _, path := range []string{fine, frameOn(t, "a.exr", whole)} {
		assert.Equal(t, context.Canceled, r.read(ctx, path, &p))
	}
}

// A file may promise more pixels than are read. It is refused before memory is taken.
func TestPromisesAreRefused(t *testing.T) {
	path := frameOn(t, "a.exr", floatFrame(t, exr.Header{
		Channels: []exr.Channel{{Name: "Y", Type: exr.Float}}, Compression: exr.ZIP,
		Data: exr.Box{MaxX: 9, MaxY: 9}, Display: exr.Box{MaxX: 9, MaxY: 9},
	}, func(x, y, c int) float32 { return 0 }))
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	window := []byte("\x00\x00\x00\x00\x00\x00\x00\x00\x09\x00\x00\x00\x09\x00\x00\x00")
	huge := []byte("\x00\x00\x00\x00\x00\x00\x00\x00\x4f\xc3\x00\x00\xa7\x61\x00\x00") // 50 000 × 25 000
	path = frameOn(t, "b.exr", bytes.ReplaceAll(file, window, huge))
	_, err = readShape(t.Context(), path)
	assert.ErrorContains(t, err, "must be at most")
}

// A small frame holds means of light, by counting.
func TestShrink(t *testing.T) {
	const w, h, n = 23, 17, 5 // three columns and two rows are left out
	rng := rand.New(rand.NewPCG(3, 4))
	linear := func(code float64) float64 { return code * code / 1e9 }
	for _, tc := range []struct {
		p     picture
		white float64
	}{
		{picture{shape: shape{w, h, 3, eightBit}}, 250},
		{picture{shape: shape{w, h, 1, sixteenBit}}, 65000},
		{picture{shape: shape{w, h, 3, floating}}, 0.99},
	} {
		p := tc.p
		p.reshape(p.shape)
		for k := range p.Channels {
			for i := range w * h {
				switch p.Kind {
				case eightBit:
					p.Bytes[k].Pix[i] = uint8(rng.Uint32())
				case sixteenBit:
					p.Words[k].Pix[i] = uint16(rng.Uint32())
				default:
					p.Floats[k].Pix[i] = rng.Float32()
				}
			}
		}
		var got small
		for range 2 { // the second time in the memory of the first
			require.NoError(t, p.shrink(t.Context(), n, linear, tc.white, &got))
		}
		require.Equal(t, []int{4, 3, n, p.Channels}, []int{got.Width, got.Height, got.Factor, len(got.Channels)})
		for i := range 4 * 3 {
			clipped := false
			var want [3]float64
			for k := range p.Channels {
				for j := range n * n {
					v := sampleOf(&p, k, i%4*n+j%n, i/4*n+j/n)
					want[k] += linear(v) / (n * n)
					clipped = clipped || v >= tc.white
				}
			}
			for k := range p.Channels {
				if clipped {
					want[k] = max(want[k], 1)
				}
				row, _ := got.Channels[k].Row(i / 4)
				assert.InEpsilon(t, want[k], float64(row[i%4]), 1e-6, "rounded to float32: %v, channel %d, pixel %d", p.Kind, k, i)
			}
		}
	}
	var p picture
	p.reshape(shape{w, h, 1, eightBit})
	for _, factor := range []int{0, 18, 24} {
		assert.ErrorContains(t, p.shrink(t.Context(), factor, linear, 9, new(small)), "cannot be made smaller")
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	assert.Equal(t, context.Canceled, p.shrink(ctx, 1, linear, 9, new(small)))
}
