package sync

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/unit"
)

// Seconds is an exact time: a fraction of two whole numbers, in lowest terms. The
// zero value is 0 s.
type Seconds struct {
	num, den int64 // 0 s is the zero value, and nothing else is
}

// NewSeconds returns num/den seconds. A time in nanoseconds is NewSeconds(ns, 1e9).
// A den below 1 is an error.
func NewSeconds(num, den int64) (Seconds, error) {
	if den <= 0 {
		return Seconds{}, fault("time", fmt.Sprintf("%d/%d s", num, den), "the denominator must be more than 0")
	}
	return secondsOf(reduced(num, den)), nil
}

func secondsOf(r ratio) Seconds {
	if r.num == 0 {
		return Seconds{}
	}
	return Seconds(r)
}

func (s Seconds) ratio() ratio {
	if s.den == 0 {
		return ratio{0, 1}
	}
	return ratio(s)
}

// Ratio returns the numerator and the denominator in lowest terms. The denominator
// is positive.
func (s Seconds) Ratio() (num, den int64) {
	r := s.ratio()
	return r.num, r.den
}

// Time is the time as the nearest float64.
func (s Seconds) Time() unit.Time { return unit.Time(s.ratio().float()) }

// String gives text like "1001/24000 s" or "1001 s".
func (s Seconds) String() string {
	r := s.ratio()
	if r.den == 1 {
		return strconv.FormatInt(r.num, 10) + " s"
	}
	return fmt.Sprintf("%d/%d s", r.num, r.den)
}

// MarshalText gives the text of String.
func (s Seconds) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads text like "1001/24000 s" or "-3 s".
func (s *Seconds) UnmarshalText(text []byte) error { return readText(s, text, parseSeconds) }

func parseSeconds(s string) (Seconds, error) {
	number, unitOK := strings.CutSuffix(s, " s")
	above, below, fraction := strings.Cut(number, "/")
	if !fraction {
		below = "1"
	}
	num, err1 := strconv.ParseInt(above, 10, 64)
	den, err2 := strconv.ParseInt(below, 10, 64)
	if !unitOK || err1 != nil || err2 != nil {
		return Seconds{}, fault("time", strconv.Quote(s), `must be whole seconds like "3 s" or a fraction like "1001/24000 s"`)
	}
	return NewSeconds(num, den)
}
