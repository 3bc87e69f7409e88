package main

import (
	"context"
	"encoding/json"
	"image/color"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"example.com/platewright/internal/near"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r3"
)

// scaleOf is the colour scale of a chart of these values in one row.
func scaleOf(t *testing.T, whole bool, values ...float64) scale {
	t.Helper()
	c := chart{columns: len(values), rows: 1, x: axis{low: 0, high: 1}, y: axis{low: 0, high: 1}, step: 1, whole: whole}
	s, err := c.scale(values)
	require.NoError(t, err)
	return s
}

// A few outliers do not stretch the scale of colours. They are clipped, and the scale
// says so.
func TestColoursIgnoreOutliers(t *testing.T) {
	var values []float64
	for i := range 1000 {
		values = append(values, 20+float64(i)/100) // 20 to 30
	}
	values = append(values, 400, math.NaN(), -300)
	s := scaleOf(t, false, values...)
	assert.InDelta(t, 20, s.low, 1)
	assert.InDelta(t, 30, s.high, 1)
	assert.True(t, s.clipped)
	assert.Equal(t, s.at(s.high, false), s.at(400, false))
	s = scaleOf(t, false, 20, 20, 20)
	assert.False(t, s.clipped)
	assert.Equal(t, color.Color(noAnswer), s.at(math.NaN(), false))
}

// Each whole number has its own colour, even if it is rare.
func TestWholeNumbersHaveColours(t *testing.T) {
	s := scaleOf(t, true, append(make([]float64, 1000), 1, 2, 4)...)
	assert.Equal(t, [2]float64{0, 4}, [2]float64{s.low, s.high})
	assert.Equal(t, 1., s.class())
	seen := map[color.Color]bool{}
	for v := range 5 {
		seen[s.at(float64(v), true)] = true
	}
	assert.Len(t, seen, 5)
	// With many numbers, neighbours share a colour.
	s.low, s.high = 0, 31
	assert.Equal(t, 4., s.class())
}

// Equal steps of a value look equal, also without hue: CIE L* rises along the scale
// in a straight line, to within 4.
func TestColoursAreEven(t *testing.T) {
	s := scaleOf(t, false, 0, 100)
	lightness := func(v float64) float64 {
		r, g, b, _ := s.at(v, false).RGBA()
		y := 0.2126*fromSRGB(float64(r)/65535) + 0.7152*fromSRGB(float64(g)/65535) + 0.0722*fromSRGB(float64(b)/65535)
		return 116*math.Cbrt(y) - 16
	}
	first, last := lightness(s.low), lightness(s.high)
	for v := s.low; v <= s.high; v++ {
		assert.InDelta(t, first+(last-first)*(v-s.low)/(s.high-s.low), lightness(v), 4, v)
	}
}

// An outline that crosses the edge of the chart, or goes around a pole, is drawn in
// parts that end at the edges. No line runs across the chart.
func TestOutlinesCrossTheBack(t *testing.T) {
	m := makerOf(t, smaller(t))
	x := axis{low: -180, high: 180}
	for _, shot := range []shotSpec{
		{HeadingDeg: 175, AcrossDeg: 40}, {HeadingDeg: -179, ElevationDeg: 30, AcrossDeg: 90}, {HeadingDeg: 20, ElevationDeg: 85, AcrossDeg: 60}, {AcrossDeg: 30},
	} {
		outline := mark{points: m.outline(shot), round: 360}
		lines := outline.lines(x)
		points := 0
		for i, line := range lines {
			points += len(line)
			for k := 1; k < len(line); k++ {
				assert.Less(t, math.Abs(line[k].X-line[k-1].X), 120., "%v", shot)
			}
			if i > 0 {
				assert.Equal(t, 180., math.Abs(line[0].X), "%v", shot)
				assert.Equal(t, line[0].Y, lines[i-1][len(lines[i-1])-1].Y)
			}
		}
		assert.Equal(t, 4*sidePoints+1+2*(len(lines)-1), points, "%v", shot)
		assert.Equal(t, shot.HeadingDeg != 0, len(lines) > 1, "%v", shot)
	}
}

func TestLabelsKeepClear(t *testing.T) {
	area := around(vg.Point{X: 100, Y: 100}, 100, 100)
	line := [][]vg.Point{{{X: 50, Y: 50}, {X: 50, Y: 150}}}
	assert.Zero(t, conflicts(around(vg.Point{X: 70, Y: 90}, 10, 5), area, line, nil))
	assert.NotZero(t, conflicts(around(vg.Point{X: 50, Y: 90}, 10, 5), area, line, nil))
	assert.NotZero(t, conflicts(around(vg.Point{X: 195, Y: 90}, 10, 5), area, nil, nil))
	taken := []vg.Rectangle{around(vg.Point{X: 75, Y: 92}, 10, 5)}
	assert.NotZero(t, conflicts(around(vg.Point{X: 70, Y: 90}, 10, 5), area, nil, taken))
}

// TestChartsOfOddScenarios has one camera, nothing in its way, a stage camera turned
// away from all walls, and many shots with long names.
func TestChartsOfOddScenarios(t *testing.T) {
	near.NumbersOnly(t)
	doc := smaller(t)
	keepCameras("bow")(doc)
	set("plates.boxes", []any{}, "plates.balls", []any{}, "stage_camera.positions.0.heading_deg", 180.)(doc)
	shot, err := json.Marshal(doc["shots"].([]any)[0])
	require.NoError(t, err)
	var shots []any
	for i := range 16 {
		var s map[string]any
		require.NoError(t, json.Unmarshal(shot, &s))
		s["name"], s["heading_deg"], s["elevation_deg"] = strings.Repeat("long name ", 6)+string(rune('a'+i%26)), float64(i*22-170), float64(i*10-75)
		shots = append(shots, s)
	}
	doc["shots"] = shots
	m := makerOf(t, doc)
	require.NoError(t, m.charts())
	turned, err := m.aliasMaps(0)
	require.NoError(t, err)
	assert.Contains(t, turned.maps[0][0].title, "no wall in the middle of the picture")
	assert.Len(t, turned.maps, 1, "no wall to focus on")
	assert.True(t, math.IsNaN(turned.maps[0][0].over[0]))
	ahead, err := m.aliasMaps(1)
	require.NoError(t, err)
	assert.Contains(t, ahead.maps[1][0].title, "focus on the wall")
}

// The two maps of a picture tell the axes apart: columns of pixels leave no harmonic of
// the rows, and rows none of the columns.
func TestAliasMapsTellAxes(t *testing.T) {
	s := makerOf(t, demo(t)).shoot
	for position := range s.StageCamera.Positions {
		for axis, scene := range []alias.Scene{s.grids.columns, s.grids.rows} {
			nodes, v, err := scene.Map(context.Background(), s.shot(s.standing(position)), few)
			require.NoError(t, err)
			assert.Positive(t, v.Worst.Alias.Contrast)
			for _, n := range nodes {
				assert.Zero(t, n.Alias.Harmonic[1-axis], "%v", n.Alias)
				if n.Alias.Contrast > 0 {
					assert.NotZero(t, n.Alias.Harmonic[axis])
				}
			}
		}
	}
}

// A cell of the floor holds what the camera sees from there: the first cell is in front
// on the left.
func TestFloorMapIsSeenFromAbove(t *testing.T) {
	m := makerOf(t, demo(t))
	picture, err := m.floorMaps(0)
	require.NoError(t, err)
	one := picture.maps[0][0]
	x, z := m.shoot.floor()
	known := 0
	for i, over := range one.over {
		there := m.shoot.standing(0)
		there.eye.X = x.low + (x.high-x.low)*(float64(i%floorCells)+0.5)/float64(floorCells)
		there.eye.Z = z.high + (z.low-z.high)*(float64(i/floorCells)+0.5)/float64(floorCells)
		_, v, err := m.shoot.grids.all.Map(context.Background(), m.shoot.shot(there), few)
		require.NoError(t, err)
		if v.Seen == 0 || v.Unknown > 0 {
			assert.True(t, math.IsNaN(over))
			continue
		}
		known++
		assert.InEpsilon(t, v.Worst.Visibility, over, 1e-6, "the place is rounded")
	}
	assert.Greater(t, known, floorCells)
	assert.Less(t, z.high, z.low, "the front is at the top")
}

// Plates at infinity have the density of the best camera, between its least and its
// greatest.
func TestPlateDensityIsThatOfTheCamera(t *testing.T) {
	doc := demo(t)
	doc["surround"] = map[string]any{"shape": "infinity", "centre_m": []float64{0, 0, 0}}
	s := makerOf(t, doc).shoot
	seen := 0
	for heading := -180.; heading < 180; heading += 17 {
		for elevation := -60.; elevation < 90; elevation += 13 {
			dir := direction(heading, elevation)
			i, _, ok := s.array.Best(dir)
			got := s.plateDensity(r3.Vec{X: 1}, dir)
			if !ok || got == 0 {
				continue
			}
			d, _ := s.cameras[i].Density(dir)
			seen++
			assert.GreaterOrEqual(t, got, d.Least*(1-1e-4), "heading %v, elevation %v", heading, elevation)
			assert.LessOrEqual(t, got, max(d.Radial, d.Tangential)*(1+1e-4), "heading %v, elevation %v", heading, elevation)
		}
	}
	assert.Greater(t, seen, 100)
}
