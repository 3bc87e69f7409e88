package pattern_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/wall/pattern"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
)

// Parts of a photograph with a sinusoid of 3 %, which the peer is told to within two bins.
func TestPatternsBesidePeers(t *testing.T) {
	near.NumbersOnly(t)
	answers := same.Answers(t, "pattern")
	frequencies, contrasts := map[string][]float64{}, map[string][]float64{}
	for k := range 50 {
		r := same.Random{Seed: uint64(700 + k)}
		scene := same.Crop(t, r.Below(440*256), r.Below(180*256), 64, 256, 256)
		f := r2.Vec{X: float64(60+r.Below(380)) / 1000, Y: float64(r.Below(800)-400) / 1000}
		turn := float64(r.Below(6000)) / 1000
		for i, v := range scene {
			scene[i] = int(float64(8000+v) * (1 + 0.03*math.Cos(2*math.Pi*(f.X*float64(i%256)+f.Y*float64(i/256))+turn)))
		}
		m, err := pattern.MeasurePatterns(pattern.Plane[uint16]{Pix: r.Record(scene, 400), Width: 256, Height: 256},
			pattern.Spec{Linear: func(code float64) float64 { return code - 4000 }})
		require.NoError(t, err)
		frequency, contrast := math.NaN(), math.NaN()
		for _, p := range m.Found {
			if d := r2.Norm(apart(p.Frequency, f)); d < 1./128 && !(d > frequency) {
				frequency, contrast = d, p.Contrast.Value-0.03
			}
		}
		frequencies["ours"], contrasts["ours"] = append(frequencies["ours"], frequency), append(contrasts["ours"], contrast)
		for peer, a := range answers {
			frequencies[peer] = append(frequencies[peer], r2.Norm(apart(r2.Vec{X: a[k][0], Y: a[k][1]}, f)))
			contrasts[peer] = append(contrasts[peer], a[k][2]-0.03)
		}
	}
	ref.Within(t, "W-PAT-PEERS", same.Behind(t, "frequency, 1/px", frequencies))
	ref.Within(t, "W-PAT-PEERS-CONTRAST", same.Behind(t, "contrast", contrasts))
}
