package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
)

func TestFNumberSeries(t *testing.T) {
	marks := []float64{1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32}
	for k, want := range []float64{1, 1.414213562, 2, 2.828427125, 4, 5.656854249, 8, 11.3137085, 16, 22.627417, 32} {
		n, err := lens.FNumberAt(float64(k))
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-F8", n, want, k)
		stops, err := lens.Stops(1, n)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-F8s", stops, float64(k), n)
		// A mark keeps two digits, 5.6 and 22 cut and not rounded.
		ref.Near(t, "L-F8m", n/marks[k], 1, k)
	}
	for k, want := range map[float64]float64{1. / 3: 1.122462048, 2. / 3: 1.259921050} {
		n, err := lens.FNumberAt(k)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-F9", n, want, k)
	}
}

func TestStopsProperties(t *testing.T) {
	for _, k := range []float64{-2, -1. / 3, 0, 1. / 3, 0.5, 7, 20} {
		n, err := lens.FNumberAt(k)
		if err != nil {
			t.Fatal(err)
		}
		back, err := lens.Stops(1, n)
		if err != nil {
			t.Fatal(err)
		}
		near.Abs(t, "round trip", back, k, 1e-14, "two ulps of 20, and of the logarithm")
		up, _ := lens.Stops(2, n)
		down, _ := lens.Stops(n, 2)
		near.Abs(t, "there and back", up, -down, 1e-14, "rounding of the quotient")
	}
	for _, k := range []float64{-2.1, 20.1, math.NaN()} {
		if _, err := lens.FNumberAt(k); err == nil {
			t.Errorf("an f-number %v stops up", k)
		}
	}
}

func TestTStops(t *testing.T) {
	got, err := lens.TStop(2.8, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-F10", got, 2.95145915)
	tau, err := lens.Transmission(2.8, 2.95145915)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-F10t", tau, 0.9)
	if got, _ := lens.TStop(4, 1); got != 4 {
		t.Errorf("without losses: T/%v, want T/4", got)
	}
	// Half the light is one stop.
	half, _ := lens.TStop(4, 0.5)
	stops, _ := lens.Stops(4, half)
	near.Abs(t, "half the light", stops, 1, 1e-15, "a few roundings")
	for _, r := range [][2]float64{{2.8, 0}, {2.8, 1.1}, {0.3, 0.9}, {2.8, math.NaN()}} {
		if _, err := lens.TStop(r[0], r[1]); err == nil {
			t.Errorf("a T-stop of %v", r)
		}
	}
	for _, r := range [][2]float64{{2.8, 2.7}, {2.8, math.Inf(1)}, {math.NaN(), 3}, {2.8, math.NaN()}} {
		if tau, err := lens.Transmission(r[0], r[1]); err == nil {
			t.Errorf("%v transmits %v", r, tau)
		}
	}
}
