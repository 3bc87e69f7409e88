package projection_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// shear is a Distortion of a user's own: a radial term, and one that is not
// symmetric about the axis, for image heights up to reach.
//
//	u = x (1 + k r²) + p (r² + 2x²)
//	v = y (1 + k r²) + 2 p x y
type shear struct{ k, p, reach float64 }

func (s shear) Distort(x, y float64) (u, v float64, ok bool) {
	r2 := x*x + y*y
	if !(r2 <= s.reach*s.reach) {
		return 0, 0, false
	}
	f := 1 + s.k*r2
	return x*f + s.p*(r2+2*x*x), y*f + 2*s.p*x*y, true
}

func (s shear) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	r2 := x*x + y*y
	f := 1 + s.k*r2
	return f + 2*s.k*x*x + 6*s.p*x, 2*s.k*x*y + 2*s.p*y, 2*s.k*x*y + 2*s.p*y, f + 2*s.k*y*y + 2*s.p*x, r2 <= s.reach*s.reach
}

func (s shear) Undistort(u, v float64) (x, y float64, ok bool) {
	x, y = u, v
	for range 30 {
		r2 := x*x + y*y
		f := 1 + s.k*r2
		du, dv := u-(x*f+s.p*(r2+2*x*x)), v-(y*f+2*s.p*x*y)
		ux, uy, vx, vy, _ := s.Jacobian(x, y)
		det := ux*vy - uy*vx
		dx, dy := (vy*du-uy*dv)/det, (ux*dv-vx*du)/det
		x, y = x+dx, y+dy
		if math.Abs(dx)+math.Abs(dy) <= 1e-16*(math.Abs(x)+math.Abs(y)) {
			break
		}
	}
	if r := math.Hypot(x, y); r > s.reach && r < s.reach*(1+1e-14) {
		x, y = x*(s.reach/r), y*(s.reach/r)
	}
	u2, v2, ok := s.Distort(x, y)
	return x, y, ok && math.Hypot(u2-u, v2-v) < 1e-9
}

func distorted(t testing.TB, d projection.Distortion, change func(*projection.CameraSpec)) projection.Camera {
	spec := projection.CameraSpec{Model: projection.Equidistant, Distortion: d, FocalX: 1000, FocalY: 1100, Width: 3000, Height: 2000, OffsetX: 20, OffsetY: -30,
		Pose: projection.Pose{Heading: 1, Elevation: 0.3, Roll: 0.2}}
	if change != nil {
		change(&spec)
	}
	return trial.Camera(t, spec)
}

// A distortion moves the model's position in the plane, before the focal
// lengths.
func TestDistortionActsInThePlane(t *testing.T) {
	d := shear{-0.05, 0.01, 1.6}
	c := distorted(t, d, nil)
	plain := distorted(t, nil, nil)
	rng := rand.New(rand.NewPCG(5, 5))
	for range 5000 {
		theta, phi := 1.6*rng.Float64(), 2*math.Pi*rng.Float64()
		dir := projection.Pose{Heading: 1, Elevation: 0.3, Roll: 0.2}.ToStage(r3.Vec{X: math.Sin(theta) * math.Cos(phi), Y: -math.Sin(theta) * math.Sin(phi), Z: -math.Cos(theta)})
		x0, y0, _ := plain.Project(dir)
		u, v, _ := d.Distort((x0-1520)/1000, (y0-970)/1100)
		x, y, ok := c.Project(dir)
		require.True(t, ok, "no image at %v rad", theta)
		assert.InDelta(t, 1520+1000*u, x, 1e-11, "x: roundings of 3000")
		assert.InDelta(t, 970+1100*v, y, 1e-11, "y: roundings of 3000")
		back, ok := c.Unproject(x, y)
		require.True(t, ok, "no direction at %v, %v", x, y)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(back, dir)), 2e-14, "there and back: roundings of the position")
	}
	if _, _, ok := c.Project(r3.Scale(-1, projection.Pose{Heading: 1, Elevation: 0.3}.ToStage(r3.Vec{Z: -1}))); ok {
		t.Error("an image outside the distortion's domain")
	}
	if _, ok := c.Unproject(1e6, 0); ok {
		t.Error("a direction outside the distortion's domain")
	}
}

// Limits: MaxAngle before the distortion, the image circle after it.
func TestDistortionLimits(t *testing.T) {
	d := shear{-0.05, 0.01, 1.6}
	rng := rand.New(rand.NewPCG(6, 6))
	narrow := distorted(t, d, func(s *projection.CameraSpec) { s.MaxAngle = 0.7 })
	circle := distorted(t, d, func(s *projection.CameraSpec) {
		s.Pitch, s.ImageCircle = 1e-6, unit.Length(1.2e-6*math.Sqrt(1000*1100))
	})
	seen := [2]int{}
	for range 5000 {
		x, y := 3000*rng.Float64(), 2000*rng.Float64()
		u, v := (x-1520)/1000, (y-970)/1100
		a, b, reached := d.Undistort(u, v)
		if !reached {
			a = math.Inf(1)
		}
		for i, e := range []struct {
			c      projection.Camera
			inside float64
		}{{narrow, 0.7 - math.Hypot(a, b)}, {circle, min(0.6-math.Hypot(u, v), 1.6-math.Hypot(a, b))}} {
			dir, ok := e.c.Unproject(x, y)
			margin := e.c.Margin(x, y)
			assert.True(t, ok == (e.inside >= 0) && (margin >= 0) == ok, "camera %d at (%v, %v): inside by %v, but %v with margin %v", i, x, y, e.inside, ok, margin)
			if ok {
				seen[i]++
				if _, _, ok := e.c.Project(dir); !ok {
					t.Errorf("camera %d: %v, %v does not come back", i, x, y)
				}
			}
		}
	}
	assert.True(t, seen[0] >= 1000 && seen[1] >= 500, "seen %v", seen)
	// The margin is the distance to the bent rim, as far as that is straight.
	for _, heading := range []float64{0, 40, 100, 200, 300} {
		s, co := math.Sincos(heading * math.Pi / 180)
		u, v, _ := d.Distort(0.699*co, 0.699*s)
		least := math.Inf(1)
		for i := range 20000 {
			s, co := math.Sincos(heading*math.Pi/180 + float64(i-10000)*1e-6)
			u2, v2, _ := d.Distort(0.7*co, 0.7*s)
			least = min(least, math.Hypot(u2-u, v2-v))
		}
		assert.InEpsilon(t, 1000*least, narrow.Margin(1520+1000*u, 970+1100*v), 3e-3, "margin: curvature of the rim over 1e-3")
	}
	// The field to the rim is MaxAngle on each side, and where the raster cuts it
	// off, the angle there.
	across, down, _ := narrow.FieldOfView()
	assert.InDelta(t, 1.4, float64(across), 1e-14, "across: halving")
	assert.InDelta(t, 1.4, float64(down), 1e-14, "down: halving")
	across, _, _ = distorted(t, d, func(s *projection.CameraSpec) { s.Width = 1000 }).FieldOfView()
	l, _, _ := d.Undistort(-0.52, 0)
	r, _, _ := d.Undistort(0.48, 0)
	assert.InDelta(t, float64(unit.Angle(r-l)), float64(across), 1e-14, "across a narrow raster: roundings; both lie on the axis of symmetry")
}

// Where the coefficients end the domain the margin falls to 0, no faster than the
// way goes, and nothing is seen beyond.
func TestMarginAtTheEndOfADistortion(t *testing.T) {
	const fold = 0.7027283689263065 // (2/3)·√(1/0.9): where r (1 − 0.3 r²) stops growing
	for name, d := range map[string]projection.BrownConradySpec{
		"fold":       {K1: -0.3},
		"stated end": {K1: -0.2, K2: 0.03, MaxRadius: 0.6},
		"tangential": {K1: -0.3, P1: 0.002, P2: -0.003},
	} {
		c := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: brownConrady(t, d), FocalX: 1000, FocalY: 1000, Width: 2000, Height: 2000})
		for _, way := range []float64{0, 0.5, 2, 4} {
			sin, cos := math.Sincos(way)
			const step = 0.5
			last, seen := c.Margin(1000, 1000), 0
			for s := step; s < 1200; s += step {
				m := c.Margin(1000+s*cos, 1000+s*sin)
				if m < 0 {
					if _, ok := c.Unproject(1000+s*cos, 1000+s*sin); ok || !(last < (1+1e-9)*step) {
						t.Errorf("%s: margin from %v to %v at %v px, seen %v", name, last, m, s, ok)
					}
					break
				}
				assert.True(t, math.Abs(last-m) <= (1+1e-9)*step, "%s: margin from %v to %v at %v px", name, last, m, s)
				last, seen = m, seen+1
			}
			assert.True(t, seen >= 1000, "%s: %d steps seen", name, seen)
		}
		if name == "fold" {
			for _, out := range []float64{0, 0.3, 0.6, 0.7, 0.7027, 0.702728} {
				assert.InDelta(t, min(1000*(1-out), 1000*(fold-out)), c.Margin(1000, 1000+1000*out), 1e-8, "the margin before a fold: what a root of roundings leaves")
			}
		}
	}
	_, err := projection.NewCamera(projection.CameraSpec{Model: projection.Equisolid, Distortion: short{shear{reach: 1}}, FocalX: 1, FocalY: 1, Width: 1, Height: 1})
	if err == nil || !strings.Contains(err.Error(), "largest radius above 0, not NaN") {
		t.Errorf("got %v", err)
	}
}

// Beyond the end of the distortion there is no margin, however far an edge of
// the raster is passed on the way there.
func TestMarginBeyondADistortion(t *testing.T) {
	d := brownConrady(t, projection.BrownConradySpec{K1: -0.3})
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 3000, FocalY: 3000, Width: 2000, Height: 2000})
	const fold = 3000 * 0.7027283689263065 // see TestMarginAtTheEndOfADistortion
	for x, want := range map[float64]float64{
		-500: -500, 1000 - fold + 1: -(fold - 1001),
		1000 - fold - 1: math.Inf(-1), -3000: math.Inf(-1), -1e6: math.Inf(-1), math.Inf(1): math.Inf(-1),
	} {
		if m := c.Margin(x, 1000); m != want && !(math.Abs(m-want) <= 1e-9) {
			t.Errorf("margin at %v: got %v, want %v", x, m, want)
		}
	}
}

// Nothing is lost in a square that overflows.
func TestMarginFarAway(t *testing.T) {
	for _, d := range []projection.Distortion{nil, squeeze{0.5, 0}} {
		c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, Distortion: d, FocalX: 1000, FocalY: 1000, Width: 2000, Height: 2000})
		for _, far := range []float64{1e100, 1e200, math.MaxFloat64, math.Inf(1)} {
			m := c.Margin(-far, far)
			assert.True(t, m <= -far, "%T: margin %v at %v px", d, m, far)
		}
	}
}

// squeeze shortens the way along a line at an angle of phi to the right.
type squeeze struct{ by, phi float64 }

func (s squeeze) Distort(x, y float64) (u, v float64, ok bool) {
	sin, cos := math.Sincos(s.phi)
	way := (s.by - 1) * (cos*x + sin*y)
	return x + way*cos, y + way*sin, true
}

func (s squeeze) Undistort(u, v float64) (x, y float64, ok bool) {
	return squeeze{1 / s.by, s.phi}.Distort(u, v)
}

func (s squeeze) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	ux, vx, _ = s.Distort(1, 0)
	uy, vy, _ = s.Distort(0, 1)
	return ux, uy, vx, vy, true
}

// The nearest point of a narrow rim lies between any that are tried: from the
// centre of an ellipse it is the end of the short axis.
func TestMarginOfANarrowRim(t *testing.T) {
	for _, by := range []float64{0.01, 0.05, 0.1, 0.3, 0.5, 0.9} {
		for side := by * 1000; side < by*4000; side += 5 {
			c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, MaxAngle: 1, Distortion: squeeze{by, math.Pi / 64}, FocalX: 1000, FocalY: 1000, Width: int(side), Height: int(side)})
			half := float64(int(side)) / 2
			assert.InDelta(t, min(half, 1000*by), c.Margin(half, half), 1e-9, "margin: the search's last step, squared")
		}
	}
}

// Of the two ends of the short axis the nearer one counts, whichever it is. A circle
// around a point of that axis that touches this end lies inside the ellipse.
func TestMarginOffTheMiddleOfANarrowRim(t *testing.T) {
	for _, phi := range []float64{math.Pi / 64, 1, 2, 3} {
		sin, cos := math.Sincos(phi)
		for _, by := range []float64{0.1, 0.3, 0.6} {
			c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, MaxAngle: 1, Distortion: squeeze{by, phi}, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000})
			for part := -0.95; part < 1; part += 0.1 {
				off := 1000 * by * part
				assert.InDelta(t, 1000*by-math.Abs(off), c.Margin(2000+off*cos, 2000+off*sin), 1e-9, "margin: the search's last step, squared")
			}
		}
	}
}

// within is a Distortion that changes nothing and ends at a radius, of which it tells
// only by ok = false.
type within float64

func (r within) Distort(x, y float64) (u, v float64, ok bool) {
	return x, y, math.Hypot(x, y) <= float64(r)
}
func (r within) Undistort(u, v float64) (x, y float64, ok bool) { return r.Distort(u, v) }
func (r within) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return 1, 0, 0, 1, math.Hypot(x, y) <= float64(r)
}

// Where a Distortion has no image there is no margin, whatever numbers it gives there.
func TestMarginHeedsOK(t *testing.T) {
	for _, end := range []float64{0.5, 0.9, 1.2} {
		c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, MaxAngle: 1.5, Distortion: within(end), FocalX: 1000, FocalY: 1000, Width: 2600, Height: 2600})
		for _, off := range []float64{-1250, -1000, -700, 0, 400, 800, 1100, 1290} {
			_, seen := c.Unproject(1300+off, 1300)
			assert.Equal(t, math.Abs(off) < 1000*end, seen, "%v px from the axis, the end at %v", off, end)
			want := 1300 - math.Abs(off) // to the edge of the raster
			if !seen {
				want = math.Inf(-1)
			}
			assert.Equal(t, want, c.Margin(1300+off, 1300), "%v px from the axis, the end at %v", off, end)
		}
	}
}

type short struct{ shear }

func (short) MaxRadius() float64 { return math.NaN() }

type odd struct{ zero, det float64 }

func (o odd) Distort(x, y float64) (u, v float64, ok bool)   { return x + o.zero, y, true }
func (o odd) Undistort(x, y float64) (u, v float64, ok bool) { return x - o.zero, y, true }
func (o odd) Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool) {
	return (o.det + 6) / 2, 3, 2, 2, true
}

func TestNewCameraRefusesDistortion(t *testing.T) {
	for want, d := range map[string]odd{
		"must leave (0, 0) where it is, not at (0.1, 0)":   {zero: 0.1, det: 1},
		"positive determinant at (0, 0), not -1":           {det: -1},
		"positive determinant at (0, 0), not NaN":          {det: math.NaN()},
		"inverse that leaves (0, 0) where it is, not at (": {zero: math.NaN(), det: 1},
	} {
		_, err := projection.NewCamera(projection.CameraSpec{Model: projection.Equisolid, Distortion: d, FocalX: 1, FocalY: 1, Width: 1, Height: 1})
		trial.Refuses(t, projection.ErrInvalid, err, want)
	}
	_, err := projection.NewCamera(projection.CameraSpec{Model: projection.Equisolid, Distortion: odd{det: 1}, FocalX: 1, FocalY: 1, Width: 1, Height: 1})
	assert.NoError(t, err)
}
