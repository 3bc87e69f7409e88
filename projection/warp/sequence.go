package warp

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"example.com/platewright/internal/valid"
)

// Sequence is a series of frames to be blended alike.
//
// For coded pictures T is float32: Read linearizes and Write encodes, as in the example
// named PNG.
type Sequence[T Sample] struct {
	First, Count int // frames First to First + Count − 1

	// Layers are as for Blend. One without a frame gets frames from RunSequence, for
	// Read to fill. One with a frame shows that in all of the sequence; if it is made by
	// Frame.Still, its image pyramid is kept.
	Layers   []Layer[T]
	Channels int  // of all frames, 1 to 4
	Coverage bool // whether Write receives it

	// Map gives the map of a layer for frame n, as for a moving eye. It is nil if
	// maps do not change; else the Map of every layer must be nil. Sizes must be
	// those of frame First. Map.Remake may make the map of the frame before anew. Map
	// is called in order of frames and layers, in the goroutine of RunSequence.
	Map func(ctx context.Context, n, layer int) (*Map, error)

	// Depth is the number of sets of source frames, and of target frames, held in
	// memory; 0: 2. With 1, reading waits for blending.
	Depth int

	// Read fills one frame per layer, of the size of the layer's source, with frame
	// n. The frames still hold an earlier one. A layer with a frame of its own has the
	// zero frame there. If all have, Read may be nil.
	Read func(ctx context.Context, n int, into []Frame[T]) error

	// Write takes the blend of frame n and its coverage, or the zero frame. Both are
	// valid until Write returns. Read and Write are called in order, one call of each
	// at a time, from different goroutines.
	Write func(ctx context.Context, n int, frame Frame[T], coverage Frame[float32]) error

	// Options are those of each Blend. Coverage must be the zero frame. Progress
	// counts frames written, and is called from the goroutine of Write.
	Options Options
}

// RunSequence reads, blends and writes the frames of a sequence, neighbouring
// frames at the same time. In steady state nothing is allocated but what Map, Read
// and Write allocate, and margins for new maps; those of Map.Remake have room. A
// single layer is treated as by Warp, but for its gain.
//
// The first error ends everything: the context given to Map, Read and Write is
// cancelled. The error has the number of the frame and wraps theirs. Earlier frames
// may then have been read and not written. No goroutine outlives the call.
func RunSequence[T Sample](ctx context.Context, s Sequence[T]) error {
	if err := s.check(ctx); err != nil {
		return err
	}
	if s.Depth == 0 {
		s.Depth = 2
	}
	within, cancel := context.WithCancel(ctx)
	defer cancel()
	r := &runner[T]{
		Sequence: s, ctx: within, cancel: cancel,
		empty: make(chan *plates[T], s.Depth), read: make(chan *plates[T], s.Depth),
		blank: make(chan *blended[T], s.Depth), full: make(chan *blended[T], s.Depth),
	}
	if r.err = r.fill(); r.err == nil {
		r.stages.Add(3)
		go r.stage("read", r.reading)
		go r.stage("write", r.writing)
		r.stage("blend", r.blending)
		r.stages.Wait()
	}
	switch {
	case r.panicked:
		panic(r.cause)
	case ctx.Err() != nil && errors.Is(r.err, ctx.Err()):
		return ctx.Err()
	}
	return r.err
}

func (s *Sequence[T]) check(ctx context.Context) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	c.Int("Count", s.Count, "", 1, math.MaxInt32)
	if s.First > math.MaxInt-max(s.Count, 0) {
		c.Fault("First", fmt.Sprint(s.First), "must leave room for %d frames", s.Count)
	}
	c.Int("Channels", s.Channels, "", 1, 4)
	c.Int("Depth", s.Depth, "", 0, 64)
	checkWorkers(c, s.Options.Workers)
	if s.Read == nil && slices.ContainsFunc(s.Layers, func(l Layer[T]) bool { return l.Frame.pix == nil }) {
		c.Fault("Read", "nil", "must be given for a layer without a frame")
	}
	if s.Write == nil {
		c.Fault("Write", "nil", "must be given")
	}
	if s.Options.Coverage.pix != nil {
		c.Fault("Coverage", "given", "must be the zero frame: it is made here")
	}
	if len(s.Layers) == 0 {
		c.Fault("layers", "none", "must be at least one")
	}
	for i, l := range s.Layers {
		switch {
		case s.Map != nil && l.Map != nil:
			c.Fault(fmt.Sprintf("layer %d: map", i), "given", "must be nil if Sequence.Map gives it")
		case s.Map == nil && (l.Map == nil || l.Map.width == 0):
			c.Fault(fmt.Sprintf("layer %d: map", i), "none", "must be made by NewMap")
		}
	}
	return c.Err()
}

// plates are the source frames of frame n of a sequence.
type plates[T Sample] struct {
	n      int
	frames []Frame[T] // for the caller, who may change the slice
	layers []Layer[T]
}

// blended is the target of frame n.
type blended[T Sample] struct {
	n        int
	frame    Frame[T]
	coverage Frame[float32]
}

// runner is one call of RunSequence. Its sets go round between the stages.
type runner[T Sample] struct {
	Sequence[T]
	ctx    context.Context
	cancel func()

	empty, read chan *plates[T]
	blank, full chan *blended[T]
	stages      sync.WaitGroup

	mu       sync.Mutex // guards what follows
	err      error      // the first
	panicked bool
	cause    any
}

// fill makes the frames, and checks the rest with them as Blend does.
func (r *runner[T]) fill() error {
	layers := append([]Layer[T](nil), r.Layers...)
	if err := r.findMaps(r.First, layers); err != nil {
		return fmt.Errorf("warp: frame %d: map: %w", r.First, err)
	}
	m := layers[0].Map
	for range r.Depth {
		p := &plates[T]{layers: append([]Layer[T](nil), layers...), frames: make([]Frame[T], len(layers))}
		for i := range p.layers {
			l := &p.layers[i]
			if l.Frame.pix != nil {
				continue
			}
			f, err := NewFrame(FrameSpec[T]{Width: l.Map.srcWidth, Height: l.Map.srcHeight, Channels: r.Channels})
			if err != nil {
				return err
			}
			l.Frame = f
		}
		r.empty <- p
		b := &blended[T]{}
		var err error
		if b.frame, err = NewFrame(FrameSpec[T]{Width: m.width, Height: m.height, Channels: r.Channels}); err != nil {
			return err
		}
		if r.Coverage {
			if b.coverage, err = NewFrame(FrameSpec[float32]{Width: m.width, Height: m.height, Channels: 1}); err != nil {
				return err
			}
		}
		r.blank <- b
		opts := r.Options
		opts.Coverage = b.coverage
		if err := check(r.ctx, b.frame, p.layers, opts, true); err != nil {
			return err
		}
	}
	return nil
}

// findMaps gives the layers their maps for frame n, if these change.
func (r *runner[T]) findMaps(n int, layers []Layer[T]) (err error) {
	if r.Map == nil {
		return nil
	}
	for i := range layers {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		m, err := r.Map(r.ctx, n, i)
		if err != nil {
			return err
		}
		if m == nil || m.width == 0 {
			c := valid.New("warp", ErrInvalid)
			c.Fault(fmt.Sprintf("layer %d: map", i), "none", "must be made by NewMap")
			return c.Err()
		}
		layers[i].Map = m
	}
	return nil
}

// fail notes the first error and stops all.
func (r *runner[T]) fail(n int, what string, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil && !r.panicked {
		r.err = fmt.Errorf("warp: frame %d: %s: %w", n, what, err)
	}
	r.cancel()
}

// stage runs work that calls functions of the caller. It notes a panic of these, or
// the end of their goroutine.
func (r *runner[T]) stage(what string, work func()) {
	defer r.stages.Done()
	guard(work, func(cause any) {
		r.mu.Lock()
		defer r.mu.Unlock()
		switch {
		case cause != nil && !r.panicked:
			r.panicked, r.cause = true, cause
		case cause == nil && r.err == nil:
			r.err = fmt.Errorf("warp: %s ended its goroutine", what)
		}
		r.cancel()
	})
}

func (r *runner[T]) reading() {
	defer close(r.read)
	for k := range r.Count {
		p, ok := take(r.ctx, r.empty)
		if !ok {
			return
		}
		p.n = r.First + k
		for i := range p.frames {
			p.frames[i] = Frame[T]{}
			if r.Layers[i].Frame.pix == nil {
				p.frames[i] = p.layers[i].Frame
			}
		}
		if r.Read != nil {
			if err := r.Read(r.ctx, p.n, p.frames); err != nil {
				r.fail(p.n, "read", err)
				return
			}
		}
		r.read <- p // has room for all there are
	}
}

func (r *runner[T]) blending() {
	defer close(r.full)
	for {
		p, ok := take(r.ctx, r.read)
		if !ok {
			return
		}
		b, ok := take(r.ctx, r.blank)
		if !ok {
			return
		}
		b.n = p.n
		if p.n > r.First { // else fill has done it
			if err := r.findMaps(p.n, p.layers); err != nil {
				r.fail(p.n, "map", err)
				return
			}
		}
		opts := r.Options
		opts.Coverage, opts.Progress = b.coverage, nil
		if err := Blend(r.ctx, b.frame, p.layers, opts); err != nil {
			r.fail(p.n, "blend", err)
			return
		}
		r.empty <- p
		r.full <- b
	}
}

func (r *runner[T]) writing() {
	for done := 1; ; done++ {
		b, ok := take(r.ctx, r.full)
		if !ok {
			break
		}
		if err := r.Write(r.ctx, b.n, b.frame, b.coverage); err != nil {
			r.fail(b.n, "write", err)
			return
		}
		if r.Options.Progress != nil {
			r.Options.Progress(done, r.Count)
		}
		if done == r.Count {
			return
		}
		r.blank <- b
	}
	if r.ctx.Err() != nil {
		r.mu.Lock()
		defer r.mu.Unlock()
		if r.err == nil {
			r.err = r.ctx.Err()
		}
	}
}

// take receives from a channel. ok is false at its end, and if the context is
// cancelled.
func take[E any](ctx context.Context, from <-chan E) (e E, ok bool) {
	if ctx.Err() != nil {
		return e, false
	}
	select {
	case e, ok = <-from:
		return e, ok
	case <-ctx.Done():
		return e, false
	}
}
