package cadence

import (
	"errors"
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("cadence: invalid value")

func newChecker() *valid.Checker { return valid.New("cadence", ErrInvalid) }

// frameFault says of which frame a time does not fit.
func frameFault(frame int64, err error) error {
	c := newChecker()
	c.Add("frame "+strconv.FormatInt(frame, 10), err)
	return c.Err()
}

// notNegative adds a fault for a time below 0 s.
func notNegative(c *valid.Checker, field string, t timing.Seconds) {
	if t.Compare(timing.Seconds{}) < 0 {
		c.Fault(field, t.String(), "must be at least 0 s")
	}
}

// exact computes with times until one does not fit, and keeps that error.
type exact struct{ err error }

func kept[T any](x *exact, v T, err error) T {
	if x.err == nil {
		x.err = err
	}
	return v
}

func (x *exact) add(s, t timing.Seconds) timing.Seconds {
	v, err := s.Add(t)
	return kept(x, v, err)
}

func (x *exact) sub(s, t timing.Seconds) timing.Seconds {
	v, err := s.Sub(t)
	return kept(x, v, err)
}

func (x *exact) scale(s timing.Seconds, num, den int64) timing.Seconds {
	v, err := s.Scale(num, den)
	return kept(x, v, err)
}

// frame is the frame at t of a signal whose frame 0 begins at offset.
func (x *exact) frame(r timing.Rate, offset, t timing.Seconds, rounding timing.Rounding) int64 {
	n, err := r.Frame(x.sub(t, offset), rounding)
	if err == nil && n == math.MaxInt64 {
		err = newChecker().Refuse("frame", strconv.FormatInt(n, 10), "must have a frame after it")
	}
	return kept(x, n, err)
}

// time is when a frame begins.
func (x *exact) time(r timing.Rate, offset timing.Seconds, frame int64) timing.Seconds {
	t, err := r.Time(frame)
	return x.add(kept(x, t, err), offset)
}

func (x *exact) span(r timing.Readout, frame int64) timing.Exposure {
	e, err := r.Span(frame)
	return kept(x, e, err)
}

// Counts says what happened over some frames.
type Counts struct {
	Frames   int64 // frames of the camera or of the output that were looked at
	Repeated int64 // those of them that show the same as the frame before
	Torn     int64 // those of them whose rows see different frames of the content; 0 for a Retime
	Skipped  int64 // frames of the content or source that are left out between one and the next
}

func (c *Counts) add(other Counts, times int64) {
	c.Frames += other.Frames * times
	c.Repeated += other.Repeated * times
	c.Skipped += other.Skipped * times
	c.Torn += other.Torn * times
}

// maxFrames is how many frames are looked at one by one.
const maxFrames = 1 << 20

// counted counts frames from first on, in each of which so many others are looked at.
// After a cycle of frames all happens again.
func counted(first, frames, cycle, others int64, one func(frame int64, c *Counts) error) (Counts, error) {
	if frames < 0 || frames > 1<<40 || first == math.MinInt64 || first > math.MaxInt64-frames {
		return Counts{}, newChecker().Refuse("frames", strconv.FormatInt(frames, 10), "must be at least 0 and at most %d, and their numbers must fit int64", int64(1<<40))
	}
	cycles, rest := frames/cycle, frames%cycle
	if most := maxFrames / others; min(frames, cycle) > most {
		return Counts{}, newChecker().Refuse("frames", strconv.FormatInt(frames, 10), "must be at most %d, since all happens again only after %d", most, cycle)
	}
	var all, part Counts
	for i := range min(frames, cycle) {
		if i == rest {
			part = all
		}
		if err := one(first+i, &all); err != nil {
			return Counts{}, err
		}
		all.Frames++
	}
	if cycles == 0 {
		return all, nil
	}
	total := part
	total.add(all, cycles)
	return total, nil
}
