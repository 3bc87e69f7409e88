package exr_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var le = binary.LittleEndian

// handmade is a file written out by hand after the File Layout document: two
// channels of 3 × 2 px at (-1, 5), without compression.
func handmade() []byte {
	return handmadeAs(0, [][]float32{{1, 2, 3}, {0.5, 0.25, -4}, {10, 20, 30}, {5, 6, 7}}, false)
}

func handmadeAs(order byte, rows [][]float32, swapped bool) []byte {
	f := []byte("\x76\x2f\x31\x01\x02\x00\x00\x00channels\x00chlist\x00\x26\x00\x00\x00" +
		"up\x00\x02\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x01\x00\x00\x00" +
		"x\x00\x02\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x01\x00\x00\x00\x00" +
		"compression\x00compression\x00\x01\x00\x00\x00\x00" +
		"dataWindow\x00box2i\x00\x10\x00\x00\x00\xff\xff\xff\xff\x05\x00\x00\x00\x01\x00\x00\x00\x06\x00\x00\x00" +
		"displayWindow\x00box2i\x00\x10\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x09\x00\x00\x00\x07\x00\x00\x00" +
		"lineOrder\x00lineOrder\x00\x01\x00\x00\x00" + string(order) + "note\x00string\x00\x04\x00\x00\x00quay" +
		"pixelAspectRatio\x00float\x00\x04\x00\x00\x00\x00\x00\x80\x3f" +
		"screenWindowCenter\x00v2f\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00" +
		"screenWindowWidth\x00float\x00\x04\x00\x00\x00\x00\x00\x80\x3f\x00")
	// Two chunks of 8 + 24 bytes.
	offsets := [2]uint64{uint64(len(f) + 16), uint64(len(f) + 16 + 32)}
	if swapped {
		offsets[0], offsets[1] = offsets[1], offsets[0]
	}
	f = le.AppendUint64(le.AppendUint64(f, offsets[0]), offsets[1])
	for k := range 2 {
		y := 5 + k
		if order == 1 {
			y = 6 - k
		}
		f = le.AppendUint32(le.AppendUint32(f, uint32(y)), 24)
		for _, v := range slices.Concat(rows[2*(y-5)], rows[2*(y-5)+1]) {
			f = le.AppendUint32(f, math.Float32bits(v))
		}
	}
	return f
}

var handHeader = exr.Header{
	Channels: []exr.Channel{{Name: "up", Type: exr.Float}, {Name: "x", Type: exr.Float}},
	Data:     exr.Box{MinX: -1, MinY: 5, MaxX: 1, MaxY: 6}, Display: exr.Box{MaxX: 9, MaxY: 7},
	Text: map[string]string{"note": "quay"},
}

// row is a copy of what Next gives.
type row struct {
	Y       int
	Samples [][]float32
}

// bits are the samples of rows as the file has them: they tell −0 from 0, and NaN is
// equal to NaN.
func bits(rows []row) (all []uint32) {
	for _, r := range rows {
		all = append(all, uint32(r.Y))
		for _, v := range slices.Concat(r.Samples...) {
			all = append(all, math.Float32bits(v))
		}
	}
	return all
}

func readAll(r io.Reader, limit int64) (h exr.Header, rows []row, err error) {
	d, err := exr.NewReader(r, limit)
	if err != nil {
		return h, nil, err
	}
	for {
		y, samples, err := d.Next()
		if err == io.EOF {
			return d.Header(), rows, nil
		}
		if err != nil {
			return d.Header(), rows, err
		}
		r := row{Y: y}
		for _, s := range samples {
			r.Samples = append(r.Samples, slices.Clone(s))
		}
		rows = append(rows, r)
	}
}

// readFile reads a file of testdata/projection.
func readFile(t *testing.T, name string) (h exr.Header, rows []row) {
	t.Helper()
	root, err := ref.ModuleRoot()
	require.NoError(t, err)
	b, err := os.ReadFile(filepath.Join(root, "testdata", "projection", name))
	require.NoError(t, err)
	h, rows, err = readAll(bytes.NewReader(b), 1e4)
	require.NoError(t, err, name)
	return h, rows
}

// encode writes rows.
func encode(h exr.Header, rows []row) ([]byte, error) {
	var out bytes.Buffer
	err := exr.Encode(&out, h, func(y int, s [][]float32) error {
		i := slices.IndexFunc(rows, func(r row) bool { return r.Y == y })
		for c := range s {
			copy(s[c], rows[i].Samples[c])
		}
		return nil
	})
	return out.Bytes(), err
}

func TestReadsAFileMadeByHand(t *testing.T) {
	up := []row{{5, [][]float32{{1, 2, 3}, {0.5, 0.25, -4}}}, {6, [][]float32{{10, 20, 30}, {5, 6, 7}}}}
	down := []row{up[1], up[0]}
	samples := slices.Concat(up[0].Samples, up[1].Samples)
	for name, tc := range map[string]struct {
		file []byte
		want []row
	}{
		"increasing":                         {handmade(), up},
		"decreasing, table by row":           {handmadeAs(1, samples, true), down},
		"decreasing, table by place in file": {handmadeAs(1, samples, false), down},
	} {
		h, rows, err := readAll(bytes.NewReader(tc.file), 100)
		require.NoError(t, err, name)
		assert.Equal(t, handHeader, h, name)
		assert.Equal(t, tc.want, rows, name)
	}
	// Written, it is the same file, but that the order of attributes is free.
	got, err := encode(handHeader, down)
	require.NoError(t, err)
	want := handmade()
	require.Len(t, got, len(want))
	assert.Equal(t, want[len(want)-80:], got[len(got)-80:])
}

// TestRoundTrip has smooth samples, and samples of random bits, whose chunks do not
// shrink.
func TestRoundTrip(t *testing.T) {
	special := []float32{float32(math.Inf(1)), math.MaxFloat32, math.SmallestNonzeroFloat32, float32(math.Copysign(0, -1))}
	rng := rand.New(rand.NewPCG(5, 6))
	for _, value := range []func(x, y, c int) float32{
		func(x, y, c int) float32 {
			if k := x + y; y == 0 && k < len(special) {
				return special[k]
			}
			return float32(math.Sin(float64(x)/9+float64(c))+float64(y)/7) * float32(c+1)
		},
		func(int, int, int) float32 { return math.Float32frombits(rng.Uint32() &^ (1 << 30)) }, // no NaN
	} {
		for _, compression := range []exr.Compression{exr.None, exr.ZIPS, exr.ZIP} {
			for _, size := range [][2]int32{{1, 1}, {1, 16}, {33, 17}, {200, 50}, {3, 1}} {
				h := exr.Header{
					Channels:    []exr.Channel{{Name: "A", Type: exr.Float}, {Name: "G", Type: exr.Float}, {Name: strings.Repeat("R", 40), Type: exr.Float}},
					Compression: compression, Data: exr.Box{MinX: -7, MinY: -20, MaxX: -8 + size[0], MaxY: -21 + size[1]},
					Display: exr.Box{MinX: 4, MinY: 4, MaxX: 4, MaxY: 9},
					Text:    map[string]string{"n": "", strings.Repeat("k", 255): strings.Repeat("x", 1<<16)},
				}
				want := make([]row, size[1])
				for y := range want {
					want[y] = row{y - 20, make([][]float32, 3)}
					for c := range want[y].Samples {
						for x := range int(size[0]) {
							want[y].Samples[c] = append(want[y].Samples[c], value(x, y, c))
						}
					}
				}
				file, err := encode(h, want)
				require.NoError(t, err)
				got, rows, err := readAll(bytes.NewReader(file), 1e6)
				require.NoError(t, err)
				assert.Equal(t, h, got)
				assert.Equal(t, bits(want), bits(rows))
			}
		}
	}
}

// TestReadsWhatOthersWrite reads files of OpenCV and FFmpeg: see the generator
// for what is in them.
func TestReadsWhatOthersWrite(t *testing.T) {
	for name, want := range map[string]struct {
		compression exr.Compression
		kind        exr.Type
		channels    string
		tolerance   float64 // relative
	}{
		"map-cv.exr":        {exr.ZIP, exr.Float, "BGR", 0},
		"map-ffmpeg.exr":    {exr.ZIP, exr.Float, "ABGR", 0},
		"map-half.exr":      {exr.ZIP, exr.Half, "BGR", 1.0 / 2048},
		"map-zips-half.exr": {exr.ZIPS, exr.Half, "ABGR", 1.0 / 1024}, // it cuts
	} {
		h, rows := readFile(t, name)
		channels := ""
		for _, c := range h.Channels {
			channels += c.Name
			assert.Equal(t, want.kind, c.Type, "%s: channel %s", name, c.Name)
		}
		box := exr.Box{MaxX: 19, MaxY: 36}
		assert.Equal(t, want.compression, h.Compression, name)
		require.Equal(t, want.channels, channels, name)
		assert.Equal(t, [2]exr.Box{box, box}, [2]exr.Box{h.Data, h.Display}, name)
		compare(t, name, rows, 37, func(j int) int { return j }, want.tolerance, func(i, j, c int) float64 {
			switch {
			case channels[0] == 'A' && (i == 19 && j == 36 || i == 0 && j == 3):
				return 0
			case channels[c] == 'A':
				return 1
			case channels[c] == 'R':
				return (3 + 4.25*float64(i) + 0.5*float64(j)) / 128
			case channels[c] == 'G':
				return (2 + 0.75*float64(i) + 5*float64(j)) / 256
			}
			return 0
		})
	}
}

// compare holds the samples of a number of rows against a function of their place
// from the left and in the picture, and of their channel. y is the place of each row.
func compare(t *testing.T, name string, rows []row, n int, y func(j int) int, tolerance float64, want func(i, y, c int) float64) {
	t.Helper()
	require.Len(t, rows, n, name)
	for j, r := range rows {
		require.Equal(t, y(j), r.Y, "%s: row %d", name, j)
		for c, samples := range r.Samples {
			for i, got := range samples {
				if v := want(i, r.Y, c); !(math.Abs(float64(got)-v) <= tolerance*v) {
					t.Fatalf("%s: channel %d at (%d, %d) is %v, want %v", name, c, i, r.Y, got, v)
				}
			}
		}
	}
}

// TestReadsTheLibrarysFiles: those of OpenEXR's own library, whose data window is
// not the display window. See testdata/generate/exr.cpp for what they hold.
func TestReadsTheLibrarysFiles(t *testing.T) {
	for name, want := range map[string]struct {
		kind        exr.Type
		compression exr.Compression
		down        bool // rows come from the bottom up
	}{
		"exr-half-none-increasing.exr":  {exr.Half, exr.None, false},
		"exr-half-zip-decreasing.exr":   {exr.Half, exr.ZIP, true},
		"exr-float-none-decreasing.exr": {exr.Float, exr.None, true},
		"exr-float-zips-increasing.exr": {exr.Float, exr.ZIPS, false},
		"exr-float-zip-decreasing.exr":  {exr.Float, exr.ZIP, true},
		"exr-uint-zip-increasing.exr":   {exr.Uint, exr.ZIP, false},
	} {
		h, rows := readFile(t, name)
		header := exr.Header{
			Channels:    []exr.Channel{{Name: "A", Type: want.kind}, {Name: "Y", Type: want.kind}, {Name: "z", Type: want.kind}},
			Compression: want.compression, Data: exr.Box{MinX: -3, MinY: -5, MaxX: 17, MaxY: 30},
			Display: exr.Box{MinX: 2, MinY: 1, MaxX: 17, MaxY: 12}, Text: map[string]string{"note": "quay"},
		}
		delete(h.Text, "type") // which versions of the library write, or not
		assert.Equal(t, header, h, name)
		y := func(j int) int {
			if want.down {
				return 30 - j
			}
			return j - 5
		}
		compare(t, name, rows, 36, y, 0, func(i, y, c int) float64 {
			switch n := float32(i - 3 + 25*y + c); want.kind {
			case exr.Float:
				return float64(n/16 + 1.0/(1<<20))
			case exr.Uint:
				return float64(1000000000 + n)
			default:
				return float64(n / 16)
			}
		})
	}
}

// TestHalf reads every special kind of binary16: IEEE 754-2008, 3.6.
func TestHalf(t *testing.T) {
	f := handmade()
	// Make both channels half: types, sizes, and the rows.
	for _, at := range [][]byte{[]byte("up\x00\x02"), []byte("x\x00\x02")} {
		i := bytes.Index(f, at)
		f[i+len(at)-1] = 1
	}
	f = f[:len(f)-16-64]
	first := uint64(len(f) + 16)
	f = le.AppendUint64(le.AppendUint64(f, first), first+20)
	bits := []uint16{0x3c00, 0xc000, 0x7bff, 0x0400, 0x03ff, 0x0001, 0x8000, 0x7c00, 0xfc00, 0x3555, 0x0000, 0x7e00}
	want := []float64{1, -2, 65504, math.Ldexp(1, -14), math.Ldexp(1023, -24), math.Ldexp(1, -24), math.Copysign(0, -1), math.Inf(1), math.Inf(-1), 0.333251953125, 0, math.NaN()}
	for k := range 2 {
		f = le.AppendUint32(le.AppendUint32(f, uint32(5+k)), 12)
		for _, b := range bits[6*k : 6*k+6] {
			f = le.AppendUint16(f, b)
		}
	}
	_, rows, err := readAll(bytes.NewReader(f), 100)
	require.NoError(t, err)
	for k, w := range want {
		got := float64(rows[k/6].Samples[k%6/3][k%3])
		if got != w && !(got != got && w != w) || math.Signbit(got) != math.Signbit(w) {
			t.Errorf("%04x is %v, want %v", bits[k], got, w)
		}
	}
}

func TestUint(t *testing.T) {
	f := handmade()
	i := bytes.Index(f, []byte("x\x00\x02\x00"))
	f[i+2] = 0
	le.PutUint32(f[len(f)-12:], 4000000000)
	_, rows, err := readAll(bytes.NewReader(f), 100)
	require.NoError(t, err)
	assert.Equal(t, [2]float32{10, 4e9}, [2]float32{rows[1].Samples[0][0], rows[1].Samples[1][0]})
}

// changed is the file made by hand with one piece of it replaced by another.
func changed(t testing.TB, old, new string) []byte {
	t.Helper()
	f := handmade()
	require.Contains(t, string(f), old)
	return bytes.Replace(f, []byte(old), []byte(new), 1)
}

// packed is a file of 40 × 20 px with ZIP, and the place of its first chunk.
func packed(t testing.TB) (file []byte, first int) {
	t.Helper()
	var out bytes.Buffer
	h := exr.Header{Channels: []exr.Channel{{Name: "Y", Type: exr.Float}}, Compression: exr.ZIP, Data: exr.Box{MaxX: 39, MaxY: 19}, Display: exr.Box{MaxX: 39, MaxY: 19}}
	require.NoError(t, exr.Encode(&out, h, func(int, [][]float32) error { return nil }))
	file = out.Bytes()
	// Both chunks are all zero: find the first by the table before it.
	for i := 8; i+8 < len(file); i++ {
		if le.Uint64(file[i:]) == uint64(i+16) {
			return file, i + 16
		}
	}
	t.Fatal("no table found")
	return nil, 0
}

func TestRefusesWhatIsWrong(t *testing.T) {
	good := handmade()
	table := len(good) - 64 - 16
	poke := func(at int, v uint32) []byte {
		f := slices.Clone(good)
		le.PutUint32(f[at:], v)
		return f
	}
	zipped, first := packed(t)
	zipPoke := func(at int, v uint32) []byte {
		f := slices.Clone(zipped)
		le.PutUint32(f[at:], v)
		return f
	}
	window := "\xff\xff\xff\xff\x05\x00\x00\x00\x01\x00\x00\x00\x06\x00\x00\x00"
	for name, tc := range map[string]struct {
		file []byte
		say  string
	}{
		"nothing":             {nil, "cut short"},
		"other magic":         {append([]byte("P6"), good[2:]...), "no OpenEXR"},
		"version 1":           {poke(4, 1), "version 1"},
		"tiles":               {poke(4, 2|1<<9), "tiles"},
		"deep":                {poke(4, 2|1<<11), "deep"},
		"parts":               {poke(4, 2|1<<12), "parts"},
		"PIZ":                 {changed(t, "compression\x00\x01\x00\x00\x00\x00", "compression\x00\x01\x00\x00\x00\x04"), "PIZ"},
		"unknown compression": {changed(t, "compression\x00\x01\x00\x00\x00\x00", "compression\x00\x01\x00\x00\x00\x63"), "99"},
		"random order":        {changed(t, "lineOrder\x00\x01\x00\x00\x00\x00", "lineOrder\x00\x01\x00\x00\x00\x02"), "line order"},
		"inverted window":     {changed(t, window, "\x09\x00\x00\x00"+window[4:]), "window"},
		"vast window":         {changed(t, window, "\x00\x00\x00\x80"+window[4:8]+"\xff\xff\xff\x7f"+window[12:]), "window"},
		"beyond the limit":    {changed(t, window, window[:8]+"\x60\x00\x00\x00"+window[12:]), "at most 100 samples"},
		"display too large":   {changed(t, "\x09\x00\x00\x00\x07", "\xff\x00\x00\x00\x07"), "display"},
		"no data window":      {changed(t, "dataWindow", "lataWindow"), "dataWindow"},
		"twice":               {changed(t, "note\x00string\x00\x04\x00\x00\x00quay", "lineOrder\x00lineOrder\x00\x01\x00\x00\x00\x00"), "twice"},
		"subsampled":          {changed(t, "x\x00\x02\x00\x00\x00\x00\x00\x00\x00\x01", "x\x00\x02\x00\x00\x00\x00\x00\x00\x00\x02"), "every 2"},
		"type of channel":     {changed(t, "x\x00\x02\x00\x00\x00", "x\x00\x02\x01\x00\x00"), "type"},
		"order of channels":   {changed(t, "x\x00\x02\x00\x00\x00", "a\x00\x02\x00\x00\x00"), "order"},
		"short data window":   {changed(t, "box2i\x00\x10\x00\x00\x00"+window, "box2i\x00\x0c\x00\x00\x00"+window[:12]), "must be box2i of 16 bytes"},
		"short display":       {changed(t, "displayWindow\x00box2i\x00\x10\x00\x00\x00\x00\x00\x00\x00", "displayWindow\x00box2i\x00\x0c\x00\x00\x00"), "must be box2i of 16 bytes"},
		"no line order":       {changed(t, "lineOrder\x00\x01\x00\x00\x00\x00", "lineOrder\x00\x00\x00\x00\x00"), "must be lineOrder of 1 bytes"},
		"kind of a window":    {changed(t, "dataWindow\x00box2i", "dataWindow\x00box2f"), "must be box2i"},
		"a long list":         {changed(t, "chlist\x00\x26\x00\x00\x00", "chlist\x00\x27\x00\x01\x00"+strings.Repeat("\x00", 1<<16+1)), "must be chlist of at most 65536 bytes"},
		"long attribute":      {changed(t, "string\x00\x04\x00\x00\x00", "string\x00\xff\xff\xff\x7f"), "too large"},
		"negative attribute":  {changed(t, "string\x00\x04\x00\x00\x00", "string\x00\xff\xff\xff\xff"), "too large"},
		"offset of 2⁶³":       {poke(table+4, 1<<31), "byte"},
		"offset before":       {poke(table, 3), "damaged"},
		"offsets alike":       {poke(table+8, uint32(table+16)), "damaged"},
		"offsets overlap":     {poke(table+8, uint32(table+16+20)), "within"},
		"offset after":        {poke(table+8, 1<<30), "cut short"},
		"table of zeros":      {append(append(slices.Clone(good[:table]), make([]byte, 16)...), good[table+16:]...), "damaged"},
		"row of a chunk":      {poke(table+16, 6), "row"},
		"size of a chunk":     {poke(table+20, 20), "24"},
		"offsets by 25":       {poke(table+8, uint32(table+16+25)), "within"},
		"offsets by 4":        {poke(table+8, uint32(table+16+4)), "damaged"},
		"chunk of a row more": {zipPoke(first+4, 16*40*4+40*4), "its rows have"},
		"display just larger": {changed(t, "\x09\x00\x00\x00\x07", "\x0c\x00\x00\x00\x07"), "display"},
		"large chunk":         {poke(table+20, 1<<30), "24"},
		"negative chunk":      {poke(table+20, 1<<31), "24"},
		"damaged zlib":        {zipPoke(first+8, 0), "zlib"},
		"damaged checksum":    {zipPoke(first+8+int(le.Uint32(zipped[first+4:]))-4, 7), "zlib"},
		"short zlib":          {zipPoke(first, 0)[:first+12], "cut short"},
		// Rows of less width than what is packed.
		"unpacks to more": {bytes.ReplaceAll(zipped, []byte("\x27\x00\x00\x00\x13"), []byte("\x20\x00\x00\x00\x13")), "unpacks"},
		"unpacks to less": {bytes.ReplaceAll(zipped, []byte("\x27\x00\x00\x00\x13"), []byte("\x2f\x00\x00\x00\x13")), "unpacks"},
	} {
		limit := int64(100)
		if len(tc.file) > 0 && bytes.HasPrefix(tc.file, zipped[:60]) {
			limit = 2000
		}
		_, _, err := readAll(bytes.NewReader(tc.file), limit)
		assert.ErrorIs(t, err, exr.ErrFormat, name)
		assert.ErrorContains(t, err, tc.say, name)
	}
	// The limit of samples holds for the display window as well: 10 × 8 px.
	_, _, err := readAll(bytes.NewReader(good), 80)
	assert.NoError(t, err)
	_, _, err = readAll(bytes.NewReader(good), 79)
	assert.ErrorContains(t, err, "display window of 10 × 8 px: must be at most 79 px")
	for n := range good {
		_, _, err := readAll(bytes.NewReader(good[:n]), 100)
		assert.ErrorIs(t, err, exr.ErrFormat, "cut to %d bytes", n)
	}
}

// A header that promises a large raster takes no memory for it.
func TestPromisesTakeNoMemory(t *testing.T) {
	f := changed(t, "\xff\xff\xff\xff\x05\x00\x00\x00\x01\x00\x00\x00\x06\x00\x00\x00", "\x00\x00\x00\x00\x00\x00\x00\x00\xff\xff\x3f\x00\xff\x0f\x00\x00")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, _, err := readAll(bytes.NewReader(f), 1<<40)
	runtime.ReadMemStats(&after)
	require.ErrorIs(t, err, exr.ErrFormat)
	assert.LessOrEqual(t, after.TotalAlloc-before.TotalAlloc, uint64(1<<20))
}

var errBroken = errors.New("broken")

type broken struct{ left int }

func (b *broken) Write(p []byte) (int, error) {
	if b.left -= len(p); b.left < 0 {
		return 0, errBroken
	}
	return len(p), nil
}

func TestEncodeRefuses(t *testing.T) {
	ok := func(int, [][]float32) error { return nil }
	spoil := func(f func(h *exr.Header)) exr.Header {
		h := handHeader
		h.Channels = slices.Clone(h.Channels)
		f(&h)
		return h
	}
	for name, h := range map[string]exr.Header{
		"no channels":  spoil(func(h *exr.Header) { h.Channels = nil }),
		"half":         spoil(func(h *exr.Header) { h.Channels[0].Type = exr.Half }),
		"order":        spoil(func(h *exr.Header) { h.Channels[0].Name = "z" }),
		"zero in name": spoil(func(h *exr.Header) { h.Channels[0].Name = "a\x00" }),
		"PIZ":          spoil(func(h *exr.Header) { h.Compression = 4 }),
		"long text":    spoil(func(h *exr.Header) { h.Text = map[string]string{"a": strings.Repeat("x", 1<<16+1)} }),
		"empty text":   spoil(func(h *exr.Header) { h.Text = map[string]string{"": "x"} }),
	} {
		assert.ErrorIs(t, exr.Encode(io.Discard, h, ok), exr.ErrFormat, name)
	}
	for _, n := range []int{0, 256} {
		h := spoil(func(h *exr.Header) { h.Channels[1].Name = strings.Repeat("x", n) })
		assert.ErrorContains(t, exr.Encode(io.Discard, h, ok), fmt.Sprintf("name of %d bytes: must be 1 to 255", n))
	}
	const most = 1 << 24
	for say, box := range map[string]exr.Box{
		"of 0 × 2 px":        {MinX: 5, MaxX: 4, MaxY: 1},
		"of 2 × 0 px":        {MaxX: 1, MinY: 5, MaxY: 4},
		"of 16777217 × 2 px": {MaxX: most, MaxY: 1},
		"of 2 × 16777217 px": {MaxX: 1, MaxY: most},
	} {
		assert.ErrorContains(t, exr.Encode(io.Discard, spoil(func(h *exr.Header) { h.Data = box }), ok), "data window "+say)
		assert.ErrorContains(t, exr.Encode(io.Discard, spoil(func(h *exr.Header) { h.Display = box }), ok), "display window "+say)
	}
	for _, c := range []exr.Compression{exr.None, exr.ZIP} {
		h := handHeader
		h.Compression = c
		assert.ErrorIs(t, exr.Encode(&broken{100}, h, ok), errBroken)
		assert.ErrorIs(t, exr.Encode(io.Discard, h, func(int, [][]float32) error { return errBroken }), errBroken)
	}
	// Rows that are not the same the second time.
	h := exr.Header{Channels: handHeader.Channels, Compression: exr.ZIP, Data: exr.Box{MaxX: 99, MaxY: 99}, Display: exr.Box{MaxX: 99, MaxY: 99}}
	calls := 0
	err := exr.Encode(io.Discard, h, func(_ int, s [][]float32) error {
		calls++
		s[0][0] = float32(math.Sin(float64(calls)))
		for i := range s[1] {
			s[1][i] = float32(i * (calls / 100))
		}
		return nil
	})
	assert.ErrorContains(t, err, "differ")
	assert.NotErrorIs(t, err, exr.ErrFormat)
}

// TestKeepsLittleText: attributes are kept up to 64 kB each and 1 MB in all, and
// what follows is read.
func TestKeepsLittleText(t *testing.T) {
	h := handHeader
	h.Text = map[string]string{}
	for i := range 20 {
		h.Text[fmt.Sprintf("note%02d", i)] = strings.Repeat("x", 1<<16)
	}
	var out bytes.Buffer
	require.NoError(t, exr.Encode(&out, h, func(_ int, s [][]float32) error {
		s[0][0] = 7
		return nil
	}))
	got, rows, err := readAll(&out, 100)
	require.NoError(t, err)
	assert.Len(t, got.Text, 15, "16 of them and their names are more than 1 MB")
	assert.Len(t, rows, 2)
	assert.Equal(t, float32(7), rows[0].Samples[0][0])

	long := strings.Repeat("y", 1<<16+1)
	size := string(le.AppendUint32(nil, uint32(len(long))))
	f := changed(t, "\x04\x00\x00\x00quay", size+long)
	for i := range 2 { // the table of offsets stands before the rows
		at := len(f) - 64 - 16 + 8*i
		le.PutUint64(f[at:], le.Uint64(f[at:])+uint64(len(long)-4))
	}
	got, rows, err = readAll(bytes.NewReader(f), 100)
	require.NoError(t, err)
	assert.Empty(t, got.Text)
	assert.Len(t, rows, 2)
}

func FuzzReader(f *testing.F) {
	f.Add(handmade())
	zipped, _ := packed(f)
	f.Add(zipped)
	root, _ := ref.ModuleRoot()
	files, _ := filepath.Glob(filepath.Join(root, "testdata", "projection", "*.exr"))
	for _, name := range files {
		b, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		const limit = 1 << 16
		h, rows, err := readAll(bytes.NewReader(file), limit)
		if err != nil {
			require.ErrorIs(t, err, exr.ErrFormat)
			return
		}
		w, height := h.Data.Size()
		if len(rows) != int(height) || w*height*int64(len(h.Channels)) > limit {
			t.Fatalf("%+v: %d rows", h, len(rows))
		}
		// What was read is written, and read again.
		for i := range h.Channels {
			h.Channels[i].Type = exr.Float
		}
		again, err := encode(h, rows)
		if err != nil {
			require.Contains(t, fmt.Sprint(h.Channels), "\x00", err)
			return
		}
		h2, rows2, err := readAll(bytes.NewReader(again), limit)
		require.NoError(t, err)
		require.Equal(t, h, h2)
		slices.SortFunc(rows, func(a, b row) int { return a.Y - b.Y })
		require.Equal(t, bits(rows), bits(rows2))
	})
}
