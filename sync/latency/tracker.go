package latency

import (
	"cmp"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// TrackerSpec describes when a tracker measures, on the clock that the cameras use too.
type TrackerSpec struct {
	Rate  timing.Rate    `json:",omitzero"` // measurements a second
	First timing.Seconds // the time of sample 0
	Delay timing.Seconds // from a measurement until the renderer has it: at least 0 s
}

// Tracker says which samples belong to a time. It is immutable, and equal specs give
// equal values.
type Tracker struct{ spec TrackerSpec }

// NewTracker checks the spec.
func NewTracker(spec TrackerSpec) (Tracker, error) {
	c := newChecker()
	valid.Set(c, "rate", spec.Rate)
	if spec.Delay.Compare(timing.Seconds{}) < 0 {
		c.Fault("delay", spec.Delay.String(), "must be at least 0 s")
	}
	if !c.OK() {
		return Tracker{}, c.Err()
	}
	return Tracker{spec}, nil
}

// Sample says where a time lies among the samples.
type Sample struct {
	// Before is the last sample that is not after the time, and Fraction the way from it to
	// the next, from 0 to less than 1: the pose at the time is 1 − Fraction of the one and
	// Fraction of the other.
	Before   int64
	Fraction float64

	Nearest int64          // of two that are equally near, the later
	Off     timing.Seconds // the time less that of Nearest: negative if Nearest is later
}

// At finds the samples for a time, such as the middle of an exposure. Sample numbers may
// be negative. Times that do not fit exact fractions are an error.
func (t Tracker) At(time timing.Seconds) (Sample, error) {
	rate := t.spec.Rate
	since, err1 := time.Sub(t.spec.First)
	before, err2 := rate.Frame(since, timing.Floor)
	nearest, err3 := rate.Frame(since, timing.Nearest)
	from, err4 := t.from(before, since)
	off, err5 := t.from(nearest, since)
	num, den := rate.Ratio()
	fraction, err6 := from.Scale(num, max(den, 1)) // of a period, as a number
	if err := cmp.Or(err1, err2, err3, err4, err5, err6); err != nil {
		return Sample{}, failed("time", err)
	}
	const most = 1 - 1.0/(1<<53)
	return Sample{Before: before, Fraction: min(float64(fraction.Time()), most), Nearest: nearest, Off: off}, nil
}

// Prediction says what a renderer has to predict from.
type Prediction struct {
	Newest int64 // the newest sample that has arrived

	// Ahead is the time wanted less that of Newest. If it is more than 0 s, the pose must be
	// predicted that far; otherwise the samples that At gives have arrived.
	Ahead timing.Seconds
}

// Newest is the newest sample at the time now, and how far the time wanted is ahead of
// it. A sample arrives Delay after it was measured. Times that do not fit exact fractions
// are an error.
func (t Tracker) Newest(now, wanted timing.Seconds) (Prediction, error) {
	measured, err1 := now.Sub(t.spec.Delay)
	since, err2 := measured.Sub(t.spec.First)
	newest, err3 := t.spec.Rate.Frame(since, timing.Floor)
	want, err4 := wanted.Sub(t.spec.First)
	ahead, err5 := t.from(newest, want)
	if err := cmp.Or(err1, err2, err3, err4, err5); err != nil {
		return Prediction{}, failed("times", err)
	}
	return Prediction{Newest: newest, Ahead: ahead}, nil
}

// from is the time from a sample to a time since sample 0.
func (t Tracker) from(sample int64, since timing.Seconds) (timing.Seconds, error) {
	begin, err := t.spec.Rate.Time(sample)
	if err != nil {
		return timing.Seconds{}, err
	}
	return since.Sub(begin)
}

func failed(field string, err error) error {
	c := newChecker()
	c.Add(field, err)
	return c.Err()
}
