package wall_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/wall"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// square is a flat wall of 8 m by 4 m, 1 cm to the pixel, 4 m in front of an
// unrotated camera at the origin.
func square() wall.Spec {
	return wall.Spec{
		PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 8, Rows: 4, Position: r3.Vec{Z: -4},
	}
}

func TestViewAngles(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	for _, tc := range []struct {
		x, y float64
		want r3.Vec // of any length
	}{
		{400, 200, r3.Vec{Z: -1}},
		{0, 200, r3.Vec{X: -1, Z: -1}},      // 45° to the left
		{800, 200, r3.Vec{X: 1, Z: -1}},     // 45° to the right
		{800, 0, r3.Vec{X: 2, Y: 1, Z: -2}}, // 1/3 up: the 1-2-2-3 box
	} {
		d, ok := v.Unproject(tc.x, tc.y)
		ref.Within(t, "W-G2", distance(d, r3.Unit(tc.want)), "direction to", tc.x, tc.y)
		x, y, ok2 := v.Project(r3.Scale(7, tc.want))
		ref.Within(t, "W-G4", math.Hypot(x-tc.x, y-tc.y), "back from", tc.want)
		assert.True(t, ok && ok2, "%+v is seen", tc)
	}
	xs, ys := v.Breaks()
	ref.Equal(t, "W-G1", len(xs)+len(ys), 0, "breaks of a flat wall")
}

// Straight on, 4 m away, a pixel of 1 cm is 1/400 rad; at 45° the way is √2
// longer, and a pixel along the tilt shows cos 45° of its width.
func TestDensity(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	v := must[wall.View](t)(w.View(r3.Vec{}))
	foot := 400 * math.Pi / 180
	for x, want := range map[float64][2]float64{400: {foot, foot}, 0: {2 * foot, math.Sqrt2 * foot}, 800: {2 * foot, math.Sqrt2 * foot}} {
		d, ok := v.PixelDensity(x, 200)
		assert.True(t, ok, "a density at %v", x)
		ref.Near(t, "W-G5", d.X, want[0], "x", x)
		ref.Near(t, "W-G5", d.Y, want[1], "y", x)
	}
	least, greatest, ok := v.PixelDensityRange()
	assert.True(t, ok)
	ref.Near(t, "W-G5", least.X, foot, "least x")
	ref.Near(t, "W-G5", least.Y, foot, "least y")
	// In the corners the way is 6 m, at 45° across and 1/2 down:
	// along x 36/(4·√(16+4)) of the foot, along y 36/(4·√(16+16)).
	ref.Near(t, "W-G5", greatest.X, 36/(4*math.Sqrt(20))*foot, "greatest x")
	ref.Near(t, "W-G5", greatest.Y, 36/(4*math.Sqrt(32))*foot, "greatest y")
}

// Density against the angle between two rays, and the range against a scan.
func TestDensityAgainstRays(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	for range 100 {
		v := anyView(t, rng)
		least, greatest, ok := v.PixelDensityRange()
		require.True(t, ok)
		width, height := v.Size()
		for i := range 40 {
			for j := range 40 {
				const h = 1e-3
				x, y := (float64(i)+0.5)/40*float64(width), (float64(j)+0.5)/40*float64(height)
				d, ok := v.PixelDensity(x, y)
				if !ok {
					continue
				}
				if d.X < least.X*(1-1e-12) || d.X > greatest.X*(1+1e-12) || d.Y < least.Y*(1-1e-12) || d.Y > greatest.Y*(1+1e-12) {
					t.Fatalf("%+v at %v, %v: %v outside %v … %v", v.spec, x, y, d, least, greatest)
				}
				angle := func(ax, ay, bx, by float64) (float64, bool) {
					a, ok := v.Unproject(ax, ay)
					b, ok2 := v.Unproject(bx, by)
					return sphere.Angle(a, b), ok && ok2
				}
				before, _, _ := v.wall.Panel(x-h, y)
				after, _, _ := v.wall.Panel(x+h, y)
				across, okX := angle(x-h, y, x+h, y)
				down, okY := angle(x, y-h, x, y+h)
				if okX && okY && before == after {
					// A central difference over 2e-3 px of directions rounded to 1e-16.
					px, py := 2*h*math.Pi/180/across, 2*h*math.Pi/180/down
					if !(math.Abs(d.X/px-1) <= 1e-5 && math.Abs(d.Y/py-1) <= 1e-5) {
						t.Fatalf("%+v at %v, %v: %v, want %v, %v", v.spec, x, y, d, px, py)
					}
				}
			}
		}
	}
}

// The range is reached: a fine search of a close view finds it.
func TestDensityRangeIsReached(t *testing.T) {
	spec := square()
	spec.PanelPixelsY = 80 // not square
	w := must[wall.Wall](t)(wall.New(spec))
	for _, eye := range []r3.Vec{{X: 6, Y: 0.3, Z: -3.5}, {X: 1, Y: 3.5, Z: -3}, {Z: 5}, {X: -7, Y: 5, Z: -3.9}} {
		v := must[wall.View](t)(w.View(eye))
		least, greatest, _ := v.PixelDensityRange()
		scanLeast, scanGreatest := wall.PixelDensity{X: inf, Y: inf}, wall.PixelDensity{}
		for i := range 801 {
			for j := range 321 {
				d, _ := v.PixelDensity(float64(i), float64(j))
				scanLeast.X, scanGreatest.X = math.Min(scanLeast.X, d.X), math.Max(scanGreatest.X, d.X)
				scanLeast.Y, scanGreatest.Y = math.Min(scanLeast.Y, d.Y), math.Max(scanGreatest.Y, d.Y)
			}
		}
		const why = "a scan by whole pixels, 0.4 m or more away, misses an extreme by half a pixel at most"
		assert.InEpsilon(t, scanLeast.X, least.X, 2e-3, why)
		assert.InEpsilon(t, scanLeast.Y, least.Y, 2e-3, why)
		assert.InEpsilon(t, scanGreatest.X, greatest.X, 1e-12, "at a corner or edge, which the scan meets")
		assert.InEpsilon(t, scanGreatest.Y, greatest.Y, 2e-3, why)
	}
}

func TestViewRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(22, 1))
	seen, unseen := 0, 0
	for range 600 {
		v := anyView(t, rng)
		width, height := v.Size()
		for k := range 24 {
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			if k < 4 {
				x, y = float64(k%2*width), float64(k/2*height)
			}
			d, ok := v.Unproject(x, y)
			if !ok {
				unseen++
				continue
			}
			seen++
			p, _ := v.wall.Point(x, y)
			// Roundings of the root, the scale, each component and the norm; positions
			// of 10 m with roundings of 1e-15 m, down to some mm away.
			if length, angle := r3.Norm(d), sphere.Angle(d, r3.Sub(p, v.eye)); !(math.Abs(length-1) <= 1e-15 && angle <= 1e-12) {
				t.Fatalf("%+v from %v: %v, %v is seen along %v of length 1%+.1e, off by %v", v.spec, v.eye, x, y, d, length-1, angle)
			}
			n, _ := v.wall.Normal(x, y)
			bx, by, ok := v.Project(d)
			// Rounding of the direction, seen along the surface.
			allowed := 1e-9 + 1e-12/math.Abs(r3.Dot(n, d))*(1+float64(width+height))
			if !ok || (math.Abs(bx-x) > allowed && math.Abs(math.Abs(bx-x)-float64(width)) > allowed) || math.Abs(by-y) > allowed {
				t.Fatalf("%+v from %v: %v, %v came back as %v, %v, %v", v.spec, v.eye, x, y, bx, by, ok)
			}
		}
	}
	assert.Greater(t, seen, 4000, "seen: the test has lost its point")
	assert.Greater(t, unseen, 1000, "unseen: the test has lost its point")
}

// A pixel is seen exactly where nothing stands between it and the eye, and Sight
// tells a panel's back from what stands in between.
func TestViewHidesWhatStandsBehind(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 1))
	counts := map[wall.Sight]int{}
	wrong, last := 0, ""
	for range 2000 {
		spec := hexagon(2 + rng.IntN(4))
		w := must[wall.Wall](t)(wall.New(spec))
		eye := r3.Vec{X: 6 * rng.NormFloat64(), Y: 3 * rng.NormFloat64(), Z: 6 * rng.NormFloat64()}
		v, err := w.View(eye)
		if err != nil {
			continue
		}
		ps := plates(t, w, spec)
		width, height := v.Size()
		for range 20 {
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			p, _ := w.Point(x, y)
			n, _ := w.Normal(x, y)
			tx, ty, lit := trace(ps, spec, eye, r3.Sub(p, eye))
			want := wall.Seen
			if r3.Dot(n, r3.Sub(eye, p)) <= 0 {
				want = wall.FromBehind
			} else if !lit || math.Abs(tx-x)+math.Abs(ty-y) > 1e-6 {
				want = wall.Hidden
			}
			_, ok := v.Unproject(x, y)
			_, dense := v.PixelDensity(x, y)
			if got := v.Sight(x, y); got != want || ok != (want == wall.Seen) || dense != ok {
				wrong, last = wrong+1, fmt.Sprintf("%d columns from %v at %v, %v: %v, %v, %v, want %v", spec.Columns, eye, x, y, got, ok, dense, want)
			}
			counts[want]++
		}
	}
	ref.Equal(t, "W-G6", wrong, 0, last)
	for _, why := range []wall.Sight{wall.Seen, wall.FromBehind, wall.Hidden} {
		assert.Greater(t, counts[why], 100, "%v: the test has lost its point", why)
	}
}

// On the rim of a drum the ends of the raster meet: both are seen.
func TestRimOfADrum(t *testing.T) {
	spec := hexagon(6)
	w := must[wall.Wall](t)(wall.New(spec))
	for _, eye := range []r3.Vec{{Z: 2}, {X: 0.3, Y: 0.2, Z: 1}, {Y: 3, Z: 0.3}, {Y: 9, Z: -7}} {
		v := must[wall.View](t)(w.View(eye))
		for _, x := range []float64{0, 600} {
			p, _ := w.Point(x, 150)
			d, ok := v.Unproject(x, 150)
			require.True(t, ok, "%v seen from %v", x, eye)
			assert.InDelta(t, 0, distance(d, r3.Unit(r3.Sub(p, eye))), 1e-14, "roundings of metres")
		}
	}
}

// A ray that runs along the circle and passes an end of the arc by less than a
// millionth of a pixel meets it, on the lit side.
func TestRayBesideTheEndOfAnArc(t *testing.T) {
	spec := hexagon(2)
	spec.PanelPixelsX = 1
	w := must[wall.Wall](t)(wall.New(spec))
	end, _ := w.Point(0, 100)
	inner, _ := w.Point(1, 100)
	along := r3.Unit(r3.Sub(inner, end))
	out := r3.Unit(r3.Sub(end, r3.Vec{Y: end.Y, Z: 2})) // from the axis
	tangent := r3.Vec{X: out.Z, Z: -out.X}
	met := 0
	for _, d := range []r3.Vec{tangent, r3.Scale(-1, tangent)} {
		for px, want := range map[float64]bool{0.9e-6: true, 1.1e-6: false} {
			// A pixel is 2 m wide.
			beside := r3.Add(end, r3.Scale(-2*px, along))
			x, _, ok := w.Pixel(r3.Sub(beside, d), d)
			assert.False(t, ok && (!want || x != 0), "%v px beside: %v", px, x)
			if ok {
				met++
			}
		}
	}
	assert.Equal(t, 1, met, "rays that met the lit side")
}

func TestViewFaults(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(square()))
	for _, eye := range []r3.Vec{{Z: -4}, {Z: -5}, {X: nan}, {Y: inf}, {Z: 1e10}} {
		assert.ErrorIs(t, second(w.View(eye)), wall.ErrInvalid, "eye at %v", eye)
	}
	assert.EqualError(t, second(w.View(r3.Vec{X: 20, Z: -4.5})),
		"wall: eye (20, 0, -4.5) m: must be in front of the lit side of a panel, but is 500 mm behind the nearest plane of one")
	v := must[wall.View](t)(w.View(r3.Vec{}))
	for _, p := range [][2]float64{{-1, 0}, {0, 401}, {nan, 0}, {0, nan}, {inf, 0}} {
		_, ok := v.Unproject(p[0], p[1])
		_, ok2 := v.PixelDensity(p[0], p[1])
		assert.False(t, ok || ok2, "an answer at %v", p)
		assert.Equal(t, wall.OutsideRaster, v.Sight(p[0], p[1]))
	}
	for _, d := range []r3.Vec{{}, {Z: 1}, {X: nan, Z: -1}, {Y: 1}, {Z: -inf}} {
		x, y, ok := v.Project(d)
		assert.True(t, !ok && x == 0 && y == 0, "%v is seen", d)
	}
	var zero wall.View
	_, unproject := zero.Unproject(0, 0)
	_, _, project := zero.Project(r3.Vec{Z: -1})
	_, density := zero.PixelDensity(0, 0)
	_, _, all := zero.PixelDensityRange()
	xs, ys := zero.Breaks()
	width, height := zero.Size()
	assert.Equal(t, [4]bool{}, [4]bool{unproject, project, density, all}, "answers of the zero value")
	assert.Empty(t, append(xs, ys...))
	assert.Zero(t, width+height)
	assert.Equal(t, wall.OutsideRaster, zero.Sight(0, 0))
}

func TestViewDoesNotAllocate(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse()))
	v := must[wall.View](t)(w.View(r3.Vec{Y: 1.7}))
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		d, _ := v.Unproject(1234.5, 678.5)
		v.Project(d)
		v.PixelDensity(1234.5, 678.5)
		v.Sight(1234.5, 678.5)
	}), "allocations a pixel")
}

func FuzzViewRoundTrip(f *testing.F) {
	f.Add(10.0, 0.0, 1.7, 0.0, 5000.5, 1200.5)
	f.Add(0.0, 4.0, -3.0, 2.0, 0.0, 0.0)
	f.Add(-12.0, 0.0, 1.7, 30.0, 200.0, 2400.0)
	f.Add(-12.0, 47.0, 1.7, 30.0, 1800.0, 2400.0) // a joint on the outline, the next panel turned away
	f.Fuzz(func(t *testing.T, radius, ex, ey, ez, x, y float64) {
		spec := wheelhouse()
		spec.Radius = unit.Length(radius)
		w, err := wall.New(spec)
		if err != nil {
			return
		}
		v, err := w.View(r3.Vec{X: ex, Y: ey, Z: ez})
		if err != nil {
			return
		}
		d, ok := v.Unproject(x, y)
		if !ok {
			return
		}
		if n := r3.Norm(d); !(math.Abs(n-1) < 1e-12) {
			t.Fatalf("direction %v of length %v", d, n)
		}
		n, _ := w.Normal(x, y)
		if math.Abs(r3.Dot(n, d)) < 1e-3 || r3.Norm(r3.Vec{X: ex, Y: ey, Z: ez}) > 1e3 {
			return // so slanting or so far that rounding shows
		}
		bx, by, ok := v.Project(d)
		if !ok || math.Abs(bx-x) > 1e-6 && math.Abs(math.Abs(bx-x)-1e4) > 1e-6 || math.Abs(by-y) > 1e-6 {
			t.Fatalf("%v, %v came back as %v, %v, %v", x, y, bx, by, ok)
		}
	})
}

func BenchmarkUnproject(b *testing.B) {
	w := must[wall.Wall](b)(wall.New(wheelhouse()))
	v := must[wall.View](b)(w.View(r3.Vec{Y: 1.7}))
	b.ReportAllocs()
	var sum float64
	for i := range b.N {
		d, _ := v.Unproject(float64(i%10000)+0.5, float64(i/10000%2400)+0.5)
		sum += d.X
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpx/s")
	_ = sum
}
