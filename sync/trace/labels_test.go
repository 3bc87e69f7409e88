package trace_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func TestJumps(t *testing.T) {
	count := func(n int, label func(i int) int64) (out []int64) {
		for i := range n {
			out = append(out, label(i))
		}
		return out
	}
	for _, tc := range []struct {
		what   string
		labels []int64
		want   trace.Labels
	}{
		{"even", count(50, func(i int) int64 { return int64(i) + 86400 }), trace.Labels{}},
		{"two missing, one repeated", []int64{5, 6, 9, 10, 10, 11}, trace.Labels{Jumps: []trace.Jump{{2, 3}, {4, 0}}}},
		{"set back", []int64{5, 6, 0, 1}, trace.Labels{Jumps: []trace.Jump{{2, -6}}}},
		{"uneven", []int64{0, 2, 3, 5, 6, 7, 8, 9, 11, 12, 14}, trace.Labels{Jumps: []trace.Jump{{1, 2}, {3, 2}, {8, 2}, {10, 2}}}},
		{"jumps at the start only", []int64{0, 2, 4, 6, 8, 9, 10, 11}, trace.Labels{Jumps: []trace.Jump{{1, 2}, {2, 2}, {3, 2}, {4, 2}}}},
	} {
		got, err := trace.FindJumps(tc.labels)
		require.NoError(t, err)
		assert.Empty(t, cmp.Diff(tc.want, got), tc.what)
	}
	// Timecode of 25 frames a second on 24, and of 24 on 48 and on 25.
	for _, rates := range [][2]int64{{25, 24}, {1, 2}, {24, 25}, {-1, 1}} {
		got, err := trace.FindJumps(count(200, func(i int) int64 { return int64(math.Floor(float64(int64(i)*rates[0]) / float64(rates[1]))) }))
		require.NoError(t, err)
		ref.Equal(t, "T-LABELS", [2]int64{got.Counts, got.Frames}, rates)
	}
	_, err := trace.FindJumps([]int64{1})
	assert.ErrorContains(t, err, "labels 1: must be at least 2 and at most 16777216")
	_, err = trace.FindJumps([]int64{1, math.MaxInt64})
	assert.ErrorContains(t, err, "labels[1] 9223372036854775807: must be within ±2⁵³")
}

// Rows lit by a lamp: the integral of 1 + m sin over the exposure of each, with noise.
func TestRowTimeOfRenderedBands(t *testing.T) {
	near.NumbersOnly(t)
	var all score
	for seed := range *seeds / 2 {
		r := rand.New(rand.NewPCG(uint64(seed), 20))
		const rate, n = 120., 1080
		row := (8 + 20*r.Float64()) * 1e-6 * 5
		exposure := 0.001 + 0.005*r.Float64()
		m, phase := 0.1+0.3*r.Float64(), r.Float64()
		rows := make([]float64, n)
		for i := range rows {
			k := 2 * math.Pi * rate
			from := float64(i)*row + phase/rate
			rows[i] = 0.5 * (1 + m*(math.Cos(k*from)-math.Cos(k*(from+exposure)))/(k*exposure) + 0.002*r.NormFloat64())
		}
		bands, err := banding.MeasureBands(rows)
		require.NoError(t, err, "seed %d", seed)
		got, err := trace.MeasureRowTime(trace.RowTimeSpec{
			Spacing: bands.Spacing, SpacingError: bands.SpacingError / 2, Light: trial.Rate(120, 1),
			From: 1 * unit.Micro * unit.Second, To: 200 * unit.Micro * unit.Second,
		})
		require.NoError(t, err)
		require.Len(t, got, 1)
		all.add(float64(got[0].Time), row, float64(got[0].Error))
	}
	all.check(t, "row time")
}

func TestRowTimeCandidates(t *testing.T) {
	spec := trace.RowTimeSpec{Spacing: 4, SpacingError: 0.04, Light: trial.Rate(1000, 1), From: 0, To: 0.0019}
	got, err := trace.MeasureRowTime(spec)
	require.NoError(t, err)
	require.Len(t, got, 4)
	for i, want := range []float64{0.25e-3, 0.75e-3, 1.25e-3, 1.75e-3} {
		ref.Near(t, "T-ROWTIME", float64(got[i].Time), want)
		// By the spacing on either side: 1/(1000·(4 ± 0.04)) differ by twice the error.
		assert.InEpsilon(t, (1/3.96-1/4.04)/2/1000, float64(got[i].Error), 2e-4, "of second order")
	}
	spec.Spacing = 2 // both signs meet
	got, err = trace.MeasureRowTime(spec)
	require.NoError(t, err)
	assert.Len(t, got, 2)

	spec.From, spec.To = 0.0001, 0.0002
	_, err = trace.MeasureRowTime(spec)
	assert.ErrorContains(t, err, "row time none: must lie between from and to")
	_, err = trace.MeasureRowTime(trace.RowTimeSpec{Spacing: 1.9, SpacingError: 1, From: 2, To: -1})
	for _, want := range []string{"spacing 1.9 rows", "light: must be set", "from 2 s", "to -1 s"} {
		assert.ErrorContains(t, err, want)
	}
	_, err = trace.MeasureRowTime(trace.RowTimeSpec{Spacing: 4, Light: trial.Rate(1000, 1), From: 0.1, To: 1})
	assert.ErrorContains(t, err, "must be at most 500")
	_, err = trace.MeasureRowTime(trace.RowTimeSpec{Spacing: 4, Light: trial.Rate(1000, 1), From: 0.1, To: 0.1})
	assert.ErrorContains(t, err, "must be above from")
	_, err = trace.MeasureRowTime(trace.RowTimeSpec{Spacing: 4, SpacingError: 1.1, Light: trial.Rate(1000, 1), To: 0.1})
	assert.ErrorContains(t, err, "spacing error 1.1 rows")
}
