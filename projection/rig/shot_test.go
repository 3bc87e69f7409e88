package rig_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestEquivalentFocalLength(t *testing.T) {
	for _, e := range []struct {
		width  unit.Length
		across unit.Angle
		want   unit.Length
	}{
		{36e-3, 90 * deg, 18e-3},
		{36e-3, unit.Angle(2 * math.Asin(3.0/5)), 24e-3}, // of a triangle of 3, 4, 5
		{24e-3, 60 * deg, 20.7846096908265e-3},
	} {
		got, err := rig.EquivalentFocalLength(e.width, e.across)
		if err != nil {
			t.Error(err)
		}
		ref.Near(t, "P-P2", got, e.want, e)
	}
	// The plate's density is what the focal length and the pitch of a camera that
	// takes the frame itself would give.
	a := array(t, round(t, projection.Equidistant, 4000, 100*deg, 0))
	p, _ := a.PushIn(r3.Vec{Z: -1}, 1920)
	got, err := rig.EquivalentFocalLength(1920*5e-6, p.Across)
	assert.InEpsilon(t, 20e-3, float64(got), 1e-13, "4000 pixels of 5 µm: roundings")
	if err != nil {
		t.Error(err)
	}
	for _, e := range []struct {
		width  unit.Length
		across unit.Angle
	}{{0, 1}, {-1, 1}, {unit.Length(math.NaN()), 1}, {36e-3, 0}, {36e-3, math.Pi}, {36e-3, unit.Angle(math.NaN())}, {11, -1}} {
		f, err := rig.EquivalentFocalLength(e.width, e.across)
		trial.Refuses(t, rig.ErrInvalid, err)
		assert.True(t, f == 0, "%v: got %v, %v", e, f, err)
	}
}

// A frame of a few pixels is allowed as far as the plate is fine enough, and
// where that is within the camera's sight, or as far as that.
func TestAllowedOfCaps(t *testing.T) {
	near.NumbersOnly(t)
	for _, e := range []struct {
		form  projection.Form
		limit unit.Angle // of sight
		ratio float64    // of the shot's focal length to the camera's
		cap   unit.Angle // in which it is allowed
	}{
		{projection.Equidistant, 70 * deg, 0.9, 70 * deg},
		{projection.Equidistant, 70 * deg, 1.01, 0},
		{projection.Equisolid, 150 * deg, math.Cos(math.Pi / 6), 60 * deg}, // cos(θ/2)
		{projection.Equisolid, 40 * deg, math.Cos(math.Pi / 6), 40 * deg},
		{projection.Orthographic, 90 * deg, 0.5, 60 * deg},    // cos θ
		{projection.Stereographic, 110 * deg, 1, 110 * deg},   // 1/cos²(θ/2)
		{projection.Rectilinear, 60 * deg, 0.999, 60 * deg},   // 1/cos θ
		{projection.Rectilinear, 60 * deg, 1.0001, -60 * deg}, // finer off the axis
	} {
		const focal = 1e4
		a := array(t, round(t, e.form, focal, e.limit, 50*deg))
		shot := rig.Shot{Width: 2, Height: 2, Across: unit.Angle(2 * math.Atan(1/(e.ratio*focal)))}
		allowed, err := a.Allowed(shot, 0.1)
		require.NoError(t, err)
		require.True(t, allowed.OK && allowed.Error <= 0.1, "%v: %+v", e, allowed)
		solid, bound := allowed.Value, allowed.Error
		s := math.Sin(math.Abs(float64(e.cap)) / 2)
		want := 4 * math.Pi * s * s
		if e.cap < 0 { // but for the middle, where cos θ ≥ 1/1.0001
			want -= 2 * math.Pi * (1 - 1/e.ratio)
		}
		ref.Near(t, "P-Q1", solid, want, e)
		if end := math.Abs(float64(e.cap / deg)); end > 0 {
			ref.Equal(t, "P-Q2", a.Allows(trial.Toward(50+end-0.1, 0), shot), true, e)
			ref.Equal(t, "P-Q2", a.Allows(trial.Toward(50-end-0.1, 0), shot), false, e)
		}
		ref.Equal(t, "P-Q2", a.Allows(trial.Toward(50, 0), shot), e.cap > 0, e)
		assert.InDelta(t, want, solid, bound+1e-3, "%+v: the bound reported, and the frame's own size", e)
	}
}

// A cap as narrow as the doc comment says is found wherever it is, also around the centre
// of the largest triangle.
func TestAllowedFindsSmallCaps(t *testing.T) {
	const radius = 1.3 * math.Pi / 180
	for _, at := range [][2]float64{{45, 35.26}, {-100, 20}} {
		a := array(t, trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1e4, FocalY: 1e4, Width: 1000, Height: 1000, MaxAngle: radius,
			Pose: projection.Pose{Heading: unit.Angle(at[0]) * deg, Elevation: unit.Angle(at[1]) * deg}}))
		got, err := a.Allowed(rig.Shot{Width: 2, Height: 2, Across: unit.Angle(2 * math.Atan(1/0.9e4))}, 1e-4)
		require.NoError(t, err)
		assert.InDelta(t, math.Pi*radius*radius, got.Value, got.Error+1e-5, "%v: the bound reported, and the frame's own size", at)
	}
}

// Allows is what looking at every point of the grid gives, over the seams, holes
// and rims of several rigs, and for a model of the caller's own.
func TestAllowsAgainstTheGrid(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(21, 22))
	var own []projection.Camera
	for i := range 5 {
		own = append(own, trial.Camera(t, projection.CameraSpec{Model: trial.KannalaBrandt{1, -0.03, 0.004, -0.002, 0}, FocalX: 3000, FocalY: 3100, Width: 7000, Height: 6000, MaxAngle: 85 * deg,
			Pose: projection.Pose{Heading: 72 * deg * unit.Angle(i), Roll: 0.1}}))
	}
	var mixed []projection.Camera
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		mixed = append(mixed, round(t, f, 3000, 50*deg, 60*deg*unit.Angle(f)))
	}
	yes, no, close := 0, 0, 0
	for _, a := range []rig.Rig{arrayOf(t, wheelhouse(t)), array(t, own...), array(t, mixed...), array(t, cube(t)...)} {
		for range 80 {
			shot := rig.Shot{Width: 200 + rng.IntN(1500), Height: 100 + rng.IntN(1000), Across: unit.Angle(10+90*rng.Float64()) * deg}
			dir := r3.Vec{X: rng.NormFloat64(), Y: 0.4 * rng.NormFloat64(), Z: rng.NormFloat64()}
			heading, elevation := math.Atan2(dir.X, -dir.Z), math.Atan2(dir.Y, math.Hypot(dir.X, dir.Z))
			pose := projection.Pose{Heading: unit.Angle(heading), Elevation: unit.Angle(elevation)}
			w, h := float64(shot.Width), float64(shot.Height)
			f := w / 2 / math.Tan(float64(shot.Across)/2)
			least := math.Inf(1) // delivered pixels per source pixel, upside down
			look := func(x, y float64) {
				d := 0.0
				if _, best, ok := a.Best(pose.ToStage(r3.Vec{X: x, Y: y, Z: -f})); ok {
					d = best * 180 / math.Pi
				}
				least = min(least, d*f/(f*f+x*x+y*y))
			}
			look(0, 0)
			for i := -32.0; i <= 32; i++ {
				for j := -32.0; j <= 32; j++ {
					if least >= 0.9 {
						look(w*i/64, h*j/64)
					}
				}
			}
			got := a.Allows(dir, shot)
			switch {
			case math.Abs(least-1) < 1e-5:
				close++
			case got != (least > 1):
				t.Errorf("%+v at %v: allowed %v; the least is %v source pixels", shot, dir, got, least)
			}
			if got {
				yes++
			} else {
				no++
			}
		}
	}
	assert.True(t, yes >= 40 && no >= 40 && close <= 5, "%d allowed, %d not, %d too near to tell: the test has lost its grip", yes, no, close)
}

// What PushInFrame gives is allowed; a little narrower is not.
func TestAllowsWhatPushInFrameGives(t *testing.T) {
	spec := wheelhouse(t)
	a := arrayOf(t, spec)
	found := 0
	for heading := -180.0; heading < 180; heading += 15 {
		dir := trial.Toward(heading, 12)
		across, v, err := a.PushInFrame(dir, 1280, 720)
		require.NoError(t, err)
		if !v.OK {
			continue
		}
		found++
		shot := rig.Shot{Width: 1280, Height: 720, Across: across}
		assert.True(t, a.Allows(dir, shot), "at %v° what PushInFrame gives, %v, is not allowed", heading, across)
		if shot.Across *= 0.9999; a.Allows(dir, shot) {
			t.Errorf("at %v° narrower than PushInFrame gives, %v, is allowed", heading, shot.Across)
		}
	}
	assert.True(t, found >= 12, "a frame at %d headings", found)
	// A lamp within the frame, though its corners are free, and one too small for
	// the grid beside it.
	dir := trial.Toward(0, 12)
	across, v, err := a.PushInFrame(dir, 1280, 720)
	require.NoError(t, err)
	require.True(t, v.OK)
	shot := rig.Shot{Width: 1280, Height: 720, Across: across * 1.05}
	require.True(t, a.Allows(dir, shot), "not even a wider frame is allowed")
	spec.Balls = append(spec.Balls, rig.Ball{Centre: r3.Add(r3.Vec{Y: 6}, r3.Scale(30, trial.Toward(4, 14))), Radius: 0.5})
	assert.False(t, arrayOf(t, spec).Allows(dir, shot), "the lamp is in the frame")
	// One smaller than the grid's steps, at a point of its middle row, column or
	// neither.
	spec = wheelhouse(t)
	pose := projection.Pose{Elevation: 12 * deg}
	step := 2 * math.Tan(float64(shot.Across)/2) / 64
	for _, at := range [][2]float64{{0, 0}, {9, 0}, {-9, 0}, {0, 7}, {0, -7}, {11, -5}} {
		to := r3.Unit(pose.ToStage(r3.Vec{X: at[0] * step, Y: at[1] * step, Z: -1}))
		spec.Balls = []rig.Ball{{Centre: r3.Scale(1e5, to), Radius: unit.Length(0.3 * 1e5 * step)}}
		assert.False(t, arrayOf(t, spec).Allows(dir, shot), "the lamp at %v is in the frame", at)
	}
}

// Where no width holds, PushInFrame tells of the best of all widths, as Judge finds them
// one after the other.
func TestPushInFrameWhereNoWidthHolds(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(83, 84))
	coarse, unseen := 0, 0
	for range 6 {
		a, _ := someRig(t, rng, 1+rng.IntN(3))
		for range 4 {
			dir := r3.Vec{X: rng.NormFloat64(), Y: 0.4 * rng.NormFloat64(), Z: rng.NormFloat64()}
			w, h := 2000+rng.IntN(4000), 1000+rng.IntN(3000)
			across, v, err := a.PushInFrame(dir, w, h)
			require.NoError(t, err)
			if v.OK {
				continue
			}
			if v.Limit == rig.Unseen {
				require.Zero(t, across)
				unseen++
			} else {
				there, err := a.Judge(dir, rig.Shot{Width: w, Height: h, Across: across})
				require.NoError(t, err)
				require.Equal(t, rig.TooFewPixels, v.Limit)
				require.InEpsilon(t, there.Factor, v.Factor, 1e-9, "roundings of the width")
				coarse++
			}
			for half := 1e-3; half < 30; half *= 1.5 { // tan
				one, err := a.Judge(dir, rig.Shot{Width: w, Height: h, Across: unit.Angle(2 * math.Atan(half))})
				require.NoError(t, err)
				require.LessOrEqual(t, one.Factor, v.Factor*(1+1.001e-3), "%v, %d × %d, tan %v: %+v", dir, w, h, half, v)
			}
		}
	}
	t.Logf("%d coarse, %d unseen", coarse, unseen)
	require.True(t, coarse > 5 && unseen > 5, "the test has lost its grip")
}

func TestShotRefuses(t *testing.T) {
	a := array(t, cube(t)...)
	nan := math.NaN()
	good := rig.Shot{Width: 100, Height: 100, Across: 40 * deg}
	assert.True(t, a.Allows(r3.Vec{Y: 1e-300}, good) && a.Allows(r3.Vec{Y: -1e300}, good), "the shot is not allowed up and down")
	for _, s := range []rig.Shot{{}, {100, 0, 1}, {0, 100, 1}, {1<<24 + 1, 1, 1}, {100, 100, 0}, {100, 100, math.Pi}, {100, 100, unit.Angle(nan)}, {100, 100, -1}} {
		got, err := a.Allowed(s, 1)
		assert.ErrorIs(t, err, rig.ErrInvalid, "%+v", s)
		assert.Zero(t, got)
		assert.False(t, a.Allows(r3.Vec{X: 1}, s), "%+v", s)
	}
	for _, d := range []r3.Vec{{}, {X: nan}, {Y: math.Inf(1)}} {
		assert.False(t, a.Allows(d, good), "%v is allowed", d)
	}
	for _, tolerance := range []float64{0, -1, nan} {
		_, err := a.Allowed(good, tolerance)
		assert.ErrorIs(t, err, rig.ErrInvalid)
		assert.ErrorContains(t, err, "tolerance")
	}
	small, err := projection.NewView(projection.ViewSpec{Width: 1000, Height: 1000, Across: 45 * deg})
	require.NoError(t, err)
	got, err := array(t, small).Allowed(good, 1e-9)
	assert.NoError(t, err)
	assert.True(t, !got.OK && got.Error > 1e-9 && got.Value > 0, "the smallest triangles are not enough: %+v", got)
	var zero rig.Rig
	_, err = zero.Allowed(good, 1)
	assert.ErrorContains(t, err, "number of cameras")
	assert.False(t, zero.Allows(r3.Vec{X: 1}, good))
}

// A map of 5° steps: what a picture of 720 × 360 directions takes is a hundred
// times that.
func BenchmarkShots(b *testing.B) {
	a := arrayOf(b, wheelhouse(b))
	for _, s := range []rig.Shot{{1920, 1080, 35 * deg}, {1920, 1080, 60 * deg}, {3840, 2160, 70 * deg}} {
		for name, do := range map[string]func(dir r3.Vec){"allows": func(dir r3.Vec) { a.Allows(dir, s) }, "judge": func(dir r3.Vec) { a.Judge(dir, s) }} {
			b.Run(fmt.Sprintf("%s/%dx%d/%.0f°", name, s.Width, s.Height, float64(s.Across/deg)), func(b *testing.B) {
				for range b.N {
					for h := -180.0; h < 180; h += 5 {
						for e := -90.0; e < 90; e += 5 {
							do(trial.Toward(h, e))
						}
					}
				}
				b.ReportMetric(float64(b.N*72*36)/b.Elapsed().Seconds(), "directions/s")
			})
		}
	}
}

func BenchmarkPushInFrame(b *testing.B) {
	a := arrayOf(b, wheelhouse(b))
	for range b.N {
		a.PushInFrame(trial.Toward(15, 20), 1920, 1080)
	}
}

// Of constant density the corners have the least, D·F/(F² + R²).
func TestJudgeOfConstantDensity(t *testing.T) {
	const d = 4000.0
	a := array(t, round(t, projection.Equidistant, d, 100*deg, 40*deg))
	for _, across := range []float64{20, 28, 30, 50, 90} {
		shot := rig.Shot{Width: 1920, Height: 1080, Across: unit.Angle(across) * deg}
		f := 960 / math.Tan(across*math.Pi/360)
		v, err := a.Judge(trial.Toward(40, 0), shot)
		require.NoError(t, err)
		want := min(d*f/(f*f+960*960+540*540), d/f) // the centre, where the corners are finer
		ref.Near(t, "P-Q3", v.Factor, want, across)
		assert.True(t, v.OK == (want >= 1) && (v.Limit == rig.NoLimit) == v.OK && v.Limit != rig.Unseen, "%v°: %+v; want a factor of %v", across, v, want)
		if x, y := math.Abs(v.X-960), math.Abs(v.Y-540); x != 960 || y != 540 {
			t.Errorf("%v°: the worst is at (%v, %v) px", across, v.X, v.Y)
		}
	}
}

// A verdict is what looking at every point of the grid gives: the least factor, or
// a point that no camera sees, with its direction and its place in the frame.
func TestJudgeAgainstTheGrid(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(81, 82))
	fine, coarse, unseen := 0, 0, 0
	for range 12 {
		a, _ := someRig(t, rng, 1+rng.IntN(8))
		for range 30 {
			shot := rig.Shot{Width: 100 + rng.IntN(1500), Height: 100 + rng.IntN(1000), Across: unit.Angle(5+80*rng.Float64()) * deg}
			dir := r3.Vec{X: rng.NormFloat64(), Y: 0.4 * rng.NormFloat64(), Z: rng.NormFloat64()}
			lon, lat := trial.LonLat(dir)
			view, err := projection.NewView(projection.ViewSpec{Width: shot.Width, Height: shot.Height, Across: shot.Across,
				Pose: projection.Pose{Heading: unit.Angle(lon) * deg, Elevation: unit.Angle(lat) * deg}})
			require.NoError(t, err)
			w, h := float64(shot.Width), float64(shot.Height)
			f := w / 2 / math.Tan(float64(shot.Across)/2)
			// Source pixels per delivered pixel, by the density of the view itself
			// along the radius, where it is most.
			factor := func(x, y float64) float64 {
				d, _ := view.Unproject(x, y)
				_, best, ok := a.Best(d)
				if !ok {
					return 0
				}
				delivered, _ := view.Density(d)
				return best / delivered.Radial
			}
			least := math.Inf(1)
			for i := 0.0; i <= 64; i++ {
				for j := 0.0; j <= 64 && least > 0; j++ {
					least = min(least, factor(w*i/64, h*j/64))
				}
			}
			v, err := a.Judge(dir, shot)
			require.NoError(t, err)
			assert.InDelta(t, least, v.Factor, 1e-9*(1+least), "%+v at %v, focal length %v px: roundings", shot, dir, f)
			if (v.Limit == rig.Unseen) != (least == 0) || (v.Limit == rig.NoLimit) != v.OK || math.Abs(least-1) > 1e-5 && v.OK != (least > 1) || v.OK != a.Allows(dir, shot) {
				t.Errorf("%+v at %v: %+v, allowed %v; the least is %v", shot, dir, v, a.Allows(dir, shot), least)
			}
			if camera, _, ok := a.Best(v.Dir); ok && v.Limit != rig.Unseen && camera != v.Camera {
				t.Errorf("%+v at %v: camera %d, want %d", shot, dir, v.Camera, camera)
			}
			assert.InDelta(t, least, factor(v.X, v.Y), 1e-9*(1+least), "there: roundings")
			d, _ := view.Unproject(v.X, v.Y)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(d, v.Dir)), 1e-12, "its direction: roundings")
			switch {
			case v.OK:
				fine++
			case v.Limit == rig.Unseen:
				unseen++
			default:
				coarse++
			}
		}
	}
	t.Logf("%d fine, %d coarse, %d unseen", fine, coarse, unseen)
	assert.True(t, min(fine, coarse, unseen) >= 40, "the test has lost its grip")
}

// A frame that is fine as far as it is seen, but not all of it is: narrower views are
// to be had, and this one is not.
func TestJudgeFindsTheUnseenEdge(t *testing.T) {
	a := array(t, round(t, projection.Equidistant, 4000, 30*deg, 0))
	shot := rig.Shot{Width: 960, Height: 540, Across: 70 * deg}
	narrowest, v, err := a.PushInFrame(trial.Toward(0, 0), shot.Width, shot.Height)
	require.NoError(t, err)
	require.True(t, v.OK && narrowest < shot.Across, "the narrowest is %v, %v", narrowest, v)
	v, err = a.Judge(trial.Toward(0, 0), shot)
	require.NoError(t, err)
	assert.True(t, !v.OK && v.Limit == rig.Unseen && v.Factor == 0, "got %+v", v)
	assert.True(t, a.Count(v.Dir) == 0, "%v is seen", v.Dir)
	if v, _ := a.Judge(trial.Toward(0, 0), rig.Shot{Width: 960, Height: 540, Across: narrowest}); !v.OK {
		t.Errorf("the narrowest: %+v", v)
	}
}

func TestVerdictsAreNumbers(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	a := array(t, cube(t)...)
	good := rig.Shot{Width: 100, Height: 100, Across: 40 * deg}
	for _, array := range []rig.Rig{a, {}} {
		for _, dir := range []r3.Vec{{Z: -1}, {X: 1e300}, {X: 5e-324}, {}, {X: nan}, {Y: inf}} {
			for _, shot := range []rig.Shot{good, {1 << 24, 1 << 24, 1e-9 * 2}, {1, 1, math.Pi - 1e-9}, {1, 1 << 24, 3}, {}, {1, 1, unit.Angle(nan)}, {math.MinInt, math.MaxInt, 1}} {
				v, err := array.Judge(dir, shot)
				text, errJSON := json.Marshal(v)
				require.NoError(t, errJSON, "%v, %+v", dir, shot)
				var back rig.Verdict
				require.NoError(t, json.Unmarshal(text, &back))
				require.Equal(t, v, back)
				if err != nil {
					require.ErrorIs(t, err, rig.ErrInvalid)
					require.Zero(t, v)
				}
				assert.True(t, v.OK == array.Allows(dir, shot), "%v, %+v: %+v, %v", dir, shot, v, err)
			}
		}
	}
	v, err := rig.Rig{}.Judge(r3.Vec{Z: -1}, good)
	require.NoError(t, err)
	require.Equal(t, rig.Unseen, v.Limit, "of the zero Rig")
	text, err := json.Marshal(v)
	require.NoError(t, err)
	require.Contains(t, string(text), `"Limit":"unseen"`)
}
