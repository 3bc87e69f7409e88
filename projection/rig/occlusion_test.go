package rig_test

import (
	"fmt"
	"math"
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

func arrayOf(t testing.TB, spec rig.Spec) rig.Rig {
	t.Helper()
	a, err := rig.New(spec)
	require.NoError(t, err)
	return a
}

// sphere is a camera that sees everything, at a position.
func sphere(t testing.TB, at r3.Vec) projection.Camera {
	t.Helper()
	return trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 5000, Height: 5000,
		Pose: projection.Pose{Position: at, Heading: 0.4, Elevation: -0.3, Roll: 1}})
}

// metres makes a box.
func metres(pose projection.Pose, w, h, d float64) rig.Box {
	return rig.Box{Pose: pose, Width: unit.Length(w), Height: unit.Length(h), Depth: unit.Length(d)}
}

// A ball hides a cap, a box what its faces fill; two cameras that see all and have
// a ball between them lose it in opposite directions.
func TestCoverageBehindOccluders(t *testing.T) {
	seenBy := func(id string, spec rig.Spec, tolerance float64, k int, want float64, which ...any) {
		t.Helper()
		c, ok := coverage(t, arrayOf(t, spec), tolerance)
		if !ok {
			t.Errorf("%s (%v): tolerance %g not met: %g", id, which, tolerance, c.Error)
			return
		}
		ref.Near(t, id, c.AtLeast[k-1], want, which...)
		assert.InDelta(t, want, c.AtLeast[k-1], c.Error+1e-11, "%s %v: the bound reported, and 12 digits of the reference", id, which)
	}
	at := r3.Vec{X: 2, Y: 3.1, Z: -4}
	eye := []projection.Camera{sphere(t, at)}
	for _, e := range []struct{ r, d float64 }{{1, 2}, {1, 1.001}, {0.2, 5}, {3, 4}, {1e-3, 50}, {1, 1 + 1e-9}} {
		// 1 − cos asin(q) in the form that does not cancel.
		q := e.r / e.d
		want := 4*math.Pi - 2*math.Pi*q*q/(1+math.Sqrt(1-q*q))
		ball := rig.Ball{Centre: r3.Add(at, r3.Scale(e.d/3, r3.Vec{X: 1, Y: -2, Z: 2})), Radius: unit.Length(e.r)}
		seenBy("P-A1", rig.Spec{Cameras: eye, Balls: []rig.Ball{ball}}, 1e-6, 1, want, e)
	}
	// Apart by twice the ball's distance: each loses a cap, and no direction is
	// lost by both.
	pair := rig.Spec{
		Cameras: []projection.Camera{sphere(t, r3.Vec{X: -2}), sphere(t, r3.Vec{X: 2})},
		Balls:   []rig.Ball{{Radius: 1}},
	}
	cap30 := 2 * math.Pi * (1 - math.Sqrt(3)/2)
	seenBy("P-A1", pair, 1e-6, 2, 4*math.Pi-2*cap30, "seen by both")
	seenBy("P-A1", pair, 1e-6, 1, 4*math.Pi, "seen by either")
	// Two balls in front of one eye whose caps overlap: P-W3's shape.
	beta := 40 * math.Pi / 180
	alpha := math.Pi / 6
	cosPsi := math.Tan(beta/2) / math.Tan(alpha)
	cosOmega := (math.Cos(beta) - math.Cos(alpha)*math.Cos(alpha)) / (math.Sin(alpha) * math.Sin(alpha))
	both := 2*math.Pi - 2*math.Acos(cosOmega) - 4*math.Acos(cosPsi)*math.Cos(alpha)
	seenBy("P-A1", rig.Spec{Cameras: []projection.Camera{sphere(t, r3.Vec{})}, Balls: []rig.Ball{
		{Centre: r3.Scale(2, trial.Toward(70, 0)), Radius: 1}, {Centre: r3.Scale(8, trial.Toward(110, 0)), Radius: 4},
	}}, 1e-6, 1, 4*math.Pi-(2*cap30-both), "two caps")

	// The near face of a box straight ahead, at the distance d: the sides are in
	// its shadow.
	for _, e := range []struct{ w, h, d, want float64 }{
		{1, 1, 1, 0.805431683161}, {10, 5, 3, 2.32444728037}, {6, 3, 2, 2.0908403519}, {12, 4, 4, 1.52509995154}, {2, 2, 1, 2.09439510239},
	} {
		pose := projection.Pose{Position: at, Heading: 200 * deg, Elevation: 33 * deg, Roll: 10 * deg}
		const depth = 0.7
		pose.Position = r3.Add(at, pose.ToStage(r3.Vec{Z: -(e.d + depth/2)}))
		seenBy("P-A2", rig.Spec{Cameras: eye, Boxes: []rig.Box{metres(pose, e.w, e.h, depth)}}, 1e-9, 1, 4*math.Pi-e.want, e)
	}
	// Seen at an edge and at a corner, two and three faces add up.
	turned := projection.Pose{Heading: 1, Elevation: 2, Roll: 3}
	for _, e := range []struct {
		eye  r3.Vec
		want float64
	}{{r3.Vec{X: 3, Y: 5, Z: 8}, 0.20911912799494653}, {r3.Vec{X: 0.5, Y: 5, Z: 8}, 0.18784603285735452}} {
		for _, scale := range []float64{1, 0.01, 1000} { // only angles matter
			seenBy("P-A3", rig.Spec{
				Cameras: []projection.Camera{sphere(t, turned.ToStage(r3.Scale(scale, e.eye)))},
				Boxes:   []rig.Box{metres(turned, 2*scale, 4*scale, 6*scale)},
			}, 1e-9, 1, 4*math.Pi-e.want, e, scale)
		}
	}
	// The ball behind the box is hidden twice, which is once.
	seenBy("P-A2", rig.Spec{Cameras: []projection.Camera{sphere(t, r3.Vec{})},
		Boxes: []rig.Box{metres(projection.Pose{Position: r3.Vec{Z: -2}}, 2, 2, 2)},
		Balls: []rig.Ball{{Centre: r3.Vec{Z: -9}, Radius: 3}},
	}, 1e-6, 1, 4*math.Pi-2*math.Pi/3, "ball behind box")
}

// Three hemispheres at right angles share an octant; two of them or more see four.
func TestCoverageOfOctants(t *testing.T) {
	var half []projection.Camera
	for _, p := range []projection.Pose{{}, {Heading: 90 * deg}, {Elevation: 90 * deg}} {
		half = append(half, trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 4000, Height: 4000, MaxAngle: 90 * deg, Pose: p}))
	}
	c, err := array(t, half...).Coverage(1e-9)
	require.NoError(t, err)
	require.True(t, c.OK, "the tolerance is met")
	for i, want := range []float64{7 * math.Pi / 2, 2 * math.Pi, math.Pi / 2} {
		ref.Near(t, "P-W6", c.AtLeast[i], want, i)
		assert.InDelta(t, want, c.AtLeast[i], c.Error+1e-15, "octants %d: the bound reported, and the rounding of π", i)
	}
}

// wheelhouse is the ferry's rig with what stands around it: the roof below, the
// mast, two lamps, and the body of each camera behind its entrance pupil.
func wheelhouse(t testing.TB) rig.Spec {
	var spec rig.Spec
	for i := range 6 {
		pose := projection.Pose{Heading: 60 * deg * unit.Angle(i), Elevation: 10 * deg, Roll: unit.Angle(i) * deg}
		pose.Position = r3.Add(r3.Vec{Y: 6}, pose.ToStage(r3.Vec{Z: -0.32}))
		spec.Cameras = append(spec.Cameras, trial.Camera(t, projection.CameraSpec{
			Model: projection.Equidistant, FocalLength: 10e-3, Pitch: 3.2e-6, Width: 8192, Height: 6144,
			ImageCircle: 25e-3, OffsetX: 12, OffsetY: -7, Pose: pose,
		}))
		body := pose
		body.Position = r3.Add(pose.Position, pose.ToStage(r3.Vec{Z: 0.1}))
		spec.Boxes = append(spec.Boxes, metres(body, 0.1, 0.12, 0.16))
	}
	spec.Boxes = append(spec.Boxes,
		metres(projection.Pose{Position: r3.Vec{Y: 5, Z: 1}, Heading: 5 * deg}, 3.2, 0.2, 4),
		metres(projection.Pose{Position: r3.Vec{Y: 8, Z: 2.5}, Elevation: 4 * deg}, 0.15, 6, 0.15))
	spec.Balls = []rig.Ball{{Centre: r3.Vec{X: 1.4, Y: 6.2, Z: -1}, Radius: 0.15}, {Centre: r3.Vec{X: -1.4, Y: 6.2, Z: -1}, Radius: 0.15}}
	return spec
}

func TestCoverageBehindOccludersAgainstCounting(t *testing.T) {
	spec := wheelhouse(t)
	a := arrayOf(t, spec)
	c, ok := coverage(t, a, 1e-3)
	require.True(t, ok, "tolerance not met")
	countedCoverage(t, a, c, 60_000)
	free, _ := coverage(t, array(t, spec.Cameras...), 1e-3)
	for k, got := range c.AtLeast {
		assert.True(t, got <= free.AtLeast[k]+2e-3, "more is seen by %d cameras than without occluders", k+1)
	}
	holes, ok := holesOf(t, a, 1e-3)
	sum := c.AtLeast[0]
	for _, h := range holes {
		sum += h.SolidAngle
	}
	assert.True(t, ok, "holes: tolerance not met")
	assert.InDelta(t, 4*math.Pi, sum, 2e-3, "seen and not seen: two tolerances")
}

// A buoy in front of all six faces of a cube is a hole; one behind a camera that
// stands apart moves Best to another.
func TestHolesAndBestBehindOccluders(t *testing.T) {
	const alpha = 20 * math.Pi / 180
	toBuoy := trial.Toward(33, 14)
	buoy := rig.Ball{Centre: r3.Scale(10, toBuoy), Radius: unit.Length(10 * math.Sin(alpha))}
	a := arrayOf(t, rig.Spec{Cameras: cube(t), Balls: []rig.Ball{buoy}})
	holes, sum, err := a.Holes(1e-5)
	require.NoError(t, err)
	require.True(t, sum.OK, "the tolerance is met")
	require.Len(t, holes, 1, "the buoy")
	ref.Near(t, "P-H2", holes[0].SolidAngle, 2*math.Pi*(1-math.Cos(alpha)))
	assert.InDelta(t, 0, r3.Norm(r3.Sub(holes[0].Centre, toBuoy)), 1e-4, "centre: a share of the tolerance")
	assert.InDelta(t, float64(alpha), float64(holes[0].Radius), float64(0.3*deg), "radius: the doc comment")
	for _, length := range []float64{1, 1e300, 1e-310} {
		assert.True(t, a.Count(r3.Scale(length, toBuoy)) == 0, "the buoy's direction is seen, at a length of %v", length)
	}
	if _, _, ok := a.Best(toBuoy); ok {
		t.Error("a camera is best for the buoy's direction")
	}
	if _, ok := a.PushIn(toBuoy, 1920); ok {
		t.Error("one can push in on the buoy")
	}
	if n := a.Count(r3.Scale(-1, toBuoy)); n == 0 {
		t.Error("the ball hides what is opposite to it")
	}
	// The edge of a shadow is seen.
	right := metres(projection.Pose{Position: r3.Vec{X: 0.5, Z: -2}}, 1, 1, 1)
	half := arrayOf(t, rig.Spec{Cameras: cube(t)[:1], Boxes: []rig.Box{right}})
	for x, want := range map[float64]int{-1e-9: 1, 0: 1, 1e-9: 0} {
		assert.Equal(t, want, half.Count(r3.Vec{X: x, Z: -1}), "%v rad to the right of the edge", x)
	}

	post := metres(projection.Pose{Position: r3.Vec{Z: -5}}, 0.2, 8, 0.2)
	fine := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 900, FocalY: 900, Width: 2000, Height: 2000})
	coarse := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 600, FocalY: 600, Width: 2000, Height: 2000, Pose: projection.Pose{Position: r3.Vec{X: 1}}})
	a = arrayOf(t, rig.Spec{Cameras: []projection.Camera{fine, coarse}, Boxes: []rig.Box{post}})
	for _, e := range []struct {
		lon   float64
		count int
		best  int
	}{{0, 1, 1}, {-12, 1, 0}, {5, 2, 0}, {-5, 2, 0}, {1.1, 1, 1}, {1.25, 2, 0}, {-1.25, 2, 0}} {
		// Half the post is 0.1 m at 4.9 m: 1.169°; the other camera has it at
		// −11.3°.
		ref.Near(t, "P-N2", float64(a.Count(trial.Toward(e.lon, 3))), float64(e.count), e)
		if best, _, ok := a.Best(r3.Scale(1e-200, trial.Toward(e.lon, 3))); !ok || best != e.best {
			t.Errorf("at %v° the best is camera %d, %v; want %d", e.lon, best, ok, e.best)
		}
	}
}

func TestOccludersRefused(t *testing.T) {
	eye := []projection.Camera{sphere(t, r3.Vec{X: 1})}
	nan, inf := math.NaN(), math.Inf(1)
	for _, e := range []struct {
		want string
		spec rig.Spec
	}{
		{"camera 0 500 mm from its centre: must stand outside ball 1", rig.Spec{Balls: []rig.Ball{{Radius: 0.5}, {Centre: r3.Vec{X: 0.5}, Radius: 1}}}},
		{"camera 0 1 m from its centre: must stand outside ball 0", rig.Spec{Balls: []rig.Ball{{Radius: 1}}}},
		{"camera 0 in or on it: must stand outside box 0", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{}, 3, 1, 1)}}},
		{"camera 0 in or on it: must stand outside box 0", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{}, 2, 1, 1)}}},
		{"ball 0 radius 0 m", rig.Spec{Balls: []rig.Ball{{}}}},
		{"ball 0 radius", rig.Spec{Balls: []rig.Ball{{Radius: unit.Length(inf)}}}},
		{"ball 0 centre y", rig.Spec{Balls: []rig.Ball{{Centre: r3.Vec{Y: nan}, Radius: 1}}}},
		{"box 0 depth", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{Position: r3.Vec{Y: 9}}, 1, 1, 0)}}},
		{"box 0 width", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{Position: r3.Vec{Y: 9}}, nan, 1, 1)}}},
		{"box 0 roll", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{Position: r3.Vec{Y: 9}, Roll: unit.Angle(inf)}, 1, 1, 1)}}},
		{"box 0 centre z", rig.Spec{Boxes: []rig.Box{metres(projection.Pose{Position: r3.Vec{Z: 1e300}}, 1, 1, 1)}}},
		{"number of balls 65", rig.Spec{Balls: make([]rig.Ball, 65)}},
		{"number of boxes 65", rig.Spec{Boxes: make([]rig.Box, 65)}},
		{"within 1000 km", rig.Spec{Cameras: []projection.Camera{sphere(t, r3.Vec{X: 1e308, Y: -1e308, Z: 1e308})},
			Balls: []rig.Ball{{Radius: 1}}, Boxes: []rig.Box{metres(projection.Pose{}, 1, 1, 1)}}},
	} {
		if e.spec.Cameras == nil {
			e.spec.Cameras = eye
		}
		_, err := rig.New(e.spec)
		trial.Refuses(t, rig.ErrInvalid, err, e.want)
	}
}

// The cost of Coverage by tolerance and by cameras, without and with occluders.
// What is divided lies along boundaries, in ever shorter triangles: a hundred times
// the accuracy takes ten times the work, where dividing the whole sphere takes a
// hundred.
func BenchmarkCoverage(b *testing.B) {
	cameras := func(n int) (spec rig.Spec) {
		for i := range n {
			pose := projection.Pose{Heading: 360 * deg * unit.Angle(i) / unit.Angle(n), Elevation: 12 * deg, Roll: 3 * deg}
			pose.Position = pose.ToStage(r3.Vec{Z: -0.3})
			spec.Cameras = append(spec.Cameras, trial.Camera(b, projection.CameraSpec{
				Model: projection.Equisolid, FocalLength: 8.8e-3, Pitch: 4e-6, Width: 6144, Height: 3240, ImageCircle: 27e-3, Pose: pose}))
		}
		return spec
	}
	run := func(name string, spec rig.Spec, tolerance float64) {
		a := arrayOf(b, spec)
		b.Run(name, func(b *testing.B) {
			for range b.N {
				if c, err := a.Coverage(tolerance); err != nil || !c.OK {
					b.Fatal("tolerance not met")
				}
			}
		})
	}
	for _, n := range []int{1, 2, 4, 8} {
		run(fmt.Sprintf("cameras=%d/tolerance=1e-5", n), cameras(n), 1e-5)
	}
	for _, tolerance := range []float64{1e-2, 1e-3, 1e-4} {
		run(fmt.Sprintf("cameras=8/tolerance=%g", tolerance), cameras(8), tolerance)
	}
	hidden := cameras(8)
	hidden.Boxes = wheelhouse(b).Boxes[6:]
	hidden.Balls = wheelhouse(b).Balls
	for i := range hidden.Boxes {
		hidden.Boxes[i].Pose.Position.Y -= 6
	}
	for i := range hidden.Balls {
		hidden.Balls[i].Centre.Y -= 6
	}
	run("cameras=8/tolerance=1e-5/occluders=4", hidden, 1e-5)
}

// Limits that coincide are one: what rounding leaves between them is not divided,
// which would take for ever.
func TestCoincidingLimits(t *testing.T) {
	near.NumbersOnly(t)
	one := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1000, FocalY: 1000, Width: 1500, Height: 1200, MaxAngle: 45 * deg,
		Pose: projection.Pose{Heading: 0.7, Elevation: 0.1, Roll: 0.2}})
	flat, err := projection.NewView(projection.ViewSpec{Width: 1000, Height: 700, Across: 70 * deg, Pose: projection.Pose{Heading: 0.7}})
	require.NoError(t, err)
	spec := rig.Spec{
		Balls: []rig.Ball{{Centre: r3.Scale(5, trial.Toward(30, 0)), Radius: 1}},
		Boxes: []rig.Box{metres(projection.Pose{Position: r3.Scale(3, trial.Toward(45, 10))}, 0.3, 0.2, 0.7)},
	}
	for _, c := range []projection.Camera{one, flat} {
		spec.Cameras = []projection.Camera{c}
		alone, _ := coverage(t, arrayOf(t, spec), 1e-3)
		for range 23 {
			spec.Cameras = append(spec.Cameras, c)
		}
		all, ok := coverage(t, arrayOf(t, spec), 1e-3)
		assert.True(t, ok, "tolerance not met")
		for k, got := range all.AtLeast {
			assert.InDelta(t, alone.AtLeast[0], got, 2e-3, "seen by %d: two tolerances", k+1)
		}
		if _, ok := holesOf(t, arrayOf(t, spec), 1e-2); !ok {
			t.Error("holes: tolerance not met")
		}
	}
}
