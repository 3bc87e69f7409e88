// Package samples checks the samples of a light.
package samples

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
)

// Check gives the largest sample. It adds a fault if there are fewer than two samples,
// if one is negative or not finite, or if all are 0.
func Check(c *valid.Checker, samples []float64) (peak float64) {
	if len(samples) < 2 {
		c.Fault("samples", strconv.Itoa(len(samples)), "must be at least 2")
		return 0
	}
	for i, v := range samples {
		if !(v >= 0) || math.IsInf(v, 1) {
			c.Fault(fmt.Sprintf("sample %d", i), strconv.FormatFloat(v, 'g', 6, 64), "must be a finite number of at least 0")
			return 0
		}
		peak = math.Max(peak, v)
	}
	if peak == 0 {
		c.Fault("samples", "all 0", "must hold some light")
	}
	return peak
}
