package trace_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scene is a sum of waves in the plane, read at any place, over full scale.
type scene [][4]float64

func newScene(r *rand.Rand) (s scene) {
	for range 12 {
		k := 2 * math.Pi / (12 + 60*r.Float64())
		a := 2 * math.Pi * r.Float64()
		s = append(s, [4]float64{k * math.Cos(a), k * math.Sin(a), 2 * math.Pi * r.Float64(), 0.04 * r.Float64()})
	}
	return s
}

// record samples the scene as a camera that looks (x, y) px further left and up: the
// picture moves right and down.
func (s scene) record(r *rand.Rand, x, y, noise float64, w, h int) trace.Plane[float32] {
	p := trace.Plane[float32]{Pix: make([]float32, w*h), Width: w, Height: h}
	table := normals()[r.IntN(1<<18-w*h):]
	for j := range h {
		for i := range w {
			v := 0.5 + noise*table[j*w+i]
			for _, k := range s {
				v += k[3] * math.Sin(k[0]*(float64(i)-x)+k[1]*(float64(j)-y)+k[2])
			}
			p.Pix[j*w+i] = float32(v)
		}
	}
	return p
}

func TestShiftClosedLoop(t *testing.T) {
	near.NumbersOnly(t)
	var all score
	for seed := range *seeds / 2 {
		r := rand.New(rand.NewPCG(uint64(seed), 30))
		s := newScene(r)
		var m trace.ShiftMeter[float32]
		dx, dy := 6*r.Float64()-3, 6*r.Float64()-3
		first, err := m.Add(s.record(r, 0, 0, 0.01, 128, 96))
		require.NoError(t, err)
		assert.Equal(t, trace.Shift{}, first)
		got, err := m.Add(s.record(r, dx, dy, 0.01, 128, 96))
		require.NoError(t, err)
		if !got.Known {
			all.refused++
			continue
		}
		all.add(got.X, dx, got.ErrorX)
		all.add(got.Y, dy, got.ErrorY)
	}
	all.check(t, "shift")
	assert.LessOrEqual(t, all.refused, *seeds/50)
}

func TestShiftOfBlocks(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 31))
	s := newScene(r)
	var m trace.ShiftMeter[float32]
	for n := range 3 {
		got, err := m.Add(s.record(r, 2.5*float64(n), -1.25*float64(n), 0, 400, 100)) // blocks of 2
		require.NoError(t, err)
		if n > 0 {
			ref.Near(t, "T-SHIFT", got.X, 2.5)
			ref.Near(t, "T-SHIFT", got.Y, -1.25)
		}
	}
}

// Shifts that are larger than what is looked for, to all sides, are not known.
func TestShiftTooFar(t *testing.T) {
	for i, d := range [][2]float64{{5.2, 0}, {-5.2, 0}, {0, 5.2}, {0, -5.2}, {7, 7}, {-7, -7}, {5, -5}, {-6, 6}} {
		for seed := range uint64(5) {
			r := rand.New(rand.NewPCG(seed, 1))
			s := newScene(r)
			var m trace.ShiftMeter[float32]
			_, err := m.Add(s.record(r, 0, 0, 0.001, 128, 96))
			require.NoError(t, err)
			got, err := m.Add(s.record(r, d[0], d[1], 0.001, 128, 96))
			require.NoError(t, err)
			assert.False(t, got.Known, "shift %d, seed %d: %+v", i, seed, got)
		}
	}
}

func TestShiftRefuses(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 32))
	known := 0
	for range 10 { // noise alone, and scenes that have nothing in common
		var m trace.ShiftMeter[float32]
		for range 2 {
			got, err := m.Add(scene{}.record(r, 0, 0, 0.01, 128, 96))
			require.NoError(t, err)
			if got.Known {
				known++
			}
		}
	}
	assert.Zero(t, known)
	var m trace.ShiftMeter[float32]
	beside := newScene(r).record(r, 0, 0, 0, 301, 100) // blocks of 2
	beside.Pix[301*8-1] = float32(math.NaN())
	_, err := m.Add(beside)
	assert.ErrorContains(t, err, "row 7")
	_, err = m.Add(newScene(r).record(r, 0, 0, 0, 400, 60))
	assert.ErrorContains(t, err, "must have at least 64")
	_, err = m.Add(newScene(r).record(r, 0, 0, 0, 128, 96))
	require.NoError(t, err)
	_, err = m.Add(newScene(r).record(r, 0, 0, 0, 96, 96))
	assert.ErrorContains(t, err, "must be 128 × 96 px")
}
