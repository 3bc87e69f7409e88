package alias_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// square is a flat wall of 4 m by 4 m with 1 cm pixels around a place, facing +Z.
func square(t testing.TB, at r3.Vec) alias.Surface {
	w := must[wall.Wall](t)(wall.New(wall.Spec{
		PanelWidth: 4, PanelHeight: 4, PanelPixelsX: 400, PanelPixelsY: 400, Columns: 1, Rows: 1, Position: at,
	}))
	return alias.Surface{Wall: w, Emitters: half}
}

// ahead is a pinhole of 1000 photosites of focal length that looks along −Z. A
// pixel of square, d metres away, is 10/d photosites in its picture.
func ahead(eye r3.Vec) alias.Shot {
	return alias.Shot{Eye: eye, Camera: camera{axes: orient.FromAngles(0, 0, 0), focal: 1000, width: 160, height: 90}}
}

// dull is a lens that leaves nothing at 0.9 cycles per photosite and more.
func dull(nu r2.Vec, _ r3.Vec) float64 {
	if r2.Norm(nu) >= 0.9 {
		return 0
	}
	return -0.5
}

func scene(t testing.TB, order int, surfaces ...alias.Surface) alias.Scene {
	return must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: surfaces, Order: order}))
}

// The worst alias of each place is the worst of all components there.
func TestMapAgainstASearch(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(71, 1))
	kinds := map[alias.Kind]int{}
	for i := range 40 {
		s := anyShot(t, rng, 0.5, 12)
		s.Photosites.Sampling = alias.Sampling(i % 4)
		s.Photosites.LowPassX, s.Photosites.LowPassY = rng.Float64(), rng.Float64()
		s.Photosites.Response = alias.Response{Red: rng.Float64(), Green: rng.Float64(), Blue: rng.Float64()}
		width := 1.5 * rng.Float64()
		s.Transfer = func(nu r2.Vec, way r3.Vec) float64 {
			x := 1e-9 + width*r3.Norm(way)/1000*r2.Norm(nu)
			return math.Sin(x) / x // negative, sometimes
		}
		viewer := alias.Viewer{PhotositesPerDegree: 10 + 90*rng.Float64()}
		if i%5 == 0 {
			viewer.Contrast = 0.01
		}
		sc := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{s.surface}, Order: 1 + i%6, Viewer: viewer}))
		// Let the place be in the middle of a picture of its own.
		at := s.place(s.x, s.y)
		s.Camera = cropped{s.Camera.(camera), at.X - 40, at.Y - 30}
		nodes, verdict, err := sc.Map(context.Background(), s.Shot, alias.Frame{Columns: 2, Rows: 3})
		require.NoError(t, err)
		require.Len(t, nodes, 6)
		most := -1.0
		for k, n := range nodes {
			ref.Equal(t, "W-A1", [2]float64{n.X, n.Y}, [2]float64{20 + 40*float64(k%2), 10 + 20*float64(k/2)}, "place")
			all, why, err := sc.Aliases(s.Shot, n.X, n.Y)
			require.NoError(t, err)
			ref.Equal(t, "W-A1", n.Sight, why)
			best, strongest := 0.0, 0.0
			var worst alias.Alias
			for _, a := range all {
				if a.Kind == alias.Resolved {
					strongest = max(strongest, a.Contrast)
					continue
				}
				threshold, err := viewer.Threshold(r2.Norm(a.Pattern))
				require.NoError(t, err)
				if worst == (alias.Alias{}) || a.Contrast/threshold > best {
					best, worst = a.Contrast/threshold, a
				}
			}
			assert.InDelta(t, best, n.Visibility, 1e-9*best, "the same, summed up in another order")
			if worst == (alias.Alias{}) {
				assert.InDelta(t, strongest, n.Alias.Contrast, 1e-12, "the strongest resolved")
			}
			kinds[n.Alias.Kind]++
			most = max(most, n.Visibility)
		}
		ref.Equal(t, "W-A1", verdict.Seen, 6)
		// Nodes that know of their harmonics: none of those beyond the order is visible.
		unknown := 0
		more := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{s.surface}, Order: 24, Viewer: viewer}))
		for k, n := range nodes {
			if n.Visibility > 1 {
				continue
			}
			if n.Incomplete {
				unknown++
			}
			if k > 0 {
				continue
			}
			all, _, err := more.Aliases(s.Shot, n.X, n.Y)
			require.NoError(t, err)
			for _, a := range all {
				threshold, err := viewer.Threshold(r2.Norm(a.Pattern))
				require.NoError(t, err)
				if a.Kind != alias.Resolved && a.Contrast > threshold {
					assert.True(t, n.Incomplete, "%+v is visible", a)
					kinds[101]++
				}
			}
		}
		ref.Equal(t, "W-A1", verdict.Unknown, unknown)
		ref.Equal(t, "W-A1", verdict.Worst.Visibility, most)
	}
	assert.True(t, kinds[alias.Resolved] > 0 && kinds[alias.Beat] > 0 && kinds[alias.Aliased] > 10 && kinds[101] > 1, "%v: the test has lost its point", kinds)
}

// cropped is a part of 80 × 60 photosites of a camera's picture.
type cropped struct {
	camera
	left, top float64
}

func (c cropped) Size() (width, height int) { return 80, 60 }

func (c cropped) Project(dir r3.Vec) (x, y float64, ok bool) {
	x, y, ok = c.camera.Project(dir)
	return x - c.left, y - c.top, ok
}

func (c cropped) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	return c.camera.Unproject(x+c.left, y+c.top)
}

// The pixels of the wall are 10/d photosites large d metres away. With a lens that
// ends at 0.9 cycles per photosite the first harmonic is resolved up to 7/16, then
// beats and aliases, and is gone from 0.9: from 4.375 m to 9 m. The second harmonic
// of pixels that are lit over half of their width has no contrast, and the third is
// gone from 3 m.
func TestFloorByHand(t *testing.T) {
	sc := scene(t, 3, square(t, r3.Vec{Z: -1}))
	aim := func(eye r3.Vec) (alias.Shot, bool) {
		shot := ahead(eye)
		shot.Transfer = dull
		return shot, eye.X < 0.9
	}
	floor := alias.Floor{MinX: -1, MaxX: 1, MinZ: 2.1, MaxZ: 11.1, Height: 0.5, Columns: 3, Rows: 91}
	places, err := sc.Floor(context.Background(), floor, alias.Frame{Columns: 3, Rows: 2}, aim)
	require.NoError(t, err)
	require.Len(t, places, 273)
	for i, p := range places {
		want := r3.Vec{X: float64(i%3) - 1, Y: 0.5, Z: 2.1 + float64(i/3)/10}
		assert.InDelta(t, 0, r3.Norm(r3.Sub(p.Eye, want)), 1e-12, "place %d", i)
		d := want.Z + 1
		if math.Abs(d-4.375) < 1e-9 || math.Abs(d-9) < 1e-9 {
			continue
		}
		ref.Equal(t, "W-A2", p.Safe(), want.X < 0.9 && (d < 4.375 || d > 9), "at", want)
		if want.X > 0.9 {
			ref.Equal(t, "W-A2", p.Seen, 0, "no shot")
		} else {
			ref.Equal(t, "W-A2", p.Seen, 6, "at", want)
		}
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = sc.Floor(cancelled, floor, alias.Frame{Columns: 3, Rows: 2}, aim)
	assert.ErrorIs(t, err, context.Canceled)
	_, _, err = sc.Map(cancelled, ahead(r3.Vec{}), alias.Frame{Columns: 3, Rows: 2})
	assert.ErrorIs(t, err, context.Canceled)
	_, err = sc.NearestSafe(cancelled, alias.Search{Most: 1, Steps: 1}, alias.Frame{Columns: 3, Rows: 2}, func(d float64) (alias.Shot, bool) { return ahead(r3.Vec{Z: d}), true })
	assert.ErrorIs(t, err, context.Canceled)
}

// The same wall and lens, and the ends of what is safe.
func TestNearestSafeByHand(t *testing.T) {
	sc := scene(t, 3, square(t, r3.Vec{}))
	distance := func(d float64) (alias.Shot, bool) {
		shot := ahead(r3.Vec{Z: d})
		shot.Transfer = dull
		return shot, d != 20
	}
	frame := alias.Frame{Columns: 4, Rows: 2}
	for _, tc := range []struct {
		search alias.Search
		ok     bool
		want   float64
	}{
		{alias.Search{Wanted: 5, Least: 3.1, Most: 20, Steps: 36}, true, 4.375},
		{alias.Search{Wanted: 6.6, Least: 3.1, Most: 20, Steps: 36}, true, 4.375},
		{alias.Search{Wanted: 6.8, Least: 3.1, Most: 20, Steps: 36}, true, 9},
		{alias.Search{Wanted: 5, Least: 4.5, Most: 20, Steps: 36}, true, 9},
		{alias.Search{Wanted: 8, Least: 3.1, Most: 8.5, Steps: 36}, true, 4.375},
		{alias.Search{Wanted: 3.5, Least: 3.1, Most: 20, Steps: 36}, true, 3.5},
		{alias.Search{Wanted: 5, Least: 4.5, Most: 8, Steps: 36}, false, 5},
		{alias.Search{Wanted: 20, Least: 10, Most: 20, Steps: 1}, true, 20}, // the one setting without a shot
	} {
		got := must[alias.Choice](t)(sc.NearestSafe(context.Background(), tc.search, frame, distance))
		ref.Equal(t, "W-A3b", got.OK, tc.ok, tc.search)
		ref.Near(t, "W-A3", got.Setting, tc.want, tc.search)
		ref.Equal(t, "W-A3b", got.Verdict.Safe(), tc.ok, tc.search)
	}
	// A low-pass filter of one photosite leaves nothing of half a cycle; the beat at
	// 5 m, 0.5 cycles, needs a filter of nearly that.
	filter := func(separation float64) (alias.Shot, bool) {
		shot := ahead(r3.Vec{Z: 5})
		shot.Photosites = alias.Photosites{Width: 1, LowPassX: separation, LowPassY: separation}
		shot.Transfer = dull
		return shot, true
	}
	got := must[alias.Choice](t)(sc.NearestSafe(context.Background(), alias.Search{Wanted: 0, Least: 0, Most: 1, Steps: 10}, frame, filter))
	assert.True(t, got.OK && got.Setting > 0.95 && got.Setting < 1, "%v", got.Setting)
}

// A pinhole 5 m from the wall: what moves by 1 mm moves by 0.2 photosites.
func TestMotionByHand(t *testing.T) {
	sc := scene(t, 1, square(t, r3.Vec{}))
	from := ahead(r3.Vec{Z: 5})
	for _, tc := range []struct {
		by   r3.Vec
		want r2.Vec
	}{
		{r3.Vec{X: 1e-3}, r2.Vec{X: -0.2}},                   // the camera to the right, the wall to the left
		{r3.Vec{Y: 1e-3}, r2.Vec{Y: 0.2}},                    // up, and y points down
		{r3.Vec{Z: -1}, r2.Vec{X: 20 * 0.25, Y: -15 * 0.25}}, // nearer: larger by 5/4
		{r3.Vec{X: 2e-3, Y: -1e-3}, r2.Vec{X: -0.4, Y: -0.2}},
	} {
		to := ahead(r3.Add(from.Eye, tc.by))
		got, ok := sc.Motion(from, to, 100, 30)
		assert.True(t, ok)
		ref.Within(t, "W-A4", r2.Norm(r2.Sub(got, tc.want)), "by", tc.by)
	}
	for _, to := range []alias.Shot{{}, ahead(r3.Vec{Z: -5}), ahead(r3.Vec{X: 3, Z: 5})} {
		_, ok := sc.Motion(from, to, 100, 30)
		assert.False(t, ok)
		_, ok = sc.Motion(to, from, 100, 30)
		assert.False(t, ok)
	}
}

// Pixels of 11.6 photosites, lit over half of their width: the fifth harmonic is
// resolved, the sixth has no contrast, and the seventh, at 0.6 cycles, aliases with
// 2 sinc(3.5) = 18 %. Six harmonics must not call this safe. A lens that leaves nothing
// from 0.55 cycles on makes it so, and coarse pixels with large photosites need no lens.
func TestHarmonicsBeyondTheOrder(t *testing.T) {
	shot := ahead(r3.Vec{Z: 10 / 11.6})
	frame := alias.Frame{Columns: 2, Rows: 2}
	verdict := func(order int) alias.Verdict {
		_, v, err := scene(t, order, square(t, r3.Vec{})).Map(context.Background(), shot, frame)
		require.NoError(t, err)
		return v
	}
	six, seven := verdict(6), verdict(7)
	assert.Zero(t, six.Worst.Visibility)
	assert.Equal(t, 4, six.Unknown)
	assert.False(t, six.Safe())
	assert.InDelta(t, 0.1819, seven.Worst.Alias.Contrast, 1e-4, "2/(3.5 π)")
	assert.Zero(t, seven.Unknown, "it is not safe, whatever the rest does")
	assert.False(t, seven.Safe())
	for _, axis := range []r2.Vec{{X: 1}, {Y: 1}} { // a lens that ends early along one axis only
		shot.Transfer = func(nu r2.Vec, _ r3.Vec) float64 {
			if math.Abs(r2.Dot(nu, axis)) > 0.55 {
				return 0
			}
			return 1
		}
		assert.Equal(t, 4, verdict(6).Unknown, axis)
	}
	shot.Transfer = func(nu r2.Vec, _ r3.Vec) float64 {
		if max(math.Abs(nu.X), math.Abs(nu.Y)) > 0.55 {
			return 0
		}
		return 1
	}
	assert.True(t, verdict(6).Safe())

	// What emitters and photosites leave of the 31st harmonic is 2/(π 31/2) 2√2/(31 π) =
	// 0.12 %, less than a crew's limit of 0.2 %.
	sharp := ahead(r3.Vec{Z: 5})
	sharp.Photosites.Width = 1
	for limit, want := range map[float64]bool{0.001: true, 0.002: false} {
		sc := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{square(t, r3.Vec{})}, Order: 30, Viewer: alias.Viewer{Contrast: limit}}))
		nodes, _, err := sc.Map(context.Background(), sharp, frame)
		require.NoError(t, err)
		assert.Equal(t, want, nodes[0].Incomplete, limit)
	}
}

// Places to every photosite: those at the edge of the picture count as well.
func TestMapOfEveryPhotosite(t *testing.T) {
	shot := ahead(r3.Vec{Z: 3})
	shot.Transfer = func(r2.Vec, r3.Vec) float64 { return 0 }
	nodes, verdict, err := scene(t, 1, square(t, r3.Vec{})).Map(context.Background(), shot, alias.Frame{Columns: 160, Rows: 90})
	require.NoError(t, err)
	assert.Equal(t, wall.Seen, nodes[0].Sight)
	assert.True(t, verdict.Safe(), "%+v", verdict)
}

// A stage of panels one by one shows what the arc shows that they make up. It is made in
// no time and with little memory, whatever their number.
func TestPanelsOfAStage(t *testing.T) {
	spec := wall.Spec{PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 192, PanelPixelsY: 192, Columns: 20, Rows: 8, Radius: 6, Position: r3.Vec{Y: 2, Z: -6}}
	w := must[wall.Wall](t)(wall.New(spec))
	arc := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{{Wall: w, Emitters: half}}}))
	var surfaces []alias.Surface
	for i := range spec.Columns * spec.Rows {
		x, y := float64(192*(i%spec.Columns)), float64(192*(i/spec.Columns))
		r, ok := w.Rectangle(x, y, x+192, y+192)
		require.True(t, ok)
		surfaces = append(surfaces, alias.Surface{Wall: must[wall.Wall](t)(r.Wall(192, 192)), Emitters: half})
	}
	allocated := testing.AllocsPerRun(1, func() {
		_, _ = alias.NewScene(alias.SceneSpec{Surfaces: surfaces})
	})
	assert.Less(t, allocated, 1000.0)
	panels := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: surfaces}))
	shot := alias.Shot{
		Eye: r3.Vec{X: 0.3, Y: 1.7}, Camera: camera{axes: orient.FromAngles(0.1, 0.05, 0.2), focal: 3000, width: 4096, height: 2160},
		Photosites: alias.Photosites{Width: 0.9}, Transfer: func(nu r2.Vec, _ r3.Vec) float64 { return math.Exp(-r2.Norm2(nu)) },
	}
	want, _, err := arc.Map(context.Background(), shot, alias.Frame{Columns: 16, Rows: 9})
	require.NoError(t, err)
	got, _, err := panels.Map(context.Background(), shot, alias.Frame{Columns: 16, Rows: 9})
	require.NoError(t, err)
	for i := range want {
		require.Equal(t, want[i].Sight, got[i].Sight)
		require.InDelta(t, want[i].Visibility, got[i].Visibility, 1e-6*want[i].Visibility, "%+v, %+v", want[i], got[i])
	}
}

// The nearer of two walls is seen, and where there is none, or one too near, the
// answer says so.
func TestWhatIsSeen(t *testing.T) {
	near, far := square(t, r3.Vec{X: 2, Z: -5}), square(t, r3.Vec{Z: -8})
	for _, surfaces := range [][]alias.Surface{{near, far}, {far, near}} {
		sc := scene(t, 2, surfaces...)
		nodes, verdict, err := sc.Map(context.Background(), ahead(r3.Vec{}), alias.Frame{Columns: 4, Rows: 1})
		require.NoError(t, err)
		assert.Equal(t, 4, verdict.Seen)
		for i, n := range nodes {
			assert.Equal(t, i >= 2, surfaces[n.Surface] == near, "%d: the near wall begins in the middle", i)
			assert.InEpsilon(t, []float64{8, 5}[i/2]/10, r2.Norm(n.Alias.Source)/math.Hypot(float64(n.Alias.Harmonic[0]), float64(n.Alias.Harmonic[1])), 1e-9, "1/pitch")
		}
	}
	sc := scene(t, 2, far)
	sees := func(shot alias.Shot) (seen, unknown int, safe bool) {
		_, v, err := sc.Map(context.Background(), shot, alias.Frame{Columns: 2, Rows: 2})
		require.NoError(t, err)
		return v.Seen, v.Unknown, v.Safe()
	}
	for name, tc := range map[string]struct {
		eye           r3.Vec
		seen, unknown int
	}{
		"from the side": {r3.Vec{X: 2}, 2, 0}, // half of the picture
		"from afar":     {r3.Vec{X: 20}, 0, 0},
		"from behind":   {r3.Vec{Z: -9}, 0, 0},
		"too near":      {r3.Vec{Z: -8 + 1e-3}, 4, 4}, // a pixel fills the picture
	} {
		seen, unknown, safe := sees(ahead(tc.eye))
		assert.Equal(t, [2]int{tc.seen, tc.unknown}, [2]int{seen, unknown}, name)
		assert.False(t, safe, name)
	}
	// Unknown places are not safe, whatever the others show.
	for _, tc := range []struct {
		v    alias.Verdict
		safe bool
	}{
		{alias.Verdict{}, false}, {alias.Verdict{Seen: 1}, true}, {alias.Verdict{Seen: 1, Unknown: 1}, false},
		{alias.Verdict{Seen: 1, Worst: alias.Node{Visibility: 1}}, true}, {alias.Verdict{Seen: 1, Worst: alias.Node{Visibility: 1.01}}, false},
	} {
		assert.Equal(t, tc.safe, tc.v.Safe(), "%+v", tc.v)
	}
	// Of a grid that is resolved, the strongest harmonic that the lens leaves.
	close := scene(t, 1, square(t, r3.Vec{}))
	upright := ahead(r3.Vec{Z: 2})
	upright.Transfer = func(nu r2.Vec, _ r3.Vec) float64 {
		if math.Abs(nu.X) > 0.01 {
			return 0.1
		}
		return 0.9
	}
	nodes, verdict, err := close.Map(context.Background(), upright, alias.Frame{Columns: 1, Rows: 1})
	require.NoError(t, err)
	assert.Equal(t, [2]int{0, 1}, nodes[0].Alias.Harmonic)
	assert.Equal(t, alias.Resolved, nodes[0].Alias.Kind)
	assert.Zero(t, nodes[0].Visibility)
	assert.True(t, nodes[0].Incomplete, "the fifth harmonic has a whole cycle")
	assert.False(t, verdict.Safe(), "as nobody knows about it")

	all, why, err := sc.Aliases(ahead(r3.Vec{X: 20}), 80, 45)
	assert.NoError(t, err)
	assert.Equal(t, wall.OutsideRaster, why)
	assert.Empty(t, all)
	nodes, _, err = alias.Scene{}.Map(context.Background(), ahead(r3.Vec{}), alias.Frame{Columns: 1, Rows: 1})
	require.NoError(t, err)
	assert.Equal(t, wall.OutsideRaster, nodes[0].Sight)
}

func TestSceneFaults(t *testing.T) {
	sc := scene(t, 2, square(t, r3.Vec{Z: -5}))
	frame, floor := alias.Frame{Columns: 1, Rows: 1}, alias.Floor{MaxX: 1, MaxZ: 1, Columns: 2, Rows: 2}
	search := alias.Search{Most: 1, Steps: 1}
	shot := ahead(r3.Vec{})
	wrong := shot
	wrong.Transfer = func(r2.Vec, r3.Vec) float64 { return nan }
	put := func(s alias.Shot) func(r3.Vec) (alias.Shot, bool) {
		return func(r3.Vec) (alias.Shot, bool) { return s, true }
	}
	set := func(s alias.Shot) func(float64) (alias.Shot, bool) {
		return func(float64) (alias.Shot, bool) { return s, true }
	}
	mapped := func(s alias.Shot, f alias.Frame) error {
		_, _, err := sc.Map(context.Background(), s, f)
		return err
	}
	for range 20 { // the same faults in the same order
		assert.ErrorContains(t, second(sc.Floor(context.Background(), alias.Floor{Columns: 2, Rows: 2}, frame, put(shot))), "max x 0 m: must be more than 0 m and at most 1000 km\nalias: max z")
	}
	floored := func(f alias.Floor) error { return second(sc.Floor(context.Background(), f, frame, put(shot))) }
	searched := func(s alias.Search) error { return second(sc.NearestSafe(context.Background(), s, frame, set(shot))) }
	badEye, badPhotosites, noCamera := shot, shot, shot
	badEye.Eye.Y, badPhotosites.Photosites.Width, noCamera.Camera = inf, 2, (*camera)(nil)
	refused(t, map[string]error{
		"surfaces":                            second(alias.NewScene(alias.SceneSpec{Order: 1})),
		"order -1":                            second(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{square(t, r3.Vec{})}, Order: -1})),
		"surface 1: alias: wall zero value":   second(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{square(t, r3.Vec{}), {Emitters: half}}, Order: 1})),
		"surface 0: alias: lit width 0":       second(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{{Wall: square(t, r3.Vec{}).Wall}}, Order: 1})),
		"luminance -1":                        second(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{square(t, r3.Vec{})}, Order: 1, Viewer: alias.Viewer{Luminance: -1}})),
		"eye y +Inf m: must be at least":      mapped(badEye, frame),
		"photosite width 2":                   mapped(badPhotosites, frame),
		"camera":                              mapped(noCamera, frame),
		"transfer NaN":                        mapped(wrong, frame),
		"frame columns 0: must be at least 1": mapped(shot, alias.Frame{Rows: 1}),
		"frame columns 4097: must be at least 1 and at most 4096": mapped(shot, alias.Frame{Columns: 4097, Rows: 1}),
		"frame rows 4097":                     mapped(shot, alias.Frame{Columns: 1, Rows: 4097}),
		"min x NaN":                           floored(alias.Floor{MinX: unit.Length(nan), MaxZ: 1, Columns: 2, Rows: 2}),
		"max x 0 m: must be more than 0 m":    floored(alias.Floor{MaxZ: 1, Columns: 2, Rows: 2}),
		"max z -1 m: must be more than 0 m":   floored(alias.Floor{MaxX: 1, MaxZ: -1, Columns: 2, Rows: 2}),
		"height NaN":                          floored(alias.Floor{MaxX: 1, MaxZ: 1, Height: unit.Length(nan), Columns: 2, Rows: 2}),
		"floor columns 1: must be at least 2": floored(alias.Floor{MaxX: 1, MaxZ: 1, Columns: 1, Rows: 2}),
		"floor rows 4097":                     floored(alias.Floor{MaxX: 1, MaxZ: 1, Columns: 2, Rows: 4097}),
		"aim":                                 second(sc.Floor(context.Background(), floor, frame, nil)),
		"transfer NaN: must":                  second(sc.Floor(context.Background(), floor, frame, put(wrong))),
		"set":                                 second(sc.NearestSafe(context.Background(), search, frame, nil)),
		"transfer NaN: must be":               second(sc.NearestSafe(context.Background(), search, frame, set(wrong))),
		"frame rows 0: must be at least 1":    mapped(shot, alias.Frame{Columns: 1}),
		"least setting -2e+09":                searched(alias.Search{Least: -2e9, Most: 1, Steps: 1}),
		"greatest setting 1.5e+09: must be at least -1e+09 and at most 1e+09": searched(alias.Search{Most: 1.5e9, Steps: 1}),
		"least setting NaN":                     searched(alias.Search{Least: nan, Most: 1, Steps: 1}),
		"greatest setting 0: must be more than": searched(alias.Search{Steps: 1}),
		"wanted setting 2: must be at least 0":  searched(alias.Search{Wanted: 2, Most: 1, Steps: 1}),
		"steps 0: must be at least 1":           searched(alias.Search{Most: 1}),
	})
}

func TestLitWidth(t *testing.T) {
	for area, want := range map[float64]float64{1: 1, 0.25: 0.5, 0.36: 0.6, 0.01: 0.1} {
		ref.Near(t, "W-A6", must[float64](t)(alias.LitWidth(area)), want, area)
	}
	refused(t, map[string]error{
		"area fill factor 0: must be more than 0 and at most 1": second(alias.LitWidth(0)),
		"area fill factor NaN": second(alias.LitWidth(nan)),
	})
}

// The grid turns, and its stripes with it. 1/1.1 is recorded as 1/11 the other way.
func TestDirectionByHand(t *testing.T) {
	for _, tc := range []struct {
		pitch   float64
		roll    unit.Angle
		m, n    int
		degrees float64
	}{
		{5, 0, 1, 0, 0}, {5, 0, 0, 1, 90}, {5, 30, 1, 0, 30}, {5, 30, 0, 1, -60}, {5, -30, 1, 0, -30}, {5, 0, 1, 1, 45}, {5, 0, 1, -1, -45}, {1.1, 0, 1, 1, 45}, {1.1, 0, 0, 1, 90},
	} {
		all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(tc.pitch, tc.roll*wall.Degree), Emitters: half, Order: 1}))
		got, ok := find(all, tc.m, tc.n).Direction()
		assert.True(t, ok)
		ref.Near(t, "W-A7", float64(got/wall.Degree), tc.degrees, tc.pitch, tc.roll, tc.m, tc.n)
	}
	for _, a := range []alias.Alias{{}, {Pattern: r2.Vec{X: nan}}, {Pattern: r2.Vec{X: inf}}} {
		_, ok := a.Direction()
		assert.False(t, ok)
		_, ok = a.Crawl(r2.Vec{X: 1})
		assert.False(t, ok)
	}
	_, ok := alias.Alias{Pattern: r2.Vec{X: 0.1}}.Crawl(r2.Vec{X: 2e9})
	assert.False(t, ok)
}

// A row of 1.1 photosites moves by one of its steps, and the pattern of 11 photosites
// by one of its own, the other way.
func TestCrawlByHand(t *testing.T) {
	all := must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(1.1, 0), Emitters: half, Order: 1}))
	crawl, ok := find(all, 1, 0).Crawl(r2.Vec{X: 1.1, Y: 3})
	assert.True(t, ok)
	ref.Near(t, "W-A8", crawl.Cycles, 1)
	ref.Near(t, "W-A8", crawl.Shift.X, -11)
	ref.Near(t, "W-A8", crawl.Shift.Y, 0)
	// 2.2 photosites beat every 11. A step of 2.2 turns the alternation by a whole
	// period, in which its envelope swells twice.
	all = must[[]alias.Alias](t)(alias.Predict(alias.Spec{Grid: grid(2.2, 0), Emitters: half, Order: 1}))
	crawl, _ = find(all, 1, 0).Crawl(r2.Vec{X: 2.2})
	ref.Near(t, "W-A8", crawl.Shift.X, -22)
}

// The colours of a mosaic beside its brightness.
func TestMosaicByHand(t *testing.T) {
	spec := alias.Spec{Grid: grid(5, 0), Emitters: half, Photosites: alias.Photosites{Sampling: alias.Mosaic, Response: alias.Response{Red: 1, Green: 0.5, Blue: 0.2}}, Order: 1}
	all := must[[]alias.Alias](t)(alias.Predict(spec))
	contrast := map[alias.Carrier]float64{}
	for _, a := range all {
		if a.Harmonic != [2]int{1, 0} {
			continue
		}
		contrast[a.Carrier] = a.Contrast
		at := map[alias.Carrier]r2.Vec{alias.Luma: {X: 0.2}, alias.ChromaDiagonal: {X: -0.3, Y: 0.5}, alias.ChromaAcross: {X: -0.3}, alias.ChromaDown: {X: 0.2, Y: 0.5}}[a.Carrier]
		ref.Within(t, "W-A9", min(apart(at, a.Frequency, alias.Mosaic), apart(at, r2.Scale(-1, a.Frequency), alias.Mosaic)), a.Carrier)
		ref.Within(t, "W-A9", math.Abs(a.Pattern.X-0.2)+math.Abs(a.Pattern.Y), "an interpolation of colours puts it back", a.Carrier)
		assert.Equal(t, alias.Resolved, a.Kind)
	}
	// A mosaic of (1, 0.5, 0.2) has lines of 0.55, 0.05 and twice 0.2.
	for k, want := range map[alias.Carrier]float64{alias.ChromaDiagonal: 0.05 / 0.55, alias.ChromaAcross: 0.2 / 0.55, alias.ChromaDown: 0.2 / 0.55} {
		ref.Near(t, "W-A10", contrast[k]/contrast[alias.Luma], want, k)
	}
	// What red and blue do not resolve is a false colour.
	spec.Grid = grid(3, 0)
	for _, a := range must[[]alias.Alias](t)(alias.Predict(spec)) {
		if a.Harmonic == [2]int{1, 0} {
			assert.Equal(t, map[bool]alias.Kind{true: alias.Resolved, false: alias.Aliased}[a.Carrier == alias.Luma], a.Kind, a.Carrier)
		}
	}
	// A neutral picture has no colour.
	for _, r := range []alias.Response{{}, {Red: 3, Green: 3, Blue: 3}} {
		spec.Photosites.Response = r
		assert.Len(t, must[[]alias.Alias](t)(alias.Predict(spec)), 4, "%v", r)
	}
	// Green alone leaves only the carrier of the diagonal.
	spec.Photosites.Response = alias.Response{Green: 1}
	assert.Len(t, must[[]alias.Alias](t)(alias.Predict(spec)), 8)
}

// Two images d apart leave |cos(π d ν)|, as printed to 12 digits.
func TestLowPassByHand(t *testing.T) {
	for _, tc := range []struct{ d, nu, want float64 }{
		{0.5, 0.1, 0.987688340595}, {0.5, 0.5, 0.707106781187}, {0.6, 0.75, 0.156434465040}, {0.7, 1, 0.587785252292}, {1, 0.25, 0.707106781187},
	} {
		for _, h := range [][2]int{{1, 0}, {0, 1}} {
			spec := alias.Spec{Grid: grid(1/tc.nu, 0), Emitters: half, Order: 1}
			without := find(must[[]alias.Alias](t)(alias.Predict(spec)), h[0], h[1]).Contrast
			spec.Photosites.LowPassX, spec.Photosites.LowPassY = tc.d*float64(h[0]), tc.d*float64(h[1])
			with := find(must[[]alias.Alias](t)(alias.Predict(spec)), h[0], h[1]).Contrast
			ref.Near(t, "W-A11", with/without, tc.want, tc, h)
			spec.Photosites.LowPassX, spec.Photosites.LowPassY = spec.Photosites.LowPassY, spec.Photosites.LowPassX
			assert.InEpsilon(t, without, find(must[[]alias.Alias](t)(alias.Predict(spec)), h[0], h[1]).Contrast, 1e-12, "a filter along the other axis")
		}
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

func TestNyquistDistance(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 1))
	for range 100 {
		pitch, focal, photosite := 1e-3+5e-3*rng.Float64(), 0.02+0.1*rng.Float64(), 2e-6+8e-6*rng.Float64()
		for sampling, photosites := range map[alias.Sampling]float64{alias.EveryPhotosite: 2, alias.GreenPhotosites: 2, alias.RedOrBluePhotosites: 4, alias.Mosaic: 4} {
			want, ok := root.Find(func(d float64) float64 { return -thinLens(pitch, d, focal)/photosite - photosites }, 1.1*focal, 1e3)
			require.True(t, ok)
			got := must[unit.Length](t)(alias.NyquistDistance(unit.Length(pitch), unit.Length(focal), unit.Length(photosite), sampling))
			ref.Near(t, "W-M6", float64(got), want, pitch, focal, photosite)
			ref.Near(t, "W-M6", sampling.NyquistPitch(), photosites)
		}
	}
	refused(t, map[string]error{
		"sampling Sampling(4): must be every photosite, green photosites": second(alias.NyquistDistance(0.0028, 0.035, 6e-6, 4)),
		"pitch -1 m": second(alias.NyquistDistance(-1, 0.035, 6e-6, 0)),
		"focal length 35 m: must be at least 100 µm and at most 2 m": second(alias.NyquistDistance(0.0028, 35, 6e-6, 0)),
		"photosite 0 m: must be at least 100 nm and at most 1 mm":    second(alias.NyquistDistance(0.0028, 0.035, 0, 0)),
	})
	assert.Zero(t, alias.Sampling(4).NyquistPitch())
}

func BenchmarkMap(b *testing.B) {
	w := must[wall.Wall](b)(wall.New(wall.Spec{
		PanelWidth: 0.5, PanelHeight: 0.5, PanelPixelsX: 200, PanelPixelsY: 200, Columns: 50, Rows: 12, Radius: 10, Position: r3.Vec{Y: 3, Z: -10},
	}))
	sc := must[alias.Scene](b)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{{Wall: w, Emitters: half}}, Order: 4}))
	shot := alias.Shot{
		Eye:        r3.Vec{Y: 1.7},
		Camera:     camera{axes: orient.FromAngles(0.1, 0.05, 0.02), focal: 5000, width: 4096, height: 2160},
		Photosites: alias.Photosites{Width: 1, LowPassX: 0.5, LowPassY: 0.5, Sampling: alias.RedOrBluePhotosites},
		Transfer: func(nu r2.Vec, way r3.Vec) float64 {
			x := 0.5 * r3.Norm(way) * r2.Norm(nu)
			return 2 * math.J1(x) / x
		},
	}
	for b.Loop() {
		_, v, err := sc.Map(context.Background(), shot, alias.Frame{Columns: 64, Rows: 36})
		if err != nil || v.Seen < 2000 {
			b.Fatal(v.Seen, err)
		}
	}
}
