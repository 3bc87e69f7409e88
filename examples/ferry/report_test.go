package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
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

// A report as it stands, line by line. Numbers are checked where they are
// computed; this shows every change of wording, layout or verdict.
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

// demo is the scenario of the demonstration, changed.
func demo(t *testing.T, change func(doc map[string]any)) map[string]any {
	t.Helper()
	data, err := os.ReadFile("../../testdata/ferry.json")
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(data, &doc))
	change(doc)
	return doc
}

// reported is what a changed scenario answers to some questions.
func reported(t *testing.T, change func(doc map[string]any), questions ...func(*report, *shoot)) *report {
	t.Helper()
	j := prepared(t, "-scenario", writeScenario(t, demo(t, change)))
	r := &report{out: io.Discard}
	for _, q := range questions {
		q(r, &j.shoot)
	}
	return r
}

// answerTo is the answer that begins with what is asked.
func answerTo(t *testing.T, r *report, what string) answer {
	t.Helper()
	for _, a := range r.answers {
		if strings.HasPrefix(a.what, what) {
			return a
		}
	}
	require.Fail(t, "not answered", what)
	return answer{}
}

func object(doc map[string]any, path ...string) map[string]any {
	for _, p := range path {
		doc = doc[p].(map[string]any)
	}
	return doc
}

func dropCameras(keep ...string) func(doc map[string]any) {
	return func(doc map[string]any) {
		plates := object(doc, "plates")
		var kept []any
		for _, c := range plates["cameras"].([]any) {
			for _, name := range keep {
				if c.(map[string]any)["name"] == name {
					kept = append(kept, c)
				}
			}
		}
		plates["cameras"] = kept
	}
}

// Each "ok" of the demonstration turns to SHORT where it should, and says why.
func TestEachOkCanFail(t *testing.T) {
	near.NumbersOnly(t)
	for _, tc := range []struct {
		question  func(*report, *shoot)
		what, why string
		change    func(doc map[string]any)
	}{
		{(*report).pushIn, "gulls over the funnel, all of its frame", "part of it is unseen", dropCameras("bow", "starboard", "stern", "port")},
		{(*report).pushIn, "wide over the bow, all of its frame", "plate px a delivered px", func(doc map[string]any) {
			doc["shots"].([]any)[0].(map[string]any)["across_deg"] = 25
		}},
		{(*report).pushIn, "harbour light, all of its frame", "part of it is unseen", dropCameras("stern")},
		{(*report).optics, "image circle 19 mm against the height", "the circle ends inside", func(doc map[string]any) {
			object(doc, "plates", "lens")["image_circle_mm"] = 19
			object(doc, "plates", "format")["height_mm"], object(doc, "plates", "format")["rows"] = 36.864, 12288
		}},
		{(*report).optics, "nearest thing, at 2 m", "2.3 m short of the near limit", func(doc map[string]any) { object(doc, "vessel")["nearest_m"] = 2 }},
		{(*report).optics, "nearest thing, at 20 m", "beyond the far limit", func(doc map[string]any) {
			l := object(doc, "plates", "lens")
			l["focus_m"], l["f_number"] = 4, 1.4
		}},
		{(*report).exposure, "afterglow", "stops to saturation", func(doc map[string]any) {
			doc["light"].([]any)[0].(map[string]any)["cd_m2"] = 3800
		}},
		{(*report).data, "a store of 1 TB", "-", func(doc map[string]any) { object(doc, "plates")["store_tb"] = 1 }},
		{(*report).resolution, "position B, plate against wall", "wanted is 1.5", func(doc map[string]any) { object(doc, "limits")["plate_px_per_wall_px"] = 1.5 }},
		{(*report).wallCover, "ceiling from position", "no plate for", dropCameras("bow")},
		{(*report).alias, "A, focus on actor, all photosites", "an alias", func(doc map[string]any) { object(doc, "limits")["alias_percent"] = 0.1 }},
		{(*report).timing, "plates under shore lamps", "nearest clean is 172.8°", func(doc map[string]any) { object(doc, "plates")["shutter_deg"] = 150 }},
		{(*report).timing, "stage under mains light", "nearest clean is 172.8°", func(doc map[string]any) { object(doc, "stage_camera")["shutter_deg"] = 180 }},
		{(*report).timing, "camera against playback", "a frame slips every", func(doc map[string]any) { object(doc, "drive")["rate"] = "25" }},
		{(*report).clocks, "clocks 4000 µs apart", "limit 1 px", func(doc map[string]any) { object(doc, "plates")["offset_us"] = 4000 }},
		{(*report).clocks, "a whole frame apart", "the take lasts", func(doc map[string]any) { object(doc, "plates")["clock_ppm"] = 100 }},
		{(*report).brightness, "ceiling in the stage camera", "stops to saturation", func(doc map[string]any) {
			doc["walls"].([]any)[1].(map[string]any)["cd_m2"] = 900
		}},
	} {
		got := answerTo(t, reported(t, tc.change, tc.question), tc.what)
		assert.False(t, got.met, tc.what)
		assert.Contains(t, got.value+" "+got.margin, tc.why, tc.what)
	}
}

// One camera alone: there are no joins, and much of the walls has no plate.
func TestOneCamera(t *testing.T) {
	r := reported(t, dropCameras("bow"), (*report).seams, (*report).wallCover)
	answerTo(t, r, "no plates join")
	got := answerTo(t, r, "ceiling from position A")
	assert.False(t, got.met)
	assert.Contains(t, got.value, "no plate for ")
}

// The ring of four and the sky camera join in eight lines; all are listed.
func TestAllJoinsAreListed(t *testing.T) {
	r := reported(t, func(doc map[string]any) {
		object(doc, "plates")["boxes"], object(doc, "plates")["balls"] = []any{}, []any{}
	}, (*report).seams)
	var joins []string
	for _, a := range r.answers {
		if strings.Contains(a.value, "px apart") {
			joins = append(joins, strings.Split(a.what, ", ")...)
		}
	}
	assert.ElementsMatch(t, []string{"bow/starboard", "starboard/stern", "stern/port", "bow/port", "bow/sky", "starboard/sky", "stern/sky", "port/sky"}, joins)
}

// A lens may be given in several ways; the same lens plans the same.
func TestLensesInTheScenario(t *testing.T) {
	answers := func(lens map[string]any) []answer {
		return reported(t, func(doc map[string]any) {
			l := object(doc, "plates", "lens")
			for k, v := range lens {
				l[k] = v
			}
			delete(object(doc, "plates")["cameras"].([]any)[2].(map[string]any), "lens")
		}, (*report).optics, (*report).resolution).answers
	}
	form := answers(nil)
	same := cmp.AllowUnexported(answer{})
	assert.Empty(t, cmp.Diff(form, answers(map[string]any{"focal_px": []float64{4000, 4000}, "centre_px": []float64{6144, 3240}}), same))
	// r = 2f sin(θ/2) = f (θ − θ³/24 + θ⁵/1920 − …); a table of it every 5°.
	// Where a limit is reached and where a shape is followed differ in last digits.
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

// Faults of lenses name the field and the camera.
func TestBadLenses(t *testing.T) {
	lens := func(change func(l map[string]any)) func(doc map[string]any) {
		return func(doc map[string]any) {
			change(object(doc, "plates")["cameras"].([]any)[2].(map[string]any)["lens"].(map[string]any))
		}
	}
	for want, change := range map[string]func(doc map[string]any){
		`plates.cameras[2].lens.projection: stern: "wobbly": must be rectilinear`: lens(func(l map[string]any) {
			l["projection"] = "wobbly"
			delete(l, "table_deg_mm")
		}),
		"plates.cameras[2].lens.coefficients: stern: goes with": lens(func(l map[string]any) { l["coefficients"] = []float64{1} }),
		"plates.cameras[2].lens.table_deg_mm: stern: ":          lens(func(l map[string]any) { l["table_deg_mm"] = [][2]float64{{10, 3}, {20, 2}} }),
		"plates.cameras[2].lens.focal_px: stern: 1000":          lens(func(l map[string]any) { l["focal_px"] = []float64{1000, 1000} }),
		"plates.cameras[2].lens.distortion: stern: goes with the rectilinear": lens(func(l map[string]any) {
			l["distortion"] = map[string]any{"k1": -0.1, "k2": 0, "k3": 0, "p1": 0, "p2": 0}
		}),
		`plates.cameras[2].lens.table_deg_mm[0]: 1 elements: must be 2`: lens(func(l map[string]any) { l["table_deg_mm"] = [][]float64{{10}, {20}} }),
		"surround.radius_m: goes with":                                  func(doc map[string]any) { object(doc, "surround")["shape"] = "infinity" },
		"surround.shape: ":                                              func(doc map[string]any) { object(doc, "surround")["shape"] = "box" },
		"stage_camera.positions[0].position_m: must be within the surround": func(doc map[string]any) {
			doc["surround"] = map[string]any{"shape": "sphere", "centre_m": []float64{50, 0, 0}, "radius_m": 20}
		},
	} {
		refused(t, want, "-scenario", writeScenario(t, demo(t, change)))
	}
}

// What a surround costs a near thing, against the triangle of eye, centre and
// thing: at infinity the thing is out of place by the angle at it.
func TestSurroundCostsNearThings(t *testing.T) {
	place := func(surround map[string]any) string {
		r := reported(t, func(doc map[string]any) {
			doc["surround"] = surround
			object(doc, "vessel")["nearest_m"] = 10
			at := object(doc, "stage_camera")["positions"].([]any)[0].(map[string]any)
			at["position_m"] = []float64{0, 1.6, 1}
		}, (*report).wallCover)
		return answerTo(t, r, "near things on ceiling from position A").value
	}
	// The eye is 1 m behind the centre: abeam, sin of the angle is 1/10 at most.
	assert.Contains(t, place(map[string]any{"shape": "infinity", "centre_m": []float64{0, 1.6, 0}}), "up to 5.74°")
	assert.Contains(t, place(map[string]any{"shape": "sphere", "centre_m": []float64{0, 1.6, 0}, "radius_m": 10}), "up to 0.00°")
}

func TestWrapText(t *testing.T) {
	assert.Equal(t, []string{"one two", "  three"}, wrapText("one two three", 8))
	assert.Equal(t, []string{""}, wrapText("", 8))
	assert.Equal(t, []string{"µµµµ µµµ"}, wrapText("µµµµ µµµ", 8), "characters, not bytes")
}

// What clocks cost at the seams, against the equisolid formula: the vessel goes
// on by 14/3.6 · 0.004 m while a thing 20 m away stands still.
func TestClocksAtTheSeams(t *testing.T) {
	near.NumbersOnly(t)
	change := func(doc map[string]any) {
		object(doc, "plates")["offset_us"] = 4000
		delete(camera(doc, 2), "lens")
	}
	j := prepared(t, "-scenario", writeScenario(t, demo(t, change)))
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
	assert.False(t, got.met)
	assert.Equal(t, fmt.Sprintf("%.3g px, 4 ms", want), got.value)
	still := answerTo(t, reported(t, func(doc map[string]any) { object(doc, "vessel")["speed_km_h"] = 0 }, (*report).clocks), "clocks 40 µs apart")
	assert.True(t, still.met)
	assert.Equal(t, "0 px, 40 µs", still.value)
}

// equisolid is where the lens of the demonstration images what lies along v, px
// from the axis, in the plane across it.
func equisolid(axis, v r3.Vec) r3.Vec {
	across := r3.Sub(v, r3.Scale(r3.Dot(axis, v), axis))
	theta := math.Atan2(r3.Norm(across), r3.Dot(axis, v))
	return r3.Scale(2*12/0.003*math.Sin(theta/2), r3.Unit(across))
}

// A flat wall 4 m ahead of an eye at the plates' centre: how many plate pixels a
// wall pixel of 1.2 mm shows is least at the corners of a picture of 30.72 mm ×
// 16.2 mm through 32 mm.
func TestFewestPlatePixels(t *testing.T) {
	change := func(limit float64) func(doc map[string]any) {
		return func(doc map[string]any) {
			doc["surround"] = map[string]any{"shape": "infinity", "centre_m": []float64{0, 1.6, 0}}
			at := object(doc, "stage_camera")["positions"].([]any)[0].(map[string]any)
			at["position_m"], at["heading_deg"], at["elevation_deg"] = []float64{0, 1.6, 0}, 0, 0
			w := doc["walls"].([]any)[0].(map[string]any)
			w["radius_m"], w["centre_m"] = 0, []float64{0, 1.6, -4}
			object(doc, "limits")["plate_px_per_wall_px"] = limit
		}
	}
	x, y, half := 4*15.36/32, 4*8.1/32, 0.0006
	step := func(dx, dy float64) float64 {
		image := func(x, y float64) r3.Vec { return equisolid(r3.Vec{Z: -1}, r3.Vec{X: x, Y: y, Z: -4}) }
		return r3.Norm(r3.Sub(image(x+dx, y+dy), image(x-dx, y-dy)))
	}
	want := min(step(half, 0), step(0, half))
	const what = "position A, plate against wall"
	got := answerTo(t, reported(t, change(want*1.01), (*report).resolution), what)
	assert.Equal(t, fmt.Sprintf("%.2f plate px a wall px", want), got.value)
	assert.False(t, got.met)
	assert.True(t, answerTo(t, reported(t, change(want*0.99), (*report).resolution), what).met)
}

// What only the vessel hides on a wall counts as without a plate.
func TestWallShowsTheVessel(t *testing.T) {
	got := answerTo(t, reported(t, func(doc map[string]any) {
		doc["walls"].([]any)[1].(map[string]any)["centre_m"] = []float64{0, 4.6, -0.5}
		object(doc, "plates")["balls"] = []any{map[string]any{"name": "awning", "centre_m": []float64{0, 9, 0}, "radius_m": 3}}
	}, (*report).wallCover), "ceiling from position A")
	assert.Contains(t, got.value, "the vessel itself on ")
	assert.False(t, got.met)
}

// Where the picture shows a wall for which there is no plate, that is said.
func TestNoPlateInThePicture(t *testing.T) {
	got := answerTo(t, reported(t, func(doc map[string]any) {
		dropCameras("bow")(doc)
		for _, at := range object(doc, "stage_camera")["positions"].([]any) {
			at.(map[string]any)["elevation_deg"] = 55
		}
	}, (*report).resolution), "position A")
	assert.False(t, got.met)
	assert.Contains(t, got.margin, "no plate has what the wall shows")
}
