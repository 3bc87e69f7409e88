// Package parallel shares work among goroutines.
package parallel

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// For calls work for 0 to n−1, on as many goroutines as workers says, and tells each
// which of them it is, from 0. Each takes the next number that is free. Workers is
// often Workers().
func For(workers, n int, work func(worker, i int)) {
	share(context.Background(), workers, n, work)
}

// Until is For on all processors. It begins no further number after the context has
// ended, and gives the error of the context.
func Until(ctx context.Context, n int, work func(i int)) error {
	share(ctx, Workers(), n, func(_, i int) { work(i) })
	return ctx.Err()
}

// Workers is the number of goroutines that run at the same time. It may change from one
// call to the next.
func Workers() int { return runtime.GOMAXPROCS(0) }

func share(ctx context.Context, workers, n int, work func(worker, i int)) {
	var next atomic.Int64
	var group sync.WaitGroup
	for worker := range min(workers, n) {
		group.Add(1)
		go func() {
			defer group.Done()
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				work(worker, i)
			}
		}()
	}
	group.Wait()
}
