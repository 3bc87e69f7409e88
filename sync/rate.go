package sync

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Rate is an exact number of frames, or of light pulses, per second. It is a
// positive fraction in lowest terms: 24000/1001 is a Rate, and 23.976 is a
// rounded name for it.
type Rate struct{ ratio }

// NewRate returns the rate of num frames in den seconds. A num or den below 1, or
// above 2³¹ − 1 in lowest terms, is an error.
func NewRate(num, den int64) (Rate, error) {
	if num <= 0 || den <= 0 {
		return Rate{}, newChecker().Refuse("rate", fmt.Sprintf("%d/%d", num, den), "both numbers must be more than 0")
	}
	if r, ok := rateOf(reduced(num, den)); ok {
		return r, nil
	}
	return Rate{}, newChecker().Refuse("rate", fmt.Sprintf("%d/%d", num, den), "both numbers must be at most %d in lowest terms", math.MaxInt32)
}

func rateOf(r ratio) (Rate, bool) {
	if r.num < 1 || r.num > math.MaxInt32 || r.den > math.MaxInt32 {
		return Rate{}, false
	}
	return Rate{r}, true
}

// RateOf is the rate of a period, 1/period. A period that is not positive, and a rate
// that NewRate refuses, are errors.
func RateOf(period Seconds) (Rate, error) {
	if period.num <= 0 {
		return Rate{}, newChecker().Refuse("period", period.String(), "must be more than 0 s")
	}
	return NewRate(period.den, period.num)
}

// nominals are the frames that a labelled second may have.
var nominals = []int64{24, 25, 30, 48, 50, 60, 72, 96, 100, 120}

// Nominal is the whole number of frames that a second of timecode counts at this rate:
// 24 at 24000/1001. ok is false unless the rate is 24, 25, 30, 48, 50, 60, 72, 96, 100
// or 120, or 1000/1001 of one that is not a multiple of 25.
func (r Rate) Nominal() (frames int64, ok bool) {
	frames = r.num
	if r.den == 1001 && r.num%1000 == 0 {
		frames /= 1000
		ok = frames%25 != 0
	}
	return frames, (ok || r.den == 1) && slices.Contains(nominals, frames)
}

// decimal gives the rate k·1000/1001 that rounds to the decimal s with so many
// digits after the point. Other decimals are refused: a rate guessed from a
// rounded number drifts.
func decimal(s string, digits int) (Rate, bool) {
	if digits < 2 || digits > 9 {
		return Rate{}, false
	}
	n, rest, ok := scan(s)
	for _, nominal := range nominals {
		// n.below is at most 10⁹. 1001 is odd, so that no rounding is halfway.
		if r := nominal * 1000 * int64(n.below); ok && rest == "" && nominal%25 != 0 && (2*r+1001)/2002 == int64(n.above) {
			return Rate{reduced(nominal*1000, 1001)}, true
		}
	}
	return Rate{}, false
}

// ParseRate reads a rate in one of three forms. Any other text is an error.
//
//   - A whole number: "25", or "25.00".
//   - A fraction: "24000/1001".
//   - k · 1000/1001 rounded to 2 to 9 decimals, for k = 24, 30, 48, 60, 72, 96 and
//     120: "23.98", "23.976" or "29.97". The text "23.97" is an error.
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
	// 63 bits without a sign.
	num, err1 := strconv.ParseUint(above, 10, 63)
	den, err2 := strconv.ParseUint(below, 10, 63)
	if err1 != nil || err2 != nil {
		return Rate{}, newChecker().Refuse("rate", strconv.Quote(s), `must be a whole number like "25", a fraction like "24000/1001", or a known decimal like "23.976"`)
	}
	return NewRate(int64(num), int64(den))
}

// String gives text like "24000/1001" or "25".
func (r Rate) String() string {
	if r.den == 0 {
		return "no rate"
	}
	return string(r.ratio.append(make([]byte, 0, 24)))
}

// MarshalText gives the text of String. The zero Rate is an error.
func (r Rate) MarshalText() ([]byte, error) {
	if r.den == 0 {
		return nil, unset("rate")
	}
	return r.ratio.append(make([]byte, 0, 24)), nil
}

// UnmarshalText reads the forms of ParseRate. In JSON a rate is a string, "25" or
// "24000/1001", and not a number.
func (r *Rate) UnmarshalText(text []byte) error { return readText(r, text, ParseRate) }

// Ratio returns the numerator and the denominator in lowest terms.
func (r Rate) Ratio() (num, den int64) { return r.num, r.den }

// Frequency is the rate as the nearest float64.
func (r Rate) Frequency() unit.Frequency {
	if r.den == 0 {
		return 0
	}
	return unit.Frequency(r.float())
}

// Period is the time from one frame to the next, 1/rate.
func (r Rate) Period() Seconds { return secondsOf(ratio{r.den, r.num}) }

// Time is the time at which frame n begins, n/rate, if frame 0 begins at 0 s.
// Errors do not accumulate with n. n may be negative.
func (r Rate) Time(n int64) (Seconds, error) {
	if r.den == 0 {
		return Seconds{}, unset("rate")
	}
	t, ok := reduced(n, r.num).times(ratio{r.den, 1})
	if !ok {
		return Seconds{}, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "its time must fit a fraction of int64")
	}
	return secondsOf(t), nil
}

// Rounding says which frame stands for a time that lies between the beginnings
// of two frames, or which nanosecond for a fraction of it.
type Rounding uint8

// The roundings. Halfway between two frames, Nearest gives the later one.
const (
	Floor   Rounding = iota // the frame that has begun last
	Nearest                 // the frame whose beginning is nearest
	Ceil                    // the frame that begins next
)

var roundings = enum.New[Rounding](ErrInvalid, []string{Floor: "floor", Nearest: "nearest", Ceil: "ceil"})

// String gives "floor", "nearest" or "ceil".
func (r Rounding) String() string { return roundings.Name(r) }

// MarshalText gives the name. An unknown Rounding is an error.
func (r Rounding) MarshalText() ([]byte, error) { return roundings.Marshal(r) }

// UnmarshalText reads a name.
func (r *Rounding) UnmarshalText(text []byte) error { return roundings.Unmarshal(r, text) }

// Frame is the number of the frame at time t, t · rate, rounded. It is the
// inverse of Time: with any rounding, the frame at Time(n) is n. Use Nearest for a
// time that is known to the nanosecond only: it may lie just before the frame that
// it came from.
func (r Rate) Frame(t Seconds, rounding Rounding) (int64, error) {
	c := newChecker()
	valid.Set(c, "rate", r)
	roundings.Check(c, "rounding", rounding)
	if !c.OK() {
		return 0, c.Err()
	}
	x := t.ratio()
	n, ok := mulDiv(x.num, uint64(r.num), uint64(x.den), uint64(r.den), rounding)
	if !ok {
		return 0, newChecker().Refuse("time", t.String(), "the number of its frame must fit int64")
	}
	return n, nil
}

// Beat is the time in which the faster of two rates gains one frame on the other,
// 1/|rate − other|. ok is false if the rates are equal, or if one is not set.
func (r Rate) Beat(other Rate) (t Seconds, ok bool) {
	if r == other || r.den == 0 || other.den == 0 {
		return Seconds{}, false
	}
	// All four numbers are below 2³¹, so that the products fit.
	d := r.num*other.den - other.num*r.den
	return secondsOf(reduced(r.den*other.den, max(d, -d))), true
}

// Scale is r · num/den. A wall that refreshes 160 times a frame at 24000/1001 has the
// rate 3840000/1001. A num or den below 1, and a result that NewRate refuses, are
// errors.
func (r Rate) Scale(num, den int64) (Rate, error) {
	if r.den == 0 {
		return Rate{}, unset("rate")
	}
	by, err := factor(num, den)
	if err != nil {
		return Rate{}, err
	}
	if num <= 0 {
		return Rate{}, newChecker().Refuse("factor", fmt.Sprintf("%d/%d", num, den), "must be more than 0")
	}
	if q, ok := r.times(by); ok {
		if scaled, ok := rateOf(q); ok {
			return scaled, nil
		}
	}
	return Rate{}, newChecker().Refuse("rate", fmt.Sprintf("%v · %d/%d", r, num, den), "both numbers must be at most %d in lowest terms", math.MaxInt32)
}

// Periods is the whole number of periods, one at least, that is nearest to an exposure;
// halfway between two it is the greater one. miss is exposure − n/rate, exactly: the
// exposure is clean under a light of this rate if miss is 0 s. An exposure that is not
// positive, and a miss that does not fit, are errors.
func (r Rate) Periods(exposure Seconds) (n int64, miss Seconds, err error) {
	if r.den == 0 {
		return 0, Seconds{}, unset("rate")
	}
	if exposure.num <= 0 {
		return 0, Seconds{}, newChecker().Refuse("exposure", exposure.String(), "must be more than 0 s")
	}
	if n, err = r.Frame(exposure, Nearest); err != nil {
		return 0, Seconds{}, err
	}
	n = max(1, n)
	whole, err := r.Time(n)
	if err != nil {
		return 0, Seconds{}, err
	}
	if miss, err = exposure.Sub(whole); err != nil {
		return 0, Seconds{}, err
	}
	return n, miss, nil
}

// Per is r/other as a fraction in lowest terms, as the periods of a light in a frame.
// It is 0/1 if one of the rates is not set.
func (r Rate) Per(other Rate) (num, den int64) {
	if r.den == 0 || other.den == 0 {
		return 0, 1
	}
	q := r.over(other)
	return q.num, q.den
}

// over is r/other. Both must be set.
func (r Rate) over(other Rate) ratio {
	return reduced(r.num*other.den, r.den*other.num)
}
