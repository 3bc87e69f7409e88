package wide_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens/wide"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// toward is the field angle, and the pupil in the unit of the prescription, of the
// traced chief ray that goes out to a point in front of the image plane and aside.
func (l traced) toward(t testing.TB, forward, aside float64) (theta, pupil float64) {
	miss := func(angle float64) float64 {
		front, _ := l.chief(angle)
		p, out := l.inFront(front)
		return math.Atan2(aside, forward-p) - out
	}
	wide := 1e-9
	for miss(wide) > 0 {
		wide += 2e-3
	}
	angle := has[float64](t)(root.Find(miss, 1e-9, wide))
	front, _ := l.chief(angle)
	pupil, theta = l.inFront(front)
	return theta, pupil
}

// Things on rays that the trace sends out of the lens are seen at the angles of those.
func TestSightAlongTracedRays(t *testing.T) {
	for name, l := range bothTraced(t) {
		scale := 0.01 / l.focal // metres a unit of the prescription
		for deg := 2.5; deg < float64(l.degrees); deg += 7.5 {
			s := l.at(t, rad(deg))
			for _, distance := range []float64{0.15, 1, 30} {
				sin, cos := math.Sincos(rad(deg))
				got := has[wide.Sight](t)(l.lens.Sight(unit.Length(s.pupil*scale+distance*cos), unit.Length(distance*sin)))
				ref.Near(t, "L-WS1", float64(got.FieldAngle), rad(deg), name, deg, distance)
				ref.Near(t, "L-WS1", float64(got.Distance), distance, name, deg, distance)
			}
		}
	}
}

func TestSightAtTheEnds(t *testing.T) {
	l := must[wide.Lens](t)(wide.New(wideView())) // its pupil is 120 mm to 132.1 mm in front
	s := has[wide.Sight](t)(l.Sight(3, 0))
	assert.True(t, s.FieldAngle == 0 && s.Distance == 2.88, "%+v", s)
	s = has[wide.Sight](t)(l.Sight(0, 0.5))
	assert.Greater(t, float64(s.FieldAngle), math.Pi/2, "behind the pupil")
	for _, r := range [][2]unit.Length{
		{3, -0.1}, {-3, 0}, {-1, 1}, {0.125, 1 * mm}, {0.12, 0}, {2e9, 1}, {1, 2e9}, {unit.Length(nan), 1}, {1, unit.Length(nan)}, {unit.Length(inf), 1},
	} {
		_, ok := l.Sight(r[0], r[1])
		assert.False(t, ok, r)
	}
	_, ok := wide.Lens{}.Sight(3, 1)
	assert.False(t, ok)
}

// A pupil that walks to and fro, further than the points of its table, sees some near
// things at several field angles. For those there is no answer.
func TestSightHasOneAnswer(t *testing.T) {
	spec := wideView()
	for i, p := range []unit.Length{120, 120, 124, 124, 120, 120, 117, 117, 120, 121, 121, 121} {
		spec.Points[i].Pupil = p * mm
	}
	l := must[wide.Lens](t)(wide.New(spec))
	rng := rand.New(rand.NewPCG(19, 20))
	several, answers := 0, 0
	for range 3000 {
		z, x := 0.110+0.02*rng.Float64(), 0.02*math.Pow(rng.Float64(), 4)
		crossings, before := 0, -1.0
		for theta := 0.0; theta < float64(l.MaxAngle()); theta += 5e-3 {
			pupil := float64(has[unit.Length](t)(l.Pupil(unit.Angle(theta))))
			if off := theta - math.Atan2(x, z-pupil); off*before < 0 {
				crossings, before = crossings+1, off
			}
		}
		_, ok := l.Sight(unit.Length(z), unit.Length(x))
		require.False(t, ok && crossings > 1, "%d field angles for a thing at %v, %v", crossings, z, x)
		if crossings > 1 {
			several++
		}
		if ok {
			answers++
		}
	}
	assert.True(t, several > 100 && answers > 100, "%d things at several angles, %d answers", several, answers)
}

// Two traced lenses are turned about a point. On the seam, a thing and a far thing come
// through each of them.
func TestSeamByTracingBothCameras(t *testing.T) {
	for name, l := range bothTraced(t) {
		scale := 0.01 / l.focal
		on := float64(has[unit.Length](t)(l.lens.Pupil(0)))
		walked := float64(has[unit.Length](t)(l.lens.Pupil(0.7)))
		for _, r := range []struct{ pivot, turn, distance float64 }{
			{on, 1.4, 2}, {on, 1.4, 0.5}, {walked, 1.4, 0.5}, {walked, 0.9, 1}, {walked, 1.6, 1}, {on + 0.1, 1, 20}, {-0.05, 0.3, 3},
		} {
			spec := wide.SeamSpec{Pivot: unit.Length(r.pivot), Turn: unit.Angle(r.turn), Distance: unit.Length(r.distance), Pitch: 3 * um}
			got := must[wide.Seam](t)(l.lens.Seam(spec))
			sin, cos := math.Sincos(r.turn / 2)
			theta, pupil := l.toward(t, (r.pivot+r.distance*cos)/scale, r.distance*sin/scale)
			// Headings of the thing in the two pictures, from the seam.
			left, right := theta-r.turn/2, r.turn/2-theta
			ref.Near(t, "L-WS2", float64(got.Parallax), left-right, name, r)
			moved := (l.at(t, theta).height - l.at(t, r.turn/2).height) / l.focal * 0.01 / 3e-6
			ref.Near(t, "L-WS3", got.Photosites, 2*moved, name, r)
			// Where the two pupils are, in the plane of the axes.
			out := pupil*scale - r.pivot
			apart := math.Hypot(out*sin-(-out*sin), out*cos-out*cos)
			ref.Near(t, "L-WS2", float64(got.Baseline), apart, name, r, "baseline")
		}
		// Turned about the pupil of the seam, two cameras have no parallax there at
		// any distance.
		for _, d := range []unit.Length{0.3, 1, 50} {
			s := must[wide.Seam](t)(l.lens.Seam(wide.SeamSpec{Pivot: unit.Length(walked), Turn: 1.4, Distance: d, Pitch: 3 * um}))
			assert.InDelta(t, 0, s.Photosites, 1e-9, "rounding")
		}
		// A point too far back leaves the pupils ahead of it, apart: a near thing is seen
		// further out.
		s := must[wide.Seam](t)(l.lens.Seam(wide.SeamSpec{Pivot: unit.Length(on), Turn: 1.4, Distance: 1, Pitch: 3 * um}))
		assert.True(t, s.Parallax > 0 && s.Photosites > 0 && s.Baseline > 0, "%+v", s)
	}
}

func TestSeamsThatCannotBe(t *testing.T) {
	l := must[wide.Lens](t)(wide.New(wideView()))
	for want, change := range map[string]func(*wide.SeamSpec){
		"wide: pivot 120 m":                  func(s *wide.SeamSpec) { s.Pivot = 120 },
		"wide: turn 0°":                      func(s *wide.SeamSpec) { s.Turn = 0 },
		"wide: turn 229.183°":                func(s *wide.SeamSpec) { s.Turn = 4 },
		"wide: distance 0 m":                 func(s *wide.SeamSpec) { s.Distance = 0 },
		"is 3 µm meant?":                     func(s *wide.SeamSpec) { s.Pitch = 3 },
		"wide: distance 1 mm: the lens does": func(s *wide.SeamSpec) { s.Distance = 1 * mm },
	} {
		spec := wide.SeamSpec{Pivot: 120 * mm, Turn: 1, Distance: 2, Pitch: 3 * um}
		change(&spec)
		_, err := l.Seam(spec)
		refuses(t, err, want)
	}
	_, err := l.Seam(wide.SeamSpec{Pivot: 120 * mm, Turn: 1, Distance: 2, Pitch: 3 * um})
	require.NoError(t, err)
}
