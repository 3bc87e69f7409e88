package sync_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ticks gives times as whole numbers of the largest tick that they share.
func ticks(times ...timing.Seconds) []int64 {
	den := big.NewInt(1)
	for _, s := range times {
		d := trial.Rat(s).Denom()
		den.Div(new(big.Int).Mul(den, d), new(big.Int).GCD(nil, nil, den, d))
	}
	out, common := make([]int64, len(times)), new(big.Int)
	for i, s := range times {
		n := new(big.Rat).Mul(trial.Rat(s), new(big.Rat).SetInt(den)).Num()
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
			angles = append(angles, trial.Must(timing.NewShutterAngle(360*exposure, n[0])))
		}
	}
	return angles
}

func TestCleanAnglesAgainstSimulatedLight(t *testing.T) {
	for _, camera := range []timing.Rate{trial.Rate(24, 1), trial.Rate(24000, 1001), trial.Rate(25, 1), trial.Rate(30, 1), trial.Rate(30000, 1001), trial.Rate(48, 1), trial.Rate(50, 1), trial.Rate(60, 1)} {
		for _, mains := range []int64{50, 60} {
			light := trial.Must(timing.MainsFlicker(trial.Rate(mains, 1)))
			got := trial.Must(timing.CleanAngles(timing.CleanSpec{Camera: camera, Light: light}))
			ref.Equal(t, "T-CLEAN", fmt.Sprint(got), fmt.Sprint(simulated(camera, light)), camera, mains)
		}
	}
	for _, tc := range [][3]timing.Rate{
		{trial.Rate(4, 1), trial.Rate(100, 1), trial.Rate(240, 1)}, {trial.Rate(24, 1), trial.Rate(100, 1), trial.Rate(3840, 1)},
		{trial.Rate(24, 1), trial.Rate(120, 1), trial.Rate(1000, 1)}, {trial.Rate(25, 1), trial.Rate(100, 1), trial.Rate(120, 1)},
	} {
		got := trial.Must(timing.CleanAngles(timing.CleanSpec{Camera: tc[0], Light: tc[1], Other: tc[2]}))
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
		ref.Equal(t, "T-MAINS", trial.Must(timing.MainsFlicker(trial.Rate(mains, 1))), trial.Rate(peaks, 1), mains)
	}
}

// TestKnownCleanAngles holds the two that every camera assistant knows.
func TestKnownCleanAngles(t *testing.T) {
	for mains, want := range map[int64]string{50: "172.8", 60: "144"} {
		got := trial.Must(timing.CleanAngles(timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Must(timing.MainsFlicker(trial.Rate(mains, 1)))}))
		ref.Equal(t, "T-CLEAN-KNOWN", got[1], trial.Degrees(want), mains)
	}
}

func TestToleranceOfTheOtherLight(t *testing.T) {
	// 120 pulses of the mains: under a wall of 3840 Hz each is 32 periods, so that
	// all are common. Under 1000 Hz, 1, 2, 4 and 5 pulses are 8⅓, 16⅔, 33⅓ and 41⅔
	// periods, which miss by 1/25, 1/50, 1/100 and 1/125 of the exposure.
	spec := timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(120, 1)}
	for _, tc := range []struct {
		wall      int64
		tolerance float64
		want      int
	}{
		{3840, 0, 5}, {1000, 0, 1}, {1000, 0.0079, 1}, {1000, 0.0081, 2}, {1000, 0.0101, 3}, {1000, 0.0201, 4}, {1000, 0.0401, 5},
		{50, 0.999, 4}, // the first holds less than half a period of it
	} {
		spec.Other, spec.Tolerance = trial.Rate(tc.wall, 1), tc.tolerance
		assert.Len(t, trial.Must(timing.CleanAngles(spec)), tc.want, tc)
	}
}

// TestMissOfLargeRates compares with exact fractions where the products of the rates
// take more than 64 bits.
func TestMissOfLargeRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(39, 40))
	large := func() int64 { return math.MaxInt32 - rng.Int64N(1<<30) }
	listed := 0
	for range 200 {
		spec := timing.CleanSpec{Camera: trial.Rate(1, 9), Light: trial.Rate(large(), large()), Other: trial.Rate(large(), large()), Tolerance: 0.04}
		per := new(big.Rat).Quo(trial.Rat(spec.Other), trial.Rat(spec.Light))
		want := 0
		for k := int64(1); k <= 18 && new(big.Rat).Quo(trial.Rat(spec.Light), trial.Rat(spec.Camera)).Cmp(big.NewRat(k, 1)) >= 0; k++ {
			x := new(big.Rat).Mul(per, big.NewRat(k, 1))
			f, _ := x.Float64()
			whole := math.Max(1, math.Round(f))
			miss, _ := new(big.Rat).Sub(x, new(big.Rat).SetFloat64(whole)).Float64()
			if math.Abs(miss)/f <= spec.Tolerance {
				want++
			}
		}
		assert.Len(t, trial.Must(timing.CleanAngles(spec)), want, spec)
		listed += want
	}
	assert.Greater(t, listed, 100)
}

func TestNearestCleanAngle(t *testing.T) {
	// Against the nearest of the whole list, the wider of two.
	for _, spec := range []timing.CleanSpec{
		{Camera: trial.Rate(24, 1), Light: trial.Rate(100, 1)}, {Camera: trial.Rate(30000, 1001), Light: trial.Rate(3840, 1)},
		{Camera: trial.Rate(4, 1), Light: trial.Rate(100, 1), Other: trial.Rate(240, 1)},
		{Camera: trial.Rate(24, 1), Light: trial.Rate(120, 1), Other: trial.Rate(1000, 1), Tolerance: 0.011},
	} {
		list := trial.Must(timing.CleanAngles(spec))
		require.NotEmpty(t, list)
		wanted := list
		for i := int64(1); i <= 720; i++ {
			wanted = append(wanted, trial.Must(timing.NewShutterAngle(i, 2)))
		}
		for _, w := range wanted {
			var best timing.ShutterAngle
			var change *big.Rat
			at := trial.Rat(trial.Must(w.Exposure(trial.Rate(1, 1))))
			for _, a := range list {
				d := new(big.Rat).Sub(trial.Rat(trial.Must(a.Exposure(trial.Rate(1, 1)))), at)
				if change == nil || new(big.Rat).Abs(d).Cmp(new(big.Rat).Abs(change)) <= 0 {
					best, change = a, d
				}
			}
			got := trial.Must(timing.NearestCleanAngle(spec, w))
			ref.Equal(t, "T-CLEAN-NEAREST", got.Angle, best, spec, w)
			ref.Equal(t, "T-CLEAN-NEAREST", got.Limit, timing.Clean, spec, w)
			turns, _ := change.Float64()
			assert.InDelta(t, 360*turns, float64(got.Change/timing.Degree), 1e-12, "exact difference, few roundings")
			assert.Zero(t, got.LightMiss)
			assert.LessOrEqual(t, got.OtherMiss, spec.Tolerance)
		}
	}
	// Halfway, the wider one: 129.6° between 86.4° and 172.8°.
	got := trial.Must(timing.NearestCleanAngle(timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(100, 1)}, trial.Degrees("129.6")))
	assert.Equal(t, trial.Degrees("172.8"), got.Angle)
	assert.InDelta(t, 43.2, float64(got.Change/timing.Degree), 1e-13, "exact difference, few roundings")
}

func TestNoCleanAngle(t *testing.T) {
	// One pulse at 101 Hz is 97/101 of a period at 97 Hz, so that 1 to 4 pulses all
	// miss by 4/97 of the exposure. Of equals, the nearest is given.
	spec := timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(101, 1), Other: trial.Rate(97, 1), Tolerance: 0.04}
	for wanted, pulses := range map[string]int64{"90": 1, "180": 2, "360": 4} {
		got := trial.Must(timing.NearestCleanAngle(spec, trial.Degrees(wanted)))
		assert.Equal(t, timing.OtherMissed, got.Limit)
		assert.Equal(t, trial.Must(timing.NewShutterAngle(360*24*pulses, 101)), got.Angle)
		assert.InDelta(t, 4./97, got.OtherMiss, 1e-15, "one rounding")
		assert.Zero(t, got.LightMiss)
	}
	assert.Empty(t, trial.Must(timing.CleanAngles(spec)))

	// The least miss is not the nearest: at 120 Hz and 1000 Hz, 1 pulse is 8⅓ periods
	// and misses by 1/25, and 2 pulses are 16⅔ and miss by 1/50.
	spec = timing.CleanSpec{Camera: trial.Rate(48, 1), Light: trial.Rate(120, 1), Other: trial.Rate(1000, 1), Tolerance: 0.001}
	got := trial.Must(timing.NearestCleanAngle(spec, trial.Degrees("150")))
	assert.Equal(t, trial.Degrees("288"), got.Angle)
	assert.Equal(t, timing.OtherMissed, got.Limit)
	assert.InDelta(t, 1./50, got.OtherMiss, 1e-15, "one rounding")

	// A light with less than a period in a frame: 24/50 and 10/50.
	spec = timing.CleanSpec{Camera: trial.Rate(50, 1), Light: trial.Rate(24, 1), Other: trial.Rate(10, 1), Tolerance: 0.5}
	got = trial.Must(timing.NearestCleanAngle(spec, trial.Degrees("180")))
	assert.Equal(t, trial.Degrees("360"), got.Angle)
	assert.Equal(t, timing.LightTooSlow, got.Limit)
	assert.InDelta(t, 180, float64(got.Change/timing.Degree), 1e-13, "roundings")
	assert.InDelta(t, 26./24, got.LightMiss, 1e-15, "one rounding")
	assert.InDelta(t, 4, got.OtherMiss, 1e-15, "one rounding")
	assert.Empty(t, trial.Must(timing.CleanAngles(spec)))
	spec.Other = timing.Rate{}
	assert.Zero(t, trial.Must(timing.NearestCleanAngle(spec, trial.Degrees("180"))).OtherMiss)
}

// TestMissBoundsWhatASineLeaves holds the promise of CleanShutter, against the
// integral of the sine over the exposure.
func TestMissBoundsWhatASineLeaves(t *testing.T) {
	for _, camera := range trial.Rates() {
		for hz := int64(20); hz < 1000; hz += 7 {
			for _, light := range []int64{10, 50, 100, 120} {
				spec := timing.CleanSpec{Camera: camera, Light: trial.Rate(light, 1), Other: trial.Rate(hz, 1)}
				got := trial.Must(timing.NearestCleanAngle(spec, trial.Degrees("180")))
				exposure := float64(trial.Must(got.Angle.Exposure(camera)).Time())
				assert.LessOrEqual(t, trial.Remains(float64(light), exposure), got.LightMiss+1e-12)
				assert.LessOrEqual(t, trial.Remains(float64(hz), exposure), got.OtherMiss+1e-12)
			}
		}
	}
}

func TestCleanAnglesAtTheEnds(t *testing.T) {
	fast := timing.CleanSpec{Camera: trial.Rate(1, math.MaxInt32), Light: trial.Rate(math.MaxInt32, 1)}
	assert.Equal(t, trial.Degrees("180").Angle(), trial.Must(timing.NearestCleanAngle(fast, trial.Degrees("180"))).Angle.Angle(), "one light needs no list")
	most := timing.CleanSpec{Camera: trial.Rate(1, 1), Light: trial.Rate(1<<20, 1)}
	assert.Len(t, trial.Must(timing.CleanAngles(most)), 1<<20)
	tooMany, tooManyCommon := most, fast
	tooMany.Light, tooManyCommon.Other = trial.Rate(1<<20+1, 1), trial.Rate(100, 1)
	trial.Refused(t, timing.ErrInvalid, trial.Second(timing.CleanAngles(fast)), trial.Second(timing.CleanAngles(tooMany)), trial.Second(timing.NearestCleanAngle(tooManyCommon, trial.Degrees("180"))))

	// The largest numbers that a rate takes: exact and no overflow.
	ends := timing.CleanSpec{Camera: trial.Rate(math.MaxInt32-1, math.MaxInt32), Light: trial.Rate(math.MaxInt32, math.MaxInt32-2)}
	got := trial.Must(timing.CleanAngles(ends))
	require.Len(t, got, 1)
	assert.Less(t, got[0].Angle(), 360*timing.Degree)
	assert.Greater(t, got[0].Angle(), 359.999*timing.Degree)
	assert.Equal(t, got[0], trial.Must(timing.NearestCleanAngle(ends, trial.Degrees("360"))).Angle)
	ends = timing.CleanSpec{Camera: trial.Rate(4000, 1), Light: trial.Rate(math.MaxInt32, 1), Other: trial.Rate(math.MaxInt32-1, math.MaxInt32), Tolerance: 0.5}
	assert.NoError(t, trial.Second(timing.CleanAngles(ends)))
}

func TestCleanSpecsRefused(t *testing.T) {
	assert.EqualError(t, trial.Second(timing.CleanAngles(timing.CleanSpec{Tolerance: 1})), "sync: camera rate: must be set\nsync: light rate: must be set\nsync: tolerance 1: must be at least 0 and less than 1")
	for _, tolerance := range []float64{math.NaN(), math.Nextafter(0, -1), 1, math.Inf(1)} {
		spec := timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(100, 1), Tolerance: tolerance}
		trial.Refused(t, timing.ErrInvalid, trial.Second(timing.CleanAngles(spec)), trial.Second(timing.NearestCleanAngle(spec, trial.Degrees("180"))))
	}
	good := timing.CleanSpec{Camera: trial.Rate(24, 1), Light: trial.Rate(100, 1), Tolerance: math.Nextafter(1, 0)}
	assert.NoError(t, trial.Second(timing.CleanAngles(good)))
	assert.EqualError(t, trial.Second(timing.NearestCleanAngle(good, timing.ShutterAngle{})), "sync: shutter angle: must be set")
	trial.Refused(t, timing.ErrInvalid, trial.Second(timing.MainsFlicker(timing.Rate{})), trial.Second(timing.MainsFlicker(trial.Rate(math.MaxInt32, 1))))
}
