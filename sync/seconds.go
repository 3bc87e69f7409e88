package sync

import (
	"fmt"
	"math/big"
	"strconv"
	"time"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Seconds is an exact time: a fraction of two whole numbers, in lowest terms. The
// zero value is 0 s.
type Seconds struct {
	num, den int64 // 0 s is the zero value, and nothing else is
}

// NewSeconds returns num/den seconds. A den below 1 is an error.
func NewSeconds(num, den int64) (Seconds, error) {
	if den <= 0 {
		return Seconds{}, newChecker().Refuse("time", fmt.Sprintf("%d/%d s", num, den), "the denominator must be more than 0")
	}
	return secondsOf(reduced(num, den)), nil
}

// SecondsOf is a Duration as an exact time.
func SecondsOf(d time.Duration) Seconds {
	return secondsOf(reduced(int64(d), int64(time.Second)))
}

// NearestSeconds is the multiple of 1/den s that is nearest to a time in floating
// point; halfway between two it is the later one. It makes a measured time exact: a
// row time to a picosecond with den 1e12. The smaller den is, the longer sums with it
// fit. A time that is not finite, a den below 1, and a result that does not fit are
// errors.
func NearestSeconds(t unit.Time, den int64) (Seconds, error) {
	c := newChecker()
	c.Time("time", t, valid.Finite())
	if den <= 0 {
		c.Fault("denominator", strconv.FormatInt(den, 10), "must be more than 0")
	}
	if !c.OK() {
		return Seconds{}, c.Err()
	}
	x := new(big.Rat).SetFloat64(float64(t))
	x.Mul(x, new(big.Rat).SetInt64(den))
	n := new(big.Int).Add(new(big.Int).Lsh(x.Num(), 1), x.Denom()) // ⌊x + ½⌋ = ⌊(2·num + den) / 2·den⌋
	n.Div(n, new(big.Int).Lsh(x.Denom(), 1))
	if !n.IsInt64() {
		return Seconds{}, newChecker().Refuse("time", strconv.FormatFloat(float64(t), 'g', -1, 64)+" s", "must be less than 2⁶³ times 1/%d s", den)
	}
	return NewSeconds(n.Int64(), den)
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

// Duration is the time as a whole number of nanoseconds. A time of more than 292 years
// is an error.
func (s Seconds) Duration(rounding Rounding) (time.Duration, error) {
	c := newChecker()
	roundings.Check(c, "rounding", rounding)
	if !c.OK() {
		return 0, c.Err()
	}
	r := s.ratio()
	ns, ok := mulDiv(r.num, uint64(time.Second), uint64(r.den), 1, rounding)
	if !ok {
		return 0, newChecker().Refuse("time", s.String(), "must fit a Duration: less than 2⁶³ ns")
	}
	return time.Duration(ns), nil
}

// Compare is −1 if s is before t, 0 if they are equal, and +1 if s is after t.
func (s Seconds) Compare(t Seconds) int { return s.ratio().compare(t.ratio()) }

// Add is s + t. A sum that does not fit is an error.
func (s Seconds) Add(t Seconds) (Seconds, error) {
	sum, ok := s.ratio().sum(t.ratio(), 1)
	if !ok {
		return Seconds{}, newChecker().Refuse("time", s.String()+" + "+t.String(), "the sum must fit a fraction of int64")
	}
	return secondsOf(sum), nil
}

// Sub is s − t. A difference that does not fit is an error.
func (s Seconds) Sub(t Seconds) (Seconds, error) {
	difference, ok := s.ratio().sum(t.ratio(), -1)
	if !ok {
		return Seconds{}, newChecker().Refuse("time", s.String()+" − "+t.String(), "the difference must fit a fraction of int64")
	}
	return secondsOf(difference), nil
}

// Scale is s · num/den; Scale(−1, 1) is −s. A den below 1, and a product that does not
// fit, are errors.
func (s Seconds) Scale(num, den int64) (Seconds, error) {
	by, err := factor(num, den)
	if err != nil {
		return Seconds{}, err
	}
	t, ok := s.ratio().times(by)
	if !ok {
		return Seconds{}, newChecker().Refuse("time", fmt.Sprintf("%v · %d/%d", s, num, den), "the product must fit a fraction of int64")
	}
	return secondsOf(t), nil
}

// factor is num/den in lowest terms.
func factor(num, den int64) (ratio, error) {
	if den <= 0 {
		return ratio{}, newChecker().Refuse("factor", fmt.Sprintf("%d/%d", num, den), "the denominator must be more than 0")
	}
	return reduced(num, den), nil
}

// String gives text like "1001/24000 s" or "1001 s".
func (s Seconds) String() string { return string(s.append(make([]byte, 0, 48))) }

func (s Seconds) append(b []byte) []byte {
	return append(s.ratio().append(b), " s"...)
}

// MarshalText gives the text of String.
func (s Seconds) MarshalText() ([]byte, error) { return s.append(make([]byte, 0, 48)), nil }

// UnmarshalText reads the forms of ParseSeconds.
func (s *Seconds) UnmarshalText(text []byte) error { return readText(s, text, ParseSeconds) }

// unitOf is a unit of time, in seconds.
func unitOf(name string) (ratio, bool) {
	switch name {
	case "s":
		return ratio{1, 1}, true
	case "ms":
		return ratio{1, 1e3}, true
	case "µs", "μs", "us": // micro sign, Greek letter, plain letter
		return ratio{1, 1e6}, true
	case "ns":
		return ratio{1, 1e9}, true
	case "min":
		return ratio{60, 1}, true
	case "h":
		return ratio{3600, 1}, true
	}
	return ratio{}, false
}

// ParseSeconds reads a number and its unit, as "1/50 s", "0.02 s", "20 ms", "-7.5 µs"
// or "1/50".
//
//   - The number is digits, a decimal, taken as exactly that, or a fraction of two
//     whole numbers. It may have a sign.
//   - The unit is h, min, s, ms, µs, us or ns, after a space or none. Only a fraction
//     may lack it, and is then in seconds: the "50" of a camera's menu is 1/50 s.
//
// Any other text, and a time that does not fit, are errors.
func ParseSeconds(s string) (Seconds, error) {
	text := s
	negative := false
	if text != "" && (text[0] == '-' || text[0] == '+') {
		negative = text[0] == '-'
		text = text[1:]
	}
	n, rest, ok := scan(text)
	if rest == "" && n.form == '/' {
		rest = "s"
	}
	if rest != "" && rest[0] == ' ' {
		rest = rest[1:]
	}
	per, known := unitOf(rest)
	if !ok || !known {
		return Seconds{}, newChecker().Refuse("time", strconv.Quote(s), `must be a number and a unit like "1/50 s", "0.02 s" or "20 ms"`)
	}
	value, fits := n.times(per, negative)
	if !fits {
		return Seconds{}, newChecker().Refuse("time", strconv.Quote(s), "must fit a fraction of int64")
	}
	return secondsOf(value), nil
}
