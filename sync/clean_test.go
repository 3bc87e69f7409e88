package sync_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
)

// ticks gives times as whole numbers of the largest tick that they share.
func ticks(times ...timing.Seconds) []int64 {
	den := big.NewInt(1)
	for _, s := range times {
		d := ratOf(s).Denom()
		den.Div(new(big.Int).Mul(den, d), new(big.Int).GCD(nil, nil, den, d))
	}
	out, common := make([]int64, len(times)), new(big.Int)
	for i, s := range times {
		n := new(big.Rat).Mul(ratOf(s), new(big.Rat).SetInt(den)).Num()
		out[i] = n.Int64()
		common.GCD(nil, nil, common, n)
	}
	for i := range out {
		out[i] /= common.Int64()
	}
	return out
}

// steady reports whether an exposure of so many ticks gets the same light from a
// light of so many ticks a period, whenever it begins. The waveform is ragged: no
// two of its sums over less than a period agree by chance.
func steady(exposure, period int64) bool {
	sum := func(from int64) (s float64) {
		for i := range exposure {
			x := float64((from + i) % period)
			s += 1 + math.Sin(1.3*x*x+0.7*x)
		}
		return s
	}
	first := sum(0)
	for begins := int64(1); begins < period; begins++ {
		if math.Abs(sum(begins)-first) > 1e-9*float64(exposure) {
			return false
		}
	}
	return true
}

// simulated finds by trial the exposures, of a tick to a frame, that are steady
// under all the lights.
func simulated(camera timing.Rate, lights ...timing.Rate) (angles []timing.ShutterAngle) {
	times := []timing.Seconds{camera.Period()}
	for _, l := range lights {
		times = append(times, l.Period())
	}
	n := ticks(times...)
	for exposure := int64(1); exposure <= n[0]; exposure++ {
		clean := true
		for _, period := range n[1:] {
			clean = clean && steady(exposure, period)
		}
		if clean {
			angles = append(angles, must(timing.NewShutterAngle(360*exposure, n[0])))
		}
	}
	return angles
}

func TestCleanAnglesAgainstSimulatedLight(t *testing.T) {
	for _, camera := range []timing.Rate{rate(24, 1), rate(24000, 1001), rate(25, 1), rate(30, 1), rate(30000, 1001), rate(48, 1), rate(50, 1), rate(60, 1)} {
		for _, mains := range []int64{50, 60} {
			light := must(timing.MainsFlicker(rate(mains, 1)))
			got := must(timing.CleanAngles(timing.CleanSpec{Camera: camera, Light: light}))
			ref.Equal(t, "T-CLEAN", fmt.Sprint(got), fmt.Sprint(simulated(camera, light)), camera, mains)
		}
	}
	for _, tc := range [][3]timing.Rate{
		{rate(4, 1), rate(100, 1), rate(240, 1)}, {rate(24, 1), rate(100, 1), rate(3840, 1)},
		{rate(24, 1), rate(120, 1), rate(1000, 1)}, {rate(25, 1), rate(100, 1), rate(120, 1)},
	} {
		got := must(timing.CleanAngles(timing.CleanSpec{Camera: tc[0], Light: tc[1], Other: tc[2]}))
		ref.Equal(t, "T-CLEAN-COMMON", fmt.Sprint(got), fmt.Sprint(simulated(tc[0], tc[1:]...)), tc)
	}
}

// TestMainsFlicker counts how often the power of a sine has a peak in a second.
func TestMainsFlicker(t *testing.T) {
	for _, mains := range []int64{50, 60} {
		peaks, steps := int64(0), 100*mains
		power := func(i int64) float64 {
			v := math.Sin(2 * math.Pi * float64(mains) * float64(i) / float64(steps))
			return v * v
		}
		for i := range steps {
			if power(i) > power(i-1) && power(i) > power(i+1) {
				peaks++
			}
		}
		ref.Equal(t, "T-MAINS", must(timing.MainsFlicker(rate(mains, 1))), rate(peaks, 1), mains)
	}
}

// TestKnownCleanAngles holds the two that every camera assistant knows.
func TestKnownCleanAngles(t *testing.T) {
	for mains, want := range map[int64]string{50: "172.8", 60: "144"} {
		got := must(timing.CleanAngles(timing.CleanSpec{Camera: rate(24, 1), Light: must(timing.MainsFlicker(rate(mains, 1)))}))
		ref.Equal(t, "T-CLEAN-KNOWN", got[1], degrees(want), mains)
	}
}

func TestToleranceOfTheOtherLight(t *testing.T) {
	// 120 pulses of the mains: under a wall of 3840 Hz each is 32 periods, so that
	// all are common. Under 1000 Hz, 1, 2, 4 and 5 pulses are 8⅓, 16⅔, 33⅓ and 41⅔
	// periods, which miss by 1/25, 1/50, 1/100 and 1/125 of the exposure.
	spec := timing.CleanSpec{Camera: rate(24, 1), Light: rate(120, 1)}
	for _, tc := range []struct {
		wall      int64
		tolerance float64
		want      int
	}{
		{3840, 0, 5}, {1000, 0, 1}, {1000, 0.0079, 1}, {1000, 0.0081, 2}, {1000, 0.0101, 3}, {1000, 0.0201, 4}, {1000, 0.0401, 5},
		{50, 0.999, 4}, // the first holds less than half a period of it
	} {
		spec.Other, spec.Tolerance = rate(tc.wall, 1), tc.tolerance
		assert.Len(t, must(timing.CleanAngles(spec)), tc.want, tc)
	}
}

// TestMissOfLargeRates compares with exact fractions where the products of the rates
// take more than 64 bits.
func TestMissOfLargeRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(39, 40))
	large := func() int64 { return math.MaxInt32 - rng.Int64N(1<<30) }
	listed := 0
	for range 200 {
		spec := timing.CleanSpec{Camera: rate(1, 9), Light: rate(large(), large()), Other: rate(large(), large()), Tolerance: 0.04}
		per := new(big.Rat).Quo(ratOf(spec.Other), ratOf(spec.Light))
		want := 0
		for k := int64(1); k <= 18 && new(big.Rat).Quo(ratOf(spec.Light), ratOf(spec.Camera)).Cmp(big.NewRat(k, 1)) >= 0; k++ {
			x := new(big.Rat).Mul(per, big.NewRat(k, 1))
			f, _ := x.Float64()
			whole := math.Max(1, math.Round(f))
			miss, _ := new(big.Rat).Sub(x, new(big.Rat).SetFloat64(whole)).Float64()
			if math.Abs(miss)/f <= spec.Tolerance {
				want++
			}
		}
		assert.Len(t, must(timing.CleanAngles(spec)), want, spec)
		listed += want
	}
	assert.Greater(t, listed, 100)
}

func TestNearestCleanAngle(t *testing.T) {
	// Against the nearest of the whole list, the wider of two.
	for _, spec := range []timing.CleanSpec{
		{Camera: rate(24, 1), Light: rate(100, 1)}, {Camera: rate(30000, 1001), Light: rate(3840, 1)},
		{Camera: rate(4, 1), Light: rate(100, 1), Other: rate(240, 1)},
		{Camera: rate(24, 1), Light: rate(120, 1), Other: rate(1000, 1), Tolerance: 0.011},
	} {
		list := must(timing.CleanAngles(spec))
		require.NotEmpty(t, list)
		wanted := list
		for i := int64(1); i <= 720; i++ {
			wanted = append(wanted, must(timing.NewShutterAngle(i, 2)))
		}
		for _, w := range wanted {
			var best timing.ShutterAngle
			var change *big.Rat
			at := ratOf(must(w.Exposure(rate(1, 1))))
			for _, a := range list {
				d := new(big.Rat).Sub(ratOf(must(a.Exposure(rate(1, 1)))), at)
				if change == nil || new(big.Rat).Abs(d).Cmp(new(big.Rat).Abs(change)) <= 0 {
					best, change = a, d
				}
			}
			got := must(timing.NearestCleanAngle(spec, w))
			ref.Equal(t, "T-CLEAN-NEAREST", got.Angle, best, spec, w)
			ref.Equal(t, "T-CLEAN-NEAREST", got.Limit, timing.Clean, spec, w)
			turns, _ := change.Float64()
			assert.InDelta(t, 360*turns, float64(got.Change/timing.Degree), 1e-12, "exact difference, few roundings")
			assert.Zero(t, got.LightMiss)
			assert.LessOrEqual(t, got.OtherMiss, spec.Tolerance)
		}
	}
	// Halfway, the wider one: 129.6° between 86.4° and 172.8°.
	got := must(timing.NearestCleanAngle(timing.CleanSpec{Camera: rate(24, 1), Light: rate(100, 1)}, degrees("129.6")))
	assert.Equal(t, degrees("172.8"), got.Angle)
	assert.InDelta(t, 43.2, float64(got.Change/timing.Degree), 1e-13, "exact difference, few roundings")
}

func TestNoCleanAngle(t *testing.T) {
	// One pulse at 101 Hz is 97/101 of a period at 97 Hz, so that 1 to 4 pulses all
	// miss by 4/97 of the exposure. Of equals, the nearest is given.
	spec := timing.CleanSpec{Camera: rate(24, 1), Light: rate(101, 1), Other: rate(97, 1), Tolerance: 0.04}
	for wanted, pulses := range map[string]int64{"90": 1, "180": 2, "360": 4} {
		got := must(timing.NearestCleanAngle(spec, degrees(wanted)))
		assert.Equal(t, timing.OtherMissed, got.Limit)
		assert.Equal(t, must(timing.NewShutterAngle(360*24*pulses, 101)), got.Angle)
		assert.InDelta(t, 4./97, got.OtherMiss, 1e-15, "one rounding")
		assert.Zero(t, got.LightMiss)
	}
	assert.Empty(t, must(timing.CleanAngles(spec)))

	// The least miss is not the nearest: at 120 Hz and 1000 Hz, 1 pulse is 8⅓ periods
	// and misses by 1/25, and 2 pulses are 16⅔ and miss by 1/50.
	spec = timing.CleanSpec{Camera: rate(48, 1), Light: rate(120, 1), Other: rate(1000, 1), Tolerance: 0.001}
	got := must(timing.NearestCleanAngle(spec, degrees("150")))
	assert.Equal(t, degrees("288"), got.Angle)
	assert.Equal(t, timing.OtherMissed, got.Limit)
	assert.InDelta(t, 1./50, got.OtherMiss, 1e-15, "one rounding")

	// A light with less than a period in a frame: 24/50 and 10/50.
	spec = timing.CleanSpec{Camera: rate(50, 1), Light: rate(24, 1), Other: rate(10, 1), Tolerance: 0.5}
	got = must(timing.NearestCleanAngle(spec, degrees("180")))
	assert.Equal(t, degrees("360"), got.Angle)
	assert.Equal(t, timing.LightTooSlow, got.Limit)
	assert.InDelta(t, 180, float64(got.Change/timing.Degree), 1e-13, "roundings")
	assert.InDelta(t, 26./24, got.LightMiss, 1e-15, "one rounding")
	assert.InDelta(t, 4, got.OtherMiss, 1e-15, "one rounding")
	assert.Empty(t, must(timing.CleanAngles(spec)))
	spec.Other = timing.Rate{}
	assert.Zero(t, must(timing.NearestCleanAngle(spec, degrees("180"))).OtherMiss)
}

// TestMissBoundsWhatASineLeaves holds the promise of CleanShutter, against the
// integral of the sine over the exposure.
func TestMissBoundsWhatASineLeaves(t *testing.T) {
	for _, camera := range tradeRates() {
		for hz := int64(20); hz < 1000; hz += 7 {
			for _, light := range []int64{10, 50, 100, 120} {
				spec := timing.CleanSpec{Camera: camera, Light: rate(light, 1), Other: rate(hz, 1)}
				got := must(timing.NearestCleanAngle(spec, degrees("180")))
				exposure := float64(must(got.Angle.Exposure(camera)).Time())
				assert.LessOrEqual(t, remains(float64(light), exposure), got.LightMiss+1e-12)
				assert.LessOrEqual(t, remains(float64(hz), exposure), got.OtherMiss+1e-12)
			}
		}
	}
}

// remains is the modulation of 1 + cos(2π f t) in its mean over an exposure: the
// integrals of cosine and sine, by Gauss's quadrature.
func remains(f, exposure float64) float64 {
	nodes, weights := gauss()
	var cos, sin float64
	for i, x := range nodes {
		s, c := math.Sincos(2 * math.Pi * f * exposure * x)
		cos, sin = cos+weights[i]*c, sin+weights[i]*s
	}
	return math.Hypot(cos, sin)
}

// gauss is exact to rounding for 40 periods and more.
var gauss = sync.OnceValues(func() (nodes, weights []float64) {
	nodes, weights = make([]float64, 200), make([]float64, 200)
	quad.Legendre{}.FixedLocations(nodes, weights, 0, 1)
	return nodes, weights
})

func TestCleanAnglesAtTheEnds(t *testing.T) {
	fast := timing.CleanSpec{Camera: rate(1, math.MaxInt32), Light: rate(math.MaxInt32, 1)}
	assert.Equal(t, degrees("180").Angle(), must(timing.NearestCleanAngle(fast, degrees("180"))).Angle.Angle(), "one light needs no list")
	most := timing.CleanSpec{Camera: rate(1, 1), Light: rate(1<<20, 1)}
	assert.Len(t, must(timing.CleanAngles(most)), 1<<20)
	tooMany, tooManyCommon := most, fast
	tooMany.Light, tooManyCommon.Other = rate(1<<20+1, 1), rate(100, 1)
	refused(t, second(timing.CleanAngles(fast)), second(timing.CleanAngles(tooMany)), second(timing.NearestCleanAngle(tooManyCommon, degrees("180"))))

	// The largest numbers that a rate takes: exact and no overflow.
	ends := timing.CleanSpec{Camera: rate(math.MaxInt32-1, math.MaxInt32), Light: rate(math.MaxInt32, math.MaxInt32-2)}
	got := must(timing.CleanAngles(ends))
	require.Len(t, got, 1)
	assert.Less(t, got[0].Angle(), 360*timing.Degree)
	assert.Greater(t, got[0].Angle(), 359.999*timing.Degree)
	assert.Equal(t, got[0], must(timing.NearestCleanAngle(ends, degrees("360"))).Angle)
	ends = timing.CleanSpec{Camera: rate(4000, 1), Light: rate(math.MaxInt32, 1), Other: rate(math.MaxInt32-1, math.MaxInt32), Tolerance: 0.5}
	assert.NoError(t, second(timing.CleanAngles(ends)))
}

func TestCleanSpecsRefused(t *testing.T) {
	assert.EqualError(t, second(timing.CleanAngles(timing.CleanSpec{Tolerance: 1})), "sync: camera rate: must be set\nsync: light rate: must be set\nsync: tolerance 1: must be at least 0 and less than 1")
	for _, tolerance := range []float64{math.NaN(), math.Nextafter(0, -1), 1, math.Inf(1)} {
		spec := timing.CleanSpec{Camera: rate(24, 1), Light: rate(100, 1), Tolerance: tolerance}
		refused(t, second(timing.CleanAngles(spec)), second(timing.NearestCleanAngle(spec, degrees("180"))))
	}
	good := timing.CleanSpec{Camera: rate(24, 1), Light: rate(100, 1), Tolerance: math.Nextafter(1, 0)}
	assert.NoError(t, second(timing.CleanAngles(good)))
	assert.EqualError(t, second(timing.NearestCleanAngle(good, timing.ShutterAngle{})), "sync: shutter angle: must be set")
	refused(t, second(timing.MainsFlicker(timing.Rate{})), second(timing.MainsFlicker(rate(math.MaxInt32, 1))))
}
