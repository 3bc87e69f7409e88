package orient_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/orient"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	deg      = unit.Angle(math.Pi / 180)
	rounding = 1e-15 // a few roundings of numbers up to 1
)

func radians(angles ...unit.Angle) (r []float64) {
	for _, a := range angles {
		r = append(r, float64(a))
	}
	return r
}

// Each sign, as a sentence.
func TestSigns(t *testing.T) {
	forward, up := r3.Vec{Z: -1}, r3.Vec{Y: 1}
	s := math.Sqrt2 / 2
	for _, tc := range []struct {
		sentence       string
		h, e, r        unit.Angle
		in, wantStaged r3.Vec
	}{
		{"no rotation looks along −Z", 0, 0, 0, forward, r3.Vec{Z: -1}},
		{"heading +90° looks along +X", 90 * deg, 0, 0, forward, r3.Vec{X: 1}},
		{"elevation +90° looks along +Y", 0, 90 * deg, 0, forward, r3.Vec{Y: 1}},
		{"roll +90° turns the top of the camera to the right", 0, 0, 90 * deg, up, r3.Vec{X: 1}},
		{"heading 90°, elevation 45° looks half up along +X", 90 * deg, 45 * deg, 0, forward, r3.Vec{X: s, Y: s}},
		{"heading 90°, elevation 90°, roll 90°: the top lies along +Z", 90 * deg, 90 * deg, 90 * deg, up, r3.Vec{Z: 1}},
	} {
		got := orient.FromAngles(tc.h, tc.e, tc.r).ToStage(tc.in)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(got, tc.wantStaged)), rounding, tc.sentence)
	}
}

func TestAnglesComeBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		h := unit.Angle((rng.Float64() - 0.5) * 2 * math.Pi)
		e := unit.Angle((rng.Float64() - 0.5) * math.Pi)
		r := unit.Angle((rng.Float64() - 0.5) * 2 * math.Pi)
		a := orient.FromAngles(h, e, r)
		h2, e2, r2 := a.Angles()
		tol := 4e-16 * (1/math.Cos(float64(e)) + 4) // conditioning near the zenith
		assert.InDeltaSlice(t, radians(h, e, r), radians(h2, e2, r2), tol)
		v := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		assert.InDelta(t, 0, r3.Norm(r3.Sub(a.FromStage(a.ToStage(v)), v)), 5*rounding, "there and back, lengths up to about 5")
	}
	up := orient.FromAngles(30*deg, 90*deg, 20*deg)
	h, e, r := up.Angles()
	again := orient.FromAngles(h, e, r)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(again.Up, up.Up)), rounding, "straight up")
	assert.InDelta(t, 0, r3.Norm(r3.Sub(again.Right, up.Right)), rounding, "straight up")
}

// Close to straight up and down, where rounding decides the heading, the angles
// still have the axes they came from.
func TestAxesComeBackAtTheZenith(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for k := 0.0; k < 18; k += 0.01 {
		e := unit.Angle(math.Copysign(math.Pi/2-math.Pow(10, -k), rng.Float64()-0.5))
		a := orient.FromAngles(unit.Angle(rng.NormFloat64()), e, unit.Angle(rng.NormFloat64()))
		jog := func(v r3.Vec) r3.Vec {
			return r3.Add(v, r3.Scale(1e-16, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
		}
		a = orient.Axes{Right: jog(a.Right), Up: jog(a.Up), Back: jog(a.Back)}
		b := orient.FromAngles(a.Angles())
		for i, pair := range [][2]r3.Vec{{b.Right, a.Right}, {b.Up, a.Up}, {b.Back, a.Back}} {
			assert.InDelta(t, 0, r3.Norm(r3.Sub(pair[0], pair[1])), 5e-15, "axis %d: twice the threshold of straight up, and roundings", i)
		}
	}
}
