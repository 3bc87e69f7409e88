package projection_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestExtrinsicsAgainstOpenCV(t *testing.T) {
	_, rows := trial.Rows(t, "rodrigues.csv", 0, "")
	for i, row := range rows {
		e := projection.Extrinsics{Rotation: r3.Vec{X: row[0], Y: row[1], Z: row[2]}, Translation: r3.Vec{X: 1, Y: -2, Z: 3}}
		m := row[3:]
		rows := [3][4]float64{{m[0], m[1], m[2], 1}, {m[3], m[4], m[5], -2}, {m[6], m[7], m[8], 3}}
		for j, got := range e.Rows() {
			for k := range got {
				ref.Near(t, "P-POSE-2", got[k], rows[j][k], "element", j, k, i)
			}
		}
		back := trial.Must[projection.Extrinsics](t)(projection.ExtrinsicsFromRows(rows))
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
	p := trial.Must[projection.Pose](t)(e.Pose())
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

func TestUSDCameras(t *testing.T) {
	type film = projection.FilmBack
	check := func(id string, got, want unit.Length, what ...any) {
		t.Helper()
		ref.Near(t, id, got, want, what...)
	}
	fallback := projection.USDCamera{HorizontalAperture: 20.955, VerticalAperture: 15.2908, FocalLength: 50}
	b := trial.Must[film](t)(fallback.FilmBack(0.01))
	check("P-USD-1", b.Width, 0.825*25.4e-3, "width")
	check("P-USD-1", b.Height, 0.602*25.4e-3, "height")
	check("P-USD-1", b.FocalLength, 50e-3, "focal length")
	u := trial.Must[projection.USDCamera](t)(b.USD(0.01))
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
		u := trial.Must[projection.USDCamera](t)(b.USD(g.metersPerUnit))
		for i, pair := range [][2]float64{
			{u.HorizontalAperture, g.u.HorizontalAperture}, {u.VerticalAperture, g.u.VerticalAperture},
			{u.HorizontalApertureOffset, g.u.HorizontalApertureOffset}, {u.VerticalApertureOffset, g.u.VerticalApertureOffset},
			{u.FocalLength, g.u.FocalLength}, {u.FocusDistance, g.u.FocusDistance},
		} {
			ref.Near(t, "P-USD-2", pair[0], pair[1], "attribute", i, g.metersPerUnit)
		}
		back := trial.Must[film](t)(g.u.FilmBack(g.metersPerUnit))
		for i, pair := range [][2]unit.Length{
			{back.Width, b.Width}, {back.Height, b.Height}, {back.ShiftRight, b.ShiftRight}, {back.ShiftUp, b.ShiftUp},
			{back.FocalLength, b.FocalLength}, {back.Focus, b.Focus},
		} {
			check("P-USD-2", pair[0], pair[1], "length", i, g.metersPerUnit)
		}
	}
}

// A film back on rasters of other aspect ratios. Its corners are seen through the
// lens: to the right if the lens is shifted to the right, below if shifted down.
func TestFits(t *testing.T) {
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
		at := trial.Pose(20, -10, 5)
		cam := trial.Camera(t, trial.Must[projection.CameraSpec](t)(b.CameraSpec(g.width, g.height, g.fit, at)))
		for _, c := range [][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			right := 0.002 + float64(g.w)*(c[0]-0.5)
			up := -0.005 + float64(g.h)*(0.5-c[1])
			x, y, ok := cam.Project(at.ToStage(r3.Vec{X: right, Y: up, Z: -0.035}))
			require.True(t, ok, g)
			ref.Near(t, "P-USD-4", x, c[0]*float64(g.width), "x", g.fit, c)
			ref.Near(t, "P-USD-4", y, c[1]*float64(g.height), "y", g.fit, c)
		}
		if g.fit == projection.FitStretch {
			continue // its pixels have no pitch
		}
		same := func(id string, c projection.Camera, want projection.FilmBack) {
			t.Helper()
			got := trial.Must[projection.FilmBack](t)(projection.FilmBackOf(c))
			for i, pair := range [][2]unit.Length{
				{got.Width, want.Width}, {got.Height, want.Height}, {got.FocalLength, want.FocalLength},
				{got.ShiftRight, want.ShiftRight}, {got.ShiftUp, want.ShiftUp}, {got.Focus, want.Focus},
			} {
				ref.Near(t, id, pair[0], pair[1], i, g)
			}
		}
		want := projection.FilmBack{FocalLength: 35 * mm, Width: g.w, Height: g.h, ShiftRight: 2 * mm, ShiftUp: -5 * mm}
		same("P-USD-3", cam, want)
		// Stretched, the same; its left half has its middle a quarter to the left, so
		// that the lens is that much farther to the right of it.
		same("P-USD-3", trial.Must[projection.Camera](t)(cam.Scale(777, 3333)), want)
		want.Width, want.ShiftRight = g.w/2, -g.w/4+2*mm
		same("P-USD-3", trial.Must[projection.Camera](t)(cam.Crop(0, 0, g.width/2, g.height)), want)
	}
}

func TestExtrinsicsRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 1000 {
		p := trial.SomePose(rng)
		e := p.Extrinsics()
		if n := r3.Norm(e.Rotation); n > math.Pi*(1+1e-15) {
			t.Errorf("rotation of %v rad", n)
		}
		back := trial.Must[projection.Pose](t)(e.Pose())
		assert.InDelta(t, 0, trial.Apart(p, back), 1e-13, "pose: 1e-15 rad and metres up to 40")
		// What lies ahead, right and below is so in the frame of computer vision.
		for i, v := range []r3.Vec{{X: 1}, {Y: -1}, {Z: -1}} {
			stage := r3.Add(p.Position, p.ToStage(v))
			row := e.Rows()[i]
			assert.InDelta(t, 1, row[0]*stage.X+row[1]*stage.Y+row[2]*stage.Z+row[3], 5e-14, "its own axis: some roundings of metres up to 40")
		}
		rows := trial.Must[projection.Extrinsics](t)(projection.ExtrinsicsFromRows(e.Rows()))
		again := trial.Must[projection.Pose](t)(rows.Pose())
		assert.InDelta(t, 0, trial.Apart(p, again), 1e-13, "by rows: 1e-15 rad and metres up to 40")
		// Whole turns more are the same pose.
		n := r3.Norm(e.Rotation)
		more := e
		more.Rotation = r3.Scale((n+2*math.Pi)/n, e.Rotation)
		again = trial.Must[projection.Pose](t)(more.Pose())
		assert.InDelta(t, 0, trial.Apart(p, again), 3e-13, "a turn more: 1e-15 rad of turns up to 3π, and metres up to 40")
	}
	zero := trial.Must[projection.Pose](t)(projection.Extrinsics{}.Pose())
	assert.InDelta(t, 0, trial.Apart(zero, trial.Pose(180, 0, 180)), 1e-15, "the zero Extrinsics looks along +Z, top towards −Y: roundings")
	assert.InDelta(t, 0, r3.Norm(r3.Sub(projection.Pose{}.Extrinsics().Rotation, r3.Vec{X: math.Pi})), 0, "the zero Pose is half a turn about X: exact")

	_, err := projection.Extrinsics{Rotation: r3.Vec{X: math.NaN()}, Translation: r3.Vec{Y: math.Inf(1)}}.Pose()
	trial.Refuses(t, projection.ErrInvalid, err, "rotation", "translation y")
	_, err = projection.ExtrinsicsFromRows([3][4]float64{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, -1, 0}})
	trial.Refuses(t, projection.ErrInvalid, err, "right-handed")
	_, err = projection.ExtrinsicsFromRows([3][4]float64{{1, 0, 0, math.NaN()}, {0, 1, 0, 0}, {0, 0, 1, 0}})
	trial.Refuses(t, projection.ErrInvalid, err, "translation x")
}

// A rotation vector of many turns is that of what is left of them, to the error
// stated.
func TestRowsOfManyTurns(t *testing.T) {
	for _, turns := range []float64{1, 100, 1e5} {
		axis := r3.Unit(r3.Vec{X: 1, Y: -2, Z: 0.5})
		long := turns*2*math.Pi + 1
		want := projection.Extrinsics{Rotation: axis}.Rows()
		for i, row := range (projection.Extrinsics{Rotation: r3.Scale(long, axis)}).Rows() {
			for j, got := range row {
				assert.InDelta(t, want[i][j], got, 1e-15*(1+long), "element: stated")
			}
		}
	}
}

func TestFilmBackRoundTrips(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	length := func(scale float64) unit.Length { return unit.Length(scale * (0.1 + rng.Float64())) }
	for range 500 {
		b := projection.FilmBack{
			FocalLength: length(0.1), Width: length(0.05), Height: length(0.05),
			ShiftRight: length(0.01) - 0.006, ShiftUp: length(0.01) - 0.006, Focus: length(10),
		}
		m := math.Pow(10, 6*rng.Float64()-3)
		back := trial.Must[projection.FilmBack](t)(trial.Must[projection.USDCamera](t)(b.USD(m)).FilmBack(m))
		for i, pair := range [][2]unit.Length{
			{back.FocalLength, b.FocalLength}, {back.Width, b.Width}, {back.Height, b.Height},
			{back.ShiftRight, b.ShiftRight}, {back.ShiftUp, b.ShiftUp}, {back.Focus, b.Focus},
		} {
			near.ULP(t, "field "+string(rune('0'+i)), pair[0], pair[1], 4, "two multiplications and two divisions")
		}
	}
}

func TestFilmBackRefuses(t *testing.T) {
	b := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	nan := unit.Length(math.NaN())
	_, err := b.CameraSpec(1920, 1080, 0, projection.Pose{})
	trial.Refuses(t, projection.ErrInvalid, err, "fit Fit(0)")
	_, err = b.CameraSpec(0, 1<<25, 6, projection.Pose{Elevation: unit.Angle(nan)})
	trial.Refuses(t, projection.ErrInvalid, err, "fit Fit(6)", "raster width", "raster height", "pose elevation")
	_, err = b.CameraSpec(1920, 1080, projection.FitWidth, projection.Pose{Position: r3.Vec{Y: math.Inf(1)}})
	trial.Refuses(t, projection.ErrInvalid, err, "pose position y")
	bad := projection.FilmBack{FocalLength: nan, ShiftRight: nan, ShiftUp: unit.Length(math.Inf(1)), Focus: -1}
	_, err = bad.USD(math.NaN())
	trial.Refuses(t, projection.ErrInvalid, err, "focal length", "width", "height", "shift right", "shift up", "focus", "meters per unit")
	_, err = projection.USDCamera{}.FilmBack(0)
	trial.Refuses(t, projection.ErrInvalid, err, "focal length", "width", "meters per unit")
	_, err = projection.FilmBackOf(projection.Camera{})
	trial.Refuses(t, projection.ErrInvalid, err, "model", "pitch 0 m: must be known")
	_, err = projection.FilmBackOf(distorted(t, shear{-0.05, 0.01, 1.6}, nil))
	trial.Refuses(t, projection.ErrInvalid, err, "model equidistant", "distortion projection_test.shear")
}

// A camera matrix by hand: its principal point counts from the middle of the first
// pixel. The point (1, −0.4, 4) in the frame of computer vision is at
// 320 + 1000/4 and 200 − 1100/10.
func TestIntrinsics(t *testing.T) {
	k := projection.Intrinsics{{1000, 0, 320}, {0, 1100, 200}, {0, 0, 1}}
	spec := trial.Must[projection.CameraSpec](t)(k.CameraSpec(640, 480))
	spec.Model = projection.Rectilinear
	c := trial.Camera(t, spec)
	x, y, _ := c.Project(projection.VisionAxes(r3.Vec{X: 1, Y: -0.4, Z: 4}))
	ref.Near(t, "P-INT-1", x-0.5, 570, "x")
	ref.Near(t, "P-INT-1", y-0.5, 90, "y")
	same := func(got, want projection.Intrinsics) {
		t.Helper()
		for i := range want {
			for j := range want[i] {
				ref.Near(t, "P-INT-1", got[i][j], want[i][j], i, j)
			}
		}
	}
	same(c.Intrinsics(), k)
	// Pixels of 2 × 4: the middle of the first is at (½, 3/2) in the middles of old ones.
	same(trial.Must[projection.Camera](t)(c.Bin(2, 4)).Intrinsics(), projection.Intrinsics{{500, 0, 159.75}, {0, 275, 49.625}, {0, 0, 1}})
	same(trial.Must[projection.Camera](t)(c.Crop(20, 100, 600, 300)).Intrinsics(), projection.Intrinsics{{1000, 0, 300}, {0, 1100, 100}, {0, 0, 1}})
	// A centred principal point.
	centred := trial.Must[projection.Camera](t)(projection.NewView(projection.ViewSpec{Width: 640, Height: 480, Across: 1}))
	ref.Near(t, "P-INT-2", centred.Intrinsics()[0][2], 319.5, "x")
	ref.Near(t, "P-INT-2", centred.Intrinsics()[1][2], 239.5, "y")
	assert.Equal(t, projection.Intrinsics{}, projection.Camera{}.Intrinsics())

	for fields, change := range map[string]func(*projection.Intrinsics){
		"skew 0.01 px":                    func(k *projection.Intrinsics) { k[0][1] = 0.01 },
		"row 3, column 3 2":               func(k *projection.Intrinsics) { k[2][2] = 2 },
		"row 2, column 1 NaN":             func(k *projection.Intrinsics) { k[1][0] = math.NaN() },
		"row 3, column 1 1":               func(k *projection.Intrinsics) { k[2][0] = 1 },
		"row 3, column 2 -1":              func(k *projection.Intrinsics) { k[2][1] = -1 },
		"focal x -1000 px;focal y NaN px": func(k *projection.Intrinsics) { k[0][0], k[1][1] = -1000, math.NaN() },
		"offset x;offset y":               func(k *projection.Intrinsics) { k[0][2], k[1][2] = 1e12, math.Inf(-1) },
	} {
		bad := k
		change(&bad)
		_, err := bad.CameraSpec(640, 480)
		trial.Refuses(t, projection.ErrInvalid, err, strings.Split(fields, ";")...)
	}
	_, err := k.CameraSpec(0, 1<<25)
	trial.Refuses(t, projection.ErrInvalid, err, "width", "height")
}

// One change of coordinates after the other, by hand: a quarter turn about z and
// (1, 2, 3) take (1, 0, 0) to (1, 3, 3), a quarter turn about x and (0, 0, 5) take
// that to (1, −3, 8).
func TestExtrinsicsInARow(t *testing.T) {
	move := func(e projection.Extrinsics, p r3.Vec) r3.Vec {
		r := e.Rows()
		row := func(i int) float64 { return r[i][0]*p.X + r[i][1]*p.Y + r[i][2]*p.Z + r[i][3] }
		return r3.Vec{X: row(0), Y: row(1), Z: row(2)}
	}
	first := projection.Extrinsics{Rotation: r3.Vec{Z: math.Pi / 2}, Translation: r3.Vec{X: 1, Y: 2, Z: 3}}
	next := projection.Extrinsics{Rotation: r3.Vec{X: math.Pi / 2}, Translation: r3.Vec{Z: 5}}
	got := move(first.Then(next), r3.Vec{X: 1})
	ref.Near(t, "P-POSE-6", got.X, 1, "x")
	ref.Near(t, "P-POSE-6", got.Y, -3, "y")
	ref.Near(t, "P-POSE-6", got.Z, 8, "z")
	rng := rand.New(rand.NewPCG(5, 5))
	for range 300 {
		a, b, p := trial.SomePose(rng).Extrinsics(), trial.SomePose(rng).Extrinsics(), trial.Vec(rng, 10)
		assert.InDelta(t, 0, r3.Norm(r3.Sub(move(a.Then(b), p), move(b, move(a, p)))), 1e-12, "some roundings of metres up to 100")
	}
}
