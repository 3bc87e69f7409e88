package projection_test

import (
	"context"
	"errors"
	"image"
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
	_ warp.Target = projection.EyeView{}
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
		// By a frustum; the angles that it sees are those of the camera.
		at := randomPose(rng)
		f := must[projection.Frustum](t)(b.Frustum(0.25, 50, at))
		again, ok := f.FilmBack(b.Width)
		if !ok {
			t.Fatal("no film back")
		}
		for i, pair := range [][2]unit.Length{{again.FocalLength, b.FocalLength}, {again.Height, b.Height}, {again.ShiftRight, b.ShiftRight}, {again.ShiftUp, b.ShiftUp}} {
			near.Abs(t, "by a frustum, field "+string(rune('0'+i)), pair[0], pair[1], 1e-15, "some roundings of sums up to a metre")
		}
		// A pixel of the wall is the same ray through the frustum and the camera.
		cam := camera(t, must[projection.CameraSpec](t)(b.CameraSpec(640, 360, projection.FitStretch, at)))
		x, y := 640*rng.Float64(), 360*rng.Float64()
		dir, _ := cam.Unproject(x, y)
		clip, _ := f.StageToClip(projection.DepthZeroToOne)
		n := apply(clip, r3.Add(at.Position, r3.Scale(7, dir)))
		near.Abs(t, "x", (1+n.X)*320, x, 1e-9, "px, roundings")
		near.Abs(t, "y", (1-n.Y)*180, y, 1e-9, "px, roundings")
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
	_, err = bad.Frustum(1, 1, projection.Pose{Roll: unit.Angle(math.NaN())})
	refuses(t, err, "focal length", "far", "pose roll")
	for _, near := range []unit.Length{nan, unit.Length(math.Inf(1)), 0} {
		_, err = b.Frustum(near, 1, projection.Pose{}) // far is sound, as far as it can be told
		refuses(t, err, "near")
		if strings.Contains(err.Error(), "projection: far") {
			t.Errorf("near %v: %v", near, err)
		}
		_, err = projection.NewFrustum(wall, r3.Vec{Y: 2, Z: 6}, near, -1)
		refuses(t, err, "near", "far -1 m: must be more than 0")
	}
	b.ShiftUp = 1e9
	b.Height = 1e-9
	_, err = b.Frustum(1, 2, projection.Pose{})
	refuses(t, err, "shift")
	_, err = projection.FilmBackOf(projection.CameraSpec{FocalX: 3})
	refuses(t, err, "model", "focal x", "pitch", "width")
	_, err = projection.FilmBackOf(projection.CameraSpec{Model: projection.Equisolid, FocalLength: 0.01, Pitch: 1e-6, Width: 10, Height: 10})
	refuses(t, err, "model")
	if _, ok := (projection.Frustum{}).FilmBack(1); ok {
		t.Error("a film back of the zero Frustum")
	}
}

var depths = map[projection.ClipDepth][2]float64{
	projection.DepthMinusOneToOne: {-1, 1}, projection.DepthZeroToOne: {0, 1},
	projection.DepthOneToMinusOne: {1, -1}, projection.DepthOneToZero: {1, 0},
}

func TestWindowCornersLandOnOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range 300 {
		at := randomPose(rng)
		if i%10 == 0 {
			at.Elevation = -90 * deg // a ceiling
		}
		a := columns(at)
		width, height := 0.5+20*rng.Float64(), 0.5+8*rng.Float64()
		w := projection.Window{LowerLeft: at.Position}
		w.LowerRight = r3.Add(w.LowerLeft, r3.Scale(width, a[0]))
		w.UpperLeft = r3.Add(w.LowerLeft, r3.Scale(height, a[1]))
		upperRight := r3.Add(w.LowerRight, r3.Scale(height, a[1]))
		d := 0.3 + 9*rng.Float64()
		// Often to the side of the window altogether.
		eye := r3.Add(w.LowerLeft, r3.Add(r3.Scale(width*(3*rng.Float64()-1), a[0]), r3.Add(r3.Scale(height*(3*rng.Float64()-1), a[1]), r3.Scale(d, a[2]))))
		n, far := 0.05+0.2*rng.Float64(), 100+100*rng.Float64()
		if i%3 == 0 {
			far = math.Inf(1)
		}
		f := must[projection.Frustum](t)(projection.NewFrustum(w, eye, unit.Length(n), unit.Length(far)))
		view, _ := f.StageToEye()
		for depth, ends := range depths {
			clip, ok := f.StageToClip(depth)
			if !ok {
				t.Fatalf("no matrix of depth %d", depth)
			}
			for c, p := range map[[2]float64]r3.Vec{{-1, -1}: w.LowerLeft, {1, -1}: w.LowerRight, {-1, 1}: w.UpperLeft, {1, 1}: upperRight} {
				got := apply(clip, p)
				near.Abs(t, "corner x", got.X, c[0], 1e-11, "roundings of up to 1e3 times the window's size over its distance")
				near.Abs(t, "corner y", got.Y, c[1], 1e-11, "roundings of up to 1e3 times the window's size over its distance")
			}
			// Depth at both ends, and in front of the eye.
			for k, z := range []float64{n, far} {
				if math.IsInf(z, 1) {
					z = 1e15
				}
				ahead := r3.Add(f.Pose.Position, f.Pose.ToStage(r3.Vec{Z: -z}))
				near.Abs(t, "depth", apply(clip, ahead).Z, ends[k], 1e-9, "roundings of metres up to 40 over the near distance")
				near.Abs(t, "distance", -apply(view, ahead).Z, z, 1e-13*(10+z), "roundings")
			}
			g := must[projection.Frustum](t)(projection.FrustumFromMatrix(clip, depth))
			near.Abs(t, "eye", apart(g.Pose, f.Pose), 0, 1e-10, "roundings of up to 1e3 times the window's size over its distance")
			near.Rel(t, "near", g.Near, f.Near, 1e-9, "roundings of metres over the near distance")
			if math.IsInf(far, 1) {
				// Within roundings over the near distance of no end at all.
				if g.Far < 1e9 {
					t.Errorf("far %v of an infinite one", g.Far)
				}
			} else {
				near.Rel(t, "far", g.Far, f.Far, 1e-8, "what Near/Far leaves")
			}
			back, _ := g.Window(unit.Length(d))
			for k, pair := range [][2]r3.Vec{{back.LowerLeft, w.LowerLeft}, {back.LowerRight, w.LowerRight}, {back.UpperLeft, w.UpperLeft}} {
				near.Abs(t, "corner "+string(rune('0'+k)), r3.Norm(r3.Sub(pair[0], pair[1])), 0, 1e-9, "metres; as the eye, over the distance")
			}
			// A factor does not count.
			for r := range clip {
				for c := range clip[r] {
					clip[r][c] *= 3
				}
			}
			scaled := must[projection.Frustum](t)(projection.FrustumFromMatrix(clip, depth))
			near.Abs(t, "scaled", apart(scaled.Pose, g.Pose), 0, 1e-10, "roundings")
			near.Rel(t, "scaled near", scaled.Near, g.Near, 1e-9, "roundings")
		}
	}
	// Of a matrix that has no pose, an infinite far comes back as such.
	for depth := range depths {
		f := projection.Frustum{Left: -1, Right: 2, Bottom: -3, Top: 4, Near: 0.5, Far: unit.Length(math.Inf(1))}
		m, _ := f.EyeToClip(depth)
		g, err := projection.FrustumFromMatrix(m, depth)
		if err != nil || !math.IsInf(float64(g.Far), 1) || g.Near != f.Near || g.Pose != f.Pose {
			t.Errorf("depth %d: %+v, %v", depth, g, err)
		}
		for i, pair := range [][2]unit.Length{{g.Left, f.Left}, {g.Right, f.Right}, {g.Bottom, f.Bottom}, {g.Top, f.Top}} {
			near.ULP(t, "side "+string(rune('0'+i)), pair[0], pair[1], 4, "a few roundings")
		}
		// So does one so far that its digits are gone, but for the depth that keeps
		// them.
		f.Far = 1e18
		m, _ = f.EyeToClip(depth)
		g, err = projection.FrustumFromMatrix(m, depth)
		kept := depth == projection.DepthOneToZero && math.Abs(float64(g.Far/f.Far)-1) < 1e-15
		if err != nil || !(kept || math.IsInf(float64(g.Far), 1)) {
			t.Errorf("depth %d: far %v, %v", depth, g.Far, err)
		}
	}
}

func TestFrustumRefuses(t *testing.T) {
	eye := r3.Vec{Y: 2, Z: 6}
	for _, c := range []struct {
		w         projection.Window
		eye       r3.Vec
		near, far unit.Length
		fields    []string
	}{
		{wall, r3.Vec{Y: 2}, 0.1, 100, []string{"distance of the eye"}},
		{wall, r3.Vec{Y: 2, Z: 9e-6}, 0.1, 100, []string{"distance of the eye"}},
		{wall, r3.Vec{Y: 2, Z: -6}, 0.1, 100, []string{"distance of the eye"}},
		{wall, r3.Vec{X: math.NaN(), Z: math.Inf(1)}, 0.1, 100, []string{"eye x", "eye z"}},
		{wall, eye, 1, 1, []string{"far"}},
		{wall, eye, 0, 1, []string{"near"}},
		{wall, eye, unit.Length(math.NaN()), 1, []string{"near"}},
		{wall, eye, unit.Length(math.Inf(1)), unit.Length(math.Inf(1)), []string{"near"}},
		{projection.Window{}, eye, 0.1, 100, []string{"width", "height"}},
		{projection.Window{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{X: 2}}, eye, 0.1, 100, []string{"angle"}},
		{projection.Window{LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{X: 0.1, Y: 1}}, eye, 0.1, 100, []string{"angle"}},
		{projection.Window{LowerRight: r3.Vec{X: math.NaN()}, UpperLeft: r3.Vec{Y: math.Inf(1)}}, eye, 0.1, 100, []string{"lower right corner x", "upper left corner y"}},
		{wall, eye, 1e-323, 1, []string{"window"}},
	} {
		_, err := projection.NewFrustum(c.w, c.eye, c.near, c.far)
		refuses(t, err, c.fields...)
	}
	f := must[projection.Frustum](t)(projection.NewFrustum(wall, eye, 0.1, 100))
	m, _ := f.StageToClip(projection.DepthMinusOneToOne)
	_, err := projection.FrustumFromMatrix(m, 0)
	refuses(t, err, "clip depth")
	_, err = projection.FrustumFromMatrix(m, projection.DepthOneToZero)
	refuses(t, err, "near")
	_, err = projection.FrustumFromMatrix(projection.Matrix{}, projection.DepthZeroToOne)
	refuses(t, err, "matrix")
	parallel := projection.Matrix{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, -1, 0}, {0, 0, 0, 1}}
	_, err = projection.FrustumFromMatrix(parallel, projection.DepthZeroToOne)
	refuses(t, err, "matrix")
	for _, row := range []int{0, 1, 3} {
		mirrored := m
		for c := range mirrored[row] {
			mirrored[row][c] *= -1
		}
		_, err = projection.FrustumFromMatrix(mirrored, projection.DepthMinusOneToOne)
		refuses(t, err)
	}
	m[1][1] = math.NaN()
	_, err = projection.FrustumFromMatrix(m, projection.DepthMinusOneToOne)
	refuses(t, err, "finite")

	// No method of a frustum that is not sound answers.
	for _, bad := range []projection.Frustum{{}, {Left: 1, Right: -1, Bottom: -1, Top: 1, Near: 1, Far: 2}, {Left: -1, Right: 1, Bottom: -1, Top: 1, Near: 1, Far: 1},
		{Left: -1, Right: 1, Bottom: -1, Top: 1, Near: -1, Far: 1}, {Left: -1, Right: unit.Length(math.Inf(1)), Bottom: -1, Top: 1, Near: 1, Far: 2}} {
		_, ok := bad.EyeToClip(projection.DepthZeroToOne)
		_, ok2 := bad.StageToEye()
		_, ok3 := bad.StageToClip(projection.DepthZeroToOne)
		_, ok4 := bad.Window(1)
		_, ok5 := bad.Tile(10, 10, image.Rect(0, 0, 5, 5))
		_, ok6 := bad.Overscan(0)
		_, ok7 := bad.OverscanAngle(0)
		if ok || ok2 || ok3 || ok4 || ok5 || ok6 || ok7 {
			t.Errorf("%+v answers", bad)
		}
	}
	for depth := range depths {
		if _, ok := f.EyeToClip(depth + 4); ok {
			t.Errorf("depth %d has a matrix", depth+4)
		}
	}
	for _, d := range []unit.Length{0, -1, unit.Length(math.NaN()), unit.Length(math.Inf(1))} {
		if _, ok := f.Window(d); ok {
			t.Errorf("a window at %v", d)
		}
	}
}

func TestTilesAndOverscan(t *testing.T) {
	f := must[projection.Frustum](t)(projection.NewFrustum(wall, r3.Vec{X: 2, Y: 1.5, Z: 6}, 0.1, 100))
	whole, ok := f.Tile(4000, 1600, image.Rect(0, 0, 4000, 1600))
	if !ok || whole != f {
		t.Errorf("the whole raster is %+v, %v", whole, ok)
	}
	for _, cut := range []int{1, 7, 1333, 3999} {
		left, _ := f.Tile(4000, 1600, image.Rect(0, 0, cut, 1600))
		right, _ := f.Tile(4000, 1600, image.Rect(cut, 0, 4000, 1600))
		if left.Right != right.Left || left.Left != f.Left || right.Right != f.Right {
			t.Errorf("cut at %d: %v and %v", cut, left.Right, right.Left)
		}
	}
	// The top rows of the raster are the top of the window.
	upper, _ := f.Tile(4000, 1600, image.Rect(0, 0, 4000, 400))
	if upper.Top != f.Top || !(upper.Bottom > (f.Top+f.Bottom)/2) {
		t.Errorf("the upper quarter is %+v", upper)
	}
	for _, r := range []image.Rectangle{{}, image.Rect(-1, 0, 5, 5), image.Rect(0, 0, 4001, 5), image.Rect(5, 5, 5, 9), {Min: image.Pt(9, 9), Max: image.Pt(2, 2)}} {
		if _, ok := f.Tile(4000, 1600, r); ok {
			t.Errorf("a tile %v", r)
		}
	}
	if _, ok := f.Tile(-10, -10, image.Rect(-5, -5, -1, -1)); ok {
		t.Error("a tile of a raster without size")
	}
	if g, ok := f.Overscan(0); !ok || g != f {
		t.Errorf("no overscan: %+v, %v", g, ok)
	}
	if g, ok := f.OverscanAngle(0); !ok || g != f {
		t.Errorf("no overscan: %+v, %v", g, ok)
	}
	// Twice is once by the sum.
	a, _ := f.OverscanAngle(3 * deg)
	a, _ = a.OverscanAngle(4 * deg)
	b, _ := f.OverscanAngle(7 * deg)
	near.Rel(t, "left", a.Left, b.Left, 1e-14, "roundings")
	near.Rel(t, "top", a.Top, b.Top, 1e-14, "roundings")
	for _, angle := range []unit.Angle{-1e-9, 41 * deg, 90 * deg, unit.Angle(math.NaN())} {
		if _, ok := f.OverscanAngle(angle); ok {
			t.Errorf("overscan by %v rad", float64(angle))
		}
	}
	for _, fraction := range []float64{-1e-9, math.NaN(), math.Inf(1), math.MaxFloat64} {
		if g, ok := f.Overscan(fraction); ok != (fraction == math.MaxFloat64) || !ok && g != (projection.Frustum{}) {
			t.Errorf("overscan by %v: %v, %v", fraction, g, ok)
		}
	}
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

var surrounds = []projection.SurroundSpec{
	{Shape: projection.AtInfinity},
	{Shape: projection.Sphere, Radius: 30},
	{Shape: projection.Cylinder, Radius: 30},
	{Shape: projection.Dome, Radius: 30, Ground: 5},
}

func TestLookupProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, spec := range surrounds {
		spec.Centre = r3.Vec{X: 4, Y: 6, Z: -2}
		s := must[projection.Surround](t)(projection.NewSurround(spec))
		for range 500 {
			ray := randomVec(rng, 1)
			d := r3.Unit(ray)
			got, ok := s.Lookup(spec.Centre, r3.Scale(math.Pow(10, 600*rng.Float64()-300), ray))
			if !ok {
				t.Fatalf("%v: no answer at the centre", spec.Shape)
			}
			near.Abs(t, "from the centre", r3.Norm(r3.Sub(got, d)), 0, 1e-15, "a few roundings")

			// As the surface recedes, the step of the eye shows as less and less:
			// to first order its part across the way to the point, over the distance.
			far := spec
			if spec.Shape == projection.AtInfinity {
				continue
			}
			step := randomVec(rng, 1)
			eye := r3.Add(spec.Centre, step)
			for _, radius := range []float64{1e6, 1e9, 1e12, 1e15} {
				far.Radius = unit.Length(radius)
				if spec.Shape == projection.Dome && ray.Y < 0 {
					continue // the ground stays near
				}
				s := must[projection.Surround](t)(projection.NewSurround(far))
				got, ok := s.Lookup(eye, ray)
				if !ok {
					t.Fatalf("%v: no answer at a radius of %v", spec.Shape, radius)
				}
				dist := radius
				if spec.Shape == projection.Cylinder {
					dist /= math.Hypot(d.X, d.Z)
				}
				want := r3.Add(d, r3.Scale(1/dist, r3.Sub(step, r3.Scale(r3.Dot(step, d), d))))
				near.Abs(t, "far", r3.Norm(r3.Sub(got, want)), 0, 1e-15+100/radius/radius, "roundings, and the second order")
			}
		}
	}
	// The ground of a dome is where it is, however far the sphere: on a step to the
	// right, 4 below the eye and 5 below the centre.
	for _, radius := range []unit.Length{100, 1e6, 1e12, 1e15} {
		s := must[projection.Surround](t)(projection.NewSurround(projection.SurroundSpec{Shape: projection.Dome, Radius: radius, Ground: 5}))
		got, _ := s.Lookup(r3.Vec{X: 2, Y: -1}, r3.Vec{X: 1, Y: -1})
		near.Abs(t, "ground", r3.Norm(r3.Sub(got, r3.Unit(r3.Vec{X: 6, Y: -5}))), 0, 1e-15, "roundings")
		// Level rays meet the sphere.
		got, ok := s.Lookup(r3.Vec{Y: -1}, r3.Vec{Z: -1})
		if !ok || got.Y >= 0 || got.Y < -1.1/float64(radius) {
			t.Errorf("level ray at a radius of %v: %v", radius, got)
		}
	}
}

func TestLookupNearTheSurface(t *testing.T) {
	const r = 32.0
	for k := 1; k <= 48; k++ {
		gap := math.Pow(2, -float64(k)) // of the radius
		z := 1 - gap
		want := r3.Vec{X: math.Sqrt(gap * (2 - gap)), Z: -z} // grazing: x² + z² = 1
		for _, shape := range []projection.Shape{projection.Sphere, projection.Cylinder} {
			s := must[projection.Surround](t)(projection.NewSurround(projection.SurroundSpec{Shape: shape, Radius: r}))
			got, ok := s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{X: 1})
			if !ok {
				t.Fatalf("no answer %v from the surface", gap)
			}
			near.ULP(t, "grazing x", got.X, want.X, 4, "a few roundings; eye and radius are exact")
			near.ULP(t, "grazing z", got.Z, want.Z, 4, "a few roundings; eye and radius are exact")
			got, _ = s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{Z: -1})
			near.Abs(t, "straight out", r3.Norm(r3.Sub(got, r3.Vec{Z: -1})), 0, 0, "exact")
			got, _ = s.Lookup(r3.Vec{Z: -r * z}, r3.Vec{Z: 1})
			near.Abs(t, "straight through", r3.Norm(r3.Sub(got, r3.Vec{Z: 1})), 0, 0, "exact")
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, spec := range surrounds[1:] {
		s := must[projection.Surround](t)(projection.NewSurround(spec))
		eyes := []r3.Vec{{X: 30}, {Z: -30}, {X: 31}, {X: 1e300}, {X: nan}, {X: inf}, {Y: nan}, {Y: -inf}, {X: 24, Z: 18}}
		switch spec.Shape {
		case projection.Sphere:
			eyes = append(eyes, r3.Vec{Y: 30})
		case projection.Dome:
			eyes = append(eyes, r3.Vec{Y: -5}, r3.Vec{Y: -6}, r3.Vec{Y: 30})
		}
		for _, eye := range eyes {
			if d, ok := s.Lookup(eye, r3.Vec{X: -1, Y: 1}); ok || d != (r3.Vec{}) {
				t.Errorf("%d: from %v looks along %v", spec.Shape, eye, d)
			}
		}
		for _, ray := range []r3.Vec{{}, {X: nan}, {Z: inf}} {
			if d, ok := s.Lookup(r3.Vec{Y: 1}, ray); ok || d != (r3.Vec{}) {
				t.Errorf("%d: the ray %v gives %v", spec.Shape, ray, d)
			}
		}
	}
	// 49/49 is 1, but 49·(1/49) is not.
	for shape := projection.Sphere; shape <= projection.Cylinder; shape++ {
		s := must[projection.Surround](t)(projection.NewSurround(projection.SurroundSpec{Shape: shape, Radius: 49}))
		if _, ok := s.Lookup(r3.Vec{X: 49}, r3.Vec{X: -1}); ok {
			t.Error("an answer on the surface")
		}
	}
	// Within a cylinder there is no ceiling: steeper and steeper rays end straight up.
	s := must[projection.Surround](t)(projection.NewSurround(surrounds[2]))
	for _, up := range []float64{1, -1} {
		for _, level := range []float64{1e-3, 1e-8, 1e-100, 0} {
			got, ok := s.Lookup(r3.Vec{X: 3, Y: 1000}, r3.Vec{X: level, Y: up})
			if !ok {
				t.Fatalf("no answer for a slope of %v", level)
			}
			// It meets the surface 27 to the right, at the height 1000 ± 27/level.
			near.Abs(t, "steep", math.Atan2(got.X, got.Y*up), math.Atan2(30*level, 27+up*1000*level), 1e-15, "rad, roundings")
		}
	}
}

func TestEyeViews(t *testing.T) {
	s := must[projection.Surround](t)(projection.NewSurround(surrounds[3]))
	cam := camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 100, FocalY: 100, Width: 64, Height: 48})
	_, err := s.EyeView(nil, r3.Vec{Y: -5})
	refuses(t, err, "raster", "eye")
	_, err = projection.Surround{}.EyeView(cam, r3.Vec{})
	refuses(t, err, "surround")
	if _, ok := (projection.Surround{}).Lookup(r3.Vec{}, r3.Vec{X: 1}); ok {
		t.Error("the zero Surround answers")
	}
	_, err = projection.NewSurround(projection.SurroundSpec{Radius: -1, Ground: 1, Centre: r3.Vec{X: math.NaN()}})
	refuses(t, err, "shape", "radius", "ground", "centre x")
	_, err = projection.NewSurround(projection.SurroundSpec{Shape: projection.Dome, Radius: 3, Ground: 3})
	refuses(t, err, "ground")
	_, err = projection.NewSurround(projection.SurroundSpec{Shape: projection.AtInfinity, Radius: 3})
	refuses(t, err, "radius")

	var zero projection.EyeView
	w, h := zero.Size()
	_, ok := zero.Unproject(0, 0)
	xs, ys := zero.Breaks()
	if w != 0 || h != 0 || ok || xs != nil || ys != nil {
		t.Error("the zero EyeView answers")
	}

	// As the target of a map: pixel by pixel the plate's position of the direction
	// looked up, which is not that of the camera alone.
	eye := r3.Vec{X: 8, Y: 1, Z: 3}
	v := must[projection.EyeView](t)(s.EyeView(cam, eye))
	plate := must[projection.Equirect](t)(projection.NewEquirect(4096, 2048, projection.Pose{}))
	m, err := warp.NewMap(context.Background(), v, plate, warp.MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if w, h := v.Size(); w != 64 || h != 48 {
		t.Errorf("size %d × %d", w, h)
	}
	for y := 0.5; y < 48; y += 6 {
		for x := 0.5; x < 64; x += 7 {
			ray, _ := cam.Unproject(x, y)
			dir, _ := s.Lookup(eye, ray)
			wantX, wantY, _ := plate.Project(dir)
			gotX, gotY, ok := m.At(x, y)
			if !ok {
				t.Fatalf("nothing at %v, %v", x, y)
			}
			near.Abs(t, "x", gotX, wantX, 1.0/64, "px, the map's tolerance")
			near.Abs(t, "y", gotY, wantY, 1.0/64, "px, the map's tolerance")
			if straight, _, _ := plate.Project(ray); math.Abs(straight-gotX) < 10 {
				t.Errorf("at %v, %v the step of the eye does not show", x, y)
			}
		}
	}
}
