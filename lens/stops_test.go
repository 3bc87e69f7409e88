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
