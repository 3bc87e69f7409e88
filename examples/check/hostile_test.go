package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"example.com/platewright/internal/exr"
	"example.com/platewright/sensor/plate"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// noisy is a frame of any size, with detail that moves.
func noisy(t *testing.T, w, h, n int) []byte {
	noise := rand.New(rand.NewPCG(7, uint64(n)))
	img := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint16(26000 + 9000*math.Sin(float64(x+2*n)/7+float64(y)/11) + 300*noise.NormFloat64())
			img.SetNRGBA64(x, y, color.NRGBA64{R: v, G: v, B: v, A: 65535})
		}
	}
	return encoded(t, img)
}

func takeOf(t *testing.T, name string, w, h, n int) string {
	files := map[string][]byte{}
	for i := range n {
		files[fmt.Sprintf("a-%03d.png", i+1)] = noisy(t, w, h, i)
	}
	return folderOf(t, name, files)
}

// oneCamera is a scenario of one camera, the first or the last of the demonstration's,
// changed.
func oneCamera(t *testing.T, kind cameraKind, name string, w, h int, change func(camera, limits map[string]any)) string {
	return scenarioOf(t, func(doc map[string]any) {
		all := doc["cameras"].([]any)
		c := all[0].(map[string]any)
		if kind == witnessCamera {
			c = all[len(all)-1].(map[string]any)
		}
		c["name"] = name
		c["format"] = map[string]any{"width_mm": 36, "height_mm": 36 * float64(h) / float64(w), "columns": w, "rows": h}
		doc["cameras"] = []any{c}
		change(c, doc["limits"].(map[string]any))
	})
}

func TestFramesTooSmall(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {8, 8}, {4000, 1}, {1, 4000}} {
		status, _, complaint := ran(t, takeOf(t, "mast", size[0], size[1], 1))
		assert.Equal(t, 2, status)
		assert.Contains(t, complaint, fmt.Sprintf("a-001.png: is %d × %d px: must be at least 16 px each way", size[0], size[1]))
	}
	c := camera{take: take{Shape: shape{Width: 65536, Height: 16}}}
	assert.LessOrEqual(t, c.factor(), 16, "rows that a small version takes together")
}

// A strip in which movement cannot be told is measured in all else.
func TestStripWithoutShifts(t *testing.T) {
	scenario := oneCamera(t, plateCamera, "mast", 640, 64, func(_, limits map[string]any) { limits["shake_px"] = 1 })
	folder := takeOf(t, "mast", 640, 64, 4)
	found, err := inspect(t.Context(), options{scenario: scenario, folders: []string{folder}}, new(bytes.Buffer))
	require.NoError(t, err)
	assert.Equal(t, answer{"mast", folder, 4, 0, 640, 64, "16 bits"}, found.Cameras[0])
}

// Light above 1 is not white in frames of floating point of which nothing is known.
func TestBrightFloatsAreNotWhite(t *testing.T) {
	file := func(light func(x, y int) float32) []byte {
		var b bytes.Buffer
		box := exr.Box{MaxX: 31, MaxY: 31}
		h := exr.Header{Channels: []exr.Channel{{Name: "Y", Type: exr.Float}}, Data: box, Display: box}
		require.NoError(t, exr.Encode(&b, h, func(y int, samples [][]float32) error {
			for x := range samples[0] {
				samples[0][x] = light(x, y)
			}
			return nil
		}))
		return b.Bytes()
	}
	status, text, _ := ran(t, folderOf(t, "mast", map[string][]byte{
		"a-1.exr": file(func(x, y int) float32 { return 3 + float32(x^y) }),
	}))
	assert.Equal(t, 0, status)
	assert.Contains(t, text, "1 frame of 1 camera measured: 0 over")
	status, _, complaint := ran(t, folderOf(t, "mast", map[string][]byte{
		"a-1.exr": file(func(x, y int) float32 { return -3 - float32(x^y) }),
	}))
	assert.Equal(t, 2, status)
	assert.Contains(t, complaint, "all darker than black, 0")
}

// One region is as even as itself, which shows nothing.
func TestEvennessTakesTwoRegions(t *testing.T) {
	scenario := oneCamera(t, witnessCamera, "mast", 96, 72, func(c, limits map[string]any) {
		limits["evenness_percent"] = 5
		delete(c, "photosite")
	})
	_, text, _ := ran(t, "-scenario", scenario, takeOf(t, "mast", 96, 72, 3))
	assert.Contains(t, text, "not shown mast: evenness, green\n              frames of 96 × 72 px hold one region, and it takes two")
}

// A fault of the scenario is not one of the frames.
func TestScenarioDoesNotFitTheFrames(t *testing.T) {
	folder := takeOf(t, "mast", 96, 72, 1)
	for _, centre := range [][]any{{500, 36}, {48, -200}} {
		scenario := oneCamera(t, plateCamera, "mast", 96, 72, func(c, _ map[string]any) {
			c["lens"].(map[string]any)["centre_px"] = centre
		})
		status, _, complaint := ran(t, "-scenario", scenario, folder)
		assert.Equal(t, 2, status)
		assert.Contains(t, complaint, "camera mast: lens: image_circle_mm 34.4 around")
		assert.Contains(t, complaint, "must hold pixels of the frame of 96 × 72 px")
	}
	scenario := oneCamera(t, plateCamera, "mast", 96, 72, func(c, _ map[string]any) {
		c["curve"], c["black_code"], c["white_code"] = "sRGB", 0, 0.5
	})
	status, _, complaint := ran(t, "-scenario", scenario, folder)
	assert.Equal(t, 2, status)
	assert.Contains(t, complaint, "white_code 0.5: must be at least 1 with the sRGB curve")
}

// The sheet shows a frame of a take whose second half is bad.
func TestThumbnailOfAHalfBadTake(t *testing.T) {
	files := frames(t, 3)
	files["a-0004.png"], files["a-0005.png"], files["a-0006.png"], files["a-0007.png"] = nil, nil, nil, nil
	found, err := inspect(t.Context(), options{folders: []string{folderOf(t, "mast", files)}}, new(bytes.Buffer))
	require.NoError(t, err)
	assert.Equal(t, 3, found.Cameras[0].Frames)
	assert.Equal(t, 96, found.takes[0].Thumb.Width)
}

// Numbers that count at another rate, and times of day, accuse no frame. The frames
// follow one another.
func TestNumbersThatDoNotCountFrames(t *testing.T) {
	for _, tc := range []struct {
		number func(i int) int
		want   string
	}{
		{func(i int) int { return 2*i + 1 }, "the numbers count 2 in 1 frame, which are taken to follow one another"},
		{func(i int) int { return 1000 + 41*i + i/3 }, "the numbers in the names do not count the frames"},
		{func(i int) int { return 1000 + 2*i + i/3 }, "the numbers in the names do not count the frames"},
	} {
		files := map[string][]byte{}
		for i := range 10 {
			files[fmt.Sprintf("a-%05d.png", tc.number(i))] = encoded(t, moving(i))
		}
		folder := folderOf(t, "mast", files)
		status, text, _ := ran(t, folder)
		assert.Equal(t, 0, status)
		assert.Contains(t, text, "note      mast: missing\n              "+tc.want)
		cameras, err := findCameras(t.Context(), []string{folder}, nil)
		require.NoError(t, err)
		assert.Equal(t, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, cameras[0].at)
	}
}

// Where a frame is missing, the shift from the one before is not that of a frame.
func TestShiftsKeepTime(t *testing.T) {
	c := camera{at: []int{0, 1, 2, 4, 5}}
	c.found.index = []int{0, 1, 3, 4}
	one := func(x float64) trace.Shift { return trace.Shift{X: x, Known: true} }
	c.found.shifts = []trace.Shift{{}, one(1), one(3), one(5)}
	assert.Equal(t, []trace.Shift{{}, one(1), {}, {}, {}, one(5)}, c.shifts())
}

// The names of cameras do not reach the terminal as they are.
func TestNamesAreEscaped(t *testing.T) {
	var out bytes.Buffer
	f := func(name string, v float64) finding {
		return judge(finding{Question: asksNoise, What: "noise", Camera: name}, plate.Estimate{Value: v, Uncertainty: 0.01}, "× predicted", 2)
	}
	r := result{Name: "a\x1b", Findings: []finding{f("bow", 1), f("st\x1b[31mern", 1.5)}}
	r.write(&out)
	assert.NotContains(t, out.String(), "\x1b")
	assert.Contains(t, out.String(), `st\x1b[31mern`)
}

// The place of the findings is looked at before minutes of work.
func TestFindingsIntoNoFolder(t *testing.T) {
	folder := folderOf(t, "mast", frames(t, 1))
	for _, path := range []string{filepath.Join(folder, "gone", "f.json"), filepath.Join(folder, "a-0001.png", "f.json")} {
		status, _, complaint := ran(t, "-json", path, folder)
		assert.Equal(t, 2, status)
		assert.Contains(t, complaint, "-json "+path)
		assert.NotContains(t, complaint, "measuring")
	}
}

// Folders whose names begin with a point are no cameras, and links to folders are.
func TestFoldersOfCameras(t *testing.T) {
	parent := t.TempDir()
	elsewhere := folderOf(t, "bow", frames(t, 1))
	for name, data := range frames(t, 1) {
		require.NoError(t, os.Mkdir(filepath.Join(parent, ".small"), 0o777))
		require.NoError(t, os.WriteFile(filepath.Join(parent, ".small", name), data, 0o666))
	}
	require.NoError(t, os.Symlink(elsewhere, filepath.Join(parent, "stern")))
	require.NoError(t, os.Symlink(parent, filepath.Join(parent, "loop")))
	require.NoError(t, os.Symlink("nowhere", filepath.Join(parent, "broken")))
	cameras, err := findCameras(t.Context(), []string{parent}, nil)
	require.NoError(t, err)
	require.Len(t, cameras, 1)
	assert.Equal(t, "stern", cameras[0].Name)
}

// JSON has no infinity, which ends its encoder.
func TestFindingsAreFinite(t *testing.T) {
	var a answers
	f := judge(finding{Question: asksNoise}, plate.Estimate{Value: 1, Uncertainty: math.SmallestNonzeroFloat64}, "px", 2)
	f.Predicted = ptr(math.NaN())
	a.add(f)
	_, err := json.Marshal(a.all)
	require.NoError(t, err)
	assert.Equal(t, within, a.all[0].Verdict)
}

// A plate that cannot be compared is said to be left out, and one in grey does not keep
// those in colour from it.
func TestPlatesThatAreNotCompared(t *testing.T) {
	scenario := scenarioOf(t, func(doc map[string]any) {
		all := doc["cameras"].([]any)[:3]
		for i, one := range all {
			c := one.(map[string]any)
			c["name"] = []string{"grey", "port", "stern"}[i]
			delete(c["lens"].(map[string]any), "centre_px")
			c["format"] = map[string]any{"width_mm": 36, "height_mm": 27, "columns": 96, "rows": 72}
		}
		doc["cameras"] = all
	})
	grey := image.NewGray16(image.Rect(0, 0, 96, 72))
	for i := range grey.Pix {
		grey.Pix[i] = byte(i * 37)
	}
	folders := []string{folderOf(t, "grey", map[string][]byte{"a-1.png": encoded(t, grey)}), takeOf(t, "port", 96, 72, 1), takeOf(t, "stern", 96, 72, 1)}
	_, text, _ := ran(t, append([]string{"-scenario", scenario}, folders...)...)
	assert.Contains(t, text, "port, stern: exposure, green")
	assert.Contains(t, text, "grey: against the others")
	assert.NotContains(t, text, "fewer than two plate cameras with")
}
