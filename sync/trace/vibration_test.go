package trace_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// shake gives the shifts of a position that swings at some frequencies (frequency,
// amplitude along x, along y) on a camera that pans, with noise.
func shake(r *rand.Rand, n int, fps, noise float64, swings ...[3]float64) []trace.Shift {
	phases := make([]float64, len(swings))
	for i := range phases {
		phases[i] = 2 * math.Pi * r.Float64()
	}
	at := func(i int) (x, y float64) {
		x = 1.5 * float64(i)
		for k, s := range swings {
			p := 2*math.Pi*s[0]*float64(i)/fps + phases[k]
			x, y = x+s[1]*math.Sin(p), y+s[2]*math.Cos(p+1)
		}
		return
	}
	out := []trace.Shift{{}}
	for i := 1; i < n; i++ {
		x0, y0 := at(i - 1)
		x1, y1 := at(i)
		out = append(out, trace.Shift{X: x1 - x0 + noise*r.NormFloat64(), Y: y1 - y0 + noise*r.NormFloat64(), Known: r.IntN(40) > 0})
	}
	return out
}

func TestVibrationClosedLoop(t *testing.T) {
	near.NumbersOnly(t)
	var frequency, x, y score
	alarms := 0
	for seed := range *seeds / 2 {
		r := rand.New(rand.NewPCG(uint64(seed), 40))
		f := [2]float64{2 + 2*r.Float64(), 6 + 5*r.Float64()}
		a := [2][3]float64{{f[0], 1 + r.Float64(), 0.3}, {f[1], 0.2, 0.1 + 0.2*r.Float64()}}
		got, err := trace.MeasureVibration(shake(r, 400, 24, 0.05, a[0], a[1]), trial.Rate(24, 1))
		require.NoError(t, err)
		if !assert.GreaterOrEqual(t, len(got.Peaks), 2, "seed %d", seed) {
			continue
		}
		alarms += len(got.Peaks) - 2
		for i, p := range got.Peaks[:2] {
			k := 0
			if p.Frequency > 5 {
				k = 1
			}
			if i == 1 && (p.Frequency > 5) == (got.Peaks[0].Frequency > 5) {
				t.Logf("seed %d: %+v, want %v", seed, got, a)
			}
			frequency.add(float64(p.Frequency), f[k], float64(p.FrequencyError))
			x.add(p.X, a[k][1], p.ErrorX)
			y.add(p.Y, a[k][2], p.ErrorY)
		}
		still, err := trace.MeasureVibration(shake(r, 400, 24, 0.05), trial.Rate(24, 1))
		require.NoError(t, err)
		alarms += len(still.Peaks)
		assert.InEpsilon(t, 0.05, still.RestX, 0.25, "the noise")
	}
	frequency.check(t, "frequency")
	x.check(t, "amplitude along x")
	y.check(t, "amplitude along y")
	assert.LessOrEqual(t, alarms, *seeds/50, "false alarms in two takes")
}

// The place of each frame is uncertain, so that neighbouring shifts err in opposite ways;
// and a hand that holds a camera sways slowly. Neither is a vibration, and one that is
// there is found in them, with errors as stated.
func TestVibrationInUnevenNoise(t *testing.T) {
	near.NumbersOnly(t)
	var frequency, x score
	alarms := 0
	for seed := range 2 * *seeds {
		r := rand.New(rand.NewPCG(uint64(seed), 43))
		var last, sway [2]float64
		noise := make([][2]float64, 300)
		for i := range noise {
			for a := range 2 {
				now := r.NormFloat64()
				sway[a] = 0.8*sway[a] + r.NormFloat64()
				noise[i][a] = 0.05 * (now - last[a])
				if seed%2 == 1 {
					noise[i][a] = 0.05 * sway[a]
				}
				last[a] = now
			}
		}
		for _, amplitude := range []float64{0, 0.3} {
			shifts := shake(r, len(noise), 24, 0, [3]float64{9.3, amplitude, amplitude / 2})
			for i := 1; i < len(shifts); i++ {
				shifts[i].X += noise[i][0]
				shifts[i].Y += noise[i][1]
			}
			got, err := trace.MeasureVibration(shifts, trial.Rate(24, 1))
			require.NoError(t, err)
			if amplitude > 0 {
				require.NotEmpty(t, got.Peaks, "seed %d", seed)
				frequency.add(float64(got.Peaks[0].Frequency), 9.3, float64(got.Peaks[0].FrequencyError))
				x.add(got.Peaks[0].X, amplitude, got.Peaks[0].ErrorX)
			} else {
				alarms += len(got.Peaks)
			}
		}
	}
	for _, s := range []score{frequency, x} {
		assert.LessOrEqual(t, s.n-s.within, max(1, s.n/100), "beyond three uncertainties, of %d", s.n)
		assert.Less(t, math.Abs(s.sum/float64(s.n)), 0.5, "bias, in uncertainties")
	}
	assert.LessOrEqual(t, alarms, max(1, *seeds/50), "false alarms")
	t.Logf("%d false alarms in %d takes", alarms, 2**seeds)
}

func TestVibrationOfSine(t *testing.T) {
	got, err := trace.MeasureVibration(shake(rand.New(rand.NewPCG(1, 41)), 480, 24, 1e-6, [3]float64{5, 2, 0.5}), trial.Rate(24, 1))
	require.NoError(t, err)
	require.NotEmpty(t, got.Peaks)
	ref.Near(t, "T-VIBRATION", float64(got.Peaks[0].Frequency), 5)
	ref.Near(t, "T-VIBRATION", got.Peaks[0].X, 2)
	ref.Near(t, "T-VIBRATION", got.Peaks[0].Y, 0.5)
}

func TestVibrationRefuses(t *testing.T) {
	shifts := make([]trace.Shift, 100)
	_, err := trace.MeasureVibration(shifts, trial.Rate(24, 1))
	assert.ErrorContains(t, err, "shifts 0 of 99 known: must be known in nine of ten")
	for i := range shifts {
		shifts[i].Known = true
	}
	got, err := trace.MeasureVibration(shifts, trial.Rate(24, 1))
	require.NoError(t, err)
	assert.Empty(t, got.Peaks, "a camera that stands")
	shifts[3].Y = math.NaN()
	_, err = trace.MeasureVibration(shifts, trial.Rate(1001, 1))
	assert.ErrorContains(t, err, "rate 1001")
	assert.ErrorContains(t, err, "shifts[3] not a shift")
	_, err = trace.MeasureVibration(shifts[:63], trial.Rate(24, 1))
	assert.ErrorContains(t, err, "shifts 63")
}
