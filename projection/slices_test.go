package projection_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// sliced are cameras of every kind of step that the slices take.
func sliced(t testing.TB) map[string]projection.Camera {
	m := map[string]projection.Camera{}
	pose := projection.Pose{Heading: 2, Elevation: -0.4, Roll: 0.3}
	add := func(name string, model projection.Model, d projection.Distortion, limit float64) {
		m[name] = camera(t, projection.CameraSpec{Model: model, Distortion: d, FocalX: 3000, FocalY: 2900, Width: 9000, Height: 7000, OffsetX: 12, OffsetY: -40, Pose: pose,
			MaxAngle: model.MaxAngle() * unit.Angle(limit)})
	}
	for _, f := range forms {
		add(f.String(), f, nil, 1)
		add(f.String()+" to half its angle", f, nil, 0.5)
		add(f.String()+" distorted", f, shear{-0.01, 0.002, 2}, 1)
	}
	add("own", kannalaBrandt{1, 0.02, -0.01, 0, 0}, nil, 1)
	for name, c := range map[string][]float64{
		"growing":  {1, 0.02, -0.01, 0.001},
		"stopping": {1.2, -0.08, 0.003}, // its radius stops growing at 180° or before
		"measured": {1, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
		"one":      {0.7},
	} {
		p, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c})
		if err != nil {
			t.Fatal(err)
		}
		add("polynomial "+name, p, nil, 1)
		add("polynomial "+name+" distorted", p, shear{-0.01, 0.002, 2}, 0.9)
	}
	for name, s := range map[string]projection.BrownConradySpec{
		"radial":     {K1: -0.2, K2: 0.03},
		"tangential": {K1: -0.26637260909660682, K2: -0.038588898922304653, P1: 0.0017831947042852964, P2: -0.00028122100441115472, K3: 0.23839153080878486},
		"everything": {K1: 0.3, K2: 0.05, K3: 0.001, K4: 0.25, K5: 0.02, K6: 0.002, P1: 0.003, P2: -0.002, S1: 0.001, S2: -0.0003, S3: 0.002, S4: 0.0001},
		"strong":     {K1: -0.3, P1: 0.05, P2: 0.04},
		"nothing":    {},
	} {
		d, err := projection.NewBrownConrady(s)
		if err != nil {
			t.Fatal(err)
		}
		add("distortion "+name, projection.Rectilinear, d, 1)
		if name == "tangential" {
			m["distortion in an image circle"] = camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 3000, FocalY: 3100, Width: 9000, Height: 7000,
				OffsetX: 12, OffsetY: -40, Pose: pose, Pitch: 1e-6, ImageCircle: 5e-3, MaxAngle: 0.8})
		}
	}
	return m
}

// The slices say what the single calls say, over the whole sphere and raster, to
// the error stated.
func TestSlicesAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	inf, nan := math.Inf(1), math.NaN()
	dirs := []r3.Vec{{}, {X: nan}, {Y: inf}, {Z: -inf}, {Z: nan, X: 1}, {Z: 1e-320}, {X: 1e300, Y: 1e-300}, {Z: -1}, {Z: 1}, {X: 1}, {Y: 1}}
	for range 2000 {
		d := r3.Scale(math.Pow(10, 4*rng.Float64()-2), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		dirs = append(dirs, d)
	}
	cameras := sliced(t)
	for _, name := range slices.Sorted(maps.Keys(cameras)) {
		c := cameras[name]
		axis, _ := c.Unproject(4512, 3460)
		all := append([]r3.Vec{axis, r3.Scale(-1, axis), r3.Scale(1e-200, axis)}, dirs...)
		for range 500 { // near the axis and opposite to it
			d := r3.Add(axis, r3.Scale(math.Pow(10, -17*rng.Float64()), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
			all = append(all, d, r3.Scale(-1, d))
		}
		x, y, ok := make([]float64, len(all)), make([]float64, len(all)), make([]bool, len(all))
		if n := c.ProjectAll(x, y, ok, all); n != len(all) {
			t.Errorf("%s: %d of %d", name, n, len(all))
		}
		imaged := 0
		for i, d := range all {
			wx, wy, wok := c.Project(d)
			if ok[i] != wok {
				t.Errorf("%s: %v imaged: %v, alone %v", name, d, ok[i], wok)
				continue
			}
			if wok {
				imaged++
			}
			if far := math.Hypot(wx-4512, wy-3460); far <= 1e9 { // the rectilinear form grows beyond all
				near.Abs(t, name, math.Hypot(x[i]-wx, y[i]-wy), 0, 2e-15*far+2e-12, "stated, and the rounding of 9000 px")
			}
			if !ok[i] && (x[i] != 0 || y[i] != 0) {
				t.Errorf("%s: no image at %v, %v", name, x[i], y[i])
			}
		}
		if imaged < 500 {
			t.Errorf("%s: only %d imaged", name, imaged)
		}

		px, py := []float64{nan, 5, inf, -inf, 4512, 1e300}, []float64{5, nan, 5, 5, 3460, 1e300}
		for range 2000 {
			px, py = append(px, 4512+25000*(rng.Float64()-0.5)), append(py, 3460+25000*(rng.Float64()-0.5))
		}
		for i := range x {
			if ok[i] {
				px, py = append(px, x[i]), append(py, y[i])
			}
		}
		back, good := make([]r3.Vec, len(px)), make([]bool, len(px))
		c.UnprojectAll(back, good, px, py)
		for i := range back {
			want, wok := c.Unproject(px[i], py[i])
			if good[i] != wok {
				t.Errorf("%s: direction at %v, %v: %v, alone %v", name, px[i], py[i], good[i], wok)
				continue
			}
			// At a rim, where the angle grows with the root, a rounding of the
			// position is more.
			tol := 2e-15
			if d, ok := c.Density(want); ok && math.Hypot(px[i]-4512, py[i]-3460) < 1e5 {
				tol += 2e-12 / (d.Least*57.3 + 1e-3)
			}
			near.Abs(t, name+" back", r3.Norm(r3.Sub(back[i], want)), 0, min(tol, 1e-7), "stated, and roundings of the position at a rim")
		}
	}
}

// The errors stated hold for polynomials of any scale: radii in pixels, in
// millimetres, or next to nothing.
func TestSlicesOfPolynomialsAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(18, 8))
	for range 60 {
		scale := math.Pow(10, 11*rng.Float64()-5.5)
		c := []float64{scale, scale * (0.3*rng.Float64() - 0.15), scale * (0.06*rng.Float64() - 0.03), scale * (0.01*rng.Float64() - 0.005)}
		p, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c})
		if err != nil {
			t.Fatal(err)
		}
		// With the principal point at 0 positions keep all their digits.
		cam := camera(t, projection.CameraSpec{Model: p, FocalX: 1, FocalY: 1, Width: 2, Height: 2, OffsetX: -1, OffsetY: -1, MaxAngle: 0.98 * p.MaxAngle(),
			Pose: projection.Pose{Heading: 1, Elevation: 0.5}})
		const n = 4000
		dirs, back := make([]r3.Vec, n), make([]r3.Vec, n)
		x, y, ok := make([]float64, n), make([]float64, n), make([]bool, n)
		for i := range dirs {
			dirs[i] = r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		}
		cam.ProjectAll(x, y, ok, dirs)
		worst, worstBack := 0.0, 0.0
		for i, d := range dirs {
			if wx, wy, seen := cam.Project(d); seen && ok[i] {
				worst = max(worst, math.Hypot(x[i]-wx, y[i]-wy)/math.Hypot(wx, wy))
			}
		}
		cam.UnprojectAll(back, ok, x, y)
		for i := range back {
			if want, seen := cam.Unproject(x[i], y[i]); seen && ok[i] {
				worstBack = max(worstBack, r3.Norm(r3.Sub(back[i], want)))
			}
		}
		what := fmt.Sprintf("%v: ", p)
		near.Abs(t, what+"positions", worst, 0, 2.3e-15, "stated, and the rounding of the position")
		near.Abs(t, what+"directions", worstBack, 0, 3e-15, "stated")
	}
}

// One ray by PROJ 9.1.1 in the five projections, through the slices.
func TestSlicesAgainstPROJ(t *testing.T) {
	for _, e := range []struct {
		f    projection.Form
		x, y float64
	}{
		{projection.Rectilinear, 0.577350269189626, 0.420276625461206},
		{projection.Stereographic, 0.518080175340628, 0.377131525574807},
		{projection.Equidistant, 0.501369494614624, 0.364967144817624},
		{projection.Equisolid, 0.493374157077090, 0.359147015064477},
		{projection.Orthographic, 0.469846310392954, 0.342020143325669},
	} {
		c := mapCamera(t, e.f, 1, 0, 0)
		dirs, x, y, ok := []r3.Vec{toward(30, 20)}, []float64{0}, []float64{0}, []bool{false}
		if c.ProjectAll(x, y, ok, dirs); !ok[0] {
			t.Errorf("%v: not imaged", e.f)
		}
		ref.Near(t, "P-SL1", x[0], 1+e.x, e.f, "x")
		ref.Near(t, "P-SL1", y[0], 1-e.y, e.f, "y")
		if c.UnprojectAll(dirs, ok, []float64{1 + e.x}, []float64{1 - e.y}); !ok[0] {
			t.Errorf("%v: no direction", e.f)
		}
		want := toward(30, 20)
		ref.Near(t, "P-SL1", dirs[0].X, want.X, e.f)
		ref.Near(t, "P-SL1", dirs[0].Y, want.Y, e.f)
		ref.Near(t, "P-SL1", dirs[0].Z, want.Z, e.f)
	}
}

func TestSlicesOfUnequalLengths(t *testing.T) {
	c := mapCamera(t, projection.Equidistant, 1, 0, 0)
	dirs := []r3.Vec{{Z: -1}, {Z: -1}, {Z: -1}}
	x, y, ok := []float64{9, 9, 9, 9}, []float64{9, 9}, make([]bool, 5)
	if n := c.ProjectAll(x, y, ok, dirs); n != 2 || x[1] != 1 || x[2] != 9 || ok[2] {
		t.Errorf("%d done: %v %v", n, x, ok)
	}
	if n := c.UnprojectAll(dirs, ok, x, nil); n != 0 || dirs[0] != (r3.Vec{Z: -1}) {
		t.Errorf("%d done", n)
	}
	if n := c.ProjectAll(nil, nil, nil, nil); n != 0 {
		t.Errorf("%d done", n)
	}
	var zero projection.Camera
	if n := zero.ProjectAll(x, y, ok, dirs); n != 2 || ok[0] || x[0] != 0 {
		t.Errorf("the zero Camera: %d done, %v", n, ok)
	}
	if n := zero.UnprojectAll(dirs, ok, x, y); n != 2 || ok[0] || dirs[0] != (r3.Vec{}) {
		t.Errorf("the zero Camera: %d done, %v", n, ok)
	}
}

// Results that would overwrite each other are refused; inputs may be one slice.
func TestSlicesThatShareMemory(t *testing.T) {
	for name, c := range map[string]projection.Camera{"camera": mapCamera(t, projection.Equidistant, 1, 0, 0), "zero": {}} {
		n := 300
		dirs, memory, ok := make([]r3.Vec, n), make([]float64, 2*n), make([]bool, n)
		for i := range dirs {
			dirs[i] = toward(float64(i)/9, 20)
		}
		for _, from := range []int{0, 1, n - 1} {
			if done := c.ProjectAll(memory[:n], memory[from:from+n], ok, dirs); done != 0 {
				t.Errorf("%s: %d done, in one memory from %d on", name, done, from)
			}
			if done := c.ProjectAll(memory[from:from+n], memory[:n], ok, dirs); done != 0 {
				t.Errorf("%s: %d done, in one memory from %d on", name, done, from)
			}
		}
		if memory[0] != 0 || memory[n] != 0 || ok[0] {
			t.Errorf("%s: something was written", name)
		}
		// Next to each other, and as much of one memory as the shortest slice takes.
		if done := c.ProjectAll(memory[:n], memory[n:], ok, dirs); done != n {
			t.Errorf("%s: %d of %d done", name, done, n)
		}
		if done := c.ProjectAll(memory, memory[5:], ok, dirs[:5]); done != 5 {
			t.Errorf("%s: %d of 5 done", name, done)
		}
		if name == "zero" {
			continue
		}
		for i := range n {
			memory[i] = float64(i) / 300
		}
		c.UnprojectAll(dirs, ok, memory[:n], memory[:n])
		for i, d := range dirs {
			if want, seen := c.Unproject(memory[i], memory[i]); seen != ok[i] || r3.Norm(r3.Sub(d, want)) > 3e-15 {
				t.Errorf("diagonal at %v: %v, want %v", memory[i], d, want)
			}
		}
	}
}

// The tables may be made by whoever comes first.
func TestSlicesAtOnce(t *testing.T) {
	c := mapCamera(t, projection.Equidistant, 1, 0, 0)
	var wait sync.WaitGroup
	for range 4 {
		wait.Add(1)
		go func() {
			defer wait.Done()
			x, y, ok := make([]float64, 1), make([]float64, 1), make([]bool, 1)
			c.ProjectAll(x, y, ok, []r3.Vec{{X: 1, Z: -1}})
			if math.Abs(x[0]-1-math.Pi/4) > 1e-15 || !ok[0] {
				t.Errorf("45° is at %v", x[0])
			}
		}()
	}
	wait.Wait()
}

func TestSlicesAllocateNothing(t *testing.T) {
	cameras := sliced(t)
	for _, name := range slices.Sorted(maps.Keys(cameras)) {
		c := cameras[name]
		dirs, x, y, ok := slicesOf(c, 300)
		c.ProjectAll(x, y, ok, dirs)
		if n := testing.AllocsPerRun(10, func() {
			c.ProjectAll(x, y, ok, dirs)
			c.UnprojectAll(dirs, ok, x, y)
		}); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}

// FuzzSlices holds the slices against the single calls.
func FuzzSlices(f *testing.F) {
	f.Add(uint8(3), 1000.0, 1.5, 0.1, 0.2, -1.0, 100.0, 50.0)
	f.Add(uint8(5), 1000.0, 0.0, 1.0, 0.0, 1e-9, 1100.0, 100.0)
	f.Add(uint8(6), 1000.0, 3.0, 1e-300, math.NaN(), 1.0, math.Inf(1), 0.0)
	f.Add(uint8(7), 100.0, 0.0, 0.3, 0.2, -1.0, 130.0, 20.0)
	f.Add(uint8(2), 1e-5, 0.0, 1e-9, 0.0, 1.0, 1e8, 0.0)
	f.Fuzz(func(t *testing.T, model uint8, focal, limit, dx, dy, dz, px, py float64) {
		var m projection.Model = projection.Form(model % 8)
		var d projection.Distortion
		switch model % 8 {
		case 6:
			m, _ = projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, -0.05, 0.001}})
		case 7:
			m = projection.Rectilinear
			d, _ = projection.NewBrownConrady(projection.BrownConradySpec{K1: -0.3, K2: 0.08, P1: 0.01, P2: -0.02, S1: 0.003})
		}
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, Distortion: d, FocalX: focal, FocalY: focal, Width: 200, Height: 100, MaxAngle: unit.Angle(limit)})
		if err != nil {
			return
		}
		dirs, x, y, ok := []r3.Vec{{X: dx, Y: dy, Z: dz}}, []float64{0}, []float64{0}, []bool{false}
		c.ProjectAll(x, y, ok, dirs)
		wx, wy, wok := c.Project(dirs[0])
		if d := math.Hypot(x[0]-wx, y[0]-wy); ok[0] != wok || !(d <= 4e-15*math.Hypot(wx-100, wy-50)+1e-13) {
			t.Errorf("%v: (%v, %v, %v), alone (%v, %v, %v)", dirs, x, y, ok, wx, wy, wok)
		}
		c.UnprojectAll(dirs, ok, []float64{px}, []float64{py})
		want, wok := c.Unproject(px, py)
		if d := r3.Norm(r3.Sub(dirs[0], want)); ok[0] != wok || !(d <= 1e-7) {
			t.Errorf("(%v, %v): %v %v, alone %v %v", px, py, dirs, ok, want, wok)
		}
	})
}

func ExampleCamera_ProjectAll() {
	port, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 2000, FocalY: 2000, Width: 6144, Height: 6144,
		Pose: projection.Pose{Heading: -90 * projection.Degree},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	// Marks along the quay, metres from the camera.
	marks := []r3.Vec{{X: -40, Y: -3, Z: -30}, {X: -40, Y: -3, Z: 0}, {X: -40, Y: -3, Z: 30}, {X: 400, Y: -3}}
	x, y, ok := make([]float64, 4), make([]float64, 4), make([]bool, 4)
	port.ProjectAll(x, y, ok, marks)
	for i := range marks {
		fmt.Printf("(%.1f, %.1f) %v\n", x[i], y[i], ok[i])
	}
	// Output:
	// (4357.4, 3200.5) true
	// (3072.0, 3221.7) true
	// (1786.6, 3200.5) true
	// (3072.0, 9340.2) true
}

func BenchmarkProjectAll(b *testing.B) {
	benchSlices(b, func(c slicer, dirs []r3.Vec, x, y []float64, ok []bool) { c.ProjectAll(x, y, ok, dirs) })
}

func BenchmarkUnprojectAll(b *testing.B) {
	benchSlices(b, func(c slicer, dirs []r3.Vec, x, y []float64, ok []bool) { c.UnprojectAll(dirs, ok, x, y) })
}

func benchSlices(b *testing.B, f func(c slicer, dirs []r3.Vec, x, y []float64, ok []bool)) {
	for name, m := range benchMappers(b) {
		c, ok := m.(slicer)
		if !ok {
			continue
		}
		const n = 4096
		dirs, x, y, good := slicesOf(c, n)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				f(c, dirs, x, y, good)
			}
			b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdirections/s")
		})
	}
}

type slicer interface {
	mapper
	ProjectAll(x, y []float64, ok []bool, dirs []r3.Vec) int
	UnprojectAll(dirs []r3.Vec, ok []bool, x, y []float64) int
}

// slicesOf are n positions that a camera images, at random over the disc, and
// their directions.
func slicesOf(c slicer, n int) (dirs []r3.Vec, x, y []float64, ok []bool) {
	rng := rand.New(rand.NewPCG(1, 1))
	w, h := c.Size()
	for len(dirs) < n {
		px, py := rng.Float64()*float64(w), rng.Float64()*float64(h)
		if d, ok := c.Unproject(px, py); ok {
			dirs, x, y = append(dirs, d), append(x, px), append(y, py)
		}
	}
	return dirs, x, y, make([]bool, n)
}
