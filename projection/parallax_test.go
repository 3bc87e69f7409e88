package projection_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// pair is two cameras of 4000 and 3000 px/rad all over that look to the left and
// to the right, at positions.
func pair(t testing.TB, left, right r3.Vec) projection.Array {
	t.Helper()
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 4000, FocalY: 4000, Width: 20000, Height: 20000, MaxAngle: 100 * deg,
		Pose: projection.Pose{Position: left, Heading: -30 * deg}}
	a := camera(t, spec)
	spec.FocalX, spec.FocalY, spec.Pose = 3000, 3000, projection.Pose{Position: right, Heading: 30 * deg}
	return array(t, a, camera(t, spec))
}

func TestParallaxOfKnownGeometry(t *testing.T) {
	level := pair(t, r3.Vec{X: -0.16, Y: 2, Z: 5}, r3.Vec{X: 0.16, Y: 2, Z: 5})
	for _, e := range []struct{ distance, want float64 }{
		{0.1, 2.02439402290267}, {0.16, math.Pi / 2}, {1, 0.317310524372803}, {5, 0.0639781680786302}, {20, 0.0159996586797733}, {100, 0.00319999726933753}, {math.Inf(1), 0},
	} {
		p, ok := level.Parallax(0, 1, r3.Vec{Z: -7}, unit.Length(e.distance))
		back, ok2 := level.Parallax(1, 0, r3.Vec{Z: -7}, unit.Length(e.distance))
		if !ok || !ok2 || p != back {
			t.Errorf("%v m: %v, %v and, the other way, %v, %v", e.distance, p, ok, back, ok2)
		}
		ref.Near(t, "P-B1", float64(p.Angle), e.want, e.distance)
	}
	oblique := array(t, sphere(t, r3.Vec{X: 1, Y: 2, Z: 3}), sphere(t, r3.Vec{X: 1.2, Y: 2.1, Z: 3.4}))
	p, _ := oblique.Parallax(0, 1, r3.Vec{X: 1, Y: 0.5, Z: -2}, 4)
	ref.Near(t, "P-B1", float64(p.Angle), 0.09760018676053701, "oblique")
	p, _ = oblique.Parallax(0, 1, r3.Vec{X: -1, Y: 0.5, Z: 0.2}, 0.15)
	ref.Near(t, "P-B1", float64(p.Angle), 1.9856694627301434, "between the cameras")

	// Along an equidistant camera's radius the images stand f·Δθ apart. The finer
	// camera looks 30° to the left, and in the plane of its axis and the horizon
	// its own density across the radius is that of θ/sin θ.
	p, _ = level.Parallax(0, 1, r3.Vec{Z: -1}, 20)
	ref.Near(t, "P-B2", p.Pixels, 0.0159996586797733*4000*(math.Pi/6)/math.Sin(math.Pi/6))
	on := array(t,
		camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 4000, FocalY: 4000, Width: 20000, Height: 20000, MaxAngle: 100 * deg, Pose: projection.Pose{Position: r3.Vec{X: -0.16}}}),
		camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 3000, FocalY: 3000, Width: 20000, Height: 20000, MaxAngle: 100 * deg, Pose: projection.Pose{Position: r3.Vec{X: 0.16}}}))
	p, _ = on.Parallax(0, 1, r3.Vec{Z: -1}, 20)
	ref.Near(t, "P-B2", p.Pixels, 0.0159996586797733*4000, "on the axis")
}

// The parallax is the angle at the thing between the ways to both cameras, by
// vectors, wherever it is; and far away 2h sin ψ over the distance.
func TestParallaxAgainstVectors(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 12))
	vec := func() r3.Vec { return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()} }
	for range 300 {
		p, q, dir := vec(), vec(), r3.Unit(vec())
		a := array(t, sphere(t, p), sphere(t, q))
		distance := 3 * rng.ExpFloat64()
		thing := r3.Add(r3.Scale(0.5, r3.Add(p, q)), r3.Scale(distance, dir))
		u, v := r3.Sub(thing, p), r3.Sub(thing, q)
		want := math.Atan2(r3.Norm(r3.Cross(u, v)), r3.Dot(u, v))
		got, ok := a.Parallax(0, 1, r3.Scale(5, dir), unit.Length(distance))
		if !ok {
			t.Fatal("not seen")
		}
		near.Abs(t, "angle", float64(got.Angle), want, 1e-13*(1+r3.Norm(r3.Sub(p, q))/min(r3.Norm(u), r3.Norm(v))), "roundings of the thing's position")
		far, _ := a.Parallax(0, 1, dir, 1e6)
		h := r3.Norm(r3.Cross(r3.Sub(q, p), dir))
		near.Rel(t, "far away", float64(far.Angle)*1e6, h, 1e-10, "the square of 1e-6 times the cameras' distance")
		near.Rel(t, "twice as far", float64(far.Angle), 2*parallaxAt(t, a, dir, 2e6), 1e-10, "the same")
	}
}

// However two cameras with oblong pixels stand about each other, their images of a
// thing are no more than Pixels apart on either's raster; and in the worst case they
// are.
func TestParallaxPixelsAgainstProject(t *testing.T) {
	dir := r3.Unit(toward(35, 30))
	across := r3.Unit(r3.Cross(dir, r3.Vec{Y: 1}))
	up := r3.Cross(across, dir)
	for _, focal := range [][2]float64{{4000, 4000}, {3000, 4000}, {4000, 2000}} {
		worst, pixels := 0.0, 0.0
		const n = 180
		for k := range n {
			sin, cos := math.Sincos(math.Pi * float64(k) / n)
			half := r3.Scale(1e-3, r3.Add(r3.Scale(cos, across), r3.Scale(sin, up)))
			spec := projection.CameraSpec{Model: projection.Stereographic, FocalX: focal[0], FocalY: focal[1], Width: 20000, Height: 20000, Pose: projection.Pose{Position: half}}
			a := camera(t, spec)
			spec.Pose.Position = r3.Scale(-1, half)
			p, ok := array(t, a, camera(t, spec)).Parallax(0, 1, dir, 1)
			x0, y0, ok0 := a.Project(r3.Sub(dir, half))
			x1, y1, ok1 := a.Project(r3.Add(dir, half))
			if !ok || !ok0 || !ok1 {
				t.Fatal("not seen")
			}
			worst, pixels = max(worst, math.Hypot(x1-x0, y1-y0)), p.Pixels
		}
		near.Rel(t, fmt.Sprint("worst of focal lengths ", focal), worst, pixels, 3e-4, "steps of 1°, of a cosine, and the square of 2e-3 rad")
	}
}

func parallaxAt(t *testing.T, a projection.Array, dir r3.Vec, distance unit.Length) float64 {
	p, ok := a.Parallax(0, 1, dir, distance)
	if !ok {
		t.Fatal("not seen")
	}
	return float64(p.Angle)
}

func TestSeamParallaxAndClearDistance(t *testing.T) {
	a := pair(t, r3.Vec{X: -0.16}, r3.Vec{X: 0.16})
	seams := a.Seams(0)
	if len(seams) != 1 {
		t.Fatalf("got %v, want one seam", seams)
	}
	s := seams[0]
	// From −70° to 70°: the worst angle is straight ahead, the finest sampling at an
	// end, 100° off the finer camera's axis.
	ref.Near(t, "P-M1", s.From, -70*deg, "parallax")
	p, ok := a.SeamParallax(s, 5)
	if !ok {
		t.Fatal("no parallax")
	}
	ref.Near(t, "P-B3", float64(p.Angle), 0.0639781680786302)
	worst := 0.0
	for d := -70.0; d <= 70; d += 0.01 {
		here, _ := a.Parallax(0, 1, toward(d, 0), 5)
		worst = max(worst, here.Pixels)
	}
	near.Rel(t, "pixels", p.Pixels, worst, 1e-4, "the doc comment, and a scan fifty times as fine")

	// One arc-minute, one degree; at 90° the thing is on the sphere through both.
	for _, e := range []struct {
		limit unit.Angle
		want  float64
	}{{deg / 60, 1100.07895889416}, {deg, 18.3341840206895}, {90 * deg, 0.16}, {150 * deg, 0}} {
		d, ok := a.ClearDistance(s, projection.Parallax{Angle: e.limit})
		if !ok {
			t.Errorf("%v: no distance", e.limit)
		}
		if e.limit <= 90*deg {
			ref.Near(t, "P-B4", float64(d), e.want, e.limit)
		}
		// The end of the range of directions is the worst beyond 90°.
		at, _ := a.SeamParallax(s, d)
		near.Rel(t, "at the distance", float64(at.Angle), float64(e.limit), 1e-12, "the inverse in closed form")
	}
	for _, px := range []float64{0.5, 1, 8, 400} {
		d, ok := a.ClearDistance(s, projection.Parallax{Pixels: px})
		at, ok2 := a.SeamParallax(s, d)
		if !ok || !ok2 {
			t.Fatalf("%v px: %v, %v", px, d, ok)
		}
		near.Rel(t, "pixels at the distance", at.Pixels, px, 1e-12, "the inverse in closed form")
		if nearer, _ := a.SeamParallax(s, 0.99*d); nearer.Pixels <= px {
			t.Errorf("nearer than %v m there are %v px, within %v", d, nearer.Pixels, px)
		}
		both, _ := a.ClearDistance(s, projection.Parallax{Pixels: px, Angle: deg})
		if alone, _ := a.ClearDistance(s, projection.Parallax{Angle: deg}); both != max(d, alone) {
			t.Errorf("both limits: %v m, alone %v and %v", both, d, alone)
		}
	}
	// At one heading, in line with both cameras, there is no parallax beyond them.
	line := projection.Seam{A: 1, B: 0, From: 65 * deg, To: 65 * deg}
	if p, ok := pair(t, r3.Vec{}, toward(65, 0)).SeamParallax(line, 2); !ok || !(p.Angle < 1e-15) {
		t.Errorf("in line: %v, %v", p, ok)
	}
	// Two at one point.
	together := pair(t, r3.Vec{X: 3}, r3.Vec{X: 3})
	if p, ok := together.SeamParallax(s, 1e-3); !ok || p != (projection.Parallax{}) {
		t.Errorf("together: %v, %v", p, ok)
	}
	if d, ok := together.ClearDistance(s, projection.Parallax{Pixels: 1e-9}); !ok || d != 0 {
		t.Errorf("together: %v, %v", d, ok)
	}
	if d, ok := a.ClearDistance(s, projection.Parallax{Angle: 180 * deg}); !ok || d != 0 {
		t.Errorf("a limit that nothing exceeds: %v, %v", d, ok)
	}
}

func TestParallaxRefuses(t *testing.T) {
	a := pair(t, r3.Vec{X: -0.16}, r3.Vec{X: 0.16})
	nan, inf := math.NaN(), math.Inf(1)
	ahead := r3.Vec{Z: -1}
	for _, e := range []struct {
		i, j     int
		dir      r3.Vec
		distance float64
	}{
		{0, 0, ahead, 1}, {-1, 0, ahead, 1}, {0, 2, ahead, 1}, {0, 1, r3.Vec{}, 1}, {0, 1, r3.Vec{X: nan}, 1}, {0, 1, r3.Vec{X: inf}, 1},
		{0, 1, ahead, 0}, {0, 1, ahead, -1}, {0, 1, ahead, nan}, {0, 1, ahead, math.Inf(-1)},
		{0, 1, toward(100, 0), 1}, // seen by one only
	} {
		if p, ok := a.Parallax(e.i, e.j, e.dir, unit.Length(e.distance)); ok || p != (projection.Parallax{}) {
			t.Errorf("%v: got %v", e, p)
		}
	}
	s := a.Seams(0)[0]
	beside, tilted, backward, endless := s, s, s, s
	beside.From, beside.To = 100*deg, 110*deg
	tilted.Elevation = 91 * deg
	backward.From, backward.To = s.To, s.From
	endless.To = unit.Angle(inf)
	for _, bad := range []projection.Seam{{}, beside, tilted, backward, endless, {A: 0, B: 9}, {A: 0, B: 1, From: unit.Angle(nan)}} {
		p, ok := a.SeamParallax(bad, 1)
		d, ok2 := a.ClearDistance(bad, projection.Parallax{Pixels: 1})
		if ok || ok2 || d != 0 || p != (projection.Parallax{}) {
			t.Errorf("%v: got %v, %v", bad, p, d)
		}
	}
	if _, ok := a.SeamParallax(s, unit.Length(nan)); ok {
		t.Error("a distance of NaN")
	}
	for _, limit := range []projection.Parallax{{}, {Angle: -1}, {Pixels: -1, Angle: 1}, {Pixels: nan}, {Angle: unit.Angle(nan)}, {Pixels: inf}, {Angle: 5e-324}, {Pixels: 5e-324}} {
		if d, ok := a.ClearDistance(s, limit); ok || d != 0 {
			t.Errorf("limit %v: got %v", limit, d)
		}
	}
	var zero projection.Array
	if _, ok := zero.Parallax(0, 1, ahead, 1); ok {
		t.Error("the zero Array has a parallax")
	}
	// Too far apart to tell.
	far := pair(t, r3.Vec{X: -1e308}, r3.Vec{X: 1e308})
	if p, ok := far.Parallax(0, 1, ahead, 1); ok {
		t.Errorf("got %v", p)
	}
}

// FuzzClearDistance looks for a limit whose distance does not keep it.
func FuzzClearDistance(f *testing.F) {
	f.Add(0.3, 0.1, -0.2, 0.0, 0.01, 0.0)
	f.Add(1e-300, 0.0, 0.0, 1.0, 0.0, 1e-3)
	f.Add(1.0, 0.0, 0.0, 90*math.Pi/180, 3.0, 1e9)
	f.Add(0.0, 0.0, 1e6, 0.0, 1e-300, 0.0)
	f.Fuzz(func(t *testing.T, x, y, z, heading, angle, pixels float64) {
		spec := projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 5000, Height: 5000}
		one, err := projection.NewCamera(spec)
		if err != nil {
			t.Fatal(err)
		}
		spec.Pose = projection.Pose{Position: r3.Vec{X: x, Y: y, Z: z}, Heading: 1}
		two, err := projection.NewCamera(spec)
		if err != nil {
			return
		}
		a := array(t, one, two)
		s := projection.Seam{A: 0, B: 1, From: unit.Angle(heading), To: unit.Angle(heading) + 0.1}
		d, ok := a.ClearDistance(s, projection.Parallax{Angle: unit.Angle(angle), Pixels: pixels})
		if !ok {
			return
		}
		if !(d >= 0 && d <= math.MaxFloat64) {
			t.Fatalf("distance %v", d)
		}
		p, ok := a.SeamParallax(s, d*(1+1e-9)+5e-324)
		if !ok || (angle > 0 && float64(p.Angle) > angle) || (pixels > 0 && p.Pixels > pixels) {
			t.Errorf("at %v m: %v, %v; limits %v, %v px", d, p, ok, angle, pixels)
		}
	})
}
