package motion_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/motion"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// matrix has the vehicle's axes as columns.
type matrix [3]r3.Vec

func (m matrix) times(v r3.Vec) r3.Vec {
	return r3.Add(r3.Scale(v.X, m[0]), r3.Add(r3.Scale(v.Y, m[1]), r3.Scale(v.Z, m[2])))
}

// into gives a vector of the world in the vehicle's frame.
func (m matrix) into(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(m[0], v), Y: r3.Dot(m[1], v), Z: r3.Dot(m[2], v)}
}

// drive moves a vehicle in small steps: it goes along its own axes, and turns about them
// one after the other. It gives the direction in which the camera then sees the thing.
func drive(spec motion.Spec, dir r3.Vec, distance, t float64) r3.Vec {
	axes := matrix{{X: 1}, {Y: 1}, {Z: 1}}
	thing := r3.Add(spec.Arm, r3.Scale(distance, dir))
	var place r3.Vec
	const steps = 20000
	dt := t / steps
	turn := func(a, b int, angle float64) { // a towards b
		s, c := math.Sincos(angle)
		axes[a], axes[b] = r3.Add(r3.Scale(c, axes[a]), r3.Scale(s, axes[b])), r3.Sub(r3.Scale(c, axes[b]), r3.Scale(s, axes[a]))
	}
	for range steps { // half the turns, the way, and the other half: the error goes with dt²
		turn(2, 0, -float64(spec.Yaw)*dt/2) // +Z, which is behind, goes to the left
		turn(2, 1, -float64(spec.Pitch)*dt/2)
		turn(0, 1, -float64(spec.Roll)*dt/2)
		place = r3.Add(place, axes.times(r3.Scale(dt, spec.Velocity)))
		turn(0, 1, -float64(spec.Roll)*dt/2)
		turn(2, 1, -float64(spec.Pitch)*dt/2)
		turn(2, 0, -float64(spec.Yaw)*dt/2)
	}
	camera := r3.Add(place, axes.times(spec.Arm))
	return r3.Unit(axes.into(r3.Sub(thing, camera)))
}

func random(rng *rand.Rand) r3.Vec {
	return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

func TestDirectionsOfADrive(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(4, 4))
	for range 15 {
		angle := func() unit.Angle { return unit.Angle(rng.Float64()-0.5) * 60 * motion.Degree }
		spec := motion.Spec{
			Velocity: r3.Scale(15, random(rng)), Arm: r3.Scale(4*rng.Float64(), random(rng)),
			Yaw: angle(), Pitch: angle(), Roll: angle(),
		}
		dir, distance, time := random(rng), 5+100*rng.Float64(), 2*rng.Float64()-1
		got, ok := trial.Must(motion.New(spec)).Direction(r3.Scale(1e-3+1e3*rng.Float64(), dir), unit.Length(distance), unit.Time(time))
		require.True(t, ok)
		want := drive(spec, dir, distance, time)
		for i, d := range []float64{got.X - want.X, got.Y - want.Y, got.Z - want.Z} {
			ref.Near(t, "T-MOTION", d, 0, spec, i)
		}
	}
}

// TestSigns: what goes where.
func TestSigns(t *testing.T) {
	ahead, right := r3.Vec{Z: -1}, r3.Vec{X: 1}
	for name, tc := range map[string]struct {
		spec           motion.Spec
		dir            r3.Vec
		right, up, aft float64 // signs
	}{
		"yaw to the right":           {motion.Spec{Yaw: motion.Degree}, ahead, -1, 0, 0},
		"nose up":                    {motion.Spec{Pitch: motion.Degree}, ahead, 0, -1, 0},
		"roll clockwise":             {motion.Spec{Roll: motion.Degree}, right, 0, 1, 0},
		"forward, abeam":             {motion.Spec{Velocity: r3.Vec{Z: -5}}, right, 0, 0, 1},
		"forward, ahead":             {motion.Spec{Velocity: r3.Vec{Z: -5}}, ahead, 0, 0, 0},
		"yaw, camera at the bow":     {motion.Spec{Yaw: motion.Degree, Arm: r3.Vec{Z: -20}}, r3.Vec{X: 1}, 0, 0, -1},
		"nose up, camera at the bow": {motion.Spec{Pitch: motion.Degree, Arm: r3.Vec{Z: -20}}, right, 0, -1, 0},
	} {
		got, ok := trial.Must(motion.New(tc.spec)).Direction(tc.dir, 100, 1)
		require.True(t, ok)
		sign := func(x float64) float64 { return math.Round(x*1e4) / math.Abs(math.Round(x*1e4)+1e-300) }
		moved := r3.Sub(got, tc.dir)
		for k, want := range []float64{tc.right, tc.up, tc.aft} {
			// Second-order changes are below 2e-4 but for the straight way of 5 m in 100 m.
			if v := []float64{moved.X, moved.Y, moved.Z}[k]; want != 0 {
				assert.InDelta(t, want, sign(v), 1e-9, "%s: %v", name, moved)
			} else {
				assert.InDelta(t, 0, v, 2e-3, "%s: %v", name, moved)
			}
		}
	}
}

// fisheye is an equidistant camera: d px/° along axis, with x along right.
type fisheye struct {
	axis, right r3.Vec
	density     float64
	centre      float64
	limit       float64 // field angle in degrees; 0: 95
}

func (f fisheye) Project(dir r3.Vec) (x, y float64, ok bool) {
	down := r3.Cross(f.axis, f.right)
	a, b, c := r3.Dot(dir, f.right), r3.Dot(dir, down), r3.Dot(dir, f.axis)
	side := math.Hypot(a, b)
	theta := math.Atan2(side, c)
	k := theta * 180 / math.Pi * f.density
	if side > 0 {
		k /= side
	}
	limit := f.limit
	if limit == 0 {
		limit = 95
	}
	return f.centre + k*a, f.centre + k*b, theta < limit*math.Pi/180
}

func starboard(density, centre float64) fisheye {
	return fisheye{axis: r3.Vec{X: 1}, right: r3.Vec{Z: 1}, density: density, centre: centre}
}

// TestDisplacements: what the trade works out by hand.
func TestDisplacements(t *testing.T) {
	camera := starboard(69.7, 4000)
	turning := trial.Must(motion.New(motion.Spec{Yaw: 10 * motion.Degree}))
	for _, distance := range []unit.Length{0.01, 5, 5000, unit.Length(math.Inf(1))} {
		d, ok := turning.Displacement(camera, r3.Vec{X: 1}, distance, 1./48)
		require.True(t, ok)
		ref.Near(t, "T-MOTION-TURN", d.Pixels, 14.5)
		assert.InDelta(t, -d.Pixels, d.X, 1e-3, "things go left when the vessel turns right")
		assert.InDelta(t, float64(10*motion.Degree)/48, float64(d.Angle), 1e-12)
	}
	ferry := trial.Must(motion.New(motion.Spec{Velocity: r3.Vec{Z: -6}}))
	for _, abeam := range []float64{1, -1} {
		angle, ok := ferry.Angle(r3.Vec{X: abeam}, 40, 2./24)
		require.True(t, ok)
		ref.Near(t, "T-MOTION-ABEAM", float64(angle/motion.Degree), 0.716, abeam) // 0.5 m in 40 m
	}
	d, ok := ferry.Displacement(camera, r3.Vec{X: 1}, 40, 2./24)
	require.True(t, ok)
	assert.InDelta(t, 69.7*0.716, d.X, 0.05, "things go aft, which is right on starboard")
	assert.InDelta(t, 0, d.Y, 1e-9)
	late, _ := ferry.Displacement(camera, r3.Vec{X: 1}, 40, -2./24)
	assert.InDelta(t, -d.X, late.X, 1e-9, "abeam, late is early turned round")
	up, _ := trial.Must(motion.New(motion.Spec{Pitch: motion.Degree})).Displacement(
		fisheye{axis: r3.Vec{Z: -1}, right: r3.Vec{X: 1}, density: 50, centre: 3000}, r3.Vec{Z: -1}, 9, 1)
	assert.InDelta(t, 50, up.Y, 1e-6, "nose up: things go down")

	// The sky does not care about speed.
	sky, _ := ferry.Displacement(camera, r3.Vec{X: 1}, unit.Length(math.Inf(1)), 60)
	assert.Zero(t, sky)
}

func TestDisplacementEnds(t *testing.T) {
	m := trial.Must(motion.New(motion.Spec{Velocity: r3.Vec{Z: -6}}))
	camera, abeam, nan, inf := starboard(60, 4000), r3.Vec{X: 1}, math.NaN(), math.Inf(1)
	for name, tc := range map[string]struct {
		camera   motion.Camera
		dir      r3.Vec
		distance unit.Length
		time     unit.Time
	}{
		"no camera":      {nil, abeam, 40, 1},
		"nil camera":     {(*fisheye)(nil), abeam, 40, 1},
		"no direction":   {camera, r3.Vec{}, 40, 1},
		"NaN":            {camera, r3.Vec{X: 1, Y: nan}, 40, 1},
		"infinite":       {camera, r3.Vec{X: inf}, 40, 1},
		"too near":       {camera, abeam, 0.9e-6, 0},
		"distance NaN":   {camera, abeam, unit.Length(nan), 1},
		"too late":       {camera, abeam, 40, 3600.1},
		"too early":      {camera, abeam, 40, -3600.1},
		"time NaN":       {camera, abeam, 40, unit.Time(nan)},
		"not seen":       {camera, r3.Vec{X: -1}, 40, 1},
		"not seen later": {camera, r3.Vec{X: -math.Sin(4.9 * math.Pi / 180), Z: -math.Cos(4.9 * math.Pi / 180)}, 40, 5},
		"run over":       {fisheye{axis: r3.Vec{Z: -1}, right: r3.Vec{X: 1}, density: 1}, r3.Vec{Z: -1}, 6, 1},
	} {
		d, ok := m.Displacement(tc.camera, tc.dir, tc.distance, tc.time)
		assert.False(t, ok, name)
		assert.Zero(t, d, name)
	}
	for _, dir := range []r3.Vec{{X: 1e-320}, {X: 1e308, Y: 1e307}, {X: -1e308, Y: 1e308, Z: 1e308}} {
		got, ok := m.Direction(dir, 1e-6, 0)
		assert.True(t, ok)
		assert.InDelta(t, 1, r3.Norm(got), 1e-14)
	}
	_, ok := m.Direction(abeam, 40, -3600)
	assert.True(t, ok)
	_, ok = m.Angle(abeam, 0, 1)
	assert.False(t, ok)
	broken := projects(func() (x, y float64) { return nan, 1 })
	_, ok = m.Displacement(broken, abeam, 40, 1)
	assert.False(t, ok, "NaN of a camera is no answer")
}

// projects is a camera that puts everything where it likes.
type projects func() (x, y float64)

func (p projects) Project(r3.Vec) (x, y float64, ok bool) {
	x, y = p()
	return x, y, true
}

// TestSlowTurns: the slower a turn, the smaller its effect, down to none.
func TestSlowTurns(t *testing.T) {
	for _, turn := range []float64{1e-3, 1e-8, 1e-11, 1e-100, 1e-170, 1e-320, 0} {
		m := trial.Must(motion.New(motion.Spec{Yaw: unit.Angle(turn), Velocity: r3.Vec{Z: -3}}))
		got, ok := m.Direction(r3.Vec{Z: -1}, 100, 1)
		require.True(t, ok)
		// The way curves to the right, by half the turn of the nose in the way of 3 m.
		assert.InDelta(t, -turn*(1+1.5/97), got.X, 1e-12+1e-5*turn)
	}
}

func TestSpecsAreChecked(t *testing.T) {
	assert.Equal(t, trial.Must(motion.New(motion.Spec{Yaw: 1})), trial.Must(motion.New(motion.Spec{Yaw: 1})))
	for want, spec := range map[string]motion.Spec{
		"velocity x 1001 m/s: must be":    {Velocity: r3.Vec{X: 1001}},
		"velocity y NaN m/s: must be":     {Velocity: r3.Vec{Y: math.NaN()}},
		"velocity z -1001 m/s: must be":   {Velocity: r3.Vec{Z: -1001}},
		"arm z 2e+06 m: must be":          {Arm: r3.Vec{Z: 2e6}},
		"yaw a second 721°: must be":      {Yaw: 721 * motion.Degree},
		"pitch a second -721°: must be":   {Pitch: -721 * motion.Degree},
		"roll a second 5729.58°: must be": {Roll: 100},
		"is 100*Degree meant?":            {Roll: 100},
	} {
		_, err := motion.New(spec)
		assert.ErrorIs(t, err, motion.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
	spec := motion.Spec{Velocity: r3.Vec{X: 1, Z: -3}, Yaw: motion.Degree, Arm: r3.Vec{Y: 2}}
	text, err := json.Marshal(spec)
	require.NoError(t, err)
	var back motion.Spec
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, spec, back)
}

func readout(direction timing.ReadDirection, rows int, rowTime timing.Seconds) timing.ReadoutSpec {
	return timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: trial.Seconds(1, 48), Phase: timing.Centred, Rows: rows, RowTime: rowTime, Direction: direction}
}

// TestRecords opens one row after the other, and looks whether the thing is on it.
func TestRecords(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	const rows, rowTime = 8000, 5e-6
	camera := starboard(44, rows/2)
	for range 20 {
		spec := motion.Spec{Velocity: r3.Scale(20, random(rng)), Yaw: unit.Angle(rng.NormFloat64()), Pitch: unit.Angle(rng.NormFloat64()), Roll: unit.Angle(rng.NormFloat64())}
		m := trial.Must(motion.New(spec))
		dir := r3.Unit(r3.Add(r3.Vec{X: 2}, random(rng)))
		distance := unit.Length(10 + 50*rng.Float64())
		for _, direction := range []timing.ReadDirection{timing.TopDown, timing.BottomUp} {
			v := trial.Must(motion.NewView(camera, readout(direction, rows, trial.Seconds(5, 1e6))))
			got, ok := m.Record(v, dir, distance)
			require.True(t, ok)
			above := func(k float64) (height, x, y float64) { // of the thing over the row read k row times after the first
				row := k
				if direction == timing.BottomUp {
					row = rows - 1 - k
				}
				now, _ := m.Direction(dir, distance, unit.Time(k*rowTime))
				x, y, _ = camera.Project(now)
				return row + 0.5 - y, x, y
			}
			first, _, _ := above(0)
			k := 1.0
			for ; k < rows; k++ {
				if h, _, _ := above(k); h*first <= 0 {
					break
				}
			}
			for step := 0.5; step > 1e-12; step /= 2 { // it crosses between this row and the one before
				if h, _, _ := above(k - step); h*first <= 0 {
					k -= step
				}
			}
			_, x, y := above(k)
			ref.Near(t, "T-MOTION-RECORD", float64(got.Time)/rowTime, k, spec)
			ref.Near(t, "T-MOTION-RECORD", got.X, x, spec)
			ref.Near(t, "T-MOTION-RECORD", got.Y, y, spec)
			there, _, _ := camera.Project(got.Direction)
			assert.InDelta(t, got.X, there, 1e-9)
		}
	}
}

// TestShearOfASquare records the corners of a small square.
func TestShearOfASquare(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	camera := fisheye{axis: r3.Vec{Z: -1}, right: r3.Vec{X: 1}, density: 44, centre: 4000}
	for range 20 {
		m := trial.Must(motion.New(motion.Spec{Velocity: r3.Scale(20, random(rng)), Yaw: unit.Angle(rng.NormFloat64()), Pitch: unit.Angle(rng.NormFloat64())}))
		for _, direction := range []timing.ReadDirection{timing.TopDown, timing.BottomUp} {
			v := trial.Must(motion.NewView(camera, readout(direction, 8000, trial.Seconds(5, 1e6))))
			// Where the thing is at the time at which it is recorded.
			at, ok := m.Record(v, r3.Vec{X: 0.1 * rng.NormFloat64(), Y: 0.1 * rng.NormFloat64(), Z: -1}, 15)
			require.True(t, ok)
			shear, ok := m.Shear(v, at.Direction, 15)
			require.True(t, ok)
			// Two places, one above the other in the picture at that time; recorded by a shutter
			// that is set so that the upper is just read.
			half := r3.Scale(1e-5, r3.Unit(down(camera, at.Direction)))
			var x, y, x0, y0 [2]float64
			for i, d := range []r3.Vec{r3.Sub(at.Direction, half), r3.Add(at.Direction, half)} {
				x0[i], y0[i], _ = camera.Project(d)
				spec := readout(direction, 8000, trial.Seconds(5, 1e6))
				spec.Offset = trial.Must(timing.NearestSeconds(-at.Time, 1e15))
				shifted := trial.Must(motion.NewView(camera, spec))
				r, ok := m.Record(shifted, d, 15)
				require.True(t, ok)
				x[i], y[i] = r.X, r.Y
			}
			ref.Near(t, "T-MOTION-SHEAR", (x[1]-x[0])/(y[1]-y[0])-(x0[1]-x0[0])/(y0[1]-y0[0]), shear.Lean)
			ref.Near(t, "T-MOTION-SHEAR", (y[1]-y[0])/(y0[1]-y0[0]), shear.Stretch)
		}
	}
	// 10°/s to the right: things go left at 440 px/s, 0.0022 px a row of 5 µs.
	m := trial.Must(motion.New(motion.Spec{Yaw: 10 * motion.Degree}))
	for direction, lean := range map[timing.ReadDirection]float64{timing.TopDown: -0.0022, timing.BottomUp: 0.0022} {
		s, ok := m.Shear(trial.Must(motion.NewView(camera, readout(direction, 8000, trial.Seconds(5, 1e6)))), r3.Vec{Z: -1}, 15)
		require.True(t, ok)
		assert.InEpsilon(t, lean, s.Lean, 1e-6)
		assert.InDelta(t, 1, s.Stretch, 1e-6)
	}
	still, ok := trial.Must(motion.New(motion.Spec{})).Shear(trial.Must(motion.NewView(camera, readout(timing.TopDown, 8000, trial.Seconds(5, 1e6)))), r3.Vec{Z: -1}, 15)
	assert.True(t, ok)
	assert.Equal(t, motion.Shear{Stretch: 1}, still)
}

// down is a step in direction that goes straight down in the picture.
func down(f fisheye, dir r3.Vec) r3.Vec {
	d := r3.Cross(f.axis, f.right)
	a := r3.Unit(r3.Sub(d, r3.Scale(r3.Dot(d, dir), dir)))
	b := r3.Cross(a, dir)
	step := func(v r3.Vec) (x, y float64) {
		x0, y0, _ := f.Project(dir)
		x1, y1, _ := f.Project(r3.Add(dir, r3.Scale(1e-6, v)))
		return x1 - x0, y1 - y0
	}
	xa, ya := step(a)
	xb, yb := step(b)
	v := r3.Sub(r3.Scale(xb, a), r3.Scale(xa, b))
	if xb*ya-xa*yb < 0 {
		v = r3.Scale(-1, v)
	}
	return v
}

// TestSkewOfASeam: one camera reads down, the other hangs upside down and so reads up. A
// thing a quarter from the top is recorded half a frame apart.
func TestSkewOfASeam(t *testing.T) {
	const density = 69.7
	rows := int(180 * density) // of 1/24 s in all
	camera := starboard(density, float64(rows)/2)
	rowTime := trial.Must(trial.Rate(24, 1).Period().Scale(1, int64(rows)))
	down := trial.Must(motion.NewView(camera, readout(timing.TopDown, rows, rowTime)))
	up := trial.Must(motion.NewView(camera, readout(timing.BottomUp, rows, rowTime)))
	m := trial.Must(motion.New(motion.Spec{Yaw: 10 * motion.Degree}))
	dir := r3.Vec{X: math.Sqrt2 / 2, Y: math.Sqrt2 / 2}
	for _, distance := range []unit.Length{1, 30, unit.Length(math.Inf(1))} {
		s, ok := m.Skew(down, up, dir, distance)
		require.True(t, ok)
		ref.Near(t, "T-MOTION-SKEW", float64(s.Time), 1./48, distance)
		// Turning about the vertical moves it by cos 45° of the turn, on the sphere.
		ref.Near(t, "T-MOTION-SKEW", float64(s.Angle/motion.Degree), 10./48*math.Sqrt2/2, distance)
		ref.Near(t, "T-MOTION-SKEW", s.FirstPixels/(math.Pi/4/math.Sin(math.Pi/4)), 14.52*math.Sqrt2/2, distance)
		assert.InDelta(t, s.FirstPixels, s.SecondPixels, 1e-9)
		back, ok := m.Skew(up, down, dir, distance)
		require.True(t, ok)
		assert.InDelta(t, -float64(s.Time), float64(back.Time), 1e-15)
	}
	// A camera of a narrow field, whose edge the thing crosses in between.
	edge := starboard(density, float64(rows)/2)
	edge.limit = 60
	narrow := trial.Must(motion.NewView(edge, readout(timing.TopDown, rows, rowTime)))
	leaves := r3.Vec{X: math.Cos(math.Pi / 3.0303), Z: math.Sin(math.Pi/3.0303) * math.Sqrt(1-0.49), Y: math.Sin(math.Pi/3.0303) * 0.7}
	_, ok := m.Record(narrow, leaves, 30)
	require.True(t, ok, "at the edge")
	_, ok = m.Record(up, leaves, 30)
	require.True(t, ok)
	back := trial.Must(motion.New(motion.Spec{Yaw: -40 * motion.Degree}))
	_, ok = back.Record(narrow, leaves, 30)
	require.True(t, ok, "it is read before it leaves")
	_, ok = back.Skew(narrow, up, leaves, 30)
	assert.False(t, ok, "one does not see where the other recorded it")
	_, ok = back.Skew(up, narrow, leaves, 30)
	assert.False(t, ok)
	same, ok := m.Skew(down, down, dir, 30)
	assert.True(t, ok)
	assert.Zero(t, same)
}

func TestViewsAreChecked(t *testing.T) {
	camera := starboard(44, 4000)
	good := readout(timing.TopDown, 8000, trial.Seconds(5, 1e6))
	for want, f := range map[string]func() (motion.View, error){
		"camera: must be set": func() (motion.View, error) { return motion.NewView(nil, good) },
		"readout: sync: row time": func() (motion.View, error) {
			bad := good
			bad.RowTime = trial.Seconds(-1, 9)
			return motion.NewView(camera, bad)
		},
		"readout: sync: rate: must be": func() (motion.View, error) { return motion.NewView(camera, timing.ReadoutSpec{}) },
	} {
		_, err := f()
		assert.ErrorIs(t, err, motion.ErrInvalid)
		assert.ErrorContains(t, err, want)
	}
	v := trial.Must(motion.NewView(camera, good))
	m := trial.Must(motion.New(motion.Spec{Pitch: 30 * motion.Degree}))
	for name, tc := range map[string]struct {
		m        motion.Motion
		v        motion.View
		dir      r3.Vec
		distance unit.Length
	}{
		"zero view":    {m, motion.View{}, r3.Vec{X: 1}, 5},
		"not seen":     {m, v, r3.Vec{X: -1}, 5},
		"no distance":  {m, v, r3.Vec{X: 1}, 0},
		"off the rows": {m, trial.Must(motion.NewView(starboard(44, 100), readout(timing.TopDown, 200, trial.Seconds(5, 1e6)))), r3.Vec{X: 1, Y: -0.1}, 5},
	} {
		_, ok := tc.m.Record(tc.v, tc.dir, tc.distance)
		assert.False(t, ok, name)
		_, ok = tc.m.Skew(tc.v, v, tc.dir, tc.distance)
		assert.False(t, ok, name)
		_, ok = tc.m.Skew(v, tc.v, tc.dir, tc.distance)
		assert.False(t, ok, name)
	}
	_, ok := m.Shear(motion.View{}, r3.Vec{X: 1}, 5)
	assert.False(t, ok)
	_, ok = m.Shear(v, r3.Vec{}, 5)
	assert.False(t, ok)
	anywhere := trial.Must(motion.NewView(projects(func() (x, y float64) { return 7, 7 }), good))
	_, ok = m.Shear(anywhere, r3.Vec{}, 5)
	assert.False(t, ok, "the camera would not mind")
	falls := trial.Must(motion.New(motion.Spec{Velocity: r3.Vec{Y: 1000}})) // the vehicle rises: 2.5 rows in a row time
	_, ok = falls.Shear(v, r3.Vec{X: 1}, 5)
	assert.False(t, ok)
	// A nose that rises at 0.98 rows in a row time: the row is found too slowly.
	ahead := fisheye{axis: r3.Vec{Z: -1}, right: r3.Vec{X: 1}, density: 44, centre: 500}
	slow := trial.Must(motion.NewView(ahead, readout(timing.TopDown, 1000, trial.Seconds(1, 24000))))
	for rows, want := range map[float64]bool{0.88: true, 0.98: false} {
		m := trial.Must(motion.New(motion.Spec{Pitch: unit.Angle(rows*24000/44) * motion.Degree}))
		elevation := 490. / 44 * math.Pi / 180 // 10 rows from the top
		got, ok := m.Record(slow, r3.Vec{Y: math.Sin(elevation), Z: -math.Cos(elevation)}, 5)
		assert.Equal(t, want, ok, rows)
		if ok {
			assert.InDelta(t, (10-0.5*rows)/(1-rows), got.Y, 1e-5, "y = 10 + rows (y − 0.5)")
		}
	}
}
