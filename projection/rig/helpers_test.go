package rig_test

import (
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/require"
)

const deg = projection.Degree

// coverage is Coverage of good input, and whether the tolerance is met.
func coverage(t testing.TB, a rig.Rig, tolerance float64) (rig.Coverage, bool) {
	t.Helper()
	c, err := a.Coverage(tolerance)
	require.NoError(t, err)
	require.Equal(t, c.Error <= tolerance, c.OK)
	return c, c.OK
}

// holesOf is Holes of good input, and whether the tolerance is met.
func holesOf(t testing.TB, a rig.Rig, tolerance float64) ([]rig.Hole, bool) {
	t.Helper()
	holes, sum, err := a.Holes(tolerance)
	require.NoError(t, err)
	require.Equal(t, sum.Error <= tolerance, sum.OK)
	whole := 0.0
	for _, h := range holes {
		whole += h.SolidAngle
	}
	require.InDelta(t, whole, sum.Value, 1e-12)
	return holes, sum.OK
}
