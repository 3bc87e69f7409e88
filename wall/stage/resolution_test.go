package stage_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// A wall of 1 cm pixels square on, 4 m away, and a camera of 2000 photosites to a
// slope of 1, 800 wide: in the middle a wall pixel is 5 photosites. The delivered
// picture is 400 wide.
func TestResolutionByHand(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(stage.Spec{
		Parts: []stage.Part{must[stage.Part](t)(stage.FromWall("wall", wall.Spec{
			PanelWidth: 1, PanelHeight: 1, PanelPixelsX: 100, PanelPixelsY: 100, Columns: 4, Rows: 3, Position: r3.Vec{Z: -4}}, stage.Place{}, 0))},
		Rasters: []stage.Raster{{400, 300}},
	}))
	plate := 50.0 // px per degree
	const degree = math.Pi / 180
	spec := stage.ResolutionSpec{
		Camera: newPinhole(0, 0, 0, 2000, 800, 600), Plate: func(r3.Vec) float64 { return plate },
		DeliveredWidth: 400, Factor: 1, Acuity: wall.Degree / 60,
	}
	middle := func() stage.Resolution {
		m, err := s.Resolutions(spec, 1, 1)
		require.NoError(t, err)
		m[0].Hit = stage.Hit{}
		return m[0]
	}
	wallDensity, camera := 400*degree, 2000*degree
	want := stage.Resolution{
		X: 400, Y: 300, Plate: 50, Wall: wallDensity, Camera: camera, Delivered: camera / 2,
		PhotositesPerPixel: stage.Span{Least: 5, Greatest: 5}, PlatePixelsPerPixel: stage.Span{Least: 50 / wallDensity, Greatest: 50 / wallDensity},
		Limit: stage.WallLimit, Enlarge: 2.5, Lead: camera / wallDensity, EyeResolves: true,
	}
	near := cmpopts.EquateApprox(1e-6, 0) // (half a photosite over the focal length)², and half of it
	check := func(what string) { ref.Equal(t, "W-ST-CHAINHAND", cmp.Diff(want, middle(), near), "", what) }
	check("the wall limits, then comes the camera")

	plate = 5
	want.Plate, want.PlatePixelsPerPixel = 5, stage.Span{Least: 5 / wallDensity, Greatest: 5 / wallDensity}
	want.Limit, want.Enlarge, want.Lead = stage.PlateLimit, camera/2/5, wallDensity/5
	check("the plate limits")

	spec.Factor = 3
	want.Delivered, want.Enlarge = camera*1.5, camera*1.5/5
	check("an editorial push-in asks for more")
	spec.PushIn = stage.Physical
	want.Camera, want.PhotositesPerPixel = camera*3, stage.Span{Least: 15, Greatest: 15}
	check("a physical one films more")

	spec.Plate, want.Plate, want.PlatePixelsPerPixel = nil, 0, stage.Span{}
	want.Limit, want.Enlarge, want.Lead = stage.WallLimit, camera*1.5/wallDensity, camera*3/wallDensity
	check("no limit of the plate")
	spec.Camera, spec.PushIn, spec.Acuity = newPinhole(0, 0, 0, 100, 800, 600), stage.Editorial, wall.Degree
	want.Camera, want.PhotositesPerPixel, want.EyeResolves = 100*degree, stage.Span{Least: 0.25, Greatest: 0.25}, false
	want.Delivered, want.Limit, want.Enlarge, want.Lead = 150*degree, stage.CameraLimit, 1.5, 4
	spec.Acuity = wall.Degree / 6 // 6 px per degree
	near = cmpopts.EquateApprox(1e-4, 0)
	check("the camera limits")
	spec.Plate, plate = func(r3.Vec) float64 { return math.NaN() }, 0
	want.Limit, want.Enlarge, want.Lead = stage.PlateLimit, 0, 0
	check("no plate")

	// A push-in shows the middle of the frame: of two by two cells the first is at a
	// quarter of a third.
	m, err := s.Resolutions(spec, 2, 2)
	require.NoError(t, err)
	_, err = s.Resolutions(spec, 4096, 4096)
	assert.ErrorContains(t, err, "columns × rows 16777216: must be at least 1 and at most 1048576")
	ref.Equal(t, "W-ST-CHAINHAND", cmp.Diff([]float64{400 - 200.0/3, 300 - 150.0/3}, []float64{m[0].X, m[0].Y}, cmpopts.EquateApprox(0, 1e-9)), "")
}

// Densities along all directions around a ray, by following rays around it.
func TestResolutionByRaysAround(t *testing.T) {
	spec := volume(t, 1)
	s := must[stage.Stage](t)(stage.New(spec))
	rng := rand.New(rand.NewPCG(9, 1))
	seen, why := 0, map[stage.Sight]int{}
	for range 110 {
		turn := func(degrees float64) unit.Angle { return unit.Angle(degrees*(2*rng.Float64()-1)) * wall.Degree }
		c := newPinhole(turn(180), turn(60), turn(90), 500+1000*rng.Float64(), 800, 600)
		eye := r3.Add(r3.Vec{Y: 1, Z: -1}, random(rng, 0.5))
		m, err := s.Resolutions(stage.ResolutionSpec{Camera: c, Eye: eye, DeliveredWidth: 800, Factor: 1, Acuity: wall.Degree / 60}, 3, 3)
		require.NoError(t, err)
		for _, r := range m {
			why[r.Why]++
			axis, _ := c.Unproject(r.X, r.Y)
			if first, _ := s.Hit(eye, axis); r.Why != stage.Seen {
				assert.Equal(t, [4]int{int(first.Surface), first.Part, first.Panel, first.Blocker}, [4]int{int(r.Hit.Surface), r.Hit.Part, r.Hit.Panel, r.Hit.Blocker}, "%v", r.Why)
				continue
			}
			side := r3.Unit(r3.Cross(axis, r3.Vec{X: 0.3, Y: 0.7, Z: 0.2}))
			const cone, steps = 1e-5, 2880
			least, leastPhotosites, most, fewest := math.Inf(1), math.Inf(1), 0.0, math.Inf(1)
			whole := true
			for k := range steps / 2 {
				around := r3.Rotate(side, 2*math.Pi*float64(k)/steps, axis)
				a, b := r3.Sub(axis, r3.Scale(cone, around)), r3.Add(axis, r3.Scale(cone, around))
				ha, okA := s.Hit(eye, a)
				hb, okB := s.Hit(eye, b)
				if !okA || !okB || ha.Panel != hb.Panel || ha.Part != hb.Part || ha.Surface != hb.Surface {
					whole = false
					break
				}
				ax, ay, _ := c.Project(a)
				bx, by, _ := c.Project(b)
				pixels, photosites := math.Hypot(hb.X-ha.X, hb.Y-ha.Y), math.Hypot(bx-ax, by-ay)
				least = min(least, pixels/(2*cone)*math.Pi/180)
				leastPhotosites = min(leastPhotosites, photosites/(2*cone)*math.Pi/180)
				most, fewest = max(most, photosites/pixels), min(fewest, photosites/pixels)
			}
			if !whole {
				continue
			}
			seen++
			ref.Near(t, "W-ST-RAYS", r.Wall, least, r.Hit)
			ref.Near(t, "W-ST-RAYS", r.Camera, leastPhotosites, r.Hit)
			ref.Near(t, "W-ST-RAYS", r.PhotositesPerPixel.Greatest, most, r.Hit)
			ref.Near(t, "W-ST-RAYS", r.PhotositesPerPixel.Least, fewest, r.Hit)
			assert.Equal(t, stage.LitFace, r.Hit.Surface)
		}
	}
	assert.Greater(t, seen, 50)
	for _, w := range []stage.Sight{stage.ShowsNothing, stage.ShowsBack, stage.ShowsBlocker} {
		assert.NotZero(t, why[w], "%v", w)
	}
}

// Results of what is not seen go to JSON as well, and a Spec comes back from it.
func TestJSON(t *testing.T) {
	text, err := json.Marshal([]any{stage.Resolution{Why: stage.ShowsNothing}, stage.Reflection{Why: stage.FromBehind}})
	require.NoError(t, err)
	assert.Contains(t, string(text), `"Why":"shows nothing","Hit":{"Surface":"none"`)
	assert.Contains(t, string(text), `"Limit":"none"`)
	spec := volume(t, 1)
	text, err = json.Marshal(spec)
	require.NoError(t, err)
	var back stage.Spec
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Empty(t, cmp.Diff(spec, back))
}

// edged is a camera that sees nothing beyond the edges of its picture.
type edged struct{ pinhole }

func (e edged) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	dir, _ = e.pinhole.Unproject(x, y)
	return dir, x >= 0 && y >= 0 && x <= float64(e.width) && y <= float64(e.height)
}

// Half a photosite from the edge of the picture the camera's step ends outside.
func TestResolutionEndsAtTheEdgeOfThePicture(t *testing.T) {
	s := must[stage.Stage](t)(stage.New(volume(t, 1)))
	spec := stage.ResolutionSpec{Camera: edged{newPinhole(0, 0, 0, 100, 4, 1)}, Eye: r3.Vec{Y: 1.3, Z: -2.5}, DeliveredWidth: 4, Factor: 1, Acuity: wall.Degree / 60}
	m, err := s.Resolutions(spec, 16, 1)
	require.NoError(t, err)
	for i, r := range m {
		inside := r.X >= 0.5 && r.X <= 3.5
		assert.Equal(t, inside, r.Why != stage.OutsidePicture, "%d: %v", i, r.Why)
	}
	_, err = s.Resolutions(stage.ResolutionSpec{Camera: newPinhole(0, 0, 0, 100, 0, -1), DeliveredWidth: 4, Factor: 1, Acuity: wall.Degree / 60}, 1, 1)
	assert.ErrorContains(t, err, "width of the camera 0 photosites")
	assert.ErrorContains(t, err, "height of the camera -1 photosites")
}
