package banding_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// depthOf is the depth of the bands of a wall without blur: an exposure that begins or
// ends with each emission of group 0.
func depthOf(w scannedWall) float64 {
	dark, bright := math.Inf(1), 0.0
	for _, e := range w.emissions[0] {
		for _, edge := range []float64{e.on, e.off} {
			for _, opens := range []float64{edge, edge - w.exposure} {
				v := w.light(0, opens, opens+w.exposure)
				dark, bright = min(dark, v), max(bright, v)
			}
		}
	}
	return (bright - dark) / (bright + dark)
}

// deepest is depthOf the deepest grey, for an exposure and a rate of the light.
func deepest(spec banding.Spec, exposure, hz float64) (depth float64) {
	for grey := range spec.Wall.Greys {
		w := rendered(spec, grey)
		scale := 1 / hz / w.period
		w.period = 1 / hz
		for g := range w.emissions {
			for i := range w.emissions[g] {
				w.emissions[g][i].on *= scale
				w.emissions[g][i].off *= scale
			}
		}
		w.exposure = exposure
		depth = max(depth, depthOf(w))
	}
	return depth
}

func within[T ~float64](ranges []banding.Range[T], x T) bool {
	for _, r := range ranges {
		if x >= r.From && x <= r.To {
			return true
		}
	}
	return false
}

// agree holds ranges against the depth at random settings.
func agree[T ~float64](t *testing.T, id string, rng *rand.Rand, got banding.Settings[T], limit float64, from, to T, depth func(x T) float64) {
	t.Helper()
	least, last := math.Inf(1), T(math.Inf(-1))
	for _, r := range got.Ranges {
		assert.True(t, last < r.From && from <= r.From*(1+1e-12) && r.From <= r.To && r.To <= to*(1+1e-12), "%v from %v to %v", got, from, to)
		last = r.To
	}
	tries := []T{from, to}
	for range 60 {
		tries = append(tries, from+(to-from)*T(rng.Float64()))
	}
	for _, r := range got.Ranges {
		tries = append(tries, r.From-(to-from)*1e-4, r.From, (r.From+r.To)/2, r.To, r.To+(to-from)*1e-4)
	}
	for _, x := range tries {
		if x < from || x > to {
			continue
		}
		d := depth(x)
		least = min(least, d)
		if math.Abs(d-limit) > 1e-7 {
			ref.Equal(t, id, within(got.Ranges, x), d < limit, x, d, limit, got)
		}
	}
	if len(got.Ranges) == 0 {
		assert.NotEqual(t, banding.Found, got.Reason)
		assert.LessOrEqual(t, got.Depth, least+1e-7, "a setting with shallower bands was met by chance: %+v", got)
		assert.InDelta(t, got.Depth, depth(got.Best), 1e-6, "the search for the least depth: %+v", got)
	} else {
		assert.True(t, got.Reason == banding.Found && got.Best == 0 && got.Depth == 0)
	}
}

// TestSettingsAgainstRenderedLight holds all settings of an exposure against lights that are
// rendered emission by emission.
func TestSettingsAgainstRenderedLight(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(71, 72))
	reasons := map[banding.Reason]int{}
	for i := range max(15, *walls) {
		spec := randomScan(rng)
		spec.View.Blur = 0
		hz := float64(spec.Wall.Rate.Frequency())
		if i%3 == 0 { // a light of some periods a frame
			spec.Wall.Rate = trial.Rate(15+rng.Int64N(100), 1)
			hz = float64(spec.Wall.Rate.Frequency())
			spec.Camera.Exposure = seconds(min(0.04166, (0.2+3*rng.Float64())/hz))
		}
		p := predicted(t, spec)
		limit := 0.001 * math.Pow(200, rng.Float64())
		exposure := float64(spec.Camera.Exposure.Time())
		turn := 360 * timing.Degree

		from, to := turn*unit.Angle(0.002+0.5*rng.Float64()), turn
		if i%3 > 0 {
			to = min(turn, from+turn*unit.Angle(24/hz)*unit.Angle(2*rng.Float64()))
		}
		angles, err := p.ShutterAngles(limit, from, to)
		require.NoError(t, err)
		reasons[angles.Reason]++
		agree(t, "T-BAND-ANGLES", rng, angles, limit, from, to, func(a unit.Angle) float64 { return deepest(spec, float64(a/turn)/24, hz) })

		slow, fast := unit.Frequency(hz*(0.3+0.6*rng.Float64())), unit.Frequency(hz*(1+rng.Float64()))
		lights, err := p.LightRates(limit, slow, fast)
		require.NoError(t, err)
		reasons[lights.Reason]++
		agree(t, "T-BAND-LIGHTS", rng, lights, limit, slow, fast, func(f unit.Frequency) float64 { return deepest(spec, exposure, float64(f)) })

		slow, fast = unit.Frequency(20-15*rng.Float64()), unit.Frequency(24+10*rng.Float64())
		cameras, err := p.CameraRates(limit, slow, fast)
		require.NoError(t, err)
		agree(t, "T-BAND-CAMERAS", rng, cameras, limit, slow, fast, func(f unit.Frequency) float64 { return deepest(spec, exposure*24/float64(f), hz) })

		// Off by a fraction: the deepest of many exposures.
		fraction := 0.3 * rng.Float64() * rng.Float64()
		got, err := p.DepthWithin(fraction)
		require.NoError(t, err)
		most := 0.0
		for k := range 201 {
			most = max(most, deepest(spec, exposure*(1+fraction*float64(k-100)/100), hz))
		}
		ref.Near(t, "T-BAND-WITHIN", got, most, fraction, spec)
		assert.GreaterOrEqual(t, got, most-1e-9, "none is deeper")
		assert.InDelta(t, p.Worst().Depth, trial.Must(p.DepthWithin(0)), 1e-11, "roundings")
		off, ok, err := p.Tolerance(limit)
		require.NoError(t, err)
		assert.Equal(t, p.Worst().Depth <= limit, ok)
		if ok && off < 0.499 {
			ref.Near(t, "T-BAND-TOLERANCE", max(deepest(spec, exposure*(1-off), hz), deepest(spec, exposure*(1+off), hz)), limit, spec)
			assert.LessOrEqual(t, trial.Must(p.DepthWithin(off*(1-1e-9))), limit*(1+1e-6))
		}
	}
	t.Log(reasons)
	assert.Len(t, reasons, 3)
}

// TestClearOfManyPeriods has a range whose upper part is clear at any exposure.
func TestClearOfManyPeriods(t *testing.T) {
	p := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(7680, 1), 0.5, seconds(0.02), timing.Seconds{}, 2))
	angles := trial.Must(p.ShutterAngles(0.02, 0.1*timing.Degree, 360*timing.Degree))
	// 24 periods and f ≥ ½ are lit for 12.5 to 12 + f, of which 0.02 is left at f = 0.52/1.02.
	last := angles.Ranges[len(angles.Ranges)-1]
	assert.InDelta(t, 360, float64(last.To/timing.Degree), 1e-9, "the end")
	assert.InDelta(t, (24+0.52/1.02)*360/320, float64(last.From/timing.Degree), 1e-9, "roundings")
	_, err := p.ShutterAngles(2e-6, 0.1*timing.Degree, 360*timing.Degree)
	assert.NoError(t, err)
	// One setting, which is clean.
	one := trial.Must(p.ShutterAngles(0.001, 180*timing.Degree, 180*timing.Degree))
	assert.Equal(t, []banding.Range[unit.Angle]{{From: 180 * timing.Degree, To: 180 * timing.Degree}}, one.Ranges)
	// Millions of periods, of which all but the first are clear.
	rates := trial.Must(p.LightRates(0.02, 1, 1e9))
	assert.Equal(t, unit.Frequency(1e9), rates.Ranges[len(rates.Ranges)-1].To)
	assert.InDelta(t, (24+0.52/1.02)*50, float64(rates.Ranges[len(rates.Ranges)-1].From), 1e-7, "roundings")
	rng := rand.New(rand.NewPCG(75, 76))
	levels := rising(256)
	for i := range levels {
		levels[i] *= rng.Float64()
	}
	spec := pulsed(trial.Rate(24, 1), trial.Rate(7_680_000, 1), 0.5, seconds(0.02), timing.Seconds{}, 2)
	spec.Wall.Greys[0] = trial.Must(banding.Sampled(levels))
	_, err = predicted(t, spec).LightRates(1.01e-6, 1, 1e9)
	assert.ErrorContains(t, err, "must be more, or the range narrower: it holds 2e+07 periods")
}

// TestPhasesAgainstRenderedFrames locks a camera to lights that repeat once a frame or a few
// times.
func TestPhasesAgainstRenderedFrames(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(73, 74))
	reasons := map[banding.Reason]int{}
	for range max(12, *walls) {
		spec := randomScan(rng)
		spec.Wall.Rate = trial.Rate(24*(1+rng.Int64N(4)), 1)
		spec.Wall.Turns = spec.Wall.Turns[:0]
		if rng.IntN(2) == 0 {
			spec.Wall.Turns = []int{1, 0, 2}
		}
		spec.Camera.Rows = 60
		spec.Camera.RowTime = seconds(0.02 * rng.Float64() / 60)
		spec.Camera.Exposure = seconds((0.05 + 0.9*rng.Float64()) / 24)
		p := predicted(t, spec)
		limit := 0.01 * math.Pow(50, rng.Float64())
		got, err := p.Phases(limit)
		require.NoError(t, err)
		reasons[got.Reason]++
		depth := func(phase float64) (worst float64, black bool) {
			for grey := range spec.Wall.Greys {
				w := rendered(spec, grey)
				w.opens = phase * w.period
				frame := w.frame()
				dark, bright := floats.Min(frame), floats.Max(frame)
				if bright < 1e-6 {
					return 0, true
				}
				worst = max(worst, (bright-dark)/(bright+dark))
			}
			return worst, false
		}
		tries := []float64{0}
		for range 40 {
			tries = append(tries, rng.Float64())
		}
		for _, r := range got.Ranges {
			assert.True(t, r.From >= 0 && r.From < 1 && r.To >= r.From && r.To <= r.From+1, "%v", got)
			tries = append(tries, r.From-1e-4, r.From+1e-4, (r.From+r.To)/2, r.To-1e-4, r.To+1e-4)
		}
		least := 1.0
		for _, phase := range tries {
			phase -= math.Floor(phase)
			d, black := depth(phase)
			if !black {
				least = min(least, d)
			}
			if math.Abs(d-limit) > 1e-7 && !black {
				ref.Equal(t, "T-BAND-PHASES", within(got.Ranges, phase) || within(got.Ranges, phase+1), d < limit, phase, d, limit, got, spec)
			}
		}
		if got.Reason == banding.TooDeep && got.Depth < 1 {
			d, _ := depth(got.Best)
			assert.InDelta(t, got.Depth, d, 1e-6, "the search for the least depth: %+v", spec)
			assert.LessOrEqual(t, got.Depth, least+1e-7)
		}
	}
	t.Log(reasons)
	assert.Len(t, reasons, 2)
}

func TestPhasesOfLocksOnly(t *testing.T) {
	// Twice a frame, and nearly so.
	spec := pulsed(trial.Rate(24, 1), trial.Rate(48, 1), 0.5, trial.Seconds(1, 100), trial.Seconds(1, 1e6), 1000)
	assert.Equal(t, banding.TooDeep, trial.Must(predicted(t, spec).Phases(1e-5)).Reason)
	spec.Wall.Rate = trial.Rate(48001, 1000)
	p := predicted(t, spec)
	assert.Equal(t, banding.Settings[float64]{Reason: banding.NotLocked, Depth: p.Worst().Depth}, trial.Must(p.Phases(0.5)))
	// At a clean exposure, and under a global shutter, every phase will do.
	spec.Wall.Rate, spec.Camera.Exposure = trial.Rate(48, 1), trial.Seconds(1, 48)
	all := banding.Settings[float64]{Ranges: []banding.Range[float64]{{From: 0, To: 1}}}
	assert.Equal(t, all, trial.Must(predicted(t, spec).Phases(1e-5)))
	spec.Camera.Exposure, spec.Camera.RowTime = trial.Seconds(1, 64), timing.Seconds{}
	assert.Equal(t, all, trial.Must(predicted(t, spec).Phases(1e-5)))
	// Too much to search.
	spec.Camera.Rows, spec.Wall.Greys[0] = 65536, trial.Must(banding.Sampled(rising(4096)))
	assert.EqualError(t, trial.Second(predicted(t, spec).Phases(0.5)), "banding: rows 65536: must be fewer: with 4096 steps of all greys, at most 4096")
}

func TestPhaseOfAFrame(t *testing.T) {
	spec := pulsed(trial.Rate(24, 1), trial.Rate(100, 1), 0.5, trial.Seconds(1, 100), trial.Seconds(1, 1e5), 1000)
	spec.Camera.Offset = trial.Seconds(1, 1000)
	for _, direction := range []timing.ReadDirection{timing.TopDown, timing.BottomUp} {
		spec.Camera.Direction = direction
		for frame, want := range map[int64]float64{0: 0.1, 1: 0.1 + 1./6, -1: 0.1 + 5./6, 6e9: 0.1} {
			ref.Near(t, "T-BAND-PHASE", trial.Must(predicted(t, spec).Phase(frame)), want, frame)
		}
	}
	spec.Camera.Phase = timing.Centred // opens half a period earlier
	ref.Near(t, "T-BAND-PHASE", trial.Must(predicted(t, spec).Phase(0)), 0.6)
	assert.ErrorIs(t, trial.Second(predicted(t, spec).Phase(math.MaxInt64)), banding.ErrInvalid)
}

// TestExposuresOfManyPeriods asks about exposures of so many periods that one more is the
// same number in floating point.
func TestExposuresOfManyPeriods(t *testing.T) {
	const most = math.MaxInt32
	p := predicted(t, pulsed(trial.Rate(1, most), trial.Rate(most, 1), 0.5, trial.Seconds(3*most-1, 3), timing.Seconds{}, 1))
	answered := make(chan error, 1)
	go func() {
		_, err := p.DepthWithin(0.1)
		answered <- err
	}()
	select {
	case err := <-answered:
		assert.NoError(t, err)
	case <-time.After(10 * time.Second):
		t.Fatal("no answer after 10 s")
	}
}

// TestTooManySteps asks about greys whose answer would take minutes.
func TestTooManySteps(t *testing.T) {
	spec := pulsed(trial.Rate(24, 1), trial.Rate(24, 1), 0.5, trial.Seconds(1, 57), timing.Seconds{}, 1)
	for len(spec.Wall.Greys) < 6 {
		spec.Wall.Greys = append(spec.Wall.Greys, trial.Must(banding.Sampled(rising(4096))))
	}
	p := predicted(t, spec)
	const want = "banding: greys 6: must be fewer, or have fewer steps: the squares of their numbers of steps add up to 83886084, more than 67108864"
	assert.EqualError(t, trial.Second(p.ShutterAngles(0.01, 1, 3)), want)
	assert.EqualError(t, trial.Second(p.DepthWithin(0.1)), want)
	_, ok, err := p.Tolerance(0.01)
	assert.False(t, ok)
	assert.EqualError(t, err, want)

	spec.Camera.Rows, spec.Camera.RowTime = 1024, trial.Seconds(1, 1e6)
	assert.EqualError(t, trial.Second(predicted(t, spec).Phases(0.01)), "banding: rows 1024: must be fewer: with 20482 steps of all greys, at most 819")
}

func TestSettingsRefused(t *testing.T) {
	p := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(100, 1), 0.5, trial.Seconds(1, 100), trial.Seconds(1, 40_000), 1000))
	for _, depth := range []float64{0, 0.99e-6, 1, math.NaN(), math.Inf(1), -1} {
		trial.Refused(t, banding.ErrInvalid,
			trial.Second(p.ShutterAngles(depth, 1, 2)), trial.Second(p.LightRates(depth, 1, 2)), trial.Second(p.CameraRates(depth, 1, 2)), trial.Second(p.Phases(depth)))
		_, _, err := p.Tolerance(depth)
		assert.ErrorIs(t, err, banding.ErrInvalid)
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for _, r := range [][2]float64{{0, 1}, {1, 6.2832}, {math.NaN(), 1}, {1, math.NaN()}, {2, up(1)}} {
		assert.ErrorIs(t, trial.Second(p.ShutterAngles(0.5, unit.Angle(r[0]), unit.Angle(r[1]))), banding.ErrInvalid, r)
	}
	for _, r := range [][2]float64{{0.99e-3, 1}, {1, up(1e9)}, {math.NaN(), 1}, {1, math.NaN()}, {2, 1}} {
		assert.ErrorIs(t, trial.Second(p.LightRates(0.5, unit.Frequency(r[0]), unit.Frequency(r[1]))), banding.ErrInvalid, r)
	}
	for _, r := range [][2]float64{{0.99e-3, 1}, {1, 40.1}, {math.NaN(), 1}, {1, math.NaN()}, {2, 1}} {
		assert.ErrorIs(t, trial.Second(p.CameraRates(0.5, unit.Frequency(r[0]), unit.Frequency(r[1]))), banding.ErrInvalid, r)
	}
	assert.NoError(t, trial.Second(p.CameraRates(0.5, 1e-3, 40)))
	for _, f := range []float64{-1e-9, 0.51, math.NaN()} {
		assert.ErrorIs(t, trial.Second(p.DepthWithin(f)), banding.ErrInvalid, f)
	}
	assert.Zero(t, trial.Must(p.DepthWithin(0)))
	assert.EqualError(t, trial.Second(p.ShutterAngles(0.1, 2, 1)), "banding: to 57.2958°: must be at least 114.592°, where the range begins")

	for depth, want := range map[float64]int{1: 0, 0.5: 1, 1. / 3: 1, 0.33: 2, 0.2: 2, 1. / 201: 100, 0.01: 50, 1. / 19999: 9999, 1e-6: 500_000} {
		ref.Equal(t, "T-BAND-PERIODS", trial.Must(banding.PeriodsFor(depth)), want, depth)
	}
	for _, depth := range []float64{0, 0.9e-6, 1.1, math.NaN()} {
		assert.ErrorIs(t, trial.Second(banding.PeriodsFor(depth)), banding.ErrInvalid)
	}
	assert.Equal(t, "[found light too slow no whole number of periods not locked every phase too deep]",
		fmt.Sprint([]banding.Reason{banding.Found, banding.LightTooSlow, banding.NoWholePeriod, banding.NotLocked, banding.TooDeep}))
}
