package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// meets reports whether a ray from an eye runs into a box, by cutting it with
// the three pairs of planes, and by how much, in lengths of its way.
func meets(b Box, eye, dir r3.Vec) (by float64) {
	e, d := b.Pose.FromStage(r3.Sub(eye, b.Pose.Position)), b.Pose.FromStage(dir)
	in, out := 0.0, math.Inf(1)
	for _, k := range [3][3]float64{{e.X, d.X, float64(b.Width)}, {e.Y, d.Y, float64(b.Height)}, {e.Z, d.Z, float64(b.Depth)}} {
		x, y := (-k[2]/2-k[0])/k[1], (k[2]/2-k[0])/k[1]
		in, out = max(in, min(x, y)), min(out, max(x, y))
	}
	return out - in
}

// What a shadow says of directions is what rays say, and what its judge says of a
// cap holds at points of the cap.
func TestShadows(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	size := func() unit.Length { return unit.Length(math.Pow(10, 2*rng.Float64()-1)) }
	hit, decided, sided, outlines := 0, 0, 0, map[int]int{}
	for range 3000 {
		ball := Ball{Centre: r3.Scale(3, someDir(rng)), Radius: size()}
		box := Box{Pose: projection.Pose{Position: r3.Scale(3, someDir(rng)), Heading: 3, Elevation: unit.Angle(rng.Float64()), Roll: 1}, Width: size(), Height: size(), Depth: size()}
		eye := r3.Scale(rng.ExpFloat64()*3, someDir(rng))
		if rng.IntN(4) == 0 { // on the plane of a face
			eye = r3.Add(box.Pose.Position, box.Pose.ToStage(r3.Vec{X: float64(box.Width) / 2, Y: float64(box.Height), Z: -float64(box.Depth)}))
		}
		rays := func(dir r3.Vec) float64 { return meets(box, eye, dir) }
		s, fault := box.shadow(eye)
		if rng.IntN(3) == 0 {
			s, fault = ball.shadow(eye)
			rays = func(dir r3.Vec) float64 {
				to := r3.Sub(ball.Centre, eye)
				along := max(0, r3.Dot(to, dir))
				return float64(ball.Radius) - r3.Norm(r3.Sub(to, r3.Scale(along, dir)))
			}
		}
		if fault != "" {
			continue
		}
		outlines[len(s.edges)]++
		for range 40 {
			p := sphere.Unit(r3.Add(s.axis, r3.Scale(2*s.radius*rng.Float64(), someDir(rng))))
			by := rays(p)
			if math.Abs(by) > 1e-9 && s.hides(p) != (by > 0) {
				t.Fatalf("%+v hides %v: %v; rays meet it by %v", s, p, s.hides(p), by)
			}
			if by > 0 {
				hit++
			}
			rho := math.Pow(10, -4*rng.Float64()) / 2
			hidden, left, rough, cuts := s.judge(p, rho, s.limits(), cut{}, nil)
			if hidden && left != 0 && rough {
				continue
			}
			for range 5 {
				across := sphere.Unit(r3.Cross(p, someDir(rng)))
				sin, cos := math.Sincos(rho * math.Sqrt(rng.Float64()))
				q := r3.Add(r3.Scale(cos, p), r3.Scale(sin, across))
				is := s.hides(q)
				switch {
				case !hidden:
					decided++
					if is && rays(q) > 1e-9 {
						t.Fatalf("%v is hidden, in a cap of %v called clear", q, rho)
					}
				case left == 0:
					decided++
					if !is && rays(q) < -1e-9 {
						t.Fatalf("%v is clear, in a cap of %v called hidden", q, rho)
					}
				default:
					inside, sure := true, true
					for _, c := range cuts {
						d := r3.Dot(c.n, q)
						inside = inside && d > 0
						sure = sure && math.Abs(d) > c.e
					}
					if sure {
						sided++
						if inside != is && math.Abs(rays(q)) > 1e-9 {
							t.Fatalf("%v is hidden: %v in a cap of %v, cut as %v", q, is, rho, cuts)
						}
					}
				}
			}
		}
	}
	if hit < 5000 || decided < 20_000 || sided < 20_000 || outlines[0] < 100 || outlines[4] < 100 || outlines[6] < 100 {
		t.Errorf("%d hit, %d decided, %d on a side, outlines %v: the test has lost its grip", hit, decided, sided, outlines)
	}
}

// FuzzOccluders looks for a spec that is accepted and yet has a shadow that is no
// shadow, or that hides what is behind the eye.
func FuzzOccluders(f *testing.F) {
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, -2.0, 1.0, 1.0, 1.0, 0.0, 0.0)
	f.Add(1.0, 1.0, 1.0, 0.5, 0.5, 0.5, 1e-6, 1e6, 1.0, 0.7, -0.2)
	f.Add(1e300, 0.0, 0.0, 1e5, -1e5, 1e6, 1.0, 1.0, 1.0, 1e300, 3.0)
	f.Add(0.5, 0.5, 9.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 0.0, 0.0) // in line with an edge
	f.Add(0.5, 0.5, 0.5+1e-15, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, ex, ey, ez, x, y, z, w, h, d, heading, elevation float64) {
		eye, centre := r3.Vec{X: ex, Y: ey, Z: ez}, r3.Vec{X: x, Y: y, Z: z}
		box := Box{Pose: projection.Pose{Position: centre, Heading: unit.Angle(heading), Elevation: unit.Angle(elevation)},
			Width: unit.Length(w), Height: unit.Length(h), Depth: unit.Length(d)}
		ball := Ball{Centre: centre, Radius: unit.Length(w)}
		v := valid.New("rig", ErrInvalid)
		box.check(v, "box")
		ball.check(v, "ball")
		if !v.OK() {
			return
		}
		check := func(s shadow, fault string) {
			if fault != "" {
				return
			}
			if !(math.Abs(sphere.Norm(s.axis)-1) < 1e-9) || !(s.radius > 0 && s.radius <= math.Pi) {
				t.Fatalf("axis %v, radius %v", s.axis, s.radius)
			}
			for _, n := range s.edges {
				require.True(t, math.Abs(sphere.Norm(n)-1) < 1e-9, "edge %v", n)
			}
			if n := len(s.edges); n != 0 && n != 4 && n != 6 {
				t.Fatalf("%d edges", n)
			}
			require.False(t, s.hides(r3.Scale(-1, s.axis)), "what is behind the eye is hidden")
			if !s.hides(s.axis) && s.radius > 1e-9 {
				t.Fatal("its own middle is not hidden")
			}
		}
		check(box.shadow(eye))
		check(ball.shadow(eye))
	})
}
