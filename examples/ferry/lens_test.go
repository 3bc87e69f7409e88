package main

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// camera is a plate camera of a scenario.
func camera(doc map[string]any, i int) map[string]any {
	return object(doc, "plates")["cameras"].([]any)[i].(map[string]any)
}

// Faults that only the packages find name the fields and the parts of the
// scenario, once each.
func TestFaultsOfPackagesNameParts(t *testing.T) {
	for want, change := range map[string]func(doc map[string]any){
		`plates.cameras[3] "port" 0 m from its centre: must stand outside plates.balls[0] "radar dome"`: func(doc map[string]any) {
			camera(doc, 3)["position_m"] = []float64{0, 3.7, 1.9}
		},
		`plates.cameras[0] "bow" in or on it: must stand outside plates.boxes[0] "mast"`: func(doc map[string]any) {
			camera(doc, 0)["position_m"] = []float64{0, 2.9, 0}
		},
		`plates.cameras[2].lens.focal_px: stern: has no use beside table_deg_mm`: func(doc map[string]any) {
			camera(doc, 2)["lens"].(map[string]any)["focal_px"] = []float64{3990, 3990}
		},
		`plates.row_time_us: 7 µs: 6480 rows take 45.36 ms: must be no longer than a frame`: func(doc map[string]any) {
			object(doc, "plates")["row_time_us"] = 7
		},
		`stage_camera.positions[0].position_m: "A" before walls[1] "ceiling": wall: eye`: func(doc map[string]any) {
			object(doc, "stage_camera")["positions"].([]any)[0].(map[string]any)["position_m"] = []float64{0, 5, 1}
		},
	} {
		said := refused(t, "scenario.json: "+want, "-scenario", writeScenario(t, demo(t, change)))
		assert.Equal(t, 1, strings.Count(said, "\n"), said)
	}
}

// A camera with a distortion takes part in the rig: a barrel sees more of the sky.
func TestDistortedCameraInTheRig(t *testing.T) {
	near.NumbersOnly(t)
	seen := func(k1 float64) float64 {
		r := reported(t, func(doc map[string]any) {
			dropCameras("sky")(doc)
			l := object(doc, "plates", "lens")
			l["projection"], l["distortion"] = "rectilinear", map[string]any{"k1": k1, "k2": 0, "k3": 0, "p1": 0, "p2": 0}
		}, (*report).coverage)
		var sr float64
		_, err := fmt.Sscanf(answerTo(t, r, "seen by at least 1").value, "%f sr", &sr)
		require.NoError(t, err)
		return sr
	}
	assert.Greater(t, seen(-0.05), 1.02*seen(0))
}

// A calibration that ends at 80° sees no farther, with any kind of curve.
func TestLensEndsWhereItsMeasurementDoes(t *testing.T) {
	for name, lens := range map[string]map[string]any{
		"a closed form": {},
		"a polynomial":  {"projection": "polynomial", "coefficients": []float64{1, -1. / 24, 1. / 1920}},
		"a table":       {"projection": "table", "table_deg_mm": [][2]float64{{45, 24 * math.Sin(math.Pi/8)}, {90, 24 * math.Sin(math.Pi/4)}}},
	} {
		j := prepared(t, "-scenario", writeScenario(t, demo(t, func(doc map[string]any) {
			l := object(doc, "plates", "lens")
			l["max_angle_deg"] = 80
			for k, v := range lens {
				l[k] = v
			}
		})))
		across, _, _ := j.shoot.cameras[0].FieldOfView()
		assert.InDelta(t, 160, degrees(across), 1e-9, name)
		assert.InDelta(t, 80, degrees(j.shoot.plates[0].lens.MaxAngle()), 1e-9, name)
	}
}

// The camera and the lens are of one scale: an image circle of 34.4 mm lies at
// 2 asin(17.2/(2·11.85)) of an equisolid lens of 3950 px of 3 µm.
func TestFocalLengthOfCalibration(t *testing.T) {
	j := prepared(t, "-scenario", writeScenario(t, demo(t, func(doc map[string]any) {
		object(doc, "plates", "lens")["focal_px"] = []float64{3950, 3950}
	})))
	want := 2 * math.Asin(17.2/(2*11.85)) * 180 / math.Pi
	across, _, _ := j.shoot.cameras[0].FieldOfView()
	assert.InDelta(t, 2*want, degrees(across), 1e-9)
	assert.InDelta(t, want, degrees(j.shoot.plates[0].lens.MaxAngle()), 1e-9)
}

// The axis meets the raster at the principal point, from the outer corner of the
// first pixel; the first focal length is that along a row.
func TestCalibrationOfCamera(t *testing.T) {
	j := prepared(t, "-scenario", writeScenario(t, demo(t, func(doc map[string]any) {
		l := object(doc, "plates", "lens")
		l["centre_px"], l["focal_px"] = []float64{6150.5, 3230.25}, []float64{3990, 4010}
	})))
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
