package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"example.com/platewright/internal/near"
)

var update = flag.Bool("update", false, "write the golden report anew")

// TestReport shows every change of wording, layout or verdict. Numbers are checked
// where they are computed.
func TestReport(t *testing.T) {
	near.NumbersOnly(t)
	const golden = "testdata/report.txt"
	status, got, stderr := ferry("-scenario", "../../testdata/ferry.json", "-report")
	require.Zero(t, status, stderr)
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o666))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Empty(t, cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")), "the report changed (-update accepts it)")
	for _, line := range strings.Split(got, "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), 110, line)
	}
}

// demo is the scenario of the demonstration with changes.
func demo(t *testing.T, changes ...func(doc map[string]any)) map[string]any {
	t.Helper()
	data, err := os.ReadFile("../../testdata/ferry.json")
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(data, &doc))
	for _, change := range changes {
		change(doc)
	}
	return doc
}

// shot is the job of the demonstration with a change.
func shot(t *testing.T, change func(doc map[string]any)) *job {
	t.Helper()
	return prepared(t, options{scenario: writeScenario(t, demo(t, change))})
}

// reported returns the answers that a changed scenario gives to some questions.
func reported(t *testing.T, change func(doc map[string]any), questions ...func(*report, *shoot)) *report {
	t.Helper()
	j := shot(t, change)
	r := &report{out: io.Discard}
	for _, q := range questions {
		q(r, &j.shoot)
	}
	return r
}

// answerTo returns the first answer whose subject begins with what.
func answerTo(t *testing.T, r *report, what string) answer {
	t.Helper()
	i := slices.IndexFunc(r.answers, func(a answer) bool { return strings.HasPrefix(a.what, what) })
	require.NotEqual(t, -1, i, "no answer to %q", what)
	return r.answers[i]
}

// object returns the object at a path like "plates.cameras.2.lens".
func object(doc map[string]any, path string) map[string]any {
	at := any(doc)
	for _, key := range strings.Split(path, ".") {
		if i, err := strconv.Atoi(key); err == nil {
			at = at.([]any)[i]
		} else {
			at = at.(map[string]any)[key]
		}
	}
	return at.(map[string]any)
}

// set changes fields of a scenario: it takes paths like "walls.1.cd_m2", each with
// its new value.
func set(fields ...any) func(doc map[string]any) {
	return func(doc map[string]any) {
		for i := 0; i < len(fields); i += 2 {
			path, at := fields[i].(string), doc
			if dot := strings.LastIndexByte(path, '.'); dot >= 0 {
				path, at = path[dot+1:], object(doc, path[:dot])
			}
			at[path] = fields[i+1]
		}
	}
}

// keepCameras removes the plate cameras with other names.
func keepCameras(names ...string) func(doc map[string]any) {
	return func(doc map[string]any) {
		plates := object(doc, "plates")
		plates["cameras"] = slices.DeleteFunc(plates["cameras"].([]any), func(c any) bool {
			return !slices.Contains(names, c.(map[string]any)["name"].(string))
		})
	}
}

// TestEachOkCanFail makes each "ok" of the demonstration SHORT, and checks that the
// report says why.
func TestEachOkCanFail(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct {
		question  func(*report, *shoot)
		what, why string
		change    func(doc map[string]any)
	}{
		{(*report).pushIn, "gulls over the funnel, all of its frame", "part of it is unseen", keepCameras("bow", "starboard", "stern", "port")},
		{(*report).pushIn, "wide over the bow, all of its frame", "plate px a delivered px", set("shots.0.across_deg", 25)},
		{(*report).pushIn, "harbour light, all of its frame", "part of it is unseen", keepCameras("stern")},
		{(*report).optics, "image circle 19 mm against the height", "the circle ends inside",
			set("plates.lens.image_circle_mm", 19, "plates.format.height_mm", 36.864, "plates.format.rows", 12288)},
		{(*report).optics, "nearest thing, at 2 m", "1.76 m short of the near limit", set("vessel.nearest_m", 2)},
		{(*report).optics, "nearest thing, at 20 m", "beyond the far limit", set("plates.lens.focus_m", 4, "plates.lens.f_number", 1.4)},
		{(*report).exposure, "afterglow", "stops to saturation", set("light.0.cd_m2", 3800)},
		{(*report).optics, "nearest thing, at 20 m", "% in focus already; most is lost by diffraction", set("limits.sharp_percent", 95)},
		{(*report).data, "a store of 1 TB", "-", set("plates.store_tb", 1)},
		{(*report).data, "3 takes with 1 sets of media", "take 2 cannot be recorded no free medium; 51 min short", set("plates.media_sets", 1)},
		{(*report).resolution, "position B, plate against wall", "wanted is 1.5", set("limits.plate_px_per_wall_px", 1.5)},
		{(*report).wallCover, "ceiling from position", "no plate for", keepCameras("bow")},
		{(*report).wallCover, "ceiling from position A", "the vessel itself on ", set("walls.1.centre_m", []float64{0, 4.6, -0.5},
			"plates.balls", []any{map[string]any{"name": "awning", "centre_m": []float64{0, 9, 0}, "radius_m": 3}})},
		{(*report).resolution, "position A", "no plate has what the wall shows", func(doc map[string]any) {
			keepCameras("bow")(doc)
			set("stage_camera.positions.0.elevation_deg", 55, "stage_camera.positions.1.elevation_deg", 55)(doc)
		}},
		{(*report).alias, "A, focus on actor, all photosites", "an alias", set("limits.alias_percent", 0.1)},
		{(*report).timing, "plates under shore lamps", "nearest clean is 172.8°", set("plates.shutter_deg", 150)},
		{(*report).timing, "stage under mains light", "nearest clean is 172.8°", set("stage_camera.shutter_deg", 180)},
		{(*report).timing, "camera against playback", "a frame slips every", set("drive.rate", "25")},
		{(*report).clocks, "clocks 4000 µs apart", "limit 1 px", set("plates.offset_us", 4000)},
		{(*report).clocks, "a whole frame apart", "the take lasts", set("plates.clock_ppm", 100)},
		{(*report).brightness, "ceiling in the stage camera", "stops, if its saturation speed is 400", set("walls.1.cd_m2", 900)},
	} {
		got := answerTo(t, reported(t, tc.change, tc.question), tc.what)
		assert.False(t, got.met, tc.what)
		assert.Contains(t, got.value+" "+got.margin, tc.why, tc.what)
	}
}

// What is in focus is not sharp if it moves by several photosites during the exposure.
func TestSharpnessCountsMovement(t *testing.T) {
	for speed, met := range map[float64]bool{0: true, 0.5: true, 14: false} { // 0, 0.6 and 15.6 photosites
		r := reported(t, set("vessel.speed_km_h", speed), (*report).optics)
		assert.True(t, answerTo(t, r, "nearest thing, at 20 m, at rest").met)
		moving := answerTo(t, r, "the same abeam, passed at ")
		assert.Equal(t, met, moving.met, speed)
		assert.Equal(t, !met, strings.Contains(moving.margin, "most is lost by motion"), speed)
	}
}

// A camera of its own format uses the same station as the others.
func TestOneStationServesAllCameras(t *testing.T) {
	station := set("plates.station.write_gb_s", 0.65)
	for name, change := range map[string]func(doc map[string]any){
		"one format": station,
		"two formats": func(doc map[string]any) {
			station(doc)
			set("plates.cameras.4.format", map[string]any{"width_mm": 36.852, "height_mm": 19.44, "columns": 12284, "rows": 6480})(doc)
		},
	} {
		days := 0
		for _, a := range reported(t, change, (*report).data).answers {
			if strings.Contains(a.what, "takes with 2 sets of media") {
				days++
				assert.False(t, a.met, name)
				assert.Contains(t, a.margin, "no free medium", name)
			}
		}
		assert.Equal(t, 1, days, name)
	}
}

// With one camera alone no plates join.
func TestOneCamera(t *testing.T) {
	answerTo(t, reported(t, keepCameras("bow"), (*report).seams), "no plates join")
}

// The ring of four and the sky camera join along eight seams. The report lists all.
func TestAllJoinsAreListed(t *testing.T) {
	var joins []string
	for _, a := range reported(t, set("plates.boxes", []any{}, "plates.balls", []any{}), (*report).seams).answers {
		if strings.Contains(a.value, "px apart") {
			joins = append(joins, strings.Split(a.what, ", ")...)
		}
	}
	assert.ElementsMatch(t, []string{"bow/starboard", "starboard/stern", "stern/port", "bow/port", "bow/sky", "starboard/sky", "stern/sky", "port/sky"}, joins)
}

// TestLensesInTheScenario gives one lens in several ways: the answers are the same.
func TestLensesInTheScenario(t *testing.T) {
	answers := func(lens map[string]any) []answer {
		return reported(t, func(doc map[string]any) {
			maps.Copy(object(doc, "plates.lens"), lens)
			delete(object(doc, "plates.cameras.2"), "lens")
		}, (*report).optics, (*report).resolution).answers
	}
	form := answers(nil)
	same := cmp.AllowUnexported(answer{})
	assert.Empty(t, cmp.Diff(form, answers(map[string]any{"focal_px": []float64{4000, 4000}, "centre_px": []float64{6144, 3240}}), same))
	// r = 2f sin(θ/2) = f (θ − θ³/24 + θ⁵/1920 − …); the table has a row every 5°.
	// Limits and shapes differ in their last digits.
	var table [][2]float64
	for a := 5.; a <= 120; a += 5 {
		table = append(table, [2]float64{a, 24 * math.Sin(a/2*float64(deg))})
	}
	for name, lens := range map[string]map[string]any{
		"polynomial": {"projection": "polynomial", "coefficients": []float64{1, -1. / 24, 1. / 1920, -1. / 322560, 1. / 92897280}},
		"table":      {"projection": "table", "table_deg_mm": table},
	} {
		got := answers(lens)
		require.Equal(t, len(form), len(got), name)
		for i, a := range got {
			assert.Equal(t, form[i].met, a.met, "%s: %s", name, a.what)
			if strings.HasPrefix(a.what, "field of view") || strings.HasPrefix(a.what, "hyperfocal") || strings.Contains(a.what, "plate against wall") {
				assert.Equal(t, form[i].value, a.value, "%s: %s", name, a.what)
			}
		}
	}
	assert.NotEmpty(t, cmp.Diff(form, answers(map[string]any{"centre_px": []float64{6144, 3640}}), same))
}

// TestSurroundCostsNearThings holds the report against the triangle of eye, centre
// and thing. With a surround at infinity the thing is out of place by the angle at
// it: sin of the angle is at most 1/10 for an eye 1 m behind the centre.
func TestSurroundCostsNearThings(t *testing.T) {
	centre := []float64{0, 1.6, 0}
	for want, surround := range map[string]map[string]any{
		"up to 5.74°": {"shape": "infinity", "centre_m": centre},
		"up to 0.00°": {"shape": "sphere", "centre_m": centre, "radius_m": 10},
	} {
		r := reported(t, set("surround", surround, "vessel.nearest_m", 10, "stage_camera.positions.0.position_m", []float64{0, 1.6, 1}), (*report).wallCover)
		assert.Contains(t, answerTo(t, r, "near things on ceiling from position A").value, want)
	}
}

func TestWrapText(t *testing.T) {
	assert.Equal(t, []string{"one two", "  three"}, wrapText("one two three", 8))
	assert.Equal(t, []string{""}, wrapText("", 8))
	assert.Equal(t, []string{"µµµµ µµµ"}, wrapText("µµµµ µµµ", 8), "characters, not bytes")
}

// TestClocksAtTheSeams holds the report against the equisolid formula: the vessel
// moves by 14/3.6 · 0.004 m while a thing 20 m away stands still.
func TestClocksAtTheSeams(t *testing.T) {
	near.NumbersOnly(t)
	change := func(doc map[string]any) {
		object(doc, "plates")["offset_us"] = 4000
		delete(object(doc, "plates.cameras.2"), "lens")
	}
	j := shot(t, change)
	axes := []r3.Vec{{Z: -1}, {X: 1}, {Z: 1}, {X: -1}, {Y: 1}}
	want := 0.0
	for _, seam := range j.shoot.array.Seams() {
		for _, p := range seam.Points {
			for _, c := range []int{seam.A, seam.B} {
				from := r3.Scale(20, p.Dir)
				to := r3.Add(from, r3.Vec{Z: 14 / 3.6 * 0.004})
				want = max(want, r3.Norm(r3.Sub(equisolid(axes[c], to), equisolid(axes[c], from))))
			}
		}
	}
	got := answerTo(t, reported(t, change, (*report).clocks), "clocks 4000 µs apart")
	assert.Equal(t, fmt.Sprintf("%.3g px, 4 ms", want), got.value)
	still := answerTo(t, reported(t, set("vessel.speed_km_h", 0), (*report).clocks), "clocks 40 µs apart")
	assert.True(t, still.met)
	assert.Equal(t, "0 px, 40 µs", still.value)
}

// equisolid is the image of a thing along v under the lens of the demonstration, in
// px from the axis, as a vector across the axis.
func equisolid(axis, v r3.Vec) r3.Vec {
	across := r3.Sub(v, r3.Scale(r3.Dot(axis, v), axis))
	theta := math.Atan2(r3.Norm(across), r3.Dot(axis, v))
	return r3.Scale(2*12/0.003*math.Sin(theta/2), r3.Unit(across))
}

// TestFewestPlatePixels has a flat wall 4 m ahead of an eye at the plates' centre. A
// wall pixel of 1.2 mm covers the fewest plate pixels at the corners of a picture of
// 30.72 mm × 16.2 mm through 32 mm.
func TestFewestPlatePixels(t *testing.T) {
	const what, at = "position A, plate against wall", "stage_camera.positions.0."
	ask := func(limit float64) answer {
		return answerTo(t, reported(t, set(
			"surround", map[string]any{"shape": "infinity", "centre_m": []float64{0, 1.6, 0}},
			at+"position_m", []float64{0, 1.6, 0}, at+"heading_deg", 0, at+"elevation_deg", 0,
			"walls.0.radius_m", 0, "walls.0.centre_m", []float64{0, 1.6, -4}, "limits.plate_px_per_wall_px", limit,
		), (*report).resolution), what)
	}
	x, y, half := 4*15.36/32, 4*8.1/32, 0.0006
	step := func(dx, dy float64) float64 {
		image := func(x, y float64) r3.Vec { return equisolid(r3.Vec{Z: -1}, r3.Vec{X: x, Y: y, Z: -4}) }
		return r3.Norm(r3.Sub(image(x+dx, y+dy), image(x-dx, y-dy)))
	}
	want := min(step(half, 0), step(0, half))
	got := ask(want * 1.01)
	assert.Equal(t, fmt.Sprintf("%.2f plate px a wall px", want), got.value)
	assert.False(t, got.met)
	assert.True(t, ask(want*0.99).met)
}
