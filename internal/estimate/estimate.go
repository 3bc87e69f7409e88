// Package estimate holds a measured value with its uncertainty, and what several
// packages measure with. Each package that measures publishes Estimate under the same
// name, so that estimates pass from one to another.
package estimate

import "slices"

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate struct{ Value, Uncertainty float64 }

// MedianToDeviation is the standard deviation of normal noise over the median of its
// absolute values, 1/Φ⁻¹(¾).
const MedianToDeviation = 1.482602218505602

// Median is the middle value, or the mean of the two middle ones. It sorts x, which must
// not be empty.
func Median(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	return x[(n-1)/2]/2 + x[n/2]/2
}
