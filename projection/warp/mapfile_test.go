package warp_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
)

var formats = []warp.MapFormat{warp.MapEXR, warp.MapEXRPlain, warp.MapPFM, warp.MapPNG16}

// loss is the largest error of a position by the rounding of a format, px.
func loss(f warp.MapFormat, w, h int) float64 {
	unit := math.Ldexp(1, -25)
	if f == warp.MapPNG16 {
		unit = 1.0 / 131070
	}
	return math.Hypot(float64(w), float64(h)) * unit
}

func encoded(t testing.TB, m *warp.Map, opts warp.EncodeOptions) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := warp.EncodeMap(t.Context(), &b, m, opts); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func decoded(t testing.TB, file []byte, source warp.SourceSpec, opts warp.DecodeOptions) *warp.Map {
	t.Helper()
	m, err := warp.DecodeMap(t.Context(), bytes.NewReader(file), source, opts)
	if err != nil {
		t.Fatal(err)
	}
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

func TestMapFilesRoundTrip(t *testing.T) {
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
	}{
		"view of a fisheye":          {newView(200, 130, 60*degree, 20*degree, 10*degree, 5*degree), newFisheye(2000, 180*degree, 0, 0)},
		"view past a fisheye's edge": {newView(200, 150, 80*degree, 80*degree, 20*degree, 0), newFisheye(2000, 180*degree, 0, 0)},
		"view across a seam":         {newView(180, 140, 90*degree, 178*degree, 3*degree, 0), panorama{3000, 1500, 0}},
		"view of a pole":             {newView(101, 77, 90*degree, 40*degree, 88*degree, 0), panorama{2000, 1000, 0}},
		"fisheye of a panorama":      {cameraAsTarget{newFisheye(150, 180*degree, 170*degree, 60*degree)}, panorama{2000, 1000, 0}},
		"a disc in a cell":           {flat(192, 100), disc{flat(192, 192)}},
		"sees nothing":               {newView(50, 50, 20*degree, 180*degree, 0, 0), newFisheye(500, 90*degree, 0, 0)},
		"one pixel":                  {newView(1, 1, 90*degree, 0, 0, 0), panorama{2000, 1000, 0}},
		"one row":                    {newView(333, 1, 90*degree, 0, 0, 0), panorama{2000, 1000, 0}},
		"two columns":                {newView(2, 90, 90*degree, 0, 0, 0), panorama{2000, 1000, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMap(t, tc.target, tc.source)
			w, h := tc.target.Size()
			spec := specOf(tc.source)
			wrap := 0
			if spec.WrapX {
				wrap = spec.Width
			}
			for _, f := range formats {
				for _, origin := range []warp.Origin{warp.OriginTopLeft, warp.OriginBottomLeft} {
					file := encoded(t, m, warp.EncodeOptions{Format: f, Origin: origin})
					for _, tol := range []float64{0, 1e-6} {
						got := decoded(t, file, spec, warp.DecodeOptions{Origin: origin, MapOptions: warp.MapOptions{Tolerance: tol}})
						// Offsets in stored cells are float32, and y from
						// the bottom is rounded twice.
						bound := loss(f, spec.Width, spec.Height)*1.02 + 1e-4
						if tol == 0 {
							bound += 1.0 / 64
						}
						if worst := compareMaps(t, got, m, w, h, wrap); worst > bound {
							t.Errorf("format %d, origin %d: error %g, want at most %g", f, origin, worst, bound)
						}
						a, b := m.Report(), got.Report()
						if a.SeenShare != b.SeenShare || tol == 0 && b.LargestError > 1.0/64 {
							t.Errorf("format %d: report %+v, was %+v", f, b, a)
						}
					}
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

// TestMapFilesOfOthers reads files written by OpenCV and FFmpeg: half a pixel,
// swapped axes or rows upside down would show here.
func TestMapFilesOfOthers(t *testing.T) {
	root, err := ref.ModuleRoot()
	if err != nil {
		t.Fatal(err)
	}
	spec := warp.SourceSpec{Width: 128, Height: 256}
	for name, tc := range map[string]struct {
		alpha bool
		loss  float64
	}{
		"map-cv.exr":     {false, 1e-6},
		"map-ffmpeg.exr": {true, 1e-6},
		"map-cv.pfm":     {true, 1e-6},
		"map-cv.png":     {true, 256 / 131070.0},
	} {
		file, err := os.ReadFile(filepath.Join(root, "testdata", "projection", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, up := range []bool{false, true} {
			opts := warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: tc.loss + 1e-9}}
			if up {
				opts.Origin = warp.OriginBottomLeft
			}
			m, err := warp.DecodeMap(t.Context(), bytes.NewReader(file), spec, opts)
			if err != nil {
				t.Fatal(err)
			}
			for j := range 37 {
				for i := range 20 {
					x, y, ok := m.At(float64(i)+0.5, float64(j)+0.5)
					wx, wy, seen := fixture(i, j)
					if up {
						wy = 256 - wy
					}
					ref.Equal(t, "WARP-FILE-SEEN", ok, seen || !tc.alpha, name, i, j)
					if ok {
						ref.Within(t, "WARP-FILE", max(math.Abs(x-wx), math.Abs(y-wy)), 2*tc.loss, name, i, j)
					}
				}
			}
		}
	}
}

// handmadePFM is written out by hand: 2 × 2 px, the lower row first.
func handmadePFM(order binary.AppendByteOrder, scale string) []byte {
	b := []byte("PF\n2 2\n" + scale + "\n")
	for _, v := range []float32{
		0.5, 0.875, 1, 0, 0, 0, // pixels (0, 1), (1, 1)
		0.25, 0.125, 1, 0.75, 0.0625, 1, // pixels (0, 0), (1, 0)
	} {
		b = order.AppendUint32(b, math.Float32bits(v))
	}
	return b
}

func TestPFMMadeByHand(t *testing.T) {
	spec := warp.SourceSpec{Width: 16, Height: 32}
	for _, file := range [][]byte{handmadePFM(binary.LittleEndian, "-1.0"), handmadePFM(binary.BigEndian, "1")} {
		m := decoded(t, file, spec, warp.DecodeOptions{})
		for k, want := range [4][3]float64{{4, 4, 1}, {12, 2, 1}, {8, 28, 1}, {}} {
			x, y, ok := m.At(float64(k%2)+0.5, float64(k/2)+0.5)
			if x != want[0] || y != want[1] || ok != (want[2] == 1) {
				t.Errorf("pixel %d: got (%v, %v, %v), want %v", k, x, y, ok, want)
			}
		}
		// It is written as it was read.
		if got := encoded(t, m, warp.EncodeOptions{Format: warp.MapPFM}); !bytes.Equal(got, handmadePFM(binary.LittleEndian, "-1.0")) {
			t.Errorf("written as %q", got)
		}
	}
}

// TestIdentityMapFile: what stands in a file of a raster onto itself is
// (i+½)/width, (j+½)/height, of each format.
func TestIdentityMapFile(t *testing.T) {
	const w, h = 64, 32
	m := newMap(t, flat(w, h), flat(w, h))
	for _, origin := range []warp.Origin{warp.OriginTopLeft, warp.OriginBottomLeft} {
		want := func(i, j int) (x, y float64) {
			x, y = (float64(i)+0.5)/w, (float64(j)+0.5)/h
			if origin == warp.OriginBottomLeft {
				y = 1 - y
			}
			return x, y
		}
		check := func(format string, i, j int, x, y, tolerance float64) {
			t.Helper()
			wx, wy := want(i, j)
			ref.Within(t, "WARP-FILE-IDENTITY", math.Max(math.Abs(x-wx), math.Abs(y-wy)), tolerance, format, i, j)
		}
		for _, f := range []warp.MapFormat{warp.MapEXR, warp.MapEXRPlain} {
			var file bytes.Buffer
			if err := warp.EncodeMap(t.Context(), &file, m, warp.EncodeOptions{Format: f, Origin: origin}); err != nil {
				t.Fatal(err)
			}
			r, err := exr.NewReader(&file, 1e6)
			if err != nil {
				t.Fatal(err)
			}
			for range h {
				j, s, err := r.Next()
				if err != nil {
					t.Fatal(err)
				}
				for i := range w {
					check("EXR", i, j, float64(s[3][i]), float64(s[2][i]), 0)
					if s[0][i] != 1 || s[1][i] != 0 {
						t.Fatal("alpha or blue")
					}
				}
			}
		}
		pfm := encoded(t, m, warp.EncodeOptions{Format: warp.MapPFM, Origin: origin})
		pixels := pfm[len(pfm)-12*w*h:]
		for k := range w * h {
			v := func(c int) float64 {
				return float64(math.Float32frombits(binary.LittleEndian.Uint32(pixels[12*k+4*c:])))
			}
			check("PFM", k%w, h-1-k/w, v(0), v(1), 0)
			if v(2) != 1 {
				t.Fatal("third channel")
			}
		}
		img, err := png.Decode(bytes.NewReader(encoded(t, m, warp.EncodeOptions{Format: warp.MapPNG16, Origin: origin})))
		if err != nil {
			t.Fatal(err)
		}
		for j := range h {
			for i := range w {
				c := img.(*image.NRGBA64).NRGBA64At(i, j)
				check("PNG", i, j, float64(c.R)/65535, float64(c.G)/65535, 0.5000001/65535)
				if c.B != 0 || c.A != 65535 {
					t.Fatal("blue or alpha")
				}
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
	for _, f := range []warp.MapFormat{warp.MapEXR, warp.MapPFM} {
		mustWarp(t, dst, src, decoded(t, encoded(t, m, warp.EncodeOptions{Format: f}), warp.SourceSpec{Width: w, Height: h}, warp.DecodeOptions{}), warp.Options{})
		for y := range h {
			if !slices.Equal(dst.Row(y), src.Row(y)) {
				t.Fatalf("format %d: row %d differs", f, y)
			}
		}
	}
}

// TestStatedLossOfFiles at the far end of rasters of full size, where float32
// is coarsest.
func TestStatedLossOfFiles(t *testing.T) {
	for _, tc := range []struct {
		format warp.MapFormat
		width  int
		stated float64
	}{{warp.MapEXR, 49152, 0.0015}, {warp.MapPFM, 49152, 0.0015}, {warp.MapPNG16, 12288, 0.094}} {
		source := flat(tc.width, 64)
		target := flat(3000, 1)
		target.x0, target.xx = float64(tc.width)-3000/3.0, 1.0/3
		m := newMap(t, target, source)
		got := decoded(t, encoded(t, m, warp.EncodeOptions{Format: tc.format}), specOf(source), warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: 1e-9}})
		worst := compareMaps(t, got, m, 3000, 1, 0)
		if worst > tc.stated || worst < tc.stated/2 {
			t.Errorf("format %d at %d px: error %g, stated %g", tc.format, tc.width, worst, tc.stated)
		}
	}
}

// TestInverseMapsThroughFiles: the map of a view into a fisheye and that of
// the fisheye into the view, both from files, lead back to where one began.
func TestInverseMapsThroughFiles(t *testing.T) {
	view, camera := newView(300, 200, 70*degree, 15*degree, -5*degree, 8*degree), newFisheye(600, 180*degree, 0, 0)
	there := decoded(t, encoded(t, newMap(t, view, camera), warp.EncodeOptions{Format: warp.MapEXR}), specOf(camera), warp.DecodeOptions{})
	back := decoded(t, encoded(t, newMap(t, cameraAsTarget{camera}, view), warp.EncodeOptions{Format: warp.MapPFM}), warp.SourceSpec{Width: 300, Height: 200}, warp.DecodeOptions{})
	found := 0
	for y := 1.0; y < 200; y += 3.7 {
		for x := 1.0; x < 300; x += 3.3 {
			sx, sy, ok := there.At(x, y)
			if !ok {
				t.Fatalf("(%v, %v) is not seen", x, y)
			}
			bx, by, ok := back.At(sx, sy)
			if !ok {
				continue // the pixel of the fisheye's raster reaches over the view's edge
			}
			found++
			// Two tolerances, one of them in fisheye pixels of up to 2 of
			// the view's, and bilinear between pixels along the edge.
			if d := math.Hypot(bx-x, by-y); d > 0.1 {
				t.Errorf("(%v, %v) comes back as (%v, %v)", x, y, bx, by)
			}
		}
	}
	if found < 4500 {
		t.Errorf("%d positions came back", found)
	}
}

func positionsOf[T float32 | float64](target warp.Target, source warp.Source) warp.Positions[T] {
	w, h := target.Size()
	p := warp.Positions[T]{Width: w, Height: h, X: make([]T, w*h), Y: make([]T, w*h)}
	for k := range p.X {
		x, y, ok := exact(target, source, float64(k%w)+0.5, float64(k/w)+0.5)
		if !ok {
			x, y = math.NaN(), math.NaN()
		}
		p.X[k], p.Y[k] = T(x), T(y)
	}
	return p
}

func fromPositions[T float32 | float64](t testing.TB, p warp.Positions[T], source warp.SourceSpec, opts warp.MapOptions) *warp.Map {
	t.Helper()
	m, err := warp.NewMapFromPositions(t.Context(), p, source, opts)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestPositionsSnyder(t *testing.T) {
	// Snyder's example of the azimuthal equidistant projection (see
	// TestAtSnyder): 100° E, 20° S at the centre of a pixel.
	camera := newFisheye(18850, 360*degree, -100*degree, 40*degree)
	camera.focal = 3000
	p := positionsOf[float64](cornered{panorama{720, 360, 0}}, camera)
	m, err := warp.NewMapFromPositions(t.Context(), p, specOf(camera), warp.MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	x, y, ok := m.At((100.0/360+0.5)*720+0.5, (0.5+20.0/180)*360+0.5)
	if !ok {
		t.Fatal("not seen")
	}
	ref.Within(t, "WARP-POSITIONS", math.Hypot(x-(9425-5831.1398), y-(9425-5544.4634)))
}

// cornered is a panorama whose pixel centres look where corners do in others.
type cornered struct{ panorama }

func (c cornered) Unproject(x, y float64) (vec, bool) { return c.panorama.Unproject(x-0.5, y-0.5) }

// TestPositionsHoldTheToleranceAtEveryPixel, and say so.
func TestPositionsHoldTheToleranceAtEveryPixel(t *testing.T) {
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
	}{
		"smooth":       {newView(480, 270, 60*degree, 20*degree, 10*degree, 5*degree), newFisheye(2000, 180*degree, 0, 0)},
		"edge":         {newView(480, 270, 80*degree, 80*degree, 20*degree, 0), newFisheye(2000, 180*degree, 0, 0)},
		"seam":         {newView(400, 300, 90*degree, 178*degree, 3*degree, 0), panorama{3000, 1500, 0}},
		"pole":         {newView(301, 277, 90*degree, 40*degree, 88*degree, 0), panorama{2000, 1000, 0}},
		"hole":         {flat(192, 192), disc{flat(192, 192)}},
		"narrow":       {flat(3, 5), flat(3, 5)},
		"whole sphere": {panorama{512, 256, 100}, panorama{512, 256, 0}},
	} {
		// Knowing every pixel, no more cells are stored than NewMap stores.
		stored := newMap(t, tc.target, tc.source).Report().ExactShare
		for _, tol := range []float64{1.0 / 64, 1e-3} {
			m := fromPositions(t, positionsOf[float64](tc.target, tc.source), specOf(tc.source), warp.MapOptions{Tolerance: tol})
			_, wrap := tc.source.(panorama)
			worst, seen := worstError(t, m, tc.target, tc.source, wrap)
			r := m.Report()
			// Stored offsets are float32.
			if worst > max(tol, 1e-4) || r.LargestError > tol || worst < r.LargestError-1e-9 {
				t.Errorf("%s: error %g, reported %g, tolerance %g", name, worst, r.LargestError, tol)
			}
			w, h := tc.target.Size()
			if tol > 1e-2 && r.ExactShare > stored || math.Abs(r.SeenShare*float64(w*h)-float64(seen)) > 1e-6 {
				t.Errorf("%s: %d seen, %+v, NewMap stores %v", name, seen, r, stored)
			}
		}
	}
}

// TestPositionsPolesAreStored: around a pole no tolerance makes a polynomial.
func TestPositionsPolesAreStored(t *testing.T) {
	target, source := newView(96, 96, 90*degree, 0, 90*degree, 0), panorama{200, 100, 0}
	m := fromPositions(t, positionsOf[float64](target, source), specOf(source), warp.MapOptions{Tolerance: 1e6})
	for y := 40; y < 56; y++ {
		for x := 40; x < 56; x++ {
			gx, gy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
			wx, wy, _ := exact(target, source, float64(x)+0.5, float64(y)+0.5)
			if math.Hypot(gx-wx, gy-wy) > 1e-4 {
				t.Fatalf("(%d, %d): got (%v, %v), want (%v, %v)", x, y, gx, gy, wx, wy)
			}
		}
	}
}

// TestBetweenPixels of stored cells At is bilinear, goes on beyond the last
// centre, and does not mix what lies on either side of a jump.
func TestBetweenPixels(t *testing.T) {
	const w, h = 40, 8
	p := warp.Positions[float32]{Width: w, Height: h, X: make([]float32, w*h), Y: make([]float32, w*h)}
	want := func(x, y float64) (sx, sy float64) {
		sx, sy = 100+2*x+0.25*y+0.5*x*y, 20+0.5*x+3*y
		if x >= 13 {
			sx += 500
		}
		return sx, sy
	}
	for k := range p.X {
		x, y := want(float64(k%w)+0.5, float64(k/w)+0.5)
		p.X[k], p.Y[k] = float32(x), float32(y)
	}
	p.X[3*w+30] = float32(math.NaN())
	m := fromPositions(t, p, warp.SourceSpec{Width: 2000, Height: 100}, warp.MapOptions{})
	if m.Report().ExactShare != 1 {
		t.Fatalf("%+v", m.Report())
	}
	for _, q := range [][2]float64{{5.5, 4.5}, {5.9, 4.7}, {7, 3}, {0, 4.5}, {3.5, 7.9}, {40, 5.5}, {12.99, 4.5}, {12.9, 4.5}, {13.01, 4.5}, {13.2, 5.5}, {29.9, 3.5}} {
		x, y, ok := m.At(q[0], q[1])
		wx, wy := want(q[0], q[1])
		if !ok || math.Abs(x-wx) > 1e-3 || math.Abs(y-wy) > 1e-3 {
			t.Errorf("At%v: got (%v, %v, %v), want (%v, %v)", q, x, y, ok, wx, wy)
		}
	}
	if _, _, ok := m.At(30.7, 3.2); ok {
		t.Error("a pixel without a position is seen")
	}
	for _, q := range [][2]float64{{-0.1, 3}, {41, 3}, {3, math.NaN()}} {
		if _, _, ok := m.At(q[0], q[1]); ok {
			t.Errorf("At%v: seen", q)
		}
	}
	// The derivative is that of the plane, beside the jump and beside the hole.
	for _, q := range [][2]float64{{10.5, 4.5}, {12.5, 4.5}, {13.5, 4.5}, {31.5, 3.5}} {
		j, ok := m.Jacobian(q[0], q[1])
		if !ok || math.Abs(j.XX-2-0.5*q[1]) > 1e-3 || math.Abs(j.YX-0.5) > 1e-3 || math.Abs(j.XY-0.25-0.5*q[0]) > 1e-3 || math.Abs(j.YY-3) > 1e-3 {
			t.Errorf("Jacobian at %v: %+v, %v", q, j, ok)
		}
	}
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
		"file":      decoded(t, encoded(t, m, warp.EncodeOptions{Format: warp.MapEXR}), specOf(source), warp.DecodeOptions{}),
	} {
		got := newFrame[float32](t, 240, 180, 1)
		mustWarp(t, got, src, other, warp.Options{})
		for y := range 180 {
			for x, v := range got.Row(y) {
				// A slope of 0.06 a pixel times two tolerances.
				if math.Abs(float64(v-want.Row(y)[x])) > 0.003 {
					t.Fatalf("%s: (%d, %d) is %v, want %v", name, x, y, v, want.Row(y)[x])
				}
			}
		}
	}
}

// windowed is an EXR file whose data window is not its display window.
func windowed(t *testing.T, data, display exr.Box, channels []exr.Channel, text map[string]string, value func(x, y int, c string) float32) []byte {
	t.Helper()
	var b bytes.Buffer
	err := exr.Encode(&b, exr.Header{Channels: channels, Data: data, Display: display, Text: text}, func(y int, s [][]float32) error {
		for c := range s {
			for x := range s[c] {
				s[c][x] = value(x+int(data.MinX), y, channels[c].Name)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestDataWindow(t *testing.T) {
	rg := []exr.Channel{{Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}}
	for _, data := range []exr.Box{{MinX: -5, MinY: -4, MaxX: 90, MaxY: 70}, {MinX: 20, MinY: 15, MaxX: 50, MaxY: 33}, {MinX: -9, MinY: 35, MaxX: 11, MaxY: 80}, {MinX: 200, MinY: 0, MaxX: 210, MaxY: 4}} {
		display := exr.Box{MinX: 10, MinY: 8, MaxX: 79, MaxY: 60} // 70 × 53 px
		file := windowed(t, data, display, rg, map[string]string{"platewright:origin": "bottom left"}, func(x, y int, c string) float32 {
			if c == "R" {
				return (float32(x) + 100.5) / 1024
			}
			return (float32(y) + 100.5) / 512
		})
		// What the file states counts, not the option.
		m := decoded(t, file, warp.SourceSpec{Width: 1024, Height: 512}, warp.DecodeOptions{})
		for j := range 53 {
			for i := range 70 {
				x, y := i+10, j+8
				gx, gy, ok := m.At(float64(i)+0.5, float64(j)+0.5)
				want := x >= int(data.MinX) && x <= int(data.MaxX) && y >= int(data.MinY) && y <= int(data.MaxY)
				if ok != want || ok && math.Hypot(gx-float64(x)-100.5, gy-(512-float64(y)-100.5)) > 1e-3 {
					t.Fatalf("%v: (%d, %d) is (%v, %v, %v)", data, i, j, gx, gy, ok)
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
			got += fmt.Sprintf("%d", map[bool]int{true: 1}[ok])
		}
		if got != want {
			t.Errorf("wrap %v: seen %s, want %s", wrap, got, want)
		}
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

func TestMapFilesRefuse(t *testing.T) {
	m := newMap(t, flat(40, 30), flat(40, 30))
	good := warp.EncodeOptions{Format: warp.MapPFM}
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	for name, f := range map[string]func() error{
		"nil context": func() error { return warp.EncodeMap(noContext, io.Discard, m, good) },
		"nil writer":  func() error { return warp.EncodeMap(t.Context(), nil, m, good) },
		"nil map":     func() error { return warp.EncodeMap(t.Context(), io.Discard, nil, good) },
		"zero map":    func() error { return warp.EncodeMap(t.Context(), io.Discard, new(warp.Map), good) },
		"no format":   func() error { return warp.EncodeMap(t.Context(), io.Discard, m, warp.EncodeOptions{}) },
		"format": func() error {
			return warp.EncodeMap(t.Context(), io.Discard, m, warp.EncodeOptions{Format: 9})
		},
		"origin": func() error {
			return warp.EncodeMap(t.Context(), io.Discard, m, warp.EncodeOptions{Format: warp.MapEXR, Origin: 2})
		},
	} {
		if err := f(); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	for _, format := range formats {
		opts := warp.EncodeOptions{Format: format}
		if err := warp.EncodeMap(cancelled, io.Discard, m, opts); !errors.Is(err, context.Canceled) {
			t.Errorf("format %d, cancelled: got %v", format, err)
		}
		if err := warp.EncodeMap(t.Context(), &full{20}, m, opts); !errors.Is(err, errDisk) {
			t.Errorf("format %d, disk full: got %v", format, err)
		}
		file := encoded(t, m, opts)
		spec := warp.SourceSpec{Width: 40, Height: 30}
		if _, err := warp.DecodeMap(cancelled, bytes.NewReader(file), spec, warp.DecodeOptions{}); !errors.Is(err, context.Canceled) {
			t.Errorf("format %d, cancelled: got %v", format, err)
		}
		if _, err := warp.DecodeMap(t.Context(), bytes.NewReader(file), spec, warp.DecodeOptions{MaxPixels: 1199}); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("format %d, too large: got %v", format, err)
		}
		for n := 0; n < len(file); n += 1 + len(file)/50 {
			if _, err := warp.DecodeMap(t.Context(), bytes.NewReader(file[:n]), spec, warp.DecodeOptions{}); !errors.Is(err, warp.ErrInvalid) {
				t.Errorf("format %d cut to %d bytes: got %v", format, n, err)
			}
			if _, err := warp.DecodeMap(t.Context(), io.MultiReader(bytes.NewReader(file[:n]), &full{}), spec, warp.DecodeOptions{}); !errors.Is(err, errDisk) {
				t.Errorf("format %d, disk broken after %d bytes: got %v", format, n, err)
			}
		}
	}
}

// counted notes what goes through it once a context has ended.
type counted struct {
	bytes.Buffer
	ctx  context.Context
	late int
	stop func() // called when half is read
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

// Cancelled halfway, a decoder asks for no more, and an encoder leaves no file
// that looks whole.
func TestMapFilesStopWhenCancelled(t *testing.T) {
	const w, h = 100, 300
	rng := rand.New(rand.NewPCG(8, 8))
	p := warp.Positions[float64]{Width: w, Height: h, X: make([]float64, w*h), Y: make([]float64, w*h)}
	for i := range p.X {
		p.X[i], p.Y[i] = 4000*rng.Float64(), 4000*rng.Float64()
	}
	source := warp.SourceSpec{Width: 4000, Height: 4000}
	m, err := warp.NewMapFromPositions(t.Context(), p, source, warp.MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, format := range formats {
		whole := encoded(t, m, warp.EncodeOptions{Format: format})
		ctx, cancel := context.WithCancel(t.Context())
		in := &counted{ctx: ctx, stop: cancel, half: len(whole) / 2}
		in.Write(whole)
		if _, err := warp.DecodeMap(ctx, in, source, warp.DecodeOptions{}); err != context.Canceled || in.late > 0 {
			t.Errorf("format %d: got %v after %d more reads", format, err, in.late)
		}
		ctx, cancel = context.WithCancel(t.Context())
		var out bytes.Buffer
		err := warp.EncodeMap(ctx, &out, m, warp.EncodeOptions{Format: format, Progress: func(done, total int) {
			if done == total*3/4 {
				cancel()
			}
		}})
		if err != context.Canceled || out.Len() >= len(whole) || bytes.Contains(out.Bytes(), []byte("IEND")) {
			t.Errorf("format %d: got %v and %d of %d bytes", format, err, out.Len(), len(whole))
		}
	}
}

// Sixteen rows of a wider map are more than a chunk holds.
func TestMapsTooWideForZIP(t *testing.T) {
	m := newMap(t, flat(1<<23, 1), flat(1<<23, 1))
	if err := warp.EncodeMap(t.Context(), io.Discard, m, warp.EncodeOptions{Format: warp.MapEXR}); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("got %v, want ErrInvalid", err)
	}
}

func TestDecodeMapRefuses(t *testing.T) {
	ok := warp.SourceSpec{Width: 128, Height: 256}
	file := handmadePFM(binary.LittleEndian, "-1.0")
	half := func() []byte {
		root, _ := ref.ModuleRoot()
		b, err := os.ReadFile(filepath.Join(root, "testdata", "projection", "map-half.exr"))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}()
	box := exr.Box{MaxX: 3, MaxY: 3}
	lone := windowed(t, box, box, []exr.Channel{{Name: "Y", Type: exr.Float}}, nil, func(int, int, string) float32 { return 0 })
	eight := func() []byte {
		var b bytes.Buffer
		img := image.NewRGBA(image.Rect(0, 0, 3, 3))
		img.Set(0, 0, color.White)
		if err := png.Encode(&b, img); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}()
	for name, tc := range map[string]struct {
		file   []byte
		source warp.SourceSpec
		opts   warp.DecodeOptions
		say    string
	}{
		"empty":        {nil, ok, warp.DecodeOptions{}, "no OpenEXR"},
		"other":        {[]byte("GIF89a..."), ok, warp.DecodeOptions{}, "no OpenEXR"},
		"grey PFM":     {[]byte("Pf\n2 2\n-1\n"), ok, warp.DecodeOptions{}, "no OpenEXR"},
		"no size":      {[]byte("PF\n2 x\n-1\n"), ok, warp.DecodeOptions{}, "header"},
		"scale 0":      {[]byte("PF\n2 2\n0\n"), ok, warp.DecodeOptions{}, "header"},
		"scale NaN":    {[]byte("PF\n2 2\nNaN\n"), ok, warp.DecodeOptions{}, "header"},
		"long header":  {[]byte("PF" + strings.Repeat("x", 99)), ok, warp.DecodeOptions{}, "end"},
		"vast":         {[]byte("PF\n9999999 9999999\n-1\n"), ok, warp.DecodeOptions{}, "at most"},
		"negative":     {[]byte("PF\n-1 -1\n-1\n"), ok, warp.DecodeOptions{}, "at most"},
		"half":         {half, ok, warp.DecodeOptions{}, "32-bit"},
		"no red":       {lone, ok, warp.DecodeOptions{}, "R and G"},
		"8 bits":       {eight, ok, warp.DecodeOptions{}, "16 bits"},
		"source":       {file, warp.SourceSpec{Width: 0, Height: 5}, warp.DecodeOptions{}, "source width"},
		"odd panorama": {file, warp.SourceSpec{Width: 5, Height: 5, WrapX: true, WrapY: true}, warp.DecodeOptions{}, "even"},
		"origin":       {file, ok, warp.DecodeOptions{Origin: 7}, "Origin"},
		"limit":        {file, ok, warp.DecodeOptions{MaxPixels: -1}, "MaxPixels"},
		"tolerance":    {file, ok, warp.DecodeOptions{MapOptions: warp.MapOptions{Tolerance: math.NaN()}}, "Tolerance"},
	} {
		_, err := warp.DecodeMap(t.Context(), bytes.NewReader(tc.file), tc.source, tc.opts)
		if !errors.Is(err, warp.ErrInvalid) || !strings.Contains(err.Error(), tc.say) {
			t.Errorf("%s: got %v, want %q", name, err, tc.say)
		}
	}
	if _, err := warp.DecodeMap(t.Context(), nil, ok, warp.DecodeOptions{}); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("nil reader: %v", err)
	}
	if _, err := warp.DecodeMap(noContext, bytes.NewReader(file), ok, warp.DecodeOptions{}); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("nil context: %v", err)
	}
}

func TestPositionsRefuse(t *testing.T) {
	ok := warp.SourceSpec{Width: 10, Height: 10}
	four := make([]float64, 4)
	for name, tc := range map[string]struct {
		p warp.Positions[float64]
		s warp.SourceSpec
	}{
		"nothing":     {warp.Positions[float64]{}, ok},
		"short":       {warp.Positions[float64]{Width: 2, Height: 2, X: four[:3], Y: four}, ok},
		"long":        {warp.Positions[float64]{Width: 1, Height: 2, X: four, Y: four}, ok},
		"overflow":    {warp.Positions[float64]{Width: math.MaxInt, Height: math.MaxInt, X: four, Y: four}, ok},
		"source":      {warp.Positions[float64]{Width: 2, Height: 2, X: four, Y: four}, warp.SourceSpec{}},
		"vast, empty": {warp.Positions[float64]{Width: 1 << 24, Height: 1 << 10, X: four, Y: four}, ok},
		"large both":  {warp.Positions[float64]{Width: 1 << 24, Height: 1 << 24, X: four, Y: four}, ok},
	} {
		if m, err := warp.NewMapFromPositions(t.Context(), tc.p, tc.s, warp.MapOptions{}); m != nil || !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	p := warp.Positions[float64]{Width: 2, Height: 2, X: four, Y: four}
	if _, err := warp.NewMapFromPositions(cancelled, p, ok, warp.MapOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := warp.NewMapFromPositions(noContext, p, ok, warp.MapOptions{}); !errors.Is(err, warp.ErrInvalid) {
		t.Errorf("nil context: %v", err)
	}
}

func TestMapFilesTellTheirProgress(t *testing.T) {
	m := newMap(t, flat(40, 70), flat(40, 70))
	count := func(last *int, total int) func(done, of int) {
		return func(done, of int) {
			if done != *last+1 || of != total {
				t.Errorf("%d of %d after %d", done, of, *last)
			}
			*last = done
		}
	}
	for _, f := range formats {
		rows := 70
		if f == warp.MapEXR {
			rows = 140
		}
		var done int
		file := encoded(t, m, warp.EncodeOptions{Format: f, Progress: count(&done, rows)})
		if done != rows {
			t.Errorf("format %d: %d rows", f, done)
		}
		done = 0
		decoded(t, file, specOf(flat(40, 70)), warp.DecodeOptions{MapOptions: warp.MapOptions{Progress: count(&done, 6)}})
		if done != 6 {
			t.Errorf("format %d: %d rows of cells", f, done)
		}
	}
}

// FuzzDecodeMap: whatever comes in, an error or a map that can be used.
func FuzzDecodeMap(f *testing.F) {
	m := newMap(f, flat(12, 9), flat(12, 10))
	for _, format := range formats {
		f.Add(encoded(f, m, warp.EncodeOptions{Format: format}), uint16(64), uint16(32), true, true)
	}
	f.Add(handmadePFM(binary.BigEndian, "1"), uint16(3), uint16(1), false, false)
	f.Fuzz(func(t *testing.T, file []byte, sw, sh uint16, wrapX, wrapY bool) {
		spec := warp.SourceSpec{Width: int(sw), Height: int(sh), WrapX: wrapX, WrapY: wrapY}
		m, err := warp.DecodeMap(t.Context(), bytes.NewReader(file), spec, warp.DecodeOptions{MaxPixels: 1 << 14})
		if err != nil {
			if !errors.Is(err, warp.ErrInvalid) {
				t.Fatal(err)
			}
			return
		}
		again := decoded(t, encoded(t, m, warp.EncodeOptions{Format: warp.MapEXRPlain}), spec, warp.DecodeOptions{})
		r := m.Report()
		if r.SeenShare != again.Report().SeenShare || !(r.LargestError <= 1.0/64) {
			t.Fatalf("%+v became %+v", r, again.Report())
		}
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

func ExampleEncodeMap() {
	ctx := context.Background()
	m, err := warp.NewMap(ctx, forwardWall{}, bowCamera{}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	var file bytes.Buffer
	if err := warp.EncodeMap(ctx, &file, m, warp.EncodeOptions{Format: warp.MapEXR}); err != nil {
		fmt.Println(err)
		return
	}
	// The plate comes back at half the size: positions in the file are shares
	// of its sides.
	half, err := warp.DecodeMap(ctx, &file, warp.SourceSpec{Width: 400, Height: 400}, warp.DecodeOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	x, y, ok := half.At(200, 50)
	fmt.Printf("the wall's right end shows (%.1f, %.1f), %v\n", x, y, ok)
	// Output: the wall's right end shows (281.9, 200.0), true
}

func ExampleNewMapFromPositions() {
	// Two pixels of a wall: one looks at the plate's pixel (10, 20), whose
	// centre is half a pixel further, the other sees nothing.
	m, err := warp.NewMapFromPositions(context.Background(), warp.Positions[float32]{
		Width: 2, Height: 1,
		X: []float32{10.5, float32(math.NaN())},
		Y: []float32{20.5, 0},
	}, warp.SourceSpec{Width: 800, Height: 800}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(m.At(0.5, 0.5))
	fmt.Println(m.At(1.5, 0.5))
	// Output:
	// 10.5 20.5 true
	// 0 0 false
}

func BenchmarkMapFiles(b *testing.B) {
	const w, h = 2048, 1080
	m := newMap(b, newView(w, h, 100*degree, 0, 0, 0), newFisheye(8000, 180*degree, 0, 0))
	for _, f := range formats {
		file := encoded(b, m, warp.EncodeOptions{Format: f})
		b.Run(fmt.Sprintf("encode/format=%d", f), func(b *testing.B) {
			for b.Loop() {
				if err := warp.EncodeMap(b.Context(), io.Discard, m, warp.EncodeOptions{Format: f}); err != nil {
					b.Fatal(err)
				}
			}
			megapixels(b, w, h)
		})
		b.Run(fmt.Sprintf("decode/format=%d", f), func(b *testing.B) {
			for b.Loop() {
				decoded(b, file, warp.SourceSpec{Width: 8000, Height: 8000}, warp.DecodeOptions{})
			}
			megapixels(b, w, h)
		})
	}
}

func BenchmarkNewMapFromPositions(b *testing.B) {
	p := positionsOf[float32](newView(2048, 1080, 100*degree, 0, 0, 0), newFisheye(8000, 180*degree, 0, 0))
	for b.Loop() {
		fromPositions(b, p, warp.SourceSpec{Width: 8000, Height: 8000}, warp.MapOptions{Workers: 1})
	}
	megapixels(b, 2048, 1080)
}
