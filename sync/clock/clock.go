package clock

import (
	"math"
	"time"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
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
func DriftTime(r timing.Rate, ppm float64) (unit.Time, error) {
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
func PTPTime(t time.Time) (timing.Seconds, error) {
	first := time.Date(2017, time.January, 1, 0, 0, 0, 0, time.UTC)
	last := time.Date(2262, time.January, 1, 0, 0, 0, 0, time.UTC) // int64 counts nanoseconds until April
	if t.Before(first) || !t.Before(last) {
		return timing.Seconds{}, fault("time", t.UTC().Format(time.RFC3339), "must be from %s to before %s", first.Format(time.RFC3339), last.Format(time.RFC3339))
	}
	return timing.NewSeconds((t.Unix()+taiMinusUTC)*1e9+int64(t.Nanosecond()), 1e9)
}
