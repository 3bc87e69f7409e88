package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"example.com/platewright/internal/exr"
)

// openEXR reads files of internal/exr with OpenEXR's own library, through
// testdata/generate/exr.cpp, and with OpenCV and FFmpeg. It compares the
// windows and every bit of every sample. It also needs Debian's g++,
// pkg-config and libopenexr-dev, and runs at the top of the module.
func openEXR(python, ffmpeg, folder string) error {
	flags, err := exec.Command("pkg-config", "--cflags", "--libs", "OpenEXR").Output()
	if err != nil {
		return fmt.Errorf("pkg-config OpenEXR: %w", err)
	}
	library, err := exec.Command("pkg-config", "--modversion", "OpenEXR").Output()
	if err != nil {
		return err
	}
	reader := filepath.Join(folder, "exr")
	arguments := append([]string{"-std=c++17", "-O1", "-o", reader, "testdata/generate/exr.cpp"}, strings.Fields(string(flags))...)
	if out, err := exec.Command("g++", arguments...).CombinedOutput(); err != nil {
		return fmt.Errorf("g++: %w\n%s", err, out)
	}
	fmt.Printf("OpenEXR %s\n", strings.TrimSpace(string(library)))
	packings := map[exr.Compression]string{exr.None: "none", exr.ZIPS: "zips", exr.ZIP: "zip"}
	files, samples := 0, 0
	for _, packing := range []exr.Compression{exr.None, exr.ZIPS, exr.ZIP} {
		for _, w := range []struct{ data, display exr.Box }{
			{exr.Box{MaxX: 19, MaxY: 36}, exr.Box{MaxX: 19, MaxY: 36}},
			{exr.Box{MinX: -7, MinY: -20, MaxX: 25, MaxY: 13}, exr.Box{MinX: 2, MinY: 1, MaxX: 17, MaxY: 12}},
			{exr.Box{MinX: 5, MinY: 6, MaxX: 5, MaxY: 6}, exr.Box{MaxX: 99, MaxY: 49}},
			{exr.Box{MinX: 300, MinY: -99, MaxX: 1500, MaxY: -80}, exr.Box{MaxX: 9, MaxY: 9}},
			{exr.Box{MaxX: 4095, MaxY: 150}, exr.Box{MaxX: 4095, MaxY: 150}},
		} {
			h := exr.Header{
				Channels:    []exr.Channel{{Name: "A", Type: exr.Float}, {Name: "B", Type: exr.Float}, {Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}},
				Compression: packing, Data: w.data, Display: w.display,
				Text: map[string]string{"note": "quay"},
			}
			path := filepath.Join(folder, "ours.exr")
			if err := writeEXR(path, h); err != nil {
				return err
			}
			got, err := exec.Command(reader, "dump", path).Output()
			if err != nil {
				return fmt.Errorf("the library on %+v: %w", h, err)
			}
			if want := dumped(h, packings[packing]); !bytes.Equal(got, want) {
				return fmt.Errorf("%+v: the library finds something else, from byte %d of what it prints on", h, differs(got, want))
			}
			if err := readByOpenCV(python, folder, path, h); err != nil {
				return err
			}
			if w.data == w.display {
				if err := readByFFmpeg(ffmpeg, path, h); err != nil {
					return err
				}
			}
			width, height := h.Data.Size()
			files, samples = files+1, samples+int(width*height)*len(h.Channels)
		}
	}
	fmt.Printf("%d files, %d samples: windows, channels, compression and all bits as written\n", files, samples)
	return nil
}

// sampleAt returns samples of all sizes and both signs, some infinite or
// denormal.
func sampleAt(x, y, c int) float32 {
	h := uint32(x*73856093) ^ uint32(y*19349663) ^ uint32(c*83492791)
	switch h % 64 {
	case 0:
		return float32(math.Inf(1 - int(h>>6&1)*2))
	case 1:
		return math.Float32frombits(h >> 10)
	case 2:
		return float32(math.Copysign(0, -1))
	}
	return (float32(x)+float32(y)/8+float32(c)*100)/3 + float32(h%64)/1024
}

func writeEXR(path string, h exr.Header) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := exr.Encode(f, h, func(y int, s [][]float32) error {
		for c := range s {
			for x := range s[c] {
				s[c][x] = sampleAt(x+int(h.Data.MinX), y, c)
			}
		}
		return nil
	}); err != nil {
		return err
	}
	return f.Close()
}

// each calls f for the samples of the data window, row by row.
func each(h exr.Header, f func(x, y int)) {
	for y := int(h.Data.MinY); y <= int(h.Data.MaxY); y++ {
		for x := int(h.Data.MinX); x <= int(h.Data.MaxX); x++ {
			f(x, y)
		}
	}
}

// dumped returns what the reader prints of a file.
func dumped(h exr.Header, packing string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "compression %s\norder increasing\n", packing)
	fmt.Fprintf(&b, "data %d %d %d %d\n", h.Data.MinX, h.Data.MinY, h.Data.MaxX, h.Data.MaxY)
	fmt.Fprintf(&b, "display %d %d %d %d\n", h.Display.MinX, h.Display.MinY, h.Display.MaxX, h.Display.MaxY)
	b.WriteString("text note quay\n")
	for _, c := range h.Channels {
		fmt.Fprintf(&b, "channel %s float\n", c.Name)
	}
	for c := range h.Channels {
		each(h, func(x, y int) { fmt.Fprintf(&b, "%08x\n", math.Float32bits(sampleAt(x, y, c))) })
	}
	return b.Bytes()
}

// differs returns the first byte in which two texts differ.
func differs(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

// readByOpenCV compares the data window, the only window that OpenCV returns,
// in the order blue, green, red, alpha.
func readByOpenCV(python, folder, path string, h exr.Header) error {
	const script = `import os, sys
os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"
import cv2
img = cv2.imread(sys.argv[1], cv2.IMREAD_UNCHANGED)
open(sys.argv[2], "wb").write(img.astype("<f4").tobytes())`
	raw := filepath.Join(folder, "raw")
	if out, err := exec.Command(python, "-c", script, path, raw).CombinedOutput(); err != nil {
		return fmt.Errorf("OpenCV on %+v: %w\n%s", h, err, out)
	}
	got, err := os.ReadFile(raw)
	if err != nil {
		return err
	}
	var want []byte
	each(h, func(x, y int) {
		for _, c := range [...]int{1, 2, 3, 0} {
			want = binary.LittleEndian.AppendUint32(want, math.Float32bits(sampleAt(x, y, c)))
		}
	})
	if !bytes.Equal(got, want) {
		return fmt.Errorf("OpenCV on %+v: %d bytes, another at %d, want %d", h, len(got), differs(got, want), len(want))
	}
	return nil
}

// readByFFmpeg compares planes of green, blue, red and alpha.
func readByFFmpeg(ffmpeg, path string, h exr.Header) error {
	got, err := exec.Command(ffmpeg, "-v", "error", "-i", path, "-f", "rawvideo", "-pix_fmt", "gbrapf32le", "-").Output()
	if err != nil {
		return fmt.Errorf("FFmpeg on %+v: %w", h, err)
	}
	var want []byte
	for _, c := range [...]int{2, 1, 3, 0} {
		each(h, func(x, y int) {
			want = binary.LittleEndian.AppendUint32(want, math.Float32bits(sampleAt(x, y, c)))
		})
	}
	if !bytes.Equal(got, want) {
		return fmt.Errorf("FFmpeg on %+v: %d bytes, another at %d, want %d", h, len(got), differs(got, want), len(want))
	}
	return nil
}
