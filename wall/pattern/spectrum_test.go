package pattern

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The power of each frequency, summed up sample by sample, for both kinds of lengths: 32
// is no power of 4.
func TestTransformBySums(t *testing.T) {
	for _, side := range []int{32, 64} {
		rng := rand.New(rand.NewPCG(1, 2))
		tl := newTile(side, newWindow(side))
		for i := range tl.samples {
			tl.samples[i] = rng.NormFloat64()
		}
		tl.floor = 1e-9
		tl.transform(newWorkspace(side))
		for range 100 {
			kx, ky := rng.IntN(side/2+1+2*reach)-reach, rng.IntN(side+2*reach)-reach
			var sum complex128
			for i, v := range tl.samples {
				sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*float64(kx*(i%side)+ky*(i/side))/float64(side))
			}
			want := math.Log(real(sum)*real(sum) + imag(sum)*imag(sum) + tl.floor)
			assert.InDelta(t, want, tl.logs[tl.at(kx, ky)], 1e-6, "%d: %d, %d", side, kx, ky)
		}
	}
}

// Where the logarithm of power is a slope, what surrounds a frequency says its value, and
// so does the line to frequency 0.
func TestSurroundingsOfASlope(t *testing.T) {
	tl := newTile(64, newWindow(64))
	w := newWorkspace(64)
	for x := -reach; x <= 32+reach; x++ {
		for y := -reach; y < 64+reach; y++ {
			tl.logs[tl.at(x, y)] = 0.1*float64(x) - 0.03*float64(y)
		}
	}
	sums(w.narrow, tl.logs, tl.down(), core)
	sums(w.wide, tl.logs, tl.down(), reach)
	i := tl.at(15, 20)
	assert.InDelta(t, 24*tl.logs[i], w.narrow[i]-tl.logs[i], 1e-9)
	assert.InDelta(t, 81*tl.logs[i], w.wide[i], 1e-9)
	assert.InDelta(t, tl.logs[i], math.Log(tl.along(15, 20))-medianOfLog, 1e-9, "3-4-5: 3 bins out and in are whole")
}

func TestExp(t *testing.T) {
	for x := -50.0; x < 50; x += 0.0137 {
		assert.InEpsilon(t, math.Exp(x), exp(x), 1e-10, "x = %g", x)
	}
}
