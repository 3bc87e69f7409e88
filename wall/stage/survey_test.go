package stage_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func cornersOf(r wall.Rectangle) [4]r3.Vec {
	return [4]r3.Vec{r.UpperLeft, r3.Add(r.UpperLeft, r3.Sub(r.LowerRight, r.LowerLeft)), r.LowerRight, r.LowerLeft}
}

// A wall hangs otherwise than planned: each panel is moved by centimetres and
// turned by up to 2°. Its corners are measured, with and without noise.
func TestHangFindsAKnownWall(t *testing.T) {
	planned := volume(t, 1).Parts[0]
	rng := rand.New(rand.NewPCG(8, 1))
	const noise = 0.5e-3
	var exact, noisy []stage.Survey
	var truth []wall.Rectangle
	var moved, turned []float64
	for i, p := range planned.Panels {
		c := cornersOf(p.Face)
		m := r3.Scale(0.5, r3.Add(c[0], c[2]))
		axis, angle, shift := r3.Unit(random(rng, 1)), 0.03*rng.Float64(), random(rng, 0.02)
		place := func(q r3.Vec) r3.Vec { return r3.Add(r3.Add(m, shift), r3.Rotate(r3.Sub(q, m), angle, axis)) }
		truth = append(truth, wall.Rectangle{LowerLeft: place(p.Face.LowerLeft), LowerRight: place(p.Face.LowerRight), UpperLeft: place(p.Face.UpperLeft)})
		moved, turned = append(moved, r3.Norm(shift)), append(turned, angle)
		e, n := stage.Survey{Panel: i}, stage.Survey{Panel: i}
		for k := range c {
			e.Corners[k] = place(c[k])
			n.Corners[k] = r3.Add(e.Corners[k], random(rng, noise))
		}
		exact, noisy = append(exact, e), append(noisy, n)
	}
	hung, fits, err := stage.Hang(planned, exact)
	require.NoError(t, err)
	for i, p := range hung.Panels {
		off := max(distance(p.Face.LowerLeft, truth[i].LowerLeft), distance(p.Face.LowerRight, truth[i].LowerRight), distance(p.Face.UpperLeft, truth[i].UpperLeft))
		ref.Within(t, "W-ST-HANG", max(off, float64(fits[i].Residual), float64(fits[i].Noise), math.Abs(float64(fits[i].Moved)-moved[i]), math.Abs(float64(fits[i].Turned)-turned[i])), i)
	}

	hung, fits, err = stage.Hang(planned, noisy)
	require.NoError(t, err)
	square := 0.0
	for i, p := range hung.Panels {
		square += float64(fits[i].Noise) * float64(fits[i].Noise) / float64(len(hung.Panels))
		// No small motion of the panel comes nearer to what was measured.
		sum := func(f func(r3.Vec) r3.Vec) (s float64) {
			for k, c := range cornersOf(p.Face) {
				s += r3.Norm2(r3.Sub(f(c), noisy[i].Corners[k]))
			}
			return s
		}
		best := sum(func(c r3.Vec) r3.Vec { return c })
		for _, e := range []r3.Vec{{X: 1e-5}, {Y: 1e-5}, {Z: 1e-5}, {X: -1e-5}, {Y: -1e-5}, {Z: -1e-5}} {
			middle := r3.Scale(0.5, r3.Add(p.Face.LowerRight, p.Face.UpperLeft))
			closer := min(sum(func(c r3.Vec) r3.Vec { return r3.Add(c, e) }),
				sum(func(c r3.Vec) r3.Vec { return r3.Add(middle, r3.Rotate(r3.Sub(c, middle), 1e-5, e)) }))
			ref.Equal(t, "W-ST-LEAST", closer > best, true, i, e)
		}
	}
	// 40 panels of 6 degrees of freedom each.
	ref.Near(t, "W-ST-NOISE", math.Sqrt(square), noise)
	_, err = stage.New(stage.Spec{Parts: []stage.Part{hung}, Rasters: []stage.Raster{{2000, 800}}})
	assert.NoError(t, err, "the wall as hung makes a stage")
}

func TestHangRefusesCornersInAnotherOrder(t *testing.T) {
	planned := volume(t, 1).Parts[0]
	c := cornersOf(planned.Panels[7].Face)
	// Counterclockwise, from the lower left one, from the upper right one, and crossed.
	// The first three fit: the panel would be turned over, or stand on its side.
	for _, order := range [][4]int{{1, 0, 3, 2}, {3, 2, 1, 0}, {1, 2, 3, 0}, {0, 2, 1, 3}} {
		_, _, err := stage.Hang(planned, []stage.Survey{{Panel: 7, Corners: [4]r3.Vec{c[order[0]], c[order[1]], c[order[2]], c[order[3]]}}})
		assert.ErrorContains(t, err, "clockwise from the upper left one", "%v", order)
	}
	_, _, err := stage.Hang(planned, []stage.Survey{{Panel: 40}})
	assert.ErrorContains(t, err, "panel of survey 0 40: must be at least 0 and at most 39")
	_, _, err = stage.Hang(planned, []stage.Survey{{Panel: 3, Corners: cornersOf(planned.Panels[3].Face)}, {Panel: 3, Corners: cornersOf(planned.Panels[3].Face)}})
	assert.ErrorContains(t, err, "twice")
}

// A wall 4 m away hangs 3 mm to the right of where it was planned, then 2 mm too
// high, then 10 mm too near; the camera has 2000 photosites to a slope of 1.
func TestShiftByHand(t *testing.T) {
	spec := wall.Spec{PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 4, Rows: 2, Position: r3.Vec{Z: -4}}
	hang := func(by r3.Vec) stage.Stage {
		spec := spec
		spec.Position = r3.Add(spec.Position, by)
		return must[stage.Stage](t)(stage.New(stage.Spec{
			Parts: []stage.Part{must[stage.Part](t)(stage.FromWall("wall", spec, stage.Place{}, 0))}, Rasters: []stage.Raster{{400, 200}},
		}))
	}
	v := must[stage.View](t)(hang(r3.Vec{}).View(r3.Vec{}, 0))
	c := newPinhole(0, 0, 0, 2000, 1900, 900)
	for _, tc := range []struct {
		by     r3.Vec
		x, y   float64
		dx, dy float64
	}{
		{r3.Vec{X: 3e-3}, 200, 100, 1.5, 0},
		{r3.Vec{X: 3e-3}, 290, 130, 1.5, 0}, // anywhere on a wall square on
		{r3.Vec{Y: 2e-3}, 200, 100, 0, -1},
		{r3.Vec{Z: 10e-3}, 280, 100, 2000 * 0.8 * (1/3.99 - 1/4.0), 0},
	} {
		got, why := v.Shift(hang(tc.by), c, tc.x, tc.y)
		require.Equal(t, stage.Seen, why)
		ref.Near(t, "W-ST-SHIFT", got.X, tc.dx, tc)
		ref.Near(t, "W-ST-SHIFT", got.Y, tc.dy, tc)
	}
	_, why := v.Shift(hang(r3.Vec{}), c, 5, 100)
	assert.Equal(t, stage.OutsidePicture, why)
	_, why = v.Shift(hang(r3.Vec{}), nil, 200, 100)
	assert.Equal(t, stage.OutsidePicture, why)
	_, why = v.Shift(hang(r3.Vec{Z: 9}), c, 200, 100)
	assert.Equal(t, stage.FromBehind, why)
}

// The picture is made for an eye 4 m in front of the middle of a wall.
func TestEyeErrorByHand(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(stage.Spec{
		Parts: []stage.Part{must[stage.Part](t)(stage.FromWall("wall", wall.Spec{
			PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 8, Rows: 4, Position: r3.Vec{Y: 2, Z: -4}}, stage.Place{}, 0))},
		Rasters: []stage.Raster{{800, 400}},
	}))
	v := must[stage.View](t)(s.View(r3.Vec{Y: 2}, 0))
	for _, tc := range []struct {
		other    r3.Vec
		distance float64
		want     float64 // degrees
	}{
		// A horizon 4 m away, from 1 m lower: arctan(1/4) too high.
		{r3.Vec{Y: 1}, math.Inf(1), math.Atan(0.25) * 180 / math.Pi},
		{r3.Vec{X: 4, Y: 2}, math.Inf(1), 45},
		{r3.Vec{X: 4, Y: 2}, 4, 0},                                           // on the wall it is right for everyone
		{r3.Vec{X: 4, Y: 2}, 4 * math.Sqrt(3), 15},                           // 45° and 30° off the axis
		{r3.Vec{X: 4, Y: 2}, 4 / math.Sqrt(3), -45 + 60},                     // in front of the wall
		{r3.Vec{Y: 2, Z: 3}, math.Inf(1), 0},                                 // along the axis nothing changes
		{r3.Vec{X: 1e-6, Y: 2}, 1e9, 180 / math.Pi * 1e-6 * (1/4.0 - 1/1e9)}, // the micrometre is not lost
	} {
		got, ok := v.EyeError(400, 200, tc.other, unit.Length(tc.distance))
		require.True(t, ok)
		ref.Near(t, "W-ST-EYE", float64(got/wall.Degree), tc.want, tc)
	}
	_, ok := v.EyeError(400, 200, r3.Vec{Y: 1}, 0)
	assert.False(t, ok)
}

func TestHangNamesAFaultOfThePlan(t *testing.T) {
	part := volume(t, 1).Parts[0]
	corners := cornersOf(part.Panels[3].Face)
	part.Panels[3].Face.LowerRight.Y = math.Inf(1)
	_, _, err := stage.Hang(part, []stage.Survey{{Panel: 3, Corners: corners}})
	assert.ErrorContains(t, err, "lower right corner of panel 3 of part arc y +Inf")
}

// Two corners stand forward and two back, so that no motion of the panel fits better.
func TestHangAcceptsATwentiethOfAPanel(t *testing.T) {
	part := volume(t, 1).Parts[0]
	twisted := func(noise float64) stage.Survey {
		s := stage.Survey{Panel: 3, Corners: cornersOf(part.Panels[3].Face)}
		c := s.Corners
		normal := r3.Unit(r3.Cross(r3.Sub(c[3], c[0]), r3.Sub(c[1], c[0])))
		for k := range c {
			s.Corners[k] = r3.Add(c[k], r3.Scale(noise*math.Sqrt(6.0/4)*float64(1-2*(k%2)), normal))
		}
		return s
	}
	_, fits, err := stage.Hang(part, []stage.Survey{twisted(0.0247)})
	require.NoError(t, err)
	ref.Near(t, "W-ST-TWIST", float64(fits[0].Noise), 0.0247)
	ref.Near(t, "W-ST-TWIST", float64(fits[0].Residual), 0.0247*math.Sqrt(1.5))
	_, _, err = stage.Hang(part, []stage.Survey{twisted(0.0253)})
	assert.ErrorContains(t, err, "at most a twentieth of the side of panel 3, 0.025 m")
}
