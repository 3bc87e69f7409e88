package fit_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/fit"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Plates of cameras that are turned by some 0.4 px from where they are believed to look,
// with near things, differently exposed.
func TestSeamsOfRigs(t *testing.T) {
	near.NumbersOnly(t)
	var shifts, turns tally
	for seed := range *rigs {
		g := simulate(t, seed)
		for _, n := range g.pairs[:min(2, len(g.pairs))] {
			a, b := g.shots[n[0]], g.shots[n[1]]
			plate := g.plates[n[0]]
			plate.Camera = a.real // A's is right
			s := must[fit.Seam](t)(fit.MeasureSeam(plate, g.plates[n[1]], fit.SeamSpec{Patch: 12, Reach: 4}))
			for _, shift := range s.Shifts {
				// Where B shows it, where B believes that to be, and where that is in A.
				x, y, _ := b.real.Project(shift.Dir)
				dir, _ := b.camera.Unproject(x, y)
				x, y, _ = a.real.Project(dir)
				if !g.hides(n, shift) {
					shifts.add(shift.Across, x-shift.X)
					shifts.add(shift.Down, y-shift.Y)
				}
			}
			for k, e := range []fit.AngleEstimate{s.Heading, s.Elevation, s.Roll} {
				turns.add(fit.Estimate{Value: float64(e.Value), Uncertainty: float64(e.Uncertainty)}, float64(b.turned[k]))
				assert.Less(t, e.Uncertainty, 0.2*projection.Degree)
			}
			assert.Less(t, s.MedianRest, 0.3, "px")
			assert.GreaterOrEqual(t, s.Worst, s.Median)
		}
	}
	assert.InDelta(t, 0, math.Log2(shifts.deviation()), 0.8, "uncertainties are not idle")
	assert.InDelta(t, 0, math.Log2(turns.deviation()), 0.8, "uncertainties are not idle")
	shifts.log(t, "shifts")
	turns.log(t, "turns")
	ref.Within(t, "P-FIT-SEAM", turns.outside(), "turns")
	ref.Within(t, "P-FIT-SEAM", shifts.outside(), "shifts")
	ref.Within(t, "P-FIT-SEAM-BIAS", turns.bias(), "turns")
	ref.Within(t, "P-FIT-SEAM-BIAS", shifts.bias(), "shifts")
}

// Things that repeat, as a railing does, fit at several shifts.
func TestRepeatingThingsHaveNoAnswer(t *testing.T) {
	camera := fisheye(t, projection.Pose{})
	places := []r3.Vec{}
	for e := -9; e <= 9; e += 3 {
		places = append(places, projection.Direction(0, unit.Angle(e)*projection.Degree))
	}
	p := pattern(t, camera, camera, 1)
	for i := range p.Channels[0].Pix {
		x, y := float64(i%160), float64(i/160)
		p.Channels[0].Pix[i] = float32(0.4 + 0.1*math.Sin(2*math.Pi*x/5) + 0.1*math.Sin(2*math.Pi*y/6))
	}
	s, err := fit.MeasureSeam(p, p, fit.SeamSpec{Places: places, Patch: 16, Reach: 4})
	assert.NoError(t, err, "no period within the reach")
	assert.Len(t, s.Shifts, len(places))
	_, err = fit.MeasureSeam(p, p, fit.SeamSpec{Places: places, Patch: 16, Reach: 8})
	assert.ErrorContains(t, err, "overlap 0 of 7 places")
}

// pattern is a plate of waves of several directions, without noise.
func pattern(t testing.TB, real, believed projection.Camera, gain float64) fit.Plate[float32] {
	t.Helper()
	width, height := real.Size()
	p := fit.Plane[float32]{Width: width, Height: height}
	for j := range height {
		for i := range width {
			d, ok := real.Unproject(float64(i)+0.5, float64(j)+0.5)
			light := 0.0
			if ok {
				light = 0.4 + 0.05*(math.Sin(31*d.X+5*d.Y)+math.Sin(27*d.Y-9*d.Z)+math.Sin(35*d.Z+14*d.X))
			}
			p.Pix = append(p.Pix, float32(gain*light))
		}
	}
	return fit.Plate[float32]{Camera: believed, Channels: []fit.Plane[float32]{p}}
}

func fisheye(t testing.TB, pose projection.Pose) projection.Camera {
	t.Helper()
	return must[projection.Camera](t)(projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 60, FocalY: 60, Width: 160, Height: 160, MaxAngle: 75 * projection.Degree, Pose: pose,
	}))
}

// Shifts at places along a seam, of a camera that is a pixel too far to the right: it shows
// all things farther to the left.
func TestPlacesAlongASeam(t *testing.T) {
	left := fisheye(t, projection.Pose{})
	believed := projection.Pose{Heading: 60 * projection.Degree}
	real := believed
	real.Heading += 1. / 60
	a := pattern(t, left, left, 1)
	b := pattern(t, fisheye(t, real), fisheye(t, believed), 0.8)
	var places []r3.Vec
	for e := -30; e <= 30; e += 6 {
		places = append(places, projection.Direction(30*projection.Degree, unit.Angle(e)*projection.Degree))
	}
	behind := projection.Direction(180*projection.Degree, 0) // neither sees it
	s := must[fit.Seam](t)(fit.MeasureSeam(a, b, fit.SeamSpec{Places: append(places, behind), Patch: 16, Reach: 4}))
	assert.Len(t, s.Shifts, len(places))
	assert.Zero(t, s.Unanswered)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(places[2], s.Shifts[2].Dir)), 1e-12, "roundings")
	level := s.Shifts[5] // at elevation 0, where a px is 1/60 rad
	ref.Near(t, "P-FIT-PIXEL", level.Across.Value, -1)
	ref.Near(t, "P-FIT-PIXEL", 1+level.Down.Value, 1)
	ref.Near(t, "P-FIT-PIXEL", s.Median, 1)
	ref.Near(t, "P-FIT-PIXEL", 60*float64(s.Heading.Value), 1)
	ref.Near(t, "P-FIT-PIXEL", 1+60*float64(s.Elevation.Value), 1)
	ref.Near(t, "P-FIT-PIXEL", 1+60*float64(s.Roll.Value), 1)
	assert.InDelta(t, 30*60*math.Pi/180+80, level.X, 1e-9, "r = f θ")
	assert.InDelta(t, 80, level.Y, 1e-9, "r = f θ")

	// As if the seam were elsewhere: the turn is beyond the reach.
	real.Heading = believed.Heading + 6./60
	_, err := fit.MeasureSeam(a, pattern(t, fisheye(t, real), fisheye(t, believed), 1), fit.SeamSpec{Places: places, Patch: 16, Reach: 4})
	assert.ErrorContains(t, err, "overlap 0 of 11 places: must have at least 6")
}

func TestPlatesRefused(t *testing.T) {
	camera := fisheye(t, projection.Pose{})
	good := pattern(t, camera, camera, 1)
	flat := pattern(t, camera, camera, 1)
	for i := range flat.Channels[0].Pix {
		flat.Channels[0].Pix[i] = 0.5
	}
	away := fisheye(t, projection.Pose{Heading: 180 * projection.Degree})
	change := func(change func(*fit.Plate[float32])) fit.Plate[float32] {
		p := good
		change(&p)
		return p
	}
	for _, tc := range []struct {
		b    fit.Plate[float32]
		want string
	}{
		{change(func(p *fit.Plate[float32]) { p.Camera = nil }), "plate b: camera"},
		{change(func(p *fit.Plate[float32]) { p.Channels = nil }), "plate b: channels 0"},
		{change(func(p *fit.Plate[float32]) { p.Channels = []fit.Plane[float32]{good.Channels[0], good.Channels[0]} }), "as many as those of plate a, 1"},
		{change(func(p *fit.Plate[float32]) { p.Channels = []fit.Plane[float32]{good.Channels[0].Sub(0, 0, 159, 160)} }), "of the camera's size, 160 × 160 px"},
		{change(func(p *fit.Plate[float32]) { p.Black = 1 }), "plate b: black 1: must be less than white"},
		{change(func(p *fit.Plate[float32]) { p.White = math.NaN() }), "plate b: white NaN"},
		{pattern(t, away, away, 1), "of 0 p"},
		{pattern(t, camera, camera, 5), "overlap 0 of"}, // clipped
		{pattern(t, camera, camera, math.NaN()), "overlap 0 of"},
		{change(func(p *fit.Plate[float32]) { p.Falloff = func(x, y float64) float64 { return 0 } }), "overlap 0 of"},
	} {
		p, err := fit.MeasurePair(good, tc.b, fit.PairSpec{B: 1})
		assert.ErrorIs(t, err, fit.ErrInvalid)
		assert.ErrorContains(t, err, tc.want)
		assert.Zero(t, p)
		s, err := fit.MeasureSeam(good, tc.b, fit.SeamSpec{})
		assert.ErrorIs(t, err, fit.ErrInvalid)
		assert.ErrorContains(t, err, tc.want)
		assert.Zero(t, s)
	}
	_, err := fit.MeasureSeam(flat, flat, fit.SeamSpec{})
	assert.ErrorContains(t, err, "with detail that both plates show alike")
	_, err = fit.MeasureSeam(good, good, fit.SeamSpec{Places: []r3.Vec{{X: 2}}})
	assert.ErrorContains(t, err, "place: length 2")
	_, err = fit.MeasurePair(good, good, fit.PairSpec{B: 1, Patch: 5})
	assert.ErrorContains(t, err, "patch 5 px")
}

// stretched gives directions that are not of length 1.
type stretched struct{ projection.Camera }

func (s stretched) Unproject(x, y float64) (r3.Vec, bool) {
	d, ok := s.Camera.Unproject(x, y)
	return r3.Scale(1.5, d), ok
}

// Plates that are wider than high, and places that are none.
func TestPlatesThatAreNotSquare(t *testing.T) {
	wide := must[projection.Camera](t)(projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 60, FocalY: 60, Width: 160, Height: 100, MaxAngle: 75 * projection.Degree,
	}))
	p := pattern(t, wide, wide, 1)
	brighter := pattern(t, wide, wide, 1.5)
	pair := must[fit.Pair](t)(fit.MeasurePair(p, brighter, fit.PairSpec{B: 1, Patch: 6}))
	assert.InDelta(t, 0.5849625007211562, pair.Stops[0].Value, 1e-6, "log2 of 1.5")
	high := p
	high.Channels = []fit.Plane[float32]{{Pix: p.Channels[0].Pix, Width: 100, Height: 160}}
	_, err := fit.MeasurePair(p, high, fit.PairSpec{B: 1})
	assert.ErrorContains(t, err, "channel 100 × 160 px: must be of the camera's size, 160 × 100 px")

	long := p
	long.Camera = stretched{wide}
	_, err = fit.MeasurePair(long, p, fit.PairSpec{B: 1})
	assert.ErrorContains(t, err, "overlap 0 of 0 patches")
	dark := pattern(t, wide, wide, 0)
	_, err = fit.MeasurePair(p, dark, fit.PairSpec{B: 1})
	assert.Regexp(t, `overlap 0 of [1-9]\d+ patches`, err)
}
