package wall_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func column(p r3.Vec) [4]float64 { return [4]float64{p.X, p.Y, p.Z, 1} }

func times(m wall.Matrix, v [4]float64) (out [4]float64) {
	for i, row := range m {
		for j, e := range row {
			out[i] += e * v[j]
		}
	}
	return out
}

func TestProjectionMatrix(t *testing.T) {
	// 45° high, 640:480.
	top := 0.1 * math.Tan(math.Pi/8)
	right := top * 640 / 480
	m, _ := wall.Frustum{
		Left: unit.Length(-right), Right: unit.Length(right),
		Bottom: unit.Length(-top), Top: unit.Length(top), Near: 0.1, Far: 200,
	}.Projection()
	for i, got := range []float64{m[0][0], m[1][1], m[2][2], m[2][3]} {
		ref.Near(t, "W-P2", got, []float64{1.81066, 2.414213, -1.001, -0.2001}[i], i)
		ref.Near(t, "W-P2b", got, []float64{1.81066017178, 2.41421356237, -1.00100050025, -0.200100050025}[i], i)
	}
	ref.Near(t, "W-P2b", m[3][2], -1, "last row")
	ref.Near(t, "W-P2b", m[3][3], 0, "last row")
}

func TestOffAxis(t *testing.T) {
	screen := wall.Rectangle{LowerLeft: r3.Vec{X: -5}, LowerRight: r3.Vec{X: 5}, UpperLeft: r3.Vec{X: -5, Y: 4}}
	for _, tc := range []struct {
		id                    string
		eye                   r3.Vec
		l, r, b, t            float64
		p02, p12              float64
		left, right, down, up float64 // degrees
	}{
		// On the axis l = −r and b = −t; the article's text slips to l = r, b = t.
		{"W-P3", r3.Vec{Y: 2, Z: 6}, -0.0833333333333, 0.0833333333333, -0.0333333333333, 0.0333333333333,
			0, 0, -39.8055710923, 39.8055710923, -18.4349488229, 18.4349488229},
		{"W-P4", r3.Vec{X: 2, Y: 1.5, Z: 6}, -0.116666666667, 0.05, -0.025, 0.0416666666667,
			-0.4, 0.25, -49.398705355, 26.5650511771, -14.0362434679, 22.619864948},
	} {
		f := must[wall.Frustum](t)(wall.NewFrustum(screen, tc.eye, 0.1, 100))
		m, _ := f.Projection()
		left, right, down, up, _ := f.Angles()
		check := func(what string, got, want float64) {
			t.Helper()
			ref.Near(t, tc.id, got, want, what)
		}
		check("l", float64(f.Left), tc.l)
		check("r", float64(f.Right), tc.r)
		check("b", float64(f.Bottom), tc.b)
		check("t", float64(f.Top), tc.t)
		check("P02", m[0][2], tc.p02)
		check("P12", m[1][2], tc.p12)
		check("P00", m[0][0], 1.2)
		check("P11", m[1][1], 3)
		check("P22", m[2][2], -1.002002002002)
		check("P23", m[2][3], -0.2002002002002)
		check("left", float64(left/wall.Degree), tc.left)
		check("right", float64(right/wall.Degree), tc.right)
		check("down", float64(down/wall.Degree), tc.down)
		check("up", float64(up/wall.Degree), tc.up)
		view, _ := f.StageToEye()
		e := times(view, column(r3.Vec{X: tc.eye.X + 1, Y: tc.eye.Y + 2, Z: tc.eye.Z - 3}))
		check("eye x", e[0], 1)
		check("eye y", e[1], 2)
		check("eye z", e[2], -3)
	}
	if _, ok := (wall.Frustum{}).Projection(); ok {
		t.Error("the zero frustum has a projection")
	}
	if _, ok := (wall.Frustum{}).StageToEye(); ok {
		t.Error("the zero frustum has an eye")
	}
	if _, _, _, _, ok := (wall.Frustum{}).Angles(); ok {
		t.Error("the zero frustum has angles")
	}
}

// The corners of every panel land on ±1 for any eye in front of it, and the
// near and far planes on −1 and 1.
func TestCornersLandOnTheEdges(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 1))
	for tried := 0; tried < 1000; {
		spec := somewhere(rng)
		w := must[wall.Wall](t)(wall.New(spec))
		r, ok := w.Rectangle(0, 0, float64(spec.PanelPixelsX), float64(spec.PanelPixelsY))
		if !ok {
			t.Fatal("no panel")
		}
		eye := r3.Add(spec.Position, r3.Vec{X: 5 * rng.NormFloat64(), Y: 5 * rng.NormFloat64(), Z: 5 * rng.NormFloat64()})
		n, _ := w.Normal(0, 0)
		near1, far := unit.Length(0.05), unit.Length(500)
		f, err := wall.NewFrustum(r, eye, near1, far)
		if distance := r3.Dot(n, r3.Sub(eye, r.LowerLeft)); (err == nil) != (distance > 0) {
			t.Fatalf("%v m in front, but %v", distance, err)
		}
		if err != nil {
			continue
		}
		tried++
		m, _ := f.Projection()
		view, _ := f.StageToEye()
		upperRight := r3.Add(r.UpperLeft, r3.Sub(r.LowerRight, r.LowerLeft))
		for _, tc := range []struct {
			p    r3.Vec
			x, y float64
		}{{r.LowerLeft, -1, -1}, {r.LowerRight, 1, -1}, {r.UpperLeft, -1, 1}, {upperRight, 1, 1}} {
			clip := times(m, times(view, column(tc.p)))
			why := "positions of 10 m with roundings of 1e-15 m, over slanting ways down to some mm"
			near.Abs(t, "x", clip[0]/clip[3], tc.x, 1e-10, why)
			near.Abs(t, "y", clip[1]/clip[3], tc.y, 1e-10, why)
			if !(clip[3] > 0) {
				t.Error("the corner is behind the eye")
			}
		}
		for _, tc := range []struct {
			depth unit.Length
			z     float64
		}{{near1, -1}, {far, 1}} {
			p := r3.Add(eye, r3.Scale(-float64(tc.depth), f.BackAxis))
			clip := times(m, times(view, column(p)))
			near.Abs(t, "depth", clip[2]/clip[3], tc.z, 1e-9, "positions of 10 m with roundings of 1e-15 m, over a near distance of 0.05 m")
		}
	}
}

// A frustum made by hand may be none.
func TestFrustumsThatAreNone(t *testing.T) {
	good := must[wall.Frustum](t)(wall.NewFrustum(upright(-1, -1, 2, 1), r3.Vec{Z: 3}, 0.1, 10))
	for name, change := range map[string]func(f *wall.Frustum){
		"near 0":         func(f *wall.Frustum) { f.Near = 0 },
		"near below 0":   func(f *wall.Frustum) { f.Near = -1 },
		"far = near":     func(f *wall.Frustum) { f.Far = f.Near },
		"far below near": func(f *wall.Frustum) { f.Far = f.Near / 2 },
		"left = right":   func(f *wall.Frustum) { f.Left = f.Right },
		"left > right":   func(f *wall.Frustum) { f.Left, f.Right = f.Right, f.Left },
		"bottom = top":   func(f *wall.Frustum) { f.Bottom = f.Top },
		"bottom > top":   func(f *wall.Frustum) { f.Bottom, f.Top = f.Top, f.Bottom },
		"left −Inf":      func(f *wall.Frustum) { f.Left = unit.Length(-inf) },
		"right +Inf":     func(f *wall.Frustum) { f.Right = unit.Length(inf) },
		"bottom −Inf":    func(f *wall.Frustum) { f.Bottom = unit.Length(-inf) },
		"top NaN":        func(f *wall.Frustum) { f.Top = unit.Length(nan) },
		"far +Inf":       func(f *wall.Frustum) { f.Far = unit.Length(inf) },
	} {
		f := good
		change(&f)
		_, ok := f.Projection()
		_, _, _, _, ok2 := f.Angles()
		if ok || ok2 {
			t.Errorf("%s: %v, %v", name, ok, ok2)
		}
	}
	for name, change := range map[string]func(f *wall.Frustum){
		"right and up longer":   func(f *wall.Frustum) { f.RightAxis.X, f.UpAxis.Y = 2, 2 },
		"right and back longer": func(f *wall.Frustum) { f.RightAxis.X, f.BackAxis.Z = 2, 2 },
		"up and back longer":    func(f *wall.Frustum) { f.UpAxis.Y, f.BackAxis.Z = 2, 2 },
		"up and back shorter":   func(f *wall.Frustum) { f.UpAxis.Y, f.BackAxis.Z = 0.5, 0.5 },
		"all longer":            func(f *wall.Frustum) { f.RightAxis.X, f.UpAxis.Y, f.BackAxis.Z = 2, 2, 2 },
		"left-handed":           func(f *wall.Frustum) { f.BackAxis.Z = -1 },
		"leaning":               func(f *wall.Frustum) { f.UpAxis.X = 1e-3 },
		"none":                  func(f *wall.Frustum) { f.RightAxis, f.UpAxis, f.BackAxis = r3.Vec{}, r3.Vec{}, r3.Vec{} },
		"NaN":                   func(f *wall.Frustum) { f.UpAxis.Z = nan },
		"eye +Inf":              func(f *wall.Frustum) { f.Eye.X = inf },
	} {
		f := good
		change(&f)
		if _, ok := f.StageToEye(); ok {
			t.Errorf("%s: ok", name)
		}
	}
	if _, ok := good.StageToEye(); !ok {
		t.Error("a good one is refused")
	}
}

func TestFrustumFaults(t *testing.T) {
	good := wall.Rectangle{LowerLeft: r3.Vec{X: -1}, LowerRight: r3.Vec{X: 1}, UpperLeft: r3.Vec{X: -1, Y: 1}}
	for _, tc := range []struct {
		change func(*wall.Rectangle)
		eye    r3.Vec
		n, f   unit.Length
		want   string
	}{
		{nil, r3.Vec{Z: -1}, 0.1, 10, "distance of the eye -1 m: must be more than 2 µm"},
		{nil, r3.Vec{X: 3}, 0.1, 10, "distance of the eye 0 m"},
		{nil, r3.Vec{Z: 1e-6}, 0.1, 10, "distance of the eye 1 µm"},
		{nil, r3.Vec{Z: nan}, 0.1, 10, "eye z NaN m"},
		{nil, r3.Vec{Z: 1}, 0, 10, "near 0 m: must be at least 1 µm and at most 1e+06 km"},
		{nil, r3.Vec{Z: 1}, 2, 2, "far 2 m: must be more than 2 m and at most 1e+06 km"},
		{nil, r3.Vec{Z: 1}, 2, 1, "far 1 m: must be more than 2 m"},
		{nil, r3.Vec{Z: 1}, 2, unit.Length(inf), "far +Inf m"},
		{nil, r3.Vec{Z: 1}, unit.Length(nan), 1, "near NaN m"},
		{nil, r3.Vec{Z: 1}, 0.9e-6, 1, "near 900 nm"},
		{func(r *wall.Rectangle) { r.LowerRight = r.LowerLeft }, r3.Vec{Z: 1}, 1, 2, "width of the rectangle 0 m"},
		{func(r *wall.Rectangle) { r.UpperLeft = r.LowerLeft }, r3.Vec{Z: 1}, 1, 2, "height of the rectangle 0 m"},
		{func(r *wall.Rectangle) { r.UpperLeft = r3.Vec{} }, r3.Vec{Z: 1}, 1, 2, "angle at the lower left corner 0°"},
		{func(r *wall.Rectangle) { r.UpperLeft.X += 0.01 }, r3.Vec{Z: 1}, 1, 2, "angle at the lower left corner 89.4"},
		{func(r *wall.Rectangle) { r.UpperLeft.Y = inf }, r3.Vec{Z: 1}, 1, 2, "upper left corner y +Inf m"},
	} {
		r := good
		if tc.change != nil {
			tc.change(&r)
		}
		_, err := wall.NewFrustum(r, tc.eye, tc.n, tc.f)
		if !errors.Is(err, wall.ErrInvalid) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("got %v, want %q", err, tc.want)
		}
	}
}
