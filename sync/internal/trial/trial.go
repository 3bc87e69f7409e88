// Package trial holds what the tests of sync and of the packages below it share.
package trial

import (
	"errors"
	"math"
	"math/big"
	"sync"
	"testing"

	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/integrate/quad"
)

// Must gives the value of a call that cannot fail with the arguments given.
func Must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Second gives the second result of a call, most often its error.
func Second[A, B any](_ A, b B) B { return b }

// Rate is num frames in den seconds.
func Rate(num, den int64) timing.Rate { return Must(timing.NewRate(num, den)) }

// Seconds is num/den s.
func Seconds(num, den int64) timing.Seconds { return Must(timing.NewSeconds(num, den)) }

// Degrees is a shutter angle by its text.
func Degrees(s string) timing.ShutterAngle { return Must(timing.ParseShutterAngle(s)) }

// Rat is an exact fraction as a big.Rat.
func Rat(x interface{ Ratio() (int64, int64) }) *big.Rat { return big.NewRat(x.Ratio()) }

// Rates are those that frames are shot at.
func Rates() []timing.Rate {
	var rates []timing.Rate
	for _, n := range []int64{24, 25, 30, 48, 50, 60, 72, 96, 100, 120} {
		rates = append(rates, Rate(n, 1))
		if n%25 != 0 {
			rates = append(rates, Rate(1000*n, 1001))
		}
	}
	return rates
}

// Remains is the modulation of 1 + cos(2π f t) in its mean over an exposure: the
// integrals of cosine and sine, by Gauss's quadrature.
func Remains(f, exposure float64) float64 {
	nodes, weights := gauss()
	var cos, sin float64
	for i, x := range nodes {
		s, c := math.Sincos(2 * math.Pi * f * exposure * x)
		cos, sin = cos+weights[i]*c, sin+weights[i]*s
	}
	return math.Hypot(cos, sin)
}

// gauss is exact to rounding for 40 periods and more.
var gauss = sync.OnceValues(func() (nodes, weights []float64) {
	nodes, weights = make([]float64, 200), make([]float64, 200)
	quad.Legendre{}.FixedLocations(nodes, weights, 0, 1)
	return nodes, weights
})

// Refused checks that all these errors wrap the sentinel of a package.
func Refused(t *testing.T, sentinel error, errs ...error) {
	t.Helper()
	for i, err := range errs {
		if !errors.Is(err, sentinel) {
			t.Errorf("error %d is %v, want one that wraps %v", i, err, sentinel)
		}
	}
}
