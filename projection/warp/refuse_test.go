package warp_test

import (
	"bytes"
	"context"
	"image"
	"io"
	"math"
	"os"
	"runtime"
	"testing"
	"unsafe"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/near"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// refused fails where an error is not one about the input that says something.
func refused(t *testing.T, name string, err error, say string) {
	t.Helper()
	assert.ErrorIs(t, err, warp.ErrInvalid, name)
	assert.ErrorContains(t, err, say, name)
}

// TestWorkersBelowZeroAreRefused by everything that has them.
func TestWorkersBelowZeroAreRefused(t *testing.T) {
	ctx := t.Context()
	p := flat(4, 4)
	m := newMap(t, p, p)
	dst, src := newFrame[uint8](t, 4, 4, 1), newFrame[uint8](t, 4, 4, 1)
	layers := []warp.Layer[uint8]{{Frame: src, Map: m}}
	negative := warp.Options{Workers: -1}
	file := encoded(t, m, warp.EncodeOptions{})
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
		"DecodeSTMap": func() error {
			_, err := warp.DecodeSTMap(ctx, bytes.NewReader(file), warp.SourceSpec{Width: 4, Height: 4}, warp.DecodeOptions{MapOptions: warp.MapOptions{Workers: -1}})
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
			_, err := warp.DecodeSTMap(ctx, (*os.File)(nil), warp.SourceSpec{Width: 1, Height: 1}, warp.DecodeOptions{})
			return err
		},
		"writer":              func() error { return warp.EncodeSTMap(ctx, (*bytes.Buffer)(nil), m, warp.EncodeOptions{}) },
		"picture":             func() error { _, err := warp.FromImage[uint8]((*image.RGBA)(nil)); return err },
		"picture *image.Gray": func() error { return warp.CopyImage(frame, (*image.Gray)(nil)) },
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
	require.NoError(t, err)
	tr := newTransfer[uint16](t, warp.TransferSpec{Curve: warp.SRGB})
	for _, tc := range []struct {
		from   int
		shared bool
	}{{0, true}, {63, true}, {64, false}} {
		coded, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: 8, Height: 4, Channels: 1, Pix: codes[tc.from:]})
		require.NoError(t, err)
		for _, err := range []error{tr.Linearize(t.Context(), linear, coded), tr.Encode(t.Context(), coded, linear)} {
			if tc.shared {
				refused(t, "one memory", err, "overlap")
			} else {
				assert.NoError(t, err)
			}
		}
	}
}

// exrOf is an OpenEXR file with the windows given, all zeros.
func exrOf(t *testing.T, data, display exr.Box) []byte {
	var b bytes.Buffer
	channels := []exr.Channel{{Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	h := exr.Header{Channels: channels, Compression: exr.ZIP, Data: data, Display: display}
	require.NoError(t, exr.Encode(&b, h, func(int, [][]float32) error { return nil }))
	return b.Bytes()
}

// TestMemoryFollowsWhatIsRead: a file of a few kilobytes that is within MaxPixels
// takes no more than deflate can make of it, and the cells of its map.
func TestMemoryFollowsWhatIsRead(t *testing.T) {
	near.NumbersOnly(t)
	const side = 1 << 20
	wide, tall := exr.Box{MaxX: side - 1, MaxY: 31}, exr.Box{MaxX: 31, MaxY: side - 1}
	short := exrOf(t, exr.Box{MaxX: 1<<17 - 1}, wide)
	for name, tc := range map[string]struct {
		file  []byte
		valid bool
		seen  int // pixels in the cells that see something
	}{
		"a short row in a wide window": {short, true, 32 << 17},
		"a pixel in a wide window":     {exrOf(t, exr.Box{}, wide), true, 32 * 32},
		"a pixel in a tall window":     {exrOf(t, exr.Box{}, tall), true, 32 * 32},
		"a pixel beside the window":    {exrOf(t, exr.Box{MinX: -9, MaxX: -9}, wide), true, 0},
		"cut short":                    {short[:len(short)-20], false, 0},
	} {
		require.LessOrEqual(t, len(tc.file), 4000, name)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := warp.DecodeSTMap(t.Context(), struct{ io.Reader }{bytes.NewReader(tc.file)}, warp.SourceSpec{Width: 100, Height: 100}, warp.DecodeOptions{})
		runtime.ReadMemStats(&after)
		limit := 1<<20 + 4000*len(tc.file) + 8*tc.seen
		if tc.valid {
			assert.NoError(t, err, name)
			limit += side*32/5 + 8*(side+32)
		} else {
			assert.ErrorIs(t, err, warp.ErrInvalid, name)
		}
		assert.LessOrEqual(t, after.TotalAlloc-before.TotalAlloc, uint64(min(limit, math.MaxInt32)), name)
	}
}
