package warp

import "math"

// Jacobian is how the source position moves as the target position does, in
// source pixels a target pixel:
//
//	XX = ∂sx/∂x   XY = ∂sx/∂y
//	YX = ∂sy/∂x   YY = ∂sy/∂y
type Jacobian struct{ XX, XY, YX, YY float64 }

// Scales are the semi-axes of the ellipse that the unit circle around a target
// pixel becomes in the source, in source pixels: the singular values of the
// matrix,
//
//	major, minor = √(m ± √(m² − det²)),  m = (XX² + XY² + YX² + YY²)/2
//
// Above 1 the map minifies in that direction, below 1 it magnifies. Source:
// G. H. Golub and C. F. Van Loan, Matrix Computations (2013), 2.4.
func (j Jacobian) Scales() (major, minor float64) {
	// The sum and the difference of the singular values, free of cancellation.
	sum := math.Hypot(j.XX+j.YY, j.XY-j.YX)
	diff := math.Hypot(j.XX-j.YY, j.XY+j.YX)
	return (sum + diff) / 2, math.Abs(sum-diff) / 2
}
