package sync

import (
	"math"
	"time"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ClockDrift gives the number of frames that a free-running clock gains in a time
// on a clock that is right. It is negative if the clock loses.
//
//	ppm · 10⁻⁶ · elapsed · rate
//
// ppm is the error of the clock in parts per million. For two free-running clocks
// it is the difference of their errors. A ppm outside −100000 to 100000, and an
// elapsed time outside 0 s to 10¹⁰ s, are errors.
func ClockDrift(r Rate, ppm float64, elapsed unit.Time) (frames float64, err error) {
	c := checkClock(r, ppm)
	c.Time("elapsed time", elapsed, valid.Closed[unit.Time](0, 1e10))
	if !c.OK() {
		return 0, c.Err()
	}
	return ppm * 1e-6 * float64(elapsed) * float64(r.Frequency()), nil
}

// ClockSlip gives the time in which a free-running clock drifts by one frame.
//
//	10⁶ / (|ppm| · rate)
//
// ppm is that of ClockDrift. A ppm nearer to 0 than 10⁻⁹ is an error too.
func ClockSlip(r Rate, ppm float64) (unit.Time, error) {
	c := checkClock(r, ppm)
	if math.Abs(ppm) < 1e-9 {
		c.Fault("clock error", quantity.Number(ppm, "ppm"), "must be at least 1e-09 ppm either way to slip")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Time(1e6 / (math.Abs(ppm) * float64(r.Frequency()))), nil
}

func checkClock(r Rate, ppm float64) *valid.Checker {
	c := newChecker()
	setRate(c, "rate", r)
	c.Number("clock error", ppm, "ppm", valid.Closed(-1e5, 1e5))
	return c
}

// Alignment is the place of a time among the frames of an aligned signal.
type Alignment struct {
	Frame int64   // the frame that is on, 0 from the epoch
	Phase Seconds // the time since it began: 0 s or more, less than a period
	Next  Seconds // the time at which the next frame begins, always later than the given one
}

// Align gives the place of time t among the frames of a signal whose frame 0 began
// at the epoch. Devices that align their signals so agree without a cable between
// them.
//
//	Frame = ⌊t · rate⌋,  Phase = t − Frame/rate,  Next = (Frame + 1)/rate
//
// t counts from the epoch of the Precision Time Protocol, 1970-01-01T00:00:00 TAI
// (see PTPTime). A float64 would not do: at present times it has steps of 240 ns.
//
// Source: SMPTE ST 2059-1:2015, section 7.2.
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

// PTPTime gives the time of the Precision Time Protocol at a time of the ordinary
// clock, to the nanosecond: the seconds of TAI since 1970-01-01T00:00:00 TAI.
//
//	seconds of UTC since 1970, without leap seconds, + 37
//
// The 37 s hold from 2017-01-01 until the next leap second, which is not known in
// advance; after it the result is a second too small. A time before 2017, or after
// 2261, is an error.
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
