package projection_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Snyder's worked examples: the optical axis is the map's centre, a ray a point.
func TestSnyderExamples(t *testing.T) {
	for _, e := range []struct {
		id                   string
		f                    projection.Form
		radius               float64
		lon0, lat0, lon, lat float64
		x, y, rho            float64 // printed
		k                    float64 // scale along the circle, printed; 0 where not
		c                    float64 // angular distance, degrees, printed
		x12, y12             float64 // 12 digits
	}{
		{"P-S1", projection.Rectilinear, 1, -100, 40, -110, 30, -0.1542826, -0.1694739, 0.2291823, 1.0259262, 12.9082593, -0.154282608287, -0.169473877063},
		// The page prints another example's longitude for the inverse of this one
		// (−109.9999978): the right one is −75.
		{"P-S2", projection.Stereographic, 1, -100, 40, -75, 30, 0.3807224, -0.1263802, 0.4011502, 1.0402304, 22.6832261, 0.380722392843, -0.126380184489},
		{"P-S3", projection.Equidistant, 3, -100, 40, 100, -20, -5.8311398, 5.5444634, 8.0463200, 6.0477621, 153.6733925, -5.8311398391, 5.54446335971},
		{"P-S4", projection.Equisolid, 3, -100, 40, 100, -20, -4.2339303, 4.0257775, 5.8423497, 4.3912175, 153.6733917, -4.23393031946, 4.02577749318},
		{"P-S5", projection.Orthographic, 1, -100, 40, -110, 30, -0.1503837, -0.1651911, 0.2233906, 0, 12.9082572, -0.15038373318, -0.165191103471},
	} {
		cam := mapCamera(t, e.f, e.radius, e.lon0, e.lat0)
		x, y, ok := cam.Project(trial.Toward(e.lon, e.lat))
		x, y = x-1, 1-y
		require.True(t, ok, "%s: not imaged", e.id)
		ref.Near(t, e.id, x, e.x, "x")
		ref.Near(t, e.id, y, e.y, "y")
		ref.Near(t, e.id, math.Hypot(x, y), e.rho, "rho")
		ref.Near(t, "P-S9", x, e.x12, e.f, "x")
		ref.Near(t, "P-S9", y, e.y12, e.f, "y")

		dir, ok := cam.Unproject(1+e.x, 1-e.y)
		require.True(t, ok, "%s: no direction", e.id)
		lon, lat := trial.LonLat(dir)
		ref.Near(t, "P-S6", lon, e.lon, e.f, "longitude")
		ref.Near(t, "P-S6", lat, e.lat, e.f, "latitude")
		c, _ := e.f.Angle(e.rho / e.radius)
		ref.Near(t, "P-S6", float64(c/deg), e.c, e.f, "c")

		if e.k == 0 {
			continue
		}
		d, _ := cam.Density(trial.Toward(e.lon, e.lat))
		ref.Near(t, "P-S7", d.Tangential/float64(deg)/e.radius, e.k, e.f, "k'")
		slope, _ := e.f.Slope(unit.Angle(e.c) * deg)
		h := map[projection.Form]float64{
			projection.Rectilinear: e.k * e.k, projection.Stereographic: e.k,
			projection.Equidistant: 1, projection.Equisolid: 1 / e.k,
		}[e.f]
		ref.Near(t, "P-S8", slope, h, e.f, "h'")
		ref.Near(t, "P-S8", d.Radial/float64(deg)/e.radius, h, e.f, "h' as density")
	}
	// P-S8 holds its angle to the printed digits as well.
	c, _ := projection.Stereographic.Angle(0.4011502)
	ref.Near(t, "P-S8", float64(c), 22.6832261*math.Pi/180, "c")
}

// The test file of PROJ, azimuthal projections: the map's centre is the optical
// axis.
func TestProjCases(t *testing.T) {
	type point struct{ lon, lat, x, y float64 }
	for _, e := range []struct {
		id          string
		f           projection.Form
		radius, lat float64
		points      []point
	}{
		{"P-G1", projection.Equidistant, 1, 0, []point{{0, 90, 0, 1.57080}, {10, 80, 0.04281, 1.39829}, {40, 30, 0.62896, 0.56493}, {90, 0, 1.57080, 0}}},
		{"P-G3", projection.Equidistant, 1, 90, []point{{0, 0, 0, -1.5708}, {90, 0, 1.5708, 0}}},
		{"P-G4", projection.Equisolid, 1, 45, []point{{0, 0, 0, -0.7654}, {0, 90, 0, 0.7654}, {0, -45, 0, -1.4142}, {45, 45, 0.5194, 0.1521}}},
		{"P-G6", projection.Equisolid, 6400000, 0, []point{{2, 1, 223365.281370125, 111716.668072916}}},
		{"P-G8", projection.Rectilinear, 1, 45, []point{{0, 45, 0, 0}, {0, 0, 0, -1}, {0, 90, 0, 1}}},
		{"P-G9", projection.Orthographic, 1, 0, []point{{0, 30, 0, 0.5}, {10, 50, 0.1116, 0.7660}, {20, 40, 0.2620, 0.6428}, {30, 80, 0.0868, 0.9848},
			{40, 70, 0.2198, 0.9397}, {60, 50, 0.5567, 0.7660}, {70, 20, 0.8830, 0.3420}, {80, 10, 0.9698, 0.1736}}},
		// The file's own line has −0.5554 for y and a mistyped keyword, so that it
		// never ran: PROJ itself gives + for both.
		{"P-G12", projection.Equidistant, 1, -90, []point{{45, -45, 0.555360367270, 0.555360367270}}},
		{"P-G13", projection.Rectilinear, 1, 0, []point{{30, 20, 0.577350269189626, 0.420276625461206}}},
		{"P-G13", projection.Stereographic, 1, 0, []point{{30, 20, 0.518080175340628, 0.377131525574807}}},
		{"P-G13", projection.Equidistant, 1, 0, []point{{30, 20, 0.501369494614624, 0.364967144817624}}},
		{"P-G13", projection.Equisolid, 1, 0, []point{{30, 20, 0.493374157077090, 0.359147015064477}}},
		{"P-G13", projection.Orthographic, 1, 0, []point{{30, 20, 0.469846310392954, 0.342020143325669}}},
	} {
		cam := mapCamera(t, e.f, e.radius, 0, e.lat)
		for _, p := range e.points {
			x, y, ok := cam.Project(trial.Toward(p.lon, p.lat))
			x, y = x-1, 1-y
			assert.True(t, ok, "%s: %v is not imaged", e.id, p)
			ref.Near(t, e.id, x, p.x, p, "x")
			ref.Near(t, e.id, y, p.y, p, "y")
		}
	}

	// Inverses.
	// The file's 3.14159265359 is π rounded up: 2e-13 outside the sphere.
	pole, _ := mapCamera(t, projection.Equidistant, 1, 0, 90).Unproject(1, 1-3.14159265358)
	ref.Near(t, "P-G3", pole.Y, -1, "the antipode")
	d, _ := mapCamera(t, projection.Equisolid, 6400000, 0, 0).Unproject(1+200, 1-100)
	lon, lat := trial.LonLat(d)
	ref.Near(t, "P-G7", lon, 0.001790493)
	ref.Near(t, "P-G7", lat, 0.000895247)
	// PROJ takes (0.70710678118, 0.7071067812), 5e-12 outside the disc, for its
	// rim. Here what is outside by more than rounding is outside.
	limb := mapCamera(t, projection.Orthographic, 1, 0, -90)
	d, ok := limb.Unproject(1+0.70710678118, 1-0.70710678118)
	if lon, lat = trial.LonLat(d); !ok {
		t.Error("P-G11: no direction at the rim")
	}
	ref.Near(t, "P-G11", lon, 45)
	ref.Near(t, "P-G11", lat, 0)

	// Failures.
	for _, e := range []struct {
		f             projection.Form
		lat0          float64
		lon, lat      float64
		x, y          float64
		inverse, want bool
	}{
		{f: projection.Equidistant, lon: 180},
		{f: projection.Equidistant, lat0: 90, y: 5, inverse: true},
		{f: projection.Equisolid, lat0: 45, y: 10, inverse: true},
		{f: projection.Rectilinear, lat0: 45, lat: -45},
		{f: projection.Orthographic, lon: 120},
	} {
		cam := mapCamera(t, e.f, 1, 0, e.lat0)
		_, _, ok := cam.Project(trial.Toward(e.lon, e.lat))
		if e.inverse {
			_, ok = cam.Unproject(1+e.x, 1-e.y)
		}
		ref.Equal(t, "P-G2", ok, false, e)
	}
}

// A measured fisheye through a Model of the test's own: unequal focal lengths, a
// decentred axis, the frame of computer vision, and a ray at 90°.
func TestMeasuredFisheye(t *testing.T) {
	cam := trial.Camera(t, projection.CameraSpec{
		Model:  trial.KannalaBrandt{1, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
		FocalX: 558.478087865323, FocalY: 560.506767351568, Width: 1280, Height: 800,
		OffsetX: 620.458515360843 - 640, OffsetY: 381.939424848348 - 400,
	})
	for _, p := range []struct {
		ray  r3.Vec // computer vision: y down, z ahead
		u, v float64
	}{
		{r3.Vec{X: 0.1, Z: 1}, 676.120447998, 381.939424848},
		{r3.Vec{X: 0.5, Y: 0.25, Z: 1}, 874.951981048, 509.648383234},
		{r3.Vec{X: 1, Z: 1}, 1058.52625089, 381.939424848},
		// OpenCV divides by z and cannot take this one.
		{r3.Vec{X: 1}, 1435.08529255, 381.939424848},
	} {
		u, v, ok := cam.Project(projection.VisionAxes(p.ray))
		assert.True(t, ok, "%v is not imaged", p.ray)
		ref.Near(t, "P-C4", u, p.u, p.ray)
		ref.Near(t, "P-C4", v, p.v, p.ray)
		d, _ := cam.Unproject(p.u, p.v)
		back := r3.Scale(r3.Norm(p.ray), projection.VisionAxes(d))
		ref.Near(t, "P-C4", r3.Norm(r3.Sub(back, p.ray)), 0, p.ray, "inverse")
	}
}

func TestFieldOfViewOfKnownRadii(t *testing.T) {
	for _, e := range []struct {
		f               projection.Form
		left, right     float64 // focal lengths
		degLeft, degRgt float64
	}{
		{projection.Rectilinear, 0.57735026919, 1, 30, 45},
		{projection.Stereographic, 1.15470053838, 2.85629601348, 60, 110},
		{projection.Equidistant, 1.0471975512, 1.91986217719, 60, 110},
		{projection.Equisolid, 1, 1.63830408858, 60, 110},
		{projection.Orthographic, 0.5, 0.766044443119, 30, 50},
	} {
		// A raster of 2^20 px a side whose principal point divides it as asked.
		const side = 1 << 20
		focal := side / (e.left + e.right)
		spec := projection.CameraSpec{Model: e.f, FocalX: focal, FocalY: focal, Width: side, Height: side, OffsetX: e.left*focal - side/2}
		across, _, _ := trial.Camera(t, spec).FieldOfView()
		ref.Near(t, "P-V1", across, unit.Angle(e.degLeft+e.degRgt)*deg, e.f, "across")
		spec.OffsetX, spec.OffsetY = 0, e.left*focal-side/2
		_, down, _ := trial.Camera(t, spec).FieldOfView()
		ref.Near(t, "P-V1", down, unit.Angle(e.degLeft+e.degRgt)*deg, e.f, "down")
		// Corner to corner: sides of a 3-4-5 triangle.
		r := 5.0
		if e.f != projection.Rectilinear {
			r = e.left
		}
		focal = 500 / r
		_, _, diagonal := trial.Camera(t, projection.CameraSpec{Model: e.f, FocalX: focal, FocalY: focal, Width: 600, Height: 800}).FieldOfView()
		want := 2 * e.degLeft
		if e.f == projection.Rectilinear {
			want = 2 * math.Atan(5) / float64(deg)
		}
		ref.Near(t, "P-V1", diagonal, unit.Angle(want)*deg, e.f, "diagonal")
	}
}

func TestMarginOfKnownDistances(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalLength: 8e-3, Pitch: 4e-6, Width: 8000, Height: 6000,
		OffsetX: 100, OffsetY: -200, ImageCircle: 20e-3}) // a circle of 2500 px about (4100, 2800)
	for _, p := range []struct{ x, y, want float64 }{
		{4100, 2800, 2500},
		{4100 + 600, 2800 + 800, 1500},
		{4100 + 1500, 2800 + 2000, 0},
		{4100 + 3000, 2800, -500},
		{4100, 10, 10 - 300},
		{-7, 2800, 2500 - 4107},
	} {
		ref.Near(t, "P-V2", c.Margin(p.x, p.y), p.want, p)
	}
	v, err := projection.NewView(projection.ViewSpec{Width: 1920, Height: 1080, Across: 60 * deg})
	require.NoError(t, err)
	for _, p := range []struct{ x, y, want float64 }{
		{960, 540, 540}, {10, 540, 10}, {1900, 540, 20}, {960, 3, 3}, {960, 1075, 5}, {-4, 540, -4}, {1927, 540, -7}, {0, 0, 0}, {1920, 1080, 0}, {960, 1081, -1},
	} {
		ref.Near(t, "P-V2", v.Margin(p.x, p.y), p.want, p)
	}
}

// A camera off the origin, by similar triangles: half a metre to the right and 0.2 m
// up, 2 m away, are 250 px and 100 px.
func TestPointsByTriangles(t *testing.T) {
	at := projection.Pose{Position: r3.Vec{X: 1, Y: 2, Z: 3}}
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 1000, FocalY: 1000, Width: 640, Height: 480, Pose: at})
	x, y, ok := c.ProjectPoint(r3.Vec{X: 1.5, Y: 2.2, Z: 1})
	require.True(t, ok)
	ref.Near(t, "P-V6", x, 570, "x")
	ref.Near(t, "P-V6", y, 140, "y")
	// Turned a quarter to the left it looks along −X.
	at.Heading = -90 * deg
	c = trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 1000, FocalY: 1000, Width: 640, Height: 480, Pose: at})
	x, y, ok = c.ProjectPoint(r3.Vec{X: -1, Y: 2.2, Z: 2.5})
	require.True(t, ok)
	ref.Near(t, "P-V6", x, 570, "x, turned")
	ref.Near(t, "P-V6", y, 140, "y, turned")
	for _, p := range []r3.Vec{at.Position, {X: 2, Y: 2, Z: 3}, {X: math.NaN()}, {Y: math.Inf(1)}} {
		_, _, ok := c.ProjectPoint(p)
		assert.False(t, ok, p)
	}
	_, _, ok = projection.Camera{}.ProjectPoint(r3.Vec{X: 1})
	assert.False(t, ok)
}

// What is on the raster, within MaxAngle and in the image circle, by angles: of an
// equidistant lens of 10 px/° a raster of 600 × 400 px sees 30° to either side of its
// axis and 20° up and down, an image circle of 500 px in diameter 25° around it.
func TestSees(t *testing.T) {
	const perDegree = 10 * 180 / math.Pi
	raster := projection.CameraSpec{Model: projection.Equidistant, FocalX: perDegree, FocalY: perDegree, Width: 600, Height: 400}
	circle, angle := raster, raster
	circle.Pitch, circle.ImageCircle = 5e-6, 500*5e-6
	angle.MaxAngle = 15 * deg
	for _, tc := range []struct {
		heading, elevation     float64
		raster, circle, within bool
	}{
		{0, 0, true, true, true},
		{14.99, 0, true, true, true}, {15.01, 0, true, true, false},
		{-24.99, 0, true, true, false}, {25.01, 0, true, false, false},
		{29.99, 0, true, false, false}, {-29.99, 0, true, false, false}, {30.01, 0, false, false, false}, {-30.01, 0, false, false, false},
		{0, 19.99, true, true, false}, {0, -19.99, true, true, false}, {0, 20.01, false, false, false}, {0, -20.01, false, false, false},
		{180, 0, false, false, false},
	} {
		for name, v := range map[string]struct {
			spec projection.CameraSpec
			want bool
		}{"raster": {raster, tc.raster}, "circle": {circle, tc.circle}, "angle": {angle, tc.within}} {
			c := trial.Camera(t, v.spec)
			ref.Equal(t, "P-V7", c.Sees(trial.Toward(tc.heading, tc.elevation)), v.want, name, tc)
		}
	}
	// Edges are seen, as the raster and rounding have them.
	c := trial.Camera(t, raster)
	for _, p := range [][2]float64{{0, 0}, {600, 0}, {0, 400}, {600, 400}, {0, 123.4}} {
		d, _ := c.Unproject(p[0], p[1])
		assert.True(t, c.Sees(d), p)
	}
	assert.False(t, c.Sees(r3.Vec{}))
	assert.False(t, projection.Camera{}.Sees(r3.Vec{Z: -1}))
}
