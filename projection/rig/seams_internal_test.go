package rig

import (
	"math"
	"testing"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// shadowed is a camera that a ball hides a circle of a few hundredths of a degree from,
// one that sees behind the ball, and the edge of the shadow as their border.
func shadowed(t *testing.T, radius float64) (*territories, border, func(turn float64) r3.Vec) {
	t.Helper()
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 500, FocalY: 500, Width: 5000, Height: 5000}
	near, err := projection.NewCamera(spec)
	require.NoError(t, err)
	spec.Pose.Position = r3.Vec{X: 100}
	far, err := projection.NewCamera(spec)
	require.NoError(t, err)
	r, err := New(Spec{Cameras: []projection.Camera{near, far}, Balls: []Ball{{Centre: r3.Vec{Z: -2}, Radius: unit.Length(2 * math.Sin(radius))}}})
	require.NoError(t, err)
	return newTerritories(r), border{0, 1, cutA}, func(turn float64) r3.Vec {
		s, c := math.Sincos(turn)
		return r3.Vec{X: math.Sin(radius) * c, Y: math.Sin(radius) * s, Z: -math.Cos(radius)}
	}
}

// A circle crosses the line through the middle of a chord at right angles twice. The
// point to add to a seam is at the nearer crossing, on the circle, whichever way the
// chord is gone.
func TestMiddleOfAnArcIsTheFirstCrossing(t *testing.T) {
	const radius = 8 * seamTolerance
	tr, b, at := shadowed(t, radius)
	for turn := 0.0; turn < 6; turn += 0.7 {
		for _, way := range []float64{2, -2} { // rad around the circle, more than a quarter turn
			m, off, ok := tr.middle(b, at(turn), at(turn+way))
			require.True(t, ok)
			require.InDelta(t, radius*(1-math.Cos(way/2)), off, 1e-9, "the height of the arc; the plane stands for the sphere")
			require.InDelta(t, 0, r3.Norm(r3.Sub(m, at(turn+way/2))), 1e-9, "as documented")
		}
	}
}

// Seams promises that points are within 1e-9 rad of the curve, and arcs within 0.01°.
func TestRefinedArcsAreNearTheCurve(t *testing.T) {
	for _, radius := range []float64{3 * seamTolerance, 30 * seamTolerance, 300 * seamTolerance} {
		tr, b, at := shadowed(t, radius)
		c := tr.refine(curve{border: b, points: []r3.Vec{at(0), at(2), at(4)}, closed: true})
		for i, p := range c.points {
			q := c.points[(i+1)%len(c.points)]
			require.InDelta(t, radius, sphere.Angle(p, r3.Vec{Z: -1}), 1e-9, "point %d", i)
			require.InDelta(t, radius, sphere.Angle(r3.Add(p, q), r3.Vec{Z: -1}), seamTolerance, "arc %d", i)
		}
	}
}

// A curve is followed onwards, not back, even where it bends within a step.
func TestStepLeadsOn(t *testing.T) {
	const radius = 20 * seamTolerance
	tr, b, at := shadowed(t, radius)
	for turn := 0.0; turn < 6; turn += 0.7 {
		for _, way := range []float64{0.3, -0.3} {
			p := at(turn)
			for _, step := range []float64{0.01, 0.3, 0.9} { // rad around the circle
				r := sphere.Angle(at(0), at(step))
				next, ok := tr.step(b, p, r3.Sub(at(turn-way), p), r)
				require.True(t, ok)
				require.InDelta(t, radius, sphere.Angle(next, r3.Vec{Z: -1}), 1e-9, "as documented")
				require.InDelta(t, 0, r3.Norm(r3.Sub(next, at(turn+math.Copysign(step, way)))), 0.02*r, "halving goes along chords of 15° of the circle of the step")
			}
		}
	}
}

// A curve that is followed around a circle takes in the piece that it meets, once, and
// closes where it began.
func TestCurvesClose(t *testing.T) {
	const radius = 20 * seamTolerance
	tr, b, at := shadowed(t, radius)
	for turn := 0.0; turn < 6; turn += 0.3 {
		pieces := []curve{{border: b, points: []r3.Vec{at(turn)}}, {border: b, points: []r3.Vec{at(turn + 2), at(turn + 2.3), at(turn + 2.6)}}}
		c, gone := pieces[0], []bool{true, false}
		tr.extend(&c, pieces, []int{0, 1}, gone)
		require.True(t, c.closed && gone[1], "%v", turn)
		length := 0.0
		for i, p := range c.points {
			length += sphere.Angle(p, c.points[(i+1)%len(c.points)])
		}
		require.InEpsilon(t, 2*math.Pi*radius, length, 0.02, "%v: chords of half a radius at most", turn)
	}
}
