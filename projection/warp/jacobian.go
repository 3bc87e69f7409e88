package warp

import "example.com/platewright/internal/singular"

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
//	major = (|(XX + YY, YX − XY)| + |(XX − YY, XY + YX)|)/2
//	minor = |XX·YY − XY·YX|/major
//
// Above 1 the map minifies in that direction, below 1 it magnifies. Each has a
// relative error of a few roundings, however small minor is. Source: G. H. Golub
// and C. F. Van Loan, Matrix Computations (2013), 2.4.
func (j Jacobian) Scales() (major, minor float64) {
	return singular.Values(j.XX, j.XY, j.YX, j.YY)
}
