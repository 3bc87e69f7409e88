package warp

import "example.com/platewright/internal/singular"

// Jacobian is the derivative of the source position by the target position, in
// source pixels per target pixel:
//
//	XX = ∂sx/∂x   XY = ∂sx/∂y
//	YX = ∂sy/∂x   YY = ∂sy/∂y
type Jacobian struct{ XX, XY, YX, YY float64 }

// Scales gives the singular values of the matrix: the semi-axes of the ellipse that
// the unit circle around a target pixel becomes in the source. The map minifies
// along an axis if its scale is above 1. Each is exact to a few
// roundings, however small minor is.
func (j Jacobian) Scales() (major, minor float64) {
	return singular.Values(j.XX, j.XY, j.YX, j.YY)
}
