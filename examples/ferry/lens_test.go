package main

import (
	"fmt"
	"maps"
	"math"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFaultsNameParts: a fault of a lens or of the stage, also one that only the
// packages find, names its place in the scenario once.
func TestFaultsNameParts(t *testing.T) {
	const lens = "plates.cameras.2.lens."
	for want, change := range map[string]func(doc map[string]any){
		`plates.cameras[3] "port" 0 m from its centre: must stand outside plates.balls[0] "radar dome"`: set("plates.cameras.3.position_m", []float64{0, 3.7, 1.9}),
		`plates.cameras[0] "bow" in or on it: must stand outside plates.boxes[0] "mast"`:                set("plates.cameras.0.position_m", []float64{0, 2.9, 0}),
		`plates.cameras[2].lens.focal_px: stern: has no use beside table_deg_mm`:                        set(lens+"focal_px", []float64{3990, 3990}),
		`plates.row_time_us: 7 µs: 6480 rows take 45.36 ms: must be no longer than a frame`:             set("plates.row_time_us", 7),
		`stage_camera.positions[0].position_m: "A" before walls[1] "ceiling": stage: eye`:               set("stage_camera.positions.0.position_m", []float64{0, 5, 1}),
		`plates.cameras[2].lens.projection: stern: "wobbly": must be rectilinear`: func(doc map[string]any) {
			set(lens+"projection", "wobbly")(doc)
			delete(object(doc, "plates.cameras.2.lens"), "table_deg_mm")
		},
		"plates.cameras[2].lens.coefficients: stern: goes with":               set(lens+"coefficients", []float64{1}),
		"plates.cameras[2].lens.table_deg_mm: stern: ":                        set(lens+"table_deg_mm", [][2]float64{{10, 3}, {20, 2}}),
		"plates.cameras[2].lens.focal_px: stern: 1000":                        set(lens+"focal_px", []float64{1000, 1000}),
		"plates.cameras[2].lens.distortion: stern: goes with the rectilinear": set(lens+"distortion", map[string]any{"k1": -0.1, "k2": 0, "k3": 0, "p1": 0, "p2": 0}),
		`plates.cameras[2].lens.table_deg_mm[0]: 1 elements: must be 2`:       set(lens+"table_deg_mm", [][]float64{{10}, {20}}),
		"surround.radius_m: goes with":                                        set("surround.shape", "infinity"),
		"surround.shape: ":                                                    set("surround.shape", "box"),
		"stage_camera.positions[0].position_m: must be within the surround":   set("surround", map[string]any{"shape": "sphere", "centre_m": []float64{50, 0, 0}, "radius_m": 20}),
	} {
		said := refused(t, "scenario.json: "+want, "-scenario", writeScenario(t, demo(t, change)))
		assert.Equal(t, 1, strings.Count(said, want), said)
	}
}

// A rig of cameras with barrel distortion sees more.
func TestDistortedCameraInTheRig(t *testing.T) {
	near.NumbersOnly(t)
	seen := func(k1 float64) float64 {
		r := reported(t, func(doc map[string]any) {
			keepCameras("sky")(doc)
			set("plates.lens.projection", "rectilinear", "plates.lens.distortion", map[string]any{"k1": k1, "k2": 0, "k3": 0, "p1": 0, "p2": 0})(doc)
		}, (*report).coverage)
		var sr float64
		_, err := fmt.Sscanf(answerTo(t, r, "seen by at least 1").value, "%f sr", &sr)
		require.NoError(t, err)
		return sr
	}
	assert.Greater(t, seen(-0.05), 1.02*seen(0))
}

// A lens calibrated up to 80° sees no farther, whatever its kind of curve.
func TestLensEndsWhereItsMeasurementDoes(t *testing.T) {
	for name, lens := range map[string]map[string]any{
		"a closed form": {},
		"a polynomial":  {"projection": "polynomial", "coefficients": []float64{1, -1. / 24, 1. / 1920}},
		"a table":       {"projection": "table", "table_deg_mm": [][2]float64{{45, 24 * math.Sin(math.Pi/8)}, {90, 24 * math.Sin(math.Pi/4)}}},
	} {
		j := shot(t, func(doc map[string]any) {
			set("plates.lens.max_angle_deg", 80)(doc)
			maps.Copy(object(doc, "plates.lens"), lens)
		})
		across, _, _ := j.shoot.cameras[0].FieldOfView()
		assert.InDelta(t, 160, degrees(across), 1e-9, name)
		assert.InDelta(t, 80, degrees(j.shoot.plates[0].lens.MaxAngle()), 1e-9, name)
	}
}

// A focal length in pixels sets that of the lens too. An equisolid lens of 3950 px of
// 3 µm has the edge of an image circle of 34.4 mm at 2 asin(17.2/(2·11.85)).
func TestFocalLengthOfCalibration(t *testing.T) {
	j := shot(t, set("plates.lens.focal_px", []float64{3950, 3950}))
	want := 2 * math.Asin(17.2/(2*11.85)) * 180 / math.Pi
	across, _, _ := j.shoot.cameras[0].FieldOfView()
	assert.InDelta(t, 2*want, degrees(across), 1e-9)
	assert.InDelta(t, want, degrees(j.shoot.plates[0].lens.MaxAngle()), 1e-9)
}

// centre_px counts from the outer corner of the first pixel, and the first number of
// focal_px is the focal length along a row.
func TestCalibrationOfCamera(t *testing.T) {
	j := shot(t, set("plates.lens.centre_px", []float64{6150.5, 3230.25}, "plates.lens.focal_px", []float64{3990, 4010}))
	bow := j.shoot.cameras[0]
	at := func(heading, elevation float64) [2]float64 {
		x, y, ok := bow.Project(direction(heading, elevation))
		assert.True(t, ok)
		return [2]float64{x, y}
	}
	r := 2 * math.Sin(float64(5*deg))
	for _, tc := range []struct{ got, want [2]float64 }{
		{at(0, 0), [2]float64{6150.5, 3230.25}},
		{at(10, 0), [2]float64{6150.5 + 3990*r, 3230.25}},
		{at(0, 10), [2]float64{6150.5, 3230.25 - 4010*r}},
	} {
		assert.InDeltaSlice(t, tc.want[:], tc.got[:], 1e-9)
	}
}
