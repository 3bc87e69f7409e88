package wall_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/unit"
)

const arcMinute = wall.Degree / 60

func TestPictureHeights(t *testing.T) {
	for _, tc := range []struct {
		id    string
		lines int
		want  float64
	}{
		{"W-D2", 1080, 3.2},
		{"W-D5", 720, 4.77464815809},
		{"W-D5", 1080, 3.18309877206},
		{"W-D5", 2160, 1.59154938603},
		{"W-D5", 4320, 0.795774693014},
		{"W-D7", 720, 4.8},
		{"W-D7b", 1080, 3.1}, // cut off, not rounded: 3.18
		{"W-D7", 1080, 3.2},
		{"W-D7", 2160, 1.6},
		{"W-D7", 4320, 0.8},
	} {
		ref.Near(t, tc.id, must[float64](t)(wall.PictureHeights(tc.lines, arcMinute)), tc.want, tc.lines)
	}
	// As distances, 3 H and 1.5 H are printed so coarsely that half again would do.
	hd := must[float64](t)(wall.PictureHeights(1080, arcMinute))
	ref.Near(t, "W-D3", hd/must[float64](t)(wall.PictureHeights(2160, arcMinute)), 3/1.5)
}

func TestViewingDistance(t *testing.T) {
	ref.Near(t, "W-D4", must[unit.Length](t)(wall.ViewingDistance(1, arcMinute)), 3437.74667382)
	for pitch, want := range map[unit.Length]unit.Length{
		0.9: 3.09397200644, 1.5: 5.15662001073, 1.9: 6.53171868026, 2.3: 7.90681734979,
		2.6: 8.93814135194, 2.8: 9.6256906867, 3.9: 13.4072120279,
	} {
		ref.Near(t, "W-D11", must[unit.Length](t)(wall.ViewingDistance(pitch*unit.Milli, arcMinute)), want, float64(pitch))
	}
}

func TestAngles(t *testing.T) {
	angle := func(heights float64) float64 {
		return float64(must[unit.Angle](t)(wall.AngleAcross(16.0/9, unit.Length(heights))) / wall.Degree)
	}
	for lines, want := range map[int]float64{720: 21.0918737689, 1080: 31.2050676264, 2160: 58.3671864929, 4320: 96.3272307218} {
		heights := must[float64](t)(wall.PictureHeights(lines, arcMinute))
		ref.Near(t, "W-D6", angle(heights), want, lines)
	}
	for heights, want := range map[float64]float64{
		3.0: 33.0087227635, 3.1: 31.9992551476, 3.2: 31.0482219935, 1.5: 61.3013359141,
		1.6: 58.1092081982, 0.75: 99.6880007502, 0.8: 96.0255750084,
	} {
		ref.Near(t, "W-D8", angle(heights), want, heights)
	}
	for heights, want := range map[float64]float64{4.8: 21, 3.2: 31, 1.6: 58, 0.8: 96} {
		ref.Near(t, "W-D7c", angle(heights), want, heights)
	}
	width := 16 / math.Sqrt(337) // of a diagonal of 1
	d := must[unit.Length](t)(wall.DistanceToSpan(unit.Length(width), 30*wall.Degree))
	ref.Near(t, "W-D9", d, 1.6264)
	ref.Near(t, "W-D9b", d, 1.62638209359)

	for _, a := range []unit.Angle{1e-9, 0.1, 1, 3, 3.14159} {
		d := must[unit.Length](t)(wall.DistanceToSpan(7, a))
		near.Rel(t, "round trip", must[unit.Angle](t)(wall.AngleAcross(7, d)), a, 1e-15, "a few roundings")
	}
}

func TestViewingFaults(t *testing.T) {
	for _, err := range []error{
		second(wall.ViewingDistance(0, arcMinute)),
		second(wall.ViewingDistance(unit.Length(nan), arcMinute)),
		second(wall.ViewingDistance(1, 0)),
		second(wall.ViewingDistance(1, 90*wall.Degree)),
		second(wall.ViewingDistance(1, unit.Angle(nan))),
		second(wall.PictureHeights(0, arcMinute)),
		second(wall.PictureHeights(1080, -arcMinute)),
		second(wall.AngleAcross(0, 1)),
		second(wall.AngleAcross(1, unit.Length(inf))),
		second(wall.DistanceToSpan(1, 180*wall.Degree)),
		second(wall.DistanceToSpan(unit.Length(-inf), 1)),
	} {
		if !errors.Is(err, wall.ErrInvalid) {
			t.Errorf("got %v", err)
		}
	}
}
