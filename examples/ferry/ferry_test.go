package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/near"
	"example.com/platewright/wall/alias"
)

func TestMain(m *testing.M) {
	chartColumns, floorCells = 60, 4
	fine = alias.Frame{Columns: 24, Rows: 14}
	if near.RaceDetector { // it needs every goroutine, and few pixels of each
		chartColumns, floorCells = 20, 2
		fine = alias.Frame{Columns: 8, Rows: 6}
	}
	os.Exit(m.Run())
}

// smaller is the demo scenario with every raster reduced, so that a test can
// make all of it, and with changes.
func smaller(t *testing.T, changes ...func(doc map[string]any)) map[string]any {
	t.Helper()
	doc := demo(t)
	reduce := func(m any, by float64, keys ...string) {
		for _, k := range keys {
			m.(map[string]any)[k] = m.(map[string]any)[k].(float64) / by
		}
	}
	plates := object(doc, "plates")
	reduce(plates["format"], 24, "columns", "rows")
	reduce(plates, 24, "feather_px")
	for _, c := range plates["cameras"].([]any) {
		if l, ok := c.(map[string]any)["lens"].(map[string]any); ok {
			for i, v := range l["centre_px"].([]any) {
				l["centre_px"].([]any)[i] = v.(float64) / 24
			}
		}
	}
	doc["delivery"] = map[string]any{"columns": 128., "rows": 72.}
	for _, w := range doc["walls"].([]any) {
		reduce(w, 25, "panel_columns", "panel_rows")
	}
	reduce(object(doc, "stage_camera.format"), 24, "columns", "rows")
	for _, change := range changes {
		change(doc)
	}
	return doc
}

func writeScenario(t *testing.T, doc any) string {
	t.Helper()
	data, err := json.Marshal(doc)
	require.NoError(t, err)
	return writeFile(t, "scenario.json", data)
}

func writeFile(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, data, 0o666))
	return path
}

// refused runs the program with arguments that it must refuse: it names the fault,
// one a line, prints no report and writes nothing. refused returns what it said.
func refused(t *testing.T, want string, args ...string) (said string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "out")
	status, stdout, stderr := ferry(append(args, "-out", out)...)
	assert.Equal(t, 2, status, want)
	assert.Empty(t, stdout, want)
	assert.Contains(t, stderr, want)
	for line := range strings.Lines(stderr) {
		assert.Contains(t, line, "ferry: ")
	}
	assert.NoDirExists(t, out, want)
	return stderr
}

// ferry runs the program.
func ferry(args ...string) (status int, stdout, stderr string) {
	var out, err bytes.Buffer
	status = run(context.Background(), args, &out, &err)
	return status, out.String(), err.String()
}

func TestMainJob(t *testing.T) {
	// The program makes parent folders, and ignores a slash at the end.
	out := filepath.Join(t.TempDir(), "monday", "evening") + string(filepath.Separator)
	scenario := writeScenario(t, smaller(t))
	status, stdout, stderr := ferry("-scenario", scenario, "-out", out)
	require.Zero(t, status, stderr)
	for _, question := range []string{
		"Is every direction covered?", "How far may each shot push in?", "Does the lens fill the sensor",
		"Will the exposure hold?", "How much data?", "Does the plate out-resolve the wall", "Will the LED grid alias?",
		"Is the timing clean?", "How bright is the set?", "Do the frames show the scene?",
	} {
		assert.Contains(t, stdout, question)
	}
	for _, bad := range []string{"NaN", "%!", "Inf", " m photosites"} {
		assert.NotContains(t, stdout, bad)
	}
	sizes := map[string]image.Point{
		"walls/bow-wall/a.png": {400, 150}, "walls/bow-wall/b.png": {400, 150},
		"walls/ceiling/a.png": {120, 80}, "walls/ceiling/b.png": {120, 80},
		"push-in.png": {128, 72}, "sphere.png": {128, 64},
		"linear/walls/bow-wall/b.png": {400, 150}, "linear/walls/ceiling/a.png": {120, 80}, "linear/push-in.png": {128, 72}, "linear/sphere.png": {128, 64},
		"charts/coverage.png": {}, "charts/density.png": {}, "charts/push-in-limit.png": {}, "charts/shots.png": {}, "charts/parallax.png": {}, "charts/alias-a.png": {}, "charts/alias-b.png": {}, "charts/floor-a.png": {}, "charts/floor-b.png": {},
	}
	for name, want := range sizes {
		data, err := os.ReadFile(filepath.Join(out, name))
		require.NoError(t, err)
		img, err := png.Decode(bytes.NewReader(data))
		require.NoError(t, err, name)
		if want != (image.Point{}) {
			assert.Equal(t, want, img.Bounds().Size(), name)
		}
	}
	kept, err := os.ReadFile(filepath.Join(out, "report.txt"))
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(stdout, string(kept)), "report.txt is what was printed")
	status, _, stderr = ferry("-scenario", scenario, "-out", out)
	assert.Equal(t, 2, status, "a second run into the same folder")
	assert.Contains(t, stderr, "exists already")
}

// A scene that changes slowly comes through plates, maps and blends almost
// unchanged. Half a pixel of a plate is 3 mrad here, over which this scene changes
// by some 1.2e-3 of full scale, or −58 dB. So an error of half a pixel, a wrong sign
// or a swapped axis shows.
func TestFramesShowTheScene(t *testing.T) {
	near.NumbersOnly(t)
	m := makerOf(t, smaller(t))
	m.scene = slopes{}
	require.NoError(t, m.frames())
	require.Len(t, m.made.checks, 5)
	for _, c := range m.made.checks {
		t.Logf("%s: %.1f dB", c.what, c.off.belowScale())
		assert.GreaterOrEqual(t, c.off.belowScale(), 80., "%s: dB below full scale", c.what)
	}
}

// slopes is a scene without detail.
type slopes struct{}

func (slopes) Radiance(d r3.Vec) rgb {
	return rgb{0.7 + 0.4*d.X, 0.7 + 0.4*d.Y, 0.7 + 0.4*d.Z}
}

func (slopes) Smooth(r3.Vec) bool { return false }

func prepared(t *testing.T, opts options) *job {
	t.Helper()
	opts.out = filepath.Join(t.TempDir(), "out")
	j, err := prepare(t.Context(), opts)
	require.NoError(t, err)
	return j
}

// outputIn is the output of a run in a folder that does not exist yet.
func outputIn(t *testing.T, folder string) *program.Folder {
	t.Helper()
	out, err := program.NewFolder(t.Context(), folder)
	require.NoError(t, err)
	t.Cleanup(func() { out.Abandon() })
	return out
}

// A real scene survives the way from sphere to plates, from plates to files, and from
// files to the sphere.
func TestRealSphereGoesRound(t *testing.T) {
	near.NumbersOnly(t)
	scenario := writeScenario(t, smaller(t))
	first, second := filepath.Join(t.TempDir(), "out"), filepath.Join(t.TempDir(), "out")
	j := prepared(t, options{scenario: scenario, sphere: "../../testdata/waterfront.png"})
	j.keepPlates, j.gain = true, 3
	m := newMaker(t.Context(), j, outputIn(t, first), new(bytes.Buffer))
	require.NoError(t, m.frames())
	_, err := m.output.Commit()
	require.NoError(t, err)
	for _, c := range m.made.checks {
		t.Logf("%s: %.1f dB", c.what, c.off.belowSignal())
		assert.GreaterOrEqual(t, c.off.belowSignal(), c.want, "%s: dB below the signal", c.what)
	}

	again := prepared(t, options{scenario: scenario, sphere: "../../testdata/waterfront.png", plates: filepath.Join(first, "plates")})
	again.gain = 3
	m = newMaker(t.Context(), again, outputIn(t, second), new(bytes.Buffer))
	require.NoError(t, m.frames())
	_, err = m.output.Commit()
	require.NoError(t, err)
	for _, name := range []string{"walls/bow-wall/a.png", "push-in.png", "sphere.png", "sphere-seen-anew.png"} {
		a, err := os.ReadFile(filepath.Join(first, name))
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(second, name))
		require.NoError(t, err)
		assert.True(t, bytes.Equal(a, b), "%s is the same when the plates went through files", name)
	}
}

// TestBadScenario spoils every field of the scenario: missing, of the wrong type, out
// of range, not a number. The program answers with one line that names the field.
func TestBadScenario(t *testing.T) {
	near.NumbersOnly(t)
	doc := smaller(t)
	refuse := func(path string) {
		t.Helper()
		said := refused(t, path+": ", "-scenario", writeScenario(t, doc))
		assert.Equal(t, 1, strings.Count(said, "\n"), said)
	}
	leaves := 0
	var walk func(path string, get func() any, set func(any), remove func())
	walk = func(path string, get func() any, set func(any), remove func()) {
		old := get()
		switch v := old.(type) {
		case map[string]any:
			for k := range v {
				walk(strings.TrimPrefix(path+"."+k, "."), func() any { return v[k] }, func(x any) { v[k] = x }, func() { delete(v, k) })
			}
			v["surplus"] = 1
			refuse(strings.TrimPrefix(path+".surplus", "."))
			delete(v, "surplus")
		case []any:
			for i := range v {
				walk(fmt.Sprintf("%s[%d]", path, i), func() any { return v[i] }, func(x any) { v[i] = x }, nil)
			}
		case float64:
			leaves++
			for _, x := range []any{-math.MaxFloat64, math.MaxFloat64, "NaN", nil, map[string]any{}} {
				set(x)
				refuse(path)
			}
		case string:
			leaves++
			for _, x := range []any{7, strings.Repeat("x", 2000)} {
				set(x)
				refuse(path)
			}
		}
		set(old)
		if remove != nil && path != "plates.cameras[2].lens" && path != "plates.cameras[2].lens.centre_px" {
			remove()
			refuse(path)
			set(old)
		}
	}
	walk("", func() any { return doc }, func(any) {}, nil)
	assert.GreaterOrEqual(t, leaves, 150)
}

// TestBadScenarioBeyondFields has faults of the file, faults that only the packages
// find, and fields that are wrong only together.
func TestBadScenarioBeyondFields(t *testing.T) {
	data, err := json.Marshal(smaller(t))
	require.NoError(t, err)
	good := string(data)
	for _, tc := range []struct{ old, new, want string }{
		{`"shutter_deg":172.8`, `"shutter_deg":NaN`, "line 1, column"},
		{good, good[:len(good)-20], "ends too early"},
		{good, "", "ends too early"},
		{`"radius_m":6.5`, `"radius_m":0.3`, "walls[0]: wall: radius, without its sign, 300 mm"},
		{`"height_mm":19.44`, `"height_mm":20`, "must be square"},
		{`"row_time_us":3.6`, `"row_time_us":900`, "stage_camera: camera: sync: rows"},
		{`"name":"bow"`, `"name":"Port"`, `plates.cameras[3].name: "port": is used before`},
		{`"name":"bow"`, `"name":"../bow"`, "must be letters"},
		{`"projection":"equisolid"`, `"projection":"wobbly"`, "plates.lens.projection"},
		{`"rate":"24"`, `"rate":"24.1"`, "rate"},
		{`"position_m":[-0.7,1.55,1.4]`, `"position_m":[1e3,1e3,1e4]`, "position_m[2]"},
		{`"name":"bow"`, `"name":" "`, "must be letters"},
		{`"refresh":"3840"`, `"refresh":"1/1000"`, "drive.refresh: 1/1000: must be at least 24"},
		{`"mains":"50"`, `"mains":"2147483647"`, "mains: 2147483647: must be at least 40"},
	} {
		bad := strings.Replace(good, tc.old, tc.new, 1)
		require.NotEqual(t, good, bad, "%s does not stand in the scenario", tc.old)
		refused(t, tc.want, "-scenario", writeFile(t, "s.json", []byte(bad)))
	}
	for want, change := range map[string]func(doc map[string]any){
		"plates: 2.15e+10 px together":                                           set("plates.format.columns", 65536, "plates.format.rows", 65536, "plates.format.height_mm", 36.864),
		"stage_camera.lens: lens: focus distance 50 mm: must be more than 60 mm": set("stage_camera.lens.focal_length_mm", 60, "stage_camera.lens.focus_m", 0.05),
		`walls[1].name: "Bow-wall": is used before`:                              set("walls.1.name", "Bow-wall"),
	} {
		refused(t, want, "-scenario", writeScenario(t, smaller(t, change)))
	}
}

func TestBadPlates(t *testing.T) {
	near.NumbersOnly(t)
	doc := smaller(t)
	scenario := writeScenario(t, doc)
	format := object(doc, "plates.format")
	w, h := int(format["columns"].(float64)), int(format["rows"].(float64))
	var good, small bytes.Buffer
	require.NoError(t, png.Encode(&good, image.NewGray16(image.Rect(0, 0, w, h))))
	require.NoError(t, png.Encode(&small, image.NewGray16(image.Rect(0, 0, w, h-1))))
	for _, tc := range []struct {
		name, file string
		data       []byte // of the file; nil: it is missing
		want       string
	}{
		{"missing", "stern.png", nil, `stern.png: missing`},
		{"cut short", "stern.png", good.Bytes()[:good.Len()*2/3], "stern.png: cut short, at row "},
		{"wrong size", "stern.png", small.Bytes(), fmt.Sprintf("stern.png: %d × %d px: must be %d × %d", w, h-1, w, h)},
		{"no picture", "stern.png", []byte("hello"), "stern.png: not a PNG or JPEG"},
		{"two", "stern.jpg", []byte{}, "must have one plate"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			folder := t.TempDir()
			for _, c := range []string{"bow", "starboard", "stern", "port", "sky"} {
				require.NoError(t, os.WriteFile(filepath.Join(folder, c+".png"), good.Bytes(), 0o666))
			}
			if file := filepath.Join(folder, tc.file); tc.data == nil {
				require.NoError(t, os.Remove(file))
			} else {
				require.NoError(t, os.WriteFile(file, tc.data, 0o666))
			}
			out := filepath.Join(t.TempDir(), "below", "out")
			status, stdout, stderr := ferry("-scenario", scenario, "-plates", folder, "-out", out)
			last := stderr[strings.LastIndex(strings.TrimSuffix(stderr, "\n"), "ferry: ")+len("ferry: "):]
			assert.Equal(t, 2, status)
			assert.Empty(t, stdout)
			assert.Contains(t, last, tc.want)
			assert.Equal(t, 1, strings.Count(last, "\n"), last)
			left, _ := os.ReadDir(filepath.Dir(filepath.Dir(out)))
			assert.Empty(t, left)
		})
	}
}

func TestBadCommandLine(t *testing.T) {
	scenario := writeScenario(t, smaller(t))
	var square bytes.Buffer
	require.NoError(t, png.Encode(&square, image.NewGray(image.Rect(0, 0, 8, 8))))
	sphere := writeFile(t, "square.png", square.Bytes())
	fifo := filepath.Join(t.TempDir(), "fifo")
	require.NoError(t, syscall.Mkfifo(fifo, 0o666))
	for _, tc := range []struct {
		args []string
		want string
	}{
		{[]string{"-scenario", "nowhere.json"}, "nowhere.json"},
		{[]string{"-scenario", scenario, "-plates", "nowhere"}, "-plates nowhere: no such file or directory"},
		{[]string{"-scenario", scenario, "-plates", scenario}, "not a directory"},
		{[]string{"-scenario", scenario, "-plates", ""}, "-plates: must not be empty"},
		{[]string{"-scenario", ""}, "-scenario: must not be empty"},
		{[]string{"-scenario", scenario, "-out", ""}, "-out: must not be empty"},
		{[]string{"-scenario", scenario, "-out", filepath.Join(scenario, "out")}, "scenario.json is not a folder"},
		{[]string{"-scenario", scenario, "-out", filepath.Join(scenario, "below", "out")}, "not a directory"},
		{[]string{"-scenario", t.TempDir()}, "is a folder: must be a file"},
		{[]string{"-scenario", "/dev/null"}, "is a device: must be a file"},
		{[]string{"-scenario", fifo}, "is a pipe: must be a file"},
		{[]string{"-scenario", scenario, "-sphere", fifo}, "is a pipe: must be a file"},
		{[]string{"-scenario", scenario, "-sphere", "/dev/zero"}, "is a device: must be a file"},
		{[]string{"-scenario", "\x1b[2J.json"}, `\x1b[2J.json: no such file`},
		{[]string{"-scenario", scenario, "-sphere", "nowhere.png"}, "nowhere.png"},
		{[]string{"-scenario", scenario, "-sphere", sphere}, "must be twice as wide as high"},
		{[]string{"-scenario", scenario, "-gain", "NaN"}, "-gain NaN: must be at least"},
		{[]string{"-scenario", scenario, "-gain", "x"}, "gain"},
		{[]string{"-scenario", scenario, "-plates", "a", "-keep-plates"}, "-keep-plates"},
		{[]string{"-scenario", scenario, "extra"}, `"extra"`},
		{[]string{"-nonsense"}, "nonsense"},
	} {
		status, stdout, stderr := ferry(tc.args...)
		assert.Equal(t, 2, status, tc.args)
		assert.Empty(t, stdout, tc.args)
		assert.Contains(t, stderr, tc.want, tc.args)
	}
}

// A run that is interrupted ends within a second and leaves nothing behind, whatever
// it was doing.
func TestInterrupted(t *testing.T) {
	scenario := writeScenario(t, smaller(t))
	for _, kind := range []string{"frames", "report"} {
		for _, ms := range []time.Duration{0, 30, 300} {
			after := ms * time.Millisecond
			parent := t.TempDir()
			args := []string{"-scenario", scenario, "-out", filepath.Join(parent, "below", "out")}
			if kind == "report" {
				args = append(args, "-report")
			}
			ctx, stop := context.WithCancel(context.Background())
			var stdout, stderr bytes.Buffer
			var stopped time.Time
			time.AfterFunc(after, func() { stopped = time.Now(); stop() })
			status := run(ctx, args, &stdout, &stderr)
			if status == 0 {
				break // it ended before the interruption
			}
			assert.Less(t, time.Since(stopped), time.Second, "%s, stopped after %s", kind, after)
			assert.Equal(t, 130, status)
			assert.Contains(t, stderr.String(), "ferry: interrupted, nothing written\n")
			assert.Empty(t, stdout.String())
			left, err := os.ReadDir(parent)
			require.NoError(t, err)
			assert.Empty(t, left, "%s, stopped after %s", kind, after)
		}
	}
}

// full is a device without space.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

func TestReportThatCannotBePrinted(t *testing.T) {
	near.NumbersOnly(t)
	// One camera, one shot and one wall are quick.
	scenario := writeScenario(t, smaller(t, keepCameras("bow"), func(doc map[string]any) {
		doc["shots"], doc["walls"] = doc["shots"].([]any)[:1], doc["walls"].([]any)[:1]
	}))
	for _, args := range [][]string{
		{"-scenario", scenario, "-report"},
		{"-scenario", scenario, "-out", filepath.Join(t.TempDir(), "out")},
	} {
		var stderr bytes.Buffer
		assert.Equal(t, 1, run(t.Context(), args, full{}, &stderr))
		assert.Contains(t, stderr.String(), "the report cannot be printed: no space left on device")
		if args[2] == "-out" {
			assert.Contains(t, stderr.String(), "all is in "+args[3])
			assert.FileExists(t, filepath.Join(args[3], "report.txt"))
		}
	}
}

// A folder without permission to write or read is an error before any work.
func TestFoldersWithoutPermission(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may write and read everywhere")
	}
	scenario, closed := writeScenario(t, smaller(t)), t.TempDir()
	require.NoError(t, os.Chmod(closed, 0))
	defer os.Chmod(closed, 0o777)
	for want, args := range map[string][]string{
		"permission denied":                     {"-plates", closed},
		"nothing can be written into " + closed: {"-out", filepath.Join(closed, "out")},
	} {
		status, _, stderr := ferry(append(args, "-scenario", scenario)...)
		assert.Equal(t, 2, status)
		assert.Contains(t, stderr, want)
	}
}
