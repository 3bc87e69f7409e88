package sync_test

import (
	"math/big"
	"testing"

	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
)

// must gives the value of a call that cannot fail with the arguments given.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func rate(num, den int64) timing.Rate { return must(timing.NewRate(num, den)) }

func seconds(num, den int64) timing.Seconds { return must(timing.NewSeconds(num, den)) }

func degrees(s string) timing.ShutterAngle { return must(timing.ParseShutterAngle(s)) }

func second[A, B any](_ A, b B) B { return b }

// refused checks that all these are errors of the package.
func refused(t *testing.T, errs ...error) {
	t.Helper()
	for i, err := range errs {
		assert.ErrorIs(t, err, timing.ErrInvalid, i)
	}
}

func ratOf(x interface{ Ratio() (int64, int64) }) *big.Rat { return big.NewRat(x.Ratio()) }

// tradeRates are those that frames are shot at.
func tradeRates() []timing.Rate {
	var rates []timing.Rate
	for _, n := range []int64{24, 25, 30, 48, 50, 60, 72, 96, 100, 120} {
		rates = append(rates, rate(n, 1))
		if n%25 != 0 {
			rates = append(rates, rate(1000*n, 1001))
		}
	}
	return rates
}
