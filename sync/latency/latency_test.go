package latency_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/latency"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func chain() []latency.Stage {
	return []latency.Stage{
		{Name: "tracker", Rate: trial.Rate(240, 1), Time: 0.004},
		{Name: "network", Rate: trial.Rate(240, 1), Time: 0.0005, Jitter: 0.001},
		{Name: "renderer", Rate: trial.Rate(24, 1), Frames: 2, Free: true},
		{Name: "processor", Rate: trial.Rate(48, 1), Frames: 1, Time: 0.001, Free: true},
		{Name: "camera", Time: 0.010},
	}
}

// TestChainOfClocks runs clocks that drift past each other. A stage that is free takes,
// at its own tick, the newest that the stage before has put out.
func TestChainOfClocks(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(8, 8))
	stages := chain()
	got := trial.Must(latency.Total(stages))
	least, worst, sum := math.Inf(1), 0.0, 0.0
	const trials = 200000
	for range trials {
		age := 0.0 // of what leaves the chain, from its end backwards
		for i := len(stages) - 1; i >= 0; i-- {
			s := stages[i]
			age += float64(s.Frames)/math.Max(1, float64(s.Rate.Frequency())) + float64(s.Time) + float64(s.Jitter)*rng.Float64()
			if s.Free {
				// The stage before puts something out at phase, and a period apart. Now is 0.
				period := 1 / float64(stages[i-1].Rate.Frequency())
				out := -period * rng.Float64() * 50
				for out+period <= 0 {
					out += period
				}
				age -= out
			}
		}
		least, worst, sum = math.Min(least, age), math.Max(worst, age), sum+age
	}
	ref.Near(t, "T-LATENCY", float64(got.Mean), sum/trials)
	ref.Near(t, "T-LATENCY-ENDS", float64(got.Least), least)
	ref.Near(t, "T-LATENCY-ENDS", float64(got.Worst), worst)
	// By hand: 4 + 0.5 + 2/24 + 1/48 + 1 + 10 ms.
	assert.InDelta(t, 0.0155+2./24+1./48, float64(got.Least), 1e-15)
	for i := 1; i < len(stages); i++ {
		a, b := trial.Must(latency.Total(stages[:i])), trial.Must(latency.Total(stages[:i+1]))
		assert.True(t, a.Least <= b.Least && a.Mean <= b.Mean && a.Worst <= b.Worst, "along the way")
	}
}

func TestChainsAreChecked(t *testing.T) {
	for want, change := range map[string]func(s []latency.Stage){
		`stage 2 ("renderer") frames -1: must be`:             func(s []latency.Stage) { s[2].Frames = -1 },
		`stage 2 ("renderer") frames 1001: must be`:           func(s []latency.Stage) { s[2].Frames = 1001 },
		`stage 2 ("renderer") rate: must be set`:              func(s []latency.Stage) { s[2].Rate = timing.Rate{} },
		`stage 0 ("tracker") time -1 s: must be`:              func(s []latency.Stage) { s[0].Time = -1 },
		`stage 1 ("network") jitter 1.01667 min: must be`:     func(s []latency.Stage) { s[1].Jitter = 61 },
		`stage 0 ("tracker") free: needs a stage before that`: func(s []latency.Stage) { s[0].Free = true },
		`stage 2 ("renderer") free: needs a stage before`:     func(s []latency.Stage) { s[1].Rate = timing.Rate{} },
	} {
		s := chain()
		change(s)
		d, err := latency.Total(s)
		assert.ErrorIs(t, err, latency.ErrInvalid)
		assert.ErrorContains(t, err, want)
		assert.Zero(t, d)
	}
	_, err := latency.Total(nil)
	assert.ErrorContains(t, err, "stages 0: must be at least 1")
	_, err = latency.Total(make([]latency.Stage, 1001))
	assert.ErrorContains(t, err, "stages 1001")
	assert.Zero(t, trial.Must(latency.Total(make([]latency.Stage, 1000))))

	text, err := json.Marshal(chain())
	require.NoError(t, err)
	var back []latency.Stage
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, chain(), back)
}

func view() latency.MarginSpec {
	return latency.MarginSpec{
		Latency: 0.15, Pan: 20 * latency.Degree, Tilt: 8 * latency.Degree, Travel: 0.6, Rise: 0.2,
		Width: 40 * latency.Degree, Height: 24 * latency.Degree, Distance: 4, Pitch: 0.0028,
	}
}

// TestMarginOfAView turns the head in small steps, the pan about the vertical and the
// tilt about the camera's own axis, and follows rays around the edge of the view to the
// wall.
func TestMarginOfAView(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(3, 3))
	for range 20 {
		spec := view()
		spec.Pan, spec.Tilt = unit.Angle(rng.Float64())*90*latency.Degree, unit.Angle(rng.Float64())*60*latency.Degree
		spec.Travel, spec.Rise = unit.Velocity(rng.Float64()), unit.Velocity(rng.Float64())
		got := trial.Must(latency.MarginFor(spec))
		right, up, back, place := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}, r3.Vec{}
		const steps = 4000
		dt := float64(spec.Latency) / steps
		turn := func(v *r3.Vec, axis r3.Vec, angle float64) { *v = r3.Rotate(*v, angle, axis) }
		for range steps {
			for _, v := range []*r3.Vec{&right, &up, &back} {
				turn(v, r3.Vec{Y: 1}, -float64(spec.Pan)*dt)
			}
			axis := right
			turn(&up, axis, float64(spec.Tilt)*dt)
			turn(&back, axis, float64(spec.Tilt)*dt)
			place = r3.Add(place, r3.Scale(dt, r3.Vec{X: float64(spec.Travel), Y: float64(spec.Rise)}))
		}
		w, h := math.Tan(float64(spec.Width)/2), math.Tan(float64(spec.Height)/2)
		x, y := 0.0, 0.0
		for k := range 400 {
			s := float64(k%100)/50 - 1
			e := [][2]float64{{w, s * h}, {-w, -s * h}, {-s * w, h}, {s * w, -h}}[k/100]
			ray := r3.Add(r3.Scale(e[0], right), r3.Sub(r3.Scale(e[1], up), back))
			wall := r3.Add(place, r3.Scale((float64(spec.Distance)+place.Z)/-ray.Z, ray))
			x, y = math.Max(x, wall.X), math.Max(y, wall.Y)
		}
		x0, y0 := w*float64(spec.Distance), h*float64(spec.Distance)
		ref.Near(t, "T-MARGIN", got.Columns, (x-x0)/float64(spec.Pitch), spec)
		ref.Near(t, "T-MARGIN", got.Rows, (y-y0)/float64(spec.Pitch), spec)
		ref.Near(t, "T-MARGIN", float64(got.Horizontal/latency.Degree), (math.Atan2(x, float64(spec.Distance))-math.Atan2(x0, float64(spec.Distance)))*180/math.Pi, spec)
		ref.Near(t, "T-MARGIN", float64(got.Vertical/latency.Degree), (math.Atan2(y, float64(spec.Distance))-math.Atan2(y0, float64(spec.Distance)))*180/math.Pi, spec)
		assert.InDelta(t, 0.15*float64(spec.Pan), float64(got.PanLate), 1e-15)
		assert.InDelta(t, 0.15*float64(spec.Tilt), float64(got.TiltLate), 1e-15)
	}
	still := view()
	still.Latency = 0
	m := trial.Must(latency.MarginFor(still))
	assert.InDelta(t, 0, m.Columns, 1e-9)
	assert.InDelta(t, 0, float64(m.Vertical), 1e-15)
}

func TestMarginIsChecked(t *testing.T) {
	for want, change := range map[string]func(s *latency.MarginSpec){
		"latency -1 s: must be":           func(s *latency.MarginSpec) { s.Latency = -1 },
		"pan a second -1°: must be":       func(s *latency.MarginSpec) { s.Pan = -latency.Degree },
		"tilt a second 721°: must be":     func(s *latency.MarginSpec) { s.Tilt = 721 * latency.Degree },
		"travel 101 m/s: must be":         func(s *latency.MarginSpec) { s.Travel = 101 },
		"rise -1 m/s: must be":            func(s *latency.MarginSpec) { s.Rise = -1 },
		"width 180°: must be":             func(s *latency.MarginSpec) { s.Width = 180 * latency.Degree },
		"height 0°: must be":              func(s *latency.MarginSpec) { s.Height = 0 },
		"distance 0 m: must be":           func(s *latency.MarginSpec) { s.Distance = 0 },
		"pitch 2.8 m: must be":            func(s *latency.MarginSpec) { s.Pitch = 2.8 },
		"so that a corner looks past":     func(s *latency.MarginSpec) { s.Pan = 71 / 0.15 * latency.Degree },
		"by 90° and 1.2° meanwhile: must": func(s *latency.MarginSpec) { s.Pan, s.Width = 600*latency.Degree, latency.Degree },
		"by 3° and 90° meanwhile: must":   func(s *latency.MarginSpec) { s.Tilt = 600 * latency.Degree },
	} {
		spec := view()
		change(&spec)
		m, err := latency.MarginFor(spec)
		assert.ErrorIs(t, err, latency.ErrInvalid)
		assert.ErrorContains(t, err, want)
		assert.Zero(t, m)
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	down := func(x float64) float64 { return math.Nextafter(x, 0) }
	for _, tc := range []struct {
		field     func(s *latency.MarginSpec, v float64)
		low, high float64
	}{
		{func(s *latency.MarginSpec, v float64) { s.Latency = unit.Time(v) }, 0, 60},
		{func(s *latency.MarginSpec, v float64) { s.Pan = unit.Angle(v) }, 0, 4 * math.Pi},
		{func(s *latency.MarginSpec, v float64) { s.Tilt = unit.Angle(v) }, 0, 4 * math.Pi},
		{func(s *latency.MarginSpec, v float64) { s.Travel = unit.Velocity(v) }, 0, 100},
		{func(s *latency.MarginSpec, v float64) { s.Rise = unit.Velocity(v) }, 0, 100},
		{func(s *latency.MarginSpec, v float64) { s.Pitch = unit.Length(v) }, 1e-6, 1},
		{func(s *latency.MarginSpec, v float64) { s.Distance = unit.Length(v) }, 1e-6, 1e9},
	} {
		for _, v := range []float64{tc.low, tc.high} {
			s := view()
			s.Latency, s.Pan, s.Tilt = 1e-9, 1, 1
			if tc.high == 60 {
				s.Pan, s.Tilt = 0, 0
			}
			tc.field(&s, v)
			assert.NoError(t, trial.Second(latency.MarginFor(s)))
		}
		for _, v := range []float64{down(tc.low) - 5e-324, up(tc.high)} {
			s := view()
			s.Latency, s.Pan, s.Tilt = 1e-9, 1, 1
			tc.field(&s, v)
			assert.ErrorIs(t, trial.Second(latency.MarginFor(s)), latency.ErrInvalid)
		}
	}
	ok := view()
	ok.Pan, ok.Tilt = 69/0.15*latency.Degree, 0
	assert.Greater(t, trial.Must(latency.MarginFor(ok)).Columns, 20000.)
}

// TestSamples counts samples one by one, in exact fractions.
func TestSamples(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	for _, rate := range []timing.Rate{trial.Rate(240, 1), trial.Rate(120000, 1001), trial.Rate(7, 3)} {
		spec := latency.TrackerSpec{Rate: rate, First: trial.Seconds(rng.Int64N(2000)-1000, 90000), Delay: trial.Seconds(rng.Int64N(900), 90000)}
		tracker := trial.Must(latency.NewTracker(spec))
		period, first := trial.Rat(rate.Period()), trial.Rat(spec.First)
		sample := func(n int64) *big.Rat { return new(big.Rat).Add(first, new(big.Rat).Mul(period, big.NewRat(n, 1))) }
		sub := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
		for range 50 {
			at := trial.Seconds(rng.Int64N(40000)-20000, 90000)
			if rng.IntN(4) == 0 { // on a sample, or in the middle of two
				at = trial.Must(spec.First.Add(trial.Must(rate.Period().Scale(rng.Int64N(40)-20, 2))))
			}
			want := trial.Rat(at)
			before := int64(-80)
			for sample(before+1).Cmp(want) <= 0 {
				before++
			}
			past, ahead := sub(want, sample(before)), sub(sample(before+1), want)
			nearest, off := before, past
			if ahead.Cmp(past) <= 0 {
				nearest, off = before+1, new(big.Rat).Neg(ahead)
			}
			got := trial.Must(tracker.At(at))
			ref.Equal(t, "T-SAMPLE", got.Before, before, at)
			ref.Equal(t, "T-SAMPLE", got.Nearest, nearest, at)
			ref.Equal(t, "T-SAMPLE", trial.Rat(got.Off).Cmp(off), 0, at)
			fraction, _ := new(big.Rat).Quo(past, new(big.Rat).Add(past, ahead)).Float64()
			ref.Near(t, "T-SAMPLE-FRACTION", got.Fraction, fraction, at)

			wanted := trial.Seconds(rng.Int64N(40000)-20000, 90000)
			newest := int64(-80)
			for new(big.Rat).Add(sample(newest+1), trial.Rat(spec.Delay)).Cmp(want) <= 0 {
				newest++
			}
			p := trial.Must(tracker.Newest(at, wanted))
			ref.Equal(t, "T-SAMPLE", p.Newest, newest, at)
			ref.Equal(t, "T-SAMPLE", trial.Rat(p.Ahead).Cmp(sub(trial.Rat(wanted), sample(newest))), 0, at)
		}
	}
	// As near to the next sample as fractions go, and yet before it.
	tracker := trial.Must(latency.NewTracker(latency.TrackerSpec{Rate: trial.Rate(1, 1)}))
	s := trial.Must(tracker.At(trial.Seconds(math.MaxInt64-1, math.MaxInt64)))
	assert.EqualValues(t, 0, s.Before)
	assert.Less(t, s.Fraction, 1.0)
}

func TestTrackersAreChecked(t *testing.T) {
	good := latency.TrackerSpec{Rate: trial.Rate(240, 1), First: trial.Seconds(1, 7)}
	_, err := latency.NewTracker(latency.TrackerSpec{})
	assert.EqualError(t, err, "latency: rate: must be set")
	bad := good
	bad.Delay = trial.Seconds(-1, 1000)
	_, err = latency.NewTracker(bad)
	assert.ErrorContains(t, err, "delay -1/1000 s: must be at least 0 s")
	tracker := trial.Must(latency.NewTracker(good))
	assert.Equal(t, tracker, trial.Must(latency.NewTracker(good)))
	huge, odd := trial.Seconds(math.MaxInt64, 1), trial.Seconds(1, 1<<62-1)
	for _, at := range []timing.Seconds{huge, odd} {
		_, err := tracker.At(at)
		assert.ErrorIs(t, err, latency.ErrInvalid)
		assert.ErrorContains(t, err, "time: sync: time")
		for _, now := range [][2]timing.Seconds{{at, {}}, {{}, at}} {
			_, err = tracker.Newest(now[0], now[1])
			assert.ErrorIs(t, err, latency.ErrInvalid)
		}
	}
	for _, err := range []error{trial.Second(latency.Tracker{}.At(odd)), trial.Second(latency.Tracker{}.Newest(odd, odd))} {
		assert.ErrorIs(t, err, latency.ErrInvalid)
	}
	text, err := json.Marshal(good)
	require.NoError(t, err)
	var back latency.TrackerSpec
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, good, back)
}

func TestHostileArguments(t *testing.T) {
	spec := latency.TrackerSpec{Rate: trial.Rate(240, 1), First: trial.Seconds(1, 7), Delay: trial.Seconds(1, 1000)}
	hostile.Calls(t, []any{chain(), view(), spec, trial.Must(latency.NewTracker(spec)), trial.Seconds(1, 3), trial.Seconds(math.MaxInt64, 3), trial.Seconds(1, math.MaxInt64)},
		latency.Total, latency.MarginFor, latency.NewTracker, latency.Tracker.At, latency.Tracker.Newest)
}
