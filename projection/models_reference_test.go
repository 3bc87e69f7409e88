package projection_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Maps of the sphere about a centre, the optical axis, by PROJ.
func TestProjPeer(t *testing.T) {
	words, rows := trial.Rows(t, "azimuthal.csv", 2, "id form lon0 lat0 lon lat x y")
	count := map[string]int{}
	for i, row := range rows {
		id := words[i][0]
		var f projection.Form
		if err := f.UnmarshalText([]byte(words[i][1])); err != nil {
			t.Fatal(err)
		}
		lon0, lat0, lon, lat, x, y := row[0], row[1], row[2], row[3], row[4], row[5]
		cam := mapCamera(t, f, 1, lon0, lat0)
		gotX, gotY, ok := cam.Project(trial.Toward(lon, lat))
		gotX, gotY = gotX-1, 1-gotY
		require.True(t, ok, "%s, row %d: not imaged", id, i)
		if id != "P-PROJ" { // one ray in all forms, and the south pole
			ref.Near(t, "P-G13", gotX, x, words[i])
			ref.Near(t, "P-G13", gotY, y, words[i])
			if id == "P-G12" {
				ref.Near(t, "P-G12", gotY, y, words[i])
			}
			continue
		}
		count[words[i][1]]++
		rho := math.Hypot(x, y)
		// Rounding of the ray at its distance from the rim comes on top: 1/slope².
		ref.Within(t, "P-PROJ", math.Hypot(gotX-x, gotY-y)/rho, words[i], i)

		dir, ok := cam.Unproject(1+x, 1-y)
		require.True(t, ok, "row %d: no direction", i)
		theta, _ := f.Angle(rho)
		slope, _ := f.Slope(theta)
		ref.Within(t, "P-PROJ", r3.Norm(r3.Sub(dir, trial.Toward(lon, lat)))*min(slope, 1), words[i], i, "inverse")
	}
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		assert.True(t, count[f.String()] >= 200, "%v: %d points", f, count[f.String()])
	}
}

// measuredFisheye is the polynomial of OpenCV's fisheye test, whose k₁ to k₄
// follow a first coefficient of 1.
func measuredFisheye(t testing.TB) projection.Bounded {
	t.Helper()
	m, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{
		Coefficients: []float64{1, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
	})
	require.NoError(t, err)
	return m
}

// The raster's origin is half a pixel up and to the left of OpenCV's.
func measuredCamera(t testing.TB) projection.Camera {
	return trial.Camera(t, projection.CameraSpec{
		Model:  measuredFisheye(t),
		FocalX: 558.478087865323, FocalY: 560.506767351568, Width: 1280, Height: 800,
		OffsetX: 620.458515360843 + 0.5 - 640, OffsetY: 381.939424848348 + 0.5 - 400,
	})
}

func TestFisheyePeer(t *testing.T) {
	cam := measuredCamera(t)
	words, rows := trial.Rows(t, "fisheye.csv", 1, "kind x y z u v")
	ahead := 0
	for i, row := range rows {
		ray, u, v := r3.Vec{X: row[0], Y: row[1], Z: row[2]}, row[3]+0.5, row[4]+0.5
		x, y, ok := cam.Project(projection.VisionAxes(ray))
		if words[i][0] == "behind" {
			// OpenCV takes the arc tangent of a radius divided by z, so that a point
			// behind the camera lands, in the picture, where its opposite does. It
			// is 100° or more off the axis, and this lens ends at 93°.
			assert.False(t, ok, "%v, behind, is imaged", ray)
			x, y, ok = cam.Project(projection.VisionAxes(r3.Scale(-1, ray)))
		} else {
			ahead++
		}
		require.True(t, ok, "%v is not imaged", ray)
		ref.Within(t, "P-CV1", math.Hypot(x-u, y-v), i)
		dir, _ := cam.Unproject(u, v)
		back := r3.Scale(r3.Norm(ray), projection.VisionAxes(dir))
		if ahead == i+1 {
			assert.InDelta(t, 0, r3.Norm(r3.Sub(back, ray)), 1e-12*r3.Norm(ray), "inverse: 1e-9 px of 558")
		}
	}
	assert.True(t, ahead >= 200, "%d points", ahead)

	// OpenCV's own test asks that a grid of positions, pulled in to 0.85 about the
	// principal point, goes there and back within 1e-10 px.
	cx, cy := 620.458515360843+0.5, 381.939424848348+0.5
	for i := range 20 {
		for j := range 20 {
			x, y := cx+0.85*(float64(i)*1280/19-cx), cy+0.85*(float64(j)*800/19-cy)
			dir, ok := cam.Unproject(x, y)
			gx, gy, ok2 := cam.Project(dir)
			require.True(t, ok && ok2, "(%v, %v): %v, %v", x, y, ok, ok2)
			ref.Within(t, "P-C1", math.Hypot(gx-x, gy-y), i, j)
		}
	}
}

// The polynomial by itself: two lenses as series, whose radii are tabled, and
// the measured one.
func TestOddPolynomialRadii(t *testing.T) {
	series := func(k float64) (c []float64) { // sin(kθ)/k
		term := 1.0
		for i := range 16 {
			c = append(c, term)
			term *= -k * k / float64((2*i+2)*(2*i+3))
		}
		return c
	}
	sine, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: series(1)})
	require.NoError(t, err)
	half, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: series(0.5)})
	require.NoError(t, err)
	// The sine stops at 90°, twice that of the half angle at 180°.
	ref.Near(t, "P-K1", sine.MaxAngle(), math.Pi/2, "90°")
	ref.Near(t, "P-K1", half.MaxAngle(), math.Pi, "180°")
	for _, row := range []struct{ degrees, half, sine float64 }{
		{1, 0.0174530709967, 0.0174524064373},
		{15, 0.26105238444, 0.258819045103},
		{30, 0.517638090205, 0.5},
		{45, 0.76536686473, 0.707106781187},
		{60, 1, 0.866025403784},
		{80, 1.28557521937, 0.984807753012},
		{90, 1.41421356237, 1},
		{135, 1.84775906502, 0},
		{150, 1.93185165258, 0},
	} {
		theta := unit.Angle(row.degrees) * deg
		for _, m := range []struct {
			projection.Bounded
			r, cos float64
		}{{half, row.half, math.Cos(float64(theta) / 2)}, {sine, row.sine, math.Cos(float64(theta))}} {
			r, ok := m.Radius(theta)
			if m.r == 0 {
				assert.False(t, ok, "a sine images %v°", row.degrees)
				continue
			}
			ref.Near(t, "P-K2", r, m.r, row.degrees)
			if m.cos > 0.1 { // not at the stop
				slope, _ := m.Slope(theta)
				ref.Near(t, "P-K2", slope, m.cos, row.degrees, "slope")
				back, _ := m.Angle(m.r)
				ref.Near(t, "P-K2", back, theta, row.degrees, "inverse")
			}
		}
	}

	m := measuredFisheye(t)
	ref.Near(t, "P-K3", m.MaxAngle(), 1.62802220585, "first stop")
	for _, row := range []struct{ theta, r float64 }{
		{0.0996686524912, 0.0996671737823},
		{0.509739678832, 0.50947808112},
		{0.785398163397, 0.784395565455},
		{1.57079632679, 1.45865486021},
	} {
		r, _ := m.Radius(unit.Angle(row.theta))
		ref.Near(t, "P-C5", r, row.r, row.theta)
		theta, _ := m.Angle(row.r)
		slope, _ := m.Slope(theta)
		ref.Near(t, "P-C5", float64(theta)*slope, row.theta*slope, row.theta, "inverse")
	}
}

func TestTablePeer(t *testing.T) {
	words, rows := trial.Rows(t, "table.csv", 1, "kind angle height slope")
	var points []projection.TablePoint
	for i, row := range rows {
		if words[i][0] == "point" {
			points = append(points, projection.TablePoint{Angle: unit.Angle(row[0]), Height: row[1]})
		}
	}
	m, err := projection.NewTable(points)
	require.NoError(t, err)
	ref.Near(t, "P-TB1", m.MaxAngle(), 1.62, "the last angle")
	for _, row := range rows {
		theta, height, slope := unit.Angle(row[0]), row[1], row[2]
		r, _ := m.Radius(theta)
		ref.Near(t, "P-TB1", r, height, theta)
		s, _ := m.Slope(theta)
		ref.Near(t, "P-TB1", s, slope, theta, "slope")
		back, _ := m.Angle(height)
		ref.Near(t, "P-TB1", back, theta, "inverse")
	}
}

func brownConrady(t testing.TB, spec projection.BrownConradySpec) projection.Distortion {
	t.Helper()
	d, err := projection.NewBrownConrady(spec)
	require.NoError(t, err)
	return d
}

// Twelve coefficients, through the camera and by themselves.
func TestPinholePeer(t *testing.T) {
	const fx, fy, cx, cy = 1510.25, 1498.75, 955.5 + 0.5, 541.25 + 0.5
	d := brownConrady(t, projection.BrownConradySpec{
		K1: 0.21, K2: -0.034, P1: 1.1e-3, P2: -7.5e-4, K3: 0.0021,
		K4: 0.43, K5: -0.012, K6: 0.0017, S1: 6e-4, S2: -2e-4, S3: -9e-4, S4: 3e-4,
	})
	cam := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d,
		FocalX: fx, FocalY: fy, Width: 1920, Height: 1080, OffsetX: cx - 960, OffsetY: cy - 540})
	_, rows := trial.Rows(t, "pinhole.csv", 0, "x y z u v ux uy vx vy")
	for i, row := range rows {
		ray, wantX, wantY := r3.Vec{X: row[0], Y: row[1], Z: row[2]}, row[3]+0.5, row[4]+0.5
		x, y, ok := cam.Project(projection.VisionAxes(ray))
		require.True(t, ok, "%v is not imaged", ray)
		ref.Within(t, "P-CV2", math.Hypot(x-wantX, y-wantY), i)
		dir, _ := cam.Unproject(wantX, wantY)
		ref.Within(t, "P-CV3", r3.Norm(r3.Sub(projection.VisionAxes(dir), r3.Unit(ray))), i, "ray")

		a, b := ray.X/ray.Z, ray.Y/ray.Z
		u, v, _ := d.Distort(a, b)
		ref.Within(t, "P-CV2", math.Hypot(cx+fx*u-wantX, cy+fy*v-wantY), i, "plane")
		ga, gb, _ := d.Undistort((wantX-cx)/fx, (wantY-cy)/fy)
		ref.Within(t, "P-CV3", math.Hypot(ga-a, gb-b), i, "plane")
		ux, uy, vx, vy, _ := d.Jacobian(a, b)
		for k, got := range []float64{ux, uy, vx, vy} {
			ref.Within(t, "P-CV3", math.Abs(got-row[5+k]), i, "derivative", k)
		}
	}
}

func TestBrownConradyRange(t *testing.T) {
	for _, e := range []struct {
		spec projection.BrownConradySpec
		want float64
	}{
		{projection.BrownConradySpec{K1: -1. / 3}, 1},                   // 1 − r² is the slope
		{projection.BrownConradySpec{K2: -0.2}, 1},                      // 1 − r⁴
		{projection.BrownConradySpec{K3: -1. / 7}, 1},                   // 1 − r⁶
		{projection.BrownConradySpec{K4: 0.25}, 2},                      // (1 − r²/4)/(1 + r²/4)²
		{projection.BrownConradySpec{K4: -0.25}, 2 * math.Sqrt(0.999)},  // 1 − r²/4 falls to 1e-3
		{projection.BrownConradySpec{P1: 0.06, P2: -0.08}, 1 / 0.6},     // 1 − 6r·0.1
		{projection.BrownConradySpec{S1: 0.3, S3: 0.4, K4: 0}, 1},       // 1 − 2r·0.5
		{projection.BrownConradySpec{S2: -0.15, S4: 0.2, K4: 0}, 1},     // 1 − 4r³·0.25
		{projection.BrownConradySpec{K1: -1. / 3, MaxRadius: 0.5}, 0.5}, // the caller's
		{projection.BrownConradySpec{K1: 0.1, MaxRadius: 5}, 5},
		{projection.BrownConradySpec{K1: 0.1}, 1e9},
		// The published camera of OpenCV's tutorial: 1 + 3k₁x + 5k₂x² + 7k₃x³ has
		// its root at x = r² by NumPy.
		{projection.BrownConradySpec{K1: -4.1802327176423804e-1, K2: 5.0715244063187526e-1, K3: -5.7843597214487474e-1}, 0.832659666038},
	} {
		ref.Near(t, "P-C15", maxRadius(trial.Must[projection.Distortion](t)(projection.NewBrownConrady(e.spec))), e.want, e.spec)
	}
}

// board is one real lens: its published calibration, and the corners of a board
// found in 13 photographs.
type board struct {
	Matrix     projection.Intrinsics `json:"camera_matrix"`
	Distortion [5]float64            `json:"distortion_k1_k2_p1_p2_k3"`
	Views      []struct {
		View        int
		Rotation    [3]float64 `json:"rotation_vector"`
		Translation [3]float64 `json:"translation_m"`
	}
	corners   [][]float64 // view, row, column, board x, y, image x, y in px, ours
	predicted [][]float64 // view, row, column, image x, y in px, OpenCV's
}

func readBoard(t testing.TB) (b board) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "projection", "board-left-published.json"))
	require.NoError(t, err)
	if err := json.Unmarshal(text, &b); err != nil {
		t.Fatal(err)
	}
	_, b.corners = trial.Rows(t, "board-left.csv", 0, "view row column board_x_m board_y_m image_x_px image_y_px")
	_, b.predicted = trial.Rows(t, "board-left-cv.csv", 0, "view row column u v")
	require.True(t, len(b.Views) == 13 && len(b.corners) == 13*54 && len(b.predicted) == 13*54, "%d views, %d corners, %d predicted", len(b.Views), len(b.corners), len(b.predicted))
	return b
}

func (b board) spec(t testing.TB) (projection.CameraSpec, projection.BrownConradySpec) {
	spec := trial.Must[projection.CameraSpec](t)(b.Matrix.CameraSpec(640, 480))
	spec.Model = projection.Rectilinear
	k := b.Distortion
	return spec, projection.BrownConradySpec{K1: k[0], K2: k[1], P1: k[2], P2: k[3], K3: k[4]}
}

// errors are the largest distance from OpenCV's positions, and the RMS distance
// from the corners found, by view.
func (b board) errors(t testing.TB, spec projection.CameraSpec, lens projection.BrownConradySpec, axes func(r3.Vec) r3.Vec) (most float64, rms []float64) {
	t.Helper()
	spec.Distortion = brownConrady(t, lens)
	cam := trial.Camera(t, spec)
	i := 0
	for _, view := range b.Views {
		v := r3.Vec{X: view.Rotation[0], Y: view.Rotation[1], Z: view.Rotation[2]}
		turn := r3.NewRotation(r3.Norm(v), v)
		sum := 0.0
		for ; i < len(b.corners) && int(b.corners[i][0]) == view.View; i++ {
			c, p := b.corners[i], b.predicted[i]
			require.True(t, slices.Equal(c[:3], p[:3]), "corner %v, predicted %v", c[:3], p[:3])
			ray := r3.Add(turn.Rotate(r3.Vec{X: c[3], Y: c[4]}), r3.Vec{X: view.Translation[0], Y: view.Translation[1], Z: view.Translation[2]})
			x, y, ok := cam.Project(axes(ray))
			if !ok {
				return math.Inf(1), []float64{math.Inf(1)}
			}
			most = max(most, math.Hypot(x-p[3]-0.5, y-p[4]-0.5))
			sum += (x-c[5])*(x-c[5]) + (y-c[6])*(y-c[6])
		}
		rms = append(rms, math.Sqrt(sum/54))
	}
	return most, rms
}

func TestRealLens(t *testing.T) {
	b := readBoard(t)
	spec, lens := b.spec(t)
	most, rms := b.errors(t, spec, lens, projection.VisionAxes)
	ref.Within(t, "P-C11", most, "all views")
	// Camera.Project against the photographs: the second view was fitted worse when
	// it was published.
	for i, r := range rms {
		least, limit := 0.175, 0.335
		if b.Views[i].View == 2 {
			least, limit = 0.815, 0.825
		}
		assert.True(t, r >= least && r <= limit, "view %d: RMS %.3f px, want %v to %v", b.Views[i].View, r, least, limit)
	}
	// The same by poses in the frame of the board.
	spec.Distortion = brownConrady(t, lens)
	for _, view := range b.Views {
		v, d := view.Rotation, view.Translation
		spec.Pose = trial.Must[projection.Pose](t)(projection.Extrinsics{Rotation: r3.Vec{X: v[0], Y: v[1], Z: v[2]}, Translation: r3.Vec{X: d[0], Y: d[1], Z: d[2]}}.Pose())
		cam := trial.Camera(t, spec)
		for i, c := range b.corners {
			if int(c[0]) == view.View {
				x, y, _ := cam.ProjectPoint(r3.Vec{X: c[3], Y: c[4]})
				ref.Within(t, "P-C11", math.Hypot(x-b.predicted[i][3]-0.5, y-b.predicted[i][4]-0.5), c[:3])
			}
		}
	}
	spec.Pose = projection.Pose{}
	// Four corners of the first view, computed apart.
	cam := trial.Camera(t, spec)
	r := [3]r3.Vec{{X: 0.962242776096, Y: 0.00981623356665, Z: 0.272015590379}, {X: 0.0362764728001, Y: 0.985809504792, Z: -0.163901305008}, {X: -0.269764447939, Y: 0.167580612902, Z: 0.948231976263}}
	for _, c := range []struct{ i, j, u, v float64 }{
		{0, 0, 244.465474091, 94.0025455267},
		{8, 0, 514.053578008, 86.7165856744},
		{0, 5, 248.800560853, 253.625660522},
		{8, 5, 510.396739385, 266.220603866},
	} {
		p := r3.Vec{X: c.i * 2.5000000372529030e-2, Y: c.j * 2.5000000372529030e-2}
		ray := r3.Vec{X: r3.Dot(r[0], p) - 0.075217911266918208, Y: r3.Dot(r[1], p) - 0.10895943925991841, Z: r3.Dot(r[2], p) + 0.39970206949907272}
		x, y, _ := cam.Project(projection.VisionAxes(ray))
		ref.Near(t, "P-C13", x-0.5, c.u, c.i, c.j)
		ref.Near(t, "P-C13", y-0.5, c.v, c.i, c.j)
	}
}

// Everything that can be taken the wrong way round shows: both in OpenCV's
// positions and in the photographs.
func TestRealLensRefusesMistakes(t *testing.T) {
	b := readBoard(t)
	type camera struct {
		projection.CameraSpec
		projection.BrownConradySpec
		axes func(r3.Vec) r3.Vec
	}
	mirrored := func(x, y, z float64) func(*camera) {
		return func(c *camera) { c.axes = func(v r3.Vec) r3.Vec { return r3.Vec{X: x * v.X, Y: y * v.Y, Z: z * v.Z} } }
	}
	for name, mistake := range map[string]func(c *camera){
		"half a pixel, x":     func(c *camera) { c.OffsetX -= 0.5 },
		"half a pixel, y":     func(c *camera) { c.OffsetY -= 0.5 },
		"principal point":     func(c *camera) { c.OffsetX *= -1 },
		"sign of k1":          func(c *camera) { c.K1 *= -1 },
		"sign of p1":          func(c *camera) { c.P1 *= -1 },
		"p1 and p2 exchanged": func(c *camera) { c.P1, c.P2 = c.P2, c.P1 },
		"k3 before p1, p2":    func(c *camera) { c.K3, c.P1, c.P2 = c.P1, c.P2, c.K3 },
		"no distortion":       func(c *camera) { c.BrownConradySpec = projection.BrownConradySpec{} },
		"y up":                mirrored(1, 1, -1),
		"x left":              mirrored(-1, -1, -1),
		"z behind":            mirrored(1, -1, 1),
		"x and y exchanged":   func(c *camera) { c.axes = func(v r3.Vec) r3.Vec { return r3.Vec{X: v.Y, Y: -v.X, Z: -v.Z} } },
	} {
		c := camera{axes: projection.VisionAxes}
		c.CameraSpec, c.BrownConradySpec = b.spec(t)
		mistake(&c)
		most, rms := b.errors(t, c.CameraSpec, c.BrownConradySpec, c.axes)
		sound := 0
		for i, r := range rms {
			if r <= 0.335 || (b.Views[i].View == 2 && r <= 0.825) {
				sound++
			}
		}
		assert.True(t, most > 0.1 && sound <= 6, "%s: %.2g px from OpenCV, %d views still fit", name, most, sound)
	}
}
