package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// What density says of a cap holds at points of the cap: that they are seen, and no
// less finely; and for small caps it says nearly all there is.
func TestDensityOfCaps(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	var regions []region
	for _, m := range append(measured(t), projection.Rectilinear, projection.Stereographic, projection.Equidistant, projection.Equisolid, projection.Orthographic) {
		c, err := projection.NewCamera(projection.CameraSpec{Model: m, FocalX: 1000, FocalY: 1000, Width: 2600, Height: 2200, OffsetX: 40,
			Pose: projection.Pose{Heading: 0.3, Elevation: -0.4, Roll: 0.5}})
		require.NoError(t, err)
		regions = append(regions, newRegion(c))
	}
	for _, g := range append(regions, calibratedRegions(t)...) {
		m := g.c.model
		s, _ := Ball{Centre: r3.Vec{X: 1, Z: -4}, Radius: 0.5}.shadow(r3.Vec{})
		g.shadows = []shadow{s}
		bounded, tight := 0, 0
		for range 6000 {
			p := someDir(rng)
			rho := math.Pow(10, -4*rng.Float64()) / 2
			bound := g.density(p, rho, nil)
			if bound == 0 {
				continue
			}
			bounded++
			_, at := g.look(p)
			if rho < 1e-3 && bound/float64(1/projection.Degree) > 0.995*at {
				tight++
			}
			for range 20 {
				sin, cos := math.Sincos(rho * math.Sqrt(rng.Float64()))
				q := r3.Add(r3.Scale(cos, p), r3.Scale(sin, sphere.Unit(r3.Cross(p, someDir(rng)))))
				if margin, d := g.look(q); margin < -1e-6 || d < bound*float64(projection.Degree)*(1-1e-9) {
					t.Fatalf("%T %v: %v has %v px/° and a margin of %v px, in a cap of %v said to have %v", m, m, q, d, margin, rho, bound*float64(projection.Degree))
				}
			}
		}
		if bounded < 200 || tight < 10 {
			t.Errorf("%T %v: %d caps bounded, %d tight: the test has lost its grip", m, m, bounded, tight)
		}
	}
}
