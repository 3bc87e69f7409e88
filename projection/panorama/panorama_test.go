package panorama_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestCylindricalAgainstProj(t *testing.T) {
	// A radius of 1 px: y is that of the projection, down, from the top at 80°.
	const width = 1 << 10
	top := 80 * deg
	c := trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: width, Height: 1 << 10, Bottom: -top, Top: top}))
	radius := width / (2 * math.Pi)
	tangent := math.Tan(float64(top))
	_, rows := trial.Rows(t, "cylindrical.csv", 0, "")
	for i, row := range rows {
		dir := projection.Direction(unit.Angle(row[0])*deg, unit.Angle(row[1])*deg)
		x, y, ok := c.Project(dir)
		require.True(t, ok, "row %d: not imaged", i)
		ref.Near(t, "P-PAN-1", (x-width/2)/radius, row[2], "x", i)
		ref.Near(t, "P-PAN-1", tangent-y*2*tangent/(1<<10), row[3], "y", i)
		got, ok := c.Unproject(width/2+row[2]*radius, (tangent-row[3])/(2*tangent)*(1<<10))
		require.True(t, ok, "row %d: no direction", i)
		ref.Near(t, "P-PAN-1", r3.Norm(r3.Sub(got, dir)), 0, "direction", i)
	}
	ref.Equal(t, "P-PAN-4", c.WrapX(), true, "cylindrical")
	for _, m := range [][3]float64{{3, 0, 0}, {-900, 10, 10}, {500, 1014, 10}, {500, -7, -7}, {2, 1030, -6}} {
		ref.Equal(t, "P-PAN-6", c.Margin(m[0], m[1]), m[2], m)
	}
}

func TestCubeAgainstTheTable(t *testing.T) {
	const edge = 1000
	c := trial.Must[panorama.Cube](t)(panorama.NewCube(edge, projection.Pose{}))
	xs, ys := c.Breaks()
	ref.Equal(t, "P-PAN-4", len(xs), 5, "breaks")
	ref.Equal(t, "P-PAN-4", len(ys), 0, "breaks down")
	for i, x := range xs {
		ref.Equal(t, "P-PAN-4", x, float64((i+1)*edge), "break", i)
	}
	var faces [6]projection.Camera
	for i := range faces {
		var ok bool
		if faces[i], ok = c.Face(i); !ok {
			t.Fatalf("no face %d", i)
		}
	}
	rng := rand.New(rand.NewPCG(8, 8))
	for range 2000 {
		d := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		rx, ry, rz := d.X, d.Y, -d.Z // whose z leads ahead
		var face int
		var sc, tc, ma float64
		switch ax, ay, az := math.Abs(rx), math.Abs(ry), math.Abs(rz); {
		case ax > ay && ax > az && rx > 0:
			face, sc, tc, ma = 0, -rz, -ry, rx
		case ax > ay && ax > az:
			face, sc, tc, ma = 1, rz, -ry, rx
		case ay > az && ry > 0:
			face, sc, tc, ma = 2, rx, rz, ry
		case ay > az:
			face, sc, tc, ma = 3, rx, -rz, ry
		case rz > 0:
			face, sc, tc, ma = 4, rx, -ry, rz
		default:
			face, sc, tc, ma = 5, -rx, -ry, rz
		}
		wantX := edge * (float64(face) + (sc/math.Abs(ma)+1)/2)
		wantY := edge * (tc/math.Abs(ma) + 1) / 2
		x, y, ok := c.Project(d)
		require.True(t, ok, "%v is not imaged", d)
		ref.Near(t, "P-PAN-2", x, wantX, "x", d)
		ref.Near(t, "P-PAN-2", y, wantY, "y", d)
		got, _ := c.Unproject(wantX, wantY)
		ref.Near(t, "P-PAN-2", r3.Norm(r3.Sub(got, r3.Unit(d))), 0, "direction", d)
		x, y, ok = faces[face].Project(d)
		require.True(t, ok, "%v is not on face %d", d, face)
		ref.Near(t, "P-PAN-2", x+edge*float64(face), wantX, "face x", d)
		ref.Near(t, "P-PAN-2", y, wantY, "face y", d)
	}
}

// Six marks on the six axes of each panorama, turned so that no axis is where it was:
// one that is mirrored, upside down or half a pixel off misses some of them.
func TestPanoramaMarks(t *testing.T) {
	const w, h = 4096, 2048
	turned := projection.Pose{Position: r3.Vec{X: 9}, Heading: 30 * deg, Elevation: -20 * deg, Roll: 70 * deg}
	equirect := trial.Must[panorama.Equirect](t)(panorama.NewEquirect(w, h, turned))
	cylinder := trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: w, Height: h, Bottom: -45 * deg, Top: 45 * deg, Pose: turned}))
	cube := trial.Must[panorama.Cube](t)(panorama.NewCube(h, turned))
	const none = -1
	for _, p := range []struct {
		name  string
		p     trial.Mapper
		width int
		// x, y of ahead, right, left, up, down; and of behind, checked apart on
		// the seam.
		at     [6][2]float64
		behind bool
	}{
		{"equirect", equirect, w, [6][2]float64{{w / 2, h / 2}, {3 * w / 4, h / 2}, {w / 4, h / 2}, {w / 2, 0}, {w / 2, h}, {0, h / 2}}, false},
		{"cylindrical", cylinder, w, [6][2]float64{{w / 2, h / 2}, {3 * w / 4, h / 2}, {w / 4, h / 2}, {none, none}, {none, none}, {0, h / 2}}, false},
		{"cube", cube, 6 * h, [6][2]float64{{4.5 * h, h / 2}, {0.5 * h, h / 2}, {1.5 * h, h / 2}, {2.5 * h, h / 2}, {3.5 * h, h / 2}, {5.5 * h, h / 2}}, true},
	} {
		width, height := p.p.Size()
		ref.Near(t, "P-PAN-5", float64(width), float64(p.width), p.name, "width")
		ref.Near(t, "P-PAN-5", float64(height), h, p.name, "height")
		for i, axis := range []r3.Vec{{Z: -1}, {X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}} {
			mark := []string{"ahead", "right", "left", "up", "down", "behind"}[i]
			dir := turned.ToStage(axis)
			x, y, ok := p.p.Project(dir)
			want := p.at[i]
			if want[0] == none {
				assert.False(t, ok, "%s images %s at %v, %v", p.name, mark, x, y)
				continue
			}
			assert.True(t, ok, "%s: %s is not imaged", p.name, mark)
			const id = "P-PAN-5"
			if mark == "behind" && !p.behind { // either end
				end := float64(w) - 2*want[0]
				if x > w/2 {
					x -= end
				}
				d, _ := p.p.Unproject(want[0]+end, want[1])
				ref.Near(t, id, r3.Norm(r3.Sub(d, dir)), 0, p.name, mark, "the other end")
			}
			// Up and down fill a row.
			if p.name != "equirect" || (mark != "up" && mark != "down") {
				ref.Near(t, id, x, want[0], p.name, mark, "x")
			}
			ref.Near(t, id, y, want[1], p.name, mark, "y")
			d, ok := p.p.Unproject(want[0], want[1])
			assert.True(t, ok, "%s: %s has no direction", p.name, mark)
			ref.Near(t, id, r3.Norm(r3.Sub(d, dir)), 0, p.name, mark, "direction")
		}
	}
}

func TestPanoramaRoundTrips(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	p := trial.SomePose(rng)
	for name, pan := range map[string]trial.Mapper{
		"equirect":    trial.Must[panorama.Equirect](t)(panorama.NewEquirect(4001, 777, p)),
		"cylindrical": trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: 4001, Height: 777, Bottom: -60 * deg, Top: 30 * deg, Pose: p})),
		"cube":        trial.Must[panorama.Cube](t)(panorama.NewCube(777, p)),
	} {
		width, height := pan.Size()
		for range 5000 {
			x, y := rng.Float64()*float64(width), rng.Float64()*float64(height)
			d, ok := pan.Unproject(x, y)
			require.True(t, ok, "%s: no direction at %v, %v", name, x, y)
			assert.InDelta(t, 1, r3.Norm(d), 7e-16, name+": length"+": 3 ulp")
			x2, y2, ok := pan.Project(r3.Scale(math.Pow(10, 600*rng.Float64()-300), d))
			require.True(t, ok, "%s: nothing at %v", name, d)
			tolX, tolY := 1e-10, 1e-10
			if name == "equirect" { // close to a pole x says little
				tolX, tolY = 1e-12*(1+1/math.Sin(math.Pi*y/float64(height))), 1e-12
			}
			assert.InDelta(t, x, x2, tolX, name+": x"+": px, roundings of numbers up to 5000")
			assert.InDelta(t, y, y2, tolY, name+": y"+": px, roundings of numbers up to 5000")
		}
		for range 2000 {
			d := r3.Unit(trial.Vec(rng, 1))
			x, y, ok := pan.Project(d)
			back, ok2 := pan.Unproject(x, y)
			require.True(t, ok && ok2, "%s: %v has no position or its position no direction", name, d)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(back, d)), 1e-13, name+": direction"+": roundings")
		}
		nan, inf := math.NaN(), math.Inf(1)
		for _, d := range []r3.Vec{{}, {X: nan}, {X: 1, Y: nan}, {Y: inf}, {X: 1, Z: -inf}} {
			x, y, ok := pan.Project(d)
			assert.True(t, !ok && x == 0 && y == 0, "%s: %v is at %v, %v, %v", name, d, x, y, ok)
		}
		// Lengths that no square can hold.
		for _, l := range []float64{5e-324, 1e-200, 1e200, math.MaxFloat64} {
			x, y, ok := pan.Project(r3.Vec{Z: -l})
			wantX, wantY, _ := pan.Project(r3.Vec{Z: -1})
			assert.True(t, ok && x == wantX && y == wantY, "%s: length %v: %v, %v, %v", name, l, x, y, ok)
		}
		for _, at := range [][2]float64{{nan, 1}, {1, nan}, {inf, 1}, {1, -inf}, {1, inf}, {-inf, 1}} {
			d, ok := pan.Unproject(at[0], at[1])
			assert.True(t, !ok && d == (r3.Vec{}), "%s: %v looks along %v", name, at, d)
		}
	}
	// Beyond the left and right edge a panorama goes on around.
	c := trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: 100, Height: 50, Bottom: -1, Top: 1}))
	b := trial.Must[panorama.Equirect](t)(panorama.NewEquirect(100, 50, p))
	for _, x := range []float64{-30, 70, 170, 100070} {
		d, _ := c.Unproject(x, 10)
		want, _ := c.Unproject(70, 10)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, want)), 1e-11, "around: roundings of numbers up to 1e5")
		d, _ = b.Unproject(x, 10)
		want, _ = b.Unproject(70, 10)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, want)), 1e-11, "around, equirect: roundings of numbers up to 1e5")
	}
	// Over the poles, which are on the edges.
	for _, c := range [][4]float64{{10.5, -1.5, 60.5, 1.5}, {90.5, 51.5, 40.5, 48.5}} {
		d, ok := b.Unproject(c[0], c[1])
		want, _ := b.Unproject(c[2], c[3])
		assert.True(t, ok, "no direction at %v", c)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, want)), 1e-14, "over the pole: roundings")
	}
	// Upright lines stay straight: three points of one, in a turned panorama.
	c = trial.Must[panorama.Cylindrical](t)(panorama.NewCylindrical(panorama.CylindricalSpec{Width: 1000, Height: 500, Bottom: -1, Top: 1.2}))
	x0, y0, _ := c.Project(r3.Vec{X: 3, Y: -2, Z: -4})
	x1, y1, _ := c.Project(r3.Vec{X: 3, Y: 1, Z: -4})
	x2, y2, _ := c.Project(r3.Vec{X: 3, Y: 4, Z: -4})
	assert.InDelta(t, 0, math.Abs(x0-x1)+math.Abs(x1-x2), 1e-12, "upright: px, roundings")
	assert.InDelta(t, y1-y2, y0-y1, 1e-12, "even: px, roundings")
	for _, edge := range []struct {
		elevation unit.Angle
		y         float64
	}{{1.2, 0}, {-1, 500}} {
		_, y, _ := c.Project(projection.Pose{Elevation: edge.elevation}.ToStage(r3.Vec{Z: -1}))
		assert.InDelta(t, edge.y, y, 1e-12*500, "edge: px, roundings")
	}
}

// On an edge or a corner of the cube a direction lies on one face and comes back.
func TestCubeEdges(t *testing.T) {
	c := trial.Must[panorama.Cube](t)(panorama.NewCube(64, projection.Pose{}))
	for _, x := range []float64{-1, 0, 1} {
		for _, y := range []float64{-1, 0, 1} {
			for _, z := range []float64{-1, 0, 1} {
				d := r3.Vec{X: x, Y: y, Z: z}
				px, py, ok := c.Project(d)
				if d == (r3.Vec{}) {
					continue
				}
				back, ok2 := c.Unproject(px, py)
				require.True(t, ok && ok2, "%v is at %v, %v, %v", d, px, py, ok)
				assert.InDelta(t, 0, r3.Norm(r3.Sub(back, r3.Unit(d))), 3e-14, "edge: an ulp of 384 px")
			}
		}
	}
	// The ends of the strip are part of it; beyond them there is nothing.
	for _, at := range [][3]float64{{0, 0, 1}, {384, 64, 1}, {-1e-9, 0, 0}, {384.0000001, 3, 0}, {3, 64.00001, 0}, {3, -1e-9, 0}} {
		_, ok := c.Unproject(at[0], at[1])
		assert.True(t, ok == (at[2] == 1), "at %v: %v", at, ok)
	}
	// Neighbours agree along the edge between them: ahead and right.
	for y := 0.0; y <= 64; y += 8 {
		a, _ := c.Unproject(math.Nextafter(5*64, 0), y)
		b, _ := c.Unproject(0, y)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(a, b)), 3e-14, "the edge of ahead and right: an ulp of 320 px")
		// Ahead is at the bottom of up and at the top of down.
		a, _ = c.Unproject(4*64+y, 0)
		b, _ = c.Unproject(2*64+y, 64)
		if y < 64 {
			assert.InDelta(t, 0, r3.Norm(r3.Sub(a, b)), 1e-15, "the edge of ahead and up: roundings")
			a, _ = c.Unproject(4*64+y, 64)
			b, _ = c.Unproject(3*64+y, 0)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(a, b)), 1e-15, "the edge of ahead and down: roundings")
		}
	}
}

func TestPanoramasRefuse(t *testing.T) {
	bad := projection.Pose{Heading: unit.Angle(math.NaN())}
	_, err := panorama.NewCube(0, bad)
	trial.Refuses(t, panorama.ErrInvalid, err, "edge", "pose heading")
	_, err = panorama.NewCube(1<<24, projection.Pose{})
	trial.Refuses(t, panorama.ErrInvalid, err, "edge")
	_, err = panorama.NewEquirect(0, 1<<25, bad)
	trial.Refuses(t, panorama.ErrInvalid, err, "width", "height", "pose heading")
	assert.Equal(t, 2, strings.Count(err.Error(), "\n"), "three faults")
	_, err = panorama.NewCylindrical(panorama.CylindricalSpec{Bottom: unit.Angle(math.NaN()), Top: 90 * deg, Pose: bad})
	trial.Refuses(t, panorama.ErrInvalid, err, "width", "height", "bottom", "top", "pose heading")
	_, err = panorama.NewCylindrical(panorama.CylindricalSpec{Width: 1, Height: 1, Bottom: 0.5, Top: 0.5})
	trial.Refuses(t, panorama.ErrInvalid, err, "top")
	_, err = panorama.NewCylindrical(panorama.CylindricalSpec{Width: 1, Height: 1, Bottom: 5e-324, Top: 1e-300})
	trial.Refuses(t, panorama.ErrInvalid, err, "tangents")
	// A bare 90 is 90 rad.
	_, equirect := panorama.NewEquirect(2, 2, projection.Pose{Heading: 90})
	_, border := panorama.NewBorderEquirect(2, 2, projection.Pose{Heading: 90})
	_, cylindrical := panorama.NewCylindrical(panorama.CylindricalSpec{Width: 2, Height: 2, Bottom: -1, Top: 1, Pose: projection.Pose{Heading: 90}})
	_, ahead := panorama.NewCube(2, projection.Pose{Heading: 90})
	for _, err := range []error{equirect, border, cylindrical, ahead} {
		trial.Refuses(t, panorama.ErrInvalid, err, "pose heading", "is 90*Degree meant?")
	}

	if m := (panorama.Cylindrical{}).Margin(0, 0); !math.IsInf(m, -1) {
		t.Errorf("the zero Cylindrical has a margin of %v", m)
	}
	if _, ok := (panorama.Cube{}).Face(0); ok {
		t.Error("the zero Cube has a face")
	}
	cube := trial.Must[panorama.Cube](t)(panorama.NewCube(8, projection.Pose{}))
	for _, i := range []int{-1, 6} {
		_, ok := cube.Face(i)
		assert.False(t, ok, "a face %d", i)
	}
	for name, z := range map[string]trial.Mapper{"Cube": panorama.Cube{}, "Cylindrical": panorama.Cylindrical{}, "Equirect": panorama.Equirect{}, "BorderEquirect": panorama.BorderEquirect{}} {
		if w, h := z.Size(); w != 0 || h != 0 {
			t.Errorf("the zero %s has a size", name)
		}
		_, _, ok := z.Project(r3.Vec{Z: -1})
		_, ok2 := z.Unproject(0, 0)
		_, ok3 := z.Unproject(0.5, 0.5)
		assert.True(t, !ok && !ok2 && !ok3, "the zero %s answers", name)
	}
}

func TestEquirectEdges(t *testing.T) {
	pose := projection.Pose{Heading: 2, Elevation: 0.6, Roll: -1}
	e := trial.Must[panorama.Equirect](t)(panorama.NewEquirect(4096, 1500, pose))
	for x := 0.0; x < 4096; x += 7.3 {
		d, _ := e.Unproject(x, 1500-x/3)
		d2, _ := e.Unproject(x-4096*3, 1500-x/3)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, d2)), 1e-13, "around: roundings of 3·4096")
	}
	// Each edge of the top row is up, and up is in its middle.
	up := pose.ToStage(r3.Vec{Y: 1})
	for _, x := range []float64{0, 0.5, 1000, 4096} {
		d, _ := e.Unproject(x, 0)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, up)), 1e-15, "up: roundings")
		d, _ = e.Unproject(x, 1500)
		assert.InDelta(t, 0, r3.Norm(r3.Add(d, up)), 1e-15, "down: roundings")
	}
	if x, y, ok := e.Project(up); !ok || x != 2048 || y > 1e-9 {
		t.Errorf("up is at %v, %v, %v", x, y, ok)
	}
	if x, y, ok := e.Project(r3.Scale(-1, up)); !ok || x != 2048 || y < 1500-1e-9 {
		t.Errorf("down is at %v, %v, %v", x, y, ok)
	}
	// Over the poles, but not back by way of the other.
	for _, c := range [][4]float64{
		{10, -5, 2058, 5}, {3000, 1500.25, 952, 1499.75}, {10, -1e-9, 2058, 1e-9}, {7, -1500, 2055, 1500},
		{7, 2990, 2055, 10}, {7, 3000, 2055, 0},
	} {
		d, ok := e.Unproject(c[0], c[1])
		want, _ := e.Unproject(c[2], c[3])
		assert.True(t, ok, "no direction at %v", c)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(d, want)), 1e-14, "over the pole: roundings")
	}
	for _, y := range []float64{-1500.0001, 3000.0001, 1e300} {
		_, ok := e.Unproject(10, y)
		assert.False(t, ok, "a direction at y = %v", y)
	}
	// The seam: never Width, and continuous across it.
	for i := -5; i <= 5; i++ {
		d := pose.ToStage(r3.Vec{X: float64(i) * 1e-17, Z: 1})
		if x, _, _ := e.Project(d); !(x >= 0 && x < 4096) || min(x, 4096-x) > 1e-9 {
			t.Errorf("behind is at x = %v", x)
		}
	}
}

func TestEquirectAgainstProj(t *testing.T) {
	const w, h = 4096, 2048
	e := trial.Must[panorama.Equirect](t)(panorama.NewEquirect(w, h, projection.Pose{}))
	ref.Equal(t, "P-E3", e.WrapX() && e.WrapY(), true)
	x, y, _ := e.Project(projection.Direction(2*deg, 1*deg))
	const equator = 2 * math.Pi * 6400000
	ref.Near(t, "P-E2", (x-w/2)*equator/w, 223402.144255274)
	ref.Near(t, "P-E2", (h/2-y)*equator/w, 111701.072127637)
}

// What package warp asks of the two ends of a map.
var (
	_ warp.Target = panorama.Cube{}
	_ warp.Source = panorama.Cube{}
	_ warp.Source = panorama.Cylindrical{}
	_ warp.Source = panorama.BorderEquirect{}
)

// The first and the last pixel of a row, of a column: with no rotation, and turned.
func TestSamplesOnTheBorder(t *testing.T) {
	small := trial.Must[panorama.BorderEquirect](t)(panorama.NewBorderEquirect(5, 3, projection.Pose{}))
	for _, m := range []struct {
		x, y float64
		d    r3.Vec
	}{
		{0.5, 1.5, r3.Vec{Z: 1}}, {4.5, 1.5, r3.Vec{Z: 1}}, {1.5, 1.5, r3.Vec{X: -1}}, {2.5, 1.5, r3.Vec{Z: -1}}, {3.5, 1.5, r3.Vec{X: 1}},
		{0.5, 0.5, r3.Vec{Y: 1}}, {4.5, 0.5, r3.Vec{Y: 1}}, {0.5, 2.5, r3.Vec{Y: -1}}, {3.5, 2.5, r3.Vec{Y: -1}},
	} {
		d, _ := small.Unproject(m.x, m.y)
		ref.Near(t, "P-PAN-3", r3.Norm(r3.Sub(d, m.d)), 0, "sample", m.x, m.y)
		x, y, ok := small.Project(m.d)
		require.True(t, ok)
		ref.Near(t, "P-PAN-3", y, m.y, "row", m.x, m.y)
		if m.y == 1.5 && m.x < 4 {
			ref.Near(t, "P-PAN-3", x, m.x, "column", m.x, m.y)
		}
	}
	rng := rand.New(rand.NewPCG(16, 16))
	b := trial.Must[panorama.BorderEquirect](t)(panorama.NewBorderEquirect(4001, 777, trial.SomePose(rng)))
	for range 3000 {
		x, y := 0.5+4000*rng.Float64(), 0.5+776*rng.Float64()
		d, ok := b.Unproject(x, y)
		require.True(t, ok)
		x2, y2, ok := b.Project(r3.Scale(3, d))
		require.True(t, ok)
		assert.InDelta(t, x, x2, 1e-10/math.Sin(math.Pi*(y-0.5)/776), "px, roundings; close to a pole x says little")
		assert.InDelta(t, y, y2, 1e-10, "px, roundings")
	}
	around, _ := b.Unproject(70-4000*3, 10)
	over, _ := b.Unproject(70+2000, -9) // 9.5 rows above the first centres
	want, _ := b.Unproject(70, 10)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(around, want)), 1e-11, "around")
	assert.InDelta(t, 0, r3.Norm(r3.Sub(over, want)), 1e-11, "over the pole")
	for _, d := range []r3.Vec{{}, {X: math.NaN()}, {Y: math.Inf(1)}} {
		_, _, ok := b.Project(d)
		assert.False(t, ok)
	}
	_, _, ok := panorama.BorderEquirect{}.Project(r3.Vec{Z: -1})
	assert.False(t, ok)
	_, err := panorama.NewBorderEquirect(1, 1<<25, projection.Pose{Heading: 90})
	trial.Refuses(t, panorama.ErrInvalid, err, "width", "height", "pose heading")
}
