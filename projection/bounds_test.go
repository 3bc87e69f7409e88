package projection_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// At one angle the bounds are the derivatives themselves.
func TestBoundsAtOneAngle(t *testing.T) {
	line := must[projection.Table](t)(projection.NewTable([]projection.TablePoint{{Angle: 1, Height: 0.5}, {Angle: 2, Height: 1}}))
	for _, tc := range []struct {
		model       projection.Bounded
		at          unit.Angle
		slope, bend float64
	}{
		{projection.Form(projection.Rectilinear), 45 * deg, 2, 4},
		{projection.Stereographic, 90 * deg, 2, 2},
		{projection.Equidistant, 130 * deg, 1, 0},
		{projection.Equisolid, 60 * deg, math.Sqrt(3) / 2, -0.25},
		{projection.Orthographic, 30 * deg, math.Sqrt(3) / 2, -0.5},
		{oddPolynomial(t, 0, 1, -1./6), 1, 0.5, -1},
		{line, 1.5, 0.5, 0},
	} {
		slope, low, high := tc.model.Bounds(tc.at, tc.at)
		ref.Near(t, "P-L1", slope, tc.slope, tc.model)
		ref.Near(t, "P-L1", low, tc.bend, tc.model)
		ref.Near(t, "P-L1", high, tc.bend, tc.model)
	}
}

// Over an interval the bounds hold for differences of the radius, and are reached to
// within a few per cent of their spread by what is known exactly.
func TestBoundsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 72))
	models := measuredModels(t)
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		models[f.String()] = f
	}
	for name, m := range models {
		bounded, ok := m.(projection.Bounded)
		if !ok {
			continue
		}
		end := min(float64(m.MaxAngle()), 1.55)
		for range 300 {
			const h = 1e-4
			lo := (end - 4*h) * rng.Float64()
			hi := lo + 4*h + (end-4*h-lo)*math.Pow(10, -3*rng.Float64())
			slope, low, high := bounded.Bounds(unit.Angle(lo), unit.Angle(hi))
			for range 10 {
				at := lo + h + (hi-lo-2*h)*rng.Float64()
				var r [3]float64
				for i := range r {
					r[i], _ = m.Radius(unit.Angle(at + float64(i-1)*h))
				}
				size := 1e-15 * (1 + r[2]) // of roundings
				require.GreaterOrEqual(t, (r[2]-r[0])/(2*h), slope*(1-1e-12)-size/h, "%s: slope at %v of %v…%v", name, at, lo, hi)
				bend := (r[0] - 2*r[1] + r[2]) / (h * h)
				require.GreaterOrEqual(t, bend, low-1e-9*math.Abs(low)-4*size/(h*h), "%s: r″ at %v of %v…%v", name, at, lo, hi)
				require.LessOrEqual(t, bend, high+1e-9*math.Abs(high)+4*size/(h*h), "%s: r″ at %v of %v…%v", name, at, lo, hi)
			}
		}
	}
}

func TestBoundsOutsideTheDomain(t *testing.T) {
	nan := unit.Angle(math.NaN())
	for _, m := range []projection.Bounded{
		projection.Equisolid, projection.Form(0), projection.Form(9), projection.OddPolynomial{}, projection.Table{}, uneven(t, 3),
		oddPolynomial(t, 1, 1, -0.1),
	} {
		for _, ends := range [][2]unit.Angle{{-0.1, 0.1}, {0.2, 0.1}, {0.1, 4}, {nan, 0.1}, {0.1, nan}} {
			slope, low, high := m.Bounds(ends[0], ends[1])
			assert.True(t, slope == 0 && math.IsInf(low, -1) && math.IsInf(high, 1), "%v over %v: %v, %v, %v", m, ends, slope, low, high)
		}
	}
	// The ends that are not included.
	for _, f := range []projection.Form{projection.Rectilinear, projection.Stereographic} {
		slope, low, high := f.Bounds(0, f.MaxAngle())
		assert.True(t, slope == 1 && low == 0 && math.IsInf(high, 1), "%v: %v, %v, %v", f, slope, low, high)
	}
}
