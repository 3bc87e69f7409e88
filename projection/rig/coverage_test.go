package rig_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// A panorama with one hole, a cap of 10°, which no tolerance may lose.
func TestHoleOfACap(t *testing.T) {
	holed := array(t, round(t, projection.Equisolid, 1000, 170*deg, 33*deg))
	for _, tolerance := range []float64{1e-4, 1e-8} {
		holes, _ := holesOf(t, holed, tolerance)
		require.Len(t, holes, 1)
		s := math.Sin(float64(10*deg) / 2)
		assert.InDelta(t, 4*math.Pi*s*s, holes[0].SolidAngle, 1e-4)
	}
}

// Error is a bound: it holds for shapes whose solid angle is known to the last
// digits, at every tolerance.
func TestCoverageErrorIsABound(t *testing.T) {
	t.Parallel()
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(71, 72))
	pose := func() projection.Pose {
		return projection.Pose{Heading: unit.Angle(6*rng.Float64() - 3), Elevation: unit.Angle(3*rng.Float64() - 1.5), Roll: unit.Angle(6*rng.Float64() - 3)}
	}
	// holds allows, beside the bound, 8 roundings of the exact value itself.
	holds := func(what string, a rig.Rig, k int, want float64, tolerances ...float64) {
		t.Helper()
		for _, tolerance := range tolerances {
			c, _ := coverage(t, a, tolerance)
			if off := math.Abs(c.AtLeast[k-1] - want); !(off <= c.Error+8*0x1p-53*want) {
				t.Errorf("%s, tolerance %g: got %.17g, want %.17g, off by %.3g with a bound of %.3g", what, tolerance, c.AtLeast[k-1], want, off, c.Error)
			}
		}
	}

	// A centred rectangle: 4 asin(sin(across/2) sin(down/2)), flat edges, so that
	// next to nothing but the sums of triangles is left to be wrong.
	for i := range 120 {
		across := math.Pow(10, -4+4*rng.Float64())
		if i == 0 {
			across = 0.02 // whose two halves of 2e-4 sr are the largest that a series stands for
		}
		width, height := 1+rng.IntN(4000), 1+rng.IntN(4000)
		if i%2 == 0 {
			height = width
		}
		p := pose()
		if i%3 == 0 {
			p = projection.Pose{}
		}
		view, err := projection.NewView(projection.ViewSpec{Width: width, Height: height, Across: unit.Angle(across), Pose: p})
		require.NoError(t, err)
		tx := math.Tan(across / 2)
		ty := tx * float64(height) / float64(width)
		want := 4 * math.Asin(tx/math.Hypot(1, tx)*ty/math.Hypot(1, ty))
		holds(fmt.Sprintf("view of %g rad, %d × %d px", across, width, height), array(t, view), 1, want, 1e-2, 1e-12)
	}

	// Caps, from a pinhole to all but one, and those next to a great circle. Of
	// their corners some stand in line with the first division of the sphere.
	for _, alpha := range []float64{1e-7, 1e-5, 1e-3, 0.02, 0.3, 1, math.Pi/2 - 1e-9, math.Pi / 2, math.Pi/2 + 1e-7, 2, 3, math.Pi - 1e-3, math.Pi - 1e-5} {
		for _, p := range []projection.Pose{{}, {Heading: 45 * deg}, {Heading: 45 * deg, Elevation: unit.Angle(math.Asin(1 / math.Sqrt(3)))}, pose()} {
			cap := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1e4, FocalY: 1e4, Width: 1 << 16, Height: 1 << 16, MaxAngle: unit.Angle(alpha), Pose: p})
			s := math.Sin(alpha / 2)
			// The cap ends where Radius says: its last digit moves a rim far behind.
			holds(fmt.Sprintf("cap of %g rad, %+v", alpha, p), array(t, cap), 1, 4*math.Pi*s*s, 1e-2, 1e-5)
		}
	}

	// Two caps that share a lens, a sliver, or all but a sliver: by Gauss and Bonnet.
	for range 15 {
		alpha := 0.2 + 1.2*rng.Float64()
		beta := 2 * min(alpha, math.Pi-alpha) * (1 - math.Pow(10, -4*rng.Float64()))
		if rng.IntN(2) == 0 {
			beta = math.Pow(10, -3*rng.Float64()) * alpha / 2
		}
		cosPsi := math.Tan(beta/2) / math.Tan(alpha)
		cosOmega := (math.Cos(beta) - math.Cos(alpha)*math.Cos(alpha)) / (math.Sin(alpha) * math.Sin(alpha))
		want := 2*math.Pi - 2*math.Acos(cosOmega) - 4*math.Acos(cosPsi)*math.Cos(alpha)
		heading := 6 * rng.Float64()
		a := array(t, round(t, projection.Stereographic, 500, unit.Angle(alpha), unit.Angle(heading)),
			round(t, projection.Equidistant, 300, unit.Angle(alpha), unit.Angle(heading-beta)))
		for _, tolerance := range []float64{1e-2, 1e-5} {
			c, _ := coverage(t, a, tolerance)
			// The arc cosines of a sliver keep half their digits.
			assert.InDelta(t, want, c.AtLeast[1], c.Error+1e-11, "caps of %g rad, %g apart, tolerance %g", alpha, beta, tolerance)
		}
	}

	// A raster of an equisolid camera: Lambert's w·h/f², edges that are bent all
	// the more the farther they lie from the axis.
	for range 15 {
		f := 1000.0
		w, h := 100+rng.IntN(1900), 100+rng.IntN(1900)
		c := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: f, FocalY: f, Width: w, Height: h,
			OffsetX: 500 * (rng.Float64() - 0.5), OffsetY: 500 * (rng.Float64() - 0.5), Pose: pose()})
		holds(fmt.Sprintf("equisolid %d × %d px", w, h), array(t, c), 1, float64(w)*float64(h)/(f*f), 1e-2, 1e-5)
	}
}
