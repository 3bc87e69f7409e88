package wall_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// pinhole is a rectilinear camera with its focal length in photosites.
type pinhole struct {
	axes  orient.Axes
	focal float64
}

func (p pinhole) Project(dir r3.Vec) (x, y float64, ok bool) {
	d := p.axes.FromStage(dir)
	return 2000 - p.focal*d.X/d.Z, 1000 + p.focal*d.Y/d.Z, d.Z < 0
}

// projector is a camera made of a function.
type projector func(dir r3.Vec) (x, y float64, ok bool)

func (p projector) Project(dir r3.Vec) (x, y float64, ok bool) { return p(dir) }

// equidistant is a fisheye, r = f θ, that looks along −Z.
func equidistant(focal float64) projector {
	return func(d r3.Vec) (x, y float64, ok bool) {
		off := math.Hypot(d.X, d.Y)
		k := focal
		if off > 0 {
			k = focal * math.Atan2(off, -d.Z) / off
		}
		return k * d.X, -k * d.Y, true
	}
}

// A pinhole of 35 mm with photosites of 5 µm, a pixel of 10 mm 4 m away and
// square on: 10 · 35/(4000 · 0.005) = 17.5 photosites, in the middle and in
// every corner, for the camera's stretch off its axis makes good what distance
// and slant take away.
func TestImageGridOnAWallSquareOn(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	camera := pinhole{orient.FromAngles(0, 0, 0), 35 / 0.005}
	for _, x := range []float64{0, 0.5, 123.4, 400, 800} {
		for _, y := range []float64{0, 77.7, 200, 400} {
			g, ok := v.ImageGrid(camera, x, y)
			if !ok {
				t.Fatalf("no grid at %v, %v", x, y)
			}
			ref.Near(t, "W-M12", g.Across.X, 17.5, "across at", x, y)
			ref.Near(t, "W-M12", g.Down.Y, 17.5, "down at", x, y)
			ref.Within(t, "W-M12b", math.Max(math.Abs(g.Across.Y), math.Abs(g.Down.X)), "lean at", x, y)
		}
	}
	// The camera rolled clockwise by 30°, the picture turns the other way: a
	// step to the right goes up as well.
	g, _ := v.ImageGrid(pinhole{orient.FromAngles(0, 0, 30*wall.Degree), 7000}, 400, 200)
	ref.Near(t, "W-M12", g.Across.X, 17.5*math.Sqrt(3)/2, "across, rolled")
	ref.Near(t, "W-M12", g.Across.Y, -17.5/2, "across, rolled")
	ref.Near(t, "W-M12", g.Down.X, 17.5/2, "down, rolled")
	ref.Near(t, "W-M12", g.Down.Y, 17.5*math.Sqrt(3)/2, "down, rolled")
}

// A wall turned by 60° about the upright through its middle, 5 m away, its
// right side nearer: s to the right of the middle the depth is 5 − s sin 60°
// and the place in the picture f s cos 60°/depth, which grows by
// 5 f cos 60°/depth² a metre. A pixel is 1 cm.
func TestImageGridOnASlantingWall(t *testing.T) {
	spec := square()
	spec.Position = r3.Vec{Z: -5}
	spec.Heading = 60 * wall.Degree
	w := must[wall.Wall](t)(wall.New(spec))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	camera := pinhole{orient.FromAngles(0, 0, 0), 7000}
	for _, s := range []float64{0, 2, -2} {
		depth := 5 - s*math.Sqrt(3)/2
		g, ok := v.ImageGrid(camera, 400+100*s, 200)
		if !ok {
			t.Fatalf("no grid %v m to the right", s)
		}
		across, down := r2.Norm(g.Across), r2.Norm(g.Down)
		ref.Near(t, "W-M13", across, 0.01*7000*5*0.5/(depth*depth), "across", s)
		ref.Near(t, "W-M13", down, 0.01*7000/depth, "down", s)
		// The error stated: half a pixel takes 5 mm sin 60° off the depth.
		off := 0.005 * math.Sqrt(3) / 2 / depth
		near.Rel(t, "with its error", across, 0.01*7000*5*0.5/(depth*depth)/(1-off*off), 1e-12, "differences of places up to 4000")
	}
}

// At 45° off its axis a fisheye of r = f θ sees a pixel of 1 cm in a plane 4 m
// away under 1/2 · 0.01/4 rad along the way outwards, and around the axis, on a
// circle of f π/4 in the picture and 4 m on the wall, π/4 of 0.01/4 f.
func TestImageGridOfAFisheye(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	for _, x := range []float64{0, 800} {
		g, ok := v.ImageGrid(equidistant(7000), x, 200)
		if !ok {
			t.Fatal("no grid")
		}
		across, down := r2.Norm(g.Across), r2.Norm(g.Down)
		ref.Near(t, "W-M14", across, 8.75, "across at", x)
		ref.Near(t, "W-M14", down, 17.5*math.Pi/4, "down at", x)
	}
}

// Against steps of a hundredth of a pixel from place to place on the wall, by
// cameras that stand and turn at random.
func TestImageGridAgainstSmallSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 1))
	tried := 0
	for tried < 2000 {
		spec := somewhere(rng)
		spec.PanelPixelsX, spec.PanelPixelsY = 20+rng.IntN(300), 20+rng.IntN(300)
		w := must[wall.Wall](t)(wall.New(spec))
		eye := r3.Add(spec.Position, r3.Vec{X: 3 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
		v, err := w.View(eye)
		if err != nil {
			continue
		}
		axes := orient.FromAngles(unit.Angle(7*rng.Float64()), unit.Angle(rng.NormFloat64()), unit.Angle(7*rng.Float64()))
		fisheye := equidistant(5000)
		for k, camera := range []wall.Camera{
			pinhole{axes, 5000},
			projector(func(d r3.Vec) (x, y float64, ok bool) { return fisheye(axes.FromStage(d)) }),
		} {
			width, height := v.Size()
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			p, _ := w.Point(x, y)
			d := axes.FromStage(r3.Sub(p, eye))
			distance := r3.Norm(d)
			if k == 0 {
				distance = -d.Z
			} else if -d.Z < -0.8*distance {
				continue // so far behind a fisheye that it smears
			}
			g, ok := v.ImageGrid(camera, x, y)
			_, seen := v.Unproject(x, y)
			if seen && distance > 0.3 && !ok {
				t.Fatalf("%+v at %v, %v, %v m away: seen, but no grid", spec, x, y, distance)
			}
			const h = 0.01
			small := func(dx, dy float64) (r2.Vec, bool) {
				before, _, okA := w.Panel(x-dx, y-dy)
				after, _, okB := w.Panel(x+dx, y+dy)
				a, _ := w.Point(x-dx, y-dy)
				b, _ := w.Point(x+dx, y+dy)
				ax, ay, _ := camera.Project(r3.Sub(a, eye))
				bx, by, _ := camera.Project(r3.Sub(b, eye))
				return r2.Scale(1/(2*h), r2.Vec{X: bx - ax, Y: by - ay}), okA && okB && before == after
			}
			wantX, okX := small(h, 0)
			wantY, okY := small(0, h)
			if !ok || !okX || !okY {
				continue
			}
			pitchX, pitchY := w.Pitch()
			within := func(pitch unit.Length) float64 {
				half := float64(pitch) / 2 / distance
				return 2*half*half + 1e-6
			}
			const why = "the error stated, at most twice; places up to 1e5 with roundings of 1e-10 over 0.02 px"
			near.Abs(t, "across", r2.Norm(r2.Sub(g.Across, wantX))/r2.Norm(wantX), 0, within(pitchX), why)
			near.Abs(t, "down", r2.Norm(r2.Sub(g.Down, wantY))/r2.Norm(wantY), 0, within(pitchY), why)
			tried++
		}
	}
}

func TestImageGridWithoutAnswer(t *testing.T) {
	spec := square()
	spec.Position, spec.Heading = r3.Vec{Z: 4}, 180*wall.Degree // behind the camera
	w := must[wall.Wall](t)(wall.New(spec))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	// A panorama whose seam is straight behind.
	panorama := projector(func(d r3.Vec) (x, y float64, ok bool) {
		return 4096 * math.Atan2(d.X, -d.Z), 4096 * math.Atan2(d.Y, math.Hypot(d.X, d.Z)), true
	})
	for x, want := range map[float64]bool{399: true, 399.6: false, 400: false, 400.4: false, 401: true} {
		if _, ok := v.ImageGrid(panorama, x, 200); ok != want {
			t.Errorf("at %v, the seam at 400: %v", x, ok)
		}
	}
	for name, camera := range map[string]wall.Camera{
		"nil":                     nil,
		"nil pointer":             (*pinhole)(nil),
		"nil function":            projector(nil),
		"looking away":            pinhole{orient.FromAngles(0, 0, 0), 7000},
		"not finite":              projector(func(r3.Vec) (x, y float64, ok bool) { return nan, inf, true }),
		"one place for all":       projector(func(r3.Vec) (x, y float64, ok bool) { return 0, 0, true }),
		"seeing the middle alone": projector(func(d r3.Vec) (x, y float64, ok bool) { return d.X, d.Y, d.X == 0 && d.Y == 0 }),
	} {
		if g, ok := v.ImageGrid(camera, 400, 200); ok || g != (wall.Grid{}) {
			t.Errorf("%s: %v, %v", name, g, ok)
		}
	}
	for _, p := range [][2]float64{{-1, 0}, {0, 401}, {nan, 0}, {0, inf}} {
		if _, ok := v.ImageGrid(panorama, p[0], p[1]); ok {
			t.Errorf("an answer at %v", p)
		}
	}
	if _, ok := (wall.View{}).ImageGrid(panorama, 0, 0); ok {
		t.Error("the zero value gives an answer")
	}
}
