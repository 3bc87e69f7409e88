package root

// Boundary returns a point at which inside holds, within 2⁻⁵⁰·|out − in| of one
// at which it does not. It holds at in and not at out, which are not evaluated;
// either may be the larger. If inside changes more than once between them, the
// result is beside one of the changes.
func Boundary(inside func(float64) bool, out, in float64) float64 {
	for range 50 {
		m := (out + in) / 2
		if inside(m) {
			in = m
		} else {
			out = m
		}
	}
	return in
}
