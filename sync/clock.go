package sync

import (
	"math"
	"time"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// DriftTime is the time in which a free-running clock drifts by one frame. In a
// time t it drifts by t/DriftTime frames.
//
//	10⁶ / (|ppm| · rate)
//
// ppm is the error of the clock in parts per million. For two free-running clocks
// it is the difference of their errors. A ppm outside −100000 to 100000, and a ppm
// nearer to 0 than 10⁻⁹, are errors.
func DriftTime(r Rate, ppm float64) (unit.Time, error) {
	c := newChecker()
	setRate(c, "rate", r)
	c.Number("clock error", ppm, "ppm", valid.Closed(-1e5, 1e5))
	if math.Abs(ppm) < 1e-9 {
		c.Fault("clock error", quantity.Number(ppm, "ppm"), "must be at least 1e-09 ppm either way to drift")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Time(1e6 / (math.Abs(ppm) * float64(r.Frequency()))), nil
}

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
// (see PTPTime). Source: SMPTE ST 2059-1:2015, section 7.2, from
// memory.
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
		return Alignment{}, fault("time", t.String(), "its place among frames at %s must fit fractions of int64", r)
	}
	return Alignment{n, secondsOf(rest), secondsOf(next)}, nil
}

// taiMinusUTC is TAI − UTC since 2017-01-01, in seconds.
const taiMinusUTC = 37

// PTPTime is the time of the Precision Time Protocol at a time of the ordinary
// clock, to the nanosecond: the seconds of TAI since 1970-01-01T00:00:00 TAI.
//
//	seconds of UTC since 1970, without leap seconds, + 37
//
// A time outside the years 2017 to 2261 is an error. After a leap second to come,
// which cannot be known, the result is a second too small.
//
// Source: International Earth Rotation and Reference Systems Service (IERS), list
// of leap seconds.
func PTPTime(t time.Time) (Seconds, error) {
	first := time.Date(2017, time.January, 1, 0, 0, 0, 0, time.UTC)
	last := time.Date(2262, time.January, 1, 0, 0, 0, 0, time.UTC) // int64 counts nanoseconds until April
	if t.Before(first) || !t.Before(last) {
		return Seconds{}, fault("time", t.UTC().Format(time.RFC3339), "must be from %s to before %s", first.Format(time.RFC3339), last.Format(time.RFC3339))
	}
	return NewSeconds((t.Unix()+taiMinusUTC)*1e9+int64(t.Nanosecond()), 1e9)
}
