package warp_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// exact evaluates a map without one.
func exact(target warp.Target, source warp.Source, x, y float64) (sx, sy float64, ok bool) {
	d, ok := target.Unproject(x, y)
	if !ok {
		return 0, 0, false
	}
	return source.Project(d)
}

// worstError compares a map at every pixel centre with its two functions, and
// fails where one sees and the other does not.
func worstError(t *testing.T, m *warp.Map, target warp.Target, source warp.Source, wrap bool) (worst float64, seen int) {
	t.Helper()
	w, h := target.Size()
	sw, _ := source.Size()
	for y := range h {
		for x := range w {
			px, py := float64(x)+0.5, float64(y)+0.5
			gx, gy, ok := m.At(px, py)
			ex, ey, want := exact(target, source, px, py)
			if ok != want {
				t.Fatalf("(%v, %v): seen %v, want %v", px, py, ok, want)
			}
			if !ok {
				continue
			}
			seen++
			dx := gx - ex
			if wrap {
				dx -= float64(sw) * math.Round(dx/float64(sw))
			}
			worst = max(worst, math.Hypot(dx, gy-ey))
		}
	}
	return worst, seen
}

func TestMapHoldsItsTolerance(t *testing.T) {
	near.NumbersOnly(t)
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
		wrap   bool
	}{
		"view of a fisheye":          {newView(480, 270, 60*degree, 20*degree, 10*degree, 5*degree), newFisheye(2000, 180*degree, 0, 0), false},
		"view past a fisheye's edge": {newView(480, 270, 80*degree, 80*degree, 20*degree, 0), newFisheye(2000, 180*degree, 0, 0), false},
		"turned away by 120 degrees": {newView(320, 320, 90*degree, 120*degree, 0, 0), newFisheye(1000, 200*degree, 0, 0), false},
		"panorama of a fisheye":      {equirect{600, 300, 0}, newFisheye(900, 220*degree, 30*degree, 20*degree), false},
		"view across a seam":         {newView(400, 300, 90*degree, 178*degree, 3*degree, 0), equirect{3000, 1500, 0}, true},
		"view of a pole":             {newView(301, 277, 90*degree, 40*degree, 88*degree, 0), equirect{2000, 1000, 0}, true},
		"fisheye of a panorama":      {cameraAsTarget{newFisheye(300, 180*degree, 170*degree, 60*degree)}, equirect{2000, 1000, 0}, true},
		"edge between two nodes":     {flat(192, 192), disc{flat(192, 192)}, false},
		"one pixel":                  {newView(1, 1, 90*degree, 0, 0, 0), equirect{2000, 1000, 0}, true},
		"one row":                    {newView(333, 1, 90*degree, 0, 0, 0), equirect{2000, 1000, 0}, true},
	} {
		t.Run(name, func(t *testing.T) {
			for _, tol := range []float64{1.0 / 64, 1e-3} {
				m, err := warp.NewMap(t.Context(), tc.target, tc.source, warp.MapOptions{Tolerance: tol})
				require.NoError(t, err)
				worst, seen := worstError(t, m, tc.target, tc.source, tc.wrap)
				r := m.Report()
				checkBound(t, worst, r.LargestError, tol)
				w, h := tc.target.Size()
				assert.InDelta(t, seen, r.SeenFraction*float64(w*h), 1e-6, "pixels that see")
			}
		})
	}
}

// checkBound compares the largest error at any pixel with what the report
// says it is at most, to the rounding of stored offsets, and that with the
// tolerance.
func checkBound(t *testing.T, worst, bound, tolerance float64) {
	t.Helper()
	assert.LessOrEqual(t, worst, bound+1e-5, "error at a pixel, beside that reported")
	assert.LessOrEqual(t, bound, tolerance, "error reported")
}

// TestMapHoldsItsToleranceAtEveryPixel of random views of every lens model, of
// tables of nine and of more points, of panoramas and of cubes.
func TestMapHoldsItsToleranceAtEveryPixel(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(21, 22))
	interpolated := 0
	for k := range 160 {
		pose := projection.Pose{Heading: unit.Angle(0.6 * rng.NormFloat64()), Elevation: unit.Angle(0.4 * rng.NormFloat64()), Roll: unit.Angle(rng.Float64())}
		target, err := projection.NewView(projection.ViewSpec{Width: 300, Height: 170, Across: unit.Angle(0.15 + 1.5*rng.Float64()), Pose: pose})
		require.NoError(t, err)
		var source warp.Source
		wrap := false
		side := 1000 + rng.IntN(5000)
		switch k % 16 {
		case 14:
			source, err = panorama.NewEquirect(2*side, side, projection.Pose{Heading: unit.Angle(rng.Float64())})
			wrap = true
		case 15:
			source, err = panorama.NewCube(side/2, projection.Pose{Heading: unit.Angle(rng.Float64())})
		default:
			form := projection.Form(k%7%5 + 1)
			var model projection.Model = form
			if points := []int{0, 9, 9, 9, 20, 60, 3}[k%7]; points > 0 {
				model = tableOf(t, form, points)
			}
			source, err = projection.NewCamera(projection.CameraSpec{Model: model, FocalX: float64(side) / 2, FocalY: float64(side) / 2, Width: side, Height: side})
		}
		require.NoError(t, err)
		m := newMap(t, target, onRaster{source})
		worst, seen := worstError(t, m, target, onRaster{source}, wrap)
		r := m.Report()
		checkBound(t, worst, r.LargestError, 1.0/64)
		interpolated += seen - int(math.Round(r.StoredFraction*300*170))
		if t.Failed() {
			t.Fatalf("%d: %T of %d px, view %+v", k, source, side, pose)
		}
	}
	assert.GreaterOrEqual(t, interpolated, 160*300*170/4)
}

// tableOf samples a closed form at even steps up to 80°.
func tableOf(t *testing.T, form projection.Form, n int) projection.Model {
	t.Helper()
	var points []projection.TablePoint
	for i := range n {
		angle := 80 * degree * unit.Angle(i+1) / unit.Angle(n)
		height, _ := form.Radius(angle)
		points = append(points, projection.TablePoint{Angle: angle, Height: height})
	}
	table, err := projection.NewTable(points)
	require.NoError(t, err)
	return table
}

// onRaster sees nothing beyond its raster, where a camera's Project goes on.
type onRaster struct{ warp.Source }

func (s onRaster) Project(d vec) (x, y float64, ok bool) {
	w, h := s.Size()
	x, y, ok = s.Source.Project(d)
	return x, y, ok && x >= 0 && y >= 0 && x <= float64(w) && y <= float64(h)
}

// The embedded interface hides what else the source tells.
func (s onRaster) WrapX() bool {
	w, ok := s.Source.(interface{ WrapX() bool })
	return ok && w.WrapX()
}

func (s onRaster) WrapY() bool {
	w, ok := s.Source.(interface{ WrapY() bool })
	return ok && w.WrapY()
}

func (s onRaster) Breaks() (xs, ys []float64) {
	if b, ok := s.Source.(interface{ Breaks() (xs, ys []float64) }); ok {
		return b.Breaks()
	}
	return nil, nil
}

// disc is a flat source that sees a disc whose right end comes 0.9 px into a
// cell, between two of its nodes.
type disc struct{ *plane }

func (s disc) Project(d vec) (x, y float64, ok bool) {
	return d.X, d.Y, math.Hypot(d.X-67, d.Y-55.75) <= 30
}

type cameraAsTarget struct{ fisheye }

func (c cameraAsTarget) Unproject(x, y float64) (r3.Vec, bool) {
	dx, dy := x-float64(c.w)/2, float64(c.h)/2-y
	theta := math.Hypot(dx, dy) / c.focal
	if theta > c.limit {
		return r3.Vec{}, false
	}
	s := math.Sin(theta)
	if theta > 0 {
		s /= theta * c.focal
	}
	return c.axes.ToStage(r3.Vec{X: dx * s, Y: dy * s, Z: -math.Cos(theta)}), true
}

func TestAtSnyder(t *testing.T) {
	// Snyder's example of the azimuthal equidistant projection: R = 3, centre
	// 40° N 100° W, point 20° S 100° E, 153.7° off the axis. Here 1000 px
	// stand for his unit.
	camera := newFisheye(18850, 360*degree, -100*degree, 40*degree)
	camera.focal = 3000
	target := equirect{720, 360, 0}
	x, y := (100.0/360+0.5)*720, (0.5+20.0/180)*360
	const wantX, wantY = 9425 - 5831.1398, 9425 - 5544.4634
	for _, tol := range []float64{1.0 / 64, 1e-6} {
		m, err := warp.NewMap(t.Context(), target, camera, warp.MapOptions{Tolerance: tol})
		require.NoError(t, err)
		gx, gy, ok := m.At(x, y)
		ref.Equal(t, "WARP-AT-SEEN", ok, true)
		if tol < 1e-3 {
			ref.Near(t, "WARP-AT-TIGHT", gx, wantX)
			ref.Near(t, "WARP-AT-TIGHT", gy, wantY)
		}
		ref.Within(t, "WARP-AT", math.Hypot(gx-wantX, gy-wantY), tol)
	}
}

func TestJacobianSnyder(t *testing.T) {
	// Azimuthal equidistant: h' = 1 along the radius, k' = c / sin c across,
	// which is π/2 at c = 90°. The target is a panorama of 1 px a milliradian
	// or so on its equator.
	camera := newFisheye(4000, 360*degree, 0, 0)
	target := equirect{6000, 3000, 0}
	m := newMap(t, target, camera)
	pixel := camera.focal * 2 * math.Pi / 6000
	j, ok := m.Jacobian(4500, 1500)
	require.True(t, ok)
	major, minor := j.Scales()
	ref.Near(t, "WARP-JACOBIAN", major/pixel, 1.5707963, "k'")
	ref.Near(t, "WARP-JACOBIAN", minor/pixel, 1, "h'")
	ref.Near(t, "WARP-JACOBIAN", j.XX/pixel, 1, "h' is along x")
}

func TestScales(t *testing.T) {
	major, minor := warp.Jacobian{XX: 3, XY: 0, YX: 4, YY: 5}.Scales()
	ref.Near(t, "WARP-SCALES", major, 3*math.Sqrt(5))
	ref.Near(t, "WARP-SCALES", minor, math.Sqrt(5))
	for j, want := range map[warp.Jacobian][2]float64{
		{}:                           {0, 0},
		{XX: 1, YY: 1}:               {1, 1},
		{XX: -2, YY: 2}:              {2, 2},
		{XY: 3, YX: 1}:               {3, 1},
		{XX: 1, XY: 1, YX: 1, YY: 1}: {2, 0},
		{XX: 1e200, YY: 1e200}:       {1e200, 1e200},
		// det = 1.1102230246251565e-15 exactly, and major = 2 to 1e-15.
		{XX: 1, XY: 1, YX: 1, YY: 1 + 5*0x1p-52}: {2, 5 * 0x1p-53},
		{XX: math.Inf(1), YY: 1}:                 {math.Inf(1), math.NaN()},
		{XX: math.NaN(), XY: 1, YY: 1}:           {math.NaN(), math.NaN()},
	} {
		a, b := j.Scales()
		same := func(x, y float64) bool { return math.Abs(x-y) <= 1e-15*y || x == y || x != x && y != y }
		if !same(a, want[0]) || !same(b, want[1]) {
			t.Errorf("%+v: got %v, %v, want %v", j, a, b, want)
		}
	}
}

// TestJacobianIsTheDerivative compares with differences of At.
func TestJacobianIsTheDerivative(t *testing.T) {
	target := newView(400, 300, 80*degree, 175*degree, 30*degree, 10*degree)
	for _, source := range []warp.Source{newFisheye(1500, 200*degree, 160*degree, 0), equirect{3000, 1500, 0}} {
		m := newMap(t, target, source)
		for _, p := range [][2]float64{{10.5, 10.5}, {200, 150}, {390.2, 280.7}} {
			j, ok := m.Jacobian(p[0], p[1])
			if !ok {
				continue
			}
			const h = 0.01
			ax, ay, _ := exact(target, source, p[0]-h, p[1])
			bx, by, _ := exact(target, source, p[0]+h, p[1])
			cx, cy, _ := exact(target, source, p[0], p[1]-h)
			dx, dy, _ := exact(target, source, p[0], p[1]+h)
			want := warp.Jacobian{XX: (bx - ax) / (2 * h), YX: (by - ay) / (2 * h), XY: (dx - cx) / (2 * h), YY: (dy - cy) / (2 * h)}
			assert.Empty(t, cmp.Diff(want, j, cmpopts.EquateApprox(0, 0.0025)), "%T %v", source, p)
		}
	}
}

func TestReportOfACircle(t *testing.T) {
	// A target that is the source's own raster sees a disc inscribed in a
	// square: π/4 of it.
	camera := newFisheye(2000, 180*degree, 0, 0)
	m := newMap(t, cameraAsTarget{camera}, camera)
	r := m.Report()
	ref.Near(t, "WARP-REPORT", r.SeenFraction, math.Pi/4)
	assert.InDelta(t, 1, r.SmallestScale, 1e-3)
	assert.InDelta(t, 1, r.LargestScale, 1e-3)
	assert.Greater(t, r.StoredFraction, 0.0)
	assert.LessOrEqual(t, r.StoredFraction, 0.12)
	var none *warp.Map
	assert.Zero(t, none.Report())
	_, _, ok := none.At(1, 1)
	assert.False(t, ok)
	_, ok = new(warp.Map).Jacobian(0, 0)
	assert.False(t, ok)
}

// TestReportOfScales of a plane that is stretched, turned and shifted, as
// interpolated cells and as stored ones have them.
func TestReportOfScales(t *testing.T) {
	const major, minor = 3, 0.4
	sin, cos := math.Sincos(0.3)
	target := flat(90, 70)
	target.xx, target.xy, target.x0 = major*cos, -minor*sin, 100
	target.yx, target.yy, target.y0 = major*sin, minor*cos, 100
	for name, source := range map[string]warp.Source{
		"interpolated": flat(600, 600),
		"stored":       jagged{flat(600, 600)},
	} {
		r := newMap(t, target, source).Report()
		assert.Equal(t, name == "stored", r.StoredFraction == 1)
		assert.InDelta(t, major, r.LargestScale, 1e-4, name)
		assert.InDelta(t, minor, r.SmallestScale, 1e-4, name)
	}
}

// jagged has a joint at every pixel, so that nothing is interpolated.
type jagged struct{ *plane }

func (s jagged) Breaks() (xs, ys []float64) {
	for x := range s.w {
		xs = append(xs, float64(x))
	}
	return xs, nil
}

func TestMapOfAPlateIsSmall(t *testing.T) {
	near.NumbersOnly(t)
	m := newMap(t, newView(12288, 6480, 100*degree, 0, 0, 0), newFisheye(8000, 180*degree, 0, 0))
	r := m.Report()
	assert.LessOrEqual(t, r.Bytes, 32<<20)
	assert.Zero(t, r.StoredFraction)
	assert.Less(t, r.LargestError, 1.0/64)
	m = newMap(t, cameraAsTarget{newFisheye(6480, 180*degree, 0, 0)}, newFisheye(8000, 180*degree, 0, 0))
	assert.LessOrEqual(t, m.Report().Bytes, 32<<20, "with a circle's edge")
}

func TestAtOutside(t *testing.T) {
	m := newMap(t, flat(40, 30), flat(40, 30))
	for _, p := range [][2]float64{{-0.001, 3}, {40.001, 3}, {3, -1}, {3, 30.5}, {math.NaN(), 1}, {1, math.NaN()}, {math.Inf(1), 1}, {1, math.Inf(-1)}, {1e300, 1}} {
		_, _, ok := m.At(p[0], p[1])
		assert.False(t, ok, "%v", p)
		_, ok = m.Jacobian(p[0], p[1])
		assert.False(t, ok, "%v", p)
	}
	for _, p := range [][2]float64{{0, 0}, {40, 30}, {0.5, 0.5}, {39.5, 29.5}} {
		x, y, ok := m.At(p[0], p[1])
		assert.True(t, ok, "%v", p)
		assert.InDeltaSlice(t, p[:], []float64{x, y}, 1e-12)
	}
}

// bent is a target whose left half looks at the source straight and whose
// right half looks at it mirrored about the break.
type bent struct {
	plane
	at float64
}

func (b *bent) Unproject(x, y float64) (r3.Vec, bool) {
	if x < b.at {
		return r3.Vec{X: x + 100, Y: y, Z: 1}, true
	}
	return r3.Vec{X: 2*b.at - x + 100, Y: y, Z: 1}, true
}

func (b *bent) Breaks() (xs, ys []float64) {
	return []float64{b.at, math.NaN(), -1, math.Inf(1), 1e9, b.at}, nil
}

func TestBreaksAreNotCrossed(t *testing.T) {
	for _, at := range []float64{50, 45.5, 41.25, 64, 1, 0.5, 99} {
		target := &bent{plane: *flat(100, 40), at: at}
		source := flat(300, 40)
		m := newMap(t, target, source)
		if at >= 2 && at <= 98 {
			assert.Zero(t, m.Report().StoredFraction, "break at %v", at)
		}
		worst, _ := worstError(t, m, target, source, false)
		assert.LessOrEqual(t, worst, 1e-9, "break at %v", at)
	}
}

func TestNewMapRefuses(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	good := flat(4, 4)
	odd := flat(5, 4)
	odd.wrap = true
	for name, f := range map[string]func() (*warp.Map, error){
		"nil context":   func() (*warp.Map, error) { return warp.NewMap(noContext, good, good, warp.MapOptions{}) },
		"nil target":    func() (*warp.Map, error) { return warp.NewMap(ctx, nil, good, warp.MapOptions{}) },
		"nil source":    func() (*warp.Map, error) { return warp.NewMap(ctx, good, nil, warp.MapOptions{}) },
		"empty target":  func() (*warp.Map, error) { return warp.NewMap(ctx, flat(0, 4), good, warp.MapOptions{}) },
		"empty source":  func() (*warp.Map, error) { return warp.NewMap(ctx, good, flat(4, 0), warp.MapOptions{}) },
		"vast target":   func() (*warp.Map, error) { return warp.NewMap(ctx, flat(1<<24, 1<<24), good, warp.MapOptions{}) },
		"large source":  func() (*warp.Map, error) { return warp.NewMap(ctx, good, flat(1<<25, 4), warp.MapOptions{}) },
		"odd panorama":  func() (*warp.Map, error) { return warp.NewMap(ctx, good, odd, warp.MapOptions{}) },
		"tolerance":     func() (*warp.Map, error) { return warp.NewMap(ctx, good, good, warp.MapOptions{Tolerance: -1}) },
		"NaN tolerance": func() (*warp.Map, error) { return warp.NewMap(ctx, good, good, warp.MapOptions{Tolerance: math.NaN()}) },
	} {
		m, err := f()
		assert.Nil(t, m, name)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	cancel()
	_, err := warp.NewMap(ctx, good, good, warp.MapOptions{})
	assert.ErrorIs(t, err, context.Canceled, "cancelled")
}

func TestNewMapTellsItsProgress(t *testing.T) {
	var mu sync.Mutex
	last, calls := 0, 0
	_, err := warp.NewMap(t.Context(), flat(100, 200), flat(100, 200), warp.MapOptions{Progress: func(done, total int) {
		if !mu.TryLock() {
			t.Error("two calls at a time")
			return
		}
		defer mu.Unlock()
		assert.Equal(t, [2]int{last + 1, 14}, [2]int{done, total})
		last = done
		calls++
	}})
	require.NoError(t, err)
	assert.Equal(t, 14, calls)
}

// TestPolesAreExact: no tolerance lets a cell be interpolated across a pole.
func TestPolesAreExact(t *testing.T) {
	target, source := newView(96, 96, 90*degree, 0, 90*degree, 0), equirect{200, 100, 0}
	m, err := warp.NewMap(t.Context(), target, source, warp.MapOptions{Tolerance: 1e6})
	require.NoError(t, err)
	for y := 40; y < 56; y++ {
		for x := 40; x < 56; x++ {
			gx, gy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
			wx, wy, _ := exact(target, source, float64(x)+0.5, float64(y)+0.5)
			if gx != wx || gy != wy {
				t.Fatalf("(%d, %d): got (%v, %v), want (%v, %v)", x, y, gx, gy, wx, wy)
			}
		}
	}
}

// TestWorkersRunAtOnce lets the first two calls of a source wait for each
// other.
func TestWorkersRunAtOnce(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	var calls atomic.Int32
	met := make(chan struct{})
	source := flat(100, 100)
	source.hostile = func(x, y float64) (float64, float64, bool) {
		switch calls.Add(1) {
		case 1:
			select {
			case <-met:
			case <-time.After(10 * time.Second):
				t.Error("a second worker does not come")
			}
		case 2:
			close(met)
		}
		return x, y, true
	}
	newMap(t, flat(100, 100), source)
}

// TestPanicsComeBack: one in another goroutine goes on in that of the caller, and
// stops the others.
func TestPanicsComeBack(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	source := flat(64, 4000)
	var calls atomic.Int32
	run := func(end func()) (cause any, err error) {
		calls.Store(0)
		source.hostile = func(x, y float64) (float64, float64, bool) {
			if calls.Add(1); !strings.Contains(string(debug.Stack()), "testing.tRunner(") {
				end()
			}
			return x, y, true
		}
		defer func() { cause = recover() }()
		_, err = warp.NewMap(t.Context(), flat(64, 4000), source, warp.MapOptions{Workers: 3})
		return nil, err
	}
	cause, err := run(func() {})
	require.NoError(t, err)
	require.Nil(t, cause)
	all := calls.Load()
	cause, err = run(func() { panic("a source") })
	assert.NoError(t, err)
	assert.Equal(t, "a source", cause)
	assert.LessOrEqual(t, calls.Load(), all*3/4, "calls after a panic")
	cause, err = run(runtime.Goexit)
	assert.Error(t, err)
	assert.Nil(t, cause)
	assert.LessOrEqual(t, calls.Load(), all*3/4, "calls after the end of a goroutine")
}

// TestFramesAfterAPanic: what works along is used again, and forgets it.
func TestFramesAfterAPanic(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	dst, src, m := scene[uint8](t)
	ended := false
	for i := range 6 {
		func() {
			defer func() { recover() }()
			err := warp.Warp(t.Context(), dst, src, m, warp.Options{Workers: 3, Progress: func(int, int) {
				if i%2 == 0 {
					panic("progress")
				} else if !strings.Contains(string(debug.Stack()), "testing.tRunner(") {
					runtime.Goexit()
				}
			}})
			if i%2 == 0 {
				t.Error("no panic")
			}
			ended = ended || err != nil
		}()
		mustWarp(t, dst, src, m, warp.Options{Workers: 3})
	}
	if !ended {
		t.Log("no other goroutine got to work")
	}
}

// TestPanicsWaitForTheOthers lets a source panic in the goroutine that called
// while another works: no call may come when the panic has.
func TestPanicsWaitForTheOthers(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	goroutine := func() string {
		b := make([]byte, 64)
		name, _, _ := strings.Cut(string(b[:runtime.Stack(b, false)]), "[")
		return name
	}
	caller := goroutine()
	var within atomic.Int32
	begun := make(chan struct{})
	var once sync.Once
	source := flat(100, 2000)
	source.hostile = func(x, y float64) (float64, float64, bool) {
		if goroutine() == caller {
			<-begun
			panic("a source")
		}
		within.Add(1)
		defer within.Add(-1)
		once.Do(func() { close(begun) })
		time.Sleep(time.Millisecond)
		return x, y, true
	}
	defer func() {
		assert.Equal(t, "a source", recover())
		assert.Zero(t, within.Load(), "calls under way")
	}()
	warp.NewMap(t.Context(), flat(100, 2000), source, warp.MapOptions{Workers: 2})
	t.Error("no panic")
}

// TestReportedScales are the extremes over all pixels, where the map is smooth.
func TestReportedScales(t *testing.T) {
	near.NumbersOnly(t)
	m := newMap(t, newView(800, 600, 60*degree, 30*degree, 20*degree, 10*degree), newFisheye(1200, 180*degree, 0, 0))
	r := m.Report()
	require.Zero(t, r.StoredFraction)
	smallest, largest := math.Inf(1), 0.0
	for i := range 800 * 600 {
		j, ok := m.Jacobian(float64(i%800)+0.5, float64(i/800)+0.5)
		require.True(t, ok)
		major, minor := j.Scales()
		smallest, largest = min(smallest, minor), max(largest, major)
	}
	assert.InEpsilon(t, smallest, r.SmallestScale, 1e-3, "the extremes lie at corners, which are nodes")
	assert.InEpsilon(t, largest, r.LargestScale, 1e-3, "the extremes lie at corners, which are nodes")
}

// withinRaster tells of positions outside its raster, of which a target knows nothing.
type withinRaster struct {
	warp.Target
	t *testing.T
}

func (r withinRaster) Unproject(x, y float64) (vec, bool) {
	if w, h := r.Size(); !(x >= 0 && x <= float64(w) && y >= 0 && y <= float64(h)) {
		r.t.Errorf("asked about (%v, %v) of %d × %d px", x, y, w, h)
	}
	return r.Target.Unproject(x, y)
}

func TestTargetsAreAskedWithinTheirRaster(t *testing.T) {
	for _, source := range []warp.Source{newFisheye(400, 60*degree, 0, 0), equirect{400, 200, 0}} {
		m := newMap(t, withinRaster{newView(100, 80, 100*degree, 0, 60*degree, 0), t}, source)
		w, h := source.Size()
		mustWarp(t, newFrame[uint8](t, 100, 80, 1), newFrame[uint8](t, w, h, 1), m, warp.Options{Workers: 1})
	}
}
