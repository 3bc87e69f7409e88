package estimate_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/estimate"
	"github.com/stretchr/testify/assert"
)

func TestMedian(t *testing.T) {
	assert.Equal(t, 7.0, estimate.Median([]float64{7}))
	assert.Equal(t, 2.0, estimate.Median([]float64{3, 1, 2}))
	assert.Equal(t, 2.5, estimate.Median([]float64{9, 2, 3, -4}))
	assert.Equal(t, math.MaxFloat64, estimate.Median([]float64{math.MaxFloat64, math.MaxFloat64}), "no overflow")
}

// TestMedianToDeviation asks the error function: half of normal noise lies within its
// median absolute value.
func TestMedianToDeviation(t *testing.T) {
	assert.InDelta(t, 0.5, math.Erf(1/(estimate.MedianToDeviation*math.Sqrt2)), 1e-15, "printed digits")
}
