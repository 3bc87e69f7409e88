package projection_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// must gives the value of a constructor, or ends the test.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// table reads reference data: the numbers of a file, line by line.
func table(t *testing.T, name string) (rows [][]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "projection", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range records[1:] {
		row := make([]float64, len(record))
		for i, field := range record {
			if row[i], err = strconv.ParseFloat(field, 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	if len(rows) < 200 {
		t.Fatalf("%s has %d rows", name, len(rows))
	}
	return rows
}

func pose(heading, elevation, roll float64) projection.Pose {
	return projection.Pose{Heading: unit.Angle(heading) * deg, Elevation: unit.Angle(elevation) * deg, Roll: unit.Angle(roll) * deg}
}

// columns are the images of the three axes.
func columns(p projection.Pose) [3]r3.Vec {
	return [3]r3.Vec{p.ToStage(r3.Vec{X: 1}), p.ToStage(r3.Vec{Y: 1}), p.ToStage(r3.Vec{Z: 1})}
}

// column is a column of the nine elements of a matrix by rows.
func column(m []float64, j int) r3.Vec { return r3.Vec{X: m[j], Y: m[3+j], Z: m[6+j]} }

func TestInterpolationAgainstSciPy(t *testing.T) {
	for i, row := range table(t, "slerp.csv") {
		p, q := pose(row[0], row[1], row[2]), pose(row[3], row[4], row[5])
		ref.Near(t, "P-POSE-1", p.AngleTo(q), unit.Angle(row[7]), "angle", i)
		ref.Near(t, "P-POSE-1", q.AngleTo(p), unit.Angle(row[7]), "angle back", i)
		between, ok := p.Interpolate(q, row[6])
		if !ok {
			t.Fatalf("row %d: no answer", i)
		}
		for j, got := range columns(between) {
			ref.Near(t, "P-POSE-1", r3.Norm(r3.Sub(got, column(row[8:], j))), 0, "column", j, i)
		}
	}
}

func TestExtrinsicsAgainstOpenCV(t *testing.T) {
	for i, row := range table(t, "rodrigues.csv") {
		e := projection.Extrinsics{Rotation: r3.Vec{X: row[0], Y: row[1], Z: row[2]}, Translation: r3.Vec{X: 1, Y: -2, Z: 3}}
		m := row[3:]
		rows := [3][4]float64{{m[0], m[1], m[2], 1}, {m[3], m[4], m[5], -2}, {m[6], m[7], m[8], 3}}
		for j, got := range e.Rows() {
			for k := range got {
				ref.Near(t, "P-POSE-2", got[k], rows[j][k], "element", j, k, i)
			}
		}
		back := must[projection.Extrinsics](t)(projection.ExtrinsicsFromRows(rows))
		ref.Near(t, "P-POSE-2", r3.Norm(r3.Sub(back.Rotation, e.Rotation)), 0, "rotation", i)
		ref.Near(t, "P-POSE-2", r3.Norm(r3.Sub(back.Translation, e.Translation)), 0, "translation", i)
	}
}

// The first view of a published calibration: the chart's frame is the stage.
func TestPublishedExtrinsics(t *testing.T) {
	e := projection.Extrinsics{
		Rotation:    r3.Vec{X: 0.16866673097722978, Y: 0.27567195383689680, Z: 0.013463666677617407},
		Translation: r3.Vec{X: -0.075217911266918208, Y: -0.10895943925991841, Z: 0.39970206949907272},
	}
	want := [3][3]float64{
		{0.962242776096, 0.00981623356665, 0.272015590379},
		{0.0362764728001, 0.985809504792, -0.163901305008},
		{-0.269764447939, 0.167580612902, 0.948231976263},
	}
	rows := e.Rows()
	for i := range want {
		for j, w := range want[i] {
			ref.Near(t, "P-POSE-3", rows[i][j], w, "element", i, j)
		}
	}
	// A point of the chart, moved by the printed digits, is where the pose sees it.
	p := must[projection.Pose](t)(e.Pose())
	for _, point := range []r3.Vec{{}, {X: 0.2}, {Y: 0.125}, {X: 0.2, Y: 0.125, Z: -0.3}} {
		got := projection.VisionAxes(p.FromStage(r3.Sub(point, p.Position)))
		for i, g := range [3]float64{got.X, got.Y, got.Z} {
			tr := [3]float64{e.Translation.X, e.Translation.Y, e.Translation.Z}[i]
			ref.Near(t, "P-POSE-3", g, want[i][0]*point.X+want[i][1]*point.Y+want[i][2]*point.Z+tr, "point", point, i)
		}
	}
	back := p.Extrinsics()
	ref.Near(t, "P-POSE-3", r3.Norm(r3.Sub(back.Rotation, e.Rotation)), 0, "rotation")
	ref.Near(t, "P-POSE-3", r3.Norm(r3.Sub(back.Translation, e.Translation)), 0, "translation")
}

func TestPublishedAttitudes(t *testing.T) {
	m := []float64{0.353553390593, -0.353553390593, 0.866025403784, 0.918558653544, 0.306186217848, -0.25, -0.176776695297, 0.883883476483, 0.433012701892}
	p := must[projection.Pose](t)(projection.PoseFromAxes(r3.Vec{X: 7}, column(m, 0), column(m, 1), column(m, 2)))
	got := p.ToStage(r3.Vec{X: 1, Y: 2, Z: 3})
	ref.Near(t, "P-POSE-4", r3.Norm(r3.Sub(got, r3.Vec{X: 2.24452282076, Y: 0.780931089239, Z: 2.89002836335})), 0, "turned")
	ref.Near(t, "P-POSE-4", r3.Norm(r3.Sub(p.Position, r3.Vec{X: 7})), 0, "position")

	angle := func(x, y, z, w float64) unit.Angle {
		return unit.Angle(2 * math.Atan2(math.Hypot(math.Hypot(x, y), z), w))
	}
	zero := projection.Pose{Position: r3.Vec{Y: 3}}
	ref.Near(t, "P-POSE-5", zero.AngleTo(p), angle(0.39190384, 0.36042341, 0.43967974, 0.72331741), "zyx 45° 60° 30°")
	ref.Near(t, "P-POSE-5", zero.AngleTo(pose(-45, 0, 0)), angle(0, 0.38268343, 0, 0.92387953), "zyx 0° 45° 0°")
}

const mm = unit.Milli * unit.Metre

func TestUSDCameras(t *testing.T) {
	type film = projection.FilmBack
	check := func(id string, got, want unit.Length, what ...any) {
		t.Helper()
		ref.Near(t, id, got, want, what...)
	}
	fallback := projection.USDCamera{HorizontalAperture: 20.955, VerticalAperture: 15.2908, FocalLength: 50}
	b := must[film](t)(fallback.FilmBack(0.01))
	check("P-USD-1", b.Width, 0.825*25.4e-3, "width")
	check("P-USD-1", b.Height, 0.602*25.4e-3, "height")
	check("P-USD-1", b.FocalLength, 50e-3, "focal length")
	u := must[projection.USDCamera](t)(b.USD(0.01))
	ref.Near(t, "P-USD-1", u.HorizontalAperture, 20.955, "there and back")

	b = film{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm, ShiftRight: 2 * mm, ShiftUp: -5 * mm, Focus: 4}
	for _, g := range []struct {
		metersPerUnit float64
		u             projection.USDCamera
	}{
		{1, projection.USDCamera{HorizontalAperture: 0.36, VerticalAperture: 0.24, HorizontalApertureOffset: 0.02, VerticalApertureOffset: -0.05, FocalLength: 0.35, FocusDistance: 4}},
		{0.01, projection.USDCamera{HorizontalAperture: 36, VerticalAperture: 24, HorizontalApertureOffset: 2, VerticalApertureOffset: -5, FocalLength: 35, FocusDistance: 400}},
		{0.001, projection.USDCamera{HorizontalAperture: 360, VerticalAperture: 240, HorizontalApertureOffset: 20, VerticalApertureOffset: -50, FocalLength: 350, FocusDistance: 4000}},
	} {
		u := must[projection.USDCamera](t)(b.USD(g.metersPerUnit))
		for i, pair := range [][2]float64{
			{u.HorizontalAperture, g.u.HorizontalAperture}, {u.VerticalAperture, g.u.VerticalAperture},
			{u.HorizontalApertureOffset, g.u.HorizontalApertureOffset}, {u.VerticalApertureOffset, g.u.VerticalApertureOffset},
			{u.FocalLength, g.u.FocalLength}, {u.FocusDistance, g.u.FocusDistance},
		} {
			ref.Near(t, "P-USD-2", pair[0], pair[1], "attribute", i, g.metersPerUnit)
		}
		back := must[film](t)(g.u.FilmBack(g.metersPerUnit))
		for i, pair := range [][2]unit.Length{
			{back.Width, b.Width}, {back.Height, b.Height}, {back.ShiftRight, b.ShiftRight}, {back.ShiftUp, b.ShiftUp},
			{back.FocalLength, b.FocalLength}, {back.Focus, b.Focus},
		} {
			check("P-USD-2", pair[0], pair[1], "length", i, g.metersPerUnit)
		}
	}
}

func TestGates(t *testing.T) {
	b := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm, ShiftRight: 2 * mm, ShiftUp: -5 * mm}
	for _, g := range []struct {
		fit           projection.Fit
		width, height int
		w, h          unit.Length
	}{
		{projection.FitWidth, 4000, 2000, 36 * mm, 18 * mm},
		{projection.FitHeight, 4000, 2000, 48 * mm, 24 * mm},
		{projection.FitWhole, 4000, 2000, 48 * mm, 24 * mm},
		{projection.FitCropped, 4000, 2000, 36 * mm, 18 * mm},
		{projection.FitStretch, 4000, 2000, 36 * mm, 24 * mm},
		{projection.FitWidth, 2000, 2000, 36 * mm, 36 * mm},
		{projection.FitHeight, 2000, 2000, 24 * mm, 24 * mm},
		{projection.FitWhole, 2000, 2000, 36 * mm, 36 * mm},
		{projection.FitCropped, 2000, 2000, 24 * mm, 24 * mm},
		{projection.FitStretch, 2000, 2000, 36 * mm, 24 * mm},
	} {
		gate := must[projection.FilmBack](t)(b.Gate(g.width, g.height, g.fit))
		ref.Near(t, "P-USD-3", gate.Width, g.w, "width", g.fit, g.width)
		ref.Near(t, "P-USD-3", gate.Height, g.h, "height", g.fit, g.width)

		// Its corners, through the lens: what is seen lies to the right where the
		// lens is shifted to the right, and below where it is shifted down.
		at := projection.Pose{Heading: 20 * deg, Elevation: -10 * deg, Roll: 5 * deg}
		spec := must[projection.CameraSpec](t)(b.CameraSpec(g.width, g.height, g.fit, at))
		cam := camera(t, spec)
		for _, c := range [][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			right := 0.002 + float64(g.w)*(c[0]-0.5)
			up := -0.005 + float64(g.h)*(0.5-c[1])
			x, y, ok := cam.Project(at.ToStage(r3.Vec{X: right, Y: up, Z: -0.035}))
			if !ok {
				t.Fatalf("fit %d: a corner is not imaged", g.fit)
			}
			ref.Near(t, "P-USD-4", x, c[0]*float64(g.width), "x", g.fit, c)
			ref.Near(t, "P-USD-4", y, c[1]*float64(g.height), "y", g.fit, c)
		}
		if g.fit == projection.FitStretch {
			continue // whose pixels have no pitch
		}
		back := must[projection.FilmBack](t)(projection.FilmBackOf(spec))
		for i, pair := range [][2]unit.Length{{back.Width, g.w}, {back.Height, g.h}, {back.ShiftRight, 2 * mm}, {back.ShiftUp, -5 * mm}, {back.FocalLength, 35 * mm}} {
			ref.Near(t, "P-USD-4", pair[0], pair[1], "back", i, g.fit)
		}
	}
}

func TestCylindricalAgainstProj(t *testing.T) {
	// A radius of 1 px: y is that of the projection, down, from the top at 80°.
	const width = 1 << 10
	top := 80 * deg
	c := must[projection.Cylindrical](t)(projection.NewCylindrical(projection.CylindricalSpec{Width: width, Height: 1 << 10, Bottom: -top, Top: top}))
	radius := width / (2 * math.Pi)
	tangent := math.Tan(float64(top))
	for i, row := range table(t, "cylindrical.csv") {
		dir := toward(row[0], row[1])
		x, y, ok := c.Project(dir)
		if !ok {
			t.Fatalf("row %d: not imaged", i)
		}
		ref.Near(t, "P-PAN-1", (x-width/2)/radius, row[2], "x", i)
		ref.Near(t, "P-PAN-1", tangent-y*2*tangent/(1<<10), row[3], "y", i)
		got, ok := c.Unproject(width/2+row[2]*radius, (tangent-row[3])/(2*tangent)*(1<<10))
		if !ok {
			t.Fatalf("row %d: no direction", i)
		}
		ref.Near(t, "P-PAN-1", r3.Norm(r3.Sub(got, dir)), 0, "direction", i)
	}
	ref.Equal(t, "P-PAN-4", c.WrapX(), true, "cylindrical")
	for _, m := range [][3]float64{{3, 0, 0}, {-900, 10, 10}, {500, 1014, 10}, {500, -7, -7}, {2, 1030, -6}} {
		ref.Equal(t, "P-PAN-6", c.Margin(m[0], m[1]), m[2], m)
	}
}

func TestCubeAgainstTheTable(t *testing.T) {
	const edge = 1000
	c := must[projection.Cube](t)(projection.NewCube(edge, projection.Pose{}))
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
		if !ok {
			t.Fatalf("%v is not imaged", d)
		}
		ref.Near(t, "P-PAN-2", x, wantX, "x", d)
		ref.Near(t, "P-PAN-2", y, wantY, "y", d)
		got, _ := c.Unproject(wantX, wantY)
		ref.Near(t, "P-PAN-2", r3.Norm(r3.Sub(got, r3.Unit(d))), 0, "direction", d)
		x, y, ok = faces[face].Project(d)
		if !ok {
			t.Fatalf("%v is not on face %d", d, face)
		}
		ref.Near(t, "P-PAN-2", x+edge*float64(face), wantX, "face x", d)
		ref.Near(t, "P-PAN-2", y, wantY, "face y", d)
	}
}

// Six labelled marks round each panorama, turned so that no axis is where it was.
func TestPanoramaMarks(t *testing.T) {
	const w, h = 4096, 2048
	turned := projection.Pose{Position: r3.Vec{X: 9}, Heading: 30 * deg, Elevation: -20 * deg, Roll: 70 * deg}
	type panorama interface {
		Size() (width, height int)
		Project(dir r3.Vec) (x, y float64, ok bool)
		Unproject(x, y float64) (dir r3.Vec, ok bool)
	}
	border := must[projection.BorderEquirect](t)(projection.NewBorderEquirect(w, h, turned))
	cylinder := must[projection.Cylindrical](t)(projection.NewCylindrical(projection.CylindricalSpec{Width: w, Height: h, Bottom: -45 * deg, Top: 45 * deg, Pose: turned}))
	cube := must[projection.Cube](t)(projection.NewCube(h, turned))
	const none = -1
	for _, p := range []struct {
		name  string
		p     panorama
		width int
		// x, y of ahead, right, left, up, down; and of behind, checked apart on
		// the seam.
		at     [6][2]float64
		behind bool
	}{
		{"border", border, w, [6][2]float64{{w / 2, h / 2}, {0.5 + 0.75*(w-1), h / 2}, {0.5 + 0.25*(w-1), h / 2}, {w / 2, 0.5}, {w / 2, h - 0.5}, {0.5, h / 2}}, false},
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
				if ok {
					t.Errorf("%s images %s at %v, %v", p.name, mark, x, y)
				}
				continue
			}
			if !ok {
				t.Errorf("%s: %s is not imaged", p.name, mark)
			}
			id := "P-PAN-5"
			if p.name == "border" {
				id = "P-PAN-3"
			}
			if mark == "behind" && !p.behind { // either end
				end := float64(w) - 2*want[0]
				if x > w/2 {
					x -= end
				}
				d, _ := p.p.Unproject(want[0]+end, want[1])
				ref.Near(t, id, r3.Norm(r3.Sub(d, dir)), 0, p.name, mark, "the other end")
			}
			// Up and down fill a row.
			if p.name != "border" || (mark != "up" && mark != "down") {
				ref.Near(t, id, x, want[0], p.name, mark, "x")
			}
			ref.Near(t, id, y, want[1], p.name, mark, "y")
			d, ok := p.p.Unproject(want[0], want[1])
			if !ok {
				t.Errorf("%s: %s has no direction", p.name, mark)
			}
			ref.Near(t, id, r3.Norm(r3.Sub(d, dir)), 0, p.name, mark, "direction")
		}
	}
	// Ends of the rows and columns of samples, with no rotation.
	border = must[projection.BorderEquirect](t)(projection.NewBorderEquirect(5, 3, projection.Pose{}))
	for _, m := range []struct {
		x, y float64
		d    r3.Vec
	}{
		{0.5, 1.5, r3.Vec{Z: 1}}, {4.5, 1.5, r3.Vec{Z: 1}}, {1.5, 1.5, r3.Vec{X: -1}}, {2.5, 1.5, r3.Vec{Z: -1}}, {3.5, 1.5, r3.Vec{X: 1}},
		{0.5, 0.5, r3.Vec{Y: 1}}, {4.5, 0.5, r3.Vec{Y: 1}}, {0.5, 2.5, r3.Vec{Y: -1}}, {3.5, 2.5, r3.Vec{Y: -1}},
	} {
		d, _ := border.Unproject(m.x, m.y)
		ref.Near(t, "P-PAN-3", r3.Norm(r3.Sub(d, m.d)), 0, "sample", m.x, m.y)
		if _, y, ok := border.Project(m.d); ok {
			ref.Near(t, "P-PAN-3", y, m.y, "row", m.x, m.y)
		}
	}
}
