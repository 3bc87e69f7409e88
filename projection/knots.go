package projection

// knots are the image heights of the points, where the curvature jumps.
func (m Table) knots() []float64 { return m.t.heights }
