package sync_test

import (
	"errors"
	"math/big"
	"testing"

	"example.com/platewright/sync"
)

// must gives the value of a call that cannot fail with the arguments given.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func rate(num, den int64) sync.Rate { return must(sync.NewRate(num, den)) }

func seconds(num, den int64) sync.Seconds { return must(sync.NewSeconds(num, den)) }

func ratOf(x interface{ Ratio() (int64, int64) }) *big.Rat { return big.NewRat(x.Ratio()) }

func wantInvalid(t *testing.T, what string, err error) {
	t.Helper()
	if !errors.Is(err, sync.ErrInvalid) {
		t.Errorf("%s: got error %v, want one that wraps ErrInvalid", what, err)
	}
}

// tradeRates are those that frames are shot at.
func tradeRates() []sync.Rate {
	var rates []sync.Rate
	for _, n := range []int64{24, 25, 30, 48, 50, 60, 72, 96, 100, 120} {
		rates = append(rates, rate(n, 1))
		if n%25 != 0 {
			rates = append(rates, rate(1000*n, 1001))
		}
	}
	return rates
}
