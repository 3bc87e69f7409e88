package fit_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/fit"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Rigs with cameras exposed and balanced differently, and turned by some 0.4 px from where
// they are believed to look.
func TestGainsOfRigs(t *testing.T) {
	near.NumbersOnly(t)
	names := []string{"pairs", "tints of pairs", "stops", "tints", "closures", "residuals"}
	var tallies [6]tally
	for seed := range *rigs {
		g := simulate(t, seed)
		var pairs []fit.Pair
		for _, n := range g.pairs {
			pairs = append(pairs, must[fit.Pair](t)(fit.MeasurePair(g.plates[n[0]], g.plates[n[1]], fit.PairSpec{A: n[0], B: n[1], Patch: 6})))
		}
		gains := must[fit.Gains](t)(fit.MeasureGains(pairs, fit.GainSpec{Cameras: len(g.shots)}))
		for k, n := range g.pairs {
			a, b := g.shots[n[0]].stops, g.shots[n[1]].stops
			p := pairs[k]
			for c := range 3 {
				tallies[0].add(p.Stops[c], b[c]-a[c])
				assert.Less(t, p.Stops[c].Uncertainty, 0.02, "stops")
				if c != 1 {
					tallies[1].add(p.Tints[c], b[c]-a[c]-b[1]+a[1])
				}
				if e := gains.Residuals[k][c]; e.Uncertainty > 0 {
					tallies[5].add(e, 0)
				}
			}
		}
		var mean [3]float64
		for _, s := range g.shots {
			for c, v := range s.stops {
				mean[c] += v / float64(len(g.shots))
			}
		}
		for i, s := range g.shots {
			for c, v := range s.stops {
				tallies[2].add(gains.Stops[i][c], v-mean[c])
				if c != 1 {
					tallies[3].add(gains.Tints[i][c], v-mean[c]-s.stops[1]+mean[1])
				}
			}
		}
		for _, l := range gains.Closures {
			for _, e := range l.Stops {
				tallies[4].add(e, 0)
			}
		}
	}
	for i, name := range names {
		tallies[i].log(t, name)
		ref.Within(t, "P-FIT-WITHIN", tallies[i].outside(), name)
		ref.Within(t, "P-FIT-BIAS", tallies[i].bias(), name)
		assert.InDelta(t, 0, math.Log2(tallies[i].deviation()), 0.5, "%s: uncertainties are not idle", name)
	}
}

// One camera is 1/3 stop and 4 % in blue off, twice the limits. It is found, and nothing
// else is.
func TestCameraThatDiffersIsFound(t *testing.T) {
	near.NumbersOnly(t)
	missed, alarms, all := 0, 0, 0
	for seed := 1; seed < *rigs; seed += 2 {
		g := simulate(t, seed)
		if len(g.shots) < 3 {
			continue // either may be the one
		}
		var pairs []fit.Pair
		for _, n := range g.pairs {
			pairs = append(pairs, must[fit.Pair](t)(fit.MeasurePair(g.plates[n[0]], g.plates[n[1]], fit.PairSpec{A: n[0], B: n[1], Patch: 6})))
		}
		gains := must[fit.Gains](t)(fit.MeasureGains(pairs, fit.GainSpec{Cameras: len(g.shots), Gauge: fit.Median}))
		for i := range g.shots {
			all++
			exposed := math.Abs(gains.Stops[i][1].Value) > 1./6
			red := math.Abs(gains.Tints[i][0].Value) > math.Log2(1.02)
			blue := math.Abs(gains.Tints[i][2].Value) > math.Log2(1.02)
			switch {
			case i == g.off && !(exposed && blue):
				missed++
			case red || i != g.off && (exposed || blue):
				alarms++
			}
		}
	}
	ref.Within(t, "P-FIT-FOUND", float64(missed)/float64(all), "missed")
	ref.Within(t, "P-FIT-FOUND", float64(alarms)/float64(all), "false alarms")
}

func pair(a, b int, stops, u float64) fit.Pair {
	return fit.Pair{A: a, B: b, Stops: []fit.Estimate{{Value: stops, Uncertainty: u}}, Tints: make([]fit.Estimate, 1)}
}

// Networks solved by symmetry: three equal pairs in a ring share what the ring is short of
// equally; of two equal chains between two cameras the mean holds.
func TestNetworks(t *testing.T) {
	ring := []fit.Pair{pair(0, 1, 0.5, 0.1), pair(2, 1, 0.3, 0.1), pair(0, 2, 0.26, 0.1)} // 0.5 − 0.3 − 0.26 = −0.06
	g := must[fit.Gains](t)(fit.MeasureGains(ring, fit.GainSpec{Cameras: 3, Gauge: fit.Reference}))
	for i, want := range []float64{0, 0.52, 0.24} {
		ref.Near(t, "P-FIT-NETWORK", g.Stops[i][0].Value+1, want+1)
	}
	// A pair of 0.1 beside a chain of two: 1/u² = 100 + 50.
	for i, want := range []float64{0, math.Sqrt(1. / 150), math.Sqrt(1. / 150)} {
		ref.Near(t, "P-FIT-NETWORK", g.Stops[i][0].Uncertainty+1, want+1)
	}
	for k, want := range []float64{-0.02, 0.02, 0.02} {
		ref.Near(t, "P-FIT-NETWORK", g.Residuals[k][0].Value+1, want+1)
		ref.Near(t, "P-FIT-NETWORK", g.Residuals[k][0].Uncertainty, 0.1/math.Sqrt(3))
	}
	want := []fit.Closure{{Cameras: []int{0, 2, 1}, Stops: []fit.Estimate{{Value: 0.26 + 0.3 - 0.5, Uncertainty: 0.1 * math.Sqrt(3)}}}}
	got := fromLeast(g.Closures)
	assert.Empty(t, cmp.Diff(fromLeast(want), got, cmpopts.EquateApprox(1e-12, 1e-12)))

	// A ring ten times as far open as it should be: χ² = 0.6²/(3·0.1²) = 12.
	ring[2].Stops[0].Value += 0.54
	g = must[fit.Gains](t)(fit.MeasureGains(ring, fit.GainSpec{Cameras: 3, Gauge: fit.Reference, Reference: 1}))
	ref.Near(t, "P-FIT-NETWORK", g.Stops[0][0].Uncertainty, math.Sqrt(12./150))
	assert.Zero(t, g.Stops[1][0])

	// A chain: the mean of 0, 1 and 3 is 4/3.
	chain := []fit.Pair{pair(0, 1, 1, 0.3), pair(1, 2, 2, 0.4)}
	g = must[fit.Gains](t)(fit.MeasureGains(chain, fit.GainSpec{Cameras: 3}))
	ref.Near(t, "P-FIT-NETWORK", g.Stops[0][0].Value, -4./3)
	ref.Near(t, "P-FIT-NETWORK", g.Stops[2][0].Value, 5./3)
	// Camera 0 is the mean less (2 pair 0 + pair 1)/3.
	ref.Near(t, "P-FIT-NETWORK", g.Stops[0][0].Uncertainty, math.Hypot(2*0.3, 0.4)/3)
	assert.Empty(t, g.Closures)
	assert.Zero(t, g.Residuals[0][0].Uncertainty)

	g = must[fit.Gains](t)(fit.MeasureGains(chain, fit.GainSpec{Cameras: 3, Gauge: fit.Median}))
	ref.Near(t, "P-FIT-NETWORK", g.Stops[2][0].Value, 2)
	ref.Near(t, "P-FIT-NETWORK", g.Stops[2][0].Uncertainty, 0.4)
	// The camera in the middle has the uncertainty that it has against the mean.
	ref.Near(t, "P-FIT-NETWORK", g.Stops[1][0].Uncertainty, math.Hypot(0.3, 0.4)/3)
}

// fromLeast turns each loop so that it begins with its least camera and goes on to the
// lesser of its neighbours.
func fromLeast(loops []fit.Closure) []fit.Closure {
	for i, l := range loops {
		n := len(l.Cameras)
		least := 0
		for k, c := range l.Cameras {
			if c < l.Cameras[least] {
				least = k
			}
		}
		turned := append(append([]int{}, l.Cameras[least:]...), l.Cameras[:least]...)
		if n > 2 && turned[1] > turned[n-1] {
			back := []int{turned[0]}
			for k := n - 1; k > 0; k-- {
				back = append(back, turned[k])
			}
			turned = back
			loops[i].Stops = append([]fit.Estimate{}, l.Stops...)
			for c := range l.Stops {
				loops[i].Stops[c].Value *= -1
			}
		}
		loops[i].Cameras = turned
	}
	return loops
}

func TestGainsRefused(t *testing.T) {
	three := fit.GainSpec{Cameras: 3}
	for _, tc := range []struct {
		pairs []fit.Pair
		spec  fit.GainSpec
		want  string
	}{
		{[]fit.Pair{pair(0, 1, 0, 0.1)}, three, "pairs none for camera 2: must join all cameras to camera 0"},
		{[]fit.Pair{pair(1, 2, 0, 0.1)}, three, "pairs none for camera 1, 2"},
		{nil, three, "pairs 0: must be"},
		{[]fit.Pair{pair(0, 3, 0, 0.1)}, three, "b 3: must be"},
		{[]fit.Pair{pair(1, 1, 0, 0.1)}, three, "b 1: must be another camera"},
		{[]fit.Pair{pair(0, 1, math.NaN(), 0.1)}, three, "stops NaN"},
		{[]fit.Pair{pair(0, 1, 0, -1)}, three, "uncertainty -1"},
		{[]fit.Pair{pair(0, 1, 0, 0.1), {A: 1, B: 2}}, three, "channels 0"},
		{[]fit.Pair{pair(0, 1, 0, 0.1)}, fit.GainSpec{Cameras: 1}, "cameras 1"},
		{[]fit.Pair{pair(0, 1, 0, 0.1)}, fit.GainSpec{Cameras: 2, Gauge: 9}, "gauge"},
		{[]fit.Pair{pair(0, 1, 0, 0.1)}, fit.GainSpec{Cameras: 2, Gauge: fit.Reference, Reference: 2}, "reference 2"},
	} {
		g, err := fit.MeasureGains(tc.pairs, tc.spec)
		assert.ErrorIs(t, err, fit.ErrInvalid)
		assert.ErrorContains(t, err, tc.want)
		assert.Zero(t, g)
	}
}

func TestGaugeAsText(t *testing.T) {
	b, err := json.Marshal([]fit.Gauge{fit.Mean, fit.Median, fit.Reference})
	require.NoError(t, err)
	assert.Equal(t, `["mean","median","reference"]`, string(b))
	var back []fit.Gauge
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, []fit.Gauge{fit.Mean, fit.Median, fit.Reference}, back)
}
