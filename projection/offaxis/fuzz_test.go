package offaxis_test

import (
	"math"
	"testing"

	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/offaxis"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// FuzzFrustum looks for a panic, an answer that is not finite, and a window whose
// corners do not come back.
func FuzzFrustum(f *testing.F) {
	f.Add(-5.0, 0.0, 0.0, 5.0, 0.0, 0.0, -5.0, 4.0, 0.0, 2.0, 1.5, 6.0, 0.1, 100.0, uint8(1), 0.1)
	f.Add(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.5, -3.0, 0.0, 1e-9, math.Inf(1), uint8(4), 1.0)
	f.Add(1e9, 1e9, 1e9, 1e9, 1e9, 1e9, math.NaN(), 0.0, 0.0, 0.0, 1e300, 0.0, 1e-320, 1e308, uint8(9), -1.0)
	f.Fuzz(func(t *testing.T, ax, ay, az, bx, by, bz, cx, cy, cz, ex, ey, ez, n, far float64, depth uint8, extra float64) {
		w := offaxis.Window{LowerLeft: r3.Vec{X: ax, Y: ay, Z: az}, LowerRight: r3.Vec{X: bx, Y: by, Z: bz}, UpperLeft: r3.Vec{X: cx, Y: cy, Z: cz}}
		eye := r3.Vec{X: ex, Y: ey, Z: ez}
		fr, err := offaxis.NewFrustum(w, eye, unit.Length(n), unit.Length(far))
		if err != nil {
			trial.Refuses(t, offaxis.ErrInvalid, err)
			assert.True(t, fr == (offaxis.Frustum{}), "%v, %v", fr, err)
			return
		}
		fr.Overscan(extra)
		fr.OverscanAngle(unit.Angle(extra))
		fr.FilmBack(unit.Length(extra))
		d := offaxis.ClipDepth(depth)
		m, ok := fr.StageToClip(d)
		if !ok {
			return
		}
		for _, row := range m {
			assert.True(t, trial.Finite(row[:]...), "matrix %v", m)
		}
		if g, err := offaxis.FrustumFromMatrix(m, d); err == nil && !trial.Finite(float64(g.Left), float64(g.Top), float64(g.Near), float64(g.Pose.Heading), g.Pose.Position.X) {
			t.Errorf("%v of %v", g, m)
		}
		size := r3.Norm(eye) + r3.Norm(w.LowerLeft) + r3.Norm(w.LowerRight) + r3.Norm(w.UpperLeft)
		distance := -fr.Pose.FromStage(r3.Sub(w.LowerLeft, eye)).Z
		back, ok := fr.Window(unit.Length(distance))
		require.True(t, ok, "no window at %v of %+v", distance, fr)
		// The sides stand square to 1e-6, and so do the corners.
		if e := r3.Norm(r3.Sub(back.LowerLeft, w.LowerLeft)) + r3.Norm(r3.Sub(back.LowerRight, w.LowerRight)) + r3.Norm(r3.Sub(back.UpperLeft, w.UpperLeft)); !(e <= 1e-5*size) {
			t.Errorf("%v came back as %v", w, back)
		}
	})
}

func FuzzFrustumFromMatrix(f *testing.F) {
	f.Add(1.2, 0.0, 0.1, 0.0, 0.0, 3.0, 0.2, 0.0, 0.0, 0.0, -1.002, -0.2002, 0.0, 0.0, -1.0, 0.0, uint8(1))
	f.Add(0.0, 0.0, 1.2, 4.0, 0.0, 3.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.1, 1.0, 0.0, 0.0, -7.0, uint8(4))
	f.Add(math.NaN(), 1e300, 1e-300, math.Inf(1), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, uint8(0))
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, h, i, j, k, l, m, n, o, p, q float64, depth uint8) {
		mat := offaxis.Matrix{{a, b, c, d}, {e, g, h, i}, {j, k, l, m}, {n, o, p, q}}
		fr, err := offaxis.FrustumFromMatrix(mat, offaxis.ClipDepth(depth))
		if err != nil {
			trial.Refuses(t, offaxis.ErrInvalid, err)
			assert.True(t, fr == (offaxis.Frustum{}), "%v, %v", fr, err)
			return
		}
		assert.True(t, fr.Near > 0 && fr.Near < fr.Far && fr.Left < fr.Right && fr.Bottom < fr.Top, "%+v", fr)
		if v, ok := fr.StageToEye(); ok && !trial.Finite(v[0][3], v[1][3], v[2][3]) {
			t.Errorf("%v", v)
		}
	})
}

func FuzzLookup(f *testing.F) {
	f.Add(uint8(2), 30.0, 0.0, 1.0, 2.0, 3.0, 0.1, -0.2, -1.0)
	f.Add(uint8(3), 1e15, 0.0, 1e17, 1e18, -1e14, 1e-300, 1.0, 1e-320)
	f.Add(uint8(4), 1e-3, 1e-9, 0.0, 0.0, 9.99e-4, 1.0, -1e-12, 0.0)
	f.Add(uint8(1), 0.0, 0.0, math.NaN(), 0.0, 0.0, math.Inf(1), 0.0, 0.0)
	f.Fuzz(func(t *testing.T, shape uint8, radius, ground, ex, ey, ez, dx, dy, dz float64) {
		s, err := offaxis.NewSurround(offaxis.SurroundSpec{Shape: offaxis.Shape(shape), Radius: unit.Length(radius), Ground: unit.Length(ground)})
		if err != nil {
			assert.ErrorIs(t, err, offaxis.ErrInvalid)
			return
		}
		d, ok := s.Lookup(r3.Vec{X: ex, Y: ey, Z: ez}, r3.Vec{X: dx, Y: dy, Z: dz})
		assert.True(t, ok == (math.Abs(r3.Norm(d)-1) < 1e-14), "%v, %v", d, ok)
	})
}
