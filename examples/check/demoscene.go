package main

import (
	"context"
	"math"

	"example.com/platewright/examples/internal/harbour"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// rgb is light: 1 is the brightest part of the harbour's sky.
type rgb = [3]float64

// sphere is the light of the harbour in all directions: six faces of a cube around the
// eye, of side × side texels each. A texel is the mean light over its area. Each face
// has a border of one texel, so that interpolation needs no other face.
type sphere struct {
	side  int
	faces [6][][3]float32
}

// cubeFaces are, for each face of the cube, its middle and the directions of its columns and
// rows. sphere.at knows their order and signs.
var cubeFaces = [6][3]r3.Vec{
	{{X: 1}, {Y: 1}, {Z: 1}}, {{X: -1}, {Y: 1}, {Z: 1}},
	{{Y: 1}, {X: 1}, {Z: 1}}, {{Y: -1}, {X: 1}, {Z: 1}},
	{{Z: 1}, {X: 1}, {Y: 1}}, {{Z: -1}, {X: 1}, {Y: 1}},
}

// newSphere looks at the harbour. Where it has detail, the light of a texel is taken at
// points at most 0.06° apart: its finest detail is 0.05° wide.
func newSphere(ctx context.Context, side int) (*sphere, error) {
	scene := harbour.New()
	s := &sphere{side: side}
	for i := range s.faces {
		s.faces[i] = make([][3]float32, (side+2)*(side+2))
	}
	points := int(math.Ceil(90 / float64(side) / 0.06))
	err := parallel.Until(ctx, 6*(side+2), func(i int) {
		face, row := i/(side+2), i%(side+2)
		axes := cubeFaces[face]
		dir := func(column, row float64) r3.Vec {
			u, v := 2*column/float64(side)-1, 2*row/float64(side)-1
			return r3.Unit(r3.Add(axes[0], r3.Add(r3.Scale(u, axes[1]), r3.Scale(v, axes[2]))))
		}
		for column := range side + 2 {
			left, top := float64(column-1), float64(row-1)
			n := 1
			for _, corner := range [...][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
				if !scene.Smooth(dir(left+corner[0], top+corner[1])) {
					n = points
				}
			}
			var sum rgb
			for k := range n * n {
				d := dir(left+(float64(k%n)+0.5)/float64(n), top+(float64(k/n)+0.5)/float64(n))
				light, weather := scene.Radiance(d), 1.0
				if n == 1 {
					weather = fleece(d)
				}
				for c := range sum {
					sum[c] += weather * light[c]
				}
			}
			for c := range sum {
				s.faces[face][row*(side+2)+column][c] = float32(sum[c] / float64(n*n))
			}
		}
	})
	return s, err
}

// fleece is by how much small clouds, and gusts on the water, brighten or darken the scene
// in a direction. They lie in patches: much of the sky stays smooth.
func fleece(d r3.Vec) float64 {
	patch := min(max(8*(solidNoise(r3.Scale(3.5, d), 1)-0.5), 0), 1)
	grain := 0.65*solidNoise(r3.Scale(38, d), 2) + 0.35*solidNoise(r3.Scale(17, d), 3)
	return 1 + 1.8*patch*(grain-0.5)
}

// solidNoise is smooth noise in space, 0 to 1, with nodes at whole numbers.
func solidNoise(p r3.Vec, seed uint32) (sum float64) {
	x, y, z := math.Floor(p.X), math.Floor(p.Y), math.Floor(p.Z)
	ease := func(t float64) float64 { return t * t * (3 - 2*t) }
	u, v, w := ease(p.X-x), ease(p.Y-y), ease(p.Z-z)
	for k := range 8 {
		i, j, l := k&1, k>>1&1, k>>2
		h := uint32(int(x)+i)*0x9e3779b1 ^ uint32(int(y)+j)*0x85ebca6b ^ uint32(int(z)+l)*0xc2b2ae35 ^ seed*0x27d4eb2f
		h = (h ^ h>>15) * 0x2c1b3c6d
		h = (h ^ h>>12) * 0x297a2d39
		weight := (1 - u + float64(i)*(2*u-1)) * (1 - v + float64(j)*(2*v-1)) * (1 - w + float64(l)*(2*w-1))
		sum += weight * float64(h^h>>15) * 0x1p-32
	}
	return sum
}

// at is the light from a direction of any length but 0.
func (s *sphere) at(d r3.Vec) (light rgb) {
	x, y, z := math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)
	var face int
	var u, v, depth float64
	switch {
	case x >= y && x >= z:
		face, u, v, depth = 0, d.Y, d.Z, d.X
	case y >= z:
		face, u, v, depth = 2, d.X, d.Z, d.Y
	default:
		face, u, v, depth = 4, d.X, d.Y, d.Z
	}
	if depth < 0 {
		face, depth = face+1, -depth
	}
	half := float64(s.side) / 2
	// 1 for the border, less half a texel: texels stand for their middles.
	a, b := (u/depth+1)*half+0.5, (v/depth+1)*half+0.5
	i, j := int(a), int(b)
	a, b = a-float64(i), b-float64(j)
	stride := s.side + 2
	at := j*stride + i
	texels := s.faces[face]
	upper, lower := texels[at:at+2:at+2], texels[at+stride:at+stride+2:at+stride+2]
	for c := range light {
		top := float64(upper[0][c])*(1-a) + float64(upper[1][c])*a
		bottom := float64(lower[0][c])*(1-a) + float64(lower[1][c])*a
		light[c] = top + (bottom-top)*b
	}
	return light
}

// attitude is how the vessel lies at a time: it yaws, pitches and rolls by a few degrees.
// What it shows of the harbour moves by some 3° a second.
func attitude(t float64) projection.Pose {
	swing := func(degrees, period, phase float64) unit.Angle {
		return unit.Angle(degrees*math.Sin(2*math.Pi*(t/period+phase))) * deg
	}
	return projection.Pose{Heading: swing(4, 7, 0.4), Elevation: swing(1.5, 4.1, 0.1), Roll: swing(2.5, 5.2, 0.7)}
}

// rotation turns directions of the vessel's frame into those of the harbour's.
type rotation struct{ right, up, back r3.Vec }

func rotationOf(p projection.Pose) rotation {
	return rotation{p.ToStage(r3.Vec{X: 1}), p.ToStage(r3.Vec{Y: 1}), p.ToStage(r3.Vec{Z: 1})}
}

func (r *rotation) apply(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*r.right.X + v.Y*r.up.X + v.Z*r.back.X,
		Y: v.X*r.right.Y + v.Y*r.up.Y + v.Z*r.back.Y,
		Z: v.X*r.right.Z + v.Y*r.up.Z + v.Z*r.back.Z,
	}
}

// The lamps over the deck light the haze about the vessel. Their light is that of a
// filament or tube on alternating current, 1 + cos(2π · lampRate · t) times a mean. Haze
// is even in all directions.
var (
	lampTint = rgb{0.060, 0.050, 0.034}
	hazeTint = rgb{0.036, 0.034, 0.031}
)

const lampRate = 800 // Hz, twice the rate of the vessel's supply

// lamp is the mean of 1 + cos(2π · lampRate · t) from a time on for an exposure.
func lamp(from, exposure float64) float64 {
	const w = 2 * math.Pi * lampRate
	return 1 + (math.Sin(w*(from+exposure))-math.Sin(w*from))/(w*exposure)
}

// sweeps are when a light on the shore sweeps over the haze: middle, standard deviation in
// seconds, and strength. They last several frames: what is shorter leaves no trace of when
// it was within a frame.
var sweeps = [...][3]float64{
	{-0.30, 0.22, 0.9}, {0.33, 0.19, 1}, {0.93, 0.22, 0.5}, {1.47, 0.18, 0.9}, {2.12, 0.20, 1}, {2.72, 0.21, 0.5}, {3.30, 0.19, 0.9},
}

// swept is the mean strength of the sweeps from a time on for an exposure.
func swept(from, exposure float64) (mean float64) {
	for _, s := range sweeps {
		area := func(t float64) float64 { return math.Sqrt(math.Pi/2) * s[1] * math.Erf((t-s[0])/s[1]/math.Sqrt2) }
		mean += s[2] * (area(from+exposure) - area(from)) / exposure
	}
	return mean
}

// quayLamp is a round lamp near by, of even light.
type quayLamp struct {
	dir    r3.Vec  // of the harbour's frame
	radius float64 // rad
	light  rgb
}

// cover is the fraction of a photosite of an angular width, in rad, that the lamp fills.
func (q *quayLamp) cover(d r3.Vec, width float64) float64 {
	away := r3.Norm2(r3.Sub(d, q.dir))
	if most := q.radius + width; away > most*most {
		return 0
	}
	return min(max((q.radius-math.Sqrt(away))/width+0.5, 0), 1)
}
