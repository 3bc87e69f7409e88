package plate_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/sensor/plate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// The straight line is that of least squares, and so is its uncertainty where those of the
// frames make it.
func TestDriftsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "drift")
	line, fit := answers["SciPy 1.10.1 linregress"], answers["SciPy 1.10.1 curve_fit"]
	for k, want := range line {
		r := same.Random{Seed: uint64(400 + k)}
		var times []unit.Time
		exact, doubted := make([]plate.Estimate, 40), make([]plate.Estimate, 40)
		for i := range exact {
			at := 0.5 * float64(i)
			times = append(times, unit.Time(at))
			exact[i].Value = float64(r.Noise())/65536 + 0.01*float64(k)*at
			doubted[i] = plate.Estimate{Value: exact[i].Value, Uncertainty: 3}
		}
		d := must[plate.Drift](t)(plate.MeasureDrift(times, exact))
		ref.Near(t, "S-DRIFT-PEER", d.StopsPerMinute.Value, want[0], k)
		ref.Near(t, "S-DRIFT-PEER", d.Scatter, want[2], k)
		// SciPy takes the frames to be independent. What 40 frames say of that is not certain.
		grain := max(0, d.Correlation)
		wider := d.StopsPerMinute.Uncertainty / want[1] / math.Sqrt((1+grain)/(1-grain))
		assert.True(t, wider > 1 && wider < 1.7, "%v of line %d", wider, k)
		d = must[plate.Drift](t)(plate.MeasureDrift(times, doubted))
		ref.Near(t, "S-DRIFT-PEER", d.StopsPerMinute.Uncertainty, fit[k][0], k)
	}
}

func percentiles[T plate.Sample](t *testing.T, pix []T, want []float64) {
	m := must[*plate.LevelMeter[T]](t)(plate.NewLevelMeter[T](plate.LevelSpec{}))
	require.NoError(t, m.Add(plate.Plane[T]{Pix: pix, Width: 64, Height: 48}))
	l := must[plate.Levels](t)(m.Measure())
	for i, f := range []float64{0, 0.003, 0.01, 0.1, 0.25, 0.5, 0.777, 0.9, 0.99, 0.9999, 1} {
		got, ok := l.Percentile(f)
		require.True(t, ok)
		ref.Equal(t, "S-PERCENTILE-PEER", got, want[i], f)
	}
}

func TestPercentilesBesidePeers(t *testing.T) {
	answers := same.Answers(t, "percentile")
	for k := range 10 {
		r := same.Random{Seed: uint64(500 + k)}
		pix := r.Record(same.Crop(t, r.Below(400*256), r.Below(180*256), 256, 64, 48), 655)
		high := make([]uint8, len(pix))
		for i, v := range pix {
			high[i] = uint8(v >> 8)
		}
		percentiles(t, pix, answers["NumPy 1.24.2 percentile 16"][k])
		percentiles(t, high, answers["NumPy 1.24.2 percentile 8"][k])
	}
}

// Parts of a photograph, soft and with detail, with noise of a known deviation.
func TestNoiseBesidePeers(t *testing.T) {
	answers := same.Answers(t, "noise")
	errors := map[string][]float64{}
	for k := range 60 {
		r := same.Random{Seed: uint64(1000 + k)}
		deviation := 150 + r.Below(1000)
		pix := r.Record(same.Crop(t, r.Below(350*256), r.Below(120*256), 96+k%2*160, 160, 120), deviation)
		n, err := plate.MeasureNoise(plate.Plane[uint16]{Pix: pix, Width: 160, Height: 120}, plate.LightSpec{})
		relative := func(noise float64) float64 { return noise/float64(deviation) - 1 }
		if err == nil {
			var weights, mean float64 // the peer takes the noise to be the same at all levels
			for _, l := range n.Levels {
				w := math.Pow(l.Noise.Uncertainty, -2)
				weights, mean = weights+w, mean+w*l.Noise.Value
			}
			errors["ours"] = append(errors["ours"], relative(mean/weights))
		} else {
			errors["ours"] = append(errors["ours"], math.NaN())
		}
		for peer, a := range answers {
			errors[peer] = append(errors[peer], relative(a[k][0]))
		}
	}
	ref.Within(t, "S-NOISE-PEER", same.Behind(t, "noise", errors))
}
