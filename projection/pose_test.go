package projection_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestInterpolationAgainstSciPy(t *testing.T) {
	_, rows := trial.Rows(t, "slerp.csv", 0, "")
	for i, row := range rows {
		p, q := trial.Pose(row[0], row[1], row[2]), trial.Pose(row[3], row[4], row[5])
		ref.Near(t, "P-POSE-1", p.AngleTo(q), unit.Angle(row[7]), "angle", i)
		ref.Near(t, "P-POSE-1", q.AngleTo(p), unit.Angle(row[7]), "angle back", i)
		between, ok := p.Interpolate(q, row[6])
		require.True(t, ok, "row %d: no answer", i)
		for j, got := range trial.Columns(between) {
			ref.Near(t, "P-POSE-1", r3.Norm(r3.Sub(got, column(row[8:], j))), 0, "column", j, i)
		}
	}
}

func TestPublishedAttitudes(t *testing.T) {
	m := []float64{0.353553390593, -0.353553390593, 0.866025403784, 0.918558653544, 0.306186217848, -0.25, -0.176776695297, 0.883883476483, 0.433012701892}
	p := trial.Must[projection.Pose](t)(projection.PoseFromAxes(r3.Vec{X: 7}, column(m, 0), column(m, 1), column(m, 2)))
	got := p.ToStage(r3.Vec{X: 1, Y: 2, Z: 3})
	ref.Near(t, "P-POSE-4", r3.Norm(r3.Sub(got, r3.Vec{X: 2.24452282076, Y: 0.780931089239, Z: 2.89002836335})), 0, "turned")
	ref.Near(t, "P-POSE-4", r3.Norm(r3.Sub(p.Position, r3.Vec{X: 7})), 0, "position")

	angle := func(x, y, z, w float64) unit.Angle {
		return unit.Angle(2 * math.Atan2(math.Hypot(math.Hypot(x, y), z), w))
	}
	zero := projection.Pose{Position: r3.Vec{Y: 3}}
	ref.Near(t, "P-POSE-5", zero.AngleTo(p), angle(0.39190384, 0.36042341, 0.43967974, 0.72331741), "zyx 45° 60° 30°")
	ref.Near(t, "P-POSE-5", zero.AngleTo(trial.Pose(-45, 0, 0)), angle(0, 0.38268343, 0, 0.92387953), "zyx 0° 45° 0°")
}

func TestPoseFromAxes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 1000 {
		p := trial.SomePose(rng)
		switch i % 4 {
		case 0:
			p.Elevation = 90 * deg
		case 1:
			p.Elevation = -90*deg + unit.Angle(math.Pow(10, -16*rng.Float64()))
		}
		a := trial.Columns(p)
		q := trial.Must[projection.Pose](t)(projection.PoseFromAxes(p.Position, a[0], a[1], a[2]))
		assert.InDelta(t, 0, trial.Apart(p, q), 5e-15, "pose: some roundings, and the threshold of straight up")
	}
	x, y, z := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	nan := r3.Vec{X: math.NaN(), Y: 1, Z: math.Inf(1)}
	_, err := projection.PoseFromAxes(nan, x, y, z)
	trial.Refuses(t, projection.ErrInvalid, err, "position x", "position z")
	_, err = projection.PoseFromAxes(r3.Vec{}, nan, y, r3.Vec{})
	trial.Refuses(t, projection.ErrInvalid, err, "length of right", "length of back")
	_, err = projection.PoseFromAxes(r3.Vec{}, x, y, r3.Scale(-1, z))
	trial.Refuses(t, projection.ErrInvalid, err, "right-handed")
	_, err = projection.PoseFromAxes(r3.Vec{}, x, r3.Vec{X: 0.6, Y: 0.8}, z)
	trial.Refuses(t, projection.ErrInvalid, err, "right · up")
}

func TestInterpolation(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 500 {
		p, q := trial.SomePose(rng), trial.SomePose(rng)
		p.Heading += 360 * deg
		for s, end := range map[float64]projection.Pose{0: p, 1: q} {
			got, ok := p.Interpolate(q, s)
			assert.True(t, ok && got == end, "at %v: %v, want %v", s, got, end)
		}
		s, whole := rng.Float64(), float64(p.AngleTo(q))
		b, _ := p.Interpolate(q, s)
		// Constant speed, and no detour.
		assert.InDelta(t, s*whole, float64(p.AngleTo(b)), 4e-15, "angle from the start: some ten roundings")
		assert.InDelta(t, (1-s)*whole, float64(b.AngleTo(q)), 4e-15, "angle to the end: some ten roundings")
		// The way back is the same way.
		back, _ := q.Interpolate(p, 1-s)
		assert.InDelta(t, 0, trial.Apart(b, back), 3e-14, "back: some roundings of metres up to 40")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(b.Position, r3.Add(p.Position, r3.Scale(s, r3.Sub(q.Position, p.Position))))), 2e-14, "position: roundings of metres up to 40")
		// Turned as a whole, it is the same turn.
		v := trial.SomePose(rng)
		moved, _ := v.Compose(p).Interpolate(v.Compose(q), s)
		assert.InDelta(t, 0, trial.Apart(moved, v.Compose(b)), 1e-13, "as a body: some roundings of metres up to 80")
	}
}

// Of two ways of half a turn, the one documented.
func TestHalfTurns(t *testing.T) {
	start := projection.Pose{}
	for _, h := range []struct {
		sentence  string
		end, half projection.Pose
	}{
		{"a half turn of heading goes to the right", trial.Pose(180, 0, 0), trial.Pose(90, 0, 0)},
		{"nor does its sign matter", trial.Pose(-180, 0, 0), trial.Pose(90, 0, 0)},
		{"over the top goes upwards", trial.Pose(180, 0, 180), trial.Pose(0, 90, 0)},
		{"a half turn of roll goes clockwise", trial.Pose(0, 0, 180), trial.Pose(0, 0, 90)},
		{"a half turn of roll goes clockwise, whichever sign", trial.Pose(0, 0, -180), trial.Pose(0, 0, 90)},
	} {
		got, ok := start.Interpolate(h.end, 0.5)
		assert.True(t, ok, "%s: no answer", h.sentence)
		assert.InDelta(t, 0, trial.Apart(got, h.half), 1e-15, h.sentence+": some roundings")
		assert.InDelta(t, float64(180*deg), float64(start.AngleTo(h.end)), 1e-15, h.sentence+": rad, roundings")
		// From any camera, as that camera has it.
		at := projection.Pose{Heading: 20 * deg, Elevation: 35 * deg, Roll: -50 * deg}
		got, _ = at.Interpolate(at.Compose(h.end), 0.5)
		assert.InDelta(t, 0, trial.Apart(got, at.Compose(h.half)), 3e-15, h.sentence+", turned"+": some roundings")
	}
	// Just short of it, the shorter way: to the left.
	got, _ := start.Interpolate(trial.Pose(-179.999999, 0, 0), 0.5)
	assert.InDelta(t, float64(-89.9999995*deg), float64(got.Heading), 1e-15, "short of half a turn: rad, roundings")
}

func TestInterpolationHasNoAnswer(t *testing.T) {
	nan := math.NaN()
	for _, s := range []float64{nan, -5e-324, math.Nextafter(1, 2), math.Inf(1), math.Inf(-1)} {
		p, ok := (projection.Pose{}).Interpolate(trial.Pose(1, 2, 3), s)
		assert.True(t, !ok && p == (projection.Pose{}), "an answer at %v: %v", s, p)
	}
	bad := projection.Pose{Roll: unit.Angle(nan)}
	if _, ok := bad.Interpolate(projection.Pose{}, 0.5); ok {
		t.Error("an answer from a pose that is not finite")
	}
	if _, ok := (projection.Pose{}).Interpolate(projection.Pose{Position: r3.Vec{Z: math.Inf(1)}}, 0.5); ok {
		t.Error("an answer to a pose that is not finite")
	}
	assert.True(t, math.IsNaN(float64(bad.AngleTo(projection.Pose{}))), "angle to a pose that is not finite")
	// Close neighbours keep all digits of their angle.
	p := trial.Pose(10, 20, 30)
	q := p.Compose(projection.Pose{Elevation: 1e-9})
	assert.InDelta(t, 1e-9, float64(p.AngleTo(q)), 5e-16, "small angle: rad, some roundings of axes of length 1")
	if got := p.AngleTo(p); got > 1e-15 {
		t.Errorf("%v apart from itself", got)
	}
}

func TestPoses(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	angle := func() unit.Angle { return unit.Angle(rng.Float64()-0.5) * 2 * math.Pi }
	pose := func() projection.Pose {
		return projection.Pose{Position: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}, Heading: angle(), Elevation: angle() / 2, Roll: angle()}
	}
	point := func(p projection.Pose, v r3.Vec) r3.Vec { return r3.Add(p.Position, p.ToStage(v)) }
	for range 1000 {
		p, q, v := pose(), pose(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		assert.InDelta(t, 0, r3.Norm(r3.Sub(point(p.Compose(q), v), point(p, point(q, v)))), 1e-12, "compose: angles near the zenith")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(point(p.Inverse(), point(p, v)), v)), 1e-12, "inverse: angles near the zenith")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(p.FromStage(p.ToStage(v)), v)), 1e-14, "from stage: roundings")
	}
	v := r3.Vec{X: 1, Y: 2, Z: 3}
	assert.True(t, (projection.Pose{}).ToStage(v) == v && projection.VisionAxes(projection.VisionAxes(v)) == v, "no rotation rotates")
	if got := projection.VisionAxes(r3.Vec{Z: -1}); got != (r3.Vec{Z: 1}) {
		t.Errorf("ahead is %v", got)
	}
}

// A bare 90 is 90 rad: whatever takes a pose refuses it, and asks for degrees.
func TestTurnsBeyondOneAreRefused(t *testing.T) {
	for field, p := range map[string]projection.Pose{"heading": {Heading: 90}, "elevation": {Elevation: -45}, "roll": {Roll: 1e300}, "heading ": {Heading: 360.001 * deg}} {
		_, camera := projection.NewCamera(projection.CameraSpec{Model: projection.Equidistant, FocalX: 1, FocalY: 1, Width: 2, Height: 2, Pose: p})
		_, view := projection.NewView(projection.ViewSpec{Width: 2, Height: 2, Across: 1, Pose: p})
		film := projection.FilmBack{FocalLength: 0.05, Width: 0.036, Height: 0.024}
		_, spec := film.CameraSpec(36, 24, projection.FitWhole, p)
		for what, err := range map[string]error{"camera": camera, "view": view, "spec": spec} {
			if !errors.Is(err, projection.ErrInvalid) || !strings.Contains(err.Error(), strings.TrimSpace(field)) {
				t.Errorf("%s with %+v: %v", what, p, err)
			} else if p.Heading == 90 && !strings.Contains(err.Error(), "is 90*Degree meant?") {
				t.Errorf("%s with %+v: no hint in %v", what, p, err)
			}
		}
	}
	// A whole turn either way is none.
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 1000, Height: 1000, Pose: projection.Pose{Heading: -360 * deg}})
	if _, _, ok := c.Project(r3.Vec{Z: -1}); !ok {
		t.Error("a whole turn is refused")
	}
}

// R = Rx(30°)·Ry(60°)·Rz(45°) of SciPy's docstring, as a turn within a turn
// within a turn. A heading turns by −Y, a roll by −Z.
func TestRotations(t *testing.T) {
	p := projection.Pose{Elevation: 30 * deg}.
		Compose(projection.Pose{Heading: -60 * deg}).
		Compose(projection.Pose{Roll: -45 * deg})
	in, want := r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{X: 2.24452282, Y: 0.78093109, Z: 2.89002836}
	near := func(id string, got, want r3.Vec, what string) {
		t.Helper()
		ref.Near(t, id, got.X, want.X, what, "x")
		ref.Near(t, id, got.Y, want.Y, what, "y")
		ref.Near(t, id, got.Z, want.Z, what, "z")
	}
	near("P-R1", p.ToStage(in), want, "to stage")
	near("P-R1", p.Inverse().FromStage(in), want, "inverse, from stage")
	near("P-R1", p.FromStage(want), in, "from stage")
	near("P-R1", p.Inverse().ToStage(want), in, "inverse, to stage")
	near("P-R2", projection.Pose{Heading: -45 * deg}.ToStage(in), r3.Vec{X: 2.82842712, Y: 2, Z: 1.41421356}, "to stage")
}

// The quadruple 3² + 4² + 12² = 13², and each sign as a sentence.
func TestDirections(t *testing.T) {
	for _, tc := range []struct {
		what               string
		heading, elevation float64
		dir                r3.Vec
	}{
		{"ahead, a little to the right and up", 36.8698976458, 67.3801350520, r3.Vec{X: 3, Y: 12, Z: -4}},
		{"behind on the left, down", -143.130102354, -67.3801350520, r3.Vec{X: -3, Y: -12, Z: 4}},
		{"heading 90° is +X", 90, 0, r3.Vec{X: 1}},
		{"heading −90° is −X", -90, 0, r3.Vec{X: -1}},
		{"heading 0 is −Z", 0, 0, r3.Vec{Z: -1}},
		{"straight up", 0, 90, r3.Vec{Y: 1}},
		{"straight down", 0, -90, r3.Vec{Y: -1}},
	} {
		h, e, ok := projection.HeadingElevation(tc.dir)
		require.True(t, ok, tc.what)
		ref.Near(t, "P-DIR-1", h, unit.Angle(tc.heading)*deg, tc.what)
		ref.Near(t, "P-DIR-1", e, unit.Angle(tc.elevation)*deg, tc.what)
		d := projection.Direction(unit.Angle(tc.heading)*deg, unit.Angle(tc.elevation)*deg)
		ref.Near(t, "P-DIR-1", r3.Norm(r3.Sub(d, r3.Unit(tc.dir))), 0, tc.what)
	}
	rng := rand.New(rand.NewPCG(15, 15))
	for range 1000 {
		d := r3.Unit(trial.Vec(rng, 1))
		h, e, ok := projection.HeadingElevation(r3.Scale(math.Pow(10, 600*rng.Float64()-300), d))
		require.True(t, ok)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(projection.Direction(h, e), d)), 1e-15, "roundings")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(projection.Pose{Heading: h, Elevation: e, Roll: 1}.ToStage(r3.Vec{Z: -1}), d)), 1e-15, "as a Pose looks")
	}
	for _, none := range []r3.Vec{{}, {X: math.NaN()}, {Y: math.Inf(1)}} {
		_, _, ok := projection.HeadingElevation(none)
		assert.False(t, ok, none)
	}
}

// Of the two ways that are equally short, the one to the right, however little it leads
// there; or else upwards, or else clockwise. The axis need not be one of the three.
func TestTiltedHalfTurns(t *testing.T) {
	for _, tc := range []struct {
		axis r3.Vec
		way  func(p projection.Pose) float64 // above 0 if p went that way
	}{
		{r3.Vec{X: 0.995, Y: -0.1}, func(p projection.Pose) float64 { return float64(p.Heading) }},
		{r3.Vec{X: -0.995, Y: -0.1}, func(p projection.Pose) float64 { return float64(p.Heading) }},
		{r3.Vec{Y: -0.1, Z: 0.995}, func(p projection.Pose) float64 { return float64(p.Heading) }},
		{r3.Vec{X: 0.1, Z: -0.995}, func(p projection.Pose) float64 { return float64(p.Elevation) }},
		{r3.Vec{Z: 1}, func(p projection.Pose) float64 { return float64(p.Roll) }},
	} {
		k := r3.Unit(tc.axis)
		half := func(v r3.Vec) r3.Vec { return r3.Sub(r3.Scale(2*r3.Dot(k, v), k), v) }
		end := trial.Must[projection.Pose](t)(projection.PoseFromAxes(r3.Vec{}, half(r3.Vec{X: 1}), half(r3.Vec{Y: 1}), half(r3.Vec{Z: 1})))
		p, ok := projection.Pose{}.Interpolate(end, 0.01)
		assert.True(t, ok && tc.way(p) > 1e-4, "about %v: %+v", tc.axis, p)
	}
}

// A level camera prints as 0, not as −0, and straight back is +180°, not −180°.
func TestNoNegativeZeros(t *testing.T) {
	same := func(want, got float64, what string) {
		t.Helper()
		assert.Equal(t, math.Float64bits(want), math.Float64bits(got), "%s: %v, want %v", what, got, want)
	}
	minus := math.Copysign(0, -1)
	poses := map[string]projection.Pose{
		"composed": projection.Pose{}.Compose(projection.Pose{}),
		"inverse":  projection.Pose{}.Inverse(),
		"of axes":  trial.Must[projection.Pose](t)(projection.PoseFromAxes(r3.Vec{X: minus}, r3.Vec{X: 1, Y: minus}, r3.Vec{X: minus, Y: 1}, r3.Vec{X: minus, Y: minus, Z: 1})),
	}
	poses["between"], _ = projection.Pose{}.Interpolate(projection.Pose{}, 0.5)
	for what, p := range poses {
		for _, v := range []float64{p.Position.X, p.Position.Y, p.Position.Z, float64(p.Heading), float64(p.Elevation), float64(p.Roll)} {
			same(0, v, what)
		}
	}
	for _, tc := range []struct {
		dir     r3.Vec
		heading float64
	}{
		{r3.Vec{X: minus, Y: minus, Z: -1}, 0},
		{r3.Vec{X: minus, Z: 1}, math.Pi},
		{r3.Vec{X: -1e-300, Y: -1e-300, Z: -1e30}, 0}, // the angle is less than any float64
	} {
		heading, elevation, _ := projection.HeadingElevation(tc.dir)
		same(tc.heading, float64(heading), "heading")
		same(0, float64(elevation), "elevation")
	}
	back := trial.Must[projection.Pose](t)(projection.PoseFromAxes(r3.Vec{}, r3.Vec{X: -1}, r3.Vec{Y: 1}, r3.Vec{Z: -1}))
	same(math.Pi, float64(back.Heading), "straight back")
}
