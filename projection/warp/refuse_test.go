package warp_test

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"io"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"
	"unsafe"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/near"
	"example.com/platewright/projection/warp"
)

// refused fails where an error is not one about the input that says something.
func refused(t *testing.T, name string, err error, say string) {
	t.Helper()
	if !errors.Is(err, warp.ErrInvalid) || !strings.Contains(err.Error(), say) {
		t.Errorf("%s: got %v, want %q", name, err, say)
	}
}

// TestWorkersBelowZeroAreRefused by everything that has them.
func TestWorkersBelowZeroAreRefused(t *testing.T) {
	ctx := t.Context()
	p := flat(4, 4)
	m := newMap(t, p, p)
	dst, src := newFrame[uint8](t, 4, 4, 1), newFrame[uint8](t, 4, 4, 1)
	layers := []warp.Layer[uint8]{{Frame: src, Map: m}}
	negative := warp.Options{Workers: -1}
	file := encoded(t, m, warp.EncodeOptions{Format: warp.MapPFM})
	for name, call := range map[string]func() error{
		"NewMap": func() error {
			_, err := warp.NewMap(ctx, p, p, warp.MapOptions{Workers: -1})
			return err
		},
		"NewMapFromPositions": func() error {
			one := []float32{0.5}
			_, err := warp.NewMapFromPositions(ctx, warp.Positions[float32]{Width: 1, Height: 1, X: one, Y: one}, warp.SourceSpec{Width: 1, Height: 1}, warp.MapOptions{Workers: -1})
			return err
		},
		"DecodeMap": func() error {
			_, err := warp.DecodeMap(ctx, bytes.NewReader(file), warp.SourceSpec{Width: 4, Height: 4}, warp.DecodeOptions{MapOptions: warp.MapOptions{Workers: -1}})
			return err
		},
		"Warp":  func() error { return warp.Warp(ctx, dst, src, m, negative) },
		"Blend": func() error { return warp.Blend(ctx, dst, layers, negative) },
		"FindSeams": func() error {
			_, err := warp.FindSeams(ctx, layers, warp.SeamOptions{Workers: -1})
			return err
		},
		"RunSequence": func() error {
			return warp.RunSequence(ctx, warp.Sequence[uint8]{
				Count: 1, Layers: []warp.Layer[uint8]{{Map: m}}, Channels: 1, Options: negative,
				Read:  func(context.Context, int, []warp.Frame[uint8]) error { t.Error("a frame is read"); return nil },
				Write: func(context.Context, int, warp.Frame[uint8], warp.Frame[float32]) error { return nil },
			})
		},
		"NewTransfer": func() error {
			_, err := warp.NewTransfer[uint8](warp.TransferSpec{Workers: -1})
			return err
		},
	} {
		refused(t, name, call(), "Workers -1: must be at least 0")
	}
}

type never struct{ context.Context }

// TestNilPointersAreRefused where an interface holds one.
func TestNilPointersAreRefused(t *testing.T) {
	ctx := t.Context()
	p := flat(4, 4)
	m := newMap(t, p, p)
	frame := newFrame[uint8](t, 4, 4, 1)
	for name, call := range map[string]func() error{
		"target": func() error { _, err := warp.NewMap(ctx, (*plane)(nil), p, warp.MapOptions{}); return err },
		"source": func() error { _, err := warp.NewMap(ctx, p, (*plane)(nil), warp.MapOptions{}); return err },
		"ctx":    func() error { return warp.Warp((*never)(nil), frame, frame, m, warp.Options{}) },
		"reader": func() error {
			_, err := warp.DecodeMap(ctx, (*os.File)(nil), warp.SourceSpec{Width: 1, Height: 1}, warp.DecodeOptions{})
			return err
		},
		"writer": func() error {
			return warp.EncodeMap(ctx, (*bytes.Buffer)(nil), m, warp.EncodeOptions{Format: warp.MapPFM})
		},
		"picture": func() error { _, err := warp.FromImage[uint8]((*image.RGBA)(nil)); return err },
	} {
		refused(t, name, call(), name)
	}
}

// TestTransferRefusesItsOwnMemory: codes and light in one place would be read
// after they are written over.
func TestTransferRefusesItsOwnMemory(t *testing.T) {
	light := make([]float32, 64)
	codes := unsafe.Slice((*uint16)(unsafe.Pointer(&light[0])), 128)
	linear, err := warp.NewFrame(warp.FrameSpec[float32]{Width: 8, Height: 4, Channels: 1, Pix: light[:32]})
	if err != nil {
		t.Fatal(err)
	}
	tr := newTransfer[uint16](t, warp.TransferSpec{Curve: warp.SRGB})
	for _, tc := range []struct {
		from   int
		shared bool
	}{{0, true}, {63, true}, {64, false}} {
		coded, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 8, Height: 4, Channels: 1, Pix: codes[tc.from:]})
		if err != nil {
			t.Fatal(err)
		}
		for _, err := range []error{tr.Linearize(t.Context(), linear, coded), tr.Encode(t.Context(), coded, linear)} {
			if tc.shared {
				refused(t, "one memory", err, "overlap")
			} else if err != nil {
				t.Error(err)
			}
		}
	}
}

// pngOf is a PNG of 16 bits and three channels whose picture is what is given,
// deflated.
func pngOf(width, height uint32, picture []byte) []byte {
	out := []byte("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		out = binary.BigEndian.AppendUint32(out, uint32(len(data)))
		from := len(out)
		out = append(append(out, kind...), data...)
		out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[from:]))
	}
	head := binary.BigEndian.AppendUint32(nil, width)
	head = binary.BigEndian.AppendUint32(head, height)
	chunk("IHDR", append(head, 16, 2, 0, 0, 0))
	var packed bytes.Buffer
	z, _ := zlib.NewWriterLevel(&packed, zlib.BestCompression)
	z.Write(picture)
	z.Close()
	chunk("IDAT", packed.Bytes())
	chunk("IEND", nil)
	return out
}

// exrOf is an OpenEXR file with the windows given, all zeros.
func exrOf(t *testing.T, data, display exr.Box) []byte {
	var b bytes.Buffer
	channels := []exr.Channel{{Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	h := exr.Header{Channels: channels, Compression: exr.ZIP, Data: data, Display: display}
	if err := exr.Encode(&b, h, func(int, [][]float32) error { return nil }); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestMemoryFollowsWhatIsRead: a file of a few kilobytes that is within MaxPixels
// takes no more than deflate can make of it, and the cells of its map.
func TestMemoryFollowsWhatIsRead(t *testing.T) {
	near.NumbersOnly(t)
	wide, tall := exr.Box{MaxX: 1<<22 - 1, MaxY: 31}, exr.Box{MaxX: 31, MaxY: 1<<22 - 1}
	short := exrOf(t, exr.Box{MaxX: 1<<18 - 1}, wide)
	for name, tc := range map[string]struct {
		file  []byte
		valid bool
		cells bool // the map is made, or begun
		exact int  // pixels in the cells that see something
	}{
		"EXR, a short row in a wide window":   {short, true, true, 32 << 18},
		"EXR, a pixel in a wide window":       {exrOf(t, exr.Box{}, wide), true, true, 32 * 32},
		"EXR, a pixel in a tall window":       {exrOf(t, exr.Box{}, tall), true, true, 32 * 32},
		"EXR, a pixel beside the window":      {exrOf(t, exr.Box{MinX: -9, MaxX: -9}, wide), true, true, 0},
		"EXR, cut short":                      {short[:len(short)-20], false, false, 0},
		"PFM, wide and without pixels":        {[]byte("PF\n16777216 8\n-1\n" + strings.Repeat("\x00", 3000)), false, false, 0},
		"PFM, tall, one row":                  {[]byte("PF\n32 4194304\n-1\n" + strings.Repeat("\x00", 500)), false, true, 0},
		"PNG without pixels":                  {pngOf(1<<14, 1<<13, nil), false, false, 0},
		"PNG with fewer pixels than promised": {pngOf(1<<12, 1<<12, make([]byte, 1<<20)), false, false, 0},
	} {
		if len(tc.file) > 4000 {
			t.Fatalf("%s: a file of %d bytes", name, len(tc.file))
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		m, err := warp.DecodeMap(t.Context(), struct{ io.Reader }{bytes.NewReader(tc.file)}, warp.SourceSpec{Width: 100, Height: 100}, warp.DecodeOptions{})
		runtime.ReadMemStats(&after)
		if tc.valid != (err == nil && m != nil) || !tc.valid && !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: got %v, %v", name, m, err)
		}
		limit := 1<<20 + 4000*len(tc.file) + 8*tc.exact
		if tc.cells {
			const pixels = 1 << 27
			limit += pixels/5 + 8*(1<<22+32)
		}
		took := after.TotalAlloc - before.TotalAlloc
		t.Logf("%s: %d bytes, %.1f MB", name, len(tc.file), float64(took)/1e6)
		if took > uint64(min(limit, math.MaxInt32)) {
			t.Errorf("%s: %d bytes taken for %d, want at most %d", name, took, len(tc.file), limit)
		}
	}
}
