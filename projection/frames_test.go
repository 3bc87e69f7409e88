package projection_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// What package warp asks of the two ends of a map.
var (
	_ warp.Target = projection.Cube{}
	_ warp.Source = projection.Cube{}
	_ warp.Source = projection.Cylindrical{}
	_ warp.Source = projection.BorderEquirect{}
)

func randomVec(rng *rand.Rand, scale float64) r3.Vec {
	return r3.Scale(scale, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

func randomPose(rng *rand.Rand) projection.Pose {
	p := pose(rng.Float64()*360-180, rng.Float64()*180-90, rng.Float64()*360-180)
	p.Position = randomVec(rng, 10)
	return p
}

// apart is how far two poses are from each other: metres and rad, added.
func apart(p, q projection.Pose) float64 {
	return r3.Norm(r3.Sub(p.Position, q.Position)) + float64(p.AngleTo(q))
}

// refuses checks that an error wraps the sentinel and names each of some fields.
func refuses(t *testing.T, err error, fields ...string) {
	t.Helper()
	if !errors.Is(err, projection.ErrInvalid) {
		t.Errorf("got %v, want an error about %v", err, fields)
		return
	}
	for _, f := range fields {
		if !strings.Contains(err.Error(), f) {
			t.Errorf("%v does not name %s", err, f)
		}
	}
}

func TestPoseFromAxes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 1000 {
		p := randomPose(rng)
		switch i % 4 {
		case 0:
			p.Elevation = 90 * deg
		case 1:
			p.Elevation = -90*deg + unit.Angle(math.Pow(10, -16*rng.Float64()))
		}
		a := columns(p)
		q := must[projection.Pose](t)(projection.PoseFromAxes(p.Position, a[0], a[1], a[2]))
		near.Abs(t, "pose", apart(p, q), 0, 5e-15, "some roundings, and the threshold of straight up")
	}
	x, y, z := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	nan := r3.Vec{X: math.NaN(), Y: 1, Z: math.Inf(1)}
	_, err := projection.PoseFromAxes(nan, x, y, z)
	refuses(t, err, "position x", "position z")
	_, err = projection.PoseFromAxes(r3.Vec{}, nan, y, r3.Vec{})
	refuses(t, err, "length of right", "length of back")
	_, err = projection.PoseFromAxes(r3.Vec{}, x, y, r3.Scale(-1, z))
	refuses(t, err, "right-handed")
	_, err = projection.PoseFromAxes(r3.Vec{}, x, r3.Vec{X: 0.6, Y: 0.8}, z)
	refuses(t, err, "right · up")
}

func TestInterpolation(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 500 {
		p, q := randomPose(rng), randomPose(rng)
		p.Heading += 360 * deg
		for s, end := range map[float64]projection.Pose{0: p, 1: q} {
			if got, ok := p.Interpolate(q, s); !ok || got != end {
				t.Errorf("at %v: %v, want %v", s, got, end)
			}
		}
		s, whole := rng.Float64(), float64(p.AngleTo(q))
		b, _ := p.Interpolate(q, s)
		// Constant speed, and no detour.
		near.Abs(t, "angle from the start", float64(p.AngleTo(b)), s*whole, 4e-15, "some ten roundings")
		near.Abs(t, "angle to the end", float64(b.AngleTo(q)), (1-s)*whole, 4e-15, "some ten roundings")
		// The way back is the same way.
		back, _ := q.Interpolate(p, 1-s)
		near.Abs(t, "back", apart(b, back), 0, 3e-14, "some roundings of metres up to 40")
		near.Abs(t, "position", r3.Norm(r3.Sub(b.Position, r3.Add(p.Position, r3.Scale(s, r3.Sub(q.Position, p.Position))))), 0, 2e-14, "roundings of metres up to 40")
		// Turned as a whole, it is the same turn.
		v := randomPose(rng)
		moved, _ := v.Compose(p).Interpolate(v.Compose(q), s)
		near.Abs(t, "as a body", apart(moved, v.Compose(b)), 0, 1e-13, "some roundings of metres up to 80")
	}
}

// Of two ways of half a turn, the one documented.
func TestHalfTurns(t *testing.T) {
	start := projection.Pose{}
	for _, h := range []struct {
		sentence  string
		end, half projection.Pose
	}{
		{"a half turn of heading goes to the right", pose(180, 0, 0), pose(90, 0, 0)},
		{"nor does its sign matter", pose(-180, 0, 0), pose(90, 0, 0)},
		{"over the top goes upwards", pose(180, 0, 180), pose(0, 90, 0)},
		{"a half turn of roll goes clockwise", pose(0, 0, 180), pose(0, 0, 90)},
		{"a half turn of roll goes clockwise, whichever sign", pose(0, 0, -180), pose(0, 0, 90)},
	} {
		got, ok := start.Interpolate(h.end, 0.5)
		if !ok {
			t.Errorf("%s: no answer", h.sentence)
		}
		near.Abs(t, h.sentence, apart(got, h.half), 0, 1e-15, "some roundings")
		near.Abs(t, h.sentence, start.AngleTo(h.end), 180*deg, 1e-15, "rad, roundings")
		// From any camera, as that camera has it.
		at := projection.Pose{Heading: 20 * deg, Elevation: 35 * deg, Roll: -50 * deg}
		got, _ = at.Interpolate(at.Compose(h.end), 0.5)
		near.Abs(t, h.sentence+", turned", apart(got, at.Compose(h.half)), 0, 3e-15, "some roundings")
	}
	// Just short of it, the shorter way: to the left.
	got, _ := start.Interpolate(pose(-179.999999, 0, 0), 0.5)
	near.Abs(t, "short of half a turn", got.Heading, -89.9999995*deg, 1e-15, "rad, roundings")
}

func TestInterpolationHasNoAnswer(t *testing.T) {
	nan := math.NaN()
	for _, s := range []float64{nan, -5e-324, math.Nextafter(1, 2), math.Inf(1), math.Inf(-1)} {
		if p, ok := (projection.Pose{}).Interpolate(pose(1, 2, 3), s); ok || p != (projection.Pose{}) {
			t.Errorf("an answer at %v: %v", s, p)
		}
	}
	bad := projection.Pose{Roll: unit.Angle(nan)}
	if _, ok := bad.Interpolate(projection.Pose{}, 0.5); ok {
		t.Error("an answer from a pose that is not finite")
	}
	if _, ok := (projection.Pose{}).Interpolate(projection.Pose{Position: r3.Vec{Z: math.Inf(1)}}, 0.5); ok {
		t.Error("an answer to a pose that is not finite")
	}
	near.NaN(t, "angle to a pose that is not finite", bad.AngleTo(projection.Pose{}))
	// Close neighbours keep all digits of their angle.
	p := pose(10, 20, 30)
	q := p.Compose(projection.Pose{Elevation: 1e-9})
	near.Abs(t, "small angle", p.AngleTo(q), 1e-9, 5e-16, "rad, some roundings of axes of length 1")
	if got := p.AngleTo(p); got > 1e-15 {
		t.Errorf("%v apart from itself", got)
	}
}

func TestExtrinsicsRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 1000 {
		p := randomPose(rng)
		e := p.Extrinsics()
		if n := r3.Norm(e.Rotation); n > math.Pi*(1+1e-15) {
			t.Errorf("rotation of %v rad", n)
		}
		back := must[projection.Pose](t)(e.Pose())
		near.Abs(t, "pose", apart(p, back), 0, 1e-13, "1e-15 rad and metres up to 40")
		// What lies ahead, right and below is so in the frame of computer vision.
		for i, v := range []r3.Vec{{X: 1}, {Y: -1}, {Z: -1}} {
			stage := r3.Add(p.Position, p.ToStage(v))
			row := e.Rows()[i]
			near.Abs(t, "its own axis", row[0]*stage.X+row[1]*stage.Y+row[2]*stage.Z+row[3], 1, 5e-14, "some roundings of metres up to 40")
		}
		rows := must[projection.Extrinsics](t)(projection.ExtrinsicsFromRows(e.Rows()))
		again := must[projection.Pose](t)(rows.Pose())
		near.Abs(t, "by rows", apart(p, again), 0, 1e-13, "1e-15 rad and metres up to 40")
		// Whole turns more are the same pose.
		n := r3.Norm(e.Rotation)
		more := e
		more.Rotation = r3.Scale((n+2*math.Pi)/n, e.Rotation)
		again = must[projection.Pose](t)(more.Pose())
		near.Abs(t, "a turn more", apart(p, again), 0, 3e-13, "1e-15 rad of turns up to 3π, and metres up to 40")
	}
	zero := must[projection.Pose](t)(projection.Extrinsics{}.Pose())
	near.Abs(t, "the zero Extrinsics looks along +Z, top towards −Y", apart(zero, pose(180, 0, 180)), 0, 1e-15, "roundings")
	near.Abs(t, "the zero Pose is half a turn about X", r3.Norm(r3.Sub(projection.Pose{}.Extrinsics().Rotation, r3.Vec{X: math.Pi})), 0, 0, "exact")

	_, err := projection.Extrinsics{Rotation: r3.Vec{X: math.NaN()}, Translation: r3.Vec{Y: math.Inf(1)}}.Pose()
	refuses(t, err, "rotation", "translation y")
	_, err = projection.ExtrinsicsFromRows([3][4]float64{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, -1, 0}})
	refuses(t, err, "right-handed")
	_, err = projection.ExtrinsicsFromRows([3][4]float64{{1, 0, 0, math.NaN()}, {0, 1, 0, 0}, {0, 0, 1, 0}})
	refuses(t, err, "translation x")
}

func TestFilmBackRoundTrips(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	length := func(scale float64) unit.Length { return unit.Length(scale * (0.1 + rng.Float64())) }
	for range 500 {
		b := projection.FilmBack{
			FocalLength: length(0.1), Width: length(0.05), Height: length(0.05),
			ShiftRight: length(0.01) - 0.006, ShiftUp: length(0.01) - 0.006, Focus: length(10),
		}
		m := math.Pow(10, 6*rng.Float64()-3)
		back := must[projection.FilmBack](t)(must[projection.USDCamera](t)(b.USD(m)).FilmBack(m))
		for i, pair := range [][2]unit.Length{
			{back.FocalLength, b.FocalLength}, {back.Width, b.Width}, {back.Height, b.Height},
			{back.ShiftRight, b.ShiftRight}, {back.ShiftUp, b.ShiftUp}, {back.Focus, b.Focus},
		} {
			near.ULP(t, "field "+string(rune('0'+i)), pair[0], pair[1], 4, "two multiplications and two divisions")
		}
	}
}

// A rotation vector of many turns is that of what is left of them, to the error
// stated.
func TestRowsOfManyTurns(t *testing.T) {
	for _, turns := range []float64{1, 100, 1e5} {
		axis := r3.Unit(r3.Vec{X: 1, Y: -2, Z: 0.5})
		long := turns*2*math.Pi + 1
		want := projection.Extrinsics{Rotation: axis}.Rows()
		for i, row := range (projection.Extrinsics{Rotation: r3.Scale(long, axis)}).Rows() {
			for j, got := range row {
				near.Abs(t, "element", got, want[i][j], 1e-15*(1+long), "stated")
			}
		}
	}
}

func TestFilmBackRefuses(t *testing.T) {
	b := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	_, err := b.Gate(1920, 1080, 0)
	refuses(t, err, "fit")
	nan := unit.Length(math.NaN())
	_, err = b.CameraSpec(0, 1<<25, 6, projection.Pose{Elevation: unit.Angle(nan)})
	refuses(t, err, "fit", "raster width", "raster height", "pose elevation")
	_, err = b.CameraSpec(1920, 1080, projection.FitWidth, projection.Pose{Position: r3.Vec{Y: math.Inf(1)}})
	refuses(t, err, "pose position y")
	bad := projection.FilmBack{FocalLength: nan, ShiftRight: nan, ShiftUp: unit.Length(math.Inf(1)), Focus: -1}
	_, err = bad.USD(math.NaN())
	refuses(t, err, "focal length", "width", "height", "shift right", "shift up", "focus", "meters per unit")
	_, err = projection.USDCamera{}.FilmBack(0)
	refuses(t, err, "focal length", "width", "meters per unit")
	_, err = projection.FilmBackOf(projection.CameraSpec{FocalX: 3})
	refuses(t, err, "model", "focal x", "pitch", "width")
	_, err = projection.FilmBackOf(projection.CameraSpec{Model: projection.Equisolid, FocalLength: 0.01, Pitch: 1e-6, Width: 10, Height: 10})
	refuses(t, err, "model")
}

func TestPanoramaRoundTrips(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	p := randomPose(rng)
	type panorama interface {
		Size() (width, height int)
		Project(dir r3.Vec) (x, y float64, ok bool)
		Unproject(x, y float64) (dir r3.Vec, ok bool)
	}
	for name, pan := range map[string]panorama{
		"border":      must[projection.BorderEquirect](t)(projection.NewBorderEquirect(4001, 777, p)),
		"cylindrical": must[projection.Cylindrical](t)(projection.NewCylindrical(projection.CylindricalSpec{Width: 4001, Height: 777, Bottom: -60 * deg, Top: 30 * deg, Pose: p})),
		"cube":        must[projection.Cube](t)(projection.NewCube(777, p)),
	} {
		width, height := pan.Size()
		for range 5000 {
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			if name == "border" {
				x, y = 0.5+x*float64(width-1)/float64(width), 0.5+y*float64(height-1)/float64(height)
			}
			d, ok := pan.Unproject(x, y)
			if !ok {
				t.Fatalf("%s: no direction at %v, %v", name, x, y)
			}
			near.Abs(t, name+": length", r3.Norm(d), 1, 7e-16, "3 ulp")
			x2, y2, ok := pan.Project(r3.Scale(math.Pow(10, 600*rng.Float64()-300), d))
			if !ok {
				t.Fatalf("%s: nothing at %v", name, d)
			}
			// Close to a pole x says little.
			tolX := 1e-10
			if name == "border" {
				tolX /= math.Sin(math.Pi * (y - 0.5) / float64(height-1))
			}
			near.Abs(t, name+": x", x2, x, tolX, "px, roundings of numbers up to 5000")
			near.Abs(t, name+": y", y2, y, 1e-10, "px, roundings of numbers up to 5000")
		}
		for range 2000 {
			d := r3.Unit(randomVec(rng, 1))
			x, y, ok := pan.Project(d)
			back, ok2 := pan.Unproject(x, y)
			if !ok || !ok2 {
				t.Fatalf("%s: %v has no position or its position no direction", name, d)
			}
			near.Abs(t, name+": direction", r3.Norm(r3.Sub(back, d)), 0, 1e-13, "roundings")
		}
		nan, inf := math.NaN(), math.Inf(1)
		for _, d := range []r3.Vec{{}, {X: nan}, {X: 1, Y: nan}, {Y: inf}, {X: 1, Z: -inf}} {
			if x, y, ok := pan.Project(d); ok || x != 0 || y != 0 {
				t.Errorf("%s: %v is at %v, %v, %v", name, d, x, y, ok)
			}
		}
		for _, at := range [][2]float64{{nan, 1}, {1, nan}, {inf, 1}, {1, -inf}, {1, inf}, {-inf, 1}} {
			if d, ok := pan.Unproject(at[0], at[1]); ok || d != (r3.Vec{}) {
				t.Errorf("%s: %v looks along %v", name, at, d)
			}
		}
	}
	// Beyond the left and right edge a panorama goes on around.
	c := must[projection.Cylindrical](t)(projection.NewCylindrical(projection.CylindricalSpec{Width: 100, Height: 50, Bottom: -1, Top: 1}))
	b := must[projection.BorderEquirect](t)(projection.NewBorderEquirect(101, 51, p))
	for _, x := range []float64{-30, 70, 170, 100070} {
		d, _ := c.Unproject(x, 10)
		want, _ := c.Unproject(70, 10)
		near.Abs(t, "around", r3.Norm(r3.Sub(d, want)), 0, 1e-11, "roundings of numbers up to 1e5")
		d, _ = b.Unproject(x, 10)
		want, _ = b.Unproject(70, 10)
		near.Abs(t, "around, border", r3.Norm(r3.Sub(d, want)), 0, 1e-11, "roundings of numbers up to 1e5")
	}
	// Over the poles, which are on the outermost rows of samples.
	for _, c := range [][4]float64{{10.5, -1.5, 60.5, 2.5}, {90.5, 51.5, 40.5, 49.5}} {
		d, ok := b.Unproject(c[0], c[1])
		want, _ := b.Unproject(c[2], c[3])
		if !ok {
			t.Errorf("no direction at %v", c)
		}
		near.Abs(t, "over the pole", r3.Norm(r3.Sub(d, want)), 0, 1e-14, "roundings")
	}
	// Upright lines stay straight: three points of one, in a turned panorama.
	c = must[projection.Cylindrical](t)(projection.NewCylindrical(projection.CylindricalSpec{Width: 1000, Height: 500, Bottom: -1, Top: 1.2}))
	x0, y0, _ := c.Project(r3.Vec{X: 3, Y: -2, Z: -4})
	x1, y1, _ := c.Project(r3.Vec{X: 3, Y: 1, Z: -4})
	x2, y2, _ := c.Project(r3.Vec{X: 3, Y: 4, Z: -4})
	near.Abs(t, "upright", math.Abs(x0-x1)+math.Abs(x1-x2), 0, 1e-12, "px, roundings")
	near.Abs(t, "even", y0-y1, y1-y2, 1e-12, "px, roundings")
	for _, edge := range []struct {
		elevation unit.Angle
		y         float64
	}{{1.2, 0}, {-1, 500}} {
		_, y, _ := c.Project(projection.Pose{Elevation: edge.elevation}.ToStage(r3.Vec{Z: -1}))
		near.Abs(t, "edge", y, edge.y, 1e-12*500, "px, roundings")
	}
}

// On an edge or a corner of the cube a direction lies on one face and comes back.
func TestCubeEdges(t *testing.T) {
	c := must[projection.Cube](t)(projection.NewCube(64, projection.Pose{}))
	for _, x := range []float64{-1, 0, 1} {
		for _, y := range []float64{-1, 0, 1} {
			for _, z := range []float64{-1, 0, 1} {
				d := r3.Vec{X: x, Y: y, Z: z}
				px, py, ok := c.Project(d)
				if d == (r3.Vec{}) {
					continue
				}
				back, ok2 := c.Unproject(px, py)
				if !ok || !ok2 {
					t.Fatalf("%v is at %v, %v, %v", d, px, py, ok)
				}
				near.Abs(t, "edge", r3.Norm(r3.Sub(back, r3.Unit(d))), 0, 3e-14, "an ulp of 384 px")
			}
		}
	}
	// The ends of the strip are part of it; beyond them there is nothing.
	for _, at := range [][3]float64{{0, 0, 1}, {384, 64, 1}, {-1e-9, 0, 0}, {384.0000001, 3, 0}, {3, 64.00001, 0}, {3, -1e-9, 0}} {
		if _, ok := c.Unproject(at[0], at[1]); ok != (at[2] == 1) {
			t.Errorf("at %v: %v", at, ok)
		}
	}
	// Neighbours agree along the edge between them: ahead and right.
	for y := 0.0; y <= 64; y += 8 {
		a, _ := c.Unproject(math.Nextafter(5*64, 0), y)
		b, _ := c.Unproject(0, y)
		near.Abs(t, "the edge of ahead and right", r3.Norm(r3.Sub(a, b)), 0, 3e-14, "an ulp of 320 px")
		// Ahead is at the bottom of up and at the top of down.
		a, _ = c.Unproject(4*64+y, 0)
		b, _ = c.Unproject(2*64+y, 64)
		if y < 64 {
			near.Abs(t, "the edge of ahead and up", r3.Norm(r3.Sub(a, b)), 0, 1e-15, "roundings")
			a, _ = c.Unproject(4*64+y, 64)
			b, _ = c.Unproject(3*64+y, 0)
			near.Abs(t, "the edge of ahead and down", r3.Norm(r3.Sub(a, b)), 0, 1e-15, "roundings")
		}
	}
}

func TestPanoramasRefuse(t *testing.T) {
	bad := projection.Pose{Heading: unit.Angle(math.NaN())}
	_, err := projection.NewCube(0, bad)
	refuses(t, err, "edge", "pose heading")
	_, err = projection.NewCube(1<<24, projection.Pose{})
	refuses(t, err, "edge")
	_, err = projection.NewBorderEquirect(1, 1<<25, bad)
	refuses(t, err, "width", "height", "pose heading")
	_, err = projection.NewCylindrical(projection.CylindricalSpec{Bottom: unit.Angle(math.NaN()), Top: 90 * deg, Pose: bad})
	refuses(t, err, "width", "height", "bottom", "top", "pose heading")
	_, err = projection.NewCylindrical(projection.CylindricalSpec{Width: 1, Height: 1, Bottom: 0.5, Top: 0.5})
	refuses(t, err, "top")
	_, err = projection.NewCylindrical(projection.CylindricalSpec{Width: 1, Height: 1, Bottom: 5e-324, Top: 1e-300})
	refuses(t, err, "tangents")

	if w, h := (projection.Cube{}).Size(); w != 0 || h != 0 {
		t.Error("the zero Cube has a size")
	}
	if m := (projection.Cylindrical{}).Margin(0, 0); !math.IsInf(m, -1) {
		t.Errorf("the zero Cylindrical has a margin of %v", m)
	}
	if _, ok := (projection.Cube{}).Face(0); ok {
		t.Error("the zero Cube has a face")
	}
	cube := must[projection.Cube](t)(projection.NewCube(8, projection.Pose{}))
	for _, i := range []int{-1, 6} {
		if _, ok := cube.Face(i); ok {
			t.Errorf("a face %d", i)
		}
	}
	for name, z := range map[string]interface {
		Project(dir r3.Vec) (x, y float64, ok bool)
		Unproject(x, y float64) (dir r3.Vec, ok bool)
	}{"Cube": projection.Cube{}, "Cylindrical": projection.Cylindrical{}, "BorderEquirect": projection.BorderEquirect{}} {
		_, _, ok := z.Project(r3.Vec{Z: -1})
		_, ok2 := z.Unproject(0, 0)
		_, ok3 := z.Unproject(0.5, 0.5)
		if ok || ok2 || ok3 {
			t.Errorf("the zero %s answers", name)
		}
	}
}
