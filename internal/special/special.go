// Package special holds special functions that neither math nor gonum has.
package special

import "math"

// Sinc returns the normalised sinc of x, the spectrum of a box of width 1:
//
//	sinc x = sin(πx) / (πx),  sinc 0 = 1
//
// It is exactly 0 at the other whole numbers and has a relative error of a few
// roundings beside them. At ±Inf it is 0, and NaN at NaN.
func Sinc(x float64) float64 {
	switch {
	case x == 0:
		return 1
	case math.IsInf(x, 0):
		return 0
	}
	whole := math.Round(x) // x − whole is exact
	y := math.Sin(math.Pi*(x-whole)) / (math.Pi * x)
	if math.Mod(whole, 2) != 0 {
		return -y
	}
	return y
}
