package stage_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestSightIsThatOfEveryFaceInTurn(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(7, 1))
	wrong, worst, counts := 0, 0.0, map[stage.Sight]int{}
	for range 20 {
		eye := r3.Add(r3.Vec{Y: 1, Z: -2}, random(rng, 1))
		for raster, r := range spec.Rasters {
			v, err := s.View(eye, raster)
			if err != nil {
				continue // behind all of them
			}
			for range 200 {
				x, y := rng.Float64()*float64(r.Width), rng.Float64()*float64(r.Height)
				want, dir := stage.OffPanels, r3.Vec{}
				for i, part := range spec.Parts {
					for j, p := range part.Panels {
						a, b := (x-float64(p.At.X))/float64(p.PixelsX), (y-float64(p.At.Y))/float64(p.PixelsY)
						if p.At.Raster != raster || a < 0 || a > 1 || b < 0 || b > 1 {
							continue
						}
						u, w := r3.Sub(p.Face.LowerRight, p.Face.LowerLeft), r3.Sub(p.Face.LowerLeft, p.Face.UpperLeft)
						dir = r3.Sub(r3.Add(p.Face.UpperLeft, r3.Add(r3.Scale(a, u), r3.Scale(b, w))), eye)
						first, _ := bruteForce(spec, eye, dir, 0, math.Inf(1))
						switch {
						case r3.Dot(dir, r3.Cross(w, u)) > 0:
							want = stage.FromBehind
						case first.blocker >= 0 && first.t < 1-1e-9:
							want = stage.HiddenByBlocker
						case first.part == i && first.panel == j:
							want = stage.Seen
						default:
							want = stage.HiddenByPanel
						}
					}
				}
				got := v.Sight(x, y)
				counts[got]++
				d, ok := v.Unproject(x, y)
				if got != want || ok != (want == stage.Seen) {
					wrong++
				} else if ok {
					worst = max(worst, r3.Norm(r3.Sub(d, r3.Unit(dir))))
					bx, by, back := v.Project(d)
					worst = max(worst, 1e-4*math.Hypot(bx-x, by-y))
					assert.True(t, back)
				}
			}
		}
	}
	ref.Equal(t, "W-ST-SIGHT", wrong, 0)
	ref.Within(t, "W-ST-DIR", worst)
	for _, what := range []stage.Sight{stage.Seen, stage.OffPanels, stage.FromBehind, stage.HiddenByPanel, stage.HiddenByBlocker} {
		assert.Greater(t, counts[what], 20, "positions that are %v", what)
	}
}

// Two flat walls side by side in one plane, panel on panel: their joint is no
// break. A third one stands behind them by a millimetre, and one
// floats in the raster alone.
func TestBreaksByHand(t *testing.T) {
	flat := func(x, z float64, at stage.Place, columns, rows int) stage.Part {
		return must[stage.Part](t)(stage.FromWall("flat", wall.Spec{
			PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 10, PanelPixelsY: 10, Columns: columns, Rows: rows,
			Position: r3.Vec{X: x, Y: float64(rows) / 2, Z: z},
		}, at, 0))
	}
	s := must[stage.Stage](t)(stage.New(stage.Spec{
		Parts: []stage.Part{
			flat(0, 0, stage.Place{}, 2, 2), flat(2, 0, stage.Place{X: 20}, 2, 2),
			flat(4, -1e-3, stage.Place{X: 40}, 2, 2), flat(0, 5, stage.Place{X: 25, Y: 30}, 1, 1),
		},
		Rasters: []stage.Raster{{60, 50}, {10, 10}},
	}))
	v := must[stage.View](t)(s.View(r3.Vec{Z: 9}, 0))
	// A joint of the raster belongs to the right one, wherever it hangs.
	p, _, _ := s.Point(0, 40, 5)
	ref.Equal(t, "W-ST-JOINT", p, r3.Vec{X: 3, Y: 1.5, Z: -1e-3})
	p, _, _ = s.Point(0, 39.5, 5)
	ref.Equal(t, "W-ST-JOINT", p.Z, 0)
	xs, ys := v.Breaks()
	ref.Equal(t, "W-ST-BREAK", cmp.Diff([][]float64{{25, 35, 40}, {20, 30, 40}}, [][]float64{xs, ys}), "")
	w, h := v.Size()
	assert.Equal(t, [2]int{60, 50}, [2]int{w, h})
	_, err := s.View(r3.Vec{Z: 9}, 1)
	assert.ErrorContains(t, err, "raster 1: must feed a panel")
	_, err = s.View(r3.Vec{Z: -9}, 0) // the nearest plane is that a millimetre behind the first
	assert.EqualError(t, err, "stage: eye (0, 0, -9) m: must be in front of the lit side of a panel of raster 0, but is 8.999 m behind the nearest plane of one")

	// An arc breaks at every joint of two columns, and nowhere else.
	arc := volume(t, 1)
	v = must[stage.View](t)(must[stage.Stage](t)(stage.New(arc)).View(r3.Vec{Y: 1}, 0))
	xs, ys = v.Breaks()
	ref.Equal(t, "W-ST-BREAK", cmp.Diff([][]float64{{200, 400, 600, 800, 1000, 1200, 1400, 1600, 1800}, nil}, [][]float64{xs, ys}), "")
}

func TestEmptyValuesSeeNothing(t *testing.T) {
	var v stage.View
	w, h := v.Size()
	xs, ys := v.Breaks()
	assert.Zero(t, w+h+len(xs)+len(ys))
	assert.Equal(t, stage.OffPanels, v.Sight(0, 0))
	_, _, ok := v.Project(r3.Vec{Z: -1})
	assert.False(t, ok)
	_, err := stage.Stage{}.View(r3.Vec{}, 0)
	assert.ErrorContains(t, err, "zero value")
	_, err = v.Mask(newPinhole(0, 0, 0, 100, 100, 100), 2, 2)
	assert.EqualError(t, err, "stage: view zero value: must come from Stage.View")
	_, err = v.Margin(newPinhole(0, 0, 0, 100, 100, 100), stage.Motion{}, 0.1, 2, 2)
	assert.EqualError(t, err, "stage: view zero value: must come from Stage.View")
}
