package wall_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/wall"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
			g, why := v.ImageGrid(camera, x, y)
			require.Equal(t, wall.Seen, why, "at %v, %v", x, y)
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
		g, why := v.ImageGrid(camera, 400+100*s, 200)
		require.Equal(t, wall.Seen, why, "%v m to the right", s)
		across, down := r2.Norm(g.Across), r2.Norm(g.Down)
		ref.Near(t, "W-M13", across, 0.01*7000*5*0.5/(depth*depth), "across", s)
		ref.Near(t, "W-M13", down, 0.01*7000/depth, "down", s)
		// The error stated: half a pixel takes 5 mm sin 60° off the depth.
		off := 0.005 * math.Sqrt(3) / 2 / depth
		assert.InEpsilon(t, 0.01*7000*5*0.5/(depth*depth)/(1-off*off), across, 1e-12, "with its error: differences of places up to 4000")
	}
}

// A fisheye of r = f θ looks at a wall 4 m away, with pixels of 1 cm. 45° off its
// axis a pixel spans half of 0.01/4 rad outwards from the axis. Around the axis, a
// circle of 4 m on the wall is one of f π/4 in the picture, so the pixel is π/4 of
// f · 0.01/4 there.
func TestImageGridOfAFisheye(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	for _, x := range []float64{0, 800} {
		g, why := v.ImageGrid(equidistant(7000), x, 200)
		require.Equal(t, wall.Seen, why)
		across, down := r2.Norm(g.Across), r2.Norm(g.Down)
		ref.Near(t, "W-M14", across, 8.75, "across at", x)
		ref.Near(t, "W-M14", down, 17.5*math.Pi/4, "down at", x)
	}
}

// Against steps of a hundredth of a pixel from place to place on the wall, by
// cameras that stand and turn at random.
func TestImageGridAgainstSmallSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 1))
	for tried := 0; tried < 2000; {
		v := anyView(t, rng)
		axes := orient.FromAngles(unit.Angle(7*rng.Float64()), unit.Angle(rng.NormFloat64()), unit.Angle(7*rng.Float64()))
		fisheye := equidistant(5000)
		for k, camera := range []wall.Camera{
			pinhole{axes, 5000},
			projector(func(d r3.Vec) (x, y float64, ok bool) { return fisheye(axes.FromStage(d)) }),
		} {
			width, height := v.Size()
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			p, _ := v.wall.Point(x, y)
			d := axes.FromStage(r3.Sub(p, v.eye))
			distance := r3.Norm(d)
			if k == 0 {
				distance = -d.Z
			} else if -d.Z < math.Cos(130*math.Pi/180)*distance {
				continue // so far behind a fisheye that it smears
			}
			g, why := v.ImageGrid(camera, x, y)
			pitchX, pitchY := v.wall.Pitch()
			if sight := v.Sight(x, y); distance > 5*float64(max(pitchX, pitchY)) && why != sight || sight != wall.Seen && why != sight {
				t.Fatalf("%+v at %v, %v, %v m away: %v, but in the picture %v", v.spec, x, y, distance, sight, why)
			}
			const h = 0.01
			small := func(dx, dy float64) (r2.Vec, bool) {
				before, _, okA := v.wall.Panel(x-dx, y-dy)
				after, _, okB := v.wall.Panel(x+dx, y+dy)
				a, _ := v.wall.Point(x-dx, y-dy)
				b, _ := v.wall.Point(x+dx, y+dy)
				ax, ay, _ := camera.Project(r3.Sub(a, v.eye))
				bx, by, _ := camera.Project(r3.Sub(b, v.eye))
				return r2.Scale(1/(2*h), r2.Vec{X: bx - ax, Y: by - ay}), okA && okB && before == after
			}
			wantX, okX := small(h, 0)
			wantY, okY := small(0, h)
			if why != wall.Seen || !okX || !okY {
				continue
			}
			within := func(pitch unit.Length) float64 {
				half := float64(pitch) / 2 / distance
				return 2*half*half + 1e-6
			}
			const reason = "the error stated; places up to 1e5 with roundings of 1e-10 over 0.02 px"
			assert.InDelta(t, 0, r2.Norm(r2.Sub(g.Across, wantX))/r2.Norm(wantX), within(pitchX), reason)
			assert.InDelta(t, 0, r2.Norm(r2.Sub(g.Down, wantY))/r2.Norm(wantY), within(pitchY), reason)
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
	for x, want := range map[float64]wall.Sight{399: wall.Seen, 399.6: wall.Uneven, 400: wall.Uneven, 400.4: wall.Uneven, 401: wall.Seen} {
		g, why := v.ImageGrid(panorama, x, 200)
		assert.Equal(t, want, why, "at %v, the seam at 400", x)
		assert.Equal(t, want == wall.Seen, g != wall.Grid{})
	}
	for name, tc := range map[string]struct {
		camera wall.Camera
		want   wall.Sight
	}{
		"nil":                     {nil, wall.OutsidePicture},
		"nil pointer":             {(*pinhole)(nil), wall.OutsidePicture},
		"nil function":            {projector(nil), wall.OutsidePicture},
		"looking away":            {pinhole{orient.FromAngles(0, 0, 0), 7000}, wall.OutsidePicture},
		"not finite":              {projector(func(r3.Vec) (x, y float64, ok bool) { return nan, inf, true }), wall.Uneven},
		"one place for all":       {projector(func(r3.Vec) (x, y float64, ok bool) { return 0, 0, true }), wall.Uneven},
		"seeing the middle alone": {projector(func(d r3.Vec) (x, y float64, ok bool) { return d.X, d.Y, d.X == 0 && d.Y == 0 }), wall.OutsidePicture},
	} {
		g, why := v.ImageGrid(tc.camera, 400, 200)
		assert.Equal(t, tc.want, why, name)
		assert.Zero(t, g, name)
	}
	for _, p := range [][2]float64{{-1, 0}, {0, 401}, {nan, 0}, {0, inf}} {
		_, why := v.ImageGrid(panorama, p[0], p[1])
		assert.Equal(t, wall.OutsideRaster, why, "at %v", p)
	}
	_, why := wall.View{}.ImageGrid(panorama, 0, 0)
	assert.Equal(t, wall.OutsideRaster, why, "the zero value")
}

// A picture may end within half a pixel: that of a slanting wall a little to each side
// of its middle, and across a seam.
func TestImageGridAtTheEdgeOfAPicture(t *testing.T) {
	spec := square()
	spec.Heading, spec.Position = 30*wall.Degree, r3.Vec{Z: -4}
	w := must[wall.Wall](t)(wall.New(spec))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	whole := pinhole{orient.FromAngles(0, 0, 0), 7000}
	want, why := v.ImageGrid(whole, 400, 200)
	require.Equal(t, wall.Seen, why)
	p, _ := w.Point(400, 200)
	mx, my, _ := whole.Project(p)
	for _, edge := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
		grid, why := v.ImageGrid(projector(func(d r3.Vec) (x, y float64, ok bool) {
			x, y, ok = whole.Project(d)
			return x, y, ok && (x-mx)*edge.X+(y-my)*edge.Y <= 0.1
		}), 400, 200)
		assert.Equal(t, wall.Seen, why, edge)
		assert.InDelta(t, 0, r2.Norm(r2.Sub(grid.Across, want.Across))/r2.Norm(want.Across), 2e-3, "the slant over half a pixel of 1 cm in 4 m")
		assert.InDelta(t, 0, r2.Norm(r2.Sub(grid.Down, want.Down))/r2.Norm(want.Down), 2e-3, "the slant over half a pixel of 1 cm in 4 m")
		_, why = v.ImageGrid(projector(func(d r3.Vec) (x, y float64, ok bool) {
			x, y, ok = whole.Project(d)
			beyond := (x-mx)*edge.X + (y-my)*edge.Y
			if beyond < -0.1 {
				x, y = x+500, y+500
			}
			return x, y, ok && beyond <= 0.1
		}), 400, 200)
		assert.Equal(t, wall.Uneven, why, "a seam in the half that is left, %v", edge)
	}
}

// thinLens is the height, above the axis, of the image of a point at a height and
// a distance before a thin lens: where the ray through the lens's middle meets the
// ray that arrives parallel to the axis and leaves through the focal point.
func thinLens(height, distance, focal float64) float64 {
	// The two rays behind the lens are −height/distance x and height − height/focal x.
	x := height / (height/focal - height/distance)
	return -height / distance * x
}

func TestImagePitch(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 1))
	for range 100 {
		pitch, focal, photosite := 1e-3+5e-3*rng.Float64(), 0.02+0.1*rng.Float64(), 2e-6+8e-6*rng.Float64()
		distance := focal + 20*rng.Float64()
		image := func(d float64) float64 { return -thinLens(pitch, d, focal) / photosite }
		got := must[float64](t)(wall.ImagePitch(unit.Length(pitch), unit.Length(distance), unit.Length(focal), unit.Length(photosite)))
		ref.Near(t, "W-M5", got, image(distance), pitch, distance, focal, photosite)
	}
}

const arcMinute = wall.Degree / 60

func TestViewingDistance(t *testing.T) {
	// A picture of height 1.
	for lines, want := range map[float64]unit.Length{720: 4.8, 1080: 3.2, 2160: 1.6, 4320: 0.8} {
		ref.Near(t, "W-D7", must[unit.Length](t)(wall.ViewingDistance(unit.Length(1/lines), arcMinute)), want, lines)
	}
	for _, acuity := range []unit.Angle{1e-6, arcMinute, 0.1, 1.5} {
		d := must[unit.Length](t)(wall.ViewingDistance(2.6e-3, acuity))
		angle := sphere.Angle(r3.Vec{Z: -float64(d)}, r3.Vec{X: 2.6e-3, Z: -float64(d)})
		ref.Near(t, "W-D4", angle, float64(acuity))
	}
}

func TestOpticsFaults(t *testing.T) {
	refused(t, map[string]error{
		"pitch 0 m: must be more than 0 m and at most 100 m":           second(wall.ImagePitch(0, 5, 0.035, 6e-6)),
		"distance 35 mm: must be more than 35 mm and at most 1e+06 km": second(wall.ImagePitch(0.0028, 0.035, 0.035, 6e-6)),
		"distance 0 m: must be more than 0 m":                          second(wall.ImagePitch(0.0028, 0, 0, 6e-6)),
		"focal length NaN m":                                           second(wall.ImagePitch(0.0028, 5, unit.Length(nan), 6e-6)),
		"photosite 0 m: must be at least 100 nm and at most 1 mm":      second(wall.ImagePitch(0.0028, 5, 0.035, 0)),
		"focal length 35 m: must be at least 100 µm and at most 2 m":   second(wall.ImagePitch(-1, 5, 35, 6e-6)),
		"pitch 0 m":   second(wall.ViewingDistance(0, arcMinute)),
		"pitch NaN m": second(wall.ViewingDistance(unit.Length(nan), arcMinute)),
		"acuity 0°":   second(wall.ViewingDistance(1, 0)),
		"acuity 90°":  second(wall.ViewingDistance(1, 90*wall.Degree)),
		"acuity NaN°": second(wall.ViewingDistance(1, unit.Angle(nan))),
	})
}
