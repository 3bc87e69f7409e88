package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.com/platewright/projection"
	"example.com/platewright/sensor/plate"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// moving is frame n of a texture that moves by two pixels a frame, with noise.
func moving(n int) *image.NRGBA64 {
	const w, h = 96, 72
	noise := rand.New(rand.NewPCG(5, uint64(n)))
	img := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			u, v := float64(x+2*n), float64(y)
			light := 0.4 + 0.1*math.Sin(u/7+v/11) + 0.1*math.Sin(u/5.3-v/17) + 0.05*math.Sin(v/3.1+u/23)
			code := func() uint16 { return uint16(65535 * (light + 0.004*noise.NormFloat64())) }
			img.SetNRGBA64(x, y, color.NRGBA64{R: code(), G: code(), B: code(), A: 65535})
		}
	}
	return img
}

func flat(c color.Gray16) image.Image {
	img := image.NewNRGBA64(moving(0).Rect)
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			img.Set(x, y, c)
		}
	}
	return img
}

// folderOf writes files into a folder of one camera.
func folderOf(t *testing.T, name string, files map[string][]byte) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.Mkdir(folder, 0o777))
	for file, data := range files {
		require.NoError(t, os.WriteFile(filepath.Join(folder, file), data, 0o666))
	}
	return folder
}

// frames are good frames of a take.
func frames(t *testing.T, n int) map[string][]byte {
	files := map[string][]byte{}
	for i := range n {
		files[fmt.Sprintf("a-%04d.png", i+1)] = encoded(t, moving(i))
	}
	return files
}

// ran runs the program.
func ran(t *testing.T, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	status = run(t.Context(), args, &out, &errs)
	return status, out.String(), errs.String()
}

func TestGoodTakeWithoutScenario(t *testing.T) {
	folder := folderOf(t, "mast", frames(t, 6))
	status, text, _ := ran(t, folder)
	assert.Equal(t, 0, status)
	for _, want := range []string{
		"6 frames of 1 camera measured: 0 over the limit",
		"  ok        mast: bad frames                    none                          none allowed, counted",
		"  ok        mast: repeated or torn              none                          none allowed, counted",
		"  note      mast: clipped",
		"there is no scenario",
	} {
		assert.Contains(t, text, want)
	}
}

// Each kind of bad frame gets its line, and the rest goes on.
func TestBadFramesAreNamed(t *testing.T) {
	files := frames(t, 14)
	good := files["a-0003.png"]
	files["a-0003.png"] = good[:len(good)/2]
	files["a-0004.png"] = nil
	files["a-0005.png"] = encoded(t, moving(4).SubImage(image.Rect(0, 0, 50, 40)))
	files["a-0006.png"] = encoded(t, flat(color.Gray16{}))
	files["a-0007.png"] = encoded(t, flat(color.Gray16{}))
	files["a-0008.png"] = encoded(t, flat(color.White))
	files["a-0009.png"] = encoded(t, flat(color.Gray16{20000}))
	files["a-0010.png"] = []byte("no picture at all, but of some length")
	delete(files, "a-0012.png")
	status, text, _ := ran(t, folderOf(t, "mast", files))
	assert.Equal(t, 1, status)
	for _, want := range []string{
		"5 frames of 1 camera measured: 8 over the limit",
		"a-0003.png\n",
		"cut short",
		"a-0004.png\n              is empty",
		"a-0005.png\n              is 50 × 40 px, RGB, 16 bits; the others are 96 × 72 px, RGB, 16 bits",
		"  OVER      mast: bad frame                     2 frames                      none allowed, counted\n" +
			"              a-0006.png to a-0007.png\n              all black",
		"a-0008.png\n              all white",
		"a-0009.png\n              all of one colour, 0.305 of white",
		"a-0010.png\n              not a PNG or JPEG file",
		"  OVER      mast: missing                       1 frame                       none allowed, counted\n" +
			"              a-0011.png to a-0013.png",
	} {
		assert.Contains(t, text, want)
	}
}

// A folder in which nothing is a frame gets its lines, and the other cameras are measured.
func TestFolderWithoutAFrame(t *testing.T) {
	bad := folderOf(t, "stern", map[string][]byte{"b-1.png": nil, "b-2.png": []byte("no picture")})
	plates := scenarioOf(t, func(map[string]any) {})
	status, text, _ := ran(t, "-scenario", plates, bad, folderOf(t, "mast", frames(t, 4)))
	assert.Equal(t, 1, status)
	assert.Contains(t, text, "4 frames of 2 cameras measured: 2 over the limit")
	assert.Contains(t, text, "stern: bad frame")
	status, _, complaint := ran(t, bad)
	assert.Equal(t, 2, status)
	assert.Contains(t, complaint, "no frame of any folder can be measured")
}

func TestRepeatedFramesAreFound(t *testing.T) {
	files := frames(t, 12)
	files["a-0006.png"] = files["a-0005.png"]
	status, text, _ := ran(t, folderOf(t, "mast", files))
	assert.Equal(t, 1, status)
	assert.Contains(t, text, "  OVER      mast: repeated                      1 frame                       none allowed, counted\n              a-0006.png")
}

// What is written as JSON reads back as it was, and holds what the report says.
func TestFindingsAsJSON(t *testing.T) {
	files := frames(t, 12)
	files["a-0006.png"], files["a-0009.png"] = files["a-0005.png"], nil
	folder := folderOf(t, "mast", files)
	var progress bytes.Buffer
	want, err := inspect(t.Context(), options{folders: []string{folder}}, &progress)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "findings.json")
	status, _, _ := ran(t, "-json", path, folder)
	assert.Equal(t, 1, status)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	var got result
	require.NoError(t, json.Unmarshal(data, &got))
	assert.Empty(t, cmp.Diff(*want, got, cmpopts.IgnoreUnexported(result{}, finding{})))
	for _, field := range []string{
		`"question": "repeats"`, `"verdict": "over"`, `"what": "repeated"`, `"camera": "mast"`, `"first_file": "a-0006.png"`,
		`"value": 1`, `"uncertainty": 0`, `"unit": "frames"`, `"limit": 0`, `"confidence": 1`, `"bad_frames": 1`,
	} {
		assert.Contains(t, string(data), field)
	}
	status, text, _ := ran(t, "-json", "-", folder)
	assert.Equal(t, 1, status)
	assert.Equal(t, string(data), text)

	status, _, stderr := ran(t, "-json", path, folder)
	assert.Equal(t, 2, status)
	assert.Contains(t, stderr, "exists already")
}

func TestOutputHoldsAll(t *testing.T) {
	folder := folderOf(t, "mast", frames(t, 4))
	out := filepath.Join(t.TempDir(), "new", "checked")
	status, text, _ := ran(t, "-out", out, folder)
	assert.Equal(t, 0, status)
	assert.Contains(t, text, "The report, the findings as JSON and the sheet are in "+out)
	for _, name := range []string{"report.txt", "findings.json", "sheet.png"} {
		info, err := os.Stat(filepath.Join(out, name))
		require.NoError(t, err)
		assert.Positive(t, info.Size())
	}
	status, _, stderr := ran(t, "-out", out, folder)
	assert.Equal(t, 2, status)
	assert.Contains(t, stderr, "exists already; name a new folder")
}

// scenarioOf is the file of the demonstration's scenario, changed.
func scenarioOf(t *testing.T, change func(map[string]any)) string {
	t.Helper()
	text, err := json.Marshal(demoScenario(true))
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(string(text), `"table_deg_mm":null,`, "")), &doc))
	change(doc)
	for _, one := range append(doc["cameras"].([]any), doc, doc["wall"], doc["limits"]) {
		clean(one)
	}
	path := filepath.Join(t.TempDir(), "scenario.json")
	text, err = json.Marshal(doc)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, text, 0o666))
	return path
}

func TestBadInput(t *testing.T) {
	folder := folderOf(t, "mast", frames(t, 1))
	black := folderOf(t, "hold", map[string][]byte{"a-1.png": encoded(t, flat(color.Gray16{}))})
	scenario := func(change func(map[string]any)) string { return scenarioOf(t, change) }
	first := func(doc map[string]any) map[string]any { return doc["cameras"].([]any)[0].(map[string]any) }
	for _, tc := range []struct {
		want string
		args []string
	}{
		{"gone: no such file or directory", []string{filepath.Join(folder, "gone")}},
		{"all black; no frame of any folder can be measured", []string{black}},
		{"two cameras named \"mast\"", []string{folder, folder}},
		{"flag provided but not defined", []string{"-fast"}},
		{"-scenario: goes with folders of frames", []string{"-scenario", "x.json"}},
		{"-seed: is for the demonstration", []string{"-seed", "3", folder}},
		{"-out: must not be empty", []string{"-out", "", folder}},
		{"x.json: no such file", []string{"-scenario", filepath.Join(folder, "x.json"), folder}},
		{"rate: 2000: must be at least 1 and at most 1000", []string{"-scenario", scenario(func(d map[string]any) { d["rate"] = "2000" }), folder}},
		{"colour: unknown", []string{"-scenario", scenario(func(d map[string]any) { d["colour"] = 1 }), folder}},
		{"limits.band_percent: -1: must be at least", []string{"-scenario", scenario(func(d map[string]any) { d["limits"].(map[string]any)["band_percent"] = -1 }), folder}},
		{"black_code: 65535: must be less than white_code", []string{"-scenario", scenario(func(d map[string]any) { first(d)["black_code"] = 65535 }), folder}},
		{"kind: witness: goes with a wall", []string{"-scenario", scenario(func(d map[string]any) { delete(d, "wall") }), folder}},
		{"the scenario has 320 × 170 px", []string{"-scenario", scenario(func(d map[string]any) { first(d)["name"] = "mast" }), folder}},
	} {
		status, stdout, stderr := ran(t, tc.args...)
		assert.Equal(t, 2, status, tc.want)
		assert.Empty(t, stdout)
		assert.Contains(t, stderr, tc.want)
	}
}

// clean takes out what is null: optional fields of a scenario are left out instead.
func clean(v any) {
	m, _ := v.(map[string]any)
	for k, one := range m {
		if one == nil {
			delete(m, k)
			continue
		}
		clean(one)
	}
}

// An interrupted run ends within half a second and leaves nothing, also while it makes a
// demonstration.
func TestInterrupted(t *testing.T) {
	parent := t.TempDir()
	folder := folderOf(t, "mast", frames(t, 3))
	for _, after := range []time.Duration{0, 200 * time.Millisecond} {
		for _, folders := range [][]string{{folder}, nil} {
			if folders != nil && after > 0 {
				continue // that is done by then
			}
			ctx, stop := context.WithCancel(t.Context())
			var stopped time.Time
			time.AfterFunc(after, func() {
				stopped = time.Now()
				stop()
			})
			var stdout, stderr bytes.Buffer
			status := run(ctx, append([]string{"-out", filepath.Join(parent, "out")}, folders...), &stdout, &stderr)
			assert.Equal(t, 130, status)
			assert.Less(t, time.Since(stopped), 2*time.Second, "half a second, and some for a busy machine")
			assert.Empty(t, stdout.String())
			assert.Contains(t, stderr.String(), "check: interrupted, nothing written")
		}
	}
	left, err := os.ReadDir(parent)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// A value is over or within its limit only if it keeps clear of it by three uncertainties.
func TestJudging(t *testing.T) {
	for _, tc := range []struct {
		v    plate.Estimate
		want verdict
	}{
		{plate.Estimate{Value: 0.69, Uncertainty: 0.1}, within}, {plate.Estimate{Value: -0.69, Uncertainty: 0.1}, within}, {plate.Estimate{Value: 0.71, Uncertainty: 0.1}, notShown}, {plate.Estimate{Value: -1.29, Uncertainty: 0.1}, notShown},
		{plate.Estimate{Value: 1.31, Uncertainty: 0.1}, over}, {plate.Estimate{Value: -1.31, Uncertainty: 0.1}, over}, {plate.Estimate{Value: 1, Uncertainty: 0}, within}, {plate.Estimate{Value: 1.0001, Uncertainty: 0}, over},
	} {
		f := judge(finding{}, tc.v, "px", 1)
		assert.Equal(t, tc.want, f.Verdict, tc.v)
		assert.Equal(t, tc.want == notShown, f.Why != "")
		if tc.want == notShown {
			assert.Less(t, f.Confidence, mostSure+1e-9)
		}
	}
	for _, v := range []plate.Estimate{
		{Value: math.NaN(), Uncertainty: 1}, {Value: 1, Uncertainty: math.NaN()}, {Value: math.Inf(1), Uncertainty: 1}, {Value: 1, Uncertainty: math.Inf(1)},
	} {
		f := judge(finding{}, v, "px", 1)
		assert.Equal(t, notShown, f.Verdict)
		assert.Nil(t, f.Value, "JSON has no such number")
	}
	f := judge(finding{}, plate.Estimate{Value: 1.05, Uncertainty: 0.1}, "px", 1)
	assert.InDelta(t, -0.5, *f.Margin, 1e-9, "rounding")
	assert.InDelta(t, 0.6915, f.Confidence, 1e-4, "normal distribution of half a deviation, from a table")
	assert.Contains(t, f.Why, "rather over it")
}

// Frames that are missing or repeated are filled in, so that times are right.
func TestTracesKeepTime(t *testing.T) {
	c := camera{at: []int{0, 1, 2, 4, 5, 6}}
	c.found.index = []int{0, 1, 3, 4, 5}
	got := c.trace([]float64{1, 2, 5, 6, 7}, false)
	assert.Equal(t, []float64{1, 2, 3, 4, 5, 6, 7}, got)
}

// The dark beside the image circle is left out.
func TestDiscOfThePicture(t *testing.T) {
	d := &disc{X: 50, Y: 40, Radius: 30}
	n := 0
	for y := range 80 {
		from, end := d.columns(y, 1, 100)
		n += max(0, end-from)
		if from < end {
			assert.LessOrEqual(t, math.Hypot(float64(from)-50, float64(y)+0.5-40), 30.0)
			assert.LessOrEqual(t, math.Hypot(float64(end)-50, float64(y)+0.5-40), 30.0)
		}
	}
	assert.InEpsilon(t, math.Pi*30*30, float64(n), 0.03, "pixels that lie whole in the row's chord")
	from, end := (*disc)(nil).columns(3, 4, 25)
	assert.Equal(t, [2]int{0, 25}, [2]int{from, end})
	c := camera{take: take{Shape: shape{Width: 100, Height: 80}}, circle: d}
	r := c.inside()
	for _, x := range []int{r.X, r.X + r.Width} {
		for _, y := range []int{r.Y, r.Y + r.Height} {
			assert.LessOrEqual(t, math.Hypot(float64(x)-50, float64(y)-40), 31.5, "a corner of the rectangle")
		}
	}
}

// Each plate is compared with its neighbours, and two groups that look apart are joined.
func TestNeighbours(t *testing.T) {
	at := func(degrees ...float64) (all []*camera) {
		for _, d := range degrees {
			view, err := projection.NewView(projection.ViewSpec{Width: 64, Height: 36, Across: 60 * deg, Pose: projection.Pose{Heading: unit.Angle(d) * deg}})
			require.NoError(t, err)
			all = append(all, &camera{view: &view})
		}
		return all
	}
	ring := neighbours(at(0, 45, 90, 135, 180, 225, 270, 315))
	for i := range 8 {
		assert.True(t, slices.ContainsFunc(ring, func(p [2]int) bool { return p == [2]int{min(i, (i+1)%8), max(i, (i+1)%8)} }), "%d and the next", i)
	}
	assert.Less(t, len(ring), 20, "and not all 28")
	apart := neighbours(at(0, 1, 2, 3, 4, 180, 181, 182, 183, 184))
	assert.True(t, slices.ContainsFunc(apart, func(p [2]int) bool { return p[0] < 5 && p[1] >= 5 }), "one pair joins the groups")
}
