package lens_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
)

// aperture is the f-number at which a pupil passes a given amount of light to
// the sensor: its area over the square of the focal length.
func aperture(t testing.TB, light float64) float64 {
	return has[float64](t)(root.Find(func(n float64) float64 {
		diameter := 1 / n // of the pupil, in focal lengths
		return math.Pi*diameter*diameter/4 - light
	}, 0.1, 4096))
}

func TestStopsHalveTheLight(t *testing.T) {
	// Three thirds of a stop halve the light.
	third := has[float64](t)(root.Find(func(x float64) float64 { return x*x*x - 0.5 }, 0.5, 1))
	for k := -5; k <= 60; k++ {
		light := math.Pi / 4 // at f/1
		for range k / 3 {
			light /= 2
		}
		for range k % 3 {
			light *= third
		}
		for range -k {
			light /= third
		}
		n := aperture(t, light)
		ref.Near(t, "L-F8", must[float64](t)(lens.FNumberAt(float64(k)/3)), n, k, "thirds")
		ref.Near(t, "L-F8s", must[float64](t)(lens.Stops(n, 2)), 2-float64(k)/3, k, "thirds")
	}
	for k, mark := range []float64{1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32} {
		// A mark keeps two digits, 5.6 and 22 cut and not rounded.
		ref.Near(t, "L-F8m", must[float64](t)(lens.FNumberAt(float64(k)))/mark, 1, k)
	}
	for _, k := range []float64{-2.1, 20.1, math.NaN()} {
		_, err := lens.FNumberAt(k)
		refuses(t, err, "lens: stops above f/1 ")
	}
	for _, n := range []float64{0.49, 1025, 0, -2, math.NaN(), math.Inf(1)} {
		_, err := lens.Stops(n, 2)
		refuses(t, err, "lens: from ")
		_, err = lens.Stops(2, n)
		refuses(t, err, "lens: to ")
	}
}

func TestTStopsPassTheSameLight(t *testing.T) {
	for _, r := range []struct{ n, transmission float64 }{{2.8, 0.9}, {1.3, 0.82}, {16, 0.3}, {4, 1}, {4, 0.5}} {
		// A lens without losses that passes as much.
		want := aperture(t, math.Pi/4/r.n/r.n*r.transmission)
		got := must[float64](t)(lens.TStop(r.n, r.transmission))
		ref.Near(t, "L-F10", got, want, r)
		ref.Near(t, "L-F10t", must[float64](t)(lens.Transmission(r.n, want)), r.transmission, r)
	}
	assert.Equal(t, 4., must[float64](t)(lens.TStop(4, 1)), "without losses")
	assert.Equal(t, 1., must[float64](t)(lens.Transmission(4, 4)), "without losses")
	for _, r := range [][2]float64{{2.8, 0}, {2.8, 1.1}, {0.3, 0.9}, {2.8, math.NaN()}} {
		_, err := lens.TStop(r[0], r[1])
		refuses(t, err, "lens: ")
	}
	for _, r := range [][2]float64{{2.8, 2.7}, {2.8, math.Inf(1)}, {math.NaN(), 3}, {2.8, math.NaN()}} {
		_, err := lens.Transmission(r[0], r[1])
		refuses(t, err, "lens: ")
	}
}

// A filter passes as much as ten filters of a tenth of its density one behind the
// other, and ten of a density pass what ten times the density does.
func TestFiltersOneBehindTheOther(t *testing.T) {
	for _, r := range []struct {
		density, transmission, stops float64
	}{ // a hundredth of 1000, 100 and 10; log2 10 in twelve digits
		{0.1, 0.794328234724, 0.332192809489}, {0.3, 0.501187233627, 0.996578428466}, {0.6, 0.251188643151, 1.99315685693},
		{0.9, 0.125892541179, 2.98973528540}, {1.2, 0.0630957344480, 3.98631371386}, {1.8, 0.0158489319246, 5.97947057080},
	} {
		tenth := 1.0 // of a light of 1, behind filters that add up to 10 times the density
		for range int(math.Round(10 * r.density)) {
			tenth /= 10
		}
		one := has[float64](t)(root.Find(func(x float64) float64 {
			left := 1.0
			for range 10 {
				left *= x
			}
			return left/tenth - 1
		}, 1e-3, 1))
		got := must[float64](t)(lens.FilterTransmission(r.density))
		ref.Near(t, "L-O7", got, one, r.density)
		ref.Near(t, "L-O7", got, r.transmission, r.density)
		// The pupil that is as dark behind no filter, in stops.
		stops := must[float64](t)(lens.Stops(1, aperture(t, math.Pi/4*one)))
		ref.Near(t, "L-O8", must[float64](t)(lens.FilterStops(r.density)), stops, r.density)
		ref.Near(t, "L-O8", must[float64](t)(lens.FilterStops(r.density)), r.stops, r.density)
	}
	assert.Equal(t, 1., must[float64](t)(lens.FilterTransmission(0)))
	for _, d := range []float64{-0.1, 10.1, math.NaN(), math.Inf(1)} {
		_, err := lens.FilterTransmission(d)
		refuses(t, err, "lens: density ")
		_, err = lens.FilterStops(d)
		refuses(t, err, "lens: density ")
	}
}

func TestMarksStandForExactStops(t *testing.T) {
	whole, halves, thirds := must[[]lens.Mark](t)(lens.Marks(1)), must[[]lens.Mark](t)(lens.Marks(2)), must[[]lens.Mark](t)(lens.Marks(3))
	for i, m := range whole {
		assert.Equal(t, m.Marked, halves[2*i].Marked, "whole stops have one mark")
		assert.Equal(t, m, thirds[3*i], "whole stops are the same in thirds")
	}
	for perStop, series := range [][]lens.Mark{1: whole, 2: halves, 3: thirds} {
		light := 1.0
		factor := math.Pow(2, -1/math.Max(1, float64(perStop)))
		for i, m := range series {
			if i%max(perStop, 1) == 0 {
				light = math.Pow(2, -float64(i/max(perStop, 1)))
			}
			ref.Near(t, "L-F8k", m.Exact, aperture(t, math.Pi/4*light), perStop, i)
			ref.Near(t, "L-F8t", m.Marked/m.Exact, 1, perStop, i)
			light *= factor
		}
	}
	for _, n := range []int{0, 4, -1} {
		_, err := lens.Marks(n)
		refuses(t, err, "lens: steps per stop ")
	}
}
