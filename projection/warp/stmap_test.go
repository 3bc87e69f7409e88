package warp_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// loss is the largest error of a position by rounding to float32, px.
func loss(w, h int) float64 { return math.Hypot(float64(w), float64(h)) * 0x1p-25 }

func encoded(t testing.TB, m *warp.Map, opts warp.EncodeOptions) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, warp.EncodeSTMap(t.Context(), &b, m, opts))
	return b.Bytes()
}

func decoded(t testing.TB, file []byte, source warp.SourceSpec, opts warp.DecodeOptions) *warp.Map {
	t.Helper()
	m, err := warp.DecodeSTMap(t.Context(), bytes.NewReader(file), source, opts)
	require.NoError(t, err)
	return m
}

// specOf is what a decoder is told of a source.
func specOf(source warp.Source) (s warp.SourceSpec) {
	s.Width, s.Height = source.Size()
	if w, ok := source.(interface{ WrapX() bool }); ok {
		s.WrapX = w.WrapX()
	}
	if w, ok := source.(interface{ WrapY() bool }); ok {
		s.WrapY = w.WrapY()
	}
	if w, ok := source.(interface{ Margin(x, y float64) float64 }); ok {
		s.Margin = w.Margin
	}
	return s
}

// compareMaps gives the largest distance between two maps at pixel centres,
// and fails where one sees and the other does not.
func compareMaps(t *testing.T, got, want *warp.Map, w, h int, wrap int) (worst float64) {
	t.Helper()
	for y := range h {
		for x := range w {
			gx, gy, ok := got.At(float64(x)+0.5, float64(y)+0.5)
			wx, wy, seen := want.At(float64(x)+0.5, float64(y)+0.5)
			if ok != seen {
				t.Fatalf("(%d, %d): seen %v, want %v", x, y, ok, seen)
			}
			if !ok {
				continue
			}
			dx := gx - wx
			if wrap > 0 {
				dx -= float64(wrap) * math.Round(dx/float64(wrap))
			}
			worst = max(worst, math.Hypot(dx, gy-wy))
		}
	}
	return worst
}

func TestSTMapsRoundTrip(t *testing.T) {
	near.NumbersOnly(t)
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
	}{
		"view of a fisheye":          {newView(200, 130, 60*degree, 20*degree, 10*degree, 5*degree), newFisheye(2000, 180*degree, 0, 0)},
		"view past a fisheye's edge": {newView(200, 150, 80*degree, 80*degree, 20*degree, 0), newFisheye(2000, 180*degree, 0, 0)},
		"view across a seam":         {newView(180, 140, 90*degree, 178*degree, 3*degree, 0), equirect{3000, 1500, 0}},
		"view of a pole":             {newView(101, 77, 90*degree, 40*degree, 88*degree, 0), equirect{2000, 1000, 0}},
		"fisheye of a panorama":      {cameraAsTarget{newFisheye(150, 180*degree, 170*degree, 60*degree)}, equirect{2000, 1000, 0}},
		"a disc in a cell":           {flat(192, 100), disc{flat(192, 192)}},
		"sees nothing":               {newView(50, 50, 20*degree, 180*degree, 0, 0), newFisheye(500, 90*degree, 0, 0)},
		"one pixel":                  {newView(1, 1, 90*degree, 0, 0, 0), equirect{2000, 1000, 0}},
		"one row":                    {newView(333, 1, 90*degree, 0, 0, 0), equirect{2000, 1000, 0}},
		"two columns":                {newView(2, 90, 90*degree, 0, 0, 0), equirect{2000, 1000, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMap(t, tc.target, tc.source)
			w, h := tc.target.Size()
			spec := specOf(tc.source)
			wrap := 0
			if spec.WrapX {
				wrap = spec.Width
			}
			for _, bottom := range []bool{false, true} {
				file := encoded(t, m, warp.EncodeOptions{BottomLeft: bottom})
				for _, tol := range []float64{0, 1e-6} {
					got := decoded(t, file, spec, warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: tol}})
					// Offsets in stored cells are float32, and y from the bottom is
					// rounded twice.
					bound := loss(spec.Width, spec.Height)*1.02 + 1e-4
					if tol == 0 {
						tol = 1.0 / 64
						bound += tol
					}
					assert.LessOrEqual(t, compareMaps(t, got, m, w, h, wrap), bound, "from the bottom: %v", bottom)
					assert.Equal(t, m.Report().SeenFraction, got.Report().SeenFraction)
					assert.LessOrEqual(t, got.Report().LargestError, tol)
				}
			}
		})
	}
}

// fixture is the position seen by pixel (i, j) in the files of the generator,
// and whether one with an alpha sees it.
func fixture(i, j int) (sx, sy float64, seen bool) {
	return 3 + 4.25*float64(i) + 0.5*float64(j), 2 + 0.75*float64(i) + 5*float64(j), !(i == 19 && j == 36 || i == 0 && j == 3)
}

// TestSTMapsOfOthers reads files written by OpenCV and FFmpeg: half a pixel,
// swapped axes or rows upside down would show here.
func TestSTMapsOfOthers(t *testing.T) {
	root, err := ref.ModuleRoot()
	require.NoError(t, err)
	for name, alpha := range map[string]bool{"map-cv.exr": false, "map-ffmpeg.exr": true} {
		file, err := os.ReadFile(filepath.Join(root, "testdata", "projection", name))
		require.NoError(t, err)
		for _, bottom := range []bool{false, true} {
			opts := warp.DecodeOptions{BottomLeft: bottom, MapOptions: warp.MapOptions{Tolerance: 1e-6}}
			m, err := warp.DecodeSTMap(t.Context(), bytes.NewReader(file), warp.SourceSpec{Width: 128, Height: 256}, opts)
			require.NoError(t, err)
			for j := range 37 {
				for i := range 20 {
					x, y, ok := m.At(float64(i)+0.5, float64(j)+0.5)
					wx, wy, seen := fixture(i, j)
					if bottom {
						wy = 256 - wy
					}
					ref.Equal(t, "WARP-FILE-SEEN", ok, seen || !alpha, name, i, j)
					if ok {
						ref.Within(t, "WARP-FILE", max(math.Abs(x-wx), math.Abs(y-wy)), name, i, j)
					}
				}
			}
		}
	}
}

// TestSTMapOfARaster onto itself holds (i+½)/width, (j+½)/height.
func TestSTMapOfARaster(t *testing.T) {
	const w, h = 64, 32
	m := newMap(t, flat(w, h), flat(w, h))
	for _, bottom := range []bool{false, true} {
		var file bytes.Buffer
		require.NoError(t, warp.EncodeSTMap(t.Context(), &file, m, warp.EncodeOptions{BottomLeft: bottom}))
		r, err := exr.NewReader(&file, 1e6)
		require.NoError(t, err)
		assert.Equal(t, exr.ZIP, r.Header().Compression)
		for range h {
			j, s, err := r.Next() // channels A, B, G, R
			require.NoError(t, err)
			for i := range w {
				y := (float32(j) + 0.5) / h
				if bottom {
					y = 1 - y
				}
				want := [4]float32{1, 0, y, (float32(i) + 0.5) / w}
				ref.Equal(t, "WARP-FILE-IDENTITY", [4]float32{s[0][i], s[1][i], s[2][i], s[3][i]}, want, bottom, i, j)
			}
		}
	}
}

// TestIdentityThroughAFileCopiesBits where sides are powers of two, so that
// float32 holds (i+½)/n.
func TestIdentityThroughAFileCopiesBits(t *testing.T) {
	const w, h = 256, 128
	src, dst := newFrame[uint16](t, w, h, 1), newFrame[uint16](t, w, h, 1)
	paint(src, func(x, y, _ int) float64 { return float64((x*7919 + y*104729) & 0xffff) })
	m := newMap(t, flat(w, h), flat(w, h))
	mustWarp(t, dst, src, decoded(t, encoded(t, m, warp.EncodeOptions{}), warp.SourceSpec{Width: w, Height: h}, warp.DecodeOptions{}), warp.Options{})
	for y := range h {
		require.Equal(t, src.Row(y), dst.Row(y), "row %d", y)
	}
}

// TestStatedLossOfSTMaps at the far end of a raster of full size, where float32 is
// coarsest.
func TestStatedLossOfSTMaps(t *testing.T) {
	source := flat(49152, 64)
	target := flat(3000, 1)
	target.x0, target.xx = 49152-3000/3.0, 1.0/3
	m := newMap(t, target, source)
	got := decoded(t, encoded(t, m, warp.EncodeOptions{}), specOf(source), warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: 1e-9}})
	worst := compareMaps(t, got, m, 3000, 1, 0)
	assert.LessOrEqual(t, worst, 0.0015)
	assert.Greater(t, worst, 0.0015/2)
}

// TestInverseMapsThroughFiles: the map of a view into a fisheye and that of
// the fisheye into the view, both from files, lead back to where one began.
func TestInverseMapsThroughFiles(t *testing.T) {
	near.NumbersOnly(t)
	view, camera := newView(300, 200, 70*degree, 15*degree, -5*degree, 8*degree), newFisheye(600, 180*degree, 0, 0)
	there := decoded(t, encoded(t, newMap(t, view, camera), warp.EncodeOptions{}), specOf(camera), warp.DecodeOptions{})
	back := decoded(t, encoded(t, newMap(t, cameraAsTarget{camera}, view), warp.EncodeOptions{}), warp.SourceSpec{Width: 300, Height: 200}, warp.DecodeOptions{})
	found := 0
	for y := 1.0; y < 200; y += 3.7 {
		for x := 1.0; x < 300; x += 3.3 {
			sx, sy, ok := there.At(x, y)
			require.True(t, ok, "(%v, %v)", x, y)
			bx, by, ok := back.At(sx, sy)
			if !ok {
				continue // the pixel of the fisheye's raster reaches over the view's edge
			}
			found++
			// Two tolerances, one of them in fisheye pixels of up to 2 of
			// the view's, and bilinear between pixels along the edge.
			assert.LessOrEqual(t, math.Hypot(bx-x, by-y), 0.1, "(%v, %v) comes back as (%v, %v)", x, y, bx, by)
		}
	}
	assert.GreaterOrEqual(t, found, 4500)
}

// TestMapsWarpAlike from a target and a source, from positions, from a file.
func TestMapsWarpAlike(t *testing.T) {
	target, source := newView(240, 180, 90*degree, 70*degree, 30*degree, 0), newFisheye(500, 180*degree, 0, 0)
	src := newFrame[float32](t, 500, 500, 1)
	paint(src, func(x, y, _ int) float64 { return 0.5 + 0.4*math.Sin(float64(x)/9)*math.Cos(float64(y)/7) })
	m := newMap(t, target, source)
	want := newFrame[float32](t, 240, 180, 1)
	mustWarp(t, want, src, m, warp.Options{})
	for name, other := range map[string]*warp.Map{
		"positions": fromPositions(t, positionsOf[float32](target, source), specOf(source), warp.MapOptions{}),
		"file":      decoded(t, encoded(t, m, warp.EncodeOptions{}), specOf(source), warp.DecodeOptions{}),
	} {
		got := newFrame[float32](t, 240, 180, 1)
		mustWarp(t, got, src, other, warp.Options{})
		for y := range 180 {
			// A slope of 0.06 a pixel times two tolerances.
			require.InDeltaSlice(t, want.Row(y), got.Row(y), 0.003, "%s, row %d", name, y)
		}
	}
}

// windowed is an EXR file whose data window is not its display window.
func windowed(t *testing.T, data, display exr.Box, channels []exr.Channel, text map[string]string, value func(x, y int, c string) float32) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, exr.Encode(&b, exr.Header{Channels: channels, Data: data, Display: display, Text: text}, func(y int, s [][]float32) error {
		for c := range s {
			for x := range s[c] {
				s[c][x] = value(x+int(data.MinX), y, channels[c].Name)
			}
		}
		return nil
	}))
	return b.Bytes()
}

func TestDataWindow(t *testing.T) {
	rg := []exr.Channel{{Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	for _, data := range []exr.Box{{MinX: -5, MinY: -4, MaxX: 90, MaxY: 70}, {MinX: 20, MinY: 15, MaxX: 50, MaxY: 33}, {MinX: -9, MinY: 35, MaxX: 11, MaxY: 80}, {MinX: 200, MinY: 0, MaxX: 210, MaxY: 4}} {
		display := exr.Box{MinX: 10, MinY: 8, MaxX: 79, MaxY: 60} // 70 × 53 px
		for _, bottom := range []bool{false, true} {
			// What the file states counts, not the option.
			origin := map[bool]string{false: "top left", true: "bottom left"}[bottom]
			file := windowed(t, data, display, rg, map[string]string{"platewright:origin": origin}, func(x, y int, c string) float32 {
				if c == "R" {
					return (float32(x) + 100.5) / 1024
				}
				return (float32(y) + 100.5) / 512
			})
			m := decoded(t, file, warp.SourceSpec{Width: 1024, Height: 512}, warp.DecodeOptions{BottomLeft: !bottom})
			for j := range 53 {
				for i := range 70 {
					x, y := i+10, j+8
					gx, gy, ok := m.At(float64(i)+0.5, float64(j)+0.5)
					want := x >= int(data.MinX) && x <= int(data.MaxX) && y >= int(data.MinY) && y <= int(data.MaxY)
					wantY := float64(y) + 100.5
					if bottom {
						wantY = 512 - wantY
					}
					if ok != want || ok && math.Hypot(gx-float64(x)-100.5, gy-wantY) > 1e-3 {
						t.Fatalf("%v, %s: (%d, %d) is (%v, %v, %v)", data, origin, i, j, gx, gy, ok)
					}
				}
			}
		}
	}
}

// TestSeenOnlyInFull: NaN, an alpha below 1 and positions outside are unseen.
func TestSeenOnlyInFull(t *testing.T) {
	rga := []exr.Channel{{Name: "A", Type: exr.Float}, {Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	nan := float32(math.NaN())
	inf := float32(math.Inf(1))
	pixels := [][3]float32{{1, 0.5, 0.5}, {0.99, 0.5, 0.5}, {1, nan, 0.5}, {1, 0.5, nan}, {nan, 0.5, 0.5}, {1, 1.01, 0.5}, {1, 0.5, -0.01}, {1, inf, 0}, {0, 0, 0}, {1, 0, 0}, {1, 1, 1}, {1, 0.5, 1.01}}
	box := exr.Box{MaxX: int32(len(pixels) - 1)}
	file := windowed(t, box, box, rga, nil, func(x, _ int, c string) float32 { return pixels[x][strings.Index("AGR", c)] })
	for wrap, want := range map[bool]string{false: "100000000110", true: "100000100111"} {
		m := decoded(t, file, warp.SourceSpec{Width: 100, Height: 50, WrapX: wrap}, warp.DecodeOptions{})
		got := ""
		for i := range pixels {
			_, _, ok := m.At(float64(i)+0.5, 0.5)
			got += map[bool]string{false: "0", true: "1"}[ok]
		}
		assert.Equal(t, want, got, "wrap %v", wrap)
	}
}

var errDisk = errors.New("disk full")

type full struct{ room int }

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errDisk
	}
	return len(p), nil
}

func (f *full) Read(p []byte) (int, error) { return 0, errDisk }

func TestSTMapsRefuse(t *testing.T) {
	m := newMap(t, flat(40, 30), flat(40, 30))
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	for name, f := range map[string]func() error{
		"nil context": func() error { return warp.EncodeSTMap(noContext, io.Discard, m, warp.EncodeOptions{}) },
		"nil writer":  func() error { return warp.EncodeSTMap(t.Context(), nil, m, warp.EncodeOptions{}) },
		"nil map":     func() error { return warp.EncodeSTMap(t.Context(), io.Discard, nil, warp.EncodeOptions{}) },
		"zero map":    func() error { return warp.EncodeSTMap(t.Context(), io.Discard, new(warp.Map), warp.EncodeOptions{}) },
		"too wide": func() error {
			// Sixteen rows are more than a chunk holds.
			wide := newMap(t, flat(1<<23, 1), flat(1<<23, 1))
			return warp.EncodeSTMap(t.Context(), io.Discard, wide, warp.EncodeOptions{})
		},
	} {
		assert.ErrorIs(t, f(), warp.ErrInvalid, name)
	}
	assert.ErrorIs(t, warp.EncodeSTMap(cancelled, io.Discard, m, warp.EncodeOptions{}), context.Canceled)
	assert.ErrorIs(t, warp.EncodeSTMap(t.Context(), &full{20}, m, warp.EncodeOptions{}), errDisk)

	file := encoded(t, m, warp.EncodeOptions{})
	decode := func(ctx context.Context, r io.Reader, opts warp.DecodeOptions) error {
		_, err := warp.DecodeSTMap(ctx, r, warp.SourceSpec{Width: 40, Height: 30}, opts)
		return err
	}
	assert.ErrorIs(t, decode(cancelled, bytes.NewReader(file), warp.DecodeOptions{}), context.Canceled)
	assert.ErrorIs(t, decode(t.Context(), bytes.NewReader(file), warp.DecodeOptions{MaxPixels: 1199}), warp.ErrInvalid)
	assert.NoError(t, decode(t.Context(), bytes.NewReader(file), warp.DecodeOptions{MaxPixels: 1200}))
	for n := 0; n < len(file); n += 1 + len(file)/50 {
		assert.ErrorIs(t, decode(t.Context(), bytes.NewReader(file[:n]), warp.DecodeOptions{}), warp.ErrInvalid, "cut to %d bytes", n)
		broken := io.MultiReader(bytes.NewReader(file[:n]), &full{})
		assert.ErrorIs(t, decode(t.Context(), broken, warp.DecodeOptions{}), errDisk, "disk broken after %d bytes", n)
	}
}

// counted notes what goes through it once a context has ended.
type counted struct {
	bytes.Buffer
	ctx  context.Context
	late int
	stop func() // called when half is read or written
	half int
}

func (c *counted) Read(p []byte) (int, error) {
	if c.ctx.Err() != nil {
		c.late++
	}
	n, err := c.Buffer.Read(p[:min(len(p), 1<<12)])
	if c.Len() <= c.half {
		c.stop()
	}
	return n, err
}

// halfway cancels when half of a file is written.
type halfway struct{ counted }

func (h *halfway) Write(p []byte) (int, error) {
	n, err := h.Buffer.Write(p)
	if h.Len() >= h.half {
		h.stop()
	}
	return n, err
}

// TestSTMapsStopWhenCancelled: halfway a decoder reads no more, and an encoder
// leaves no file that looks whole.
func TestSTMapsStopWhenCancelled(t *testing.T) {
	const w, h = 100, 900
	rng := rand.New(rand.NewPCG(8, 8))
	p := warp.Positions[float64]{Width: w, Height: h, X: make([]float64, w*h), Y: make([]float64, w*h)}
	for i := range p.X {
		p.X[i], p.Y[i] = 4000*rng.Float64(), 4000*rng.Float64()
	}
	source := warp.SourceSpec{Width: 4000, Height: 4000}
	m := fromPositions(t, p, source, warp.MapOptions{})
	whole := encoded(t, m, warp.EncodeOptions{})

	ctx, cancel := context.WithCancel(t.Context())
	in := &counted{ctx: ctx, stop: cancel, half: len(whole) / 2}
	in.Write(whole)
	_, err := warp.DecodeSTMap(ctx, in, source, warp.DecodeOptions{})
	assert.Equal(t, context.Canceled, err)
	assert.Zero(t, in.late, "reads after the context has ended")

	ctx, cancel = context.WithCancel(t.Context())
	out := &halfway{counted{ctx: ctx, stop: cancel, half: len(whole) / 2}}
	assert.Equal(t, context.Canceled, warp.EncodeSTMap(ctx, out, m, warp.EncodeOptions{}))
	assert.Less(t, out.Len(), len(whole)*3/4)
}

func TestDecodeSTMapRefuses(t *testing.T) {
	ok := warp.SourceSpec{Width: 128, Height: 256}
	root, err := ref.ModuleRoot()
	require.NoError(t, err)
	half, err := os.ReadFile(filepath.Join(root, "testdata", "projection", "map-half.exr"))
	require.NoError(t, err)
	box := exr.Box{MaxX: 3, MaxY: 3}
	zero := func(int, int, string) float32 { return 0 }
	rg := []exr.Channel{{Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	file := windowed(t, box, box, rg, nil, zero)
	for name, tc := range map[string]struct {
		file   []byte
		source warp.SourceSpec
		opts   warp.DecodeOptions
		say    string
	}{
		"empty":        {nil, ok, warp.DecodeOptions{}, "ST map"},
		"other":        {[]byte("GIF89a..."), ok, warp.DecodeOptions{}, "ST map"},
		"vast":         {windowed(t, box, exr.Box{MaxX: 1<<24 - 1, MaxY: 1<<24 - 1}, rg, nil, zero), ok, warp.DecodeOptions{}, "at most"},
		"half":         {half, ok, warp.DecodeOptions{}, "32-bit"},
		"no red":       {windowed(t, box, box, []exr.Channel{{Name: "Y", Type: exr.Float}}, nil, zero), ok, warp.DecodeOptions{}, "R and G"},
		"source":       {file, warp.SourceSpec{Width: 0, Height: 5}, warp.DecodeOptions{}, "source width"},
		"odd panorama": {file, warp.SourceSpec{Width: 5, Height: 5, WrapX: true, WrapY: true}, warp.DecodeOptions{}, "even"},
		"limit":        {file, ok, warp.DecodeOptions{MaxPixels: -1}, "MaxPixels"},
		"tolerance":    {file, ok, warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: math.NaN()}}, "Tolerance"},
	} {
		_, err := warp.DecodeSTMap(t.Context(), bytes.NewReader(tc.file), tc.source, tc.opts)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
		assert.ErrorContains(t, err, tc.say, name)
	}
	_, err = warp.DecodeSTMap(t.Context(), nil, ok, warp.DecodeOptions{})
	assert.ErrorIs(t, err, warp.ErrInvalid, "nil reader")
	_, err = warp.DecodeSTMap(noContext, bytes.NewReader(file), ok, warp.DecodeOptions{})
	assert.ErrorIs(t, err, warp.ErrInvalid, "nil context")
}

func TestDecodeSTMapTellsItsProgress(t *testing.T) {
	file := encoded(t, newMap(t, flat(40, 70), flat(40, 70)), warp.EncodeOptions{})
	var steps []string
	decoded(t, file, specOf(flat(40, 70)), warp.DecodeOptions{MapOptions: warp.MapOptions{Progress: func(done, total int) {
		steps = append(steps, fmt.Sprint(done, "/", total))
	}}})
	assert.Equal(t, []string{"1/6", "2/6", "3/6", "4/6", "5/6", "6/6"}, steps)
}

// FuzzDecodeSTMap: any bytes give an error or a map that can be used.
func FuzzDecodeSTMap(f *testing.F) {
	m := newMap(f, flat(12, 9), flat(12, 10))
	f.Add(encoded(f, m, warp.EncodeOptions{}), uint16(64), uint16(32), true, true)
	f.Add(encoded(f, m, warp.EncodeOptions{BottomLeft: true}), uint16(3), uint16(1), false, false)
	f.Fuzz(func(t *testing.T, file []byte, sw, sh uint16, wrapX, wrapY bool) {
		spec := warp.SourceSpec{Width: int(sw), Height: int(sh), WrapX: wrapX, WrapY: wrapY}
		m, err := warp.DecodeSTMap(t.Context(), bytes.NewReader(file), spec, warp.DecodeOptions{MaxPixels: 1 << 14})
		if err != nil {
			require.ErrorIs(t, err, warp.ErrInvalid)
			return
		}
		again := decoded(t, encoded(t, m, warp.EncodeOptions{}), spec, warp.DecodeOptions{})
		r := m.Report()
		require.Equal(t, r.SeenFraction, again.Report().SeenFraction)
		require.LessOrEqual(t, r.LargestError, 1.0/64)
		for _, p := range [][2]float64{{0.5, 0.5}, {1, 1}, {1.25, 0.9}, {3.5, 2.5}} {
			x, y, ok := m.At(p[0], p[1])
			if ok && !(x >= 0 && x <= float64(spec.Width) && y >= 0 && y <= float64(spec.Height)) {
				t.Fatalf("At%v is (%v, %v)", p, x, y)
			}
			if j, ok := m.Jacobian(p[0], p[1]); ok && !(j.XX+j.XY+j.YX+j.YY == j.XX+j.XY+j.YX+j.YY) {
				t.Fatalf("Jacobian at %v is %+v", p, j)
			}
		}
	})
}

func ExampleEncodeSTMap() {
	ctx := context.Background()
	m, err := warp.NewMap(ctx, forwardWall{}, bowCamera{}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	var file bytes.Buffer
	if err := warp.EncodeSTMap(ctx, &file, m, warp.EncodeOptions{}); err != nil {
		fmt.Println(err)
		return
	}
	// The plate comes back at half the size: positions in the file are fractions
	// of its sides.
	half, err := warp.DecodeSTMap(ctx, &file, warp.SourceSpec{Width: 400, Height: 400}, warp.DecodeOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	x, y, ok := half.At(200, 50)
	fmt.Printf("the wall's right end shows (%.1f, %.1f), %v\n", x, y, ok)
	// Output: the wall's right end shows (281.9, 200.0), true
}

func BenchmarkSTMaps(b *testing.B) {
	const w, h = 2048, 1080
	m := newMap(b, newView(w, h, 100*degree, 0, 0, 0), newFisheye(8000, 180*degree, 0, 0))
	file := encoded(b, m, warp.EncodeOptions{})
	b.Run("encode", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, warp.EncodeSTMap(b.Context(), io.Discard, m, warp.EncodeOptions{}))
		}
		megapixels(b, w, h)
	})
	b.Run("decode", func(b *testing.B) {
		for b.Loop() {
			decoded(b, file, warp.SourceSpec{Width: 8000, Height: 8000}, warp.DecodeOptions{})
		}
		megapixels(b, w, h)
	})
}
