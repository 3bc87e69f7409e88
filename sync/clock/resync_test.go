package clock_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// fewestJams finds the least number of jams of a day by dynamic programming. All times
// are whole steps. It is −1 if there is no way.
func fewestJams(day, interval int, takes [][2]int) int {
	fewest := make([]int, day+1)
	for t := 1; t <= day; t++ {
		fewest[t] = math.MaxInt / 2
		shut := false
		for _, k := range takes {
			shut = shut || k[0] < t && t < k[1]
		}
		for before := max(0, t-interval); before < t && (!shut || t == day); before++ {
			fewest[t] = min(fewest[t], fewest[before]+1)
		}
	}
	if fewest[day] >= math.MaxInt/2 {
		return -1
	}
	return fewest[day] // the end of the day needs none, the beginning does
}

func TestPlanResync(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 8))
	without := 0
	for range 400 {
		// Steps of 15 s. A drift of 1/16 s a second is exact in float64, and so are the
		// times of all jams.
		const step = 15.0
		interval, day := 2+rng.IntN(60), 200+rng.IntN(300)
		spec := clock.ResyncSpec{
			Drift: clock.DriftSpec{Recorders: []clock.Recorder{{PPM: 62500}, {}}, Limits: clock.DriftLimits{Time: unit.Time(interval) * step * 2 / 16}},
			Day:   unit.Time(day) * step, Margin: 0.5,
		}
		var takes [][2]int
		for at := rng.IntN(20); ; at += rng.IntN(25) {
			end := at + 1 + rng.IntN(40)
			if end > day {
				break
			}
			takes = append(takes, [2]int{at, end})
			spec.Takes = append(spec.Takes, clock.Take{Start: unit.Time(at) * step, Duration: unit.Time(end-at) * step})
			at = end
		}
		plan := trial.Must(clock.PlanResync(spec))
		want := fewestJams(day, interval, takes)
		require.Equal(t, unit.Time(interval)*step, plan.Interval)
		if want < 0 {
			without++
			require.False(t, plan.OK)
			require.Empty(t, plan.Jams)
			long := takes[plan.TooLong]
			require.Equal(t, unit.Time(long[1]-long[0]-interval)*step, plan.Excess)
			require.Greater(t, plan.Excess, unit.Time(0))
			for _, k := range takes[:plan.TooLong] {
				require.LessOrEqual(t, k[1]-k[0], interval)
			}
			continue
		}
		require.True(t, plan.OK)
		require.Equal(t, -1, plan.TooLong)
		require.Zero(t, plan.Excess)
		ref.Equal(t, "T-RESYNC", len(plan.Jams), want, spec)
		// Run the day: the clock that runs fast is set right at each jam.
		require.Zero(t, plan.Jams[0])
		next, apart := 1, 0.0
		for s := 0.0; s < float64(spec.Day); s++ {
			if next < len(plan.Jams) && float64(plan.Jams[next]) == s {
				next, apart = next+1, 0
				for _, k := range spec.Takes {
					require.False(t, float64(k.Start) < s && s < float64(k.Start+k.Duration), "a jam in a take")
				}
			}
			apart += 1.0 / 16
			if apart > float64(spec.Drift.Limits.Time)/2 {
				t.Fatalf("%v s apart at %v s", apart, s)
			}
		}
		require.Equal(t, len(plan.Jams), next)
	}
	assert.Greater(t, without, 50)
}

func TestDaysWithoutPlan(t *testing.T) {
	spec := clock.ResyncSpec{Drift: clock.DriftSpec{Recorders: make([]clock.Recorder, 2), Limits: clock.DriftLimits{Time: 1}}, Day: 36000}
	never := trial.Must(clock.PlanResync(spec))
	assert.Equal(t, clock.Resync{OK: true, Drift: trial.Must(clock.DriftTime(spec.Drift)), Jams: []unit.Time{0}, TooLong: -1}, never)
	spec.Drift.Recorders[1].Offset = 2
	past := trial.Must(clock.PlanResync(spec))
	assert.Equal(t, clock.Resync{Drift: trial.Must(clock.DriftTime(spec.Drift)), TooLong: -1}, past)
	assert.Equal(t, clock.Past, past.Drift.State)
}

func TestResyncsRefused(t *testing.T) {
	good := func() clock.ResyncSpec {
		return clock.ResyncSpec{
			Drift: clock.DriftSpec{Recorders: []clock.Recorder{{PPM: 10}, {}}, Limits: clock.DriftLimits{Time: 0.001}},
			Day:   36000, Takes: []clock.Take{{0, 60}, {60, 60}, {35940, 60}},
		}
	}
	assert.True(t, trial.Must(clock.PlanResync(good())).OK)
	for why, spoil := range map[string]func(*clock.ResyncSpec){
		"drift: clock: limits": func(s *clock.ResyncSpec) { s.Drift.Limits = clock.DriftLimits{} },
		"margin 1":             func(s *clock.ResyncSpec) { s.Margin = 1 },
		"margin -0.1":          func(s *clock.ResyncSpec) { s.Margin = -0.1 },
		"margin NaN":           func(s *clock.ResyncSpec) { s.Margin = math.NaN() },
		"day 0 s":              func(s *clock.ResyncSpec) { s.Day = 0 },
		"day ":                 func(s *clock.ResyncSpec) { s.Day = 1.1e6 },
		"take 1, start 59 s: must be at least 1 min":     func(s *clock.ResyncSpec) { s.Takes[1].Start = 59 },
		"take 0, start -1 s":                             func(s *clock.ResyncSpec) { s.Takes[0].Start = -1 },
		"take 1, duration 0 s":                           func(s *clock.ResyncSpec) { s.Takes[1].Duration = 0 },
		"take 2, end 10.0003 h: must be at most 10 h":    func(s *clock.ResyncSpec) { s.Takes[2].Duration = 61 },
		"interval 1 s: must be at least 3.6 s":           func(s *clock.ResyncSpec) { s.Drift.Limits.Time = 1e-5 },
		"interval 0 s: must be at least 3.6 s":           func(s *clock.ResyncSpec) { s.Drift.Recorders[0].Offset = 0.001 },
		"drift: clock: recorders 0: must be at least 2 ": func(s *clock.ResyncSpec) { s.Drift.Recorders = nil },
	} {
		spec := good()
		spoil(&spec)
		plan, err := clock.PlanResync(spec)
		assert.ErrorIs(t, err, clock.ErrInvalid, why)
		assert.ErrorContains(t, err, why)
		assert.Zero(t, plan)
	}
}
