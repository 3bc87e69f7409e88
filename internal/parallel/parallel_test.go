package parallel_test

import (
	"context"
	"sync/atomic"
	"testing"

	"example.com/platewright/internal/parallel"
	"github.com/stretchr/testify/assert"
)

func TestEveryNumberOnce(t *testing.T) {
	for _, workers := range []int{1, 3, 100} {
		for _, n := range []int{0, 1, 2, 1000} {
			done, busy := make([]int, n), make([]atomic.Int32, workers)
			parallel.For(workers, n, func(worker, i int) {
				assert.EqualValues(t, 1, busy[worker].Add(1), "a worker does one thing at a time")
				done[i]++
				busy[worker].Add(-1)
			})
			for i, times := range done {
				assert.Equal(t, 1, times, "%d of %d by %d", i, n, workers)
			}
		}
	}
}

func TestUntilTheContextEnds(t *testing.T) {
	var calls atomic.Int64
	assert.NoError(t, parallel.Until(t.Context(), 10, func(int) { calls.Add(1) }))
	assert.EqualValues(t, 10, calls.Load())

	ctx, stop := context.WithCancel(t.Context())
	calls.Store(0)
	assert.ErrorIs(t, parallel.Until(ctx, 1<<30, func(int) {
		if calls.Add(1) == 5 {
			stop()
		}
	}), context.Canceled)
	assert.Less(t, calls.Load(), int64(1<<20))
	assert.ErrorIs(t, parallel.Until(ctx, 10, func(int) { t.Error("begun after the end") }), context.Canceled)
}
