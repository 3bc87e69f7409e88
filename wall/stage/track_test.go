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

func TestMaskIsThatOfEveryFaceInTurn(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	eye := r3.Vec{Y: 1.2, Z: 0.5}
	c := newPinhole(-10*wall.Degree, 5*wall.Degree, 8*wall.Degree, 700, 900, 500)
	v := must[stage.View](t)(s.View(eye, 0))
	mask, err := v.Mask(c, 50, 20)
	require.NoError(t, err)
	// The raster has panels of 200 px from its corner, and cells of 40 px.
	wrong, seen := 0, 0
	for i, m := range mask {
		x, y := 40*(float64(i%50)+0.5), 40*(float64(i/50)+0.5)
		f := spec.Parts[0].Panels[int(y/200)*10+int(x/200)].Face
		a, b := math.Mod(x, 200)/200, math.Mod(y, 200)/200
		p := r3.Add(f.UpperLeft, r3.Add(r3.Scale(a, r3.Sub(f.LowerRight, f.LowerLeft)), r3.Scale(b, r3.Sub(f.LowerLeft, f.UpperLeft))))
		first, _ := bruteForce(spec, eye, r3.Sub(p, eye), 0, math.Inf(1))
		_, _, in := c.Project(r3.Sub(p, eye))
		if m != (in && first.lit && first.t > 1-1e-9) {
			wrong++
		}
		if m {
			seen++
		}
	}
	ref.Equal(t, "W-ST-MASK", wrong, 0)
	assert.InDelta(t, 500, seen, 300, "some cells are seen, some are not")
	_, err = v.Mask(nil, 50, 0)
	assert.ErrorContains(t, err, "camera: must be set")
	assert.ErrorContains(t, err, "rows 0")
}

// A wall of 1 cm pixels, square on and 4 m away, seen 45° wide: the right edge of
// the frame is arctan ½ off the axis.
func TestMarginByHand(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(stage.Spec{
		Parts: []stage.Part{must[stage.Part](t)(stage.FromWall("wall", wall.Spec{
			PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 8, Rows: 6, Position: r3.Vec{Z: -4}}, stage.Place{}, 0))},
		Rasters: []stage.Raster{{800, 600}},
	}))
	v := must[stage.View](t)(s.View(r3.Vec{}, 0))
	c := newPinhole(0, 0, 0, 1000, 1000, 600)
	half, up := math.Atan(0.5), math.Atan(0.3)
	a, ten := 3*math.Pi/180, 10*math.Pi/180
	for name, tc := range map[string]struct {
		m    stage.Motion
		x, y float64 // wall pixels
		turn float64
	}{
		"pan":    {stage.Motion{Pan: 30 * wall.Degree}, 400 * (math.Tan(half+a) - 0.5), 400 * 0.3 * (math.Cos(half)/math.Cos(half+a) - 1), a},
		"tilt":   {stage.Motion{Tilt: -30 * wall.Degree}, 400 * 0.5 * (math.Cos(up)/math.Cos(up+a) - 1), 400 * (math.Tan(up+a) - 0.3), a},
		"roll":   {stage.Motion{Roll: 30 * wall.Degree}, 400 * (math.Abs(0.5*math.Cos(a)-0.5) + 0.3*math.Sin(a)), 400 * (math.Abs(0.3*math.Cos(a)-0.3) + 0.5*math.Sin(a)), 0},
		"travel": {stage.Motion{Travel: r3.Vec{X: 2, Y: -0.5}}, 20, 5, 0},
		"dolly":  {stage.Motion{Travel: r3.Vec{Z: -2}}, 10, 6, 0},
		"still":  {stage.Motion{}, 0, 0, 0},
	} {
		got, err := v.Margin(c, tc.m, 0.1, 21, 13)
		require.NoError(t, err, name)
		ref.Near(t, "W-ST-MARGIN", got.X, tc.x, name)
		ref.Near(t, "W-ST-MARGIN", got.Y, tc.y, name)
		if tc.turn > 0 {
			assert.InDelta(t, tc.turn, float64(got.Turn), 1e-9, "%s: the middle of the frame turns by the whole angle", name)
		}
	}
	got, err := v.Margin(c, stage.Motion{Pan: 30 * wall.Degree}, 0.1, 2, 2) // the corners alone
	require.NoError(t, err)
	ref.Near(t, "W-ST-MARGIN", got.X, 400*(math.Tan(half+a)-0.5))
	// Turned to one side, the camera needs most at that edge of its frame.
	for _, side := range []unit.Angle{10 * wall.Degree, -10 * wall.Degree} {
		got, err := v.Margin(newPinhole(side, 0, 0, 1000, 1000, 600), stage.Motion{Pan: 30 * wall.Degree}, 0.1, 21, 13)
		require.NoError(t, err)
		ref.Near(t, "W-ST-MARGIN", got.X, 400*(math.Tan(half+ten+a)-math.Tan(half+ten)), side)
		got, err = v.Margin(newPinhole(0, side, 0, 1000, 1000, 600), stage.Motion{Tilt: 30 * wall.Degree}, 0.1, 21, 13)
		require.NoError(t, err)
		ref.Near(t, "W-ST-MARGIN", got.Y, 400*(math.Tan(up+ten+a)-math.Tan(up+ten)), side)
	}
	_, err = v.Margin(c, stage.Motion{Pan: 80 * wall.Degree}, 1, 3, 3)
	assert.ErrorContains(t, err, "must leave the camera in front of the planes that it sees")
	_, err = v.Margin(c, stage.Motion{Pan: 300}, -1, 1, 3)
	assert.ErrorContains(t, err, "latency -1 s")
	assert.ErrorContains(t, err, "is 300*Degree meant?")
}

// A camera jerks at random by less than its motion allows: no ray of its frame meets
// the wall farther away than the margin.
func TestMarginHoldsForRandomMotion(t *testing.T) {
	spec := volume(t, 1)
	spec.Blockers, spec.Parts = nil, spec.Parts[:1]
	s := must[stage.Stage](t)(stage.New(spec))
	eye := r3.Vec{Y: 1, Z: -1}
	v := must[stage.View](t)(s.View(eye, 0))
	m := stage.Motion{Pan: 20 * wall.Degree, Tilt: 10 * wall.Degree, Roll: 5 * wall.Degree, Travel: r3.Vec{X: 0.5, Z: 0.5}}
	c := newPinhole(5*wall.Degree, 0, 0, 900, 800, 300)
	margin, err := v.Margin(c, m, 0.1, 33, 13)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(13, 1))
	within := func(a unit.Angle) unit.Angle { return unit.Angle(0.1*(2*rng.Float64()-1)) * a }
	var x, y float64
	for range 20000 {
		px, py := 800*rng.Float64(), 300*rng.Float64()
		a, _ := c.Unproject(px, py)
		moved := newPinhole(5*wall.Degree+within(m.Pan), within(m.Tilt), within(m.Roll), 900, 800, 300)
		b, _ := moved.Unproject(px, py)
		ha, okA := s.Hit(eye, a)
		hb, okB := s.Hit(r3.Add(eye, r3.Scale(0.1*(2*rng.Float64()-1), m.Travel)), b)
		if okA && okB && ha.Surface == stage.LitFace && ha.Panel == hb.Panel {
			x, y = max(x, math.Abs(ha.X-hb.X)), max(y, math.Abs(ha.Y-hb.Y))
		}
	}
	assert.LessOrEqual(t, x, margin.X)
	assert.LessOrEqual(t, y, margin.Y)
	assert.Greater(t, x, 0.6*margin.X, "the margin is not wasteful")
	assert.Greater(t, y, 0.5*margin.Y, "the margin is not wasteful")
}

// A whole turn brings every ray back to where it was, but on the way the picture was
// elsewhere.
func TestMarginRefusesTurnsAround(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(volume(t, 1)))
	v := must[stage.View](t)(s.View(r3.Vec{Y: 1}, 0))
	c := newPinhole(0, 0, 0, 700, 800, 600)
	for want, m := range map[string]stage.Motion{
		"pan during the latency 360°":   {Pan: 360 * wall.Degree},
		"tilt during the latency -100°": {Tilt: -100 * wall.Degree},
		"roll during the latency 180°":  {Roll: 180 * wall.Degree},
	} {
		_, err := v.Margin(c, m, 1, 3, 3)
		assert.ErrorIs(t, err, stage.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
	got, err := v.Margin(c, stage.Motion{Roll: 90 * wall.Degree}, 1, 17, 9)
	require.NoError(t, err)
	assert.Positive(t, got.X)
}
