package sync

// Alignment is the place of a time among the frames of an aligned signal.
type Alignment struct {
	Frame int64   // the frame that is on, 0 from the epoch
	Phase Seconds // the time since it began: 0 s or more, less than a period
	Next  Seconds // the time at which the next frame begins, always later than the given one
}

// Align returns the place of time t among the frames of a signal whose frame 0 began
// at the epoch.
//
//	Frame = ⌊t · rate⌋,  Phase = t − Frame/rate,  Next = (Frame + 1)/rate
//
// t counts from the epoch of the Precision Time Protocol, 1970-01-01T00:00:00 TAI
// (package clock gives it). Source: SMPTE ST 2059-1:2015, section 7.2, from memory.
func (r Rate) Align(t Seconds) (Alignment, error) {
	n, err := r.Frame(t, Floor)
	if err != nil {
		return Alignment{}, err
	}
	begin, err := r.Time(n)
	if err != nil {
		return Alignment{}, err
	}
	period := r.Period().ratio().rat()
	next, ok1 := ratioOf(period.Add(period, begin.ratio().rat()))
	phase := t.ratio().rat()
	rest, ok2 := ratioOf(phase.Sub(phase, begin.ratio().rat()))
	if !ok1 || !ok2 {
		return Alignment{}, newChecker().Refuse("time", t.String(), "its place among frames at %s must fit fractions of int64", r)
	}
	return Alignment{n, secondsOf(rest), secondsOf(next)}, nil
}
