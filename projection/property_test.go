package projection_test

import (
	"errors"
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

// Signs: what is further to the right, higher, or turned, goes where it must.
func TestCameraSigns(t *testing.T) {
	for _, f := range forms {
		c := trial.Camera(t, projection.CameraSpec{Model: f, FocalX: 100, FocalY: 120, Width: 300, Height: 200, OffsetX: 7, OffsetY: -3})
		for _, e := range []struct {
			sentence string
			dir      r3.Vec
			dx, dy   float64
		}{
			{"ahead is the principal point", r3.Vec{Z: -1}, 0, 0},
			{"right is right", trial.Toward(10, 0), 1, 0},
			{"up is up, where y is smaller", trial.Toward(0, 10), 0, -1},
			{"left below", trial.Toward(-10, -10), -1, 1},
		} {
			x, y, ok := c.Project(e.dir)
			sign := func(v float64) float64 {
				if math.Abs(v) < 1e-12 {
					return 0
				}
				return math.Copysign(1, v)
			}
			assert.True(t, ok && sign(x-157) == e.dx && sign(y-97) == e.dy, "%v, %s: (%v, %v), %v", f, e.sentence, x, y, ok)
		}
	}
	// The focal lengths scale their own axis each.
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 100, FocalY: 120, Width: 300, Height: 200})
	x, y, _ := c.Project(r3.Vec{X: 0.5, Y: 0.5, Z: -1})
	assert.InDelta(t, 150+50, x, 1e-12, "x: roundings")
	assert.InDelta(t, 100-60, y, 1e-12, "y: roundings")
	// A roll clockwise seen from behind turns the picture anticlockwise.
	c = trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 300, Height: 200, Pose: projection.Pose{Roll: 90 * deg}})
	x, y, _ = c.Project(trial.Toward(0, 20))
	assert.InDelta(t, 150-100*20*math.Pi/180, x, 1e-12, "x after roll: roundings")
	assert.InDelta(t, 100, y, 1e-12, "y after roll: roundings")
}

// The corners of the raster are 0 and Width, 0 and Height, not half a pixel in:
// a view of 90° has them in the directions (±1, ±1, −1).
func TestRasterCorners(t *testing.T) {
	v, err := projection.NewView(projection.ViewSpec{Width: 640, Height: 640, Across: 90 * deg})
	require.NoError(t, err)
	for _, e := range []struct{ x, y, dx, dy float64 }{{0, 0, -1, 1}, {640, 0, 1, 1}, {0, 640, -1, -1}, {640, 640, 1, -1}} {
		x, y, ok := v.Project(r3.Vec{X: e.dx, Y: e.dy, Z: -1})
		assert.True(t, ok, "not imaged")
		assert.InDelta(t, e.x, x, 1e-12, "x: roundings of 640")
		assert.InDelta(t, e.y, y, 1e-12, "y: roundings of 640")
	}
	d, _ := v.Unproject(320, 320)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(d, r3.Vec{Z: -1})), 1e-15, "the centre: roundings")
}

// Directions come back from their positions over the whole of what each model
// images, behind the camera included, whatever their length.
func TestCameraRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	models := []projection.Model{trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}}
	for _, f := range forms {
		models = append(models, f)
	}
	for _, m := range models {
		pose := projection.Pose{Heading: 2, Elevation: -0.7, Roll: 3}
		c := trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 2000, FocalY: 2100, Width: 6000, Height: 4000, OffsetX: 33, OffsetY: -12, Pose: pose})
		for range 20_000 {
			theta := rng.Float64() * float64(m.MaxAngle())
			phi := rng.Float64() * 2 * math.Pi
			sin, cos := math.Sincos(theta)
			dir := pose.ToStage(r3.Vec{X: sin * math.Cos(phi), Y: sin * math.Sin(phi), Z: -cos})
			length := math.Pow(10, 600*rng.Float64()-300)
			x, y, ok := c.Project(r3.Scale(length, dir))
			require.True(t, ok, "%v: %v° is not imaged", m, theta/float64(deg))
			back, ok := c.Unproject(x, y)
			require.True(t, ok, "%v: no direction at %v, %v", m, x, y)
			// Positions round at 1e-13 of a focal length; where the radius is flat or
			// steep the angle follows it.
			r, _ := m.Radius(unit.Angle(theta))
			slope, _ := m.Slope(unit.Angle(theta))
			tol := 1e-13 + min(4e-16*(r+10)/slope, 1e-7)
			assert.InDelta(t, 0, math.Atan2(r3.Norm(r3.Cross(back, dir)), r3.Dot(back, dir)), tol, "there and back: roundings of the position")
			assert.InDelta(t, 1, r3.Norm(back), 1e-15*4, "length: roundings")
		}
	}
}

// 220° across: a position 1.9 focal lengths out is 1.9 rad off the axis, and a
// ray at 110° is where it should be, not in the frame's other half.
func TestBehindTheCamera(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000, MaxAngle: 110 * deg})
	d, ok := c.Unproject(2000+1900, 2000)
	require.True(t, ok, "no direction")
	assert.InDelta(t, 1.9, math.Atan2(d.X, -d.Z), 1e-15, "angle: roundings")
	if _, ok := c.Unproject(2000+1000*111*math.Pi/180, 2000); ok {
		t.Error("a direction beyond MaxAngle")
	}
	if _, _, ok := c.Project(trial.Toward(111, 0)); ok {
		t.Error("an image beyond MaxAngle")
	}
	if _, _, ok := c.Project(trial.Toward(110, 0)); !ok {
		t.Error("MaxAngle itself has no image")
	}
	own := trial.Camera(t, projection.CameraSpec{Model: trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000})
	for _, e := range []struct {
		degrees float64
		want    bool
	}{{92.9, true}, {93.1, false}, {135, false}, {180, false}} {
		_, _, ok := own.Project(trial.Toward(e.degrees, 0))
		assert.True(t, ok == e.want, "own model to 93°: an image at %v°: %v", e.degrees, ok)
	}
	// Turned away, a rectilinear view sees nothing of what is behind.
	v, err := projection.NewView(projection.ViewSpec{Width: 100, Height: 100, Across: 60 * deg, Pose: projection.Pose{Heading: 120 * deg}})
	require.NoError(t, err)
	for _, d := range []r3.Vec{trial.Toward(-60, 0), trial.Toward(29, 0), trial.Toward(120+180, 10)} {
		x, y, ok := v.Project(d)
		assert.False(t, ok, "%v is imaged at %v, %v", d, x, y)
	}
}

// steep is a Model of a user's own with the radius slope·θ up to 1 rad.
type steep float64

func (s steep) MaxAngle() unit.Angle { return 1 }
func (s steep) Radius(a unit.Angle) (float64, bool) {
	return float64(s) * float64(a), a >= 0 && a <= 1
}
func (s steep) Angle(r float64) (unit.Angle, bool) {
	return unit.Angle(r / float64(s)), r >= 0 && r <= float64(s)
}
func (s steep) Slope(a unit.Angle) (float64, bool) { return float64(s), a >= 0 && a <= 1 }

// The square of an image height must be a number.
func TestSteepModels(t *testing.T) {
	spec := projection.CameraSpec{Model: steep(1e100), FocalX: 1, FocalY: 1, Width: 10, Height: 10}
	c := trial.Camera(t, spec)
	for _, p := range [][2]float64{{math.Inf(1), 0}, {0, math.Inf(-1)}, {math.NaN(), 0}, {1e200, 1e200}} {
		d, ok := c.Unproject(p[0], p[1])
		assert.True(t, !ok && d == (r3.Vec{}), "%v is in the direction %v", p, d)
	}
	d, ok := c.Unproject(5+0.5e100, 5)
	require.True(t, ok, "no direction within")
	assert.InDelta(t, 0.5, math.Asin(d.X), 1e-15, "half way: roundings")
	spec.Model = steep(1e200)
	if _, err := projection.NewCamera(spec); !errors.Is(err, projection.ErrInvalid) || !strings.Contains(err.Error(), "1e100 at most") {
		t.Errorf("got %v", err)
	}
}

func TestNoAnswerForNoDirection(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	cameras := []projection.Camera{{}}
	for _, f := range forms {
		cameras = append(cameras, trial.Camera(t, projection.CameraSpec{Model: f, FocalX: 10, FocalY: 10, Width: 10, Height: 10}))
	}
	for i, c := range cameras {
		if w, h := c.Size(); w != min(i, 1)*10 || h != min(i, 1)*10 {
			t.Errorf("camera %d: size %d × %d", i, w, h)
		}
		for _, d := range []r3.Vec{{}, {X: nan, Z: -1}, {Y: nan, Z: -1}, {Z: nan}, {X: inf, Z: -1}, {Z: -inf}, {X: inf, Y: -inf, Z: nan}} {
			x, y, ok := c.Project(d)
			assert.True(t, !ok && x == 0 && y == 0, "camera %d: %v is imaged at %v, %v", i, d, x, y)
		}
		for _, p := range [][2]float64{{nan, 5}, {5, nan}, {inf, 5}, {5, -inf}, {1e300, 1e300}} {
			d, ok := c.Unproject(p[0], p[1])
			assert.True(t, !ok && d == (r3.Vec{}), "camera %d: %v is in the direction %v", i, p, d)
		}
		if got := c.Margin(nan, 5); !math.IsInf(got, -1) {
			t.Errorf("camera %d: margin %v", i, got)
		}
		if _, ok := c.Density(r3.Vec{X: nan}); ok {
			t.Errorf("camera %d: a density in no direction", i)
		}
	}
	var zero projection.Camera
	w, h := zero.Size()
	a, b, c := zero.FieldOfView()
	_, ok := zero.Density(r3.Vec{Z: -1})
	assert.True(t, w == 0 && h == 0 && a == 0 && b == 0 && c == 0 && !ok && math.IsInf(zero.Margin(0, 0), -1), "the zero Camera sees")
	if _, _, ok := zero.Project(r3.Vec{Z: -1}); ok {
		t.Error("the zero Camera images")
	}
	// Lengths that no square can hold.
	for _, l := range []float64{5e-324, 1e-200, 1e200, math.MaxFloat64} {
		for i, c := range cameras[1:] {
			x, y, ok := c.Project(r3.Vec{Z: -l})
			assert.True(t, ok && !math.IsNaN(x+y), "camera %d: length %v: %v, %v, %v", i, l, x, y, ok)
		}
	}
}

// Density is what the mapping does to a short arc.
func TestDensityIsTheDerivative(t *testing.T) {
	models := []projection.Model{trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}}
	for _, f := range forms {
		models = append(models, f)
	}
	for _, m := range models {
		for _, fy := range []float64{1000, 1300} {
			c := trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 1000, FocalY: fy, Width: 4000, Height: 4000})
			for i := range 20 {
				theta := float64(m.MaxAngle()) * (float64(i) + 0.5) / 21
				phi := float64(i)
				at := func(theta, phi float64) (float64, float64) {
					x, y, ok := c.Project(r3.Vec{X: math.Sin(theta) * math.Cos(phi), Y: math.Sin(theta) * math.Sin(phi), Z: -math.Cos(theta)})
					require.True(t, ok, "%v: not imaged", m)
					return x, y
				}
				const h = 1e-5
				x0, y0 := at(theta-h, phi)
				x1, y1 := at(theta+h, phi)
				d, _ := c.Density(r3.Vec{X: math.Sin(theta) * math.Cos(phi), Y: math.Sin(theta) * math.Sin(phi), Z: -math.Cos(theta)})
				assert.InEpsilon(t, math.Hypot(x1-x0, y1-y0)/(2*h)*math.Pi/180, d.Radial, 2e-6, "radial: differences over 2e-5 rad")
				x0, y0 = at(theta, phi-h/math.Sin(theta))
				x1, y1 = at(theta, phi+h/math.Sin(theta))
				assert.InEpsilon(t, math.Hypot(x1-x0, y1-y0)/(2*h)*math.Pi/180, d.Tangential, 2e-6, "tangential: differences over 2e-5 rad")
			}
			d, ok := c.Density(r3.Vec{Z: -1})
			assert.InEpsilon(t, 1000*math.Pi/180, d.Radial, 1e-15*4, "on the axis, across: roundings")
			assert.True(t, ok && !(fy == 1000 && d.Radial != d.Tangential), "%v: on the axis %v, %v", m, d, ok)
		}
	}
}

func TestFieldOfViewLimits(t *testing.T) {
	// A circular fisheye within its raster, and one that its raster cuts.
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 1000, Height: 300, MaxAngle: 110 * deg}
	across, down, diagonal := trial.Camera(t, spec).FieldOfView()
	assert.InDelta(t, float64(220*deg), float64(across), 1e-15, "across, by the circle: roundings")
	assert.InDelta(t, 3, float64(down), 1e-15, "down, by the raster: roundings")
	assert.InDelta(t, float64(220*deg), float64(diagonal), 1e-15, "diagonal, by the circle: roundings")
	// A tile beside the axis sees the difference of its edges.
	spec.OffsetX, spec.Width = -100, 100
	across, _, _ = trial.Camera(t, spec).FieldOfView()
	assert.InDelta(t, 1, float64(across), 1e-15, "a tile: roundings")
	// The diagonal that sees more, whichever it is: corners at 100√13, 100√2, 100√5 and
	// 100√10 px from the principal point.
	for _, side := range []float64{1, -1} {
		spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 1000, FocalY: 1000, Width: 400, Height: 300, OffsetX: side * 100, OffsetY: 50}
		_, _, diagonal = trial.Camera(t, spec).FieldOfView()
		assert.InDelta(t, 0.1*(math.Sqrt(5)+math.Sqrt(10)), float64(diagonal), 1e-15, "the longer diagonal: roundings")
	}
	// An image circle in millimetres.
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalLength: 10e-3, Pitch: 5e-6, Width: 8000, Height: 6000, ImageCircle: 20e-3})
	across, _, _ = c.FieldOfView()
	assert.InDelta(t, float64(120*deg), float64(across), 1e-15*2, "half height one focal length: equisolid: r = 1 at 60°")
}

func TestNewCameraRefuses(t *testing.T) {
	good := projection.CameraSpec{Model: projection.Equisolid, FocalLength: 8e-3, Pitch: 4e-6, Width: 100, Height: 100}
	if _, err := projection.NewCamera(good); err != nil {
		t.Fatal(err)
	}
	nan, inf := math.NaN(), math.Inf(1)
	for want, change := range map[string]func(s *projection.CameraSpec){
		"model not set: must be rectilinear, ":        func(s *projection.CameraSpec) { s.Model = nil },
		"model not set: must be rectilinear,":         func(s *projection.CameraSpec) { s.Model = projection.Form(0) },
		"model projection.Form with largest angle 0°": func(s *projection.CameraSpec) { s.Model = projection.Form(9) },
		"must have a radius that grows":               func(s *projection.CameraSpec) { s.Model = trial.KannalaBrandt{1, -0.4, 0, 0, 0} },
		"must have a radius that grows ":              func(s *projection.CameraSpec) { s.Model = trial.KannalaBrandt{nan, 0, 0, 0, 0} },
		"focal length 11 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 11 mm meant?)\nprojection: pitch 8 m": func(s *projection.CameraSpec) { s.FocalLength, s.Pitch = 11, 8 },
		"focal length NaN m": func(s *projection.CameraSpec) { s.FocalLength = unit.Length(nan) },
		"pitch 4 mm: must be at least 100 nm and at most 1 mm": func(s *projection.CameraSpec) { s.Pitch = 4e-3 },
		"focal y 0 px": func(s *projection.CameraSpec) { s.FocalX, s.FocalLength, s.Pitch = 100, 0, 0 },
		"must be 0 if focal x and focal y are given":             func(s *projection.CameraSpec) { s.FocalX, s.FocalY = 100, 100 },
		"width 0 px: must be at least 1 and at most 16777216 px": func(s *projection.CameraSpec) { s.Width = 0 },
		"height 16777217 px":                                     func(s *projection.CameraSpec) { s.Height = 1<<24 + 1 },
		"offset x NaN px":                                        func(s *projection.CameraSpec) { s.OffsetX = nan },
		"offset y +Inf px":                                       func(s *projection.CameraSpec) { s.OffsetY = inf },
		"image circle 8 m: must be at least 100 µm and at most 1 m (a bare number is in metres: is 8 mm meant?)": func(s *projection.CameraSpec) { s.ImageCircle = 8 },
		"image circle -10 mm": func(s *projection.CameraSpec) { s.ImageCircle = -10e-3 },
		"pitch 0: must be given with an image circle": func(s *projection.CameraSpec) {
			s.FocalX, s.FocalY, s.FocalLength, s.Pitch, s.ImageCircle = 9, 9, 0, 0, 1e-2
		},
		"largest angle 181°: must be at least 0° and at most 180°": func(s *projection.CameraSpec) { s.MaxAngle = 181 * deg },
		"largest angle NaN°":    func(s *projection.CameraSpec) { s.MaxAngle = unit.Angle(nan) },
		"pose heading +Inf°":    func(s *projection.CameraSpec) { s.Pose.Heading = unit.Angle(inf) },
		"pose position y NaN m": func(s *projection.CameraSpec) { s.Pose.Position.Y = nan },
		"pose elevation NaN°: must be at least -360° and at most 360°\nprojection: pose roll NaN°: must be": func(s *projection.CameraSpec) { s.Pose.Elevation, s.Pose.Roll = unit.Angle(nan), unit.Angle(nan) },
	} {
		spec := good
		change(&spec)
		c, err := projection.NewCamera(spec)
		trial.Refuses(t, projection.ErrInvalid, err, strings.TrimSpace(want))
		assert.True(t, c == (projection.Camera{}), "got %v, want %q", err, want)
	}
	for _, spec := range []projection.ViewSpec{
		{Width: 100, Height: 100, Across: 180 * deg}, {Width: 100, Height: 100}, {Width: 100, Height: 100, Across: unit.Angle(nan)},
		{Width: 0, Height: 100, Across: 1}, {Width: 100, Height: -1, Across: 1}, {Width: 100, Height: 100, Across: 1, Pose: projection.Pose{Roll: unit.Angle(nan)}},
	} {
		_, err := projection.NewView(spec)
		trial.Refuses(t, projection.ErrInvalid, err)
	}
	for _, across := range []unit.Angle{1.0001e-9, 179.9999999 * deg} {
		v, err := projection.NewView(projection.ViewSpec{Width: 1 << 24, Height: 1, Across: across})
		require.NoError(t, err)
		got, _, _ := v.FieldOfView()
		assert.InEpsilon(t, float64(across), float64(got), 1e-15*4, "field of view: roundings")
	}
}

// What a model images up to its largest angle, or to a spec's, a camera images:
// also where the radius stops growing and its inverse has half the digits only.
func TestProjectToTheLastAngle(t *testing.T) {
	models := map[string]projection.Model{"own": trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}}
	for _, f := range forms {
		models[f.String()] = f
	}
	for name, c := range map[string][]float64{"stopping": {1, -0.2}, "early": {1, -0.3, 0.01, -0.001}, "growing": {1, 0.02}} {
		p, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c})
		require.NoError(t, err)
		models[name] = p
	}
	for name, m := range models {
		for _, limit := range []unit.Angle{0, 0.3, 1, 1.2} {
			if limit > m.MaxAngle() {
				continue
			}
			c := trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000, MaxAngle: limit})
			end := float64(limit)
			if limit == 0 {
				end = float64(m.MaxAngle())
			}
			for _, short := range []float64{0, 1e-15, 1e-12, 1e-10, 1e-9, 3e-9, 1e-8, 1e-7, 1e-4} {
				sin, cos := math.Sincos(end * (1 - short))
				dir := r3.Vec{X: sin, Z: -cos}
				theta := unit.Angle(min(math.Atan2(sin, cos), end))
				r, imaged := m.Radius(theta)
				if sin < 1e-13 && theta > 3 { // opposite to the axis: no angle about it
					continue
				}
				x, _, ok := c.Project(dir)
				if ok != imaged {
					t.Errorf("%s, limit %v, short of the end by %g: imaged: %v, by the model: %v", name, limit, short, ok, imaged)
				} else if ok && r < 1e4 {
					assert.InDelta(t, 2000+1000*r, x, 1e-9*max(1, r), name+": roundings")
				}
			}
			across, _, _ := c.FieldOfView()
			if r, ok := m.Radius(unit.Angle(end)); ok && r < 2 {
				assert.InEpsilon(t, 2*end, float64(across), 4e-16, name+" field of view"+": the largest angle itself, twice")
			}
		}
	}
}

// A pointer to nothing in an interface is refused like nothing.
func TestNilPointersAreRefused(t *testing.T) {
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 1, FocalY: 1, Width: 2, Height: 2}
	model, distortion := spec, spec
	model.Model = (*trial.KannalaBrandt)(nil)
	distortion.Distortion = (*shear)(nil)
	for what, spec := range map[string]projection.CameraSpec{"model": model, "distortion": distortion} {
		_, err := projection.NewCamera(spec)
		trial.Refuses(t, projection.ErrInvalid, err, what)
	}
}
