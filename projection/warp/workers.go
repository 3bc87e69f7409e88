package warp

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// crew works through numbered pieces on several goroutines. It is reused, and
// then allocates nothing.
type crew struct {
	ctx      context.Context
	total    int
	work     func(i int, s *scratch)
	progress func(done, total int)

	next atomic.Int64
	mu   sync.Mutex // guards done and the calls of progress
	done int
	wg   sync.WaitGroup
	loop func() // c.follow, bound once: binding allocates

	// What went wrong in goroutines that follow.
	panicked bool
	cause    any
	err      error
}

// scratch is what one worker needs for one row of a tile.
type scratch struct {
	xs, ys [tileWidth]float64 // source positions, NaN where there is none
	jac    [tileWidth]Jacobian
	at     [tileWidth]int // see lanes.Place
	u, v   [tileWidth]float32
	// What the loops of sampling fill has room for the values they spill.
	val, sum [4*tileWidth + 4]float32
	cov      [tileWidth]float32
	best     [tileWidth]float32
	mean     [4*shared + 4]float32
	part     [shared]float32

	coarse coarse
	patch  []float32 // see sampler.patch
	ranks  []rank    // of each layer of a blend
	joined []int     // the layers that may have weight in a run
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// run does work(0) to work(total-1), each once, and returns when all are done
// or, once the context is cancelled, when those begun are; the error is then
// the context's. No goroutine outlives it, also where the caller's functions
// panic: that goes on in the caller's goroutine, with the value but not the stack.
// Where one of them ends a goroutine that follows, that is an error.
func (c *crew) run(ctx context.Context, workers, total int, progress func(done, total int), work func(i int, s *scratch)) error {
	if workers <= 0 || workers > runtime.GOMAXPROCS(0) {
		workers = runtime.GOMAXPROCS(0)
	}
	workers = min(workers, total)
	c.ctx, c.total, c.work, c.progress = ctx, total, work, progress
	c.next.Store(0)
	c.done, c.panicked, c.cause, c.err = 0, false, nil, nil
	if c.loop == nil {
		c.loop = c.follow
	}
	if workers > 0 {
		c.wg.Add(workers - 1)
		for range workers - 1 {
			go c.loop()
		}
		c.lead()
	}
	switch {
	case c.panicked:
		panic(c.cause)
	case c.err != nil:
		return c.err
	case c.done < total:
		return ctx.Err()
	}
	return nil
}

// release drops what belongs to the caller.
func (c *crew) release() {
	c.ctx, c.work, c.progress, c.cause, c.err = nil, nil, nil, nil, nil
}

// lead works along, and waits for the others.
func (c *crew) lead() {
	defer c.wg.Wait()
	defer c.stop() // nothing is begun after a panic
	c.take()
}

// follow works along, and keeps for the one who leads what panics, or that a
// function of the caller ended the goroutine.
func (c *crew) follow() {
	defer c.wg.Done()
	guard(c.take, func(cause any) {
		c.stop()
		c.mu.Lock()
		defer c.mu.Unlock()
		if cause == nil {
			c.err = errEnded
		} else if !c.panicked {
			c.panicked, c.cause = true, cause
		}
	})
}

var errEnded = errors.New("warp: a function called ended its goroutine")

// guard does work, and where that does not return calls ended, with what it
// panicked with, or nil where it ended its goroutine.
func guard(work func(), ended func(cause any)) {
	returned := false
	defer func() {
		if !returned {
			ended(recover())
		}
	}()
	work()
	returned = true
}

func (c *crew) stop() { c.next.Store(int64(c.total)) }

func (c *crew) take() {
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	for c.ctx.Err() == nil {
		i := int(c.next.Add(1)) - 1
		if i >= c.total {
			return
		}
		c.work(i, s)
		c.finish()
	}
}

func (c *crew) finish() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.done++
	if c.progress != nil {
		c.progress(c.done, c.total)
	}
}
