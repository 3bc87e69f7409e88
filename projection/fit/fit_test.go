package fit_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/platewright/internal/same"
	"example.com/platewright/projection"
	"example.com/platewright/projection/fit"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// rigs is how many random rigs are simulated.
var rigs = flag.Int("rigs", 20, "random `rigs` to measure")

// must fails the test on an error and passes the value on.
func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// waterfront is a real sphere in linear light, three channels, 1 at most.
var waterfront = sync.OnceValues(func() ([][3]float64, error) {
	img, err := same.Waterfront()
	if err != nil {
		return nil, err
	}
	out := make([][3]float64, 512*256)
	for i := range out {
		r, g, b, _ := img.At(i%512, i/512).RGBA()
		out[i] = [3]float64{float64(r) / 65535, float64(g) / 65535, float64(b) / 65535}
	}
	return out, nil
})

// world is what the cameras see: the real sphere, turned, times a smooth random field of
// another strength in each channel.
type world struct {
	sphere [][3]float64
	turn   float64
	lobes  [6]r3.Vec
	colour [6][3]float64
}

func newWorld(t testing.TB, r *rand.Rand) *world {
	w := &world{sphere: must[[][3]float64](t)(waterfront()), turn: 512 * r.Float64()}
	for i := range w.lobes {
		w.lobes[i] = r3.Vec{X: 3 * r.NormFloat64(), Y: 3 * r.NormFloat64(), Z: 3 * r.NormFloat64()}
		base := 0.2 * r.NormFloat64()
		for c := range w.colour[i] {
			w.colour[i][c] = base + 0.05*r.NormFloat64()
		}
	}
	return w
}

// detail is the light of a direction without the smooth field, white being 1.
func (w *world) detail(d r3.Vec) (light [3]float64) {
	x := math.Atan2(d.X, -d.Z)/(2*math.Pi)*512 + 768 + w.turn
	y := min(max((0.5-math.Asin(min(max(d.Y, -1), 1))/math.Pi)*256-0.5, 0), 254.999)
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	a, b := w.sphere[j*512+i%512], w.sphere[j*512+(i+1)%512]
	c, e := w.sphere[(j+1)*512+i%512], w.sphere[(j+1)*512+(i+1)%512]
	for k := range light {
		light[k] = 2.5 * ((a[k]*(1-fx)+b[k]*fx)*(1-fy) + (c[k]*(1-fx)+e[k]*fx)*fy)
	}
	return light
}

// field is the smooth field.
func (w *world) field(d r3.Vec) (factor [3]float64) {
	for k, l := range w.lobes {
		s := math.Sin(r3.Dot(l, d))
		for c := range factor {
			factor[c] += w.colour[k][c] * s
		}
	}
	for c := range factor {
		factor[c] = math.Exp(factor[c])
	}
	return factor
}

// post is a near thing: a disc that each camera sees in another direction.
type post struct {
	dir     r3.Vec
	radius2 float64
	light   [3]float64
}

// shot is one camera of a simulated rig: where it is thought to be, and how it is.
type shot struct {
	camera, real projection.Camera
	stops        [3]float64    // by which it is too bright
	turned       [3]unit.Angle // heading, elevation and roll of real in the frame of camera
	posts        []post
}

const (
	side  = 180 // px
	reach = 84  // degrees from the axis that a lens sees
)

func newShot(t testing.TB, r *rand.Rand, heading, turned unit.Angle) shot {
	t.Helper()
	spec := projection.CameraSpec{
		Model: projection.Equidistant, Width: side, Height: side, MaxAngle: reach * projection.Degree,
		OffsetX: 3 * r.NormFloat64(), OffsetY: 3 * r.NormFloat64(),
		Pose: projection.Pose{Heading: heading, Elevation: unit.Angle(r.NormFloat64()) * 5 * projection.Degree, Roll: unit.Angle(r.NormFloat64()) * 5 * projection.Degree},
	}
	spec.FocalX = side / 2 / (reach * math.Pi / 180) * (0.95 + 0.1*r.Float64())
	spec.FocalY = spec.FocalX
	s := shot{camera: must[projection.Camera](t)(projection.NewCamera(spec))}
	for k := range s.turned {
		s.turned[k] = unit.Angle(r.NormFloat64()) * turned
	}
	spec.Pose = spec.Pose.Compose(projection.Pose{Heading: s.turned[0], Elevation: s.turned[1], Roll: s.turned[2]})
	s.real = must[projection.Camera](t)(projection.NewCamera(spec))
	return s
}

// falloff is how dark the simulated lenses are beside the centre.
func falloff(x, y float64) float64 {
	x, y = x/side-0.5, y/side-0.5
	return 1 - 0.5*(x*x+y*y)
}

// render is what the camera records: the mean of 2 × 2 directions a pixel, with noise of
// 1 % at white that falls with the root of light, and clipped.
func (s shot) render(w *world, r *rand.Rand) fit.Plate[uint16] {
	const black, white = 1024.0, 60000.0
	pix := make([]uint16, 3*side*side)
	var gain [3]float64
	for c := range gain {
		gain[c] = math.Exp2(s.stops[c])
	}
	for j := range side {
		for i := range side {
			var light [3]float64
			f := falloff(float64(i)+0.5, float64(j)+0.5)
			if middle, ok := s.real.Unproject(float64(i)+0.5, float64(j)+0.5); ok {
				field := w.field(middle)
				for k := range 4 {
					d, _ := s.real.Unproject(float64(i)+0.25+0.5*float64(k%2), float64(j)+0.25+0.5*float64(k/2))
					l := w.detail(d)
					for _, p := range s.posts {
						if r3.Norm2(r3.Sub(d, p.dir)) < p.radius2 {
							l = p.light
						}
					}
					for c := range light {
						light[c] += l[c] * field[c] * f / 4
					}
				}
			}
			for c, l := range light {
				l *= gain[c]
				l += 0.01*math.Sqrt(l)*r.NormFloat64() + 0.001*r.NormFloat64()
				pix[3*(j*side+i)+c] = uint16(math.Round(min(max(black+(white-black)*l, 0), white)))
			}
		}
	}
	p := fit.Plate[uint16]{Camera: s.camera, Falloff: falloff, Black: black, White: white}
	for c := range 3 {
		p.Channels = append(p.Channels, fit.Plane[uint16]{Pix: pix[c:], Width: side, Height: side, Step: 3})
	}
	return p
}

// rig is two to five cameras round a vehicle, the pairs of neighbours, and a plate of each
// camera. In every second rig one camera is 1/3 stop and 4 % in blue off, and all others
// are alike; otherwise all differ.
type rig struct {
	shots  []shot
	pairs  [][2]int
	plates []fit.Plate[uint16]
	off    int // the camera, or −1
}

var simulated = map[int]*rig{}

// simulate gives the rig of a seed.
func simulate(t testing.TB, seed int) *rig {
	t.Helper()
	if g := simulated[seed]; g != nil {
		return g
	}
	r := rand.New(rand.NewPCG(uint64(seed), 1))
	w := newWorld(t, r)
	g := &rig{off: -1}
	n := 2 + seed/2%4
	apart, start := 360/float64(n), r.Float64()*360
	if n < 4 {
		apart = 70
	}
	if seed%2 == 1 {
		g.off = r.IntN(n)
	}
	for i := range n {
		s := newShot(t, r, unit.Angle(math.Mod(start+apart*float64(i), 360))*projection.Degree, 0.4*projection.Degree)
		exposure := 0.2 * r.NormFloat64()
		for c := range s.stops {
			s.stops[c] = exposure + 0.05*r.NormFloat64()
			if seed%2 == 1 {
				s.stops[c] = 0
			}
		}
		if i == g.off {
			s.stops = [3]float64{1. / 3, 1. / 3, 1./3 + math.Log2(1.04)}
		}
		g.shots = append(g.shots, s)
		if i > 0 {
			g.pairs = append(g.pairs, [2]int{i - 1, i})
		}
	}
	if n > 3 {
		g.pairs = append(g.pairs, [2]int{n - 1, 0})
	}
	for range 6 {
		d := projection.Direction(unit.Angle(r.Float64()*2*math.Pi), unit.Angle(0.5*r.NormFloat64()))
		radius, light := 0.02+0.06*r.Float64(), 0.05+0.5*r.Float64()
		for i := range g.shots {
			moved := r3.Unit(r3.Add(d, r3.Vec{X: 0.04 * r.NormFloat64(), Y: 0.01 * r.NormFloat64(), Z: 0.04 * r.NormFloat64()}))
			g.shots[i].posts = append(g.shots[i].posts, post{moved, radius * radius, [3]float64{light, light, 0.7 * light}})
		}
	}
	for _, s := range g.shots {
		g.plates = append(g.plates, s.render(w, r))
	}
	if seed < 20 {
		simulated[seed] = g
	}
	return g
}

// hides reports whether one of the near things is in the patch of a shift.
func (g *rig) hides(pair [2]int, s fit.Shift) bool {
	for _, i := range pair {
		for _, p := range g.shots[i].posts {
			if r3.Norm(r3.Sub(p.dir, s.Dir)) < math.Sqrt(p.radius2)+0.2 {
				return true
			}
		}
	}
	return false
}

// tally counts how often the truth lies within three uncertainties, and the mean error
// in uncertainties.
type tally struct {
	n, within    int
	sum, squares float64
}

func (s *tally) add(e fit.Estimate, truth float64) {
	z := (e.Value - truth) / e.Uncertainty
	s.n++
	s.sum += z
	s.squares += z * z
	if math.Abs(z) <= 3 {
		s.within++
	}
}

// outside is the share of measurements that the truth is farther from than three
// uncertainties.
func (s *tally) outside() float64 { return float64(s.n-s.within) / float64(s.n) }

// bias is the mean error in uncertainties, less what so few measurements leave.
func (s *tally) bias() float64 {
	n := float64(s.n)
	return max(0, math.Abs(s.sum/n)-2/math.Sqrt(n))
}

// deviation is that of errors in uncertainties.
func (s *tally) deviation() float64 { return math.Sqrt(s.squares / float64(s.n)) }

// log prints what was counted.
func (s *tally) log(t testing.TB, what string) {
	t.Helper()
	t.Logf("%-12s %d of %d within three, mean error %+.2f, deviation %.2f", what, s.within, s.n, s.sum/float64(s.n), s.deviation())
}
