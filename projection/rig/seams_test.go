package rig_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// seamTolerance is what Seams promises of the arcs between points.
const seamTolerance = 0.01 * math.Pi / 180

// Two caps of equal cameras join along the great circle half-way between them.
func TestSeamsOfCaps(t *testing.T) {
	near.NumbersOnly(t)
	for _, e := range []struct{ alpha, beta float64 }{{80, 35}, {40, 30}, {100, 60}, {60, 5}} {
		left := round(t, projection.Equidistant, 500, unit.Angle(e.alpha)*deg, unit.Angle(150-e.beta)*deg)
		right := round(t, projection.Equidistant, 500, unit.Angle(e.alpha)*deg, unit.Angle(150+e.beta)*deg)
		a := array(t, left, right)
		seams := a.Seams()
		require.Len(t, seams, 1, "%v", e)
		s := seams[0]
		require.Equal(t, [4]any{0, 1, false, false}, [4]any{s.A, s.B, s.Cut, s.Closed})
		alpha, beta := e.alpha*math.Pi/180, e.beta*math.Pi/180
		half := math.Acos(math.Cos(alpha) / math.Cos(beta))
		ref.Near(t, "P-M1", float64(s.Length()), 2*half, e)
		n := len(s.Points)
		// The left camera's side is to the left of the way, so it leads up.
		ref.Near(t, "P-M1", r3.Norm(r3.Sub(s.Points[0].Dir, trial.Toward(150, -half*180/math.Pi))), 0, e, "lower end")
		ref.Near(t, "P-M1", r3.Norm(r3.Sub(s.Points[n-1].Dir, trial.Toward(150, half*180/math.Pi))), 0, e, "upper end")
		for _, p := range s.Points {
			ref.Near(t, "P-M1", r3.Dot(p.Dir, trial.Toward(60, 0)), 0, e, "off the great circle")
			// At right angles from the elevation φ a cap's rim is where
			// cos α = cos β cos φ cos(width) − sin β sin(width).
			if phi := math.Atan2(p.Dir.Y, r3.Dot(p.Dir, trial.Toward(150, 0))); math.Abs(phi) < half-1e-3 {
				across := math.Atan2(math.Sin(beta), math.Cos(beta)*math.Cos(phi))
				width := math.Acos(math.Cos(alpha)/math.Hypot(math.Sin(beta), math.Cos(beta)*math.Cos(phi))) - across
				ref.Near(t, "P-M3", float64(p.IntoA), width, e, phi)
				ref.Near(t, "P-M3", float64(p.IntoB), width, e, phi)
			}
		}
		// By Gauss and Bonnet: 2π less the turns of the two arcs and of the two tips.
		gamma, omega := math.Acos(math.Tan(beta)/math.Tan(alpha)), 2*math.Asin(math.Sin(beta)/math.Sin(alpha))
		shared, err := a.Shared(1, 0, 1e-4)
		require.NoError(t, err)
		require.True(t, shared.OK && shared.Error <= 1e-4, "%v: %+v", e, shared)
		want := 2*math.Pi - 4*gamma*math.Cos(alpha) - 2*omega
		ref.Near(t, "P-M4", shared.Value, want, e)
	}
}

// Cameras of different pixels, one within the other, and up against a ring.
func TestSeamsThatClose(t *testing.T) {
	near.NumbersOnly(t)
	// Of caps about one axis the margins are equal where 500 (100° − θ) is
	// 1000 (30° − θ)·k: on a circle.
	outer, inner := round(t, projection.Equidistant, 500, 100*deg, 0), round(t, projection.Equidistant, 4000, 30*deg, 0)
	theta := (4000*30 - 500*100) / 3500.0 * math.Pi / 180
	for i, a := range []rig.Rig{array(t, outer, inner), array(t, inner, outer)} {
		seams := a.Seams()
		require.Len(t, seams, 1)
		s := seams[0]
		require.True(t, s.Closed && !s.Cut && s.A == 0 && s.B == 1, "%+v", s)
		ref.Near(t, "P-M5", float64(s.Length()), 2*math.Pi*math.Sin(theta))
		for k, p := range s.Points {
			q := s.Points[(k+1)%len(s.Points)]
			ref.Near(t, "P-M6", math.Acos(-p.Dir.Z), theta)
			// Anticlockwise, seen from the stage, around what is on the left.
			turn := r3.Cross(p.Dir, q.Dir).Z * float64(1-2*i)
			require.True(t, turn <= 0, "array %d: the way from %v to %v is clockwise", i, p.Dir, q.Dir)
			in, out := p.IntoA, p.IntoB // the outer camera sees all of the inner's side, and more
			if i == 0 {
				in, out = out, in
			}
			assert.InDelta(t, math.Pi*100/180+theta, float64(in), 1e-4, "inwards: the way leads through the middle, in a direction known as the points are apart")
			assert.InDelta(t, math.Pi*30/180-theta, float64(out), 1e-4, "outwards: the same")
		}
	}
	// One that sees less of what another sees, with no greater margin, has no seam.
	require.Empty(t, array(t, outer, round(t, projection.Equidistant, 500, 30*deg, 0)).Seams())
	// Equal margins all over: the first has it all.
	require.Empty(t, array(t, outer, outer, outer).Seams())
	// So it does where rounding tells them apart.
	require.Empty(t, array(t, outer, round(t, projection.Equidistant, 500, 100*deg, 360*deg), round(t, projection.Equidistant, 500, 100*deg, -360*deg)).Seams())
	// The faces of a cube see no direction twice.
	require.Empty(t, array(t, cube(t)[0], cube(t)[2]).Seams())
	require.Empty(t, array(t, outer).Seams())
	require.Empty(t, rig.Rig{}.Seams())
}

// Equal caps share the sphere as the nearest axis does. Of four around a point that
// are not quite equally far from it, the two that are nearer join for a short way.
func TestShortSeams(t *testing.T) {
	const far, close = 20.5 * math.Pi / 180, 20 * math.Pi / 180
	var caps []projection.Camera
	for _, at := range [][2]float64{{far, 0}, {0, close}, {-far, 0}, {0, -close}} {
		caps = append(caps, trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 500, FocalY: 500, Width: 5000, Height: 5000, MaxAngle: 50 * deg,
			Pose: projection.Pose{Heading: unit.Angle(at[0]), Elevation: unit.Angle(at[1])}}))
	}
	// x along the horizon the farther axis is as near: cos(far − x) = cos x cos close.
	x := math.Atan((math.Cos(close) - math.Cos(far)) / math.Sin(far))
	seams := array(t, caps...).Seams()
	require.Len(t, seams, 5)
	require.Equal(t, [2]int{1, 3}, [2]int{seams[3].A, seams[3].B})
	ref.Near(t, "P-M7", float64(seams[3].Length()), 2*x)
}

// What hides a direction from one camera makes a seam of the shadow's edge, and
// what hides it from both an end.
func TestSeamsOfShadows(t *testing.T) {
	near.NumbersOnly(t)
	left, right := round(t, projection.Equidistant, 500, 80*deg, -40*deg), round(t, projection.Equidistant, 500, 80*deg, 40*deg)
	ball := func(d r3.Vec, distance, radius float64) rig.Ball {
		return rig.Ball{Centre: r3.Scale(distance, d), Radius: unit.Length(distance * math.Sin(radius*math.Pi/180))}
	}
	cameras := []projection.Camera{left, right}
	whole := array(t, cameras...).Seams()
	require.Len(t, whole, 1)
	seams := arrayOf(t, rig.Spec{Cameras: cameras, Balls: []rig.Ball{ball(trial.Toward(0, 10), 2, 5)}}).Seams()
	require.Len(t, seams, 2)
	ends := map[string]r3.Vec{"upper": seams[0].Points[0].Dir, "lower": seams[1].Points[len(seams[1].Points)-1].Dir}
	if ends["upper"].Y < ends["lower"].Y {
		ends["upper"], ends["lower"] = seams[1].Points[0].Dir, seams[0].Points[len(seams[0].Points)-1].Dir
	}
	ref.Near(t, "P-M2", r3.Norm(r3.Sub(ends["upper"], trial.Toward(0, 15))), 0)
	ref.Near(t, "P-M2", r3.Norm(r3.Sub(ends["lower"], trial.Toward(0, 5))), 0)
	// Beside the seam it hides what nobody needs the other for.
	require.Len(t, arrayOf(t, rig.Spec{Cameras: cameras, Balls: []rig.Ball{ball(trial.Toward(12, 0), 2, 5)}}).Seams(), 1)

	// A camera that stands apart sees behind.
	apart := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 500, FocalY: 500, Width: 1 << 16, Height: 1 << 16, MaxAngle: 80 * deg,
		Pose: projection.Pose{Heading: 40 * deg, Position: r3.Vec{X: 100}}})
	for i, pair := range [][]projection.Camera{{left, apart}, {apart, left}} {
		seams = arrayOf(t, rig.Spec{Cameras: pair, Balls: []rig.Ball{ball(trial.Toward(-20, 10), 2, 5)}}).Seams()
		require.Len(t, seams, 2)
		require.Equal(t, [4]bool{false, true, false, true}, [4]bool{seams[0].Cut, seams[1].Cut, seams[0].Closed, seams[1].Closed})
		ref.Near(t, "P-M5", float64(seams[1].Length()), 2*math.Pi*math.Sin(5*math.Pi/180))
		for _, p := range seams[1].Points {
			ref.Near(t, "P-M6", math.Acos(r3.Dot(p.Dir, trial.Toward(-20, 10))), 5*math.Pi/180)
			into, beyond := p.IntoA, p.IntoB
			if i == 1 {
				into, beyond = beyond, into
			}
			require.True(t, into > 10*deg && beyond < 1e-6, "the one hidden sees %v into the shadow, the other %v out of it", beyond, into)
		}
	}
}

// Of a shadow hardly wider than the grid the seam is the whole circle.
func TestSeamsOfSmallShadows(t *testing.T) {
	t.Parallel()
	near.NumbersOnly(t)
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 500, FocalY: 500, Width: 5000, Height: 5000, MaxAngle: 100 * deg}
	left := trial.Camera(t, spec)
	spec.Pose = projection.Pose{Heading: 80 * deg, Position: r3.Vec{X: 100}}
	right := trial.Camera(t, spec)
	rng := rand.New(rand.NewPCG(67, 68))
	for range 8 {
		d := trial.Toward(30*rng.Float64()-15, 40*rng.Float64()-20)
		radius := 0.5 + rng.Float64()/3
		ball := rig.Ball{Centre: r3.Scale(2, d), Radius: unit.Length(2 * math.Sin(radius*math.Pi/180))}
		seams := arrayOf(t, rig.Spec{Cameras: []projection.Camera{left, right}, Balls: []rig.Ball{ball}}).Seams()
		require.Len(t, seams, 2, "%v", radius)
		require.True(t, seams[1].Cut && seams[1].Closed)
		// Inscribed, within 0.01°.
		assert.InEpsilon(t, 2*math.Pi*math.Sin(radius*math.Pi/180), float64(seams[1].Length()), 2e-3, "length at %v°: a height of 0.0025° in arcs of a circle of half a degree", radius)
	}
}

// plates is an array as someone would see it who asks one direction after the other.
type plates struct {
	cameras []projection.Camera
	at      []r3.Vec // where they stand
	alone   []rig.Rig
}

func (p plates) margin(i int, d r3.Vec) float64 {
	x, y, ok := p.cameras[i].Project(d)
	if !ok {
		return math.Inf(-1)
	}
	return p.cameras[i].Margin(x, y)
}

// owner is the camera of the greatest margin, of those that see a direction.
func (p plates) owner(d r3.Vec) int {
	owner, most := -1, 0.0
	for i := range p.cameras {
		if m := p.margin(i, d); m > most && p.alone[i].Count(d) == 1 {
			owner, most = i, m
		}
	}
	return owner
}

// someRig is a rig of random cameras of all kinds, among occluders.
func someRig(t testing.TB, rng *rand.Rand, cameras int) (rig.Rig, plates) {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	vec := func(size float64) r3.Vec {
		return r3.Scale(size, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	}
	var spec rig.Spec
	var p plates
	for range cameras {
		var m projection.Model = projection.Rectilinear + projection.Form(rng.IntN(5))
		var distortion projection.Distortion
		switch rng.IntN(5) {
		case 0:
			poly, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, between(-0.1, 0.1), between(-0.02, 0.02)}})
			require.NoError(t, err)
			m = poly
		case 1:
			points := make([]projection.TablePoint, 9)
			for i := range points {
				theta := 0.2 * float64(i+1)
				points[i] = projection.TablePoint{Angle: unit.Angle(theta), Height: 2.2*math.Sin(theta/2.2) + between(-0.004, 0.004)}
			}
			table, err := projection.NewTable(points)
			require.NoError(t, err)
			m = table
		case 2:
			m, distortion = projection.Rectilinear, brownConrady(t, rng)
		}
		f := between(1500, 4000)
		c := projection.CameraSpec{Model: m, Distortion: distortion, FocalX: f, FocalY: f * between(0.8, 1.2), Pitch: 5e-6,
			Width: 2000 + rng.IntN(8000), Height: 2000 + rng.IntN(6000), OffsetX: between(-300, 300), OffsetY: between(-300, 300),
			Pose: projection.Pose{Position: vec(0.2), Heading: unit.Angle(between(-3, 3)), Elevation: unit.Angle(between(-1, 1.5)), Roll: unit.Angle(between(-3, 3))}}
		if rng.IntN(2) == 0 {
			c.ImageCircle = unit.Length(5e-6 * f * between(1.5, 3))
		}
		spec.Cameras = append(spec.Cameras, trial.Camera(t, c))
		p.at = append(p.at, c.Pose.Position)
	}
	for range rng.IntN(4) {
		spec.Balls = append(spec.Balls, rig.Ball{Centre: r3.Add(r3.Scale(2, r3.Unit(vec(1))), vec(0.2)), Radius: unit.Length(between(0.1, 0.4))})
	}
	for range rng.IntN(4) {
		spec.Boxes = append(spec.Boxes, metres(projection.Pose{Position: r3.Add(r3.Scale(3, r3.Unit(vec(1))), vec(0.2)), Heading: unit.Angle(between(-3, 3)), Roll: 1},
			between(0.2, 0.8), between(0.2, 3), between(0.2, 0.8)))
	}
	p.cameras = spec.Cameras
	for _, c := range spec.Cameras {
		one := spec
		one.Cameras = []projection.Camera{c}
		p.alone = append(p.alone, arrayOf(t, one))
	}
	return arrayOf(t, spec), p
}

// sampledRigs are the ferry's level rig, whose borders cross themselves, and random ones,
// with their seams, which take long to find.
func sampledRigs(t testing.TB) []sampledRig {
	sampled.Do(func() {
		rng := rand.New(rand.NewPCG(70, 62))
		level := plates{cameras: ferry(t)}
		for _, c := range level.cameras {
			level.alone = append(level.alone, array(t, c))
		}
		a := array(t, level.cameras...)
		sampled.rigs = append(sampled.rigs, sampledRig{a, level, a.Seams()})
		for range 7 {
			a, p := someRig(t, rng, 2+rng.IntN(6))
			sampled.rigs = append(sampled.rigs, sampledRig{a, p, a.Seams()})
		}
	})
	return sampled.rigs
}

type sampledRig struct {
	rig.Rig
	plates
	seams []rig.Seam
}

var sampled struct {
	sync.Once
	rigs []sampledRig
}

// fromSeam is the distance of a direction from a seam.
func fromSeam(s rig.Seam, d r3.Vec) float64 {
	least := math.Inf(1)
	n := len(s.Points)
	for i := range n {
		p, q := s.Points[i].Dir, s.Points[(i+1)%n].Dir
		if i == n-1 && !s.Closed {
			q = p
		}
		// In the plane that touches the sphere at d, for what is near.
		u, v := r3.Sub(p, d), r3.Sub(q, d)
		w := r3.Sub(v, u)
		at := 0.0
		if l := r3.Norm2(w); l > 0 {
			at = max(0, min(1, -r3.Dot(u, w)/l))
		}
		least = min(least, r3.Norm(r3.Add(u, r3.Scale(at, w))))
	}
	return least
}

// around is directions on circles about d.
func around(d r3.Vec, radius float64, n int) []r3.Vec {
	x := r3.Unit(r3.Cross(d, r3.Vec{X: 1, Y: 0.1}))
	y := r3.Cross(d, x)
	var all []r3.Vec
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		all = append(all, r3.Unit(r3.Add(d, r3.Scale(radius, r3.Add(r3.Scale(cos, x), r3.Scale(sin, y))))))
	}
	return all
}

// Wherever two neighbouring directions belong to two cameras there is a seam of the
// two between them; and wherever there is a seam, its two cameras are on its two
// sides.
func TestSeamsAgainstSampling(t *testing.T) {
	t.Parallel()
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(70, 62))
	found, cut, slips, points, sharp := 0, 0, 0, 0, 0
	for k, p := range sampledRigs(t) {
		seams := p.seams
		for range 16_000 {
			d := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
			e := around(d, 0.02, 1)[0]
			from, to := p.owner(d), p.owner(e)
			if from == to {
				continue
			}
			in, out := d, e
			for range 40 {
				m := r3.Unit(r3.Add(in, out))
				if p.owner(m) == from {
					in = m
				} else {
					out = m
				}
			}
			if to = p.owner(out); from < 0 || to < 0 {
				continue
			}
			found++
			pair := [2]int{min(from, to), max(from, to)}
			shadow := p.alone[from].Count(out) == 0 || p.alone[to].Count(in) == 0
			if shadow {
				cut++
			}
			least := math.Inf(1)
			for _, s := range seams {
				if s.A == pair[0] && s.B == pair[1] && s.Cut == shadow {
					least = min(least, fromSeam(s, in))
				}
			}
			if least <= seamTolerance {
				continue
			}
			slips++
			lon, lat := trial.LonLat(in)
			t.Logf("rig %d: at (%.2f°, %.2f°) cameras %v join, cut %v: the nearest seam of theirs is %.3g° away", k, lon, lat, pair, shadow, least*180/math.Pi)
		}
		for i, s := range seams {
			if i > 0 {
				if q := seams[i-1]; q.A > s.A || q.A == s.A && q.B > s.B || q.A == s.A && q.B == s.B && q.Cut && !s.Cut {
					t.Errorf("rig %d: out of order at %d", k, i)
				}
			}
			for j, at := range s.Points {
				if k > 0 && j%7 != 0 && j > 2 && j < len(s.Points)-3 {
					continue
				}
				points++
				require.True(t, math.Abs(r3.Norm(at.Dir)-1) <= 1e-15*4, "a direction of length %v", r3.Norm(at.Dir))
				// A point is on the border to 1e-9, or has equal margins that hardly differ
				// around it; an arc to the tolerance.
				both := func(d r3.Vec, radius float64) bool {
					var seen [2]bool
					for _, n := range []int{12, 1440} { // there are narrow wedges
						for _, e := range around(d, radius, n) {
							o := p.owner(e)
							seen[0], seen[1] = seen[0] || o == s.A, seen[1] || o == s.B
							if seen[0] && seen[1] {
								return true
							}
						}
					}
					return false
				}
				if !both(at.Dir, 3e-9) && !(math.Abs(p.margin(s.A, at.Dir)-p.margin(s.B, at.Dir)) < 1e-8 && both(at.Dir, 1e-6)) {
					t.Errorf("rig %d, seam %d of %d and %d, cut %v, point %d of %d: not both own what is around", k, i, s.A, s.B, s.Cut, j, len(s.Points))
				}
				next := j + 1
				if next == len(s.Points) {
					if !s.Closed {
						continue
					}
					next = 0
				}
				w := 0.1 + 0.8*rng.Float64()
				q := s.Points[next].Dir
				if gap := r3.Norm(r3.Sub(q, at.Dir)); gap > 0.02 {
					t.Errorf("rig %d, seam %d: points %.3g° apart", k, i, gap*180/math.Pi)
				}
				if m := r3.Unit(r3.Add(r3.Scale(1-w, at.Dir), r3.Scale(w, q))); !both(m, seamTolerance) && !both(m, seamTolerance/2) {
					assert.True(t, both(m, 3e-3), "rig %d, seam %d of %d and %d, cut %v, arc %d of %d: not both own what is around", k, i, s.A, s.B, s.Cut, j, len(s.Points))
					sharp++
				}
			}
		}
	}
	t.Logf("%d joins sampled, %d of shadows, %d without a seam; %d points, %d arcs off their corner", found, cut, slips, points, sharp)
	// A corner within a triangle of the grid may be cut, and a territory slip through.
	assert.True(t, slips <= found/1000 && sharp <= points/1000, "too many")
	assert.True(t, found >= 600 && cut >= 30, "the test has lost its grip")
}

// The overlap at a point is where the other camera first loses sight at right angles
// to the seam.
func TestSeamOverlapAgainstSampling(t *testing.T) {
	t.Parallel()
	near.NumbersOnly(t)
	checked := 0
	const rim = 3e-6 // at 90° an orthographic image height stands still: its 1e-12 px are as much
	for _, p := range sampledRigs(t) {
		for _, s := range p.seams {
			for i := 1; i+1 < len(s.Points); i += 7 {
				at := s.Points[i]
				along := r3.Unit(r3.Sub(s.Points[i+1].Dir, s.Points[i-1].Dir))
				left := r3.Unit(r3.Cross(along, at.Dir))
				for _, side := range []struct {
					camera int
					sign   float64
					got    unit.Angle
				}{{s.B, 1, at.IntoA}, {s.A, -1, at.IntoB}} {
					sees := func(h float64) bool {
						return p.alone[side.camera].Count(r3.Add(r3.Scale(math.Cos(h), at.Dir), r3.Scale(side.sign*math.Sin(h), left))) == 1
					}
					checked++
					got := float64(side.got)
					if got < math.Pi && sees(got+rim) || got > rim && !sees(got-rim) {
						t.Errorf("camera %d does not lose sight %v rad from the seam", side.camera, got)
					}
					for h := 0.5 * math.Pi / 180; h < got; h += 0.5 * math.Pi / 180 {
						if !sees(h) {
							t.Errorf("camera %d sees nothing %v rad from the seam, of %v", side.camera, h, got)
							break
						}
					}
				}
			}
		}
	}
	assert.True(t, checked >= 250, "%d checked: the test has lost its grip", checked)
}

// A ring of four and a camera to the sky join in eight lines, four of them with the
// sky, which run all around it.
func TestSeamsOfARingAndASky(t *testing.T) {
	var rig []projection.Camera
	for i := range 5 {
		pose := projection.Pose{Heading: 90 * deg * unit.Angle(i)}
		if i == 4 {
			pose = projection.Pose{Elevation: 90 * deg}
		}
		rig = append(rig, trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalLength: 12e-3, Pitch: 3e-6,
			Width: 12288, Height: 6480, ImageCircle: 34.4e-3, Pose: pose}))
	}
	a := array(t, rig...)
	var pairs [][2]int
	sky := 0.0 // heading around it
	for _, s := range a.Seams() {
		require.False(t, s.Cut || s.Closed)
		pairs = append(pairs, [2]int{s.A, s.B})
		for i, p := range s.Points {
			margins := [2]float64{}
			for k, c := range []int{s.A, s.B} {
				x, y, _ := rig[c].Project(p.Dir)
				margins[k] = rig[c].Margin(x, y)
			}
			assert.InDelta(t, margins[1], margins[0], 1e-4, "margins: px; 1e-9 rad is 4e-6 px")
			if s.B == 4 && i > 0 {
				d, _ := trial.LonLat(p.Dir)
				e, _ := trial.LonLat(s.Points[i-1].Dir)
				sky += math.Mod(e-d+540, 360) - 180
			}
		}
	}
	require.Equal(t, [][2]int{{0, 1}, {0, 3}, {0, 4}, {1, 2}, {1, 4}, {2, 3}, {2, 4}, {3, 4}}, pairs)
	// With the ring's side to the left the way around the sky is anticlockwise seen
	// from below, so headings fall.
	assert.InDelta(t, 360, math.Abs(sky), 1e-5, "around the sky: four lines that meet")
}

func TestSharedRefuses(t *testing.T) {
	a := array(t, cube(t)...)
	for _, e := range []struct {
		i, j      int
		tolerance float64
		field     string
	}{{0, 0, 1e-3, "pair"}, {-1, 0, 1e-3, "pair"}, {0, 6, 1e-3, "pair"}, {0, 1, 0, "tolerance"}, {0, 1, -1, "tolerance"}, {0, 1, math.NaN(), "tolerance"}, {math.MaxInt, math.MinInt, 1, "pair"}} {
		s, err := a.Shared(e.i, e.j, e.tolerance)
		assert.ErrorIs(t, err, rig.ErrInvalid, "%v", e)
		assert.ErrorContains(t, err, e.field)
		assert.Zero(t, s)
	}
	s, err := a.Shared(0, 1, 1e-300)
	assert.NoError(t, err)
	assert.False(t, s.OK, "a tolerance below the rounding")
	var zero rig.Seam
	assert.True(t, zero.Length() == 0, "no points have a length")
}

func BenchmarkSeams(b *testing.B) {
	rng := rand.New(rand.NewPCG(65, 66))
	for _, n := range []int{6, 48} {
		a, _ := someRig(b, rng, n)
		if n == 6 {
			a = array(b, ferry(b)...)
		}
		b.Run(fmt.Sprintf("%d cameras", n), func(b *testing.B) {
			for b.Loop() {
				if len(a.Seams()) == 0 {
					b.Fatal("no seams")
				}
			}
		})
	}
}
