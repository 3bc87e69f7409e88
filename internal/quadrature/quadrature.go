// Package quadrature integrates functions of one variable by Gauss–Legendre
// rules: on a known number of panels, or on intervals that are halved until the
// result settles.
package quadrature

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

const (
	panelNodes    = 32
	adaptiveNodes = 10
)

// The rules on [−1, 1].
var (
	panelAt, panelWeight       [panelNodes]float64
	adaptiveAt, adaptiveWeight [adaptiveNodes]float64
)

func init() {
	quad.Legendre{}.FixedLocations(panelAt[:], panelWeight[:], -1, 1)
	quad.Legendre{}.FixedLocations(adaptiveAt[:], adaptiveWeight[:], -1, 1)
}

// Panels returns the integral of f from a to b by the rule of 32 nodes on each of
// n panels of equal width. It is exact, to rounding, for functions that a
// polynomial of degree 63 follows on each panel, such as a cosine of at most four
// turns a panel. It allocates nothing.
func Panels(f func(float64) float64, a, b float64, n int) float64 {
	half := (b - a) / float64(n) / 2
	sum := 0.0
	for p := range n {
		middle := a + half*float64(2*p+1)
		panel := 0.0
		for i, u := range panelAt {
			panel += panelWeight[i] * f(middle+half*u)
		}
		sum += panel * half
	}
	return sum
}

// Adaptive integrates to rounding, with a limit on the work. Several integrals
// may share one Adaptive, and so its limit.
type Adaptive struct {
	// Halvings is how many intervals may still be halved.
	Halvings int
	// Unsettled is the sum of the last changes of those intervals at which a
	// limit ended the halving: it tells the order of the error.
	Unsettled float64
}

// maxDepth is how often one interval of the caller's may be halved.
const maxDepth = 40

// Integral returns the integral of f from the first to the last of the places
// at, which increase. Places where f or a derivative jumps belong among them:
// they save halvings. It halves each interval until the rule of ten nodes gives
// the same on both halves together as on the whole, to
//
//	1e-14 ∫|f| + 1e-15 ∫ scale
//
// where scale, the second result of f, is the size of the terms whose
// difference f is: what its rounding errors are proportional to. It is 0 where
// nothing cancels.
func (a *Adaptive) Integral(f func(t float64) (value, scale float64), at ...float64) float64 {
	parts := make([]estimate, len(at)-1)
	tolerance := 0.0
	for i := range parts {
		parts[i] = gauss(f, at[i], at[i+1])
		tolerance += 1e-14*parts[i].abs + 1e-15*parts[i].scale
	}
	sum := 0.0
	for i, part := range parts {
		sum += a.refine(f, at[i], at[i+1], part, tolerance/float64(len(parts)), maxDepth)
	}
	return sum
}

// refine halves an interval, of which whole is the estimate, up to depth times.
func (a *Adaptive) refine(f func(float64) (value, scale float64), from, to float64, whole estimate, tolerance float64, depth int) float64 {
	middle := (from + to) / 2
	left, right := gauss(f, from, middle), gauss(f, middle, to)
	a.Halvings--
	sum := left.value + right.value
	switch d := math.Abs(sum - whole.value); {
	case d <= tolerance:
		return sum
	case depth == 1 || a.Halvings <= 0:
		a.Unsettled += d
		return sum
	}
	return a.refine(f, from, middle, left, tolerance, depth-1) + a.refine(f, middle, to, right, tolerance, depth-1)
}

// estimate holds the integrals of a function, of its absolute value, and of its
// scale.
type estimate struct{ value, abs, scale float64 }

func gauss(f func(float64) (value, scale float64), a, b float64) (e estimate) {
	for i, x := range adaptiveAt {
		value, scale := f((a+b)/2 + x*(b-a)/2)
		w := adaptiveWeight[i] * (b - a) / 2
		e.value += w * value
		e.abs += w * math.Abs(value)
		e.scale += w * scale
	}
	return e
}
