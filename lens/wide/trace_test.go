package wide_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/root"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// surface is one face of a prescription: its radius, 0 for the plane of the stop, the
// way to the next, and the index of what follows.
type surface struct{ radius, thickness, index float64 }

// Indices at the d line, 0.5876 µm, from the dispersion formulas of the glass
// catalogue, to six decimals.
const (
	nBK7  = 1.516798
	nSK5  = 1.589128
	nSF1  = 1.717355
	nLAK9 = 1.691000
	nPSK3 = 1.552320
	nSK4  = 1.612716
)

// M. Laikin, Lens Design, 4th edition (2007), pages 114 and 108, as transcribed in
// optiland/samples/objectives.py of the repository HarrisonKramer/optiland (commit
// 1fcb3876). The last thickness leads to the image plane. Lengths in inches.
var (
	prescription170 = []surface{
		{6.0515, .1796, nBK7}, {1.2087, .9182, 1}, {-9.4697, .1939, nSK5}, {1.0053, .6402, 1}, {1.6634, .4518, nSF1},
		{-1.6712, .1825, nLAK9}, {1.1206, 2.5272, 1}, {1.3895, .25, nLAK9}, {.5522, .6047, nPSK3}, {-.8844, .0196, 1},
		{-.8804, .08, nSF1}, {-2.1545, .12, 1}, {0, .12, 1}, {1.0354, .4830, nPSK3}, {-.8443, .0546, 1},
		{-.7386, .1076, nSF1}, {-1.5285, .8308, 1},
	}
	prescription100 = []surface{
		{8.0107, .25, nSK4}, {1.1856, .9613, 1}, {1.6747, .3578, nSF1}, {-7.5157, .2136, nSK4}, {.9411, .4146, 1},
		{-1.7688, .3333, nSF1}, {-1.5531, .3863, nSK4}, {-2.2281, .9842, 1}, {0, .1, 1}, {13.6803, .14, nSK4},
		{-3.4279, .0605, 1}, {20.0257, .3332, nSK4}, {-.9258, .4374, nSF1}, {-3.2233, .2679, 1}, {10.3847, .14, nSF1},
		{2.4272, .2609, nSK4}, {-3.8828, .0150, 1}, {3.3650, .3167, nSK4}, {-14.7547, 1.5604, 1},
	}
)

// ray is a point on it and its direction, of length 1.
type ray struct{ at, to r3.Vec }

// tracer is a prescription with the places of its vertices. The first is at z = 0, and
// light comes along +z.
type tracer struct {
	surfaces []surface
	vertices []float64
	stop     int
	image    float64
}

func newTracer(surfaces []surface) tracer {
	t := tracer{surfaces: surfaces, vertices: make([]float64, len(surfaces))}
	for i, s := range surfaces {
		t.vertices[i] = t.image
		t.image += s.thickness
		if s.radius == 0 {
			t.stop = i
		}
	}
	return t
}

// cross carries a ray through surface i, forwards or backwards, and gives it at the
// surface. Rays are NaN once they miss a surface or cannot leave the glass.
func (t tracer) cross(r ray, i int) ray {
	s := t.surfaces[i]
	before, after := 1.0, s.index
	if i > 0 {
		before = t.surfaces[i-1].index
	}
	if r.to.Z < 0 {
		before, after = after, before
	}
	if s.radius == 0 {
		return ray{r3.Add(r.at, r3.Scale((t.vertices[i]-r.at.Z)/r.to.Z, r.to)), r.to}
	}
	// The sphere about the centre, on the side of the vertex.
	centre := r3.Vec{Z: t.vertices[i] + s.radius}
	from := r3.Sub(r.at, centre)
	along := r3.Dot(from, r.to)
	way := -along - math.Copysign(math.Sqrt(along*along-r3.Dot(from, from)+s.radius*s.radius), s.radius*r.to.Z)
	at := r3.Add(r.at, r3.Scale(way, r.to))
	normal := r3.Scale(1/s.radius, r3.Sub(at, centre))
	if r3.Dot(normal, r.to) > 0 {
		normal = r3.Scale(-1, normal)
	}
	// Law of refraction: the part of the direction along the surface is in
	// proportion to 1/index.
	flat := r3.Scale(before/after, r3.Sub(r.to, r3.Scale(r3.Dot(r.to, normal), normal)))
	return ray{at, r3.Sub(flat, r3.Scale(math.Sqrt(1-r3.Dot(flat, flat)), normal))}
}

// front carries a ray that comes from the stop out of the front of the lens.
func (t tracer) front(r ray) ray {
	for i := t.stop - 1; i >= 0; i-- {
		r = t.cross(r, i)
	}
	return r
}

// sensor carries a ray that comes from the stop to the image plane.
func (t tracer) sensor(r ray) ray {
	for i := t.stop + 1; i < len(t.surfaces); i++ {
		r = t.cross(r, i)
	}
	return ray{r3.Add(r.at, r3.Scale((t.image-r.at.Z)/r.to.Z, r.to)), r.to}
}

// toStop carries a ray from the front to the plane of the stop.
func (t tracer) toStop(r ray) ray {
	for i := 0; i <= t.stop; i++ {
		r = t.cross(r, i)
	}
	return r
}

// sensorToStop carries a ray from the image plane to the plane of the stop.
func (t tracer) sensorToStop(r ray) ray {
	for i := len(t.surfaces) - 1; i >= t.stop; i-- {
		r = t.cross(r, i)
	}
	return r
}

// chief is the ray through the middle of the stop that leaves the stop, backwards, at
// an angle from the axis: in front of the lens, and on the sensor.
func (t tracer) chief(angle float64) (front, sensor ray) {
	sin, cos := math.Sincos(angle)
	middle := r3.Vec{Z: t.vertices[t.stop]}
	return t.front(ray{middle, r3.Vec{Y: sin, Z: -cos}}), t.sensor(ray{middle, r3.Vec{Y: -sin, Z: cos}})
}

// inFront is where a ray in front of the lens meets the axis, from the image plane
// forwards, and the angle at which it goes out.
func (t tracer) inFront(r ray) (pupil, angle float64) {
	return t.image - (r.at.Z - r.at.Y*r.to.Z/r.to.Y), math.Atan2(r.to.Y, -r.to.Z)
}

// seen is what the lens does at a field angle.
type seen struct {
	height, pupil      float64 // pupil from the image plane forwards
	radial, tangential float64 // widths of the entrance pupil for a stop of width 1
	light              float64 // illuminance on the sensor for a stop of area 1
}

// at traces a field angle of more than 0.
func (t tracer) at(tb testing.TB, theta float64) seen {
	out := func(a float64) float64 {
		front, _ := t.chief(a)
		_, out := t.inFront(front)
		return out - theta
	}
	// The first of the chief rays that go out wider.
	wide := 1e-9
	for out(wide) < 0 {
		wide += 2e-3
	}
	angle, ok := root.Find(out, 1e-9, wide)
	require.True(tb, ok, "no chief ray at %v rad", theta)
	front, sensor := t.chief(angle)
	var s seen
	s.pupil, _ = t.inFront(front)
	s.height = -sensor.at.Y

	// Parallel rays beside the chief ray, and where they meet the stop.
	const aside = 1e-5
	in := r3.Scale(-1, front.to)
	width := func(side r3.Vec) float64 {
		a := t.toStop(ray{r3.Add(r3.Add(front.at, r3.Scale(-2, in)), r3.Scale(aside, side)), in})
		b := t.toStop(ray{r3.Add(r3.Add(front.at, r3.Scale(-2, in)), r3.Scale(-aside, side)), in})
		return 2 * aside / r3.Norm(r3.Sub(a.at, b.at))
	}
	s.radial, s.tangential = width(r3.Vec{Y: in.Z, Z: -in.Y}), width(r3.Vec{X: 1})

	// Rays back from the image point. The light is the area, in direction cosines, of
	// the rays that come through the stop.
	const turn = 1e-5
	back := func(x, y float64) r3.Vec {
		to := r3.Add(r3.Scale(-1, sensor.to), r3.Vec{X: x, Y: y})
		to.Z = -math.Sqrt(1 - to.X*to.X - to.Y*to.Y)
		return t.sensorToStop(ray{sensor.at, to}).at
	}
	dx, dy := r3.Sub(back(turn, 0), back(-turn, 0)), r3.Sub(back(0, turn), back(0, -turn))
	s.light = 4 * turn * turn / math.Abs(dx.X*dy.Y-dx.Y*dy.X)
	return s
}
