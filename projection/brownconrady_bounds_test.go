package projection_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// At one radius the bounds of a radial distortion are its derivatives.
func TestBrownConradyBoundsAtOneRadius(t *testing.T) {
	for _, tc := range []struct{ k1, r, slope, bend float64 }{
		{0.2, 0.5, 1.15, 0.6}, {-0.1, 1, 0.9, 0.6}, {0, 3, 1, 0},
	} {
		d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: tc.k1})
		require.NoError(t, err)
		slope, bend := d.Bounds(tc.r, tc.r)
		ref.Near(t, "P-L2", slope, tc.slope, tc)
		ref.Near(t, "P-L2", bend, tc.bend, tc)
	}
}

// One tangential or prism coefficient alone bends most along its own axis, where the bounds
// are the derivatives by hand: of 3 P r², S r² and S r⁴.
func TestBoundsOfOneCoefficient(t *testing.T) {
	const k, r = 0.01, 0.5
	for spec, want := range map[projection.BrownConradySpec][2]float64{
		{P1: k}: {1 + 6*k*r, 6 * k}, {P2: -k}: {1 + 6*k*r, 6 * k},
		{S1: k}: {1 + 2*k*r, 2 * k}, {S3: -k}: {1 + 2*k*r, 2 * k},
		{S2: k}: {1 + 4*k*r*r*r, 12 * k * r * r}, {S4: k}: {1 + 4*k*r*r*r, 12 * k * r * r},
	} {
		d, err := projection.NewBrownConrady(spec)
		require.NoError(t, err)
		slope, bend := d.Bounds(r, r)
		assert.InDeltaSlice(t, want[:], []float64{slope, bend}, 1e-11, "%+v", spec)
	}
	// Over a wide annulus nothing may be proved of the denominator; over narrow ones it is.
	d, err := projection.NewBrownConrady(projection.BrownConradySpec{K4: -2, K5: 1.5})
	require.NoError(t, err)
	slope, bend := d.Bounds(0, 0.8)
	assert.True(t, math.IsInf(slope, 1) && math.IsInf(bend, 1), "%v, %v", slope, bend)
	slope, bend = d.Bounds(0.79, 0.8)
	assert.Less(t, slope+bend, 100.0)
}

// Over an annulus the bounds hold for differences of Distort and of its Jacobian in
// every direction, and are hardly more than the greatest of them.
func TestBrownConradyBoundsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(91, 92))
	some := func(size float64) float64 { return size * (2*rng.Float64() - 1) }
	tight := 0
	for k := range 300 {
		spec := projection.BrownConradySpec{K1: some(0.4), K2: some(0.1), K3: some(0.02)}
		if k%2 == 0 {
			spec.K4, spec.K5, spec.K6 = some(0.5), some(0.2), some(0.02)
		}
		if k%3 == 0 {
			spec.P1, spec.P2 = some(0.02), some(0.02)
		}
		if k%5 == 0 {
			spec.S1, spec.S2, spec.S3, spec.S4 = some(0.02), some(0.01), some(0.02), some(0.01)
		}
		d, err := projection.NewBrownConrady(spec)
		require.NoError(t, err)
		lo := min(maxRadius(d), 2) * 0.9 * rng.Float64()
		hi := lo + min(maxRadius(d), 2)*math.Pow(10, -1-3*rng.Float64())
		slope, bend := d.Bounds(lo, hi)
		most, bent := 0.0, 0.0
		for range 200 {
			const h = 1e-5
			r, phi, turn := lo+(hi-lo)*rng.Float64(), 2*math.Pi*rng.Float64(), 2*math.Pi*rng.Float64()
			x, y := r*math.Cos(phi), r*math.Sin(phi)
			dx, dy := math.Cos(turn), math.Sin(turn)
			var u, v [3]float64
			ok := [3]bool{}
			for i := range u {
				s := float64(i-1) * h
				u[i], v[i], ok[i] = d.Distort(x+s*dx, y+s*dy)
			}
			if ok != [3]bool{true, true, true} {
				continue
			}
			most = max(most, math.Hypot(u[2]-u[0], v[2]-v[0])/(2*h))
			bent = max(bent, math.Hypot(u[0]-2*u[1]+u[2], v[0]-2*v[1]+v[2])/(h*h))
		}
		require.LessOrEqual(t, most, slope*(1+1e-4), "%+v, %v…%v: differences reach 1e-5 beyond the annulus", spec, lo, hi)
		require.LessOrEqual(t, bent, bend*(1+1e-3)+2e-5, "%+v, %v…%v: and round to 1e-16/h²", spec, lo, hi)
		if hi-lo < 0.01 && slope < 1.1*most && bend < 1.6*bent+0.01 {
			tight++
		}
	}
	assert.Greater(t, tight, 80, "bounds over narrow annuli are tight")
}

func TestBrownConradyBoundsOutsideTheDomain(t *testing.T) {
	d, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: -0.1})
	require.NoError(t, err)
	for _, ends := range [][2]float64{{-1, 1}, {1, 0.5}, {0, 2}, {math.NaN(), 1}, {0, math.NaN()}, {0, math.Inf(1)}} {
		slope, bend := d.Bounds(ends[0], ends[1])
		assert.True(t, math.IsInf(slope, 1) && math.IsInf(bend, 1), "%v: %v, %v", ends, slope, bend)
	}
}
