package sync

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/unit"
)

// Rate is an exact number of frames, or of flashes, a second: a positive
// fraction in lowest terms, so that == compares rates. 24000/1001 is a Rate;
// 23.976 is only its name. The zero value is no rate: its methods give zeros
// or errors.
type Rate struct{ ratio }

// NewRate gives the rate of num frames in den seconds. Both must be positive,
// and in lowest terms at most 2³¹ − 1.
//
// The frame rate of a video raster is its sample rate over the samples of the
// whole frame, blanking included: NewRate(13_500_000, 864*625) is 25.
func NewRate(num, den int64) (Rate, error) {
	if num <= 0 || den <= 0 {
		return Rate{}, fault("rate", fmt.Sprintf("%d/%d", num, den), "both numbers must be more than 0")
	}
	r := reduced(num, den)
	if r.num > math.MaxInt32 || r.den > math.MaxInt32 {
		return Rate{}, fault("rate", fmt.Sprintf("%d/%d", num, den), "both numbers must be at most %d in lowest terms", math.MaxInt32)
	}
	return Rate{r}, nil
}

// decimal gives the rate of 1000/1001 that a decimal with at least two digits
// after the point is the name of: that rate, rounded to as many digits. Any
// other decimal is refused, since a rate guessed from a rounded number drifts.
func decimal(s string, digits int) (Rate, bool) {
	if digits < 2 || digits > 9 {
		return Rate{}, false
	}
	for _, n := range nominals {
		if r := (Rate{reduced(n*1000, 1001)}); n%25 != 0 && r.rat().FloatString(digits) == s {
			return r, true
		}
	}
	return Rate{}, false
}

// ParseRate reads a rate: a whole number ("25", and "25.00" as well), a
// fraction ("24000/1001"), or one of the decimal names of the rates of
// 1000/1001, rounded to two digits after the point or more: 23.98 or 23.976,
// 29.97, 47.95 or 47.952, 59.94, 71.93 or 71.928, 95.90 or 95.904, 119.88.
// Every other text is an error, 23.97 included.
func ParseRate(s string) (Rate, error) {
	above, below, fraction := strings.Cut(s, "/")
	if !fraction {
		below = "1"
		if whole, digits, point := strings.Cut(s, "."); point {
			if r, ok := decimal(s, len(digits)); ok {
				return r, nil
			}
			if digits != "" && strings.Trim(digits, "0") == "" {
				above = whole
			}
		}
	}
	// 63 bits: no sign is allowed.
	num, err1 := strconv.ParseUint(above, 10, 63)
	den, err2 := strconv.ParseUint(below, 10, 63)
	if err1 != nil || err2 != nil {
		return Rate{}, fault("rate", strconv.Quote(s), `must be a whole number like "25", a fraction like "24000/1001", or a known decimal like "23.976"`)
	}
	return NewRate(int64(num), int64(den))
}

// String is like "24000/1001" or "25".
func (r Rate) String() string {
	switch r.den {
	case 0:
		return "no rate"
	case 1:
		return strconv.FormatInt(r.num, 10)
	}
	return fmt.Sprintf("%d/%d", r.num, r.den)
}

// MarshalText writes the rate as String does; no rate is an error.
func (r Rate) MarshalText() ([]byte, error) {
	if r.den == 0 {
		return nil, fault("rate", r.String(), "must be set")
	}
	return []byte(r.String()), nil
}

// UnmarshalText reads what ParseRate reads.
func (r *Rate) UnmarshalText(text []byte) error {
	return readText(r, text, ParseRate)
}

// Ratio gives the two numbers of the rate in lowest terms.
func (r Rate) Ratio() (num, den int64) { return r.num, r.den }

// Frequency gives the rate as a floating-point number, within half an ulp.
func (r Rate) Frequency() unit.Frequency {
	if r.den == 0 {
		return 0
	}
	return unit.Frequency(r.float())
}

// Period gives the time of one frame, exactly.
//
//	1 / rate
func (r Rate) Period() Seconds { return secondsOf(ratio{r.den, r.num}) }

// Time gives the time at which frame n begins when frame 0 begins at time 0,
// exactly. It is computed from the number, so nothing accumulates.
//
//	n / rate
//
// n may be negative. A time that does not fit two int64 is an error.
//
// Source: elementary arithmetic.
func (r Rate) Time(n int64) (Seconds, error) {
	if r.den == 0 {
		return Seconds{}, fault("rate", r.String(), "must be set")
	}
	t, ok := reduced(n, r.num).times(ratio{r.den, 1})
	if !ok {
		return Seconds{}, fault("frame", strconv.FormatInt(n, 10), "its time must fit a fraction of int64")
	}
	return secondsOf(t), nil
}

// Rounding says which whole number stands for what lies between two.
type Rounding int

// Floor gives the frame that is on at a time, Ceil the next one to begin,
// Nearest the one whose beginning is nearest (halfway, the later).
const (
	Floor Rounding = iota
	Nearest
	Ceil
)

// Frame gives the number of the frame at time t, exactly, rounded as told. It
// undoes Time: for every n, Frame(Time(n)) is n in any rounding.
//
//	t · rate
//
// A number that does not fit int64 is an error. A time known to the nanosecond
// only may lie just before the frame that it came from; Nearest finds it.
func (r Rate) Frame(t Seconds, rounding Rounding) (int64, error) {
	if r.den == 0 {
		return 0, fault("rate", r.String(), "must be set")
	}
	if rounding < Floor || rounding > Ceil {
		return 0, fault("rounding", strconv.Itoa(int(rounding)), "must be Floor, Nearest or Ceil")
	}
	x := t.ratio()
	n, ok := mulDiv(x.num, uint64(r.num), uint64(x.den), uint64(r.den), rounding)
	if !ok {
		return 0, fault("time", t.String(), "the number of its frame must fit int64")
	}
	return n, nil
}

// Beat gives the time after which one of two rates is a whole frame ahead of
// the other, exactly.
//
//	1 / |rate − other|
//
// Equal rates never slip, and the zero value is no rate: ok is false.
//
// Source: elementary arithmetic.
func (r Rate) Beat(other Rate) (t Seconds, ok bool) {
	if r == other || r.den == 0 || other.den == 0 {
		return Seconds{}, false
	}
	// All four numbers are below 2³¹, so that the products fit.
	d := r.num*other.den - other.num*r.den
	return secondsOf(reduced(r.den*other.den, max(d, -d))), true
}

// over is r/other; both are rates.
func (r Rate) over(other Rate) ratio {
	return reduced(r.num*other.den, r.den*other.num)
}
