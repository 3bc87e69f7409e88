package warp

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// workers are goroutines that share numbered pieces of work. The struct is reused,
// and then allocates nothing.
type workers struct {
	ctx      context.Context
	total    int
	work     func(i int, s *scratch)
	progress func(done, total int)

	next   atomic.Int64
	mu     sync.Mutex // guards done and the calls of progress
	done   int
	wg     sync.WaitGroup
	helpFn func() // w.help, bound once: binding allocates

	// What went wrong in helping goroutines.
	panicked bool
	cause    any
	err      error
}

// scratch is the memory that one worker needs for one row of a tile.
type scratch struct {
	xs, ys [tileWidth]float64 // source positions; NaN: none
	jac    [tileWidth]Jacobian
	lx, ly [tileWidth]float64 // in texels of a level
	px, py [tileWidth]float64 // of a probe
	ways   [tileWidth / 16]knownWay
	at     [tileWidth]int // see lanes.Place
	u, v   [tileWidth]float32
	// The loops of internal/lanes write up to three values past the end.
	val, sum [4*tileWidth + 4]float32
	cov      [tileWidth]float32
	best     [tileWidth]float32
	// Of the probes of pixels.
	part, probed [4*tileWidth + 4]float32
	partCov      [tileWidth]float32
	less         [4*tileWidth + 4]float32 // of the second kernels

	line [4 * (2*tileWidth + 2*tentTaps)]float32 // of the level below that in the making

	patch  []float32  // see sampler.patch
	runs   []layerRun // of each layer of a blend
	joined []int      // the layers that may have weight in a run
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// run does work(0) to work(total-1), each once, on n goroutines; 0, or more than
// GOMAXPROCS, is GOMAXPROCS. It returns when all are done. Once the context is
// cancelled it returns when those begun are done, with the context's error.
//
// No goroutine outlives the call. If work or progress panics, the panic goes on in
// the caller's goroutine with the same value. If one of them ends a helping
// goroutine (runtime.Goexit), that is an error.
func (w *workers) run(ctx context.Context, n, total int, progress func(done, total int), work func(i int, s *scratch)) error {
	if n <= 0 || n > runtime.GOMAXPROCS(0) {
		n = runtime.GOMAXPROCS(0)
	}
	n = min(n, total)
	w.ctx, w.total, w.work, w.progress = ctx, total, work, progress
	w.next.Store(0)
	w.done, w.panicked, w.cause, w.err = 0, false, nil, nil
	if w.helpFn == nil {
		w.helpFn = w.help
	}
	if n > 0 {
		w.wg.Add(n - 1)
		for range n - 1 {
			go w.helpFn()
		}
		w.lead()
	}
	switch {
	case w.panicked:
		panic(w.cause)
	case w.err != nil:
		return w.err
	case w.done < total:
		return ctx.Err()
	}
	return nil
}

// release drops what belongs to the caller.
func (w *workers) release() {
	w.ctx, w.work, w.progress, w.cause, w.err = nil, nil, nil, nil, nil
}

// lead takes pieces in the caller's goroutine and waits for the helpers.
func (w *workers) lead() {
	defer w.wg.Wait()
	defer w.stop() // nothing is begun after a panic
	w.take()
}

// help takes pieces in another goroutine and notes a panic or the end of that
// goroutine for the caller's.
func (w *workers) help() {
	defer w.wg.Done()
	guard(w.take, func(cause any) {
		w.stop()
		w.mu.Lock()
		defer w.mu.Unlock()
		if cause == nil {
			w.err = errEnded
		} else if !w.panicked {
			w.panicked, w.cause = true, cause
		}
	})
}

var errEnded = errors.New("warp: a function of the caller ended its goroutine")

// guard calls work. If work does not return, guard calls failed with the value of
// its panic, or with nil if it ended its goroutine.
func guard(work func(), failed func(cause any)) {
	returned := false
	defer func() {
		if !returned {
			failed(recover())
		}
	}()
	work()
	returned = true
}

func (w *workers) stop() { w.next.Store(int64(w.total)) }

func (w *workers) take() {
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	for w.ctx.Err() == nil {
		i := int(w.next.Add(1)) - 1
		if i >= w.total {
			return
		}
		w.work(i, s)
		w.finish()
	}
}

func (w *workers) finish() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.done++
	if w.progress != nil {
		w.progress(w.done, w.total)
	}
}
