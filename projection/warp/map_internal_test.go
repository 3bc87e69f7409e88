package warp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestJumpsAreTold where a step is more than 1 px longer than twice that on the
// other side: derivatives, and positions between pixels, keep to their own side.
func TestJumpsAreTold(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		left, right float64 // steps along x, NaN where there is none
		want        float64 // derivative
		toRight     float64 // the step that leads right
		joined      bool
		ok          bool
	}{
		{1, 2.9, 1.95, 2.9, true, true},
		// At 3 itself rounding decides.
		{1, 3 - 1e-9, 2 - 0.5e-9, 3 - 1e-9, true, true},
		{1, 3 + 1e-9, 1, 1, false, true},
		{1, 5.9, 1, 1, false, true},
		{2.9, 1, 1.95, 1, true, true},
		{3.1, 1, 1, 1, true, true},
		{0, 0.9, 0.45, 0.9, true, true},
		{0, 1.1, 0, 0, false, true},
		{nan, 2, 2, 2, true, true},
		{2, nan, 2, 2, false, true},
		{nan, nan, 0, 0, false, false},
	} {
		x, y, ok := joinPair(tc.left*0.6, tc.left*0.8, tc.right*0.6, tc.right*0.8)
		if ok != tc.ok || math.Abs(x-0.6*tc.want) > 1e-12 || math.Abs(y-0.8*tc.want) > 1e-12 {
			t.Errorf("derivative of steps %v, %v: (%v, %v, %v), want %v, %v", tc.left, tc.right, x, y, ok, tc.want, tc.ok)
		}
		step := func(di, dj int) (dx, dy float64) {
			if di < 0 {
				return -tc.left * 0.6, -tc.left * 0.8
			}
			return tc.right * 0.6, tc.right * 0.8
		}
		dx, dy, joined := side(step, 1, 0)
		if joined != tc.joined || math.Abs(dx-0.6*tc.toRight) > 1e-12 || math.Abs(dy-0.8*tc.toRight) > 1e-12 {
			t.Errorf("step right of %v, %v: (%v, %v, %v), want %v, %v", tc.left, tc.right, dx, dy, joined, tc.toRight, tc.joined)
		}
	}
}

// TestOneDirectionStandsForBoth: a pixel with neighbours on one axis only is taken
// to be turned and scaled evenly.
func TestOneDirectionStandsForBoth(t *testing.T) {
	nan := math.NaN()
	turned := Jacobian{XX: 3, XY: -4, YX: 4, YY: 3}
	for _, axis := range []string{"across", "down", "none"} {
		got := joinSteps(1, func(dx, dy float64) (ax, ay float64) {
			if axis == "across" && dy == 0 || axis == "down" && dx == 0 {
				return turned.XX*dx + turned.XY*dy, turned.YX*dx + turned.YY*dy
			}
			return nan, nan
		})
		want := turned
		if axis == "none" {
			want = Jacobian{}
		}
		assert.Equal(t, want, got, axis)
	}
}

// TestErrorBoundIsNear the largest error, where cubics along u and v are all there is:
// a larger bound would store cells for nothing.
func TestErrorBoundIsNear(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 34))
	for range 200 {
		ax, ay, bx, by := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		miss := func(u, v float64) (x, y float64) {
			p, q := u-u*u*u, v-v*v*v
			return ax*p + bx*q, ay*p + by*q
		}
		var e [len(checkAt)]struct{ x, y float64 }
		for i, c := range checkAt {
			e[i].x, e[i].y = miss(c.u, c.v)
		}
		worst := 0.0
		for k := range 101 * 101 {
			worst = max(worst, math.Hypot(miss(float64(k%101)/50-1, float64(k/101)/50-1)))
		}
		assert.InEpsilon(t, worst, errorBound(&e), 2e-3, "the grid is within 0.01 of the place of the largest error")
	}
}

// TestErrorBound holds it against the error at every pixel of a cell, for cubics,
// a jump of the second derivative in any place and direction, and both together.
// Of a jump that only nips a corner the error may be underestimated, by 1 % of
// what a jump as large makes at worst.
func TestErrorBound(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	const n = cellSide
	for k := range 6000 {
		type bend struct{ cos, sin, at, x, y float64 }
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		b := bend{cos, sin, 2.8*rng.Float64() - 1.4, rng.NormFloat64(), rng.NormFloat64()}
		var cubic [8]float64
		for i := range cubic {
			cubic[i] = rng.NormFloat64()
		}
		switch k % 3 {
		case 0:
			b.x, b.y = 0, 0
		case 1:
			cubic = [8]float64{}
		}
		f := func(u, v float64) (x, y float64) {
			x = cubic[0]*u*u*u + cubic[1]*v*v*v + 0.1*(cubic[2]*u*u*u*v+cubic[3]*u*v*v*v)
			y = cubic[4]*u*u*u + cubic[5]*v*v*v + 0.1*(cubic[6]*u*u*u*v+cubic[7]*u*v*v*v)
			d := max(b.cos*u+b.sin*v-b.at, 0)
			return x + b.x*d*d, y + b.y*d*d
		}
		var px, py [9]float64
		for i := range px {
			px[i], py[i] = f(float64(i%3-1), float64(i/3-1))
		}
		bx, by := newBiquadratic(px), newBiquadratic(py)
		miss := func(u, v float64) (x, y float64) {
			x, y = f(u, v)
			return bx.at(u, v) - x, by.at(u, v) - y
		}
		var e [len(checkAt)]struct{ x, y float64 }
		for i, c := range checkAt {
			e[i].x, e[i].y = miss(c.u, c.v)
		}
		bound, worst := errorBound(&e), 0.0
		for j := range n {
			for i := range n {
				const half = (n - 1) / 2.0
				worst = max(worst, math.Hypot(miss(float64(i)/half-1, float64(j)/half-1)))
			}
		}
		if worst > bound+0.01*0.15*math.Hypot(b.x, b.y) {
			t.Errorf("%d: error %.4f, bound %.4f; bend %+v, cubic %v", k, worst, bound, b, cubic)
		}
		if k%3 == 0 && bound > 3*worst {
			t.Errorf("%d: a cubic with an error of %.4f is bounded by %.4f", k, worst, bound)
		}
	}
}
